//! Ohms with the power off: what an ohmmeter should show from point to point.
//!
//! Plug out, capacitors discharged, valves cold: cathodes emit nothing, capacitors pass only
//! their leak, silicon does not conduct at the small volts of an ohmmeter (it may: exchange the
//! leads), heaters and lamps are cold. What is left is resistances, and their source resistance
//! between the leads is the reading.

mod beside;

pub(crate) use beside::Beside;

use super::bands::{Share, band};
use super::model::{Expected, UNDETERMINED_OHMS};
use super::state::Trouble;
use super::verdict::Band;
use crate::tolerance::{Causes, MainsKnown, Tolerances};
use solve::Assembly;
use solve::linearised::Linearised;
use solve::netlist::{Element, Law, Netlist, NodeIndex};
use solve::operating::{self, Solution};
use wiring::NodeId;
use wiring::circuit::Circuit;

/// Cold resistance of a heater over its hot resistance (common practice, no source).
const HEATER_COLD: f64 = 1.0 / 6.0;

/// What stands for a cold valve, a neon lamp, a junction without a leak: practically open, ohms.
pub(crate) const COLD_OHMS: f64 = 1e12;

/// Source that pushes a test current: so many volts behind [`TEST_OHMS`].
const TEST_VOLTS: f64 = 1e3;
/// Much more than anything an ohmmeter reads.
const TEST_OHMS: f64 = 1e10;

/// How the reason begins where there is no path at all.
pub(crate) const NO_PATH: &str = "no path for direct current";

/// The circuit without power, solved.
pub(crate) struct Cold {
    node_of: Vec<Option<NodeIndex>>,
    nominal: Netlist,
    middle: Netlist,
    causes: Causes,
    solution: Solution,
    linear: Linearised,
    stand_ins: Vec<usize>,
}

impl Cold {
    /// Takes the power out of an assembled circuit.
    ///
    /// # Errors
    /// When even the bare resistances cannot be solved; with the reason.
    pub(crate) fn new(
        circuit: &Circuit,
        assembly: Assembly,
        tolerances: &Tolerances,
    ) -> Result<Self, Trouble> {
        let causes = Causes::of(
            circuit,
            &assembly.netlist.parameters,
            tolerances,
            MainsKnown::Read,
        );
        let nominal = passive(&assembly.netlist);
        let middle = passive(&assembly.netlist.scaled(&causes.medians));
        let solution = operating::solve(&nominal, None);
        let linear = Linearised::new(&nominal, &solution)
            .map_err(|e| Trouble::new(format!("the resistances cannot be solved: {e}")))?;
        Ok(Self {
            node_of: assembly.node_of,
            nominal,
            middle,
            causes,
            solution,
            linear,
            stand_ins: assembly.stand_ins,
        })
    }

    /// The netlist's node of a wiring node.
    pub(crate) fn node(&self, node: NodeId) -> Option<NodeIndex> {
        self.node_of.get(node.0).copied().flatten()
    }

    /// Ohms between two nodes, with the band of sound parts.
    ///
    /// # Errors
    /// A sentence, where there is no path or a part of unknown value lies in it.
    pub(crate) fn expect(&self, a: NodeIndex, b: NodeIndex) -> Result<Expected, String> {
        let nominal = self.linear.source_ohms_between(a, b);
        if nominal.is_nan() || nominal > UNDETERMINED_OHMS {
            return Err(format!("{NO_PATH}: the meter should show over range"));
        }
        let moved = self.linear.response(&unit(a, b, self.nominal.nodes.len()));
        let between = |x: usize, y: usize| {
            moved.get(x).copied().unwrap_or(0.0) - moved.get(y).copied().unwrap_or(0.0)
        };
        for index in &self.stand_ins {
            let Some(Element {
                name,
                law: Law::Resistor { a: x, b: y, .. },
            }) = self.nominal.elements.get(*index)
            else {
                continue;
            };
            let ends = self.linear.source_ohms_between(*x, *y);
            // a short there would take this off the reading
            if between(*x, *y).powi(2) / ends > 0.01 * nominal {
                return Err(format!("depends on {name}, which is not known"));
            }
        }
        let mut tested = self.middle.clone();
        tested.elements.push(Element {
            name: "meter".to_owned(),
            law: Law::Source {
                plus: a,
                minus: b,
                volts: TEST_VOLTS,
                ohms: TEST_OHMS,
            },
        });
        let at = operating::solve(&tested, Some(&self.solution.volts));
        let linear = Linearised::new(&tested, &at).map_err(|e| format!("cannot be solved: {e}"))?;
        let volts = at.across(a, b);
        let amps = (TEST_VOLTS - volts) / TEST_OHMS;
        let centre = volts / amps;
        // the logarithm of the ohms follows the volts, and the current that the test
        // resistance keeps nearly steady
        let per_volt = TEST_VOLTS / (TEST_VOLTS - volts) / volts.max(f64::MIN_POSITIVE);
        let adjoint = linear.adjoint(a, b);
        let shares =
            self.causes.causes.iter().map(|cause| {
                Share::linear(cause, |p| adjoint.sensitivity(&tested, &at, p) * per_volt)
            });
        let by_factor = band(0.0, shares);
        Ok(Expected {
            nominal,
            band: Band::by_factor(centre, by_factor.down, by_factor.up),
            source_ohms: nominal,
        })
    }
}

fn unit(a: NodeIndex, b: NodeIndex, nodes: usize) -> Vec<f64> {
    let mut fed = vec![0.0; nodes];
    if let Some(x) = fed.get_mut(a) {
        *x += 1.0;
    }
    if let Some(x) = fed.get_mut(b) {
        *x -= 1.0;
    }
    fed
}

/// The same nodes and elements, with nothing in them that has a will of its own.
pub(crate) fn passive(netlist: &Netlist) -> Netlist {
    let mut cold = netlist.clone();
    let heaters: Vec<usize> = netlist
        .heating
        .iter()
        .flat_map(|h| h.heaters.iter().copied())
        .collect();
    for (index, element) in cold.elements.iter_mut().enumerate() {
        let resistor = |a: NodeIndex, b: NodeIndex, ohms: f64| Law::Resistor { a, b, ohms };
        element.law = match &element.law {
            Law::Resistor { a, b, ohms } if heaters.contains(&index) => {
                resistor(*a, *b, ohms * HEATER_COLD)
            }
            Law::Triode {
                plate: a,
                cathode: b,
                ..
            }
            | Law::Pentode {
                plate: a,
                cathode: b,
                ..
            } => resistor(*a, *b, COLD_OHMS),
            Law::Neon { a, b, .. } => resistor(*a, *b, COLD_OHMS),
            Law::Diode { a, k, law } => {
                let leak = if law.leak > 0.0 {
                    1.0 / law.leak
                } else {
                    COLD_OHMS
                };
                resistor(*a, *k, leak.min(COLD_OHMS))
            }
            Law::Filament { a, b, law } => resistor(*a, *b, law.ohms(0.0)),
            // a bench supply or generator that is left connected is its resistance
            Law::Source {
                plus, minus, ohms, ..
            } => resistor(*plus, *minus, *ohms),
            Law::Alternating { a, b, ohms, .. } => resistor(*a, *b, *ohms),
            other => other.clone(),
        };
    }
    cold.heating.clear();
    cold
}
