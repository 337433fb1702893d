//! The example of the notation reads without an error and means what is written there.

use wiring::circuit::{DiodeSort, Electrode, Kind, MeasuredValue, Taper, Verdict};
use wiring::readings::{Probe, Shown, Unit, ValvesIn};
use wiring::sheet::Library;
use wiring::{Circuit, GROUND, Severity, Text, read, read_readings};

const WIRING: &str = include_str!("pip.wiring");
const READINGS: &str = include_str!("pip.readings");

fn pip() -> Circuit {
    let texts = [
        Text {
            name: "pip.wiring",
            text: WIRING,
        },
        Text {
            name: "pip.readings",
            text: READINGS,
        },
    ];
    let read = read(&texts, Library::built_in());
    let text: Vec<String> = read.problems.iter().map(|d| d.render(&texts)).collect();
    assert!(text.is_empty(), "{}", text.join("\n"));
    read.circuit
}

fn kind<'c>(circuit: &'c Circuit, name: &str) -> &'c Kind {
    let id = circuit.part(name).expect("the part is there");
    &circuit.parts[id.0].kind
}

#[test]
fn heading_and_knob() {
    let circuit = pip();
    assert_eq!(circuit.heading.amp.as_deref(), Some("Marram Pip"));
    assert_eq!(circuit.heading.serial.as_deref(), Some("00317"));
    assert_eq!(circuit.heading.state.as_deref(), Some("as found"));
    let mains = circuit.heading.mains.unwrap();
    assert_eq!((mains.volts, mains.hertz), (233.0, Some(50.0)));
    assert_eq!(circuit.sets.len(), 1);
    assert_eq!(circuit.sets[0].name, "VOLUME");
}

#[test]
fn parts_have_their_values() {
    let circuit = pip();
    assert!(matches!(
        kind(&circuit, "VOLUME"),
        Kind::Pot {
            ohms: Some(1e6),
            taper: Taper::Audio(10.0),
            ..
        }
    ));
    assert!(matches!(
        kind(&circuit, "R3"),
        Kind::Resistor { ohms: Some(1800.0) }
    ));
    assert!(matches!(
        kind(&circuit, "F1"),
        Kind::Fuse {
            amps: Some(0.4),
            slow: true
        }
    ));
    assert!(matches!(
        kind(&circuit, "S1"),
        Kind::Switch {
            throws: 1,
            start: 1
        }
    ));
    let r6 = &circuit.parts[circuit.part("R6").unwrap().0];
    assert_eq!(r6.known.reading.unwrap().value, MeasuredValue::Is(560.0));
    assert_eq!(r6.known.verdict, Some(Verdict::Replace));
    assert_eq!(r6.known.notes, ["brown in the middle"]);
    let c4 = &circuit.parts[circuit.part("C4").unwrap().0];
    assert_eq!(c4.known.leak_ohms, Some(200e6));
    assert_eq!(c4.known.volts, Some(400.0));
    assert_eq!(c4.known.sits.as_deref(), Some("board 7"));
    let Kind::PowerTransformer(t1) = kind(&circuit, "T1") else {
        panic!("T1 is a mains transformer");
    };
    assert_eq!(t1.windings.len(), 3);
    assert_eq!(t1.windings[0].ohms, Some(210.0));
    assert_eq!(t1.windings[2].amps, Some(2.0));
    let Kind::OutputTransformer(t2) = kind(&circuit, "T2") else {
        panic!("T2 is an output transformer");
    };
    assert!(t2.single);
    assert_eq!(
        (t2.primary_impedance, t2.ohms, t2.watts),
        (Some(5e3), Some(190.0), Some(5.0))
    );
    assert!(!matches!(
        kind(&circuit, "R1"),
        Kind::Diode {
            sort: DiodeSort::Ideal
        }
    ));
}

