//! A tungsten filament: a resistance that follows its own volts.
//!
//! `R = R_hot (c^p + (1 - c^p) (V / V_rated)^2)^(1/p)` with `c` the cold resistance over the hot one.
//! `p` is chosen so that near the rated volts the current goes as the 0.54th power of the volts:
//! common practice for gas-filled lamps (lamp equations of the IES Lighting Handbook, from
//! memory, not seen). Far below, the resistance settles at the cold value. V is rms: a mains
//! lamp's filament doesn't follow the wave.
//!
//! Holds for a filament that has settled, some seconds after a change. Expect 10 % between lamps.

use super::FilamentLaw;

/// The power of the volts that the current follows near rated volts.
const CURRENT_POWER: f64 = 0.54;

/// Cold over hot resistance of a mains lamp, about 1 to 14 (from memory of tungsten resistivity tables, not seen).
const COLD: f64 = 0.07;

impl FilamentLaw {
    /// A filament by its rated volts and amperes, with the usual cold resistance.
    #[must_use]
    pub const fn rated(volts: f64, amps: f64) -> Self {
        Self {
            volts,
            amps,
            cold: COLD,
        }
    }

    /// Settled resistance at volts rms (or steady) across it.
    #[must_use]
    pub fn ohms(self, rms_volts: f64) -> f64 {
        self.settled(rms_volts).0
    }

    /// Current and slope at steady (or rms) volts across it, settled. Odd in the volts; always rises.
    #[must_use]
    pub fn current(self, v: f64) -> (f64, f64) {
        let (ohms, by_log_volts) = self.settled(v);
        // d(V/R)/dV = (1 - dlnR/dlnV) / R
        (v / ohms, (1.0 - by_log_volts) / ohms)
    }

    /// Resistance and `d ln R / d ln V`.
    fn settled(self, v: f64) -> (f64, f64) {
        let p = 2.0 / (1.0 - CURRENT_POWER);
        let floor = self.cold.clamp(1e-3, 1.0).powf(p);
        // Beyond a hundred times its rating a filament is vapour; the law only stays finite.
        let r = (v / self.volts).clamp(-100.0, 100.0);
        let lit = (1.0 - floor) * r * r;
        let hot = self.volts / self.amps;
        let ohms = hot * (floor + lit).powf(1.0 / p);
        let follows = if (v / self.volts).abs() < 100.0 {
            2.0 / p * lit / (floor + lit)
        } else {
            0.0
        };
        (ohms, follows)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_lamp_is_itself_at_its_rating_and_cold_at_none() {
        let lamp = FilamentLaw::rated(230.0, 60.0 / 230.0);
        assert!((lamp.ohms(230.0) - 881.67).abs() < 0.01);
        assert!((lamp.ohms(0.0) - 0.07 * 881.67).abs() < 0.01);
        // 90 % of the volts: current 0.9^0.54 of the rated one.
        let (amps, _) = lamp.current(207.0);
        assert!((amps / (60.0 / 230.0) - 0.9_f64.powf(0.54)).abs() < 1e-3);
    }

    proptest! {
        #[test]
        fn current_rises_with_volts(v in -500.0_f64..500.0, volts in 2.0_f64..250.0, amps in 0.01_f64..3.0) {
            let law = FilamentLaw::rated(volts, amps);
            let (i, slope) = law.current(v);
            prop_assert!(i.is_finite() && slope > 0.0);
            let h = 1e-5 * (volts + v.abs());
            let measured = (law.current(v + h).0 - law.current(v - h).0) / (2.0 * h);
            prop_assert!((slope - measured).abs() < 1e-5 * slope.abs() + 1e-9 / volts, "{slope} {measured}");
        }
    }
}
