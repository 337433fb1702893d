//! What README.md shows is what the program prints.
//!
//! A fenced block whose first line begins with `$ tubewright` or `$ cargo run --release --` is
//! run; the lines after it must be what comes out. A line `[...]` stands for any lines between.

mod common;

use common::{root, run};

/// The shown commands with the lines shown after each.
fn shown() -> Vec<(Vec<String>, Vec<String>)> {
    let text = std::fs::read_to_string(root().join("README.md")).expect("README.md");
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
fn the_readme_shows_what_the_program_prints() {
    let shown = shown();
    let with_output = shown.iter().filter(|(_, lines)| !lines.is_empty()).count();
    assert!(with_output >= 2, "the README shows two runs at least");
    for (arguments, lines) in shown {
        if lines.is_empty() {
            continue;
        }
        let ran = run(&arguments);
        ran.calm();
        let printed: Vec<&str> = ran.out.trim_end().lines().map(str::trim_end).collect();
        assert!(
            matches(&lines, &printed),
            "`tubewright {}` does not print what README.md shows. It prints:\n{}",
            arguments.join(" "),
            ran.out
        );
    }
}

#[test]
fn the_standard_caution_stands_in_the_readme_word_for_word() {
    let text = std::fs::read_to_string(root().join("README.md")).expect("README.md");
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
    ));
}
