//! Valves in their sockets: sections, pins, heaters, what is fitted, what is out.

use wiring::Conditions;
use wiring::circuit::{Kind, PowerTransformer, Valve, ValveLimits, Winding};
use wiring::readings::ValvesIn;

use super::bench::{Bench, twin_triode};
use crate::assemble::Assembly;
use crate::device::RectifierLaw;
use crate::netlist::{Law, Quantity};

fn socket(meant: &str) -> Valve {
    Valve {
        meant: meant.to_owned(),
        fitted: None,
        emission: None,
        electrodes: Vec::new(),
        limits: ValveLimits::default(),
        like: None,
    }
}

const PINS: [&str; 9] = ["1", "2", "3", "4", "5", "6", "7", "8", "9"];

/// A socket with its pins on the given points, in order; an empty point is not wired.
fn valve(bench: &mut Bench, name: &str, valve: Valve, points: &[&str]) {
    let leads: Vec<(&str, &str)> = PINS.into_iter().zip(points.iter().copied()).collect();
    bench.part(name, Kind::Valve(valve), &leads);
}

fn heater_winding(bench: &mut Bench, name: &str, volts: f64, a: &str, b: &str) {
    let t = PowerTransformer {
        primary: vec![(0, 0.0), (1, 230.0)],
        primary_ohms: Some(10.0),
        windings: vec![Winding {
            name: "heater".to_owned(),
            taps: vec![(2, volts), (3, 0.0)],
            amps: Some(2.0),
            ohms: Some(0.1),
            halves: None,
        }],
        ideal: false,
    };
    let leads = [("pri1", ""), ("pri2", ""), ("heater1", a), ("heater2", b)];
    bench.part(name, Kind::PowerTransformer(t), &leads);
}

fn law<'a>(assembly: &'a Assembly, name: &str) -> Option<&'a Law> {
    let mut elements = assembly.netlist.elements.iter();
    elements.find(|e| e.name == name).map(|e| &e.law)
}

fn point(assembly: &Assembly, node: usize) -> &str {
    &assembly.netlist.nodes[node]
}

fn codes(assembly: &Assembly) -> Vec<&str> {
    assembly.notes.iter().map(|n| n.code).collect()
}

#[test]
fn twin_triode_has_two_laws_at_its_pins() {
    let mut bench = Bench::new();
    let points = ["pa", "ga", "ka", "h1", "h1", "pb", "gb", "kb", "h2"];
    valve(&mut bench, "V1", twin_triode(), &points);
    heater_winding(&mut bench, "T1", 6.3, "h1", "h2");
    let assembly = bench.assemble();
    for (name, points) in [("V1a", ["pa", "ga", "ka"]), ("V1b", ["pb", "gb", "kb"])] {
        let Some(Law::Triode {
            plate,
            grid,
            cathode,
            ..
        }) = law(&assembly, name)
        else {
            panic!("{name} is there")
        };
        assert_eq!(
            [*plate, *grid, *cathode].map(|n| point(&assembly, n)),
            points
        );
    }
    // Two halves of 6.3 V at 150 mA each: 42 ohm, from 4 and from 5 to 9.
    let heating = &assembly.netlist.heating;
    assert_eq!(heating.len(), 1);
    assert_eq!(heating[0].heaters.len(), 2);
    assert_eq!(heating[0].lights.len(), 2);
    assert!((heating[0].rated_volts - 6.3).abs() < 1e-12);
    for e in &heating[0].heaters {
        let Law::Resistor { a, b, ohms } = assembly.netlist.elements[*e].law else {
            panic!("a heater is a resistor")
        };
        assert!((ohms - 42.0).abs() < 1e-9);
        let mut ends = [point(&assembly, a), point(&assembly, b)];
        ends.sort_unstable();
        assert_eq!(ends, ["h1", "h2"]);
    }
    // Grid to plate 1.7 pF, from the sheet.
    let farads = assembly.netlist.elements.iter().find_map(|e| match e.law {
        Law::Capacitor { farads, .. } if e.name == "V1a grid to plate" => Some(farads),
        _ => None,
    });
    assert!((farads.unwrap() - 1.7e-12).abs() < 1e-18);
    assert!(assembly.unsolved.is_empty());
}

#[test]
fn untraced_heater_counts_as_lit() {
    let mut bench = Bench::new();
    let points = ["pa", "ga", "ka", "", "", "", "", "", ""];
    valve(&mut bench, "V1", twin_triode(), &points);
    let assembly = bench.assemble();
    assert!(assembly.netlist.heating.is_empty());
    assert_eq!(codes(&assembly), ["heater-not-traced"]);
    assert!(law(&assembly, "V1a").is_some() && law(&assembly, "V1b").is_none());

    // Heaters joined to each other but to no winding yet.
    let mut bench = Bench::new();
    let points = ["pa", "ga", "ka", "h1", "h1", "", "", "", "h2"];
    valve(&mut bench, "V1", twin_triode(), &points);
    assert_eq!(codes(&bench.assemble()), ["heater-not-traced"]);
}

