//! The power-up plan as a bench sheet.
//!
//! A stage is a section whose lines form a grid: `what` is the mains step, `at` the point.

use super::abort::{self, Abort, Quantity};
use super::{Powerup, Stage, Step};
use crate::answers::Answers;
use crate::charge::{Charges, Emptying};
use crate::rules::rules;
use crate::sheet::{Bound, Expected, Figure, Limit, Line, Origin, Sheet};
use wiring::readings::{Probe, Shown, Unit};
use wiring::units::{Farads, Seconds, Volts};
use wiring::{Circuit, NodeId};

/// Most capacitors that are no electrolytics are listed with their names only when they hold more
/// than this, joules: 22 nF at 250 V holds 0.7 mJ.
const WORTH_A_LINE: f64 = 0.01;

impl Powerup {
    /// The sheet. `circuit` brings the volts that were read with the plug out, `answers` what was
    /// answered.
    #[must_use]
    pub fn sheet(&self, circuit: &Circuit, answers: &Answers) -> Sheet {
        let mut sheet = Sheet::new("powerup", "Power-up plan");
        sheet.subject.clone_from(&self.subject);
        sheet.assumed = Some(self.still.clone());
        if let Some(volts) = self.mains_volts {
            sheet.conditions.push(format!("mains {volts:.0} V"));
        }
        sheet.section("Before the switch", self.before(answers));
        for stage in &self.stages {
            let title = format!("Variable transformer: {}", stage.name);
            sheet.section(title, grid(stage));
        }
        if let Some(lamp) = &self.lamp {
            let title = format!("On the {:.0} W lamp at full mains", lamp.watts);
            let lines = self.on_lamp.iter().flat_map(lamp_lines).collect();
            sheet.section(title, lines);
        }
        sheet.section("Off at once", off_at_once());
        sheet.section(
            "After switch-off: unplug, clip, measure each below 10 V",
            discharge_lines(
                circuit,
                &self.discharge,
                self.discharge_standby_open.as_ref(),
            ),
        );
        for item in &self.unsolved {
            sheet.missing(&item.point, &item.why);
        }
        self.notes(&mut sheet);
        sheet
    }

    fn before(&self, answers: &Answers) -> Vec<Line> {
        let mut lines = vec![
            answers
                .line(
                    "load",
                    "loudspeaker or load resistor on the output, right ohms, twice the watts",
                    Origin::rule("power.load_first"),
                )
                .or_stop(),
            answers
                .line(
                    "cold-check",
                    "cold check done, nothing out",
                    Origin::rule("cold.least_ohms"),
                )
                .or_stop(),
        ];
        let origin = Origin::rule("power.lamp");
        match &self.lamp {
            Some(lamp) => {
                let what = format!(
                    "{:.0} W lamp in series with the mains{}",
                    lamp.watts,
                    if lamp.typed { ", the one at hand" } else { "" }
                );
                let by = self.draw_va.map_or_else(
                    || "what it draws is not known".to_owned(),
                    |va| format!("it draws {va:.0} VA at rest"),
                );
                lines.push(
                    Line::computed(
                        what,
                        Expected::value(lamp.watts, "W"),
                        Limit::at_most(lamp.most_watts, "W"),
                        origin,
                    )
                    .because(format!(
                        "{by}: at most {:.0} W by its draw, {:.0} W by the table. It lets {:.2} A through at most. A flash and then a dim glow is healthy, a steady full glow a short.",
                        lamp.by_draw_watts, lamp.by_table_watts, lamp.most_amps
                    )),
                );
            }
            None => lines.push(
                Line::told("lamp in series with the mains", origin).because(
                    "By size of amplifier: 5-10 W single-ended 40 to 60 W, 12-22 W 60 to 100 W, 30-50 W 100 to 150 W, 80-100 W 200 to 300 W.",
                ),
            ),
        }
        lines
    }

    fn notes(&self, sheet: &mut Sheet) {
        let steps = rules().range("power.variable_transformer", "dwell per step");
        if let Some((least, most)) = steps {
            sheet.note(format!(
                "Stay {least:.0} to {most:.0} min at each step and watch the current, not the volts alone (common practice, no source). Type each step as a readings block (mains, valves, limiter): `chart` holds it against what is expected there."
            ));
        }
        sheet.note(
            "A valve rectifier gives nothing until its heater is near 60 to 70 % of its volts, then all at once: for electrolytics that must be brought up slowly use silicon stand-ins or a limited supply (common practice, no source).",
        );
        sheet.note(
            "A lamp is not an isolator, and on it every figure is low: hold ratios, not volts.",
        );
        for note in &self.notes {
            sheet.note(note);
        }
    }
}

