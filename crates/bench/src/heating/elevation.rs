//! Volts between each valve's heater and its cathode, by sign, against its sheet.
//!
//! Heater less cathode: positive where the heater stands higher. The steady part is the mean of
//! both heater ends less the cathode; half the winding's peak comes on top for the peak. Warm and
//! cold states both count, for a raised heater stands above a cathode that is not up yet.

use super::{HeaterPins, valves};
use crate::powered::{Powered, sheet_of};
use crate::rules::rules;
use serde::Serialize;
use std::f64::consts::SQRT_2;
use wiring::NodeId;
use wiring::circuit::{Circuit, Electrode, Kind, Part};
use wiring::sheet::{Library, LimitQuantity, Sheet as DataSheet};

/// One cathode of a valve against its heater.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Elevated {
    /// The valve, with the section's letter.
    pub valve: String,
    /// Type in the socket.
    pub valve_type: String,
    /// Steady volts, heater less cathode, warm, today's mains.
    pub steady_v: Option<f64>,
    /// Largest steady volts with the heater positive, any state.
    pub positive_steady_v: f64,
    /// Largest peak with the heater positive, any state.
    pub positive_peak_v: f64,
    /// Largest peak with the heater negative, any state, as a positive figure.
    pub negative_peak_v: f64,
    /// Limit of the steady volts, heater positive.
    pub limit_positive_steady_v: f64,
    /// Limit of the peak, heater positive.
    pub limit_positive_peak_v: f64,
    /// Limit of the peak, heater negative.
    pub limit_negative_peak_v: f64,
    /// Where the limits are from; none: the rule for sheets that say nothing.
    pub source: Option<String>,
    /// The filament is the cathode, or both are joined: there is nothing between.
    pub joined: bool,
}

/// What the rule allows where a sheet says nothing, volts.
fn unless_sheet_says() -> f64 {
    let rule = rules().figure("heater.reference", "heater-cathode difference");
    rule.map_or(90.0, |v| v.min(90.0))
}

/// Every cathode against its heater, at the worst of some states; the first is today's.
pub(crate) fn elevated_at(
    circuit: &Circuit,
    library: &Library,
    states: &[Option<&Powered>],
) -> Vec<Elevated> {
    let mut all = Vec::new();
    for (_, part) in valves(circuit) {
        let Kind::Valve(valve) = &part.kind else {
            continue;
        };
        let Some(pins) = HeaterPins::of(part) else {
            continue;
        };
        let Some((a, b)) = pins.pair() else { continue };
        let sheet = sheet_of(library, part);
        let mut done: Vec<(Option<char>, NodeId)> = Vec::new();
        for u in &valve.electrodes {
            if u.electrode != Electrode::Cathode {
                continue;
            }
            let Some(cathode) = part.terminals.get(u.terminal).and_then(|t| t.node) else {
                continue;
            };
            if done.contains(&(u.section, cathode)) {
                continue;
            }
            done.push((u.section, cathode));
            let against = Against {
                sheet,
                section: u.section,
                heater: (a, b),
                cathode,
            };
            all.push(one(library, part, &against, states));
        }
    }
    all
}

/// One cathode with its heater.
struct Against<'a> {
    sheet: Option<&'a DataSheet>,
    section: Option<char>,
    heater: (NodeId, NodeId),
    cathode: NodeId,
}

fn one(
    library: &Library,
    part: &Part,
    against: &Against<'_>,
    states: &[Option<&Powered>],
) -> Elevated {
    let Against {
        sheet,
        section,
        heater: (a, b),
        cathode,
    } = *against;
    let mut name = part.name.clone();
    name.extend(section);
    let joined = cathode == a || cathode == b;
    let of = |state: Option<&Powered>| steady_and_peak(state?, a, b, cathode);
    let now = of(states.first().copied().flatten());
    let figures: Vec<(f64, f64)> = states.iter().copied().filter_map(of).collect();
    let (mut positive_steady, mut positive, mut negative) = (0.0_f64, 0.0_f64, 0.0_f64);
    if !joined {
        for (steady, peak) in &figures {
            positive_steady = positive_steady.max(*steady);
            positive = positive.max(steady + peak);
            negative = negative.max(peak - steady);
        }
    }
    let fallback = unless_sheet_says();
    let limit = |quantity: LimitQuantity| sheet.and_then(|s| s.guarding_limit(section, quantity));
    let source = sheet.and_then(|s| {
        let set = s
            .guarding_set(section, LimitQuantity::HeaterNegativeVolts)
            .or_else(|| s.guarding_set(section, LimitQuantity::HeaterPositiveVolts))?;
        Some(format!(
            "{}, {}",
            set.system.word(),
            library.cite(&set.origin)
        ))
    });
    let positive_peak_limit = limit(LimitQuantity::HeaterPositiveVolts).unwrap_or(fallback);
    Elevated {
        valve: name,
        valve_type: match &part.kind {
            Kind::Valve(v) => v.type_in_socket().to_owned(),
            _ => String::new(),
        },
        steady_v: now.map(|f| f.0).filter(|_| !joined),
        positive_steady_v: positive_steady,
        positive_peak_v: positive,
        negative_peak_v: negative,
        limit_positive_steady_v: limit(LimitQuantity::HeaterPositiveDcVolts)
            .unwrap_or(fallback)
            .min(positive_peak_limit),
        limit_positive_peak_v: positive_peak_limit,
        limit_negative_peak_v: limit(LimitQuantity::HeaterNegativeVolts).unwrap_or(fallback),
        source,
        joined,
    }
}

/// Steady volts of the heater's middle over the cathode, and the peak of what alternates on top.
fn steady_and_peak(state: &Powered, a: NodeId, b: NodeId, cathode: NodeId) -> Option<(f64, f64)> {
    let heater = super::reference::middle(state, a, b)?;
    let cathode = state.volts(cathode)?;
    // The end that swings most against ground.
    let swing = [a, b]
        .into_iter()
        .filter_map(|n| state.alternating(n, wiring::GROUND))
        .fold(0.0_f64, f64::max);
    Some((heater - cathode, SQRT_2 * swing))
}
