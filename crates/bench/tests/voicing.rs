//! Voicing of whole wirings against closed forms.
//!
//! The transfer functions are those of the textbooks (F. Langford-Smith, Radiotron Designer's
//! Handbook, 4th ed., 1953, from memory, not seen), written out here by hand.

#![allow(clippy::unwrap_used, reason = "the wirings are the test's own")]

mod support;

use bench::Asked;
use bench::voicing::{Guitar, Voicing, VoicingRequest, voicing};
use std::f64::consts::TAU;
use wiring::sheet::Library;

const HERTZ: [f64; 9] = [5.0, 20.0, 82.0, 250.0, 1e3, 1.4737e3, 5e3, 14.7366e3, 50e3];

fn ask(to: &str) -> VoicingRequest {
    VoicingRequest {
        asked: Asked::default(),
        from: "J1".to_owned(),
        to: to.to_owned(),
        hertz: HERTZ.to_vec(),
        source_ohms: 0.0,
        guitar: None,
        resistive_load: false,
    }
}

fn of(text: &str, request: &VoicingRequest) -> Voicing {
    voicing(&support::circuit(text), Library::built_in(), request).unwrap()
}

/// `20 log10 |n / d|` of two complex numbers.
fn db((a, b): (f64, f64), (c, d): (f64, f64)) -> f64 {
    10.0 * ((a * a + b * b) / (c * c + d * d)).log10()
}

/// A volume control with a bright capacitor: with the wiper at part `k` of `R`,
/// `H = k (1 + s (1-k) R C) / (1 + s k (1-k) R C)`; a linear track at 1 of 10 has `k` = 0.1.
#[test]
fn bright_capacitor_meets_its_closed_form() {
    let text = "J1 jack\nVOLUME pot 1M linear\nset VOLUME 1\nJ1.tip - VOLUME.3\n\
                VOLUME.1 - ground\nJ1.sleeve - ground\nVOLUME.3 - C1 120p mica - VOLUME.2\nVOLUME.2 - out\n";
    let found = of(text, &ask("out"));
    let (k, rc) = (0.1, 1e6 * 120e-12);
    for (hertz, got) in HERTZ.iter().zip(&found.db) {
        let w = TAU * hertz;
        let want =
            20.0 * f64::log10(k) + db((1.0, w * (1.0 - k) * rc), (1.0, w * k * (1.0 - k) * rc));
        assert!((got - want).abs() < 1e-3, "{hertz} Hz: {got} for {want}");
    }
}

/// A guitar into a plain resistor: `H = Z / (Z + R + s L)`, `Z` the cable beside load and track.
#[test]
fn guitar_meets_its_closed_form() {
    let text = "J1 jack\nJ1.tip - R1 1M - ground\nJ1.sleeve - ground\n";
    let mut request = ask("J1.tip");
    let guitar = Guitar::default();
    request.guitar = Some(guitar);
    let found = of(text, &request);
    let g = 1.0 / 1e6 + 1.0 / guitar.volume_ohms;
    for (hertz, got) in HERTZ.iter().zip(&found.db) {
        let w = TAU * hertz;
        // 1 / (1 + (R + s L)(g + s C))
        let real = 1.0 + guitar.ohms * g - w * w * guitar.henries * guitar.farads;
        let imaginary = w * (guitar.henries * g + guitar.ohms * guitar.farads);
        let want = db((1.0, 0.0), (real, imaginary));
        assert!((got - want).abs() < 1e-3, "{hertz} Hz: {got} for {want}");
    }
}

/// Half a tracing: an amplifier whose plate load leads nowhere has no gain to tell.
#[test]
fn nothing_is_told_through_a_valve_that_is_not_traced() {
    let text = "V1 12AX7\nJ1 jack\nJ1.tip - R1 1M - ground\nJ1.sleeve - ground\nJ1.tip - V1.2\n\
                V1.3 - R2 1k5 - ground\nV1.1 - R3 100k - B3\nV1.1 - C1 22n - out\nout - R4 1M - ground\n";
    let circuit = support::circuit(text);
    assert!(voicing(&circuit, Library::built_in(), &ask("out")).is_err());
    assert!(voicing(&circuit, Library::built_in(), &ask("V1.2")).is_ok());
}

/// No name and no frequency makes it panic.
#[test]
fn nonsense_has_a_reason() {
    let circuit = support::circuit("J1 jack\nJ1.tip - R1 1M - ground\n");
    for (from, to) in [
        ("J9", "J1.tip"),
        ("R1", "J1.tip"),
        ("J1", "R9"),
        ("J1", "V1.2"),
    ] {
        let mut request = ask(to);
        request.from = from.to_owned();
        assert!(voicing(&circuit, Library::built_in(), &request).is_err());
    }
    for hertz in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        let mut request = ask("J1.tip");
        request.hertz = vec![hertz];
        assert!(voicing(&circuit, Library::built_in(), &request).is_err());
    }
}
