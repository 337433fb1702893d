//! A free place for every text that is laid over a drawing.

use super::ring::{Stroke, ring};
use super::{Flag, Mark, Overlay};
use crate::drawing::{Drawing, Placed};
use crate::geometry::{Area, Point, UNIT};
use crate::lettering::Taken;
use crate::physical::Physical;
use crate::tag::Sort;
use std::collections::{BTreeMap, BTreeSet};
use wiring::circuit::{NodeId, PartId};

/// Height of a flag, pixels.
pub(super) const TALL: i32 = 20;
/// Width of a verdict's sign, pixels.
pub(super) const SIGN: i32 = 27;
/// From the edge of a flag to its text, pixels.
pub(super) const PAD: i32 = 4;
/// From a symbol to the line round it, pixels.
const AWAY: i32 = 3;

/// What a drawing leaves free, kept apart from the drawing so that it outlives it.
#[derive(Debug, Clone)]
pub struct Room {
    /// Symbols, tags, labels, joints: nothing is ever put on these.
    solid: Vec<Area>,
    /// Wires: crossed by a flag only where there is no other place.
    wires: Vec<Area>,
    /// Texts, tags and joints: no line round a part runs through these.
    plain: Vec<Area>,
    /// Where each node can be pointed at, by its number, in pixels; the best first.
    points: BTreeMap<usize, Vec<Point>>,
    /// Where each part's pieces stand, by its number; the main piece first.
    parts: BTreeMap<usize, Vec<Area>>,
    frame: Area,
}

impl Room {
    /// Of a finished drawing.
    #[must_use]
    pub fn of(d: &Drawing<'_>) -> Self {
        let mut plain: Vec<Area> = d.tags.iter().map(crate::tag::Tag::area).collect();
        plain.extend(d.labels.iter().map(|l| l.spot.area));
        let mut wires = Vec::new();
        let mut points: BTreeMap<usize, Vec<Point>> = BTreeMap::new();
        let pixels = |p: Point| Point::new(p.x * UNIT, p.y * UNIT);
        for w in &d.wires {
            plain.extend(w.joints.iter().map(|j| Area::round(*j, 4)));
            let at = points.entry(w.node).or_default();
            at.extend(w.joints.iter().copied().map(pixels));
            for (a, b) in &w.runs {
                wires.push(Area::between(*a, *b, 1));
                let (dx, dy) = ((b.x - a.x).signum(), (b.y - a.y).signum());
                let mut p = *a;
                while p != *b {
                    at.push(pixels(p));
                    p = p.by(dx, dy);
                }
                at.push(pixels(*b));
            }
        }
        for p in &d.placed {
            for k in 0..p.symbol.pins.len() {
                if let Some(node) = d.plan.node(p.piece, k) {
                    points.entry(node.0).or_default().push(pixels(p.pin(k).at));
                }
            }
        }
        for t in &d.tags {
            if t.sort != Sort::Loose {
                points.entry(t.node.0).or_default().push(pixels(t.at));
            }
        }
        let mut parts: BTreeMap<usize, Vec<Area>> = BTreeMap::new();
        for p in &d.placed {
            let piece = &d.plan.pieces[p.piece];
            if let Some(part) = piece.part
                && piece.which != crate::piece::Which::Heater
            {
                parts
                    .entry(part.0)
                    .or_default()
                    .push(p.symbol.extent().by(p.at.x, p.at.y));
            }
        }
        let mut solid: Vec<Area> = d.placed.iter().flat_map(Placed::bodies).collect();
        solid.extend(&plain);
        Self {
            solid,
            plain,
            wires,
            points,
            parts,
            frame: d.frame,
        }
    }

