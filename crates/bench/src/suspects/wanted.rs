//! The readings that could be taken next: where, under which conditions, at what effort.
//!
//! Only what is safe is among them: no plate of an output valve under power, no driven end of an
//! output transformer, nothing of the mains side or of the mains transformer's windings, and no
//! ohms where a capacitor would hold its charge for minutes after the plug is out.

mod safe;
mod spots;

pub(super) use safe::Forbidden;
use spots::{Bench, Spot};

use super::evidence::{Evidence, Seen, counted, oscillator};
use super::rank::Ranking;
use super::scene::{Leads, Scene, Sort};
use crate::chart::ChartRequest;
use crate::chart::conditions::{conditions, meter};
use crate::faults::Change;
use crate::tolerance::{MainsKnown, Tolerances};
use solve::netlist::NodeIndex;
use solve::{AssembleOptions, assemble};
use wiring::Place;
use wiring::circuit::{Circuit, NodeId, Position, Setting};
use wiring::readings::{Conditions, ValvesIn};
use wiring::roles::Anatomy;
use wiring::sheet::Library;

/// Effort of a reading under power where the last ones were taken. Ours, all of these.
const PROBE: f64 = 1.0;
/// Of volts AC without a signal: the same with the meter switched over.
const MAINS: f64 = 1.2;
/// Of counting the tremolo's swings.
const PACE: f64 = 1.3;
/// Of ohms: off, unplugged, discharged, checked.
const OHMS: f64 = 1.7;
/// Of a signal: generator and knobs.
const SIGNAL: f64 = 2.5;
/// Of volts with valves out.
const PULLED: f64 = 2.5;
/// Chance of grid current of its own from which a small valve is pulled to look at its grids (ours),
const PULLED_FROM: f64 = 0.1;
/// and how many such valves at most.
const MOST_PULLED: usize = 2;
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
    /// Steady volts of a sound amplifier there, without sign; 0 with the power off.
    pub(super) stands_at: f64,
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
            Sort::Signal | Sort::Mains => "V ac",
            Sort::Pace => "Hz",
        }
    }

    /// A value of the scene as a meter shows it.
    pub(super) fn shown(&self, mean: f64) -> f64 {
        match self.sort {
            Sort::Live => mean,
            Sort::Pace => counted(mean),
            _ => mean.exp(),
        }
    }
}

/// Candidates, with scenes to expect them in.
pub(super) struct Wanted {
    /// Scenes, and a place in `seen` for each candidate.
    pub(super) evidence: Evidence,
    pub(super) candidates: Vec<Candidate>,
}

impl Wanted {
    /// Everything that could be read next; valves that are `suspected` are worth pulling.
    pub(super) fn of(
        circuit: &Circuit,
        library: &Library,
        anatomy: &Anatomy,
        tolerances: &Tolerances,
        evidence: &Evidence,
        suspected: &[String],
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
        all.evidence.known.few = true;
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
        all.add(
            &bench,
            &under,
            mains,
            number,
            (&format!("{name}, volts AC, no signal"), Vec::new()),
            Sort::Mains,
            bench.mains_spots(),
            MAINS,
        );
        all.add(
            &bench,
            &under,
            mains,
            number,
            (&format!("{name}, tremolo on"), Vec::new()),
            Sort::Pace,
            bench.pace_spots(),
            PACE,
        );
        let outputs = bench.output_valves();
        let small = suspected.iter().filter(|v| !outputs.contains(v));
        let small = small.take(MOST_PULLED).map(|v| vec![v.clone()]);
        let pulled: Vec<Vec<String>> = std::iter::once(outputs.clone()).chain(small).collect();
        for (index, out) in pulled.iter().enumerate() {
            if out.is_empty() || under.valves != ValvesIn::All {
                continue;
            }
            let pulled = Conditions {
                valves: ValvesIn::Without(out.clone()),
                ..under.clone()
            };
            let name = format!("without {}", out.join(" "));
            let spots = bench.grids_without(out);
            let number = circuit.readings.len() + 3 + index;
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
            let number = circuit.readings.len() + 1;
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
                stands_at: 0.0,
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
        if sort == Sort::Pace {
            let nodes = oscillator(bench.circuit, bench.anatomy, &scene.assembly);
            if scene.oscillates(nodes).is_none() {
                return;
            }
        }
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
        if sort != Sort::Cold {
            let at = |n: NodeIndex| scene.volts.get(n).map_or(0.0, |v| v.abs());
            for (candidate, leads) in candidates.iter_mut().zip(&scene.leads) {
                candidate.stands_at = at(leads.a).max(at(leads.b));
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

/// Valves of which a section is suspected of grid current, the likeliest first: what is on such a grid may come from the valve
/// or from what feeds it, and with the valve out only the second is left.
pub(super) fn gassy_or_fed(circuit: &Circuit, ranking: &Ranking) -> Vec<String> {
    let mut chances: Vec<(usize, f64)> = Vec::new();
    for piece in &ranking.pieces {
        let Some(h) = ranking.list.get(piece.hypothesis) else {
            continue;
        };
        if !matches!(h.change, Change::GridAmps { .. }) {
            continue;
        }
        match chances.iter_mut().find(|c| c.0 == h.part.0) {
            Some(chance) => chance.1 += piece.share,
            None => chances.push((h.part.0, piece.share)),
        }
    }
    chances.retain(|c| c.1 >= PULLED_FROM);
    chances.sort_by(|a, b| b.1.total_cmp(&a.1));
    let parts = chances.iter().filter_map(|c| circuit.parts.get(c.0));
    parts.map(|p| p.name.clone()).collect()
}

/// Index of a wiring's node in an assembly.
fn index_of(scene: &Scene, node: NodeId) -> Option<NodeIndex> {
    scene.assembly.node_of.get(node.0).copied().flatten()
}
