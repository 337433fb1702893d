//! An amp that came back: its last chart as left against what is read now.
//!
//! Volts are held against each other at the mains of today: what was left is scaled by the ratio of
//! the two mains voltages (common practice, no source). A point has moved when it is off by more
//! than both meters may err together and 3 % for warm-up and the mains wandering (common practice,
//! no source). Readings are compared only where valves, standby, limiter and power were the same.

use super::site::Site;
use super::state::parsed;
use super::work_out;
use bench::chart::points::natural;
use shop::{JobId, Reader, ReadingState, ShopError};
use wiring::Circuit;
use wiring::readings::Conditions;

/// What warm-up and a wandering mains may do to a reading.
const WANDERS: f64 = 0.03;
/// What a meter may err where nobody said (common practice, no source).
const METER: f64 = 0.01;

/// A point of the last chart as left, and now.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Moved {
    /// The point, as typed.
    pub(crate) point: String,
    /// The unit as typed.
    pub(crate) unit: String,
    /// As left, as shown by the meter.
    pub(crate) left: String,
    /// As left, at the mains of today.
    pub(crate) scaled: Option<f64>,
    /// As read now.
    pub(crate) now: Option<String>,
    /// What came of it.
    pub(crate) word: Word,
}

/// What came of a point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Word {
    /// Within what meters and mains explain; off by so much of a hundred.
    Same(f64),
    /// It moved, by so much of a hundred.
    Moved(f64),
    /// Not read yet.
    Open,
    /// Read, and not comparable: other conditions, or no figure.
    Other,
}

/// A reading with what it was taken under.
struct Taken {
    point: String,
    unit: String,
    shown: String,
    under: Conditions,
}

fn taken(
    site: &Site,
    r: &Reader<'_>,
    job: JobId,
    state: ReadingState,
) -> Result<Vec<Taken>, ShopError> {
    let found = work_out::found(site, r, job, state)?;
    Ok(found
        .readings
        .iter()
        .filter_map(|x| {
            let block = found.blocks.iter().find(|b| b.id == x.block)?;
            Some(Taken {
                point: x.fields.point.clone(),
                unit: x.fields.unit.clone(),
                shown: x.fields.shown.clone(),
                under: parsed(&Circuit::default(), &block.conditions),
            })
        })
        .collect())
}

/// Were two readings taken in the same state of the amp?
fn alike(a: &Conditions, b: &Conditions) -> bool {
    a.valves == b.valves
        && a.standby_open.unwrap_or(false) == b.standby_open.unwrap_or(false)
        && a.limiter_watts == b.limiter_watts
        && a.power_off == b.power_off
        && a.signal == b.signal
}

fn error(c: &Conditions) -> f64 {
    c.meter.map_or(METER, |m| m.error)
}

/// Both figures against each other; the first at the mains of the second.
fn compare(left: &Taken, now: &Taken) -> (Option<f64>, Word) {
    let figure = |t: &Taken| t.shown.trim().parse::<f64>().ok().filter(|v| v.is_finite());
    let (Some(was), Some(is)) = (figure(left), figure(now)) else {
        return (None, Word::Other);
    };
    if !alike(&left.under, &now.under) {
        return (None, Word::Other);
    }
    let volts = !left.under.power_off && (left.unit.is_empty() || left.unit.starts_with('V'));
    let ratio = match (left.under.mains_volts, now.under.mains_volts) {
        (Some(then), Some(today)) if volts && then > 0.0 && today > 0.0 => today / then,
        _ => 1.0,
    };
    let scaled = was * ratio;
    if scaled == 0.0 {
        let word = if is == 0.0 {
            Word::Same(0.0)
        } else {
            Word::Other
        };
        return (Some(scaled), word);
    }
    let off = is / scaled - 1.0;
    let most = error(&left.under) + error(&now.under) + WANDERS;
    let word = if off.abs() <= most {
        Word::Same(off * 100.0)
    } else {
        Word::Moved(off * 100.0)
    };
    (Some(scaled), word)
}

