//! What to measure next: the reading that would tell the suspects apart best for its effort.
//!
//! For each reading that could be taken safely ([`super::wanted`]) the volts that every suspect
//! expects there, given what was read already, make a mixture of normal distributions. What the
//! reading would tell about which suspect it is, in bits, is the mutual information of the two
//! (de Kleer and Williams, Artificial Intelligence 32, 1987, from memory, not seen), here by
//! Gauss-Hermite quadrature over each suspect's own distribution.

use super::edit::edits;
use super::evidence::{Evidence, noise};
use super::rank::{Ranking, in_batches, look};
use super::scene::Desk;
use super::spread::{residual, spread};
use super::wanted::{Candidate, Wanted};
use super::{Next, Probing, Then, Would};
use crate::chart::entry::OVER_OHMS;
use solve_small::Factor;
use wiring::circuit::Circuit;

mod ahead;
mod solve_small;

/// Most suspects that a reading is asked to tell apart.
const MOST: usize = 64;
/// Suspects below this part of the whole are not asked after.
const LEAST: f64 = 5e-4;
/// A sure enough suspect: confirm it and mend it.
const SURE: f64 = 0.9;
/// A reading that would tell less than this, bits, does not help.
const HELPS: f64 = 0.05;
/// A cold reading goes before a live one that tells hardly more.
const NEARLY_AS_WELL: f64 = 0.8;
/// Readings that are weighed together with the one after them, where that is asked.
const LOOKED_AHEAD: usize = 8;
/// Most readings proposed.
const PROPOSED: usize = 5;

/// Nodes and weights of the quadrature (Abramowitz and Stegun, table 25.10, n = 5, from memory,
/// not seen; checked in the tests by moments), for a standard normal distribution.
const NODES: [(f64, f64); 5] = [
    (-2.856_970_013_872_806, 0.011_257_411_327_721),
    (-1.355_626_179_974_266, 0.222_075_922_005_613),
    (0.0, 0.533_333_333_333_333),
    (1.355_626_179_974_266, 0.222_075_922_005_613),
    (2.856_970_013_872_806, 0.011_257_411_327_721),
];

/// A suspect and what it expects at each candidate, given the readings.
struct Foreseen {
    weight: f64,
    name: String,
    /// By candidate: mean and variance; none where it has no operating point.
    at: Vec<Option<(f64, f64)>>,
}

/// What to read next, and whether to go on at all; with `two` ordered by what two readings tell.
pub(super) fn next(
    circuit: &Circuit,
    evidence: &Evidence,
    ranking: &Ranking,
    wanted: &Wanted,
    two: bool,
) -> (Vec<Next>, Probing) {
    let suspects = foresee(circuit, evidence, ranking, wanted);
    let total: f64 = suspects.iter().map(|s| s.weight).sum();
    let weights: Vec<f64> = suspects.iter().map(|s| s.weight / total).collect();
    let gains: Vec<f64> = (0..wanted.candidates.len())
        .map(|index| gain(&suspects, &weights, index))
        .collect();
    let mut all: Vec<Next> = Vec::new();
    for (index, (candidate, gain)) in wanted.candidates.iter().zip(&gains).enumerate() {
        if *gain >= HELPS {
            all.push(proposed(candidate, *gain, &suspects, index));
        }
    }
    if two {
        look_ahead(&mut all, &suspects, &weights, &gains, &wanted.candidates);
    }
    all.extend(direct(circuit, ranking));
    all.sort_by(|a, b| worth(b).total_cmp(&worth(a)));
    let live_first = all.first().is_some_and(|n| n.live);
    if live_first {
        let enough = all.first().map_or(0.0, |n| n.gain_bits) * NEARLY_AS_WELL;
        if let Some(cold) = all
            .iter()
            .position(|n| !n.live && n.gain_bits >= enough && n.effort <= 2.0)
        {
            let cold = all.remove(cold);
            all.insert(0, cold);
        }
    }
    all.truncate(PROPOSED);
    let first = ranking.best_share();
    let weighed = !evidence.seen.is_empty();
    let probing = if weighed && (ranking.healthy >= SURE || first >= SURE) {
        Probing::SureEnough
    } else if all.is_empty() {
        Probing::NothingHelps
    } else {
        Probing::GoOn
    };
    (all, probing)
}

