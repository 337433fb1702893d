//! The burn-in log: what stood when, and how far it has drifted.
//!
//! A row is minutes since switch-on, mains amperes, volts of the high tension, degrees Celsius of
//! the mains transformer's case. Rows come from readings blocks whose name begins with `burn-in`
//! and that say their `minutes`, or are typed. Drift is from the first row after the warm-up to
//! the last, at the mains as it stood: high tension and current follow the mains, so each is
//! divided by it where both rows state it.

use crate::answers::Answers;
use crate::rules::rules;
use crate::sheet::{Expected, Figure, Limit, Line, Origin};
use wiring::circuit::Circuit;
use wiring::readings::{Probe, Said, Shown, Unit};
use wiring::roles::anatomy;

/// One row; what was not read is none.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LogRow {
    /// Minutes since switch-on.
    pub minutes: f64,
    /// Mains current, amperes rms.
    pub mains_amps: Option<f64>,
    /// High tension, volts.
    pub ht_volts: Option<f64>,
    /// Case of the mains transformer, degrees Celsius.
    pub celsius: Option<f64>,
    /// Mains volts.
    pub mains_volts: Option<f64>,
}

/// Why a typed row is none.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum LogError {
    /// Too few or too many words.
    #[error(
        "a row is four figures, `-` for one that was not read: minutes, mains amperes, high tension, degrees C, as in `60 0.41 312 38`"
    )]
    Count,
    /// A word that is no figure.
    #[error("`{word}` is no figure for {what}")]
    Figure {
        /// The word.
        word: String,
        /// Which figure.
        what: &'static str,
    },
}

/// Reads a typed row: `60 0.41 312 38`; units may stand behind the figures, `-` is not read, a
/// fifth figure is the mains volts.
///
/// # Errors
/// [`LogError`] with what to type.
pub fn row(text: &str) -> Result<LogRow, LogError> {
    let words: Vec<&str> = text
        .split([' ', ',', ';', '\t'])
        .filter(|w| !w.is_empty())
        .collect();
    if !(4..=5).contains(&words.len()) {
        return Err(LogError::Count);
    }
    let figure = |at: usize, what: &'static str, units: &[&str], least: f64, most: f64| {
        let word = words.get(at).copied().unwrap_or("-");
        if word == "-" {
            return Ok(None);
        }
        let wrong = || LogError::Figure {
            word: word.to_owned(),
            what,
        };
        let bare = units
            .iter()
            .find_map(|u| word.strip_suffix(u))
            .unwrap_or(word)
            .trim();
        let value: f64 = bare.parse().map_err(|_| wrong())?;
        if (least..=most).contains(&value) {
            Ok(Some(value))
        } else {
            Err(wrong())
        }
    };
    let minutes = figure(0, "minutes", &["min"], 0.0, 1e5)?;
    Ok(LogRow {
        minutes: minutes.ok_or_else(|| LogError::Figure {
            word: "-".to_owned(),
            what: "minutes",
        })?,
        mains_amps: figure(1, "mains amperes", &["A"], 0.0, 50.0)?,
        ht_volts: figure(2, "the high tension", &["V"], -2000.0, 2000.0)?,
        celsius: figure(3, "degrees Celsius", &["°C", "C"], -50.0, 400.0)?,
        mains_volts: figure(4, "mains volts", &["V"], 1.0, 1000.0)?,
    })
}

/// Rows of the readings blocks.
pub(super) fn of_blocks(circuit: &Circuit) -> Vec<LogRow> {
    let rail = anatomy(circuit).rails.first().copied();
    let mut rows: Vec<LogRow> = circuit
        .readings
        .iter()
        .filter(|b| b.name.trim().starts_with("burn-in"))
        .filter_map(|b| {
            let answer = |item: &str, unit: &str| {
                b.answers
                    .iter()
                    .rev()
                    .find(|a| a.item == item)
                    .and_then(|a| match &a.said {
                        Said::Figure {
                            shown: Shown::Number(v),
                            unit: typed,
                            ..
                        } if typed
                            .as_deref()
                            .is_none_or(|u| u.trim_start_matches('°') == unit) =>
                        {
                            Some(*v)
                        }
                        _ => None,
                    })
            };
            let fuse_amps = b.readings.iter().find_map(|r| match (r.unit, r.value) {
                (Unit::AmpsDc, Shown::Number(v)) => Some(v),
                _ => None,
            });
            let ht = b
                .readings
                .iter()
                .find_map(|r| match (r.unit, r.value, r.probe) {
                    (Unit::VoltsDc, Shown::Number(v), Probe::At(n)) if Some(n) == rail => Some(v),
                    _ => None,
                });
            let highest = b
                .readings
                .iter()
                .filter_map(|r| match (r.unit, r.value, r.probe) {
                    (Unit::VoltsDc, Shown::Number(v), Probe::At(_)) => Some(v),
                    _ => None,
                });
            Some(LogRow {
                minutes: b.conditions.minutes?,
                mains_amps: answer("mains-current", "A").or(fuse_amps),
                ht_volts: ht.or_else(|| highest.reduce(f64::max)),
                celsius: answer("case", "C"),
                mains_volts: b.conditions.mains_volts,
            })
        })
        .collect();
    rows.sort_by(|a, b| a.minutes.total_cmp(&b.minutes));
    rows
}

