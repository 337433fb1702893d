//! Text cases: a wiring above a line of dashes, below it what reading it must give.
//!
//! Below the line stand, one a line:
//! - `code line:column severity`, perhaps followed by `| words` that the message or advice
//!   must hold. Every error and warning must be listed, in order; notes only if the case is
//!   about them.
//! - `node A = B`, `node A != B`, `node A none`: points that are one, are two, are unwired.
//! - `part NAME path value`, `heading path value`, `block N path value`, `node-of A path
//!   value`: a field of the circuit by its name in JSON, `none` for null.
//! - `parts N`: how many parts there are.
//!
//! A line `==== NAME` above the dashes begins another file of that name.

use serde_json::Value;
use std::fmt::Write as _;
use wiring::sheet::Library;
use wiring::{Circuit, Read, Severity, Text, read};

/// Reads one case and holds it against its expectations; every disagreement as a line.
fn check(case: &str) -> String {
    let Some((above, below)) = case.split_once("\n----\n") else {
        return "no line of dashes\n".to_owned();
    };
    let mut files: Vec<(String, String)> = vec![("case.wiring".to_owned(), String::new())];
    for line in above.split_inclusive('\n') {
        if let Some(name) = line.strip_prefix("==== ") {
            files.push((name.trim().to_owned(), String::new()));
        } else if let Some(file) = files.last_mut() {
            file.1.push_str(line);
        }
    }
    let texts: Vec<Text<'_>> = files
        .iter()
        .map(|(name, text)| Text { name, text })
        .collect();
    let read = read(&texts, Library::built_in());
    let mut wrong = String::new();
    let mut wanted: Vec<(&str, &str)> = Vec::new();
    for line in below
        .lines()
        .filter(|l| !l.trim().is_empty() && !l.starts_with("# "))
    {
        let (plain, words) = line.split_once(" | ").unwrap_or((line, ""));
        match plain.split_whitespace().next() {
            Some("node" | "part" | "heading" | "block" | "parts" | "node-of" | "sets") => {
                if let Err(why) = fact(&read, line) {
                    let _ = writeln!(wrong, "{line}\n    {why}");
                }
            }
            _ => wanted.push((plain.trim(), words.trim())),
        }
    }
    let named: Vec<&str> = wanted
        .iter()
        .filter_map(|w| w.0.split(' ').next())
        .collect();
    let found: Vec<_> = read
        .problems
        .iter()
        .filter(|d| d.severity != Severity::Note || named.contains(&d.code))
        .collect();
    for (at, d) in found.iter().enumerate() {
        let severity = match d.severity {
            Severity::Note => "note",
            Severity::Warning => "warning",
            Severity::Error => "error",
        };
        let text = format!("{} {}:{} {severity}", d.code, d.place.line, d.place.column);
        let want = wanted.get(at).copied().unwrap_or(("nothing", ""));
        let said = format!("{} {}", d.message, d.advice);
        if text != want.0 || !said.contains(want.1) {
            let _ = writeln!(
                wrong,
                "wanted {} | {}\nfound  {text} | {said}",
                want.0, want.1
            );
        }
        assert!(!d.message.is_empty() && !d.advice.is_empty(), "{text}");
        assert!(d.render(&texts).starts_with(d.code));
    }
    for missing in wanted.iter().skip(found.len()) {
        let _ = writeln!(
            wrong,
            "wanted {} | {}\nfound  nothing",
            missing.0, missing.1
        );
    }
    if !wrong.is_empty() {
        for d in &read.problems {
            let _ = writeln!(wrong, "  all: {}", d.render(&texts));
        }
    }
    wrong
}

