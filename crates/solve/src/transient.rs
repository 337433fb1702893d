//! What capacitors do in time while no valve conducts.
//!
//! After the plug is out, or before any cathode is warm, an amplifier is resistances, capacitors
//! and coils. Their volts are followed by a two-stage diagonally implicit Runge-Kutta step
//! (Alexander, SIAM J. Numer. Anal. 14, 1977, from memory, not seen): second order, and stiff
//! parts, such as two capacitors side by side at different volts, settle within a step. Each
//! step has any length; both stages share one factorisation.
//!
//! Sources, rectifiers, diodes, valves and glow lamps are open: nothing feeds the circuit, and
//! nothing but resistance empties it. A winding is its resistance, a filament cold. Pure.
//! Knows no trade: which capacitor matters is for others to say.

use crate::equations::FLOOR_SIEMENS;
use crate::linear::{Factors, Pattern, Stamp};
use crate::netlist::{Law, Netlist, NodeIndex};

/// Share of the step of each stage, `1 - 1/sqrt(2)`: the value for which the method is L-stable.
const STAGE: f64 = 1.0 - std::f64::consts::FRAC_1_SQRT_2;

/// Ohms below which a resistance counts as this, so that none is divided by.
const LEAST_OHMS: f64 = 1e-6;

/// A capacitor or a coil, and where it stands.
#[derive(Debug, Clone)]
struct Store {
    element: usize,
    a: NodeIndex,
    b: NodeIndex,
    sort: Sort,
    /// Volts of a capacitor (without its series resistance), amperes of a coil.
    state: f64,
}

#[derive(Debug, Clone, Copy)]
enum Sort {
    Capacitor { farads: f64, esr_ohms: f64 },
    Coil { henries: f64, ohms: f64 },
}

impl Sort {
    /// For a stage of length `h`: siemens of the branch, and what one unit of the state at the
    /// stage's beginning drives through it, amperes.
    fn branch(self, h: f64) -> (f64, f64) {
        match self {
            Self::Capacitor { farads, esr_ohms } => {
                let siemens = 1.0 / (esr_ohms.max(0.0) + h / farads);
                (siemens, -siemens)
            }
            Self::Coil { henries, ohms } => {
                let below = henries + h * ohms;
                (h / below, henries / below)
            }
        }
    }

    /// How fast the state changes, given the branch's volts, its amperes, and the state.
    fn rate(self, volts: f64, amps: f64) -> f64 {
        match self {
            Self::Capacitor { farads, .. } => amps / farads,
            Self::Coil { henries, ohms } => (volts - ohms * amps) / henries,
        }
    }
}

/// A circuit of resistances, capacitors and coils, at some moment.
#[derive(Debug, Clone)]
pub struct Transient {
    pattern: Pattern,
    factors: Factors<f64>,
    /// Resistances: stamps of both rows, siemens.
    plain: Vec<(Option<Stamp>, Option<Stamp>, f64)>,
    /// Stamps of both rows of each store.
    stamps: Vec<(Option<Stamp>, Option<Stamp>)>,
    stores: Vec<Store>,
    volts: Vec<f64>,
    seconds: f64,
}

impl Transient {
    /// The passive part of `netlist`, all capacitors empty, without the elements in `left_out`.
    ///
    /// None when there is no node besides ground, or an element names one that is not there.
    #[must_use]
    pub fn new(netlist: &Netlist, left_out: &[usize]) -> Option<Self> {
        let nodes = netlist.nodes.len();
        let unknowns = nodes.checked_sub(1).filter(|n| *n > 0)?;
        let mut resistances: Vec<(NodeIndex, NodeIndex, f64)> =
            (1..nodes).map(|n| (n, 0, FLOOR_SIEMENS)).collect();
        let mut stores = Vec::new();
        for (element, part) in netlist.elements.iter().enumerate() {
            if left_out.contains(&element) {
                continue;
            }
            let mut plain = |a: NodeIndex, b: NodeIndex, ohms: f64| {
                resistances.push((a, b, 1.0 / ohms.max(LEAST_OHMS)));
            };
            match &part.law {
                Law::Resistor { a, b, ohms } => plain(*a, *b, *ohms),
                Law::Filament { a, b, law } => plain(*a, *b, law.ohms(0.0)),
                Law::Transformer(t) => {
                    for w in &t.windings {
                        plain(w.a, w.b, w.ohms);
                    }
                }
                Law::Inductor {
                    a,
                    b,
                    henries,
                    ohms,
                } if *henries > 0.0 => stores.push(Store {
                    element,
                    a: *a,
                    b: *b,
                    sort: Sort::Coil {
                        henries: *henries,
                        ohms: ohms.max(0.0),
                    },
                    state: 0.0,
                }),
                Law::Inductor { a, b, ohms, .. } => plain(*a, *b, *ohms),
                Law::Capacitor {
                    a,
                    b,
                    farads,
                    esr_ohms,
                } if *farads > 0.0 => stores.push(Store {
                    element,
                    a: *a,
                    b: *b,
                    sort: Sort::Capacitor {
                        farads: *farads,
                        esr_ohms: *esr_ohms,
                    },
                    state: 0.0,
                }),
                _ => {}
            }
        }
        let ends = resistances.iter().map(|r| (r.0, r.1));
        let ends: Vec<(NodeIndex, NodeIndex)> =
            ends.chain(stores.iter().map(|s| (s.a, s.b))).collect();
        if ends.iter().any(|(a, b)| *a.max(b) >= nodes) {
            return None;
        }
        let row = |n: NodeIndex| n.checked_sub(1);
        let mut entries = Vec::new();
        for (a, b) in &ends {
            for (r, c) in [(*a, *a), (*a, *b), (*b, *a), (*b, *b)] {
                if let (Some(r), Some(c)) = (row(r), row(c)) {
                    entries.push((r, c));
                }
            }
        }
        let pattern = Pattern::new(unknowns, unknowns, &entries)?;
        let stamp = |a: NodeIndex, b: NodeIndex| {
            let one = |from: NodeIndex, to: NodeIndex| {
                (from != to)
                    .then(|| row(from).and_then(|r| pattern.stamp(r, row(from), row(to))))
                    .flatten()
            };
            (one(a, b), one(b, a))
        };
        let plain = resistances
            .iter()
            .map(|(a, b, siemens)| {
                let (first, second) = stamp(*a, *b);
                (first, second, *siemens)
            })
            .collect();
        let stamps = stores.iter().map(|s| stamp(s.a, s.b)).collect();
        Some(Self {
            factors: Factors::new(&pattern),
            pattern,
            plain,
            stamps,
            stores,
            volts: vec![0.0; nodes],
            seconds: 0.0,
        })
    }

