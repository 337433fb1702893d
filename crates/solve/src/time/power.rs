//! Currents and powers of each element at a moment.

use std::borrow::Cow;

use super::Running;
use super::build::{Emf, Moving};
use crate::equations::{AMPLIFIER_OHMS, FLOOR_SIEMENS};
use crate::flows::{Power, pair, without_memory};
use crate::netlist::{Law, Netlist};

/// The unknowns at one moment, and the stores' amperes.
#[derive(Clone)]
pub(super) struct Moment<'a> {
    pub(super) netlist: &'a Netlist,
    pub(super) moving: &'a Moving,
    pub(super) x: &'a [f64],
    pub(super) amps: Cow<'a, [f64]>,
    pub(super) seconds: f64,
}

impl Moment<'_> {
    /// As [`Running::currents`].
    pub(super) fn currents(&self, element: usize) -> Vec<f64> {
        let Some(part) = self.netlist.elements.get(element) else {
            return Vec::new();
        };
        let x = self.x;
        let across = |a: usize, b: usize| x[a] - x[b];
        let stored = || {
            let stores = self.moving.stores.iter().zip(&*self.amps);
            stores.filter(|(store, _)| store.element == element)
        };
        let lit = || {
            let mut pairs = self.moving.bent.pairs.iter();
            pairs.any(|pair| pair.element == element && pair.lit)
        };
        // only what has a cathode can be less than hot
        let cathode = matches!(
            part.law,
            Law::Triode { .. } | Law::Pentode { .. } | Law::Diode { .. }
        );
        let warm = cathode
            .then(|| self.moving.law_at(element, &part.law, self.seconds))
            .flatten();
        match warm.as_ref().unwrap_or(&part.law) {
            Law::Capacitor { .. } => pair(stored().next().map_or(0.0, |(_, amps)| *amps)),
            Law::Inductor { a, b, ohms, .. } => pair(
                stored()
                    .next()
                    .map_or_else(|| across(*a, *b) / ohms, |(_, amps)| *amps),
            ),
            Law::Resistor { a, b, ohms } => pair(across(*a, *b) / ohms),
            Law::Filament { a, b, .. } => {
                let ohms = self.moving.filament_ohms(element).unwrap_or(f64::INFINITY);
                pair(across(*a, *b) / ohms)
            }
            Law::Source {
                plus: a, minus: b, ..
            }
            | Law::Alternating { a, b, .. } => {
                let sources = self.moving.sources.iter();
                let mut own = sources.filter(|source| source.element == element);
                pair(own.next().map_or(0.0, |source| {
                    source.siemens * (across(*a, *b) - source.emf.at(self.seconds))
                }))
            }
            Law::Transformer(transformer) => {
                let own = self.moving.own[element];
                let windings = transformer.windings.iter();
                let mut leaky = stored().filter(|(store, _)| store.core != 0);
                let amps = windings.map(|w| {
                    if w.leakage > 0.0 {
                        leaky.next().map_or(0.0, |(_, amps)| *amps)
                    } else {
                        (across(w.a, w.b) - w.turns * x[own]) / w.ohms
                    }
                });
                amps.flat_map(pair).collect()
            }
            Law::Amplifier { .. } => vec![0.0, x[self.moving.own[element]]],
            law @ (Law::Diode { .. }
            | Law::Neon { .. }
            | Law::Triode { .. }
            | Law::Pentode { .. }) => without_memory(law, across, lit),
            Law::Rectifiers(_) => {
                let means = self.moving.means.iter();
                let own = means.filter(|mean| mean.element == element);
                let amps = own.map(|mean| {
                    let slopes = mean.slopes.iter();
                    mean.amps + slopes.map(|&(p, k, s)| s * across(p, k)).sum::<f64>()
                });
                amps.flat_map(pair).collect()
            }
        }
    }

    /// As [`Running::power`].
    pub(super) fn power(&self, element: usize) -> Power {
        self.power_of(element, &self.currents(element))
    }

    /// The same, where its currents are known.
    pub(super) fn power_of(&self, element: usize, amps: &[f64]) -> Power {
        let Some(part) = self.netlist.elements.get(element) else {
            return Power::default();
        };
        let first = amps.first().copied().unwrap_or(0.0);
        let terminals = part.law.terminals();
        let reference = terminals.last().map_or(0.0, |&node| self.x[node]);
        let flows_in: f64 = terminals
            .iter()
            .zip(amps)
            .map(|(&node, amps)| (self.x[node] - reference) * amps)
            .sum();
        let heat = |dissipated: f64| Power {
            dissipated,
            delivered: 0.0,
        };
        match &part.law {
            Law::Capacitor { esr_ohms, .. } => heat(esr_ohms * first * first),
            Law::Inductor { ohms, .. } => heat(ohms * first * first),
            Law::Transformer(transformer) => {
                let windings = transformer.windings.iter().zip(amps.chunks(2));
                let copper: f64 = windings.map(|(w, amps)| w.ohms * amps[0] * amps[0]).sum();
                let iron = transformer.ohms_per_turn2;
                let turn = self.x[self.moving.own[element]];
                heat(copper + if iron > 0.0 { turn * turn / iron } else { 0.0 })
            }
            Law::Source { ohms, .. } | Law::Alternating { ohms, .. } => {
                let sources = self.moving.sources.iter();
                let mut own = sources.filter(|source| source.element == element);
                let emf = own.next().map_or(Emf::Steady(0.0), |source| source.emf);
                Power {
                    dissipated: ohms * first * first,
                    delivered: -emf.at(self.seconds) * first,
                }
            }
            Law::Amplifier { output, .. } => {
                let amps = amps.last().copied().unwrap_or(0.0);
                let dissipated = AMPLIFIER_OHMS * amps * amps;
                Power {
                    dissipated,
                    delivered: dissipated - self.x[*output] * amps,
                }
            }
            Law::Rectifiers(_) => Power {
                dissipated: 0.0,
                delivered: -flows_in,
            },
            _ => heat(flows_in),
        }
    }
}

