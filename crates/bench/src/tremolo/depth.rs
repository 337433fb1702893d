//! How deep: the gain at instants through the swing.

use super::oscillation::{Swing, quiet};
use crate::driven::Bench;
use serde::Serialize;
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
    /// Gain at the middle tone over its mean, evenly through the cycle.
    pub shape: Vec<f64>,
}

/// One tone.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Modulated {
    /// The tone, hertz.
    pub hertz: f64,
    /// `(most - least) / (most + least)` of its gain.
    pub depth: f64,
    /// Most over least, dB.
    pub db: f64,
    /// Where in the cycle it is loudest, 0 to 1.
    pub loudest: f64,
}

pub(super) fn of(bench: &Bench, swing: &Swing, at: Option<f64>) -> Option<Depth> {
    let netlist = quiet(bench);
    let mut gains: Vec<Vec<f64>> = vec![Vec::new(); TONES.len()];
    let mut times = Vec::new();
    for (seconds, volts) in &swing.instants {
        let mut there = bench.solved.point.solution.clone();
        there.volts.clone_from(volts);
        let circuit = SmallSignal::new(&netlist, &there).ok()?;
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
            Some(Modulated {
                hertz,
                depth: (most - least) / (most + least).max(f64::MIN_POSITIVE),
                db: 20.0 * (most / least.max(f64::MIN_POSITIVE)).log10(),
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
        shape: middle.iter().map(|g| g / mean).collect(),
    })
}
