//! Cross-checks between readings: they must agree with each other before a part is blamed.
//!
//! What goes in through a plate load comes out through the cathode resistor; supply points
//! fall along their dropping resistors; a cathode stands above its grid, a follower's cathode
//! near its grid, a plate not above its supply; volts across a part are the difference of its
//! ends; the same point read twice reads the same. Each clash is a [`Finding`] in bench words
//! that asks for readings again. Works on readings and wiring only; no equation is solved.
//!
//! Limits: two standard uncertainties (about 95 %) of all that enters a check, plus 5 % where
//! currents are compared and 0.5 % where two volts were read one after the other at a mains
//! that moves. Common practice, no source.

use crate::chart::entry::{Entry, name_of, volts_expected, volts_read};
use crate::chart::verdict::K95;
use crate::tolerance::Tolerances;
use serde::Serialize;
use solve::netlist::Quantity;
use wiring::circuit::{Circuit, Kind, MeasuredValue, NodeId, Part};
use wiring::readings::{Probe, Unit};

mod stage;

/// Which cross-check found something.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Check {
    /// Plate-load current against cathode current.
    StageCurrent,
    /// Supply points in falling order.
    FallingOrder,
    /// Plate not above its supply.
    PlateAboveSupply,
    /// Cathode above grid.
    GridAboveCathode,
    /// Follower's cathode near its grid.
    Follower,
    /// Volts across against volts at both ends.
    Across,
    /// The same point twice.
    Twice,
}

/// A clash between readings.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Finding {
    /// Which check.
    pub check: Check,
    /// The points whose readings clash, as typed; these to be read again.
    pub points: Vec<String>,
    /// One or two sentences for the technician.
    pub text: String,
    /// How many standard uncertainties the readings miss each other by.
    pub sigmas: f64,
}

/// The mains may move this much (fraction of the volts) from one reading to the next.
const MAINS_MOVES: f64 = 0.005;

/// All clashes between the readings of one block, in the order of the checks above.
#[must_use]
pub fn cross_checks(circuit: &Circuit, entries: &[Entry], tolerances: &Tolerances) -> Vec<Finding> {
    let bench = Bench {
        circuit,
        entries,
        tolerances,
    };
    let mut found = stage::currents(&bench);
    found.extend(bench.along_resistors());
    found.extend(stage::grids(&bench));
    found.extend(bench.across());
    found.extend(bench.twice());
    found
}

/// What every check looks at.
struct Bench<'a> {
    circuit: &'a Circuit,
    entries: &'a [Entry],
    tolerances: &'a Tolerances,
}

/// A number and its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Figure {
    value: f64,
    sigma: f64,
}

