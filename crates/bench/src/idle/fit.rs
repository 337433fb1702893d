//! What to fit or to set: cathode resistor, bias divider, trimmer.
//!
//! Every proposal is solved in the circuit, at today's mains and at the highest: the dissipation it
//! gives lies inside the window today and below the plate limit at the highest mains. Values are
//! those of the E12 series on the cold side of what was computed, ratings at least the computed
//! watts over the share that the rules allow.

use super::{BiasKind, Stage, Work};
use crate::powered::{Powered, ends, value};
use crate::rules::rules;
use serde::Serialize;
use wiring::circuit::{Circuit, History, Kind, Position};
use wiring::readings::Conditions;
use wiring::roles::{Block, BlockKind, Role};
use wiring::units::series::Series;
use wiring::{GROUND, NodeId, Place};

/// A resistor to fit.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Fit {
    /// The part it replaces.
    pub part: String,
    /// Ohms there now.
    pub from_ohms: f64,
    /// Ohms that the computation asks for, before rounding.
    pub wanted_ohms: f64,
    /// Standard value to fit.
    pub ohms: f64,
    /// Watts that it dissipates at the highest mains.
    pub dissipates_w: f64,
    /// Rating to fit.
    pub rated_w: f64,
    /// Plate watts of the hottest valve with it, today's mains.
    pub plate_w: f64,
    /// The same at the highest mains.
    pub plate_w_highest: f64,
    /// The part that is there already keeps the stage inside its window.
    pub keeps: bool,
}

/// A bias trimmer.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Control {
    /// Its name.
    pub part: String,
    /// Rotation that it was computed at, 0 to 10.
    pub stands_at: Option<f64>,
    /// Coldest and hottest setting at the lowest mains.
    pub lowest: Option<Setting>,
    /// The same at today's mains.
    pub now: Option<Setting>,
    /// The same at the highest mains.
    pub highest: Option<Setting>,
    /// Rotation at which the hottest valve meets the target, today's mains; none out of reach.
    pub target_at: Option<f64>,
    /// Plate watts of the hottest valve with the wiper open; none where nothing holds the grids then.
    pub wiper_open_w: Option<f64>,
    /// Whether an open wiper leaves the valves no hotter than they are set.
    pub fails_cold: Option<bool>,
}

/// What a trimmer reaches: plate watts of the hottest valve at both ends, and bias volts there.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Setting {
    /// Plate watts at the coldest setting.
    pub coldest_w: f64,
    /// Plate watts at the hottest.
    pub hottest_w: f64,
    /// Grid over cathode at the coldest.
    pub coldest_v: f64,
    /// Grid over cathode at the hottest.
    pub hottest_v: f64,
}

/// Hottest plate watts and its bias of a stage in a circuit; none where a valve has no figures.
fn hottest(
    work: &Work<'_>,
    circuit: &Circuit,
    block: &Block,
    conditions: &Conditions,
) -> Option<(f64, f64)> {
    let powered = Powered::new(circuit, work.library, conditions).ok()?;
    hottest_in(&powered, circuit, block)
}

fn hottest_in(powered: &Powered, circuit: &Circuit, block: &Block) -> Option<(f64, f64)> {
    let mut worst: Option<(f64, f64)> = None;
    for section in &block.sections {
        let part = circuit.parts.get(section.part.0)?;
        let a = powered.section(&part.name, section.section)?;
        let watts = a.plate_watts();
        if !watts.is_finite() {
            return None;
        }
        if worst.is_none_or(|w| watts > w.0) {
            worst = Some((watts, a.grid_volts - a.cathode_volts));
        }
    }
    worst
}

/// The circuit with another resistor in a part's place.
fn with_ohms(circuit: &Circuit, index: usize, ohms: f64) -> Circuit {
    let mut other = circuit.clone();
    if let Some(part) = other.parts.get_mut(index) {
        part.kind = Kind::Resistor { ohms: Some(ohms) };
        part.known.reading = None;
    }
    other
}

/// Looks for ohms of `index` at which the hottest valve dissipates `watts`.
///
/// The dissipation is taken as monotone in the ohms; which way is found by trying. None when no
/// value between a twentieth and twenty times the present one does it.
fn solve_for(
    work: &Work<'_>,
    block: &Block,
    index: usize,
    from: f64,
    conditions: &Conditions,
    watts: f64,
) -> Option<f64> {
    let at = |factor: f64| {
        let circuit = with_ohms(work.circuit, index, from * factor);
        hottest(work, &circuit, block, conditions).map(|h| h.0)
    };
    let (mut low, mut high) = (0.05_f64, 20.0_f64);
    let (at_low, at_high) = (at(low)?, at(high)?);
    if (at_low - watts) * (at_high - watts) > 0.0 {
        return None;
    }
    let falls = at_low > at_high;
    for _ in 0..24 {
        let middle = (low * high).sqrt();
        let here = at(middle)?;
        if (here > watts) == falls {
            low = middle;
        } else {
            high = middle;
        }
        if high / low < 1.002 {
            break;
        }
    }
    Some(from * (low * high).sqrt())
}

