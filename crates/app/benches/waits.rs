//! What a technician waits for: reading a wiring, the operating point, the chart; the pages of a
//! shop with 2,000 jobs and 50,000 readings, as a browser on this machine gets them.

#![allow(
    clippy::unwrap_used,
    clippy::print_stderr,
    clippy::disallowed_methods,
    reason = "the timing harness measures, and a failed step is a failed timing"
)]

#[path = "../tests/chromium/mod.rs"]
mod chromium;
#[path = "../tests/large/mod.rs"]
mod large;
#[path = "../tests/server/mod.rs"]
mod server;

use bench::chart::ChartRequest;
use criterion::{Criterion, criterion_group, criterion_main};
use server::Server;
use shop::{At, Shop};
use solve::AssembleOptions;
use std::cell::Cell;
use std::hint::black_box;
use std::time::{Duration, Instant};
use wiring::sheet::Library;
use wiring::{Conditions, Text};

/// The four-valve output amplifier with reverb: the largest of the examples.
const WIRING: &str = include_str!("../../../examples/turnstone.wiring");
const READINGS: &str = include_str!("../../../examples/turnstone.readings");

const TEXTS: [Text<'_>; 2] = [
    Text {
        name: "turnstone.wiring",
        text: WIRING,
    },
    Text {
        name: "turnstone.readings",
        text: READINGS,
    },
];

fn waits(c: &mut Criterion) {
    let library = Library::built_in();
    let circuit = wiring::read(&TEXTS, library).circuit;
    let parts = circuit.parts.len();
    c.bench_function(&format!("read a wiring of {parts} parts"), |b| {
        b.iter(|| wiring::read(black_box(&TEXTS[..1]), library));
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

/// Every single fault of the largest example weighed, and what to read next.
fn faults(c: &mut Criterion) {
    use ::bench::suspects::{SuspectsRequest, suspects};
    let library = Library::built_in();
    let circuit = wiring::read(&TEXTS, library).circuit;
    let whole = SuspectsRequest::default();
    let ranked = SuspectsRequest {
        ranked_only: true,
        ..SuspectsRequest::default()
    };
    let mut group = c.benchmark_group("suspects");
    group.sample_size(10);
    group.bench_function("all single faults", |b| {
        b.iter(|| suspects(black_box(&circuit), library, &ranked));
    });
    // what it takes beside the ranking, which it cannot do without
    group.bench_function("the next reading, once they are ranked", |b| {
        b.iter_custom(|times| {
            let took = |request| {
                let begun = Instant::now();
                for _ in 0..times {
                    black_box(suspects(black_box(&circuit), library, request));
                }
                begun.elapsed()
            };
            took(&whole).saturating_sub(took(&ranked))
        });
    });
}

/// Jobs in the shop.
const JOBS: usize = 2_000;

fn pages(c: &mut Criterion) {
    let folder = tempfile::tempdir().unwrap();
    let place = folder.path().join("shop");
    large::fill(&Shop::open(&place, At(large::MORNING)).unwrap(), JOBS);

    c.benchmark_group("slow")
        .sample_size(10)
        .bench_function("start to the first page", |b| {
            b.iter_custom(|times| {
                let mut all = Duration::ZERO;
                for _ in 0..times {
                    let begun = Instant::now();
                    let server = Server::start(&place, &[]);
                    assert_eq!(server.browser().get("/").status, 200);
                    all += begun.elapsed();
                }
                all
            });
        });

    let server = Server::start(&place, &[]);
    for (what, address) in [
        ("page: bench", "/"),
        ("page: job", "/job/1"),
        ("page: tracing", "/job/1/tracing"),
        ("page: chart", "/job/1/chart"),
        ("page: parts", "/job/1/parts"),
        ("page: power-up", "/job/1/power-up"),
        ("page: set-up", "/job/1/set-up"),
        ("page: safety", "/job/1/safety"),
        ("page: find", "/find?q=turn"),
    ] {
        let mut browser = server.browser();
        // the first asks for what the program works out by itself as soon as it is left alone
        assert_eq!(browser.get(address).status, 200);
        c.bench_function(what, |b| {
            b.iter(|| assert_eq!(browser.get(address).status, 200));
        });
    }
    let text = include_str!("../../../examples/pip.wiring");
    let typed = Cell::new(0);
    let mut browser = server.browser();
    c.bench_function("typed line to drawing, 48 parts", |b| {
        b.iter(|| {
            // another text each time, as typing gives
            typed.set(typed.get() + 1);
            let text = format!("{text}V1.1 - R90 {} - ground\n", typed.get());
            let page = browser.send_to("/job/1/look", &[("text", &text)]);
            assert_eq!(page.status, 200);
        });
    });
    if let Some((now, most)) = server.memory_kb() {
        eprintln!(
            "memory: {:.0} MB now, {:.0} MB at most",
            now as f64 / 1024.0,
            most as f64 / 1024.0
        );
    }
}

/// The schematic: a whole amplifier, and one more line of it.
fn drawing(c: &mut Criterion) {
    let options = draw::Options::default();
    let circuit = wiring::read_one(WIRING).circuit;
    let anatomy = draw::look(&circuit);
    let parts = circuit.parts.len();
    c.bench_function(&format!("drawing: an amplifier of {parts} parts"), |b| {
        b.iter(|| draw::draw(black_box(&circuit), &anatomy, options));
    });
    let nothing = draw::Memory::default();
    let (_, memory) = draw::draw_on(&circuit, &anatomy, options, &nothing);
    let more = wiring::read_one(&format!("{WIRING}V1.1 - R90 1M - ground\n")).circuit;
    let more_anatomy = draw::look(&more);
    c.bench_function("drawing: again with one line more", |b| {
        b.iter(|| draw::draw_on(black_box(&more), &more_anatomy, options, &memory));
    });
}

/// One amplifier against drawings of it.
fn kin(c: &mut Criterion) {
    let library = Library::built_in();
    let amp = wiring::read_one(include_str!("../../../examples/curlew.wiring")).circuit;
    let circuits = [
        include_str!("../../../examples/kin/curlew-first-issue.wiring"),
        include_str!("../../../examples/kin/curlew-later-production.wiring"),
        include_str!("../../../examples/kin/curlew-repair-sketch.wiring"),
        WIRING,
        include_str!("../../../examples/pip.wiring"),
    ]
    .map(|text| wiring::read_one(text).circuit);
    let drawings = circuits.each_ref().map(|circuit| bench::kin::Drawing {
        name: "drawing",
        circuit,
    });
    c.bench_function("kin: two whole amplifiers", |b| {
        b.iter(|| bench::kin::kin(black_box(&amp), library, &drawings[..1]));
    });
    c.bench_function("kin: an amplifier and five drawings", |b| {
        b.iter(|| bench::kin::kin(black_box(&amp), library, &drawings));
    });
}

/// A knob of the voicing page moved, until the new curve is painted, by the browser's own clock.
fn voicing(c: &mut Criterion) {
    let folder = tempfile::tempdir().unwrap();
    let server = Server::start(&folder.path().join("shop"), &[]);
    let mut b = server.browser();
    let form = b.get("/new").form("name=\"maker\"");
    b.send(&form.with("maker", "Marram").with("model", "Curlew"));
    let form = b.get("/job/1/tracing").form("name=\"base\"");
    b.send(&form.with("text", include_str!("../../../examples/curlew.wiring")));
    let mut browser = chromium::Chromium::start();
    let at = Cell::new(0);
    for (what, from) in [
        ("voicing: knob to picture, one channel", "J3"),
        ("voicing: knob to picture, two channels", "J3&beside=J1"),
    ] {
        browser.open(&format!("http://{}/job/1/voicing?from={from}", server.host));
        c.benchmark_group("voicing").sample_size(20).bench_function(what, |b| {
            b.iter_custom(|times| {
                let mut all = Duration::ZERO;
                for _ in 0..times {
                    at.set((at.get() + 1) % 50);
                    let to = 2.0 + f64::from(at.get()) / 10.0;
                    // two frames: the first paints what the second follows
                    let took = browser.eval(&format!(
                        "(async () => {{
                            const knob = document.querySelector('[name=\"at TREBLE\"]');
                            const drawn = new Promise((done) => document.body.addEventListener('htmx:afterSettle', done, {{ once: true }}));
                            const begun = performance.now();
                            knob.value = '{to}';
                            knob.dispatchEvent(new Event('input', {{ bubbles: true }}));
                            await drawn;
                            await new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)));
                            return performance.now() - begun;
                        }})()"
                    ));
                    all += Duration::from_secs_f64(took.as_f64().unwrap() / 1e3);
                }
                all
            });
        });
    }
}

