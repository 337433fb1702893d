//! Circuits that repeat themselves, as the engine finds their cycles: two output stages that a sine drives,
//! and a phase-shift oscillator.
//!
//! Every node has some capacitance and every winding some leakage, so that an integrator of plain
//! rates can follow them too.

use serde_json::{Value, json};
use solve::device::{pentode_law, triode_law};
use solve::export::export_whole;
use solve::netlist::{Transformer, WindingPort};
use solve::time::{Cycle, Running, natural_frequencies};
use solve::{Element, FLOOR_SIEMENS, LEAK_SIEMENS, Law, Netlist, operating};

use super::driven::{WIRES, amplifier};

/// Harmonics that are told.
const HARMONICS: u32 = 10;

/// What the sine that drives an amplifier repeats with, hertz.
const HERTZ: f64 = 1000.0;

/// Ohms of the loudspeaker.
const LOAD: f64 = 8.0;

/// Every case as JSON.
pub(crate) fn cases() -> Result<Value, Box<dyn std::error::Error>> {
    let mut single = amplifier();
    for element in &mut single.elements {
        if let Law::Alternating { volts, .. } = &mut element.law {
            *volts = 0.12;
        }
    }
    Ok(json!([
        driven("single-ended stage, nearly clipping", &single, 11)?,
        driven("push-pull stage, at its limit", &push_pull(22.0), 6)?,
        driven("push-pull stage, far over it", &push_pull(45.0), 6)?,
        oscillator()?,
    ]))
}

/// An amplifier whose loudspeaker is between node `load` and ground.
fn driven(name: &str, netlist: &Netlist, load: usize) -> Result<Value, Box<dyn std::error::Error>> {
    let mut quiet = netlist.clone();
    for element in &mut quiet.elements {
        if let Law::Alternating { volts, .. } = &mut element.law {
            *volts = 0.0;
        }
    }
    let point = operating::solve(&quiet, None);
    let cycle = Running::at(netlist, &point)?.cycle(1.0 / HERTZ)?;
    let harmonics: Vec<[f64; 2]> = (1..=HARMONICS)
        .map(|order| cycle.harmonic(load, 0, order))
        .map(|phasor| [phasor.re, phasor.im])
        .collect();
    let resistor = netlist.elements.iter().position(|element| {
        matches!(element.law, Law::Resistor { a, b: 0, ohms } if a == load && ohms == LOAD)
    });
    let watts = cycle.power(resistor.ok_or("no loudspeaker")?).dissipated;
    Ok(json!({
        "case": name,
        "volts": point.volts,
        "constants": {"floor_siemens": FLOOR_SIEMENS, "leak_siemens": LEAK_SIEMENS},
        "whole": export_whole(netlist, &[]),
        "period": cycle.period(),
        "load": {"node": load, "ohms": LOAD, "watts": watts, "harmonics": harmonics,
                 "distortion": cycle.distortion(load, 0)},
        "valves": valves(netlist, &cycle),
        "work": work(&cycle),
    }))
}

/// Mean amperes into the plate of each valve, and the watts it turns into heat there.
fn valves(netlist: &Netlist, cycle: &Cycle) -> Vec<Value> {
    let valves = netlist.elements.iter().enumerate();
    let valves = valves.filter(|(_, e)| matches!(e.law, Law::Triode { .. } | Law::Pentode { .. }));
    valves
        .map(|(at, element)| {
            let plate = cycle.currents(at).first().map_or(0.0, |current| current.mean);
            json!({"name": element.name, "plate_amps": plate, "plate_watts": cycle.terminal_watts(at, 0)})
        })
        .collect()
}

fn work(cycle: &Cycle) -> Value {
    let work = cycle.running().map(|run| run.work());
    json!(work.map(|w| json!({"steps": w.steps, "iterations": w.iterations})))
}

/// A triode whose plate drives its own grid through three capacitors and three resistors.
fn oscillator() -> Result<Value, Box<dyn std::error::Error>> {
    let netlist = phase_shift();
    let point = operating::solve(&netlist, None);
    let all = natural_frequencies(&netlist, &point)?;
    let pair = all.iter().find(|f| f.growth > 0.0 && f.hertz > 0.0);
    let pair = pair.ok_or("it does not start")?;
    let mut nudged = netlist.clone();
    for element in &mut nudged.elements {
        if let Law::Source { volts, .. } = &mut element.law {
            *volts *= 1.02;
        }
    }
    let mut run = Running::at(&netlist, &point)?;
    run.change(&nudged)?;
    run.until(0.1)?;
    run.change(&netlist)?;
    run.until(0.1 + 12.0 / pair.growth)?;
    let cycle = run.oscillation(1.0 / pair.hertz)?;
    let plate = 4;
    Ok(json!({
        "case": "phase-shift oscillator of a tremolo",
        "volts": point.volts,
        "constants": {"floor_siemens": FLOOR_SIEMENS, "leak_siemens": LEAK_SIEMENS},
        "whole": export_whole(&netlist, &[]),
        "period": cycle.period(),
        "swing": {"node": plate, "rms": cycle.rms_volts(plate, 0)},
        "valves": valves(&netlist, &cycle),
        "work": work(&cycle),
    }))
}

