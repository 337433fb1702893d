//! One valve section with what surrounds it: load above, cathode network below, screen to the
//! right, stopper to the left. The valve's middle is the origin.

use super::Desk;
use super::patch::Patch;
use crate::geometry::{Dir, Point, Turn};
use crate::piece::PieceId;
use crate::plan::Class;
use crate::symbol::Form;
use wiring::circuit::{Electrode, Kind, NodeId};
use wiring::roles::Role;

/// A stage as placed.
#[derive(Debug, Clone, Default)]
pub(super) struct Stage {
    pub(super) patch: Patch,
    /// Where the signal comes in, and its node.
    pub(super) entry: Option<(Point, NodeId)>,
    /// Where it leaves, and its node.
    pub(super) exit: Option<(Point, NodeId)>,
}

/// How a stage is to be drawn.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Manner {
    /// Grid on the right.
    pub(super) mirrored: bool,
    /// Cathode on top: the lower one of a pair.
    pub(super) flipped: bool,
    /// Leave the cathode's parts to the caller.
    pub(super) bare_cathode: bool,
    /// The output is at the cathode.
    pub(super) follower: bool,
}

impl Desk<'_, '_> {
    /// The node of an electrode of a valve piece, with its pin.
    pub(super) fn electrode(
        &self,
        piece: PieceId,
        electrode: Electrode,
    ) -> Option<(usize, NodeId)> {
        let p = self.plan.pieces.get(piece)?;
        let part = self.plan.circuit.parts.get(p.part?.0)?;
        let Kind::Valve(valve) = &part.kind else {
            return None;
        };
        let section = match p.which {
            crate::piece::Which::Section(s) => s,
            _ => None,
        };
        valve
            .electrodes
            .iter()
            .filter(|u| {
                u.electrode == electrode
                    && (u.section == section || u.section.is_none() || section.is_none())
            })
            .find_map(|u| {
                let pin = p.pin_of(u.terminal)?;
                Some((pin, p.nodes.get(pin).copied().flatten()?))
            })
    }

    pub(super) fn stage(&mut self, valve: PieceId, manner: Manner) -> Stage {
        let plan = self.plan;
        let mut out = Stage::default();
        let turn = match (manner.mirrored, manner.flipped) {
            (false, false) => Turn::NONE,
            (true, false) => Turn::MIRROR,
            (false, true) => Turn::FLIP,
            (true, true) => Turn::HALF,
        };
        self.done[valve] = true;
        out.patch.put(plan, valve, Point::new(0, 0), turn);
        let (up, down) = if manner.flipped {
            (Dir::Down, Dir::Up)
        } else {
            (Dir::Up, Dir::Down)
        };
        let side = if manner.mirrored {
            Dir::Left
        } else {
            Dir::Right
        };
        let o = Point::new(0, 0);
        let plate = self.electrode(valve, Electrode::Plate).map(|e| e.1);
        let cathode = self.electrode(valve, Electrode::Cathode).map(|e| e.1);
        let grid = self.electrode(valve, Electrode::Grid).map(|e| e.1);
        let screen = self.electrode(valve, Electrode::Screen).map(|e| e.1);
        if let Some(p) = plate {
            match plan.class(p) {
                Class::Rail if !manner.flipped => {
                    out.patch.tag(plan, p, o.toward(up, 4), up);
                }
                Class::Signal => {
                    let joint = o.toward(up, 6);
                    out.patch.keep(o.toward(up, 4), joint);
                    if !manner.flipped
                        && let Some(load) = self.rises(p)
                    {
                        out.patch.merge(&load, 0, -7);
                        out.patch.keep(joint, joint.by(0, -1));
                    }
                    if !manner.follower {
                        out.exit = Some((joint, p));
                    }
                }
                _ => {}
            }
        }
        if let Some(k) = cathode
            && plan.class(k) == Class::Signal
        {
            let joint = o.toward(down, 5);
            if manner.follower {
                out.exit = Some((o.by(0, 6), k));
            }
            if !manner.bare_cathode && !manner.flipped {
                let drop = if manner.follower { 8 } else { 6 };
                let under = self.under(k);
                if let Some(below) = self.trees(k, 0) {
                    out.patch.merge(&below, 0, drop);
                    out.patch.keep(o.by(0, 4), o.by(0, drop));
                }
                out.patch.keep(o.by(0, 4), joint);
                self.feedback_at(&mut out.patch, k, Point::new(3, 5));
                if let Some(u) = under {
                    self.feedback_at(&mut out.patch, u, Point::new(3, drop + 7));
                }
            }
        }
        if let Some(s) = screen {
            self.screen(&mut out.patch, s, side, plate, cathode);
        }
        if let Some(g) = grid {
            let inward = side.back();
            let at = o.toward(inward, 4);
            let mut entry = (at, g);
            let stopper = plan
                .pins_at(g)
                .iter()
                .map(|(p, _)| *p)
                .find(|p| !self.done[*p] && plan.has(*p, Role::GridStopper));
            if let Some(stopper) = stopper
                && let Some((near, _, far)) = plan.beyond(stopper, g)
                && !plan.is_still(far)
            {
                self.done[stopper] = true;
                let end = out
                    .patch
                    .put_line(plan, stopper, near, at.toward(inward, 1), inward);
                entry = (end, far);
            }
            out.patch.keep(at, entry.0);
            out.entry = Some(entry);
        }
        out
    }

