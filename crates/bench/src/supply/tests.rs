//! The supply against hand formulas, an independent sum, and a second integrator.

use super::*;
use crate::sheet::Outcome;
use crate::supply::numbers::{Numbers, Rectifying};
use crate::testing::example;
use std::f64::consts::SQRT_2;

fn worked(circuit: &Circuit) -> Supply {
    supply(circuit, Library::built_in(), &Asked::default(), None)
}

fn rail<'s>(s: &'s Supply, point: &str) -> &'s Rail {
    s.rails
        .iter()
        .find(|r| r.point == point)
        .unwrap_or_else(|| panic!("{point}: {:?}", s.rails))
}

fn draw<'s>(rail: &'s Rail, part: &str) -> &'s Draw {
    rail.draws
        .iter()
        .find(|d| d.part == part)
        .unwrap_or_else(|| panic!("{part}: {:?}", rail.draws))
}

/// Every rail's currents sum to nothing, and each dropping resistor carries by Ohm's law what
/// the rails behind it draw: recomputed here from the printed volts alone.
#[test]
fn rails_add_up_by_hand() {
    for name in ["pip", "curlew", "turnstone"] {
        let circuit = example(name);
        let s = worked(&circuit);
        assert!(s.rails.len() >= 3, "{name}");
        let mut dropped = 0;
        for r in &s.rails {
            let left = r.left_over_ma.expect("a figure");
            assert!(left.abs() < 1e-3, "{name} {}: {left} mA left over", r.point);
            for d in &r.draws {
                let part = &circuit.parts[circuit.part(&d.part).expect("a part").0];
                let Kind::Resistor { ohms } = part.kind else {
                    continue;
                };
                let ohms = crate::powered::value(part, ohms).expect("a value");
                let other = s.rails.iter().find(|o| d.feeds == o.point);
                let (Some(here), Some(there)) = (r.volts, other.and_then(|o| o.volts)) else {
                    continue;
                };
                dropped += 1;
                let wanted = (here - there) / ohms * 1e3;
                assert!(
                    (d.ma - wanted).abs() < 1e-3 * wanted.abs().max(1.0),
                    "{name} {}: {} for {wanted}",
                    d.part,
                    d.ma
                );
            }
        }
        assert!(dropped >= 2, "{name}");
    }
}

/// What a rail takes from the one before is what that one says it gives.
#[test]
fn what_leaves_one_rail_enters_the_next() {
    let s = worked(&example("pip"));
    let out = draw(rail(&s, "B1"), "R14").ma;
    let into = rail(&s, "B2").in_ma.expect("a figure");
    assert!((out - into).abs() < 1e-3, "{out} {into}");
    assert!(draw(rail(&s, "B1"), "T2").feeds.contains("V2.3"));
    assert!(draw(rail(&s, "B3"), "R4").feeds.contains("plate a"));
}

/// Transformer peak arithmetic: no-load volts of a half times the highest mains over the
/// primary times the root of two. The no-load volts are the stated ones and the current times
/// the ohms of half the winding, and what that current drops in the primary.
#[test]
fn highest_volts_follow_the_unloaded_winding() {
    let s = worked(&example("pip"));
    let found = rail(&s, "B1").surge_v.expect("a figure");
    // 265 V + 75 mA x 140 ohm at 230 V. Below it by the drop of the 5Y3GT: the bleeder and the heater
    // divider take 3 mA in pulses of some 35 mA, 21 V by its law (50 V at 125 mA), and 6 V in the ohms.
    let peak = (265.0 + 0.075 * 140.0) * 253.0 / 230.0 * SQRT_2;
    let drop = 50.0 * (0.035_f64 / 0.125).powf(2.0 / 3.0) + 0.035 * 166.0;
    assert!(
        (found - (peak - drop)).abs() < 0.03 * peak,
        "{found} for {peak} less {drop}"
    );
    assert!(found > rail(&s, "B1").volts.expect("volts"));
    let text = s.sheet.notes.join(" ");
    assert!(text.contains("at every cold start"), "{text}");
}

