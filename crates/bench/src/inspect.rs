//! Inspection before power: what eyes, nose and fingers find with the plug out.
//!
//! The list comes from the wiring: each electrolytic can, each part that runs hot, each valve in its
//! socket, each transformer by name; the mains side is asked once, in the words of the safety sheet, so that
//! one answer serves both. Without a wiring the general lines are there all the same. A line passes only by
//! an answer, `answer C7 yes` in a readings block: yes is always the good answer.

#[cfg(test)]
mod tests;

use crate::answers::Answers;
use crate::charge::is_electrolytic;
use crate::powered::head;
use crate::rules::rules;
use crate::safety::{Region, before_power};
use crate::sheet::{Limit, Line, Origin, Outcome, Sheet};
use wiring::circuit::{Circuit, History, Kind, Make, Part};
use wiring::roles::{Anatomy, Role, anatomy};
use wiring::sheet::Library;

/// The sheet. `region` decides about cord colours and the two-pole switch; none: by the mains volts.
///
/// Total: any circuit gives a sheet.
#[must_use]
pub fn inspect(
    circuit: &Circuit,
    library: &Library,
    region: Option<Region>,
    answers: &Answers,
) -> Sheet {
    let anatomy = anatomy(circuit);
    let look = Look {
        circuit,
        anatomy: &anatomy,
        answers,
    };
    let mut sheet = Sheet::new("inspect", "Inspection before power");
    head(&mut sheet, circuit);
    sheet
        .conditions
        .push("plug out, discharged and measured; yes is the good answer".to_owned());
    sheet.section("Before hands go in", vec![look.discharged()]);
    for (title, lines) in before_power(circuit, library, region, answers) {
        sheet.section(title, lines);
    }
    sheet.section("Electrolytics", look.electrolytics());
    sheet.section("Other capacitors", look.capacitors());
    sheet.section("Resistors", look.resistors());
    sheet.section("Valves and sockets", look.valves(library));
    sheet.section(
        "Transformers, loudspeaker, controls",
        look.wound_and_moved(),
    );
    sheet.section("Wiring and metalwork", look.wires());
    let go = go(&sheet);
    sheet.section("Go or no-go", vec![go]);
    if circuit.parts.is_empty() {
        sheet.missing(
            "parts by name",
            "Type what is seen from outside: `V1 12AX7`, `T1 power 230 V: hv 275-0-275 V 70 mA, heater 6.3 V 2.5 A`.",
        );
    }
    sheet.note(
        "Photograph before anything is moved: outside, back, chassis from above, the wiring in overlapping close views.",
    );
    sheet
}

/// On to the ohms only when nothing is bad and nothing is left to look at.
fn go(sheet: &Sheet) -> Line {
    let what = "on to the cold check?";
    let named = |wanted: &[Outcome]| -> Vec<String> {
        sheet
            .lines()
            .filter(|l| wanted.contains(&l.outcome()))
            .map(|l| l.point().unwrap_or_else(|| l.what()).to_owned())
            .collect()
    };
    let bad = named(&[Outcome::Stop, Outcome::Fail]);
    let left = named(&[Outcome::Open]);
    if !bad.is_empty() {
        return Line::stop(what, Origin::practice()).because(format!(
            "NO-GO for power until it is put right: {}. Ohms may be read all the same.",
            bad.join(", ")
        ));
    }
    if left.is_empty() {
        return Line::answered(
            what,
            "go: every line was looked at",
            true,
            Origin::practice(),
        );
    }
    Line::open(what, Origin::practice()).because(format!("{} still to look at.", left.len()))
}

struct Look<'a> {
    circuit: &'a Circuit,
    anatomy: &'a Anatomy,
    answers: &'a Answers,
}

