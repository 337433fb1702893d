//! What it takes to make one thing of another, in edits.

use super::graph::{Graph, NONE, Sort, Thing};

/// Cost of one edit; smaller differences are fractions of it.
pub(super) const EDIT: u32 = 12;

/// How a thing differs from the one it stands against, its ends apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Differs {
    /// The same, as far as both are known.
    Not,
    /// Another value, which a sound part of the drawing's marking may have.
    Inside,
    /// Another value.
    Value,
    /// Another type.
    Type,
}

impl Differs {
    pub(super) fn cost(self) -> u32 {
        match self {
            Self::Not => 0,
            Self::Inside => 2,
            Self::Value | Self::Type => EDIT,
        }
    }
}

/// How `found` differs from `drawn`.
pub(super) fn differs(found: &Thing, drawn: &Thing) -> Differs {
    if found.sort == Sort::Heater {
        return Differs::Not;
    }
    if found.sort != drawn.sort {
        return Differs::Type;
    }
    let apart = !found.made.is_empty() && !drawn.made.is_empty() && found.made != drawn.made;
    if apart {
        return match found.sort {
            // Other volts on a winding are another value, not another sort of transformer.
            Sort::Mains => Differs::Value,
            Sort::Fuse => Differs::Value,
            _ => Differs::Type,
        };
    }
    match (found.value, drawn.value) {
        (Some(a), Some(b)) => of_values(a, b, drawn.tolerance),
        _ => Differs::Not,
    }
}

/// How a value differs from the drawn one, whose tolerance is given as fractions down and up.
pub(super) fn of_values(found: f64, drawn: f64, (down, up): (f64, f64)) -> Differs {
    if found == drawn || (found - drawn).abs() <= 1e-6 * drawn.abs() {
        return Differs::Not;
    }
    if drawn <= 0.0 || found <= 0.0 {
        return Differs::Value;
    }
    // Marked figures are rounded; a hair beyond the tolerance is within it.
    let ratio = found / drawn;
    if ratio >= 1.0 - down - 0.005 && ratio <= 1.0 + up + 0.005 {
        Differs::Inside
    } else {
        Differs::Value
    }
}

/// The cheapest way to lay the ends of one thing on those of the other, classes kept.
///
/// `of` is the cost of laying net on net. `lay` is told each pair of end indices; an end that has
/// no counterpart is told with [`NONE`] on the other side.
pub(super) fn align(
    a: &Thing,
    b: &Thing,
    of: &impl Fn(usize, usize) -> u32,
    mut lay: impl FnMut(usize, usize),
) -> u32 {
    let (mut i, mut j, mut total) = (0, 0, 0);
    while i < a.ends.len() || j < b.ends.len() {
        let class = match (a.ends.get(i), b.ends.get(j)) {
            (Some(x), Some(y)) => x.class.min(y.class),
            (Some(x), None) => x.class,
            (None, Some(y)) => y.class,
            (None, None) => break,
        };
        let run = |t: &Thing, from: usize| {
            t.ends[from..]
                .iter()
                .take_while(|e| e.class == class)
                .count()
        };
        let (p, q) = (run(a, i), run(b, j));
        let cost = |x: usize, y: usize| of(a.ends[i + x].net, b.ends[j + y].net);
        match (p, q) {
            (1, 1) => {
                total += cost(0, 0);
                lay(i, j);
            }
            (2, 2) => {
                let straight = cost(0, 0) + cost(1, 1);
                let crossed = cost(0, 1) + cost(1, 0);
                if straight <= crossed {
                    lay(i, j);
                    lay(i + 1, j + 1);
                } else {
                    lay(i, j + 1);
                    lay(i + 1, j);
                }
                total += straight.min(crossed);
            }
            _ => {
                // Cheapest first; runs are a handful of throws or taps.
                let mut pairs: Vec<(u32, usize, usize)> = Vec::new();
                for x in 0..p {
                    for y in 0..q {
                        pairs.push((cost(x, y), x, y));
                    }
                }
                pairs.sort_unstable();
                let (mut used_x, mut used_y) = (vec![false; p], vec![false; q]);
                for (c, x, y) in pairs {
                    if !used_x[x] && !used_y[y] {
                        used_x[x] = true;
                        used_y[y] = true;
                        total += c;
                        lay(i + x, j + y);
                    }
                }
                for x in (0..p).filter(|x| !used_x[*x]) {
                    total += if a.ends[i + x].net == NONE {
                        0
                    } else {
                        UNMATCHED_END
                    };
                    lay(i + x, NONE);
                }
                for y in (0..q).filter(|y| !used_y[*y]) {
                    total += if b.ends[j + y].net == NONE {
                        0
                    } else {
                        UNMATCHED_END
                    };
                    lay(NONE, j + y);
                }
            }
        }
        i += p;
        j += q;
    }
    total
}

