//! The figures of one amplifier.

use std::hint::black_box;

use serde_json::{Value, json};
use solve::builds::{Drawn, Plan, builds};
use solve::netlist::{Parameter, Quantity, Slot};
use solve::operating::{Solution, Solver, solve_variants};
use solve::response::SmallSignal;
use solve::time::{Running, natural_frequencies};
use solve::{Law, Netlist, operating};

use super::{row, seconds, seconds_by_the_clock, wanted};

/// Points of the response, evenly over the logarithm.
const POINTS: usize = 200;
const LOWEST: f64 = 10.0;
const HIGHEST: f64 = 100e3;

/// Builds of one figure.
const BUILDS: u32 = 2_000;

/// Factors on the ohms of each resistor that count as one fault each: short, open, low, high.
const FAULTS: [f64; 4] = [1e-6, 1e6, 0.5, 2.0];

/// Samples a second, and how many of them are run.
const RATE: f64 = 192_000.0;
const SAMPLES: usize = 1_920;

/// The signal that drives it: r.m.s. volts and hertz, near clipping.
const DRIVE: (f64, f64) = (0.1, 1000.0);

pub(crate) fn of(netlist: &Netlist, point: &Solution) -> Vec<Value> {
    let mut rows = Vec::new();
    let mut solver = Solver::new(netlist).unwrap();
    let work = |s: &Solution| json!({"newton": s.iterations, "factorisations": s.factorisations});
    if wanted("cold") {
        let cold = seconds(|| {
            black_box(solver.solve(black_box(netlist), None));
        });
        rows.push(row("cold", cold, 1, &work(point), &json!(point.volts)));
    }
    if wanted("warm") {
        let moved = with_first_resistor(netlist, 1.1);
        let warm = seconds(|| {
            black_box(solver.solve(black_box(&moved), Some(&point.volts)));
        });
        let there = solver.solve(&moved, Some(&point.volts));
        rows.push(row("warm", warm, 1, &work(&there), &json!(there.volts)));
    }
    if wanted("faults") {
        rows.push(faults(netlist, point));
    }
    if wanted("builds") {
        rows.push(sampled(netlist, point));
    }
    if let Some(source) = generator(netlist) {
        if wanted("response") {
            rows.push(response(netlist, point, source));
        }
        if wanted("sound") {
            rows.push(sound(netlist, point, source));
        }
        if wanted("power") {
            rows.push(power(netlist, point, source));
        }
    }
    if wanted("tremolo") {
        rows.extend(oscillator(netlist, point));
    }
    rows
}

fn with_first_resistor(netlist: &Netlist, factor: f64) -> Netlist {
    let mut moved = netlist.clone();
    let first = moved.elements.iter_mut().find_map(|e| match &mut e.law {
        Law::Resistor { ohms, .. } => Some(ohms),
        _ => None,
    });
    if let Some(ohms) = first {
        *ohms *= factor;
    }
    moved
}

/// Every resistor short, open, halved, doubled, from the sound point.
fn faults(netlist: &Netlist, point: &Solution) -> Value {
    let mut all = Vec::new();
    for (at, element) in netlist.elements.iter().enumerate() {
        for factor in FAULTS {
            if let Law::Resistor { a, b, ohms } = element.law {
                let ohms = factor * ohms;
                all.push(vec![(at, Law::Resistor { a, b, ohms })]);
            }
        }
    }
    let found = solve_variants(netlist, point, &all);
    let failed = found.iter().filter(|volts| volts.is_none()).count();
    let took = seconds(|| {
        black_box(solve_variants(netlist, point, &all));
    });
    row(
        "faults",
        took,
        all.len(),
        &json!({"failed": failed}),
        &Value::Null,
    )
}

/// Builds with every resistance and every valve's emission within a tenth.
fn sampled(netlist: &Netlist, point: &Solution) -> Value {
    let mut varied = netlist.clone();
    for (at, element) in netlist.elements.iter().enumerate() {
        let (quantity, slot) = match element.law {
            Law::Resistor { .. } => (Quantity::Ohms, Slot::Ohms),
            Law::Triode { .. } | Law::Pentode { .. } => (Quantity::Emission, Slot::Scale),
            _ => continue,
        };
        varied.parameters.push(Parameter {
            part: element.name.clone(),
            quantity,
            slots: vec![(at, slot)],
        });
    }
    let readings: Vec<(usize, usize)> = (1..netlist.nodes.len()).map(|n| (n, 0)).collect();
    let plan = Plan {
        drawn: Drawn::default(),
        count: BUILDS,
        seed: 1,
        threads: 1,
    };
    let even = |_: usize, u: f64| 0.9 + 0.2 * u;
    let took = seconds_by_the_clock(|| {
        black_box(builds(&varied, point, &readings, &even, plan, &mut |_| true).unwrap());
    });
    let spreads = builds(&varied, point, &readings, &even, plan, &mut |_| true).unwrap();
    let deviations: Vec<f64> = spreads.iter().map(|s| s.deviation).collect();
    row(
        "builds",
        took,
        BUILDS as usize,
        &json!({}),
        &json!({"deviation": deviations}),
    )
}

