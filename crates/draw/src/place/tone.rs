//! Tone networks as columns: the slope resistor on the left, capacitors level, controls one
//! below the other with the treble control on top.

use super::Desk;
use super::anchors::Step;
use super::lane::Lane;
use super::patch::Patch;
use crate::geometry::{Dir, Point, Turn};
use crate::piece::PieceId;
use crate::symbol::Form;
use wiring::circuit::NodeId;
use wiring::roles::{Block, Role};

/// From one control of the column to the next.
const PITCH: i32 = 10;

impl Desk<'_, '_> {
    /// The pot's turn with the pin of this node on top.
    fn top_first(&self, pot: PieceId, node: Option<NodeId>) -> Turn {
        match node {
            Some(n) if self.plan.node(pot, 0) == Some(n) && self.plan.node(pot, 2) != Some(n) => {
                Turn::FLIP
            }
            _ => Turn::NONE,
        }
    }

    /// Two controls side by side, each with parts above and below, their wipers joined by a resistor: the treble arm
    /// at the line's end, the bass arm left of it and lower, so that the resistor passes under the treble arm.
    fn two_arms(&mut self, lane: &mut Lane, block: &Block, step: &Step) -> bool {
        let plan = self.plan;
        let (source, treble) = (step.from, step.piece);
        let free = |d: &Self, p: PieceId| !d.done[p] && !plan.supply[p];
        // A free part between two nodes, with its pin at the first.
        let between = |d: &Self, a: NodeId, b: NodeId| {
            plan.pins_at(a).iter().find_map(|(p, _)| {
                let (near, _, far) = plan.beyond(*p, a)?;
                (free(d, *p) && far == b).then_some((*p, near))
            })
        };
        let to_low = |d: &Self, a: NodeId| {
            plan.pins_at(a).iter().find_map(|(p, _)| {
                let (near, _, far) = plan.beyond(*p, a)?;
                (free(d, *p) && plan.is_low(far)).then_some((*p, near))
            })
        };
        // Of a control: the end that the source feeds through a part, and the other end.
        let arm = |d: &Self, pot: PieceId| {
            [2_usize, 0].into_iter().find_map(|end| {
                let top = plan.node(pot, end)?;
                let low = plan.node(pot, 2 - end)?;
                Some((end, top, low, between(d, source, top)?, to_low(d, low)?))
            })
        };
        let found = plan
            .in_block(block, Role::BassControl)
            .into_iter()
            .filter(|p| free(self, *p) && *p != treble && plan.line(*p).is_none())
            .find_map(|bass| {
                let wiper = plan.node(bass, 1)?;
                let (end, top, low, rb, rl) = arm(self, bass)?;
                let c1 = between(self, top, wiper)?;
                let c2 = between(self, wiper, low)?;
                let rx = between(self, wiper, step.to)?;
                Some((bass, end, rb, rl, c1, c2, rx))
            });
        let (Some((bass, end, rb, rl, c1, c2, rx)), Some((tend, _, _, ct, cl))) =
            (found, arm(self, treble))
        else {
            return false;
        };
        let turn = |end: usize| if end == 2 { Turn::NONE } else { Turn::FLIP };
        let ys = lane.at.y;
        let mt = if ys < lane.base { lane.base } else { ys + 3 };
        let yb = (ys + 17).max(mt + 16);
        let xt = 12;
        let p = Point::new;
        let mut patch = Patch::default();
        for piece in [treble, bass, rb.0, rl.0, c1.0, c2.0, rx.0, ct.0, cl.0] {
            self.done[piece] = true;
        }
        patch.put_line(plan, ct.0, ct.1, p(3, ys), Dir::Right);
        patch.put(plan, treble, p(xt, mt), turn(tend));
        patch.put_line(plan, cl.0, cl.1, p(xt, mt + 4), Dir::Down);
        patch.put_line(plan, rb.0, rb.1, p(0, ys + 1), Dir::Down);
        patch.put(plan, bass, p(0, yb), turn(end));
        patch.put_line(plan, c1.0, c1.1, p(7, yb - 8), Dir::Down);
        patch.put_line(plan, c2.0, c2.1, p(7, yb + 2), Dir::Down);
        patch.put_line(plan, rl.0, rl.1, p(0, yb + 9), Dir::Down);
        patch.put_line(plan, rx.0, rx.1, p(13, yb), Dir::Right);
        for (a, b) in [
            (p(0, ys), p(xt, ys)),
            (p(xt, ys), p(xt, mt - 3)),
            (p(0, ys + 7), p(0, yb - 3)),
            (p(0, yb + 3), p(0, yb + 9)),
            (p(0, yb - 8), p(7, yb - 8)),
            (p(0, yb + 8), p(7, yb + 8)),
            (p(7, yb - 2), p(7, yb + 2)),
            (p(3, yb), p(13, yb)),
            (p(19, yb), p(20, yb)),
            (p(20, mt), p(20, yb)),
            (p(xt + 3, mt), p(20, mt)),
        ] {
            patch.keep(a, b);
        }
        let dx = lane.patch.slide(&patch, lane.at.x + 2, 0);
        lane.patch.merge(&patch, dx, 0);
        lane.patch.keep(lane.at, p(dx, ys));
        lane.met.push((source, p(dx, ys)));
        lane.at = p(dx + 21, mt);
        lane.node = Some(step.to);
        lane.met.push((step.to, lane.at));
        lane.base = lane.base.max(mt);
        true
    }

