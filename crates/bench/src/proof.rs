//! Proof: the amplifier exercised before it goes home.
//!
//! Burn-in with its log, every control, jack and switch of the wiring, an oscillation sweep, a tap
//! test of every valve, and the last figures. Each line has room to write, and passes only by an
//! answer or a reading. Without a wiring the general lines are there all the same.

mod log;

pub use log::{LogError, LogRow, row};

use crate::answers::Answers;
use crate::powered::head;
use crate::rules::rules;
use crate::sheet::{Limit, Line, Origin, Sheet};
use wiring::circuit::{Circuit, History, Kind, Part};
use wiring::roles::{Anatomy, BlockKind, Role, anatomy};

/// The sheet. `rows` are typed log rows beside those of readings blocks named `burn-in`.
#[must_use]
pub fn proof(circuit: &Circuit, answers: &Answers, rows: &[LogRow]) -> Sheet {
    let anatomy = anatomy(circuit);
    let ask = Ask {
        circuit,
        anatomy: &anatomy,
        answers,
    };
    let mut sheet = Sheet::new("proof", "Proof before hand-over");
    head(&mut sheet, circuit);
    sheet.conditions.push(
        "into its loudspeaker or a load of the right ohms, chassis boxed as in use".to_owned(),
    );
    let mut log = log::of_blocks(circuit);
    log.extend_from_slice(rows);
    sheet.section("Burn-in", log::lines(&log, answers));
    sheet.section("Every control through its travel", ask.controls());
    sheet.section("Every switch", ask.switches());
    sheet.section("Every jack, with a plug", ask.jacks());
    sheet.section("Oscillation sweep", ask.sweep());
    sheet.section("Tap test, at playing level", ask.taps());
    sheet.section("Last figures", ask.figures());
    if log.is_empty() {
        sheet.missing(
            "a burn-in log",
            "Type a row now and then: `readings burn-in`, `minutes 60`, the high tension, `answer mains-current 0.41 A`, `answer case 38 C`; \
             or `--row \"60 0.41 312 38\"`.",
        );
    }
    if circuit.parts.is_empty() {
        sheet.missing(
            "controls, jacks, switches and valves by name",
            "Type the wiring, or only its controls and valves: `VOLUME pot 1M audio`, `J1 jack`, `V1 12AX7`.",
        );
    }
    sheet
}

struct Ask<'a> {
    circuit: &'a Circuit,
    anatomy: &'a Anatomy,
    answers: &'a Answers,
}