#[test]
fn without_a_bleeder_the_reservoir_keeps_its_charge() {
    let text = "T1 power 230 V: hv 250-0-250 V 70 mA\nT1.hv1 - D1> silicon - B1\nT1.hv2 - D2> silicon - B1\n\
        T1.hv0 - ground\nB1 - +C1 32u 450V - ground\nSTANDBY switch open\nB1 - STANDBY - B2\n\
        B2 - +C2 32u 450V - ground\nB2 - R1 220k - ground\n";
    let circuit = wiring::read_one(text).circuit;
    let s = worked(&circuit);
    assert_eq!(rail(&s, "B1").discharge_s, None);
    let b2 = rail(&s, "B2").discharge_s.expect("R1 empties it");
    assert!(
        (b2 / (220e3 * 32e-6 * (rail(&s, "B2").surge_v.expect("v") / 10.0).ln()) - 1.0).abs()
            < 0.02
    );
    let open = s.sheet.lines().any(|l| {
        l.point() == Some("C1") && l.what().contains("keeps") && l.outcome() == Outcome::Open
    });
    assert!(open, "{:?}", s.sheet);
    let closed = Asked {
        sets: vec![wiring::circuit::Setting {
            name: "STANDBY".to_owned(),
            to: wiring::circuit::Position::Closed,
            place: wiring::Place::default(),
        }],
        ..Asked::default()
    };
    let s = supply(&circuit, Library::built_in(), &closed, None);
    let both = rail(&s, "B1").discharge_s.expect("through the switch");
    assert!(both > 1.8 * b2, "{both} for twice the farads");
}

/// A capacitor rated below what it meets fails; the surge rating is told, never taken as the limit.
#[test]
fn a_capacitor_below_its_cold_volts_fails() {
    let text = "T1 power 230 V: hv 300-0-300 V\nT1.hv1 - D1> silicon 1000V - B1\nT1.hv2 - D2> silicon 400V - B1\n\
        T1.hv0 - ground\nB1 - +C1 32u 450V - ground\nB1 - R1 100k - ground\n";
    let s = worked(&wiring::read_one(text).circuit);
    let line = s
        .sheet
        .lines()
        .find(|l| l.point() == Some("C1") && l.limit().is_some())
        .expect("a line");
    assert_eq!(line.outcome(), Outcome::Fail);
    assert!(
        line.limit()
            .and_then(|l| l.at_most)
            .is_some_and(|v| v <= 450.0)
    );
    // 2 x 1.414 x 300 x 1.1 = 933 V inverse: too much for the 400 V diode.
    let r = s.rectifier.as_ref().expect("a rectifier");
    assert!(
        (r.inverse_volts_highest - 2.0 * SQRT_2 * 330.0).abs() < 15.0,
        "{r:?}"
    );
    let failed = s.sheet.lines().any(|l| {
        l.point() == Some("D2") && l.what().contains("inverse") && l.outcome() == Outcome::Fail
    });
    assert!(failed, "{:?}", s.sheet);
}

/// Capacitor-input rectifier with typed numbers, against the published row of the 5Y3GT:
/// 350 V rms per plate, 10 uF, 50 ohm, 125 mA give 350 V (the row's source is in the data file,
/// from memory, not seen; 5 % accepted there for the law of the valve).
#[test]
fn typed_numbers_meet_a_published_row() {
    let s = numbers::supply(
        &Numbers {
            winding_volts: 350.0,
            winding_amps: None,
            winding_ohms: Some(98.0),
            primary_volts: 120.0,
            primary_ohms: Some(0.12),
            rectifier: Rectifying::Valve("5Y3GT".to_owned()),
            reservoir_farads: 10e-6,
            reservoir_volts: Some(450.0),
            load_amps: 0.125,
            bleeder_ohms: None,
            mains_volts: Some(120.0),
        },
        Library::built_in(),
    )
    .expect("a supply");
    let volts = rail(&s, "B1").volts.expect("volts");
    assert!((volts / 350.0 - 1.0).abs() < 0.05, "{volts}");
    let r = s.rectifier.as_ref().expect("a rectifier");
    assert!((r.mean_ma - 125.0).abs() < 1.0, "{}", r.mean_ma);
    let ohms = r.source_ohms.expect("ohms");
    assert!((ohms - 50.0).abs() < 5.0, "{ohms}");
    assert_eq!(
        rail(&s, "B1").discharge_s,
        None,
        "the load is no path when cold"
    );
    let surge = rail(&s, "B1").surge_v.expect("volts");
    assert!(
        (surge / (350.0 * SQRT_2 * 1.05) - 1.0).abs() < 0.02,
        "{surge}"
    );
    let unknown = Numbers {
        rectifier: Rectifying::Valve("5Y4".to_owned()),
        ..row()
    };
    assert!(numbers::supply(&unknown, Library::built_in()).is_err());
    let nonsense = Numbers {
        load_amps: f64::NAN,
        ..row()
    };
    assert!(numbers::supply(&nonsense, Library::built_in()).is_err());
}