    pub(super) fn tone(&mut self, lane: &mut Lane, block: usize, step: &Step, before_pot: bool) {
        let plan = self.plan;
        let Some(b) = plan.anatomy.blocks.get(block) else {
            return;
        };
        let b: &Block = b;
        let one = |d: &Self, role: Role| -> Option<PieceId> {
            plan.in_block(b, role).into_iter().find(|p| !d.done[*p])
        };
        let source = step.from;
        let treble = step.piece;
        if self.two_arms(lane, b, step) {
            return;
        }
        // From the plate line the wiper shall come out on the base line, or where the next
        // control begins.
        let ys = lane.at.y;
        let mut patch = Patch::default();
        let cap = one(self, Role::TrebleCapacitor);
        let slope = one(self, Role::SlopeResistor);
        let middle = match (before_pot, ys < lane.base) {
            (false, true) => lane.base,
            _ => ys + 3,
        };
        let pots_x = 11;
        self.done[treble] = true;
        let top_node = cap
            .and_then(|c| plan.beyond(c, source))
            .map(|(_, _, far)| far);
        let turn = self.top_first(treble, top_node);
        patch.put(plan, treble, Point::new(pots_x, middle), turn);
        if let Some(c) = cap
            && let Some((near, _, _)) = plan.beyond(c, source)
        {
            self.done[c] = true;
            patch.put_line(plan, c, near, Point::new(3, ys), Dir::Right);
            patch.keep(Point::new(0, ys), Point::new(pots_x, ys));
            patch.keep(Point::new(pots_x, ys), Point::new(pots_x, middle - 3));
        }
        let mut junction = None;
        if let Some(r) = slope
            && let Some((near, _, far)) = plan.beyond(r, source)
        {
            self.done[r] = true;
            junction = Some(far);
            patch.put_line(plan, r, near, Point::new(0, ys + 1), Dir::Down);
        }
        // The column below the treble control: what each control's upper end is joined to.
        let mut low = plan.node(treble, if turn == Turn::NONE { 0 } else { 2 });
        let mut y = middle;
        let mut rest: Vec<PieceId> = [Role::BassControl, Role::MiddleControl, Role::MiddleResistor]
            .into_iter()
            .flat_map(|r| plan.in_block(b, r))
            .filter(|p| !self.done[*p])
            .collect();
        rest.dedup();
        let caps: Vec<PieceId> = [Role::BassCapacitor, Role::MiddleCapacitor]
            .into_iter()
            .flat_map(|r| plan.in_block(b, r))
            .filter(|p| !self.done[*p])
            .collect();
        let mut joints: Vec<(Option<NodeId>, i32)> = vec![(low, middle + 5)];
        while !rest.is_empty() {
            let touches =
                |p: &PieceId, n: Option<NodeId>| n.is_some() && plan.pieces[*p].nodes.contains(&n);
            let k = rest.iter().position(|p| touches(p, low)).unwrap_or(0);
            let piece = rest.remove(k);
            self.done[piece] = true;
            y += PITCH;
            if plan.pieces[piece].form == Form::Pot {
                let on_top = if touches(&piece, low) { low } else { None };
                let mut turn = self.top_first(piece, on_top);
                // The grounded end is the lower one.
                if plan.node(piece, 2).is_some_and(|n| plan.is_low(n)) {
                    turn = Turn::FLIP;
                }
                patch.put(plan, piece, Point::new(pots_x, y), turn);
                low = plan.node(piece, if turn == Turn::NONE { 0 } else { 2 });
            } else if let Some(node) = low
                && let Some((near, _, far)) = plan.beyond(piece, node)
            {
                patch.put_line(plan, piece, near, Point::new(pots_x, y - 3), Dir::Down);
                low = Some(far);
            } else {
                patch.put_line(plan, piece, 0, Point::new(pots_x, y - 3), Dir::Down);
                low = plan.node(piece, 1);
            }
            joints.push((low, y + 5));
            if low.is_some_and(|n| plan.is_still(n)) {
                // A second branch to ground starts anew below.
                y += 2;
            }
        }
        for c in caps {
            let Some(j) = junction else { break };
            let Some((near, _, far)) = plan.beyond(c, j) else {
                continue;
            };
            let level = joints
                .iter()
                .find(|(n, _)| *n == Some(far))
                .map(|(_, y)| *y)
                .or_else(|| {
                    // Into a wiper: level with the middle of its control.
                    patch
                        .items
                        .iter()
                        .find(|i| {
                            plan.pieces[i.piece].form == Form::Pot
                                && plan.pieces[i.piece].nodes.contains(&Some(far))
                        })
                        .map(|i| i.at.y - 3)
                });
            let Some(level) = level else { continue };
            let mut row = Patch::default();
            row.put_line(plan, c, near, Point::new(3, level), Dir::Right);
            if patch.fits(&row, 0, 0) {
                self.done[c] = true;
                patch.merge(&row, 0, 0);
                patch.keep(Point::new(0, ys + 7), Point::new(0, level));
                patch.keep(Point::new(9, level), Point::new(pots_x, level));
            }
        }
        patch.keep(
            Point::new(pots_x + 3, middle),
            Point::new(pots_x + 6, middle),
        );
        let dx = lane.patch.slide(&patch, lane.at.x + 2, 0);
        lane.patch.merge(&patch, dx, 0);
        lane.patch.keep(lane.at, Point::new(dx, ys));
        lane.met.push((source, Point::new(dx, ys)));
        lane.at = Point::new(dx + pots_x + 5, middle);
        lane.node = Some(step.to);
        lane.met.push((step.to, lane.at));
        if !before_pot {
            lane.base = lane.base.max(middle);
        }
    }
}
