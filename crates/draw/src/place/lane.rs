//! A lane: the chain of anchors laid out from left to right, on one base line as far as it goes.

use super::Desk;
use super::anchors::{Anchor, Chain, How, Sort, Step};
use super::patch::Patch;
use super::stage::Manner;
use crate::geometry::{Dir, Point, Turn};
use crate::piece::PieceId;
use crate::plan::Class;
use crate::symbol::Form;
use wiring::circuit::{Electrode, NodeId};
use wiring::roles::{BlockKind, Role};

/// A lane under construction.
#[derive(Debug, Default)]
pub(super) struct Lane {
    pub(super) patch: Patch,
    /// Where the signal is now.
    pub(super) at: Point,
    /// Grid line of the stages to come.
    pub(super) base: i32,
    /// Its node.
    pub(super) node: Option<NodeId>,
    /// A second output, of an inverter: where and which node.
    pub(super) second: Option<(Point, NodeId)>,
    /// Where each node of the way was met, for lanes that come from it or run into it.
    pub(super) met: Vec<(NodeId, Point)>,
}

impl Lane {
    fn meet(&mut self, node: NodeId, at: Point) {
        self.met.push((node, at));
    }
}

impl Desk<'_, '_> {
    pub(super) fn lane(&mut self, anchors: &[Anchor], chain: &Chain) -> Lane {
        let mut lane = Lane::default();
        for (k, (a, way)) in chain.links.iter().enumerate() {
            let anchor = &anchors[*a];
            if k > 0 {
                // Two ways lead from an inverter to an output pair.
                let before = &anchors[chain.links[k - 1].0];
                if anchor.sort == Sort::Output
                    && (before.sort == Sort::Inverter || before.outs.len() > 1)
                {
                    self.output(&mut lane, anchor, Some(before));
                    continue;
                }
                self.walk(&mut lane, way, true);
            }
            match anchor.sort {
                Sort::Input => self.input(&mut lane, anchor, k == 0),
                Sort::Stage => self.plain_stage(&mut lane, anchor, k == 0),
                Sort::Inverter => self.inverter(&mut lane, anchor, k == 0),
                Sort::Output => self.output(&mut lane, anchor, None),
                Sort::Through => self.through(&mut lane, anchor),
                Sort::Open => self.open_end(&mut lane, anchor, k == 0),
            }
        }
        if !chain.tail.is_empty() {
            self.walk(&mut lane, &chain.tail, false);
        } else if chain.joins.is_none() {
            self.dangling(&mut lane);
        }
        lane
    }

    /// Follows what leads on from a dead end, as far as it goes.
    fn dangling(&mut self, lane: &mut Lane) {
        for _ in 0..6 {
            let Some(node) = lane.node else { return };
            let all = self.ways(
                &[node],
                &(0..self.plan.circuit.nodes.len()).map(NodeId).collect(),
            );
            let next = all
                .into_iter()
                .filter(|(n, (_, way))| *n != node && way.len() == 1 && !self.ports.contains(n))
                .min_by_key(|(n, (cost, _))| (*cost, *n));
            let Some((_, (_, way))) = next else { return };
            self.walk(lane, &way, false);
            if let Some(node) = lane.node {
                self.hang_here(lane, node, false);
            }
        }
    }

    /// Lays the steps of a way. `to_grid`: a stage follows.
    pub(super) fn walk(&mut self, lane: &mut Lane, way: &[Step], to_grid: bool) {
        for (i, step) in way.iter().enumerate() {
            if self.done[step.piece] {
                continue;
            }
            match step.how {
                How::Tone(b) => {
                    let before_pot = way.get(i + 1).is_some_and(|s| s.how == How::Down);
                    self.tone(lane, b, step, before_pot);
                }
                How::Down => self.control(lane, step),
                How::Series | How::Back => {
                    let rest = &way[i + 1..];
                    let drops = lane.at.y < lane.base
                        && !rest
                            .iter()
                            .any(|s| s.how != How::Down && s.how != How::Back)
                        && rest.is_empty();
                    self.series(lane, step);
                    if drops && to_grid {
                        self.drop(lane);
                    }
                    let next_down = rest.first().is_some_and(|s| s.how == How::Down);
                    if !next_down && !rest.is_empty() {
                        self.hang_here(lane, step.to, false);
                    }
                }
            }
        }
    }

