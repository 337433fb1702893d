use super::*;
use crate::testing::{example, with_knobs};

fn request() -> BesideRequest {
    BesideRequest {
        asked: with_knobs(&[("VOLUME", 5.0)]),
        from: Some("J1".to_owned()),
        ..BesideRequest::default()
    }
}

/// The voicing itself, 7 dB louder because nobody knows the player's volts, is inside everywhere; a treble that is 8 dB
/// down is not, and is the farthest.
#[test]
fn a_response_is_held_against_the_voicing() {
    let circuit = example("pip");
    let asked = voicing_request(
        &request(),
        "J1",
        "LS1",
        vec![50.0, 200.0, 1000.0, 5000.0, 10_000.0],
    );
    let found = voicing(&circuit, Library::built_in(), &asked).expect("a voicing");
    let mut measured: Vec<(f64, f64, f64)> = found
        .hz
        .iter()
        .zip(&found.db)
        .map(|(hz, db)| (*hz, db + 7.0, 0.05))
        .collect();
    let beside =
        response(&circuit, Library::built_in(), &request(), &measured, false).expect("beside");
    assert_eq!(beside.pairs.len(), 4);
    assert!(
        beside.pairs.iter().all(|p| p.verdict == Word::Inside),
        "{beside:?}"
    );
    assert!(beside.words.contains("agree"), "{}", beside.words);
    measured[4].1 -= 8.0;
    let beside =
        response(&circuit, Library::built_in(), &request(), &measured, false).expect("beside");
    assert_eq!(beside.pairs[3].verdict, Word::Outside, "{beside:?}");
    assert!(
        beside.words.contains("10000 Hz, low by 8.0 dB"),
        "{}",
        beside.words
    );
    // With the player's volts known, 7 dB too much are seen everywhere but where the band is as wide.
    let beside = response(
        &circuit,
        Library::built_in(),
        &request(),
        &measured[..4],
        true,
    )
    .expect("beside");
    assert!(
        beside.pairs.iter().all(|p| p.verdict != Word::Inside),
        "{beside:?}"
    );
}

/// What all parts share drops out against one frequency: the band there is none, and nowhere wider than twice the whole.
#[test]
fn a_band_against_a_frequency_is_none_there() {
    let circuit = example("pip");
    let asked = voicing_request(&request(), "J1", "LS1", vec![100.0, 1000.0, 8000.0]);
    let whole = band_against(&circuit, Library::built_in(), &asked, None).expect("a band");
    let against = band_against(&circuit, Library::built_in(), &asked, Some(1)).expect("a band");
    assert!(against[1] < 1e-9, "{against:?}");
    assert!(
        against[0] > 0.0 && against[0] < whole[0],
        "{against:?} {whole:?}"
    );
    let told = crate::voicing::contributions(&circuit, Library::built_in(), &asked).expect("parts");
    for (a, b) in told.band_db.iter().zip(&whole) {
        assert!((a - b).abs() < 1e-9);
    }
}

/// Steps at volts that are known meet the state that repeats; half the watts do not.
#[test]
fn steps_are_held_against_the_state_that_repeats() {
    let circuit = example("pip");
    let bench =
        Bench::new(&circuit, Library::built_in(), &request().asked, Some("J1")).expect("a bench");
    let (a, b) = bench.loads[0].ends;
    let mut read = Vec::new();
    for volts in [0.02, 0.1] {
        let driven = bench
            .drive(volts, 1000.0, None, &mut || true)
            .expect("a cycle");
        read.push(StepRead {
            hertz: 1000.0,
            jack_volts: Some(volts),
            watts: bench.watts(&driven),
            distortion: driven.cycle.distortion(a, b),
            uncertainty_db: 0.1,
        });
    }
    let go = |read: &[StepRead]| {
        steps(
            &circuit,
            Library::built_in(),
            &request(),
            read,
            (0.05, 0.05),
            &mut |_| true,
        )
        .expect("beside")
    };
    assert!(go(&read).pairs.iter().all(|p| p.verdict == Word::Inside));
    read[1].watts *= 0.5;
    assert_eq!(go(&read).pairs[2].verdict, Word::Outside, "{:?}", go(&read));
    // Nobody knows the player's volts: what is compared is where distortion passes five per cent.
    let unknown: Vec<StepRead> = read
        .iter()
        .map(|s| StepRead {
            jack_volts: None,
            ..*s
        })
        .collect();
    let clean = cleanest(&unknown.iter().collect::<Vec<_>>(), 0.05);
    assert!(
        clean.is_none_or(|c| c.0 > read[0].watts && c.0 < 2.0 * read[1].watts),
        "{clean:?}"
    );
}

/// The ripple that is told at the loudspeaker is that of the amplifier let run from the plug on, with its diodes and its
/// mains, to a decibel and a half: a second way that knows no averages.
#[test]
fn ripple_at_the_loudspeaker() {
    let circuit = example("pip");
    let told = hum_and_hiss(
        &circuit,
        Library::built_in(),
        &request(),
        &[(1, 1e-3, 0.5), (2, 1e-3, 0.5)],
        Some((1e-3, 0.5)),
    )
    .expect("beside");
    let find = |what: &str| {
        told.pairs
            .iter()
            .find(|p| p.what.starts_with(what))
            .expect("a pair")
    };
    let hiss = find("noise");
    assert!((-120.0..-40.0).contains(&hiss.computed), "{hiss:?}");

    let at = plugged(&circuit, Library::built_in(), &request().asked, "J1").expect("solved");
    let (a, b) = ends(&circuit, &at.solved, "LS1").expect("a loudspeaker");
    let mut whole = at.solved.assembly.netlist.clone();
    for element in &mut whole.elements {
        if let Law::Alternating {
            volts,
            mains: false,
            ..
        } = &mut element.law
        {
            *volts = 0.0;
        }
    }
    let mut run = solve::time::Running::empty(&whole)
        .expect("running")
        .with_accuracy(1e-5);
    run.until(4.0).expect("run");
    let (mut re, mut im, count) = (0.0, 0.0, 400);
    for i in 1..=count {
        let part = f64::from(i) / f64::from(count);
        run.until(4.0 + 0.1 * part).expect("run");
        let turn = std::f64::consts::TAU * 10.0 * part;
        re += run.across(a, b) * turn.cos() * 2.0 / f64::from(count);
        im += run.across(a, b) * turn.sin() * 2.0 / f64::from(count);
    }
    let seen = 20.0 * (re.hypot(im) / 2_f64.sqrt()).log10();
    let line = find("hum line 2");
    assert!(
        (line.computed - seen).abs() < 1.5,
        "{} for {seen} dB V",
        line.computed
    );
}