fn row() -> Numbers {
    Numbers {
        winding_volts: 250.0,
        winding_amps: None,
        winding_ohms: None,
        primary_volts: 230.0,
        primary_ohms: None,
        rectifier: Rectifying::Bridge,
        reservoir_farads: 47e-6,
        reservoir_volts: None,
        load_amps: 0.1,
        bleeder_ohms: None,
        mains_volts: None,
    }
}

#[test]
fn half_a_tracing_gives_what_it_holds() {
    for text in [
        "",
        "V1 12AX7\nV1.1 - R4 100k - B3\n",
        "B1 - +C1 16u 450V - ground\n",
        "T1 power 230 V: hv 250-0-250 V\n",
        "live - F1 fuse 1A - S1 switch closed - T1.pri1\nT1 power 230 V: hv 250-0-250 V\nneutral - T1.pri2\n",
    ] {
        let s = worked(&wiring::read_one(text).circuit);
        assert!(!s.sheet.missing.is_empty(), "{text}");
        assert!(s.sheet.caution().contains("holds voltages that kill"));
        assert_eq!(s.sheet.count(Outcome::Pass), 0);
    }
}

/// No link is proposed above the marking, on any example, whatever is marked; and with none marked the
/// one in the wiring counts.
#[test]
fn no_fuse_above_the_marking() {
    use crate::fuse::{Family, Pace};
    for name in ["pip", "curlew", "turnstone"] {
        let circuit = example(name);
        let written = worked(&circuit);
        let fuse = written.mains_fuse.as_ref().expect("a mains fuse");
        let marked = written
            .fuses
            .iter()
            .find(|f| f.mains)
            .and_then(|f| f.marked_amps);
        assert!(
            fuse.links.iter().all(|l| Some(l.amps) <= marked),
            "{name} {fuse:?}"
        );
        for amps in [0.1, 0.25, 0.5, 1.0, 2.0, 5.0] {
            let marking = Marking {
                text: format!("T{amps}A"),
                amps,
                family: Some("iec"),
                pace: Some(Pace::TimeLag),
            };
            let s = supply(
                &circuit,
                Library::built_in(),
                &Asked::default(),
                Some(&marking),
            );
            let fuse = s.mains_fuse.expect("a mains fuse");
            let home = Family::of("iec").map(|f| f.standard.clone());
            assert!(
                fuse.links.iter().all(|l| l.amps <= amps),
                "{name} {amps}: {fuse:?}"
            );
            assert!(
                fuse.links
                    .iter()
                    .all(|l| Some(&l.standard) != home.as_ref() || fuse.amps <= l.amps),
                "{name}: what is proposed carries the current at rest"
            );
        }
    }
}

