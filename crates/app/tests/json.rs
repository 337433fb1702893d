//! JSON: the tables of docs/json.md hold in both directions, and snapshots keep the schema and the figures.

mod common;

use common::{four_digits, root, run, run_with};
use rand::{RngExt as _, SeedableRng as _};
use serde_json::Value;
use std::collections::BTreeSet;

/// Documented paths of a section, with whether each may be absent.
fn documented(section: &str) -> Vec<(String, bool)> {
    let text = std::fs::read_to_string(root().join("docs/json.md")).expect("docs/json.md");
    let mut inside = section.is_empty();
    let mut found = Vec::new();
    for line in text.lines() {
        if let Some(title) = line.strip_prefix("## ") {
            inside = title.trim() == section;
            continue;
        }
        if !inside || !line.starts_with("| `") {
            continue;
        }
        let mut cells = line.trim_matches('|').split(" | ");
        let names = cells.next().unwrap_or("");
        let sort = cells.next().unwrap_or("");
        // One row may name several; every second piece between backticks is a path.
        for path in names.split('`').skip(1).step_by(2) {
            found.push((path.to_owned(), sort.contains("optional")));
        }
    }
    assert!(!found.is_empty(), "section `{section}`");
    found
}

/// Every path to a leaf, and to an object or list itself when it is empty or null.
fn paths(value: &Value, at: &str, found: &mut BTreeSet<String>) {
    match value {
        Value::Object(map) => {
            for (key, inner) in map {
                let below = if at.is_empty() {
                    key.clone()
                } else {
                    format!("{at}.{key}")
                };
                paths(inner, &below, found);
            }
        }
        Value::Array(items) => {
            for item in items {
                paths(item, &format!("{at}[]"), found);
            }
        }
        _ => {
            found.insert(at.to_owned());
        }
    }
}

/// Whether a documented path covers a printed one; `*` takes all that follows.
fn covers(documented: &str, printed: &str) -> bool {
    match documented.strip_suffix('*') {
        Some(stem) => printed.starts_with(stem),
        None => documented == printed,
    }
}

#[track_caller]
fn holds(section: &str, values: &[Value]) {
    holds_beside(section, "", values);
}

/// The same for a section whose commands print the fields of another section too.
fn holds_beside(section: &str, beside: &str, values: &[Value]) {
    let mut printed = BTreeSet::new();
    for value in values {
        paths(value, "", &mut printed);
    }
    let mut known = documented(section);
    known.extend(documented(beside));
    for (path, absent) in documented("") {
        known.push((path.replacen("errors", "warnings", 1), absent));
        known.push((path, absent));
    }
    for path in &printed {
        assert!(
            known.iter().any(|(d, _)| covers(d, path)),
            "`{path}` of `{section}` is not in docs/json.md"
        );
    }
    for (path, _) in documented(section).iter().filter(|(_, absent)| !absent) {
        // An object that may be null stands for itself or for its fields.
        let there = printed
            .iter()
            .any(|p| covers(path, p) || p.starts_with(&format!("{path}.")));
        assert!(
            there,
            "`{path}` of docs/json.md is not in what `{section}` prints"
        );
    }
}

/// A text with an error, a warning, notes, an assumed walk, a loose end, and a part without a value.
const ROUGH: &str = "V1 12AX7\nV1.1 - R1 100k - B1\nV1.3 - R2 - ground\nB1 - R9 1k - B2 ?\n\
    R1 47k\namp a\namp b\nV1.2 - R3 68k - loose\nVR1.2 - V1.2\nPS1 supply 300 V\nB2 - +PS1 - ground\n\
    readings as found\nV1.1 1720\nV1.1 172\nV1.3 -1.3\nR1 OL\n";

/// A reservoir that takes all there is: no fuse holds that.
const SHORTED: &str = "V1 12AX7\nPS1 supply 300 V 200 ohm\nB1 - +PS1 - ground\n\
    B1 - +C9 16u 450V electrolytic - ground\nB1 - R1 100k - V1.1\nV1.3 - R2 1k5 - ground\n\
    V1.2 - R3 1M - ground\nreadings as found\nmeter 10M 0.5%\nB1 1.6\nV1.1 1.5\n";

