//! Pots, switches, jacks, fuses and the conditions that move them.

use wiring::Conditions;
use wiring::circuit::{Kind, MeasuredValue, Position, Taper};

use super::bench::{Bench, read, setting};
use crate::netlist::Law;

fn pot(taper: Taper) -> Bench {
    let mut bench = Bench::new();
    bench.supply(100.0, "top", "ground");
    let kind = Kind::Pot {
        ohms: Some(1e6),
        taper,
        switch: None,
    };
    bench.part(
        "VOLUME",
        kind,
        &[("1", "ground"), ("2", "wiper"), ("3", "top")],
    );
    bench
}

/// The wiper of an unloaded pot across 100 V shows the track's percent at that rotation.
#[test]
fn wiper_stands_where_the_track_says() {
    let measured = Taper::Measured(vec![(0.0, 0.0), (5.0, 0.12), (10.0, 1.0)]);
    for (taper, to, expected) in [
        (Taper::Linear, 3.0, 30.0),
        (Taper::Audio(10.0), 5.0, 10.0),
        (Taper::Audio(15.0), 5.0, 15.0),
        (Taper::Audio(10.0), 7.5, 55.0),
        (Taper::Reverse(10.0), 5.0, 90.0),
        (Taper::Reverse(10.0), 2.5, 45.0),
        (measured, 7.5, 56.0),
    ] {
        let mut bench = pot(taper.clone());
        bench.set("VOLUME", Position::Number(to));
        let got = bench.volts("wiper");
        assert!((got - expected).abs() < 1e-4, "{taper:?} at {to}: {got}");
    }
}

/// At the ends of its travel a wiper keeps an ohm to the end of the track.
#[test]
fn ends_of_the_track_are_near_but_not_short() {
    for (to, expected) in [
        (0.0, 100.0 * 1.0 / 1_000_001.0),
        (10.0, 100.0 * 1e6 / 1_000_001.0),
    ] {
        let mut bench = pot(Taper::Audio(10.0));
        bench.set("VOLUME", Position::Number(to));
        assert!((bench.volts("wiper") - expected).abs() < 1e-6);
    }
}

#[test]
fn knob_that_nobody_set_stands_at_five_and_says_so() {
    let bench = pot(Taper::Linear);
    assert!((bench.volts("wiper") - 50.0).abs() < 1e-4);
    assert_eq!(bench.assemble().notes[0].code, "knob-at-five");
    let block = Conditions {
        sets: vec![setting("VOLUME", Position::Number(2.0))],
        ..Conditions::default()
    };
    assert!((bench.volts_under(&block, "wiper") - 20.0).abs() < 1e-4);
    assert!(bench.assemble_under(&block).notes.is_empty());
}

/// The block's `set` counts over the wiring's; a gang follows its parent's name.
#[test]
fn gangs_follow_the_shaft_and_the_last_word_counts() {
    let mut bench = pot(Taper::Linear);
    bench.circuit.parts[1].name = "DEPTHb".to_owned();
    bench.circuit.parts[1].parent = Some("DEPTH".to_owned());
    bench.set("DEPTH", Position::Number(8.0));
    assert!((bench.volts("wiper") - 80.0).abs() < 1e-4);
    let block = Conditions {
        sets: vec![setting("DEPTH", Position::Number(1.0))],
        ..Conditions::default()
    };
    assert!((bench.volts_under(&block, "wiper") - 10.0).abs() < 1e-4);
}

#[test]
fn pot_as_a_variable_resistance_needs_no_third_lead() {
    let mut bench = Bench::new();
    bench.supply(100.0, "a", "ground");
    let kind = Kind::Pot {
        ohms: Some(10e3),
        taper: Taper::Linear,
        switch: None,
    };
    bench.part("RV1", kind.clone(), &[("1", ""), ("2", "b"), ("3", "a")]);
    bench.resistor("R1", 5e3, "b", "ground");
    assert!((bench.volts("b") - 50.0).abs() < 1e-4);
    // End to end, wiper unused.
    bench.circuit.parts.remove(1);
    bench.part("RV1", kind, &[("1", "b"), ("2", ""), ("3", "a")]);
    assert!((bench.volts("b") - 100.0 / 3.0).abs() < 1e-4);
}

fn switch(throws: usize, start: usize, leads: &[(&str, &str)]) -> Bench {
    let mut bench = Bench::new();
    bench.supply(100.0, "in", "ground");
    bench.part("S1", Kind::Switch { throws, start }, leads);
    bench.resistor("R1", 1e3, "out", "ground");
    bench.resistor("R2", 1e3, "other", "ground");
    bench
}

