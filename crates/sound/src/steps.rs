//! Distortion and compression against level, from the recorded steps.

use crate::signals::{LEAD_IN, STEP, schedule, steps as played};
use crate::spectrum::{beside, forward, inverse, line, quick_length, refine, window};

/// Orders of distortion that are measured.
pub const HIGHEST: u32 = 9;

/// One step as it came back.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// The tone in hertz, as it came back.
    pub hertz: f64,
    /// Its level as it was played, in decibels against the signal's peak.
    pub played: f64,
    /// The amplitude (peak) of what came back, full scale 1.
    pub amplitude: f64,
    /// Harmonic distortion of the second order and up in decibels against the fundamental, with what noise alone would
    /// show there; none beyond the band.
    pub harmonics: Vec<Option<(f64, f64)>>,
    /// Total harmonic distortion in per cent of the fundamental (orders two to nine, as far as the band goes).
    pub thd_percent: f64,
    /// What `thd_percent` may be wrong by because of noise (95 %), in decibels.
    pub thd_uncertainty: f64,
}

/// The steps found in `x`. None when the signal is not to be found.
#[must_use]
pub fn steps(x: &[f64], rate: f64) -> Option<Vec<Step>> {
    let reference = played(rate);
    let needed = reference
        .len()
        .saturating_sub((LEAD_IN * rate) as usize + (STEP.1 * rate) as usize);
    if x.len() < needed || rate < 8000.0 {
        return None;
    }
    let n = quick_length(x.len() + reference.len());
    let mut spectrum = forward(x, n);
    for (y, s) in spectrum.iter_mut().zip(forward(&reference, n)) {
        *y *= s.conj();
    }
    let match_at = inverse(spectrum, n);
    let (best, height) = match_at.iter().enumerate().fold((0, 0.0_f64), |b, (i, v)| {
        if v.abs() > b.1 { (i, v.abs()) } else { b }
    });
    let energy = |v: &[f64]| v.iter().map(|x| x * x).sum::<f64>();
    if height < 0.05 * (energy(x) * energy(&reference)).sqrt() || height <= 0.0 {
        return None;
    }
    // A place in the second half stands for a beginning before the recording's.
    let shift = if best > n / 2 {
        best as f64 - n as f64
    } else {
        best as f64
    } / rate;
    let found: Vec<Step> = schedule()
        .into_iter()
        .filter_map(|(start, hertz, level)| {
            let first = ((start + shift + 0.12) * rate).round();
            let last = ((start + shift + STEP.0 - 0.05) * rate).round();
            if first < 0.0 || last > x.len() as f64 || 2.0 * hertz > 0.46 * rate {
                return None;
            }
            Some(step(&x[first as usize..last as usize], rate, hertz, level))
        })
        .collect();
    (!found.is_empty()).then_some(found)
}

/// One steady tone and its harmonics.
#[must_use]
pub fn step(x: &[f64], rate: f64, nominal: f64, level: f64) -> Step {
    let hertz = refine(x, rate, nominal, &[1]);
    let hertz = if (hertz / nominal - 1.0).abs() < 0.01 {
        hertz
    } else {
        nominal
    };
    let w = window(x.len());
    let amplitude = line(x, &w, rate, hertz).norm();
    let (mut power, mut doubt) = (0.0, 0.0);
    let mut harmonics = Vec::new();
    for order in 2..=HIGHEST {
        let f = f64::from(order) * hertz;
        if f > 0.46 * rate || f > 22_000.0 {
            harmonics.push(None);
            continue;
        }
        let noise = beside(x, &w, rate, f);
        let here = line(x, &w, rate, f).norm();
        power += here * here;
        doubt += (noise * here).powi(2) * 2.0 + noise.powi(4);
        let against = amplitude.max(1e-300);
        harmonics.push(Some((
            crate::decibels(here / against),
            crate::decibels(noise / against),
        )));
    }
    Step {
        hertz,
        played: level,
        amplitude,
        harmonics,
        thd_percent: 100.0 * power.sqrt() / amplitude.max(1e-300),
        thd_uncertainty: if power > 0.0 {
            10.0 * (1.0 + 1.96 * doubt.sqrt() / power).log10()
        } else {
            300.0
        },
    }
}
