//! What readings say of a valve: plate and screen watts, with their uncertainty.
//!
//! Cathode current from the volts across the cathode resistor (shared alike by the valves on
//! it), screen current from the drop across the screen resistor or, unread, from the type's usual
//! share; or plate current from the drop across its half of the primary, where nothing else was
//! read. Each input is a rectangle of its half-width; their squares are added over three, and
//! twice the root is given (coverage about 95 %).

use super::{Stage, Work, electrode};
use crate::powered::{ends, value};
use crate::rules::rules;
use serde::Serialize;
use wiring::circuit::{Circuit, Electrode, Kind};
use wiring::roles::{Block, Role, Section};
use wiring::{GROUND, NodeId};

/// What readings give for one valve.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Measured {
    /// Plate current, milliamperes.
    pub plate_ma: f64,
    /// Either way, about 95 %.
    pub plate_ma_plus_minus: f64,
    /// Plate dissipation, watts.
    pub plate_w: f64,
    /// Either way, about 95 %.
    pub plate_w_plus_minus: f64,
    /// Screen dissipation, watts, where the screen's drop was read.
    pub screen_w: Option<f64>,
    /// Which readings it rests on.
    pub by: String,
}

/// A value with the half-width of what it may be off.
#[derive(Debug, Clone, Copy)]
struct Wide {
    value: f64,
    half: f64,
}

impl Wide {
    fn relative(self) -> f64 {
        if self.value == 0.0 {
            0.0
        } else {
            self.half / self.value.abs()
        }
    }
}

/// Relative half-widths as rectangles: twice the root of the sum of squares over three.
fn expanded(parts: &[f64]) -> f64 {
    let sum: f64 = parts.iter().map(|p| p * p / 3.0).sum();
    2.0 * sum.sqrt()
}

pub(super) fn measured(
    work: &Work<'_>,
    block: &Block,
    section: &Section,
    valve_type: &str,
) -> Option<Measured> {
    let plate = section.plate?;
    let cathode = section.cathode?;
    let plate_volts = work.read.has(plate).then(|| work.read.at(plate)).flatten();
    let supply = block.supply.filter(|n| work.read.has(*n));
    let cathode_volts = cathode_volts(work, cathode)?;
    let (top, top_node) = match (plate_volts, supply) {
        (Some(v), _) => (v, plate),
        // The plate stands below its supply by the drop of the primary, a few volts: on the safe side.
        (None, Some(n)) => (work.read.at(n)?, n),
        (None, None) => return None,
    };
    let across = Wide {
        value: top - cathode_volts.value,
        half: work
            .read
            .half_width(top_node, GROUND)
            .hypot(cathode_volts.half),
    };
    let (amps, how, screen) = by_cathode(work, block, section, valve_type, cathode_volts)
        .or_else(|| by_primary(work, block, section))?;
    if !(across.value > 0.0 && amps.value.is_finite()) {
        return None;
    }
    let relative = expanded(&[amps.relative(), across.relative()]);
    let plate_w = amps.value * across.value;
    let screen_w = screen.and_then(|screen| {
        let node = electrode(work.circuit, section, Electrode::Screen)?;
        let volts = work.read.has(node).then(|| work.read.at(node)).flatten()?;
        Some((volts - cathode_volts.value) * screen)
    });
    Some(Measured {
        plate_ma: amps.value * 1e3,
        plate_ma_plus_minus: (amps.value * 1e3).abs() * expanded(&[amps.relative()]),
        plate_w,
        plate_w_plus_minus: plate_w.abs() * relative,
        screen_w,
        by: how,
    })
}

/// Cathode volts: read, or nothing where the cathode is on ground.
fn cathode_volts(work: &Work<'_>, cathode: NodeId) -> Option<Wide> {
    if cathode == GROUND {
        return Some(Wide {
            value: 0.0,
            half: 0.0,
        });
    }
    let value = work.read.at(cathode)?;
    Some(Wide {
        value,
        half: work.read.half_width(cathode, GROUND),
    })
}