/// A heater fed through an open switch is traced, and cold.
#[test]
fn heater_behind_an_open_switch_is_traced() {
    let mut bench = Bench::new();
    let points = ["pa", "ga", "ka", "h1", "h1", "", "", "", "h2"];
    valve(&mut bench, "V1", twin_triode(), &points);
    heater_winding(&mut bench, "T1", 6.3, "w1", "h2");
    let kind = Kind::Switch {
        throws: 1,
        start: 0,
    };
    bench.part("S1", kind, &[("1", "w1"), ("2", "h1")]);
    let assembly = bench.assemble();
    assert_eq!(assembly.netlist.heating.len(), 1);
    assert!(!codes(&assembly).contains(&"heater-not-traced"));
}

#[test]
fn valves_out_and_power_off_leave_no_current() {
    let mut bench = Bench::new();
    let points = ["pa", "ga", "ka", "h1", "h1", "pb", "gb", "kb", "h2"];
    valve(&mut bench, "V1", twin_triode(), &points);
    let only = Conditions {
        valves: ValvesIn::Only(vec!["V3".to_owned()]),
        ..Conditions::default()
    };
    assert!(!bench.assemble_under(&only).elements_of.contains_key("V1"));
    let without = Conditions {
        valves: ValvesIn::Without(vec!["V2".to_owned()]),
        ..Conditions::default()
    };
    assert!(law(&bench.assemble_under(&without), "V1a").is_some());
    let off = Conditions {
        power_off: true,
        ..Conditions::default()
    };
    let assembly = bench.assemble_under(&off);
    assert!(law(&assembly, "V1a").is_none());
    assert!(
        assembly.elements_of.contains_key("V1"),
        "its heater is still there"
    );
}

/// The filament of a 5Y3GT is its cathode: 5 V at 2 A is 2.5 ohm, the plates at its middle.
#[test]
fn directly_heated_rectifier() {
    let mut bench = Bench::new();
    let points = ["", "f1", "", "pa", "", "pb", "", "f2"];
    valve(&mut bench, "V3", socket("5Y3GT"), &points);
    heater_winding(&mut bench, "T1", 5.0, "f1", "f2");
    let assembly = bench.assemble();
    let mut cathodes = Vec::new();
    for (name, plate) in [("V3a", "pa"), ("V3b", "pb")] {
        let Some(Law::Diode { a, k, law }) = law(&assembly, name) else {
            panic!("{name} is there")
        };
        assert_eq!(point(&assembly, *a), plate);
        assert!(matches!(law.forward, RectifierLaw::Valve(p) if (2e-4..4e-4).contains(&p)));
        cathodes.push(*k);
    }
    assert_eq!(cathodes[0], cathodes[1]);
    assert_eq!(point(&assembly, cathodes[0]), "V3 filament");
    let ohms: f64 = assembly.netlist.heating[0]
        .heaters
        .iter()
        .map(|e| match assembly.netlist.elements[*e].law {
            Law::Resistor { ohms, .. } => ohms,
            _ => 0.0,
        })
        .sum();
    assert!((ohms - 2.5).abs() < 1e-9);
    assert!((assembly.netlist.heating[0].rated_volts - 2.5).abs() < 1e-12);
    let drops = assembly.netlist.parameters.iter();
    let drop: Vec<_> = drops.filter(|p| p.quantity == Quantity::Drop).collect();
    assert_eq!(drop.len(), 1);
    assert_eq!(drop[0].slots.len(), 2);
}

/// `V3 5Y3GT = 5AR4`: the same pins, an indirect cathode on 8, ten times the perveance.
#[test]
fn fitted_valve_decides_what_is_on_the_pins() {
    let mut bench = Bench::new();
    let fitted = Valve {
        fitted: Some("5AR4".to_owned()),
        ..socket("5Y3GT")
    };
    let points = ["", "f1", "", "pa", "", "pb", "", "f2"];
    valve(&mut bench, "V3", fitted, &points);
    let assembly = bench.assemble();
    let Some(Law::Diode { k, law, .. }) = law(&assembly, "V3a") else {
        panic!("V3a is there")
    };
    assert_eq!(point(&assembly, *k), "f2");
    assert!(matches!(law.forward, RectifierLaw::Valve(p) if p > 2e-3));
    assert!(assembly.unsolved.is_empty());
}

