//! One line of the chart in words: what stands at a point, and the sign of its verdict.

use crate::figure;
use bench::chart::{Chart, Line, Word};
use wiring::Circuit;
use wiring::circuit::Kind;

/// The verdict in a word.
pub(crate) fn word(verdict: Word) -> &'static str {
    match verdict {
        Word::Inside => "inside",
        Word::Doubtful => "doubtful",
        Word::Outside => "outside",
    }
}

/// Brackets for the band, a dot for the reading: in, on the bracket, or out, on the side it went.
pub(crate) fn sign(verdict: Word, high: bool) -> &'static str {
    match (verdict, high) {
        (Word::Inside, _) => " [ o ] ",
        (Word::Doubtful, false) => " o   ] ",
        (Word::Doubtful, true) => " [   o ",
        (Word::Outside, false) => "o[   ] ",
        (Word::Outside, true) => " [   ]o",
    }
}

/// Sign, word, and how far beyond the band's end the reading is.
pub(crate) fn verdict(line: &Line) -> String {
    let Some(verdict) = line.verdict else {
        return String::new();
    };
    let middle = match (line.low, line.high) {
        (Some(low), Some(high)) => f64::midpoint(low, high),
        _ => line.volts.unwrap_or_default(),
    };
    // A bound (`OL`, `> 20M`) that is out can only be above what is expected, `< 0.01` below.
    let reading = line.reading.unwrap_or_else(|| {
        match line.shown.as_deref().map(|s| s.starts_with('<')) {
            Some(true) => f64::NEG_INFINITY,
            _ => f64::INFINITY,
        }
    });
    let high = reading > middle;
    format!("{} {}", sign(verdict, high), word(verdict))
}

/// How far a reading is beyond the nearer end of its band, signed; none when it is within.
pub(crate) fn beyond(line: &Line) -> Option<f64> {
    let (low, high, reading) = (line.low?, line.high?, line.reading?);
    if reading > high {
        Some(reading - high)
    } else if reading < low {
        Some(reading - low)
    } else {
        None
    }
}

/// A figure with its unit, where the unit is not volts DC.
pub(crate) fn figure(value: f64, unit: &str) -> String {
    use wiring::units::{Quantity, rounded};
    match unit {
        "V" => figure::volts(value),
        "V ac" => format!("{} ac", figure::volts(value)),
        "ohm" => format!("{} ohm", rounded(value, Quantity::Ohms, 3)),
        "A" => rounded(value, Quantity::Amps, 3),
        other => format!("{} {other}", figure::volts(value)),
    }
}

/// The band in a cell.
pub(crate) fn band(line: &Line) -> String {
    match (line.low, line.high) {
        (Some(low), Some(high)) if line.unit == "ohm" || line.unit == "A" => {
            format!("{} to {}", figure(low, line.unit), figure(high, line.unit))
        }
        (Some(low), Some(high)) => figure::band(low, high),
        _ => String::new(),
    }
}

/// What was read, as the display showed it.
pub(crate) fn read(line: &Line) -> String {
    match (&line.shown, line.reading) {
        (Some(shown), _) => shown.clone(),
        (None, Some(value)) => figure(value, line.unit),
        (None, None) => String::new(),
    }
}

/// The reason why a point has no expected value.
pub(crate) fn why<'a>(chart: &'a Chart, point: &str) -> Option<&'a str> {
    chart
        .unsolved
        .iter()
        .find(|u| u.point == point)
        .map(|u| u.why.as_str())
}

/// The lines whose readings are outside, in the order of the chart.
pub(crate) fn outside(chart: &Chart) -> Vec<&Line> {
    chart
        .points
        .iter()
        .filter(|l| l.verdict == Some(Word::Outside))
        .collect()
}

/// What stands at a point: electrodes in words, then the other names of the same wire.
pub(crate) fn what(circuit: &Circuit, line: &Line) -> String {
    let own = circuit.terminal(&line.point);
    let mut seen: Vec<(usize, usize)> = Vec::new();
    let mut words: Vec<String> = Vec::new();
    let mut others: Vec<String> = Vec::new();
    for name in std::iter::once(&line.point).chain(&line.also) {
        let Some((id, terminal)) = circuit.terminal(name) else {
            if *name != line.point {
                others.push(name.clone());
            }
            continue;
        };
        if seen.contains(&(id.0, terminal)) {
            continue;
        }
        seen.push((id.0, terminal));
        let Some(part) = circuit.parts.get(id.0) else {
            continue;
        };
        let Kind::Valve(valve) = &part.kind else {
            if *name != line.point {
                others.push(name.clone());
            }
            continue;
        };
        let mut uses: Vec<String> = Vec::new();
        for pin in valve.electrodes.iter().filter(|p| p.terminal == terminal) {
            let electrode = match pin.electrode.word() {
                "heater1" | "heater2" => "heater",
                "heatertap" => "heater tap",
                word => word,
            };
            uses.push(match pin.section {
                Some(section) => format!("{electrode} {section}"),
                None => electrode.to_owned(),
            });
        }
        uses.dedup();
        let text = uses.join("/");
        if own.is_some_and(|(owner, _)| owner == id) {
            if !text.is_empty() && !words.contains(&text) {
                words.push(text);
            }
        } else {
            others.push(if text.is_empty() {
                name.clone()
            } else {
                format!("{} {text}", part.name)
            });
        }
    }
    others.dedup();
    if !others.is_empty() {
        words.push(format!("also {}", others.join(", ")));
    }
    words.join("; ")
}
