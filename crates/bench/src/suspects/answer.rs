//! From weighed hypotheses to what a technician is told.

use super::evidence::{Evidence, Seen};
use super::rank::{Piece, Ranking};
use super::spread::{residual, sigmas};
use super::strain::Strain;
use super::{ByEar, Explained, Suspect};
use crate::faults::Faults;
use wiring::circuit::Circuit;
use wiring::sheet::Library;

/// The unlikeliest suspects are left out, as long as all of them together are below this.
const LEFT_OUT: f64 = 1e-3;
/// So many are told in any case: where nothing fits, those that come nearest.
const KEPT: usize = 3;
/// A reading this many standard deviations off is not explained.
const OFF: f64 = 2.5;
/// A suspect explains a reading when it brings it nearer by so many standard deviations.
const NEARER: f64 = 1.0;
/// Standard deviations to either end of a band that holds 95 %.
const ENDS: f64 = 1.96;
/// Two readings of one point that lie farther apart, in standard deviations of both, contradict each other.
const APART: f64 = 6.0;
/// Most readings told for one suspect, either way.
const MOST_TOLD: usize = 6;
/// Likelihoods (logarithms) that differ by less are not told apart: a factor of three.
const ALIKE: f64 = 1.1;
/// How many suspects are explained and grouped.
pub(super) const EXPLAINED: usize = 12;
/// Below this probability nobody is told what a suspect would do to other parts.
const STRAINED: f64 = 0.01;
/// Suspects below this share of the first are not grouped.
const GROUPED: f64 = 0.02;

/// A suspect with the piece that tells most of it.
pub(super) struct Told<'a> {
    pub(super) suspect: Suspect,
    pub(super) best: &'a Piece,
}

/// Suspects by part and class, most likely first.
pub(super) fn merge<'a>(ranking: &'a Ranking, faults: &Faults) -> Vec<Told<'a>> {
    let mut rows: Vec<Told<'a>> = Vec::new();
    for piece in &ranking.pieces {
        let Some(h) = ranking.list.get(piece.hypothesis) else {
            continue;
        };
        let Some(fault) = faults.faults.get(h.fault) else {
            continue;
        };
        let made = |probability: f64| Suspect {
            part: h.name.clone(),
            fault: fault.id.clone(),
            class: h.class,
            probability,
            severity: h
                .change
                .range()
                .filter(|(least, most, _)| least < most)
                .map(|_| piece.size.abs()),
            measure: h.change.measure(),
            words: fault.words.clone(),
            confirm: fault.confirm.clone(),
            explains: Vec::new(),
            against: Vec::new(),
            strain: Vec::new(),
        };
        let same = |t: &Told<'_>| t.suspect.part == h.name && t.suspect.class == h.class;
        match rows.iter_mut().find(|t| same(t)) {
            Some(row) => {
                let sum = row.suspect.probability + piece.share;
                if piece.share > row.best.share {
                    row.suspect = made(sum);
                    row.best = piece;
                }
                row.suspect.probability = sum;
            }
            None => rows.push(Told {
                suspect: made(piece.share),
                best: piece,
            }),
        }
    }
    // equal ones stay in the wiring's order
    rows.sort_by(|a, b| b.suspect.probability.total_cmp(&a.suspect.probability));
    let mut left = 0.0;
    while let Some(last) = rows.last().filter(|_| rows.len() > KEPT) {
        left += last.suspect.probability;
        if left >= LEFT_OUT {
            break;
        }
        rows.pop();
    }
    rows
}

