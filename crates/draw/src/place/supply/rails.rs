//! From the rectifier along the rails.

use crate::geometry::{Dir, Point, Turn, UNIT};
use crate::piece::PieceId;
use crate::place::Desk;
use crate::place::patch::Patch;
use crate::plan::Class;
use crate::symbol::Form;
use wiring::circuit::NodeId;
use wiring::roles::Role;

impl Desk<'_, '_> {
    /// Rectifier, then the rails from left to right.
    pub(in crate::place) fn high_tension(
        &mut self,
        page: &mut Patch,
        t: Option<PieceId>,
        origin: Point,
    ) {
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
    /// Gives the point where the row ends.
    pub(in crate::place) fn rail_row(
        &mut self,
        page: &mut Patch,
        first: NodeId,
        at: Point,
    ) -> Point {
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
            while let Some(trimmer) = self.trimmer(node) {
                let dx = page.slide(&trimmer, at.x + 2, at.y + 2);
                page.merge(&trimmer, dx, at.y + 2);
                page.keep(at, Point::new(dx, at.y));
                page.keep(Point::new(dx, at.y), Point::new(dx, at.y + 2));
                at.x = dx + 4;
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
        at
    }

    /// A part from a rail to the upper end of a control, what is under it, and the rail that its wiper makes, to the
    /// right of it; the upper pin at the origin.
    fn trimmer(&mut self, node: NodeId) -> Option<Patch> {
        let plan = self.plan;
        let (part, near, pot, end, wiper) = plan.pins_at(node).iter().find_map(|(p, _)| {
            if self.done[*p] || !plan.supply[*p] {
                return None;
            }
            let (near, _, far) = plan.beyond(*p, node)?;
            let [(a, i), (b, k)] = plan.pins_at(far) else {
                return None;
            };
            let (pot, end) = if a == p { (*b, *k) } else { (*a, *i) };
            if self.done[pot]
                || !plan.supply[pot]
                || plan.pieces[pot].form != Form::Pot
                || end == 1
                || plan.line(pot).is_some()
            {
                return None;
            }
            let wiper = plan.node(pot, 1)?;
            (plan.class(wiper) == Class::Bias && !self.tagged.contains(&wiper))
                .then_some((*p, near, pot, end, wiper))
        })?;
        let mut patch = Patch::default();
        self.done[part] = true;
        self.done[pot] = true;
        self.tagged.insert(wiper);
        let foot = patch.put_line(plan, part, near, Point::new(0, 0), Dir::Down);
        let turn = if end == 2 { Turn::NONE } else { Turn::FLIP };
        let middle = foot.y + 4;
        patch.put(plan, pot, Point::new(0, middle), turn);
        patch.keep(foot, Point::new(0, middle - 3));
        if let Some(below) = plan.node(pot, 2 - end).and_then(|n| self.trees(n, 0)) {
            patch.merge(&below, 0, middle + 4);
            patch.keep(Point::new(0, middle + 3), Point::new(0, middle + 4));
        }
        let mut own = Patch::default();
        own.tag(plan, wiper, Point::new(0, -1), Dir::Up);
        own.keep(Point::new(0, -1), Point::new(0, 0));
        let mut right = 0;
        if let Some(down) = self.trees(wiper, 0) {
            right = own.slide(&down, 1, 2);
            own.merge(&down, right, 2);
            own.keep(Point::new(right, 0), Point::new(right, 2));
        }
        own.keep(Point::new(0, 0), Point::new(right, 0));
        let dx = patch.slide(&own, 6, middle);
        patch.merge(&own, dx, middle);
        patch.keep(Point::new(3, middle), Point::new(dx, middle));
        Some(patch)
    }

    /// Whether a node has pins on the signal side as well.
    pub(in crate::place) fn needs_tag(&self, node: NodeId) -> bool {
        let pins = self.plan.pins_at(node);
        pins.iter().any(|(p, _)| !self.plan.supply[*p])
            || self
                .plan
                .circuit
                .nodes
                .get(node.0)
                .is_some_and(|n| !n.names.is_empty())
    }
}
