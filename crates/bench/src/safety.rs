//! The safety checklist: mains side and hand-over.
//!
//! What the wiring shows is held against what it should be; what only eyes, hands or an
//! instrument can tell is asked. A line passes by an answer or a figure, never by the tracing
//! alone: a tracing says what somebody typed, not what is soldered. What the tracing shows to be
//! wrong fails whatever is answered. A set on the mains without an isolating transformer stops.
//!
//! Limits are those of the rules with their standard, and of two sources the lower. Nothing here
//! makes an amplifier comply with a standard: it is tested against limits.

mod mains_side;
pub mod touch;

use crate::answers::Answers;
use crate::powered::head;
use crate::rules::{Gravity, LOCAL_CODES, rules};
use crate::sanity::sanity_of;
use crate::sheet::{Expected, Limit, Line, Origin, Sheet};
use crate::wall::{Market, made_for};
use mains_side::{MainsSide, Traced};
use serde::Serialize;
use wiring::circuit::Circuit;
use wiring::readings::{Probe, Shown, Unit};
use wiring::roles::anatomy;
use wiring::sheet::Library;

/// Whose customs hold for cord, plug and limits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Region {
    /// Continental Europe, and countries that follow it.
    Eu,
    /// United Kingdom and Ireland.
    Uk,
    /// North America.
    Us,
}

impl Region {
    /// In words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Eu => "continental Europe",
            Self::Uk => "United Kingdom",
            Self::Us => "North America",
        }
    }

    /// The region that mains volts suggest; nobody's word on it.
    #[must_use]
    pub fn of_volts(volts: f64) -> Self {
        match Market::of(volts) {
            Market::High => Self::Eu,
            Market::Low | Market::Hundred => Self::Us,
        }
    }

    fn colours(self) -> &'static str {
        match self {
            Self::Eu => {
                "live brown, neutral blue, earth green-yellow; some old cords have RED for earth"
            }
            Self::Uk => {
                "live brown, neutral blue, earth green-yellow; old: live red, neutral black, earth green"
            }
            Self::Us => "live black, neutral white or gray, earth green or green with yellow",
        }
    }

    fn hertz(self) -> f64 {
        match self {
            Self::Eu | Self::Uk => 50.0,
            Self::Us => 60.0,
        }
    }

    fn volts(self) -> f64 {
        match self {
            Self::Eu | Self::Uk => 230.0,
            Self::Us => 120.0,
        }
    }
}

/// The checklist. Without a wiring it asks everything.
#[must_use]
pub fn safety(
    circuit: &Circuit,
    library: &Library,
    region: Option<Region>,
    answers: &Answers,
) -> Sheet {
    let volts = made_for(circuit).or(circuit.heading.mains.map(|m| m.volts));
    let assumed = region.is_none();
    let region = region.unwrap_or_else(|| volts.map_or(Region::Eu, Region::of_volts));
    let side = MainsSide::of(circuit);
    let check = Check {
        circuit,
        region,
        answers,
        side: &side,
    };
    let mut sheet = Sheet::new("safety", "Safety: mains side and hand-over");
    head(&mut sheet, circuit);
    let by = if assumed {
        ", taken from the mains volts"
    } else {
        ""
    };
    sheet
        .conditions
        .push(format!("limits and colours of {}{by}", region.words()));
    sheet.section("Do not go on", check.stops(library));
    sheet.section("Mains side, unplugged", check.mains());
    sheet.section("Cord and earth", check.cord());
    sheet.section("Measured before hand-over", check.measured());
    if volts.is_none() {
        sheet.missing(
            "the mains side",
            "Trace it: `live - F1 fuse 1A slow - S1 switch closed - T1.pri1`, `neutral - T1.pri2`, `earth - chassis - ground`.",
        );
    }
    for (what, remedy) in side.missing() {
        sheet.missing(what, remedy);
    }
    sheet.note("Tested against limits of the standards named; nothing here says that it complies with any.");
    sheet.note(LOCAL_CODES);
    sheet
}

/// The sections that are looked at before the first power as well: what forbids to go on, the mains side, cord and earth.
pub(crate) fn before_power(
    circuit: &Circuit,
    library: &Library,
    region: Option<Region>,
    answers: &Answers,
) -> [(&'static str, Vec<Line>); 3] {
    let volts = made_for(circuit).or(circuit.heading.mains.map(|m| m.volts));
    let side = MainsSide::of(circuit);
    let check = Check {
        circuit,
        region: region.unwrap_or_else(|| volts.map_or(Region::Eu, Region::of_volts)),
        answers,
        side: &side,
    };
    [
        ("Do not go on", check.stops(library)),
        ("Mains side, unplugged", check.mains()),
        ("Cord and earth", check.cord()),
    ]
}

struct Check<'a> {
    circuit: &'a Circuit,
    region: Region,
    answers: &'a Answers,
    side: &'a MainsSide<'a>,
}

