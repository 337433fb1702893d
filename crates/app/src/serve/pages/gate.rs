//! What forbids that an amp goes home, and what wants a reason first.
//!
//! A line of the safety sheet whose rule is a stop has to be tested and inside its limit. No reason
//! replaces that: the amp then leaves only on the owner's signature, as not electrically safe.

use crate::serve::ask::Fields;
use crate::serve::fail::Fail;
use crate::serve::part_words::is_place;
use crate::serve::run::Step;
use crate::serve::sheets::{self, SetUp};
use crate::serve::site::Site;
use crate::serve::work_out::{self, Found};
use bench::rules::{Gravity, rules};
use bench::sheet::{Line, Outcome, Sheet};
use shop::{EstimateSort, JobId, Reader, ReadingState, ShopError, WorkState};
use wiring::circuit::Circuit;

/// The words for an amp that leaves with a stop rule failed, untested or refused.
pub(crate) const NOT_SAFE: &str = "Not electrically safe";

/// Something between the amp and the door.
pub(crate) struct Bar {
    /// In words: what, and that it failed or was not tested.
    pub(crate) what: String,
    /// The page on which it is settled.
    pub(crate) address: String,
}

/// Everything between the amp and the door.
#[derive(Default)]
pub(crate) struct Gate {
    /// Stop rules.
    pub(crate) stops: Vec<Bar>,
    /// One of them was tested and is not in order, or the owner declined it; else they are only untested.
    failed: bool,
    /// What a typed reason lets pass.
    pub(crate) rest: Vec<Bar>,
}

/// The gate of a job as its record stands.
pub(crate) fn gate(site: &Site, r: &Reader<'_>, id: JobId) -> Result<Gate, ShopError> {
    let mut gate = Gate::default();
    let found = work_out::found(site, r, id, ReadingState::AsFound)?;
    let left = work_out::found(site, r, id, ReadingState::AsLeft)?;
    let of = |step: Step| match sheets::state_of(step) {
        ReadingState::AsFound => sheets::of(step, site, &found),
        ReadingState::AsLeft => sheets::of(step, site, &left),
    };
    let safety = Step::Safety.address(id);
    for sheet in of(Step::Safety).iter() {
        for line in sheet.lines() {
            let Some(state) = state(line.outcome()) else {
                continue;
            };
            let bar = Bar {
                what: format!("{}: {state}", line.what()),
                address: safety.clone(),
            };
            if is_stop(line) {
                gate.stop(line, &safety);
            } else {
                gate.rest.push(bar);
            }
        }
    }
    if of(Step::Safety).is_empty() {
        gate.stops.push(Bar {
            what: "Earth and insulation: not tested".to_owned(),
            address: safety,
        });
    }
    // the inspection says how it came in: what the safety sheet asks of the amp as it leaves is judged there
    let proved: Vec<String> = of(Step::Safety)
        .iter()
        .flat_map(Sheet::lines)
        .filter_map(|l| l.origin().rule.clone())
        .collect();
    let asked_again = |step: Step, line: &Line| {
        let rule = line.origin().rule.as_ref();
        step == Step::Inspection && rule.is_some_and(|rule| proved.contains(rule))
    };
    // a stop rule of another sheet about the amp itself: tested, and in order
    for step in [Step::Inspection, Step::Cold, Step::PowerUp, Step::PlayTest] {
        for sheet in of(step).iter() {
            for line in sheet
                .lines()
                .filter(|l| is_stop(l) && is_of_the_amp(l) && !asked_again(step, l))
            {
                gate.stop(line, &step.address(id));
            }
        }
    }
    if left.readings.is_empty() {
        gate.rest.push(Bar {
            what: "Chart as left: not read".to_owned(),
            address: format!("/job/{id}/chart?state=as%20left"),
        });
    }
    gate.bias(site, &left, &format!("/job/{id}/set-up"));
    for item in r.estimate(id)? {
        if item.fields.sort != EstimateSort::Safety {
            continue;
        }
        let bar = |said: &str| Bar {
            what: format!("{}: {said}", item.fields.what),
            address: format!("/job/{id}/estimate#item-{}", item.id),
        };
        if item.is_refused() {
            gate.failed = true;
            gate.stops.push(bar("declined by the owner"));
        } else if item.said.is_none() {
            gate.rest.push(bar("safety, not answered by the owner"));
        }
    }
    for item in r.work(id)? {
        if item.fields.state == WorkState::Open {
            gate.rest.push(Bar {
                what: format!("Work: {}, neither done nor declined", item.fields.title),
                address: format!("/job/{id}/work?at={}", item.id),
            });
        }
    }
    Ok(gate)
}