/// Ohms of a resistor, with half its tolerance: 1 % where it was read or is marked so, as marked
/// otherwise, and 10 % where nothing is said.
fn ohms(circuit: &Circuit, index: usize) -> Option<Wide> {
    let part = circuit.parts.get(index)?;
    let Kind::Resistor { ohms } = part.kind else {
        return None;
    };
    let value = value(part, ohms).filter(|r| *r > 0.0)?;
    let share = if part.known.reading.is_some_and(|r| !r.in_circuit) {
        0.01
    } else {
        part.known.tolerance.map_or(0.1, |(down, up)| down.max(up))
    };
    Some(Wide {
        value,
        half: value * share,
    })
}

/// Plate current from the cathode resistor, less the screen's.
fn by_cathode(
    work: &Work<'_>,
    block: &Block,
    section: &Section,
    valve_type: &str,
    cathode_volts: Wide,
) -> Option<(Wide, String, Option<f64>)> {
    let cathode = section.cathode?;
    let under: Vec<usize> = work
        .with_role(block, Role::CathodeResistor)
        .filter(|i| {
            let part = work.circuit.parts.get(*i);
            part.and_then(ends)
                .is_some_and(|e| e == (cathode, GROUND) || e == (GROUND, cathode))
        })
        .collect();
    let resistances: Vec<Wide> = under
        .iter()
        .map(|i| ohms(work.circuit, *i))
        .collect::<Option<_>>()?;
    if resistances.is_empty() {
        return None;
    }
    let sharing = block
        .sections
        .iter()
        .filter(|s| s.cathode == Some(cathode))
        .count()
        .max(1) as f64;
    let whole: f64 = resistances
        .iter()
        .map(|r| cathode_volts.value / r.value)
        .sum();
    let half_of_ohms = resistances.iter().map(|r| r.relative()).fold(0.0, f64::max);
    let total = whole / sharing;
    let screen = screen_amps(work, block, section);
    let (screen, share_half, words) = match screen {
        Some(amps) => (
            Wide {
                value: amps.value,
                half: amps.half,
            },
            0.0,
            "screen resistor's drop",
        ),
        None if section.pentode => {
            let (low, high) = share(valve_type);
            let middle = f64::midpoint(low, high);
            (
                Wide {
                    value: total * middle,
                    half: 0.0,
                },
                (high - low) / 2.0 * total,
                "the type's usual screen share",
            )
        }
        None => (
            Wide {
                value: 0.0,
                half: 0.0,
            },
            0.0,
            "",
        ),
    };
    let value = total - screen.value;
    let half = (total * half_of_ohms)
        .hypot(total * cathode_volts.relative())
        .hypot(screen.half)
        .hypot(share_half);
    let names: Vec<&str> = under
        .iter()
        .filter_map(|i| work.circuit.parts.get(*i))
        .map(|p| p.name.as_str())
        .collect();
    let mut how = format!("volts across {}", names.join(" and "));
    if sharing > 1.0 {
        how.push_str(&format!(", shared by {sharing:.0} valves"));
    }
    if !words.is_empty() {
        how.push_str(&format!("; {words}"));
    }
    let read_screen = screen_amps(work, block, section).map(|a| a.value);
    Some((Wide { value, half }, how, read_screen))
}

/// Screen current from the drop across its resistor.
fn screen_amps(work: &Work<'_>, block: &Block, section: &Section) -> Option<Wide> {
    let screen = electrode(work.circuit, section, Electrode::Screen)?;
    let index = work.with_role(block, Role::ScreenResistor).find(|i| {
        work.circuit
            .parts
            .get(*i)
            .and_then(ends)
            .is_some_and(|(a, b)| a == screen || b == screen)
    })?;
    let (a, b) = ends(work.circuit.parts.get(index)?)?;
    let resistance = ohms(work.circuit, index)?;
    let volts = work.read.part(work.circuit, index)?;
    let drop = if b == screen { volts } else { -volts };
    let value = drop / resistance.value;
    // A difference of two large readings says little: only where it stands clear of the meter.
    let half = work.read.half_width(a, b);
    if half > 0.5 * drop.abs() {
        return None;
    }
    Some(Wide {
        value,
        half: (value * resistance.relative()).hypot(half / resistance.value),
    })
}

