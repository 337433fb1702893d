//! Kin: how near an amplifier is to a drawing, part by part and block by block.
//!
//! Two wirings are laid on each other by what is joined to what; names of parts and points are not
//! looked at. Sockets and sections may be swapped, the ends of a resistor exchanged, one part made
//! of several. The result is the shortest list of edits that was found: a value or a type changed,
//! an end moved, a part added or taken out. That it is the shortest is not proved.
//!
//! Pure: no files, no clock; what is drawn at random has a fixed seed. No volts are computed.

mod blocks;
mod combine;
mod cost;
mod graph;
mod lines;
mod matching;
mod needed;
mod search;
mod sense;
mod words;

use graph::Graph;
use lines::{Laid, Row};
use search::Search;
use serde::Serialize;
use wiring::Circuit;
use wiring::roles::anatomy;
use wiring::sheet::Library;

pub use blocks::{BlockKin, BlockVerdict, Patch};
pub use needed::Needed;

/// Below this score a drawing is no kin: it is of another amplifier, or shows next to nothing.
/// Our own choice; docs/kin.md gives the scores of amplifiers that have nothing to do with each other.
pub const LEAST_SCORE: f64 = 0.65;

/// Fewer parts on either side than this say nothing about kinship.
const LEAST_PARTS: usize = 3;

/// A drawing to hold an amplifier against.
#[derive(Debug, Clone, Copy)]
pub struct Drawing<'a> {
    /// What to call it.
    pub name: &'a str,
    /// What it shows.
    pub circuit: &'a Circuit,
}

/// How an amplifier stands to each of several drawings, and to all of them together.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Kin {
    /// In the order given.
    pub drawings: Vec<DrawingKin>,
    /// Which region of the amp follows which drawing; empty where no drawing is kin.
    pub patchwork: Vec<Patch>,
}

/// One drawing.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DrawingKin {
    /// What it is called.
    pub name: String,
    /// It is a drawing of this sort of amplifier, as far as it goes.
    pub kin: bool,
    /// Why not.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
    /// 0 to 1; 1 where nothing differs. What a partial drawing does not show, or the tracing has
    /// not reached, is left out.
    pub score: f64,
    /// It lacks the output stage, the high tension or the mains side, which the amp has.
    pub partial: bool,
    /// Parts that are the same.
    pub same: usize,
    /// Parts of another value or type, in or out of tolerance.
    pub value_changed: usize,
    /// Of these, how many are within the drawing's tolerance.
    pub in_tolerance: usize,
    /// Parts with an end elsewhere.
    pub rewired: usize,
    /// Parts on the drawing only.
    pub missing: usize,
    /// Parts in the amp only.
    pub added: usize,
    /// Each part of either side.
    pub pairs: Vec<Line>,
    /// The amp's blocks, then those that only the drawing has.
    pub blocks: Vec<BlockKin>,
    /// Edits that would make the amp as drawn.
    pub edits: usize,
}

/// How a part stands to the drawing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Status {
    /// As drawn, as far as both are known.
    Same,
    /// Another value, within the drawing's tolerance.
    Inside,
    /// Another value.
    Value,
    /// Another type.
    Type,
    /// An end goes elsewhere; perhaps the value differs too.
    Rewired,
    /// On the drawing only.
    Missing,
    /// In the amp only.
    Added,
}

/// One part of either side.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Line {
    /// The amp's part, several where they stand for one.
    pub found: Option<String>,
    /// The drawing's.
    pub drawing: Option<String>,
    /// How they stand to each other.
    pub status: Status,
    /// The same in words.
    pub what: String,
    /// Ends that go elsewhere.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub moved: Vec<Moved>,
    /// What each has where value or type differ: the amp's, the drawing's.
    #[serde(skip)]
    pub values: Option<(String, String)>,
    #[serde(skip)]
    ends: usize,
    /// What would make it as drawn.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub steps: Vec<Step>,
}

/// One end that goes elsewhere.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Moved {
    /// Which end.
    pub end: String,
    /// Where it is in the amp.
    pub here: String,
    /// Where it is on the drawing, by the amp's name for the place where it has one.
    pub there: String,
}

