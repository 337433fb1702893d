//! The mains in a recording: its frequency, its lines and what likely makes them, and the noise between them.

use crate::spectrum::{beside, forward, line, quick_length, refine, uncertainty, window};
use crate::weighting::a_weighting;
use realfft::num_complex::Complex64;

/// The lines that are looked for: the mains and its harmonics up to this order.
pub const ORDERS: u32 = 24;

/// One line of hum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HumLine {
    /// Its order: 1 is the mains frequency.
    pub order: u32,
    /// Its frequency in hertz.
    pub hertz: f64,
    /// Its amplitude (peak), full scale 1.
    pub amplitude: f64,
    /// Its phase as a cosine at the first sample, in degrees.
    pub degrees: f64,
    /// What the amplitude may be wrong by, in decibels (95 %), from the noise beside the line.
    pub uncertainty: f64,
}

/// What likely makes lines of hum. Common practice, no source.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cause {
    /// Mains frequency alone: heater wiring, heater to cathode leak, or a transformer's field.
    Heater,
    /// Mains frequency with its harmonics falling evenly: ripple of a half-wave supply, as for bias.
    HalfWave,
    /// Twice the mains frequency with its even harmonics: ripple of the full-wave high-tension supply.
    FullWave,
    /// High harmonics nearly as strong as low ones: switching spikes of a rectifier, or an earth loop or a poor ground.
    Buzz,
}

/// What a recording says about the mains and the noise between its lines.
#[derive(Debug, Clone, PartialEq)]
pub struct Hum {
    /// The mains frequency found, and what it may be wrong by, in hertz; none where no line stands out of the noise.
    pub mains: Option<(f64, f64)>,
    /// The lines that stand out of the noise.
    pub lines: Vec<HumLine>,
    /// The likely causes, the strongest first, each with the orders that speak for it.
    pub causes: Vec<(Cause, Vec<u32>)>,
    /// All lines together, r.m.s., full scale 1.
    pub rms: f64,
    /// Noise from 20 Hz to 20 kHz (or as far as the rate goes) without the lines, r.m.s.
    pub noise: f64,
    /// The same noise A-weighted (IEC 61672-1).
    pub noise_a: f64,
    /// Everything in the band, lines too, A-weighted.
    pub total_a: f64,
    /// What both noise figures may be wrong by, in decibels (95 %).
    pub noise_uncertainty: f64,
    /// The highest frequency of the noise band, in hertz.
    pub band_to: f64,
    /// Seconds of the recording that were used.
    pub seconds: f64,
}

/// Measures `x`; at most a minute of it is used. None when it is shorter than a second.
#[must_use]
pub fn hum(x: &[f64], rate: f64) -> Option<Hum> {
    let used = x.len().min((60.0 * rate) as usize);
    let x = &x[..used];
    let seconds = used as f64 / rate;
    if seconds < 1.0 {
        return None;
    }
    let mean = x.iter().sum::<f64>() / used as f64;
    let x: Vec<f64> = x.iter().map(|v| v - mean).collect();
    let w = window(used);
    let mut lines = Vec::new();
    let mut mains = None;
    if let Some(near) = candidate(&x, &w, rate) {
        let strong: Vec<u32> = (1..=8)
            .filter(|k| {
                let f = f64::from(*k) * near;
                f < 0.45 * rate && line(&x, &w, rate, f).norm() > 6.0 * beside(&x, &w, rate, f)
            })
            .collect();
        // The lowest strong line first: a high one's phase may be a whole turn off before.
        let hertz = match strong.first() {
            Some(lowest) => refine(&x, rate, refine(&x, rate, near, &[*lowest]), &strong),
            None => near,
        };
        let mut doubt = f64::INFINITY;
        for order in 1..=ORDERS {
            let f = f64::from(order) * hertz;
            if f > 0.45 * rate {
                break;
            }
            let found = line(&x, &w, rate, f);
            let noise = beside(&x, &w, rate, f);
            if found.norm() > 4.0 * noise && found.norm() > 1e-9 {
                lines.push(HumLine {
                    order,
                    hertz: f,
                    amplitude: found.norm(),
                    degrees: found.arg().to_degrees(),
                    uncertainty: uncertainty(found.norm(), noise),
                });
                // The phase of a half is known to noise / line; the frequency follows over half the span.
                doubt = doubt.min(
                    2.0 * 2.0 * noise
                        / found.norm()
                        / (std::f64::consts::PI * seconds * f64::from(order)),
                );
            }
        }
        if !lines.is_empty() {
            mains = Some((hertz, doubt.max(1e-5 * hertz)));
        }
    }
    let rms = (lines
        .iter()
        .map(|l| l.amplitude * l.amplitude / 2.0)
        .sum::<f64>())
    .sqrt();
    let bands = noise(&x, rate, mains.map(|m| m.0));
    Some(Hum {
        mains,
        causes: causes(&lines),
        lines,
        rms,
        noise: bands.plain.sqrt(),
        noise_a: bands.weighted.sqrt(),
        total_a: bands.total.sqrt(),
        noise_uncertainty: bands.uncertainty,
        band_to: bands.to,
        seconds,
    })
}

