//! Heaters against hand formulas and the sheets' limits.

use super::*;
use crate::sheet::Outcome;
use crate::testing::example;

fn worked(text: &str) -> Heating {
    heating(
        &wiring::read_one(text).circuit,
        Library::built_in(),
        &Asked::default(),
    )
}

fn of(circuit: &Circuit) -> Heating {
    heating(circuit, Library::built_in(), &Asked::default())
}

/// An ideal winding gives its volts by turns: 6.3 V at 230 V is 6.93 V at 253 V and 5.67 V at 207 V.
/// 1k pair at 100 ohm: `(V/2)^2 / R` each.
#[test]
fn an_ideal_winding_by_turns_and_a_pair_by_ohm() {
    let text = "mains 230 V\nT1 power 230 V ideal: heater 6.3 V\nlive - T1.pri1\nneutral - T1.pri2\nV1 12AX7\n\
        T1.heater1 - V1.4 - V1.5\nT1.heater2 - V1.9\nT1.heater1 - R1 100 0.5W carbon - ground\nT1.heater2 - R2 100 0.5W carbon - ground\n";
    let h = worked(text);
    let s = &h.supplies[0];
    let v = &s.sockets[0];
    assert_eq!(v.pins, "4+5 and 9");
    assert!(
        (v.rated_volts - 6.3).abs() < 1e-9 && (v.rated_amps - 0.3).abs() < 1e-9,
        "{v:?}"
    );
    let near =
        |a: Option<f64>, b: f64| assert!((a.expect("volts") - b).abs() < 0.01, "{a:?} for {b}");
    near(v.volts, 6.3);
    near(v.volts_highest, 6.93);
    near(v.volts_lowest, 5.67);
    assert_eq!(s.reference.sort, ReferenceSort::ResistorPair);
    let half = 6.93 / 2.0;
    for b in &s.reference.balance {
        let watts = b.watts.expect("watts");
        assert!(
            (watts / (half * half / 100.0) - 1.0).abs() < 0.02,
            "{watts}"
        );
    }
    let hum = s.hum.as_ref().expect("hum");
    assert!(hum.common_v < 0.01, "{hum:?}");
    // 5 % out of match moves the middle by a fortieth of the winding's volts: 6.3 x 0.05 / 2.
    assert!((hum.common_matched_v - 6.3 * 0.05 / 2.0).abs() < 1e-3);
}

/// Unequal resistors: the middle lies at `V (R1 - R2) / (2 (R1 + R2))` off ground.
#[test]
fn an_unequal_pair_swings_as_the_divider_says() {
    let text = "mains 230 V\nT1 power 230 V ideal: heater 6.3 V\nlive - T1.pri1\nneutral - T1.pri2\nV1 12AX7\n\
        T1.heater1 - V1.4 - V1.5\nT1.heater2 - V1.9\nT1.heater1 - R1 150 - ground\nT1.heater2 - R2 100 - ground\n";
    let h = worked(text);
    let wanted = 6.3 * 50.0 / (2.0 * 250.0);
    let found = h.supplies[0].hum.as_ref().expect("hum").common_v;
    assert!((found - wanted).abs() < 0.01, "{found} for {wanted}");
    let line = h
        .sheet
        .lines()
        .find(|l| l.what() == "match of the pair")
        .expect("a line");
    assert_eq!(line.outcome(), Outcome::Fail);
}

/// Too many volts: half the excess over the current in each lead, put back into the divider.
#[test]
fn a_correction_brings_the_volts_back() {
    let text = "mains 245 V\nT1 power 220 V ideal: heater 6.3 V\nlive - T1.pri1\nneutral - T1.pri2\nV1 12AX7\nV2 EL84\n\
        T1.heater1 - V1.4 - V1.5 - V2.4\nT1.heater2 - V1.9 - V2.5\nT1.heater2 - ground\n";
    let h = worked(text);
    let s = &h.supplies[0];
    assert_eq!(s.reference.sort, ReferenceSort::OneSide);
    let c = s.correction.as_ref().expect("7.0 V is too much");
    let (volts, amps) = (6.3 * 245.0 / 220.0, 0.3 + 0.76);
    assert!(
        (c.wanted_ohms - (volts - 6.3) / amps / 2.0).abs() < 0.01,
        "{c:?}"
    );
    assert!(
        c.ohms <= c.wanted_ohms * 1.001,
        "the smaller neighbour: never too cold"
    );
    assert!(c.volts >= 6.3 * 0.999 && c.volts < 6.62, "{c:?}");
    assert!(c.rated_w >= c.dissipates_w / 0.6);
}

