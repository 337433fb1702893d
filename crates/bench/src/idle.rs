//! Output stages at idle, from the wiring: what each valve dissipates, and what to fit.
//!
//! For every output stage: the target window by class and kind of bias, plate and screen watts of
//! each valve from the solved circuit and, where they were taken, from readings; the resistor or
//! trimmer that brings it into its window; what the trimmer reaches at lowest, today's and highest
//! mains; whether it fails cold; the balance of a pair. Limits are the lowest of all rating systems
//! of the type in the socket and of the type it is made for, and no target lies above them. Pure.

mod class;
mod fit;
mod measured;
mod page;

pub use class::Window;
pub use fit::{Control, Fit, Setting};
pub use measured::Measured;

use crate::powered::{Asked, Powered, Read, SectionAmps, block, conditions, head, mains_volts};
use crate::sheet::Sheet;
use crate::wall::{Wall, made_for, wall};
use serde::Serialize;
use wiring::NodeId;
use wiring::circuit::{Circuit, Electrode, Kind, Valve};
use wiring::readings::Conditions;
use wiring::roles::{Anatomy, Block, BlockKind, Role, Section, anatomy};
use wiring::sheet::{Library, LimitQuantity, RatingSystem};

/// The output stages, worked out.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Idle {
    /// Every output stage, in the order of the wiring.
    pub stages: Vec<Stage>,
    /// What the mains gives and may give.
    pub wall: Wall,
    /// Mains volts that the figures are for.
    pub mains_volts: Option<f64>,
    /// The sheet.
    #[serde(flatten)]
    pub sheet: Sheet,
}

/// How a stage gets its bias.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum BiasKind {
    /// Volts across a cathode resistor.
    Cathode,
    /// Negative volts on the grids.
    Fixed,
}

impl BiasKind {
    /// In words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Cathode => "cathode bias",
            Self::Fixed => "fixed bias",
        }
    }
}

/// One output stage.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Stage {
    /// Its name: the output transformer's.
    pub name: String,
    /// Valves at both ends of the primary.
    pub push_pull: bool,
    /// How it is biased; none where the wiring does not say yet.
    pub bias: Option<BiasKind>,
    /// IEEE class letters, as far as idle current and load tell.
    pub class: Option<&'static str>,
    /// Where plate dissipation should lie, percent of the limit.
    pub window: Option<Window>,
    /// Plate watts of one valve that the sheet aims at; never above the lowest plate limit.
    pub target_watts: Option<f64>,
    /// The valves.
    pub valves: Vec<ValveIdle>,
    /// Difference of the two sides' plate currents by readings, percent of their mean.
    pub balance_percent: Option<f64>,
    /// What to fit.
    pub fit: Option<Fit>,
    /// The trimmer.
    pub control: Option<Control>,
}

/// One valve of a stage.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ValveIdle {
    /// Name in the wiring, with its section letter.
    pub valve: String,
    /// Type in the socket.
    pub valve_type: String,
    /// End of the primary that its plate is on: 1 or 2.
    pub side: u8,
    /// Lowest plate limit, watts, of the type in the socket and of the type meant.
    pub plate_limit_w: Option<f64>,
    /// Rating system of that limit.
    pub system: Option<RatingSystem>,
    /// Where it is from.
    pub source: Option<String>,
    /// Lowest screen limit at rest, watts.
    pub screen_limit_w: Option<f64>,
    /// Largest mean cathode current, milliamperes.
    pub cathode_limit_ma: Option<f64>,
    /// Largest grid-circuit resistance for this kind of bias, ohms.
    pub grid_limit_ohms: Option<f64>,
    /// Grid-circuit resistance as wired.
    pub grid_ohms: Option<f64>,
    /// Plate current, today's mains.
    pub plate_ma: Option<f64>,
    /// Screen current.
    pub screen_ma: Option<f64>,
    /// Plate dissipation, today's mains.
    pub plate_w: Option<f64>,
    /// At the lowest mains.
    pub plate_w_lowest: Option<f64>,
    /// At the highest mains.
    pub plate_w_highest: Option<f64>,
    /// Screen dissipation, today's mains.
    pub screen_w: Option<f64>,
    /// Bias: grid over cathode, volts.
    pub bias_v: Option<f64>,
    /// What readings give.
    pub measured: Option<Measured>,
}