/// The frequency between 45 and 65 Hz whose first eight harmonics hold most of the power above their surroundings.
fn candidate(x: &[f64], w: &[f64], rate: f64) -> Option<f64> {
    let windowed: Vec<f64> = x.iter().zip(w).map(|(x, w)| x * w).collect();
    let n = quick_length(2 * x.len());
    let spectrum: Vec<f64> = forward(&windowed, n)
        .iter()
        .map(Complex64::norm_sqr)
        .collect();
    let bin = rate / n as f64;
    let mut best = (0.0, 0.0);
    let step = (bin / 8.0).max(1e-4);
    let mut hertz = 45.0;
    while hertz <= 65.0 {
        let mut sum = 0.0;
        for k in 1..=8 {
            let at = f64::from(k) * hertz / bin;
            let i = at.round() as usize;
            let Some(here) = spectrum.get(i) else { break };
            // Against what stands 10 to 14 bins of the window beside it.
            let beside: f64 = [-24_i64, -20, 20, 24]
                .iter()
                .filter_map(|d| {
                    usize::try_from(i as i64 + d)
                        .ok()
                        .and_then(|j| spectrum.get(j))
                })
                .sum::<f64>()
                / 4.0;
            sum += (here / (beside + 1e-30)).ln().max(0.0);
        }
        let favoured = [50.0, 60.0].iter().any(|f| (hertz - f).abs() < 0.6);
        let sum = if favoured { sum } else { 0.6 * sum };
        if sum > best.0 {
            best = (sum, hertz);
        }
        hertz += step;
    }
    // Noise alone gives about 3 for each of the best harmonics.
    (best.0 > 12.0).then_some(best.1)
}

/// What the pattern of the lines suggests.
fn causes(lines: &[HumLine]) -> Vec<(Cause, Vec<u32>)> {
    let power = |k: u32| {
        lines
            .iter()
            .find(|l| l.order == k)
            .map_or(0.0, |l| l.amplitude * l.amplitude)
    };
    let all: f64 = lines.iter().map(|l| l.amplitude * l.amplitude).sum();
    if all <= 0.0 {
        return Vec::new();
    }
    let orders = |pick: &dyn Fn(u32) -> bool| -> Vec<u32> {
        lines.iter().map(|l| l.order).filter(|k| pick(*k)).collect()
    };
    let mut found: Vec<(f64, Cause, Vec<u32>)> = Vec::new();
    let even: f64 = (1..=4).map(|k| power(2 * k)).sum();
    let odd: f64 = [3, 5, 7].iter().map(|k| power(*k)).sum();
    // A sawtooth's harmonics fall as 1/k: the third has a ninth of the first's power, the second a quarter.
    let sawtooth = power(1) > 0.0 && power(3) > 0.03 * power(1) && power(2) > 0.05 * power(1);
    if sawtooth {
        found.push((power(1) + odd, Cause::HalfWave, orders(&|k| k <= 4)));
    } else if power(1) > 0.01 * all {
        found.push((power(1), Cause::Heater, vec![1]));
    }
    let beyond = if sawtooth {
        (even - power(1) / 4.0 * 1.4).max(0.0)
    } else {
        even
    };
    if power(2) > 0.0 && beyond > 0.02 * all {
        found.push((beyond, Cause::FullWave, orders(&|k| k % 2 == 0 && k <= 8)));
    }
    let high: f64 = (9..=ORDERS).map(power).sum();
    let count = orders(&|k| k >= 9).len();
    if count >= 4 && high > 0.01 * all {
        found.push((high, Cause::Buzz, orders(&|k| k >= 9)));
    }
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    found
        .into_iter()
        .map(|(_, cause, orders)| (cause, orders))
        .collect()
}

