//! The cold check as a bench sheet.

use super::judge::{LEADS_OHMS, effective_least, too_low, untraced};
use super::places::{HEATERS, MAINS, SOCKETS, TENSION, WINDINGS};
use super::{ColdCheck, ColdPoint, Go};
use crate::chart::entry::OVER_OHMS;
use crate::chart::verdict::{K95, K997, Word};
use crate::rules::rules;
use crate::sheet::{Bound, Expected, Figure, Limit, Line, Origin, Sheet};
use wiring::readings::Shown;
use wiring::units::{Ohms, Quantity, rounded};

/// The rule with the least ohms of a high-tension node.
const LEAST: &str = "cold.least_ohms";
/// Under which names the lowest of what an amplifier that is not traced reads is typed: a pin of the plug to the
/// chassis, and a high-tension node to the chassis.
const PLUG: &str = "plug";
const TENSION_NODES: &str = "HT";

impl ColdCheck {
    /// The sheet: every place in its group, parts told by the readings, go or no-go.
    #[must_use]
    pub fn sheet(&self) -> Sheet {
        let mut sheet = Sheet::new("cold", "Cold check: ohms before power");
        sheet.subject.clone_from(&self.subject);
        sheet.assumed = Some(self.still.clone());
        sheet.conditions.push(match &self.block {
            Some(name) if !name.trim().is_empty() => format!("against the readings \"{name}\""),
            Some(_) => "against the readings".to_owned(),
            None => "nothing read yet".to_owned(),
        });
        sheet.conditions.push(
            "plug out, every electrolytic below 10 V, red lead on the first point".to_owned(),
        );
        let mut groups: Vec<&'static str> = Vec::new();
        for point in &self.points {
            if !groups.contains(&point.group) {
                groups.push(point.group);
            }
        }
        for group in groups {
            let of = self.points.iter().filter(|p| p.group == group);
            sheet.section(group, of.map(line).collect());
        }
        self.general(&mut sheet);
        sheet.section("Parts that the readings tell", self.told());
        sheet.section("Points that are not in a wiring", self.loose());
        sheet.section("Go or no-go", vec![self.go()]);
        for item in &self.unsolved {
            sheet.missing(&item.point, &item.why);
        }
        for note in &self.notes {
            sheet.note(note);
        }
        sheet
    }

    /// What is read of an amplifier of which this is not traced.
    fn general(&self, sheet: &mut Sheet) {
        let title = if self.points.is_empty() {
            "Without a wiring"
        } else {
            "Not traced yet"
        };
        sheet.section(title, self.general_lines());
        if self.points.is_empty() {
            sheet.missing(
                "every expected figure",
                "type what you trace (docs/notation.md); the sheet fills in as the tracing grows",
            );
        }
    }

    /// One line for each part whose value a reading tells.
    fn told(&self) -> Vec<Line> {
        let mut lines: Vec<Line> = Vec::new();
        for point in &self.points {
            let Some(told) = &point.tells else { continue };
            let (Some(value), Some(plus_minus), Some(marked), true) =
                (told.value, told.plus_minus, told.marked, told.tells)
            else {
                continue;
            };
            let what = told.role.unwrap_or("resistor").to_owned();
            if lines.iter().any(|l| l.point() == Some(told.part.as_str())) {
                continue;
            }
            let figure = Figure::new(value, "ohm").plus_minus(plus_minus);
            let off = format!(
                "{:+.0} % of {} marked.",
                100.0 * (value / marked - 1.0),
                Ohms(marked)
            );
            let line = match told.limit {
                Some((part, rule)) => {
                    let limit = Limit::between(marked * (1.0 - part), marked * (1.0 + part), "ohm");
                    Line::read(what, figure, limit, Origin::rule(rule))
                        .because(format!("{off} Within {:.0} % in this place.", 100.0 * part))
                }
                None => Line::told(what, Origin::computed("the reading less what lies beside"))
                    .showing(figure)
                    .because(off),
            };
            lines.push(line.at(&told.part));
        }
        lines
    }

