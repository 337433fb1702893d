//! The round trip: what is joined, read back from the drawn page alone.
//!
//! Only drawn things count: ends of straight runs, dots, where terminals lie, tags by their
//! symbol or their text, names written at a wire. Two runs that cross without a dot are apart.

use crate::drawing::Drawing;
use crate::geometry::{Area, Point};
use crate::piece::PinOf;
use crate::tag::{Sort, short};
use std::collections::{BTreeMap, BTreeSet};

/// One thing that can be joined.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
enum Thing {
    Terminal(String),
    Name(String),
}

/// Every difference between the page and the wiring, in words.
#[must_use]
pub fn differences(d: &Drawing<'_>) -> Vec<String> {
    let page = drawn(d);
    let text = wired(d);
    let mut out = Vec::new();
    for set in &text {
        if !page.contains(set) {
            let near = page.iter().find(|p| !p.is_disjoint(set));
            let show = |s: &BTreeSet<Thing>| {
                s.iter()
                    .map(|t| match t {
                        Thing::Terminal(x) | Thing::Name(x) => x.clone(),
                    })
                    .collect::<Vec<_>>()
                    .join(" ")
            };
            out.push(format!(
                "wired {{{}}}, drawn {{{}}}",
                show(set),
                near.map_or_else(String::new, show)
            ));
        }
    }
    if out.is_empty() && page.len() != text.len() {
        out.push(format!("{} groups wired, {} drawn", text.len(), page.len()));
    }
    out
}

/// What the wiring says: groups of two and more.
fn wired(d: &Drawing<'_>) -> BTreeSet<BTreeSet<Thing>> {
    let mut out = BTreeSet::new();
    for (n, node) in d.plan.circuit.nodes.iter().enumerate() {
        let mut set = BTreeSet::new();
        for (p, t) in &node.terminals {
            let Some(part) = d.plan.circuit.parts.get(p.0) else {
                continue;
            };
            set.insert(Thing::Terminal(format!(
                "{}.{}",
                part.name,
                part.terminals.get(*t).map_or("", |t| t.name.as_str())
            )));
        }
        if n == 0 {
            // The ground symbol stands for every name of circuit ground. Only the bond of earth
            // and chassis at the inlet is drawn by symbols of their own.
            set.insert(Thing::Name("ground".to_owned()));
            let bonded = node.names.iter().any(|x| x == "earth")
                && d.plan
                    .pins_at(wiring::circuit::GROUND)
                    .iter()
                    .any(|(p, _)| d.plan.pieces[*p].which == crate::piece::Which::Inlet);
            if bonded {
                set.insert(Thing::Name("earth".to_owned()));
                if !d.plain && node.names.iter().any(|x| x == "chassis") {
                    set.insert(Thing::Name("chassis".to_owned()));
                }
            }
            // A mains conductor on circuit ground: told as an error, and drawn as it was typed.
            for (pin, name) in crate::piece::MAINS.iter().enumerate().take(2) {
                let drawn = d
                    .plan
                    .pins_at(wiring::circuit::GROUND)
                    .iter()
                    .any(|(p, k)| d.plan.pieces[*p].pins.get(*k) == Some(&PinOf::Mains(pin)));
                if drawn {
                    set.insert(Thing::Name((*name).to_owned()));
                }
            }
        } else {
            set.extend(node.names.iter().map(|x| Thing::Name(short(x))));
        }
        if !d.plan.pins_at(wiring::circuit::NodeId(n)).is_empty() && set.len() > 1 {
            out.insert(set);
        }
    }
    out
}

/// One word for the several that mean circuit ground.
fn canonical(name: &str) -> String {
    if matches!(name, "gnd" | "0V" | "ground") {
        "ground".to_owned()
    } else {
        name.to_owned()
    }
}

/// Straight runs by the height or the place across that they keep.
type Lines = BTreeMap<i32, Vec<(Point, Point)>>;

