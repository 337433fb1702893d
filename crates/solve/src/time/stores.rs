//! What remembers: capacitors, coils, windings, cores.

use crate::linear::{Scalar, Single, Stamp};

/// How a store remembers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Sort {
    /// Its state is the volts of the capacitance alone.
    Capacitor { farads: f64, esr_ohms: f64 },
    /// Its state is the amperes.
    Coil { henries: f64, ohms: f64 },
}

/// A store between `plus` and `minus`, less `turns` times the volts per turn of a core (0: none).
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Store {
    pub(super) element: usize,
    pub(super) plus: usize,
    pub(super) minus: usize,
    pub(super) core: usize,
    pub(super) turns: f64,
    pub(super) sort: Sort,
    /// Where its conductance goes, and with which factor.
    pub(super) stamps: Vec<(Stamp, f64)>,
}

/// A store over one stage: `amps = siemens * volts + drive * state`.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Branch<S = f64> {
    pub(super) siemens: S,
    pub(super) drive: S,
}

impl Sort {
    /// For a stage whose own rate counts over `h` seconds.
    pub(super) fn branch<S: Single>(self, h: S) -> Branch<S> {
        match self {
            Self::Capacitor { farads, esr_ohms } => {
                let siemens = S::real(farads) / (S::real(esr_ohms * farads) + h);
                Branch {
                    siemens,
                    drive: -siemens,
                }
            }
            Self::Coil { henries, ohms } => {
                let below = S::real(henries) + h.scaled(ohms);
                Branch {
                    siemens: h / below,
                    drive: S::real(henries) / below,
                }
            }
        }
    }

    /// How fast the state moves in a stage of `h` seconds that began at `base`.
    #[inline]
    pub(super) fn rate(self, amps: f64, base: f64, h: f64) -> f64 {
        match self {
            Self::Capacitor { farads, .. } => amps / farads,
            Self::Coil { .. } => (amps - base) / h,
        }
    }

    /// Joules in the store.
    pub(super) fn joules(self, state: f64) -> f64 {
        0.5 * self.size() * state * state
    }

    /// Farads or henries.
    pub(super) fn size(self) -> f64 {
        match self {
            Self::Capacitor { farads, .. } => farads,
            Self::Coil { henries, .. } => henries,
        }
    }
}

impl Store {
    /// Volts over it.
    #[inline]
    pub(super) fn volts<S: Scalar>(&self, x: &[S]) -> S {
        let plain = x[self.plus] - x[self.minus];
        if self.core == 0 {
            plain
        } else {
            plain - x[self.core].scaled(self.turns)
        }
    }

    /// Puts a current through it on the right-hand side.
    #[inline]
    pub(super) fn feed<S: Scalar>(&self, right: &mut [S], amps: S) {
        right[self.plus] -= amps;
        right[self.minus] += amps;
        if self.core != 0 {
            right[self.core] += amps.scaled(self.turns);
        }
    }
}