    /// Of a view of where the parts sit.
    #[must_use]
    pub fn sits(v: &Physical<'_>) -> Self {
        let mut plain: Vec<Area> = v.groups.iter().map(|g| g.title_area).collect();
        let mut solid = Vec::new();
        let mut points: BTreeMap<usize, Vec<Point>> = BTreeMap::new();
        let mut parts: BTreeMap<usize, Vec<Area>> = BTreeMap::new();
        for b in &v.bodies {
            plain.extend(b.texts.iter().map(|t| t.1));
            solid.push(b.outline);
            parts.insert(b.part, vec![b.outline]);
            let terminals = v
                .circuit
                .parts
                .get(b.part)
                .map_or(&[][..], |p| &p.terminals);
            for (end, terminal) in b.ends.iter().zip(terminals) {
                let (x, y) = end.at;
                plain.push(Area::new(x - 6, y - 6, x + 6, y + 6));
                if let Some(node) = terminal.node {
                    points.entry(node.0).or_default().push(Point::new(x, y));
                }
            }
        }
        solid.extend(&plain);
        let mut wires = Vec::new();
        for w in &v.wires {
            let at: Vec<(i32, i32)> = w.along().collect();
            wires.extend(at.windows(2).map(|p| {
                let ((ax, ay), (bx, by)) = (p[0], p[1]);
                Area::new(ax.min(bx), ay.min(by), ax.max(bx), ay.max(by)).wider(1)
            }));
        }
        Self {
            solid,
            wires,
            plain,
            points,
            parts,
            frame: Area::new(0, 0, v.width, v.height),
        }
    }
}

/// A flag with its place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Flagged {
    /// What it says.
    pub flag: Flag,
    /// What it covers.
    pub area: Area,
    /// The place of the point that it stands for, in pixels.
    pub at: Point,
}

/// A mark with its place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Marked {
    /// What it says.
    pub mark: Mark,
    /// The line round the symbols of the part; empty for a second mark of the same part.
    pub round: Vec<Stroke>,
    /// Where the words stand; none where only the line round the symbol found room.
    pub area: Option<Area>,
    /// The symbol that they stand for.
    pub body: Area,
}

/// An overlay with a place for all of it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Laid {
    /// Flags with their places.
    pub flags: Vec<Flagged>,
    /// Marks with their places.
    pub marks: Vec<Marked>,
    /// The point under the hand, in pixels.
    pub here: Option<Point>,
    /// Flags that found no place, or whose point is not on the page.
    pub left: Vec<Flag>,
    /// Marks that found none.
    pub left_marks: Vec<Mark>,
}

/// Width and height of a flag.
fn size(flag: &Flag) -> (i32, i32) {
    let mut w =
        2 * PAD + typeface::width(&flag.read, true) + typeface::width(&flag.expected, false);
    if !flag.read.is_empty() && !flag.expected.is_empty() {
        w += typeface::width(" for ", false);
    }
    if signed(flag) {
        w += SIGN;
        if let Some(letter) = flag.standing.letter() {
            w += typeface::width(letter, true) + 5;
        }
    }
    (w, TALL)
}

/// Has the flag a verdict, and so a sign?
pub(super) fn signed(flag: &Flag) -> bool {
    !matches!(
        flag.standing,
        super::Standing::Expected | super::Standing::Read
    )
}

