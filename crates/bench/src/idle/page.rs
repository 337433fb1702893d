//! The idle figures as a sheet.

use super::{BiasKind, Control, Fit, Idle, Stage, ValveIdle, Work};
use crate::powered::{say_block, say_mains};
use crate::rules::rules;
use crate::sheet::{Expected, Figure, Limit, Line, Origin};
use wiring::sheet::RatingSystem;
use wiring::units::{Quantity, engineering, rounded};

pub(super) fn fill(work: &Work<'_>, block: Option<&str>, idle: &mut Idle) {
    head(work, block, idle);
    let mut sections: Vec<(String, Vec<Line>)> = Vec::new();
    for stage in &idle.stages {
        sections.push((title(stage), stage_lines(stage)));
    }
    for (title, lines) in sections {
        idle.sheet.section(title, lines);
    }
    missing(work, idle);
    idle.sheet.note(
        "Set after 20 to 30 minutes warm; read plate volts again after each change, for they move together; read again after burn-in.",
    );
}

fn head(work: &Work<'_>, block: Option<&str>, idle: &mut Idle) {
    let sheet = &mut idle.sheet;
    say_mains(sheet, idle.mains_volts, &idle.wall);
    say_block(sheet, block);
    for note in work
        .states
        .now
        .iter()
        .flat_map(crate::powered::Powered::notes)
    {
        sheet.note(note);
    }
    if let Some(blown) = work.states.now.as_ref().and_then(|p| p.blown(work.circuit)) {
        sheet.note(blown);
    }
}

fn title(stage: &Stage) -> String {
    let sort = if stage.push_pull {
        "push-pull"
    } else {
        "single-ended"
    };
    let mut words = format!("{}: {sort}", stage.name);
    if let Some(class) = stage.class {
        words.push_str(&format!(", class {class}"));
    }
    if let Some(bias) = stage.bias {
        words.push_str(&format!(", {}", bias.words()));
    }
    if let Some(w) = stage.window {
        words.push_str(&format!(
            "; {:.0} to {:.0} % of the plate limit wanted",
            w.low, w.high
        ));
    }
    words
}

fn stage_lines(stage: &Stage) -> Vec<Line> {
    let mut lines = Vec::new();
    for valve in &stage.valves {
        lines.extend(valve_lines(stage, valve));
    }
    lines.extend(balance(stage));
    lines.extend(target(stage));
    if let Some(control) = &stage.control {
        lines.extend(control_lines(stage, control));
    }
    if let Some(fit) = &stage.fit {
        lines.push(fit_line(stage, fit));
    }
    lines
}

fn plate_origin(v: &ValveIdle) -> Origin {
    match (&v.source, v.system) {
        (Some(source), Some(system)) => {
            Origin::data_sheet(format!("{} plate limit, {source}", system.word()))
        }
        _ => Origin::assumed("plate limit as typed with the valve"),
    }
}

fn percent(watts: f64, limit: Option<f64>, system: Option<RatingSystem>) -> String {
    match limit {
        Some(limit) if limit > 0.0 => format!(
            "{:.0} % of {limit} W{}",
            100.0 * watts / limit,
            system.map_or_else(String::new, |s| format!(" ({})", s.word()))
        ),
        _ => "its plate limit is not known".to_owned(),
    }
}

