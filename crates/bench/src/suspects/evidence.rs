//! The readings as numbers, each in the scene it was taken in.

use super::Unused;
use super::causes::Known;
use super::scene::{LEAST_AC, Leads, STILL_HERTZ, Scene, Sort, is_wound};
use crate::chart::ChartRequest;
use crate::chart::conditions::{conditions, meter};
use crate::chart::entry::{OVER_OHMS, Read};
use crate::chart::points::first_name;
use crate::tolerance::Tolerances;
use solve::linear::Complex;
use solve::netlist::NodeIndex;
use solve::{AssembleOptions, Assembly, assemble};
use std::sync::atomic::AtomicUsize;
use wiring::circuit::{Circuit, Kind, NodeId};
use wiring::readings::{Block, Probe, Reading, Shown, Unit};
use wiring::roles::{Anatomy, BlockKind, Role};
use wiring::sheet::Library;

/// One sigma of what is left of a voltage's error, as part of it, once laws, parts and the meter's gain have theirs: its steps
/// and its line (ours). Two rails of one chain differ by what a choke drops, which a wider one would hide.
const MODEL_PART: f64 = 0.002;
/// The same on the logarithm of ohms in circuit.
const MODEL_OHMS: f64 = 0.01;
/// Logarithm by which one meter's over range differs from another's, one sigma.
const OVER_WIDE: f64 = 0.3;
/// Ohms of leads and contacts.
const LEAD_OHMS: f64 = 0.2;
/// One sigma of the logarithm of a signal's volts: gains of sound stages.
const MODEL_SIGNAL: f64 = 0.18;

/// Volts AC that the last digits of a meter leave open.
const MAINS_DIGIT: f64 = 3e-3;
/// What nothing reads is no surer than this, as a logarithm, one sigma.
const MOST_PART: f64 = 1.0;

/// Volts of a meter's last digit, at least, where a plain 0 was typed.
const LEAST_DIGIT: f64 = 1e-3;

/// Volts of a sound amplifier that spread by more than this part of them, one sigma, are weighed on a
/// bent scale, and by no more than that: what may as well lie on the other side of ground is no factor;
const BENT_FROM: f64 = 0.12;
const BENT_TO: f64 = 0.5;
/// if they lie between these:
const BENT_LEAST: f64 = 3e-3;
const BENT_MOST: f64 = 20.0;
/// it bends from this part of them (ours, all five).
const BENT_PART: f64 = 0.05;

/// More volts than these are a slip of the pen.
const MOST_VOLTS: f64 = 2000.0;

/// One usable reading.
#[derive(Debug, Clone)]
pub(super) struct Seen {
    pub(super) point: String,
    pub(super) block: String,
    pub(super) unit: &'static str,
    /// As the scene has it: volts, or a logarithm.
    pub(super) value: f64,
    /// As read.
    pub(super) read: f64,
    /// Variance of this reading alone.
    pub(super) variance: f64,
    /// The meter's gain error, shared by the block: its slope.
    pub(super) gain: f64,
    /// Cause number of that gain.
    pub(super) gain_cause: usize,
    /// Range over which a slip may fall.
    pub(super) wide: f64,
    /// What a sound amplifier would show, volts, once that is known.
    pub(super) sound: Option<f64>,
    /// The display showed over range: anything above `value` fits.
    pub(super) over: bool,
    /// How volts are bent before they are weighed; none: not at all.
    pub(super) bend: Option<Bend>,
}

/// A scale for small volts that spread by factors, as those of a current across an ohm do: straight
/// near nothing, a logarithm above, and as long as volts where a sound amplifier stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Bend {
    /// Volts from which it bends.
    from: f64,
    /// Its length over volts there.
    scale: f64,
}

impl Bend {
    /// For a reading of so many volts in a sound amplifier.
    fn at(sound: f64) -> Self {
        let from = BENT_PART * sound.abs();
        Self {
            from,
            scale: sound.hypot(from),
        }
    }

    pub(super) fn of(self, volts: f64) -> f64 {
        self.scale * (volts / self.from).asinh()
    }

    fn volts(self, bent: f64) -> f64 {
        self.from * (bent / self.scale).sinh()
    }

    pub(super) fn slope(self, volts: f64) -> f64 {
        self.scale / volts.hypot(self.from)
    }
}

