//! The heaters as a sheet.

use super::{Elevated, HeaterSupply, Heating, ReferenceSort, Work, rated};
use crate::powered::{say_block, say_mains};
use crate::rules::rules;
use crate::sanity::sanity_of;
use crate::sheet::capital;
use crate::sheet::{Expected, Figure, Limit, Line, Origin, Outcome};
use wiring::units::{Quantity, engineering, rounded};

pub(super) fn fill(work: &Work<'_>, block: Option<&str>, heating: &mut Heating) {
    head(work, block, heating);
    let stops: Vec<Line> = sanity_of(work.circuit, work.library, work.anatomy)
        .into_iter()
        .filter(|f| f.code == "heaters-on-mains" || f.code == "chassis-on-mains")
        .map(|f| {
            Line::stop("heaters or chassis on the mains", Origin::practice())
                .at(f.at.join(" "))
                .because(f.message)
                .because(f.advice)
        })
        .collect();
    heating.sheet.section("Do not go on", stops);
    let mut sections = Vec::new();
    for s in &heating.supplies {
        let mut lines = volts(s);
        lines.extend(load(s));
        lines.extend(correction(s));
        lines.extend(reference(s));
        lines.extend(hum(s));
        sections.push((s.name.clone(), lines));
    }
    for (title, lines) in sections {
        heating.sheet.section(title, lines);
    }
    let elevated: Vec<Line> = heating.elevated.iter().flat_map(elevated).collect();
    heating.sheet.section(
        "Between heater and cathode, worst of warm and cold",
        elevated,
    );
    missing(work, heating);
}

fn head(work: &Work<'_>, block: Option<&str>, heating: &mut Heating) {
    let sheet = &mut heating.sheet;
    say_mains(sheet, heating.mains_volts, &heating.wall);
    say_block(sheet, block);
    sheet.note(
        "Wires have no resistance here: read the farthest socket too, true rms, all valves in.",
    );
    for note in work.now.iter().flat_map(crate::powered::Powered::notes) {
        sheet.note(note);
    }
}

fn computed() -> Origin {
    Origin::computed("the solved circuit, every part as marked or measured")
}

/// Limits of the volts at a heater of so many rated volts: the rule's for 6.3 V by proportion, and those of a 5 V
/// rectifier.
fn limits(rated: f64) -> (Limit, Option<(f64, f64)>) {
    let range = |name: &str| rules().range("heater.tolerance", name);
    if (rated - 5.0).abs() < 0.3 {
        let (low, high) = range("5 V rectifier limit").unwrap_or((4.5, 5.5));
        return (Limit::between(low, high, "V ac"), None);
    }
    let scale = rated / 6.3;
    let (low, high) = range("limit").unwrap_or((5.67, 6.93));
    let target = range("target").map(|(a, b)| (a * scale, b * scale));
    (
        Limit::between(low.max(5.67) * scale, high.min(6.93) * scale, "V ac"),
        target,
    )
}

