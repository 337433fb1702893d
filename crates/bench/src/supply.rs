//! The supply sheet: what each rail gives, who draws from it, and what its parts must stand.
//!
//! Rails in their order with volts, ripple, the highest volts they ever see and the time in which
//! they empty by themselves; the currents of each rail by Kirchhoff; every capacitor against its
//! rating; the rectifier against its sheet; the fuses against the current they carry. Volts and
//! currents are worked out warm at today's mains, ratings at the highest likely mains, cold and
//! warm. Works on half a tracing and lists what it could not say. Pure.

mod compare;
mod drawn;
mod fuse;
mod inrush;
pub mod numbers;
mod page;
mod rectifier;

pub use compare::Moved;
pub use drawn::Draw;
pub use fuse::{Link, MainsFuse};
pub use inrush::Inrush;
pub use rectifier::{Rectifier, RectifierPart};

use crate::charge::{Charges, Start, charges_at, is_electrolytic, safe_volts};
use crate::fuse::Marking;
use crate::powered::{Asked, Powered, Read, block, conditions, head, mains_volts, node_name};
use crate::sheet::Sheet;
use crate::surge::{RectifierSort, Surge, surge_with};
use crate::wall::{Wall, made_for, wall};
use serde::Serialize;
use wiring::circuit::{Circuit, Kind, Setting};
use wiring::roles::{Anatomy, Role, anatomy};
use wiring::sheet::Library;
use wiring::{Conditions, NodeId};

/// The supply, worked out.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Supply {
    /// High-tension rails from the reservoir on, then the bias rails.
    pub rails: Vec<Rail>,
    /// The rectifier of the high tension; none while it is not traced or does not conduct.
    pub rectifier: Option<Rectifier>,
    /// Every capacitor that ever holds more than 10 V.
    pub capacitors: Vec<Stressed>,
    /// Fuses, in the order of the wiring.
    pub fuses: Vec<FuseLoad>,
    /// What to fit in the mains lead; none without a mains current.
    pub mains_fuse: Option<MainsFuse>,
    /// What the mains gives and may give.
    pub wall: Wall,
    /// Mains volts that rails and currents are for.
    pub mains_volts: Option<f64>,
    /// What flows when the switch closes; none without a mains transformer.
    pub inrush: Option<Inrush>,
    /// Rails as wired beside those with other parts in place; empty where nothing was exchanged.
    pub what_if: Vec<Moved>,
    /// Rms amperes from the mains at rest; none without a mains transformer.
    pub mains_amps: Option<f64>,
    /// The same at the highest mains.
    pub mains_amps_highest: Option<f64>,
    /// The sheet.
    #[serde(flatten)]
    pub sheet: Sheet,
}

/// One rail.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Rail {
    /// Its name, else a terminal on it.
    pub point: String,
    /// Steady volts, everything warm, today's mains.
    pub volts: Option<f64>,
    /// Ripple there, rms.
    pub ripple_v: Option<f64>,
    /// Highest volts: valves cold, highest mains, peak of the ripple included.
    pub surge_v: Option<f64>,
    /// Seconds from the highest volts to 10 V, unplugged, valves cold, by its own paths; none
    /// where there is no path.
    pub discharge_s: Option<f64>,
    /// Milliamperes that flow into the rail from the rectifier or the rail before it.
    pub in_ma: Option<f64>,
    /// What Kirchhoff leaves over: the sum of all currents out of the rail, milliamperes.
    pub left_over_ma: Option<f64>,
    /// Who draws from it, the largest first; negative where a part feeds it.
    pub draws: Vec<Draw>,
    /// What a meter read there, steady volts.
    pub read_v: Option<f64>,
}

/// A capacitor against its rating.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Stressed {
    /// The capacitor.
    pub part: String,
    /// What it does.
    pub role: Option<Role>,
    /// Highest volts, valves cold and highest mains, first terminal over second.
    pub cold_v: Option<f64>,
    /// Highest volts with everything warm.
    pub warm_v: Option<f64>,
    /// Volts rms at mains frequency across it at the highest mains.
    pub ac_v: f64,
    /// Rated volts, as marked.
    pub rated_v: Option<f64>,
    /// Volts that an electrolytic of this rating stands for a moment.
    pub surge_rated_v: Option<f64>,
    /// It is an electrolytic.
    pub electrolytic: bool,
    /// Seconds from its highest volts to 10 V, unplugged, by its own paths.
    pub discharge_s: Option<f64>,
    /// Energy at its highest volts, joules.
    pub joules: Option<f64>,
}

/// A fuse and what goes through it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FuseLoad {
    /// The fuse.
    pub part: String,
    /// It is in the mains lead, not in the high tension.
    pub mains: bool,
    /// Amperes it is marked with.
    pub marked_amps: Option<f64>,
    /// It is a time-lag (slow) type.
    pub slow: bool,
    /// Rms amperes at rest, today's mains.
    pub amps: Option<f64>,
    /// Rms amperes at rest, highest mains.
    pub amps_highest: Option<f64>,
}