impl Seen {
    /// The place of a reading that is not taken yet; its gain is per volt.
    pub(super) fn to_come(point: &str, unit: &'static str, gain_cause: usize, sort: Sort) -> Self {
        Self {
            point: point.to_owned(),
            block: String::new(),
            unit,
            value: 0.0,
            read: 0.0,
            variance: 0.0,
            gain: if sort == Sort::Live {
                0.005 / 3f64.sqrt()
            } else {
                0.0
            },
            gain_cause,
            wide: 1.0,
            sound: None,
            over: false,
            bend: None,
        }
    }

    /// Bends the volts of a reading that spreads by factors between sound amplifiers.
    pub(super) fn bend(&mut self, sound: f64, sigma: f64) {
        let small = (BENT_LEAST..BENT_MOST).contains(&sound.abs());
        let spread = sigma / sound.abs();
        if self.unit != "V" || !small || !(BENT_FROM..BENT_TO).contains(&spread) {
            return;
        }
        let bend = Bend::at(sound);
        let slope = bend.slope(self.read);
        self.value = bend.of(self.value);
        self.variance *= slope * slope;
        self.gain *= slope;
        self.wide = bend.of(self.wide);
        self.bend = Some(bend);
    }

    /// A value of the scene as a meter shows it.
    pub(super) fn shown(&self, value: f64) -> f64 {
        match self.bend {
            Some(bend) => bend.volts(value),
            None if self.unit == "V" => value,
            None if self.unit == "Hz" => counted(value),
            None => value.exp(),
        }
    }
}

/// Swings a second from their logarithm: what hardly moves stands still.
pub(super) fn counted(logarithm: f64) -> f64 {
    let hertz = logarithm.exp();
    if hertz < 2.0 * STILL_HERTZ {
        0.0
    } else {
        hertz
    }
}

/// All readings, with the scenes to expect them in.
pub(super) struct Evidence {
    pub(super) scenes: Vec<Scene>,
    /// Readings, scene by scene, in the order of its leads.
    pub(super) seen: Vec<Seen>,
    pub(super) causes: usize,
    /// Number of the cause that moves all volts where HT is gone.
    pub(super) dark: usize,
    /// How many circuits were solved.
    pub(super) solved: AtomicUsize,
    pub(super) unused: Vec<Unused>,
    pub(super) notes: Vec<String>,
    pub(super) told: Vec<String>,
    /// Numbers of the causes, for scenes to come.
    pub(super) known: Known,
}

impl Evidence {
    /// No scenes and no readings, with the same causes.
    pub(super) fn empty(&self) -> Self {
        Self {
            scenes: Vec::new(),
            seen: Vec::new(),
            causes: self.causes,
            dark: self.dark,
            solved: AtomicUsize::new(0),
            unused: Vec::new(),
            notes: Vec::new(),
            told: Vec::new(),
            known: self.known.clone(),
        }
    }

    /// Takes every block of the circuit.
    pub(super) fn of(
        circuit: &Circuit,
        library: &Library,
        anatomy: &Anatomy,
        tolerances: &Tolerances,
    ) -> Self {
        let mut all = Self {
            scenes: Vec::new(),
            seen: Vec::new(),
            causes: 0,
            dark: 0,
            solved: AtomicUsize::new(0),
            unused: Vec::new(),
            notes: Vec::new(),
            told: Vec::new(),
            known: Known::default(),
        };
        let mut known = Known::default();
        let outputs = anatomy.output_sections();
        known.outputs = outputs
            .filter_map(|s| Some(circuit.parts.get(s.part.0)?.name.clone()))
            .collect();
        for (index, block) in circuit.readings.iter().enumerate() {
            all.told.extend(block.conditions.heard.iter().cloned());
            all.told.extend(block.conditions.seen.iter().cloned());
            known.scene = index;
            all.block(circuit, library, tolerances, block, &mut known);
        }
        all.dark = known.cause("volts without HT");
        all.causes = known.count();
        all.known = known;
        for scene in &mut all.scenes {
            scene.settle_causes(all.causes);
        }
        if all.seen.is_empty() {
            all.notes.push(
                "no reading could be used, so this is only how often faults are met".to_owned(),
            );
        }
        all
    }

    fn block(
        &mut self,
        circuit: &Circuit,
        library: &Library,
        tolerances: &Tolerances,
        block: &Block,
        known: &mut Known,
    ) {
        let request = ChartRequest::default();
        let (mut under, mains) = conditions(circuit, &request, Some(block));
        known.mains = Some(mains);
        let signal = block.conditions.signal.as_ref();
        let wants = |unit: Unit| block.readings.iter().any(|r| r.unit == unit);
        let drive = signal.map(|(_, volts, hertz)| (*volts, *hertz));
        let sorts = [
            (Sort::Cold, true, None),
            (Sort::Live, true, None),
            (Sort::Mains, wants(Unit::VoltsAc), drive),
            (Sort::Pace, wants(Unit::Hertz), None),
            (Sort::Signal, drive.is_some() && wants(Unit::VoltsAc), drive),
        ];
        let off = under.power_off;
        for (sort, wanted, drive) in sorts {
            if !wanted || off != (sort == Sort::Cold) {
                continue;
            }
            if sort == Sort::Signal {
                under.signal.clone_from(&block.conditions.signal);
            }
            let assembly = assemble(circuit, library, &under, &AssembleOptions::default());
            self.scene(circuit, tolerances, block, known, assembly, sort, drive);
        }
    }

