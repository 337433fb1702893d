//! What remembers, over both steps.
//!
//! What a store puts on the right-hand side, along the eigenvector, says all that it remembers: its state and its rate. What it
//! puts there in the next pair is linear in that, and in its volts. The shares are found once for each length of step.

use super::{MIDWAY_FROM_FIRST, SECOND, SHARE, SIMPSON, parted};
use crate::linear::{Complex, Place, Placed, Scalar, at};
use crate::time::build::Moving;
use crate::time::stores::{Branch, Sort, Store};

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

/// How a store goes on.
#[derive(Debug, Clone, Copy, Default)]
struct Goes {
    by_own: Shares,
    by_volts: Shares,
}

impl Goes {
    #[inline(always)]
    fn on(&self, history: Two, volts: Two) -> Two {
        let (own, driven) = (along(&self.by_own, history), along(&self.by_volts, volts));
        [own[0] + driven[0], own[1] + driven[1]]
    }
}

/// What the history of a store is by its state and rate, and these by it.
#[derive(Debug, Clone, Copy)]
struct Now {
    from: Shares,
    to: Shares,
}

const AS_IT_IS: Now = Now {
    from: UNITS,
    to: UNITS,
};

/// The unknowns between which a store stands.
#[derive(Debug, Clone, Copy)]
struct Across {
    plus: Place,
    minus: Place,
}

/// A store that is no plain capacitor.
#[derive(Debug, Clone)]
struct Other {
    goes: Goes,
    across: Across,
    now: Now,
    /// Amperes by state and by rate.
    amps: Two,
}

/// All stores: first the capacitors without resistance, which all go on alike by each farad, then the others.
#[derive(Debug, Clone)]
pub(super) struct Memory {
    plain: Vec<Across>,
    alike: Goes,
    alike_now: Now,
    others: Vec<Other>,
    /// What each puts on the right-hand side; a plain capacitor by each farad.
    history: Placed,
    /// Stores on a core: their number among the others, the place of its volts per turn, and their turns.
    cored: Vec<(usize, Place, f64)>,
    order: Vec<Ranked>,
}

/// Which store stands where in the order, and how many times its history counts.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ranked {
    pub(super) store: usize,
    pub(super) times: f64,
}

fn plain(store: &Store) -> Option<f64> {
    match store.sort {
        Sort::Capacitor { farads, esr_ohms } if esr_ohms == 0.0 && store.core == 0 => Some(farads),
        _ => None,
    }
}

/// The order of the stores: plain capacitors first.
pub(super) fn order(moving: &Moving) -> Vec<Ranked> {
    let all = moving.stores.iter().enumerate();
    let all = all.map(|(store, part)| (plain(part), store));
    let (first, last): (Vec<_>, Vec<_>) = all.partition(|(farads, _)| farads.is_some());
    let ranked = first.into_iter().chain(last).map(|(farads, store)| Ranked {
        store,
        times: farads.unwrap_or(1.0),
    });
    ranked.collect()
}

impl Memory {
    /// The stores of a circuit whose unknowns, ground's first, are at these places.
    pub(super) fn new(moving: &Moving, columns: &[Place]) -> Self {
        let place = |unknown: usize| columns.get(unknown).copied().unwrap_or_default();
        let order = order(moving);
        let stores = || order.iter().map(|ranked| &moving.stores[ranked.store]);
        let across = |store: &Store| Across {
            plus: place(store.plus),
            minus: place(store.minus),
        };
        let others = || stores().filter(|store| plain(store).is_none());
        let cored = others().enumerate();
        let cored = cored.filter(|(_, store)| store.core != 0);
        Self {
            plain: stores()
                .filter(|store| plain(store).is_some())
                .map(across)
                .collect(),
            alike: Goes::default(),
            alike_now: AS_IT_IS,
            cored: cored
                .map(|(at, store)| (at, place(store.core), store.turns))
                .collect(),
            others: others()
                .map(|store| Other {
                    goes: Goes::default(),
                    across: across(store),
                    now: AS_IT_IS,
                    amps: match store.sort {
                        Sort::Capacitor { farads, .. } => [0.0, farads],
                        Sort::Coil { .. } => [1.0, 0.0],
                    },
                })
                .collect(),
            history: Placed::later(order.len()),
            order,
        }
    }