    /// Charges a capacitor: volts of its first end over its second. False when no capacitor is
    /// that element.
    pub fn charge(&mut self, element: usize, volts: f64) -> bool {
        let store = self
            .stores
            .iter_mut()
            .find(|s| s.element == element && matches!(s.sort, Sort::Capacitor { .. }));
        match store {
            Some(store) if volts.is_finite() => {
                store.state = volts;
                true
            }
            _ => false,
        }
    }

    /// Elements of the capacitors, in the order of the netlist.
    pub fn capacitors(&self) -> impl Iterator<Item = usize> + '_ {
        self.stores
            .iter()
            .filter(|s| matches!(s.sort, Sort::Capacitor { .. }))
            .map(|s| s.element)
    }

    /// Volts that a capacitor holds, its first end over its second; 0 for anything else.
    #[must_use]
    pub fn held(&self, element: usize) -> f64 {
        self.stores
            .iter()
            .find(|s| s.element == element && matches!(s.sort, Sort::Capacitor { .. }))
            .map_or(0.0, |s| s.state)
    }

    /// Volts of a node against ground at the end of the last step; 0 before the first.
    #[must_use]
    pub fn volts(&self, node: NodeIndex) -> f64 {
        self.volts.get(node).copied().unwrap_or(0.0)
    }

    /// Seconds since the beginning.
    #[must_use]
    pub fn seconds(&self) -> f64 {
        self.seconds
    }

    /// Goes on by `seconds`. False, and nothing moved, when the step is not above 0 or the
    /// equations have no solution.
    pub fn step(&mut self, seconds: f64) -> bool {
        if !(seconds > 0.0 && seconds.is_finite()) {
            return false;
        }
        let h = STAGE * seconds;
        let mut matrix = self.pattern.zeros::<f64>();
        for (first, second, siemens) in &self.plain {
            for stamp in [first, second].into_iter().flatten() {
                stamp.add(&mut matrix, *siemens);
            }
        }
        let branches: Vec<(f64, f64)> = self.stores.iter().map(|s| s.sort.branch(h)).collect();
        for ((first, second), (siemens, _)) in self.stamps.iter().zip(&branches) {
            for stamp in [first, second].into_iter().flatten() {
                stamp.add(&mut matrix, *siemens);
            }
        }
        if self.factors.factor(&self.pattern, &matrix).is_err() {
            return false;
        }
        let begin: Vec<f64> = self.stores.iter().map(|s| s.state).collect();
        let (first, _) = self.stage(&branches, &begin);
        let middle: Vec<f64> = begin
            .iter()
            .zip(&first)
            .map(|(x, rate)| x + (seconds - h) * rate)
            .collect();
        let (second, volts) = self.stage(&branches, &middle);
        for ((store, base), rate) in self.stores.iter_mut().zip(&middle).zip(&second) {
            store.state = base + h * rate;
        }
        self.volts = volts;
        self.seconds += seconds;
        true
    }

    /// Rates of all states and volts of all nodes at the end of a stage that begins at `base`.
    fn stage(&self, branches: &[(f64, f64)], base: &[f64]) -> (Vec<f64>, Vec<f64>) {
        let mut right = vec![0.0; self.pattern.size()];
        for ((store, (_, drive)), state) in self.stores.iter().zip(branches).zip(base) {
            let amps = drive * state;
            for (node, sign) in [(store.a, -1.0), (store.b, 1.0)] {
                if let Some(slot) = node.checked_sub(1).and_then(|n| right.get_mut(n)) {
                    *slot += sign * amps;
                }
            }
        }
        self.factors.solve_beside(&self.pattern, &mut right);
        let mut volts = vec![0.0];
        volts.append(&mut right);
        let across = |a: NodeIndex, b: NodeIndex| {
            volts.get(a).copied().unwrap_or(0.0) - volts.get(b).copied().unwrap_or(0.0)
        };
        let rates = self
            .stores
            .iter()
            .zip(branches)
            .zip(base)
            .map(|((store, (siemens, drive)), state)| {
                let volts = across(store.a, store.b);
                store.sort.rate(volts, siemens * volts + drive * state)
            })
            .collect();
        (rates, volts)
    }
}

#[cfg(test)]
mod tests;
