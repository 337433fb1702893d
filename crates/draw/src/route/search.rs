//! The search for one net.

use super::board::{Board, NONE, id};
use super::{End, Net};
use crate::geometry::{Dir, Point};

const STEP: u32 = 10;
const BEND: u32 = 48;
const CROSS: u32 = 90;
/// A joint of four ways is harder to read than two of three.
const FOUR: u32 = 30;

/// Working memory of the search, kept so that it is not cleared each time.
#[derive(Debug, Clone)]
pub(super) struct Scratch {
    best: Vec<u32>,
    from: Vec<u8>,
    stamp: Vec<u32>,
    now: u32,
    queue: Vec<Vec<(u32, u32)>>,
}

impl Scratch {
    pub(super) fn new(cells: usize) -> Self {
        Self {
            best: vec![0; cells * 4],
            from: vec![0; cells * 4],
            stamp: vec![0; cells * 4],
            now: 0,
            queue: Vec::new(),
        }
    }
}

/// Joins all ends of a net. Returns those that failed, and the cost of the rest.
pub(super) fn lay(board: &mut Board, net: usize, what: &Net) -> (Vec<usize>, u32) {
    let ends = &what.ends;
    if ends.len() < 2 {
        return (Vec::new(), 0);
    }
    // Begin at the end nearest to all others.
    let first = (0..ends.len())
        .min_by_key(|i| {
            let sum: i32 = ends.iter().map(|e| e.at.far(ends[*i].at)).sum();
            (sum, *i)
        })
        .unwrap_or(0);
    let mut tree: Vec<Point> = vec![ends[first].at];
    let mut joined = vec![false; ends.len()];
    joined[first] = true;
    let mut failed = Vec::new();
    let mut total = 0;
    let mut left: Vec<usize> = (0..ends.len()).filter(|i| *i != first).collect();
    while !left.is_empty() {
        let (k, _) = left
            .iter()
            .enumerate()
            .min_by_key(|(_, i)| {
                let near = tree
                    .iter()
                    .map(|p| {
                        let q = ends[**i].at;
                        let level = ends[**i].out.is_level();
                        // What lies straight ahead comes first, so that long lines stay straight.
                        let aligned = if level { p.y == q.y } else { p.x == q.x };
                        p.far(q) + if aligned { 0 } else { 24 }
                    })
                    .min();
                (near.unwrap_or(0), **i)
            })
            .unwrap_or((0, &0));
        let i = left.remove(k);
        if tree.contains(&ends[i].at) {
            joined[i] = true;
            continue;
        }
        match one(board, net, ends, &joined, ends[i], &tree) {
            Some((path, cost)) => {
                total += cost;
                joined[i] = true;
                tree.extend(path);
            }
            None => failed.push(i),
        }
    }
    (failed, total)
}