/// Bits over effort, of both readings where a second was looked for.
fn worth(next: &Next) -> f64 {
    let (bits, effort) = match &next.then {
        Some(then) => (then.gain_bits, then.effort),
        None => (0.0, 0.0),
    };
    (next.gain_bits + bits) / (next.effort + effort)
}

/// Says of the most telling readings what comes after them, and leaves out the others.
fn look_ahead(
    all: &mut Vec<Next>,
    suspects: &[Foreseen],
    weights: &[f64],
    gains: &[f64],
    candidates: &[Candidate],
) {
    all.sort_by(|a, b| worth(b).total_cmp(&worth(a)));
    all.truncate(LOOKED_AHEAD);
    let seconds = ahead::seconds(gains, candidates);
    for next in all {
        let same = |c: &Candidate| c.probe == next.probe && c.condition == next.condition;
        let Some(first) = candidates.iter().position(same) else {
            continue;
        };
        let after = ahead::after(suspects, weights, candidates, &seconds, first);
        next.then = after.and_then(|after| {
            let second = candidates.get(after.candidate)?;
            Some(Then {
                probe: second.probe.clone(),
                condition: second.condition.clone(),
                gain_bits: after.bits,
                effort: after.effort,
            })
        });
    }
}

fn proposed(candidate: &Candidate, gain: f64, suspects: &[Foreseen], index: usize) -> Next {
    let shown = |mean: f64| candidate.shown(mean);
    let would = suspects
        .iter()
        .take(3)
        .filter_map(|s| {
            let (mean, _) = s.at.get(index).copied().flatten()?;
            Some(Would {
                suspect: s.name.clone(),
                value: shown(mean),
            })
        })
        .collect();
    Next {
        probe: candidate.probe.clone(),
        condition: candidate.condition.clone(),
        settings: candidate.settings.clone(),
        gain_bits: gain,
        effort: candidate.effort,
        unit: candidate.unit(),
        live: candidate.is_live(),
        stands_at: candidate.stands_at,
        would,
        then: None,
    }
}

/// The weightiest suspects with what they expect.
fn foresee(
    circuit: &Circuit,
    evidence: &Evidence,
    ranking: &Ranking,
    wanted: &Wanted,
) -> Vec<Foreseen> {
    // (hypothesis of the best piece, size, weight), by part and class; none: nothing wrong
    let mut picks: Vec<(Option<(usize, usize)>, f64)> = vec![(None, ranking.healthy)];
    for (index, piece) in ranking.pieces.iter().enumerate() {
        let Some(h) = ranking.list.get(piece.hypothesis) else {
            continue;
        };
        let same = |p: &(Option<(usize, usize)>, f64)| {
            p.0.and_then(|(h, _)| ranking.list.get(h))
                .is_some_and(|o| o.name == h.name && o.class == h.class)
        };
        match picks.iter_mut().find(|p| same(p)) {
            Some(pick) => {
                let best = pick.0.and_then(|(_, p)| ranking.pieces.get(p));
                if best.is_some_and(|b| b.share < piece.share) {
                    pick.0 = Some((piece.hypothesis, index));
                }
                pick.1 += piece.share;
            }
            None => picks.push((Some((piece.hypothesis, index)), piece.share)),
        }
    }
    picks.retain(|p| p.1 >= LEAST);
    picks.sort_by(|a, b| b.1.total_cmp(&a.1));
    picks.truncate(MOST);
    in_batches(picks.len(), |range, out| {
        let mut desks: Vec<Option<Desk>> = super::rank::desks(&wanted.evidence);
        for i in range {
            let Some((pick, weight)) = picks.get(i) else {
                continue;
            };
            let (changes, expected, name) = match pick {
                Some((h, p)) => {
                    let (Some(h), Some(piece)) = (ranking.list.get(*h), ranking.pieces.get(*p))
                    else {
                        continue;
                    };
                    let scenes = wanted.evidence.scenes.iter();
                    let changes = scenes
                        .map(|s| edits(circuit, &s.assembly, h, piece.size))
                        .collect();
                    let name = format!("{} {}", h.name, h.class.words());
                    (changes, &piece.expected, name)
                }
                None => (Vec::new(), &ranking.sound, "nothing wrong".to_owned()),
            };
            let there = look(&wanted.evidence, &mut desks, &changes, true, None);
            let at = match there {
                Some((there, _)) => given(evidence, expected, wanted, &there),
                None => vec![None; wanted.candidates.len()],
            };
            out.push(Foreseen {
                weight: *weight,
                name,
                at,
            });
        }
    })
}

