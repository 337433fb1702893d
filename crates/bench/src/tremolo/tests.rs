use super::oscillation::{plate_of, quiet};
use super::*;
use crate::testing::{example_text as example, with_knobs as asked};
use solve::time::Running;

fn worked(text: &str, sets: &[(&str, f64)]) -> Tremolo {
    let circuit = wiring::read_one(text).circuit;
    let asked = asked(sets);
    tremolo(
        &circuit,
        Library::built_in(),
        &asked,
        Some("J3"),
        &mut |_| true,
    )
}

/// The pace that is told is the pace at which the circuit goes when it is simply let run: its swings counted, each where
/// the plate rises through its mean.
#[test]
fn the_pace_is_that_of_the_circuit_let_run() {
    let text = example("curlew");
    let sets = [("VOLB", 7.0), ("DEPTH", 5.0)];
    let told = worked(&text, &sets);
    let now = told.now.as_ref().expect("a tremolo");
    assert!(now.starts);
    let hertz = now.hertz.expect("a pace");
    assert!((2.0..12.0).contains(&hertz), "{hertz}");

    let circuit = wiring::read_one(&text).circuit;
    let bench =
        Bench::new(&circuit, Library::built_in(), &asked(&sets), Some("J3")).expect("a bench");
    let roles = anatomy(&circuit);
    let found = find(&circuit, &roles).expect("an oscillator");
    let netlist = quiet(&bench);
    let plate = plate_of(&found, &bench).expect("a plate");
    let mut nudged = netlist.clone();
    for element in &mut nudged.elements {
        if element.name == "R21"
            && let solve::netlist::Law::Resistor { ohms, .. } = &mut element.law
        {
            *ohms *= 1.5;
        }
    }
    let mut run = Running::at(&netlist, &bench.solved.point.solution).expect("running");
    run.change(&nudged).expect("the same circuit");
    run.until(0.05).expect("run");
    run.change(&netlist).expect("the same circuit");
    run.until(2.0).expect("run");
    let mut wave = Vec::new();
    let mut at = run.seconds();
    while at < 3.5 {
        at += 1e-3;
        run.until(at).expect("run");
        wave.push((at, run.volts(plate)));
    }
    let mean = wave.iter().map(|w| w.1).sum::<f64>() / wave.len() as f64;
    let rises: Vec<f64> = wave
        .windows(2)
        .filter(|w| w[0].1 < mean && w[1].1 >= mean)
        .map(|w| w[0].0 + (mean - w[0].1) / (w[1].1 - w[0].1) * (w[1].0 - w[0].0))
        .collect();
    let swings = (rises.len() - 1) as f64;
    let counted = swings / (rises[rises.len() - 1] - rises[0]);
    assert!(
        (hertz / counted - 1.0).abs() < 2e-3,
        "told {hertz}, counted {counted}"
    );
}

/// The knob does what its marking says, and a deeper setting is deeper.
#[test]
fn the_knobs_do_what_they_are_for() {
    let told = worked(&example("curlew"), &[("VOLB", 3.0), ("VOLA", 0.0)]);
    let paces: Vec<f64> = told.over_speed.iter().filter_map(|p| p.hertz).collect();
    assert_eq!(paces.len(), 5);
    assert!(paces.windows(2).all(|w| w[1] > w[0]), "{paces:?}");
    let over: Vec<(f64, f64)> = told
        .depths
        .iter()
        .map(|d| (d.at.unwrap(), d.tones[1].depth))
        .collect();
    assert_eq!(over.len(), 3, "{over:?}");
    assert!(
        over[0].1 < over[1].1 && over[1].1 <= over[2].1 + 1e-6,
        "{over:?}"
    );
    assert!(told.least_emission.expect("a margin") < 0.6);
}

/// An oscillator that a wrong part has stopped: it says so, and the part is among those that bring it back, at a value
/// between the wrong one and the right one.
#[test]
fn a_stopped_one_names_the_part_that_brings_it_back() {
    let text = example("curlew").replace("phb - R24 470k carbon", "phb - R24 22k carbon");
    let told = worked(&text, &[("VOLB", 5.0)]);
    assert!(!told.now.as_ref().expect("an answer").starts);
    let named = told
        .margins
        .iter()
        .find(|m| m.part == "R24" && m.sort == Sort::Higher)
        .expect("R24 was tried");
    let turns = named.turns_at.expect("it brings it back");
    assert!(turns > 22e3 && turns < 470e3, "{named:?}");
}