/// Before this the amplifier is still warming, minutes (`bias.recheck`).
fn warm_minutes() -> f64 {
    rules().figure("bias.recheck", "warm-up").unwrap_or(20.0)
}

/// The lines of the log and their verdicts.
pub(super) fn lines(rows: &[LogRow], answers: &Answers) -> Vec<Line> {
    let mut rows: Vec<LogRow> = rows.to_vec();
    rows.sort_by(|a, b| a.minutes.total_cmp(&b.minutes));
    let mut lines: Vec<Line> = rows.iter().map(one).collect();
    if rows.is_empty() {
        for minutes in [5.0, 20.0, 60.0, 120.0] {
            lines.push(
                Line::open(
                    format!("at {minutes:.0} min: mains current, high tension, case"),
                    Origin::rule("burn_in"),
                )
                .because("____ A   ____ V   ____ C"),
            );
        }
    }
    let hours = rules().range("burn_in", "time").map_or(2.0, |r| r.0);
    match rows.last() {
        Some(last) => lines.push(Line::read(
            "time run",
            Figure::new(last.minutes * 60.0, "s"),
            Limit::at_least(hours * 3600.0, "s"),
            Origin::rule("burn_in"),
        )),
        None => lines.push(
            Line::open("time run", Origin::rule("burn_in"))
                .limited(Limit::at_least(hours * 3600.0, "s")),
        ),
    }
    let warm: Vec<&LogRow> = rows
        .iter()
        .filter(|r| r.minutes >= warm_minutes())
        .collect();
    let most = rules().figure("burn_in", "bias drift").unwrap_or(10.0);
    for (what, of) in [
        (
            "drift of the mains current",
            (|r: &LogRow| r.mains_amps) as fn(&LogRow) -> Option<f64>,
        ),
        ("drift of the high tension", |r: &LogRow| r.ht_volts),
    ] {
        lines.push(drift(what, &warm, of, most));
    }
    let hottest = rows.iter().filter_map(|r| r.celsius).reduce(f64::max);
    let case = rules()
        .figure("pt.temperature", "case")
        .unwrap_or(65.0)
        .min(65.0);
    lines.push(match hottest {
        Some(c) => Line::read(
            "case of the mains transformer, hottest",
            Figure::new(c, "C"),
            Limit::at_most(case, "C"),
            Origin::rule("pt.temperature"),
        ),
        None => Line::open(
            "case of the mains transformer, hottest",
            Origin::rule("pt.temperature"),
        )
        .limited(Limit::at_most(case, "C")),
    });
    lines.push(
        answers
            .line(
                "burn-in",
                "No smell, no smoke, no red plate, no new noise",
                Origin::practice(),
            )
            .because("Look in the dark for plates that glow."),
    );
    lines
}

fn one(r: &LogRow) -> Line {
    let figure = |v: Option<f64>, unit: &str| {
        v.map_or_else(|| format!("____ {unit}"), |v| format!("{v} {unit}"))
    };
    let mut line =
        Line::told(format!("at {} min", r.minutes), Origin::measured()).because(format!(
            "{}, {}, {}{}",
            figure(r.mains_amps, "A"),
            figure(r.ht_volts, "V"),
            figure(r.celsius, "C"),
            r.mains_volts
                .map_or_else(String::new, |v| format!(", mains {v} V"))
        ));
    if let Some(volts) = r.ht_volts {
        line = line.showing(Figure::new(volts, "V"));
    }
    line
}

/// Change from the first warm row to the last, percent, each over its mains where both say it.
fn drift(what: &str, warm: &[&LogRow], of: fn(&LogRow) -> Option<f64>, most: f64) -> Line {
    let limit = Limit::between(-most, most, "%");
    let with: Vec<&&LogRow> = warm
        .iter()
        .filter(|r| of(r).is_some_and(|v| v != 0.0))
        .collect();
    let open = |why: &str| {
        Line::open(what, Origin::rule("burn_in"))
            .limited(limit.clone())
            .because(why)
    };
    let (Some(first), Some(last)) = (with.first(), with.last()) else {
        return open(&format!(
            "Two rows from {:.0} min on are needed.",
            warm_minutes()
        ));
    };
    if last.minutes - first.minutes < 30.0 {
        return open("The warm rows lie less than half an hour apart.");
    }
    let (Some(a), Some(b)) = (of(first), of(last)) else {
        return open("");
    };
    let by_mains = match (first.mains_volts, last.mains_volts) {
        (Some(x), Some(y)) if x > 0.0 && y > 0.0 => y / x,
        _ => 1.0,
    };
    let percent = 100.0 * (b / a / by_mains - 1.0);
    let mut line = Line::read(
        what,
        Figure::new(percent, "%"),
        limit,
        Origin::rule("burn_in"),
    )
    .expecting(Expected::value(0.0, "%"));
    let words = format!("From {} min to {} min.", first.minutes, last.minutes);
    line = line.because(words);
    if by_mains == 1.0 {
        line = line.because("The mains of both rows is not said, so its change is in it.");
    }
    line
}
