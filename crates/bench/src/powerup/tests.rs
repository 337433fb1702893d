use super::*;
use crate::answers::Answers;
use crate::sheet::{Outcome, Sheet};
use crate::testing::example;

const EXAMPLES: [&str; 3] = ["pip", "curlew", "turnstone"];

fn of(circuit: &Circuit) -> Powerup {
    plan(circuit, Library::built_in(), &PowerupRequest::default())
}

fn sheet_of(circuit: &Circuit, answers: &str) -> Sheet {
    let with = wiring::read_one(&format!("readings first power\npower off\n{answers}")).circuit;
    of(circuit).sheet(circuit, &Answers::of(&with))
}

fn steps(plan: &Powerup) -> impl Iterator<Item = &Step> {
    plan.stages
        .iter()
        .chain(&plan.on_lamp)
        .flat_map(|s| &s.steps)
}

/// Each step 10 to 25 % of full mains above the one before; common practice, no source.
#[test]
fn steps_rise_gently_and_end_at_full_mains() {
    assert!(STEPS[0] <= 25.0 && STEPS[STEPS.len() - 1] == 100.0);
    for pair in STEPS.windows(2) {
        assert!((10.0..=25.0).contains(&(pair[1] - pair[0])), "{pair:?}");
    }
}

/// Off at 150 % of the mains current, below 70 % of the high tension, below 70 % of the bias, above 110 % of a plate's
/// limit, above a fuse's mark or a capacitor's rating: never looser. Common practice, no source.
#[test]
fn limits_are_never_looser_than_the_rule() {
    for name in EXAMPLES {
        let circuit = example(name);
        let plan = of(&circuit);
        let mut seen = [0; 4];
        for step in steps(&plan) {
            for abort in &step.aborts {
                assert!(abort.expected.is_finite(), "{name} {abort:?}");
                match abort.quantity {
                    Quantity::MainsAmps => {
                        seen[0] += 1;
                        assert!(abort.at_most.unwrap() <= 1.5 * abort.expected * (1.0 + 1e-9));
                    }
                    Quantity::HighTension => {
                        seen[1] += 1;
                        assert!(abort.at_least.unwrap() >= 0.7 * abort.expected * (1.0 - 1e-9));
                        let rated = circuit.parts.iter().filter_map(|p| p.known.volts);
                        let highest = rated.reduce(f64::max).unwrap();
                        assert!(
                            abort.at_most.is_none_or(|v| v <= highest),
                            "{name} {abort:?}"
                        );
                    }
                    Quantity::Bias => {
                        seen[2] += 1;
                        assert!(
                            abort.at_most.unwrap() <= 0.7 * abort.expected + 1e-9,
                            "{name} {abort:?}"
                        );
                    }
                    Quantity::PlateAmps => seen[3] += 1,
                }
            }
        }
        assert!(seen[0] > 10 && seen[1] > 10, "{name} {seen:?}");
        assert!(seen[2] > 0 || seen[3] > 0, "{name} {seen:?}");
    }
}

/// No valves: heater volts and no high tension; the rectifier alone: high tension unloaded, above what it is with all in.
#[test]
fn each_stage_shows_what_is_in_its_sockets() {
    let circuit = example("pip");
    let plan = of(&circuit);
    let full = |stage: usize| plan.stages[stage].steps.last().unwrap();
    let rail = |stage: usize| full(stage).rails.first().map_or(0.0, |l| l.volts);
    assert!(plan.stages[0].name.contains("no valves"));
    assert!(rail(0).abs() < 1.0, "{}", rail(0));
    assert!(full(0).heaters.iter().any(|h| h.volts > 6.0));
    let last = plan.stages.len() - 1;
    assert!(rail(1) > rail(last) && rail(last) > 200.0);
    let amps: Vec<f64> = (0..=last).filter_map(|s| full(s).mains_amps).collect();
    assert!(amps.windows(2).all(|w| w[1] > w[0]), "{amps:?}");
}

