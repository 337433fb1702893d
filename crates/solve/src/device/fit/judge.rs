//! How good a fit is: every row beside the law, each as the others predict it, what they cover.

use super::super::{RowPoint, ValveLaw};
use super::findings::{Finding, same_points, slip};
use super::fitted::{Fitted, scatter};
use super::kin::{Start, residuals};
use super::rows::{FIGURES, Figure, FitRow};
use super::stranger::{STRANGE, tries};
use super::{Fit, Sort, unknowns};
use serde::Serialize;

/// A row with the law's figures beside its own.
#[derive(Debug, Clone, PartialEq)]
pub struct FittedRow {
    /// What the law gives there; none where it finds no figures.
    pub point: Option<RowPoint>,
    /// Each of its figures.
    pub figures: Vec<Compared>,
    /// It took part in the fit.
    pub used: bool,
    /// Error of its plate (or cathode) current by a fit without it, as a fraction. None below three rows.
    pub predicted: Option<f64>,
}

/// A figure as given and as computed. SI units.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Compared {
    /// Which.
    pub figure: Figure,
    /// As given.
    pub given: f64,
    /// By the fitted law.
    pub computed: f64,
    /// As a fraction of the given one, above 0 where the law gives more; 0 where more than a least figure is given.
    pub error: f64,
    /// The standard uncertainty it was weighed with, as a fraction.
    pub sigma: f64,
}

/// Root mean square of the errors of one figure.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Rms {
    /// Which.
    pub figure: Figure,
    /// As a fraction.
    pub rms: f64,
    /// Over so many rows.
    pub rows: usize,
}

/// The figure that is out most.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Worst {
    /// Index of its row.
    pub row: usize,
    /// Which.
    pub figure: Figure,
    /// As a fraction.
    pub error: f64,
}

/// What the rows that were used cover: least and most.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct Covers {
    /// Plate volts.
    pub plate_volts: (f64, f64),
    /// Screen volts, of a pentode.
    pub screen_volts: Option<(f64, f64)>,
    /// Grid volts.
    pub grid_volts: (f64, f64),
    /// Plate amperes, as given (or as computed where only the cathode's are).
    pub plate_amps: (f64, f64),
}

/// Fits from a kin and judges the result.
pub(super) fn judged(
    sort: Sort,
    rows: &[FitRow],
    used: &[bool],
    tails: &[usize],
    left_out: &[usize],
    start: &Start,
) -> Fit {
    let own: Vec<FitRow> = rows.iter().map(|row| row.at_own_bias(sort)).collect();
    let fitted = Fitted::of(&own, used, start);
    let law = unknowns::rounded(fitted.law);
    let scatter = scatter(sort, law, &own, used);
    let predicted = predictions(&own, used, start, &fitted);
    let judged_rows: Vec<FittedRow> = own
        .iter()
        .enumerate()
        .map(|(i, row)| fitted_row(sort, law, row, used[i], predicted[i]))
        .collect();

    let mut findings: Vec<Finding> = tails.iter().map(|&row| Finding::Tail { row }).collect();
    findings.extend(same_points(&own));
    for (row, r) in own.iter().enumerate() {
        if tails.contains(&row) {
            continue;
        }
        let off = residuals(sort, law, r);
        for (given, off) in r.given().iter().zip(off) {
            if off.abs() > STRANGE * scatter {
                findings.push(Finding::Strange {
                    row,
                    figure: given.figure,
                    left_out: left_out.contains(&row),
                    slip: slip(sort, law, r, given.figure, scatter),
                });
            }
        }
    }
    let count = used.iter().filter(|u| **u).count();
    if count < 3 {
        findings.push(Finding::Few { rows: count });
    }
    findings.extend(
        fitted
            .at_bounds(start)
            .map(|parameter| Finding::AtBound { parameter }),
    );

    let errors = predicted.iter().flatten().copied();
    Fit {
        parameters: fitted.parameters(law, scatter),
        rms: rms(&judged_rows),
        worst: worst(&judged_rows),
        predicted_rms: root_mean_square(errors).map(|(rms, _)| rms),
        covers: covers(&judged_rows, &own),
        rows: judged_rows,
        law,
        kin: start.valve.clone(),
        kin_section: start.section,
        findings,
    }
}

