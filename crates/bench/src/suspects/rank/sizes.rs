//! The sizes of a hypothesis, looked at as far as they may explain the readings.
//!
//! The ends of its range come first. What lies between two sizes is solved only where some size there could come near the
//! readings: each reading is taken to stay between what it is at both ends, or a quarter of the way beyond. That holds
//! for a part that grows or leaks more and more, which moves a point one way; and what is left out by it is as far behind
//! the best as what is left out after it was solved.

use super::super::hypothesis::Hypothesis;
use super::super::scene::{Desk, Expected};
use super::super::spread::{contact, fallen};
use super::{FAR, Room, WIDE, desks, in_batches, look};

/// How far beyond both its ends a reading may go between two sizes, as part of the way from one to the other.
const BEYOND: f64 = 0.25;

/// A hypothesis at the sizes that were looked at.
pub(super) struct Looks {
    pub(super) found: Vec<Look>,
    /// Is its part in any of the scenes, and does the fault change anything there?
    pub(super) applies: bool,
}

/// One size of a hypothesis.
pub(super) struct Look {
    pub(super) size: f64,
    /// None: too far from the readings to be solved.
    pub(super) solved: Option<Solved>,
}

/// What one size does.
pub(super) struct Solved {
    pub(super) size: f64,
    pub(super) expected: Expected,
    /// A first likelihood.
    pub(super) quick: f64,
    /// The volts of each scene, until its neighbours are solved.
    volts: Vec<Vec<f64>>,
}

/// A size, as far as it is looked at.
enum Place {
    Waiting,
    /// Too far from the readings.
    Out,
    /// There is no operating point.
    Stuck,
    Solved(Solved),
}

impl Look {
    pub(super) fn solved(&self) -> Option<&Solved> {
        self.solved.as_ref()
    }
}

/// The sizes of one hypothesis while they are looked at.
struct Tried {
    sizes: Vec<f64>,
    places: Vec<Place>,
    applies: bool,
}