/// Finds a place for everything. Verdicts of trouble choose first, then what was read.
#[must_use]
pub fn lay(room: &Room, overlay: &Overlay) -> Laid {
    let mut solid = Taken::default();
    for a in &room.solid {
        solid.add(a.wider(1));
    }
    let mut wires = Taken::default();
    for a in &room.wires {
        wires.add(a.wider(1));
    }
    let mut out = Laid {
        here: overlay
            .here
            .and_then(|n| room.points.get(&n.0)?.first().copied()),
        ..Laid::default()
    };
    if let Some(here) = out.here {
        solid.add(Area::new(
            here.x - 15,
            here.y - 15,
            here.x + 15,
            here.y + 15,
        ));
    }
    let mut order: Vec<&Flag> = overlay.flags.iter().collect();
    order.sort_by_key(|f| match f.standing {
        super::Standing::Outside(_) => 0,
        super::Standing::Doubtful(_) => 1,
        super::Standing::Inside | super::Standing::Read => 2,
        super::Standing::Expected => 3,
    });
    for flag in order {
        match spot(room, flag.node, size(flag), &solid, &wires) {
            Some((area, at)) => {
                solid.add(area.wider(2));
                out.flags.push(Flagged {
                    flag: flag.clone(),
                    area,
                    at,
                });
            }
            None => out.left.push(flag.clone()),
        }
    }
    let mut marks: Vec<&Mark> = overlay.marks.iter().collect();
    marks.sort_by_key(|m| (m.sort, m.part));
    // The most serious mark of a part draws the line round it, each has its words.
    let mut lined: BTreeSet<PartId> = BTreeSet::new();
    let mut lines: Vec<&[Area]> = Vec::new();
    for mark in marks {
        let Some(bodies) = room.parts.get(&mark.part.0) else {
            out.left_marks.push(mark.clone());
            continue;
        };
        let round: &[Area] = if lined.insert(mark.part) { bodies } else { &[] };
        let w = typeface::width(&mark.text, true) + 2 * PAD;
        let area = bodies
            .first()
            .and_then(|b| beside(room, *b, (w, TALL), &solid, &wires));
        if let Some(a) = area {
            solid.add(a.wider(2));
        } else {
            out.left_marks.push(mark.clone());
        }
        lines.push(round);
        out.marks.push(Marked {
            mark: mark.clone(),
            round: Vec::new(),
            area,
            body: bodies.first().copied().unwrap_or(room.frame),
        });
    }
    // Lines last: they give way to every text that found its place.
    let mut keep = room.plain.clone();
    keep.extend(out.flags.iter().map(|f| f.area));
    keep.extend(out.marks.iter().filter_map(|m| m.area));
    for (mark, bodies) in out.marks.iter_mut().zip(&lines) {
        for body in *bodies {
            mark.round.extend(ring(&body.wider(AWAY), &keep, 1));
        }
    }
    out
}

/// How many solid things the dotted line from a text to what it stands for runs through.
fn leader(a: &Area, (x, y): (i32, i32), solid: &Taken) -> i32 {
    let (nx, ny) = (x.clamp(a.x0, a.x1), y.clamp(a.y0, a.y1));
    let far = (nx - x).abs().max((ny - y).abs());
    // From a little outside the text to a little before the point, which may lie on a symbol itself.
    let steps = (far - 12) / 4;
    let mut hits = 0;
    let mut inside = false;
    for i in 1..steps {
        let (px, py) = (nx + (x - nx) * i * 4 / far, ny + (y - ny) * i * 4 / far);
        let hit = !solid.free(&Area::new(px, py, px + 1, py + 1));
        hits += i32::from(hit && !inside);
        inside = hit;
    }
    hits
}

/// The cheapest free place near a point of the node: near, off the wires, on the page.
fn spot(
    room: &Room,
    node: NodeId,
    (w, h): (i32, i32),
    solid: &Taken,
    wires: &Taken,
) -> Option<(Area, Point)> {
    let points = room.points.get(&node.0)?;
    let mut best: Option<(i32, Area, Point)> = None;
    for (i, p) in points.iter().enumerate() {
        let (x, y) = (p.x, p.y);
        // Joints come first in the list: they are where a probe is put.
        let late = i32::try_from(i.min(40)).unwrap_or(40) / 4;
        for ring in 0..9 {
            let gap = 5 + 8 * ring;
            let cost = ring * 6 + late;
            if best.as_ref().is_some_and(|b| b.0 <= cost) {
                break;
            }
            for (k, (ox, oy)) in [
                (gap, -gap - h),
                (gap, gap),
                (-gap - w, -gap - h),
                (-gap - w, gap),
                (gap, -h / 2),
                (-gap - w, -h / 2),
                (-w / 2, -gap - h),
                (-w / 2, gap),
            ]
            .into_iter()
            .enumerate()
            {
                let a = Area::new(x + ox, y + oy, x + ox + w, y + oy + h);
                if !room.frame.wider(-2).holds(&a) || !solid.free(&a) {
                    continue;
                }
                let over = if wires.free(&a) { 0 } else { 60 };
                let led = 25 * leader(&a, (x, y), solid);
                let cost = cost + over + led + i32::try_from(k).unwrap_or(0) / 4;
                if best.as_ref().is_none_or(|b| cost < b.0) {
                    best = Some((cost, a, *p));
                }
            }
        }
    }
    best.map(|b| (b.1, b.2))
}

