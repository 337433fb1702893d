//! Whatever is typed: the reader answers, keeps its own promises, and stays quick.
//!
//! Sizes are bounded instead of timed; a reader whose work grows faster than its text
//! would make these tests crawl.

use proptest::prelude::*;
use wiring::{Circuit, Diagnostic, Kind};

const EXAMPLES: [&str; 3] = [
    include_str!("../../../examples/pip.wiring"),
    include_str!("../../../examples/curlew.wiring"),
    include_str!("../../../examples/turnstone.wiring"),
];

const EXAMPLE_READINGS: [&str; 3] = [
    include_str!("../../../examples/pip.readings"),
    include_str!("../../../examples/curlew.readings"),
    include_str!("../../../examples/turnstone.readings"),
];

/// Reads a text and holds the answer against what the types promise.
fn read(text: &str) -> (Circuit, Vec<Diagnostic>) {
    let wiring::Read {
        circuit,
        problems: diagnostics,
    } = wiring::read_one(text);
    for d in &diagnostics {
        let place = d.place;
        assert!(place.start <= place.end && place.end <= text.len(), "{d:?}");
        let before = text
            .get(..place.start)
            .expect("a place begins between characters");
        assert!(
            text.get(..place.end).is_some(),
            "a place ends between characters"
        );
        let line_start = before.rfind(['\n', '\r']).map_or(0, |at| at + 1);
        assert_eq!(
            before.get(line_start..).unwrap_or_default().chars().count() + 1,
            place.column,
            "{d:?}"
        );
        assert!(!d.message.is_empty() && !d.advice.is_empty(), "{d:?}");
        assert!(
            d.message.len() < 2000 && d.advice.len() < 2000,
            "{}",
            d.code
        );
        assert!(wiring::codes::find(d.code).is_some(), "{}", d.code);
    }
    for (p, part) in circuit.parts.iter().enumerate() {
        for (t, terminal) in part.terminals.iter().enumerate() {
            if let Some(node) = terminal.node {
                let there = &circuit.nodes[node.0].terminals;
                assert!(
                    there.iter().any(|(id, at)| id.0 == p && *at == t),
                    "{}",
                    part.name
                );
            }
        }
        if let Kind::Valve(valve) = &part.kind {
            assert!(
                valve
                    .electrodes
                    .iter()
                    .all(|e| e.terminal < part.terminals.len())
            );
        }
    }
    for node in &circuit.nodes {
        for (part, terminal) in &node.terminals {
            assert!(circuit.parts[part.0].terminals[*terminal].node.is_some());
        }
    }
    (circuit, diagnostics)
}

/// Leaves out where things stood.
fn strip_places(value: &mut serde_json::Value) {
    match value {
        serde_json::Value::Object(map) => {
            map.remove("place");
            map.values_mut().for_each(strip_places);
        }
        serde_json::Value::Array(list) => list.iter_mut().for_each(strip_places),
        _ => {}
    }
}

/// Everything that was read, without where it stood.
fn meaning(text: &str) -> (serde_json::Value, Vec<&'static str>) {
    let (circuit, diagnostics) = read(text);
    let mut value = serde_json::to_value(&circuit).expect("a circuit is plain data");
    strip_places(&mut value);
    (value, diagnostics.iter().map(|d| d.code).collect())
}

/// What formatting must not change.
fn formats_well(text: &str) {
    let tidy = wiring::format::format(text);
    assert_eq!(wiring::format::format(&tidy), tidy, "a second time");
    assert_eq!(meaning(&tidy), meaning(text), "{text:?}\n{tidy:?}");
}

#[test]
fn the_examples_are_tidy_and_free_of_errors() {
    for text in EXAMPLES {
        let (_, diagnostics) = read(text);
        let worse: Vec<_> = diagnostics
            .iter()
            .filter(|d| d.severity > wiring::Severity::Note)
            .collect();
        assert_eq!(worse, Vec::<&Diagnostic>::new());
        assert_eq!(wiring::format::format(text), text);
    }
}

#[test]
fn the_readings_of_the_examples_fit_their_wirings() {
    for (wiring, readings) in EXAMPLES.into_iter().zip(EXAMPLE_READINGS) {
        let texts = [
            wiring::Text {
                name: "amp.wiring",
                text: wiring,
            },
            wiring::Text {
                name: "amp.readings",
                text: readings,
            },
        ];
        let read = wiring::read(&texts, wiring::sheet::Library::built_in());
        let worse: Vec<_> = read
            .problems
            .iter()
            .filter(|d| d.severity > wiring::Severity::Note)
            .collect();
        assert_eq!(worse, Vec::<&Diagnostic>::new());
        let count: usize = read.circuit.readings.iter().map(|b| b.readings.len()).sum();
        assert!((20..=40).contains(&count), "{count}");
        assert_eq!(wiring::format::format(readings), readings);
        let sheet = wiring::csv::blocks_to_csv(&read.circuit.readings);
        assert_eq!(wiring::csv::import(&sheet, 0).diagnostics, []);
    }
}