    /// Comes down (or up) to the base line.
    pub(super) fn drop(&mut self, lane: &mut Lane) {
        if lane.at.y == lane.base {
            return;
        }
        let mut down = Patch::default();
        down.keep(Point::new(0, lane.at.y), Point::new(0, lane.base));
        let dx = lane.patch.slide(&down, lane.at.x + 1, 0);
        lane.patch.keep(lane.at, Point::new(dx, lane.at.y));
        lane.patch.merge(&down, dx, 0);
        lane.at = Point::new(dx, lane.base);
    }

    /// What hangs from the node where the lane is now.
    pub(super) fn hang_here(&mut self, lane: &mut Lane, node: NodeId, may_drop: bool) {
        if self.plan.is_still(node) {
            return;
        }
        let up = self.rises(node);
        let down = self.trees(node, 0);
        if (up.is_some() || down.is_some()) && may_drop {
            self.drop(lane);
        }
        if let Some(up) = up {
            let dx = lane.patch.slide(&up, lane.at.x + 1, lane.at.y - 2);
            lane.patch.merge(&up, dx, lane.at.y - 2);
            lane.patch.keep(lane.at, Point::new(dx, lane.at.y));
            lane.at.x = dx;
        }
        if let Some(down) = down {
            let dx = lane.patch.slide(&down, lane.at.x + 1, lane.at.y + 2);
            lane.patch.merge(&down, dx, lane.at.y + 2);
            lane.patch.keep(lane.at, Point::new(dx, lane.at.y));
            // Go on beyond the last of the columns only at this level.
            lane.at.x = dx;
        }
    }

    /// Other free line pieces between the same two nodes.
    pub(super) fn beside(&self, piece: PieceId, a: NodeId, b: NodeId) -> Vec<PieceId> {
        let mut out: Vec<PieceId> = self
            .plan
            .pins_at(a)
            .iter()
            .map(|(p, _)| *p)
            .filter(|p| {
                *p != piece
                    && !self.done[*p]
                    && !self.plan.supply[*p]
                    && self.plan.beyond(*p, a).is_some_and(|(_, _, far)| far == b)
            })
            .collect();
        out.dedup();
        out
    }

    /// A part in line, with whatever lies across it.
    fn series(&mut self, lane: &mut Lane, step: &Step) {
        let plan = self.plan;
        self.done[step.piece] = true;
        let mut patch = Patch::default();
        let o = Point::new(0, 0);
        let length;
        if plan.line(step.piece).is_some() {
            patch.put_line(plan, step.piece, step.enter, o, Dir::Right);
            length = 6;
        } else {
            // A control the wrong way round, or a pole: as its symbol has it.
            let (at, turn) = plan.lay(step.piece, step.enter, o, Dir::Right);
            patch.put(plan, step.piece, at, turn);
            length = plan.pin(step.piece, step.leave, at, turn).at.x.max(1);
            let leave = plan.pin(step.piece, step.leave, at, turn).at;
            if leave.y != 0 {
                patch.keep(leave, Point::new(leave.x + 1, leave.y));
            }
        }
        let across = self.beside(step.piece, step.from, step.to);
        for (i, p) in across.into_iter().enumerate() {
            let Some((near, _, _)) = plan.beyond(p, step.from) else {
                continue;
            };
            self.done[p] = true;
            let y = -4 - 4 * i32::try_from(i).unwrap_or(0);
            let dx = (length - 6) / 2;
            patch.put_line(plan, p, near, Point::new(dx, y), Dir::Right);
            patch.keep(Point::new(-1, y), Point::new(-1, 0));
            patch.keep(Point::new(length + 1, y), Point::new(length + 1, 0));
        }
        patch.keep(Point::new(-1, 0), Point::new(length + 1, 0));
        let dx = lane.patch.slide(&patch, lane.at.x + 2, lane.at.y);
        lane.patch.merge(&patch, dx, lane.at.y);
        lane.patch.keep(lane.at, Point::new(dx, lane.at.y));
        lane.meet(step.from, lane.at);
        lane.at = Point::new(dx + length + 1, lane.at.y);
        lane.node = Some(step.to);
        lane.meet(step.to, lane.at);
    }

