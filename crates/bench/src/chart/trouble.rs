//! Where the trouble is: a few sentences that point at the readings furthest out.
//!
//! Each sentence names readings and what their *pattern* suggests: pairs of plate and cathode
//! in a stage, all supply points by one ratio, one group of supply points, a drop across a
//! part. The patterns are bench practice (common practice, no source). They suggest and never
//! convict: a ranking with odds is another computation.

use super::entry::{Entry, volts_read};
use super::verdict::Word;
use crate::digits::volts;
use wiring::circuit::Circuit;
use wiring::readings::Unit;

mod stage;
mod supply;

/// At most this many sentences.
const MOST: usize = 6;

/// Sentences in the order of how far out the readings are that they speak of.
#[must_use]
pub fn trouble(circuit: &Circuit, entries: &[Entry]) -> Vec<String> {
    let mut told = Told::default();
    supply::ratio(circuit, entries, &mut told);
    supply::group(circuit, entries, &mut told);
    supply::drops(circuit, entries, &mut told);
    stage::patterns(circuit, entries, &mut told);
    singles(circuit, entries, &mut told);
    told.sentences.sort_by(|a, b| b.0.total_cmp(&a.0));
    told.sentences
        .into_iter()
        .take(MOST)
        .map(|(_, s)| s)
        .collect()
}

/// Sentences so far, and the points they have dealt with.
#[derive(Debug, Default)]
struct Told {
    sentences: Vec<(f64, String)>,
    points: Vec<String>,
    /// The whole supply stands at this part of what is expected.
    ratio: Option<f64>,
}

impl Told {
    fn say(&mut self, sigmas: f64, points: &[&str], sentence: String) {
        self.points.extend(points.iter().map(|p| (*p).to_owned()));
        // no spread at all gives endless sigmas; they sort first all the same
        self.sentences.push((sigmas.abs().min(1e9), sentence));
    }

    fn knows(&self, point: &str) -> bool {
        self.points.iter().any(|p| p == point)
    }

    /// Is a reading off by no more than the whole supply is? `slack` as a part of it.
    fn follows(&self, entry: &Entry, slack: f64) -> bool {
        let (Some(ratio), Some(read), Some(band)) = (self.ratio, entry.number(), entry.band) else {
            return false;
        };
        (read / band.centre - ratio).abs() < slack
    }
}

fn is_out(entry: &Entry) -> bool {
    matches!(entry.verdict(), Some(Word::Outside | Word::Doubtful))
}

fn is_outside(entry: &Entry) -> bool {
    entry.verdict() == Some(Word::Outside)
}

fn far(entry: &Entry) -> f64 {
    entry.sigmas().unwrap_or(0.0)
}

/// The farthest of some readings, signed.
fn worst<'a>(entries: impl IntoIterator<Item = &'a Entry>) -> f64 {
    entries
        .into_iter()
        .map(far)
        .fold(0.0, |a: f64, b| if b.abs() > a.abs() { b } else { a })
}

/// `V1.1 is 28 V low (172 for 200)`.
fn words(entry: &Entry) -> String {
    let (Some(read), Some(band)) = (entry.number(), entry.band) else {
        return format!("{} has no number", entry.point);
    };
    match entry.verdict() {
        Some(Word::Inside) | None => format!("{} is as expected ({})", entry.point, volts(read)),
        _ => format!(
            "{} is {} ({} for about {})",
            entry.point,
            if read < band.centre { "low" } else { "high" },
            volts(read),
            volts(band.centre)
        ),
    }
}

/// Direction of a reading against its band: -1, 0, 1, by one standard deviation, so that the
/// quieter half of a pair still shows which way it leans.
fn leans(entry: &Entry) -> i8 {
    let s = far(entry);
    if s < -1.0 {
        -1
    } else if s > 1.0 {
        1
    } else {
        0
    }
}

/// What is outside and in no sentence yet.
fn singles(circuit: &Circuit, entries: &[Entry], told: &mut Told) {
    for entry in entries {
        if !is_outside(entry) || told.knows(&entry.point) || told.follows(entry, 0.15) {
            continue;
        }
        let (Some(read), Some(band)) = (entry.number(), entry.band) else {
            continue;
        };
        let unit = match entry.unit {
            Unit::VoltsDc | Unit::VoltsAc => "V",
            Unit::Ohms => "ohm",
            Unit::AmpsDc => "A",
            Unit::Hertz => "Hz",
        };
        let mut sentence = format!(
            "{} reads {} {unit}; sound amplifiers like this one read {} to {} {unit}.",
            entry.point,
            volts(read),
            volts(band.low()),
            volts(band.high())
        );
        if let Some(more) = stage::grid_pulled_up(circuit, entries, entry) {
            sentence.push(' ');
            sentence.push_str(&more);
        }
        told.say(far(entry), &[&entry.point], sentence);
    }
}

/// Unread points that would settle most: the supply points, when none was read.
#[must_use]
pub fn supply_unread(circuit: &Circuit, entries: &[Entry]) -> bool {
    entries.iter().any(|e| e.read.is_some())
        && !entries.iter().any(|e| {
            e.volts_at().is_some_and(|n| {
                supply::has_filter_capacitor(circuit, n) && volts_read(entries, n).is_some()
            })
        })
}
