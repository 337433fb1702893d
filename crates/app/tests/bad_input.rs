//! Whatever a file holds, the program answers with a diagnostic and a remedy. How quickly, `./bench` says.

mod common;

use common::{Ran, folder, run, run_with};
use rand::RngExt as _;
use rand::SeedableRng as _;

/// `check` on a text: calm and narrow. Gives what it printed.
#[track_caller]
fn check(text: &str) -> Ran {
    let ran = run_with(&["check", "-"], text.as_bytes());
    ran.calm().fits();
    ran
}

/// The errors that `check --json` tells.
#[track_caller]
fn errors(text: &str) -> Vec<serde_json::Value> {
    let ran = run_with(&["check", "--json", "-"], text.as_bytes());
    ran.calm();
    let json = ran.json();
    let errors = json["errors"].as_array().expect("an array").clone();
    assert_eq!(ran.status, i32::from(!errors.is_empty()));
    for error in &errors {
        for field in ["code", "file", "message", "advice"] {
            let words = error[field].as_str().unwrap_or("");
            assert!(!words.is_empty(), "{field} of {error}");
        }
        assert!(error["line"].as_u64().is_some_and(|n| n > 0), "{error}");
        assert!(error["column"].as_u64().is_some_and(|n| n > 0), "{error}");
    }
    errors
}

#[track_caller]
fn has_error_at(text: &str, line: u64, words: &[&str]) {
    let found = errors(text);
    let here = found
        .iter()
        .filter(|e| e["line"] == line)
        .map(|e| format!("{} {}", e["message"], e["advice"]))
        .collect::<Vec<_>>();
    assert!(!here.is_empty(), "no error in line {line}: {found:#?}");
    for word in words {
        assert!(here.iter().any(|h| h.contains(word)), "{word}: {here:#?}");
    }
}

#[test]
fn random_bytes() {
    let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(7);
    for size in [1_usize, 10, 100, 1000, 10_000, 100_000] {
        let bytes: Vec<u8> = (0..size).map(|_| random.random()).collect();
        for command in [
            &["check", "-"][..],
            &["format", "-"],
            &["chart", "-"],
            &["draw", "-"],
            &["draw", "--over", "volts,verdicts,parts", "-"],
            &["supply", "-"],
            &["stress", "-"],
            &["parts", "-"],
            &["voicing", "-"],
            &["suspects", "-"],
            &["kin", "-", "examples/pip.wiring"],
        ] {
            let ran = run_with(command, &bytes);
            ran.calm();
            if size >= 100 {
                ran.ends(1);
            }
        }
    }
}

#[test]
fn random_text_of_the_alphabet_of_wirings() {
    let words = [
        "R1",
        "V1",
        "V1.1",
        " - ",
        "[",
        "]",
        "|",
        "100k",
        "22n",
        "ground",
        "\n",
        "#",
        "=",
        "T1",
        "power",
        "230 V:",
        "hv 275-0-275 V",
        "+C1",
        "C1+",
        "D1>",
        "set",
        "VOLUME",
        "pot",
        "?",
        "readings",
        "unused",
        "\"",
        "@",
        "to",
        "ac",
        "12AX7",
        "%",
        "-",
        ".",
        "1e999",
        "\u{b5}",
    ];
    let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(8);
    for _ in 0..60 {
        let text: String = (0..200)
            .map(|_| {
                let word = words[random.random_range(0..words.len())];
                if random.random_bool(0.7) {
                    format!("{word} ")
                } else {
                    word.to_owned()
                }
            })
            .collect();
        check(&text);
    }
}

#[test]
fn half_a_line() {
    has_error_at("V1 12AX7\nV1.1 - R4 100k -\n", 2, &[]);
    has_error_at("V1 12AX7\nV1.1 - [R4 100k | \n", 2, &[]);
    has_error_at("T1 power 230 V: hv 275-\n", 1, &[]);
}

#[test]
fn every_beginning_of_an_example_is_answered() {
    let whole = std::fs::read_to_string(common::root().join("examples/pip.wiring")).expect("there");
    let ends: Vec<usize> = whole.char_indices().map(|(i, _)| i).collect();
    for end in ends.iter().step_by(97) {
        check(&whole[..*end]);
    }
}

