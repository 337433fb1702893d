//! Suspects as the terminal shows them.

use crate::table::{Side, Table, hanging, paragraph};
use bench::digits;
use bench::faults::Sort;
use bench::suspects::{Explained, Next, Partner, Probing, Suspect, Suspects};
use wiring::Circuit;
use wiring::units::{Quantity, rounded};

/// Suspects that are shown without `--all`.
const SHOWN: usize = 8;
/// Suspects that are told in full.
const TOLD: usize = 3;
/// Below this a suspect is not shown without `--all`.
const LEAST: f64 = 0.005;

/// Ohms that are as good as no contact.
const NO_CONTACT_OHMS: f64 = 0.9e9;

/// The whole answer; the caller adds the caution.
pub(crate) fn text(circuit: &Circuit, found: &Suspects, all: bool) -> String {
    let name = circuit.heading.amp.as_deref();
    let mut out = paragraph(name.unwrap_or("An amplifier without a name"), "");
    out.push_str(&paragraph(
        &format!(
            "From {} reading{}, one fault at a time.",
            found.used,
            if found.used == 1 { "" } else { "s" }
        ),
        "",
    ));
    if found.suspects.is_empty() && found.used == 0 {
        out.push_str(&lists(found));
        return out;
    }
    out.push('\n');
    out.push_str(&table(found, all));
    let told_whole = if found.used == 0 { 0 } else { TOLD };
    for (place, suspect) in found.suspects.iter().take(told_whole).enumerate() {
        if suspect.probability < 0.05 && place > 0 {
            break;
        }
        out.push('\n');
        out.push_str(&told(suspect));
    }
    for group in &found.groups {
        let names: Vec<String> = group
            .iter()
            .filter_map(|i| found.suspects.get(*i))
            .map(what)
            .collect();
        out.push('\n');
        out.push_str(&paragraph(
            &format!("These readings do not tell apart: {}.", names.join("; ")),
            "",
        ));
    }
    if found.pairs_weighed > 0 {
        out.push_str(&pairs(found));
    }
    out.push_str(&next(found));
    out.push_str(&lists(found));
    out
}

/// What no meter shows, what was not used, and notes.
fn lists(found: &Suspects) -> String {
    let mut out = String::new();
    if !found.by_ear.is_empty() {
        out.push_str("\nNo meter on the circuit shows these, and what was told points to them\n");
        for row in &found.by_ear {
            out.push_str(&hanging(
                &match row.on {
                    Sort::Any => format!("{}. {}", row.words, row.confirm),
                    on => format!("{} {}. {}", on.words(), row.words, row.confirm),
                },
                "- ",
                "  ",
            ));
        }
    }
    if !found.unused.is_empty() {
        out.push_str("\nNot used\n");
        for unused in &found.unused {
            out.push_str(&hanging(
                &format!("{}: {}", unused.point, unused.why),
                "- ",
                "  ",
            ));
        }
    }
    if !found.notes.is_empty() {
        out.push_str("\nNotes\n");
        for note in &found.notes {
            out.push_str(&hanging(note, "- ", "  "));
        }
    }
    out
}

/// The first suspect in a sentence, or that there is none.
pub(crate) fn short(found: &Suspects) -> String {
    match found.suspects.first() {
        Some(first) if first.probability > found.healthy.max(found.unlisted) => format!(
            "Most likely {} ({}).",
            what(first),
            percent(first.probability)
        ),
        _ if found.healthy >= found.unlisted => format!(
            "Most likely nothing that these readings can show ({}).",
            percent(found.healthy + found.unseen)
        ),
        _ => "No single fault of the list explains the readings.".to_owned(),
    }
}

/// Two faults at once.
fn pairs(found: &Suspects) -> String {
    let together: f64 = found.pairs.iter().map(|p| p.probability).sum();
    let mut out = String::from("\nTwo faults at once\n");
    out.push_str(&paragraph(
        &format!(
            "{} in all beside the single ones, of {} pairs looked at.",
            percent(together),
            found.pairs_weighed
        ),
        "  ",
    ));
    for pair in found.pairs.iter().filter(|p| p.probability >= LEAST) {
        let words = pair.both.each_ref().map(|one| {
            let size = partner_size(one);
            let about = if size.is_empty() {
                String::new()
            } else {
                format!(", about {size}")
            };
            format!("{} {}{about}", one.part, one.words)
        });
        out.push_str(&hanging(
            &format!("{} {}", percent(pair.probability), words.join(", and ")),
            "  ",
            "    ",
        ));
    }
    out
}

