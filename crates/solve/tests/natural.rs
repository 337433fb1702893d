//! Natural frequencies against closed forms, phase-shift oscillators, and the run in time.

#![allow(clippy::unwrap_used, reason = "the circuits are the test's own")]

use std::f64::consts::TAU;

use solve::time::{NaturalFrequency, Running, Tendency, natural_frequencies};
use solve::{Law, Netlist, operating};

mod support;

use support::elements::{capacitor, element, resistor};
use support::{amplifiers, netlist};

fn found(netlist: &Netlist) -> Vec<NaturalFrequency> {
    let point = operating::solve(netlist, None);
    assert!(point.converged());
    natural_frequencies(netlist, &point).unwrap()
}

/// `-R/2L +- j sqrt(1/LC - (R/2L)^2)`, and a capacitor that a resistance empties.
#[test]
fn a_tuned_circuit_has_its_pair_and_a_capacitor_its_rate() {
    let (henries, ohms, farads) = (2.0, 50.0, 1e-7);
    let all = found(&netlist(
        3,
        vec![
            element(Law::Inductor {
                a: 1,
                b: 0,
                henries,
                ohms,
            }),
            capacitor(1, 0, farads),
            resistor(2, 0, 1e6),
            capacitor(2, 0, 22e-9),
            // two side by side are one
            capacitor(2, 0, 11e-9),
        ],
    ));
    let a = ohms / (2.0 * henries);
    let hertz = (1.0 / (henries * farads) - a * a).sqrt() / TAU;
    assert_eq!(all.len(), 2, "{all:?}");
    let pair = all.iter().find(|f| f.hertz > 0.0).unwrap();
    assert!((pair.growth / -a - 1.0).abs() < 1e-6 && (pair.hertz / hertz - 1.0).abs() < 1e-8);
    let rate = all.iter().find(|f| f.hertz == 0.0).unwrap();
    assert!((rate.growth * 33e-3 + 1.0).abs() < 1e-6, "{rate:?}");
    assert!(all.iter().all(|f| f.tendency() == Tendency::Settles));
}

/// A ladder behind an ideal inverting stage.
fn oscillator(row: &toml::Value, gain: f64) -> Netlist {
    let numbers = |key: &str| -> Vec<f64> {
        let all = row[key].as_array().unwrap().iter();
        all.map(|v| v.as_float().unwrap()).collect()
    };
    let lead = row["ladder"].as_str().unwrap() == "lead";
    let mut elements = Vec::new();
    let (ohms, nanofarads) = (numbers("r"), numbers("c_nf"));
    for (at, (ohms, nanofarads)) in ohms.iter().zip(&nanofarads).enumerate() {
        let (series, shunt) = ((at + 1, at + 2), (at + 2, 0));
        let (c, r) = if lead {
            (series, shunt)
        } else {
            (shunt, series)
        };
        elements.push(capacitor(c.0, c.1, nanofarads * 1e-9));
        elements.push(resistor(r.0, r.1, *ohms));
    }
    elements.push(element(Law::Amplifier {
        input: ohms.len() + 1,
        output: 1,
        gain: -gain,
    }));
    netlist(ohms.len() + 2, elements)
}

