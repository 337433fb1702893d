//! How well a drawing reads: crossings, bends, length, and which conventions of the trade it keeps.
//!
//! A lower figure is better, apart from the conventions: each is counted as kept out of met.
//! They are common practice, no source: loads rise to their rail; leaks, cathode networks and
//! filter capacitors fall; signal and supply run from left to right; rails point up and grounds
//! down; output valves on one cathode network stand mirrored.

use crate::drawing::{Drawing, Placed};
use crate::geometry::{Dir, Point, UNIT};
use crate::place::signal_pairs;
use crate::plan::Class;
use crate::tag::Sort;
use serde::Serialize;
use wiring::circuit::Electrode;
use wiring::roles::{BlockKind, Role};

/// A convention: how often it is kept, and how often it was met.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Convention {
    /// In words.
    pub name: &'static str,
    /// Kept so often.
    pub kept: usize,
    /// Met so often.
    pub met: usize,
}

/// All figures of one drawing.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Score {
    /// Wires that cross.
    pub crossings: usize,
    /// Corners of wires.
    pub bends: usize,
    /// Wire in all, grid units.
    pub length: usize,
    /// Tags that stand for a wire.
    pub links: usize,
    /// Width in grid units.
    pub width: usize,
    /// Height in grid units.
    pub height: usize,
    /// Loose ends.
    pub loose: usize,
    /// Each convention.
    pub conventions: Vec<Convention>,
}

impl Score {
    /// Kept and met over all conventions.
    #[must_use]
    pub fn conventions_kept(&self) -> (usize, usize) {
        self.conventions
            .iter()
            .fold((0, 0), |(k, m), c| (k + c.kept, m + c.met))
    }
}

/// How often wires cross.
#[must_use]
pub fn crossings(d: &Drawing<'_>) -> usize {
    let runs: Vec<(usize, Point, Point)> = d
        .wires
        .iter()
        .enumerate()
        .flat_map(|(w, wire)| wire.runs.iter().map(move |(a, b)| (w, *a, *b)))
        .collect();
    let mut crossings = 0;
    for (i, (w, a, b)) in runs.iter().enumerate() {
        for (v, p, q) in &runs[i + 1..] {
            if w == v || (a.y == b.y) == (p.y == q.y) {
                continue;
            }
            let (level, upright) = if a.y == b.y {
                ((a, b), (p, q))
            } else {
                ((p, q), (a, b))
            };
            let inside = |v: i32, x: i32, y: i32| x.min(y) < v && v < x.max(y);
            if inside(upright.0.x, level.0.x, level.1.x)
                && inside(level.0.y, upright.0.y, upright.1.y)
            {
                crossings += 1;
            }
        }
    }
    crossings
}

/// Counts everything.
#[must_use]
pub fn score(d: &Drawing<'_>) -> Score {
    let crossings = crossings(d);
    let mut bends = 0;
    for w in &d.wires {
        for (i, (a, b)) in w.runs.iter().enumerate() {
            for (p, q) in &w.runs[i + 1..] {
                if (a.y == b.y) != (p.y == q.y)
                    && [a, b]
                        .iter()
                        .any(|x| (*x == p || *x == q) && !w.joints.contains(x))
                {
                    bends += 1;
                }
            }
        }
    }
    let length = d
        .wires
        .iter()
        .flat_map(|w| &w.runs)
        .map(|(a, b)| usize::try_from(a.far(*b)).unwrap_or(0))
        .sum();
    let links = d
        .tags
        .iter()
        .filter(|t| {
            t.sort == Sort::Named && d.tags.iter().any(|u| u.at != t.at && u.node == t.node)
        })
        .count();
    let units = |px: i32| usize::try_from(px / UNIT).unwrap_or(0);
    Score {
        crossings,
        bends,
        length,
        links,
        width: units(d.frame.width()),
        height: units(d.frame.height()),
        loose: d.tags.iter().filter(|t| t.sort == Sort::Loose).count(),
        conventions: conventions(d),
    }
}

struct Count {
    name: &'static str,
    kept: usize,
    met: usize,
}

impl Count {
    fn new(name: &'static str) -> Self {
        Self {
            name,
            kept: 0,
            met: 0,
        }
    }
    fn note(&mut self, kept: bool) {
        self.met += 1;
        self.kept += usize::from(kept);
    }
}