/// Everything that the page and the figures are made from.
pub(crate) struct Work<'a> {
    pub(crate) circuit: &'a Circuit,
    pub(crate) library: &'a Library,
    pub(crate) anatomy: &'a Anatomy,
    pub(crate) now: Option<Powered>,
    pub(crate) surge: Surge,
    pub(crate) read: Read,
    /// A switch that stands for valves that nobody traced, where the supply was typed as numbers.
    pub(crate) stand_in: Option<&'a str>,
}

impl<'a> Work<'a> {
    /// Solves it as it stands and at the highest mains; with the reason where there is no operating point now.
    fn new(
        circuit: &'a Circuit,
        library: &'a Library,
        anatomy: &'a Anatomy,
        asked: &Asked,
        cold: &'a [Setting],
    ) -> (Self, Option<String>) {
        let block = block(circuit, asked);
        let now = Powered::new(circuit, library, &conditions(asked, block));
        let why = now.as_ref().err().cloned();
        let work = Self {
            circuit,
            library,
            anatomy,
            surge: surge_with(circuit, library, anatomy, asked, cold),
            now: now.ok(),
            read: Read::of(block),
            stand_in: cold.first().map(|setting| setting.name.as_str()),
        };
        (work, why)
    }
}

impl Work<'_> {
    /// Roles of a part, first found first.
    pub(crate) fn role(&self, part: usize) -> Option<Role> {
        let roles = self.anatomy.roles.get(part)?;
        roles.first().map(|r| r.role)
    }

    pub(crate) fn has_role(&self, part: usize, role: Role) -> bool {
        self.anatomy
            .roles
            .get(part)
            .is_some_and(|r| r.iter().any(|r| r.role == role))
    }
}

/// The supply sheet of a wiring. `marking` is what stands on the chassis beside the mains fuse;
/// without it the mains fuse as written in the wiring counts as marked so.
#[must_use]
pub fn supply(
    circuit: &Circuit,
    library: &Library,
    asked: &Asked,
    marking: Option<&Marking>,
) -> Supply {
    supply_of(circuit, library, asked, marking, &[])
}

/// The supply sheet of a circuit with other parts in place, its rails beside those of the circuit as wired.
#[must_use]
pub fn what_if(
    wired: &Circuit,
    changed: &Circuit,
    library: &Library,
    asked: &Asked,
    marking: Option<&Marking>,
) -> Supply {
    let anatomy = anatomy(wired);
    let (work, _) = Work::new(wired, library, &anatomy, asked, &[]);
    let nodes = rail_nodes(&work);
    let before = rails(&work, &nodes, &drained(&work, asked, &[], &nodes));
    let mut after = supply(changed, library, asked, marking);
    after.what_if = compare::compare(&before, &after.rails);
    after.sheet.title = format!("{}, what if", after.sheet.title);
    page::compared(&mut after);
    after
}

/// The same; what is set by `cold` holds besides while the valves are cold.
fn supply_of(
    circuit: &Circuit,
    library: &Library,
    asked: &Asked,
    marking: Option<&Marking>,
    cold: &[Setting],
) -> Supply {
    let anatomy = anatomy(circuit);
    let block = block(circuit, asked);
    let under = conditions(asked, block);
    let today = mains_volts(circuit, &under);
    let mut sheet = Sheet::new("supply", "Supply");
    head(&mut sheet, circuit);
    let (work, why) = Work::new(circuit, library, &anatomy, asked, cold);
    if let Some(why) = why {
        sheet.missing(
            format!("volts and currents: {why}"),
            "Run `check`, and look for a slip near that point.",
        );
    }
    let rail_nodes = rail_nodes(&work);
    let drained = drained(&work, asked, cold, &rail_nodes);
    let mut supply = Supply {
        rails: rails(&work, &rail_nodes, &drained),
        rectifier: rectifier::rectifier(&work),
        capacitors: capacitors(&work, &drained),
        mains_fuse: fuse::mains_fuse(&work, today, marking),
        fuses: fuses(&work),
        wall: wall(made_for(circuit), today),
        mains_volts: today,
        inrush: inrush::inrush(&work),
        what_if: Vec::new(),
        mains_amps: mains_amps(work.now.as_ref()),
        mains_amps_highest: mains_amps(work.surge.warm.as_ref()),
        sheet,
    };
    page::fill(
        &work,
        &under,
        block.map(|b| b.name.as_str()),
        &drained,
        &mut supply,
    );
    supply
}

fn mains_amps(state: Option<&Powered>) -> Option<f64> {
    state.map(Powered::mains_amps).filter(|a| *a > 0.0)
}