fn volts(s: &HeaterSupply) -> Vec<Line> {
    let mut lines = Vec::new();
    // Sockets with the same pins' volts are one line.
    let mut groups: Vec<(Vec<usize>, f64)> = Vec::new();
    for (i, socket) in s.sockets.iter().enumerate() {
        let same = |other: &super::Socket| {
            other.rated_volts == socket.rated_volts
                && other.in_series == socket.in_series
                && match (other.volts, socket.volts) {
                    (Some(a), Some(b)) => (a - b).abs() < 1e-3,
                    (None, None) => true,
                    _ => false,
                }
        };
        let found = groups.iter_mut().find(|(members, _)| {
            members
                .first()
                .and_then(|m| s.sockets.get(*m))
                .is_some_and(same)
        });
        match found {
            Some((members, _)) => members.push(i),
            None => groups.push((vec![i], socket.rated_volts)),
        }
    }
    for (members, rated) in groups {
        let sockets: Vec<&super::Socket> =
            members.iter().filter_map(|m| s.sockets.get(*m)).collect();
        let Some(first) = sockets.first() else {
            continue;
        };
        let names: Vec<&str> = sockets.iter().map(|v| v.valve.as_str()).collect();
        let at = names.join(" ");
        let (limit, target) = limits(rated);
        let what = if first.in_series {
            format!("volts at the pins, in a chain, rated {rated} V")
        } else {
            format!("volts at the pins, rated {rated} V")
        };
        let words = match target {
            Some((low, high)) => format!("Wanted {low:.2} to {high:.2} V."),
            None => String::new(),
        };
        if let Some(v) = first.volts {
            let expected = Expected {
                value: Some(v),
                low: first.volts_lowest,
                high: first.volts_highest,
                unit: "V ac".to_owned(),
            };
            let line = Line::computed(
                what.clone(),
                Expected::value(v, "V ac"),
                limit.clone(),
                Origin::rule("heater.tolerance"),
            )
            .expecting(expected)
            .because(&words);
            lines.push(line.at(at.clone()));
            if let Some(high) = first.volts_highest {
                let line = Line::computed(
                    "at the highest mains",
                    Expected::value(high, "V ac"),
                    limit.clone(),
                    Origin::rule("heater.tolerance"),
                );
                if line.outcome() == Outcome::Fail {
                    lines.push(line.at(at.clone()));
                }
            }
        }
        let read: Vec<(&str, f64)> = sockets
            .iter()
            .filter_map(|v| Some((v.valve.as_str(), v.read_volts?)))
            .collect();
        if let Some((_, worst)) = read.iter().copied().reduce(|a, b| {
            if (a.1 - rated).abs() >= (b.1 - rated).abs() {
                a
            } else {
                b
            }
        }) {
            lines.push(
                Line::read(
                    format!("{what}, read"),
                    Figure::new(worst, "V ac"),
                    limit,
                    Origin::rule("heater.tolerance"),
                )
                .at(at),
            );
        } else {
            lines.push(
                Line::open(format!("{what}, read"), Origin::rule("heater.tolerance"))
                    .limited(limit)
                    .because(format!("Pins {}, true rms.", first.pins))
                    .at(at),
            );
        }
    }
    lines
}

fn load(s: &HeaterSupply) -> Option<Line> {
    let rated: f64 = s
        .sockets
        .iter()
        .filter(|v| !v.in_series)
        .map(|v| v.rated_amps)
        .sum();
    let amps = s.amps.unwrap_or(rated);
    if amps <= 0.0 {
        return None;
    }
    let what = "current of its heaters and lamps";
    let line = match s.winding_amps {
        Some(most) => Line::computed(
            what,
            Expected::value(amps, "A"),
            Limit::at_most(most * 1.000_1, "A"),
            Origin::rule("heater.budget"),
        ),
        None => Line::told(what, computed()).expecting(Expected::value(amps, "A")),
    };
    let sheets = format!("By the data sheets {rated:.2} A of heaters.");
    Some(line.because(sheets).at(s.name.clone()))
}

fn correction(s: &HeaterSupply) -> Option<Line> {
    let nominal = rated(s)?;
    match &s.correction {
        Some(c) => {
            let ohms = engineering(c.ohms, Quantity::Ohms);
            let low = c
                .volts_lowest
                .map_or_else(String::new, |v| format!(", {v:.2} V at the lowest mains"));
            Some(
                Line::told(
                    "in each of the two leads",
                    Origin::computed("half the volts too many over the current of all heaters"),
                )
                .expecting(Expected::value(c.ohms, "ohm"))
                .because(format!(
                    "{ohms} {} W each ({:.3} ohm computed; {:.2} W in it): {:.2} V at the pins{low}. Or lower the mains side with a small transformer in opposite phase, which lowers the high tension too.",
                    c.rated_w, c.wanted_ohms, c.dissipates_w, c.volts
                ))
                .at(s.name.clone()),
            )
        }
        None => {
            let volts = s
                .sockets
                .iter()
                .filter(|v| !v.in_series)
                .filter_map(|v| v.volts);
            let least = volts.reduce(f64::min)?;
            (least < 0.95 * nominal).then(|| {
                Line::told("too few volts", Origin::rule("heater.tolerance"))
                    .because("Read at the transformer too: a worn socket or joint takes some; a primary tap made for more mains than there is takes the rest.")
                    .at(s.name.clone())
            })
        }
    }
}

