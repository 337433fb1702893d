//! Valves run beyond their sheet because the amplifier was made so, and what would lower it.
//!
//! Counted as made: the figure comes from the wiring as it was built. Not so where something was
//! added to the valve's stage or to the supply, where a part there reads off its marking or a valve
//! is not of the type meant, where the mains is not the one it was made for, or where a trimmer
//! sets it: those are for the technician to put right. A part replaced by one of the same marking
//! changes nothing. Never a pass.

use super::{Place, Quantity, Strained, Verdict, Work};
use crate::powered::value;
use crate::wall::made_for;
use wiring::circuit::{History, Kind, Part, PartId};
use wiring::roles::{BlockKind, Role};

/// A part that reads further than this from its marking is no longer as made; carbon parts were
/// sold at 20 % (common practice, no source).
const AS_MARKED: f64 = 0.2;

/// Mains further than this from what the amplifier was made for is not its maker's doing.
const SAME_MAINS: f64 = 0.05;

/// Settles the verdicts of valves over their sheet, and says what would lower each.
pub(super) fn judge(work: &Work<'_>, parts: &mut [Strained]) {
    let mains = same_mains(work);
    let supply = block_as_made(work, |kind| {
        matches!(
            kind,
            BlockKind::HtSupply | BlockKind::Mains | BlockKind::BiasSupply
        )
    });
    for strained in parts {
        if !matches!(
            strained.kind,
            Place::Plate | Place::Screen | Place::Cathode | Place::Grid | Place::Heater
        ) {
            continue;
        }
        if matches!(strained.verdict, Verdict::Over) {
            strained.remedy = Some(lower(work, strained).to_owned());
        }
        let set_by_hand =
            matches!(strained.quantity, Quantity::Watts | Quantity::MeanMa) && has_trimmer(work);
        if strained.verdict == Verdict::Over
            && mains
            && supply
            && !set_by_hand
            && stage_as_made(work, &strained.part)
        {
            strained.verdict = Verdict::OverSheetAsMade;
            strained.needs = None;
        }
    }
}

fn has_trimmer(work: &Work<'_>) -> bool {
    work.anatomy.blocks.iter().any(|b| b.has(Role::BiasControl))
}

fn same_mains(work: &Work<'_>) -> bool {
    let today = crate::powered::mains_volts(work.circuit, &work.under);
    match (made_for(work.circuit), today) {
        (Some(made), Some(today)) => (today / made - 1.0).abs() <= SAME_MAINS,
        _ => true,
    }
}

fn block_as_made(work: &Work<'_>, which: impl Fn(BlockKind) -> bool) -> bool {
    let blocks = work.anatomy.blocks.iter().filter(|b| which(b.kind));
    blocks
        .flat_map(|b| &b.parts)
        .filter_map(|(id, _)| work.circuit.parts.get(id.0))
        .all(as_made)
}

/// Every block that holds the valve.
fn stage_as_made(work: &Work<'_>, section: &str) -> bool {
    let Some(id) = valve_of(work, section) else {
        return false;
    };
    let blocks = work.anatomy.blocks.iter();
    let mut ours = blocks
        .filter(|b| b.sections.iter().any(|s| s.part == id))
        .peekable();
    ours.peek().is_some()
        && ours
            .flat_map(|b| &b.parts)
            .filter_map(|(id, _)| work.circuit.parts.get(id.0))
            .all(as_made)
}

/// The valve that a section's name belongs to.
fn valve_of(work: &Work<'_>, section: &str) -> Option<PartId> {
    let is = |p: &Part| {
        matches!(p.kind, Kind::Valve(_))
            && section
                .strip_prefix(p.name.as_str())
                .is_some_and(|rest| rest.len() <= 1 && rest.chars().all(char::is_alphabetic))
    };
    work.circuit.parts.iter().position(is).map(PartId)
}

/// As it was made, as far as the wiring tells. A valve is meant to be changed: the type it was made
/// for counts. A capacitor carries no steady current: a new one moves nothing here.
fn as_made(part: &Part) -> bool {
    if let Kind::Valve(valve) = &part.kind {
        return valve.type_in_socket() == valve.meant;
    }
    if matches!(part.kind, Kind::Capacitor { .. }) {
        return true;
    }
    if part.known.history == Some(History::Added) {
        return false;
    }
    // A diode in place of what was there gives other volts.
    if matches!(
        part.kind,
        Kind::Diode { .. } | Kind::Bridge | Kind::PowerTransformer(_)
    ) && part.known.history == Some(History::Replaced)
    {
        return false;
    }
    let marked = match part.kind {
        Kind::Resistor { ohms } | Kind::Pot { ohms, .. } => ohms,
        _ => None,
    };
    match (marked, part.known.reading) {
        (Some(m), Some(r)) if !r.in_circuit && m > 0.0 => {
            value(part, marked).is_some_and(|v| (v / m - 1.0).abs() <= AS_MARKED)
        }
        _ => true,
    }
}

fn lower(work: &Work<'_>, s: &Strained) -> &'static str {
    let trimmer = has_trimmer(work);
    match (s.kind, s.quantity) {
        (Place::Plate, Quantity::Watts) | (Place::Cathode, _) if trimmer => {
            "More negative bias lowers it: set it by the sheet `bias`."
        }
        (Place::Plate, Quantity::Watts) | (Place::Cathode, _) => {
            "A larger cathode resistor or more negative bias lowers it: see the sheet `bias`."
        }
        (Place::Plate | Place::Screen, Quantity::Volts) => {
            "Lower high tension lowers it: the right mains tap, a rectifier valve in place of silicon, a resistor before the reservoir."
        }
        (Place::Screen, _) => {
            "A resistor in each screen lead lowers it, 470 ohm to 1k5 for large output valves, at the cost of a little power."
        }
        (Place::Grid, _) => {
            "A smaller grid leak lowers it, and loads the stage before. Change it only if the valve runs away."
        }
        (Place::Heater, _) => {
            "Heaters raised to a steady voltage near the cathode's lower it: see the sheet `heaters`."
        }
        _ => "See the sheet of its stage.",
    }
}