#[test]
fn low_emission_scales_the_current() {
    let scale = |emission: Option<f64>| {
        let mut bench = Bench::new();
        let points = ["pa", "ga", "ka"];
        let valve_in = Valve {
            emission,
            ..twin_triode()
        };
        valve(&mut bench, "V1", valve_in, &points);
        match law(&bench.assemble(), "V1a") {
            Some(Law::Triode { law, .. }) => law.k,
            _ => panic!("V1a is there"),
        }
    };
    assert!((scale(Some(0.7)) / scale(None) - 0.7).abs() < 1e-12);
    assert!(scale(Some(0.0)) > 0.0 && scale(Some(f64::NAN)) == scale(None));
}

#[test]
fn unknown_type_is_listed_with_a_remedy() {
    let mut bench = Bench::new();
    valve(&mut bench, "V1", socket("9XY9"), &["pa", "ga", "ka"]);
    let assembly = bench.assemble();
    assert_eq!(assembly.unsolved.len(), 1);
    assert_eq!(assembly.unsolved[0].point, "V1");
    assert!(assembly.unsolved[0].why.contains("like"));
    assert_eq!(assembly.stand_ins.len(), 3);
    // `like` gives it curves, and the pins of that type.
    let mut bench = Bench::new();
    let like = Valve {
        like: Some("12AX7".to_owned()),
        ..socket("9XY9")
    };
    valve(&mut bench, "V1", like, &["pa", "ga", "ka"]);
    let assembly = bench.assemble();
    assert!(assembly.unsolved.is_empty() && law(&assembly, "V1a").is_some());
}

/// Pins 3 and 6 of a 6973 are one grid: what is wired to one is on the other.
#[test]
fn doubled_pins_are_joined_inside() {
    let mut bench = Bench::new();
    let points = ["s", "", "g", "", "", "leak", "k", "s", "p"];
    valve(&mut bench, "V5", socket("6973"), &points);
    bench.supply(10.0, "leak", "ground");
    bench.resistor("R1", 1e6, "g", "ground");
    let assembly = bench.assemble();
    let Some(Law::Pentode { grid, screen, .. }) = law(&assembly, "V5") else {
        panic!("V5 is there")
    };
    assert_eq!(point(&assembly, *grid), "g");
    assert_eq!(point(&assembly, *screen), "s");
    assert!((bench.volts("g") - 10.0).abs() < 1e-4);
}

#[test]
fn half_traced_valve_waits() {
    // No plate: left out, said.
    let mut bench = Bench::new();
    valve(&mut bench, "V1", twin_triode(), &["", "ga", "ka"]);
    let assembly = bench.assemble();
    assert!(law(&assembly, "V1a").is_none());
    assert!(codes(&assembly).contains(&"valve-half-traced"));
    // No grid, cathode off ground: leaked to ground, said.
    let mut bench = Bench::new();
    valve(&mut bench, "V1", twin_triode(), &["pa", "", "ka"]);
    let assembly = bench.assemble();
    assert!(law(&assembly, "V1a").is_some());
    assert!(codes(&assembly).contains(&"grid-not-traced"));
    // No grid, cathode on ground: nobody knows the bias.
    let mut bench = Bench::new();
    valve(&mut bench, "V1", twin_triode(), &["pa", "", "ground"]);
    let assembly = bench.assemble();
    assert!(law(&assembly, "V1a").is_none());
    assert_eq!(assembly.unsolved.len(), 1);
}

/// Grid 3 of an EL34 has a pin of its own.
#[test]
fn suppressor_elsewhere_is_said() {
    for (pin, code) in [
        ("k", None),
        ("", Some("suppressor-not-traced")),
        ("ground", Some("suppressor-elsewhere")),
    ] {
        let mut bench = Bench::new();
        let points = [pin, "", "p", "s", "g", "", "", "k"];
        valve(&mut bench, "V4", socket("EL34"), &points);
        let assembly = bench.assemble();
        let said = codes(&assembly)
            .into_iter()
            .find(|c| c.starts_with("suppressor"));
        assert_eq!(said, code);
        assert!(matches!(law(&assembly, "V4"), Some(Law::Pentode { .. })));
    }
}

#[test]
fn unused_half_and_idle_plate_are_no_news() {
    let mut bench = Bench::new();
    let points = ["", "", "", "", "", "pb", "gb", "kb"];
    valve(&mut bench, "V1", twin_triode(), &points);
    let points = ["", "f1", "", "pa", "", "", "", "f2"];
    valve(&mut bench, "V3", socket("5Y3GT"), &points);
    let assembly = bench.assemble();
    assert_eq!(codes(&assembly), ["heater-not-traced"]);
    assert!(law(&assembly, "V1b").is_some());
    assert!(law(&assembly, "V3a").is_some() && law(&assembly, "V3b").is_none());
}
