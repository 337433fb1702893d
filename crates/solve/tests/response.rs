//! The small-signal response against closed forms, and against the operating point worked out anew.

#![allow(clippy::unwrap_used, reason = "the circuits are the test's own")]

use std::f64::consts::TAU;

use solve::device::triode_law;
use solve::netlist::{Transformer, WindingPort};
use solve::response::{ResponseError, SmallSignal};
use solve::{Element, Law, Netlist, operating};

mod support;

use support::netlist;

fn element(name: &str, law: Law) -> Element {
    Element {
        name: name.to_owned(),
        law,
    }
}

fn resistor(a: usize, b: usize, ohms: f64) -> Element {
    element("R", Law::Resistor { a, b, ohms })
}

fn capacitor(a: usize, b: usize, farads: f64) -> Element {
    let esr_ohms = 0.0;
    element(
        "C",
        Law::Capacitor {
            a,
            b,
            farads,
            esr_ohms,
        },
    )
}

fn generator(a: usize, ohms: f64) -> Element {
    let (volts, hertz) = (1.0, 1000.0);
    element(
        "G1",
        Law::Alternating {
            a,
            b: 0,
            volts,
            hertz,
            ohms,
            mains: false,
        },
    )
}

fn supply(plus: usize, volts: f64) -> Element {
    let ohms = 1e-4;
    element(
        "PS1",
        Law::Source {
            plus,
            minus: 0,
            volts,
            ohms,
        },
    )
}

fn small(netlist: &Netlist) -> SmallSignal {
    let point = operating::solve(netlist, None);
    assert!(point.converged());
    SmallSignal::new(netlist, &point).unwrap()
}

/// Two resistors behind a source of 600 ohms, and what is seen from the tap.
#[test]
fn a_divider_divides() {
    let circuit = small(&netlist(
        3,
        vec![
            generator(1, 600.0),
            resistor(1, 2, 9_400.0),
            resistor(2, 0, 10e3),
        ],
    ));
    for hertz in [1.0, 1e3, 1e6] {
        let at = circuit.at(hertz).unwrap();
        let volts = at.per_volt(0);
        assert!((volts[2].re - 0.5).abs() < 1e-8 && volts[2].im.abs() < 1e-12);
        assert!((at.impedance(2, 0).re / 5e3 - 1.0).abs() < 1e-8);
        assert!(at.per_volt(1).iter().all(|v| v.abs() == 0.0));
        assert!(at.per_volt(99).iter().all(|v| v.abs() == 0.0));
    }
}

/// `1 / (1 + j w R C)`, two decades either side of the corner.
#[test]
fn an_rc_corner_is_the_closed_form() {
    let (ohms, farads) = (68e3, 100.2e-12);
    let circuit = small(&netlist(
        3,
        vec![
            generator(1, 1e-3),
            resistor(1, 2, ohms),
            capacitor(2, 0, farads),
        ],
    ));
    let corner = 1.0 / (TAU * ohms * farads);
    for hertz in [0.01, 0.1, 0.5, 1.0, 2.0, 10.0, 100.0].map(|f| f * corner) {
        let out = circuit.at(hertz).unwrap().per_volt(0)[2];
        let ratio = hertz / corner;
        let below = 1.0 + ratio * ratio;
        assert!((out.re - 1.0 / below).abs() < 2e-7, "{hertz} {out:?}");
        assert!((out.im + ratio / below).abs() < 2e-7, "{hertz} {out:?}");
    }
}

/// A parallel tuned circuit: at resonance only its resistance is left.
#[test]
fn a_coil_and_a_capacitor_resonate() {
    let (henries, farads) = (1.0, 1e-6);
    let coil = Law::Inductor {
        a: 2,
        b: 0,
        henries,
        ohms: 10.0,
    };
    let circuit = small(&netlist(
        3,
        vec![
            generator(1, 1e5),
            resistor(1, 2, 1.0),
            element("L", coil),
            capacitor(2, 0, farads),
        ],
    ));
    // 1/Z = jwC + 1/(R + jwL); real where w^2 = 1/(LC) - (R/L)^2, and there it is L/(RC).
    let omega = (1.0 / (henries * farads) - 100.0_f64).sqrt();
    let z = circuit.at(omega / TAU).unwrap().impedance(2, 0);
    let alone = henries / (10.0 * farads);
    let expected = 1.0 / (1.0 / alone + 1.0 / 100_001.0);
    assert!((z.re / expected - 1.0).abs() < 1e-7 && z.im.abs() < 1e-3);
}

