//! What a meter shows in a circuit that is solved, and how that moves with every cause of spread.

use super::carried::carried;
use super::{
    AWAY_OHMS, Desk, Expected, LEAST_SIGNAL, LOADS, LOADS_VOLTS, Leads, NO_PATH_OHMS, Scene,
};
use crate::suspects::causes::feed;
use solve::netlist::{Law, Netlist, NodeIndex, Quantity, Slot};
use solve::operating::{Solution, Solver};
use solve::response::SmallSignal;

/// By how much more an amplification factor spreads in a section that is cut off (ours). Laws that
/// agree on a sheet's points need up to half as many volts again for the last microampere, as their
/// onset is softer or sharper: that is two of these standard deviations.
const CUT_OFF: f64 = 6.0;
/// Part of a sound section's current from which that comes in; whole at a hundredth of it.
const CUT_OFF_FROM: f64 = 0.1;

/// Amperes that find their way over boards and sockets where no part is: with what a meter sees behind
/// a point they are volts that no model knows, one sigma, within these limits (ours, all three).
const STRAY_LEAK: f64 = 40e-9;
const MOST_STRAY: f64 = 4e-3;
const LEAST_STRAY: f64 = 2e-4;

/// Sound volts from which a point is a plate's or a rail's.
const HIGH_VOLTS: f64 = 50.0;
/// How far such a point goes below ground (ours).
const FLOOR_VOLTS: f64 = -0.3;
/// By how much the plate current of a section whose grid draws current may differ from its law, as
/// part of it, one sigma: no sheet has curves there (ours).
const POSITIVE_GRID: f64 = 0.15;
/// Grid current from which that holds, as part of the plate's.
const POSITIVE_FROM: f64 = 1e-3;
/// One sigma of the volts at which a triode's grid begins to draw current, from one to the next: its contact potential (ours).
/// It moves a grid that nothing but that current holds, and no other.
const CONTACT_VOLTS: f64 = 0.2;

