//! Watts of one valve against the limits of its type, and the share of its current that the screen takes.

use super::currents::Currents;
use super::{BiasRequest, figure, told};
use crate::rules::rules;
use crate::sheet::{Figure, Limit, Line, Origin, Outcome, Sheet};
use wiring::sheet::{Library, LimitQuantity, Sheet as DataSheet};

/// A cathode resistor up to this many ohms is there to measure at. Our choice: the trade uses 1 ohm, some use 10.
pub(super) const MEASURING_OHMS: f64 = 10.0;

/// What of the cathode current a type's screen takes at idle: least and most, fractions.
#[derive(Debug, Clone, PartialEq)]
pub struct ScreenShare {
    /// Least.
    pub low: f64,
    /// Most.
    pub high: f64,
    /// Where it is from.
    pub origin: Origin,
}

/// The section that is biased, and whether it has a screen: the pentode of a triode-pentode, else the first.
pub(super) fn section_of(valve: &DataSheet) -> (Option<char>, bool) {
    let sections = valve.sections();
    sections
        .iter()
        .find(|s| s.screen)
        .or(sections.first())
        .map_or((None, false), |s| (s.letter, s.screen))
}

/// The row of rule `bias.screen_share` for a type.
fn family(name: &str) -> Option<&'static str> {
    Some(match name {
        "6L6G" | "6L6GC" | "5881" => "6L6 family",
        "6V6GT" | "6V6GTA" => "6V6GT",
        "EL84" | "7189" => "EL84/6BQ5",
        "EL34" => "EL34",
        "KT66" | "KT88" | "6550" | "6550A" => "KT66/KT88/6550",
        _ => return None,
    })
}

/// The screen's typical share: by the rule's families, else from the type's own published rows, a third either way.
///
/// A valve without a screen has none. Where nothing is known the share is taken as none, which puts all of the current
/// on the plate: the plate's watts are then the most they can be.
#[must_use]
pub fn screen_share(valve: &DataSheet) -> ScreenShare {
    let (section, screened) = section_of(valve);
    let none = |why: &str| ScreenShare {
        low: 0.0,
        high: 0.0,
        origin: Origin::assumed(why),
    };
    if !screened {
        return none("no screen");
    }
    let by_rule = family(&valve.name).and_then(|name| rules().range("bias.screen_share", name));
    if let Some((low, high)) = by_rule {
        return ScreenShare {
            low: low / 100.0,
            high: high / 100.0,
            origin: Origin::rule("bias.screen_share"),
        };
    }
    let shares: Vec<f64> = valve
        .static_rows
        .iter()
        .filter(|row| !row.triode_connected && (row.section == section || row.section.is_none()))
        .filter_map(|row| {
            let screen = row.screen_amps?;
            let all = row.plate_amps.map(|plate| plate + screen);
            Some(screen / all.or(row.cathode_amps)?)
        })
        .filter(|share| (0.0..0.5).contains(share))
        .collect();
    if shares.is_empty() {
        return none(
            "the screen's share is not known; all the current is taken as the plate's, the safe way",
        );
    }
    let mean = shares.iter().sum::<f64>() / shares.len() as f64;
    ScreenShare {
        low: mean * 2.0 / 3.0,
        high: mean * 4.0 / 3.0,
        origin: Origin::data_sheet(format!(
            "typical rows of the {} sheet, a third either way (our choice)",
            valve.name
        )),
    }
}

/// The lowest figure that a type's sheets list for a quantity, with its rating system and source.
pub(super) fn guarding(
    valve: &DataSheet,
    section: (Option<char>, bool),
    quantity: LimitQuantity,
    library: &Library,
) -> Option<(f64, Origin)> {
    let limit = valve.guarding_limit(section.0, quantity)?;
    let cited = valve.guarding_set(section.0, quantity).map_or_else(
        || format!("{} sheet", valve.name),
        |set| {
            format!(
                "{} {}, {}: {}",
                valve.name,
                quantity.word(),
                set.system.word(),
                library.cite(&set.origin)
            )
        },
    );
    Some((limit, Origin::data_sheet(cited)))
}