/// What the page says.
fn drawn(d: &Drawing<'_>) -> BTreeSet<BTreeSet<Thing>> {
    // Points that are joined: union by place.
    let mut index: BTreeMap<Point, usize> = BTreeMap::new();
    let mut parent: Vec<usize> = Vec::new();
    let mut point = |p: Point, parent: &mut Vec<usize>| {
        *index.entry(p).or_insert_with(|| {
            parent.push(parent.len());
            parent.len() - 1
        })
    };
    fn root(parent: &[usize], mut i: usize) -> usize {
        while parent[i] != i {
            i = parent[i];
        }
        i
    }
    let union = |a: usize, b: usize, parent: &mut Vec<usize>| {
        let (a, b) = (root(parent, a), root(parent, b));
        if a != b {
            parent[a.max(b)] = a.min(b);
        }
    };
    let runs: Vec<(Point, Point)> = d.wires.iter().flat_map(|w| w.runs.clone()).collect();
    for (a, b) in &runs {
        let (x, y) = (point(*a, &mut parent), point(*b, &mut parent));
        union(x, y, &mut parent);
    }
    // Runs by the line they lie on, so that few are looked at.
    let (mut level, mut upright): (Lines, Lines) = Default::default();
    for run in &runs {
        if run.0.y == run.1.y {
            level.entry(run.0.y).or_default().push(*run);
        } else {
            upright.entry(run.0.x).or_default().push(*run);
        }
    }
    let under = |p: Point| {
        let level = level.get(&p.y).into_iter().flatten();
        let upright = upright.get(&p.x).into_iter().flatten();
        level
            .chain(upright)
            .filter(move |(a, b)| Area::between(*a, *b, 1).holds(&Area::round(p, 1)))
    };
    // A dot joins all that passes under it.
    for j in d.wires.iter().flat_map(|w| &w.joints) {
        let at = point(*j, &mut parent);
        for run in under(*j) {
            let x = point(run.0, &mut parent);
            union(at, x, &mut parent);
        }
    }
    // Terminals and tags lie on the ends of runs, on a run, or on each other.
    let mut things: Vec<(usize, Thing)> = Vec::new();
    let touch = |p: Point,
                 parent: &mut Vec<usize>,
                 point: &mut dyn FnMut(Point, &mut Vec<usize>) -> usize| {
        let at = point(p, parent);
        for run in under(p) {
            let x = point(run.0, parent);
            let (a, b) = (root(parent, at), root(parent, x));
            if a != b {
                parent[a.max(b)] = a.min(b);
            }
        }
        at
    };
    for p in &d.placed {
        let piece = &d.plan.pieces[p.piece];
        for k in 0..p.symbol.pins.len() {
            let at = touch(p.pin(k).at, &mut parent, &mut point);
            let thing = match piece.pins.get(k) {
                Some(PinOf::Terminal(_)) => Thing::Terminal(d.plan.pin_text(p.piece, k)),
                _ => Thing::Name(d.plan.pin_text(p.piece, k)),
            };
            things.push((at, thing));
        }
    }
    let mut by_tag: BTreeMap<String, usize> = BTreeMap::new();
    for t in &d.tags {
        let at = touch(t.at, &mut parent, &mut point);
        let key = match t.sort {
            Sort::Ground => "ground".to_owned(),
            Sort::Chassis => "chassis".to_owned(),
            Sort::Earth => "earth".to_owned(),
            Sort::Rail | Sort::Named => t.text.clone(),
            Sort::Loose | Sort::PutAway => continue,
        };
        if let Some(other) = by_tag.get(&key) {
            union(at, *other, &mut parent);
        } else {
            by_tag.insert(key.clone(), at);
        }
        for name in key.split(" / ") {
            // A tag may be called after a terminal: that is no further name.
            if !name.contains('.')
                || d.plan
                    .circuit
                    .nodes
                    .iter()
                    .any(|n| n.names.iter().any(|x| short(x) == name))
            {
                things.push((at, Thing::Name(canonical(name))));
            }
        }
    }
    for l in &d.labels {
        if let (Some(anchor), Some(_)) = (l.anchor, l.node) {
            let at = touch(anchor, &mut parent, &mut point);
            for (text, _) in l.spot.lines.iter().flatten() {
                for name in text.split(" / ") {
                    things.push((at, Thing::Name(canonical(name))));
                }
            }
        }
    }
    let mut sets: BTreeMap<usize, BTreeSet<Thing>> = BTreeMap::new();
    for (at, thing) in things {
        sets.entry(root(&parent, at)).or_default().insert(thing);
    }
    sets.into_values().filter(|s| s.len() > 1).collect()
}