/// Every beginning of a text, cut at each character.
fn every_beginning(text: &str, step: usize) {
    for (at, _) in text.char_indices().step_by(step) {
        read(text.get(..at).unwrap_or_default());
    }
}

#[test]
fn half_a_file_is_read() {
    every_beginning(EXAMPLES[0], 3);
    for text in EXAMPLES {
        every_beginning(text, 41);
    }
}

#[test]
#[ignore = "long: tens of thousands of readings"]
fn every_beginning_of_every_example_is_read() {
    for text in EXAMPLES {
        every_beginning(text, 1);
    }
}

#[test]
fn ten_thousand_parts() {
    let lines: String = (0..10_000)
        .map(|n| format!("n{n} - R{n} 1k - n{}\n", n + 1))
        .collect();
    let (circuit, _) = read(&lines);
    assert_eq!(circuit.parts.len(), 10_000);
    let star: String = (0..10_000)
        .map(|n| format!("B1 - C{n} 1u - ground\n"))
        .collect();
    assert_eq!(read(&star).0.parts.len(), 10_000);
    let one_walk: String = (0..10_000).map(|n| format!(" - R{n} 1k")).collect();
    assert_eq!(
        read(&format!("B1{one_walk} - ground")).0.parts.len(),
        10_000
    );
    let loose: String = (0..10_000).map(|n| format!("R{n} 1k\n")).collect();
    assert_eq!(read(&loose).0.parts.len(), 10_000);
}

#[test]
fn ten_thousand_slips() {
    // Each wants the nearest other name.
    let points: String = (0..10_000).map(|n| format!("a{n}x - b{n}y\n")).collect();
    read(&points);
    let unknown: String = (0..10_000).map(|n| format!("VR{n}.2 - V{n}.3\n")).collect();
    read(&unknown);
    let readings: String = (0..10_000).map(|n| format!("point{n} 172\n")).collect();
    read(&format!("readings x\n{readings}"));
    let same = "R1 1k\n".repeat(10_000);
    assert_eq!(read(&same).0.parts.len(), 1);
    let moved: String = (0..10_000)
        .map(|n| format!("a{n} - R1 {n}k - b{n}\n"))
        .collect();
    read(&moved);
    let blocks = "readings\nR1 1\n".repeat(10_000);
    assert_eq!(read(&blocks).0.readings.len(), 10_000);
    let sets = "set VOLUME 5\n".repeat(10_000);
    read(&format!("VOLUME pot 1M\n{sets}"));
}

#[test]
fn brackets_ten_thousand_deep() {
    let n = 10_000;
    for text in [
        format!("a - {}R1 1k{} - b", "[".repeat(n), "]".repeat(n)),
        format!("a - {} - b", "[".repeat(n)),
        format!("a - R1 1k{} - b", "]".repeat(n)),
        format!("a - [{}] - b", "|".repeat(n)),
        format!("a - [R1 1k {}] - b", "| C1 1u ".repeat(n)),
        format!(
            "a - {}R1 1k{}",
            "[R2 1k - ".repeat(n),
            " | R3 1k]".repeat(n)
        ),
        " - ".repeat(n),
        "- ".repeat(n),
    ] {
        read(&text);
        let tidy = wiring::format::format(&text);
        assert_eq!(wiring::format::format(&tidy), tidy);
    }
}