    #[allow(
        clippy::too_many_arguments,
        reason = "what one scene is made of, nothing to group"
    )]
    fn scene(
        &mut self,
        circuit: &Circuit,
        tolerances: &Tolerances,
        block: &Block,
        known: &mut Known,
        assembly: Assembly,
        sort: Sort,
        drive: Option<(f64, f64)>,
    ) {
        let ohms = meter(Some(block)).map_or(f64::INFINITY, |m| m.ohms);
        let error = meter(Some(block)).map_or(0.005, |m| m.error);
        let gain_cause = known.cause(&format!("meter gain {}", known.scene));
        let mut leads = Vec::new();
        let mut seen = Vec::new();
        let is_ac = matches!(sort, Sort::Signal | Sort::Mains);
        let finest = finest(block, if is_ac { Unit::VoltsAc } else { Unit::VoltsDc });
        let open = is_ac.then(|| solve::supply::reduce(&assembly.netlist, &[]).open);
        let oscillator = match sort {
            Sort::Pace => oscillator(circuit, &wiring::roles::anatomy(circuit), &assembly),
            _ => Vec::new(),
        };
        let asked = Asked {
            circuit,
            oscillator: &oscillator,
            assembly: &assembly,
            sort,
            driven: drive.is_some(),
            open: open.as_deref().unwrap_or_default(),
        };
        for reading in &block.readings {
            match asked.usable(reading) {
                Ok(Some((a, b))) => {
                    let meter = if sort == Sort::Live {
                        ohms
                    } else {
                        f64::INFINITY
                    };
                    leads.push(Leads { a, b, meter });
                    seen.push(number(block, reading, sort, error, gain_cause, finest));
                }
                Ok(None) => {}
                // where there is a signal, its own scene says so
                Err(_) if sort == Sort::Mains && drive.is_some() => {}
                Err(why) => self.unused.push(Unused {
                    point: reading.point.clone(),
                    why,
                }),
            }
        }
        if leads.is_empty() {
            return;
        }
        let made = Scene::new(circuit, assembly, sort, tolerances, known, leads, drive);
        let mut scene = match made {
            Ok(scene) => scene,
            Err(trouble) => {
                self.notes.push(format!("{}: {trouble}", block.name));
                return;
            }
        };
        if sort == Sort::Pace && scene.oscillates(oscillator).is_none() {
            let note = format!("{}: the tremolo's pace could not be worked out", block.name);
            self.notes.push(note);
            return;
        }
        // readings whose volts hang on what nobody knows say nothing of parts
        if sort != Sort::Cold {
            let unknown = scene.unknown();
            let why = |l: &Leads| unknown.get(&l.a).or_else(|| unknown.get(&l.b));
            let keep: Vec<bool> = scene
                .leads
                .iter()
                .map(|l| unknown.is_empty() || why(l).is_none())
                .collect();
            for (seen, leads) in seen.iter().zip(&scene.leads) {
                if let Some(why) = why(leads) {
                    self.unused.push(Unused {
                        point: seen.point.clone(),
                        why: why.clone(),
                    });
                }
            }
            scene.keep(&keep);
            let mut at = keep.iter();
            seen.retain(|_| at.next() == Some(&true));
            if seen.is_empty() {
                return;
            }
        }
        self.seen.extend(seen);
        self.scenes.push(scene);
    }
}

/// What a scene is to be read for.
struct Asked<'a> {
    circuit: &'a Circuit,
    assembly: &'a Assembly,
    sort: Sort,
    /// Is there a signal?
    driven: bool,
    /// The nodes of the tremolo's oscillator.
    oscillator: &'a [NodeIndex],
    /// What the mains put on every node with no rectifier conducting, peak.
    open: &'a [Complex],
}