impl Check<'_> {
    /// What forbids power and hand-over by itself.
    fn stops(&self, library: &Library) -> Vec<Line> {
        let anatomy = anatomy(self.circuit);
        let mut lines: Vec<Line> = sanity_of(self.circuit, library, &anatomy)
            .into_iter()
            .filter(|f| f.gravity == Gravity::Stop)
            .map(|f| {
                let what = match f.code {
                    "chassis-on-mains" => "chassis on the mains".to_owned(),
                    "heaters-on-mains" => "heaters on the mains".to_owned(),
                    code => code.replace('-', " "),
                };
                Line::stop(what, Origin::practice())
                    .at(f.at.join(" "))
                    .because(f.message)
                    .because(f.advice)
            })
            .collect();
        if self.circuit.heading.two_wire_cord {
            lines.push(
                Line::stop("two-wire cord", Origin::rule("mains.two_wire")).because(
                    "Fit a three-wire cord with its earth on a bolt of its own, and keep the old cord for the owner. \
                     Then take `cord two-wire` out of the heading. If the owner refuses: signed refusal, and \
                     'not electrically safe' in the report.",
                ),
            );
        }
        lines
    }

    /// A question: what the tracing shows, and what was answered.
    fn ask(&self, item: &str, what: &str, rule: &str, traced: Traced) -> Line {
        let origin = Origin::rule(rule);
        match traced {
            Traced::Wrong(why) => Line::answered(what, "as traced: no", false, origin)
                .at(item)
                .because(why)
                .because(match self.answers.to(item).map(|a| &a.said) {
                    Some(wiring::readings::Said::Yes) => {
                        "The answer says otherwise: correct the wiring, or look again."
                    }
                    _ => "",
                }),
            Traced::Right(why) | Traced::Unknown(why) => {
                self.answers.line(item, what, origin).because(why)
            }
        }
    }

    fn mains(&self) -> Vec<Line> {
        let side = self.side;
        let mut lines = vec![
            self.ask(
                "fuse-ahead-of-switch",
                "Fuse in the live conductor, ahead of the switch",
                "mains.fuse_position",
                side.fuse(),
            ),
            self.ask(
                "neutral-to-primary",
                "Neutral straight to the primary, no fuse in it",
                "mains.fuse_position",
                side.neutral(),
            ),
            self.ask(
                "fuse-as-marked",
                "Fuse fitted is the type and rating marked on the chassis",
                "fuse.rating.first",
                side.fuse_marking(),
            ),
        ];
        if self.region != Region::Us {
            lines.push(self.ask(
                "two-pole-switch",
                "Mains switch breaks both conductors, where plugs can be turned round",
                "mains.two_pole",
                side.two_pole(),
            ));
        }
        lines.extend(self.capacitors());
        lines.push(self.ask(
            "accessory-outlet",
            "No two-pole accessory outlet is left connected",
            "mains.accessory_outlet",
            Traced::Unknown(String::new()),
        ));
        lines
    }

    fn capacitors(&self) -> Vec<Line> {
        let volts = self.mains_volts();
        let hertz = self.hertz();
        let earthed = self.side.earthed() && !self.circuit.heading.two_wire_cord;
        let most = if earthed {
            rules()
                .figure("safety.protective_conductor_current", "class I")
                .unwrap_or(3.5)
                .min(3.5)
        } else {
            touch::most_milliamperes()
        };
        let mut lines = Vec::new();
        for c in self.side.line_capacitors() {
            let amps = std::f64::consts::TAU * hertz * c.farads.unwrap_or(f64::NAN) * volts;
            let rule = if c.is_y {
                "mains.suppression_cap"
            } else {
                "mains.line_chassis_cap"
            };
            let what = "No capacitor from a mains conductor to the chassis";
            if c.is_y {
                lines.push(self.ask(
                    "line-capacitor",
                    "Capacitor to the chassis is class Y, 4.7 nF at most",
                    rule,
                    Traced::Unknown(format!(
                        "{} is noted as class Y; it passes {:.2} mA at {volts:.0} V.",
                        c.part,
                        amps * 1e3
                    )),
                ));
                continue;
            }
            let passes = if amps.is_finite() {
                format!(
                    "{} passes {:.2} mA at {volts:.0} V {hertz:.0} Hz (limit {most} mA).",
                    c.part,
                    amps * 1e3
                )
            } else {
                format!("{} is there; its value is not in the wiring.", c.part)
            };
            let line = self.ask(
                "line-capacitor",
                what,
                rule,
                Traced::Wrong(format!("{passes} Take it out and keep it in the parts bag; disable its polarity switch.")),
            );
            lines.push(if earthed { line } else { line.or_stop() });
        }
        if lines.is_empty() {
            let traced = match self.side.removed_line_capacitor() {
                Some(name) => Traced::Right(format!("{name} is noted as removed.")),
                None if self.side.traced() => Traced::Right("None is in the tracing.".to_owned()),
                None => Traced::Unknown(String::new()),
            };
            lines.push(self.ask(
                "line-capacitor",
                "No capacitor from a mains conductor to the chassis",
                "mains.line_chassis_cap",
                traced,
            ));
        }
        for name in self.side.mains_capacitors() {
            lines.push(self.answers.line(
                &format!("{name}-class"),
                "Capacitor across the mains is class X2",
                Origin::rule("mains.suppression_cap"),
            ));
        }
        lines
    }

    fn cord(&self) -> Vec<Line> {
        let mut lines = vec![
            self.ask(
                "cord",
                "Cord has three cores, sound over its whole length, plug and all",
                "mains.two_wire",
                if self.circuit.heading.two_wire_cord {
                    Traced::Wrong("The heading says `cord two-wire`.".to_owned())
                } else {
                    Traced::Unknown(String::new())
                },
            )
            .or_stop(),
            self.ask(
                "cord-colours",
                "Each core proved with a meter from plug pin to end",
                "mains.cord_colours",
                Traced::Unknown(format!(
                    "{}: {}. Never trust colour.",
                    self.region.words(),
                    self.region.colours()
                )),
            )
            .or_stop(),
            self.ask(
                "cord-clamp",
                "Cord held by a clamp; a firm pull moves nothing",
                "mains.strain_relief",
                Traced::Unknown(
                    "60 N for a second, many times; no knot takes the pull.".to_owned(),
                ),
            ),
            self.ask(
                "earth-to-chassis",
                "Protective earth goes straight to the chassis",
                "mains.earth_bond.construction",
                self.side.earth(),
            )
            .or_stop(),
            self.ask(
                "earth-own-bolt",
                "Earth on a bolt used for nothing else, bare metal, ring lug, locked, marked",
                "mains.earth_bond.construction",
                Traced::Unknown(
                    "Not under a transformer bolt, not soldered only; the earth lead is the longest."
                        .to_owned(),
                ),
            )
            .or_stop(),
        ];
        lines.push(
            self.ask(
                "transformer-isolates",
                "The mains transformer has separate windings",
                "live.habits",
                Traced::Unknown(
                    "Primary to every other winding reads open; a set without one STOPS here."
                        .to_owned(),
                ),
            )
            .or_stop(),
        );
        lines
    }

    fn measured(&self) -> Vec<Line> {
        let figure = |item: &str, what: &str, limit: Limit, rule: &str| {
            self.answers.figure(item, what, limit, Origin::rule(rule))
        };
        let rule = |id: &str, name: &str, safe: f64| rules().figure(id, name).unwrap_or(safe);
        let mut lines = vec![
            figure(
                "discharged",
                "Volts left on every high-tension capacitor, before hands go in",
                Limit::at_most(
                    rule("live.discharge", "work only below", 10.0).min(10.0),
                    "V",
                ),
                "live.discharge",
            )
            .or_stop(),
            self.earth_bond(),
        ];
        let class = if self.circuit.heading.two_wire_cord {
            "safe isolation, and class II"
        } else {
            "class I"
        };
        let least = rule("safety.insulation", class, 2.0).max(1.0);
        let look = rule("safety.insulation", "investigate below", 20.0) * 1e6;
        let mut insulation = figure(
            "insulation",
            "Insulation at 500 V DC, live and neutral joined, to the chassis",
            Limit::at_least(least * 1e6, "ohm"),
            "safety.insulation",
        )
        .or_stop()
        .expecting(Expected {
            value: None,
            low: rules()
                .figure("safety.insulation", "healthy old transformer, expect")
                .map(|m| m * 1e6),
            high: None,
            unit: "ohm".to_owned(),
        })
        .because("Switch on, fuse in, discharged, capacitors to the chassis out.");
        if insulation.reading().is_some_and(|r| r.value < look) {
            insulation = insulation.doubted(
                "It holds the limit, but a healthy old transformer reads 100 Mohm and more: look for the cause.",
            );
        }
        if insulation.reading().is_none()
            && let Some(line) = self.leaky_reading(least * 1e6)
        {
            insulation = line;
        }
        lines.push(insulation);
        let milli = |v: f64| v * 1e-3;
        lines.push(
            figure(
                "earth-current",
                "Current in the earth lead, in use, both ways round of the plug",
                Limit::at_most(
                    milli(rule("safety.protective_conductor_current", "class I", 3.5).min(3.5)),
                    "A",
                ),
                "safety.protective_conductor_current",
            )
            .or_stop()
            .expecting(Expected {
                value: None,
                low: None,
                high: rules()
                    .figure(
                        "safety.protective_conductor_current",
                        "valve amp with no filter, expect",
                    )
                    .map(milli),
                unit: "A".to_owned(),
            }),
        );
        lines.extend(touch::lines(self.answers, self.region.hertz()));
        if !self.side.mains_capacitors().is_empty() {
            lines.push(
                figure(
                    "plug-pins",
                    "Volts between the plug's pins 2 s after pulling it, switch open and closed",
                    Limit::at_most(rule("safety.plug_pins", "volts", 60.0).min(60.0), "V"),
                    "safety.plug_pins",
                )
                .or_stop(),
            );
        }
        lines
    }

    fn earth_bond(&self) -> Line {
        let (what, rule, most) = match self.region {
            Region::Eu => (
                "Plug's earth pin to every touchable metal part, cord flexed, cord to 5 m included",
                "safety.earth.vde",
                rules()
                    .figure("safety.earth.vde", "cord to 5 m, to 16 A")
                    .unwrap_or(0.3)
                    .min(0.3),
            ),
            Region::Uk => (
                "Earth to every touchable metal part, less the lead's own ohms",
                "safety.earth.uk",
                rules()
                    .figure("safety.earth.uk", "resistance")
                    .unwrap_or(0.1)
                    .min(0.1),
            ),
            Region::Us => (
                "Earth terminal to every touchable metal part, cord not included",
                "safety.earth.type_test",
                rules()
                    .figure("safety.earth.type_test", "resistance")
                    .unwrap_or(0.1)
                    .min(0.1),
            ),
        };
        self.answers
            .figure(
                "earth-bond",
                what,
                Limit::at_most(most, "ohm"),
                Origin::rule(rule),
            )
            .or_stop()
            .because("Four leads, 1 A or more.")
    }

    /// A meter's reading of mains to ground that is already too low.
    fn leaky_reading(&self, least: f64) -> Option<Line> {
        let worst = self
            .circuit
            .readings
            .iter()
            .filter(|b| b.conditions.power_off)
            .flat_map(|b| &b.readings)
            .filter(|r| r.unit == Unit::Ohms)
            .filter_map(|r| {
                let across = match r.probe {
                    Probe::Between(a, b) => {
                        self.side.is_mains(a) && b == wiring::GROUND
                            || self.side.is_mains(b) && a == wiring::GROUND
                    }
                    Probe::At(n) => self.side.is_mains(n),
                    _ => false,
                };
                match r.value {
                    Shown::Number(v) if across => Some((r.point.clone(), v)),
                    _ => None,
                }
            })
            .min_by(|a, b| a.1.total_cmp(&b.1))?;
        (worst.1 < least).then(|| {
            Line::read(
                "Insulation of the mains side to the chassis, by a plain meter",
                crate::sheet::Figure::new(worst.1, "ohm"),
                Limit::at_least(least, "ohm"),
                Origin::rule("safety.insulation"),
            )
            .at(worst.0)
            .or_stop()
            .because("Too low before the 500 V test: find the path first.")
        })
    }

    fn mains_volts(&self) -> f64 {
        let known = made_for(self.circuit).or(self.circuit.heading.mains.map(|m| m.volts));
        let today = self.circuit.heading.mains.map(|m| m.volts);
        crate::wall::wall(known.or(Some(self.region.volts())), today).highest
    }

    fn hertz(&self) -> f64 {
        let said = self.circuit.heading.mains.and_then(|m| m.hertz);
        said.filter(|h| *h > 0.0)
            .unwrap_or_else(|| self.region.hertz())
    }
}

#[cfg(test)]
mod tests;
