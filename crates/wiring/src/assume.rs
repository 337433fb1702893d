//! Starting from a drawing: its walks copied as assumed, to be confirmed on the chassis one by one.

use crate::lexer::{self, TokenKind};

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
    use super::assume;

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
