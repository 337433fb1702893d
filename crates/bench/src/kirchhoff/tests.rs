use super::*;
use crate::testing::Hand;
use wiring::circuit::{Known, Measured};

fn measured(ohms: f64) -> Known {
    Known {
        reading: Some(Measured {
            value: MeasuredValue::Is(ohms),
            in_circuit: false,
        }),
        ..Known::default()
    }
}

/// A 12AX7 stage with both resistors read: 100k and 1k5, 1.02 mA at 300 V.
fn stage() -> Hand {
    let mut hand = Hand::new();
    hand.twin_triode("V1")
        .known_resistor("R4", "V1p1", "B3", 100e3, measured(100e3))
        .known_resistor("R5", "V1p3", "ground", 1.5e3, measured(1.5e3))
        .capacitor("C1", "V1p3", "ground", 25e-6)
        .capacitor("C2", "V1p1", "out", 22e-9)
        .resistor("R1", "V1p2", "ground", 1e6);
    hand
}

fn checks(hand: &Hand, entries: &[Entry]) -> Vec<Check> {
    cross_checks(&hand.circuit, entries, &Tolerances::standard().unwrap())
        .iter()
        .map(|f| f.check)
        .collect()
}

#[test]
fn plate_and_cathode_currents_must_agree() {
    let mut hand = stage();
    let sound = [
        hand.entry("B3", 300.0, 10.0, 300.0, 1.0),
        hand.entry("V1p1", 198.0, 6.0, 198.0, 0.7),
        hand.entry("V1p3", 1.52, 0.1, 1.53, 0.01),
    ];
    assert_eq!(checks(&hand, &sound), vec![]);
    // 2.30 V on 1k5 would be 1.53 mA, half as much again as goes in
    let mut clash = sound.to_vec();
    clash[2] = hand.entry("V1p3", 1.52, 0.1, 2.30, 0.01);
    let found = cross_checks(&hand.circuit, &clash, &Tolerances::standard().unwrap());
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].check, Check::StageCurrent);
    assert_eq!(found[0].points, ["B3", "V1p1", "V1p3"]);
    assert!(
        found[0]
            .text
            .starts_with("V1a: 1.02 mA goes in through R4, 1.53 mA comes out through R5."),
        "{}",
        found[0].text
    );
    // the same clash says nothing while the resistors are unmeasured: 12 and 8 % of spread
    // leave room for 29 %, and half as much again is beyond even that; 20 % is not
    let mut unmeasured = stage();
    for part in &mut unmeasured.circuit.parts {
        part.known = Known::default();
    }
    let mild = [
        unmeasured.entry("B3", 300.0, 10.0, 300.0, 1.0),
        unmeasured.entry("V1p1", 198.0, 6.0, 198.0, 0.7),
        unmeasured.entry("V1p3", 1.52, 0.1, 1.80, 0.01),
    ];
    assert_eq!(checks(&unmeasured, &mild), vec![]);
}

#[test]
fn another_path_from_the_plate_leaves_the_check_out() {
    let mut hand = stage();
    hand.resistor("R9", "V1p1", "ground", 470e3);
    let clash = [
        hand.entry("B3", 300.0, 10.0, 300.0, 1.0),
        hand.entry("V1p1", 198.0, 6.0, 198.0, 0.7),
        hand.entry("V1p3", 1.52, 0.1, 2.30, 0.01),
    ];
    assert_eq!(checks(&hand, &clash), vec![]);
}

