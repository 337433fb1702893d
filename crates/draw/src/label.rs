//! Labels: designator and value beside each symbol, names at wires.

use crate::geometry::{Area, UNIT};
use crate::piece::Piece;
use crate::symbol::{Form, Symbol};
use std::sync::Arc;

/// Where a text is anchored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// It begins here.
    Start,
    /// Its middle is here.
    Middle,
    /// It ends here.
    End,
}

/// Lines of a label, shared by all the places tried for it.
pub type Rows = Arc<Vec<Vec<(String, bool)>>>;

/// A place for a label: its lines and the area that they take.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Spot {
    /// Lines, each a row of (text, bold).
    pub lines: Rows,
    /// What they cover.
    pub area: Area,
    /// How the lines lie in it.
    pub side: Side,
}

fn wide(line: &[(String, bool)]) -> i32 {
    let gaps = i32::try_from(line.len().saturating_sub(1)).unwrap_or(0) * 4;
    line.iter()
        .map(|(t, b)| typeface::width(t, *b))
        .sum::<i32>()
        + gaps
}

/// Lines one below the other.
fn stacked(piece: &Piece) -> Rows {
    let mut out = vec![vec![(piece.name.clone(), true)]];
    out.extend(piece.value.iter().map(|v| vec![(v.clone(), false)]));
    Arc::new(out)
}

/// All in one line.
fn in_line(piece: &Piece) -> Rows {
    let mut line = vec![(piece.name.clone(), true)];
    line.extend(piece.value.iter().map(|v| (v.clone(), false)));
    Arc::new(vec![line])
}

/// Pixels of a piece's label, all in one line.
pub(crate) fn width(piece: &Piece) -> i32 {
    wide(&in_line(piece)[0])
}

fn size(lines: &[Vec<(String, bool)>]) -> (i32, i32) {
    let w = lines.iter().map(|l| wide(l)).max().unwrap_or(0);
    let n = i32::try_from(lines.len()).unwrap_or(1);
    (w, (n - 1) * typeface::LINE + typeface::SIZE)
}

fn beside(lines: Rows, x: i32, y: i32, side: Side) -> Spot {
    let (w, h) = size(&lines);
    let x0 = match side {
        Side::Start => x,
        Side::Middle => x - w / 2,
        Side::End => x - w,
    };
    Spot {
        lines,
        area: Area::new(x0, y, x0 + w, y + h),
        side,
    }
}

/// Where a symbol's body is, and its middle.
fn body(s: &Symbol) -> (Area, i32, i32) {
    let body = s.bodies.iter().fold(None, |a: Option<Area>, b| {
        if b.width() <= 4 || b.height() <= 4 {
            return a;
        }
        Some(a.map_or(*b, |a| a.with(*b)))
    });
    let b = body.unwrap_or_else(|| s.extent());
    (b, (b.x0 + b.x1) / 2, (b.y0 + b.y1) / 2)
}

