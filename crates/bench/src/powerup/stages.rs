//! Which valves go in when.

use super::step::Step;
use serde::Serialize;
use wiring::circuit::{Circuit, History, Kind};
use wiring::readings::ValvesIn;
use wiring::roles::{Anatomy, BlockKind};
use wiring::sheet::Library;

/// One stage of the order of `power.order`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Stage {
    /// What is in the sockets, in words.
    pub name: String,
    /// What to look at.
    pub watch: &'static str,
    /// The mains steps.
    pub steps: Vec<Step>,
    /// Which valves are in.
    #[serde(skip)]
    pub valves: ValvesIn,
}

impl Stage {
    pub(super) fn with(self, steps: Vec<Step>) -> Self {
        Self { steps, ..self }
    }
}

/// The valves by what they are.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Sockets {
    /// Rectifiers.
    pub(super) rectifiers: Vec<String>,
    /// Output valves.
    pub(super) output: Vec<String>,
    /// All others.
    pub(super) small: Vec<String>,
}

impl Sockets {
    pub(super) fn of(
        circuit: &Circuit,
        library: &Library,
        anatomy: &Anatomy,
        without: &[String],
    ) -> Self {
        let mut sockets = Self {
            rectifiers: Vec::new(),
            output: Vec::new(),
            small: Vec::new(),
        };
        for (i, part) in circuit.parts.iter().enumerate() {
            let Kind::Valve(valve) = &part.kind else {
                continue;
            };
            if part.known.history == Some(History::Removed) || without.contains(&part.name) {
                continue;
            }
            let sheet = library.find(valve.type_in_socket());
            let output = anatomy.blocks.iter().any(|b| {
                matches!(b.kind, BlockKind::PushPull | BlockKind::SingleEnded)
                    && b.sections.iter().any(|s| s.part.0 == i)
            });
            let name = part.name.clone();
            if sheet.is_some_and(|s| s.kind.is_rectifier()) {
                sockets.rectifiers.push(name);
            } else if output {
                sockets.output.push(name);
            } else {
                sockets.small.push(name);
            }
        }
        sockets
    }

    /// Every valve in its socket.
    pub(super) fn all(&self) -> ValvesIn {
        ValvesIn::Only(
            [&self.rectifiers, &self.small, &self.output]
                .into_iter()
                .flatten()
                .cloned()
                .collect(),
        )
    }

    /// The stages of this amplifier, without steps.
    pub(super) fn stages(&self) -> impl Iterator<Item = Stage> {
        let stage = |name: String, watch: &'static str, valves: Vec<String>| Stage {
            name,
            watch,
            steps: Vec::new(),
            valves: ValvesIn::Only(valves),
        };
        let mut all = vec![stage(
            "no valves".to_owned(),
            "windings and heaters, 5 to 15 % high without load; silicon charges every node to its peak",
            Vec::new(),
        )];
        if !self.rectifiers.is_empty() {
            all.push(stage(
                format!("only the rectifier {}", self.rectifiers.join(" ")),
                "high-tension nodes equal each other: a drop across a dropping resistor is leakage. It comes late and fast, once the heater is warm",
                self.rectifiers.clone(),
            ));
        }
        if !self.small.is_empty() && !self.output.is_empty() {
            let mut valves = self.rectifiers.clone();
            valves.extend(self.small.iter().cloned());
            all.push(stage(
                format!("output valves {} out", self.output.join(" ")),
                "bias on each output grid pin before its valve goes in; DC there from a coupling capacitor; small stages",
                valves,
            ));
        }
        if !self.small.is_empty() || !self.output.is_empty() {
            let ValvesIn::Only(valves) = self.all() else {
                return all.into_iter();
            };
            all.push(stage(
                "all valves in, load on the output".to_owned(),
                "mains current from the first second, plates, cathode volts, case temperature, sound, smell",
                valves,
            ));
        }
        all.into_iter()
    }
}
