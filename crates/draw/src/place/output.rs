//! Output stages: the valves of each side one above the other, the transformer to their right,
//! loudspeakers to the right of that. Two valves on one cathode network stand mirrored.

use super::Desk;
use super::anchors::{Anchor, How, Step};
use super::lane::Lane;
use super::patch::Patch;
use super::stage::Manner;
use crate::geometry::{Dir, Point, Turn};
use crate::piece::PieceId;
use crate::plan::Class;
use crate::symbol::Form;
use std::collections::BTreeSet;
use wiring::circuit::{Electrode, NodeId};
use wiring::roles::{Block, BlockKind, Role};

/// One side of a pair: its valves, the node of their plates, and where the drive comes in.
#[derive(Debug, Clone)]
struct Half {
    valves: Vec<PieceId>,
    front: Option<NodeId>,
}

impl Desk<'_, '_> {
    pub(super) fn output(&mut self, lane: &mut Lane, anchor: &Anchor, before: Option<&Anchor>) {
        let plan = self.plan;
        let Some(block) = anchor.block.and_then(|b| plan.anatomy.blocks.get(b)) else {
            return;
        };
        if block.kind == BlockKind::SingleEnded {
            self.single_ended(lane, anchor, block, before.is_none() && lane.node.is_none());
            return;
        }
        let transformer = plan
            .in_block(block, Role::OutputTransformer)
            .first()
            .copied();
        let mut halves = self.halves(anchor, transformer);
        // Which output drives which side.
        let fronts: BTreeSet<NodeId> = halves.iter().filter_map(|h| h.front).collect();
        let mut drive: [Option<(Point, NodeId, Vec<Step>)>; 2] = [None, None];
        let starts = [lane.node.map(|n| (lane.at, n)), lane.second];
        for (k, start) in starts.iter().enumerate() {
            let Some((at, node)) = start else { continue };
            let ways = self.ways(&[*node], &fronts);
            let taken = drive[0].as_ref().and_then(|d| d.2.last().map(|s| s.to));
            if let Some((_, (_, way))) = ways
                .into_iter()
                .filter(|(n, _)| Some(*n) != taken)
                .min_by_key(|(n, (cost, _))| (*cost, *n))
            {
                drive[k] = Some((*at, *node, way));
            }
        }
        // The side of the upper output goes on top.
        if let Some((_, node, way)) = &drive[0] {
            let goal = way.last().map_or(*node, |s| s.to);
            if halves.len() == 2 && halves[1].front == Some(goal) {
                halves.swap(0, 1);
            }
        }
        let base = lane.base;
        let shared = self.shared_cathode(&halves);
        let mirrored = shared.is_some() && halves.iter().all(|h| h.valves.len() == 1);
        // Valves first, relative to the middle line, to know how far apart the sides stand.
        let mut stages: Vec<Patch> = Vec::new();
        let mut grids: Vec<Vec<(Point, NodeId)>> = Vec::new();
        for (k, half) in halves.iter().enumerate() {
            let mut column = Patch::default();
            let mut entries = Vec::new();
            let mut y = 0;
            for (i, valve) in half.valves.iter().copied().enumerate() {
                let stage = self.stage(
                    valve,
                    Manner {
                        flipped: mirrored && k == 1,
                        bare_cathode: mirrored,
                        ..Manner::default()
                    },
                );
                if i > 0 {
                    y = column.sink(&stage.patch, 0, y + 14);
                }
                column.merge(&stage.patch, 0, y);
                // The plate's way to the right.
                let py = if mirrored && k == 1 { y + 5 } else { y - 5 };
                column.keep(Point::new(0, py), Point::new(6, py));
                if let Some((p, n)) = stage.entry {
                    entries.push((p.by(0, y), n));
                }
            }
            // Plates side by side meet right of the screens.
            if half.valves.len() > 1 {
                let bus = column.extent().x1.div_euclid(crate::geometry::UNIT) + 2;
                let rows: Vec<i32> = column
                    .items
                    .iter()
                    .filter(|i| half.valves.contains(&i.piece))
                    .map(|i| i.at.y - 5)
                    .collect();
                for y in &rows {
                    column.keep(Point::new(0, *y), Point::new(bus, *y));
                }
                if let (Some(a), Some(b)) = (rows.iter().min(), rows.iter().max()) {
                    column.keep(Point::new(bus, *a), Point::new(bus, *b));
                }
            }
            stages.push(column);
            grids.push(entries);
        }
        let mut whole = Patch::default();
        let mut offsets = Vec::new();
        if let Some(first) = stages.first() {
            let gap = if mirrored { 13 } else { 4 };
            let bottom = first.extent().y1.div_euclid(crate::geometry::UNIT) + 1;
            // The first grid of the upper side, and the lower side under everything of the upper.
            let dy0 = if mirrored {
                -gap
            } else {
                let last = grids.first().and_then(|g| g.last()).map_or(0, |g| g.0.y);
                (-bottom - 1).min(-last - 10)
            };
            whole.merge(first, 0, dy0);
            offsets.push(dy0);
            if let Some(second) = stages.get(1) {
                let dy = if mirrored {
                    gap
                } else {
                    whole.sink(second, 0, 12)
                };
                whole.merge(second, 0, dy);
                offsets.push(dy);
            }
        }
        // The cathodes' name on their line, where something on the other side of the page is joined to them.
        if mirrored
            && let Some(k) = shared
            && plan.pins_at(k).iter().any(|(p, _)| plan.supply[*p])
        {
            whole.tag(plan, k, Point::new(-2, 0), Dir::Left);
            whole.keep(Point::new(-2, 0), Point::new(0, 0));
            self.tagged.insert(k);
        }
        if mirrored
            && let Some(k) = shared
            && let Some(down) = self.trees(k, 0)
        {
            let dx = whole.slide(&down, 4, 2);
            whole.merge(&down, dx, 2);
            whole.keep(Point::new(0, 0), Point::new(dx, 0));
        }
        // The ways to the fronts, each as a short lane of its own level.
        let start = lane.at.x;
        let mut right = start;
        let mut bus: Vec<Point> = Vec::new();
        for k in 0..halves.len() {
            let Some(front) = halves[k].front else {
                continue;
            };
            let y = base
                + offsets.get(k).copied().unwrap_or(0)
                + grids.get(k).and_then(|g| g.first()).map_or(0, |g| g.0.y);
            let mut sub = std::mem::take(lane);
            match drive[k].take() {
                Some((at, node, way)) => {
                    sub.at = at;
                    sub.node = Some(node);
                    sub.base = if k == 0 { y.max(at.y) } else { y };
                    self.walk(&mut sub, &way, false);
                    sub.base = y;
                    self.drop(&mut sub);
                }
                None => {
                    sub.at = Point::new(start, y);
                    sub.base = y;
                    let named = plan
                        .circuit
                        .nodes
                        .get(front.0)
                        .is_some_and(|n| !n.names.is_empty());
                    if named && !self.tagged.contains(&front) {
                        sub.patch.tag(plan, front, Point::new(0, y), Dir::Left);
                        sub.at = Point::new(0, y);
                        self.tagged.insert(front);
                    }
                }
            }
            sub.base = y;
            self.hang_here(&mut sub, front, false);
            right = right.max(sub.at.x);
            bus.push(sub.at);
            *lane = sub;
        }
        // Cut between the two fronts.
        if let (Some(a), Some(b)) = (
            halves.first().and_then(|h| h.front),
            halves.get(1).and_then(|h| h.front),
        ) && let (Some(pa), Some(pb)) = (bus.first().copied(), bus.get(1).copied())
        {
            right = self.cut(lane, a, b, pa, pb, right);
        }
        let entry = grids.iter().flatten().map(|(p, _)| p.x).min().unwrap_or(-4);
        let dx = lane.patch.slide(&whole, right + 2 - entry, base);
        for (k, p) in bus.iter().enumerate() {
            for (g, _) in grids.get(k).into_iter().flatten() {
                let y = base + offsets.get(k).copied().unwrap_or(0) + g.y;
                lane.patch
                    .keep(Point::new(p.x, p.y), Point::new(dx + entry - 1, p.y));
                lane.patch
                    .keep(Point::new(dx + entry - 1, y), Point::new(dx + g.x, y));
            }
        }
        lane.patch.merge(&whole, dx, base);
        lane.base = base;
        lane.second = None;
        lane.node = None;
        if let Some(t) = transformer {
            // The ways to screen taps lie inside those to the ends.
            let tapped = plan.symbols[t].pins.iter().enumerate().filter(|(k, pin)| {
                pin.at.x < 0
                    && plan
                        .node(t, *k)
                        .is_some_and(|n| plan.class(n) == Class::Signal)
            });
            let beside = whole.extent().x1.div_euclid(crate::geometry::UNIT) + 4;
            let x = if tapped.count() > 2 { beside.max(8) } else { 8 };
            self.load(lane, block, t, dx + x, base);
        }
    }

