//! What is not traced yet gets no volts: neither an expectation, nor a charge of nothing.

#![allow(clippy::unwrap_used, reason = "the wirings are the test's own")]

use bench::chart::{Chart, ChartRequest, Word, chart};
use bench::powerup::{PowerupRequest, plan};
use solve::{AssembleOptions, solve_circuit};
use wiring::sheet::Library;
use wiring::{Conditions, Text};

/// An output stage, and nothing of what feeds it.
const STAGE: &str = "mains 230 V\nV2 EL84\nT2 output 5k:8 ohm 6 W single\nLS1 speaker 8 ohm\n\
    V2.3 - [R12 130 2W | +C5 100u 25V] - ground\nB1 - +C7 32u 450V - ground\nV2.7 - T2.p1\nT2.p2 - B1\n\
    V2.2 - R13 470k - ground\nT2.s1 - LS1 - T2.s2\nT2.s2 - ground\n";
const SCREEN: &str = "V2.9 - R14 470 - B1\n";
const BENCH_SUPPLY: &str = "PS1 supply 300 V 50 ohm\nB1 - +PS1 - ground\n";
const RECTIFIER: &str = "V7 EZ81\nT1 power 230 V: hv 250-0-250 V 90 mA, heater 6.3 V 3 A\n\
    T1.hv1 - V7.1\nT1.hv2 - V7.7\nT1.hv0 - ground\nSTANDBY switch closed\nV7.3 - STANDBY - B1\n\
    T1.heater1 - V7.4\nT1.heater2 - V7.5\nT1.heater1 - V2.4\nT1.heater2 - V2.5\nT1.heater2 - ground\n";
const READ: &str = "readings as found\nmains 230 V\nB1 298\nV2.3 9.4\nV2.7 290\n";

fn of(texts: &[&str]) -> wiring::Circuit {
    let all: Vec<Text<'_>> = texts.iter().map(|text| Text { name: "t", text }).collect();
    let read = wiring::read(&all, Library::built_in());
    let wrong: Vec<String> = read.problems.iter().map(|p| format!("{p:?}")).collect();
    assert!(!wrong.iter().any(|p| p.contains("Error")), "{wrong:#?}");
    read.circuit
}

fn charted(texts: &[&str]) -> Chart {
    let mut all = texts.to_vec();
    all.push(READ);
    let request = ChartRequest {
        block: Some("as found".to_owned()),
        ..ChartRequest::default()
    };
    chart(&of(&all), Library::built_in(), &request)
}

fn line<'c>(chart: &'c Chart, point: &str) -> &'c bench::chart::Line {
    chart.points.iter().find(|l| l.point == point).unwrap()
}

/// The reading is kept and judged by nothing.
#[test]
fn points_that_no_supply_reaches_are_not_expected_at_nothing() {
    let open = charted(&[STAGE, SCREEN]);
    for point in ["B1", "V2.3", "V2.7"] {
        let l = line(&open, point);
        assert_eq!(l.volts, None, "{point}");
        assert!(l.reading.is_some());
        let word = l.verdict;
        assert!(
            !matches!(word, Some(Word::Outside | Word::Doubtful)),
            "{point}"
        );
        let why = open.unsolved.iter().find(|u| u.point == point).unwrap();
        assert!(why.why.contains("no supply is traced"), "{why:?}");
    }
    assert!(open.trouble.is_empty(), "{:?}", open.trouble);
    // A loudspeaker needs no supply to stand at nothing.
    let circuit = of(&[STAGE, SCREEN]);
    let solved = solve_circuit(
        &circuit,
        Library::built_in(),
        &Conditions::default(),
        &AssembleOptions::default(),
    );
    assert!(solved.volts(&circuit, "T2.s1").unwrap().abs() < 1e-3);
    assert_eq!(solved.volts(&circuit, "B1"), None);
    for feed in [BENCH_SUPPLY, RECTIFIER] {
        let fed = charted(&[STAGE, SCREEN, feed]);
        for point in ["B1", "V2.3", "V2.7"] {
            assert!(line(&fed, point).volts.unwrap() > 5.0, "{point}");
        }
    }
}

