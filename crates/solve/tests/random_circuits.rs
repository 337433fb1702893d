//! Random circuits: every one is solved, and every solution is one.
//!
//! 2,000 circuits, or 100,000 with `TUBEWRIGHT_LONG=1` in the environment.

mod support;

use proptest::prelude::*;
use solve::device::RectifierLaw;
use solve::flows::{power_balance, terminal_currents};
use solve::linearised::Linearised;
use solve::operating::{self, Method, Solution, Solver, Status};
use solve::response::SmallSignal;
use solve::time::{Running, natural_frequencies};
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

/// Capacitors between any nodes: nothing at direct current.
fn with_capacitors(mut netlist: Netlist, farads: f64) -> Netlist {
    let count = netlist.nodes.len();
    for node in 1..count {
        netlist.elements.push(Element {
            name: format!("C{node}"),
            law: Law::Capacitor {
                a: node,
                b: (7 * node + 3) % count,
                farads: farads * (1.0 + (node % 5) as f64),
                esr_ohms: 0.0,
            },
        });
    }
    netlist
}

/// At 1e-9 Hz the response to a source is how the operating point follows that source, at every
/// determined node, capacitors or not. Its slope is taken by differences to both sides; where they differ, a law
/// has a corner there.
#[test]
fn the_slowest_response_is_the_slope_of_the_operating_point() {
    let (mut compared, mut corners) = (0, 0);
    for seed in (0..count()).step_by(10) {
        let netlist = with_capacitors(random::any_circuit(seed), 1e-12);
        let mut sources = netlist.elements.iter().enumerate();
        let source = sources.find_map(|(at, e)| match e.law {
            Law::Source { plus, minus, .. } if plus != minus => Some(at),
            _ => None,
        });
        let Some(source) = source else { continue };
        let point = operating::solve(&netlist, None);
        let linear = Linearised::new(&netlist, &point).unwrap();
        let small = SmallSignal::new(&netlist, &point).unwrap();
        let phasors = small.at(1e-9).unwrap().per_volt(source);
        let nudge = 1e-2;
        let moved = |by: f64| {
            let mut moved = netlist.clone();
            if let Law::Source { volts, .. } = &mut moved.elements[source].law {
                *volts += by;
            }
            operating::solve(&moved, Some(&point.volts)).volts
        };
        let [lower, low, high, higher] = [-nudge, -0.5 * nudge, 0.5 * nudge, nudge].map(moved);
        let determined = determined(&netlist, &linear);
        for node in (1..netlist.nodes.len()).filter(|node| determined[*node]) {
            // the curve's third derivative taken out (Richardson)
            let whole = (higher[node] - lower[node]) / (2.0 * nudge);
            let half = (high[node] - low[node]) / nudge;
            let slope = half + (half - whole) / 3.0;
            if (half - whole).abs() > 1e-3 * (half.abs() + 1e-2) {
                corners += 1;
                continue;
            }
            let seen = phasors[node];
            assert!(
                (seen.re - slope).abs() <= 1e-4 * slope.abs() + 2e-6
                    && seen.im.abs() <= 1e-4 * slope.abs() + 2e-6,
                "circuit {seed}, node {node}: {seen:?} {slope}"
            );
            compared += 1;
        }
    }
    println!("{compared} nodes compared; {corners} in the bend of a law");
    assert!(compared > 500 && corners * 10 < compared);
}

/// Random circuits with a capacitor on every node, one source turned into a sine: with the step halved
/// the fixed-step rule's error falls by four. The order shows in the differences between
/// runs with 64, 128, 256 and 512 steps.
#[test]
fn half_the_step_leaves_a_quarter_of_the_error() {
    let (mut seen, mut circuits, mut astray) = (Vec::new(), 0, 0);
    for seed in (0..count()).step_by(5) {
        let mut netlist = with_capacitors(random::any_circuit(seed), 2e-8);
        // an ideal diode has a corner, which no order survives
        let sharp = |e: &Element| match e.law {
            Law::Diode { law, .. } => !matches!(law.forward, RectifierLaw::Valve(_)),
            Law::Amplifier { .. } => true,
            _ => false,
        };
        if netlist.elements.iter().any(sharp) {
            continue;
        }
        let mut sources = netlist.elements.iter_mut();
        let driven = sources.find_map(|e| match e.law {
            Law::Source {
                plus, minus, ohms, ..
            } if plus != minus => Some((&mut e.law, plus, minus, ohms)),
            _ => None,
        });
        let Some((law, a, b, ohms)) = driven else {
            continue;
        };
        *law = Law::Alternating {
            a,
            b,
            volts: 10.0,
            hertz: 500.0,
            ohms,
            mains: false,
        };
        let point = operating::solve(&netlist, None);
        // what grows, or has no single state, has no run to converge to
        let natural = natural_frequencies(&netlist, &point);
        if !natural.is_ok_and(|all| all.iter().all(|f| f.growth < 0.0)) {
            astray += 1;
            continue;
        }
        let after = |steps: u32| {
            let run = Running::at(&netlist, &point).unwrap();
            let mut run = run.with_accuracy(1e-8);
            for _ in 0..steps {
                run.step(1e-3 / f64::from(steps), &[]).unwrap();
            }
            (0..netlist.nodes.len())
                .map(|n| run.volts(n))
                .collect::<Vec<f64>>()
        };
        let ends = [64, 128, 256, 512].map(after);
        let apart = |a: &[f64], b: &[f64]| {
            let all = a.iter().zip(b).map(|(a, b)| (a - b).abs());
            all.fold(0.0_f64, f64::max)
        };
        let errors: Vec<f64> = ends
            .windows(2)
            .map(|pair| apart(&pair[0], &pair[1]))
            .collect();
        circuits += 1;
        // below, it is Newton's method that is seen
        if errors[2] > 1e-5 {
            seen.push(((errors[1] / errors[2]).log2(), seed));
        }
    }
    seen.sort_by(|a, b| a.0.total_cmp(&b.0));
    let orders: Vec<f64> = seen.iter().map(|(order, _)| *order).collect();
    println!("{circuits} circuits, {astray} left out, orders {orders:.2?}");
    assert!(astray * 5 < circuits);
    assert!(orders.len() > 20 && orders[0] > 1.8, "{:?}", seen[0]);
    // some steps gain more than their order
    assert!((orders[orders.len() / 2] - 2.0).abs() < 0.1);
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
