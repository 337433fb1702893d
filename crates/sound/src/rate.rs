//! More samples a second, and fewer again, by a whole number, block by block.
//!
//! What an amplifier makes of a tone lies far above what a recording can hold, and would fold back into it: so the
//! amplifier runs at a higher rate, and what lies beyond the recording's band is taken out before samples are left out.
//! Both filters are of finite length and linear phase: a sinc under the window of Kaiser (J. F. Kaiser, in Kuo and
//! Kaiser, System Analysis by Digital Computer, 1966; from memory, not seen). Flat to 0.45 of the lower rate, 100 dB
//! down from 0.55 of it; the tests hold both.

use std::f64::consts::PI;

/// Decibels by which images and what would fold back are down.
const DOWN: f64 = 100.0;
/// From here to here the filter falls, as part of the lower rate.
const FALLS: (f64, f64) = (0.45, 0.55);

/// The filter between a rate and `times` of it: its values, of odd length, summing to one.
fn filter(times: usize) -> Vec<f64> {
    if times <= 1 {
        return vec![1.0];
    }
    let steps = times as f64;
    let beta = 0.1102 * (DOWN - 8.7);
    let width = 2.0 * PI * (FALLS.1 - FALLS.0) / steps;
    // Whole samples of the lower rate on both sides, so that the delay is whole there too.
    let half = (((DOWN - 7.95) / (2.285 * width) / 2.0 / steps).ceil() as usize + 1) * times;
    let middle = half as f64;
    let cut = 0.5 * (FALLS.0 + FALLS.1) * 2.0 / steps;
    let mut values: Vec<f64> = (0..=2 * half)
        .map(|i| {
            let t = i as f64 - middle;
            let sinc = if t == 0.0 {
                cut
            } else {
                (PI * cut * t).sin() / (PI * t)
            };
            let edge = (1.0 - (t / middle).powi(2)).max(0.0).sqrt();
            sinc * bessel(beta * edge) / bessel(beta)
        })
        .collect();
    let sum: f64 = values.iter().sum();
    for v in &mut values {
        *v /= sum;
    }
    values
}

/// The modified Bessel function of the first kind, order nought, by its series.
fn bessel(x: f64) -> f64 {
    let (mut term, mut sum, mut k) = (1.0, 1.0, 1.0);
    while term > 1e-17 * sum {
        term *= (0.5 * x / k).powi(2);
        sum += term;
        k += 1.0;
    }
    sum
}

/// The last samples, newest first.
#[derive(Debug, Clone)]
struct Past {
    /// All of them twice, one after the other, so that they always stand in one piece.
    twice: Vec<f64>,
    newest: usize,
}

impl Past {
    /// Silence, `count` samples of it.
    fn new(count: usize) -> Self {
        Self {
            twice: vec![0.0; 2 * count],
            newest: 0,
        }
    }

    fn push(&mut self, x: f64) {
        let count = self.twice.len() / 2;
        self.newest = self.newest.checked_sub(1).unwrap_or(count - 1);
        self.twice[self.newest] = x;
        self.twice[self.newest + count] = x;
    }

    fn samples(&self) -> &[f64] {
        &self.twice[self.newest..][..self.twice.len() / 2]
    }
}

/// The sum of products, eight at a time: what is added up one after the other waits for each sum.
fn sum_of_products(a: &[f64], b: &[f64]) -> f64 {
    let ((a, a_rest), (b, b_rest)) = (a.as_chunks::<8>(), b.as_chunks::<8>());
    let mut sums = [0.0; 8];
    for (a, b) in a.iter().zip(b) {
        for (sum, (a, b)) in sums.iter_mut().zip(a.iter().zip(b)) {
            *sum += a * b;
        }
    }
    let rest: f64 = a_rest.iter().zip(b_rest).map(|(a, b)| a * b).sum();
    sums.iter().sum::<f64>() + rest
}