    /// Pieces in series between two nodes through private points, two at most.
    fn chain_between(&self, a: NodeId, b: NodeId, not: PieceId) -> Option<Vec<(PieceId, usize)>> {
        let plan = self.plan;
        let free = |p: &PieceId| *p != not && !self.done[*p] && !plan.supply[*p];
        for (p, _) in plan.pins_at(a).iter().filter(|(p, _)| free(p)) {
            let Some((near, _, mid)) = plan.beyond(*p, a) else {
                continue;
            };
            if mid == b {
                return Some(vec![(*p, near)]);
            }
            if plan.is_still(mid) || plan.pins_at(mid).len() != 2 {
                continue;
            }
            for (q, _) in plan.pins_at(mid).iter().filter(|(q, _)| free(q) && q != p) {
                if let Some((near2, _, far)) = plan.beyond(*q, mid)
                    && far == b
                {
                    return Some(vec![(*p, near), (*q, near2)]);
                }
            }
        }
        None
    }

    /// A control from signal to ground: upright, its wiper leads on.
    fn control(&mut self, lane: &mut Lane, step: &Step) {
        let plan = self.plan;
        self.done[step.piece] = true;
        let turn = if step.enter == 2 {
            Turn::NONE
        } else {
            Turn::FLIP
        };
        // Middle of the track; from the plate line the wiper comes out on the base line.
        let above = lane.base - lane.at.y;
        let middle = if above >= 3 { lane.base } else { lane.at.y + 3 };
        let mut patch = Patch::default();
        patch.put(plan, step.piece, Point::new(0, middle), turn);
        let top = middle - 3;
        if lane.at.y != top {
            patch.keep(Point::new(0, lane.at.y), Point::new(0, top));
        }
        let far_pin = if step.enter == 2 { 0 } else { 2 };
        if let Some(far) = plan.node(step.piece, far_pin)
            && plan.class(far) == Class::Signal
        {
            if let Some(below) = self.trees(far, 0) {
                patch.merge(&below, 0, middle + 5);
                patch.keep(Point::new(0, middle + 3), Point::new(0, middle + 5));
            }
        } else if let Some(far) = plan.node(step.piece, far_pin)
            && plan.class(far) == Class::Bias
        {
            patch.tag(plan, far, Point::new(0, middle + 3), Dir::Down);
        }
        let mut out = 4;
        let mut across = Vec::new();
        for _ in 0..2 {
            let Some(found) = self.chain_between(step.from, step.to, step.piece) else {
                break;
            };
            for (p, _) in &found {
                self.done[*p] = true;
            }
            across.push(found);
        }
        for (i, found) in across.iter().enumerate() {
            let mut x = 2;
            let level = lane.at.y.min(top - 1) - 4 * i32::try_from(i).unwrap_or(0);
            let mut row = Patch::default();
            for (p, near) in found {
                row.put_line(plan, *p, *near, Point::new(x, level), Dir::Right);
                x += 7;
            }
            row.keep(Point::new(0, level), Point::new(x, level));
            let dy = if patch.fits(&row, 0, 0) { 0 } else { -3 };
            patch.merge(&row, 0, dy);
            patch.keep(Point::new(x, level + dy), Point::new(x, middle));
            out = out.max(x + 1);
        }
        if let Some(x) = self.across_the_control(&mut patch, step, lane.at.y.min(top - 1), middle) {
            out = out.max(x);
        }
        patch.keep(Point::new(3, middle), Point::new(out, middle));
        let dx = lane.patch.slide(&patch, lane.at.x + 2, 0);
        lane.patch.merge(&patch, dx, 0);
        lane.patch.keep(lane.at, Point::new(dx, lane.at.y));
        lane.meet(step.from, Point::new(dx, lane.at.y));
        lane.base = middle.max(lane.base);
        lane.at = Point::new(dx + out, middle);
        lane.node = Some(step.to);
        lane.meet(step.to, lane.at);
    }

