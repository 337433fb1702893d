//! The amplifier as the chart solves it: nominal, among sound ones, and with the meter on.
//!
//! Two circuits are kept: *nominal*, every part as marked or measured, and *middle*, every
//! part at the median of sound specimens. Bands are centred on the second. What the meter
//! does is solved, not corrected by formula, wherever it matters.

use super::Samples;
use super::bands::{Share, band};
use super::sample::{normals, quantile};
use super::state::{State, Trouble};
use super::verdict::{Band, K95};
use crate::tolerance::{Case, Causes, MainsKnown, Spread, Tolerances, part_of};
use solve::Assembly;
use solve::assemble::reach::hanging;
use solve::netlist::{Element, Law, Netlist, NodeIndex, Parameter, Quantity};
use std::collections::BTreeMap;
use wiring::NodeId;
use wiring::circuit::{Circuit, Kind};

/// Above this source resistance a node has no volts of its own.
pub(super) const UNDETERMINED_OHMS: f64 = 1e9;

/// A cause wider than this (one sigma of the logarithm) is solved on both sides.
const WIDE: f64 = 0.3;

/// Standard deviations at which wide causes are solved.
const WIDE_Z: f64 = K95;

/// A meter that takes more than this part of a source's volts is solved even where nobody read.
const LOADS: f64 = 0.01;

/// Alternating volts (rms) below this are hum, not drive.
const LEAST_ALTERNATING: f64 = 0.5;

/// What one probe should show.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Expected {
    /// With every part as marked or measured.
    pub(super) nominal: f64,
    /// Among sound amplifiers.
    pub(super) band: Band,
    /// Source resistance at the leads, without the meter, where it is known.
    pub(super) source_ohms: f64,
}

