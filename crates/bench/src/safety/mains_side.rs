//! The mains side as traced: what lies between each conductor and the primary.

use std::collections::{BTreeMap, BTreeSet, VecDeque};
use wiring::circuit::{Circuit, History, Kind, Part};
use wiring::{GROUND, NodeId};

/// What a tracing shows of one question.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Traced {
    /// As it should be, as far as it was typed.
    Right(String),
    /// Not as it should be.
    Wrong(String),
    /// Not traced; with what else helps.
    Unknown(String),
}

/// A capacitor from a mains conductor to the chassis.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct LineCapacitor {
    pub(super) part: String,
    pub(super) farads: Option<f64>,
    /// A note on it says class Y, and it is small enough for one.
    pub(super) is_y: bool,
}

/// One conductor's way to a primary.
#[derive(Debug, Clone, Default, PartialEq)]
struct Way {
    /// The conductor is named in the wiring.
    named: bool,
    /// Series parts in their order, up to the primary.
    parts: Vec<usize>,
    /// The primary lead that it ends on.
    lead: Option<(usize, usize)>,
    /// Every node it reaches through series parts.
    reach: BTreeSet<NodeId>,
}

pub(super) struct MainsSide<'a> {
    circuit: &'a Circuit,
    live: Way,
    neutral: Way,
    earth: Option<NodeId>,
    chassis: NodeId,
}

/// A resistance below this in a mains lead is in series with it.
const SERIES_OHMS: f64 = 1e4;

impl<'a> MainsSide<'a> {
    pub(super) fn of(circuit: &'a Circuit) -> Self {
        let named = |name: &str| {
            circuit
                .nodes
                .iter()
                .position(|n| n.names.iter().any(|x| x == name))
                .map(NodeId)
        };
        Self {
            circuit,
            live: way(circuit, named("live")),
            neutral: way(circuit, named("neutral")),
            earth: named("earth"),
            chassis: named("chassis").unwrap_or(GROUND),
        }
    }

    /// Both conductors are traced to a primary.
    pub(super) fn traced(&self) -> bool {
        self.live.lead.is_some() && self.neutral.lead.is_some()
    }

    /// Earth is traced to the metal.
    pub(super) fn earthed(&self) -> bool {
        self.earth == Some(self.chassis)
    }

    /// On one of the mains conductors, before the primary.
    pub(super) fn is_mains(&self, node: NodeId) -> bool {
        node != GROUND && (self.live.reach.contains(&node) || self.neutral.reach.contains(&node))
    }

    fn words(&self, from: &str, way: &Way) -> String {
        let mut words = vec![from.to_owned()];
        words.extend(way.parts.iter().map(|p| self.name(*p)));
        if let Some((part, terminal)) = way.lead {
            let name = self
                .circuit
                .parts
                .get(part)
                .and_then(|p| p.terminals.get(terminal));
            words.push(format!(
                "{}.{}",
                self.name(part),
                name.map_or("?", |t| &t.name)
            ));
        }
        words.join(" - ")
    }

    fn name(&self, part: usize) -> String {
        self.circuit
            .parts
            .get(part)
            .map_or_else(String::new, |p| p.name.clone())
    }

    fn first(&self, way: &Way, is: impl Fn(&Kind) -> bool) -> Option<usize> {
        way.parts
            .iter()
            .position(|p| self.circuit.parts.get(*p).is_some_and(|p| is(&p.kind)))
    }

    /// Fuse in live, ahead of the switch.
    pub(super) fn fuse(&self) -> Traced {
        let is_fuse = |k: &Kind| matches!(k, Kind::Fuse { .. });
        let is_switch = |k: &Kind| matches!(k, Kind::Switch { .. });
        if self.live.lead.is_none() {
            return Traced::Unknown("The live conductor is not traced to the primary.".to_owned());
        }
        let shown = self.words("live", &self.live);
        let fuse = self.first(&self.live, is_fuse);
        let switch = self.first(&self.live, is_switch);
        match (fuse, switch) {
            (None, _) if self.first(&self.neutral, is_fuse).is_some() => Traced::Wrong(format!(
                "Traced: {shown}; the fuse is in the neutral. When it opens, everything inside stays live."
            )),
            (None, _) => Traced::Wrong(format!("Traced: {shown}; no fuse in it.")),
            (Some(f), Some(s)) if s < f => Traced::Wrong(format!(
                "Traced: {shown}; the switch and its leads are ahead of the fuse."
            )),
            (Some(_), None) if self.first(&self.neutral, is_switch).is_some() => {
                Traced::Wrong(format!(
                    "Traced: {shown}; the switch is in the neutral only, so everything inside stays live when it is off."
                ))
            }
            (Some(_), _) => Traced::Right(format!("Traced: {shown}.")),
        }
    }

