//! Tremolo: does it start, how fast is it over its knob, how deep at the loudspeaker, and what part would bring it back.
//!
//! At rest the circuit's natural frequencies say whether a nudge grows into an oscillation. Where it does, the state that repeats
//! itself gives the pace and the swing. The swing is slow beside any tone, so at instants through it the circuit is asked for its gain
//! as if it stood still there; how that gain goes up and down is the depth. Margins come from one part at a time
//! moved until the oscillation stops, or starts. Where a lamp lights a photo-resistor, depth is between the cell dark and the
//! cell lit, as typed; how fast its light comes and goes is not computed.

mod depth;
mod margins;
mod oscillation;
mod page;

#[cfg(test)]
mod tests;

pub use depth::Depth;
pub use margins::{Margin, Sort};
pub use oscillation::{LampSwing, Pace};

use crate::driven::Bench;
use crate::powered::{Asked, block, conditions, head, mains_volts};
use crate::sheet::Sheet;
use crate::voicing::knobs_of;
use crate::wall::{Wall, made_for, wall};
use serde::Serialize;
use wiring::circuit::{Circuit, Part, Position, Setting};
use wiring::roles::{Anatomy, Block, BlockKind, Role, anatomy};
use wiring::sheet::Library;

/// Where a knob is put for a row over it.
const PLACES: [f64; 5] = [0.0, 2.5, 5.0, 7.5, 10.0];

/// What the tremolo does.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Tremolo {
    /// The section that oscillates.
    pub valve: Option<String>,
    /// Its speed control.
    pub speed: Option<String>,
    /// Its depth control.
    pub depth_control: Option<String>,
    /// How it stands with the knobs as set.
    pub now: Option<Pace>,
    /// Over the speed control, the others as set.
    pub over_speed: Vec<Pace>,
    /// Gain margin: the share of the valve's emission at which it would just oscillate; above 1 it does not.
    pub least_emission: Option<f64>,
    /// What each part of it may drift to before it stops; or must come to before it starts.
    pub margins: Vec<Margin>,
    /// Depth at the loudspeaker: knobs as set, then over the depth control.
    pub depths: Vec<Depth>,
    /// What the mains gives and may give.
    pub wall: Wall,
    /// Mains volts.
    pub mains_volts: Option<f64>,
    /// The sheet.
    #[serde(flatten)]
    pub sheet: Sheet,
}

/// The oscillator as it was found in the wiring.
pub(crate) struct Found<'a> {
    circuit: &'a Circuit,
    block: &'a Block,
    valve: String,
    speed: Option<String>,
    depth: Option<String>,
}

/// Works it out. `watch` is asked now and then with words of what is being done; false stops the work, and the sheet says so.
#[must_use]
pub fn tremolo(
    circuit: &Circuit,
    library: &Library,
    asked: &Asked,
    from: Option<&str>,
    watch: &mut dyn FnMut(&str) -> bool,
) -> Tremolo {
    let under = conditions(asked, block(circuit, asked));
    let today = mains_volts(circuit, &under);
    let mut sheet = Sheet::new("tremolo", "Tremolo");
    head(&mut sheet, circuit);
    let roles = anatomy(circuit);
    let mut out = Tremolo {
        valve: None,
        speed: None,
        depth_control: None,
        now: None,
        over_speed: Vec::new(),
        least_emission: None,
        margins: Vec::new(),
        depths: Vec::new(),
        wall: wall(made_for(circuit), today),
        mains_volts: today,
        sheet,
    };
    if let Some(found) = find(circuit, &roles) {
        out.valve = Some(found.valve.clone());
        out.speed = found.speed.clone();
        out.depth_control = found.depth.clone();
        let why = fill(&mut out, &found, library, asked, from, watch).err();
        if let Some(why) = why {
            out.sheet
                .missing(why, "Type or trace that, then ask again.");
        }
    } else {
        out.sheet.missing(
            "no tremolo oscillator was found in this wiring",
            "Trace from the valve's plate through three capacitors back to its grid; `check` lists the blocks that it found.",
        );
    }
    page::fill(&mut out);
    out
}

