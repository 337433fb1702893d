//! From a kin to a fitted law: what is freed, what is left out, and how good the result is.

use super::super::RowPoint;
use super::super::ValveLaw;
use super::kin::{Start, residuals};
use super::least_squares::Factors;
use super::rows::{FIGURES, Figure, FitRow};
use super::unknowns::{self, unknowns};
use super::{Fit, Held, Parameter, Sort};
use serde::Serialize;
use std::collections::BTreeMap;

/// Below this the equations' far tail is out by a factor of several, amperes.
const TAIL_AMPS: f64 = 1e-4;

/// Of a valve that draws little altogether, the tail begins at this part of the largest row.
const TAIL_PART: f64 = 0.05;

/// A figure so many times the usual scatter off does not go with the others.
const STRANGE: f64 = 4.0;

/// And so many times off it is left out, where enough others remain;
const WILD: f64 = 10.0;

/// but only beyond what sheets of two makers differ by: this, of a logarithm.
const BEYOND_SHEETS: f64 = 0.4;

/// Two readings at the same volts differ by more than this, of a logarithm, if they are not of one valve.
const SAME: f64 = 0.15;

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

/// Something odd about rows or parameters. Rows by index.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "what", rename_all = "snake_case")]
pub enum Finding {
    /// Too little current for the equations; shown, not used.
    Tail {
        /// The row.
        row: usize,
    },
    /// A figure that does not go with the other rows.
    Strange {
        /// The row.
        row: usize,
        /// The figure.
        figure: Figure,
        /// The row was left out of the fit for it.
        left_out: bool,
        /// A slip that would explain it.
        slip: Option<Slip>,
    },
    /// Rows at the same volts with different currents: the two that are farthest apart.
    SamePoint {
        /// The first.
        row: usize,
        /// The second.
        other: usize,
    },
    /// More rows than a fit takes: these were spread over the volts that all of them cover.
    Thinned {
        /// How many were picked.
        rows: usize,
        /// Of how many.
        of: usize,
    },
    /// The rows leave more unknown than known: fewer of them than parameters that tell one type from another.
    Few {
        /// How many rows were used.
        rows: usize,
    },
    /// A parameter stands at the end of its range: the rows ask for a valve the equations don't describe.
    AtBound {
        /// Its name.
        parameter: &'static str,
    },
}

/// A slip of hand or meter that would explain a strange row.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Slip {
    /// The decimal point, or the meter's range: it should be this many times what is there.
    Factor(f64),
    /// The sign of the grid volts.
    GridSign,
}

/// Up to so many rows each is predicted by all the others, and each may be the stranger.
const ONE_BY_ONE: usize = 30;

/// Of more, so many parts are left out in turn, and so many of the worst are looked at.
const PARTS: usize = 8;

/// How many fits to spend on leaving rows out.
fn tries(rows: usize) -> usize {
    if rows <= ONE_BY_ONE { rows } else { PARTS }
}

/// So many strangers at most are left out; more of them are no slips.
const STRANGERS: usize = 8;

/// Which rows a law can be fitted to: those with a current that is not in the far tail.
pub(super) fn usable(rows: &[FitRow]) -> Vec<bool> {
    let most = rows.iter().filter_map(FitRow::main).fold(0.0, f64::max);
    let tail = TAIL_AMPS.min(TAIL_PART * most);
    rows.iter()
        .map(|row| row.main().is_some_and(|amps| amps >= tail))
        .collect()
}

