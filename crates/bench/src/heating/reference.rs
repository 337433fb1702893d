//! What ties a heater winding to ground, and what that raises it to.

use super::Work;
use crate::powered::{ends, value};
use serde::Serialize;
use wiring::circuit::{History, Kind};
use wiring::{GROUND, NodeId};

/// How a heater winding is tied.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum ReferenceSort {
    /// Its centre tap.
    CentreTap,
    /// A resistor from each side.
    ResistorPair,
    /// A hum control across it, its wiper tied.
    HumControl,
    /// One side directly.
    OneSide,
    /// The cathode of a rectifier: the winding carries the high tension.
    RectifierCathode,
    /// Nothing that was traced.
    None,
}

impl ReferenceSort {
    /// In words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::CentreTap => "centre tap",
            Self::ResistorPair => "a resistor from each side",
            Self::HumControl => "hum control",
            Self::OneSide => "one side of the winding",
            Self::RectifierCathode => "the rectifier's cathode: it carries the high tension",
            Self::None => "nothing",
        }
    }
}

/// The tie of a winding.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Reference {
    /// How.
    pub sort: ReferenceSort,
    /// Where to: ground, or the point that raises it.
    pub to: Option<String>,
    /// Steady volts of the winding against ground, warm, today's mains.
    pub volts: Option<f64>,
    /// The same with valves cold at the highest mains.
    pub volts_cold: Option<f64>,
    /// Balance resistors and hum control.
    pub balance: Vec<Balance>,
}

/// A resistor or control between the winding and its reference.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Balance {
    /// The part.
    pub part: String,
    /// Ohms, of a control end to end.
    pub ohms: Option<f64>,
    /// Watts in it at the highest mains.
    pub watts: Option<f64>,
    /// Rated watts, as marked.
    pub rated_w: Option<f64>,
    /// It is a control.
    pub control: bool,
}

/// A resistor up to this from a heater lead to one point is a balance resistor, ohms.
const MOST_BALANCE_OHMS: f64 = 1e3;

pub(super) fn reference(
    work: &Work<'_>,
    leads: Option<(NodeId, NodeId)>,
    centre: Option<NodeId>,
    has_centre: bool,
) -> Reference {
    let mut out = Reference {
        sort: ReferenceSort::None,
        to: None,
        volts: None,
        volts_cold: None,
        balance: Vec::new(),
    };
    let Some((a, b)) = leads else {
        return out;
    };
    out.volts = work.now.as_ref().and_then(|p| middle(p, a, b));
    out.volts_cold = work.surge.cold.as_ref().and_then(|p| middle(p, a, b));
    let name = |n: NodeId| crate::powered::node_name(work.circuit, n);
    if let Some(centre) = centre.filter(|_| has_centre) {
        out.sort = ReferenceSort::CentreTap;
        out.to = Some(name(centre));
        return out;
    }
    let rails = &work.anatomy.rails;
    if rails.contains(&a) || rails.contains(&b) {
        out.sort = ReferenceSort::RectifierCathode;
        out.to = Some(name(if rails.contains(&a) { a } else { b }));
        return out;
    }
    // A pot across the leads.
    for part in &work.circuit.parts {
        let Kind::Pot { ohms, .. } = part.kind else {
            continue;
        };
        let node = |i: usize| part.terminals.get(i).and_then(|t| t.node);
        let across = matches!((node(0), node(2)), (Some(x), Some(y)) if (x, y) == (a, b) || (x, y) == (b, a));
        if across && part.known.history != Some(History::Removed) {
            out.sort = ReferenceSort::HumControl;
            out.to = node(1).map(&name);
            let volts = work.highest.as_ref().and_then(|p| p.alternating(a, b));
            out.balance.push(Balance {
                part: part.name.clone(),
                ohms: value(part, ohms),
                watts: volts
                    .zip(value(part, ohms))
                    .map(|(v, r)| v * v / r.max(1e-3)),
                rated_w: part.known.watts,
                control: true,
            });
            return out;
        }
    }
    let mut to: Vec<(NodeId, NodeId)> = Vec::new();
    for part in &work.circuit.parts {
        let Kind::Resistor { ohms } = part.kind else {
            continue;
        };
        let Some((x, y)) = ends(part).filter(|_| part.known.history != Some(History::Removed))
        else {
            continue;
        };
        let ohms = value(part, ohms);
        let (lead, other) = if x == a || x == b {
            (x, y)
        } else if y == a || y == b {
            (y, x)
        } else {
            continue;
        };
        if other == a || other == b || ohms.is_none_or(|r| r > MOST_BALANCE_OHMS) {
            continue;
        }
        to.push((lead, other));
        let element = work.highest.as_ref().and_then(|p| {
            let e = p.own_element(&part.name)?;
            Some(p.amps_rms(e))
        });
        out.balance.push(Balance {
            part: part.name.clone(),
            ohms,
            watts: element.zip(ohms).map(|(i, r)| i * i * r),
            rated_w: part.known.watts,
            control: false,
        });
    }
    let both = |end: NodeId| to.iter().find(|(lead, _)| *lead == end).map(|t| t.1);
    match (both(a), both(b)) {
        (Some(x), Some(y)) if x == y => {
            out.sort = ReferenceSort::ResistorPair;
            out.to = Some(name(x));
        }
        _ if a == GROUND || b == GROUND => {
            out.sort = ReferenceSort::OneSide;
            out.to = Some("ground".to_owned());
        }
        (Some(x), _) | (_, Some(x)) => {
            out.sort = ReferenceSort::OneSide;
            out.to = Some(name(x));
        }
        _ => {}
    }
    out
}

/// Steady volts midway between two nodes; none where they float.
pub(super) fn middle(p: &crate::powered::Powered, a: NodeId, b: NodeId) -> Option<f64> {
    Some(f64::midpoint(p.volts(a)?, p.volts(b)?))
}