/// A stage as a grid: one row a step.
fn grid(stage: &Stage) -> Vec<Line> {
    stage
        .steps
        .iter()
        .flat_map(|step| {
            let what = match step.mains_volts {
                Some(volts) => format!("{:.0} %, {volts:.0} V", step.percent),
                None => format!("{:.0} %", step.percent),
            };
            lines(step, &what)
        })
        .collect()
}

fn lamp_lines(stage: &Stage) -> Vec<Line> {
    let steps = stage.steps.iter();
    steps
        .flat_map(|step| {
            let mut lines = lines(step, &stage.name);
            if let Some(volts) = step.lamp_volts {
                let line = Line::open(stage.name.clone(), computed())
                    .at("lamp")
                    .expecting(Expected::value(volts, "V ac"))
                    .because(glow(step, volts));
                lines.insert(0, line);
            }
            lines
        })
        .collect()
}

/// How bright the lamp is, by its share of the mains.
fn glow(step: &Step, volts: f64) -> &'static str {
    let part = step.mains_volts.map_or(0.0, |m| volts / m);
    match part {
        p if p < 0.15 => "dark",
        p if p < 0.35 => "dull red",
        p if p < 0.7 => "dim",
        _ => "bright",
    }
}

fn computed() -> Origin {
    Origin::computed("the circuit solved at this step")
}

/// The cells of one step.
fn lines(step: &Step, what: &str) -> Vec<Line> {
    if let Some(why) = &step.why {
        return vec![Line::open(what, computed()).at("mains").because(why)];
    }
    let mut lines: Vec<Line> = Vec::new();
    for abort in &step.aborts {
        if abort.quantity == Quantity::PlateAmps {
            continue;
        }
        lines.push(cell(what, abort));
    }
    // nodes with nothing on them yet have a figure and no limit
    for level in &step.rails {
        if lines.iter().any(|l| l.point() == Some(&level.point)) {
            continue;
        }
        lines.push(
            Line::open(what, computed())
                .at(&level.point)
                .expecting(Expected::value(level.volts, "V")),
        );
    }
    for level in &step.heaters {
        lines.push(
            Line::open(what, computed())
                .at(&level.point)
                .expecting(Expected::value(level.volts, "V ac")),
        );
    }
    for plate in &step.plates {
        let abort = step
            .aborts
            .iter()
            .find(|a| a.quantity == Quantity::PlateAmps && a.point == plate.valve);
        let percent = plate.limit_watts.map(|w| {
            format!(
                "{:.1} W, {:.0} % of {w} W",
                plate.watts,
                100.0 * plate.watts / w
            )
        });
        let words = percent.unwrap_or_else(|| format!("{:.1} W", plate.watts));
        match (&plate.cathode, abort.and_then(|a| a.at_most)) {
            // what the meter can reach: the cathode's volts, which rise with the current
            (Some(cathode), Some(most)) if plate.ma > 0.1 => lines.push(
                Line::open(what, Origin::rule(abort::RULE))
                    .at(&cathode.point)
                    .expecting(Expected::value(cathode.volts, "V"))
                    .limited(Limit::at_most(cathode.volts * most * 1e3 / plate.ma, "V"))
                    .because(words),
            ),
            (Some(cathode), None) => lines.push(
                Line::open(what, computed())
                    .at(&cathode.point)
                    .expecting(Expected::value(cathode.volts, "V"))
                    .because(words),
            ),
            _ => {}
        }
    }
    lines
}

fn cell(what: &str, abort: &Abort) -> Line {
    let unit = match abort.quantity {
        Quantity::MainsAmps | Quantity::PlateAmps => "A",
        Quantity::HighTension | Quantity::Bias => "V",
    };
    let limit = Limit {
        at_least: abort.at_least,
        at_most: abort.at_most,
        unit: unit.to_owned(),
    };
    let holds = limit.holds(abort.expected);
    let line = if holds {
        Line::open(what, Origin::rule(abort::RULE)).limited(limit)
    } else {
        // the amplifier itself goes beyond what its parts or its fuse allow
        let tightest = abort
            .sources
            .iter()
            .min_by(|a, b| a.figure.total_cmp(&b.figure))
            .map_or("its limit", |s| s.from);
        Line::computed(
            what,
            Expected::value(abort.expected, unit),
            limit,
            Origin::rule(abort::RULE),
        )
        .or_stop()
        .because(format!("Not this far: beyond {tightest}."))
    };
    line.at(&abort.point)
        .expecting(Expected::value(abort.expected, unit))
}