fn conventions(d: &Drawing<'_>) -> Vec<Convention> {
    let plan = &d.plan;
    let mut rise = Count::new("loads rise");
    let mut fall = Count::new("leaks and cathode networks fall");
    let mut filter = Count::new("filter capacitors fall");
    let mut supply = Count::new("supply runs left to right");
    let ends = |p: &Placed| -> Option<[(Point, wiring::circuit::NodeId); 2]> {
        let [(a, m), (b, n)] = plan.line(p.piece)?;
        Some([(p.pin(a).at, m), (p.pin(b).at, n)])
    };
    for p in &d.placed {
        let Some([(a, m), (b, n)]) = ends(p) else {
            continue;
        };
        // Lower end first.
        let order = |class: fn(Class) -> bool| -> Option<(Point, Point)> {
            if class(plan.class(m)) && !class(plan.class(n)) {
                Some((a, b))
            } else if class(plan.class(n)) && !class(plan.class(m)) {
                Some((b, a))
            } else {
                None
            }
        };
        if plan.has(p.piece, Role::PlateLoad)
            && let Some((rail, other)) = order(|c| c == Class::Rail)
        {
            rise.note(rail.y < other.y);
        }
        let low = |c: Class| {
            matches!(
                c,
                Class::Ground | Class::Chassis | Class::Earth | Class::Bias
            )
        };
        if plan.has_any(
            p.piece,
            &[
                Role::GridLeak,
                Role::CathodeResistor,
                Role::CathodeBypass,
                Role::CathodeLoad,
                Role::Tail,
                Role::InputLeak,
            ],
        ) && !plan.supply[p.piece]
        {
            if let Some((ground, other)) = order(low) {
                fall.note(ground.y > other.y);
            } else if plan.has_any(p.piece, &[Role::CathodeResistor, Role::Tail]) {
                // Into the middle of a chain: upright at least, the cathode's end on top.
                let on = |node| {
                    plan.pins_at(node).iter().any(|(q, k)| {
                        plan.pieces[*q].part.is_some()
                            && is_electrode(d, *q, *k, Electrode::Cathode)
                    })
                };
                match (on(m), on(n)) {
                    (true, false) => fall.note(a.y < b.y),
                    (false, true) => fall.note(b.y < a.y),
                    _ => fall.note(a.x == b.x),
                }
            }
        }
        if plan.has_any(p.piece, &[Role::Reservoir, Role::Filter, Role::BiasFilter])
            && let Some((ground, other)) = order(|c| matches!(c, Class::Ground | Class::Chassis))
        {
            filter.note(ground.y > other.y);
        }
        if plan.has_any(p.piece, &[Role::Dropping, Role::FilterChoke]) {
            let at = |node| plan.anatomy.rails.iter().position(|r| *r == node);
            if let (Some(i), Some(j)) = (at(m), at(n)) {
                supply.note(if i < j { a.x < b.x } else { b.x < a.x });
            }
        }
    }
    let mut signal = Count::new("signal runs left to right");
    for (from, to) in signal_pairs(plan) {
        let x = |piece: usize| d.placed.iter().find(|p| p.piece == piece).map(|p| p.at.x);
        if let (Some(a), Some(b)) = (x(from), x(to)) {
            signal.note(a <= b);
        }
    }
    let mut up = Count::new("rails up");
    let mut down = Count::new("grounds down");
    for t in &d.tags {
        match t.sort {
            Sort::Rail if plan.class(t.node) == Class::Rail => up.note(t.dir == Dir::Up),
            Sort::Ground | Sort::Chassis | Sort::Earth => down.note(t.dir == Dir::Down),
            Sort::Named if t.node == wiring::circuit::GROUND => down.note(false),
            _ => {}
        }
    }
    let mut mirror = Count::new("pairs on one cathode network mirrored");
    for b in plan
        .anatomy
        .blocks
        .iter()
        .filter(|b| b.kind == BlockKind::PushPull && b.sections.len() == 2)
    {
        let (x, y) = (&b.sections[0], &b.sections[1]);
        let shared =
            x.cathode == y.cathode && x.cathode.is_some_and(|k| plan.class(k) == Class::Signal);
        if !shared {
            continue;
        }
        let turn = |s| {
            let piece = plan.section(s)?;
            d.placed.iter().find(|p| p.piece == piece).map(|p| p.turn)
        };
        if let (Some(a), Some(b)) = (turn(x), turn(y)) {
            mirror.note(a.quarters != b.quarters);
        }
    }
    [rise, fall, filter, signal, supply, up, down, mirror]
        .into_iter()
        .map(|c| Convention {
            name: c.name,
            kept: c.kept,
            met: c.met,
        })
        .collect()
}

fn is_electrode(d: &Drawing<'_>, piece: usize, pin: usize, electrode: Electrode) -> bool {
    let p = &d.plan.pieces[piece];
    let Some(part) = p.part.and_then(|x| d.plan.circuit.parts.get(x.0)) else {
        return false;
    };
    let wiring::circuit::Kind::Valve(v) = &part.kind else {
        return false;
    };
    match p.pins.get(pin) {
        Some(crate::piece::PinOf::Terminal(t)) => v
            .electrodes
            .iter()
            .any(|u| u.terminal == *t && u.electrode == electrode),
        _ => false,
    }
}
