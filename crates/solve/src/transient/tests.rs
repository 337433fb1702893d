//! Against closed forms of the textbooks: RC, two capacitors, a damped ring.

use super::*;
use crate::netlist::Element;

fn netlist(nodes: usize, laws: Vec<Law>) -> Netlist {
    Netlist {
        nodes: (0..nodes).map(|n| format!("n{n}")).collect(),
        elements: laws
            .into_iter()
            .map(|law| Element {
                name: String::new(),
                law,
            })
            .collect(),
        ..Netlist::default()
    }
}

fn resistor(a: usize, b: usize, ohms: f64) -> Law {
    Law::Resistor { a, b, ohms }
}

fn capacitor(a: usize, b: usize, farads: f64, esr_ohms: f64) -> Law {
    Law::Capacitor {
        a,
        b,
        farads,
        esr_ohms,
    }
}

/// Time until a capacitor holds less than `below`, in steps that grow by `growth`.
fn time_to(t: &mut Transient, element: usize, below: f64, growth: f64) -> f64 {
    let mut h = 1e-4;
    let mut before = (0.0, t.held(element));
    for _ in 0..2_000 {
        assert!(t.step(h));
        let now = (t.seconds(), t.held(element));
        if now.1.abs() < below {
            let part = (before.1 / below).ln() / (before.1 / now.1).ln();
            return before.0 + part * (now.0 - before.0);
        }
        before = now;
        h = (growth - 1.0) * t.seconds();
    }
    f64::INFINITY
}

/// `t = R C ln(V0 / V)`: 220 kohm on 50 uF from 450 V takes 22 s to 60 V and 42 s to 10 V
/// (textbook formula; 22 s is the worked figure of the bleeder rule).
#[test]
fn one_capacitor_empties_by_the_textbook() {
    for (below, wanted) in [(60.0, 22.16), (10.0, 41.87)] {
        let circuit = netlist(2, vec![capacitor(1, 0, 50e-6, 0.0), resistor(1, 0, 220e3)]);
        let mut t = Transient::new(&circuit, &[]).expect("a circuit");
        assert!(t.charge(0, 450.0));
        let found = time_to(&mut t, 0, below, 1.08);
        assert!((found / wanted - 1.0).abs() < 3e-3, "{found} for {wanted}");
    }
}

/// Two capacitors joined by a resistance share their charge: both end at `C1 V1 / (C1 + C2)`.
#[test]
fn charge_is_kept() {
    let circuit = netlist(
        3,
        vec![
            capacitor(1, 0, 30e-6, 1.0),
            capacitor(2, 0, 10e-6, 1.0),
            resistor(1, 2, 1e3),
        ],
    );
    let mut t = Transient::new(&circuit, &[]).expect("a circuit");
    assert!(t.charge(0, 400.0));
    for _ in 0..200 {
        assert!(t.step(1e-2));
    }
    for element in [0, 1] {
        assert!(
            (t.held(element) - 300.0).abs() < 1e-3,
            "{}",
            t.held(element)
        );
    }
}

/// Side by side at different volts with nothing between: one step, and the charge is shared.
#[test]
fn a_loop_of_capacitors_settles_in_a_step() {
    let circuit = netlist(
        2,
        vec![capacitor(1, 0, 1e-6, 0.0), capacitor(1, 0, 3e-6, 0.0)],
    );
    let mut t = Transient::new(&circuit, &[]).expect("a circuit");
    assert!(t.charge(0, 100.0));
    for _ in 0..3 {
        assert!(t.step(1e-3));
    }
    assert!((t.held(0) - 25.0).abs() < 1e-6 && (t.held(1) - 25.0).abs() < 1e-6);
}

/// A charged capacitor on a choke: `v = V0 exp(-a t) (cos w t + a/w sin w t)`, `a = R/2L`,
/// `w^2 = 1/LC - a^2` (textbook series circuit).
#[test]
fn a_choke_rings_as_the_textbook_says() {
    let (henries, ohms, farads) = (5.0, 110.0, 50e-6);
    let circuit = netlist(
        2,
        vec![
            capacitor(1, 0, farads, 0.0),
            Law::Inductor {
                a: 1,
                b: 0,
                henries,
                ohms,
            },
        ],
    );
    let mut t = Transient::new(&circuit, &[]).expect("a circuit");
    assert!(t.charge(0, 100.0));
    let damping = ohms / (2.0 * henries);
    let omega = (1.0_f64 / (henries * farads) - damping * damping).sqrt();
    for _ in 0..2_000 {
        assert!(t.step(1e-4));
        let s = t.seconds();
        let wanted = 100.0
            * (-damping * s).exp()
            * ((omega * s).cos() + damping / omega * (omega * s).sin());
        assert!(
            (t.held(0) - wanted).abs() < 0.05,
            "{s}: {} for {wanted}",
            t.held(0)
        );
    }
}

/// Nothing but insulation: a day later it is all still there.
#[test]
fn without_a_path_the_charge_stays() {
    let circuit = netlist(3, vec![capacitor(1, 2, 32e-6, 5.0), resistor(2, 0, 1e5)]);
    let mut t = Transient::new(&circuit, &[]).expect("a circuit");
    assert!(t.charge(0, 380.0));
    for _ in 0..100 {
        assert!(t.step(864.0));
    }
    assert!(t.held(0) > 379.0, "{}", t.held(0));
}

#[test]
fn what_is_no_circuit_is_refused() {
    assert!(Transient::new(&netlist(1, vec![]), &[]).is_none());
    assert!(Transient::new(&netlist(2, vec![resistor(1, 7, 1.0)]), &[]).is_none());
    let mut t = Transient::new(&netlist(2, vec![capacitor(1, 0, 1e-6, 0.0)]), &[]).expect("one");
    assert!(!t.charge(3, 1.0) && !t.step(0.0) && !t.step(f64::NAN));
    assert!(t.charge(0, 5.0) && t.step(1.0));
}
