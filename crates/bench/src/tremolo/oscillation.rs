//! Whether it starts, and the state that it settles in.

use super::Found;
use crate::driven::Bench;
use serde::Serialize;
use solve::netlist::Law;
use solve::operating::Solution;
use solve::time::{Cycle, NaturalFrequency, Running, Tendency, natural_frequencies};
use solve::{Netlist, operating};

/// A tremolo is no faster, hertz; what grows faster is another trouble.
const FASTEST: f64 = 30.0;
/// A nudge is let grow for so many of its own times before the cycle is sought.
const GROWN: f64 = 5.0;
/// And no longer than this, seconds.
const LONGEST: f64 = 20.0;
/// Its parts are off by this much for a moment, to nudge it.
const NUDGE: f64 = 1.6;

/// How it goes at one place of its speed control.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Pace {
    /// Where the speed control stands.
    pub at: Option<f64>,
    /// A nudge grows.
    pub starts: bool,
    /// How fast the nudge grows or dies, 1/s.
    pub growth: Option<f64>,
    /// Its pace once it goes, hertz; of the dying swing where it does not start.
    pub hertz: Option<f64>,
    /// Swing at the plate, volts peak to peak.
    pub plate_volts: Option<f64>,
    /// Harmonics of the swing at the plate over its first, a ratio.
    pub harmonics: Option<f64>,
    /// Part of the cycle that the plate spends above its mean, a ratio.
    pub above: Option<f64>,
    /// The lamps that light photo-resistors.
    pub lamps: Vec<LampSwing>,
}

/// What the swing does to a lamp.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LampSwing {
    /// The lamp.
    pub part: String,
    /// Largest current through it in the cycle, milliamperes.
    pub peak_ma: f64,
    /// Its mean current over the cycle, milliamperes.
    pub mean_ma: f64,
    /// Largest volts across it.
    pub peak_volts: f64,
}

/// A cycle with the volts of every node at instants through it.
pub(super) struct Swing {
    /// Seconds from the beginning, volts of all nodes.
    pub(super) instants: Vec<(f64, Vec<f64>)>,
    pub(super) period: f64,
}

pub(super) struct Going {
    pub(super) pace: Pace,
    pub(super) swing: Option<Swing>,
}

/// The netlist with nothing driving it.
pub(super) fn quiet(bench: &Bench) -> Netlist {
    let mut netlist = bench.netlist.clone();
    for element in &mut netlist.elements {
        if let Law::Alternating { volts, .. } = &mut element.law {
            *volts = 0.0;
        }
    }
    netlist
}

/// The slow pair of a netlist at rest that grows fastest, or dies slowest.
pub(super) fn pair(netlist: &Netlist, rest: &Solution) -> Option<NaturalFrequency> {
    natural_frequencies(netlist, rest)
        .ok()?
        .into_iter()
        .find(|n| n.hertz > 0.1 && n.hertz < FASTEST)
}

pub(super) fn grows(pair: Option<NaturalFrequency>) -> bool {
    pair.is_some_and(|p| p.tendency() == Tendency::Oscillates)
}

/// At rest and, where it starts, going.
pub(super) fn of(found: &Found<'_>, bench: &Bench, at: Option<f64>) -> Going {
    let netlist = quiet(bench);
    let rest = &bench.solved.point.solution;
    let slow = pair(&netlist, rest);
    let mut pace = Pace {
        at,
        starts: grows(slow),
        growth: slow.map(|p| p.growth),
        hertz: slow.map(|p| p.hertz),
        plate_volts: None,
        harmonics: None,
        above: None,
        lamps: Vec::new(),
    };
    let mut swing = None;
    if let Some(slow) = slow.filter(|_| pace.starts)
        && let Some(cycle) = going(found, bench, &netlist, rest, slow)
    {
        pace.hertz = Some(1.0 / cycle.period());
        if let Some(plate) = plate_of(found, bench) {
            let wave = cycle.wave(plate, 0);
            let most = wave.iter().map(|w| w.1).fold(f64::MIN, f64::max);
            let least = wave.iter().map(|w| w.1).fold(f64::MAX, f64::min);
            let mean = cycle.mean_volts(plate, 0);
            pace.plate_volts = Some(most - least);
            pace.harmonics = Some(cycle.distortion(plate, 0));
            pace.above = Some(above(&wave, mean, cycle.period()));
        }
        pace.lamps = lamps(bench, &cycle);
        swing = Some(instants(&cycle, netlist.nodes.len()));
    }
    Going { pace, swing }
}

/// What the lamps of photo-resistors carry through a cycle.
fn lamps(bench: &Bench, cycle: &Cycle) -> Vec<LampSwing> {
    let assembly = &bench.solved.assembly;
    let mut names: Vec<&String> = assembly.cells.iter().map(|c| &c.lamp).collect();
    names.dedup();
    let swing = |part: &String| {
        let element = *assembly.elements_of.get(part)?.first()?;
        let ends = bench.netlist.elements.get(element)?.law.terminals();
        let [a, b] = ends.as_slice() else { return None };
        let current = cycle.currents(element).first()?;
        let volts = cycle.wave(*a, *b).into_iter().map(|w| w.1.abs());
        Some(LampSwing {
            part: part.clone(),
            peak_ma: current.peak * 1e3,
            mean_ma: current.mean * 1e3,
            peak_volts: volts.fold(0.0, f64::max),
        })
    };
    names.into_iter().filter_map(swing).collect()
}

