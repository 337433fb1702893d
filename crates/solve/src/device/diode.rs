//! The generic two-terminal diodes of the trade: which figures stand for a part that bears no type.
//!
//! All are from memory of rectifier and regulator data sheets of many makers, not seen:
//!
//! - silicon: 0.66 V at 10 mA and 0.9 V at 1 A; 5 uA of leakage at 1000 V;
//! - selenium: about 1 V for each plate of the stack near its rated current, five plates for a
//!   130 V rating; leaky at its best, and much worse when old;
//! - zener: silicon forward, 10 nS of leakage, the marked volts backward at a quarter of a watt.
//!
//! Their currents are computed beside the rectifying laws.

use super::{DiodeLaw, RectifierLaw};

/// Ohms of an ideal diode: small beside any resistance of an amplifier, large beside rounding.
const IDEAL_OHMS: f64 = 1e-3;

impl RectifierLaw {
    /// Silicon junction.
    pub const SILICON: Self = Self::Junction {
        saturation: 1e-8,
        volts: 0.0478,
        ohms: 0.05,
    };

    /// Selenium stack of five plates.
    pub const SELENIUM: Self = Self::Junction {
        saturation: 1e-5,
        volts: 0.35,
        ohms: 15.0,
    };

    /// No drop to speak of.
    pub const IDEAL: Self = Self::Ideal { ohms: IDEAL_OHMS };
}

impl DiodeLaw {
    /// A silicon diode.
    pub const SILICON: Self = Self {
        forward: RectifierLaw::SILICON,
        zener: f64::INFINITY,
        leak: 5e-9,
    };

    /// A selenium or copper-oxide stack of five plates, sound.
    pub const SELENIUM: Self = Self {
        forward: RectifierLaw::SELENIUM,
        zener: f64::INFINITY,
        leak: 2e-6,
    };

    /// No drop, no leakage.
    pub const IDEAL: Self = Self {
        forward: RectifierLaw::IDEAL,
        zener: f64::INFINITY,
        leak: 0.0,
    };

    /// A zener diode of so many volts.
    #[must_use]
    pub const fn zener(volts: f64) -> Self {
        Self {
            forward: RectifierLaw::SILICON,
            zener: volts,
            leak: 1e-8,
        }
    }

    /// One plate of a rectifier valve at steady volts.
    #[must_use]
    pub const fn valve_plate(perveance: f64) -> Self {
        Self {
            forward: RectifierLaw::Valve(perveance),
            zener: f64::INFINITY,
            leak: 0.0,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn laws() -> impl Strategy<Value = DiodeLaw> {
        prop_oneof![
            Just(DiodeLaw::SILICON),
            Just(DiodeLaw::SELENIUM),
            Just(DiodeLaw::IDEAL),
            (0.5_f64..200.0).prop_map(DiodeLaw::zener),
            (1e-5_f64..5e-3).prop_map(DiodeLaw::valve_plate),
        ]
    }

    proptest! {
        #[test]
        fn currents_are_finite_and_never_fall(law in laws(), v in -2000.0_f64..2000.0, step in 0.0_f64..10.0) {
            let (low, slope) = law.current(v);
            let (high, _) = law.current(v + step);
            prop_assert!(low.is_finite() && slope.is_finite() && slope >= 0.0);
            prop_assert!(high >= low - 1e-12 * low.abs());
        }

        #[test]
        fn slopes_are_those_of_the_current(law in laws(), v in -200.0_f64..200.0) {
            let h = 1e-6 * (1.0 + v.abs());
            let (_, slope) = law.current(v);
            let (_, near) = law.current(v + h);
            let measured = (law.current(v + h).0 - law.current(v - h).0) / (2.0 * h);
            // Within the joint of a parabola the slope itself runs over the step.
            let bend = (near - slope).abs() + (slope - law.current(v - h).1).abs();
            prop_assert!((slope - measured).abs() <= 1e-4 * slope.abs() + bend + 1e-9, "{slope} {measured}");
        }
    }

    #[test]
    fn the_joint_at_zero_is_smooth() {
        for law in [
            DiodeLaw::SILICON,
            DiodeLaw::IDEAL,
            DiodeLaw::valve_plate(3.1e-4),
        ] {
            let below = law.current(-1e-12);
            let above = law.current(1e-12);
            assert!((above.0 - below.0).abs() < 1e-9);
            assert!(
                (above.1 - below.1).abs() <= 1e-3 * (1.0 + above.1),
                "{above:?} {below:?}"
            );
            assert!(law.current(0.0).0.abs() < 1e-18);
        }
    }

    /// The figures of the module's header.
    #[test]
    fn generic_parts_drop_what_sheets_say() {
        let at = |law: RectifierLaw, amps: f64| {
            let (mut low, mut high) = (0.0, 100.0);
            for _ in 0..100 {
                let mid = 0.5 * (low + high);
                if law.current(mid).0 < amps {
                    low = mid
                } else {
                    high = mid
                }
            }
            low
        };
        assert!((at(RectifierLaw::SILICON, 10e-3) - 0.66).abs() < 0.02);
        assert!((at(RectifierLaw::SILICON, 1.0) - 0.93).abs() < 0.05);
        assert!((at(RectifierLaw::SELENIUM, 0.1) - 5.0).abs() < 0.5);
        assert!(at(RectifierLaw::IDEAL, 1.0) < 0.01);
        for volts in [12.0, 100.0] {
            let law = DiodeLaw::zener(volts);
            let (amps, _) = law.current(-volts);
            assert!((amps + 0.25 / volts).abs() < 1e-2 * 0.25 / volts, "{amps}");
            assert!(law.current(-0.9 * volts).0 > -1e-3);
        }
    }
}
