//! How a response follows every part.
//!
//! One solution of the circuit and one of its transpose serve all parts. A part acts twice: in
//! the alternating circuit, and by moving the operating point, which changes every valve's
//! slopes; the second costs two solutions of the direct-current adjoint and second slopes of
//! the valves, by differences.

use super::build::Build;
use super::{Response, Term, Toward};
use crate::linear::{Complex, Phasor};
use crate::linearised::{Adjoint, Linearised};
use crate::netlist::{Law, Netlist, NodeIndex};
use crate::operating::Solution;

/// Natural logarithm of the factor by which a part is moved, up and down, to find its slope.
const NUDGE: f64 = 1e-4;
/// Volts by which a valve's electrode is moved to find how its slopes change.
const NUDGE_VOLTS: f64 = 1e-4;

/// What is held while a part moves.
#[derive(Debug, Clone, Copy)]
pub enum Held<'a> {
    /// The operating point stays: the part acts in the alternating circuit only.
    Point,
    /// Nothing: the circuit settles at its new operating point.
    Nothing(&'a Linearised),
}

impl Response<'_> {
    /// How the volts of `a` over `b` per volt of the source `source` follow each parameter of
    /// the netlist: change per natural logarithm of its factor, so a hundredth of it for each
    /// per cent. The netlist and the solution are those that the circuit was made from.
    ///
    /// With nothing held, what a part does to rectifiers' slopes is left out, and so is what a
    /// reduced netlist does not show at direct current (turns of the mains transformer, mains).
    #[must_use]
    pub fn sensitivities(
        &self,
        netlist: &Netlist,
        solution: &Solution,
        source: usize,
        (a, b): (NodeIndex, NodeIndex),
        held: Held<'_>,
    ) -> Vec<Complex> {
        let Some(Some((plus, minus, siemens))) = self.circuit.sources.get(source) else {
            return vec![Complex::default(); netlist.parameters.len()];
        };
        let drawn = Drawn {
            response: self,
            solution,
            source,
            x: self.unknowns(*plus, *minus, *siemens),
            toward: self.toward(a, b),
        };
        let mut slopes: Vec<Complex> = netlist
            .parameters
            .iter()
            .map(|parameter| {
                let mut moved = Complex::default();
                for (at, &(element, _)) in parameter.slots.iter().enumerate() {
                    let seen = &parameter.slots[..at];
                    if seen.iter().any(|(other, _)| *other == element) {
                        continue;
                    }
                    let Some(part) = netlist.elements.get(element) else {
                        continue;
                    };
                    let at = |factor: f64| {
                        let mut part = part.clone();
                        for &(_, slot) in parameter.slots.iter().filter(|(to, _)| *to == element) {
                            part.scale(slot, factor);
                        }
                        drawn.by(element, &part.law, solution)
                    };
                    moved -= at(NUDGE.exp()) - at((-NUDGE).exp());
                }
                moved * Complex::new(0.5 / NUDGE, 0.0)
            })
            .collect();
        if let Held::Nothing(linearised) = held {
            let (real, imaginary) = drawn.settling(netlist, linearised);
            for (at, slope) in slopes.iter_mut().enumerate() {
                let part = |adjoint: &Adjoint| adjoint.sensitivity(netlist, solution, at);
                *slope += Complex::new(part(&real), part(&imaginary));
            }
        }
        slopes
    }
}

/// What an element takes from the reading by the currents that it draws.
struct Drawn<'a> {
    response: &'a Response<'a>,
    solution: &'a Solution,
    source: usize,
    x: Vec<Complex>,
    toward: Toward,
}

impl Drawn<'_> {
    /// Of one element with this law, linearised at `solution`.
    fn by(&self, element: usize, law: &Law, solution: &Solution) -> Complex {
        let own = self.response.circuit.own.get(element).copied();
        let mut build = Build::new(solution, own.unwrap_or_default());
        build.element(element, law);
        let omega = std::f64::consts::TAU * self.response.hertz;
        let x = |at: Option<usize>| {
            at.and_then(|at| self.x.get(at).copied())
                .unwrap_or_default()
        };
        let mut sum = Complex::default();
        for Term {
            row,
            plus,
            minus,
            admittance,
            factor,
            ..
        } in build.terms
        {
            let mut volts = x(plus) - x(minus);
            if element == self.source {
                // Its own volt stands in its way.
                volts -= Complex::new(1.0, 0.0);
            }
            let amps = admittance.at(Complex::imaginary(omega)) * Complex::new(factor, 0.0) * volts;
            sum += self.toward.unknown(Some(row)) * amps;
        }
        sum
    }

    /// How the reading follows the operating point: the adjoint of its real part and of its
    /// imaginary part.
    fn settling(&self, netlist: &Netlist, linearised: &Linearised) -> (Adjoint, Adjoint) {
        let nodes = netlist.nodes.len();
        let (mut real, mut imaginary) = (vec![0.0; nodes], vec![0.0; nodes]);
        let mut moved = self.solution.clone();
        for (element, part) in netlist.elements.iter().enumerate() {
            let bends = matches!(
                part.law,
                Law::Triode { .. }
                    | Law::Pentode { .. }
                    | Law::Diode { .. }
                    | Law::Filament { .. }
                    | Law::Neon { .. }
            );
            if !bends {
                continue;
            }
            let mut ends = part.law.terminals();
            ends.sort_unstable();
            ends.dedup();
            for node in ends.into_iter().filter(|node| *node > 0) {
                let Some(volts) = self.solution.volts.get(node).copied() else {
                    continue;
                };
                let mut at = |by: f64| {
                    if let Some(slot) = moved.volts.get_mut(node) {
                        *slot = volts + by;
                    }
                    self.by(element, &part.law, &moved)
                };
                let slope = at(-NUDGE_VOLTS) - at(NUDGE_VOLTS);
                if let Some(slot) = moved.volts.get_mut(node) {
                    *slot = volts;
                }
                real[node] += 0.5 * slope.re / NUDGE_VOLTS;
                imaginary[node] += 0.5 * slope.im / NUDGE_VOLTS;
            }
        }
        (
            linearised.adjoint_of(&real),
            linearised.adjoint_of(&imaginary),
        )
    }
}
