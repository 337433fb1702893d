//! Volts AC with no signal: what the mains put on windings and heaters, and what rectifiers leave on
//! the rails behind them.
//!
//! A rectifier's current over a mains cycle is known from the mean volts across it; its harmonics are
//! fed into the circuit linearised at its operating point, valves and all, so that ripple comes out at
//! every node. What gets in by stray fields, heaters and ground loops is not computed: it stands in the
//! least that is told from nothing, and in the spread of points that are no rails.

use super::rectifiers::Group;
use super::{AWAY_OHMS, Desk, Expected, LEAST_AC, Leads, Scene};
use crate::chart::state::State;
use crate::suspects::edit::Edit;
use solve::linear::{Complex, Scalar};
use solve::netlist::{Element, Law, Netlist, NodeIndex, Quantity, RectifierPlate, Slot};
use solve::operating::Solution;
use solve::response::SmallSignal;
use std::f64::consts::SQRT_2;

/// Harmonics of the mains that are summed. What they leave out of a saw-toothed wave on a reservoir is
/// 7 % of its rms where both halves rectify, 4 % where one does (the sum of 1 / n squared).
const HARMONICS: usize = 8;
/// Amperes, peak, below which a harmonic is none.
const LEAST_AMPS: f64 = 1e-8;
/// Volts rms, with no rectifier conducting, from which a winding puts them there.
const WOUND_VOLTS: f64 = 0.5;
/// One sigma of a winding's volts as a meter shows them, as part of them: the mains is no clean sine (ours).
const WOUND_OFF: f64 = 0.015;
/// One sigma of the logarithm of the ripple of a rail: harmonics left out, what its stages draw, and a
/// meter that is no true-rms one (ours).
const RAIL_OFF: f64 = 0.15;
/// The same where no large capacitor holds a point: hum comes in by other ways there, too (ours).
const LOOSE_OFF: f64 = 0.6;
/// Farads from which a capacitor holds a point.
const HOLDS_FARADS: f64 = 1e-6;
/// Volts across a rectifier that moved by less than this part leave its ripple as it is: what it gives
/// follows by some times as much.
const ALIKE_PART: f64 = 0.005;
/// Step of a slope's logarithm.
const NUDGE: f64 = 0.02;

/// What the mains put on the leads of a sound amplifier.
#[derive(Debug, Clone, Default)]
pub(super) struct Alternating {
    leads: Vec<Lead>,
}

#[derive(Debug, Clone, Default)]
struct Lead {
    /// Volts rms of a winding, and with no rectifier conducting, peak; none where there is ripple only.
    wound: Option<(f64, f64)>,
    /// Volts rms that rectifiers leave, where no winding puts any.
    left: f64,
    /// Variance of the logarithm that no cause tells of.
    own: f64,
    slopes: Vec<Slope>,
}

/// How the logarithm follows a cause.
#[derive(Debug, Clone)]
struct Slope {
    cause: usize,
    per_sigma: f64,
    /// The elements that it moves.
    elements: Vec<usize>,
}

/// Harmonics, peak, of the current from one node through a rectifier into another.
struct Spectrum {
    plate: NodeIndex,
    cathode: NodeIndex,
    amps: Vec<Complex>,
}

impl Alternating {
    pub(super) fn keep(&mut self, keep: &[bool]) {
        let mut at = keep.iter();
        self.leads.retain(|_| at.next() == Some(&true));
    }
}

/// Do the mains put volts between two nodes by themselves, with no rectifier conducting?
pub(in crate::suspects) fn is_wound(open: &[Complex], a: NodeIndex, b: NodeIndex) -> bool {
    between(open, a, b) / SQRT_2 > WOUND_VOLTS
}

impl Scene {
    /// The leads of a sound amplifier, with the slopes of what they show.
    pub(super) fn alternating(&self, state: &State) -> Option<Alternating> {
        let netlist = &self.assembly.netlist;
        let open = state.reduced(&netlist.scaled(&self.spreads.medians)).open;
        let mut all = Alternating::default();
        for leads in &self.leads {
            let wound = is_wound(&open, leads.a, leads.b);
            let rms = state.alternating(leads.a, leads.b).filter(|_| wound);
            let held = [leads.a, leads.b].into_iter().all(|n| self.is_held(n));
            let off = match (rms, held) {
                (Some(_), _) => WOUND_OFF,
                (None, true) => RAIL_OFF,
                (None, false) => LOOSE_OFF,
            };
            all.leads.push(Lead {
                wound: rms.map(|v| (v, between(&open, leads.a, leads.b))),
                left: 0.0,
                own: off * off,
                slopes: Vec::new(),
            });
        }
        self.wound_slopes(state, &mut all);
        self.rail_slopes(&mut all)?;
        Some(all)
    }

