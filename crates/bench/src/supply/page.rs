//! The supply as a sheet: lines with limits, sources and what is missing.

use super::{FuseLoad, Rail, Stressed, Supply, Work, rectifier_words};
use crate::charge::Charges;
use crate::powered::say_block;
use crate::rules::rules;
use crate::sheet::{Expected, Figure, Limit, Line, Origin};
use wiring::circuit::Kind;
use wiring::readings::Conditions;
use wiring::roles::Role;

/// Fills the sheet of a worked supply.
pub(super) fn fill(
    work: &Work<'_>,
    under: &Conditions,
    block: Option<&str>,
    drained: &Charges,
    supply: &mut Supply,
) {
    head(work, under, block, supply);
    let rails: Vec<Line> = supply.rails.iter().flat_map(rail).collect();
    let drawn: Vec<Line> = supply.rails.iter().flat_map(draws).collect();
    let capacitors = supply.capacitors.iter().flat_map(|c| stressed(work, c));
    let capacitors: Vec<Line> = capacitors.collect();
    let empties = emptying(drained, supply);
    let rectifier = rectifier(supply);
    supply.sheet.section("Rails, everything warm", rails);
    supply.sheet.section("Who draws from each rail", drawn);
    supply.sheet.section(
        format!(
            "Highest volts on each capacitor, mains {:.0} V",
            work.surge.mains_volts
        ),
        capacitors,
    );
    supply
        .sheet
        .section("Unplugged: time to 10 V by its own paths", empties);
    supply.sheet.section("Rectifier", rectifier);
    fuses(supply);
    switch_on(supply);
    missing(work, supply);
}

fn head(work: &Work<'_>, under: &Conditions, block: Option<&str>, supply: &mut Supply) {
    let sheet = &mut supply.sheet;
    if let Some(volts) = supply.mains_volts {
        let said = under.mains_volts.is_some() || work.circuit.heading.mains.is_some();
        let assumed = if said {
            ""
        } else {
            " (the primary's, nobody said)"
        };
        sheet
            .conditions
            .push(format!("mains {volts:.0} V{assumed}"));
    }
    sheet
        .conditions
        .push(format!("highest mains {:.0} V", work.surge.mains_volts));
    sheet
        .conditions
        .push(rectifier_words(work.surge.rectifier).to_owned());
    say_block(sheet, block);
    if let Some(sort) = work.surge.rectifier {
        sheet.note(sort.when());
    }
    sheet.note(format!("Highest mains: {}.", supply.wall.source));
    let now = work.now.iter();
    for note in now.flat_map(crate::powered::Powered::notes) {
        sheet.note(note);
    }
    if let Some(blown) = work.now.as_ref().and_then(|p| p.blown(work.circuit)) {
        sheet.note(blown);
    }
}

fn computed() -> Origin {
    Origin::computed("the solved circuit, every part as marked or measured")
}

fn rail(rail: &Rail) -> Vec<Line> {
    let Some(volts) = rail.volts else {
        return Vec::new();
    };
    let mut line = Line::told("steady volts", computed())
        .at(rail.point.clone())
        .expecting(Expected::value(volts, "V"));
    if let Some(read) = rail.read_v {
        line = line.showing(Figure::new(read, "V"));
    }
    let mut lines = vec![line];
    if let Some(ripple) = rail.ripple_v {
        lines.push(
            Line::told("ripple, rms", computed())
                .at(rail.point.clone())
                .expecting(Expected::value(ripple, "V ac")),
        );
    }
    lines
}