/// The resistor that sets the bias: of a cathode-biased stage its cathode resistor, of fixed bias
/// the divider's leg to ground. None while a trimmer does the work or nothing is traced.
pub(super) fn fit(work: &Work<'_>, block: &Block, stage: &Stage, bias: BiasKind) -> Option<Fit> {
    let window = stage.window?;
    let limit = stage
        .valves
        .iter()
        .filter_map(|v| v.plate_limit_w)
        .reduce(f64::min)?;
    let target = stage.target_watts?.min(limit);
    let index = match bias {
        BiasKind::Cathode => cathode_resistor(work, block)?,
        BiasKind::Fixed => {
            let reaches = stage
                .control
                .as_ref()
                .is_some_and(|c| c.target_at.is_some());
            if reaches {
                return None;
            }
            divider_leg(work)?
        }
    };
    let part = work.circuit.parts.get(index)?;
    let Kind::Resistor { ohms } = part.kind else {
        return None;
    };
    let from = value(part, ohms).filter(|r| *r > 0.0)?;
    let now = work.under.clone();
    let highest = work.at_mains(work.wall.highest);
    // As it stands.
    let stands = hottest(work, work.circuit, block, &now)?;
    let mains = work.states.highest.is_some();
    let at_highest = |circuit: &Circuit| {
        if mains {
            hottest(work, circuit, block, &highest)
        } else {
            hottest(work, circuit, block, &now)
        }
    };
    let stands_highest = at_highest(work.circuit)?;
    let most = window.high / 100.0 * limit;
    let inside = |w: f64| w <= most * 1.000_1 && w >= window.low / 100.0 * limit;
    if inside(stands.0) && stands_highest.0 <= limit {
        let watts = dissipation(work, index, work.circuit, &highest, mains)?;
        return Some(Fit {
            part: part.name.clone(),
            from_ohms: from,
            wanted_ohms: from,
            ohms: from,
            dissipates_w: watts,
            rated_w: rated(watts)?,
            plate_w: stands.0,
            plate_w_highest: stands_highest.0,
            keeps: true,
        });
    }
    let mut wanted = solve_for(work, block, index, from, &now, target)?;
    // The highest mains must not pass the limit itself.
    let colder_is_more = {
        let up = hottest(
            work,
            &with_ohms(work.circuit, index, wanted * 1.2),
            block,
            &now,
        )?;
        up.0 < target
    };
    if mains
        && at_highest(&with_ohms(work.circuit, index, wanted))?.0 > limit
        && let Some(cooler) = solve_for(work, block, index, from, &highest, limit * 0.99)
    {
        wanted = cooler;
    }
    let mut chosen = standard(wanted, colder_is_more)?;
    for _ in 0..6 {
        let circuit = with_ohms(work.circuit, index, chosen);
        let here = hottest(work, &circuit, block, &now)?;
        let there = at_highest(&circuit)?;
        if here.0 <= most && there.0 <= limit {
            let watts = dissipation(work, index, &circuit, &highest, mains)?;
            return Some(Fit {
                part: part.name.clone(),
                from_ohms: from,
                wanted_ohms: wanted,
                ohms: chosen,
                dissipates_w: watts,
                rated_w: rated(watts)?,
                plate_w: here.0,
                plate_w_highest: there.0,
                keeps: false,
            });
        }
        let next = if colder_is_more {
            chosen * 1.08
        } else {
            chosen / 1.08
        };
        chosen = standard(next, colder_is_more)?;
    }
    None
}

/// The E12 value on the cold side.
fn standard(wanted: f64, colder_is_more: bool) -> Option<f64> {
    let near = Series::E12.nearest(wanted)?;
    let right = if colder_is_more {
        near >= wanted * 0.999
    } else {
        near <= wanted * 1.001
    };
    if right {
        return Some(near);
    }
    // One step of the series is a fifth at most.
    let steps = [1.1, 1.15, 1.2, 1.25];
    steps.into_iter().find_map(|step| {
        let next = if colder_is_more {
            wanted * step
        } else {
            wanted / step
        };
        let near = Series::E12.nearest(next)?;
        let right = if colder_is_more {
            near >= wanted
        } else {
            near <= wanted
        };
        right.then_some(near)
    })
}

/// Rating for dissipated watts: over the share that the rules allow, as parts are sold.
fn rated(watts: f64) -> Option<f64> {
    let share = rules()
        .figure("res.power", "wirewound")
        .unwrap_or(60.0)
        .clamp(1.0, 60.0)
        / 100.0;
    crate::part::rated_watts((watts / share).max(0.25))
}

/// Watts in a resistor, at the highest mains where there is one.
fn dissipation(
    work: &Work<'_>,
    index: usize,
    circuit: &Circuit,
    highest: &Conditions,
    mains: bool,
) -> Option<f64> {
    let conditions = if mains { highest } else { &work.under };
    let powered = Powered::new(circuit, work.library, conditions).ok()?;
    let part = circuit.parts.get(index)?;
    let amps = powered.part_amps(&part.name)?;
    let Kind::Resistor { ohms } = part.kind else {
        return None;
    };
    Some(amps * amps * value(part, ohms)?)
}