#[test]
fn huge_numbers_and_long_words() {
    let nines = "9".repeat(10_000);
    let word = "w".repeat(100_000);
    let taps: String = (0..10_000).map(|n| format!("-{n}")).collect();
    let slashes = "/8".repeat(10_000);
    let names: String = (0..10_000).map(|n| format!(" t{n}")).collect();
    for text in [
        format!("R1 {nines}"),
        format!("R1 0.{nines}"),
        format!("R1 1e{nines}"),
        format!("R{nines} 1k"),
        "R1 1e308M = 1e-320".to_owned(),
        "R1 inf\nC1 nan\nR2 -inf".to_owned(),
        format!("VOLUME pot 1M audio {nines} gangs\nset VOLUME {nines}"),
        format!("S1 switch {nines} poles {nines} throws\nset S1 {nines}"),
        "S1 switch 99 poles 99 throws".to_owned(),
        format!("V1 7XYZ: pins {nines} plate, 0 grid, 18446744073709551616 cathode"),
        format!("T1 power 0{taps} V: hv 1-0-1 V"),
        format!("T1 power 230 V: hv 275{taps} V"),
        format!("T2 output 8k:4{slashes} ohm"),
        format!("T2 output {nines}:{nines}"),
        format!("Z1 box \"x\"{names}"),
        format!("P1 pot 1M taper{}", " 5:5".repeat(10_000)),
        format!("mains {nines} V {nines} Hz"),
        format!("{word}\n{word} - {word}\n{word}.{word} - R1 {word}"),
        format!("R1 1k \"{word}\" @ \"{word}\""),
        format!(
            "readings {word}\nmeter {nines} {nines}%\nV1.1 {nines}\nminutes {nines}\nB1 0.{nines}"
        ),
        format!("C1 can 450V:{}", " a 1u,".repeat(10_000)),
        format!("DS1 neon\nR1 cell of DS1 dark {nines} lit {nines}"),
        "\u{0}\u{1}\u{7f}".repeat(1000),
        "e\u{301}\u{200d}\u{202e}V1.1 - R1 1k".repeat(1000),
    ] {
        read(&text);
        let tidy = wiring::format::format(&text);
        assert_eq!(wiring::format::format(&tidy), tidy);
        let _ = wiring::csv::import(&text, 0);
    }
}

/// One slip of the hand in a text.
#[derive(Debug, Clone)]
enum Slip {
    Delete(usize, usize),
    Insert(usize, String),
    SwapLines(usize, usize),
    RepeatLine(usize),
    JoinLine(usize),
}

fn any_slip() -> impl Strategy<Value = Slip> {
    prop_oneof![
        (any::<usize>(), 1..40usize).prop_map(|(at, n)| Slip::Delete(at, n)),
        (any::<usize>(), any_word()).prop_map(|(at, text)| Slip::Insert(at, text)),
        (any::<usize>(), any::<usize>()).prop_map(|(a, b)| Slip::SwapLines(a, b)),
        any::<usize>().prop_map(Slip::RepeatLine),
        any::<usize>().prop_map(Slip::JoinLine),
    ]
}

fn damaged(text: &str, slips: &[Slip]) -> String {
    let mut text = text.to_owned();
    for slip in slips {
        let chars: Vec<char> = text.chars().collect();
        let lines: Vec<&str> = text.lines().collect();
        if chars.is_empty() || lines.is_empty() {
            break;
        }
        text = match slip {
            Slip::Delete(at, n) => {
                let at = at % chars.len();
                let kept = chars.iter().enumerate();
                kept.filter(|(i, _)| !(at..at + n).contains(i))
                    .map(|(_, c)| *c)
                    .collect()
            }
            Slip::Insert(at, word) => {
                let (before, after) = chars.split_at(at % chars.len());
                before
                    .iter()
                    .copied()
                    .chain(word.chars())
                    .chain(after.iter().copied())
                    .collect()
            }
            Slip::SwapLines(a, b) => {
                let mut lines = lines.clone();
                let (a, b) = (a % lines.len(), b % lines.len());
                lines.swap(a, b);
                lines.join("\n")
            }
            Slip::RepeatLine(at) => {
                let mut lines = lines.clone();
                lines.push(lines[at % lines.len()]);
                lines.join("\n")
            }
            Slip::JoinLine(at) => {
                let at = at % lines.len();
                let mut out = String::new();
                for (i, line) in lines.iter().enumerate() {
                    out.push_str(line);
                    out.push(if i == at { ' ' } else { '\n' });
                }
                out
            }
        };
    }
    text
}