fn draws(rail: &Rail) -> Vec<Line> {
    let origin = || Origin::computed("Kirchhoff: the currents of each rail sum to nothing");
    rail.draws
        .iter()
        .map(|d| {
            let what = match d.role {
                _ if d.ma < 0.0 => format!("comes from {}", d.part),
                Some(role) => format!("{} {}", d.part, role.words()),
                None => d.part.clone(),
            };
            let mut line = Line::told(what, origin())
                .at(rail.point.clone())
                .expecting(Expected::value(d.ma.abs() * 1e-3, "A"));
            if let Some(read) = d.read_ma {
                let read = if d.ma < 0.0 { -read } else { read };
                line = line.showing(Figure::new(read * 1e-3, "A"));
            }
            if d.feeds.is_empty() {
                line
            } else if d.ma < 0.0 {
                line.because(format!("From {}.", d.feeds))
            } else {
                line.because(format!("To {}.", d.feeds))
            }
        })
        .collect()
}

/// The lines of one capacitor: its highest volts, and for an electrolytic those at work.
fn stressed(work: &Work<'_>, c: &Stressed) -> Vec<Line> {
    let words = |what: &str| match c.role {
        Some(role) => format!("{}, {what}", role.words()),
        None => what.to_owned(),
    };
    let across_mains = matches!(c.role, Some(Role::MainsCapacitor | Role::LineCapacitor));
    let supply_part = matches!(
        c.role,
        Some(
            Role::Reservoir
                | Role::Filter
                | Role::BiasFilter
                | Role::HeaterElevation
                | Role::CathodeBypass
                | Role::ScreenBypass
        )
    );
    let rule = |id: &str| Origin::rule(id);
    if across_mains {
        let limit = c.rated_v.map(|v| Limit::at_most(v, "V ac"));
        let expected = Expected::value(c.ac_v, "V ac");
        let line = match limit {
            Some(limit) => Line::computed(
                words("across the mains"),
                expected,
                limit,
                rule("mains.suppression_cap"),
            ),
            None => Line::open(words("across the mains"), rule("mains.suppression_cap"))
                .expecting(expected)
                .because("Read its AC rating and class off its body: X2 between live and neutral."),
        };
        return vec![line.at(c.part.clone())];
    }
    let highest = match (c.cold_v, c.warm_v) {
        (None, None) => return Vec::new(),
        (a, b) => a.unwrap_or(0.0).abs().max(b.unwrap_or(0.0).abs()),
    };
    let when = match (c.cold_v, c.warm_v) {
        (Some(a), Some(b)) if b.abs() > a.abs() => "warm",
        (None, _) => "warm",
        _ => "valves cold",
    };
    let mut lines = Vec::new();
    let origin = rule("cap.electrolytic.voltage");
    match c.rated_v {
        Some(rated) => {
            let most = rules()
                .figure("cap.electrolytic.voltage", "cold-start volts / rated volts")
                .unwrap_or(1.0)
                .min(1.0);
            let mut line = Line::computed(
                words(when),
                Expected::value(highest, "V"),
                Limit::at_most(rated * most, "V"),
                origin,
            );
            if highest > rated
                && let Some(surge) = c.surge_rated_v
            {
                let word = if highest <= surge { "within" } else { "beyond" };
                line = line.because(format!(
                    "Marked {rated:.0} V; for a moment such a part stands {surge:.0} V ({}): this is {word} it.",
                    Origin::rule("cap.electrolytic.surge").text
                ));
            }
            if highest > rated {
                line = line.because(match crate::part::rated_volts(highest) {
                    Some(v) => format!("Fit one of {v:.0} V or more."),
                    None => "No single part is sold for that: two in series with equal resistors across them."
                        .to_owned(),
                });
            }
            lines.push(line.at(c.part.clone()));
        }
        None if supply_part || c.electrolytic => {
            lines.push(
                Line::open(words(when), origin)
                    .at(c.part.clone())
                    .expecting(Expected::value(highest, "V"))
                    .because("Its rating is not in the wiring: read it off its body."),
            );
        }
        None => {}
    }
    if let (true, Some(rated), Some(warm)) = (c.electrolytic, c.rated_v, c.warm_v) {
        let most = rules()
            .figure("cap.electrolytic.voltage", "working volts / rated volts")
            .unwrap_or(0.9)
            .min(0.9);
        lines.push(
            Line::computed(
                words("at work"),
                Expected::value(warm.abs(), "V"),
                Limit::at_most(rated * most, "V"),
                rule("cap.electrolytic.voltage"),
            )
            .at(c.part.clone()),
        );
    }
    lines.extend(reversed(work, c));
    lines
}

