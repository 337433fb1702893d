//! Strain against hand formulas, ratings against the rules, and examples against sense.

use super::*;
use crate::part::{rated_volts, rated_watts};
use crate::sheet::Outcome;
use crate::testing::example_text;
use proptest::prelude::*;

fn worked(text: &str) -> Stress {
    stress(
        &wiring::read_one(text).circuit,
        Library::built_in(),
        &Asked::default(),
    )
}

fn example(name: &str) -> Stress {
    worked(&example_text(name))
}

fn of<'s>(s: &'s Stress, part: &str, kind: Place, quantity: Quantity) -> &'s Strained {
    s.parts
        .iter()
        .find(|p| p.part == part && p.kind == kind && p.quantity == quantity)
        .unwrap_or_else(|| panic!("{part} {kind:?} {quantity:?} in {:?}", s.parts))
}

/// 300 V over 100k is 0.9 W; a half-watt carbon part takes 0.25 W in a hot chassis (res.power) and
/// 350 V (res.voltage, by its size).
#[test]
fn a_resistor_by_ohm_and_by_the_rule() {
    let s = worked(
        "PS1 supply 300 V 0.001 ohm\nPS1.minus - ground\nPS1.plus - R1 100k 0.5W carbon - ground\nPS1.plus - R2 470k 0.5W carbon - ground\n\
         PS1.plus - R3 220k - ground\n",
    );
    let r1 = of(&s, "R1", Place::Resistor, Quantity::Watts);
    assert!((r1.value - 0.9).abs() < 1e-3, "{r1:?}");
    assert_eq!(r1.verdict, Verdict::Over);
    assert!((r1.needs.expect("a need") - 1.8).abs() < 1e-2);
    let volts = of(&s, "R1", Place::Resistor, Quantity::Volts);
    assert!((volts.value - 300.0).abs() < 0.1 && volts.verdict == Verdict::Fits);
    // 0.19 W of 0.5 W.
    let r2 = of(&s, "R2", Place::Resistor, Quantity::Watts);
    assert_eq!(r2.verdict, Verdict::Fits);
    let r3 = of(&s, "R3", Place::Resistor, Quantity::Watts);
    assert_eq!((r3.verdict, r3.rating), (Verdict::Unknown, None));
    let line = s
        .sheet
        .lines()
        .find(|l| l.point() == Some("R3"))
        .expect("a line");
    assert!(line.why().contains("At least 1 W"), "{}", line.why());
    assert_eq!(s.parts[0].part, "R1", "worst first");
}

/// A capacitor on 300 V: 350 V electrolytics are worked to 0.9 of their rating at most
/// (cap.electrolytic.voltage), a film part to its rating.
#[test]
fn capacitors_by_make() {
    let s = worked(
        "PS1 supply 330 V 1 ohm\nPS1.minus - ground\nPS1.plus - C1 16u 350V electrolytic - ground\nPS1.plus - C2 22n 400V film - ground\n\
         PS1.plus - C3 22n 300V film - ground\nPS1.plus - R1 100k - ground\n",
    );
    let verdict = |name| of(&s, name, Place::Capacitor, Quantity::Volts).verdict;
    assert_eq!(verdict("C1"), Verdict::Hot);
    assert_eq!(verdict("C2"), Verdict::Fits);
    assert_eq!(verdict("C3"), Verdict::Over);
}

/// What lies across the mains is marked in alternating volts: 253 V of 275 V.
#[test]
fn a_capacitor_on_the_mains_by_its_rms_volts() {
    let s = worked(
        "mains 230 V\nT1 power 230 V ideal: heater 6.3 V\nlive - T1.pri1\nneutral - T1.pri2\nlive - C1 100n 275V film - neutral\n\
         earth - ground\nV1 12AX7\nT1.heater1 - V1.4 - V1.5\nT1.heater2 - V1.9\nT1.heater1 - ground\n",
    );
    let c = of(&s, "C1", Place::Capacitor, Quantity::Volts);
    assert!((c.value - 253.0).abs() < 1.0, "{c:?}");
    assert_eq!(c.verdict, Verdict::Fits);
}

/// A follower whose grid leak ends at its own cathode: the ohms outside the valve are 1M and 1k5, though a
/// signal sees many times that.
#[test]
fn a_raised_grid_leak_counts_as_it_is() {
    let s = worked(
        "PS1 supply 300 V 1 ohm\nPS1.minus - ground\nV1 12AX7\nPS1.plus - V1.1\nV1.3 - R1 1k5 - J\nJ - R2 47k - ground\n\
         V1.2 - R3 1M - J\n",
    );
    let g = of(&s, "V1a", Place::Grid, Quantity::GridOhms);
    assert!((g.value / 1.0015e6 - 1.0).abs() < 0.01, "{g:?}");
}

#[test]
fn the_examples_have_their_figures_and_their_caution() {
    for name in ["pip", "curlew", "turnstone"] {
        let s = example(name);
        assert!(s.parts.len() > 30, "{name}: {}", s.parts.len());
        assert!(!s.failing.is_empty(), "{name}");
        assert!(!s.sheet.caution().is_empty());
        assert!(
            s.sheet.lines().all(|l| l.outcome() != Outcome::Pass),
            "nothing was read"
        );
        assert!(
            s.parts
                .iter()
                .all(|p| p.value.is_finite() && p.value >= 0.0),
            "{name}"
        );
        let plates = s.parts.iter().filter(|p| p.kind == Place::Plate);
        assert!(plates.count() > 4, "{name}");
    }
}

/// No signal, no mains, no ratings, no valves: no figures, and no nonsense.
#[test]
fn half_a_tracing_and_nothing() {
    for text in [
        "",
        "R1 100k\n",
        "V1 12AX7\nV1.1 - R1 100k - +300\n",
        "C1 22n - R1 1M - ground\n",
    ] {
        let s = worked(text);
        assert!(s.parts.iter().all(|p| p.value.is_finite()), "{text}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// What is proposed never lies below the computed need, nor below what the part stands now.
    #[test]
    fn nothing_is_proposed_below_its_need(
        volts in 1.0..900.0_f64,
        ohms in 10.0..1e7_f64,
        rated in prop_oneof![Just(None), (1u32..200).prop_map(|w| Some(f64::from(w) / 10.0))],
        cap in prop_oneof![Just(None), (10u32..900).prop_map(|v| Some(f64::from(v)))],
    ) {
        let rating = rated.map_or_else(String::new, |w| format!(" {w}W"));
        let stands = cap.map_or_else(String::new, |v| format!(" {v}V"));
        let text = format!(
            "PS1 supply {volts} V 0.001 ohm\nPS1.minus - ground\nPS1.plus - R1 {ohms}{rating} - ground\n\
             PS1.plus - C1 10u{stands} electrolytic - ground\n"
        );
        let s = worked(&text);
        for p in &s.parts {
            if let Some(needs) = p.needs {
                prop_assert!(needs >= p.value, "{p:?}");
                if let (Quantity::Watts, Some(sold)) = (p.quantity, rated_watts(needs)) {
                    prop_assert!(sold * 0.6 >= p.value, "{p:?} {sold}");
                }
                if let (Place::Capacitor, Some(sold)) = (p.kind, rated_volts(needs)) {
                    prop_assert!(sold >= p.value, "{p:?} {sold}");
                }
            }
            if p.verdict == Verdict::Fits {
                prop_assert!(p.limit.is_some_and(|l| p.value <= l));
            }
        }
    }
}
