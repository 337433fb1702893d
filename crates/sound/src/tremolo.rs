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
/// Harmonics of the swing that make its shape: as far as the envelope reaches, in hertz, and how many at least and at most.
const SHAPE: (f64, usize, usize) = (60.0, 3, 24);

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
    let harmonics = ((SHAPE.0 / hertz) as usize).clamp(SHAPE.1, SHAPE.2);
    let fit = fit(inner, hertz, harmonics)?;
    let wave: Vec<f64> = (0..720)
        .map(|i| value(&fit, TAU * f64::from(i) / 720.0))
        .collect();
    let highest = wave.iter().copied().fold(f64::MIN, f64::max);
    let lowest = wave.iter().copied().fold(f64::MAX, f64::min).max(0.0);
    let depth = (highest - lowest) / (highest + lowest);
    if depth.is_nan() || depth < 0.01 {
        return None;
    }
    let rising = (0..720).filter(|i| wave[(i + 1) % 720] > wave[*i]).count();
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
        rising_percent: rising as f64 / 7.2,
        drift_percent: 100.0 * (late - early) / hertz / apart * 60.0,
        tone,
    })
}

/// The envelope of the strongest tone above 60 Hz, [`ENVELOPE_RATE`] samples a second, and the tone.
///
/// The analytic signal of a band around the tone (D. Gabor, Theory of communication, J. IEE 93, 1946); the band reaches
/// 70 Hz to each side; of a swing as many harmonics count as lie below 60 Hz.
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
    let width = 70.0_f64.min(0.6 * tone);
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
        // The last tenth of the band is faded.
        let edge = ((reach - k.abs()) as f64 / (0.1 * reach as f64).max(1.0)).clamp(0.0, 1.0);
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
    // Gauss and Jordan; the matrix is nearly diagonal over whole swings.
    for c in 0..terms {
        let pivot = normal[c][c];
        if pivot.abs() < 1e-9 {
            return None;
        }
        for v in &mut normal[c] {
            *v /= pivot;
        }
        let row = normal[c].clone();
        for (r, other) in normal.iter_mut().enumerate() {
            if r != c {
                let factor = other[c];
                for (o, v) in other.iter_mut().zip(&row) {
                    *o -= factor * v;
                }
            }
        }
    }
    Some(normal.iter().map(|r| r[terms]).collect())
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

/// The fitted swing at `angle`. Corners would ring with as many harmonics as there are, so the higher ones are eased by
/// Lanczos' factors (C. Lanczos, Applied Analysis, 1956, from memory, not seen). The first stays for a sine, so that it is
/// exact, and is eased by half as much for a square, whose third harmonic is a third of it.
fn value(fit: &[f64], angle: f64) -> f64 {
    let harmonics = fit.len() / 2;
    let size = |k: usize| {
        let of = |i: usize| fit.get(i).copied().unwrap_or(0.0);
        of(2 * k - 1).hypot(of(2 * k))
    };
    let square = (3.0 * size(3) / size(1).max(1e-30)).min(1.0);
    let terms = fit.iter().zip(basis(angle, harmonics)).enumerate();
    terms
        .map(|(i, (a, b))| {
            let k = i.div_ceil(2);
            let turn = PI * k as f64 / (harmonics + 1) as f64;
            let eased = match k {
                0 => 1.0,
                1 => 1.0 - 0.5 * square * (1.0 - turn.sin() / turn),
                _ => turn.sin() / turn,
            };
            a * b * eased
        })
        .sum()
}
