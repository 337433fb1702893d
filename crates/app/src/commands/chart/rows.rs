//! One line of the chart in words: what stands at a point, and the sign of its verdict.

use bench::chart::{Chart, Line, Word};
use bench::digits;
use draw::over::{Flag, Standing};
use wiring::circuit::Kind;
use wiring::{Circuit, NodeId};

/// Other names of a point that a line of the chart shows.
const MOST_NAMES: usize = 3;

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

/// The sign of a line's verdict; nothing where there is none.
pub(crate) fn sign_of(line: &Line) -> &'static str {
    line.verdict.map_or("", |v| sign(v, high(line)))
}

/// Did the reading go to the upper side of what is expected?
pub(crate) fn high(line: &Line) -> bool {
    let middle = match (line.low, line.high) {
        (Some(low), Some(high)) => f64::midpoint(low, high),
        _ => line.volts.unwrap_or_default(),
    };
    // A display that was no number can only be above what is expected (`OL`, `> 20M`) or,
    // with `<`, below.
    match (line.reading, &line.shown) {
        (Some(reading), _) => reading > middle,
        (None, Some(shown)) => !shown.starts_with('<'),
        (None, None) => false,
    }
}

/// A line that was read, as a flag on the drawing; `judged` says whether with its verdict. The
/// expected figure stands beside a reading in trouble, else only if `expected` is wanted.
///
/// None where nothing was read.
pub(crate) fn flag(line: &Line, node: NodeId, judged: bool, expected: bool) -> Option<Flag> {
    let read = read(line);
    if read.is_empty() {
        return None;
    }
    let trouble = matches!(line.verdict, Some(Word::Doubtful | Word::Outside));
    let beside = line.volts.filter(|_| expected || trouble);
    Some(Flag {
        node,
        point: line.point.clone(),
        read,
        expected: beside.map_or_else(String::new, |v| figure(v, line.unit)),
        standing: match line.verdict.filter(|_| judged) {
            None => Standing::Read,
            Some(Word::Inside) => Standing::Inside,
            Some(Word::Doubtful) => Standing::Doubtful(high(line)),
            Some(Word::Outside) => Standing::Outside(high(line)),
        },
    })
}

/// A figure with its unit, where the unit is not volts DC.
pub(crate) fn figure(value: f64, unit: &str) -> String {
    use wiring::units::{Quantity, rounded};
    match unit {
        "V" => digits::volts(value),
        "V ac" => format!("{} ac", digits::volts(value)),
        "ohm" => {
            let text = rounded(value, Quantity::Ohms, 3);
            // `4k7` says what it is; a bare number does not.
            if text.ends_with(|c: char| c.is_ascii_digit())
                && text
                    .bytes()
                    .all(|b| b.is_ascii_digit() || b == b'.' || b == b'-')
            {
                format!("{text} ohm")
            } else {
                text
            }
        }
        "A" => rounded(value, Quantity::Amps, 3),
        other => format!("{} {other}", digits::volts(value)),
    }
}

/// Both ends of the band, in two cells.
pub(crate) fn band(line: &Line) -> (String, String) {
    match (line.low, line.high) {
        (Some(low), Some(high)) if line.unit == "ohm" || line.unit == "A" => {
            (figure(low, line.unit), figure(high, line.unit))
        }
        (Some(low), Some(high)) => digits::ends(low, high),
        _ => (String::new(), String::new()),
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
        // Ground has dozens; JSON gives them all.
        let more = others.len().saturating_sub(MOST_NAMES);
        let shown: Vec<String> = others.into_iter().take(MOST_NAMES).collect();
        let tail = if more > 0 {
            format!(" and {more} more")
        } else {
            String::new()
        };
        words.push(format!("also {}{tail}", shown.join(", ")));
    }
    words.join("; ")
}