/// Readings that slips explain, and two that cannot both be right.
const SLIPS: &str = "V1 12AX7\nPS1 supply 250 V 10 ohm\nB1 - +PS1 - ground\n\
    V1.1 - R1 100k - B1\nV1.3 - R2 1k5 - ground\nV1.2 - R3 1M - ground\n\
    B1 - R4 220k - V1.6\nV1.8 - R5 1k5 - ground\nV1.7 - R6 1M - ground\n\
    readings as found\nmeter 10M 0.5%\nB1 250\nV1.1 1600\nV1.3 -1.28\nV1.6 40\nV1.8 3.2\n";

/// An electrolytic the wrong way round, and a grid on a capacitor alone.
const SENSELESS: &str = "V1 12AX7\nPS1 supply 250 V 10 ohm\nB1 - +PS1 - ground\n\
    V1.1 - R1 100k - B1\nV1.3 - R2 1k5 - ground\nV1.2 - C1 22n - J1.tip\nJ1 jack\n\
    J1.sleeve - ground\nground - +C9 10u 300V - B1\n";

fn example(name: &str) -> Vec<String> {
    ["wiring", "readings"]
        .iter()
        .map(|ending| format!("examples/{name}.{ending}"))
        .collect()
}

fn chart(name: &str) -> Value {
    let mut arguments = vec!["chart".to_owned(), "--json".to_owned()];
    arguments.extend(example(name));
    run(&arguments).ends(0).json()
}

#[test]
fn kin_prints_what_is_documented() {
    let of = |files: &[&str], input: &str| {
        let mut arguments = vec!["kin", "--json"];
        arguments.extend(files);
        run_with(&arguments, input.as_bytes())
    };
    let whole = of(
        &[
            "examples/curlew.wiring",
            "examples/kin/curlew-first-issue.wiring",
            "examples/kin/curlew-later-production.wiring",
            "examples/kin/curlew-repair-sketch.wiring",
        ],
        "",
    )
    .ends(0)
    .json();
    let follows = |region: &str| {
        let patches = whole["patchwork"].as_array().expect("a list");
        let patch = patches
            .iter()
            .find(|p| p["region"] == region)
            .expect(region);
        patch["follows"].clone()
    };
    assert_eq!(follows("inverter"), serde_json::json!([2]));
    assert_eq!(follows("high-tension supply"), serde_json::json!([1]));
    let none = of(&["-", "examples/pip.wiring"], "").ends(0).json();
    assert_eq!(none["drawings"][0]["kin"], false);
    holds("kin", &[whole, none]);
}

#[test]
fn suspects_print_what_is_documented() {
    let of = |files: &[String], more: &[&str]| {
        let mut arguments = vec!["suspects".to_owned(), "--json".to_owned()];
        arguments.extend(files.iter().cloned());
        arguments.extend(more.iter().map(|m| (*m).to_owned()));
        run(&arguments).ends(0).json()
    };
    let told = [
        "--heard",
        "crackle, and hum that the volume does not change",
        "--seen",
        "V2 glows red",
    ];
    let whole = of(&example("pip"), &told);
    let first = &whole["suspects"][0];
    assert_eq!(
        (first["part"].as_str(), first["class"].as_str()),
        (Some("C4"), Some("leaky"))
    );
    let bare = of(&example("pip")[..1], &told);
    // the amplifiers' readings are sure enough: nothing comes next there
    let stage = ["examples/stage.wiring".to_owned()];
    let ahead = of(&stage, &["--two-ahead"]);
    assert!(ahead["next"][0]["then"]["probe"].is_string(), "{ahead:#}");
    let rough = run_with(&["suspects", "--json", "-"], ROUGH.as_bytes());
    let clash = run_with(&["suspects", "--json", "-"], SLIPS.as_bytes());
    let shorted = run_with(&["suspects", "--json", "-"], SHORTED.as_bytes());
    holds(
        "suspects",
        &[
            whole,
            bare,
            ahead,
            rough.ends(1).json(),
            clash.ends(0).json(),
            shorted.ends(0).json(),
        ],
    );
}