fn valve_lines(stage: &Stage, v: &ValveIdle) -> Vec<Line> {
    let name = format!("{} {}", v.valve, v.valve_type);
    let mut lines = Vec::new();
    let most = match (v.plate_limit_w, stage.window) {
        (Some(limit), Some(w)) => Some(limit * (w.high / 100.0).min(1.0)),
        (limit, _) => limit,
    };
    let rule = stage.window.map_or("bias.target.cathode", |w| w.rule);
    if let Some(watts) = v.plate_w {
        let expected = match (v.plate_w_lowest, v.plate_w_highest) {
            (Some(low), Some(high)) => Expected {
                value: Some(watts),
                low: Some(low.min(watts)),
                high: Some(high.max(watts)),
                unit: "W".to_owned(),
            },
            _ => Expected::value(watts, "W"),
        };
        // The window is for today; the highest mains has the limit itself, below.
        let line = match most {
            Some(most) => Line::computed(
                "plate dissipation, computed",
                Expected::value(watts, "W"),
                Limit::at_most(most, "W"),
                Origin::rule(rule),
            ),
            None => Line::told("plate dissipation, computed", computed())
                .expecting(Expected::value(watts, "W")),
        };
        let amps = v
            .plate_ma
            .map_or_else(String::new, |ma| format!(" {ma:.1} mA."));
        let cold = match (stage.window, v.plate_limit_w) {
            (Some(w), Some(limit)) if watts < w.low / 100.0 * limit => " Colder than it need be.",
            _ => "",
        };
        lines.push(
            line.expecting(expected)
                .because(format!(
                    "{}.{amps}{cold}",
                    percent(watts, v.plate_limit_w, v.system)
                ))
                .at(name.clone()),
        );
        if let (Some(limit), Some(high)) = (v.plate_limit_w, v.plate_w_highest) {
            let line = Line::computed(
                "at the highest mains",
                Expected::value(high, "W"),
                Limit::at_most(limit, "W"),
                plate_origin(v),
            );
            lines.push(
                line.because(format!("{}.", percent(high, Some(limit), v.system)))
                    .at(name.clone()),
            );
        }
    }
    lines.extend(measured_lines(v, most, rule, &name));
    if let Some(watts) = v.screen_w {
        lines.push(match v.screen_limit_w {
            Some(limit) => Line::computed(
                "screen dissipation",
                Expected::value(watts, "W"),
                Limit::at_most(limit, "W"),
                plate_origin(v),
            )
            .at(name.clone()),
            None => Line::told("screen dissipation", computed())
                .expecting(Expected::value(watts, "W"))
                .at(name.clone()),
        });
    }
    if let (Some(limit), Some(plate)) = (v.cathode_limit_ma, v.plate_ma) {
        let total = plate + v.screen_ma.unwrap_or(0.0);
        lines.push(
            Line::computed(
                "cathode current",
                Expected::value(total * 1e-3, "A"),
                Limit::at_most(limit * 1e-3, "A"),
                plate_origin(v),
            )
            .at(name.clone()),
        );
    }
    if let (Some(limit), Some(ohms)) = (v.grid_limit_ohms, v.grid_ohms) {
        let line = Line::computed(
            "resistance in the grid circuit",
            Expected::value(ohms, "ohm"),
            Limit::at_most(limit, "ohm"),
            plate_origin(v),
        );
        let fails = line.outcome() == crate::sheet::Outcome::Fail;
        lines.push(
            if fails {
                line.because(
                    "Many sets of the era have more than the sheet allows: report it, and change it only where a valve runs away.",
                )
            } else {
                line
            }
            .at(name),
        );
    }
    lines
}

fn computed() -> Origin {
    Origin::computed("the solved circuit, every part as marked or measured")
}

