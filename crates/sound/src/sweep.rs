//! Frequency response and harmonic distortion from a recorded sweep.
//!
//! Dividing by the sweep turns what came back into an impulse response; what the amplifier adds as harmonics arrives
//! earlier, each order at its own time, and is cut out there (A. Farina, 108th AES Convention, 2000; A. Novak et al.,
//! J. Audio Eng. Soc. 63(10), 2015; both from memory, not seen).

use crate::signals::{SWEEP, bare_sweep, sweep_constant};
use crate::spectrum::{forward, inverse, quick_length};
use realfft::num_complex::Complex64;
use std::f64::consts::PI;

/// The highest order of distortion that is separated.
pub const HIGHEST: u32 = 7;

/// One frequency of the response.
#[derive(Debug, Clone, PartialEq)]
pub struct ResponsePoint {
    /// Hertz.
    pub hertz: f64,
    /// What comes back over what was played at full scale's peak, in decibels.
    pub db: f64,
    /// What `db` may be wrong by because of noise (95 %), in decibels.
    pub uncertainty: f64,
    /// Harmonic distortion of the second order and up, against the fundamental in decibels, with what noise alone would
    /// show; none where the harmonic lies beyond the band.
    pub harmonics: Vec<Option<(f64, f64)>>,
    /// Total harmonic distortion of the orders that are there, in per cent of the fundamental.
    pub thd_percent: Option<f64>,
}

/// What a recorded sweep says.
#[derive(Debug, Clone, PartialEq)]
pub struct Swept {
    /// When the sweep begins in the recording, in seconds.
    pub begins: f64,
    /// The response at third-octave frequencies.
    pub points: Vec<ResponsePoint>,
    /// How far the impulse response stands out of the noise, in decibels.
    pub clearness: f64,
}

/// Why a recording gives no response.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum SweepError {
    /// Shorter than the sweep.
    #[error("the recording is shorter than the sweep")]
    Short,
    /// No sweep in it.
    #[error("the sweep is not to be found in the recording")]
    NotFound,
}

/// The response from `x`, which holds the recorded sweep somewhere. `hertz` are the frequencies wanted.
///
/// # Errors
/// When `x` is too short or holds no sweep.
pub fn response(x: &[f64], rate: f64, hertz: &[f64]) -> Result<Swept, SweepError> {
    let played = bare_sweep(rate);
    if x.len() < played.len() || rate < 8000.0 {
        return Err(SweepError::Short);
    }
    let n = quick_length(x.len() + played.len());
    let reference = forward(&played, n);
    let (low, high) = (SWEEP.0, SWEEP.1.min(0.49 * rate));
    let strongest = reference
        .iter()
        .map(Complex64::norm_sqr)
        .fold(0.0, f64::max);
    let bin = rate / n as f64;
    let mut spectrum = forward(x, n);
    for (i, (y, s)) in spectrum.iter_mut().zip(&reference).enumerate() {
        let f = i as f64 * bin;
        // Soft edges of the band, so that the impulse dies away quickly.
        let edge = ((f / low).log2() / 0.8)
            .clamp(0.0, 1.0)
            .min(((high / f.max(1e-9)).log2() / 0.06).clamp(0.0, 1.0));
        let soft = 0.5 - 0.5 * (PI * edge).cos();
        *y *= s.conj() * (soft / (s.norm_sqr() + 1e-9 * strongest));
    }
    let impulse = inverse(spectrum, n);
    let (peak_at, peak) = impulse
        .iter()
        .enumerate()
        .fold((0, 0.0_f64), |best, (i, v)| {
            if v.abs() > best.1 { (i, v.abs()) } else { best }
        });
    let mean_square = impulse.iter().map(|v| v * v).sum::<f64>() / n as f64;
    let clearness = crate::decibels(peak / mean_square.sqrt().max(1e-300));
    if peak < 1e-9 || clearness < 30.0 {
        return Err(SweepError::NotFound);
    }
    let constant = sweep_constant();
    let apart = |order: u32| constant * f64::from(order).ln();
    // The response itself: from 0.25 s before its peak (the second harmonic is 0.9 s before) to 0.9 s after.
    let main = cut(&impulse, rate, peak_at, 0.0, 0.25, 0.9);
    // A place where neither response nor harmonics are: what noise looks like, in a piece of the same length.
    let blank = cut(&impulse, rate, peak_at, apart(HIGHEST) + 1.4, 0.575, 0.575);
    let mut orders = Vec::new();
    for order in 2..=HIGHEST {
        let room = (apart(order + 1) - apart(order)).min(apart(order) - apart(order - 1));
        let half = 0.42 * room;
        let piece = cut(&impulse, rate, peak_at, apart(order), half, half);
        let noise = cut(&impulse, rate, peak_at, apart(HIGHEST) + 1.4, half, half);
        orders.push((order, piece, noise));
    }
    let top = 0.93 * high;
    let points = hertz
        .iter()
        .filter(|f| **f >= 2.0 * low && **f <= top)
        .map(|f| {
            let here = main.at(*f);
            let harmonics: Vec<Option<(f64, f64)>> = orders
                .iter()
                .map(|(order, piece, noise)| {
                    let up = f64::from(*order) * f;
                    (up <= top).then(|| {
                        let floor = noise.at(up);
                        // Noise adds its power to the line's.
                        let clear = (piece.at(up).powi(2) - floor.powi(2)).max(0.0).sqrt();
                        (crate::decibels(clear / here), crate::decibels(floor / here))
                    })
                })
                .collect();
            let known: Vec<f64> = harmonics
                .iter()
                .flatten()
                .map(|(db, _)| 10_f64.powf(db / 10.0))
                .collect();
            ResponsePoint {
                hertz: *f,
                db: crate::decibels(here),
                uncertainty: 20.0
                    * (1.0 + 1.96 * blank.at(*f) / std::f64::consts::SQRT_2 / here.max(1e-300))
                        .log10(),
                harmonics,
                thd_percent: (!known.is_empty()).then(|| 100.0 * known.iter().sum::<f64>().sqrt()),
            }
        })
        .collect();
    Ok(Swept {
        begins: peak_at as f64 / rate,
        points,
        clearness,
    })
}

