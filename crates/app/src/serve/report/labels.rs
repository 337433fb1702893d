//! Labels to print and cut out: bags of old parts, valves, fuse, bias points.

use super::{Gathered, Wanted, done, front};
use crate::serve::dates;
use crate::serve::sheets::{self, SetUp};
use crate::serve::site::Site;
use bench::sheet::{Outcome, Sheet};
use report::{Block, Document, Label, Paper};
use shop::{At, JobId, Reader, ShopError};

/// The labels of a job as a sheet.
pub(crate) fn labels(
    site: &Site,
    r: &Reader<'_>,
    id: JobId,
    now: At,
    paper: Paper,
) -> Result<Document, ShopError> {
    let wanted = Wanted {
        full: false,
        paper,
        whole: false,
    };
    let g = Gathered::of(site, r, id, now, wanted)?;
    let amp = &g.view.job.amp.fields;
    let whose = format!("job {id}, {} {}", amp.name(), amp.serial);
    let whose = whose.trim().to_owned();
    let mut labels: Vec<Label> = Vec::new();
    let mut add = |goes_on: &str, title: String, lines: Vec<String>| {
        labels.push(Label {
            goes_on: goes_on.to_owned(),
            title,
            lines: lines.into_iter().filter(|l| !l.is_empty()).collect(),
        });
    };
    add(
        "Bag of old parts",
        format!("Job {id}"),
        vec![
            amp.name(),
            amp.serial.clone(),
            g.view.job.owner.clone(),
            g.view.job.bag.clone(),
        ],
    );
    for (part, was, why) in done::came_out(&g) {
        add("Old part", part, vec![was, why, whose.clone()]);
    }
    for (socket, kind) in done::in_sockets(&g.left.traced.circuit) {
        let entered = g.valves.iter().rev().find(|v| v.fields.socket == socket);
        let (kind, tested) = match entered {
            Some(v) if !v.fields.found.is_empty() => {
                (v.fields.found.clone(), v.fields.tester.clone())
            }
            _ => (kind, String::new()),
        };
        add(
            "Valve",
            format!("{socket} {kind}"),
            vec![tested, whose.clone()],
        );
    }
    if let Some(fuse) = front::fuse(&g) {
        add(
            "Mains fuse",
            fuse,
            vec![
                "as in the wiring of this record; the chassis marking decides where it says less"
                    .to_owned(),
                "never a larger or a slower one".to_owned(),
                whose.clone(),
            ],
        );
    }
    if !g.left.readings.is_empty() {
        for sheet in sheets::set_up(SetUp::Bias, site, &g.left).iter() {
            for (title, lines) in bias_points(sheet) {
                let mut lines = lines;
                lines.push(format!("as left, {}", dates::full(now)));
                lines.push(whose.clone());
                add("Bias", title, lines);
            }
        }
    }
    Ok(Document {
        title: format!("Labels, job {id}"),
        above: amp.name(),
        number: id.to_string(),
        number_of: "job".to_owned(),
        running: whose.clone(),
        version: "labels".to_owned(),
        date: dates::iso(now),
        paper,
        blocks: vec![Block::Labels { labels }],
        ..Document::default()
    })
}

/// What was read of each output valve: its name, and the lines with their limits.
fn bias_points(sheet: &Sheet) -> Vec<(String, Vec<String>)> {
    let mut all: Vec<(String, Vec<String>)> = Vec::new();
    for line in sheet.lines() {
        let (Some(point), Some(reading)) = (line.point(), line.reading()) else {
            continue;
        };
        let limit = line
            .limit()
            .map_or_else(String::new, |l| format!(", limit {l}"));
        let word = match line.outcome() {
            Outcome::Pass | Outcome::Told => "",
            Outcome::Open => ", not sure",
            Outcome::Fail | Outcome::Stop => ", NOT IN ORDER",
        };
        let text = super::volts::ohms(&format!("{}: {reading}{limit}{word}", line.what()));
        match all.iter_mut().find(|(p, _)| p == point) {
            Some((_, lines)) => lines.push(text),
            None => all.push((point.to_owned(), vec![text])),
        }
    }
    all
}
