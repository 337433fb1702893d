//! Operating points against closed forms and against a second solver.

mod support;

use solve::netlist::{Transformer, WindingPort};
use solve::operating::{self, Method, Solver, Status, solve_variants};
use solve::{Element, Law, Netlist};
use support::{amplifiers, dense};

fn netlist(nodes: usize, laws: Vec<Law>) -> Netlist {
    Netlist {
        nodes: (0..nodes).map(|node| format!("n{node}")).collect(),
        elements: laws
            .into_iter()
            .enumerate()
            .map(|(at, law)| Element {
                name: format!("E{at}"),
                law,
            })
            .collect(),
        ..Netlist::default()
    }
}

fn resistor(a: usize, b: usize, ohms: f64) -> Law {
    Law::Resistor { a, b, ohms }
}

fn source(plus: usize, minus: usize, volts: f64, ohms: f64) -> Law {
    Law::Source {
        plus,
        minus,
        volts,
        ohms,
    }
}

/// Ohm's law: 300 V behind 1 ohm on 100 k and 200 k is 300 * 200000 / 300001 at the tap.
#[test]
fn a_divider_divides() {
    let point = operating::solve(
        &netlist(
            3,
            vec![
                source(1, 0, 300.0, 1.0),
                resistor(1, 2, 1e5),
                resistor(2, 0, 2e5),
            ],
        ),
        None,
    );
    assert_eq!(point.status, Status::Converged);
    // The floor conductance of 1e-13 S takes 1e-8 of it.
    let expected = 300.0 * 2e5 / 300_001.0;
    assert!((point.volts[2] - expected).abs() < 3e-6, "{point:?}");
    assert_eq!(point.iterations, 1, "a linear circuit takes one step");
}

/// What a pair of nodes sees: a divider's halves side by side at its tap (Thevenin), both in series from end to end with the
/// source shorted; and in a whole amplifier, valves and all, what the adjoint says.
#[test]
fn ohms_seen_between_nodes() {
    let laws = vec![
        source(1, 0, 300.0, 1.0),
        resistor(1, 2, 1e5),
        resistor(2, 0, 2e5),
    ];
    let divider = netlist(3, laws);
    let mut solver = Solver::new(&divider).unwrap();
    assert!(solver.solve(&divider, None).converged() && solver.linearise());
    let seen = solver.seen(&[(2, 0), (2, 1), (1, 0), (2, 2), (9, 0)]);
    let (above, below) = (100_001.0, 200_000.0);
    let expected = [
        above * below / (above + below),
        1e5 * 200_001.0 / 300_001.0,
        300_000.0 / 300_001.0,
        0.0,
        0.0,
    ];
    for (seen, expected) in seen.iter().zip(expected) {
        assert!(
            (seen - expected).abs() <= 1e-6 * expected,
            "{seen} {expected}"
        );
    }
    let both = [
        ("single-ended", amplifiers::single_ended()),
        ("push-pull", amplifiers::push_pull()),
    ];
    for (name, amplifier) in both {
        let mut solver = Solver::new(&amplifier).unwrap();
        assert!(solver.solve(&amplifier, None).converged() && solver.linearise());
        let nodes = amplifier.nodes.len();
        let pairs: Vec<(usize, usize)> = (1..nodes).map(|n| (n, n * 7 % nodes)).collect();
        for (pair, seen) in pairs.iter().zip(solver.seen(&pairs)) {
            let moves = solver.adjoint(pair.0, pair.1);
            let expected = moves[pair.0] - moves[pair.1];
            assert!(
                (seen - expected).abs() <= 1e-9 * expected.abs().max(1.0),
                "{name} {pair:?}: {seen} {expected}"
            );
        }
    }
}

/// A ladder of ten 1 k / 1 k rungs: the volts are Fibonacci numbers, counted from its open end.
#[test]
fn a_ladder_counts_in_fibonacci_numbers() {
    let rungs = 10;
    let mut laws = vec![source(1, 0, 100.0, 1e-3)];
    for rung in 1..=rungs {
        laws.push(resistor(rung, rung + 1, 1e3));
        laws.push(resistor(rung + 1, 0, 1e3));
    }
    let point = operating::solve(&netlist(rungs + 2, laws), None);
    assert!(point.converged());
    let last = point.volts[rungs + 1];
    let (mut current, mut volts) = (1.0, 1.0);
    for node in (1..=rungs + 1).rev() {
        assert!((point.volts[node] / last / volts - 1.0).abs() < 1e-8);
        // Volts of the next node: this one's and the drop of all current behind it.
        volts += current;
        current += volts;
    }
}

