//! The equations of a direct-current solution as plain numbers, for a second opinion.
//!
//! [`export_equations`] lists every element of a (reduced) netlist with the numbers of its law
//! and the volts that were found, so that an independent program can solve the same equations
//! and compare. What a law does with its numbers is in the documentation of [`crate::device`]
//! and, for rectifier groups, of [`crate::netlist::Rectifiers`]. Units are SI; infinite
//! numbers (a diode that is no zener) are left out.

mod whole;

pub use whole::{ExportedTimed, ExportedWhole, ExportedWinding, TimedLaw, export_whole};

use std::collections::BTreeMap;

use serde::Serialize;

use crate::device::{DiodeLaw, RectifierLaw};
use crate::netlist::{CYCLE_STEPS, LEAST_DECAY, Law, Netlist, NodeIndex, Rectifiers};

/// Numbers of a law by their names in its documentation.
pub type Numbers = BTreeMap<&'static str, f64>;

/// A netlist at direct current, and its solution.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ExportedEquations {
    /// A name for each node; index 0 is ground.
    pub nodes: Vec<String>,
    /// Volts that were found, one for each node.
    pub volts: Vec<f64>,
    /// Numbers that hold for the whole: `cycle_steps`, `least_decay`, and what the caller adds
    /// (the conductances that keep floating nodes and cut-off valves solvable).
    pub constants: Numbers,
    /// The elements that carry steady current, in the order of the netlist.
    pub elements: Vec<ExportedElement>,
}

/// One element: its name, and what it does at direct current.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ExportedElement {
    /// The element's name.
    pub name: String,
    /// Its law.
    #[serde(flatten)]
    pub law: ExportedLaw,
}

/// What an element does at direct current. Currents flow into the first-named node.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "law", rename_all = "snake_case")]
pub enum ExportedLaw {
    /// `i = (v[a] - v[b] - volts) / ohms`: resistors, coils, windings, sources, an alternating
    /// source's resistance.
    Branch {
        /// First node.
        a: NodeIndex,
        /// Second node.
        b: NodeIndex,
        /// Ohms.
        ohms: f64,
        /// Emf from `b` to `a`.
        volts: f64,
    },
    /// `v[output] = gain v[input]`, against ground, behind the constant `amplifier_ohms`.
    Amplifier {
        /// Input node.
        input: NodeIndex,
        /// Output node.
        output: NodeIndex,
        /// Volts per volt.
        gain: f64,
    },
    /// Equation set T.
    Triode {
        /// Plate node.
        plate: NodeIndex,
        /// Grid node.
        grid: NodeIndex,
        /// Cathode node.
        cathode: NodeIndex,
        /// `k mu x w0 w1 v0 vb d wg vg0`.
        numbers: Numbers,
    },
    /// Equation set P.
    Pentode {
        /// Plate node.
        plate: NodeIndex,
        /// Screen node.
        screen: NodeIndex,
        /// Control-grid node.
        grid: NodeIndex,
        /// Cathode node.
        cathode: NodeIndex,
        /// `k mu x w0 w1 lam s m vmin v1 n r0 d wg vg0`.
        numbers: Numbers,
    },
    /// A diode at steady volts.
    Diode {
        /// Plate end.
        a: NodeIndex,
        /// Cathode end.
        k: NodeIndex,
        /// Its law.
        diode: ExportedDiode,
    },
    /// A filament lamp.
    Filament {
        /// First node.
        a: NodeIndex,
        /// Second node.
        b: NodeIndex,
        /// `volts amps cold`.
        numbers: Numbers,
    },
    /// A glow lamp.
    Neon {
        /// First node.
        a: NodeIndex,
        /// Second node.
        b: NodeIndex,
        /// `strike hold ohms`.
        numbers: Numbers,
        /// On its lit branch, as it was found.
        lit: bool,
    },
    /// Rectifying plates over one mains cycle.
    Rectifiers(ExportedRectifiers),
}

/// A diode's law.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ExportedDiode {
    /// `valve`, `junction` or `ideal`.
    pub forward: &'static str,
    /// `perveance`; or `saturation volts ohms`; or `ohms`; with `leak`, and `zener` if it is one.
    pub numbers: Numbers,
}

