//! Which changes a fault of a part makes: the part's elements, looked up in an assembly.

use super::Edit;
use crate::faults::{Change, Scaled, Sort, Spot};
use crate::suspects::hypothesis::{Hypothesis, OPEN_OHMS};
use solve::Assembly;
use solve::netlist::{Element, Law, NodeIndex, Slot};
use wiring::circuit::{Circuit, NodeId, Part};

/// Factor on what passes nothing.
const NOTHING: f64 = 1e-9;
/// Behind such ohms a source is a current.
const FEED_OHMS: f64 = 1e11;

/// The changes that a hypothesis of one size makes in one assembly; empty where its part is not
/// in it. The size is in the units of its [`Change`].
pub(in crate::suspects) fn edits(
    circuit: &Circuit,
    assembly: &Assembly,
    hypothesis: &Hypothesis,
    size: f64,
) -> Vec<Edit> {
    let Some(part) = circuit.parts.get(hypothesis.part.0) else {
        return Vec::new();
    };
    let work = Work {
        assembly,
        part,
        hypothesis,
        size: size.abs(),
    };
    let mut all = match hypothesis.sort {
        Sort::Valve => work.valve(),
        Sort::Rectifier => work.rectifier(),
        Sort::Capacitor | Sort::Diode => work.capacitor(),
        Sort::Pot => work.pot(),
        Sort::OutputTransformer | Sort::CouplingTransformer => work.wound(),
        _ => work.plain(),
    };
    if size < 0.0 && !all.is_empty() {
        all.push(Edit::Drift);
    }
    all
}

struct Work<'a> {
    assembly: &'a Assembly,
    part: &'a Part,
    hypothesis: &'a Hypothesis,
    size: f64,
}