    /// Neutral without a fuse, to the other end of the same primary.
    pub(super) fn neutral(&self) -> Traced {
        if self.neutral.lead.is_none() {
            return Traced::Unknown("The neutral is not traced to the primary.".to_owned());
        }
        let shown = self.words("neutral", &self.neutral);
        if self
            .first(&self.neutral, |k| matches!(k, Kind::Fuse { .. }))
            .is_some()
        {
            return Traced::Wrong(format!(
                "Traced: {shown}; a fuse in it is no improvement: when it alone opens, everything stays live."
            ));
        }
        match (self.live.lead, self.neutral.lead) {
            (Some(a), Some(b)) if a == b => Traced::Wrong(format!(
                "Traced: {shown}; live and neutral end on the same lead."
            )),
            _ => Traced::Right(format!("Traced: {shown}.")),
        }
    }

    /// What the fuses in the mains lead are marked with.
    pub(super) fn fuse_marking(&self) -> Traced {
        let fuses = self.live.parts.iter().chain(&self.neutral.parts);
        let words: Vec<String> = fuses
            .filter_map(|p| {
                let part = self.circuit.parts.get(*p)?;
                let Kind::Fuse { amps, slow } = part.kind else {
                    return None;
                };
                let speed = if slow { "time-lag" } else { "quick" };
                Some(match amps {
                    Some(a) => format!("{} is written as {a} A {speed}", part.name),
                    None => format!("{} has no rating in the wiring", part.name),
                })
            })
            .collect();
        if words.is_empty() {
            return Traced::Unknown(String::new());
        }
        Traced::Unknown(format!(
            "{}. Never a larger or slower one.",
            words.join("; ")
        ))
    }

    /// Poles of one switch in both conductors.
    pub(super) fn two_pole(&self) -> Traced {
        if !self.traced() {
            return Traced::Unknown(String::new());
        }
        let shaft = |way: &Way| -> Option<String> {
            let at = self.first(way, |k| matches!(k, Kind::Switch { .. }))?;
            let part = self.circuit.parts.get(*way.parts.get(at)?)?;
            Some(part.parent.clone().unwrap_or_else(|| part.name.clone()))
        };
        match (shaft(&self.live), shaft(&self.neutral)) {
            (Some(a), Some(b)) if a == b => Traced::Right(format!("Traced: {a} breaks both.")),
            (Some(a), None) => Traced::Unknown(format!(
                "Traced: {a} breaks one conductor; turned round, the plug leaves everything live when it is off."
            )),
            _ => Traced::Unknown(String::new()),
        }
    }

    /// Earth straight to the metal.
    pub(super) fn earth(&self) -> Traced {
        let Some(earth) = self.earth else {
            return Traced::Unknown(
                "`earth` is not in the wiring; type `earth - chassis` once it is seen.".to_owned(),
            );
        };
        if earth == self.chassis {
            return Traced::Right("Traced: earth - chassis.".to_owned());
        }
        let between: Vec<String> = self
            .circuit
            .parts
            .iter()
            .filter(|p| crate::powered::ends(p).is_some_and(|(a, b)| a == earth || b == earth))
            .map(|p| p.name.clone())
            .collect();
        if between.is_empty() {
            Traced::Unknown("Traced: earth ends before the chassis.".to_owned())
        } else {
            Traced::Wrong(format!(
                "Traced: {} between earth and the rest; nothing may be in that lead.",
                between.join(", ")
            ))
        }
    }

    /// Capacitors from a mains conductor to ground or chassis.
    pub(super) fn line_capacitors(&self) -> Vec<LineCapacitor> {
        self.capacitors()
            .filter(|(_, a, b)| {
                let metal = |n: NodeId| n == GROUND || n == self.chassis || Some(n) == self.earth;
                self.is_mains(*a) && metal(*b) || self.is_mains(*b) && metal(*a)
            })
            .map(|(part, _, _)| {
                let farads = match part.kind {
                    Kind::Capacitor { farads, .. } => crate::powered::value(part, farads),
                    _ => None,
                };
                let most = crate::rules::rules()
                    .figure("mains.suppression_cap", "Y capacitor")
                    .unwrap_or(4.7e-9)
                    .min(4.7e-9);
                let said = part
                    .known
                    .notes
                    .iter()
                    .any(|n| n.contains("Y1") || n.contains("Y2"));
                LineCapacitor {
                    part: part.name.clone(),
                    farads,
                    is_y: said && farads.is_some_and(|f| f <= most * 1.000_001),
                }
            })
            .collect()
    }

