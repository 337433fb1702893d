//! States that repeat themselves: against closed forms, against letting the circuit run, and
//! against the handbook's rectifiers.

#![allow(clippy::unwrap_used, reason = "the circuits are the test's own")]

use std::f64::consts::{SQRT_2, TAU};

use solve::time::{Cycle, Running, TimeError, natural_frequencies};
use solve::{Law, Netlist, operating};

mod support;

use support::elements::{capacitor, resistor, sine};
use support::rectifiers::{HERTZ, PEAK};
use support::{amplifiers, netlist, rectifiers};

/// Steps and Newton iterations on the way to the state that repeats, the search for its steps among them; of 1,920 samples.
const CYCLE_5W: (u64, u64) = (526, 10_547);
const CYCLE_18W: (u64, u64) = (1_119, 40_195);
const SOUND_5W: u64 = 3_992;
const SOUND_18W: u64 = 4_028;
const PAIRS_5W: u64 = 1_150;
const PAIRS_18W: u64 = 1_018;

fn at_rest(netlist: &Netlist) -> Running {
    let point = operating::solve(netlist, None);
    assert!(point.converged());
    Running::at(netlist, &point).unwrap()
}

/// A low pass far slower than a cycle: phasor, power and multiplier by closed form.
#[test]
fn a_low_pass_repeats_at_once() {
    let (ohms, farads, hertz) = (10e3, 10e-6, 50.0);
    let circuit = netlist(
        3,
        vec![
            sine(1, 10.0, hertz, 1.0),
            resistor(1, 2, ohms - 1.0),
            capacitor(2, 0, farads),
        ],
    );
    let cycle = at_rest(&circuit).cycle(1.0 / hertz).unwrap();
    let x = TAU * hertz * ohms * farads;
    let peak = 10.0 * SQRT_2 / (1.0 + x * x).sqrt();
    let seen = cycle.harmonic(2, 0, 1);
    assert!((seen.abs() / peak - 1.0).abs() < 1e-5, "{seen:?} {peak}");
    assert!((cycle.rms_volts(2, 0) * SQRT_2 / peak - 1.0).abs() < 1e-5);
    assert!(cycle.mean_volts(2, 0).abs() < 1e-6);
    // a sine by 1 / (1 + j x): its phase is -90 degrees less the arc tangent of x
    let angle = -0.25 * TAU - x.atan();
    let off = (seen.angle() - angle).rem_euclid(TAU);
    assert!(off.min(TAU - off) < 1e-5, "{off}");
    let watts = 100.0 * x * x / (1.0 + x * x) / ohms;
    let parts = cycle.power(0).dissipated + cycle.power(1).dissipated;
    assert!(
        (parts / watts - 1.0).abs() < 1e-5 && (cycle.power(0).delivered / watts - 1.0).abs() < 1e-5
    );
    assert!(cycle.distortion(2, 0) < 1e-5, "{}", cycle.distortion(2, 0));
    let slow = f64::exp(-1.0 / (hertz * ohms * farads));
    let multiplier = cycle.multipliers()[0];
    assert!(
        (multiplier.re - slow).abs() < 1e-6 && cycle.stable(),
        "{multiplier:?}"
    );
    assert_eq!(
        at_rest(&circuit).cycle(0.0).err(),
        Some(TimeError::Length { seconds: 0.0 })
    );
    let mut asked = 0;
    let stopped = at_rest(&circuit).cycle_while(1.0 / hertz, &mut |share| {
        asked += 1;
        assert!((0.0..=1.0).contains(&share));
        false
    });
    assert!(asked == 1 && stopped.err() == Some(TimeError::Stopped));
}

/// Capacitor-input rectifiers, data/capacitor_input.toml, with steps that allow an error of 1e-6 (the usual ones of a cycle, 1e-5,
/// leave 2 % of the ripple where it is least). Accepted against the same circuits solved exactly (`reference/capacitor_input.py`): a
/// ten-thousandth of steady volts, five of ripple, a thousandth of peak and rms current. The printed volts and ripples are the exact
/// ones to within a unit of their last digit; the printed currents are up to 4 % low where a plate begins to conduct with a
/// jump, as the file was computed in steps of some length.
#[test]
fn capacitor_input_rows_repeat() {
    for row in rectifiers::capacitor_input() {
        let cycle = at_rest(&row.circuit)
            .with_accuracy(1e-6)
            .cycle(1.0 / HERTZ)
            .unwrap();
        let mean = cycle.mean_volts(2, 0);
        let ripple = 100.0 * cycle.rms_volts(2, 0) / mean;
        let plate = cycle.currents(1)[0];
        row.holds("vdc_over_vpeak", mean / PEAK, 1e-4, 2e-4);
        row.holds("ripple_rms_pct", ripple, 5e-4, 8e-3);
        row.holds(
            "peak_over_mean_per_plate",
            plate.peak / plate.mean,
            1e-3,
            0.045,
        );
        row.holds(
            "rms_over_mean_per_plate",
            plate.rms / plate.mean,
            1e-3,
            0.04,
        );
        assert!(cycle.stable());
    }
}

