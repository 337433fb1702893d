//! Operating points of circuits that differ from a solved one in their numbers alone, four side by side.
//!
//! Newton steps from the solution that is known, each lane its own. A lane that is accepted stands still; one that meets a pivot
//! not to be trusted, or does not settle within a few steps, is left to [`Solver`](super::Solver), which has other ways. So an
//! answer depends neither on its neighbours nor on how the work is shared out. What is accepted is what a [`Solver`](super::Solver)
//! accepts.

use super::newton::LAST_SLACK;
use super::{ACCEPTED_AMPS, ACCEPTED_RELATIVE, ACCEPTED_RESIDUAL, ACCEPTED_VOLTS, Solution};
use crate::equations::{Abreast, Equations, Loaded, LoadedAbreast, Place, Scale, across};
use crate::lanes::{Mask, Wide, Work, widely};
use crate::linear::Factors;
use crate::netlist::{Law, Netlist, NodeIndex};

/// Steps after which a lane is left to the other ways.
const MOST_STEPS: u32 = 12;

/// Circuits of one structure, ready to be changed and solved.
#[derive(Debug, Clone)]
pub(crate) struct Four<'a> {
    netlist: &'a Netlist,
    solution: &'a Solution,
    equations: Equations,
    places: Vec<Place>,
    nominal: LoadedAbreast,
    loaded: LoadedAbreast,
    at: Abreast,
    factors: Factors<Wide>,
    step: Vec<Wide>,
}

impl<'a> Four<'a> {
    /// `netlist` in every lane, whose solution is known. None where circuits of its structure do not go side by side
    /// (rectifier groups, glow lamps), or the solution is another's.
    pub(crate) fn new(netlist: &'a Netlist, solution: &'a Solution) -> Option<Self> {
        let equations = Equations::new(netlist).ok()?;
        let values = solution.volts.len() + solution.amplifier_amps.len();
        if !equations.go_abreast() || values != equations.len() || !solution.converged() {
            return None;
        }
        let mut one = Loaded::default();
        equations.load(netlist, Scale::WHOLE, &mut one).ok()?;
        let loaded = LoadedAbreast::of(&one);
        Some(Self {
            netlist,
            solution,
            places: Equations::places(netlist),
            nominal: loaded.clone(),
            loaded,
            at: Abreast::new(&equations),
            factors: Factors::new(&equations.pattern),
            step: vec![Wide::all(0.0); equations.size],
            equations,
        })
    }

    /// Puts the netlist as it is in every lane.
    pub(crate) fn put_back(&mut self) {
        self.loaded.copy(&self.nominal);
    }

    /// Multiplies every slot of each parameter by its factor, by lane.
    #[inline(always)]
    pub(crate) fn rescale(&mut self, factors: &[Wide]) {
        self.put_back();
        for (parameter, &by) in self.netlist.parameters.iter().zip(factors) {
            for &(element, slot) in &parameter.slots {
                let element = (self.netlist.elements.get(element)).zip(self.places.get(element));
                if let Some((element, &place)) = element {
                    self.loaded.scale(&element.law, slot, place, by);
                }
            }
        }
    }

    /// Gives one lane another law in the place of an element's own. False if it is of another kind, between other nodes, or not
    /// allowed.
    pub(crate) fn change(&mut self, lane: usize, element: usize, law: &Law) -> bool {
        let own = self.netlist.elements.get(element);
        let Some((own, &place)) = own.zip(self.places.get(element)) else {
            return false;
        };
        let same = std::mem::discriminant(&own.law) == std::mem::discriminant(law)
            && own.law.terminals() == law.terminals();
        same && self.loaded.put(lane, law, place)
    }

    /// Finds all operating points; tells which lanes are accepted.
    pub(crate) fn solve(&mut self) -> Mask {
        widely(Settle(self))
    }

    /// Volts of `a` over `b`, by lane.
    pub(crate) fn across(&self, a: NodeIndex, b: NodeIndex) -> Wide {
        let inside = a.max(b) < self.equations.nodes;
        let value = |node: NodeIndex| (self.at.high[node], self.at.low[node]);
        if inside {
            across(value(a), value(b))
        } else {
            Wide::all(0.0)
        }
    }

    /// Volts of every node in one lane, ground first.
    pub(crate) fn volts(&self, lane: usize) -> Vec<f64> {
        let nodes = self.at.high.iter().take(self.equations.nodes);
        nodes.map(|volts| volts.0[lane]).collect()
    }

    #[inline(always)]
    fn settle(&mut self) -> Mask {
        let Self {
            equations,
            loaded,
            at,
            factors,
            step,
            solution,
            ..
        } = self;
        equations.assemble_abreast(loaded);
        at.start(
            solution.volts.iter().chain(&solution.amplifier_amps),
            &solution.rest,
        );
        equations.evaluate_abreast::<false, true>(loaded, at);
        let mut alive = Mask::all(true);
        let mut found = Mask::all(false);
        for round in 0..MOST_STEPS {
            alive = alive
                & factors.factor_abreast(&equations.pattern, &at.matrix)
                & finite(&at.residual);
            for (step, residual) in step.iter_mut().zip(at.residual.iter().skip(1)) {
                *step = -*residual;
            }
            factors.solve_abreast(&equations.pattern, step);
            if round > 0 {
                let good = small(at, step, equations.nodes) & balanced(at) & !at.apart();
                found = found | (good & alive);
            }
            alive = alive & finite(step);
            if (found | !alive).every() {
                break;
            }
            for (unknown, by) in step.iter().enumerate() {
                at.correct(unknown + 1, found.pick(Wide::all(0.0), *by));
            }
            equations.evaluate_abreast::<true, false>(loaded, at);
        }
        found
    }
}

struct Settle<'a, 'b>(&'a mut Four<'b>);

impl Work for Settle<'_, '_> {
    type Output = Mask;

    #[inline(always)]
    fn call(self) -> Mask {
        self.0.settle()
    }
}

/// Where a correction of the nodes is within what an accepted point may have left.
#[inline(always)]
fn small(at: &Abreast, step: &[Wide], nodes: usize) -> Mask {
    let mut excess = Wide::all(f64::NEG_INFINITY);
    for (by, value) in step.iter().zip(&at.high[1..nodes]) {
        let most = (value.abs() * ACCEPTED_RELATIVE + ACCEPTED_VOLTS) * LAST_SLACK;
        excess = excess.higher(by.abs() - most);
    }
    !Wide::all(0.0).less(excess)
}

/// Where all residuals are within the accepted limits.
#[inline(always)]
fn balanced(at: &Abreast) -> Mask {
    let mut excess = Wide::all(f64::NEG_INFINITY);
    for (residual, flow) in at.residual.iter().zip(&at.flow).skip(1) {
        let most = *flow * ACCEPTED_RESIDUAL + ACCEPTED_AMPS;
        excess = excess.higher(residual.abs() - most);
    }
    !Wide::all(0.0).less(excess)
}

/// Where nothing is infinite or no number.
#[inline(always)]
fn finite(step: &[Wide]) -> Mask {
    let mut sum = Wide::all(0.0);
    for by in step {
        sum += *by * 0.0;
    }
    sum.is_number()
}
