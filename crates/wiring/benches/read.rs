//! How long a technician waits for the reader: a wiring of some 120 parts, after every change.
#![allow(missing_docs, reason = "the benchmark's functions are made by macros")]

use criterion::{Criterion, criterion_group, criterion_main};
use std::hint::black_box;
use wiring::sheet::Library;
use wiring::{Text, read};

fn bench(c: &mut Criterion) {
    let text = include_str!("../../../examples/turnstone.wiring");
    let texts = [Text {
        name: "turnstone.wiring",
        text,
    }];
    let library = Library::built_in();
    let parts = read(&texts, library).circuit.parts.len();
    c.bench_function(&format!("read a wiring of {parts} parts"), |b| {
        b.iter(|| read(black_box(&texts), library));
    });
}

criterion_group!(benches, bench);
criterion_main!(benches);
