//! Ways to a solution when Newton steps stall.

use super::Solver;
use crate::equations::Approach;
use crate::netlist::Netlist;

/// Newton steps for one stage of a way.
const STAGE_STEPS: u32 = 25;
/// Accuracy of a stage that is not the last, as a multiple of the accepted correction.
const STAGE_SLACK: f64 = 1e3;
/// Smallest part of all sources by which a stage goes on.
const LEAST_RISE: f64 = 1.0 / 512.0;
/// Siemens that hold the nodes at first.
const FIRST_HOLD: f64 = 1e-2;
/// Below this nothing is held, siemens.
const LAST_HOLD: f64 = 1e-12;
/// Stages after which a way counts as blocked.
const MOST_STAGES: u32 = 200;

impl Solver {
    /// Raises all emfs from nothing, each stage starting from the one before.
    pub(super) fn source_steps(&mut self, netlist: &Netlist) -> bool {
        let (mut scale, mut rise) = (0.0_f64, 0.25_f64);
        let mut good: Option<Vec<f64>> = None;
        for _ in 0..MOST_STAGES {
            let next = (scale + rise).min(1.0);
            if self
                .equations
                .load(netlist, next, &mut self.loaded)
                .is_err()
            {
                return false;
            }
            self.start_at_nothing();
            if let Some(volts) = &good {
                self.restore(volts);
            }
            let last = next >= 1.0;
            let slack = if last { 1.0 } else { STAGE_SLACK };
            if self.newton(Approach::Eager, STAGE_STEPS, slack) && (!last || self.accept()) {
                if last {
                    return true;
                }
                good = Some(self.point.high.clone());
                scale = next;
                rise *= 2.0;
            } else {
                rise *= 0.25;
                if rise < LEAST_RISE {
                    break;
                }
            }
        }
        // Leave the circuit as it is.
        if self.equations.load(netlist, 1.0, &mut self.loaded).is_ok() {
            self.start_cold();
        }
        false
    }

    /// Lets the circuit run from no volts with a capacitor from each node to ground, in steps
    /// that grow as it settles: implicit Euler, the conductance that holds a node at its last
    /// volts being farads over seconds.
    pub(super) fn transient(&mut self) -> bool {
        self.start_at_nothing();
        let mut held = self.point.high.clone();
        let (mut siemens, mut ease) = (FIRST_HOLD, 0.1_f64);
        for _ in 0..MOST_STAGES {
            self.equations.hold(&mut self.loaded, siemens, &held);
            self.start_at_nothing();
            self.restore(&held);
            let last = siemens == 0.0;
            let slack = if last { 1.0 } else { STAGE_SLACK };
            if self.newton(Approach::Eager, STAGE_STEPS, slack) && (!last || self.accept()) {
                if last {
                    return true;
                }
                held.copy_from_slice(&self.point.high);
                ease = (ease * 0.5).max(1e-3);
                siemens *= ease;
                if siemens < LAST_HOLD {
                    siemens = 0.0;
                }
            } else {
                ease = ease.sqrt();
                siemens = if last {
                    10.0 * LAST_HOLD
                } else {
                    siemens / ease.powi(2)
                };
                if siemens > 1e6 {
                    break;
                }
            }
        }
        self.equations.hold(&mut self.loaded, 0.0, &held);
        false
    }

    /// Goes back to an earlier point.
    fn restore(&mut self, volts: &[f64]) {
        self.point.high.copy_from_slice(volts);
        self.point.low.fill(0.0);
        self.evaluate(Approach::AtOnce);
    }
}
