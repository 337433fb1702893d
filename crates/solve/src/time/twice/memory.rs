//! What remembers, over both steps.
//!
//! What a store puts on the right-hand side, along the eigenvector, says all that it remembers: its state and its rate. What it
//! puts there in the next pair is linear in that, and in its volts. The shares are found once for each length of step.

use super::{MIDWAY_FROM_FIRST, SECOND, SHARE, SIMPSON, parted};
use crate::linear::{Complex, Scalar};
use crate::time::build::Moving;
use crate::time::stores::{Branch, Sort};

/// Two numbers side by side: a state and its rate, or a real and an imaginary part.
type Two = [f64; 2];

/// What each of two numbers adds to two others.
type Shares = [Two; 2];

const UNITS: Shares = [[1.0, 0.0], [0.0, 1.0]];

#[inline(always)]
fn along(shares: &Shares, by: Two) -> Two {
    [
        shares[0][0] * by[0] + shares[1][0] * by[1],
        shares[0][1] * by[0] + shares[1][1] * by[1],
    ]
}

/// The shares that undo these.
fn undone([[a, b], [c, d]]: Shares) -> Shares {
    let below = a * d - b * c;
    [[d / below, -b / below], [-c / below, a / below]]
}

fn two(value: Complex) -> Two {
    [value.re, value.im]
}

/// How one store goes on.
#[derive(Debug, Clone, Copy, Default)]
struct Kept {
    by_own: Shares,
    by_volts: Shares,
    /// Places of the unknowns between which it stands.
    plus: u32,
    minus: u32,
}

/// All stores.
#[derive(Debug, Clone)]
pub(super) struct Memory {
    kept: Vec<Kept>,
    /// What each puts on the right-hand side.
    history: Vec<Two>,
    /// Stores on a core: their number, the place of its volts per turn, and their turns.
    cored: Vec<(u32, u32, f64)>,
    /// What the history is by state and rate, and what state and amperes are by it.
    from_now: Vec<Shares>,
    to_now: Vec<Shares>,
}

impl Memory {
    /// The stores of a circuit whose unknowns, ground's first, are at these places.
    pub(super) fn new(moving: &Moving, columns: &[u32]) -> Self {
        let kept = moving.stores.iter().map(|store| Kept {
            plus: columns[store.plus],
            minus: columns[store.minus],
            ..Kept::default()
        });
        let stores = moving.stores.iter().enumerate();
        let cored = stores.filter(|(_, store)| store.core != 0);
        let cored = cored.map(|(at, store)| {
            let at = u32::try_from(at).unwrap_or(u32::MAX);
            (at, columns[store.core], store.turns)
        });
        let count = moving.stores.len();
        Self {
            kept: kept.collect(),
            history: vec![[0.0; 2]; count],
            cored: cored.collect(),
            from_now: vec![UNITS; count],
            to_now: vec![UNITS; count],
        }
    }

    /// Makes ready for pairs of steps of `h` seconds each, that go on from these states and rates.
    pub(super) fn prepare(&mut self, moving: &Moving, h: f64) {
        for (at, (kept, store)) in self.kept.iter_mut().zip(&moving.stores).enumerate() {
            let rule = Rule::new(store.sort, 2.0 * h);
            let from_now = UNITS.map(|now| two(rule.history(now)));
            let to_now = undone(from_now);
            kept.by_own = UNITS.map(|history| {
                let now = along(&to_now, history);
                two(rule.history(rule.next(now, Complex::ZERO)))
            });
            kept.by_volts = UNITS.map(|[re, im]| {
                let next = rule.next([0.0, 0.0], Complex::new(re, im));
                two(rule.history(next))
            });
            let [rate_farads, state_amps] = match store.sort {
                Sort::Capacitor { farads, .. } => [farads, 0.0],
                Sort::Coil { .. } => [0.0, 1.0],
            };
            self.to_now[at] =
                to_now.map(|[state, rate]| [state, state_amps * state + rate_farads * rate]);
            // what was remembered stays
            let before = undone(self.from_now[at]);
            self.history[at] = along(&from_now, along(&before, self.history[at]));
            self.from_now[at] = from_now;
        }
    }

    pub(super) fn goes_on_from(&mut self, states: &[f64], rates: &[f64]) {
        let now = states.iter().zip(rates);
        for ((history, from_now), (state, rate)) in
            self.history.iter_mut().zip(&self.from_now).zip(now)
        {
            *history = along(from_now, [*state, *rate]);
        }
    }

    /// What each store puts on the right-hand side, real and imaginary part.
    #[inline(always)]
    pub(super) fn history(&self) -> &[Two] {
        &self.history
    }

