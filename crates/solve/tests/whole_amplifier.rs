//! Whole amplifiers from their text to equations, and any part of that text.

use solve::{AssembleOptions, Assembly, Law, assemble};
use wiring::sheet::Library;
use wiring::{Conditions, Read, read_one};

const AMPLIFIERS: [(&str, &str); 4] = [
    (
        "the documented example",
        include_str!("../../wiring/tests/pip.wiring"),
    ),
    ("pip", include_str!("../../../examples/pip.wiring")),
    ("curlew", include_str!("../../../examples/curlew.wiring")),
    (
        "turnstone",
        include_str!("../../../examples/turnstone.wiring"),
    ),
];

fn assembled(read: &Read, conditions: &Conditions) -> Assembly {
    let options = AssembleOptions::default();
    assemble(&read.circuit, Library::built_in(), conditions, &options)
}

/// Nothing is missing from a whole amplifier: every section lit by its own traced heater,
/// nothing unsolved, no place held open.
#[test]
fn whole_amplifiers_have_no_gaps() {
    for (name, text) in AMPLIFIERS {
        let read = read_one(text);
        assert!(!read.has_errors(), "{name}");
        let assembly = assembled(&read, &Conditions::default());
        assert!(
            assembly.unsolved.is_empty(),
            "{name}: {:?}",
            assembly.unsolved
        );
        assert!(assembly.stand_ins.is_empty(), "{name}");
        let codes: Vec<&str> = assembly.notes.iter().map(|n| n.code).collect();
        for code in [
            "heater-not-traced",
            "mains-not-traced",
            "valve-half-traced",
            "set-nothing",
        ] {
            assert!(!codes.contains(&code), "{name}: {code}");
        }
        let lit: usize = assembly
            .netlist
            .heating
            .iter()
            .map(|h| h.lights.len())
            .sum();
        let laws = assembly.netlist.elements.iter().map(|e| &e.law);
        let hot = laws.filter(|l| matches!(l, Law::Triode { .. } | Law::Pentode { .. }));
        assert!(lit >= hot.count() && lit > 2, "{name}");
    }
}

/// Half a tracing is a valid file: any number of its first lines assembles, and so does a text
/// in which any one line is missing.
#[test]
fn every_part_of_a_tracing_assembles() {
    for (name, text) in AMPLIFIERS {
        let lines: Vec<&str> = text.lines().collect();
        for k in 0..lines.len() {
            let first = lines[..k].join("\n");
            let mut without = lines.clone();
            without.remove(k);
            for text in [first, without.join("\n")] {
                let read = read_one(&text);
                let assembly = assembled(&read, &Conditions::default());
                assert_eq!(assembly.node_of.len(), read.circuit.nodes.len());
                let nodes = assembly.netlist.nodes.len();
                assert!(assembly.node_of.iter().flatten().all(|n| *n < nodes));
                for u in &assembly.unsolved {
                    assert!(!u.point.is_empty() && u.why.len() > 10, "{name} {k}: {u:?}");
                }
            }
        }
    }
}

/// Every readings block of the documented example has its own circuit.
#[test]
fn conditions_of_the_documented_blocks() {
    let text = format!(
        "{}\n{}",
        AMPLIFIERS[0].1,
        include_str!("../../wiring/tests/pip.readings")
    );
    let read = read_one(&text);
    assert_eq!(read.circuit.readings.len(), 3);
    let of = |i: usize| assembled(&read, &read.circuit.readings[i].conditions);
    let has = |a: &Assembly, name: &str| a.netlist.elements.iter().any(|e| e.name == name);
    let (as_found, only_v3, off) = (of(0), of(1), of(2));
    assert!(has(&as_found, "V1a") && has(&as_found, "V3a") && !has(&as_found, "limiter"));
    assert!(!has(&only_v3, "V1a") && has(&only_v3, "V3a") && has(&only_v3, "limiter"));
    assert!(!has(&off, "V1a") && !has(&off, "V3a") && !has(&off, "mains"));
    assert!(has(&off, "T1") && has(&off, "R4"));
    let volts = |a: &Assembly| {
        let mut laws = a.netlist.elements.iter().map(|e| &e.law);
        laws.find_map(|l| match l {
            Law::Alternating { volts, .. } => Some(*volts),
            _ => None,
        })
    };
    // What a block does not say stays as in the wiring.
    assert_eq!(volts(&as_found), Some(231.0));
    assert_eq!(volts(&only_v3), Some(233.0));
    assert_eq!(volts(&off), None);
}