/// An end that the other one does not have at all (a winding, a tap, a contact).
const UNMATCHED_END: u32 = 3;

/// An end that is wired here and not there: not drawn, or not traced.
pub(super) const NOT_SHOWN: u32 = 2;

/// Cost of an end on net `x` of the amp, when its counterpart is on net `y` of the drawing.
pub(super) fn end_cost(found: &Graph, drawn: &Graph, map: &[usize], x: usize, y: usize) -> u32 {
    match (x, y) {
        (NONE, NONE) => 0,
        (NONE, y) => {
            if drawn.degree(y) > 1 {
                NOT_SHOWN
            } else {
                0
            }
        }
        (x, NONE) => {
            if found.degree(x) > 1 {
                NOT_SHOWN
            } else {
                0
            }
        }
        (x, y) if map.get(x) == Some(&y) => 0,
        _ => EDIT,
    }
}

/// Least cost of a whole assignment: row `i` gets column `result[i]`.
///
/// Square matrix, shortest augmenting paths (H. W. Kuhn, Naval Research Logistics Quarterly 2, 1955;
/// J. Munkres, J. SIAM 5, 1957; both from memory, not seen).
pub(super) fn assign(n: usize, cost: impl Fn(usize, usize) -> i64) -> Vec<usize> {
    let far = i64::MAX / 4;
    let (mut u, mut v) = (vec![0i64; n + 1], vec![0i64; n + 1]);
    let (mut row_of, mut way) = (vec![0usize; n + 1], vec![0usize; n + 1]);
    for row in 1..=n {
        row_of[0] = row;
        let mut column = 0;
        let (mut least, mut used) = (vec![far; n + 1], vec![false; n + 1]);
        loop {
            used[column] = true;
            let at = row_of[column];
            let (mut delta, mut next) = (far, 0);
            for c in 1..=n {
                if used[c] {
                    continue;
                }
                let reduced = cost(at - 1, c - 1) - u[at] - v[c];
                if reduced < least[c] {
                    least[c] = reduced;
                    way[c] = column;
                }
                if least[c] < delta {
                    delta = least[c];
                    next = c;
                }
            }
            for c in 0..=n {
                if used[c] {
                    u[row_of[c]] += delta;
                    v[c] -= delta;
                } else {
                    least[c] -= delta;
                }
            }
            column = next;
            if row_of[column] == 0 {
                break;
            }
        }
        while column != 0 {
            let before = way[column];
            row_of[column] = row_of[before];
            column = before;
        }
    }
    let mut result = vec![NONE; n];
    for c in 1..=n {
        if row_of[c] > 0 {
            result[row_of[c] - 1] = c - 1;
        }
    }
    result
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against all permutations of small matrices.
    #[test]
    fn the_assignment_is_the_cheapest() {
        let mut seed = 7u64;
        let mut next = || {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            (seed >> 33) as i64 % 50
        };
        for n in 1..6 {
            for _ in 0..20 {
                let table: Vec<i64> = (0..n * n).map(|_| next()).collect();
                let found = assign(n, |i, j| table[i * n + j]);
                let total: i64 = found
                    .iter()
                    .enumerate()
                    .map(|(i, j)| table[i * n + j])
                    .sum();
                let mut order: Vec<usize> = (0..n).collect();
                let mut best = i64::MAX;
                permute(&mut order, 0, &mut |p: &[usize]| {
                    best = best.min(p.iter().enumerate().map(|(i, j)| table[i * n + j]).sum());
                });
                assert_eq!(total, best, "{n}: {table:?}");
            }
        }
    }

    fn permute(order: &mut Vec<usize>, from: usize, told: &mut impl FnMut(&[usize])) {
        if from == order.len() {
            told(order);
            return;
        }
        for i in from..order.len() {
            order.swap(from, i);
            permute(order, from + 1, told);
            order.swap(from, i);
        }
    }

    #[test]
    fn a_value_inside_the_drawn_tolerance_says_so() {
        assert_eq!(of_values(100e3, 100e3, (0.1, 0.1)), Differs::Not);
        assert_eq!(of_values(110e3, 100e3, (0.1, 0.1)), Differs::Inside);
        assert_eq!(of_values(120e3, 100e3, (0.1, 0.1)), Differs::Value);
        assert_eq!(of_values(22e-6, 25e-6, (0.2, 0.5)), Differs::Inside);
        assert_eq!(of_values(0.0, 100e3, (0.1, 0.1)), Differs::Value);
    }
}
