//! What was found and done: findings, parts replaced and kept, work, what was refused, valves, old parts.

use super::{Gathered, count, list, tested, volts};
use crate::serve::part_words;
use crate::words::sentence;
use report::{Block, Cell, Column, Document, Run, Table, plain};
use shop::{Outcome, State, Verdict, WorkState};
use wiring::circuit::{History, Kind};
use wiring::{Circuit, Part, PartId};

/// A part of a wiring by its name.
fn part<'c>(circuit: &'c Circuit, name: &str) -> Option<(PartId, &'c Part)> {
    // a can of several is named by its sections
    let named = |p: &Part| p.name == name || p.parent.as_deref() == Some(name);
    let at = circuit.parts.iter().position(named)?;
    Some((PartId(at), circuit.parts.get(at)?))
}

/// The part as it was found: `220k carbon, read 705k`; empty where it is not in the wiring.
fn as_found(g: &Gathered<'_>, name: &str) -> String {
    let Some((_, p)) = part(&g.found.traced.circuit, name) else {
        return String::new();
    };
    let marked = part_words::marked(p, &g.site.library, g.manner);
    let (read, _) = part_words::read(p, g.manner);
    match (marked.is_empty(), read.is_empty()) {
        (_, true) => marked,
        (true, false) => format!("read {read}"),
        (false, false) => format!("{marked}, read {read}"),
    }
}

fn as_left(g: &Gathered<'_>, name: &str) -> String {
    part(&g.left.traced.circuit, name).map_or_else(String::new, |(_, p)| {
        part_words::marked(p, &g.site.library, g.manner)
    })
}

fn role(g: &Gathered<'_>, name: &str) -> String {
    let t = &g.found.traced;
    part(&t.circuit, name).map_or_else(String::new, |(id, _)| {
        part_words::roles(&t.circuit, &t.anatomy, id)
    })
}

fn reason(g: &Gathered<'_>, name: &str) -> String {
    let given = g.verdicts.iter().rev().find(|v| v.part == name);
    given.map_or_else(String::new, |v| v.reason.clone())
}

/// What was found, in the technician's own words, or in those of the record.
pub(super) fn found(g: &Gathered<'_>, d: &mut Document) {
    d.heading("What we found");
    if let Some(own) = g.note("report: found") {
        for paragraph in own.split("\n\n") {
            d.say(paragraph.trim());
        }
    }
    let mut items: Vec<String> = Vec::new();
    for v in g.verdicts.iter().filter(|v| v.verdict == Verdict::Replace) {
        if !v.reason.is_empty() {
            let role = role(g, &v.part);
            let of = if role.is_empty() {
                String::new()
            } else {
                format!(" ({role})")
            };
            items.push(sentence(&format!("{}{of}: {}", v.part, v.reason)));
        }
    }
    for (what, r) in tested::inspected(g) {
        if r.fields.result == Outcome::Fail {
            let said = if r.fields.note.is_empty() {
                String::new()
            } else {
                format!(": {}", r.fields.note)
            };
            items.push(sentence(&format!(
                "When it came in, not in order: {what}{said}"
            )));
        }
    }
    items.extend(volts::summary(g));
    if items.is_empty() && g.note("report: found").is_none() {
        d.say("Nothing is written down as found.");
    } else if !items.is_empty() {
        d.blocks.push(Block::List {
            items: items.into_iter().map(plain).collect(),
        });
    }
}

/// A row of what was replaced.
struct Replaced {
    part: String,
    was: String,
    now: String,
    why: String,
    before: String,
    after: String,
}

