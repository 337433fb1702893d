//! No text makes the reader panic, hang, or lose its head.

use proptest::prelude::*;
use wiring::sheet::Library;
use wiring::{Read, Severity, Text, read, read_one, read_readings};

const EXAMPLES: [&str; 4] = [
    include_str!("pip.wiring"),
    include_str!("../../../examples/pip.wiring"),
    include_str!("../../../examples/curlew.wiring"),
    include_str!("../../../examples/turnstone.wiring"),
];
const READINGS: &str = include_str!("pip.readings");

/// Whatever was read, the circuit is whole: every index points somewhere and points back.
fn whole(read: &Read) -> Result<(), TestCaseError> {
    let c = &read.circuit;
    prop_assert!(!c.nodes.is_empty());
    for (at, node) in c.nodes.iter().enumerate() {
        prop_assert!(!node.names.is_empty() || !node.terminals.is_empty() || at == 0);
        for (part, t) in &node.terminals {
            let part = c.parts.get(part.0);
            let terminal = part.and_then(|p| p.terminals.get(*t));
            prop_assert_eq!(terminal.and_then(|t| t.node).map(|n| n.0), Some(at));
        }
    }
    for part in &c.parts {
        for terminal in &part.terminals {
            if let Some(node) = terminal.node {
                prop_assert!(node.0 < c.nodes.len());
            }
        }
    }
    for d in &read.problems {
        prop_assert!(wiring::codes::find(d.code).is_some_and(|c| c.severity == d.severity));
        prop_assert!(d.place.line >= 1 && d.place.column >= 1 && d.place.start <= d.place.end);
        prop_assert!(!d.message.is_empty() && !d.advice.is_empty());
    }
    Ok(())
}

fn try_text(text: &str) -> Result<(), TestCaseError> {
    let texts = [
        Text {
            name: "a.wiring",
            text,
        },
        Text {
            name: "a.readings",
            text,
        },
    ];
    let read = read(&texts, Library::built_in());
    whole(&read)?;
    for d in &read.problems {
        let file = texts[d.place.file].text;
        prop_assert!(file.get(d.place.start..d.place.end).is_some(), "{:?}", d);
        let _ = d.render(&texts);
    }
    let (_, problems) = read_readings(&texts[1], &read.circuit);
    prop_assert!(problems.iter().all(|d| d.place.file == 0));
    Ok(())
}

/// Words that mean something, so that random texts get deep into the reader.
fn word() -> impl Strategy<Value = String> {
    prop_oneof![
        "[A-Z]{1,2}[0-9]{1,2}[a-c]?",
        "[a-zA-Z]{1,6}\\.[a-z0-9]{1,4}",
        "[+]?[A-Z]{1,2}[0-9][+><]?",
        "[0-9.,]{1,4}[a-zA-Zµ%]{0,3}",
        prop::sample::select(vec![
            "-",
            "[",
            "]",
            "|",
            "=",
            "@",
            "?",
            ":",
            ",",
            ";",
            "\"",
            "#",
            "to",
            "unused",
            "apart",
            "ground",
            "chassis",
            "live",
            "earth",
            "pot",
            "can",
            "power",
            "output",
            "driver",
            "inter",
            "switch",
            "poles",
            "throws",
            "gangs",
            "taper",
            "zener",
            "bridge",
            "cell",
            "of",
            "lamp",
            "valve",
            "like",
            "pins",
            "limits",
            "plate",
            "emission",
            "box",
            "gain",
            "supply",
            "tap",
            "removed",
            "in",
            "circuit",
            "leak",
            "open",
            "audio",
            "readings",
            "wiring",
            "set",
            "mains",
            "valves",
            "only",
            "power",
            "off",
            "ac",
            "OL",
            "<",
            "signal",
            "12AX7",
            "5Y3GT",
            "6AN8",
            "275-0-275",
            "8k:4/8/16",
            "1:1.5+1.5",
            "105+98",
            "0:0",
            "10:100",
            "2",
            "V",
            "ohm",
            "mA",
        ])
        .prop_map(str::to_owned),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn any_characters(text in "(\\PC|[-\\[\\]|=@?#,:;\"<>+.\\n\\r\\t \u{a0}\u{b5}\u{3a9}\u{2212}]){0,200}") {
        try_text(&text)?;
    }

    #[test]
    fn any_bytes(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        try_text(&String::from_utf8_lossy(&bytes))?;
    }

    #[test]
    fn any_words(lines in prop::collection::vec(prop::collection::vec(word(), 1..9), 1..12)) {
        let text: Vec<String> = lines.iter().map(|l| l.join(" ")).collect();
        try_text(&text.join("\n"))?;
    }

    #[test]
    fn any_walks(lines in prop::collection::vec(prop::collection::vec(word(), 2..6), 1..12)) {
        let text: Vec<String> = lines.iter().map(|l| l.join(" - ")).collect();
        try_text(&text.join("\n"))?;
    }

    #[test]
    fn damaged_examples(
        which in 0..EXAMPLES.len(),
        cuts in prop::collection::vec((any::<prop::sample::Index>(), 0..12usize, word()), 1..8),
    ) {
        let mut text: Vec<char> = format!("{}{READINGS}", EXAMPLES[which]).chars().collect();
        for (at, length, word) in cuts {
            let at = at.index(text.len());
            let end = (at + length).min(text.len());
            text.splice(at..end, word.chars());
        }
        try_text(&text.into_iter().collect::<String>())?;
    }
}

/// Reads and checks the circuit. That it ends at once is seen in `./bench`, which measures such
/// texts; no test measures time, because machines are small and noisy.
fn answered(text: &str) -> Read {
    let read = read_one(text);
    whole(&read).expect("the circuit is whole");
    read
}

fn codes(read: &Read) -> Vec<&'static str> {
    let mut codes: Vec<_> = read
        .problems
        .iter()
        .filter(|d| d.severity == Severity::Error)
        .map(|d| d.code)
        .collect();
    codes.dedup();
    codes
}

