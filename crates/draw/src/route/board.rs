//! The grid that wires are laid on: what is taken, by which net, and in which directions.

use crate::geometry::{Area, Dir, Point, UNIT};

/// No net.
pub(super) const NONE: u16 = u16::MAX;

/// Most cells of a board. What lies beyond gets no wire.
const MOST_CELLS: i32 = 8_000_000;

/// Pixels that a wire keeps away from a body.
const CLEAR: i32 = 5;

#[derive(Debug, Clone, Copy)]
pub(super) struct Cell {
    /// A body is here.
    pub(super) blocked: bool,
    /// What it costs to pass, beyond the step.
    pub(super) toll: u8,
    /// The net whose terminal is here.
    pub(super) terminal: u16,
    /// The net that runs level here.
    pub(super) level: u16,
    /// The net that runs upright here.
    pub(super) upright: u16,
    /// Ways taken: bit 0 up, 1 right, 2 down, 3 left.
    pub(super) arms: u8,
}

/// The grid.
#[derive(Debug, Clone)]
pub struct Board {
    pub(super) x0: i32,
    pub(super) y0: i32,
    pub(super) w: i32,
    pub(super) h: i32,
    pub(super) cells: Vec<Cell>,
    pub(super) scratch: super::search::Scratch,
    /// Cells of each net, to take it up again.
    laid: Vec<Vec<usize>>,
}

/// Part of a net that was taken up: cells with the net's own arms.
pub(super) type Kept = Vec<(usize, u8)>;

impl Board {
    /// A board for everything between two corners.
    #[must_use]
    pub fn new(low: Point, high: Point) -> Self {
        let w = (high.x - low.x + 1).clamp(1, MOST_CELLS);
        let h = (high.y - low.y + 1).clamp(1, MOST_CELLS / w);
        let n = usize::try_from(w * h).unwrap_or(1);
        Self {
            x0: low.x,
            y0: low.y,
            w,
            h,
            cells: vec![
                Cell {
                    blocked: false,
                    toll: 0,
                    terminal: NONE,
                    level: NONE,
                    upright: NONE,
                    arms: 0,
                };
                n
            ],
            scratch: super::search::Scratch::new(n),
            laid: Vec::new(),
        }
    }

    pub(super) fn index(&self, p: Point) -> Option<usize> {
        let (x, y) = (p.x - self.x0, p.y - self.y0);
        ((0..self.w).contains(&x) && (0..self.h).contains(&y))
            .then(|| usize::try_from(y * self.w + x).unwrap_or(0))
    }
    pub(super) fn point(&self, cell: usize) -> Point {
        let i = i32::try_from(cell).unwrap_or(0);
        Point::new(self.x0 + i % self.w, self.y0 + i / self.w)
    }
    pub(super) fn next(&self, cell: usize, dir: Dir) -> Option<usize> {
        let w = usize::try_from(self.w).unwrap_or(1);
        match dir {
            Dir::Up => cell.checked_sub(w),
            Dir::Down => (cell + w < self.cells.len()).then_some(cell + w),
            Dir::Left => (!cell.is_multiple_of(w)).then(|| cell - 1),
            Dir::Right => (!(cell + 1).is_multiple_of(w)).then_some(cell + 1),
        }
    }

    fn each(&mut self, area: Area, mut f: impl FnMut(&mut Cell)) {
        let low = |v: i32| v.div_euclid(UNIT) + i32::from(v.rem_euclid(UNIT) != 0);
        let (x0, x1) = (low(area.x0), area.x1.div_euclid(UNIT));
        let (y0, y1) = (low(area.y0), area.y1.div_euclid(UNIT));
        for y in y0..=y1 {
            for x in x0..=x1 {
                if let Some(i) = self.index(Point::new(x, y)) {
                    f(&mut self.cells[i]);
                }
            }
        }
    }
    /// Nothing may run through this body.
    pub fn block(&mut self, body: Area) {
        self.each(body.wider(CLEAR), |c| c.blocked = true);
    }
    /// A tag: its own edge is enough.
    pub fn block_tag(&mut self, area: Area) {
        self.each(area.wider(1), |c| c.blocked = true);
    }
    /// Better not here.
    pub fn charge(&mut self, area: Area, toll: u8) {
        self.each(area, |c| c.toll = c.toll.max(toll));
    }
    /// A terminal of this net; free for it, closed to all others.
    pub fn set_terminal(&mut self, at: Point, net: usize) {
        if let Some(i) = self.index(at) {
            self.cells[i].terminal = id(net);
        }
    }
    /// A terminal that no wire may touch.
    pub fn close(&mut self, at: Point) {
        if let Some(i) = self.index(at) {
            self.cells[i].blocked = true;
        }
    }

    /// Adds an arm of a net; both its cells are named.
    pub(super) fn join(&mut self, net: usize, from: usize, dir: Dir) {
        let Some(to) = self.next(from, dir) else {
            return;
        };
        for (cell, way) in [(from, dir), (to, dir.back())] {
            let c = &mut self.cells[cell];
            if way.is_level() {
                c.level = id(net);
            } else {
                c.upright = id(net);
            }
            c.arms |= 1 << way.index();
            if self.laid.len() <= net {
                self.laid.resize(net + 1, Vec::new());
            }
            self.laid[net].push(cell);
        }
    }

