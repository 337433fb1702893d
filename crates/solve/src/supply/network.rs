//! The linear network around the rectifiers, as equations.
//!
//! Resistors, capacitors, coils and transformers of a [`Netlist`], either as phasors at one
//! frequency or at one instant, with chosen capacitors and coils held as sources (their
//! states). Diodes are open but for their leak; valves are open: the ripple and the mains
//! hum they pass are small beside what flows in the supply. Unknowns are node voltages (node
//! `n` has number `n - 1`), then volts per turn of each transformer, output amperes of each
//! ideal amplifier, and amperes of each capacitor held as a source.

use crate::linear::{Complex, Factors, Pattern, Scalar, Single};
use crate::netlist::{Law, Netlist, NodeIndex};
use std::sync::Arc;

/// Conductance from every node to ground, so that islands have an answer. Far below any leak.
const FLOOR_SIEMENS: f64 = 1e-13;
/// Leak of a diode at mains frequency before more is known of it: that of a fraction of a
/// picofarad across it.
const DIODE_SIEMENS: f64 = 1e-10;
/// What stands for a capacitor that is a short for the ripple, besides its series resistance.
const SHORT_OHMS: f64 = 1e-3;

/// Something that stores energy: an element, and within a transformer which part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Reactance {
    pub(super) element: usize,
    pub(super) part: Part,
}

/// Which part of an element stores.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Part {
    /// The capacitor.
    Capacitor,
    /// The coil.
    Coil,
    /// The core of a transformer.
    Core,
    /// The leakage of the winding of this index.
    Leakage(usize),
}

/// How a reactance is taken at one instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Held {
    /// As a source of its state.
    State,
    /// Capacitor: a short. Coil: its resistance. Leakage: none.
    Short,
    /// Open. (A core that is open takes no magnetising current.)
    Open,
}

/// One term of an equation: `coefficient * (x[plus] - x[minus])` in a row.
struct Term<S> {
    row: usize,
    plus: Option<usize>,
    minus: Option<usize>,
    value: S,
}

/// Patterns of networks, kept so that a circuit of the same structure need not find them again.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Plans {
    known: Vec<Arc<Plan>>,
}

/// Patterns that are kept: one circuit has one for phasors and one for each group.
const MOST_PLANS: usize = 8;

#[derive(Debug, PartialEq)]
struct Plan {
    size: usize,
    nodes: usize,
    entries: Vec<(usize, usize)>,
    pattern: Pattern,
}

impl Plans {
    fn find(
        &mut self,
        size: usize,
        nodes: usize,
        entries: Vec<(usize, usize)>,
    ) -> Option<Arc<Plan>> {
        let same = |p: &&Arc<Plan>| (p.size, p.nodes) == (size, nodes) && p.entries == entries;
        if let Some(plan) = self.known.iter().find(same) {
            return Some(Arc::clone(plan));
        }
        let plan = Arc::new(Plan {
            pattern: Pattern::new(size, nodes, &entries)?,
            size,
            nodes,
            entries,
        });
        if self.known.len() == MOST_PLANS {
            self.known.remove(0);
        }
        self.known.push(Arc::clone(&plan));
        Some(plan)
    }
}

/// The equations, factored.
pub(super) struct Network<S: Single> {
    plan: Arc<Plan>,
    factors: Factors<S>,
    size: usize,
    /// Unknown that belongs to an element: volts per turn, amplifier or capacitor amperes.
    extra: Vec<Option<usize>>,
}

/// Unknown number of a node.
fn unknown(node: NodeIndex) -> Option<usize> {
    node.checked_sub(1)
}

