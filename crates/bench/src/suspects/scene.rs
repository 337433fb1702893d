//! The amplifier under one set of conditions, solved once as a sound one and then again, quickly,
//! with anything changed in it.
//!
//! The rectifiers stand in it as their tangents, which are drawn again where a change moves the
//! supply, so that a solution costs what the valves and the network cost. Expected readings come
//! with their slopes by every cause of spread, taken at the changed circuit itself.

use super::causes::{Known, Spreads};
use super::edit::{Edit, STRAY};
use crate::chart::grid_current::{GridAmps, grid_amps};
use crate::chart::ohms::passive;
use crate::chart::state::{State, Trouble};
use crate::tolerance::Tolerances;
use solve::Assembly;
use solve::assemble::reach;
use solve::netlist::{Element, Law, Netlist, NodeIndex, Quantity, Rectifiers, Slot};
use solve::operating::{Solution, Solver};
use solve::response::SmallSignal;
use solve::supply::CycleMemory;
use std::collections::BTreeMap;
use wiring::circuit::{Circuit, Kind};

/// Ohms of a meter that is not there.
const AWAY_OHMS: f64 = 1e13;
/// A meter that takes more than this part of a source's volts is solved.
const LOADS: f64 = 0.02;
/// Volts that it must take, too.
const LOADS_VOLTS: f64 = 1e-3;
/// A rectifier's tangent is drawn again when the volts across it moved by more than this part,
const MOVED_PART: f64 = 0.015;
/// and this much, volts.
const MOVED_VOLTS: f64 = 1.0;
/// Alternating volts, rms, of a node that counts as before the rectifiers.
const ALTERNATING_VOLTS: f64 = 4.0;
/// Grid current of a power valve that nothing holds, as part of its spread (ours).
const STRAY_POWER: f64 = 0.3;
/// The same of a small valve.
const STRAY_SMALL: f64 = 0.2;
/// Behind such ohms a source is a current.
const STRAY_OHMS: f64 = 1e11;
/// A grid whose current spreads by more than this is a power valve's, amperes.
const POWER_SIGMA: f64 = 50e-9;
/// Rounds of drawing tangents.
const MOST_ROUNDS: usize = 6;
/// The same for a first look.
const FIRST_ROUNDS: usize = 2;
/// Ohms above which there is no path to speak of.
pub(super) const NO_PATH_OHMS: f64 = 1e9;
/// Least alternating volts that a meter tells from hum, rms.
const LEAST_SIGNAL: f64 = 2e-3;

/// What is read in a scene.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Sort {
    /// Volts at rest.
    Live,
    /// Ohms, power off: natural logarithms.
    Cold,
    /// Volts of a signal: natural logarithms.
    Signal,
}

/// Where the leads are, and what hangs on them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Leads {
    pub(super) a: NodeIndex,
    pub(super) b: NodeIndex,
    /// Ohms of the meter; infinite for none.
    pub(super) meter: f64,
}

/// A rectifier group and the elements that stand for it.
#[derive(Clone)]
struct Group {
    law: Rectifiers,
    tangents: Vec<usize>,
    /// Volts across each plate at which its tangent was drawn.
    at: Vec<f64>,
    memory: CycleMemory,
}

/// What one changed circuit should read.
#[derive(Debug, Clone)]
pub(super) struct Expected {
    /// In the order of the leads.
    pub(super) mean: Vec<f64>,
    /// Slopes: `slope[i * causes + c]` per standard deviation of cause `c`; empty unless asked for.
    pub(super) slope: Vec<f64>,
    /// Variance that no cause tells of.
    pub(super) own: Vec<f64>,
}

