//! Random circuits: every one is solved, and every solution is one.
//!
//! 2,000 circuits, or 100,000 with `TUBEWRIGHT_LONG=1` in the environment.

mod support;

use proptest::prelude::*;
use solve::flows::{power_balance, terminal_currents};
use solve::linearised::Linearised;
use solve::operating::{self, Method, Solution, Solver, Status};
use solve::{Element, FLOOR_SIEMENS, Law, Netlist};
use support::{dense, random};

/// Circuits per run.
fn count() -> u64 {
    match std::env::var("TUBEWRIGHT_LONG") {
        Ok(value) if value == "1" => 100_000,
        _ => 2_000,
    }
}

fn any_circuit() -> impl Strategy<Value = Netlist> {
    any::<u64>().prop_map(random::any_circuit)
}

/// The accepted limits, with currents from the laws of the elements one by one: the sum at
/// every node within 1e-9 of the absolute currents there and 1e-12 A.
fn assert_balanced(netlist: &Netlist, point: &Solution, what: &str) {
    let mut sums = vec![(0.0, 0.0); netlist.nodes.len()];
    for (node, (sum, size)) in sums.iter_mut().enumerate() {
        *sum = FLOOR_SIEMENS * point.volts[node];
        *size = f64::abs(*sum);
    }
    for (at, element) in netlist.elements.iter().enumerate() {
        let amps = terminal_currents(netlist, point, at);
        for (node, amps) in element.law.terminals().into_iter().zip(amps) {
            sums[node].0 += amps;
            sums[node].1 += amps.abs();
        }
    }
    for (node, &(sum, size)) in sums.iter().enumerate().skip(1) {
        // The test sums plainly, which costs it 1e-15 of the size besides.
        let limit = (1e-9 + 1e-15) * size + 1e-12;
        assert!(sum.abs() <= limit, "{what}, node {node}: {sum} of {size}");
    }
    assert!(point.correction_volts.is_finite());
}

#[test]
fn every_random_circuit_is_solved_in_few_steps() {
    let count = count();
    let (mut cold, mut warm, mut rescued) = (0_u64, 0_u64, 0_u64);
    for seed in 0..count {
        let mut netlist = random::any_circuit(seed);
        let mut solver = Solver::new(&netlist).unwrap();
        let point = solver.solve(&netlist, None);
        assert_eq!(point.status, Status::Converged, "circuit {seed}: {point:?}");
        assert_balanced(&netlist, &point, &format!("circuit {seed}"));
        cold += u64::from(point.iterations);
        rescued += u64::from(point.method != Method::Newton);
        // Warm: every fifth resistor 10 % up, as when a tolerance is drawn or a pot is moved.
        for element in netlist.elements.iter_mut().step_by(5) {
            if let Law::Resistor { ohms, .. } = &mut element.law {
                *ohms *= 1.1;
            }
        }
        let moved = solver.solve(&netlist, Some(&point.volts));
        assert_eq!(moved.status, Status::Converged, "circuit {seed}, warm");
        assert_balanced(&netlist, &moved, &format!("circuit {seed}, warm"));
        warm += u64::from(moved.iterations);
    }
    let mean = |sum: u64| sum as f64 / count as f64;
    println!(
        "{count} circuits: {:.2} Newton steps cold, {:.2} warm; {rescued} needed more than Newton",
        mean(cold),
        mean(warm)
    );
    assert!(mean(cold) <= 15.0, "{}", mean(cold));
    assert!(mean(warm) <= 8.0, "{}", mean(warm));
}

/// Nodes whose volts are their own: none of a circuit in which an ideal amplifier copies an
/// undetermined node, as its output looks as stiff as any.
fn determined(netlist: &Netlist, linear: &Linearised) -> Vec<bool> {
    let copied = netlist.elements.iter().any(|element| match element.law {
        Law::Amplifier { input, .. } => !linear.determined(input),
        _ => false,
    });
    (0..netlist.nodes.len())
        .map(|node| !copied && linear.determined(node))
        .collect()
}