/// All reactances of a netlist, in the order of its elements.
pub(super) fn reactances(netlist: &Netlist) -> Vec<Reactance> {
    let mut out = Vec::new();
    for (element, e) in netlist.elements.iter().enumerate() {
        match &e.law {
            Law::Capacitor { farads, .. } if *farads > 0.0 => out.push(Reactance {
                element,
                part: Part::Capacitor,
            }),
            Law::Inductor { henries, .. } if *henries > 0.0 => out.push(Reactance {
                element,
                part: Part::Coil,
            }),
            Law::Transformer(t) => {
                if t.henries_per_turn2.is_finite() && t.henries_per_turn2 > 0.0 {
                    out.push(Reactance {
                        element,
                        part: Part::Core,
                    });
                }
                for (w, winding) in t.windings.iter().enumerate() {
                    if winding.leakage > 0.0 {
                        out.push(Reactance {
                            element,
                            part: Part::Leakage(w),
                        });
                    }
                }
            }
            _ => {}
        }
    }
    out
}

/// What a network is asked to be: the admittances of its reactances.
pub(super) trait Kind<S: Single> {
    /// Admittance of a capacitor; `None` when it is held as a source.
    fn capacitor(&self, at: Reactance, farads: f64, esr: f64) -> Option<S>;
    /// Admittance of a coil with its resistance; `None` when it is held as a source.
    fn coil(&self, at: Reactance, henries: f64, ohms: f64) -> Option<S>;
    /// Admittance of the core for one turn, without its losses.
    fn core(&self, at: Reactance, henries: f64) -> S;
    /// Ohms to use in place of an element's (a filament that mains current heats).
    fn ohms(&self, element: usize) -> Option<f64>;
    /// Siemens of a diode that is open, besides its leak.
    fn open_diode(&self, element: usize) -> Option<f64>;
}

/// Phasors at an angular frequency.
pub(super) struct AtFrequency<'a> {
    pub(super) omega: f64,
    pub(super) lamps: &'a [(usize, f64)],
    /// Siemens of open diodes.
    pub(super) leaks: &'a [(usize, f64)],
}

impl Kind<Complex> for AtFrequency<'_> {
    fn capacitor(&self, _: Reactance, farads: f64, esr: f64) -> Option<Complex> {
        let y = Complex::new(0.0, self.omega * farads);
        Some(y / (Complex::ONE + y * Complex::real(esr)))
    }
    fn coil(&self, _: Reactance, henries: f64, ohms: f64) -> Option<Complex> {
        Some(Complex::ONE / Complex::new(ohms.max(1e-6), self.omega * henries))
    }
    fn core(&self, _: Reactance, henries: f64) -> Complex {
        Complex::ONE / Complex::new(0.0, self.omega * henries)
    }
    fn ohms(&self, element: usize) -> Option<f64> {
        listed(self.lamps, element)
    }
    fn open_diode(&self, element: usize) -> Option<f64> {
        listed(self.leaks, element)
    }
}

/// One instant, reactances held as listed (sorted; those not listed are open, a leakage short).
pub(super) struct AtInstant<'a> {
    pub(super) held: &'a [(Reactance, Held)],
    pub(super) lamps: &'a [(usize, f64)],
    /// Siemens of open diodes.
    pub(super) leaks: &'a [(usize, f64)],
}

impl AtInstant<'_> {
    fn held(&self, at: Reactance) -> Option<Held> {
        self.held
            .binary_search_by_key(&at, |(r, _)| *r)
            .ok()
            .and_then(|i| self.held.get(i))
            .map(|(_, h)| *h)
    }
}

impl Kind<f64> for AtInstant<'_> {
    fn capacitor(&self, at: Reactance, _: f64, esr: f64) -> Option<f64> {
        match self.held(at) {
            Some(Held::State) => None,
            Some(Held::Short) => Some(1.0 / (esr + SHORT_OHMS)),
            Some(Held::Open) | None => Some(0.0),
        }
    }
    fn coil(&self, at: Reactance, _: f64, ohms: f64) -> Option<f64> {
        match self.held(at) {
            Some(Held::State) => None,
            Some(Held::Open) => Some(0.0),
            // A leakage that is not listed has no inductance at all.
            Some(Held::Short) => Some(1.0 / ohms.max(1e-6)),
            None => Some(match at.part {
                Part::Leakage(_) => 1.0 / ohms.max(1e-6),
                _ => 0.0,
            }),
        }
    }
    fn core(&self, _: Reactance, _: f64) -> f64 {
        0.0
    }
    fn ohms(&self, element: usize) -> Option<f64> {
        listed(self.lamps, element)
    }
    fn open_diode(&self, element: usize) -> Option<f64> {
        listed(self.leaks, element)
    }
}

