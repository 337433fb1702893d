//! What symbols are drawn with: lines, curves and round shapes, in units of the grid.

use crate::geometry::{Area, Turn, UNIT};

/// Line thickness.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pen {
    /// Thin, for small detail.
    Thin,
    /// As wires are.
    Plain,
    /// Heavier, for plates and cores.
    Heavy,
}

/// What the inside is filled with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fill {
    /// Nothing.
    None,
    /// The colour of the paper: hides what is under it.
    Paper,
    /// The colour of the line.
    Solid,
}

/// A step of a path.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Step {
    /// Begin here.
    Move(f32, f32),
    /// A straight line to here.
    Line(f32, f32),
    /// A curve with two guide points.
    Curve(f32, f32, f32, f32, f32, f32),
    /// Back to the beginning.
    Close,
}

/// One shape.
#[derive(Debug, Clone, PartialEq)]
pub enum Ink {
    /// A path.
    Path(Vec<Step>, Pen, Fill, bool),
    /// A circle: centre, radius.
    Circle(f32, f32, f32, Pen, Fill),
}

/// A short text at a place of the symbol; never turned.
#[derive(Debug, Clone, PartialEq)]
pub struct Mark {
    /// Middle of the text, units.
    pub at: (f32, f32),
    /// The text.
    pub text: String,
}

impl Mark {
    /// A text with its middle here.
    #[must_use]
    pub fn new(x: f32, y: f32, text: &str) -> Self {
        Self {
            at: (x, y),
            text: text.to_owned(),
        }
    }
    pub(crate) fn turned(&self, turn: Turn) -> Self {
        Self {
            at: turn.pair(self.at.0, self.at.1),
            text: self.text.clone(),
        }
    }
}

impl Ink {
    /// An open line.
    #[must_use]
    pub fn line(points: &[(f32, f32)]) -> Self {
        Self::Path(steps(points, false), Pen::Plain, Fill::None, false)
    }
    /// An open line of another thickness.
    #[must_use]
    pub fn stroke(points: &[(f32, f32)], pen: Pen) -> Self {
        Self::Path(steps(points, false), pen, Fill::None, false)
    }
    /// A dashed line.
    #[must_use]
    pub fn dashed(points: &[(f32, f32)]) -> Self {
        Self::Path(steps(points, false), Pen::Plain, Fill::None, true)
    }
    /// A closed shape.
    #[must_use]
    pub fn shape(points: &[(f32, f32)], fill: Fill) -> Self {
        Self::Path(steps(points, true), Pen::Plain, fill, false)
    }
    /// A rectangle.
    #[must_use]
    pub fn rect(x0: f32, y0: f32, x1: f32, y1: f32, fill: Fill) -> Self {
        Self::shape(&[(x0, y0), (x1, y0), (x1, y1), (x0, y1)], fill)
    }
    /// A solid arrow head with its tip here, pointing along (dx, dy), a unit vector.
    #[must_use]
    pub fn arrow(x: f32, y: f32, dx: f32, dy: f32) -> Self {
        let (bx, by) = (x - dx * 0.85, y - dy * 0.85);
        Self::shape(
            &[
                (x, y),
                (bx - dy * 0.36, by + dx * 0.36),
                (bx + dy * 0.36, by - dx * 0.36),
            ],
            Fill::Solid,
        )
    }
    /// Half circles one below the other from `y0` to `y1`, bulging toward `side` (1 right, -1 left).
    #[must_use]
    pub fn coil(x: f32, y0: f32, y1: f32, side: f32) -> Self {
        let turns = ((y1 - y0) / 1.5).round().max(2.0) as i32;
        let each = (y1 - y0) / turns as f32;
        let mut path = vec![Step::Move(x, y0)];
        for i in 0..turns {
            let (a, b) = (y0 + each * i as f32, y0 + each * (i + 1) as f32);
            let out = x + side * each * 0.66;
            path.push(Step::Curve(out, a, out, b, x, b));
        }
        Self::Path(path, Pen::Plain, Fill::None, false)
    }
    /// The same, turned.
    #[must_use]
    pub fn turned(&self, turn: Turn) -> Self {
        let f = |x: f32, y: f32| turn.pair(x, y);
        match self {
            Self::Circle(x, y, r, pen, fill) => {
                let (x, y) = f(*x, *y);
                Self::Circle(x, y, *r, *pen, *fill)
            }
            Self::Path(path, pen, fill, dashed) => {
                let path = path
                    .iter()
                    .map(|s| match *s {
                        Step::Move(x, y) => {
                            let (x, y) = f(x, y);
                            Step::Move(x, y)
                        }
                        Step::Line(x, y) => {
                            let (x, y) = f(x, y);
                            Step::Line(x, y)
                        }
                        Step::Curve(a, b, c, d, x, y) => {
                            let ((a, b), (c, d), (x, y)) = (f(a, b), f(c, d), f(x, y));
                            Step::Curve(a, b, c, d, x, y)
                        }
                        Step::Close => Step::Close,
                    })
                    .collect();
                Self::Path(path, *pen, *fill, *dashed)
            }
        }
    }
    /// The area that it covers, pixels.
    #[must_use]
    pub fn extent(&self) -> Area {
        let mut all: Option<Area> = None;
        let mut add = |x: f32, y: f32, r: f32| {
            let px = |v: f32| (v * UNIT as f32).round() as i32;
            let a = Area::new(px(x - r), px(y - r), px(x + r), px(y + r));
            all = Some(all.map_or(a, |b| b.with(a)));
        };
        match self {
            Self::Circle(x, y, r, ..) => add(*x, *y, *r),
            Self::Path(path, ..) => {
                for s in path {
                    match *s {
                        Step::Move(x, y) | Step::Line(x, y) => add(x, y, 0.0),
                        Step::Curve(a, b, c, d, x, y) => {
                            add(a, b, 0.0);
                            add(c, d, 0.0);
                            add(x, y, 0.0);
                        }
                        Step::Close => {}
                    }
                }
            }
        }
        all.unwrap_or(Area::new(0, 0, 0, 0))
    }
}

fn steps(points: &[(f32, f32)], close: bool) -> Vec<Step> {
    let mut path: Vec<Step> = points
        .iter()
        .enumerate()
        .map(|(i, (x, y))| {
            if i == 0 {
                Step::Move(*x, *y)
            } else {
                Step::Line(*x, *y)
            }
        })
        .collect();
    if close {
        path.push(Step::Close);
    }
    path
}
