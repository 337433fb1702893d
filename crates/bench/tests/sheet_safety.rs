//! What no bench sheet may ever do, over the examples and over random damage: be without its caution, pass a line that
//! nobody read or answered, propose a fuse above the marking, aim a valve above its lowest limit, rate a part below its
//! need, leave an electrolytic off the discharge list.

#![allow(clippy::unwrap_used, reason = "a test: a panic is its failure")]

use bench::Asked;
use bench::answers::Answers;
use bench::cold::{ColdRequest, cold};
use bench::fuse::Marking;
use bench::heating::heating;
use bench::idle::idle;
use bench::inspect::inspect;
use bench::powerup::{PowerupRequest, emptying, plan};
use bench::proof::proof;
use bench::rules::STANDARD_CAUTION;
use bench::safety::safety;
use bench::sheet::{Outcome, Sheet};
use bench::supply::supply;
use proptest::prelude::*;
use wiring::circuit::{History, Kind, Make, Measured, MeasuredValue, Part};
use wiring::sheet::Library;
use wiring::{Circuit, GROUND};

const EXAMPLES: [&str; 3] = [
    include_str!("../../../examples/pip.wiring"),
    include_str!("../../../examples/curlew.wiring"),
    include_str!("../../../examples/turnstone.wiring"),
];

fn holds(sheet: &Sheet) -> Result<(), TestCaseError> {
    prop_assert_eq!(sheet.caution(), STANDARD_CAUTION);
    for line in sheet.lines() {
        if line.outcome() == Outcome::Pass {
            prop_assert!(
                line.reading().is_some() || line.answer().is_some(),
                "{line:?}"
            );
        }
        prop_assert!(!line.origin().text.is_empty(), "{line:?}");
    }
    for missing in &sheet.missing {
        prop_assert!(!missing.remedy.is_empty(), "{missing:?}");
    }
    Ok(())
}

/// By what is written about it alone, and written anew: the crate has its own idea of it.
fn electrolytic(part: &Part) -> bool {
    let Kind::Capacitor { farads, plus_first } = part.kind else {
        return false;
    };
    let by_marks = plus_first.is_some() || farads.is_some_and(|f| f >= 1e-6);
    part.known.history != Some(History::Removed)
        && match part.known.make {
            Some(make) => make == Make::Electrolytic,
            None => by_marks,
        }
}

/// One thing that is wrong.
#[derive(Debug, Clone)]
enum Wrong {
    /// A part reads something else.
    Reads(usize, f64),
    /// A leg is off.
    Cut(usize, usize),
    /// A leg is on ground.
    Grounded(usize, usize),
    /// Marked volts and amperes are wild.
    Marked(usize, f64),
}

fn wrong() -> impl Strategy<Value = Wrong> {
    prop_oneof![
        (0..500_usize, -5.0..10.0_f64).prop_map(|(p, v)| Wrong::Reads(p, v)),
        (0..500_usize, 0..9_usize).prop_map(|(p, t)| Wrong::Cut(p, t)),
        (0..500_usize, 0..9_usize).prop_map(|(p, t)| Wrong::Grounded(p, t)),
        (0..500_usize, -3.0..4.0_f64).prop_map(|(p, v)| Wrong::Marked(p, v)),
    ]
}