    /// By mains and windings.
    fn wound_slopes(&self, state: &State, all: &mut Alternating) {
        if all.leads.iter().all(|l| l.wound.is_none()) {
            return;
        }
        let netlist = &self.assembly.netlist;
        for (cause, moves) in &self.spreads.causes {
            let acts = moves.iter().any(|(p, _)| {
                netlist
                    .parameters
                    .get(*p)
                    .is_some_and(|p| matches!(p.quantity, Quantity::Mains | Quantity::Volts))
            });
            if !acts {
                continue;
            }
            let mut factors = self.spreads.medians.clone();
            for (p, weight) in moves {
                if let Some(f) = factors.get_mut(*p) {
                    *f *= weight.exp();
                }
            }
            let after = state.reduced(&netlist.scaled(&factors)).open;
            for (lead, leads) in all.leads.iter_mut().zip(&self.leads) {
                let Some((_, before)) = lead.wound else {
                    continue;
                };
                let per_sigma = (between(&after, leads.a, leads.b) / before).ln();
                if per_sigma.is_finite() && per_sigma.abs() > 1e-6 {
                    lead.slopes.push(Slope {
                        cause: *cause,
                        per_sigma,
                        elements: Vec::new(),
                    });
                }
            }
        }
    }

    /// By filter capacitors, chokes, and the resistors between rails.
    fn rail_slopes(&self, all: &mut Alternating) -> Option<()> {
        if all.leads.iter().all(|l| l.wound.is_some()) {
            return Some(());
        }
        let solution = solve::operating::solve(&self.base, Some(&self.volts));
        let spectra = spectra(&self.groups, &self.volts);
        let mut net = self.base.clone();
        away(&mut net, &self.groups);
        let before = self.left(&net, &solution, &spectra)?;
        for (lead, left) in all.leads.iter_mut().zip(&before) {
            lead.left = *left;
        }
        for (cause, moves) in &self.spreads.causes {
            let mut elements = Vec::new();
            for (p, weight) in moves {
                let parameter = self.assembly.netlist.parameters.get(*p);
                for (element, slot) in parameter.into_iter().flat_map(|p| &p.slots) {
                    if self.filters(*element, *slot)
                        && let Some(e) = net.elements.get_mut(*element)
                    {
                        e.scale(*slot, (weight * NUDGE).exp());
                        elements.push(*element);
                    }
                }
            }
            if elements.is_empty() {
                continue;
            }
            let after = self.left(&net, &solution, &spectra);
            for element in &elements {
                if let (Some(to), Some(from)) = (
                    net.elements.get_mut(*element),
                    self.base.elements.get(*element),
                ) {
                    to.law.clone_from(&from.law);
                }
            }
            for ((lead, before), after) in all.leads.iter_mut().zip(&before).zip(after?) {
                let per_sigma = (after / before).ln() / NUDGE;
                if lead.wound.is_none() && per_sigma.is_finite() {
                    lead.slopes.push(Slope {
                        cause: *cause,
                        per_sigma,
                        elements: elements.clone(),
                    });
                }
            }
        }
        Some(())
    }

    /// Is a number of an element one that filters ripple?
    fn filters(&self, element: usize, slot: Slot) -> bool {
        match (self.base.elements.get(element).map(|e| &e.law), slot) {
            (Some(Law::Capacitor { farads, .. }), Slot::Farads) => *farads >= HOLDS_FARADS,
            (Some(Law::Inductor { .. }), Slot::Henries) => true,
            (Some(Law::Resistor { a, b, .. }), Slot::Ohms) => {
                let inner = |n: &NodeIndex| *n != 0 && self.is_held(*n);
                inner(a) && inner(b)
            }
            _ => false,
        }
    }

    /// Ground, or a node on which a large capacitor hangs.
    fn is_held(&self, node: NodeIndex) -> bool {
        let holds = |e: &Element| {
            matches!(e.law, Law::Capacitor { a, b, farads, .. }
                if farads >= HOLDS_FARADS && (a == node || b == node))
        };
        node == 0 || self.base.elements.iter().any(holds)
    }

    /// Are windings all that is read here, so that nothing needs to be solved?
    pub(in crate::suspects) fn only_wound(&self) -> bool {
        let mut leads = self.mains.iter().flat_map(|m| &m.leads);
        self.mains.is_some() && leads.all(|l| l.wound.is_some())
    }

    /// What rectifiers leave in a changed and solved circuit. The tangents of the desk's rectifiers are
    /// taken away.
    pub(super) fn ripple(
        &self,
        desk: &mut Desk,
        solution: &Solution,
        edits: &[Edit],
    ) -> Option<Vec<f64>> {
        let mains = self.mains.as_ref()?;
        if self.ripples_alike(desk, solution, edits) {
            return Some(mains.leads.iter().map(|l| l.left).collect());
        }
        let spectra = spectra(&desk.groups, &solution.volts);
        away(&mut desk.net, &desk.groups);
        self.left(&desk.net, solution, &spectra)
    }

