//! Reading a sheet.

use super::{COLUMNS, CONDITION_WORDS};
use crate::diagnostic::{Diagnostic, Place, Severity};

/// A sheet turned into notation.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Imported {
    /// The readings as notation text, one line per row and one per new block.
    pub text: String,
    /// For each line of `text`, the row of the sheet it came from.
    pub rows: Vec<Place>,
    /// What was wrong with the sheet itself; `place` counts lines of the sheet.
    pub diagnostics: Vec<Diagnostic>,
}

impl Imported {
    /// Moves a diagnostic about `text` to the row of the sheet it came from.
    #[must_use]
    pub fn in_sheet(&self, mut diagnostic: Diagnostic) -> Diagnostic {
        let row = |place: Place| {
            let index = place.line.checked_sub(1)?;
            self.rows.get(index).copied()
        };
        if let Some(place) = row(diagnostic.place) {
            diagnostic.place = place;
        }
        diagnostic.also = diagnostic.also.and_then(row);
        diagnostic
    }
}

/// Turns a sheet into notation text, with everything that is wrong with it.
///
/// The first row names the columns, in any order and case; `point` and `value` must be
/// there. Commas, semicolons or tabs between columns, any line end, a byte-order mark,
/// quoted cells with commas and doubled quotes are understood. `file` is the index that
/// places carry.
///
/// ```
/// let sheet = wiring::csv::import("block;point;to;value;unit;note\nas found;B1;B2;30.4;V;\"hot; warm\"\n", 0);
/// assert!(sheet.diagnostics.is_empty());
/// assert_eq!(sheet.text, "readings as found\nB1 to B2 30.4 V \"hot; warm\"\n");
/// ```
#[must_use]
pub fn import(sheet: &str, file: usize) -> Imported {
    let mut out = Imported::default();
    let bare = sheet.trim_start_matches('\u{feff}');
    let mut rows = Rows {
        sheet,
        file,
        line: 1,
        at: 0,
    };
    if bare.matches('"').count() % 2 == 1 {
        out.diagnostics.push(Diagnostic {
            code: "sheet-quote",
            severity: Severity::Error,
            place: rows.place(0, 0),
            message: "a quote in this sheet does not close".to_owned(),
            advice: "Close it; a quote mark inside a quoted cell is written twice.".to_owned(),
            also: None,
        });
    }
    let offset = sheet.len() - bare.len();
    let mut reader = ::csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(delimiter(bare))
        .from_reader(bare.as_bytes());
    let mut columns: Option<Columns> = None;
    let mut block: Option<String> = None;
    let mut record = ::csv::StringRecord::new();
    loop {
        let start = offset_of(reader.position(), offset);
        match reader.read_record(&mut record) {
            Ok(true) => {}
            Ok(false) => break,
            Err(error) => {
                let place = rows.place(start, offset_of(reader.position(), offset));
                out.diagnostics.push(Diagnostic {
                    code: "sheet-bad-row",
                    severity: Severity::Error,
                    place,
                    message: format!("this row cannot be read: {error}"),
                    advice: "Save the sheet as CSV in UTF-8 and try again.".to_owned(),
                    also: None,
                });
                // An error without progress would come back for ever.
                if offset_of(reader.position(), offset) <= start {
                    break;
                }
                continue;
            }
        }
        let place = rows.place(start, offset_of(reader.position(), offset));
        match &columns {
            None => match Columns::of(&record, place, &mut out.diagnostics) {
                Some(found) => columns = Some(found),
                None => return out,
            },
            Some(columns) => row(columns, &record, place, &mut block, &mut out),
        }
    }
    if columns.is_none() {
        out.diagnostics.push(no_header(rows.place(0, 0)));
    }
    out
}

fn offset_of(position: &::csv::Position, offset: usize) -> usize {
    usize::try_from(position.byte()).map_or(offset, |byte| byte + offset)
}

/// The separator that the first line uses most; a comma if it uses none.
fn delimiter(sheet: &str) -> u8 {
    let first = sheet.lines().find(|l| !l.trim().is_empty()).unwrap_or("");
    let count = |c: char| first.matches(c).count();
    [(';', b';'), ('\t', b'\t')]
        .into_iter()
        .filter(|(c, _)| count(*c) > count(','))
        .max_by_key(|(c, _)| count(*c))
        .map_or(b',', |(_, byte)| byte)
}

/// Where rows stand, counting lines from the top of the sheet once.
struct Rows<'a> {
    sheet: &'a str,
    file: usize,
    line: usize,
    at: usize,
}

impl Rows<'_> {
    /// The place of the row in these bytes; rows are asked for in order.
    fn place(&mut self, start: usize, end: usize) -> Place {
        let between = |from: usize, to: usize| self.sheet.get(from..to).unwrap_or_default();
        // Blank lines before a row are not part of it.
        let blank = between(start, end)
            .find(|c| !matches!(c, '\r' | '\n'))
            .unwrap_or(0);
        let start = start + blank;
        let passed = between(self.at, start);
        let breaks =
            passed.matches('\n').count() + passed.replace("\r\n", "").matches('\r').count();
        self.line += breaks;
        self.at = self.at.max(start);
        let length = between(start, end).trim_end_matches(['\r', '\n']).len();
        Place {
            file: self.file,
            line: self.line,
            column: 1,
            start,
            end: start + length,
        }
    }
}

/// Which cell of a row is which.
struct Columns {
    at: [Option<usize>; COLUMNS.len()],
    /// Cells in the header.
    named: usize,
}