/// Mean and variance of each candidate under a suspect, given the readings.
fn given(
    evidence: &Evidence,
    expected: &super::scene::Expected,
    wanted: &Wanted,
    there: &super::scene::Expected,
) -> Vec<Option<(f64, f64)>> {
    let (n, causes) = (evidence.seen.len(), evidence.causes);
    let (slopes, own) = spread(evidence, expected);
    let row = |i: usize| slopes.get(i * causes..(i + 1) * causes).unwrap_or_default();
    let factor = Factor::of(n, |i, j| {
        let sum: f64 = row(i).iter().zip(row(j)).map(|(a, b)| a * b).sum();
        if i == j {
            sum + own.get(i).copied().unwrap_or(0.0)
        } else {
            sum
        }
    });
    let Some(factor) = factor else {
        return vec![None; wanted.candidates.len()];
    };
    // a reading far off the suspect pulls no further than three standard deviations
    let off: Vec<f64> = residual(evidence, &expected.mean)
        .into_iter()
        .enumerate()
        .map(|(i, r)| {
            let most = 3.0 * factor.diagonal(i).sqrt();
            r.clamp(-most, most)
        })
        .collect();
    let pull = factor.solve(&off);
    let mut by_cause = vec![0.0; causes];
    for (i, p) in pull.iter().enumerate() {
        for (to, s) in by_cause.iter_mut().zip(row(i)) {
            *to += p * s;
        }
    }
    let wide = wanted.evidence.causes;
    (0..wanted.candidates.len())
        .map(|k| {
            let mean = *there.mean.get(k)?;
            let seen = wanted.evidence.seen.get(k)?;
            let mut slope: Vec<f64> = there
                .slope
                .get(k * wide..(k + 1) * wide)
                .map_or_else(|| vec![0.0; wide], <[f64]>::to_vec);
            if let Some(s) = slope.get_mut(seen.gain_cause) {
                *s += seen.gain * mean;
            }
            let shared: Vec<f64> = (0..n)
                .map(|i| row(i).iter().zip(&slope).map(|(a, b)| a * b).sum())
                .collect();
            let shift: f64 = by_cause.iter().zip(&slope).map(|(a, b)| a * b).sum();
            let known: f64 = shared
                .iter()
                .zip(factor.solve(&shared))
                .map(|(a, b)| a * b)
                .sum();
            let spread: f64 = slope.iter().map(|s| s * s).sum::<f64>() - known;
            let sort = wanted.candidates.get(k)?.sort;
            let mean = if sort == super::scene::Sort::Cold {
                (mean + shift).min((10.0 * OVER_OHMS).ln())
            } else {
                mean + shift
            };
            let own = there.own.get(k).copied().unwrap_or(0.0);
            Some((mean, spread.max(0.0) + own + noise(sort, mean)))
        })
        .collect()
}