/// A word of the notation, or nearly.
fn any_word() -> impl Strategy<Value = String> {
    prop_oneof![
        8 => proptest::sample::select(vec![
            "amp", "mains", "cord", "two-wire", "state", "note", "set", "readings", "wiring",
            "meter", "valves", "all", "in", "without", "only", "standby", "speaker", "on", "off",
            "limiter", "minutes", "signal", "power", "heard", "seen", "resistor", "capacitor",
            "can", "choke", "silicon", "selenium", "zener", "bridge", "neon", "lamp", "cell", "of",
            "dark", "lit", "fuse", "slow", "switch", "poles", "throws", "open", "closed", "jack",
            "stereo", "phono", "plugged", "pot", "audio", "linear", "reverse", "gangs", "with",
            "taper", "valve", "12AX7", "6V6GT", "EL84", "5Y3GT", "emission", "like", "pins",
            "plate", "grid", "limits", "output", "single", "ideal", "leakage", "taps", "driver",
            "inter", "tap", "tank", "supply", "generator", "gain", "box", "original", "replaced",
            "added", "removed", "assumed", "keep", "watch", "replace", "leak", "esr", "min",
            "carbon", "film", "electrolytic", "circuit", "unused", "apart", "ground", "gnd", "0V",
            "chassis", "live", "neutral", "earth", "OL", "ac", "to", "ohm", "V", "mV", "Hz",
        ]).prop_map(str::to_owned),
        6 => "[VRCLTDJSF]S?[1-4][abtp]?(\\.([0-9]{1,2}|plate|grid|hv[0-2]|tip|p[0-2]|s[0-2]))?",
        3 => "[+]?[CGD][1-3][+<>]?",
        3 => "[0-9]{0,3}[.,]?[0-9]{1,3}[kKmMunpR]?[VWHFA]?%?",
        2 => "[0-9]{1,3}-0-[0-9]{1,3}|[0-9]{1,2}k:[0-9]{1,2}(/[0-9]{1,2}){0,2}|-20\\+50%",
        6 => proptest::sample::select(vec![
            " - ", " - ", " - ", "[", "]", "|", "=", "@", ":", ";", ",", "?", "\"", "#", "# ", "<",
            "\u{2013}", "\u{a0}", "\n", "\n", "\n", "\r\n", "\t",
        ]).prop_map(str::to_owned),
        1 => "\\PC{1,4}",
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn random_bytes(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        let text = String::from_utf8_lossy(&bytes);
        formats_well(&text);
        let _ = wiring::csv::import(&text, 0);
    }

    #[test]
    fn words_in_any_order(words in proptest::collection::vec(any_word(), 0..120)) {
        let text = words.join(" ");
        formats_well(&text);
        formats_well(&words.concat());
    }

    #[test]
    fn slips_in_a_whole_amplifier(which in 0..3usize, slips in proptest::collection::vec(any_slip(), 1..8)) {
        let text = damaged(EXAMPLES[which], &slips);
        formats_well(&text);
        let _ = wiring::csv::import(&text, 0);
    }

    #[test]
    fn damaged_readings_as_a_sheet(slips in proptest::collection::vec(any_slip(), 0..6)) {
        let sheet = "block,point,to,value,unit,note\nas found,mains,,231 V,,\nas found,B1,B2,30.4,V,\"hot, warm\"\nas found,V1.1,,172,,\n";
        let imported = wiring::csv::import(&damaged(sheet, &slips), 0);
        prop_assert_eq!(imported.text.lines().count(), imported.rows.len());
        read(&imported.text);
    }
}

/// Blocks without where they stood and what they meant.
fn plain(blocks: &[wiring::Block]) -> serde_json::Value {
    let mut value = serde_json::to_value(blocks).expect("blocks are plain data");
    strip_places(&mut value);
    value
}

const READINGS: &str = "\
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
V1.1      172
V1a.plate 172.0
B1 to B2  30.4 \"moves, a little; says 'two'\"
V2.5      -0.02
V2.5      0.004
LS1       4 mV ac
LS1       0.0045 V ac
T1.heater1 to T1.heater2 6.41 ac
V2.8      1.325
V1.3      < 0.01
V1.6      > 300
B1        OL
heard     hum, then silence
seen      V2 glows
readings  cold
power     off
R4        104k
R5        1k8
R10       468.2k
R7        1.50M
T1.pri1 to T1.pri2  23.5
B1        OL
B2        > 20M
readings  cold
power     off
R4        99k
readings  nothing
";

#[test]
fn readings_go_through_text_and_sheet_unchanged() {
    let wiring = read_both(READINGS);
    let blocks = wiring.circuit.readings;
    assert_eq!(blocks.len(), 4);
    let text = wiring::csv::blocks_to_text(&blocks);
    assert_eq!(
        plain(&read_both(&text).circuit.readings),
        plain(&blocks),
        "{text}"
    );
    let sheet = wiring::csv::blocks_to_csv(&blocks);
    let imported = wiring::csv::import(&sheet, 0);
    assert_eq!(imported.diagnostics, []);
    assert_eq!(
        plain(&read_both(&imported.text).circuit.readings),
        plain(&blocks),
        "{sheet}"
    );
}

/// The readings with the first example's wiring before them.
fn read_both(readings: &str) -> wiring::Read {
    let texts = [
        wiring::Text {
            name: "pip.wiring",
            text: EXAMPLES[0],
        },
        wiring::Text {
            name: "pip.readings",
            text: readings,
        },
    ];
    let read = wiring::read(&texts, wiring::sheet::Library::built_in());
    let worse: Vec<_> = read
        .problems
        .iter()
        .filter(|p| p.severity == wiring::Severity::Error)
        .collect();
    assert_eq!(worse, Vec::<&Diagnostic>::new());
    read
}