#[test]
fn voicing_prints_what_is_documented() {
    let ran = |more: &[&str]| {
        let mut arguments = vec!["voicing".to_owned(), "--json".to_owned()];
        arguments.extend(example("pip"));
        arguments.extend(more.iter().map(|m| (*m).to_owned()));
        run(&arguments.iter().map(String::as_str).collect::<Vec<_>>())
            .ends(0)
            .json()
    };
    let both = ran(&["--ranges", "--hz", "20,20000,40"]);
    let swept = ran(&["--from", "J1", "--sweep", "TONE", "--guitar"]);
    let one = ran(&["--from", "J1", "--to", "V1.1", "--hz", "1000"]);
    assert_eq!(both["others"][0]["label"], "J2");
    // the second jack of two equal ones halves the signal (two resistors of one size)
    let words = both["others"][0]["difference"].as_str().expect("words");
    assert_eq!(words, "up to 6.0 dB less everywhere");
    assert_eq!(swept["others"].as_array().expect("others").len(), 4);
    assert_eq!(one["hz"].as_array().expect("hertz").len(), 1);
    let spread = ran(&[
        "--from",
        "J1",
        "--parts",
        "--hz",
        "100,10000,5",
        "--cable",
        "300p",
    ]);
    let band = spread["spread"]["band_db"].as_array().expect("a band");
    assert!(band.iter().all(|b| b.as_f64().is_some_and(|b| b > 0.1)));
    let over = ran(&[
        "--from", "J1", "--to", "V1.1", "--over", "V1.2", "--hz", "1000",
    ]);
    assert_eq!(over["to"], "V1.1 over V1.2");
    holds("voicing", &[both, swept, one, spread, over]);
}

#[test]
fn chart_prints_what_is_documented() {
    let mut values: Vec<Value> = ["pip", "curlew", "turnstone"].map(chart).into();
    values.push(
        run_with(&["chart", "--json", "-"], ROUGH.as_bytes())
            .ends(1)
            .json(),
    );
    let slips = run_with(&["chart", "--json", "-"], SLIPS.as_bytes());
    values.push(slips.ends(0).json());
    holds("chart", &values);
}

#[test]
fn check_prints_what_is_documented() {
    let rough = run_with(&["check", "--json", "-"], ROUGH.as_bytes())
        .ends(1)
        .json();
    assert_eq!(rough["assumed"]["walks"], 1);
    let sound = run(&["check", "--json", "examples/pip.wiring"])
        .ends(0)
        .json();
    let senseless = run_with(&["check", "--json", "-"], SENSELESS.as_bytes());
    let senseless = senseless.ends(0).json();
    assert_eq!(senseless["findings"][0]["gravity"], "stop");
    holds("check", &[rough, sound, senseless]);
}

fn sheet(arguments: &[&str]) -> Value {
    let mut all = arguments.to_vec();
    all.push("--json");
    run(&all).ends(0).json()
}

/// A pair on one cathode resistor.
const BIAS: &[&str] = &[
    "bias",
    "--valve",
    "EL84",
    "--plate",
    "310",
    "--screen",
    "305",
    "--cathode",
    "11.2",
    "--ohms",
    "130",
    "--shared",
    "2",
];

#[test]
fn bench_sheets_print_what_is_documented() {
    let fuse = sheet(&[
        "fuse",
        "--current",
        "0.8",
        "--mains",
        "230",
        "--marking",
        "T1A",
    ]);
    let half = sheet(&["leakage", "--grid", "0.1"]);
    let safety = sheet(&["safety", "--answer", "cord=yes"]);
    let proof = sheet(&["proof", "--row", "25 0.41 312 35"]);
    holds("bench sheets", &[sheet(BIAS), fuse, half, safety, proof]);
}

#[test]
fn snapshot_of_a_bias_sheet() {
    insta::assert_json_snapshot!("bias-el84", four_digits(sheet(BIAS)));
}

/// Readings that tell an output valve's currents, as a technician adds them.
const IDLE_READ: &str = "readings idle\nV2.3 305\nV2.4 290\nV2.8 17.9\nB2 to V2.4 1.4\n";

