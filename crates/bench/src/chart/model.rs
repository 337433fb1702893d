//! The amplifier as the chart solves it: nominal, among sound ones, and with the meter on.
//!
//! Two circuits are solved: *nominal*, every part as marked or measured, and *middle*, every
//! part at the median of sound specimens. Bands are centred on the second. A meter that takes
//! more than a hundredth of what it measures is put into the circuit, which is solved again;
//! below that it is put into the circuit as it answers small changes, which gives the same to
//! within a ten-thousandth (a test compares the two).

use super::Samples;
use super::bands::{Share, band};
use super::builds::Builds;
use super::grid_current::{GridAmps, grid_amps};
use super::state::{Shift, Sloped, State, Trouble};
use super::verdict::{Band, K95};
use crate::tolerance::{Case, Causes, MainsKnown, Spread, Tolerances, part_of};
use solve::Assembly;
use solve::assemble::reach;
use solve::netlist::{Element, Law, Netlist, NodeIndex, Parameter, Quantity};
use std::collections::BTreeMap;
use wiring::NodeId;
use wiring::circuit::{Circuit, Kind};

/// Above this source resistance a node has no volts of its own.
pub(super) const UNDETERMINED_OHMS: f64 = 1e9;

/// Standard deviations at which what a cause does is looked at, each way.
const LOOK: f64 = K95;

/// A meter that takes more than this part of a source's volts is solved.
const LOADS: f64 = 0.01;

/// A cause of the supply narrower than this (one sigma of the logarithm) is looked at one way.
const NARROW: f64 = 0.25;

/// Volts that it must take, too: what is nothing stays nothing.
const LOADS_VOLTS: f64 = 1e-3;

/// Alternating volts (rms) below this are hum, not drive.
const LEAST_ALTERNATING: f64 = 0.5;

/// Ripple (rms) of a filter below this is left to another computation.
const LEAST_RIPPLE: f64 = 0.1;

/// One standard deviation of a sound filter's ripple, as part of it: that of its electrolytics'
/// farads (20 %) and of the load (common practice, no source).
const RIPPLE_SPREAD: f64 = 0.25;

/// What one probe should show.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Expected {
    /// With every part as marked or measured.
    pub(crate) nominal: f64,
    /// Among sound amplifiers.
    pub(crate) band: Band,
    /// Source resistance at the leads, without the meter.
    pub(crate) source_ohms: f64,
}

/// The amplifier, solved.
pub(super) struct Model {
    assembly: Assembly,
    causes: Causes,
    grids: Vec<GridAmps>,
    nominal: State,
    middle: Sloped,
    /// Both with their supply as tangents, for the meter to be put in.
    nominal_frozen: Sloped,
    middle_frozen: State,
    /// What each cause does down and up, in the order of the causes, then of the grids.
    shifts: Vec<(Shift, Shift)>,
    /// Causes that act through the supply, which a slope at direct current does not show.
    by_supply: Vec<bool>,
    /// Nodes whose volts hang on something unknown, with a sentence that says on what.
    hanging: BTreeMap<NodeIndex, String>,
    /// Valve sections, by element, whose grid has no direct-current path, or one that leads to what
    /// is not traced yet.
    adrift: Vec<usize>,
    builds: Option<Builds>,
    meter: Spread,
}