/// A polarised capacitor with volts the wrong way round.
fn reversed(work: &Work<'_>, c: &Stressed) -> Option<Line> {
    let id = work.circuit.part(&c.part)?;
    let Kind::Capacitor {
        plus_first: Some(first),
        ..
    } = work.circuit.parts.get(id.0)?.kind
    else {
        return None;
    };
    let volts = c.warm_v.or(c.cold_v)?;
    let plus = if first { volts } else { -volts };
    (plus < -1.0).then(|| {
        Line::computed(
            "plus over minus",
            Expected::value(plus, "V"),
            Limit::at_least(-1.0, "V"),
            Origin::practice(),
        )
        .or_stop()
        .at(c.part.clone())
        .because("Its plus stands lower than its minus: it can burst. Turn it round before power.")
    })
}

fn emptying(drained: &Charges, supply: &Supply) -> Vec<Line> {
    let mut lines = Vec::new();
    for c in &supply.capacitors {
        if !(c.electrolytic || c.joules.is_some_and(|j| j >= 1e-3)) {
            continue;
        }
        let origin = Origin::rule("live.discharge");
        let energy = c
            .joules
            .map(|j| format!("Holds up to {j:.2} J."))
            .unwrap_or_default();
        let line = match c.discharge_s {
            Some(s) => Line::told("until 10 V", Origin::computed(
                "resistive paths of the wiring alone, valves cold, no leakage relied on",
            ))
            .expecting(Expected::value(s, "s"))
            .because(energy),
            None if drained.of(&c.part).is_some_and(|e| e.stays) => Line::open("keeps its charge", origin).because(format!(
                "No path empties it. {energy} Discharge it through a resistor and measure, every time."
            )),
            None => Line::open("time not known", origin)
                .because(format!("Its volts or farads are not known. {energy} Treat it as charged.")),
        };
        lines.push(line.at(c.part.clone()));
    }
    lines
}

fn rectifier(supply: &Supply) -> Vec<Line> {
    let Some(r) = &supply.rectifier else {
        return Vec::new();
    };
    let mut lines = Vec::new();
    for part in &r.parts {
        let origin = || match (&part.source, part.system) {
            (Some(source), Some(system)) => {
                Origin::data_sheet(format!("{} limits, {source}", system.word()))
            }
            _ => Origin::assumed("as marked on the part"),
        };
        let name = match &part.valve {
            Some(valve) => format!("{} {valve}", part.part),
            None => part.part.clone(),
        };
        let mut add = |what: &str, value: f64, limit: Option<Limit>, unit: &str| {
            let expected = Expected::value(value, unit);
            lines.push(match limit {
                Some(limit) => Line::computed(what, expected, limit, origin()).at(name.clone()),
                None => Line::told(what, computed())
                    .at(name.clone())
                    .expecting(expected),
            });
        };
        let most = |v: Option<f64>, scale: f64, unit: &str| {
            v.map(|v| Limit::at_most(v * scale, unit.to_owned()))
        };
        add(
            "peak current per plate",
            r.peak_ma_highest * 1e-3,
            most(part.limit_peak_ma, 1e-3, "A"),
            "A",
        );
        add(
            "mean output current",
            r.mean_ma_highest * 1e-3,
            most(part.limit_mean_ma, 1e-3, "A"),
            "A",
        );
        add(
            "inverse volts, highest",
            r.inverse_volts_highest,
            most(part.limit_inverse_volts, 1.0, "V"),
            "V",
        );
        if part.valve.is_some() {
            if let Some(volts) = r.volts_per_plate {
                add(
                    "volts per plate, unloaded",
                    volts,
                    most(part.limit_volts_per_plate, 1.0, "V ac"),
                    "V ac",
                );
            }
            if let Some(ohms) = r.source_ohms {
                let least = part
                    .limit_source_ohms
                    .map(|v| Limit::at_least(v, "ohm".to_owned()));
                add("supply resistance per plate", ohms, least, "ohm");
            }
            if let Some(farads) = r.reservoir_farads {
                add(
                    "reservoir",
                    farads,
                    most(part.limit_reservoir_farads, 1.0, "F"),
                    "F",
                );
            }
        }
    }
    lines
}

