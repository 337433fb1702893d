//! What README.md and the handbook show is what the program prints, and its pictures are what it
//! draws.
//!
//! A fenced block whose first line begins with `$ tubewright` or `$ cargo run --release --` is
//! run; the lines after it must be what comes out. A line `[...]` stands for any lines between.

mod common;

use common::{root, run};
use std::path::PathBuf;

/// README.md and every chapter.
fn texts() -> Vec<(String, String)> {
    let mut files: Vec<PathBuf> = std::fs::read_dir(root().join("docs"))
        .expect("docs")
        .filter_map(|e| Some(e.ok()?.path()))
        .filter(|p| p.extension().is_some_and(|e| e == "md"))
        .collect();
    files.push(root().join("README.md"));
    files.sort();
    files
        .into_iter()
        .map(|p| {
            let text = std::fs::read_to_string(&p).expect("a chapter");
            (
                p.file_name()
                    .map_or_else(String::new, |n| n.to_string_lossy().into_owned()),
                text,
            )
        })
        .collect()
}

/// The shown commands of a text with the lines shown after each.
fn shown(text: &str) -> Vec<(Vec<String>, Vec<String>)> {
    let mut found: Vec<(Vec<String>, Vec<String>)> = Vec::new();
    let mut inside = false;
    let mut running = false;
    for line in text.lines() {
        if line.starts_with("```") {
            inside = !inside;
            running = false;
            continue;
        }
        if !inside {
            continue;
        }
        let command = line
            .strip_prefix("$ tubewright ")
            .or_else(|| line.strip_prefix("$ cargo run --release -- "));
        if let Some(command) = command {
            found.push((words(command), Vec::new()));
            running = true;
        } else if running && let Some((_, lines)) = found.last_mut() {
            lines.push(line.to_owned());
        }
    }
    found
}

/// Words of a command, with `"a b"` as one.
fn words(command: &str) -> Vec<String> {
    let mut words = Vec::new();
    for (i, piece) in command.split('"').enumerate() {
        if i % 2 == 1 {
            words.push(piece.to_owned());
        } else {
            words.extend(piece.split_whitespace().map(str::to_owned));
        }
    }
    words
}

/// Whether `printed` has the shown lines in order, `[...]` standing for any number of lines.
fn matches(shown: &[String], printed: &[&str]) -> bool {
    match shown.split_first() {
        None => printed.is_empty(),
        Some((first, rest)) if first.trim() == "[...]" => {
            (0..=printed.len()).any(|skip| matches(rest, &printed[skip..]))
        }
        Some((first, rest)) => printed
            .split_first()
            .is_some_and(|(line, after)| first.trim_end() == *line && matches(rest, after)),
    }
}

#[test]
fn what_is_shown_is_what_the_program_prints() {
    let mut with_output = Vec::new();
    for (file, text) in texts() {
        for (arguments, lines) in shown(&text) {
            if lines.is_empty() {
                continue;
            }
            with_output.push(file.clone());
            let ran = run(&arguments);
            ran.calm();
            let printed: Vec<&str> = ran.out.trim_end().lines().map(str::trim_end).collect();
            assert!(
                matches(&lines, &printed),
                "`tubewright {}` does not print what {file} shows. It prints:\n{}",
                arguments.join(" "),
                ran.out
            );
        }
    }
    for file in ["README.md", "first-hour.md"] {
        let shown = with_output.iter().filter(|f| *f == file).count();
        assert!(shown >= 2, "{file} shows two runs at least");
    }
}

/// How each picture of the handbook is made. `TUBEWRIGHT_DRAW=1` writes them anew.
const PICTURES: [(&str, &[&str]); 3] = [
    ("stage", &["draw", "examples/stage.wiring"]),
    ("pip", &["draw", "examples/pip.wiring"]),
    (
        "pip-suspects",
        &[
            "draw",
            "examples/pip.wiring",
            "--readings",
            "examples/pip.readings",
            "--over",
            "volts,suspects",
        ],
    ),
];

#[test]
fn the_pictures_of_the_handbook_are_what_the_program_draws() {
    let folder = tempfile::tempdir().expect("a folder");
    for (name, command) in PICTURES {
        let drawn = folder.path().join("drawn.svg");
        let mut arguments: Vec<String> = command.iter().map(|s| (*s).to_owned()).collect();
        arguments.push("-o".to_owned());
        arguments.push(drawn.to_string_lossy().into_owned());
        run(&arguments).calm();
        let drawn = std::fs::read_to_string(&drawn).expect("a drawing");
        let kept = root().join("docs/pictures").join(format!("{name}.svg"));
        if std::env::var_os("TUBEWRIGHT_DRAW").is_some() {
            std::fs::write(&kept, &drawn).expect("written");
        }
        assert!(
            std::fs::read_to_string(&kept).expect("a picture") == drawn,
            "docs/pictures/{name}.svg is not what `tubewright {}` draws. Look at the new one, then \
             TUBEWRIGHT_DRAW=1 cargo test --release --workspace --test handbook",
            command.join(" ")
        );
    }
}

#[test]
fn the_standard_caution_stands_word_for_word_where_hands_go_in() {
    for (file, text) in texts() {
        if !["README.md", "first-hour.md", "pages.md", "sheets.md"].contains(&file.as_str()) {
            continue;
        }
        let flat = text
            .replace("> ", "")
            .split_whitespace()
            .collect::<Vec<_>>()
            .join(" ");
        assert!(flat.contains(
        "This amplifier holds voltages that kill, also when unplugged. Unplug it, discharge every \
         electrolytic capacitor through a resistor and measure below 10 V before touching. Work on \
         it live only if you are trained for that, one hand, with someone near. The figures here \
         are computed from what was traced and typed; they can be wrong. Local electrical codes \
         and licensed practice decide."
    ), "{file}");
    }
}

#[test]
fn the_handbook_is_on_the_terminal_and_as_man_pages() {
    let words = |line: &[&str]| line.iter().map(|s| (*s).to_owned()).collect::<Vec<_>>();
    let list = run(&words(&["handbook"]));
    list.calm();
    for chapter in ["first-hour", "notation", "trust", "glossary"] {
        assert!(list.out.contains(chapter), "{chapter}: {}", list.out);
    }
    let chapter = run(&words(&["handbook", "trust"]));
    chapter.calm();
    assert_eq!(
        chapter.out,
        std::fs::read_to_string(root().join("docs/trust.md")).expect("a chapter")
    );
    let none = run(&words(&["handbook", "nothing"]));
    assert_eq!(none.status, 1);
    assert!(none.err.contains("first-hour"), "{}", none.err);

    let folder = tempfile::tempdir().expect("a folder");
    let to = folder.path().join("man");
    run(&words(&["handbook", "--man", &to.to_string_lossy()])).calm();
    for page in ["tubewright.1", "tubewright-chart.1", "tubewright-bias.1"] {
        let text = std::fs::read_to_string(to.join(page)).expect("a man page");
        assert!(text.contains(".TH "), "{page}");
        assert!(text.contains(".SH DESCRIPTION"), "{page}");
    }
}