/// A balanced bridge has nothing across its middle, whatever is connected there.
#[test]
fn a_balanced_bridge_is_at_rest() {
    for across in [0.05, 1e3, 1e9] {
        let point = operating::solve(
            &netlist(
                4,
                vec![
                    source(1, 0, 250.0, 10.0),
                    resistor(1, 2, 1e3),
                    resistor(2, 0, 2e3),
                    resistor(1, 3, 1e4),
                    resistor(3, 0, 2e4),
                    resistor(2, 3, across),
                ],
            ),
            None,
        );
        assert!(point.converged());
        // The floor conductances load one side more: 1.7e-11 A in 6.7 k are 1.1e-7 V less.
        assert!(point.across(2, 3).abs() < 1.2e-7, "{across}: {point:?}");
    }
}

/// Capacitors are open; chokes and windings are their resistance; an alternating source is its
/// own.
#[test]
fn reactances_are_what_they_are_at_direct_current() {
    let point = operating::solve(
        &netlist(
            5,
            vec![
                source(1, 0, 10.0, 1.0),
                Law::Inductor {
                    a: 1,
                    b: 2,
                    henries: 10.0,
                    ohms: 99.0,
                },
                Law::Transformer(Transformer {
                    windings: vec![WindingPort {
                        a: 2,
                        b: 3,
                        turns: 1.0,
                        ohms: 300.0,
                        leakage: 0.1,
                    }],
                    henries_per_turn2: 1.0,
                    ohms_per_turn2: f64::INFINITY,
                }),
                Law::Alternating {
                    a: 3,
                    b: 0,
                    volts: 230.0,
                    hertz: 50.0,
                    ohms: 600.0,
                    mains: true,
                },
                Law::Capacitor {
                    a: 3,
                    b: 4,
                    farads: 1e-6,
                    esr_ohms: 1.0,
                },
                resistor(4, 0, 1e6),
            ],
        ),
        None,
    );
    assert!(point.converged());
    for (node, expected) in [(1, 9.99), (2, 9.0), (3, 6.0), (4, 0.0)] {
        assert!((point.volts[node] - expected).abs() < 1e-8, "{point:?}");
    }
}

/// An ideal amplifier stands at its gain times the input and gives whatever current that takes.
#[test]
fn an_amplifier_follows_its_input() {
    let amplifier = Law::Amplifier {
        input: 1,
        output: 2,
        gain: -2.5,
    };
    let point = operating::solve(
        &netlist(
            3,
            vec![source(1, 0, 4.0, 1e3), amplifier, resistor(2, 0, 100.0)],
        ),
        None,
    );
    assert!(point.converged());
    assert!((point.volts[2] + 10.0).abs() < 1e-6);
    assert!((point.amplifier_amps[0] - 0.1).abs() < 1e-8);
    assert_eq!(point.dense_factorisations, 0);
}

/// A triode as a cathode follower stands above its grid by less than its cut-off volts; a
/// common-cathode stage stands between nothing and the supply, and its cathode carries the
/// current of its plate.
#[test]
fn stages_stand_within_their_bounds() {
    let law = amplifiers::high_mu_triode();
    let follower = operating::solve(
        &netlist(
            4,
            vec![
                source(1, 0, 300.0, 10.0),
                source(2, 0, 100.0, 1e5),
                Law::Triode {
                    plate: 1,
                    grid: 2,
                    cathode: 3,
                    law,
                },
                resistor(3, 0, 1e5),
            ],
        ),
        None,
    );
    assert!(follower.converged());
    let above = follower.volts[3] - follower.volts[2];
    assert!(above > 0.0 && above < 300.0 / law.mu, "{above}");
    let stage = operating::solve(
        &netlist(
            5,
            vec![
                source(1, 0, 300.0, 10.0),
                resistor(1, 2, 1e5),
                resistor(3, 0, 1e6),
                Law::Triode {
                    plate: 2,
                    grid: 3,
                    cathode: 4,
                    law,
                },
                resistor(4, 0, 1.5e3),
            ],
        ),
        None,
    );
    assert!(stage.converged());
    let [_, supply, plate, grid, cathode] = stage.volts[..] else {
        panic!("five nodes");
    };
    assert!(plate > cathode && plate < supply);
    let plate_amps = (supply - plate) / 1e5;
    let cathode_amps = cathode / 1.5e3;
    // What the grid takes out of its 1 M leak is the difference, but for the 1.5e-11 A that
    // the plate's floor conductance takes.
    assert!((cathode_amps - plate_amps + grid / 1e6).abs() < 2e-11);
}

