use super::*;
use crate::rules::STANDARD_CAUTION;
use proptest::prelude::*;

fn items(text: &str) -> Vec<HeaterItem> {
    text.split(',')
        .map(|t| read_item(t, Library::built_in()).unwrap_or_else(|e| panic!("{t}: {e}")))
        .collect()
}

#[test]
fn valves_read_with_their_count_and_volts() {
    let read = |text: &str| {
        let item = &items(text)[0];
        (item.name.clone(), item.count, item.way.volts)
    };
    assert_eq!(read("EL84"), ("EL84".to_owned(), 1, 6.3));
    assert_eq!(read("EL84x2"), ("EL84".to_owned(), 2, 6.3));
    assert_eq!(read("2 x EL84"), ("EL84".to_owned(), 2, 6.3));
    assert_eq!(read("6X4"), ("6X4".to_owned(), 1, 6.3));
    assert_eq!(read("6X4x2"), ("6X4".to_owned(), 2, 6.3));
    assert_eq!(read("ECC83 12.6V"), ("12AX7".to_owned(), 1, 12.6));
    assert_eq!(read("12AX7x3"), ("12AX7".to_owned(), 3, 6.3));
}

#[test]
fn an_unknown_type_is_told_with_the_nearest() {
    let error = read_item("EL48", Library::built_in()).unwrap_err();
    match error {
        ListError::Type { nearest, .. } => assert!(nearest.is_some()),
        other => panic!("{other}"),
    }
    assert!(matches!(
        read_item("OA2", Library::built_in()),
        Err(ListError::Cold(_))
    ));
    assert!(matches!(
        read_item("EL84 12.6V", Library::built_in()),
        Err(ListError::Volts { .. })
    ));
}

#[test]
fn windings_read_as_marked() {
    let read = |t: &str| Winding::read(t).map(|w| (w.volts, w.amps));
    assert_eq!(read("6.3V 3A"), Ok((6.3, Some(3.0))));
    assert_eq!(read("6.3 V 3.5 A"), Ok((6.3, Some(3.5))));
    assert_eq!(read("5"), Ok((5.0, None)));
    assert!(Winding::read("three").is_err());
    assert!(Winding::read("3A").is_err());
    assert!(Winding::read("").is_err());
}

/// Two 12AX7 at 0.3 A, two EL84 at 0.76 A and an EZ81 at 1 A take 3.12 A at 6.3 V (data sheets: 12AX7 seen
/// second-hand, EL84 and EZ81 from memory, not seen).
#[test]
fn the_sum_of_a_small_amplifier() {
    let set = items("12AX7,12AX7,EL84x2,EZ81");
    let found = groups(&set);
    assert_eq!(found.len(), 1);
    assert!((found[0].amps - (0.6 + 1.52 + 1.0)).abs() < 1e-9);
    let sheet = heaters(
        &HeaterRequest {
            valves: set,
            windings: vec![Winding {
                volts: 6.3,
                amps: Some(3.0),
            }],
            ..HeaterRequest::default()
        },
        Library::built_in(),
    );
    assert_eq!(sheet.count(Outcome::Fail), 1, "3.12 A on a winding of 3 A");
    assert_eq!(sheet.count(Outcome::Pass), 0, "nothing was read");
}

/// 6.3 V with 5 and 10 % either way, 5 V with 10 % (rule `heater.tolerance`, not verified in the original).
#[test]
fn volts_at_the_pins_are_judged_for_their_own_supply() {
    let sheet = |volts| {
        heaters(
            &HeaterRequest {
                valves: items("6V6x2,5Y3GT"),
                read: vec![volts],
                ..HeaterRequest::default()
            },
            Library::built_in(),
        )
    };
    assert_eq!(sheet(6.3).count(Outcome::Pass), 1);
    assert_eq!(sheet(7.1).count(Outcome::Fail), 1);
    assert_eq!(sheet(4.4).count(Outcome::Fail), 1);
    assert_eq!(sheet(5.1).count(Outcome::Pass), 1);
    let high = sheet(6.8);
    let part = high
        .lines()
        .find(|l| l.what().starts_with("In each"))
        .and_then(|l| l.expected()?.value)
        .unwrap();
    // 0.5 V over 0.9 A is 0.56 ohm, half of it in each lead.
    assert!((part - 0.27).abs() < 1e-9, "{part}");
}

#[test]
fn a_chain_adds_its_volts_and_stops_at_the_mains() {
    let sheet = heaters(
        &HeaterRequest {
            valves: items("12AX7 12.6V,12AU7 12.6V,EL84"),
            chain: Some(0.15),
            mains: Some(117.0),
            ..HeaterRequest::default()
        },
        Library::built_in(),
    );
    assert_eq!(sheet.count(Outcome::Fail), 1, "an EL84 takes 0.76 A");
    assert_eq!(sheet.count(Outcome::Stop), 1);
}

proptest! {
    #[test]
    fn any_numbers_give_a_sheet_with_its_caution(
        volts in any::<f64>(), amps in proptest::option::of(any::<f64>()),
        read in proptest::collection::vec(any::<f64>(), 0..3),
        chain in proptest::option::of(any::<f64>()),
        mains in proptest::option::of(any::<f64>()),
    ) {
        let sheet = heaters(&HeaterRequest {
            valves: items("12AX7,6V6x2,5Y3GT"),
            original: items("12AX7"),
            windings: vec![Winding { volts, amps }],
            read, chain, mains,
        }, Library::built_in());
        prop_assert_eq!(sheet.caution(), STANDARD_CAUTION);
        for line in sheet.lines().filter(|l| l.outcome() == Outcome::Pass) {
            prop_assert!(line.reading().is_some());
        }
    }

    #[test]
    fn no_text_makes_the_reader_panic(text in "\\PC{0,20}") {
        let _ = read_item(&text, Library::built_in());
        let _ = Winding::read(&text);
    }
}
