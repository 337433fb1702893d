//! Phase inverters: two outputs, the upper and the lower one of what follows.

use super::Desk;
use super::anchors::Anchor;
use super::lane::Lane;
use super::patch::Patch;
use super::stage::{Manner, Stage};
use crate::geometry::{Dir, Point};
use crate::piece::PieceId;
use wiring::circuit::{Electrode, NodeId};
use wiring::roles::{BlockKind, Role};

impl Desk<'_, '_> {
    pub(super) fn inverter(&mut self, lane: &mut Lane, anchor: &Anchor, first: bool) {
        let kind = anchor
            .block
            .and_then(|b| self.plan.anatomy.blocks.get(b))
            .map(|b| b.kind);
        if first && let Some(node) = anchor.ins.first().copied() {
            self.name_entry(lane, node);
        }
        match (kind, anchor.pieces.as_slice()) {
            (Some(BlockKind::LongTailedPair), [a, b, ..]) => {
                self.long_tailed(lane, *a, *b, anchor);
            }
            (Some(BlockKind::Paraphase), [a, b, ..]) => self.paraphase(lane, *a, *b),
            _ => self.cathodyne(lane, anchor),
        }
    }

    /// Joins a stage to the lane: its entry comes to the lane's end.
    fn attach(&mut self, lane: &mut Lane, stage: &Stage, level: i32) -> i32 {
        let entry = stage.entry.map_or(-4, |e| e.0.x);
        let dx = lane.patch.slide(&stage.patch, lane.at.x + 1 - entry, level);
        if let Some((p, n)) = stage.entry {
            lane.patch
                .keep(Point::new(lane.at.x, level + p.y), p.by(dx, level));
            lane.met.push((n, p.by(dx, level)));
        }
        lane.patch.merge(&stage.patch, dx, level);
        dx
    }

    /// Equal loads in plate and cathode: the upper output from the plate, the lower from the cathode.
    fn cathodyne(&mut self, lane: &mut Lane, anchor: &Anchor) {
        let plan = self.plan;
        let Some(valve) = anchor.pieces.first().copied() else {
            return;
        };
        // A grid on the plate before it stays on the plate line.
        let direct = lane.at.y < lane.base
            && self
                .electrode(valve, Electrode::Grid)
                .is_some_and(|(_, g)| lane.node == Some(g));
        let level = if direct { lane.at.y } else { lane.base };
        if !direct {
            self.drop(lane);
        }
        // The leak to the junction of the two cathode resistors stands left of the valve.
        let grid = self.electrode(valve, Electrode::Grid).map(|e| e.1);
        let leak = grid.and_then(|g| {
            plan.pins_at(g).iter().map(|(p, _)| *p).find(|p| {
                !self.done[*p]
                    && plan.has(*p, Role::GridLeak)
                    && plan
                        .beyond(*p, g)
                        .is_some_and(|(_, _, far)| !plan.is_still(far))
            })
        });
        if let Some(l) = leak {
            self.done[l] = true;
        }
        let mut stage = self.stage(valve, Manner::default());
        if let (Some(l), Some(g)) = (leak, grid)
            && let Some((near, _, _)) = plan.beyond(l, g)
        {
            let mut own = Patch::default();
            own.put_line(plan, l, near, Point::new(0, 2), Dir::Down);
            own.keep(Point::new(0, 0), Point::new(0, 2));
            let mut x = stage.entry.map_or(-4, |e| e.0.x) - 2;
            while !stage.patch.fits(&own, x, 0) {
                x -= 1;
            }
            stage.patch.merge(&own, x, 0);
            if let Some((p, n)) = stage.entry {
                stage.patch.keep(Point::new(x, 0), p);
                stage.entry = Some((Point::new(x, p.y), n));
            }
        }
        if !direct && let Some(node) = lane.node {
            self.hang_here(lane, node, false);
        }
        let dx = self.attach(lane, &stage, level);
        lane.base = level;
        let cathode = self.electrode(valve, Electrode::Cathode).map(|e| e.1);
        let outs = &anchor.outs;
        if let Some((p, n)) = stage.exit {
            lane.at = p.by(dx, level);
            lane.node = Some(n);
            lane.met.push((n, lane.at));
        }
        let low = outs.iter().copied().find(|n| Some(*n) != lane.node);
        let low = low.or(cathode);
        lane.second = low.map(|n| (Point::new(dx, level + 5), n));
    }

