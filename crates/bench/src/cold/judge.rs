//! Verdicts on ohms: of a reading, of the part that it tells, of the amplifier.

use super::places::{MAINS, TENSION, WINDINGS};
use super::{ColdPoint, Go};
use crate::chart::entry::{Entry, OVER_OHMS, Read};
use crate::chart::ohms::Beside;
use crate::chart::verdict::{K95, Word};
use crate::rules::rules;
use serde::Serialize;
use wiring::circuit::{Circuit, Kind};
use wiring::readings::{Probe, Shown, Unit};
use wiring::roles::{Anatomy, BlockKind, Role};

/// Below this an ohmmeter's leads and last digit are as large as what is read.
pub(super) const LEADS_OHMS: f64 = 0.9;

/// A reading tells a part's value when so much of it is that part's.
const TELLS: f64 = 0.9;
/// Below this a part has no say worth naming.
const HAS_A_SAY: f64 = 0.1;

/// What a reading tells of parts.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Told {
    /// The part with the largest share.
    pub part: String,
    /// Its share of the reading, 0 to 1.
    pub share: f64,
    /// The others with a tenth or more.
    pub beside: Vec<(String, f64)>,
    /// The reading is good for the part's value; otherwise lift one end.
    pub tells: bool,
    /// Marked ohms of that part, when it is a resistor.
    pub marked: Option<f64>,
    /// The part's ohms that the reading means.
    pub value: Option<f64>,
    /// Expanded uncertainty of that, either way (about 95 %).
    pub plus_minus: Option<f64>,
    /// How far it may stray from its marking in its place, a fraction, and the rule.
    pub limit: Option<(f64, &'static str)>,
    /// What it does, in words.
    pub role: Option<&'static str>,
}

/// What a reading between two points tells, given what was read.
pub(super) fn told(
    circuit: &Circuit,
    anatomy: &Anatomy,
    beside: &Beside<'_>,
    read: Option<Read>,
) -> Option<Told> {
    let shares = beside.shares();
    let (name, share) = shares.first()?.clone();
    let part = circuit.part(&name);
    let marked = part
        .and_then(|id| circuit.parts.get(id.0))
        .and_then(|p| match p.kind {
            Kind::Resistor { ohms } => ohms,
            _ => None,
        });
    let inferred = read.and_then(|r| {
        let number = r.number().filter(|n| *n > 0.0)?;
        beside.infer(&name, number, r.sigma / number)
    });
    let inferred = inferred.filter(|_| share >= HAS_A_SAY && marked.is_some());
    Some(Told {
        share,
        beside: shares
            .into_iter()
            .skip(1)
            .filter(|s| s.1 >= HAS_A_SAY)
            .collect(),
        tells: share >= TELLS,
        marked,
        value: inferred.map(|i| i.ohms),
        plus_minus: inferred.map(|i| K95 * i.sigma * i.ohms),
        limit: part.and_then(|id| drift(anatomy, id)),
        role: part.and_then(|id| anatomy.role(id)).map(Role::words),
        part: name,
    })
}

/// How far a resistor may stray in its place: fraction and rule.
fn drift(anatomy: &Anatomy, part: wiring::PartId) -> Option<(f64, &'static str)> {
    let place = anatomy.roles.get(part.0)?.first()?;
    let block = anatomy.blocks.get(place.block.0).map(|b| b.kind);
    let output = matches!(block, Some(BlockKind::PushPull | BlockKind::SingleEnded));
    let (rule, name) = match place.role {
        Role::PlateLoad => ("res.drift.plate_load", "keep within"),
        Role::CathodeResistor if output => ("res.drift.cathode", "output stage"),
        Role::CathodeResistor => ("res.drift.cathode", "small signal"),
        Role::GridLeak if output => ("res.drift.grid_leak_output", "drift"),
        Role::BiasDivider | Role::BiasFeed => ("res.drift.bias_divider", "drift"),
        Role::Dropping => ("res.drift.dropping", "drift"),
        Role::SlopeResistor | Role::ToneResistor | Role::MiddleResistor => {
            ("res.drift.signal", "tone and slope")
        }
        Role::InputLeak | Role::InputStopper | Role::GridStopper => {
            ("res.drift.signal", "input 1 Mohm and stoppers")
        }
        Role::FeedbackResistor | Role::FeedbackShunt => ("res.drift.signal", "feedback resistors"),
        Role::OscillatorResistor => ("res.drift.trem", "drift"),
        _ => return None,
    };
    Some((rules().figure(rule, name)? / 100.0, rule))
}

/// Puts reading and verdict into a point, as the chart gives them.
pub(super) fn read(point: &mut ColdPoint) {
    let Some(read) = point.read else { return };
    point.reading = read.number();
    point.shown = match read.shown {
        Shown::Number(_) => None,
        Shown::Over => Some("OL".to_owned()),
        Shown::Below(v) => Some(format!("< {v}")),
        Shown::Above(v) => Some(format!("> {v}")),
    };
    if point.over {
        point.verdict = Some(match read.shown {
            Shown::Over => Word::Inside,
            Shown::Above(v) | Shown::Number(v) if v >= OVER_OHMS => Word::Inside,
            Shown::Above(_) => Word::Doubtful,
            Shown::Number(_) | Shown::Below(_) => Word::Outside,
        });
        return;
    }
    if let (Some(high), true) = (point.high, point.ohms.is_some_and(|o| o < LEADS_OHMS)) {
        // the leads have as much: all that can be told is that it is not open
        point.verdict = Some(match read.shown {
            Shown::Number(v) | Shown::Below(v) if v <= high.max(1.0) => Word::Inside,
            _ => Word::Outside,
        });
        return;
    }
    let entry = Entry {
        point: point.point.clone(),
        also: Vec::new(),
        probe: Probe::Nowhere,
        unit: Unit::Ohms,
        nominal: point.ohms,
        band: point.band,
        source_ohms: point.ohms,
        read: Some(read),
        why: None,
    };
    point.verdict = entry.verdict();
}

/// A reading below the figure that forbids power. A point whose own parts bring it below (a
/// divider) is held to its band instead.
pub(super) fn too_low(point: &ColdPoint) -> bool {
    let Some(least) = effective_least(point) else {
        return false;
    };
    match point.read.map(|r| r.shown) {
        Some(Shown::Number(v) | Shown::Below(v)) => v < least,
        _ => false,
    }
}

/// The least ohms that count at a point.
pub(super) fn effective_least(point: &ColdPoint) -> Option<f64> {
    let least = point.least?;
    // what was traced makes it lower: its own band decides
    Some(point.low.map_or(least, |low| least.min(low)))
}

/// Groups without which nobody can say go: of each, something that decides must be traced.
const MUST: [&str; 3] = [MAINS, WINDINGS, TENSION];

/// Groups that must be traced before go, and of which nothing that decides is.
pub(super) fn untraced(points: &[ColdPoint]) -> impl Iterator<Item = &'static str> {
    let missing = |group: &&str| !points.iter().any(|p| p.decides && p.group == *group);
    MUST.into_iter().filter(missing)
}

/// Go only when mains side, windings and rails are traced, and every line that decides was read and is inside.
pub(super) fn verdict(points: &[ColdPoint]) -> Go {
    let mut open = untraced(points).next().is_some();
    for point in points.iter().filter(|p| p.decides) {
        if too_low(point) {
            return Go::NoGo;
        }
        match point.verdict {
            Some(Word::Outside) => return Go::NoGo,
            Some(Word::Inside) => {}
            Some(Word::Doubtful) | None => open = true,
        }
    }
    if open { Go::Open } else { Go::Go }
}
