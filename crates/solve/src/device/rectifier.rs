//! Currents of rectifying plates and diodes.
//!
//! Every law here is non-decreasing and once continuously differentiable for every finite
//! voltage, and grows at most as the 1.5th power, so that the periodic solution of a supply
//! has one answer. Knows nothing of circuits.

use super::{DiodeLaw, RectifierLaw};

/// Width over which the ideal diode turns on, volts: far below anything a meter shows.
pub(super) const IDEAL_KNEE: f64 = 1e-3;
/// A junction's bulk resistance is taken no lower than this, ohms.
pub(super) const LEAST_BULK_OHMS: f64 = 1e-6;
/// Volts over which a zener's reverse current turns on (common practice, no source).
const ZENER_KNEE: f64 = 0.05;
/// Scale of that current, amperes (common practice, no source).
const ZENER_SATURATION: f64 = 1e-9;
/// Slope of a zener in breakdown: ohms per volt of its rating (common practice, no source).
const ZENER_OHMS_PER_VOLT: f64 = 1.0;

impl RectifierLaw {
    /// Current at `volts` (plate or p side against cathode or n side), and its slope in siemens.
    ///
    /// Valve: `P v^1.5` above 0, nothing below (Langmuir 1913, from memory, not seen).
    /// Junction: `i = saturation (exp((v - ohms i) / volts) - 1)`, solved exactly.
    /// Ideal: `v / ohms` above 0 with a parabola over the first millivolt.
    ///
    /// ```
    /// # use solve::device::RectifierLaw;
    /// let (amps, _) = RectifierLaw::Valve(3.1e-4).current(55.0);
    /// assert!((amps - 0.1264).abs() < 1e-4);
    /// ```
    pub fn current(&self, volts: f64) -> (f64, f64) {
        match *self {
            RectifierLaw::Valve(perveance) => {
                if volts <= 0.0 {
                    (0.0, 0.0)
                } else {
                    let root = volts.sqrt();
                    (perveance * volts * root, 1.5 * perveance * root)
                }
            }
            RectifierLaw::Junction {
                saturation,
                volts: emission,
                ohms,
            } => junction(volts, saturation, emission, ohms.max(LEAST_BULK_OHMS)),
            RectifierLaw::Ideal { ohms } => {
                if volts <= 0.0 {
                    (0.0, 0.0)
                } else if volts < IDEAL_KNEE {
                    (
                        volts * volts / (2.0 * IDEAL_KNEE * ohms),
                        volts / (IDEAL_KNEE * ohms),
                    )
                } else {
                    ((volts - 0.5 * IDEAL_KNEE) / ohms, 1.0 / ohms)
                }
            }
        }
    }

    /// The same plate with its current at given volts multiplied by `factor` (lost emission,
    /// spread). A junction's bulk resistance is divided by it.
    pub fn scaled(&self, factor: f64) -> RectifierLaw {
        match *self {
            RectifierLaw::Valve(perveance) => RectifierLaw::Valve(perveance * factor),
            RectifierLaw::Junction {
                saturation,
                volts,
                ohms,
            } => RectifierLaw::Junction {
                saturation: saturation * factor,
                volts,
                ohms: ohms / factor,
            },
            RectifierLaw::Ideal { ohms } => RectifierLaw::Ideal {
                ohms: ohms / factor,
            },
        }
    }
}

impl DiodeLaw {
    /// Current at `volts`, and its slope: forward conduction, zener conduction and leak together.
    pub fn current(&self, volts: f64) -> (f64, f64) {
        let (amps, slope) = self.conduction(volts);
        (amps + self.leak * volts, slope + self.leak)
    }

    /// Current at `volts`, and its slope, without the leak.
    ///
    /// In breakdown a zener follows a junction turned round, which carries a quarter of a watt at
    /// the marked volts (as 1 W parts are marked; from memory of their sheets, not seen) and has
    /// 1 ohm of slope resistance for each volt.
    pub fn conduction(&self, volts: f64) -> (f64, f64) {
        let (mut amps, mut slope) = self.forward.current(volts);
        if self.zener.is_finite() && volts < 0.0 {
            let marked = self.zener.abs().max(0.1);
            let ohms = (marked * ZENER_OHMS_PER_VOLT).max(0.1);
            let test_amps = 0.25 / marked;
            let drive = ZENER_KNEE * (test_amps / ZENER_SATURATION).ln_1p() + ohms * test_amps;
            let start = marked - drive.min(0.5 * marked);
            let (back, back_slope) = junction(-volts - start, ZENER_SATURATION, ZENER_KNEE, ohms);
            // The reverse branch starts from nothing at no volts, so that both meet at zero.
            let (rest, _) = junction(-start, ZENER_SATURATION, ZENER_KNEE, ohms);
            amps -= back - rest;
            slope += back_slope;
        }
        (amps, slope)
    }
}