impl Work<'_> {
    fn elements(&self) -> impl Iterator<Item = (usize, &Element)> {
        let of = self.assembly.elements_of.get(&self.part.name);
        of.into_iter().flatten().filter_map(|index| {
            let element = self.assembly.netlist.elements.get(*index)?;
            Some((*index, element))
        })
    }

    fn named(&self, name: &str) -> Option<(usize, &Element)> {
        self.elements().find(|(_, e)| e.name == name)
    }

    fn node(&self, id: NodeId) -> Option<NodeIndex> {
        self.assembly.node_of.get(id.0).copied().flatten()
    }

    fn ends(&self) -> Option<(NodeIndex, NodeIndex)> {
        let end = |i: usize| self.part.terminals.get(i)?.node;
        let (a, b) = (self.node(end(0)?)?, self.node(end(1)?)?);
        (a != b).then_some((a, b))
    }

    fn add(&self, a: NodeIndex, b: NodeIndex, ohms: f64) -> Vec<Edit> {
        vec![Edit::Add {
            law: Law::Resistor { a, b, ohms },
            cold: true,
        }]
    }

    /// Resistors, chokes, switches, fuses, supplies, mains transformers, loudspeakers, cells.
    fn plain(&self) -> Vec<Edit> {
        let mut all = Vec::new();
        let size = self.size;
        match self.hypothesis.change {
            Change::Scale { quantity, .. } => {
                if self.hypothesis.sort == Sort::PowerTransformer {
                    for (index, element) in self.assembly.netlist.elements.iter().enumerate() {
                        if matches!(element.law, Law::Alternating { mains: true, .. }) {
                            all.push(Edit::Scale {
                                element: index,
                                slot: Slot::Volts,
                                by: size,
                            });
                        }
                    }
                    return all;
                }
                let slot = match quantity {
                    Scaled::Volts => Slot::Volts,
                    Scaled::Henries => Slot::Henries,
                    _ => Slot::Ohms,
                };
                for (index, element) in self.elements() {
                    match (&element.law, slot) {
                        // a contact is next to nothing, so a factor on it means ohms
                        (Law::Resistor { .. }, Slot::Ohms)
                            if self.hypothesis.sort == Sort::Switch =>
                        {
                            all.push(Edit::More {
                                element: index,
                                ohms: size,
                            });
                        }
                        _ => all.push(Edit::Scale {
                            element: index,
                            slot,
                            by: size,
                        }),
                    }
                }
            }
            Change::Factor { .. } => {
                all.extend(self.elements().map(|(element, _)| Edit::Scale {
                    element,
                    slot: Slot::Ohms,
                    by: size,
                }));
            }
            Change::Open => {
                all.extend(self.elements().filter_map(|(element, e)| match e.law {
                    Law::Resistor { ohms, .. } if ohms >= self.size => None,
                    _ => Some(Edit::Ohms {
                        element,
                        ohms: self.size,
                    }),
                }));
            }
            _ => {}
        }
        all
    }

    fn capacitor(&self) -> Vec<Edit> {
        let leak = self.named(&format!("{} leak", self.part.name));
        let own = self.named(&self.part.name);
        let scale = |by: f64| {
            own.map(|(element, _)| Edit::Scale {
                element,
                slot: Slot::Farads,
                by,
            })
        };
        match self.hypothesis.change {
            Change::Leak { .. } => match (leak, self.ends()) {
                (Some((element, _)), _) => vec![Edit::Beside {
                    element,
                    ohms: self.size,
                }],
                (None, Some((a, b))) => self.add(a, b, self.size),
                _ => Vec::new(),
            },
            Change::Scale {
                quantity: Scaled::Perveance,
                ..
            } => self
                .elements()
                .map(|(element, _)| Edit::Scale {
                    element,
                    slot: Slot::Perveance,
                    by: self.size,
                })
                .collect(),
            Change::Scale {
                quantity: Scaled::Esr,
                ..
            } => own
                .map(|(element, _)| Edit::Esr {
                    element,
                    ohms: self.size,
                })
                .into_iter()
                .collect(),
            Change::Scale { .. } | Change::FactorFarads { .. } => {
                scale(self.size).into_iter().collect()
            }
            Change::Open => {
                let mut all: Vec<Edit> = scale(NOTHING).into_iter().collect();
                all.extend(leak.map(|(element, _)| Edit::Ohms {
                    element,
                    ohms: OPEN_OHMS,
                }));
                all
            }
            _ => Vec::new(),
        }
    }

    fn pot(&self) -> Vec<Edit> {
        let Change::Lead { from, .. } = self.hypothesis.change else {
            return Vec::new();
        };
        let ohms = self.size;
        let (below, above) = (
            self.named(&format!("{} below", self.part.name)),
            self.named(&format!("{} above", self.part.name)),
        );
        match (from, below, above) {
            (Spot::Lug1, Some((element, _)), _) | (Spot::Lug3, _, Some((element, _))) => {
                vec![Edit::More { element, ohms }]
            }
            (Spot::Lug2, Some((below, _)), Some((above, _))) => {
                vec![Edit::Wiper { below, above, ohms }]
            }
            (Spot::Lug2, Some((element, _)), None) | (Spot::Lug2, None, Some((element, _))) => {
                vec![Edit::More { element, ohms }]
            }
            _ => Vec::new(),
        }
    }

    fn wound(&self) -> Vec<Edit> {
        match self.hypothesis.change {
            Change::Winding { half } => {
                let p0 = self.part.terminals.iter().any(|t| t.name == "p0");
                self.elements()
                    .filter_map(|(element, e)| {
                        let Law::Transformer(t) = &e.law else {
                            return None;
                        };
                        let at = match half {
                            1 => 0,
                            _ if p0 => self.primaries(t.windings.len()).checked_sub(1)?,
                            _ => return None,
                        };
                        let ohms = t.windings.get(at)?.ohms;
                        Some(Edit::Scale {
                            element,
                            slot: Slot::WindingOhms(at),
                            by: OPEN_OHMS / ohms,
                        })
                    })
                    .collect()
            }
            Change::PrimaryLeak { .. } => {
                let p1 = self.part.terminals.iter().find(|t| t.name == "p1");
                match p1.and_then(|t| t.node).and_then(|n| self.node(n)) {
                    Some(plate) if plate != 0 => self.add(plate, 0, self.size),
                    _ => Vec::new(),
                }
            }
            _ => Vec::new(),
        }
    }

    /// How many of a transformer's windings are its primary's: one less than the wired primary
    /// terminals.
    fn primaries(&self, windings: usize) -> usize {
        let wired =
            self.part.terminals.iter().filter(|t| {
                (t.name.starts_with('p') || t.name.starts_with('u')) && t.node.is_some()
            });
        wired.count().saturating_sub(1).min(windings)
    }

    fn rectifier(&self) -> Vec<Edit> {
        let plates: Vec<usize> = self
            .elements()
            .filter(|(_, e)| matches!(e.law, Law::Diode { .. }))
            .map(|(index, _)| index)
            .collect();
        let scale = |element: usize, by: f64| Edit::Scale {
            element,
            slot: Slot::Perveance,
            by,
        };
        match self.hypothesis.change {
            Change::Scale { .. } => plates.iter().map(|p| scale(*p, self.size)).collect(),
            Change::HalfOpen if plates.len() > 1 => plates
                .first()
                .map(|p| scale(*p, NOTHING))
                .into_iter()
                .collect(),
            _ => Vec::new(),
        }
    }

    fn valve(&self) -> Vec<Edit> {
        let name = match self.hypothesis.section {
            Some(letter) => format!("{}{letter}", self.part.name),
            None => self.part.name.clone(),
        };
        let Some((element, found)) = self.named(&name) else {
            return Vec::new();
        };
        let nodes = found.law.terminals();
        let pentode = nodes.len() == 4;
        let terminal = |spot: Spot| match (spot, pentode) {
            (Spot::Plate, _) => Some(0),
            (Spot::Screen, true) => Some(1),
            (Spot::Grid, true) => Some(2),
            (Spot::Grid, false) => Some(1),
            (Spot::Cathode, true) => Some(3),
            (Spot::Cathode, false) => Some(2),
            _ => None,
        };
        let place = |spot: Spot| match spot {
            Spot::Ground => Some(0),
            Spot::Supply => self.hypothesis.supply.and_then(|n| self.node(n)),
            other => nodes.get(terminal(other)?).copied(),
        };
        match self.hypothesis.change {
            Change::Scale { .. } => vec![Edit::Scale {
                element,
                slot: Slot::Scale,
                by: self.size,
            }],
            Change::GridAmps { .. } => match (place(Spot::Grid), place(Spot::Cathode)) {
                (Some(grid), Some(cathode)) if grid != 0 => vec![Edit::Add {
                    law: Law::Source {
                        plus: grid,
                        minus: cathode,
                        volts: self.size * FEED_OHMS,
                        ohms: FEED_OHMS,
                    },
                    cold: false,
                }],
                _ => Vec::new(),
            },
            Change::Bridge { from, to, .. } => match (place(from), place(to)) {
                (Some(a), Some(b)) if a != b => vec![Edit::Add {
                    law: Law::Resistor {
                        a,
                        b,
                        ohms: self.size,
                    },
                    // a board leaks with the power off, too; a valve is in its socket then
                    cold: true,
                }],
                _ => Vec::new(),
            },
            Change::Lead { from, .. } => match terminal(from) {
                Some(terminal) => vec![Edit::Cut {
                    element,
                    terminal,
                    ohms: self.size,
                }],
                None => Vec::new(),
            },
            Change::Swap { from, to } => match (terminal(from), terminal(to)) {
                (Some(a), Some(b)) => vec![Edit::Swap {
                    element,
                    terminals: (a, b),
                }],
                _ => Vec::new(),
            },
            _ => Vec::new(),
        }
    }
}
