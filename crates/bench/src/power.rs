//! Power: what the amplifier gives into its loudspeaker, clean and driven hard, and what that costs it.
//!
//! A tone at a jack is raised from quiet to far into clipping. At each level the state that repeats is
//! found, with the supply sagging as the drive asks of it, and read: watts, distortion, harmonics, what every
//! output valve dissipates, what the rails fall to, which stage ran out of room first. Terms follow IEC 60268-3 (from
//! memory, not seen): distortion is total harmonic distortion, orders 2 to 20 over the first. Ripple, a
//! saturating core and the loudspeaker's own curve are not in it.

mod levels;
mod page;
mod stages;

#[cfg(test)]
mod tests;

pub use levels::Level;
pub use stages::{Limiting, OutputValve, Room};

use crate::driven::{Bench, Driven};
use crate::powered::{Asked, block, conditions, head, mains_volts, node_name};
use crate::sheet::Sheet;
use crate::stress::{UnderDrive, When, under_drive};
use crate::wall::{Wall, made_for, wall};
use levels::Search;
use serde::Serialize;
use solve::time::TimeError;
use wiring::circuit::Circuit;
use wiring::roles::anatomy;
use wiring::sheet::Library;

/// What is asked.
#[derive(Debug, Clone, PartialEq)]
pub struct PowerRequest {
    /// Conditions, knobs among them.
    pub asked: Asked,
    /// Jack or generator; the input that is heard loudest unless told.
    pub from: Option<String>,
    /// Frequencies; the first is the one that is looked at closely.
    pub hertz: Vec<f64>,
    /// Distortion that still counts as clean, a ratio.
    pub clean: f64,
}

impl Default for PowerRequest {
    fn default() -> Self {
        Self {
            asked: Asked::default(),
            from: None,
            hertz: vec![1000.0, 100.0, 5000.0],
            clean: 0.05,
        }
    }
}

/// What the amplifier gives.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Power {
    /// The jack or generator that drives.
    pub from: Option<String>,
    /// Loudspeakers and their ohms.
    pub loads: Vec<(String, f64)>,
    /// Distortion that counts as clean, a ratio.
    pub clean: f64,
    /// From quiet to loud at the first frequency.
    pub levels: Vec<Level>,
    /// Per frequency the loudest clean level; none where even a quiet tone has more distortion.
    pub cleanest: Vec<(f64, Option<Level>)>,
    /// Driven four times as hard as the clean limit (12 dB more).
    pub full: Option<Level>,
    /// What runs out of room at the clean limit, the first first.
    pub limiting: Vec<Limiting>,
    /// Output valves: at rest, at the clean limit, driven hard.
    pub valves: Vec<OutputValve>,
    /// Rails: name, volts at rest, at the clean limit, driven hard.
    pub rails: Vec<Sag>,
    /// What drive does to every part, at the clean limit and driven hard.
    pub drives: Vec<UnderDrive>,
    /// What the mains gives and may give.
    pub wall: Wall,
    /// Mains volts.
    pub mains_volts: Option<f64>,
    /// The sheet.
    #[serde(flatten)]
    pub sheet: Sheet,
}

/// A rail under drive.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Sag {
    /// Its name.
    pub point: String,
    /// Volts at rest.
    pub rest: f64,
    /// At the clean limit.
    pub clean: Option<f64>,
    /// Driven hard.
    pub full: Option<f64>,
}

/// Works out what the amplifier gives. `watch` is asked now and then with words of what is being done; false stops the
/// work, and the sheet says so.
#[must_use]
pub fn power(
    circuit: &Circuit,
    library: &Library,
    request: &PowerRequest,
    watch: &mut dyn FnMut(&str) -> bool,
) -> Power {
    let asked = &request.asked;
    let under = conditions(asked, block(circuit, asked));
    let today = mains_volts(circuit, &under);
    let mut sheet = Sheet::new("power", "Power, distortion and what they cost");
    head(&mut sheet, circuit);
    let mut found = Power {
        from: None,
        loads: Vec::new(),
        clean: request.clean,
        levels: Vec::new(),
        cleanest: Vec::new(),
        full: None,
        limiting: Vec::new(),
        valves: Vec::new(),
        rails: Vec::new(),
        drives: Vec::new(),
        wall: wall(made_for(circuit), today),
        mains_volts: today,
        sheet,
    };
    match Bench::new(circuit, library, asked, request.from.as_deref()) {
        Ok(bench) => {
            found.from = Some(bench.from.clone());
            found.loads = bench
                .loads
                .iter()
                .map(|l| (l.name.clone(), l.ohms))
                .collect();
            let stopped = fill(&mut found, &bench, circuit, library, request, watch).err();
            if let Some(why) = stopped {
                found.sheet.missing(
                    format!("the rest of the levels: {why}"),
                    "Ask for fewer frequencies, or a lower level.",
                );
            }
            for note in &bench.solved.point.notes {
                found.sheet.note(format!("{}: {}", note.part, note.text));
            }
        }
        Err(why) => found
            .sheet
            .missing(why, "Type or trace that, then ask again."),
    }
    page::fill(&mut found);
    found
}

fn fill(
    found: &mut Power,
    bench: &Bench,
    circuit: &Circuit,
    library: &Library,
    request: &PowerRequest,
    watch: &mut dyn FnMut(&str) -> bool,
) -> Result<(), TimeError> {
    let Some(&first) = request.hertz.first() else {
        return Ok(());
    };
    let mut search = Search::new(bench, first);
    let said = format!("a tone of {first:.0} Hz, from quiet to loud");
    let mut go = || watch(&said);
    let up = search.up(request.clean, &mut go);
    found.levels = search.levels();
    up?;
    let clean = search.clean(request.clean, &mut go)?;
    found
        .cleanest
        .push((first, clean.as_ref().map(|c| c.0.clone())));
    let full = match &clean {
        Some((level, near)) => Some(search.at(level.volts * 4.0, Some(near), &mut go)?),
        None => None,
    };
    found.levels = search.levels();
    found.full = full.as_ref().map(|f| f.0.clone());
    let states: Vec<Option<&Driven>> = [&clean, &full]
        .into_iter()
        .map(|s| s.as_ref().map(|s| &s.1))
        .collect();
    if let Some(driven) = states.first().copied().flatten() {
        found.limiting = stages::limiting(bench, driven);
    }
    found.valves = stages::output_valves(bench, circuit, library, &states);
    for (driven, when) in states.iter().zip([When::CleanDrive, When::HardDrive]) {
        if let Some(driven) = driven {
            let one = under_drive(bench, circuit, driven, when, first);
            found.drives.push(one);
        }
    }
    let roles = anatomy(circuit);
    for &node in roles.rails.iter().chain(&roles.bias_rails) {
        let at = |which: usize| {
            let driven = states.get(which).copied().flatten()?;
            bench.rest_and_driven(node, driven)
        };
        if let Some((rest, clean)) = at(0) {
            found.rails.push(Sag {
                point: node_name(circuit, node),
                rest,
                clean: Some(clean),
                full: at(1).map(|f| f.1),
            });
        }
    }
    for &hertz in request.hertz.iter().skip(1) {
        let said = format!("a tone of {hertz:.0} Hz");
        let mut go = || watch(&said);
        let mut search = Search::new(bench, hertz);
        let level = match &clean {
            Some((level, _)) => search.clean_near(level, request.clean, &mut go)?,
            None => None,
        };
        found.cleanest.push((hertz, level));
    }
    Ok(())
}
