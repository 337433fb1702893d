//! The guitar as a source: a pickup behind its volume control and a cable.
//!
//! Plain electrical data. The defaults are common practice, no source.

use serde::{Deserialize, Serialize};
use solve::linear::{Complex, Scalar as _};
use std::f64::consts::TAU;

/// A pickup, its volume control and its cable.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Guitar {
    /// Pickup inductance, henries.
    pub henries: f64,
    /// Pickup resistance, ohms.
    pub ohms: f64,
    /// Capacitance of the cable and the winding, farads.
    pub farads: f64,
    /// Track of the volume control, ohms.
    pub volume_ohms: f64,
    /// Part of the track below the wiper, 0 to 1.
    pub volume: f64,
}

impl Default for Guitar {
    /// 3 H, 6 kohm, 500 pF of cable, 250 kohm turned up: common practice, no source.
    fn default() -> Self {
        Self {
            henries: 3.0,
            ohms: 6e3,
            farads: 500e-12,
            volume_ohms: 250e3,
            volume: 1.0,
        }
    }
}

impl Guitar {
    /// Volts at the jack per volt induced in the pickup, the jack loaded with `load` ohms.
    #[must_use]
    pub fn at_the_jack(&self, hertz: f64, load: Complex) -> Complex {
        let omega = TAU * hertz;
        let coil = Complex::new(self.ohms, omega * self.henries);
        let below = Complex::real(self.volume * self.volume_ohms);
        let above = Complex::real((1.0 - self.volume) * self.volume_ohms);
        let cable = Complex::new(0.0, omega * self.farads);
        // What hangs on the wiper: cable, jack and the lower track side by side.
        let jack = Complex::ONE / (cable + Complex::ONE / load);
        let wiper = below * jack / (below + jack);
        wiper / (wiper + above + coil)
    }
}
