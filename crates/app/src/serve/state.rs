//! A job as its pages show it: how far each step is, whether it is live, under which conditions
//! readings are taken, and what hands do next.

use super::record::Tally;
use super::run::{Step, StepState, states};
use super::site::Site;
use super::work_out::{self, Found};
use bench::rules::rules;
use shop::{Block, EntryId, Job, JobId, Power, Reader, ReadingState, ShopError};
use wiring::circuit::{Kind, Position};
use wiring::readings::{Conditions, ValvesIn};
use wiring::roles::Role;
use wiring::units::{Quantity, rounded};
use wiring::{Circuit, GROUND};

/// Work only below this, where the rule cannot be read; the rule itself says the same.
const SAFE_VOLTS: f64 = 10.0;

/// A job with all that its frame needs.
pub(crate) struct JobView {
    /// The job.
    pub(crate) job: Job,
    /// What it holds, counted.
    pub(crate) tally: Tally,
    /// How far each step is.
    pub(crate) states: [StepState; 12],
    /// Live, charged or off.
    pub(crate) power: Power,
    /// Volts at a point that is live, as last read: point, volts.
    pub(crate) live_at: Option<(String, String)>,
    /// The last journal entry that this page has seen.
    pub(crate) seen: EntryId,
}

/// Volts below which hands may go in.
pub(crate) fn safe_volts() -> f64 {
    rules()
        .figure("live.discharge", "work only below")
        .map_or(SAFE_VOLTS, |v| v.min(SAFE_VOLTS))
}

/// A job for its pages.
pub(crate) fn view(site: &Site, r: &Reader<'_>, id: JobId) -> Result<JobView, ShopError> {
    let job = r.job(id)?;
    let tally = Tally::of(r, id)?;
    let marks = r.steps(id)?;
    let states = states(&job, &marks, |s| tally.begun(s));
    let found = work_out::found(site, r, id, ReadingState::AsFound)?;
    let points = stores_charge(&found.traced.circuit);
    // a tracing that was said to be done names every point; half a one does not
    let traced = marks
        .get(Step::Tracing.slug())
        .is_some_and(|m| m.state == shop::StepState::Done);
    let power = r.power(id, &points, traced, safe_volts())?;
    let live_at = match power {
        Power::Live { since } => live_volts(r, id, since)?,
        _ => None,
    };
    Ok(JobView {
        job,
        tally,
        states,
        power,
        live_at,
        seen: r.last_entry()?,
    })
}

/// The highest direct volts read since the plug went in.
fn live_volts(
    r: &Reader<'_>,
    job: JobId,
    since: shop::At,
) -> Result<Option<(String, String)>, ShopError> {
    let mut best: Option<(f64, String, String)> = None;
    // what was read with the power off is ohms
    let off: Vec<shop::BlockId> = r
        .blocks(job)?
        .into_iter()
        .filter(|b| parsed(&Circuit::default(), &b.conditions).power_off)
        .map(|b| b.id)
        .collect();
    for reading in r.readings(job)? {
        let ohms = off.contains(&reading.block);
        if ohms || reading.at < since || !reading.fields.unit.is_empty() {
            continue;
        }
        if let Ok(volts) = reading.fields.shown.parse::<f64>()
            && volts.is_finite()
            && best.as_ref().is_none_or(|b| volts.abs() > b.0)
        {
            best = Some((volts.abs(), reading.fields.point, reading.fields.shown));
        }
    }
    Ok(best.map(|(_, point, shown)| (point, shown)))
}

