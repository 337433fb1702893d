//! A wiring as things with ends: what is compared when two circuits are held beside each other.
//!
//! A thing is a part, or one section or the heater of a valve, because sockets and sections may be
//! swapped. Ends of one class on one thing may be exchanged (a resistor's two ends, the ends of a
//! winding); ends of different classes may not. Names are never looked at, except those that the
//! notation gives a meaning: ground, live, neutral, earth, chassis.

use std::collections::BTreeMap;
use wiring::circuit::{
    Circuit, DiodeSort, Electrode, History, Kind, LampSort, Make, Part, PartId, PowerTransformer,
    Taper, Valve,
};
use wiring::sheet::Library;

/// No wire has reached this end, or nothing stands against it.
pub(super) const NONE: usize = usize::MAX;

/// What a thing is, as far as things may stand for each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Sort {
    Resistor,
    Choke,
    Capacitor,
    Diode,
    Bridge,
    Lamp,
    Cell,
    Fuse,
    Switch,
    Jack,
    Pot,
    Section,
    RectifierValve,
    Regulator,
    Heater,
    Mains,
    Output,
    Coupling,
    Tank,
    Speaker,
    Supply,
    Generator,
    Gain,
    Other,
}

impl Sort {
    /// Sorts of one group may stand for each other, as a change of type.
    pub(super) fn group(self) -> u8 {
        match self {
            Self::Resistor | Self::Choke => 0,
            other => other as u8,
        }
    }
}

/// One end.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct End {
    /// Ends of one class on one thing may be exchanged.
    pub(super) class: u8,
    /// Node index; [`NONE`] where no wire came.
    pub(super) net: usize,
    /// Index into the part's terminals.
    pub(super) terminal: usize,
}

/// Something with ends.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Thing {
    pub(super) part: PartId,
    pub(super) section: Option<char>,
    pub(super) sort: Sort,
    /// Marked, or read where nothing is marked; SI units.
    pub(super) value: Option<f64>,
    /// Fractions down and up that a sound one may stray.
    pub(super) tolerance: (f64, f64),
    /// What else tells types apart: a valve's type, a track, a diode's sort.
    pub(super) made: String,
    /// Sorted by class.
    pub(super) ends: Vec<End>,
}

/// A place where wires meet.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Net {
    /// Ground, live, neutral, earth or chassis: meets only its like.
    pub(super) anchor: Option<u8>,
    /// Thing and end.
    pub(super) ends: Vec<(usize, usize)>,
}

/// One wiring, ready to be compared.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Graph {
    pub(super) things: Vec<Thing>,
    /// By node index.
    pub(super) nets: Vec<Net>,
}

/// Common practice, no source: what a part without a marked tolerance may stray.
fn default_tolerance(part: &Part) -> (f64, f64) {
    match part.kind {
        Kind::Resistor { .. } => (0.10, 0.10),
        Kind::Capacitor { .. } if is_electrolytic(part) => (0.20, 0.50),
        _ => (0.20, 0.20),
    }
}

fn is_electrolytic(part: &Part) -> bool {
    match (&part.kind, part.known.make) {
        (_, Some(make)) => make == Make::Electrolytic,
        (
            Kind::Capacitor {
                plus_first, farads, ..
            },
            None,
        ) => plus_first.is_some() || farads.is_some_and(|f| f >= 2e-6),
        _ => false,
    }
}

impl Graph {
    pub(super) fn of(circuit: &Circuit, library: &Library) -> Self {
        let mut graph = Self {
            things: Vec::new(),
            nets: vec![Net::default(); circuit.nodes.len()],
        };
        for (i, node) in circuit.nodes.iter().enumerate() {
            graph.nets[i].anchor = if i == 0 {
                Some(0)
            } else {
                node.names.iter().find_map(|n| match n.as_str() {
                    "live" => Some(1),
                    "neutral" => Some(2),
                    "earth" => Some(3),
                    "chassis" => Some(4),
                    _ => None,
                })
            };
        }
        for (i, part) in circuit.parts.iter().enumerate() {
            if part.known.history != Some(History::Removed)
                && part.terminals.iter().any(|t| t.node.is_some())
            {
                graph.add(PartId(i), part, library);
            }
        }
        for (i, thing) in graph.things.iter().enumerate() {
            for (k, end) in thing.ends.iter().enumerate() {
                if let Some(net) = graph.nets.get_mut(end.net) {
                    net.ends.push((i, k));
                }
            }
        }
        graph
    }

