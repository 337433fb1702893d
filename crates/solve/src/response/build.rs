//! Every element as terms of admittance at an operating point.

use super::{Admittance, Term, unknown};
use crate::equations::{AMPLIFIER_OHMS, LEAK_SIEMENS};
use crate::netlist::{Law, NodeIndex, Transformer};
use crate::operating::Solution;

/// The terms while they grow.
pub(super) struct Build<'a> {
    solution: &'a Solution,
    pub(super) terms: Vec<Term>,
    /// Number of the next unknown that is no node.
    pub(super) next: usize,
    element: usize,
}

impl<'a> Build<'a> {
    pub(super) fn new(solution: &'a Solution, next: usize) -> Self {
        Self {
            solution,
            terms: Vec::new(),
            next,
            element: usize::MAX,
        }
    }

    /// A term in the row of an unknown; nothing in the row of ground.
    fn term(
        &mut self,
        row: Option<usize>,
        plus: Option<usize>,
        minus: Option<usize>,
        admittance: Admittance,
        factor: f64,
    ) {
        if let Some(row) = row {
            self.terms.push(Term {
                element: self.element,
                row,
                plus,
                minus,
                admittance,
                factor,
            });
        }
    }

    fn between(&mut self, a: NodeIndex, b: NodeIndex, admittance: Admittance) {
        if a != b {
            self.slope((a, b), (a, b), admittance);
        }
    }

    pub(super) fn siemens(&mut self, a: NodeIndex, b: NodeIndex, siemens: f64) {
        self.between(a, b, Admittance::Real(siemens));
    }

    /// A current from the first node to the second, by the volts of the third over the fourth.
    fn slope(
        &mut self,
        through: (NodeIndex, NodeIndex),
        by: (NodeIndex, NodeIndex),
        slope: Admittance,
    ) {
        let (plus, minus) = (unknown(by.0), unknown(by.1));
        self.term(unknown(through.0), plus, minus, slope, 1.0);
        self.term(unknown(through.1), plus, minus, slope, -1.0);
    }

    /// Adds the terms of one element.
    pub(super) fn element(&mut self, element: usize, law: &Law) {
        self.element = element;
        let lit = self.solution.lit.contains(&element);
        let across = |a: NodeIndex, b: NodeIndex| self.solution.across(a, b);
        match law {
            Law::Resistor { a, b, ohms }
            | Law::Alternating { a, b, ohms, .. }
            | Law::Source {
                plus: a,
                minus: b,
                ohms,
                ..
            } => self.siemens(*a, *b, 1.0 / ohms),
            Law::Capacitor {
                a,
                b,
                farads,
                esr_ohms,
            } => {
                let (farads, esr_ohms) = (*farads, *esr_ohms);
                self.between(*a, *b, Admittance::Capacitor { farads, esr_ohms });
            }
            Law::Inductor {
                a,
                b,
                henries,
                ohms,
            } => {
                let (henries, ohms) = (*henries, *ohms);
                self.between(*a, *b, Admittance::Coil { henries, ohms });
            }
            Law::Transformer(transformer) => self.transformer(transformer),
            Law::Amplifier {
                input,
                output,
                gain,
            } => {
                let own = Some(self.next);
                self.next += 1;
                let one = Admittance::Real(1.0);
                self.term(unknown(*output), own, None, one, 1.0);
                self.term(own, unknown(*output), None, one, 1.0);
                self.term(own, unknown(*input), None, one, -gain);
                self.term(own, own, None, one, -AMPLIFIER_OHMS);
            }
            Law::Diode { a, k, law } => {
                let (_, slope) = law.current(across(*a, *k));
                self.siemens(*a, *k, slope);
            }
            Law::Filament { a, b, law } => {
                // Its heat does not follow a signal: ohms as they stand.
                let volts = across(*a, *b);
                self.siemens(*a, *b, 1.0 / law.ohms(volts.abs()).max(1e-6));
            }
            Law::Neon { a, b, law } => {
                let (_, slope) = law.current(across(*a, *b), lit);
                self.siemens(*a, *b, slope);
            }
            Law::Triode {
                plate,
                grid,
                cathode,
                law,
            } => {
                let (p, g, k) = (*plate, *grid, *cathode);
                let at = law.currents(across(p, k), across(g, k));
                self.siemens(p, k, LEAK_SIEMENS);
                for (end, by_plate, by_grid) in [
                    (p, at.plate_by_plate, at.plate_by_grid),
                    (g, at.grid_by_plate, at.grid_by_grid),
                ] {
                    self.slope((end, k), (p, k), Admittance::Real(by_plate));
                    self.slope((end, k), (g, k), Admittance::Real(by_grid));
                }
            }
            Law::Pentode {
                plate,
                screen,
                grid,
                cathode,
                law,
            } => {
                let (p, s, g, k) = (*plate, *screen, *grid, *cathode);
                let at = law.currents(across(p, k), across(s, k), across(g, k));
                self.siemens(p, k, LEAK_SIEMENS);
                for (end, current) in [(p, at.plate), (s, at.screen), (g, at.grid)] {
                    self.slope((end, k), (p, k), Admittance::Real(current.by_plate));
                    self.slope((end, k), (s, k), Admittance::Real(current.by_screen));
                    self.slope((end, k), (g, k), Admittance::Real(current.by_grid));
                }
            }
            Law::Rectifiers(group) => {
                let ends: Vec<(NodeIndex, NodeIndex)> =
                    group.plates.iter().map(|p| (p.plate, p.cathode)).collect();
                let volts: Vec<f64> = ends.iter().map(|&(p, k)| across(p, k)).collect();
                let mut amps = vec![0.0; ends.len()];
                let mut slopes = vec![0.0; ends.len() * ends.len()];
                // The operating point has judged this cycle already.
                let cycle = &mut self.solution.cycle_of(group);
                let _solved = group.mean_currents_from(cycle, &volts, &mut amps, &mut slopes);
                let pairs = ends.iter().flat_map(|a| ends.iter().map(move |b| (*a, *b)));
                for ((through, by), slope) in pairs.zip(slopes) {
                    self.slope(through, by, Admittance::Real(slope));
                }
            }
        }
    }

    /// Windings tied by the volts per turn they share, which is one more unknown.
    fn transformer(&mut self, transformer: &Transformer) {
        let own = Some(self.next);
        self.next += 1;
        let loss = core_loss(transformer);
        self.term(own, own, None, Admittance::Real(loss), 1.0);
        let henries = transformer.henries_per_turn2;
        if henries > 0.0 && henries.is_finite() {
            self.term(own, own, None, Admittance::Core { henries }, 1.0);
        }
        for winding in &transformer.windings {
            let y = Admittance::Coil {
                henries: winding.leakage,
                ohms: winding.ohms,
            };
            let (a, b) = (unknown(winding.a), unknown(winding.b));
            self.between(winding.a, winding.b, y);
            self.term(a, own, None, y, -winding.turns);
            self.term(b, own, None, y, winding.turns);
            self.term(own, a, b, y, -winding.turns);
            self.term(own, own, None, y, winding.turns * winding.turns);
        }
    }
}

/// Siemens of the core's loss for one turn, with a whisper that keeps a core without windings
/// solvable.
pub(super) fn core_loss(transformer: &Transformer) -> f64 {
    let loss = if transformer.ohms_per_turn2 > 0.0 {
        1.0 / transformer.ohms_per_turn2
    } else {
        0.0
    };
    loss + 1e-15
}