    fn loose(&self) -> Vec<Line> {
        let own = |name: &str| name == PLUG || name == TENSION_NODES;
        let lines = self
            .loose
            .iter()
            .filter(|l| !own(&l.0))
            .filter_map(|(name, read)| {
                let figure = figure(read.shown, read.sigma);
                let rail = name.strip_prefix('B').is_some_and(|r| {
                    !r.is_empty() && r.chars().all(|c| c.is_ascii_digit() || c == '+')
                });
                let line = if rail {
                    let limit =
                        Limit::at_least(rules().figure(LEAST, "HT node to chassis")?, "ohm");
                    Line::read(
                        "high-tension node to the chassis",
                        figure,
                        limit,
                        Origin::rule(LEAST),
                    )
                    .or_stop()
                } else {
                    Line::told(
                        "read, nothing is known to hold it against",
                        Origin::measured(),
                    )
                    .showing(figure)
                };
                Some(line.at(name))
            });
        lines.collect()
    }

    fn go(&self) -> Line {
        let origin = Origin::practice();
        let what = "may it go to the lamp and the power-up plan?";
        let deciding = self.points.iter().filter(|p| p.decides);
        let left: Vec<&str> = deciding
            .clone()
            .filter(|p| !matches!(p.verdict, Some(Word::Inside | Word::Outside)))
            .map(|p| p.point.as_str())
            .collect();
        let out: Vec<&str> = deciding
            .filter(|p| p.verdict == Some(Word::Outside) || too_low(p))
            .map(|p| p.point.as_str())
            .collect();
        match self.verdict {
            Go::Go => Line::answered(
                what,
                "go: every deciding line was read and is inside",
                true,
                origin,
            )
            .because(
                "On the lamp, not straight to full mains: these few volts prove no insulation.",
            ),
            Go::NoGo => Line::stop(what, origin)
                .because(format!("NO-GO. Find the fault first: {}.", out.join("; "))),
            Go::Open => {
                let untraced: Vec<String> = untraced(&self.points)
                    .map(|group| group.to_lowercase())
                    .collect();
                let mut why = String::new();
                if !untraced.is_empty() {
                    why = format!(
                        "Not traced yet, so read it by the general lines: {}. ",
                        untraced.join("; ")
                    );
                }
                if !left.is_empty() {
                    why.push_str(&format!(
                        "Still to read, or to read again: {}.",
                        left.join("; ")
                    ));
                }
                Line::open(what, origin).because(why.trim())
            }
        }
    }
}

fn line(point: &ColdPoint) -> Line {
    let what = if point.what.is_empty() {
        "as read".to_owned()
    } else {
        point.what.clone()
    };
    let computed = || Origin::computed("resistances of the wiring and what lies beside");
    let line = if point.over {
        insulation(point, what)
    } else if let (Some(ohms), Some(low), Some(high)) = (point.ohms, point.low, point.high) {
        let limit = limit(point, low, high);
        let origin = if point.least.is_some_and(|least| least <= low) {
            Origin::rule(LEAST)
        } else {
            computed()
        };
        let line = match point.read {
            None => Line::open(what, origin).limited(limit),
            Some(read) => {
                // the band and the reading's own uncertainty are in the limit together
                let line = Line::read(what, figure(read.shown, 0.0), limit, origin);
                let line = match point.verdict {
                    Some(Word::Doubtful) => {
                        line.doubted("Doubtful: beyond 95 % of sound amplifiers, within 99.7 %.")
                    }
                    _ => line,
                };
                if point.decides || too_low(point) {
                    line.or_stop()
                } else {
                    line
                }
            }
        };
        line.expecting(Expected::band(ohms, low, high, "ohm"))
    } else {
        Line::open(what, computed()).because(point.why.as_deref().unwrap_or_default())
    };
    line.at(&point.point).because(words(point))
}