    fn add(&mut self, id: PartId, part: &Part, library: &Library) {
        let all = |classes: &[u8]| -> Vec<(u8, usize)> {
            (0..part.terminals.len())
                .map(|t| (classes.get(t).copied().unwrap_or(t as u8), t))
                .collect()
        };
        let same = [0u8; 16];
        let (sort, value, made, ends) = match &part.kind {
            Kind::Resistor { ohms } => (Sort::Resistor, *ohms, String::new(), all(&same)),
            Kind::Capacitor { farads, plus_first } => {
                let ends = match plus_first {
                    Some(true) => all(&[0, 1]),
                    Some(false) => all(&[1, 0]),
                    None => all(&same),
                };
                (Sort::Capacitor, *farads, String::new(), ends)
            }
            Kind::Choke { henries, .. } => (Sort::Choke, *henries, String::new(), all(&same)),
            Kind::Diode { sort } => {
                let (made, value) = match sort {
                    DiodeSort::Silicon(_) | DiodeSort::Ideal => ("silicon", None),
                    DiodeSort::Selenium => ("selenium", None),
                    DiodeSort::Zener(volts) => ("zener", Some(*volts)),
                };
                (Sort::Diode, value, made.to_owned(), all(&own_classes()))
            }
            Kind::Bridge => (Sort::Bridge, None, String::new(), all(&[0, 0, 1, 2])),
            Kind::Lamp { sort } => {
                let made = match sort {
                    LampSort::Neon => "neon",
                    LampSort::Filament(..) => "filament",
                };
                (Sort::Lamp, None, made.to_owned(), all(&same))
            }
            Kind::Cell { dark_ohms, .. } => (Sort::Cell, *dark_ohms, String::new(), all(&same)),
            Kind::Fuse { amps, slow } => {
                let made = if *slow { "slow" } else { "" };
                (Sort::Fuse, *amps, made.to_owned(), all(&same))
            }
            Kind::Switch { throws, .. } => {
                let ends = if *throws <= 1 {
                    all(&same)
                } else {
                    all(&[0, 1, 1, 1, 1, 1, 1, 1, 1, 1])
                };
                (Sort::Switch, None, throws.to_string(), ends)
            }
            // A jack's contacts by their names: a mono and a stereo one share most.
            Kind::Jack { .. } => {
                let ends = named(part, |_, name| match name {
                    "tip" => 0,
                    "sleeve" => 1,
                    "break" => 2,
                    "ring" => 3,
                    _ => 4,
                });
                (Sort::Jack, None, String::new(), ends)
            }
            Kind::Pot { ohms, taper, .. } => {
                let (made, ends) = match taper {
                    // A straight track may be wired from either end; it only turns the other way.
                    Taper::Linear => ("linear", all(&[0, 1, 0])),
                    Taper::Audio(_) => ("audio", all(&own_classes())),
                    Taper::Reverse(_) => ("reverse", all(&own_classes())),
                    Taper::Measured(_) => ("", all(&own_classes())),
                };
                (Sort::Pot, *ohms, made.to_owned(), ends)
            }
            Kind::Valve(valve) => {
                self.valve(id, part, valve, library);
                return;
            }
            Kind::PowerTransformer(t) => (Sort::Mains, None, windings(t), mains_ends(t, part)),
            Kind::OutputTransformer(t) => {
                let ends = named(part, |i, name| match name {
                    "p1" | "p2" => 0,
                    "p0" => 1,
                    "u1" | "u2" => 2,
                    _ if i == t.common => 3,
                    _ if t.taps.len() == 1 => 4,
                    _ => {
                        // Secondary taps by impedance, the usual ones apart.
                        let ohms = t.taps.iter().find(|(x, _)| *x == i).map_or(0.0, |x| x.1);
                        4 + (ohms.max(1.0).log2().round() as i64).clamp(0, 8) as u8
                    }
                });
                let made = if t.single { "single" } else { "" };
                (Sort::Output, t.primary_impedance, made.to_owned(), ends)
            }
            Kind::CouplingTransformer(t) => {
                let ends = named(part, |_, name| match name {
                    "p1" | "p2" => 0,
                    "s0" => 2,
                    _ => 1,
                });
                (Sort::Coupling, t.ratio, String::new(), ends)
            }
            Kind::Tank { .. } => (Sort::Tank, None, String::new(), all(&[0, 0, 1, 1, 2])),
            Kind::Speaker { ohms } => (Sort::Speaker, *ohms, String::new(), all(&same)),
            Kind::Supply { volts, .. } => {
                (Sort::Supply, *volts, String::new(), all(&own_classes()))
            }
            Kind::Generator { .. } => (Sort::Generator, None, String::new(), all(&own_classes())),
            Kind::Gain { gain } => (Sort::Gain, Some(*gain), String::new(), all(&own_classes())),
            Kind::Box { label } => (Sort::Other, None, label.clone(), all(&own_classes())),
            Kind::Unknown => (Sort::Other, None, String::new(), all(&own_classes())),
        };
        let read = part.known.reading.and_then(|m| match m.value {
            wiring::circuit::MeasuredValue::Is(v) if !m.in_circuit => Some(v),
            _ => None,
        });
        self.push(id, None, sort, value.or(read), made, part, &ends);
    }