impl Model {
    /// Solves the assembled circuit, nominal and middle.
    ///
    /// # Errors
    /// When there is no operating point; with its reason.
    pub(super) fn new(
        circuit: &Circuit,
        assembly: Assembly,
        tolerances: &Tolerances,
        mains: MainsKnown,
        samples: Option<Samples>,
    ) -> Result<Self, Trouble> {
        let netlist = &assembly.netlist;
        let causes = Causes::of(circuit, &netlist.parameters, tolerances, mains);
        let mut grids = grid_amps(&netlist.elements, tolerances);
        let nominal = State::new(netlist, None)?;
        let medians = netlist.scaled(&causes.medians);
        let mut middle = Sloped::new(nominal.near(&medians)?)?;
        middle.prepare(&medians);
        let nominal_frozen = Sloped::new(nominal.frozen())?;
        let middle_frozen = middle.state().frozen();
        let solve = |trial: &Netlist| Some(nominal.near(trial).ok()?.volts().to_vec());
        let mut hanging = BTreeMap::new();
        if !assembly.stand_ins.is_empty() {
            for (node, parts) in reach::hanging(&assembly, nominal.volts(), solve) {
                if let Some(part) = parts.first() {
                    let why = format!("depends on {part}, whose value is not known");
                    hanging.insert(node, why);
                }
            }
        }
        let mut adrift = adrift(&netlist.elements, &middle);
        let unsteered = reach::unsteered(&assembly);
        let lost = adrift
            .iter()
            .map(|index| (*index, "whose grid has no direct-current path"))
            .chain(
                unsteered
                    .iter()
                    .map(|index| (*index, "whose grid hangs on what is not traced yet")),
            );
        for (index, what) in lost {
            let volts = nominal.volts();
            let (moved, name) = reach::without_current(netlist, index, volts, solve);
            for node in moved {
                let why = || format!("depends on {name}, {what}");
                hanging.entry(node).or_insert_with(why);
            }
        }
        for (node, why) in &assembly.untold {
            hanging.insert(*node, why.clone());
        }
        adrift.extend(unsteered);
        // What such a grid does is unknown, not a spread.
        grids.retain(|g| !is_adrift(&middle, g.grid, g.cathode));
        let builds = samples.map(|s| Builds::new(netlist, &causes, &grids, middle.state(), s));
        let mut model = Self {
            by_supply: causes
                .causes
                .iter()
                .map(|c| {
                    c.moves.iter().any(|(p, _)| {
                        netlist
                            .parameters
                            .get(*p)
                            .is_some_and(|p| through_supply(circuit, &assembly, &middle, p))
                    })
                })
                .collect(),
            assembly,
            causes,
            grids,
            nominal,
            middle,
            nominal_frozen,
            middle_frozen,
            shifts: Vec::new(),
            hanging,
            adrift,
            builds,
            meter: tolerances.spread(Case::MeterOhms, 0.0),
        };
        if model.builds.is_none() {
            model.look();
        }
        Ok(model)
    }

    /// Looks at what each cause does.
    fn look(&mut self) {
        let causes = self.causes.causes.iter().enumerate();
        let mut shifts: Vec<(Shift, Shift)> = causes
            .map(|(index, cause)| {
                let by_supply = self.by_supply.get(index) == Some(&true);
                let side = |z: f64| {
                    if !by_supply {
                        let factors: Vec<(usize, f64)> = cause
                            .moves
                            .iter()
                            .map(|(p, weight)| (*p, (weight * z).exp()))
                            .collect();
                        return self.middle.moved(&factors);
                    }
                    let mut all = vec![0.0; self.causes.causes.len()];
                    if let Some(slot) = all.get_mut(index) {
                        *slot = z;
                    }
                    let after = self.assembly.netlist.scaled(&self.causes.factors(&all));
                    self.middle.becomes(&after).unwrap_or_default()
                };
                let plus = side(LOOK);
                // a narrow cause does the same the other way round; half the work
                if by_supply && cause.width() < NARROW {
                    (plus.mirrored(), plus)
                } else {
                    (side(-LOOK), plus)
                }
            })
            .collect();
        shifts.extend(self.grids.iter().map(|g| {
            let side = |z: f64| self.middle.fed(g.grid, g.cathode, g.sigma * z);
            (side(-LOOK), side(LOOK))
        }));
        self.shifts = shifts;
    }

    /// The netlist's node of a wiring node.
    pub(super) fn node(&self, node: NodeId) -> Option<NodeIndex> {
        self.assembly.node_of.get(node.0).copied().flatten()
    }

    /// Volts of a wiring node with every part as marked or measured, no meter on it.
    pub(super) fn volts(&self, node: NodeId) -> Option<f64> {
        let node = self.node(node)?;
        let sure = self.middle.source_ohms(node, 0) <= UNDETERMINED_OHMS;
        sure.then(|| self.nominal.across(node, 0))
    }

