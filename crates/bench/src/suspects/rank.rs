//! From readings and hypotheses to probabilities.
//!
//! Two passes. The first solves every hypothesis at a few sizes and leaves those far behind ([`sizes`]); the
//! second takes the covariance of readings at the faulted circuit itself, where a fault moved
//! them at all, and the likelihood along the line from each size to the next.

mod sizes;
mod stretch;

use super::edit::{Edit, edits};
use super::evidence::Evidence;
use super::hypothesis::{Hypothesis, all};
use super::likelihood::{Covariance, sum_of_exp};
use super::scene::{Desk, Expected, Scene, Sort};
use super::spread::{covariance, residual, sigmas};
use crate::faults::Faults;
use sizes::{Look, Looks};
use std::sync::atomic::Ordering;
use stretch::{Point, Stretch};
use wiring::circuit::Circuit;
use wiring::roles::Anatomy;

/// Prior of a sound amplifier on a bench: it came with a complaint (ours, a guess).
const SOUND: f64 = 0.06;
/// Prior of something that nobody listed (ours, a guess).
const UNLISTED: f64 = 0.005;
/// A hypothesis that is this far behind the best, in logarithms, under a wide covariance is out.
const FAR: f64 = 8.0;
/// Variance factor of that wide covariance.
const WIDE: f64 = 16.0;
/// A hypothesis that moves no reading by more than this part of its standard deviation is not
/// to be told from a sound amplifier.
const UNMOVED: f64 = 0.05;
/// One that moves none by more than this keeps a sound amplifier's covariance.
const NEARLY: f64 = 0.7;
/// Where a fault leaves next to nothing, what is left is told to this part of a sound amplifier's
/// volts: leaks and stray fields that no part stands for (ours).
const REST: f64 = 0.001;
/// Most times a stretch of sizes is solved where it comes nearest to the readings.
const REFINED: usize = 4;
/// Again only for so much of likelihood (logarithm) to gain.
const WORTH: f64 = 0.3;
/// Hypotheses that one desk works through: few enough to share out, and always the same ones
/// together, so that an answer does not hang on how many threads there are.
const BATCH: usize = 24;

/// One size of one hypothesis, weighed.
#[derive(Debug, Clone)]
pub(super) struct Piece {
    /// Which hypothesis.
    pub(super) hypothesis: usize,
    /// The most likely size of this stretch.
    pub(super) size: f64,
    /// Probability, given the readings.
    pub(super) share: f64,
    /// Logarithm of the likelihood at the best size of the stretch, without any prior.
    pub(super) best: f64,
    /// What the readings should be there.
    pub(super) expected: Expected,
}

/// What the readings say of every hypothesis.
pub(super) struct Ranking {
    pub(super) list: Vec<Hypothesis>,
    /// Pieces of any weight, in the order of the list.
    pub(super) pieces: Vec<Piece>,
    pub(super) sound: Expected,
    pub(super) healthy: f64,
    pub(super) unlisted: f64,
    /// Share of hypotheses that move no reading.
    pub(super) unseen: f64,
    /// Hypotheses without an operating point.
    pub(super) unsolved: Vec<usize>,
    /// By hypothesis: each size with what every reading would be.
    pub(super) looks: Vec<Vec<(f64, Vec<f64>)>>,
    /// By hypothesis: logarithm of its prior.
    pub(super) priors: Vec<f64>,
    /// Logarithm of all that was weighed.
    pub(super) norm: f64,
}

impl Ranking {
    /// Probability of the likeliest part, whatever is wrong with it; of a valve, of a section.
    pub(super) fn best_share(&self) -> f64 {
        let mut sums: Vec<(&str, f64)> = Vec::new();
        for piece in &self.pieces {
            let Some(h) = self.list.get(piece.hypothesis) else {
                continue;
            };
            match sums.iter_mut().find(|s| s.0 == h.name) {
                Some(sum) => sum.1 += piece.share,
                None => sums.push((&h.name, piece.share)),
            }
        }
        sums.iter().fold(0.0, |most, s| f64::max(most, s.1))
    }
}

