//! The tremolo as a sheet.

use super::{Depth, LampSwing, Margin, Pace, Sort, Tremolo};
use crate::powered::say_mains;
use crate::sheet::{Expected, Figure, Line, Origin};

/// From loudest to softest, dB: below that nothing is heard.
const SILENT_DB: f64 = 50.0;
/// A part that may come so near to where it stops is worth a look: factor of its value.
const NEAR: f64 = 1.6;

/// A lamp with less at its brightest lights nothing, milliamperes (a small neon holds at some tenths; common practice, no source).
const DARK_MA: f64 = 0.02;

pub(super) fn fill(out: &mut Tremolo) {
    let mains = out.mains_volts;
    say_mains(&mut out.sheet, mains, &out.wall.clone());
    let (now, emission) = (out.now.clone(), out.least_emission);
    let mut starts: Vec<Line> = Vec::new();
    if let Some(now) = &now {
        starts.push(does_it(now, out.valve.as_deref().unwrap_or_default()));
    }
    if let Some(share) = emission {
        starts.push(
            Line::told("emission of the valve at which it would just go", at_rest())
                .at(out.valve.clone().unwrap_or_default())
                .expecting(Expected::value(share * 100.0, "%"))
                .because(if share < 1.0 {
                    "Of a new valve's; used ones have 60 to 100 % (common practice, no source)."
                } else {
                    "More than a new valve gives: a better valve alone does not bring it back."
                }),
        );
    }
    let going = now.as_ref().is_some_and(|n| n.starts);
    let light: Vec<Line> = now.iter().flat_map(|n| &n.lamps).map(lamp).collect();
    let margins: Vec<Line> = out
        .margins
        .iter()
        .filter_map(|m| margin(m, going))
        .collect();
    let speed: Vec<Line> = out
        .over_speed
        .iter()
        .map(|p| pace(p, out.speed.as_deref()))
        .collect();
    let depth: Vec<Line> = out
        .depths
        .iter()
        .flat_map(|d| deep(d, out.depth_control.as_deref()))
        .collect();
    let sheet = &mut out.sheet;
    sheet.section("Does it start", starts);
    sheet.section("Pace over the knob", speed);
    sheet.section("Lamp of the photo-resistor", light);
    sheet.section("Depth at the loudspeaker", depth);
    sheet.section(
        if going {
            "What would stop it: one part at a time"
        } else {
            "What would bring it back: one part at a time"
        },
        margins,
    );
    if out.depths.iter().any(|d| d.by_light) {
        sheet.note("The photo-resistor: depth is between the cell dark and the cell fully lit, as typed: the most that its light can do. A cell follows its lamp late and an old lamp lights it less, and neither is computed; read the cell dark and lit with a leg lifted (over 1 Mohm dark, a few kohm to tens of kohm lit).");
    }
    if now.is_some() {
        sheet.note("Valves as new ones of their sheets, other parts as marked or read: the pace is off by as many per cent as its capacitors and resistors are together.");
        sheet.note("The foot switch and the switches stand as set. Depth is (most - least) / (most + least) of a tone's gain through one swing, each instant taken as if it stood still.");
    }
}

fn at_rest() -> Origin {
    Origin::computed("natural frequencies of the circuit at rest")
}

fn cycle() -> Origin {
    Origin::computed("the state that repeats itself")
}

fn by_light() -> Origin {
    Origin::computed("gain with the cell dark and with the cell fully lit, as typed")
}

fn does_it(now: &Pace, valve: &str) -> Line {
    let hertz = now.hertz.map(|h| Figure::new(h, "Hz").to_string());
    let line = Line::told(
        if now.starts {
            "it starts"
        } else {
            "it does NOT start"
        },
        at_rest(),
    )
    .at(valve.to_owned());
    let growth = now.growth.unwrap_or_default();
    match (now.starts, hertz) {
        (true, Some(hertz)) => line
            .expecting(Expected::value(now.hertz.unwrap_or_default(), "Hz"))
            .because(format!(
                "A nudge grows by a factor of e in {}; then it goes at {hertz}{}.",
                Figure::new(1.0 / growth.max(1e-6), "s"),
                now.plate_volts.map_or_else(String::new, |v| format!(
                    ", {} peak to peak at the plate",
                    Figure::new(v, "V")
                ))
            )),
        (false, Some(hertz)) => line.because(format!(
            "A nudge swings at {hertz} and dies away by a factor of e in {}.",
            Figure::new(1.0 / (-growth).max(1e-6), "s")
        )),
        _ => line.because("No slow swing is in the circuit at all: look for what grounds it, the foot switch first."),
    }
}