fn measured_lines(v: &ValveIdle, most: Option<f64>, rule: &str, name: &str) -> Vec<Line> {
    let Some(m) = &v.measured else {
        let origin = Origin::rule("bias.method");
        let line = Line::open("plate dissipation, from readings", origin).because(
            "Read plate and cathode volts, and the drop across the screen resistor; or 1 ohm in the cathode.",
        );
        return vec![
            match most {
                Some(most) => line.limited(Limit::at_most(most, "W")),
                None => line,
            }
            .at(name.to_owned()),
        ];
    };
    let figure = Figure::new(m.plate_w, "W").plus_minus(m.plate_w_plus_minus);
    let line = match most {
        Some(most) => Line::read(
            "plate dissipation, from readings",
            figure,
            Limit::at_most(most, "W"),
            Origin::rule(rule),
        ),
        None => Line::told("plate dissipation, from readings", Origin::measured()).showing(figure),
    };
    let share = match v.plate_limit_w {
        Some(limit) if limit > 0.0 => format!(
            "{:.0} ± {:.0} % of {limit} W{}",
            100.0 * m.plate_w / limit,
            (100.0 * m.plate_w_plus_minus / limit).ceil(),
            v.system
                .map_or_else(String::new, |s| format!(" ({})", s.word()))
        ),
        _ => "its plate limit is not known".to_owned(),
    };
    let mut lines = vec![
        line.because(format!(
            "{share}; plate {:.1} ± {:.1} mA by {}.",
            m.plate_ma, m.plate_ma_plus_minus, m.by
        ))
        .at(name.to_owned()),
    ];
    if let Some(watts) = m.screen_w {
        lines.push(match v.screen_limit_w {
            Some(limit) => Line::read(
                "screen dissipation, from readings",
                Figure::new(watts, "W"),
                Limit::at_most(limit, "W"),
                plate_origin(v),
            )
            .at(name.to_owned()),
            None => Line::told("screen dissipation, from readings", Origin::measured())
                .showing(Figure::new(watts, "W"))
                .at(name.to_owned()),
        });
    }
    lines
}

fn balance(stage: &Stage) -> Vec<Line> {
    if !stage.push_pull {
        return Vec::new();
    }
    let origin = Origin::rule("bias.balance");
    let good = rules().figure("bias.balance", "good").unwrap_or(10.0);
    let most = rules()
        .figure("bias.balance", "re-match above")
        .unwrap_or(20.0);
    let limit = Limit::at_most(most, "%");
    let what = "difference of the two sides";
    vec![match stage.balance_percent {
        Some(p) => {
            let line = Line::read(what, Figure::new(p, "%"), limit, origin);
            if p > good && p <= most {
                line.because(format!("More than the {good:.0} % that is good."))
            } else {
                line
            }
        }
        None => Line::open(what, origin).limited(limit).because(
            "Read each valve by itself: drop across its half of the primary, or 1 ohm in its cathode.",
        ),
    }]
}

fn target(stage: &Stage) -> Option<Line> {
    let (w, watts) = (stage.window?, stage.target_watts?);
    let volts = stage
        .valves
        .iter()
        .find_map(|v| Some(v.plate_w? / v.plate_ma? * 1e3));
    let line = Line::told("aim for each valve", Origin::rule(w.rule))
        .expecting(Expected::value(watts, "W"));
    Some(match volts {
        Some(volts) if volts > 0.0 => line.because(format!(
            "{:.0} % of the lowest plate limit: {:.1} mA of plate current at {volts:.0} V plate to cathode.",
            w.aim,
            watts / volts * 1e3
        )),
        _ => line,
    })
}

fn control_lines(stage: &Stage, c: &Control) -> Vec<Line> {
    let limit = stage
        .valves
        .iter()
        .filter_map(|v| v.plate_limit_w)
        .reduce(f64::min);
    let origin = || Origin::rule("res.drift.bias_divider");
    let mut lines = Vec::new();
    for (mains, setting) in [
        ("lowest mains", c.lowest),
        ("today's mains", c.now),
        ("highest mains", c.highest),
    ] {
        let Some(s) = setting else { continue };
        let expected = Expected::range(s.coldest_w, s.hottest_w, "W");
        let what = format!("range of the trimmer, {mains}");
        let line = match limit {
            Some(limit) => Line::computed(what, expected, Limit::at_most(limit, "W"), origin()),
            None => Line::told(what, origin()).expecting(expected),
        };
        lines.push(
            line.because(format!(
                "Bias {:.1} to {:.1} V. The hottest end must not pass the plate limit.",
                s.coldest_v, s.hottest_v
            ))
            .at(c.part.clone()),
        );
    }
    let (low, high) = rules()
        .range("res.drift.bias_divider", "control travel")
        .unwrap_or((20.0, 80.0));
    lines.push(match c.target_at {
        Some(at) => Line::computed(
            "travel at which the aim is met",
            Expected::value(10.0 * at, "%"),
            Limit::between(low, high, "%"),
            origin(),
        )
        .at(c.part.clone()),
        None => Line::open("travel at which the aim is met", origin())
            .because("Out of its reach: see what to fit.")
            .at(c.part.clone()),
    });
    let what = "with its wiper open the valves run no hotter";
    let open = match c.wiper_open_w {
        Some(w) => format!("{w:.1} W in the hottest valve with the wiper open."),
        None => "Nothing holds the grids with the wiper open.".to_owned(),
    };
    lines.push(
        match c.fails_cold {
            Some(true) => Line::told(what, computed()),
            Some(false) => Line::answered(what, "computed: no", false, computed()).because(
                "It fails hot: wire it so that an open wiper leaves the most bias, or put a fixed resistor from the wiper to the cold end.",
            ),
            None => Line::open(what, computed()),
        }
        .because(open)
        .at(c.part.clone()),
    );
    lines
}

