//! A netlist as it stands in time: capacitors, coils, windings and the mains besides.
//!
//! For an independent integration of the wave itself, against which the averaged supply is held.
//! The diodes are still diodes here; nothing is reduced.

use serde::Serialize;

use super::{ExportedElement, laws};
use crate::netlist::{Law, Netlist, NodeIndex};

/// A netlist with everything that acts in time.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ExportedWhole {
    /// A name for each node; index 0 is ground.
    pub nodes: Vec<String>,
    /// Mains frequency; 0 without mains.
    pub hertz: f64,
    /// The elements, in the order of the netlist.
    pub elements: Vec<ExportedTimed>,
}

/// An element in time.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(untagged)]
pub enum ExportedTimed {
    /// The same at every instant.
    Steady(ExportedElement),
    /// One with a memory or a wave of its own.
    Timed {
        /// The element's name.
        name: String,
        /// Its law.
        #[serde(flatten)]
        law: TimedLaw,
    },
}

/// What an element does in time. Currents flow into the first-named node.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "law", rename_all = "snake_case")]
pub enum TimedLaw {
    /// `v[a] - v[b] = esr i + q / farads`, `i = dq/dt`.
    Capacitor {
        /// First node.
        a: NodeIndex,
        /// Second node.
        b: NodeIndex,
        /// Farads.
        farads: f64,
        /// Series ohms.
        esr_ohms: f64,
    },
    /// `v[a] - v[b] = ohms i + henries di/dt`.
    Inductor {
        /// First node.
        a: NodeIndex,
        /// Second node.
        b: NodeIndex,
        /// Henries.
        henries: f64,
        /// Ohms.
        ohms: f64,
    },
    /// `v[a] - v[b] = sqrt(2) volts cos(2 pi hertz t) + ohms i`.
    Alternating {
        /// First node.
        a: NodeIndex,
        /// Second node.
        b: NodeIndex,
        /// Volts rms.
        volts: f64,
        /// Ohms.
        ohms: f64,
        /// The mains, or a signal (which is silent here)?
        mains: bool,
    },
    /// Each winding: `v[a] - v[b] = turns u + ohms i + leakage di/dt`. The core:
    /// `u = henries dm/dt`, `sum(turns i) = m + u / core_ohms`.
    Transformer {
        /// Windings.
        windings: Vec<ExportedWinding>,
        /// Henries for one turn.
        henries: f64,
        /// Core-loss ohms for one turn; none is infinite.
        core_ohms: Option<f64>,
    },
}

/// A winding, or the part of one between two taps.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ExportedWinding {
    /// First node.
    pub a: NodeIndex,
    /// Second node.
    pub b: NodeIndex,
    /// Turns.
    pub turns: f64,
    /// Ohms.
    pub ohms: f64,
    /// Leakage henries.
    pub leakage: f64,
}

/// The netlist as it was assembled, diodes and all; `lit` are the indices of the glow lamps that burn.
#[must_use]
pub fn export_whole(netlist: &Netlist, lit: &[usize]) -> ExportedWhole {
    let mut elements = Vec::new();
    for (index, element) in netlist.elements.iter().enumerate() {
        let timed = match &element.law {
            Law::Capacitor {
                a,
                b,
                farads,
                esr_ohms,
            } => TimedLaw::Capacitor {
                a: *a,
                b: *b,
                farads: *farads,
                esr_ohms: *esr_ohms,
            },
            Law::Inductor {
                a,
                b,
                henries,
                ohms,
            } => TimedLaw::Inductor {
                a: *a,
                b: *b,
                henries: *henries,
                ohms: *ohms,
            },
            Law::Alternating {
                a,
                b,
                volts,
                ohms,
                mains,
                ..
            } => TimedLaw::Alternating {
                a: *a,
                b: *b,
                volts: *volts,
                ohms: *ohms,
                mains: *mains,
            },
            Law::Transformer(t) => TimedLaw::Transformer {
                windings: t
                    .windings
                    .iter()
                    .map(|w| ExportedWinding {
                        a: w.a,
                        b: w.b,
                        turns: w.turns,
                        ohms: w.ohms,
                        leakage: w.leakage,
                    })
                    .collect(),
                henries: t.henries_per_turn2,
                core_ohms: Some(t.ohms_per_turn2).filter(|o| o.is_finite()),
            },
            steady => {
                elements.extend(laws(steady, lit.contains(&index)).into_iter().map(|law| {
                    ExportedTimed::Steady(ExportedElement {
                        name: element.name.clone(),
                        law,
                    })
                }));
                continue;
            }
        };
        elements.push(ExportedTimed::Timed {
            name: element.name.clone(),
            law: timed,
        });
    }
    ExportedWhole {
        nodes: netlist.nodes.clone(),
        hertz: netlist.hertz,
        elements,
    }
}
