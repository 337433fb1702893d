//! Rules that every drawing keeps, and the list of what breaks them.

use crate::drawing::Drawing;
use crate::geometry::{Area, Point};
use std::fmt;

/// One broken rule.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Fault {
    /// Two symbols overlap.
    Overlap(String, String),
    /// A wire runs through a symbol.
    ThroughBody(String, Point),
    /// A wire runs over a terminal that is not its own.
    ForeignTerminal(String, Point),
    /// Wires of two nodes lie on each other or touch.
    WiresTouch(Point),
    /// A tag lies on something.
    TagOverlap(String, Point),
    /// A label lies on something.
    LabelOverlap(String),
    /// A piece has no label at all.
    Unlabelled(String),
    /// A piece is not drawn, or twice.
    Missing(String),
    /// What is joined on the page is not what is joined in the wiring.
    Joined(String),
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Overlap(a, b) => write!(f, "{a} overlaps {b}"),
            Self::ThroughBody(a, p) => write!(f, "a wire runs through {a} at {},{}", p.x, p.y),
            Self::ForeignTerminal(a, p) => write!(f, "a wire runs over {a} at {},{}", p.x, p.y),
            Self::WiresTouch(p) => write!(f, "two wires touch at {},{}", p.x, p.y),
            Self::TagOverlap(a, p) => write!(f, "tag {a} at {},{} lies on something", p.x, p.y),
            Self::LabelOverlap(a) => write!(f, "label {a} lies on something"),
            Self::Unlabelled(a) => write!(f, "{a} has no label"),
            Self::Missing(a) => write!(f, "{a} is not drawn once"),
            Self::Joined(a) => write!(f, "joined wrongly: {a}"),
        }
    }
}

/// Everything that is wrong.
#[must_use]
pub fn faults(d: &Drawing<'_>) -> Vec<Fault> {
    let mut out = Vec::new();
    pieces(d, &mut out);
    wires(d, &mut out);
    tags(d, &mut out);
    labels(d, &mut out);
    out.extend(crate::trip::differences(d).into_iter().map(Fault::Joined));
    out
}

fn name(d: &Drawing<'_>, piece: usize) -> String {
    d.plan.pieces[piece].name.clone()
}

fn pieces(d: &Drawing<'_>, out: &mut Vec<Fault>) {
    for p in 0..d.plan.pieces.len() {
        if d.placed.iter().filter(|x| x.piece == p).count() != 1 {
            out.push(Fault::Missing(name(d, p)));
        }
    }
    let extents = extents(d);
    for (i, (a, ea)) in d.placed.iter().zip(&extents).enumerate() {
        for (b, eb) in d.placed.iter().zip(&extents).skip(i + 1) {
            // Far apart: neither bodies nor ends meet.
            if !ea.wider(crate::geometry::UNIT).hits(eb) {
                continue;
            }
            let touch = a.symbol.pins.iter().any(|p| {
                b.symbol
                    .pins
                    .iter()
                    .any(|q| a.at.by(p.at.x, p.at.y) == b.at.by(q.at.x, q.at.y))
            });
            if touch || ea.wider(1).hits(eb) && a.bodies().any(|x| b.bodies().any(|y| x.hits(&y))) {
                out.push(Fault::Overlap(name(d, a.piece), name(d, b.piece)));
            }
        }
    }
}

/// Where each symbol reaches, in the order of the symbols.
fn extents(d: &Drawing<'_>) -> Vec<Area> {
    d.placed
        .iter()
        .map(|p| p.symbol.extent().by(p.at.x, p.at.y))
        .collect()
}