/// The amplifier under one set of conditions.
pub(super) struct Scene {
    pub(super) sort: Sort,
    pub(super) assembly: Assembly,
    pub(super) leads: Vec<Leads>,
    /// The middle of sound amplifiers, with a meter that is away on each pair of leads.
    base: Netlist,
    pub(super) volts: Vec<f64>,
    state: Option<State>,
    groups: Vec<Group>,
    meters: Vec<usize>,
    spreads: Spreads,
    grids: Vec<(GridAmps, usize)>,
    strays: Vec<usize>,
    /// Of each cause that acts through the mains: tangent element, and volts of its emf per
    /// standard deviation.
    supply: Vec<(usize, usize, f64)>,
    /// By element: does the rectifiers' emf hang on it?
    alternating: Vec<bool>,
    /// Element that drives the signal, with its volts and hertz.
    signal: Option<(usize, f64, f64)>,
    causes: usize,
}

/// What each thread needs of its own: the circuit to change and to put back, and solvers.
pub(super) struct Desk {
    net: Netlist,
    groups: Vec<Group>,
    /// For changes of numbers.
    plain: Solver,
    /// For changes that add elements or move leads; compiled when first needed.
    other: Option<Solver>,
    /// Elements whose own value is the fault: what sound ones spread by is nothing to them.
    edited: Vec<usize>,
}

impl Desk {
    fn solver(&mut self, moved: bool) -> (&mut Solver, &mut Netlist) {
        if moved {
            let plain = &self.plain;
            (
                self.other.get_or_insert_with(|| plain.clone()),
                &mut self.net,
            )
        } else {
            (&mut self.plain, &mut self.net)
        }
    }
}

impl Scene {
    /// Solves the middle of sound amplifiers.
    ///
    /// # Errors
    /// When it has no operating point; with the reason.
    pub(super) fn new(
        circuit: &Circuit,
        assembly: Assembly,
        sort: Sort,
        tolerances: &Tolerances,
        known: &mut Known,
        leads: Vec<Leads>,
        signal: Option<(f64, f64)>,
    ) -> Result<Self, Trouble> {
        let spreads = known.of(circuit, &assembly.netlist, tolerances);
        let medians = assembly.netlist.scaled(&spreads.medians);
        let mut scene = Self {
            sort,
            leads,
            base: Netlist::default(),
            volts: Vec::new(),
            state: None,
            groups: Vec::new(),
            meters: Vec::new(),
            grids: Vec::new(),
            strays: Vec::new(),
            supply: Vec::new(),
            alternating: Vec::new(),
            signal: None,
            causes: 0,
            spreads,
            assembly,
        };
        if sort == Sort::Cold {
            scene.base = passive(&medians);
            let solved = solve::operating::solve(&scene.base, None);
            scene.volts = solved.volts;
        } else {
            let state = State::new(&medians, None)?;
            scene.freeze(&state);
            scene.volts = state.volts().to_vec();
            scene.grids = grid_amps(&scene.assembly.netlist.elements, tolerances)
                .into_iter()
                .map(|g| {
                    let name = scene.base.nodes.get(g.grid).map_or("?", String::as_str);
                    let cause = known.cause(&format!("{name} grid current"));
                    (g, cause)
                })
                .collect();
            scene.stray_currents();
            scene.look_at_supply(&state);
            scene.alternating = before_rectifiers(circuit, &scene.assembly, &state);
            scene.state = Some(state);
            if let Some((volts, hertz)) = signal {
                let mut sources = scene.base.elements.iter().enumerate();
                scene.signal = sources
                    .find(|(_, e)| matches!(e.law, Law::Alternating { mains: false, .. }))
                    .map(|(index, _)| (index, volts, hertz));
            }
        }
        if sort == Sort::Live {
            for (index, leads) in scene.leads.iter().enumerate() {
                scene.meters.push(scene.base.elements.len());
                scene.base.elements.push(Element {
                    name: format!("meter {index}"),
                    law: Law::Resistor {
                        a: leads.a,
                        b: leads.b,
                        ohms: AWAY_OHMS,
                    },
                });
            }
        }
        Ok(scene)
    }

    /// How many causes there are in all; said once every scene is made.
    pub(super) fn settle_causes(&mut self, causes: usize) {
        self.causes = causes;
    }