impl Running {
    /// States and amperes of the stores as they are now.
    fn remembered(&self) -> (Cow<'_, [f64]>, Cow<'_, [f64]>) {
        if !self.behind {
            return (Cow::Borrowed(&self.states), Cow::Borrowed(&self.amps));
        }
        let (mut states, mut amps) = (self.states.clone(), self.amps.clone());
        self.twice.tell(&mut states, &mut amps);
        (Cow::Owned(states), Cow::Owned(amps))
    }

    pub(super) fn moment(&self) -> Moment<'_> {
        Moment {
            netlist: &self.netlist,
            moving: &self.moving,
            x: &self.x,
            amps: self.remembered().1,
            seconds: self.seconds,
        }
    }

    /// Conventional currents into the terminals of element number `element`, amperes, in the
    /// order of [`Law::terminals`]; empty if there is no such element.
    #[must_use]
    pub fn currents(&self, element: usize) -> Vec<f64> {
        self.moment().currents(element)
    }

    /// What element number `element` turns into heat and what it feeds into the circuit, watts;
    /// none if there is no such element. What a capacitor or coil takes in to give back later is
    /// in neither: see [`Running::joules`].
    #[must_use]
    pub fn power(&self, element: usize) -> Power {
        self.moment().power(element)
    }

    /// Sums of both powers over the circuit, the floor conductances included.
    ///
    /// What is delivered less what is dissipated goes into the stores: their [`Running::joules`]
    /// grow by it.
    #[must_use]
    pub fn power_balance(&self) -> Power {
        let (mut total, moment) = (Power::default(), self.moment());
        for volts in self.x.iter().take(self.moving.nodes).skip(1) {
            total.dissipated += FLOOR_SIEMENS * volts * volts;
        }
        for element in 0..self.netlist.elements.len() {
            let power = moment.power(element);
            total.dissipated += power.dissipated;
            total.delivered += power.delivered;
        }
        total
    }

    /// Joules in all capacitors, coils and cores.
    #[must_use]
    pub fn joules(&self) -> f64 {
        let states = self.remembered().0;
        let stores = self.moving.stores.iter().zip(&*states);
        stores.map(|(store, &state)| store.sort.joules(state)).sum()
    }
}