    /// The nominal circuit.
    pub(super) fn nominal(&self) -> &State {
        &self.nominal
    }

    /// What was assembled.
    pub(super) fn assembly(&self) -> &Assembly {
        &self.assembly
    }

    /// Sampled builds that had no operating point.
    pub(super) fn lost_builds(&self) -> usize {
        self.builds.as_ref().map_or(0, |b| b.lost)
    }

    /// Alternating volts between two nodes that the mains transformer puts there, or the ripple
    /// of a filter against ground, rms.
    ///
    /// # Errors
    /// A sentence, where there is no such drive: hum is another computation.
    pub(super) fn expect_alternating(
        &self,
        a: NodeIndex,
        b: NodeIndex,
    ) -> Result<Expected, String> {
        let (Some(nominal), Some(centre)) = (
            self.nominal.alternating(a, b),
            self.middle.state().alternating(a, b),
        ) else {
            return Err("no mains drives this circuit".to_owned());
        };
        if nominal < LEAST_ALTERNATING {
            let ripple = self.nominal.ripple(a);
            if b == 0 && ripple > LEAST_RIPPLE {
                let spread = RIPPLE_SPREAD * ripple;
                return Ok(Expected {
                    nominal: ripple,
                    band: Band {
                        centre: ripple,
                        down: spread,
                        up: spread,
                    },
                    source_ohms: self.middle.source_ohms(a, b),
                });
            }
            return Err(
                "no winding or rectifier puts alternating volts to speak of here: what is read is hum, and that is not computed in a chart"
                    .to_owned(),
            );
        }
        self.known(a, b)?;
        let shares = self.shifts.iter().map(|(minus, plus)| {
            let side = |s: &Shift| Some((s.alternating(a, b)? - 1.0) * centre);
            let plus = side(plus).unwrap_or(0.0);
            Share::between(LOOK, side(minus).unwrap_or(-plus), plus)
        });
        Ok(Expected {
            nominal,
            band: band(centre, shares),
            source_ohms: self.middle.source_ohms(a, b),
        })
    }

    /// What a meter of so many ohms between two nodes should show (`None`: no meter).
    ///
    /// # Errors
    /// A sentence that says why nothing can be expected there.
    pub(super) fn expect(
        &self,
        a: NodeIndex,
        b: NodeIndex,
        meter: Option<f64>,
    ) -> Result<Expected, String> {
        let source_ohms = self.middle.source_ohms(a, b);
        if source_ohms.is_nan() || source_ohms > UNDETERMINED_OHMS {
            return Err(why_floating(b == 0));
        }
        self.known(a, b)?;
        let (nominal, centre) = (self.nominal.across(a, b), self.middle.state().across(a, b));
        let Some(ohms) = meter.filter(|m| *m > 0.0 && m.is_finite()) else {
            return Ok(Expected {
                nominal,
                band: self.free(a, b, centre, 1.0),
                source_ohms,
            });
        };
        let takes = source_ohms / (ohms + source_ohms);
        let (nominal, band) = if takes > LOADS && takes * nominal.abs() > LOADS_VOLTS {
            self.loaded(a, b, ohms, takes)
                .map_err(|t| format!("with the meter on it, {t}"))?
        } else {
            let source = self.nominal_frozen.source_ohms(a, b);
            let nominal = nominal * ohms / (ohms + source);
            let keeps = 1.0 - takes;
            (nominal, self.free(a, b, centre * keeps, keeps))
        };
        Ok(Expected {
            nominal,
            band,
            source_ohms,
        })
    }

