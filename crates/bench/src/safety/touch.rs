//! Touch current: what flows through a person who touches the set.
//!
//! Two networks stand for the person. That of IEC 60990, figure 4 (perception or reaction), from
//! memory, not seen: 1.5 kohm with 0.22 uF across it for the skin, 500 ohm for the body, and 10 kohm
//! into 22 nF across that as the weighting; the reading across the 22 nF divided by 500 ohm is the
//! current. And the North American service check: 1.5 kohm with 0.15 uF across it; the reading in
//! volts. Of all limits the lowest counts.

use crate::answers::Answers;
use crate::rules::rules;
use crate::sheet::{Limit, Line, Origin};
use solve::linear::{Complex, Scalar as _};
use std::f64::consts::{SQRT_2, TAU};

/// Skin of the body network: ohms, farads.
const SKIN: (f64, f64) = (1500.0, 0.22e-6);
/// Body of the body network, ohms.
const BODY_OHMS: f64 = 500.0;
/// Weighting across it: ohms, farads.
const WEIGHTING: (f64, f64) = (10e3, 22e-9);
/// The service check's network: ohms, farads.
const SERVICE: (f64, f64) = (1500.0, 0.15e-6);

/// Largest touch current, milliamperes rms: the lowest of the rules, a peak taken as that of a sine.
#[must_use]
pub fn most_milliamperes() -> f64 {
    let rms = [
        rules().figure("safety.touch_current.repair", "rms"),
        rules().figure("safety.touch_current.62368", "AC current"),
        rules()
            .figure("safety.touch_current.60065", "AC peak")
            .map(|p| p / SQRT_2),
    ];
    rms.into_iter().flatten().fold(0.5, f64::min)
}

/// Largest reading of the service check, volts rms.
#[must_use]
pub fn most_volts() -> f64 {
    let rule = rules().figure(
        "safety.touch_current.us_service",
        "volts across the network",
    );
    rule.map_or(0.75, |v| v.min(0.75))
}

fn parallel(ohms: f64, farads: f64, omega: f64) -> Complex {
    Complex::ONE / Complex::new(1.0 / ohms, omega * farads)
}

/// Volts across the service network for one ampere through it.
#[must_use]
pub fn service_ohms(hertz: f64) -> f64 {
    parallel(SERVICE.0, SERVICE.1, TAU * hertz).abs()
}

/// Volts that the body network shows (across its 22 nF) for one ampere through it, and the
/// ohms that it puts in the way.
#[must_use]
pub fn body_network(hertz: f64) -> (f64, f64) {
    let omega = TAU * hertz;
    let skin = parallel(SKIN.0, SKIN.1, omega);
    let low_pass = Complex::new(WEIGHTING.0, -1.0 / (omega * WEIGHTING.1));
    let body = Complex::ONE / (Complex::real(1.0 / BODY_OHMS) + Complex::ONE / low_pass);
    let weight = Complex::ONE / Complex::new(1.0, omega * WEIGHTING.0 * WEIGHTING.1);
    ((body * weight).abs(), (skin + body).abs())
}

/// The lines of a sheet: in amperes, and in volts across either network.
pub(super) fn lines(answers: &Answers, hertz: f64) -> Vec<Line> {
    let most = most_milliamperes() * 1e-3;
    let (shown, _) = body_network(hertz);
    let current = answers
        .figure(
            "touch-current",
            "Touch current, every metal part to a true earth, earth lead open, plug both ways round",
            Limit::at_most(most, "A"),
            Origin::rule("safety.touch_current.60065"),
        )
        .or_stop()
        .because(format!(
            "Through the network of IEC 60990 (from memory, not seen) the limit shows as {:.3} V across its 22 nF at {hertz:.0} Hz.",
            most * shown
        ));
    let volts = answers
        .figure(
            "touch-volts",
            "The same by volts across 1.5 kohm with 0.15 uF, to a true earth",
            Limit::at_most(most_volts().min(most * 1500.0 * 1.02), "V ac"),
            Origin::rule("safety.touch_current.us_service"),
        )
        .or_stop()
        .because(format!(
            "One ohm of it is {:.3} V for each milliampere at {hertz:.0} Hz. Either line does.",
            service_ohms(hertz) * 1e-3
        ));
    vec![current, volts]
}