/// Part of the cycle that a wave is above its mean.
fn above(wave: &[(f64, f64)], mean: f64, period: f64) -> f64 {
    let mut sum = 0.0;
    for pair in wave.windows(2) {
        let [(a, va), (b, vb)] = pair else { continue };
        if 0.5 * (va + vb) > mean {
            sum += b - a;
        }
    }
    sum / period
}

/// The node of the oscillator's plate.
pub(super) fn plate_of(found: &Found<'_>, bench: &Bench) -> Option<usize> {
    let node = found.block.sections.first()?.plate?;
    bench.solved.assembly.node_of.get(node.0).copied().flatten()
}

/// Elements of the parts that make the pace, and of the valve's own resistors.
pub(super) fn elements(found: &Found<'_>, bench: &Bench) -> Vec<(String, usize)> {
    let mut all = Vec::new();
    for (id, _) in &found.block.parts {
        let Some(part) = found.circuit.parts.get(id.0) else {
            continue;
        };
        let own = bench.solved.assembly.elements_of.get(&part.name);
        for &element in own.into_iter().flatten() {
            if bench
                .netlist
                .elements
                .get(element)
                .is_some_and(|e| e.name == part.name)
            {
                all.push((part.name.clone(), element));
            }
        }
    }
    all.sort();
    all.dedup();
    all
}

/// Nudged, let grow, and settled.
fn going(
    found: &Found<'_>,
    bench: &Bench,
    netlist: &Netlist,
    rest: &Solution,
    slow: NaturalFrequency,
) -> Option<Cycle> {
    let mut nudged = netlist.clone();
    for (_, element) in elements(found, bench) {
        if let Some(e) = nudged.elements.get_mut(element)
            && let Law::Resistor { ohms, .. } = &mut e.law
        {
            *ohms *= NUDGE;
        }
    }
    // A swing that has grown is often faster than its beginning.
    let mut period = 1.0 / slow.hertz;
    let plate = plate_of(found, bench)?;
    let mut run = Running::at(netlist, rest).ok()?.with_accuracy(1e-5);
    run.change(&nudged).ok()?;
    run.until(0.25 * period).ok()?;
    run.change(netlist).ok()?;
    let mut so_long = GROWN / slow.growth.max(1e-3);
    // slow growth takes long; then the cycle is looked for sooner, and later again
    for _ in 0..3 {
        let from = run.seconds();
        run.until(from + (so_long + 2.0 * period).min(LONGEST))
            .ok()?;
        if let Some(counted) = counted(&mut run, plate, period) {
            period = counted;
        }
        // twice the period repeats as well: then its first harmonic is nothing
        let whole = |c: &Cycle| {
            let order = |k| c.harmonic(plate, 0, k).abs();
            (c.period() / period - 1.0).abs() < 0.3 && order(1) > 0.5 * order(2)
        };
        let cycle = run.clone().oscillation(period).ok();
        if let Some(cycle) = cycle.filter(whole) {
            return Some(cycle);
        }
        so_long *= 2.0;
    }
    None
}

/// The time between two rises of the plate through its mean, over some swings.
fn counted(run: &mut Running, plate: usize, period: f64) -> Option<f64> {
    const SWINGS: f64 = 4.0;
    const A_SWING: f64 = 100.0;
    let from = run.seconds();
    let mut wave = Vec::new();
    for step in 1..=(SWINGS * A_SWING) as u32 {
        let at = from + f64::from(step) * period / A_SWING;
        run.until(at).ok()?;
        wave.push((at, run.volts(plate)));
    }
    let mean = wave.iter().map(|w| w.1).sum::<f64>() / wave.len() as f64;
    let rises: Vec<f64> = wave
        .windows(2)
        .filter_map(|w| match w {
            [(a, va), (b, vb)] if *va < mean && *vb >= mean => {
                Some(a + (mean - va) / (vb - va) * (b - a))
            }
            _ => None,
        })
        .collect();
    let (first, last) = (rises.first()?, rises.last()?);
    (rises.len() > 1).then(|| (last - first) / (rises.len() - 1) as f64)
}

/// Volts of all nodes, two dozen times through the cycle.
fn instants(cycle: &Cycle, nodes: usize) -> Swing {
    const HOW_MANY: usize = 24;
    let waves: Vec<Vec<(f64, f64)>> = (0..nodes).map(|n| cycle.wave(n, 0)).collect();
    let times = waves.first().map_or(0, Vec::len);
    let instants = (0..HOW_MANY)
        .filter_map(|k| {
            let at = k * times / HOW_MANY;
            let seconds = waves.first()?.get(at)?.0;
            let volts = waves
                .iter()
                .map(|w| w.get(at).map_or(0.0, |v| v.1))
                .collect();
            Some((seconds, volts))
        })
        .collect();
    Swing {
        instants,
        period: cycle.period(),
    }
}

/// At rest, with a netlist of one's own.
pub(super) fn rest_of(netlist: &Netlist, near: &Solution) -> Option<Solution> {
    let found = operating::solve(netlist, Some(&near.volts));
    found.converged().then_some(found)
}
