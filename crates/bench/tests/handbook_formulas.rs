//! One-line formulas of the handbooks, each typed as a wiring and read, solved and compared as a user's file is.
//!
//! Exact circuit theory unless a test says otherwise; worked figures are printed to four or five digits. What has
//! to be solved with the laws of real valves is held to the mu and rp that a sheet prints at the same point.

#![allow(clippy::unwrap_used, reason = "the wirings are the test's own")]
#![allow(
    clippy::print_stdout,
    reason = "the table of computed beside printed is what one comes for"
)]

mod support;

use bench::charge::{Start, charges};
use solve::Solved;
use solve::response::{NoiseModel, SmallSignal};
use std::collections::BTreeMap;
use std::f64::consts::PI;
use support::solved;
use wiring::sheet::Library;
use wiring::{Circuit, Conditions};

/// Volts at `point` per volt of G1: size, and degrees ahead of it.
fn response(circuit: &Circuit, solved: &Solved, point: &str, hertz: f64) -> (f64, f64) {
    let small = SmallSignal::new(&solved.point.netlist, &solved.point.solution).unwrap();
    let source = solved.assembly.elements_of["G1"][0];
    let at = small.at(hertz).unwrap().per_volt(source);
    let phasor = at[solved.node(circuit, point).unwrap()];
    (phasor.abs(), phasor.im.atan2(phasor.re).to_degrees())
}

fn ohms_at(circuit: &Circuit, solved: &Solved, point: &str, hertz: f64) -> f64 {
    let small = SmallSignal::new(&solved.point.netlist, &solved.point.solution).unwrap();
    let node = solved.node(circuit, point).unwrap();
    small.at(hertz).unwrap().impedance(node, 0).abs()
}

