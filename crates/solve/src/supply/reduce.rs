//! From diodes and alternating sources to rectifier groups.
//!
//! With all diodes open, the phasors of the mains say which diodes an alternating emf drives.
//! Those that share a source or a filter form a group. What a group sees of the network is
//! taken at one instant: resistances between its diodes, and the capacitors and coils that
//! matter at the ripple frequencies as states; all others are a short or open, whichever they
//! are nearer to. Centre-tapped, bridge, doubling, back-bias and bias supplies need no case
//! of their own. Knows equations only; it refuses to guess what a diode is for.

use super::network::{
    AtFrequency, AtInstant, Held, Network, Part, Reactance, between, draw, reactances,
};
use super::{Note, matrix};
use crate::device::{DiodeLaw, RectifierLaw};
use crate::linear::{Complex, Scalar};
use crate::netlist::{
    CYCLE_STEPS, Element, Law, Netlist, NodeIndex, RectifierPlate, Rectifiers, Store,
};
use std::f64::consts::{SQRT_2, TAU};

/// A diode is driven when its emf is more than this part of the mains.
const LEAST_EMF: f64 = 1e-4;
/// Impedance, ohms, that two diodes must share to be in one group.
const LEAST_SHARED: f64 = 1e-2;
/// A reactance is a state of its group when it stores more than this part of the apparent
/// power that a diode's current exchanges with the network, at the mains frequency or twice it.
const LEAST_PART: f64 = 3e-3;
/// An open diode leaks this part of what the impedance before it would pass: enough to settle
/// how a winding stands that floats between two diodes of a bridge, too little to see.
const OPEN_PART: f64 = 1e-5;
/// States of one group.
const MOST_STORES: usize = 8;

/// A netlist whose driven diodes are rectifier groups.
#[derive(Debug, Clone, PartialEq)]
pub struct Reduced {
    /// The netlist for the direct-current solution. Elements keep their index; a driven diode
    /// is its leak, a lamp that mains current heats is a resistor, and the groups come last.
    pub netlist: Netlist,
    /// Indices of the groups' elements.
    pub groups: Vec<usize>,
    /// Peak phasor of each node at mains frequency with all driven diodes open.
    pub open: Vec<Complex>,
    /// What is approximate or left out.
    pub notes: Vec<Note>,
}

/// Replaces driven diodes by rectifier groups.
///
/// `lamps` are elements, mostly filaments, whose ohms are given from outside: element index
/// and ohms. A netlist without mains comes back as it is.
pub fn reduce(netlist: &Netlist, lamps: &[(usize, f64)]) -> Reduced {
    reduce_seen(netlist, lamps).0
}

