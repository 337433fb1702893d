//! Rows and drift by hand, and a line for every control, jack, switch and valve of the examples.

use super::*;
use crate::sheet::Outcome;
use crate::testing::example;

fn outcome(sheet: &Sheet, what: &str) -> Outcome {
    let line = sheet.lines().find(|l| l.what().contains(what));
    line.unwrap_or_else(|| panic!("{what}")).outcome()
}

#[test]
fn every_control_jack_switch_and_valve_has_its_line() {
    for name in ["pip", "curlew", "turnstone"] {
        let circuit = example(name);
        let sheet = proof(&circuit, &Answers::default(), &[]);
        for part in &circuit.parts {
            let wanted = match part.kind {
                Kind::Pot { .. } | Kind::Switch { .. } | Kind::Jack { .. } => {
                    part.parent.clone().unwrap_or_else(|| part.name.clone())
                }
                Kind::Valve(_) => format!("tap-{}", part.name),
                _ => continue,
            };
            let lines: Vec<&Line> = sheet
                .lines()
                .filter(|l| l.point() == Some(wanted.as_str()))
                .collect();
            assert_eq!(lines.len(), 1, "{name} {wanted}");
            assert_eq!(lines[0].outcome(), Outcome::Open);
        }
        assert_eq!(sheet.count(Outcome::Pass), 0, "{name}");
    }
}

#[test]
fn rows_are_read_as_typed() {
    assert_eq!(
        row("60 0.41 312 38"),
        Ok(LogRow {
            minutes: 60.0,
            mains_amps: Some(0.41),
            ht_volts: Some(312.0),
            celsius: Some(38.0),
            mains_volts: None,
        })
    );
    let with_units = row("60min 0.41A 312V 38C 231V").expect("a row");
    assert_eq!(with_units.mains_volts, Some(231.0));
    assert_eq!(row("60 - - 38").expect("a row").mains_amps, None);
    assert_eq!(row("60 0.41 312"), Err(LogError::Count));
    assert!(matches!(
        row("x 0.41 312 38"),
        Err(LogError::Figure {
            what: "minutes",
            ..
        })
    ));
    assert!(matches!(row("60 NaN 312 38"), Err(LogError::Figure { .. })));
    assert!(matches!(row("- 1 312 38"), Err(LogError::Figure { .. })));
}

fn at(minutes: f64, amps: f64, volts: f64, celsius: f64) -> LogRow {
    LogRow {
        minutes,
        mains_amps: Some(amps),
        ht_volts: Some(volts),
        celsius: Some(celsius),
        mains_volts: None,
    }
}

/// 0.40 to 0.43 A is 7.5 %, inside 10 %; 0.40 to 0.45 A is 12.5 %, outside (by hand). The cold
/// row does not count.
#[test]
fn drift_is_told_from_the_first_warm_row() {
    let calm = [
        at(2.0, 0.60, 330.0, 20.0),
        at(25.0, 0.40, 312.0, 35.0),
        at(150.0, 0.43, 309.0, 55.0),
    ];
    let sheet = proof(&Circuit::default(), &Answers::default(), &calm);
    assert_eq!(outcome(&sheet, "drift of the mains current"), Outcome::Pass);
    assert_eq!(outcome(&sheet, "drift of the high tension"), Outcome::Pass);
    assert_eq!(outcome(&sheet, "time run"), Outcome::Pass);
    assert_eq!(outcome(&sheet, "hottest"), Outcome::Pass);
    let runaway = [at(25.0, 0.40, 312.0, 35.0), at(90.0, 0.45, 300.0, 66.0)];
    let sheet = proof(&Circuit::default(), &Answers::default(), &runaway);
    assert_eq!(outcome(&sheet, "drift of the mains current"), Outcome::Fail);
    assert_eq!(outcome(&sheet, "time run"), Outcome::Fail);
    assert_eq!(outcome(&sheet, "hottest"), Outcome::Fail);
    let short = [at(25.0, 0.40, 312.0, 35.0), at(30.0, 0.40, 312.0, 36.0)];
    let sheet = proof(&Circuit::default(), &Answers::default(), &short);
    assert_eq!(outcome(&sheet, "drift of the mains current"), Outcome::Open);
}

/// A tenth more mains is no drift where both rows state it.
#[test]
fn the_mains_own_change_is_taken_out() {
    let mut rows = [at(25.0, 0.40, 300.0, 35.0), at(150.0, 0.44, 330.0, 45.0)];
    rows[0].mains_volts = Some(220.0);
    rows[1].mains_volts = Some(242.0);
    let sheet = proof(&Circuit::default(), &Answers::default(), &rows);
    let line = sheet
        .lines()
        .find(|l| l.what().contains("high tension") && l.what().contains("drift"))
        .expect("a line");
    assert!(
        line.reading().is_some_and(|r| r.value.abs() < 1e-9),
        "{line:?}"
    );
}

#[test]
fn rows_come_from_blocks_that_say_their_minutes() {
    let text = "B1 - +C1 16u 450V - ground\nT2 output 5k:8 ohm single\nT2.p2 - B1\n\
        readings burn-in\nminutes 25\nmains 231 V\nB1 312\nanswer mains-current 0.40 A\nanswer case 35 C\n\
        readings burn-in, end\nminutes 150\nmains 231 V\nB1 309\nanswer mains-current 0.41 A\nanswer case 52 C\n\
        answer burn-in yes\n";
    let read = wiring::read_one(text);
    let answers = Answers::of(&read.circuit);
    let sheet = proof(&read.circuit, &answers, &[]);
    for what in [
        "drift of the mains current",
        "drift of the high tension",
        "hottest",
        "No smell",
    ] {
        assert_eq!(outcome(&sheet, what), Outcome::Pass, "{what}: {sheet:?}");
    }
}