/// Where `what` turns from above to below 0 as the frequency rises, by halving.
fn falls_through(low: f64, high: f64, what: impl Fn(f64) -> f64) -> f64 {
    let (mut low, mut high) = (low.ln(), high.ln());
    for _ in 0..60 {
        let middle: f64 = 0.5 * (low + high);
        if what(middle.exp()) > 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    (0.5 * (low + high)).exp()
}

/// Compares within `percent`.
#[track_caller]
fn near(name: &str, computed: f64, printed: f64, percent: f64) {
    let error = 100.0 * (computed / printed - 1.0);
    println!("  {name:54} {computed:12.5} {printed:12.5} {error:+8.4} %");
    assert!(
        error.abs() <= percent,
        "{name}: {computed}, printed {printed}"
    );
}

/// Half the last digit of figures printed to four digits.
const PRINTED: f64 = 0.05;

/// `Cin = Cgk + Cgp (1 + A)`, and behind a grid stopper `f = 1 / (2 pi R Cin)`: 1.6 pF, 1.7 pF and a gain of 57 make
/// 100.2 pF, with 68 kΩ 23 358 Hz. J.M. Miller, Bureau of Standards Scientific Paper 351, 1920 (from memory, not seen).
///
/// Accepted: 0.1 %. The formula leaves out what the feedback itself takes from the stage's gain.
#[test]
fn miller_capacitance_behind_a_grid_stopper() {
    let (circuit, solved) = solved(
        "G1 generator 1 V 1 kHz\nin - +G1 - ground\nin - R1 68k - g\ng - C1 1.6p film - ground\n\
         g - C2 1.7p film - p\ng - A1.in\nA1 gain -57\nA1.out - R2 1k - p\n",
    );
    let half = 0.5_f64.sqrt();
    let corner = falls_through(1e3, 1e6, |f| response(&circuit, &solved, "g", f).0 - half);
    near("grid stopper, corner in hertz", corner, 23_358.0, 0.1);
    let farads = 1.0 / (2.0 * PI * 68e3 * corner);
    near("input capacitance, pF", 1e12 * farads, 100.2, 0.1);
}

/// The same with the valve itself and the capacitances of its sheet: 12AX7 section, 1.6 pF and 1.7 pF (from memory
/// of the sheet, not seen), 100 kΩ and 1.5 kΩ bypassed, 68 kΩ stopper. The gain is the solved one.
///
/// Accepted: 1.5 %, for the capacitances from plate to cathode and at the cathode, which the formula leaves out.
#[test]
fn miller_capacitance_of_a_real_stage() {
    let (circuit, solved) = solved(
        "G1 generator 1 V 1 kHz\nV1 12AX7\nPS1 supply 262 V\nB - +PS1 - ground\nin - +G1 - ground\n\
         in - R1 68k - V1.2\nin - R4 1M - ground\nV1.1 - R2 100k - B\n\
         V1.3 - [R3 1k5 | C1 1000u film] - ground\n",
    );
    let sheet = Library::built_in().find("12AX7").unwrap();
    let c = sheet.capacitances_of(Some('a')).unwrap();
    let (gain, _) = response(&circuit, &solved, "V1.1", 1e3);
    let grid = response(&circuit, &solved, "V1.2", 1e3).0;
    let gain = gain / grid;
    let input = c.grid_cathode.unwrap() + c.grid_plate.unwrap() * (1.0 + gain);
    let half = grid * 0.5_f64.sqrt();
    let corner = falls_through(1e3, 1e6, |f| {
        response(&circuit, &solved, "V1.2", f).0 - half
    });
    near(
        "12AX7 behind 68 k, corner in hertz",
        corner,
        1.0 / (2.0 * PI * 68e3 * input),
        1.5,
    );
}

/// A bright capacitor over the upper part of a volume control at a tenth of its track: zero `1 / (2 pi (1-k) R C)`
/// at 1473.7 Hz, pole `1 / (2 pi C k (1-k) R)` at 14 736.6 Hz.
///
/// At the zero the response is `sqrt(2 / (1 + 1/r^2))` of its least, at the pole `sqrt((1 + 1/r^2) / 2)` of its most, r
/// their ratio.
#[test]
fn bright_capacitor_by_formula() {
    let (circuit, solved) = solved(
        "G1 generator 1 V 1 kHz\nVOLUME pot 1M linear\nset VOLUME 1\nVOLUME.3 - +G1 - ground\nVOLUME.1 - ground\n\
         VOLUME.3 - C1 120p film - VOLUME.2\n",
    );
    let size = |f: f64| response(&circuit, &solved, "VOLUME.2", f).0;
    let (least, most) = (size(0.01), size(1e9));
    near("bright capacitor, lowest", least, 0.1, PRINTED);
    near("bright capacitor, highest", most, 1.0, PRINTED);
    let r2 = (most / least).powi(2);
    let zero = least * (2.0 / (1.0 + 1.0 / r2)).sqrt();
    let pole = most * ((1.0 + 1.0 / r2) / 2.0).sqrt();
    let at = |wanted: f64| falls_through(1.0, 1e6, |f| wanted - size(f));
    near("bright capacitor, zero in hertz", at(zero), 1473.7, PRINTED);
    near(
        "bright capacitor, pole in hertz",
        at(pole),
        14_736.6,
        PRINTED,
    );
}

/// `t = R C ln(V0 / V)`. The course ends at 10 V, so that what is printed to 50 V from 450 V is followed from 90 V, to 60 V
/// from 600 V followed from 100 V: the time hangs on the ratio alone.
#[test]
fn a_bleeder_empties_its_capacitor() {
    for (farads, ohms, from, seconds) in [
        ("40u", "220k", 450.0 / 5.0, 19.336),
        ("100u", "220k", 450.0, 83.75),
        ("47u", "100k", 600.0 / 6.0, 10.822),
    ] {
        let circuit = support::circuit(&format!(
            "B1 - +C1 {farads} 630V film - ground\nB1 - R1 {ohms} - ground\n"
        ));
        let start = Start {
            when: "charged".to_owned(),
            volts: BTreeMap::from([("C1".to_owned(), from)]),
        };
        let found = charges(
            &circuit,
            Library::built_in(),
            &Conditions::default(),
            &[start],
        );
        let name = format!("{farads} through {ohms}, seconds");
        let taken = found.of("C1").unwrap().seconds.unwrap();
        near(&name, taken, seconds, PRINTED);
    }
}

/// `Vpp < I / (2 f C)`: 100 mA, 40 µF, 60 Hz, full wave: below 20.83 V, which as a saw-tooth is 6.013 V rms.
///
/// The reservoir is emptied for less than the half period, because the rectifier conducts for a part of it: with a
/// stiff winding about a tenth. So 80 to 100 % of the bound.
#[test]
fn ripple_of_a_reservoir_stays_below_its_bound() {
    let (circuit, solved) = solved(
        "mains 120 V 60 Hz\nD1 ideal\nD2 ideal\nT1 power 120 V: hv 300-0-300 V 5 A\n\
         live - T1.pri1\nneutral - T1.pri2\nT1.hv1 - D1> - B\nT1.hv2 - D2> - B\nT1.hv0 - ground\n\
         B - C1 40u film - ground\nB - R1 4k15 - ground\n",
    );
    let volts = solved.volts(&circuit, "B").unwrap();
    let amps = volts / 4150.0;
    println!("  reservoir at {volts:.1} V, {:.2} mA", 1e3 * amps);
    assert!((0.09..0.11).contains(&amps), "{amps}");
    let ripple = solved.point.ripple_rms[solved.node(&circuit, "B").unwrap()];
    let bound = amps / (2.0 * 60.0 * 40e-6) / 12.0_f64.sqrt();
    println!("  ripple {ripple:.3} V rms, bound {bound:.3}");
    near(
        "bound at 100 mA, volts rms",
        bound * 0.1 / amps,
        6.013,
        PRINTED,
    );
    assert!((0.8..1.0).contains(&(ripple / bound)), "{ripple} {bound}");
}

/// `A = mu Rk / (rp + (mu + 1) Rk)`, `Rout = rp / (mu + 1)` beside Rk, with a 12AX7 at the point of its sheet: 250 V,
/// -2 V, 1.2 mA, mu 100, rp 62.5 kΩ (from memory, not seen). 120 V over 100 kΩ under the cathode.
///
/// Accepted: 0.05 % of the gain, which is nearly mu / (mu + 1), and 2 % of the ohms: what the law is out by in mutual
/// conductance at this row.
#[test]
fn a_cathode_follower_with_a_real_valve() {
    let (circuit, solved) = solved(
        "G1 generator 1 V 1 kHz\nV1 12AX7\nPS1 supply 370 V\nPS2 supply 118 V\nV1.1 - +PS1 - ground\n\
         b - +PS2 - ground\nb - +G1 - V1.2\nV1.3 - R1 100k - ground\n",
    );
    let cathode = solved.volts(&circuit, "V1.3").unwrap();
    near("follower, cathode volts", cathode, 120.0, 1.0);
    let (gain, _) = response(&circuit, &solved, "V1.3", 1e3);
    near("follower, gain", gain, 0.98401, 0.05);
    near(
        "follower, output ohms",
        ohms_at(&circuit, &solved, "V1.3", 1e3),
        615.01,
        2.0,
    );
}

/// `|A2 / A1| = (mu + 1) Rt / ((mu + 1) Rt + rp + R)`, `A1 + A2 = mu R / (rp + R)`, both sections of a 12AX7 at the same
/// point: 24 V over a tail of 10 kΩ to -22 V, plates through 100 kΩ from 372 V.
///
/// Accepted: 2 % of each gain (mu and rp of the law at this row), 0.2 % of their ratio.
#[test]
fn a_long_tailed_pair_with_a_real_valve() {
    let (circuit, solved) = solved(
        "G1 generator 1 V 1 kHz\nV1 12AX7\nPS1 supply 372 V\nPS2 supply 22 V\nB - +PS1 - ground\n\
         ground - +PS2 - n\nV1.2 - +G1 - ground\nV1.7 - R4 1 - ground\nV1.3 - V1.8\n\
         V1.3 - R3 10k - n\nV1.1 - R1 100k - B\nV1.6 - R2 100k - B\n",
    );
    near(
        "long-tailed pair, plate volts",
        solved.volts(&circuit, "V1.1").unwrap(),
        252.0,
        2.0,
    );
    let (first, turned) = response(&circuit, &solved, "V1.1", 1e3);
    let (second, straight) = response(&circuit, &solved, "V1.6", 1e3);
    assert!(
        turned.abs() > 179.0 && straight.abs() < 1.0,
        "{turned} {straight}"
    );
    near("long-tailed pair, first output", first, 33.06, 2.0);
    near("long-tailed pair, second output", second, 28.48, 2.0);
    near("long-tailed pair, ratio", second / first, 0.86141, 0.2);
    near("long-tailed pair, sum", first + second, 61.538, 2.0);
}

/// A ladder: ohms and nanofarads of its sections, the hertz at which it turns the phase by half a turn, and the gain that
/// makes up for its loss there. `lead`: capacitors in series, resistors to ground; else the other way round.
struct Ladder {
    lead: bool,
    ohms: &'static [f64],
    nanofarads: &'static [f64],
    hertz: f64,
    gain: f64,
}

/// Ladders of phase-shift oscillators, from no source resistance into no load. Equal sections: 29, and of four 18.39
/// (E.L. Ginzton and L.M. Hollingsworth, Proc. IRE 29, 1941, from memory, not seen; 29 for three equal sections also
/// seen second-hand). Unequal ones: `omega^2 = a1 / a3`, `gain = a1 a2 / a3 - 1` of the ladder's polynomial, worked
/// out by chain matrices.
#[test]
fn oscillator_ladders_by_formula() {
    const M: f64 = 1e6;
    let ladders = [
        (true, &[M, M, M][..], &[10.0, 10.0, 10.0][..], 6.4975, 29.0),
        (false, &[M, M, M], &[10.0, 10.0, 10.0], 38.9848, 29.0),
        (true, &[M, M, M], &[20.0, 10.0, 10.0], 5.3052, 26.0),
        (true, &[22e4, M, M], &[20.0, 10.0, 10.0], 9.58, 21.958),
        (
            true,
            &[2.2 * M, M, 22e4],
            &[20.0, 10.0, 10.0],
            4.4709,
            114.462,
        ),
        (false, &[22e4, M, M], &[47.0, 10.0, 10.0], 33.1061, 17.701),
        // 1 MΩ and 10 nF: sqrt(7/10) and sqrt(10/7) over 2 pi R C.
        (
            true,
            &[M; 4],
            &[10.0; 4],
            0.836_660 / (2.0 * PI * 0.01),
            18.3878,
        ),
        (
            false,
            &[M; 4],
            &[10.0; 4],
            1.195_229 / (2.0 * PI * 0.01),
            18.3878,
        ),
    ]
    .map(|(lead, ohms, nanofarads, hertz, gain)| Ladder {
        lead,
        ohms,
        nanofarads,
        hertz,
        gain,
    });
    for ladder in ladders {
        let mut text = "G1 generator 1 V 10 Hz 0.001 ohm\np0 - +G1 - ground\n".to_owned();
        let last = ladder.ohms.len();
        for (i, (ohms, nano)) in ladder.ohms.iter().zip(ladder.nanofarads).enumerate() {
            let (n, from) = (i + 1, i);
            text += &if ladder.lead {
                format!("p{from} - C{n} {nano}n film - p{n}\np{n} - R{n} {ohms} - ground\n")
            } else {
                format!("p{from} - R{n} {ohms} - p{n}\np{n} - C{n} {nano}n film - ground\n")
            };
        }
        let (circuit, solved) = solved(&text);
        let end = format!("p{last}");
        let at = |f: f64| response(&circuit, &solved, &end, f);
        // Below it the phase lies beyond half a turn if the ladder leads, short of it if it lags: a negative sine in
        // either case.
        let hertz = falls_through(0.3 * ladder.hertz, 3.0 * ladder.hertz, |f| {
            -at(f).1.to_radians().sin()
        });
        let name = format!(
            "{} of {last}, {:?} nF",
            if ladder.lead { "lead" } else { "lag" },
            ladder.nanofarads
        );
        near(&format!("{name}, hertz"), hertz, ladder.hertz, PRINTED);
        near(
            &format!("{name}, gain"),
            1.0 / at(hertz).0,
            ladder.gain,
            PRINTED,
        );
    }
}

/// `v = sqrt(4 k T R B)` of a resistor by itself: 100 kΩ at 293.15 K over 20 kHz 5.690 uV, 1 MΩ at 300 K over 10 kHz
/// 12.872 uV, 1 kΩ at 300 K over 1 Hz 4.070 nV. J.B. Johnson and H. Nyquist, Physical Review 32, 1928 (from memory, not
/// seen), worked with the constants of the SI.
#[test]
fn noise_of_a_resistor() {
    for (ohms, kelvin, band, volts) in [
        ("100k", 293.15, 20e3, 5.690e-6),
        ("1M", 300.0, 10e3, 12.872e-6),
        ("1k", 300.0, 1.0, 4.070e-9),
    ] {
        let (circuit, solved) = solved(&format!("p - R1 {ohms} film - ground\n"));
        let (netlist, solution) = (&solved.point.netlist, &solved.point.solution);
        let small = SmallSignal::new(netlist, solution).unwrap();
        let node = solved.node(&circuit, "p").unwrap();
        let model = NoiseModel {
            kelvin,
            ..NoiseModel::default()
        };
        let noise = small.noise(netlist, solution, (node, 0), (20.0, 20.0 + band), &model);
        near(
            &format!("noise of {ohms} over {band} Hz"),
            noise.unwrap().volts(),
            volts,
            0.02,
        );
    }
}
