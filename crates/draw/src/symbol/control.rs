//! Pots, switches, jacks, the inlet, boxes: what has more than two terminals and no iron.

use super::passive::track;
use super::{Fill, Ink, JackPin, Mark, Pen, Symbol, upright};
use crate::geometry::{Dir, Point};

/// Clockwise end on top, wiper to the right.
pub(super) fn pot(zigzag: bool) -> Symbol {
    let mut s = Symbol::default();
    s.pin(0, 3, Dir::Down);
    s.pin(3, 0, Dir::Right);
    s.pin(0, -3, Dir::Up);
    s.lead(Point::new(0, 3), Point::new(0, 2));
    s.lead(Point::new(3, 0), Point::new(1, 0));
    s.lead(Point::new(0, -3), Point::new(0, -2));
    s.body(-0.9, -2.0, 0.9, 2.0);
    s.ink.push(track(zigzag));
    s.ink.push(Ink::arrow(0.85, 0.0, -1.0, 0.0));
    s.body(0.9, -0.5, 1.9, 0.5);
    s
}

pub(super) fn switch(closed: bool) -> Symbol {
    let mut s = Symbol::default();
    upright(&mut s, -1.7, 1.7);
    s.body(-1.0, -1.9, 1.0, 1.9);
    for y in [-1.5, 1.5] {
        s.ink
            .push(Ink::Circle(0.0, y, 0.25, Pen::Plain, Fill::Paper));
    }
    let end = if closed { (0.22, 1.35) } else { (1.0, 1.1) };
    s.ink.push(Ink::line(&[(0.1, -1.3), end]));
    s
}

/// The common on the left, throws on the right two units apart.
pub(super) fn selector(throws: usize, at: usize) -> Symbol {
    let mut s = Symbol::default();
    let n = i32::try_from(throws).unwrap_or(1).clamp(1, 40);
    s.pin(-4, 0, Dir::Left);
    s.lead(Point::new(-4, 0), Point::new(-2, 0));
    let top = -(n - 1);
    for i in 0..n {
        let y = top + 2 * i;
        s.pin(4, y, Dir::Right);
        s.lead(Point::new(4, y), Point::new(2, y));
        s.ink
            .push(Ink::Circle(1.9, y as f32, 0.25, Pen::Plain, Fill::Paper));
    }
    s.body(
        -2.2,
        top as f32 - 0.5,
        2.2,
        (top + 2 * (n - 1)) as f32 + 0.5,
    );
    s.ink
        .push(Ink::Circle(-1.9, 0.0, 0.25, Pen::Plain, Fill::Paper));
    let i = i32::try_from(at).unwrap_or(0);
    let end = if (1..=n).contains(&i) {
        (1.65, (top + 2 * (i - 1)) as f32)
    } else {
        (1.2, top as f32 - 0.4)
    };
    s.ink.push(Ink::line(&[(-1.65, 0.0), end]));
    s
}

/// The plug goes in from the left. Tip on top, sleeve lowest, contacts between them.
pub(super) fn jack(pins: &[JackPin]) -> Symbol {
    let mut s = Symbol::default();
    let mut spring = 0.0;
    let last = pins.len().saturating_sub(1) as f32 * 2.0;
    for (i, pin) in pins.iter().enumerate() {
        let y = i32::try_from(i).unwrap_or(0) * 2;
        let f = y as f32;
        s.pin(4, y, Dir::Right);
        s.lead(Point::new(4, y), Point::new(3, y));
        match pin {
            JackPin::Tip | JackPin::Ring => {
                spring = f;
                s.ink
                    .push(Ink::line(&[(3.0, f), (0.2, f), (-0.5, f + 0.7), (-1.2, f)]));
            }
            JackPin::Break | JackPin::RingBreak => {
                s.ink
                    .push(Ink::line(&[(3.0, f), (1.7, f), (1.7, spring + 0.9)]));
                s.ink.push(Ink::arrow(1.7, spring + 0.12, 0.0, -1.0));
            }
            JackPin::Sleeve => {
                s.ink.push(Ink::line(&[(3.0, f), (-2.2, f)]));
            }
        }
    }
    s.ink
        .push(Ink::rect(-2.6, -1.0, -1.9, last + 0.4, Fill::Paper));
    s.body(-2.6, -1.0, 3.0, last + 0.4);
    s
}