    /// Valves by the end of the primary that their plates are on.
    fn halves(&self, anchor: &Anchor, transformer: Option<PieceId>) -> Vec<Half> {
        let plan = self.plan;
        let p1 = transformer.and_then(|t| plan.node(t, 0));
        let mut sides: [Vec<PieceId>; 2] = [Vec::new(), Vec::new()];
        for v in &anchor.pieces {
            let plate = self.electrode(*v, Electrode::Plate).map(|e| e.1);
            let near_first = plate == p1
                || plate.is_some_and(|p| {
                    plan.pins_at(p).iter().any(|(q, _)| {
                        plan.beyond(*q, p)
                            .is_some_and(|(_, _, far)| Some(far) == p1)
                    })
                });
            sides[usize::from(!near_first)].push(*v);
        }
        sides
            .into_iter()
            .filter(|s| !s.is_empty())
            .map(|valves| {
                let front = valves.first().and_then(|v| {
                    let (_, g) = self.electrode(*v, Electrode::Grid)?;
                    let stopper = plan
                        .pins_at(g)
                        .iter()
                        .find(|(p, _)| !self.done[*p] && plan.has(*p, Role::GridStopper));
                    let front = stopper
                        .and_then(|(p, _)| plan.beyond(*p, g))
                        .map_or(g, |(_, _, far)| far);
                    (!plan.is_still(front)).then_some(front)
                });
                Half { valves, front }
            })
            .collect()
    }