/// Which points are one, read off the walks by hand.
#[test]
fn walks_join_what_they_say() {
    let circuit = pip();
    let same = [
        &["J1.tip", "R1.1", "R2.1"][..],
        &[
            "ground",
            "gnd",
            "chassis",
            "earth",
            "J1.sleeve",
            "VOLUME.1",
            "T2.s2",
            "T2.s0",
            "T1.hv0",
            "LS1.2",
            "C7.2",
        ],
        &["V1.2", "R2.2", "V1a.grid"],
        &["V1.3", "R3.1", "C1.1", "V1a.cathode"],
        &["B3", "R4.2", "R7.2", "C8.1", "R10.2"],
        &[
            "B1",
            "T2.p2",
            "V3.8",
            "T1.rect1",
            "R9.1",
            "C6.1",
            "V3.cathode",
        ],
        &["B2", "V2.4", "V2.screen", "R9.2", "R10.1", "C7.1"],
        &["V2.3", "T2.p1", "V2.plate"],
        &["T1.heater1", "V1.4", "V1.5", "V2.2", "R11.1"],
        &["T1.heater2", "V1.9", "V2.7", "V1.heatertap"],
        &["live", "F1.1"],
        &["F1.2", "S1.1"],
        &["S1.2", "T1.pri1"],
        &["neutral", "T1.pri2"],
        &["T1.rect2", "V3.2"],
    ];
    let mut seen = Vec::new();
    for group in same {
        let node = circuit.node(group[0]).unwrap();
        for point in group {
            assert_eq!(circuit.node(point), Some(node), "{point}");
        }
        assert!(
            !seen.contains(&node),
            "{} is apart from the others",
            group[0]
        );
        seen.push(node);
    }
    assert_eq!(circuit.node("ground"), Some(GROUND));
    assert_eq!(circuit.nodes.len(), 25);
    for part in &circuit.parts {
        if let Kind::Capacitor { plus_first, .. } = part.kind {
            let marked = ["C1", "C5", "C6", "C7", "C8"].contains(&part.name.as_str());
            assert_eq!(plus_first, marked.then_some(true), "{}", part.name);
        }
    }
    // A directly heated rectifier gives its output at a filament end.
    let Kind::Valve(v3) = kind(&circuit, "V3") else {
        panic!("V3 is a valve");
    };
    assert_eq!(v3.pin(None, "cathode"), Some(7));
    assert!(
        v3.electrodes
            .iter()
            .any(|u| u.terminal == 7 && u.electrode == Electrode::Heater2)
    );
    assert_eq!(v3.pin(None, "heater1"), Some(1));
}

#[test]
fn readings_have_their_conditions() {
    let circuit = pip();
    let [found, out, off] = circuit.readings.as_slice() else {
        panic!("three blocks");
    };
    assert_eq!(found.name, "as found");
    assert_eq!(found.conditions.mains_volts, Some(231.0));
    let meter = found.conditions.meter.unwrap();
    assert_eq!((meter.ohms, meter.error), (10e6, 0.005));
    assert_eq!(found.conditions.valves, ValvesIn::All);
    assert_eq!(found.readings.len(), 9);
    let r = &found.readings;
    assert_eq!(r[0].probe, Probe::At(circuit.node("V1.1").unwrap()));
    assert_eq!((r[0].value, r[0].digit), (Shown::Number(172.0), 1.0));
    assert_eq!(r[4].value, Shown::Number(-0.02));
    assert_eq!(
        r[5].probe,
        Probe::Between(circuit.node("B1").unwrap(), circuit.node("B2").unwrap())
    );
    assert_eq!(r[7].probe, Probe::Across(circuit.part("LS1").unwrap()));
    assert_eq!(
        (r[7].value, r[7].unit),
        (Shown::Number(0.004), Unit::VoltsAc)
    );
    assert_eq!((r[8].value, r[8].unit), (Shown::Number(6.4), Unit::VoltsAc));
    assert_eq!(out.name, "as found, valves out");
    assert!(out.conditions.valves.is_in("V3") && !out.conditions.valves.is_in("V1"));
    assert_eq!(out.conditions.limiter_watts, Some(60.0));
    assert!(off.conditions.power_off);
    assert_eq!(
        (off.readings[0].value, off.readings[0].unit),
        (Shown::Number(104e3), Unit::Ohms)
    );
    assert_eq!(off.readings[2].value, Shown::Over);
    assert_eq!(off.conditions.heard, ["hum that follows the volume"]);
    assert_eq!(off.conditions.seen, ["V4 plate glows red"]);
}

#[test]
fn readings_after_the_wiring_read_the_same() {
    let text = format!("{WIRING}{READINGS}");
    let joined = wiring::read_one(&text);
    assert!(joined.problems.iter().all(|d| d.severity == Severity::Note));
    let circuit = pip();
    let (blocks, problems) = read_readings(
        &Text {
            name: "pip.readings",
            text: READINGS,
        },
        &circuit,
    );
    assert!(problems.is_empty());
    let plain = |blocks: &[wiring::Block]| -> Vec<String> {
        blocks
            .iter()
            .flat_map(|b| b.readings.iter())
            .map(|r| format!("{} {:?} {:?} {:?}", r.point, r.probe, r.value, r.unit))
            .collect()
    };
    assert_eq!(plain(&blocks), plain(&circuit.readings));
    assert_eq!(plain(&joined.circuit.readings), plain(&circuit.readings));
}

/// The order of lines does not matter: the example read from its last line up joins the same points.
#[test]
fn order_of_lines_does_not_matter() {
    let turned: Vec<&str> = WIRING.lines().rev().collect();
    let read = wiring::read_one(&turned.join("\n"));
    assert!(read.problems.is_empty(), "{:?}", read.problems);
    let circuit = pip();
    let points = |c: &Circuit| {
        let mut sets: Vec<Vec<String>> = c
            .nodes
            .iter()
            .map(|n| {
                let mut set: Vec<String> = n.names.clone();
                for (part, t) in &n.terminals {
                    let part = &c.parts[part.0];
                    // Which end of a part in passing is called 1 follows the first walk.
                    let name = &part.terminals[*t].name;
                    set.push(format!("{}.{name}", part.name));
                }
                set.sort();
                set
            })
            .collect();
        sets.sort();
        sets
    };
    assert_eq!(points(&read.circuit), points(&circuit));
}
