//! Marks of strain on a drawing: what is worked beyond its rating, or beyond what the trade allows of it.

use crate::amp::Amp;
use bench::stress::Verdict as Strain;
use draw::over::{Mark, MarkSort};
use std::collections::BTreeSet;

/// A figure in three digits: `0.62`, `1.5`, `470`.
fn brief(value: f64) -> String {
    let digits = match value.abs() {
        v if v >= 100.0 => 0,
        v if v >= 10.0 => 1,
        _ => 2,
    };
    let text = format!("{value:.digits$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

/// Parts worked too hard, the worst figure of each; and how many could not be held against a rating.
pub(super) fn marks(amp: &Amp, block: Option<String>) -> (Vec<Mark>, Vec<String>) {
    let asked = bench::Asked {
        block,
        ..bench::Asked::default()
    };
    let found = bench::stress::stress(&amp.circuit, &amp.library, &asked);
    let mut worn: Vec<Mark> = Vec::new();
    let (mut fit, mut unknown) = (BTreeSet::new(), BTreeSet::new());
    for row in &found.parts {
        let Some(part) = amp.circuit.part_or_valve(&row.part) else {
            continue;
        };
        let (sort, word) = match row.verdict {
            Strain::Over => (MarkSort::Stress, ""),
            Strain::Hot => (MarkSort::Hot, "hot, "),
            Strain::OverSheetAsMade => (MarkSort::Hot, "as made, "),
            Strain::Unknown => {
                unknown.insert(part);
                continue;
            }
            Strain::Fits => {
                fit.insert(part);
                continue;
            }
        };
        // Worst first: a part's later rows are milder.
        let marked = worn.iter().any(|m| m.part == part);
        if let (false, Some(ratio), Some(rating)) = (marked, row.ratio, row.rating) {
            let text = format!(
                "{word}{:.0} % of {} {}",
                ratio * 100.0,
                brief(rating),
                row.quantity.unit()
            );
            worn.push(Mark { part, sort, text });
        }
    }
    let count = |n: usize| match n {
        1 => "1 part".to_owned(),
        n => format!("{n} parts"),
    };
    let mut said = Vec::new();
    if found.parts.is_empty() {
        said.push("No part's strain could be worked out; `stress` says why.".to_owned());
    } else if worn.is_empty() {
        said.push(format!(
            "No part is worked beyond its rating, of {} whose rating is known.",
            count(fit.len())
        ));
    }
    unknown.retain(|id| !fit.contains(id) && worn.iter().all(|m| m.part != *id));
    if !unknown.is_empty() {
        said.push(format!(
            "Rating not known: {}; `stress` says what each would need.",
            count(unknown.len())
        ));
    }
    (worn, said)
}