/// The circuit at three mains.
pub(crate) struct States {
    pub(crate) now: Option<Powered>,
    pub(crate) lowest: Option<Powered>,
    pub(crate) highest: Option<Powered>,
}

pub(crate) struct Work<'a> {
    pub(crate) circuit: &'a Circuit,
    pub(crate) library: &'a Library,
    pub(crate) anatomy: &'a Anatomy,
    pub(crate) under: Conditions,
    pub(crate) read: Read,
    pub(crate) states: States,
    pub(crate) wall: Wall,
}

impl Work<'_> {
    /// The conditions at other mains volts.
    pub(crate) fn at_mains(&self, volts: f64) -> Conditions {
        Conditions {
            mains_volts: Some(volts),
            ..self.under.clone()
        }
    }

    /// Parts of a block with a role.
    pub(crate) fn with_role<'b>(
        &'b self,
        block: &'b Block,
        role: Role,
    ) -> impl Iterator<Item = usize> + 'b {
        block
            .parts
            .iter()
            .filter(move |(_, r)| *r == role)
            .map(|(id, _)| id.0)
    }
}

/// The bias sheet of a wiring.
#[must_use]
pub fn idle(circuit: &Circuit, library: &Library, asked: &Asked) -> Idle {
    let anatomy = anatomy(circuit);
    let block = block(circuit, asked);
    let under = conditions(asked, block);
    let today = mains_volts(circuit, &under);
    let wall = wall(made_for(circuit), today);
    let mut sheet = Sheet::new("bias", "Output stage at idle");
    head(&mut sheet, circuit);
    let mains_fed = made_for(circuit).is_some();
    let at = |volts: Option<f64>| {
        let conditions = Conditions {
            mains_volts: volts.or(under.mains_volts),
            ..under.clone()
        };
        Powered::new(circuit, library, &conditions)
    };
    let now = match at(None) {
        Ok(p) => Some(p),
        Err(why) => {
            sheet.missing(
                format!("currents: {why}"),
                "Run `check`, and look for a slip near that point.",
            );
            None
        }
    };
    let other = |volts: f64| mains_fed.then(|| at(Some(volts)).ok()).flatten();
    let work = Work {
        states: States {
            lowest: other(wall.lowest),
            highest: other(wall.highest),
            now,
        },
        circuit,
        library,
        anatomy: &anatomy,
        read: Read::of(block),
        under,
        wall: wall.clone(),
    };
    let stages = work
        .anatomy
        .blocks
        .iter()
        .filter(|b| matches!(b.kind, BlockKind::SingleEnded | BlockKind::PushPull))
        .filter(|b| !b.sections.is_empty())
        .map(|b| stage(&work, b))
        .collect();
    let mut idle = Idle {
        stages,
        wall,
        mains_volts: today,
        sheet,
    };
    page::fill(&work, block.map(|b| b.name.as_str()), &mut idle);
    idle
}

fn stage(work: &Work<'_>, block: &Block) -> Stage {
    let bias = class::bias_kind(work, block);
    let push_pull = block.kind == BlockKind::PushPull;
    let window = bias.map(|b| class::window(push_pull, b));
    let mut stage = Stage {
        name: work
            .with_role(block, Role::OutputTransformer)
            .next()
            .and_then(|i| work.circuit.parts.get(i))
            .map_or_else(String::new, |p| p.name.clone()),
        push_pull,
        bias,
        class: None,
        window,
        target_watts: None,
        valves: block
            .sections
            .iter()
            .map(|s| valve(work, block, s, bias))
            .collect(),
        balance_percent: None,
        fit: None,
        control: None,
    };
    stage.class = class::class(work, block, &stage);
    stage.target_watts = window.and_then(|w| {
        let limits = stage.valves.iter().filter_map(|v| v.plate_limit_w);
        let lowest = limits.reduce(f64::min)?;
        Some((lowest * w.aim / 100.0).min(lowest))
    });
    stage.balance_percent = measured::balance(&stage);
    if let Some(bias) = bias {
        stage.control = fit::control(work, block, &stage, bias);
        stage.fit = fit::fit(work, block, &stage, bias);
    }
    stage
}

/// Electrode amperes of a section in one state.
pub(crate) fn section_amps(
    work: &Work<'_>,
    state: Option<&Powered>,
    section: &Section,
) -> Option<SectionAmps> {
    let part = work.circuit.parts.get(section.part.0)?;
    state?.section(&part.name, section.section)
}

