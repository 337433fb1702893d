//! What the amplifier gives, as a sheet.

use super::stages::Working;
use super::{Level, Limiting, OutputValve, Power, Sag};
use crate::powered::say_mains;
use crate::sheet::{Expected, Figure, Limit, Line, Origin};

/// Stages that are listed.
const MOST_STAGES: usize = 4;
/// Levels nearer to each other than 1 dB are not listed.
const APART: f64 = 1.122;
/// The state that no sheet's limit is for.
const HARD: &str = "driven hard";
/// A stage that adds less distortion than this is not listed, a ratio.
const ADDS: f64 = 0.005;

pub(super) fn fill(found: &mut Power) {
    let mains = found.mains_volts;
    say_mains(&mut found.sheet, mains, &found.wall.clone());
    if let Some(from) = &found.from {
        found.sheet.conditions.push(format!("a tone at {from}"));
    }
    for (name, ohms) in &found.loads {
        let load = Figure::new(*ohms, "ohm");
        found
            .sheet
            .conditions
            .push(format!("{name} as a resistor of {load}"));
    }
    let clean: Vec<Line> = found
        .cleanest
        .iter()
        .map(|c| cleanest(c, found.clean))
        .collect();
    let mut harmonics: Vec<Line> = Vec::new();
    if let Some((_, Some(level))) = found.cleanest.first() {
        harmonics.push(orders("at the clean limit", level));
    }
    if let Some(level) = &found.full {
        harmonics.push(orders("driven hard", level));
    }
    let loud: Vec<Line> = apart(&found.levels).into_iter().map(one_level).collect();
    let full: Vec<Line> = found.full.iter().map(driven_hard).collect();
    let room: Vec<Line> = found
        .limiting
        .iter()
        .filter(|l| !l.room.is_empty() || l.plate_distortion > l.grid_distortion + ADDS)
        .take(MOST_STAGES)
        .map(stage)
        .collect();
    let valves: Vec<Line> = found.valves.iter().flat_map(valve).collect();
    let rails: Vec<Line> = found.rails.iter().map(rail).collect();
    let percent = (found.clean * 1e5).round() / 1e3;
    let sheet = &mut found.sheet;
    sheet.section(
        format!("Power, clean: at most {percent} % distortion"),
        clean,
    );
    sheet.section("Driven four times as hard", full);
    sheet.section("Harmonics", harmonics);
    sheet.section("From quiet to loud", loud);
    sheet.section("What runs out of room at the clean limit", room);
    sheet.section("Output valves under drive", valves);
    sheet.section("Rails under drive", rails);
    if !found.levels.is_empty() {
        sheet.note("Valves as new ones of their sheets: against 37 stages that sheets print, watts come within 12 % and distortion within a factor of two, but for those that docs/time.md names.");
        sheet
            .note("Knobs stand as set. Watts at the loudspeaker's terminals, harmonics with them.");
        sheet.note("The supply sags as its windings, rectifier and resistors make it; ripple, a core that saturates and the loudspeaker's own curve are not in these figures.");
    }
    let oscillating = found
        .levels
        .iter()
        .chain(&found.full)
        .find(|l| l.oscillates_hz.is_some());
    if let Some(level) = oscillating {
        let hertz = Figure::new(level.oscillates_hz.unwrap_or_default(), "Hz");
        found.sheet.note(format!(
            "At {} of drive a nudge grows instead of dying away: it oscillates besides, at {hertz} or that much off a harmonic of the tone. Look for it with an oscilloscope before trusting the figures above that drive.",
            Figure::new(level.volts, "V ac")
        ));
    }
}

fn solved() -> Origin {
    Origin::computed("the state that repeats itself under the tone, with the supply's sag")
}

fn hz(hertz: f64) -> Figure {
    Figure::new(hertz, "Hz")
}

fn cleanest((hertz, level): &(f64, Option<Level>), limit: f64) -> Line {
    let line = Line::told(format!("power at {}", hz(*hertz)), solved());
    match level {
        Some(level) => line
            .expecting(Expected::value(level.watts, "W"))
            .because(format!(
                "{} at the jack, {} at the loudspeaker, distortion {:.1} %.",
                Figure::new(level.volts, "V ac"),
                Figure::new(level.output_volts, "V ac"),
                level.distortion * 100.0
            )),
        None => line.because(format!(
            "Even a quiet tone has more than {:.0} % distortion: a stage before a control that is turned down runs out of room first. Turn it up.",
            limit * 100.0
        )),
    }
}

/// Levels with room between them: those on the way to the limit lie close together.
fn apart(levels: &[Level]) -> Vec<&Level> {
    let mut shown: Vec<&Level> = Vec::new();
    for level in levels {
        if shown.last().is_none_or(|l| level.volts > l.volts * APART) {
            shown.push(level);
        }
    }
    shown
}

