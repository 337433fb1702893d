//! Do the bands hold what they promise? Sound builds of a whole amplifier, drawn here by code
//! that shares nothing with the bands but the wiring and the solver.

#![allow(clippy::unwrap_used, reason = "a test: a panic is its failure")]
#![allow(
    clippy::print_stdout,
    clippy::expect_used,
    reason = "a test: its figures are quoted in docs/bands.md"
)]

mod support;

use bench::chart::{Chart, ChartRequest, Samples, chart};
use solve::device::RectifierLaw;
use solve::netlist::Law;
use solve::supply::operating_point;
use solve::{AssembleOptions, assemble};
use support::circuit;
use wiring::Circuit;
use wiring::circuit::{History, Kind, Make, Measured, MeasuredValue};
use wiring::readings::Conditions;
use wiring::sheet::Library;

const PIP: &str = include_str!("../../../examples/pip.wiring");
const CURLEW: &str = include_str!("../../../examples/curlew.wiring");
const TURNSTONE: &str = include_str!("../../../examples/turnstone.wiring");

/// A generator of its own (Marsaglia, xorshift64, Journal of Statistical Software 8, 2003, from
/// memory, not seen), with normal numbers as sums of twelve uniform ones.
struct Dice(u64);

impl Dice {
    fn uniform(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.uniform()).sum::<f64>() - 6.0
    }

    /// Log-normal factor.
    fn factor(&mut self, median: f64, sigma: f64) -> f64 {
        median * (sigma * self.normal()).exp()
    }
}

/// A sound specimen of a wiring: every part that is not measured somewhere in what the era and
/// its age allow (common practice, no source), written as a reading on the lifted part.
fn specimen(amp: &Circuit, dice: &mut Dice) -> Circuit {
    let mut own = amp.clone();
    for part in &mut own.parts {
        let read = match part.known.reading {
            Some(r) if !r.in_circuit => match r.value {
                MeasuredValue::Is(v) => Some(v),
                _ => continue,
            },
            _ => None,
        };
        let later = matches!(part.known.history, Some(History::Replaced | History::Added));
        let is = |v: f64| {
            Some(Measured {
                value: MeasuredValue::Is(v),
                in_circuit: false,
            })
        };
        match &mut part.kind {
            Kind::Resistor { ohms: Some(ohms) } => {
                let (make, watts) = (part.known.make, part.known.watts);
                let (median, sigma) = match (read, make) {
                    (Some(_), _) => (1.0, 0.01),
                    (_, Some(Make::Wirewound)) => (1.0, 0.05),
                    (_, Some(Make::Film)) if later => (1.0, 0.025),
                    (_, Some(Make::Film)) => (1.0, 0.05),
                    (_, None) if later => (1.0, 0.025),
                    (_, None) if watts.is_some_and(|w| w >= 4.0) => (1.0, 0.05),
                    _ if *ohms < 1e3 => (1.0, 0.08),
                    _ if *ohms < 1e5 => (1.06, 0.08),
                    _ => (1.12, 0.12),
                };
                let sigma = match part.known.tolerance {
                    Some((t, _)) if median == 1.0 && read.is_none() => t / 2.0,
                    _ => sigma,
                };
                let v = read.unwrap_or(*ohms) * dice.factor(median, sigma);
                part.known.reading = is(v);
            }
            Kind::Pot {
                ohms: Some(ohms), ..
            } if read.is_none() => *ohms *= dice.factor(1.0, 0.12),
            Kind::Capacitor {
                farads: Some(farads),
                plus_first,
            } => {
                let electrolytic = match part.known.make {
                    Some(make) => make == Make::Electrolytic,
                    None => plus_first.is_some() || *farads >= 1e-6,
                };
                if electrolytic {
                    let marked = read.unwrap_or(*farads);
                    part.known.leak_ohms = Some(match part.known.leak_ohms {
                        Some(leak) => leak * dice.factor(1.0, 0.1),
                        None => 50.0 / marked * dice.factor(1.0, 0.9),
                    });
                    part.known.reading = is(marked * dice.factor(1.0, 0.2));
                }
            }
            Kind::PowerTransformer(t) => {
                for w in &mut t.windings {
                    let (volts, ohms) = (dice.factor(1.0, 0.025), dice.factor(1.0, 0.05));
                    w.taps.iter_mut().for_each(|tap| tap.1 *= volts);
                    w.ohms = w.ohms.map(|o| o * ohms);
                    w.halves = w.halves.map(|(a, b)| (a * ohms, b * ohms));
                }
                t.primary_ohms = t.primary_ohms.map(|o| o * dice.factor(1.0, 0.05));
            }
            Kind::OutputTransformer(t) => t.ohms = t.ohms.map(|o| o * dice.factor(1.0, 0.05)),
            Kind::Choke { ohms, .. } => *ohms = ohms.map(|o| o * dice.factor(1.0, 0.05)),
            _ => {}
        }
    }
    own
}

