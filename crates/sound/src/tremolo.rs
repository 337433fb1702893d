//! Tremolo: how fast, how deep, what shape, how steady, from a recorded steady tone.

use crate::spectrum::{forward, quick_length, refine};
use realfft::num_complex::Complex64;
use std::f64::consts::{PI, TAU};

/// A measured tremolo.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tremolo {
    /// Swings a second.
    pub hertz: f64,
    /// What `hertz` may be wrong by (95 %), from how the halves of the recording differ.
    pub hertz_uncertainty: f64,
    /// Depth in per cent: highest less lowest, over their sum.
    pub depth_percent: f64,
    /// The lowest level below the highest, in decibels.
    pub down_db: f64,
    /// Second and third harmonic of the swing, in per cent of its first: 0 is a sine.
    pub shape_percent: [f64; 2],
    /// The share of a swing in which the level rises, in per cent.
    pub rising_percent: f64,
    /// By how many per cent the rate changes in a minute.
    pub drift_percent: f64,
    /// The tone it was heard on, in hertz.
    pub tone: f64,
}

/// Samples a second of the envelope.
const ENVELOPE_RATE: f64 = 500.0;
/// Half the width of the band around the tone that makes the envelope, in hertz; and of a low tone, as a share of it.
const BAND: (f64, f64) = (130.0, 0.6);
/// The share of the band that is not faded: of a swing as many harmonics count as lie below.
const WHOLE: f64 = 0.9;
/// Harmonics of the swing that make its shape, at least and at most.
const SHAPE: (usize, usize) = (3, 24);

/// The tremolo on the strongest tone of `x`. None where nothing swings between 1 and 20 Hz by at least one per cent.
#[must_use]
pub fn tremolo(x: &[f64], rate: f64) -> Option<Tremolo> {
    let seconds = x.len() as f64 / rate;
    if seconds < 2.0 {
        return None;
    }
    let (envelope, tone) = envelope(x, rate)?;
    // The filter of the envelope needs some room at both ends.
    let margin = (0.25 * ENVELOPE_RATE) as usize;
    let inner = envelope.get(margin..envelope.len().checked_sub(margin)?)?;
    if inner.len() < 2 * ENVELOPE_RATE as usize {
        return None;
    }
    let mean = inner.iter().sum::<f64>() / inner.len() as f64;
    let swing: Vec<f64> = inner.iter().map(|v| v - mean).collect();
    let w = crate::spectrum::window(swing.len());
    let windowed: Vec<f64> = swing.iter().zip(&w).map(|(a, b)| a * b).collect();
    let n = quick_length(8 * swing.len());
    let spectrum = forward(&windowed, n);
    let bin = ENVELOPE_RATE / n as f64;
    let (at, _) = spectrum
        .iter()
        .enumerate()
        .filter(|(i, _)| (1.0..=20.0).contains(&(*i as f64 * bin)))
        .fold((0, 0.0), |b, (i, v)| {
            if v.norm_sqr() > b.1 {
                (i, v.norm_sqr())
            } else {
                b
            }
        });
    let hertz = refine(&swing, ENVELOPE_RATE, at as f64 * bin, &[1]);
    if !(0.8..=21.0).contains(&hertz) {
        return None;
    }
    let harmonics = ((WHOLE * half_width(tone) / hertz) as usize).clamp(SHAPE.0, SHAPE.1);
    let fit = fit(inner, hertz, harmonics)?;
    let (lowest, highest) = extremes(&fit)?;
    let lowest = lowest.max(0.0);
    let depth = (highest - lowest) / (highest + lowest);
    if depth.is_nan() || depth < 0.01 {
        return None;
    }
    let wave = smoothed(&fit, narrowest(harmonics));
    let next = wave.iter().cycle().skip(1);
    let rising = wave
        .iter()
        .zip(next)
        .filter(|(now, then)| then > now)
        .count();
    let size = |k: usize| fit[2 * k - 1].hypot(fit[2 * k]);
    let third = swing.len() / 3;
    let (first, last) = (&swing[..third], &swing[swing.len() - third..]);
    let early = refine(first, ENVELOPE_RATE, hertz, &[1]);
    let late = refine(last, ENVELOPE_RATE, hertz, &[1]);
    let apart = (swing.len() - third) as f64 / ENVELOPE_RATE;
    Some(Tremolo {
        hertz,
        hertz_uncertainty: ((early - late).abs() / 2.0).max(2e-4 * hertz),
        depth_percent: 100.0 * depth,
        down_db: -crate::decibels(lowest / highest),
        shape_percent: [100.0 * size(2) / size(1), 100.0 * size(3) / size(1)],
        rising_percent: 100.0 * rising as f64 / POINTS as f64,
        drift_percent: 100.0 * (late - early) / hertz / apart * 60.0,
        tone,
    })
}