impl Asked<'_> {
    /// The leads of a reading that this sort of scene can use; none for another sort's reading.
    fn usable(&self, reading: &Reading) -> Result<Option<(NodeIndex, NodeIndex)>, String> {
        let sort = self.sort;
        let mine = match (sort, reading.unit) {
            (Sort::Live, Unit::VoltsDc)
            | (Sort::Cold, Unit::Ohms)
            | (Sort::Signal | Sort::Mains, Unit::VoltsAc)
            | (Sort::Pace, Unit::Hertz) => true,
            (Sort::Live, Unit::Ohms) => {
                return Err("ohms count only under `power off`".to_owned());
            }
            (Sort::Live, Unit::AmpsDc) => {
                return Err("read the volts across a resistor instead of a current".to_owned());
            }
            _ => false,
        };
        if !mine {
            return Ok(None);
        }
        match reading.value {
            Shown::Number(v) if sort != Sort::Cold && v.abs() > MOST_VOLTS => {
                return Err(
                    "more volts than any point of a valve amplifier has: read it again".to_owned(),
                );
            }
            Shown::Number(v) if v.is_finite() && (sort == Sort::Live || v > 0.0) => {}
            Shown::Number(v) if v == 0.0 && matches!(sort, Sort::Mains | Sort::Pace) => {}
            Shown::Over if sort == Sort::Cold => {}
            _ => return Err("the display showed no number that can be weighed".to_owned()),
        }
        let (a, b) = self.leads(reading.probe)?;
        if a == b {
            return Err("both leads are on one wire".to_owned());
        }
        match sort {
            // a heater is a heater whether the generator runs or not
            Sort::Signal if is_wound(self.open, a, b) => return Ok(None),
            Sort::Mains if !is_wound(self.open, a, b) => {
                if self.driven {
                    return Ok(None);
                }
                self.has_ripple()?;
            }
            Sort::Pace if self.oscillator.is_empty() => {
                return Err("no tremolo oscillator was found in this wiring".to_owned());
            }
            Sort::Pace if !self.oscillator.contains(&a) => {
                return Err(format!(
                    "swings are counted at the oscillator's own valve{}",
                    self.oscillator_name()
                ));
            }
            _ => {}
        }
        Ok(Some((a, b)))
    }

    /// `, V4.1`: a point of the oscillator, to be named.
    fn oscillator_name(&self) -> String {
        let of = |n: &NodeId| {
            let node = self.assembly.node_of.get(n.0).copied().flatten();
            node.is_some_and(|n| self.oscillator.contains(&n))
        };
        let mut nodes = (0..self.circuit.nodes.len()).map(NodeId);
        nodes.find(of).map_or_else(String::new, |n| {
            format!(", {}", first_name(self.circuit, n))
        })
    }

    /// Does the wiring say where ripple comes from?
    fn has_ripple(&self) -> Result<(), String> {
        let steady = |p: &wiring::Part| matches!(p.kind, Kind::Supply { .. });
        if self.assembly.netlist.hertz <= 0.0 || self.circuit.parts.iter().any(steady) {
            return Err(
                "no traced rectifier feeds it, so its ripple is not computed: trace the supply, or read it with a `signal` line"
                    .to_owned(),
            );
        }
        Ok(())
    }

    fn leads(&self, probe: Probe) -> Result<(NodeIndex, NodeIndex), String> {
        let is_mains = |id: NodeId| {
            let node = self.circuit.nodes.get(id.0);
            node.is_some_and(|n| n.names.iter().any(|x| x == "live" || x == "neutral"))
        };
        let find = |id: NodeId| {
            if is_mains(id) {
                return Err("on the mains side: nothing is to be sought there".to_owned());
            }
            self.assembly
                .node_of
                .get(id.0)
                .copied()
                .flatten()
                .ok_or_else(|| "nothing that carries current is joined to it yet".to_owned())
        };
        match probe {
            Probe::At(id) => Ok((find(id)?, 0)),
            Probe::Between(a, b) => Ok((find(a)?, find(b)?)),
            Probe::Across(id) => {
                let part = self.circuit.parts.get(id.0);
                let end = |i: usize| part.and_then(|p| p.terminals.get(i)?.node);
                match (end(0), end(1)) {
                    (Some(a), Some(b)) => Ok((find(a)?, find(b)?)),
                    _ => Err("it is not wired at both ends".to_owned()),
                }
            }
            Probe::Nowhere => Err("this point is not in the wiring".to_owned()),
        }
    }
}

