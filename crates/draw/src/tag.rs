//! Tags: ground, chassis and earth symbols, rails, named points, and where each may stand.

use crate::geometry::{Area, Dir, Point, Turn, UNIT};
use crate::symbol::{Fill, Ink, Pen};
use wiring::circuit::NodeId;

/// Letters of a name that is drawn whole; of a longer one, the beginning and the end are.
const MOST_LETTERS: usize = 40;

/// A name as it is drawn: one so long that it would run into its neighbours keeps its two ends.
#[must_use]
pub fn short(name: &str) -> String {
    let letters: Vec<char> = name.chars().collect();
    if letters.len() <= MOST_LETTERS {
        return name.to_owned();
    }
    let (first, rest) = letters.split_at(MOST_LETTERS / 2);
    let last = &rest[rest.len() - MOST_LETTERS / 2..];
    first.iter().chain(&['…']).chain(last).collect()
}

/// Sorts of tag.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Sort {
    /// Circuit ground.
    Ground,
    /// Frame or chassis.
    Chassis,
    /// Protective earth: the same bars in a ring.
    Earth,
    /// A rail or another still point: a bar with its name.
    Rail,
    /// A named point: a ring with its name.
    Named,
    /// A loose end: a ring alone.
    Loose,
    /// A lead put away on purpose.
    PutAway,
}

/// A tag on the page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tag {
    /// What it stands for.
    pub node: NodeId,
    /// How it looks.
    pub sort: Sort,
    /// Where the wire meets it.
    pub at: Point,
    /// Which way it lies from there.
    pub dir: Dir,
    /// Its text, if it has one.
    pub text: String,
}

impl Tag {
    /// What it covers.
    #[must_use]
    pub fn area(&self) -> Area {
        area(self.sort, &self.text, self.at, self.dir)
    }
    /// Where its text stands, if there is one.
    #[must_use]
    pub fn text_area(&self) -> Option<Area> {
        (!self.text.is_empty()).then(|| text_area(self.sort, &self.text, self.at, self.dir))
    }
}

/// Room to keep free for a tag: its area and a little air.
#[must_use]
pub fn room(sort: Sort, text: &str, at: Point, dir: Dir) -> Area {
    area(sort, text, at, dir).wider(3)
}

/// What a tag covers; the point where the wire meets it lies on its edge.
#[must_use]
pub fn area(sort: Sort, text: &str, at: Point, dir: Dir) -> Area {
    let base = Area::round(at, 0);
    let turned = |half: i32, from: i32, to: i32| {
        let turn = match dir {
            Dir::Down => Turn::NONE,
            Dir::Left => Turn::CW,
            Dir::Up => Turn::HALF,
            Dir::Right => Turn::CCW,
        };
        let a = turn.area(Area::new(-half, from, half, to));
        Area::new(
            base.x0 + a.x0,
            base.y0 + a.y0,
            base.x0 + a.x1,
            base.y0 + a.y1,
        )
    };
    let body = match sort {
        Sort::Ground | Sort::Chassis => turned(12, 2, 24),
        Sort::Earth => turned(17, 2, 40),
        Sort::Rail => turned(12, 2, 14),
        Sort::Named | Sort::Loose => turned(5, 2, 10),
        Sort::PutAway => turned(7, 2, 12),
    };
    if text.is_empty() {
        body
    } else {
        body.with(text_area(sort, text, at, dir))
    }
}

fn text_area(sort: Sort, text: &str, at: Point, dir: Dir) -> Area {
    let (x, y) = (at.x * UNIT, at.y * UNIT);
    let w = typeface::width(text, sort == Sort::Rail) + 2;
    let far = if sort == Sort::Rail { 16 } else { 13 };
    let h = typeface::SIZE;
    match dir {
        Dir::Up => Area::new(x - w / 2, y - far - h, x - w / 2 + w, y - far),
        Dir::Down => Area::new(x - w / 2, y + far, x - w / 2 + w, y + far + h),
        Dir::Right => Area::new(x + far, y - h / 2, x + far + w, y + h / 2),
        Dir::Left => Area::new(x - far - w, y - h / 2, x - far, y + h / 2),
    }
}

/// What is drawn of a tag, in units round its point, lying downward.
fn ink(sort: Sort) -> Vec<Ink> {
    let bars = |y0: f32| {
        [(0.95, 0.0), (0.6, 0.42), (0.25, 0.84)]
            .into_iter()
            .map(move |(half, dy)| Ink::stroke(&[(-half, y0 + dy), (half, y0 + dy)], Pen::Heavy))
    };
    match sort {
        Sort::Ground => {
            let mut out = vec![Ink::line(&[(0.0, 0.0), (0.0, 1.0)])];
            out.extend(bars(1.0));
            out
        }
        Sort::Earth => {
            let mut out = vec![
                Ink::line(&[(0.0, 0.0), (0.0, 1.5)]),
                Ink::Circle(0.0, 1.9, 1.35, Pen::Plain, Fill::None),
            ];
            out.extend(bars(1.5));
            out
        }
        Sort::Chassis => {
            let mut out = vec![
                Ink::line(&[(0.0, 0.0), (0.0, 1.0)]),
                Ink::stroke(&[(-0.95, 1.0), (0.95, 1.0)], Pen::Heavy),
            ];
            for x in [-0.95, 0.0, 0.95] {
                out.push(Ink::stroke(&[(x, 1.0), (x - 0.45, 1.9)], Pen::Plain));
            }
            out
        }
        Sort::Rail => vec![
            Ink::line(&[(0.0, 0.0), (0.0, 1.0)]),
            Ink::stroke(&[(-0.95, 1.0), (0.95, 1.0)], Pen::Heavy),
        ],
        Sort::Named | Sort::Loose => vec![
            Ink::line(&[(0.0, 0.0), (0.0, 0.2)]),
            Ink::Circle(0.0, 0.5, 0.3, Pen::Plain, Fill::Paper),
        ],
        Sort::PutAway => vec![
            Ink::line(&[(0.0, 0.0), (0.0, 0.8)]),
            Ink::stroke(&[(-0.5, 0.8), (0.5, 0.8)], Pen::Heavy),
        ],
    }
}

/// What is drawn of a tag, in units round its point.
#[must_use]
pub fn drawn(tag: &Tag) -> Vec<Ink> {
    let turn = match tag.dir {
        Dir::Down => Turn::NONE,
        Dir::Left => Turn::CW,
        Dir::Up => Turn::HALF,
        Dir::Right => Turn::CCW,
    };
    ink(tag.sort).iter().map(|i| i.turned(turn)).collect()
}