/// An ideal transformer shows its load times the square of the turns.
#[test]
fn a_transformer_reflects_its_load() {
    let winding = |a, turns| WindingPort {
        a,
        b: 0,
        turns,
        ohms: 1e-3,
        leakage: 0.0,
    };
    let transformer = Law::Transformer(Transformer {
        windings: vec![winding(1, 20.0), winding(2, 1.0)],
        henries_per_turn2: 1e9,
        ohms_per_turn2: f64::INFINITY,
    });
    let circuit = small(&netlist(
        3,
        vec![
            generator(1, 6400.0),
            element("T1", transformer),
            resistor(2, 0, 16.0),
        ],
    ));
    let at = circuit.at(1e3).unwrap();
    let volts = at.per_volt(0);
    // 6400 ohms behind 6400: half at the primary, a twentieth of that at the load.
    assert!((volts[1].re - 0.5).abs() < 1e-4, "{volts:?}");
    assert!((volts[2].re - 0.025).abs() < 1e-5, "{volts:?}");
    assert!((at.impedance(1, 0).re / 3200.0 - 1.0).abs() < 1e-4);
}

/// Nodes: 1 grid, 2 plate, 3 cathode, 4 supply.
fn stage(grid_volts: f64) -> Netlist {
    let law = triode_law("12AX7", None).unwrap();
    let triode = Law::Triode {
        plate: 2,
        grid: 5,
        cathode: 3,
        law,
    };
    netlist(
        6,
        vec![
            generator(1, 1e-3),
            element("V1a", triode),
            resistor(2, 4, 100e3),
            resistor(3, 0, 1500.0),
            supply(4, 300.0),
            // The grid's steady volts, in series with the generator.
            element(
                "PS2",
                Law::Source {
                    plus: 5,
                    minus: 1,
                    volts: grid_volts,
                    ohms: 1e-3,
                },
            ),
        ],
    )
}

/// mu RL / (rp + RL), and with the cathode resistor open mu RL / (rp + RL + (mu + 1) Rk)
/// (F.E. Terman, Radio Engineers' Handbook, 1943, from memory, not seen), at the slopes
/// that the valve has at this very point.
#[test]
fn a_common_cathode_stage_has_the_textbook_gain() {
    let open = stage(0.0);
    let point = operating::solve(&open, None);
    let law = triode_law("12AX7", None).unwrap();
    let at = law.currents(point.across(2, 3), point.across(5, 3));
    let rp = 1.0 / at.plate_by_plate;
    let mu = at.plate_by_grid * rp;

    let gain = small(&open).at(1e3).unwrap().per_volt(0)[2];
    let expected = -mu * 100e3 / (rp + 100e3 + (mu + 1.0) * 1500.0);
    // Grid current is 1e-8 of the plate's here.
    assert!(
        (gain.re / expected - 1.0).abs() < 1e-5,
        "{gain:?} {expected}"
    );

    let mut bypassed = open;
    bypassed.elements.push(capacitor(3, 0, 1.0));
    let response = small(&bypassed).at(1e3).unwrap().per_volt(0)[2].re;
    let expected = -mu * 100e3 / (rp + 100e3);
    assert!(
        (response / expected - 1.0).abs() < 1e-5,
        "{response} {expected}"
    );
}

/// Far below every corner the response is the slope of the operating point.
#[test]
fn a_very_low_frequency_is_the_slope_of_the_operating_point() {
    let mut circuit = stage(0.0);
    circuit.elements.push(capacitor(3, 0, 25e-6));
    let phasor = small(&circuit).at(1e-9).unwrap().per_volt(0)[2];
    let nudge = 1e-4;
    let moved = |by: f64| operating::solve(&stage(by), None).volts[2];
    let slope = (moved(nudge) - moved(-nudge)) / (2.0 * nudge);
    assert!((phasor.re / slope - 1.0).abs() < 1e-6, "{phasor:?} {slope}");
    assert!(phasor.im.abs() < 1e-5);
}