/// A second of a plucked string through whole amplifiers, with the filters on both sides; a recorded sweep measured.
fn sound(c: &mut Criterion) {
    use ::bench::play::{PlayRequest, Player};
    use ::sound::rate::{Down, Up};
    const RATE: f64 = 48_000.0;
    let string = ::sound::signals::string(RATE);
    let second: Vec<f64> = string[12_000..60_000].iter().map(|x| 0.5 * x).collect();
    let amps = [
        ("pip", include_str!("../../../examples/pip.wiring")),
        ("curlew", include_str!("../../../examples/curlew.wiring")),
        ("turnstone", WIRING),
        // 18 W, two channels, tremolo: what the goal of twice as fast as it sounds is set for
        ("pp18", include_str!("pp18.wiring")),
    ];
    for (name, text) in amps {
        let circuit = wiring::read_one(text).circuit;
        for times in [2, 4] {
            let request = PlayRequest {
                step: 1.0 / (RATE * times as f64),
                ..PlayRequest::default()
            };
            let player =
                Player::new(&circuit, Library::built_in(), &request, &mut |_| true).unwrap();
            let what = format!("sound: a second through {name} at {} kHz", 48 * times);
            c.benchmark_group("sound")
                .sample_size(10)
                .bench_function(what, |b| {
                    b.iter(|| {
                        let (mut up, mut down) = (Up::new(times), Down::new(times));
                        let mut player = player.clone();
                        let (mut inside, mut heard) = (Vec::new(), Vec::new());
                        let mut sum = 0.0;
                        for few in second.chunks(256) {
                            for x in few {
                                up.push(*x, &mut inside);
                            }
                            for volts in inside.as_chunks::<2>().0 {
                                heard.extend(player.push(*volts).unwrap());
                            }
                            inside.clear();
                            sum += heard.drain(..).filter_map(|v| down.push(v)).sum::<f64>();
                        }
                        black_box(sum)
                    });
                });
        }
    }
    let sweep = ::sound::signals::sweep(RATE);
    c.benchmark_group("sound").sample_size(10).bench_function(
        "sound: a sweep of 12 s measured",
        |b| {
            b.iter(|| {
                black_box(
                    ::sound::sweep::response(&sweep, RATE, &::sound::sweep::third_octaves())
                        .unwrap(),
                )
            });
        },
    );
}

criterion_group!(benches, waits, faults, kin, drawing, voicing, sound, pages);
criterion_main!(benches);
