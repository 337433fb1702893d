use super::*;
use crate::driven::Bench;
use crate::testing::{example, with_knobs};
use crate::voicing::with_resistors;
use std::f64::consts::TAU;

/// A hundred thousand steps a second or so, a whole number of them in a cycle of a kilohertz.
const RATE: f64 = 192_000.0;

/// Fundamental and harmonics of the second and third order that `peak` volts of a tone become, after a while.
fn tone_of(player: &mut Player, hertz: f64, peak: f64, seconds: f64) -> [f64; 3] {
    let cycle = (RATE / hertz) as usize;
    let whole = (seconds * hertz) as usize * cycle;
    let mut sums = [(0.0, 0.0); 3];
    let listened = (20 * cycle).min(whole);
    // a whole number of pairs of steps in a cycle
    for i in (0..whole).step_by(2) {
        let at = [i, i + 1].map(|i| TAU * (i % cycle) as f64 / cycle as f64);
        let out = player
            .push(at.map(|at| peak * at.sin()))
            .expect("two steps");
        if i >= whole - listened {
            for (out, at) in out.into_iter().zip(at) {
                for (order, sum) in (1..).zip(&mut sums) {
                    sum.0 += out * (f64::from(order) * at).cos();
                    sum.1 += out * (f64::from(order) * at).sin();
                }
            }
        }
    }
    sums.map(|(a, b)| 2.0 * a.hypot(b) / listened as f64)
}

/// The same of a kilohertz.
fn tone(player: &mut Player, peak: f64, seconds: f64) -> [f64; 3] {
    tone_of(player, 1000.0, peak, seconds)
}

fn request(sets: &[(&str, f64)]) -> PlayRequest {
    PlayRequest {
        asked: with_knobs(sets),
        from: None,
        to: Some("LS1".to_owned()),
        step: 1.0 / RATE,
    }
}

/// Small signals come out as the response says, to a twentieth of a decibel.
#[test]
fn a_small_tone_comes_out_as_the_response_says() {
    let circuit = example("pip");
    let mut player = Player::new(
        &circuit,
        Library::built_in(),
        &request(&[("VOLUME", 5.0)]),
        &mut |_| true,
    )
    .expect("a player");
    let gain = player.gain();
    let [first, ..] = tone(&mut player, 1e-3, 0.3);
    let off = 20.0 * (first / (1e-3 * gain)).log10();
    assert!(off.abs() < 0.05, "{off} dB of {gain}");
    // the treble, twelve samples to the cycle
    let asked = with_knobs(&[("VOLUME", 5.0)]);
    let at = plugged(&circuit, Library::built_in(), &asked, player.from()).expect("a jack");
    let (a, b) = ends(&circuit, &at.solved, "LS1").expect("a loudspeaker");
    let small = SmallSignal::new(&at.solved.point.netlist, &at.solved.point.solution)
        .expect("small signals");
    for (hertz, within) in [(6_000.0, 0.005), (12_000.0, 0.05), (16_000.0, 0.15)] {
        let moved = small.at(hertz).expect("a response").per_volt(at.source);
        let wanted = (moved[a] - moved[b]).abs();
        let [first, ..] = tone_of(&mut player, hertz, 1e-3, 0.1);
        let off = 20.0 * (first / (1e-3 * wanted)).log10();
        println!("{hertz} Hz: {off} dB");
        assert!(off.abs() < within, "{off} dB at {hertz} Hz");
    }
}

/// Driven into clipping, what comes out is what the state that repeats itself has, which is found with steps of its own
/// choice by a rule of its own: the tone to 0.1 dB, its second and third harmonic to 0.3 dB. Both have the supply sag.
#[test]
fn a_large_tone_comes_out_as_in_the_state_that_repeats() {
    let circuit = example("pip");
    let asked = with_knobs(&[("VOLUME", 8.0)]);
    let bench = Bench::new(&circuit, Library::built_in(), &asked, None).expect("a bench");
    let rms = 0.3;
    let driven = bench
        .drive(rms, 1000.0, None, &mut || true)
        .expect("a cycle");
    let (a, b) = bench.loads[0].ends;
    let wanted = [1, 2, 3].map(|k| driven.cycle.harmonic(a, b, k).abs());
    let mut player = Player::new(
        &with_resistors(&circuit),
        Library::built_in(),
        &PlayRequest {
            from: Some(bench.from.clone()),
            ..request(&[("VOLUME", 8.0)])
        },
        &mut |_| true,
    )
    .expect("a player");
    let got = tone(&mut player, rms * 2_f64.sqrt(), 1.5);
    assert!(
        wanted[1].max(wanted[2]) > 0.05 * wanted[0],
        "it clips: {wanted:?}"
    );
    for ((got, want), within) in got.iter().zip(wanted).zip([0.1, 0.3, 0.3]) {
        let off = 20.0 * (got / want).log10();
        assert!(off.abs() < within, "{off} dB: {got} for {want}");
    }
}

/// A tremolo swings from the first sample on.
#[test]
fn a_tremolo_swings_from_the_beginning() {
    let circuit = example("curlew");
    let request = PlayRequest {
        from: Some("J3".to_owned()),
        to: None,
        step: 1.0 / 12_000.0,
        ..request(&[("VOLB", 5.0), ("DEPTH", 8.0)])
    };
    let mut player =
        Player::new(&circuit, Library::built_in(), &request, &mut |_| true).expect("a player");
    let hertz = player.tremolo_hertz().expect("a tremolo");
    let (mut least, mut most) = (f64::INFINITY, 0.0_f64);
    // The size of a quiet tone over one swing, fifty cycles of it at a time.
    let swing = (1.5 / hertz * 20.0) as usize;
    for _ in 0..swing {
        let peak = (0..300)
            .map(|i| {
                let volts = [2 * i, 2 * i + 1].map(|i| 1e-3 * (TAU * f64::from(i) / 12.0).sin());
                let [first, second] = player.push(volts).expect("two steps");
                first.abs().max(second.abs())
            })
            .fold(0.0, f64::max);
        least = least.min(peak);
        most = most.max(peak);
    }
    assert!(most > 1.3 * least, "{least} to {most} V at {hertz} Hz");
}

/// What cannot be played says why.
#[test]
fn what_cannot_be_played_says_why() {
    let circuit = example("pip");
    let no = |request: &PlayRequest| {
        Player::new(&circuit, Library::built_in(), request, &mut |_| true)
            .err()
            .unwrap_or_default()
    };
    let jack = no(&PlayRequest {
        from: Some("J99".to_owned()),
        ..request(&[])
    });
    assert!(jack.contains("J99"), "{jack}");
    let silent = no(&PlayRequest {
        to: Some("ground".to_owned()),
        ..request(&[])
    });
    assert!(silent.contains("nothing from"), "{silent}");
    let step = no(&PlayRequest {
        step: 0.0,
        ..request(&[])
    });
    assert!(step.contains("step"), "{step}");
}
