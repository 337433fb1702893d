//! Transformers, tanks, loudspeakers: turns, copper, and what steady current sees.

use wiring::Conditions;
use wiring::circuit::{CouplingTransformer, Kind, OutputTransformer, PowerTransformer, Winding};

use super::bench::Bench;
use crate::assemble::Assembly;
use crate::netlist::{Law, Transformer};

fn transformer(assembly: &Assembly) -> &Transformer {
    let laws = assembly.netlist.elements.iter().map(|e| &e.law);
    let mut found = laws.filter_map(|l| match l {
        Law::Transformer(t) => Some(t),
        _ => None,
    });
    found.next().expect("there is a transformer")
}

fn output(single: bool) -> OutputTransformer {
    OutputTransformer {
        primary_impedance: Some(8000.0),
        taps: vec![(6, 4.0), (7, 8.0), (8, 16.0)],
        common: 5,
        watts: Some(18.0),
        ohms: Some(240.0),
        halves: None,
        secondary_ohms: Some(0.4),
        henries: Some(20.0),
        leakage: Some(12e-3),
        single,
        screen_taps: Some(0.43),
        ideal: false,
    }
}

const LEADS: [(&str, &str); 9] = [
    ("p1", "a"),
    ("u1", "ua"),
    ("p0", "B"),
    ("u2", "ub"),
    ("p2", "b"),
    ("s0", "ground"),
    ("s4", "s4"),
    ("s8", "s8"),
    ("s16", "s16"),
];

/// 8k:8 is the turns ratio sqrt(8000/8); taps at 43 % of each half; all senses in line.
#[test]
fn output_transformer_by_its_impedances() {
    let mut bench = Bench::new();
    bench.part("T2", Kind::OutputTransformer(output(false)), &LEADS);
    let assembly = bench.assemble();
    let w = &transformer(&assembly).windings;
    assert_eq!(w.len(), 7);
    let primary: f64 = w[..4].iter().map(|w| w.turns).sum();
    let to_8: f64 = w[4..6].iter().map(|w| w.turns).sum();
    assert!((primary / to_8 - (8000.0_f64 / 8.0).sqrt()).abs() < 1e-9);
    // From p0 outward, 43 % of the half's turns lie before the screen tap.
    assert!((w[1].turns / (0.5 * primary) - 0.43).abs() < 1e-12);
    assert!((w[2].turns / (0.5 * primary) - 0.43).abs() < 1e-12);
    let ohms: f64 = w[..4].iter().map(|w| w.ohms).sum();
    assert!((ohms - 240.0).abs() < 1e-9);
    let names = |i: usize| {
        let n = &assembly.netlist.nodes;
        (n[w[i].a].as_str(), n[w[i].b].as_str())
    };
    assert_eq!(names(0), ("a", "ua"));
    assert_eq!(names(3), ("ub", "b"));
    assert_eq!(names(4), ("s4", "ground"));
    assert_eq!(names(6), ("s16", "s8"));
    // Leakage seen from the primary: the primary's own, and the secondary's by the turns squared.
    let own: f64 = w[..4].iter().map(|w| w.leakage).sum();
    let far: f64 = w[4..].iter().map(|w| w.leakage).sum();
    let whole: f64 = w[4..].iter().map(|w| w.turns).sum();
    let seen = own + far * (primary / whole).powi(2);
    assert!((seen - 12e-3).abs() < 1e-9);
    let t = transformer(&assembly);
    assert!((t.henries_per_turn2 * primary * primary - 20.0).abs() < 1e-9);
}

/// 20 mA from the centre tap to one plate drops 20 mA x 120 ohm.
#[test]
fn half_primary_carries_its_share_of_copper() {
    let mut bench = Bench::new();
    bench.part("T2", Kind::OutputTransformer(output(false)), &LEADS);
    bench.supply(300.0, "B", "ground");
    bench.resistor("R1", 14_880.0, "a", "ground");
    let drop = 300.0 - bench.volts("a");
    assert!((drop - 300.0 * 120.0 / 15_000.0).abs() < 1e-4, "{drop}");
}

