//! Whole circuits on the mains: sheets' rows, limiter lamp, heaters, sweeps, damage.

use super::*;
use crate::device::DiodeLaw;
use crate::netlist::{Element, Heating, Transformer, WindingPort};
use crate::supply::brute::{self, Part as P};
use crate::supply::reduce::tests::netlist;
use proptest::prelude::*;

fn element(name: &str, law: Law) -> Element {
    Element {
        name: name.to_owned(),
        law,
    }
}

/// A steady current out of `from`, as a source of huge resistance.
fn draws(from: NodeIndex, amps: f64) -> Element {
    element(
        "load",
        Law::Source {
            plus: 0,
            minus: from,
            volts: amps * 1e9,
            ohms: 1e9,
        },
    )
}

/// Every row of a rectifier's sheet that states direct volts at a current: within 5 % (the source
/// stands beside each row in the valve data). Row and figure are printed.
#[test]
fn sheets_of_rectifiers() {
    let library = wiring::sheet::Library::built_in();
    let (mut count, mut worst) = (0, 0.0_f64);
    for sheet in library.types() {
        let law = crate::device::law_for(sheet, None).and_then(|l| l.rectifier());
        for row in &sheet.supply_rows {
            let forward = law.expect("a rectifier has a law");
            let ohms = row.source_ohms.unwrap_or(1.0);
            let law = DiodeLaw {
                forward,
                zener: f64::INFINITY,
                leak: 0.0,
            };
            let mut elements = vec![
                element(
                    "mains",
                    Law::Alternating {
                        a: 1,
                        b: 0,
                        volts: 100.0,
                        hertz: row.hertz,
                        ohms: 1e-6,
                        mains: true,
                    },
                ),
                element(
                    "T1",
                    Law::Transformer(Transformer {
                        windings: [
                            (1, 0, 100.0, 1e-6),
                            (2, 0, row.ac_volts, ohms),
                            (0, 3, row.ac_volts, ohms),
                        ]
                        .into_iter()
                        .map(|(a, b, turns, ohms)| WindingPort {
                            a,
                            b,
                            turns,
                            ohms,
                            leakage: 0.0,
                        })
                        .collect(),
                        henries_per_turn2: f64::INFINITY,
                        ohms_per_turn2: f64::INFINITY,
                    }),
                ),
                element("V1a", Law::Diode { a: 2, k: 4, law }),
                element("V1b", Law::Diode { a: 3, k: 4, law }),
            ];
            let out = if let Some(farads) = row.reservoir_farads {
                elements.push(element(
                    "C1",
                    Law::Capacitor {
                        a: 4,
                        b: 0,
                        farads,
                        esr_ohms: 0.0,
                    },
                ));
                4
            } else {
                elements.push(element(
                    "L1",
                    Law::Inductor {
                        a: 4,
                        b: 5,
                        henries: row.choke_henries.expect("a reservoir or a choke"),
                        ohms: 1e-3,
                    },
                ));
                elements.push(element(
                    "C1",
                    Law::Capacitor {
                        a: 5,
                        b: 0,
                        farads: 40e-6,
                        esr_ohms: 0.0,
                    },
                ));
                5
            };
            elements.push(draws(out, row.output_amps));
            let net = Netlist {
                nodes: (0..6).map(|n| format!("n{n}")).collect(),
                elements,
                hertz: row.hertz,
                ..Netlist::default()
            };
            let point = operating_point(&net, None);
            assert!(
                point.solved(),
                "{} {row:?} {:?}",
                sheet.name,
                point.solution.status
            );
            let error = point.dc(out) / row.output_volts - 1.0;
            println!(
                "{} {:.0} V, {:.1} mA: {:.1} V against {:.0} V, {:+.1} %",
                sheet.name,
                row.ac_volts,
                1e3 * row.output_amps,
                point.dc(out),
                row.output_volts,
                100.0 * error
            );
            count += 1;
            worst = worst.max(error.abs());
            assert!(error.abs() < 0.05, "{} {row:?}: {error}", sheet.name);
        }
    }
    assert!(count >= 15, "{count} rows");
    println!("{count} rows, worst {:.1} %", 100.0 * worst);
}