/// A plate that ends at a transformer of which nothing is known.
const HALF: &str = "amp Half\nV2 EL84\nV2.7 - T2.p1\nV2.3 - R12 130 - ground\n\
    readings cold\npower off\nV2.3 OL\nV2.7 2.2k ohm\n";

#[test]
fn sheets_of_a_wiring_print_what_is_documented() {
    let folder = tempfile::tempdir().expect("a folder");
    let more = folder.path().join("idle.readings");
    std::fs::write(&more, IDLE_READ).expect("written");
    let more = more.to_str().expect("a path");
    for (command, section) in [
        ("cold", "cold"),
        ("powerup", "powerup"),
        ("supply", "supply"),
        ("stress", "stress"),
        ("parts", "parts"),
        ("power", "power"),
        ("tremolo", "tremolo"),
        ("bias", "bias of a wiring"),
        ("heaters", "heaters of a wiring"),
    ] {
        let mut values: Vec<Value> = ["pip", "curlew", "turnstone"]
            .into_iter()
            .map(|name| {
                let mut arguments = vec![command.to_owned()];
                arguments.extend(example(name));
                if command == "power" {
                    // one tone says as much as three here
                    arguments.extend(["--hz", "1000"].map(str::to_owned));
                }
                if name == "pip" {
                    arguments.extend(["--readings", more, "--block", "idle"].map(str::to_owned));
                }
                sheet(&arguments.iter().map(String::as_str).collect::<Vec<_>>())
            })
            .collect();
        // What is not solved, and what was read without a place, shows on half a tracing only.
        let half = run_with(&[command, "-", "--json"], HALF.as_bytes());
        values.push(half.ends(0).json());
        holds_beside(section, "bench sheets", &values);
    }
}

#[test]
fn reports_print_what_is_documented() {
    let demo = run(&["demo", "--once"]);
    let folder = demo.out.lines().find(|l| l.contains("tubewright-demo-"));
    let folder = std::path::Path::new(folder.expect("the demo's folder").trim());
    let shop = folder.join("shop").display().to_string();
    let of = |more: &str| run(&["report", "38", "--shop", &shop, "--json", more]).json();
    let full = of("--full");
    assert_eq!(full["version"], "full record");
    holds("report", &[full, of("--labels")]);
    std::fs::remove_dir_all(folder).expect("the demo's folder goes");
}

#[test]
fn draw_prints_what_is_documented() {
    let whole = run(&["draw", "--json", "examples/curlew.wiring"])
        .ends(0)
        .json();
    let half = run_with(&["draw", "--json", "-"], ROUGH.as_bytes()).json();
    let over = run(&[
        "draw",
        "--json",
        "--over",
        "volts,verdicts,parts",
        "examples/curlew.wiring",
        "--readings",
        "examples/curlew.readings",
    ])
    .ends(0)
    .json();
    let missing = run_with(
        &["draw", "--json", "--over", "volts", "-"],
        b"V1 12AX7\nV1.1 - R1 100k - B1\n",
    );
    holds("draw", &[whole, half, over, missing.ends(0).json()]);
    let sits = run(&["draw", "--physical", "--json", "examples/pip.wiring"]);
    holds("draw --physical", &[sits.ends(0).json()]);
}

#[test]
fn valves_print_what_is_documented() {
    let list = run(&["valves", "--json"]).json();
    let mut sheets: Vec<Value> = list["valves"]
        .as_array()
        .expect("an array")
        .iter()
        .map(|v| run(&["valves", "--json", v["type"].as_str().expect("a name")]).json())
        .collect();
    sheets.push(run(&["valves", "--json", "6SN7"]).json());
    holds("valves", &[list]);
    holds("valves TYPE", &sheets);
}

const POINTS: &str = "plate,grid,plate_ma,mu\n100,-1,0.5,100\n250,-2,1.2,100\n200,-2,0.6,\n";

fn fit(rows: &str, arguments: &[&str]) -> Value {
    let all = [&["fit", "-", "--json"][..], arguments].concat();
    run_with(&all, rows.as_bytes()).json()
}

