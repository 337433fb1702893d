//! What the supply's points say together.

use super::super::entry::{Entry, name_of};
use super::super::points::{joins, two_ends};
use super::super::verdict::K95;
use super::{Told, far, is_out, is_outside, worst};
use crate::digits::volts;
use wiring::circuit::{Circuit, Kind, NodeId};
use wiring::readings::{Probe, Unit};

/// The points of the supply: joined to a rectifier's output or to each other by resistors and
/// chokes, and feeding; told by their volts (50 V and more) and by having no plate of a triode
/// behind a load.
fn points<'a>(circuit: &Circuit, entries: &'a [Entry]) -> Vec<&'a Entry> {
    entries
        .iter()
        .filter(|e| {
            let Some(node) = e.volts_at() else {
                return false;
            };
            e.number().is_some()
                && e.band.is_some_and(|b| b.centre > 50.0)
                && has_filter_capacitor(circuit, node)
        })
        .collect()
}

/// A capacitor of 1 uF or more from the node to ground.
pub(super) fn has_filter_capacitor(circuit: &Circuit, node: NodeId) -> bool {
    circuit.nodes.get(node.0).is_some_and(|n| {
        n.terminals.iter().any(|(id, _)| {
            circuit.parts.get(id.0).is_some_and(|part| {
                matches!(part.kind, Kind::Capacitor { farads: Some(f), .. } if f >= 1e-6)
                    && part
                        .terminals
                        .iter()
                        .any(|t| t.node == Some(wiring::GROUND))
            })
        })
    })
}

/// All supply points by one ratio: mains or rectifier, not one stage.
pub(super) fn ratio(circuit: &Circuit, entries: &[Entry], told: &mut Told) {
    let supply = points(circuit, entries);
    let ratios: Vec<f64> = supply
        .iter()
        .filter_map(|e| Some(e.number()? / e.band?.centre))
        .collect();
    if ratios.len() < 2 {
        return;
    }
    let mean = ratios.iter().sum::<f64>() / ratios.len() as f64;
    let together = ratios.iter().all(|r| (r - mean).abs() < 0.03);
    let worst = worst(supply.iter().copied());
    if !together || worst.abs() <= K95 {
        return;
    }
    let points: Vec<&str> = supply.iter().map(|e| e.point.as_str()).collect();
    let sentence = format!(
        "{} all stand at about {:.0} % of what is expected: one ratio for the whole supply, which points before the first of them (mains, rectifier, reservoir, or a load on all of them) rather than at one stage.",
        points.join(", "),
        mean * 100.0
    );
    told.ratio = Some(mean);
    told.say(worst, &points, sentence);
}

/// A supply point that is out behind one that is not: the part between them, or what hangs on
/// the farther one. The points behind it that are out by as much belong to the same group.
pub(super) fn group(circuit: &Circuit, entries: &[Entry], told: &mut Told) {
    if told.ratio.is_some() {
        return;
    }
    let supply = points(circuit, entries);
    for part in &circuit.parts {
        if !matches!(part.kind, Kind::Resistor { .. } | Kind::Choke { .. }) {
            continue;
        }
        let Some((a, b)) = two_ends(part) else {
            continue;
        };
        let at = |node: NodeId| supply.iter().find(|e| e.volts_at() == Some(node)).copied();
        let (Some(one), Some(other)) = (at(a), at(b)) else {
            continue;
        };
        let expected = |e: &Entry| e.band.map_or(0.0, |b| b.centre);
        let (near, fed) = if expected(one) >= expected(other) {
            (one, other)
        } else {
            (other, one)
        };
        if is_out(near) || !is_outside(fed) || told.knows(&fed.point) {
            continue;
        }
        let low = far(fed) < 0.0;
        let behind: Vec<&Entry> = supply
            .iter()
            .copied()
            .filter(|e| expected(e) < expected(fed) && is_out(e) && (far(e) < 0.0) == low)
            .collect();
        let mut names = vec![fed.point.as_str()];
        names.extend(behind.iter().map(|e| e.point.as_str()));
        let (Some(read), Some(band)) = (fed.number(), fed.band) else {
            continue;
        };
        let mut through = vec![part.name.as_str()];
        let end = follow(circuit, &supply, fed, &mut through);
        let cause = match (low, through.as_slice()) {
            (true, [one]) => format!(
                "{one} has risen, or something at or after {} draws too much: an electrolytic that leaks, or a stage",
                fed.point
            ),
            (true, several) => format!(
                "more current than usual goes through {}, so something at or after {} draws too much: an electrolytic that leaks, or a stage",
                several.join(" and "),
                end.point
            ),
            (false, _) => format!(
                "{} has fallen, or what {} feeds draws too little",
                part.name, fed.point
            ),
        };
        let sentence = format!(
            "{} {} {} ({} for about {}) while {} before it is as expected: {cause}.",
            names.join(" and "),
            if names.len() > 1 { "are" } else { "is" },
            if low { "low" } else { "high" },
            volts(read),
            volts(band.centre),
            near.point
        );
        told.say(far(fed), &names, sentence);
    }
}

