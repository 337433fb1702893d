//! Which stage runs out of room, and what drive does to the output valves.

use crate::driven::{Bench, Driven};
use crate::stress::valve::{Limit, limit, sections};
use serde::Serialize;
use solve::flows::terminal_currents;
use solve::netlist::Law;
use wiring::circuit::{Circuit, Kind};
use wiring::roles::{BlockKind, anatomy};
use wiring::sheet::{Library, LimitQuantity};

/// Mean grid current that counts, amperes.
const GRID_AMPS: f64 = 1e-6;
/// A plate whose current falls below this share of its mean is cut off.
const CUT_OFF: f64 = 0.02;
/// A plate that comes within this share of its mean volts of the cathode has no room left.
const BOTTOM: f64 = 0.12;
/// A signal below this, volts, tells nothing.
const SIGNAL: f64 = 1e-3;

/// How a stage runs out of room.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Room {
    /// Its grid draws current.
    GridCurrent,
    /// Its plate current stops for a part of the cycle.
    CutOff,
    /// Its plate comes down as far as it can.
    Bottoms,
}

impl Room {
    /// In words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::GridCurrent => "its grid draws current",
            Self::CutOff => "its plate current stops for a part of the cycle",
            Self::Bottoms => "its plate comes down as far as it can",
        }
    }
}

/// One stage at a drive.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Limiting {
    /// The valve section.
    pub valve: String,
    /// Distortion of its grid's volts, a ratio.
    pub grid_distortion: f64,
    /// Distortion of its plate's volts, a ratio.
    pub plate_distortion: f64,
    /// Volts rms of signal at its plate.
    pub plate_volts: f64,
    /// Mean grid current, amperes.
    pub grid_amps: f64,
    /// Where it runs out of room; empty where it does not.
    pub room: Vec<Room>,
}

/// Every stage that the signal passes, the one that adds most distortion first.
pub(super) fn limiting(bench: &Bench, driven: &Driven) -> Vec<Limiting> {
    let cycle = &driven.cycle;
    let mut all: Vec<Limiting> = Vec::new();
    for (index, element) in bench.netlist.elements.iter().enumerate() {
        let (plate, grid, cathode, which) = match element.law {
            Law::Triode {
                plate,
                grid,
                cathode,
                ..
            } => (plate, grid, cathode, 1),
            Law::Pentode {
                plate,
                grid,
                cathode,
                ..
            } => (plate, grid, cathode, 2),
            _ => continue,
        };
        let drive = cycle.harmonic(grid, cathode, 1).abs();
        let swing = cycle.harmonic(plate, cathode, 1).abs();
        if drive < SIGNAL || swing < SIGNAL {
            continue;
        }
        let grid_amps = cycle.currents(index).get(which).map_or(0.0, |c| c.mean);
        let plate_amps = cycle.currents(index).first().map_or(0.0, |c| c.mean);
        let mut room = Vec::new();
        if grid_amps > GRID_AMPS {
            room.push(Room::GridCurrent);
        }
        let waves = (
            cycle.wave(plate, cathode),
            cycle.wave(grid, cathode),
            screen_wave(&element.law, driven),
        );
        let least = waves
            .0
            .iter()
            .zip(&waves.1)
            .enumerate()
            .map(|(k, (p, g))| {
                let screen = waves.2.get(k).map_or(0.0, |s| s.1);
                plate_current(&element.law, p.1, screen, g.1)
            })
            .fold(f64::INFINITY, f64::min);
        if least < CUT_OFF * plate_amps {
            room.push(Room::CutOff);
        }
        let lowest = waves.0.iter().map(|w| w.1).fold(f64::INFINITY, f64::min);
        if lowest < BOTTOM * cycle.mean_volts(plate, cathode) {
            room.push(Room::Bottoms);
        }
        all.push(Limiting {
            valve: element.name.clone(),
            grid_distortion: cycle.distortion(grid, cathode),
            plate_distortion: cycle.distortion(plate, cathode),
            plate_volts: swing / std::f64::consts::SQRT_2,
            grid_amps,
            room,
        });
    }
    all.sort_by(|a, b| adds(b).total_cmp(&adds(a)).then(a.valve.cmp(&b.valve)));
    all
}

/// What a stage adds to the distortion that it gets.
fn adds(stage: &Limiting) -> f64 {
    (stage.plate_distortion.powi(2) - stage.grid_distortion.powi(2)).max(0.0)
}

fn screen_wave(law: &Law, driven: &Driven) -> Vec<(f64, f64)> {
    match law {
        Law::Pentode {
            screen, cathode, ..
        } => driven.cycle.wave(*screen, *cathode),
        _ => Vec::new(),
    }
}