impl Ask<'_> {
    /// Parts of a sort, each shaft or body once, that are still in the amplifier.
    fn once(&self, is: impl Fn(&Kind) -> bool) -> Vec<(String, usize)> {
        let mut all: Vec<(String, usize)> = Vec::new();
        for (index, part) in self.circuit.parts.iter().enumerate() {
            if !is(&part.kind) || part.known.history == Some(History::Removed) {
                continue;
            }
            let name = part.parent.clone().unwrap_or_else(|| part.name.clone());
            if !all.iter().any(|(n, _)| *n == name) {
                all.push((name, index));
            }
        }
        all
    }

    fn role(&self, index: usize) -> Option<Role> {
        self.anatomy.roles.get(index)?.first().map(|r| r.role)
    }

    fn part(&self, index: usize) -> Option<&Part> {
        self.circuit.parts.get(index)
    }

    fn line(&self, item: &str, what: String, why: &str) -> Line {
        self.answers
            .line(item, what, Origin::practice())
            .because(why)
    }

    /// What is written on a part, in words.
    fn remark(&self, index: usize) -> String {
        let notes = self.part(index).map(|p| p.known.notes.join("; "));
        match notes {
            Some(n) if !n.is_empty() => format!(" ({n})"),
            _ => String::new(),
        }
    }

    fn controls(&self) -> Vec<Line> {
        self.once(|k| matches!(k, Kind::Pot { .. }))
            .into_iter()
            .map(|(name, index)| {
                let role = self.role(index);
                let what = role.map_or("control", Role::words);
                let why = match role {
                    Some(Role::BiasControl) => {
                        "Inside: not turned here; it stands where the bias sheet left it, and is locked."
                    }
                    Some(Role::HumBalance) => "Through its least hum, and left there.",
                    Some(Role::SpeedControl | Role::DepthControl) => {
                        "Starts at every setting, rate or depth as marked, no thump."
                    }
                    _ => "Smooth from end to end, no crackle, no direct volts on it, does what it says.",
                };
                self.line(&name, format!("{what}{}", self.remark(index)), why)
            })
            .collect()
    }

    fn switches(&self) -> Vec<Line> {
        self.once(|k| matches!(k, Kind::Switch { .. }))
            .into_iter()
            .map(|(name, index)| {
                let role = self.role(index);
                let what = role.map_or("switch", Role::words);
                let why = match role {
                    Some(Role::MainsSwitch) => {
                        "Ten times, with a minute between; the fuse holds, the lamp follows."
                    }
                    Some(Role::StandbySwitch) => {
                        "Ten times, no arc, no thump that moves the cone to its end."
                    }
                    _ => "Ten times, each position does what it says, no pop to speak of.",
                };
                self.line(&name, format!("{what}{}", self.remark(index)), why)
            })
            .collect()
    }

    fn jacks(&self) -> Vec<Line> {
        self.once(|k| matches!(k, Kind::Jack { .. }))
            .into_iter()
            .map(|(name, index)| {
                let part = self.part(index);
                let breaks = part.is_some_and(|p| {
                    p.terminals.iter().any(|t| t.name == "break" && t.node.is_some())
                });
                let why = if breaks {
                    "Plug turned and pulled: no crackle; without a plug its contact is closed again."
                } else {
                    "Plug turned and pulled: no crackle, firm."
                };
                self.line(&name, format!("jack{}", self.remark(index)), why)
            })
            .collect()
    }

    fn sweep(&self) -> Vec<Line> {
        let mut lines = vec![self.line(
            "sweep-all-up",
            "All controls up, inputs empty: no howl, no fuzz on a note, scope on the load clean".to_owned(),
            "Look to 1 MHz; then each control alone from end to end.",
        )];
        let knobs: Vec<String> = self
            .once(|k| matches!(k, Kind::Pot { .. }))
            .into_iter()
            .filter(|(_, i)| {
                !matches!(
                    self.role(*i),
                    Some(
                        Role::BiasControl
                            | Role::HumBalance
                            | Role::SpeedControl
                            | Role::DepthControl
                    )
                )
            })
            .map(|(n, _)| n)
            .collect();
        if !knobs.is_empty() {
            lines.push(self.line(
                "sweep-each",
                format!(
                    "Each of {} from end to end, the others up, then down",
                    knobs.join(", ")
                ),
                "With a cable plugged in, and with its far end open.",
            ));
        }
        let has = |kind: BlockKind| self.anatomy.blocks.iter().any(|b| b.kind == kind);
        if has(BlockKind::Feedback) {
            lines.push(self.line(
                "sweep-feedback",
                "With the loudspeaker, with the load, and with 1 nF across the load".to_owned(),
                "Feedback from the secondary: that is where it sings first. Never with no load.",
            ));
        }
        if has(BlockKind::ReverbTank) {
            lines.push(self.line(
                "sweep-reverb",
                "Reverb up with the box closed: no howl through the springs".to_owned(),
                "",
            ));
        }
        lines.push(self.line(
            "sweep-supply",
            "Volume up, bass up, no input: no motor-boating within a minute".to_owned(),
            "",
        ));
        lines
    }

    fn taps(&self) -> Vec<Line> {
        let mut lines: Vec<Line> = self
            .once(|k| matches!(k, Kind::Valve(_)))
            .into_iter()
            .map(|(name, index)| {
                let kind = match self.part(index).map(|p| &p.kind) {
                    Some(Kind::Valve(v)) => format!("{} in its socket", v.type_in_socket()),
                    _ => "valve".to_owned(),
                };
                self.line(
                    &format!("tap-{name}"),
                    kind,
                    "Tapped with a wooden stick and rocked: no ring, no crackle, no change of hum.",
                )
            })
            .collect();
        if lines.is_empty() {
            lines.push(self.line(
                "tap-valves",
                "Each valve, tapped with a wooden stick and rocked".to_owned(),
                "No ring, no crackle, no change of hum.",
            ));
        }
        lines.push(self.line(
            "tap-chassis",
            "Chassis, board, transformers and cabinet by hand, volume up".to_owned(),
            "No crackle, no rattle on any note of a slow sweep.",
        ));
        lines
    }

    fn figures(&self) -> Vec<Line> {
        let practice = |what: &str, item: &str, limit: Limit, rule: &str| {
            self.answers.figure(item, what, limit, Origin::rule(rule))
        };
        let good = rules()
            .figure("noise.idle", "all down, 8 ohm")
            .unwrap_or(5.0);
        let mut lines = vec![
            practice(
                "Hum and noise across 8 ohm, controls at minimum, rms",
                "noise",
                Limit::at_most(good * 1e-3, "V ac"),
                "noise.idle",
            ),
            practice(
                "Steady volts across the loudspeaker",
                "speaker-volts",
                Limit::between(-0.05, 0.05, "V"),
                "noise.idle",
            )
            .because("There are none behind an output transformer (common practice, no source)."),
        ];
        if let Some(watts) = self.output_watts() {
            let share = rules()
                .figure("output.power", "share of expected")
                .unwrap_or(80.0)
                / 100.0;
            lines.push(
                practice(
                    "Sine power where clipping begins to show, 1 kHz, rated load",
                    "output-power",
                    Limit::at_least(share * watts, "W"),
                    "output.power",
                )
                .because(format!("The output transformer is written as {watts} W.")),
            );
        } else {
            lines.push(
                Line::open(
                    "Sine power where clipping begins to show, 1 kHz, rated load",
                    Origin::rule("output.power"),
                )
                .at("output-power"),
            );
        }
        lines.push(self.answers.line(
            "bias-hot",
            "Bias read again hot, and at the highest mains: inside its window",
            Origin::rule("bias.recheck"),
        ));
        lines.push(self.line(
            "as-left",
            "The as-left chart is written, at stated mains".to_owned(),
            "Same points and meter as the as-found chart.",
        ));
        lines.push(
            self.line(
                "play-test",
                "Played with a guitar: every channel, touch, decay of single notes, clean and loud"
                    .to_owned(),
                "A false lower tone under a note is supply ripple.",
            ),
        );
        lines
    }

    fn output_watts(&self) -> Option<f64> {
        self.circuit.parts.iter().find_map(|p| match &p.kind {
            Kind::OutputTransformer(t) if p.known.history != Some(History::Removed) => {
                t.watts.filter(|w| *w > 0.0)
            }
            _ => None,
        })
    }
}

#[cfg(test)]
mod tests;
