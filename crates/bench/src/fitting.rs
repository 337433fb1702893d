//! From rows of a valve to its block in a valve file: which sections they are for, which equations, what is copied.
//!
//! The rows come from a spreadsheet or stand in a sheet; the equations are fitted in `solve`. Whatever is not in
//! the rows (pins, base, heater, capacitances) is copied from a type that the user names, and is marked as
//! copied; limits never are, because they guard the valve. Knows no printing.

mod block;
#[cfg(test)]
mod tests;

pub use block::Block;

use serde::Serialize;
use solve::device::fit::{Figure, Fit, FitError, FitRow, RectifierFit, Sort, fit, fit_rectifier};
use solve::device::laws;
use std::collections::BTreeSet;
use wiring::sheet::{Library, Sheet, TypedRow};

/// The rows of a valve.
#[derive(Debug, Clone, Copy)]
pub enum ValveRows<'r> {
    /// Typed into a spreadsheet of this name.
    Typed {
        /// The file's name, for the record.
        file: &'r str,
        /// Its rows.
        rows: &'r [TypedRow],
    },
    /// Those of a sheet in a user's valve file: `static`, then `curve`, then `drop`.
    Sheet(&'r Sheet),
}

/// What to fit.
#[derive(Debug, Clone, Copy)]
pub struct FitRequest<'r> {
    /// Type number of the result.
    pub name: &'r str,
    /// The rows.
    pub rows: ValveRows<'r>,
    /// The type whose pins, base, heater and capacitances are copied.
    pub like: Option<&'r str>,
}

/// A valve fitted section by section.
#[derive(Debug, Clone, PartialEq)]
pub struct FittedValve {
    /// Type number.
    pub name: String,
    /// The type that was looked at for pins and sections.
    pub like: Option<String>,
    /// One for each law.
    pub sections: Vec<FittedSection>,
    /// Rows that don't go with the valve, by index.
    pub misfits: Vec<Misfit>,
    /// The block to save, or why there is none.
    pub block: Result<Block, String>,
}

/// A law of one section, or of all.
#[derive(Debug, Clone, PartialEq)]
pub struct FittedSection {
    /// The section; none where all share the law.
    pub letter: Option<char>,
    /// Indices of its rows.
    pub rows: Vec<usize>,
    /// What they say, of a valve with a grid.
    pub points: Vec<FitRow>,
    /// The law, or why there is none.
    pub outcome: Result<FittedLaw, FitError>,
}

/// A fitted law of either kind.
#[derive(Debug, Clone, PartialEq)]
pub enum FittedLaw {
    /// Equation set T or P.
    Valve(Box<Fit>),
    /// A perveance, with `(volts, amperes)` of each row.
    Rectifier(RectifierFit, Vec<(f64, f64)>),
}

/// A row that does not go with the valve.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Misfit {
    /// Its index.
    pub row: usize,
    /// What is wrong, one sentence.
    pub what: String,
    /// What to do.
    pub advice: String,
}

/// Why nothing could be fitted.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum FittingError {
    /// Nothing is there.
    #[error("there are no rows to fit to")]
    NoRows,
    /// The type named by the user has no sheet.
    #[error("there is no data sheet of `{0}`")]
    UnknownLike(String),
}

/// One row, whatever it came from.
struct AnyRow {
    section: Option<char>,
    point: Option<FitRow>,
    drop: Option<(f64, f64)>,
}

