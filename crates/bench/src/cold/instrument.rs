//! The ohmmeter: its few volts may open a junction.
//!
//! A digital meter sends a steady small current, smaller on each higher range, from some volts at
//! open leads. Across silicon that is enough or not, by range and make, so a reading with the
//! leads the wrong way round may be anything from shut to open; here the open end is computed.

use crate::chart::ohms::passive;
use solve::Assembly;
use solve::device::RectifierLaw;
use solve::netlist::{Element, Law, Netlist, NodeIndex};
use solve::operating;

/// Volts at the open leads of a digital meter on ohms: some have less, few have more (common
/// practice, no source).
pub const TEST_VOLTS: f64 = 3.0;

/// Test current on the lowest range, amperes; ten times less on each higher one (common practice,
/// no source).
const LOWEST_RANGE_AMPS: f64 = 1e-3;
/// Ohms at the end of the lowest range.
const LOWEST_RANGE_OHMS: f64 = 2e3;

/// A reading that falls by less than this is the same one.
const SAME: f64 = 0.9;

/// The circuit with its junctions alive.
pub(super) struct Instrument {
    pub(super) volts: f64,
    /// None where there is no junction at all.
    netlist: Option<Netlist>,
}

impl Instrument {
    pub(super) fn new(assembly: &Assembly, volts: Option<f64>) -> Self {
        let mut netlist = passive(&assembly.netlist);
        let mut junctions = false;
        let laws = assembly.netlist.elements.iter().map(|e| &e.law);
        for (element, law) in netlist.elements.iter_mut().zip(laws) {
            if let Law::Diode { law: diode, .. } = law
                && !matches!(diode.forward, RectifierLaw::Valve(_))
            {
                element.law = law.clone();
                junctions = true;
            }
        }
        Self {
            volts: volts
                .filter(|v| v.is_finite() && *v > 0.0)
                .unwrap_or(TEST_VOLTS),
            netlist: junctions.then_some(netlist),
        }
    }

    /// What it may read with red and black exchanged, when that is less than with junctions shut.
    pub(super) fn exchanged(&self, (red, black): (NodeIndex, NodeIndex), shut: f64) -> Option<f64> {
        let netlist = self.netlist.as_ref()?;
        let mut tested = netlist.clone();
        let decades = (shut / LOWEST_RANGE_OHMS).max(1.0).log10().ceil();
        let amps = LOWEST_RANGE_AMPS * 10f64.powf(-decades.clamp(0.0, 4.0));
        tested.elements.push(Element {
            name: "meter".to_owned(),
            law: Law::Source {
                plus: black,
                minus: red,
                volts: self.volts,
                ohms: self.volts / amps,
            },
        });
        let at = operating::solve(&tested, None);
        if !at.converged() {
            return None;
        }
        let across = at.across(black, red);
        let flows = (self.volts - across) * amps / self.volts;
        let ohms = across / flows;
        (ohms.is_finite() && flows > 0.0 && ohms < SAME * shut).then_some(ohms)
    }
}
