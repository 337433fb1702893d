//! Parts of two terminals, and the bridge of four diodes.

use super::{Fill, Ink, Mark, Pen, Symbol, upright};
use crate::geometry::{Dir, Point};

pub(super) fn resistor(zigzag: bool) -> Symbol {
    let mut s = Symbol::default();
    upright(&mut s, -2.0, 2.0);
    s.body(-0.9, -2.0, 0.9, 2.0);
    s.ink.push(track(zigzag));
    s
}

/// A rectangle, or three full zig-zags.
pub(super) fn track(zigzag: bool) -> Ink {
    if zigzag {
        let mut points = vec![(0.0, -2.0)];
        for i in 0..6 {
            let y = -2.0 + (i as f32 + 0.5) * 4.0 / 6.0;
            points.push((if i % 2 == 0 { 0.8 } else { -0.8 }, y));
        }
        points.push((0.0, 2.0));
        Ink::line(&points)
    } else {
        Ink::rect(-0.8, -2.0, 0.8, 2.0, Fill::Paper)
    }
}

pub(super) fn capacitor(plus: Option<usize>) -> Symbol {
    let mut s = Symbol::default();
    match plus {
        None => {
            upright(&mut s, -0.35, 0.35);
            s.body(-1.3, -0.5, 1.3, 0.5);
            for y in [-0.35, 0.35] {
                s.ink
                    .push(Ink::stroke(&[(-1.25, y), (1.25, y)], Pen::Heavy));
            }
        }
        Some(end) => {
            let up = if end == 0 { 1.0 } else { -1.0 };
            upright(&mut s, -0.8, 0.8);
            s.body(-1.3, -0.85, 1.3, 0.85);
            s.ink
                .push(Ink::rect(-1.2, -0.8 * up, 1.2, -0.25 * up, Fill::Paper));
            s.ink
                .push(Ink::rect(-1.2, 0.25 * up, 1.2, 0.8 * up, Fill::Solid));
            // A plus drawn as two strokes, so that it needs no letter.
            let (x, y) = (-1.0, -1.6 * up);
            s.body(-1.5, -2.1 * up.max(-up) * up, -0.5, -1.1 * up);
            if let Some(b) = s.bodies.last_mut()
                && b.y0 > b.y1
            {
                std::mem::swap(&mut b.y0, &mut b.y1);
            }
            s.ink
                .push(Ink::stroke(&[(x - 0.4, y), (x + 0.4, y)], Pen::Plain));
            s.ink
                .push(Ink::stroke(&[(x, y - 0.4), (x, y + 0.4)], Pen::Plain));
        }
    }
    s
}

pub(super) fn diode(zener: bool) -> Symbol {
    let mut s = Symbol::default();
    upright(&mut s, -0.9, 0.9);
    s.body(-1.1, -0.95, 1.1, 0.95);
    s.ink.push(Ink::shape(
        &[(-1.0, -0.9), (1.0, -0.9), (0.0, 0.9)],
        Fill::Paper,
    ));
    if zener {
        s.ink.push(Ink::stroke(
            &[(-1.0, 0.4), (-1.0, 0.9), (1.0, 0.9)],
            Pen::Heavy,
        ));
    } else {
        s.ink
            .push(Ink::stroke(&[(-1.0, 0.9), (1.0, 0.9)], Pen::Heavy));
    }
    s
}

pub(super) fn lamp() -> Symbol {
    let mut s = Symbol::default();
    upright(&mut s, -1.4, 1.4);
    s.body(-1.4, -1.4, 1.4, 1.4);
    s.ink
        .push(Ink::Circle(0.0, 0.0, 1.4, Pen::Plain, Fill::Paper));
    let d = 1.4 * std::f32::consts::FRAC_1_SQRT_2;
    s.ink.push(Ink::line(&[(-d, -d), (d, d)]));
    s.ink.push(Ink::line(&[(-d, d), (d, -d)]));
    s
}

pub(super) fn neon() -> Symbol {
    let mut s = Symbol::default();
    upright(&mut s, -0.5, 0.5);
    s.body(-1.4, -1.4, 1.4, 1.4);
    s.ink
        .push(Ink::Circle(0.0, 0.0, 1.4, Pen::Plain, Fill::Paper));
    for (a, b) in [(-1.4, -0.4), (0.4, 1.4)] {
        s.ink.push(Ink::line(&[(0.0, a), (0.0, b)]));
    }
    for y in [-0.4, 0.4] {
        s.ink.push(Ink::stroke(&[(-0.6, y), (0.6, y)], Pen::Heavy));
    }
    s.ink
        .push(Ink::Circle(0.8, 0.7, 0.14, Pen::Thin, Fill::Solid));
    s
}

