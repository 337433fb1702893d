//! The example of the notation's contract, solved: a small single-ended amplifier with one fault.

use proptest::prelude::*;
use solve::assemble::Solved;
use solve::{AssembleOptions, solve_circuit};
use wiring::circuit::{History, Measured, MeasuredValue};
use wiring::sheet::Library;
use wiring::{Circuit, Conditions, read_one};

const WIRING: &str = include_str!("../../wiring/tests/pip.wiring");
const READINGS: &str = include_str!("../../wiring/tests/pip.readings");

fn circuit() -> Circuit {
    let read = read_one(&format!("{WIRING}\n{READINGS}"));
    assert!(!read.has_errors());
    read.circuit
}

fn solved(circuit: &Circuit, conditions: &Conditions) -> Solved {
    let options = AssembleOptions::default();
    solve_circuit(circuit, Library::built_in(), conditions, &options)
}

fn leaky(circuit: &Circuit, ohms: f64) -> Circuit {
    let mut circuit = circuit.clone();
    let c7 = circuit.part("C7").expect("C7 is there");
    circuit.parts[c7.0].known.leak_ohms = Some(ohms);
    circuit
}

/// Sound, at 233 V: the orientation figures for a 5 W single-ended 6V6 (plates 310 to 350 V,
/// screen 290 to 320 V, cathode 17 to 22 V, preamplifier 240 to 300 V; common practice, no
/// source), each widened by the 1.3 % that the mains is above the transformer's 230 V, and the
/// screen's upper one by 2 % more, since it hangs on 1k5 only.
#[test]
fn sound_amplifier_stands_where_such_amplifiers_stand() {
    let circuit = circuit();
    let s = solved(&circuit, &Conditions::default());
    assert!(s.point.solved(), "{:?}", s.point.solution.status);
    let v = |p: &str| s.volts(&circuit, p).expect("solved");
    for (point, low, high) in [
        ("B1", 310.0, 354.5),
        ("V2.4", 290.0, 330.5),
        ("V2.8", 17.0, 22.3),
        ("B3", 240.0, 304.0),
    ] {
        let volts = v(point);
        println!("{point} {volts:.2}");
        assert!((low..=high).contains(&volts), "{point}: {volts}");
    }
    // A triode's plate current is its cathode current: both halves, by their resistors.
    for (plate, cathode) in [("V1.1", "V1.3"), ("V1.6", "V1.8")] {
        let through_plate = (v("B3") - v(plate)) / 100e3;
        let through_cathode = v(cathode) / 1.8e3;
        // C1 leaks 2 Mohm beside R3; C4 leaks 200 Mohm from V1.6 (2 %, 0.2 %).
        assert!((through_plate / through_cathode - 1.0).abs() < 3e-3);
    }
    // R9 carries the screen and the preamplifier, R10 both triodes; C7 and C8 leak on top.
    let r9 = (v("B1") - v("B2")) / 1.5e3;
    let r10 = (v("B2") - v("B3")) / 22e3;
    let triodes = (v("V1.3") + v("V1.8")) / 1.8e3;
    let c8 = v("B3") / 6.25e6;
    assert!((r10 - triodes - c8).abs() < 5e-6, "{r10} {triodes} {c8}");
    let cathode = v("V2.8") / 560.0;
    let plate = (v("B1") - v("V2.3")) / 190.0;
    let screen = r9 - r10 - v("B2") / 3.125e6;
    assert!(
        (cathode - plate - screen).abs() < 2e-5,
        "{cathode} {plate} {screen}"
    );
}