    /// A tone control on the same wiper, its one end on the control's top through a capacitor: below the line, right of
    /// the control. Gives where the line goes on.
    fn across_the_control(
        &mut self,
        patch: &mut Patch,
        step: &Step,
        level: i32,
        middle: i32,
    ) -> Option<i32> {
        let plan = self.plan;
        let free = |d: &Self, p: PieceId| !d.done[p] && !plan.supply[p];
        let (pot, end, part, near, other) = plan
            .pins_at(step.to)
            .iter()
            .filter(|(p, pin)| {
                *pin == 1
                    && *p != step.piece
                    && free(self, *p)
                    && plan.pieces[*p].form == Form::Pot
                    && plan.line(*p).is_none()
            })
            .flat_map(|(p, _)| [(*p, 2_usize), (*p, 0)])
            .find_map(|(pot, end)| {
                let node = plan.node(pot, end)?;
                let (part, near) = plan.pins_at(node).iter().find_map(|(q, _)| {
                    let (_, near, far) = plan.beyond(*q, node)?;
                    (free(self, *q) && far == step.from).then_some((*q, near))
                })?;
                Some((pot, end, part, near, plan.node(pot, 2 - end)))
            })?;
        let mut own = Patch::default();
        let foot = own.put_line(plan, part, near, Point::new(2, level), Dir::Right);
        own.keep(Point::new(0, level), Point::new(2, level));
        let x = foot.x + 2;
        let turn = if end == 2 { Turn::NONE } else { Turn::FLIP };
        own.put(plan, pot, Point::new(x, middle + 8), turn);
        self.done[part] = true;
        self.done[pot] = true;
        own.keep(foot, Point::new(x, level));
        own.keep(Point::new(x, level), Point::new(x, middle + 5));
        own.keep(Point::new(x + 3, middle), Point::new(x + 3, middle + 8));
        if let Some(below) = other.and_then(|n| self.trees(n, 0)) {
            own.merge(&below, x, middle + 13);
            own.keep(Point::new(x, middle + 11), Point::new(x, middle + 13));
        }
        let dx = patch.slide(&own, 0, 0);
        patch.merge(&own, dx, 0);
        Some(dx + x + 4)
    }

    fn open_end(&mut self, lane: &mut Lane, anchor: &Anchor, first: bool) {
        let Some(node) = anchor.ins.first().copied() else {
            return;
        };
        if first {
            lane.patch.tag(self.plan, node, Point::new(0, 0), Dir::Left);
            lane.at = Point::new(0, 0);
            lane.node = Some(node);
        } else {
            let mut end = Patch::default();
            end.tag(self.plan, node, Point::new(0, 0), Dir::Right);
            let dx = lane.patch.slide(&end, lane.at.x + 1, lane.at.y);
            lane.patch.merge(&end, dx, lane.at.y);
            lane.patch.keep(lane.at, Point::new(dx, lane.at.y));
            lane.at = Point::new(dx, lane.at.y);
        }
        self.tagged.insert(node);
        self.hang_here(lane, node, false);
    }

    /// A named tag on the left, where a lane begins with a stage whose input has a name.
    pub(super) fn name_entry(&mut self, lane: &mut Lane, node: NodeId) {
        let named = !self.fed.contains(&node)
            && self
                .plan
                .circuit
                .nodes
                .get(node.0)
                .is_some_and(|n| !n.names.is_empty());
        lane.at = Point::new(0, lane.base);
        lane.node = Some(node);
        if named && !self.tagged.contains(&node) {
            lane.patch.tag(self.plan, node, lane.at, Dir::Left);
            self.tagged.insert(node);
        }
        lane.meet(node, lane.at);
    }

