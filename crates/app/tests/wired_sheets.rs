//! The bench sheets from a wiring, run as a technician runs them: on whole amplifiers, on half a tracing, on nothing but
//! numbers.

mod common;

use common::{Ran, root, run, run_with};
use serde_json::Value;

const COMMANDS: [&str; 11] = [
    "inspect", "cold", "powerup", "supply", "stress", "parts", "power", "bias", "heaters",
    "safety", "proof",
];
const AMPLIFIERS: [&str; 3] = ["pip", "curlew", "turnstone"];

/// A power amplifier of which a quarter of an hour was traced: no supply, no transformer kind, one valve.
const HALF: &str = "amp Half\nmains 230 V\nV2 EL84\nV2.7 - T2.p1\nT2 output 8k:8 ohm\n\
    V2.3 - R12 130 - ground\nB1 - C7 32u - ground\nB1 - T2.p0\n";

fn of(command: &str, name: &str) -> Vec<String> {
    let at = |suffix: &str| {
        let path = root().join(format!("examples/{name}.{suffix}"));
        path.to_str().expect("a path").to_owned()
    };
    let mut all = vec![
        command.to_owned(),
        at("wiring"),
        "--readings".to_owned(),
        at("readings"),
    ];
    if command == "power" {
        // one tone says as much as three here; the readings were taken with the volume down
        let knob = match name {
            "pip" => "VOLUME=8",
            "curlew" => "VOLA=7",
            _ => "VOLB=7",
        };
        all.extend(["--hz", "1000", "--set", knob].map(str::to_owned));
    }
    all
}

fn ran(arguments: &[String], more: &[&str]) -> Ran {
    let mut all: Vec<&str> = arguments.iter().map(String::as_str).collect();
    all.extend(more);
    run(&all)
}

fn lines(sheet: &Value) -> Vec<&Value> {
    sheet["sections"]
        .as_array()
        .expect("sections")
        .iter()
        .flat_map(|s| s["lines"].as_array().expect("lines"))
        .collect()
}

/// The rules that no sheet breaks.
fn holds(sheet: &Value, of: &str) {
    assert_eq!(sheet["caution"], bench::rules::STANDARD_CAUTION, "{of}");
    for line in lines(sheet) {
        let source = line["origin"]["text"].as_str().expect("a source");
        assert!(!source.is_empty(), "{of}: {line}");
        if line["outcome"] == "pass" {
            let told = !line["reading"].is_null() || !line["answer"].is_null();
            assert!(told, "{of}: {line}");
        }
    }
    for missing in sheet["missing"].as_array().expect("missing") {
        assert!(
            !missing["remedy"].as_str().expect("a remedy").is_empty(),
            "{of}"
        );
    }
}

#[test]
fn every_sheet_of_every_example_fits_the_screen_and_keeps_the_rules() {
    for command in COMMANDS {
        for name in AMPLIFIERS {
            let arguments = of(command, name);
            let table = ran(&arguments, &[]);
            table.ends(0).fits().calm();
            assert!(table.out.contains("CAUTION"), "{command} {name}");
            let json = ran(&arguments, &["--json"]).ends(0).json();
            holds(&json, &format!("{command} {name}"));
            assert!(lines(&json).len() >= 5, "{command} {name}");
            assert_eq!(json["name"], command);
            if name != "pip" {
                continue;
            }
            let csv = ran(&arguments, &["--csv"]);
            let mut rows = csv::Reader::from_reader(csv.ends(0).out.as_bytes());
            assert_eq!(
                rows.records().count(),
                lines(&json).len(),
                "{command} {name}"
            );
        }
    }
}

/// What is missing is named, with what to type; half an amplifier is no error.
#[test]
fn half_a_tracing_gives_half_a_sheet_that_names_the_rest() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("half.wiring");
    std::fs::write(&file, HALF).expect("written");
    let file = file.to_str().expect("a path");
    for (command, named) in [
        ("inspect", ""),
        ("cold", ""),
        ("powerup", "mains transformer"),
        ("supply", "rectifier"),
        ("stress", ""),
        ("parts", ""),
        ("power", "input jack"),
        ("tremolo", "oscillator"),
        ("bias", ""),
        ("heaters", "heater"),
        ("safety", ""),
        ("proof", "burn-in"),
    ] {
        let table = run(&[command, file]);
        table.ends(0).fits().calm();
        let json = run(&[command, file, "--json"]).ends(0).json();
        holds(&json, command);
        if !named.is_empty() {
            let missing = json["missing"].to_string();
            assert!(missing.contains(named), "{command}: {missing}");
        }
    }
    // An empty file is an amplifier that nobody has looked into yet.
    std::fs::write(folder.path().join("half.wiring"), "").expect("written");
    for command in COMMANDS {
        holds(&run(&[command, file, "--json"]).ends(0).json(), command);
    }
}