    /// A desk to work at.
    pub(super) fn desk(&self) -> Option<Desk> {
        let mut net = self.base.clone();
        // a solver needs neither
        net.parameters.clear();
        net.heating.clear();
        Some(Desk {
            plain: Solver::new(&net).ok()?,
            net,
            groups: self.groups.clone(),
            other: None,
            edited: Vec::new(),
        })
    }

    /// Volts by which `a` over `b` moves per ampere fed into each node, at rest.
    pub(super) fn transfer(&self, a: NodeIndex, b: NodeIndex) -> Option<Vec<f64>> {
        let mut desk = self.desk()?;
        let solution = desk.plain.solve(&desk.net, Some(&self.volts));
        (solution.converged() && desk.plain.linearise()).then(|| desk.plain.adjoint(a, b))
    }

    /// Puts tangents in the place of rectifier groups.
    fn freeze(&mut self, state: &State) {
        self.base = state.netlist().clone();
        let groups: Vec<(usize, Rectifiers)> = self
            .base
            .elements
            .iter()
            .enumerate()
            .filter_map(|(index, e)| match &e.law {
                Law::Rectifiers(group) => Some((index, group.clone())),
                _ => None,
            })
            .collect();
        for (index, law) in groups {
            let name = self.base.elements.get(index).map(|e| e.name.clone());
            if let Some(element) = self.base.elements.get_mut(index) {
                // the index of every other element stays
                element.law = Law::Resistor {
                    a: 0,
                    b: 0,
                    ohms: 1.0,
                };
            }
            let mut group = Group {
                memory: state.solution().cycle_of(&law),
                tangents: Vec::new(),
                at: Vec::new(),
                law,
            };
            for plate in &group.law.plates {
                group.tangents.push(self.base.elements.len());
                self.base.elements.push(Element {
                    name: name.clone().unwrap_or_default(),
                    law: Law::Source {
                        plus: plate.plate,
                        minus: plate.cathode,
                        volts: 0.0,
                        ohms: 1.0,
                    },
                });
            }
            let volts = state.volts();
            group.draw(&mut self.base, volts);
            self.groups.push(group);
        }
    }

    /// What a grid without a path to anywhere does: gas, and the leak of a capacitor toward a plate,
    /// let it drift up. On a sound grid leak it is millivolts.
    fn stray_currents(&mut self) {
        for (grid, _) in &self.grids {
            let power = grid.sigma > POWER_SIGMA;
            let amps = grid.sigma * if power { STRAY_POWER } else { STRAY_SMALL };
            self.strays.push(self.base.elements.len());
            self.base.elements.push(Element {
                name: STRAY.to_owned(),
                law: Law::Source {
                    plus: grid.grid,
                    minus: grid.cathode,
                    volts: amps * STRAY_OHMS,
                    ohms: STRAY_OHMS,
                },
            });
        }
    }

    /// What a deviation of mains, windings and rectifiers does, as emf behind each tangent.
    fn look_at_supply(&mut self, state: &State) {
        let netlist = &self.assembly.netlist;
        let mut all = Vec::new();
        for (cause, moves) in &self.spreads.causes {
            let acts = moves.iter().any(|(p, _)| {
                netlist.parameters.get(*p).is_some_and(|p| {
                    matches!(
                        p.quantity,
                        Quantity::Mains | Quantity::Volts | Quantity::Drop
                    ) || (p.quantity == Quantity::Ohms && p.part.contains(' '))
                })
            });
            if !acts || self.groups.is_empty() {
                continue;
            }
            let mut factors = self.spreads.medians.clone();
            for (p, weight) in moves {
                if let Some(f) = factors.get_mut(*p) {
                    *f *= weight.exp();
                }
            }
            let reduced = state.reduced(&netlist.scaled(&factors)).netlist;
            let after = reduced.elements.iter().filter_map(|e| match &e.law {
                Law::Rectifiers(group) => Some(group),
                _ => None,
            });
            for (group, law) in self.groups.iter().zip(after) {
                if law.plates.len() != group.law.plates.len() {
                    continue;
                }
                let before = group.law.amps_from(&mut group.memory.clone(), &group.at);
                let now = law.amps_from(&mut group.memory.clone(), &group.at);
                for ((tangent, before), now) in group.tangents.iter().zip(before).zip(now) {
                    if let Some(Law::Source { ohms, .. }) =
                        self.base.elements.get(*tangent).map(|e| &e.law)
                    {
                        all.push((*cause, *tangent, -(now - before) * ohms));
                    }
                }
            }
        }
        self.supply = all;
    }