/// The same, with the phasor solutions it was made from; none without mains.
pub(super) fn reduce_seen(netlist: &Netlist, lamps: &[(usize, f64)]) -> (Reduced, Option<See>) {
    let mut out = Reduced {
        netlist: netlist.clone(),
        groups: Vec::new(),
        open: vec![Complex::ZERO; netlist.nodes.len()],
        notes: Vec::new(),
    };
    for (element, ohms) in lamps {
        if let Some(e) = out.netlist.elements.get_mut(*element)
            && let Some((a, b)) = two_ends(&e.law)
        {
            e.law = Law::Resistor {
                a,
                b,
                ohms: ohms.max(1e-6),
            };
        }
    }
    let mains = sources(netlist);
    if mains.is_empty() || netlist.hertz.is_nan() || netlist.hertz <= 0.0 {
        return (out, None);
    }
    // With the mains at 0 V the structure is found at 1 V, and the emfs are 0.
    let greatest = mains.iter().fold(0.0_f64, |v, s| v.max(s.2.abs()));
    let unit = if greatest > 0.0 { None } else { Some(1.0) };
    let mut leaks = Vec::new();
    let mut seen = None;
    for round in 0..2 {
        let Some(found) = See::new(netlist, &mains, unit, lamps, &leaks) else {
            out.notes.push(Note::new(
                "mains",
                "the alternating volts could not be solved, so no rectifier is driven",
            ));
            return (out, None);
        };
        if round == 0 {
            leaks = found.leaks();
        }
        seen = Some(found);
    }
    let Some(mut seen) = seen else {
        return (out, None);
    };
    let See {
        x,
        driven,
        first: (z1, x1, first),
        second: (z2, x2, second),
        ..
    } = &mut seen;
    let (driven, z1, x1, z2, x2) = (&*driven, &*z1, &*x1, &*z2, &*x2);
    let omega = TAU * netlist.hertz;
    let scale = if greatest > 0.0 { 1.0 } else { 0.0 };
    for (node, slot) in out.open.iter_mut().enumerate() {
        *slot = between(x, node, 0) * Complex::real(scale);
    }
    for e in &netlist.elements {
        match &e.law {
            Law::Triode {
                plate,
                grid,
                cathode,
                ..
            }
            | Law::Pentode {
                plate,
                grid,
                cathode,
                ..
            } => {
                let seen = between(x, *plate, *cathode).abs().max(
                    // A grid rectifies from much smaller volts than a plate does.
                    20.0 * between(x, *grid, *cathode).abs(),
                ) * scale;
                if seen > 10.0 {
                    out.notes.push(Note::new(
                        &e.name,
                        "mains volts reach it; what it rectifies of them is left out",
                    ));
                }
            }
            _ => {}
        }
    }
    for members in groups(z1, driven.len()) {
        let mut finder = Finder {
            netlist,
            lamps,
            leaks: &leaks,
            driven,
            members: &members,
            scale,
        };
        let mut chosen = finder.choose(
            omega,
            [(z1, x1, &mut *first, 1.0), (z2, x2, &mut *second, 2.0)],
        );
        if chosen.left_out > 3.0 * LEAST_PART {
            out.notes.push(Note::new(
                &driven
                    .get(members[0])
                    .and_then(|d| netlist.elements.get(d.element))
                    .map_or_else(String::new, |e| e.name.clone()),
                "more capacitors and coils share its ripple than are followed; its volts are approximate",
            ));
        }
        match finder.group(&mut chosen.held, z1) {
            Some(group) => {
                for plate in &group.plates {
                    if let Some(e) = netlist.elements.get(plate.element)
                        && matches!(&e.law, Law::Diode { law, .. } if *law != plate.law)
                    {
                        out.notes.push(Note::new(
                            &e.name,
                            "an ideal diode of a bridge is taken as silicon",
                        ));
                    }
                }
                for d in members.iter().filter_map(|d| driven.get(*d)) {
                    if let Some(e) = out.netlist.elements.get_mut(d.element) {
                        e.law = Law::Resistor {
                            a: d.plate,
                            b: d.cathode,
                            // A diode without a stated leak gets one far above any insulation.
                            ohms: 1.0 / d.law.leak.max(1e-13),
                        };
                    }
                }
                let name = driven
                    .get(members[0])
                    .and_then(|d| netlist.elements.get(d.element))
                    .map_or_else(String::new, |e| format!("{} rectifier", e.name));
                out.groups.push(out.netlist.elements.len());
                out.netlist.elements.push(Element {
                    name,
                    law: Law::Rectifiers(group),
                });
            }
            None => {
                for d in members.iter().filter_map(|d| driven.get(*d)) {
                    out.notes.push(Note::new(
                        &netlist
                            .elements
                            .get(d.element)
                            .map_or_else(String::new, |e| e.name.clone()),
                        "its supply could not be reduced, so it is taken as not driven",
                    ));
                }
            }
        }
    }
    seen.scale = scale;
    (out, Some(seen))
}

/// A diode with an alternating emf.
pub(super) struct Driven {
    pub(super) element: usize,
    plate: NodeIndex,
    cathode: NodeIndex,
    law: DiodeLaw,
    /// Peak phasor; with no mains, that of 1 V of mains.
    emf: Complex,
}

/// Impedances between driven diodes, the solutions for one ampere through each, the network.
pub(super) type Impedances = (Vec<Vec<Complex>>, Vec<Vec<Complex>>, Network<Complex>);

/// The network as phasors see it with all diodes open.
pub(super) struct See {
    /// Solution for the mains alone, peak phasors; with no mains volts, for 1 V of mains.
    pub(super) x: Vec<Complex>,
    /// What to multiply it with: 0 with no mains volts, else 1.
    pub(super) scale: f64,
    pub(super) driven: Vec<Driven>,
    /// At the mains frequency.
    pub(super) first: Impedances,
    /// At twice that.
    pub(super) second: Impedances,
}

