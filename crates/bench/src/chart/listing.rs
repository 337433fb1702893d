//! The lines of a chart in order, before anything is expected of them.

use super::entry::{Entry, Read};
use super::points::{Point, Rank, natural, point, points};
use std::cmp::Ordering;
use wiring::circuit::{Circuit, NodeId};
use wiring::readings::{Block, Meter, Probe, Reading, Unit};

/// One entry for every point, or one for each of its readings; then the readings that are
/// between points or across parts, each after the line it belongs to.
///
/// `volts` gives the expected volts of a node, for the order of the supply points.
#[must_use]
pub(super) fn listing(
    circuit: &Circuit,
    block: Option<&Block>,
    volts: impl Fn(NodeId) -> Option<f64>,
) -> Vec<Entry> {
    let readings: &[Reading] = block.map_or(&[], |b| &b.readings);
    let meter = block.and_then(|b| b.conditions.meter);
    let mut all = points(circuit);
    for reading in readings {
        if let Probe::At(node) = reading.probe
            && !all.iter().any(|p| p.node == node)
        {
            all.extend(point(circuit, node, true));
        }
    }
    all.sort_by(|a, b| order(a, b, &volts));
    let mut used = vec![false; readings.len()];
    let mut entries = Vec::new();
    for point in &all {
        let mut read = false;
        for (i, reading) in readings.iter().enumerate() {
            if reading.probe == Probe::At(point.node) {
                read |= reading.unit == Unit::VoltsDc;
                mark(&mut used, i);
                entries.push(of_reading(reading, Some(point), meter));
            }
        }
        // ohms or alternating volts at a point leave its direct volts still to be listed
        let power_off = block.is_some_and(|b| b.conditions.power_off);
        if !read && !power_off {
            entries.push(unread(point));
        }
        for (i, reading) in readings.iter().enumerate() {
            if matches!(reading.probe, Probe::Between(a, _) if a == point.node)
                && !used.get(i).copied().unwrap_or(true)
            {
                mark(&mut used, i);
                entries.push(of_reading(reading, None, meter));
            }
        }
    }
    for (i, reading) in readings.iter().enumerate() {
        if !used.get(i).copied().unwrap_or(true) {
            entries.push(of_reading(reading, None, meter));
        }
    }
    entries
}

fn mark(used: &mut [bool], index: usize) {
    if let Some(flag) = used.get_mut(index) {
        *flag = true;
    }
}

/// Supply points from the highest volts down, then by rank.
fn order(a: &Point, b: &Point, volts: &impl Fn(NodeId) -> Option<f64>) -> Ordering {
    if a.rank == Rank::Bare && b.rank == Rank::Bare {
        let (va, vb) = (volts(a.node), volts(b.node));
        return match (va, vb) {
            (Some(x), Some(y)) => y.total_cmp(&x),
            (Some(_), None) => Ordering::Less,
            (None, Some(_)) => Ordering::Greater,
            (None, None) => Ordering::Equal,
        }
        .then_with(|| first(a).cmp(&first(b)));
    }
    a.rank
        .partial_cmp(&b.rank)
        .unwrap_or(Ordering::Equal)
        .then_with(|| first(a).cmp(&first(b)))
}

fn first(point: &Point) -> (u32, String) {
    point
        .names
        .first()
        .map_or((u32::MAX, String::new()), |n| natural(n))
}

fn unread(point: &Point) -> Entry {
    let mut names = point.names.iter().cloned();
    Entry {
        point: names.next().unwrap_or_default(),
        also: names.collect(),
        probe: Probe::At(point.node),
        unit: Unit::VoltsDc,
        nominal: None,
        band: None,
        source_ohms: None,
        read: None,
        why: None,
    }
}

fn of_reading(reading: &Reading, point: Option<&Point>, meter: Option<Meter>) -> Entry {
    let also = point.map_or_else(Vec::new, |p| {
        p.names
            .iter()
            .filter(|n| **n != reading.point)
            .cloned()
            .collect()
    });
    Entry {
        point: reading.point.clone(),
        also,
        probe: reading.probe,
        unit: reading.unit,
        nominal: None,
        band: None,
        source_ohms: None,
        read: Some(Read::of(reading, meter)),
        why: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::Hand;
    use wiring::diagnostic::Place;
    use wiring::readings::Shown;

    fn reading(point: &str, probe: Probe) -> Reading {
        Reading {
            point: point.to_owned(),
            probe,
            value: Shown::Number(1.0),
            unit: Unit::VoltsDc,
            digit: 0.1,
            note: None,
            place: Place::default(),
        }
    }

    #[test]
    fn supply_first_then_pins_then_ground() {
        let mut hand = Hand::new();
        hand.twin_triode("V10").twin_triode("V2");
        // points of the hand-made sockets are bare names; make them plain pins
        for node in &mut hand.circuit.nodes {
            node.names.retain(|n| n == "ground");
        }
        hand.resistor("R1", "B3", "B1", 1e4)
            .resistor("R2", "bias", "ground", 1e4);
        let (b1, b3) = (hand.node("B1"), hand.node("B3"));
        let volts = |n: NodeId| match n {
            n if n == b1 => Some(350.0),
            n if n == b3 => Some(250.0),
            _ => Some(-30.0),
        };
        let plate = hand.circuit.node("V2.1").unwrap();
        let block = Block {
            readings: vec![
                reading("B1 to B3", Probe::Between(b1, b3)),
                reading("R1", Probe::Across(hand.circuit.part("R1").unwrap())),
                reading("V2a.plate", Probe::At(plate)),
                reading("V2.1", Probe::At(plate)),
            ],
            ..Block::default()
        };
        let entries = listing(&hand.circuit, Some(&block), volts);
        let names: Vec<&str> = entries.iter().map(|e| e.point.as_str()).collect();
        assert_eq!(names[..4], ["B1", "B1 to B3", "B3", "bias"]);
        assert_eq!(names[4..7], ["V2a.plate", "V2.1", "V2.2"]);
        assert_eq!(names[names.len() - 2..], ["ground", "R1"]);
        // the same node under its other name, once more because it was read twice
        assert_eq!(entries[4].also, ["V2.1"]);
        assert_eq!(entries[5].also, ["V2a.plate"]);
        let tenth = names.iter().position(|n| *n == "V10.1").unwrap();
        assert!(tenth > names.iter().position(|n| *n == "V2.9").unwrap());
    }
}
