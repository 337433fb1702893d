use super::*;
use crate::testing::Hand;

fn only(hand: &Hand, entries: &[Entry]) -> Slip {
    let all = hints(&hand.circuit, entries);
    assert_eq!(all.len(), 1, "{all:?}");
    all[0].slip.clone()
}

/// A twin triode with both halves at different volts.
fn socket() -> (Hand, Vec<Entry>) {
    let mut hand = Hand::new();
    hand.twin_triode("V1");
    let entries = [
        ("V1p1", 198.0, 8.0),
        ("V1p2", 0.0, 0.01),
        ("V1p3", 1.52, 0.1),
        ("V1p6", 120.0, 6.0),
        ("V1p7", 40.0, 3.0),
        ("V1p8", 60.0, 3.0),
    ]
    .map(|(p, v, s)| hand.entry(p, v, s, v, 0.01 * v + 0.01));
    (hand, entries.to_vec())
}

#[test]
fn sound_readings_raise_no_question() {
    let (hand, entries) = socket();
    assert_eq!(hints(&hand.circuit, &entries), vec![]);
}

#[test]
fn decimal_point_and_range() {
    let (mut hand, mut entries) = socket();
    entries[0] = hand.entry("V1p1", 198.0, 8.0, 19.6, 0.1);
    assert_eq!(only(&hand, &entries), Slip::Range { factor: 10.0 });
    entries[0] = hand.entry("V1p1", 198.0, 8.0, 0.197, 0.001);
    assert_eq!(only(&hand, &entries), Slip::Range { factor: 1000.0 });
    entries[0] = hand.entry("V1p1", 198.0, 8.0, 1980.0, 0.1);
    assert_eq!(only(&hand, &entries), Slip::Range { factor: 0.1 });
    // a plate that is merely low is a fault, not a slip
    entries[0] = hand.entry("V1p1", 198.0, 8.0, 150.0, 0.1);
    assert_eq!(hints(&hand.circuit, &entries), vec![]);
}

/// A plate whose load was lifted and read as open stands where leakage and the valve's own electrons put it.
#[test]
fn what_leakage_decides_has_no_range() {
    let (mut hand, mut entries) = socket();
    entries[0] = hand.entry("V1p1", -3.46, 0.12, -0.35, 0.01);
    assert_eq!(only(&hand, &entries), Slip::Range { factor: 10.0 });
    entries[0].source_ohms = Some(5e9);
    assert_eq!(hints(&hand.circuit, &entries), vec![]);
}

#[test]
fn sign_of_a_bias_line() {
    let (mut hand, mut entries) = socket();
    entries.push(hand.entry("bias", -38.0, 2.0, 38.4, 0.2));
    assert_eq!(only(&hand, &entries), Slip::Sign);
}

#[test]
fn next_and_mirrored_pins() {
    let (mut hand, mut entries) = socket();
    // pin 8 read instead of pin 7: its neighbour
    entries[4] = hand.entry("V1p7", 40.0, 3.0, 60.5, 0.3);
    assert_eq!(
        only(&hand, &entries),
        Slip::Pin {
            instead: "V1.8".to_owned(),
            mirrored: false
        }
    );
    // nine pins: 3 mirrors 7
    let (mut hand, mut entries) = socket();
    entries[2] = hand.entry("V1p3", 1.52, 0.1, 40.5, 0.3);
    assert_eq!(
        only(&hand, &entries),
        Slip::Pin {
            instead: "V1.7".to_owned(),
            mirrored: true
        }
    );
}

#[test]
fn meter_on_ac_and_amp_off() {
    let (mut hand, mut entries) = socket();
    entries[0] = hand.entry("V1p1", 198.0, 8.0, 0.4, 0.1);
    assert_eq!(only(&hand, &entries), Slip::AcPosition);
    for entry in &mut entries {
        let point = entry.point.clone();
        let centre = entry.band.map_or(0.0, |b| b.centre);
        *entry = hand.entry(&point, centre, 0.04 * centre, 0.2, 0.1);
    }
    assert_eq!(only(&hand, &entries), Slip::AmpOff);
}