pub(super) fn cell(zigzag: bool) -> Symbol {
    let mut s = resistor(zigzag);
    s.body(-2.6, -1.7, -0.9, 0.9);
    for y in [-1.2, 0.0] {
        s.ink
            .push(Ink::stroke(&[(-2.4, y - 0.4), (-1.3, y + 0.3)], Pen::Thin));
        s.ink.push(Ink::arrow(-1.05, y + 0.46, 0.84, 0.54));
    }
    s
}

pub(super) fn fuse() -> Symbol {
    let mut s = Symbol::default();
    upright(&mut s, -1.6, 1.6);
    s.body(-0.8, -1.6, 0.8, 1.6);
    s.ink.push(Ink::rect(-0.65, -1.6, 0.65, 1.6, Fill::Paper));
    s.ink.push(Ink::line(&[(0.0, -1.6), (0.0, 1.6)]));
    s
}

pub(super) fn speaker() -> Symbol {
    let mut s = Symbol::default();
    upright(&mut s, -1.3, 1.3);
    s.body(-0.6, -1.3, 0.6, 1.3);
    s.body(0.6, -2.4, 2.2, 2.4);
    s.ink.push(Ink::rect(-0.6, -1.3, 0.6, 1.3, Fill::Paper));
    s.ink.push(Ink::shape(
        &[(0.6, -1.3), (2.1, -2.4), (2.1, 2.4), (0.6, 1.3)],
        Fill::Paper,
    ));
    s
}

/// A supply (plus on top), or a generator with its wave.
pub(super) fn source(direct: bool) -> Symbol {
    let mut s = Symbol::default();
    upright(&mut s, -1.6, 1.6);
    s.body(-1.6, -1.6, 1.6, 1.6);
    s.ink
        .push(Ink::Circle(0.0, 0.0, 1.6, Pen::Plain, Fill::Paper));
    if direct {
        s.marks.push(Mark::new(0.0, -0.7, "+"));
        s.marks.push(Mark::new(0.0, 0.7, "−"));
    } else {
        s.ink.push(Ink::Path(
            vec![
                super::Step::Move(-0.9, 0.0),
                super::Step::Curve(-0.5, -1.1, -0.3, -1.1, 0.0, 0.0),
                super::Step::Curve(0.3, 1.1, 0.5, 1.1, 0.9, 0.0),
            ],
            Pen::Plain,
            Fill::None,
            false,
        ));
    }
    s
}

/// Four diodes in a diamond: `ac1` left, `ac2` right, plus on top, minus below.
pub(super) fn bridge() -> Symbol {
    let mut s = Symbol::default();
    s.pin(-5, 0, Dir::Left);
    s.pin(5, 0, Dir::Right);
    s.pin(0, -5, Dir::Up);
    s.pin(0, 5, Dir::Down);
    for (x, y) in [(-1, 0), (1, 0), (0, -1), (0, 1)] {
        s.lead(Point::new(x * 5, y * 5), Point::new(x * 4, y * 4));
    }
    s.body(-4.0, -4.0, 4.0, 4.0);
    s.ink.push(Ink::shape(
        &[(-4.0, 0.0), (0.0, -4.0), (4.0, 0.0), (0.0, 4.0)],
        Fill::Paper,
    ));
    // Every arrow points from minus or from a winding end toward plus.
    for (x, y, dx, dy) in [
        (-2.0, -2.0, 1.0, -1.0),
        (2.0, -2.0, -1.0, -1.0),
        (-2.0, 2.0, -1.0, -1.0),
        (2.0, 2.0, 1.0, -1.0),
    ] {
        let (dx, dy) = (
            dx * std::f32::consts::FRAC_1_SQRT_2,
            dy * std::f32::consts::FRAC_1_SQRT_2,
        );
        let at = |a: f32, b: f32| (x + dx * a - dy * b, y + dy * a + dx * b);
        s.ink.push(Ink::shape(
            &[at(-0.7, -0.7), at(-0.7, 0.7), at(0.7, 0.0)],
            Fill::Paper,
        ));
        s.ink
            .push(Ink::stroke(&[at(0.7, -0.75), at(0.7, 0.75)], Pen::Heavy));
    }
    s.marks.push(Mark::new(-1.0, 0.0, "~"));
    s.marks.push(Mark::new(1.0, 0.0, "~"));
    s
}