/// The last chart as left of a job against the chart of another: what moved first, then what is
/// to be read, then the rest.
pub(crate) fn moved(
    site: &Site,
    r: &Reader<'_>,
    last: JobId,
    now: JobId,
) -> Result<Vec<Moved>, ShopError> {
    let left = taken(site, r, last, ReadingState::AsLeft)?;
    let today = taken(site, r, now, ReadingState::AsFound)?;
    Ok(against(&left, &today))
}

fn against(left: &[Taken], today: &[Taken]) -> Vec<Moved> {
    let mut all: Vec<Moved> = Vec::new();
    // a later reading of the same point in the same state takes the place of the earlier one
    for (i, l) in left.iter().enumerate() {
        let later = left.get(i + 1..).unwrap_or_default();
        if later
            .iter()
            .any(|o| (&o.point, &o.unit) == (&l.point, &l.unit) && alike(&o.under, &l.under))
        {
            continue;
        }
        let same = |t: &&Taken| t.point == l.point && t.unit == l.unit;
        let fitting = today
            .iter()
            .filter(same)
            .rfind(|t| alike(&l.under, &t.under))
            .or_else(|| today.iter().rfind(same));
        let (scaled, word) = fitting.map_or((None, Word::Open), |t| compare(l, t));
        all.push(Moved {
            point: l.point.clone(),
            unit: l.unit.clone(),
            left: l.shown.clone(),
            scaled,
            now: fitting.map(|t| t.shown.clone()),
            word,
        });
    }
    let rank = |w: Word| match w {
        Word::Moved(off) => (0, -(off.abs() * 10.0) as i64),
        Word::Open => (1, 0),
        Word::Other => (2, 0),
        Word::Same(_) => (3, 0),
    };
    all.sort_by(|a, b| {
        rank(a.word)
            .cmp(&rank(b.word))
            .then_with(|| natural(&a.point).cmp(&natural(&b.point)))
    });
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(point: &str, shown: &str, under: &str) -> Taken {
        Taken {
            point: point.to_owned(),
            unit: String::new(),
            shown: shown.to_owned(),
            under: parsed(&Circuit::default(), under),
        }
    }

    /// By hand: 300 V at 230 V mains is 313.0 V at 240 V; 313 is the same, 330 is 5.4 % above it,
    /// more than the 4 % of two half-per-cent meters and the mains.
    #[test]
    fn what_moved_is_told_from_what_the_mains_did() {
        let meter = "meter 10M 0.5%";
        let then = format!("mains 230 V\n{meter}");
        let today = format!("mains 240 V\n{meter}");
        let left = [
            read("B1", "300", &then),
            read("B2", "300", &then),
            read("B3", "200", &then),
            read("B4", "200", &then),
        ];
        let now = [
            read("B1", "313", &today),
            read("B2", "330", &today),
            read("B4", "40", &format!("{today}\nlimiter 60 W")),
        ];
        let all = against(&left, &now);
        let words: Vec<(&str, Word)> = all.iter().map(|m| (m.point.as_str(), m.word)).collect();
        assert_eq!(
            words.iter().map(|w| w.0).collect::<Vec<_>>(),
            ["B2", "B3", "B4", "B1"]
        );
        assert!(matches!(words[0].1, Word::Moved(off) if (off - 5.417).abs() < 0.01));
        assert_eq!((words[1].1, words[2].1), (Word::Open, Word::Other));
        assert!(matches!(words[3].1, Word::Same(off) if off.abs() < 0.1));
        assert_eq!(all[0].scaled.map(|v| v.round()), Some(313.0));
    }

    #[test]
    fn the_last_reading_as_left_counts_and_no_figure_is_no_verdict() {
        let under = "mains 230 V";
        let left = [read("B1", "250", under), read("B1", "300", under)];
        let all = against(&left, &[read("B1", "OL", under)]);
        assert_eq!(all.len(), 1);
        assert_eq!((all[0].left.as_str(), all[0].word), ("300", Word::Other));
        assert!(against(&[], &[read("B1", "1", under)]).is_empty());
    }
}