/// Everything that another thing stands in the place of: by the state of its part, or by work on it that used one.
fn rows(g: &Gathered<'_>) -> Vec<Replaced> {
    let mut rows: Vec<Replaced> = Vec::new();
    for s in &g.states {
        let f = &s.fields;
        if f.state == State::Original {
            continue;
        }
        let or = |given: &str, other: String| {
            if given.is_empty() {
                other
            } else {
                given.to_owned()
            }
        };
        let now = match f.state {
            State::Removed => "taken out".to_owned(),
            _ => or(&f.now, as_left(g, &f.part)),
        };
        let was = match f.state {
            State::Added => "nothing".to_owned(),
            _ => or(&f.was, as_found(g, &f.part)),
        };
        rows.push(Replaced {
            why: or(&reason(g, &f.part), f.note.clone()),
            part: f.part.clone(),
            was,
            now,
            before: String::new(),
            after: String::new(),
        });
    }
    for w in &g.work {
        let f = &w.fields;
        if f.state != WorkState::Done || (f.part_used.is_empty() && f.part.is_empty()) {
            continue;
        }
        let name = if f.part.is_empty() { &f.title } else { &f.part };
        let at = rows.iter().position(|r| r.part == *name);
        let row = match at {
            Some(at) => rows.get_mut(at),
            None if f.part_used.is_empty() => None,
            None => {
                rows.push(Replaced {
                    part: name.clone(),
                    was: as_found(g, name),
                    now: f.part_used.clone(),
                    why: reason(g, name),
                    before: String::new(),
                    after: String::new(),
                });
                rows.last_mut()
            }
        };
        if let Some(row) = row {
            row.before.clone_from(&f.before);
            row.after.clone_from(&f.after);
            if row.why.is_empty() {
                row.why.clone_from(&f.why);
            }
            if row.now.is_empty() {
                row.now.clone_from(&f.part_used);
            }
        }
    }
    rows
}

/// What was replaced, with why and what changed by it.
pub(super) fn replaced(g: &Gathered<'_>, d: &mut Document) {
    let rows = rows(g);
    d.heading("What was replaced, and why");
    if rows.is_empty() {
        d.say("Nothing is recorded as replaced.");
    } else {
        let measured = rows
            .iter()
            .any(|r| !r.before.is_empty() || !r.after.is_empty());
        let mut columns = vec![
            Column::words("Part", 13),
            Column::words("Was", if measured { 21 } else { 26 }),
            Column::words("Now", if measured { 20 } else { 25 }),
            Column::words("Because", if measured { 24 } else { 36 }),
        ];
        if measured {
            columns.push(Column::words("Before", 11));
            columns.push(Column::words("After", 11));
        }
        d.blocks.push(Block::Table(Table {
            name: "Parts replaced".to_owned(),
            columns,
            rows: rows
                .iter()
                .map(|r| {
                    let mut cells = vec![
                        Cell::strong(&r.part),
                        Cell::plain(&r.was),
                        Cell::plain(&r.now),
                        Cell::plain(&r.why),
                    ];
                    if measured {
                        cells.push(Cell::plain(&r.before));
                        cells.push(Cell::strong(&r.after));
                    }
                    cells
                })
                .collect(),
        }));
    }
    let waiting: Vec<String> = g
        .verdicts
        .iter()
        .filter(|v| v.verdict == Verdict::Replace && !rows.iter().any(|r| r.part == v.part))
        .map(|v| v.part.clone())
        .collect();
    if !waiting.is_empty() {
        d.say(format!(
            "To be replaced by the verdict on them, and not recorded as replaced: {}.",
            list(&waiting)
        ));
    }
}