/// The one cathode resistor of a stage: between its cathodes and ground, 30 ohm and more.
fn cathode_resistor(work: &Work<'_>, block: &Block) -> Option<usize> {
    let mut found = work.with_role(block, Role::CathodeResistor).filter(|i| {
        work.circuit.parts.get(*i).is_some_and(|p| match p.kind {
            Kind::Resistor { ohms } => {
                value(p, ohms).is_some_and(|r| r >= 30.0)
                    && ends(p).is_some_and(|(a, b)| a == GROUND || b == GROUND)
            }
            _ => false,
        })
    });
    let first = found.next()?;
    // Several: each cathode has its own, and all would have to change together.
    found.next().is_none().then_some(first)
}

fn bias_block<'a>(work: &'a Work<'_>) -> Option<&'a Block> {
    work.anatomy
        .blocks
        .iter()
        .find(|b| b.kind == BlockKind::BiasSupply)
}

/// The leg of the bias divider that goes to ground, or to the trimmer that does.
fn divider_leg(work: &Work<'_>) -> Option<usize> {
    let block = bias_block(work)?;
    let controls: Vec<NodeId> = work
        .with_role(block, Role::BiasControl)
        .filter_map(|i| work.circuit.parts.get(i))
        .flat_map(|p| p.terminals.iter().filter_map(|t| t.node))
        .collect();
    let legs = work.with_role(block, Role::BiasDivider).filter(|i| {
        work.circuit
            .parts
            .get(*i)
            .and_then(ends)
            .is_some_and(|(a, b)| {
                a == GROUND || b == GROUND || controls.contains(&a) || controls.contains(&b)
            })
    });
    legs.into_iter().next()
}

/// The bias trimmer and what it does.
pub(super) fn control(
    work: &Work<'_>,
    block: &Block,
    stage: &Stage,
    bias: BiasKind,
) -> Option<Control> {
    if bias != BiasKind::Fixed {
        return None;
    }
    let supply = bias_block(work)?;
    let index = work.with_role(supply, Role::BiasControl).next()?;
    let part = work.circuit.parts.get(index)?;
    if part.known.history == Some(History::Removed) {
        return None;
    }
    let name = part.parent.clone().unwrap_or_else(|| part.name.clone());
    let turned = |to: f64, conditions: &Conditions| {
        let mut c = conditions.clone();
        c.sets.push(wiring::circuit::Setting {
            name: name.clone(),
            to: Position::Number(to),
            place: Place::default(),
        });
        hottest(work, work.circuit, block, &c)
    };
    let ends_at = |conditions: &Conditions| {
        let (a, b) = (turned(0.0, conditions)?, turned(10.0, conditions)?);
        let (cold, hot) = if a.0 <= b.0 { (a, b) } else { (b, a) };
        Some(Setting {
            coldest_w: cold.0,
            hottest_w: hot.0,
            coldest_v: cold.1,
            hottest_v: hot.1,
        })
    };
    let now = ends_at(&work.under);
    let mains = work.states.highest.is_some();
    let at = |volts: f64| mains.then(|| ends_at(&work.at_mains(volts))).flatten();
    let target_at = stage
        .target_watts
        .and_then(|target| rotation(target, |to| turned(to, &work.under).map(|h| h.0)));
    let set = hottest(work, work.circuit, block, &work.under);
    let open = wiper_open(work.circuit, index);
    let opened = hottest(work, &open, block, &work.under);
    let fails_cold = set.map(|set| opened.is_some_and(|o| o.0 <= set.0 * 1.01 + 0.01));
    let stands_at = work
        .under
        .sets
        .iter()
        .chain(&work.circuit.sets)
        .find(|s| s.name == name)
        .and_then(|s| match s.to {
            Position::Number(x) => Some(x),
            _ => None,
        });
    Some(Control {
        part: name.clone(),
        stands_at,
        lowest: at(work.wall.lowest),
        now,
        highest: at(work.wall.highest),
        target_at,
        wiper_open_w: opened.map(|o| o.0),
        fails_cold,
    })
}

/// Rotation at which the dissipation is `target`; none when both ends lie on one side of it.
fn rotation(target: f64, watts: impl Fn(f64) -> Option<f64>) -> Option<f64> {
    let (mut low, mut high) = (0.0_f64, 10.0_f64);
    let (a, b) = (watts(low)?, watts(high)?);
    if (a - target) * (b - target) > 0.0 {
        return None;
    }
    let rises = b > a;
    for _ in 0..12 {
        let middle = f64::midpoint(low, high);
        if (watts(middle)? < target) == rises {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some(f64::midpoint(low, high))
}

/// The circuit with the wiper of a pot lifted from its track: what was joined to the wiper stays.
fn wiper_open(circuit: &Circuit, index: usize) -> Circuit {
    let mut open = circuit.clone();
    for node in &mut open.nodes {
        node.terminals
            .retain(|(part, terminal)| !(part.0 == index && *terminal == 1));
    }
    if let Some(wiper) = open
        .parts
        .get_mut(index)
        .and_then(|p| p.terminals.get_mut(1))
    {
        wiper.node = None;
    }
    open
}
