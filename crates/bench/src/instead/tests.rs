//! Parts put in the places of others.

use super::*;
use crate::powered::Asked;
use crate::supply::supply;
use crate::testing::example;

fn changed(circuit: &Circuit, texts: &[&str]) -> Result<Circuit, Refused> {
    let changes: Vec<Instead> = texts.iter().filter_map(|t| Instead::read(t)).collect();
    assert_eq!(changes.len(), texts.len());
    with(circuit, Library::built_in(), &changes)
}

fn reservoir_volts(circuit: &Circuit) -> f64 {
    let found = supply(circuit, Library::built_in(), &Asked::default(), None);
    found.rails[0].volts.expect("volts on the first rail")
}

/// The rectifier of pip gives its place: to silicon the rail rises, in surge and at work; and the drop that is gone
/// is the valve's, some 10 to 50 V at such a current (common practice, no source).
#[test]
fn silicon_in_the_place_of_a_valve() {
    let circuit = example("pip");
    let name = circuit
        .parts
        .iter()
        .find(|p| sheet_of(Library::built_in(), p).is_some_and(|s| s.kind.is_rectifier()))
        .map(|p| p.name.clone())
        .expect("a rectifier valve");
    let silicon = changed(&circuit, &[&format!("{name}=silicon")]).expect("changed");
    let rise = reservoir_volts(&silicon) - reservoir_volts(&circuit);
    assert!((5.0..60.0).contains(&rise), "{rise}");
    let found = supply(&silicon, Library::built_in(), &Asked::default(), None);
    let sort = crate::surge::rectifier_sort(
        &silicon,
        Library::built_in(),
        &wiring::roles::anatomy(&silicon),
    );
    assert_eq!(sort, Some(crate::surge::RectifierSort::Solid));
    assert!(found.rectifier.is_some());
    assert!(
        found
            .sheet
            .subject
            .as_deref()
            .is_some_and(|s| s.contains("WHAT IF")),
        "{:?}",
        found.sheet.subject
    );
}

/// The diodes in its place are what a wiring with diodes gives.
#[test]
fn silicon_is_what_diodes_in_the_wiring_give() {
    let common = "mains 230 V\nT1 power 230 V 20 ohm: hv 265-0-265 V 130 mA 180 ohm, rect 5 V 2 A\nT1.hv0 - ground\n\
        B1 - +C1 32u 450V - ground\nB1 - R1 5k - ground\nlive - T1.pri1\nneutral - T1.pri2\n";
    let valve = format!(
        "{common}V5 5Y3GT\nT1.rect1 - V5.2\nT1.rect2 - V5.8\nT1.hv1 - V5.4\nT1.hv2 - V5.6\nV5.8 - B1\n"
    );
    let diodes = format!("{common}T1.hv1 - D1> silicon - B1\nT1.hv2 - D2> silicon - B1\n");
    let read = |text: &str| wiring::read_one(text).circuit;
    let silicon = changed(&read(&valve), &["V5=silicon"]).expect("changed");
    let (a, b) = (reservoir_volts(&silicon), reservoir_volts(&read(&diodes)));
    assert!((a / b - 1.0).abs() < 1e-6, "{a} {b}");
    let other = changed(&read(&valve), &["V5=GZ34"]).expect("changed");
    let (c, d) = (reservoir_volts(&other), reservoir_volts(&read(&valve)));
    assert!(c > d && c < a, "{d} < {c} < {a}");
}

#[test]
fn a_capacitor_by_its_value_or_not_at_all() {
    let circuit = example("curlew");
    let larger = changed(&circuit, &["C26a=64u 450V"]).expect("changed");
    let ripple = |c: &Circuit| {
        let found = supply(c, Library::built_in(), &Asked::default(), None);
        found.rails[0].ripple_v.expect("ripple")
    };
    let (was, is) = (ripple(&circuit), ripple(&larger));
    // twice the capacitor, half the ripple, as long as the charge a cycle stays
    assert!((is / was - 0.5).abs() < 0.06, "{is} {was}");
    for wrong in [
        "C26a=10k",
        "C26a=a lot",
        "C99=1u",
        "V5=silicon",
        "V5=5Y3GT",
        "V5=nonesuch",
        "R4=1u",
        "T1=silicon",
    ] {
        let refused = changed(&circuit, &[wrong]).expect_err(wrong);
        assert!(!refused.what.is_empty() && !refused.remedy.is_empty());
    }
    assert!(Instead::read("C1").is_none() && Instead::read("=4").is_none());
}
