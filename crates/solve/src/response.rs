//! How a circuit at its operating point answers a small alternating drive.
//!
//! The netlist that was solved at direct current ([`crate::supply::OperatingPoint::netlist`]) is
//! linearised at that solution: valves, diodes and lamps by their analytic slopes, capacitors,
//! coils and transformers by their admittance at the frequency asked for. Phasors then come
//! from one complex elimination for each frequency. The pattern is compiled once.
//!
//! A rectifier group answers by the slope of its mean currents: exact far below the mains
//! frequency, an approximation above it, where the supply's first capacitor decides anyway.
//! The mains and every generator that isn't the drive are their source resistance. A drive
//! is small by definition: nothing here clips.

use std::f64::consts::TAU;

use crate::equations::{AMPLIFIER_OHMS, BadElement, Equations, FLOOR_SIEMENS, LEAK_SIEMENS};
use crate::linear::{Complex, Factors, Pattern, Scalar, Stamp};
use crate::netlist::{Law, Netlist, NodeIndex, Transformer};
use crate::operating::Solution;

/// Why there is no response.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum ResponseError {
    /// The netlist is no set of equations.
    #[error(transparent)]
    Bad(#[from] BadElement),
    /// The solution belongs to another netlist.
    #[error("the solution has {has} nodes and the netlist {wants}")]
    OtherNetlist {
        /// Nodes of the solution.
        has: usize,
        /// Nodes of the netlist.
        wants: usize,
    },
    /// The frequency isn't a positive, finite number of hertz.
    #[error("{hertz} Hz is no frequency; ask for one above 0")]
    Frequency {
        /// What was asked for.
        hertz: f64,
    },
    /// At this frequency the equations leave an unknown free.
    #[error("the circuit has no single answer at {hertz} Hz")]
    Free {
        /// The frequency.
        hertz: f64,
    },
}

/// What one term of an equation is, before a frequency is chosen. Siemens.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Admittance {
    Real(f64),
    Capacitor { farads: f64, esr_ohms: f64 },
    Coil { henries: f64, ohms: f64 },
    Core { henries: f64 },
}

impl Admittance {
    fn at(self, omega: f64) -> Complex {
        match self {
            Self::Real(siemens) => Complex::real(siemens),
            Self::Capacitor { farads, esr_ohms } => {
                let y = Complex::new(0.0, omega * farads);
                y / (Complex::ONE + y * Complex::real(esr_ohms))
            }
            Self::Coil { henries, ohms } => Complex::ONE / Complex::new(ohms, omega * henries),
            Self::Core { henries } => Complex::ONE / Complex::new(0.0, omega * henries),
        }
    }
}

/// `factor * admittance * (x[plus] - x[minus])` in a row.
#[derive(Debug, Clone, Copy)]
struct Term {
    row: usize,
    plus: Option<usize>,
    minus: Option<usize>,
    admittance: Admittance,
    factor: f64,
}

/// A circuit linearised at its operating point, ready for any frequency.
#[derive(Debug, Clone)]
pub struct SmallSignal {
    nodes: usize,
    pattern: Pattern,
    terms: Vec<(Stamp, Admittance, f64)>,
    /// For each element that can drive: its two ends and its siemens.
    sources: Vec<Option<(NodeIndex, NodeIndex, f64)>>,
}

/// The same at one frequency.
#[derive(Debug, Clone)]
pub struct Response<'a> {
    circuit: &'a SmallSignal,
    factors: Factors<Complex>,
}

impl SmallSignal {
    /// Linearises `netlist` at `solution`, which must be its own.
    ///
    /// # Errors
    /// [`ResponseError::Bad`] when the netlist is no set of equations,
    /// [`ResponseError::OtherNetlist`] when the solution is not its own, and
    /// [`ResponseError::Free`] when some unknown has no equation at any frequency.
    pub fn new(netlist: &Netlist, solution: &Solution) -> Result<Self, ResponseError> {
        // Nodes and numbers are checked where the operating point checks them.
        let wants = Equations::new(netlist)?.nodes;
        let has = solution.volts.len();
        if has != wants {
            return Err(ResponseError::OtherNetlist { has, wants });
        }
        let mut build = Build {
            solution,
            terms: Vec::new(),
            next: wants - 1,
        };
        for node in 1..wants {
            build.siemens(node, 0, FLOOR_SIEMENS);
        }
        for (element, part) in netlist.elements.iter().enumerate() {
            build.element(&part.law, solution.lit.contains(&element));
        }
        let entries: Vec<(usize, usize)> = build
            .terms
            .iter()
            .flat_map(|t| [t.plus, t.minus].into_iter().flatten().map(|c| (t.row, c)))
            .collect();
        let free = ResponseError::Free { hertz: 0.0 };
        let pattern = Pattern::new(build.next, wants - 1, &entries).ok_or(free)?;
        let stamped = |t: &Term| {
            let stamp = pattern.stamp(t.row, t.plus, t.minus)?;
            Some((stamp, t.admittance, t.factor))
        };
        let terms = build.terms.iter().filter_map(stamped).collect();
        let sources = netlist.elements.iter().map(|e| match &e.law {
            Law::Alternating { a, b, ohms, .. } => Some((*a, *b, 1.0 / ohms)),
            Law::Source {
                plus, minus, ohms, ..
            } => Some((*plus, *minus, 1.0 / ohms)),
            _ => None,
        });
        let sources = sources.collect();
        Ok(Self {
            nodes: wants,
            pattern,
            terms,
            sources,
        })
    }