/// Both whole amplifiers against the dense second solver, which is started a few volts off.
#[test]
fn whole_amplifiers_agree_with_the_second_solver() {
    for amplifier in [amplifiers::single_ended(), amplifiers::push_pull()] {
        let point = operating::solve(&amplifier, None);
        assert_eq!(point.status, Status::Converged);
        assert_eq!(point.method, Method::Newton);
        let mut start: Vec<f64> = point.volts[1..].to_vec();
        for (at, volts) in start.iter_mut().enumerate() {
            *volts += 0.05 * ((at * 7 % 5) as f64 - 2.0);
        }
        let second = dense::newton(&amplifier, &[], start).unwrap();
        for ((name, volts), second) in amplifier
            .nodes
            .iter()
            .zip(&point.volts)
            .skip(1)
            .zip(&second)
        {
            assert!((volts - second).abs() < 1e-6, "{name}: {volts} {second}");
        }
    }
}

/// Work for the whole amplifiers, so that slow drift shows: Newton steps cold, and warm after one
/// resistor has moved by a tenth.
#[test]
fn whole_amplifiers_take_few_steps() {
    for (mut amplifier, cold_most, warm_most) in [
        (amplifiers::single_ended(), 5, 4),
        (amplifiers::push_pull(), 6, 4),
    ] {
        let mut solver = Solver::new(&amplifier).unwrap();
        let cold = solver.solve(&amplifier, None);
        assert!(cold.iterations <= cold_most, "{}", cold.iterations);
        for at in 0..amplifier.elements.len() {
            let before = amplifier.elements[at].clone();
            let Law::Resistor { ohms, .. } = &mut amplifier.elements[at].law else {
                continue;
            };
            *ohms *= 1.1;
            let warm = solver.solve(&amplifier, Some(&cold.volts));
            assert!(warm.converged());
            assert!(
                warm.iterations <= warm_most,
                "{}: {}",
                before.name,
                warm.iterations
            );
            amplifier.elements[at] = before;
        }
    }
}

/// What is no circuit gets a reason, and the element's number.
#[test]
fn impossible_numbers_are_named() {
    for (law, what) in [
        (resistor(1, 0, 0.0), "no ohms"),
        (resistor(1, 0, -5.0), "negative ohms"),
        (resistor(1, 0, f64::NAN), "no number"),
        (resistor(1, 7, 1e3), "no such node"),
        (source(1, 0, f64::INFINITY, 1.0), "endless volts"),
    ] {
        let point = operating::solve(&netlist(2, vec![resistor(1, 0, 1e3), law]), None);
        assert_eq!(point.status, Status::BadElement { element: 1 }, "{what}");
        assert_eq!(point.volts, [0.0, 0.0]);
    }
    let empty = operating::solve(&Netlist::default(), None);
    assert!(empty.converged());
}

/// A lamp on 100 V through 100 k strikes and holds about its holding volts; on 70 V it stays
/// dark, because it starts dark.
#[test]
fn a_glow_lamp_strikes_at_its_striking_volts() {
    use solve::device::NeonLaw;
    for (emf, lit) in [(100.0, true), (70.0, false)] {
        let lamp = Law::Neon {
            a: 1,
            b: 0,
            law: NeonLaw::SMALL,
        };
        let point = operating::solve(&netlist(2, vec![source(1, 0, emf, 1e5), lamp]), None);
        assert!(point.converged());
        assert_eq!(point.lit == [1], lit);
        if lit {
            let volts = point.volts[1];
            assert!((volts - 55.0).abs() < 4.0, "{volts}");
        } else {
            assert!((point.volts[1] - 70.0).abs() < 1e-3);
        }
    }
}