impl Room<'_> {
    /// Looks at every hypothesis; at `every` size of each, or at those that may matter.
    pub(super) fn look_at_all(&self, list: &[Hypothesis], every: bool) -> Vec<Looks> {
        let ends = in_batches(list.len(), |range, out| {
            let mut desks = desks(self.evidence);
            out.extend(range.filter_map(|i| Some(self.ends(&mut desks, list.get(i)?, every))));
        });
        let quicks = ends.iter().flat_map(|t| &t.places);
        let best = quicks.fold(self.quick(&self.sound.mean), |best, place| match place {
            Place::Solved(solved) => f64::max(best, solved.quick),
            _ => best,
        });
        let waiting: Vec<usize> = (0..ends.len())
            .filter(|i| ends.get(*i).is_some_and(Tried::waits))
            .collect();
        let between = in_batches(waiting.len(), |range, out| {
            let mut desks = desks(self.evidence);
            for at in range {
                let index = waiting.get(at);
                let pair = index.and_then(|i| list.get(*i).zip(ends.get(*i)));
                out.push(pair.map_or_else(Vec::new, |(h, tried)| {
                    self.between(&mut desks, h, tried, best)
                }));
            }
        });
        let mut all = ends;
        for (index, found) in waiting.into_iter().zip(between) {
            for (at, place) in found {
                if let Some(slot) = all.get_mut(index).and_then(|t| t.places.get_mut(at)) {
                    *slot = place;
                }
            }
        }
        all.into_iter().map(Tried::done).collect()
    }

    /// The sizes that are solved in any case.
    fn ends(&self, desks: &mut [Option<Desk>], h: &Hypothesis, every: bool) -> Tried {
        let sizes = h.sizes();
        let last = sizes.len().saturating_sub(1);
        // the first of an open part is its other drift
        let first = usize::from(sizes.first().is_some_and(|s| *s < 0.0));
        let mut tried = Tried {
            places: Vec::with_capacity(sizes.len()),
            applies: false,
            sizes,
        };
        for at in 0..=last {
            let wanted = every || !h.is_continuous() || at <= first || at == last;
            let place = if wanted {
                let from = tried.places.iter().rev().find_map(Place::solved);
                let from = from.map(|s| s.volts.as_slice());
                match tried.sizes.get(at) {
                    Some(size) => self.at(desks, h, *size, from, &mut tried.applies),
                    None => Place::Stuck,
                }
            } else {
                Place::Waiting
            };
            tried.places.push(place);
        }
        tried
    }

    /// The sizes that wait between those that were solved.
    fn between(
        &self,
        desks: &mut [Option<Desk>],
        h: &Hypothesis,
        tried: &Tried,
        best: f64,
    ) -> Vec<(usize, Place)> {
        let mut found: Vec<(usize, Place)> = Vec::new();
        let mut gaps = tried.gaps();
        while let Some((from, to)) = gaps.pop() {
            if to < from + 2 {
                continue;
            }
            let solved = |at: usize| {
                let now = found.iter().find(|(known, _)| *known == at);
                now.map(|(_, place)| place)
                    .or_else(|| tried.places.get(at))
                    .and_then(Place::solved)
            };
            let (here, there) = (solved(from), solved(to));
            let hope = here
                .zip(there)
                .map(|(here, there)| self.at_best(&here.expected.mean, &there.expected.mean));
            if hope.is_some_and(|hope| hope < best - FAR) {
                found.extend((from + 1..to).map(|at| (at, Place::Out)));
                continue;
            }
            let middle = usize::midpoint(from, to);
            let start = here.or(there).map(|near| near.volts.as_slice());
            let size = tried.sizes.get(middle).copied().unwrap_or(1.0);
            let place = self.at(desks, h, size, start, &mut false);
            found.push((middle, place));
            gaps.extend([(middle, to), (from, middle)]);
        }
        found
    }

    /// One size, from the volts of a near one.
    fn at(
        &self,
        desks: &mut [Option<Desk>],
        h: &Hypothesis,
        size: f64,
        from: Option<&[Vec<f64>]>,
        applies: &mut bool,
    ) -> Place {
        let edits = self.edits(h, size);
        if !edits.is_empty() && edits.iter().all(Vec::is_empty) {
            return Place::Stuck;
        }
        *applies = true;
        match look(self.evidence, desks, &edits, false, from) {
            Some((expected, volts)) => Place::Solved(Solved {
                size,
                quick: self.quick(&expected.mean),
                expected,
                volts,
            }),
            None => Place::Stuck,
        }
    }

    /// For each stretch, the best first look along it.
    pub(super) fn quicks(&self, looks: &[Look]) -> Vec<f64> {
        let stretch = |i: usize| {
            let here = looks.get(i)?.solved()?;
            let Some(next) = looks.get(i + 1) else {
                return Some(here.quick);
            };
            let next = next.solved()?;
            let between = [0.25, 0.5, 0.75].map(|t| {
                let pairs = here.expected.mean.iter().zip(&next.expected.mean);
                let mean: Vec<f64> = pairs.map(|(x, y)| x + t * (y - x)).collect();
                self.quick(&mean)
            });
            let best = here.quick.max(next.quick);
            Some(between.into_iter().fold(best, f64::max))
        };
        (0..looks.len())
            .map(|i| stretch(i).unwrap_or(f64::NEG_INFINITY))
            .collect()
    }

    /// A first look with a sound amplifier's spread, widened.
    pub(super) fn quick(&self, mean: &[f64]) -> f64 {
        self.at_best(mean, mean)
    }

    /// The same at best, where each reading may lie anywhere between two expectations and a little beyond.
    fn at_best(&self, one: &[f64], other: &[f64]) -> f64 {
        let fallen = fallen(self.evidence, one).max(fallen(self.evidence, other));
        let pairs = self.evidence.seen.iter().zip(one.iter().zip(other));
        pairs
            .zip(self.sigma)
            .map(|((s, (one, other)), sigma)| {
                let sigma = sigma.hypot(contact(s, fallen));
                let beyond = BEYOND * (one - other).abs();
                let (low, high) = (one.min(*other) - beyond, one.max(*other) + beyond);
                let off = match s.value - s.value.max(low).min(high) {
                    off if s.over => off.max(0.0),
                    off => off,
                } / sigma;
                f64::max(-0.5 * off * off / WIDE, -s.wide.ln().max(0.0) - 8.0)
            })
            .sum()
    }
}

impl Place {
    fn solved(&self) -> Option<&Solved> {
        match self {
            Self::Solved(solved) => Some(solved),
            _ => None,
        }
    }
}

impl Tried {
    fn waits(&self) -> bool {
        self.places.iter().any(|p| matches!(p, Place::Waiting))
    }

    /// From one size that was looked at to the next, where others wait between them.
    fn gaps(&self) -> Vec<(usize, usize)> {
        let places = self.places.iter().enumerate();
        let known: Vec<usize> = places
            .filter(|(_, p)| !matches!(p, Place::Waiting))
            .map(|(at, _)| at)
            .collect();
        known
            .windows(2)
            .filter_map(|w| Some((*w.first()?, *w.get(1)?)))
            .collect()
    }

    fn done(self) -> Looks {
        let each = self.sizes.into_iter().zip(self.places);
        let found = each.filter_map(|(size, place)| {
            let solved = match place {
                Place::Solved(solved) => Some(Solved {
                    volts: Vec::new(),
                    ..solved
                }),
                Place::Out | Place::Waiting => None,
                Place::Stuck => return None,
            };
            Some(Look { size, solved })
        });
        Looks {
            found: found.collect(),
            applies: self.applies,
        }
    }
}
