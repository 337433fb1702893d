//! Where the mains comes in, traced or not.

use wiring::Conditions;
use wiring::circuit::{Kind, Mains, MeasuredValue, Position, PowerTransformer, Winding};

use super::bench::{Bench, read};
use crate::assemble::Assembly;
use crate::netlist::{Law, Transformer};

fn power(primary: &[f64]) -> Kind {
    let n = primary.len();
    Kind::PowerTransformer(PowerTransformer {
        primary: primary.iter().copied().enumerate().collect(),
        primary_ohms: Some(10.0),
        windings: vec![Winding {
            name: "heater".to_owned(),
            taps: vec![(n, 6.3), (n + 1, 0.0)],
            amps: Some(2.0),
            ohms: Some(0.1),
            halves: None,
        }],
        ideal: false,
    })
}

fn transformer(assembly: &Assembly) -> &Transformer {
    let laws = assembly.netlist.elements.iter().map(|e| &e.law);
    let mut found = laws.filter_map(|l| match l {
        Law::Transformer(t) => Some(t),
        _ => None,
    });
    found.next().expect("there is a transformer")
}

fn mains(assembly: &Assembly) -> Option<(usize, usize, f64, f64)> {
    let laws = assembly.netlist.elements.iter().map(|e| &e.law);
    let mut found = laws.filter_map(|l| match l {
        Law::Alternating {
            a,
            b,
            volts,
            hertz,
            mains: true,
            ..
        } => Some((*a, *b, *volts, *hertz)),
        _ => None,
    });
    found.next()
}

fn codes(assembly: &Assembly) -> Vec<&str> {
    assembly.notes.iter().map(|n| n.code).collect()
}

/// live - F1 - S1 - pri1, neutral - pri2, earth on the chassis: all as traced.
fn traced() -> Bench {
    let mut bench = Bench::new();
    let fuse = Kind::Fuse {
        amps: Some(0.4),
        slow: true,
    };
    bench.part("F1", fuse, &[("1", "live"), ("2", "f")]);
    let switch = Kind::Switch {
        throws: 1,
        start: 1,
    };
    bench.part("S1", switch, &[("1", "f"), ("2", "p1")]);
    let leads = [
        ("pri1", "p1"),
        ("pri2", "neutral"),
        ("heater1", "h1"),
        ("heater2", "ground"),
    ];
    bench.part("T1", power(&[0.0, 230.0]), &leads);
    bench.circuit.nodes[0].names.push("earth".to_owned());
    bench
}

#[test]
fn traced_mains_is_taken_as_it_is() {
    let bench = traced();
    let assembly = bench.assemble();
    assert_eq!(codes(&assembly), Vec::<&str>::new());
    let (live, neutral, volts, hertz) = mains(&assembly).unwrap();
    assert_eq!(assembly.netlist.nodes[live], "live");
    assert_eq!(assembly.netlist.nodes[neutral], "neutral");
    assert_eq!((volts, hertz, assembly.netlist.hertz), (230.0, 50.0, 50.0));
    let primary = &transformer(&assembly).windings[0];
    assert_eq!(assembly.netlist.nodes[primary.a], "p1");
    assert_eq!(assembly.netlist.nodes[primary.b], "neutral");
    assert_eq!(primary.turns, 230.0);
    // Neutral meets earth at the supply: half an ohm, not the high tie.
    let earth = assembly.netlist.elements.iter().find_map(|e| match e.law {
        Law::Resistor { a, b: 0, ohms } if a == neutral => Some(ohms),
        _ => None,
    });
    assert_eq!(earth, Some(0.5));
}

/// Block before heading before primary; frequency by what the amplifier is made for.
#[test]
fn whose_volts_count() {
    let mut bench = traced();
    bench.circuit.heading.mains = Some(Mains {
        volts: 233.0,
        hertz: None,
    });
    assert_eq!(mains(&bench.assemble()).unwrap().2, 233.0);
    let mut block = Conditions {
        mains_volts: Some(100.0),
        ..Conditions::default()
    };
    let (_, _, volts, hertz) = mains(&bench.assemble_under(&block)).unwrap();
    assert_eq!((volts, hertz), (100.0, 50.0));
    block.mains_hertz = Some(60.0);
    assert_eq!(mains(&bench.assemble_under(&block)).unwrap().3, 60.0);
    block.mains_volts = Some(0.0);
    assert_eq!(mains(&bench.assemble_under(&block)).unwrap().2, 0.0);
    block.power_off = true;
    assert_eq!(mains(&bench.assemble_under(&block)), None);
}

