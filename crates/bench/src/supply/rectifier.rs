//! The rectifier of the high tension: what it carries and stands, and what its sheet allows.

use super::Work;
use crate::powered::{Powered, sheet_of};
use crate::surge::high_tension_rectifiers;
use serde::Serialize;
use solve::netlist::{Law, RectifierPlate};
use std::f64::consts::SQRT_2;
use wiring::circuit::{DiodeSort, Kind};
use wiring::sheet::{LimitQuantity, RatingSystem, Sheet as DataSheet};

/// What the rectifier carries.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Rectifier {
    /// Greatest current of one plate or diode, warm, today's mains.
    pub peak_ma: f64,
    /// Mean output current, all plates together.
    pub mean_ma: f64,
    /// Greatest inverse volts of one plate or diode.
    pub inverse_volts: f64,
    /// Greatest current of one plate at the highest mains.
    pub peak_ma_highest: f64,
    /// Mean output current at the highest mains.
    pub mean_ma_highest: f64,
    /// Greatest inverse volts at the highest mains, valves cold or warm.
    pub inverse_volts_highest: f64,
    /// Volts rms per plate, unloaded, today's mains.
    pub volts_per_plate: Option<f64>,
    /// Resistance that a plate sees in its supply: half winding, reflected primary, what is in series.
    pub source_ohms: Option<f64>,
    /// Farads on its output without anything between.
    pub reservoir_farads: Option<f64>,
    /// The parts it is made of.
    pub parts: Vec<RectifierPart>,
}

/// One rectifying part with the limits of its sheet or marking.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RectifierPart {
    /// The part.
    pub part: String,
    /// Type in the socket, for a valve.
    pub valve: Option<String>,
    /// Rating system of the limits.
    pub system: Option<RatingSystem>,
    /// Where the limits are from.
    pub source: Option<String>,
    /// Largest peak current per plate, milliamperes.
    pub limit_peak_ma: Option<f64>,
    /// Largest mean output current, milliamperes.
    pub limit_mean_ma: Option<f64>,
    /// Largest inverse volts.
    pub limit_inverse_volts: Option<f64>,
    /// Least supply resistance per plate, ohms.
    pub limit_source_ohms: Option<f64>,
    /// Largest reservoir, farads.
    pub limit_reservoir_farads: Option<f64>,
    /// Largest volts rms per plate with a reservoir first.
    pub limit_volts_per_plate: Option<f64>,
}

/// Figures of one state.
#[derive(Debug, Clone, Copy, Default)]
struct Carried {
    peak: f64,
    mean: f64,
    inverse: f64,
}

pub(crate) fn rectifier(work: &Work<'_>) -> Option<Rectifier> {
    let parts: Vec<usize> = high_tension_rectifiers(work.anatomy)
        .map(|id| id.0)
        .collect();
    let now = carried(work, work.now.as_ref(), &parts)?;
    let warm = carried(work, work.surge.warm.as_ref(), &parts).unwrap_or(now);
    let cold = carried(work, work.surge.cold.as_ref(), &parts).unwrap_or_default();
    let driven = work.now.as_ref().map(|p| plates(work, p, &parts));
    let driven = driven.unwrap_or_default();
    let volts_per_plate = driven
        .iter()
        .map(|(plate, _)| plate.emf_peak / SQRT_2)
        .reduce(f64::max)
        .filter(|v| v.is_finite());
    // What a plate sees limits valves alone; of a bridge it is the whole circuit behind the other pair.
    let valves = parts.iter().any(|i| {
        let part = work.circuit.parts.get(*i);
        part.is_some_and(|p| matches!(p.kind, Kind::Valve(_)))
    });
    let volts_per_plate = volts_per_plate.filter(|_| valves);
    let source_ohms = driven
        .iter()
        .filter(|_| valves)
        .filter_map(|(_, ohms)| *ohms)
        .reduce(f64::min);
    Some(Rectifier {
        peak_ma: now.peak * 1e3,
        mean_ma: now.mean * 1e3,
        inverse_volts: now.inverse,
        peak_ma_highest: warm.peak.max(now.peak) * 1e3,
        mean_ma_highest: warm.mean.max(now.mean) * 1e3,
        inverse_volts_highest: warm.inverse.max(cold.inverse).max(now.inverse),
        volts_per_plate,
        source_ohms,
        reservoir_farads: reservoir(work),
        parts: parts
            .iter()
            .filter_map(|i| part(work, *i, volts_per_plate.unwrap_or(0.0)))
            .collect(),
    })
}