/// Volts of every node of the specimen, valves and mains varied too.
fn solved(own: &Circuit, dice: &mut Dice, mains: f64) -> Option<Vec<Option<f64>>> {
    let conditions = Conditions {
        mains_volts: Some(mains * dice.factor(1.0, 0.01)),
        ..Conditions::default()
    };
    let assembly = assemble(
        own,
        Library::built_in(),
        &conditions,
        &AssembleOptions::default(),
    );
    let mut netlist = assembly.netlist;
    for part in &own.parts {
        if !matches!(part.kind, Kind::Valve(_)) {
            continue;
        }
        let later = matches!(part.known.history, Some(History::Replaced | History::Added));
        // used: 60 to 125 % in 95 of 100, of which 7 % is each half's own
        let (median, shared) = if later {
            (1.0, 0.0975)
        } else {
            (0.866, 0.1734)
        };
        let common = dice.factor(median, shared);
        let common_drop = dice.factor(0.95, 0.12);
        for e in assembly.elements_of.get(&part.name).into_iter().flatten() {
            let own_half = dice.factor(1.0, 0.07);
            let Some(element) = netlist.elements.get_mut(*e) else {
                continue;
            };
            match &mut element.law {
                Law::Triode { law, .. } => {
                    law.k *= common * own_half;
                    law.mu *= dice.factor(1.0, 0.04);
                }
                Law::Pentode { law, .. } => {
                    law.k *= common * own_half;
                    law.mu *= dice.factor(1.0, 0.04);
                    law.s *= dice.factor(1.0, 0.17);
                }
                Law::Diode { law, .. } => {
                    if let RectifierLaw::Valve(perveance) = &mut law.forward {
                        *perveance *= common_drop;
                    }
                }
                _ => {}
            }
        }
    }
    let point = operating_point(&netlist, None);
    point.solved().then(|| {
        assembly
            .node_of
            .iter()
            .map(|n| n.map(|n| point.dc(n)))
            .collect()
    })
}

fn plain(circuit: &Circuit, samples: Option<Samples>) -> Chart {
    let request = ChartRequest {
        without_readings: true,
        samples,
        ..ChartRequest::default()
    };
    chart(circuit, Library::built_in(), &request)
}

/// Share of the builds' volts that lie inside the chart's bands, over all points of 0.3 V and
/// more (grids at ground stand at currents that no solver draws here), with the worst point.
fn coverage(text: &str, builds: u32, seed: u64) -> (f64, f64, String) {
    let amp = circuit(text);
    let mains = amp.heading.mains.map_or(230.0, |m| m.volts);
    let chart = plain(&amp, None);
    let mut dice = Dice(seed);
    let lines: Vec<_> = chart
        .points
        .iter()
        .filter(|l| l.volts.is_some_and(|v| v.abs() >= 0.3))
        .collect();
    let mut inside = vec![0u32; lines.len()];
    for _ in 0..builds {
        let own = specimen(&amp, &mut dice);
        let volts = solved(&own, &mut dice, mains).expect("a sound amplifier has volts");
        for (line, count) in lines.iter().zip(&mut inside) {
            let node = amp.node(&line.point).unwrap();
            let v = volts[node.0].unwrap();
            if (line.low.unwrap()..=line.high.unwrap()).contains(&v) {
                *count += 1;
            }
        }
    }
    let share = |count: u32| f64::from(count) / f64::from(builds);
    let mean = inside.iter().map(|c| share(*c)).sum::<f64>() / lines.len() as f64;
    let (worst, point) = inside
        .iter()
        .zip(&lines)
        .map(|(c, l)| (share(*c), l.point.clone()))
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .unwrap();
    (mean, worst, point)
}