/// Weighs every hypothesis, with `every` size of each looked at, however far behind; none when a sound amplifier cannot be
/// solved.
pub(super) fn rank(
    circuit: &Circuit,
    anatomy: &Anatomy,
    faults: &Faults,
    evidence: &mut Evidence,
    every: bool,
) -> Option<Ranking> {
    let list = all(circuit, anatomy, faults, &evidence.told);
    let (straight, _) = look(evidence, &mut desks(evidence), &[], true, None)?;
    let sigma = sigmas(evidence, &straight);
    for ((seen, mean), sigma) in evidence.seen.iter_mut().zip(&straight.mean).zip(sigma) {
        seen.bend(*mean, sigma);
    }
    let sound = bent(evidence, straight);
    for (seen, mean) in evidence.seen.iter_mut().zip(&sound.mean) {
        if seen.unit == "V" {
            seen.variance += (REST * mean).powi(2);
            seen.sound = Some(*mean);
        }
    }
    let evidence = &*evidence;
    let around = covariance(evidence, &sound)?;
    let sigma = sigmas(evidence, &sound);
    let room = Room {
        circuit,
        evidence,
        sound: &sound,
        around: &around,
        sigma: &sigma,
        wide: evidence.seen.iter().map(|s| s.wide).collect(),
    };
    let off = residual(evidence, &sound.mean);
    let log_sound = SOUND.ln() + room.likelihood(&around, &off, None);
    let log_unlisted = UNLISTED.ln() + around.log_unlisted(&off);

    let looks = room.look_at_all(&list, every);
    let best = looks
        .iter()
        .flat_map(|l| room.quicks(&l.found))
        .fold(room.quick(&sound.mean), f64::max);

    let applying = list.iter().zip(&looks).filter(|(_, l)| l.applies);
    let total: f64 = applying.map(|(h, _)| h.weight).sum();
    let share = (1.0 - SOUND - UNLISTED) / total.max(f64::MIN_POSITIVE);
    let weighed = in_batches(list.len(), |range, out| {
        let mut desks = desks(evidence);
        for i in range {
            let (Some(h), Some(l)) = (list.get(i), looks.get(i)) else {
                continue;
            };
            let prior = (h.weight * share).max(f64::MIN_POSITIVE).ln();
            out.push(room.weigh(&mut desks, h, &l.found, best, prior));
        }
    });

    let mut logs: Vec<f64> = weighed.iter().flatten().map(|p| p.log).collect();
    logs.extend([log_sound, log_unlisted]);
    let norm = sum_of_exp(&logs);
    let part = |log: f64| (log - norm).exp();
    let mut unseen = 0.0;
    let mut pieces = Vec::new();
    for (hypothesis, found) in weighed.into_iter().enumerate() {
        for p in found {
            let share = part(p.log);
            if p.unmoved {
                unseen += share;
            }
            pieces.push(Piece {
                hypothesis,
                size: p.size,
                share,
                best: p.best,
                expected: p.expected,
            });
        }
    }
    let stuck = |l: &Looks| l.applies && l.found.is_empty();
    let unsolved = looks.iter().enumerate().filter(|(_, l)| stuck(l));
    Some(Ranking {
        pieces,
        healthy: part(log_sound),
        unlisted: part(log_unlisted),
        unseen,
        unsolved: unsolved.map(|(i, _)| i).collect(),
        priors: list
            .iter()
            .map(|h| (h.weight * share).max(f64::MIN_POSITIVE).ln())
            .collect(),
        looks: looks
            .into_iter()
            .map(|l| {
                let solved = l.found.into_iter().filter_map(|f| {
                    let mean = f.solved?.expected.mean;
                    Some((f.size, mean))
                });
                solved.collect()
            })
            .collect(),
        norm,
        list,
        sound,
    })
}

