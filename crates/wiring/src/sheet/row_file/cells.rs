//! Lines and cells of a spreadsheet, each with its place.

use crate::diagnostic::Place;

/// One line with its place in the text.
pub(super) struct Line<'t> {
    pub(super) text: &'t str,
    pub(super) file: usize,
    pub(super) number: usize,
    pub(super) start: usize,
}

/// The lines of a text, whatever ends them.
pub(super) struct Lines<'t> {
    text: &'t str,
    file: usize,
    number: usize,
    at: usize,
}

impl<'t> Lines<'t> {
    pub(super) fn of(text: &'t str, file: usize) -> Self {
        Self {
            text,
            file,
            number: 0,
            at: 0,
        }
    }
}

impl<'t> Iterator for Lines<'t> {
    type Item = Line<'t>;

    fn next(&mut self) -> Option<Line<'t>> {
        let rest = self.text.get(self.at..).filter(|r| !r.is_empty())?;
        let length = rest.find(['\n', '\r']).unwrap_or(rest.len());
        let end = rest.get(length..).unwrap_or_default();
        let ending = if end.starts_with("\r\n") {
            2
        } else {
            usize::from(!end.is_empty())
        };
        self.number += 1;
        let line = Line {
            text: rest.get(..length).unwrap_or_default(),
            file: self.file,
            number: self.number,
            start: self.at,
        };
        self.at += length + ending;
        Some(line)
    }
}

/// The separator that the header uses most; a comma if it uses none.
pub(super) fn separator(header: &str) -> char {
    let count = |c: char| header.matches(c).count();
    [';', '\t']
        .into_iter()
        .filter(|c| count(*c) > count(','))
        .max_by_key(|c| count(*c))
        .unwrap_or(',')
}

/// A cell with the bytes of the line it takes.
pub(super) struct Cell {
    pub(super) text: String,
    pub(super) start: usize,
    pub(super) end: usize,
}

impl Line<'_> {
    /// A part of the line as a place.
    pub(super) fn place(&self, start: usize, end: usize) -> Place {
        let before = self.text.get(..start).unwrap_or_default();
        Place {
            file: self.file,
            line: self.number,
            column: before.chars().count() + 1,
            start: self.start + start,
            end: self.start + end,
        }
    }

    pub(super) fn whole(&self) -> Place {
        self.place(0, self.text.len())
    }

    /// The cells, and whether a quote is left open. A line end inside quotes is not understood: our own reader, because
    /// each cell must know its column.
    pub(super) fn cells(&self, separator: char) -> (Vec<Cell>, bool) {
        let mut cells = Vec::new();
        let mut text = String::new();
        let (mut start, mut quoted) = (0, false);
        let mut letters = self.text.char_indices().peekable();
        while let Some((at, c)) = letters.next() {
            match c {
                '"' if quoted && letters.peek().is_some_and(|(_, n)| *n == '"') => {
                    letters.next();
                    text.push('"');
                }
                '"' => quoted = !quoted,
                c if c == separator && !quoted => {
                    cells.push(Cell::trimmed(
                        std::mem::take(&mut text),
                        self.text,
                        start,
                        at,
                    ));
                    start = at + c.len_utf8();
                }
                c => text.push(c),
            }
        }
        cells.push(Cell::trimmed(text, self.text, start, self.text.len()));
        (cells, quoted)
    }
}

impl Cell {
    fn trimmed(text: String, line: &str, start: usize, end: usize) -> Self {
        let raw = line.get(start..end).unwrap_or_default();
        let lead = raw.len() - raw.trim_start().len();
        let start = (start + lead).min(end);
        let end = (start + raw.trim().len()).min(end);
        Self {
            text: text.trim().to_owned(),
            start,
            end,
        }
    }
}