#[test]
fn what_is_no_question_gets_no_answer() {
    let circuit = netlist(2, vec![generator(1, 1.0)]);
    let point = operating::solve(&circuit, None);
    let small = SmallSignal::new(&circuit, &point).unwrap();
    for hertz in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        assert!(matches!(
            small.at(hertz),
            Err(ResponseError::Frequency { .. })
        ));
    }
    assert!(matches!(
        SmallSignal::new(&netlist(3, vec![]), &point),
        Err(ResponseError::OtherNetlist { has: 2, wants: 3 })
    ));
    assert!(matches!(
        SmallSignal::new(&netlist(2, vec![resistor(1, 7, 1.0)]), &point),
        Err(ResponseError::Bad(_))
    ));
}

/// Tone networks against closed forms by computer algebra (`reference/tone.py`).
#[test]
fn tone_networks_are_their_closed_forms() {
    #[derive(serde::Deserialize)]
    struct Part {
        kind: String,
        a: usize,
        b: usize,
        value: f64,
    }
    #[derive(serde::Deserialize)]
    struct Network {
        name: String,
        out: usize,
        elements: Vec<Part>,
        db: Vec<(f64, f64)>,
    }
    #[derive(serde::Deserialize)]
    struct Networks {
        network: Vec<Network>,
    }
    let read: Networks = toml::from_str(include_str!("data/tone_networks.toml")).unwrap();
    assert_eq!(read.network.len(), 13);
    for network in &read.network {
        // The first element is the source's own resistance, from the node that it drives.
        let (source, parts) = network.elements.split_first().unwrap();
        assert_eq!((source.kind.as_str(), source.a, source.b), ("R", 1, 2));
        let shift = |n: usize| n.saturating_sub(1);
        let mut elements = vec![generator(1, source.value)];
        elements.extend(parts.iter().map(|p| {
            let (a, b) = (shift(p.a), shift(p.b));
            match p.kind.as_str() {
                "R" => resistor(a, b, p.value),
                _ => capacitor(a, b, p.value),
            }
        }));
        let nodes = 1 + parts.iter().map(|p| shift(p.a.max(p.b))).max().unwrap();
        let circuit = small(&netlist(nodes, elements));
        for (hertz, want) in &network.db {
            let got = 20.0
                * circuit.at(*hertz).unwrap().per_volt(0)[shift(network.out)]
                    .abs()
                    .log10();
            assert!(
                (got - want).abs() < 1e-6,
                "{} at {hertz} Hz: {got} for {want}",
                network.name
            );
        }
    }
}

/// Side by side or alone, in whatever lane: the same bits. Whole amplifiers and random circuits. None of them is known to want
/// the row exchange in which a batch is done one frequency at a time.
#[test]
fn frequencies_side_by_side_are_those_one_at_a_time() {
    let hertz: Vec<f64> = (0..23).map(|k| 1.0 * 1.8_f64.powi(k)).collect();
    let mut circuits = vec![
        support::amplifiers::single_ended(),
        support::amplifiers::push_pull(),
    ];
    circuits.extend((0..40).map(support::random::any_circuit));
    let mut compared = 0;
    for netlist in &circuits {
        let point = operating::solve(netlist, None);
        let Ok(small) = SmallSignal::new(netlist, &point) else {
            continue;
        };
        for source in (0..netlist.elements.len()).chain([usize::MAX]) {
            let impedances = small.input_impedance_over(source, &hertz);
            let Ok(impedances) = impedances else {
                assert!(matches!(impedances, Err(ResponseError::NoSource { .. })));
                assert!(
                    small
                        .per_volt_over(source, &hertz)
                        .unwrap()
                        .iter()
                        .all(|v| { v.iter().all(|v| v.abs() == 0.0) })
                );
                continue;
            };
            for from in 0..3 {
                let swept = small.per_volt_over(source, &hertz[from..]).unwrap();
                assert_eq!(swept.iter().len(), hertz.len() - from);
                for (at, &hertz) in hertz[from..].iter().enumerate() {
                    let alone = small.at(hertz).unwrap().per_volt(source);
                    assert_eq!(swept.at(at), alone, "{hertz} Hz");
                    let alone = small.input_impedance(source, hertz).unwrap();
                    assert_eq!(impedances[from + at], alone, "{hertz} Hz");
                    compared += 1;
                }
                assert!(swept.at(hertz.len()).is_empty());
            }
        }
    }
    assert!(compared > 2_000, "{compared}");
    let small = small(&netlist(2, vec![generator(1, 1.0)]));
    assert!(matches!(
        small.per_volt_over(0, &[10.0, 0.0]),
        Err(ResponseError::Frequency { hertz: 0.0 })
    ));
    assert!(small.per_volt_over(0, &[]).unwrap().iter().next().is_none());
}