/// How far the band of the envelope reaches to each side of the tone, in hertz.
fn half_width(tone: f64) -> f64 {
    BAND.0.min(BAND.1 * tone)
}

/// The envelope of the strongest tone above 60 Hz, [`ENVELOPE_RATE`] samples a second, and the tone.
///
/// The analytic signal of a band around the tone (D. Gabor, Theory of communication, J. IEE 93, 1946).
fn envelope(x: &[f64], rate: f64) -> Option<(Vec<f64>, f64)> {
    let n = quick_length(x.len());
    let spectrum = forward(x, n);
    let bin = rate / n as f64;
    let (at, size) = spectrum
        .iter()
        .enumerate()
        .filter(|(i, _)| (60.0..0.45 * rate).contains(&(*i as f64 * bin)))
        .fold((0, 0.0), |b, (i, v)| {
            if v.norm_sqr() > b.1 {
                (i, v.norm_sqr())
            } else {
                b
            }
        });
    if size <= 0.0 {
        return None;
    }
    let tone = at as f64 * bin;
    let width = half_width(tone);
    // Shifted down to nothing and back in time at a low rate.
    let m = ((n as f64 * ENVELOPE_RATE / rate).round() as usize).max(16);
    let mut low = vec![Complex64::new(0.0, 0.0); m];
    let reach = ((width / bin) as i64).min(m as i64 / 2 - 1);
    for k in -reach..=reach {
        let Some(v) = usize::try_from(at as i64 + k)
            .ok()
            .and_then(|i| spectrum.get(i))
        else {
            continue;
        };
        let edge =
            ((reach - k.abs()) as f64 / ((1.0 - WHOLE) * reach as f64).max(1.0)).clamp(0.0, 1.0);
        low[k.rem_euclid(m as i64) as usize] = v * (0.5 - 0.5 * (PI * edge).cos());
    }
    let time = complex_inverse(&low);
    let seconds = x.len() as f64 / rate;
    // The low rate is not exactly the wanted one, because m is a whole number.
    let real_rate = m as f64 * bin;
    let wanted = (seconds * ENVELOPE_RATE) as usize;
    let sizes: Vec<f64> = time.iter().map(|v| 2.0 * v.norm() / n as f64).collect();
    let out = (0..wanted)
        .filter_map(|i| {
            let at = i as f64 / ENVELOPE_RATE * real_rate;
            let j = at as usize;
            let part = at - j as f64;
            let (a, b) = (sizes.get(j)?, sizes.get(j + 1).or_else(|| sizes.get(j))?);
            Some(a + part * (b - a))
        })
        .collect();
    Some((out, tone))
}

/// The sum over the bins of a complex spectrum at each time, by two real transforms.
fn complex_inverse(spectrum: &[Complex64]) -> Vec<Complex64> {
    let m = spectrum.len();
    let re: Vec<f64> = spectrum.iter().map(|v| v.re).collect();
    let im: Vec<f64> = spectrum.iter().map(|v| v.im).collect();
    let (a, b) = (forward(&re, m), forward(&im, m));
    // The forward transform of a real list, read backwards, is its inverse sum.
    let at = |s: &[Complex64], t: usize| {
        let t = t % m;
        if t <= m / 2 { s[t].conj() } else { s[m - t] }
    };
    (0..m)
        .map(|t| at(&a, t) + Complex64::new(0.0, 1.0) * at(&b, t))
        .collect()
}

