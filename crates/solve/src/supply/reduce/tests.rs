//! Whole supplies against a plain time integration.

use super::*;
use crate::netlist::{Transformer, WindingPort};
use crate::supply::brute::{self, Part as P};
use nalgebra::{DMatrix, DVector};

/// The same parts as a netlist.
pub(in crate::supply) fn netlist(nodes: usize, parts: &[P], hertz: f64) -> Netlist {
    let elements = parts
        .iter()
        .enumerate()
        .map(|(n, part)| Element {
            name: format!("E{n}"),
            law: match part.clone() {
                P::R(a, b, ohms) => Law::Resistor { a, b, ohms },
                P::C(a, b, farads) => Law::Capacitor {
                    a,
                    b,
                    farads,
                    esr_ohms: 0.0,
                },
                P::L(a, b, henries, ohms) => Law::Inductor {
                    a,
                    b,
                    henries,
                    ohms,
                },
                P::T(windings, henries) => Law::Transformer(Transformer {
                    windings: windings
                        .into_iter()
                        .map(|(a, b, turns, ohms)| WindingPort {
                            a,
                            b,
                            turns,
                            ohms,
                            leakage: 0.0,
                        })
                        .collect(),
                    henries_per_turn2: henries,
                    ohms_per_turn2: f64::INFINITY,
                }),
                P::Mains(a, b, volts, ohms) => Law::Alternating {
                    a,
                    b,
                    volts,
                    hertz,
                    ohms,
                    mains: true,
                },
                P::Valve(a, k, p) => Law::Diode {
                    a,
                    k,
                    law: DiodeLaw::valve_plate(p),
                },
                P::Junction(a, k, saturation, volts, ohms) => Law::Diode {
                    a,
                    k,
                    law: DiodeLaw {
                        forward: RectifierLaw::Junction {
                            saturation,
                            volts,
                            ohms,
                        },
                        zener: f64::INFINITY,
                        leak: 0.0,
                    },
                },
            },
        })
        .collect();
    Netlist {
        nodes: (0..nodes).map(|n| format!("n{n}")).collect(),
        elements,
        parameters: Vec::new(),
        heating: Vec::new(),
        hertz,
    }
}

/// Mean volts by a plain Newton method, dense: enough for tests of linear loads.
fn steady(netlist: &Netlist) -> Vec<f64> {
    let n = netlist.nodes.len() - 1;
    let mut x = DVector::<f64>::zeros(n);
    for round in 0..400 {
        let mut a = DMatrix::<f64>::zeros(n, n);
        let mut f = DVector::<f64>::zeros(n);
        let at = |x: &DVector<f64>, k: usize| if k == 0 { 0.0 } else { x[k - 1] };
        let mut stamp = |p: usize, q: usize, r: usize, s: usize, g: f64, i: f64| {
            for (row, u) in [(p, 1.0), (q, -1.0)] {
                if row > 0 {
                    f[row - 1] += u * i;
                    for (column, v) in [(r, 1.0), (s, -1.0)] {
                        if column > 0 {
                            a[(row - 1, column - 1)] += u * v * g;
                        }
                    }
                }
            }
        };
        for k in 1..=n {
            stamp(k, 0, k, 0, 1e-12, 1e-12 * x[k - 1]);
        }
        for e in &netlist.elements {
            match &e.law {
                Law::Resistor { a, b, ohms }
                | Law::Inductor { a, b, ohms, .. }
                | Law::Alternating { a, b, ohms, .. } => {
                    stamp(*a, *b, *a, *b, 1.0 / ohms, (at(&x, *a) - at(&x, *b)) / ohms);
                }
                Law::Transformer(t) => {
                    for w in &t.windings {
                        let i = (at(&x, w.a) - at(&x, w.b)) / w.ohms;
                        stamp(w.a, w.b, w.a, w.b, 1.0 / w.ohms, i);
                    }
                }
                Law::Rectifiers(group) => {
                    let m = group.plates.len();
                    let across: Vec<f64> = group
                        .plates
                        .iter()
                        .map(|p| at(&x, p.plate) - at(&x, p.cathode))
                        .collect();
                    let (mut i, mut g) = (vec![0.0; m], vec![0.0; m * m]);
                    assert!(
                        group.mean_currents(&across, &mut i, &mut g),
                        "{group:?} {across:?}"
                    );
                    for (d, p) in group.plates.iter().enumerate() {
                        stamp(p.plate, p.cathode, 0, 0, 0.0, i[d]);
                        for (e, q) in group.plates.iter().enumerate() {
                            stamp(p.plate, p.cathode, q.plate, q.cathode, g[d * m + e], 0.0);
                        }
                    }
                }
                _ => {}
            }
        }
        let step = a.lu().solve(&f).expect("regular");
        let size = step.amax();
        x -= step * (30.0 / size).min(1.0);
        if size < 1e-8 {
            return std::iter::once(0.0).chain(x.iter().copied()).collect();
        }
        assert!(round < 399, "did not settle: {size}");
    }
    unreachable!()
}