/// A limiter lamp with a plain load against a bisection written here.
#[test]
fn a_limiter_with_a_resistor() {
    let lamp = FilamentLaw::rated(230.0, 60.0 / 230.0);
    for ohms in [1.0, 50.0, 300.0, 1000.0, 20e3] {
        let net = Netlist {
            nodes: ["ground", "live", "after"].map(str::to_owned).to_vec(),
            elements: vec![
                element(
                    "mains",
                    Law::Alternating {
                        a: 1,
                        b: 0,
                        volts: 230.0,
                        hertz: 50.0,
                        ohms: 0.5,
                        mains: true,
                    },
                ),
                element(
                    "limiter",
                    Law::Filament {
                        a: 1,
                        b: 2,
                        law: lamp,
                    },
                ),
                element("R1", Law::Resistor { a: 2, b: 0, ohms }),
            ],
            hertz: 50.0,
            ..Netlist::default()
        };
        let point = operating_point(&net, None);
        assert!(point.solved());
        let (mut low, mut high) = (0.0, 230.0);
        for _ in 0..200 {
            let v = 0.5 * (low + high);
            // Amperes that the lamp passes at v, and what the rest leaves for it.
            let amps = v / lamp.ohms(v);
            if amps * (ohms + 0.5) + v > 230.0 {
                high = v
            } else {
                low = v
            }
        }
        assert!(
            (point.lamps[0].volts_rms - low).abs() < 1e-6 * low,
            "{ohms}: {} {low}",
            point.lamps[0].volts_rms
        );
        assert!((point.ac_volts(2, 0) - point.amps_rms[2] * ohms).abs() < 1e-6);
        assert!((point.mains_amps_rms - low / lamp.ohms(low)).abs() < 1e-8);
    }
}

/// An amplifier's supply: mains, fuse, lamp or wire, transformer with high tension and heater,
/// valve rectifier, two filter sections, a load.
fn supply(mains: f64, lamp: Option<f64>, load: f64) -> Netlist {
    let limiter = match lamp {
        Some(watts) => Law::Filament {
            a: 1,
            b: 2,
            law: FilamentLaw::rated(230.0, watts / 230.0),
        },
        None => Law::Resistor {
            a: 1,
            b: 2,
            ohms: 0.01,
        },
    };
    let plate = |a| Law::Diode {
        a,
        k: 6,
        law: DiodeLaw::valve_plate(3.1e-4),
    };
    let winding = |a, b, turns, ohms| WindingPort {
        a,
        b,
        turns,
        ohms,
        leakage: 0.0,
    };
    Netlist {
        nodes: (0..9).map(|n| format!("n{n}")).collect(),
        elements: vec![
            element(
                "mains",
                Law::Alternating {
                    a: 1,
                    b: 0,
                    volts: mains,
                    hertz: 50.0,
                    ohms: 0.5,
                    mains: true,
                },
            ),
            element("limiter", limiter),
            element(
                "T1",
                Law::Transformer(Transformer {
                    windings: vec![
                        winding(2, 0, 230.0, 18.0),
                        winding(3, 0, 295.0, 105.0),
                        winding(0, 4, 295.0, 105.0),
                        winding(5, 0, 6.6, 0.1),
                    ],
                    henries_per_turn2: 10.0 / 52900.0,
                    ohms_per_turn2: 20e3 / 52900.0,
                }),
            ),
            element("V1a", plate(3)),
            element("V1b", plate(4)),
            element(
                "V1 heater",
                Law::Resistor {
                    a: 5,
                    b: 0,
                    ohms: 6.3 / 2.5,
                },
            ),
            element(
                "C1",
                Law::Capacitor {
                    a: 6,
                    b: 0,
                    farads: 16e-6,
                    esr_ohms: 0.0,
                },
            ),
            element(
                "R1",
                Law::Resistor {
                    a: 6,
                    b: 7,
                    ohms: 1000.0,
                },
            ),
            element(
                "C2",
                Law::Capacitor {
                    a: 7,
                    b: 0,
                    farads: 16e-6,
                    esr_ohms: 0.0,
                },
            ),
            element(
                "R2",
                Law::Resistor {
                    a: 7,
                    b: 0,
                    ohms: load,
                },
            ),
            element(
                "R3",
                Law::Resistor {
                    a: 8,
                    b: 0,
                    ohms: 1.0,
                },
            ),
        ],
        heating: vec![Heating {
            valve: "V1".to_owned(),
            heaters: vec![5],
            rated_volts: 6.3,
            lights: vec![3, 4],
        }],
        hertz: 50.0,
        parameters: Vec::new(),
    }
}

