//! A document as plain words, in reading order.

use crate::document::{Block, Document, Run};

/// The document as plain text: paragraphs apart, cells of a row divided by bars.
#[must_use]
pub fn text(document: &Document) -> String {
    let mut out = Vec::new();
    let mut add = |line: String| {
        if !line.trim().is_empty() {
            out.push(line);
        }
    };
    add(document.above.clone());
    add(document.title.clone());
    add(format!("{} {}", document.number_of, document.number));
    if let Some(warning) = &document.warning {
        add(warning.title.to_uppercase());
        warning.lines.iter().cloned().for_each(&mut add);
    }
    for fact in &document.facts {
        add(format!("{}: {}", fact.name, fact.value));
    }
    for block in &document.blocks {
        match block {
            Block::Heading { text, beside } => {
                add(format!("\n{text} {beside}").trim_end().to_owned())
            }
            Block::Subheading { text } => add(format!("\n{text}")),
            Block::Paragraph { text } => add(words(text)),
            Block::Quote { text } => add(format!("\u{201c}{text}\u{201d}")),
            Block::List { items } => items.iter().for_each(|i| add(format!("- {}", words(i)))),
            Block::Table(table) => {
                let heads: Vec<&str> = table.columns.iter().map(|c| c.head.as_str()).collect();
                add(heads.join(" | "));
                for row in &table.rows {
                    let cells: Vec<String> = row
                        .iter()
                        .map(|c| {
                            let mark = c.mark.map_or("", |m| m.word());
                            format!("{mark} {}", words(&c.text)).trim().to_owned()
                        })
                        .collect();
                    add(cells.join(" | "));
                }
            }
            Block::Picture(p) => add(format!("[{}] {}", p.alt, p.caption)),
            Block::Pictures { pictures } => pictures
                .iter()
                .for_each(|p| add(format!("[{}] {}", p.alt, p.caption))),
            Block::Caution { text } => add(format!("CAUTION. {text}")),
            Block::Signatures { lines } => add(lines
                .iter()
                .map(|l| format!("{l} ________________"))
                .collect::<Vec<_>>()
                .join("   ")),
            Block::Labels { labels } => {
                for label in labels {
                    add(format!(
                        "{}: {}; {}",
                        label.goes_on,
                        label.title,
                        label.lines.join("; ")
                    ));
                }
            }
            Block::NewPage => {}
        }
    }
    if !document.notes.is_empty() {
        add("\nWhere limits and figures are from".to_owned());
    }
    for (i, note) in document.notes.iter().enumerate() {
        add(format!("{} {note}", i + 1));
    }
    let mut text = out.join("\n");
    text.push('\n');
    text
}

fn words(runs: &[Run]) -> String {
    let all = runs.iter().map(|r| match r.note {
        Some(n) => format!("{} ({n})", r.text),
        None => r.text.clone(),
    });
    all.collect::<Vec<_>>().concat()
}