    /// Removes a net; returns what was there.
    pub(super) fn take_up(&mut self, net: usize) -> Kept {
        let Some(cells) = self.laid.get_mut(net) else {
            return Vec::new();
        };
        let mut cells = std::mem::take(cells);
        cells.sort_unstable();
        cells.dedup();
        let n = id(net);
        let mut kept = Vec::with_capacity(cells.len());
        for cell in cells {
            let c = &mut self.cells[cell];
            let mut mine = 0;
            if c.level == n {
                mine |= c.arms & 0b1010;
                c.level = NONE;
            }
            if c.upright == n {
                mine |= c.arms & 0b0101;
                c.upright = NONE;
            }
            c.arms &= !mine;
            kept.push((cell, mine));
        }
        kept
    }
    pub(super) fn put_back(&mut self, net: usize, kept: &Kept) {
        if self.laid.len() <= net {
            self.laid.resize(net + 1, Vec::new());
        }
        for (cell, arms) in kept {
            let c = &mut self.cells[*cell];
            if arms & 0b1010 != 0 {
                c.level = id(net);
            }
            if arms & 0b0101 != 0 {
                c.upright = id(net);
            }
            c.arms |= arms;
            self.laid[net].push(*cell);
        }
    }
    /// Lays a net along runs that it had before, if every cell is still free for it.
    pub fn lay_again(&mut self, net: usize, runs: &[(Point, Point)]) -> bool {
        let mut arms = Vec::new();
        for (a, b) in runs {
            let dir = match ((b.x - a.x).signum(), (b.y - a.y).signum()) {
                (1, 0) => Dir::Right,
                (-1, 0) => Dir::Left,
                (0, 1) => Dir::Down,
                (0, -1) => Dir::Up,
                _ => return false,
            };
            let mut p = *a;
            while p != *b {
                arms.push((p, dir));
                p = p.toward(dir, 1);
            }
        }
        for (p, dir) in &arms {
            for (p, way) in [(*p, *dir), (p.toward(*dir, 1), dir.back())] {
                let Some(c) = self.index(p).map(|i| self.cells[i]) else {
                    return false;
                };
                let own = c.terminal == id(net);
                let foreign = |n: u16| n != NONE && n != id(net);
                if (c.blocked || c.terminal != NONE) && !own
                    || foreign(if way.is_level() { c.level } else { c.upright })
                {
                    return false;
                }
                // A foreign wire may be crossed straight only.
                let other = if way.is_level() { c.upright } else { c.level };
                let straight = if way.is_level() { 0b0101 } else { 0b1010 };
                if foreign(other) && (c.arms & straight != straight || own) {
                    return false;
                }
            }
        }
        for (p, dir) in arms {
            if let Some(i) = self.index(p) {
                self.join(net, i, dir);
            }
        }
        // Corners of our own over a foreign wire were never laid; joints there were not either.
        true
    }

    /// Bends or crossings that another way might spare.
    pub(super) fn can_better(&self, net: usize) -> bool {
        let n = id(net);
        self.laid.get(net).is_some_and(|cells| {
            cells.iter().any(|i| {
                let c = &self.cells[*i];
                c.level == n && c.upright == n
                    || c.level != NONE && c.upright != NONE && c.level != c.upright
            })
        })
    }

    /// Straight runs of a net, each as long as it can be, and its joints of three ways or more.
    #[must_use]
    pub fn runs(&self, net: usize, ends: &[Point]) -> (Vec<(Point, Point)>, Vec<Point>) {
        let n = id(net);
        let mut cells = self.laid.get(net).cloned().unwrap_or_default();
        cells.sort_unstable();
        cells.dedup();
        let mut runs = Vec::new();
        let mut joints = Vec::new();
        for cell in cells {
            let c = &self.cells[cell];
            let level = c.level == n;
            let upright = c.upright == n;
            let arms = c.arms & (if level { 0b1010 } else { 0 } | if upright { 0b0101 } else { 0 });
            for (dir, mine, axis) in [(Dir::Right, level, 0b1000), (Dir::Down, upright, 0b0001)] {
                let has = |arms: u8| arms & (1 << dir.index()) != 0;
                if mine && has(arms) && arms & axis == 0 {
                    let mut at = cell;
                    while let Some(next) = self.next(at, dir) {
                        let c = &self.cells[at];
                        if c.arms & (1 << dir.index()) == 0 {
                            break;
                        }
                        at = next;
                    }
                    runs.push((self.point(cell), self.point(at)));
                }
            }
            let here = self.point(cell);
            let terminals = ends.iter().filter(|e| **e == here).count();
            if arms.count_ones() as usize + terminals >= 3 {
                joints.push(here);
            }
        }
        (runs, joints)
    }
}

pub(super) fn id(net: usize) -> u16 {
    u16::try_from(net).unwrap_or(NONE - 1).min(NONE - 1)
}