    /// Two sections face to face, both loads up, the tail between them.
    fn long_tailed(&mut self, lane: &mut Lane, a: PieceId, b: PieceId, anchor: &Anchor) {
        let plan = self.plan;
        self.drop(lane);
        let grid = |d: &Self, p: PieceId| d.electrode(p, Electrode::Grid).map(|e| e.1);
        let driven = |d: &Self, p: PieceId| {
            grid(d, p).is_some_and(|g| anchor.ins.contains(&g) || lane.node == Some(g))
        };
        let (a, b) = if driven(self, a) || !driven(self, b) {
            (a, b)
        } else {
            (b, a)
        };
        let cathode = self.electrode(a, Electrode::Cathode).map(|e| e.1);
        let bare = Manner {
            bare_cathode: true,
            ..Manner::default()
        };
        let left = self.stage(a, bare);
        let right = self.stage(
            b,
            Manner {
                mirrored: true,
                ..bare
            },
        );
        let mut patch = left.patch.clone();
        let half = 8;
        patch.merge(&right.patch, 2 * half, 0);
        // The tail: shared resistor, junction, tail, foot.
        let mut tail_node = None;
        let mut foot_node = None;
        let mut foot_y = 6;
        if let Some(k) = cathode {
            patch.keep(Point::new(0, 6), Point::new(2 * half, 6));
            let mut y = 6;
            let mut node = k;
            for _ in 0..4 {
                let next = plan.pins_at(node).iter().map(|(p, _)| *p).find(|p| {
                    !self.done[*p]
                        && plan.has_any(
                            *p,
                            &[
                                Role::CathodeResistor,
                                Role::Tail,
                                Role::FeedbackShunt,
                                Role::CathodeLoad,
                            ],
                        )
                        && plan.beyond(*p, node).is_some()
                });
                let Some(p) = next else { break };
                let Some((near, _, far)) = plan.beyond(p, node) else {
                    break;
                };
                self.done[p] = true;
                patch.put_line(plan, p, near, Point::new(half, y + 1), Dir::Down);
                y += 8;
                if plan.is_still(far) {
                    foot_y = y;
                    break;
                }
                if tail_node.is_none() {
                    tail_node = Some((far, y));
                } else if foot_node.is_none() {
                    foot_node = Some((far, y));
                }
                node = far;
                foot_y = y;
            }
        }
        // Leaks: the left one outside the left grid, the right one outside the right grid.
        let mut leftmost = left.entry.map_or(-4, |e| e.0.x);
        let mut rightmost = half;
        for (g, mirrored) in [(grid(self, a), false), (grid(self, b), true)] {
            let Some(g) = g else { continue };
            let pieces: Vec<PieceId> = plan
                .pins_at(g)
                .iter()
                .map(|(p, _)| *p)
                .filter(|p| {
                    !self.done[*p]
                        && plan.has_any(*p, &[Role::GridLeak, Role::GridGround])
                        && plan.beyond(*p, g).is_some()
                })
                .collect();
            for p in pieces {
                let Some((near, _, far)) = plan.beyond(p, g) else {
                    continue;
                };
                self.done[p] = true;
                let mut own = Patch::default();
                own.put_line(plan, p, near, Point::new(0, 2), Dir::Down);
                own.keep(Point::new(0, 0), Point::new(0, 2));
                if plan.class(far) == crate::plan::Class::Bias {
                    own.tag(plan, far, Point::new(0, 8), Dir::Down);
                }
                let mut x = if mirrored { 2 * half + 6 } else { leftmost - 2 };
                while !patch.fits(&own, x, 0) {
                    x += if mirrored { 1 } else { -1 };
                }
                patch.merge(&own, x, 0);
                if mirrored {
                    patch.keep(Point::new(2 * half + 4, 0), Point::new(x, 0));
                    rightmost = x;
                } else {
                    patch.keep(Point::new(x, 0), Point::new(-4, 0));
                    leftmost = x;
                }
            }
        }
        // What hangs from the foot: presence, and the resistor that brings the feedback.
        if let Some((node, y)) = foot_node.or(tail_node) {
            if let Some(down) = self.trees(node, 0) {
                let dx = patch.slide(&down, half + 6, y + 2);
                patch.merge(&down, dx, y + 2);
                patch.keep(Point::new(half, y), Point::new(dx, y));
            }
            // Beyond what hangs at the right grid, whose wires come down to the tail.
            self.feedback_at(&mut patch, node, Point::new(rightmost.max(half + 6) + 2, y));
        }
        let _ = foot_y;
        let extra = grid(self, a)
            .and_then(|g| (!self.ports.contains(&g) || lane.node == Some(g)).then_some(g));
        if let Some(g) = extra {
            self.hang_here(lane, g, false);
        }
        let stage = Stage {
            patch,
            entry: left
                .entry
                .map(|(p, n)| (Point::new(leftmost.min(p.x), p.y), n)),
            exit: None,
        };
        let level = lane.base;
        let dx = self.attach(lane, &stage, level);
        // The left plate goes out over the right one's rail, the right one straight on.
        let top = -19;
        if let Some((p, n)) = left.exit {
            let up = Point::new(p.x + dx + 7, level + p.y);
            lane.at = Point::new(up.x, level + top);
            lane.patch.keep(up, lane.at);
            lane.patch.keep(Point::new(p.x + dx, level + p.y), up);
            lane.node = Some(n);
            lane.met.push((n, lane.at));
        }
        lane.second = right.exit.map(|(p, n)| (p.by(dx + 2 * half, level), n));
    }

