//! Two faults at once: every two single faults of different parts, as far as they may explain the
//! readings together.
//!
//! What two faults do together is first taken as the sum of what each does, and as the product,
//! whichever comes nearer to the readings, under a covariance four times as wide. The best of these
//! are solved with both faults in the circuit, and their sizes looked for. A pair whose parts do
//! something only together that neither sum nor product hints at is not found.

use super::edit::{Edit, edits};
use super::evidence::Evidence;
use super::hypothesis::Hypothesis;
use super::rank::{Ranking, desks, in_batches, look};
use super::spread::{covariance, residual, sigmas};
use super::{Pair, Partner};
use crate::faults::Faults;
use std::sync::atomic::{AtomicUsize, Ordering};
use wiring::circuit::Circuit;

/// One amplifier in ten that has a fault has a second, unrelated one (ours, a guess).
const SECOND: f64 = 0.1;
/// Standard deviations of a sound amplifier by which a fault must move some reading to be one of two.
const MOVES: f64 = 0.7;
/// Variance factor of the first look.
const WIDE: f64 = 16.0;
/// What one reading may cost at most in the first look: it may be a slip.
const MOST_COST: f64 = 12.0;
/// Pairs that are solved.
const SOLVED: usize = 240;
/// Of the pairs of one fault so many.
const OF_EACH: usize = 12;
/// Rounds in which the sizes of both are looked for.
const ROUNDS: usize = 3;
/// Pairs that are told.
const TOLD: usize = 10;

/// A size of a hypothesis that moves something.
struct One {
    hypothesis: usize,
    size: f64,
    /// Step to the neighbouring size, as a factor.
    step: f64,
    prior: f64,
    mean: Vec<f64>,
}

/// Two of them, solved.
struct Both {
    log: f64,
    hypotheses: (usize, usize),
    sizes: (f64, f64),
}

/// The likeliest pairs; and how many pairs were looked at.
pub(super) fn pairs(
    circuit: &Circuit,
    evidence: &Evidence,
    ranking: &Ranking,
    faults: &Faults,
    watch: &(dyn Fn(usize, usize) + Sync),
) -> (Vec<Pair>, usize) {
    let sigma = sigmas(evidence, &ranking.sound);
    let ones = ones(evidence, ranking, &sigma);
    let screened = in_batches(ones.len(), |range, out| {
        for i in range {
            out.push(beside(evidence, ranking, &sigma, &ones, i));
        }
    });
    let looked = ones.len() * ones.len().saturating_sub(1) / 2;
    let mut best: Vec<(f64, usize, usize)> = screened.into_iter().flatten().collect();
    best.sort_by(|a, b| b.0.total_cmp(&a.0).then((a.1, a.2).cmp(&(b.1, b.2))));
    // of the sizes of two hypotheses the best pair of sizes stands for all
    let mut seen = std::collections::BTreeSet::new();
    best.retain(|(_, i, j)| match (ones.get(*i), ones.get(*j)) {
        (Some(a), Some(b)) => seen.insert((a.hypothesis, b.hypothesis)),
        _ => false,
    });
    best.truncate(SOLVED);
    let done = AtomicUsize::new(0);
    let solved = in_batches(best.len(), |range, out| {
        let mut desks = desks(evidence);
        let length = range.len();
        for k in range {
            let Some((_, i, j)) = best.get(k) else {
                continue;
            };
            if let (Some(a), Some(b)) = (ones.get(*i), ones.get(*j)) {
                out.extend(both(circuit, evidence, ranking, &mut desks, a, b));
            }
        }
        watch(
            done.fetch_add(length, Ordering::Relaxed) + length,
            best.len(),
        );
    });
    (told(solved, ranking, faults), looked)
}

fn ones(evidence: &Evidence, ranking: &Ranking, sigma: &[f64]) -> Vec<One> {
    let mut all = Vec::new();
    for (hypothesis, looks) in ranking.looks.iter().enumerate() {
        let Some(prior) = ranking.priors.get(hypothesis) else {
            continue;
        };
        let count = looks.len().max(1) as f64;
        let step = match (looks.first(), looks.get(1)) {
            (Some(a), Some(b)) if a.0 > 0.0 && b.0 > a.0 => b.0 / a.0,
            _ => 1.0,
        };
        for (size, mean) in looks {
            let pairs = mean.iter().zip(&ranking.sound.mean).zip(sigma);
            let moves = pairs.map(|((m, s), sigma)| (m - s).abs() / sigma);
            if moves.fold(0.0, f64::max) > MOVES {
                all.push(One {
                    hypothesis,
                    size: *size,
                    step,
                    prior: prior - count.ln(),
                    mean: mean.clone(),
                });
            }
        }
    }
    debug_assert!(all.iter().all(|o| o.mean.len() == evidence.seen.len()));
    all
}

