//! The readings that could be taken next: where, under which conditions, at what effort.
//!
//! Only what is safe is among them: no plate of an output valve under power, no driven end of an
//! output transformer, nothing of the mains side or of the mains transformer's windings, and no
//! ohms where a capacitor would hold its charge for minutes after the plug is out.

mod safe;

pub(super) use safe::Forbidden;

use super::evidence::{Evidence, Seen};
use super::scene::{Leads, Scene, Sort};
use crate::chart::ChartRequest;
use crate::chart::conditions::{conditions, meter};
use crate::chart::points::{first_name, two_ends};
use crate::tolerance::{MainsKnown, Tolerances};
use solve::netlist::NodeIndex;
use solve::{AssembleOptions, assemble};
use std::collections::BTreeSet;
use wiring::Place;
use wiring::circuit::{Circuit, Electrode, Kind, NodeId, Position, Setting};
use wiring::readings::{Block, Conditions, Probe, Unit, ValvesIn};
use wiring::roles::{Anatomy, BlockKind};
use wiring::sheet::Library;

/// Effort of a reading under power where the last ones were taken. Ours, all of these.
const PROBE: f64 = 1.0;
/// Of a grid: high resistance, and the stage moves while the probe is on.
const GRID: f64 = 1.3;
/// Of ohms: off, unplugged, discharged, checked.
const OHMS: f64 = 1.7;
/// Of a signal: generator and knobs.
const SIGNAL: f64 = 2.5;
/// Of volts with the output valves out.
const PULLED: f64 = 2.5;
/// Signal at the jack, volts rms.
const SIGNAL_VOLTS: f64 = 0.02;
/// Its frequency.
const SIGNAL_HERTZ: f64 = 1000.0;

/// A reading that could be taken.
#[derive(Debug, Clone)]
pub(super) struct Candidate {
    /// The point as it would be typed.
    pub(super) probe: String,
    /// Under which conditions.
    pub(super) condition: String,
    /// What is said anew for it, line by line as a readings block has it.
    pub(super) settings: Vec<String>,
    pub(super) effort: f64,
    pub(super) sort: Sort,
}

impl Candidate {
    pub(super) fn is_live(&self) -> bool {
        self.sort != Sort::Cold
    }

    pub(super) fn unit(&self) -> &'static str {
        match self.sort {
            Sort::Live => "V",
            Sort::Cold => "ohm",
            Sort::Signal => "V ac",
        }
    }

    /// A value of the scene as a meter shows it.
    pub(super) fn shown(&self, mean: f64) -> f64 {
        if self.sort == Sort::Live {
            mean
        } else {
            mean.exp()
        }
    }
}

/// Candidates, with scenes to expect them in.
pub(super) struct Wanted {
    /// Scenes, and a place in `seen` for each candidate.
    pub(super) evidence: Evidence,
    pub(super) candidates: Vec<Candidate>,
}

/// What is needed to set scenes up.
struct Bench<'a> {
    circuit: &'a Circuit,
    library: &'a Library,
    anatomy: &'a Anatomy,
    tolerances: &'a Tolerances,
    forbidden: Forbidden,
}

/// A place to put the leads.
struct Spot {
    name: String,
    ends: (NodeId, Option<NodeId>),
    effort: f64,
}

