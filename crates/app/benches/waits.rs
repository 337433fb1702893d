//! What a technician waits for: reading a wiring, the operating point, the chart.

use bench::chart::ChartRequest;
use criterion::{Criterion, criterion_group, criterion_main};
use solve::AssembleOptions;
use std::hint::black_box;
use wiring::sheet::Library;
use wiring::{Conditions, Text};

/// The four-valve output amplifier with reverb: the largest of the examples.
const WIRING: &str = include_str!("../../../examples/turnstone.wiring");
const READINGS: &str = include_str!("../../../examples/turnstone.readings");

fn waits(c: &mut Criterion) {
    let library = Library::built_in();
    let texts = [
        Text {
            name: "turnstone.wiring",
            text: WIRING,
        },
        Text {
            name: "turnstone.readings",
            text: READINGS,
        },
    ];
    let circuit = wiring::read(&texts, library).circuit;
    let parts = circuit.parts.len();
    c.bench_function(&format!("read a wiring of {parts} parts"), |b| {
        b.iter(|| wiring::read(black_box(&texts[..1]), library));
    });
    let conditions = Conditions::default();
    let options = AssembleOptions::default();
    c.bench_function("assemble it", |b| {
        b.iter(|| solve::assemble(black_box(&circuit), library, &conditions, &options));
    });
    let netlist = solve::assemble(&circuit, library, &conditions, &options).netlist;
    c.bench_function(
        "operating point of it, cold, supply not on the mains",
        |b| {
            b.iter(|| solve::operating::solve(black_box(&netlist), None));
        },
    );
    c.bench_function("chart with bands, against its readings", |b| {
        b.iter(|| bench::chart::chart(black_box(&circuit), library, &ChartRequest::default()));
    });
}

criterion_group!(benches, waits);
criterion_main!(benches);
