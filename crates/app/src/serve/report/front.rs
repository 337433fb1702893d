//! The first page: which amp, whose, what must not be missed; and the evidence for its date.

use super::{Gathered, list};
use crate::serve::pages::{gate, intake};
use crate::serve::run::StepState;
use crate::serve::{dates, money};
use bench::datecodes;
use report::{Block, Cell, Column, Document, Fact, Table, Warning};
use shop::{EstimateSort, Job, Reader, ShopError, Untouched};
use wiring::circuit::Kind;
use wiring::units::{Quantity, rounded};

/// At the foot of every page: `Marram Curlew C 1098, job 36`.
pub(crate) fn running(job: &Job) -> String {
    let amp = &job.amp.fields;
    let name = format!("{} {}", amp.name(), amp.serial);
    format!("{}, job {}", name.trim(), job.id)
}

/// Which of the two it is.
pub(crate) fn version(full: bool) -> &'static str {
    if full {
        "full record"
    } else {
        "owner's version"
    }
}

/// An empty report with its first page's head.
pub(super) fn page(g: &Gathered<'_>, r: &Reader<'_>) -> Result<Document, ShopError> {
    let job = &g.view.job;
    let amp = &job.amp.fields;
    let date = job.closed_at.unwrap_or(g.now);
    let mut d = Document {
        title: amp.name(),
        above: match job.owner.as_str() {
            "" => "Hand-over report".to_owned(),
            owner => format!("Hand-over report for {owner}"),
        },
        number: g.id.to_string(),
        number_of: "job".to_owned(),
        running: running(job),
        version: version(g.wanted.full).to_owned(),
        author: r.setting("bench_name")?.unwrap_or_default(),
        date: dates::iso(date),
        paper: g.wanted.paper,
        warning: warning(g),
        ..Document::default()
    };
    let mut fact = |name: &str, value: String| {
        if !value.is_empty() {
            d.facts.push(Fact {
                name: name.to_owned(),
                value,
            });
        }
    };
    fact("Serial", amp.serial.clone());
    if amp.cabinet_serial != amp.serial {
        fact("Serial, cabinet", amp.cabinet_serial.clone());
    }
    fact("Made", made(g, r)?);
    fact("Mains", mains(g));
    fact("Loudspeaker", loudspeaker(g));
    fact("Taken in", dates::full(job.opened_at));
    fact(
        if job.closed_at.is_some() {
            "Handed over"
        } else {
            "Report made"
        },
        dates::full(date),
    );
    Ok(d)
}

/// What stands on the first page before all else: a stop rule that failed, was refused or was not tested.
fn warning(g: &Gathered<'_>) -> Option<Warning> {
    let signed = g
        .notes
        .iter()
        .rev()
        .find(|n| n.text.starts_with(gate::NOT_SAFE));
    let refused: Vec<String> = g
        .estimate
        .iter()
        .filter(|i| i.fields.sort == EstimateSort::Safety && i.is_refused())
        .map(|i| format!("{}: declined by the owner.", i.fields.what))
        .collect();
    if g.gate.stops.is_empty() && refused.is_empty() {
        return None;
    }
    // two sheets may ask for the same thing
    let mut lines: Vec<String> = Vec::new();
    for bar in &g.gate.stops {
        let line = format!("{}.", bar.what);
        if !lines.contains(&line) {
            lines.push(line);
        }
    }
    lines.extend(refused.iter().cloned());
    if let Some(note) = signed {
        lines.push(note.text.clone());
    }
    lines.push(
        "Do not plug it in until this has been tested and put in order by a qualified person. Local electrical codes and licensed practice decide."
            .to_owned(),
    );
    Some(Warning {
        title: if signed.is_some() || !refused.is_empty() {
            gate::NOT_SAFE.to_owned()
        } else {
            g.gate.heading().to_owned()
        },
        lines,
    })
}

/// When it was made, as far as it is known, and never more exactly.
fn made(g: &Gathered<'_>, r: &Reader<'_>) -> Result<String, ShopError> {
    let codes = r.date_codes(g.id)?;
    let untouched: Vec<&str> = codes
        .iter()
        .filter(|c| c.untouched == Untouched::Yes)
        .map(|c| c.code.as_str())
        .collect();
    let years: Vec<String> = datecodes::windows(&untouched, dates::year(g.now))
        .iter()
        .map(|w| w.year.to_string())
        .collect();
    let said = g
        .left
        .traced
        .circuit
        .heading
        .year
        .clone()
        .unwrap_or_default();
    Ok(if years.is_empty() {
        said
    } else {
        format!("{} or later", years.join(" or "))
    })
}

fn mains(g: &Gathered<'_>) -> String {
    let circuit = &g.left.traced.circuit;
    let mut all = Vec::new();
    if let Some(mains) = circuit.heading.mains {
        let hertz = mains.hertz.map_or_else(String::new, |h| format!(" {h} Hz"));
        all.push(format!("{} V{hertz}", mains.volts));
    }
    all.extend(fuse(g).map(|f| format!("fuse {f}")));
    all.join(", ")
}