/// Powers of the noise band.
struct Bands {
    plain: f64,
    weighted: f64,
    total: f64,
    uncertainty: f64,
    to: f64,
}

/// The noise by averaged periodograms (P. D. Welch, IEEE Trans. Audio and Electroacoustics 15, 1967): half overlapping
/// pieces of about a second; bins at the lines take the level of their surroundings.
fn noise(x: &[f64], rate: f64, mains: Option<f64>) -> Bands {
    let n = ((rate as usize).next_power_of_two()).min(1 << x.len().ilog2());
    let w = window(n);
    let gain: f64 = w.iter().map(|v| v * v).sum();
    let mut density = vec![0.0; n / 2 + 1];
    let mut pieces = 0;
    let mut start = 0;
    while start + n <= x.len() {
        let piece: Vec<f64> = x[start..start + n]
            .iter()
            .zip(&w)
            .map(|(x, w)| x * w)
            .collect();
        for (d, s) in density.iter_mut().zip(forward(&piece, n)) {
            // One-sided, as power per bin.
            *d += 2.0 * s.norm_sqr() / gain / n as f64;
        }
        pieces += 1;
        start += n / 2;
    }
    let bin = rate / n as f64;
    let to = 20_000.0_f64.min(0.46 * rate);
    let (first, last) = (
        (20.0 / bin).ceil() as usize,
        ((to / bin) as usize).min(n / 2),
    );
    let (mut plain, mut weighted, mut total, mut squares) = (0.0, 0.0, 0.0, 0.0);
    for i in first..=last {
        let hertz = i as f64 * bin;
        let here = density[i] / f64::from(pieces.max(1));
        let a = 10_f64.powf(a_weighting(hertz) / 10.0);
        total += here * a;
        let on_line = mains.is_some_and(|m| {
            let k = (hertz / m).round();
            k >= 1.0 && k <= f64::from(ORDERS) && (hertz - k * m).abs() < 5.0 * bin
        });
        let clear = if on_line {
            let mut near: Vec<f64> = (6..=14)
                .flat_map(|d| [i.checked_sub(d), Some(i + d)])
                .flatten()
                .filter_map(|j| density.get(j))
                .map(|d| d / f64::from(pieces.max(1)))
                .collect();
            near.sort_by(f64::total_cmp);
            here.min(near.get(near.len() / 2).copied().unwrap_or(here))
        } else {
            here
        };
        plain += clear;
        weighted += clear * a;
        squares += clear * clear;
    }
    // The window makes neighbouring bins alike (two of them count as one), overlapping pieces too.
    let freedom = if squares > 0.0 {
        plain * plain / squares * f64::from(pieces.max(1)) / 2.0
    } else {
        1.0
    };
    let ratio = 1.96 / freedom.max(1.0).sqrt();
    Bands {
        plain,
        weighted,
        total,
        uncertainty: 10.0 * (1.0 + ratio).log10(),
        to,
    }
}
