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

/// Volts of all nodes at the end of each step over a millisecond, in `pairs` pairs of steps.
fn in_pairs(pairs: u32, strays: bool) -> Vec<Vec<f64>> {
    let mut netlist = stage(strays);
    let Law::Alternating { volts, .. } = &mut netlist.elements[0].law else {
        unreachable!("the generator comes first")
    };
    let peak = std::f64::consts::SQRT_2 * std::mem::take(volts);
    let point = operating::solve(&netlist, None);
    let mut run = Running::at(&netlist, &point).unwrap();
    // far finer than anybody may ask, so that Newton's method leaves nothing beside the error of the rule
    run.accuracy = 1e-11;
    let h = 0.5e-3 / f64::from(pairs);
    let mut all = Vec::new();
    for pair in 0..pairs {
        // a wave that begins so softly that the beginning, which is made in single steps, leaves no error of second order
        let drive = [1, 2].map(|step| {
            let turn = std::f64::consts::TAU * 1000.0 * h * f64::from(2 * pair + step);
            peak * turn.sin().powi(3)
        });
        all.push(run.two_steps(h, &[(0, drive)]).unwrap().to_vec());
        all.push(run.x[..run.moving.nodes].to_vec());
    }
    assert_eq!(run.work().steps, u64::from(2 * pairs));
    all
}

/// Two steps at once are of third order, at their end and midway: halving them leaves an eighth of the error, within a fifth. With
/// stray picofarads up to half an order is lost, as single steps lose it (order reduction, above).
#[test]
fn two_steps_at_once_converge_at_third_order() {
    const FINE: u32 = 16_384;
    for strays in [false, true] {
        let truth = in_pairs(FINE, strays);
        let errors = [256, 512, 1024].map(|pairs: u32| {
            let all = in_pairs(pairs, strays);
            let each = (FINE / pairs) as usize;
            [2, 1].map(|back| {
                let at = all.len() - back;
                let true_at = &truth[(at + 1) * each - 1];
                let miss = all[at].iter().zip(true_at).map(|(a, b)| (a - b).abs());
                miss.fold(0.0_f64, f64::max)
            })
        });
        for pair in errors.windows(2) {
            for (end, (long, short)) in pair[0].iter().zip(&pair[1]).enumerate() {
                let seen = (long / short).log2();
                let lost = if strays { 0.5 } else { 0.25 };
                assert!(
                    seen > 3.0 - lost,
                    "{errors:?} {seen}, end {end}, strays {strays}"
                );
            }
        }
    }
}
