//! Valves: envelope and electrodes. Grid on the left, plate on top, cathode below.

use super::{Fill, Ink, Pen, Symbol, ValveForm};
use crate::geometry::{Dir, Point};

/// Offsets of the second, third ... pin of one electrode.
const BESIDE: [i32; 5] = [0, 2, -2, 3, -3];

fn envelope(s: &mut Symbol) {
    s.body(-3.0, -3.0, 3.0, 3.0);
    s.ink
        .push(Ink::Circle(0.0, 0.0, 3.0, Pen::Plain, Fill::Paper));
}

/// Where a lead that runs along `x` (or `y`) meets the envelope.
fn rim(offset: i32) -> f32 {
    let o = offset as f32;
    (9.0 - o * o).max(0.0).sqrt()
}

pub(super) fn grid_valve(v: &ValveForm) -> Symbol {
    let mut s = Symbol::default();
    envelope(&mut s);
    let grids = if v.screens == 0 {
        1
    } else if v.third_grid {
        3
    } else {
        2
    };
    let (plate_y, first, gap) = match grids {
        1 => (-1.4, 0.0, 0.0),
        2 => (-1.7, 0.5, 1.0),
        _ => (-1.9, 0.7, 0.8),
    };
    // Pins in the order plate, grid, cathode, screen, suppressor.
    for x in BESIDE.iter().take(v.plates) {
        s.pin(*x, -4, Dir::Up);
        s.ink.push(Ink::line(&[
            (*x as f32, -4.0),
            (*x as f32, if *x == 0 { plate_y } else { -rim(*x) }),
        ]));
        s.lead(Point::new(*x, -4), Point::new(*x, -3));
    }
    for y in BESIDE.iter().take(v.grids) {
        s.pin(-4, *y, Dir::Left);
        s.lead(Point::new(-4, *y), Point::new(-3, *y));
        if *y != 0 {
            s.ink
                .push(Ink::line(&[(-4.0, *y as f32), (-rim(*y), *y as f32)]));
        }
    }
    let cathodes: &[i32] = if v.filament {
        &[-1, 1, -3, 3, 2]
    } else {
        &BESIDE
    };
    for x in cathodes.iter().take(v.cathodes) {
        s.pin(*x, 4, Dir::Down);
        s.lead(Point::new(*x, 4), Point::new(*x, 3));
        if *x != 0 && (!v.filament || x.abs() > 1) {
            s.ink
                .push(Ink::line(&[(*x as f32, 4.0), (*x as f32, rim(*x))]));
        }
    }
    for y in BESIDE.iter().take(v.screens) {
        s.pin(4, *y, Dir::Right);
        s.lead(Point::new(4, *y), Point::new(3, *y));
        if *y != 0 {
            s.ink
                .push(Ink::line(&[(4.0, *y as f32), (rim(*y), *y as f32)]));
        }
    }
    for i in 0..v.suppressors {
        let x = [2, 3, -3][i.min(2)];
        s.pin(x, if i < 2 { 4 } else { 5 }, Dir::Down);
        s.lead(Point::new(x, 4), Point::new(x, 3));
        s.ink
            .push(Ink::line(&[(x as f32, 4.0), (x as f32, rim(x))]));
    }
    // Electrodes.
    if v.plates > 0 {
        s.ink
            .push(Ink::stroke(&[(-1.5, plate_y), (1.5, plate_y)], Pen::Heavy));
    }
    for g in 0..grids {
        let y = first - gap * g as f32;
        s.ink.push(Ink::dashed(&[(-1.7, y), (1.8, y)]));
        if g == 0 && v.grids > 0 {
            s.ink
                .push(Ink::line(&[(-3.0, 0.0), (-2.2, 0.0), (-2.2, y), (-1.7, y)]));
        }
        if g == 1 && v.screens > 0 {
            s.ink
                .push(Ink::line(&[(1.7, y), (2.3, y), (2.3, 0.0), (3.0, 0.0)]));
        }
        if g == 2 && v.suppressors > 0 {
            s.ink.push(Ink::line(&[(1.7, y), (2.0, y), (2.0, rim(2))]));
        }
    }
    if v.filament {
        filament(&mut s);
    } else if v.cathodes > 0 {
        cathode(&mut s);
    }
    s
}

