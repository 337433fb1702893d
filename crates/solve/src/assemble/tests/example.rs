//! A whole small amplifier, part by part: one 12AX7, one 6V6GT, a 5Y3GT supply.

use wiring::circuit::{
    Kind, Mains, MeasuredValue, OutputTransformer, Position, PowerTransformer, Taper, Valve,
    ValveLimits, Winding,
};

use super::bench::{Bench, read};

fn valve(meant: &str) -> Kind {
    Kind::Valve(Valve {
        meant: meant.to_owned(),
        fitted: None,
        emission: None,
        electrodes: Vec::new(),
        limits: ValveLimits::default(),
        like: None,
    })
}

fn winding(name: &str, taps: &[(usize, f64)], amps: f64, ohms: Option<f64>) -> Winding {
    Winding {
        name: name.to_owned(),
        taps: taps.to_vec(),
        amps: Some(amps),
        ohms,
        halves: None,
    }
}

/// Five watts, single-ended, cathode bias, volume at 5, 233 V at the wall.
pub(super) fn five_watts() -> Bench {
    let mut bench = Bench::new();
    bench.circuit.nodes[0]
        .names
        .extend(["chassis", "earth"].map(str::to_owned));
    bench.circuit.heading.mains = Some(Mains {
        volts: 233.0,
        hertz: Some(50.0),
    });
    let pins = |points: [&'static str; 9]| {
        let names = ["1", "2", "3", "4", "5", "6", "7", "8", "9"];
        names.into_iter().zip(points).collect::<Vec<_>>()
    };
    let v1 = pins([
        "V1.1", "V1.2", "V1.3", "h1", "h1", "V1.6", "wiper", "V1.8", "h2",
    ]);
    bench.part("V1", valve("12AX7"), &v1);
    let v2 = pins(["", "h1", "V2.3", "B2", "V2.5", "", "h2", "V2.8", ""]);
    bench.part("V2", valve("6V6GT"), &v2[..8]);
    let v3 = pins(["", "f2", "", "hv1", "", "hv2", "", "B1", ""]);
    bench.part("V3", valve("5Y3GT"), &v3[..8]);
    bench.part(
        "T1",
        Kind::PowerTransformer(PowerTransformer {
            primary: vec![(0, 0.0), (1, 230.0)],
            primary_ohms: None,
            windings: vec![
                winding(
                    "hv",
                    &[(2, 275.0), (3, 0.0), (4, -275.0)],
                    0.07,
                    Some(210.0),
                ),
                winding("heater", &[(5, 6.3), (6, 0.0)], 2.5, None),
                winding("rect", &[(7, 5.0), (8, 0.0)], 2.0, None),
            ],
            ideal: false,
        }),
        &[
            ("pri1", "switched"),
            ("pri2", "neutral"),
            ("hv1", "hv1"),
            ("hv0", "ground"),
            ("hv2", "hv2"),
            ("heater1", "h1"),
            ("heater2", "h2"),
            ("rect1", "B1"),
            ("rect2", "f2"),
        ],
    );
    bench.part(
        "T2",
        Kind::OutputTransformer(OutputTransformer {
            primary_impedance: Some(5000.0),
            taps: vec![(3, 8.0)],
            common: 2,
            watts: Some(5.0),
            ohms: Some(190.0),
            halves: None,
            secondary_ohms: None,
            henries: None,
            leakage: None,
            single: true,
            screen_taps: None,
            ideal: false,
        }),
        &[
            ("p1", "V2.3"),
            ("p2", "B1"),
            ("s0", "ground"),
            ("s1", "speaker"),
        ],
    );
    let speaker = Kind::Speaker { ohms: Some(8.0) };
    bench.part("LS1", speaker, &[("1", "speaker"), ("2", "ground")]);
    let jack = Kind::Jack {
        stereo: false,
        phono: false,
    };
    let leads = [("tip", "tip"), ("sleeve", "ground"), ("break", "")];
    bench.part("J1", jack, &leads);
    let pot = Kind::Pot {
        ohms: Some(1e6),
        taper: Taper::Audio(10.0),
        switch: None,
    };
    let leads = [("1", "ground"), ("2", "wiper"), ("3", "top")];
    bench.part("VOLUME", pot, &leads);
    bench.set("VOLUME", Position::Number(5.0));
    for (name, ohms, a, b) in [
        ("R1", 1e6, "tip", "ground"),
        ("R2", 47e3, "tip", "V1.2"),
        ("R3", 1.8e3, "V1.3", "ground"),
        ("R4", 100e3, "V1.1", "B3"),
        ("R5", 1.8e3, "V1.8", "ground"),
        ("R6", 470.0, "V2.8", "ground"),
        ("R7", 100e3, "V1.6", "B3"),
        ("R8", 470e3, "V2.5", "ground"),
        ("R9", 1.5e3, "B1", "B2"),
        ("R10", 22e3, "B2", "B3"),
        ("R11", 100.0, "h1", "ground"),
        ("R12", 100.0, "h2", "ground"),
    ] {
        let part = bench.resistor(name, ohms, a, b);
        if name == "R6" {
            part.known.reading = read(MeasuredValue::Is(560.0), false);
        }
    }
    for (name, farads, polarised, a, b) in [
        ("C1", 25e-6, true, "V1.3", "ground"),
        ("C2", 10e-9, false, "V1.1", "top"),
        ("C4", 24e-9, false, "V1.6", "V2.5"),
        ("C5", 22e-6, true, "V2.8", "ground"),
        ("C6", 16e-6, true, "B1", "ground"),
        ("C7", 16e-6, true, "B2", "ground"),
        ("C8", 8e-6, true, "B3", "ground"),
    ] {
        let kind = Kind::Capacitor {
            farads: Some(farads),
            plus_first: polarised.then_some(true),
        };
        let part = bench.part(name, kind, &[("1", a), ("2", b)]);
        if name == "C4" {
            part.known.leak_ohms = Some(200e6);
        }
    }
    let fuse = Kind::Fuse {
        amps: Some(0.4),
        slow: true,
    };
    bench.part("F1", fuse, &[("1", "live"), ("2", "fused")]);
    let switch = Kind::Switch {
        throws: 1,
        start: 1,
    };
    bench.part("S1", switch, &[("1", "fused"), ("2", "switched")]);
    bench
}

/// Everything is traced: all three heaters, the mains, every section; nothing is unsolved.
#[test]
fn whole_amplifier_assembles_without_a_gap() {
    let assembly = five_watts().assemble();
    assert!(assembly.unsolved.is_empty(), "{:?}", assembly.unsolved);
    let codes: Vec<&str> = assembly.notes.iter().map(|n| n.code).collect();
    assert_eq!(codes, ["winding-ohms-assumed", "winding-ohms-assumed"]);
    let lit: Vec<&str> = assembly
        .netlist
        .heating
        .iter()
        .map(|h| h.valve.as_str())
        .collect();
    assert_eq!(lit, ["V1", "V2", "V3"]);
    assert_eq!(assembly.netlist.hertz, 50.0);
    assert!(assembly.stand_ins.is_empty());
}