    /// The node under a cathode resistor, where it is not ground.
    fn under(&self, cathode: NodeId) -> Option<NodeId> {
        self.plan
            .pins_at(cathode)
            .iter()
            .filter(|(p, _)| !self.done[*p] && self.plan.has(*p, Role::CathodeResistor))
            .filter_map(|(p, _)| self.plan.beyond(*p, cathode))
            .map(|(_, _, far)| far)
            .find(|n| !self.plan.is_still(*n))
    }

    fn screen(
        &mut self,
        patch: &mut Patch,
        s: NodeId,
        side: Dir,
        plate: Option<NodeId>,
        cathode: Option<NodeId>,
    ) {
        let plan = self.plan;
        let o = Point::new(0, 0);
        if plan.class(s) == Class::Rail {
            patch.tag(plan, s, o.toward(side, 6), Dir::Up);
            patch.keep(o.toward(side, 4), o.toward(side, 6));
            return;
        }
        if plan.class(s) != Class::Signal || Some(s) == plate || Some(s) == cathode {
            return;
        }
        let feed = plan
            .pins_at(s)
            .iter()
            .map(|(p, _)| *p)
            .find(|p| !self.done[*p] && plan.has(*p, Role::ScreenResistor));
        let shunted = plan.pins_at(s).iter().any(|(p, _)| {
            !self.done[*p]
                && plan
                    .beyond(*p, s)
                    .is_some_and(|(_, _, far)| plan.is_low(far))
        });
        let Some(feed) = feed else {
            if shunted && let Some(below) = self.trees(s, 0) {
                let joint = o.toward(side, 6);
                let dx = patch.slide(&below, joint.x, 2);
                patch.merge(&below, dx, 2);
            }
            return;
        };
        let Some((near, _, far)) = plan.beyond(feed, s) else {
            return;
        };
        self.done[feed] = true;
        if shunted {
            // Level to its rail, so that the plate's line runs free above it; the bypass falls beside the cathode's parts.
            let mut row = Patch::default();
            let o = Point::new(0, 0);
            let end = row.put_line(plan, feed, near, o.toward(side, 1), side);
            let beyond = end.toward(side, 2);
            if plan.is_still(far) {
                row.tag(plan, far, beyond, Dir::Up);
            }
            row.keep(o, beyond);
            if let Some(below) = self.trees(s, 0) {
                row.merge(&below, 0, 2);
                row.keep(o, Point::new(0, 2));
            }
            let dx = patch.slide(&row, o.toward(side, 7).x, 0);
            patch.keep(o.toward(side, 4), Point::new(dx, 0));
            patch.merge(&row, dx, 0);
        } else {
            let end = patch.put_line(plan, feed, near, o.toward(side, 5), side);
            let beyond = end.toward(side, 2);
            patch.keep(o.toward(side, 4), end);
            if plan.class(far) == Class::Rail {
                patch.keep(end, beyond);
                patch.tag(plan, far, beyond, Dir::Up);
            } else if !plan.is_still(far) {
                // Room for the plate's way down outside its own, to a winding with taps.
                patch.keep(end, end.toward(side, 5));
            }
        }
    }

    /// Whether the plate of this valve sits on a rail.
    pub(super) fn plate_on_rail(&self, valve: PieceId) -> bool {
        matches!(self.plan.pieces[valve].form, Form::Valve(_))
            && self
                .electrode(valve, Electrode::Plate)
                .is_some_and(|(_, n)| self.plan.class(n) == Class::Rail)
    }
}