    /// Nodes whose volts hang on what is not traced or not known, each with the reason.
    pub(super) fn unknown(&self) -> BTreeMap<NodeIndex, String> {
        let mut all = self.assembly.untold.clone();
        let netlist = &self.assembly.netlist;
        // sections with any electrode at volts that are not told: nobody knows their currents
        let lost: Vec<usize> = netlist
            .elements
            .iter()
            .enumerate()
            .filter(|(_, e)| matches!(e.law, Law::Triode { .. } | Law::Pentode { .. }))
            .filter(|(_, e)| e.law.terminals().iter().any(|n| all.contains_key(n)))
            .map(|(index, _)| index)
            .collect();
        if lost.is_empty() && self.assembly.stand_ins.is_empty() {
            return all;
        }
        let volts = solve::operating::solve(netlist, None).volts;
        let again = |trial: &Netlist| {
            let solved = solve::operating::solve(trial, Some(&volts));
            solved.converged().then_some(solved.volts)
        };
        for index in lost {
            let (moved, name) = reach::without_current(netlist, index, &volts, again);
            for node in moved {
                all.entry(node).or_insert_with(|| {
                    format!("depends on {name}, which hangs on what is not traced yet")
                });
            }
        }
        for (node, parts) in reach::hanging(&self.assembly, &volts, again) {
            let part = parts.first().map_or("a part", String::as_str);
            all.entry(node)
                .or_insert_with(|| format!("depends on {part}, whose value is not known"));
        }
        all
    }

    /// Leaves out the leads that are not to be kept.
    pub(super) fn keep(&mut self, keep: &[bool]) {
        let mut at = keep.iter();
        self.leads.retain(|_| at.next() == Some(&true));
        let mut at = keep.iter();
        self.meters.retain(|_| at.next() == Some(&true));
    }

    /// What the leads should show with these changes made, from the volts of a near solution;
    /// and the volts. None where there is no operating point. `slopes` asks for the slopes too.
    pub(super) fn expect_from(
        &self,
        desk: &mut Desk,
        edits: &[Edit],
        slopes: bool,
        start: &[f64],
    ) -> Option<(Expected, Vec<f64>)> {
        let found = self.changed(desk, edits, slopes, start);
        self.put_back(desk, edits);
        found
    }

    /// The desk's circuit as it was.
    fn put_back(&self, desk: &mut Desk, edits: &[Edit]) {
        let net = &mut desk.net;
        net.elements.truncate(self.base.elements.len());
        net.nodes.truncate(self.base.nodes.len());
        let tangents = self.groups.iter().flat_map(|g| g.tangents.iter().copied());
        let touched = edits.iter().flat_map(Edit::elements).chain(tangents);
        let drifted = edits.contains(&Edit::Drift);
        let strays = self.strays.iter().copied().filter(|_| drifted);
        for index in touched.chain(strays).chain(self.meters.iter().copied()) {
            if let (Some(to), Some(from)) =
                (net.elements.get_mut(index), self.base.elements.get(index))
            {
                to.law.clone_from(&from.law);
            }
        }
        desk.groups.clone_from(&self.groups);
    }

