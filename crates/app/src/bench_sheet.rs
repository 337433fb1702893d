//! Prints a bench sheet: as a table of 80 columns, as JSON, or as CSV.

use crate::library::Own;
use crate::outcome::{Failure, Outcome};
use crate::paper::Paper;
use crate::problems;
use crate::table::{Side, Table, hanging, paragraph};
use bench::sheet::{Line, Origin, OriginKind, Outcome as Came, Sheet};
use serde_json::{Value, json};
use wiring::assume::Assumed;

/// How a sheet is asked for.
#[derive(Debug, Clone, Default, clap::Args)]
pub(crate) struct Form {
    /// Print JSON (docs/json.md)
    #[arg(long)]
    pub(crate) json: bool,
    /// Print CSV: one row a line of the sheet
    #[arg(long, conflicts_with = "json")]
    pub(crate) csv: bool,
    /// How it goes on paper.
    #[command(flatten)]
    pub(crate) paper: Paper,
}

/// A sheet made of typed numbers alone: there are no files, so there are no errors in them.
pub(crate) fn outcome(sheet: &Sheet, form: &Form) -> Result<Outcome, Failure> {
    let text = if let Some(written) = form.paper.write(sheet)? {
        written
    } else if form.json {
        let mut value = value(sheet);
        if let Some(map) = value.as_object_mut() {
            map.insert("errors".to_owned(), json!([]));
            map.insert("warnings".to_owned(), json!([]));
        }
        format!("{value:#}\n")
    } else if form.csv {
        csv(sheet)?
    } else {
        text(sheet)
    };
    Ok(Outcome::done(text))
}

/// A sheet that used data sheets: the problems of the user's own go beside it.
pub(crate) fn with_library(sheet: &Sheet, form: &Form, own: &Own) -> Result<Outcome, Failure> {
    let errors = problems::any_error(&own.problems);
    let text = if let Some(written) = form.paper.write(sheet)? {
        written
    } else if form.json {
        own.json(value(sheet))
    } else if form.csv {
        csv(sheet)?
    } else {
        text(sheet)
    };
    Ok(own.outcome(text, errors))
}

/// The sheet as JSON, without the `errors` and `warnings` of files.
pub(crate) fn value(sheet: &Sheet) -> Value {
    serde_json::to_value(sheet).unwrap_or_default()
}

/// The sheet for the terminal, with its caution.
pub(crate) fn text(sheet: &Sheet) -> String {
    let mut out = match &sheet.subject {
        Some(subject) => paragraph(&format!("{}: {subject}", sheet.title), ""),
        None => paragraph(&sheet.title, ""),
    };
    if !sheet.conditions.is_empty() {
        out.push_str(&paragraph(&format!("{}.", sheet.conditions.join(", ")), ""));
    }
    let mut sources = Sources::default();
    for section in &sheet.sections {
        out.push('\n');
        if !section.title.is_empty() {
            out.push_str(&paragraph(&section.title, ""));
        }
        out.push_str(&table(&section.lines, &mut sources));
    }
    out.push_str(&count(sheet));
    if let Some(said) = sheet.assumed.as_ref().and_then(Assumed::sentence) {
        out.push('\n');
        out.push_str(&paragraph(&said, ""));
    }
    let missing = sheet
        .missing
        .iter()
        .map(|m| format!("{}: {}", m.what, m.remedy));
    out.push_str(&list("Not known", missing));
    out.push_str(&list("Notes", sheet.notes.iter().cloned()));
    out.push_str(&sources.foot());
    out.push_str(&format!("\nCAUTION\n{}", paragraph(sheet.caution(), "  ")));
    out
}

fn table(lines: &[Line], sources: &mut Sources) -> String {
    let mut table = Table::new()
        .wrapping("what", 18)
        .wrapping("at", 8)
        .wrapping("expect", 9)
        .wrapping("read", 8)
        .wrapping("limit", 9)
        .column("", Side::Left)
        .column("from", Side::Right);
    for line in lines {
        table.row([
            line.what().to_owned(),
            line.point().unwrap_or_default().to_owned(),
            line.expected()
                .map_or_else(String::new, ToString::to_string),
            read(line),
            line.limit().map_or_else(String::new, ToString::to_string),
            line.outcome().word().to_owned(),
            sources.number(line.origin()),
        ]);
        if !line.why().is_empty() {
            table.under(line.why());
        }
    }
    table.without_empty_columns().render()
}