/// What was kept and why, and how much is as made.
pub(super) fn kept(g: &Gathered<'_>, d: &mut Document) {
    d.heading("What was kept, and why");
    let rows = rows(g);
    let stays: Vec<_> = g
        .verdicts
        .iter()
        .filter(|v| v.verdict != Verdict::Replace && !rows.iter().any(|r| r.part == v.part))
        .collect();
    if !stays.is_empty() {
        d.blocks.push(Block::Table(Table {
            name: "Parts kept".to_owned(),
            columns: vec![
                Column::words("Part", 13),
                Column::words("What it is there for", 25),
                Column::words("Marked and read", 28),
                Column::words("Kept because", 34),
            ],
            rows: stays
                .iter()
                .map(|v| {
                    let why = match (v.verdict, v.reason.is_empty()) {
                        (Verdict::Watch, true) => "to be looked at again".to_owned(),
                        (Verdict::Watch, false) => format!("{}; to be looked at again", v.reason),
                        (_, true) => "nothing speaks against it".to_owned(),
                        (_, false) => v.reason.clone(),
                    };
                    vec![
                        Cell::strong(&v.part),
                        Cell::plain(role(g, &v.part)),
                        Cell::plain(as_found(g, &v.part)),
                        Cell::plain(why),
                    ]
                })
                .collect(),
        }));
    }
    let tally = originality(g);
    if tally.all > 0 {
        let mut told = vec![format!(
            "{} of {} in the circuit {} as original",
            tally.original,
            count(tally.all, "part", "parts"),
            if tally.original == 1 {
                "is recorded"
            } else {
                "are recorded"
            }
        )];
        if tally.replaced > 0 {
            told.push(format!(
                "{} fitted later in place of another",
                tally.replaced
            ));
        }
        if tally.added > 0 {
            told.push(format!("{} added where nothing was", tally.added));
        }
        if tally.not_said > 0 {
            told.push(format!("of {} it is not recorded", tally.not_said));
        }
        d.say(format!("Originality: {}.", told.join("; ")));
    } else if stays.is_empty() {
        d.say("No verdict on a kept part is recorded.");
    }
}

#[derive(Default)]
struct Originality {
    all: usize,
    original: usize,
    replaced: usize,
    added: usize,
    not_said: usize,
}

/// How much of the amp, as it leaves, is as made: by the wiring, and by what became of each part.
fn originality(g: &Gathered<'_>) -> Originality {
    let mut tally = Originality::default();
    for p in &g.left.traced.circuit.parts {
        if matches!(p.kind, Kind::Jack { .. }) && p.known.history.is_none() {
            // a jack is hardware; it counts where something is said of it
            continue;
        }
        let became = g.states.iter().rev().find(|s| s.fields.part == p.name);
        let history = match became.map(|s| s.fields.state) {
            Some(State::Original) => Some(History::Original),
            Some(State::Replaced) => Some(History::Replaced),
            Some(State::Added) => Some(History::Added),
            Some(State::Removed) => Some(History::Removed),
            None => p.known.history,
        };
        if history == Some(History::Removed) {
            continue;
        }
        tally.all += 1;
        match history {
            Some(History::Original) => tally.original += 1,
            Some(History::Replaced) => tally.replaced += 1,
            Some(History::Added) => tally.added += 1,
            Some(History::Removed) | None => tally.not_said += 1,
        }
    }
    tally
}

/// Work that stands in no table above.
pub(super) fn work(g: &Gathered<'_>, d: &mut Document) {
    let shown = rows(g);
    let items: Vec<_> = g
        .work
        .iter()
        .map(|w| &w.fields)
        .filter(|f| f.state == WorkState::Done)
        .filter(|f| !shown.iter().any(|r| r.part == f.part || r.part == f.title))
        .collect();
    if items.is_empty() {
        return;
    }
    d.heading("What else was done");
    d.blocks.push(Block::List {
        items: items
            .iter()
            .map(|f| {
                let mut text = f.title.clone();
                if !f.why.is_empty() {
                    text.push_str(&format!(", because: {}", f.why));
                }
                if !f.before.is_empty() || !f.after.is_empty() {
                    text.push_str(&format!("; before: {}; after: {}", f.before, f.after));
                }
                plain(sentence(&text))
            })
            .collect(),
    });
}

fn same(one: &str, other: &str) -> bool {
    one.trim().eq_ignore_ascii_case(other.trim())
}

