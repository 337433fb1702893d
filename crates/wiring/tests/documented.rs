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