impl See {
    /// `unit`, if given, stands in the place of the mains volts.
    fn new(
        netlist: &Netlist,
        mains: &[(NodeIndex, NodeIndex, f64, f64)],
        unit: Option<f64>,
        lamps: &[(usize, f64)],
        leaks: &[(usize, f64)],
    ) -> Option<Self> {
        let phasors = |times: f64| {
            let kind = AtFrequency {
                omega: TAU * netlist.hertz * times,
                lamps,
                leaks,
            };
            Network::<Complex>::new(netlist, &kind, 0.0)
        };
        let mut first = phasors(1.0)?;
        let mut x = first.blank();
        let mut reference = 0.0_f64;
        for (a, b, volts, ohms) in mains {
            let peak = unit.unwrap_or(*volts) * SQRT_2;
            reference = reference.max(peak.abs());
            draw(&mut x, *b, *a, Complex::real(peak / ohms.max(1e-6)));
        }
        first.solve(&mut x);
        let mut driven = Vec::new();
        for (element, e) in netlist.elements.iter().enumerate() {
            if let Law::Diode { a, k, law } = &e.law {
                let emf = between(&x, *a, *k);
                if a != k && alive(law) && emf.abs() > LEAST_EMF * reference {
                    driven.push(Driven {
                        element,
                        plate: *a,
                        cathode: *k,
                        law: *law,
                        emf,
                    });
                }
            }
        }
        let impedance = |mut network: Network<Complex>| -> Impedances {
            let mut answers = Vec::with_capacity(driven.len());
            for d in &driven {
                let mut b = network.blank();
                draw(&mut b, d.plate, d.cathode, Complex::ONE);
                network.solve(&mut b);
                answers.push(b);
            }
            let z = driven
                .iter()
                .map(|d| {
                    answers
                        .iter()
                        .map(|x| -between(x, d.plate, d.cathode))
                        .collect()
                })
                .collect();
            (z, answers, network)
        };
        let first = impedance(first);
        let second = impedance(phasors(2.0)?);
        Some(See {
            x,
            scale: 1.0,
            driven,
            first,
            second,
        })
    }

    /// What each driven diode may leak when open.
    fn leaks(&self) -> Vec<(usize, f64)> {
        let all: Vec<usize> = (0..self.driven.len()).collect();
        let admittance = admittances(&self.first.0, &all);
        self.driven
            .iter()
            .enumerate()
            .map(|(d, driven)| {
                let passes = admittance
                    .as_ref()
                    .and_then(|y| y.get(d * (all.len() + 1)))
                    .map_or(0.0, |y| y.abs());
                (driven.element, (OPEN_PART * passes).clamp(1e-13, 1e-6))
            })
            .collect()
    }
}

/// Inverse of the impedances between some diodes with an ohm in each (so that two diodes in
/// parallel are no contradiction): amperes through the row's for a volt across the column's.
fn admittances(z: &[Vec<Complex>], members: &[usize]) -> Option<Vec<Complex>> {
    let m = members.len();
    let mut a: Vec<Complex> = Vec::with_capacity(m * m);
    for d in members {
        a.extend(members.iter().map(|e| z[*d][*e]));
    }
    let mut b = vec![Complex::ZERO; m * m];
    for r in 0..m {
        a[r * m + r] += Complex::ONE;
        b[r * m + r] = Complex::ONE;
    }
    matrix::solve(&mut a, &mut b, m, m).then_some(b)
}

/// What stands for a diode of a bridge on a floating winding. With ideal diodes a millivolt on
/// the winding shifts all the current from one side to the other, and the point is not found;
/// silicon has a knee that is wide enough.
fn rounded(law: RectifierLaw) -> RectifierLaw {
    match law {
        RectifierLaw::Ideal { .. } => RectifierLaw::SILICON,
        other => other,
    }
}

/// Can it conduct at all?
fn alive(law: &DiodeLaw) -> bool {
    match law.forward {
        RectifierLaw::Valve(perveance) => perveance > 0.0,
        RectifierLaw::Junction { ohms, .. } | RectifierLaw::Ideal { ohms } => ohms.is_finite(),
    }
}

/// Both ends of an element that is a resistance for mains current.
pub(super) fn two_ends(law: &Law) -> Option<(NodeIndex, NodeIndex)> {
    match law {
        Law::Resistor { a, b, .. } | Law::Filament { a, b, .. } => Some((*a, *b)),
        _ => None,
    }
}

