//! The operating point of a circuit on the mains.
//!
//! Four things wait for each other: the ohms of lamps that mains current heats (a limiter, a
//! dial lamp), the emission of valves whose heaters the mains heat, the rectifier groups, and
//! the steady volts of everything. Given the first two, the groups are made
//! ([`reduce`](super::reduce::reduce)) and the steady volts solved
//! ([`crate::operating`]); the currents of that solution say what lamps and heaters really get.
//! This is repeated, with an acceleration, until nothing moves.
//!
//! Everything here is the settled state: warm valves, warm lamps, charged capacitors. Pure.

mod figures;
mod settle;

use super::Note;
use super::emission::emission;
use super::network::Plans;
use super::rectify::{Cycle, CycleMemory};
use super::reduce::{Reduced, See, reduce_seen, two_ends};
use crate::device::{FilamentLaw, RectifierLaw};
use crate::linear::Complex;
use crate::netlist::{Law, Netlist, NodeIndex};
use crate::operating::{Solution, Solver, Status};
use settle::Settler;
use std::f64::consts::SQRT_2;

/// What moves less than this, relative, from one round to the next stands still.
const STILL: f64 = 1e-9;
/// Steps of Newton's method for the steady volts, all rounds together. An amplifier that settles
/// takes a few dozen; one with a lamp in series some hundred.
const MOST_STEPS: u32 = 1_000;
/// A filament is taken as heated by the mains when they put more than this part of their volts on it.
const LAMP_PART: f64 = 1e-4;

/// Where an earlier solution of the same circuit, or a near one, stood.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Start {
    /// Steady volts of each node.
    pub volts: Vec<f64>,
    /// Ohms of mains-heated lamps, by element.
    pub lamps: Vec<(usize, f64)>,
    /// Emission factors, by index into the netlist's `heating`.
    pub emission: Vec<f64>,
    /// The mains cycle of each rectifier group.
    pub(crate) cycles: Vec<CycleMemory>,
    /// Patterns of its alternating side.
    pub(crate) plans: Plans,
}

/// A lamp that mains current heats.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lamp {
    /// Index of its element.
    pub element: usize,
    /// Its settled resistance.
    pub ohms: f64,
    /// Rms volts across it.
    pub volts_rms: f64,
}

/// What one rectifying plate carries.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlateFigures {
    /// Index of the diode's element.
    pub element: usize,
    /// Mean amperes.
    pub mean: f64,
    /// Rms amperes.
    pub rms: f64,
    /// Greatest amperes.
    pub peak: f64,
    /// Greatest inverse volts, positive.
    pub inverse_volts: f64,
}

/// A settled circuit.
#[derive(Debug, Clone)]
pub struct OperatingPoint {
    /// The netlist that was solved at direct current: rectifiers in groups, heated lamps as
    /// resistors, emission in the valves' laws. Elements keep the index they had.
    pub netlist: Netlist,
    /// Its steady volts.
    pub solution: Solution,
    /// Peak phasor of each node at mains frequency, what rectifiers draw included.
    pub phasors: Vec<Complex>,
    /// What each driven plate carries, in the order of elements.
    pub plates: Vec<PlateFigures>,
    /// Rms amperes drawn from the mains; 0 without.
    pub mains_amps_rms: f64,
    /// Rms amperes, steady part included, of each element that has two ends and no valve law
    /// (resistors, so also fuses and switches; capacitors, coils, lamps, sources), by element;
    /// 0 for all others.
    ///
    /// Exact for the steady and the fundamental part. Harmonics are shared out as at twice the
    /// mains frequency, the reactive part falling with frequency: right where resistances or one
    /// capacitor do the sharing, a few percent off behind a second filter section.
    pub amps_rms: Vec<f64>,
    /// Rms volts of the alternating part at each node: as `amps_rms`.
    pub ripple_rms: Vec<f64>,
    /// Lamps that the mains heat.
    pub lamps: Vec<Lamp>,
    /// Emission factor of each entry of the netlist's `heating`.
    pub emission: Vec<f64>,
    /// Rms volts over rated volts of each entry's heater.
    pub heater_part: Vec<f64>,
    /// Rounds that it took.
    pub rounds: usize,
    /// Did lamps and emission settle? Steady volts have a status of their own.
    pub settled: bool,
    /// If not: the lamp, or the valve with the heater, that was farthest from it.
    pub unsettled: Option<String>,
    /// What is approximate, left out or notable.
    pub notes: Vec<Note>,
    plans: Plans,
}

