//! Laying one wiring on another: the pairs of things and of nets that need the fewest edits.
//!
//! First every thing is likened to every other of its sort by what surrounds it, round after round,
//! the marked points (ground, mains) held. Pairs then grow outward from the likeliest. What stands
//! is improved in turns: the nets that most ends ask for, then the things that fit these nets best.
//! Where edits are left, the neighbourhood of one is taken apart and laid anew, many times, with a
//! fixed seed; the cheapest is kept. No proof that it is the least; docs/kin.md says how near.

use super::cost::{EDIT, align, assign, differs, end_cost};
use super::graph::{Graph, NONE, Sort};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

/// Rounds of likening.
const ROUNDS: usize = 8;

/// A net with more ends than this says little about where a thing belongs.
const CROWD: usize = 9;

/// Which thing stands for which, both ways, and which net for which.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Match {
    /// By thing of the amp: thing of the drawing.
    pub(super) there: Vec<usize>,
    /// By thing of the drawing: thing of the amp.
    pub(super) here: Vec<usize>,
    /// By net of the amp: net of the drawing.
    pub(super) net_there: Vec<usize>,
    /// By net of the drawing: net of the amp.
    pub(super) net_here: Vec<usize>,
}

impl Match {
    fn pair(&mut self, i: usize, j: usize) {
        self.part(i);
        if let Some(old) = self.here.get(j).copied().filter(|o| *o != NONE) {
            self.part(old);
        }
        self.there[i] = j;
        self.here[j] = i;
    }
    pub(super) fn part(&mut self, i: usize) {
        let j = self.there[i];
        if j != NONE {
            self.here[j] = NONE;
            self.there[i] = NONE;
        }
    }
    fn join(&mut self, x: usize, y: usize) {
        self.sever(x);
        let old = self.net_here[y];
        if old != NONE {
            self.sever(old);
        }
        self.net_there[x] = y;
        self.net_here[y] = x;
    }
    fn sever(&mut self, x: usize) {
        let y = self.net_there[x];
        if y != NONE {
            self.net_here[y] = NONE;
            self.net_there[x] = NONE;
        }
    }
}

pub(super) struct Search<'a> {
    a: &'a Graph,
    b: &'a Graph,
    /// Likeness of things, by amp thing times drawing things.
    like: Vec<f32>,
    /// Likeness of nets.
    near: Vec<f32>,
    /// Pairs of things of one group.
    pairs: Vec<(usize, usize)>,
    /// Drawing thing to its siblings in the same valve, and the amp's.
    same_valve_a: Vec<Vec<usize>>,
}

impl<'a> Search<'a> {
    /// Lays `a`, the amp, on `b`, the drawing.
    pub(super) fn best(a: &'a Graph, b: &'a Graph) -> Match {
        let mut pairs = Vec::new();
        for (i, x) in a.things.iter().enumerate() {
            for (j, y) in b.things.iter().enumerate() {
                if x.sort.group() == y.sort.group() {
                    pairs.push((i, j));
                }
            }
        }
        let same_valve_a = a
            .things
            .iter()
            .map(|t| {
                a.things
                    .iter()
                    .enumerate()
                    .filter(|(_, o)| o.part == t.part && o.sort != Sort::Heater)
                    .map(|(k, _)| k)
                    .collect()
            })
            .collect();
        let mut search = Self {
            a,
            b,
            like: Vec::new(),
            near: Vec::new(),
            pairs,
            same_valve_a,
        };
        search.liken();
        search.run()
    }

    fn liken(&mut self) {
        let (n, m) = (self.a.things.len(), self.b.things.len());
        let (p, q) = (self.a.nets.len(), self.b.nets.len());
        let mut base = vec![0.0f32; n * m];
        for (i, j) in &self.pairs {
            let (x, y) = (&self.a.things[*i], &self.b.things[*j]);
            base[i * m + j] = match differs(x, y) {
                super::cost::Differs::Not => 1.0,
                super::cost::Differs::Inside => 0.95,
                super::cost::Differs::Type => 0.6,
                super::cost::Differs::Value => match (x.value, y.value) {
                    (Some(u), Some(v)) if u > 0.0 && v > 0.0 => {
                        (0.85 - 0.2 * (u / v).ln().abs() as f32).max(0.4)
                    }
                    _ => 0.7,
                },
            };
        }
        self.like = base.clone();
        self.near = vec![0.0; p * q];
        // Which ends of what sort meet at a net.
        let keyed = |g: &Graph| -> Vec<Vec<(u16, usize)>> {
            g.nets
                .iter()
                .map(|net| {
                    net.ends
                        .iter()
                        .map(|(t, e)| {
                            let thing = &g.things[*t];
                            (
                                u16::from(thing.sort.group()) << 8
                                    | u16::from(thing.ends[*e].class),
                                *t,
                            )
                        })
                        .collect()
                })
                .collect()
        };
        let (ka, kb) = (keyed(self.a), keyed(self.b));
        for _ in 0..ROUNDS {
            for (x, ends_x) in ka.iter().enumerate() {
                for (y, ends_y) in kb.iter().enumerate() {
                    let (nx, ny) = (&self.a.nets[x], &self.b.nets[y]);
                    self.near[x * q + y] = if nx.anchor != ny.anchor {
                        0.0
                    } else if nx.anchor.is_some() {
                        1.0
                    } else {
                        let (dx, dy) = (ends_x.len(), ends_y.len());
                        if dx + dy == 0 {
                            continue;
                        }
                        if dx > 4 * dy + 4 || dy > 4 * dx + 4 {
                            0.0
                        } else {
                            let mut sum = 0.0f32;
                            let mut best_y = [0.0f32; 64];
                            for (key, i) in ends_x {
                                let mut best = 0.0f32;
                                for (k, (other, j)) in ends_y.iter().enumerate() {
                                    if key == other {
                                        let s = self.like[i * m + j];
                                        best = best.max(s);
                                        if let Some(b) = best_y.get_mut(k) {
                                            *b = b.max(s);
                                        }
                                    }
                                }
                                sum += best;
                            }
                            let shown = dy.min(64);
                            sum += best_y[..shown].iter().sum::<f32>();
                            sum / (dx + shown) as f32
                        }
                    };
                }
            }
            let mut next = vec![0.0f32; n * m];
            for (i, j) in &self.pairs {
                let (x, y) = (&self.a.things[*i], &self.b.things[*j]);
                let ends = x.ends.len().max(y.ends.len()).max(1) as f32;
                let near = &self.near;
                let apart = align(
                    x,
                    y,
                    &|u, v| match (u, v) {
                        (NONE, NONE) => 0,
                        (NONE, _) | (_, NONE) => 600,
                        (u, v) => (1000.0 * (1.0 - near[u * q + v])) as u32,
                    },
                    |_, _| {},
                );
                let ends_like = (1.0 - apart as f32 / 1000.0 / ends).clamp(0.0, 1.0);
                next[i * m + j] = base[i * m + j] * (0.25 + 0.75 * ends_like);
            }
            self.like = next;
        }
    }

