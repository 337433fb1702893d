//! A small amplifier driven into clipping, as the engine lets it run in time.
//!
//! Every node has some capacitance, so that an integrator of plain rates can follow it too.

use serde_json::{Value, json};
use solve::device::{pentode_law, triode_law};
use solve::export::export_whole;
use solve::netlist::{Transformer, WindingPort};
use solve::time::Running;
use solve::{Element, FLOOR_SIEMENS, LEAK_SIEMENS, Law, Netlist, operating};

/// Where the wave is looked at: so many moments in so many seconds.
const MOMENTS: (u32, f64) = (160, 2.5e-3);

/// Capacitance of a node's wires to ground.
pub(crate) const WIRES: f64 = 5e-12;

/// The amplifier, its operating point, and its volts at each moment, as JSON.
pub(crate) fn case() -> Result<Value, Box<dyn std::error::Error>> {
    let netlist = amplifier();
    let point = operating::solve(&netlist, None);
    let mut run = Running::at(&netlist, &point)?;
    let mut moments = Vec::new();
    for at in 1..=MOMENTS.0 {
        run.until(MOMENTS.1 * f64::from(at) / f64::from(MOMENTS.0))?;
        let volts: Vec<f64> = (0..netlist.nodes.len()).map(|n| run.volts(n)).collect();
        moments.push(json!({"seconds": run.seconds(), "volts": volts}));
    }
    let work = run.work();
    Ok(json!({
        "case": "two stages, driven",
        "volts": point.volts,
        "constants": {"floor_siemens": FLOOR_SIEMENS, "leak_siemens": LEAK_SIEMENS},
        "whole": export_whole(&netlist, &[]),
        "moments": moments,
        "steps": work.steps,
        "iterations": work.iterations,
    }))
}

/// A triode stage and a single-ended output stage.
pub(crate) fn amplifier() -> Netlist {
    let nodes = [
        "ground",
        "input",
        "grid",
        "plate",
        "cathode",
        "rail",
        "grid 2",
        "cathode 2",
        "plate 2",
        "supply",
        "screen",
        "output",
    ];
    let mut netlist = Netlist {
        nodes: nodes.map(str::to_owned).to_vec(),
        hertz: 1000.0,
        ..Netlist::default()
    };
    let mut add = |name: &str, law: Law| {
        netlist.elements.push(Element {
            name: name.to_owned(),
            law,
        });
    };
    add(
        "G1",
        Law::Alternating {
            a: 1,
            b: 0,
            volts: 1.0,
            hertz: 1000.0,
            ohms: 600.0,
            mains: false,
        },
    );
    add(
        "PS1",
        Law::Source {
            plus: 9,
            minus: 0,
            volts: 300.0,
            ohms: 50.0,
        },
    );
    let resistors = [
        ("R1", 1, 2, 68e3),
        ("R2", 2, 0, 1e6),
        ("R3", 4, 0, 1.5e3),
        ("R4", 5, 3, 100e3),
        ("R5", 6, 0, 470e3),
        ("R6", 7, 0, 220.0),
        ("R7", 9, 10, 1e3),
        ("R8", 9, 5, 10e3),
        ("R9", 11, 0, 8.0),
    ];
    for (name, a, b, ohms) in resistors {
        add(name, Law::Resistor { a, b, ohms });
    }
    let capacitors = [
        ("C1", 4, 0, 25e-6),
        ("C2", 3, 6, 22e-9),
        ("C3", 7, 0, 50e-6),
        ("C4", 5, 0, 8e-6),
        ("C5", 10, 0, 16e-6),
        ("V1 grid to plate", 2, 3, 1.7e-12),
        ("V1 grid to cathode", 2, 4, 1.6e-12),
        ("V2 grid to cathode", 6, 7, 10.8e-12),
        ("T1 winding", 8, 9, 400e-12),
    ];
    for (name, a, b, farads) in capacitors {
        let esr_ohms = 0.0;
        add(
            name,
            Law::Capacitor {
                a,
                b,
                farads,
                esr_ohms,
            },
        );
    }
    for b in 1..nodes.len() {
        let (a, farads, esr_ohms) = (b, WIRES, 0.0);
        add(
            "wires",
            Law::Capacitor {
                a,
                b: 0,
                farads,
                esr_ohms,
            },
        );
    }
    let turns = (5000.0_f64 / 8.0).sqrt();
    let winding = |a, b, turns, ohms, leakage| WindingPort {
        a,
        b,
        turns,
        ohms,
        leakage,
    };
    add(
        "T1",
        Law::Transformer(Transformer {
            windings: vec![
                winding(9, 8, turns, 250.0, 10e-3),
                winding(11, 0, 1.0, 0.4, 10e-6),
            ],
            henries_per_turn2: 10.0 / (turns * turns),
            ohms_per_turn2: 75e3 / (turns * turns),
        }),
    );
    if let Some(law) = triode_law("12AX7", None) {
        add(
            "V1",
            Law::Triode {
                plate: 3,
                grid: 2,
                cathode: 4,
                law,
            },
        );
    }
    if let Some(law) = pentode_law("EL84", None) {
        add(
            "V2",
            Law::Pentode {
                plate: 8,
                screen: 10,
                grid: 6,
                cathode: 7,
                law,
            },
        );
    }
    netlist
}