fn valve(work: &Work<'_>, block: &Block, section: &Section, bias: Option<BiasKind>) -> ValveIdle {
    let part = work.circuit.parts.get(section.part.0);
    let name = part.map_or("", |p| p.name.as_str());
    let mut full = name.to_owned();
    full.extend(section.section);
    let kind = part.and_then(|p| match &p.kind {
        Kind::Valve(v) => Some(v),
        _ => None,
    });
    let limits = kind.map(|v| limits(work.library, v, section.section, bias));
    let limits = limits.unwrap_or_default();
    let of = |state: &Option<Powered>| section_amps(work, state.as_ref(), section);
    let now = of(&work.states.now);
    let watts = |a: Option<SectionAmps>| a.map(|a| a.plate_watts());
    let mut idle = ValveIdle {
        valve: full,
        valve_type: kind.map_or_else(String::new, |v| v.type_in_socket().to_owned()),
        side: class::side(work, block, section),
        plate_limit_w: limits.plate,
        system: limits.system,
        source: limits.source,
        screen_limit_w: limits.screen,
        cathode_limit_ma: limits.cathode.map(|a| a * 1e3),
        grid_limit_ohms: limits.grid,
        grid_ohms: section
            .grid
            .and_then(|g| work.states.now.as_ref()?.source_ohms(g))
            .filter(|r| r.is_finite() && *r < 1e9),
        plate_ma: now.map(|a| a.plate * 1e3),
        screen_ma: now.filter(|_| section.pentode).map(|a| a.screen * 1e3),
        plate_w: watts(now),
        plate_w_lowest: watts(of(&work.states.lowest)),
        plate_w_highest: watts(of(&work.states.highest)),
        screen_w: now
            .filter(|_| section.pentode)
            .and_then(|a| a.screen_watts()),
        bias_v: now.map(|a| a.grid_volts - a.cathode_volts),
        measured: None,
    };
    idle.measured = measured::measured(work, block, section, &idle.valve_type);
    idle
}

#[derive(Default)]
struct Limits {
    plate: Option<f64>,
    system: Option<RatingSystem>,
    source: Option<String>,
    screen: Option<f64>,
    cathode: Option<f64>,
    grid: Option<f64>,
}

/// The lowest limits of the type in the socket, of the type it is made for, and of those typed.
fn limits(
    library: &Library,
    valve: &Valve,
    letter: Option<char>,
    bias: Option<BiasKind>,
) -> Limits {
    let types = [
        Some(valve.type_in_socket()),
        Some(valve.meant.as_str()),
        valve.like.as_deref(),
    ];
    // `like` lends its curves; its limits count only where nothing else gives any.
    let sheets = |all: &[Option<&str>]| {
        all.iter()
            .flatten()
            .filter_map(|t| library.find(t))
            .collect::<Vec<_>>()
    };
    let mut own = sheets(&types[..2]);
    if own.is_empty() && valve.limits.plate_watts.is_none() {
        own = sheets(&types[2..]);
    }
    let lowest = |quantity: LimitQuantity, typed: Option<f64>| {
        own.iter()
            .filter_map(|s| s.guarding_limit(letter, quantity))
            .chain(typed.filter(|w| *w > 0.0))
            .reduce(f64::min)
    };
    let plate = lowest(LimitQuantity::PlateWatts, valve.limits.plate_watts);
    let set = own.iter().find_map(|s| {
        let set = s.guarding_set(letter, LimitQuantity::PlateWatts)?;
        (set.get(LimitQuantity::PlateWatts) == plate).then_some(set)
    });
    let grid = match bias {
        Some(BiasKind::Fixed) => lowest(LimitQuantity::GridOhmsFixedBias, None),
        Some(BiasKind::Cathode) => lowest(LimitQuantity::GridOhmsCathodeBias, None),
        None => None,
    };
    Limits {
        plate,
        system: set.map(|s| s.system),
        source: set.map(|s| library.cite(&s.origin)),
        screen: lowest(LimitQuantity::ScreenWatts, valve.limits.screen_watts),
        cathode: lowest(LimitQuantity::CathodeAmps, None),
        grid,
    }
}

/// A node of an electrode of a section.
pub(crate) fn electrode(circuit: &Circuit, section: &Section, which: Electrode) -> Option<NodeId> {
    let part = circuit.parts.get(section.part.0)?;
    crate::powered::electrode(part, section.section, which)
}

#[cfg(test)]
mod tests;
