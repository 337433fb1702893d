//! Causes of spread, shared by every condition the amplifier was read under.
//!
//! The same resistor is as far from its marking in every block of readings, so a cause has one
//! number wherever it acts. Besides the causes of the table of tolerances there are those that
//! the table cannot know: how far the parts of one amplifier have drifted and aged together, and
//! by how much the curves of a type differ from those its law was fitted to.

use super::scene::Rest;
use crate::tolerance::{Case, Causes, MainsKnown, Tolerances, part_of};
use solve::netlist::{Element, Law, Netlist, NodeIndex, Parameter, Quantity, Slot};
use std::collections::{BTreeMap, BTreeSet};
use wiring::circuit::{Circuit, Kind};

/// One sigma by which the emission of a type differs from its law (logarithm). Ours: two laws
/// fitted to one sheet differ by about this at the volts of a guitar amplifier's stages.
const LAW_EMISSION: f64 = 0.08;
/// The same of its amplification factor.
const LAW_MU: f64 = 0.04;
/// The same of its screen's share.
const LAW_SCREEN: f64 = 0.15;
/// One sigma of what stands for an untraced supply, all of them together: the mains (ours).
const SUPPLIES: f64 = 0.015;
/// Leakage resistance of an old electrolytic that nobody has read, over that of a new one: on the
/// bench it is there for a complaint, and sound ones leak a few times what they were sold with (ours).
const OLD_LEAK: f64 = 0.35;
/// Step of a slope's logarithm.
const NUDGE: f64 = 1e-3;

/// Numbers of causes by their names.
#[derive(Clone, Default)]
pub(super) struct Known {
    numbers: BTreeMap<String, usize>,
    /// What was solved for the scenes so far.
    pub(super) rests: Vec<Rest>,
    /// How the mains of the scene in the making is known, and the scene's number: the mains is
    /// another one each time.
    pub(super) mains: Option<MainsKnown>,
    pub(super) scene: usize,
    /// Are the scenes in the making for a few suspects only? Then a mains cycle for each that moves the supply costs
    /// less than all that the rectifiers could give.
    pub(super) few: bool,
    /// Valves that drive the output transformer, by name.
    pub(super) outputs: BTreeSet<String>,
}

/// Medians of a netlist's parameters and the causes that move them.
#[derive(Debug, Clone, Default)]
pub(super) struct Spreads {
    pub(super) medians: Vec<f64>,
    /// Cause number; parameter and weight.
    pub(super) causes: Vec<(usize, Vec<(usize, f64)>)>,
}

impl Known {
    /// The number of a cause.
    pub(super) fn cause(&mut self, name: &str) -> usize {
        let next = self.numbers.len();
        *self.numbers.entry(name.to_owned()).or_insert(next)
    }

    /// How many there are.
    pub(super) fn count(&self) -> usize {
        self.numbers.len()
    }