fn wires(d: &Drawing<'_>, out: &mut Vec<Fault>) {
    let runs: Vec<(usize, Point, Point, Area)> = d
        .wires
        .iter()
        .enumerate()
        .flat_map(|(w, wire)| {
            wire.runs
                .iter()
                .map(move |(a, b)| (w, *a, *b, Area::between(*a, *b, 1)))
        })
        .collect();
    for p in &d.placed {
        let e = p.symbol.extent().by(p.at.x, p.at.y).wider(2);
        for (w, _, _, a) in &runs {
            if !a.hits(&e) {
                continue;
            }
            if p.bodies().any(|b| b.hits(a)) {
                out.push(Fault::ThroughBody(
                    name(d, p.piece),
                    Point::new(a.x0 / crate::geometry::UNIT, a.y0 / crate::geometry::UNIT),
                ));
            }
            for k in 0..p.symbol.pins.len() {
                let at = p.pin(k).at;
                let node = d.plan.node(p.piece, k).map(|n| n.0);
                if a.hits(&Area::round(at, 1)) && node != Some(d.wires[*w].node) {
                    out.push(Fault::ForeignTerminal(d.plan.pin_text(p.piece, k), at));
                }
            }
        }
    }
    for (i, (w, a1, b1, x)) in runs.iter().enumerate() {
        for (v, a2, b2, y) in &runs[i + 1..] {
            if w == v || !x.hits(y) {
                continue;
            }
            // Allowed: a crossing, straight through for both.
            let level = |a: &Point, b: &Point| a.y == b.y;
            let crossing = level(a1, b1) != level(a2, b2) && {
                let at = if level(a1, b1) {
                    Point::new(a2.x, a1.y)
                } else {
                    Point::new(a1.x, a2.y)
                };
                ![a1, b1, a2, b2].contains(&&at)
                    && !d.wires[*w].joints.contains(&at)
                    && !d.wires[*v].joints.contains(&at)
            };
            if !crossing {
                out.push(Fault::WiresTouch(*a2));
            }
        }
    }
}

/// What the wires cover.
fn covered(d: &Drawing<'_>) -> Vec<Area> {
    d.wires
        .iter()
        .flat_map(|w| &w.runs)
        .map(|(p, q)| Area::between(*p, *q, 1))
        .collect()
}

fn tags(d: &Drawing<'_>, out: &mut Vec<Fault>) {
    let (runs, extents) = (covered(d), extents(d));
    for (i, t) in d.tags.iter().enumerate() {
        let a = t.area();
        let text = if t.text.is_empty() {
            format!("{:?}", t.sort)
        } else {
            t.text.clone()
        };
        let hit = d
            .placed
            .iter()
            .zip(&extents)
            .any(|(p, e)| e.wider(2).hits(&a) && p.bodies().any(|b| b.hits(&a)))
            || d.tags[i + 1..].iter().any(|u| u.area().hits(&a))
            || runs.iter().any(|r| r.hits(&a));
        if hit {
            out.push(Fault::TagOverlap(text, t.at));
        }
    }
}

fn labels(d: &Drawing<'_>, out: &mut Vec<Fault>) {
    for p in &d.placed {
        if !d.plan.pieces[p.piece].name.is_empty()
            && !d.labels.iter().any(|l| l.piece == Some(p.piece))
        {
            out.push(Fault::Unlabelled(name(d, p.piece)));
        }
    }
    let (runs, extents) = (covered(d), extents(d));
    let tags: Vec<Area> = d.tags.iter().map(crate::tag::Tag::area).collect();
    for (i, l) in d.labels.iter().enumerate() {
        let a = l.spot.area;
        let hit = d
            .placed
            .iter()
            .zip(&extents)
            .any(|(p, e)| e.wider(2).hits(&a) && p.bodies().any(|b| b.hits(&a)))
            || d.labels[i + 1..].iter().any(|m| m.spot.area.hits(&a))
            || tags.iter().any(|t| t.hits(&a))
            || runs.iter().any(|r| r.hits(&a));
        if hit {
            let text = l
                .spot
                .lines
                .iter()
                .flatten()
                .map(|t| t.0.as_str())
                .collect::<Vec<_>>()
                .join(" ");
            out.push(Fault::LabelOverlap(text));
        }
    }
}