/// Follows a current that is too large down the supply, from part to part whose drop is a
/// tenth above the expected one, and gives the last point it reaches.
fn follow<'a>(
    circuit: &'a Circuit,
    supply: &[&'a Entry],
    from: &'a Entry,
    through: &mut Vec<&'a str>,
) -> &'a Entry {
    let mut at = from;
    // a ladder is no longer than its points
    for _ in 0..supply.len() {
        let next = circuit.parts.iter().find_map(|part| {
            if !matches!(part.kind, Kind::Resistor { .. } | Kind::Choke { .. })
                || through.contains(&part.name.as_str())
            {
                return None;
            }
            let (a, b) = two_ends(part)?;
            let here = at.volts_at()?;
            let other = match (a == here, b == here) {
                (true, false) => b,
                (false, true) => a,
                _ => return None,
            };
            let fed = supply.iter().find(|e| e.volts_at() == Some(other))?;
            let drop = at.number()? - fed.number()?;
            let expected = at.band?.centre - fed.band?.centre;
            (expected > 0.0 && drop > 1.1 * expected).then_some((part, *fed))
        });
        let Some((part, fed)) = next else { break };
        through.push(part.name.as_str());
        at = fed;
    }
    at
}

/// Volts across a resistor or choke that are out: more or less current, or another value.
pub(super) fn drops(circuit: &Circuit, entries: &[Entry], told: &mut Told) {
    for entry in entries {
        if entry.unit != Unit::VoltsDc || !is_out(entry) || told.knows(&entry.point) {
            continue;
        }
        let nodes = match entry.probe {
            Probe::Between(a, b) => Some((a, b)),
            Probe::Across(id) => circuit.parts.get(id.0).and_then(two_ends),
            _ => None,
        };
        let (Some((a, b)), Some(read), Some(band)) = (nodes, entry.number(), entry.band) else {
            continue;
        };
        let Some(part) = circuit.parts.iter().find(|p| {
            matches!(
                p.kind,
                Kind::Resistor { .. } | Kind::Choke { .. } | Kind::OutputTransformer(_)
            ) && joins(p, a, b)
        }) else {
            continue;
        };
        let more = read.abs() > band.centre.abs();
        let downstream = if band.centre >= 0.0 { b } else { a };
        let fed = name(entries, circuit, downstream);
        let sentence = if more && matches!(part.kind, Kind::OutputTransformer(_)) {
            format!(
                "{} drops {} V where {} V is expected: more current than usual through {}'s winding, or a winding of more ohms.",
                entry.point,
                volts(read),
                volts(band.centre),
                part.name
            )
        } else if more {
            let electrolytic = filter_capacitor(circuit, downstream);
            let leak = electrolytic.map_or_else(String::new, |c| format!(" ({c} is there)"));
            format!(
                "{} drops {} V where {} V is expected: more current goes through {} than the stages behind it should take. That suggests a leak at or after {fed}{leak}, or a stage behind it that draws too much, or that {} has risen. Its ohms, and the drops further on, tell these apart.",
                entry.point,
                volts(read),
                volts(band.centre),
                part.name,
                part.name
            )
        } else {
            format!(
                "{} drops {} V where {} V is expected: less current than usual goes through {}, or it has fallen in value. Look at what {fed} feeds.",
                entry.point,
                volts(read),
                volts(band.centre),
                part.name
            )
        };
        told.say(far(entry), &[&entry.point], sentence);
    }
}

fn filter_capacitor(circuit: &Circuit, node: NodeId) -> Option<&str> {
    circuit
        .nodes
        .get(node.0)?
        .terminals
        .iter()
        .find_map(|(id, _)| {
            let part = circuit.parts.get(id.0)?;
            matches!(part.kind, Kind::Capacitor { farads: Some(f), .. } if f >= 1e-6)
                .then_some(part.name.as_str())
        })
}

fn name(entries: &[Entry], circuit: &Circuit, node: NodeId) -> String {
    circuit
        .nodes
        .get(node.0)
        .and_then(|n| n.names.first().cloned())
        .unwrap_or_else(|| name_of(entries, node))
}
