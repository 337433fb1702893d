//! The figures of a whole amplifier on the mains: rectifiers over their cycle, lamps and heaters settled.

use std::hint::black_box;

use serde_json::{Value, json};
use solve::netlist::Law;
use solve::supply::{OperatingPoint, operating_point};
use solve::{AssembleOptions, Netlist, assemble};
use wiring::Conditions;
use wiring::sheet::Library;

use super::{row, seconds};

/// Ohms of a part that is short or open.
const FAULTS: [f64; 2] = [0.05, 1e10];

/// The largest example, assembled.
fn largest() -> Netlist {
    let read = wiring::read_one(include_str!("../../../../examples/turnstone.wiring"));
    let options = AssembleOptions::default();
    assemble(
        &read.circuit,
        Library::built_in(),
        &Conditions::default(),
        &options,
    )
    .netlist
}

pub(crate) fn amplifier() -> Value {
    let netlist = largest();
    let point = operating_point(&netlist, None);
    let cold = seconds(|| {
        black_box(operating_point(black_box(&netlist), None));
    });
    let mut moved = netlist.clone();
    let first = moved.elements.iter_mut().find_map(|e| match &mut e.law {
        Law::Resistor { ohms, .. } => Some(ohms),
        _ => None,
    });
    if let Some(ohms) = first {
        *ohms *= 1.1;
    }
    let start = point.start();
    let warm = seconds(|| {
        black_box(operating_point(black_box(&moved), Some(&start)));
    });
    let work = |p: &OperatingPoint| json!({"newton": p.solution.iterations, "rounds": p.rounds});
    let near = operating_point(&moved, Some(&start));
    json!({
        "name": "turnstone on the mains",
        "rows": [
            row("cold", cold, 1, &work(&point), &Value::Null),
            row("warm", warm, 1, &work(&near), &Value::Null),
            faults(&netlist, &point),
        ],
    })
}

/// Each resistor, diode and capacitor short, and each of the first two open, from the sound point.
fn faults(netlist: &Netlist, point: &OperatingPoint) -> Value {
    let mut all = Vec::new();
    for at in 0..netlist.elements.len() {
        for ohms in FAULTS {
            let (a, b) = match netlist.elements[at].law {
                Law::Resistor { a, b, .. } | Law::Diode { a, k: b, .. } => (a, b),
                Law::Capacitor { a, b, .. } if ohms < 1.0 => (a, b),
                _ => continue,
            };
            let mut faulted = netlist.clone();
            faulted.elements[at].law = Law::Resistor { a, b, ohms };
            all.push(faulted);
        }
    }
    let start = point.start();
    let (mut newton, mut failed) = (0, 0);
    for faulted in &all {
        let found = operating_point(faulted, Some(&start));
        newton += found.solution.iterations;
        failed += usize::from(!found.solved());
    }
    let took = seconds(|| {
        for faulted in &all {
            black_box(operating_point(faulted, Some(&start)));
        }
    });
    let work = json!({"newton": f64::from(newton) / all.len() as f64, "failed": failed});
    row("faults", took, all.len(), &work, &Value::Null)
}
