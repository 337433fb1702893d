//! From diodes and alternating sources to rectifier groups.
//!
//! With all diodes open, the phasors of the mains say which diodes an alternating emf drives.
//! Those that share a source or a filter form a group. What a group sees of the network is
//! taken at one instant: resistances between its diodes, and the capacitors and coils that
//! matter at the ripple frequencies as states; all others are a short or open, whichever they
//! are nearer to. Centre-tapped, bridge, doubling, back-bias and bias supplies need no case
//! of their own. Knows equations only; it refuses to guess what a diode is for.

mod finder;

use super::network::{AtFrequency, Network, Plans, between, draw};
use super::{Note, matrix};
use crate::device::{DiodeLaw, RectifierLaw};
use crate::linear::{Complex, Scalar};
use crate::netlist::{Element, Law, Netlist, NodeIndex};
use finder::{Finder, LEAST_PART};
use std::f64::consts::{SQRT_2, TAU};

/// A diode is driven when its emf is more than this part of the mains.
const LEAST_EMF: f64 = 1e-4;
/// A diode behind more ohms than this is not driven: what reaches it, it reaches over insulation, and a cycle through it
/// says nothing that its leak does not (common practice, no source).
const MOST_OHMS: f64 = 1e9;
/// Impedance, ohms, that two diodes must share to be in one group.
const LEAST_SHARED: f64 = 1e-2;
/// An open diode leaks this part of what the impedance before it would pass: enough to settle
/// how a winding stands that floats between two diodes of a bridge, too little to see.
const OPEN_PART: f64 = 1e-5;
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
    reduce_seen(netlist, lamps, &mut Plans::default()).0
}

/// The same, with the phasor solutions it was made from; none without mains.
pub(super) fn reduce_seen(
    netlist: &Netlist,
    lamps: &[(usize, f64)],
    plans: &mut Plans,
) -> (Reduced, Option<See>) {
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
        let kind = AtFrequency {
            omega: TAU * netlist.hertz,
            lamps,
            leaks: &leaks,
        };
        let Some(found) = See::new(netlist, &mains, unit, &kind, plans) else {
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
            plans,
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
        kind: &AtFrequency,
        plans: &mut Plans,
    ) -> Option<Self> {
        let mut phasors = |times: f64| {
            let kind = AtFrequency {
                omega: kind.omega * times,
                lamps: kind.lamps,
                leaks: kind.leaks,
            };
            Network::<Complex>::new(netlist, &kind, 0.0, plans)
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
        let mut first = impedances(first, &driven);
        let passes = passed(&first.0).unwrap_or_default();
        let reached = |passes: &f64| passes * MOST_OHMS >= 1.0;
        if !passes.iter().all(reached) {
            let mut passes = passes.iter();
            driven.retain(|_| passes.next().is_some_and(reached));
            first = impedances(first.2, &driven);
        }
        let second = impedances(phasors(2.0)?, &driven);
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
        let passes = passed(&self.first.0).unwrap_or_else(|| vec![0.0; self.driven.len()]);
        let leaks = passes.iter().map(|p| (OPEN_PART * p).clamp(1e-13, 1e-6));
        self.driven.iter().map(|d| d.element).zip(leaks).collect()
    }
}

/// [`Impedances`] between `driven` in a network.
fn impedances(mut network: Network<Complex>, driven: &[Driven]) -> Impedances {
    let answers: Vec<Vec<Complex>> = driven
        .iter()
        .map(|d| {
            let mut b = network.blank();
            draw(&mut b, d.plate, d.cathode, Complex::ONE);
            network.solve(&mut b);
            b
        })
        .collect();
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
}

/// Siemens by which each diode's own volts drive current through it, all others conducting; none when that has no answer.
fn passed(z: &[Vec<Complex>]) -> Option<Vec<f64>> {
    let all: Vec<usize> = (0..z.len()).collect();
    let y = admittances(z, &all)?;
    let own = y.iter().step_by(all.len() + 1);
    Some(own.map(|y| y.abs()).collect())
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

#[cfg(test)]
pub(super) mod tests;