/// The rectifier of the high tension in states already solved.
pub(crate) fn rectifier_at(
    circuit: &Circuit,
    library: &Library,
    anatomy: &Anatomy,
    now: Option<&Powered>,
    surge: &Surge,
) -> Option<Rectifier> {
    rectifier::rectifier(&Work {
        circuit,
        library,
        anatomy,
        now: now.cloned(),
        surge: surge.clone(),
        read: Read::default(),
        stand_in: None,
    })
}

/// High-tension rails from the reservoir on, then the bias rails.
fn rail_nodes(work: &Work<'_>) -> Vec<NodeId> {
    let all = work.anatomy.rails.iter().chain(&work.anatomy.bias_rails);
    all.copied()
        .filter(|node| !behind_stand_in(work, *node))
        .collect()
}

/// How the capacitors and the rails empty from the highest volts, with the plug out.
fn drained(work: &Work<'_>, asked: &Asked, cold: &[Setting], nodes: &[NodeId]) -> Charges {
    let unplugged = Conditions {
        sets: asked.sets.iter().chain(cold).cloned().collect(),
        ..Conditions::default()
    };
    let highest = Start {
        when: "at the highest volts".to_owned(),
        volts: work.surge.starts(),
    };
    charges_at(work.circuit, work.library, &unplugged, &[highest], nodes)
}

fn rails(work: &Work<'_>, nodes: &[NodeId], drained: &Charges) -> Vec<Rail> {
    nodes
        .iter()
        .map(|node| {
            let now = work.now.as_ref();
            let draws = now.map(|p| drawn::drawn(work, p, *node, nodes));
            let volts = now.and_then(|p| p.volts(*node));
            let (draws, left_over) = draws.unwrap_or_default();
            let into: f64 = draws.iter().map(|d| d.ma.min(0.0)).sum();
            Rail {
                point: node_name(work.circuit, *node),
                volts,
                ripple_v: volts.and(now.and_then(|p| p.ripple(*node))),
                surge_v: work.surge.node(*node),
                discharge_s: drained.seconds_at(*node),
                in_ma: (!draws.is_empty()).then_some(-into),
                left_over_ma: volts.map(|_| left_over),
                draws,
                read_v: work.read.has(*node).then(|| work.read.at(*node)).flatten(),
            }
        })
        .collect()
}

/// The point is there only to hang the stand-in's load on.
fn behind_stand_in(work: &Work<'_>, node: NodeId) -> bool {
    work.stand_in.is_some() && node_name(work.circuit, node) == numbers::LOAD_POINT
}

fn capacitors(work: &Work<'_>, drained: &Charges) -> Vec<Stressed> {
    let empty = safe_volts();
    let mut all = Vec::new();
    for (index, part) in work.circuit.parts.iter().enumerate() {
        let Kind::Capacitor { farads, .. } = part.kind else {
            continue;
        };
        let Some(highest) = work.surge.capacitors.iter().find(|c| c.part == part.name) else {
            continue;
        };
        let electrolytic = is_electrolytic(part);
        let volts = highest.volts();
        if volts.is_some_and(|v| v <= empty) && highest.ac_v <= empty {
            continue;
        }
        let rated = part.known.volts.filter(|v| *v > 0.0);
        all.push(Stressed {
            part: part.name.clone(),
            role: work.role(index),
            cold_v: highest.cold_v,
            warm_v: highest.warm_v,
            ac_v: highest.ac_v,
            rated_v: rated,
            surge_rated_v: rated.filter(|_| electrolytic).map(surge_rating),
            electrolytic,
            discharge_s: drained.of(&part.name).and_then(|e| e.seconds),
            joules: farads.zip(volts).map(|(f, v)| 0.5 * f * v * v),
        });
    }
    all
}

/// Volts that an electrolytic stands for a moment, by `cap.electrolytic.surge`.
fn surge_rating(rated: f64) -> f64 {
    let name = if rated <= 315.0 {
        "surge factor <=315 V"
    } else {
        "surge factor >315 V"
    };
    let factor = crate::rules::rules().figure("cap.electrolytic.surge", name);
    rated * factor.unwrap_or(1.0)
}

fn fuses(work: &Work<'_>) -> Vec<FuseLoad> {
    let mut all = Vec::new();
    for (index, part) in work.circuit.parts.iter().enumerate() {
        let Kind::Fuse { amps, slow } = part.kind else {
            continue;
        };
        let load = |state: Option<&Powered>| {
            let element = state?.own_element(&part.name)?;
            Some(state?.amps_rms(element)).filter(|a| a.is_finite())
        };
        all.push(FuseLoad {
            part: part.name.clone(),
            mains: work.has_role(index, Role::MainsFuse),
            marked_amps: amps.filter(|a| *a > 0.0),
            slow,
            amps: load(work.now.as_ref()),
            amps_highest: load(work.surge.warm.as_ref()),
        });
    }
    all
}

/// What the rectifier is, in words, for heads and notes.
pub(crate) fn rectifier_words(sort: Option<RectifierSort>) -> &'static str {
    sort.map_or("rectifier not traced", RectifierSort::words)
}

#[cfg(test)]
mod tests;