/// data/phase_shift.toml: the gain at which the pair neither grows nor dies, and its frequency
/// there; in time, the swing at that gain keeps its size and its period.
#[test]
fn phase_shift_oscillators_start_at_their_gain_and_frequency() {
    let text = include_str!("../data/phase_shift.toml");
    let file: toml::Table = toml::from_str(text).unwrap();
    let accepted = |key: &str| file[key].as_float().unwrap() / 100.0;
    let rows = file["row"].as_array().unwrap();
    assert!(rows.len() >= 8);
    for row in rows {
        let (hertz, gain) = (
            row["hertz"].as_float().unwrap(),
            row["gain"].as_float().unwrap(),
        );
        let fastest = |gain: f64| {
            let all = found(&oscillator(row, gain));
            *all.iter().find(|f| f.hertz > 0.0).unwrap()
        };
        let (mut low, mut high) = (0.5 * gain, 2.0 * gain);
        for _ in 0..40 {
            let middle = 0.5 * (low + high);
            if fastest(middle).growth > 0.0 {
                high = middle;
            } else {
                low = middle;
            }
        }
        assert!(
            (low / gain - 1.0).abs() < accepted("accepted_gain_pct"),
            "{row} {low}"
        );
        let seen = fastest(low).hertz;
        assert!(
            (seen / hertz - 1.0).abs() < accepted("accepted_hertz_pct"),
            "{row} {seen}"
        );
        assert_eq!(fastest(1.02 * gain).tendency(), Tendency::Oscillates);
        assert_eq!(fastest(0.98 * gain).tendency(), Tendency::Settles);
    }
}

/// A stage that drives itself runs off: nothing holds it.
#[test]
fn positive_feedback_leaves_its_point() {
    let all = found(&netlist(
        3,
        vec![
            element(Law::Amplifier {
                input: 1,
                output: 2,
                gain: 3.0,
            }),
            resistor(2, 1, 1e3),
            resistor(1, 0, 1e3),
            capacitor(1, 0, 1e-6),
        ],
    ));
    // C dv/dt = (3 v - v) / R - v / R
    assert!(
        (all[0].growth / 1e3 - 1.0).abs() < 1e-6 && all[0].hertz == 0.0,
        "{all:?}"
    );
    assert_eq!(all[0].tendency(), Tendency::Leaves);
}

/// The push-pull amplifier's tremolo is the only pair that grows; let run, it grows and swings as its pair says.
#[test]
fn the_tremolo_of_an_amplifier_is_found_and_grows_in_time() {
    let sound = found(&amplifiers::single_ended());
    assert!(
        sound.iter().all(|f| f.tendency() == Tendency::Settles),
        "{:?}",
        sound[0]
    );

    let amplifier = amplifiers::push_pull();
    let point = operating::solve(&amplifier, None);
    let all = natural_frequencies(&amplifier, &point).unwrap();
    let growing: Vec<_> = all
        .iter()
        .filter(|f| f.tendency() != Tendency::Settles)
        .collect();
    assert_eq!(growing.len(), 1, "{growing:?}");
    assert!(
        growing[0].hertz > 1.0 && growing[0].hertz < 15.0,
        "{growing:?}"
    );

    // nudged by its generators, standing at other volts for a moment
    let mut run = Running::at(&amplifier, &point).unwrap().with_accuracy(1e-8);
    let generators: Vec<usize> = (0..amplifier.elements.len())
        .filter(|&e| matches!(amplifier.elements[e].law, Law::Alternating { .. }))
        .collect();
    for &generator in &generators {
        run.drive(generator, 0.0).unwrap();
    }
    let period = 1.0 / growing[0].hertz;
    let moved = |run: &Running| -> Vec<f64> {
        let volts = point.volts.iter().enumerate();
        volts.map(|(node, at)| run.volts(node) - at).collect()
    };
    for &generator in &generators {
        run.drive(generator, 1e-4).unwrap();
    }
    run.until(0.02).unwrap();
    for &generator in &generators {
        run.drive(generator, 0.0).unwrap();
    }
    // until little but the growing pair is left, and it is still small
    let start = 6.0 * period;
    run.until(start).unwrap();
    let first = moved(&run);
    run.until(start + period).unwrap();
    let second = moved(&run);
    let widest = (0..first.len())
        .max_by(|&a, &b| first[a].abs().total_cmp(&first[b].abs()))
        .unwrap();
    let seen = second[widest] / first[widest];
    let expected = (growing[0].growth * period).exp();
    assert!(first[widest].abs() < 0.1, "{}", first[widest]);
    assert!((seen / expected - 1.0).abs() < 0.02, "{seen} {expected}");
}