    /// A stage of one output, and the sections wired side by side with it.
    pub(super) fn plain_stage(&mut self, lane: &mut Lane, anchor: &Anchor, first: bool) {
        let plan = self.plan;
        let Some(valve) = anchor.pieces.first().copied() else {
            return;
        };
        let block = anchor.block.and_then(|b| plan.anatomy.blocks.get(b));
        let follower =
            block.is_some_and(|b| b.kind == BlockKind::Follower) || self.plate_on_rail(valve);
        let oscillator = block.is_some_and(|b| b.kind == BlockKind::TremoloOscillator);
        if oscillator && first {
            self.ladder(lane, valve);
        } else if first && let Some(node) = anchor.ins.first().copied() {
            self.name_entry(lane, node);
            self.hang_here(lane, node, false);
        }
        // A grid on a plate, or a follower: its grid stays on the plate line.
        let level = if follower { lane.at.y } else { lane.base };
        if !follower && lane.at.y != lane.base {
            self.drop(lane);
        }
        if !first && let Some(node) = lane.node {
            self.hang_here(lane, node, false);
        }
        let mut stage = self.stage(
            valve,
            Manner {
                follower,
                ..Manner::default()
            },
        );
        // Further sections stand to the right on the same line: plates joined above, cathodes below.
        let mut x = 0;
        for more in anchor.pieces.iter().skip(1).copied() {
            let next = self.stage(more, Manner::default());
            x = stage.patch.slide(&next.patch, x + 11, 0);
            stage.patch.merge(&next.patch, x, 0);
            if let (Some((p, n)), Some((q, m))) = (stage.exit, next.exit)
                && n == m
            {
                let joint = q.by(x, 0);
                stage.patch.keep(p, joint);
                stage.exit = Some((joint, n));
            }
        }
        let transformer = block.and_then(|b| {
            plan.in_block(b, Role::DriverTransformer)
                .into_iter()
                .find(|p| !self.done[*p])
        });
        let entry = stage.entry.map_or(-4, |e| e.0.x);
        let dx = lane.patch.slide(&stage.patch, lane.at.x + 1 - entry, level);
        if let Some((p, _)) = stage.entry {
            lane.patch.keep(lane.at, Point::new(dx + p.x, level + p.y));
        }
        lane.patch.merge(&stage.patch, dx, level);
        if let Some((p, n)) = stage.entry {
            lane.meet(n, Point::new(dx + p.x, level + p.y));
        }
        if let Some((p, n)) = stage.exit {
            lane.at = Point::new(dx + p.x, level + p.y);
            lane.node = Some(n);
            lane.meet(n, lane.at);
            if follower {
                lane.base = lane.base.max(lane.at.y);
            }
        } else {
            lane.at = Point::new(dx + 4, level);
            lane.node = None;
        }
        if let Some(t) = transformer {
            self.driver_transformer(lane, t);
        }
    }

    /// The ladder of an oscillator: from the plate on the far left to the grid.
    fn ladder(&mut self, lane: &mut Lane, valve: PieceId) {
        let plan = self.plan;
        let (Some((_, plate)), Some((_, grid))) = (
            self.electrode(valve, Electrode::Plate),
            self.electrode(valve, Electrode::Grid),
        ) else {
            return;
        };
        let own = [
            Role::OscillatorCapacitor,
            Role::OscillatorResistor,
            Role::SpeedControl,
        ];
        // Breadth first from plate to grid over the oscillator's own parts.
        let mut from: std::collections::BTreeMap<NodeId, Step> = std::collections::BTreeMap::new();
        let mut ahead = std::collections::VecDeque::from([plate]);
        while let Some(n) = ahead.pop_front() {
            if n == grid {
                break;
            }
            for (p, _) in plan.pins_at(n) {
                if self.done[*p] || !plan.has_any(*p, &own) {
                    continue;
                }
                if let Some((near, far, to)) = plan.beyond(*p, n)
                    && !plan.is_still(to)
                    && to != plate
                    && !from.contains_key(&to)
                {
                    from.insert(
                        to,
                        Step {
                            piece: *p,
                            enter: near,
                            leave: far,
                            from: n,
                            to,
                            how: How::Series,
                        },
                    );
                    ahead.push_back(to);
                }
            }
        }
        let mut way = Vec::new();
        let mut at = grid;
        while let Some(step) = from.get(&at) {
            way.push(*step);
            at = step.from;
            if way.len() > 20 {
                return;
            }
        }
        way.reverse();
        lane.at = Point::new(0, lane.base);
        lane.node = Some(plate);
        self.walk(lane, &way, true);
    }