/// The mains fuse as the wiring has it: `1 A slow`.
pub(super) fn fuse(g: &Gathered<'_>) -> Option<String> {
    let circuit = &g.left.traced.circuit;
    // one of the high tension is not the one that an owner replaces
    let part = circuit.parts.iter().find(|p| {
        matches!(p.kind, Kind::Fuse { .. })
            && p.terminals.iter().any(|t| {
                t.node
                    .and_then(|n| circuit.nodes.get(n.0))
                    .is_some_and(|n| n.names.iter().any(|n| n == "live"))
            })
    })?;
    match part.kind {
        Kind::Fuse {
            amps: Some(amps),
            slow,
        } => Some(format!(
            "{}{}",
            rounded(amps, Quantity::Amps, 3),
            if slow { " slow" } else { "" }
        )),
        _ => None,
    }
}

fn loudspeaker(g: &Gathered<'_>) -> String {
    let all: Vec<String> = g
        .left
        .traced
        .circuit
        .parts
        .iter()
        .filter_map(|p| match p.kind {
            Kind::Speaker { ohms } => ohms.map(|v| format!("{v} Ω")),
            _ => None,
        })
        .collect();
    list(&all)
}

/// The steps of the job as a wire, and what the owner said.
pub(super) fn said(g: &Gathered<'_>, r: &Reader<'_>, d: &mut Document) -> Result<(), ShopError> {
    let words = |s: StepState| match s {
        StepState::Done => "done",
        StepState::Begun | StepState::Held => "begun",
        StepState::Open => "not done",
    };
    let joints: Vec<(&str, &str)> = crate::serve::run::Step::ALL
        .into_iter()
        .zip(g.view.states)
        .map(|(step, state)| {
            let closed =
                step == crate::serve::run::Step::HandOver && g.view.job.closed_at.is_some();
            (step.name(), if closed { "done" } else { words(state) })
        })
        .collect();
    d.blocks.push(Block::Picture(report::wire(&joints)));
    let said: Vec<String> = r
        .owner_words(g.id)?
        .into_iter()
        .filter(|w| !w.blanked && !w.text.trim().is_empty())
        .map(|w| w.text)
        .collect();
    if !said.is_empty() {
        d.heading("You said");
        for text in said {
            d.blocks.push(Block::Quote {
                text: text.trim().to_owned(),
            });
        }
    }
    Ok(())
}

/// What the date rests on, what was asked and allowed: for the full record.
pub(super) fn evidence(
    g: &Gathered<'_>,
    r: &Reader<'_>,
    d: &mut Document,
) -> Result<(), ShopError> {
    let codes = r.date_codes(g.id)?;
    if !codes.is_empty() {
        d.heading("Date codes");
        d.blocks.push(Block::Table(Table {
            name: "Date codes".to_owned(),
            columns: vec![
                Column::words("On", 28),
                Column::words("Code", 16),
                Column::words("Read as", 38),
                Column::words("There from the start", 18),
            ],
            rows: codes
                .iter()
                .map(|c| {
                    vec![
                        Cell::strong(&c.found_on),
                        Cell::plain(&c.code),
                        Cell::plain(intake::read_as(&c.code, dates::year(g.now))),
                        Cell::plain(c.untouched.word()),
                    ]
                })
                .collect(),
        }));
        d.say("The latest date among untouched parts is the earliest at which the amp can have been finished. One digit of a year leaves the decade open. Layout of the code: a public page, seen second-hand, not verified in the original.");
    }
    if !g.estimate.is_empty() {
        d.heading("The estimate, and the owner's answers");
        d.blocks.push(Block::Table(Table {
            name: "Estimate".to_owned(),
            columns: vec![
                Column::words("For", 13),
                Column::words("What", 45),
                Column::words("Estimated", 22),
                Column::words("Answer", 20),
            ],
            rows: g
                .estimate
                .iter()
                .map(|i| {
                    let f = &i.fields;
                    let answer = i.said.as_ref().map_or("not answered".to_owned(), |s| {
                        let word = if s.yes { "yes" } else { "declined" };
                        format!("{word}, {}", s.on)
                    });
                    let low = money::shown(f.low_minor, &f.currency);
                    let high = money::shown(f.high_minor, &f.currency);
                    vec![
                        Cell::plain(f.sort.word()),
                        Cell::plain(&f.what),
                        Cell::plain(if low == high {
                            low
                        } else {
                            format!("{low} to {high}")
                        }),
                        Cell::strong(answer),
                    ]
                })
                .collect(),
        }));
    }
    let allowed = r.authorisations(g.id)?;
    if !allowed.is_empty() {
        d.heading("What was agreed");
        d.blocks.push(Block::List {
            items: allowed
                .iter()
                .map(|a| {
                    let f = &a.fields;
                    let most = f.ceiling_minor.map_or_else(String::new, |m| {
                        format!(", up to {}", money::shown(m, &f.currency))
                    });
                    let how = if f.how.is_empty() {
                        String::new()
                    } else {
                        format!(", {}", f.how)
                    };
                    report::plain(format!(
                        "{}: {}{how}: {}{most}.",
                        dates::full(a.at),
                        f.who,
                        f.says.trim_end_matches('.')
                    ))
                })
                .collect(),
        });
    }
    Ok(())
}