/// Works through `0..count` in batches, shared out over threads; the results in order.
pub(super) fn in_batches<T: Send>(
    count: usize,
    work: impl Fn(std::ops::Range<usize>, &mut Vec<T>) + Sync,
) -> Vec<T> {
    let batches = count.div_ceil(BATCH);
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let threads = threads.min(batches).clamp(1, 16);
    let one = |first: usize| {
        let mut done = Vec::new();
        for batch in (first..batches).step_by(threads) {
            let mut out = Vec::with_capacity(BATCH);
            work(batch * BATCH..((batch + 1) * BATCH).min(count), &mut out);
            done.push((batch, out));
        }
        done
    };
    let mut all: Vec<(usize, Vec<T>)> = std::thread::scope(|scope| {
        let one = &one;
        let handles: Vec<_> = (1..threads).map(|t| scope.spawn(move || one(t))).collect();
        let mut all = one(0);
        for handle in handles {
            all.extend(handle.join().unwrap_or_default());
        }
        all
    });
    all.sort_by_key(|(batch, _)| *batch);
    all.into_iter().flat_map(|(_, out)| out).collect()
}

/// A weighed stretch of sizes.
struct Weighed {
    log: f64,
    best: f64,
    size: f64,
    expected: Expected,
    unmoved: bool,
}

struct Room<'a> {
    circuit: &'a Circuit,
    evidence: &'a Evidence,
    sound: &'a Expected,
    around: &'a Covariance,
    sigma: &'a [f64],
    wide: Vec<f64>,
}

impl Room<'_> {
    fn likelihood(&self, around: &Covariance, r: &[f64], along: Option<&[f64]>) -> f64 {
        around.log_likelihood(r, along, &self.wide)
    }

    fn edits(&self, h: &Hypothesis, size: f64) -> Vec<Vec<Edit>> {
        let scenes = self.evidence.scenes.iter();
        scenes
            .map(|s| edits(self.circuit, &s.assembly, h, size))
            .collect()
    }

    /// How far off a hypothesis is, in standard deviations of a sound amplifier.
    fn moved(&self, mean: &[f64]) -> f64 {
        let pairs = mean.iter().zip(&self.sound.mean).zip(self.sigma);
        pairs.fold(0.0, |most, ((m, s), sigma)| {
            f64::max(most, (m - s).abs() / sigma)
        })
    }

    fn weigh(
        &self,
        desks: &mut [Option<Desk>],
        h: &Hypothesis,
        looks: &[Look],
        best: f64,
        prior: f64,
    ) -> Vec<Weighed> {
        let quicks = self.quicks(looks);
        let sizes: Vec<f64> = looks.iter().map(|l| l.size).collect();
        let mut out = Vec::new();
        for (from, to, part) in h.stretches(&sizes) {
            let look = |at: usize| looks.get(at).and_then(Look::solved);
            let Some(here) = look(from) else {
                continue;
            };
            let next = match to {
                Some(to) => match look(to) {
                    Some(next) => Some(next),
                    None => continue,
                },
                None => None,
            };
            let quick = match next {
                Some(_) => quicks.get(from).copied(),
                None => Some(here.quick),
            };
            if quick.unwrap_or(f64::NEG_INFINITY) < best - FAR {
                continue;
            }
            let moved = self.moved(&here.expected.mean);
            let moves = next.map_or(moved, |n| moved.max(self.moved(&n.expected.mean)));
            let mut stretch = Stretch::between(here, next);
            if moves > NEARLY {
                self.refine(desks, h, &mut stretch);
            }
            let around = stretch.around.as_ref().unwrap_or(self.around);
            let log = stretch.log_likelihood(self, around);
            let (size, expected, best) = stretch.peak(self, around);
            out.push(Weighed {
                log: prior + part.ln() + log,
                best,
                size,
                expected,
                unmoved: moves < UNMOVED,
            });
        }
        out
    }

    /// Solves a stretch again where it comes nearest to the readings, as long as that may tell more.
    fn refine(&self, desks: &mut [Option<Desk>], h: &Hypothesis, stretch: &mut Stretch) {
        let mut so_far = f64::NEG_INFINITY;
        for round in 0..REFINED {
            let around = stretch.around.as_ref().unwrap_or(self.around);
            let Some((leg, place, there)) = stretch.nearest(self, around) else {
                return;
            };
            let ends = place <= 0.0 || place >= 1.0;
            if round > 0 && (ends || there < so_far + WORTH) {
                return;
            }
            let (at, size) = stretch.on(leg, place);
            let edits = self.edits(h, size);
            let Some((expected, _)) = look(self.evidence, desks, &edits, true, None) else {
                return;
            };
            let Some(around) = covariance(self.evidence, &expected) else {
                return;
            };
            let near = residual(self.evidence, &expected.mean);
            let here = self.likelihood(&around, &near, None);
            if here > so_far {
                so_far = here;
                stretch.around = Some(around);
                stretch.slopes = Some((expected.slope.clone(), expected.own.clone()));
            }
            if ends {
                return;
            }
            let point = Point {
                at,
                size,
                mean: expected.mean,
            };
            stretch.points.insert(leg + 1, point);
        }
    }
}