fn fuses(supply: &mut Supply) {
    let mut lines = Vec::new();
    if let Some(amps) = supply.mains_amps {
        let mut line = Line::told("mains current at rest, true rms", computed())
            .expecting(Expected::value(amps, "A"))
            .blank();
        if let Some(highest) = supply.mains_amps_highest {
            line = line.because(format!("At the highest mains {highest:.2} A."));
        }
        lines.push(line);
    }
    for fuse in &supply.fuses {
        lines.extend(carried(fuse));
    }
    if let Some(proposed) = &supply.mains_fuse {
        let marked = proposed.marking.as_ref().map_or_else(String::new, |m| {
            format!(" Marked {m}; nothing above that is fitted.")
        });
        for p in &proposed.links {
            lines.push(
                Line::told(
                    format!("fit, {}", p.standard),
                    Origin::computed(
                        "rating rules over the standard's ratings, from the current at rest at the highest mains",
                    ),
                )
                .at(p.words.clone())
                .expecting(Expected::value(p.amps, "A"))
                .because(format!("{}{marked} {}", p.why, p.times)),
            );
        }
        if proposed.links.is_empty() {
            lines.push(
                Line::open("fuse to fit", Origin::rule("fuse.rating.first")).because(format!(
                    "No standard link carries {:.2} A within the marking.{marked} Find out why it takes so much; never a larger one.",
                    proposed.amps
                )),
            );
        }
        supply.sheet.note(
            "Fuses are sized from the current at rest; at full drive a class AB stage takes more. Read it there, true rms, and hold it against `tubewright fuse --current`.",
        );
        if proposed.marking.is_none() {
            supply.sheet.missing(
                "what is marked on the chassis for the mains fuse",
                "Type it, `--marking T1A`: the marked type and rating come first, and nothing above it is proposed.",
            );
        }
    }
    supply.sheet.section("Mains current and fuses", lines);
}

/// What the empty capacitors take from the mains.
fn switch_on(supply: &mut Supply) {
    let Some(inrush) = &supply.inrush else {
        return;
    };
    let run = || {
        Origin::computed(
            "run instant by instant from nothing, highest mains, the worst of eight instants of a cycle",
        )
    };
    let mut lines = vec![
        Line::told("largest current from the mains", run())
            .expecting(Expected::value(inrush.peak_amps, "A")),
    ];
    if let Some(amps) = inrush.rectifier_peak_amps {
        lines.push(
            Line::told("largest current of one rectifier plate or diode", run())
                .expecting(Expected::value(amps, "A")),
        );
    }
    let share = rules().figure("fuse.size.inrush", "surge i2t / melting i2t");
    let rest = inrush
        .at_rest_square_seconds
        .map_or_else(String::new, |rest| {
            format!(" At rest the same time takes {}.", Figure::new(rest, "A²s"))
        });
    let line = Line::told(
        "I2t of the first four cycles (ampere-squared seconds)",
        run(),
    )
    .expecting(Expected::value(inrush.square_seconds, "A²s"));
    lines.push(match share {
        Some(share) => line.because(format!(
            "A fuse lasts thousands of starts where its melting I2t, from its sheet, is {} or more: {}.{rest}",
            Figure::new(inrush.square_seconds / share, "A²s"),
            rules()
                .rule("fuse.size.inrush")
                .map_or_else(String::new, crate::rules::Rule::source_words),
        )),
        None => line.because(rest),
    });
    let sheet = &mut supply.sheet;
    sheet.section("The moment the switch closes", lines);
    sheet.note("Switching on: capacitors empty, heaters at their running resistance. Cold heaters draw several times their current for the first second, and the core of the mains transformer may saturate for a few cycles: both come on top and are not computed. With a rectifier valve this is a start with its cathode still hot.");
}

