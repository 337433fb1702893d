//! Bench supply, generator, ideal amplifier: for checks, not for a job.

use wiring::Part;

use super::builder::{Builder, MOST_VOLTS, sound_ohms, written};
use crate::netlist::{Law, Quantity, Slot};

/// A bench supply. Off when the power is.
pub(super) fn supply(b: &mut Builder<'_>, part: &Part, volts: Option<f64>, ohms: f64) {
    let Some(volts) = volts.filter(|v| v.is_finite()) else {
        b.unsolved(
            &part.name,
            format!("its volts are not known; type `{} supply 300 V`", part.name),
        );
        return;
    };
    let Some((plus, minus)) = b.ends(part) else {
        return;
    };
    if plus == minus {
        return;
    }
    let law = Law::Source {
        plus,
        minus,
        volts: if b.conditions.power_off {
            0.0
        } else {
            volts.clamp(-MOST_VOLTS, MOST_VOLTS)
        },
        ohms: sound_ohms(ohms),
    };
    let e = b.add(&part.name, part.name.clone(), law);
    b.spreads(&part.name, Quantity::Volts, vec![(e, Slot::Volts)]);
}

/// A generator: to steady current no more than its source resistance.
pub(super) fn generator(
    b: &mut Builder<'_>,
    part: &Part,
    volts: Option<f64>,
    hertz: Option<f64>,
    ohms: f64,
) {
    let Some((a, z)) = b.ends(part) else { return };
    if a == z {
        return;
    }
    let volts = written(volts, MOST_VOLTS).unwrap_or(0.0);
    let law = Law::Alternating {
        a,
        b: z,
        volts: if b.conditions.power_off {
            0.0
        } else {
            volts.clamp(-MOST_VOLTS, MOST_VOLTS)
        },
        hertz: written(hertz, 1e12).unwrap_or(1000.0),
        ohms: sound_ohms(ohms),
        mains: false,
    };
    b.add(&part.name, part.name.clone(), law);
}

/// An ideal amplifier against ground.
pub(super) fn gain(b: &mut Builder<'_>, part: &Part, gain: f64) {
    let Some((input, output)) = b.ends(part) else {
        return;
    };
    if !gain.is_finite() || output == 0 {
        b.unsolved(
            &part.name,
            "an ideal amplifier needs a finite gain and an output that is not ground".to_owned(),
        );
        return;
    }
    b.add(
        &part.name,
        part.name.clone(),
        Law::Amplifier {
            input,
            output,
            gain,
        },
    );
}
