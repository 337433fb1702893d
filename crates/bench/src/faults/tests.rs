use super::*;

fn standard() -> Faults {
    Faults::standard().expect("the dictionary in the program")
}

#[test]
fn the_dictionary_is_sound_from_end_to_end() {
    let all = standard();
    assert!(all.faults.len() > 90, "{}", all.faults.len());
    for fault in &all.faults {
        let id = &fault.id;
        assert!(!fault.source.trim().is_empty(), "{id} has no source");
        assert!(
            !fault.words.ends_with('.'),
            "{id}: words are half a sentence"
        );
        assert!(fault.confirm.ends_with('.'), "{id}: confirm is a sentence");
        assert!(!fault.found.is_empty(), "{id}: how is it found?");
        if fault.change.is_electrical() {
            assert_ne!(fault.on, Sort::Any, "{id}: no part to change");
        }
    }
    for symptom in &all.symptoms {
        let id = &symptom.id;
        assert!(
            !symptom.words.is_empty() && !symptom.source.is_empty(),
            "{id}"
        );
        assert!(
            all.faults.iter().any(|f| f.symptoms.contains(id)),
            "no fault shows {id}"
        );
        for word in symptom.words.iter().chain(&symptom.without) {
            assert_eq!(*word, word.to_lowercase(), "{id}");
        }
    }
}

#[test]
fn every_part_without_a_row_of_its_own_has_the_plain_ones() {
    let all = standard();
    let plain = |sort: Sort, class: Class| {
        all.faults
            .iter()
            .any(|f| f.on == sort && f.class == class && f.roles.is_empty() && f.blocks.is_empty())
    };
    for class in [Class::Open, Class::High, Class::Low, Class::Wrong] {
        assert!(plain(Sort::Resistor, class), "resistor {class:?}");
    }
    for class in [Class::Open, Class::Short, Class::Leaky, Class::Low] {
        assert!(plain(Sort::Capacitor, class), "capacitor {class:?}");
    }
}

#[test]
fn a_change_belongs_to_the_sort_of_part_it_can_happen_to() {
    for fault in &standard().faults {
        let fits = match fault.change {
            Change::Scale { quantity, .. } => match quantity {
                Scaled::Ohms => matches!(fault.on, Sort::Resistor | Sort::Switch),
                Scaled::Farads | Scaled::Esr => fault.on == Sort::Capacitor,
                Scaled::Henries => fault.on == Sort::Choke,
                Scaled::Emission => fault.on == Sort::Valve,
                Scaled::Perveance => matches!(fault.on, Sort::Rectifier | Sort::Diode),
                Scaled::Volts => matches!(fault.on, Sort::PowerTransformer | Sort::Supply),
            },
            Change::Bridge { .. } | Change::GridAmps { .. } | Change::Swap { .. } => {
                fault.on == Sort::Valve
            }
            Change::Lead { .. } => matches!(fault.on, Sort::Valve | Sort::Pot),
            Change::Winding { .. } => {
                matches!(
                    fault.on,
                    Sort::OutputTransformer | Sort::CouplingTransformer
                )
            }
            Change::PrimaryLeak { .. } => fault.on == Sort::OutputTransformer,
            Change::HalfOpen => fault.on == Sort::Rectifier,
            Change::Factor { .. } => fault.on == Sort::Resistor,
            Change::FactorFarads { .. } => fault.on == Sort::Capacitor,
            Change::Leak { .. } => matches!(fault.on, Sort::Capacitor | Sort::Diode),
            Change::Open | Change::None => true,
        };
        assert!(fits, "{}", fault.id);
    }
}

#[test]
fn what_is_heard_becomes_symptoms_and_a_denial_does_not() {
    let all = standard();
    let ids = |line: &str| -> Vec<String> {
        let lines = [line.to_owned()];
        all.symptoms_in(&lines)
            .iter()
            .map(|s| s.id.clone())
            .collect()
    };
    assert_eq!(ids("HUM that the volume does not change"), ["hum_constant"]);
    assert!(ids("no red plates after a quarter of an hour").is_empty());
    assert_eq!(ids("V2 glows red"), ["red_plate"]);
    assert!(ids("").is_empty());
    let leak = all.faults.iter().find(|f| f.id == "coupling_leaky_output");
    let lines = ["V2 glows red".to_owned(), "it hums".to_owned()];
    let told = all.symptoms_in(&lines);
    // one factor, the strongest, not their product
    assert_eq!(leak.map(|f| Faults::times(f, &told)), Some(4.0));
}

#[test]
fn a_bench_s_own_dictionary_is_checked_before_it_is_used() {
    let text = include_str!("../../data/faults.toml");
    let with = |from: &str, to: &str| Faults::from_toml(&text.replacen(from, to, 1));
    assert!(with("common = 2.0", "common = 40.0").is_ok());
    assert!(with("common = 2.0", "common = 0.0").is_err());
    assert!(with("lo = 1.25", "lo = -1.25").is_err());
    assert!(with("\"hiss\"", "\"hisses\"").is_err());
    assert!(with("id = \"plate_load_open\"", "id = \"plate_load_high\"").is_err());
    let error = Faults::from_toml("no table").map(|_| ());
    assert!(matches!(error, Err(FaultsError::Unreadable(_))));
}
