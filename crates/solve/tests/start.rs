//! From the plug to the playing amplifier and back: cycle by cycle, cathodes warming and cooling.

#![allow(clippy::unwrap_used, reason = "the circuits are the test's own")]

use solve::device::{DiodeLaw, pentode_law, triode_law};
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

/// A triode and a rectifier plate as well: nothing flows before three seconds, all after two and a half time constants.
#[test]
fn every_kind_of_valve_warms() {
    let source = |plus, volts| Element {
        name: String::new(),
        law: Law::Source {
            plus,
            minus: 0,
            volts,
            ohms: 1e-3,
        },
    };
    let triode = Law::Triode {
        plate: 1,
        grid: 2,
        cathode: 0,
        law: triode_law("12AX7", None).unwrap(),
    };
    let (a, k, law) = (3, 0, DiodeLaw::valve_plate(3.1e-4));
    let named = |law: Law| Element {
        name: "V".into(),
        law,
    };
    let circuit = netlist(
        4,
        vec![
            source(1, 250.0),
            source(2, -2.0),
            source(3, 30.0),
            named(triode),
            named(Law::Diode { a, k, law }),
        ],
    );
    let point = operating::solve(&circuit, None);
    for element in [3, 4] {
        let full = solve::flows::terminal_currents(&circuit, &point, element)[0];
        let mut run = Running::at(&circuit, &point).unwrap();
        run.warm_up(&[(element, 11.0)]).unwrap();
        run.until(2.0).unwrap();
        assert!(run.currents(element)[0] < 1e-6 * full, "{element}");
        let (mut last, mut second) = (0.0, 3.0);
        while second < 27.0 {
            run.until(second).unwrap();
            assert!(run.currents(element)[0] >= last * (1.0 - 1e-9));
            last = run.currents(element)[0];
            second += 1.0;
        }
        assert!((last / full - 1.0).abs() < 1e-6, "{element} {last} {full}");
    }
}

/// A rectifier valve, its reservoir and a bleeder, unplugged at full charge: the volts fall as
/// `exp(-t / R C)`, to 18 V after three time constants from 360.
#[test]
fn what_is_unplugged_empties_through_its_bleeder() {
    let (ohms, farads, start) = (220e3, 32e-6, 360.0);
    let named = |law: Law| Element {
        name: String::new(),
        law,
    };
    let circuit = |source_ohms: f64, bleeder: f64| {
        let mains = Law::Alternating {
            a: 1,
            b: 0,
            volts: 270.0,
            hertz: 50.0,
            ohms: source_ohms,
            mains: true,
        };
        let (a, k, law) = (1, 2, DiodeLaw::valve_plate(3.1e-4));
        let reservoir = Law::Capacitor {
            a: 2,
            b: 0,
            farads,
            esr_ohms: 0.0,
        };
        let bleeder = Law::Resistor {
            a: 2,
            b: 0,
            ohms: bleeder,
        };
        let all = [mains, Law::Diode { a, k, law }, reservoir, bleeder];
        netlist(3, all.map(named).to_vec())
    };
    let mut run = Running::empty(&circuit(100.0, ohms)).unwrap();
    run.until(1.0).unwrap();
    run.change(&circuit(1e12, ohms)).unwrap();
    run.cool_down(&[(1, 1.0)]).unwrap();
    let begin = run.seconds();
    let before = run.volts(2);
    assert!((before - start).abs() < 0.1 * start, "{before}");
    for part in [0.1, 1.0, 3.0] {
        run.until(begin + part * ohms * farads).unwrap();
        let expected = before * f64::exp(-part);
        assert!((run.volts(2) / expected - 1.0).abs() < 1e-4, "{part}");
    }
}

/// Whoever watches a supply settle can stop it.
#[test]
fn a_supply_that_settles_can_be_stopped() {
    use solve::supply::{operating_point, operating_point_while};
    let read = read_one(include_str!("../../../examples/turnstone.wiring"));
    let (conditions, options) = (Conditions::default(), AssembleOptions::default());
    let library = Library::built_in();
    let netlist = solve::assemble(&read.circuit, library, &conditions, &options).netlist;
    let mut asked = Vec::new();
    let whole = operating_point_while(&netlist, None, &mut |share| {
        asked.push(share);
        true
    });
    let plain = operating_point(&netlist, None);
    assert_eq!(whole.unwrap().solution, plain.solution);
    assert!(!asked.is_empty() && asked.iter().all(|share| (0.0..1.0).contains(share)));
    // each Newton step is asked for, and the first no is the last question
    assert!(asked.len() > plain.rounds + plain.solution.iterations as usize);
    for most in [1, 3, 7] {
        let mut left = most;
        let stopped = operating_point_while(&netlist, None, &mut |_| {
            left -= 1;
            left > 0
        });
        assert!(stopped.is_none() && left == 0, "{most}");
    }
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