#[test]
fn untraced_secondary_hangs_and_single_has_no_centre() {
    let mut bench = Bench::new();
    let mut t = output(true);
    t.taps = vec![(3, 8.0)];
    t.common = 2;
    t.screen_taps = None;
    let leads = [("p1", "a"), ("p2", "B"), ("s0", ""), ("s1", "")];
    bench.part("T2", Kind::OutputTransformer(t.clone()), &leads);
    let assembly = bench.assemble();
    assert_eq!(transformer(&assembly).windings.len(), 1);
    t.ohms = None;
    t.secondary_ohms = None;
    t.watts = Some(5.0);
    t.primary_impedance = Some(5000.0);
    bench.circuit.parts[0].kind = Kind::OutputTransformer(t.clone());
    let assembly = bench.assemble();
    // 0.035 (15/5)^0.3 x 5000 = 243 ohm where nothing is written.
    assert!((transformer(&assembly).windings[0].ohms - 243.3).abs() < 0.1);
    assert!(
        assembly
            .notes
            .iter()
            .any(|n| n.code == "winding-ohms-assumed")
    );
    t.ideal = true;
    bench.circuit.parts[0].kind = Kind::OutputTransformer(t);
    let assembly = bench.assemble();
    assert!(transformer(&assembly).windings[0].ohms <= 1e-4);
    assert!(assembly.notes.is_empty());
}

/// `hv 325-0-325 V 120 mA 160 ohm tap bias 50 V`: the tap has its share of turns and copper.
#[test]
fn tap_on_the_high_voltage_winding() {
    let mut bench = Bench::new();
    let t = PowerTransformer {
        primary: vec![(0, 0.0), (1, 230.0)],
        primary_ohms: Some(0.0),
        windings: vec![Winding {
            name: "hv".to_owned(),
            taps: vec![(2, 325.0), (3, 50.0), (4, 0.0), (5, -325.0)],
            amps: Some(0.12),
            ohms: Some(160.0),
            halves: None,
        }],
        ideal: false,
    };
    let leads = [
        ("pri1", "live"),
        ("pri2", "neutral"),
        ("hv1", "hv1"),
        ("bias", "bias"),
        ("hv0", "ground"),
        ("hv2", "hv2"),
    ];
    bench.part("T1", Kind::PowerTransformer(t), &leads);
    let assembly = bench.assemble();
    let w = &transformer(&assembly).windings;
    assert_eq!(w.len(), 4);
    // (325 + 0.12 x 80) / 325 of the stated volts, unloaded.
    let up = 334.6 / 325.0;
    for (section, turns, ohms) in [
        (1, 275.0, 80.0 * 275.0 / 325.0),
        (2, 50.0, 80.0 * 50.0 / 325.0),
        (3, 325.0, 80.0),
    ] {
        let w = &w[section];
        assert!((w.turns - up * turns).abs() < 1e-3 * turns, "{}", w.turns);
        assert!((w.ohms - ohms).abs() < 1e-9, "{}", w.ohms);
    }
    let parameters: Vec<&str> = assembly
        .netlist
        .parameters
        .iter()
        .map(|p| p.part.as_str())
        .collect();
    assert_eq!(parameters, ["T1 primary", "T1 hv", "T1 hv", "mains"]);
}

/// Halves read apart, `105+98 ohm`.
#[test]
fn halves_read_apart_keep_their_own_copper() {
    let mut bench = Bench::new();
    let t = PowerTransformer {
        primary: vec![(0, 0.0), (1, 230.0)],
        primary_ohms: Some(20.0),
        windings: vec![Winding {
            name: "hv".to_owned(),
            taps: vec![(2, 275.0), (3, 0.0), (4, -275.0)],
            amps: Some(0.07),
            ohms: None,
            halves: Some((105.0, 98.0)),
        }],
        ideal: false,
    };
    let leads = [
        ("pri1", ""),
        ("pri2", ""),
        ("hv1", "h1"),
        ("hv0", "ground"),
        ("hv2", "h2"),
    ];
    bench.part("T1", Kind::PowerTransformer(t), &leads);
    let assembly = bench.assemble();
    let w = &transformer(&assembly).windings;
    assert!((w[1].ohms - 105.0).abs() < 1e-9 && (w[2].ohms - 98.0).abs() < 1e-9);
    assert!((w[1].turns - w[2].turns).abs() < 1e-9);
}