/// The reading, the answer, or room to write.
fn read(line: &Line) -> String {
    match (line.reading(), line.answer()) {
        (Some(figure), _) => figure.to_string(),
        (None, Some(answer)) => answer.to_owned(),
        (None, None) if line.is_blank() => "________".to_owned(),
        (None, None) => String::new(),
    }
}

/// How many lines came out how.
fn count(sheet: &Sheet) -> String {
    let all = [Came::Stop, Came::Fail, Came::Open, Came::Pass];
    let counts: Vec<String> = all
        .into_iter()
        .map(|o| (sheet.count(o), o.word()))
        .filter(|(n, _)| *n > 0)
        .map(|(n, word)| format!("{n} {word}"))
        .collect();
    if counts.is_empty() {
        String::new()
    } else {
        format!("\n{}.\n", counts.join(", "))
    }
}

fn list(title: &str, items: impl Iterator<Item = String>) -> String {
    let mut out = String::new();
    for item in items {
        if out.is_empty() {
            out.push_str(&format!("\n{title}\n"));
        }
        out.push_str(&hanging(&item, "- ", "  "));
    }
    out
}

/// Where figures and limits are from, numbered as they come.
#[derive(Default)]
struct Sources {
    seen: Vec<Origin>,
}

impl Sources {
    /// The number of an origin; nothing for what was measured here.
    fn number(&mut self, origin: &Origin) -> String {
        if origin.kind == OriginKind::Measured {
            return String::new();
        }
        let at = self.seen.iter().position(|o| o == origin);
        let at = at.unwrap_or_else(|| {
            self.seen.push(origin.clone());
            self.seen.len() - 1
        });
        format!("{}", at + 1)
    }

    fn foot(&self) -> String {
        let mut out = String::new();
        for (i, origin) in self.seen.iter().enumerate() {
            if i == 0 {
                out.push_str("\nWhere limits and figures are from\n");
            }
            let first = format!("{:>2}  ", i + 1);
            out.push_str(&hanging(&origin.to_string(), &first, "    "));
        }
        out
    }
}

/// The sheet as CSV: one row a line.
pub(crate) fn csv(sheet: &Sheet) -> Result<String, Failure> {
    let head = [
        "section",
        "what",
        "point",
        "expected",
        "low",
        "high",
        "reading",
        "plus_minus",
        "answer",
        "at_least",
        "at_most",
        "unit",
        "outcome",
        "why",
        "rule",
        "source",
    ];
    let number = |v: Option<f64>| {
        v.filter(|v| v.is_finite())
            .map_or_else(String::new, |v| v.to_string())
    };
    let mut rows = vec![head.map(str::to_owned)];
    for section in &sheet.sections {
        for line in &section.lines {
            let (expected, reading, limit) = (line.expected(), line.reading(), line.limit());
            let unit = reading
                .map(|r| &r.unit)
                .or(expected.map(|e| &e.unit))
                .or(limit.map(|l| &l.unit));
            let outcome = serde_json::to_value(line.outcome()).unwrap_or_default();
            rows.push([
                section.title.clone(),
                line.what().to_owned(),
                line.point().unwrap_or_default().to_owned(),
                number(expected.and_then(|e| e.value)),
                number(expected.and_then(|e| e.low)),
                number(expected.and_then(|e| e.high)),
                number(reading.map(|r| r.value)),
                number(reading.and_then(|r| r.plus_minus)),
                line.answer().unwrap_or_default().to_owned(),
                number(limit.and_then(|l| l.at_least)),
                number(limit.and_then(|l| l.at_most)),
                unit.cloned().unwrap_or_default(),
                outcome.as_str().unwrap_or_default().to_owned(),
                line.why().to_owned(),
                line.origin().rule.clone().unwrap_or_default(),
                line.origin().text.clone(),
            ]);
        }
    }
    crate::csv_text::of(rows)
}
