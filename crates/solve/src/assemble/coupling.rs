//! Driver and interstage transformers, and spring tanks.

use std::f64::consts::TAU;

use wiring::Part;
use wiring::circuit::CouplingTransformer;

use super::builder::{Builder, sound_ohms, written, written_ohms};
use super::defaults::{COUPLING_HENRIES, COUPLING_OHMS, LEAST_OHMS, TANK_COPPER};
use super::windings::{Tap, ports, said_ohms};
use crate::netlist::{Law, Quantity, Slot, Transformer};

/// Adds a driver or interstage transformer; the primary has one turn.
pub(super) fn transformer(b: &mut Builder<'_>, part: &Part, t: &CouplingTransformer) {
    let halves = t
        .halves
        .and_then(|(a, z)| Some((written(Some(a), 1e6)?, written(Some(z), 1e6)?)));
    let ratio = match (halves, written(t.ratio, 1e6)) {
        (Some((first, second)), _) => first + second,
        (None, Some(ratio)) => ratio,
        (None, None) => {
            b.unsolved(
                &part.name,
                format!(
                    "its ratio is not known: steady volts are computed, signal is not; type `{} inter 1:3`",
                    part.name
                ),
            );
            1.0
        }
    };
    let (first, second) = halves.unwrap_or((ratio / 2.0, ratio / 2.0));
    let mut assumed = Vec::new();
    let mut ohms_of = |given: Option<f64>, usual: f64, word: &str| match written_ohms(given) {
        Some(r) => r,
        None if t.ideal => LEAST_OHMS,
        None => {
            let usual = sound_ohms(usual);
            assumed.push(format!("{word} {} ohm", said_ohms(usual)));
            usual
        }
    };
    let primary_ohms = ohms_of(t.primary_ohms, COUPLING_OHMS, "primary");
    let secondary_ohms = ohms_of(t.secondary_ohms, COUPLING_OHMS * ratio * ratio, "secondary");
    if !assumed.is_empty() {
        b.note(
            "winding-ohms-assumed",
            format!(
                "{}: not written, taken as usual: {}",
                part.name,
                assumed.join(", ")
            ),
        );
    }
    let mut tap = |name: &str, turns: f64, ohms: f64| Tap {
        node: b.at_named(part, name),
        turns,
        ohms,
        leakage: 0.0,
    };
    let primary = [tap("p1", 1.0, 0.0), tap("p2", 0.0, primary_ohms)];
    let secondary = [
        tap("s1", ratio, 0.0),
        tap("s0", second, secondary_ohms * first / ratio),
        tap("s2", 0.0, secondary_ohms),
    ];
    let mut windings = ports(&primary);
    let primaries = windings.len();
    windings.extend(ports(&secondary));
    let all = windings.len();
    if all == 0 {
        return;
    }
    let usual = if t.ideal { 1e6 } else { COUPLING_HENRIES };
    let e = b.add(
        &part.name,
        part.name.clone(),
        Law::Transformer(Transformer {
            windings,
            henries_per_turn2: written(t.henries, 1e7).unwrap_or(usual),
            ohms_per_turn2: f64::INFINITY,
        }),
    );
    for (word, range) in [("primary", 0..primaries), ("secondary", primaries..all)] {
        let slots = range.map(|i| (e, Slot::WindingOhms(i))).collect();
        b.spreads(&format!("{} {word}", part.name), Quantity::Ohms, slots);
    }
}

/// Adds the two coils of a spring tank. The springs between them carry no current.
///
/// Impedances are at 1 kHz; a tenth of each is copper, the rest inductance.
pub(super) fn tank(b: &mut Builder<'_>, part: &Part, in_ohms: Option<f64>, out_ohms: Option<f64>) {
    for (word, impedance) in [("in", in_ohms), ("out", out_ohms)] {
        let ends = (
            b.at_named(part, &format!("{word}1")),
            b.at_named(part, &format!("{word}2")),
        );
        let (Some(a), Some(z)) = ends else { continue };
        if a == z {
            continue;
        }
        let Some(impedance) = written(impedance, 1e9) else {
            b.unsolved(
                &part.name,
                format!(
                    "the impedance of its {word} coil is not known; type `{} tank 8 ohm 2250 ohm`",
                    part.name
                ),
            );
            b.stand_in(&part.name, (a, z));
            continue;
        };
        let ohms = (TANK_COPPER * impedance).max(LEAST_OHMS);
        let reactance = (impedance * impedance - ohms * ohms).max(0.0).sqrt();
        let law = Law::Inductor {
            a,
            b: z,
            henries: reactance / (TAU * 1000.0),
            ohms,
        };
        let name = format!("{} {word}", part.name);
        let e = b.add(&part.name, name.clone(), law);
        b.spreads(&name, Quantity::Ohms, vec![(e, Slot::Ohms)]);
    }
}
