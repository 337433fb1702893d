//! Differences of two wirings as marks on their drawings: a word and a line of its own for each sort.

use bench::kin::{BlockVerdict, DrawingKin, Status};
use draw::over::{Mark, MarkSort};
use wiring::Circuit;

/// What the lines round the parts mean.
pub(crate) const LINES: &str = "Plain line: on this side only. Dashes: another value or type. Dash and dot: an end goes elsewhere.";

/// Which of the two is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Side {
    /// The amp.
    Found,
    /// The drawing it is held against.
    Drawn,
}

/// The marks of one side. What a partial drawing does not show at all has none.
pub(crate) fn marks(circuit: &Circuit, kin: &DrawingKin, side: Side) -> Vec<Mark> {
    let apart = |verdict: BlockVerdict| {
        let blocks = kin.blocks.iter().filter(move |b| b.verdict == verdict);
        blocks.flat_map(|b| b.parts.iter())
    };
    let unshown: Vec<&String> = match (kin.partial, side) {
        (true, Side::Found) => apart(BlockVerdict::OnlyHere).collect(),
        (true, Side::Drawn) => apart(BlockVerdict::OnlyThere).collect(),
        (false, _) => Vec::new(),
    };
    let mut marks = Vec::new();
    for line in &kin.pairs {
        let Some(names) = (match side {
            Side::Found => line.found.as_ref(),
            Side::Drawn => line.drawing.as_ref(),
        }) else {
            continue;
        };
        let other = line.values.as_ref().map(|(here, there)| match side {
            Side::Found => format!("{there} drawn"),
            Side::Drawn => format!("{here} here"),
        });
        let (sort, text) = match line.status {
            Status::Same | Status::Inside => continue,
            Status::Value => (
                MarkSort::Differs,
                other.unwrap_or_else(|| "other value".to_owned()),
            ),
            Status::Type => (
                MarkSort::Differs,
                other.unwrap_or_else(|| "other type".to_owned()),
            ),
            Status::Rewired => (
                MarkSort::Rewired,
                match other {
                    Some(other) => format!("moved, {other}"),
                    None => "moved".to_owned(),
                },
            ),
            Status::Added => (MarkSort::Alone, "only here".to_owned()),
            Status::Missing => (MarkSort::Alone, "only drawn".to_owned()),
        };
        for name in names.split(", ") {
            if line.status >= Status::Missing && unshown.iter().any(|u| *u == name) {
                continue;
            }
            marks.extend(circuit.part(name).map(|part| Mark {
                part,
                sort,
                text: text.clone(),
            }));
        }
    }
    marks
}
