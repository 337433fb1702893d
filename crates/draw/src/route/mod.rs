//! Wires on the grid: straight runs, square corners, as few bends and crossings as can be had.
//!
//! Each net grows from one terminal; the nearest terminal not yet joined looks for the whole of
//! what is there by an A* search whose state is the place and the direction (M. Wybrow,
//! K. Marriott, P. Stuckey, Orthogonal connector routing, Graph Drawing 2009, abstract read, for
//! the cost of length and bends). Then nets are taken up again one by one and laid anew.

mod board;
mod search;

pub use board::Board;

use crate::geometry::{Dir, Point};

/// A place where a wire must arrive.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct End {
    /// Where.
    pub at: Point,
    /// Which way a wire leaves it.
    pub out: Dir,
}

/// What is to be joined.
#[derive(Debug, Clone, Default)]
pub struct Net {
    /// The ends; two or more.
    pub ends: Vec<End>,
}

/// What came of it.
#[derive(Debug, Clone, Default)]
pub struct Routed {
    /// For each net the ends that could not be joined to the rest.
    pub failed: Vec<Vec<usize>>,
}

/// Lays all nets on the board. Deterministic; nets are known by their index. Runs that a net had before
/// (`stood`, by net; may be shorter) are laid again where every cell is still free, and stay.
pub fn route(
    board: &mut Board,
    nets: &[Net],
    stood: &[Option<&[(Point, Point)]>],
    passes: usize,
) -> Routed {
    let mut order: Vec<usize> = (0..nets.len()).collect();
    let span = |n: usize| {
        let ends = &nets[n].ends;
        let xs = ends.iter().map(|e| e.at.x);
        let ys = ends.iter().map(|e| e.at.y);
        let wide = xs.clone().max().unwrap_or(0) - xs.min().unwrap_or(0);
        let high = ys.clone().max().unwrap_or(0) - ys.min().unwrap_or(0);
        wide + high
    };
    order.sort_by_key(|n| (span(*n), *n));
    let mut failed = vec![Vec::new(); nets.len()];
    for (n, net) in nets.iter().enumerate() {
        for end in &net.ends {
            board.set_terminal(end.at, n);
        }
    }
    let mut cost = vec![0; nets.len()];
    order.retain(|n| {
        let runs = stood.get(*n).copied().flatten();
        !runs.is_some_and(|runs| board.lay_again(*n, runs))
    });
    for n in &order {
        (failed[*n], cost[*n]) = search::lay(board, *n, &nets[*n]);
    }
    for pass in 0..passes {
        let mut changed = false;
        let again: Vec<usize> = if pass % 2 == 0 {
            order.iter().rev().copied().collect()
        } else {
            order.clone()
        };
        for n in again {
            // A wire without a bend or a crossing cannot be bettered.
            if failed[n].is_empty() && !board.can_better(n) {
                continue;
            }
            let kept = board.take_up(n);
            let (bad, new) = search::lay(board, n, &nets[n]);
            if bad.len() > failed[n].len() || bad.len() == failed[n].len() && new >= cost[n] {
                board.take_up(n);
                board.put_back(n, &kept);
            } else {
                changed |= new != cost[n] || bad.len() != failed[n].len();
                failed[n] = bad;
                cost[n] = new;
            }
        }
        if !changed {
            break;
        }
    }
    Routed { failed }
}
