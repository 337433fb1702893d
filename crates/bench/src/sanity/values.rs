//! Values that are far from what their place asks for, and would fit with one colour band read anew.
//!
//! The usual ranges are those of the textbooks and of common practice (no source for the limits
//! themselves). Silent unless a change of one band, after IEC 60062, brings the value inside.

use super::Look;
use crate::rules::Gravity;
use wiring::circuit::Kind;
use wiring::roles::{BlockKind, Role};
use wiring::units::colour;

/// Tolerance that stands for an unsaid one; it only decides how many digits the bands have.
const USUAL_PERCENT: f64 = 10.0;

/// Usual least and most ohms for a resistor in this place; none where any value may stand.
fn usual(role: Role) -> Option<(f64, f64)> {
    Some(match role {
        Role::PlateLoad => (10e3, 560e3),
        Role::CathodeResistor => (1.0, 12e3),
        Role::CathodeLoad => (4e3, 220e3),
        Role::Tail => (4e3, 220e3),
        Role::GridLeak => (33e3, 22e6),
        Role::GridStopper => (100.0, 1e6),
        Role::InputStopper => (1e3, 220e3),
        Role::InputLeak => (100e3, 10e6),
        Role::ScreenResistor => (47.0, 3.3e6),
        Role::Dropping => (47.0, 330e3),
        Role::Bleeder => (15e3, 4.7e6),
        Role::MixingResistor => (33e3, 4.7e6),
        Role::SlopeResistor => (15e3, 470e3),
        Role::FeedbackResistor => (220.0, 470e3),
        Role::HeaterReference => (22.0, 1e3),
        Role::OscillatorResistor => (22e3, 10e6),
        _ => return None,
    })
}

pub(super) fn check(look: &mut Look<'_>) {
    let mut found = Vec::new();
    for (i, part) in look.circuit.parts.iter().enumerate() {
        let Kind::Resistor { ohms: Some(ohms) } = part.kind else {
            continue;
        };
        // A measured value was not misread from its bands.
        if part.known.reading.is_some_and(|r| !r.in_circuit) {
            continue;
        }
        let Some(place) = look.anatomy.roles.get(i).and_then(|r| r.first()) else {
            continue;
        };
        let role = place.role;
        // The lower part of a paraphase divider is a leak of any size.
        let divider = look
            .anatomy
            .blocks
            .get(place.block.0)
            .is_some_and(|b| b.kind == BlockKind::Paraphase);
        if divider && role == Role::GridLeak {
            continue;
        }
        let Some((least, most)) = usual(role) else {
            continue;
        };
        if (least..=most).contains(&ohms) {
            continue;
        }
        let read = colour::bands(ohms, USUAL_PERCENT).unwrap_or_default();
        let nearest = colour::one_band_misread(&read)
            .into_iter()
            .map(|m| m.ohms)
            .filter(|might| (least..=most).contains(might))
            .min_by(|a, b| (a / ohms).ln().abs().total_cmp(&(b / ohms).ln().abs()));
        let Some(might) = nearest else {
            continue;
        };
        found.push((part.name.clone(), ohms, might, role));
    }
    for (name, is, might, role) in found {
        let (is, might) = (print(is), print(might));
        look.add(
            "value-misread",
            Gravity::Should,
            vec![name.clone()],
            format!("{name} is a {} of {is}, far from the usual; with one colour band read anew it would be {might}.", role.words()),
            "Measure it (power off, one end lifted if a path lies beside it), and type what the meter shows behind `=`.",
        );
    }
}

/// Ohms as the trade writes them.
fn print(ohms: f64) -> String {
    wiring::units::Ohms(ohms).to_string()
}
