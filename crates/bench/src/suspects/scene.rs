//! The amplifier under one set of conditions, solved once as a sound one and then again, quickly,
//! with anything changed in it.
//!
//! The rectifiers stand in it as their tangents, which are drawn again where a change moves the
//! supply, so that a solution costs what the valves and the network cost. Expected readings come
//! with their slopes by every cause of spread, taken at the changed circuit itself.

mod carried;
mod change;
mod line;
mod pace;
mod rectifiers;
mod ripple;
mod shown;

use super::causes::{Known, Spreads};
use super::edit::STRAY;
use crate::chart::grid_current::{GridAmps, grid_amps};
use crate::chart::ohms::passive;
use crate::chart::state::{State, Trouble};
use crate::tolerance::Tolerances;
pub(super) use carried::{Carried, Load};
use pace::Oscillator;
pub(super) use pace::STILL_HERTZ;
use rectifiers::Group;
use ripple::Alternating;
pub(super) use ripple::is_wound;
use solve::Assembly;
use solve::assemble::reach;
use solve::netlist::{Element, Law, Netlist, NodeIndex};
use solve::operating::Solver;
use std::collections::BTreeMap;
use std::sync::OnceLock;
use wiring::circuit::{Circuit, Kind};

/// Ohms of a meter that is not there.
const AWAY_OHMS: f64 = 1e13;
/// A meter that takes more than this part of a source's volts is solved.
const LOADS: f64 = 0.02;
/// Volts that it must take, too.
const LOADS_VOLTS: f64 = 1e-3;
/// Alternating volts, rms, of a node that counts as before the rectifiers;
const ALTERNATING_VOLTS: f64 = 4.0;
/// and what ripple may be of the volts on a reservoir, on top.
const RIPPLE_PART: f64 = 0.08;
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
/// Least alternating volts, rms, that ripple is told from what gets in by stray fields (ours).
pub(super) const LEAST_AC: f64 = 0.01;

/// What is read in a scene.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Sort {
    /// Volts at rest.
    Live,
    /// Ohms, power off: natural logarithms.
    Cold,
    /// Volts of a signal: natural logarithms.
    Signal,
    /// Volts AC that the mains put there, with no signal: natural logarithms.
    Mains,
    /// Swings of the tremolo, hertz: natural logarithms.
    Pace,
}

/// Where the leads are, and what hangs on them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Leads {
    pub(super) a: NodeIndex,
    pub(super) b: NodeIndex,
    /// Ohms of the meter; infinite for none.
    pub(super) meter: f64,
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
    /// The readings block, or a number of its own: scenes of one have the same conditions.
    pub(super) block: usize,
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
    /// Each triode with the cause that moves its contact potential.
    contacts: Vec<(usize, usize)>,
    /// The cause that moves sections whose grids draw current.
    positive_grids: usize,
    /// Of each cause that acts through the mains: tangent element, and volts of its emf per
    /// standard deviation.
    supply: Vec<(usize, usize, f64)>,
    /// Plate current of each section in a sound amplifier, by element; nothing for other elements.
    sound_amps: Vec<f64>,
    /// By element: does the rectifiers' emf hang on it?
    alternating: Vec<bool>,
    /// Element that drives the signal, with its volts and hertz.
    signal: Option<(usize, f64, f64)>,
    /// What the mains put on the leads of a sound amplifier.
    mains: Option<Alternating>,
    oscillator: Oscillator,
    causes: usize,
    /// What every desk's solver begins as.
    compiled: OnceLock<Option<Solver>>,
}

/// Sound amplifiers at rest, kept for the scenes of one block that differ by what is read in them only.
#[derive(Clone)]
pub(super) struct Rest {
    block: usize,
    medians: Netlist,
    state: State,
    /// With tangents in the place of rectifiers.
    base: Netlist,
    groups: Vec<Group>,
    supply: Vec<(usize, usize, f64)>,
}