    fn changed(
        &self,
        desk: &mut Desk,
        edits: &[Edit],
        slopes: bool,
        start: &[f64],
    ) -> Option<(Expected, Vec<f64>)> {
        let mut drawn = false;
        let mut anew = false;
        let mut moved = false;
        desk.edited.clear();
        desk.edited.extend(edits.iter().flat_map(Edit::valued));
        for edit in edits {
            if self.sort == Sort::Cold && !edit.holds_cold() {
                continue;
            }
            moved |= edit.moves_leads();
            if !edit.apply(&mut desk.net) {
                let laws: Vec<&Rectifiers> = desk.groups.iter().map(|g| &g.law).collect();
                anew |= edit.is_of_the_mains(&laws);
                if let Edit::Scale {
                    element,
                    slot: Slot::Perveance,
                    by,
                } = edit
                {
                    drawn |= weaken(&mut desk.groups, *element, *by);
                }
            } else if self.groups_hold(edit) || self.is_before_rectifiers(edit) {
                anew = true;
            }
        }
        if self.sort == Sort::Cold {
            return Some((self.cold(desk, moved, slopes)?, self.volts.clone()));
        }
        if anew {
            self.reduce_again(&mut desk.groups, edits)?;
            drawn = true;
        }
        let mut volts = start.to_vec();
        volts.resize(desk.net.nodes.len(), 0.0);
        for (index, node) in desk.net.nodes.iter().enumerate().skip(start.len()) {
            // a new node starts where the lead was that it cuts
            if let Some(at) = node
                .strip_prefix("cut ")
                .and_then(|n| n.parse::<usize>().ok())
            {
                let here = volts.get(at).copied().unwrap_or(0.0);
                if let Some(v) = volts.get_mut(index) {
                    *v = here;
                }
            }
        }
        for group in &mut desk.groups {
            if drawn || group.has_moved(&volts) {
                group.draw(&mut desk.net, &volts);
            }
        }
        let rounds = if slopes { MOST_ROUNDS } else { FIRST_ROUNDS };
        let solution = settle(desk, moved, &volts, rounds)?;
        let expected = match self.sort {
            Sort::Signal => self.signal(&desk.net, &solution, slopes)?,
            _ => self.live(desk, moved, &solution, slopes)?,
        };
        let mut after = solution.volts;
        after.truncate(self.volts.len());
        Some((expected, after))
    }

    /// Is what is edited between the mains and the rectifiers, so that their emf hangs on it?
    fn is_before_rectifiers(&self, edit: &Edit) -> bool {
        let (Edit::Scale { element, .. } | Edit::Ohms { element, .. } | Edit::More { element, .. }) =
            edit
        else {
            return false;
        };
        self.alternating.get(*element).copied().unwrap_or(false)
    }

    /// Does the ripple of a rectifier hang on what is edited?
    fn groups_hold(&self, edit: &Edit) -> bool {
        let Edit::Scale {
            element,
            slot: Slot::Farads | Slot::Henries,
            ..
        } = edit
        else {
            return false;
        };
        let mut stores = self.groups.iter().flat_map(|g| &g.law.stores);
        stores.any(|s| s.element == *element)
    }

    /// The rectifier groups of the changed circuit.
    fn reduce_again(&self, groups: &mut [Group], edits: &[Edit]) -> Option<()> {
        let state = self.state.as_ref()?;
        let mut whole = self.assembly.netlist.scaled(&self.spreads.medians);
        for edit in edits {
            edit.apply(&mut whole);
        }
        let reduced = state.reduced(&whole).netlist;
        let mut after = reduced.elements.into_iter().filter_map(|e| match e.law {
            Law::Rectifiers(group) => Some(group),
            _ => None,
        });
        for group in groups.iter_mut() {
            match after.next() {
                Some(law) if law.plates.len() == group.law.plates.len() => group.law = law,
                // nothing drives it any more
                _ => {
                    for plate in &mut group.law.plates {
                        plate.emf_peak = 0.0;
                    }
                }
            }
        }
        Some(())
    }