/// Which readings each suspect explains, and which not.
pub(super) fn explain(evidence: &Evidence, ranking: &Ranking, rows: &mut [Told<'_>]) {
    let sigma_sound = sigmas(evidence, &ranking.sound);
    let off_sound = residual(evidence, &ranking.sound.mean);
    for row in rows.iter_mut().take(EXPLAINED) {
        let expected = &row.best.expected;
        let sigma = sigmas(evidence, expected);
        let off = residual(evidence, &expected.mean);
        let mut explains: Vec<(f64, Explained)> = Vec::new();
        let mut against: Vec<(f64, Explained)> = Vec::new();
        for (i, s) in evidence.seen.iter().enumerate() {
            let at = |v: &[f64]| v.get(i).copied().unwrap_or(0.0);
            let here = at(&off).abs() / at(&sigma);
            let sound = at(&off_sound).abs() / at(&sigma_sound);
            let line = Explained {
                point: s.point.clone(),
                block: s.block.clone(),
                read: s.read,
                sound: s.shown(at(&ranking.sound.mean)),
                expected: s.shown(at(&expected.mean)),
                low: s.shown(at(&expected.mean) - ENDS * at(&sigma)),
                high: s.shown(at(&expected.mean) + ENDS * at(&sigma)),
                unit: s.unit,
            };
            if here > OFF {
                against.push((here, line));
            } else if sound - here > NEARER {
                explains.push((sound - here, line));
            }
        }
        let told = |mut lines: Vec<(f64, Explained)>| -> Vec<Explained> {
            lines.sort_by(|a, b| b.0.total_cmp(&a.0));
            lines.truncate(MOST_TOLD);
            lines.into_iter().map(|(_, line)| line).collect()
        };
        row.suspect.explains = told(explains);
        row.suspect.against = told(against);
    }
}

/// What the likeliest suspects would do to other parts.
pub(super) fn strain(
    circuit: &Circuit,
    library: &Library,
    evidence: &Evidence,
    ranking: &Ranking,
    rows: &mut [Told<'_>],
) {
    let Some(mut strain) = Strain::of(circuit, library, evidence) else {
        return;
    };
    for row in rows.iter_mut().take(EXPLAINED) {
        if row.suspect.probability >= STRAINED
            && let Some(h) = ranking.list.get(row.best.hypothesis)
        {
            row.suspect.strain = strain.words(h, row.best.size);
        }
    }
}

/// Suspects, by their place in the list, whose likelihoods these readings do not tell apart.
pub(super) fn groups(rows: &[Told<'_>]) -> Vec<Vec<usize>> {
    let least = rows
        .first()
        .map_or(1.0, |t| t.suspect.probability * GROUPED);
    let mut all: Vec<Vec<usize>> = Vec::new();
    for (index, row) in rows.iter().enumerate().take(EXPLAINED) {
        if row.suspect.probability < least {
            continue;
        }
        let alike = |first: &usize| {
            rows.get(*first)
                .is_some_and(|f| (f.best.best - row.best.best).abs() < ALIKE)
        };
        match all.iter_mut().find(|g| g.first().is_some_and(alike)) {
            Some(group) => group.push(index),
            None => all.push(vec![index]),
        }
    }
    all.retain(|g| g.len() > 1);
    all
}

/// Faults that no meter on the circuit shows and that what was heard or seen points to.
pub(super) fn by_ear(faults: &Faults, told: &[String]) -> Vec<ByEar> {
    let symptoms = faults.symptoms_in(told);
    let mut all: Vec<(f64, ByEar)> = faults
        .faults
        .iter()
        .filter(|f| !f.change.is_electrical())
        .filter(|f| symptoms.iter().any(|s| f.symptoms.contains(&s.id)))
        .map(|f| {
            let weight = faults.weight(f.prior) * Faults::times(f, &symptoms);
            let row = ByEar {
                fault: f.id.clone(),
                on: f.on,
                words: f.words.clone(),
                confirm: f.confirm.clone(),
            };
            (weight, row)
        })
        .collect();
    all.sort_by(|a, b| b.0.total_cmp(&a.0));
    all.into_iter()
        .map(|(_, row)| row)
        .take(MOST_TOLD)
        .collect()
}

/// What is worth saying about the readings as a whole.
pub(super) fn notes(evidence: &Evidence, ranking: &Ranking, rows: &[Told<'_>]) -> Vec<String> {
    let mut all = evidence.notes.clone();
    all.extend(twice(evidence));
    let used = evidence.seen.len();
    if (1..4).contains(&used) {
        all.push(format!(
            "with {used} reading{} this is little more than how often faults are met",
            if used == 1 { "" } else { "s" }
        ));
    }
    let first = rows.first().map_or(0.0, |t| t.suspect.probability);
    if ranking.unlisted > first.max(ranking.healthy) {
        let clash = worst_for_all(evidence, rows);
        all.push(match clash {
            Some(point) => format!(
                "no single fault of the list explains these readings together; {point} fits none of the likeliest: read it again first"
            ),
            None => "no single fault of the list explains these readings together: two faults, a slip in the wiring, or a fault that is not listed".to_owned(),
        });
    }
    if !ranking.unsolved.is_empty() {
        let mut names: Vec<&str> = ranking
            .unsolved
            .iter()
            .filter_map(|i| ranking.list.get(*i).map(|h| h.name.as_str()))
            .collect();
        names.dedup();
        let count = names.len();
        names.truncate(6);
        all.push(format!(
            "{count} part{} could not be weighed for some faults, as these conditions leave nothing to compute: {}{}",
            if count == 1 { "" } else { "s" },
            names.join(", "),
            if count > names.len() { " and others" } else { "" }
        ));
    }
    all
}

/// Points that were read twice under the same conditions and cannot be both.
fn twice(evidence: &Evidence) -> Vec<String> {
    let mut all = Vec::new();
    for (i, first) in evidence.seen.iter().enumerate() {
        let again = evidence.seen.iter().skip(i + 1);
        let mut same = again
            .filter(|s| (&s.point, &s.block, s.unit) == (&first.point, &first.block, first.unit));
        let apart = |s: &&Seen| {
            let sigma = (s.variance + first.variance).sqrt();
            !s.over && !first.over && (s.value - first.value).abs() > APART * sigma
        };
        if let Some(second) = same.find(apart) {
            all.push(format!(
                "{} was read as {} and as {} {} under the same conditions: one of them is a slip, read it again",
                first.point, first.read, second.read, first.unit
            ));
        }
    }
    all
}

/// The reading that none of the likeliest suspects explains.
fn worst_for_all(evidence: &Evidence, rows: &[Told<'_>]) -> Option<String> {
    let mut least = vec![f64::INFINITY; evidence.seen.len()];
    for row in rows.iter().take(4) {
        let off = residual(evidence, &row.best.expected.mean);
        let sigma = sigmas(evidence, &row.best.expected);
        for ((least, off), sigma) in least.iter_mut().zip(off).zip(sigma) {
            *least = least.min(off.abs() / sigma);
        }
    }
    let worst = least.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1))?;
    (worst.1.is_finite() && *worst.1 > 3.0)
        .then(|| evidence.seen.get(worst.0).map(|s| s.point.clone()))
        .flatten()
}
