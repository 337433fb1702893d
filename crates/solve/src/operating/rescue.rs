//! Ways to a solution when Newton steps stall.

use super::{ACCEPTED_VOLTS, Solver};
use crate::equations::{Approach, Scale};
use crate::netlist::Netlist;

/// What is raised from nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Raised {
    Sources,
    Emission,
}

/// Part of the emission with which raising starts.
const LEAST_EMISSION: f64 = 1e-9;

/// How boldly a circuit is let run.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Run {
    Bold,
    Careful,
}

/// Newton steps for one step of a careful run.
const CAREFUL_STEPS: u32 = 8;
/// Newton steps for one stage of a way.
const STAGE_STEPS: u32 = 25;
/// Accuracy of a stage that is not the last, as a multiple of the accepted correction.
const STAGE_SLACK: f64 = 1e3;
/// Smallest part of all sources by which a stage goes on.
const LEAST_RISE: f64 = 1.0 / 512.0;
/// Siemens that hold the nodes at first.
const FIRST_HOLD: f64 = 1e-2;
/// Below this nothing is held, siemens.
const LAST_HOLD: f64 = 1e-14;
/// Above this no hold helps, siemens.
const MOST_HOLD: f64 = 1e6;
/// Stages after which a way counts as blocked.
const MOST_STAGES: u32 = 400;

impl Solver {
    /// Raises all emfs, or the emission of all valves, from nothing, each stage starting from
    /// the one before.
    pub(super) fn raise(
        &mut self,
        netlist: &Netlist,
        raised: Raised,
        watch: &mut dyn FnMut() -> bool,
    ) -> bool {
        let (mut part, mut rise) = (0.0_f64, 0.25_f64);
        let mut good: Option<Vec<f64>> = None;
        for _ in 0..MOST_STAGES {
            if self.stopped {
                break;
            }
            let next = (part + rise).min(1.0);
            let scale = match raised {
                Raised::Sources => Scale {
                    emf: next,
                    ..Scale::WHOLE
                },
                // A valve's volts follow the logarithm of its emission.
                Raised::Emission => Scale {
                    emission: LEAST_EMISSION.powf(1.0 - next),
                    ..Scale::WHOLE
                },
            };
            if self
                .equations
                .load(netlist, scale, &mut self.loaded)
                .is_err()
            {
                return false;
            }
            self.clear();
            match &good {
                Some(volts) => self.restore(volts),
                None => self.evaluate(Approach::Stay),
            }
            let last = next >= 1.0;
            let slack = if last { 1.0 } else { STAGE_SLACK };
            if self.newton(Approach::Eager, STAGE_STEPS, slack, watch) && (!last || self.accept()) {
                if last {
                    return true;
                }
                good = Some(self.point.high.clone());
                part = next;
                rise *= 2.0;
            } else {
                rise *= 0.25;
                if rise < LEAST_RISE {
                    break;
                }
            }
        }
        // Leave the circuit as it is; it has been loaded before, so it can be.
        let whole = self.equations.load(netlist, Scale::WHOLE, &mut self.loaded);
        debug_assert!(whole.is_ok(), "loaded before");
        false
    }

    /// Lets the circuit run from no volts with a capacitor from each node to ground, in steps
    /// that grow as it settles: implicit Euler, the conductance that holds a node at its last
    /// volts being farads over seconds.
    ///
    /// The bold run takes whatever a step finds, which may be far away; the careful one takes
    /// only what a few Newton steps find in the direction in which the circuit was moving, so
    /// it slides off a state that feedback has made untenable to wherever it falls.
    pub(super) fn transient(&mut self, run: Run, watch: &mut dyn FnMut() -> bool) -> bool {
        let (steps, slack) = match run {
            Run::Bold => (STAGE_STEPS, STAGE_SLACK),
            Run::Careful => (CAREFUL_STEPS, 1.0),
        };
        self.clear();
        let mut held = self.point.high.clone();
        let mut way = vec![0.0; held.len()];
        let (mut siemens, mut ease) = (FIRST_HOLD, 0.1_f64);
        for _ in 0..MOST_STAGES {
            if self.stopped {
                break;
            }
            self.equations.hold(&mut self.loaded, siemens, &held);
            self.clear();
            self.restore(&held);
            if siemens == 0.0 {
                if self.newton(Approach::Eager, STAGE_STEPS, 1.0, watch) && self.accept() {
                    return true;
                }
                ease = ease.sqrt();
                siemens = LAST_HOLD / (ease * ease);
                continue;
            }
            if !self.newton(Approach::Eager, steps, slack, watch) {
                ease = ease.sqrt();
                siemens /= ease * ease;
            } else if run == Run::Careful && self.turns_round(&way, &held) {
                ease = ease.sqrt();
                siemens *= 30.0;
                way.fill(0.0);
            } else {
                for ((way, &now), held) in way.iter_mut().zip(&self.point.high).zip(&mut held) {
                    *way = now - *held;
                    *held = now;
                }
                ease = (ease * 0.5).max(1e-3);
                siemens *= ease;
            }
            if siemens < LAST_HOLD {
                siemens = 0.0;
            } else if siemens > MOST_HOLD {
                break;
            }
        }
        self.equations.hold(&mut self.loaded, 0.0, &held);
        false
    }

    /// Has `point` moved from `held` against the `way` it moved before?
    fn turns_round(&self, way: &[f64], held: &[f64]) -> bool {
        let (mut along, mut far) = (0.0, 0.0_f64);
        for ((way, now), held) in way.iter().zip(&self.point.high).zip(held) {
            let moved = now - held;
            along += way * moved;
            far = far.max(moved.abs());
        }
        along < 0.0 && far > 0.1 * ACCEPTED_VOLTS
    }

    /// Goes back to an earlier point.
    fn restore(&mut self, volts: &[f64]) {
        self.point.high.copy_from_slice(volts);
        self.point.low.fill(0.0);
        self.evaluate(Approach::AtOnce);
    }
}