/// A stop: by how it came out, or by the rule that it follows.
fn is_stop(line: &Line) -> bool {
    line.outcome() == Outcome::Stop
        || line
            .origin()
            .rule
            .as_deref()
            .and_then(|id| rules().rule(id))
            .is_some_and(|rule| rule.severity == Gravity::Stop)
}

/// Rules about how hands work on a live amp say nothing of the amp that leaves.
fn is_of_the_amp(line: &Line) -> bool {
    line.origin()
        .rule
        .as_deref()
        .is_none_or(|id| !id.starts_with("live.") && !id.starts_with("power."))
}

/// Why the bias as left, which was read, says nothing of the mains on which the amp lives; none where it does.
fn elsewhere(circuit: &Circuit) -> Option<String> {
    // in no way fed from the mains: there is no such bias
    let of_use = bench::wall::of_use(circuit)?;
    let window = format!("{:.0} to {:.0} V", of_use.from, of_use.to);
    match bench::read_at(circuit) {
        Some(volts) if of_use.holds(volts) => None,
        Some(volts) => Some(format!(
            "read at {volts:.0} V. Read it again at {window}, or write the mains of use into the wiring as left"
        )),
        None => Some(format!(
            "the mains were not written with the readings. Read it at {window}, and say the mains under the conditions"
        )),
    }
}

/// What stands against a line; nothing where it passed or only tells.
fn state(outcome: Outcome) -> Option<&'static str> {
    match outcome {
        Outcome::Told | Outcome::Pass => None,
        Outcome::Open => Some("not tested"),
        Outcome::Fail | Outcome::Stop => Some("not in order"),
    }
}

impl Gate {
    /// A line of a stop rule, where something stands against it.
    fn stop(&mut self, line: &Line, address: &str) {
        let Some(state) = state(line.outcome()) else {
            return;
        };
        self.failed |= matches!(line.outcome(), Outcome::Fail | Outcome::Stop);
        let place = line.point().filter(|p| is_place(p));
        let at = place.map_or_else(String::new, |p| format!("{p}, "));
        self.stops.push(Bar {
            what: format!("{at}{}: {state}", line.what()),
            address: address.to_owned(),
        });
    }

    /// The idle of the output valves as left: something read, and nothing that was read outside.
    fn bias(&mut self, site: &Site, left: &Found, address: &str) {
        let mut read = false;
        // without readings as left nothing of the bias is read, and nothing is worked out for it
        if !left.readings.is_empty() {
            for sheet in sheets::set_up(SetUp::Bias, site, left).iter() {
                for line in sheet.lines().filter(|l| l.reading().is_some()) {
                    read = true;
                    if is_stop(line) {
                        self.stop(line, address);
                    } else if let Some(state) = state(line.outcome()) {
                        self.rest.push(Bar {
                            what: format!("Bias, {}: {state}", line.what()),
                            address: address.to_owned(),
                        });
                    }
                }
            }
        }
        if !read {
            self.rest.push(Bar {
                what: "Bias at the mains of use, as left: not read".to_owned(),
                address: address.to_owned(),
            });
        } else if let Some(why) = elsewhere(&left.traced.circuit) {
            self.rest.push(Bar {
                what: format!("Bias at the mains of use, as left: {why}"),
                address: address.to_owned(),
            });
        }
    }

    /// What the stop rules say of the amp, never more than was tested.
    pub(crate) fn heading(&self) -> &'static str {
        if self.failed {
            NOT_SAFE
        } else {
            "Electrical safety not tested"
        }
    }

    /// What is written into the record when the job is closed with what was typed.
    ///
    /// # Errors
    /// Where a signature or a reason is wanted and was not typed.
    pub(crate) fn pass(&self, fields: &Fields) -> Result<Vec<String>, Fail> {
        let (signed, reason) = (fields.line("signed"), fields.line("reason"));
        let mut notes = Vec::new();
        if !self.stops.is_empty() {
            if signed.is_empty() {
                return Err(Fail::typed(
                    format!("This amp is not to go home: {}.", words(&self.stops)),
                    "Test it and put it right. If the owner refuses, the amp leaves only on the owner's signature: type the name as signed.",
                ));
            }
            notes.push(format!(
                "{NOT_SAFE}. Left on the owner's signature: {signed}. {}.",
                words(&self.stops)
            ));
        }
        if !self.rest.is_empty() {
            if reason.is_empty() {
                return Err(Fail::typed(
                    format!("This is still open: {}.", words(&self.rest)),
                    "Finish it, or type the reason why the amp goes home all the same. The reason stands in the record.",
                ));
            }
            notes.push(format!(
                "Closed with things open, because: {reason}. {}.",
                words(&self.rest)
            ));
        }
        Ok(notes)
    }
}