    /// On to the end of both steps, where the unknowns along the eigenvector are `work`; tells the states and the amperes.
    #[inline(always)]
    pub(super) fn count(&mut self, work: &[Complex], states: &mut [f64], amps: &mut [f64]) {
        for (kept, history) in self.kept.iter().zip(&mut self.history) {
            let volts = work[kept.plus as usize] - work[kept.minus as usize];
            let own = along(&kept.by_own, *history);
            let driven = along(&kept.by_volts, [volts.re, volts.im]);
            *history = [own[0] + driven[0], own[1] + driven[1]];
        }
        for (at, core, turns) in &self.cored {
            let volts = work[*core as usize].scaled(-turns);
            let driven = along(&self.kept[*at as usize].by_volts, [volts.re, volts.im]);
            let history = &mut self.history[*at as usize];
            *history = [history[0] + driven[0], history[1] + driven[1]];
        }
        let told = states.iter_mut().zip(amps);
        for ((history, to_now), (state, amps)) in self.history.iter().zip(&self.to_now).zip(told) {
            [*state, *amps] = along(to_now, *history);
        }
    }
}

/// What the rule makes of one store.
struct Rule {
    sort: Sort,
    branch: Branch<Complex>,
    /// Length of both steps, seconds.
    length: f64,
}

impl Rule {
    fn new(sort: Sort, length: f64) -> Self {
        Self {
            sort,
            branch: sort.branch(SHARE.scaled(length)),
            length,
        }
    }

    /// What both ends begin from, along the eigenvector: the state, and what they gain by the rate at the beginning.
    fn base(&self, [state, rate]: Two) -> Complex {
        let gains = self.length * rate;
        Complex::real(state + MIDWAY_FROM_FIRST * gains) + SECOND.scaled(state + SIMPSON[0] * gains)
    }

    /// Amperes that the store adds to those by its volts.
    fn history(&self, now: Two) -> Complex {
        self.branch.drive * self.base(now)
    }

    /// State and rate at the end, where it has these volts.
    fn next(&self, now: Two, volts: Complex) -> Two {
        let amps = self.branch.siemens * volts + self.history(now);
        let rates = match self.sort {
            Sort::Capacitor { farads, .. } => amps.scaled(1.0 / farads),
            Sort::Coil { .. } => (amps - self.base(now)) / SHARE.scaled(self.length),
        };
        let [midway, end] = parted(rates);
        let [state, rate] = now;
        let gains = SIMPSON[0] * rate + SIMPSON[1] * midway + SIMPSON[2] * end;
        [state + self.length * gains, end]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const CAPACITOR: Sort = Sort::Capacitor {
        farads: 22e-9,
        esr_ohms: 3.0,
    };
    const COIL: Sort = Sort::Coil {
        henries: 4.0,
        ohms: 120.0,
    };

    /// What a store puts on the right-hand side says state and rate, whatever the length.
    #[test]
    fn a_history_says_state_and_rate() {
        for sort in [CAPACITOR, COIL] {
            for length in [1e-6, 1e-5] {
                let rule = Rule::new(sort, length);
                let from_now = UNITS.map(|now| two(rule.history(now)));
                let now = [230.0, -41e3];
                let history = along(&from_now, now);
                let direct = rule.history(now);
                assert!((history[0] - direct.re).abs() < 1e-12 * direct.re.abs());
                let back = along(&undone(from_now), history);
                for (back, now) in back.iter().zip(now) {
                    // the rate stands beside the state, which is larger by 1 / length
                    let least = 1e-14 * 230.0 / length;
                    assert!(
                        (back - now).abs() < 1e-12 * now.abs() + least,
                        "{back} for {now}"
                    );
                }
            }
        }
    }

    /// A capacitor that is fed a steady current rises by it, and a coil at steady volts likewise: straight lines have no error.
    #[test]
    fn straight_lines_have_no_error() {
        let length = 1e-5;
        // farads times the rise is the current; the resistance in series takes its share of the volts
        let Sort::Capacitor { farads, esr_ohms } = CAPACITOR else {
            unreachable!()
        };
        let rise = 5e3;
        let volts = |t: f64| 100.0 + rise * t + esr_ohms * farads * rise;
        let along_both =
            |at: &dyn Fn(f64) -> f64| Complex::real(at(0.5 * length)) + SECOND.scaled(at(length));
        let next = Rule::new(CAPACITOR, length).next([100.0, rise], along_both(&volts));
        assert!((next[0] - (100.0 + rise * length)).abs() < 1e-11);
        assert!((next[1] - rise).abs() < 1e-6 * rise);

        let Sort::Coil { henries, ohms } = COIL else {
            unreachable!()
        };
        let rise = 2.0;
        let volts = |t: f64| henries * rise + ohms * (0.05 + rise * t);
        let next = Rule::new(COIL, length).next([0.05, rise], along_both(&volts));
        assert!((next[0] - (0.05 + rise * length)).abs() < 1e-13);
        assert!((next[1] - rise).abs() < 1e-6 * rise);
    }
}
