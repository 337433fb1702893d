//! How long a technician waits for the operating point of a whole amplifier: cold, and warm
//! after one part has moved; and what the parts of it take.
#![allow(missing_docs, reason = "the macros make a function without words")]
#![allow(clippy::unwrap_used, reason = "the amplifiers are known to be whole")]

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use solve::Law;
use solve::linearised::Linearised;
use solve::operating::Solver;

#[path = "../tests/support/amplifiers.rs"]
#[allow(dead_code, reason = "the laws are for the tests")]
#[allow(unreachable_pub, reason = "a module of tests")]
mod amplifiers;

fn operating_points(criterion: &mut Criterion) {
    for (name, amplifier) in [
        ("5 W single-ended", amplifiers::single_ended()),
        ("18 W push-pull", amplifiers::push_pull()),
    ] {
        let mut solver = Solver::new(&amplifier).unwrap();
        criterion.bench_function(&format!("{name}, structure"), |bencher| {
            bencher.iter(|| Solver::new(black_box(&amplifier)).unwrap());
        });
        criterion.bench_function(&format!("{name}, cold"), |bencher| {
            bencher.iter(|| solver.solve(black_box(&amplifier), None));
        });
        let point = solver.solve(&amplifier, None);
        let mut moved = amplifier.clone();
        for element in &mut moved.elements {
            if let Law::Resistor { ohms, .. } = &mut element.law {
                *ohms *= 1.02;
            }
        }
        criterion.bench_function(&format!("{name}, warm"), |bencher| {
            bencher.iter(|| solver.solve(black_box(&moved), Some(&point.volts)));
        });
        criterion.bench_function(&format!("{name}, linearised"), |bencher| {
            bencher.iter(|| Linearised::new(black_box(&amplifier), &point).unwrap());
        });
    }
}

criterion_group!(benches, operating_points);
criterion_main!(benches);
