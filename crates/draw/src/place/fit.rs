//! What has no pattern is put where it joins its neighbours with the least wire.

use super::Desk;
use super::patch::{Item, Patch};
use crate::geometry::{Area, Dir, Point, Turn, UNIT};
use crate::piece::PieceId;
use crate::plan::Class;
use std::collections::BTreeMap;
use wiring::circuit::NodeId;

/// How far round the neighbours a place is looked for, units.
const WINDOW: i32 = 13;

impl Desk<'_, '_> {
    /// Places every piece of this side that is left; `page` grows.
    pub(super) fn fit_rest(&mut self, page: &mut Patch) {
        let plan = self.plan;
        let mut spots: BTreeMap<NodeId, Vec<Point>> = BTreeMap::new();
        for item in &page.items {
            note(plan, item, &mut spots);
        }
        loop {
            let best = (0..plan.pieces.len())
                .filter(|p| !self.done[*p])
                .filter_map(|p| {
                    let nodes = &plan.pieces[p].nodes;
                    let live: Vec<NodeId> = nodes
                        .iter()
                        .flatten()
                        .copied()
                        .filter(|n| !plan.is_still(*n))
                        .collect();
                    let drawn = live.iter().filter(|n| spots.contains_key(n)).count();
                    (drawn > 0).then(|| (drawn * 100 / live.len().max(1), usize::MAX - p, p))
                })
                .max();
            let Some((_, _, piece)) = best else { break };
            self.done[piece] = true;
            let item = self
                .old_place(page, piece, &spots)
                .unwrap_or_else(|| self.best_place(page, piece, &spots));
            let mut own = Patch::default();
            own.put(plan, piece, Point::new(0, 0), item.turn);
            page.merge(&own, item.at.x, item.at.y);
            note(plan, &item, &mut spots);
        }
    }

    /// What no wire ties to anything drawn, but whose part stands on the page (a socket's pin that serves as a tie
    /// point): as near to its part as there is room.
    pub(super) fn fit_own(&mut self, page: &mut Patch) {
        let plan = self.plan;
        for piece in 0..plan.pieces.len() {
            if self.done[piece] || plan.pieces[piece].form != crate::symbol::Form::TiePoint {
                continue;
            }
            let part = plan.pieces[piece].part;
            let own = page.items.iter().find(|i| {
                let other = &plan.pieces[i.piece];
                other.part == part && other.which != crate::piece::Which::Heater
            });
            let Some(at) = own.map(|i| i.at) else {
                continue;
            };
            let mut one = Patch::default();
            one.put(plan, piece, Point::new(0, 0), Turn::NONE);
            for pin in &plan.symbols[piece].pins {
                one.keep(pin.at, pin.at.toward(pin.out, 3));
            }
            let place = (5..40).find_map(|far| {
                (-far..=far)
                    .flat_map(|d| [at.by(d, far), at.by(d, -far), at.by(far, d), at.by(-far, d)])
                    .filter(|p| page.fits(&one, p.x, p.y))
                    .min_by_key(|p| (p.far(at), *p))
            });
            if let Some(p) = place {
                self.done[piece] = true;
                page.merge(&one, p.x, p.y);
            }
        }
    }

    /// Where it stood before, if it has room there and its neighbours are still near.
    fn old_place(
        &self,
        page: &Patch,
        piece: PieceId,
        spots: &BTreeMap<NodeId, Vec<Point>>,
    ) -> Option<Item> {
        let old = self.old[piece]?;
        let mut own = Patch::default();
        own.put(self.plan, piece, old.at, old.turn);
        let pins: Vec<(Point, Dir, Option<NodeId>)> = (0..self.plan.symbols[piece].pins.len())
            .map(|k| {
                let p = self.plan.pin(piece, k, Point::default(), old.turn);
                (p.at, p.out, self.plan.node(piece, k))
            })
            .collect();
        (self.cost(&pins, old.at, spots, old.turn) <= 3 * WINDOW && page.fits(&own, 0, 0))
            .then_some(old)
    }

