//! Rectifiers as their tangents: drawn, drawn again where the supply moved, and moved by the mains.

use super::line::Line;
use super::{Desk, Scene};
use crate::chart::state::State;
use solve::netlist::{Element, Law, Netlist, NodeIndex, Quantity, Rectifiers, Slot};
use solve::operating::Solution;
use solve::supply::{Cycle, CycleMemory};
use std::sync::Arc;

/// A rectifier's tangent is drawn again when the volts across it moved by more than this part,
const MOVED_PART: f64 = 0.015;
/// and this much, volts.
const MOVED_VOLTS: f64 = 1.0;

/// A rectifier group and the elements that stand for it.
#[derive(Clone)]
pub(super) struct Group {
    pub(super) law: Rectifiers,
    pub(super) tangents: Vec<usize>,
    /// Volts across each plate at which its tangent was drawn.
    pub(super) at: Vec<f64>,
    memory: CycleMemory,
    /// What it gives in a sound amplifier; none once the law is another, and where few faults are asked after.
    pub(super) line: Option<Arc<Line>>,
    /// Is the memory another one than a sound amplifier's?
    pub(super) swept: bool,
}

impl Scene {
    /// Puts tangents in the place of rectifier groups; `lines` asks for what they give at all volts, too.
    pub(super) fn freeze(&mut self, state: &State, lines: bool) {
        self.base = state.netlist().clone();
        let groups: Vec<(usize, Rectifiers)> = self
            .base
            .elements
            .iter()
            .enumerate()
            .filter_map(|(index, e)| match &e.law {
                Law::Rectifiers(group) => Some((index, group.clone())),
                _ => None,
            })
            .collect();
        for (index, law) in groups {
            let name = self.base.elements.get(index).map(|e| e.name.clone());
            if let Some(element) = self.base.elements.get_mut(index) {
                // the index of every other element stays
                element.law = Law::Resistor {
                    a: 0,
                    b: 0,
                    ohms: 1.0,
                };
            }
            let mut group = Group {
                memory: state.solution().cycle_of(&law),
                tangents: Vec::new(),
                at: Vec::new(),
                line: None,
                swept: false,
                law,
            };
            for plate in &group.law.plates {
                group.tangents.push(self.base.elements.len());
                self.base.elements.push(Element {
                    name: name.clone().unwrap_or_default(),
                    law: Law::Source {
                        plus: plate.plate,
                        minus: plate.cathode,
                        volts: 0.0,
                        ohms: 1.0,
                    },
                });
            }
            let volts = state.volts();
            group.draw(&mut self.base, volts);
            if lines {
                group.line = Line::of(&group.law, &group.memory, &group.at).map(Arc::new);
            }
            group.swept = false;
            self.groups.push(group);
        }
    }

    /// What a deviation of mains, windings and rectifiers does, as emf behind each tangent.
    pub(super) fn look_at_supply(&mut self, state: &State) {
        let netlist = &self.assembly.netlist;
        let mut all = Vec::new();
        let groups = self.groups.iter();
        let sound = groups.map(|g| g.law.amps_from(&mut g.memory.clone(), &g.at));
        let sound: Vec<Vec<f64>> = sound.collect();
        for (cause, moves) in &self.spreads.causes {
            let acts = moves.iter().any(|(p, _)| {
                netlist.parameters.get(*p).is_some_and(|p| {
                    matches!(
                        p.quantity,
                        Quantity::Mains | Quantity::Volts | Quantity::Drop
                    ) || (p.quantity == Quantity::Ohms && p.part.contains(' '))
                })
            });
            if !acts || self.groups.is_empty() {
                continue;
            }
            let mut factors = self.spreads.medians.clone();
            for (p, weight) in moves {
                if let Some(f) = factors.get_mut(*p) {
                    *f *= weight.exp();
                }
            }
            let reduced = state.reduced(&netlist.scaled(&factors)).netlist;
            let after = reduced.elements.iter().filter_map(|e| match &e.law {
                Law::Rectifiers(group) => Some(group),
                _ => None,
            });
            for ((group, before), law) in self.groups.iter().zip(&sound).zip(after) {
                if law.plates.len() != group.law.plates.len() {
                    continue;
                }
                let now = law.amps_from(&mut group.memory.clone(), &group.at);
                for ((tangent, before), now) in group.tangents.iter().zip(before).zip(now) {
                    if let Some(Law::Source { ohms, .. }) =
                        self.base.elements.get(*tangent).map(|e| &e.law)
                    {
                        all.push((*cause, *tangent, -(now - before) * ohms));
                    }
                }
            }
        }
        self.supply = all;
    }
}