#[test]
fn fit_prints_what_is_documented() {
    let triode = fit(POINTS, &["--type", "X1", "--like", "12AX7"]);
    let pentode = fit(
        "plate,screen,grid,plate_ma,screen_ma,gm_us,rp\n250,250,-7.3,48,5.5,11300,40000\n\
         250,250,-8.4,36,4.1,10000,\n250,250,-8.4,3.6,4.1,,\n300,250,-8,40,,,\n250,250,-8.4,44,,,\n100,250,-7,40,,,\n",
        &["--type", "EL84"],
    );
    let rectifier = fit("drop,plate_ma\n17,225\n", &["--type", "5AR4"]);
    let none = fit("plate,grid,plate_ma\n", &["--type", "5AR4"]);
    let poor = fit(
        "plate,grid,plate_ma\n100,-1,9\n150,-1,4\n200,-0.5,1\n250,-0.2,0.3\n250,-9,0.001\n",
        &["--type", "5751"],
    );
    let errors = fit("plate,grid,plate_ma\nx,1,1\n", &["--type", "5751"]);
    let section = fit(
        "section,plate,grid,plate_ma\na,250,-2,1.2\n",
        &["--type", "12AX7"],
    );
    let long: String = "plate,grid,plate_ma\n".to_owned()
        + &(0..300)
            .map(|i| format!("{},-1,{}\n", 100 + i, 0.5 + f64::from(i) / 100.0))
            .collect::<String>();
    let long = fit(&long, &["--type", "12AX7"]);
    holds(
        "fit",
        &[
            triode, pentode, rectifier, none, poor, errors, section, long,
        ],
    );
}

#[test]
fn snapshot_of_a_fit() {
    let json = fit(POINTS, &["--type", "X1", "--like", "12AX7"]);
    insta::assert_json_snapshot!("fit-triode", four_digits(json));
}

#[test]
fn signals_and_recordings_print_what_is_documented() {
    let here = common::folder(&[]);
    let at = |arguments: &[&str]| {
        common::run_in(here.path(), arguments, b"")
            .ends(0)
            .calm()
            .json()
    };
    let written: Vec<Value> = ["sweep", "steps", "tone", "silence", "two-tone", "string"]
        .iter()
        .map(|s| at(&["signal", s, "-o", &format!("{s}.wav"), "--json"]))
        .collect();
    holds("signal", &written);
    // Hum with ticks, and a tone that swings, made here.
    let rate = 48_000.0;
    let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(1);
    let hum: Vec<f64> = (0..240_000)
        .map(|i| {
            let tick = if i % 50_000 == 49_999 { 0.05 } else { 0.0 };
            let t = f64::from(i) / rate;
            let hiss: f64 = (0..4).map(|_| random.random::<f64>() - 0.5).sum();
            tick + 0.01 * (std::f64::consts::TAU * 100.0 * t).sin() + 1e-4 * hiss
        })
        .collect();
    let swing: Vec<f64> = sound::signals::tone(rate, 6.0, 440.0)
        .iter()
        .enumerate()
        .map(|(i, x)| 0.5 * x * (1.0 + 0.5 * (std::f64::consts::TAU * 5.0 * i as f64 / rate).sin()))
        .collect();
    for (name, samples) in [("hum.wav", &hum), ("swing.wav", &swing)] {
        let bytes = sound::write::wav(samples, 48_000).expect("short");
        std::fs::write(here.path().join(name), bytes).expect("a file");
    }
    let calibrated = ["--full-scale", "28.3", "--load", "8", "--json"];
    let of = |arguments: &[&str]| at(&[arguments, &calibrated[..]].concat());
    let pip = std::fs::read(common::root().join("examples/pip.wiring")).expect("an example");
    std::fs::write(here.path().join("pip.wiring"), pip).expect("a file");
    let heard = [
        of(&[
            "hear",
            "hum.wav",
            "--before",
            "hum.wav",
            "--amp",
            "pip.wiring",
        ]),
        of(&[
            "hear",
            "sweep.wav",
            "--played",
            "sweep",
            "--amp",
            "pip.wiring",
            "--jack",
            "0.01",
        ]),
        of(&["hear", "steps.wav", "--played", "steps"]),
        of(&["hear", "swing.wav", "--played", "tone"]),
        of(&["hear", "two-tone.wav", "--played", "two-tone"]),
        common::run_in(here.path(), &["hear", "silence.wav", "--json"], b"")
            .ends(1)
            .json(),
    ];
    assert_eq!(heard[0]["clicks"]["count"], 4);
    assert_eq!(heard[0]["hum"]["lines"][0]["order"], 2);
    assert_eq!(heard[0]["notes"], serde_json::json!([]));
    let watts = heard[2]["steps"][7]["watts"].as_f64().expect("watts");
    // Peak 0.89125 of 28.3 V into 8 ohms.
    assert!(
        (watts - (0.891_25_f64 * 28.3).powi(2) / 16.0).abs() < 0.01,
        "{watts}"
    );
    assert!(
        (heard[3]["tremolo"]["depth_percent"]
            .as_f64()
            .expect("depth")
            - 50.0)
            .abs()
            < 0.5
    );
    let mut shorter = heard.to_vec();
    shorter.push(
        common::run_in(
            here.path(),
            &["hear", "swing.wav", "--played", "string", "--json"],
            b"",
        )
        .ends(0)
        .json(),
    );
    let clipped: Vec<f64> = hum.iter().map(|x| (300.0 * x).clamp(-1.0, 1.0)).collect();
    let bytes = sound::write::wav(&clipped, 48_000).expect("short");
    std::fs::write(here.path().join("clipped.flac"), bytes).expect("a file");
    shorter.push(at(&["hear", "clipped.flac", "--json"]));
    holds("hear", &shorter);
}