/// Every resistor of both amplifiers short, open, halved and doubled, four side by side: what each is by itself, the same bits
/// whatever stands beside it, and the accuracy that one alone is held to.
#[test]
fn faults_side_by_side_are_each_what_they_are_alone() {
    for netlist in [amplifiers::single_ended(), amplifiers::push_pull()] {
        let point = operating::solve(&netlist, None);
        let mut faults = Vec::new();
        for (at, element) in netlist.elements.iter().enumerate() {
            if let Law::Resistor { a, b, ohms } = element.law {
                for factor in [1e-6, 1e6, 0.5, 2.0] {
                    let ohms = factor * ohms;
                    faults.push(vec![(at, Law::Resistor { a, b, ohms })]);
                }
            }
        }
        let together = solve_variants(&netlist, &point, &faults);
        faults.rotate_left(3);
        let mut turned = solve_variants(&netlist, &point, &faults);
        turned.rotate_right(3);
        faults.rotate_right(3);
        assert!(together == turned);
        let mut solver = Solver::new(&netlist).unwrap();
        for (fault, seen) in faults.iter().zip(together) {
            let mut one = netlist.clone();
            for (at, law) in fault {
                one.elements[*at].law = law.clone();
            }
            let alone = solver.solve(&one, Some(&point.volts));
            assert!(alone.converged());
            for (seen, alone) in seen.unwrap().iter().zip(&alone.volts) {
                assert!(
                    (seen - alone).abs() < 2e-6 + 2e-9 * alone.abs(),
                    "{seen} {alone}"
                );
            }
        }
    }
}

/// What lanes have no place for is solved by itself, and what is no circuit has no answer; neighbours do not mind.
#[test]
fn variants_of_another_structure_are_solved_too() {
    let netlist = amplifiers::single_ended();
    let point = operating::solve(&netlist, None);
    let at = netlist
        .elements
        .iter()
        .position(|e| matches!(e.law, Law::Resistor { .. }));
    let at = at.unwrap();
    let Law::Resistor { a, b, ohms } = netlist.elements[at].law else {
        unreachable!("found as one");
    };
    let open = Law::Capacitor {
        a,
        b,
        farads: 1e-9,
        esr_ohms: 0.0,
    };
    let law = |ohms| vec![(at, Law::Resistor { a, b, ohms })];
    let found = solve_variants(
        &netlist,
        &point,
        &[
            law(ohms),
            vec![(at, open.clone())],
            law(-1.0),
            law(1e12),
            vec![],
        ],
    );
    assert!(found[2].is_none());
    let volts: Vec<&Vec<f64>> = found.iter().flatten().collect();
    let far = |a: &[f64], b: &[f64]| {
        a.iter()
            .zip(b)
            .fold(0.0, |most, (a, b)| f64::max(most, (a - b).abs()))
    };
    assert!(far(volts[0], &point.volts) < 2e-6 && far(volts[3], &point.volts) < 2e-6);
    let mut one = netlist.clone();
    one.elements[at].law = open;
    let alone = operating::solve(&one, Some(&point.volts));
    assert!(alone.converged() && far(volts[1], &alone.volts) < 2e-6);
}

/// One operating point can be stopped at any Newton step, whichever way it is being looked for.
#[test]
fn an_operating_point_can_be_stopped() {
    let netlist = amplifiers::push_pull();
    let mut solver = Solver::new(&netlist).unwrap();
    let plain = solver.solve(&netlist, None);
    let mut asked = 0;
    let whole = solver.solve_while(&netlist, None, &mut || {
        asked += 1;
        true
    });
    assert!(whole.as_ref() == Some(&plain) && asked >= plain.iterations);
    for most in 1..=asked {
        let mut left = most;
        let stopped = solver.solve_while(&netlist, None, &mut || {
            left -= 1;
            left > 0
        });
        assert!(stopped.is_none() && left == 0);
    }
    // and what was stopped is solved when it is asked for again
    assert!(solver.solve(&netlist, None) == plain);
}
