//! Where the next samples will be found, from the last ones.

/// Samples that are looked back on.
const MOST: usize = 4;

/// How the last samples, newest first, are added up for the next and for the one after it: the level, line, parabola or
/// cubic through so many of them (Lagrange).
const SHARES: [[[f64; MOST]; 2]; MOST] = [
    [[1.0, 0.0, 0.0, 0.0], [1.0, 0.0, 0.0, 0.0]],
    [[2.0, -1.0, 0.0, 0.0], [3.0, -2.0, 0.0, 0.0]],
    [[3.0, -3.0, 1.0, 0.0], [6.0, -8.0, 3.0, 0.0]],
    [[4.0, -6.0, 4.0, -1.0], [10.0, -20.0, 15.0, -4.0]],
];

/// The last samples of some unknowns, at equal distances.
#[derive(Debug, Clone, Default)]
pub(super) struct Past {
    samples: [Vec<f64>; MOST],
    known: usize,
    seconds: f64,
}

impl Past {
    /// Samples come at this distance from now on.
    pub(super) fn at_distance(&mut self, seconds: f64) {
        if self.seconds != seconds {
            self.seconds = seconds;
            self.known = 0;
        }
    }

    /// So many samples are known.
    pub(super) fn known(&self) -> usize {
        self.known
    }

    /// Room for one sample more of `count` unknowns, to be filled.
    pub(super) fn push(&mut self, count: usize) -> &mut [f64] {
        self.samples.rotate_right(1);
        self.known = (self.known + 1).min(MOST);
        let newest = &mut self.samples[0];
        newest.resize(count, 0.0);
        newest
    }

    /// Tells where each unknown will be, one sample on and two; nothing where no sample is known.
    #[inline]
    pub(super) fn guess(&self, ends: &mut [[f64; 2]]) {
        let Some([by_next, by_after]) = self.known.checked_sub(1).and_then(|k| SHARES.get(k))
        else {
            return;
        };
        // the ones that are not known count for nothing
        let sample = |back: usize| &self.samples[if back < self.known { back } else { 0 }];
        let [a, b, c, d] = [sample(0), sample(1), sample(2), sample(3)];
        let samples = a.iter().zip(b).zip(c).zip(d);
        for (ends, (((a, b), c), d)) in ends.iter_mut().zip(samples) {
            let along = |by: &[f64; MOST]| by[0] * a + by[1] * b + by[2] * c + by[3] * d;
            *ends = [along(by_next), along(by_after)];
        }
    }

    /// Tells where each unknown is, as if it stayed there; nothing where no sample is known.
    pub(super) fn stay(&self, ends: &mut [[f64; 2]]) {
        if self.known > 0 {
            for (ends, &newest) in ends.iter_mut().zip(&self.samples[0]) {
                *ends = [newest; 2];
            }
        }
    }

    /// Something jumped: the past says nothing any more.
    pub(super) fn forget(&mut self) {
        self.known = 0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A polynomial of one degree less than there are samples is told exactly.
    #[test]
    fn polynomials_are_foretold() {
        for known in 1..=MOST {
            let value = |t: i32| (0..known as i32).map(move |power| f64::from(t.pow(power as u32)));
            let value = |t: i32| value(t).sum::<f64>();
            let mut past = Past::default();
            let guess = |past: &Past| {
                let mut ends = [[f64::NAN; 2]];
                past.guess(&mut ends);
                (!ends[0][0].is_nan()).then_some(ends[0])
            };
            assert_eq!(guess(&past), None);
            for t in 1..=known as i32 {
                past.push(1)[0] = value(t);
            }
            let last = known as i32;
            let next = [value(last + 1), value(last + 2)];
            assert_eq!(guess(&past), Some(next));
            let mut here = [[f64::NAN; 2]];
            past.stay(&mut here);
            assert_eq!(here, [[value(last); 2]]);
            past.forget();
            assert_eq!(guess(&past), None);
        }
    }
}