fn fill(
    out: &mut Tremolo,
    found: &Found<'_>,
    library: &Library,
    asked: &Asked,
    from: Option<&str>,
    watch: &mut dyn FnMut(&str) -> bool,
) -> Result<(), String> {
    // its pace and what stops it hang on the oscillator alone; only depth asks for a jack and a loudspeaker
    let bench = match Bench::new(found.circuit, library, asked, from) {
        Ok(bench) => bench,
        Err(why) => {
            out.sheet.missing(
                format!("how deep it is at the loudspeaker: {why}"),
                "Type or trace that, then ask again.",
            );
            Bench::undriven(found.circuit, library, asked)?
        }
    };
    steady(found, &bench)?;
    let knobs = knobs_of(found.circuit, asked);
    let at = |name: &Option<String>| name.as_ref().and_then(|n| knobs.get(n).copied());
    let mut go = |words: &str| {
        if watch(words) {
            Ok(())
        } else {
            Err("the rest: stopped".to_owned())
        }
    };
    go("whether it starts")?;
    let here = oscillation::of(found, &bench, at(&found.speed));
    out.least_emission = margins::least_emission(found, &bench);
    out.now = Some(here.pace.clone());
    go("what each part may drift to")?;
    out.margins = margins::all(found, &bench, here.pace.starts);
    let heard = !bench.loads.is_empty();
    if let Some(swing) = here.swing.as_ref().filter(|_| heard) {
        go("how deep it is")?;
        out.depths
            .extend(depth::of(&bench, swing, at(&found.depth)));
    }
    if let Some(name) = &found.speed {
        for place in PLACES {
            go("its pace over the knob")?;
            if let Ok(bench) = with_knob(found, library, asked, &bench.from, name, place) {
                out.over_speed
                    .push(oscillation::of(found, &bench, Some(place)).pace);
            }
        }
    }
    if let (Some(name), true) = (&found.depth, heard && here.swing.is_some()) {
        let set = at(&found.depth);
        for place in [0.0, 5.0, 10.0] {
            if set.is_some_and(|set| (set - place).abs() < 1e-9) {
                continue; // it stands there already
            }
            go("its depth over the knob")?;
            let Ok(bench) = with_knob(found, library, asked, &bench.from, name, place) else {
                continue;
            };
            if let Some(swing) = oscillation::of(found, &bench, at(&found.speed)).swing {
                out.depths.extend(depth::of(&bench, &swing, Some(place)));
            }
        }
    }
    Ok(())
}

/// The bench with one knob elsewhere.
fn with_knob(
    found: &Found<'_>,
    library: &Library,
    asked: &Asked,
    from: &str,
    name: &str,
    place: f64,
) -> Result<Bench, String> {
    let mut asked = asked.clone();
    let from = Some(from).filter(|from| !from.is_empty());
    asked.sets.push(Setting {
        name: name.to_owned(),
        to: Position::Number(place),
        place: wiring::Place::default(),
    });
    match from {
        Some(from) => Bench::new(found.circuit, library, &asked, Some(from)),
        None => Bench::undriven(found.circuit, library, &asked),
    }
}

/// Refuses where the volts of the oscillator's valve hang on what is not traced.
fn steady(found: &Found<'_>, bench: &Bench) -> Result<(), String> {
    let section = found.block.sections.first();
    let ends = section.map_or([None; 3], |s| [s.plate, s.grid, s.cathode]);
    let known = |node: &Option<wiring::NodeId>| {
        let node = node.and_then(|n| bench.solved.assembly.node_of.get(n.0).copied().flatten());
        node.is_some_and(|n| !bench.solved.hanging.contains_key(&n))
    };
    if ends.iter().all(known) {
        return Ok(());
    }
    Err(format!(
        "whether it starts: the volts of {} hang on what is not traced yet; `tubewright check` lists it",
        found.valve
    ))
}

fn find<'a>(circuit: &'a Circuit, roles: &'a Anatomy) -> Option<Found<'a>> {
    let block = roles
        .blocks
        .iter()
        .find(|b| b.kind == BlockKind::TremoloOscillator)?;
    let section = block.sections.first()?;
    let mut valve = circuit.parts.get(section.part.0)?.name.clone();
    valve.extend(section.section);
    let named = |role: Role| {
        let all = roles.blocks.iter().flat_map(|b| &b.parts);
        all.filter(|(_, r)| *r == role)
            .find_map(|(id, _)| circuit.parts.get(id.0))
            .map(whole_name)
    };
    let speed = named(Role::SpeedControl);
    let depth = named(Role::DepthControl);
    Some(Found {
        circuit,
        block,
        valve,
        speed,
        depth,
    })
}

fn whole_name(part: &Part) -> String {
    part.parent.clone().unwrap_or_else(|| part.name.clone())
}