fn listed(list: &[(usize, f64)], element: usize) -> Option<f64> {
    list.iter().find(|(e, _)| *e == element).map(|(_, r)| *r)
}

impl<S: Single> Network<S> {
    /// Builds and factors the equations. `esr_floor` is the least series resistance of a
    /// capacitor held as a source, per farad-inverse: ohms times farads.
    pub(super) fn new(
        netlist: &Netlist,
        kind: &impl Kind<S>,
        esr_floor: f64,
        plans: &mut Plans,
    ) -> Option<Self> {
        let nodes = netlist.nodes.len().saturating_sub(1);
        let mut build = Build {
            terms: Vec::new(),
            next: nodes,
            extra: vec![None; netlist.elements.len()],
        };
        for node in 0..nodes {
            build.conductance(node + 1, 0, S::real(FLOOR_SIEMENS));
        }
        for (index, element) in netlist.elements.iter().enumerate() {
            build.element(index, &element.law, kind, esr_floor);
        }
        let size = build.next;
        let mut entries = Vec::with_capacity(2 * build.terms.len());
        for term in &build.terms {
            for column in [term.plus, term.minus].into_iter().flatten() {
                entries.push((term.row, column));
            }
        }
        let plan = plans.find(size, nodes, entries)?;
        let pattern = &plan.pattern;
        let mut values = pattern.zeros::<S>();
        for term in &build.terms {
            if let Some(stamp) = pattern.stamp(term.row, term.plus, term.minus) {
                stamp.add(&mut values, term.value);
            }
        }
        let mut factors = Factors::new(pattern);
        factors.factor(pattern, &values).ok()?;
        Some(Network {
            plan,
            factors,
            size,
            extra: build.extra,
        })
    }

    /// Noughts, one for each unknown.
    pub(super) fn blank(&self) -> Vec<S> {
        vec![S::ZERO; self.size]
    }

    /// Puts the answer in the place of what is injected.
    pub(super) fn solve(&mut self, b: &mut [S]) {
        self.factors.solve(&self.plan.pattern, b);
    }

    /// The unknown that belongs to an element.
    pub(super) fn extra(&self, element: usize) -> Option<usize> {
        self.extra.get(element).copied().flatten()
    }
}

/// Adds a current that flows from `from` to `to` outside the network's own elements.
pub(super) fn draw<S: Single>(b: &mut [S], from: NodeIndex, to: NodeIndex, amps: S) {
    if let Some(x) = unknown(from).and_then(|u| b.get_mut(u)) {
        *x -= amps;
    }
    if let Some(x) = unknown(to).and_then(|u| b.get_mut(u)) {
        *x += amps;
    }
}

/// Volts between two nodes of a solution.
pub(super) fn between<S: Single>(x: &[S], a: NodeIndex, b: NodeIndex) -> S {
    let volts = |node| {
        unknown(node)
            .and_then(|u| x.get(u))
            .copied()
            .unwrap_or(S::ZERO)
    };
    volts(a) - volts(b)
}

struct Build<S> {
    terms: Vec<Term<S>>,
    next: usize,
    extra: Vec<Option<usize>>,
}

impl<S: Single> Build<S> {
    fn term(&mut self, row: Option<usize>, plus: Option<usize>, minus: Option<usize>, value: S) {
        if let Some(row) = row {
            self.terms.push(Term {
                row,
                plus,
                minus,
                value,
            });
        }
    }

    fn conductance(&mut self, a: NodeIndex, b: NodeIndex, value: S) {
        if a == b {
            return;
        }
        let (a, b) = (unknown(a), unknown(b));
        self.term(a, a, b, value);
        self.term(b, b, a, value);
    }

