//! Two readings ahead: what a reading would tell together with the best one after it.
//!
//! What the first reading may show is taken at a few points of each likely suspect's own
//! distribution; at each, the suspects are weighed anew and the reading that then tells most for its
//! effort is the second. Within one suspect both readings are taken as independent of each other,
//! so two that share a cause of spread are thought of a little too well.

use super::{Foreseen, gain};
use crate::suspects::wanted::Candidate;
use std::collections::BTreeMap;

/// Suspects whose showing is gone through.
const SHOWING: usize = 12;
/// Readings that may come second.
const SECONDS: usize = 48;
/// A suspect that the first reading leaves less than this is not asked after again.
const LEFT: f64 = 2e-3;

/// Three nodes and weights for a standard normal distribution (exact to the fifth moment).
const NODES: [(f64, f64); 3] = [
    (-1.732_050_807_568_877, 1.0 / 6.0),
    (0.0, 2.0 / 3.0),
    (1.732_050_807_568_877, 1.0 / 6.0),
];

/// What comes after a reading.
pub(super) struct After {
    /// The candidate that is the likeliest second.
    pub(super) candidate: usize,
    /// Bits that the second would tell, on the average over what the first may show.
    pub(super) bits: f64,
    /// Its effort, likewise.
    pub(super) effort: f64,
}

/// The readings that may come second, the most telling for their effort first.
pub(super) fn seconds(gains: &[f64], candidates: &[Candidate]) -> Vec<usize> {
    let worth = |i: &usize| {
        let effort = candidates.get(*i).map_or(1.0, |c| c.effort);
        gains.get(*i).copied().unwrap_or(0.0) / effort
    };
    let mut all: Vec<usize> = (0..candidates.len()).collect();
    all.sort_by(|a, b| worth(b).total_cmp(&worth(a)));
    all.truncate(SECONDS);
    all
}

/// What the best reading after `first` would tell; none where nothing would.
pub(super) fn after(
    suspects: &[Foreseen],
    weights: &[f64],
    candidates: &[Candidate],
    seconds: &[usize],
    first: usize,
) -> Option<After> {
    let mut sum = 0.0;
    let (mut bits, mut effort) = (0.0, 0.0);
    let mut chosen: BTreeMap<usize, f64> = BTreeMap::new();
    for (suspect, weight) in suspects.iter().zip(weights).take(SHOWING) {
        let Some((mean, variance)) = suspect.at.get(first).copied().flatten() else {
            continue;
        };
        for (node, part) in NODES {
            let shown = mean + node * variance.sqrt();
            let left = weighed(suspects, weights, first, shown);
            let best = seconds
                .iter()
                .filter(|d| **d != first)
                .filter_map(|d| {
                    let effort = candidates.get(*d)?.effort;
                    Some((*d, gain(suspects, &left, *d), effort))
                })
                .max_by(|a, b| (a.1 / a.2).total_cmp(&(b.1 / b.2)));
            let Some((second, tells, costs)) = best else {
                continue;
            };
            let chance = weight * part;
            sum += chance;
            bits += chance * tells;
            effort += chance * costs;
            *chosen.entry(second).or_default() += chance * tells;
        }
    }
    let most = chosen.into_iter().max_by(|a, b| a.1.total_cmp(&b.1))?;
    (sum > 0.0 && most.1 > 0.0).then(|| After {
        candidate: most.0,
        bits: bits / sum,
        effort: effort / sum,
    })
}

/// The weights of the suspects when the reading has shown `value`; those of little weight are let go.
fn weighed(suspects: &[Foreseen], weights: &[f64], reading: usize, value: f64) -> Vec<f64> {
    let density = |s: &Foreseen| {
        let (mean, variance) = s.at.get(reading).copied().flatten()?;
        Some((-0.5 * (value - mean).powi(2) / variance).exp() / variance.sqrt())
    };
    let found: Vec<Option<f64>> = suspects.iter().map(density).collect();
    let told = |(d, w): (&Option<f64>, &f64)| d.map(|d| (d * w, *w));
    let sums = found.iter().zip(weights).filter_map(told);
    let (sum, known) = sums.fold((0.0, 0.0), |a, b| (a.0 + b.0, a.1 + b.1));
    // a suspect of which nothing is known there stays as likely as it was
    let middle = if known > 0.0 { sum / known } else { 1.0 };
    let mut all: Vec<f64> = found
        .iter()
        .zip(weights)
        .map(|(d, w)| d.unwrap_or(middle) * w)
        .collect();
    let total: f64 = all.iter().sum();
    for w in &mut all {
        *w = if *w > LEFT * total { *w / total } else { 0.0 };
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::suspects::scene::Sort;

    fn candidate(effort: f64) -> Candidate {
        Candidate {
            probe: String::new(),
            condition: String::new(),
            settings: Vec::new(),
            effort,
            stands_at: 0.0,
            sort: Sort::Live,
        }
    }

    /// Four suspects, told apart only by two readings that halve them crosswise: one bit, then one.
    #[test]
    fn two_halvings_are_two_bits() {
        let suspects: Vec<Foreseen> = [(0.0, 0.0), (0.0, 40.0), (40.0, 0.0), (40.0, 40.0)]
            .iter()
            .map(|(a, b)| Foreseen {
                weight: 0.25,
                name: String::new(),
                at: vec![Some((*a, 1.0)), Some((*b, 1.0)), Some((*a, 1.0))],
            })
            .collect();
        let candidates = [candidate(1.0), candidate(1.0), candidate(1.0)];
        let found = after(&suspects, &[0.25; 4], &candidates, &[2, 1], 0).expect("a second");
        assert_eq!(found.candidate, 1, "the other way of halving");
        assert!((found.bits - 1.0).abs() < 1e-6, "{}", found.bits);
        assert!((found.effort - 1.0).abs() < 1e-12);
    }
}
