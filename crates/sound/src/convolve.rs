//! A loudspeaker's impulse response laid over sound, block by block.
//!
//! The response is cut into pieces of one block; each piece's spectrum meets that of the block that was played so long
//! ago (uniformly partitioned overlap-save; T. G. Stockham, High-speed convolution and correlation, Spring Joint Computer
//! Conference 1966, from memory, not seen). Work per sample grows with the response's length over the block, memory with
//! the response.

use crate::spectrum::{forward, inverse};
use realfft::num_complex::Complex64;
use std::collections::VecDeque;

/// Samples in a block.
const BLOCK: usize = 2048;

/// The longest response, in seconds; more is left out.
pub const LONGEST: f64 = 5.0;

/// Sound through an impulse response.
pub struct Convolver {
    pieces: Vec<Vec<Complex64>>,
    /// Spectra of the last blocks, newest first.
    past: VecDeque<Vec<Complex64>>,
    /// The block before, and the one that fills up.
    window: Vec<f64>,
    out: VecDeque<f64>,
}

impl Convolver {
    /// With silence before the first sample. An empty response is silence.
    #[must_use]
    pub fn new(response: &[f64]) -> Self {
        let pieces: Vec<Vec<Complex64>> = response
            .chunks(BLOCK)
            .map(|piece| forward(piece, 2 * BLOCK))
            .collect();
        Self {
            past: VecDeque::with_capacity(pieces.len() + 1),
            pieces,
            window: vec![0.0; BLOCK],
            out: VecDeque::from(vec![0.0; BLOCK - 1]),
        }
    }

    /// By how many samples its output is late.
    #[must_use]
    pub fn late(&self) -> usize {
        BLOCK - 1
    }

    /// One sample in, one sample out.
    pub fn push(&mut self, x: f64) -> f64 {
        self.window.push(x);
        if self.window.len() == 2 * BLOCK {
            self.past.push_front(forward(&self.window, 2 * BLOCK));
            self.past.truncate(self.pieces.len());
            let mut sum = vec![Complex64::new(0.0, 0.0); BLOCK + 1];
            for (piece, block) in self.pieces.iter().zip(&self.past) {
                for ((sum, a), b) in sum.iter_mut().zip(piece).zip(block) {
                    *sum += a * b;
                }
            }
            self.out.extend(&inverse(sum, 2 * BLOCK)[BLOCK..]);
            self.window.drain(..BLOCK);
        }
        self.out.pop_front().unwrap_or(0.0)
    }
}

/// `x` at another rate: a sinc of 64 zeros on both sides under a raised cosine, cut below half of the lower rate. For a
/// response, not for long sound.
#[must_use]
pub fn resampled(x: &[f64], from: f64, to: f64) -> Vec<f64> {
    if (from - to).abs() < 1e-6 {
        return x.to_vec();
    }
    let ratio = to / from;
    let cut = 0.95 * ratio.min(1.0);
    let reach = 64.0 / cut;
    (0..(x.len() as f64 * ratio).ceil() as usize)
        .map(|i| {
            let at = i as f64 / ratio;
            let first = (at - reach).ceil().max(0.0) as usize;
            let last = ((at + reach).floor() as usize).min(x.len().saturating_sub(1));
            let sum: f64 = (first..=last)
                .map(|j| {
                    let t = at - j as f64;
                    let turn = std::f64::consts::PI * cut * t;
                    let sinc = if turn == 0.0 { 1.0 } else { turn.sin() / turn };
                    let edge = 0.5 + 0.5 * (std::f64::consts::PI * t / reach).cos();
                    x[j] * cut * sinc * edge
                })
                .sum();
            // An impulse keeps its area: the response its gain.
            sum / ratio
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn as_the_sum_of_products() {
        let response: Vec<f64> = (0..5000)
            .map(|i| (f64::from(i) * 0.7).sin() * (-f64::from(i) / 900.0).exp())
            .collect();
        let sound: Vec<f64> = (0..9000).map(|i| (f64::from(i * i) * 1e-5).cos()).collect();
        let mut through = Convolver::new(&response);
        let late = through.late();
        let got: Vec<f64> = sound
            .iter()
            .chain(&vec![0.0; late])
            .map(|x| through.push(*x))
            .skip(late)
            .collect();
        for i in (0..9000).step_by(311) {
            let want: f64 = (0..=i.min(4999)).map(|k| response[k] * sound[i - k]).sum();
            assert!((got[i] - want).abs() < 1e-9, "{i}: {} for {want}", got[i]);
        }
    }

    #[test]
    fn a_response_at_another_rate_keeps_its_gain() {
        let at = |rate: f64| -> Vec<f64> {
            (0..(0.1 * rate) as usize)
                .map(|i| {
                    // Room before it, so that what rings ahead of a steep beginning is kept.
                    let t = (i as f64 / rate - 0.01).max(0.0);
                    (std::f64::consts::TAU * 500.0 * t).sin() * (-t / 0.005).exp() / rate
                })
                .collect()
        };
        let gain = |x: &[f64], rate: f64, hertz: f64| {
            let (mut re, mut im) = (0.0, 0.0);
            for (i, v) in x.iter().enumerate() {
                let turn = std::f64::consts::TAU * hertz * i as f64 / rate;
                re += v * turn.cos();
                im += v * turn.sin();
            }
            f64::hypot(re, im)
        };
        for (from, to) in [(44_100.0, 48_000.0), (96_000.0, 44_100.0)] {
            let made = resampled(&at(from), from, to);
            for hertz in [100.0, 500.0, 2000.0, 8000.0] {
                let (a, b) = (gain(&made, to, hertz), gain(&at(from), from, hertz));
                assert!((a / b - 1.0).abs() < 0.01, "{from} {to} {hertz}: {a} {b}");
            }
        }
    }
}
