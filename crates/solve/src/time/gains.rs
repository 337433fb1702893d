//! Where the next stage of a step will be found, from what the last steps gained from stage to stage.
//!
//! A stage is off the true path by what is of second order in the step, and so is the same stage of the step before; what one
//! stage gains on the one before it is therefore foretold better from its own past than along the path.

/// Steps that are looked back on.
const PAST: usize = 3;
/// A step this much longer than the last is foretold by a straight line, one longer still by the last gain alone.
const BENT_UP_TO: f64 = 1.3;
const STRAIGHT_UP_TO: f64 = 2.5;

/// What the stages of one step gained.
#[derive(Debug, Clone, Default)]
struct Step {
    seconds: f64,
    h: f64,
    /// By stage: each unknown's gain on the stage before, over the length of the step.
    stages: Vec<Vec<f64>>,
}

/// The gains of the last steps, and of the one in hand.
#[derive(Debug, Clone, Default)]
pub(super) struct Gains {
    /// Newest first.
    past: [Step; PAST],
    known: usize,
    now: Step,
    /// How the past is added up for the step in hand.
    shares: [f64; PAST],
    /// The unknowns at the stage before.
    from: Vec<f64>,
}

impl Gains {
    /// A step of so many stages begins.
    pub(super) fn begin(&mut self, seconds: f64, h: f64, stages: usize) {
        self.now.seconds = seconds;
        self.now.h = h;
        self.now.stages.resize(stages, Vec::new());
        if self.past[0].stages.len() != stages {
            self.known = 0;
        }
        self.shares = [0.0; PAST];
        let longer = h / self.past[0].h;
        let used = if longer <= BENT_UP_TO {
            self.known
        } else if longer <= STRAIGHT_UP_TO {
            self.known.min(2)
        } else {
            self.known.min(1)
        };
        // the parabola, line or level through the last gains (Lagrange)
        for at in 0..used {
            let mut share = h;
            for other in (0..used).filter(|other| *other != at) {
                let (own, far) = (self.past[at].seconds, self.past[other].seconds);
                share *= (seconds - far) / (own - far);
            }
            self.shares[at] = share;
        }
        if self.shares.iter().any(|share| !share.is_finite()) {
            self.known = 0;
        }
    }

    /// Moves `x` from the stage before to where this one should be; false if nothing is known.
    pub(super) fn guess(&mut self, stage: usize, x: &mut [f64]) -> bool {
        self.from.clear();
        self.from.extend_from_slice(x);
        if self.known == 0 {
            return false;
        }
        for (past, share) in self.past.iter().zip(self.shares).take(self.known) {
            if share != 0.0 {
                for (x, gain) in x.iter_mut().zip(&past.stages[stage]) {
                    *x += share * gain;
                }
            }
        }
        true
    }

    /// The stage was found at `x`.
    pub(super) fn found(&mut self, stage: usize, x: &[f64]) {
        let per = 1.0 / self.now.h;
        let gains = x.iter().zip(&self.from).map(|(x, from)| per * (x - from));
        let slot = &mut self.now.stages[stage];
        slot.clear();
        slot.extend(gains);
    }

    /// The step in hand counts.
    pub(super) fn count(&mut self) {
        self.past.rotate_right(1);
        std::mem::swap(&mut self.past[0], &mut self.now);
        self.known = (self.known + 1).min(PAST);
    }

    /// Something jumped: the past says nothing any more.
    pub(super) fn forget(&mut self) {
        self.known = 0;
    }
}