/// What the swing does to a lamp.
fn lamp(l: &LampSwing) -> Line {
    let line = Line::told("largest current", cycle())
        .at(l.part.clone())
        .expecting(Expected::value(l.peak_ma * 1e-3, "A"));
    let volts = Figure::new(l.peak_volts, "V");
    if l.peak_ma < DARK_MA {
        line.because(format!("It stays dark: {volts} across it at most."))
    } else {
        line.because(format!(
            "It lights; {volts} across it at most, {} in the mean.",
            Figure::new(l.mean_ma * 1e-3, "A")
        ))
    }
}

fn pace(p: &Pace, knob: Option<&str>) -> Line {
    let at = p.at.unwrap_or_default();
    let line = Line::told(format!("at {at}"), cycle()).at(knob.unwrap_or_default().to_owned());
    if !p.starts {
        return line.because("It does not start here.");
    }
    let line = line.expecting(Expected::value(p.hertz.unwrap_or_default(), "Hz"));
    match (p.plate_volts, p.harmonics) {
        (Some(volts), Some(harmonics)) => line.because(format!(
            "{} peak to peak at the plate; {}.",
            Figure::new(volts, "V"),
            shape(harmonics, p.above)
        )),
        _ => line.because("Its pace is of the first swing; the settled one was not found."),
    }
}

fn shape(harmonics: f64, above: Option<f64>) -> String {
    let lean = match above {
        Some(a) if a > 0.55 => ", longer up than down",
        Some(a) if a < 0.45 => ", longer down than up",
        _ => "",
    };
    let word = if harmonics < 0.05 {
        "near a sine"
    } else if harmonics < 0.2 {
        "rounded"
    } else {
        "with corners"
    };
    format!("{word}{lean}, {:.0} % of harmonics", harmonics * 100.0)
}

fn deep(d: &Depth, knob: Option<&str>) -> Vec<Line> {
    let place = match (knob, d.at) {
        (Some(knob), Some(at)) => format!("{knob} {at}"),
        _ => "as set".to_owned(),
    };
    let (origin, first) = if d.by_light {
        (by_light as fn() -> Origin, None)
    } else {
        (cycle as fn() -> Origin, d.tones.first().map(|t| t.loudest))
    };
    d.tones
        .iter()
        .map(|t| {
            let line = Line::told(
                format!("a tone of {}", Figure::new(t.hertz, "Hz")),
                origin(),
            )
            .at(place.clone())
            .expecting(Expected::value(t.depth * 100.0, "%"));
            let apart = first.map(|f| {
                let by = (t.loudest - f).rem_euclid(1.0);
                by.min(1.0 - by)
            });
            let line = line.because(if t.db > SILENT_DB {
                format!("Nothing is heard at its softest, from {}.", d.from)
            } else {
                format!("{:.1} dB from loudest to softest, from {}.", t.db, d.from)
            });
            if apart.is_some_and(|a| a > 0.3) && t.depth > 0.05 {
                line.because("Loud when the low tone is soft: two bands, crossed.")
            } else {
                line
            }
        })
        .collect()
}

/// Parts that turn it; where it goes, only those that may drift so far.
fn margin(m: &Margin, going: bool) -> Option<Line> {
    let turns = m.turns_at?;
    let unit = m.unit;
    let was = Figure::new(m.value, unit);
    let what = match (m.sort, going) {
        (Sort::Leaks, _) => "stops when it leaks",
        (Sort::Lower, true) => "stops when it falls to",
        (Sort::Higher, true) => "stops when it rises to",
        (Sort::Lower, false) => "starts with it lower",
        (Sort::Higher, false) => "starts with it higher",
    };
    let expected = match m.sort {
        Sort::Leaks => Expected::value(turns, "ohm"),
        _ => Expected::value(turns, unit),
    };
    let line = Line::told(what, at_rest())
        .at(m.part.clone())
        .expecting(expected)
        .because(match m.sort {
            Sort::Leaks => format!("{was}; at this leak or a larger one."),
            _ => format!("{was} as it stands, all other parts as they are."),
        });
    let factor = (turns / m.value).max(m.value / turns);
    Some(if going && m.sort != Sort::Leaks && factor < NEAR {
        line.because("Near: the first to look at when it stops now and then.")
    } else {
        line
    })
}
