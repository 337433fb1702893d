//! A verdict for every part: keep, watch or replace, with what it rests on.
//!
//! Each part has what it is there for, what was marked and read, how hard it is worked, the rules
//! that speak of it, what its drift moves in this amplifier, what its failure takes with it, and
//! the part that would replace it, whose ratings are never below what was computed. A proposal
//! is no decision: the technician's own verdict stands beside it and counts. What nobody read is
//! not judged by a guess; a part is kept unless something speaks against it.

mod fails;
mod fit;
mod judge;
mod limits;
mod moves;
mod page;

pub use fit::Replacement;
pub use judge::Hit;
pub use moves::Moves;

use crate::chart::points::natural;
use crate::powered::{Asked, Powered, block, conditions, head};
use crate::sheet::Sheet;
use crate::stress::{Strained, Stress, strained, stress};
use crate::surge::surge;
use serde::Serialize;
use wiring::circuit::{Circuit, History, Kind, MeasuredValue, Part, PartId, Verdict};
use wiring::roles::{Anatomy, Role, anatomy};
use wiring::sheet::Library;

/// What is asked.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct PartsRequest {
    /// Conditions of the figures.
    pub asked: Asked,
    /// The year it is; none: date codes and ages are not read.
    pub this_year: Option<u16>,
}

/// Every part with its verdict.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Parts {
    /// The parts: replace first, then watch, then keep, each in order of their names.
    pub parts: Vec<Judged>,
    /// How much of the amplifier is as made.
    pub original: Originality,
    /// The sheet.
    #[serde(flatten)]
    pub sheet: Sheet,
}

/// One part.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Judged {
    /// The part.
    pub part: String,
    /// What it does, in words; empty where that is not traced.
    pub role: String,
    /// Marked value, in `unit`.
    pub marked: Option<f64>,
    /// Value read on the part, in `unit`.
    pub read: Option<f64>,
    /// `ohm`, `F`, `H` or nothing.
    pub unit: &'static str,
    /// How far what was read is off the marking, per cent.
    pub off_percent: Option<f64>,
    /// As made, fitted later, or not said.
    pub history: Option<History>,
    /// What its date code says.
    pub era: Option<String>,
    /// Rules that speak of it.
    pub hits: Vec<Hit>,
    /// How hard it is worked, worst first.
    pub stress: Vec<Strained>,
    /// What its drift moves.
    pub moves: Option<Moves>,
    /// What happens when it fails, in words, from the solved circuit and the dictionary of faults.
    pub fails: Vec<String>,
    /// Proposed.
    pub proposed: Verdict,
    /// The technician's verdict in the wiring; it counts.
    pub given: Option<Verdict>,
    /// What would replace it; none where nothing is known to order.
    pub replacement: Option<Replacement>,
    /// What a new one changes, in words; none where nothing computed changes.
    pub gains: Option<String>,
}

/// How much of the amplifier is as made.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
pub struct Originality {
    /// Parts in the circuit.
    pub all: usize,
    /// Said to be original.
    pub original: usize,
    /// Fitted later in place of another.
    pub replaced: usize,
    /// Fitted later where nothing was.
    pub added: usize,
    /// Nobody said.
    pub not_said: usize,
    /// Original, and to be replaced by the verdicts as they stand.
    pub original_to_go: usize,
}

/// Judges every part of a wiring.
#[must_use]
pub fn parts(circuit: &Circuit, library: &Library, request: &PartsRequest) -> Parts {
    let worked = stress(circuit, library, &request.asked);
    parts_after(circuit, library, request, &worked)
}

