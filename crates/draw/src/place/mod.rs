//! Where everything goes: lanes of the signal, the supply below them, what is left last.

mod anchors;
mod fit;
mod input;
mod inverter;
mod lane;
mod output;
mod page;
mod patch;
mod stage;
mod supply;
mod tone;
mod tree;

pub use patch::{Item, Patch};

use crate::geometry::{Point, Turn, UNIT};
use crate::memory::Recalled;
use crate::plan::Plan;
use std::collections::BTreeSet;
use wiring::circuit::NodeId;

/// What is being placed, and what is already.
#[derive(Debug)]
pub(crate) struct Desk<'p, 'a> {
    pub(crate) plan: &'p Plan<'a>,
    /// Pieces that are placed.
    pub(crate) done: Vec<bool>,
    /// Nodes that no hanging tree may swallow.
    pub(crate) kept: BTreeSet<NodeId>,
    /// Inputs and outputs of stages.
    pub(crate) ports: BTreeSet<NodeId>,
    /// Signal nodes that have a named tag.
    pub(crate) tagged: BTreeSet<NodeId>,
    /// Nodes that some lane runs into.
    pub(crate) fed: BTreeSet<NodeId>,
    /// The supply is being placed now.
    pub(crate) supply_side: bool,
    /// Where pieces stood in the drawing before.
    pub(crate) old: Vec<Option<Item>>,
}

/// Places everything.
#[must_use]
pub fn place(plan: &mut Plan<'_>) -> Patch {
    place_from(plan, &[])
}

/// Places everything, blocks as near as they can to where they stood before (by piece; may be shorter).
pub(crate) fn place_from(plan: &mut Plan<'_>, old: &[Option<Item>]) -> Patch {
    supply::stretch(plan);
    let mut desk = Desk::new(plan);
    for (mine, old) in desk.old.iter_mut().zip(old) {
        *mine = *old;
    }
    desk.page()
}

/// Leaves everything where it stood; what is new goes where it joins its neighbours.
pub(crate) fn hold(plan: &mut Plan<'_>, before: &Recalled) -> Patch {
    supply::stretch(plan);
    let mut desk = Desk::new(plan);
    let mut page = Patch::default();
    for item in before.items.iter().flatten() {
        desk.done[item.piece] = true;
        page.put(plan, item.piece, item.at, item.turn);
    }
    for tag in &before.tags {
        page.clear
            .push(crate::tag::room(tag.sort, &tag.text, tag.at, tag.dir));
        page.tags.push(tag.clone());
    }
    desk.leftovers(&mut page);
    page
}

impl<'p, 'a> Desk<'p, 'a> {
    pub(crate) fn new(plan: &'p Plan<'a>) -> Self {
        Self {
            plan,
            done: vec![false; plan.pieces.len()],
            kept: BTreeSet::new(),
            ports: plan.ports(),
            tagged: BTreeSet::new(),
            fed: BTreeSet::new(),
            supply_side: false,
            old: vec![None; plan.pieces.len()],
        }
    }
}

/// Units between the symbols of a row of the table, at least.
const APART: i32 = 60;
/// Units from which on a row of the table is full.
const ROW: i32 = 240;

/// Every piece on its own in rows, far apart: always legal, whatever was typed. Names that reach further than usual push
/// their neighbours away.
#[must_use]
pub fn table(plan: &Plan<'_>) -> Patch {
    let mut page = Patch::default();
    let (mut x, mut y, mut low) = (0, 0, 0);
    let mut before = 0;
    for piece in 0..plan.pieces.len() {
        let e = plan.symbols[piece].extent();
        let (w, h) = (e.width() / UNIT + 1, e.height() / UNIT + 1);
        let (left, right) = reach(plan, piece);
        if x > 0 {
            x += APART.max(before + left);
        }
        if x > 0 && x + w > ROW {
            x = 0;
            y = low + 8;
        }
        let at = Point::new(x - e.x0.div_euclid(UNIT), y - e.y0.div_euclid(UNIT));
        page.put(plan, piece, at, Turn::NONE);
        x += w;
        before = right;
        low = low.max(y + h);
    }
    page
}

/// Units that the tags at the pins of a piece, and its label on either side, reach out of its symbol to the left and to the
/// right.
fn reach(plan: &Plan<'_>, piece: usize) -> (i32, i32) {
    let symbol = &plan.symbols[piece];
    let e = symbol.extent();
    let label = crate::label::width(&plan.pieces[piece]);
    let (mut left, mut right) = (label, label);
    for (k, pin) in symbol.pins.iter().enumerate() {
        let text = plan
            .node(piece, k)
            .map_or_else(String::new, |node| plan.tag_text(node));
        let room = crate::tag::room(crate::tag::Sort::Named, &text, pin.at, pin.out);
        left = left.max(e.x0 - room.x0);
        right = right.max(room.x1 - e.x1);
    }
    // a unit for what stands off the grid, and one of air
    (left / UNIT + 2, right / UNIT + 2)
}

/// Pieces that the signal passes one after the other, as (earlier, later).
#[must_use]
pub fn signal_pairs(plan: &Plan<'_>) -> Vec<(usize, usize)> {
    let desk = Desk::new(plan);
    let anchors = desk.anchors();
    let mut out = Vec::new();
    for chain in desk.chains(&anchors) {
        let mut last: Option<usize> = None;
        for (a, _) in &chain.links {
            let piece = anchors[*a].pieces.first().copied();
            if let (Some(x), Some(y)) = (last, piece) {
                out.push((x, y));
            }
            last = piece.or(last);
        }
    }
    out
}