fn driven(mut amplifier: Netlist, volts: f64, hertz: f64) -> (Netlist, Running) {
    let point = operating::solve(&amplifier, None);
    for element in &mut amplifier.elements {
        if let Law::Alternating {
            volts: own,
            hertz: at,
            ..
        } = &mut element.law
        {
            (*own, *at) = (volts, hertz);
        }
    }
    let run = Running::at(&amplifier, &point).unwrap();
    (amplifier, run)
}

/// Ends of the part that stands for the loudspeaker's terminals.
fn load(amplifier: &Netlist) -> (usize, usize) {
    let mut transformers = amplifier.elements.iter().filter_map(|e| match &e.law {
        Law::Transformer(t) => t.windings.last(),
        _ => None,
    });
    let last = transformers.next_back().unwrap();
    (last.a, last.b)
}

fn check_balance(amplifier: &Netlist, cycle: &Cycle) {
    let mut sums = [0.0; 2];
    for element in 0..amplifier.elements.len() {
        sums[0] += cycle.power(element).delivered;
        sums[1] += cycle.power(element).dissipated;
    }
    assert!((sums[0] / sums[1] - 1.0).abs() < 1e-4, "{sums:?}");
}

/// An amplifier driven into clipping: shooting finds the state that letting it run comes to, all
/// that is delivered is dissipated, and it repeats when it is let run on.
#[test]
fn a_driven_amplifier_repeats() {
    let (amplifier, run) = driven(amplifiers::single_ended(), 0.3, 1000.0);
    let cycle = run.cycle(1e-3).unwrap();
    let (a, b) = load(&amplifier);
    check_balance(&amplifier, &cycle);
    assert!(cycle.stable(), "{:?}", &cycle.multipliers()[..4]);
    // its harmonics are those of samples taken at even distances
    let mut on = cycle.running().unwrap();
    let begin = on.seconds();
    let count = 256;
    let mut samples = Vec::new();
    for at in 0..count {
        on.until(begin + f64::from(at) * 1e-3 / f64::from(count))
            .unwrap();
        samples.push(on.across(a, b));
    }
    let first = cycle.harmonic(a, b, 1).abs();
    assert!(first > 5.0 && cycle.distortion(a, b) > 0.1);
    for order in 1..=7 {
        let (mut re, mut im) = (0.0, 0.0);
        for (at, volts) in samples.iter().enumerate() {
            let angle = TAU * f64::from(order) * at as f64 / f64::from(count);
            re += volts * angle.cos() * 2.0 / f64::from(count);
            im -= volts * angle.sin() * 2.0 / f64::from(count);
        }
        let seen = cycle.harmonic(a, b, order);
        let off = (seen.re - re).hypot(seen.im - im) / first;
        assert!(off < 1e-3, "{order} {off}");
    }
    let mut on = cycle.running().unwrap();
    let begin = on.seconds();
    let before: Vec<f64> = (0..amplifier.nodes.len()).map(|n| on.volts(n)).collect();
    on.until(begin + 10e-3).unwrap();
    for (node, volts) in before.iter().enumerate() {
        assert!(
            (on.volts(node) - volts).abs() < 1e-3,
            "{node} {volts} {}",
            on.volts(node)
        );
    }
}

