use super::*;
use crate::circuit::{Position, Setting};
use crate::readings::{
    Answer, Block, Conditions, Meter, Probe, Reading, Said, Shown, Unit, ValvesIn,
};
use proptest::prelude::*;

fn reading(point: &str, value: Shown, digit: f64, unit: Unit) -> Reading {
    Reading {
        point: point.to_owned(),
        probe: Probe::Nowhere,
        value,
        unit,
        digit,
        note: None,
        place: crate::Place::default(),
    }
}

fn whole_block() -> Block {
    Block {
        name: "as found, valves out".to_owned(),
        conditions: Conditions {
            mains_volts: Some(231.0),
            mains_hertz: Some(50.0),
            meter: Some(Meter {
                ohms: 10e6,
                error: 0.007,
            }),
            valves: ValvesIn::Without(vec!["V2".to_owned(), "V3".to_owned()]),
            sets: vec![
                Setting {
                    name: "VOLUME".to_owned(),
                    to: Position::Number(2.5),
                    place: crate::Place::default(),
                },
                Setting {
                    name: "J1".to_owned(),
                    to: Position::Plugged,
                    place: crate::Place::default(),
                },
            ],
            standby_open: Some(true),
            speaker_on: Some(false),
            limiter_watts: Some(60.0),
            minutes: Some(12.0),
            signal: Some(("J1".to_owned(), 0.05, 1000.0)),
            power_off: true,
            heard: vec!["hum, then silence".to_owned()],
            seen: vec!["V4 glows".to_owned()],
        },
        readings: vec![
            reading("V1.1", Shown::Number(172.0), 1.0, Unit::VoltsDc),
            reading("B1 to B2", Shown::Number(30.4), 0.1, Unit::VoltsDc),
            Reading {
                note: Some("moves, a \"little\"".replace('"', "'")),
                ..reading("V2.5", Shown::Number(-0.02), 0.01, Unit::VoltsDc)
            },
            reading("LS1", Shown::Number(0.004), 0.001, Unit::VoltsAc),
            reading("R4", Shown::Number(104e3), 1e3, Unit::Ohms),
            reading("R5", Shown::Number(1.50e6), 1e4, Unit::Ohms),
            reading("T1.pri1", Shown::Over, 1.0, Unit::Ohms),
            reading("V3.2", Shown::Below(0.01), 0.01, Unit::VoltsDc),
            reading("C4", Shown::Above(20e6), 1e6, Unit::Ohms),
            reading("F2", Shown::Number(0.0381), 1e-4, Unit::AmpsDc),
            reading("V2.8", Shown::Number(1.325), 1e-3, Unit::VoltsDc),
        ],
        answers: vec![
            answer("cord", Said::Yes, Some("new, three cores")),
            answer("C7", Said::No, None),
            answer(
                "earth-bond",
                figure(Shown::Number(0.08), Some("ohm"), 0.01),
                None,
            ),
            answer(
                "insulation",
                figure(Shown::Above(200e6), Some("ohm"), 1e6),
                None,
            ),
            answer(
                "burn-in",
                figure(Shown::Number(120.0), Some("min"), 1.0),
                None,
            ),
            answer(
                "case",
                figure(Shown::Number(41.5), Some("C"), 0.1),
                Some("after 2 h"),
            ),
            answer("blows", figure(Shown::Number(3.0), None, 1.0), None),
        ],
        place: crate::Place::default(),
    }
}

fn answer(item: &str, said: Said, note: Option<&str>) -> Answer {
    Answer {
        item: item.to_owned(),
        said,
        note: note.map(str::to_owned),
        place: crate::Place::default(),
    }
}

fn figure(shown: Shown, unit: Option<&str>, digit: f64) -> Said {
    Said::Figure {
        shown,
        unit: unit.map(str::to_owned),
        digit,
    }
}

const WHOLE_TEXT: &str = "\
readings  as found, valves out
mains     231 V 50 Hz
meter     10M 0.7%
valves    without V2 V3
set       VOLUME 2.5
set       J1 plugged
standby   open
speaker   off
limiter   60 W
minutes   12
signal    J1 0.05 V 1000 Hz
power     off
V1.1      172 V
B1 to B2  30.4 V
V2.5      -0.02 V \"moves, a 'little'\"
LS1       4 mV ac
R4        104 kohm
R5        1.50 Mohm
T1.pri1   OL ohm
V3.2      < 0.01 V
C4        > 20 Mohm
F2        38.1 mA
V2.8      1.325 V
answer    cord yes \"new, three cores\"
answer    C7 no
answer    earth-bond 0.08 ohm
answer    insulation > 200 Mohm
answer    burn-in 120 min
answer    case 41.5 C \"after 2 h\"
answer    blows 3
heard     hum, then silence
seen      V4 glows
";

#[test]
fn a_block_as_text_keeps_the_digits_typed() {
    assert_eq!(blocks_to_text(&[whole_block()]), WHOLE_TEXT);
}

#[test]
fn a_sheet_turns_into_the_same_text() {
    let sheet = blocks_to_csv(&[whole_block()]);
    let imported = import(&sheet, 0);
    assert_eq!(imported.diagnostics, []);
    assert_eq!(crate::format::format(&imported.text), WHOLE_TEXT);
    assert!(sheet.contains("\"as found, valves out\",V2.5,,-0.02,V,\"moves, a 'little'\"\n"));
}

