use super::*;
use crate::testing::example;

fn read(text: &str) -> Circuit {
    wiring::read_one(text).circuit
}

fn from(volts: &[(&str, f64)]) -> Start {
    Start {
        when: "typed".to_owned(),
        volts: volts.iter().map(|(n, v)| ((*n).to_owned(), *v)).collect(),
    }
}

fn emptying(text: &str, conditions: &Conditions, volts: &[(&str, f64)]) -> Charges {
    let starts = if volts.is_empty() {
        Vec::new()
    } else {
        vec![from(volts)]
    };
    charges(&read(text), Library::built_in(), conditions, &starts)
}

/// `t = R C ln(V0/V)`. 220k on 50 uF from 450 V: 22 s to 60 V, a worked figure of common practice
/// (no source); the formula is in every textbook.
#[test]
fn one_bleeder_by_the_formula() {
    let found = emptying(
        "B1 - +C1 50u 450V - ground\nB1 - R1 220k 2W - ground\n",
        &Conditions::default(),
        &[("C1", 450.0)],
    );
    let c1 = found.of("C1").unwrap();
    let rc = 220e3 * 50e-6;
    assert!((c1.hazard_seconds.unwrap() - rc * (450.0f64 / 60.0).ln()).abs() < 1e-3);
    assert!((c1.hazard_seconds.unwrap() - 22.0).abs() < 0.5);
    assert!((c1.seconds.unwrap() - rc * 45f64.ln()).abs() < 1e-3);
    // 1/2 C V^2: 50 uF at 450 V holds 5.1 J
    assert!((c1.joules.unwrap() - 5.06).abs() < 0.01);
    assert_eq!(c1.between, ["B1", "ground"]);
}

#[test]
fn the_standby_switch_decides_what_the_reservoir_sees() {
    let text = "B0 - +C1 50u 450V - ground\nSTANDBY switch closed\nB0 - STANDBY - B1\n\
                B1 - +C2 50u 450V - ground\nB1 - R1 100k - ground\n";
    let at = |open: bool| {
        let conditions = Conditions {
            standby_open: Some(open),
            ..Conditions::default()
        };
        emptying(text, &conditions, &[("C1", 400.0), ("C2", 400.0)])
    };
    let closed = at(false);
    let both = 100e3 * 100e-6 * 40f64.ln();
    assert!((closed.of("C1").unwrap().seconds.unwrap() / both - 1.0).abs() < 1e-4);
    let open = at(true);
    let reservoir = open.of("C1").unwrap();
    assert!(
        reservoir.stays && reservoir.seconds.is_none(),
        "{reservoir:?}"
    );
    assert!(reservoir.why.as_deref().unwrap().contains("no path"));
    let alone = 100e3 * 50e-6 * 40f64.ln();
    assert!((open.of("C2").unwrap().seconds.unwrap() / alone - 1.0).abs() < 1e-4);
}

/// What empties a capacitor only by chance is not counted on: its own leak, a diode, a valve, a
/// supply that stands for what is not traced.
#[test]
fn nothing_that_is_not_a_resistance_is_counted_on() {
    for text in [
        "B1 - +C1 50u 450V leak 1M - ground\nB1 - C2 22n - ground\n",
        "B1 - D1< silicon - a\na - R1 1k - ground\nB1 - +C1 50u 450V - ground\n",
        "PS1 supply 300 V 1 ohm\nB1 - +PS1 - ground\nB1 - +C1 50u 450V - ground\n",
        "V1 12AX7\nV1.1 - B1\nV1.3 - R1 1k - ground\nB1 - +C1 50u 450V - ground\n",
        "B1 - R1 - ground\nB1 - +C1 50u 450V - ground\n",
        "B1 - R1 100k = open - ground\nB1 - +C1 50u 450V - ground\n",
    ] {
        let found = emptying(text, &Conditions::default(), &[("C1", 300.0)]);
        assert!(found.of("C1").unwrap().stays, "{text}\n{found:?}");
    }
}

#[test]
fn a_bias_line_goes_by_its_own_parts_and_its_sign_does_not_matter() {
    let found = emptying(
        "bn - C1+ 47u 63V - ground\nbn - R1 20k - minus\nminus - C2+ 47u 63V - ground\nminus - R2 10k - ground\n",
        &Conditions::default(),
        &[("C1", -40.0), ("C2", -13.3)],
    );
    let c1 = found.of("C1").unwrap();
    assert_eq!(c1.between, ["ground", "bn"], "plus first");
    assert_eq!(c1.volts, Some(40.0));
    assert!(
        c1.seconds.unwrap() > 1.0 && c1.seconds.unwrap() < 3.0,
        "{c1:?}"
    );
}

