//! Expected ohms before power against a dense solution by a general linear-algebra library, over
//! the examples and over random damage.

#![allow(clippy::unwrap_used, reason = "a test: a panic is its failure")]

mod support;

use bench::cold::{ColdRequest, Go, cold};
use bench::sheet::Outcome;
use nalgebra::{DMatrix, DVector};
use proptest::prelude::*;
use solve::netlist::{Law, Netlist};
use solve::{AssembleOptions, assemble};
use wiring::circuit::{Measured, MeasuredValue};
use wiring::sheet::Library;
use wiring::{Circuit, Conditions};

const EXAMPLES: [(&str, &str); 3] = [
    ("pip", include_str!("../../../examples/pip.wiring")),
    ("curlew", include_str!("../../../examples/curlew.wiring")),
    (
        "turnstone",
        include_str!("../../../examples/turnstone.wiring"),
    ),
];

/// Siemens of what is left without power: heaters a sixth of their hot ohms, valves and junctions
/// shut but for their leak, lamps cold, windings their copper. Written anew, from the law of each
/// element.
fn siemens(netlist: &Netlist) -> DMatrix<f64> {
    let n = netlist.nodes.len();
    let mut m = DMatrix::<f64>::zeros(n, n);
    let mut stamp = |a: usize, b: usize, g: f64| {
        for (i, j, sign) in [(a, a, 1.0), (b, b, 1.0), (a, b, -1.0), (b, a, -1.0)] {
            m[(i, j)] += sign * g;
        }
    };
    let heaters: Vec<usize> = netlist
        .heating
        .iter()
        .flat_map(|h| h.heaters.clone())
        .collect();
    for (index, element) in netlist.elements.iter().enumerate() {
        match &element.law {
            Law::Resistor { a, b, ohms } if heaters.contains(&index) => stamp(*a, *b, 6.0 / ohms),
            Law::Resistor { a, b, ohms } | Law::Inductor { a, b, ohms, .. } => {
                stamp(*a, *b, 1.0 / ohms);
            }
            Law::Alternating { a, b, ohms, .. } => stamp(*a, *b, 1.0 / ohms),
            Law::Source {
                plus, minus, ohms, ..
            } => stamp(*plus, *minus, 1.0 / ohms),
            Law::Transformer(t) => {
                for w in &t.windings {
                    stamp(w.a, w.b, 1.0 / w.ohms);
                }
            }
            Law::Diode { a, k, law } => stamp(*a, *k, law.leak.max(1e-12)),
            Law::Filament { a, b, law } => stamp(*a, *b, law.amps / (law.volts * law.cold)),
            Law::Triode { plate, cathode, .. } | Law::Pentode { plate, cathode, .. } => {
                stamp(*plate, *cathode, 1e-12);
            }
            Law::Neon { a, b, .. } => stamp(*a, *b, 1e-12),
            _ => {}
        }
    }
    for i in 1..n {
        m[(i, i)] += 1e-13;
    }
    // ground is the reference
    m.row_mut(0).fill(0.0);
    m.column_mut(0).fill(0.0);
    m[(0, 0)] = 1.0;
    m
}

/// Ohms between two netlist nodes by LU with row exchange.
fn dense(m: &DMatrix<f64>, a: usize, b: usize) -> Option<f64> {
    let mut fed = DVector::<f64>::zeros(m.nrows());
    if a != 0 {
        fed[a] += 1.0;
    }
    if b != 0 {
        fed[b] -= 1.0;
    }
    let volts = m.clone().lu().solve(&fed)?;
    Some(volts[a] - volts[b])
}

fn compare(circuit: &Circuit) -> usize {
    let library = Library::built_in();
    let off = Conditions {
        power_off: true,
        ..Conditions::default()
    };
    let assembly = assemble(circuit, library, &off, &AssembleOptions::default());
    let m = siemens(&assembly.netlist);
    let check = cold(circuit, library, &ColdRequest::default());
    let mut compared = 0;
    for point in &check.points {
        let (Some(ohms), Some((a, b))) = (point.ohms, point.point.split_once(" to ")) else {
            continue;
        };
        let node = |name: &str| {
            let id = circuit.node(name)?;
            assembly.node_of.get(id.0).copied().flatten()
        };
        let (Some(a), Some(b)) = (node(a), node(b)) else {
            continue;
        };
        let Some(second) = dense(&m, a, b) else {
            continue;
        };
        assert!(
            (ohms / second - 1.0).abs() < 1e-5,
            "{}: {ohms} here, {second} by dense elimination",
            point.point
        );
        compared += 1;
    }
    compared
}

#[test]
fn the_examples_agree_with_dense_elimination() {
    for (name, text) in EXAMPLES {
        let compared = compare(&wiring::read_one(text).circuit);
        assert!(compared > 20, "{name}: {compared}");
    }
}

/// Shorts, opens and wild values, and readings that have nothing to do with it.
fn damaged(text: &str, moves: &[(usize, f64)], readings: &[(usize, f64)]) -> Circuit {
    let mut circuit = wiring::read_one(text).circuit;
    for (at, log) in moves {
        let count = circuit.parts.len();
        let part = &mut circuit.parts[at % count];
        part.known.reading = Some(Measured {
            value: match *log {
                l if l < -2.0 => MeasuredValue::Short,
                l if l > 7.0 => MeasuredValue::Open,
                l => MeasuredValue::Is(10f64.powf(l)),
            },
            in_circuit: false,
        });
    }
    let mut typed = String::from("readings cold\npower off\n");
    for (at, log) in readings {
        let node = &circuit.nodes[at % circuit.nodes.len()];
        if let Some(name) = node.names.first() {
            typed.push_str(&format!("{name} {:.0} ohm\n", 10f64.powf(*log)));
        }
    }
    let with = wiring::read_one(&format!("{text}\n{typed}")).circuit;
    circuit.readings = with.readings;
    circuit
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    /// Whatever is broken: finite figures, a caution, no pass without a reading, and go only when
    /// everything that decides passed.
    #[test]
    fn no_pass_without_a_reading(
        which in 0usize..3,
        moves in proptest::collection::vec((0usize..500, -4.0f64..9.0), 0..4),
        readings in proptest::collection::vec((0usize..500, -1.0f64..7.0), 0..6),
    ) {
        let circuit = damaged(EXAMPLES[which].1, &moves, &readings);
        let check = cold(&circuit, Library::built_in(), &ColdRequest::default());
        let sheet = check.sheet();
        prop_assert!(sheet.caution().contains("kill"));
        for point in &check.points {
            for figure in [point.ohms, point.low, point.high].into_iter().flatten() {
                prop_assert!(figure.is_finite() && figure >= 0.0, "{point:?}");
            }
        }
        for line in sheet.lines() {
            if line.outcome() == Outcome::Pass {
                prop_assert!(line.reading().is_some() || line.answer().is_some(), "{line:?}");
            }
        }
        if check.verdict == Go::Go {
            prop_assert!(sheet.count(Outcome::Stop) == 0);
            prop_assert!(check.points.iter().filter(|p| p.decides).all(|p| p.reading.is_some() || p.shown.is_some()));
        }
        // a rail below the rule's ohms and below its own band is never let through
        for point in check.points.iter().filter(|p| p.group == "High tension") {
            if let (Some(read), Some(low)) = (point.reading, point.low)
                && read < 20e3_f64.min(low)
            {
                prop_assert_eq!(check.verdict, Go::NoGo);
            }
        }
    }
}
