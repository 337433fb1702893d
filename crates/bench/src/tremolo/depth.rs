//! How deep: the gain at instants through the swing.

use super::oscillation::{Swing, quiet};
use crate::driven::Bench;
use serde::Serialize;
use solve::Netlist;
use solve::assemble::LitCell;
use solve::netlist::Law;
use solve::response::SmallSignal;

/// Tones that are asked for, hertz: below, between and above the two bands of a tremolo that has two.
const TONES: [f64; 3] = [150.0, 800.0, 4000.0];

/// How the gain to the loudspeaker goes up and down.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Depth {
    /// Where the depth control stands.
    pub at: Option<f64>,
    /// The jack.
    pub from: String,
    /// Per tone: hertz, `(most - least) / (most + least)`, most over least in dB.
    pub tones: Vec<Modulated>,
    /// A photo-resistor makes it: the most that its light can do, from dark to fully lit.
    pub by_light: bool,
    /// Gain at the middle tone over its mean, evenly through the cycle; empty by light.
    pub shape: Vec<f64>,
}

/// One tone.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Modulated {
    /// The tone, hertz.
    pub hertz: f64,
    /// Largest gain from the jack to the loudspeaker, a ratio.
    pub most: f64,
    /// Least gain.
    pub least: f64,
    /// `(most - least) / (most + least)` of its gain.
    pub depth: f64,
    /// Most over least, dB.
    pub db: f64,
    /// Where in the cycle it is loudest, 0 to 1; by light, 1 where it is loud when lit and 0 when dark.
    pub loudest: f64,
}

/// With a photo-resistor in the circuit the gain is asked for at each instant with every cell dark and fully lit, and
/// the most and the least of all count: the depth that the light can make at most.
pub(super) fn of(bench: &Bench, swing: &Swing, at: Option<f64>) -> Option<Depth> {
    let cells = &bench.solved.assembly.cells;
    let quiet = quiet(bench);
    if cells.is_empty() {
        return through(bench, &quiet, swing, at);
    }
    let all = |ohms_of: fn(&LitCell) -> f64| {
        let mut netlist = quiet.clone();
        for cell in cells {
            let element = netlist.elements.get_mut(cell.element);
            if let Some(Law::Resistor { ohms, .. }) = element.map(|e| &mut e.law) {
                *ohms = ohms_of(cell);
            }
        }
        through(bench, &netlist, swing, at)
    };
    let (dark, lit) = (all(|cell| cell.dark_ohms)?, all(|cell| cell.lit_ohms)?);
    Some(by_light(dark, &lit))
}

/// Between all cells dark and all lit.
fn by_light(mut dark: Depth, lit: &Depth) -> Depth {
    for (one, other) in dark.tones.iter_mut().zip(&lit.tones) {
        one.loudest = if other.most > one.most { 1.0 } else { 0.0 };
        (one.most, one.least) = (one.most.max(other.most), one.least.min(other.least));
        (one.depth, one.db) = apart(one.most, one.least);
    }
    dark.by_light = true;
    dark.shape.clear();
    dark
}

/// `(most - least) / (most + least)`, and most over least in decibels.
fn apart(most: f64, least: f64) -> (f64, f64) {
    (
        (most - least) / (most + least).max(f64::MIN_POSITIVE),
        20.0 * (most / least.max(f64::MIN_POSITIVE)).log10(),
    )
}

fn through(bench: &Bench, netlist: &Netlist, swing: &Swing, at: Option<f64>) -> Option<Depth> {
    let mut gains: Vec<Vec<f64>> = vec![Vec::new(); TONES.len()];
    let mut times = Vec::new();
    for (seconds, volts) in &swing.instants {
        let mut there = bench.solved.point.solution.clone();
        there.volts.clone_from(volts);
        let circuit = SmallSignal::new(netlist, &there).ok()?;
        for (slot, hertz) in gains.iter_mut().zip(TONES) {
            slot.push(bench.gain_in(&circuit, hertz)?);
        }
        times.push(seconds / swing.period);
    }
    let tones = TONES
        .iter()
        .zip(&gains)
        .filter_map(|(&hertz, gain)| {
            let (top, most) = gain
                .iter()
                .copied()
                .enumerate()
                .max_by(|a, b| a.1.total_cmp(&b.1))?;
            let least = gain.iter().copied().min_by(f64::total_cmp)?;
            let (depth, db) = apart(most, least);
            Some(Modulated {
                hertz,
                most,
                least,
                depth,
                db,
                loudest: times.get(top).copied().unwrap_or_default(),
            })
        })
        .collect();
    let middle = gains.get(1)?;
    let mean = middle.iter().sum::<f64>() / middle.len().max(1) as f64;
    Some(Depth {
        at,
        from: bench.from.clone(),
        tones,
        by_light: false,
        shape: middle.iter().map(|g| g / mean).collect(),
    })
}