/// Rails as wired and with other parts.
pub(super) fn compared(supply: &mut Supply) {
    if supply.what_if.is_empty() {
        return;
    }
    let lines: Vec<Line> = supply
        .what_if
        .iter()
        .flat_map(|moved| {
            [
                ("steady volts", moved.volts, "V"),
                ("ripple, rms", moved.ripple_v, "V ac"),
                ("highest volts", moved.surge_v, "V"),
            ]
            .into_iter()
            .filter_map(|(what, figures, unit)| {
                let [Some(before), Some(after)] = figures else {
                    return None;
                };
                Some(
                    Line::told(what, computed())
                        .at(moved.point.clone())
                        .expecting(Expected::value(after, unit))
                        .because(format!(
                            "As wired {} ({}).",
                            Figure::new(before, unit),
                            percent(before, after)
                        )),
                )
            })
        })
        .collect();
    supply
        .sheet
        .note("What if: readings are those of the amplifier as wired.");
    supply.sheet.section("What it changes", lines);
    // what was asked for comes first
    supply.sheet.sections.rotate_right(1);
}

/// A change as a share of what it was.
fn percent(before: f64, after: f64) -> String {
    if before.abs() < 1e-9 {
        return "nothing".to_owned();
    }
    format!("{:+.1} %", (after / before - 1.0) * 100.0)
}

fn carried(fuse: &FuseLoad) -> Vec<Line> {
    let Some(amps) = fuse.amps_highest.or(fuse.amps) else {
        return Vec::new();
    };
    let place = if fuse.mains {
        "mains fuse"
    } else {
        "fuse in the high tension"
    };
    let line = match fuse.marked_amps {
        Some(marked) => Line::computed(
            format!("{place}: current at rest, highest mains"),
            Expected::value(amps, "A"),
            Limit::at_most(marked, "A"),
            Origin::rule("fuse.rating.first"),
        ),
        None => Line::open(
            format!("{place}: current at rest, highest mains"),
            Origin::rule("fuse.rating.first"),
        )
        .expecting(Expected::value(amps, "A"))
        .because(
            "Its marking is not in the wiring: read it off the chassis, not off what is fitted.",
        ),
    };
    vec![line.at(fuse.part.clone())]
}

fn missing(work: &Work<'_>, supply: &mut Supply) {
    let sheet = &mut supply.sheet;
    if supply.rails.is_empty() {
        sheet.missing(
            "rails",
            "Trace the rectifier's output, or name a point B1 where the high tension is: `B1 - +C1 16u 450V - ground`.",
        );
    }
    if supply.rectifier.is_none() {
        sheet.missing(
            "rectifier currents",
            "Trace the high-tension winding to the rectifier, and the rectifier to the first capacitor.",
        );
    }
    for rail in supply.rails.iter().filter(|r| r.volts.is_none()) {
        sheet.missing(
            format!("volts of {}", rail.point),
            "Trace what feeds it; nothing with volts of its own reaches it yet.",
        );
    }
    for why in &work.surge.unsolved {
        sheet.missing(
            format!("highest volts: {why}"),
            "Run `check`, and look for a slip near that point.",
        );
    }
    let unsolved = work.now.iter().flat_map(|p| &p.solved.assembly.unsolved);
    for u in unsolved {
        sheet.missing(u.point.clone(), u.why.clone());
    }
    if supply.mains_volts.is_none() {
        sheet.missing(
            "mains volts",
            "Type `mains 230 V` in the heading, or `--mains 230`.",
        );
    }
}