fn fact(read: &Read, line: &str) -> Result<(), String> {
    let circuit: &Circuit = &read.circuit;
    let words: Vec<&str> = line.split_whitespace().collect();
    match words.as_slice() {
        ["parts", count] => {
            let found = circuit.parts.len().to_string();
            if found == *count {
                Ok(())
            } else {
                Err(format!("found {found}"))
            }
        }
        ["node", a, "=", b] => match (circuit.node(a), circuit.node(b)) {
            (Some(x), Some(y)) if x == y => Ok(()),
            other => Err(format!("{other:?}")),
        },
        ["node", a, "!=", b] => match (circuit.node(a), circuit.node(b)) {
            (Some(x), Some(y)) if x != y => Ok(()),
            other => Err(format!("{other:?}")),
        },
        ["node", a, "none"] => match circuit.node(a) {
            None => Ok(()),
            other => Err(format!("{other:?}")),
        },
        ["part", name, "missing"] => match circuit.part(name) {
            None => Ok(()),
            other => Err(format!("{other:?}")),
        },
        ["part", name, path, value @ ..] => {
            let id = circuit.part(name).ok_or("no such part")?;
            field(serde_json::to_value(&circuit.parts[id.0]), path, value)
        }
        ["node-of", name, path, value @ ..] => {
            let id = circuit.node(name).ok_or("no such node")?;
            field(serde_json::to_value(&circuit.nodes[id.0]), path, value)
        }
        ["heading", path, value @ ..] => field(serde_json::to_value(&circuit.heading), path, value),
        ["sets", path, value @ ..] => field(serde_json::to_value(&circuit.sets), path, value),
        ["block", at, path, value @ ..] => {
            let block = at.parse().ok().and_then(|n: usize| circuit.readings.get(n));
            field(
                serde_json::to_value(block.ok_or("no such block")?),
                path,
                value,
            )
        }
        _ => Err("not a fact".to_owned()),
    }
}

fn field(value: serde_json::Result<Value>, path: &str, wanted: &[&str]) -> Result<(), String> {
    let mut at = &value.map_err(|e| e.to_string())?;
    for key in path.split('.') {
        at = match (at, key.parse::<usize>()) {
            (Value::Array(list), Ok(n)) => list.get(n),
            (Value::Array(list), Err(_)) if key == "count" => {
                let count = list.len().to_string();
                return if [count.as_str()] == *wanted {
                    Ok(())
                } else {
                    Err(format!("found {count}"))
                };
            }
            (other, _) => other.get(key),
        }
        .ok_or_else(|| format!("no `{key}` in {at}"))?;
    }
    let wanted = wanted.join(" ");
    let same = match at {
        Value::Null => wanted == "none",
        Value::String(text) => *text == wanted,
        Value::Number(n) => {
            let (a, b) = (n.as_f64(), wanted.parse::<f64>().ok());
            a.zip(b)
                .is_some_and(|(a, b)| (a - b).abs() <= 1e-12 * b.abs())
        }
        Value::Bool(b) => b.to_string() == wanted,
        Value::Array(_) | Value::Object(_) => false,
    };
    if same {
        Ok(())
    } else {
        Err(format!("found {at}"))
    }
}

#[test]
fn every_case_reads_as_it_says() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/cases");
    let mut paths: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|e| e == "case"))
        .collect();
    paths.sort();
    assert!(paths.len() >= 80, "only {} cases", paths.len());
    let mut wrong = String::new();
    for path in &paths {
        let found = check(&std::fs::read_to_string(path).unwrap());
        if !found.is_empty() {
            let _ = writeln!(wrong, "== {}\n{found}", path.file_name().unwrap().display());
        }
    }
    assert!(wrong.is_empty(), "\n{wrong}");
}

/// Every code that the reader can give is earned by some case.
#[test]
fn every_code_has_a_case() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/cases");
    let all: String = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| std::fs::read_to_string(entry.unwrap().path()).unwrap())
        .filter_map(|case| {
            case.split_once("\n----\n")
                .map(|(_, below)| format!("\n{below}"))
        })
        .collect();
    let missing: Vec<&str> = wiring::codes::ALL
        .iter()
        .map(|code| code.name)
        .filter(|name| !all.contains(&format!("\n{name} ")))
        .collect();
    assert!(missing.is_empty(), "no case for {missing:?}");
}