    fn cold(&self, desk: &mut Desk, moved: bool, slopes: bool) -> Option<Expected> {
        let edited = desk.edited.clone();
        let (solver, net) = desk.solver(moved);
        let mut start = self.volts.clone();
        start.resize(net.nodes.len(), 0.0);
        let solution = solver.solve(net, Some(&start));
        if !solution.converged() || !solver.linearise() {
            return None;
        }
        let mut out = Expected::with_room(self.leads.len(), if slopes { self.causes } else { 0 });
        for (index, leads) in self.leads.iter().enumerate() {
            let moves = solver.adjoint(leads.a, leads.b);
            let at = |n: NodeIndex| moves.get(n).copied().unwrap_or(0.0);
            let ohms = (at(leads.a) - at(leads.b)).clamp(1e-3, NO_PATH_OHMS);
            out.mean.push(ohms.ln());
            out.own.push(0.0);
            if !slopes || ohms >= NO_PATH_OHMS {
                continue;
            }
            for (cause, moves) in &self.spreads.causes {
                let mut slope = 0.0;
                for (p, weight) in moves {
                    let Some(parameter) = self.assembly.netlist.parameters.get(*p) else {
                        continue;
                    };
                    for (element, slot) in &parameter.slots {
                        if edited.contains(element) {
                            continue;
                        }
                        let Some(law) = net.elements.get(*element).map(|e| &e.law) else {
                            continue;
                        };
                        if let Some((a, b, r)) = resistance(law, *slot) {
                            slope += weight * (at(a) - at(b)).powi(2) / r / ohms;
                        }
                    }
                }
                out.add_slope(index, *cause, slope, self.causes);
            }
        }
        Some(out)
    }

    fn signal(&self, net: &Netlist, solution: &Solution, slopes: bool) -> Option<Expected> {
        let (source, volts, hertz) = self.signal?;
        let circuit = SmallSignal::new(net, solution).ok()?;
        let response = circuit.at(hertz).ok()?;
        let per_volt = response.per_volt(source);
        let mut out = Expected::with_room(self.leads.len(), if slopes { self.causes } else { 0 });
        for leads in &self.leads {
            let at = |n: NodeIndex| per_volt.get(n).copied().unwrap_or_default();
            let shown = (at(leads.a) - at(leads.b)).abs() * volts;
            out.mean.push(shown.hypot(LEAST_SIGNAL).ln());
            out.own.push(0.0);
        }
        Some(out)
    }

    fn live(
        &self,
        desk: &mut Desk,
        moved: bool,
        solution: &Solution,
        slopes: bool,
    ) -> Option<Expected> {
        let edited = desk.edited.clone();
        let (solver, net) = desk.solver(moved);
        if !solver.linearise() {
            return None;
        }
        let count = self.leads.len();
        let mut out = Expected::with_room(count, if slopes { self.causes } else { 0 });
        let adjoints: Vec<Vec<f64>> = self
            .leads
            .iter()
            .map(|l| solver.adjoint(l.a, l.b))
            .collect();
        let feeds = slopes.then(|| self.feeds(net, &solution.volts, &edited));
        for (index, leads) in self.leads.iter().enumerate() {
            let adjoint = adjoints.get(index)?;
            let at = |n: NodeIndex| adjoint.get(n).copied().unwrap_or(0.0);
            let source = (at(leads.a) - at(leads.b)).abs();
            let open = solution.across(leads.a, leads.b);
            let takes = if leads.meter.is_finite() {
                source / (leads.meter + source)
            } else {
                0.0
            };
            out.own.push(0.0);
            if takes > LOADS && takes * open.abs() > LOADS_VOLTS {
                let (shown, slope) =
                    self.loaded(solver, net, solution, index, slopes.then_some(&edited))?;
                out.mean.push(shown);
                for (cause, value) in slope {
                    out.add_slope(index, cause, value, self.causes);
                }
                continue;
            }
            out.mean.push(open * (1.0 - takes));
            if let Some(feeds) = &feeds {
                for (cause, node, amps) in feeds {
                    out.add_slope(index, *cause, at(*node) * amps * (1.0 - takes), self.causes);
                }
            }
        }
        Some(out)
    }