#[test]
fn blocks_of_one_name_and_empty_blocks_stay_apart() {
    let one = Block {
        name: "a".to_owned(),
        readings: vec![reading("B1", Shown::Number(1.0), 1.0, Unit::VoltsDc)],
        ..Block::default()
    };
    let empty = Block {
        name: "b".to_owned(),
        ..Block::default()
    };
    let sheet = blocks_to_csv(&[one.clone(), one, empty]);
    assert_eq!(
        import(&sheet, 0).text,
        "readings a\nB1 1 V\nreadings a\nB1 1 V\nreadings b\n"
    );
}

/// Imports a sheet and shows text, then the problems as `code line`.
fn show(sheet: &str) -> String {
    let imported = import(sheet, 0);
    assert_eq!(imported.text.lines().count(), imported.rows.len());
    let mut out = imported.text;
    for d in imported.diagnostics {
        out.push_str(&std::format!("! {} {}\n", d.code, d.place.line));
    }
    out
}

#[test]
fn separators_marks_and_line_ends() {
    let tidy = "readings as found\nB1 to B2 30.4 V \"hot, warm\"\nB1 310\n";
    for sheet in [
        "block,point,to,value,unit,note\nas found,B1,B2,30.4,V,\"hot, warm\"\nas found,B1,,310,,\n",
        "\u{feff}block;point;to;value;unit;note\r\nas found;B1;B2;30.4;V;hot, warm\r\nas found;B1;;310;;\r\n",
        "block\tpoint\tto\tvalue\tunit\tnote\ras found\tB1\tB2\t30.4\tV\thot, warm\ras found\tB1\t\t310\t\t",
        "Note,Unit,VALUE,To,Point,Block\n\"hot, warm\",V,30.4,B2,B1,as found\n\n,,310,,B1,as found",
    ] {
        assert_eq!(show(sheet), tidy, "{sheet:?}");
    }
}

#[test]
fn problems_name_their_row() {
    assert_eq!(show(""), "! sheet-header 1\n");
    assert_eq!(show("B1,310\n"), "! sheet-header 1\n");
    assert_eq!(
        show("point,value,operator\n\n\nB1,310,me\n,12,\nB2,,\nB3,1,2,3\n"),
        "readings \nB1 310\nB3 1\n! sheet-column 1\n! sheet-no-point 5\n! sheet-no-value 6\n! sheet-cell-lost 7\n"
    );
    assert_eq!(
        show("point,value,note\r\nB1,310,\"open\r\nB2,3,\r\n"),
        "readings \nB1 310 \"open B2,3,\"\n! sheet-quote 1\n"
    );
    assert_eq!(
        show("point,value,note\nmains,231 V,measured twice\n"),
        "readings \nmains 231 V\n! sheet-cell-lost 2\n"
    );
}

#[test]
fn cells_cannot_break_out_of_their_line() {
    assert_eq!(
        show("point,value,note\nB1,310,\"two\nlines and a \"\"quote\"\"\"\nheard,hum # 3,\n"),
        "readings \nB1 310 \"two lines and a 'quote'\"\nheard hum 3\n"
    );
}

#[test]
fn a_problem_in_the_text_is_told_at_its_row() {
    let sheet = "point,value\nB1,310\n\nB2,abc\n";
    let imported = import(sheet, 4);
    let diagnostic = crate::Diagnostic {
        code: "not-a-value",
        severity: crate::Severity::Error,
        place: crate::Place {
            file: 0,
            line: 3,
            column: 4,
            start: 22,
            end: 25,
        },
        message: String::new(),
        advice: String::new(),
        also: None,
    };
    let place = imported.in_sheet(diagnostic).place;
    assert_eq!((place.file, place.line), (4, 4));
    assert_eq!(sheet.get(place.start..place.end), Some("B2,abc"));
}

proptest! {
    #[test]
    fn no_sheet_makes_it_panic(sheet in "([,;\t\"\r\n#]|point|value|note|\\PC){0,60}") {
        let imported = import(&sheet, 0);
        prop_assert_eq!(imported.text.lines().count(), imported.rows.len());
        let headed = import(&std::format!("block,point,to,value,unit,note\n{sheet}"), 0);
        for place in &headed.rows {
            prop_assert!(place.start <= place.end);
        }
    }

    #[test]
    fn any_name_and_note_survive(name in "[a-z ,;'-]{0,12}", note in "[a-z ,;'#-]{1,12}") {
        let tidy = |t: &str| t.split_whitespace().collect::<Vec<_>>().join(" ");
        let block = Block {
            name: tidy(&name),
            readings: vec![Reading {
                note: Some(tidy(&note)).filter(|n| !n.is_empty()),
                ..reading("B1", Shown::Number(1.0), 1.0, Unit::VoltsDc)
            }],
            ..Block::default()
        };
        let imported = import(&blocks_to_csv(std::slice::from_ref(&block)), 0);
        prop_assert_eq!(
            crate::format::format(&imported.text),
            blocks_to_text(&[block])
        );
    }
}
