//! Mains transformers: from volts under load to turns, and from size to unwritten ohms.
//!
//! Turns are counted in volts: the primary has as many as its volts, a secondary as many as it
//! would give unloaded. A winding's stated volts hold at its stated current, with every other
//! winding loaded too, so its turns make up for the drop in its own copper and in the primary's.

use std::f64::consts::TAU;

use wiring::Part;
use wiring::circuit::{PowerTransformer, Winding};

use super::builder::{Builder, MOST_VOLTS, written, written_ohms};
use super::defaults::{
    HALVES_HEAT, HALVES_VA, IRON_LOSS, LEAST_OHMS, LINK_OHMS, MAGNETISING_SHARE, PRIMARY_SHARE,
    copper_loss, winding_amps,
};
use super::mains::Mains;
use super::windings::{Tap, ports, said_ohms};
use crate::netlist::{Law, NodeIndex, Quantity, Slot, Transformer, WindingPort};

/// A centre-tapped winding of no more volts than this end to end is a heater's: loaded end to
/// end. Above, one half works at a time, as in a full-wave rectifier.
const HEATER_VOLTS: f64 = 30.0;

/// What a winding comes to.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Design {
    /// Ohms of the whole primary.
    pub(super) primary_ohms: f64,
    /// Unloaded volts over stated volts, for each secondary.
    pub(super) unloaded: Vec<f64>,
    /// Ohms of each whole secondary.
    pub(super) ohms: Vec<f64>,
    /// Primary inductance.
    pub(super) henries: f64,
    /// Iron loss as ohms across the primary.
    pub(super) iron_ohms: f64,
    /// Rated volt-amperes, stated or supposed.
    pub(super) volt_amperes: f64,
    /// What was not written, in words.
    pub(super) assumed: Vec<String>,
    /// Windings whose ohms and stated current contradict each other, in words.
    pub(super) doubtful: Vec<String>,
}

/// The stretch of a winding that carries its stated current.
struct InUse {
    volts: f64,
    /// Its share of the whole winding.
    share: f64,
    /// Half by half: its two halves work in turn.
    in_turn: bool,
}

fn in_use(w: &Winding, centre_wired: bool) -> InUse {
    let (low, high) = span(&w.taps);
    let whole = high - low;
    let centre = low < 0.0 && high > 0.0 && w.taps.iter().any(|t| t.1 == 0.0);
    if centre && centre_wired && whole > HEATER_VOLTS {
        let volts = high.max(-low);
        InUse {
            volts,
            share: volts / whole,
            in_turn: true,
        }
    } else {
        InUse {
            volts: whole,
            share: 1.0,
            in_turn: false,
        }
    }
}

/// Least and greatest volts of a list of taps.
pub(super) fn span(taps: &[(usize, f64)]) -> (f64, f64) {
    let finite = taps.iter().map(|t| t.1).filter(|v| v.abs() <= MOST_VOLTS);
    let (low, high) = finite.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| {
        (l.min(v), h.max(v))
    });
    if low <= high { (low, high) } else { (0.0, 0.0) }
}