/// Compares mean volts of `nodes` to within `percent`, and prints the worst.
fn compare(
    name: &str,
    count: usize,
    parts: &[P],
    hertz: f64,
    cycles: usize,
    watch: &[usize],
    percent: f64,
) {
    let reduced = reduce(&netlist(count, parts, hertz), &[]);
    let volts = steady(&reduced.netlist);
    let seen = brute::run(count, parts, hertz, 1440, cycles);
    for g in &reduced.groups {
        if let Law::Rectifiers(group) = &reduced.netlist.elements[*g].law {
            println!(
                "{name}: {} plates, stores {:?}",
                group.plates.len(),
                group.stores.iter().map(|s| s.element).collect::<Vec<_>>()
            );
        }
    }
    assert!(!reduced.groups.is_empty());
    for node in watch {
        let error = 100.0 * (volts[*node] / seen.mean[*node] - 1.0);
        println!(
            "{name}: node {node} {:.3} V against {:.3} V, {error:.3} %",
            volts[*node], seen.mean[*node]
        );
        assert!(error.abs() < percent, "{name}: node {node}");
    }
}

#[test]
fn centre_tapped_valve_rectifier_with_its_transformer() {
    // 230 V, 18 ohm primary; 300-0-300 V no load, 2 x 100 ohm; 5Y3GT into 4 uF, 1k, 4 uF, 6 kohm.
    compare(
        "centre tap",
        6,
        &[
            P::Mains(1, 0, 230.0, 0.5),
            P::T(
                vec![
                    (1, 0, 230.0, 18.0),
                    (2, 0, 300.0, 100.0),
                    (0, 3, 300.0, 100.0),
                ],
                10.0 / 52900.0,
            ),
            P::Valve(2, 4, 3.1e-4),
            P::Valve(3, 4, 3.1e-4),
            P::C(4, 0, 8e-6),
            P::R(4, 5, 1000.0),
            P::C(5, 0, 8e-6),
            P::R(5, 0, 6000.0),
        ],
        50.0,
        60,
        &[4, 5],
        0.1,
    );
}

#[test]
fn a_plate_that_only_insulation_reaches_is_not_driven() {
    let half = |ohms: Option<f64>| {
        let mut parts = vec![
            P::Mains(1, 0, 230.0, 0.5),
            P::T(
                vec![(1, 0, 230.0, 18.0), (2, 0, 300.0, 100.0)],
                10.0 / 52900.0,
            ),
            P::Valve(2, 4, 3.1e-4),
            P::C(4, 0, 8e-6),
            P::R(4, 0, 6000.0),
        ];
        if let Some(ohms) = ohms {
            parts.push(P::R(2, 3, ohms));
            parts.push(P::Valve(3, 4, 3.1e-4));
        }
        let reduced = reduce(&netlist(5, &parts, 50.0), &[]);
        let Law::Rectifiers(group) = &reduced.netlist.elements[reduced.groups[0]].law else {
            panic!("a group: {reduced:?}");
        };
        let solution = crate::operating::solve(&reduced.netlist, None);
        assert!(solution.converged(), "{ohms:?}: {solution:?}");
        assert!(solution.iterations < 60, "{ohms:?}: {solution:?}");
        (group.plates.len(), solution.volts[4])
    };
    let (plates, alone) = half(None);
    assert_eq!(plates, 1);
    for ohms in [1e10, 5e12] {
        let (plates, volts) = half(Some(ohms));
        assert_eq!(plates, 1, "{ohms}");
        assert!((volts - alone).abs() < 1e-3, "{ohms}: {volts} for {alone}");
    }
    assert_eq!(half(Some(1e6)).0, 2);
}

#[test]
fn bridge_on_a_floating_winding() {
    compare(
        "bridge",
        5,
        &[
            P::Mains(1, 0, 230.0, 0.5),
            P::T(
                vec![(1, 0, 230.0, 18.0), (2, 3, 250.0, 60.0)],
                10.0 / 52900.0,
            ),
            P::Junction(2, 4, 1e-8, 0.0478, 0.05),
            P::Junction(3, 4, 1e-8, 0.0478, 0.05),
            P::Junction(0, 2, 1e-8, 0.0478, 0.05),
            P::Junction(0, 3, 1e-8, 0.0478, 0.05),
            P::C(4, 0, 10e-6),
            P::R(4, 0, 4000.0),
        ],
        50.0,
        30,
        &[4],
        0.1,
    );
}