    #[expect(
        clippy::too_many_arguments,
        reason = "one call in each of three places"
    )]
    fn push(
        &mut self,
        part: PartId,
        section: Option<char>,
        sort: Sort,
        value: Option<f64>,
        made: String,
        whole: &Part,
        ends: &[(u8, usize)],
    ) {
        let mut ends: Vec<End> = ends
            .iter()
            .map(|(class, terminal)| End {
                class: *class,
                net: whole
                    .terminals
                    .get(*terminal)
                    .and_then(|t| t.node)
                    .map_or(NONE, |n| n.0),
                terminal: *terminal,
            })
            .collect();
        ends.sort_by_key(|e| (e.class, e.terminal));
        self.things.push(Thing {
            part,
            section,
            sort,
            value: value.filter(|v| v.is_finite()),
            tolerance: whole
                .known
                .tolerance
                .unwrap_or_else(|| default_tolerance(whole)),
            made,
            ends,
        });
    }

    /// The sections of a valve that a wire has reached, and its heater.
    fn valve(&mut self, id: PartId, part: &Part, valve: &Valve, library: &Library) {
        let fitted = valve.type_in_socket();
        let made = library
            .find(fitted)
            .map_or_else(|| fitted.to_owned(), |sheet| sheet.name.clone());
        let wired = |t: usize| part.terminals.get(t).is_some_and(|x| x.node.is_some());
        let mut sections: BTreeMap<Option<char>, Vec<(u8, usize)>> = BTreeMap::new();
        let mut heater: Vec<(u8, usize)> = Vec::new();
        let plates: Vec<Option<char>> = valve
            .electrodes
            .iter()
            .filter(|u| u.electrode == Electrode::Plate)
            .map(|u| u.section)
            .collect();
        let grids = valve
            .electrodes
            .iter()
            .any(|u| u.electrode == Electrode::Grid);
        for section in &plates {
            sections
                .entry(if grids { *section } else { None })
                .or_default();
        }
        for u in &valve.electrodes {
            let class = match u.electrode {
                Electrode::Plate => 0,
                Electrode::Grid => 1,
                Electrode::Cathode => 2,
                Electrode::Screen => 3,
                Electrode::Suppressor => 4,
                Electrode::Heater1 | Electrode::Heater2 => {
                    heater.push((0, u.terminal));
                    continue;
                }
                Electrode::HeaterTap => {
                    heater.push((1, u.terminal));
                    continue;
                }
                Electrode::Shield | Electrode::Internal => continue,
            };
            for (letter, ends) in &mut sections {
                let here = !grids || u.section.is_none() || u.section == *letter;
                // The suppressor that is tied to the cathode inside is not an end of its own; of
                // doubled pins the first that is wired counts. Rectifier plates are two ends.
                let twice = ends.iter().any(|(c, t)| {
                    *t == u.terminal || *c == class && (grids || class != 0) && wired(*t)
                });
                if !here || twice {
                    continue;
                }
                if grids || class != 0 {
                    ends.retain(|(c, _)| *c != class);
                }
                ends.push((class, u.terminal));
            }
        }
        let heated = !heater.is_empty();
        for (letter, ends) in &sections {
            if !ends.iter().any(|(_, t)| wired(*t)) {
                continue;
            }
            let sort = match (grids, heated) {
                (true, _) => Sort::Section,
                (false, true) => Sort::RectifierValve,
                (false, false) => Sort::Regulator,
            };
            self.push(id, *letter, sort, None, made.clone(), part, ends);
        }
        // Both halves of a tapped heater side by side are one heater with two ends.
        let node = |t: usize| part.terminals.get(t).and_then(|x| x.node);
        if let [(0, a), (0, b), (1, tap)] = heater.as_slice()
            && node(*a).is_some()
            && node(*a) == node(*b)
        {
            heater = vec![(0, *a), (0, *tap)];
        }
        if heater.iter().any(|(_, t)| wired(*t)) {
            self.push(id, None, Sort::Heater, None, made, part, &heater);
        }
        if valve.electrodes.is_empty() {
            let ends: Vec<(u8, usize)> = (0..part.terminals.len()).map(|t| (t as u8, t)).collect();
            self.push(
                id,
                None,
                Sort::Other,
                None,
                valve.meant.clone(),
                part,
                &ends,
            );
        }
    }

    /// How many ends meet here.
    pub(super) fn degree(&self, net: usize) -> usize {
        self.nets.get(net).map_or(0, |n| n.ends.len())
    }
}

