//! Starting from a drawing: its walks copied as assumed, to be confirmed on the chassis one by one.

use crate::circuit::{Circuit, Kind};
use crate::lexer::{self, TokenKind};
use serde::Serialize;
use std::fmt::Write;

/// What of a wiring is still assumed, not yet seen on the chassis.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Assumed {
    /// Walks that end in `?`.
    pub walks: usize,
    /// Points known only from such walks.
    pub points: usize,
    /// Parts known only from such walks, or described as assumed.
    pub parts: Vec<String>,
}

/// So many parts are named in the sentence; of more it says how many.
const NAMED: usize = 6;

impl Assumed {
    /// Counts what is assumed in a circuit.
    ///
    /// ```
    /// let circuit = wiring::read_one("V1 12AX7\nV1.1 - R4 100k - B3 ?\n").circuit;
    /// let assumed = wiring::assume::Assumed::of(&circuit);
    /// assert_eq!(
    ///     assumed.sentence().unwrap(),
    ///     "Still assumed, not yet seen on the chassis: 1 walk, 2 points, 2 parts (V1, R4)."
    /// );
    /// ```
    #[must_use]
    pub fn of(circuit: &Circuit) -> Self {
        Self {
            walks: circuit.assumed_walks,
            points: circuit.nodes.iter().filter(|n| n.assumed).count(),
            parts: circuit
                .parts
                .iter()
                .filter(|p| (p.assumed || p.known.assumed) && p.kind != Kind::Unknown)
                .map(|p| p.name.clone())
                .collect(),
        }
    }

    /// The sentence that stands under everything computed from such a wiring; none when nothing is
    /// assumed.
    #[must_use]
    pub fn sentence(&self) -> Option<String> {
        let mut counts = Vec::new();
        for (n, one) in [
            (self.walks, "walk"),
            (self.points, "point"),
            (self.parts.len(), "part"),
        ] {
            if n > 0 {
                counts.push(format!("{n} {one}{}", if n == 1 { "" } else { "s" }));
            }
        }
        if counts.is_empty() {
            return None;
        }
        let mut said = format!(
            "Still assumed, not yet seen on the chassis: {}",
            counts.join(", ")
        );
        if !self.parts.is_empty() {
            let named: Vec<&str> = self.parts.iter().take(NAMED).map(String::as_str).collect();
            let _ = write!(said, " ({}", named.join(", "));
            if self.parts.len() > NAMED {
                let _ = write!(said, " and {} more", self.parts.len() - NAMED);
            }
            said.push(')');
        }
        said.push('.');
        Some(said)
    }
}

/// The same wiring with every walk marked as assumed (` ?`), and its `state` and readings left out
/// of it: what a drawing says is not what the bench has seen.
///
/// Comments, order and spacing stay. A walk that was marked already stays as it is; lines that are
/// no walks (descriptions, headings, `set`) stay untouched. Readings blocks are dropped, because
/// they belong to another amplifier.
///
/// ```
/// let text = "V1 12AX7\nV1.1 - R4 100k - B3  # load\nreadings as left\nV1.1 172\n";
/// assert_eq!(wiring::assume::assume(text), "V1 12AX7\nV1.1 - R4 100k - B3 ?  # load\n");
/// ```
#[must_use]
pub fn assume(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 64);
    let mut in_readings = false;
    for line in lexer::lines(text) {
        let first = line.significant().next().map(|t| t.text(line.text));
        let dashed = line
            .significant()
            .any(|t| matches!(t.kind, TokenKind::Dash | TokenKind::Open));
        match first {
            Some("readings") if !dashed => {
                in_readings = true;
                continue;
            }
            Some("wiring") if line.significant().count() == 1 => {
                in_readings = false;
                continue;
            }
            Some("state") if !dashed => continue,
            _ if in_readings => continue,
            _ => {}
        }
        let last = line
            .significant()
            .filter(|t| t.kind != TokenKind::Comment)
            .last();
        match last {
            Some(t) if dashed && t.kind != TokenKind::Question && is_walk(&line) => {
                out.push_str(&line.text[..t.end]);
                out.push_str(" ?");
                out.push_str(&line.text[t.end..]);
            }
            _ => out.push_str(line.text),
        }
        out.push_str(line.ending);
    }
    out
}

/// A dash between stops makes a walk, unless the line is a heading or ends a lead (`unused`).
fn is_walk(line: &lexer::Line<'_>) -> bool {
    let words: Vec<&str> = line.significant().map(|t| t.text(line.text)).collect();
    !words.contains(&"unused") && !words.contains(&"apart")
}

#[cfg(test)]
mod tests {
    use super::{Assumed, assume};

    #[test]
    fn nothing_assumed_is_not_spoken_of() {
        let circuit = crate::read_one(include_str!("../../../examples/pip.wiring")).circuit;
        let assumed = Assumed::of(&circuit);
        assert_eq!(assumed, Assumed::default());
        assert_eq!(assumed.sentence(), None);
    }

    #[test]
    fn few_parts_are_named_and_many_are_counted() {
        let text = assume(include_str!("../../../examples/pip.wiring"));
        let said = Assumed::of(&crate::read_one(&text).circuit)
            .sentence()
            .unwrap_or_default();
        assert!(said.ends_with(" more)."), "{said}");
        // A part described as assumed counts, though its walk was seen.
        let part = crate::read_one("V1 12AX7\nR4 100k assumed\nV1.1 - R4 - B3\n").circuit;
        assert_eq!(
            Assumed::of(&part).sentence().as_deref(),
            Some("Still assumed, not yet seen on the chassis: 1 part (R4).")
        );
    }

    #[test]
    fn a_drawing_becomes_all_assumed_and_reads_as_the_same_circuit() {
        let drawing = include_str!("../../../examples/curlew.wiring");
        let assumed = assume(drawing);
        let (before, after) = (crate::read_one(drawing), crate::read_one(&assumed));
        assert!(!after.has_errors(), "{:#?}", after.problems);
        assert_eq!(before.circuit.assumed_walks, 0);
        assert!(after.circuit.assumed_walks > 80);
        assert_eq!(before.circuit.parts.len(), after.circuit.parts.len());
        assert!(
            after
                .circuit
                .nodes
                .iter()
                .skip(1)
                .filter(|n| !n.terminals.is_empty())
                .all(|n| n.assumed || n.unused.is_some())
        );
        // Twice is once.
        assert_eq!(assume(&assumed), assumed);
        // Confirming one walk takes it out of the count.
        let seen = assumed.replacen(
            "V1.1 - C2 22n 400V film replaced @ \"strip 2\" - VOLA.3 ?",
            "V1.1 - C2 22n 400V film replaced @ \"strip 2\" - VOLA.3",
            1,
        );
        assert_ne!(seen, assumed, "the walk is there");
        assert_eq!(
            crate::read_one(&seen).circuit.assumed_walks + 1,
            after.circuit.assumed_walks
        );
    }

    #[test]
    fn headings_and_descriptions_stay() {
        let text = "amp Marram Pip - second run\nR4 100k\nground - apart - chassis\nT2.s4 unused \"sleeved\"\nset VOLUME 5\n";
        assert_eq!(assume(text), text);
    }
}
