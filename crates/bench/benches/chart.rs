//! What the technician waits for: the whole chart of an example amplifier, bands and all, and
//! the same from sampled builds.

use bench::chart::{ChartRequest, Samples, chart};
use criterion::{Criterion, criterion_group, criterion_main};
use std::hint::black_box;
use wiring::sheet::Library;
use wiring::{Circuit, Text};

fn amp(wiring: &str, readings: &str) -> Circuit {
    let texts = [
        Text {
            name: "amp.wiring",
            text: wiring,
        },
        Text {
            name: "amp.readings",
            text: readings,
        },
    ];
    wiring::read(&texts, Library::built_in()).circuit
}

fn charts(criterion: &mut Criterion) {
    let pip = amp(
        include_str!("../../../examples/pip.wiring"),
        include_str!("../../../examples/pip.readings"),
    );
    let turnstone = amp(
        include_str!("../../../examples/turnstone.wiring"),
        include_str!("../../../examples/turnstone.readings"),
    );
    let request = ChartRequest::default();
    for (name, amp) in [("pip", &pip), ("turnstone", &turnstone)] {
        criterion.bench_function(&format!("chart with bands, {name}"), |b| {
            b.iter(|| chart(black_box(amp), Library::built_in(), &request));
        });
    }
    let sampled = ChartRequest {
        samples: Some(Samples {
            builds: 300,
            seed: 1,
        }),
        ..ChartRequest::default()
    };
    let mut group = criterion.benchmark_group("sampled");
    group.sample_size(10);
    group.bench_function("chart from 300 builds, pip", |b| {
        b.iter(|| chart(black_box(&pip), Library::built_in(), &sampled));
    });
    group.finish();
}

criterion_group!(benches, charts);
criterion_main!(benches);
