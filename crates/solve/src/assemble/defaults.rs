//! The figures that nobody writes down, and where they come from.
//!
//! Each is common practice without a source unless one is named. A wiring that states the
//! figure always wins. What these decide is small or is said in a note.

/// Ohms of a part that reads `open`.
pub const OPEN_OHMS: f64 = 1e10;
/// Ohms of a part that reads `short`.
pub const SHORT_OHMS: f64 = 0.05;
/// Least ohms of any element, so that the equations stay solvable.
pub const LEAST_OHMS: f64 = 1e-4;
/// Ohms of a closed switch or jack contact.
pub const CONTACT_OHMS: f64 = 0.01;
/// Ohms between the wiper and the end of a track at the end of its travel.
pub const TRACK_END_OHMS: f64 = 1.0;
/// Where a knob stands that nobody set (0 to 10).
pub const KNOB: f64 = 5.0;
/// Ohms of a filament of a wire that stands for "counts as connected".
pub const LINK_OHMS: f64 = 0.01;
/// Ohms that tie the mains side to circuit ground when no earth does. Above 1 gigohm on
/// purpose: the volts there against ground are undetermined, and are reported so.
pub const MAINS_TIE_OHMS: f64 = 1e10;
/// Ohms between neutral and protective earth, which meet at the building's supply.
pub const NEUTRAL_EARTH_OHMS: f64 = 0.5;
/// Source ohms of the mains: nearly none, since wall volts are read under load.
pub const MAINS_OHMS: f64 = 0.01;

/// Ohms to ground of a grid that no walk reaches.
pub const GRID_LEAK_OHMS: f64 = 1e6;

/// Leakage of a sound electrolytic, as the product of its resistance and capacitance, ohm x farad.
///
/// 0.02 microampere per microfarad and volt: a third of what a present-day sheet allows after
/// two minutes (0.06 uA per uF and V plus 10 uA; one maker's sheet, seen second-hand), and far
/// below the limit for service of JAN-C-62 (0.04 mA per uF up to 450 V, as quoted at
/// <https://www.mail-archive.com/amradio@mailman.qth.net/msg21215.html>). 8 uF at 280 V draws
/// 45 uA, which is 1 V across 22k.
pub const ELECTROLYTIC_SECONDS: f64 = 50.0;

/// Loss factor of a sound electrolytic at 120 Hz, for its series resistance when none was read:
/// `esr = 0.15 / (2 pi 120 Hz C)`. Below the 0.16 to 0.20 of a new part's sheet (seen second-hand).
pub const ELECTROLYTIC_LOSS: f64 = 0.15;

/// A capacitor without make-up or polarity counts as electrolytic from here on, farads.
pub const ELECTROLYTIC_FROM: f64 = 1e-6;

/// Cold ohms of a fuse by its rating: `0.15 ohm / amps^1.2` (1 A 0.15 ohm, 400 mA 0.45 ohm).
#[must_use]
pub fn fuse_ohms(amps: Option<f64>) -> f64 {
    match amps {
        Some(a) if a > 0.0 && a.is_finite() => (0.15 / a.powf(1.2)).clamp(0.001, 100.0),
        _ => 0.15,
    }
}

/// Ohms of a smoothing choke by its henries: `40 ohm x H^0.8` (5 H 145 ohm, 10 H 252 ohm).
#[must_use]
pub fn choke_ohms(henries: f64) -> f64 {
    (40.0 * henries.max(0.0).powf(0.8)).clamp(0.1, 5e3)
}

/// Henries of a choke known only by its ohms: the law of [`choke_ohms`] read backward.
#[must_use]
pub fn choke_henries(ohms: f64) -> f64 {
    (ohms.max(0.0) / 40.0).powf(1.25).clamp(1e-3, 100.0)
}

/// Copper loss of a mains transformer at full load over its volt-amperes, primary and
/// secondaries together: `0.08 (100 VA / VA)^0.4`, between 2.5 and 20 %
/// (20 VA 15 %, 50 VA 11 %, 200 VA 6 %). [`PRIMARY_SHARE`] of it is the primary's. With
/// [`HALVES_VA`] in the volt-amperes this gives 38 ohm of primary for 230 V, 275-0-275 V 70 mA,
/// 6.3 V 2.5 A and 5 V 2 A, and 196 ohm for the high-voltage winding.
#[must_use]
pub fn copper_loss(volt_amperes: f64) -> f64 {
    if volt_amperes > 0.0 && volt_amperes.is_finite() {
        (0.08 * (100.0 / volt_amperes).powf(0.4)).clamp(0.025, 0.20)
    } else {
        0.12
    }
}

