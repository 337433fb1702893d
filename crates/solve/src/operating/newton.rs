//! Newton steps, and the polish that brings an accepted point below the rounding of its own
//! volts.

use super::{ACCEPTED_AMPS, ACCEPTED_RELATIVE, ACCEPTED_RESIDUAL, ACCEPTED_VOLTS, Solver};
use crate::equations::{Approach, Evaluation};

/// Steps that may be made with plain sums. A circuit that needs more may have a part that floats with large
/// currents going round in it, whose rounding alone would move it for ever.
const QUICK_STEPS: u32 = 15;

/// Part of the accepted correction that an old factorisation must come within.
const NEXT_SLACK: f64 = 0.01;

/// After a step up to this, volts, it is looked whether another would change anything.
const CLOSE: f64 = 0.2;

/// What an old factorisation leaves of a correction is at most so many times what it left of the one before.
const WORSE: f64 = 4.0;

/// Part of the accepted correction that may be left in an accepted point.
pub(super) const LAST_SLACK: f64 = 0.1;

/// Polishing steps.
const MOST_POLISH: u32 = 12;

impl Solver {
    /// Takes given volts as the start; false if there are too few or they are not numbers.
    pub(super) fn start_from(&mut self, start: &[f64]) -> bool {
        let nodes = self.equations.nodes;
        let Some(volts) = start.get(1..nodes) else {
            return false;
        };
        if volts.iter().any(|volts| !volts.is_finite()) {
            return false;
        }
        self.clear();
        if let Some(high) = self.point.high.get_mut(1..nodes) {
            high.copy_from_slice(volts);
        }
        self.evaluate(Approach::AtOnce);
        true
    }

    /// Starts with every valve where it works when all is well, times `plate` and `grid`.
    pub(super) fn start_at(&mut self, plate: f64, grid: f64) {
        self.clear();
        self.equations
            .guess(&self.loaded, &mut self.ports, plate, grid);
        self.evaluate(Approach::Stay);
    }

    /// Puts nodes and ports at no volts, and evaluates nothing yet.
    pub(super) fn clear(&mut self) {
        self.point.low.fill(0.0);
        self.point.high.fill(0.0);
        self.equations.no_guess(&self.loaded, &mut self.ports);
    }

    /// Evaluates `here` at `point`, the devices at their ports.
    pub(super) fn evaluate(&mut self, approach: Approach) {
        self.equations.evaluate::<false>(
            &self.loaded,
            &self.point,
            approach,
            &mut self.ports,
            &mut self.here,
        );
    }

    /// Newton steps with the loaded numbers from `point` and its evaluation; true when they end
    /// at a point that one more step moves by no more than the accepted correction (times
    /// `slack`), with all ports where their nodes are. False as well when `watch` wants no more.
    pub(super) fn newton(
        &mut self,
        approach: Approach,
        most_steps: u32,
        slack: f64,
        watch: &mut dyn FnMut() -> bool,
    ) -> bool {
        self.ports.forget_moves();
        self.proved = false;
        for round in 0..most_steps {
            self.stopped = self.stopped || !watch();
            if self.stopped || !self.factor_here() {
                return false;
            }
            self.count.iterations += 1;
            correction(&self.here, &mut self.step);
            self.factors.solve(&self.equations.pattern, &mut self.step);
            if !self.take() {
                return false;
            }
            let moved = self.largest(&self.step);
            let small = self.small(&self.step, slack);
            let done = !self.ports.apart && small;
            let close = moved <= CLOSE || self.ports.is_empty() || round >= QUICK_STEPS;
            if close {
                self.evaluate_exactly(approach);
            } else {
                self.evaluate(approach);
            }
            if close && !self.ports.apart {
                // What this factorisation makes of the new residual says whether another
                // would change anything, at a quarter of its price.
                correction(&self.here, &mut self.next);
                self.factors.solve(&self.equations.pattern, &mut self.next);
                if self.small(&self.next, LAST_SLACK) && self.balanced() {
                    self.count.correction = self.largest(&self.next);
                    self.proved = true;
                    return true;
                }
                if done {
                    return true;
                }
                // It closes in by a part only, so it must promise more.
                let left = self.largest(&self.next);
                let leaves = WORSE * left * left;
                if self.small(&self.next, NEXT_SLACK * slack)
                    || leaves <= LAST_SLACK * ACCEPTED_VOLTS * moved
                {
                    self.step.copy_from_slice(&self.next);
                    return self.take();
                }
                if self.ports.still {
                    // No device moves any more, so what moves is the rounding of a part that
                    // floats, with large currents going round in it. Polishing sums exactly.
                    return true;
                }
            }
            if done {
                return true;
            }
        }
        false
    }

    /// Polishes `point` until correction and residuals are accepted, summing so that nothing is
    /// lost; `here` is then its evaluation.
    pub(super) fn accept(&mut self) -> bool {
        if self.proved {
            return true;
        }
        for round in 0..MOST_POLISH {
            self.evaluate_exactly(Approach::AtOnce);
            // The last factorisation of the Newton steps is good enough to look with.
            if round > 0 {
                if !self.factor_here() {
                    return false;
                }
                self.count.iterations += 1;
            }
            correction(&self.here, &mut self.step);
            self.factors.solve(&self.equations.pattern, &mut self.step);
            if self.small(&self.step, LAST_SLACK) && self.balanced() {
                self.count.correction = self.largest(&self.step);
                return true;
            }
            if !self.take() {
                return false;
            }
        }
        false
    }

    /// Evaluates `here` at `point`, the devices at their ports, to the last digit.
    pub(super) fn evaluate_exactly(&mut self, approach: Approach) {
        self.equations.evaluate::<true>(
            &self.loaded,
            &self.point,
            approach,
            &mut self.ports,
            &mut self.here,
        );
    }

    pub(super) fn factor_here(&mut self) -> bool {
        self.count.factorisations += 1;
        self.factors
            .factor(&self.equations.pattern, &self.here.matrix)
            .is_ok()
    }

    /// Corrects `point` by `step`; false if a number is lost.
    fn take(&mut self) -> bool {
        if self.step.iter().any(|by| !by.is_finite()) {
            return false;
        }
        for (at, &by) in self.step.iter().enumerate() {
            self.point.correct(at + 1, by);
        }
        true
    }

    /// Largest correction of a node in `step`.
    fn largest(&self, step: &[f64]) -> f64 {
        let nodes = step.iter().take(self.equations.nodes - 1);
        nodes.fold(0.0, |largest, by| f64::max(largest, by.abs()))
    }

    /// Is this correction of the nodes within `slack` times the accepted limits? The amplifiers'
    /// currents are judged by the residuals of the nodes that they feed.
    fn small(&self, step: &[f64], slack: f64) -> bool {
        let nodes = self.point.high.iter().take(self.equations.nodes).skip(1);
        step.iter().zip(nodes).all(|(by, value)| {
            by.abs() <= slack * (ACCEPTED_VOLTS + ACCEPTED_RELATIVE * value.abs())
        })
    }

    /// Are all residuals of `here` within the accepted limits?
    fn balanced(&self) -> bool {
        let Evaluation { residual, flow, .. } = &self.here;
        residual
            .iter()
            .zip(flow)
            .skip(1)
            .all(|(&residual, &flow)| residual.abs() <= ACCEPTED_RESIDUAL * flow + ACCEPTED_AMPS)
    }
}

/// Right side of the Newton equations.
fn correction(at: &Evaluation, step: &mut [f64]) {
    for (step, &residual) in step.iter_mut().zip(at.residual.iter().skip(1)) {
        *step = -residual;
    }
}
