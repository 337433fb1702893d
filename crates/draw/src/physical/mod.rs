//! The physical view: parts where they sit as recorded, wires between them as traced.
//!
//! A board's parts stand at their lugs in the words printed or seen (`@ "board 7"`), sockets are seen from below, controls,
//! sections of cans and wound parts stand in rows of their own, and what has no place noted in the last one. It is a plan of what is
//! where and what goes where, not a picture to scale: no place is invented. Pure, and the same circuit gives the same picture.

mod check;
mod paint;
mod place;

pub use check::faults;
pub use paint::{linked, svg};

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

/// Places everything.
#[must_use]
pub fn physical(circuit: &Circuit) -> Physical<'_> {
    place::place(circuit)
}