/// The amplifier, solved.
pub(super) struct Model {
    assembly: Assembly,
    causes: Causes,
    medians: Netlist,
    nominal: State,
    middle: State,
    /// Causes solved on both sides: index, then the states below and above.
    wide: Vec<(usize, State, State)>,
    /// Nodes whose volts hang on a part without a value, with the names of those parts.
    hanging: BTreeMap<NodeIndex, Vec<String>>,
    /// Factor sets of sampled builds, solved.
    builds: Vec<State>,
    /// Builds that could not be solved.
    pub(super) lost_builds: usize,
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
        let causes = Causes::of(circuit, &assembly.netlist.parameters, tolerances, mains);
        let nominal = State::new(&assembly.netlist, None)?;
        let medians = assembly.netlist.scaled(&causes.medians);
        let middle = State::new(&medians, Some(&nominal))?;
        let hanging = if assembly.stand_ins.is_empty() {
            BTreeMap::new()
        } else {
            hanging(&assembly, nominal.volts(), |trial| {
                let state = State::only_volts(trial, Some(&nominal)).ok()?;
                Some(state.volts().to_vec())
            })
        };
        let mut model = Self {
            assembly,
            causes,
            medians,
            nominal,
            middle,
            wide: Vec::new(),
            hanging,
            builds: Vec::new(),
            lost_builds: 0,
            meter: tolerances.spread(Case::MeterOhms, 0.0),
        };
        match samples {
            Some(samples) => model.build(samples),
            None => model.widen(circuit),
        }
        Ok(model)
    }

    /// Solves the wide causes, and those that act through the rectifier, on both sides.
    fn widen(&mut self, circuit: &Circuit) {
        let mut wide = Vec::new();
        for (index, cause) in self.causes.causes.iter().enumerate() {
            let by_supply = cause.moves.iter().any(|(p, _)| {
                self.assembly
                    .netlist
                    .parameters
                    .get(*p)
                    .is_some_and(|p| self.acts_through_supply(circuit, p))
            });
            if !by_supply && cause.width() <= WIDE {
                continue;
            }
            let side = |z: f64| {
                let mut each = vec![0.0; self.causes.causes.len()];
                if let Some(slot) = each.get_mut(index) {
                    *slot = z;
                }
                let netlist = self.assembly.netlist.scaled(&self.causes.factors(&each));
                State::new(&netlist, Some(&self.middle)).ok()
            };
            if let (Some(minus), Some(plus)) = (side(-WIDE_Z), side(WIDE_Z)) {
                wide.push((index, minus, plus));
            }
        }
        self.wide = wide;
    }

    /// Does a parameter act through the mains or the rectifier, whose means a slope at direct
    /// current does not hold? Mains and winding volts, ohms of a mains transformer, rectifier
    /// valves, and capacitors that stand at 30 V or more (the filters).
    fn acts_through_supply(&self, circuit: &Circuit, parameter: &Parameter) -> bool {
        if self.assembly.netlist.hertz <= 0.0 {
            return false;
        }
        match parameter.quantity {
            Quantity::Mains | Quantity::Volts | Quantity::Drop | Quantity::Henries => true,
            Quantity::Ohms => part_of(circuit, &parameter.part)
                .is_some_and(|p| matches!(p.kind, Kind::PowerTransformer(_))),
            Quantity::Farads => parameter.slots.iter().any(|(index, _)| {
                self.assembly
                    .netlist
                    .elements
                    .get(*index)
                    .is_some_and(|e| match e.law {
                        Law::Capacitor { a, b, farads, .. } => {
                            farads >= 1e-6 && self.middle.across(a, b).abs() >= 30.0
                        }
                        _ => false,
                    })
            }),
            _ => false,
        }
    }

    /// Solves sampled builds.
    fn build(&mut self, samples: Samples) {
        for z in normals(samples.seed, samples.builds, self.causes.causes.len()) {
            let netlist = self.assembly.netlist.scaled(&self.causes.factors(&z));
            match State::new(&netlist, Some(&self.middle)) {
                Ok(state) => self.builds.push(state),
                Err(_) => self.lost_builds += 1,
            }
        }
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

    /// Alternating volts between two nodes that the mains transformer puts there, rms.
    ///
    /// # Errors
    /// A sentence, where there is no such drive: hum and ripple are another computation.
    pub(super) fn expect_alternating(
        &self,
        a: NodeIndex,
        b: NodeIndex,
    ) -> Result<Expected, String> {
        let (Some(nominal), Some(centre)) = (
            self.nominal.alternating(a, b),
            self.middle.alternating(a, b),
        ) else {
            return Err("no mains drives this circuit".to_owned());
        };
        if nominal < LEAST_ALTERNATING {
            return Err(
                "no winding puts alternating volts here: what is read is hum or ripple, and that is not computed in a chart"
                    .to_owned(),
            );
        }
        self.known(a, b)?;
        let shares = self.wide.iter().map(|(_, minus, plus)| {
            let side = |s: &State| s.alternating(a, b).unwrap_or(centre) - centre;
            Share::between(WIDE_Z, side(minus), side(plus))
        });
        Ok(Expected {
            nominal,
            band: band(centre, shares),
            source_ohms: self.middle.source_ohms(a, b),
        })
    }

    /// What a meter between two nodes should show; `read` asks for its loading to be solved
    /// however small it is.
    ///
    /// # Errors
    /// A sentence that says why nothing can be expected there.
    pub(super) fn expect(
        &self,
        a: NodeIndex,
        b: NodeIndex,
        meter: Option<f64>,
        read: bool,
    ) -> Result<Expected, String> {
        let source_ohms = self.middle.source_ohms(a, b);
        if source_ohms.is_nan() || source_ohms > UNDETERMINED_OHMS {
            return Err(Self::why_floating(b == 0));
        }
        self.known(a, b)?;
        let Some(ohms) = meter.filter(|m| *m > 0.0 && m.is_finite()) else {
            let centre = self.middle.across(a, b);
            return Ok(Expected {
                nominal: self.nominal.across(a, b),
                band: self.band(a, b, centre, None, 1.0, None),
                source_ohms,
            });
        };
        let keeps = ohms / (ohms + source_ohms);
        if !read && source_ohms / ohms < LOADS {
            let centre = self.middle.across(a, b) * keeps;
            return Ok(Expected {
                nominal: self.nominal.across(a, b) * keeps,
                band: self.band(a, b, centre, None, keeps, None),
                source_ohms,
            });
        }
        let on = |netlist: &Netlist, start: &State| {
            let mut loaded = netlist.clone();
            loaded.elements.push(Element {
                name: "meter".to_owned(),
                law: Law::Resistor { a, b, ohms },
            });
            State::new(&loaded, Some(start)).map_err(|t| format!("with the meter on it, {t}"))
        };
        let nominal = on(&self.assembly.netlist, &self.nominal)?;
        let middle = on(&self.medians, &self.middle)?;
        let centre = middle.across(a, b);
        // a meter of more ohms shows more, by what it now takes
        let own = self.meter.sigma * centre * source_ohms / (ohms + source_ohms);
        Ok(Expected {
            nominal: nominal.across(a, b),
            band: self.band(
                a,
                b,
                centre,
                Some(&middle),
                keeps,
                Some(Share {
                    minus: -own,
                    plus: own,
                }),
            ),
            source_ohms,
        })
    }

    /// The band around a centre: from sampled builds where there are any, else from slopes at
    /// `loaded` (or at the middle times `keeps`) and from what was solved on both sides.
    fn band(
        &self,
        a: NodeIndex,
        b: NodeIndex,
        centre: f64,
        loaded: Option<&State>,
        keeps: f64,
        meter: Option<Share>,
    ) -> Band {
        if !self.builds.is_empty() {
            return self.sampled(a, b, keeps);
        }
        let (at, scale) = match loaded {
            Some(state) => (state, 1.0),
            None => (&self.middle, keeps),
        };
        let slopes = at.slopes(a, b);
        let base = self.middle.across(a, b);
        let shares = self.causes.causes.iter().enumerate().map(|(index, cause)| {
            match self.wide.iter().find(|w| w.0 == index) {
                Some((_, minus, plus)) => {
                    Share::between(WIDE_Z, minus.across(a, b) - base, plus.across(a, b) - base)
                        .times(keeps)
                }
                None => {
                    Share::linear(cause, |p| slopes.get(p).copied().unwrap_or(0.0)).times(scale)
                }
            }
        });
        band(centre, shares.chain(meter))
    }

    /// Median and 95 % of the builds, as a band of the same form.
    fn sampled(&self, a: NodeIndex, b: NodeIndex, keeps: f64) -> Band {
        let mut volts: Vec<f64> = self.builds.iter().map(|s| s.across(a, b) * keeps).collect();
        let mut at = |share| quantile(&mut volts, share).unwrap_or(f64::NAN);
        let (low, centre, high) = (at(0.025), at(0.5), at(0.975));
        Band {
            centre,
            down: (centre - low) / K95,
            up: (high - centre) / K95,
        }
    }

    /// Refuses two nodes whose volts hang on a part without a value.
    fn known(&self, a: NodeIndex, b: NodeIndex) -> Result<(), String> {
        let parts: Vec<&str> = [a, b]
            .iter()
            .filter_map(|n| self.hanging.get(n))
            .flatten()
            .map(String::as_str)
            .collect();
        match parts.first() {
            None => Ok(()),
            Some(part) => Err(format!("depends on {part}, whose value is not known")),
        }
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
}
