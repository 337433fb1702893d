//! The grid: points in whole units, areas in pixels, the eight ways a symbol can be turned.
//!
//! One unit is [`UNIT`] pixels; x runs to the right, y runs down. Every terminal, bend and
//! joint lies on a grid point.

use serde::Serialize;

/// Pixels of one grid unit.
pub const UNIT: i32 = 12;

/// A point of the grid, in units.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize)]
pub struct Point {
    /// To the right.
    pub x: i32,
    /// Down.
    pub y: i32,
}

impl Point {
    /// A point of the grid.
    #[must_use]
    pub const fn new(x: i32, y: i32) -> Self {
        Self { x, y }
    }
    /// Moved by so many units.
    #[must_use]
    pub const fn by(self, dx: i32, dy: i32) -> Self {
        Self::new(self.x + dx, self.y + dy)
    }
    /// `n` units further in a direction.
    #[must_use]
    pub const fn toward(self, dir: Dir, n: i32) -> Self {
        let (dx, dy) = dir.step();
        self.by(dx * n, dy * n)
    }
    /// Steps along the grid to another point.
    #[must_use]
    pub const fn far(self, other: Self) -> i32 {
        (self.x - other.x).abs() + (self.y - other.y).abs()
    }
}

/// The four ways a wire can run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Dir {
    /// Toward smaller y.
    Up,
    /// Toward larger x.
    Right,
    /// Toward larger y.
    Down,
    /// Toward smaller x.
    Left,
}

impl Dir {
    /// Clockwise from up.
    pub const ALL: [Self; 4] = [Self::Up, Self::Right, Self::Down, Self::Left];

    /// One step.
    #[must_use]
    pub const fn step(self) -> (i32, i32) {
        match self {
            Self::Up => (0, -1),
            Self::Right => (1, 0),
            Self::Down => (0, 1),
            Self::Left => (-1, 0),
        }
    }
    /// The other way.
    #[must_use]
    pub const fn back(self) -> Self {
        match self {
            Self::Up => Self::Down,
            Self::Right => Self::Left,
            Self::Down => Self::Up,
            Self::Left => Self::Right,
        }
    }
    /// Left or right.
    #[must_use]
    pub const fn is_level(self) -> bool {
        matches!(self, Self::Left | Self::Right)
    }
    pub(crate) const fn index(self) -> usize {
        match self {
            Self::Up => 0,
            Self::Right => 1,
            Self::Down => 2,
            Self::Left => 3,
        }
    }
}

/// One of eight orientations: perhaps mirrored left to right, then turned clockwise by quarters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize)]
pub struct Turn {
    /// Quarter turns clockwise, 0 to 3.
    pub quarters: u8,
    /// Mirrored left to right first.
    pub mirrored: bool,
}

impl Turn {
    /// As defined.
    pub const NONE: Self = Self::of(0, false);
    /// A quarter clockwise: what was up is right.
    pub const CW: Self = Self::of(1, false);
    /// Half a turn.
    pub const HALF: Self = Self::of(2, false);
    /// A quarter anticlockwise: what was up is left.
    pub const CCW: Self = Self::of(3, false);
    /// Left and right exchanged.
    pub const MIRROR: Self = Self::of(0, true);
    /// Up and down exchanged.
    pub const FLIP: Self = Self::of(2, true);

    const fn of(quarters: u8, mirrored: bool) -> Self {
        Self { quarters, mirrored }
    }
    /// All eight.
    pub const ALL: [Self; 8] = [
        Self::of(0, false),
        Self::of(1, false),
        Self::of(2, false),
        Self::of(3, false),
        Self::of(0, true),
        Self::of(1, true),
        Self::of(2, true),
        Self::of(3, true),
    ];