/// Part of the copper loss that is the primary's: its wire is the thicker.
pub const PRIMARY_SHARE: f64 = 0.4;

/// Volt-amperes of a winding whose halves work in turn into a reservoir, over its volts to the
/// centre tap times its direct current: the current comes in pulses.
pub const HALVES_VA: f64 = 1.6;

/// Heat in the two halves of such a winding, over the heat of the direct current in one: twice
/// 1.1 squared, each half carrying 1.1 times it rms.
pub const HALVES_HEAT: f64 = 2.42;

/// Amperes that a winding without a stated current is taken to be wound for, when its ohms are
/// not written: 100 mA from 150 V up, 50 mA from 20 V up, 3 A below.
#[must_use]
pub fn winding_amps(volts: f64) -> f64 {
    if volts >= 150.0 {
        0.1
    } else if volts >= 20.0 {
        0.05
    } else {
        3.0
    }
}

/// Magnetising current of a mains transformer over its full-load current.
pub const MAGNETISING_SHARE: f64 = 0.15;
/// Iron loss of a mains transformer over its volt-amperes.
pub const IRON_LOSS: f64 = 0.04;

/// Primary copper of an output transformer over its primary impedance:
/// `0.035 (15 W / W)^0.3`, between 1.5 and 8 % (5 W 4.9 %, 20 W 3.2 %, 50 W 2.4 %). The
/// secondary has the same share of its own impedance.
#[must_use]
pub fn output_copper(watts: f64) -> f64 {
    if watts > 0.0 && watts.is_finite() {
        (0.035 * (15.0 / watts).powf(0.3)).clamp(0.015, 0.08)
    } else {
        0.035
    }
}

/// Watts of an output transformer that states none.
#[must_use]
pub fn output_watts(single: bool) -> f64 {
    if single { 5.0 } else { 20.0 }
}

/// Frequency at which the primary inductance of an output transformer equals its impedance:
/// 50 Hz for push-pull, 80 Hz for a single-ended one with its gap.
#[must_use]
pub fn output_low_hertz(single: bool) -> f64 {
    if single { 80.0 } else { 50.0 }
}

/// Frequency at which the leakage inductance of an output transformer equals its impedance.
pub const OUTPUT_HIGH_HERTZ: f64 = 60e3;
/// Capacitance across the whole primary of an output transformer, farads.
pub const OUTPUT_FARADS: f64 = 400e-12;
/// Iron loss of an output transformer as a resistance across the primary, over its impedance.
pub const OUTPUT_IRON: f64 = 15.0;

/// Primary ohms of a driver or interstage transformer; the secondary has as many times the
/// square of the turns ratio.
pub const COUPLING_OHMS: f64 = 500.0;
/// Primary henries of a driver or interstage transformer.
pub const COUPLING_HENRIES: f64 = 10.0;

/// Ohms of a spring tank's coil over its impedance at 1 kHz (8 ohm coils read near 0.8 ohm,
/// 2250 ohm coils near 200 ohm).
pub const TANK_COPPER: f64 = 0.1;

/// Voice-coil ohms over the nominal impedance (0.65 to 0.85 is usual).
pub const VOICE_COIL: f64 = 0.8;
/// Voice-coil henries per nominal ohm.
pub const VOICE_COIL_HENRIES: f64 = 0.05e-3;
/// Cone resonance of a guitar loudspeaker in its box, hertz.
pub const CONE_HERTZ: f64 = 95.0;
/// Impedance added at resonance, over the nominal.
pub const CONE_RISE: f64 = 5.0;
/// Mechanical quality of that resonance.
pub const CONE_Q: f64 = 5.0;

/// The volts that a household lamp is made for, by the volts of the mains transformer's primary.
#[must_use]
pub fn lamp_volts(primary_volts: f64) -> f64 {
    if primary_volts >= 180.0 {
        230.0
    } else if primary_volts >= 105.0 {
        120.0
    } else {
        100.0
    }
}
