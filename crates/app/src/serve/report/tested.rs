//! Results of the sheets: safety, bias, play test, and what was looked at before power. A line passed only where it was
//! read or answered; everything else is said to be not tested.

use super::{Gathered, count, volts};
use crate::serve::part_words::is_place;
use crate::serve::run::Step;
use crate::serve::sheets::{self, SetUp};
use bench::sheet::{Line, Origin, Outcome, Sheet};
use report::{Block, Cell, Column, Document, Mark, Run, Table};

/// How a line came out; none where there was nothing to judge.
fn mark(line: &Line) -> Option<Mark> {
    match line.outcome() {
        Outcome::Told => None,
        Outcome::Pass => Some(Mark::Pass),
        Outcome::Open if line.reading().is_some() => Some(Mark::Doubtful),
        Outcome::Open => Some(Mark::NotTested),
        // a computed figure is beyond its limit; nobody tested it
        Outcome::Fail if !tested(line) => None,
        Outcome::Fail | Outcome::Stop => Some(Mark::Fail),
    }
}

fn tested(line: &Line) -> bool {
    line.reading().is_some() || line.answer().is_some()
}

fn read(line: &Line) -> String {
    if line.outcome() == Outcome::Fail && !tested(line) {
        let figure = line.expected().map_or_else(String::new, |e| {
            format!("{}, ", volts::ohms(&e.to_string()))
        });
        return format!("{figure}computed: beyond the limit");
    }
    match (line.reading(), line.answer()) {
        (Some(figure), _) => volts::figure(figure),
        (None, Some(answer)) => answer.to_owned(),
        (None, None) => String::new(),
    }
}

/// How the sources say that one was read where another page quotes it.
const QUOTED: &str = "a page that is not the source itself, not verified in the original";

/// Where a limit is from. The full record has it as the rules do, with the rule's name; the owner, who has no rules to
/// look it up in, the same in a reader's words.
fn source(full: bool, origin: &Origin) -> String {
    let text = origin.to_string();
    if full {
        return text;
    }
    let rule = origin.rule.as_ref().map(|r| format!(" Rule {r}."));
    let bare = rule.and_then(|r| text.strip_suffix(&r).map(str::to_owned));
    bare.unwrap_or(text)
        .replace(QUOTED, "a page that quotes it, the original not looked up")
}

/// Lines as a table, each with its limit and the number of its source.
fn table(g: &Gathered<'_>, d: &mut Document, name: &str, lines: &[&Line]) {
    let rows = lines
        .iter()
        .map(|line| {
            let limit = line
                .limit()
                .map_or_else(String::new, |l| volts::ohms(&l.to_string()));
            let note = d.note(&source(g.wanted.full, line.origin()));
            let point = line
                .point()
                .map(|p| p.strip_prefix("tap-").unwrap_or(p))
                .filter(|p| is_place(p));
            let what = match point {
                Some(p) => format!("{p}: {}", line.what()),
                None => line.what().to_owned(),
            };
            let text = vec![
                Run {
                    text: what,
                    ..Run::default()
                },
                Run {
                    text: String::new(),
                    strong: false,
                    note: Some(note),
                },
            ];
            vec![
                Cell {
                    text,
                    ..Cell::default()
                },
                Cell::plain(limit),
                Cell::strong(read(line)),
                Cell::mark(mark(line)),
            ]
        })
        .collect();
    d.blocks.push(Block::Table(Table {
        name: name.to_owned(),
        columns: vec![
            Column::words("What", 42),
            Column::words("Limit", 19),
            Column::words("Read or seen", 22),
            Column::words("Result", 17),
        ],
        rows,
    }));
}

/// Lines of sheets that are judged.
fn judged(all: &[Sheet]) -> Vec<&Line> {
    all.iter()
        .flat_map(Sheet::lines)
        .filter(|l| l.outcome() != Outcome::Told)
        .collect()
}

/// Mains side, earth and insulation.
pub(super) fn safety(g: &Gathered<'_>, d: &mut Document) {
    d.heading_beside(
        "Electrical safety",
        "what was tested, against the limits named",
    );
    let all = sheets::of(Step::Safety, g.site, &g.left);
    let lines = judged(&all);
    if lines.is_empty() {
        d.say("Not tested.");
        return;
    }
    let shown: Vec<&Line> = lines
        .iter()
        .copied()
        .filter(|l| g.wanted.full || l.limit().is_some() || l.outcome() != Outcome::Pass)
        .collect();
    table(g, d, "Electrical safety", &shown);
    let left_out = lines.len() - shown.len();
    if left_out > 0 {
        d.say(format!(
            "{} of the mains side, the cord and the earth {} looked at and in order.",
            count(left_out, "further point", "further points"),
            if left_out == 1 { "was" } else { "were" }
        ));
    }
    let none = lines.iter().all(|l| !tested(l));
    d.say(if none {
        "None of these was tested. Local electrical codes and licensed practice decide."
    } else {
        "A result holds for the day and the place of the test, against the limit named; nothing here says that it complies with any standard. Local electrical codes and licensed practice decide."
    });
}