/// Turns and ohms of a mains transformer. `centre_wired` says, for each secondary, whether a
/// lead goes to its centre tap.
///
/// With the primary's volts `V1` and ohms `r1`, and each rated secondary's volts `V`, amperes
/// `I` and ohms `r` in use, the core's volts under full load are `x V1` with
/// `x = 1 - (r1 / V1^2) sum((V + I r) I) / x`, and the turns of a secondary are
/// `(V + I r) / x`. A winding without a current states its unloaded volts. One that would lose more than
/// its volts in its own copper does not exist, so a figure is wrong: it counts as one without loss.
pub(super) fn design(t: &PowerTransformer, centre_wired: &[bool]) -> Design {
    let (low, high) = span(&t.primary);
    let v1 = (high - low).max(1e-3);
    let uses: Vec<InUse> = t
        .windings
        .iter()
        .enumerate()
        .map(|(i, w)| in_use(w, centre_wired.get(i).copied().unwrap_or(true)))
        .collect();
    let stated = |w: &Winding| written(w.amps, 1e4);
    let volt_amperes: f64 = t
        .windings
        .iter()
        .zip(&uses)
        .map(|(w, u)| {
            let pulses = if u.in_turn { HALVES_VA } else { 1.0 };
            pulses * u.volts * stated(w).unwrap_or_else(|| winding_amps(u.volts))
        })
        .sum();
    let loss = copper_loss(volt_amperes);
    let mut assumed = Vec::new();

    let mut ohms = Vec::new();
    for (w, u) in t.windings.iter().zip(&uses) {
        ohms.push(
            match written_ohms(w.halves.map(|(a, b)| a + b).or(w.ohms)) {
                Some(r) => r,
                None if t.ideal => LEAST_OHMS,
                None => {
                    let amps = stated(w).unwrap_or_else(|| winding_amps(u.volts));
                    let heat = if u.in_turn { HALVES_HEAT } else { 1.0 };
                    let r = ((1.0 - PRIMARY_SHARE) * loss * u.volts / amps / heat / u.share)
                        .clamp(LEAST_OHMS, 1e6);
                    assumed.push(format!("{} {} ohm", w.name, said_ohms(r)));
                    r
                }
            },
        );
    }
    let primary_ohms = match written_ohms(t.primary_ohms) {
        Some(r) => r,
        None if t.ideal => LEAST_OHMS,
        None => {
            let r = (PRIMARY_SHARE * loss * v1 * v1 / volt_amperes.max(1.0)).clamp(LEAST_OHMS, 1e6);
            assumed.push(format!("primary {} ohm", said_ohms(r)));
            r
        }
    };

    let mut doubtful = Vec::new();
    let drops: Vec<f64> = t
        .windings
        .iter()
        .zip(&uses)
        .zip(&ohms)
        .map(|((w, u), r)| {
            let amps = stated(w).unwrap_or(0.0);
            let drop = amps * r * u.share;
            if u.volts <= 0.0 || drop <= u.volts {
                return drop;
            }
            doubtful.push(format!("{} {} ohm at {amps} A", w.name, said_ohms(*r)));
            0.0
        })
        .collect();
    let drop = |i: usize| drops.get(i).copied().unwrap_or(0.0);
    let load: f64 = t
        .windings
        .iter()
        .enumerate()
        .map(|(i, w)| (uses.get(i).map_or(0.0, |u| u.volts) + drop(i)) * stated(w).unwrap_or(0.0))
        .sum();
    // A primary that could not carry the stated load at all is held at half volts.
    let spare = 1.0 - 4.0 * primary_ohms * load / (v1 * v1);
    if spare < 0.0 {
        doubtful.push(format!(
            "primary {} ohm at {load:.0} VA",
            said_ohms(primary_ohms)
        ));
    }
    let x = 0.5 * (1.0 + spare.max(0.0).sqrt());

    let (henries, iron_ohms) = if t.ideal || volt_amperes <= 0.0 {
        (1e6, f64::INFINITY)
    } else {
        let hertz = if v1 >= 200.0 { 50.0 } else { 60.0 };
        (
            v1 * v1 / (TAU * hertz * MAGNETISING_SHARE * volt_amperes),
            v1 * v1 / (IRON_LOSS * volt_amperes),
        )
    };
    // The iron's own small current in the primary copper must not lower the volts that were stated.
    let iron = 1.0 + primary_ohms / iron_ohms;
    let unloaded = t
        .windings
        .iter()
        .enumerate()
        .map(|(i, w)| match (stated(w), uses.get(i)) {
            (Some(_), Some(u)) if u.volts > 0.0 => iron * (1.0 + drop(i) / u.volts) / x,
            _ => iron,
        })
        .collect();
    Design {
        primary_ohms,
        unloaded,
        ohms,
        henries,
        iron_ohms,
        volt_amperes,
        assumed,
        doubtful,
    }
}