/// Bits that a reading would tell about which suspect it is, whose weights together are one.
fn gain(suspects: &[Foreseen], weights: &[f64], candidate: usize) -> f64 {
    let all: Vec<(f64, f64, f64)> = suspects
        .iter()
        .zip(weights)
        .filter(|(_, weight)| **weight > 0.0)
        .filter_map(|(s, weight)| {
            let (mean, variance) = s.at.get(candidate).copied().flatten()?;
            Some((*weight, mean, variance.sqrt()))
        })
        .collect();
    let reached: f64 = all.iter().map(|a| a.0).sum();
    if reached < 0.5 {
        return 0.0;
    }
    let density = |y: f64| -> f64 {
        all.iter()
            .map(|(w, m, s)| {
                let z = (y - m) / s;
                if z.abs() > 9.0 {
                    0.0
                } else {
                    w / s * (-0.5 * z * z).exp()
                }
            })
            .sum()
    };
    let mut bits = 0.0;
    for (weight, mean, sigma) in &all {
        for (node, part) in NODES {
            let own = 1.0 / sigma * (-0.5 * node * node).exp();
            let mixed = density(mean + node * sigma) / reached;
            if mixed > 0.0 && own > 0.0 {
                bits += weight * part * (own / mixed).log2();
            }
        }
    }
    bits.max(0.0)
}

/// Looking at the likeliest suspects themselves: a leg lifted, another valve in.
fn direct(circuit: &Circuit, ranking: &Ranking) -> Vec<Next> {
    let mut by_part: Vec<(String, usize, f64)> = Vec::new();
    for piece in &ranking.pieces {
        let Some(h) = ranking.list.get(piece.hypothesis) else {
            continue;
        };
        let Some(part) = circuit.parts.get(h.part.0) else {
            continue;
        };
        match by_part.iter_mut().find(|p| p.1 == h.part.0) {
            Some(row) => row.2 += piece.share,
            None => by_part.push((part.name.clone(), h.part.0, piece.share)),
        }
    }
    by_part.sort_by(|a, b| b.2.total_cmp(&a.2));
    let mut all = Vec::new();
    for (name, part, share) in by_part.into_iter().take(4) {
        let p = share.clamp(1e-9, 1.0 - 1e-9);
        // a test of a part is taken as right nine times in ten
        let gain = 0.9 * -(p * p.log2() + (1.0 - p) * (1.0 - p).log2());
        if gain < HELPS {
            continue;
        }
        let kind = circuit.parts.get(part).map(|p| &p.kind);
        let (condition, effort) = match kind {
            Some(wiring::circuit::Kind::Valve(_)) => {
                ("another valve of its type in its place", 3.0)
            }
            Some(
                wiring::circuit::Kind::Resistor { .. } | wiring::circuit::Kind::Capacitor { .. },
            ) => ("power off and discharged, one end lifted", 4.0),
            _ => continue,
        };
        all.push(Next {
            probe: name,
            condition: condition.to_owned(),
            settings: Vec::new(),
            gain_bits: gain,
            effort,
            unit: "",
            live: false,
            stands_at: 0.0,
            would: Vec::new(),
            then: None,
        });
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_quadrature_has_the_moments_of_a_normal_distribution() {
        for (power, want) in [(0, 1.0), (2, 1.0), (4, 3.0), (6, 15.0), (8, 105.0)] {
            let sum: f64 = NODES.iter().map(|(x, w)| w * x.powi(power)).sum();
            assert!((sum - want).abs() < 1e-9 * want.max(1.0), "{power}: {sum}");
        }
    }

    fn two(apart: f64) -> f64 {
        let one = |mean: f64| Foreseen {
            weight: 0.5,
            name: String::new(),
            at: vec![Some((mean, 1.0))],
        };
        gain(&[one(0.0), one(apart)], &[0.5, 0.5], 0)
    }

    #[test]
    fn two_suspects_far_apart_are_worth_one_bit_and_two_alike_none() {
        assert!((two(20.0) - 1.0).abs() < 1e-6);
        assert!(two(0.0).abs() < 1e-12);
        // 0.4860 bits at two standard deviations: by the sum over a fine grid, done by hand
        let grid: f64 = (-800..1000)
            .map(|i| {
                let y = f64::from(i) * 0.01;
                let n = |m: f64| (-0.5 * (y - m).powi(2)).exp() / std::f64::consts::TAU.sqrt();
                let mixed = 0.5 * (n(0.0) + n(2.0));
                0.01 * (0.5 * n(0.0) * (n(0.0) / mixed).log2()
                    + 0.5 * n(2.0) * (n(2.0) / mixed).log2())
            })
            .sum();
        assert!((two(2.0) - grid).abs() < 0.02, "{} {grid}", two(2.0));
    }
}
