//! Writing readings: as notation text and as a sheet.

use super::COLUMNS;
use crate::circuit::Position;
use crate::readings::{Answer, Block, Conditions, Meter, Reading, Said, Shown, Unit, ValvesIn};

/// The blocks as notation text, tidily spaced; it reads back as the same blocks.
///
/// Readings keep the digits that were typed; what was typed as `0.004` comes out as `4 mV`.
/// The lines of a block stand in a fixed order: conditions, readings, answers, `heard`, `seen`.
#[must_use]
pub fn blocks_to_text(blocks: &[Block]) -> String {
    let mut out = String::new();
    for block in blocks {
        if !out.is_empty() {
            out.push('\n');
        }
        out.push_str("readings ");
        out.push_str(&one_line(&block.name));
        out.push('\n');
        for row in rows(block) {
            out.push_str(&row.line());
            out.push('\n');
        }
    }
    crate::format::format(&out)
}

/// The blocks as CSV with the columns block, point, to, value, unit, note; commas between
/// the columns, `\n` at line ends.
///
/// A row whose point is `readings` begins a block where the block's name alone could not
/// tell: an empty block, or one called like the block before it.
#[must_use]
pub fn blocks_to_csv(blocks: &[Block]) -> String {
    let mut writer = ::csv::WriterBuilder::new().from_writer(Vec::new());
    // Writing to memory cannot fail; were it to, the sheet would end early rather than panic.
    let _ = writer.write_record(COLUMNS);
    for (index, block) in blocks.iter().enumerate() {
        let rows = rows(block);
        let name = one_line(&block.name);
        let before = index.checked_sub(1).and_then(|i| blocks.get(i));
        if rows.is_empty() || before.is_some_and(|b| one_line(&b.name) == name) {
            let _ = writer.write_record([&name, "readings", "", "", "", ""]);
        }
        for row in rows {
            let _ = writer.write_record([
                name.as_str(),
                &row.point,
                &row.to,
                &row.value,
                &row.unit,
                &row.note,
            ]);
        }
    }
    writer
        .into_inner()
        .ok()
        .and_then(|bytes| String::from_utf8(bytes).ok())
        .unwrap_or_default()
}

/// One line of a block, or one row of a sheet.
#[derive(Debug, Default)]
struct Row {
    point: String,
    to: String,
    value: String,
    unit: String,
    note: String,
}

impl Row {
    fn condition(word: &str, value: String) -> Self {
        Self {
            point: word.to_owned(),
            value,
            ..Self::default()
        }
    }

    fn of(reading: &Reading) -> Self {
        let (point, to) = match reading.point.split_once(" to ") {
            Some((a, b)) => (a.trim(), b.trim()),
            None => (reading.point.as_str(), ""),
        };
        let (value, unit) = shown(reading);
        Self {
            point: point.to_owned(),
            to: to.to_owned(),
            value,
            unit,
            note: reading.note.clone().unwrap_or_default(),
        }
    }

    fn answer(answer: &Answer) -> Self {
        let (value, unit) = match &answer.said {
            Said::Yes => ("yes".to_owned(), String::new()),
            Said::No => ("no".to_owned(), String::new()),
            Said::Figure { shown, unit, digit } => figure(*shown, *digit, unit.as_deref()),
        };
        Self {
            point: "answer".to_owned(),
            value: format!("{} {value}", answer.item),
            unit,
            note: answer.note.clone().unwrap_or_default(),
            ..Self::default()
        }
    }

    fn line(&self) -> String {
        let to = if self.to.is_empty() { "" } else { " to " };
        let note = if self.note.is_empty() {
            String::new()
        } else {
            format!(" \"{}\"", self.note)
        };
        let unit = if self.unit.is_empty() { "" } else { " " };
        format!(
            "{}{to}{} {}{unit}{}{note}",
            self.point, self.to, self.value, self.unit
        )
    }
}

fn rows(block: &Block) -> Vec<Row> {
    let Conditions {
        mains_volts,
        mains_hertz,
        meter,
        valves,
        sets,
        standby_open,
        speaker_on,
        limiter_watts,
        minutes,
        signal,
        power_off,
        heard,
        seen,
    } = &block.conditions;
    let mut rows = Vec::new();
    let mut say = |word: &str, value: String| rows.push(Row::condition(word, value));
    match (mains_volts, mains_hertz) {
        (Some(volts), Some(hertz)) => say("mains", format!("{volts} V {hertz} Hz")),
        (Some(volts), None) => say("mains", format!("{volts} V")),
        (None, _) => {}
    }
    if let Some(meter) = meter {
        say("meter", meter_text(meter));
    }
    match valves {
        ValvesIn::All => {}
        ValvesIn::Without(names) => say("valves", format!("without {}", names.join(" "))),
        ValvesIn::Only(names) => say("valves", format!("only {}", names.join(" "))),
    }
    for set in sets {
        let to = match set.to {
            Position::Number(number) => number.to_string(),
            Position::Closed => "closed".to_owned(),
            Position::Open => "open".to_owned(),
            Position::Plugged => "plugged".to_owned(),
            Position::Unplugged => "unplugged".to_owned(),
        };
        say("set", format!("{} {to}", set.name));
    }
    if let Some(open) = standby_open {
        say("standby", if *open { "open" } else { "closed" }.to_owned());
    }
    if let Some(on) = speaker_on {
        say("speaker", if *on { "on" } else { "off" }.to_owned());
    }
    if let Some(watts) = limiter_watts {
        say("limiter", format!("{watts} W"));
    }
    if let Some(minutes) = minutes {
        say("minutes", minutes.to_string());
    }
    if let Some((jack, volts, hertz)) = signal {
        say("signal", format!("{jack} {volts} V {hertz} Hz"));
    }
    if *power_off {
        say("power", "off".to_owned());
    }
    rows.extend(block.readings.iter().map(Row::of));
    rows.extend(block.answers.iter().map(Row::answer));
    rows.extend(heard.iter().map(|t| Row::condition("heard", one_line(t))));
    rows.extend(seen.iter().map(|t| Row::condition("seen", one_line(t))));
    rows
}