/// 95 % bands hold 95 % of sound amplifiers: 93 to 98 % over all points (the sampling error of
/// 400 builds whose points move together is about 1 %), and no single point below 90 %.
#[test]
fn bands_hold_sound_amplifiers() {
    let (mean, worst, point) = coverage(PIP, 400, 0x5eed_0001);
    println!(
        "pip: {:.1} % inside, least {:.1} % at {point}",
        100.0 * mean,
        100.0 * worst
    );
    assert!((0.93..=0.98).contains(&mean), "{mean}");
    assert!(worst > 0.90, "{worst} at {point}");
}

/// The same of the larger two; long, so only in the full check.
#[test]
#[ignore = "long: part of the full check"]
fn bands_hold_sound_amplifiers_of_all_examples() {
    for (name, text) in [("curlew", CURLEW), ("turnstone", TURNSTONE)] {
        let (mean, worst, point) = coverage(text, 400, 0x5eed_0002);
        println!(
            "{name}: {:.1} % inside, least {:.1} % at {point}",
            100.0 * mean,
            100.0 * worst
        );
        assert!((0.93..=0.98).contains(&mean), "{name}: {mean}");
        assert!(worst > 0.90, "{name}: {worst} at {point}");
    }
}

/// Bands by slopes and bands by sampled, fully solved builds agree. The 2.5 % quantile of `n`
/// normal numbers is known to `sqrt(0.025 * 0.975 / n) / 0.0584` standard deviations at one
/// sigma, which is 1.36 / sqrt(n) of the half-width: 8 % for 300 builds, 4 % for 1200. Three of
/// these are allowed, and a tenth of the half-width for the bend of the circuit that slopes
/// miss (seen: up to 0.17 with 1200 builds, on a cathode).
fn by_slopes_and_by_builds(name: &str, text: &str, builds: usize) {
    let allowed = 3.0 * 1.36 / (builds as f64).sqrt() + 0.1;
    let amp = circuit(text);
    let linear = plain(&amp, None);
    let sampled = plain(&amp, Some(Samples { builds, seed: 11 }));
    let mut largest: (f64, String) = (0.0, String::new());
    let (mut sum, mut count) = (0.0, 0.0);
    for (a, b) in linear.points.iter().zip(&sampled.points) {
        assert_eq!(a.point, b.point);
        let (Some(low), Some(high)) = (a.low, a.high) else {
            continue;
        };
        let half = (high - low) / 2.0;
        if half < 1e-3 {
            continue;
        }
        for (x, y) in [(low, b.low.unwrap()), (high, b.high.unwrap())] {
            let off = (x - y) / half;
            sum += off.abs();
            count += 1.0;
            if off.abs() > largest.0 {
                largest = (off.abs(), a.point.clone());
            }
            assert!(
                off.abs() < allowed,
                "{name} {}: {x} by slopes, {y} by builds, half-width {half}",
                a.point
            );
        }
    }
    println!(
        "{name}: ends differ by {:.1} % of the half-width on average, at most {:.1} % at {}",
        100.0 * sum / count,
        100.0 * largest.0,
        largest.1
    );
}

#[test]
fn slopes_agree_with_sampled_builds() {
    by_slopes_and_by_builds("pip", PIP, 300);
}

#[test]
#[ignore = "long: part of the full check"]
fn slopes_agree_with_sampled_builds_of_all_examples() {
    by_slopes_and_by_builds("pip", PIP, 1200);
    by_slopes_and_by_builds("curlew", CURLEW, 1200);
    by_slopes_and_by_builds("turnstone", TURNSTONE, 1200);
}
