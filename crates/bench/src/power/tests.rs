use super::*;
use crate::testing::{example, with_knobs};

fn asked(sets: &[(&str, f64)]) -> PowerRequest {
    PowerRequest {
        asked: with_knobs(sets),
        hertz: vec![1000.0],
        ..PowerRequest::default()
    }
}

fn worked(circuit: &Circuit, request: &PowerRequest) -> Power {
    power(circuit, Library::built_in(), request, &mut |_| true)
}

/// Physics, whatever the amplifier: a single-ended 6V6 gives a few watts and no more than its plate takes at rest in
/// class A; louder is never less until it clips; the plate runs cooler with signal.
#[test]
fn the_small_amplifier_gives_what_class_a_can() {
    let circuit = example("pip");
    let found = worked(&circuit, &asked(&[("VOLUME", 8.0), ("TONE", 10.0)]));
    let (_, clean) = &found.cleanest[0];
    let clean = clean.as_ref().expect("a clean level");
    assert!((clean.distortion / 0.05 - 1.0).abs() < 0.04, "{clean:?}");
    let valve = &found.valves[0];
    let [rest, driven, _] = valve.states[..] else {
        panic!("three states: {valve:?}");
    };
    let (rest, driven) = (rest.expect("rest"), driven.expect("driven"));
    assert!(
        clean.watts > 1.0 && clean.watts < 0.5 * rest.plate_watts,
        "{clean:?} {rest:?}"
    );
    assert!(driven.plate_watts < rest.plate_watts, "{driven:?} {rest:?}");
    let full = found.full.as_ref().expect("driven hard");
    assert!(full.watts > clean.watts && full.distortion > clean.distortion);
    for pair in found.levels.windows(2) {
        assert!(pair[1].watts > 0.999 * pair[0].watts, "{pair:?}");
    }
}

/// The quiet end agrees with the response at small signals.
#[test]
fn the_quietest_level_has_the_gain_of_the_response() {
    let circuit = example("curlew");
    let request = asked(&[("VOLA", 6.0)]);
    let found = worked(&circuit, &request);
    let first = &found.levels[0];
    let voiced = crate::voicing::voicing(
        &circuit,
        Library::built_in(),
        &crate::voicing::VoicingRequest {
            asked: request.asked.clone(),
            from: found.from.clone().expect("a jack"),
            to: "LS1".to_owned(),
            hertz: vec![1000.0],
            source_ohms: 0.0,
            guitar: None,
            resistive_load: true,
        },
    )
    .expect("a response");
    let db = 20.0 * (first.output_volts / first.volts).log10();
    assert!((db - voiced.db[0]).abs() < 0.1, "{db} {}", voiced.db[0]);
}

/// A rail that feeds the output stage falls under drive in class AB, and what is drawn follows.
#[test]
fn a_push_pull_supply_sags() {
    let circuit = example("turnstone");
    let found = worked(&circuit, &asked(&[("VOLB", 7.0)]));
    let rail = found.rails.first().expect("a rail");
    assert!(rail.full.expect("driven") < rail.rest - 1.0, "{rail:?}");
    assert!(found.valves.len() == 4, "{:?}", found.valves);
}

#[test]
fn what_cannot_be_driven_says_why() {
    let half =
        wiring::read_one("V1 12AX7\nJ1 jack\nJ1.tip - R1 1M - ground\nJ1.tip - V1.2\n").circuit;
    let found = worked(&half, &PowerRequest::default());
    assert!(found.levels.is_empty());
    assert!(!found.sheet.missing.is_empty());
    let quiet = example("pip");
    let found = worked(&quiet, &asked(&[("VOLUME", 0.0)]));
    assert!(
        found.sheet.missing[0].what.contains("turn the volume up"),
        "{:?}",
        found.sheet.missing
    );
    // whoever stops it gets a sheet that says so
    let mut calls = 0;
    let request = asked(&[("VOLUME", 8.0)]);
    let stopped = power(&quiet, Library::built_in(), &request, &mut |_| {
        calls += 1;
        calls < 4
    });
    assert!(stopped.full.is_none());
    assert!(
        stopped
            .sheet
            .missing
            .iter()
            .any(|m| m.what.contains("stopped"))
    );
}

/// Under high mains, with a valve out and with a bias that is gone the figures stay figures: numbers, or a reason.
#[test]
fn trouble_gives_numbers_or_reasons() {
    let circuit = example("curlew");
    let mut high = asked(&[("VOLA", 6.0)]);
    high.asked.mains_volts = Some(253.0);
    let mut pulled = asked(&[("VOLA", 6.0)]);
    pulled.asked.without_valves = vec!["V5".to_owned()];
    let normal = worked(&circuit, &asked(&[("VOLA", 6.0)]));
    let watts = |p: &Power| p.cleanest[0].1.as_ref().map(|l| l.watts);
    let at_high = worked(&circuit, &high);
    assert!(
        watts(&at_high) > watts(&normal),
        "{:?} {:?}",
        watts(&at_high),
        watts(&normal)
    );
    let one_out = worked(&circuit, &pulled);
    assert_eq!(one_out.valves.len(), 1, "{:?}", one_out.valves);
    assert!(watts(&one_out) < watts(&normal));
    for found in [&normal, &at_high, &one_out] {
        for level in &found.levels {
            assert!(
                level.watts.is_finite() && level.distortion.is_finite(),
                "{level:?}"
            );
        }
    }
}

