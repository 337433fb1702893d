//! The supply: mains on the left, the transformer, rows to the right of it level with their
//! windings: rectifier and rails, bias, heaters.

use super::Desk;
use super::patch::Patch;
use crate::geometry::{Dir, Point, Turn, UNIT};
use crate::piece::{PieceId, Which};
use crate::plan::Class;
use crate::symbol::Form;
use crate::tag::Sort;
use std::collections::BTreeSet;
use wiring::circuit::NodeId;
use wiring::roles::{BlockKind, Role};

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

    /// Rectifier, then the rails from left to right.
    fn high_tension(&mut self, page: &mut Patch, t: Option<PieceId>, origin: Point) {
        let plan = self.plan;
        let hv = self.winding(t, origin, "hv");
        let x0 = origin.x + 6;
        let mut right = x0;
        let mid = match hv.as_slice() {
            [] => origin.y + 8,
            [(_, p, _)] => p.y,
            all => (all[0].1.y + all[all.len() - 1].1.y) / 2,
        };
        // Parts in the winding's leads.
        for (_, p, n) in &hv {
            let way = if plan.is_low(*n) {
                Vec::new()
            } else {
                self.series_way(
                    *n,
                    &|m| {
                        plan.is_low(m)
                            || plan.pins_at(m).iter().any(|(q, _)| {
                                matches!(plan.pieces[*q].form, Form::Rectifier(..) | Form::Bridge)
                            })
                    },
                    &[Role::RectifierSeries, Role::HtFuse, Role::StandbySwitch],
                )
            };
            let mut at = p.by(1, 0);
            let mut first: Vec<(PieceId, usize)> = way;
            if first.is_empty() {
                // A lead to ground through a fuse or a switch.
                first = plan
                    .pins_at(*n)
                    .iter()
                    .filter(|(q, _)| {
                        !self.done[*q]
                            && plan.has_any(
                                *q,
                                &[Role::HtFuse, Role::StandbySwitch, Role::RectifierSeries],
                            )
                    })
                    .filter_map(|(q, _)| {
                        let (near, _, far) = plan.beyond(*q, *n)?;
                        plan.is_low(far).then_some((*q, near))
                    })
                    .take(1)
                    .collect();
            }
            for (q, near) in first {
                self.done[q] = true;
                let mut own = Patch::default();
                own.put_line(plan, q, near, Point::new(0, 0), Dir::Right);
                own.keep(Point::new(-1, 0), Point::new(7, 0));
                let dx = page.slide(&own, at.x, p.y);
                page.merge(&own, dx, p.y);
                page.keep(at, Point::new(dx, p.y));
                at = Point::new(dx + 7, p.y);
            }
            right = right.max(at.x);
        }
        let mut start: Option<(Point, NodeId)> = None;
        let rectifiers: Vec<PieceId> = self.supply_pieces(Role::Rectifier);
        for r in rectifiers {
            if self.done[r] {
                continue;
            }
            let mut own = Patch::default();
            match plan.pieces[r].form {
                Form::Rectifier(plates, _) => {
                    let upper = plan.node(r, 0);
                    let first_up = hv.first().is_none_or(|h| upper == Some(h.2));
                    let turn = if first_up {
                        Turn::ALL
                            .into_iter()
                            .find(|t| {
                                let p = t.point(plan.symbols[r].pins[0].at);
                                p.x == -4 && (plates == 1 || p.y < 0)
                            })
                            .unwrap_or(Turn::CCW)
                    } else {
                        Turn::CCW
                    };
                    own.put(plan, r, Point::new(0, 0), turn);
                    own.keep(Point::new(-7, -2), Point::new(-4, -2));
                    own.keep(Point::new(-7, 2), Point::new(-4, 2));
                    self.done[r] = true;
                    let dx = page.slide(&own, right + 9, mid);
                    page.merge(&own, dx, mid);
                    let out = (0..plan.pieces[r].pins.len()).find(|k| {
                        plan.node(r, *k)
                            .is_some_and(|n| plan.class(n) == Class::Rail)
                    });
                    if let Some(k) = out
                        && start.is_none()
                        && let Some(n) = plan.node(r, k)
                    {
                        let p = plan.pin(r, k, Point::new(dx, mid), turn).at;
                        start = Some((p, n));
                    }
                    right = dx + 5;
                }
                Form::Bridge => {
                    own.put(plan, r, Point::new(0, 0), Turn::NONE);
                    self.done[r] = true;
                    let y = hv.first().map_or(mid, |h| h.1.y);
                    let dx = page.slide(&own, right + 8, y);
                    page.merge(&own, dx, y);
                    // The other end's wire passes below to the right corner.
                    page.keep(Point::new(dx + 7, y), Point::new(dx + 7, y + 10));
                    right = dx + 8;
                    if let Some(n) = plan.node(r, 2)
                        && start.is_none()
                    {
                        start = Some((Point::new(dx, y - 7), n));
                    }
                }
                _ => {
                    // A diode in a lead of the winding.
                    let Some([(pa, a), (_, b)]) = plan.line(r) else {
                        continue;
                    };
                    let Some((_, p, _)) = hv.iter().find(|h| h.2 == a) else {
                        continue;
                    };
                    if plan.class(b) != Class::Rail {
                        continue;
                    }
                    self.done[r] = true;
                    own.put_line(plan, r, pa, Point::new(0, 0), Dir::Right);
                    own.keep(Point::new(-1, 0), Point::new(8, 0));
                    let dx = page.slide(&own, x0 + 2, p.y);
                    page.merge(&own, dx, p.y);
                    right = right.max(dx + 8);
                    if start.is_none() {
                        start = Some((Point::new(dx + 8, p.y), b));
                    }
                }
            }
        }
        let rails = &plan.anatomy.rails;
        let first = start.map(|s| s.1).or_else(|| rails.first().copied());
        let Some(first) = first else { return };
        let at = start.map_or(Point::new(right, mid), |s| {
            Point::new(s.0.x.max(right), s.0.y)
        });
        self.rail_row(page, first, at);
        // Rails that hang together with nothing yet.
        for rail in rails.clone() {
            let low = page.extent().y1.div_euclid(UNIT) + 6;
            let any = plan
                .pins_at(rail)
                .iter()
                .any(|(p, _)| !self.done[*p] && plan.supply[*p]);
            if any && !self.tagged.contains(&rail) {
                self.rail_row(page, rail, Point::new(x0, low));
            }
        }
    }

    /// One rail after the other: what holds it hangs below, its tag stands above, the part to
    /// the next leads on.
    fn rail_row(&mut self, page: &mut Patch, first: NodeId, at: Point) {
        let plan = self.plan;
        let mut node = first;
        let mut at = at.by(2, 0);
        for _ in 0..24 {
            self.tagged.insert(node);
            if self.needs_tag(node) {
                let mut flag = Patch::default();
                flag.tag(plan, node, Point::new(0, -1), Dir::Up);
                flag.keep(Point::new(0, -1), Point::new(0, 0));
                let dx = page.slide(&flag, at.x, at.y);
                page.merge(&flag, dx, at.y);
                page.keep(at, Point::new(dx, at.y));
                at.x = dx;
            }
            if let Some(down) = self.trees(node, 0) {
                let dx = page.slide(&down, at.x, at.y + 2);
                page.merge(&down, dx, at.y + 2);
                let e = down.extent().x1.div_euclid(UNIT) - 3;
                page.keep(at, Point::new(dx, at.y));
                at.x = dx + e.max(1);
            }
            let next = plan.pins_at(node).iter().find_map(|(p, _)| {
                if self.done[*p] || !plan.supply[*p] {
                    return None;
                }
                let (near, _, far) = plan.beyond(*p, node)?;
                let good = matches!(plan.class(far), Class::Rail | Class::Bias)
                    && plan.class(far) == plan.class(node)
                    && !self.tagged.contains(&far);
                good.then_some((*p, near, far))
            });
            let Some((p, near, far)) = next else { break };
            self.done[p] = true;
            let mut own = Patch::default();
            own.put_line(plan, p, near, Point::new(0, 0), Dir::Right);
            own.keep(Point::new(-1, 0), Point::new(7, 0));
            let across = self.beside(p, node, far);
            for (i, q) in across.into_iter().enumerate() {
                if let Some((near, _, _)) = plan.beyond(q, node) {
                    self.done[q] = true;
                    let y = -4 - 4 * i32::try_from(i).unwrap_or(0);
                    own.put_line(plan, q, near, Point::new(0, y), Dir::Right);
                    own.keep(Point::new(-1, y), Point::new(-1, 0));
                    own.keep(Point::new(7, y), Point::new(7, 0));
                }
            }
            let dx = page.slide(&own, at.x + 2, at.y);
            page.merge(&own, dx, at.y);
            page.keep(at, Point::new(dx, at.y));
            at = Point::new(dx + 8, at.y);
            node = far;
        }
    }

    /// Whether a node has pins on the signal side as well.
    fn needs_tag(&self, node: NodeId) -> bool {
        let pins = self.plan.pins_at(node);
        pins.iter().any(|(p, _)| !self.plan.supply[*p])
            || self
                .plan
                .circuit
                .nodes
                .get(node.0)
                .is_some_and(|n| !n.names.is_empty())
    }

    /// Feed, rectifier, and the negative rails.
    fn bias(&mut self, page: &mut Patch, t: Option<PieceId>, origin: Point) {
        let plan = self.plan;
        let Some(block) = plan
            .anatomy
            .blocks
            .iter()
            .find(|b| b.kind == BlockKind::BiasSupply)
        else {
            return;
        };
        let diodes: Vec<PieceId> = plan
            .in_block(block, Role::Rectifier)
            .into_iter()
            .filter(|p| !self.done[*p])
            .collect();
        let from = self.winding(t, origin, "bias");
        let mut y = from
            .first()
            .map_or_else(|| page.extent().y1.div_euclid(UNIT) + 8, |w| w.1.y);
        if from.is_empty() {
            y = y.min(origin.y + 34);
        }
        let mut at = Point::new(origin.x + 6, y);
        let mut start = None;
        for d in diodes {
            // From the winding to the bias rail: the diode conducts the other way.
            let Some([_, (pk, k)]) = plan.line(d) else {
                continue;
            };
            let Some((_, _, rail)) = plan.beyond(d, k) else {
                continue;
            };
            let feed = plan.pins_at(k).iter().map(|(p, _)| *p).find(|p| {
                !self.done[*p] && *p != d && plan.supply[*p] && plan.beyond(*p, k).is_some()
            });
            let mut row = Patch::default();
            let mut x = 0;
            if let Some(f) = feed
                && let Some((_, far_pin, far)) = plan.beyond(f, k)
                && !plan.is_low(far)
            {
                self.done[f] = true;
                row.put_line(plan, f, far_pin, Point::new(0, 0), Dir::Right);
                x = 7;
            }
            self.done[d] = true;
            row.put_line(plan, d, pk, Point::new(x, 0), Dir::Right);
            row.keep(Point::new(-1, 0), Point::new(x + 7, 0));
            let mut dx = at.x + 1;
            let mut dy = at.y;
            if from.is_empty() {
                dy = page.sink(&row, dx, dy);
            } else {
                dx = page.slide(&row, dx, dy);
            }
            page.merge(&row, dx, dy);
            page.keep(Point::new(at.x - 1, dy), Point::new(dx, dy));
            at = Point::new(dx + x + 7, dy);
            start.get_or_insert(rail);
        }
        let rails = plan.anatomy.bias_rails.clone();
        for rail in start.into_iter().chain(rails) {
            let any = plan
                .pins_at(rail)
                .iter()
                .any(|(p, _)| !self.done[*p] && plan.supply[*p]);
            if !self.tagged.contains(&rail) && (any || Some(rail) == start) {
                self.rail_row(page, rail, at);
                at = Point::new(origin.x + 12, page.extent().y1.div_euclid(UNIT) + 6);
            }
        }
    }

    /// Buses with the heaters between them, lamps and hum controls, the reference at the end.
    fn heaters(&mut self, page: &mut Patch, t: Option<PieceId>, origin: Point) {
        let plan = self.plan;
        let mut pairs: Vec<(NodeId, NodeId)> = Vec::new();
        let mut starts: Vec<(Point, NodeId, NodeId, i32)> = Vec::new();
        if let Some(t) = t
            && let Form::Wound(left, right) = &plan.pieces[t].form
        {
            let mut k: usize = left.iter().map(|c| c.0.len()).sum();
            for coil in right {
                let n = coil.0.len();
                let (first, last) = (plan.node(t, k), plan.node(t, k + n - 1));
                let height = coil.0.last().unwrap_or(&0) - coil.0.first().unwrap_or(&0);
                let name = plan.pin_text(t, k);
                if let (Some(a), Some(b)) = (first, last)
                    && a != b
                    && height == 8
                    && !name.contains(".hv")
                    && !name.contains(".bias")
                {
                    let at = origin.by(4, coil.0.first().copied().unwrap_or(0));
                    starts.push((at, a, b, height));
                    pairs.push((a, b));
                }
                k += n;
            }
        }
        // Heaters whose winding is not traced.
        for p in 0..plan.pieces.len() {
            if let Form::Heater(tap) = plan.pieces[p].form
                && !self.done[p]
            {
                let ends: Vec<NodeId> = plan.pieces[p].nodes.iter().copied().flatten().collect();
                let pair = match (plan.node(p, 0), plan.node(p, 1), plan.node(p, 2)) {
                    (Some(a), Some(b), Some(c)) if tap && a == b => Some((a, c)),
                    (Some(a), Some(b), _) if a != b => Some((a, b)),
                    _ => None,
                };
                if let Some((a, b)) = pair
                    && !pairs
                        .iter()
                        .any(|(x, y)| (*x == a && *y == b) || (*x == b && *y == a))
                {
                    pairs.push((a, b));
                    let low = page.extent().y1.div_euclid(UNIT) + 6;
                    starts.push((Point::new(origin.x + 4, low), a, b, 8));
                }
                let _ = ends;
            }
        }
        for (at, a, b, height) in starts {
            let mut x = at.x + 3;
            let lower = at.y + height;
            let mut taken = Vec::new();
            for p in 0..plan.pieces.len() {
                if self.done[p] || !plan.supply[p] {
                    continue;
                }
                let nodes: Vec<NodeId> = plan.pieces[p].nodes.iter().copied().flatten().collect();
                let across = nodes.contains(&a) && nodes.contains(&b);
                if across
                    && (matches!(plan.pieces[p].form, Form::Heater(_) | Form::Pot)
                        || plan.line(p).is_some())
                {
                    taken.push(p);
                }
            }
            // Heaters in the order of the valves, then lamps, then controls.
            taken.sort_by_key(|p| {
                (
                    match plan.pieces[*p].form {
                        Form::Heater(_) => 0,
                        Form::Pot => 2,
                        _ => 1,
                    },
                    *p,
                )
            });
            for p in taken {
                let mut own = Patch::default();
                let turn = self.across_turn(p, a);
                own.put(plan, p, Point::new(0, 0), turn);
                self.done[p] = true;
                let mut dx = x;
                while !page.fits(&own, dx, at.y + 4) && dx < x + 400 {
                    dx += 1;
                }
                page.merge(&own, dx, at.y + 4);
                x = dx + 2;
            }
            page.keep(at, Point::new(x, at.y));
            page.keep(Point::new(at.x, lower), Point::new(x, lower));
            // References: level at the end of each bus, joined, and on to ground.
            let mut end = x + 2;
            let mut foot: Option<NodeId> = None;
            for (node, y) in [(a, at.y), (b, lower)] {
                let found = plan.pins_at(node).iter().map(|(p, _)| *p).find(|p| {
                    !self.done[*p]
                        && plan.supply[*p]
                        && plan.has(*p, Role::HeaterReference)
                        && plan.beyond(*p, node).is_some()
                });
                if let Some(p) = found
                    && let Some((near, _, far)) = plan.beyond(p, node)
                {
                    self.done[p] = true;
                    let mut own = Patch::default();
                    own.put_line(plan, p, near, Point::new(0, 0), Dir::Right);
                    own.keep(Point::new(-1, 0), Point::new(7, 0));
                    let dx = page.slide(&own, x + 3, y);
                    page.merge(&own, dx, y);
                    page.keep(Point::new(x, y), Point::new(dx, y));
                    end = end.max(dx + 8);
                    foot = Some(far);
                }
            }
            if foot.is_some() {
                page.keep(Point::new(end, at.y), Point::new(end, lower));
            }
            // What raises the heaters hangs there.
            let tap = t.and_then(|t| {
                (0..plan.pieces[t].pins.len())
                    .filter_map(|k| plan.node(t, k))
                    .find(|n| {
                        *n != a && *n != b && plan.class(*n) == Class::Signal && {
                            plan.pins_at(*n)
                                .iter()
                                .any(|(p, _)| plan.has(*p, Role::HeaterElevation))
                        }
                    })
            });
            if let Some(n) = foot.filter(|n| plan.class(*n) == Class::Signal).or(tap) {
                let up = self.rises(n);
                let down = self.trees(n, 0);
                let mut both = Patch::default();
                if let Some(up) = up {
                    both.merge(&up, 0, -1);
                }
                if let Some(down) = down {
                    both.merge(&down, 0, 1);
                }
                if !both.is_empty() {
                    let y = (at.y + lower) / 2;
                    let dx = page.slide(&both, end + 2, y);
                    page.merge(&both, dx, y);
                }
            }
        }
    }

    /// The turn that brings the pin on the upper bus on top.
    fn across_turn(&self, p: PieceId, upper: NodeId) -> Turn {
        let plan = self.plan;
        Turn::ALL
            .into_iter()
            .filter(|t| {
                t.quarters % 2 == 0
                    && plan.symbols[p]
                        .pins
                        .iter()
                        .enumerate()
                        .any(|(k, pin)| plan.node(p, k) == Some(upper) && t.dir(pin.out) == Dir::Up)
            })
            .min_by_key(|t| (t.mirrored != (t.quarters == 2), *t))
            .unwrap_or(Turn::NONE)
    }
}