#[test]
fn rising_mains_raise_every_volt() {
    for lamp in [None, Some(60.0), Some(100.0)] {
        let mut last = (-1e-9, -1e-9, -1e-9);
        let mut start: Option<Start> = None;
        let mut most = 0;
        for mains in (0..=260).step_by(5) {
            let point = operating_point(&supply(f64::from(mains), lamp, 6000.0), start.as_ref());
            assert!(
                point.solved(),
                "{mains} V {lamp:?}: {:?} {:?}",
                point.solution.status,
                point.notes
            );
            most = most.max(point.rounds);
            let now = (point.dc(7), point.ac_volts(5, 0), point.mains_amps_rms);
            assert!(
                now.0 >= last.0 - 1e-6 && now.1 >= last.1 && now.2 >= last.2,
                "{mains} V {lamp:?}: {now:?} after {last:?}"
            );
            last = now;
            // From the last point and from nothing, the same.
            let cold = operating_point(&supply(f64::from(mains), lamp, 6000.0), None);
            assert!(
                (cold.dc(7) - point.dc(7)).abs() < 1e-5,
                "{mains} {lamp:?}: {} {}",
                cold.dc(7),
                point.dc(7)
            );
            start = Some(point.start());
        }
        println!(
            "{lamp:?}: at 260 V {:.1} V, heater {:.2} V, mains {:.3} A; most rounds {most}",
            last.0, last.1, last.2
        );
    }
}

/// Rms and peak currents, volts of the heater under load, against plain time integration.
#[test]
fn currents_are_those_of_a_time_integration() {
    let parts = [
        P::Mains(1, 0, 230.0, 0.5),
        P::T(
            vec![
                (1, 0, 230.0, 18.0),
                (2, 0, 300.0, 100.0),
                (0, 3, 300.0, 100.0),
                (5, 0, 6.6, 0.1),
            ],
            10.0 / 52900.0,
        ),
        P::Valve(2, 4, 3.1e-4),
        P::Valve(3, 4, 3.1e-4),
        P::C(4, 0, 8e-6),
        P::R(4, 0, 5000.0),
        P::R(5, 0, 2.5),
    ];
    let point = operating_point(&netlist(6, &parts, 50.0), None);
    assert!(point.solved());
    let seen = brute::run(6, &parts, 50.0, 1440, 30);
    let near = |a: f64, b: f64, part: f64, what: &str| {
        println!(
            "{what}: {a:.5} against {b:.5}, {:.3} %",
            100.0 * (a / b - 1.0)
        );
        assert!((a / b - 1.0).abs() < part, "{what}: {a} {b}");
    };
    near(point.dc(4), seen.mean[4], 1e-4, "steady volts");
    near(
        point.mains_amps_rms,
        seen.amps[0].1,
        0.01,
        "mains amperes rms",
    );
    near(
        point.amps_rms[6],
        seen.amps[6].1,
        0.01,
        "heater amperes rms",
    );
    near(point.plates[0].mean, seen.amps[2].0, 1e-3, "plate mean");
    near(point.plates[0].rms, seen.amps[2].1, 3e-3, "plate rms");
    near(point.plates[0].peak, seen.amps[2].2, 5e-3, "plate peak");
    near(point.ripple_rms[4], seen.ripple[4], 0.03, "ripple rms");
}

#[test]
fn cold_heaters_give_no_volts() {
    let mut net = supply(230.0, None, 6000.0);
    net.heating[0].rated_volts = 15.0;
    let point = operating_point(&net, None);
    assert!(point.solved());
    assert_eq!(point.emission, vec![0.0]);
    assert!(point.dc(7).abs() < 1e-3, "{}", point.dc(7));
    assert!(point.notes.iter().any(|n| n.part == "V1"));
    // No mains at all: a plain direct-current circuit.
    net.elements[0].law = Law::Resistor {
        a: 1,
        b: 0,
        ohms: 1.0,
    };
    net.hertz = 0.0;
    let point = operating_point(&net, None);
    assert!(point.solved());
    assert_eq!(point.mains_amps_rms, 0.0);
}

fn any_diode() -> impl Strategy<Value = DiodeLaw> {
    prop_oneof![
        (1e-4_f64..4e-3).prop_map(DiodeLaw::valve_plate),
        Just(DiodeLaw::SILICON),
        Just(DiodeLaw::SELENIUM),
        Just(DiodeLaw::IDEAL),
    ]
}

