//! Readings pinned to the drawing at their points, and what was decided of parts beside them.

use super::work_out::{PAGE, Traced};
use crate::commands::chart::rows;
use crate::picture::among_others;
use bench::chart::Chart;
use draw::over::{Hues, Laid, Mark, MarkSort, Overlay, group, lay, onto};
use shop::{Verdict, VerdictGiven};
use wiring::PartId;

/// The page's own colours, by day and by lamp.
const HUES: Hues = Hues {
    base: PAGE,
    act: "var(--act)",
    band_edge: "var(--band-edge)",
    doubt: "var(--doubt)",
    out: "var(--out)",
    on_out: "var(--on-out)",
};

/// What was read of a chart, each at its point, and the point under the hand.
pub(crate) fn readings(traced: &Traced, chart: &Chart, here: &str) -> Overlay {
    let circuit = &traced.circuit;
    let flags = chart
        .points
        .iter()
        .filter_map(|line| rows::flag(line, circuit.node(&line.point)?, true, false))
        .collect();
    Overlay {
        flags,
        marks: Vec::new(),
        here: circuit.node(here),
    }
}

/// What was decided of the parts; what is kept needs no mark.
pub(crate) fn verdicts(traced: &Traced, given: &[VerdictGiven]) -> Overlay {
    let marks = traced
        .circuit
        .parts
        .iter()
        .enumerate()
        .filter_map(|(i, part)| {
            let sort = match given.iter().find(|g| g.part == part.name)?.verdict {
                Verdict::Replace => MarkSort::Replace,
                Verdict::Watch => MarkSort::Watch,
                Verdict::Keep => return None,
            };
            let text = if sort == MarkSort::Replace {
                "replace"
            } else {
                "watch"
            };
            Some(Mark {
                part: PartId(i),
                sort,
                text: text.to_owned(),
            })
        })
        .collect();
    Overlay {
        marks,
        ..Overlay::default()
    }
}

/// The drawing with everything laid over it, and in words what found no place.
pub(crate) fn pinned(traced: &Traced, overlay: &Overlay) -> Option<(String, String)> {
    let drawn = traced.drawn()?;
    let laid = lay(&drawn.room, overlay);
    Some((onto(&drawn.picture, &group(&laid, HUES)), beside(&laid)))
}

/// The same for a page with two drawings: ids are left out, so that none stands twice.
pub(crate) fn beside_another(
    traced: &Traced,
    overlay: &Overlay,
    label: &str,
) -> Option<(String, String)> {
    let drawn = traced.drawn()?;
    let laid = lay(&drawn.room, overlay);
    let mut left = beside(&laid);
    let names: Vec<String> = laid
        .left_marks
        .iter()
        .filter_map(|m| {
            let part = traced.circuit.parts.get(m.part.0)?;
            Some(format!("{} {}", part.name, m.text))
        })
        .collect();
    if !names.is_empty() {
        if !left.is_empty() {
            left.push(' ');
        }
        left.push_str(&format!("No room on the drawing: {}.", names.join("; ")));
    }
    let picture = onto(&drawn.picture, &group(&laid, HUES));
    Some((among_others(&picture, label), left))
}

fn beside(laid: &Laid) -> String {
    let left: Vec<String> = laid
        .left
        .iter()
        .map(|f| format!("{} {}", f.point, f.read))
        .collect();
    if left.is_empty() {
        String::new()
    } else {
        format!("No room on the drawing: {}.", left.join(", "))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use bench::chart::{ChartRequest, chart};
    use wiring::roles::anatomy;

    fn traced(text: &str) -> Traced {
        let circuit = wiring::read_one(text).circuit;
        Traced {
            anatomy: anatomy(&circuit),
            circuit,
            text: text.to_owned(),
            ..Traced::default()
        }
    }

    #[test]
    fn a_reading_stands_at_its_point_and_nothing_moves() {
        let traced = traced(
            "V1 12AX7\nPS1 supply 262 V 1 ohm\nB3 - +PS1 - ground\nV1.2 - R1 1M - ground\n\
             V1.1 - R4 100k - B3\nV1.3 - [R5 1k5 | +C1 25u 25V] - ground\n\
             readings as found\nV1.1 121\nB3 262\n",
        );
        let library = wiring::sheet::Library::built_in();
        let chart = chart(&traced.circuit, library, &ChartRequest::default());
        let (picture, beside) = pinned(&traced, &readings(&traced, &chart, "V1.3")).unwrap();
        let flag = |point: &str| format!("id=\"flag-{}\"", draw::svg::id(point));
        assert!(picture.contains(&flag("V1.1")) && picture.contains("outside, low"));
        assert!(picture.contains(&flag("B3")) && picture.contains("id=\"here\""));
        assert!(!picture.contains(&flag("V1.3")), "not read");
        assert_eq!(beside, "");
        let bare = &traced.drawn().unwrap().picture;
        assert!(picture.starts_with(bare.trim_end().trim_end_matches("</svg>")));
    }
}