/// The error of each row's current by a fit without it.
fn predictions(own: &[FitRow], used: &[bool], start: &Start, fitted: &Fitted) -> Vec<Option<f64>> {
    let mut errors = vec![None; own.len()];
    let taking: Vec<usize> = (0..own.len()).filter(|i| used[*i]).collect();
    if taking.len() < 3 {
        return errors;
    }
    let parts = tries(taking.len());
    for part in 0..parts {
        let is_out = |at: usize| at % parts == part;
        let rest: Vec<FitRow> = taking
            .iter()
            .enumerate()
            .filter(|(at, _)| !is_out(*at))
            .map(|(_, row)| own[*row].clone())
            .collect();
        let found = start.minimise(&rest, &fitted.free, &fitted.u);
        let law = start.moved(&found.u);
        for (_, &i) in taking.iter().enumerate().filter(|(at, _)| is_out(*at)) {
            let row = &own[i];
            let given = row.given().iter().find(|g| g.figure.is_main());
            if let (Some(given), Some(point)) = (given, row.point(law)) {
                let error = row.computed(law, given.figure, &point) / given.value - 1.0;
                errors[i] = Some(error);
            }
        }
    }
    errors
}

fn fitted_row(
    sort: Sort,
    law: ValveLaw,
    row: &FitRow,
    used: bool,
    predicted: Option<f64>,
) -> FittedRow {
    let point = row.point(law);
    let figures = point.map_or_else(Vec::new, |point| {
        row.given()
            .iter()
            .map(|given| {
                let computed = row.computed(law, given.figure, &point);
                let error = computed / given.value - 1.0;
                Compared {
                    figure: given.figure,
                    given: given.value,
                    computed,
                    error: if given.least { error.min(0.0) } else { error },
                    sigma: row.sigma(sort, given),
                }
            })
            .collect()
    });
    FittedRow {
        point,
        figures,
        used,
        predicted,
    }
}

fn root_mean_square(errors: impl Iterator<Item = f64>) -> Option<(f64, usize)> {
    let (mut sum, mut count) = (0.0, 0_usize);
    for error in errors {
        sum += error * error;
        count += 1;
    }
    (count > 0).then(|| ((sum / count as f64).sqrt(), count))
}

fn rms(rows: &[FittedRow]) -> Vec<Rms> {
    FIGURES
        .into_iter()
        .filter_map(|figure| {
            let errors = rows
                .iter()
                .filter(|row| row.used)
                .flat_map(|row| &row.figures)
                .filter(|f| f.figure == figure)
                .map(|f| f.error);
            root_mean_square(errors).map(|(rms, rows)| Rms { figure, rms, rows })
        })
        .collect()
}

fn worst(rows: &[FittedRow]) -> Option<Worst> {
    let mut found: Option<Worst> = None;
    for (row, r) in rows.iter().enumerate().filter(|(_, r)| r.used) {
        for f in &r.figures {
            if found.is_none_or(|w| f.error.abs() > w.error.abs()) {
                found = Some(Worst {
                    row,
                    figure: f.figure,
                    error: f.error,
                });
            }
        }
    }
    found
}

fn covers(rows: &[FittedRow], own: &[FitRow]) -> Covers {
    let span = |values: &mut dyn Iterator<Item = f64>| {
        values.fold(None, |span: Option<(f64, f64)>, v| {
            Some(span.map_or((v, v), |(low, high)| (low.min(v), high.max(v))))
        })
    };
    let used = || rows.iter().zip(own).filter(|(r, _)| r.used);
    Covers {
        plate_volts: span(&mut used().map(|(_, o)| o.plate_volts())).unwrap_or_default(),
        screen_volts: span(&mut used().filter_map(|(_, o)| o.screen_volts())),
        grid_volts: span(&mut used().filter_map(|(r, _)| r.point.map(|p| p.grid)))
            .unwrap_or_default(),
        plate_amps: span(
            &mut used().filter_map(|(r, o)| o.value(Figure::Plate).or(r.point.map(|p| p.plate_a))),
        )
        .unwrap_or_default(),
    }
}
