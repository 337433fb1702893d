//! Tables and paragraphs that fit a terminal of 80 columns.
//!
//! Width is counted in characters, so `µ` and `Ω` take one column each. A cell that is too
//! long goes on in the next line; nothing is cut off.

/// Columns of the terminal that everything fits.
pub(crate) const WIDTH: usize = 80;

/// Where a column's text stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Side {
    /// Words.
    Left,
    /// Figures.
    Right,
}

/// One column.
#[derive(Debug, Clone)]
struct Column {
    head: String,
    side: Side,
    /// May be narrowed to this many characters when the table is too wide.
    least: Option<usize>,
}

/// A table in the making.
#[derive(Debug, Clone, Default)]
pub(crate) struct Table {
    columns: Vec<Column>,
    rows: Vec<Vec<String>>,
    /// Sentences that stand below a row, over the whole width: row and text.
    under: Vec<(usize, String)>,
}

impl Table {
    /// An empty table.
    pub(crate) fn new() -> Self {
        Self::default()
    }

    /// Adds a column that keeps its natural width.
    pub(crate) fn column(mut self, head: &str, side: Side) -> Self {
        self.columns.push(Column {
            head: head.to_owned(),
            side,
            least: None,
        });
        self
    }

    /// Adds a column of words that wraps, down to `least` characters.
    pub(crate) fn wrapping(mut self, head: &str, least: usize) -> Self {
        self.columns.push(Column {
            head: head.to_owned(),
            side: Side::Left,
            least: Some(least.max(1)),
        });
        self
    }

    /// Adds a row; missing cells are empty, cells beyond the columns are not shown.
    pub(crate) fn row<I, S>(&mut self, cells: I)
    where
        I: IntoIterator<Item = S>,
        S: Into<String>,
    {
        self.rows.push(cells.into_iter().map(Into::into).collect());
    }

    /// Puts a sentence below the last row, over the whole width.
    pub(crate) fn under(&mut self, text: &str) {
        if let Some(row) = self.rows.len().checked_sub(1) {
            self.under.push((row, text.to_owned()));
        }
    }

    /// Takes out the columns in which no row says anything.
    pub(crate) fn without_empty_columns(mut self) -> Self {
        let filled: Vec<bool> = (0..self.columns.len())
            .map(|i| {
                self.rows
                    .iter()
                    .any(|row| row.get(i).is_some_and(|cell| !cell.is_empty()))
            })
            .collect();
        let keep = |i: usize| filled.get(i).copied().unwrap_or(false);
        let mut i = 0;
        self.columns.retain(|_| {
            i += 1;
            keep(i - 1)
        });
        for row in &mut self.rows {
            let mut i = 0;
            row.retain(|_| {
                i += 1;
                keep(i - 1)
            });
        }
        self
    }

    /// The table, head and rows, two spaces between columns, no trailing spaces.
    pub(crate) fn render(&self) -> String {
        let widths = self.widths();
        let mut out = String::new();
        let head: Vec<String> = self.columns.iter().map(|c| c.head.clone()).collect();
        self.line(&head, &widths, &mut out);
        for (i, row) in self.rows.iter().enumerate() {
            self.line(row, &widths, &mut out);
            for (_, text) in self.under.iter().filter(|(row, _)| *row == i) {
                out.push_str(&paragraph(text, "    "));
            }
        }
        out
    }

    fn widths(&self) -> Vec<usize> {
        let mut widths: Vec<usize> = self.columns.iter().map(|c| count(&c.head)).collect();
        for row in &self.rows {
            for (width, cell) in widths.iter_mut().zip(row) {
                *width = (*width).max(count(cell));
            }
        }
        let gaps = 2 * self.columns.len().saturating_sub(1);
        // Take from the widest column that can still give, one character at a time.
        while widths.iter().sum::<usize>() + gaps > WIDTH {
            let widest = self
                .columns
                .iter()
                .zip(widths.iter_mut())
                .filter(|(c, w)| c.least.is_some_and(|least| **w > least))
                .max_by_key(|(_, w)| **w);
            match widest {
                Some((_, width)) => *width -= 1,
                None => break,
            }
        }
        // Columns that do not wrap give only when nothing else is left.
        while widths.iter().sum::<usize>() + gaps > WIDTH {
            match widths.iter_mut().max() {
                Some(width) if *width > 4 => *width -= 1,
                _ => break,
            }
        }
        widths
    }

    fn line(&self, cells: &[String], widths: &[usize], out: &mut String) {
        let wrapped: Vec<Vec<String>> = self
            .columns
            .iter()
            .enumerate()
            .map(|(i, _)| {
                let width = widths.get(i).copied().unwrap_or(1);
                wrap(cells.get(i).map_or("", String::as_str), width)
            })
            .collect();
        let height = wrapped.iter().map(Vec::len).max().unwrap_or(0).max(1);
        for level in 0..height {
            let mut text = String::new();
            for ((column, lines), width) in self.columns.iter().zip(&wrapped).zip(widths) {
                let cell = lines.get(level).map_or("", String::as_str);
                let space = " ".repeat(width.saturating_sub(count(cell)));
                match column.side {
                    Side::Left => text.push_str(&format!("{cell}{space}  ")),
                    Side::Right => text.push_str(&format!("{space}{cell}  ")),
                }
            }
            out.push_str(text.trim_end());
            out.push('\n');
        }
    }
}