fn fit_line(stage: &Stage, f: &Fit) -> Line {
    let ohms = |r: f64| engineering(r, Quantity::Ohms);
    let role = match stage.bias {
        Some(BiasKind::Cathode) => "cathode resistor",
        _ => "bias divider resistor",
    };
    let plates = format!(
        "{:.1} W in the hottest valve, {:.1} W at the highest mains. It dissipates {:.2} W.",
        f.plate_w, f.plate_w_highest, f.dissipates_w
    );
    let origin =
        Origin::computed("the circuit solved with that value, at today's and at the highest mains");
    if f.keeps {
        Line::told(format!("{role} stays"), origin)
            .because(format!(
                "{} keeps it inside the window: {plates} Rating {} W or more.",
                ohms(f.ohms),
                f.rated_w
            ))
            .at(f.part.clone())
    } else {
        Line::told(format!("{role} to fit"), origin)
            .expecting(Expected::value(f.ohms, "ohm"))
            .because(format!(
                "{} {} W in place of {} ({} computed): {plates}",
                ohms(f.ohms),
                f.rated_w,
                ohms(f.from_ohms),
                rounded(f.wanted_ohms, Quantity::Ohms, 3)
            ))
            .at(f.part.clone())
    }
}

fn missing(work: &Work<'_>, idle: &mut Idle) {
    let stages = idle.stages.clone();
    let sheet = &mut idle.sheet;
    if stages.is_empty() {
        sheet.missing(
            "an output stage",
            "Trace an output valve's plate to the output transformer, as in `V2.3 - T2.p1`; or type the numbers, `tubewright bias --valve 6V6GT ...`.",
        );
    }
    for stage in &stages {
        if stage.bias.is_none() {
            sheet.missing(
                format!("how {} is biased", stage.name),
                "Trace the cathodes to ground, and the grid leaks to where they end.",
            );
        }
        for v in &stage.valves {
            if v.plate_limit_w.is_none() {
                sheet.missing(
                    format!("plate limit of {} {}", v.valve, v.valve_type),
                    "No sheet here has it; type it behind the valve, as in `V8 6ABC like 6V6GT: limits plate 350 V 12 W`.",
                );
            }
            if v.plate_w.is_none() {
                sheet.missing(
                    format!("currents of {} {}", v.valve, v.valve_type),
                    "Trace its plate, screen, grid leak, cathode and supply; run `check` for what is open.",
                );
            }
        }
        if stage.bias == Some(BiasKind::Cathode) && stage.fit.is_none() {
            sheet.missing(
                format!("a cathode resistor to fit for {}", stage.name),
                "Each cathode has its own, or its value is not known, or no value brings it into the window.",
            );
        }
        if stage.bias == Some(BiasKind::Fixed) && stage.fit.is_none() && stage.control.is_none() {
            sheet.missing(
                format!("what sets the bias of {}", stage.name),
                "Trace the bias supply: winding, rectifier, filter, divider or trimmer, grid leaks.",
            );
        }
    }
    let unsolved = work
        .states
        .now
        .iter()
        .flat_map(|p| &p.solved.assembly.unsolved);
    for u in unsolved {
        sheet.missing(u.point.clone(), u.why.clone());
    }
}
