//! Inputs: jacks one above the other, their stoppers and leaks, the line to the first grid.

use super::Desk;
use super::anchors::Anchor;
use super::lane::Lane;
use super::patch::Patch;
use crate::geometry::{Dir, Point, Turn};
use crate::piece::PieceId;
use crate::symbol::{Form, JackPin};
use wiring::circuit::NodeId;
use wiring::roles::Role;

impl Desk<'_, '_> {
    pub(super) fn jack_pin(&self, piece: PieceId, which: JackPin) -> Option<(usize, NodeId)> {
        let p = &self.plan.pieces[piece];
        let k = match &p.form {
            Form::Jack(pins) => pins.iter().position(|x| *x == which)?,
            Form::Phono => match which {
                JackPin::Tip => 0,
                JackPin::Sleeve => 1,
                _ => return None,
            },
            _ => return None,
        };
        Some((k, p.nodes.get(k).copied().flatten()?))
    }

    pub(super) fn input(&mut self, lane: &mut Lane, anchor: &Anchor, first: bool) {
        let plan = self.plan;
        let jack = |p: &PieceId| matches!(plan.pieces[*p].form, Form::Jack(_) | Form::Phono);
        if first && !anchor.pieces.iter().any(jack) {
            self.source(lane, anchor);
            return;
        }
        let goal = anchor
            .block
            .and_then(|b| plan.anatomy.blocks.get(b))
            .and_then(|b| b.outputs.first().copied());
        let mut jacks: Vec<PieceId> = anchor
            .pieces
            .iter()
            .copied()
            .filter(|j| !self.done[*j])
            .collect();
        // A jack whose contact goes to another's tip stands above it.
        let tip = |d: &Self, j: PieceId| d.jack_pin(j, JackPin::Tip).map(|t| t.1);
        let all = jacks.clone();
        jacks.sort_by_key(|j| {
            let contact = self.jack_pin(*j, JackPin::Break).map(|t| t.1);
            let above = contact.is_some()
                && all
                    .iter()
                    .any(|o| o != j && tip(self, *o) == contact && contact.is_some());
            (u8::from(above), *j)
        });
        if !first {
            self.between(lane, &jacks, anchor);
            return;
        }
        let x0 = 0;
        let mut y = lane.base;
        let mut patch = Patch::default();
        let mut ends: Vec<(Point, NodeId)> = Vec::new();
        for (i, jack) in jacks.iter().copied().enumerate() {
            self.done[jack] = true;
            let mut own = Patch::default();
            own.put(plan, jack, Point::new(0, 0), Turn::NONE);
            own.keep(Point::new(4, 0), Point::new(8, 0));
            if i > 0 {
                y -= 10;
                while !patch.fits(&own, x0, y) {
                    y -= 1;
                }
            }
            let at = Point::new(x0 + 8, y);
            if let Some((_, node)) = self.jack_pin(jack, JackPin::Tip)
                && !plan.is_still(node)
            {
                ends.push((at, node));
            }
            patch.merge(&own, x0, y);
        }
        let mut right = 8;
        let mut exits: Vec<(Point, NodeId)> = Vec::new();
        for (at, node) in ends {
            let mut at = at;
            if let Some(down) = self.trees(node, 0) {
                let dx = patch.slide(&down, at.x, at.y + 2);
                patch.merge(&down, dx, at.y + 2);
                patch.keep(at, Point::new(dx, at.y));
                at.x = dx;
            }
            let stopper = plan
                .pins_at(node)
                .iter()
                .map(|(p, _)| *p)
                .find(|p| !self.done[*p] && plan.has(*p, Role::InputStopper));
            if let Some(s) = stopper
                && let Some((near, _, far)) = plan.beyond(s, node)
                && !plan.is_still(far)
            {
                self.done[s] = true;
                let mut row = Patch::default();
                row.put_line(plan, s, near, Point::new(0, 0), Dir::Right);
                let dx = patch.slide(&row, at.x + 2, at.y);
                patch.merge(&row, dx, at.y);
                patch.keep(at, Point::new(dx + 7, at.y));
                at = Point::new(dx + 7, at.y);
                exits.push((at, far));
            } else {
                exits.push((at, node));
            }
            right = right.max(at.x);
        }
        // All that meet on the same node go on from the lowest.
        lane.patch = patch;
        let main = exits
            .iter()
            .find(|(_, n)| Some(*n) == goal)
            .or_else(|| exits.first())
            .copied();
        let lead = main.map(|m| m.1);
        for (at, node) in &exits {
            if Some(*node) == lead {
                lane.patch.keep(*at, Point::new(right, at.y));
                lane.patch
                    .keep(Point::new(right, at.y), Point::new(right, lane.base));
            }
        }
        lane.at = Point::new(right, lane.base);
        lane.node = lead;
        if let Some(n) = lead {
            lane.met.push((n, lane.at));
            self.hang_here(lane, n, false);
        }
    }

    /// Jacks in the middle of the way: below the line, turned toward it.
    fn between(&mut self, lane: &mut Lane, jacks: &[PieceId], anchor: &Anchor) {
        let plan = self.plan;
        for jack in jacks.iter().copied() {
            self.done[jack] = true;
            let mut own = Patch::default();
            own.put(plan, jack, Point::new(0, 0), Turn::NONE);
            own.keep(Point::new(4, 0), Point::new(6, 0));
            let dx = lane.patch.slide(&own, lane.at.x + 3, lane.at.y + 4);
            lane.patch.merge(&own, dx, lane.at.y + 4);
            lane.patch.keep(lane.at, Point::new(dx + 6, lane.at.y));
            lane.at.x = dx + 6;
        }
        lane.node = anchor.outs.last().copied().or(lane.node);
    }

    /// A generator: upright, its hot end on top.
    fn source(&mut self, lane: &mut Lane, anchor: &Anchor) {
        let plan = self.plan;
        let (Some(piece), Some(hot)) =
            (anchor.pieces.first().copied(), anchor.outs.first().copied())
        else {
            return;
        };
        let near = usize::from(plan.node(piece, 0) != Some(hot));
        self.done[piece] = true;
        lane.patch
            .put_line(plan, piece, near, Point::new(0, lane.base + 2), Dir::Down);
        lane.at = Point::new(0, lane.base);
        lane.node = Some(hot);
        lane.patch.keep(lane.at, Point::new(0, lane.base + 2));
        self.hang_here(lane, hot, false);
    }
}
