//! Sampled builds against distributions worked out otherwise.

#![allow(clippy::unwrap_used, reason = "the circuits are the test's own")]

use solve::builds::{BuildsError, Drawn, Plan, Spread, builds};
use solve::netlist::{Parameter, Quantity, Slot};
use solve::{Element, Law, Netlist, operating};

mod support;

use support::{amplifiers, netlist};

/// One parameter for each resistance and each valve's emission.
fn with_parameters(mut netlist: Netlist) -> Netlist {
    for (at, element) in netlist.elements.iter().enumerate() {
        let (quantity, slot) = match element.law {
            Law::Resistor { .. } => (Quantity::Ohms, Slot::Ohms),
            Law::Triode { .. } | Law::Pentode { .. } => (Quantity::Emission, Slot::Scale),
            _ => continue,
        };
        netlist.parameters.push(Parameter {
            part: element.name.clone(),
            quantity,
            slots: vec![(at, slot)],
        });
    }
    netlist
}

/// Evenly within 10 per cent.
fn even(_: usize, u: f64) -> f64 {
    0.9 + 0.2 * u
}

fn plan(count: u32, threads: usize) -> Plan {
    Plan {
        drawn: Drawn::Points,
        count,
        seed: 3,
        threads,
    }
}

fn drawn(netlist: &Netlist, readings: &[(usize, usize)], plan: Plan) -> Vec<Spread> {
    let point = operating::solve(netlist, None);
    builds(netlist, &point, readings, &even, plan, &mut |_| true).unwrap()
}

/// A divider of two even resistances: mean and quantiles by summing over a fine grid of both.
#[test]
fn a_divider_spreads_as_its_resistances_say() {
    let resistor = |a, b| Element {
        name: String::new(),
        law: Law::Resistor { a, b, ohms: 1e4 },
    };
    let source = Element {
        name: String::new(),
        law: Law::Source {
            plus: 1,
            minus: 0,
            volts: 100.0,
            ohms: 1e-4,
        },
    };
    let circuit = with_parameters(netlist(3, vec![source, resistor(1, 2), resistor(2, 0)]));
    let seen = &drawn(&circuit, &[(2, 0)], plan(4000, 2))[0];
    let steps = 600;
    let mut all = Vec::new();
    for i in 0..steps {
        for j in 0..steps {
            let r = |k: i32| 0.9 + 0.2 * (f64::from(k) + 0.5) / f64::from(steps);
            all.push(100.0 * r(j) / (r(i) + r(j)));
        }
    }
    all.sort_by(f64::total_cmp);
    let mean = all.iter().sum::<f64>() / all.len() as f64;
    assert!(
        (seen.mean - mean).abs() < 5.0 * seen.mean_error + 1e-6,
        "{} {mean}",
        seen.mean
    );
    // the correction leaves little for chance
    assert!(seen.mean_error < 0.1 * seen.deviation / 4000.0_f64.sqrt());
    for rank in [0.025, 0.25, 0.5, 0.75, 0.975] {
        let exact = all[(rank * all.len() as f64) as usize];
        assert!((seen.quantile(rank) - exact).abs() < 0.1, "{rank} {exact}");
    }
    // 25 V per unit of either logarithm; an even spread of 10 per cent has 0.0578 of them
    assert!((seen.linear_deviation / (25.0 * 0.0578 * 2.0_f64.sqrt()) - 1.0).abs() < 0.01);
    assert!((seen.deviation / seen.linear_deviation - 1.0).abs() < 0.02);
    assert!((seen.nominal - 50.0).abs() < 1e-6 && seen.solved() == 4000);
}

/// The same builds, to the last bit, by one, two and five hands; others from another seed.
#[test]
fn threads_change_nothing() {
    let amplifier = with_parameters(amplifiers::push_pull());
    let readings: Vec<(usize, usize)> = (1..amplifier.nodes.len()).map(|n| (n, 0)).collect();
    let one = drawn(&amplifier, &readings, plan(700, 1));
    assert!(one.iter().all(|spread| spread.solved() == 700));
    for threads in [0, 2, 5] {
        assert!(
            one == drawn(&amplifier, &readings, plan(700, threads)),
            "{threads}"
        );
    }
    let other = Plan {
        seed: 4,
        ..plan(700, 1)
    };
    assert!(one != drawn(&amplifier, &readings, other));
    // where nothing bends much, the sensitivities alone say the same
    let wide = one.iter().filter(|s| s.linear_deviation > 0.5);
    let close = wide
        .clone()
        .filter(|s| (s.deviation / s.linear_deviation - 1.0).abs() < 0.15);
    assert!(wide.clone().count() > 10 && close.count() * 10 > wide.count() * 9);
}

/// What a few builds say against what many say, both ways of drawing, over several seeds: means, deviations and
/// quantiles of all readings, errors as parts of the deviation.
#[test]
fn scrambled_points_tell_more_than_strata() {
    let amplifier = with_parameters(amplifiers::push_pull());
    let readings: Vec<(usize, usize)> = (1..amplifier.nodes.len()).map(|n| (n, 0)).collect();
    let truth = drawn(&amplifier, &readings, plan(1 << 14, 2));
    let kinds: [fn(&Spread) -> f64; 5] = [
        |s| s.mean,
        |s| s.deviation,
        |s| s.quantile(0.025),
        |s| s.quantile(0.5),
        |s| s.quantile(0.975),
    ];
    let mut errors = Vec::new();
    for drawn_how in [Drawn::Strata, Drawn::Points] {
        let mut squares = [0.0; 5];
        for seed in 10..18 {
            let plan = Plan {
                drawn: drawn_how,
                seed,
                ..plan(512, 2)
            };
            for (few, many) in drawn(&amplifier, &readings, plan).iter().zip(&truth) {
                if many.deviation > 0.1 {
                    for (square, kind) in squares.iter_mut().zip(kinds) {
                        *square += ((kind(few) - kind(many)) / many.deviation).powi(2);
                    }
                }
            }
        }
        errors.push(squares.map(f64::sqrt));
    }
    let ratios: Vec<f64> = errors[1]
        .iter()
        .zip(errors[0])
        .map(|(a, b)| a / b)
        .collect();
    println!("errors {errors:.3?}, points over strata {ratios:.2?}");
    assert!(ratios.iter().all(|ratio| *ratio < 1.1), "{ratios:?}");
}

#[test]
fn whoever_watches_can_stop() {
    let amplifier = with_parameters(amplifiers::single_ended());
    let point = operating::solve(&amplifier, None);
    let mut shares = Vec::new();
    let mut watch = |share: f64| {
        shares.push(share);
        shares.len() < 3
    };
    let found = builds(
        &amplifier,
        &point,
        &[(1, 0)],
        &even,
        plan(5000, 2),
        &mut watch,
    );
    assert_eq!(found, Err(BuildsError::Stopped));
    assert!(shares.windows(2).all(|pair| pair[0] < pair[1]) && shares[2] < 0.5);
    // nothing drawn, nothing known but the nominal
    let none = drawn(&amplifier, &[(1, 0)], plan(0, 1));
    assert!(none[0].quantile(0.5).is_nan() && none[0].nominal.is_finite());
}