/// Output valves at idle, as left.
pub(super) fn bias(g: &Gathered<'_>, d: &mut Document) {
    d.heading("Bias, as left");
    if g.left.readings.is_empty() {
        d.say("Not read as left.");
        return;
    }
    let all = sheets::set_up(SetUp::Bias, g.site, &g.left);
    let lines = judged(&all);
    let shown: Vec<&Line> = lines
        .iter()
        .copied()
        .filter(|l| g.wanted.full || l.reading().is_some() || l.outcome() == Outcome::Fail)
        .collect();
    if shown.is_empty() {
        d.say("Nothing was read from which it follows.");
    } else {
        table(g, d, "Bias as left", &shown);
    }
    let conditions: Vec<String> = all.iter().flat_map(|s| s.conditions.clone()).collect();
    if !conditions.is_empty() {
        d.say(format!("At {}.", conditions.join("; ")));
    }
}

/// Played and proved.
pub(super) fn play_test(g: &Gathered<'_>, d: &mut Document) {
    let all = sheets::of(Step::PlayTest, g.site, &g.left);
    let lines = judged(&all);
    let answered: Vec<&Line> = lines
        .iter()
        .copied()
        .filter(|l| l.outcome() != Outcome::Open || l.reading().is_some())
        .collect();
    d.heading("Play test");
    if answered.is_empty() {
        d.say("Not tested.");
        return;
    }
    let shown: Vec<&Line> = answered
        .iter()
        .copied()
        .filter(|l| g.wanted.full || l.reading().is_some() || l.outcome() != Outcome::Pass)
        .collect();
    if !shown.is_empty() {
        table(g, d, "Play test", &shown);
    }
    let quiet = answered.len() - shown.len();
    let open = lines.len() - answered.len();
    let mut told = Vec::new();
    if quiet > 0 {
        told.push(format!(
            "{} tried and in order",
            count(quiet, "further point was", "further points were")
        ));
    }
    if open > 0 {
        told.push(format!(
            "{} not tested",
            count(open, "point was", "points were")
        ));
    }
    if !told.is_empty() {
        d.say(format!("{}.", crate::words::capital(&told.join("; "))));
    }
}

/// What was looked at and read before power, and while it came up: for the full record.
pub(super) fn before_power(g: &Gathered<'_>, d: &mut Document) {
    inspection(g, d);
    for (step, heading) in [
        (Step::Cold, "Ohms before power"),
        (Step::PowerUp, "Power-up"),
    ] {
        let all = sheets::of(step, g.site, &g.found);
        let lines = judged(&all);
        let answered: Vec<&Line> = lines
            .iter()
            .copied()
            .filter(|l| l.outcome() != Outcome::Open || l.reading().is_some())
            .collect();
        let open = lines.len() - answered.len();
        d.heading(heading);
        if answered.is_empty() {
            d.say("Nothing is recorded.");
            continue;
        }
        table(g, d, heading, &answered);
        if open > 0 {
            d.say(format!(
                "{} not recorded.",
                count(open, "further point is", "further points are")
            ));
        }
    }
}

/// A question of the inspection with its own answer: the same question before hand-over has another one.
pub(super) fn inspected<'g>(g: &'g Gathered<'_>) -> Vec<(String, &'g shop::ResultGiven)> {
    let all = sheets::of(Step::Inspection, g.site, &g.found);
    g.found
        .results
        .iter()
        .filter(|r| r.fields.sheet == sheets::kept_as(Step::Inspection))
        .map(|r| {
            let line = all
                .iter()
                .flat_map(Sheet::lines)
                .find(|l| l.point() == Some(r.fields.item.as_str()));
            let what = line.map_or(r.fields.item.clone(), |l| match l.point() {
                Some(p) if is_place(p) => format!("{p}: {}", l.what()),
                _ => l.what().to_owned(),
            });
            (what, r)
        })
        .collect()
}

fn inspection(g: &Gathered<'_>, d: &mut Document) {
    let heading = "Inspection, as it came in";
    d.heading(heading);
    let all = inspected(g);
    if all.is_empty() {
        d.say("Nothing is recorded.");
        return;
    }
    let rows = all
        .into_iter()
        .map(|(what, r)| {
            let f = &r.fields;
            let mark = match f.result {
                shop::Outcome::Pass => Some(Mark::Pass),
                shop::Outcome::Fail => Some(Mark::Fail),
                shop::Outcome::Open => Some(Mark::NotTested),
                shop::Outcome::NotThere => None,
            };
            // the mark says yes or no already, where there is more to say
            let word = matches!(f.shown.as_str(), "yes" | "no") && !f.note.is_empty();
            let shown = if word { "" } else { &f.shown };
            let seen = [shown, &f.unit, &f.note];
            let seen: Vec<&str> = seen.into_iter().filter(|s| !s.is_empty()).collect();
            vec![
                Cell::plain(what),
                Cell::strong(volts::ohms(&seen.join(" "))),
                Cell::mark(mark),
            ]
        })
        .collect();
    d.blocks.push(Block::Table(Table {
        name: heading.to_owned(),
        columns: vec![
            Column::words("What", 50),
            Column::words("Read or seen", 33),
            Column::words("Result", 17),
        ],
        rows,
    }));
}