/// From one end to anywhere on the tree.
fn one(
    board: &mut Board,
    net: usize,
    ends: &[End],
    joined: &[bool],
    start: End,
    tree: &[Point],
) -> Option<(Vec<Point>, u32)> {
    let n = id(net);
    let from = board.index(start.at)?;
    let mut scratch = std::mem::replace(&mut board.scratch, Scratch::new(0));
    scratch.now = scratch.now.wrapping_add(1);
    let now = scratch.now;
    for bucket in &mut scratch.queue {
        bucket.clear();
    }
    // Lower bound: steps to the box round the tree.
    let (mut low, mut high) = (tree[0], tree[0]);
    for p in tree {
        low = Point::new(low.x.min(p.x), low.y.min(p.y));
        high = Point::new(high.x.max(p.x), high.y.max(p.y));
    }
    let bound = |p: Point, dir: Dir| -> u32 {
        let dx = (low.x - p.x).max(p.x - high.x).max(0);
        let dy = (low.y - p.y).max(p.y - high.y).max(0);
        let steps = u32::try_from(dx + dy).unwrap_or(0) * STEP;
        let ahead = match dir {
            Dir::Up => p.y > high.y && dx == 0,
            Dir::Down => p.y < low.y && dx == 0,
            Dir::Left => p.x > high.x && dy == 0,
            Dir::Right => p.x < low.x && dy == 0,
        };
        if steps == 0 || ahead {
            steps
        } else {
            steps + BEND
        }
    };
    let push = |scratch: &mut Scratch, cell: usize, dir: Dir, g: u32, back: u8, f: u32| {
        let state = cell * 4 + dir.index();
        if scratch.stamp[state] == now && scratch.best[state] <= g {
            return;
        }
        scratch.stamp[state] = now;
        scratch.best[state] = g;
        scratch.from[state] = back;
        let slot = f as usize;
        if slot >= scratch.queue.len() {
            if slot > 400_000 {
                return;
            }
            scratch.queue.resize(slot + 1, Vec::new());
        }
        scratch.queue[slot].push((g, u32::try_from(state).unwrap_or(0)));
    };
    for dir in Dir::ALL {
        if dir == start.out.back() {
            continue;
        }
        let g = if dir == start.out { 0 } else { BEND };
        push(&mut scratch, from, dir, g, 4, g + bound(start.at, dir));
    }
    let mut found = None;
    let mut slot = 0;
    'search: while slot < scratch.queue.len() {
        let Some((g, state)) = scratch.queue[slot].pop() else {
            slot += 1;
            continue;
        };
        let state = state as usize;
        if scratch.best[state] != g {
            continue;
        }
        let (cell, dir) = (state / 4, Dir::ALL[state % 4]);
        let c = board.cells[cell];
        let on_tree = cell != from
            && (c.level == n || c.upright == n || c.terminal == n)
            && is_tree(board, ends, joined, cell, n);
        if on_tree {
            found = Some((state, g));
            break 'search;
        }
        // Over a foreign wire only straight on.
        let over = c.level != NONE && c.level != n || c.upright != NONE && c.upright != n;
        for next_dir in Dir::ALL {
            if next_dir == dir.back() || over && next_dir != dir && cell != from {
                continue;
            }
            if cell == from && next_dir != dir {
                continue;
            }
            let Some(to) = board.next(cell, next_dir) else {
                continue;
            };
            let t = &board.cells[to];
            let own = t.terminal == n;
            if (t.blocked || t.terminal != NONE) && !own {
                continue;
            }
            let mut g2 = g + STEP + u32::from(t.toll);
            if next_dir != dir {
                g2 += BEND;
            }
            let same = if next_dir.is_level() {
                t.level
            } else {
                t.upright
            };
            let other = if next_dir.is_level() {
                t.upright
            } else {
                t.level
            };
            if same != NONE && same != n {
                continue;
            }
            if other != NONE && other != n {
                let straight = if next_dir.is_level() { 0b0101 } else { 0b1010 };
                if t.arms & straight != straight || own || same == n {
                    continue;
                }
                g2 += CROSS;
            }
            if own {
                match ends.iter().find(|e| board.index(e.at) == Some(to)) {
                    Some(e) if e.out == next_dir => continue,
                    Some(e) if e.out.back() != next_dir => g2 += BEND,
                    _ => {}
                }
            } else if (same == n || other == n) && t.arms.count_ones() >= 3 {
                g2 += FOUR;
            }
            let f = g2 + bound(board.point(to), next_dir);
            push(
                &mut scratch,
                to,
                next_dir,
                g2,
                u8::try_from(dir.index()).unwrap_or(0),
                f,
            );
            slot = slot.min(f as usize);
        }
    }
    let result = found.map(|(state, cost)| {
        let mut path = Vec::new();
        let mut state = state;
        loop {
            let (cell, dir) = (state / 4, Dir::ALL[state % 4]);
            path.push(board.point(cell));
            let back = scratch.from[state];
            if back > 3 || cell == from {
                break;
            }
            let Some(before) = board.next(cell, dir.back()) else {
                break;
            };
            board.join(net, before, dir);
            state = before * 4 + usize::from(back);
        }
        (path, cost)
    });
    board.scratch = scratch;
    result
}

/// Whether this cell of the net is part of what is already joined: its wire, or a joined terminal.
fn is_tree(board: &Board, ends: &[End], joined: &[bool], cell: usize, n: u16) -> bool {
    let c = &board.cells[cell];
    let free = |wire: u16| wire == NONE || wire == n;
    let wired = (c.level == n || c.upright == n) && free(c.level) && free(c.upright);
    wired
        || c.terminal == n
            && ends
                .iter()
                .zip(joined)
                .any(|(e, j)| *j && board.index(e.at) == Some(cell))
}