#[test]
fn unknown_valve() {
    // An unknown type is no error: pins and limits can be typed. It is told, with the nearest.
    let ran = check("V1 12AX8\nV1.1 - R1 100k - B1\n");
    assert!(ran.out.contains("12AX8"), "{}", ran.out);
    assert!(ran.out.contains("12AX7"), "{}", ran.out);
}

#[test]
fn duplicate_part() {
    has_error_at("R1 100k\nR1 47k\nB1 - R1 - ground\n", 2, &["R1"]);
}

#[test]
fn contradiction() {
    has_error_at("B1 - R1 100k - ground\nB2 - R1 - B3\n", 2, &["R1"]);
}

/// A ladder of so many resistors.
fn ladder(parts: usize) -> String {
    let mut text = String::from("PS1 supply 300 V 10 ohm\nB0 - +PS1 - ground\n");
    for i in 0..parts {
        text.push_str(&format!("B{i} - R{} 1k - B{}\n", i + 1, i + 1));
    }
    text.push_str(&format!("B{parts} - ground\n"));
    text
}

#[test]
fn ten_thousand_parts() {
    let text = ladder(10_000);
    let ran = check(&text);
    ran.ends(0);
    assert!(ran.out.contains("10001 parts"), "{}", ran.out);
    let ran = run_with(&["format", "-"], text.as_bytes());
    ran.ends(0);
    // What cannot be an amplifier is not computed or drawn for minutes.
    for command in [
        "chart", "draw", "supply", "stress", "voicing", "bias", "heaters", "safety", "proof",
    ] {
        let ran = run_with(&[command, "-"], text.as_bytes());
        ran.ends(1);
        assert!(ran.err.contains("10001 parts"), "{command}: {}", ran.err);
    }
}

/// Bands want each point's slope by each part, so the time of a chart grows with the square of
/// the parts; a thousand are several amplifiers on one chassis.
#[test]
fn a_chart_of_a_thousand_parts() {
    let ran = run_with(&["chart", "--json", "-"], ladder(1000).as_bytes());
    ran.ends(0);
    let json = ran.json();
    let middle = json["points"]
        .as_array()
        .expect("an array")
        .iter()
        .find(|p| p["point"] == "B500")
        .expect("B500");
    // 500 k of 1000 k and 10 ohm below 300 V; the floor conductance of a thousand points takes 2 mV.
    let volts = middle["volts"].as_f64().expect("a number");
    assert!(
        (volts - 300.0 * 500_000.0 / 1_000_010.0).abs() < 5e-3,
        "{volts}"
    );
}

#[test]
fn brackets_nested_ten_thousand_deep() {
    let deep = 10_000;
    let balanced = format!(
        "V1.1 - {}R1 100k{} - ground\n",
        "[".repeat(deep),
        "]".repeat(deep)
    );
    assert!(!errors(&balanced).is_empty());
    let open = format!("V1.1 - {}", "[R1 1k | ".repeat(deep));
    assert!(!errors(&open).is_empty());
    for text in [&balanced, &open] {
        for command in ["format", "chart", "draw", "supply", "safety"] {
            let ran = run_with(&[command, "-"], text.as_bytes());
            ran.calm();
        }
    }
}

#[test]
fn huge_numbers() {
    for value in [
        "1e999",
        "999999999999999999999999999999999999999999G",
        &"9".repeat(5000),
        "1e-999",
        "-5k",
        "0",
        "nan",
        "inf",
    ] {
        let text = format!("PS1 supply 300 V\nground - PS1+ - B1\nB1 - R1 {value} - ground\n");
        check(&text);
        let ran = run_with(&["chart", "--json", "-"], text.as_bytes());
        ran.calm();
        let json = ran.json();
        // Numbers that are none would not read back as JSON.
        assert!(json["status"].is_string(), "{json}");
    }
    assert!(!errors("B1 - R1 1e999 - ground\n").is_empty());
    for line in ["set VOLUME 1e999", "mains 1e999 V", "mains -230 V"] {
        let text = format!("VOLUME pot 1M\nVOLUME.3 - B1\nVOLUME.1 - ground\n{line}\n");
        assert!(!errors(&text).is_empty(), "{line}");
    }
}