impl OperatingPoint {
    /// Is all of it found: steady volts converged, lamps and heaters settled?
    pub fn solved(&self) -> bool {
        self.settled && self.solution.converged()
    }

    /// Steady volts of a node against ground; 0 for a node that does not exist.
    pub fn dc(&self, node: NodeIndex) -> f64 {
        self.solution.volts.get(node).copied().unwrap_or(0.0)
    }

    /// Rms volts at mains frequency of node `a` against node `b`.
    pub fn ac_volts(&self, a: NodeIndex, b: NodeIndex) -> f64 {
        let at = |n: NodeIndex| self.phasors.get(n).copied().unwrap_or_default();
        (at(a) - at(b)).abs() / SQRT_2
    }

    /// Where to start a near circuit.
    pub fn start(&self) -> Start {
        Start {
            volts: self.solution.volts.clone(),
            lamps: self.lamps.iter().map(|l| (l.element, l.ohms)).collect(),
            emission: self.emission.clone(),
            cycles: self.solution.cycles.clone(),
            plans: self.plans.clone(),
        }
    }

    /// [`reduce`](super::reduce::reduce) of a circuit that is like this one: quicker, where its
    /// structure is the same.
    pub fn reduce_like(&self, netlist: &Netlist, lamps: &[(usize, f64)]) -> Reduced {
        reduce_seen(netlist, lamps, &mut self.plans.clone()).0
    }
}

/// Settles a circuit on the mains.
///
/// Always returns; what did not work out is told by `solution.status`, `settled` and `notes`.
/// Without mains it is the plain direct-current solution, with valves as hot as their heaters.
pub fn operating_point(netlist: &Netlist, start: Option<&Start>) -> OperatingPoint {
    Mains::new(netlist, start).settle(&mut |_| true).1
}

/// As [`operating_point`], as long as `watch` says so: it is asked before each Newton step and each round, with the share of the
/// most rounds that are done. None when it stopped the work.
///
/// A sound amplifier takes three or four rounds of milliseconds; what is damaged badly may take seconds.
pub fn operating_point_while(
    netlist: &Netlist,
    start: Option<&Start>,
    watch: &mut dyn FnMut(f64) -> bool,
) -> Option<OperatingPoint> {
    let (whole, point) = Mains::new(netlist, start).settle(watch);
    whole.then_some(point)
}

/// One round's results.
struct Round {
    reduced: Reduced,
    seen: Option<See>,
    solution: Solution,
    /// Driven plates: element, and the cycle with the plate's place in it.
    cycles: Vec<(Vec<usize>, Cycle)>,
    /// Harmonics from the second of each driven plate's current.
    spectra: Vec<Vec<Complex>>,
    phasors: Vec<Complex>,
    /// All unknowns of the phasor network, peak.
    x: Vec<Complex>,
    lamps: Vec<Lamp>,
    heater_part: Vec<f64>,
}

struct Mains<'a> {
    netlist: &'a Netlist,
    /// Elements and laws of the lamps that the mains heat.
    lamps: Vec<(usize, FilamentLaw)>,
    solver: Option<Solver>,
    volts: Option<Vec<f64>>,
    /// Cycles to start from.
    cycles: &'a [CycleMemory],
    plans: Plans,
    /// Logarithms of the lamps' ohms, then emission factors.
    state: Vec<f64>,
}