/// The same where the strain of the parts was worked out before, under the same conditions.
#[must_use]
pub fn parts_after(
    circuit: &Circuit,
    library: &Library,
    request: &PartsRequest,
    worked: &Stress,
) -> Parts {
    let anatomy = anatomy(circuit);
    let mut sheet = Sheet::new("parts", "Keep, watch or replace");
    head(&mut sheet, circuit);
    let mut all: Vec<Judged> = circuit
        .parts
        .iter()
        .enumerate()
        .filter(|(_, p)| is_judged(p))
        .map(|(index, part)| {
            let of = About {
                circuit,
                library,
                anatomy: &anatomy,
                id: PartId(index),
                part,
                this_year: request.this_year,
            };
            judged(&of, worked)
        })
        .collect();
    let new = renewed(circuit, &all);
    let (after, surge_after) = strained(&new, library, &anatomy, &request.asked);
    let before = surge(circuit, library, &anatomy, &request.asked);
    for one in &mut all {
        let Some(id) = circuit.part(&one.part) else {
            continue;
        };
        let Some(part) = circuit.parts.get(id.0) else {
            continue;
        };
        let place = fit::Place {
            part,
            id,
            anatomy: &anatomy,
            now: &one.stress,
            after: after.iter().filter(|s| s.part == one.part).collect(),
            surges: [&before, &surge_after],
        };
        one.replacement = fit::replacement(&place);
    }
    moves::fill(circuit, library, &request.asked, &mut all);
    gains(circuit, library, &request.asked, &mut all);
    all.sort_by(|a, b| {
        rank(b.verdict())
            .cmp(&rank(a.verdict()))
            .then_with(|| letters(&a.part).cmp(letters(&b.part)))
            .then_with(|| natural(&a.part).cmp(&natural(&b.part)))
    });
    let mut parts = Parts {
        original: count(&all),
        parts: all,
        sheet,
    };
    page::fill(&mut parts, worked, request.this_year);
    parts
}

impl Judged {
    /// What counts: the technician's verdict where there is one, else the proposal.
    #[must_use]
    pub fn verdict(&self) -> Verdict {
        self.given.unwrap_or(self.proposed)
    }
}

fn rank(verdict: Verdict) -> u8 {
    match verdict {
        Verdict::Keep => 0,
        Verdict::Watch => 1,
        Verdict::Replace => 2,
    }
}

/// The heavier of two verdicts.
fn heavier(a: Verdict, b: Verdict) -> Verdict {
    if rank(b) > rank(a) { b } else { a }
}

fn letters(name: &str) -> &str {
    name.split(|c: char| c.is_ascii_digit())
        .next()
        .unwrap_or(name)
}

/// A part that can be kept or replaced: in the amplifier, and no stand-in of the notation.
fn is_judged(part: &Part) -> bool {
    part.known.history != Some(History::Removed)
        && !matches!(
            part.kind,
            Kind::Unknown | Kind::Supply { .. } | Kind::Generator { .. } | Kind::Gain { .. }
        )
}

/// All that is known of one part.
struct About<'a> {
    circuit: &'a Circuit,
    library: &'a Library,
    anatomy: &'a Anatomy,
    id: PartId,
    part: &'a Part,
    this_year: Option<u16>,
}

fn judged(of: &About<'_>, worked: &Stress) -> Judged {
    let part = of.part;
    let (marked, unit) = marked(part);
    let read = match part.known.reading.map(|r| r.value) {
        Some(MeasuredValue::Is(v)) if v.is_finite() => Some(v),
        _ => None,
    };
    let off_percent = match (marked, read) {
        (Some(m), Some(r)) if m > 0.0 => Some((r / m - 1.0) * 100.0),
        _ => None,
    };
    let stress: Vec<Strained> = worked
        .parts
        .iter()
        .filter(|s| of.circuit.part_or_valve(&s.part) == Some(of.id))
        .cloned()
        .collect();
    let era = judge::era(of);
    let hits = judge::hits(of, &stress, off_percent);
    let proposed = hits
        .iter()
        .fold(Verdict::Keep, |worst, hit| heavier(worst, hit.verdict));
    Judged {
        part: part.name.clone(),
        role: role_words(of.anatomy, of.id),
        marked,
        read,
        unit,
        off_percent,
        history: part.known.history,
        era,
        hits,
        stress,
        moves: None,
        fails: fails::fails(of, worked),
        proposed,
        given: part.known.verdict,
        replacement: None,
        gains: None,
    }
}

