//! The page: lanes one below the other, lanes that come from others or run into them shifted
//! to where they belong, the supply at the bottom.

use super::Desk;
use super::lane::Lane;
use super::patch::Patch;
use crate::geometry::{Dir, Point, Turn, UNIT};
use crate::symbol::Form;
use std::collections::BTreeMap;
use wiring::circuit::NodeId;

impl Desk<'_, '_> {
    pub(super) fn page(&mut self) -> Patch {
        let anchors = self.anchors();
        let chains = self.chains(&anchors);
        self.fed
            .extend(chains.iter().filter_map(|c| c.tail.last()).map(|s| s.to));
        let mut lanes: Vec<Lane> = Vec::new();
        for chain in &chains {
            let lane = self.lane(&anchors, chain);
            lanes.push(lane);
        }
        let mut page = Patch::default();
        let mut shift: BTreeMap<usize, (i32, i32)> = BTreeMap::new();
        let mut met: BTreeMap<NodeId, Point> = BTreeMap::new();
        // Lanes that begin at an input stand at the left, one below the other.
        let joined: Vec<usize> = chains
            .iter()
            .filter(|c| c.main)
            .filter_map(|c| c.joins.map(|j| j.0))
            .collect();
        let is_trunk = |i: usize| joined.contains(&i) && chains[i].main;
        let trunk_head = |i: usize| chains.iter().any(|c| c.main && c.joins == Some((i, 0)));
        // Those that have a place already come before those that are new.
        let heads: Vec<usize> = (0..chains.len())
            .filter(|i| chains[*i].main && !trunk_head(*i) && !lanes[*i].patch.is_empty())
            .collect();
        let left = heads
            .iter()
            .find_map(|i| self.stood(&lanes[*i].patch))
            .map_or(0, |(x, _)| x);
        for new in [false, true] {
            for i in heads.iter().copied() {
                if self.stood(&lanes[i].patch).is_none() == new {
                    self.lay_lane(&mut page, &lanes[i], i, left, &mut shift, &mut met);
                }
            }
        }
        // Then trunks, to the right of all that runs into them, in the middle of them.
        for _ in 0..chains.len() {
            for i in 0..chains.len() {
                if shift.contains_key(&i) || !trunk_head(i) {
                    continue;
                }
                let feeders: Vec<usize> = (0..chains.len())
                    .filter(|c| chains[*c].main && chains[*c].joins == Some((i, 0)))
                    .collect();
                if feeders.iter().any(|f| !shift.contains_key(f)) {
                    continue;
                }
                let ends: Vec<Point> = feeders
                    .iter()
                    .filter_map(|f| shift.get(f).map(|(dx, dy)| lanes[*f].at.by(*dx, *dy)))
                    .collect();
                let x = ends.iter().map(|e| e.x).max().unwrap_or(0) + 3;
                let bases: Vec<i32> = feeders
                    .iter()
                    .filter_map(|f| shift.get(f).map(|(_, dy)| lanes[*f].base + dy))
                    .collect();
                let y = bases.iter().sum::<i32>() / i32::try_from(bases.len().max(1)).unwrap_or(1);
                let (dx, y) = match self.stood(&lanes[i].patch) {
                    Some((a, b))
                        if (x..x + 60).contains(&a) && page.fits(&lanes[i].patch, a, b) =>
                    {
                        (a, b)
                    }
                    _ => (page.slide(&lanes[i].patch, x, y), y),
                };
                page.merge(&lanes[i].patch, dx, y);
                for (n, p) in &lanes[i].met {
                    met.insert(*n, p.by(dx, y));
                }
                shift.insert(i, (dx, y));
            }
        }
        let _ = is_trunk;
        // Side lanes: below, ending where they run in.
        for i in 0..chains.len() {
            if shift.contains_key(&i) || lanes[i].patch.is_empty() {
                continue;
            }
            let goal = chains[i]
                .tail
                .last()
                .map(|s| s.to)
                .or(lanes[i].node)
                .and_then(|n| met.get(&n).copied());
            let width = lanes[i].patch.extent().width() / UNIT;
            let x = goal.map_or(0, |g| (g.x - width - 2).max(0));
            self.lay_lane(&mut page, &lanes[i], i, x, &mut shift, &mut met);
        }
        self.fit_rest_of(&mut page, false);
        self.supply_side = true;
        let supply = self.supply();
        let stood = self
            .stood(&supply)
            .filter(|(x, y)| page.fits(&supply, *x, *y));
        if let Some((x, y)) = stood {
            page.merge(&supply, x, y);
        } else if !supply.is_empty() {
            let e = supply.extent();
            let top = page.extent();
            let y = if page.is_empty() {
                0
            } else {
                top.y1.div_euclid(UNIT) + 4 - e.y0.div_euclid(UNIT)
            };
            let x = if page.is_empty() {
                0
            } else {
                top.x0.div_euclid(UNIT) - e.x0.div_euclid(UNIT)
            };
            // As high as it can stand.
            let y = if page.is_empty() {
                y
            } else {
                page.rise(&supply, x, y, -400)
            };
            page.merge(&supply, x, y + 2);
        }
        self.leftovers(&mut page);
        page
    }