#[test]
fn every_electrolytic_is_on_the_list_whatever_is_missing() {
    let text = "C1 50u 450V electrolytic\nB1 - +C2 450V - ground\nC3 can 450V: a 16u, b\n\
                B1 - +C3a - C3.can - ground\nB2 - +C4 16u - ground\nB1 - +C5 16u 450V removed - ground\n";
    let found = emptying(text, &Conditions::default(), &[]);
    let names: Vec<&str> = found.capacitors.iter().map(|c| c.part.as_str()).collect();
    for name in ["C1", "C2", "C3a", "C3b", "C4"] {
        assert!(names.contains(&name), "{name} in {names:?}");
    }
    assert!(!names.contains(&"C5"));
    for one in &found.capacitors {
        assert!(one.seconds.is_some() || one.why.is_some(), "{one:?}");
    }
    let rated = found.of("C3a").unwrap();
    assert_eq!(
        rated.volts,
        Some(450.0),
        "at its rating where nothing is known"
    );
    assert!(rated.stays);
}

/// The three examples against a plain integration in time (implicit steps, a general linear
/// algebra library), which shares only the netlist's list of parts.
#[test]
fn the_examples_against_small_steps_in_time() {
    for name in ["pip", "curlew", "turnstone"] {
        let circuit = example(name);
        let library = Library::built_in();
        let conditions = Conditions {
            standby_open: Some(false),
            ..Conditions::default()
        };
        let solved =
            solve::solve_circuit(&circuit, library, &conditions, &AssembleOptions::default());
        let begin = start(&circuit, &solved, "as it stands");
        let found = charges(&circuit, library, &conditions, std::slice::from_ref(&begin));
        let checked = by_steps(&circuit, &conditions, &begin, &found);
        assert!(checked >= 3, "{name}: {checked}");
    }
}

/// Integrates the resistances and capacitors of the assembly, and compares the moments.
fn by_steps(circuit: &Circuit, conditions: &Conditions, begin: &Start, found: &Charges) -> usize {
    use nalgebra::{DMatrix, DVector};
    use solve::netlist::Law;
    let off = Conditions {
        power_off: true,
        ..conditions.clone()
    };
    let assembly = assemble(
        circuit,
        Library::built_in(),
        &off,
        &AssembleOptions::default(),
    );
    let n = assembly.netlist.nodes.len() - 1;
    let mut siemens = DMatrix::<f64>::from_diagonal_element(n, n, 1e-10);
    let mut farads = DMatrix::<f64>::zeros(n, n);
    let stamp = |m: &mut DMatrix<f64>, a: usize, b: usize, value: f64| {
        for (i, j, sign) in [(a, a, 1.0), (b, b, 1.0), (a, b, -1.0), (b, a, -1.0)] {
            if i > 0 && j > 0 {
                m[(i - 1, j - 1)] += sign * value;
            }
        }
    };
    let mut ends: Vec<(String, usize, usize)> = Vec::new();
    let mut charge = DVector::<f64>::zeros(n);
    for element in &assembly.netlist.elements {
        let leak = element.name.ends_with(" leak") && element.name.starts_with('C');
        match &element.law {
            Law::Resistor { a, b, ohms } if !leak && *ohms < 1e9 => {
                stamp(&mut siemens, *a, *b, 1.0 / ohms);
            }
            Law::Inductor { a, b, ohms, .. } => stamp(&mut siemens, *a, *b, 1.0 / ohms),
            Law::Filament { a, b, law } => stamp(&mut siemens, *a, *b, 1.0 / law.ohms(0.0)),
            Law::Transformer(t) => {
                for w in &t.windings {
                    stamp(&mut siemens, w.a, w.b, 1.0 / w.ohms);
                }
            }
            Law::Capacitor {
                a, b, farads: c, ..
            } => {
                let named = circuit.part(&element.name).is_some();
                if let (true, Some(volts)) = (named, begin.volts.get(&element.name)) {
                    stamp(&mut farads, *a, *b, *c);
                    ends.push((element.name.clone(), *a, *b));
                    if *a > 0 {
                        charge[a - 1] += c * volts;
                    }
                    if *b > 0 {
                        charge[b - 1] -= c * volts;
                    }
                }
            }
            _ => {}
        }
    }
    let mut last: BTreeMap<String, f64> = BTreeMap::new();
    let mut time = 0.0;
    let mut step = 1e-4;
    let mut now = charge;
    // two rates of step, so that each moment is within a hundredth or so
    while time < 400.0 {
        let solved = (&siemens * step + &farads).lu().solve(&now).unwrap();
        now = &farads * &solved;
        time += step;
        let at = |node: usize| if node > 0 { solved[node - 1] } else { 0.0 };
        for (name, a, b) in &ends {
            if (at(*a) - at(*b)).abs() > 10.0 {
                last.insert(name.clone(), time);
            }
        }
        step = (time * 0.01).clamp(1e-4, 0.25);
    }
    let mut checked = 0;
    for one in found.capacitors.iter().filter(|c| c.electrolytic) {
        if let (Some(seconds), Some(stepped)) = (one.seconds, last.get(&one.part))
            && *stepped > 1.0
        {
            assert!(
                (seconds / stepped - 1.0).abs() < 0.03,
                "{}: {seconds} by exponentials, {stepped} by steps",
                one.part
            );
            checked += 1;
        }
    }
    checked
}