impl Rest {
    /// The one that was solved for this block and these medians.
    fn of(known: &Known, medians: &Netlist) -> Option<Self> {
        let mut all = known.rests.iter();
        let same = |r: &&Self| r.block == known.scene && r.medians == *medians;
        all.find(same).cloned()
    }
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
            block: known.scene,
            leads,
            base: Netlist::default(),
            volts: Vec::new(),
            state: None,
            groups: Vec::new(),
            meters: Vec::new(),
            grids: Vec::new(),
            strays: Vec::new(),
            contacts: Vec::new(),
            positive_grids: known.cause("law: positive grids"),
            supply: Vec::new(),
            sound_amps: Vec::new(),
            alternating: Vec::new(),
            signal: None,
            mains: None,
            oscillator: Oscillator::default(),
            causes: 0,
            compiled: OnceLock::new(),
            spreads,
            assembly,
        };
        if sort == Sort::Cold {
            scene.base = passive(&medians);
            let solved = solve::operating::solve(&scene.base, None);
            scene.volts = solved.volts;
        } else {
            let kept = Rest::of(known, &medians);
            let state = match &kept {
                Some(kept) => kept.state.clone(),
                None => State::new(&medians, None)?,
            };
            match &kept {
                Some(kept) => {
                    scene.base.clone_from(&kept.base);
                    scene.groups.clone_from(&kept.groups);
                }
                None => scene.freeze(&state, !known.few),
            }
            let frozen = scene.base.clone();
            scene.volts = state.volts().to_vec();
            scene.grids = grid_amps(&scene.assembly.netlist.elements, tolerances)
                .into_iter()
                .map(|g| {
                    let name = scene.base.nodes.get(g.grid).map_or("?", String::as_str);
                    let cause = known.cause(&format!("{name} grid current"));
                    (g, cause)
                })
                .collect();
            let elements = scene.base.elements.iter().enumerate();
            scene.contacts = elements
                .filter(|(_, e)| matches!(e.law, Law::Triode { .. }))
                .map(|(at, e)| (at, known.cause(&format!("{} contact potential", e.name))))
                .collect();
            scene.stray_currents();
            match kept {
                Some(kept) => scene.supply = kept.supply,
                None => {
                    scene.look_at_supply(&state);
                    known.rests.push(Rest {
                        block: known.scene,
                        medians,
                        state: state.clone(),
                        base: frozen,
                        groups: scene.groups.clone(),
                        supply: scene.supply.clone(),
                    });
                }
            }
            scene.sound_amps = plate_amps(&scene.base, &scene.volts);
            scene.alternating = before_rectifiers(circuit, &scene.assembly, &state);
            if sort == Sort::Mains {
                scene.mains = scene.alternating(&state);
            }
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
        let compiled = self.compiled.get_or_init(|| Solver::new(&net).ok());
        Some(Desk {
            plain: compiled.clone()?,
            net,
            groups: self.groups.clone(),
            other: None,
            edited: Vec::new(),
        })
    }

    /// Volts by which `a` over `b` moves per ampere fed into each node, at rest, with all that these
    /// elements conduct taken away.
    pub(super) fn transfer(
        &self,
        a: NodeIndex,
        b: NodeIndex,
        without: &[usize],
    ) -> Option<Vec<f64>> {
        let mut desk = self.desk()?;
        for element in without {
            if let Some(Law::Resistor { ohms, .. } | Law::Source { ohms, .. }) =
                desk.net.elements.get_mut(*element).map(|e| &mut e.law)
            {
                *ohms = AWAY_OHMS;
            }
        }
        let solution = desk.plain.solve(&desk.net, Some(&self.volts));
        (solution.converged() && desk.plain.linearise()).then(|| desk.plain.adjoint(a, b))
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
        if let Some(mains) = &mut self.mains {
            mains.keep(keep);
        }
    }
}

/// Plate current of each section, by element.
fn plate_amps(net: &Netlist, volts: &[f64]) -> Vec<f64> {
    let of = |e: &Element| match e.law {
        Law::Triode { .. } | Law::Pentode { .. } => carried::carried(&e.law, volts).amps,
        _ => 0.0,
    };
    net.elements.iter().map(of).collect()
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
                let steady = state.volts().get(*n).copied().unwrap_or(0.0).abs();
                let least = ALTERNATING_VOLTS + RIPPLE_PART * steady;
                state.alternating(*n, 0).is_some_and(|v| v > least)
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