impl Group {
    /// Its whole mains cycle at these volts.
    pub(super) fn cycle(&self, volts: &[f64]) -> Cycle {
        let node = |n: NodeIndex| volts.get(n).copied().unwrap_or(0.0);
        let plates = self.law.plates.iter();
        let across: Vec<f64> = plates.map(|p| node(p.plate) - node(p.cathode)).collect();
        self.law.cycle_from(&mut self.memory.clone(), &across)
    }

    /// Another law, which its line does not hold for.
    pub(super) fn becomes(&mut self, law: Rectifiers) {
        self.law = law;
        self.line = None;
        self.swept = true;
    }

    /// As in a sound amplifier again.
    pub(super) fn put_back(&mut self, sound: &Self) {
        if self.swept {
            self.clone_from(sound);
        } else {
            self.at.clone_from(&sound.at);
        }
    }

    /// Draws the tangents at these volts.
    pub(super) fn draw(&mut self, net: &mut Netlist, volts: &[f64]) {
        let at = |n: NodeIndex| volts.get(n).copied().unwrap_or(0.0);
        let across = self.law.plates.iter().map(|p| at(p.plate) - at(p.cathode));
        let across: Vec<f64> = across.collect();
        let read = self.line.as_ref().and_then(|line| line.read(&across));
        let (amps, slopes) = match read {
            Some(read) => read,
            None => {
                self.swept = true;
                sweep(&self.law, &mut self.memory, &across)
            }
        };
        for (index, tangent) in self.tangents.iter().enumerate() {
            let (Some(v), Some(i), Some(slope)) =
                (across.get(index), amps.get(index), slopes.get(index))
            else {
                continue;
            };
            if let Some(Law::Source { volts, ohms, .. }) =
                net.elements.get_mut(*tangent).map(|e| &mut e.law)
            {
                *ohms = 1.0 / slope.max(1e-9);
                *volts = v - i * *ohms;
            }
        }
        self.at = across;
    }

    /// Have the volts across a plate moved away from its tangent?
    pub(super) fn has_moved(&self, volts: &[f64]) -> bool {
        let node = |n: NodeIndex| volts.get(n).copied().unwrap_or(0.0);
        self.law.plates.iter().zip(&self.at).any(|(p, at)| {
            let now = node(p.plate) - node(p.cathode);
            (now - at).abs() > MOVED_VOLTS + MOVED_PART * now.abs()
        })
    }
}

/// Solves, drawing tangents again where the supply moved.
pub(super) fn settle(
    desk: &mut Desk,
    moved: bool,
    start: &[f64],
    rounds: usize,
) -> Option<Solution> {
    let mut groups = std::mem::take(&mut desk.groups);
    let (solver, net) = desk.solver(moved);
    let mut solution = solver.solve(net, Some(start));
    for _ in 0..rounds {
        if !solution.converged() {
            break;
        }
        let mut drawn = false;
        for group in &mut groups {
            if group.has_moved(&solution.volts) {
                group.draw(net, &solution.volts);
                drawn = true;
            }
        }
        if !drawn {
            break;
        }
        let from = std::mem::take(&mut solution.volts);
        solution = solver.solve(net, Some(&from));
    }
    desk.groups = groups;
    solution.converged().then_some(solution)
}

/// Mean amperes of each plate, and the slope of each where the volts across all of them move
/// together, as those of one filter do.
pub(super) fn sweep(
    law: &Rectifiers,
    memory: &mut CycleMemory,
    across: &[f64],
) -> (Vec<f64>, Vec<f64>) {
    let count = across.len();
    let (mut amps, mut slopes) = (vec![0.0; count], vec![0.0; count * count]);
    law.loose_currents_from(memory, across, &mut amps, &mut slopes);
    let together = (0..count).map(|index| {
        let row = slopes.get(index * count..(index + 1) * count);
        let row = row.unwrap_or_default();
        let own = row.get(index).copied().unwrap_or(0.0).max(0.0);
        row.iter().sum::<f64>().clamp(0.2 * own, 4.0 * own)
    });
    let together = together.collect();
    (amps, together)
}

/// A factor on the current of one plate of a group; true if it is there.
pub(super) fn weaken(groups: &mut [Group], element: usize, by: f64) -> bool {
    let mut found = false;
    for group in groups {
        let mut law = group.law.clone();
        if weaken_plate(&mut law, element, by) {
            group.becomes(law);
            found = true;
        }
    }
    found
}

fn weaken_plate(law: &mut Rectifiers, element: usize, by: f64) -> bool {
    let mut found = false;
    for plate in &mut law.plates {
        if plate.element == element {
            let mut one = Element {
                name: String::new(),
                law: Law::Diode {
                    a: plate.plate,
                    k: plate.cathode,
                    law: plate.law,
                },
            };
            one.scale(Slot::Perveance, by);
            if let Law::Diode { law, .. } = one.law {
                plate.law = law;
                found = true;
            }
        }
    }
    found
}