/// The Pip raises its heaters by a divider; the Curlew by the output cathodes; the Turnstone has a hum
/// control.
#[test]
fn references_of_the_examples() {
    let pip = of(&example("pip"));
    let heater = pip
        .supplies
        .iter()
        .find(|s| s.name.contains("heater"))
        .expect("a supply");
    assert_eq!(heater.reference.sort, ReferenceSort::ResistorPair);
    assert_eq!(heater.reference.to.as_deref(), Some("lift"));
    let circuit = example("pip");
    let p = Powered::new(&circuit, Library::built_in(), &Conditions::default()).expect("solved");
    let b2 = p.volts(circuit.node("B2").expect("B2")).expect("volts");
    // The divider by hand: 22k under 270k.
    let wanted = b2 * 22.0 / 292.0;
    let raised = heater.reference.volts.expect("volts");
    assert!(
        (raised / wanted - 1.0).abs() < 0.01,
        "{raised} for {wanted}"
    );
    let rect = pip
        .supplies
        .iter()
        .find(|s| s.name.contains("rect"))
        .expect("a supply");
    assert_eq!(rect.reference.sort, ReferenceSort::RectifierCathode);
    assert!(rect.hum.is_none());
    let curlew = of(&example("curlew"));
    let heater = &curlew.supplies[0];
    assert_eq!(heater.reference.sort, ReferenceSort::CentreTap);
    assert_eq!(heater.reference.to.as_deref(), Some("ck"));
    let turnstone = of(&example("turnstone"));
    assert_eq!(
        turnstone.supplies[0].reference.sort,
        ReferenceSort::HumControl
    );
}

/// A follower at 180 V over grounded heaters stands beyond the 90 V that counts where a sheet says no more,
/// and beyond its own limit; raised by 60 V it stands 60 V nearer.
#[test]
fn a_follower_s_cathode_against_its_heater() {
    let with = |raise: &str| {
        worked(&format!(
            "mains 230 V\nT1 power 230 V ideal: heater 6.3 V\nlive - T1.pri1\nneutral - T1.pri2\nV1 12AX7\n\
             T1.heater1 - V1.4 - V1.5\nT1.heater2 - V1.9\n{raise}PS1 supply 400 V 1 ohm\nB1 - +PS1 - ground\n\
             V1.1 - B1\nV1.2 - g\ng - +PS2 supply 260 V 1k - ground\nV1.3 - R1 100k - ground\n"
        ))
    };
    let grounded = with("T1.heater2 - ground\n");
    let e = grounded
        .elevated
        .iter()
        .find(|e| e.valve == "V1a")
        .expect("a section");
    let sheet = Library::built_in().find("12AX7").expect("a sheet");
    let limit = sheet
        .guarding_limit(Some('a'), LimitQuantity::HeaterNegativeVolts)
        .expect("a limit");
    assert_eq!(e.limit_negative_peak_v, limit);
    assert!(e.negative_peak_v > 255.0, "{e:?}");
    let failed = grounded
        .sheet
        .lines()
        .any(|l| l.point().is_some_and(|p| p.starts_with("V1a")) && l.outcome() == Outcome::Fail);
    assert!(failed, "260 V is beyond {limit} V");
    let raised = with("T1.heater2 - lift\nlift - +PS3 supply 60 V 1k - ground\n");
    let r = raised
        .elevated
        .iter()
        .find(|x| x.valve == "V1a")
        .expect("a section");
    assert!(
        (e.negative_peak_v - r.negative_peak_v - 60.0).abs() < 1.0,
        "{r:?}"
    );
    // Before the cathode is up the raised heater stands 60 V above it.
    assert!((r.positive_steady_v - 60.0).abs() < 1.0, "{r:?}");
}

