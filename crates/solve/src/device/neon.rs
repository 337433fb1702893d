//! A glow lamp: dark until it strikes, then it holds its volts until it goes out.
//!
//! Two branches, never one curve: between the holding and the striking volts both are possible, and which one holds
//! depends on what came before. Works either way round.

use super::NeonLaw;
use super::smooth::parabola_part;

/// Leakage of a dark lamp, siemens.
const DARK: f64 = 1e-11;

/// Where the lit branch bends into its line, volts.
const KNEE: f64 = 0.5;

impl NeonLaw {
    /// A small two-electrode neon lamp: strikes at 75 V (up to 90 V in darkness or with age), holds 57 V at 0.5 mA
    /// (48 to 65 V). From memory of glow-lamp manuals of the 1950s and 60s, not seen; the slope is
    /// common practice, no source.
    pub const SMALL: Self = Self {
        strike: 75.0,
        hold: 55.0,
        ohms: 4000.0,
    };

    /// Current and slope on the lit or the dark branch. Odd in the volts.
    #[must_use]
    pub fn current(self, v: f64, lit: bool) -> (f64, f64) {
        let (mut i, mut di) = (DARK * v, DARK);
        if lit {
            let (part, slope) = parabola_part(v.abs() - self.hold, KNEE);
            i += v.signum() * part / self.ohms;
            di += slope / self.ohms;
        }
        (i, di)
    }

    /// Is it lit after these volts, given whether it was?
    #[must_use]
    pub fn lit_after(self, v: f64, was_lit: bool) -> bool {
        if was_lit {
            v.abs() > self.hold
        } else {
            v.abs() >= self.strike
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_strikes_high_and_goes_out_low() {
        let lamp = NeonLaw::SMALL;
        assert!(!lamp.lit_after(74.0, false));
        assert!(lamp.lit_after(-75.0, false));
        assert!(lamp.lit_after(60.0, true));
        assert!(!lamp.lit_after(54.0, true));
        let (amps, _) = lamp.current(57.0, true);
        assert!((amps - 0.5e-3).abs() < 0.1e-3);
        assert_eq!(lamp.current(-57.0, true).0, -amps);
        assert!(lamp.current(70.0, false).0 < 1e-9);
    }
}
