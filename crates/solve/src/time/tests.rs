//! The rules on a valve stage, whose steps the tests choose.

use super::advance::{Trial, attempt};
use super::rules::{EVEN, FREE, Rule};
use super::*;
use crate::device::triode_law;
use crate::netlist::{Element, Law};
use crate::operating;

fn element(law: Law) -> Element {
    Element {
        name: String::new(),
        law,
    }
}

/// A triode stage that a generator drives into grid current, with its capacitances or without.
fn stage(strays: bool) -> Netlist {
    let capacitor = |a, b, farads| {
        let esr_ohms = 0.0;
        element(Law::Capacitor {
            a,
            b,
            farads,
            esr_ohms,
        })
    };
    let resistor = |a, b, ohms| element(Law::Resistor { a, b, ohms });
    Netlist {
        nodes: (0..7).map(|n| n.to_string()).collect(),
        elements: vec![
            element(Law::Alternating {
                a: 1,
                b: 0,
                volts: 2.0,
                hertz: 1000.0,
                ohms: 10e3,
                mains: false,
            }),
            element(Law::Source {
                plus: 5,
                minus: 0,
                volts: 300.0,
                ohms: 100.0,
            }),
            capacitor(1, 2, 22e-9),
            resistor(2, 0, 1e6),
            resistor(5, 4, 100e3),
            resistor(3, 0, 1.5e3),
            capacitor(3, 0, 1e-6),
            capacitor(4, 2, if strays { 1.7e-12 } else { 0.0 }),
            capacitor(2, 3, if strays { 1.6e-12 } else { 0.0 }),
            capacitor(4, 6, 22e-9),
            resistor(6, 0, 470e3),
            element(Law::Triode {
                plate: 4,
                grid: 2,
                cathode: 3,
                law: triode_law("12AX7", None).unwrap(),
            }),
        ],
        ..Netlist::default()
    }
}

/// Volts of all nodes after a millisecond in `steps` equal steps.
fn after(rule: &Rule, steps: u32, strays: bool) -> Vec<f64> {
    let netlist = stage(strays);
    let point = operating::solve(&netlist, None);
    let mut run = Running::at(&netlist, &point).unwrap();
    let within = vec![1e-12; run.x.len()];
    let h = 1e-3 / f64::from(steps);
    let mut trial = Trial::default();
    for step in 0..steps {
        let begin = (f64::from(step) * h, h);
        assert!(attempt(
            &run.moving,
            &mut run.room,
            rule,
            begin,
            (&run.x, &run.states),
            &within,
            &mut trial,
            None,
        ));
        run.x.clone_from(&trial.x);
        run.states.clone_from(&trial.states);
    }
    run.x[..run.moving.nodes].to_vec()
}

/// Halving the step leaves a quarter and a sixteenth of the error, or less, within a fifth. With stray picofarads,
/// whose time constants are far below the step, the fourth-order rule loses up to half an order, as
/// every rule of its kind does (order reduction; Hairer and Wanner, section IV.15, from memory, not seen).
#[test]
fn halving_the_step_converges_at_the_order_of_the_rule() {
    for strays in [false, true] {
        let truth = after(&FREE, 16_384, strays);
        let miss = |rule: &Rule, steps: u32| {
            let ends = after(rule, steps, strays);
            let all = ends.iter().zip(&truth).map(|(a, b)| (a - b).abs());
            all.fold(0.0_f64, f64::max)
        };
        // without strays the fourth-order rule is soon at the last digits; some steps gain more than their order
        let few = if strays { 512 } else { 128 };
        for (rule, steps, order) in [(&EVEN, 1024, 2.0), (&FREE, few, 4.0)] {
            let errors = [steps, 2 * steps, 4 * steps].map(|n| miss(rule, n));
            for pair in errors.windows(2) {
                let seen = (pair[0] / pair[1]).log2();
                let lost = if strays { 0.5 } else { 0.25 };
                assert!(
                    seen > order - lost,
                    "{errors:?} {seen} for {order}, strays {strays}"
                );
            }
        }
    }
}
