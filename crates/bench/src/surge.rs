//! The highest volts that each capacitor ever sees.
//!
//! Two states are solved at the highest likely mains: everything warm, and every valve but the
//! rectifier cold. A cold valve draws nothing, so the rails rise to the peak of the unloaded
//! winding: at once with silicon, within seconds with a directly heated rectifier. A rectifier with a
//! cathode warms with the other valves and spares them that, but only as long as those valves are
//! in and sound, so its cold figure counts all the same. The peaks of what alternates stand on
//! top of the steady volts.
//!
//! Standby switches count as closed: that is the worst. Knows no ratings; [`crate::supply`]
//! holds them against these.

use crate::powered::{Asked, Powered, ends, rectifiers, sheet_of};
use crate::wall;
use serde::Serialize;
use std::collections::BTreeMap;
use std::f64::consts::SQRT_2;
use wiring::circuit::{Circuit, DiodeSort, History, Kind, Setting};
use wiring::readings::{Conditions, ValvesIn};
use wiring::roles::{Anatomy, Role};
use wiring::sheet::{Library, ValveKind};
use wiring::{NodeId, PartId};

/// Peak of a triangle over its rms: the shape of reservoir ripple.
const TRIANGLE: f64 = 1.732_050_807_568_877_2;

/// What rectifies the high tension.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum RectifierSort {
    /// A valve with a cathode: it warms with the others.
    IndirectlyHeated,
    /// A valve whose filament is its cathode: there within a second or two.
    DirectlyHeated,
    /// Silicon or selenium: there at once.
    Solid,
}

impl RectifierSort {
    /// In words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::IndirectlyHeated => "rectifier valve with a cathode",
            Self::DirectlyHeated => "directly heated rectifier valve",
            Self::Solid => "silicon or selenium rectifier",
        }
    }

    /// When the rails reach their cold volts.
    #[must_use]
    pub fn when(self) -> &'static str {
        match self {
            Self::IndirectlyHeated => {
                "The rectifier warms with the other valves, so the rails reach these volts only with \
                 valves pulled, worn out or slower than it."
            }
            Self::DirectlyHeated => {
                "The rectifier conducts within seconds, the other valves later: the rails reach these \
                 volts at every cold start."
            }
            Self::Solid => {
                "The rectifier conducts at once, the valves after ten seconds and more: the rails reach \
                 these volts at every cold start."
            }
        }
    }
}

/// The highest volts of one capacitor.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Highest {
    /// The capacitor.
    pub part: String,
    /// Valves cold, highest mains: steady volts plus peaks, first terminal over second.
    pub cold_v: Option<f64>,
    /// Everything warm, highest mains.
    pub warm_v: Option<f64>,
    /// Volts rms at mains frequency across it at the highest mains, the larger of both states.
    pub ac_v: f64,
}

impl Highest {
    /// The larger of the two, without sign.
    #[must_use]
    pub fn volts(&self) -> Option<f64> {
        let size = |v: Option<f64>| v.map(f64::abs);
        match (size(self.cold_v), size(self.warm_v)) {
            (Some(a), Some(b)) => Some(a.max(b)),
            (a, b) => a.or(b),
        }
    }

    /// The volts with their sign: those of the state that has more.
    #[must_use]
    pub fn signed(&self) -> Option<f64> {
        match (self.cold_v, self.warm_v) {
            (Some(a), Some(b)) => Some(if b.abs() > a.abs() { b } else { a }),
            (a, b) => a.or(b),
        }
    }
}

/// All capacitors at their highest, and the two states they come from.
#[derive(Clone)]
pub struct Surge {
    /// The mains it was worked out at.
    pub mains_volts: f64,
    /// What rectifies the high tension, where that is traced.
    pub rectifier: Option<RectifierSort>,
    /// Every wired capacitor, in the order of the wiring.
    pub capacitors: Vec<Highest>,
    /// Why a state has no figures.
    pub unsolved: Vec<String>,
    pub(crate) cold: Option<Powered>,
    pub(crate) warm: Option<Powered>,
}

impl Surge {
    /// Highest volts of a node against ground, peaks included.
    #[must_use]
    pub fn node(&self, node: NodeId) -> Option<f64> {
        let one = |p: &Option<Powered>| {
            let p = p.as_ref()?;
            Some(p.volts(node)?.abs() + TRIANGLE * p.ripple(node).unwrap_or(0.0))
        };
        match (one(&self.cold), one(&self.warm)) {
            (Some(a), Some(b)) => Some(a.max(b)),
            (a, b) => a.or(b),
        }
    }

    /// The same with valves cold only.
    #[must_use]
    pub fn node_cold(&self, node: NodeId) -> Option<f64> {
        let p = self.cold.as_ref()?;
        Some(p.volts(node)?.abs() + TRIANGLE * p.ripple(node).unwrap_or(0.0))
    }

    /// By part: the volts that each capacitor starts from when the plug is pulled at the worst
    /// moment, first terminal over second.
    #[must_use]
    pub fn starts(&self) -> BTreeMap<String, f64> {
        self.capacitors
            .iter()
            .filter_map(|c| Some((c.part.clone(), c.signed()?)))
            .collect()
    }
}

