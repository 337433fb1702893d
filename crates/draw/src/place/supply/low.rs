//! The bias supply, and the heaters with what they light.

use crate::geometry::{Dir, Point, Turn, UNIT};
use crate::piece::PieceId;
use crate::place::Desk;
use crate::place::patch::Patch;
use crate::plan::Class;
use crate::symbol::Form;
use wiring::circuit::NodeId;
use wiring::roles::{BlockKind, Role};

impl Desk<'_, '_> {
    /// Feed, rectifier, and the negative rails.
    pub(in crate::place) fn bias(&mut self, page: &mut Patch, t: Option<PieceId>, origin: Point) {
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
                // The next one goes on in the same row.
                let end = self.rail_row(page, rail, at);
                at = Point::new(end.x + 6, end.y);
            }
        }
    }

    /// Buses with the heaters between them, lamps and hum controls, the reference at the end.
    pub(in crate::place) fn heaters(
        &mut self,
        page: &mut Patch,
        t: Option<PieceId>,
        origin: Point,
    ) {
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
    pub(in crate::place) fn across_turn(&self, p: PieceId, upper: NodeId) -> Turn {
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