/// Points that store charge: wherever an electrolytic, or any capacitor of a microfarad or more,
/// has an end that is not ground. Bypasses of a cathode, which never see more than its few volts,
/// are left out only where the role is plain and the marking is at most 63 V.
pub(crate) fn stores_charge(circuit: &Circuit) -> Vec<String> {
    let anatomy = wiring::roles::anatomy(circuit);
    let mut points: Vec<String> = Vec::new();
    for (index, part) in circuit.parts.iter().enumerate() {
        let Kind::Capacitor { farads, plus_first } = &part.kind else {
            continue;
        };
        let large = plus_first.is_some() || farads.is_none_or(|f| f >= 1e-6);
        let bypass = anatomy
            .roles
            .get(index)
            .is_some_and(|roles| roles.iter().any(|r| r.role == Role::CathodeBypass));
        if !large || (bypass && part.known.volts.is_some_and(|v| v <= 63.0)) {
            continue;
        }
        for terminal in &part.terminals {
            let Some(node) = terminal.node.filter(|n| *n != GROUND) else {
                continue;
            };
            let name = circuit
                .nodes
                .get(node.0)
                .and_then(|n| n.names.first().cloned())
                .unwrap_or_else(|| format!("{}.{}", part.name, terminal.name));
            if !points.contains(&name) {
                points.push(name);
            }
        }
    }
    points.sort_by_key(|p| bench::chart::points::natural(p));
    points
}

/// Conditions in the words of the strip.
#[derive(Debug, Clone, Default)]
pub(crate) struct ConditionsShown {
    /// The block that is open; none before the first reading.
    pub(crate) block: Option<Block>,
    /// As understood.
    pub(crate) raw: Conditions,
    /// `231 V`.
    pub(crate) mains: String,
    /// `all in`, `without V2`, `only V3`.
    pub(crate) valves: String,
    /// `VOLUME 0`.
    pub(crate) knobs: String,
    /// `10M 0.5 %`.
    pub(crate) meter: String,
    /// `60 W`.
    pub(crate) limiter: String,
    /// Valves out or a lamp in series: everything expected is another.
    pub(crate) unusual: bool,
}

/// The conditions that hold now in a state: those of the last block, or the bench's own.
pub(crate) fn conditions(found: &Found, mains: &str, meter: &str) -> ConditionsShown {
    let block = found.blocks.last().cloned();
    let text = block
        .as_ref()
        .map_or_else(|| usual_conditions(mains, meter), |b| b.conditions.clone());
    let raw = parsed(&found.traced.circuit, &text);
    ConditionsShown {
        mains: raw
            .mains_volts
            .map_or_else(|| "not said".to_owned(), |v| format!("{v} V")),
        valves: match &raw.valves {
            ValvesIn::All => "all in".to_owned(),
            ValvesIn::Without(out) => format!("without {}", out.join(" ")),
            ValvesIn::Only(only) => format!("only {}", only.join(" ")),
        },
        knobs: knobs(&raw),
        meter: raw.meter.map_or_else(
            || "not said".to_owned(),
            |m| {
                format!(
                    "{} {} %",
                    rounded(m.ohms, Quantity::Ohms, 3),
                    trimmed(m.error * 100.0)
                )
            },
        ),
        limiter: raw
            .limiter_watts
            .map(|w| format!("{w} W"))
            .unwrap_or_default(),
        unusual: raw.valves != ValvesIn::All || raw.limiter_watts.is_some(),
        block,
        raw,
    }
}

/// The conditions text of a first block.
pub(crate) fn usual_conditions(mains: &str, meter: &str) -> String {
    let mut text = String::new();
    if !mains.is_empty() {
        text.push_str(&format!("mains {mains}\n"));
    }
    if !meter.is_empty() {
        text.push_str(&format!("meter {meter}\n"));
    }
    text
}

/// A conditions text, understood.
pub(crate) fn parsed(circuit: &Circuit, text: &str) -> Conditions {
    let text = format!("readings now\n{text}\n");
    let named = wiring::Text {
        name: "now.readings",
        text: &text,
    };
    let (blocks, _) = wiring::read_readings(&named, circuit);
    blocks
        .into_iter()
        .next_back()
        .map(|b| b.conditions)
        .unwrap_or_default()
}

fn knobs(raw: &Conditions) -> String {
    if raw.sets.is_empty() {
        return "as in the wiring".to_owned();
    }
    let all: Vec<String> = raw
        .sets
        .iter()
        .map(|s| format!("{} {}", s.name, position(s.to)))
        .collect();
    all.join(", ")
}

