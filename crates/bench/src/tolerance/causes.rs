//! Independent causes of spread, and which parameters each of them moves.
//!
//! Two halves of one double valve share most of their emission, so their factors are
//! correlated; here that is written as independent standard-normal causes with weights.
//! `ln factor[p] = ln median[p] + sum over causes of weight * z[cause]`.

use super::{Case, MainsKnown, Spread, Tolerances};
use serde::Serialize;
use solve::netlist::{Parameter, Quantity};
use wiring::circuit::{Circuit, Kind, Part};

/// One independent cause.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Cause {
    /// The part (or `mains`, `meter`) and what of it, for explanations.
    pub name: String,
    /// Parameter index and the weight on its logarithm per standard deviation of this cause.
    pub moves: Vec<(usize, f64)>,
}

impl Cause {
    /// The largest weight: how wide this cause is on a logarithmic scale.
    #[must_use]
    pub fn width(&self) -> f64 {
        self.moves.iter().fold(0.0, |w, (_, s)| w.max(s.abs()))
    }
}

/// Median factors of all parameters and the causes that spread them.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Causes {
    /// Median factor of each parameter.
    pub medians: Vec<f64>,
    /// The independent causes.
    pub causes: Vec<Cause>,
}

impl Causes {
    /// Medians and causes for the parameters of a netlist.
    ///
    /// A parameter of a part that is not in the circuit (a lamp in series put there by the
    /// bench) has no spread.
    #[must_use]
    pub fn of(
        circuit: &Circuit,
        parameters: &[Parameter],
        tolerances: &Tolerances,
        mains: MainsKnown,
    ) -> Self {
        let mut found = Self::default();
        for (index, parameter) in parameters.iter().enumerate() {
            let spread = spread_of(circuit, parameter, tolerances, mains);
            found.medians.push(spread.median);
            if spread.sigma <= 0.0 {
                continue;
            }
            let valve = valve_name(circuit, &parameter.part);
            match (parameter.quantity, valve) {
                (Quantity::Emission, Some(valve)) if sections(parameters, circuit, valve) > 1 => {
                    found.add_half(index, parameter, valve, spread.sigma, tolerances);
                }
                _ => found.causes.push(Cause {
                    name: cause_name(parameter),
                    moves: vec![(index, spread.sigma)],
                }),
            }
        }
        found
    }

    /// One half of a double valve: what it shares with the other, and what is its own.
    fn add_half(
        &mut self,
        index: usize,
        parameter: &Parameter,
        valve: &str,
        sigma: f64,
        tolerances: &Tolerances,
    ) {
        let own = tolerances
            .spread(Case::EmissionBetweenHalves, 0.0)
            .sigma
            .min(sigma);
        let shared = (sigma * sigma - own * own).max(0.0).sqrt();
        let name = format!("{valve} emission");
        match self.causes.iter_mut().find(|c| c.name == name) {
            Some(cause) => cause.moves.push((index, shared)),
            None => self.causes.push(Cause {
                name,
                moves: vec![(index, shared)],
            }),
        }
        self.causes.push(Cause {
            name: cause_name(parameter),
            moves: vec![(index, own)],
        });
    }

    /// Factors of one build, from one standard-normal number per cause.
    ///
    /// Missing numbers count as 0, so an empty slice gives the medians.
    #[must_use]
    pub fn factors(&self, z: &[f64]) -> Vec<f64> {
        let mut logs: Vec<f64> = self.medians.iter().map(|m| m.ln()).collect();
        for (cause, z) in self.causes.iter().zip(z) {
            for (index, weight) in &cause.moves {
                if let Some(log) = logs.get_mut(*index) {
                    *log += weight * z;
                }
            }
        }
        logs.into_iter().map(f64::exp).collect()
    }
}

/// What a cause is called: the part and, after a space, what of it.
fn cause_name(parameter: &Parameter) -> String {
    let what = match parameter.quantity {
        Quantity::Ohms => "ohms",
        Quantity::Leak => "leak",
        Quantity::Farads => "farads",
        Quantity::Henries => "henries",
        Quantity::Emission => "emission",
        Quantity::Mu => "mu",
        Quantity::ScreenShare => "screen share",
        Quantity::Drop => "drop",
        Quantity::Volts => "volts",
        Quantity::Mains => return "mains".to_owned(),
        Quantity::Meter => return "meter".to_owned(),
    };
    format!("{} {what}", parameter.part)
}

fn spread_of(
    circuit: &Circuit,
    parameter: &Parameter,
    tolerances: &Tolerances,
    mains: MainsKnown,
) -> Spread {
    match parameter.quantity {
        Quantity::Mains => tolerances.spread(
            match mains {
                MainsKnown::Read => Case::MainsRead,
                MainsKnown::Heading => Case::MainsHeading,
                MainsKnown::Assumed => Case::MainsAssumed,
            },
            0.0,
        ),
        Quantity::Meter => tolerances.spread(Case::MeterOhms, 0.0),
        quantity => part_of(circuit, &parameter.part).map_or(Spread::NONE, |part| {
            let winding = parameter.part.split_once(' ').map(|(_, word)| word);
            tolerances.of_winding(circuit, part, winding, quantity)
        }),
    }
}

/// The part a parameter belongs to: by its name, before a space (`T1 hv`), less a section
/// letter (`V1a`), or any gang of a pot (`DEPTH` of `DEPTHa`).
pub(crate) fn part_of<'a>(circuit: &'a Circuit, name: &str) -> Option<&'a Part> {
    let name = name.split(' ').next().unwrap_or(name);
    let gang = || {
        circuit
            .parts
            .iter()
            .find(|p| p.parent.as_deref() == Some(name))
    };
    circuit
        .part_or_valve(name)
        .and_then(|id| circuit.parts.get(id.0))
        .or_else(gang)
}

fn valve_name<'a>(circuit: &'a Circuit, name: &str) -> Option<&'a str> {
    part_of(circuit, name)
        .filter(|p| matches!(p.kind, Kind::Valve(_)))
        .map(|p| p.name.as_str())
}

fn sections(parameters: &[Parameter], circuit: &Circuit, valve: &str) -> usize {
    parameters
        .iter()
        .filter(|p| p.quantity == Quantity::Emission && valve_name(circuit, &p.part) == Some(valve))
        .count()
}