fn plate_current(law: &Law, plate: f64, screen: f64, grid: f64) -> f64 {
    match law {
        Law::Triode { law, .. } => law.currents(plate, grid).plate_a,
        Law::Pentode { law, .. } => law.currents(plate, screen, grid).plate.amps,
        _ => 0.0,
    }
}

/// One output valve at rest and under drive.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OutputValve {
    /// The section.
    pub valve: String,
    /// At rest, at the clean limit, driven hard.
    pub states: Vec<Option<Working>>,
    /// Plate limit, watts.
    pub plate_limit: Option<f64>,
    /// Screen limit, watts: at full signal where the sheet gives one.
    pub screen_limit: Option<f64>,
    /// Limit of the mean cathode current, amperes.
    pub cathode_limit: Option<f64>,
    /// Where the plate limit is from.
    #[serde(skip)]
    pub(super) origins: [Option<crate::sheet::Origin>; 3],
}

/// What it does in a state.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Working {
    /// Watts in the plate.
    pub plate_watts: f64,
    /// Watts in the screen.
    pub screen_watts: Option<f64>,
    /// Mean cathode current, amperes.
    pub cathode_amps: f64,
}

/// The valves of the output stages, in each state: at rest first.
pub(super) fn output_valves(
    bench: &Bench,
    circuit: &Circuit,
    library: &Library,
    states: &[Option<&Driven>],
) -> Vec<OutputValve> {
    let roles = anatomy(circuit);
    let mut all = Vec::new();
    for block in &roles.blocks {
        if !matches!(block.kind, BlockKind::SingleEnded | BlockKind::PushPull) {
            continue;
        }
        for section in &block.sections {
            let Some(part) = circuit.parts.get(section.part.0) else {
                continue;
            };
            let Kind::Valve(valve) = &part.kind else {
                continue;
            };
            for letter in sections(valve) {
                if section.section.is_some() && letter != section.section {
                    continue;
                }
                let mut name = part.name.clone();
                name.extend(letter);
                let elements = bench.solved.assembly.elements_of.get(&part.name);
                let element = elements.into_iter().flatten().copied().find(|e| {
                    bench.netlist.elements.get(*e).is_some_and(|e| {
                        (e.name == name || e.name == part.name)
                            && matches!(e.law, Law::Triode { .. } | Law::Pentode { .. })
                    })
                });
                let Some(element) = element else { continue };
                let mut all_states = vec![at_rest(bench, element)];
                all_states.extend(
                    states
                        .iter()
                        .map(|s| s.and_then(|d| under_drive(bench, d, element))),
                );
                let of = |which, typed| limit(library, valve, letter, which, typed);
                let plate = of(LimitQuantity::PlateWatts, valve.limits.plate_watts);
                let screen = of(LimitQuantity::ScreenWattsFullSignal, None)
                    .or_else(|| of(LimitQuantity::ScreenWatts, valve.limits.screen_watts));
                let cathode = of(LimitQuantity::CathodeAmps, None);
                let value = |l: &Option<Limit>| l.as_ref().map(|l| l.value);
                let entry = OutputValve {
                    valve: name,
                    states: all_states,
                    plate_limit: value(&plate),
                    screen_limit: value(&screen),
                    cathode_limit: value(&cathode),
                    origins: [plate, screen, cathode].map(|l| l.map(|l| l.origin)),
                };
                if all.iter().all(|v: &OutputValve| v.valve != entry.valve) {
                    all.push(entry);
                }
            }
        }
    }
    all
}

fn at_rest(bench: &Bench, element: usize) -> Option<Working> {
    let (net, rest) = (&bench.solved.point.netlist, &bench.solved.point.solution);
    let law = &net.elements.get(element)?.law;
    let amps = terminal_currents(net, rest, element);
    let nodes = law.terminals();
    let cathode = *nodes.last()?;
    let over = |k: usize| Some(rest.across(*nodes.get(k)?, cathode));
    let pentode = matches!(law, Law::Pentode { .. });
    Some(Working {
        plate_watts: over(0)? * amps.first()?,
        screen_watts: pentode.then(|| Some(over(1)? * amps.get(1)?)).flatten(),
        cathode_amps: -*amps.last()?,
    })
}

fn under_drive(bench: &Bench, driven: &Driven, element: usize) -> Option<Working> {
    let law = &bench.netlist.elements.get(element)?.law;
    let cycle = &driven.cycle;
    let pentode = matches!(law, Law::Pentode { .. });
    Some(Working {
        plate_watts: cycle.terminal_watts(element, 0),
        screen_watts: pentode.then(|| cycle.terminal_watts(element, 1)),
        cathode_amps: -cycle.currents(element).last()?.mean,
    })
}
