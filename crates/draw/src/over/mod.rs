//! What is laid over a drawing without moving anything in it: volts at points, verdicts, what is
//! known of parts.
//!
//! Knows no volts: it takes texts and marks per point and per part, finds a free place for each
//! and draws them. Nothing is said by colour alone: a verdict has its sign (a dot in brackets, on
//! the bracket, beyond it) and its letter, a part's mark has its word and its own line. A text that finds no
//! place on the page is handed back, never dropped.

mod place;
mod ring;
mod svg;

pub use place::{Flagged, Laid, Marked, Room, faults, lay};
pub use ring::Stroke;
pub use svg::{Hues, group, group_of, onto};

use wiring::circuit::{NodeId, PartId};

/// How a reading stands to what is expected.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    /// Only expected, nothing read.
    Expected,
    /// Read, nothing to hold it against.
    Read,
    /// Inside the band.
    Inside,
    /// On the edge of it; `true`: the upper edge.
    Doubtful(bool),
    /// Beyond it; `true`: above.
    Outside(bool),
}

impl Standing {
    /// In a word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Expected => "expected",
            Self::Read => "read",
            Self::Inside => "inside",
            Self::Doubtful(false) => "doubtful, low",
            Self::Doubtful(true) => "doubtful, high",
            Self::Outside(false) => "outside, low",
            Self::Outside(true) => "outside, high",
        }
    }
    /// The letters beside the sign of a verdict: `in`, `L` low, `H` high; a doubtful one asks, `L?`.
    #[must_use]
    pub const fn letter(self) -> Option<&'static str> {
        match self {
            Self::Expected | Self::Read => None,
            Self::Inside => Some("in"),
            Self::Doubtful(false) => Some("L?"),
            Self::Doubtful(true) => Some("H?"),
            Self::Outside(false) => Some("L"),
            Self::Outside(true) => Some("H"),
        }
    }
}

/// A text at a point.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Flag {
    /// Which point.
    pub node: NodeId,
    /// Its name as the chart lists it.
    pub point: String,
    /// What was read, as shown; empty where nothing was.
    pub read: String,
    /// What is expected, as shown; empty where nothing is.
    pub expected: String,
    /// How the one stands to the other.
    pub standing: Standing,
}

/// What is known of a part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum MarkSort {
    /// Something is thought to be wrong with it.
    Suspect,
    /// Its verdict is that it goes.
    Replace,
    /// Wired otherwise than in another wiring it is held against.
    Rewired,
    /// On this side only of two wirings.
    Alone,
    /// Another value or type than on the other side.
    Differs,
    /// Strained beyond what it is rated for.
    Stress,
    /// Inside its rating, above what the trade allows of it.
    Hot,
    /// Its verdict is to be looked at again.
    Watch,
    /// Fits no pattern of the trade; traced right?
    Odd,
    /// Fitted later: in place of another, or where nothing was.
    Later,
    /// Copied from a drawing, not yet seen.
    Assumed,
    /// Its verdict is that it stays.
    Keep,
}

/// A mark at a part.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mark {
    /// Which part.
    pub part: PartId,
    /// What sort of mark.
    pub sort: MarkSort,
    /// Its words: `replaced`, `42 %`, `118 % of 1 W`.
    pub text: String,
}

/// Everything that is laid over a drawing.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Overlay {
    /// Texts at points.
    pub flags: Vec<Flag>,
    /// Marks at parts.
    pub marks: Vec<Mark>,
    /// The point under the hand.
    pub here: Option<NodeId>,
}

/// The list of parts that fit no pattern, as marks.
#[must_use]
pub fn odd(anatomy: &wiring::roles::Anatomy) -> Vec<Mark> {
    anatomy
        .unplaced
        .iter()
        .map(|part| Mark {
            part: *part,
            sort: MarkSort::Odd,
            text: "no pattern".to_owned(),
        })
        .collect()
}

/// What the wiring itself knows of its parts: history, verdict, what is only assumed.
#[must_use]
pub fn known(circuit: &wiring::Circuit) -> Vec<Mark> {
    use wiring::circuit::{History, Verdict};
    let mut out = Vec::new();
    for (i, part) in circuit.parts.iter().enumerate() {
        let mut add = |sort, text: &str| {
            out.push(Mark {
                part: PartId(i),
                sort,
                text: text.to_owned(),
            });
        };
        match part.known.verdict {
            Some(Verdict::Replace) => add(MarkSort::Replace, "replace"),
            Some(Verdict::Watch) => add(MarkSort::Watch, "watch"),
            Some(Verdict::Keep) => add(MarkSort::Keep, "keep"),
            None => {}
        }
        match part.known.history {
            Some(History::Replaced) => add(MarkSort::Later, "replaced"),
            Some(History::Added) => add(MarkSort::Later, "added"),
            Some(History::Original | History::Removed) | None => {}
        }
        if part.assumed || part.known.assumed {
            add(MarkSort::Assumed, "not seen");
        }
    }
    out
}