impl Bench<'_> {
    /// Volts of one node less another's: read across or between if that was done, else from
    /// both ends, where a moving mains adds to the uncertainty.
    fn drop(&self, from: NodeId, to: NodeId) -> Option<Figure> {
        let direct = self.entries.iter().rev().find_map(|e| {
            if e.unit != Unit::VoltsDc {
                return None;
            }
            let (a, b) = self.leads(e)?;
            let sign = match (a == from && b == to, a == to && b == from) {
                (true, _) => 1.0,
                (_, true) => -1.0,
                _ => return None,
            };
            Some(Figure {
                value: sign * e.number()?,
                sigma: e.read?.sigma,
            })
        });
        direct.or_else(|| self.difference(from, to))
    }

    /// The difference of two readings against ground.
    fn difference(&self, from: NodeId, to: NodeId) -> Option<Figure> {
        let (a, u) = volts_read(self.entries, from)?;
        let (b, w) = volts_read(self.entries, to)?;
        // nothing moves between a point and ground itself
        let moves = if from == wiring::GROUND || to == wiring::GROUND {
            0.0
        } else {
            MAINS_MOVES * a.abs().max(b.abs())
        };
        Some(Figure {
            value: a - b,
            sigma: u.hypot(w).hypot(moves),
        })
    }

    /// The two nodes of a reading that is not against ground.
    fn leads(&self, entry: &Entry) -> Option<(NodeId, NodeId)> {
        match entry.probe {
            Probe::Between(a, b) => Some((a, b)),
            Probe::Across(part) => {
                let part = self.circuit.parts.get(part.0)?;
                ends(part)
            }
            _ => None,
        }
    }

    /// Ohms of a resistor as they probably are (drift in them) and their spread.
    fn ohms(&self, part: &Part) -> Option<Figure> {
        let marked = match part.kind {
            Kind::Resistor { ohms } => ohms,
            _ => None,
        };
        let nominal = match part.known.reading {
            Some(r) if !r.in_circuit => match r.value {
                MeasuredValue::Is(v) => Some(v),
                _ => return None,
            },
            _ => marked,
        }?;
        if nominal <= 0.0 {
            return None;
        }
        let spread = self.tolerances.of_part(self.circuit, part, Quantity::Ohms);
        let value = nominal * spread.median;
        Some(Figure {
            value,
            sigma: value * spread.sigma,
        })
    }

    /// Current through a resistor from one end to the other, with its uncertainty.
    fn current(&self, part: &Part, from: NodeId, to: NodeId) -> Option<Figure> {
        let ohms = self.ohms(part)?;
        let volts = self.drop(from, to)?;
        let value = volts.value / ohms.value;
        let sigma = (volts.sigma / ohms.value).hypot(value * ohms.sigma / ohms.value);
        Some(Figure { value, sigma })
    }

    /// Names of the readings that give the drop between two nodes.
    fn names(&self, nodes: &[NodeId]) -> Vec<String> {
        let mut names: Vec<String> = Vec::new();
        for node in nodes.iter().filter(|n| **n != wiring::GROUND) {
            let name = name_of(self.entries, *node);
            if !names.contains(&name) {
                names.push(name);
            }
        }
        names
    }

    /// Supply points in falling order, and plates not above their supply.
    fn along_resistors(&self) -> Vec<Finding> {
        let mut found = Vec::new();
        for part in &self.circuit.parts {
            if !matches!(part.kind, Kind::Resistor { .. } | Kind::Choke { .. }) {
                continue;
            }
            let Some((a, b)) = ends(part) else { continue };
            // only between two points against ground: a reading across has its own sign
            let (Some(expect_a), Some(expect_b)) = (
                volts_expected(self.entries, a),
                volts_expected(self.entries, b),
            ) else {
                continue;
            };
            let (high, low) = if expect_a >= expect_b { (a, b) } else { (b, a) };
            // a supply point stands well above ground; elsewhere the grid checks speak
            if expect_a.min(expect_b) < 20.0 || expect_a == expect_b {
                continue;
            }
            let Some(drop) = self.difference(high, low) else {
                continue;
            };
            if drop.value >= -K95 * drop.sigma {
                continue;
            }
            let (h, l) = (name_of(self.entries, high), name_of(self.entries, low));
            let plate = self.is_plate(low);
            let text = if plate {
                format!(
                    "{l} reads {:.1} V above its supply {h}, and a plate cannot through {}. Read both again.",
                    -drop.value, part.name
                )
            } else {
                format!(
                    "{l} reads {:.1} V above {h}, though it is fed from there through {}. Read both again.",
                    -drop.value, part.name
                )
            };
            found.push(Finding {
                check: if plate {
                    Check::PlateAboveSupply
                } else {
                    Check::FallingOrder
                },
                points: vec![h, l],
                text,
                sigmas: -drop.value / drop.sigma,
            });
        }
        found
    }

    fn is_plate(&self, node: NodeId) -> bool {
        stage::sections(self.circuit)
            .iter()
            .any(|s| s.plate == Some(node))
    }

    /// Volts across a part, or from point to point, against the volts at its ends.
    fn across(&self) -> Vec<Finding> {
        let mut found = Vec::new();
        for entry in self.entries {
            let Some((a, b)) = self.leads(entry).filter(|_| entry.unit == Unit::VoltsDc) else {
                continue;
            };
            let (Some(across), Some(read), Some(ends)) =
                (entry.number(), entry.read, self.difference(a, b))
            else {
                continue;
            };
            let sigma = ends.sigma.hypot(read.sigma);
            let off = (across - ends.value).abs();
            if off <= K95 * sigma {
                continue;
            }
            let mut points = vec![entry.point.clone()];
            points.extend(self.names(&[a, b]));
            found.push(Finding {
                check: Check::Across,
                text: format!(
                    "{} reads {across:.4} V, but its two ends differ by {:.4} V. One of {} is a slip: read them again.",
                    entry.point,
                    ends.value,
                    points.join(", ")
                ),
                points,
                sigmas: off / sigma,
            });
        }
        found
    }

    /// The same leads, read twice.
    fn twice(&self) -> Vec<Finding> {
        let mut found = Vec::new();
        for (i, first) in self.entries.iter().enumerate() {
            let Some(second) = self
                .entries
                .iter()
                .skip(i + 1)
                .find(|e| e.probe == first.probe && e.unit == first.unit && e.read.is_some())
            else {
                continue;
            };
            let (Some(a), Some(b), Some(u), Some(w)) =
                (first.number(), second.number(), first.read, second.read)
            else {
                continue;
            };
            let sigma = u
                .sigma
                .hypot(w.sigma)
                .hypot(MAINS_MOVES * a.abs().max(b.abs()));
            let off = (a - b).abs();
            if off > K95 * sigma {
                found.push(Finding {
                    check: Check::Twice,
                    points: vec![first.point.clone()],
                    text: format!(
                        "{} was read twice, as {a} and as {b}. Read it a third time, and watch whether it drifts.",
                        first.point
                    ),
                    sigmas: off / sigma,
                });
            }
        }
        found
    }
}

/// Both ends of a two-terminal part, when both are wired to different nodes.
fn ends(part: &Part) -> Option<(NodeId, NodeId)> {
    let [first, second] = part.terminals.as_slice() else {
        return None;
    };
    let (a, b) = (first.node?, second.node?);
    (a != b).then_some((a, b))
}

#[cfg(test)]
mod tests;
