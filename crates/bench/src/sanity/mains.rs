//! Sets without an isolating transformer: a chassis or a heater chain on the mains.

use super::Look;
use super::paths::Through;
use crate::rules::Gravity;
use wiring::circuit::{Electrode, Kind};
use wiring::{GROUND, NodeId};

pub(super) fn check(look: &mut Look<'_>) {
    let mains: Vec<(NodeId, &str)> = look
        .circuit
        .nodes
        .iter()
        .enumerate()
        .filter_map(|(i, n)| {
            n.names
                .iter()
                .find_map(|x| match x.as_str() {
                    "live" => Some("live"),
                    "neutral" => Some("neutral"),
                    _ => None,
                })
                .map(|w| (NodeId(i), w))
        })
        .collect();
    let mut hot = None;
    let mut series: Vec<String> = Vec::new();
    for (node, word) in &mains {
        // Windings are not crossed: what lies behind a transformer is isolated from the mains.
        let reach = look
            .paths
            .reach(*node, |t| t != Through::Winding, |_| false);
        if reach.contains(&GROUND) || *node == GROUND {
            hot = Some(*word);
        }
        for p in &look.circuit.parts {
            if let Kind::Valve(valve) = &p.kind
                && valve.electrodes.iter().any(|u| {
                    matches!(u.electrode, Electrode::Heater1 | Electrode::Heater2)
                        && p.terminals
                            .get(u.terminal)
                            .and_then(|t| t.node)
                            .is_some_and(|n| n != GROUND && reach.contains(&n))
                })
                && !series.contains(&p.name)
            {
                series.push(p.name.clone());
            }
        }
    }
    if let Some(word) = hot {
        look.add(
            "chassis-on-mains",
            Gravity::Stop,
            vec![word.to_owned(), "ground".to_owned()],
            format!("Direct current has a way from {word} to circuit ground: this set has no isolating transformer, or one side of the mains is joined to the chassis."),
            "STOP. Do not connect it to the mains, to test gear or to another amplifier except through an isolating transformer, and do not hand it back so. Local electrical codes and licensed practice decide.",
        );
    }
    if !series.is_empty() {
        let message = format!(
            "The heaters of {} are fed from the mains without a transformer.",
            series.join(" ")
        );
        look.add(
            "heaters-on-mains",
            Gravity::Stop,
            series,
            message,
            "STOP. Every point of this set may be live. Work on it only through an isolating transformer. Local electrical codes and licensed practice decide.",
        );
    }
}
