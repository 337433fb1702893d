//! Coupling capacitors: what they let through to a grid, or through a meter in series.

use crate::rules::rules;
use crate::sheet::{Expected, Figure, Limit, Line, Origin, Outcome, Sheet};
use crate::typed::{positive, positive_if_given};

/// Where the capacitor leads.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// To the grid of an output valve.
    Output,
    /// To a small-signal grid or a control.
    Preamp,
}

impl Place {
    fn rule(self) -> &'static str {
        match self {
            Self::Output => "cap.coupling.leak.output_grid",
            Self::Preamp => "cap.coupling.leak.preamp_grid",
        }
    }

    fn words(self) -> &'static str {
        match self {
            Self::Output => "an output grid",
            Self::Preamp => "a small-signal grid or control",
        }
    }
}

/// Readings of a coupling capacitor.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Coupling {
    /// Where it leads; an output grid, which has the larger limits and harm, when it isn't said.
    pub place: Option<Place>,
    /// Volts at the grid, valve out, warm.
    pub grid: Option<f64>,
    /// Volts there with the capacitor lifted; 0 when it isn't said.
    pub rest: Option<f64>,
    /// The grid leak, ohms.
    pub grid_leak: Option<f64>,
    /// Volts at the driving plate.
    pub plate: Option<f64>,
    /// Volts that a meter in series shows.
    pub meter_volts: Option<f64>,
    /// Volts across capacitor and meter together.
    pub across: Option<f64>,
    /// The meter's input resistance, ohms.
    pub meter_ohms: Option<f64>,
}

/// Leakage resistance from the shift it causes: `Rg (Vplate - Vgrid) / Vshift`, volts with their signs; without bias
/// that is `Vdc Rg / Vshift - Rg`. None where nothing leaks or a number is none.
#[must_use]
pub fn leak_by_shift(plate: f64, grid: f64, rest: f64, grid_leak: f64) -> Option<f64> {
    let shift = grid - rest;
    let ohms = grid_leak * (plate - grid) / shift;
    (ohms.is_finite() && ohms > 0.0 && shift > 0.0).then_some(ohms)
}

/// Leakage resistance from the volts on a meter in series: `Rm (Vdc / Vm - 1)`.
#[must_use]
pub fn leak_by_meter(across: f64, shown: f64, meter_ohms: f64) -> Option<f64> {
    let ohms = meter_ohms * (across / shown - 1.0);
    (ohms.is_finite() && ohms > 0.0).then_some(ohms)
}

pub(super) fn add(sheet: &mut Sheet, given: &Coupling) {
    let by_meter =
        given.meter_volts.is_some() || given.across.is_some() || given.meter_ohms.is_some();
    let by_shift = given.grid.is_some()
        || given.rest.is_some()
        || given.grid_leak.is_some()
        || given.plate.is_some();
    if by_shift || !by_meter {
        at_the_grid(sheet, given);
    }
    if by_meter {
        in_series(sheet, given);
    }
}

fn at_the_grid(sheet: &mut Sheet, given: &Coupling) {
    let place = given.place.unwrap_or(Place::Output);
    let rule = || Origin::rule(place.rule());
    let figure = |name| rules().figure(place.rule(), name);
    let (Some(good), Some(advise), Some(must)) = (
        figure("good"),
        figure("advise replacement"),
        figure("must replace"),
    ) else {
        sheet.missing(
            "the limits of a coupling capacitor",
            "The program's rules do not read.",
        );
        return;
    };
    let rest = given.rest.filter(|v| v.is_finite()).unwrap_or(0.0);
    let mut lines = Vec::new();
    match given.grid {
        Some(grid) => {
            let shift = (grid - rest).abs();
            let line = Line::read(
                "Shift at the grid, valve out",
                Figure::new(shift, "V"),
                Limit::at_most(advise, "V"),
                rule(),
            );
            lines.push(shift_judged(line, shift, good, must, place));
            if grid < rest {
                sheet.note("The grid is more negative with the capacitor in: no leakage from a plate does that. Read again, valve out.");
            }
        }
        None => lines.push(
            Line::open("Shift at the grid, valve out", rule())
                .limited(Limit::at_most(advise, "V"))
                .because("Type what the grid reads, `--grid 0.12`; with bias also `--lifted -39`, the reading with the capacitor's end lifted."),
        ),
    }
    let plate = positive_if_given(
        sheet,
        given.plate,
        "the driving plate's volts",
        "Type them, `--plate 200`.",
    );
    let grid_leak = positive_if_given(
        sheet,
        given.grid_leak,
        "the grid leak",
        "Type its ohms, `--grid-leak 220k`.",
    );
    if given.plate.is_none() || given.grid_leak.is_none() {
        sheet.missing(
            "the leakage in ohms",
            "Type the driving plate's volts and the grid leak, `--plate 200 --grid-leak 220k`.",
        );
    }
    if let Some((plate, grid_leak)) = plate.zip(grid_leak) {
        let leak = given
            .grid
            .and_then(|grid| leak_by_shift(plate, grid, rest, grid_leak));
        let formula = || Origin::computed("Rg x (Vplate - Vgrid) / Vshift");
        if let Some(ohms) = leak {
            lines.push(
                Line::told("The capacitor leaks", formula()).showing(Figure::new(ohms, "ohm")),
            );
        }
        for (name, volts) in [("good", good), ("to replace", advise), ("must go", must)] {
            if let Some(ohms) = leak_by_shift(plate, rest + volts, rest, grid_leak) {
                let side = if name == "good" { "above" } else { "below" };
                lines.push(
                    Line::told(format!("In this place {name}: {side}"), formula())
                        .expecting(Expected::value(ohms, "ohm")),
                );
            }
        }
    }
    sheet.section(format!("Coupling capacitor to {}", place.words()), lines);
    sheet.note("Read with the valve out and the capacitor warm: leakage about doubles every 10 K. The same volts with the valve in only are the valve's, not the capacitor's.");
}