/// The best partners of one, by a first look.
fn beside(
    evidence: &Evidence,
    ranking: &Ranking,
    sigma: &[f64],
    ones: &[One],
    i: usize,
) -> Vec<(f64, usize, usize)> {
    let part = |o: &One| ranking.list.get(o.hypothesis).map(|h| h.part);
    let mut best: Vec<(f64, usize, usize)> = Vec::new();
    let Some(a) = ones.get(i) else { return best };
    for (j, b) in ones.iter().enumerate().skip(i + 1) {
        if part(a) == part(b) {
            continue;
        }
        let mut log = a.prior + b.prior;
        let least = best
            .last()
            .filter(|_| best.len() >= OF_EACH)
            .map_or(f64::NEG_INFINITY, |l| l.0);
        for (k, seen) in evidence.seen.iter().enumerate() {
            let at = |v: &[f64]| v.get(k).copied().unwrap_or(0.0);
            let (sound, x, y) = (at(&ranking.sound.mean), at(&a.mean), at(&b.mean));
            let sum = x + y - sound;
            let product = if sound.abs() > 0.1 {
                x * y / sound
            } else {
                sum
            };
            let off = |mean: f64| {
                let off = seen.value - mean;
                if seen.over { off.max(0.0) } else { off.abs() }
            };
            let off = off(sum).min(off(product)) / at(sigma);
            log -= (0.5 * off * off / WIDE).min(MOST_COST);
            if log < least {
                break;
            }
        }
        if log <= least {
            continue;
        }
        let place = best.partition_point(|l| l.0 >= log);
        best.insert(place, (log, i, j));
        best.truncate(OF_EACH);
    }
    best
}

/// Solved with both in, their sizes moved to where the readings are explained best.
fn both(
    circuit: &Circuit,
    evidence: &Evidence,
    ranking: &Ranking,
    desks: &mut [Option<super::scene::Desk>],
    a: &One,
    b: &One,
) -> Option<Both> {
    let (one, other) = (
        ranking.list.get(a.hypothesis)?,
        ranking.list.get(b.hypothesis)?,
    );
    let wide: Vec<f64> = evidence.seen.iter().map(|s| s.wide).collect();
    let mut at = |sizes: (f64, f64)| -> Option<f64> {
        let changes: Vec<Vec<Edit>> = evidence
            .scenes
            .iter()
            .map(|s| {
                let mut all = edits(circuit, &s.assembly, one, sizes.0);
                for edit in edits(circuit, &s.assembly, other, sizes.1) {
                    // grids drift down once
                    if edit != Edit::Drift || !all.contains(&Edit::Drift) {
                        all.push(edit);
                    }
                }
                all
            })
            .collect();
        let (expected, _) = look(evidence, desks, &changes, true, None)?;
        let around = covariance(evidence, &expected)?;
        let off = residual(evidence, &expected.mean);
        Some(around.log_likelihood(&off, None, &wide))
    };
    let mut sizes = (a.size, b.size);
    let mut log = at(sizes)?;
    let mut steps = (a.step.sqrt(), b.step.sqrt());
    for _ in 0..ROUNDS {
        for first in [true, false] {
            let step = if first { steps.0 } else { steps.1 };
            if step <= 1.0 {
                continue;
            }
            for by in [step, 1.0 / step] {
                let tried = if first {
                    (within(one, sizes.0 * by), sizes.1)
                } else {
                    (sizes.0, within(other, sizes.1 * by))
                };
                if let Some(found) = at(tried)
                    && found > log
                {
                    (log, sizes) = (found, tried);
                }
            }
        }
        steps = (steps.0.sqrt(), steps.1.sqrt());
    }
    Some(Both {
        log: log + a.prior + b.prior + SECOND.ln(),
        hypotheses: (a.hypothesis, b.hypothesis),
        sizes,
    })
}

/// A size within what the dictionary says of the fault.
fn within(h: &Hypothesis, size: f64) -> f64 {
    match h.change.range() {
        Some((least, most, _)) if least < most => size.clamp(least, most),
        _ => size,
    }
}

/// The likeliest, with their probability among all that was weighed: single faults, and pairs.
fn told(solved: Vec<Both>, ranking: &Ranking, faults: &Faults) -> Vec<Pair> {
    let mut logs: Vec<f64> = solved.iter().map(|b| b.log).collect();
    logs.push(ranking.norm);
    let norm = super::likelihood::sum_of_exp(&logs);
    let partner = |hypothesis: usize, size: f64| {
        let h = ranking.list.get(hypothesis)?;
        Some(Partner {
            part: h.name.clone(),
            class: h.class,
            words: faults.faults.get(h.fault)?.words.clone(),
            severity: h
                .change
                .range()
                .filter(|(least, most, _)| least < most)
                .map(|_| size.abs()),
            measure: h.change.measure(),
        })
    };
    let mut all: Vec<Pair> = solved
        .iter()
        .filter_map(|b| {
            Some(Pair {
                probability: (b.log - norm).exp(),
                both: [
                    partner(b.hypotheses.0, b.sizes.0)?,
                    partner(b.hypotheses.1, b.sizes.1)?,
                ],
            })
        })
        .collect();
    all.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    all.truncate(TOLD);
    all
}
