//! A netlist as equations in time.
//!
//! Unknowns: volts of the nodes, one current for each ideal amplifier, volts per turn of each
//! core. What remembers is a [`Store`]: a capacitor its volts, a coil, a winding or a core its
//! amperes. Over one stage of a step every store is a conductance and a current source, so a
//! stage is a resistive circuit.

use super::TimeError;
use super::cathodes::{Warming, at_emission};
use super::devices::Bent;
pub(super) use super::parts::{Emf, Four, Mean, Pair, PairLaw, Source, Three};
use super::stores::{Sort, Store};
use super::terms::{Build, Placed};
use crate::device::{DiodeLaw, RectifierLaw};
use crate::equations::{AMPLIFIER_OHMS, BadElement, Equations, FLOOR_SIEMENS, LEAK_SIEMENS};
use crate::equations::{Loaded, Scale};
use crate::linear::{Pattern, Stamp};
use crate::netlist::{Law, Netlist, Rectifiers};
use crate::operating::Solution;

/// Where averaged rectifiers and filaments stand.
#[derive(Clone, Copy)]
pub(super) enum Basis<'a> {
    /// Filaments are cold; there are no averaged rectifiers.
    Nothing,
    Solution(&'a Solution),
    /// As before.
    Before(&'a Moving),
}

/// A circuit as equations in time.
#[derive(Debug, Clone)]
pub(super) struct Moving {
    /// Nodes, ground included.
    pub(super) nodes: usize,
    pub(super) pattern: Pattern,
    /// What no step changes.
    pub(super) still: Vec<(Stamp, f64)>,
    pub(super) sources: Vec<Source>,
    pub(super) stores: Vec<Store>,
    /// All that bends.
    pub(super) bent: Bent,
    pub(super) means: Vec<Mean>,
    /// Filaments, and the ohms they are held at.
    pub(super) filaments: Vec<(usize, f64)>,
    /// The unknown that is an element's alone (volts per turn, amperes of an amplifier), by element; 0 for none.
    pub(super) own: Vec<usize>,
}

fn usable(law: &Law) -> bool {
    let some = |value: f64| value.is_finite() && value >= 0.0;
    match law {
        Law::Capacitor {
            farads, esr_ohms, ..
        } => some(*farads) && some(*esr_ohms),
        Law::Inductor { henries, .. } => some(*henries),
        Law::Alternating { volts, hertz, .. } => volts.is_finite() && hertz.is_finite(),
        Law::Transformer(t) => {
            let inside = |w: &crate::netlist::WindingPort| w.turns.is_finite() && some(w.leakage);
            t.windings.iter().all(inside) && !t.henries_per_turn2.is_nan()
        }
        _ => true,
    }
}

impl Moving {
    /// Compiles `netlist`.
    pub(super) fn new(netlist: &Netlist, basis: Basis<'_>) -> Result<Self, TimeError> {
        let equations = Equations::new(netlist)?;
        equations.load(netlist, Scale::WHOLE, &mut Loaded::default())?;
        let nodes = equations.nodes;
        let mut build = Build::default();
        for node in 1..nodes {
            build.siemens(node, 0, FLOOR_SIEMENS);
        }
        let mut made = Self {
            nodes,
            pattern: equations.pattern,
            still: Vec::new(),
            sources: Vec::new(),
            stores: Vec::new(),
            bent: Bent::default(),
            means: Vec::new(),
            filaments: Vec::new(),
            own: vec![0; netlist.elements.len()],
        };
        let mut next = nodes;
        let mut weak = Vec::new();
        for (element, part) in netlist.elements.iter().enumerate() {
            if !usable(&part.law) {
                return Err(BadElement { element }.into());
            }
            match &part.law {
                Law::Amplifier {
                    input,
                    output,
                    gain,
                } => {
                    made.own[element] = next;
                    weak.push(next - 1);
                    build.term(*output, next, 0, 1.0);
                    build.term(next, *output, 0, 1.0);
                    build.term(next, *input, 0, -gain);
                    build.term(next, next, 0, -AMPLIFIER_OHMS);
                    next += 1;
                }
                Law::Transformer(transformer) => {
                    made.own[element] = next;
                    build.transformer(element, transformer, next);
                    next += 1;
                }
                law => made.simple(&mut build, element, law, basis)?,
            }
        }
        let size = next - 1;
        // what the devices touch comes last, so that all else is eliminated once for each step length
        let bent = netlist.elements.iter().filter(|e| {
            matches!(
                e.law,
                Law::Triode { .. } | Law::Pentode { .. } | Law::Diode { .. } | Law::Neon { .. }
            )
        });
        let touched = bent.flat_map(|e| e.law.terminals());
        let late: Vec<usize> = touched.filter_map(|node| node.checked_sub(1)).collect();
        // no device at all: everything is early, ground alone is late
        let late = if late.is_empty() { vec![size] } else { late };
        made.pattern = Pattern::with_late(size, nodes - 1, &build.entries, &weak, &late)
            .ok_or(TimeError::Free { seconds: 0.0 })?;
        made.finish(netlist, build);
        Ok(made)
    }

    /// Elements without an unknown of their own.
    fn simple(
        &mut self,
        build: &mut Build,
        element: usize,
        law: &Law,
        basis: Basis<'_>,
    ) -> Result<(), TimeError> {
        let store = |plus: usize, minus: usize, sort: Sort| Placed {
            plus,
            minus,
            core: 0,
            turns: 0.0,
            sort,
        };
        match law {
            Law::Resistor { a, b, ohms } => build.siemens(*a, *b, 1.0 / ohms),
            Law::Filament { a, b, law } => {
                let before = match basis {
                    Basis::Nothing => None,
                    Basis::Solution(solution) => Some(law.ohms(solution.across(*a, *b))),
                    Basis::Before(moving) => moving.filament_ohms(element),
                };
                let ohms = before.unwrap_or_else(|| law.ohms(0.0)).max(1e-6);
                self.filaments.push((element, ohms));
                build.siemens(*a, *b, 1.0 / ohms);
            }
            Law::Capacitor {
                a,
                b,
                farads,
                esr_ohms,
            } => {
                if *farads > 0.0 && a != b {
                    let (farads, esr_ohms) = (*farads, *esr_ohms);
                    build.store(element, store(*a, *b, Sort::Capacitor { farads, esr_ohms }));
                }
            }
            Law::Inductor {
                a,
                b,
                henries,
                ohms,
            } => {
                if *henries > 0.0 && a != b {
                    let (henries, ohms) = (*henries, *ohms);
                    build.store(element, store(*a, *b, Sort::Coil { henries, ohms }));
                } else {
                    build.siemens(*a, *b, 1.0 / ohms);
                }
            }
            Law::Source {
                plus,
                minus,
                volts,
                ohms,
            } => self.source(build, element, (*plus, *minus), *ohms, Emf::Steady(*volts)),
            Law::Alternating {
                a,
                b,
                volts,
                hertz,
                ohms,
                ..
            } => {
                let peak = std::f64::consts::SQRT_2 * volts;
                let hertz = *hertz;
                self.source(build, element, (*a, *b), *ohms, Emf::Sine { peak, hertz });
            }
            Law::Triode { plate, cathode, .. } | Law::Pentode { plate, cathode, .. } => {
                build.siemens(*plate, *cathode, LEAK_SIEMENS);
                let all = law.terminals();
                build.mesh(&all, &all);
            }
            Law::Diode { .. } | Law::Neon { .. } => {
                let all = law.terminals();
                build.mesh(&all, &all);
            }
            Law::Rectifiers(group) => {
                match basis {
                    Basis::Nothing => return Err(TimeError::Averaged { element }),
                    Basis::Solution(solution) => self.group(element, group, solution),
                    Basis::Before(moving) => {
                        let own = moving.means.iter().filter(|mean| mean.element == element);
                        self.means.extend(own.cloned());
                    }
                }
                for mean in self.means.iter().filter(|mean| mean.element == element) {
                    for &(p, k, slope) in &mean.slopes {
                        build.term(mean.plate, p, k, slope);
                        build.term(mean.cathode, p, k, -slope);
                    }
                }
            }
            Law::Amplifier { .. } | Law::Transformer(_) => {}
        }
        Ok(())
    }

    /// How the cathode of an element warms; none for an element without one.
    pub(super) fn cathode_mut(&mut self, element: usize) -> Option<&mut Option<Warming>> {
        let pairs = self.bent.pairs.iter_mut().filter(|pair| {
            let heated = |law: &DiodeLaw| matches!(law.forward, RectifierLaw::Valve(_));
            matches!(&pair.law, PairLaw::Diode(law) if heated(law))
        });
        let pairs = pairs.map(|pair| (pair.element, &mut pair.warming));
        let threes = self.bent.threes.iter_mut();
        let threes = threes.map(|three| (three.element, &mut three.warming));
        let fours = self.bent.fours.iter_mut();
        let fours = fours.map(|four| (four.element, &mut four.warming));
        let mut all = pairs.chain(threes).chain(fours);
        let found = all.find(|(own, _)| *own == element);
        found.map(|(_, warming)| warming)
    }

    /// The law of an element whose cathode is not hot for good, as warm as at that moment.
    pub(super) fn law_at(&self, element: usize, law: &Law, seconds: f64) -> Option<Law> {
        let own = |at: usize| at == element;
        let pair = self.bent.pairs.iter().find(|pair| own(pair.element));
        let three = self.bent.threes.iter().find(|three| own(three.element));
        let four = self.bent.fours.iter().find(|four| own(four.element));
        let warming = pair
            .and_then(|pair| pair.warming)
            .or(three.and_then(|three| three.warming))
            .or(four.and_then(|four| four.warming));
        let part = warming?.part(seconds);
        let mut law = law.clone();
        match &mut law {
            Law::Triode { law, .. } => law.k *= part,
            Law::Pentode { law, .. } => law.k *= part,
            Law::Diode { law, .. } => *law = at_emission(*law, part),
            _ => {}
        }
        Some(law)
    }

    /// Takes over how warm the cathodes of the same circuit are.
    pub(super) fn keep_heat(&mut self, before: &Self) {
        for (new, old) in self.bent.pairs.iter_mut().zip(&before.bent.pairs) {
            new.warming = old.warming;
        }
        for (new, old) in self.bent.threes.iter_mut().zip(&before.bent.threes) {
            new.warming = old.warming;
        }
        for (new, old) in self.bent.fours.iter_mut().zip(&before.bent.fours) {
            new.warming = old.warming;
        }
    }

    /// Does any cathode warm or cool, or has it?
    pub(super) fn warms(&self) -> bool {
        self.bent.pairs.iter().any(|pair| pair.warming.is_some())
            || self.bent.threes.iter().any(|three| three.warming.is_some())
            || self.bent.fours.iter().any(|four| four.warming.is_some())
    }

    /// The slowest step that still follows the cathodes.
    pub(super) fn pace(&self, seconds: f64) -> f64 {
        let pairs = self.bent.pairs.iter().filter_map(|pair| pair.warming);
        let threes = self.bent.threes.iter().filter_map(|three| three.warming);
        let fours = self.bent.fours.iter().filter_map(|four| four.warming);
        let all = pairs.chain(threes).chain(fours);
        all.fold(f64::INFINITY, |pace, warming| {
            pace.min(warming.pace(seconds))
        })
    }

    /// Ohms that a filament is held at.
    pub(super) fn filament_ohms(&self, element: usize) -> Option<f64> {
        let found = self.filaments.iter().find(|(at, _)| *at == element);
        found.map(|(_, ohms)| *ohms)
    }

    fn source(
        &mut self,
        build: &mut Build,
        element: usize,
        ends: (usize, usize),
        ohms: f64,
        emf: Emf,
    ) {
        build.siemens(ends.0, ends.1, 1.0 / ohms);
        self.sources.push(Source {
            element,
            a: ends.0,
            b: ends.1,
            siemens: 1.0 / ohms,
            emf,
        });
    }

    /// A rectifier group as the straight line through its means.
    fn group(&mut self, element: usize, group: &Rectifiers, at: &Solution) {
        let ends: Vec<(usize, usize)> = group.plates.iter().map(|p| (p.plate, p.cathode)).collect();
        let volts: Vec<f64> = ends.iter().map(|&(p, k)| at.across(p, k)).collect();
        let mut amps = vec![0.0; ends.len()];
        let mut slopes = vec![0.0; ends.len() * ends.len()];
        // The operating point has judged this cycle already.
        let _solved =
            group.mean_currents_from(&mut at.cycle_of(group), &volts, &mut amps, &mut slopes);
        for ((row, &(plate, cathode)), amps) in ends.iter().enumerate().zip(amps) {
            let mut mean = Mean {
                element,
                plate,
                cathode,
                amps,
                slopes: Vec::new(),
            };
            let along = slopes.iter().skip(row * ends.len());
            for ((&(p, k), &volts), &slope) in ends.iter().zip(&volts).zip(along) {
                mean.amps -= slope * volts;
                mean.slopes.push((p, k, slope));
            }
            self.means.push(mean);
        }
    }

    /// Turns terms into stamps, now that the pattern is known.
    fn finish(&mut self, netlist: &Netlist, build: Build) {
        let pattern = &self.pattern;
        let stamp = |row: usize, plus: usize, minus: usize| {
            row.checked_sub(1)
                .and_then(|row| pattern.stamp(row, plus.checked_sub(1), minus.checked_sub(1)))
                .unwrap_or_else(|| pattern.nowhere())
        };
        self.still = build
            .terms
            .iter()
            .map(|&(row, plus, minus, value)| (stamp(row, plus, minus), value))
            .collect();
        for (element, placed) in build.stores {
            let (a, b, u) = (placed.plus, placed.minus, placed.core);
            let stamps = vec![
                (stamp(a, a, b), 1.0),
                (stamp(b, b, a), 1.0),
                (stamp(a, u, 0), -placed.turns),
                (stamp(b, u, 0), placed.turns),
                (stamp(u, a, b), -placed.turns),
                (stamp(u, u, 0), placed.turns * placed.turns),
            ];
            let used = if u == 0 { 2 } else { 6 };
            self.stores.push(Store {
                element,
                plus: a,
                minus: b,
                core: u,
                turns: placed.turns,
                sort: placed.sort,
                stamps: stamps.into_iter().take(used).collect(),
            });
        }
        for (element, part) in netlist.elements.iter().enumerate() {
            let pair = |a: usize, b: usize, law: PairLaw| Pair {
                element,
                a,
                b,
                stamps: [stamp(a, a, b), stamp(b, b, a)],
                law,
                lit: false,
                warming: None,
            };
            match &part.law {
                Law::Diode { a, k, law } => {
                    self.bent.pairs.push(pair(*a, *k, PairLaw::Diode(*law)))
                }
                Law::Neon { a, b, law } => self.bent.pairs.push(pair(*a, *b, PairLaw::Neon(*law))),
                Law::Triode {
                    plate,
                    grid,
                    cathode,
                    law,
                } => {
                    let (p, g, k) = (*plate, *grid, *cathode);
                    self.bent.threes.push(Three {
                        element,
                        nodes: [p, g, k],
                        stamps: [p, g, k].map(|row| [stamp(row, p, k), stamp(row, g, k)]),
                        law: *law,
                        warming: None,
                    });
                }
                Law::Pentode {
                    plate,
                    screen,
                    grid,
                    cathode,
                    law,
                } => {
                    let (p, s, g, k) = (*plate, *screen, *grid, *cathode);
                    let by = [p, s, g];
                    self.bent.fours.push(Four {
                        element,
                        nodes: [p, s, g, k],
                        stamps: [p, s, g, k].map(|row| by.map(|over| stamp(row, over, k))),
                        law: *law,
                        warming: None,
                    });
                }
                _ => {}
            }
        }
        self.bent.put_abreast();
    }
}
