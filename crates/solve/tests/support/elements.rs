//! Elements without names of their own, for circuits of a few of them.

use solve::{Element, Law};

/// An element of this law.
pub fn element(law: Law) -> Element {
    Element {
        name: String::new(),
        law,
    }
}

/// A resistance.
pub fn resistor(a: usize, b: usize, ohms: f64) -> Element {
    element(Law::Resistor { a, b, ohms })
}

/// A capacitor without series resistance.
pub fn capacitor(a: usize, b: usize, farads: f64) -> Element {
    element(Law::Capacitor {
        a,
        b,
        farads,
        esr_ohms: 0.0,
    })
}

/// A steady source against ground.
pub fn supply(plus: usize, volts: f64, ohms: f64) -> Element {
    element(Law::Source {
        plus,
        minus: 0,
        volts,
        ohms,
    })
}

/// A sine against ground, volts rms.
pub fn sine(a: usize, volts: f64, hertz: f64, ohms: f64) -> Element {
    element(Law::Alternating {
        a,
        b: 0,
        volts,
        hertz,
        ohms,
        mains: true,
    })
}