/// Mean and cosines and sines of the first harmonics that fit `x` best.
fn fit(x: &[f64], hertz: f64, harmonics: usize) -> Option<Vec<f64>> {
    let terms = 2 * harmonics + 1;
    let mut normal = vec![vec![0.0; terms + 1]; terms];
    for (i, v) in x.iter().enumerate() {
        let angle = TAU * (hertz * i as f64 / ENVELOPE_RATE).fract();
        let row = basis(angle, harmonics);
        for (line, a) in normal.iter_mut().zip(&row) {
            for (cell, b) in line.iter_mut().zip(row.iter().chain([v])) {
                *cell += a * b;
            }
        }
    }
    solved(&mut normal)
}

/// The unknowns of linear equations, each a row with its right side last, by Gauss and Jordan. No rows are exchanged: of
/// whole swings the matrix is nearly diagonal, of powers of rising widths no leading part is singular.
fn solved(rows: &mut [Vec<f64>]) -> Option<Vec<f64>> {
    let terms = rows.len();
    for c in 0..terms {
        let pivot = rows[c][c];
        if pivot.abs() < 1e-9 {
            return None;
        }
        for v in &mut rows[c] {
            *v /= pivot;
        }
        let row = rows[c].clone();
        for (r, other) in rows.iter_mut().enumerate() {
            if r != c {
                let factor = other[c];
                for (o, v) in other.iter_mut().zip(&row) {
                    *o -= factor * v;
                }
            }
        }
    }
    rows.iter().map(|r| r.get(terms).copied()).collect()
}

/// One, and the cosines and sines of the multiples of `angle`.
fn basis(angle: f64, harmonics: usize) -> Vec<f64> {
    let mut row = vec![1.0];
    for k in 1..=harmonics {
        row.push((k as f64 * angle).cos());
        row.push((k as f64 * angle).sin());
    }
    row
}

/// Points of one swing.
const POINTS: usize = 720;
/// Widths by which the swing is smoothed, in shares of the narrowest: up to twice that.
const WIDTHS: [f64; 4] = [1.0, 4.0 / 3.0, 5.0 / 3.0, 2.0];

/// The narrowest smoothing, in radians, that leaves little of the harmonics which were not heard: with many of them
/// they are worn down to 0.6 %, so that a jump does not ring; with few to 3 %, so that a slow bow stays one.
fn narrowest(harmonics: usize) -> f64 {
    let turn = if harmonics >= 18 { 3.2 } else { 2.6 };
    turn / harmonics as f64
}

/// One swing, smoothed by a bell curve of so many radians.
fn smoothed(fit: &[f64], width: f64) -> Vec<f64> {
    let harmonics = fit.len() / 2;
    let eased = |k: usize| (-0.5 * (k as f64 * width).powi(2)).exp();
    let terms: Vec<f64> = fit
        .iter()
        .enumerate()
        .map(|(i, a)| a * eased(i.div_ceil(2)))
        .collect();
    (0..POINTS)
        .map(|i| {
            let row = basis(TAU * i as f64 / POINTS as f64, harmonics);
            terms.iter().zip(row).map(|(a, b)| a * b).sum()
        })
        .collect()
}

/// Lowest and highest level of the swing itself, without what smoothing wears off.
///
/// Of a sharp peak a smoothed swing lacks a height that goes with the width of the smoothing, of a round one that goes with
/// its square and its fourth power, of a flat top nothing: from four widths the height at none follows (the deferred
/// approach to the limit; L. F. Richardson, 1927, from memory, not seen).
fn extremes(fit: &[f64]) -> Option<(f64, f64)> {
    let unit = narrowest(fit.len() / 2);
    let mut rows = Vec::new();
    for width in WIDTHS {
        let wave = smoothed(fit, width * unit);
        let lowest = wave.iter().copied().fold(f64::MAX, f64::min);
        let highest = wave.iter().copied().fold(f64::MIN, f64::max);
        let powers = [1.0, width, width.powi(2), width.powi(4)];
        rows.push((powers, lowest, highest));
    }
    let at_none = |of: fn(&([f64; 4], f64, f64)) -> f64| {
        let mut system: Vec<Vec<f64>> = rows
            .iter()
            .map(|row| row.0.into_iter().chain([of(row)]).collect())
            .collect();
        Some(*solved(&mut system)?.first()?)
    };
    Some((at_none(|row| row.1)?, at_none(|row| row.2)?))
}