impl Wanted {
    /// Everything that could be read next.
    pub(super) fn of(
        circuit: &Circuit,
        library: &Library,
        anatomy: &Anatomy,
        tolerances: &Tolerances,
        evidence: &Evidence,
    ) -> Self {
        let bench = Bench {
            circuit,
            library,
            anatomy,
            tolerances,
            forbidden: Forbidden::of(circuit, anatomy),
        };
        let mut all = Self {
            evidence: evidence.empty(),
            candidates: Vec::new(),
        };
        let live = bench.last_live();
        let name = live.map_or("running", |(_, b)| b.name.as_str());
        let block = live.map(|(_, b)| b);
        let (under, mains) = conditions(circuit, &ChartRequest::default(), block);
        let number = live.map_or(circuit.readings.len(), |(i, _)| i);
        all.add(
            &bench,
            &under,
            mains,
            number,
            (name, Vec::new()),
            Sort::Live,
            bench.live_spots(block.map(|b| &b.conditions)),
            PROBE,
        );
        let outputs = bench.output_valves();
        if !outputs.is_empty() && under.valves == ValvesIn::All {
            let pulled = Conditions {
                valves: ValvesIn::Without(outputs.clone()),
                ..under.clone()
            };
            let name = format!("without {}", outputs.join(" "));
            let spots = bench.output_grids();
            let number = circuit.readings.len() + 1;
            all.add(
                &bench,
                &pulled,
                mains,
                number,
                (&name, vec![format!("valves {name}")]),
                Sort::Live,
                spots,
                PULLED,
            );
        }
        let cold = Conditions {
            power_off: true,
            sets: under.sets.clone(),
            ..Conditions::default()
        };
        let number = circuit.readings.len() + 2;
        let spots = bench.cold_spots();
        all.add(
            &bench,
            &cold,
            mains,
            number,
            ("power off, discharged", vec!["power off".to_owned()]),
            Sort::Cold,
            spots,
            OHMS,
        );
        all.drop_charged(circuit, evidence);
        if let Some(jack) = bench.input_jack() {
            let mut with = under.clone();
            let mut knobs = Vec::new();
            for volume in bench.volumes() {
                knobs.push(format!("{volume} 5"));
                with.sets.push(Setting {
                    name: volume,
                    to: Position::Number(5.0),
                    place: Place::default(),
                });
            }
            with.signal = Some((jack.clone(), SIGNAL_VOLTS, SIGNAL_HERTZ));
            let name = format!(
                "signal {jack} 20 mV 1 kHz{}{}",
                if knobs.is_empty() { "" } else { ", " },
                knobs.join(", ")
            );
            let number = circuit.readings.len() + 3;
            let mut settings: Vec<String> = knobs.iter().map(|k| format!("set {k}")).collect();
            settings.push(format!("signal {jack} {SIGNAL_VOLTS} {SIGNAL_HERTZ}"));
            all.add(
                &bench,
                &with,
                mains,
                number,
                (&name, settings),
                Sort::Signal,
                bench.signal_spots(),
                SIGNAL,
            );
        }
        all.evidence.causes = all.evidence.known.count();
        let causes = all.evidence.causes;
        for scene in &mut all.evidence.scenes {
            scene.settle_causes(causes);
        }
        all
    }

    #[allow(
        clippy::too_many_arguments,
        reason = "one line for each condition, nothing to group"
    )]
    fn add(
        &mut self,
        bench: &Bench<'_>,
        under: &Conditions,
        mains: MainsKnown,
        number: usize,
        (name, settings): (&str, Vec<String>),
        sort: Sort,
        spots: Vec<Spot>,
        effort: f64,
    ) {
        let mut under = under.clone();
        let signal = under.signal.clone().filter(|_| sort == Sort::Signal);
        under.signal.clone_from(&signal);
        let assembly = assemble(
            bench.circuit,
            bench.library,
            &under,
            &AssembleOptions::default(),
        );
        let node = |id: NodeId| assembly.node_of.get(id.0).copied().flatten();
        let ohms = meter(bench.circuit.readings.last()).map_or(10e6, |m| m.ohms);
        let mut leads: Vec<Leads> = Vec::new();
        let mut candidates = Vec::new();
        for spot in spots {
            let (Some(a), Some(b)) = (node(spot.ends.0), spot.ends.1.map_or(Some(0), node)) else {
                continue;
            };
            if a == b {
                continue;
            }
            leads.push(Leads {
                a,
                b,
                meter: if sort == Sort::Live {
                    ohms
                } else {
                    f64::INFINITY
                },
            });
            candidates.push(Candidate {
                probe: spot.name,
                condition: name.to_owned(),
                settings: settings.clone(),
                effort: effort * spot.effort,
                sort,
            });
        }
        if leads.is_empty() {
            return;
        }
        let known = &mut self.evidence.known;
        known.mains = Some(mains);
        known.scene = number;
        let gain_cause = known.cause(&format!("meter gain {number}"));
        let drive = signal.map(|(_, volts, hertz)| (volts, hertz));
        let made = Scene::new(
            bench.circuit,
            assembly,
            sort,
            bench.tolerances,
            known,
            leads,
            drive,
        );
        let Ok(mut scene) = made else { return };
        if sort != Sort::Cold {
            let unknown = scene.unknown();
            let keep: Vec<bool> = scene
                .leads
                .iter()
                .map(|l| !unknown.contains_key(&l.a) && !unknown.contains_key(&l.b))
                .collect();
            scene.keep(&keep);
            let mut at = keep.iter();
            candidates.retain(|_| at.next() == Some(&true));
            if candidates.is_empty() {
                return;
            }
        }
        for candidate in &candidates {
            self.evidence.seen.push(Seen::to_come(
                &candidate.probe,
                candidate.unit(),
                gain_cause,
                sort,
            ));
        }
        self.candidates.extend(candidates);
        self.evidence.scenes.push(scene);
    }

    /// Takes out ohms where a capacitor would hold its charge long after the plug is out.
    fn drop_charged(&mut self, circuit: &Circuit, evidence: &Evidence) {
        let Some(place) = self
            .evidence
            .scenes
            .iter()
            .position(|s| s.sort == Sort::Cold)
        else {
            return;
        };
        let before: usize = self
            .evidence
            .scenes
            .iter()
            .take(place)
            .map(|s| s.leads.len())
            .sum();
        let (before_cold, from_cold) = self.evidence.scenes.split_at_mut(place);
        let Some(cold) = from_cold.first_mut() else {
            return;
        };
        let live: Vec<&Scene> = evidence
            .scenes
            .iter()
            .chain(before_cold.iter())
            .filter(|s| s.sort == Sort::Live)
            .collect();
        let charged = safe::charged(circuit, cold, &live);
        let keep: Vec<bool> = cold
            .leads
            .iter()
            .map(|l| !charged.contains(&l.a) && !charged.contains(&l.b))
            .collect();
        cold.keep(&keep);
        let kept =
            |index: usize| index < before || keep.get(index - before).copied().unwrap_or(true);
        let mut index = 0;
        self.candidates.retain(|_| {
            index += 1;
            kept(index - 1)
        });
        let mut index = 0;
        self.evidence.seen.retain(|_| {
            index += 1;
            kept(index - 1)
        });
    }
}