impl<'a> Mains<'a> {
    fn new(netlist: &'a Netlist, start: Option<&'a Start>) -> Self {
        let mut plans = start.map_or_else(Plans::default, |s| s.plans.clone());
        let lamps = heated_lamps(netlist, &mut plans);
        let mut state: Vec<f64> = lamps
            .iter()
            .map(|(element, law)| {
                let earlier = start.and_then(|s| s.lamps.iter().find(|(e, _)| e == element));
                earlier
                    .map_or_else(|| law.ohms(0.5 * law.volts), |(_, ohms)| *ohms)
                    .max(1e-6)
                    .ln()
            })
            .collect();
        state.extend((0..netlist.heating.len()).map(|h| {
            start
                .and_then(|s| s.emission.get(h))
                .copied()
                .unwrap_or(1.0)
        }));
        Mains {
            netlist,
            lamps,
            solver: None,
            volts: start
                .map(|s| s.volts.clone())
                .filter(|v| v.len() == netlist.nodes.len()),
            cycles: start.map_or(&[], |s| &s.cycles),
            plans,
            state,
        }
    }

    /// Goes on until nothing moves, no more can be done, or `watch` wants no more: then false.
    fn settle(mut self, watch: &mut dyn FnMut(f64) -> bool) -> (bool, OperatingPoint) {
        let mut settler = Settler::new(self.state.len());
        let (mut rounds, mut steps) = (0, 0_u32);
        loop {
            rounds += 1;
            let share = (rounds - 1) as f64 / Settler::MOST as f64;
            let mut stopped = false;
            let round = self.round(&mut || {
                stopped = stopped || !watch(share);
                !stopped
            });
            steps = steps.saturating_add(round.solution.iterations);
            let wanted = self.wanted(&round);
            let apart = wanted.iter().zip(&self.state).map(|(w, s)| (w - s).abs());
            let farthest = apart.enumerate().max_by(|(_, a), (_, b)| a.total_cmp(b));
            let moving = farthest.filter(|(_, apart)| apart.is_nan() || *apart > STILL);
            let failed = !round.solution.converged();
            let spent = rounds >= Settler::MOST || steps >= MOST_STEPS || (failed && rounds > 5);
            let done = moving.is_none() || spent;
            if stopped || done || !watch(rounds as f64 / Settler::MOST as f64) {
                return (
                    done && !stopped,
                    self.finish(round, rounds, moving.map(|(index, _)| index)),
                );
            }
            self.volts = if failed {
                None
            } else {
                Some(round.solution.volts)
            };
            let bounds = self.bounds();
            settler.next(&mut self.state, &wanted, &bounds);
        }
    }

    /// Least and greatest of each part of the state.
    fn bounds(&self) -> Vec<(f64, f64)> {
        let lamps = self.lamps.iter().map(|(_, law)| {
            (
                law.ohms(0.0).max(1e-6).ln() - 0.1,
                law.ohms(100.0 * law.volts).max(1e-6).ln() + 0.1,
            )
        });
        lamps
            .chain(self.netlist.heating.iter().map(|_| (0.0, 1.0)))
            .collect()
    }

    fn lamp_ohms(&self) -> Vec<(usize, f64)> {
        self.lamps
            .iter()
            .zip(&self.state)
            .map(|((element, _), log)| (*element, log.exp()))
            .collect()
    }