pub(super) fn phono() -> Symbol {
    let mut s = Symbol::default();
    s.pin(3, 0, Dir::Right);
    s.pin(0, 3, Dir::Down);
    s.lead(Point::new(3, 0), Point::new(2, 0));
    s.lead(Point::new(0, 3), Point::new(0, 2));
    s.body(-1.5, -1.5, 2.0, 2.0);
    s.ink
        .push(Ink::Circle(0.0, 0.0, 1.5, Pen::Plain, Fill::Paper));
    s.ink.push(Ink::line(&[(2.0, 0.0), (0.0, 0.0)]));
    s.ink.push(Ink::line(&[(0.0, 2.0), (0.0, 1.5)]));
    s.ink
        .push(Ink::Circle(0.0, 0.0, 0.35, Pen::Plain, Fill::Solid));
    s
}

pub(super) fn gain() -> Symbol {
    let mut s = Symbol::default();
    s.pin(-4, 0, Dir::Left);
    s.pin(4, 0, Dir::Right);
    s.lead(Point::new(-4, 0), Point::new(-2, 0));
    s.lead(Point::new(4, 0), Point::new(2, 0));
    s.body(-2.0, -2.4, 2.0, 2.4);
    s.ink.push(Ink::shape(
        &[(-2.0, -2.4), (2.0, 0.0), (-2.0, 2.4)],
        Fill::Paper,
    ));
    s
}

/// A ring round the joint itself.
pub(super) fn tie_point() -> Symbol {
    let mut s = Symbol::default();
    s.pin(0, 0, Dir::Left);
    s.ink
        .push(Ink::Circle(0.0, 0.0, 0.45, Pen::Plain, Fill::None));
    s
}

/// Terminals on both sides, three units apart, their names inside.
pub(super) fn labelled_box(left: &[String], right: &[String], width: i32) -> Symbol {
    let mut s = Symbol::default();
    let rows = i32::try_from(left.len().max(right.len()))
        .unwrap_or(1)
        .max(1);
    let half = width.max(4) / 2;
    let (top, bottom) = (-2, (rows - 1) * 3 + 2);
    for (names, side) in [(left, -1), (right, 1)] {
        for (i, name) in names.iter().enumerate() {
            let y = i32::try_from(i).unwrap_or(0) * 3;
            s.pin(
                side * (half + 1),
                y,
                if side < 0 { Dir::Left } else { Dir::Right },
            );
            s.lead(Point::new(side * (half + 1), y), Point::new(side * half, y));
            let wide = typeface::width(name, false) as f32 / crate::geometry::UNIT as f32;
            let x = side as f32 * (half as f32 - 0.5 - wide / 2.0);
            s.marks.push(Mark::new(x, y as f32, name));
        }
    }
    let (h, t, b) = (half as f32, top as f32, bottom as f32);
    s.body(-h, t, h, b);
    s.ink.push(Ink::rect(-h, t, h, b, Fill::Paper));
    s
}

/// Live, neutral, protective earth, as far as they are named.
pub(super) fn inlet(has: [bool; 3]) -> Symbol {
    let mut s = Symbol::default();
    let mut bottom = 0;
    for (i, (text, y)) in [("L", 0), ("N", 6), ("E", 10)].into_iter().enumerate() {
        if !has[i] {
            continue;
        }
        bottom = y;
        s.pin(4, y, Dir::Right);
        s.lead(Point::new(4, y), Point::new(3, y));
        s.ink
            .push(Ink::Circle(1.6, y as f32, 0.4, Pen::Plain, Fill::Paper));
        s.ink.push(Ink::line(&[(3.0, y as f32), (2.0, y as f32)]));
        s.marks.push(Mark::new(-0.6, y as f32, text));
    }
    let bottom = bottom as f32 + 1.6;
    s.body(-2.0, -1.6, 3.0, bottom);
    s.ink
        .insert(0, Ink::rect(-2.0, -1.6, 3.0, bottom, Fill::Paper));
    s
}