    /// The causes of a netlist.
    pub(super) fn of(
        &mut self,
        circuit: &Circuit,
        netlist: &Netlist,
        tolerances: &Tolerances,
    ) -> Spreads {
        let parameters = &netlist.parameters;
        let mains = self.mains.unwrap_or(MainsKnown::Assumed);
        let table = Causes::of(circuit, parameters, tolerances, mains);
        let mut out = Spreads {
            medians: Vec::new(),
            causes: Vec::new(),
        };
        let mut shared: BTreeMap<String, Vec<(usize, f64)>> = BTreeMap::new();
        for (index, (parameter, median)) in parameters.iter().zip(&table.medians).enumerate() {
            // half of what parts have moved on the average is taken as sure
            let aged = if is_old_leak(circuit, parameter) {
                OLD_LEAK
            } else {
                1.0
            };
            out.medians.push(median.sqrt() * aged);
            let half = 0.5 * median.ln();
            if half.abs() > 1e-6 {
                let name = format!("age: {:?}", parameter.quantity);
                shared.entry(name).or_default().push((index, half));
            }
            let law = match parameter.quantity {
                Quantity::Emission => LAW_EMISSION,
                Quantity::Mu => LAW_MU,
                Quantity::ScreenShare => LAW_SCREEN,
                Quantity::Volts => {
                    let part = part_of(circuit, &parameter.part).map(|p| &p.kind);
                    if matches!(part, Some(Kind::Supply { .. })) {
                        let name = "supplies".to_owned();
                        shared.entry(name).or_default().push((index, SUPPLIES));
                    }
                    continue;
                }
                _ => continue,
            };
            let part = part_of(circuit, &parameter.part);
            if let Some(Kind::Valve(valve)) = part.map(|p| &p.kind) {
                let name = format!("law: {} {:?}", valve.type_in_socket(), parameter.quantity);
                shared.entry(name).or_default().push((index, law));
            }
        }
        let new = tolerances.spread(Case::EmissionNew, 0.0).sigma;
        for cause in &table.causes {
            if let Some((index, kind, worn)) =
                worn_together(circuit, &self.outputs, parameters, &cause.moves, new)
            {
                out.causes
                    .push((self.cause(&cause.name), vec![(index, new)]));
                let name = format!("wear: {kind}");
                shared.entry(name).or_default().push((index, worn));
                continue;
            }
            let of_mains = cause.name == "mains";
            let number = if of_mains {
                self.cause(&format!("mains {}", self.scene))
            } else {
                self.cause(&cause.name)
            };
            out.causes.push((number, cause.moves.clone()));
        }
        for (name, moves) in shared {
            out.causes.push((self.cause(&name), moves));
        }
        out
    }
}

/// Of the emission of one of `outputs` that has others of its type beside it: its parameter, the type, and what they all
/// have together of what used ones spread by, beyond the spread of `new` ones: they were fitted as a set and have run the
/// same hours (common practice, no source).
fn worn_together<'a>(
    circuit: &'a Circuit,
    outputs: &BTreeSet<String>,
    parameters: &[Parameter],
    moves: &[(usize, f64)],
    new: f64,
) -> Option<(usize, &'a str, f64)> {
    let &[(index, sigma)] = moves else {
        return None;
    };
    let of = |p: &Parameter| {
        let part = part_of(circuit, &p.part).filter(|part| outputs.contains(&part.name))?;
        match &part.kind {
            Kind::Valve(valve) if p.quantity == Quantity::Emission => Some(valve.type_in_socket()),
            _ => None,
        }
    };
    let kind = of(parameters.get(index)?)?;
    let alike = parameters.iter().filter(|p| of(p) == Some(kind)).count();
    (alike > 1 && sigma > new).then(|| (index, kind, (sigma * sigma - new * new).sqrt()))
}

/// Is it the leak of an electrolytic that nobody has read?
fn is_old_leak(circuit: &Circuit, parameter: &Parameter) -> bool {
    let part = part_of(circuit, &parameter.part);
    parameter.quantity == Quantity::Leak
        && part.is_some_and(|p| {
            p.known.leak_ohms.is_none()
                && matches!(
                    p.kind,
                    Kind::Capacitor {
                        plus_first: Some(_),
                        ..
                    }
                )
        })
}