/// Next to no signal works the parts as rest does; a tone adds `V^2 / R` of its own to what flows at rest.
#[test]
fn parts_under_a_whisper_work_as_at_rest() {
    let circuit = example("pip");
    let asked = with_knobs(&[("VOLUME", 8.0), ("TONE", 10.0)]);
    let library = Library::built_in();
    let bench = Bench::new(&circuit, library, &asked, None).expect("a bench");
    let driven = bench
        .drive(1e-6, 1000.0, None, &mut || true)
        .expect("a cycle");
    let whisper = under_drive(&bench, &circuit, &driven, When::CleanDrive, 1000.0);
    let rest = crate::stress::stress(&circuit, library, &asked);
    let mut compared = 0;
    for one in &whisper.parts {
        let (Some(watts), Some(id)) = (one.watts, circuit.part(&one.part)) else {
            continue;
        };
        // the steady volts of the solution at rest, and Ohm's law
        let part = &circuit.parts[id.0];
        let (Some((a, b)), wiring::circuit::Kind::Resistor { ohms: Some(marked) }) =
            (crate::powered::ends(part), &part.kind)
        else {
            continue;
        };
        let node = |n: wiring::NodeId| bench.solved.assembly.node_of[n.0];
        let (Some(a), Some(b)) = (node(a), node(b)) else {
            continue;
        };
        let ohms = match part.known.reading.map(|r| r.value) {
            Some(wiring::circuit::MeasuredValue::Is(read)) => read,
            _ => *marked,
        };
        let volts = bench.solved.point.dc(a) - bench.solved.point.dc(b);
        let want = volts * volts / ohms;
        assert!(
            (watts - want).abs() <= 0.01 * want + 1e-9,
            "{}: {watts} W, {want} W",
            one.part
        );
        assert!((one.peak_volts.expect("volts") - volts.abs()).abs() < 0.02 * volts.abs() + 0.01);
        compared += 1;
    }
    assert!(compared >= 10, "{compared}");
    // and the sheet does not change by it
    let with = crate::stress::stress_under(&circuit, library, &asked, &[whisper]);
    let over = |s: &crate::stress::Stress| {
        let all = s.parts.iter();
        all.filter(|p| p.verdict == crate::stress::Verdict::Over)
            .count()
    };
    assert_eq!(over(&with), over(&rest));
}

/// Clipping works the screen and its resistor harder than rest does; that is told by the drive it comes from, is no fault of
/// a valve, and what it asks of a resistor counts.
#[test]
fn hard_drive_is_a_state_of_its_own() {
    let circuit = example("pip");
    let found = worked(&circuit, &asked(&[("VOLUME", 8.0), ("TONE", 10.0)]));
    let library = Library::built_in();
    let of = with_knobs(&[("VOLUME", 8.0), ("TONE", 10.0)]);
    let rest = crate::stress::stress(&circuit, library, &of);
    let driven = crate::stress::stress_under(&circuit, library, &of, &found.drives);
    assert_eq!(driven.drives.len(), 2);
    let pick = |s: &crate::stress::Stress, part: &str, quantity| {
        let mut all = s.parts.iter();
        all.find(|p| p.part == part && p.quantity == quantity)
            .cloned()
            .expect("a row")
    };
    let watts = crate::stress::Quantity::Watts;
    let (still, loud) = (pick(&rest, "R13", watts), pick(&driven, "R13", watts));
    assert!(loud.value > 1.2 * still.value, "{still:?} {loud:?}");
    assert_eq!(loud.when, When::HardDrive);
    // nothing is ever less strained because a drive was looked at
    for was in &rest.parts {
        let mut same = driven.parts.iter();
        let is =
            same.find(|p| (&p.part, p.kind, p.quantity) == (&was.part, was.kind, was.quantity));
        let is = is.expect("every row stays");
        let asks = |s: &crate::stress::Strained| s.limit.map_or(s.value, |l| s.value / l);
        assert!(asks(is) >= asks(was) * (1.0 - 1e-9), "{was:?} {is:?}");
    }
    let hard = driven.parts.iter().filter(|p| p.when == When::HardDrive);
    let valve = |p: &crate::stress::Strained| p.part.starts_with('V');
    for one in hard.filter(|p| valve(p)) {
        assert_ne!(one.verdict, crate::stress::Verdict::Over, "{one:?}");
    }
    assert!(driven.sheet.notes.iter().any(|n| n.contains("driven hard")));
    assert!(
        !driven
            .sheet
            .notes
            .iter()
            .any(|n| n.contains("Without signal"))
    );
}
