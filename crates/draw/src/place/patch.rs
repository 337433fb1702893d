//! A patch: pieces placed relative to each other, with the room that they need.

use crate::geometry::{Area, Dir, Point, Turn};
use crate::piece::PieceId;
use crate::plan::Plan;
use crate::tag::{self, Sort, Tag};
use wiring::circuit::NodeId;

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
        let mut dx = dx;
        for _ in 0..2000 {
            if self.fits(other, dx, dy) {
                return dx;
            }
            dx += 1;
        }
        dx
    }
    /// The smallest shift down, from `dy` on, at which the other one fits.
    #[must_use]
    pub fn sink(&self, other: &Self, dx: i32, dy: i32) -> i32 {
        let mut dy = dy;
        for _ in 0..4000 {
            if self.fits(other, dx, dy) {
                return dy;
            }
            dy += 1;
        }
        dy
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
