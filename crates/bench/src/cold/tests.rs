use super::*;
use crate::sheet::Outcome;

fn check(text: &str) -> ColdCheck {
    let circuit = wiring::read_one(text).circuit;
    cold(&circuit, Library::built_in(), &ColdRequest::default())
}

fn at<'c>(check: &'c ColdCheck, point: &str) -> &'c ColdPoint {
    let names: Vec<&str> = check.points.iter().map(|p| p.point.as_str()).collect();
    check
        .points
        .iter()
        .find(|p| p.point == point)
        .unwrap_or_else(|| panic!("{point} in {names:?}"))
}

const SMALL: &str = "V1 12AX7\nV2 6V6GT\n\
    T1 power 230 V 20 ohm: hv 265-0-265 V 75 mA 280 ohm, heater 6.3 V 2 A 0.1 ohm\n\
    D1 silicon 1000V\nD2 silicon 1000V\nT2 output 5k:8 ohm 6 W single 240 ohm\n\
    live - F1 fuse 1A - S1 switch closed - T1.pri1\nneutral - T1.pri2\nearth - chassis - ground\n\
    T1.hv1 - D1> - B1\nT1.hv2 - D2> - B1\nT1.hv0 - ground\n\
    B1 - +C1 16u 450V leak 1G - ground\nB1 - R1 220k film - ground\nB1 - R2 10k film - B2\n\
    B2 - +C2 16u 450V leak 1G - ground\n\
    V1.1 - R3 100k film - B2\nV1.2 - R4 1M film - ground\nV1.3 - R5 1k5 film - ground\n\
    V1.1 - C3 22n 400V film - V2.5\nV2.5 - R6 470k film - ground\nV2.8 - R7 470 film 2W - ground\n\
    V2.3 - T2.p1\nT2.p2 - B1\nV2.4 - B2\nT2.s1 - LS1 speaker 8 ohm - T2.s2\nT2.s2 - ground\n";

/// Series and parallel resistances by hand; the arithmetic is in every textbook.
#[test]
fn expected_ohms_by_hand() {
    let check = check(SMALL);
    let side = |a: f64, b: f64| a * b / (a + b);
    for (point, ohms) in [
        ("live to neutral", 20.0 + 0.15 + 0.01),
        ("T1.hv1 to T1.hv0", 140.0),
        ("T2.p2 to T2.p1", 240.0),
        // two sound capacitors of 1 gigohm and two shut diodes of 200 megohm through the winding
        ("B1 to ground", side(220e3, side(500e6, 100e6))),
        ("V1.2 to ground", 1e6),
        ("B2 to V1.1", 100e3),
        ("V1.3 to ground", 1.5e3),
        ("V2.5 to ground", 470e3),
        ("V2.8 to ground", 470.0),
    ] {
        let point = check.points.iter().find(|p| {
            let mut ends: Vec<&str> = p.point.split(" to ").collect();
            let mut wanted: Vec<&str> = point.split(" to ").collect();
            ends.sort_unstable();
            wanted.sort_unstable();
            ends == wanted
        });
        let got = point.and_then(|p| p.ohms).unwrap();
        assert!((got / ohms - 1.0).abs() < 2e-3, "{point:?}: {ohms}");
    }
}

#[test]
fn leads_go_so_that_rectifiers_stay_shut() {
    let check = check(SMALL);
    let b1 = at(&check, "B1 to ground");
    // a microampere or so through silicon needs some 0.2 V: 140k instead of 220k
    assert!(
        b1.exchanged.is_some_and(|o| o > 80e3 && o < 180e3),
        "{b1:?}"
    );
    assert!(b1.rises_s.is_some_and(|s| s > 8.0 && s < 25.0), "{b1:?}");
    let bias = "T1 power 230 V: hv 300 V, bias 50 V\nT1.bias1 - R1 1k - D1< silicon - bn\n\
                T1.bias2 - ground\nbn - C1+ 47u 63V - ground\nbn - R2 10k - minus\nminus - C2+ 47u 63V - ground\n\
                minus - R3 22k - ground\nV1 EL84\nV1.2 - R4 220k - minus\nV1.3 - ground\nV1.7 - R5 100 - B1\nB1 - +C3 32u 450V - ground\n";
    let check = self::check(bias);
    let names: Vec<&str> = check.points.iter().map(|p| p.point.as_str()).collect();
    assert!(names.contains(&"ground to bn"), "red on ground: {names:?}");
}