/// Characters of a text.
pub(crate) fn count(text: &str) -> usize {
    text.chars().count()
}

/// A text as lines of at most `width` characters, broken at spaces, else after a mark, else anywhere.
pub(crate) fn wrap(text: &str, width: usize) -> Vec<String> {
    let width = width.max(1);
    if count(text) <= width {
        return vec![text.to_owned()];
    }
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in words_with_units(text) {
        let mut word: Vec<char> = word.chars().collect();
        let room = width.saturating_sub(count(&line) + 1);
        if !line.is_empty() && word.len() > room {
            lines.push(std::mem::take(&mut line));
        }
        while word.len() > width {
            // Prefer to break after a dot, comma, slash or dash inside the word.
            let at = word
                .iter()
                .take(width)
                .rposition(|c| matches!(c, '.' | ',' | '/' | '-' | '_'))
                .map_or(width, |i| i + 1);
            let rest = word.split_off(at);
            lines.push(word.into_iter().collect());
            word = rest;
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.extend(word);
    }
    if !line.is_empty() || lines.is_empty() {
        lines.push(line);
    }
    lines
}

/// The words of a text; a figure and its unit (`10 V`) are one.
fn words_with_units(text: &str) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let bare = word.trim_end_matches(['.', ',', ';', ':', ')']);
        let unit = matches!(
            bare,
            "V" | "A"
                | "mA"
                | "W"
                | "%"
                | "ohm"
                | "Ω"
                | "Hz"
                | "pF"
                | "µF"
                | "H"
                | "mV"
                | "s"
                | "K"
                | "J"
                | "min"
        );
        match words.last_mut() {
            Some(last) if unit && last.ends_with(|c: char| c.is_ascii_digit()) => {
                last.push(' ');
                last.push_str(word);
            }
            _ => words.push(word.to_owned()),
        }
    }
    words
}

/// A paragraph of at most [`WIDTH`] columns, every line behind `indent`, with a line end.
pub(crate) fn paragraph(text: &str, indent: &str) -> String {
    hanging(text, indent, indent)
}

/// A paragraph whose first line stands behind `first` and the others behind `rest`.
pub(crate) fn hanging(text: &str, first: &str, rest: &str) -> String {
    let width = WIDTH.saturating_sub(count(first).max(count(rest)));
    let mut out = String::new();
    for (i, line) in wrap(text, width).iter().enumerate() {
        out.push_str(if i == 0 { first } else { rest });
        out.push_str(line);
        out.push('\n');
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn widest(text: &str) -> usize {
        text.lines().map(count).max().unwrap_or(0)
    }

    #[test]
    fn long_names_wrap_and_lose_no_character() {
        let mut table = Table::new()
            .wrapping("point", 8)
            .wrapping("what", 8)
            .column("expect", Side::Right);
        let name = "T1.a_very_long_winding_name_that_somebody_typed_in_a_hurry1 to T1.heater2";
        let what = "µ and Ω ".repeat(20);
        table.row([name, what.as_str(), "172"]);
        let text = table.render();
        assert!(widest(&text) <= WIDTH, "{text}");
        let kept = |s: &str| s.chars().filter(|c| !c.is_whitespace()).count();
        assert_eq!(
            kept(&text),
            kept(name) + kept(&what) + kept("172pointwhatexpect")
        );
    }

    #[test]
    fn a_word_of_a_thousand_letters_still_fits() {
        let mut table = Table::new()
            .column("point", Side::Left)
            .column("expect", Side::Right);
        table.row(["B".repeat(1000), "Ω".repeat(300)]);
        assert!(widest(&table.render()) <= WIDTH);
    }

    #[test]
    fn figures_stand_at_the_right_and_columns_do_not_touch() {
        let mut table = Table::new()
            .column("point", Side::Left)
            .column("V", Side::Right);
        table.row(["B1", "300"]);
        table.row(["B2µ", "9.5"]);
        assert_eq!(table.render(), "point    V\nB1     300\nB2µ    9.5\n");
    }

    #[test]
    fn a_figure_stays_with_its_unit() {
        assert_eq!(
            wrap("measure below 10 V, first", 16),
            ["measure below", "10 V, first"]
        );
    }

    #[test]
    fn paragraphs_keep_their_indent() {
        let text = hanging(&"word ".repeat(40), "- ", "  ");
        assert!(text.starts_with("- word"));
        assert!(text.lines().skip(1).all(|l| l.starts_with("  word")));
        assert!(widest(&text) <= WIDTH);
    }
}