fn shift_judged(line: Line, shift: f64, good: f64, must: f64, place: Place) -> Line {
    let line = if shift > good {
        line.doubted("More than a good one lets through: watch it, and read again warm.")
    } else {
        line
    };
    match line.outcome() {
        Outcome::Fail if shift >= must => line.because(match place {
            Place::Output => {
                "It must be replaced: it can cost the output valve and its transformer."
            }
            Place::Preamp => "It must be replaced.",
        }),
        Outcome::Fail => line.because("Replacement is advised."),
        _ => line,
    }
}

fn in_series(sheet: &mut Sheet, given: &Coupling) {
    let rule = || Origin::rule("cap.coupling.leak.meter_test");
    let figure = |name| rules().figure("cap.coupling.leak.meter_test", name);
    let shown = positive(
        sheet,
        given.meter_volts,
        "the volts on the meter in series",
        "Type them, `--meter-volts 0.4`.",
    );
    let across = positive(
        sheet,
        given.across,
        "the volts across capacitor and meter",
        "Type them, `--across 300`.",
    );
    let meter = given.meter_ohms.or(Some(10e6));
    let meter = positive(
        sheet,
        meter,
        "the meter's input resistance",
        "Type it, `--meter 10M`.",
    );
    if given.meter_ohms.is_none() {
        sheet.note("The meter is taken as 10M, as digital meters are; `--meter` says otherwise.");
    }
    let (Some(shown), Some(across), Some(meter)) = (shown, across, meter) else {
        return;
    };
    let (Some(good), Some(reject)) = (figure("Rleak good"), figure("Rleak reject")) else {
        return;
    };
    let Some(ohms) = leak_by_meter(across, shown, meter) else {
        sheet.missing(
            "the leakage by the meter in series",
            "The meter cannot show as much as is across both: read both again.",
        );
        return;
    };
    let line = Line::read(
        "The capacitor leaks",
        Figure::new(ohms, "ohm"),
        Limit::at_least(reject, "ohm"),
        rule(),
    );
    let line = if ohms < good {
        line.doubted("Less than the 1000M of a good one: repeat it at 45 to 50 degrees C.")
    } else {
        line
    };
    sheet.section("Coupling capacitor with the meter in series", vec![line]);
    sheet.note("Let it charge for a minute before reading; the capacitor stays charged afterwards, and the meter's lead is at HT while it charges.");
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::leakage::{LeakageRequest, leakage};

    fn sheet(coupling: Coupling) -> Sheet {
        leakage(&LeakageRequest {
            coupling,
            ..LeakageRequest::default()
        })
    }

    /// 200 V, 220k, 0.3 V gives 146 Mohm (worked example of rule `cap.coupling.leak.output_grid`, computed); with bias, a
    /// plate at 210 V, grid from -39 to -34 V and 220k: 10.7 Mohm (worked case of the trade, computed).
    #[test]
    fn the_worked_examples_of_a_shift() {
        let ohms = leak_by_shift(200.0, 0.3, 0.0, 220e3).unwrap();
        assert!((ohms / 146.4e6 - 1.0).abs() < 1e-3, "{ohms}");
        let ohms = leak_by_shift(210.0, -34.0, -39.0, 220e3).unwrap();
        assert!((ohms / 10.7e6 - 1.0).abs() < 5e-3, "{ohms}");
    }

    /// `Rm (Vdc / Vm - 1)`: 3 V of 303 V on 10 Mohm is 1000 Mohm.
    #[test]
    fn the_meter_in_series_divides() {
        assert!((leak_by_meter(303.0, 3.0, 10e6).unwrap() / 1e9 - 1.0).abs() < 1e-9);
        assert_eq!(leak_by_meter(3.0, 3.0, 10e6), None);
    }

    #[test]
    fn good_between_and_bad_come_out_differently() {
        let outcome = |grid, place| {
            let sheet = sheet(Coupling {
                grid: Some(grid),
                place: Some(place),
                ..Coupling::default()
            });
            sheet.lines().next().map(Line::outcome)
        };
        assert_eq!(outcome(0.05, Place::Output), Some(Outcome::Pass));
        assert_eq!(outcome(0.2, Place::Output), Some(Outcome::Open));
        assert_eq!(outcome(0.5, Place::Output), Some(Outcome::Fail));
        assert_eq!(outcome(0.05, Place::Preamp), Some(Outcome::Open));
        assert_eq!(outcome(0.3, Place::Preamp), Some(Outcome::Fail));
    }
}
