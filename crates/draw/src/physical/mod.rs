//! The physical view: parts where they sit as recorded, wires between them as traced.
//!
//! A board's parts stand at their lugs in the words printed or seen (`@ "board 7"`), sockets are seen from below, controls,
//! sections of cans and wound parts stand in rows of their own, and what has no place noted in the last one. It is a plan of what is
//! where and what goes where, not a picture to scale: no place is invented. Pure, and the same circuit gives the same picture.

mod check;
mod paint;
mod place;

pub use check::faults;
pub use paint::{linked, sheet, svg};

use crate::geometry::Area;
use wiring::circuit::Circuit;

/// The view.
#[derive(Debug)]
pub struct Physical<'a> {
    /// What is shown.
    pub circuit: &'a Circuit,
    /// Every part, once.
    pub bodies: Vec<Body>,
    /// Rows and boards with their titles.
    pub groups: Vec<Group>,
    /// Wires: which joined points, from where to where.
    pub wires: Vec<Wire>,
    /// Pixels across.
    pub width: i32,
    /// Pixels down.
    pub height: i32,
}

/// A board, or a row of parts of one sort.
#[derive(Debug, Clone, PartialEq)]
pub struct Group {
    /// In the words recorded, or what stands in the row.
    pub title: String,
    /// It is a board, strip or panel that was recorded.
    pub recorded: bool,
    /// Its room.
    pub area: Area,
    /// Where its title stands.
    pub title_area: Area,
}

/// How a part is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    /// Between two lugs.
    Lead,
    /// A socket from below, with so many positions on its circle.
    Socket(usize),
    /// A box with its terminals along the top.
    Boxed,
}

/// A part in its place.
#[derive(Debug, Clone, PartialEq)]
pub struct Body {
    /// Index of the part.
    pub part: usize,
    /// All its room, texts included.
    pub area: Area,
    /// The body itself.
    pub outline: Area,
    /// How it is drawn.
    pub shape: Shape,
    /// Its terminals, in the part's order.
    pub ends: Vec<End>,
    /// Texts: words, room, bold.
    pub texts: Vec<(String, Area, bool)>,
}

/// A terminal.
#[derive(Debug, Clone, PartialEq)]
pub struct End {
    /// Where, in pixels.
    pub at: (i32, i32),
    /// What it is joined to by name instead of a wire: ground, a rail.
    pub tag: Option<String>,
    /// Nothing is joined to it.
    pub open: bool,
}

/// A wire of two ends.
#[derive(Debug, Clone, PartialEq)]
pub struct Wire {
    /// Index of what it joins.
    pub node: usize,
    /// One end.
    pub from: (i32, i32),
    /// The other.
    pub to: (i32, i32),
    /// Copied from a drawing, not seen.
    pub assumed: bool,
}

impl Wire {
    /// The place that pulls it into a bow: a slight one keeps wires between the same rows apart.
    pub(crate) fn bow(&self) -> (i32, i32) {
        let ((ax, ay), (bx, by)) = (self.from, self.to);
        let bow = ((bx - ax).abs() / 8).min(28);
        (i32::midpoint(ax, bx), i32::midpoint(ay, by) + bow)
    }

    /// Places along it, both ends among them: a quadratic curve in sixteen steps.
    pub(crate) fn along(&self) -> impl Iterator<Item = (i32, i32)> {
        const STEPS: i32 = 16;
        let (a, m, b) = (self.from, self.bow(), self.to);
        (0..=STEPS).map(move |i| {
            let j = STEPS - i;
            let at =
                |a: i32, m: i32, b: i32| (j * j * a + 2 * i * j * m + i * i * b) / (STEPS * STEPS);
            (at(a.0, m.0, b.0), at(a.1, m.1, b.1))
        })
    }
}

/// Places everything.
#[must_use]
pub fn physical(circuit: &Circuit) -> Physical<'_> {
    place::place(circuit)
}