/// The frequencies of third octaves from 20 Hz to 20 kHz (IEC 61260-1, base ten, exact).
#[must_use]
pub fn third_octaves() -> Vec<f64> {
    (-17..=13)
        .map(|n| 1000.0 * 10_f64.powf(f64::from(n) / 10.0))
        .collect()
}

/// A piece of the impulse response as a spectrum.
struct Piece {
    spectrum: Vec<f64>,
    bin: f64,
}

impl Piece {
    /// Its size at `hertz`: the mean power within a forty-eighth of an octave on both sides.
    fn at(&self, hertz: f64) -> f64 {
        let from = (hertz * 2_f64.powf(-1.0 / 48.0) / self.bin).ceil() as usize;
        let to = ((hertz * 2_f64.powf(1.0 / 48.0) / self.bin) as usize)
            .min(self.spectrum.len().saturating_sub(1));
        if from >= to {
            // Between two bins: along the line from one to the other.
            let at = hertz / self.bin;
            let i = (at as usize).min(self.spectrum.len().saturating_sub(2));
            let part = (at - i as f64).clamp(0.0, 1.0);
            return (self.spectrum[i] * (1.0 - part) + self.spectrum[i + 1] * part).sqrt();
        }
        let slice = &self.spectrum[from..=to];
        (slice.iter().sum::<f64>() / slice.len() as f64).sqrt()
    }
}

/// The piece `earlier` seconds before the peak, from `before` seconds before that place to `after` seconds after it, its
/// outer fifths faded.
fn cut(impulse: &[f64], rate: f64, peak_at: usize, earlier: f64, before: f64, after: f64) -> Piece {
    let n = impulse.len();
    let (back, length) = ((before * rate) as usize, ((before + after) * rate) as usize);
    let start = (peak_at + 2 * n).saturating_sub((earlier * rate).round() as usize + back) % n;
    let fade = ((before.min(after) * 0.4) * rate).max(1.0);
    let piece: Vec<f64> = (0..length)
        .map(|i| {
            let edge = ((i as f64 + 0.5) / fade)
                .min((length as f64 - i as f64 - 0.5) / fade)
                .clamp(0.0, 1.0);
            impulse[(start + i) % n] * (0.5 - 0.5 * (PI * edge).cos())
        })
        .collect();
    let m = quick_length(4 * length);
    Piece {
        spectrum: forward(&piece, m).iter().map(Complex64::norm_sqr).collect(),
        bin: rate / m as f64,
    }
}