impl Look<'_> {
    fn ask(&self, item: &str, what: &str, why: &str) -> Line {
        self.answers
            .line(item, what, Origin::practice())
            .because(why)
    }

    fn discharged(&self) -> Line {
        let most = rules()
            .figure("live.discharge", "work only below")
            .unwrap_or(10.0)
            .min(10.0);
        self.answers
            .figure(
                "discharged",
                "Volts left on every high-tension capacitor",
                Limit::at_most(most, "V"),
                Origin::rule("live.discharge"),
            )
            .or_stop()
    }

    /// Parts that are still in the amplifier, several sections of one body once.
    fn bodies(&self, wanted: impl Fn(usize, &Part) -> bool) -> Vec<(String, usize)> {
        let mut all: Vec<(String, usize)> = Vec::new();
        for (index, part) in self.circuit.parts.iter().enumerate() {
            if part.known.history == Some(History::Removed) || !wanted(index, part) {
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

    fn role_words(&self, index: usize, otherwise: &str) -> String {
        self.role(index)
            .map_or_else(|| otherwise.to_owned(), |r| r.words().to_owned())
    }

    fn electrolytics(&self) -> Vec<Line> {
        let all = self.bodies(|_, part| is_electrolytic(part));
        if all.is_empty() {
            return vec![self.ask(
                "electrolytics",
                "every electrolytic can flat, dry, its vent shut",
                BULGED,
            )];
        }
        all.into_iter()
            .map(|(name, index)| {
                let role = self.role_words(index, "electrolytic");
                self.ask(&name, &format!("{role}: flat, dry, vent shut"), BULGED)
            })
            .collect()
    }

    fn capacitors(&self) -> Vec<Line> {
        let paper = self.bodies(|_, part| {
            matches!(part.kind, Kind::Capacitor { .. }) && part.known.make == Some(Make::Paper)
        });
        let mut lines: Vec<Line> = paper
            .into_iter()
            .map(|(name, index)| {
                let role = self.role_words(index, "paper capacitor");
                self.ask(
                    &name,
                    &format!("{role}, paper: ends whole, no wax run out"),
                    "Leakage shows only at working volts: whole is not yet good.",
                )
            })
            .collect();
        lines.push(self.ask(
            "capacitors",
            "all others: none cracked, none scorched",
            "A chip off a ceramic, a split film body, a brown ring round a lead.",
        ));
        lines
    }

    /// Resistors that run warm, by what they do; the rest together.
    fn resistors(&self) -> Vec<Line> {
        let hot = |role: Option<Role>| {
            matches!(
                role,
                Some(
                    Role::PlateLoad | Role::ScreenResistor | Role::CathodeResistor | Role::Dropping
                )
            )
        };
        let parts = self.bodies(|index, part| {
            matches!(part.kind, Kind::Resistor { .. }) && hot(self.role(index))
        });
        let mut groups: Vec<(Role, Vec<String>)> = Vec::new();
        for (name, index) in parts {
            let Some(role) = self.role(index) else {
                continue;
            };
            match groups.iter_mut().find(|(r, _)| *r == role) {
                Some((_, names)) => names.push(name),
                None => groups.push((role, vec![name])),
            }
        }
        let mut lines: Vec<Line> = groups
            .into_iter()
            .map(|(role, names)| {
                let item = format!("{}s", role.words().replace(' ', "-"));
                self.ask(
                    &item,
                    &format!("{}s: not browned, not cracked", role.words()),
                    &format!(
                        "{}. A browned one has carried too much: find what drew it.",
                        names.join(", ")
                    ),
                )
            })
            .collect();
        lines.push(self.ask(
            "resistors",
            "all others: none browned, none cracked, bands readable",
            "",
        ));
        lines
    }

    fn valves(&self, library: &Library) -> Vec<Line> {
        let mut lines = Vec::new();
        for part in &self.circuit.parts {
            let Kind::Valve(valve) = &part.kind else {
                continue;
            };
            if part.known.history == Some(History::Removed)
                || lines
                    .iter()
                    .any(|l: &Line| l.point() == Some(part.name.as_str()))
            {
                continue;
            }
            let meant = &valve.meant;
            let found = valve.type_in_socket();
            let what = format!("{meant} in its socket, glass whole, getter not white");
            let mut why =
                "Print read; pins straight and bright; the socket grips, is not burnt between pins."
                    .to_owned();
            if found != meant {
                why = format!("{found} was found where {meant} is meant. {why}");
            }
            if library.find(found).is_none() {
                why = format!("No data sheet of {found} is here. {why}");
            }
            lines.push(self.ask(&part.name, &what, &why));
        }
        if lines.is_empty() {
            lines.push(self.ask(
                "valves",
                "every valve the type printed beside its socket, glass whole, getter not white",
                "Pins straight and bright; sockets grip and are not burnt between pins.",
            ));
        }
        lines
    }

    fn wound_and_moved(&self) -> Vec<Line> {
        let wound = self.bodies(|_, part| {
            matches!(
                part.kind,
                Kind::PowerTransformer(_)
                    | Kind::OutputTransformer(_)
                    | Kind::CouplingTransformer(_)
                    | Kind::Choke { .. }
            )
        });
        let mut lines: Vec<Line> = wound
            .into_iter()
            .map(|(name, index)| {
                let role = self.role_words(index, "transformer");
                self.ask(
                    &name,
                    &format!("{role}: no tar, no burnt smell, leads whole"),
                    "Bolts tight; paper between the layers not brown.",
                )
            })
            .collect();
        if lines.is_empty() {
            lines.push(self.ask(
                "transformers",
                "transformers and choke: no tar, no burnt smell, leads whole",
                "",
            ));
        }
        lines.push(self.ask(
            "loudspeaker",
            "loudspeaker: cone and surround whole, does not rub",
            "Moved gently by hand; its leads and terminals firm.",
        ));
        lines.push(self.ask(
            "controls",
            "controls, switches and jacks turn and hold",
            "Nothing is sprayed before what is there has been read.",
        ));
        lines
    }

    fn wires(&self) -> Vec<Line> {
        vec![
            self.ask(
                "joints",
                "joints whole: none cold, none cracked round a lug",
                "",
            ),
            self.ask(
                "leads",
                "no lead cut, loose, or with its cover gone",
                "Note where a cut lead ends: somebody meant something by it.",
            ),
            self.ask(
                "foreign-parts",
                "nothing in it that was not made so, or it is noted",
                "Each is photographed and traced before it is judged.",
            ),
            self.ask(
                "bolts",
                "bolts of transformers, sockets and earth tight",
                "",
            ),
        ]
    }
}

const BULGED: &str =
    "One that is bulged, wet or open at its vent is not powered. Dry and flat is not yet good.";
