//! An estimate of the hum that an unbalanced heater supply brings to the first grid.
//!
//! Both heater leads should swing alike against ground, one up while the other goes down. What is
//! left over, their mean, goes through the few tenths of a picofarad between a heater pin and the
//! grid into the grid's resistance. An estimate: the stray capacitance is a guess, and leads that
//! run near a grid bring more.

use super::{Reference, ReferenceSort, Work};
use serde::Serialize;
use std::f64::consts::TAU;
use wiring::roles::BlockKind;
use wiring::{GROUND, NodeId};

/// Heater to grid, farads: at most 0.15 pF inside a twin triode of high amplification (from memory of a
/// European data sheet, not seen); socket and leads are taken as as much again.
const STRAY_FARADS: f64 = 0.3e-12;

/// Resistors of a pair, or halves of a winding, that are called equal may differ by this
/// (`heater.reference`: matched 5 %).
const MATCH: f64 = 0.05;

/// Hum by imbalance.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Hum {
    /// Mean of both leads against ground, rms, as wired.
    pub common_v: f64,
    /// The same with the pair out of match by 5 %.
    pub common_matched_v: f64,
    /// The grid it was worked out for.
    pub grid: Option<String>,
    /// Resistance of that grid to ground, jacks empty or as set.
    pub grid_ohms: Option<f64>,
    /// Volts rms at that grid, of the larger of both.
    pub grid_v: Option<f64>,
}

pub(super) fn hum(
    work: &Work<'_>,
    leads: Option<(NodeId, NodeId)>,
    reference: &Reference,
) -> Option<Hum> {
    let (a, b) = leads?;
    if matches!(
        reference.sort,
        ReferenceSort::None | ReferenceSort::RectifierCathode
    ) {
        return None;
    }
    let now = work.now.as_ref()?;
    let (one, two) = (now.alternating(a, GROUND)?, now.alternating(b, GROUND)?);
    let whole = now.alternating(a, b)?;
    if whole < 0.1 {
        return None;
    }
    // Both ends swing in step or against each other: their mean is half the difference of their sizes when
    // they oppose, half the sum when they do not.
    let opposed = (one + two - whole).abs() < 0.05 * whole;
    let common = if opposed {
        (one - two).abs() / 2.0
    } else {
        f64::midpoint(one, two)
    };
    let matched = match reference.sort {
        ReferenceSort::ResistorPair => whole * MATCH / 2.0,
        _ => 0.0,
    };
    let grid = first_grid(work);
    let ohms = grid
        .and_then(|(_, n)| now.source_ohms(n))
        .filter(|r| *r < 1e9);
    let omega = TAU * now.solved.point.netlist.hertz;
    let worst = common.max(matched);
    Some(Hum {
        common_v: common,
        common_matched_v: matched,
        grid: grid.map(|(name, _)| name.to_owned()),
        grid_ohms: ohms,
        grid_v: ohms.map(|r| {
            let x = omega * STRAY_FARADS * r;
            worst * x / x.hypot(1.0)
        }),
    })
}

/// The grid behind the first input.
fn first_grid<'a>(work: &'a Work<'_>) -> Option<(&'a str, NodeId)> {
    let blocks = &work.anatomy.blocks;
    let behind = |nodes: &[NodeId]| {
        blocks
            .iter()
            .filter(|b| b.kind != BlockKind::Input)
            .flat_map(|b| &b.sections)
            .find(|s| s.grid.is_some_and(|g| nodes.contains(&g)))
    };
    let section = blocks
        .iter()
        .filter(|b| b.kind == BlockKind::Input)
        .find_map(|b| behind(&b.outputs))
        .or_else(|| {
            blocks
                .iter()
                .filter(|b| matches!(b.kind, BlockKind::CommonCathode | BlockKind::Pentode))
                .find_map(|b| b.sections.first())
        })?;
    let part = work.circuit.parts.get(section.part.0)?;
    Some((part.name.as_str(), section.grid?))
}