    fn best_place(
        &self,
        page: &Patch,
        piece: PieceId,
        spots: &BTreeMap<NodeId, Vec<Point>>,
    ) -> Item {
        let plan = self.plan;
        let nodes: Vec<NodeId> = plan.pieces[piece].nodes.iter().flatten().copied().collect();
        let targets: Vec<&Vec<Point>> = nodes
            .iter()
            .filter(|n| !plan.is_still(**n))
            .filter_map(|n| spots.get(n))
            .collect();
        // Round the two nearest places of its different nodes; round one if there is only one.
        let mut centre = targets
            .first()
            .and_then(|t| t.first())
            .copied()
            .unwrap_or_default();
        if targets.len() > 1 {
            let mut near = i32::MAX;
            for a in targets[0] {
                for b in targets[1] {
                    if a.far(*b) < near {
                        near = a.far(*b);
                        centre = Point::new((a.x + b.x) / 2, (a.y + b.y) / 2);
                    }
                }
            }
            // Far apart: stay by the first.
            if near > 3 * WINDOW
                && let Some(p) = targets[0].first()
            {
                centre = *p;
            }
        }
        let mut window = WINDOW;
        loop {
            let area = Area::round(centre, (window + 12) * UNIT);
            let near: Vec<Area> = page
                .clear
                .iter()
                .copied()
                .filter(|a| a.hits(&area))
                .collect();
            let mut best: Option<(i32, Item)> = None;
            for turn in Turn::ALL {
                if !may_turn(&plan.pieces[piece].form, turn) {
                    continue;
                }
                if turn.mirrored && plan.line(piece).is_some() && plan.symbols[piece].pins.len() < 3
                {
                    continue;
                }
                let room = plan.room(piece, turn);
                let pins: Vec<(Point, Dir, Option<NodeId>)> = (0..plan.symbols[piece].pins.len())
                    .map(|k| {
                        let p = plan.pin(piece, k, Point::default(), turn);
                        (p.at, p.out, plan.node(piece, k))
                    })
                    .collect();
                for dy in -window..=window {
                    for dx in -window..=window {
                        let at = centre.by(dx, dy);
                        let floor = best.as_ref().map_or(i32::MAX, |b| b.0);
                        let cost = self.cost(&pins, at, spots, turn);
                        if cost >= floor {
                            continue;
                        }
                        let free = room.iter().all(|r| {
                            let r = r.by(at.x, at.y);
                            near.iter().all(|a| !a.hits(&r))
                        });
                        if free {
                            best = Some((cost, Item { piece, at, turn }));
                        }
                    }
                }
            }
            if let Some((_, item)) = best {
                return item;
            }
            window += 10;
            if window > 200 {
                // Below everything.
                let y = page.extent().y1.div_euclid(UNIT) + 12;
                return Item {
                    piece,
                    at: Point::new(centre.x, y),
                    turn: Turn::NONE,
                };
            }
        }
    }

    fn cost(
        &self,
        pins: &[(Point, Dir, Option<NodeId>)],
        at: Point,
        spots: &BTreeMap<NodeId, Vec<Point>>,
        turn: Turn,
    ) -> i32 {
        let plan = self.plan;
        let mut cost = i32::from(turn.mirrored) + i32::from(turn.quarters > 1);
        for (p, out, node) in pins {
            let Some(node) = node else { continue };
            let p = at.by(p.x, p.y);
            match plan.class(*node) {
                Class::Ground | Class::Chassis | Class::Earth | Class::Bias => {
                    if *out != Dir::Down {
                        cost += 8;
                    }
                }
                Class::Rail => {
                    if *out != Dir::Up {
                        cost += 8;
                    }
                }
                Class::Signal => {
                    let Some(list) = spots.get(node) else {
                        continue;
                    };
                    let mut least = i32::MAX;
                    for q in list {
                        let (dx, dy) = (q.x - p.x, q.y - p.y);
                        let mut c = dx.abs() + dy.abs();
                        if dx != 0 && dy != 0 {
                            c += 3;
                        }
                        let (ox, oy) = out.step();
                        if dx * ox + dy * oy < 0 {
                            c += 7;
                        }
                        if dx == 0 && dy == 0 {
                            c += 20;
                        }
                        least = least.min(c);
                    }
                    cost += least;
                }
            }
        }
        cost
    }
}

/// Only parts of a few terminals may lie on their side or stand on their head.
fn may_turn(form: &crate::symbol::Form, turn: Turn) -> bool {
    use crate::symbol::Form;
    match form {
        Form::Valve(_)
        | Form::Rectifier(..)
        | Form::Jack(_)
        | Form::Phono
        | Form::Wound(..)
        | Form::Tank
        | Form::Box(..)
        | Form::Inlet(_)
        | Form::Selector(..)
        | Form::Bridge => turn.quarters == 0,
        Form::Speaker => turn.quarters.is_multiple_of(2),
        _ => true,
    }
}

fn note(plan: &crate::plan::Plan<'_>, item: &Item, spots: &mut BTreeMap<NodeId, Vec<Point>>) {
    for (k, node) in plan.pieces[item.piece].nodes.iter().enumerate() {
        if let Some(node) = node
            && !plan.is_still(*node)
        {
            spots
                .entry(*node)
                .or_default()
                .push(plan.pin(item.piece, k, item.at, item.turn).at);
        }
    }
}