fn one_level(level: &Level) -> Line {
    Line::told(Figure::new(level.volts, "V ac").to_string(), solved())
        .at(Figure::new(level.watts, "W").to_string())
        .expecting(Expected::value(level.distortion * 100.0, "%"))
}

fn driven_hard(level: &Level) -> Line {
    Line::told(format!("power at {}", hz(level.hertz)), solved())
        .expecting(Expected::value(level.watts, "W"))
        .because(format!(
            "{} at the jack, distortion {:.0} %.",
            Figure::new(level.volts, "V ac"),
            level.distortion * 100.0
        ))
}

fn orders(when: &str, level: &Level) -> Line {
    let words: Vec<String> = (2..)
        .zip(&level.harmonics)
        .map(|(order, ratio)| format!("{order}: {:.2} %", ratio * 100.0))
        .collect();
    Line::told(format!("{when}, {}", hz(level.hertz)), solved()).because(format!(
        "{}. Of the first, by number; an even one tells a stage of one side, an odd one a stage that clips both ways.",
        words.join(", ")
    ))
}

fn stage(found: &Limiting) -> Line {
    let words: Vec<&str> = found.room.iter().map(|r| r.words()).collect();
    let line = Line::told("distortion at its plate", solved())
        .at(found.valve.clone())
        .expecting(Expected::value(found.plate_distortion * 100.0, "%"))
        .because(format!(
            "At its grid {:.2} %; {} of signal at the plate.",
            found.grid_distortion * 100.0,
            Figure::new(found.plate_volts, "V ac")
        ));
    if words.is_empty() {
        line
    } else {
        line.because(format!("{}.", crate::sheet::capital(&words.join(", "))))
    }
}

/// Plate, screen and cathode of a valve in the states that are known. A sheet's limit is for full signal without
/// clipping: what is beyond it only when driven harder is told as that.
fn valve(found: &OutputValve) -> Vec<Line> {
    let named = ["at rest", "at the clean limit", HARD];
    let of = |what: &str,
              unit: &str,
              limit: Option<f64>,
              which: usize,
              get: &dyn Fn(&Working) -> Option<f64>| {
        let known: Vec<(&str, f64)> = named
            .iter()
            .zip(&found.states)
            .filter_map(|(name, state)| Some((*name, get(state.as_ref()?)?)))
            .collect();
        let most = |of: &[(&str, f64)]| of.iter().map(|k| k.1).max_by(f64::total_cmp);
        let judged: Vec<(&str, f64)> = known.iter().copied().filter(|k| k.0 != HARD).collect();
        let worst = most(&judged)?;
        let over = limit.is_some_and(|l| worst <= l && most(&known).is_some_and(|m| m > l));
        let origin = found.origins.get(which).cloned().flatten();
        let origin = origin.unwrap_or_else(|| Origin::data_sheet("no limit on the sheet at hand"));
        let words: Vec<String> = known
            .iter()
            .map(|(name, value)| format!("{} {name}", Figure::new(*value, unit)))
            .collect();
        let expected = Expected::value(worst, unit);
        let line = match limit {
            Some(limit) => Line::computed(what, expected, Limit::at_most(limit, unit), origin),
            None => Line::told(what, origin).expecting(expected),
        };
        let line = line
            .at(found.valve.clone())
            .because(format!("{}.", words.join(", ")));
        Some(if over {
            line.because("Driven hard it is over its sheet, as made: it will not last as long.")
        } else {
            line
        })
    };
    [
        of("plate, watts", "W", found.plate_limit, 0, &|w| {
            Some(w.plate_watts)
        }),
        of("screen, watts", "W", found.screen_limit, 1, &|w| {
            w.screen_watts
        }),
        of(
            "cathode, mean current",
            "mA",
            found.cathode_limit.map(|a| a * 1e3),
            2,
            &|w| Some(w.cathode_amps * 1e3),
        ),
    ]
    .into_iter()
    .flatten()
    .collect()
}

fn rail(found: &Sag) -> Line {
    let mut words = vec![format!("{} at rest", Figure::new(found.rest, "V"))];
    if let Some(clean) = found.clean {
        words.push(format!("{} at the clean limit", Figure::new(clean, "V")));
    }
    let last = found.full.or(found.clean).unwrap_or(found.rest);
    if let Some(full) = found.full {
        words.push(format!("{} driven hard", Figure::new(full, "V")));
    }
    Line::told("volts under drive", solved())
        .at(found.point.clone())
        .expecting(Expected::value(last, "V"))
        .because(format!("{}.", words.join(", ")))
}
