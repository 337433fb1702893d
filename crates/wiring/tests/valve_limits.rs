//! The limits that guard a valve and the person before it, frozen: none may get looser unseen.
//!
//! The figures are those of the data sheets whose sources stand in `data/valves.toml` (most from memory, not seen);
//! of several rating systems the safest. A tighter figure passes. A looser one, a missing one,
//! and a type without a line here fail: change the line on purpose, with the sheet at hand.

use wiring::sheet::{Library, LimitQuantity as Q};

const COLUMNS: [Q; 13] = [
    Q::PlateVolts,
    Q::PlateWatts,
    Q::ScreenVolts,
    Q::ScreenWatts,
    Q::CathodeAmps,
    Q::HeaterNegativeVolts,
    Q::HeaterPositiveDcVolts,
    Q::InverseVolts,
    Q::PeakPlateAmps,
    Q::OutputAmps,
    Q::SupplyVoltsCapacitor,
    Q::ReservoirFarads,
    Q::SourceOhms,
];

/// Type, section, then the columns above in V, W, V, W, mA, V, V, V, mA, mA, V, uF, ohm; `-` where
/// the sheet gives none.
const FROZEN: &str = "\
12AT7 a 300 2.5 - - 15 90 90 - - - - - -
12AT7 b 300 2.5 - - 15 90 90 - - - - - -
12AU7 a 300 2.75 - - 20 180 100 - - - - - -
12AU7 b 300 2.75 - - 20 180 100 - - - - - -
12AX7 a 300 1 - - 8 180 100 - - - - - -
12AX7 b 300 1 - - 8 180 100 - - - - - -
12AY7 a 300 1.5 - - 10 90 90 - - - - - -
12AY7 b 300 1.5 - - 10 90 90 - - - - - -
12AZ7 a 300 2.5 - - 15 90 90 - - - - - -
12AZ7 b 300 2.5 - - 15 90 90 - - - - - -
12BH7 a 300 3.5 - - 20 200 100 - - - - - -
12BH7 b 300 3.5 - - 20 200 100 - - - - - -
12DW7 a 330 3.3 - - 22 - - - - - - - -
12DW7 b 330 1.2 - - - - - - - - - - -
5751 a 300 0.8 - - - 90 90 - - - - - -
5751 b 300 0.8 - - - 90 90 - - - - - -
5879 - 300 1.25 150 0.25 - 90 90 - - - - - -
5881 - 360 23 270 3 - 200 100 - - - - - -
5AR4 a - - - - - - - 1500 750 250 - 60 -
5AR4 b - - - - - - - 1500 750 250 - 60 -
5R4GY a - - - - - - - 2100 650 150 - 4 -
5R4GY b - - - - - - - 2100 650 150 - 4 -
5U4G a - - - - - - - 1550 675 225 450 40 75
5U4G b - - - - - - - 1550 675 225 450 40 75
5U4GB a - - - - - - - 1550 1000 275 550 40 -
5U4GB b - - - - - - - 1550 1000 275 550 40 -
5V4GA a - - - - - - - 1400 525 175 375 - 100
5V4GA b - - - - - - - 1400 525 175 375 - 100
5Y3GT a - - - - - - - 1400 400 125 350 20 50
5Y3GT b - - - - - - - 1400 400 125 350 20 50
6550 - 600 35 400 6 175 200 100 - - - - - -
6550A - 660 42 440 6 190 200 100 - - - - - -
6973 - 440 12 330 2 - 200 100 - - - - - -
6AN8 t 300 2.6 - - - 200 100 - - - - - -
6AN8 p 300 2 300 0.5 - 200 100 - - - - - -
6AQ5 - 250 12 250 2 - 90 90 - - - - - -
6AU6 - 300 3 150 0.65 - 90 90 - - - - - -
6C4 - 300 2.75 - - 20 90 90 - - - - - -
6CG7 a 300 3.5 - - 20 200 100 - - - - - -
6CG7 b 300 3.5 - - 20 200 100 - - - - - -
6DJ8 a 130 1.8 - - 25 50 50 - - - - - -
6DJ8 b 130 1.8 - - 25 50 50 - - - - - -
6J5GT - 300 2.5 - - 20 90 90 - - - - - -
6K6GT - 315 8.5 285 2.8 - 90 90 - - - - - -
6L6G - 360 19 270 2.5 - 180 100 - - - - - -
6L6GC - 500 30 450 5 - 200 100 - - - - - -
6SC7 a 250 - - - - 90 90 - - - - - -
6SC7 b 250 - - - - 90 90 - - - - - -
6SJ7 - 300 2.5 125 0.7 - 90 90 - - - - - -
6SL7GT a 250 1 - - - 90 90 - - - - - -
6SL7GT b 250 1 - - - 90 90 - - - - - -
6SN7GT a 300 2.5 - - 20 90 90 - - - - - -
6SN7GT b 300 2.5 - - 20 90 90 - - - - - -
6SN7GTB a 450 5 - - 20 200 100 - - - - - -
6SN7GTB b 450 5 - - 20 200 100 - - - - - -
6U8A t 330 2.5 - - - 200 100 - - - - - -
6U8A p 330 3 330 0.55 - 200 100 - - - - - -
6V6GT - 315 12 285 2 - 90 90 - - - - - -
6V6GTA - 350 14 315 2.2 - 200 100 - - - - - -
6X4 a - - - - - 450 100 1250 210 70 325 - 525
6X4 b - - - - - 450 100 1250 210 70 325 - 525
6X5GT a - - - - - 450 100 1250 210 70 325 - 525
6X5GT b - - - - - 450 100 1250 210 70 325 - 525
7189 - 400 12 300 2 65 100 100 - - - - - -
7591 - 550 19 440 3.3 85 200 100 - - - - - -
ECL82 t 300 1 - - 15 100 100 - - - - - -
ECL82 p 300 7 300 1.8 50 100 100 - - - - - -
ECL86 t 300 0.5 - - 4 100 100 - - - - - -
ECL86 p 300 9 300 1.5 55 100 100 - - - - - -
EF86 - 300 1 200 0.2 6 100 50 - - - - - -
EL34 - 800 25 425 8 150 100 100 - - - - - -
EL84 - 300 12 300 2 65 100 100 - - - - - -
EL86 - 250 12 200 1.75 100 100 100 - - - - - -
EZ80 a - - - - - 500 100 1000 270 90 350 50 -
EZ80 b - - - - - 500 100 1000 270 90 350 50 -
EZ81 a - - - - - 500 100 1300 500 160 350 50 -
EZ81 b - - - - - 500 100 1300 500 160 350 50 -
KT66 - 500 25 400 3.5 200 150 100 - - - - - -
KT88 - 800 35 600 6 230 200 100 - - - - - -
OA2 - - - - - 30 - - - - - - - -
OB2 - - - - - 30 - - - - - - - -";

