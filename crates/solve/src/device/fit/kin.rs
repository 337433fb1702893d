//! The known type that has to be changed least to meet the rows.

use super::super::ValveLaw;
use super::super::library::LawEntry;
use super::Sort;
use super::least_squares::{Factors, Minimum, Problem};
use super::rows::FitRow;
use super::unknowns::{self, unknowns};

/// The rows may halve the kin's variance of a parameter at least, or it is not theirs to say.
const TELLING: f64 = 0.5;

/// A kin counts as near if its amplification factor (and screen's share) is within so much, of a logarithm: our own
/// choice, which a trial on the published rows, half of them held back, bears out.
const NEAR: f64 = 0.7;

/// A kin, and the rows to fit from there.
#[derive(Debug, Clone)]
pub(super) struct Start {
    /// The kin's name.
    pub(super) valve: String,
    /// The section that its law is of.
    pub(super) section: Option<char>,
    /// Its law.
    pub(super) law: ValveLaw,
    values: Vec<f64>,
    sort: Sort,
}

impl Start {
    fn of(sort: Sort, entry: &LawEntry) -> Option<Self> {
        (Sort::of(entry.law) == Some(sort)).then(|| Self {
            valve: entry.valve.clone(),
            section: entry.section,
            law: entry.law,
            values: unknowns::values(entry.law),
            sort,
        })
    }

    /// The law `u` spreads away.
    pub(super) fn moved(&self, u: &[f64]) -> ValveLaw {
        let values: Vec<f64> = unknowns(self.sort)
            .iter()
            .zip(&self.values)
            .zip(u)
            .map(|((unknown, kin), u)| unknown.moved(*kin, *u))
            .collect();
        unknowns::law(self.law, &values)
    }

    /// The smallest sum over these rows with these unknowns free.
    pub(super) fn minimise(&self, rows: &[FitRow], free: &[usize], from: &[f64]) -> Minimum {
        let reach: Vec<(f64, f64)> = (0..self.count()).map(|j| self.reach(j)).collect();
        let residuals = |u: &[f64]| -> Vec<f64> {
            let law = self.moved(u);
            rows.iter()
                .flat_map(|row| residuals(self.sort, law, row))
                .collect()
        };
        Problem {
            residuals: &residuals,
            reach: &reach,
            free,
        }
        .minimise(from)
    }

    /// Which unknowns the rows can tell, going by the normal matrix of all of them: in the order of their meaning, each
    /// must be told apart from those freed before it, on which nothing else has a hold.
    pub(super) fn told(&self, normal: &[Vec<f64>], rows: &[FitRow]) -> Vec<usize> {
        let at_knee = rows.iter().filter(|row| row.is_at_knee()).count() >= 2;
        let mut free: Vec<usize> = Vec::new();
        for candidate in 0..normal.len() {
            if unknowns::is_of_the_knee(self.name(candidate)) && !at_knee {
                continue;
            }
            let with: Vec<usize> = free.iter().copied().chain([candidate]).collect();
            let pull = |i: usize| if i == candidate { 1.0 } else { 1e-6 };
            let matrix: Vec<Vec<f64>> = with
                .iter()
                .map(|&i| {
                    with.iter()
                        .map(|&j| normal[i][j] + if i == j { pull(i) } else { 0.0 })
                        .collect()
                })
                .collect();
            let variance = Factors::of(&matrix)
                .and_then(|f| f.inverse_diagonal().last().copied())
                .unwrap_or(1.0);
            if variance < TELLING {
                free.push(candidate);
            }
        }
        free
    }

    /// How far an unknown may go, in spreads.
    pub(super) fn reach(&self, j: usize) -> (f64, f64) {
        match (unknowns(self.sort).get(j), self.values.get(j)) {
            (Some(unknown), Some(kin)) => unknown.reach(*kin),
            _ => (0.0, 0.0),
        }
    }

    /// The name of an unknown.
    pub(super) fn name(&self, j: usize) -> &'static str {
        unknowns(self.sort).get(j).map_or("", |u| u.name)
    }

    /// What counts against this kin besides the sum: an amplification factor or a screen's share far from its own.
    fn strangeness(&self, u: &[f64]) -> f64 {
        let found = unknowns::values(self.moved(u));
        self.values
            .iter()
            .zip(&found)
            .enumerate()
            .filter(|(j, _)| matches!(self.name(*j), "mu" | "s"))
            .map(|(_, (kin, found))| ((found / kin).ln() / NEAR).powi(2))
            .sum()
    }

    /// How many unknowns there are.
    pub(super) fn count(&self) -> usize {
        self.values.len()
    }
}

/// How far each figure of a row is off, over its standard uncertainty.
pub(super) fn residuals(sort: Sort, law: ValveLaw, row: &FitRow) -> Vec<f64> {
    let Some(point) = row.point(law) else {
        return row.given().iter().map(|_| f64::NAN).collect();
    };
    row.given()
        .iter()
        .map(|given| {
            let computed = row.computed(law, given.figure, &point);
            let off = (computed.max(1e-15) / given.value).ln() / row.sigma(sort, given);
            // More than a least figure is no error.
            if given.least { off.min(0.0) } else { off }
        })
        .collect()
}

/// So many rows, evenly taken, tell one kin from another.
const ENOUGH: usize = 40;

/// The kin from which the rows are met with the least change; the first of equals.
pub(super) fn nearest(
    sort: Sort,
    rows: &[FitRow],
    used: &[bool],
    known: &[LawEntry],
) -> Option<Start> {
    let rows: Vec<FitRow> = rows
        .iter()
        .zip(used)
        .filter(|(_, used)| **used)
        .map(|(row, _)| row.at_own_bias(sort))
        .collect();
    let step = rows.len().div_ceil(ENOUGH).max(1);
    let rows: Vec<FitRow> = rows.into_iter().step_by(step).collect();
    let mut best: Option<(f64, Start)> = None;
    for start in known.iter().filter_map(|entry| Start::of(sort, entry)) {
        let all: Vec<usize> = (0..start.count()).collect();
        let found = start.minimise(&rows, &all, &vec![0.0; start.count()]);
        let sum = found.sum + start.strangeness(&found.u);
        if best.as_ref().is_none_or(|(least, _)| sum < *least) {
            best = Some((sum, start));
        }
    }
    best.map(|(_, start)| start)
}
