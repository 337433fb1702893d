//! Output transformers: the turns ratio is the root of the impedance ratio; copper comes on top.

use std::f64::consts::TAU;

use wiring::Part;
use wiring::circuit::OutputTransformer;

use super::builder::{Builder, written, written_ohms};
use super::defaults::{
    LEAST_OHMS, OUTPUT_FARADS, OUTPUT_HIGH_HERTZ, OUTPUT_IRON, output_copper, output_low_hertz,
    output_watts,
};
use super::windings::{Tap, ports, said_ohms};
use crate::netlist::{Law, Quantity, Slot, Transformer};

/// Adds an output transformer with every lead that is wired.
///
/// Turns are roots of ohms: the whole primary has `sqrt(Zp)`, the tap for `Zs` has `sqrt(Zs)`.
/// Half the leakage inductance stands in the primary, half in the secondary.
pub(super) fn transformer(b: &mut Builder<'_>, part: &Part, t: &OutputTransformer) {
    let mut assumed = Vec::new();
    let primary_z = written(t.primary_impedance, 1e7).unwrap_or_else(|| {
        let z = if t.single { 5000.0 } else { 8000.0 };
        b.unsolved(
            &part.name,
            format!(
                "its impedances are not known: steady volts are computed, power and response are not; \
                 type `{} output 8k:8 ohm` once known",
                part.name
            ),
        );
        z
    });
    let taps: Vec<(usize, f64)> = t
        .taps
        .iter()
        .filter_map(|(terminal, z)| Some((*terminal, written(Some(*z), 1e7)?)))
        .collect();
    let secondary_z = taps.iter().map(|t| t.1).fold(0.0_f64, f64::max);
    let copper = output_copper(written(t.watts, 1e5).unwrap_or_else(|| output_watts(t.single)));

    let halves = t
        .halves
        .and_then(|(a, z)| Some((written_ohms(Some(a))?, written_ohms(Some(z))?)));
    let mut ohms_of = |written: Option<f64>, impedance: f64, word: &str| match written {
        Some(r) => r,
        None if t.ideal => LEAST_OHMS,
        None => {
            let r = copper * impedance;
            assumed.push(format!("{word} {} ohm", said_ohms(r)));
            r
        }
    };
    let (first, second) = match halves {
        Some(h) => h,
        None => {
            let r = ohms_of(written_ohms(t.ohms), primary_z, "primary");
            (r / 2.0, r / 2.0)
        }
    };
    let secondary_ohms = ohms_of(written_ohms(t.secondary_ohms), secondary_z, "secondary");
    let low = TAU * output_low_hertz(t.single);
    let henries = written(t.henries, 1e7).unwrap_or(if t.ideal { 1e6 } else { primary_z / low });
    let no_leakage = t.ideal || t.leakage == Some(0.0);
    let leakage = written(t.leakage, 1e3).unwrap_or(if no_leakage {
        0.0
    } else {
        primary_z / (TAU * OUTPUT_HIGH_HERTZ)
    });
    if !assumed.is_empty() {
        b.note(
            "winding-ohms-assumed",
            format!(
                "{}: not written, taken from its size: {}",
                part.name,
                assumed.join(", ")
            ),
        );
    }

    // Along the primary, 0 at p1 and 1 at p2.
    let turns = primary_z.sqrt();
    let screens = t
        .screen_taps
        .filter(|f| (0.0..=1.0).contains(f))
        .unwrap_or(0.5);
    let (u1, u2) = if t.single {
        (1.0 - screens, f64::NAN)
    } else {
        (0.5 - 0.5 * screens, 0.5 + 0.5 * screens)
    };
    let mut primary = Vec::new();
    for (name, at) in [
        ("p1", 0.0),
        ("u1", u1),
        ("p0", 0.5),
        ("u2", u2),
        ("p2", 1.0),
    ] {
        if at.is_nan() || !part.terminals.iter().any(|t| t.name == name) {
            continue;
        }
        primary.push(Tap {
            node: b.at_named(part, name),
            turns: turns * (1.0 - at),
            ohms: if at <= 0.5 {
                2.0 * at * first
            } else {
                first + (2.0 * at - 1.0) * second
            },
            leakage: 0.5 * leakage * at,
        });
    }
    let whole = secondary_z.sqrt().max(1e-9);
    let secondary: Vec<Tap> = std::iter::once((t.common, 0.0))
        .chain(taps.iter().map(|(terminal, z)| (*terminal, z.sqrt())))
        .map(|(terminal, n)| Tap {
            node: b.at(part, terminal),
            turns: n,
            ohms: secondary_ohms * n / whole,
            leakage: 0.5 * leakage * (whole / turns) * (whole / turns) * n / whole,
        })
        .collect();

    let mut windings = ports(&primary);
    let primaries = windings.len();
    windings.extend(ports(&secondary));
    let all = windings.len();
    if all == 0 {
        return;
    }
    let e = b.add(
        &part.name,
        part.name.clone(),
        Law::Transformer(Transformer {
            windings,
            henries_per_turn2: henries / primary_z,
            ohms_per_turn2: if t.ideal { f64::INFINITY } else { OUTPUT_IRON },
        }),
    );
    for (word, range) in [("primary", 0..primaries), ("secondary", primaries..all)] {
        let slots = range.map(|i| (e, Slot::WindingOhms(i))).collect();
        b.spreads(&format!("{} {word}", part.name), Quantity::Ohms, slots);
    }
    let ends = (b.at_named(part, "p1"), b.at_named(part, "p2"));
    if let ((Some(p1), Some(p2)), false) = (ends, t.ideal) {
        let name = format!("{} winding", part.name);
        b.capacitor(&part.name, name, (p1, p2), OUTPUT_FARADS, 0.0);
    }
}