#[test]
fn interstage_transformer_by_its_ratio() {
    let mut bench = Bench::new();
    let t = CouplingTransformer {
        ratio: Some(3.0),
        centre_tap: true,
        halves: Some((1.5, 1.5)),
        primary_ohms: Some(400.0),
        secondary_ohms: Some(2000.0),
        henries: None,
        ideal: false,
    };
    let leads = [
        ("p1", "a"),
        ("p2", "B"),
        ("s1", "g1"),
        ("s0", "ground"),
        ("s2", "g2"),
    ];
    bench.part("T4", Kind::CouplingTransformer(t), &leads);
    let w = transformer(&bench.assemble()).windings.clone();
    let turns: Vec<f64> = w.iter().map(|w| w.turns).collect();
    assert_eq!(turns, [1.0, 1.5, 1.5]);
    assert_eq!((w[1].ohms, w[2].ohms), (1000.0, 1000.0));
}

/// A tank's coil: 8 ohm at 1 kHz of which 0.8 ohm are copper.
#[test]
fn tank_coil_has_its_impedance_at_a_kilohertz() {
    let mut bench = Bench::new();
    let kind = Kind::Tank {
        in_ohms: Some(8.0),
        out_ohms: Some(2250.0),
        seconds: Some(0.03),
    };
    let leads = [
        ("in1", "i"),
        ("in2", "ground"),
        ("out1", "o"),
        ("out2", "ground"),
        ("case", "ground"),
    ];
    bench.part("DL1", kind, &leads);
    let assembly = bench.assemble();
    for (element, z) in assembly.netlist.elements.iter().zip([8.0, 2250.0]) {
        let Law::Inductor { henries, ohms, .. } = element.law else {
            panic!("a coil")
        };
        let x = std::f64::consts::TAU * 1000.0 * henries;
        assert!((x.hypot(ohms) - z).abs() < 1e-9);
        assert!((ohms / z - 0.1).abs() < 1e-12);
    }
}

/// A loudspeaker's curve: voice coil at rest, a peak at resonance, near nominal at 400 Hz.
/// Common practice, no source.
#[test]
fn loudspeaker_curve() {
    let mut bench = Bench::new();
    let kind = Kind::Speaker { ohms: Some(8.0) };
    bench.part("LS1", kind, &[("1", "s"), ("2", "ground")]);
    let assembly = bench.assemble();
    let at = |hertz: f64| {
        let w = std::f64::consts::TAU * hertz;
        // Series coil, then three branches in parallel.
        let (mut series, mut g, mut s) = ((0.0, 0.0), 0.0, 0.0);
        for e in &assembly.netlist.elements {
            match (e.name.as_str(), &e.law) {
                ("LS1", Law::Inductor { henries, ohms, .. }) => series = (*ohms, w * henries),
                (_, Law::Inductor { henries, .. }) => s -= 1.0 / (w * henries),
                (_, Law::Resistor { ohms, .. }) => g += 1.0 / ohms,
                (_, Law::Capacitor { farads, .. }) => s += w * farads,
                _ => panic!("{}", e.name),
            }
        }
        let d = g * g + s * s;
        (series.0 + g / d).hypot(series.1 - s / d)
    };
    assert!((at(95.0) - (6.4 + 40.0)).abs() < 0.1, "{}", at(95.0));
    assert!((at(400.0) - 8.0).abs() < 1.6, "{}", at(400.0));
    assert!(at(10_000.0) > 20.0);
    bench.supply(6.4, "s", "ground");
    // 0.1 mohm stand in the motion branch, 0.1 mohm in the supply.
    assert!((bench.volts("s") - 6.4).abs() < 2e-3);
    let off = Conditions {
        speaker_on: Some(false),
        ..Conditions::default()
    };
    assert!(!bench.assemble_under(&off).elements_of.contains_key("LS1"));
}