    /// Entry on the left, exit on the right.
    fn through(&mut self, lane: &mut Lane, anchor: &Anchor) {
        let plan = self.plan;
        let Some(piece) = anchor.pieces.first().copied() else {
            return;
        };
        if self.done[piece] {
            return;
        }
        self.done[piece] = true;
        let mut patch = Patch::default();
        let mut jacks: Vec<PieceId> = Vec::new();
        if let Some(b) = anchor.block.and_then(|b| plan.anatomy.blocks.get(b)) {
            jacks = plan.in_block(b, Role::Jack);
            jacks.retain(|j| !self.done[*j]);
        }
        let entry = plan.pin(piece, 0, Point::default(), Turn::NONE).at;
        let exit_pin = match plan.pieces[piece].form {
            Form::Tank => 2,
            _ => 1,
        };
        let exit = plan.pin(piece, exit_pin, Point::default(), Turn::NONE).at;
        patch.put(plan, piece, Point::default(), Turn::NONE);
        patch.keep(entry, entry.by(-2, 0));
        patch.keep(exit, exit.by(2, 0));
        // Sockets stand at their end of the leads: turned toward the tank.
        for jack in jacks {
            let nodes: Vec<NodeId> = plan.pieces[jack].nodes.iter().copied().flatten().collect();
            let drives = anchor.ins.iter().any(|n| nodes.contains(n));
            self.done[jack] = true;
            let mut socket = Patch::default();
            let (x, turn) = if drives {
                (entry.x - 7, Turn::NONE)
            } else {
                (exit.x + 7, Turn::MIRROR)
            };
            socket.put(plan, jack, Point::default(), turn);
            let y = entry.y + 5;
            let dy = patch.sink(&socket, x, y);
            patch.merge(&socket, x, dy);
        }
        let dx = lane
            .patch
            .slide(&patch, lane.at.x + 2 - entry.x, lane.at.y - entry.y);
        lane.patch.merge(&patch, dx, lane.at.y - entry.y);
        lane.patch
            .keep(lane.at, Point::new(dx + entry.x, lane.at.y));
        lane.at = Point::new(dx + exit.x + 1, lane.at.y - entry.y + exit.y);
        lane.base = lane.base.max(lane.at.y);
        lane.node = anchor.outs.first().copied();
        if let Some(n) = lane.node {
            lane.meet(n, lane.at);
            self.hang_here(lane, n, false);
        }
    }

    /// A transformer between a stage and what it drives.
    fn driver_transformer(&mut self, lane: &mut Lane, t: PieceId) {
        let plan = self.plan;
        self.done[t] = true;
        let mut patch = Patch::default();
        let entry = plan.pin(t, 0, Point::default(), Turn::NONE).at;
        patch.put(plan, t, Point::default(), Turn::NONE);
        patch.keep(entry, entry.by(-2, 0));
        for (k, pin) in plan.symbols[t].pins.iter().enumerate() {
            if let Some(n) = plan.node(t, k)
                && plan.class(n) == Class::Rail
            {
                let at = pin.at.toward(pin.out, 2);
                patch.tag(plan, n, at, Dir::Up);
                patch.keep(pin.at, at);
            }
        }
        let dx = lane
            .patch
            .slide(&patch, lane.at.x + 2 - entry.x, lane.at.y - entry.y);
        lane.patch.merge(&patch, dx, lane.at.y - entry.y);
        lane.patch
            .keep(lane.at, Point::new(dx + entry.x, lane.at.y));
        let out = (0..plan.symbols[t].pins.len())
            .filter(|k| plan.symbols[t].pins[*k].at.x > 0)
            .find(|k| plan.node(t, *k).is_some_and(|n| !plan.is_still(n)));
        if let Some(k) = out {
            let p = plan
                .pin(t, k, Point::new(dx, lane.at.y - entry.y), Turn::NONE)
                .at;
            lane.at = p.by(1, 0);
            lane.node = plan.node(t, k);
        } else {
            lane.at = Point::new(dx + 5, lane.at.y);
        }
        lane.base = lane.at.y.max(lane.base);
        lane.base = lane.at.y;
    }
}
