//! Currents at rest: of valve electrodes, resistors, chokes.
//!
//! Conventional, into a part's first terminal; electrode currents are positive in normal
//! working (into plate, screen and grid; out of the cathode).

use super::Current;
use super::model::Model;
use solve::netlist::Law;
use wiring::circuit::{Circuit, Kind};

/// Electrode currents below this are not listed, amperes: they are leakage.
const LEAST_AMPS: f64 = 1e-7;

/// The currents, in the order of the wiring's parts.
pub(super) fn currents(circuit: &Circuit, model: &Model) -> Vec<Current> {
    let state = model.nominal();
    let assembly = model.assembly();
    let mut all = Vec::new();
    for part in &circuit.parts {
        let Some(elements) = assembly.elements_of.get(&part.name) else {
            continue;
        };
        for index in elements {
            let Some(element) = assembly.netlist.elements.get(*index) else {
                continue;
            };
            if assembly.stand_ins.contains(index) || model.is_adrift(*index) {
                continue;
            }
            let amps = state.amps(*index);
            let mut add = |name: String, amps: Option<f64>| {
                if let Some(amps) = amps.filter(|a| a.is_finite()) {
                    all.push(Current {
                        part: name,
                        ma: amps * 1e3,
                    });
                }
            };
            match (&part.kind, &element.law) {
                (Kind::Resistor { .. } | Kind::Choke { .. } | Kind::Fuse { .. }, _)
                    if element.name == part.name =>
                {
                    add(part.name.clone(), amps.first().copied());
                }
                (Kind::Valve(_), Law::Triode { .. }) => {
                    add(format!("{}.plate", element.name), amps.first().copied());
                    add(
                        format!("{}.grid", element.name),
                        amps.get(1).copied().filter(|a| a.abs() > LEAST_AMPS),
                    );
                    add(format!("{}.cathode", element.name), amps.get(2).map(|a| -a));
                }
                (Kind::Valve(_), Law::Pentode { .. }) => {
                    add(format!("{}.plate", element.name), amps.first().copied());
                    add(format!("{}.screen", element.name), amps.get(1).copied());
                    add(
                        format!("{}.grid", element.name),
                        amps.get(2).copied().filter(|a| a.abs() > LEAST_AMPS),
                    );
                    add(format!("{}.cathode", element.name), amps.get(3).map(|a| -a));
                }
                (Kind::Valve(_) | Kind::Diode { .. }, Law::Diode { .. }) => {
                    add(element.name.clone(), state.rectified_amps(*index));
                }
                _ => {}
            }
        }
    }
    all
}
