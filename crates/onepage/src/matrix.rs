//! A section whose lines form a grid: the same points at one step after the other.

use crate::cells::{Hand, Row};

/// A grid: a row for each point, a column for each step.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Matrix {
    pub(crate) steps: Vec<String>,
    pub(crate) points: Vec<(String, Vec<Option<Row>>)>,
}

/// The grid of these lines, when they are one: at least two steps, at least two points, most cells filled.
pub(crate) fn matrix(rows: &[Row]) -> Option<Matrix> {
    let mut steps: Vec<String> = Vec::new();
    let mut points: Vec<String> = Vec::new();
    for row in rows {
        if row.point.is_empty() {
            return None;
        }
        if !steps.contains(&row.what) {
            steps.push(row.what.clone());
        }
        if !points.contains(&row.point) {
            points.push(row.point.clone());
        }
    }
    let full = steps.len() * points.len();
    if steps.len() < 2 || points.len() < 2 || rows.len() * 3 < full * 2 {
        return None;
    }
    let points = points
        .into_iter()
        .map(|point| {
            let of = |step: &String| {
                rows.iter()
                    .find(|r| r.point == point && r.what == *step)
                    .cloned()
            };
            let cells = steps.iter().map(of).collect();
            (point, cells)
        })
        .collect();
    Some(Matrix { steps, points })
}

/// What a cell shows above the room to write: expected, and the limit in few words.
pub(crate) fn cell(row: &Row) -> (String, String) {
    let limit = row
        .limit
        .replace("at most ", "max ")
        .replace("at least ", "min ");
    let read = match &row.hand {
        Hand::Done(text) => format!("{} read {text} {}", row.expected, row.outcome),
        _ => row.expected.clone(),
    };
    (read.trim().to_owned(), limit)
}