/// A position as typed.
pub(crate) fn position(to: Position) -> String {
    match to {
        Position::Number(n) => trimmed(n),
        Position::Closed => "closed".to_owned(),
        Position::Open => "open".to_owned(),
        Position::Plugged => "plugged".to_owned(),
        Position::Unplugged => "unplugged".to_owned(),
    }
}

fn trimmed(value: f64) -> String {
    let text = format!("{value:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// What hands do next: a few words, and the page where.
pub(crate) struct Next {
    /// `Read V2.7`.
    pub(crate) what: String,
    /// A second line.
    pub(crate) why: String,
    /// Where.
    pub(crate) address: String,
}

/// What hands do next in a job, from what stands in its record.
pub(crate) fn next(view: &JobView, now: shop::At) -> Next {
    let job = &view.job;
    let step = Step::of(&job.step);
    let address = step.address(job.id);
    if !job.next_text.is_empty() {
        return Next {
            what: job.next_text.clone(),
            why: step.name().to_owned(),
            address,
        };
    }
    let count = |n: usize, one: &str, many: &str| {
        if n == 1 {
            format!("1 {one}")
        } else {
            format!("{n} {many}")
        }
    };
    let (what, why) = match step {
        Step::Intake => (
            "Finish the intake".to_owned(),
            format!("taken in {}", super::dates::day(job.opened_at, now)),
        ),
        Step::Inspection => (
            "Look it over, unplugged".to_owned(),
            count(
                view.tally.results_of("inspection"),
                "answer so far",
                "answers so far",
            ),
        ),
        Step::Cold => (
            "Read ohms before power".to_owned(),
            count(
                view.tally.results_of("cold"),
                "answer so far",
                "answers so far",
            ),
        ),
        Step::PowerUp => (
            "Bring it up in steps".to_owned(),
            "lamp or variable transformer first".to_owned(),
        ),
        Step::Tracing => (
            if view.tally.revision > 0 {
                "Trace on".to_owned()
            } else {
                "Follow the first wire".to_owned()
            },
            count(
                usize::try_from(view.tally.revision).unwrap_or(0),
                "saved text",
                "saved texts",
            ),
        ),
        Step::Chart => (
            if view.tally.found + view.tally.left > 0 {
                "Read on".to_owned()
            } else {
                "Take the first reading".to_owned()
            },
            count(
                view.tally.found + view.tally.left,
                "reading taken",
                "readings taken",
            ),
        ),
        Step::Parts => (
            "Give the verdicts".to_owned(),
            count(view.tally.verdicts, "given", "given"),
        ),
        Step::Work => (
            "Work down the list".to_owned(),
            count(view.tally.work.0, "item open", "items open"),
        ),
        Step::SetUp => ("Set bias and heaters".to_owned(), String::new()),
        Step::Safety => (
            "Test mains and earth".to_owned(),
            count(
                view.tally.results_of("safety"),
                "answer so far",
                "answers so far",
            ),
        ),
        Step::PlayTest => ("Play it, warm".to_owned(), String::new()),
        Step::HandOver => (
            "Read the chart as left, close the job".to_owned(),
            count(view.tally.left, "reading as left", "readings as left"),
        ),
    };
    Next { what, why, address }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_electrolytic_is_on_the_list_and_small_ones_are_not() {
        let text = "V1 12AX7\nB1 - +C6 16u 450V - ground\nB1 - R9 1k5 - B2\nB2 - +C7 16u - ground\n\
            V1.3 - [R3 1k8 | +C1 25u 25V] - ground\nV1.1 - R4 100k - B2\nV1.1 - C2 10n 400V - next\n\
            bn - C17+ 47u - ground\nV1.8 - [R5 1k8 | +C3 25u] - ground\nV1.6 - R7 100k - B2\n";
        let circuit = wiring::read_one(text).circuit;
        // V1.8's bypass has no marked volts, so it stays on the list
        assert_eq!(stores_charge(&circuit), ["B1", "B2", "C3.1", "bn"]);
        assert!(stores_charge(&Circuit::default()).is_empty());
    }

    /// Guards a life: it may be made smaller, never larger.
    #[test]
    fn hands_go_in_below_ten_volts_at_most() {
        assert!(safe_volts() <= 10.0 && safe_volts() > 0.0);
    }
}