/// A netlist of parts, with the capacitance of its wires.
struct Built(Netlist);

impl Built {
    fn new(nodes: &[&str], hertz: f64) -> Self {
        let mut built = Self(Netlist {
            nodes: nodes.iter().map(|name| (*name).to_owned()).collect(),
            hertz,
            ..Netlist::default()
        });
        for b in 1..nodes.len() {
            built.capacitor(b, 0, WIRES);
        }
        built
    }

    fn add(&mut self, name: &str, law: Law) {
        let name = name.to_owned();
        self.0.elements.push(Element { name, law });
    }

    fn resistor(&mut self, a: usize, b: usize, ohms: f64) {
        self.add("R", Law::Resistor { a, b, ohms });
    }

    fn capacitor(&mut self, a: usize, b: usize, farads: f64) {
        let esr_ohms = 0.0;
        self.add(
            "C",
            Law::Capacitor {
                a,
                b,
                farads,
                esr_ohms,
            },
        );
    }

    fn supply(&mut self, plus: usize, volts: f64, ohms: f64) {
        let minus = 0;
        self.add(
            "PS",
            Law::Source {
                plus,
                minus,
                volts,
                ohms,
            },
        );
    }
}

/// Two beam valves in fixed bias from a stiff supply, an output transformer, a loudspeaker; each grid
/// has a sine of so many volts peak behind a coupling capacitor.
fn push_pull(peak: f64) -> Netlist {
    let nodes = [
        "ground", "supply", "grid a", "grid b", "plate a", "plate b", "output", "drive a",
        "drive b", "screen", "bias",
    ];
    let mut built = Built::new(&nodes, HERTZ);
    built.supply(1, 330.0, 60.0);
    built.capacitor(1, 0, 40e-6);
    built.resistor(1, 9, 470.0);
    built.capacitor(9, 0, 20e-6);
    built.supply(10, -24.0, 1e3);
    built.capacitor(10, 0, 47e-6);
    for (drive, grid, plate, sign) in [(7, 2, 4, 1.0), (8, 3, 5, -1.0)] {
        let (volts, hertz) = (sign * peak * std::f64::consts::FRAC_1_SQRT_2, HERTZ);
        let (a, b, ohms, mains) = (drive, 0, 22e3, false);
        built.add(
            "G",
            Law::Alternating {
                a,
                b,
                volts,
                hertz,
                ohms,
                mains,
            },
        );
        built.capacitor(drive, grid, 100e-9);
        built.resistor(grid, 10, 220e3);
        built.capacitor(grid, 0, 12e-12);
        built.capacitor(grid, plate, 0.7e-12);
        built.capacitor(plate, 1, 300e-12);
        if let Some(law) = pentode_law("6V6GT", None) {
            let (screen, cathode) = (9, 0);
            built.add(
                "V",
                Law::Pentode {
                    plate,
                    screen,
                    grid,
                    cathode,
                    law,
                },
            );
        }
    }
    built.resistor(6, 0, LOAD);
    // 8 kohm from plate to plate
    let half = 0.5 * (8000.0_f64 / LOAD).sqrt();
    let winding = |a, b, turns, ohms, leakage| WindingPort {
        a,
        b,
        turns,
        ohms,
        leakage,
    };
    built.add(
        "T",
        Law::Transformer(Transformer {
            windings: vec![
                winding(1, 4, half, 120.0, 12e-3),
                winding(5, 1, half, 135.0, 14e-3),
                winding(6, 0, 1.0, 0.4, 12e-6),
            ],
            henries_per_turn2: 24.0 / (4.0 * half * half),
            ohms_per_turn2: 90e3 / (4.0 * half * half),
        }),
    );
    built.0
}

/// The oscillator: about 5 Hz.
fn phase_shift() -> Netlist {
    let nodes = ["ground", "supply", "one", "two", "plate", "cathode", "grid"];
    let mut built = Built::new(&nodes, 0.0);
    built.supply(1, 280.0, 10e3);
    built.capacitor(1, 0, 22e-6);
    built.resistor(1, 4, 220e3);
    built.resistor(5, 0, 2.2e3);
    built.capacitor(5, 0, 25e-6);
    built.capacitor(4, 2, 22e-9);
    built.resistor(2, 0, 1e6);
    built.capacitor(2, 3, 10e-9);
    built.resistor(3, 0, 1e6);
    built.capacitor(3, 6, 10e-9);
    built.resistor(6, 0, 820e3);
    built.capacitor(4, 6, 1.7e-12);
    if let Some(law) = triode_law("12AX7", None) {
        let (plate, grid, cathode) = (4, 6, 5);
        built.add(
            "V",
            Law::Triode {
                plate,
                grid,
                cathode,
                law,
            },
        );
    }
    built.0
}