#[test]
fn a_byte_that_is_no_utf_8_is_told_with_its_place_and_the_rest_is_read() {
    let ran = run_with(
        &["check", "--json", "-"],
        b"B1 - R1 100k - ground\nnote 5 \xb5F\nB1 - VR1 - ground\n",
    );
    ran.ends(1);
    let json = ran.json();
    let codes: Vec<&str> = json["errors"]
        .as_array()
        .expect("an array")
        .iter()
        .filter_map(|e| e["code"].as_str())
        .collect();
    assert!(codes.contains(&"not-utf-8"), "{json}");
    assert!(codes.len() >= 2, "{json}");
}

#[test]
fn control_characters_move_no_cursor() {
    let ran = run_with(
        &["check", "-"],
        b"amp \x1b[2J\x1b]0;title\x07 x\nB1 - R1\x1b[31m 1k - ground\n",
    );
    ran.calm();
    assert!(!ran.out.contains('\u{1b}') && !ran.err.contains('\u{1b}'));
}

#[test]
fn a_file_that_is_not_there_a_folder_and_a_slip_in_the_name() {
    let here = folder(&[("pip.wiring", "B1 - R1 1k - ground\n")]);
    let path = |name: &str| here.path().join(name).display().to_string();
    let ran = run(&["check", &path("pip.wirign")]);
    ran.ends(3);
    assert!(ran.err.contains("pip.wiring"), "{}", ran.err);
    let ran = run(&["check", &path("nothing-like-it.txt")]);
    ran.ends(3);
    assert!(ran.err.contains("There is no file"), "{}", ran.err);
    let ran = run(&["chart", &here.path().display().to_string()]);
    ran.ends(3);
    assert!(ran.err.contains("folder"), "{}", ran.err);
}

/// A WAV file of 48 kHz: bytes of a sample, channels, and its samples as they stand in it; `data` says how long they are.
fn wav(bytes: u16, channels: u16, samples: &[u8], data: u32) -> Vec<u8> {
    let mut all = b"RIFF".to_vec();
    all.extend(data.saturating_add(36).to_le_bytes());
    all.extend(b"WAVEfmt ");
    all.extend(16_u32.to_le_bytes());
    for n in [1, channels] {
        all.extend(n.to_le_bytes());
    }
    let frame = bytes * channels;
    for n in [48_000, 48_000 * u32::from(frame)] {
        all.extend(n.to_le_bytes());
    }
    for n in [frame, 8 * bytes] {
        all.extend(n.to_le_bytes());
    }
    all.extend(b"data");
    all.extend(data.to_le_bytes());
    all.extend(samples);
    all
}

