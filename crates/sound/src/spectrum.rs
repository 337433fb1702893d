//! Windows, transforms, and the amplitude of lines whose frequency is known or nearly known.

use realfft::RealFftPlanner;
use realfft::num_complex::Complex64;
use std::f64::consts::TAU;

/// The four-term window of Blackman and Harris: side lobes below -92 dB (F. J. Harris, On the use of windows for
/// harmonic analysis with the discrete Fourier transform, Proc. IEEE 66, 1978).
pub(crate) fn window(n: usize) -> Vec<f64> {
    (0..n)
        .map(|i| {
            let x = TAU * (i as f64 + 0.5) / n as f64;
            0.358_75 - 0.488_29 * x.cos() + 0.141_28 * (2.0 * x).cos() - 0.011_68 * (3.0 * x).cos()
        })
        .collect()
}

/// The transform of `x`, filled up with nothing to `n` samples: `n / 2 + 1` values.
pub(crate) fn forward(x: &[f64], n: usize) -> Vec<Complex64> {
    let plan = RealFftPlanner::<f64>::new().plan_fft_forward(n);
    let mut input = vec![0.0; n];
    let m = x.len().min(n);
    input[..m].copy_from_slice(&x[..m]);
    let mut out = plan.make_output_vec();
    // Lengths come from the plan itself: it cannot refuse them.
    let _ = plan.process(&mut input, &mut out);
    out
}

/// Back to `n` samples, scaled so that `inverse(forward(x)) = x`.
pub(crate) fn inverse(mut spectrum: Vec<Complex64>, n: usize) -> Vec<f64> {
    let plan = RealFftPlanner::<f64>::new().plan_fft_inverse(n);
    if let Some(first) = spectrum.first_mut() {
        first.im = 0.0;
    }
    if n.is_multiple_of(2)
        && let Some(last) = spectrum.last_mut()
    {
        last.im = 0.0;
    }
    let mut out = plan.make_output_vec();
    let _ = plan.process(&mut spectrum, &mut out);
    for x in &mut out {
        *x /= n as f64;
    }
    out
}

/// A length whose transform is quick.
pub(crate) fn quick_length(least: usize) -> usize {
    least.max(16).next_power_of_two()
}

/// The line at `hertz` in `x`, windowed: amplitude (peak) and phase of a cosine at the first sample.
pub(crate) fn line(x: &[f64], window: &[f64], rate: f64, hertz: f64) -> Complex64 {
    let turn = Complex64::from_polar(1.0, -TAU * hertz / rate);
    let mut sum = Complex64::new(0.0, 0.0);
    let mut total = 0.0;
    for (chunk, (xs, ws)) in x.chunks(4096).zip(window.chunks(4096)).enumerate() {
        // The phase starts anew in each chunk, so that rounding does not add up.
        let turns = (hertz / rate * (chunk * 4096) as f64).fract();
        let mut at = Complex64::from_polar(1.0, -TAU * turns);
        for (x, w) in xs.iter().zip(ws) {
            sum += at * (x * w);
            total += w;
            at *= turn;
        }
    }
    if total > 0.0 {
        sum * (2.0 / total)
    } else {
        sum
    }
}

/// How a set of harmonics of `hertz` in `x` must be moved to fit: the frequency that makes the phases of both halves
/// agree, weighted by what each harmonic says. `orders` are the harmonics to use.
pub(crate) fn refine(x: &[f64], rate: f64, mut hertz: f64, orders: &[u32]) -> f64 {
    let half = x.len() / 2;
    if half < 16 {
        return hertz;
    }
    let w = window(half);
    let span = half as f64 / rate;
    for _ in 0..4 {
        let (mut top, mut bottom) = (0.0, 0.0);
        for order in orders {
            let k = f64::from(*order);
            if k * hertz >= 0.48 * rate {
                continue;
            }
            let a = line(&x[..half], &w, rate, k * hertz);
            let b = line(&x[half..2 * half], &w, rate, k * hertz);
            // What the phase should have gained over half the span, taken away.
            let gained = (k * hertz * span).fract() * TAU;
            let turn = (b * a.conj() * Complex64::from_polar(1.0, -gained)).arg();
            let weight = a.norm() * b.norm() * k * k;
            top += weight * turn / (TAU * span * k);
            bottom += weight;
        }
        if bottom <= 0.0 {
            return hertz;
        }
        let by = top / bottom;
        hertz += by;
        if by.abs() < 1e-9 * hertz {
            break;
        }
    }
    hertz
}

/// What noise would look like as a line at `hertz`: the root mean square of the lines a few bins beside it.
pub(crate) fn beside(x: &[f64], window: &[f64], rate: f64, hertz: f64) -> f64 {
    let bin = rate / x.len().max(1) as f64;
    let mut powers: Vec<f64> = (6..=12)
        .flat_map(|k| [-f64::from(k), f64::from(k)])
        .map(|k| hertz + k * bin)
        .filter(|f| *f > 0.0 && *f < 0.5 * rate)
        .map(|f| line(x, window, rate, f).norm_sqr())
        .collect();
    powers.sort_by(f64::total_cmp);
    // The middle of the sorted powers is not led astray by another line; a chi-square of two degrees of freedom has
    // its median at ln 2 of its mean.
    powers
        .get(powers.len() / 2)
        .map_or(0.0, |p| (p / std::f64::consts::LN_2).sqrt())
}

/// Decibels by which a line of `amplitude` may be wrong when noise of `noise` r.m.s. stands under it (95 %).
pub(crate) fn uncertainty(amplitude: f64, noise: f64) -> f64 {
    if amplitude <= 0.0 {
        return 300.0;
    }
    // The part of the noise in phase with the line has half its power.
    let ratio = 1.96 * noise / std::f64::consts::SQRT_2 / amplitude;
    20.0 * (1.0 + ratio).log10()
}
