//! Many circuits that differ from one in a few elements: faults, knobs, builds.

use super::{Four, Solution, Solver};
use crate::lanes::LANES;
use crate::netlist::{Law, Netlist};

/// Operating points of circuits that are `netlist` with a few elements under another law, each by the element's index.
///
/// By variant: volts of every node, ground first, or none where there is no operating point. `solution` is that of `netlist`;
/// every variant starts from it, so that none depends on another, nor on how many are asked for together. Laws of the same kind
/// between the same nodes go side by side; a change of structure, and what does not settle at once, costs a solution of its own.
///
/// ```
/// use solve::operating::{solve, solve_variants};
/// use solve::{Element, Law, Netlist};
/// let resistor = |a, b, ohms| Law::Resistor { a, b, ohms };
/// let source = Law::Source { plus: 1, minus: 0, volts: 100.0, ohms: 1e-3 };
/// let laws = [source, resistor(1, 2, 1e4), resistor(2, 0, 1e4)];
/// let netlist = Netlist {
///     nodes: ["ground", "a", "b"].map(String::from).to_vec(),
///     elements: laws.map(|law| Element { name: String::new(), law }).to_vec(),
///     ..Netlist::default()
/// };
/// let found = solve_variants(&netlist, &solve(&netlist, None), &[vec![(1, resistor(1, 2, 3e4))]]);
/// assert!((found[0].as_ref().unwrap()[2] - 25.0).abs() < 1e-5);
/// ```
#[must_use]
pub fn solve_variants(
    netlist: &Netlist,
    solution: &Solution,
    variants: &[Vec<(usize, Law)>],
) -> Vec<Option<Vec<f64>>> {
    let mut four = Four::new(netlist, solution);
    let mut alone: Option<(Solver, Netlist)> = None;
    let mut found = Vec::with_capacity(variants.len());
    for group in variants.chunks(LANES) {
        let mut fits = [false; LANES];
        if let Some(four) = &mut four {
            four.put_back();
            for ((lane, fits), changes) in fits.iter_mut().enumerate().zip(group) {
                *fits = changes
                    .iter()
                    .all(|(element, law)| four.change(lane, *element, law));
            }
            let solved = four.solve();
            for (lane, fits) in fits.iter_mut().enumerate() {
                *fits &= solved.lane(lane);
            }
        }
        for ((lane, fits), changes) in fits.into_iter().enumerate().zip(group) {
            found.push(match &four {
                Some(four) if fits => Some(four.volts(lane)),
                _ => by_itself(netlist, solution, changes, &mut alone),
            });
        }
    }
    found
}

/// One variant with all the ways there are; what it needs is kept for the next.
fn by_itself(
    netlist: &Netlist,
    solution: &Solution,
    changes: &[(usize, Law)],
    kept: &mut Option<(Solver, Netlist)>,
) -> Option<Vec<f64>> {
    if kept.is_none() {
        *kept = Some((Solver::new(netlist).ok()?, netlist.clone()));
    }
    let (solver, changed) = kept.as_mut()?;
    for (element, law) in changes {
        if let Some(element) = changed.elements.get_mut(*element) {
            element.law.clone_from(law);
        }
    }
    solver.remember(&solution.cycles);
    let found = solver.solve(changed, Some(&solution.volts));
    for (element, _) in changes {
        let own = netlist.elements.get(*element);
        if let Some((slot, own)) = changed.elements.get_mut(*element).zip(own) {
            slot.law.clone_from(&own.law);
        }
    }
    found.converged().then_some(found.volts)
}