/// The usual share of the screen in the cathode current, low and high, by type.
fn share(valve_type: &str) -> (f64, f64) {
    let family = match valve_type {
        t if t.starts_with("6V6") || t.starts_with("6AQ5") || t.starts_with("EL90") => "6V6GT",
        t if t.starts_with("EL84") || t.starts_with("6BQ5") || t.starts_with("7189") => "EL84/6BQ5",
        t if t.starts_with("EL34") || t.starts_with("6CA7") => "EL34",
        t if t.starts_with("KT") || t.starts_with("6550") => "KT66/KT88/6550",
        t if t.starts_with("6L6") || t.starts_with("5881") || t.starts_with("7027") => "6L6 family",
        _ => "",
    };
    // A type without a row may lie anywhere between the others.
    let (low, high) = rules()
        .range("bias.screen_share", family)
        .unwrap_or((4.0, 15.0));
    (low / 100.0, high / 100.0)
}

/// Plate current from the drop across half the primary and its written ohms.
fn by_primary(
    work: &Work<'_>,
    block: &Block,
    section: &Section,
) -> Option<(Wide, String, Option<f64>)> {
    let plate = section.plate?;
    let index = work.with_role(block, Role::OutputTransformer).next()?;
    let part = work.circuit.parts.get(index)?;
    let Kind::OutputTransformer(t) = &part.kind else {
        return None;
    };
    let at = |name: &str| part.terminals.iter().find(|x| x.name == name)?.node;
    let (end, halves) = if t.single {
        (at("p2").filter(|n| *n != plate).or(at("p1"))?, 1.0)
    } else {
        (at("p0")?, 0.5)
    };
    let whole = t.ohms.filter(|r| *r > 0.0)?;
    let resistance = match (t.halves, at("p1") == Some(plate)) {
        (Some((a, _)), true) if !t.single => a,
        (Some((_, b)), false) if !t.single => b,
        _ => whole * halves,
    };
    if !(work.read.direct(end, plate) || (work.read.has(end) && work.read.has(plate))) {
        return None;
    }
    let drop = work.read.between(end, plate)?;
    let half = work.read.half_width(end, plate);
    let sharing = block
        .sections
        .iter()
        .filter(|s| s.plate == Some(plate))
        .count()
        .max(1) as f64;
    if half > 0.5 * drop.abs() || drop <= 0.0 {
        return None;
    }
    let value = drop / resistance / sharing;
    // Written ohms of a winding: halves may differ by a fifth, and hot copper has gained a tenth.
    let wide = if t.halves.is_some() { 0.1 } else { 0.2 };
    let mut how = format!(
        "drop across half the primary of {} over its written {resistance:.0} ohm",
        part.name
    );
    if sharing > 1.0 {
        how.push_str(&format!(", shared by {sharing:.0} valves"));
    }
    Some((
        Wide {
            value,
            half: (value * wide).hypot(value * half / drop),
        },
        how,
        None,
    ))
}

/// Difference of the two sides by readings, percent of their mean.
pub(super) fn balance(stage: &Stage) -> Option<f64> {
    if !stage.push_pull {
        return None;
    }
    let side = |n: u8| -> Option<f64> {
        let valves: Vec<&super::ValveIdle> = stage.valves.iter().filter(|v| v.side == n).collect();
        let amps: Option<Vec<f64>> = valves
            .iter()
            .map(|v| v.measured.as_ref().map(|m| m.plate_ma))
            .collect();
        amps.filter(|a| !a.is_empty()).map(|a| a.iter().sum())
    };
    // Valves on one resistor read alike whatever they draw.
    let shared = stage
        .valves
        .iter()
        .filter_map(|v| v.measured.as_ref())
        .any(|m| m.by.contains("shared by") && m.by.contains("volts across"));
    if shared {
        return None;
    }
    let (a, b) = (side(1)?, side(2)?);
    (a + b > 0.0).then(|| 100.0 * (a - b).abs() / ((a + b) / 2.0))
}
