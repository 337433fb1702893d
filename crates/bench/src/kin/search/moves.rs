//! The moves of the search: pairs grown outward, nets and things settled in turns, a neighbourhood
//! taken apart.

use super::Search;
use crate::kin::cost::{EDIT, align, assign, end_cost};
use crate::kin::graph::{NONE, Sort};
use crate::kin::matching::Match;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::Rng;

/// A net with more ends than this says little about where a thing belongs.
const CROWD: usize = 9;

impl Search<'_> {
    fn weight(&self, x: usize) -> f32 {
        if self.a.degree(x) > CROWD { 0.25 } else { 1.0 }
    }

    /// Adds pairs outward from what is paired, the likeliest first.
    pub(super) fn grow(&self, m: &mut Match, noise: f32, rng: &mut ChaCha8Rng) {
        let cols = self.b.things.len();
        let q = self.b.nets.len();
        let mut open: Vec<(usize, usize, f32)> = self
            .pairs
            .iter()
            .filter(|(i, j)| m.there[*i] == NONE && m.here[*j] == NONE)
            .map(|(i, j)| {
                let stir = if noise > 0.0 {
                    noise * (rng.next_u32() as f32 / u32::MAX as f32)
                } else {
                    0.0
                };
                (*i, *j, self.like[i * cols + j] + stir)
            })
            .collect();
        let mut score: Vec<f32> = Vec::with_capacity(open.len());
        let key = |m: &Match, i: usize, j: usize, like: f32| -> f32 {
            let (x, y) = (&self.a.things[i], &self.b.things[j]);
            let lie = |u: usize, v: usize| -> f32 {
                match (u, v) {
                    (NONE, _) | (_, NONE) => 0.0,
                    (u, v) => {
                        let w = self.weight(u);
                        if m.net_there[u] == v {
                            0.6 * w
                        } else if m.net_there[u] == NONE && m.net_here[v] == NONE {
                            0.0
                        } else {
                            -0.7 * w
                        }
                    }
                }
            };
            let cost = align(
                x,
                y,
                &|u, v| (1000.0 - 1000.0 * lie(u, v)) as u32,
                |_, _| {},
            );
            let ends = x.ends.len().max(y.ends.len()) as f32;
            like + (ends - cost as f32 / 1000.0).clamp(-2.0, 2.0)
        };
        score.extend(open.iter().map(|(i, j, like)| key(m, *i, *j, *like)));
        while let Some((at, _)) =
            score
                .iter()
                .enumerate()
                .fold(None::<(usize, f32)>, |best, (k, s)| match best {
                    Some((_, b)) if b >= *s => best,
                    _ => Some((k, *s)),
                })
        {
            if score[at] < 0.05 {
                break;
            }
            let (i, j, _) = open[at];
            m.pair(i, j);
            let mut touched: Vec<(usize, usize)> = Vec::new();
            let (x, y) = (&self.a.things[i], &self.b.things[j]);
            let mut laid = Vec::new();
            align(
                x,
                y,
                &|u, v| match (u, v) {
                    (NONE, _) | (_, NONE) => 500,
                    (u, v) if m.net_there[u] == v => 0,
                    (u, v) if m.net_there[u] == NONE && m.net_here[v] == NONE => {
                        200 + (700.0 * (1.0 - self.near[u * q + v])) as u32
                    }
                    _ => 2000,
                },
                |s, t| laid.push((s, t)),
            );
            for (s, t) in laid {
                if s == NONE || t == NONE {
                    continue;
                }
                let (u, v) = (x.ends[s].net, y.ends[t].net);
                if u != NONE
                    && v != NONE
                    && m.net_there[u] == NONE
                    && m.net_here[v] == NONE
                    && self.a.nets[u].anchor == self.b.nets[v].anchor
                {
                    m.join(u, v);
                    touched.push((u, v));
                }
            }
            let mut keep = 0;
            for k in 0..open.len() {
                let (p, r, like) = open[k];
                if p == i || r == j {
                    continue;
                }
                let near = touched.iter().any(|(u, v)| {
                    self.a.things[p].ends.iter().any(|e| e.net == *u)
                        || self.b.things[r].ends.iter().any(|e| e.net == *v)
                });
                let s = if near { key(m, p, r, like) } else { score[k] };
                open[keep] = (p, r, like);
                score[keep] = s;
                keep += 1;
            }
            open.truncate(keep);
            score.truncate(keep);
        }
    }

    /// Better nets for the things, better things for the nets, until neither helps.
    pub(super) fn settle(&self, m: &mut Match) {
        let mut least = self.cost(m);
        for _ in 0..6 {
            let before = m.clone();
            self.nets(m);
            self.things(m);
            let cost = self.cost(m);
            if cost >= least {
                if cost > least {
                    *m = before;
                }
                break;
            }
            least = cost;
        }
        self.drop_the_strained(m);
    }

    /// The nets that the ends of the pairs ask for.
    fn nets(&self, m: &mut Match) {
        let (p, q) = (self.a.nets.len(), self.b.nets.len());
        let mut votes = vec![0i64; p * q];
        let near = &self.near;
        for (i, j) in m.there.iter().enumerate() {
            if *j == NONE {
                continue;
            }
            let (x, y) = (&self.a.things[i], &self.b.things[*j]);
            align(
                x,
                y,
                &|u, v| match (u, v) {
                    (NONE, _) | (_, NONE) => 0,
                    (u, v) if m.net_there[u] == v => 0,
                    (u, v) => 1000 + (100.0 * (1.0 - near[u * q + v])) as u32,
                },
                |s, t| {
                    if s != NONE && t != NONE {
                        let (u, v) = (x.ends[s].net, y.ends[t].net);
                        if u != NONE && v != NONE {
                            votes[u * q + v] += 100;
                        }
                    }
                },
            );
        }
        // Only nets that more than one other net asks for are in question.
        let free = |x: usize| self.a.nets[x].anchor.is_none();
        let mut rows: Vec<usize> = Vec::new();
        let mut columns: Vec<usize> = Vec::new();
        for x in (0..p).filter(|x| free(*x)) {
            let asked: Vec<usize> = (0..q)
                .filter(|y| votes[x * q + y] > 0 && self.b.nets[*y].anchor.is_none())
                .collect();
            if let [y] = asked.as_slice()
                && (0..p).all(|o| o == x || votes[o * q + y] == 0)
            {
                m.join(x, *y);
                continue;
            }
            if !asked.is_empty() {
                rows.push(x);
                columns.extend(asked);
            }
        }
        columns.sort_unstable();
        columns.dedup();
        for x in &rows {
            m.sever(*x);
        }
        for y in &columns {
            let x = m.net_here[*y];
            if x != NONE {
                m.sever(x);
            }
        }
        let n = rows.len().max(columns.len());
        let worth = |r: usize, c: usize| -> i64 {
            match (rows.get(r), columns.get(c)) {
                (Some(x), Some(y)) => {
                    let asked = votes[x * q + y];
                    if asked > 0 {
                        asked + (20.0 * near[x * q + y]) as i64
                    } else {
                        0
                    }
                }
                _ => 0,
            }
        };
        for (r, c) in assign(n, |r, c| -worth(r, c)).into_iter().enumerate() {
            if c != NONE && worth(r, c) > 0 {
                m.join(rows[r], columns[c]);
            }
        }
    }

    /// The things that fit the nets best, among those that are in question.
    fn things(&self, m: &mut Match) {
        let mut groups: Vec<u8> = self.a.things.iter().map(|t| t.sort.group()).collect();
        groups.sort_unstable();
        groups.dedup();
        for group in groups {
            let rows: Vec<usize> = (0..self.a.things.len())
                .filter(|i| {
                    self.a.things[*i].sort.group() == group
                        && (m.there[*i] == NONE || self.pair_cost(m, *i, m.there[*i]) > 0)
                })
                .collect();
            let columns: Vec<usize> = (0..self.b.things.len())
                .filter(|j| {
                    self.b.things[*j].sort.group() == group
                        && (m.here[*j] == NONE || rows.contains(&m.here[*j]))
                })
                .collect();
            if rows.is_empty() || columns.is_empty() {
                continue;
            }
            let n = rows.len().max(columns.len());
            let cols = self.b.things.len();
            let mut table = vec![0i64; n * n];
            for (r, i) in rows.iter().enumerate() {
                for (c, j) in columns.iter().enumerate() {
                    // Ties go to the likelier pair.
                    table[r * n + c] = 1000 * i64::from(self.pair_cost(m, *i, *j))
                        - (100.0 * self.like[i * cols + j]) as i64;
                }
            }
            let lone = 1000
                * i64::from(
                    self.alone(
                        self.a
                            .things
                            .iter()
                            .find(|t| t.sort.group() == group)
                            .map_or(Sort::Other, |t| t.sort),
                    ),
                );
            for r in 0..n {
                for c in 0..n {
                    if r >= rows.len() || c >= columns.len() {
                        table[r * n + c] = lone;
                    }
                }
            }
            for i in &rows {
                m.part(*i);
            }
            for (r, c) in assign(n, |r, c| table[r * n + c]).into_iter().enumerate() {
                if let (Some(i), Some(j)) = (rows.get(r), columns.get(c)) {
                    m.pair(*i, *j);
                }
            }
        }
    }

    /// A pair that needs two edits and shares no end is no pair: one is missing, one was added.
    fn drop_the_strained(&self, m: &mut Match) {
        for i in 0..self.a.things.len() {
            let j = m.there[i];
            if j == NONE || self.pair_cost(m, i, j) < 2 * EDIT {
                continue;
            }
            let (x, y) = (&self.a.things[i], &self.b.things[j]);
            let mut shared = 0;
            let mut beyond_ground = 0;
            align(
                x,
                y,
                &|u, v| end_cost(self.a, self.b, &m.net_there, u, v),
                |s, t| {
                    if s != NONE && t != NONE {
                        let (u, v) = (x.ends[s].net, y.ends[t].net);
                        if u != NONE && m.net_there[u] == v {
                            shared += 1;
                            if self.a.degree(u) <= CROWD && self.a.nets[u].anchor.is_none() {
                                beyond_ground += 1;
                            }
                        }
                    }
                },
            );
            if shared == 0 || beyond_ground == 0 {
                m.part(i);
            }
        }
    }

    /// Takes apart what lies within so many steps of a thing.
    pub(super) fn ruin(&self, m: &mut Match, pick: usize, reach: usize) {
        let n = self.a.things.len();
        let (graph, start) = if pick < n {
            (self.a, pick)
        } else {
            (self.b, pick - n)
        };
        let mut within = vec![start];
        let mut seen = vec![false; graph.things.len()];
        seen[start] = true;
        let mut edge = vec![start];
        for _ in 0..reach {
            let mut next = Vec::new();
            for t in edge {
                for end in &graph.things[t].ends {
                    let Some(net) = graph.nets.get(end.net) else {
                        continue;
                    };
                    if net.anchor.is_some() || net.ends.len() > CROWD {
                        continue;
                    }
                    for (o, _) in &net.ends {
                        if !seen[*o] {
                            seen[*o] = true;
                            next.push(*o);
                            within.push(*o);
                        }
                    }
                }
            }
            edge = next;
        }
        // Things of the amp, and those the drawing's stand for.
        let mine: Vec<usize> = if pick < n {
            within
        } else {
            for t in &within {
                for end in &self.b.things[*t].ends {
                    self.loosen(m, end.net, false);
                }
            }
            within
                .iter()
                .map(|j| m.here[*j])
                .filter(|i| *i != NONE)
                .collect()
        };
        for i in mine {
            for end in &self.a.things[i].ends {
                self.loosen(m, end.net, true);
            }
            m.part(i);
        }
    }

    fn loosen(&self, m: &mut Match, net: usize, here: bool) {
        let graph = if here { self.a } else { self.b };
        if net == NONE || graph.nets[net].anchor.is_some() || graph.degree(net) > CROWD {
            return;
        }
        if here {
            m.sever(net);
        } else if m.net_here[net] != NONE {
            m.sever(m.net_here[net]);
        }
    }
}
