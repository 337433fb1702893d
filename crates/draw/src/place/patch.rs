//! A patch: pieces placed relative to each other, with the room that they need.

use crate::geometry::{Area, Dir, Point, Turn, UNIT};
use crate::piece::PieceId;
use crate::plan::Plan;
use crate::tag::{self, Sort, Tag};
use wiring::circuit::NodeId;

/// Pixels in whole units, rounded up.
fn units_up(pixels: i32) -> i32 {
    pixels.div_euclid(UNIT) + i32::from(pixels.rem_euclid(UNIT) != 0)
}

/// One placed piece.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Item {
    /// Which.
    pub piece: PieceId,
    /// Where its own origin is.
    pub at: Point,
    /// How it is turned.
    pub turn: Turn,
}

/// Pieces, tags, and the room they take.
#[derive(Debug, Clone, Default)]
pub struct Patch {
    /// Pieces.
    pub items: Vec<Item>,
    /// Tags placed with them.
    pub tags: Vec<Tag>,
    /// Room that nothing else may take.
    pub clear: Vec<Area>,
}

impl Patch {
    /// Puts a piece down and keeps its room.
    pub fn put(&mut self, plan: &Plan<'_>, piece: PieceId, at: Point, turn: Turn) {
        self.items.push(Item { piece, at, turn });
        self.clear
            .extend(plan.room(piece, turn).into_iter().map(|a| a.by(at.x, at.y)));
    }
    /// Puts a line piece down with one pin here and the other away from it; returns the far pin's place.
    pub fn put_line(
        &mut self,
        plan: &Plan<'_>,
        piece: PieceId,
        near: usize,
        here: Point,
        away: Dir,
    ) -> Point {
        let (at, turn) = plan.lay(piece, near, here, away);
        self.put(plan, piece, at, turn);
        here.toward(away, 6)
    }
    /// Puts a tag down.
    pub fn tag(&mut self, plan: &Plan<'_>, node: NodeId, at: Point, dir: Dir) {
        use crate::plan::Class;
        let sort = match plan.class(node) {
            Class::Ground => Sort::Ground,
            Class::Chassis => Sort::Chassis,
            Class::Earth => Sort::Earth,
            Class::Rail | Class::Bias => Sort::Rail,
            Class::Signal => Sort::Named,
        };
        let text = match sort {
            Sort::Rail | Sort::Named => plan.tag_text(node),
            _ => String::new(),
        };
        self.clear.push(tag::room(sort, &text, at, dir));
        self.tags.push(Tag {
            node,
            sort,
            at,
            dir,
            text,
        });
    }
    /// Puts a tag of a certain sort down.
    pub fn tag_as(&mut self, node: NodeId, sort: Sort, at: Point, dir: Dir) {
        self.clear.push(tag::room(sort, "", at, dir));
        self.tags.push(Tag {
            node,
            sort,
            at,
            dir,
            text: String::new(),
        });
    }
    /// Keeps a straight way free.
    pub fn keep(&mut self, a: Point, b: Point) {
        self.clear.push(Area::between(a, b, 4));
    }
    /// Whether the other patch can lie here.
    #[must_use]
    pub fn fits(&self, other: &Self, dx: i32, dy: i32) -> bool {
        let outer = other.extent().by(dx, dy);
        let near: Vec<&Area> = self.clear.iter().filter(|a| a.hits(&outer)).collect();
        near.is_empty()
            || other.clear.iter().all(|b| {
                let b = b.by(dx, dy);
                near.iter().all(|a| !a.hits(&b))
            })
    }
    /// The smallest shift to the right, from `dx` on, at which the other one fits.
    #[must_use]
    pub fn slide(&self, other: &Self, dx: i32, dy: i32) -> i32 {
        let outer = other.extent().by(0, dy);
        let band: Vec<&Area> = self
            .clear
            .iter()
            .filter(|a| a.y0 < outer.y1 && outer.y0 < a.y1)
            .collect();
        let theirs: Vec<Area> = other.clear.iter().map(|b| b.by(0, dy)).collect();
        let most = dx + 2000;
        let mut dx = dx;
        while dx < most {
            // Whatever is in the way must be passed whole.
            let here = outer.by(dx, 0);
            let next = band
                .iter()
                .filter(|a| a.hits(&here))
                .flat_map(|a| {
                    theirs
                        .iter()
                        .filter(move |b| a.hits(&b.by(dx, 0)))
                        .map(move |b| units_up(a.x1 - b.x0))
                })
                .max();
            match next {
                Some(next) => dx = next.max(dx + 1),
                None => return dx,
            }
        }
        most
    }
    /// The smallest shift down, from `dy` on, at which the other one fits.
    #[must_use]
    pub fn sink(&self, other: &Self, dx: i32, dy: i32) -> i32 {
        let outer = other.extent().by(dx, 0);
        let band: Vec<&Area> = self
            .clear
            .iter()
            .filter(|a| a.x0 < outer.x1 && outer.x0 < a.x1)
            .collect();
        let theirs: Vec<Area> = other.clear.iter().map(|b| b.by(dx, 0)).collect();
        let most = dy + 4000;
        let mut dy = dy;
        while dy < most {
            let here = outer.by(0, dy);
            let next = band
                .iter()
                .filter(|a| a.hits(&here))
                .flat_map(|a| {
                    theirs
                        .iter()
                        .filter(move |b| a.hits(&b.by(0, dy)))
                        .map(move |b| units_up(a.y1 - b.y0))
                })
                .max();
            match next {
                Some(next) => dy = next.max(dy + 1),
                None => return dy,
            }
        }
        most
    }
    /// How far up the other one comes from `from`, where it fits, before something stops it; no further than `least`.
    #[must_use]
    pub fn rise(&self, other: &Self, dx: i32, from: i32, least: i32) -> i32 {
        let mut stop = least;
        for b in &other.clear {
            let b = b.by(dx, 0);
            for a in &self.clear {
                if !(a.x0 < b.x1 && b.x0 < a.x1) {
                    continue;
                }
                // In the way from one above `low` to one below `high`.
                let (low, high) = ((a.y0 - b.y1).div_euclid(UNIT), units_up(a.y1 - b.y0));
                if low + 1 >= high || low >= from {
                    continue;
                }
                stop = stop.max(high);
            }
        }
        stop.min(from)
    }
    /// Takes the other one in.
    pub fn merge(&mut self, other: &Self, dx: i32, dy: i32) {
        self.items.extend(other.items.iter().map(|i| Item {
            at: i.at.by(dx, dy),
            ..*i
        }));
        self.tags.extend(other.tags.iter().map(|t| Tag {
            at: t.at.by(dx, dy),
            ..t.clone()
        }));
        self.clear.extend(other.clear.iter().map(|a| a.by(dx, dy)));
    }
    /// All the room it takes.
    #[must_use]
    pub fn extent(&self) -> Area {
        self.clear
            .iter()
            .copied()
            .reduce(|a, b| a.with(b))
            .unwrap_or(Area::new(0, 0, 0, 0))
    }
    /// Whether nothing is in it.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.items.is_empty()
    }
    /// Where a pin of a piece in it is.
    #[must_use]
    pub fn find(&self, plan: &Plan<'_>, piece: PieceId, pin: usize) -> Option<Point> {
        self.items
            .iter()
            .find(|i| i.piece == piece)
            .map(|i| plan.pin(piece, pin, i.at, i.turn).at)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Blocks scattered by a fixed rule; no two seeds alike.
    fn patch(seed: i32) -> Patch {
        let mut state = seed.unsigned_abs().wrapping_mul(2_654_435_761) | 1;
        let mut next = |most: i32| {
            state ^= state << 13;
            state ^= state >> 17;
            state ^= state << 5;
            i32::try_from(state % most.unsigned_abs()).unwrap_or(0)
        };
        let mut out = Patch::default();
        for _ in 0..6 {
            let (x, y) = (next(200), next(200));
            out.clear.push(Area::new(x, y, x + next(60), y + next(60)));
        }
        out
    }

    #[test]
    fn jumps_end_where_single_steps_end() {
        for seed in 0..200 {
            let (a, b) = (patch(seed), patch(seed + 1000));
            for k in [-30, -7, 0, 3] {
                let step = |ok: &dyn Fn(i32) -> bool| (k..).find(|v| ok(*v));
                assert_eq!(Some(a.slide(&b, k, 2)), step(&|dx| a.fits(&b, dx, 2)));
                assert_eq!(Some(a.sink(&b, 2, k)), step(&|dy| a.fits(&b, 2, dy)));
            }
            let mut up = 60;
            while up > -50 && a.fits(&b, 2, up - 1) {
                up -= 1;
            }
            assert!(a.fits(&b, 2, 60));
            assert_eq!(a.rise(&b, 2, 60, -50), up);
        }
    }
}