/// The one row without which the others agree far better, if it is wildly off them and enough of them remain.
pub(super) fn stranger(
    sort: Sort,
    rows: &[FitRow],
    used: &[bool],
    already: usize,
    start: &Start,
) -> Option<usize> {
    let remain = used.iter().filter(|u| **u).count().checked_sub(1)?;
    if remain < 3 || already >= STRANGERS || 4 * (already + 1) > remain {
        return None;
    }
    let own: Vec<FitRow> = rows.iter().map(|row| row.at_own_bias(sort)).collect();
    let fitted = Fitted::of(&own, used, start);
    let mut doubted: Vec<(f64, usize)> = own
        .iter()
        .enumerate()
        .filter(|(i, _)| used[*i])
        .map(|(i, row)| {
            let sizes = residuals(sort, fitted.law, row).into_iter().map(f64::abs);
            (sizes.fold(0.0, f64::max), i)
        })
        .collect();
    doubted.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    if doubted.first().is_none_or(|(worst, _)| *worst < STRANGE) {
        return None;
    }
    doubted.truncate(tries(remain + 1));
    let mut best: Option<(f64, usize)> = None;
    for (_, row) in doubted {
        let mut without = used.to_vec();
        without[row] = false;
        let rest: Vec<FitRow> = taken(&own, &without).cloned().collect();
        let sum = start.minimise(&rest, &fitted.free, &fitted.u).sum;
        if best.is_none_or(|(least, _)| sum < least) {
            best = Some((sum, row));
        }
    }
    let (_, row) = best?;
    let mut without = used.to_vec();
    without[row] = false;
    let others = Fitted::of(&own, &without, start);
    let scatter = scatter(sort, others.law, &own, &without);
    let stands_out = own
        .get(row)?
        .given()
        .iter()
        .zip(residuals(sort, others.law, &own[row]))
        .any(|(given, off)| {
            let off = off.abs();
            given.figure.is_main()
                && off > WILD * scatter
                && off * own[row].sigma(sort, given) > BEYOND_SHEETS
        });
    let agree = taken(&own, &without)
        .flat_map(|r| residuals(sort, others.law, r))
        .all(|off| off.abs() < WILD);
    (stands_out && (agree || others.sum < 0.5 * fitted.sum)).then_some(row)
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

/// A law fitted from a kin with the unknowns that the rows tell.
struct Fitted {
    law: ValveLaw,
    /// What was minimised.
    sum: f64,
    u: Vec<f64>,
    free: Vec<usize>,
    /// Variance of each free unknown, in spreads.
    variance: Vec<f64>,
}

impl Fitted {
    fn of(own: &[FitRow], used: &[bool], start: &Start) -> Self {
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

    fn at_bounds<'s>(&'s self, start: &'s Start) -> impl Iterator<Item = &'static str> + 's {
        self.free.iter().filter_map(move |&j| {
            let (low, high) = start.reach(j);
            let at = self.u[j];
            (at <= low || at >= high).then(|| start.name(j))
        })
    }

    fn parameters(&self, law: ValveLaw, scatter: f64) -> Vec<Parameter> {
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

fn taken<'r>(own: &'r [FitRow], used: &'r [bool]) -> impl Iterator<Item = &'r FitRow> {
    own.iter()
        .zip(used)
        .filter(|(_, used)| **used)
        .map(|(row, _)| row)
}

/// How large residuals are: 1 where they are as expected, more where the rows scatter more. By their median, so that
/// a few wild ones don't hide themselves.
fn scatter(sort: Sort, law: ValveLaw, own: &[FitRow], used: &[bool]) -> f64 {
    let mut sizes: Vec<f64> = taken(own, used)
        .flat_map(|row| residuals(sort, law, row))
        .map(f64::abs)
        .collect();
    sizes.sort_by(f64::total_cmp);
    let median = sizes.get(sizes.len() / 2).copied().unwrap_or(0.0);
    // The median of a normal distribution's size is 0.6745 of its standard deviation.
    (median / 0.6745).max(1.0)
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

/// Rows at the same volts whose currents differ by more than they are known to: of each such point the two that are
/// farthest apart.
fn same_points(own: &[FitRow]) -> Vec<Finding> {
    let key = |row: &FitRow| {
        // Six digits: what is typed twice is the same.
        let six = |v: Option<f64>| v.map(|v| format!("{v:.5e}"));
        let grid = six(row.grid_volts())?;
        let triode = row.is_triode_connected();
        Some((
            triode,
            six(row.screen_volts()),
            grid,
            six(Some(row.plate_volts())),
        ))
    };
    let mut points: BTreeMap<_, Vec<usize>> = BTreeMap::new();
    for (i, row) in own.iter().enumerate() {
        if let Some(key) = key(row) {
            points.entry(key).or_default().push(i);
        }
    }
    let mut found: Vec<(usize, usize)> = points
        .into_values()
        .filter_map(|members| farthest_apart(own, &members))
        .collect();
    found.sort_unstable();
    found
        .into_iter()
        .map(|(row, other)| Finding::SamePoint { row, other })
        .collect()
}

/// Of rows at the same volts the two whose currents are farthest apart, if that is more than the same reading twice
/// would be.
fn farthest_apart(own: &[FitRow], members: &[usize]) -> Option<(usize, usize)> {
    let mut most: Option<(f64, usize, usize)> = None;
    for figure in FIGURES.into_iter().filter(|f| f.is_current()) {
        let mut with: Vec<(f64, usize)> = members
            .iter()
            .filter_map(|i| Some((own.get(*i)?.value(figure)?, *i)))
            .collect();
        with.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        if let (Some((low, one)), Some((high, other))) = (with.first(), with.last()) {
            let apart = (high / low).ln();
            if apart > SAME && most.is_none_or(|(least, ..)| apart > least) {
                most = Some((apart, *one.min(other), *one.max(other)));
            }
        }
    }
    most.map(|(_, one, other)| (one, other))
}

/// The slip that would bring a strange figure back among the others.
fn slip(sort: Sort, law: ValveLaw, row: &FitRow, figure: Figure, scatter: f64) -> Option<Slip> {
    let given = row.given().iter().find(|g| g.figure == figure)?;
    let close = (2.0 * scatter * row.sigma(sort, given)).max(0.1);
    let point = row.point(law)?;
    let ratio = row.computed(law, figure, &point) / given.value;
    for factor in [10.0, 0.1, 1000.0, 0.001, 100.0, 0.01] {
        if (ratio / factor).ln().abs() < close {
            return Some(Slip::Factor(factor));
        }
    }
    let grid = row.grid_volts().filter(|g| *g > 0.0)?;
    let turned = row.with_grid(-grid);
    let point = turned.point(law)?;
    let ratio = turned.computed(law, figure, &point) / given.value;
    (ratio.ln().abs() < close).then_some(Slip::GridSign)
}