/// What to read next, or that it is enough.
fn next(found: &Suspects) -> String {
    let mut out = String::from("\nNext\n");
    match found.probing {
        Probing::SureEnough if found.healthy > 0.5 => out.push_str(&paragraph(
            "These readings show nothing wrong. If the amplifier still misbehaves, read it while it does, or listen.",
            "  ",
        )),
        Probing::SureEnough => out.push_str(&paragraph(
            "Sure enough: confirm the first one and mend it, then read again.",
            "  ",
        )),
        Probing::NothingHelps => out.push_str(&paragraph(
            "No reading that may be proposed would tell more. Listen, look, or try the parts one by one.",
            "  ",
        )),
        Probing::GoOn => {}
    }
    if found.probing == Probing::SureEnough || found.next.is_empty() {
        return out;
    }
    let mut table = Table::new()
        .wrapping("read", 12)
        .wrapping("how", 24)
        .column("bits", Side::Right)
        .column("effort", Side::Right)
        .wrapping("would be", 20);
    let ahead = found.next.iter().any(|n| n.then.is_some());
    if ahead {
        table = table
            .wrapping("then, most likely", 16)
            .column("more bits", Side::Right);
    }
    for n in &found.next {
        let would: Vec<String> = n
            .would
            .iter()
            .map(|w| format!("{} if {}", value(w.value, n.unit), w.suspect))
            .collect();
        let mut row = vec![
            n.probe.clone(),
            how(n),
            format!("{:.2}", n.gain_bits),
            format!("{:.1}", n.effort),
            would.join(", "),
        ];
        if ahead {
            let then = n.then.as_ref();
            row.push(then.map_or_else(String::new, |t| format!("{}, {}", t.probe, t.condition)));
            row.push(then.map_or_else(String::new, |t| format!("{:.2}", t.gain_bits)));
        }
        table.row(row);
    }
    out.push_str(&table.render());
    out
}

fn how(next: &Next) -> String {
    if next.live {
        format!("under power, {}", next.condition)
    } else {
        next.condition.clone()
    }
}

fn what(suspect: &Suspect) -> String {
    format!("{} {}", suspect.part, suspect.words)
}

fn table(found: &Suspects, all: bool) -> String {
    let mut table = Table::new()
        .column("", Side::Right)
        .wrapping("suspect", 30)
        .column("about", Side::Right);
    let mut rows: Vec<(f64, String, String)> = found
        .suspects
        .iter()
        .filter(|s| all || s.probability >= LEAST)
        .take(if all { usize::MAX } else { SHOWN })
        .map(|s| {
            // nothing was read, so nothing says how far it went
            let size = if found.used == 0 {
                String::new()
            } else {
                size(s)
            };
            (s.probability, what(s), size)
        })
        .collect();
    rows.push((found.healthy, "nothing is wrong".to_owned(), String::new()));
    rows.push((
        found.unlisted,
        "something that is not in the list".to_owned(),
        String::new(),
    ));
    rows.sort_by(|a, b| b.0.total_cmp(&a.0));
    for (probability, words, size) in rows {
        table.row([percent(probability), words, size]);
    }
    let mut out = table.render();
    if found.unseen >= 0.01 {
        out.push_str(&paragraph(
            &format!(
                "{} in all are faults that would move none of these readings.",
                percent(found.unseen)
            ),
            "",
        ));
    }
    out
}

fn told(suspect: &Suspect) -> String {
    let mut head = format!("{} ({})", what(suspect), percent(suspect.probability));
    if !size(suspect).is_empty() {
        head.push_str(&format!(", about {}", size(suspect)));
    }
    let mut out = paragraph(&head, "");
    if !suspect.explains.is_empty() {
        let list: Vec<String> = suspect.explains.iter().map(line).collect();
        out.push_str(&hanging(
            &format!("Explains {}.", list.join("; ")),
            "  ",
            "    ",
        ));
    }
    if !suspect.against.is_empty() {
        let list: Vec<String> = suspect.against.iter().map(line).collect();
        out.push_str(&hanging(
            &format!("Does not explain {}.", list.join("; ")),
            "  ",
            "    ",
        ));
    }
    if !suspect.strain.is_empty() {
        out.push_str(&hanging(
            &format!("If it is this: {}.", suspect.strain.join("; ")),
            "  ",
            "    ",
        ));
    }
    out.push_str(&hanging(
        &format!("To make sure: {}", suspect.confirm),
        "  ",
        "    ",
    ));
    out
}

/// `V1.6 163 V (sound 187, with this fault 164)`.
fn line(e: &Explained) -> String {
    format!(
        "{} {} (sound {}, with this {})",
        e.point,
        value(e.read, e.unit),
        value(e.sound, e.unit),
        value(e.expected, e.unit)
    )
}

/// A value in its unit, as a meter shows it.
pub(crate) fn value(x: f64, unit: &str) -> String {
    match unit {
        "ohm" if x >= 1.9e7 => "over range".to_owned(),
        "ohm" => rounded(x, Quantity::Ohms, 3),
        "Hz" if x == 0.0 => "stands still".to_owned(),
        "Hz" => format!("{x:.1} Hz"),
        _ => format!("{} {unit}", digits::volts(x)),
    }
}

/// How far the fault went, where that is known.
pub(crate) fn size(suspect: &Suspect) -> String {
    sized(suspect.severity, suspect.measure)
}

/// How far one of two faults went.
pub(crate) fn partner_size(one: &Partner) -> String {
    sized(one.severity, one.measure)
}

fn sized(severity: Option<f64>, measure: &str) -> String {
    match (severity, measure) {
        (Some(x), "ohm") if x >= NO_CONTACT_OHMS => String::new(),
        (Some(x), "times") if x < 0.01 => "next to nothing".to_owned(),
        (Some(x), "ohm") => format!("{} ohm", rounded(x, Quantity::Ohms, 2)),
        (Some(x), "times") => format!("x {}", digits::volts(x)),
        (Some(x), "A") => format!("{} uA", digits::volts(x * 1e6)),
        _ => String::new(),
    }
}

/// A chance, to the whole percent.
pub(crate) fn percent(p: f64) -> String {
    if p >= 0.995 {
        "99+ %".to_owned()
    } else if p < 0.005 {
        "<1 %".to_owned()
    } else {
        format!("{:.0} %", 100.0 * p)
    }
}
