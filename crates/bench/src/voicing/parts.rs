//! What each part contributes: how far a response strays with the tolerance of every part and valve.
//!
//! First order: one solution of the circuit and one of its transpose at each frequency serve all parts
//! (`solve::response`), operating point included. Spreads are those of the chart (docs/bands.md): a
//! marked tolerance, the usual one, or what is left of it after a reading with a leg lifted. The source
//! counts as stiff. Refuses what [`super::voicing`] refuses.

use super::{Plugged, Rest, SILENT, VoicingRequest, in_the_way, rest, silent, unknown_in_the_way};
use crate::tolerance::{Causes, MainsKnown, Tolerances, is_measured, part_of};
use serde::Serialize;
use solve::linear::Complex;
use solve::linearised::Linearised;
use solve::response::Held;
use std::collections::BTreeMap;
use wiring::circuit::Circuit;
use wiring::sheet::Library;

/// Standard deviations to either side of the middle that hold 95 of 100.
const OF_95: f64 = 1.96;
/// A part that moves the curve less than this nowhere is left out, dB.
const LEAST_DB: f64 = 0.005;

/// How far sound amplifiers of one wiring stray from its curve.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Contributions {
    /// Frequencies, hertz.
    pub hz: Vec<f64>,
    /// 95 of 100 lie within so many dB above and below the curve.
    pub band_db: Vec<f64>,
    /// Each part, what moves the curve most first.
    pub parts: Vec<Contribution>,
}

/// One part or valve.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Contribution {
    /// Which.
    pub part: String,
    /// It was read with a leg lifted: what is left is the meter's error.
    pub measured: bool,
    /// What its spread alone does: 95 of 100 within so many dB.
    pub db: Vec<f64>,
    /// The most of these.
    pub most_db: f64,
    /// Where that is, hertz.
    pub at_hz: f64,
}

/// Works out what each part contributes to a response.
///
/// # Errors
/// As [`super::voicing`], and where the slopes of the operating point cannot be had.
pub fn contributions(
    circuit: &Circuit,
    library: &Library,
    request: &VoicingRequest,
) -> Result<Contributions, String> {
    let mut squares: BTreeMap<String, Vec<f64>> = BTreeMap::new();
    let mut band: Vec<f64> = vec![0.0; request.hertz.len()];
    let measured = |part: &str| part_of(circuit, part).is_some_and(|p| is_measured(&p.known));
    for (part, moves) in strays(circuit, library, request)? {
        let line = part.map(|part| {
            squares
                .entry(part)
                .or_insert_with(|| vec![0.0; request.hertz.len()])
        });
        for (slot, db) in band.iter_mut().zip(&moves) {
            *slot += db * db;
        }
        for (slot, db) in line.into_iter().flatten().zip(&moves) {
            *slot += db * db;
        }
    }
    let mut parts: Vec<Contribution> = squares
        .into_iter()
        .filter_map(|(part, squares)| {
            let db: Vec<f64> = squares.iter().map(|s| OF_95 * s.sqrt()).collect();
            let (i, &most_db) = db.iter().enumerate().max_by(|x, y| x.1.total_cmp(y.1))?;
            (most_db >= LEAST_DB).then(|| Contribution {
                measured: measured(&part),
                at_hz: request.hertz.get(i).copied().unwrap_or_default(),
                part,
                most_db,
                db,
            })
        })
        .collect();
    parts.sort_by(|x, y| y.most_db.total_cmp(&x.most_db).then(x.part.cmp(&y.part)));
    Ok(Contributions {
        hz: request.hertz.clone(),
        band_db: band.iter().map(|s| OF_95 * s.sqrt()).collect(),
        parts,
    })
}

/// How far sound amplifiers stray from the curve where both are taken against the frequency of number `reference`: 95 of
/// 100 lie within so many dB, none there.
pub(crate) fn band_against(
    circuit: &Circuit,
    library: &Library,
    request: &VoicingRequest,
    reference: Option<usize>,
) -> Result<Vec<f64>, String> {
    let mut band: Vec<f64> = vec![0.0; request.hertz.len()];
    for (_, moves) in strays(circuit, library, request)? {
        let there = reference.and_then(|i| moves.get(i)).copied().unwrap_or(0.0);
        for (slot, db) in band.iter_mut().zip(&moves) {
            *slot += (db - there).powi(2);
        }
    }
    Ok(band.iter().map(|s| OF_95 * s.sqrt()).collect())
}

/// A cause: the part it belongs to, and dB at each frequency.
type Stray = (Option<String>, Vec<f64>);

/// What one standard deviation of each cause does to the curve, dB at each frequency, and the part it belongs to.
fn strays(
    circuit: &Circuit,
    library: &Library,
    request: &VoicingRequest,
) -> Result<Vec<Stray>, String> {
    let changed;
    let circuit = if request.resistive_load {
        changed = super::with_resistors(circuit);
        &changed
    } else {
        circuit
    };
    let Rest {
        at:
            Plugged {
                from,
                solved,
                source,
                ..
            },
        ends: (a, b),
        small,
    } = rest(circuit, library, request)?;
    let (net, solution) = (&solved.point.netlist, &solved.point.solution);
    let slopes = Linearised::new(net, solution).map_err(|e| e.to_string())?;
    let table = Tolerances::standard().map_err(|e| e.to_string())?;
    let causes = Causes::of(circuit, &net.parameters, &table, MainsKnown::Read);
    let mut all: Vec<Stray> = causes
        .causes
        .iter()
        .map(|cause| {
            let parameter = cause.moves.first().and_then(|m| net.parameters.get(m.0));
            let part = parameter.map(|p| {
                part_of(circuit, &p.part).map_or_else(|| p.part.clone(), |part| part.name.clone())
            });
            (part, vec![0.0; request.hertz.len()])
        })
        .collect();
    let mut arrives = false;
    for (i, &hertz) in request.hertz.iter().enumerate() {
        let at = small.at(hertz).map_err(|e| e.to_string())?;
        let moved = at.per_volt(source);
        let volts = |n: usize| moved.get(n).copied().unwrap_or_default();
        let gain = volts(a) - volts(b);
        arrives |= gain.abs() >= SILENT;
        if let Some(valve) = unknown_in_the_way(&solved, &at, &moved, (a, b), gain) {
            return Err(in_the_way(&valve));
        }
        let held = Held::Nothing(&slopes);
        let follows = at.sensitivities(net, solution, source, (a, b), held);
        for (cause, (_, line)) in causes.causes.iter().zip(&mut all) {
            let moves = cause.moves.iter().map(|(p, weight)| {
                let slope = follows.get(*p).copied().unwrap_or_default();
                weight * decibels_of(slope, gain)
            });
            if let Some(slot) = line.get_mut(i) {
                *slot = moves.sum();
            }
        }
    }
    if !arrives {
        return Err(silent(&from, &request.to));
    }
    Ok(all)
}

/// Decibels per unit of a logarithm, from the change of a gain.
pub(crate) fn decibels_of(slope: Complex, gain: Complex) -> f64 {
    if gain.abs() <= 0.0 {
        return 0.0;
    }
    20.0 / std::f64::consts::LN_10 * (slope / gain).re
}