/// The readings are said to be those of a set with a leaky C7. With its leak fitted to the drop
/// from B1 to B2, the other readings agree as far as two sound valves of one type do: the
/// preamplifier within 10 %, the output valve's current within 10 %, the heaters within 5 %.
#[test]
fn documented_readings_are_those_of_a_leaky_c7() {
    let circuit = circuit();
    let block = &circuit.readings[0];
    let drop = |leak: f64| {
        let s = solved(&leaky(&circuit, leak), &block.conditions);
        s.volts(&circuit, "B1").expect("solved") - s.volts(&circuit, "B2").expect("solved")
    };
    let (mut low, mut high) = (5e3_f64, 200e3_f64);
    for _ in 0..40 {
        let middle = (low * high).sqrt();
        if drop(middle) > 30.4 {
            low = middle;
        } else {
            high = middle;
        }
    }
    let leak = (low * high).sqrt();
    let fitted = leaky(&circuit, leak);
    let s = solved(&fitted, &block.conditions);
    let v = |p: &str| s.volts(&circuit, p).expect("solved");
    println!(
        "C7 leaks {leak:.0} ohm: B1 {:.1}, B2 {:.1}, B3 {:.1}",
        v("B1"),
        v("B2"),
        v("B3")
    );
    let h = |p: &str| s.node(&circuit, p).expect("wired");
    let heaters = s.point.ac_volts(h("T1.heater1"), h("T1.heater2"));
    // A 10 Mohm meter on V2.5 has 470 kohm to read through.
    let loaded = v("V2.5") * 10e6 / (10e6 + 470e3);
    for (point, computed, read, part) in [
        ("B1 to B2", v("B1") - v("B2"), 30.4, 0.001),
        ("V1.1", v("V1.1"), 172.0, 0.06),
        ("V1.3", v("V1.3"), 1.32, 0.10),
        ("V2.8", v("V2.8"), 19.4, 0.10),
        ("V2.5", loaded, 0.38, 0.06),
        ("T2.p2 to T2.p1", v("T2.p2") - v("T2.p1"), 6.0, 0.10),
        ("heaters", heaters, 6.4, 0.05),
    ] {
        println!(
            "{point:16} computed {computed:8.3}, read {read}: {:+.1} %",
            100.0 * (computed / read - 1.0)
        );
        assert!(
            (computed / read - 1.0).abs() <= part,
            "{point}: {computed}, read {read}"
        );
    }
    // Without the fault the drop is a sixth of that.
    let sound = solved(&circuit, &block.conditions);
    let sound =
        sound.volts(&circuit, "B1").expect("solved") - sound.volts(&circuit, "B2").expect("solved");
    assert!(sound < 10.0, "{sound}");
}

/// Only the rectifier in, a 60 W lamp in series: all HT nodes stand within what the electrolytics
/// leak, and V2.5 shows what C4 leaks from the HT. The reading of 0.85 V is met to 2 % by a C7
/// that does not leak just then; one that leaks as in the first block would leave 0.6 V.
#[test]
fn only_the_rectifier_in() {
    let circuit = circuit();
    let block = &circuit.readings[1];
    let s = solved(&circuit, &block.conditions);
    let v = |p: &str| s.volts(&circuit, p).expect("solved");
    assert!(v("B1") - v("B2") < 1.0 && v("B2") - v("B3") < 2.0);
    let leak = v("B3") * 470e3 / (200e6 + 470e3 + 100e3);
    assert!((v("V2.5") / leak - 1.0).abs() < 1e-3);
    let loaded = v("V2.5") * 10e6 / (10e6 + 470e3);
    println!("B1 {:.1}, V2.5 {loaded:.3}, read 0.85", v("B1"));
    assert!((loaded / 0.85 - 1.0).abs() < 0.02);
    let s = solved(&leaky(&circuit, 17.1e3), &block.conditions);
    let v = s.volts(&circuit, "V2.5").expect("solved");
    assert!((0.5..0.7).contains(&v), "{v}");
}

/// A part without a value keeps to itself: what it can't move is solved.
#[test]
fn part_without_a_value_keeps_to_itself() {
    let text = WIRING.replace("R3 1k8", "R3");
    let read = read_one(&text);
    let s = solved(&read.circuit, &Conditions::default());
    assert!(s.assembly.unsolved.iter().any(|u| u.point == "R3"));
    for point in ["V1.1", "V1.3"] {
        assert_eq!(s.volts(&read.circuit, point), None, "{point}");
    }
    for point in ["B1", "B2", "V2.8", "V2.3"] {
        let volts = s.volts(&read.circuit, point);
        assert!(volts.is_some_and(|v| v > 15.0), "{point}: {volts:?}");
    }
    assert!(s.hanging.values().all(|parts| parts == &["R3"]));
}