/// Places for the label of a piece about its symbol (turned as it stands), the best first.
#[must_use]
pub fn spots(piece: &Piece, s: &Symbol) -> Vec<Spot> {
    let mut out = Vec::new();
    if piece.name.is_empty() {
        return out;
    }
    let rows = stacked(piece);
    let h = size(&rows).1;
    let line = in_line(piece);
    let (lw, lh) = size(&line);
    let upright =
        s.pins.len() >= 2 && s.pins.iter().take(3).filter(|p| !p.out.is_level()).count() >= 2;
    let (b, mx, my) = body(s);
    match &piece.form {
        Form::Valve(_) | Form::Rectifier(..) => {
            // The corners outside the envelope.
            let (r, c) = (3 * UNIT, 25);
            let right = s.pins.first().is_none_or(|_| {
                !s.pins
                    .iter()
                    .any(|p| p.out == crate::geometry::Dir::Right && p.at.y == 0)
                    || s.pins
                        .iter()
                        .any(|p| p.out == crate::geometry::Dir::Left && p.at.y == 0)
            });
            let corner = |right: bool, low: bool| {
                let x = if right { c + 3 } else { -c - 3 };
                let y = if low { c - 2 } else { -c + 2 - h };
                beside(
                    rows.clone(),
                    x,
                    y,
                    if right { Side::Start } else { Side::End },
                )
            };
            let order = if right {
                [(true, true), (true, false), (false, true), (false, false)]
            } else {
                [(false, true), (false, false), (true, true), (true, false)]
            };
            for (rt, low) in order {
                out.push(corner(rt, low));
            }
            for k in 1..6 {
                out.push(beside(rows.clone(), r + 6 + 12 * k, 8, Side::Start));
                out.push(beside(rows.clone(), r + 6 + 12 * k, -8 - h, Side::Start));
                out.push(beside(rows.clone(), -r - 6 - 12 * k, 8, Side::End));
                out.push(beside(rows.clone(), -r - 6 - 12 * k, -8 - h, Side::End));
            }
        }
        Form::Pot if upright => {
            let right = s.pins.get(1).is_some_and(|p| p.at.x > 0);
            let (x, side) = if right {
                (b.x1.min(16) + 1, Side::Start)
            } else {
                (b.x0.max(-16) - 1, Side::End)
            };
            out.push(beside(rows.clone(), x, -8 - h, side));
            out.push(beside(rows.clone(), x, 9, side));
            let (x, side) = if right {
                (-14, Side::End)
            } else {
                (14, Side::Start)
            };
            for dy in [0, -12, 12, -24, 24] {
                out.push(beside(rows.clone(), x, -h / 2 + dy, side));
            }
        }
        Form::Wound(..) | Form::Box(..) | Form::Tank | Form::Bridge | Form::Inlet(_) => {
            out.push(beside(rows.clone(), mx, b.y0 - 4 - h, Side::Middle));
            out.push(beside(line.clone(), mx, b.y0 - 4 - lh, Side::Middle));
            out.push(beside(rows.clone(), mx, b.y1 + 4, Side::Middle));
            out.push(beside(line.clone(), mx, b.y1 + 4, Side::Middle));
            out.push(beside(rows.clone(), b.x1 + 8, b.y0 - h / 2, Side::Start));
            out.push(beside(rows.clone(), b.x0 - 8, b.y0 - h / 2, Side::End));
        }
        Form::Jack(_) | Form::Phono | Form::Selector(..) | Form::Gain => {
            out.push(beside(line.clone(), mx, b.y0 - 4 - lh, Side::Middle));
            out.push(beside(line.clone(), mx, b.y1 + 4, Side::Middle));
            out.push(beside(rows.clone(), mx, b.y0 - 4 - h, Side::Middle));
            let free_left = !s.pins.iter().any(|p| p.at.x < 0);
            if free_left {
                out.push(beside(rows.clone(), b.x0 - 6, my - h / 2, Side::End));
            } else {
                out.push(beside(rows.clone(), b.x1 + 6, my - h / 2, Side::Start));
            }
        }
        Form::TiePoint => {
            for (dx, dy) in [(8, -20), (8, 5), (-8, -20), (-8, 5)] {
                out.push(beside(
                    line.clone(),
                    dx,
                    dy,
                    if dx > 0 { Side::Start } else { Side::End },
                ));
            }
        }
        _ if upright => {
            let x = b.x1 + 5;
            for dy in [0, -12, 12, -24, 24] {
                out.push(beside(rows.clone(), x, my - h / 2 + dy, Side::Start));
            }
            for dy in [0, -12, 12, -24, 24] {
                out.push(beside(rows.clone(), b.x0 - 5, my - h / 2 + dy, Side::End));
            }
        }
        _ => {
            // A level part: above, in one line if that is not much wider than the part.
            let one = lw <= 6 * UNIT + 14;
            let (first, second) = if one {
                (line.clone(), rows.clone())
            } else {
                (rows.clone(), line.clone())
            };
            let above = |l: &Rows, dx: i32| {
                let h = size(l).1;
                beside(l.clone(), mx + dx, b.y0 - 3 - h, Side::Middle)
            };
            out.push(above(&first, 0));
            for dx in [-12, 12, -24, 24] {
                out.push(above(&first, dx));
            }
            for dx in [0, -12, 12] {
                out.push(beside(first.clone(), mx + dx, b.y1 + 3, Side::Middle));
            }
            out.push(above(&second, 0));
            out.push(beside(second, mx, b.y1 + 3, Side::Middle));
        }
    }
    out
}

/// Further out on every side, for where no place about the symbol is free.
#[must_use]
pub(crate) fn further(piece: &Piece, s: &Symbol) -> Vec<Spot> {
    let mut out = Vec::new();
    if piece.name.is_empty() {
        return out;
    }
    let e = s.extent();
    let rows = stacked(piece);
    let h = size(&rows).1;
    let (_, mx, my) = body(s);
    for k in 1..8 {
        let d = 12 * k;
        out.push(beside(rows.clone(), e.x1 + d, my - h / 2, Side::Start));
        out.push(beside(rows.clone(), e.x0 - d, my - h / 2, Side::End));
        out.push(beside(rows.clone(), mx, e.y0 - d - h, Side::Middle));
        out.push(beside(rows.clone(), mx, e.y1 + d, Side::Middle));
    }
    out
}