/// The second solver, started at the engine's point, stays there at every determined node.
#[test]
fn random_circuits_agree_with_the_second_solver() {
    let (mut compared, mut singular) = (0, 0);
    for seed in (0..count()).step_by(20) {
        let netlist = random::any_circuit(seed);
        let point = operating::solve(&netlist, None);
        let linear = Linearised::new(&netlist, &point).unwrap();
        let mut start: Vec<f64> = point.volts[1..].to_vec();
        start.extend(&point.amplifier_amps);
        // Its differences and its plain elimination do not always survive a floating part.
        let Some(second) = dense::newton(&netlist, &point.lit, start) else {
            singular += 1;
            continue;
        };
        let determined = determined(&netlist, &linear);
        for node in 1..netlist.nodes.len() {
            if determined[node] {
                let (here, there) = (point.volts[node], second[node - 1]);
                assert!(
                    (here - there).abs() < 1e-6 + 1e-9 * here.abs(),
                    "circuit {seed}, node {node}: {here} {there}"
                );
                compared += 1;
            }
        }
    }
    println!("{compared} nodes compared; the second solver gave up on {singular} circuits");
    assert!(compared > 500);
}

/// The same circuit with nodes and elements in another order.
fn shuffled(netlist: &Netlist, by: u64) -> (Netlist, Vec<usize>) {
    let count = netlist.nodes.len();
    let mut order: Vec<usize> = (1..count).collect();
    let mut state = by | 1;
    let mut next = |below: usize| {
        // Knuth's linear congruence: any shuffle will do.
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) as usize % below
    };
    for at in (1..order.len()).rev() {
        order.swap(at, next(at + 1));
    }
    let mut new = vec![0; count];
    for (at, &old) in order.iter().enumerate() {
        new[old] = at + 1;
    }
    let mut elements: Vec<Element> = netlist.elements.clone();
    for element in &mut elements {
        match &mut element.law {
            Law::Resistor { a, b, .. } | Law::Diode { a, k: b, .. } => {
                (*a, *b) = (new[*a], new[*b]);
            }
            Law::Source { plus, minus, .. } => (*plus, *minus) = (new[*plus], new[*minus]),
            Law::Amplifier { input, output, .. } => {
                (*input, *output) = (new[*input], new[*output]);
            }
            Law::Triode {
                plate,
                grid,
                cathode,
                ..
            } => {
                (*plate, *grid, *cathode) = (new[*plate], new[*grid], new[*cathode]);
            }
            Law::Pentode {
                plate,
                screen,
                grid,
                cathode,
                ..
            } => {
                (*plate, *screen) = (new[*plate], new[*screen]);
                (*grid, *cathode) = (new[*grid], new[*cathode]);
            }
            other => panic!("no such element in random circuits: {other:?}"),
        }
    }
    for at in (1..elements.len()).rev() {
        elements.swap(at, next(at + 1));
    }
    let shuffled = Netlist {
        nodes: netlist.nodes.clone(),
        elements,
        ..Netlist::default()
    };
    (shuffled, new)
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 400,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn delivered_power_equals_dissipated(netlist in any_circuit()) {
        let point = operating::solve(&netlist, None);
        prop_assert!(point.converged());
        let total = power_balance(&netlist, &point);
        // What the accepted residuals may hide, node by node.
        let mut hidden = 1e-12;
        for (at, element) in netlist.elements.iter().enumerate() {
            let amps = terminal_currents(&netlist, &point, at);
            for (node, amps) in element.law.terminals().into_iter().zip(amps) {
                hidden += point.volts[node].abs() * (1e-9 * amps.abs() + 1e-12);
            }
        }
        prop_assert!((total.dissipated - total.delivered).abs() <= hidden, "{total:?} {hidden}");
    }

    #[test]
    fn the_order_of_nodes_and_elements_changes_nothing(netlist in any_circuit(), by in any::<u64>()) {
        let point = operating::solve(&netlist, None);
        let (other, new) = shuffled(&netlist, by);
        let again = operating::solve(&other, None);
        prop_assert!(point.converged() && again.converged());
        let linear = Linearised::new(&netlist, &point).unwrap();
        let determined = determined(&netlist, &linear);
        for (node, &moved_to) in new.iter().enumerate().skip(1) {
            let (here, there) = (point.volts[node], again.volts[moved_to]);
            if determined[node] {
                prop_assert!(
                    (here - there).abs() < 2e-6 + 2e-9 * here.abs(),
                    "node {}: {} {}", node, here, there
                );
            }
        }
    }

    #[test]
    fn the_same_call_gives_the_same_bits(netlist in any_circuit()) {
        let first = operating::solve(&netlist, None);
        let mut solver = Solver::new(&netlist).unwrap();
        let _before = solver.solve(&netlist, Some(&vec![1.0; netlist.nodes.len()]));
        prop_assert_eq!(first, solver.solve(&netlist, None));
    }
}