/// The exported equations are the solved ones: at every node the exported branches, valves left
/// to their laws, sum to what the valves and rectifiers there draw, and a node without any sums to 0.
#[test]
fn exported_equations_balance() {
    use solve::export::ExportedLaw;
    let circuit = circuit();
    let s = solved(&circuit, &Conditions::default());
    let out = s.equations();
    assert_eq!(out.nodes.len(), out.volts.len());
    let mut sum = vec![0.0; out.nodes.len()];
    let mut passive = vec![true; out.nodes.len()];
    for (node, amps) in sum.iter_mut().enumerate() {
        *amps += out.constants["floor_siemens"] * out.volts[node];
    }
    let mut rectifiers = 0;
    for e in &out.elements {
        match &e.law {
            ExportedLaw::Branch { a, b, ohms, volts } => {
                let amps = (out.volts[*a] - out.volts[*b] - volts) / ohms;
                sum[*a] += amps;
                sum[*b] -= amps;
            }
            ExportedLaw::Triode {
                plate,
                grid,
                cathode,
                ..
            } => {
                for n in [*plate, *grid, *cathode] {
                    passive[n] = false;
                }
            }
            ExportedLaw::Pentode {
                plate,
                screen,
                grid,
                cathode,
                ..
            } => {
                for n in [*plate, *screen, *grid, *cathode] {
                    passive[n] = false;
                }
            }
            ExportedLaw::Rectifiers(group) => {
                rectifiers += group.plates.len();
                for p in &group.plates {
                    for n in [p.plate, p.cathode] {
                        passive[n] = false;
                    }
                }
            }
            other => panic!("{other:?}"),
        }
    }
    assert_eq!(rectifiers, 2);
    for node in 1..sum.len() {
        // 0.1 milliohm turns the last digit of 400 V into a nanoampere.
        let still = sum[node].abs() < 1e-8;
        assert!(still || !passive[node], "{} {}", out.nodes[node], sum[node]);
    }
    let json = serde_json::to_string(&out).expect("plain numbers");
    assert!(!json.contains("null"), "no infinities");
}

/// An open mains switch, a blown fuse, no mains volts: nothing anywhere.
#[test]
fn dead_set_is_dead() {
    for (from, to) in [
        ("S1 switch closed", "S1 switch open"),
        ("F1 fuse 400mA slow", "F1 fuse 400mA slow = open"),
        ("233 V 50 Hz", "0 V 50 Hz"),
    ] {
        let text = WIRING.replace(from, to);
        assert_ne!(text, WIRING);
        let circuit = read_one(&text).circuit;
        let s = solved(&circuit, &Conditions::default());
        let volts = s.volts(&circuit, "B1").expect("solved");
        assert!(volts.abs() < 0.1, "{to}: {volts}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    /// Parts opened, shorted, taken out, at wild values or at none: the set is solved all the
    /// same, and what is left without a value is listed.
    #[test]
    fn damaged_sets_are_solved(
        damage in prop::collection::vec((any::<prop::sample::Index>(), 0..5_u8, -6.0..8.0_f64), 1..4),
        mains in prop::option::of(0.0..260.0_f64),
        limiter in any::<bool>(),
    ) {
        let mut circuit = circuit();
        for (part, what, decades) in damage {
            let part = part.index(circuit.parts.len());
            let part = &mut circuit.parts[part];
            let value = match what {
                0 => MeasuredValue::Open,
                1 => MeasuredValue::Short,
                2 => MeasuredValue::Is(10.0_f64.powf(decades)),
                3 => {
                    part.known.history = Some(History::Removed);
                    continue;
                }
                _ => {
                    if let wiring::Kind::Resistor { ohms } = &mut part.kind {
                        *ohms = None;
                    }
                    continue;
                }
            };
            part.known.reading = Some(Measured { value, in_circuit: false });
        }
        let conditions = Conditions {
            mains_volts: mains,
            limiter_watts: limiter.then_some(60.0),
            ..Conditions::default()
        };
        let s = solved(&circuit, &conditions);
        prop_assert!(s.point.solution.converged(), "{:?}", s.point.solution.status);
        prop_assert!(s.point.solution.volts.iter().all(|v| v.is_finite() && v.abs() < 2e3));
        let valueless = circuit.parts.iter().filter(|p| {
            let nothing = matches!(p.kind, wiring::Kind::Resistor { ohms: None });
            nothing && p.known.reading.is_none() && p.known.history.is_none()
        });
        for part in valueless {
            prop_assert!(s.assembly.unsolved.iter().any(|u| u.point == part.name));
        }
    }
}