/// Mains sources: ends, volts rms, ohms.
pub(super) fn sources(netlist: &Netlist) -> Vec<(NodeIndex, NodeIndex, f64, f64)> {
    netlist
        .elements
        .iter()
        .filter_map(|e| match &e.law {
            Law::Alternating {
                a,
                b,
                volts,
                ohms,
                mains: true,
                ..
            } => Some((*a, *b, *volts, *ohms)),
            _ => None,
        })
        .collect()
}

/// Sets of diodes that share impedance, each in ascending order.
fn groups(z: &[Vec<Complex>], count: usize) -> Vec<Vec<usize>> {
    let mut label: Vec<usize> = (0..count).collect();
    for d in 0..count {
        for e in d + 1..count {
            let shared = z[d][e].abs().max(z[e][d].abs());
            if shared > LEAST_SHARED && label[d] != label[e] {
                let (keep, drop) = (label[d].min(label[e]), label[d].max(label[e]));
                for l in &mut label {
                    if *l == drop {
                        *l = keep;
                    }
                }
            }
        }
    }
    (0..count)
        .map(|g| (0..count).filter(|d| label[*d] == g).collect::<Vec<_>>())
        .filter(|members| !members.is_empty())
        .collect()
}

/// How every reactance is taken, and the greatest part that no state was left for.
struct Chosen {
    held: Vec<(Reactance, Held)>,
    left_out: f64,
}

/// Impedances, solutions for one ampere through each diode, network, and harmonic.
type At<'n> = (
    &'n Vec<Vec<Complex>>,
    &'n Vec<Vec<Complex>>,
    &'n mut Network<Complex>,
    f64,
);

struct Finder<'a> {
    netlist: &'a Netlist,
    lamps: &'a [(usize, f64)],
    leaks: &'a [(usize, f64)],
    /// 0 with no mains, else 1.
    scale: f64,
    driven: &'a [Driven],
    members: &'a [usize],
}