    /// Makes ready for pairs of steps of `h` seconds each, that go on from these states and rates.
    pub(super) fn prepare(&mut self, moving: &Moving, h: f64) {
        self.history.make_room();
        let (first, last) = self.history.pairs_mut().split_at_mut(self.plain.len());
        let farad = Sort::Capacitor {
            farads: 1.0,
            esr_ohms: 0.0,
        };
        let rule = Rule::new(farad, 2.0 * h);
        self.alike = rule.goes();
        let before = self.alike_now.to;
        self.alike_now = rule.now();
        for history in first {
            *history = along(&self.alike_now.from, along(&before, *history));
        }
        let numbers = self.order.iter().skip(self.plain.len());
        for ((other, ranked), history) in self.others.iter_mut().zip(numbers).zip(last) {
            let rule = Rule::new(moving.stores[ranked.store].sort, 2.0 * h);
            other.goes = rule.goes();
            let before = other.now.to;
            other.now = rule.now();
            // what was remembered stays
            *history = along(&other.now.from, along(&before, *history));
        }
    }

    /// Goes on from the states and rates of all stores, by their numbers.
    pub(super) fn goes_on_from(&mut self, states: &[f64], rates: &[f64]) {
        self.history.make_room();
        let others = self.others.iter().map(|other| &other.now);
        let alike = std::iter::repeat_n(&self.alike_now, self.plain.len());
        let nows = alike.chain(others).zip(&self.order);
        for ((now, ranked), history) in nows.zip(self.history.pairs_mut()) {
            *history = along(&now.from, [states[ranked.store], rates[ranked.store]]);
        }
    }

    /// What each store puts on the right-hand side, in their order, real and imaginary part.
    #[inline(always)]
    pub(super) fn history(&self) -> &Placed {
        &self.history
    }

    /// On to the end of both steps, where the unknowns along the eigenvector are `work`.
    #[inline(always)]
    pub(super) fn count(&mut self, work: &Placed) {
        let Some(flat) = work.flat() else {
            return;
        };
        let volts = |across: &Across| {
            let (plus, minus) = (at(flat, across.plus), at(flat, across.minus));
            [plus[0] - minus[0], plus[1] - minus[1]]
        };
        let (first, last) = self.history.pairs_mut().split_at_mut(self.plain.len());
        let alike = self.alike;
        for (across, history) in self.plain.iter().zip(first) {
            *history = alike.on(*history, volts(across));
        }
        for (other, history) in self.others.iter().zip(&mut *last) {
            *history = other.goes.on(*history, volts(&other.across));
        }
        for (other, core, turns) in &self.cored {
            let volts = at(flat, *core).map(|volts| -turns * volts);
            let driven = along(&self.others[*other].goes.by_volts, volts);
            let history = &mut last[*other];
            *history = [history[0] + driven[0], history[1] + driven[1]];
        }
    }

    /// Tells the states and the amperes of all stores, by their numbers.
    pub(super) fn tell(&self, states: &mut [f64], amps: &mut [f64]) {
        let (first, last) = self.history.pairs().split_at(self.plain.len());
        let (plain, others) = self.order.split_at(self.plain.len());
        for (ranked, history) in plain.iter().zip(first) {
            let [state, rate] = along(&self.alike_now.to, *history);
            states[ranked.store] = state;
            amps[ranked.store] = ranked.times * rate;
        }
        for ((ranked, other), history) in others.iter().zip(&self.others).zip(last) {
            let [state, rate] = along(&other.now.to, *history);
            states[ranked.store] = state;
            amps[ranked.store] = other.amps[0] * state + other.amps[1] * rate;
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

    fn goes(&self) -> Goes {
        let to = self.now().to;
        let own = |history| self.next(along(&to, history), Complex::ZERO);
        let driven = |[re, im]: Two| self.next([0.0, 0.0], Complex::new(re, im));
        Goes {
            by_own: UNITS.map(|history| two(self.history(own(history)))),
            by_volts: UNITS.map(|volts| two(self.history(driven(volts)))),
        }
    }

    fn now(&self) -> Now {
        let from = UNITS.map(|now| two(self.history(now)));
        Now {
            from,
            to: undone(from),
        }
    }

    /// State and rate at the end, where it has these volts.
    fn next(&self, now: Two, volts: Complex) -> Two {
        let amps = self.branch.siemens * volts + self.history(now);
        let rates = match self.sort {
            Sort::Capacitor { farads, .. } => amps.scaled(1.0 / farads),
            Sort::Coil { .. } => (amps - self.base(now)) / SHARE.scaled(self.length),
        };
        let [midway, end] = parted(two(rates));
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