    /// Everything that follows from the present state.
    fn round(&mut self, watch: &mut dyn FnMut() -> bool) -> Round {
        let lamps = self.lamp_ohms();
        let lit = lit(self.netlist, &self.state[self.lamps.len()..]);
        let (reduced, mut seen) = reduce_seen(&lit, &lamps, &mut self.plans);
        let solution = self.steady(&reduced.netlist, watch);
        let mut cycles = Vec::new();
        for group in
            reduced
                .groups
                .iter()
                .filter_map(|g| match &reduced.netlist.elements.get(*g)?.law {
                    Law::Rectifiers(group) => Some(group),
                    _ => None,
                })
        {
            let across: Vec<f64> = group
                .plates
                .iter()
                .map(|p| solution.across(p.plate, p.cathode))
                .collect();
            let elements = group.plates.iter().map(|p| p.element).collect();
            let cycle = group.cycle_from(&mut solution.cycle_of(group), &across);
            cycles.push((elements, cycle));
        }
        let x = seen
            .as_mut()
            .map_or_else(Vec::new, |s| figures::loaded(s, &cycles));
        let phasors: Vec<Complex> = (0..self.netlist.nodes.len())
            .map(|n| super::network::between(&x, n, 0))
            .collect();
        let mut round = Round {
            spectra: figures::spectra(seen.as_ref(), &cycles),
            reduced,
            seen,
            solution,
            cycles,
            phasors,
            x,
            lamps: Vec::new(),
            heater_part: Vec::new(),
        };
        round.lamps = self
            .lamps
            .iter()
            .zip(&lamps)
            .map(|((element, _), (_, ohms))| Lamp {
                element: *element,
                ohms: *ohms,
                volts_rms: ohms * round.amps_rms(self.netlist, *element),
            })
            .collect();
        round.heater_part = self
            .netlist
            .heating
            .iter()
            .map(|h| round.heater_part(self.netlist, h))
            .collect();
        round
    }

    fn steady(&mut self, netlist: &Netlist, watch: &mut dyn FnMut() -> bool) -> Solution {
        if self.solver.is_none() {
            self.solver = Solver::new(netlist).ok();
            if let Some(solver) = &mut self.solver {
                solver.remember(self.cycles);
            }
        }
        match &mut self.solver {
            Some(solver) => solver.run(netlist, self.volts.as_deref(), watch),
            None => crate::operating::solve(netlist, self.volts.as_deref()),
        }
    }

    /// The state that a round's currents ask for.
    fn wanted(&self, round: &Round) -> Vec<f64> {
        let lamps = self
            .lamps
            .iter()
            .zip(&round.lamps)
            .map(|((_, law), lamp)| law.ohms(lamp.volts_rms).max(1e-6).ln());
        lamps
            .chain(round.heater_part.iter().map(|part| emission(*part)))
            .collect()
    }

    /// Name of a part of the state: a lamp, or a valve with a heater.
    fn name_of(&self, index: usize) -> String {
        let lamp = self.lamps.get(index);
        let lamp = lamp.and_then(|(e, _)| self.netlist.elements.get(*e));
        let heating = index.checked_sub(self.lamps.len());
        let heating = heating.and_then(|h| self.netlist.heating.get(h));
        lamp.map(|e| &e.name)
            .or_else(|| heating.map(|h| &h.valve))
            .map_or_else(|| "mains".to_owned(), Clone::clone)
    }

    /// Puts the figures of the last round together; `moving` is what still moved in it.
    fn finish(self, round: Round, rounds: usize, moving: Option<usize>) -> OperatingPoint {
        let unsettled = moving.map(|index| self.name_of(index));
        let count = self.netlist.elements.len();
        let amps_rms: Vec<f64> = (0..count)
            .map(|e| round.amps_rms(self.netlist, e))
            .collect();
        let ripple_rms = (0..self.netlist.nodes.len())
            .map(|n| round.ripple_rms(n))
            .collect();
        let mains_amps_rms = self
            .netlist
            .elements
            .iter()
            .zip(&amps_rms)
            .filter(|(e, _)| matches!(e.law, Law::Alternating { mains: true, .. }))
            .fold(0.0_f64, |most, (_, amps)| most.max(*amps));
        let mut plates: Vec<PlateFigures> = round
            .cycles
            .iter()
            .flat_map(|(elements, cycle)| {
                elements
                    .iter()
                    .enumerate()
                    .map(|(d, element)| PlateFigures {
                        element: *element,
                        mean: cycle.mean(d),
                        rms: cycle.rms(d),
                        peak: cycle.peak(d),
                        inverse_volts: cycle.inverse_volts(d),
                    })
            })
            .collect();
        plates.sort_by_key(|p| p.element);
        let mut notes = round.reduced.notes.clone();
        self.notes(&round, unsettled.as_deref(), &mut notes);
        OperatingPoint {
            netlist: round.reduced.netlist,
            solution: round.solution,
            phasors: round.phasors,
            plates,
            mains_amps_rms,
            amps_rms,
            ripple_rms,
            lamps: round.lamps,
            emission: self.state[self.lamps.len()..].to_vec(),
            heater_part: round.heater_part,
            rounds,
            settled: unsettled.is_none(),
            unsettled,
            notes,
            plans: self.plans,
        }
    }