/// To `times` the rate.
#[derive(Debug, Clone)]
pub struct Up {
    /// The filter's values that meet the samples, for each place between two of them.
    phases: Vec<Vec<f64>>,
    late: usize,
    past: Past,
}

impl Up {
    /// With silence before the first sample.
    #[must_use]
    pub fn new(times: usize) -> Self {
        let times = times.max(1);
        let values = filter(times);
        let count = values.len().div_ceil(times);
        let phase = |phase| {
            let mut taken: Vec<f64> = values.iter().skip(phase).step_by(times).copied().collect();
            taken.resize(count, 0.0);
            taken.iter().map(|value| value * times as f64).collect()
        };
        Self {
            phases: (0..times).map(phase).collect(),
            late: (values.len() - 1) / 2 / times,
            past: Past::new(count),
        }
    }

    /// By how many samples of the lower rate its output is late.
    #[must_use]
    pub fn late(&self) -> usize {
        self.late
    }

    /// Appends what `x` becomes, `times` values.
    pub fn push(&mut self, x: f64, out: &mut Vec<f64>) {
        self.past.push(x);
        let samples = self.past.samples();
        out.extend(
            self.phases
                .iter()
                .map(|values| sum_of_products(values, samples)),
        );
    }
}

/// To one `times`th of the rate.
#[derive(Debug, Clone)]
pub struct Down {
    times: usize,
    values: Vec<f64>,
    past: Past,
    /// Samples until the next one goes out.
    left: usize,
}

impl Down {
    /// With silence before the first sample.
    #[must_use]
    pub fn new(times: usize) -> Self {
        let times = times.max(1);
        let values = filter(times);
        Self {
            times,
            past: Past::new(values.len()),
            values,
            left: 1,
        }
    }

    /// By how many samples of the lower rate its output is late.
    #[must_use]
    pub fn late(&self) -> usize {
        (self.values.len() - 1) / 2 / self.times
    }

    /// Takes one sample in; gives one out for the first, and for every `times`th from there.
    pub fn push(&mut self, x: f64) -> Option<f64> {
        self.past.push(x);
        self.left -= 1;
        if self.left > 0 {
            return None;
        }
        self.left = self.times;
        Some(sum_of_products(&self.values, self.past.samples()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    /// Its size at a frequency, as part of the lower rate.
    fn size(values: &[f64], times: usize, part: f64) -> f64 {
        let (mut re, mut im) = (0.0, 0.0);
        for (i, v) in values.iter().enumerate() {
            let turn = TAU * part * i as f64 / times as f64;
            re += v * turn.cos();
            im += v * turn.sin();
        }
        f64::hypot(re, im)
    }

    #[test]
    fn flat_within_the_band_and_a_hundred_decibels_down_beyond_it() {
        for times in [2, 3, 4, 8] {
            let values = filter(times);
            for i in 0..=450 {
                let at = size(&values, times, f64::from(i) / 1000.0);
                assert!((at - 1.0).abs() < 2e-5, "{times}, {i}: {at}");
            }
            for i in 550..500 * times as i32 {
                let at = crate::decibels(size(&values, times, f64::from(i) / 1000.0));
                assert!(at < -98.0, "{times}, {i}: {at}");
            }
        }
    }

    #[test]
    fn up_and_down_again_is_the_same_later() {
        for times in [1, 2, 4, 5] {
            let (mut up, mut down) = (Up::new(times), Down::new(times));
            let wave = |i: f64| (0.3 * i).sin() + 0.4 * (1.1 * i + 0.2).cos();
            let (mut inside, mut back) = (Vec::new(), Vec::new());
            for i in 0..1000 {
                inside.clear();
                up.push(wave(f64::from(i)), &mut inside);
                back.extend(inside.iter().filter_map(|x| down.push(*x)));
            }
            assert_eq!(back.len(), 1000);
            let late = up.late() + down.late();
            for (i, x) in back.iter().enumerate().skip(300) {
                let want = wave((i - late) as f64);
                assert!((x - want).abs() < 1e-4, "{times}, {i}: {x} for {want}");
            }
        }
    }
}
