//! How large the letters can be for one page.
//!
//! Heights are reckoned from the widths of the typeface that the page carries, word by word, before anything is printed.

use crate::cells::{Hand, Row};
use crate::matrix::{Matrix, cell};
use crate::page::Body;

/// From line to line, of the size of the letters.
pub(crate) const LEADING: f64 = 1.18;
/// Least height of a line that is written on, points: 4.6 mm.
pub(crate) const WRITING: f64 = 13.0;
/// Between two columns, points.
pub(crate) const GAP: f64 = 12.0;
/// Shares of a column: what and where, expected, limit, hand.
const SHARES: [f64; 4] = [0.38, 0.24, 0.18, 0.20];
/// The same on a sheet without limits.
const WITHOUT_LIMITS: [f64; 4] = [0.44, 0.32, 0.0, 0.24];

/// Shares of a column on this page.
pub(crate) fn shares(body: &Body) -> [f64; 4] {
    let mut rows = body
        .sections
        .iter()
        .filter(|s| s.matrix.is_none())
        .flat_map(|s| &s.rows);
    if rows.all(|r| r.limit.is_empty()) {
        WITHOUT_LIMITS
    } else {
        SHARES
    }
}
/// Padding at the sides of a cell, points.
pub(crate) const PAD: f64 = 2.0;
/// Widths are a browser's business: a text is taken as so much wider than the typeface's table says.
/// The size is chosen as the largest that fits, so without this it would lean to those at which a
/// text just escapes being broken.
const CAREFUL: f64 = 1.02;
/// Width of a figure in figures of equal width, of the size of the letters, both weights.
const DIGIT: f64 = 0.526;
/// Left free at the foot of the page, points.
const SLACK: f64 = 6.0;
/// The date's and the instrument's line beside the title, points.
const HANDWRITTEN: f64 = 34.0;

/// Letters and columns of a page.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Fit {
    /// Size of the letters, points.
    pub(crate) size: f64,
    /// Columns of the body.
    pub(crate) columns: usize,
    /// Whether reasons are printed.
    pub(crate) whys: bool,
    /// Whether notes and sources are printed.
    pub(crate) foot: bool,
}

/// The largest letters with which all fits on one page; at worst without reasons, then without sources.
pub(crate) fn fit(body: &Body, width: f64, height: f64) -> Fit {
    let mut smallest = Fit {
        size: 5.0,
        columns: 2,
        whys: false,
        foot: false,
    };
    for (whys, foot, least) in [
        (true, true, 6.5),
        (false, true, 6.5),
        (false, true, 5.5),
        (false, false, 5.0),
    ] {
        let mut tenths = 110;
        while f64::from(tenths) / 10.0 >= least {
            for columns in [1, 2] {
                let fit = Fit {
                    size: f64::from(tenths) / 10.0,
                    columns,
                    whys,
                    foot,
                };
                if total(body, &fit, width) <= height {
                    return fit;
                }
                smallest = fit;
            }
            tenths -= 1;
        }
    }
    smallest
}

/// Height of the whole page, points.
fn total(body: &Body, fit: &Fit, width: f64) -> f64 {
    let title = lines(&body.title, 15.0, width * 0.55, true) * 15.0 * LEADING
        + lines(&body.subject, 11.0, width * 0.55, false) * 11.0 * LEADING;
    let head = title.max(HANDWRITTEN) + lines(&body.conditions, 8.5, width, false) * 8.5 * LEADING;
    let caution = 14.0 + lines(&body.caution, CAUTION, width - 44.0, false) * CAUTION * LEADING;
    let columns = fit.columns as f64;
    let column = (width - GAP * (columns - 1.0)) / columns;
    let shares = shares(body);
    let mut blocks = Vec::new();
    for section in &body.sections {
        let title = fit.size * 1.1 * LEADING + 5.0;
        match &section.matrix {
            Some(matrix) => {
                // A heading and the steps' names stay with the first row.
                let mut first = title + fit.size * LEADING + 2.0;
                // The steps' names stand again where a column breaks inside.
                let again = fit.size * LEADING + 2.0;
                for height in matrix_rows(matrix, fit, column) {
                    blocks.push(Block {
                        height: first + height,
                        again: if first > 0.0 { 0.0 } else { again },
                    });
                    first = 0.0;
                }
            }
            None => {
                let mut first = title;
                for row in &section.rows {
                    blocks.push(Block {
                        height: first + row_height(row, fit, column, &shares),
                        again: 0.0,
                    });
                    first = 0.0;
                }
            }
        }
    }
    let body_height = balanced(&blocks, fit.columns);
    let foot = if fit.foot {
        let size = foot_size(fit.size);
        let column = (width - GAP) / 2.0;
        let all: f64 = body
            .foot()
            .map(|t| lines(t, size, column - 14.0, false) * size * LEADING + 1.0)
            .sum();
        // Three headings, and what does not divide by two.
        10.0 + all / 2.0 + 2.5 * size * LEADING
    } else {
        8.0
    };
    head + caution + body_height + foot + SLACK
}