#[test]
fn recordings_that_cannot_be_measured_get_a_word_each() {
    let here = folder(&[("text.wav", "V1 12AX7\n"), ("empty.wav", "")]);
    let at = |arguments: &[&str]| common::run_in(here.path(), arguments, b"");
    at(&["signal", "silence", "-o", "silence.wav"])
        .ends(0)
        .fits();
    at(&["signal", "string", "-o", "string.wav"]).ends(0).fits();
    // What is there is not written over.
    at(&["signal", "sweep", "-o", "string.wav"]).ends(2).fits();
    at(&["signal", "sweep", "-o", "no/such/folder.wav"])
        .ends(3)
        .fits();
    let whole = std::fs::read(here.path().join("string.wav")).expect("a file");
    for (name, bytes) in [
        ("cut.wav", &whole[..40_000]),
        ("head.wav", &whole[..30]),
        ("named.mp3", &whole[..]),
    ] {
        std::fs::write(here.path().join(name), bytes).expect("a file");
    }
    // a tone of 1 kHz: far beyond full scale, of 8 bits, on the left of two channels only
    let tone = |peak: f64| (0..48_000).map(move |i| peak * (0.130_899_694 * f64::from(i)).sin());
    let sixteen = |x: f64| ((x.clamp(-1.0, 1.0) * 32_767.0) as i16).to_le_bytes();
    let clipped: Vec<u8> = tone(3.0).flat_map(sixteen).collect();
    let eight: Vec<u8> = tone(0.5).map(|x| (128.0 + 127.0 * x) as u8).collect();
    let stereo: Vec<u8> = tone(0.5)
        .flat_map(|x| sixteen(x).into_iter().chain([0, 0]))
        .collect();
    let huge = wav(2, 1, &clipped, u32::MAX - 40);
    for (name, bytes) in [
        ("clipped.wav", wav(2, 1, &clipped, 96_000)),
        ("eight.wav", wav(1, 1, &eight, 48_000)),
        ("stereo.wav", wav(2, 2, &stereo, 192_000)),
        ("huge.wav", huge),
    ] {
        std::fs::write(here.path().join(name), bytes).expect("a file");
    }
    for (arguments, status, word) in [
        (
            &["hear", "clipped.wav"][..],
            0,
            "the recorder was overdriven",
        ),
        (&["hear", "eight.wav"], 0, "8 bits a sample"),
        (&["hear", "stereo.wav"], 0, "channel 2 is silent"),
        (&["hear", "stereo.wav", "--channel", "2"], 1, "silent"),
        (&["hear", "huge.wav"], 0, "cut off"),
        (&["hear", "text.wav"], 1, "no recording"),
        (&["hear", "empty.wav"], 1, "empty"),
        (&["hear", "head.wav"], 1, "Copy it again"),
        (&["hear", "silence.wav"], 1, "silent"),
        (&["hear", "cut.wav", "--played", "string"], 0, "cut off"),
        (&["hear", "named.mp3"], 0, "the bytes are WAV"),
        (
            &["hear", "string.wav", "--played", "sweep"],
            1,
            "shorter than the sweep",
        ),
        (
            &["hear", "string.wav", "--played", "steps"],
            1,
            "not to be found",
        ),
        (&["hear", "string.wav", "--channel", "2"], 2, "no channel 2"),
        (&["hear", "string.wav", "--load", "8"], 2, "--full-scale"),
        (&["hear", "strong.wav"], 3, "string.wav"),
        (&["hear", "."], 3, "folder"),
    ] {
        let ran = at(arguments);
        ran.ends(status).calm().fits();
        let said = format!("{}{}", ran.out, ran.err).replace('\n', " ");
        assert!(said.contains(word), "{arguments:?}: {said}");
    }
}

/// What is too large is refused by its length, and what is no recording by its first bytes: neither is taken into memory,
/// of which there is less here than the files are long.
#[test]
fn a_recording_larger_than_the_memory_is_refused_in_words() {
    let here = folder(&[]);
    // They take no room on the disk: all of them but the length is a hole.
    for (name, length) in [("over.wav", (1 << 30) + 1), ("hole.wav", 1 << 30)] {
        let file = std::fs::File::create(here.path().join(name)).expect("a file");
        file.set_len(length).expect("a length");
    }
    for (name, word) in [
        ("over.wav", "larger than 1024 MB"),
        ("hole.wav", "no recording"),
    ] {
        let out = std::process::Command::new("sh")
            .args(["-c", "ulimit -v 600000 && exec \"$0\" hear \"$1\""])
            .args([env!("CARGO_BIN_EXE_tubewright"), name])
            .current_dir(here.path())
            .output()
            .expect("a shell");
        let said = String::from_utf8_lossy(&out.stderr).replace('\n', " ");
        assert_eq!(out.status.code(), Some(1), "{name}: {said}");
        assert!(said.contains(word), "{name}: {said}");
    }
}

#[test]
fn wrong_use_ends_with_two() {
    for arguments in [
        &["no-such-command"][..],
        &["check"],
        &["chart", "--mains", "loud", "a.wiring"],
        &["chart", "--set", "VOLUME", "a.wiring"],
        &["format", "--write", "--check", "a.wiring"],
        &["check", "-", "-"],
        &["draw", "--over", "colours", "a.wiring"],
        &["draw", "--over", "", "a.wiring"],
    ] {
        let ran = run(arguments);
        ran.ends(2);
        assert!(!ran.err.is_empty());
    }
}

#[test]
fn empty_and_blank_files_are_valid() {
    for text in ["", "\n", "# nothing yet\n", "\u{feff}", "\r\n\r\n"] {
        check(text).ends(0);
        run_with(&["chart", "-"], text.as_bytes()).ends(0).fits();
        run_with(&["format", "-"], text.as_bytes()).ends(0);
    }
}
