//! Which points a chart lists, under which names, in which order.
//!
//! Every wired electrode and every bare point once; a node that has several names is one
//! line with the others beside it. Order, as a probe goes round: supply points from the
//! highest volts down, then valve by valve with the pins in order, then what else was read,
//! ground last. A reading `A to B` follows the line of `A`.

use wiring::circuit::{Circuit, Electrode, Kind, NodeId, Valve};

/// A node with its names, the preferred first.
#[derive(Debug, Clone, PartialEq)]
pub struct Point {
    /// The node.
    pub node: NodeId,
    /// All names; never empty.
    pub names: Vec<String>,
    /// Position in the order, before volts are known.
    pub rank: Rank,
}

/// Where a point comes in the order.
#[derive(Debug, Clone, PartialEq, PartialOrd)]
pub enum Rank {
    /// A bare point that is no electrode's only name: supply, bias, tie points.
    Bare,
    /// Valve (in the order of names, `V2` before `V10`) and pin.
    Pin(u32, String, u32),
    /// A node that is listed only because it was read.
    Other,
    /// Ground.
    Ground,
}

/// Every point that a chart lists, in an order that does not yet know volts.
#[must_use]
pub fn points(circuit: &Circuit) -> Vec<Point> {
    let mut all: Vec<Point> = (0..circuit.nodes.len())
        .filter_map(|n| point(circuit, NodeId(n), false))
        .collect();
    all.sort_by(|a, b| {
        a.rank
            .partial_cmp(&b.rank)
            .unwrap_or(std::cmp::Ordering::Equal)
    });
    all
}

/// One node as a point; `read` lists it even when it is no electrode and has no bare name.
#[must_use]
pub fn point(circuit: &Circuit, node: NodeId, read: bool) -> Option<Point> {
    let found = circuit.nodes.get(node.0)?;
    let mut names = found.names.clone();
    let mut pins: Vec<(Rank, Vec<String>)> = Vec::new();
    let mut others = Vec::new();
    for (part, terminal) in &found.terminals {
        let Some(part) = circuit.parts.get(part.0) else {
            continue;
        };
        let Some(end) = part.terminals.get(*terminal) else {
            continue;
        };
        let typed = format!("{}.{}", part.name, end.name);
        match &part.kind {
            Kind::Valve(valve) => {
                let words = electrode_names(&part.name, valve, *terminal);
                if words.is_empty() {
                    others.push(typed);
                } else {
                    let (number, name) = natural(&part.name);
                    let rank = Rank::Pin(number, name, natural(&end.name).0);
                    pins.push((rank, std::iter::once(typed).chain(words).collect()));
                }
            }
            _ if part.terminals.len() > 2 => others.push(typed),
            _ if read => others.push(typed),
            _ => {}
        }
    }
    pins.sort_by(|a, b| a.0.partial_cmp(&b.0).unwrap_or(std::cmp::Ordering::Equal));
    let rank = if node == wiring::GROUND {
        Rank::Ground
    } else if !names.is_empty() {
        Rank::Bare
    } else if let Some((rank, _)) = pins.first() {
        rank.clone()
    } else if read {
        Rank::Other
    } else {
        return None;
    };
    for (_, words) in pins {
        names.extend(words);
    }
    names.extend(others);
    if node == wiring::GROUND && names.is_empty() {
        names.push("ground".to_owned());
    }
    let mut seen = Vec::new();
    names.retain(|n| {
        !seen.contains(n) && {
            seen.push(n.clone());
            true
        }
    });
    (!names.is_empty()).then_some(Point { node, names, rank })
}

/// `V1a.plate` for each use of a pin, heaters and shields included.
fn electrode_names(valve: &str, of: &Valve, terminal: usize) -> Vec<String> {
    of.electrodes
        .iter()
        .filter(|p| p.terminal == terminal && p.electrode != Electrode::Internal)
        .map(|p| match p.section {
            Some(section) => format!("{valve}{section}.{}", p.electrode.word()),
            None => format!("{valve}.{}", p.electrode.word()),
        })
        .collect()
}

/// What a node is called first, as a probe's place.
#[must_use]
pub fn first_name(circuit: &Circuit, node: NodeId) -> String {
    point(circuit, node, true)
        .and_then(|p| p.names.into_iter().next())
        .unwrap_or_else(|| format!("point {}", node.0))
}

/// The first number in a name, then the name: so that `V2` stands before `V10`.
#[must_use]
pub fn natural(name: &str) -> (u32, String) {
    let digits: String = name
        .chars()
        .skip_while(|c| !c.is_ascii_digit())
        .take_while(char::is_ascii_digit)
        .collect();
    (digits.parse().unwrap_or(u32::MAX), name.to_owned())
}

/// Both ends of a two-terminal part that is wired at both.
#[must_use]
pub fn two_ends(part: &wiring::Part) -> Option<(NodeId, NodeId)> {
    match part.terminals.as_slice() {
        [a, b] => Some((a.node?, b.node?)),
        _ => None,
    }
}

/// Does the part lie between these two nodes (a transformer by any of its terminals)?
#[must_use]
pub fn joins(part: &wiring::Part, a: NodeId, b: NodeId) -> bool {
    let touches = |node| part.terminals.iter().any(|t| t.node == Some(node));
    a != b && touches(a) && touches(b)
}
