//! What a group of driven diodes sees of the network.
//!
//! Chooses which capacitors and coils are states of the group, which are shorts and which are
//! open, and takes the group's equations from one-instant solutions of the network.

use super::super::network::{
    AtInstant, Held, Network, Part, Plans, Reactance, between, draw, reactances,
};
use super::{Driven, admittances};
use crate::device::{DiodeLaw, RectifierLaw};
use crate::linear::{Complex, Scalar};
use crate::netlist::{CYCLE_STEPS, Law, Netlist, NodeIndex, RectifierPlate, Rectifiers, Store};

/// A reactance is a state of its group when it stores more than this part of the apparent
/// power that a diode's current exchanges with the network, at the mains frequency or twice it.
pub(super) const LEAST_PART: f64 = 3e-3;
/// States of one group.
const MOST_STORES: usize = 8;

/// How every reactance is taken, and the greatest part that no state was left for.
pub(super) struct Chosen {
    pub(super) held: Vec<(Reactance, Held)>,
    pub(super) left_out: f64,
}

/// Impedances, solutions for one ampere through each diode, network, and harmonic.
pub(super) type At<'n> = (
    &'n Vec<Vec<Complex>>,
    &'n Vec<Vec<Complex>>,
    &'n mut Network<Complex>,
    f64,
);

pub(super) struct Finder<'a> {
    pub(super) netlist: &'a Netlist,
    pub(super) lamps: &'a [(usize, f64)],
    pub(super) leaks: &'a [(usize, f64)],
    /// 0 with no mains, else 1.
    pub(super) scale: f64,
    pub(super) driven: &'a [Driven],
    pub(super) members: &'a [usize],
    pub(super) plans: &'a mut Plans,
}

impl Finder<'_> {
    /// Decides how each reactance is taken.
    pub(super) fn choose(&mut self, omega: f64, at: [At<'_>; 2]) -> Chosen {
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
    pub(super) fn group(
        &mut self,
        held: &mut [(Reactance, Held)],
        z: &[Vec<Complex>],
    ) -> Option<Rectifiers> {
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
            self.plans,
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

/// What stands for a diode of a bridge on a floating winding. With ideal diodes a millivolt on
/// the winding shifts all the current from one side to the other, and the point is not found;
/// silicon has a knee that is wide enough.
fn rounded(law: RectifierLaw) -> RectifierLaw {
    match law {
        RectifierLaw::Ideal { .. } => RectifierLaw::SILICON,
        other => other,
    }
}