/// What an element feeds into its nodes when a slot's logarithm rises by one: the currents it
/// draws less.
pub(super) fn feed(
    element: &Element,
    slot: Slot,
    volts: &[f64],
    mut into: impl FnMut(NodeIndex, f64),
) {
    let at = |n: NodeIndex| volts.get(n).copied().unwrap_or(0.0);
    let mut pair = |a: NodeIndex, b: NodeIndex, amps: f64| {
        into(a, amps);
        into(b, -amps);
    };
    match (&element.law, slot) {
        (
            Law::Resistor { a, b, ohms }
            | Law::Inductor { a, b, ohms, .. }
            | Law::Alternating { a, b, ohms, .. },
            Slot::Ohms,
        ) => pair(*a, *b, (at(*a) - at(*b)) / ohms),
        (
            Law::Source {
                plus,
                minus,
                volts: emf,
                ohms,
            },
            Slot::Ohms,
        ) => pair(*plus, *minus, (at(*plus) - at(*minus) - emf) / ohms),
        (
            Law::Source {
                plus,
                minus,
                volts: emf,
                ohms,
            },
            Slot::Volts,
        ) => pair(*plus, *minus, emf / ohms),
        (Law::Transformer(t), Slot::WindingOhms(i)) => {
            if let Some(w) = t.windings.get(i) {
                pair(w.a, w.b, (at(w.a) - at(w.b)) / w.ohms);
            }
        }
        (Law::Diode { a, k, law }, Slot::Perveance) => {
            let v = at(*a) - at(*k);
            let mut more = element.clone();
            more.scale(slot, NUDGE.exp());
            if let Law::Diode { law: more, .. } = more.law {
                pair(*a, *k, -(more.current(v).0 - law.current(v).0) / NUDGE);
            }
        }
        (
            Law::Triode {
                plate,
                grid,
                cathode,
                law,
            },
            _,
        ) => {
            let (p, g) = (at(*plate) - at(*cathode), at(*grid) - at(*cathode));
            let mut more = element.clone();
            more.scale(slot, NUDGE.exp());
            if let Law::Triode { law: more, .. } = more.law {
                let (now, then) = (law.currents(p, g), more.currents(p, g));
                pair(*plate, *cathode, -(then.plate_a - now.plate_a) / NUDGE);
                pair(*grid, *cathode, -(then.grid_a - now.grid_a) / NUDGE);
            }
        }
        (
            Law::Pentode {
                plate,
                screen,
                grid,
                cathode,
                law,
            },
            _,
        ) => {
            let k = at(*cathode);
            let (p, s, g) = (at(*plate) - k, at(*screen) - k, at(*grid) - k);
            let mut more = element.clone();
            more.scale(slot, NUDGE.exp());
            if let Law::Pentode { law: more, .. } = more.law {
                let (now, then) = (law.currents(p, s, g), more.currents(p, s, g));
                let slope = |then: f64, now: f64| -(then - now) / NUDGE;
                pair(*plate, *cathode, slope(then.plate.amps, now.plate.amps));
                pair(*screen, *cathode, slope(then.screen.amps, now.screen.amps));
                pair(*grid, *cathode, slope(then.grid.amps, now.grid.amps));
            }
        }
        _ => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Used ones spread by 18.7 %, new ones by 12 %: what is left is the set's, and nothing is lost on the way.
    #[test]
    fn output_valves_of_one_type_wear_together() {
        let pair = "V4 EF86\nV5 6V6GT\nV6 6V6GT\nV3 EF86\nV5.3 - a\nV6.3 - b\nV4.1 - c\nV3.1 - d\n";
        let circuit = wiring::read_one(pair).circuit;
        let parameters: Vec<Parameter> = ["V5", "V6", "V4", "V3"]
            .map(|part| Parameter {
                part: part.to_owned(),
                quantity: Quantity::Emission,
                slots: Vec::new(),
            })
            .into();
        let outputs = BTreeSet::from(["V5".to_owned(), "V6".to_owned()]);
        let of =
            |moves: &[(usize, f64)]| worn_together(&circuit, &outputs, &parameters, moves, 0.12);
        let (index, kind, worn) = of(&[(1, 0.187)]).expect("there are two of them");
        assert_eq!((index, kind), (1, "6V6GT"));
        assert!((worn.hypot(0.12) - 0.187).abs() < 1e-12);
        // one that a tester has spoken for is not worn any more than it says; two pentodes before the output go their own ways
        assert!(of(&[(0, 0.08)]).is_none() && of(&[(2, 0.187)]).is_none());
    }
}
