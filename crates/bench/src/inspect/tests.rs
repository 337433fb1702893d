use super::*;
use crate::testing::example;

fn sheet(circuit: &Circuit, more: &str) -> Sheet {
    let with = wiring::read_one(&format!("readings inspection\npower off\n{more}")).circuit;
    inspect(circuit, Library::built_in(), None, &Answers::of(&with))
}

fn last(sheet: &Sheet) -> &Line {
    sheet.lines().last().unwrap()
}

#[test]
fn every_electrolytic_valve_and_transformer_is_on_the_list() {
    for name in ["pip", "curlew", "turnstone"] {
        let circuit = example(name);
        let sheet = sheet(&circuit, "");
        for part in &circuit.parts {
            if part.known.history == Some(History::Removed) {
                continue;
            }
            let listed = is_electrolytic(part)
                || matches!(
                    part.kind,
                    Kind::Valve(_) | Kind::PowerTransformer(_) | Kind::OutputTransformer(_)
                );
            let body = part.parent.as_ref().unwrap_or(&part.name);
            if listed {
                assert!(
                    sheet.lines().any(|l| l.point() == Some(body.as_str())),
                    "{name}: {body}"
                );
            }
        }
        assert_eq!(last(&sheet).outcome(), Outcome::Open);
    }
}

#[test]
fn nothing_traced_still_asks_what_is_always_asked() {
    let sheet = sheet(&wiring::read_one("").circuit, "");
    for item in [
        "discharged",
        "cord",
        "fuse-as-marked",
        "electrolytics",
        "valves",
        "joints",
    ] {
        assert!(sheet.lines().any(|l| l.point() == Some(item)), "{item}");
    }
    assert!(sheet.lines().all(|l| l.outcome() != Outcome::Pass));
    assert_eq!(sheet.missing.len(), 1);
}

#[test]
fn one_bad_answer_is_no_go_and_all_good_ones_are_go() {
    let circuit = wiring::read_one("").circuit;
    let wet = sheet(&circuit, "answer electrolytics no \"one is wet\"\n");
    assert_eq!(last(&wet).outcome(), Outcome::Stop);
    assert!(last(&wet).why().contains("electrolytics"));

    let mut all = String::from("answer discharged 3 V\n");
    for line in sheet(&circuit, "").lines() {
        if let Some(item) = line.point().filter(|i| *i != "discharged") {
            all.push_str(&format!("answer {item} yes\n"));
        }
    }
    let good = sheet(&circuit, &all);
    let open: Vec<_> = good
        .lines()
        .filter(|l| l.outcome() != Outcome::Pass)
        .collect();
    assert!(open.is_empty(), "{open:#?}");
    assert!(last(&good).answer().unwrap().starts_with("go"));
}

/// Volts that are left stop everything: 10 V, common practice, no source.
#[test]
fn volts_left_stop() {
    let circuit = example("pip");
    let left = sheet(&circuit, "answer discharged 48 V\n");
    let line = left.lines().next().unwrap();
    assert_eq!(line.outcome(), Outcome::Stop);
}