#[test]
fn two_sections_on_one_cathode_are_added() {
    let mut hand = stage();
    // pin 8 joins pin 3
    let k = hand.node("V1p3");
    let old = hand.node("V1p8");
    for part in &mut hand.circuit.parts {
        for t in &mut part.terminals {
            if t.node == Some(old) {
                t.node = Some(k);
            }
        }
    }
    let moved = hand.circuit.nodes[old.0].terminals.split_off(0);
    hand.circuit.nodes[k.0].terminals.extend(moved);
    hand.known_resistor("R7", "V1p6", "B3", 100e3, measured(100e3));
    let mut entries = vec![
        hand.entry("B3", 300.0, 10.0, 300.0, 1.0),
        hand.entry("V1p1", 198.0, 6.0, 198.0, 0.7),
        hand.entry("V1p6", 198.0, 6.0, 198.0, 0.7),
        hand.entry("V1p3", 3.06, 0.1, 3.06, 0.01),
    ];
    assert_eq!(checks(&hand, &entries), vec![]);
    entries[3] = hand.entry("V1p3", 3.06, 0.1, 1.53, 0.01);
    assert_eq!(checks(&hand, &entries), vec![Check::StageCurrent]);
}

#[test]
fn supply_falls_and_plates_stay_below_it() {
    let mut hand = stage();
    hand.resistor("R10", "B2", "B3", 22e3);
    let entries = [
        hand.entry("B2", 330.0, 10.0, 310.0, 1.0),
        hand.entry("B3", 300.0, 10.0, 320.0, 1.0),
        hand.entry("V1p1", 198.0, 6.0, 331.0, 0.7),
    ];
    assert_eq!(
        checks(&hand, &entries),
        vec![Check::PlateAboveSupply, Check::FallingOrder]
    );
    // within what the mains may move between two readings it is no clash
    let close = [
        hand.entry("B2", 330.0, 10.0, 320.0, 1.0),
        hand.entry("B3", 300.0, 10.0, 321.0, 1.0),
    ];
    assert_eq!(checks(&hand, &close), vec![]);
}

#[test]
fn a_grid_above_its_cathode_and_a_lost_follower() {
    let mut hand = stage();
    let up = [
        hand.entry("V1p2", 0.0, 0.01, 4.0, 0.02),
        hand.entry("V1p3", 1.52, 0.1, 2.0, 0.01),
    ];
    assert_eq!(checks(&hand, &up), vec![Check::GridAboveCathode]);
    // the second half as a follower on the first one's plate
    let plate = hand.node("V1p1");
    let grid = hand.node("V1p7");
    for part in &mut hand.circuit.parts {
        for t in &mut part.terminals {
            if t.node == Some(grid) {
                t.node = Some(plate);
            }
        }
    }
    let moved = hand.circuit.nodes[grid.0].terminals.split_off(0);
    hand.circuit.nodes[plate.0].terminals.extend(moved);
    hand.resistor("R8", "V1p8", "ground", 100e3);
    let sound = [
        hand.entry("V1p1", 150.0, 5.0, 148.0, 0.5),
        hand.entry("V1p8", 151.5, 5.0, 150.0, 0.5),
    ];
    assert_eq!(checks(&hand, &sound), vec![]);
    let lost = [
        hand.entry("V1p1", 150.0, 5.0, 148.0, 0.5),
        hand.entry("V1p8", 151.5, 5.0, 90.0, 0.5),
    ];
    assert_eq!(checks(&hand, &lost), vec![Check::Follower]);
}

#[test]
fn across_and_twice() {
    let mut hand = stage();
    hand.resistor("R10", "B2", "B3", 22e3);
    let entries = [
        hand.entry("B2", 330.0, 10.0, 330.0, 1.0),
        hand.entry("B3", 300.0, 10.0, 300.0, 1.0),
        hand.between("B2", "B3", 30.0, 3.0, 30.4, 0.1),
    ];
    assert_eq!(checks(&hand, &entries), vec![]);
    let slip = [
        hand.entry("B2", 330.0, 10.0, 330.0, 1.0),
        hand.entry("B3", 300.0, 10.0, 300.0, 1.0),
        hand.between("B2", "B3", 30.0, 3.0, 3.04, 0.01),
        hand.entry("B3", 300.0, 10.0, 280.0, 1.0),
    ];
    let found = checks(&hand, &slip);
    assert_eq!(found, vec![Check::Across, Check::Twice]);
}