/// The marked value and its unit.
fn marked(part: &Part) -> (Option<f64>, &'static str) {
    let (value, unit) = match &part.kind {
        Kind::Resistor { ohms } | Kind::Pot { ohms, .. } | Kind::Speaker { ohms } => (*ohms, "ohm"),
        Kind::Capacitor { farads, .. } => (*farads, "F"),
        Kind::Choke { henries, .. } => (*henries, "H"),
        Kind::Fuse { amps, .. } => (*amps, "A"),
        _ => (None, ""),
    };
    (value.filter(|v| v.is_finite() && *v > 0.0), unit)
}

/// Each role once, in words.
fn role_words(anatomy: &Anatomy, id: PartId) -> String {
    let mut words: Vec<&str> = Vec::new();
    for found in anatomy.roles.get(id.0).into_iter().flatten() {
        let block = anatomy.blocks.get(found.block.0).map(|b| b.kind.words());
        let word = match (found.role, block) {
            (Role::Valve, Some(block)) => block,
            (role, _) => role.words(),
        };
        if !words.contains(&word) {
            words.push(word);
        }
    }
    words.join(", ")
}

/// The circuit with every part new that is to be replaced by the verdicts as they stand.
fn renewed(circuit: &Circuit, all: &[Judged]) -> Circuit {
    let mut new = circuit.clone();
    for part in &mut new.parts {
        let goes = all
            .iter()
            .any(|j| j.part == part.name && j.verdict() == Verdict::Replace);
        if goes {
            renew(part);
        }
    }
    new
}

/// A new one in its place; whether that is another than the one that was read.
fn renew(part: &mut Part) -> bool {
    let known = &mut part.known;
    let mut other = known.reading.take().is_some();
    other |= known.leak_ohms.take().is_some();
    other |= known.esr_ohms.take().is_some();
    known.history = Some(History::Replaced);
    if let Kind::Valve(valve) = &mut part.kind {
        other |= valve.emission.take().is_some();
    }
    other
}

/// Which volts at the part change most when it alone is new, today's mains; and what its drift took at the loudspeaker.
/// A part on which nothing was read stands in the circuit as if new: nothing computed changes with it.
fn gains(circuit: &Circuit, library: &Library, asked: &Asked, all: &mut [Judged]) {
    let under = conditions(asked, block(circuit, asked));
    let Ok(was) = Powered::new(circuit, library, &under) else {
        return;
    };
    for one in all.iter_mut() {
        if one.verdict() != Verdict::Replace {
            continue;
        }
        let Some((id, part)) = circuit
            .part(&one.part)
            .and_then(|id| Some((id, circuit.parts.get(id.0)?)))
        else {
            continue;
        };
        let mut words = Vec::new();
        let mut new = circuit.clone();
        if new.parts.get_mut(id.0).is_some_and(renew)
            && let Ok(is) = Powered::new(&new, library, &under)
        {
            let moved = part
                .terminals
                .iter()
                .filter_map(|t| t.node)
                .filter_map(|n| Some((n, was.volts(n)?, is.volts(n)?)))
                .max_by(|a, b| (a.2 - a.1).abs().total_cmp(&(b.2 - b.1).abs()));
            if let Some((node, from, to)) = moved
                && (to - from).abs() >= 0.02 * from.abs().max(1.0)
            {
                let point = moves::point_name(circuit, node);
                words.push(format!("{point} from {from:.1} to {to:.1} V"));
            }
        }
        if let Some(m) = one.moves.as_ref().filter(|m| m.by_reading)
            && let Some(db) = m.gain_db.filter(|db| db.abs() >= 0.1)
        {
            words.push(format!("{:+.1} dB at 1 kHz", -db));
        }
        if !words.is_empty() {
            one.gains = Some(words.join("; "));
        }
    }
}

fn count(all: &[Judged]) -> Originality {
    let mut n = Originality {
        all: all.len(),
        ..Originality::default()
    };
    for one in all {
        match one.history {
            Some(History::Original) => {
                n.original += 1;
                if one.verdict() == Verdict::Replace {
                    n.original_to_go += 1;
                }
            }
            Some(History::Replaced) => n.replaced += 1,
            Some(History::Added) => n.added += 1,
            Some(History::Removed) | None => n.not_said += 1,
        }
    }
    n
}
