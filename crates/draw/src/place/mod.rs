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

/// Every piece on its own in rows, far apart: always legal, whatever was typed.
#[must_use]
pub fn table(plan: &Plan<'_>) -> Patch {
    let mut page = Patch::default();
    let (mut x, mut y, mut low) = (0, 0, 0);
    for piece in 0..plan.pieces.len() {
        let e = plan.symbols[piece].extent();
        let unit = crate::geometry::UNIT;
        let (w, h) = (e.width() / unit + 1, e.height() / unit + 1);
        if x > 0 && x + w > 240 {
            x = 0;
            y = low + 8;
        }
        let at = crate::geometry::Point::new(x - e.x0.div_euclid(unit), y - e.y0.div_euclid(unit));
        page.put(plan, piece, at, crate::geometry::Turn::NONE);
        x += w + 60;
        low = low.max(y + h);
    }
    page
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
