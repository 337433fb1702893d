//! The supply: mains on the left, the transformer, rows to the right of it level with their
//! windings: rectifier and rails, bias, heaters.

mod low;
mod rails;

use super::Desk;
use super::patch::Patch;
use crate::geometry::{Dir, Point, Turn, UNIT};
use crate::piece::{PieceId, Which};
use crate::plan::Class;
use crate::symbol::Form;
use crate::tag::Sort;
use std::collections::BTreeSet;
use wiring::circuit::NodeId;
use wiring::roles::Role;

/// Protective earth, and what it is bonded to, side by side.
fn bond(plan: &crate::plan::Plan<'_>, page: &mut Patch, node: NodeId, pin: Point) {
    let named = |n: &str| {
        plan.circuit
            .nodes
            .get(node.0)
            .is_some_and(|x| x.names.iter().any(|y| y == n))
    };
    let mut x = pin.x + 3;
    page.tag_as(node, Sort::Earth, Point::new(x, pin.y), Dir::Down);
    for (sort, here) in [
        (Sort::Chassis, named("chassis")),
        (Sort::Ground, plan.class(node) == Class::Ground),
    ] {
        if here {
            x += 4;
            page.tag_as(node, sort, Point::new(x, pin.y), Dir::Down);
        }
    }
    page.keep(pin, Point::new(x, pin.y));
}

/// Sets the mains transformer's windings so far apart that each row of the supply has its room.
pub(super) fn stretch(plan: &mut crate::plan::Plan<'_>) {
    let found = (0..plan.pieces.len()).find(|p| {
        plan.has(*p, Role::MainsTransformer) && matches!(plan.pieces[*p].form, Form::Wound(..))
    });
    let Some(t) = found else { return };
    let Form::Wound(left, mut right) = plan.pieces[t].form.clone() else {
        return;
    };
    // How deep each row reaches below its winding, tried out far from everything else.
    let lows: Vec<(i32, i32)> = {
        let mut desk = Desk::new(plan);
        desk.supply_side = true;
        let origin = Point::new(0, 0);
        desk.done[t] = true;
        let mut ht = Patch::default();
        desk.high_tension(&mut ht, Some(t), origin);
        let mut bias = Patch::default();
        desk.bias(&mut bias, Some(t), origin);
        let reach = |patch: &Patch, names: &str| {
            let top = desk
                .winding(Some(t), origin, names)
                .first()
                .map_or(0, |w| w.1.y);
            let e = patch.extent();
            (e.y0.div_euclid(UNIT) - top, e.y1.div_euclid(UNIT) + 1 - top)
        };
        vec![reach(&ht, "hv"), reach(&bias, "bias")]
    };
    let mut k: usize = left.iter().map(|c| c.0.len()).sum();
    let mut below = 0;
    let mut first = true;
    for coil in &mut right {
        let n = coil.0.len();
        let name = plan.pin_text(t, k);
        let row = if name.contains(".hv") {
            lows[0]
        } else if name.contains(".bias") {
            lows[1]
        } else {
            (-2, 10)
        };
        let height = coil.0.last().unwrap_or(&0) - coil.0.first().unwrap_or(&0);
        let start = if first {
            0
        } else if name.contains(".hv") && below <= 10 {
            // Just under the filament winding: its wires pass above the rectifier.
            below + 3
        } else {
            (below + 1 - row.0.min(0)).max(below + 3)
        };
        let base = coil.0.first().copied().unwrap_or(0);
        for y in &mut coil.0 {
            *y += start - base;
        }
        below = start + row.1.clamp(height + 2, 60);
        first = false;
        k += n;
    }
    plan.pieces[t].form = Form::Wound(left, right);
    plan.symbols[t] = crate::symbol::symbol(&plan.pieces[t].form, plan.zigzag);
}

impl Desk<'_, '_> {
    fn supply_pieces(&self, role: Role) -> Vec<PieceId> {
        (0..self.plan.pieces.len())
            .filter(|p| !self.done[*p] && self.plan.supply[*p] && self.plan.has(*p, role))
            .collect()
    }

    pub(super) fn supply(&mut self) -> Patch {
        let plan = self.plan;
        let mut page = Patch::default();
        let transformer = self
            .supply_pieces(Role::MainsTransformer)
            .into_iter()
            .find(|p| matches!(plan.pieces[*p].form, Form::Wound(..)));
        let inlet = (0..plan.pieces.len()).find(|p| plan.pieces[*p].which == Which::Inlet);
        let origin = self.mains(&mut page, inlet, transformer);
        self.high_tension(&mut page, transformer, origin);
        self.bias(&mut page, transformer, origin);
        self.heaters(&mut page, transformer, origin);
        page
    }

    /// Pins of the transformer on its right side, where they are.
    fn winding(
        &self,
        t: Option<PieceId>,
        origin: Point,
        names: &str,
    ) -> Vec<(usize, Point, NodeId)> {
        let Some(t) = t else { return Vec::new() };
        let plan = self.plan;
        let Some(part) = plan.pieces[t]
            .part
            .and_then(|p| plan.circuit.parts.get(p.0))
        else {
            return Vec::new();
        };
        let mut out = Vec::new();
        for (k, pin) in plan.symbols[t].pins.iter().enumerate() {
            let crate::piece::PinOf::Terminal(i) = plan.pieces[t].pins[k] else {
                continue;
            };
            let name = part.terminals.get(i).map_or("", |t| t.name.as_str());
            if pin.at.x > 0
                && name.starts_with(names)
                && let Some(n) = plan.node(t, k)
            {
                out.push((k, origin.by(pin.at.x, pin.at.y), n));
            }
        }
        out
    }