    /// Applied to a pair of coordinates.
    #[must_use]
    pub fn pair<N: std::ops::Neg<Output = N>>(self, x: N, y: N) -> (N, N) {
        let x = if self.mirrored { -x } else { x };
        match self.quarters % 4 {
            0 => (x, y),
            1 => (-y, x),
            2 => (-x, -y),
            _ => (y, -x),
        }
    }
    /// Applied to a point.
    #[must_use]
    pub fn point(self, p: Point) -> Point {
        let (x, y) = self.pair(p.x, p.y);
        Point::new(x, y)
    }
    /// Applied to a direction.
    #[must_use]
    pub fn dir(self, d: Dir) -> Dir {
        let (dx, dy) = d.step();
        let to = self.pair(dx, dy);
        Dir::ALL.into_iter().find(|d| d.step() == to).unwrap_or(d)
    }
    /// Applied to an area.
    #[must_use]
    pub fn area(self, a: Area) -> Area {
        let (x0, y0) = self.pair(a.x0, a.y0);
        let (x1, y1) = self.pair(a.x1, a.y1);
        Area {
            x0: x0.min(x1),
            y0: y0.min(y1),
            x1: x0.max(x1),
            y1: y0.max(y1),
        }
    }
}

/// A rectangle in pixels; touching edges do not overlap.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Area {
    /// Left.
    pub x0: i32,
    /// Top.
    pub y0: i32,
    /// Right.
    pub x1: i32,
    /// Bottom.
    pub y1: i32,
}

impl Area {
    /// From left, top, right, bottom in pixels.
    #[must_use]
    pub const fn new(x0: i32, y0: i32, x1: i32, y1: i32) -> Self {
        Self { x0, y0, x1, y1 }
    }
    /// Round a grid point, reaching so many pixels each way.
    #[must_use]
    pub const fn round(p: Point, px: i32) -> Self {
        let (x, y) = (p.x * UNIT, p.y * UNIT);
        Self::new(x - px, y - px, x + px, y + px)
    }
    /// Between two grid points, reaching so many pixels beyond them.
    #[must_use]
    pub fn between(a: Point, b: Point, px: i32) -> Self {
        Self::round(a, px).with(Self::round(b, px))
    }
    /// Do they overlap?
    #[must_use]
    pub const fn hits(&self, o: &Self) -> bool {
        self.x0 < o.x1 && o.x0 < self.x1 && self.y0 < o.y1 && o.y0 < self.y1
    }
    /// Is the other one wholly inside?
    #[must_use]
    pub const fn holds(&self, o: &Self) -> bool {
        self.x0 <= o.x0 && self.y0 <= o.y0 && self.x1 >= o.x1 && self.y1 >= o.y1
    }
    /// Moved by so many grid units.
    #[must_use]
    pub const fn by(&self, dx: i32, dy: i32) -> Self {
        let (dx, dy) = (dx * UNIT, dy * UNIT);
        Self::new(self.x0 + dx, self.y0 + dy, self.x1 + dx, self.y1 + dy)
    }
    /// Larger by so many pixels on every side.
    #[must_use]
    pub const fn wider(&self, px: i32) -> Self {
        Self::new(self.x0 - px, self.y0 - px, self.x1 + px, self.y1 + px)
    }
    /// The smallest area that holds both.
    #[must_use]
    pub fn with(&self, o: Self) -> Self {
        Self::new(
            self.x0.min(o.x0),
            self.y0.min(o.y0),
            self.x1.max(o.x1),
            self.y1.max(o.y1),
        )
    }
    /// Width in pixels.
    #[must_use]
    pub const fn width(&self) -> i32 {
        self.x1 - self.x0
    }
    /// Height in pixels.
    #[must_use]
    pub const fn height(&self) -> i32 {
        self.y1 - self.y0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn turns_agree_on_points_directions_and_areas() {
        for turn in Turn::ALL {
            for dir in Dir::ALL {
                let (dx, dy) = dir.step();
                assert_eq!(turn.point(Point::new(dx, dy)), {
                    let (x, y) = turn.dir(dir).step();
                    Point::new(x, y)
                });
            }
            let a = turn.area(Area::new(-3, -5, 7, 11));
            assert_eq!(a.width() * a.height(), 160);
        }
        assert_eq!(Turn::CW.dir(Dir::Up), Dir::Right);
        assert_eq!(Turn::CCW.dir(Dir::Up), Dir::Left);
        assert_eq!(Turn::FLIP.dir(Dir::Up), Dir::Down);
        assert_eq!(Turn::FLIP.dir(Dir::Left), Dir::Left);
    }

    #[test]
    fn touching_areas_do_not_overlap() {
        let a = Area::new(0, 0, 10, 10);
        assert!(!a.hits(&Area::new(10, 0, 20, 10)));
        assert!(a.hits(&Area::new(9, 9, 20, 20)));
    }
}
