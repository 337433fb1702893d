//! What hangs from a node down to ground, or rises from it to a rail: series and parallel
//! parts folded into columns side by side.

use super::Desk;
use super::patch::Patch;
use crate::geometry::{Dir, Point};
use crate::piece::PieceId;
use crate::plan::Class;
use crate::symbol::Form;
use wiring::circuit::NodeId;
use wiring::roles::Role;

/// Roles whose parts go on downward through a node that others share.
const DOWNWARD: [Role; 13] = [
    Role::Reservoir,
    Role::Filter,
    Role::CathodeResistor,
    Role::CathodeLoad,
    Role::CathodeBypass,
    Role::Tail,
    Role::GridLeak,
    Role::FeedbackShunt,
    Role::PresenceCapacitor,
    Role::BiasDivider,
    Role::BassControl,
    Role::MiddleControl,
    Role::HeaterElevation,
];
/// Roles that are never hung: they lead the signal on or back.
const ONWARD: [Role; 9] = [
    Role::FeedbackResistor,
    Role::Coupling,
    Role::MixingResistor,
    Role::GridStopper,
    Role::InputStopper,
    Role::TremoloCoupling,
    Role::SlopeResistor,
    Role::TrebleCapacitor,
    Role::HeaterReference,
];
/// Depth of a chain, so that damaged circuits end too.
const DEEPEST: usize = 5;

impl Desk<'_, '_> {
    /// Whether a node may be swallowed by a hanging tree: nothing else leads on from it.
    fn is_private(&self, node: NodeId, from: PieceId, depth: usize) -> bool {
        depth < DEEPEST
            && !self.plan.is_still(node)
            && !self.kept.contains(&node)
            && self.plan.pins_at(node).iter().all(|(p, _)| {
                *p == from
                    || !self.done[*p]
                        && !self.plan.has_any(*p, &ONWARD)
                        && self.plan.beyond(*p, node).is_some_and(|(_, _, far)| {
                            self.plan.is_low(far) || self.is_private(far, *p, depth + 1)
                        })
            })
    }

    /// Whether a piece at a node leads down to something that stands still, by itself.
    fn falls(&self, piece: PieceId, node: NodeId) -> bool {
        if self.done[piece] || self.plan.supply[piece] != self.supply_side {
            return false;
        }
        let Some((_, _, far)) = self.plan.beyond(piece, node) else {
            return false;
        };
        match self.plan.class(far) {
            Class::Ground | Class::Chassis | Class::Earth => true,
            Class::Bias => !self.supply_side,
            Class::Rail => false,
            Class::Signal => {
                if self.plan.has_any(piece, &ONWARD) {
                    return false;
                }
                self.is_private(far, piece, 0)
                    || self.plan.has_any(piece, &DOWNWARD)
                        && !self.ports.contains(&far)
                        && !self.plan.on_valve(far)
                        && self.goes_low(far, piece)
            }
        }
    }

    fn goes_low(&self, node: NodeId, from: PieceId) -> bool {
        self.plan.pins_at(node).iter().any(|(p, _)| {
            *p != from
                && !self.done[*p]
                && self.plan.beyond(*p, node).is_some_and(|(_, _, far)| {
                    self.plan.is_low(far)
                        || self.plan.has_any(*p, &DOWNWARD)
                            && self.plan.pins_at(far).iter().any(|(q, _)| {
                                *q != *p
                                    && self
                                        .plan
                                        .beyond(*q, far)
                                        .is_some_and(|(_, _, f)| self.plan.is_low(f))
                            })
                })
        })
    }

