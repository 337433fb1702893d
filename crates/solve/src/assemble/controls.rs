//! Pots, switches, jacks, fuses.

use wiring::Part;
use wiring::circuit::{Position, Taper};

use super::builder::{Builder, Effective, MOST_VOLTS, effective, sound_ohms, written};
use super::defaults::{
    CONTACT_OHMS, KNOB, LEAST_OHMS, OPEN_OHMS, SHORT_OHMS, TRACK_END_OHMS, fuse_ohms,
};
use super::taper::fraction;
use crate::netlist::{Law, Quantity, Slot};

/// One gang of a pot: the track on either side of the wiper.
///
/// An open reading opens the track at the wiper's place: neither end is reached any more.
pub(super) fn pot(
    b: &mut Builder<'_>,
    part: &Part,
    marked: Option<f64>,
    taper: &Taper,
    switch: Option<&str>,
) {
    let rotation = match b.positions.said(part) {
        Some(Position::Number(n)) if n.is_finite() => n.clamp(0.0, 10.0),
        _ => {
            let knob = part.parent.as_ref().unwrap_or(&part.name);
            b.note(
                "knob-at-five",
                format!("{knob}: nobody says where it stands; taken at {KNOB}"),
            );
            KNOB
        }
    };
    if let (Some(switch), true) = (switch, rotation == 0.0) {
        b.note(
            "shaft-switch",
            format!(
                "{}: at 0, with {switch} on its shaft; {switch} is taken as it is set, not as clicked off",
                part.name
            ),
        );
    }
    let f = fraction(taper, rotation);
    let (below, above, known) = match effective(marked, &part.known) {
        Effective::Value(ohms) => {
            let least = TRACK_END_OHMS.min(0.01 * ohms).max(LEAST_OHMS);
            let part = |f: f64| (f * ohms).max(least);
            (part(f), part(1.0 - f), true)
        }
        Effective::Open => (OPEN_OHMS, OPEN_OHMS, true),
        Effective::Short => (SHORT_OHMS, SHORT_OHMS, true),
        Effective::Missing => {
            b.unsolved(
                &part.name,
                format!(
                    "its ohms are not known; type `{} pot 1M audio` once read",
                    part.parent.as_ref().unwrap_or(&part.name)
                ),
            );
            (OPEN_OHMS, OPEN_OHMS, false)
        }
    };
    let (low, wiper, high) = (b.wired(part, 0), b.wired(part, 1), b.wired(part, 2));
    if [low, wiper, high].iter().flatten().count() < 2 {
        return;
    }
    let wiper = match wiper {
        Some(n) => b.node(n),
        None => b.inner(format!("{}.2", part.name)),
    };
    let mut slots = Vec::new();
    for (end, ohms, word) in [(low, below, "below"), (high, above, "above")] {
        let Some(end) = end else { continue };
        let ends = if word == "below" {
            (b.node(end), wiper)
        } else {
            (wiper, b.node(end))
        };
        if !known {
            b.stand_in(&part.name, ends);
        } else if let Some(e) = b.resistor(&part.name, format!("{} {word}", part.name), ends, ohms)
        {
            slots.push((e, Slot::Ohms));
        }
    }
    // All gangs of a pot were made together and spread together, under the first one's name.
    let name = match &part.parent {
        Some(parent) => {
            let mut gangs = b.circuit.parts.iter();
            let first = gangs.find(|p| p.parent.as_ref() == Some(parent));
            first.map_or(part.name.clone(), |p| p.name.clone())
        }
        None => part.name.clone(),
    };
    let mut spreading = b.out.netlist.parameters.iter_mut();
    match spreading.find(|p| p.part == name && p.quantity == Quantity::Ohms) {
        Some(gangs) => gangs.slots.append(&mut slots),
        None => b.spreads(&name, Quantity::Ohms, slots),
    }
}

/// One pole of a switch: a contact where it stands, nothing elsewhere.
pub(super) fn switch(b: &mut Builder<'_>, part: &Part, throws: usize, start: usize) {
    if b.forced(part) {
        return;
    }
    let throw = b.positions.throw(part, throws, start);
    if throw == 0 || throw > throws.max(1) {
        return;
    }
    // A plain on-off switch has `1` and `2`; a pole of several throws has `c`, `1`, `2` ...
    if let (Some(a), Some(z)) = (b.wired(part, 0), b.wired(part, throw)) {
        let ends = (b.node(a), b.node(z));
        b.resistor(&part.name, part.name.clone(), ends, CONTACT_OHMS);
    }
}

/// A jack: its break contact joined to the tip while nothing is plugged in; a signal source
/// between tip and sleeve where the conditions bring one.
pub(super) fn jack(b: &mut Builder<'_>, part: &Part, phono: bool) {
    if !phono && !b.positions.is_plugged(part) {
        for (tip, contact) in [("tip", "break"), ("ring", "ringbreak")] {
            let (tip, at) = (b.at_named(part, tip), b.at_named(part, contact));
            if let (Some(tip), Some(at)) = (tip, at) {
                let name = format!("{} {contact}", part.name);
                b.resistor(&part.name, name, (tip, at), CONTACT_OHMS);
            }
        }
    }
    let Some((_, volts, hertz)) = b
        .conditions
        .signal
        .as_ref()
        .filter(|(jack, _, _)| *jack == part.name)
        .cloned()
    else {
        return;
    };
    let Some(tip) = b.at_named(part, "tip") else {
        b.note(
            "signal-nowhere",
            format!(
                "the signal goes to {}, whose tip is not traced: it is left out",
                part.name
            ),
        );
        return;
    };
    let sleeve = b.at_named(part, "sleeve").unwrap_or(0);
    if tip != sleeve && !b.conditions.power_off {
        let law = Law::Alternating {
            a: tip,
            b: sleeve,
            volts: written(Some(volts), MOST_VOLTS).unwrap_or(0.0),
            hertz: written(Some(hertz), 1e12).unwrap_or(1000.0),
            ohms: sound_ohms(b.options.signal_ohms),
            mains: false,
        };
        b.add(&part.name, format!("{} signal", part.name), law);
    }
}

/// A fuse: always whole, with its cold resistance. `open`, and it is blown.
pub(super) fn fuse(b: &mut Builder<'_>, part: &Part, amps: Option<f64>) {
    if b.forced(part) {
        return;
    }
    let ohms = match effective(None, &part.known) {
        Effective::Value(read) => read,
        _ => fuse_ohms(amps),
    };
    if let Some(ends) = b.ends(part) {
        b.resistor(&part.name, part.name.clone(), ends, ohms);
    }
}