/// Adds a mains transformer with every winding that is wired.
pub(super) fn transformer(b: &mut Builder<'_>, part: &Part, t: &PowerTransformer, mains: &Mains) {
    let (low, high) = span(&t.primary);
    if high - low <= 0.0 {
        b.unsolved(
            &part.name,
            format!(
                "its primary volts are not known; type `{} power 230 V: ...`",
                part.name
            ),
        );
        return;
    }
    let centre_wired: Vec<bool> = t
        .windings
        .iter()
        .map(|w| {
            w.taps
                .iter()
                .any(|t| t.1 == 0.0 && b.wired(part, t.0).is_some())
        })
        .collect();
    let d = design(t, &centre_wired);
    if !d.assumed.is_empty() {
        b.note(
            "winding-ohms-assumed",
            format!(
                "{}: not written, taken {}: {}",
                part.name,
                if d.volt_amperes > 0.0 {
                    format!("from its size of {:.0} VA", d.volt_amperes)
                } else {
                    "as of a small one, since no winding with volts is written".to_owned()
                },
                d.assumed.join(", ")
            ),
        );
    }

    if !d.doubtful.is_empty() {
        b.note(
            "winding-ohms-doubtful",
            format!(
                "{}: more would be lost in the copper than there is ({}), so a figure is wrong and the volts behind it are a guess; read the ohms again, unplugged and discharged, or correct the amperes",
                part.name,
                d.doubtful.join(", ")
            ),
        );
    }

    let mut windings: Vec<WindingPort> = Vec::new();
    let mut groups: Vec<(String, std::ops::Range<usize>)> = Vec::new();
    let primary: Vec<Tap> = t
        .primary
        .iter()
        .map(|&(terminal, volts)| Tap {
            node: primary_node(b, part, terminal, mains),
            turns: volts.clamp(low, high),
            ohms: d.primary_ohms * (volts.clamp(low, high) - low) / (high - low),
            leakage: 0.0,
        })
        .collect();
    push(
        &mut windings,
        &mut groups,
        "primary",
        primary_sense(ports(&primary), t),
    );
    for (i, w) in t.windings.iter().enumerate() {
        let (factor, ohms) = (
            d.unloaded.get(i).copied().unwrap_or(1.0),
            d.ohms.get(i).copied().unwrap_or(LEAST_OHMS),
        );
        let taps = winding_taps(b, part, w, factor, ohms);
        push(&mut windings, &mut groups, &w.name, ports(&taps));
    }
    if windings.is_empty() {
        return;
    }
    let squared = (high - low) * (high - low);
    let e = b.add(
        &part.name,
        part.name.clone(),
        Law::Transformer(Transformer {
            windings,
            henries_per_turn2: d.henries / squared,
            ohms_per_turn2: d.iron_ohms / squared,
        }),
    );
    for (name, range) in groups {
        let of = format!("{} {name}", part.name);
        let slots = |slot: fn(usize) -> Slot| range.clone().map(|i| (e, slot(i))).collect();
        b.spreads(&of, Quantity::Ohms, slots(Slot::WindingOhms));
        if name != "primary" {
            b.spreads(&of, Quantity::Volts, slots(Slot::WindingTurns));
        }
    }
}

fn push(
    windings: &mut Vec<WindingPort>,
    groups: &mut Vec<(String, std::ops::Range<usize>)>,
    name: &str,
    ports: Vec<WindingPort>,
) {
    let start = windings.len();
    windings.extend(ports);
    groups.push((name.to_owned(), start..windings.len()));
}

/// `pri1` of an untapped primary is its in-phase end, whatever the order of its volts.
fn primary_sense(mut ports: Vec<WindingPort>, t: &PowerTransformer) -> Vec<WindingPort> {
    if let ([first, second], [port]) = (t.primary.as_slice(), ports.as_mut_slice())
        && first.1 < second.1
        && first.1 == 0.0
    {
        std::mem::swap(&mut port.a, &mut port.b);
    }
    ports
}

/// The node of a primary lead: its own, joined to the mains where the mains are not traced.
fn primary_node(
    b: &mut Builder<'_>,
    part: &Part,
    terminal: usize,
    mains: &Mains,
) -> Option<NodeIndex> {
    let own = b.at(part, terminal);
    let Some(side) = mains.joined(part, terminal) else {
        return own;
    };
    match own {
        Some(own) => {
            let name = format!("{} mains", part.name);
            b.resistor(&part.name, name, (side, own), LINK_OHMS);
            Some(own)
        }
        None => Some(side),
    }
}

/// Taps of a secondary with their unloaded volts and the copper up to each.
fn winding_taps(b: &mut Builder<'_>, part: &Part, w: &Winding, factor: f64, ohms: f64) -> Vec<Tap> {
    let (low, high) = span(&w.taps);
    let whole = (high - low).max(1e-9);
    w.taps
        .iter()
        .map(|&(terminal, volts)| {
            let volts = if volts.is_nan() {
                0.0
            } else {
                volts.clamp(low, high)
            };
            // Copper from the top end down, straight within each half.
            let copper = match w.halves {
                Some((first, second)) if low < 0.0 && high > 0.0 => {
                    if volts >= 0.0 {
                        first * (high - volts) / high
                    } else {
                        first + second * volts / low
                    }
                }
                _ => ohms * (high - volts) / whole,
            };
            Tap {
                node: b.at(part, terminal),
                turns: factor * volts,
                ohms: copper,
                leakage: 0.0,
            }
        })
        .collect()
}

#[cfg(test)]
mod tests;