/// The nodes of the tremolo's oscillator, but ground and what feeds it; none where there is none.
pub(super) fn oscillator(
    circuit: &Circuit,
    anatomy: &Anatomy,
    assembly: &Assembly,
) -> Vec<NodeIndex> {
    let of = |b: &&wiring::roles::Block| b.kind == BlockKind::TremoloOscillator;
    let Some(block) = anatomy.blocks.iter().find(of) else {
        return Vec::new();
    };
    let mut nodes: Vec<NodeId> = Vec::new();
    for (part, role) in &block.parts {
        if *role != Role::Valve
            && let Some(part) = circuit.parts.get(part.0)
        {
            nodes.extend(part.terminals.iter().filter_map(|t| t.node));
        }
    }
    for section in &block.sections {
        nodes.extend(
            [section.plate, section.grid, section.cathode]
                .into_iter()
                .flatten(),
        );
    }
    let fed = |n: &NodeId| anatomy.rails.contains(n) || anatomy.bias_rails.contains(n);
    let mut found: Vec<NodeIndex> = nodes
        .into_iter()
        .filter(|n| *n != wiring::GROUND && !fed(n))
        .filter_map(|n| assembly.node_of.get(n.0).copied().flatten())
        .filter(|n| *n != 0)
        .collect();
    found.sort_unstable();
    found.dedup();
    found
}

/// The smallest last digit among the volts of a block, but no less than a millivolt: a plain 0 was
/// read on a meter that shows that much.
fn finest(block: &Block, unit: Unit) -> f64 {
    let volts = block.readings.iter().filter(|r| r.unit == unit);
    volts
        .map(|r| r.digit)
        .fold(f64::INFINITY, f64::min)
        .max(LEAST_DIGIT)
}

fn number(
    block: &Block,
    reading: &Reading,
    sort: Sort,
    error: f64,
    gain_cause: usize,
    finest: f64,
) -> Seen {
    let (read, over) = match reading.value {
        Shown::Number(v) => (v, false),
        _ => (OVER_OHMS, true),
    };
    let steady = matches!(sort, Sort::Live | Sort::Mains);
    let sigma = if steady && read == 0.0 && finest < reading.digit {
        let zero = Reading {
            digit: finest,
            ..reading.clone()
        };
        Read::of(&zero, block.conditions.meter).sigma
    } else {
        Read::of(reading, block.conditions.meter).sigma
    };
    let (unit, value, variance, gain, wide) = match sort {
        Sort::Pace => {
            let part = (sigma / read.max(STILL_HERTZ)).min(MOST_PART);
            ("Hz", read.max(STILL_HERTZ).ln(), part.powi(2), 0.0, 4.0)
        }
        Sort::Live => {
            let own = sigma.powi(2) + (MODEL_PART * read).powi(2);
            let wide = 4.0 * read.abs().max(20.0);
            ("V", read, own, read * error / 3f64.sqrt(), wide)
        }
        Sort::Cold => {
            let part = (sigma + LEAD_OHMS) / read.max(1e-3);
            let range = if over { OVER_WIDE } else { MODEL_OHMS };
            let own = part.powi(2) + range.powi(2);
            ("ohm", read.max(1e-3).ln(), own, 0.0, 12.0)
        }
        Sort::Signal => {
            let part = sigma / read.max(1e-4);
            let own = part.powi(2) + MODEL_SIGNAL.powi(2);
            ("V ac", read.hypot(2e-3).ln(), own, 0.0, 8.0)
        }
        Sort::Mains => {
            // what the model is off by hangs on what the leads are on, and stands there
            let part = (sigma / read.hypot(LEAST_AC)).min(MOST_PART);
            ("V ac", read.hypot(LEAST_AC).ln(), part.powi(2), 0.0, 8.0)
        }
    };
    Seen {
        point: reading.point.clone(),
        block: block.name.clone(),
        unit,
        value,
        read,
        variance,
        gain,
        gain_cause,
        wide,
        sound: None,
        over,
        bend: None,
    }
}

/// Variance that a reading to come would have of its own, around its expected value.
pub(super) fn noise(sort: Sort, mean: f64) -> f64 {
    match sort {
        Sort::Live => {
            let meter = 0.005 * mean.abs() / 3f64.sqrt() + 0.0005;
            meter.powi(2) + (2.0 * MODEL_PART * mean).powi(2)
        }
        Sort::Cold if mean >= OVER_OHMS.ln() => OVER_WIDE.powi(2),
        Sort::Cold => ((0.01 + LEAD_OHMS / mean.exp()).powi(2)) + MODEL_OHMS.powi(2),
        Sort::Signal => MODEL_SIGNAL.powi(2) + 0.02_f64.powi(2),
        Sort::Pace => 0.05_f64.powi(2),
        Sort::Mains => (0.01 + MAINS_DIGIT / mean.exp()).min(MOST_PART).powi(2),
    }
}
