//! The bench sheets from typed numbers, run as a technician runs them.

mod common;

use common::{Ran, run};
use serde_json::Value;

/// One good use of each.
const SHEETS: &[&[&str]] = &[
    &[
        "bias",
        "--valve",
        "EL84",
        "--plate",
        "310",
        "--cathode",
        "11.2",
        "--ohms",
        "130",
        "--shared",
        "2",
    ],
    &[
        "bias",
        "--valve",
        "EL34",
        "--plate",
        "447",
        "--cathode",
        "38.2mV",
        "--ohms",
        "1",
        "--screen",
        "440",
        "--screen-drop",
        "4.1",
        "--screen-ohms",
        "1k",
        "--other",
        "41.0mV",
        "--target",
        "60",
    ],
    &[
        "bias",
        "--valve",
        "6V6GT",
        "--plate",
        "335",
        "--screen",
        "330",
        "--cathode",
        "17",
        "--ohms",
        "470",
        "--stage",
        "single",
        "--measured",
        "--primary-drop",
        "8.1",
        "--primary-ohms",
        "240",
    ],
    &[
        "heaters",
        "--valves",
        "12AX7,12AX7,EL84x2,EZ81",
        "--winding",
        "6.3V 3A",
        "--read",
        "6.7",
        "--original",
        "12AX7,EL84x2",
    ],
    &[
        "heaters",
        "--valves",
        "12AX7 12.6V,12AU7 12.6V",
        "--series",
        "150mA",
        "--mains",
        "117",
    ],
    &[
        "discharge",
        "--capacitance",
        "32u,8+8u",
        "--volts",
        "420",
        "--ohms",
        "10k",
        "--left",
        "4",
    ],
    &["discharge", "--capacitance", "100u", "--volts", "560"],
    &[
        "fuse",
        "--current",
        "0.8",
        "--mains",
        "230",
        "--marking",
        "T1A",
    ],
    &[
        "fuse",
        "--current",
        "1.4",
        "--mains",
        "120",
        "--marking",
        "2 A slow",
        "--ht-current",
        "120mA",
        "--ht-volts",
        "420",
    ],
    &[
        "lamp", "--watts", "60", "--mains", "230", "--lamp", "100", "--output", "18",
    ],
    &[
        "bleeder",
        "--volts",
        "450",
        "--capacitance",
        "50u",
        "--ohms",
        "220k",
        "--rated",
        "2",
    ],
    &[
        "bleeder",
        "--series",
        "--volts",
        "560",
        "--capacitance",
        "100u",
        "--leakage",
        "0.2mA",
    ],
    &[
        "leakage",
        "--grid",
        "-34",
        "--lifted",
        "-39",
        "--plate",
        "210",
        "--grid-leak",
        "220k",
    ],
    &[
        "leakage",
        "--place",
        "preamp",
        "--grid",
        "0.01",
        "--meter-volts",
        "0.4",
        "--across",
        "300",
    ],
    &[
        "leakage",
        "--capacitance",
        "20u",
        "--rated",
        "450",
        "--drop",
        "24",
        "--over",
        "10k",
        "--esr",
        "8",
        "--hertz",
        "120",
        "--measured",
        "18u",
    ],
    &[
        "speaker",
        "--drivers",
        "[16 30W | 16 30W]",
        "--taps",
        "4,8,16",
        "--output",
        "30",
        "--read",
        "6.2",
    ],
];

fn with(arguments: &[&str], more: &str) -> Ran {
    let mut all = arguments.to_vec();
    all.push(more);
    run(&all)
}

/// All of the standard caution, with the line ends taken out.
fn has_the_caution(text: &str) -> bool {
    let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
    flat.contains(bench::rules::STANDARD_CAUTION)
}

#[test]
fn every_sheet_fits_the_screen_and_carries_the_caution() {
    for arguments in SHEETS {
        let ran = run(arguments);
        ran.ends(0).fits().calm();
        assert!(has_the_caution(&ran.out), "{arguments:?}\n{}", ran.out);
        assert!(ran.err.is_empty(), "{arguments:?}\n{}", ran.err);
        let json = with(arguments, "--json").ends(0).json();
        assert_eq!(json["caution"], bench::rules::STANDARD_CAUTION);
        assert_eq!(json["name"], arguments[0]);
        assert!(json["errors"].as_array().is_some_and(Vec::is_empty));
    }
}

