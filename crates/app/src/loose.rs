//! Loose ends of a tracing: where the next wire waits to be followed.

use wiring::Circuit;

/// Bare names with at most one thing on them, and terminals that lead nowhere, in wiring order.
pub(crate) fn ends(circuit: &Circuit) -> Vec<String> {
    let mut ends = Vec::new();
    for (index, node) in circuit.nodes.iter().enumerate() {
        if index == 0 || node.unused.is_some() {
            continue;
        }
        let joined = node.terminals.len();
        let outside = node
            .names
            .iter()
            .any(|n| matches!(n.as_str(), "live" | "neutral" | "earth" | "chassis"));
        if joined <= 1 && !outside {
            let terminal = node.terminals.first().and_then(|(part, terminal)| {
                let part = circuit.parts.get(part.0)?;
                Some(format!(
                    "{}.{}",
                    part.name,
                    part.terminals.get(*terminal)?.name
                ))
            });
            ends.extend(node.names.first().cloned().or(terminal));
        }
    }
    ends
}