/// What is done to a part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum StepKind {
    /// Another value.
    ChangeValue,
    /// Another type.
    ChangeType,
    /// An end is moved.
    MoveEnd,
    /// A part is added.
    Fit,
    /// A part is taken out.
    TakeOut,
}

/// One step toward the drawing.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Step {
    /// What sort.
    pub kind: StepKind,
    /// The part.
    pub part: String,
    /// What to do.
    pub words: String,
    /// How many edits it counts for; a part wired anew counts as taken out and fitted.
    pub edits: usize,
}

/// Holds an amplifier against drawings.
///
/// Always answers: an empty or unlike drawing is told as no kin, with the reason. The cost grows
/// with the product of both part counts.
#[must_use]
pub fn kin(amp: &Circuit, library: &Library, drawings: &[Drawing<'_>]) -> Kin {
    let mut told = Vec::new();
    let mut regions = Vec::new();
    for drawing in drawings {
        let (result, found) = against(amp, library, drawing);
        regions.push((result.kin, found));
        told.push(result);
    }
    Kin {
        patchwork: blocks::patchwork(&told, &regions),
        drawings: told,
    }
}

fn against(
    amp: &Circuit,
    library: &Library,
    drawing: &Drawing<'_>,
) -> (DrawingKin, Vec<blocks::Region>) {
    let (a, b) = (Graph::of(amp, library), Graph::of(drawing.circuit, library));
    let mut m = Search::best(&a, &b);
    let combined = combine::find(&a, &b, &mut m);
    let laid = Laid {
        amp,
        drawing: drawing.circuit,
        a,
        b,
        m,
        combined,
    };
    let mut rows = laid.rows();
    let both = [anatomy(amp), anatomy(drawing.circuit)];
    sense::tell(&laid, &both, &mut rows);
    let found = blocks::compare(&both, &laid, &rows);
    let score = score(&rows, &found);
    let count = |is: &dyn Fn(Status) -> bool| rows.iter().filter(|r| is(r.line.status)).count();
    let few = |c: &Graph| c.things.len() < LEAST_PARTS;
    let why = if few(&laid.b) {
        Some("it shows next to nothing: fewer than three wired parts".to_owned())
    } else if few(&laid.a) {
        Some("the amp's wiring has fewer than three wired parts".to_owned())
    } else if score < LEAST_SCORE {
        Some("too little is joined alike; it looks like a drawing of another amplifier".to_owned())
    } else {
        None
    };
    let edits = rows
        .iter()
        .flat_map(|r| &r.line.steps)
        .map(|s| s.edits)
        .sum();
    let result = DrawingKin {
        name: drawing.name.to_owned(),
        kin: why.is_none(),
        why,
        score,
        partial: found.partial,
        same: count(&|s| s == Status::Same),
        value_changed: count(&|s| matches!(s, Status::Inside | Status::Value | Status::Type)),
        in_tolerance: count(&|s| s == Status::Inside),
        rewired: count(&|s| s == Status::Rewired),
        missing: count(&|s| s == Status::Missing),
        added: count(&|s| s == Status::Added),
        edits,
        pairs: rows.into_iter().map(|r| r.line).collect(),
        blocks: found.blocks,
    };
    (result, found.regions)
}

/// Share of what both show that is alike; the weights are our own choice.
fn score(rows: &[Row], found: &blocks::Compared) -> f64 {
    let (mut alike, mut all) = (0.0, 0.0);
    for row in rows {
        let weight = match row.line.status {
            Status::Missing if row.there.iter().all(|p| found.untraced.contains(p)) => continue,
            Status::Added if row.here.iter().all(|p| found.unshown.contains(p)) => continue,
            Status::Missing | Status::Added => {
                all += 1.0;
                continue;
            }
            Status::Same => 1.0,
            Status::Inside => 0.95,
            Status::Value => 0.6,
            Status::Type => 0.5,
            Status::Rewired => {
                0.5 - 0.4 * (row.line.moved.len() as f64 / row.line.ends.max(1) as f64).min(1.0)
            }
        };
        all += 2.0;
        alike += 2.0 * weight;
    }
    if all > 0.0 { alike / all } else { 0.0 }
}

#[cfg(test)]
mod tests;
