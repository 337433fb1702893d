//! What is wrong with a physical view; empty for every circuit.

use super::Physical;
use crate::geometry::Area;
use std::collections::{BTreeMap, BTreeSet};

/// Every part exactly once, nothing overlaps, all texts inside, and what is joined on the page, by wires and names, is what
/// is joined in the wiring.
#[must_use]
pub fn faults(v: &Physical<'_>) -> Vec<String> {
    let mut out = Vec::new();
    let page = Area::new(0, 0, v.width, v.height);
    let name = |i: usize| v.circuit.parts.get(i).map_or("?", |p| p.name.as_str());
    let mut parts: Vec<usize> = v.bodies.iter().map(|b| b.part).collect();
    parts.sort_unstable();
    if parts != (0..v.circuit.parts.len()).collect::<Vec<_>>() {
        out.push("not every part is there exactly once".to_owned());
    }
    for (i, a) in v.bodies.iter().enumerate() {
        if !page.holds(&a.area) {
            out.push(format!("{} is off the page", name(a.part)));
        }
        for b in &v.bodies[..i] {
            if a.area.hits(&b.area) {
                out.push(format!("{} meets {}", name(a.part), name(b.part)));
            }
        }
        for (n, (words, area, _)) in a.texts.iter().enumerate() {
            if !a.area.holds(area) {
                out.push(format!("`{words}` leaves {}", name(a.part)));
            }
            for (other, b, _) in &a.texts[..n] {
                if area.hits(b) {
                    out.push(format!("`{words}` meets `{other}` at {}", name(a.part)));
                }
            }
        }
    }
    for g in &v.groups {
        if v.bodies.iter().any(|b| b.area.hits(&g.title_area)) {
            out.push(format!("a part lies on the title `{}`", g.title));
        }
    }
    let (drawn, wired) = (drawn(v), wired(v));
    for set in wired.symmetric_difference(&drawn) {
        out.push(format!("joined on one side only: {set:?}"));
    }
    out
}

type Sets = BTreeSet<BTreeSet<(usize, usize)>>;

/// Groups of two and more terminals, by the wiring.
fn wired(v: &Physical<'_>) -> Sets {
    let nodes = v.circuit.nodes.iter();
    nodes
        .map(|n| n.terminals.iter().map(|(p, t)| (p.0, *t)).collect())
        .filter(|s: &BTreeSet<_>| s.len() > 1)
        .collect()
}

/// The same from the page: ends in one place, wires between places, and equal names are one.
fn drawn(v: &Physical<'_>) -> Sets {
    let ends: Vec<(usize, usize, &super::End)> = v
        .bodies
        .iter()
        .flat_map(|b| b.ends.iter().enumerate().map(|(t, e)| (b.part, t, e)))
        .collect();
    let mut of: Vec<usize> = (0..ends.len()).collect();
    let mut join = |a: usize, b: usize| {
        let (from, to) = (of[a], of[b]);
        if from != to {
            for x in &mut of {
                if *x == from {
                    *x = to;
                }
            }
        }
    };
    let mut places: BTreeMap<(i32, i32), usize> = BTreeMap::new();
    let mut names: BTreeMap<&str, usize> = BTreeMap::new();
    for (i, (_, _, e)) in ends.iter().enumerate() {
        join(i, *places.entry(e.at).or_insert(i));
        if let Some(tag) = &e.tag {
            join(i, *names.entry(tag).or_insert(i));
        }
    }
    for w in &v.wires {
        if let (Some(a), Some(b)) = (places.get(&w.from), places.get(&w.to)) {
            join(*a, *b);
        }
    }
    let mut sets: BTreeMap<usize, BTreeSet<(usize, usize)>> = BTreeMap::new();
    for (i, (p, t, _)) in ends.iter().enumerate() {
        sets.entry(of[i]).or_default().insert((*p, *t));
    }
    sets.into_values().filter(|s| s.len() > 1).collect()
}
