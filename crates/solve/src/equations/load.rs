//! The numbers of a netlist, in the order in which the equations use them.

use super::{AMPLIFIER_OHMS, BadElement, Equations, FLOOR_SIEMENS, LEAK_SIEMENS, Point};
use crate::device::{DiodeLaw, FilamentLaw, NeonLaw, PentodeLaw, TriodeLaw};
use crate::netlist::{Law, Netlist, Rectifiers};

/// What the numbers of a netlist are multiplied by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Scale {
    pub(crate) emf: f64,
    pub(crate) emission: f64,
}

impl Scale {
    /// The netlist as it is.
    pub(crate) const WHOLE: Self = Self {
        emf: 1.0,
        emission: 1.0,
    };
}

/// A law of two terminals.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum PairLaw {
    Diode(DiodeLaw),
    Filament(FilamentLaw),
    /// A glow lamp, and whether it is lit.
    Neon(NeonLaw, bool),
}

impl PairLaw {
    /// Current at `volts`, and its slope.
    pub(super) fn current(&self, volts: f64) -> (f64, f64) {
        match self {
            Self::Diode(law) => law.current(volts),
            Self::Filament(law) => law.current(volts),
            Self::Neon(law, lit) => law.current(volts, *lit),
        }
    }
}

/// Numbers of one netlist.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Loaded {
    /// The matrix of everything linear.
    pub(super) base: Vec<f64>,
    /// Conductance and emf of each branch.
    pub(super) branches: Vec<(f64, f64)>,
    pub(super) pairs: Vec<PairLaw>,
    pub(super) triodes: Vec<TriodeLaw>,
    pub(super) pentodes: Vec<PentodeLaw>,
    pub(super) groups: Vec<Rectifiers>,
    pub(super) gains: Vec<f64>,
    /// Conductance that holds every node near the volts in `held`; 0 in the circuit itself.
    pub(super) hold_siemens: f64,
    pub(super) held: Vec<f64>,
    /// Elements of the glow lamps that are lit. Loading keeps them.
    pub(crate) lit: Vec<usize>,
    /// The element in hand when a number was impossible.
    bad: Option<usize>,
}

impl Loaded {
    fn branch(&mut self, element: usize, ohms: f64, emf: f64) {
        if !(ohms > 0.0 && emf.is_finite()) {
            self.bad.get_or_insert(element);
        }
        self.branches.push((1.0 / ohms, emf));
    }

    fn numbers(&mut self, element: usize, numbers: &[f64]) {
        if numbers.iter().any(|number| !number.is_finite()) {
            self.bad.get_or_insert(element);
        }
    }
}

impl Equations {
    /// Loads the numbers of `netlist`, which must have this structure; every emf and the
    /// emission of every valve is multiplied by its part of `scale`.
    pub(crate) fn load(
        &self,
        netlist: &Netlist,
        scale: Scale,
        into: &mut Loaded,
    ) -> Result<(), BadElement> {
        into.branches.clear();
        into.pairs.clear();
        into.triodes.clear();
        into.pentodes.clear();
        into.groups.clear();
        into.gains.clear();
        into.bad = None;
        for (element, part) in netlist.elements.iter().enumerate() {
            match &part.law {
                Law::Capacitor { .. } => {}
                Law::Resistor { ohms, .. }
                | Law::Inductor { ohms, .. }
                | Law::Alternating { ohms, .. } => into.branch(element, *ohms, 0.0),
                Law::Source { volts, ohms, .. } => {
                    into.branch(element, *ohms, scale.emf * volts);
                }
                Law::Transformer(transformer) => {
                    for winding in &transformer.windings {
                        into.branch(element, winding.ohms, 0.0);
                    }
                }
                Law::Amplifier { gain, .. } => {
                    into.numbers(element, &[*gain]);
                    into.gains.push(*gain);
                }
                Law::Triode { law, .. } => {
                    into.branch(element, 1.0 / LEAK_SIEMENS, 0.0);
                    into.triodes.push(TriodeLaw {
                        k: scale.emission * law.k,
                        ..*law
                    });
                }
                Law::Pentode { law, .. } => {
                    into.branch(element, 1.0 / LEAK_SIEMENS, 0.0);
                    into.pentodes.push(PentodeLaw {
                        k: scale.emission * law.k,
                        ..*law
                    });
                }
                Law::Diode { law, .. } => into.pairs.push(PairLaw::Diode(*law)),
                Law::Filament { law, .. } => into.pairs.push(PairLaw::Filament(*law)),
                Law::Neon { law, .. } => {
                    let lit = into.lit.contains(&element);
                    into.pairs.push(PairLaw::Neon(*law, lit));
                }
                Law::Rectifiers(group) => {
                    let mut group = group.clone();
                    for plate in &mut group.plates {
                        plate.emf_peak *= scale.emf;
                    }
                    into.groups.push(group);
                }
            }
        }
        if let Some(element) = into.bad {
            return Err(BadElement { element });
        }
        into.hold_siemens = 0.0;
        self.assemble(into);
        Ok(())
    }

    /// Holds every node near the volts in `held` (by the indices of a point) through `siemens`.
    pub(crate) fn hold(&self, loaded: &mut Loaded, siemens: f64, held: &[f64]) {
        loaded.hold_siemens = siemens;
        loaded.held.clear();
        loaded.held.extend_from_slice(held);
        self.assemble(loaded);
    }

    /// Makes the matrix of everything linear.
    fn assemble(&self, into: &mut Loaded) {
        into.base.clear();
        into.base.resize(self.pattern.len(), 0.0);
        for floor in &self.floors {
            floor.add(&mut into.base, FLOOR_SIEMENS + into.hold_siemens);
        }
        for (branch, &(siemens, _)) in self.branches.iter().zip(&into.branches) {
            branch.stamps[0].add(&mut into.base, siemens);
            branch.stamps[1].add(&mut into.base, siemens);
        }
        for (follower, &gain) in self.followers.iter().zip(&into.gains) {
            let [current, output, input, own] = &follower.stamps;
            current.add(&mut into.base, 1.0);
            output.add(&mut into.base, 1.0);
            input.add(&mut into.base, gain);
            own.add(&mut into.base, AMPLIFIER_OHMS);
        }
    }

    /// Strikes and puts out glow lamps by the volts of `point`; true if one changed.
    pub(crate) fn strike(&self, loaded: &mut Loaded, point: &Point) -> bool {
        let mut changed = false;
        loaded.lit.clear();
        for (pair, law) in self.pairs.iter().zip(&mut loaded.pairs) {
            if let PairLaw::Neon(law, lit) = law {
                let was = *lit;
                *lit = law.lit_after(point.across(pair.a, pair.b), was);
                changed |= was != *lit;
                if *lit {
                    loaded.lit.push(pair.element);
                }
            }
        }
        changed
    }

    /// How many glow lamps there are.
    pub(crate) fn lamps(&self) -> usize {
        self.lamps
    }
}