fn words(bars: &[Bar]) -> String {
    let all: Vec<&str> = bars.iter().map(|b| b.what.as_str()).collect();
    all.join("; ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use bench::sheet::{Figure, Limit, Origin};

    fn typed(pairs: &[(&str, &str)]) -> Fields {
        Fields::of(
            pairs
                .iter()
                .map(|(n, v)| ((*n).to_owned(), (*v).to_owned()))
                .collect(),
        )
    }

    fn bar(what: &str) -> Bar {
        Bar {
            what: what.to_owned(),
            address: String::new(),
        }
    }

    #[test]
    fn no_reason_opens_the_gate_against_a_stop() {
        let gate = Gate {
            stops: vec![bar("Earth: not tested")],
            rest: vec![bar("Work: cord")],
            failed: false,
        };
        assert_eq!(gate.heading(), "Electrical safety not tested");
        for bad in [
            &[][..],
            &[("reason", "in a hurry")],
            &[("signed", "Odo Kestle")],
            &[("signed", "  "), ("reason", "in a hurry")],
        ] {
            assert!(gate.pass(&typed(bad)).is_err(), "{bad:?}");
        }
        let notes = gate
            .pass(&typed(&[("signed", "Odo Kestle"), ("reason", "moves")]))
            .unwrap();
        assert!(notes[0].starts_with("Not electrically safe. Left on the owner's signature: Odo"));
        assert!(notes[0].contains("Earth: not tested"));
        assert!(notes[1].contains("because: moves. Work: cord"));
        assert!(Gate::default().pass(&typed(&[])).unwrap().is_empty());
    }

    #[test]
    fn what_failed_and_what_was_not_tested_both_bar() {
        let limit = Limit::at_most(0.3, "ohm");
        let bad = Line::read("Earth", Figure::new(2.0, "ohm"), limit, Origin::practice());
        let open = Line::open("Earth", Origin::rule("safety.earth.vde"));
        for (line, heading) in [(&bad, NOT_SAFE), (&open, "Electrical safety not tested")] {
            let mut gate = Gate::default();
            gate.stop(line, "/");
            assert_eq!((gate.stops.len(), gate.heading()), (1, heading));
        }
    }

    #[test]
    fn earth_and_insulation_are_stops_also_when_nobody_tested_them() {
        for rule in ["safety.earth.vde", "safety.insulation"] {
            assert!(is_stop(&Line::open("x", Origin::rule(rule))), "{rule}");
        }
        assert!(!is_stop(&Line::open("x", Origin::practice())));
        for (rule, of_it) in [("live.discharge", false), ("cold.least_ohms", true)] {
            let line = Line::open("x", Origin::rule(rule));
            assert!(is_stop(&line));
            assert_eq!(is_of_the_amp(&line), of_it, "{rule}");
        }
        let limit = Limit::at_most(0.3, "ohm");
        let good = Line::read("x", Figure::new(0.1, "ohm"), limit, Origin::practice());
        assert_eq!(state(good.outcome()), None);
        assert_eq!(state(Outcome::Open), Some("not tested"));
    }

    /// Guards a life: 253 V in place of 231 take an output valve a quarter above what it was set to.
    #[test]
    fn a_bias_read_on_other_mains_is_open_with_a_remedy() {
        let said = |heading: &str, block: &str| {
            let text = format!(
                "{heading}T1 power 230 V: hv 275-0-275 V 70 mA\nT1.hv1 - R1 1k - B1\n\
                 readings  as left\n{block}B1  300\n"
            );
            elsewhere(&wiring::read_one(&text).circuit)
        };
        assert_eq!(said("mains 231 V 50 Hz\n", "mains 233 V\n"), None);
        assert_eq!(said("", "mains 228 V\n"), None);
        for (heading, block, words) in [
            (
                "mains 231 V 50 Hz\n",
                "mains 212 V\n",
                "read at 212 V. Read it again at 226 to 236 V",
            ),
            ("mains 231 V 50 Hz\n", "mains 253 V\n", "read at 253 V"),
            (
                "mains 231 V 50 Hz\n",
                "",
                "say the mains under the conditions",
            ),
            // turned down while it was traced: no wall gives that
            ("mains 90 V 50 Hz\n", "mains 90 V\n", "at 225 to 235 V"),
        ] {
            let why = said(heading, block).unwrap();
            assert!(why.contains(words), "{why}");
        }
    }
}