/// Random supplies with a fault, on any mains.
fn any_supply() -> impl Strategy<Value = Netlist> {
    (
        (
            0.0..260.0_f64,
            1.0..300.0_f64,
            20.0..450.0_f64,
            any_diode(),
            0..6_usize,
        ),
        (-7.0..-3.7_f64, 2.0..6.0_f64, 1.0..4.5_f64, 0..4_usize),
        (
            proptest::option::of(20.0..200.0_f64),
            proptest::option::of((0..16_usize, proptest::bool::ANY)),
        ),
        0.0..1.0_f64,
    )
        .prop_map(
            |(
                (mains, ohms, ac, diode, shape),
                (farads, load, series, filter),
                (lamp, fault),
                heater,
            )| {
                let farads = 10_f64.powf(farads);
                let load = 10_f64.powf(load);
                let series = 10_f64.powf(series);
                let d = |a, k| element("D", Law::Diode { a, k, law: diode });
                let c = |a, b, farads| {
                    element(
                        "C",
                        Law::Capacitor {
                            a,
                            b,
                            farads,
                            esr_ohms: 0.0,
                        },
                    )
                };
                let r = |a, b, ohms| element("R", Law::Resistor { a, b, ohms });
                let mut net = supply(mains, lamp, 1e5);
                net.elements.truncate(3);
                if let Law::Transformer(t) = &mut net.elements[2].law {
                    t.windings[1].turns = ac;
                    t.windings[2].turns = ac;
                    t.windings[1].ohms = ohms;
                    t.windings[2].ohms = ohms;
                }
                net.elements.push(r(5, 0, 2.5 + 10.0 * heater));
                net.heating[0].heaters = vec![3];
                net.heating[0].lights = vec![4, 5];
                let t = |net: &mut Netlist, w: usize, a, b| {
                    if let Law::Transformer(t) = &mut net.elements[2].law {
                        t.windings[w].a = a;
                        t.windings[w].b = b;
                    }
                };
                match shape {
                    0 => net.elements.extend([d(3, 6), d(4, 6)]),
                    1 => {
                        // Bridge on both halves, floating.
                        t(&mut net, 1, 3, 8);
                        t(&mut net, 2, 8, 4);
                        net.elements.extend([d(3, 6), d(4, 6), d(0, 3), d(0, 4)]);
                    }
                    2 => net.elements.extend([d(3, 6)]),
                    3 => net.elements.extend([c(3, 8, farads), d(0, 8), d(8, 6)]),
                    4 => {
                        // Doubler; the other end of the winding between two capacitors.
                        t(&mut net, 1, 3, 8);
                        net.elements
                            .extend([d(3, 6), d(0, 3), c(6, 8, farads), c(8, 0, farads)]);
                    }
                    _ => {
                        // Back bias with a bypassed resistor, and a bias diode through 220k.
                        t(&mut net, 1, 3, 8);
                        t(&mut net, 2, 8, 4);
                        net.elements
                            .extend([d(3, 6), d(4, 6), r(8, 0, 200.0), c(8, 0, 1e-5)]);
                    }
                }
                match filter {
                    0 => net.elements.push(c(6, 0, farads)),
                    1 => {}
                    _ => net.elements.extend([c(6, 0, farads), c(7, 0, farads)]),
                }
                net.elements.push(if filter == 3 {
                    element(
                        "L",
                        Law::Inductor {
                            a: 6,
                            b: 7,
                            henries: 10.0,
                            ohms: 150.0,
                        },
                    )
                } else {
                    r(6, 7, series)
                });
                net.elements.push(r(7, 0, load));
                if let Some((at, short)) = fault {
                    let at = 1 + at % (net.elements.len() - 1);
                    let ends = match &net.elements[at].law {
                        Law::Resistor { a, b, .. }
                        | Law::Capacitor { a, b, .. }
                        | Law::Inductor { a, b, .. }
                        | Law::Filament { a, b, .. }
                        | Law::Diode { a, k: b, .. } => Some((*a, *b)),
                        // A shorted winding.
                        Law::Transformer(t) => t.windings.get(at % 4).map(|w| (w.a, w.b)),
                        _ => None,
                    };
                    if let Some((a, b)) = ends {
                        if short {
                            net.elements.push(r(a, b, 0.05));
                        } else if !matches!(net.elements[at].law, Law::Transformer(_)) {
                            net.elements[at].law = Law::Resistor { a, b, ohms: 1e10 };
                        }
                    }
                }
                net
            },
        )
}

/// Any supply, sound or damaged, is solved. The cases are the same at every run; the variable
/// `SUPPLIES` asks for more than the usual 120.
#[test]
fn any_supply_is_solved() {
    use proptest::strategy::ValueTree;
    let cases = std::env::var("SUPPLIES")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(120);
    let mut runner = proptest::test_runner::TestRunner::deterministic();
    for case in 0..cases {
        let net = any_supply()
            .new_tree(&mut runner)
            .expect("a supply")
            .current();
        let point = operating_point(&net, None);
        assert!(
            point.solved(),
            "case {case}: {:?} after {} rounds: {:?} {net:?}",
            point.solution.status,
            point.rounds,
            point.notes
        );
        assert!(point.phasors.iter().all(|p| p.abs().is_finite()));
        assert!(point.amps_rms.iter().all(|i| i.is_finite()));
        // The mains feed what is dissipated: their current is none only where nothing is joined.
        for plate in &point.plates {
            assert!(plate.peak >= plate.mean && plate.rms + 1e-12 >= plate.mean.abs());
        }
    }
}