impl Bench<'_> {
    /// The last block that was read under power with everything in it.
    fn last_live(&self) -> Option<(usize, &Block)> {
        let blocks = || self.circuit.readings.iter().enumerate().rev();
        let live = |b: &Block| {
            !b.conditions.power_off && b.readings.iter().any(|r| r.unit == Unit::VoltsDc)
        };
        blocks()
            .find(|(_, b)| {
                live(b)
                    && b.conditions.valves == ValvesIn::All
                    && b.conditions.standby_open != Some(true)
            })
            .or_else(|| blocks().find(|(_, b)| live(b)))
    }

    /// Points that were read in such blocks, in this unit.
    fn read_in(&self, unit: Unit, such: impl Fn(&Conditions) -> bool) -> BTreeSet<NodeId> {
        let blocks = self.circuit.readings.iter();
        let blocks = blocks.filter(|b| !b.conditions.power_off && such(&b.conditions));
        let of = |r: &wiring::readings::Reading| match r.probe {
            Probe::At(node) if r.unit == unit => Some(node),
            _ => None,
        };
        blocks.flat_map(|b| &b.readings).filter_map(of).collect()
    }

    fn spot(&self, node: NodeId, effort: f64) -> Spot {
        Spot {
            name: first_name(self.circuit, node),
            ends: (node, None),
            effort,
        }
    }

    /// Electrodes and rails that may be probed under power and were not read yet.
    fn live_spots(&self, block: Option<&Conditions>) -> Vec<Spot> {
        let read = match block {
            Some(block) => self.read_in(Unit::VoltsDc, |b| alike(b, block)),
            None => BTreeSet::new(),
        };
        let mut grids = BTreeSet::new();
        let mut nodes = BTreeSet::new();
        for part in &self.circuit.parts {
            let Kind::Valve(valve) = &part.kind else {
                continue;
            };
            for at in &valve.electrodes {
                let Some(node) = part.terminals.get(at.terminal).and_then(|t| t.node) else {
                    continue;
                };
                match at.electrode {
                    Electrode::Grid => {
                        grids.insert(node);
                    }
                    Electrode::Plate | Electrode::Screen | Electrode::Cathode => {
                        nodes.insert(node);
                    }
                    _ => {}
                }
            }
        }
        nodes.extend(self.anatomy.rails.iter().chain(&self.anatomy.bias_rails));
        let may = |n: &NodeId| self.forbidden.may_live(*n) && !read.contains(n);
        let mut all: Vec<Spot> = nodes
            .iter()
            .filter(|n| may(n))
            .map(|n| self.spot(*n, 1.0))
            .collect();
        let only_grid = grids.iter().filter(|n| may(n) && !nodes.contains(n));
        all.extend(only_grid.map(|n| self.spot(*n, GRID)));
        all
    }

    fn output_sections(&self) -> impl Iterator<Item = &wiring::roles::Section> {
        self.anatomy
            .blocks
            .iter()
            .filter(|b| matches!(b.kind, BlockKind::SingleEnded | BlockKind::PushPull))
            .flat_map(|b| &b.sections)
    }

    fn output_valves(&self) -> Vec<String> {
        let mut names: Vec<String> = self
            .output_sections()
            .filter_map(|s| self.circuit.parts.get(s.part.0).map(|p| p.name.clone()))
            .collect();
        names.dedup();
        names
    }

    fn output_grids(&self) -> Vec<Spot> {
        let grids = self.output_sections().filter_map(|s| {
            let part = self.circuit.parts.get(s.part.0)?;
            let Kind::Valve(valve) = &part.kind else {
                return None;
            };
            let grid = valve
                .electrodes
                .iter()
                .find(|e| e.electrode == Electrode::Grid)?;
            part.terminals.get(grid.terminal)?.node
        });
        let read = self.read_in(Unit::VoltsDc, |c| {
            let out = self.output_valves();
            matches!(&c.valves, ValvesIn::Without(w) if out.iter().all(|v| w.contains(v)))
        });
        let may = |n: &NodeId| self.forbidden.may_live(*n) && !read.contains(n);
        let mut nodes: Vec<NodeId> = grids.filter(may).collect();
        nodes.dedup();
        nodes.into_iter().map(|n| self.spot(n, 1.0)).collect()
    }

    /// Resistors, windings and electrodes, to be read with the power off.
    fn cold_spots(&self) -> Vec<Spot> {
        let mut all = Vec::new();
        let mut done: BTreeSet<(NodeId, Option<NodeId>)> = BTreeSet::new();
        let was_read = |name: &str| {
            self.circuit
                .readings
                .iter()
                .filter(|b| b.conditions.power_off)
                .flat_map(|b| &b.readings)
                .any(|r| r.point == name)
        };
        for part in &self.circuit.parts {
            if !matches!(part.kind, Kind::Resistor { .. } | Kind::Choke { .. })
                || was_read(&part.name)
            {
                continue;
            }
            let Some((a, b)) = two_ends(part) else {
                continue;
            };
            if self.forbidden.may_cold(a) && self.forbidden.may_cold(b) {
                done.insert((a, Some(b)));
                all.push(Spot {
                    name: part.name.clone(),
                    ends: (a, Some(b)),
                    effort: 1.0,
                });
            }
        }
        for part in &self.circuit.parts {
            let Kind::Valve(valve) = &part.kind else {
                continue;
            };
            for at in &valve.electrodes {
                let wanted = matches!(
                    at.electrode,
                    Electrode::Plate | Electrode::Screen | Electrode::Cathode | Electrode::Grid
                );
                let node = part.terminals.get(at.terminal).and_then(|t| t.node);
                let Some(node) = node.filter(|n| wanted && self.forbidden.may_cold(*n)) else {
                    continue;
                };
                let spot = self.spot(node, 1.0);
                if node != wiring::GROUND && done.insert((node, None)) && !was_read(&spot.name) {
                    all.push(spot);
                }
            }
        }
        all
    }

    /// The first jack of an input.
    fn input_jack(&self) -> Option<String> {
        let inputs = self
            .anatomy
            .blocks
            .iter()
            .filter(|b| b.kind == BlockKind::Input);
        inputs
            .flat_map(|b| &b.parts)
            .filter_map(|(id, _)| self.circuit.parts.get(id.0))
            .find(|p| matches!(p.kind, Kind::Jack { .. }))
            .map(|p| p.name.clone())
    }

    fn volumes(&self) -> Vec<String> {
        let blocks = self
            .anatomy
            .blocks
            .iter()
            .filter(|b| b.kind == BlockKind::Volume);
        let mut names: Vec<String> = blocks
            .flat_map(|b| &b.parts)
            .filter_map(|(id, _)| self.circuit.parts.get(id.0))
            .filter(|p| matches!(p.kind, Kind::Pot { .. }))
            .map(|p| p.parent.clone().unwrap_or_else(|| p.name.clone()))
            .collect();
        names.sort_unstable();
        names.dedup();
        names
    }

    /// Plates of stages, grids, and the loudspeaker.
    fn signal_spots(&self) -> Vec<Spot> {
        let mut nodes = BTreeSet::new();
        for part in &self.circuit.parts {
            match &part.kind {
                Kind::Valve(valve) => {
                    for at in &valve.electrodes {
                        if matches!(at.electrode, Electrode::Plate | Electrode::Grid)
                            && let Some(node) = part.terminals.get(at.terminal).and_then(|t| t.node)
                        {
                            nodes.insert(node);
                        }
                    }
                }
                Kind::Speaker { .. } => {
                    nodes.extend(part.terminals.iter().filter_map(|t| t.node));
                }
                _ => {}
            }
        }
        let read = self.read_in(Unit::VoltsAc, |c| c.signal.is_some());
        let may = |n: &NodeId| *n != wiring::GROUND && self.forbidden.may_live(*n);
        nodes
            .into_iter()
            .filter(|n| may(n) && !read.contains(n))
            .map(|n| self.spot(n, 1.0))
            .collect()
    }
}

/// Would the same point read the same under both?
fn alike(a: &Conditions, b: &Conditions) -> bool {
    let sets = |c: &Conditions| -> Vec<(String, Position)> {
        c.sets.iter().map(|s| (s.name.clone(), s.to)).collect()
    };
    a.valves == b.valves
        && sets(a) == sets(b)
        && a.standby_open == b.standby_open
        && a.speaker_on == b.speaker_on
        && a.limiter_watts == b.limiter_watts
}

/// Index of a wiring's node in an assembly.
fn index_of(scene: &Scene, node: NodeId) -> Option<NodeIndex> {
    scene.assembly.node_of.get(node.0).copied().flatten()
}