    fn element(&mut self, index: usize, law: &Law, kind: &impl Kind<S>, esr_floor: f64) {
        let resistance = |ohms: f64| S::real(1.0 / kind.ohms(index).unwrap_or(ohms).max(1e-6));
        match law {
            Law::Resistor { a, b, ohms } => self.conductance(*a, *b, resistance(*ohms)),
            Law::Source {
                plus, minus, ohms, ..
            } => self.conductance(*plus, *minus, resistance(*ohms)),
            Law::Alternating { a, b, ohms, .. } => self.conductance(*a, *b, resistance(*ohms)),
            Law::Filament { a, b, law } => {
                let hot = law.volts / law.amps.max(1e-9);
                self.conductance(*a, *b, resistance(hot * law.cold));
            }
            Law::Capacitor {
                a,
                b,
                farads,
                esr_ohms,
            } => {
                let at = Reactance {
                    element: index,
                    part: Part::Capacitor,
                };
                match kind.capacitor(at, *farads, *esr_ohms) {
                    Some(y) => self.conductance(*a, *b, y),
                    None => {
                        let own = Some(self.next);
                        self.extra[index] = own;
                        self.next += 1;
                        let (a, b) = (unknown(*a), unknown(*b));
                        self.term(a, own, None, S::ONE);
                        self.term(b, own, None, -S::ONE);
                        self.term(own, a, b, S::ONE);
                        let esr = esr_ohms.max(esr_floor / farads);
                        self.term(own, own, None, -S::real(esr));
                    }
                }
            }
            Law::Inductor {
                a,
                b,
                henries,
                ohms,
            } => {
                let at = Reactance {
                    element: index,
                    part: Part::Coil,
                };
                if let Some(y) = kind.coil(at, *henries, *ohms) {
                    self.conductance(*a, *b, y);
                }
            }
            Law::Transformer(t) => {
                let own = Some(self.next);
                self.extra[index] = own;
                self.next += 1;
                let core = Reactance {
                    element: index,
                    part: Part::Core,
                };
                let loss = if t.ohms_per_turn2 > 0.0 {
                    1.0 / t.ohms_per_turn2
                } else {
                    0.0
                };
                // A whisper of loss keeps a transformer without windings from being singular.
                let mut total = S::real(loss + 1e-12);
                if t.henries_per_turn2 > 0.0 && t.henries_per_turn2.is_finite() {
                    total += kind.core(core, t.henries_per_turn2);
                }
                for (w, winding) in t.windings.iter().enumerate() {
                    let at = Reactance {
                        element: index,
                        part: Part::Leakage(w),
                    };
                    let Some(y) = kind.coil(at, winding.leakage, winding.ohms) else {
                        continue;
                    };
                    let ny = y * S::real(winding.turns);
                    let (a, b) = (unknown(winding.a), unknown(winding.b));
                    self.conductance(winding.a, winding.b, y);
                    self.term(a, own, None, -ny);
                    self.term(b, own, None, ny);
                    self.term(own, a, b, -ny);
                    total += ny * S::real(winding.turns);
                }
                self.term(own, own, None, total);
            }
            Law::Amplifier {
                input,
                output,
                gain,
            } => {
                let own = Some(self.next);
                self.extra[index] = own;
                self.next += 1;
                self.term(unknown(*output), own, None, S::ONE);
                self.term(own, unknown(*output), None, S::ONE);
                self.term(own, unknown(*input), None, -S::real(*gain));
                if *output == 0 {
                    self.term(own, own, None, S::ONE);
                }
            }
            Law::Diode { a, k, law } => {
                let siemens = kind.open_diode(index).unwrap_or(DIODE_SIEMENS);
                self.conductance(*a, *k, S::real(law.leak.max(siemens)));
            }
            Law::Triode { .. } | Law::Pentode { .. } | Law::Neon { .. } | Law::Rectifiers(_) => {}
        }
    }
}