/// The highest volts of every capacitor.
#[must_use]
pub fn surge(circuit: &Circuit, library: &Library, anatomy: &Anatomy, asked: &Asked) -> Surge {
    surge_with(circuit, library, anatomy, asked, &[])
}

/// The same; what is set by `cold_sets` holds besides while the valves are cold.
pub(crate) fn surge_with(
    circuit: &Circuit,
    library: &Library,
    anatomy: &Anatomy,
    asked: &Asked,
    cold_sets: &[Setting],
) -> Surge {
    let block = crate::powered::block(circuit, asked);
    let today = crate::powered::mains_volts(circuit, &crate::powered::conditions(asked, block));
    let highest = wall::wall(wall::made_for(circuit), today).highest;
    let under = |valves: ValvesIn, more: &[Setting]| Conditions {
        mains_volts: Some(highest),
        valves,
        sets: asked.sets.iter().chain(more).cloned().collect(),
        standby_open: Some(false),
        ..Conditions::default()
    };
    let mut unsolved = Vec::new();
    let mut state = |valves: ValvesIn, more: &[Setting], words: &str| match Powered::new(
        circuit,
        library,
        &under(valves, more),
    ) {
        Ok(powered) => Some(powered),
        Err(why) => {
            unsolved.push(format!("{words}: {why}"));
            None
        }
    };
    let cold = state(
        ValvesIn::Only(rectifiers(circuit, library)),
        cold_sets,
        "valves cold, highest mains",
    );
    let warm = state(ValvesIn::All, &[], "everything warm, highest mains");
    let capacitors = circuit
        .parts
        .iter()
        .filter(|p| {
            matches!(p.kind, Kind::Capacitor { .. }) && p.known.history != Some(History::Removed)
        })
        .filter_map(|p| {
            let (a, b) = ends(p)?;
            (a != b).then(|| {
                let of = |s: &Option<Powered>| s.as_ref().and_then(|s| across(s, a, b));
                let ac = |s: &Option<Powered>| {
                    s.as_ref().and_then(|s| s.alternating(a, b)).unwrap_or(0.0)
                };
                Highest {
                    part: p.name.clone(),
                    cold_v: of(&cold),
                    warm_v: of(&warm),
                    ac_v: ac(&cold).max(ac(&warm)),
                }
            })
        })
        .collect();
    Surge {
        mains_volts: highest,
        rectifier: rectifier_sort(circuit, library, anatomy),
        capacitors,
        unsolved,
        cold,
        warm,
    }
}

/// Steady volts with the peak of what alternates on top, first end over second.
///
/// Volts that alternate are known also where the steady ones are not: on the mains side the
/// steady part is nothing.
fn across(state: &Powered, a: NodeId, b: NodeId) -> Option<f64> {
    let ac = SQRT_2 * state.alternating(a, b).unwrap_or(0.0);
    let steady = match state.across(a, b) {
        Some(volts) => volts,
        None if ac > 0.0 && state.floats_together(a, b) => 0.0,
        None => return None,
    };
    let ripple = match (a, b) {
        (n, wiring::GROUND) | (wiring::GROUND, n) => TRIANGLE * state.ripple(n).unwrap_or(0.0),
        _ => 0.0,
    };
    let peak = ac.max(ripple);
    Some(if steady < 0.0 {
        steady - peak
    } else {
        steady + peak
    })
}

impl Powered {
    /// Two nodes that hang together by resistance though neither has volts against ground.
    fn floats_together(&self, a: NodeId, b: NodeId) -> bool {
        self.between_ohms(a, b).is_some_and(|r| r < 1e7)
    }
}

/// The sort of the rectifiers in the high-tension supply; of several, the quickest.
#[must_use]
pub fn rectifier_sort(
    circuit: &Circuit,
    library: &Library,
    anatomy: &Anatomy,
) -> Option<RectifierSort> {
    high_tension_rectifiers(anatomy)
        .filter_map(|id| {
            let part = circuit.parts.get(id.0)?;
            match &part.kind {
                Kind::Bridge => Some(RectifierSort::Solid),
                Kind::Diode {
                    sort: DiodeSort::Silicon(_) | DiodeSort::Selenium | DiodeSort::Ideal,
                } => Some(RectifierSort::Solid),
                Kind::Valve(_) => match sheet_of(library, part)?.kind {
                    ValveKind::DirectlyHeatedRectifier => Some(RectifierSort::DirectlyHeated),
                    ValveKind::Rectifier => Some(RectifierSort::IndirectlyHeated),
                    _ => None,
                },
                _ => None,
            }
        })
        .max()
}

/// The rectifiers of the high-tension supply.
pub(crate) fn high_tension_rectifiers(anatomy: &Anatomy) -> impl Iterator<Item = PartId> + '_ {
    let mut seen = Vec::new();
    anatomy
        .blocks
        .iter()
        .filter(|b| b.kind == wiring::roles::BlockKind::HtSupply)
        .flat_map(|b| &b.parts)
        .filter(|(_, role)| *role == Role::Rectifier)
        .map(|(id, _)| *id)
        .filter(move |id| {
            let new = !seen.contains(id);
            seen.push(*id);
            new
        })
}

#[cfg(test)]
mod tests;
