//! Where a rectifying law stands behind a resistance.
//!
//! The point at which the law and a resistance in series with it share an emf: what a Newton
//! method needs that must not be thrown by a steep law. Knows nothing of circuits.

use super::rectifier::{IDEAL_KNEE, LEAST_BULK_OHMS, junction_from};
use super::{DiodeLaw, RectifierLaw};

/// A point of a law.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LawPoint {
    /// Volts across it.
    pub volts: f64,
    /// Amperes through it.
    pub amps: f64,
    /// Slope there, siemens.
    pub slope: f64,
}

/// A law behind a resistance, made ready for many emfs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Behind {
    law: DiodeLaw,
    ohms: f64,
    /// A junction's part that no emf changes.
    start: f64,
}

impl DiodeLaw {
    /// The law in series with `ohms`, which is above 0; without the leak.
    #[must_use]
    pub fn behind(&self, ohms: f64) -> Behind {
        let start = match self.forward {
            RectifierLaw::Junction {
                saturation,
                volts,
                ohms: bulk,
            } => (saturation * (bulk.max(LEAST_BULK_OHMS) + ohms) / volts).ln(),
            RectifierLaw::Valve(_) | RectifierLaw::Ideal { .. } => 0.0,
        };
        Behind {
            law: *self,
            ohms,
            start,
        }
    }
}

impl Behind {
    /// Where the law stands across an emf: `volts + ohms amps = emf`.
    ///
    /// Always has one answer, which moves smoothly.
    #[must_use]
    pub fn at(&self, emf: f64) -> LawPoint {
        let Self { law, ohms, start } = *self;
        let off = LawPoint {
            volts: emf,
            amps: 0.0,
            slope: 0.0,
        };
        if emf < 0.0 && law.zener.is_finite() {
            return self.at_zener(emf);
        }
        match law.forward {
            RectifierLaw::Valve(perveance) => {
                if emf <= 0.0 || perveance <= 0.0 {
                    return off;
                }
                // x = sqrt(v): x^2 + ohms P x^3 = emf. Either term alone bounds x from above, and
                // from above Newton's method falls to the answer without a turn.
                let cubic = ohms * perveance;
                let mut x = emf.sqrt();
                if cubic * x * emf > emf {
                    x = x.min((emf / cubic).cbrt());
                }
                for _ in 0..60 {
                    let step = (x * x * (1.0 + cubic * x) - emf) / (x * (2.0 + 3.0 * cubic * x));
                    x -= step;
                    if step.abs() <= 1e-15 * x {
                        break;
                    }
                }
                LawPoint {
                    volts: x * x,
                    amps: perveance * x * x * x,
                    slope: 1.5 * perveance * x,
                }
            }
            RectifierLaw::Junction {
                saturation,
                volts: emission,
                ohms: bulk,
            } => {
                let bulk = bulk.max(LEAST_BULK_OHMS);
                let (amps, _) = junction_from(start, emf, saturation, emission, bulk + ohms);
                let conducted = amps + saturation;
                LawPoint {
                    volts: emf - ohms * amps,
                    amps,
                    slope: conducted / (bulk * conducted + emission),
                }
            }
            RectifierLaw::Ideal { ohms: own } => {
                if emf <= 0.0 {
                    return off;
                }
                let at_knee = IDEAL_KNEE + 0.5 * IDEAL_KNEE * ohms / own;
                if emf >= at_knee {
                    let amps = (emf - 0.5 * IDEAL_KNEE) / (own + ohms);
                    LawPoint {
                        volts: 0.5 * IDEAL_KNEE + own * amps,
                        amps,
                        slope: 1.0 / own,
                    }
                } else {
                    // v + ohms v^2 / (2 knee own) = emf.
                    let bend = ohms / (2.0 * IDEAL_KNEE * own);
                    let volts = 2.0 * emf / (1.0 + (1.0 + 4.0 * bend * emf).sqrt());
                    LawPoint {
                        volts,
                        amps: volts * volts / (2.0 * IDEAL_KNEE * own),
                        slope: volts / (IDEAL_KNEE * own),
                    }
                }
            }
        }
    }

    /// The current far on the side that does not conduct, zener conduction apart.
    #[must_use]
    pub fn off(&self) -> f64 {
        match self.law.forward {
            RectifierLaw::Junction { saturation, .. } => -saturation,
            RectifierLaw::Valve(_) | RectifierLaw::Ideal { .. } => 0.0,
        }
    }

    /// The same on the side where a zener breaks down, by a bracketed Newton method.
    fn at_zener(&self, emf: f64) -> LawPoint {
        let Self { law, ohms, .. } = *self;
        let (mut low, mut high) = (emf, 0.0);
        let mut volts = emf.max(-law.zener);
        let mut point = (0.0, 0.0);
        for _ in 0..200 {
            point = law.conduction(volts);
            let excess = volts + ohms * point.0 - emf;
            if excess > 0.0 {
                high = volts;
            } else {
                low = volts;
            }
            let next = volts - excess / (1.0 + ohms * point.1);
            let next = if next > low && next < high {
                next
            } else {
                0.5 * (low + high)
            };
            if (next - volts).abs() <= 1e-15 * volts.abs() {
                break;
            }
            volts = next;
        }
        LawPoint {
            volts,
            amps: point.0,
            slope: point.1,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn laws_behind_a_resistance_meet_both() {
        let zener = DiodeLaw::zener(30.0);
        let laws = [
            DiodeLaw::SILICON,
            DiodeLaw::SELENIUM,
            DiodeLaw::IDEAL,
            DiodeLaw::valve_plate(3.1e-4),
            zener,
        ];
        for law in laws {
            for ohms in [0.01, 30.0, 1e4, 1e7] {
                for emf in [-700.0, -30.0, -1.0, 0.0, 1e-6, 1e-3, 0.3, 0.8, 20.0, 900.0] {
                    let p = law.behind(ohms).at(emf);
                    let (amps, slope) = law.conduction(p.volts);
                    let near = 1e-9 * amps.abs() + 1e-12 * (emf.abs() + 0.3) * slope + 1e-20;
                    assert!(
                        (p.amps - amps).abs() <= near,
                        "{law:?} {ohms} {emf} {p:?} {amps}"
                    );
                    assert!(
                        (p.slope - slope).abs() <= 1e-6 * slope + 1e-18,
                        "{law:?} {ohms} {emf} {p:?} {slope}"
                    );
                    let rest = p.volts + ohms * p.amps - emf;
                    assert!(
                        rest.abs() <= 1e-12 * emf.abs() + 1e-18 * ohms,
                        "{law:?} {ohms} {emf} {p:?}"
                    );
                }
            }
        }
    }
}