/// Into an empty capacitor that does not fill within the half wave, the first current is the crest of the winding at the
/// highest mains over the ohms in the way: textbook arithmetic. The mains carries it by the ratio of turns.
#[test]
fn the_switch_closes_at_the_crest() {
    let text = "mains 230 V\nT1 power 230 V ideal: hv 200-0-200 V\nT1.hv1 - R1 200 - D1> silicon - B1\n\
        T1.hv2 - R2 200 - D2> silicon - B1\nT1.hv0 - ground\nB1 - +C1 1000u 450V - ground\nB1 - R3 10k 20W - ground\n\
        live - T1.pri1\nneutral - T1.pri2\n";
    let circuit = wiring::read_one(text).circuit;
    let found = supply(&circuit, Library::built_in(), &Asked::default(), None);
    let inrush = found.inrush.expect("a switch-on");
    let peak = 200.0 * 253.0 / 230.0 * std::f64::consts::SQRT_2 / 200.0;
    let diode = inrush.rectifier_peak_amps.expect("diodes");
    assert!((diode / peak - 1.0).abs() < 0.02, "{diode} for {peak}");
    let mains = inrush.peak_amps / (peak * 200.0 / 230.0);
    assert!((mains - 1.0).abs() < 0.03, "{mains}");
    // four cycles of at most that current, and it only falls
    let most = 0.5 * inrush.peak_amps * inrush.peak_amps * 0.08;
    assert!(
        inrush.square_seconds > 0.0 && inrush.square_seconds < most,
        "{inrush:?} {most}"
    );
    let none = wiring::read_one("V1 12AX7\n").circuit;
    let none = supply(&none, Library::built_in(), &Asked::default(), None);
    assert!(none.inrush.is_none() && none.what_if.is_empty());
}

/// Ripple and highest volts are those of the amplifier let run from nothing, diodes and mains instant by instant: a second
/// way that knows no averages. Accepted: 5 % of the ripple, 2 % of the highest volts.
#[test]
fn ripple_and_highest_volts_are_those_of_the_circuit_let_run() {
    for name in ["pip", "curlew", "turnstone"] {
        // a tremolo that runs draws more than the amplifier at rest: its foot switch is closed
        let text = crate::testing::example_text(name);
        let foot = if name == "curlew" {
            "\nphb - R99 1k - ground\n"
        } else {
            "\n"
        };
        let circuit = wiring::read_one(&format!("{text}{foot}")).circuit;
        let asked = Asked::default();
        let told = supply(&circuit, Library::built_in(), &asked, None);
        let rail = told.rails.first().expect("a rail");
        let node = circuit.node(&rail.point).expect("its name");
        let under = crate::powered::conditions(&asked, crate::powered::block(&circuit, &asked));
        let warm = Powered::new(&circuit, Library::built_in(), &under).expect("solved");
        let whole = &warm.solved.assembly.netlist;
        let at = warm.node(node).expect("in the equations");
        let mut run = solve::time::Running::empty(whole)
            .expect("running")
            .with_accuracy(1e-5);
        run.until(2.5).expect("run");
        // ten cycles; multiples of the mains count, not what still settles
        let (count, cycles) = (2000, 10.0);
        let wave: Vec<f64> = (1..=count)
            .map(|i| {
                let share = f64::from(i) / f64::from(count);
                run.until(2.5 + cycles / whole.hertz * share).expect("run");
                run.volts(at)
            })
            .collect();
        let square: f64 = (1..=12)
            .map(|order| {
                let (mut re, mut im) = (0.0, 0.0);
                for (i, v) in (1..=count).zip(&wave) {
                    let turn =
                        std::f64::consts::TAU * cycles * f64::from(order * i) / f64::from(count);
                    // a raised cosine, so that a slow sway does not spill over
                    let window =
                        1.0 - (std::f64::consts::TAU * f64::from(i) / f64::from(count)).cos();
                    re += v * window * turn.cos() / f64::from(count);
                    im += v * window * turn.sin() / f64::from(count);
                }
                2.0 * (re * re + im * im)
            })
            .sum();
        let seen = square.sqrt();
        let ripple = rail.ripple_v.expect("ripple");
        assert!(
            (ripple / seen - 1.0).abs() < 0.05,
            "{name}: {ripple} {seen}"
        );

        let surge = crate::surge::surge(
            &circuit,
            Library::built_in(),
            &wiring::roles::anatomy(&circuit),
            &asked,
        );
        let cold = surge.cold.as_ref().expect("cold");
        let at = cold.node(node).expect("in the equations");
        let mut run = solve::time::Running::empty(&cold.solved.assembly.netlist)
            .expect("running")
            .with_accuracy(1e-4);
        let mut highest = 0.0_f64;
        for step in 1..=2000 {
            run.until(1e-3 * f64::from(step)).expect("run");
            highest = highest.max(run.volts(at));
        }
        let told = rail.surge_v.expect("highest volts");
        assert!(
            (told / highest - 1.0).abs() < 0.02,
            "{name}: {told} {highest}"
        );
    }
}