/// The cheapest free place beside a symbol.
fn beside(room: &Room, b: Area, (w, h): (i32, i32), solid: &Taken, wires: &Taken) -> Option<Area> {
    let (mx, my) = ((b.x0 + b.x1) / 2, (b.y0 + b.y1) / 2);
    let mut best: Option<(i32, Area)> = None;
    for ring in 0..14 {
        let gap = 4 + 7 * ring;
        if best.is_some_and(|b| b.0 <= ring * 6) {
            break;
        }
        for (k, (x, y)) in [
            (mx - w / 2, b.y1 + gap),
            (mx - w / 2, b.y0 - gap - h),
            (b.x1 + gap, my - h / 2),
            (b.x0 - gap - w, my - h / 2),
            (b.x1 + gap, b.y1 - h / 2),
            (b.x0 - gap - w, b.y1 - h / 2),
            (b.x1 + gap, b.y0 - h / 2),
            (b.x0 - gap - w, b.y0 - h / 2),
            (b.x1 + gap, b.y1 + gap),
            (b.x0 - gap - w, b.y1 + gap),
            (b.x1 + gap, b.y0 - gap - h),
            (b.x0 - gap - w, b.y0 - gap - h),
        ]
        .into_iter()
        .enumerate()
        {
            let a = Area::new(x, y, x + w, y + h);
            if !room.frame.wider(-2).holds(&a) || !solid.free(&a) {
                continue;
            }
            let over = if wires.free(&a) { 0 } else { 40 };
            let led = 25 * leader(&a, nearest(&b, &a), solid);
            let cost = ring * 6 + over + led + i32::try_from(k).unwrap_or(0) / 4;
            if best.is_none_or(|b| cost < b.0) {
                best = Some((cost, a));
            }
        }
    }
    best.map(|b| b.1)
}

/// The point of a symbol's outline that is nearest to a text.
pub(super) fn nearest(body: &Area, text: &Area) -> (i32, i32) {
    let (x, y) = ((text.x0 + text.x1) / 2, (text.y0 + text.y1) / 2);
    (x.clamp(body.x0, body.x1), y.clamp(body.y0, body.y1))
}

/// What is wrong with a laid overlay: a text on a symbol, a tag, a label, a joint, another text,
/// or off the page. Empty for whatever [`lay`] gives.
#[must_use]
pub fn faults(room: &Room, laid: &Laid) -> Vec<String> {
    let mut out = Vec::new();
    let texts: Vec<(&str, Area)> = laid
        .flags
        .iter()
        .map(|f| (f.flag.point.as_str(), f.area))
        .chain(
            laid.marks
                .iter()
                .filter_map(|m| Some((m.mark.text.as_str(), m.area?))),
        )
        .collect();
    for (i, (name, a)) in texts.iter().enumerate() {
        if room.solid.iter().any(|b| b.hits(a)) {
            out.push(format!("{name} lies on the drawing"));
        }
        if texts[i + 1..].iter().any(|(_, b)| b.hits(a)) {
            out.push(format!("{name} lies on another text"));
        }
        if !room.frame.holds(a) {
            out.push(format!("{name} is off the page"));
        }
    }
    for m in &laid.marks {
        for (x0, y0, x1, y1) in &m.round {
            let line = Area::new(*x0, *y0, *x1, *y1).wider(1);
            if room.plain.iter().any(|b| b.hits(&line)) || texts.iter().any(|t| t.1.hits(&line)) {
                out.push(format!(
                    "the line round {} runs through a text",
                    m.mark.text
                ));
            }
        }
    }
    for f in &laid.flags {
        if !room
            .points
            .get(&f.flag.node.0)
            .is_some_and(|p| p.contains(&f.at))
        {
            out.push(format!("{} points elsewhere", f.flag.point));
        }
    }
    out
}