/// Every terminal with the class that its place and name give it.
fn named(part: &Part, class: impl Fn(usize, &str) -> u8) -> Vec<(u8, usize)> {
    let all = part.terminals.iter().enumerate();
    all.map(|(i, t)| (class(i, &t.name), i)).collect()
}

fn own_classes() -> [u8; 16] {
    std::array::from_fn(|i| i as u8)
}

/// What a mains transformer gives, for telling two of them apart: volts of the windings.
fn windings(t: &PowerTransformer) -> String {
    t.windings
        .iter()
        .map(|w| {
            let volts: Vec<String> = w
                .taps
                .iter()
                .map(|(_, v)| format!("{:.0}", v.abs() * 10.0))
                .collect();
            volts.join("-")
        })
        .collect::<Vec<_>>()
        .join(" ")
}

/// Windings by what they are for, from their volts: high tension, bias, rectifier heater, heaters.
/// Ends of one winding may be exchanged; its middle and its taps may not.
fn mains_ends(t: &PowerTransformer, part: &Part) -> Vec<(u8, usize)> {
    let mut ends: Vec<(u8, usize)> = Vec::new();
    let outer = |taps: &[(usize, f64)]| -> (f64, f64) {
        taps.iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), (_, v)| {
                (low.min(*v), high.max(*v))
            })
    };
    let class_of = |volts: f64, (low, high): (f64, f64), first: u8| -> u8 {
        if volts == low || volts == high {
            first
        } else if volts == 0.0 || (volts - (low + high) / 2.0).abs() < 1e-9 {
            first + 1
        } else {
            first + 2
        }
    };
    let span = outer(&t.primary);
    for (terminal, volts) in &t.primary {
        ends.push((class_of(*volts, span, 0), *terminal));
    }
    let mut counts: BTreeMap<u8, u8> = BTreeMap::new();
    let mut order: Vec<usize> = (0..t.windings.len()).collect();
    // The strongest first, where that is written.
    order.sort_by(|a, b| {
        let amps = |i: usize| t.windings[i].amps.unwrap_or(0.0);
        amps(*b).total_cmp(&amps(*a)).then(a.cmp(b))
    });
    for w in order {
        let winding = &t.windings[w];
        let span = outer(&winding.taps);
        let volts = span.1 - span.0;
        let what: u8 = if volts >= 120.0 {
            1
        } else if volts >= 15.0 {
            2
        } else if (4.5..5.6).contains(&volts) {
            3
        } else {
            4
        };
        let count = counts.entry(what).or_insert(0);
        let first = 8 + what * 24 + (*count).min(7) * 3;
        *count += 1;
        for (terminal, v) in &winding.taps {
            ends.push((class_of(*v, span, first), *terminal));
        }
    }
    for terminal in 0..part.terminals.len() {
        if !ends.iter().any(|(_, t)| *t == terminal) {
            ends.push((if t.primary.is_empty() { 0 } else { 7 }, terminal));
        }
    }
    ends
}
