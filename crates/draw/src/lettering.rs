//! Puts every label where nothing else is.

use crate::drawing::{Drawing, Label};
use crate::geometry::{Area, Point, UNIT};
use crate::label::{Side, Spot, further, spots};
use crate::plan::Class;
use std::collections::BTreeMap;
use std::sync::Arc;
use wiring::circuit::NodeId;

/// Areas by squares of the page, so that few are looked at.
#[derive(Debug, Default)]
pub(crate) struct Taken {
    squares: BTreeMap<(i32, i32), Vec<Area>>,
}

const SQUARE: i32 = 8 * UNIT;

impl Taken {
    fn each(a: &Area) -> impl Iterator<Item = (i32, i32)> {
        let (x0, x1) = (a.x0.div_euclid(SQUARE), a.x1.div_euclid(SQUARE));
        let (y0, y1) = (a.y0.div_euclid(SQUARE), a.y1.div_euclid(SQUARE));
        (y0..=y1).flat_map(move |y| (x0..=x1).map(move |x| (x, y)))
    }
    pub(crate) fn add(&mut self, a: Area) {
        for square in Self::each(&a) {
            self.squares.entry(square).or_default().push(a);
        }
    }
    pub(crate) fn free(&self, a: &Area) -> bool {
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
        let free = |all: Vec<Spot>| {
            all.into_iter()
                .map(|s| Spot {
                    area: s.area.by(p.at.x, p.at.y),
                    ..s
                })
                .find(|s| taken.free(&s.area))
        };
        let found = free(spots(piece, &p.symbol))
            .or_else(|| free(further(piece, &p.symbol)))
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
    numbers(d, &mut taken, &mut out);
    out
}

/// Pin numbers of valves beside their leads, and the volts of a transformer's windings.
fn numbers(d: &Drawing<'_>, taken: &mut Taken, out: &mut Vec<Label>) {
    use crate::geometry::Dir;
    use crate::symbol::Form;
    for p in &d.placed {
        let piece = &d.plan.pieces[p.piece];
        let mut put = |text: String, options: &[(i32, i32, i32)]| {
            for (x, y, h) in options {
                let area = Area::new(*x, *y, *x + typeface::width(&text, false) + 1, *y + h);
                if taken.free(&area) {
                    taken.add(area);
                    out.push(Label {
                        piece: None,
                        node: None,
                        spot: Spot {
                            lines: Arc::new(vec![vec![(text, false)]]),
                            area,
                            side: Side::Start,
                        },
                        anchor: None,
                    });
                    return;
                }
            }
        };
        match &piece.form {
            Form::Valve(_) | Form::Rectifier(..) | Form::Heater(_) => {
                for k in 0..p.symbol.pins.len() {
                    let text = d.plan.pin_text(p.piece, k);
                    let Some((_, number)) = text.split_once('.') else {
                        continue;
                    };
                    if !number.chars().all(|c| c.is_ascii_digit()) {
                        continue;
                    }
                    let pin = p.pin(k);
                    let (x, y) = (pin.at.x * UNIT, pin.at.y * UNIT);
                    let w = typeface::width(number, false) + 1;
                    let options = match pin.out {
                        Dir::Up => [(x + 4, y, 12), (x - 4 - w, y, 12), (x + 4, y - 12, 12)],
                        Dir::Down => [
                            (x + 4, y - 12, 12),
                            (x - 4 - w, y - 12, 12),
                            (x + 4, y + 1, 12),
                        ],
                        Dir::Left => [(x, y - 14, 12), (x, y + 3, 12), (x - w, y - 14, 12)],
                        Dir::Right => [
                            (x - w + 2, y - 14, 12),
                            (x - w + 2, y + 3, 12),
                            (x + 2, y - 14, 12),
                        ],
                    };
                    put(number.to_owned(), &options);
                }
            }
            Form::Wound(left, right) => {
                let Some(part) = piece.part.and_then(|x| d.plan.circuit.parts.get(x.0)) else {
                    continue;
                };
                let mut k = left.iter().map(|c| c.0.len()).sum::<usize>();
                for coil in right {
                    let text = crate::words::winding(part, &d.plan.pin_text(p.piece, k));
                    k += coil.0.len();
                    let (Some(text), Some(a), Some(b)) =
                        (text, coil.0.first().copied(), coil.0.get(1).copied())
                    else {
                        continue;
                    };
                    let y = (p.at.y * 2 + a + b) * UNIT / 2 - 8;
                    let x = (p.at.x + 2) * UNIT;
                    put(text, &[(x + 14, y, 16), (x + 26, y, 16)]);
                }
            }
            _ => {}
        }
    }
}

/// The designator alone, ever further out.
fn short(piece: &crate::piece::Piece, p: &crate::drawing::Placed, taken: &Taken) -> Option<Spot> {
    if piece.name.is_empty() {
        return None;
    }
    let w = typeface::width(&piece.name, true);
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
            let area = Area::new(x, y, x + w, y + typeface::SIZE);
            if taken.free(&area) {
                return Some(Spot {
                    lines: Arc::new(vec![vec![(piece.name.clone(), true)]]),
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
        let w = typeface::width(&text, false) + 2;
        let mut best: Option<(i32, Area, Point)> = None;
        for wire in d.wires.iter().filter(|w| w.node == n) {
            for (a, b) in &wire.runs {
                let level = a.y == b.y;
                let (dx, dy) = ((b.x - a.x).signum(), (b.y - a.y).signum());
                let mut p = *a;
                loop {
                    let (x, y) = (p.x * UNIT, p.y * UNIT);
                    let mut options: Vec<(i32, i32, i32)> = Vec::new();
                    if level {
                        options.push((-w / 2, -4 - typeface::SIZE, 0));
                        options.push((-w / 2, 4, 2));
                        for k in 0..=4 {
                            options.push((-w * k / 4, -4 - typeface::SIZE, 3));
                            options.push((-w * k / 4, 4, 4));
                        }
                    } else {
                        for k in 0..=2 {
                            options.push((5, -8 * k, 1 + k));
                            options.push((-5 - w, -8 * k, 2 + k));
                        }
                    }
                    for (ox, oy, c) in &options {
                        let area = Area::new(x + ox, y + oy, x + ox + w, y + oy + typeface::SIZE);
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
                    lines: Arc::new(vec![vec![(text, false)]]),
                    area,
                    side: Side::Middle,
                },
                anchor: Some(anchor),
            });
        }
    }
}
