//! From the plug to the playing amplifier and back: cycle by cycle, cathodes warming and cooling.

#![allow(clippy::unwrap_used, reason = "the circuits are the test's own")]

use solve::device::pentode_law;
use solve::time::{Running, TimeError, warming_seconds};
use solve::{AssembleOptions, Element, Law, Netlist, operating, solve_circuit};
use wiring::sheet::{Library, ValveKind};
use wiring::{Conditions, read_one};

mod support;

use support::netlist;

const WIRING: &str = include_str!("../../wiring/tests/pip.wiring");

/// Every valve section and rectifier plate, all with one time constant.
fn cathodes(netlist: &Netlist, seconds: f64) -> Vec<(usize, f64)> {
    use solve::device::RectifierLaw::Valve;
    let all = netlist.elements.iter().enumerate();
    all.filter(|(_, e)| match &e.law {
        Law::Triode { .. } | Law::Pentode { .. } => true,
        Law::Diode { law, .. } => matches!(law.forward, Valve(_)),
        _ => false,
    })
    .map(|(at, _)| (at, seconds))
    .collect()
}

/// The notation's example amplifier, from nothing: before its cathodes are warm nothing flows, with the
/// rectifier warm first its capacitors rise to the winding's peak, and once all is warm it plays at the
/// volts of the averaged supply. Accepted: 1 % of them, as in the averaged model's own tests.
#[test]
fn an_amplifier_starts_and_settles_where_the_averaged_supply_says() {
    let read = read_one(WIRING);
    let (conditions, options) = (Conditions::default(), AssembleOptions::default());
    let solved = solve_circuit(&read.circuit, Library::built_in(), &conditions, &options);
    assert!(solved.point.solved());
    let netlist = &solved.assembly.netlist;
    let rail = solved.node(&read.circuit, "B1").unwrap();
    let mut run = Running::empty(netlist).unwrap().with_accuracy(1e-4);
    // a tenth of the true times, so that the test is done in time; the rectifier before the others
    let mut named = cathodes(netlist, 1.1);
    for (element, seconds) in &mut named {
        if matches!(netlist.elements[*element].law, Law::Diode { .. }) {
            *seconds = 0.1;
        }
    }
    run.warm_up(&named).unwrap();
    run.until(0.02).unwrap();
    assert!(run.volts(rail).abs() < 1.0, "{}", run.volts(rail));
    let mut highest = 0.0_f64;
    for step in 1..=300 {
        run.until(0.02 + 0.01 * f64::from(step)).unwrap();
        highest = highest.max(run.volts(rail));
    }
    run.until(6.0).unwrap();
    // over one cycle of 50 Hz
    let (mut means, count) = (vec![0.0; netlist.nodes.len()], 200);
    for step in 1..=count {
        run.until(6.0 + 0.02 * f64::from(step) / f64::from(count))
            .unwrap();
        for (node, mean) in means.iter_mut().enumerate() {
            *mean += run.volts(node) / f64::from(count);
        }
    }
    let settled = solved.point.dc(rail);
    assert!(highest > 1.1 * settled, "{highest} {settled}");
    for point in ["B1", "B2", "B3", "V2.3", "V2.8", "V1.1", "V1.3"] {
        let node = solved.node(&read.circuit, point).unwrap();
        let (seen, averaged) = (means[node], solved.point.dc(node));
        assert!(
            (seen / averaged - 1.0).abs() < 0.01,
            "{point}: {seen} {averaged}"
        );
    }
    // The plug is out: the heaters cool, what is left empties through the valves and the resistances.
    let mut unplugged = netlist.clone();
    for element in &mut unplugged.elements {
        if let Law::Alternating {
            ohms, mains: true, ..
        } = &mut element.law
        {
            *ohms = 1e10;
        }
    }
    run.change(&unplugged).unwrap();
    run.cool_down(&named).unwrap();
    let begin = run.seconds();
    let before = run.volts(rail);
    run.until(begin + 0.5).unwrap();
    let after = run.volts(rail);
    assert!(after < 0.8 * before && after > 0.0, "{before} {after}");
    println!("{:?}", run.work());
}

/// One valve on stiff supplies: its current follows the emission, full after two time constants.
#[test]
fn a_cathode_warms_and_cools() {
    let law = pentode_law("EL84", None).unwrap();
    let source = |plus, volts| Element {
        name: String::new(),
        law: Law::Source {
            plus,
            minus: 0,
            volts,
            ohms: 1.0,
        },
    };
    let valve = Element {
        name: "V1".into(),
        law: Law::Pentode {
            plate: 1,
            screen: 1,
            grid: 2,
            cathode: 0,
            law,
        },
    };
    let circuit = netlist(3, vec![source(1, 250.0), source(2, -7.3), valve]);
    let point = operating::solve(&circuit, None);
    let full = solve::flows::terminal_currents(&circuit, &point, 2)[0];
    let mut run = Running::at(&circuit, &point).unwrap();
    run.warm_up(&[(2, 11.0)]).unwrap();
    run.until(2.0).unwrap();
    assert!(run.currents(2)[0] < 1e-6 * full);
    run.until(8.0).unwrap();
    let part = run.currents(2)[0] / full;
    assert!((0.2..0.95).contains(&part), "{part}");
    run.until(25.0).unwrap();
    assert!((run.currents(2)[0] / full - 1.0).abs() < 1e-6);
    run.cool_down(&[(2, 11.0)]).unwrap();
    run.until(45.0).unwrap();
    assert!(run.currents(2)[0] < 1e-3 * full);
    assert_eq!(
        run.warm_up(&[(0, 1.0)]),
        Err(TimeError::NoCathode { element: 0 })
    );
    assert!(
        warming_seconds(ValveKind::DirectlyHeatedRectifier) < warming_seconds(ValveKind::Rectifier)
    );
    // whoever watches can stop
    let mut asked = 0;
    let stopped = run.until_while(1e4, &mut |_| {
        asked += 1;
        asked < 2
    });
    assert!(stopped == Err(TimeError::Stopped) && run.seconds() < 1e4);
}
