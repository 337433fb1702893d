//! A law with the unknowns that the rows tell.

use super::super::ValveLaw;
use super::kin::{Start, residuals};
use super::least_squares::Factors;
use super::rows::FitRow;
use super::unknowns::{self, unknowns};
use super::{Held, Parameter, Sort};

/// A law fitted from a kin with the unknowns that the rows tell.
pub(super) struct Fitted {
    pub(super) law: ValveLaw,
    /// What was minimised.
    pub(super) sum: f64,
    pub(super) u: Vec<f64>,
    pub(super) free: Vec<usize>,
    /// Variance of each free unknown, in spreads.
    variance: Vec<f64>,
}

impl Fitted {
    pub(super) fn of(own: &[FitRow], used: &[bool], start: &Start) -> Self {
        let rows: Vec<FitRow> = taken(own, used).cloned().collect();
        let all: Vec<usize> = (0..start.count()).collect();
        let whole = start.minimise(&rows, &all, &vec![0.0; start.count()]);
        let free = start.told(&whole.normal, &rows);
        let found = start.minimise(&rows, &free, &vec![0.0; start.count()]);
        let matrix: Vec<Vec<f64>> = found
            .normal
            .iter()
            .enumerate()
            .map(|(i, row)| {
                row.iter()
                    .enumerate()
                    .map(|(j, v)| v + if i == j { 1.0 } else { 0.0 })
                    .collect()
            })
            .collect();
        Self {
            law: start.moved(&found.u),
            variance: Factors::of(&matrix)
                .map(|f| f.inverse_diagonal())
                .unwrap_or_else(|| vec![1.0; free.len()]),
            sum: found.sum,
            u: found.u,
            free,
        }
    }

    pub(super) fn at_bounds<'s>(
        &'s self,
        start: &'s Start,
    ) -> impl Iterator<Item = &'static str> + 's {
        self.free.iter().filter_map(move |&j| {
            let (low, high) = start.reach(j);
            let at = self.u[j];
            (at <= low || at >= high).then(|| start.name(j))
        })
    }

    pub(super) fn parameters(&self, law: ValveLaw, scatter: f64) -> Vec<Parameter> {
        let Some(sort) = Sort::of(law) else {
            return Vec::new();
        };
        let values = unknowns::values(law);
        let mu = values.get(1).copied().unwrap_or(1.0);
        let mut list: Vec<Parameter> = unknowns(sort)
            .iter()
            .zip(&values)
            .enumerate()
            .map(|(j, (unknown, value))| {
                // The file holds w1 itself.
                let value = if unknown.name == "w1" {
                    unknowns::five(value / mu)
                } else {
                    *value
                };
                let free = self.free.iter().position(|f| *f == j);
                let sigma = free.and_then(|i| self.variance.get(i)).map(|v| v.sqrt());
                Parameter {
                    name: unknown.name,
                    value,
                    uncertainty: sigma.map(|s| unknown.uncertainty(value, s * scatter)),
                    held: match (free, unknown.name) {
                        (Some(_), _) => None,
                        (None, "w1") => Some(Held::GoesWithMu),
                        (None, _) => Some(Held::RowsSayTooLittle),
                    },
                }
            })
            .collect();
        list.extend(
            unknowns::never_fitted(law)
                .into_iter()
                .map(|(name, value, held)| Parameter {
                    name,
                    value,
                    uncertainty: None,
                    held: Some(held),
                }),
        );
        list
    }
}

pub(super) fn taken<'r>(own: &'r [FitRow], used: &'r [bool]) -> impl Iterator<Item = &'r FitRow> {
    own.iter()
        .zip(used)
        .filter(|(_, used)| **used)
        .map(|(row, _)| row)
}

/// How large residuals are: 1 where they are as expected, more where the rows scatter more. By their median, so that
/// a few wild ones don't hide themselves.
pub(super) fn scatter(sort: Sort, law: ValveLaw, own: &[FitRow], used: &[bool]) -> f64 {
    let mut sizes: Vec<f64> = taken(own, used)
        .flat_map(|row| residuals(sort, law, row))
        .map(f64::abs)
        .collect();
    sizes.sort_by(f64::total_cmp);
    let median = sizes.get(sizes.len() / 2).copied().unwrap_or(0.0);
    // The median of a normal distribution's size is 0.6745 of its standard deviation.
    (median / 0.6745).max(1.0)
}
