//! Source resistances, sensitivities, currents and powers against closed forms and against the
//! operating point worked out again.

mod support;

use solve::flows::{power, power_balance, terminal_currents};
use solve::linearised::Linearised;
use solve::netlist::{Parameter, Quantity, Slot};
use solve::{Element, Law, Netlist, operating};
use support::amplifiers;

fn resistor(a: usize, b: usize, ohms: f64) -> Element {
    Element {
        name: "R".to_owned(),
        law: Law::Resistor { a, b, ohms },
    }
}

/// 300 V behind 1 ohm, 100 k over 200 k, and a node that hangs on nothing.
fn divider() -> Netlist {
    Netlist {
        nodes: ["ground", "supply", "tap", "nowhere"]
            .map(str::to_owned)
            .to_vec(),
        elements: vec![
            Element {
                name: "S".to_owned(),
                law: Law::Source {
                    plus: 1,
                    minus: 0,
                    volts: 300.0,
                    ohms: 1.0,
                },
            },
            resistor(1, 2, 1e5),
            resistor(2, 0, 2e5),
        ],
        parameters: vec![
            Parameter {
                part: "R2".to_owned(),
                quantity: Quantity::Ohms,
                slots: vec![(2, Slot::Ohms)],
            },
            Parameter {
                part: "S".to_owned(),
                quantity: Quantity::Volts,
                slots: vec![(0, Slot::Volts)],
            },
        ],
        ..Netlist::default()
    }
}

#[test]
fn a_divider_has_its_source_resistance_and_slopes() {
    let netlist = divider();
    let point = operating::solve(&netlist, None);
    let linear = Linearised::new(&netlist, &point).unwrap();
    // 100001 and 200000 ohms side by side.
    let expected = 100_001.0 * 2e5 / 300_001.0;
    assert!((linear.source_ohms(2) / expected - 1.0).abs() < 1e-7);
    // From supply to tap: 100 k beside 200001 ohms.
    let between = 1e5 * 200_001.0 / 300_001.0;
    assert!((linear.source_ohms_between(1, 2) / between - 1.0).abs() < 1e-7);
    assert!(linear.determined(2) && !linear.determined(3) && !linear.determined(9));
    assert!((linear.source_ohms(3) - 1e13).abs() < 1e3);
    let reading = linear.adjoint(2, 0);
    assert!((reading.ohms[2] - linear.source_ohms(2)).abs() < 1e-6);
    // V = E R2 / (R1 + R2), so dV / d ln R2 = V R1 / (R1 + R2), and dV / d ln E = V.
    let volts = point.volts[2];
    let by_resistor = reading.sensitivity(&netlist, &point, 0);
    assert!((by_resistor / (volts * 100_001.0 / 300_001.0) - 1.0).abs() < 1e-6);
    let by_source = reading.sensitivity(&netlist, &point, 1);
    assert!((by_source / volts - 1.0).abs() < 1e-6);
    assert_eq!(reading.sensitivity(&netlist, &point, 2), 0.0);
}

/// Every resistor, valve and source of the whole amplifier, on the reading of an inverter plate:
/// the adjoint's slope against the operating point worked out again with the part moved.
#[test]
fn sensitivities_of_a_whole_amplifier_agree_with_solving_again() {
    let mut netlist = amplifiers::push_pull();
    let mut parameters = Vec::new();
    for (at, element) in netlist.elements.iter().enumerate() {
        let slot = match element.law {
            Law::Resistor { .. } | Law::Inductor { .. } => Slot::Ohms,
            Law::Source { .. } => Slot::Volts,
            Law::Triode { .. } | Law::Pentode { .. } => Slot::Scale,
            Law::Diode { .. } => Slot::Perveance,
            _ => continue,
        };
        parameters.push(Parameter {
            part: element.name.clone(),
            quantity: Quantity::Ohms,
            slots: vec![(at, slot)],
        });
    }
    netlist.parameters = parameters;
    let point = operating::solve(&netlist, None);
    let linear = Linearised::new(&netlist, &point).unwrap();
    let node = netlist.nodes.iter().position(|name| name == "pa").unwrap();
    let reading = linear.adjoint(node, 0);
    for (at, parameter) in netlist.parameters.iter().enumerate() {
        let slope = reading.sensitivity(&netlist, &point, at);
        let moved = |step: f64| {
            let mut moved = netlist.clone();
            moved.scale_parameter(parameter, step.exp());
            let again = operating::solve(&moved, Some(&point.volts));
            assert!(again.converged());
            again.volts[node]
        };
        let expected = (moved(1e-3) - moved(-1e-3)) / 2e-3;
        // Solving again is good to a few nanovolts, over 2e-3, plus the square of the step.
        assert!(
            (slope - expected).abs() < 1e-5 + 1e-5 * expected.abs(),
            "{}: {slope} {expected}",
            parameter.part
        );
        // The same by the change from one whole netlist to another.
        let mut up = netlist.clone();
        up.scale_parameter(parameter, 1e-4_f64.exp());
        let mut down = netlist.clone();
        down.scale_parameter(parameter, (-1e-4_f64).exp());
        let change = reading.change(&down, &up, &point) / 2e-4;
        assert!((change - slope).abs() < 1e-6 + 1e-6 * slope.abs());
    }
}

#[test]
fn currents_and_powers_of_a_whole_amplifier_balance() {
    for netlist in [amplifiers::single_ended(), amplifiers::push_pull()] {
        let point = operating::solve(&netlist, None);
        let mut sums = vec![0.0; netlist.nodes.len()];
        for (at, element) in netlist.elements.iter().enumerate() {
            let amps = terminal_currents(&netlist, &point, at);
            let sum: f64 = amps.iter().sum();
            assert!(sum.abs() < 1e-15, "{}", element.name);
            for (node, amps) in element.law.terminals().into_iter().zip(amps) {
                sums[node] += amps;
            }
            assert!(power(&netlist, &point, at).dissipated >= -1e-15);
        }
        for (node, sum) in sums.iter().enumerate() {
            let floor = solve::FLOOR_SIEMENS * point.volts[node];
            let all: f64 = if node == 0 { 0.0 } else { sum + floor };
            assert!(all.abs() < 1e-11, "{}: {all}", netlist.nodes[node]);
        }
        let total = power_balance(&netlist, &point);
        assert!((total.dissipated - total.delivered).abs() < 1e-9 * total.delivered);
        assert!(total.delivered > 5.0, "{total:?}");
    }
}