fn cathode(s: &mut Symbol) {
    s.ink.push(Ink::stroke(
        &[(-1.4, 2.1), (-1.1, 1.6), (1.1, 1.6), (1.4, 2.1)],
        Pen::Heavy,
    ));
    s.ink.push(Ink::line(&[(0.0, 1.6), (0.0, 3.0)]));
}

fn filament(s: &mut Symbol) {
    s.ink.push(Ink::line(&[
        (-1.0, 3.0),
        (-1.0, 2.6),
        (0.0, 1.5),
        (1.0, 2.6),
        (1.0, 3.0),
    ]));
}

/// Plates on top, cathode or filament below.
pub(super) fn rectifier(plates: usize, direct: bool) -> Symbol {
    let mut s = Symbol::default();
    envelope(&mut s);
    let xs: &[i32] = match plates {
        0 => &[],
        1 => &[0],
        2 => &[-2, 2],
        3 => &[-2, 0, 2],
        _ => &[-3, -1, 1, 3],
    };
    for x in xs {
        s.pin(*x, -4, Dir::Up);
        s.lead(Point::new(*x, -4), Point::new(*x, -3));
        let f = *x as f32;
        s.ink.push(Ink::line(&[(f, -3.0), (f, -1.3)]));
        let (a, b) = if plates == 1 {
            (-1.5, 1.5)
        } else {
            (f - 0.85, f + 0.85)
        };
        let limit = 2.5;
        s.ink.push(Ink::stroke(
            &[(a.max(-limit), -1.3), (b.min(limit), -1.3)],
            Pen::Heavy,
        ));
    }
    if direct {
        for x in [-2, 2] {
            s.pin(x, 4, Dir::Down);
            s.lead(Point::new(x, 4), Point::new(x, 3));
        }
        s.ink.push(Ink::line(&[
            (-2.0, 4.0),
            (-2.0, 1.9),
            (0.0, 0.4),
            (2.0, 1.9),
            (2.0, 4.0),
        ]));
    } else {
        s.pin(0, 4, Dir::Down);
        s.lead(Point::new(0, 4), Point::new(0, 3));
        cathode(&mut s);
    }
    s
}

/// A heater between two buses; the tap comes out below.
pub(super) fn heater(tap: bool) -> Symbol {
    let mut s = Symbol::default();
    if tap {
        s.pin(-1, -3, Dir::Up);
        s.pin(1, -3, Dir::Up);
        s.pin(0, 3, Dir::Down);
        for x in [-1, 1] {
            s.lead(Point::new(x, -3), Point::new(x, -1));
        }
        s.lead(Point::new(0, 3), Point::new(0, 2));
        s.body(-1.6, -1.4, 1.6, 1.6);
        s.ink.push(Ink::line(&[
            (-1.0, -1.0),
            (-1.0, -0.6),
            (0.0, 1.2),
            (1.0, -0.6),
            (1.0, -1.0),
        ]));
        s.ink.push(Ink::line(&[(0.0, 1.2), (0.0, 2.0)]));
    } else {
        s.pin(0, -3, Dir::Up);
        s.pin(0, 3, Dir::Down);
        s.lead(Point::new(0, -3), Point::new(0, -1));
        s.lead(Point::new(0, 3), Point::new(0, 1));
        s.body(-1.3, -1.5, 1.3, 1.5);
        s.ink.push(Ink::line(&[
            (0.0, -1.0),
            (-0.9, -0.5),
            (0.9, 0.0),
            (-0.9, 0.5),
            (0.0, 1.0),
        ]));
    }
    s
}