    fn empty(&self) -> Match {
        let mut m = Match {
            there: vec![NONE; self.a.things.len()],
            here: vec![NONE; self.b.things.len()],
            net_there: vec![NONE; self.a.nets.len()],
            net_here: vec![NONE; self.b.nets.len()],
        };
        for (x, net) in self.a.nets.iter().enumerate() {
            if let Some(anchor) = net.anchor
                && let Some(y) = self.b.nets.iter().position(|o| o.anchor == Some(anchor))
            {
                m.join(x, y);
            }
        }
        m
    }

    fn run(&self) -> Match {
        let mut rng = ChaCha8Rng::seed_from_u64(0x6b69_6e00);
        let mut best = self.empty();
        self.grow(&mut best, 0.0, &mut rng);
        self.settle(&mut best);
        let mut least = self.cost(&best);
        let mut tries = 0;
        let mut since = 0;
        let small = self.a.things.len().min(self.b.things.len());
        while least > 0 && tries < 160 && since < 60 {
            let bad = self.bad(&best);
            if bad.is_empty() {
                break;
            }
            // Far from alike: no amount of laying anew makes kin of them, so less of it.
            if bad.len() > small / 2 && tries > 24 {
                break;
            }
            tries += 1;
            since += 1;
            let mut trial = best.clone();
            if tries % 40 == 39 {
                trial = self.empty();
                self.grow(&mut trial, 0.2, &mut rng);
            } else {
                let pick = bad[rng.next_u32() as usize % bad.len()];
                let reach = 1 + (rng.next_u32() % 3) as usize;
                self.ruin(&mut trial, pick, reach);
                let noise = [0.0, 0.1, 0.3][(rng.next_u32() % 3) as usize];
                self.grow(&mut trial, noise, &mut rng);
            }
            self.settle(&mut trial);
            let cost = self.cost(&trial);
            if cost <= least {
                if cost < least {
                    since = 0;
                }
                least = cost;
                best = trial;
            }
        }
        best
    }

    /// Cost of a pair under the nets as they stand.
    pub(super) fn pair_cost(&self, m: &Match, i: usize, j: usize) -> u32 {
        let (x, y) = (&self.a.things[i], &self.b.things[j]);
        let ends = align(
            x,
            y,
            &|u, v| end_cost(self.a, self.b, &m.net_there, u, v),
            |_, _| {},
        );
        let mut cost = differs(x, y).cost() + ends;
        if x.sort == Sort::Heater {
            let follows = self.same_valve_a[i].iter().any(|k| {
                let t = m.there[*k];
                t != NONE && self.b.things[t].part == y.part
            });
            cost += u32::from(!follows);
        }
        cost.min(2 * EDIT)
    }

    fn alone(&self, sort: Sort) -> u32 {
        if sort == Sort::Heater { 2 } else { EDIT }
    }

    fn cost(&self, m: &Match) -> u32 {
        let mut total = 0;
        for (i, j) in m.there.iter().enumerate() {
            total += if *j == NONE {
                self.alone(self.a.things[i].sort)
            } else {
                self.pair_cost(m, i, *j)
            };
        }
        for (j, i) in m.here.iter().enumerate() {
            if *i == NONE {
                total += self.alone(self.b.things[j].sort);
            }
        }
        total
    }

    /// Things of the amp (below the amp's count) and of the drawing (above) that need an edit.
    fn bad(&self, m: &Match) -> Vec<usize> {
        let n = self.a.things.len();
        let mut bad: Vec<usize> = (0..n)
            .filter(|i| match m.there[*i] {
                NONE => self.a.things[*i].sort != Sort::Heater,
                j => self.pair_cost(m, *i, j) >= EDIT,
            })
            .collect();
        bad.extend(
            (0..self.b.things.len())
                .filter(|j| m.here[*j] == NONE && self.b.things[*j].sort != Sort::Heater)
                .map(|j| n + j),
        );
        bad
    }

    fn weight(&self, x: usize) -> f32 {
        if self.a.degree(x) > CROWD { 0.25 } else { 1.0 }
    }

    /// Adds pairs outward from what is paired, the likeliest first.
    fn grow(&self, m: &mut Match, noise: f32, rng: &mut ChaCha8Rng) {
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
    fn settle(&self, m: &mut Match) {
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
    fn ruin(&self, m: &mut Match, pick: usize, reach: usize) {
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
