//! What its parts may drift to before it stops, or must come to before it starts.

use super::Found;
use super::oscillation::{elements, grows, pair, quiet, rest_of};
use crate::driven::Bench;
use serde::Serialize;
use solve::Netlist;
use solve::netlist::{Element, Law};

/// Drifts that are tried, as factors, nearest to none first; a step further only where the one before changed nothing.
const FACTORS: [f64; 5] = [1.25, 1.6, 2.0, 3.0, 5.0];
/// Leaks that are tried across each capacitor, ohms.
const LEAKS: [f64; 4] = [10e6, 3e6, 1e6, 300e3];
/// Emissions that are tried, from a new valve's down and up.
const EMISSIONS: (f64, f64) = (0.05, 4.0);

/// What changes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Sort {
    /// Its value falls.
    Lower,
    /// Its value rises.
    Higher,
    /// It leaks.
    Leaks,
}

/// One part, moved by itself.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Margin {
    /// The part.
    pub part: String,
    /// How it changes.
    pub sort: Sort,
    /// Its value as computed with: ohms or farads.
    pub value: f64,
    /// `ohm` or `F`.
    pub unit: &'static str,
    /// At which value (for a leak: ohms) it stops, where it goes now; or starts, where it does not. None within
    /// what was tried.
    pub turns_at: Option<f64>,
}

/// The share of the valve's emission at which the oscillation just holds.
pub(super) fn least_emission(found: &Found<'_>, bench: &Bench) -> Option<f64> {
    let element = bench
        .netlist
        .elements
        .iter()
        .position(|e| e.name == found.valve && matches!(e.law, Law::Triode { .. }))
        .or_else(|| {
            let part = found
                .circuit
                .parts
                .get(found.block.sections.first()?.part.0)?;
            let own = bench.solved.assembly.elements_of.get(&part.name)?;
            own.iter().copied().find(|e| {
                bench.netlist.elements.get(*e).is_some_and(|e| {
                    matches!(e.law, Law::Triode { .. } | Law::Pentode { .. })
                        && (e.name == found.valve || e.name == part.name)
                })
            })
        })?;
    let goes = |share: f64| {
        changed(bench, |netlist| {
            match &mut netlist.elements.get_mut(element)?.law {
                Law::Triode { law, .. } => law.k *= share,
                Law::Pentode { law, .. } => law.k *= share,
                _ => return None,
            }
            Some(())
        })
    };
    let (mut low, mut high) = EMISSIONS;
    if !goes(high)? {
        return None;
    }
    if goes(low)? {
        return Some(low);
    }
    for _ in 0..12 {
        let middle = (low * high).sqrt();
        if goes(middle)? {
            high = middle
        } else {
            low = middle
        }
    }
    Some(high)
}

/// Each part by itself, until the oscillation turns.
pub(super) fn all(found: &Found<'_>, bench: &Bench, going: bool) -> Vec<Margin> {
    let mut out = Vec::new();
    for (part, element) in elements(found, bench) {
        let Some((value, unit)) = bench.netlist.elements.get(element).and_then(value_of) else {
            continue;
        };
        for (sort, up) in [(Sort::Lower, false), (Sort::Higher, true)] {
            let scaled = |factor: f64| if up { value * factor } else { value / factor };
            let turned = |to: f64| {
                changed(bench, |netlist| set(netlist.elements.get_mut(element)?, to))
                    .is_some_and(|goes| goes != going)
            };
            let turns_at = FACTORS
                .iter()
                .copied()
                .find(|f| turned(scaled(*f)))
                .map(|f| {
                    let before = FACTORS.iter().copied().rfind(|b| *b < f).unwrap_or(1.0);
                    nearer(before, f, |f| turned(scaled(f)))
                })
                .map(scaled);
            out.push(Margin {
                part: part.clone(),
                sort,
                value,
                unit,
                turns_at,
            });
        }
        if unit == "F" && going {
            let turns_at = LEAKS
                .iter()
                .copied()
                .find(|leak| leaking(bench, element, *leak) == Some(false));
            out.push(Margin {
                part,
                sort: Sort::Leaks,
                value,
                unit,
                turns_at,
            });
        }
    }
    out
}

/// The factor at which it turns, between one that does not and one that does.
fn nearer(mut low: f64, mut high: f64, turned: impl Fn(f64) -> bool) -> f64 {
    for _ in 0..4 {
        let middle = (low * high).sqrt();
        if turned(middle) {
            high = middle
        } else {
            low = middle
        }
    }
    high
}

fn value_of(element: &Element) -> Option<(f64, &'static str)> {
    match element.law {
        Law::Resistor { ohms, .. } => Some((ohms, "ohm")),
        Law::Capacitor { farads, .. } => Some((farads, "F")),
        _ => None,
    }
}

fn set(element: &mut Element, to: f64) -> Option<()> {
    match &mut element.law {
        Law::Resistor { ohms, .. } => *ohms = to,
        Law::Capacitor { farads, .. } => *farads = to,
        _ => return None,
    }
    Some(())
}

/// Does it go with a leak across a capacitor?
fn leaking(bench: &Bench, element: usize, leak: f64) -> Option<bool> {
    changed(bench, |netlist| {
        let Law::Capacitor { a, b, .. } = netlist.elements.get(element)?.law else {
            return None;
        };
        let mut beside = netlist.elements.get(element)?.clone();
        beside.law = Law::Resistor { a, b, ohms: leak };
        netlist.elements.push(beside);
        Some(())
    })
}

/// Does it go with a change? None where the change is not to be had, or the circuit has no rest.
fn changed(bench: &Bench, change: impl FnOnce(&mut Netlist) -> Option<()>) -> Option<bool> {
    let mut netlist = quiet(bench);
    change(&mut netlist)?;
    let rest = rest_of(&netlist, &bench.solved.point.solution)?;
    Some(grows(pair(&netlist, &rest)))
}