fn reference(s: &HeaterSupply) -> Vec<Line> {
    let r = &s.reference;
    let origin = || Origin::rule("heater.reference");
    let mut lines = Vec::new();
    let to = r.to.clone().unwrap_or_default();
    if r.sort == ReferenceSort::None {
        lines.push(
            Line::open("reference of the winding", origin())
                .because("None is traced: look for a centre tap, two resistors of about 100 ohm or a hum control. Without one the heaters drift to wherever leakage takes them.")
                .at(s.name.clone()),
        );
        return lines;
    }
    let raised = r.volts.unwrap_or(0.0);
    let mut line = Line::told("reference of the winding", origin())
        .because(format!("{}, to {to}.", capital(r.sort.words())))
        .at(s.name.clone());
    if r.volts.is_some() && r.sort != ReferenceSort::RectifierCathode {
        line = line.expecting(Expected::value(raised, "V"));
        if raised.abs() > 1.0 {
            let (low, high) = rules()
                .range("heater.reference", "elevation")
                .unwrap_or((20.0, 70.0));
            line = line.because(if (low..=high).contains(&raised) {
                format!("Raised, between the usual {low:.0} and {high:.0} V.")
            } else {
                format!("Raised; {low:.0} to {high:.0} V are usual.")
            });
        }
    }
    lines.push(line);
    let pair: Vec<f64> = r
        .balance
        .iter()
        .filter(|b| !b.control)
        .filter_map(|b| b.ohms)
        .collect();
    if let [x, y] = pair.as_slice() {
        let apart = 100.0 * (x - y).abs() / f64::midpoint(*x, *y);
        lines.push(
            Line::computed(
                "match of the pair",
                Expected::value(apart, "%"),
                Limit::at_most(5.0, "%"),
                origin(),
            )
            .at(s.name.clone()),
        );
    }
    for b in &r.balance {
        let Some(watts) = b.watts else { continue };
        let share = rules()
            .figure("res.power", "carbon composition")
            .unwrap_or(50.0)
            .min(50.0)
            / 100.0;
        let expected = Expected::value(watts, "W");
        let line = match b.rated_w {
            Some(rated) => Line::computed(
                "watts at the highest mains",
                expected,
                Limit::at_most(rated * share, "W"),
                Origin::rule("res.power"),
            ),
            None => {
                let fit = crate::part::rated_watts((watts / share).max(0.5));
                let line = Line::told("watts at the highest mains", Origin::rule("res.power"))
                    .expecting(expected);
                match fit {
                    Some(fit) => {
                        line.because(format!("Its rating is not in the wiring; {fit} W or more."))
                    }
                    None => line,
                }
            }
        };
        lines.push(line.at(b.part.clone()));
    }
    lines
}

fn hum(s: &HeaterSupply) -> Vec<Line> {
    let Some(h) = &s.hum else { return Vec::new() };
    let mut why = if h.common_matched_v > h.common_v {
        format!(
            "As wired {:.3} V; {:.2} V with the pair out of match by 5 %.",
            h.common_v, h.common_matched_v
        )
    } else {
        String::new()
    };
    if let (Some(grid), Some(volts), Some(ohms)) = (&h.grid, h.grid_v, h.grid_ohms) {
        if !why.is_empty() {
            why.push(' ');
        }
        why.push_str(&format!(
            "Through 0.3 pF to the first grid of {grid} ({}): some {:.1} µV, before what leads and ground add.",
            rounded(ohms, Quantity::Ohms, 2),
            volts * 1e6
        ));
    }
    vec![
        Line::told(
            "mean of both leads against ground, at mains frequency",
            Origin::assumed(
                "stray capacitance of 0.3 pF, an estimate from memory; the volts are computed",
            ),
        )
        .expecting(Expected::value(h.common_v.max(h.common_matched_v), "V ac"))
        .because(why)
        .at(s.name.clone()),
    ]
}