/// No path is expected: over range passes, a figure below the rule stops.
fn insulation(point: &ColdPoint, what: String) -> Line {
    let rule = if point.least.is_some() {
        "safety.insulation"
    } else {
        LEAST
    };
    let least = point.least.unwrap_or(OVER_OHMS);
    let limit = Limit::at_least(least, "ohm");
    let origin = Origin::rule(rule);
    let Some(read) = point.read else {
        return Line::open(what, origin)
            .limited(limit)
            .because("Over range (OL).");
    };
    let look = rules()
        .figure("safety.insulation", "investigate below")
        .map_or(20e6, |m| m * 1e6);
    let line = Line::read(what, figure(read.shown, read.sigma), limit, origin).or_stop();
    match read.shown {
        Shown::Number(v) if v < look => line.doubted(
            "There should be no path at all: look for it, and test with 500 V before power.",
        ),
        _ => line.because("500 V prove insulation, not an ohmmeter: see the safety sheet."),
    }
}

/// The edges at 99.7 %, the reading's own uncertainty in them, and never below what the rule asks.
fn limit(point: &ColdPoint, low: f64, high: f64) -> Limit {
    if point.ohms.is_some_and(|o| o < LEADS_OHMS) {
        return Limit::at_most(high.max(1.0), "ohm");
    }
    let own = point
        .read
        .and_then(|r| Some(r.sigma / r.number().filter(|n| *n > 0.0)?))
        .unwrap_or(0.0);
    let centre = point.band.map_or(high, |b| b.centre);
    let edge = |end: f64| {
        let sigma = (end / centre).ln().abs() / K95;
        (K997 * sigma.hypot(own)).exp()
    };
    let (least, most) = (centre / edge(low.max(1e-9)), centre * edge(high));
    let least = effective_least(point).map_or(least, |rule| least.max(rule));
    match point.read.map(|r| r.shown) {
        // such a display says nothing of the other side; the chart's verdict does
        Some(Shown::Over | Shown::Above(_)) if point.verdict == Some(Word::Inside) => {
            Limit::at_least(least, "ohm")
        }
        _ => Limit::between(least, most.max(least), "ohm"),
    }
}

fn figure(shown: Shown, sigma: f64) -> Figure {
    match shown {
        Shown::Number(v) => {
            let figure = Figure::new(v, "ohm");
            if sigma > 0.0 {
                figure.plus_minus(K95 * sigma)
            } else {
                figure
            }
        }
        Shown::Over => Figure::new(OVER_OHMS, "ohm").bound(Bound::AtLeast),
        Shown::Above(v) => Figure::new(v, "ohm").bound(Bound::AtLeast),
        Shown::Below(v) => Figure::new(v, "ohm").bound(Bound::AtMost),
    }
}

/// What stands beside the figures: charging, leads, what it tells, what it does not.
fn words(point: &ColdPoint) -> String {
    let ohms = |v: f64| {
        let text = rounded(v, Quantity::Ohms, 3);
        if text.ends_with(|c: char| c.is_ascii_digit()) && !text.contains(char::is_alphabetic) {
            format!("{text} ohm")
        } else {
            text
        }
    };
    let mut said: Vec<String> = Vec::new();
    if let Some(seconds) = point.rises_s {
        said.push(format!(
            "Starts low and rises to {} in up to {}.",
            point.ohms.map_or_else(String::new, ohms),
            span(seconds)
        ));
    }
    if let Some(other) = point.exchanged {
        said.push(format!(
            "Leads exchanged it may read down to {}: a junction conducts.",
            ohms(other)
        ));
    }
    if let Some(out) = point.valves_out {
        said.push(format!("All valves out: {}.", ohms(out)));
    }
    if point.ohms.is_some_and(|o| o < LEADS_OHMS) {
        said.push("Below 1 ohm: touch the leads together first and take that off.".to_owned());
    }
    if let Some(told) = &point.tells {
        let beside = || {
            let of = told.beside.iter();
            let list: Vec<String> = of.map(|(n, s)| format!("{n} {:.0} %", 100.0 * s)).collect();
            list.join(", ")
        };
        if told.tells {
            said.push(format!("Tells {}.", told.part));
        } else if told.beside.is_empty() {
            said.push(format!(
                "{} {:.0} %, many small ones beside it: lift one end to tell.",
                told.part,
                100.0 * told.share
            ));
        } else {
            said.push(format!(
                "{} {:.0} %, beside it {}: lift one end to tell.",
                told.part,
                100.0 * told.share,
                beside()
            ));
        }
        if let (Some(marked), Some(read), false) = (told.marked, point.reading, told.tells)
            && read > 1.3 * marked
            && told.share > 0.5
        {
            said.push(format!(
                "{} has risen: what lies beside can only lower the reading.",
                told.part
            ));
        }
    }
    said.join(" ")
}