/// An open switch or a missing fuse in a traced path kills the transformer: nothing bridges it.
#[test]
fn traced_break_is_not_bridged() {
    for damage in 0..3 {
        let mut bench = traced();
        match damage {
            0 => bench.set("S1", Position::Open),
            1 => bench.circuit.parts[0].known.reading = read(MeasuredValue::Open, false),
            _ => super::bench::removed(&mut bench.circuit.parts[0]),
        }
        let assembly = bench.assemble();
        assert_eq!(codes(&assembly), Vec::<&str>::new());
        let p1 = transformer(&assembly).windings[0].a;
        let live = mains(&assembly).unwrap().0;
        assert_ne!(p1, live);
        let bridged = assembly.netlist.elements.iter().any(|e| match e.law {
            Law::Resistor { a, b, ohms } => ohms < 1e3 && (a, b) == (live, p1),
            _ => false,
        });
        assert!(!bridged);
    }
}

#[test]
fn untraced_mains_counts_as_energised() {
    let mut bench = Bench::new();
    let leads = [
        ("pri1", ""),
        ("pri2", ""),
        ("heater1", "h1"),
        ("heater2", "h2"),
    ];
    bench.part("T1", power(&[0.0, 117.0]), &leads);
    let assembly = bench.assemble();
    assert_eq!(codes(&assembly), ["mains-not-traced"]);
    let (a, b, volts, hertz) = mains(&assembly).unwrap();
    assert_eq!((volts, hertz), (117.0, 60.0));
    let primary = &transformer(&assembly).windings[0];
    assert_eq!((primary.a, primary.b), (a, b));
    // The mains side floats against circuit ground: a tie above a gigohm, no more.
    let tie =
        assembly.netlist.elements.iter().any(
            |e| matches!(e.law, Law::Resistor { a, b: 0, ohms } if ohms > 1e9 && a == primary.b),
        );
    assert!(tie);
}

/// Only the live side is traced: the other counts as connected, so the switch still decides.
#[test]
fn half_a_mains_is_completed() {
    let mut bench = traced();
    bench.circuit.parts[2].terminals[1].node = None;
    let assembly = bench.assemble();
    assert_eq!(codes(&assembly), ["mains-half-traced"]);
    let (_, neutral, _, _) = mains(&assembly).unwrap();
    assert_eq!(transformer(&assembly).windings[0].b, neutral);
    bench.set("S1", Position::Open);
    let assembly = bench.assemble();
    let live = mains(&assembly).unwrap().0;
    assert_ne!(transformer(&assembly).windings[0].a, live);
}

/// `power 0-110-220-240 V`: the wired taps decide; with none wired, the nearest to the mains.
#[test]
fn tapped_primary() {
    let leads = |pri0, pri220, pri240| {
        [
            ("pri0", pri0),
            ("pri110", ""),
            ("pri220", pri220),
            ("pri240", pri240),
            ("heater1", "h1"),
            ("heater2", "h2"),
        ]
    };
    let mut bench = Bench::new();
    bench.part(
        "T1",
        power(&[0.0, 110.0, 220.0, 240.0]),
        &leads("neutral", "live", ""),
    );
    let assembly = bench.assemble();
    let primary = &transformer(&assembly).windings[0];
    assert_eq!(primary.turns, 220.0);
    assert!((primary.ohms - 10.0 * 220.0 / 240.0).abs() < 1e-12);
    assert_eq!(mains(&assembly).unwrap().2, 220.0);

    let mut bench = Bench::new();
    bench.part("T1", power(&[0.0, 110.0, 220.0, 240.0]), &leads("", "", ""));
    bench.circuit.heading.mains = Some(Mains {
        volts: 233.0,
        hertz: None,
    });
    let assembly = bench.assemble();
    assert_eq!(transformer(&assembly).windings[0].turns, 240.0);
    assert!(codes(&assembly).contains(&"tap-assumed"));
}

/// A 60 W lamp in series is made for the mains that the primary is made for.
#[test]
fn limiter_is_a_filament_in_the_live_lead() {
    let block = Conditions {
        limiter_watts: Some(60.0),
        mains_volts: Some(120.0),
        ..Conditions::default()
    };
    let assembly = traced().assemble_under(&block);
    let (socket, neutral, _, _) = mains(&assembly).unwrap();
    let lamp = assembly.netlist.elements.iter().find_map(|e| match e.law {
        Law::Filament { a, b, law } => Some((a, b, law)),
        _ => None,
    });
    let (a, b, law) = lamp.expect("there is a lamp");
    assert_eq!(a, socket);
    assert_eq!(assembly.netlist.nodes[b], "live");
    assert_ne!(neutral, b);
    assert_eq!(law.volts, 230.0);
    assert!((law.amps - 60.0 / 230.0).abs() < 1e-12);
    assert!((0.06..=0.1).contains(&law.cold));
}

#[test]
fn no_mains_at_all_is_no_mains() {
    let mut bench = Bench::new();
    bench.supply(300.0, "B", "ground");
    bench.resistor("R1", 1e3, "B", "ground");
    let assembly = bench.assemble();
    assert_eq!(assembly.netlist.hertz, 0.0);
    assert!(mains(&assembly).is_none());
    assert!(assembly.notes.is_empty() && assembly.unsolved.is_empty());
}