#[test]
fn insulation_is_over_range_and_a_path_stops() {
    let sheet = |reading: &str| {
        let check = check(&format!("{SMALL}readings cold\npower off\n{reading}\n"));
        let sheet = check.sheet();
        let line = sheet.lines().find(|l| l.point() == Some("live to ground"));
        (line.unwrap().outcome(), check.verdict)
    };
    assert_eq!(sheet("live OL").0, Outcome::Pass);
    assert_eq!(sheet("live > 20M").0, Outcome::Pass);
    assert_eq!(sheet("live 5M").0, Outcome::Open, "to be looked into");
    assert_eq!(sheet("live 300k"), (Outcome::Stop, Go::NoGo));
    assert_eq!(sheet("").0, Outcome::Open);
}

#[test]
fn a_low_high_tension_node_is_no_go_and_lower_than_the_rule_never_passes() {
    let of = |reading: &str| {
        let check = check(&format!("{SMALL}readings cold\npower off\n{reading}\n"));
        let sheet = check.sheet();
        let line = sheet.lines().find(|l| l.point() == Some("B1 to ground"));
        (line.unwrap().outcome(), check.verdict)
    };
    assert_eq!(of("B1 219k"), (Outcome::Pass, Go::Open));
    assert_eq!(of("B1 120k"), (Outcome::Stop, Go::NoGo));
    assert_eq!(of("B1 5k"), (Outcome::Stop, Go::NoGo));
    // a divider that was traced brings it lower than the rule, and is held to its own ohms
    let low = "V1 12AX7\nV1.1 - R2 100k - B1\nB1 - R1 10k film - ground\nB1 - +C1 16u 450V leak 1G - ground\nreadings c\npower off\nB1 10k\n";
    let check = check(low);
    assert_eq!(at(&check, "B1 to ground").verdict, Some(Word::Inside));
}

#[test]
fn go_only_when_all_that_decides_was_read() {
    let all = "live to neutral 20.3\nlive OL\nneutral OL\nT1.pri1 to T1.pri2 20\nT1.hv1 to T1.hv0 138\nT1.hv0 to T1.hv2 142\n\
               T2.p2 to T2.p1 242\nT2.s1 to T2.s2 0.6\nB1 218k\nB2 226k\nV2.5 471k\nV2.8 468\n";
    let verdict = |text: &str| check(&format!("{SMALL}readings cold\npower off\n{text}")).verdict;
    assert_eq!(verdict(all), Go::Go);
    for line in all.lines() {
        let without = all.replace(&format!("{line}\n"), "");
        assert_eq!(verdict(&without), Go::Open, "without {line}");
    }
    assert_eq!(verdict(&all.replace("V2.8 468", "V2.8 2")), Go::NoGo);
    assert_eq!(
        verdict(&all.replace("T2.p2 to T2.p1 242", "T2.p2 to T2.p1 OL")),
        Go::NoGo
    );
}

/// In circuit: 100k with 330k beside it reads 76k7. What reading belongs to which 100k?
#[test]
fn parallel_paths_and_the_part_that_a_reading_tells() {
    let text =
        "B1 - R1 100k 5% film - a\na - R2 330k 5% film - B1\nB1 - +C1 16u leak 1G - ground\n";
    let read = |ohms: &str| check(&format!("{text}readings c\npower off\nR1 {ohms}\n"));
    let told = at(&read("76.7k"), "R1").tells.clone().unwrap();
    assert_eq!(told.part, "R1");
    assert!(
        (told.share - 330.0 / 430.0).abs() < 1e-3 && !told.tells,
        "{told:?}"
    );
    assert!((told.value.unwrap() / 100e3 - 1.0).abs() < 2e-3, "{told:?}");
    // 1 / (1/90k - 1/330k) = 123.75k
    let told = at(&read("90k"), "R1").tells.clone().unwrap();
    assert!(
        (told.value.unwrap() / 123.75e3 - 1.0).abs() < 2e-3,
        "{told:?}"
    );
    // nothing that R1 could be makes it read more than what lies beside
    let told = at(&read("400k"), "R1").tells.clone().unwrap();
    assert_eq!(told.value, None);
}

#[test]
fn half_a_tracing_says_what_is_missing() {
    let check = check("V1 12AX7\nV1.1 - R4 - B3\nV1.3 - R5 1k5 - ground\n");
    assert_eq!(check.verdict, Go::Open);
    let sheet = check.sheet();
    assert!(sheet.lines().all(|l| l.outcome() != Outcome::Pass));
    assert!(
        sheet.missing.iter().any(|m| m.what == "R4"),
        "{:?}",
        sheet.missing
    );
    assert!((at(&check, "V1.3 to ground").ohms.unwrap() - 1.5e3).abs() < 1.0);
}