/// Seconds as a technician says them.
fn span(seconds: f64) -> String {
    if seconds < 90.0 {
        format!("{:.0} s", seconds.ceil())
    } else {
        format!("{:.0} min", (seconds / 60.0).ceil())
    }
}

impl ColdCheck {
    /// What can be read without a wiring; two of the lines stop, so they are answered here.
    fn general_lines(&self) -> Vec<Line> {
        let of = |rule: &str, name: &str, scale: f64| rules().figure(rule, name).map(|v| v * scale);
        let mut lines = Vec::new();
        let mut add = |group: &str,
                       what: &str,
                       limit: Option<Limit>,
                       rule: Option<&str>,
                       why: &str,
                       typed: Option<&str>| {
            if self.points.iter().any(|p| p.group == group) {
                return;
            }
            let origin = rule.map_or_else(Origin::practice, Origin::rule);
            let read = typed.and_then(|name| self.loose.iter().find(|l| l.0 == name));
            let line = match (limit, read) {
                (Some(limit), Some((_, read))) => {
                    Line::read(what, figure(read.shown, read.sigma), limit, origin).or_stop()
                }
                (Some(limit), None) => Line::open(what, origin).limited(limit),
                (None, _) => Line::open(what, origin),
            };
            let line = line.because(why);
            lines.push(match typed {
                Some(name) => line.at(name),
                None => line,
            });
        };
        add(
            MAINS,
            "plug pin to plug pin, switch on, fuse in",
            None,
            None,
            "The primary through fuse and switch: tens of ohms or less; over range is an open fuse, switch or winding.",
            None,
        );
        add(
            MAINS,
            "each plug pin of live and neutral to the chassis, the lowest",
            of("safety.insulation", "safe isolation, and class II", 1e6)
                .map(|v| Limit::at_least(v, "ohm")),
            Some("safety.insulation"),
            "Over range. A path is a short, a capacitor that leaks, or a set without an isolating transformer: stop.",
            Some(PLUG),
        );
        add(
            WINDINGS,
            "high-tension winding, each half",
            None,
            None,
            "Halves within a tenth of each other; over range is open.",
            None,
        );
        add(
            WINDINGS,
            "output transformer, each half of the primary",
            None,
            Some("ot.tests"),
            "Over range is open: no power. Halves may differ by 20 %.",
            None,
        );
        add(
            WINDINGS,
            "loudspeaker or load across the output jack",
            None,
            Some("speaker.power"),
            "Unplugged, a voice coil reads 0.65 to 0.85 of its nominal ohms. Never run a valve output stage without a load.",
            None,
        );
        add(
            WINDINGS,
            "choke",
            None,
            None,
            "Tens to hundreds of ohms.",
            None,
        );
        add(
            TENSION,
            "each high-tension node to the chassis, red on the node, the lowest",
            of(LEAST, "HT node to chassis", 1.0).map(|v| Limit::at_least(v, "ohm")),
            Some(LEAST),
            "Starts low and climbs while the capacitors charge; wait until it stands.",
            Some(TENSION_NODES),
        );
        add(
            HEATERS,
            "each heater leg to the chassis",
            None,
            Some("heater.reference"),
            "A reference is there: about zero to a few hundred ohms, or the ohms of a raised point.",
            None,
        );
        add(
            SOCKETS,
            "each grid to the chassis",
            None,
            None,
            "Never over range: every grid has a way to ground, cathode or bias.",
            None,
        );
        add(
            SOCKETS,
            "each plate to its high-tension node",
            None,
            None,
            "The plate load. A reading above the marking condemns it; below proves nothing.",
            None,
        );
        lines
    }
}