use wiring::sheet::LimitQuantity;

/// No limit between heater and cathode is looser than the sheet's lowest, on any example.
#[test]
fn heater_to_cathode_limits_are_the_lowest_of_the_sheet() {
    for name in ["pip", "curlew", "turnstone"] {
        for e in of(&example(name)).elevated {
            let sheet = Library::built_in().find(&e.valve_type).expect("a sheet");
            let lowest = |q: LimitQuantity| {
                let all = sheet.limits.iter().filter_map(|s| s.get(q));
                all.reduce(f64::min)
            };
            let holds = |limit: f64, q: LimitQuantity| lowest(q).is_none_or(|l| limit <= l);
            assert!(
                holds(e.limit_negative_peak_v, LimitQuantity::HeaterNegativeVolts),
                "{e:?}"
            );
            assert!(
                holds(e.limit_positive_peak_v, LimitQuantity::HeaterPositiveVolts),
                "{e:?}"
            );
            assert!(
                holds(
                    e.limit_positive_steady_v,
                    LimitQuantity::HeaterPositiveDcVolts
                ),
                "{e:?}"
            );
            if lowest(LimitQuantity::HeaterNegativeVolts).is_none() {
                assert!(e.limit_negative_peak_v <= 90.0, "{e:?}");
            }
        }
    }
}

/// Two heaters in series on 12.6 V: each has its share, and both are told as a chain.
#[test]
fn a_chain_is_followed_valve_by_valve() {
    let text = "mains 230 V\nT1 power 230 V ideal: heater 12.6 V\nlive - T1.pri1\nneutral - T1.pri2\nV1 6V6GT\nV2 6V6GT\n\
        T1.heater1 - V1.2\nV1.7 - V2.2\nV2.7 - T1.heater2\nT1.heater2 - ground\n";
    let h = worked(text);
    let s = &h.supplies[0];
    assert_eq!(s.sockets.len(), 2);
    for v in &s.sockets {
        assert!(v.in_series, "{v:?}");
        assert!((v.volts.expect("volts") - 6.3).abs() < 0.02, "{v:?}");
    }
    assert!(s.correction.is_none());
}

#[test]
fn a_chain_on_the_mains_stops() {
    let h = worked("V1 12AX7\nV2 12AX7\nlive - R1 1k5 50W - V1.4\nV1.5 - V2.4\nV2.5 - neutral\n");
    assert!(h.sheet.count(Outcome::Stop) >= 1);
}

#[test]
fn a_reading_is_held_against_its_limit() {
    let with = |volts: &str| {
        worked(&format!(
            "mains 230 V\nT1 power 230 V ideal: heater 6.3 V\nlive - T1.pri1\nneutral - T1.pri2\nV1 12AX7\n\
             T1.heater1 - V1.4 - V1.5\nT1.heater2 - V1.9\nT1.heater2 - ground\nreadings as found\nT1.heater1 to T1.heater2 {volts} ac\n"
        ))
    };
    let outcome = |h: &Heating| {
        let found = h
            .sheet
            .lines()
            .find(|l| l.what().contains("read") && l.reading().is_some());
        found.expect("a reading").outcome()
    };
    assert_eq!(outcome(&with("6.4")), Outcome::Pass);
    assert_eq!(outcome(&with("7.0")), Outcome::Fail);
    assert_eq!(outcome(&with("5.6")), Outcome::Fail);
}

#[test]
fn half_a_tracing_names_what_is_missing() {
    for text in [
        "",
        "V1 12AX7\nV1.1 - R1 100k - B1\n",
        "V1 12AX7\nh1 - V1.4 - V1.5\nh2 - V1.9\n",
    ] {
        let h = worked(text);
        assert!(!h.sheet.missing.is_empty(), "{text}");
        assert_eq!(h.sheet.count(Outcome::Pass), 0);
    }
}