    /// The one node of all cathodes, when it has parts of its own.
    fn shared_cathode(&self, halves: &[Half]) -> Option<NodeId> {
        if halves.len() != 2 {
            return None;
        }
        let mut nodes = halves
            .iter()
            .flat_map(|h| &h.valves)
            .map(|v| self.electrode(*v, Electrode::Cathode).map(|e| e.1));
        let first = nodes.next()??;
        (self.plan.class(first) == Class::Signal && nodes.all(|n| n == Some(first)))
            .then_some(first)
    }

    /// A capacitor and a control from one side to the other, upright between them.
    fn cut(
        &mut self,
        lane: &mut Lane,
        a: NodeId,
        b: NodeId,
        pa: Point,
        pb: Point,
        right: i32,
    ) -> i32 {
        let plan = self.plan;
        let pieces: Vec<PieceId> = plan
            .anatomy
            .blocks
            .iter()
            .filter(|k| k.kind == BlockKind::ToneCut)
            .flat_map(|k| k.parts.iter().filter_map(|(p, _)| plan.piece_of(*p)))
            .filter(|p| !self.done[*p])
            .collect();
        let mut order: Vec<(PieceId, usize)> = Vec::new();
        let mut node = a;
        while node != b {
            let Some(p) = pieces
                .iter()
                .copied()
                .find(|p| plan.beyond(*p, node).is_some() && !order.iter().any(|o| o.0 == *p))
            else {
                return right;
            };
            let Some((near, _, far)) = plan.beyond(p, node) else {
                return right;
            };
            order.push((p, near));
            node = far;
            if order.len() > 4 {
                return right;
            }
        }
        let length = i32::try_from(order.len()).unwrap_or(1) * 7;
        if order.is_empty() || pb.y - pa.y < length {
            return right;
        }
        let mut own = Patch::default();
        // Its foot comes to the lower side's own line, clear of the way that leads there.
        let mut y = pb.y - length - 1;
        own.keep(Point::new(0, pa.y + 1), Point::new(0, pb.y - 1));
        own.clear.clear();
        for (p, near) in order {
            self.done[p] = true;
            own.put_line(plan, p, near, Point::new(0, y), Dir::Down);
            y += 7;
        }
        let dx = lane.patch.slide(&own, right + 3, 0);
        lane.patch.merge(&own, dx, 0);
        lane.patch.keep(Point::new(dx, pa.y), Point::new(dx, pb.y));
        dx
    }

