//! From laid graphs to lines that a technician reads: one for each part, and the steps that
//! would make the amp as drawn.

use super::combine::Combined;
use super::cost::{Differs, EDIT, align, differs, end_cost};
use super::graph::{Graph, NONE, Sort, Thing};
use super::matching::Match;
use super::words::{between, described, electrode_name, net_name, nets_of, short, written};
use super::{Line, Moved, Status, Step, StepKind};
use std::collections::{BTreeMap, BTreeSet};
use wiring::Circuit;
use wiring::circuit::{Kind, PartId};

/// Two circuits laid on each other.
pub(super) struct Laid<'a> {
    pub(super) amp: &'a Circuit,
    pub(super) drawing: &'a Circuit,
    pub(super) a: Graph,
    pub(super) b: Graph,
    pub(super) m: Match,
    pub(super) combined: Vec<Combined>,
}

/// A line with the parts it is about, before it is told.
pub(super) struct Row {
    pub(super) here: Vec<PartId>,
    pub(super) there: Vec<PartId>,
    pub(super) line: Line,
}

impl Laid<'_> {
    /// One row for each part of either side, the amp's in its order, then what is missing.
    pub(super) fn rows(&self) -> Vec<Row> {
        let mut rows: Vec<Row> = Vec::new();
        let mut by_part: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
        for (i, thing) in self.a.things.iter().enumerate() {
            by_part.entry(thing.part.0).or_default().push(i);
        }
        let mut told = BTreeSet::new();
        for things in by_part.values() {
            if let Some(c) = self
                .combined
                .iter()
                .position(|c| c.here.contains(&things[0]))
            {
                if told.insert(c) {
                    rows.push(self.combined_row(&self.combined[c]));
                }
                continue;
            }
            rows.push(self.row(things));
        }
        let mut seen: BTreeSet<usize> = rows
            .iter()
            .flat_map(|r| r.there.iter().map(|p| p.0))
            .collect();
        for thing in &self.b.things {
            if seen.insert(thing.part.0) {
                let name = &self.drawing.parts[thing.part.0].name;
                let what = described(self.drawing, thing);
                rows.push(Row {
                    here: Vec::new(),
                    there: vec![thing.part],
                    line: Line {
                        found: None,
                        drawing: Some(name.clone()),
                        status: Status::Missing,
                        what: format!("{what} on the drawing only, {}", self.where_there(thing)),
                        moved: Vec::new(),
                        values: None,
                        ends: thing.ends.len(),
                        steps: vec![Step {
                            kind: StepKind::Fit,
                            part: name.clone(),
                            words: format!(
                                "Fit {name} of the drawing, {what}, {}.",
                                self.where_there(thing)
                            ),
                            edits: 1,
                        }],
                    },
                });
            }
        }
        rows
    }

    fn combined_row(&self, c: &Combined) -> Row {
        let parts = |g: &Graph, list: &[usize]| -> Vec<PartId> {
            list.iter().map(|t| g.things[*t].part).collect()
        };
        let (here, there) = (parts(&self.a, &c.here), parts(&self.b, &c.there));
        let names = |circuit: &Circuit, list: &[PartId]| -> String {
            list.iter()
                .map(|p| circuit.parts[p.0].name.as_str())
                .collect::<Vec<_>>()
                .join(", ")
        };
        let how = if c.chain { "in series" } else { "side by side" };
        let single = if c.here.len() == 1 {
            &self.a.things[c.here[0]]
        } else {
            &self.b.things[c.there[0]]
        };
        let total = written(single.sort, c.value);
        let (found, drawn) = (names(self.amp, &here), names(self.drawing, &there));
        let what = if c.here.len() > 1 {
            format!(
                "{} parts {how} here make {total}; one on the drawing",
                c.here.len()
            )
        } else {
            format!(
                "one here; on the drawing {} {how} make {total}",
                c.there.len()
            )
        };
        Row {
            here,
            there,
            line: Line {
                found: Some(found),
                drawing: Some(drawn),
                status: if c.differs == Differs::Not {
                    Status::Same
                } else {
                    Status::Inside
                },
                what,
                moved: Vec::new(),
                values: None,
                ends: 2,
                steps: Vec::new(),
            },
        }
    }

    /// The row of one part of the amp; a valve has several things.
    fn row(&self, things: &[usize]) -> Row {
        let part = self.a.things[things[0]].part;
        let name = self.amp.parts[part.0].name.clone();
        let is_heater = |i: &usize| self.a.things[*i].sort == Sort::Heater;
        let told: Vec<usize> = if things.iter().all(is_heater) {
            things.to_vec()
        } else {
            things.iter().copied().filter(|i| !is_heater(i)).collect()
        };
        let paired: Vec<(usize, usize)> = told
            .iter()
            .map(|i| (*i, self.m.there[*i]))
            .filter(|(_, j)| *j != NONE)
            .collect();
        if paired.is_empty() {
            let thing = &self.a.things[told[0]];
            let what = described(self.amp, thing);
            return Row {
                here: vec![part],
                there: Vec::new(),
                line: Line {
                    found: Some(name.clone()),
                    drawing: None,
                    status: Status::Added,
                    what: format!("{what} in the amp only, {}", self.where_here(thing)),
                    moved: Vec::new(),
                    values: None,
                    ends: thing.ends.len(),
                    steps: vec![Step {
                        kind: StepKind::TakeOut,
                        part: name.clone(),
                        words: format!("Take out {name}, {what}, {}.", self.where_here(thing)),
                        edits: 1,
                    }],
                },
            };
        }
        let mut there: Vec<PartId> = Vec::new();
        let mut differ = Differs::Not;
        let mut difference = None;
        let mut moved: Vec<Moved> = Vec::new();
        let mut ends = 0;
        for (i, j) in &paired {
            let (x, y) = (&self.a.things[*i], &self.b.things[*j]);
            if !there.contains(&y.part) {
                there.push(y.part);
            }
            let d = differs(x, y);
            if d.cost() > differ.cost() || (d == Differs::Type && differ == Differs::Value) {
                differ = d;
                difference = Some((x, y));
            }
            ends += x.ends.len().max(y.ends.len());
            self.moved(x, y, &mut moved);
        }
        // Its heater, when that belongs to one of the same valves.
        for i in things.iter().filter(|i| is_heater(i) && !told.contains(i)) {
            let j = self.m.there[*i];
            if j != NONE {
                let (x, y) = (&self.a.things[*i], &self.b.things[j]);
                ends += x.ends.len();
                self.moved(x, y, &mut moved);
            }
        }
        let values = difference
            .filter(|_| differ.cost() >= EDIT)
            .map(|(x, y)| (short(self.amp, x), short(self.drawing, y)));
        let mut notes: Vec<String> = Vec::new();
        let mut steps: Vec<Step> = Vec::new();
        if let Some((x, y)) = difference {
            notes.push(self.changed(x, y, differ));
            if differ.cost() >= EDIT {
                let kind = if differ == Differs::Type {
                    StepKind::ChangeType
                } else {
                    StepKind::ChangeValue
                };
                steps.push(Step {
                    kind,
                    part: name.clone(),
                    words: format!(
                        "{name}: {} in place of {}.",
                        described(self.drawing, y),
                        described(self.amp, x)
                    ),
                    edits: 1,
                });
            }
        }
        let mut wired = Vec::new();
        for i in told.iter().filter(|i| self.m.there[**i] == NONE) {
            if let Some(letter) = self.a.things[*i].section {
                wired.push((
                    format!("section {letter} is wired here only"),
                    format!("Take the wires off {name}{letter}."),
                ));
            }
        }
        for (j, y) in self.b.things.iter().enumerate() {
            if y.sort != Sort::Heater
                && self.m.here[j] == NONE
                && there.contains(&y.part)
                && y.section.is_some()
            {
                // Told with the first amp valve that stands for it.
                let first = self
                    .b
                    .things
                    .iter()
                    .enumerate()
                    .filter(|(k, o)| {
                        o.part == y.part && o.sort != Sort::Heater && self.m.here[*k] != NONE
                    })
                    .map(|(k, _)| self.a.things[self.m.here[k]].part)
                    .min();
                if first == Some(part)
                    && let Some(letter) = y.section
                {
                    let whole = &self.drawing.parts[y.part.0].name;
                    wired.push((
                        format!("section {letter} of {whole} is wired on the drawing only"),
                        format!(
                            "Wire a section as {whole}{letter} of the drawing, {}.",
                            self.where_there(y)
                        ),
                    ));
                }
            }
        }
        for (note, step) in wired {
            notes.push(note);
            steps.push(Step {
                kind: StepKind::MoveEnd,
                part: name.clone(),
                words: step,
                edits: 1,
            });
        }
        let section_steps = steps.iter().any(|s| s.kind == StepKind::MoveEnd);
        for end in &moved {
            notes.push(format!(
                "{} is on {} here, on {} on the drawing",
                end.end, end.here, end.there
            ));
        }
        if moved.len() > 2 {
            let list: Vec<String> = moved
                .iter()
                .map(|e| format!("{} to {}", e.end, e.there))
                .collect();
            steps.push(Step {
                kind: StepKind::MoveEnd,
                part: name.clone(),
                words: format!("Wire {name} anew: {}.", list.join(", ")),
                edits: 2,
            });
        } else {
            for end in &moved {
                steps.push(Step {
                    kind: StepKind::MoveEnd,
                    part: name.clone(),
                    words: format!("Move {} from {} to {}.", end.end, end.here, end.there),
                    edits: 1,
                });
            }
        }
        let status = if !moved.is_empty() || section_steps {
            Status::Rewired
        } else {
            match differ {
                Differs::Not => Status::Same,
                Differs::Inside => Status::Inside,
                Differs::Value => Status::Value,
                Differs::Type => Status::Type,
            }
        };
        if status == Status::Same {
            notes.push(if there.len() > 1 {
                "same, its sections in other sockets".to_owned()
            } else {
                "same".to_owned()
            });
        }
        let drawn: Vec<&str> = there
            .iter()
            .map(|p| self.drawing.parts[p.0].name.as_str())
            .collect();
        Row {
            here: vec![part],
            line: Line {
                found: Some(name),
                drawing: Some(drawn.join(", ")),
                status,
                what: notes.join("; "),
                moved,
                values,
                ends,
                steps,
            },
            there,
        }
    }

    fn changed(&self, x: &Thing, y: &Thing, differ: Differs) -> String {
        let (here, there) = (described(self.amp, x), described(self.drawing, y));
        match differ {
            Differs::Inside => format!("{here} here, {there} on the drawing, within its tolerance"),
            Differs::Type => format!("type: {here} here, {there} on the drawing"),
            Differs::Value | Differs::Not => format!("{here} here, {there} on the drawing"),
        }
    }

    /// Ends that go elsewhere.
    fn moved(&self, x: &Thing, y: &Thing, list: &mut Vec<Moved>) {
        let mut laid = Vec::new();
        let of = |u: usize, v: usize| end_cost(&self.a, &self.b, &self.m.net_there, u, v);
        align(x, y, &of, |s, t| laid.push((s, t)));
        for (s, t) in laid {
            if s == NONE || t == NONE {
                continue;
            }
            let (u, v) = (x.ends[s].net, y.ends[t].net);
            if of(u, v) < EDIT {
                continue;
            }
            list.push(Moved {
                end: self.end_name(x, x.ends[s].terminal),
                here: self.net_here(u, Some(x.part)),
                there: self.net_there(v, Some(y.part)),
            });
        }
    }

    fn end_name(&self, x: &Thing, terminal: usize) -> String {
        let part = &self.amp.parts[x.part.0];
        match &part.kind {
            Kind::Valve(_) => electrode_name(self.amp, x.part, terminal),
            Kind::Resistor { .. }
            | Kind::Capacitor { .. }
            | Kind::Choke { .. }
            | Kind::Lamp { .. }
            | Kind::Fuse { .. }
            | Kind::Speaker { .. } => {
                format!("one end of {}", part.name)
            }
            _ => format!("{}.{}", part.name, part.terminals[terminal].name),
        }
    }

    /// A net of the amp in words.
    fn net_here(&self, net: usize, but: Option<PartId>) -> String {
        net_name(self.amp, net, but)
    }

    /// A net of the drawing, by the amp's name for it where it has one.
    fn net_there(&self, net: usize, but: Option<PartId>) -> String {
        match self.m.net_here.get(net) {
            Some(x) if *x != NONE => net_name(self.amp, *x, None),
            _ => format!("{} of the drawing", net_name(self.drawing, net, but)),
        }
    }

    fn where_here(&self, thing: &Thing) -> String {
        let nets: Vec<String> = nets_of(thing)
            .into_iter()
            .map(|n| self.net_here(n, Some(thing.part)))
            .collect();
        between(&nets)
    }

    fn where_there(&self, thing: &Thing) -> String {
        let nets: Vec<String> = nets_of(thing)
            .into_iter()
            .map(|n| self.net_there(n, Some(thing.part)))
            .collect();
        between(&nets)
    }
}