pub(super) fn desks(evidence: &Evidence) -> Vec<Option<Desk>> {
    evidence.scenes.iter().map(Scene::desk).collect()
}

/// What every reading should be, over all scenes, and the volts of each scene.
pub(super) fn look(
    evidence: &Evidence,
    desks: &mut [Option<Desk>],
    edits: &[Vec<Edit>],
    slopes: bool,
    from: Option<&[Vec<f64>]>,
) -> Option<(Expected, Vec<Vec<f64>>)> {
    let mut all = Expected {
        mean: Vec::new(),
        slope: Vec::new(),
        own: Vec::new(),
    };
    let mut volts = Vec::new();
    let solved = evidence.scenes.iter().filter(|s| !s.only_wound()).count();
    evidence.solved.fetch_add(solved, Ordering::Relaxed);
    // the volts of the last scene of steady volts, with its block
    let mut steady: Option<(usize, Vec<f64>)> = None;
    for (index, scene) in evidence.scenes.iter().enumerate() {
        let desk = desks.get_mut(index)?.as_mut()?;
        let changes = edits.get(index).map_or(&[][..], Vec::as_slice);
        let alike = steady
            .as_ref()
            .filter(|(block, volts)| *block == scene.block && volts.len() == scene.volts.len())
            .map(|(_, volts)| volts);
        let start = alike
            .or_else(|| from.and_then(|f| f.get(index)))
            .unwrap_or(&scene.volts);
        let (one, after) = scene.expect_from(desk, changes, slopes, start)?;
        if scene.sort == Sort::Live {
            steady = Some((scene.block, after.clone()));
        }
        all.mean.extend(one.mean);
        all.slope.extend(one.slope);
        all.own.extend(one.own);
        volts.push(after);
    }
    let good = all.mean.len() == evidence.seen.len() && all.mean.iter().all(|m| m.is_finite());
    good.then(|| (bent(evidence, all), volts))
}

/// What is expected, on the scales of the readings.
fn bent(evidence: &Evidence, mut expected: Expected) -> Expected {
    let causes = evidence.causes;
    for (i, seen) in evidence.seen.iter().enumerate() {
        let (Some(bend), Some(mean), Some(own)) =
            (seen.bend, expected.mean.get_mut(i), expected.own.get_mut(i))
        else {
            continue;
        };
        let slope = bend.slope(*mean);
        *mean = bend.of(*mean);
        *own *= slope * slope;
        let row = expected.slope.get_mut(i * causes..(i + 1) * causes);
        for s in row.into_iter().flatten() {
            *s *= slope;
        }
    }
    expected
}