fn off_at_once() -> Vec<Line> {
    let percent = |part: f64| format!("{:.0} %", 100.0 * part);
    let rule = || Origin::rule(abort::RULE);
    let seconds = rules()
        .figure(abort::RULE, "lamp glow does not fall within")
        .map_or(5.0, |s| s.min(5.0));
    let minutes = rules()
        .figure(abort::RULE, "electrolytic case warm to hand within")
        .unwrap_or(10.0);
    vec![
        Line::told(
            "smoke, smell, arc, a plate that reddens, howl, crackle in the transformer",
            rule(),
        ),
        Line::told(
            format!("the lamp's glow does not fall within {seconds:.0} s"),
            rule(),
        ),
        Line::told(
            format!(
                "mains current above {} of what is expected at that step, or above the fuse's mark",
                percent(abort::mains_share())
            ),
            rule(),
        ),
        Line::told(
            format!(
                "high tension below {} of what is expected, or above the rating of a capacitor on it",
                percent(abort::tension_share())
            ),
            rule(),
        ),
        Line::told(
            format!(
                "bias at any output grid below {} of what is expected",
                percent(abort::bias_share())
            ),
            rule(),
        ),
        Line::told(
            format!(
                "a plate above {} of its dissipation limit",
                percent(abort::plate_share())
            ),
            rule(),
        ),
        Line::told(
            format!("an electrolytic warm to the hand within {minutes:.0} min"),
            rule(),
        ),
    ]
}

/// One line for each electrolytic, and for every other capacitor that holds something or has no
/// path: seconds to the safe volts, and room for the volts that are measured.
///
/// Volts read at its points in the last block with the power off count as the reading.
#[must_use]
pub fn discharge_lines(circuit: &Circuit, closed: &Charges, open: Option<&Charges>) -> Vec<Line> {
    let listed = closed.capacitors.iter().filter(|c| {
        let holds = c.joules.is_some_and(|j| j >= WORTH_A_LINE);
        let volts = c.volts.is_none_or(|v| v > closed.safe_volts);
        c.electrolytic || (holds && volts)
    });
    listed
        .map(|one| {
            let other = open.and_then(|d| d.of(&one.part));
            let limit = Limit::at_most(closed.safe_volts, "V");
            let origin = Origin::rule("live.discharge");
            // The time is not a remark that may be left out: it says whether it empties at all.
            let what = format!(
                "{}{}: {}",
                one.farads.map_or_else(
                    || "farads not known".to_owned(),
                    |c| format!("{:.3}", Farads(c))
                ),
                one.volts.map_or_else(
                    || ", volts not known".to_owned(),
                    |v| format!(", up to {:.3}", Volts(v))
                ),
                time(one, other)
            );
            let line = match left(circuit, one) {
                Some(figure) => Line::read(what, figure, limit, origin).or_stop(),
                None => Line::open(what, origin).limited(limit),
            };
            let at = match one.between.as_slice() {
                [plus, minus] => format!("{} ({plus} to {minus})", one.part),
                _ => one.part.clone(),
            };
            line.at(at)
        })
        .collect()
}

/// How long it takes, with the standby switch both ways.
fn time(closed: &Emptying, open: Option<&Emptying>) -> String {
    let of = |one: &Emptying| match (one.seconds, &one.why) {
        (Some(seconds), _) if seconds < 1.0 => "at once".to_owned(),
        (Some(seconds), _) => format!("{:.2}", Seconds(seconds)).replace(" s", " s"),
        (None, _) if one.stays => "NO PATH, it stays charged".to_owned(),
        (None, Some(why)) => why.clone(),
        (None, None) => "not known".to_owned(),
    };
    match open {
        Some(open) if of(open) != of(closed) => {
            format!("standby closed {}; open {}", of(closed), of(open))
        }
        _ => of(closed),
    }
}

/// The last volts read across it in the last block with the power off: older ones say nothing
/// of today's charge.
fn left(circuit: &Circuit, one: &Emptying) -> Option<Figure> {
    let mut blocks = circuit.readings.iter().rev();
    let mut read = blocks
        .find(|b| b.conditions.power_off)?
        .readings
        .iter()
        .rev();
    let [a, b] = one.nodes.as_slice() else {
        return None;
    };
    let on = |probe: Probe| -> bool {
        let ends = |x: NodeId, y: NodeId| (x, y) == (*a, *b) || (x, y) == (*b, *a);
        match probe {
            Probe::At(node) => ends(node, wiring::GROUND),
            Probe::Between(x, y) => ends(x, y),
            Probe::Across(part) => circuit
                .parts
                .get(part.0)
                .is_some_and(|p| p.name == one.part),
            Probe::Nowhere => false,
        }
    };
    let reading = read.find(|r| r.unit == Unit::VoltsDc && on(r.probe))?;
    Some(match reading.value {
        Shown::Number(v) => Figure::new(v.abs(), "V").plus_minus(0.5 * reading.digit),
        Shown::Below(v) => Figure::new(v.abs(), "V").bound(Bound::AtMost),
        Shown::Above(v) => Figure::new(v.abs(), "V").bound(Bound::AtLeast),
        Shown::Over => return None,
    })
}