    /// One that was there, and is noted as removed.
    pub(super) fn removed_line_capacitor(&self) -> Option<String> {
        self.circuit
            .parts
            .iter()
            .find(|p| {
                matches!(p.kind, Kind::Capacitor { .. })
                    && p.known.history == Some(History::Removed)
                    && p.known.notes.iter().any(|n| {
                        let n = n.to_lowercase();
                        n.contains("chassis")
                            && ["line", "live", "neutral", "mains"]
                                .iter()
                                .any(|w| n.contains(w))
                    })
            })
            .map(|p| p.name.clone())
    }

    /// Capacitors between the mains conductors.
    pub(super) fn mains_capacitors(&self) -> Vec<String> {
        self.capacitors()
            .filter(|(_, a, b)| self.is_mains(*a) && self.is_mains(*b))
            .map(|(p, _, _)| p.name.clone())
            .collect()
    }

    fn capacitors(&self) -> impl Iterator<Item = (&'a Part, NodeId, NodeId)> {
        self.circuit
            .parts
            .iter()
            .filter(|p| {
                matches!(p.kind, Kind::Capacitor { .. })
                    && p.known.history != Some(History::Removed)
            })
            .filter_map(|p| {
                let (a, b) = crate::powered::ends(p)?;
                Some((p, a, b))
            })
    }

    /// What is not traced, and what to type.
    pub(super) fn missing(&self) -> Vec<(String, String)> {
        let mut all = Vec::new();
        let mut conductor = |way: &Way, name: &str, example: &str| {
            if way.lead.is_none() {
                let what = if way.named {
                    "the way from"
                } else {
                    "the conductor"
                };
                all.push((
                    format!("{what} {name} to the primary"),
                    format!("Trace it, as in `{example}`."),
                ));
            }
        };
        conductor(
            &self.live,
            "live",
            "live - F1 fuse 1A slow - S1 switch closed - T1.pri1",
        );
        conductor(&self.neutral, "neutral", "neutral - T1.pri2");
        if self.earth.is_none() {
            all.push((
                "the protective earth".to_owned(),
                "Trace it, as in `earth - chassis - ground`; without an earth lead, put `cord two-wire` in the heading."
                    .to_owned(),
            ));
        }
        all
    }
}

/// From a conductor through fuses, switches, chokes and small resistors to the nearest primary.
fn way(circuit: &Circuit, from: Option<NodeId>) -> Way {
    let Some(from) = from else {
        return Way::default();
    };
    let mut ways: BTreeMap<NodeId, Vec<(usize, NodeId)>> = BTreeMap::new();
    let mut leads: BTreeMap<NodeId, (usize, usize)> = BTreeMap::new();
    for (index, part) in circuit.parts.iter().enumerate() {
        if part.known.history == Some(History::Removed) {
            continue;
        }
        if let Kind::PowerTransformer(t) = &part.kind {
            let primary: Vec<usize> = if t.primary.is_empty() {
                vec![0, 1]
            } else {
                t.primary.iter().map(|p| p.0).collect()
            };
            for terminal in primary {
                let node = part.terminals.get(terminal).and_then(|t| t.node);
                if let Some(node) = node.filter(|n| *n != GROUND) {
                    leads.entry(node).or_insert((index, terminal));
                }
            }
            continue;
        }
        let series = match &part.kind {
            Kind::Fuse { .. } | Kind::Switch { .. } | Kind::Choke { .. } => true,
            Kind::Resistor { ohms } => ohms.is_none_or(|r| r < SERIES_OHMS),
            _ => false,
        };
        if !series {
            continue;
        }
        let nodes: Vec<NodeId> = part.terminals.iter().filter_map(|t| t.node).collect();
        if let Some((common, throws)) = nodes.split_first() {
            for throw in throws.iter().filter(|n| *n != common) {
                ways.entry(*common).or_default().push((index, *throw));
                ways.entry(*throw).or_default().push((index, *common));
            }
        }
    }
    let mut came: BTreeMap<NodeId, (usize, NodeId)> = BTreeMap::new();
    let mut reach = BTreeSet::from([from]);
    let mut ahead = VecDeque::from([from]);
    let mut end = None;
    while let Some(node) = ahead.pop_front() {
        if end.is_none()
            && let Some(lead) = leads.get(&node)
        {
            end = Some((node, *lead));
        }
        for (part, next) in ways.get(&node).into_iter().flatten() {
            if *next != GROUND && reach.insert(*next) {
                came.insert(*next, (*part, node));
                ahead.push_back(*next);
            }
        }
    }
    let mut parts = Vec::new();
    if let Some((mut node, _)) = end {
        while let Some((part, before)) = came.get(&node) {
            parts.push(*part);
            node = *before;
        }
        parts.reverse();
    }
    Way {
        named: true,
        parts,
        lead: end.map(|e| e.1),
        reach,
    }
}
