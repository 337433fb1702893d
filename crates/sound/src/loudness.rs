//! How loud a piece of sound is, so that two can be heard equally loud.
//!
//! ITU-R BS.1770 (from memory, not seen) for one channel: two filters, mean squares of blocks of 400 ms every 100 ms,
//! blocks below -70 left out, then those more than 10 below the mean of the rest. The unit is its own, decibels against
//! full scale (LKFS). Blocks are counted in classes of a tenth of a decibel, so that memory does not grow with length.

use std::f64::consts::PI;

/// One filter of second order.
#[derive(Debug, Clone)]
struct Second {
    b: [f64; 3],
    a: [f64; 2],
    x: [f64; 2],
    y: [f64; 2],
}

impl Second {
    fn push(&mut self, x: f64) -> f64 {
        let y = self.b[0] * x + self.b[1] * self.x[0] + self.b[2] * self.x[1]
            - self.a[0] * self.y[0]
            - self.a[1] * self.y[1];
        self.x = [x, self.x[0]];
        self.y = [y, self.y[0]];
        y
    }

    /// The head's own lift of the treble.
    fn head(rate: f64) -> Self {
        let (hertz, gain, q) = (
            1_681.974_450_955_533,
            3.999_843_853_973_347,
            0.707_175_236_955_419_6,
        );
        let k = (PI * hertz / rate).tan();
        let high = 10_f64.powf(gain / 20.0);
        let band = high.powf(0.499_666_774_154_541_6);
        let a0 = 1.0 + k / q + k * k;
        Self {
            b: [
                (high + band * k / q + k * k) / a0,
                2.0 * (k * k - high) / a0,
                (high - band * k / q + k * k) / a0,
            ],
            a: [2.0 * (k * k - 1.0) / a0, (1.0 - k / q + k * k) / a0],
            x: [0.0; 2],
            y: [0.0; 2],
        }
    }

    /// What is too low to count.
    fn low(rate: f64) -> Self {
        let (hertz, q) = (38.135_470_876_024_44, 0.500_327_037_323_877_3);
        let k = (PI * hertz / rate).tan();
        let a0 = 1.0 + k / q + k * k;
        Self {
            b: [1.0, -2.0, 1.0],
            a: [2.0 * (k * k - 1.0) / a0, (1.0 - k / q + k * k) / a0],
            x: [0.0; 2],
            y: [0.0; 2],
        }
    }
}

/// Classes of a tenth of a decibel, from -70 up; the highest far beyond full scale (volts may be measured as well).
const CLASSES: usize = 1700;
/// The standard's own constant.
const OFFSET: f64 = -0.691;

/// A meter that takes samples as they come.
#[derive(Debug, Clone)]
pub struct Loudness {
    filters: [Second; 2],
    /// Samples in a tenth of a second, and how many of them came.
    tenth: usize,
    came: usize,
    sum: f64,
    /// Sums of the last tenths, newest last.
    tenths: Vec<f64>,
    /// Per class: how many blocks, and the sum of their mean squares.
    classes: Vec<(u64, f64)>,
}

impl Loudness {
    /// For samples at `rate`.
    #[must_use]
    pub fn new(rate: f64) -> Self {
        Self {
            filters: [Second::head(rate), Second::low(rate)],
            tenth: ((rate / 10.0).round() as usize).max(1),
            came: 0,
            sum: 0.0,
            tenths: Vec::new(),
            classes: vec![(0, 0.0); CLASSES],
        }
    }

    /// One sample, full scale 1.
    pub fn push(&mut self, x: f64) {
        let [head, low] = &mut self.filters;
        let y = low.push(head.push(x));
        self.sum += y * y;
        self.came += 1;
        if self.came < self.tenth {
            return;
        }
        self.tenths.push(self.sum);
        (self.sum, self.came) = (0.0, 0);
        if self.tenths.len() > 4 {
            self.tenths.remove(0);
        }
        if self.tenths.len() == 4 {
            let mean = self.tenths.iter().sum::<f64>() / (4 * self.tenth) as f64;
            let db = OFFSET + 10.0 * mean.max(1e-300).log10();
            if db > -70.0 {
                let class = (((db + 70.0) * 10.0) as usize).min(CLASSES - 1);
                self.classes[class].0 += 1;
                self.classes[class].1 += mean;
            }
        }
    }

    /// The loudness so far; none of silence, or of less than 400 ms.
    #[must_use]
    pub fn value(&self) -> Option<f64> {
        let mean = |from: usize| {
            let (count, sum) = self.classes[from..]
                .iter()
                .fold((0, 0.0), |(n, s), c| (n + c.0, s + c.1));
            (count > 0).then(|| OFFSET + 10.0 * (sum / count as f64).log10())
        };
        let first = mean(0)?;
        let gate = ((first - 10.0 + 70.0).max(0.0) * 10.0).ceil() as usize;
        mean(gate.min(CLASSES - 1))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    fn of(rate: f64, parts: &[(f64, f64, f64)]) -> Option<f64> {
        let mut meter = Loudness::new(rate);
        for (seconds, hertz, amplitude) in parts {
            for i in 0..(seconds * rate) as usize {
                meter.push(amplitude * (TAU * hertz * i as f64 / rate).sin());
            }
        }
        meter.value()
    }

    /// ITU-R BS.1770 (from memory, not seen): a sine of 997 Hz at full scale in one channel reads -3.01.
    #[test]
    fn the_tone_of_the_standard() {
        for rate in [44_100.0, 48_000.0, 96_000.0] {
            let got = of(rate, &[(3.0, 997.0, 1.0)]).unwrap_or(0.0);
            assert!((got + 3.01).abs() < 0.02, "{rate}: {got}");
        }
    }

    /// The coefficients that the standard prints for 48 kHz (from memory, not seen).
    #[test]
    fn the_filters_of_the_standard() {
        let (head, low) = (Second::head(48_000.0), Second::low(48_000.0));
        let printed = [
            (head.b[0], 1.535_124_859_586_97),
            (head.b[1], -2.691_696_189_406_38),
            (head.b[2], 1.198_392_810_852_85),
            (head.a[0], -1.690_659_293_182_41),
            (head.a[1], 0.732_480_774_215_85),
            (low.a[0], -1.990_047_454_833_98),
            (low.a[1], 0.990_072_250_366_21),
        ];
        for (got, want) in printed {
            assert!((got - want).abs() < 1e-9, "{got} for {want}");
        }
    }

    /// EBU Tech 3341, cases 3 (from memory, not seen): quiet parts more than 10 below the rest do not count.
    #[test]
    fn what_is_quiet_does_not_count() {
        let loud = of(48_000.0, &[(20.0, 1000.0, 0.1)]).unwrap_or(0.0);
        let both = of(
            48_000.0,
            &[
                (10.0, 1000.0, 0.01),
                (20.0, 1000.0, 0.1),
                (10.0, 1000.0, 0.01),
            ],
        );
        // One block in two hundred lies across an edge.
        assert!(
            (both.unwrap_or(0.0) - loud).abs() < 0.1,
            "{both:?} for {loud}"
        );
        assert_eq!(of(48_000.0, &[(5.0, 1000.0, 0.0)]), None);
    }
}
