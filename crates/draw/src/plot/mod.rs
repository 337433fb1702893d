//! Plots of results: curves, bands, readings with their uncertainty, limits, spectra, and maps of cells.
//!
//! A [`Plot`] is values and words; [`Plot::lay`] gives every line and text its place, [`Plot::svg`]
//! draws it. One path for page and paper: no script, no style, colours as attributes ([`Shades`]).
//! Curves are told apart by their line pattern and by a name at the curve, never by colour alone.
//! Whatever the values are, what is drawn is inside the frame and no two texts meet. Values that are
//! not finite leave a gap. Pure: the same plot gives the same picture.

mod axis;
mod cells;
mod clip;
mod lay;
mod paint;
mod words;

pub use axis::{Axis, Scale, Tick, covering};
pub use cells::Cells;
pub use lay::{Laid, Line, Text};
pub use paint::Shades;

/// How a line is drawn; each differs from all others in pattern or weight, not in colour alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pen {
    /// A data sheet's curve: thin.
    Sheet,
    /// What you have: heavy.
    Have,
    /// What a drawing says, or what it is held against: dashed.
    Against,
    /// A third: dotted.
    Third,
    /// Where the point moves under signal: plain.
    Load,
    /// A limit: dash and dot.
    Limit,
}

/// Points in the axes' units, in the order in which they are joined.
pub type Points = Vec<(f64, f64)>;

/// A curve.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    /// Its name, written at the curve.
    pub name: String,
    /// How it is drawn.
    pub pen: Pen,
    /// What is joined; a value that is not finite leaves a gap.
    pub points: Points,
    /// A limit's side that is forbidden is tinted: all that lies above it.
    pub tint_above: bool,
}

impl Curve {
    /// A curve without a tint.
    #[must_use]
    pub fn new(name: impl Into<String>, pen: Pen, points: Points) -> Self {
        Self {
            name: name.into(),
            pen,
            points,
            tint_above: false,
        }
    }

    /// A limit, what lies above it tinted.
    #[must_use]
    pub fn limit(name: impl Into<String>, points: Points) -> Self {
        Self {
            name: name.into(),
            pen: Pen::Limit,
            points,
            tint_above: true,
        }
    }
}

/// What is expected, from low to high, over a stretch of x.
#[derive(Debug, Clone, PartialEq)]
pub struct Band {
    /// Its name, in the words beneath the plot.
    pub name: String,
    /// x, low, high; x rising.
    pub edges: Vec<(f64, f64, f64)>,
}

/// A single point, with its uncertainty where it has one.
#[derive(Debug, Clone, PartialEq)]
pub struct Spot {
    /// Its name, written beside it.
    pub name: String,
    /// Where.
    pub at: (f64, f64),
    /// Half-width either way along x.
    pub plus_minus_x: Option<f64>,
    /// Half-width either way along y.
    pub plus_minus_y: Option<f64>,
    /// Computed: a ring. Read: filled.
    pub read: bool,
}

/// A line of a spectrum: from the foot of the frame to its height.
#[derive(Debug, Clone, PartialEq)]
pub struct Stem {
    /// Written at its head; nothing for most.
    pub name: String,
    /// Where its head is.
    pub at: (f64, f64),
}

/// A plot.
#[derive(Debug, Clone, PartialEq)]
pub struct Plot {
    /// Short word that keeps its ids apart from others on the same page.
    pub id: String,
    /// Its title, for those who do not see it.
    pub title: String,
    /// The main figures in a sentence or two.
    pub says: String,
    /// Along.
    pub x: Axis,
    /// Up.
    pub y: Axis,
    /// Bands, undermost.
    pub bands: Vec<Band>,
    /// Curves, in the order of drawing.
    pub curves: Vec<Curve>,
    /// Spectral lines.
    pub stems: Vec<Stem>,
    /// Points, on top.
    pub spots: Vec<Spot>,
    /// Pixels across, all in all; at least 320.
    pub width: i32,
    /// Pixels down to the foot of the axis; names that find no room make it higher. At least 240.
    pub height: i32,
}

impl Plot {
    /// An empty plot of 800 by 560 pixels.
    #[must_use]
    pub fn new(id: impl Into<String>, title: impl Into<String>, x: Axis, y: Axis) -> Self {
        Self {
            id: id.into(),
            title: title.into(),
            says: String::new(),
            x,
            y,
            bands: Vec::new(),
            curves: Vec::new(),
            stems: Vec::new(),
            spots: Vec::new(),
            width: 800,
            height: 560,
        }
    }
}