/// Fits every section that has rows, and puts the block together.
///
/// # Errors
/// [`FittingError`]: no rows, or an unknown `like`. A section whose rows no law meets has its reason in its outcome.
pub fn fit_valve(library: &Library, request: &FitRequest<'_>) -> Result<FittedValve, FittingError> {
    let rows = rows_of(request.rows);
    if rows.is_empty() {
        return Err(FittingError::NoRows);
    }
    let sheet = match (request.rows, request.like) {
        (ValveRows::Sheet(sheet), _) => Some(sheet),
        (_, Some(like)) => Some(
            library
                .find(like)
                .ok_or_else(|| FittingError::UnknownLike(like.to_owned()))?,
        ),
        // One's own specimen of a known type has that type's pins.
        (_, None) => library.find(request.name),
    };
    let mut misfits = Vec::new();
    let groups = groups(sheet, &rows, &mut misfits);
    let sections: Vec<FittedSection> = groups
        .into_iter()
        .map(|(letter, equations, members)| {
            let of = || members.iter().filter_map(|i| rows.get(*i));
            let points: Vec<FitRow> = of().filter_map(|r| r.point.clone()).collect();
            let drops: Vec<(f64, f64)> = of().filter_map(|r| r.drop).collect();
            FittedSection {
                letter,
                outcome: outcome(equations, &points, drops),
                points,
                rows: members,
            }
        })
        .collect();
    let mut out = FittedValve {
        name: request.name.to_owned(),
        like: sheet.map(|s| s.name.clone()),
        sections,
        misfits,
        block: Err(String::new()),
    };
    out.block = block::block(library, request, sheet, &out);
    Ok(out)
}

fn rows_of(rows: ValveRows<'_>) -> Vec<AnyRow> {
    match rows {
        ValveRows::Typed { rows, .. } => rows.iter().map(typed).collect(),
        ValveRows::Sheet(sheet) => {
            let fixed = sheet.static_rows.iter().map(|r| AnyRow {
                section: r.section,
                point: Some(FitRow::from(r)),
                drop: None,
            });
            let read = sheet.curve_points.iter().map(|c| AnyRow {
                section: None,
                point: Some(FitRow::from(c)),
                drop: None,
            });
            let drops = sheet.drop_rows.iter().map(|d| AnyRow {
                section: None,
                point: None,
                drop: Some((d.volts, d.amps)),
            });
            fixed.chain(read).chain(drops).collect()
        }
    }
}

fn typed(row: &TypedRow) -> AnyRow {
    let point = row.plate.map(|plate| {
        let mut point = match (row.cathode_ohms, row.grid) {
            (Some(ohms), _) => FitRow::with_cathode_ohms(plate, ohms),
            (None, grid) => FitRow::at(plate, grid.unwrap_or(0.0)),
        };
        if let Some(screen) = row.screen {
            point = point.screen(screen);
        }
        if row.triode_connected {
            point = point.triode_connected();
        }
        for (figure, value) in [
            (Figure::Plate, row.plate_amps),
            (Figure::Cathode, row.cathode_amps),
            (Figure::Screen, row.screen_amps),
            (Figure::Gm, row.gm),
            (Figure::PlateOhms, row.plate_ohms),
            (Figure::Mu, row.mu),
            (Figure::MuScreen, row.mu_screen),
        ] {
            if let Some(value) = value {
                point = point.with(figure, value);
            }
        }
        if let Some(least) = row.plate_ohms_least {
            point = point.with_least(Figure::PlateOhms, least);
        }
        match row.uncertainty {
            Some(fraction) => point.known_to(fraction),
            None => point,
        }
    });
    AnyRow {
        section: row.section,
        point,
        drop: row.drop.zip(row.plate_amps.or(row.cathode_amps)),
    }
}

/// The equations of a group.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Equations {
    Valve(Sort),
    Rectifier,
}

type Group = (Option<char>, Equations, Vec<usize>);

/// Sorts rows by section; those that go with none are misfits.
fn groups(sheet: Option<&Sheet>, rows: &[AnyRow], misfits: &mut Vec<Misfit>) -> Vec<Group> {
    let mut groups: Vec<Group> = Vec::new();
    let with_screen: BTreeSet<Option<char>> = rows
        .iter()
        .filter(|row| {
            row.point
                .as_ref()
                .is_some_and(|p| p.screen_volts().is_some())
        })
        .map(|row| row.section)
        .collect();
    for (index, row) in rows.iter().enumerate() {
        match place(sheet, row, with_screen.contains(&row.section)) {
            Ok((letter, equations)) => {
                match groups
                    .iter_mut()
                    .find(|(l, e, _)| *l == letter && *e == equations)
                {
                    Some((_, _, members)) => members.push(index),
                    None => groups.push((letter, equations, vec![index])),
                }
            }
            Err((what, advice)) => misfits.push(Misfit {
                row: index,
                what,
                advice,
            }),
        }
    }
    groups.sort_by_key(|(letter, ..)| *letter);
    groups
}