#[test]
fn without_a_wiring_the_rules_remain() {
    let sheet = check("").sheet();
    assert!(sheet.lines().count() > 8);
    assert!(sheet.lines().all(|l| l.outcome() == Outcome::Open));
    let sheet = check("readings c\npower off\nB1 4k\nB2 47k\nX7 3\n").sheet();
    let of = |name: &str| {
        sheet
            .lines()
            .find(|l| l.point() == Some(name))
            .unwrap()
            .outcome()
    };
    assert_eq!(of("B1"), Outcome::Stop);
    assert_eq!(of("B2"), Outcome::Pass);
    assert_eq!(of("X7"), Outcome::Told);
}

/// With only some of it traced, good readings are not yet go: mains side, windings and rails must be known.
#[test]
fn half_a_tracing_is_never_go() {
    let primary =
        "T1 power 230 V 20 ohm: heater 6.3 V 2 A 0.1 ohm\nlive - T1.pri1\nneutral - T1.pri2\n";
    let check = check(&format!(
        "{primary}readings cold\npower off\nlive to neutral 20\nlive OL\nneutral OL\nT1.pri1 to T1.pri2 20\nT1.heater1 to T1.heater2 0.1\n"
    ));
    assert_eq!(check.verdict, Go::Open, "{:#?}", check.points);
    let sheet = check.sheet();
    assert!(
        sheet
            .lines()
            .any(|l| l.what().starts_with("each high-tension node"))
    );
    assert!(
        sheet
            .lines()
            .all(|l| !l.what().starts_with("plug pin to plug pin, switch on"))
    );
    assert!(sheet.lines().last().unwrap().why().contains("high tension"));
}

/// A supply that stands for what is not traced has no say in what a rail should read: its ohm would let a short pass.
#[test]
fn a_stand_in_supply_lets_no_short_pass() {
    let stage = "V1 12AX7\nPS1 supply 262 V 1 ohm\nB3 - +PS1 - ground\nV1.1 - R4 100k - B3\nV1.3 - R5 1k5 - ground\n";
    let check = check(&format!("{stage}readings cold\npower off\nB3 1\n"));
    assert_ne!(check.verdict, Go::Go);
    let rail = check
        .points
        .iter()
        .find(|p| p.point == "B3 to ground" || p.point == "B3");
    assert!(
        rail.is_none_or(|p| p.verdict != Some(Word::Inside)),
        "{rail:?}"
    );
    let sheet = check.sheet();
    assert!(
        sheet
            .lines()
            .any(|l| l.what().starts_with("each high-tension node"))
    );
    assert!(sheet.notes.iter().any(|n| n.contains("PS1")));
    assert!((at(&check, "B3 to V1.1").ohms.unwrap() - 100e3).abs() < 200.0);
}

/// Of an amplifier that nobody traced the two lines that stop are typed under a name of their own, and judged.
#[test]
fn what_is_not_traced_is_read_all_the_same() {
    let lines = |readings: &str| {
        let text = format!("amp Marram Knot\n{readings}");
        let circuit = wiring::read_one(&text).circuit;
        let block = (!readings.is_empty()).then(|| "cold".to_owned());
        let request = ColdRequest {
            block,
            ..ColdRequest::default()
        };
        let sheet = cold(&circuit, Library::built_in(), &request).sheet();
        let of = |name: &str| {
            let all: Vec<Outcome> = sheet
                .lines()
                .filter(|l| l.point() == Some(name))
                .map(crate::sheet::Line::outcome)
                .collect();
            assert_eq!(all.len(), 1, "{name} {readings}");
            all[0]
        };
        (of("plug"), of("HT"))
    };
    assert_eq!(lines(""), (Outcome::Open, Outcome::Open));
    let typed = |plug: &str, high: &str| {
        lines(&format!(
            "readings  cold\npower off\nplug {plug}\nHT {high}\n"
        ))
    };
    assert_eq!(typed("OL", "150k"), (Outcome::Pass, Outcome::Pass));
    // 2 megohm of a pin and 20 kilohm of a node: less of either stops
    assert_eq!(typed("1.9M", "19k"), (Outcome::Stop, Outcome::Stop));
    assert_eq!(typed("20M", "19k").0, Outcome::Pass);
}