    /// Are all leads on rails, and neither what their rectifiers give nor what filters it changed to
    /// speak of?
    fn ripples_alike(&self, desk: &Desk, solution: &Solution, edits: &[Edit]) -> bool {
        let mut leads = self.mains.iter().flat_map(|m| &m.leads);
        let on_rails = leads.all(|l| l.wound.is_some() || l.own < 0.5 * LOOSE_OFF * LOOSE_OFF);
        let filters = |element: usize| {
            let slots = [Slot::Farads, Slot::Henries, Slot::Ohms];
            slots.into_iter().any(|slot| self.filters(element, slot))
        };
        let edited = edits.iter().flat_map(Edit::elements).any(filters);
        let mut groups = desk.groups.iter().zip(&self.groups);
        on_rails
            && !edited
            && groups.all(|(group, sound)| {
                let at = |volts: &[f64], n: NodeIndex| volts.get(n).copied().unwrap_or(0.0);
                let across =
                    |volts: &[f64], p: &RectifierPlate| at(volts, p.plate) - at(volts, p.cathode);
                !group.swept
                    && sound.law.plates.iter().all(|p| {
                        let (now, then) = (across(&solution.volts, p), across(&self.volts, p));
                        (now - then).abs() <= ALIKE_PART * then.abs()
                    })
            })
    }

    /// What the leads show; `open` is what the mains put on the nodes where that changed.
    pub(super) fn mains_shown(
        &self,
        left: &[f64],
        open: Option<&[Complex]>,
        edited: &[usize],
        slopes: bool,
    ) -> Option<Expected> {
        let mains = self.mains.as_ref()?;
        let count = self.leads.len();
        let mut out = Expected::with_room(count, if slopes { self.causes } else { 0 });
        for (index, (lead, leads)) in mains.leads.iter().zip(&self.leads).enumerate() {
            let volts = match (lead.wound, open) {
                (Some((rms, before)), Some(open)) => rms * between(open, leads.a, leads.b) / before,
                (Some((rms, _)), None) => rms,
                (None, _) => left.get(index).copied()?,
            };
            let shown = volts.hypot(LEAST_AC);
            out.mean.push(shown.ln());
            out.own.push(lead.own);
            if !slopes {
                continue;
            }
            for slope in &lead.slopes {
                // a part whose value is the fault spreads no more
                let own =
                    slope.elements.len() == 1 && slope.elements.iter().any(|e| edited.contains(e));
                if !own {
                    let value = slope.per_sigma * (volts / shown).powi(2);
                    out.add_slope(index, slope.cause, value, self.causes);
                }
            }
        }
        Some(out)
    }

    /// What rectifiers leave on each pair of leads, volts rms.
    fn left(&self, net: &Netlist, solution: &Solution, spectra: &[Spectrum]) -> Option<Vec<f64>> {
        let hertz = self.assembly.netlist.hertz;
        let circuit = SmallSignal::new(net, solution).ok()?;
        let mut squares = vec![0.0; self.leads.len()];
        for k in 0..HARMONICS {
            let of = |s: &Spectrum| s.amps.get(k).copied().unwrap_or_default();
            let most = spectra
                .iter()
                .fold(0.0, |most, s| f64::max(most, of(s).abs()));
            if most < LEAST_AMPS {
                continue;
            }
            let response = circuit.at((k + 1) as f64 * hertz).ok()?;
            let mut volts = vec![Complex::ZERO; net.nodes.len()];
            for spectrum in spectra {
                let amps = of(spectrum);
                let fed = response.per_ampere(spectrum.cathode, spectrum.plate);
                for (slot, per) in volts.iter_mut().zip(fed) {
                    *slot += per * amps;
                }
            }
            for (square, Leads { a, b, .. }) in squares.iter_mut().zip(&self.leads) {
                *square += 0.5 * between(&volts, *a, *b).powi(2);
            }
        }
        Some(squares.into_iter().map(f64::sqrt).collect())
    }
}

fn between(x: &[Complex], a: NodeIndex, b: NodeIndex) -> f64 {
    let at = |n: NodeIndex| x.get(n).copied().unwrap_or_default();
    (at(a) - at(b)).abs()
}

/// Of every plate, at these volts.
fn spectra(groups: &[Group], volts: &[f64]) -> Vec<Spectrum> {
    let mut all = Vec::new();
    for group in groups {
        let cycle = group.cycle(volts);
        for (d, plate) in group.law.plates.iter().enumerate() {
            let pairs = cycle.harmonics(d, HARMONICS).into_iter();
            all.push(Spectrum {
                plate: plate.plate,
                cathode: plate.cathode,
                amps: pairs.map(|(re, im)| Complex::new(re, im)).collect(),
            });
        }
    }
    all
}

/// What rectifiers carry is fed in, so that nothing stands for them any more.
fn away(net: &mut Netlist, groups: &[Group]) {
    for tangent in groups.iter().flat_map(|g| &g.tangents) {
        if let Some(Law::Source { ohms, .. }) = net.elements.get_mut(*tangent).map(|e| &mut e.law) {
            *ohms = AWAY_OHMS;
        }
    }
}