/// `i = saturation (exp((v - ohms i) / emission) - 1)` by the omega function.
fn junction(volts: f64, saturation: f64, emission: f64, ohms: f64) -> (f64, f64) {
    let start = (saturation * ohms / emission).ln();
    junction_from(start, volts, saturation, emission, ohms)
}

/// [`junction`] with the logarithm of `saturation ohms / emission` worked out before.
pub(super) fn junction_from(
    start: f64,
    volts: f64,
    saturation: f64,
    emission: f64,
    ohms: f64,
) -> (f64, f64) {
    let z = (volts + saturation * ohms) / emission + start;
    if z < -60.0 {
        return (-saturation, 0.0);
    }
    let w = omega(z);
    (emission / ohms * w - saturation, w / (1.0 + w) / ohms)
}

/// The solution `w` of `w + ln w = z`.
///
/// One start and two steps of the fourth-order iteration of Fritsch, Shafer and Crowley
/// (Communications of the ACM 16, 1973; from memory, not seen).
fn omega(z: f64) -> f64 {
    let mut w = if z < -1.5 {
        let e = z.exp();
        if z < -36.0 {
            return e;
        }
        e * (1.0 - e)
    } else if z < 1.5 {
        // Second order about z = 1, where w = 1.
        let d = z - 1.0;
        (1.0 + 0.5 * d + d * d / 16.0).max(0.05)
    } else {
        z - z.ln()
    };
    for _ in 0..2 {
        let r = z - w - w.ln();
        let p = 1.0 + w;
        let q = 2.0 * p * (p + 2.0 / 3.0 * r);
        w *= 1.0 + r / p * (q - r) / (q - 2.0 * r);
    }
    w
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn omega_solves_its_equation() {
        let mut z = -50.0;
        while z < 2000.0 {
            let w = omega(z);
            if z > -30.0 {
                assert!((w + w.ln() - z).abs() < 1e-13 * (1.0 + z.abs()), "{z}");
            } else {
                assert!((w / z.exp() - 1.0).abs() < 1e-12, "{z}");
            }
            z += 0.37;
        }
    }

    #[test]
    fn junction_meets_its_own_equation_and_slope() {
        let law = RectifierLaw::Junction {
            saturation: 2e-9,
            volts: 0.048,
            ohms: 0.04,
        };
        for v in [-800.0, -1.0, -0.1, 0.0, 0.3, 0.6, 0.8, 1.0, 3.0, 300.0] {
            let (i, g) = law.current(v);
            let back = 2e-9 * (((v - 0.04 * i) / 0.048).exp() - 1.0);
            assert!(
                (i - back).abs() <= 1e-8 * i.abs() + 1e-20,
                "{v}: {i} {back}"
            );
            let d = 1e-6;
            let slope = (law.current(v + d).0 - law.current(v - d).0) / (2.0 * d);
            assert!((g - slope).abs() <= 1e-5 * g + 1e-12, "{v}: {g} {slope}");
        }
        assert!(law.current(0.0).0.abs() < 1e-18);
    }

    #[test]
    fn a_zener_holds_its_volts_within_its_slope() {
        let law = DiodeLaw {
            forward: RectifierLaw::Junction {
                saturation: 2e-9,
                volts: 0.048,
                ohms: 0.1,
            },
            zener: 100.0,
            leak: 1e-9,
        };
        let (i, _) = law.current(-100.0);
        assert!((i + 2.5e-3).abs() < 1e-5, "{i}");
        let (i, _) = law.current(-101.0);
        assert!(i < -3e-3 && i > -15e-3, "{i}");
        assert!(law.current(-90.0).0.abs() < 1e-6);
        assert!(law.current(0.0).0.abs() < 1e-15);
    }
}