    /// What the leads show with the meter in the circuit, and its slopes.
    fn loaded(
        &self,
        solver: &mut Solver,
        net: &mut Netlist,
        free: &Solution,
        index: usize,
        edited: Option<&Vec<usize>>,
    ) -> Option<(f64, Vec<(usize, f64)>)> {
        let leads = self.leads.get(index)?;
        let meter = *self.meters.get(index)?;
        set_ohms(net, meter, leads.meter);
        let solution = solver.solve(net, Some(&free.volts));
        let mut found = Vec::new();
        let good = solution.converged();
        if let Some(edited) = edited.filter(|_| good)
            && solver.linearise()
        {
            let adjoint = solver.adjoint(leads.a, leads.b);
            for (cause, node, amps) in self.feeds(net, &solution.volts, edited) {
                found.push((cause, adjoint.get(node).copied().unwrap_or(0.0) * amps));
            }
        }
        set_ohms(net, meter, AWAY_OHMS);
        good.then(|| (solution.across(leads.a, leads.b), found))
    }

    /// What one standard deviation of each cause feeds into the nodes: cause, node, amperes.
    fn feeds(
        &self,
        net: &Netlist,
        volts: &[f64],
        edited: &[usize],
    ) -> Vec<(usize, NodeIndex, f64)> {
        let mut all = Vec::new();
        for (cause, moves) in &self.spreads.causes {
            for (p, weight) in moves {
                let Some(parameter) = self.assembly.netlist.parameters.get(*p) else {
                    continue;
                };
                for (element, slot) in &parameter.slots {
                    if edited.contains(element) {
                        continue;
                    }
                    if let Some(element) = net.elements.get(*element) {
                        super::causes::feed(element, *slot, volts, |node, amps| {
                            all.push((*cause, node, amps * weight));
                        });
                    }
                }
            }
        }
        for (grid, cause) in &self.grids {
            all.push((*cause, grid.grid, grid.sigma));
            all.push((*cause, grid.cathode, -grid.sigma));
        }
        for (cause, tangent, emf) in &self.supply {
            if let Some(Law::Source {
                plus, minus, ohms, ..
            }) = net.elements.get(*tangent).map(|e| &e.law)
            {
                all.push((*cause, *plus, emf / ohms));
                all.push((*cause, *minus, -emf / ohms));
            }
        }
        all
    }
}

impl Expected {
    fn with_room(leads: usize, causes: usize) -> Self {
        Self {
            mean: Vec::with_capacity(leads),
            slope: vec![0.0; leads * causes],
            own: Vec::with_capacity(leads),
        }
    }

    fn add_slope(&mut self, lead: usize, cause: usize, value: f64, causes: usize) {
        if let Some(slot) = self.slope.get_mut(lead * causes + cause) {
            *slot += value;
        }
    }
}

impl Group {
    /// Draws the tangents at these volts; false when nothing can be drawn.
    fn draw(&mut self, net: &mut Netlist, volts: &[f64]) -> bool {
        let at = |n: NodeIndex| volts.get(n).copied().unwrap_or(0.0);
        let across: Vec<f64> = self
            .law
            .plates
            .iter()
            .map(|p| at(p.plate) - at(p.cathode))
            .collect();
        let count = across.len();
        let (mut amps, mut slopes) = (vec![0.0; count], vec![0.0; count * count]);
        let good = self
            .law
            .mean_currents_from(&mut self.memory, &across, &mut amps, &mut slopes);
        for (index, tangent) in self.tangents.iter().enumerate() {
            let (Some(v), Some(i), Some(row)) = (
                across.get(index),
                amps.get(index),
                slopes.get(index * count..(index + 1) * count),
            ) else {
                continue;
            };
            // the plates of one filter see its volts move together, so a plate's slope is what
            // all of them do to it
            let own = row.get(index).copied().unwrap_or(0.0);
            let slope = row
                .iter()
                .sum::<f64>()
                .clamp(0.2 * own.max(0.0), 4.0 * own.max(0.0));
            if let Some(Law::Source { volts, ohms, .. }) =
                net.elements.get_mut(*tangent).map(|e| &mut e.law)
            {
                *ohms = 1.0 / slope.max(1e-9);
                *volts = v - i * *ohms;
            }
        }
        self.at = across;
        good
    }

