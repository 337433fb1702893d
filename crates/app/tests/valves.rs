//! `tubewright valves`: the list and single data sheets.

mod common;

use common::{folder, run};

#[test]
fn the_list_and_every_sheet_fit_the_terminal() {
    run(&["valves"]).ends(0).fits();
    let list = run(&["valves", "--json"]).ends(0).json();
    let types = list["valves"].as_array().expect("an array");
    assert!(types.len() >= 30, "{}", types.len());
    for valve in types {
        let name = valve["type"].as_str().expect("a name");
        let ran = run(&["valves", name]);
        ran.ends(0).fits();
        assert!(ran.out.starts_with(name), "{}", ran.out);
        for part in ["From below", "Sources\n[1]"] {
            assert!(ran.out.contains(part), "{name}: {part}");
        }
    }
}

#[test]
fn a_sheet_is_found_by_its_other_names_in_any_case() {
    let american = run(&["valves", "12ax7"]);
    let european = run(&["valves", "ECC83"]);
    american.ends(0);
    assert_eq!(american.out, european.out);
}

/// Pins of the 12AX7, basing 9A, seen second-hand on a public page that copies its sheet; the
/// counting direction (clockwise from the gap, from below) is from memory of IEC 67, not seen.
#[test]
fn the_picture_has_plate_a_beside_the_gap_and_the_heater_at_the_top() {
    let ran = run(&["valves", "12AX7"]);
    let line = |words: &str| {
        ran.out
            .lines()
            .find(|l| l.contains(words))
            .unwrap_or_default()
            .split_whitespace()
            .collect::<Vec<_>>()
            .join(" ")
    };
    assert!(line("plate a").starts_with("plate a 1"), "{}", ran.out);
    assert!(line("plate a").ends_with("9 heater tap"), "{}", ran.out);
    assert!(line("heater  4").ends_with("6 plate b"), "{}", ran.out);
    assert_eq!(line("5  heater"), "5 heater");
}

/// Design-centre limits of the 12AX7: 300 V and 1 W a section; seen second-hand on a public
/// page that copies the sheet. The lower of two printings guards the valve.
#[test]
fn json_gives_limits_in_si_units_with_their_system_and_source() {
    let json = run(&["valves", "12AX7", "--json"]).ends(0).json();
    assert_eq!(json["type"], "12AX7");
    let first = &json["limits"][0];
    assert_eq!(first["system"], "design-centre");
    assert_eq!(first["values"]["plate_volts"], 300.0);
    assert_eq!(first["values"]["plate_watts"], 1.0);
    let key = first["origin"]["sources"][0].as_str().expect("a key");
    assert!(
        json["sources"][key]
            .as_str()
            .is_some_and(|s| s.contains("seen"))
    );
    assert_eq!(json["errors"], serde_json::json!([]));
}

#[test]
fn csv_has_a_head_and_as_many_cells_in_every_row() {
    for arguments in [&["valves", "--csv"][..], &["valves", "12AX7", "--csv"]] {
        let ran = run(arguments);
        ran.ends(0);
        let mut reader = csv::Reader::from_reader(ran.out.as_bytes());
        let width = reader.headers().expect("a head").len();
        let rows: Vec<_> = reader.records().map(|r| r.expect("a row")).collect();
        assert!(!rows.is_empty());
        assert!(rows.iter().all(|r| r.len() == width));
    }
}

#[test]
fn a_type_without_its_last_letters_is_found_with_a_note() {
    let ran = run(&["valves", "6SN7"]);
    ran.ends(0).fits();
    assert!(
        ran.out
            .starts_with("There is no sheet of a `6SN7` here. This is the 6SN7GT"),
        "{}",
        ran.out
    );
    assert!(ran.out.contains("\n6SN7GT"), "{}", ran.out);
    let json = run(&["valves", "5u4", "--json"]).ends(0).json();
    assert_eq!(json["type"], "5U4G");
    assert_eq!(json["asked"]["type"], "5u4");
    assert_eq!(json["asked"]["alike"], serde_json::json!(["5U4G", "5U4GB"]));
    // A known number is no prefix of another.
    let json = run(&["valves", "6550", "--json"]).json();
    assert_eq!(json["asked"], serde_json::Value::Null);
}

#[test]
fn an_unknown_type_offers_the_nearest() {
    let ran = run(&["valves", "12AX8"]);
    ran.ends(1).fits();
    assert!(ran.err.contains("12AX7"), "{}", ran.err);
    let ran = run(&["valves", "12AX8", "--json"]);
    ran.ends(1);
    assert_eq!(ran.json()["errors"][0]["code"], "unknown-valve");
    run(&["valves", &"9".repeat(10_000)]).ends(1).fits();
    run(&["valves", ""]).ends(1);
}

#[test]
fn a_users_own_sheet_is_found_and_a_slip_in_it_is_told() {
    let here = folder(&[
        (
            "own.toml",
            "[source.bench]\ntext = 'my own tester'\nstatus = 'seen'\n\
             [[valve]]\ntype = 'X99'\nlike = '12AX7'\n",
        ),
        (
            "bad.toml",
            "[[valve]]\ntype = 'X98'\nbase = 'no such base'\n",
        ),
    ]);
    let path = |name: &str| here.path().join(name).display().to_string();
    let ran = run(&["valves", "x99", "--valves-file", &path("own.toml")]);
    ran.ends(0).fits();
    assert!(ran.out.starts_with("X99"), "{}", ran.out);
    let ran = run(&["valves", "--valves-file", &path("bad.toml")]);
    ran.ends(1);
    assert!(
        ran.err.contains("X98") || ran.err.contains("line"),
        "{}",
        ran.err
    );
    assert!(
        ran.out.contains("12AX7"),
        "the built-in ones are still there"
    );
}