    fn single_ended(&mut self, lane: &mut Lane, anchor: &Anchor, block: &Block, first: bool) {
        let plan = self.plan;
        if first && let Some(node) = anchor.ins.first().copied() {
            self.name_entry(lane, node);
        }
        self.drop(lane);
        if let Some(node) = lane.node {
            self.hang_here(lane, node, false);
        }
        let mut column = Patch::default();
        let mut entry = None;
        let mut y = 0;
        for (i, valve) in anchor.pieces.iter().copied().enumerate() {
            let stage = self.stage(valve, Manner::default());
            if i > 0 {
                y = column.sink(&stage.patch, 0, y + 14);
            }
            column.merge(&stage.patch, 0, y);
            column.keep(Point::new(0, y - 6), Point::new(6, y - 6));
            entry = entry.or(stage.entry);
        }
        let ex = entry.map_or(-4, |e| e.0.x);
        let dx = lane.patch.slide(&column, lane.at.x + 1 - ex, lane.base);
        lane.patch.keep(lane.at, Point::new(dx + ex, lane.base));
        lane.patch.merge(&column, dx, lane.base);
        if let Some(t) = plan
            .in_block(block, Role::OutputTransformer)
            .first()
            .copied()
        {
            // The plate's line runs straight into the upper end of the primary.
            let top = plan
                .symbols
                .get(t)
                .and_then(|s| s.pins.first())
                .map_or(-3, |p| p.at.y);
            let base = lane.base;
            self.load(lane, block, t, dx + 8, base - 6 - top);
        }
        lane.node = None;
    }

    /// The transformer and what its secondary feeds.
    fn load(&mut self, lane: &mut Lane, block: &Block, t: PieceId, x: i32, y: i32) {
        let plan = self.plan;
        if self.done[t] {
            return;
        }
        self.done[t] = true;
        let mut own = Patch::default();
        own.put(plan, t, Point::new(0, 0), Turn::NONE);
        for (k, pin) in plan.symbols[t].pins.iter().enumerate() {
            let Some(n) = plan.node(t, k) else { continue };
            if plan.class(n) == Class::Rail {
                let at = pin.at.toward(pin.out, 3);
                own.tag(plan, n, at, Dir::Up);
                own.keep(pin.at, at);
            } else {
                own.keep(pin.at, pin.at.toward(pin.out, 2));
            }
        }
        // Loudspeakers and their sockets, hot end up, one after the other.
        let mut x2 = 9;
        let secondary = plan.symbols[t]
            .pins
            .iter()
            .enumerate()
            .filter(|(_, p)| p.at.x > 0)
            .collect::<Vec<_>>();
        let top = secondary.iter().map(|(_, p)| p.at.y).min().unwrap_or(-3);
        let mut pieces: Vec<PieceId> = plan
            .in_block(block, Role::Jack)
            .into_iter()
            .chain(plan.in_block(block, Role::SignalSwitch))
            .chain(plan.in_block(block, Role::SpeakerNetwork))
            .chain(plan.in_block(block, Role::Speaker))
            .filter(|p| !self.done[*p])
            .collect();
        pieces.dedup();
        for p in pieces {
            if self.done[p] {
                continue;
            }
            let mut one = Patch::default();
            let form = &plan.pieces[p].form;
            if matches!(form, Form::Jack(_) | Form::Phono) {
                self.done[p] = true;
                one.put(plan, p, Point::new(8, top), Turn::MIRROR);
                one.keep(Point::new(0, top), Point::new(4, top));
            } else if let Some([(pa, a), (_, b)]) = plan.line(p) {
                self.done[p] = true;
                // The cold end is the one on ground.
                let near = if plan.is_low(a) { 1 } else { pa };
                let _ = b;
                one.put_line(plan, p, near, Point::new(0, top + 2), Dir::Down);
                one.keep(Point::new(0, top), Point::new(0, top + 2));
            } else {
                continue;
            }
            let dx = own.slide(&one, x2, 0);
            own.merge(&one, dx, 0);
            x2 = dx + 2;
        }
        let dx = lane.patch.slide(&own, x, y);
        lane.patch.merge(&own, dx, y);
        lane.at = Point::new(dx + x2, y);
        let _ = How::Series;
    }
}
