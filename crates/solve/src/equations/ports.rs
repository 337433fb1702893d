//! How the devices are approached: the volts at which they are evaluated on the way.
//!
//! The linear part of a circuit is solved exactly in every Newton step, however far that
//! takes its nodes. What must not jump is where a valve or diode is linearised. So each pair of
//! controlling terminals (plate to cathode, grid to cathode, ...) is a *port* that keeps its
//! own volts and follows the nodes:
//!
//! * no further than a limit in one step;
//! * when it turns round, no further than a part of its last move, so that a valve
//!   that would swing between cut-off and saturation for ever settles in between;
//! * twice as far when it moves on by the same amount again: a current that falls off
//!   exponentially moves its port by one width in each Newton step, however far there is to go.
//!
//! A point counts only when every port stands where its nodes are.

use super::Equations;
use super::load::{Loaded, PairLaw};
use crate::device::RectifierLaw;

/// Farthest move of a port in one step, volts.
pub(super) const FARTHEST: f64 = 400.0;
/// The same for a control grid.
pub(super) const FARTHEST_GRID: f64 = 100.0;
/// Part of its last move by which a port may turn back.
pub(super) const BACK: f64 = 0.8;
/// The same after a move that was made longer than asked for.
pub(super) const BACK_FROM_LONG: f64 = 0.5;
/// How much longer at most.
pub(super) const LONGEST: f64 = 4.0;
/// A move is the same again when it is at least this part of the last one,
pub(super) const SAME_LEAST: f64 = 0.7;
/// and at most this part.
pub(super) const SAME_MOST: f64 = 1.5;
/// Moves up to this are made as asked for, volts.
pub(super) const FINE: f64 = 1e-4;
/// Moves up to this are none, volts.
const STILL: f64 = 1e-6;
/// Where a triode is linearised first, volts at its plate.
const FIRST_PLATE: f64 = 100.0;
/// The same for a pentode, at plate and screen.
const FIRST_SCREEN: f64 = 150.0;
/// Where a grid stands first, as part of the way to cut-off.
const FIRST_GRID: f64 = 0.5;

/// How a set of Newton steps approaches the devices.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Approach {
    /// As told above.
    Eager,
    /// Never longer than asked for, and back by less.
    Careful,
    /// Ports follow their nodes at once.
    AtOnce,
    /// Ports stay where they are.
    Stay,
}

/// One port.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
struct Port {
    at: f64,
    /// Last move.
    moved: f64,
    /// How much longer than asked for it was.
    longer: f64,
}

/// All ports, in the order in which the equations evaluate their devices.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Ports {
    ports: Vec<Port>,
    next: usize,
    /// Does some port stand elsewhere than its nodes?
    pub(crate) apart: bool,
    /// Did no port have to move to speak of?
    pub(crate) still: bool,
}

impl Ports {
    /// So many ports at no volts.
    pub(crate) fn at_rest(count: usize) -> Self {
        Self {
            ports: vec![Port::default(); count],
            ..Self::default()
        }
    }

    pub(crate) fn restart(&mut self) {
        self.next = 0;
        self.apart = false;
        self.still = true;
    }

    /// Are there none?
    pub(crate) fn is_empty(&self) -> bool {
        self.ports.is_empty()
    }

    /// Forgets how the ports moved.
    pub(crate) fn forget_moves(&mut self) {
        for port in &mut self.ports {
            port.moved = 0.0;
            port.longer = 1.0;
        }
    }

    /// Moves the next port towards the volts of its nodes, and returns where it stands then.
    #[inline]
    pub(crate) fn follow(&mut self, approach: Approach, volts: f64, farthest: Farthest) -> f64 {
        let at = self.next;
        self.next += 1;
        let Some(port) = self.ports.get_mut(at) else {
            return volts;
        };
        let asked = volts - port.at;
        self.still &= asked.abs() <= STILL;
        let last = port.moved;
        let mut by = asked;
        let mut longer = 1.0;
        let mut limit = match farthest {
            Farthest::Grid => FARTHEST_GRID,
            Farthest::Other => FARTHEST,
        };
        let (back, longest) = match approach {
            Approach::Eager => (BACK, LONGEST),
            Approach::Careful => (0.6, 1.0),
            Approach::AtOnce => {
                *port = Port {
                    at: volts,
                    moved: 0.0,
                    longer: 1.0,
                };
                return volts;
            }
            Approach::Stay => {
                self.apart |= asked.abs() > FINE;
                return port.at;
            }
        };
        if asked.abs() <= FINE {
            // Nothing swings within this.
            limit = FINE;
        } else if asked * last < 0.0 {
            if asked.abs() > 0.5 * last.abs() {
                let part = if port.longer > 1.0 {
                    BACK_FROM_LONG
                } else {
                    back
                };
                limit = limit.min(part * last.abs());
            }
        } else if asked * last > 0.0 {
            let before = last.abs() / port.longer;
            if asked.abs() > SAME_LEAST * before && asked.abs() < SAME_MOST * before {
                longer = longest.min(2.0 * port.longer);
                by *= longer;
            }
        }
        if by.abs() > limit {
            by = limit.copysign(by);
        }
        self.apart |= by != asked;
        port.at += by;
        port.moved = by;
        port.longer = longer;
        port.at
    }
}

/// Which limit a port has.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Farthest {
    Grid,
    Other,
}

impl Equations {
    /// Puts every port where such a device works when all is well, a cold start, or somewhere
    /// else: plate and screen volts times `plate`, the grid's part of the way to cut-off times
    /// `grid`.
    pub(crate) fn guess(&self, loaded: &Loaded, ports: &mut Ports, plate: f64, grid: f64) {
        let (first_plate, first_screen) = (plate * FIRST_PLATE, plate * FIRST_SCREEN);
        let first_grid = grid * FIRST_GRID;
        ports.ports.clear();
        let mut put = |volts: f64| {
            ports.ports.push(Port {
                at: volts,
                moved: 0.0,
                longer: 1.0,
            });
        };
        for law in &loaded.pairs {
            put(match law {
                PairLaw::Diode(diode) => match diode.forward {
                    RectifierLaw::Valve(_) => 20.0,
                    RectifierLaw::Junction { .. } => 0.65,
                    RectifierLaw::Ideal { .. } => 0.01,
                },
                PairLaw::Filament(_) | PairLaw::Neon(..) => 0.0,
            });
        }
        for law in &loaded.triodes {
            put(first_plate);
            put(-first_grid * first_plate / law.mu.max(1.0));
        }
        for law in &loaded.pentodes {
            put(first_screen);
            put(first_screen);
            put(-first_grid * first_screen / law.mu.max(1.0));
        }
        for group in &loaded.groups {
            for plate in &group.plates {
                put(-0.85 * plate.emf_peak.abs());
            }
        }
    }

    /// Puts every port at no volts.
    pub(crate) fn no_guess(&self, loaded: &Loaded, ports: &mut Ports) {
        self.guess(loaded, ports, 1.0, 1.0);
        for port in &mut ports.ports {
            port.at = 0.0;
        }
    }
}