    /// Whatever is not placed yet.
    pub(super) fn leftovers(&mut self, page: &mut Patch) {
        if !self.supply_side {
            self.fit_rest_of(page, false);
            self.supply_side = true;
        }
        self.fit_rest_of(page, true);
        self.fit_own(page);
        self.unwired(page);
    }

    /// The shift that puts most of a patch where it stood before.
    fn stood(&self, patch: &Patch) -> Option<(i32, i32)> {
        let mut shifts: BTreeMap<(i32, i32), usize> = BTreeMap::new();
        for item in &patch.items {
            if let Some(old) = self.old[item.piece].filter(|o| o.turn == item.turn) {
                *shifts
                    .entry((old.at.x - item.at.x, old.at.y - item.at.y))
                    .or_default() += 1;
            }
        }
        shifts
            .into_iter()
            .max_by_key(|(shift, n)| (*n, std::cmp::Reverse(*shift)))
            .map(|(shift, _)| shift)
    }

    fn fit_rest_of(&mut self, page: &mut Patch, supply: bool) {
        let held: Vec<usize> = (0..self.done.len())
            .filter(|p| !self.done[*p] && !supply && self.plan.supply[*p])
            .collect();
        for p in &held {
            self.done[*p] = true;
        }
        self.fit_rest(page);
        for p in held {
            self.done[p] = false;
        }
    }

    fn lay_lane(
        &mut self,
        page: &mut Patch,
        lane: &Lane,
        index: usize,
        x: i32,
        shift: &mut BTreeMap<usize, (i32, i32)>,
        met: &mut BTreeMap<NodeId, Point>,
    ) {
        let (x, y) = if let Some((x, y)) = self.stood(&lane.patch) {
            (x, page.sink(&lane.patch, x, y))
        } else if page.is_empty() {
            (x, 0)
        } else {
            // The lowest free place under everything that stands above it.
            let low = page.extent().y1.div_euclid(UNIT) + 60;
            (x, page.rise(&lane.patch, x, low, -199) + 2)
        };
        page.merge(&lane.patch, x, y);
        for (n, p) in &lane.met {
            met.entry(*n).or_insert(p.by(x, y));
        }
        shift.insert(index, (x, y));
    }

    /// Room for the rings at ends that no wire has reached.
    fn keep_rings(&self, patch: &mut Patch, piece: usize) {
        for (k, pin) in self.plan.symbols[piece].pins.iter().enumerate() {
            if self.plan.node(piece, k).is_none() {
                patch.clear.push(crate::tag::room(
                    crate::tag::Sort::Loose,
                    "",
                    pin.at,
                    pin.out,
                ));
            }
        }
    }

    /// Pieces that no wire ties to anything drawn: in a row at the bottom.
    fn unwired(&mut self, page: &mut Patch) {
        let plan = self.plan;
        loop {
            let left: Vec<usize> = (0..plan.pieces.len()).filter(|p| !self.done[*p]).collect();
            if left.is_empty() {
                break;
            }
            let e = page.extent();
            let (x0, y0) = if page.is_empty() {
                (0, 0)
            } else {
                (e.x0.div_euclid(UNIT) + 6, e.y1.div_euclid(UNIT) + 8)
            };
            let first = left[0];
            let mut row = Patch::default();
            self.done[first] = true;
            if let Some(old) = self.old[first] {
                let mut own = Patch::default();
                own.put(plan, first, old.at, old.turn);
                if page.fits(&own, 0, 0) {
                    page.merge(&own, 0, 0);
                    self.fit_rest(page);
                    continue;
                }
            }
            row.put(plan, first, Point::new(0, 0), Turn::NONE);
            self.keep_rings(&mut row, first);
            // Bare parts stand in the same row.
            let bare = |p: usize| plan.pieces[p].nodes.iter().all(Option::is_none);
            if bare(first) {
                for p in left.iter().skip(1).copied().filter(|p| bare(*p)) {
                    let mut own = Patch::default();
                    own.put(plan, p, Point::new(0, 0), Turn::NONE);
                    self.keep_rings(&mut own, p);
                    let dx = row.slide(&own, 1, 0);
                    if dx > 160 {
                        continue;
                    }
                    self.done[p] = true;
                    row.merge(&own, dx, 0);
                }
            }
            let top = row.extent().y0.div_euclid(UNIT);
            page.merge(&row, x0, y0 - top);
            self.fit_rest(page);
        }
        let _ = (Dir::Up, Form::TiePoint);
    }
}
