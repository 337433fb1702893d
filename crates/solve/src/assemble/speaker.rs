//! Loudspeakers: a voice coil in series with the cone's resonance.
//!
//! The impedance curve is a documented usual one (common practice, no source): voice-coil ohms
//! 0.8 of the nominal, 0.05 mH per nominal ohm, and a resonance at 95 Hz that adds five times
//! the nominal with a mechanical quality of 5. At direct current only the voice coil is left.

use std::f64::consts::TAU;

use wiring::Part;
use wiring::circuit::MeasuredValue;

use super::builder::{Builder, lifted, written};
use super::defaults::{CONE_HERTZ, CONE_Q, CONE_RISE, LEAST_OHMS, VOICE_COIL, VOICE_COIL_HENRIES};
use super::passive::missing;
use crate::netlist::{Law, Quantity, Slot};

/// Adds a loudspeaker. A reading on the lifted part is its voice coil's ohms, as a meter shows
/// them. `speaker off` takes every loudspeaker out.
pub(super) fn speaker(b: &mut Builder<'_>, part: &Part, nominal: Option<f64>) {
    if b.conditions.speaker_on == Some(false) || b.forced(part) {
        return;
    }
    let read = match lifted(&part.known) {
        Some(MeasuredValue::Is(ohms)) => written(Some(ohms), 1e9),
        _ => None,
    };
    let nominal = written(nominal, 1e9).or(read.map(|ohms| ohms / VOICE_COIL));
    let Some(nominal) = nominal else {
        return missing(b, part, "ohms", "speaker 8 ohm");
    };
    let Some((a, z)) = b.ends(part) else { return };
    if a == z {
        return;
    }
    let cone = b.inner(format!("{} cone", part.name));
    let coil = Law::Inductor {
        a,
        b: cone,
        henries: VOICE_COIL_HENRIES * nominal,
        ohms: read.unwrap_or(VOICE_COIL * nominal).max(LEAST_OHMS),
    };
    let e = b.add(&part.name, part.name.clone(), coil);
    b.spreads(&part.name, Quantity::Ohms, vec![(e, Slot::Ohms)]);

    // The motion as parallel resistance, inductance, capacitance.
    let rise = CONE_RISE * nominal;
    let omega = TAU * CONE_HERTZ;
    let henries = rise / (omega * CONE_Q);
    let farads = 1.0 / (omega * omega * henries);
    b.resistor(&part.name, format!("{} loss", part.name), (cone, z), rise);
    let law = Law::Inductor {
        a: cone,
        b: z,
        henries,
        ohms: LEAST_OHMS,
    };
    b.add(&part.name, format!("{} stiffness", part.name), law);
    b.capacitor(
        &part.name,
        format!("{} mass", part.name),
        (cone, z),
        farads,
        0.0,
    );
}