/// The three ways of printing show the same lines.
#[test]
fn table_json_and_csv_show_the_same_lines() {
    for arguments in SHEETS {
        let table = run(arguments).out;
        let json = with(arguments, "--json").json();
        let ran = with(arguments, "--csv");
        let mut csv = csv::Reader::from_reader(ran.ends(0).out.as_bytes());
        let rows: Vec<csv::StringRecord> = csv.records().map(|r| r.expect("a row")).collect();
        let lines: Vec<&Value> = json["sections"]
            .as_array()
            .expect("sections")
            .iter()
            .flat_map(|s| s["lines"].as_array().expect("lines"))
            .collect();
        assert_eq!(rows.len(), lines.len(), "{arguments:?}");
        for (row, line) in rows.iter().zip(&lines) {
            assert_eq!(row.get(1), line["what"].as_str());
            assert_eq!(row.get(12), line["outcome"].as_str());
            let first = line["what"]
                .as_str()
                .and_then(|w| w.split(' ').next())
                .expect("a word");
            assert!(table.contains(first), "{first}\n{table}");
        }
    }
}

/// Nothing passes without a reading or an answer, also as printed.
#[test]
fn no_line_passes_without_a_reading_or_an_answer() {
    let mut passed = 0;
    for arguments in SHEETS {
        let json = with(arguments, "--json").json();
        for section in json["sections"].as_array().expect("sections") {
            for line in section["lines"].as_array().expect("lines") {
                if line["outcome"] == "pass" {
                    passed += 1;
                    assert!(
                        !line["reading"].is_null() || !line["answer"].is_null(),
                        "{line}"
                    );
                }
                assert!(
                    !line["origin"]["text"]
                        .as_str()
                        .expect("a source")
                        .is_empty()
                );
            }
        }
    }
    assert!(passed >= 8, "{passed}");
}

/// Half of the numbers is the normal state: what is missing is named, and that is no error.
#[test]
fn half_the_numbers_give_half_a_sheet_that_names_the_rest() {
    for arguments in [
        &["bias", "--valve", "EL84"][..],
        &["bias", "--plate", "310"],
        &[
            "bias",
            "--valve",
            "EL84",
            "--plate",
            "310",
            "--cathode",
            "11",
        ],
        &["heaters", "--winding", "6.3V 3A"],
        &["discharge", "--capacitance", "32u"],
        &["discharge", "--volts", "400"],
        &["fuse", "--mains", "230"],
        &["fuse", "--marking", "T1A"],
        &["lamp", "--mains", "230"],
        &["bleeder", "--volts", "450"],
        &["bleeder", "--ohms", "220k"],
        &["leakage", "--grid", "0.1"],
        &["leakage", "--esr", "8"],
        &["speaker", "--taps", "8"],
        &["speaker", "--drivers", "8"],
    ] {
        let ran = run(arguments);
        ran.ends(0).fits().calm();
        assert!(ran.out.contains("Not known"), "{arguments:?}\n{}", ran.out);
        assert!(has_the_caution(&ran.out));
        let json = with(arguments, "--json").json();
        for missing in json["missing"].as_array().expect("missing") {
            assert!(!missing["remedy"].as_str().expect("a remedy").is_empty());
        }
    }
}

/// Wrong use ends with status 2, on standard error, with what to type.
#[test]
fn wrong_use_ends_with_two_and_a_remedy() {
    for (arguments, told) in [
        (&["bias", "--valve", "EL48"][..], "Nearest: EL84"),
        (&["bias", "--valve", "5Y3GT"], "has no bias"),
        (&["bias", "--valv", "EL84"], "--valve"),
        (&["bias", "--plate", "3,10"], "3.10"),
        (&["bias", "--plate", "310k"], "type volts, such as `310`"),
        (&["bias", "--shared", "0"], "from 1 to 12"),
        (&["bias", "--stage", "push"], "fixed, pair, single"),
        (&["heaters", "--valves", "EL48x2"], "Nearest: EL84"),
        (&["heaters", "--valves", "EL84 12.6V"], "6.3 V"),
        (&["heaters", "--winding", "three"], "6.3V 3A"),
        (&["discharge", "--capacitance", "32"], "`32p` or `32u`"),
        (
            &["discharge", "--capacitance", "32u", "--ohms", "10kV"],
            "type",
        ),
        (&["fuse", "--current", "NaN"], "45mA"),
        (&["fuse", "--marking", "banana"], "T1A"),
        (&["lamp", "--watts=-60"], "--watts"),
        (&["leakage", "--place", "tone"], "output, preamp"),
        (&["bleeder", "--leakage", "1mA"], "--series"),
        (&["speaker", "--drivers", "[16 | 16"], "[16 | 16]"),
        (&["speaker"], "--drivers"),
        (&["bais"], "bias"),
    ] {
        let ran = run(arguments);
        ran.ends(2).fits().calm();
        let flat = ran.err.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(
            flat.contains(told),
            "{arguments:?} does not say {told}:\n{}",
            ran.err
        );
        assert!(ran.out.is_empty());
    }
}