impl Finder<'_> {
    /// Decides how each reactance is taken.
    fn choose(&mut self, omega: f64, at: [At<'_>; 2]) -> Chosen {
        let list = reactances(self.netlist);
        let mut part = vec![0.0_f64; list.len()];
        let mut takes = vec![0.0_f64; list.len()];
        for (z, answers, network, times) in at {
            let omega = omega * times;
            for pattern in self.patterns(z) {
                let mut x = network.blank();
                for (d, amps) in self.members.iter().zip(&pattern.0) {
                    if let Some(answer) = answers.get(*d) {
                        for (slot, v) in x.iter_mut().zip(answer) {
                            *slot += *v * *amps;
                        }
                    }
                }
                for (r, slot) in list.iter().zip(&mut part) {
                    let (volts, amps) = self.branch(*r, &x, network, omega);
                    *slot = slot.max(volts.abs() * amps.abs() / pattern.1);
                }
            }
            if times > 1.0 {
                continue;
            }
            // The part of a current drawn at its own ends that the reactance itself takes.
            for ((r, part), takes) in list.iter().zip(&part).zip(&mut takes) {
                if *part > 1e-7 && *part <= LEAST_PART {
                    let mut x = network.blank();
                    if let Some((a, b)) = self.ends(*r) {
                        draw(&mut x, a, b, Complex::ONE);
                        network.solve(&mut x);
                        *takes = self.branch(*r, &x, network, omega).1.abs();
                    }
                }
            }
        }
        let mut ranked: Vec<usize> = (0..list.len()).filter(|i| part[*i] > LEAST_PART).collect();
        ranked.sort_by(|a, b| part[*b].total_cmp(&part[*a]).then(a.cmp(b)));
        let left_out = ranked.get(MOST_STORES).map_or(0.0, |i| part[*i]);
        ranked.truncate(MOST_STORES);
        let held = list
            .iter()
            .enumerate()
            .map(|(i, r)| {
                let held = if ranked.contains(&i) {
                    Held::State
                } else if matches!(r.part, Part::Leakage(_)) || takes[i] > 0.5 {
                    Held::Short
                } else {
                    Held::Open
                };
                (*r, held)
            })
            .collect();
        Chosen { held, left_out }
    }

    /// Ways in which the group's currents can flow, each with the apparent power it takes: one
    /// diode alone, and what volts across one diode drive with all others conducting.
    fn patterns(&self, z: &[Vec<Complex>]) -> Vec<(Vec<Complex>, f64)> {
        let m = self.members.len();
        let mut out = Vec::new();
        for (r, d) in self.members.iter().enumerate() {
            let own = z[*d][*d].abs();
            // A diode whose current has no way back alone says nothing.
            if own < 1e6 && own > 0.0 {
                let mut amps = vec![Complex::ZERO; m];
                amps[r] = Complex::ONE;
                out.push((amps, own));
            }
        }
        if m > 1
            && let Some(y) = admittances(z, self.members)
        {
            for c in 0..m {
                let amps: Vec<Complex> = (0..m).map(|r| y[r * m + c]).collect();
                let power = amps[c].abs();
                if power > 0.0 {
                    out.push((amps, power));
                }
            }
        }
        out
    }

    /// Has a diode's current no way back but through other diodes?
    fn floats(&self, z: &[Vec<Complex>], admittance: &[Complex], index: usize) -> bool {
        let m = self.members.len();
        let place = self.members.iter().position(|d| *d == index);
        let passes = place.and_then(|r| admittance.get(r * (m + 1)));
        let own = z.get(index).and_then(|row| row.get(index));
        match (own, passes) {
            (Some(own), Some(passes)) => own.abs() * passes.abs() > 1e3,
            _ => false,
        }
    }

    fn ends(&self, r: Reactance) -> Option<(NodeIndex, NodeIndex)> {
        match &self.netlist.elements.get(r.element)?.law {
            Law::Capacitor { a, b, .. } | Law::Inductor { a, b, .. } => Some((*a, *b)),
            _ => None,
        }
    }

    /// Volts across a reactance and amperes through it in a phasor solution.
    fn branch(
        &self,
        r: Reactance,
        x: &[Complex],
        network: &Network<Complex>,
        omega: f64,
    ) -> (Complex, Complex) {
        let none = (Complex::ZERO, Complex::ZERO);
        let Some(element) = self.netlist.elements.get(r.element) else {
            return none;
        };
        let turn = || {
            network
                .extra(r.element)
                .and_then(|u| x.get(u))
                .copied()
                .unwrap_or(Complex::ZERO)
        };
        match (&element.law, r.part) {
            (
                Law::Capacitor {
                    a,
                    b,
                    farads,
                    esr_ohms,
                },
                _,
            ) => {
                let y = Complex::new(0.0, omega * farads);
                let amps = between(x, *a, *b) * y / (Complex::ONE + y * Complex::real(*esr_ohms));
                (amps / y, amps)
            }
            (
                Law::Inductor {
                    a,
                    b,
                    henries,
                    ohms,
                },
                _,
            ) => {
                let reactance = Complex::new(0.0, omega * henries);
                let amps = between(x, *a, *b) / (reactance + Complex::real(ohms.max(1e-6)));
                (amps * reactance, amps)
            }
            (Law::Transformer(t), Part::Core) => {
                let volts = turn();
                (
                    volts,
                    volts / Complex::new(0.0, omega * t.henries_per_turn2),
                )
            }
            (Law::Transformer(t), Part::Leakage(w)) => {
                let Some(winding) = t.windings.get(w) else {
                    return none;
                };
                let reactance = Complex::new(0.0, omega * winding.leakage);
                let volts =
                    between(x, winding.a, winding.b) - turn() * Complex::real(winding.turns);
                let amps = volts / (reactance + Complex::real(winding.ohms.max(1e-6)));
                (amps * reactance, amps)
            }
            _ => none,
        }
    }

    /// The group's equations, from one-instant solutions of the network.
    fn group(&mut self, held: &mut [(Reactance, Held)], z: &[Vec<Complex>]) -> Option<Rectifiers> {
        let admittance = admittances(z, self.members);
        let states: Vec<Reactance> = held
            .iter()
            .filter(|(_, h)| *h == Held::State)
            .map(|(r, _)| *r)
            .collect();
        let hertz = self.netlist.hertz;
        // A thousandth of a step is the shortest time constant two capacitors may share.
        let esr_floor = 1e-3 / (hertz * CYCLE_STEPS as f64);
        let mut network = Network::<f64>::new(
            self.netlist,
            &AtInstant {
                held,
                lamps: self.lamps,
                leaks: self.leaks,
            },
            esr_floor,
        )?;
        let mut plates = Vec::new();
        let mut columns: Vec<Vec<f64>> = Vec::new();
        for (index, d) in self
            .members
            .iter()
            .filter_map(|d| Some((*d, self.driven.get(*d)?)))
        {
            let floating = admittance
                .as_ref()
                .is_some_and(|y| self.floats(z, y, index));
            plates.push(RectifierPlate {
                element: d.element,
                plate: d.plate,
                cathode: d.cathode,
                law: DiodeLaw {
                    forward: if floating {
                        rounded(d.law.forward)
                    } else {
                        d.law.forward
                    },
                    ..d.law
                },
                emf_peak: d.emf.abs() * self.scale,
                phase: d.emf.angle(),
            });
            let mut b = network.blank();
            draw(&mut b, d.plate, d.cathode, 1.0);
            network.solve(&mut b);
            columns.push(b);
        }
        let m = plates.len();
        for state in &states {
            let mut b = network.blank();
            self.excite(*state, &network, &mut b)?;
            network.solve(&mut b);
            columns.push(b);
        }
        let ohms = plates
            .iter()
            .map(|d| {
                columns[..m]
                    .iter()
                    .map(|x| -between(x, d.plate, d.cathode))
                    .collect()
            })
            .collect();
        let mut stores = Vec::new();
        for (s, state) in states.iter().enumerate() {
            let mut rate = |column: usize| {
                let own = if column == m + s { 1.0 } else { 0.0 };
                self.rate(*state, &network, columns.get(column)?, own)
            };
            let charge = (0..m).map(&mut rate).collect::<Option<Vec<f64>>>()?;
            let rates = (m..m + states.len())
                .map(&mut rate)
                .collect::<Option<Vec<f64>>>()?;
            stores.push(Store {
                element: state.element,
                rates,
                charge,
                reach: plates
                    .iter()
                    .map(|d| -between(&columns[m + s], d.plate, d.cathode))
                    .collect(),
            });
        }
        let group = Rectifiers {
            plates,
            ohms,
            stores,
            hertz,
        };
        group.is_finite().then_some(group)
    }

    /// Sets one state to 1.
    fn excite(&self, state: Reactance, network: &Network<f64>, b: &mut [f64]) -> Option<()> {
        match (&self.netlist.elements.get(state.element)?.law, state.part) {
            (Law::Capacitor { .. }, _) => *b.get_mut(network.extra(state.element)?)? = 1.0,
            (Law::Inductor { a, b: to, .. }, _) => draw(b, *a, *to, 1.0),
            (Law::Transformer(_), Part::Core) => *b.get_mut(network.extra(state.element)?)? -= 1.0,
            (Law::Transformer(t), Part::Leakage(w)) => {
                let winding = t.windings.get(w)?;
                draw(b, winding.a, winding.b, 1.0);
                *b.get_mut(network.extra(state.element)?)? += winding.turns;
            }
            _ => return None,
        }
        Some(())
    }

    /// How fast a state changes in a solution in which it stands at `own`.
    fn rate(&self, state: Reactance, network: &Network<f64>, x: &[f64], own: f64) -> Option<f64> {
        let extra = || network.extra(state.element).and_then(|u| x.get(u)).copied();
        match (&self.netlist.elements.get(state.element)?.law, state.part) {
            (Law::Capacitor { farads, .. }, _) => Some(extra()? / farads),
            (
                Law::Inductor {
                    a,
                    b,
                    henries,
                    ohms,
                },
                _,
            ) => Some((between(x, *a, *b) - ohms * own) / henries),
            (Law::Transformer(t), Part::Core) => Some(extra()? / t.henries_per_turn2),
            (Law::Transformer(t), Part::Leakage(w)) => {
                let winding = t.windings.get(w)?;
                let volts = between(x, winding.a, winding.b) - winding.turns * extra()?;
                Some((volts - winding.ohms * own) / winding.leakage)
            }
            _ => None,
        }
    }
}

impl Rectifiers {
    /// Are all its figures finite?
    fn is_finite(&self) -> bool {
        self.plates.iter().all(|p| p.emf_peak.is_finite())
            && self.ohms.iter().flatten().all(|z| z.is_finite())
            && self.stores.iter().all(|s| {
                s.rates
                    .iter()
                    .chain(&s.charge)
                    .chain(&s.reach)
                    .all(|x| x.is_finite())
            })
    }
}

#[cfg(test)]
pub(super) mod tests;
