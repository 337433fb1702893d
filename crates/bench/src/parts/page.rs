//! The verdicts as a sheet.

use super::{Judged, Parts};
use crate::sheet::{Expected, Figure, Line, Origin, capital};
use crate::stress::Stress;
use wiring::circuit::Verdict;

pub(super) fn fill(parts: &mut Parts, worked: &Stress, this_year: Option<u16>) {
    let lines = |verdict: Verdict| -> Vec<Line> {
        let of = parts.parts.iter().filter(|p| p.verdict() == verdict);
        of.map(one).collect()
    };
    let (replace, watch, keep) = (lines(Verdict::Replace), lines(Verdict::Watch), kept(parts));
    let original = original(parts);
    let sheet = &mut parts.sheet;
    crate::powered::say_mains(sheet, worked.mains_volts, &worked.wall);
    for missing in &worked.sheet.missing {
        sheet.missing(missing.what.clone(), missing.remedy.clone());
    }
    sheet.section("How much is as made", vec![original]);
    sheet.section("Replace", replace);
    sheet.section("Watch", watch);
    sheet.section("Keep: nothing speaks against them", keep);
    sheet.note("A proposal, until you decide: a verdict in the wiring (keep, watch, replace) counts, and the proposal stands beside it.");
    sheet.note(if worked.drives.is_empty() {
        "Strain is that at rest, of the highest mains and of a cold start; full drive is not in these figures."
    } else {
        "Strain is the worst of rest, highest mains, cold start and full drive."
    });
    sheet.note("What a drift moves is to first order: a direction and a size. Ratings to order are the least that would do.");
    if this_year.is_none() {
        sheet.note("Without the year it is (`--year`), date codes and ages were not read.");
    }
    if parts.parts.is_empty() {
        parts.sheet.missing(
            "No part is traced or named yet.",
            "Type the parts, each with what it is: `R4 100k carbon original`.",
        );
    }
}

fn word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Keep => "keep",
        Verdict::Watch => "watch",
        Verdict::Replace => "replace",
    }
}

fn one(p: &Judged) -> Line {
    let what = if p.role.is_empty() {
        "role not traced".to_owned()
    } else {
        p.role.clone()
    };
    let heaviest = p.hits.iter().find(|h| h.verdict == p.proposed);
    let origin = heaviest.map_or_else(Origin::practice, |h| h.origin.clone());
    let mut line = Line::told(what, origin).at(p.part.clone());
    if let Some(marked) = p.marked {
        line = line.expecting(Expected::value(marked, p.unit));
    }
    if let Some(read) = p.read {
        line = line.showing(Figure::new(read, p.unit));
    }
    if let Some(given) = p.given.filter(|g| *g != p.proposed) {
        line = line.because(format!(
            "Yours: {}; proposed: {}.",
            word(given),
            word(p.proposed)
        ));
    }
    for hit in p.hits.iter().filter(|h| h.verdict != Verdict::Keep) {
        line = line.because(format!("{}.", capital(&hit.says)));
    }
    if let Some(era) = &p.era {
        line = line.because(format!("Code: {era}."));
    }
    if let Some(moves) = p.moves.as_ref().and_then(super::Moves::words) {
        line = line.because(format!("{moves}."));
    }
    if let Some(fails) = p.fails.first() {
        line = line.because(format!("If it fails: {fails}."));
    }
    if p.verdict() != Verdict::Keep
        && let Some(new) = &p.replacement
    {
        let note = new
            .note
            .as_ref()
            .map_or(String::new(), |n| format!(" ({n})"));
        line = line.because(format!("Fit {}{note}.", new.words));
    }
    if let Some(gains) = &p.gains {
        line = line.because(format!("That brings {gains}."));
    }
    line
}

/// Parts of one role in one line.
fn kept(parts: &Parts) -> Vec<Line> {
    let mut groups: Vec<(&str, Vec<&Judged>)> = Vec::new();
    for p in parts.parts.iter().filter(|p| p.verdict() == Verdict::Keep) {
        let role = if p.role.is_empty() {
            "role not traced"
        } else {
            p.role.as_str()
        };
        match groups.iter_mut().find(|(r, _)| *r == role) {
            Some((_, all)) => all.push(p),
            None => groups.push((role, vec![p])),
        }
    }
    groups
        .into_iter()
        .map(|(role, all)| {
            let names: Vec<&str> = all.iter().map(|p| p.part.as_str()).collect();
            let mut line = Line::told(role, Origin::practice()).at(names.join(" "));
            let against: Vec<String> = all
                .iter()
                .filter(|p| p.given.is_some() && p.proposed != Verdict::Keep)
                .map(|p| format!("{} was proposed to {}", p.part, word(p.proposed)))
                .collect();
            if !against.is_empty() {
                line = line.because(format!("Yours: keep; {}.", against.join("; ")));
            }
            line
        })
        .collect()
}

fn original(parts: &Parts) -> Line {
    let n = parts.original;
    Line::told("original", Origin::computed("counted from what was typed"))
        .expecting(Expected::value(n.original as f64, "parts"))
        .because(format!(
            "Of {} in the circuit; {} fitted later in place of another, {} added, of {} nobody said. {} original to go by the verdicts as they stand.",
            n.all, n.replaced, n.added, n.not_said, n.original_to_go
        ))
}
