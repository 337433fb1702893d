//! Puts every label where nothing else is.

use crate::drawing::{Drawing, Label};
use crate::font;
use crate::geometry::{Area, Point, UNIT};
use crate::label::{Side, Spot, spots};
use crate::plan::Class;
use std::collections::BTreeMap;
use wiring::circuit::NodeId;

/// Areas by squares of the page, so that few are looked at.
#[derive(Debug, Default)]
struct Taken {
    squares: BTreeMap<(i32, i32), Vec<Area>>,
}

const SQUARE: i32 = 8 * UNIT;

impl Taken {
    fn each(a: &Area) -> impl Iterator<Item = (i32, i32)> {
        let (x0, x1) = (a.x0.div_euclid(SQUARE), a.x1.div_euclid(SQUARE));
        let (y0, y1) = (a.y0.div_euclid(SQUARE), a.y1.div_euclid(SQUARE));
        (y0..=y1).flat_map(move |y| (x0..=x1).map(move |x| (x, y)))
    }
    fn add(&mut self, a: Area) {
        for square in Self::each(&a) {
            self.squares.entry(square).or_default().push(a);
        }
    }
    fn free(&self, a: &Area) -> bool {
        Self::each(a).all(|s| {
            self.squares
                .get(&s)
                .is_none_or(|list| list.iter().all(|b| !b.hits(a)))
        })
    }
}

/// Labels of all symbols and of named wires.
pub(crate) fn letter(d: &Drawing<'_>) -> Vec<Label> {
    let plan = &d.plan;
    let mut taken = Taken::default();
    for p in &d.placed {
        for b in p.bodies() {
            taken.add(b.wider(2));
        }
    }
    for t in &d.tags {
        taken.add(t.area().wider(1));
    }
    for w in &d.wires {
        for (a, b) in &w.runs {
            taken.add(Area::between(*a, *b, 2));
        }
        for j in &w.joints {
            taken.add(Area::round(*j, 4));
        }
    }
    let mut out = Vec::new();
    let mut order: Vec<usize> = (0..d.placed.len()).collect();
    order.sort_by_key(|i| {
        let p = &d.placed[*i];
        (
            u8::from(!matches!(
                plan.pieces[p.piece].form,
                crate::symbol::Form::Valve(_)
            )),
            *i,
        )
    });
    for i in order {
        let p = &d.placed[i];
        let piece = &plan.pieces[p.piece];
        let all = spots(piece, &p.symbol);
        let found = all
            .into_iter()
            .map(|s| Spot {
                area: s.area.by(p.at.x, p.at.y),
                ..s
            })
            .find(|s| taken.free(&s.area))
            .or_else(|| short(piece, p, &taken));
        if let Some(spot) = found {
            taken.add(spot.area.wider(1));
            out.push(Label {
                piece: Some(p.piece),
                node: None,
                spot,
                anchor: None,
            });
        }
    }
    names(d, &mut taken, &mut out);
    out
}

/// The designator alone, ever further out.
fn short(
    piece: &crate::piece::Piece,
    p: &crate::drawing::Placed,
    taken: &Taken,
) -> Option<Spot> {
    if piece.name.is_empty() {
        return None;
    }
    let w = font::width(&piece.name, true);
    let e = p.symbol.extent().by(p.at.x, p.at.y);
    let (mx, my) = ((e.x0 + e.x1) / 2, (e.y0 + e.y1) / 2);
    for ring in 0..60 {
        let r = ring * 6;
        for (x, y) in [
            (e.x1 + 4 + r, my - 8),
            (e.x0 - 4 - r - w, my - 8),
            (mx - w / 2, e.y0 - 18 - r),
            (mx - w / 2, e.y1 + 4 + r),
            (e.x1 + 4 + r, e.y0 - 18 - r),
            (e.x0 - 4 - r - w, e.y0 - 18 - r),
            (e.x1 + 4 + r, e.y1 + 4 + r),
            (e.x0 - 4 - r - w, e.y1 + 4 + r),
        ] {
            let area = Area::new(x, y, x + w, y + font::SIZE);
            if taken.free(&area) {
                return Some(Spot {
                    lines: vec![vec![(piece.name.clone(), true)]],
                    area,
                    side: Side::Start,
                });
            }
        }
    }
    None
}

/// Names of points at their wires, where no tag says them.
fn names(d: &Drawing<'_>, taken: &mut Taken, out: &mut Vec<Label>) {
    for (n, node) in d.plan.circuit.nodes.iter().enumerate() {
        let id = NodeId(n);
        if node.names.is_empty() || d.plan.class(id) != Class::Signal {
            continue;
        }
        if d.tags.iter().any(|t| t.node == id && !t.text.is_empty()) {
            continue;
        }
        // The mains ends are named by the inlet.
        if d.plan
            .pins_at(id)
            .iter()
            .any(|(p, _)| d.plan.pieces[*p].which == crate::piece::Which::Inlet)
        {
            continue;
        }
        let text = d.plan.tag_text(id);
        let w = font::width(&text, false) + 2;
        let mut best: Option<(i32, Area, Point)> = None;
        for wire in d.wires.iter().filter(|w| w.node == n) {
            for (a, b) in &wire.runs {
                let level = a.y == b.y;
                let (dx, dy) = ((b.x - a.x).signum(), (b.y - a.y).signum());
                let mut p = *a;
                loop {
                    let (x, y) = (p.x * UNIT, p.y * UNIT);
                    let options: &[(i32, i32, i32)] = if level {
                        &[(-w / 2, -4 - font::SIZE, 0), (-w / 2, 4, 2), (0, -4 - font::SIZE, 1)]
                    } else {
                        &[(5, -8, 1), (-5 - w, -8, 2)]
                    };
                    for (ox, oy, c) in options {
                        let area = Area::new(x + ox, y + oy, x + ox + w, y + oy + font::SIZE);
                        let cost = *c;
                        if best.as_ref().is_none_or(|b| cost < b.0) && taken.free(&area) {
                            best = Some((cost, area, p));
                        }
                    }
                    if p == *b {
                        break;
                    }
                    p = p.by(dx, dy);
                }
            }
        }
        if let Some((_, area, anchor)) = best {
            taken.add(area.wider(1));
            out.push(Label {
                piece: None,
                node: Some(id),
                spot: Spot {
                    lines: vec![vec![(text, false)]],
                    area,
                    side: Side::Middle,
                },
                anchor: Some(anchor),
            });
        }
    }
}
