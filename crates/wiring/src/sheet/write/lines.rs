//! Keys and values as lines of TOML that are no wider than a page.

use super::super::types::Origin;

/// Columns that lines fit where words allow it.
pub(super) const WIDTH: usize = 80;

/// A TOML string.
pub(super) fn text(s: &str) -> String {
    toml::Value::String(s.to_owned()).to_string()
}

/// `key = "..."`; a long text goes on in the next lines, each break behind a backslash, which TOML takes out again.
pub(super) fn words(key: &str, s: &str) -> String {
    // Ahead of the text may stand four spaces, behind it `,` and the ends of a row.
    const ROOM: usize = WIDTH - 8;
    let short = format!("{key} = {}", text(s));
    if short.chars().count() <= ROOM && !short.contains('\n') {
        return short;
    }
    let mut out = format!("{key} = \"\"\"\\\n      ");
    let mut line = 6;
    for word in escaped(s).split_inclusive(|unit| unit == " ") {
        let width: usize = word.iter().map(|unit| unit.chars().count()).sum();
        let mut full = line > 6 && line + width > ROOM;
        for unit in word {
            // A word longer than a line is broken too.
            if (full || line + unit.chars().count() > ROOM) && unit != " " {
                out += "\\\n      ";
                line = 6;
            }
            full = false;
            out += unit;
            line += unit.chars().count();
        }
    }
    out + "\"\"\""
}

/// What stands between quotes of a TOML string, sign by sign: by an escape quotes, backslashes, what is no letter or
/// sign, and a space that nothing stands before, which a break would take out.
fn escaped(s: &str) -> Vec<String> {
    let mut before = ' ';
    s.chars()
        .map(|c| {
            let unit = match c {
                '"' | '\\' => format!("\\{c}"),
                ' ' if before == ' ' => "\\u0020".to_owned(),
                c if c.is_control() => format!("\\u{:04X}", u32::from(c)),
                c => c.to_string(),
            };
            before = c;
            unit
        })
        .collect()
}

/// A number without the digits that a change of unit added.
pub(super) fn figure(value: f64) -> String {
    let short: f64 = format!("{value:.11e}").parse().unwrap_or(value);
    let plain = format!("{short}");
    if short != 0.0 && !(1e-4..1e7).contains(&short.abs()) {
        // Rust writes all zeros out.
        let science = format!("{short:e}");
        return if science.contains('.') {
            science
        } else {
            science.replace('e', ".0e")
        };
    }
    plain
}

/// Items behind `head`, wrapped at 80 columns, `tail` behind the last.
pub(super) fn wrapped(head: &str, items: &[String], tail: &str, indent: &str) -> String {
    let mut out = String::new();
    let mut line = head.to_owned();
    for (i, item) in items.iter().enumerate() {
        let last = i + 1 == items.len();
        let piece = if last {
            format!("{item}{tail}")
        } else {
            format!("{item},")
        };
        let begun = line.trim_end().len() > indent.len();
        let space = if i == 0 || !begun { "" } else { " " };
        let first = piece.split('\n').next().unwrap_or_default();
        // Behind the last item of an array a comma may have to follow.
        let room = WIDTH.saturating_sub(1);
        if i > 0 && line.chars().count() + space.len() + first.chars().count() > room {
            out += line.trim_end();
            out.push('\n');
            line = format!("{indent}{piece}");
        } else {
            line += space;
            line += &piece;
        }
        if let Some((above, rest)) = line.rsplit_once('\n') {
            out += above;
            out.push('\n');
            line = rest.to_owned();
        }
    }
    if items.is_empty() {
        line += tail.trim_start();
    }
    out + line.trim_end() + "\n"
}

pub(super) type Pairs = Vec<String>;

/// `name = [ { ... }, ... ]`; nothing where there are no rows.
pub(super) fn list(name: &str, rows: impl Iterator<Item = Pairs>) -> String {
    let rows: Vec<String> = rows
        .map(|pairs| {
            let row = wrapped("  { ", &pairs, " }", "    ");
            format!("{},\n", row.trim_end())
        })
        .collect();
    if rows.is_empty() {
        String::new()
    } else {
        format!("{name} = [\n{}]\n", rows.concat())
    }
}

pub(super) fn pair(key: &str, value: f64) -> String {
    format!("{key} = {}", figure(value))
}

/// Adds `key = value` for every value that is there, times a factor.
pub(super) fn add(pairs: &mut Pairs, list: &[(&str, Option<f64>, f64)]) {
    for (key, value, factor) in list {
        if let Some(value) = value {
            pairs.push(pair(key, value * factor));
        }
    }
}

pub(super) fn add_text(pairs: &mut Pairs, key: &str, value: Option<&str>) {
    if let Some(value) = value {
        pairs.push(words(key, value));
    }
}

pub(super) fn add_section(pairs: &mut Pairs, section: Option<char>) {
    if let Some(letter) = section {
        pairs.push(format!("section = \"{letter}\""));
    }
}

pub(super) fn add_origin(pairs: &mut Pairs, origin: &Origin) {
    add_text(pairs, "confidence", Some(origin.confidence.word()));
    add_text(pairs, "source", Some(&origin.sources.join(", ")));
}