/// Work for one cycle and for sound, so that slow drift shows: steps, and Newton iterations. Within a
/// hundredth, as another machine's logarithms may move a step.
#[test]
fn work_is_what_it_was() {
    for (amplifier, cycle, sound_newton, pairs_newton) in [
        (amplifiers::single_ended(), CYCLE_5W, SOUND_5W, PAIRS_5W),
        (amplifiers::push_pull(), CYCLE_18W, SOUND_18W, PAIRS_18W),
    ] {
        let near = |seen: u64, kept: u64| seen.abs_diff(kept) * 100 <= kept;
        let (driven_by, run) = driven(amplifier.clone(), 0.1, 1000.0);
        let work = run.cycle(1e-3).unwrap().running().unwrap().work();
        println!("{work:?}");
        assert!(
            near(work.steps, cycle.0) && near(work.iterations, cycle.1),
            "{work:?}"
        );
        let mut run = at_rest(&amplifier);
        let source = driven_by.elements.iter().position(|e| e.name == "input");
        for at in 1..=1920 {
            let tone = |hertz: f64| (TAU * hertz * f64::from(at) / 192e3).sin();
            let volts = 0.1 * (tone(220.0) + tone(330.0));
            run.step(1.0 / 192e3, &[(source.unwrap(), volts)]).unwrap();
        }
        assert!(
            run.work().steps == 1920 && near(run.work().iterations, sound_newton),
            "{:?}",
            run.work()
        );
        let mut run = at_rest(&amplifier);
        for at in 0..960 {
            let drive = [1, 2].map(|step| {
                let t = f64::from(2 * at + step) / 192e3;
                0.1 * ((TAU * 220.0 * t).sin() + (TAU * 330.0 * t).sin())
            });
            run.two_steps(1.0 / 192e3, &[(source.unwrap(), drive)])
                .unwrap();
        }
        assert!(
            run.work().steps == 1920 && near(run.work().iterations, pairs_newton),
            "{:?}",
            run.work()
        );
    }
}

/// The push-pull amplifier, its tremolo at rest: the one pair of multipliers outside the circle is
/// the tremolo's, as its natural frequency says.
#[test]
fn what_grows_in_a_driven_cycle_is_told() {
    let (amplifier, run) = driven(amplifiers::push_pull(), 0.1, 1000.0);
    let point = operating::solve(&amplifier, None);
    let pair = natural_frequencies(&amplifier, &point).unwrap()[0];
    let cycle = run.cycle(1e-3).unwrap();
    check_balance(&amplifier, &cycle);
    assert!(!cycle.stable());
    let all = cycle.multipliers();
    assert!(all[1].abs() > 1.0 && all[2].abs() < 1.0, "{:?}", &all[..3]);
    let hertz = all[0].angle().abs() / TAU * 1000.0;
    // at this drive its valve works at nearly the same point
    assert!((hertz / pair.hertz - 1.0).abs() < 0.02, "{hertz} {pair:?}");
    let growth = all[0].abs().ln() * 1000.0;
    assert!(
        (growth / pair.growth - 1.0).abs() < 0.1,
        "{growth} {pair:?}"
    );
}

/// The tremolo: its period settles where letting it run settles it.
#[test]
fn an_oscillator_finds_its_period() {
    let mut amplifier = amplifiers::push_pull();
    for element in &mut amplifier.elements {
        if let Law::Alternating { volts, .. } = &mut element.law {
            *volts = 0.0;
        }
    }
    let point = operating::solve(&amplifier, None);
    let pair = natural_frequencies(&amplifier, &point).unwrap()[0];
    let mut run = Running::at(&amplifier, &point).unwrap();
    // a nudge: some of its capacitors are charged to other volts by a changed supply
    let mut nudged = amplifier.clone();
    for element in &mut nudged.elements {
        if let Law::Source { volts, .. } = &mut element.law {
            *volts *= 1.01;
        }
    }
    run.change(&nudged).unwrap();
    run.until(0.1).unwrap();
    run.change(&amplifier).unwrap();
    run.until(14.0 / pair.growth).unwrap();
    let cycle = run.oscillation(1.0 / pair.hertz).unwrap();
    assert!(cycle.stable(), "{:?}", &cycle.multipliers()[..3]);
    // let run for ten periods it comes back to a thousandth of its swing: the period holds to
    // 0.01 % and better
    let mut on = cycle.running().unwrap();
    let begin = on.seconds();
    let before: Vec<f64> = (0..amplifier.nodes.len()).map(|n| on.volts(n)).collect();
    on.until(begin + 10.0 * cycle.period()).unwrap();
    let mut widest = 0.0_f64;
    for (node, volts) in before.iter().enumerate() {
        let swing = 2.0 * SQRT_2 * cycle.rms_volts(node, 0);
        let off = (on.volts(node) - volts).abs();
        assert!(off < 1e-3 * swing + 1e-6, "{node} {off} {swing}");
        widest = swing.max(widest);
    }
    assert!(widest > 10.0);
    // at rest it finds no swing
    let rest = Running::at(&amplifier, &point).unwrap();
    let found = rest.oscillation(1.0 / pair.hertz).err();
    assert!(
        matches!(found, Some(TimeError::Unsettled { .. })),
        "{found:?}"
    );
}