    /// The resistor from the loudspeaker side, level, to the right of where it lands.
    pub(super) fn feedback_at(&mut self, patch: &mut Patch, node: NodeId, from: Point) {
        let plan = self.plan;
        let found: Vec<PieceId> = plan
            .pins_at(node)
            .iter()
            .map(|(p, _)| *p)
            .filter(|p| !self.done[*p] && plan.has(*p, Role::FeedbackResistor))
            .collect();
        for p in found {
            let Some((near, _, _)) = plan.beyond(p, node) else {
                continue;
            };
            self.done[p] = true;
            let mut own = Patch::default();
            own.put_line(plan, p, near, Point::new(0, 0), Dir::Right);
            own.keep(Point::new(0, 0), Point::new(8, 0));
            let dx = patch.slide(&own, from.x, from.y);
            patch.merge(&own, dx, from.y);
        }
    }

    /// What brings the second section its signal, outside its grid: the leak, and the capacitor before it.
    fn tap(&mut self, patch: &mut Patch, valve: PieceId, entry: Option<(Point, NodeId)>, out: Dir) {
        let plan = self.plan;
        let (Some((at, _)), Some((_, grid))) = (entry, self.electrode(valve, Electrode::Grid))
        else {
            return;
        };
        let step = out.step().0;
        let mut x = at.x + 2 * step;
        if let Some(down) = self.trees(grid, 0) {
            while !patch.fits(&down, x, at.y + 2) {
                x += step;
            }
            patch.merge(&down, x, at.y + 2);
        }
        if let Some((c, near)) = self.coupling(grid) {
            self.done[c] = true;
            let end = patch.put_line(plan, c, near, Point::new(x + step, at.y), out);
            patch.keep(end, end.toward(out, 2));
            x = end.x;
        }
        patch.keep(Point::new(x, at.y), at);
    }

    /// The capacitor before a grid, from a point that no valve is on.
    fn coupling(&self, grid: NodeId) -> Option<(PieceId, usize)> {
        let plan = self.plan;
        plan.pins_at(grid).iter().map(|(p, _)| *p).find_map(|p| {
            let (near, _, far) = plan.beyond(p, grid)?;
            (!self.done[p]
                && matches!(plan.pieces[p].form, crate::symbol::Form::Capacitor(_))
                && !plan.is_still(far)
                && !plan.on_valve(far))
            .then_some((p, near))
        })
    }

    /// The first section above, the second below; each drives its own side.
    fn paraphase(&mut self, lane: &mut Lane, a: PieceId, b: PieceId) {
        self.drop(lane);
        let base = lane.base;
        if let Some(node) = lane.node {
            self.hang_here(lane, node, false);
        }
        let mut upper = self.stage(a, Manner::default());
        // Driven from a divider at the upper output, the lower one has its grid on that side.
        let divided = self
            .electrode(b, Electrode::Grid)
            .is_some_and(|(_, g)| self.coupling(g).is_some());
        let side = if divided { Dir::Right } else { Dir::Left };
        let mut lower = self.stage(
            b,
            Manner {
                mirrored: divided,
                ..Manner::default()
            },
        );
        self.tap(&mut lower.patch, b, lower.entry, side);
        let cathode = |d: &Self, v| d.electrode(v, Electrode::Cathode).map(|e| e.1);
        if divided && cathode(self, a).is_some() && cathode(self, a) == cathode(self, b) {
            // The way from one cathode to the other, left of both.
            upper.patch.keep(Point::new(-5, 5), Point::new(-5, 35));
        }
        let dx = self.attach(lane, &upper, base);
        let mut dy = base + 30;
        let mut x = dx;
        while !lane.patch.fits(&lower.patch, x, dy) {
            dy += 1;
            if dy > base + 60 {
                x += 1;
                dy = base + 30;
            }
        }
        lane.patch.merge(&lower.patch, x, dy);
        if let Some((p, n)) = upper.exit {
            lane.at = p.by(dx, base);
            lane.node = Some(n);
        }
        lane.second = lower.exit.map(|(p, n)| (p.by(x, dy), n));
        lane.base = base;
    }
}