/// The input's generator.
fn generator(netlist: &Netlist) -> Option<usize> {
    netlist.elements.iter().position(|e| e.name == "input")
}

/// All nodes at each frequency, for one source.
fn response(netlist: &Netlist, point: &Solution, source: usize) -> Value {
    let small = SmallSignal::new(netlist, point).unwrap();
    let step = (HIGHEST / LOWEST).ln() / (POINTS - 1) as f64;
    let all: Vec<f64> = (0..POINTS)
        .map(|at| LOWEST * (step * at as f64).exp())
        .collect();
    let took = seconds(|| {
        black_box(small.per_volt_over(source, black_box(&all)).unwrap());
    });
    let swept = small.per_volt_over(source, &all).unwrap();
    let answers: Vec<Vec<[f64; 2]>> = swept
        .iter()
        .map(|volts| volts.iter().map(|v| [v.re, v.im]).collect())
        .collect();
    let answer = json!({"source": netlist.elements[source].name, "hertz": all, "volts": answers});
    row("response", took, 1, &json!({"points": POINTS}), &answer)
}

/// The load: ends of the last transformer's last winding.
fn load(netlist: &Netlist) -> (usize, usize) {
    let mut transformers = netlist.elements.iter().filter_map(|e| match &e.law {
        Law::Transformer(t) => t.windings.last(),
        _ => None,
    });
    transformers.next_back().map_or((0, 0), |w| (w.a, w.b))
}

/// Samples of a fixed length, driven by two tones as they come from outside.
fn sound(netlist: &Netlist, point: &Solution, source: usize) -> Value {
    let wave: Vec<f64> = (1..=SAMPLES)
        .map(|at| {
            let t = at as f64 / RATE;
            let tone = |hertz: f64| (std::f64::consts::TAU * hertz * t).sin();
            0.1 * (tone(220.0) + tone(330.0))
        })
        .collect();
    let fresh = Running::at(netlist, point).unwrap();
    let play = || {
        let mut run = fresh.clone();
        for &volts in wave.as_chunks::<2>().0 {
            run.two_steps(1.0 / RATE, &[(source, volts)]).unwrap();
        }
        run
    };
    let took = seconds(|| {
        black_box(play());
    });
    let end = play();
    let work = end.work();
    let counts = json!({"newton": work.iterations as f64 / SAMPLES as f64});
    let (a, b) = load(netlist);
    let answer = json!({"rate": RATE, "samples": SAMPLES, "drive": 0.1, "load": [a, b], "volts": end.across(a, b)});
    row("sound", took, SAMPLES, &counts, &answer)
}

/// Power and distortion at one level.
fn power(netlist: &Netlist, point: &Solution, source: usize) -> Value {
    let mut driven = netlist.clone();
    for (at, element) in driven.elements.iter_mut().enumerate() {
        if let Law::Alternating { volts, hertz, .. } = &mut element.law {
            *volts = if at == source { DRIVE.0 } else { 0.0 };
            *hertz = DRIVE.1;
        }
    }
    let (a, b) = load(netlist);
    let cycle = || {
        let run = Running::at(&driven, point).unwrap();
        run.cycle(1.0 / DRIVE.1).unwrap()
    };
    let took = seconds(|| {
        black_box(cycle());
    });
    let found = cycle();
    let done = found.running().map(|run| run.work());
    let work = json!(done.map(|w| [
        ("steps", w.steps),
        ("newton", w.iterations),
        ("rejected", w.rejected)
    ]));
    let answer = json!({
        "load": [a, b], "volts": DRIVE.0, "hertz": DRIVE.1,
        "fundamental": found.harmonic(a, b, 1).abs(), "distortion": found.distortion(a, b),
        "stable": found.stable(),
    });
    row("power", took, 1, &work, &answer)
}

/// One second of the tremolo, running.
fn oscillator(netlist: &Netlist, point: &Solution) -> Option<Value> {
    let pair = *natural_frequencies(netlist, point).ok()?.first()?;
    if pair.growth <= 0.0 || pair.hertz <= 0.0 {
        return None;
    }
    let mut quiet = netlist.clone();
    for element in &mut quiet.elements {
        if let Law::Alternating { volts, .. } = &mut element.law {
            *volts = 0.0;
        }
    }
    let mut nudged = quiet.clone();
    for element in &mut nudged.elements {
        if let Law::Source { volts, .. } = &mut element.law {
            *volts *= 1.01;
        }
    }
    let rest = operating::solve(&quiet, None);
    let mut run = Running::at(&quiet, &rest).ok()?;
    run.change(&nudged).ok()?;
    run.until(0.1).ok()?;
    run.change(&quiet).ok()?;
    run.until(14.0 / pair.growth).ok()?;
    let begin = run.seconds();
    let took = seconds(|| {
        let mut on = run.clone();
        on.until(begin + 1.0).unwrap();
    });
    let cycle = run.clone().oscillation(1.0 / pair.hertz).ok()?;
    let answer = json!({"hertz": 1.0 / cycle.period(), "natural_hertz": pair.hertz});
    Some(row("tremolo", took, 1, &json!({}), &answer))
}
