//! A map of cells: a figure for each pair of a row and a column, with a tint by its size.

use super::Shades;
use super::paint::open;
use super::words::figure;
use crate::geometry::Area;
use crate::svg::{escape, id};
use std::fmt::Write as _;

/// A map of cells, such as output power by drive and load.
#[derive(Debug, Clone, PartialEq)]
pub struct Cells {
    /// Short word that keeps its ids apart from others on the same page.
    pub id: String,
    /// Its title.
    pub title: String,
    /// The main figures in a sentence.
    pub says: String,
    /// What the figures are, with their unit.
    pub what: String,
    /// What the columns are.
    pub across: String,
    /// Heads of the columns.
    pub columns: Vec<String>,
    /// What the rows are.
    pub down: String,
    /// Heads of the rows.
    pub rows: Vec<String>,
    /// Figures, row by row; none where there is none.
    pub figures: Vec<Vec<Option<f64>>>,
}

/// Texts with their room; bold or not.
type Words = Vec<(String, Area, bool)>;

const HIGH: i32 = 44;
const PAD: i32 = 10;

impl Cells {
    /// The figure of a cell, where it is finite.
    fn figure(&self, row: usize, column: usize) -> Option<f64> {
        (*self.figures.get(row)?.get(column)?).filter(|v| v.is_finite())
    }

    /// Least and greatest figure.
    fn range(&self) -> Option<(f64, f64)> {
        let all = (0..self.rows.len())
            .flat_map(|r| (0..self.columns.len()).filter_map(move |c| self.figure(r, c)));
        all.fold(None, |range, v| match range {
            None => Some((v, v)),
            Some((a, b)) => Some((v.min(a), v.max(b))),
        })
    }

    fn written(&self, row: usize, column: usize) -> String {
        self.figure(row, column)
            .map_or_else(|| "no figure".to_owned(), figure)
    }

    /// Every text with its place, and the size of the whole.
    fn laid(&self) -> (Words, Vec<Area>, (i32, i32)) {
        let wide = |t: &str, bold: bool| typeface::width(t, bold) + 2;
        let left = self
            .rows
            .iter()
            .map(|r| wide(r, true))
            .chain([wide(&self.down, false)])
            .max()
            .unwrap_or(0)
            + 2 * PAD;
        let cell = (0..self.columns.len())
            .flat_map(|c| {
                (0..self.rows.len())
                    .map(move |r| wide(&self.written(r, c), true))
                    .chain([wide(&self.columns[c], true)])
            })
            .max()
            .unwrap_or(0)
            .max(48)
            + 2 * PAD;
        let n = |len: usize| i32::try_from(len.min(500)).unwrap_or(0);
        let top = 60;
        let (columns, rows) = (n(self.columns.len()), n(self.rows.len()));
        let across = wide(&self.across, false);
        let width = (left + columns * cell + PAD)
            .max(left + across + PAD)
            .max(wide(&self.what, false) + 2 * PAD);
        let height = top + rows * HIGH + 34;
        let mut texts = Vec::new();
        let mut put = |t: &str, x: i32, y: i32, bold: bool| {
            texts.push((
                t.to_owned(),
                Area::new(x, y, x + wide(t, bold), y + 18),
                bold,
            ));
        };
        put(&self.across, left, 6, false);
        put(&self.down, PAD, top - 26, false);
        put(&self.what, PAD, height - 26, false);
        let mut boxes = Vec::new();
        for c in 0..columns {
            let head = &self.columns[c.unsigned_abs() as usize];
            let x = left + c * cell;
            put(head, x + (cell - wide(head, true)) / 2, top - 26, true);
        }
        for r in 0..rows {
            let y = top + r * HIGH;
            let row = r.unsigned_abs() as usize;
            put(&self.rows[row], PAD, y + (HIGH - 18) / 2, true);
            for c in 0..columns {
                let x = left + c * cell;
                let text = self.written(row, c.unsigned_abs() as usize);
                boxes.push(Area::new(x, y, x + cell, y + HIGH));
                put(
                    &text,
                    x + (cell - wide(&text, true)) / 2,
                    y + (HIGH - 18) / 2,
                    true,
                );
            }
        }
        (texts, boxes, (width, height))
    }

    /// What is wrong with it: texts that meet or leave the picture. Empty for every map.
    #[must_use]
    pub fn faults(&self) -> Vec<String> {
        let (texts, _, (width, height)) = self.laid();
        let page = Area::new(0, 0, width, height);
        let mut out = Vec::new();
        for (i, (words, area, _)) in texts.iter().enumerate() {
            if !page.holds(area) {
                out.push(format!("`{words}` is off the page"));
            }
            for (other, b, _) in &texts[..i] {
                if area.hits(b) && !words.is_empty() && !other.is_empty() {
                    out.push(format!("`{words}` meets `{other}`"));
                }
            }
        }
        out
    }

    fn description(&self) -> String {
        let mut out = self.says.trim().to_owned();
        if !out.is_empty() {
            out.push(' ');
        }
        let _ = write!(
            out,
            "{}; across: {}; down: {}.",
            self.what, self.across, self.down
        );
        for (r, row) in self.rows.iter().enumerate() {
            let _ = write!(out, " {row}:");
            for (c, column) in self.columns.iter().enumerate() {
                let _ = write!(
                    out,
                    "{} {column} {}",
                    if c == 0 { "" } else { "," },
                    self.written(r, c)
                );
            }
            out.push('.');
        }
        out
    }

    /// The picture: the larger the figure, the stronger the tint; the figure itself stands in every cell.
    #[must_use]
    pub fn svg(&self, shades: Shades) -> String {
        let (texts, boxes, size) = self.laid();
        let mut out = String::new();
        open(
            size,
            &id(&self.id),
            &self.title,
            &self.description(),
            shades,
            &mut out,
        );
        let range = self.range();
        let columns = self.columns.len().clamp(1, 500);
        for (i, a) in boxes.iter().enumerate() {
            let strength = match (range, self.figure(i / columns, i % columns)) {
                (Some((low, high)), Some(v)) if high > low => {
                    // Halves first: the difference of the two largest numbers is not finite.
                    let share = (v / 2.0 - low / 2.0) / (high / 2.0 - low / 2.0);
                    0.1 + 0.9 * (share * 5.0).round() / 5.0
                }
                (_, Some(_)) => 0.5,
                _ => 0.0,
            };
            let _ = writeln!(
                out,
                "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"{}\" fill-opacity=\"{strength:.2}\" stroke=\"{}\"/>",
                a.x0,
                a.y0,
                a.width(),
                a.height(),
                shades.band,
                shades.rule
            );
        }
        for (words, a, bold) in texts {
            let _ = writeln!(
                out,
                "<text x=\"{}\" y=\"{}\" fill=\"{}\"{}>{}</text>",
                a.x0 + 1,
                a.y0 + 14,
                if bold { shades.ink } else { shades.soft },
                if bold { " font-weight=\"700\"" } else { "" },
                escape(&words)
            );
        }
        out.push_str("</svg>\n");
        out
    }
}