fn meter_text(meter: &Meter) -> String {
    let ohms = crate::units::notation(meter.ohms, crate::units::Quantity::Ohms);
    format!("{ohms} {}%", percent(meter.error))
}

/// A fraction as percent, in the shortest figures that give the fraction back.
fn percent(fraction: f64) -> f64 {
    let percent = fraction * 100.0;
    // 0.007 x 100 is 0.7000000000000001: twelve digits are more than any meter has.
    format!("{percent:.12e}").parse().unwrap_or(percent)
}

/// Free text on one line, without what would begin a comment.
fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Value and unit of a reading as two cells.
fn shown(reading: &Reading) -> (String, String) {
    measured(reading.value, reading.digit, reading.unit)
}

fn measured(shown: Shown, digit: f64, unit: Unit) -> (String, String) {
    let Some((sign, value)) = signed(shown) else {
        return ("OL".to_owned(), symbol(unit, ""));
    };
    let (power, decimals) = scale(value, digit, unit);
    (
        format!("{sign}{}", digits(value, power, decimals)),
        symbol(unit, prefix(power)),
    )
}

/// Value and unit of an answer as two cells; a unit that no meter reading has stays as typed.
fn figure(said: Shown, digit: f64, unit: Option<&str>) -> (String, String) {
    match unit {
        Some("V") => measured(said, digit, Unit::VoltsDc),
        Some("V ac") => measured(said, digit, Unit::VoltsAc),
        Some("ohm") => measured(said, digit, Unit::Ohms),
        Some("A") => measured(said, digit, Unit::AmpsDc),
        Some("Hz") => measured(said, digit, Unit::Hertz),
        other => {
            let unit = other.unwrap_or_default().to_owned();
            match signed(said) {
                None => ("OL".to_owned(), unit),
                Some((sign, value)) => (format!("{sign}{}", digits(value, 0, places(digit))), unit),
            }
        }
    }
}

/// Decimals that show the last digit typed; none where its size is not known.
fn places(digit: f64) -> Option<usize> {
    (0..=15)
        .find(|n| (digit * 10f64.powi(*n) - 1.0).abs() < 1e-6)
        .and_then(|n| usize::try_from(n).ok())
}

/// The sign before the number, and the number; none for over range.
fn signed(shown: Shown) -> Option<(&'static str, f64)> {
    match shown {
        Shown::Number(value) => Some(("", value)),
        Shown::Below(value) => Some(("< ", value)),
        Shown::Above(value) => Some(("> ", value)),
        Shown::Over => None,
    }
}

fn prefix(power: i32) -> &'static str {
    match power {
        -9 => "n",
        -6 => "u",
        -3 => "m",
        3 => "k",
        6 => "M",
        9 => "G",
        _ => "",
    }
}

fn digits(value: f64, power: i32, decimals: Option<usize>) -> String {
    match decimals {
        Some(decimals) => format!("{:.decimals$}", value / 10_f64.powi(power)),
        None => value.to_string(),
    }
}

fn symbol(unit: Unit, prefix: &str) -> String {
    match unit {
        Unit::VoltsDc => format!("{prefix}V"),
        Unit::VoltsAc => format!("{prefix}V ac"),
        Unit::Ohms => format!("{prefix}ohm"),
        Unit::AmpsDc => format!("{prefix}A"),
        Unit::Hertz => format!("{prefix}Hz"),
    }
}

/// Power of ten of the prefix, and decimals that show exactly the digits that were typed;
/// no decimals where the size of the last digit is not known.
fn scale(value: f64, digit: f64, unit: Unit) -> (i32, Option<usize>) {
    let exponent = digit.log10().round();
    if !exponent.is_finite() || exponent.abs() > 30.0 {
        return (0, None);
    }
    // Small enough to be exact: the bound is just above.
    #[allow(clippy::cast_possible_truncation, reason = "within -30..=30")]
    let exponent = exponent as i32;
    let lowest = match unit {
        Unit::Ohms | Unit::Hertz => 0,
        // 1.325 V stays volts; 4 mV is millivolts.
        _ if value.abs() >= 0.1 => 0,
        _ => -9,
    };
    let power = (exponent.div_euclid(3) + i32::from(exponent.rem_euclid(3) > 0)) * 3;
    let power = match unit {
        // 38.1 mA rather than 0.0381 A.
        Unit::AmpsDc if value.abs() < 1.0 => power.clamp(-9, 9),
        _ => power.clamp(lowest, 9),
    };
    (power, usize::try_from(power - exponent).ok())
}
