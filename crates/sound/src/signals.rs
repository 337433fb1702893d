//! Test signals to play into an amplifier.
//!
//! A signal is defined in seconds, so that it is the same at every sampling rate, and the analysis makes it anew at the
//! rate of the recording.

use std::f64::consts::{PI, TAU};

/// The peak of the signals, against full scale: 1 dB below.
pub const PEAK: f64 = 0.891_25;

/// Silence before the sweep begins, in seconds.
pub const LEAD_IN: f64 = 1.0;
/// Silence after the sweep, in seconds.
pub const TAIL: f64 = 1.0;
/// Where the sweep begins and ends, in hertz.
pub const SWEEP: (f64, f64) = (10.0, 21_000.0);
/// How long the sweep is meant to last; its exact length makes whole turns (see [`sweep_constant`]).
pub const SWEEP_SECONDS: f64 = 10.0;

/// The frequencies of the stepped signal, in hertz.
pub const STEP_HERTZ: [f64; 3] = [100.0, 1000.0, 5000.0];
/// The levels of the stepped signal at each frequency, in decibels against the signal's peak.
pub const STEP_LEVELS: [f64; 8] = [-42.0, -36.0, -30.0, -24.0, -18.0, -12.0, -6.0, 0.0];
/// One step, and the silence after it, in seconds.
pub const STEP: (f64, f64) = (0.8, 0.2);

/// The two tones for modulation distortion: hertz and share of the peak, four to one.
pub const TWO_TONE: [(f64, f64); 2] = [(250.0, 0.8), (8000.0, 0.2)];

/// The time in which the sweep's frequency grows by e, in seconds, chosen so that harmonics stand still in phase.
///
/// A. Novak, P. Lotton, L. Simon, Synchronized swept-sine: theory, application and implementation, J. Audio Eng. Soc.
/// 63(10), 2015, after A. Farina, Simultaneous measurement of impulse response and distortion with a swept-sine
/// technique, 108th AES Convention, 2000 (both from memory, not seen).
#[must_use]
pub fn sweep_constant() -> f64 {
    let (low, high) = SWEEP;
    (low * SWEEP_SECONDS / (high / low).ln()).round() / low
}

/// The sweep alone, without lead-in: samples at `rate`, peak 1.
pub(crate) fn bare_sweep(rate: f64) -> Vec<f64> {
    let (low, high) = SWEEP;
    let constant = sweep_constant();
    let length = constant * (high / low).ln();
    // Faded in over the first half octave and out over the last twenty-fourth.
    let fade_in = constant * 0.5 * 2_f64.ln();
    let fade_out = constant * 2_f64.ln() / 24.0;
    (0..(length * rate) as usize)
        .map(|i| {
            let t = i as f64 / rate;
            let edge = (t / fade_in).min((length - t) / fade_out).clamp(0.0, 1.0);
            (TAU * low * constant * ((t / constant).exp() - 1.0)).sin()
                * (0.5 - 0.5 * (PI * edge).cos())
        })
        .collect()
}

/// A logarithmic sweep with lead-in and tail.
#[must_use]
pub fn sweep(rate: f64) -> Vec<f64> {
    let mut all = silence(rate, LEAD_IN);
    all.extend(bare_sweep(rate).iter().map(|x| x * PEAK));
    all.extend(silence(rate, TAIL));
    all
}

/// Nothing, to hear the amplifier's own noise.
#[must_use]
pub fn silence(rate: f64, seconds: f64) -> Vec<f64> {
    vec![0.0; (rate * seconds) as usize]
}

/// Steps of level at [`STEP_HERTZ`], each soft at its edges, after the lead-in.
#[must_use]
pub fn steps(rate: f64) -> Vec<f64> {
    let mut all = silence(
        rate,
        LEAD_IN + (STEP.0 + STEP.1) * (STEP_HERTZ.len() * STEP_LEVELS.len()) as f64,
    );
    for (start, hertz, level) in schedule() {
        let peak = PEAK * 10_f64.powf(level / 20.0);
        let first = (start * rate).ceil() as usize;
        let last = ((start + STEP.0) * rate) as usize;
        for (i, out) in all.iter_mut().enumerate().take(last).skip(first) {
            let t = i as f64 / rate - start;
            let edge = (t.min(STEP.0 - t) / 0.02).clamp(0.0, 1.0);
            *out = peak * (TAU * hertz * t).sin() * (0.5 - 0.5 * (PI * edge).cos());
        }
    }
    all
}

/// When each step begins in seconds, its hertz and its level in decibels.
pub(crate) fn schedule() -> Vec<(f64, f64, f64)> {
    let mut all = Vec::new();
    for hertz in STEP_HERTZ {
        for level in STEP_LEVELS {
            all.push((LEAD_IN + (STEP.0 + STEP.1) * all.len() as f64, hertz, level));
        }
    }
    all
}

/// Two tones together, for modulation distortion.
#[must_use]
pub fn two_tone(rate: f64, seconds: f64) -> Vec<f64> {
    (0..(rate * seconds) as usize)
        .map(|i| {
            let t = i as f64 / rate;
            PEAK * TWO_TONE
                .iter()
                .map(|(hertz, share)| share * (TAU * hertz * t).sin())
                .sum::<f64>()
        })
        .collect()
}

/// One steady tone, for a tremolo or for output power.
#[must_use]
pub fn tone(rate: f64, seconds: f64, hertz: f64) -> Vec<f64> {
    (0..(rate * seconds) as usize)
        .map(|i| PEAK * (TAU * hertz * i as f64 / rate).sin())
        .collect()
}

/// A plucked string of our own: the modes of a stiff string plucked at a fifth of its length, each dying away at its
/// own pace (N. H. Fletcher, T. D. Rossing, The Physics of Musical Instruments, chapter 2, from memory, not seen), heard
/// by a pick-up at a ninth. The open A of a guitar, then the E below, then both.
#[must_use]
pub fn string(rate: f64) -> Vec<f64> {
    let seconds = 6.0;
    let notes = [
        (0.2, 110.0),
        (2.0, 82.41),
        (3.8, 110.0),
        (3.83, 82.41),
        (3.86, 164.81),
    ];
    let mut all = silence(rate, seconds);
    for (start, hertz) in notes {
        for n in 1..=60_u32 {
            let k = f64::from(n);
            let f = hertz * k * (1.0 + 4e-5 * k * k).sqrt();
            if f > 0.45 * rate || f > 9000.0 {
                break;
            }
            let level = (PI * k / 5.0).sin() * (PI * k / 9.0).sin() / k;
            let decay = 0.9 + 0.05 * k + 2e-7 * f * f;
            let first = (start * rate) as usize;
            let begins = first as f64 / rate - start;
            // A pointer that turns and shrinks by the same from sample to sample: off by 1e-10 at the end.
            let pointer = |size: f64, angle: f64| [size * angle.cos(), size * angle.sin()];
            let [mut along, mut across] =
                pointer(level * (-decay * begins).exp(), TAU * f * begins);
            let [c, s] = pointer((-decay / rate).exp(), TAU * f / rate);
            for (i, out) in all.iter_mut().enumerate().skip(first) {
                let onset = ((i as f64 / rate - start) / 0.002).clamp(0.0, 1.0);
                *out += onset * across;
                [along, across] = [along * c - across * s, along * s + across * c];
            }
        }
    }
    let peak = all.iter().fold(0.0_f64, |m, x| m.max(x.abs()));
    if peak > 0.0 {
        for x in &mut all {
            *x *= PEAK / peak;
        }
    }
    all
}