/// A transformer that is wired but whose volts nobody wrote, or that is not said to be one, feeds nothing yet.
#[test]
fn a_transformer_without_volts_is_no_supply() {
    for said in [
        "T1 power: hv 250-0-250 V, heater 6.3 V",
        "T1 power 230 V",
        "",
    ] {
        let traced = RECTIFIER.replace(
            "T1 power 230 V: hv 250-0-250 V 90 mA, heater 6.3 V 3 A",
            said,
        );
        let all = [STAGE, SCREEN, &traced, READ];
        let texts: Vec<Text<'_>> = all.iter().map(|text| Text { name: "t", text }).collect();
        // A winding that is not described is told by the reader.
        let circuit = wiring::read(&texts, Library::built_in()).circuit;
        let chart = chart(&circuit, Library::built_in(), &ChartRequest::default());
        for point in ["B1", "V2.3", "V2.7"] {
            assert_eq!(line(&chart, point).volts, None, "{said}: {point}");
        }
    }
}

/// With its screen not traced nobody knows what the valve draws; its rail is known all the same.
#[test]
fn a_valve_that_is_half_traced_leaves_its_own_points_open() {
    let chart = charted(&[STAGE, BENCH_SUPPLY]);
    for point in ["V2.3", "V2.7"] {
        assert_eq!(line(&chart, point).volts, None, "{point}");
        let why = chart.unsolved.iter().find(|u| u.point == point).unwrap();
        assert!(why.why.contains("screen"), "{why:?}");
    }
}

/// A grid on a bias line that is not traced: the valve's current is anyone's guess, and so is all that
/// it moves.
#[test]
fn a_bias_line_that_is_not_traced_leaves_the_valve_open() {
    let stage = STAGE.replace(
        "V2.2 - R13 470k - ground",
        "V2.2 - R13 220k - bias\nbias - C9+ 47u 63V - ground\nbias - R15 47k - ground",
    );
    let chart = charted(&[&stage, SCREEN, BENCH_SUPPLY]);
    let why = |p: &str| {
        chart
            .unsolved
            .iter()
            .find(|u| u.point == p)
            .map(|u| u.why.clone())
    };
    assert!(why("bias").unwrap().contains("no supply is traced"));
    assert!(
        why("V2.3").unwrap().contains("whose grid"),
        "{:?}",
        why("V2.3")
    );
}

/// What is traced but open reads nothing, and that is told.
#[test]
fn an_open_standby_switch_and_a_pulled_rectifier_do_give_nothing() {
    let circuit = of(&[STAGE, SCREEN, RECTIFIER]);
    let volts = |conditions: &Conditions| {
        solve_circuit(
            &circuit,
            Library::built_in(),
            conditions,
            &AssembleOptions::default(),
        )
        .volts(&circuit, "B1")
    };
    let open = Conditions {
        standby_open: Some(true),
        ..Conditions::default()
    };
    let pulled = Conditions {
        valves: wiring::readings::ValvesIn::Without(vec!["V7".to_owned()]),
        ..Conditions::default()
    };
    assert!(volts(&Conditions::default()).unwrap() > 200.0);
    // The valves' laws let plates that nothing feeds drift to a few volts below nothing.
    for under in [open, pulled] {
        assert!(volts(&under).unwrap().abs() < 5.0, "{:?}", volts(&under));
    }
}

/// The list for after switch-off never takes a capacitor for empty because its supply is not traced.
#[test]
fn a_reservoir_without_its_supply_counts_as_charged_to_its_rating() {
    let plan = plan(
        &of(&[STAGE]),
        Library::built_in(),
        &PowerupRequest::default(),
    );
    let c7 = plan.discharge.of("C7").unwrap();
    assert_eq!(c7.volts, Some(450.0), "{c7:?}");
    assert!(c7.stays, "{c7:?}");
    assert!(plan.discharge.of("C5").unwrap().volts >= Some(25.0));
}