/// What the owner declined, and what is open all the same.
pub(super) fn refused(g: &Gathered<'_>, d: &mut Document) {
    let declined: Vec<Vec<Run>> = g
        .work
        .iter()
        .map(|w| &w.fields)
        .filter(|f| f.state == WorkState::Declined)
        // what was on the estimate too stands there, with its day
        .filter(|f| {
            !g.estimate
                .iter()
                .any(|i| i.is_refused() && same(&i.fields.what, &f.title))
        })
        .map(|f| {
            let why = if f.answer.is_empty() {
                String::new()
            } else {
                format!(" ({})", f.answer)
            };
            plain(sentence(&format!("{}: declined{why}", f.title)))
        })
        .collect();
    let answered = g.estimate.iter().filter(|i| i.is_refused()).map(|i| {
        let said = i.said.as_ref();
        let on = said.map_or_else(String::new, |s| format!(" on {}", s.on));
        let says = said.map(|s| s.says.as_str()).filter(|s| !s.is_empty());
        let says = says.map_or_else(String::new, |s| format!(" ({s})"));
        plain(sentence(&format!("{}: declined{on}{says}", i.fields.what)))
    });
    let declined: Vec<_> = declined.into_iter().chain(answered).collect();
    if !declined.is_empty() {
        d.heading("Declined");
        d.blocks.push(Block::List { items: declined });
    }
    if !g.gate.rest.is_empty() {
        d.heading("Still open");
        d.blocks.push(Block::List {
            items: g
                .gate
                .rest
                .iter()
                .map(|b| plain(sentence(&b.what)))
                .collect(),
        });
        let said = g.notes.iter().filter(|n| n.about == "hand-over");
        for note in said.filter(|n| n.text.starts_with("Closed with things open")) {
            d.say(note.text.clone());
        }
    }
}

/// What stands in the sockets.
pub(super) fn valves(g: &Gathered<'_>, d: &mut Document) {
    let circuit = &g.left.traced.circuit;
    let in_wiring: Vec<(&str, String)> = circuit
        .parts
        .iter()
        .filter(|p| matches!(p.kind, Kind::Valve(_)))
        .map(|p| {
            (
                p.name.as_str(),
                part_words::marked(p, &g.site.library, g.manner),
            )
        })
        .collect();
    if g.valves.is_empty() && in_wiring.is_empty() {
        return;
    }
    d.heading("Valves");
    let mut rows: Vec<Vec<Cell>> = g
        .valves
        .iter()
        .map(|v| {
            let f = &v.fields;
            // as printed on it, in either manner
            let kind = if f.meant.is_empty() || f.meant == f.found {
                f.found.clone()
            } else {
                format!("{} in a socket for {}", f.found, f.meant)
            };
            let mut more = vec![f.print.clone(), f.date_code.clone(), f.note.clone()];
            more.retain(|m| !m.is_empty());
            vec![
                Cell::strong(&f.socket),
                Cell::plain(kind),
                Cell::plain(more.join(", ")),
                Cell::plain(if f.tester.is_empty() {
                    "not tested on a tester"
                } else {
                    &f.tester
                }),
            ]
        })
        .collect();
    for (socket, kind) in in_wiring {
        if !g.valves.iter().any(|v| v.fields.socket == socket) {
            rows.push(vec![
                Cell::strong(socket),
                Cell::plain(kind),
                Cell::default(),
                Cell::plain("not tested on a tester"),
            ]);
        }
    }
    d.blocks.push(Block::Table(Table {
        name: "Valves in their sockets".to_owned(),
        columns: vec![
            Column::words("Socket", 12),
            Column::words("Valve", 28),
            Column::words("Print and remarks", 34),
            Column::words("Tester", 26),
        ],
        rows,
    }));
}

/// The valves of a wiring by their sockets, as written there.
pub(super) fn in_sockets(circuit: &Circuit) -> Vec<(&str, String)> {
    circuit
        .parts
        .iter()
        .filter_map(|p| match &p.kind {
            Kind::Valve(v) => {
                let kind = v.fitted.clone().unwrap_or_else(|| v.meant.clone());
                Some((p.name.as_str(), kind))
            }
            _ => None,
        })
        .collect()
}

/// Old parts that go home.
pub(super) fn returned(g: &Gathered<'_>, d: &mut Document) {
    let bag = g.view.job.bag.trim();
    if bag.is_empty() {
        return;
    }
    d.heading("Old parts, returned");
    d.say(format!("In a bag labelled job {}: {bag}.", g.id));
}

/// Names and words of the parts that came out, for labels.
pub(super) fn came_out(g: &Gathered<'_>) -> Vec<(String, String, String)> {
    rows(g)
        .into_iter()
        .filter(|r| r.was != "nothing" && !r.was.is_empty())
        .map(|r| (r.part, r.was, r.why))
        .collect()
}