    fn notes(&self, round: &Round, unsettled: Option<&str>, notes: &mut Vec<Note>) {
        for (heating, part) in self.netlist.heating.iter().zip(&round.heater_part) {
            if *part < 0.9 {
                let text = if *part <= 0.5 {
                    format!(
                        "its heater has {:.0} % of its volts: it counts as cold",
                        100.0 * part
                    )
                } else {
                    format!(
                        "its heater has {:.0} % of its volts: its emission is a guess",
                        100.0 * part
                    )
                };
                notes.push(Note::new(&heating.valve, &text));
            }
        }
        if round.cycles.iter().any(|(_, cycle)| !cycle.solved) {
            notes.push(Note::new(
                "rectifier",
                "its cycle did not close to full accuracy",
            ));
        }
        if let (Some(who), Status::Converged) = (unsettled, round.solution.status) {
            notes.push(Note::new(
                who,
                "lamp, heaters and load did not settle on one state; the figures are from between",
            ));
        }
    }
}

/// The netlist with emission factors in the laws that each heater lights.
fn lit(netlist: &Netlist, emission: &[f64]) -> Netlist {
    let mut out = netlist.clone();
    for (heating, factor) in netlist.heating.iter().zip(emission) {
        if *factor >= 1.0 {
            continue;
        }
        for element in &heating.lights {
            match out.elements.get_mut(*element).map(|e| &mut e.law) {
                Some(Law::Triode { law, .. }) => law.k *= factor,
                Some(Law::Pentode { law, .. }) => law.k *= factor,
                Some(Law::Diode { law, .. }) => {
                    law.forward = match law.forward {
                        RectifierLaw::Valve(p) => RectifierLaw::Valve(p * factor),
                        other => other,
                    }
                }
                _ => {}
            }
        }
    }
    out
}

/// Filaments that the mains reach, found with all of them at half their volts.
fn heated_lamps(netlist: &Netlist, plans: &mut Plans) -> Vec<(usize, FilamentLaw)> {
    let filaments: Vec<(usize, FilamentLaw)> = netlist
        .elements
        .iter()
        .enumerate()
        .filter_map(|(i, e)| match e.law {
            Law::Filament { law, .. } => Some((i, law)),
            _ => None,
        })
        .collect();
    if filaments.is_empty() {
        return filaments;
    }
    let ohms: Vec<(usize, f64)> = filaments
        .iter()
        .map(|(e, law)| (*e, law.ohms(0.5 * law.volts)))
        .collect();
    let Some(seen) = reduce_seen(netlist, &ohms, plans).1 else {
        return Vec::new();
    };
    // One ampere through a lamp's place: what the mains can drive through it, not only what
    // they put on it while all rectifiers are open.
    let volts = super::reduce::sources(netlist)
        .iter()
        .fold(0.0_f64, |v, s| v.max(s.2.abs()));
    let reference = if volts > 0.0 { volts } else { 1.0 } * SQRT_2;
    filaments
        .into_iter()
        .filter(|(element, _)| {
            netlist
                .elements
                .get(*element)
                .and_then(|e| two_ends(&e.law))
                .is_some_and(|(a, b)| {
                    let open = super::network::between(&seen.x, a, b).abs() > LAMP_PART * reference;
                    let by_plates = seen
                        .first
                        .1
                        .iter()
                        .any(|x| super::network::between(x, a, b).abs() > 1e-3);
                    open || by_plates
                })
        })
        .collect()
}

#[cfg(test)]
mod tests;