    /// Line pieces of the supply that lead from one node to another, at most six.
    fn series_way(
        &self,
        from: NodeId,
        to: &dyn Fn(NodeId) -> bool,
        roles: &[Role],
    ) -> Vec<(PieceId, usize)> {
        let plan = self.plan;
        let mut best: Vec<(NodeId, Vec<(PieceId, usize)>)> = vec![(from, Vec::new())];
        let mut seen = BTreeSet::from([from]);
        let mut i = 0;
        while i < best.len() {
            let (node, way) = best[i].clone();
            i += 1;
            if to(node) && node != from {
                return way;
            }
            if way.len() > 6 {
                continue;
            }
            for (p, _) in plan.pins_at(node) {
                if self.done[*p] || !plan.supply[*p] || !plan.has_any(*p, roles) {
                    continue;
                }
                if let Some((near, _, far)) = plan.beyond(*p, node)
                    && !plan.is_low(far)
                    && seen.insert(far)
                {
                    let mut longer = way.clone();
                    longer.push((*p, near));
                    best.push((far, longer));
                }
            }
        }
        Vec::new()
    }

    /// Inlet, fuse, switch; the transformer; what lies across its primary. Returns the
    /// transformer's place.
    fn mains(
        &mut self,
        page: &mut Patch,
        inlet: Option<PieceId>,
        transformer: Option<PieceId>,
    ) -> Point {
        let plan = self.plan;
        let mut x = 0;
        let mut primary: Vec<(Point, NodeId)> = Vec::new();
        if let Some(t) = transformer {
            for (k, pin) in plan.symbols[t].pins.iter().enumerate() {
                if pin.at.x < 0
                    && let Some(n) = plan.node(t, k)
                {
                    primary.push((pin.at, n));
                }
            }
        }
        let on_primary = |n: NodeId| primary.iter().any(|(_, m)| *m == n);
        let mut lines: Vec<(NodeId, i32)> = Vec::new();
        if let Some(i) = inlet {
            self.done[i] = true;
            page.put(plan, i, Point::new(0, 0), Turn::NONE);
            x = 6;
            for (k, pin) in plan.symbols[i].pins.iter().enumerate() {
                let Some(n) = plan.node(i, k) else { continue };
                if plan.pieces[i].pins.get(k) == Some(&crate::piece::PinOf::Mains(2)) {
                    bond(plan, page, n, pin.at);
                } else if !plan.is_low(n) {
                    lines.push((n, pin.at.y));
                }
            }
        }
        let mut end = x;
        let mut reached: Vec<(NodeId, i32)> = Vec::new();
        let mains_roles = [Role::MainsFuse, Role::MainsSwitch, Role::SeriesResistor];
        for (start, y) in lines {
            let way = self.series_way(start, &on_primary, &mains_roles);
            let mut at = Point::new(x, y);
            let mut node = start;
            for (p, near) in way {
                self.done[p] = true;
                let mut own = Patch::default();
                own.put_line(plan, p, near, Point::new(0, 0), Dir::Right);
                own.keep(Point::new(-1, 0), Point::new(7, 0));
                let dx = page.slide(&own, at.x + 1, y);
                page.merge(&own, dx, y);
                page.keep(at, Point::new(dx, y));
                at = Point::new(dx + 7, y);
                node = plan.beyond(p, node).map_or(node, |(_, _, far)| far);
            }
            end = end.max(at.x);
            reached.push((node, y));
        }
        // What lies across the two lines, upright between them.
        if let [(a, ya), (b, yb)] = reached.as_slice()
            && yb - ya == 6
        {
            for p in 0..plan.pieces.len() {
                if self.done[p] || !plan.supply[p] {
                    continue;
                }
                let Some((near, _, far)) = plan.beyond(p, *a) else {
                    continue;
                };
                if far != *b {
                    continue;
                }
                let mut own = Patch::default();
                own.put_line(plan, p, near, Point::new(0, *ya), Dir::Down);
                let mut dx = end + 1;
                while !page.fits(&own, dx, 0) {
                    dx += 1;
                }
                self.done[p] = true;
                page.merge(&own, dx, 0);
                end = dx + 5;
            }
        }
        let Some(t) = transformer else {
            return Point::new(end, 0);
        };
        self.done[t] = true;
        // The upper line runs straight into its tap.
        let top = reached.first().map_or(0, |r| {
            let pin = primary.iter().find(|(_, n)| *n == r.0).map_or(0, |p| p.0.y);
            r.1 - pin
        });
        let mut own = Patch::default();
        own.put(plan, t, Point::new(0, 0), Turn::NONE);
        for pin in &plan.symbols[t].pins {
            own.keep(pin.at, pin.at.toward(pin.out, 2));
        }
        let dx = page.slide(&own, end + 6, top);
        page.merge(&own, dx, top);
        for (_, y) in reached {
            page.keep(Point::new(6, y), Point::new(dx - 4, y));
        }
        Point::new(dx, top)
    }
}