/// What the plates of these parts carry together; none while none is driven.
fn carried(work: &Work<'_>, state: Option<&Powered>, parts: &[usize]) -> Option<Carried> {
    let state = state?;
    let mut sum = Carried::default();
    let mut any = false;
    for plate in &state.solved.point.plates {
        let ours = parts.iter().any(|i| {
            let name = work.circuit.parts.get(*i).map_or("", |p| p.name.as_str());
            state.elements(name).contains(&plate.element)
        });
        if !ours {
            continue;
        }
        any = true;
        sum.peak = sum.peak.max(plate.peak);
        sum.inverse = sum.inverse.max(plate.inverse_volts);
        let [plate_end, cathode] = plates_of(state)
            .find(|p| p.element == plate.element)
            .map_or([0, 0], |p| [p.plate, p.cathode]);
        if gives_output(work, state, parts, plate.element, plate_end, cathode) {
            sum.mean += plate.mean;
        }
    }
    any.then_some(sum)
}

/// Does this plate's current flow into the output? Of a bridge only that of the diodes on its plus
/// does; of a bridge made of single diodes, that of those which do not come from ground.
fn gives_output(
    work: &Work<'_>,
    state: &Powered,
    parts: &[usize],
    element: usize,
    plate: usize,
    cathode: usize,
) -> bool {
    let mut ours = parts.iter().filter_map(|i| work.circuit.parts.get(*i));
    let Some(part) = ours.find(|p| state.elements(&p.name).contains(&element)) else {
        return false;
    };
    match part.kind {
        Kind::Bridge => part
            .terminals
            .get(2)
            .and_then(|t| state.node(t.node?))
            .is_some_and(|plus| plus == cathode),
        Kind::Diode { .. } => plate != 0,
        _ => true,
    }
}

fn plates_of(state: &Powered) -> impl Iterator<Item = &RectifierPlate> {
    let elements = state.solved.point.netlist.elements.iter();
    elements.flat_map(|e| match &e.law {
        Law::Rectifiers(group) => group.plates.as_slice(),
        _ => &[],
    })
}

/// The driven plates of these parts, each with the resistance that it sees less the series
/// resistance of the capacitors it charges.
fn plates<'s>(
    work: &Work<'_>,
    state: &'s Powered,
    parts: &[usize],
) -> Vec<(&'s RectifierPlate, Option<f64>)> {
    let rail = work.anatomy.rails.first().and_then(|n| state.node(*n));
    let esr = rail.map_or(0.0, |n| series_ohms(state, n));
    let mut all = Vec::new();
    for element in &state.solved.point.netlist.elements {
        let Law::Rectifiers(group) = &element.law else {
            continue;
        };
        for (d, plate) in group.plates.iter().enumerate() {
            let ours = parts.iter().any(|i| {
                let name = work.circuit.parts.get(*i).map_or("", |p| p.name.as_str());
                state.elements(name).contains(&plate.element)
            });
            if !ours {
                continue;
            }
            let seen = group.ohms.get(d).and_then(|row| row.get(d)).copied();
            all.push((plate, seen.map(|r| (r - esr).max(0.0))));
        }
    }
    all
}

/// Series resistance of all capacitors on a node, side by side.
fn series_ohms(state: &Powered, node: usize) -> f64 {
    let siemens: f64 = state
        .solved
        .point
        .netlist
        .elements
        .iter()
        .filter_map(|e| match e.law {
            Law::Capacitor { a, b, esr_ohms, .. } if (a == node || b == node) && esr_ohms > 0.0 => {
                Some(1.0 / esr_ohms)
            }
            _ => None,
        })
        .sum();
    if siemens > 0.0 { 1.0 / siemens } else { 0.0 }
}

