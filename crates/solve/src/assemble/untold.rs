//! Points that cannot have volts yet, because what feeds them, or what draws there, is not traced.
//!
//! Half a tracing solves: whatever no supply reaches stands at 0 V in the equations. On the bench it
//! does not, so those volts are not told. What is traced but open (a valve pulled, a standby switch, a
//! fuse that blew) is another matter: 0 V is right there. So the walks decide, not the equations.

use wiring::circuit::{Electrode, Kind};
use wiring::sheet::ValveKind;
use wiring::{GROUND, NodeId, Part};

use super::builder::Builder;
use super::power::span;
use super::sockets::Socket;

/// Why a point that no supply reaches has no volts.
const UNFED: &str = "no supply is traced as far as this: trace it, or let a bench supply stand for it (`PS1 supply 300 V`, `B1 - +PS1 - ground`)";

/// Points of the wiring, joined by what carries direct current, however switches and sockets stand.
struct Islands {
    /// For each point, another of its island, or itself.
    next: Vec<usize>,
    /// Points that a supply, the mains or a winding of a mains transformer holds.
    fed: Vec<bool>,
    /// Points that have volts in an amplifier under power: electrodes and electrolytics.
    live: Vec<bool>,
}

impl Islands {
    fn new(points: usize) -> Self {
        Self {
            next: (0..points).collect(),
            fed: vec![false; points],
            live: vec![false; points],
        }
    }

    fn of(&mut self, point: usize) -> usize {
        let mut at = point;
        while let Some(next) = self.next.get(at).copied()
            && next != at
        {
            // Half the way is shortened each time it is walked.
            let over = self.next.get(next).copied().unwrap_or(next);
            if let Some(slot) = self.next.get_mut(at) {
                *slot = over;
            }
            at = over;
        }
        at
    }

    /// Joins the points; ground joins nothing, for everything ends there.
    fn join(&mut self, points: impl IntoIterator<Item = NodeId>) {
        let mut first = None;
        for point in points.into_iter().filter(|p| *p != GROUND) {
            let island = self.of(point.0);
            match first {
                None => first = Some(island),
                Some(first) if first != island => {
                    if let Some(slot) = self.next.get_mut(island) {
                        *slot = first;
                    }
                }
                Some(_) => {}
            }
        }
    }
}

/// Marks what no traced supply reaches.
pub(super) fn mark(b: &mut Builder<'_>) {
    let circuit = b.circuit;
    let mut islands = Islands::new(circuit.nodes.len());
    for (index, node) in circuit.nodes.iter().enumerate() {
        if node.names.iter().any(|n| n == "live" || n == "neutral") {
            set(&mut islands.fed, NodeId(index));
        }
    }
    for part in circuit.parts.iter().filter(|p| !b.is_removed(p)) {
        take(b, part, &mut islands);
    }
    let points = circuit.nodes.len();
    let (mut fed, mut live) = (vec![false; points], vec![false; points]);
    for point in 0..points {
        let island = NodeId(islands.of(point));
        if islands.fed.get(point) == Some(&true) {
            set(&mut fed, island);
        }
        if islands.live.get(point) == Some(&true) {
            set(&mut live, island);
        }
    }
    for point in (0..points).filter(|p| *p != GROUND.0) {
        let island = islands.of(point);
        if live.get(island) == Some(&true) && fed.get(island) == Some(&false) {
            b.untold(NodeId(point), UNFED);
        }
    }
}

fn set(marks: &mut [bool], point: NodeId) {
    if let Some(mark) = marks.get_mut(point.0) {
        *mark = true;
    }
}

fn feed(islands: &mut Islands, points: impl Iterator<Item = NodeId>) {
    for point in points {
        set(&mut islands.fed, point);
    }
}

/// What a part joins, feeds and needs.
fn take(b: &Builder<'_>, part: &Part, islands: &mut Islands) {
    let wired = |t: &usize| b.wired(part, *t);
    let all = 0..part.terminals.len();
    let secondary = |wanted: bool| {
        let terminals = part.terminals.iter().enumerate();
        terminals
            .filter(move |(_, t)| t.name.starts_with('s') == wanted)
            .map(|(i, _)| i)
    };
    match &part.kind {
        Kind::Resistor { .. }
        | Kind::Choke { .. }
        | Kind::Diode { .. }
        | Kind::Bridge
        | Kind::Lamp { .. }
        | Kind::Cell { .. }
        | Kind::Fuse { .. }
        | Kind::Switch { .. }
        | Kind::Jack { .. }
        | Kind::Pot { .. }
        | Kind::Speaker { .. } => islands.join(all.filter_map(|t| wired(&t))),
        Kind::Capacitor { plus_first, .. } => {
            if plus_first.is_some() {
                for point in all.filter_map(|t| wired(&t)) {
                    set(&mut islands.live, point);
                }
            }
        }
        Kind::OutputTransformer(_) | Kind::CouplingTransformer(_) => {
            for wanted in [false, true] {
                islands.join(secondary(wanted).filter_map(|t| wired(&t)));
            }
        }
        // A side of the mains that is not traced counts as connected.
        Kind::PowerTransformer(t) => {
            let (low, high) = span(&t.primary);
            if low < high {
                feed(islands, all.filter_map(|t| wired(&t)));
            }
        }
        Kind::Supply { volts, .. } => {
            if volts.is_some() {
                feed(islands, all.filter_map(|t| wired(&t)));
            }
        }
        Kind::Gain { .. } => feed(islands, all.filter_map(|t| wired(&t))),
        Kind::Valve(valve) => {
            let socket = Socket::new(b, part, valve);
            let filament = socket
                .sheet
                .is_some_and(|s| s.kind == ValveKind::DirectlyHeatedRectifier);
            for letter in socket.sections() {
                let carries = [Electrode::Plate, Electrode::Screen, Electrode::Cathode];
                let pins = carries.iter().flat_map(|e| socket.pins(letter, *e));
                let ends = [Electrode::Heater1, Electrode::Heater2];
                let heater = ends.iter().flat_map(|e| socket.pins(letter, *e));
                let points: Vec<NodeId> = pins
                    .chain(heater.filter(|_| filament))
                    .filter_map(|t| b.wired(part, t))
                    .collect();
                for point in &points {
                    set(&mut islands.live, *point);
                }
                islands.join(points);
            }
        }
        Kind::Tank { .. } | Kind::Generator { .. } | Kind::Box { .. } | Kind::Unknown => {}
    }
}