fn elevated(e: &Elevated) -> Vec<Line> {
    if e.joined || e.steady_v.is_none() && e.positive_peak_v == 0.0 && e.negative_peak_v == 0.0 {
        return Vec::new();
    }
    let at = format!("{} {}", e.valve, e.valve_type);
    let origin = || match &e.source {
        Some(source) => Origin::data_sheet(source.clone()),
        None => Origin::rule("heater.reference"),
    };
    let steady = e.steady_v.map_or_else(String::new, |v| {
        format!("Steady {v:.1} V at today's mains, heater over cathode.")
    });
    let mut lines = Vec::new();
    // The side that is nearer its limit; both where both are near.
    let positive = e.positive_peak_v / e.limit_positive_peak_v.max(1.0);
    let by_steady = e.positive_steady_v / e.limit_positive_steady_v.max(1.0);
    let negative = e.negative_peak_v / e.limit_negative_peak_v.max(1.0);
    let worst = positive.max(by_steady).max(negative);
    let mut add = |what: &str, value: f64, limit: f64, share: f64, why: &str| {
        if share < worst && share < 0.5 {
            return;
        }
        let line = Line::computed(
            what,
            Expected::value(value, "V"),
            Limit::at_most(limit, "V"),
            origin(),
        );
        let fails = line.outcome() == Outcome::Fail;
        let line = line.because(why);
        lines.push(
            if fails {
                line.because("Raise or lower the heaters' reference, or give this valve a winding of its own.")
            } else {
                line
            }
            .at(at.clone()),
        );
    };
    add(
        "heater negative, peak",
        e.negative_peak_v,
        e.limit_negative_peak_v,
        negative,
        &steady,
    );
    add(
        "heater positive, peak",
        e.positive_peak_v,
        e.limit_positive_peak_v,
        positive,
        &steady,
    );
    add(
        "heater positive, steady",
        e.positive_steady_v,
        e.limit_positive_steady_v,
        by_steady,
        "",
    );
    lines
}

fn missing(work: &Work<'_>, heating: &mut Heating) {
    let sheet = &mut heating.sheet;
    if heating.supplies.is_empty() {
        sheet.missing(
            "heater wiring",
            "Trace it: `T1.heater1 - V1.4 - V2.2`, `T1.heater2 - V1.9 - V2.7`; or type a list, `tubewright heaters --valves 12AX7,6V6GT`.",
        );
    }
    for s in &heating.supplies {
        if s.winding_volts.is_none() && s.name.starts_with("leads") {
            sheet.missing(
                format!("the winding that feeds {}", s.name),
                "Trace the leads to the transformer.",
            );
        }
    }
    for (_, part) in super::valves(work.circuit) {
        let pins = super::HeaterPins::of(part);
        let traced = pins.is_some_and(|p| p.pair().is_some());
        let has = crate::powered::sheet_of(work.library, part).is_none_or(|s| s.heater.is_some());
        if !traced && has {
            sheet.missing(
                format!("heater of {}", part.name),
                "Trace both its heater pins; until then it counts as lit.",
            );
        }
        if crate::powered::sheet_of(work.library, part).is_none() {
            sheet.missing(
                format!("heater of {}", part.name),
                "No data sheet here has its type.",
            );
        }
    }
    let unsolved = work.now.iter().flat_map(|p| &p.solved.assembly.unsolved);
    for u in unsolved {
        sheet.missing(u.point.clone(), u.why.clone());
    }
}