    /// Nominal volts and band with the meter solved into the circuit.
    fn loaded(
        &self,
        a: NodeIndex,
        b: NodeIndex,
        ohms: f64,
        takes: f64,
    ) -> Result<(f64, Band), Trouble> {
        let nominal = self
            .nominal_frozen
            .state()
            .with_resistor("meter", a, b, ohms)?
            .across(a, b);
        let middle = self.middle_frozen.with_resistor("meter", a, b, ohms)?;
        let centre = middle.across(a, b);
        if self.builds.is_some() {
            return Ok((nominal, self.free(a, b, centre, 1.0 - takes)));
        }
        let middle = Sloped::new(middle)?;
        let slopes = middle.slopes(a, b);
        let slope = |p: usize| slopes.get(p).copied().unwrap_or(0.0);
        let (causes, supply) = (self.causes.causes.iter(), self.by_supply.iter());
        let by_parts = causes
            .zip(supply)
            .zip(&self.shifts)
            .map(|((cause, supply), shift)| {
                if *supply {
                    Share::between(LOOK, shift.0.across(a, b), shift.1.across(a, b))
                        .times(1.0 - takes)
                } else {
                    Share::linear(cause, slope)
                }
            });
        let by_grids = self.grids.iter().map(|g| {
            let plus = middle.fed(g.grid, g.cathode, g.sigma).across(a, b);
            Share::between(1.0, -plus, plus)
        });
        // a meter of more ohms shows more, by what it now takes
        let own = self.meter.sigma * centre * takes;
        let by_meter = Share::between(1.0, -own, own);
        Ok((
            nominal,
            band(centre, by_parts.chain(by_grids).chain([by_meter])),
        ))
    }

    /// The band without a meter in the circuit, times what a meter leaves of it: from sampled
    /// builds where there are any, else from what each cause does.
    fn free(&self, a: NodeIndex, b: NodeIndex, centre: f64, keeps: f64) -> Band {
        if let Some(builds) = &self.builds {
            return builds.band(a, b, keeps);
        }
        let shares = self.shifts.iter().map(|(minus, plus)| {
            Share::between(LOOK, minus.across(a, b), plus.across(a, b)).times(keeps)
        });
        band(centre, shares)
    }

    /// Refuses two nodes whose volts hang on something unknown.
    fn known(&self, a: NodeIndex, b: NodeIndex) -> Result<(), String> {
        match [a, b].iter().find_map(|n| self.hanging.get(n)) {
            None => Ok(()),
            Some(why) => Err(why.clone()),
        }
    }

    /// Whether this element is a valve section whose grid has no direct-current path, so that
    /// nobody knows its currents.
    pub(super) fn is_adrift(&self, element: usize) -> bool {
        self.adrift.contains(&element)
    }
}

fn is_adrift(at: &Sloped, grid: NodeIndex, cathode: NodeIndex) -> bool {
    at.source_ohms(grid, 0) > UNDETERMINED_OHMS && at.source_ohms(grid, cathode) > UNDETERMINED_OHMS
}

/// Valve sections whose grid stands where leakage happens to put it.
fn adrift(elements: &[Element], at: &Sloped) -> Vec<usize> {
    let each = elements.iter().enumerate();
    each.filter(|(_, e)| match e.law {
        Law::Triode { grid, cathode, .. } | Law::Pentode { grid, cathode, .. } => {
            is_adrift(at, grid, cathode)
        }
        _ => false,
    })
    .map(|(index, _)| index)
    .collect()
}

/// Why a node has no volts.
fn why_floating(against_ground: bool) -> String {
    let ends = if against_ground {
        "it"
    } else {
        "one of its ends"
    };
    format!(
        "no direct-current path to ground: whatever {ends} reads comes through insulation and the meter itself"
    )
}

/// Does a parameter act through the mains or the rectifier, whose means a slope at direct
/// current does not hold? Mains and winding volts, ohms of a mains transformer, rectifier
/// valves, and the capacitors and coils that hold the ripple.
fn through_supply(
    circuit: &Circuit,
    assembly: &Assembly,
    middle: &Sloped,
    parameter: &Parameter,
) -> bool {
    if assembly.netlist.hertz <= 0.0 {
        return false;
    }
    match parameter.quantity {
        Quantity::Mains | Quantity::Volts | Quantity::Drop => true,
        Quantity::Ohms => part_of(circuit, &parameter.part)
            .is_some_and(|p| matches!(p.kind, Kind::PowerTransformer(_))),
        Quantity::Farads | Quantity::Henries => {
            let mut slots = parameter.slots.iter();
            slots.any(|(index, _)| middle.holds_ripple(*index))
        }
        _ => false,
    }
}
