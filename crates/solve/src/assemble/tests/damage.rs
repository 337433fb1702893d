//! Any circuit gives an assembly whose every number an equation can hold.

use proptest::prelude::*;
use wiring::Conditions;
use wiring::circuit::{History, Kind, MeasuredValue, Position};
use wiring::readings::ValvesIn;

use super::bench::{Bench, read, setting};
use super::example::five_watts;
use crate::assemble::Assembly;
use crate::netlist::Law;

/// Every element joins nodes that exist by numbers that a law can have.
fn check(assembly: &Assembly) -> Result<(), TestCaseError> {
    let nodes = assembly.netlist.nodes.len();
    let positive = |x: f64| x.is_finite() && x > 0.0;
    for element in &assembly.netlist.elements {
        let (ends, good): (Vec<usize>, bool) = match &element.law {
            Law::Resistor { a, b, ohms } => (vec![*a, *b], positive(*ohms) && a != b),
            Law::Capacitor {
                a,
                b,
                farads,
                esr_ohms,
            } => (
                vec![*a, *b],
                positive(*farads) && esr_ohms.is_finite() && *esr_ohms >= 0.0,
            ),
            Law::Inductor {
                a,
                b,
                henries,
                ohms,
            } => (
                vec![*a, *b],
                positive(*ohms) && henries.is_finite() && *henries >= 0.0,
            ),
            Law::Transformer(t) => (
                t.windings.iter().flat_map(|w| [w.a, w.b]).collect(),
                t.windings.iter().all(|w| {
                    positive(w.ohms) && w.turns.is_finite() && w.turns >= 0.0 && w.leakage >= 0.0
                }) && positive(t.henries_per_turn2)
                    && t.ohms_per_turn2 > 0.0,
            ),
            Law::Source {
                plus,
                minus,
                volts,
                ohms,
            } => (vec![*plus, *minus], volts.is_finite() && positive(*ohms)),
            Law::Alternating {
                a,
                b,
                volts,
                hertz,
                ohms,
                ..
            } => (
                vec![*a, *b],
                volts.is_finite() && positive(*hertz) && positive(*ohms),
            ),
            Law::Amplifier {
                input,
                output,
                gain,
            } => (vec![*input, *output], gain.is_finite()),
            Law::Triode {
                plate,
                grid,
                cathode,
                law,
            } => (vec![*plate, *grid, *cathode], positive(law.k)),
            Law::Pentode {
                plate,
                screen,
                grid,
                cathode,
                law,
            } => (vec![*plate, *screen, *grid, *cathode], positive(law.k)),
            Law::Diode { a, k, .. } => (vec![*a, *k], a != k),
            Law::Filament { a, b, law } => {
                (vec![*a, *b], positive(law.volts) && positive(law.amps))
            }
            Law::Neon { a, b, .. } => (vec![*a, *b], true),
            Law::Rectifiers(_) => (Vec::new(), false),
        };
        prop_assert!(good, "{element:?}");
        prop_assert!(ends.iter().all(|n| *n < nodes), "{element:?}");
    }
    for heating in &assembly.netlist.heating {
        prop_assert!(positive(heating.rated_volts));
        let all = heating.heaters.iter().chain(&heating.lights);
        prop_assert!(all.copied().all(|e| e < assembly.netlist.elements.len()));
    }
    for parameter in &assembly.netlist.parameters {
        let slots = parameter.slots.iter();
        prop_assert!(slots.clone().count() > 0);
        prop_assert!(slots.clone().all(|s| s.0 < assembly.netlist.elements.len()));
    }
    Ok(())
}

/// One thing done to one part.
fn hurt(bench: &mut Bench, part: usize, what: u8, number: f64) {
    let count = bench.circuit.parts.len();
    let nodes = bench.circuit.nodes.len();
    let part = &mut bench.circuit.parts[part % count];
    match what {
        0 => part.known.reading = read(MeasuredValue::Open, false),
        1 => part.known.reading = read(MeasuredValue::Short, false),
        2 => part.known.reading = read(MeasuredValue::Is(number), false),
        3 => part.known.history = Some(History::Removed),
        4 => {
            if let Some(t) = part.terminals.first_mut() {
                t.node = None;
            }
        }
        5 => {
            if let Some(t) = part.terminals.last_mut() {
                t.node = Some(wiring::NodeId((number.abs() as usize) % nodes));
            }
        }
        6 => part.terminals.iter_mut().for_each(|t| t.node = None),
        7 => part.terminals.clear(),
        8 => part.known.leak_ohms = Some(number),
        9 => part.known.esr_ohms = Some(number),
        _ => match &mut part.kind {
            Kind::Resistor { ohms } | Kind::Pot { ohms, .. } | Kind::Speaker { ohms } => {
                *ohms = (what == 10).then_some(number);
            }
            Kind::Capacitor { farads, .. } => *farads = (what == 10).then_some(number),
            Kind::Valve(v) => match what {
                10 => v.fitted = Some("EL84".to_owned()),
                11 => v.meant = "9XY9".to_owned(),
                _ => v.emission = Some(number),
            },
            Kind::PowerTransformer(t) => match what {
                10 => t.primary_ohms = Some(number),
                11 => t.primary.iter_mut().for_each(|p| p.1 = number),
                _ => t.windings.iter_mut().for_each(|w| w.amps = Some(number)),
            },
            Kind::OutputTransformer(t) => match what {
                10 => t.primary_impedance = Some(number),
                11 => t.taps.clear(),
                _ => t.leakage = Some(number),
            },
            Kind::Fuse { amps, .. } => *amps = Some(number),
            Kind::Switch { throws, start } => {
                *throws = number.abs() as usize;
                *start = number.abs() as usize;
            }
            _ => {}
        },
    }
}

fn number() -> impl Strategy<Value = f64> {
    prop_oneof![
        Just(0.0),
        Just(f64::NAN),
        Just(f64::INFINITY),
        Just(-1.0),
        Just(1e300),
        Just(1e-300),
        1e-3..1e7_f64,
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn damaged_amplifiers_assemble(
        damage in prop::collection::vec((0..40_usize, 0..14_u8, number()), 0..12),
        mains in prop::option::of(number()),
        limiter in prop::option::of(number()),
        knob in number(),
        power_off in any::<bool>(),
        valves in 0..3_u8,
    ) {
        let mut bench = five_watts();
        for (part, what, number) in damage {
            hurt(&mut bench, part, what, number);
        }
        let conditions = Conditions {
            mains_volts: mains,
            limiter_watts: limiter,
            power_off,
            valves: match valves {
                0 => ValvesIn::All,
                1 => ValvesIn::Only(vec!["V3".to_owned()]),
                _ => ValvesIn::Without(vec!["V3".to_owned(), "V9".to_owned()]),
            },
            sets: vec![setting("VOLUME", Position::Number(knob))],
            signal: Some(("J1".to_owned(), knob, knob)),
            ..Conditions::default()
        };
        let assembly = bench.assemble_under(&conditions);
        check(&assembly)?;
        prop_assert_eq!(&assembly, &bench.assemble_under(&conditions));
    }
}