impl Scene {
    pub(super) fn cold(&self, desk: &mut Desk, moved: bool, slopes: bool) -> Option<Expected> {
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

    pub(super) fn signal(
        &self,
        net: &Netlist,
        solution: &Solution,
        slopes: bool,
    ) -> Option<Expected> {
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

    pub(super) fn live(
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
        let pairs: Vec<_> = self.leads.iter().map(|l| (l.a, l.b)).collect();
        let sources = solver.seen(&pairs);
        let adjoints: Vec<Vec<f64>> = if slopes {
            pairs.iter().map(|(a, b)| solver.adjoint(*a, *b)).collect()
        } else {
            Vec::new()
        };
        let feeds = slopes.then(|| self.feeds(net, &solution.volts, &edited));
        for (index, leads) in self.leads.iter().enumerate() {
            let source = sources.get(index)?.abs();
            let open = solution.across(leads.a, leads.b);
            let takes = if leads.meter.is_finite() {
                source / (leads.meter + source)
            } else {
                0.0
            };
            let stray = (STRAY_LEAK * source).clamp(LEAST_STRAY, MOST_STRAY);
            out.own.push(stray * stray);
            if takes > LOADS && takes * open.abs() > LOADS_VOLTS {
                let (shown, slope) =
                    self.loaded(solver, net, solution, index, slopes.then_some(&edited))?;
                out.mean.push(self.above_floor(leads, shown));
                for (cause, value) in slope {
                    out.add_slope(index, cause, value, self.causes);
                }
                continue;
            }
            out.mean.push(self.above_floor(leads, open * (1.0 - takes)));
            if let (Some(feeds), Some(adjoint)) = (&feeds, adjoints.get(index)) {
                let at = |n: NodeIndex| adjoint.get(n).copied().unwrap_or(0.0);
                for (cause, node, amps) in feeds {
                    out.add_slope(index, *cause, at(*node) * amps * (1.0 - takes), self.causes);
                }
            }
        }
        Some(out)
    }

    /// A plate or a rail goes no farther below ground than electrons that left their cathode warm can
    /// climb; the laws, which were not fitted there, let them.
    fn above_floor(&self, leads: &Leads, volts: f64) -> f64 {
        let at = |n: NodeIndex| self.volts.get(n).copied().unwrap_or(0.0);
        if at(leads.a) - at(leads.b) > HIGH_VOLTS {
            volts.max(FLOOR_VOLTS)
        } else {
            volts
        }
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

    /// Factor on the spread of an amplification factor where a section is all but cut off: how a
    /// grid's uneven wires let the last of the current through is no law's business.
    fn wider(&self, element: usize, law: &Law, volts: &[f64]) -> f64 {
        let sound = self.sound_amps.get(element).copied().unwrap_or(0.0);
        if sound <= 0.0 {
            return 1.0;
        }
        let left = (carried(law, volts).amps / sound).max(1e-9);
        1.0 + CUT_OFF * (0.5 * (CUT_OFF_FROM / left).log10()).clamp(0.0, 1.0)
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
                for (index, slot) in &parameter.slots {
                    if edited.contains(index) {
                        continue;
                    }
                    if let Some(element) = net.elements.get(*index) {
                        let wider = match parameter.quantity {
                            Quantity::Mu => self.wider(*index, &element.law, volts),
                            _ => 1.0,
                        };
                        feed(element, *slot, volts, |node, amps| {
                            all.push((*cause, node, amps * weight * wider));
                        });
                    }
                }
            }
        }
        for (grid, cause) in &self.grids {
            all.push((*cause, grid.grid, grid.sigma));
            all.push((*cause, grid.cathode, -grid.sigma));
        }
        for (contact, cause) in &self.contacts {
            let element = net.elements.get(*contact);
            if let Some((grid, cathode, siemens)) = element.and_then(|e| grid_slope(&e.law, volts))
            {
                all.push((*cause, grid, CONTACT_VOLTS * siemens));
                all.push((*cause, cathode, -CONTACT_VOLTS * siemens));
            }
        }
        for element in &net.elements {
            if let Some((plate, cathode, amps)) = beyond_sheets(&element.law, volts) {
                all.push((self.positive_grids, plate, -POSITIVE_GRID * amps));
                all.push((self.positive_grids, cathode, POSITIVE_GRID * amps));
            }
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

/// Grid, cathode and slope of the grid current of a triode.
fn grid_slope(law: &Law, volts: &[f64]) -> Option<(NodeIndex, NodeIndex, f64)> {
    let Law::Triode {
        plate,
        grid,
        cathode,
        law,
    } = law
    else {
        return None;
    };
    let at = |n: NodeIndex| volts.get(n).copied().unwrap_or(0.0);
    let k = at(*cathode);
    let siemens = law.currents(at(*plate) - k, at(*grid) - k).grid_by_grid;
    (siemens > 0.0).then_some((*grid, *cathode, siemens))
}

/// Plate, cathode and plate current of a triode whose grid draws current.
fn beyond_sheets(law: &Law, volts: &[f64]) -> Option<(NodeIndex, NodeIndex, f64)> {
    let Law::Triode {
        plate,
        grid,
        cathode,
        law,
    } = law
    else {
        return None;
    };
    let at = |n: NodeIndex| volts.get(n).copied().unwrap_or(0.0);
    let k = at(*cathode);
    let point = law.currents(at(*plate) - k, at(*grid) - k);
    (point.grid_a > POSITIVE_FROM * point.plate_a).then_some((*plate, *cathode, point.plate_a))
}

impl Expected {
    pub(super) fn with_room(leads: usize, causes: usize) -> Self {
        Self {
            mean: Vec::with_capacity(leads),
            slope: vec![0.0; leads * causes],
            own: Vec::with_capacity(leads),
        }
    }

    pub(super) fn add_slope(&mut self, lead: usize, cause: usize, value: f64, causes: usize) {
        if let Some(slot) = self.slope.get_mut(lead * causes + cause) {
            *slot += value;
        }
    }
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