/// The section and equations of a row; `pentode`: rows of its section have screen volts.
fn place(
    sheet: Option<&Sheet>,
    row: &AnyRow,
    pentode: bool,
) -> Result<(Option<char>, Equations), (String, String)> {
    let Some(point) = &row.point else {
        return match sheet {
            Some(sheet) if !sheet.kind.is_rectifier() => Err((
                format!("A {} has no rectifier's drop.", sheet.name),
                "Write plate and grid volts, or name a rectifier.".to_owned(),
            )),
            _ => Ok((None, Equations::Rectifier)),
        };
    };
    if let Some(sheet) = sheet.filter(|s| s.kind.is_rectifier()) {
        return Err((
            format!("A {} is a rectifier and has no grid.", sheet.name),
            "Write the volts across its plate in the column `drop`.".to_owned(),
        ));
    }
    let has_screen = point.screen_volts().is_some();
    let Some(sheet) = sheet else {
        // Without a sheet the rows themselves say what the valve is.
        return match (pentode, has_screen) {
            (true, false) => Err(no_screen()),
            (true, true) => Ok((row.section, Equations::Valve(Sort::Pentode))),
            (false, _) => {
                fits_triode(point).map(|()| (row.section, Equations::Valve(Sort::Triode)))
            }
        };
    };
    let sections = sheet.sections();
    let found = match row.section {
        Some(letter) => sections
            .iter()
            .find(|s| s.letter == Some(letter))
            .ok_or_else(|| {
                let known: Vec<String> = sections
                    .iter()
                    .filter_map(|s| s.letter.map(|l| format!("`{l}`")))
                    .collect();
                (
                    format!("A {} has no section `{letter}`.", sheet.name),
                    if known.is_empty() {
                        "Leave the section out.".to_owned()
                    } else {
                        format!("Its sections are {}.", known.join(" and "))
                    },
                )
            })?,
        None => sections
            .iter()
            .find(|s| s.screen == has_screen)
            .or_else(|| sections.first())
            .ok_or_else(|| {
                (
                    format!("A {} has no plate.", sheet.name),
                    "Name another type with `--like`.".to_owned(),
                )
            })?,
    };
    // Where sections differ a law is for one of them; twins share it unless the rows say otherwise.
    let alike = sections.iter().all(|s| s.screen == found.screen);
    let letter = match row.section {
        Some(letter) => Some(letter),
        None if alike => None,
        None => found.letter,
    };
    match (found.screen, has_screen) {
        (true, false) => Err(no_screen()),
        (true, true) => Ok((letter, Equations::Valve(Sort::Pentode))),
        (false, true) => Err((
            format!(
                "This row has screen volts, and a {} has no screen.",
                sheet.name
            ),
            "Leave them out, or name a pentode with `--like`.".to_owned(),
        )),
        (false, false) => fits_triode(point).map(|()| (letter, Equations::Valve(Sort::Triode))),
    }
}

fn no_screen() -> (String, String) {
    (
        "This row of a pentode has no screen volts.".to_owned(),
        "Write them in the column `screen`, or yes in `triode_connected`.".to_owned(),
    )
}

fn fits_triode(point: &FitRow) -> Result<(), (String, String)> {
    let screen = point
        .given()
        .iter()
        .any(|g| matches!(g.figure, Figure::Screen | Figure::MuScreen));
    if screen {
        Err((
            "This row has a figure of a screen, and no screen volts.".to_owned(),
            "Write the screen volts in the column `screen`, or leave the figure out.".to_owned(),
        ))
    } else {
        Ok(())
    }
}

fn outcome(
    equations: Equations,
    points: &[FitRow],
    drops: Vec<(f64, f64)>,
) -> Result<FittedLaw, FitError> {
    match equations {
        Equations::Valve(sort) => {
            fit(sort, points, laws()).map(|fit| FittedLaw::Valve(Box::new(fit)))
        }
        Equations::Rectifier => {
            let fit = fit_rectifier(&drops).ok_or(FitError::NoRows)?;
            Ok(FittedLaw::Rectifier(fit, drops))
        }
    }
}