#[test]
fn ten_thousand_parts() {
    let mut text = String::new();
    for i in 1..=10_000 {
        text.push_str(&format!("n{i} - R{i} 1k - n{}\n", i + 1));
    }
    let read = answered(&text);
    assert_eq!(read.circuit.parts.len(), 10_000);
    assert_eq!(read.circuit.nodes.len(), 10_002);
    assert!(!read.has_errors());
}

#[test]
fn ten_thousand_loose_names_and_clashes() {
    let mut text = String::new();
    for i in 1..=10_000 {
        text.push_str(&format!("point{i} - R1 1k - other{i}\nVR{i}.2 - Q{i}\n"));
    }
    let read = answered(&text);
    assert!(codes(&read).contains(&"met-elsewhere"));
}

#[test]
fn ten_thousand_readings() {
    let mut text = String::from("V1 12AX7\nV1.1 - R4 100k - ground\nreadings as found\n");
    for i in 1..=10_000 {
        text.push_str(&format!("V1.1 {i}\nnowhere{i} 5\n"));
    }
    let read = answered(&text);
    assert_eq!(read.circuit.readings[0].readings.len(), 20_000);
}

#[test]
fn brackets_ten_thousand_deep() {
    let deep = format!(
        "x - {}R1 1k{} - ground",
        "[".repeat(10_000),
        "]".repeat(10_000)
    );
    assert_eq!(codes(&answered(&deep)), ["brackets-too-deep"]);
    let open = format!("x - {}", "[R1 1k | ".repeat(10_000));
    assert_eq!(codes(&answered(&open)), ["brackets-too-deep"]);
    let wide = format!("x - [{}R1 1k] - ground", "R2 1k | ".repeat(10_000));
    assert!(codes(&answered(&wide)).is_empty());
    let close = "]".repeat(10_000);
    assert!(codes(&answered(&close)).contains(&"stray-bracket"));
}

#[test]
fn one_long_line() {
    let long = format!("V1.1 - {}ground", "R1 1k - B1 - ".repeat(10_000));
    answered(&long);
    answered(&"x".repeat(1_000_000));
    answered(&"\"".repeat(100_001));
    answered(&"= ".repeat(100_000));
    answered(&format!("R1 {}", "1k ".repeat(100_000)));
    answered(&format!("R1 {}", "9".repeat(100_000)));
    answered(&format!("T1 power 230 V: {}", "a 5 V, ".repeat(10_000)));
}

#[test]
fn each_bad_input_has_its_diagnostic() {
    for (text, code) in [
        ("\u{0}\u{1}\u{2}", "lonely-stop"),
        ("V1 12AX7\nV1.1 - R4 100k -", "empty-stop"),
        ("V1 12AXZZ", "unknown-valve-type"),
        ("R4 100k\nR4 47k", "described-differently"),
        (
            "ground - apart - chassis\nground - chassis",
            "apart-yet-joined",
        ),
        ("R1 1e999", "exponent"),
        ("R1 99999999999999999M", "out-of-range"),
    ] {
        let read = answered(text);
        assert!(
            read.problems.iter().any(|d| d.code == code),
            "{code}: {:?}",
            read.problems
        );
    }
}
