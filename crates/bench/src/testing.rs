//! Circuits put together by hand, for tests that need no notation.

use crate::chart::entry::{Entry, Read};
use crate::chart::verdict::Band;
use crate::powered::Asked;
use wiring::circuit::{
    Circuit, Electrode, Kind, Known, Node, NodeId, Part, PartId, PinUse, Position, Setting,
    Terminal, Valve, ValveLimits,
};
use wiring::diagnostic::Place;
use wiring::readings::{Probe, Shown, Unit};

/// The text of an example amplifier.
pub(crate) fn example_text(name: &str) -> String {
    let path = format!(
        "{}/../../examples/{name}.wiring",
        env!("CARGO_MANIFEST_DIR")
    );
    std::fs::read_to_string(path).expect("an example")
}

/// An example amplifier.
pub(crate) fn example(name: &str) -> Circuit {
    wiring::read_one(&example_text(name)).circuit
}

/// With knobs put elsewhere.
pub(crate) fn with_knobs(sets: &[(&str, f64)]) -> Asked {
    Asked {
        sets: sets
            .iter()
            .map(|(name, to)| Setting {
                name: (*name).to_owned(),
                to: Position::Number(*to),
                place: Place::default(),
            })
            .collect(),
        ..Asked::default()
    }
}

/// A circuit under construction.
#[derive(Default)]
pub(crate) struct Hand {
    pub(crate) circuit: Circuit,
}

impl Hand {
    pub(crate) fn new() -> Self {
        let mut hand = Self::default();
        hand.circuit.nodes.push(Node {
            names: vec!["ground".to_owned()],
            ..Node::default()
        });
        hand
    }

    /// The node of a point's name; made when new.
    pub(crate) fn node(&mut self, name: &str) -> NodeId {
        if let Some(found) = self.circuit.node(name) {
            return found;
        }
        self.circuit.nodes.push(Node {
            names: vec![name.to_owned()],
            ..Node::default()
        });
        NodeId(self.circuit.nodes.len() - 1)
    }

    pub(crate) fn part(
        &mut self,
        name: &str,
        kind: Kind,
        terminals: &[(&str, Option<&str>)],
        known: Known,
    ) -> PartId {
        let id = PartId(self.circuit.parts.len());
        let mut ends = Vec::new();
        for (index, (end, at)) in terminals.iter().enumerate() {
            let node = at.map(|at| self.node(at));
            if let Some(node) = node {
                self.circuit.nodes[node.0].terminals.push((id, index));
            }
            ends.push(Terminal {
                name: (*end).to_owned(),
                node,
            });
        }
        self.circuit.parts.push(Part {
            name: name.to_owned(),
            parent: None,
            kind,
            terminals: ends,
            known,
            place: Place::default(),
            assumed: false,
        });
        id
    }

    pub(crate) fn resistor(&mut self, name: &str, a: &str, b: &str, ohms: f64) -> &mut Self {
        self.known_resistor(name, a, b, ohms, Known::default())
    }

    pub(crate) fn known_resistor(
        &mut self,
        name: &str,
        a: &str,
        b: &str,
        ohms: f64,
        known: Known,
    ) -> &mut Self {
        self.part(
            name,
            Kind::Resistor { ohms: Some(ohms) },
            &[("1", Some(a)), ("2", Some(b))],
            known,
        );
        self
    }

    pub(crate) fn capacitor(&mut self, name: &str, a: &str, b: &str, farads: f64) -> &mut Self {
        self.part(
            name,
            Kind::Capacitor {
                farads: Some(farads),
                plus_first: (farads >= 1e-6).then_some(true),
            },
            &[("1", Some(a)), ("2", Some(b))],
            Known::default(),
        );
        self
    }

    /// A 12AX7 on points named as its pins.
    pub(crate) fn twin_triode(&mut self, name: &str) -> &mut Self {
        let electrodes = [
            (0, Some('a'), Electrode::Plate),
            (1, Some('a'), Electrode::Grid),
            (2, Some('a'), Electrode::Cathode),
            (3, None, Electrode::Heater1),
            (4, None, Electrode::Heater2),
            (5, Some('b'), Electrode::Plate),
            (6, Some('b'), Electrode::Grid),
            (7, Some('b'), Electrode::Cathode),
            (8, None, Electrode::HeaterTap),
        ]
        .map(|(terminal, section, electrode)| PinUse {
            terminal,
            section,
            electrode,
        })
        .to_vec();
        let kind = Kind::Valve(Valve {
            meant: "12AX7".to_owned(),
            fitted: None,
            emission: None,
            electrodes,
            limits: ValveLimits::default(),
            like: None,
        });
        let points: Vec<(String, String)> = (1..=9)
            .map(|p| (p.to_string(), format!("{name}p{p}")))
            .collect();
        let ends: Vec<(&str, Option<&str>)> = points
            .iter()
            .map(|(pin, at)| (pin.as_str(), Some(at.as_str())))
            .collect();
        self.part(name, kind, &ends, Known::default());
        self
    }

    /// An entry for direct volts at a point.
    pub(crate) fn entry(
        &mut self,
        point: &str,
        centre: f64,
        sigma: f64,
        read: f64,
        own: f64,
    ) -> Entry {
        let node = self.node(point);
        entry(point, Probe::At(node), centre, sigma, read, own)
    }

    /// An entry for direct volts between two points.
    pub(crate) fn between(
        &mut self,
        a: &str,
        b: &str,
        centre: f64,
        sigma: f64,
        read: f64,
        own: f64,
    ) -> Entry {
        let (from, to) = (self.node(a), self.node(b));
        entry(
            &format!("{a} to {b}"),
            Probe::Between(from, to),
            centre,
            sigma,
            read,
            own,
        )
    }
}

pub(crate) fn entry(
    point: &str,
    probe: Probe,
    centre: f64,
    sigma: f64,
    read: f64,
    own: f64,
) -> Entry {
    Entry {
        point: point.to_owned(),
        also: Vec::new(),
        probe,
        unit: Unit::VoltsDc,
        nominal: Some(centre),
        band: Some(Band {
            centre,
            down: sigma,
            up: sigma,
        }),
        source_ohms: None,
        read: Some(Read {
            shown: Shown::Number(read),
            sigma: own,
            digit: 0.1,
        }),
        why: None,
    }
}