/// A closed contact is 10 milliohm: 1 mV at 0.1 A (and 0.1 milliohm are in the supply).
#[test]
fn plain_switch() {
    let closed = 100.0 * 1e3 / 1000.0101;
    for (start, set, expected) in [
        (1, None, closed),
        (0, None, 0.0),
        (0, Some(Position::Closed), closed),
        (1, Some(Position::Open), 0.0),
        (0, Some(Position::Number(1.0)), closed),
        (1, Some(Position::Number(0.0)), 0.0),
        (1, Some(Position::Number(2.0)), 0.0),
        (1, Some(Position::Number(f64::NAN)), 0.0),
    ] {
        let mut bench = switch(1, start, &[("1", "in"), ("2", "out")]);
        if let Some(to) = set {
            bench.set("S1", to);
        }
        let got = bench.volts("out");
        assert!((got - expected).abs() < 1e-6, "{start} {set:?}: {got}");
    }
}

#[test]
fn selector_joins_one_throw() {
    let leads = [("c", "in"), ("1", "out"), ("2", "other"), ("3", "")];
    let mut bench = switch(3, 1, &leads);
    bench.circuit.parts[1].parent = Some("S".to_owned());
    assert!(bench.volts("out") > 99.0 && bench.volts("other").abs() < 1e-6);
    bench.set("S", Position::Number(2.0));
    assert!(bench.volts("out").abs() < 1e-6 && bench.volts("other") > 99.0);
    bench.set("S1", Position::Number(3.0));
    assert!(bench.volts("out").abs() < 1e-6 && bench.volts("other").abs() < 1e-6);
}

#[test]
fn standby_is_a_switch_named_or_noted_so() {
    let open = Conditions {
        standby_open: Some(true),
        ..Conditions::default()
    };
    let shut = Conditions {
        standby_open: Some(false),
        ..Conditions::default()
    };
    let mut bench = switch(1, 1, &[("1", "in"), ("2", "out")]);
    assert!(bench.volts_under(&open, "out") > 99.0);
    let notes = bench.assemble_under(&open).notes;
    assert!(notes.iter().any(|n| n.code == "no-standby-switch"));
    bench.circuit.parts[1].known.notes = vec!["the Standby switch".to_owned()];
    assert!(bench.volts_under(&open, "out").abs() < 1e-6);
    assert!(bench.volts_under(&shut, "out") > 99.0);
    bench.circuit.parts[1].known.notes.clear();
    bench.circuit.parts[1].name = "standby".to_owned();
    assert!(bench.volts_under(&open, "out").abs() < 1e-6);
    assert!(bench.assemble_under(&open).notes.is_empty());
}

fn jack() -> Bench {
    let mut bench = Bench::new();
    let kind = Kind::Jack {
        stereo: false,
        phono: false,
    };
    let leads = [("tip", "tip"), ("sleeve", "ground"), ("break", "ground")];
    bench.part("J1", kind, &leads);
    bench.supply(100.0, "far", "ground");
    bench.resistor("R1", 1e6, "far", "tip");
    bench.resistor("R2", 1e6, "tip", "ground");
    bench
}

/// Break meets tip while nothing is plugged in.
#[test]
fn jack_contact_opens_with_a_plug() {
    let mut bench = jack();
    assert!(bench.volts("tip").abs() < 1e-5);
    bench.set("J1", Position::Plugged);
    assert!((bench.volts("tip") - 50.0).abs() < 1e-4);
    bench.set("J1", Position::Unplugged);
    assert!(bench.volts("tip").abs() < 1e-5);
}

#[test]
fn signal_plugs_its_jack_and_brings_a_source() {
    let bench = jack();
    let block = Conditions {
        signal: Some(("J1".to_owned(), 0.05, 1000.0)),
        ..Conditions::default()
    };
    let assembly = bench.assemble_under(&block);
    let laws: Vec<&Law> = assembly.elements_of["J1"]
        .iter()
        .map(|e| &assembly.netlist.elements[*e].law)
        .collect();
    assert_eq!(laws.len(), 1);
    assert!(
        matches!(laws[0], Law::Alternating { volts, hertz, mains: false, .. }
        if *volts == 0.05 && *hertz == 1000.0)
    );
    let block = Conditions {
        signal: Some(("J9".to_owned(), 0.05, 1000.0)),
        ..Conditions::default()
    };
    let notes = bench.assemble_under(&block).notes;
    assert!(notes.iter().any(|n| n.code == "no-such-jack"));
}

#[test]
fn fuse_is_whole_unless_read_open() {
    let mut bench = Bench::new();
    bench.supply(10.0, "a", "ground");
    let kind = Kind::Fuse {
        amps: Some(1.0),
        slow: true,
    };
    bench.part("F1", kind, &[("1", "a"), ("2", "b")]);
    bench.resistor("R1", 9.8499, "b", "ground");
    // 0.15 ohm for a 1 A fuse.
    assert!((bench.volts("b") - 9.8499).abs() < 1e-5);
    bench.circuit.parts[1].known.reading = read(MeasuredValue::Open, false);
    assert!(bench.volts("b").abs() < 1e-6);
}
