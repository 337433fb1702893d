//! Resistors, capacitors, chokes, and what becomes of readings on them.

use wiring::circuit::{Kind, Make, MeasuredValue};

use super::bench::{Bench, read, removed};
use crate::netlist::{Law, Quantity, Slot};

/// A supply keeps 0.1 milliohm and a node a picosiemens, hence the tolerance.
fn near(got: f64, expected: f64) {
    assert!(
        (got - expected).abs() <= 1e-5 * expected.abs().max(1.0),
        "{got}, expected {expected}"
    );
}

fn divider() -> Bench {
    let mut bench = Bench::new();
    bench.supply(300.0, "B", "ground");
    bench.resistor("R1", 100e3, "B", "mid");
    bench.resistor("R2", 50e3, "mid", "ground");
    bench
}

#[test]
fn divider_by_its_marking() {
    near(divider().volts("mid"), 100.0);
}

/// A lifted reading replaces the marking; a reading in circuit does not.
#[test]
fn lifted_reading_counts_and_one_in_circuit_does_not() {
    for (value, in_circuit, expected) in [
        (MeasuredValue::Is(150e3), false, 75.0),
        (MeasuredValue::Is(150e3), true, 100.0),
        (MeasuredValue::Open, false, 300.0 * 50e3 / (1e10 + 50e3)),
        (MeasuredValue::Short, false, 300.0 * 50e3 / 50000.05),
        (MeasuredValue::Open, true, 100.0),
    ] {
        let mut bench = divider();
        bench.circuit.parts[1].known.reading = read(value, in_circuit);
        near(bench.volts("mid"), expected);
    }
}

#[test]
fn removed_part_is_not_there() {
    let mut bench = divider();
    let third = bench.resistor("R3", 1.0, "mid", "ground");
    removed(third);
    near(bench.volts("mid"), 100.0);
    assert!(!bench.assemble().elements_of.contains_key("R3"));
}

#[test]
fn part_without_a_value_is_listed_and_its_place_held_open() {
    let mut bench = divider();
    bench.part(
        "R3",
        Kind::Resistor { ohms: None },
        &[("1", "mid"), ("2", "far")],
    );
    bench.resistor("R4", 1e3, "far", "ground");
    let assembly = bench.assemble();
    assert_eq!(assembly.unsolved.len(), 1);
    assert_eq!(assembly.unsolved[0].point, "R3");
    assert!(assembly.unsolved[0].why.contains("ohms"));
    assert_eq!(assembly.stand_ins.len(), 1);
    // All else is solved as if it were not there.
    assert!((bench.volts("mid") - 100.0).abs() < 1e-3);
}

#[test]
fn loose_end_carries_nothing() {
    let mut bench = divider();
    bench.resistor("R3", 1e3, "mid", "");
    let assembly = bench.assemble();
    assert!(!assembly.elements_of.contains_key("R3"));
    near(bench.volts("mid"), 100.0);
}

fn capacitor(farads: f64, plus: Option<bool>) -> Kind {
    Kind::Capacitor {
        farads: Some(farads),
        plus_first: plus,
    }
}

/// 8 uF leaks 50 s / 8 uF = 6.25 Mohm: 45 uA at 280 V, a volt across 22k, as documented.
#[test]
fn sound_electrolytic_leaks_a_documented_little() {
    let mut bench = Bench::new();
    bench.supply(280.0, "B2", "ground");
    bench.resistor("R10", 22e3, "B2", "B3");
    let leads = [("1", "B3"), ("2", "ground")];
    bench.part("C8", capacitor(8e-6, Some(true)), &leads);
    let drop = 280.0 - bench.volts("B3");
    near(drop, 280.0 * 22e3 / (22e3 + 6.25e6));
    assert!((0.9..1.1).contains(&drop));
    let assembly = bench.assemble();
    let leak = assembly
        .netlist
        .parameters
        .iter()
        .find(|p| p.part == "C8" && p.quantity == Quantity::Leak)
        .expect("the leak spreads");
    assert!(matches!(leak.slots.as_slice(), [(_, Slot::Ohms)]));
    // 0.15 / (2 pi 120 Hz 8 uF) is 24.87 ohm.
    let esr = assembly.netlist.elements.iter().find_map(|e| match e.law {
        Law::Capacitor { esr_ohms, .. } => Some(esr_ohms),
        _ => None,
    });
    assert!((esr.unwrap() - 24.868).abs() < 0.01);
}

#[test]
fn other_capacitors_leak_only_what_was_read() {
    for (make, farads, leak, elements) in [
        (Some(Make::Paper), 22e-9, None, 1),
        (Some(Make::Paper), 22e-9, Some(200e6), 2),
        (Some(Make::Paper), 2e-6, None, 1),
        (None, 22e-9, None, 1),
        (None, 22e-6, None, 2),
        (Some(Make::Electrolytic), 0.1e-6, None, 2),
    ] {
        let mut bench = Bench::new();
        bench.supply(100.0, "a", "ground");
        let part = bench.part("C4", capacitor(farads, None), &[("1", "a"), ("2", "b")]);
        part.known.make = make;
        part.known.leak_ohms = leak;
        bench.resistor("R8", 470e3, "b", "ground");
        let assembly = bench.assemble();
        assert_eq!(assembly.elements_of["C4"].len(), elements, "{make:?}");
        if leak.is_some() {
            near(bench.volts("b"), 100.0 * 470e3 / (470e3 + 200e6));
        }
    }
}

#[test]
fn capacitor_open_is_gone_and_short_conducts() {
    for (value, expected) in [(MeasuredValue::Open, 0.0), (MeasuredValue::Short, 100.0)] {
        let mut bench = Bench::new();
        bench.supply(100.0, "a", "ground");
        let part = bench.part("C4", capacitor(22e-6, None), &[("1", "a"), ("2", "b")]);
        part.known.reading = read(value, false);
        bench.resistor("R8", 470e3, "b", "ground");
        assert!((bench.volts("b") - expected).abs() < 1e-4);
    }
}

/// A capacitor without farads leaves steady volts whole, and is listed.
#[test]
fn capacitor_without_farads_is_listed_only() {
    let mut bench = divider();
    let kind = Kind::Capacitor {
        farads: None,
        plus_first: None,
    };
    bench.part("C1", kind, &[("1", "mid"), ("2", "ground")]);
    let assembly = bench.assemble();
    assert_eq!(assembly.unsolved.len(), 1);
    assert!(assembly.stand_ins.is_empty());
    near(bench.volts("mid"), 100.0);
}

#[test]
fn choke_is_its_ohms() {
    let mut bench = Bench::new();
    bench.supply(300.0, "B1", "ground");
    let kind = Kind::Choke {
        henries: Some(5.0),
        ohms: Some(150.0),
    };
    bench.part("L1", kind, &[("1", "B1"), ("2", "B2")]);
    bench.resistor("R1", 2850.0, "B2", "ground");
    near(bench.volts("B2"), 285.0);
    // 40 x 5^0.8 = 144.96 ohm where nothing is written, and a note says so.
    bench.circuit.parts[1].kind = Kind::Choke {
        henries: Some(5.0),
        ohms: None,
    };
    assert!((bench.volts("B2") - 300.0 * 2850.0 / (2850.0 + 144.956)).abs() < 1e-3);
    assert_eq!(bench.assemble().notes[0].code, "choke-ohms-assumed");
    bench.circuit.parts[1].kind = Kind::Choke {
        henries: None,
        ohms: None,
    };
    assert_eq!(bench.assemble().stand_ins.len(), 1);
}