pub(super) fn add(
    sheet: &mut Sheet,
    given: &BiasRequest<'_>,
    valve: &DataSheet,
    now: &Currents,
    library: &Library,
) {
    let section = section_of(valve);
    let mut lines = Vec::new();
    match (
        now.plate_watts,
        guarding(valve, section, LimitQuantity::PlateWatts, library),
    ) {
        (Some(watts), Some((limit, origin))) => {
            let line = Line::read(
                format!("Plate, {}", valve.name),
                figure(watts, "W"),
                Limit::at_most(limit, "W"),
                origin,
            );
            lines.push(judged(line, watts.value, limit));
            for set in valve.limits.iter().filter(|s| s.covers(section.0)) {
                let Some(limit) = set.get(LimitQuantity::PlateWatts) else {
                    continue;
                };
                let percent = 100.0 / limit;
                let line = Line::told(
                    format!("Plate, of {} W {}", limit, set.system.word()),
                    Origin::data_sheet(library.cite(&set.origin)),
                )
                .showing(
                    Figure::new(watts.value * percent, "%").plus_minus(watts.expanded * percent),
                );
                if !lines.contains(&line) {
                    lines.push(line);
                }
            }
        }
        (Some(watts), None) => {
            lines.push(
                Line::told(
                    format!("Plate, {}", valve.name),
                    Origin::computed("plate to cathode volts x plate current"),
                )
                .showing(figure(watts, "W")),
            );
            sheet.missing(
                format!("a limit for the plate of the {}", valve.name),
                "Its sheet here lists none; put it in a file of your own, `--valves-file`.",
            );
        }
        (None, _) => {}
    }
    if section.1 {
        screen(sheet, given, valve, now, library, &mut lines);
    }
    sheet.section("Dissipation, each valve", lines);
}

/// A failure beyond the abort limit forbids power.
fn judged(line: Line, watts: f64, limit: f64) -> Line {
    let abort = rules().figure("power.abort", "plate dissipation");
    match line.outcome() {
        Outcome::Fail if abort.is_some_and(|percent| watts >= percent / 100.0 * limit) => line
            .or_stop()
            .because("Beyond the limit at which power goes off at once (rule power.abort)."),
        Outcome::Fail => line.because("Above the lowest limit that the type's sheets list."),
        _ => line,
    }
}

fn screen(
    sheet: &mut Sheet,
    given: &BiasRequest<'_>,
    valve: &DataSheet,
    now: &Currents,
    library: &Library,
    lines: &mut Vec<Line>,
) {
    if now.screen_amps.is_none() {
        return;
    }
    if given.screen.is_none() {
        sheet.missing(
            "the screen's watts",
            "Type the screen volts against ground, `--screen 305`.",
        );
        return;
    }
    let Some(watts) = now.screen_watts else {
        return;
    };
    let section = section_of(valve);
    match guarding(valve, section, LimitQuantity::ScreenWatts, library) {
        Some((limit, origin)) => {
            let measured = given.screen_drop.is_some() && given.screen_ohms.is_some();
            let line = Line::read(
                "Screen",
                figure(watts, "W"),
                Limit::at_most(limit, "W"),
                origin,
            );
            lines.push(if measured {
                line
            } else {
                line.doubted(
                    "By the typical share only: the drop across the screen resistor would tell.",
                )
            });
        }
        None => lines.push(
            Line::told(
                "Screen",
                Origin::computed("screen to cathode volts x screen current"),
            )
            .showing(figure(watts, "W")),
        ),
    }
    if let Some((volts, (limit, origin))) = now.screen_volts.zip(guarding(
        valve,
        section,
        LimitQuantity::ScreenVolts,
        library,
    )) {
        lines.push(Line::read(
            "Screen to cathode",
            figure(volts, "V"),
            Limit::at_most(limit, "V"),
            origin,
        ));
    }
    if let (Some(drop), Some(ohms)) = (given.screen_drop, given.screen_ohms) {
        let watts = drop.value * drop.value / ohms.value;
        if watts.is_finite() && ohms.value > 0.0 {
            lines.push(told(
                "Watts in the screen resistor, at idle",
                Origin::rule("res.screen"),
                watts,
                "W",
            ).because("At full drive several times as much: 470 ohm to 1k5 of 1 to 5 W is usual, 100 ohm to 1k at small 9-pin valves."));
        }
    }
}