/// What does not break across columns: a line, with its section's heading if it is the first.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Block {
    height: f64,
    /// Height of what is repeated above it at the top of a column.
    again: f64,
}

/// The least height at which the blocks, in their order, fill so many columns.
fn balanced(blocks: &[Block], columns: usize) -> f64 {
    let fits = |height: f64| {
        let (mut column, mut at) = (1, 0.0);
        for block in blocks {
            if at > 0.0 && at + block.height > height {
                column += 1;
                at = block.again;
            }
            at += block.height;
            if column > columns || at > height {
                return false;
            }
        }
        true
    };
    let sum: f64 = blocks.iter().map(|b| b.height).sum();
    if columns < 2 {
        return sum;
    }
    // With one block's height more than an even share everything fits: no column is left with room
    // for the next block.
    let largest = blocks
        .iter()
        .map(|b| b.height + b.again)
        .fold(0.0, f64::max);
    let (mut no, mut yes) = (0.0, sum / columns as f64 + 2.0 * largest);
    for _ in 0..30 {
        let middle = f64::midpoint(no, yes);
        if fits(middle) {
            yes = middle;
        } else {
            no = middle;
        }
    }
    yes
}

/// Size of the caution, points: never small.
pub(crate) const CAUTION: f64 = 8.0;

/// Size of notes and sources beside a body of that size.
pub(crate) fn foot_size(size: f64) -> f64 {
    (size * 0.8).clamp(5.0, 7.5)
}

/// Size of a reason.
pub(crate) fn why_size(size: f64) -> f64 {
    size * 0.85
}

fn row_height(row: &Row, fit: &Fit, column: f64, shares: &[f64; 4]) -> f64 {
    let cell = |share: usize, text: &str, bold: bool| {
        lines(text, fit.size, column * shares[share] - 2.0 * PAD, bold)
    };
    // Where expected, or both it and the limit are empty, the words have their room.
    let wide = match (row.expected.is_empty(), row.limit.is_empty()) {
        (true, true) => shares[0] + shares[1] + shares[2],
        (true, false) => shares[0] + shares[1],
        _ => shares[0],
    };
    let what = format!("{} {} 00", row.point, row.what);
    let mut rows = lines(&what, fit.size, column * wide - 2.0 * PAD, false)
        .max(cell(1, &row.expected, true))
        .max(cell(2, &row.limit, false));
    if let Hand::Done(text) = &row.hand {
        rows = rows.max(cell(3, &format!("{text} {}", row.outcome), true));
    }
    let mut height = rows * fit.size * LEADING;
    if matches!(row.hand, Hand::Tick | Hand::Figure(_)) {
        height = height.max(WRITING.min(fit.size * 1.9));
    }
    if fit.whys && !row.why.is_empty() {
        let size = why_size(fit.size);
        height += lines(&row.why, size, column - 2.0 * PAD, false) * size * LEADING;
    }
    height + 1.7
}

/// Share of a step's column that is kept for writing by hand.
const BESIDE: f64 = 0.35;
/// Width of a step's column.
pub(crate) const NAME: f64 = 0.16;

fn matrix_rows(matrix: &Matrix, fit: &Fit, column: f64) -> Vec<f64> {
    let each = column * (1.0 - NAME) / matrix.steps.len().max(1) as f64 - 2.0 * PAD;
    matrix
        .points
        .iter()
        .map(|(point, cells)| {
            let name = lines(point, fit.size, column * NAME - 2.0 * PAD, true);
            let most = cells
                .iter()
                .flatten()
                .map(|row| {
                    let (expected, limit) = cell(row);
                    // Room to write stands beside the expected figure.
                    lines(&expected, fit.size, each * (1.0 - BESIDE), true) * fit.size
                        + lines(&limit, why_size(fit.size), each, false) * why_size(fit.size)
                })
                .fold(0.0, f64::max);
            (name * fit.size).max(most) * LEADING + 1.5
        })
        .collect()
}

/// Lines that a text takes when it is broken at its spaces.
fn lines(text: &str, size: f64, width: f64, bold: bool) -> f64 {
    if text.trim().is_empty() {
        return 0.0;
    }
    let wide = |t: &str| {
        let digits = t.chars().filter(char::is_ascii_digit).count() as f64;
        let others: String = t.chars().filter(|c| !c.is_ascii_digit()).collect();
        let others = f64::from(typeface::width(&others, bold)) / f64::from(typeface::SIZE);
        (digits * DIGIT + others) * size * CAREFUL
    };
    let space = wide(" ");
    let mut count = 1.0;
    let mut at = 0.0;
    for word in text.split_whitespace() {
        let w = wide(word);
        if at > 0.0 && at + space + w > width {
            count += 1.0;
            at = w;
        } else if at > 0.0 {
            at += space + w;
        } else {
            at = w;
        }
        // A word that is longer than the cell is broken by the browser.
        while at > width.max(1.0) {
            count += 1.0;
            at -= width.max(1.0);
        }
    }
    count
}