/// From SI to the unit of the table.
fn shown(quantity: Q) -> f64 {
    match quantity {
        Q::CathodeAmps | Q::PeakPlateAmps | Q::OutputAmps => 1e3,
        Q::ReservoirFarads => 1e6,
        _ => 1.0,
    }
}

fn line(sheet: &wiring::sheet::Sheet, section: Option<char>) -> String {
    let mut line = format!("{} {}", sheet.name, section.unwrap_or('-'));
    for quantity in COLUMNS {
        match sheet.guarding_limit(section, quantity) {
            Some(value) => {
                let rounded = (value * shown(quantity) * 1e6).round() / 1e6;
                line += &format!(" {rounded}");
            }
            None => line += " -",
        }
    }
    line
}

#[test]
fn no_limit_gets_looser() {
    let mut unseen: Vec<&str> = FROZEN.lines().collect();
    for sheet in Library::built_in().types() {
        for section in sheet.sections() {
            let now = line(sheet, section.letter);
            let key = format!("{} {} ", sheet.name, section.letter.unwrap_or('-'));
            let Some(frozen) = FROZEN.lines().find(|l| l.starts_with(&key)) else {
                panic!("add a line for this type:\n{now}");
            };
            unseen.retain(|l| *l != frozen);
            let fields = frozen.split(' ').zip(now.split(' ')).skip(2);
            assert_eq!(frozen.split(' ').count(), 2 + COLUMNS.len(), "{frozen}");
            for ((was, is), quantity) in fields.zip(COLUMNS) {
                let looser = match (was.parse::<f64>(), is.parse::<f64>()) {
                    (Ok(was), Ok(is)) => quantity.safer(was, is) != is,
                    (Ok(_), Err(_)) => true,
                    _ => false,
                };
                assert!(
                    !looser,
                    "{key}: {} was {was}, is now {is}\nfrozen {frozen}\nnow    {now}",
                    quantity.word()
                );
            }
        }
    }
    assert!(unseen.is_empty(), "no such types any more: {unseen:#?}");
}

/// Limits that run with the supply volts: least supply ohms and most output amperes, V:figure.
const RUNNING: &str = "\
5AR4 ohm 300:75 350:100 400:125 450:150 500:175 550:200
5AR4 mA 450:250 500:200 550:160
5U4GB mA 300:300 550:162
EZ80 ohm 250:125 300:215 350:300
EZ81 ohm 250:150 300:200 350:240
EZ81 mA 300:160 350:150";

#[test]
fn limits_that_run_with_the_supply_are_as_frozen() {
    let mut now = Vec::new();
    for sheet in Library::built_in().types() {
        for set in &sheet.limits {
            let mut add = |word: &str, pairs: &[(f64, f64)], unit: f64| {
                if !pairs.is_empty() {
                    let pairs: Vec<String> = pairs
                        .iter()
                        .map(|(v, x)| format!("{v}:{}", (x * unit).round()))
                        .collect();
                    now.push(format!("{} {word} {}", sheet.name, pairs.join(" ")));
                }
            };
            add("ohm", &set.source_ohms_at, 1.0);
            add("mA", &set.output_amps_at, 1e3);
        }
    }
    assert_eq!(now.join("\n"), RUNNING);
}

/// A tightened limit is frozen too, so that the next change is measured from it.
#[test]
fn the_frozen_lines_are_those_of_today() {
    let now: Vec<String> = Library::built_in()
        .types()
        .iter()
        .flat_map(|s| s.sections().into_iter().map(move |x| line(s, x.letter)))
        .collect();
    assert_eq!(
        now.join("\n"),
        FROZEN.trim_end(),
        "a limit was tightened: freeze it"
    );
}