/// Without a file: numbers alone.
#[test]
fn numbers_alone_give_a_sheet() {
    for arguments in [
        &[
            "supply",
            "--winding",
            "265",
            "--rectifier",
            "5Y3GT",
            "--reservoir",
            "16u",
            "--load",
            "60mA",
        ][..],
        &[
            "supply",
            "--winding",
            "300",
            "--rectifier",
            "bridge",
            "--reservoir",
            "50u",
            "--load",
            "150mA",
            "--marking",
            "T2A",
        ],
        &["safety"],
        &[
            "safety",
            "--region",
            "us",
            "--answer",
            "cord=yes",
            "--answer",
            "earth-bond=0.08 ohm",
        ],
        &[
            "proof",
            "--row",
            "25 0.41 312 35",
            "--row",
            "150 0.42 309 52",
        ],
    ] {
        let mut json = arguments.to_vec();
        json.push("--json");
        run(arguments).ends(0).fits().calm();
        holds(&run(&json).ends(0).json(), arguments[0]);
    }
    let answered = run(&["safety", "--region", "us", "--answer", "cord=yes", "--json"]).json();
    let cord = lines(&answered).into_iter().find(|l| l["point"] == "cord");
    assert_eq!(cord.expect("a line")["outcome"], "pass");
}

#[test]
fn wrong_use_ends_with_two_and_a_remedy() {
    let pip = of("supply", "pip");
    for (arguments, told) in [
        (vec!["supply", &pip[1], "--load", "60mA"], "Leave out"),
        (vec!["bias", &pip[1], "--valve", "EL84"], "Leave out"),
        (vec!["heaters", &pip[1], "--valves", "EL84"], "Leave out"),
        (
            vec!["supply", "--winding", "265", "--load", "60mA"],
            "--rectifier",
        ),
        (
            vec![
                "supply",
                "--winding",
                "265",
                "--load",
                "60mA",
                "--rectifier",
                "EL84",
                "--reservoir",
                "16u",
            ],
            "rectifier",
        ),
        (vec!["safety", "--answer", "cord"], "`cord`"),
        (
            vec!["safety", "--answer", "earth-bond=lots of it"],
            "earth-bond",
        ),
        (vec!["proof", "--row", "soon"], "soon"),
        (vec!["bias", &pip[1], "--block", "nowhere"], "nowhere"),
        (vec!["bias", &pip[1], "--without", "V9"], "V9"),
    ] {
        let ran = run(&arguments);
        ran.ends(2).fits();
        assert!(ran.err.contains(told), "{arguments:?}\n{}", ran.err);
    }
}

/// No fuse above the marking, no target above the lowest plate limit, nothing proposed below its need.
#[test]
fn proposals_are_safe_on_the_examples() {
    for name in AMPLIFIERS {
        let supply = ran(&of("supply", name), &["--json", "--marking", "T250mA"]).json();
        for link in supply["mains_fuse"]["links"].as_array().expect("links") {
            assert!(
                link["amps"].as_f64().expect("amps") <= 0.25,
                "{name} {link}"
            );
        }
        let bias = ran(&of("bias", name), &["--json"]).json();
        for stage in bias["stages"].as_array().expect("stages") {
            let target = stage["target_watts"].as_f64().expect("a target");
            for valve in stage["valves"].as_array().expect("valves") {
                assert!(
                    target <= valve["plate_limit_w"].as_f64().expect("a limit"),
                    "{name}"
                );
            }
            if let Some(fit) = stage["fit"].as_object() {
                assert!(
                    fit["rated_w"].as_f64() >= fit["dissipates_w"].as_f64(),
                    "{name}"
                );
            }
        }
    }
}

/// A wiring copied from a drawing: every sheet, the chart, `check` and `draw` count what nobody has seen yet.
#[test]
fn every_sheet_counts_what_is_still_assumed() {
    let path = root().join("examples/pip.wiring");
    let text = std::fs::read_to_string(path).expect("an example");
    let drawing = wiring::assume::assume(&text);
    let whole = wiring::read_one(&drawing).circuit.assumed_walks;
    // All but the first walk seen.
    let first = drawing
        .lines()
        .position(|l| l.ends_with(" ?"))
        .expect("an assumed walk");
    let seen: String = drawing
        .lines()
        .enumerate()
        .map(|(i, l)| match l.strip_suffix(" ?") {
            Some(walk) if i != first => format!("{walk}\n"),
            _ => format!("{l}\n"),
        })
        .collect();
    for command in COMMANDS.iter().chain(&["chart", "check"]) {
        for (text, walks) in [(&drawing, whole), (&seen, 1)] {
            let said = run_with(&[command, "-"], text.as_bytes());
            said.ends(0).fits();
            let flat = said.out.split_whitespace().collect::<Vec<_>>().join(" ");
            let s = if walks == 1 { "" } else { "s" };
            let sentence = format!("Still assumed, not yet seen on the chassis: {walks} walk{s}");
            assert_eq!(
                flat.matches(&sentence).count(),
                1,
                "{command}: {}",
                said.out
            );
            let json = run_with(&[command, "--json", "-"], text.as_bytes());
            assert_eq!(json.ends(0).json()["assumed"]["walks"], walks, "{command}");
        }
        let sound = run(&[command, "examples/pip.wiring"]);
        assert!(!sound.ends(0).out.contains("Still assumed"), "{command}");
    }
    let json = run_with(&["draw", "--json", "-"], drawing.as_bytes());
    assert_eq!(json.ends(0).json()["assumed"]["walks"], whole);
}