fn damaged(which: usize, moves: &[Wrong]) -> Circuit {
    let mut circuit = wiring::read_one(EXAMPLES[which % 3]).circuit;
    let count = circuit.parts.len();
    for one in moves {
        match *one {
            Wrong::Reads(at, log) => {
                circuit.parts[at % count].known.reading = Some(Measured {
                    value: match log {
                        l if l < -3.0 => MeasuredValue::Short,
                        l if l > 8.0 => MeasuredValue::Open,
                        l => MeasuredValue::Is(10f64.powf(l)),
                    },
                    in_circuit: false,
                });
            }
            Wrong::Cut(at, leg) | Wrong::Grounded(at, leg) => {
                let part = &mut circuit.parts[at % count];
                let legs = part.terminals.len().max(1);
                if let Some(terminal) = part.terminals.get_mut(leg % legs) {
                    terminal.node = matches!(one, Wrong::Grounded(..)).then_some(GROUND);
                }
            }
            Wrong::Marked(at, log) => {
                let part = &mut circuit.parts[at % count];
                part.known.volts = Some(10f64.powf(log));
                if let Kind::Fuse { amps, .. } = &mut part.kind {
                    *amps = Some(10f64.powf(log / 2.0 - 1.0));
                }
            }
        }
    }
    circuit
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 16, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_sheet_breaks_a_rule(which in 0..3_usize, moves in proptest::collection::vec(wrong(), 0..5)) {
        let circuit = damaged(which, &moves);
        let library = Library::built_in();
        let asked = Asked::default();
        let answers = Answers::of(&circuit);
        for sheet in [
            safety(&circuit, library, None, &answers),
            proof(&circuit, &answers, &[]),
            inspect(&circuit, library, None, &answers),
            cold(&circuit, library, &ColdRequest::default()).sheet(),
        ] {
            holds(&sheet)?;
        }

        // No fuse above the marking.
        let marking = Marking::read("T315mA").unwrap();
        let supply = supply(&circuit, library, &asked, Some(&marking));
        holds(&supply.sheet)?;
        if let Some(fuse) = &supply.mains_fuse {
            for link in &fuse.links {
                prop_assert!(link.amps <= 0.315 + 1e-12, "{link:?}");
            }
        }

        // No target above the lowest plate limit; no part below its need.
        let idle = idle(&circuit, library, &asked);
        holds(&idle.sheet)?;
        for stage in &idle.stages {
            let limits = stage.valves.iter().filter_map(|v| v.plate_limit_w);
            if let (Some(target), Some(limit)) = (stage.target_watts, limits.reduce(f64::min)) {
                prop_assert!(target <= limit * (1.0 + 1e-9), "{target} of {limit}");
            }
            if let Some(fit) = &stage.fit {
                prop_assert!(fit.rated_w >= fit.dissipates_w, "{fit:?}");
            }
        }
        let heating = heating(&circuit, library, &asked);
        holds(&heating.sheet)?;
        for correction in heating.supplies.iter().filter_map(|s| s.correction.as_ref()) {
            prop_assert!(correction.rated_w >= correction.dissipates_w, "{correction:?}");
        }

        // Every electrolytic on the discharge list.
        let (closed, open) = emptying(&circuit, library);
        for part in circuit.parts.iter().filter(|p| electrolytic(p)) {
            prop_assert!(closed.of(&part.name).is_some(), "{}", part.name);
            prop_assert!(open.as_ref().is_none_or(|o| o.of(&part.name).is_some()), "{}", part.name);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 4, failure_persistence: None, ..ProptestConfig::default() })]

    /// The plan as well: it is slower, so fewer.
    #[test]
    fn no_plan_breaks_a_rule(moves in proptest::collection::vec(wrong(), 0..5)) {
        let circuit = damaged(0, &moves);
        let plan = plan(&circuit, Library::built_in(), &PowerupRequest::default());
        let sheet = plan.sheet(&circuit, &Answers::default());
        holds(&sheet)?;
        for part in circuit.parts.iter().filter(|p| electrolytic(p)) {
            let listed = sheet.lines().any(|l| l.point().is_some_and(|p| p == part.name || p.starts_with(&format!("{} (", part.name))));
            prop_assert!(listed, "{}", part.name);
        }
        if let Some(lamp) = plan.lamp {
            prop_assert!(lamp.watts <= lamp.most_watts.max(25.0), "{lamp:?}");
        }
        for step in plan.stages.iter().flat_map(|s| &s.steps) {
            for abort in &step.aborts {
                prop_assert!(abort.at_most.is_none_or(f64::is_finite) && abort.at_least.is_none_or(f64::is_finite), "{abort:?}");
            }
        }
    }
}
