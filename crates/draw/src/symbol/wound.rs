//! Chokes, transformers, the spring tank.

use super::{Coil, Fill, Ink, Mark, Pen, Symbol, upright};
use crate::geometry::{Dir, Point};

pub(super) fn choke() -> Symbol {
    let mut s = Symbol::default();
    upright(&mut s, -2.0, 2.0);
    s.body(-0.9, -2.0, 1.0, 2.0);
    s.ink.push(Ink::coil(0.0, -2.0, 2.0, 1.0));
    s.ink
        .push(Ink::stroke(&[(-0.65, -1.9), (-0.65, 1.9)], Pen::Plain));
    s
}

/// Coils on the left and on the right of an iron core; terminals four units from the middle.
pub(super) fn transformer(left: &[Coil], right: &[Coil]) -> Symbol {
    let mut s = Symbol::default();
    let mut low = i32::MAX;
    let mut high = i32::MIN;
    for (coils, side) in [(left, -1), (right, 1)] {
        let out = if side < 0 { Dir::Left } else { Dir::Right };
        let x = side as f32 * 1.6;
        for coil in coils {
            for y in &coil.0 {
                s.pin(side * 4, *y, out);
                s.lead(Point::new(side * 4, *y), Point::new(side * 3, *y));
                s.ink
                    .push(Ink::line(&[(side as f32 * 3.0, *y as f32), (x, *y as f32)]));
                low = low.min(*y);
                high = high.max(*y);
            }
            if let (Some(a), Some(b)) = (coil.0.iter().min(), coil.0.iter().max()) {
                if a == b {
                    continue;
                }
                s.ink.push(Ink::coil(x, *a as f32, *b as f32, -side as f32));
            }
        }
    }
    if low > high {
        (low, high) = (-1, 1);
    }
    let (a, b) = (low as f32 - 0.6, high as f32 + 0.6);
    s.body(-3.0, a, 3.0, b);
    for x in [-0.3, 0.3] {
        s.ink.push(Ink::stroke(&[(x, a), (x, b)], Pen::Plain));
    }
    s
}

/// Two coils and the springs between them; driven on the left, its case on ground below.
pub(super) fn tank() -> Symbol {
    let mut s = Symbol::default();
    for (x, out) in [(-7, Dir::Left), (7, Dir::Right)] {
        for y in [-2, 2] {
            s.pin(x, y, out);
            s.lead(Point::new(x, y), Point::new(x - x.signum(), y));
        }
    }
    s.pin(0, 5, Dir::Down);
    s.lead(Point::new(0, 5), Point::new(0, 4));
    s.body(-6.0, -4.0, 6.0, 4.0);
    s.ink.push(Ink::rect(-6.0, -4.0, 6.0, 4.0, Fill::Paper));
    for side in [-1.0, 1.0] {
        for y in [-2.0, 2.0] {
            s.ink.push(Ink::line(&[(side * 6.0, y), (side * 4.2, y)]));
        }
        s.ink.push(Ink::coil(side * 4.2, -2.0, 2.0, -side));
    }
    for y in [-1.4, 1.4] {
        let mut points = vec![(-2.8, y)];
        for i in 0..8 {
            points.push((
                -2.4 + i as f32 * 0.7,
                y + if i % 2 == 0 { -0.5 } else { 0.5 },
            ));
        }
        points.push((2.8, y));
        s.ink.push(Ink::stroke(&points, Pen::Thin));
    }
    s.marks.push(Mark::new(0.0, 3.0, "springs"));
    s
}