    /// The column of one piece and what is under it; its upper pin at the origin.
    fn column(&mut self, piece: PieceId, node: NodeId, depth: usize) -> Patch {
        let mut patch = Patch::default();
        let Some((near, _, far)) = self.plan.beyond(piece, node) else {
            return patch;
        };
        // What lies across it stands beside it, resistors first, so that halves of a divider and the capacitors that
        // they keep level come in rows.
        let mut across: Vec<(PieceId, usize)> = Vec::new();
        if self.plan.class(far) == Class::Signal {
            let beside: Vec<PieceId> = self
                .plan
                .pins_at(node)
                .iter()
                .map(|(p, _)| *p)
                .filter(|p| {
                    *p != piece
                        && !self.done[*p]
                        && self.plan.supply[*p] == self.supply_side
                        && !self.plan.has_any(*p, &ONWARD)
                })
                .collect();
            for p in beside {
                if let Some((pin, _, other)) = self.plan.beyond(p, node)
                    && other == far
                    && !across.iter().any(|(q, _)| *q == p)
                {
                    across.push((p, pin));
                }
            }
        }
        let capacitor = |d: &Self, p: PieceId| matches!(d.plan.pieces[p].form, Form::Capacitor(_));
        let (mut piece, mut near) = (piece, near);
        if capacitor(self, piece)
            && let Some(i) = across.iter().position(|(p, _)| !capacitor(self, *p))
        {
            std::mem::swap(&mut across[i].0, &mut piece);
            std::mem::swap(&mut across[i].1, &mut near);
        }
        self.done[piece] = true;
        let foot = patch.put_line(self.plan, piece, near, Point::new(0, 0), Dir::Down);
        for (p, near) in across {
            self.done[p] = true;
            let mut own = Patch::default();
            own.put_line(self.plan, p, near, Point::new(0, 0), Dir::Down);
            let dx = patch.slide(&own, 6, 0);
            patch.merge(&own, dx, 0);
            patch.keep(foot.by(0, 1), Point::new(dx, foot.y + 1));
        }
        match self.plan.class(far) {
            Class::Bias => patch.tag(self.plan, far, foot, Dir::Down),
            Class::Signal if depth < DEEPEST => {
                let below = self.trees(far, depth + 1);
                if let Some(below) = below {
                    let gap = if self.plan.pins_at(far).len() > 2 {
                        2
                    } else {
                        1
                    };
                    patch.merge(&below, foot.x, foot.y + gap);
                    patch.keep(foot, foot.by(0, gap));
                }
            }
            _ => {}
        }
        patch
    }

    /// All trees that hang from a node, the first at the origin, others to the right of it.
    pub(super) fn trees(&mut self, node: NodeId, depth: usize) -> Option<Patch> {
        let mut found: Vec<PieceId> = self
            .plan
            .pins_at(node)
            .iter()
            .map(|(p, _)| *p)
            .filter(|p| self.falls(*p, node))
            .collect();
        // Resistors first, so that a bypass stands to the right of its resistor.
        found.sort_by_key(|p| {
            let form = &self.plan.pieces[*p].form;
            (
                u8::from(matches!(form, Form::Capacitor(_))),
                u8::from(self.plan.has(*p, Role::PresenceCapacitor)),
                *p,
            )
        });
        found.dedup();
        let mut out = Patch::default();
        for piece in found {
            if self.done[piece] {
                continue;
            }
            let column = self.column(piece, node, depth);
            let dx = if out.is_empty() {
                0
            } else {
                out.slide(&column, 1, 0)
            };
            out.merge(&column, dx, 0);
        }
        (!out.is_empty()).then_some(out)
    }

    /// Pieces from a node up to a rail, as columns whose lower pin is at the origin.
    pub(super) fn rises(&mut self, node: NodeId) -> Option<Patch> {
        let found: Vec<PieceId> = self.plan.pins_at(node).iter().map(|(p, _)| *p).collect();
        let mut out = Patch::default();
        for piece in found {
            if self.done[piece] || self.plan.supply[piece] != self.supply_side {
                continue;
            }
            let Some((near, _, far)) = self.plan.beyond(piece, node) else {
                continue;
            };
            let mut column = Patch::default();
            if self.plan.class(far) == Class::Rail {
                self.done[piece] = true;
                let top = column.put_line(self.plan, piece, near, Point::new(0, 0), Dir::Up);
                column.tag(self.plan, far, top, Dir::Up);
            } else if self.plan.class(far) == Class::Signal
                && (self.plan.has(piece, Role::PlateLoad)
                    || matches!(self.plan.pieces[piece].form, Form::Lamp | Form::Neon))
                && !self.plan.on_valve(far)
            {
                // Two loads in series, or a load behind a lamp; or a load whose far end is all alone.
                let next: Vec<PieceId> = self
                    .plan
                    .pins_at(far)
                    .iter()
                    .map(|(p, _)| *p)
                    .filter(|p| *p != piece && !self.done[*p])
                    .collect();
                let onward = next.iter().copied().find(|p| {
                    self.plan
                        .beyond(*p, far)
                        .is_some_and(|(_, _, f)| self.plan.class(f) == Class::Rail)
                });
                self.done[piece] = true;
                let top = column.put_line(self.plan, piece, near, Point::new(0, 0), Dir::Up);
                if let Some(second) = onward
                    && let Some((near, _, rail)) = self.plan.beyond(second, far)
                {
                    self.done[second] = true;
                    let start = top.by(0, -1);
                    let top = column.put_line(self.plan, second, near, start, Dir::Up);
                    column.tag(self.plan, rail, top, Dir::Up);
                } else if next.is_empty() {
                    column.tag(self.plan, far, top, Dir::Up);
                }
            } else {
                continue;
            }
            let dx = if out.is_empty() {
                0
            } else {
                out.slide(&column, 1, 0)
            };
            out.merge(&column, dx, 0);
        }
        (!out.is_empty()).then_some(out)
    }
}
