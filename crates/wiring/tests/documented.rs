//! docs/notation.md against the reader: every message documented, every example true.

/// One message as documented.
#[derive(Debug, Default)]
struct Entry {
    code: String,
    severity: String,
    typed: Option<(bool, String)>,
    instead: Option<(bool, String)>,
}

fn entries() -> Vec<Entry> {
    let manual = include_str!("../../../docs/notation.md");
    let mut entries: Vec<Entry> = Vec::new();
    let mut fence: Option<(String, String)> = None;
    for line in manual.lines() {
        if let Some((kind, text)) = &mut fence {
            if line == "```" {
                let block = Some((kind.ends_with("-csv"), std::mem::take(text)));
                let last = entries.last_mut();
                match (kind.trim_end_matches("-csv"), last) {
                    ("typed", Some(entry)) => entry.typed = block,
                    ("instead", Some(entry)) => entry.instead = block,
                    _ => {}
                }
                fence = None;
            } else {
                text.push_str(line);
                text.push('\n');
            }
        } else if let Some(kind) = line.strip_prefix("```") {
            fence = Some((kind.to_owned(), String::new()));
        } else if let Some(head) = line.strip_prefix("#### `") {
            let (code, severity) = head
                .split_once("` ")
                .expect("a heading names code and severity");
            entries.push(Entry {
                code: code.to_owned(),
                severity: severity.to_owned(),
                ..Entry::default()
            });
        }
    }
    entries
}

/// Codes a sheet earns, those of its rows as notation not included.
fn sheet_codes(sheet: &str) -> Vec<&'static str> {
    let imported = wiring::csv::import(sheet, 0);
    imported.diagnostics.iter().map(|d| d.code).collect()
}

#[test]
fn every_message_of_sheets_is_documented_and_true() {
    let entries = entries();
    let documented: Vec<&str> = entries
        .iter()
        .filter(|e| e.code.starts_with("sheet-"))
        .map(|e| e.code.as_str())
        .collect();
    assert_eq!(documented, wiring::csv::CODES);
    for entry in &entries {
        if let Some((true, typed)) = &entry.typed {
            assert!(
                sheet_codes(typed).contains(&entry.code.as_str()),
                "{entry:?}"
            );
        }
        if let Some((true, instead)) = &entry.instead {
            assert_eq!(sheet_codes(instead), Vec::<&str>::new(), "{entry:?}");
        }
    }
}

/// Codes a text earns.
fn codes(text: &str) -> Vec<&'static str> {
    wiring::read_one(text)
        .problems
        .iter()
        .map(|p| p.code)
        .collect()
}

#[test]
fn every_code_is_documented_with_its_severity() {
    let documented: Vec<(String, String)> = entries()
        .into_iter()
        .filter(|e| !e.code.starts_with("sheet-"))
        .map(|e| (e.code, e.severity))
        .collect();
    let known: Vec<(String, String)> = wiring::codes::ALL
        .iter()
        .map(|c| {
            (
                c.name.to_owned(),
                format!("{:?}", c.severity).to_lowercase(),
            )
        })
        .collect();
    let missing: Vec<_> = known.iter().filter(|c| !documented.contains(c)).collect();
    let unknown: Vec<_> = documented.iter().filter(|c| !known.contains(c)).collect();
    assert_eq!((missing, unknown), (Vec::new(), Vec::new()));
    assert_eq!(documented.len(), known.len(), "each once");
}

#[test]
fn every_example_earns_its_message_and_its_cure_does_not() {
    let mut wrong = Vec::new();
    let mut without = Vec::new();
    for entry in entries() {
        if let Some((false, typed)) = &entry.typed
            && !codes(typed).contains(&entry.code.as_str())
        {
            wrong.push(format!(
                "`{}` is not earned by:\n{typed}but: {:?}",
                entry.code,
                codes(typed)
            ));
        }
        if let Some((false, instead)) = &entry.instead {
            let read = wiring::read_one(instead);
            let bad = read.problems.iter().find(|p| {
                p.code == entry.code
                    || p.severity == wiring::Severity::Error && !PARTLY.contains(&p.code)
            });
            if let Some(bad) = bad {
                wrong.push(format!(
                    "the cure of `{}` earns {bad:?}:\n{instead}",
                    entry.code
                ));
            }
        }
        if entry.typed.is_none() || entry.instead.is_none() {
            without.push(entry.code);
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    // Too long for a page, and not text.
    assert_eq!(without, ["brackets-too-deep", "sheet-bad-row"]);
}

/// Errors of cures that are only a part of a wiring: what they leave out is described nowhere.
const PARTLY: [&str; 2] = ["valve-without-type", "not-described"];

#[test]
fn the_blocks_of_the_manual_read_without_errors() {
    let manual = include_str!("../../../docs/notation.md");
    let mut count = 0;
    for kind in ["wiring", "readings"] {
        for block in manual.split(&format!("```{kind}\n")).skip(1) {
            let text = block.split("\n```").next().unwrap_or_default();
            let read = wiring::read_one(text);
            let errors: Vec<_> = read
                .problems
                .iter()
                .filter(|p| p.severity == wiring::Severity::Error)
                .filter(|p| {
                    kind == "wiring" || p.code != "condition-unclear" && p.code != "set-unknown"
                })
                .collect();
            assert!(errors.is_empty(), "{errors:?}");
            count += 1;
        }
    }
    assert!(count >= 3);
}
