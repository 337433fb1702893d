//! From laid graphs to lines that a technician reads: one for each part, and the steps that
//! would make the amp as drawn.

use super::combine::Combined;
use super::cost::{Differs, EDIT, align, differs, end_cost};
use super::graph::{Graph, NONE, Sort, Thing};
use super::matching::Match;
use super::{Line, Moved, Status, Step, StepKind};
use std::collections::{BTreeMap, BTreeSet};
use wiring::Circuit;
use wiring::circuit::{Electrode, Kind, PartId};
use wiring::units::{Quantity, engineering};

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

fn nets_of(thing: &Thing) -> Vec<usize> {
    let mut nets: Vec<usize> = Vec::new();
    for end in &thing.ends {
        if end.net != NONE && !nets.contains(&end.net) {
            nets.push(end.net);
        }
    }
    nets.truncate(3);
    nets
}

fn between(nets: &[String]) -> String {
    match nets {
        [] => "joined to nothing".to_owned(),
        [one] => format!("on {one}"),
        [one, two] => format!("from {one} to {two}"),
        [one, two, three, ..] => format!("on {one}, {two} and {three}"),
    }
}

/// `V4.7 (grid)`.
fn electrode_name(circuit: &Circuit, part: PartId, terminal: usize) -> String {
    let whole = &circuit.parts[part.0];
    let pin = &whole.terminals[terminal].name;
    let Kind::Valve(valve) = &whole.kind else {
        return format!("{}.{pin}", whole.name);
    };
    let what = valve
        .electrodes
        .iter()
        .find(|u| u.terminal == terminal)
        .map(|u| match u.electrode {
            Electrode::Plate => "plate",
            Electrode::Grid => "grid",
            Electrode::Cathode => "cathode",
            Electrode::Screen => "screen",
            Electrode::Suppressor => "suppressor",
            Electrode::Heater1 | Electrode::Heater2 | Electrode::HeaterTap => "heater",
            Electrode::Shield => "shield",
            Electrode::Internal => "free pin",
        });
    match what {
        Some(what) => format!("{}.{pin} ({what})", whole.name),
        None => format!("{}.{pin}", whole.name),
    }
}

/// What to call a net: its own name, else a valve's pin, else the first end on it.
pub(super) fn net_name(circuit: &Circuit, net: usize, but: Option<PartId>) -> String {
    let Some(node) = circuit.nodes.get(net) else {
        return "nothing".to_owned();
    };
    if net == 0 {
        return "ground".to_owned();
    }
    if let Some(name) = node.names.first() {
        return name.clone();
    }
    let others = || node.terminals.iter().filter(|(p, _)| Some(*p) != but);
    let rank = |kind: &Kind| match kind {
        Kind::Valve(_) => 0,
        Kind::OutputTransformer(_) | Kind::PowerTransformer(_) | Kind::CouplingTransformer(_) => 1,
        Kind::Pot { .. } | Kind::Jack { .. } | Kind::Switch { .. } => 2,
        _ => 3,
    };
    match others().min_by_key(|(p, _)| rank(&circuit.parts[p.0].kind)) {
        Some((p, t)) if rank(&circuit.parts[p.0].kind) == 3 => {
            format!("{}'s end", circuit.parts[p.0].name) + if *t > 1 { "s" } else { "" }
        }
        Some((p, t)) => electrode_name(circuit, *p, *t),
        None => "nothing else".to_owned(),
    }
}

/// `12AX7`, `100k`, `22 nF`, `audio pot 1M`.
fn described(circuit: &Circuit, thing: &Thing) -> String {
    let value = thing.value.map(|v| written(thing.sort, v));
    let word = match thing.sort {
        Sort::Resistor => "resistor",
        Sort::Choke => "choke",
        Sort::Capacitor => "capacitor",
        Sort::Diode => "diode",
        Sort::Bridge => "bridge rectifier",
        Sort::Lamp => "lamp",
        Sort::Cell => "photo-resistor",
        Sort::Fuse => "fuse",
        Sort::Switch => "switch",
        Sort::Jack => "jack",
        Sort::Pot => "control",
        Sort::Section | Sort::RectifierValve | Sort::Regulator | Sort::Heater => "valve",
        Sort::Mains => "mains transformer",
        Sort::Output => "output transformer",
        Sort::Coupling => "transformer",
        Sort::Tank => "spring tank",
        Sort::Speaker => "loudspeaker",
        Sort::Supply => "supply",
        Sort::Generator => "generator",
        Sort::Gain => "ideal amplifier",
        Sort::Other => "part",
    };
    match thing.sort {
        Sort::Section | Sort::RectifierValve | Sort::Regulator | Sort::Heater => thing.made.clone(),
        Sort::Mains => match &circuit.parts[thing.part.0].kind {
            Kind::PowerTransformer(t) => {
                let windings: Vec<String> = t
                    .windings
                    .iter()
                    .map(|w| {
                        let volts: Vec<String> = w
                            .taps
                            .iter()
                            .map(|(_, v)| format!("{}", (v.abs() * 100.0).round() / 100.0))
                            .collect();
                        let volts = if let [one, zero] = volts.as_slice()
                            && zero == "0"
                        {
                            one.clone()
                        } else {
                            volts.join("-")
                        };
                        format!("{} {volts} V", w.name)
                    })
                    .collect();
                format!("mains transformer {}", windings.join(", "))
            }
            _ => word.to_owned(),
        },
        Sort::Fuse => join(&[value.as_deref(), Some(thing.made.as_str()), Some(word)]),
        Sort::Switch if thing.made == "1" => word.to_owned(),
        Sort::Switch => format!("switch of {} throws", thing.made),
        Sort::Other if !thing.made.is_empty() => format!("box {}", thing.made),
        Sort::Other => word.to_owned(),
        _ => join(&[value.as_deref(), Some(thing.made.as_str()), Some(word)]),
    }
}

fn join(words: &[Option<&str>]) -> String {
    words
        .iter()
        .flatten()
        .filter(|w| !w.is_empty())
        .copied()
        .collect::<Vec<_>>()
        .join(" ")
}

/// A value in its own unit.
fn written(sort: Sort, value: f64) -> String {
    let quantity = match sort {
        Sort::Capacitor => Quantity::Farads,
        Sort::Choke => Quantity::Henries,
        Sort::Fuse => Quantity::Amps,
        Sort::Diode | Sort::Supply => Quantity::Volts,
        Sort::Coupling | Sort::Gain => return format!("{value}"),
        _ => Quantity::Ohms,
    };
    if sort == Sort::Capacitor || sort == Sort::Resistor {
        return wiring::units::rounded(value, quantity, 4);
    }
    engineering(value, quantity)
}
