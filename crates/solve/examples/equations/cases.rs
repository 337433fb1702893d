//! Which conditions and faults are tried.

use solve::netlist::Law;
use solve::{AssembleOptions, Netlist, solve_circuit};
use wiring::circuit::{Circuit, Kind};
use wiring::readings::{Conditions, ValvesIn};
use wiring::sheet::Library;

/// Ohms of a part that is open.
const OPEN: f64 = 1e10;
/// Ohms of a part that is shorted.
const SHORT: f64 = 0.05;

/// A netlist with a name.
pub(crate) struct Case {
    pub(crate) name: String,
    pub(crate) netlist: Netlist,
    pub(crate) fault: bool,
}

impl Case {
    pub(crate) fn new(name: &str, netlist: Netlist) -> Self {
        Self {
            name: name.to_owned(),
            netlist,
            fault: false,
        }
    }
}

/// The circuit without a meter on it: as its heading says, as each readings block says, and if
/// asked for, under other mains, without valves, behind a limiter lamp, on standby.
pub(crate) fn of(circuit: &Circuit, library: &Library, variants: bool) -> Vec<Case> {
    let plain = Conditions::default();
    let mut under = vec![("healthy".to_owned(), plain.clone())];
    for block in &circuit.readings {
        under.push((format!("block {}", block.name), block.conditions.clone()));
    }
    if variants {
        for volts in [0.0, 120.0, 200.0, 253.0] {
            let mut c = plain.clone();
            c.mains_volts = Some(volts);
            under.push((format!("mains {volts} V"), c));
        }
        for watts in [25.0, 60.0] {
            let mut c = plain.clone();
            c.limiter_watts = Some(watts);
            under.push((format!("limiter {watts} W"), c));
        }
        let mut c = plain.clone();
        c.standby_open = Some(true);
        under.push(("standby open".to_owned(), c));
        let valves: Vec<&str> = circuit
            .parts
            .iter()
            .filter(|p| matches!(p.kind, Kind::Valve(_)))
            .map(|p| p.name.as_str())
            .collect();
        for valve in &valves {
            let mut c = plain.clone();
            c.valves = ValvesIn::Without(vec![(*valve).to_owned()]);
            under.push((format!("without {valve}"), c));
        }
        let mut c = plain;
        c.valves = ValvesIn::Only(Vec::new());
        under.push(("no valves".to_owned(), c));
    }
    under
        .into_iter()
        .filter(|(_, c)| !c.power_off)
        .map(|(name, mut c)| {
            // The point at rest.
            c.signal = None;
            let options = AssembleOptions::default();
            Case::new(
                &name,
                solve_circuit(circuit, library, &c, &options)
                    .assembly
                    .netlist,
            )
        })
        .collect()
}

/// `count` faults of the first of `cases`, spread evenly over everything that can fail.
pub(crate) fn faults(cases: &[Case], count: usize) -> Vec<Case> {
    let Some(sound) = cases.first() else {
        return Vec::new();
    };
    let mut possible = Vec::new();
    for (at, element) in sound.netlist.elements.iter().enumerate() {
        for (word, law) in broken(&element.law) {
            possible.push((at, format!("{} {word}", element.name), law));
        }
    }
    let every = (possible.len() / count.max(1)).max(1);
    possible
        .into_iter()
        .step_by(every)
        .take(count)
        .map(|(at, name, law)| {
            let mut netlist = sound.netlist.clone();
            if let Some(element) = netlist.elements.get_mut(at) {
                element.law = law;
            }
            Case {
                name,
                netlist,
                fault: true,
            }
        })
        .collect()
}

/// How an element may fail.
fn broken(law: &Law) -> Vec<(&'static str, Law)> {
    let resistor = |a: &usize, b: &usize, ohms| Law::Resistor { a: *a, b: *b, ohms };
    match law {
        Law::Resistor { a, b, .. } | Law::Inductor { a, b, .. } | Law::Filament { a, b, .. } => {
            vec![
                ("open", resistor(a, b, OPEN)),
                ("shorted", resistor(a, b, SHORT)),
            ]
        }
        Law::Capacitor { a, b, .. } => vec![
            ("shorted", resistor(a, b, SHORT)),
            ("leaks 1 Mohm", resistor(a, b, 1e6)),
        ],
        Law::Diode { a, k, .. } => vec![
            ("open", resistor(a, k, OPEN)),
            ("shorted", resistor(a, k, SHORT)),
        ],
        Law::Transformer(t) => (0..t.windings.len())
            .map(|at| {
                let mut open = t.clone();
                if let Some(winding) = open.windings.get_mut(at) {
                    winding.ohms = OPEN;
                }
                ("winding open", Law::Transformer(open))
            })
            .collect(),
        Law::Triode {
            plate,
            grid,
            cathode,
            law,
        } => {
            let mut dead = *law;
            dead.k *= 1e-3;
            vec![
                (
                    "dead",
                    Law::Triode {
                        plate: *plate,
                        grid: *grid,
                        cathode: *cathode,
                        law: dead,
                    },
                ),
                ("grid to cathode", resistor(grid, cathode, SHORT)),
            ]
        }
        Law::Pentode {
            plate,
            screen,
            grid,
            cathode,
            law,
        } => {
            let mut tired = *law;
            tired.k *= 0.3;
            vec![
                (
                    "tired",
                    Law::Pentode {
                        plate: *plate,
                        screen: *screen,
                        grid: *grid,
                        cathode: *cathode,
                        law: tired,
                    },
                ),
                ("grid to screen", resistor(grid, screen, SHORT)),
            ]
        }
        _ => Vec::new(),
    }
}