/// A rectifier group; each field as in [`crate::netlist::Rectifiers`].
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ExportedRectifiers {
    /// Mains frequency.
    pub hertz: f64,
    /// The plates.
    pub plates: Vec<ExportedPlate>,
    /// Resistance that departures from the means act through.
    pub ohms: Vec<Vec<f64>>,
    /// Capacitors and inductors that hold ripple.
    pub stores: Vec<ExportedStore>,
}

/// One plate of a group.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ExportedPlate {
    /// Plate node.
    pub plate: NodeIndex,
    /// Cathode node.
    pub cathode: NodeIndex,
    /// Its law; the leak is a branch of its own.
    pub diode: ExportedDiode,
    /// Peak of the emf.
    pub emf_peak: f64,
    /// Its phase.
    pub phase: f64,
}

/// One store of a group.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ExportedStore {
    /// Per unit of every store's state, 1/s.
    pub rates: Vec<f64>,
    /// Per ampere through each plate.
    pub charge: Vec<f64>,
    /// Volts across each plate per unit of state.
    pub reach: Vec<f64>,
}

/// The equations of a netlist whose mains-driven diodes are already groups, with the volts that
/// were found. `lit` are the indices of the glow lamps that burn; `constants` are the
/// conductances and ohms that the solver adds, by name.
#[must_use]
pub fn export_equations(
    reduced: &Netlist,
    volts: &[f64],
    lit: &[usize],
    constants: &[(&'static str, f64)],
) -> ExportedEquations {
    let mut all: Numbers = constants.iter().copied().collect();
    all.insert("cycle_steps", CYCLE_STEPS as f64);
    all.insert("least_decay", LEAST_DECAY);
    let mut elements = Vec::new();
    for (index, element) in reduced.elements.iter().enumerate() {
        for law in laws(&element.law, lit.contains(&index)) {
            elements.push(ExportedElement {
                name: element.name.clone(),
                law,
            });
        }
    }
    ExportedEquations {
        nodes: reduced.nodes.clone(),
        volts: volts.to_vec(),
        constants: all,
        elements,
    }
}

fn branch(a: NodeIndex, b: NodeIndex, ohms: f64, volts: f64) -> ExportedLaw {
    ExportedLaw::Branch { a, b, ohms, volts }
}

fn laws(law: &Law, lit: bool) -> Vec<ExportedLaw> {
    let one = match law {
        Law::Capacitor { .. } => return Vec::new(),
        Law::Transformer(t) => {
            let sections = t.windings.iter();
            return sections.map(|w| branch(w.a, w.b, w.ohms, 0.0)).collect();
        }
        Law::Resistor { a, b, ohms }
        | Law::Inductor { a, b, ohms, .. }
        | Law::Alternating { a, b, ohms, .. } => branch(*a, *b, *ohms, 0.0),
        Law::Source {
            plus,
            minus,
            volts,
            ohms,
        } => branch(*plus, *minus, *ohms, *volts),
        Law::Amplifier {
            input,
            output,
            gain,
        } => ExportedLaw::Amplifier {
            input: *input,
            output: *output,
            gain: *gain,
        },
        Law::Triode {
            plate,
            grid,
            cathode,
            law: t,
        } => ExportedLaw::Triode {
            plate: *plate,
            grid: *grid,
            cathode: *cathode,
            numbers: Numbers::from([
                ("k", t.k),
                ("mu", t.mu),
                ("x", t.x),
                ("w0", t.w0),
                ("w1", t.w1),
                ("v0", t.v0),
                ("vb", t.vb),
                ("d", t.d),
                ("wg", t.wg),
                ("vg0", t.vg0),
            ]),
        },
        Law::Pentode {
            plate,
            screen,
            grid,
            cathode,
            law: p,
        } => ExportedLaw::Pentode {
            plate: *plate,
            screen: *screen,
            grid: *grid,
            cathode: *cathode,
            numbers: Numbers::from([
                ("k", p.k),
                ("mu", p.mu),
                ("x", p.x),
                ("w0", p.w0),
                ("w1", p.w1),
                ("lam", p.lam),
                ("s", p.s),
                ("m", p.m),
                ("vmin", p.vmin),
                ("v1", p.v1),
                ("n", p.n),
                ("r0", p.r0),
                ("d", p.d),
                ("wg", p.wg),
                ("vg0", p.vg0),
            ]),
        },
        Law::Diode { a, k, law } => ExportedLaw::Diode {
            a: *a,
            k: *k,
            diode: diode(law),
        },
        Law::Filament { a, b, law } => ExportedLaw::Filament {
            a: *a,
            b: *b,
            numbers: Numbers::from([("volts", law.volts), ("amps", law.amps), ("cold", law.cold)]),
        },
        Law::Neon { a, b, law } => ExportedLaw::Neon {
            a: *a,
            b: *b,
            numbers: Numbers::from([
                ("strike", law.strike),
                ("hold", law.hold),
                ("ohms", law.ohms),
            ]),
            lit,
        },
        Law::Rectifiers(group) => ExportedLaw::Rectifiers(rectifiers(group)),
    };
    vec![one]
}

fn diode(law: &DiodeLaw) -> ExportedDiode {
    let (forward, mut numbers) = match law.forward {
        RectifierLaw::Valve(perveance) => ("valve", Numbers::from([("perveance", perveance)])),
        RectifierLaw::Junction {
            saturation,
            volts,
            ohms,
        } => (
            "junction",
            Numbers::from([("saturation", saturation), ("volts", volts), ("ohms", ohms)]),
        ),
        RectifierLaw::Ideal { ohms } => ("ideal", Numbers::from([("ohms", ohms)])),
    };
    numbers.insert("leak", law.leak);
    if law.zener.is_finite() {
        numbers.insert("zener", law.zener);
    }
    ExportedDiode { forward, numbers }
}

fn rectifiers(group: &Rectifiers) -> ExportedRectifiers {
    let plates = group.plates.iter().map(|p| ExportedPlate {
        plate: p.plate,
        cathode: p.cathode,
        diode: diode(&p.law),
        emf_peak: p.emf_peak,
        phase: p.phase,
    });
    let stores = group.stores.iter().map(|s| ExportedStore {
        rates: s.rates.clone(),
        charge: s.charge.clone(),
        reach: s.reach.clone(),
    });
    ExportedRectifiers {
        hertz: group.hertz,
        plates: plates.collect(),
        ohms: group.ohms.clone(),
        stores: stores.collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::device::triode_law;
    use crate::netlist::Element;

    #[test]
    fn every_number_of_a_law_is_there() {
        let law = triode_law("12AX7", None).unwrap();
        let netlist = Netlist {
            nodes: ["ground", "p", "g"].map(str::to_owned).to_vec(),
            elements: vec![
                Element {
                    name: "V1a".to_owned(),
                    law: Law::Triode {
                        plate: 1,
                        grid: 2,
                        cathode: 0,
                        law,
                    },
                },
                Element {
                    name: "C1".to_owned(),
                    law: Law::Capacitor {
                        a: 1,
                        b: 2,
                        farads: 1e-8,
                        esr_ohms: 0.0,
                    },
                },
                Element {
                    name: "D1".to_owned(),
                    law: Law::Diode {
                        a: 1,
                        k: 0,
                        law: DiodeLaw::SILICON,
                    },
                },
                Element {
                    name: "PS1".to_owned(),
                    law: Law::Source {
                        plus: 1,
                        minus: 0,
                        volts: 300.0,
                        ohms: 10.0,
                    },
                },
            ],
            ..Netlist::default()
        };
        let out = export_equations(
            &netlist,
            &[0.0, 300.0, 0.0],
            &[],
            &[("floor_siemens", 1e-13)],
        );
        assert_eq!(out.constants["floor_siemens"], 1e-13);
        assert_eq!(out.constants["cycle_steps"], CYCLE_STEPS as f64);
        let names: Vec<&str> = out.elements.iter().map(|e| e.name.as_str()).collect();
        assert_eq!(
            names,
            ["V1a", "D1", "PS1"],
            "a capacitor carries no steady current"
        );
        let ExportedLaw::Triode { numbers, plate, .. } = &out.elements[0].law else {
            panic!("a triode")
        };
        assert_eq!((*plate, numbers.len(), numbers["mu"]), (1, 10, law.mu));
        let ExportedLaw::Diode { diode, .. } = &out.elements[1].law else {
            panic!("a diode")
        };
        assert!(!diode.numbers.contains_key("zener"), "no infinities");
    }
}
