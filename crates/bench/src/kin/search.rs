//! Laying one wiring on another: the pairs of things and of nets that need the fewest edits.
//!
//! First every thing is likened to every other of its sort by what surrounds it, round after round,
//! the marked points (ground, mains) held. Pairs then grow outward from the likeliest. What stands
//! is improved in turns: the nets that most ends ask for, then the things that fit these nets best.
//! Where edits are left, the neighbourhood of one is taken apart and laid anew, many times, with a
//! fixed seed; the cheapest is kept. No proof that it is the least; docs/kin.md says how near.

mod moves;

use super::cost::{EDIT, align, differs, end_cost};
use super::graph::{Graph, NONE, Sort};
use super::matching::Match;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

/// Rounds of likening.
const ROUNDS: usize = 8;

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
}