#[test]
fn what_was_played_through_prints_what_is_documented() {
    let here = common::folder(&[(
        "curlew.wiring",
        &std::fs::read_to_string(common::root().join("examples/curlew.wiring"))
            .expect("an example"),
    )]);
    for (name, seconds) in [("in.wav", 0.6), ("short.wav", 0.05), ("box.wav", 0.01)] {
        let samples = sound::signals::tone(48_000.0, seconds, 440.0);
        let bytes = sound::write::wav(&samples, 48_000).expect("short");
        std::fs::write(here.path().join(name), bytes).expect("a file");
    }
    let quick = ["--inside", "44100", "--json"];
    let at = |arguments: &[&str]| {
        let all = [&["listen", "curlew.wiring"][..], arguments, &quick].concat();
        common::run_in(here.path(), &all, b"").ends(0).json()
    };
    let played = [
        at(&[
            "--play",
            "in.wav",
            "--from",
            "J3",
            "--set",
            "DEPTH=8",
            "--impulse",
            "box.wav",
            "-o",
            "a.wav",
        ]),
        at(&[
            "--play",
            "short.wav",
            "--from",
            "J1",
            "--out-full-scale",
            "1e-5",
            "-o",
            "b.wav",
        ]),
    ];
    assert_eq!(played[1]["files"][0]["cut_off"], true);
    holds("listen", &played);
}

#[test]
fn json_comes_with_errors_too() {
    let ran = run_with(&["chart", "--json", "-"], ROUGH.as_bytes());
    ran.ends(1);
    let json = ran.json();
    assert!(!json["errors"].as_array().expect("an array").is_empty());
    assert!(!json["points"].as_array().expect("an array").is_empty());
}

#[test]
fn snapshot_of_the_whole_chart_of_the_small_amplifier() {
    insta::assert_json_snapshot!("chart-pip", four_digits(chart("pip")));
}

#[test]
fn snapshot_of_a_data_sheet() {
    insta::assert_json_snapshot!(
        "valves-6v6gt",
        four_digits(run(&["valves", "6V6GT", "--json"]).json())
    );
}

#[test]
fn snapshot_of_a_check() {
    let json = run_with(&["check", "--json", "-"], ROUGH.as_bytes()).json();
    insta::assert_json_snapshot!("check-rough", four_digits(json));
}