    /// The circuit at `hertz`.
    ///
    /// # Errors
    /// [`ResponseError::Frequency`] unless `hertz` is finite and above 0 (what holds at 0 Hz is
    /// in [`crate::linearised`]), [`ResponseError::Free`] when there is no single answer.
    pub fn at(&self, hertz: f64) -> Result<Response<'_>, ResponseError> {
        if !(hertz > 0.0 && hertz.is_finite()) {
            return Err(ResponseError::Frequency { hertz });
        }
        let omega = TAU * hertz;
        let mut matrix = self.pattern.zeros::<Complex>();
        for (stamp, admittance, factor) in &self.terms {
            stamp.add(&mut matrix, admittance.at(omega) * Complex::real(*factor));
        }
        let mut factors = Factors::new(&self.pattern);
        factors
            .factor(&self.pattern, &matrix)
            .map_err(|_| ResponseError::Free { hertz })?;
        Ok(Response {
            circuit: self,
            factors,
        })
    }
}

impl Response<'_> {
    /// Volts of every node (ground first) per volt, open circuit, of the source or generator
    /// that is element number `source`; all 0 when that element is no source.
    #[must_use]
    pub fn per_volt(&self, source: usize) -> Vec<Complex> {
        match self.circuit.sources.get(source) {
            Some(Some((a, b, siemens))) => self.fed(*a, *b, *siemens),
            _ => vec![Complex::ZERO; self.circuit.nodes],
        }
    }

    /// Volts of every node (ground first) per ampere fed into `into` and taken out at `from`.
    ///
    /// The difference of the two nodes' values is the impedance between them, in ohms.
    #[must_use]
    pub fn per_ampere(&self, into: NodeIndex, from: NodeIndex) -> Vec<Complex> {
        self.fed(into, from, 1.0)
    }

    /// Impedance between two nodes, ohms; that of an output is what loads it included.
    #[must_use]
    pub fn impedance(&self, a: NodeIndex, b: NodeIndex) -> Complex {
        let moved = self.per_ampere(a, b);
        let at = |node: NodeIndex| moved.get(node).copied().unwrap_or_default();
        at(a) - at(b)
    }

    fn fed(&self, into: NodeIndex, from: NodeIndex, amps: f64) -> Vec<Complex> {
        let mut x = vec![Complex::ZERO; self.circuit.pattern.size()];
        for (node, amps) in [(into, amps), (from, -amps)] {
            let inside = node < self.circuit.nodes;
            if let Some(at) = node.checked_sub(1).filter(|_| inside)
                && let Some(x) = x.get_mut(at)
            {
                *x += Complex::real(amps);
            }
        }
        self.factors.solve_beside(&self.circuit.pattern, &mut x);
        let mut by_node = vec![Complex::ZERO];
        by_node.extend(x.into_iter().take(self.circuit.nodes - 1));
        by_node
    }
}

struct Build<'a> {
    solution: &'a Solution,
    terms: Vec<Term>,
    next: usize,
}

/// Unknown number of a node; none for ground.
fn unknown(node: NodeIndex) -> Option<usize> {
    node.checked_sub(1)
}

impl Build<'_> {
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

    fn siemens(&mut self, a: NodeIndex, b: NodeIndex, siemens: f64) {
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

    fn element(&mut self, law: &Law, lit: bool) {
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
        // A whisper of loss keeps a core without windings solvable.
        let loss = if transformer.ohms_per_turn2 > 0.0 {
            1.0 / transformer.ohms_per_turn2
        } else {
            0.0
        };
        self.term(own, own, None, Admittance::Real(loss + 1e-15), 1.0);
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