#[test]
fn doublers() {
    let silicon = |a, k| P::Junction(a, k, 1e-8, 0.0478, 0.05);
    compare(
        "full-wave doubler",
        5,
        &[
            P::Mains(1, 0, 120.0, 0.5),
            P::T(vec![(1, 0, 120.0, 5.0), (2, 3, 120.0, 20.0)], 3.0 / 14400.0),
            silicon(2, 4),
            silicon(0, 2),
            P::C(4, 3, 20e-6),
            P::C(3, 0, 20e-6),
            P::R(4, 0, 3000.0),
        ],
        60.0,
        60,
        &[4, 3],
        0.1,
    );
    compare(
        "cascade doubler",
        5,
        &[
            P::Mains(1, 0, 120.0, 20.0),
            P::C(1, 2, 20e-6),
            silicon(0, 2),
            silicon(2, 3),
            P::C(3, 0, 20e-6),
            P::R(3, 0, 5000.0),
            P::R(4, 0, 1.0),
        ],
        60.0,
        60,
        &[3],
        0.1,
    );
}

#[test]
fn bias_supplies() {
    let silicon = |a, k| P::Junction(a, k, 1e-8, 0.0478, 0.05);
    // From one end of the high-voltage winding through 470k.
    compare(
        "bias through 470k",
        5,
        &[
            P::Mains(1, 0, 230.0, 0.5),
            P::T(
                vec![(1, 0, 230.0, 18.0), (2, 0, 300.0, 100.0)],
                10.0 / 52900.0,
            ),
            P::R(2, 3, 470e3),
            silicon(4, 3),
            P::C(4, 0, 0.2e-6),
            P::R(4, 0, 220e3),
        ],
        50.0,
        60,
        &[4],
        0.1,
    );
    // Through a capacitor from the winding's end, two diodes.
    compare(
        "bias through a capacitor",
        5,
        &[
            P::Mains(1, 0, 230.0, 0.5),
            P::T(
                vec![(1, 0, 230.0, 18.0), (2, 0, 300.0, 100.0)],
                10.0 / 52900.0,
            ),
            P::C(2, 3, 47e-9),
            silicon(3, 0),
            silicon(4, 3),
            P::C(4, 0, 1e-6),
            P::R(4, 0, 56e3),
        ],
        50.0,
        60,
        &[4],
        0.1,
    );
}

#[test]
fn hybrids_back_bias_and_choke_input() {
    let silicon = |a, k| P::Junction(a, k, 1e-8, 0.0478, 0.05);
    // High tension and a bias half-wave from the same winding.
    compare(
        "hybrid",
        7,
        &[
            P::Mains(1, 0, 230.0, 0.5),
            P::T(
                vec![
                    (1, 0, 230.0, 18.0),
                    (2, 0, 300.0, 100.0),
                    (0, 3, 300.0, 100.0),
                ],
                10.0 / 52900.0,
            ),
            P::Valve(2, 4, 3.1e-4),
            P::Valve(3, 4, 3.1e-4),
            P::C(4, 0, 8e-6),
            P::R(4, 0, 6000.0),
            P::R(2, 5, 100e3),
            silicon(6, 5),
            P::C(6, 0, 1e-6),
            P::R(6, 0, 47e3),
        ],
        50.0,
        40,
        &[4, 6],
        0.1,
    );
    // A resistor in the centre-tap lead, bypassed.
    compare(
        "back bias",
        7,
        &[
            P::Mains(1, 0, 230.0, 0.5),
            P::T(
                vec![
                    (1, 0, 230.0, 18.0),
                    (2, 5, 300.0, 100.0),
                    (5, 3, 300.0, 100.0),
                ],
                10.0 / 52900.0,
            ),
            P::Valve(2, 4, 3.1e-4),
            P::Valve(3, 4, 3.1e-4),
            P::C(4, 0, 8e-6),
            P::R(4, 0, 6000.0),
            P::R(5, 0, 250.0),
            P::C(5, 0, 20e-6),
            P::R(6, 0, 1.0),
        ],
        50.0,
        40,
        &[4, 5],
        0.1,
    );
    compare(
        "choke input",
        6,
        &[
            P::Mains(1, 0, 230.0, 0.5),
            P::T(
                vec![
                    (1, 0, 230.0, 10.0),
                    (2, 0, 400.0, 60.0),
                    (0, 3, 400.0, 60.0),
                ],
                10.0 / 52900.0,
            ),
            P::Valve(2, 4, 1.4e-3),
            P::Valve(3, 4, 1.4e-3),
            P::L(4, 5, 10.0, 100.0),
            P::C(5, 0, 8e-6),
            P::R(5, 0, 4000.0),
        ],
        50.0,
        40,
        &[4, 5],
        0.1,
    );
}