    /// Have the volts across a plate moved away from its tangent?
    fn has_moved(&self, volts: &[f64]) -> bool {
        let node = |n: NodeIndex| volts.get(n).copied().unwrap_or(0.0);
        self.law.plates.iter().zip(&self.at).any(|(p, at)| {
            let now = node(p.plate) - node(p.cathode);
            (now - at).abs() > MOVED_VOLTS + MOVED_PART * now.abs()
        })
    }
}

/// Solves, drawing tangents again where the supply moved.
fn settle(desk: &mut Desk, moved: bool, start: &[f64], rounds: usize) -> Option<Solution> {
    let mut groups = std::mem::take(&mut desk.groups);
    let (solver, net) = desk.solver(moved);
    let mut solution = solver.solve(net, Some(start));
    for _ in 0..rounds {
        if !solution.converged() {
            break;
        }
        let mut drawn = false;
        for group in &mut groups {
            if group.has_moved(&solution.volts) {
                group.draw(net, &solution.volts);
                drawn = true;
            }
        }
        if !drawn {
            break;
        }
        let from = std::mem::take(&mut solution.volts);
        solution = solver.solve(net, Some(&from));
    }
    desk.groups = groups;
    solution.converged().then_some(solution)
}

/// The elements on which the emf of the rectifiers hangs: those of mains transformer, fuses and
/// switches, and all that alternating volts reach.
fn before_rectifiers(circuit: &Circuit, assembly: &Assembly, state: &State) -> Vec<bool> {
    let elements = &assembly.netlist.elements;
    let mut found: Vec<bool> = elements
        .iter()
        .map(|e| {
            let ends = e.law.terminals();
            ends.iter().any(|n| {
                state
                    .alternating(*n, 0)
                    .is_some_and(|v| v > ALTERNATING_VOLTS)
            })
        })
        .collect();
    for part in &circuit.parts {
        if !matches!(
            part.kind,
            Kind::PowerTransformer(_) | Kind::Fuse { .. } | Kind::Switch { .. }
        ) {
            continue;
        }
        for index in assembly.elements_of.get(&part.name).into_iter().flatten() {
            if let Some(slot) = found.get_mut(*index) {
                *slot = true;
            }
        }
    }
    found
}

/// A factor on the current of one plate of a group; true if it is there.
fn weaken(groups: &mut [Group], element: usize, by: f64) -> bool {
    let mut found = false;
    for plate in groups.iter_mut().flat_map(|g| &mut g.law.plates) {
        if plate.element == element {
            let mut one = Element {
                name: String::new(),
                law: Law::Diode {
                    a: plate.plate,
                    k: plate.cathode,
                    law: plate.law,
                },
            };
            one.scale(Slot::Perveance, by);
            if let Law::Diode { law, .. } = one.law {
                plate.law = law;
                found = true;
            }
        }
    }
    found
}

fn set_ohms(net: &mut Netlist, element: usize, to: f64) {
    if let Some(Law::Resistor { ohms, .. }) = net.elements.get_mut(element).map(|e| &mut e.law) {
        *ohms = to;
    }
}

/// The resistance that a slot of a law is, with its ends.
fn resistance(law: &Law, slot: Slot) -> Option<(NodeIndex, NodeIndex, f64)> {
    match (law, slot) {
        (
            Law::Resistor { a, b, ohms }
            | Law::Inductor { a, b, ohms, .. }
            | Law::Alternating { a, b, ohms, .. }
            | Law::Source {
                plus: a,
                minus: b,
                ohms,
                ..
            },
            Slot::Ohms,
        ) => Some((*a, *b, *ohms)),
        (Law::Transformer(t), Slot::WindingOhms(i)) => {
            t.windings.get(i).map(|w| (w.a, w.b, w.ohms))
        }
        _ => None,
    }
}