impl Columns {
    fn of(
        header: &::csv::StringRecord,
        place: Place,
        diagnostics: &mut Vec<Diagnostic>,
    ) -> Option<Self> {
        let mut at = [None; COLUMNS.len()];
        let mut strange = Vec::new();
        for (index, cell) in header.iter().enumerate() {
            let name = cell.trim().to_lowercase();
            match COLUMNS.iter().zip(&mut at).find(|(c, _)| **c == name) {
                Some((_, slot)) if slot.is_none() => *slot = Some(index),
                _ if name.is_empty() => {}
                _ => strange.push(cell.trim().to_owned()),
            }
        }
        let columns = Self {
            at,
            named: header.len(),
        };
        if columns.index("point").is_none() || columns.index("value").is_none() {
            diagnostics.push(no_header(place));
            return None;
        }
        for name in strange {
            diagnostics.push(Diagnostic {
                code: "sheet-column",
                severity: Severity::Warning,
                place,
                message: format!("the column `{name}` is not read"),
                advice: format!("Columns are {}.", COLUMNS.join(", ")),
                also: None,
            });
        }
        Some(columns)
    }

    fn index(&self, name: &str) -> Option<usize> {
        let slot = COLUMNS.iter().position(|c| *c == name)?;
        self.at.get(slot).copied().flatten()
    }

    /// A cell on one line, without white space around it.
    fn cell(&self, record: &::csv::StringRecord, name: &str) -> String {
        let cell = self.index(name).and_then(|i| record.get(i)).unwrap_or("");
        let words: Vec<&str> = cell.split(crate::lexer::is_space).collect();
        words
            .into_iter()
            .filter(|w| !w.is_empty())
            .collect::<Vec<_>>()
            .join(" ")
    }
}

fn no_header(place: Place) -> Diagnostic {
    Diagnostic {
        code: "sheet-header",
        severity: Severity::Error,
        place,
        message: "the first row does not name the columns `point` and `value`".to_owned(),
        advice: format!("Begin the sheet with `{}`.", COLUMNS.join(",")),
        also: None,
    }
}

/// Adds the line that a row stands for.
fn row(
    columns: &Columns,
    record: &::csv::StringRecord,
    place: Place,
    block: &mut Option<String>,
    out: &mut Imported,
) {
    let [name, point, to, value, unit, note] = COLUMNS.map(|c| columns.cell(record, c));
    let tell = |out: &mut Imported, code, severity, message: String, advice: &str| {
        out.diagnostics.push(Diagnostic {
            code,
            severity,
            place,
            message,
            advice: advice.to_owned(),
            also: None,
        });
    };
    let extra = record
        .iter()
        .skip(columns.named)
        .any(|cell| !cell.trim().is_empty());
    if extra {
        tell(
            out,
            "sheet-cell-lost",
            Severity::Warning,
            "this row has cells beyond the named columns, which are not read".to_owned(),
            "Put a cell that holds commas in quotes.",
        );
    }
    if [&name, &point, &to, &value, &unit, &note]
        .iter()
        .all(|c| c.is_empty())
    {
        return;
    }
    if point.is_empty() {
        tell(
            out,
            "sheet-no-point",
            Severity::Error,
            "this row has no point".to_owned(),
            "Write in the column `point` where the probe was, or a condition word such as `mains`.",
        );
        return;
    }
    let begins = point == "readings";
    if begins || block.as_ref() != Some(&name) {
        push(out, place, &format!("readings {}", without_comment(&name)));
        *block = Some(name);
    }
    if begins {
        return;
    }
    let condition = CONDITION_WORDS.contains(&point.as_str());
    if value.is_empty() && to.is_empty() && unit.is_empty() {
        tell(
            out,
            "sheet-no-value",
            Severity::Error,
            format!("the row of `{point}` has no value"),
            "Write in the column `value` what the meter showed, `OL` when it was over range.",
        );
        return;
    }
    let mut line = point.clone();
    let mut add = |word: &str| {
        if !word.is_empty() {
            line.push(' ');
            line.push_str(word);
        }
    };
    if condition {
        for cell in [&to, &value, &unit] {
            add(cell);
        }
        if !note.is_empty() {
            if point == "heard" || point == "seen" {
                add(&note);
            } else if point == "answer" {
                add(&quoted(&note));
            } else {
                tell(
                    out,
                    "sheet-cell-lost",
                    Severity::Warning,
                    format!("the note on the condition `{point}` is not kept"),
                    "Put it in a row of its own whose point is `heard` or `seen`.",
                );
            }
        }
    } else {
        if !to.is_empty() {
            add("to");
            add(&to);
        }
        add(&value);
        add(&unit);
        if !note.is_empty() {
            add(&quoted(&note));
        }
    }
    let line = if (condition && point != "answer") || note.is_empty() {
        without_comment(&line)
    } else {
        line
    };
    push(out, place, &line);
}

/// A note in quotes, which cannot hold a quote mark.
fn quoted(note: &str) -> String {
    let inner = note.replace(['"', '\u{201c}', '\u{201d}', '\u{201e}'], "'");
    format!("\"{inner}\"")
}

fn push(out: &mut Imported, place: Place, line: &str) {
    out.text.push_str(line);
    out.text.push('\n');
    out.rows.push(place);
}

/// A line in which no `#` begins a comment.
fn without_comment(line: &str) -> String {
    let words = line.split(' ');
    words
        .map(|w| w.trim_end_matches('#'))
        .filter(|w| !w.is_empty())
        .collect::<Vec<_>>()
        .join(" ")
}
