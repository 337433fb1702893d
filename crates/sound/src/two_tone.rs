//! Modulation distortion from two tones played together: how far the low tone makes the high one swing.

use crate::signals::TWO_TONE;
use crate::spectrum::{beside, line, refine, window};

/// What two tones came back as. Modulation distortion of the second and third order as IEC 60268-3 counts it (from memory, not
/// seen): the two lines beside the high tone together, against the high tone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Modulation {
    /// The low and the high tone as they came back, in hertz.
    pub hertz: [f64; 2],
    /// Their amplitudes (peak), full scale 1.
    pub amplitude: [f64; 2],
    /// Distortion of the second and third order, in per cent.
    pub percent: [f64; 2],
    /// What noise alone would show, in per cent.
    pub floor_percent: f64,
}

/// The modulation distortion in `x`. None when one of the tones is not there or less than two seconds are.
#[must_use]
pub fn modulation(x: &[f64], rate: f64) -> Option<Modulation> {
    let [(low, _), (high, _)] = TWO_TONE;
    if (x.len() as f64) < 2.0 * rate || 1.1 * high > 0.5 * rate {
        return None;
    }
    // The middle, without the edges of what was played.
    let edge = x.len() / 8;
    let x = &x[edge..x.len() - edge];
    let w = window(x.len());
    let mut hertz = [low, high];
    let mut amplitude = [0.0; 2];
    for (f, a) in hertz.iter_mut().zip(&mut amplitude) {
        // A first look at a quarter of a second: a clock that is off turns the phase of a long one too far.
        let short = ((0.25 * rate) as usize).min(x.len());
        let near = refine(&x[..short], rate, *f, &[1]);
        let found = refine(x, rate, near, &[1]);
        if (found / *f - 1.0).abs() > 0.01 {
            return None;
        }
        *f = found;
        *a = line(x, &w, rate, found).norm();
        if *a < 6.0 * beside(x, &w, rate, found) || *a < 1e-7 {
            return None;
        }
    }
    let pair = |order: f64| {
        let by = order * hertz[0];
        100.0 * (line(x, &w, rate, hertz[1] - by).norm() + line(x, &w, rate, hertz[1] + by).norm())
            / amplitude[1]
    };
    Some(Modulation {
        hertz,
        amplitude,
        percent: [pair(1.0), pair(2.0)],
        floor_percent: 200.0 * beside(x, &w, rate, hertz[1] + 1.5 * hertz[0]) / amplitude[1],
    })
}