/// The lamp is not above 1.5 times the draw, nor above the table by size; common practice, no source, and a public page.
#[test]
fn the_lamp_suits_the_amplifier() {
    for name in EXAMPLES {
        let plan = of(&example(name));
        let lamp = plan.lamp.unwrap();
        let draw = plan.draw_va.unwrap();
        assert!(
            lamp.watts <= lamp.most_watts && lamp.most_watts <= 1.5 * draw + 1e-9,
            "{name}"
        );
        assert!(lamp.by_table_watts <= 300.0);
        assert!((lamp.most_amps - lamp.watts / plan.mains_volts.unwrap()).abs() < 1e-9);
        // A healthy amplifier leaves it short of full glow.
        let all_in = plan.on_lamp.last().unwrap().steps.last().unwrap();
        assert!(
            all_in.lamp_volts.unwrap() < 0.75 * plan.mains_volts.unwrap(),
            "{name}"
        );
    }
    let mut circuit = example("pip");
    circuit.heading.mains = None;
    let own = PowerupRequest {
        lamp_watts: Some(300.0),
        ..PowerupRequest::default()
    };
    let big = plan(&circuit, Library::built_in(), &own).sheet(&circuit, &Answers::default());
    let line = big
        .lines()
        .find(|l| l.what().contains("300 W lamp"))
        .unwrap();
    assert_eq!(line.outcome(), Outcome::Fail);
}

#[test]
fn every_electrolytic_is_on_the_discharge_list_and_nothing_passes_unread() {
    for name in EXAMPLES {
        let circuit = example(name);
        let sheet = sheet_of(&circuit, "");
        for part in &circuit.parts {
            let wiring::circuit::Kind::Capacitor { farads, plus_first } = part.kind else {
                continue;
            };
            let electrolytic = match part.known.make {
                Some(make) => make == wiring::circuit::Make::Electrolytic,
                None => plus_first.is_some() || farads.is_some_and(|f| f >= 1e-6),
            };
            let removed = part.known.history == Some(wiring::circuit::History::Removed);
            if electrolytic && !removed {
                let at = format!("{} (", part.name);
                let listed = sheet
                    .lines()
                    .any(|l| l.point().is_some_and(|p| p.starts_with(&at)));
                assert!(listed, "{name}: {}", part.name);
            }
        }
        assert!(
            sheet.lines().all(|l| l.outcome() != Outcome::Pass),
            "{name}"
        );
    }
}

#[test]
fn no_load_on_the_output_stops_and_a_load_passes() {
    let circuit = example("curlew");
    let load = |answer: &str| {
        let sheet = sheet_of(&circuit, answer);
        sheet
            .lines()
            .find(|l| l.point() == Some("load"))
            .unwrap()
            .outcome()
    };
    assert_eq!(load("answer load no\n"), Outcome::Stop);
    assert_eq!(load("answer load yes\n"), Outcome::Pass);
    assert_eq!(load(""), Outcome::Open);
}

/// This list starts from the worst of several states, the supply sheet from the highest volts: the
/// seconds are the same but for that.
#[test]
fn the_seconds_agree_with_the_supply_sheet() {
    for name in EXAMPLES {
        let circuit = example(name);
        let plan = of(&circuit);
        let supply = crate::supply::supply(
            &circuit,
            Library::built_in(),
            &crate::Asked::default(),
            None,
        );
        let mut compared = 0;
        for one in supply.capacitors.iter().filter(|c| c.electrolytic) {
            let Some(other) = plan.discharge.of(&one.part) else {
                continue;
            };
            if let (Some(a), Some(b)) = (one.discharge_s, other.seconds)
                && a > 1.0
            {
                compared += 1;
                assert!(
                    (a / b - 1.0).abs() < 0.1,
                    "{name} {}: {a} and {b} s",
                    one.part
                );
            }
        }
        assert!(compared >= 3, "{name}: {compared}");
    }
}

/// Half a tracing, and nothing at all: a plan with what is always done, and what is missing by name.
#[test]
fn half_a_tracing_is_a_plan_too() {
    for text in [
        "",
        "mains 230 V\nV2 EL84\nV2.3 - R12 130 - ground\nB1 - +C7 32u 450V - ground\n",
    ] {
        let circuit = wiring::read_one(text).circuit;
        let sheet = sheet_of(&circuit, "");
        assert!(sheet.lines().any(|l| l.point() == Some("load")));
        assert!(
            sheet.missing.iter().any(|m| m.what == "mains transformer"),
            "{:?}",
            sheet.missing
        );
        if text.contains("C7") {
            assert!(
                sheet
                    .lines()
                    .any(|l| l.point().is_some_and(|p| p.starts_with("C7")))
            );
        }
    }
}