/// Half a tracing: without its loudspeaker it still has its pace, and says what of it hangs on the rest; without what
/// feeds its valve it says that instead.
#[test]
fn half_a_tracing_has_its_pace() {
    let text = example("curlew");
    let without = |words: &str| {
        let lines = text.lines().filter(|l| !l.contains(words));
        lines.collect::<Vec<_>>().join("\n")
    };
    let deaf = without("LS1");
    assert!(deaf.len() < text.len());
    let told = worked(&deaf, &[("DEPTH", 0.0)]);
    let now = told.now.as_ref().expect("its pace");
    assert!(now.starts && told.over_speed.len() == 5);
    assert!(told.depths.is_empty() && !told.margins.is_empty());
    let named = &told.sheet.missing[0].what;
    assert!(named.contains("no loudspeaker"), "{named}");
    let circuit = wiring::read_one(&text).circuit;
    let bench = Bench::new(
        &circuit,
        Library::built_in(),
        &asked(&[("DEPTH", 0.0)]),
        Some("J3"),
    )
    .expect("a bench");
    let roles = anatomy(&circuit);
    let found = find(&circuit, &roles).expect("an oscillator");
    let whole = super::oscillation::of(&found, &bench, None).pace;
    let (a, b) = (now.hertz.expect("hertz"), whole.hertz.expect("hertz"));
    assert!((a / b - 1.0).abs() < 0.02, "{a} {b}");

    let unfed: String = text.lines().take(95).collect::<Vec<_>>().join("\n");
    let told = worked(&unfed, &[]);
    let missing: Vec<&str> = told.sheet.missing.iter().map(|m| m.what.as_str()).collect();
    assert!(told.now.is_none(), "{:?}", told.now);
    assert!(missing.iter().any(|m| m.contains("V3a")), "{missing:?}");
}

#[test]
fn an_amplifier_without_one_says_so() {
    let pip = worked(&example("pip"), &[]);
    assert!(pip.valve.is_none());
    assert!(pip.sheet.missing[0].what.contains("no tremolo oscillator"));
    let nothing = worked("", &[]);
    assert!(nothing.now.is_none() && !nothing.sheet.missing.is_empty());
}

/// An amplifier whose oscillator lights a lamp, and the lamp a cell across the volume control: the depth that is told is
/// what a resistor of the dark ohms and one of the lit ohms make of the gain in the cell's place.
#[test]
fn a_lamp_and_a_cell() {
    // its own way of swaying is lifted
    let own = "DEPTH.2 - R28 220k carbon @ \"strip 19\" - sway";
    let text = example("curlew");
    assert!(text.contains(own));
    let text = text.replace(own, "");
    let added = |cell: &str| {
        format!(
            "{}\nV9 12AX7\nDS9 neon\nV3.8 - C90 22n 400V - V9.2\nV9.2 - R90 1M - ground\nV9.3 - R91 1k5 - ground\n\
             B3 - R92 100k - DS9 - V9.1\nVOLB.2 - {cell} - ground\n",
            text.trim_end()
        )
    };
    let asked = asked(&[("VOLB", 7.0), ("DEPTH", 0.0)]);
    let worked = |cell: &str| {
        let circuit = wiring::read_one(&added(cell)).circuit;
        let bench = Bench::new(&circuit, Library::built_in(), &asked, Some("J3")).expect("a bench");
        let roles = anatomy(&circuit);
        let found = find(&circuit, &roles).expect("an oscillator");
        let going = super::oscillation::of(&found, &bench, None);
        let swing = going.swing.expect("a swing");
        let depth = super::depth::of(&bench, &swing, None).expect("a depth");
        (going.pace, depth)
    };
    let (now, depth) = worked("R95 cell of DS9 dark 10M lit 10k");
    let [lamp] = now.lamps.as_slice() else {
        panic!("{:?}", now.lamps)
    };
    assert!(lamp.part == "DS9" && lamp.peak_ma > 0.1, "{lamp:?}");
    assert!(lamp.mean_ma.abs() < lamp.peak_ma, "{lamp:?}");
    assert!(depth.by_light && depth.shape.is_empty());
    let ((_, dark), (_, lit)) = (worked("R95 10M"), worked("R95 10k"));
    assert!(!dark.by_light && !lit.by_light);
    let (dark, lit, told) = (dark.tones[1], lit.tones[1], depth.tones[1]);
    // the swing of the supply sways the gain as well, dark or lit
    let between = 20.0 * (dark.most / lit.least).log10();
    assert!(between > dark.db && between > lit.db, "{dark:?} {lit:?}");
    assert!((told.db - between).abs() < 0.1, "{told:?} {between}");
}