/// Farads to ground on the first rail.
fn reservoir(work: &Work<'_>) -> Option<f64> {
    let rail = *work.anatomy.rails.first()?;
    let sum: f64 = work
        .circuit
        .parts
        .iter()
        .filter(|p| p.known.history != Some(wiring::circuit::History::Removed))
        .filter_map(|p| match p.kind {
            Kind::Capacitor { farads, .. } => {
                let (a, b) = crate::powered::ends(p)?;
                ((a == rail && b == wiring::GROUND) || (b == rail && a == wiring::GROUND))
                    .then(|| crate::powered::value(p, farads))
                    .flatten()
            }
            _ => None,
        })
        .sum();
    (sum > 0.0).then_some(sum)
}

fn part(work: &Work<'_>, index: usize, volts: f64) -> Option<RectifierPart> {
    let part = work.circuit.parts.get(index)?;
    let mut out = RectifierPart {
        part: part.name.clone(),
        valve: None,
        system: None,
        source: None,
        limit_peak_ma: None,
        limit_mean_ma: None,
        limit_inverse_volts: None,
        limit_source_ohms: None,
        limit_reservoir_farads: None,
        limit_volts_per_plate: None,
    };
    match &part.kind {
        Kind::Valve(valve) => {
            out.valve = Some(valve.type_in_socket().to_owned());
            if let Some(sheet) = sheet_of(work.library, part) {
                limits(work, sheet, volts, &mut out);
            }
        }
        Kind::Diode {
            sort: DiodeSort::Silicon(volts),
        } => out.limit_inverse_volts = *volts,
        _ => {}
    }
    Some(out)
}

fn limits(work: &Work<'_>, sheet: &DataSheet, volts: f64, out: &mut RectifierPart) {
    let get = |q: LimitQuantity| sheet.guarding_limit(None, q);
    out.limit_peak_ma = get(LimitQuantity::PeakPlateAmps).map(|a| a * 1e3);
    out.limit_inverse_volts = get(LimitQuantity::InverseVolts);
    out.limit_reservoir_farads = get(LimitQuantity::ReservoirFarads);
    out.limit_volts_per_plate = get(LimitQuantity::SupplyVoltsCapacitor);
    let amps = get(LimitQuantity::OutputAmps);
    let by_volts = sheet
        .limits
        .iter()
        .filter_map(|set| along(&set.output_amps_at, volts))
        .reduce(f64::min);
    out.limit_mean_ma = lower(amps, by_volts).map(|a| a * 1e3);
    let ohms = get(LimitQuantity::SourceOhms);
    let by_volts = sheet
        .limits
        .iter()
        .filter_map(|set| along(&set.source_ohms_at, volts))
        .reduce(f64::max);
    out.limit_source_ohms = match (ohms, by_volts) {
        (Some(a), Some(b)) => Some(a.max(b)),
        (a, b) => a.or(b),
    };
    if let Some(set) = sheet.guarding_set(None, LimitQuantity::PeakPlateAmps) {
        out.system = Some(set.system);
        out.source = Some(work.library.cite(&set.origin));
    }
}

fn lower(a: Option<f64>, b: Option<f64>) -> Option<f64> {
    match (a, b) {
        (Some(a), Some(b)) => Some(a.min(b)),
        (a, b) => a.or(b),
    }
}

/// A figure between the stated volts by a straight line, at the ends the end's figure.
fn along(points: &[(f64, f64)], volts: f64) -> Option<f64> {
    let first = points.first()?;
    if volts <= first.0 {
        return Some(first.1);
    }
    for pair in points.windows(2) {
        let [(v0, y0), (v1, y1)] = pair else { continue };
        if volts <= *v1 && v1 > v0 {
            return Some(y0 + (y1 - y0) * (volts - v0) / (v1 - v0));
        }
    }
    points.last().map(|p| p.1)
}
