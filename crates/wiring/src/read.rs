//! Reading texts: the circuit they mean, and every problem in them.

use crate::circuit::Circuit;
use crate::codes;
use crate::diagnostic::Diagnostic;
use crate::entries;
use crate::heading;
use crate::problems::Problems;
use crate::readings::Block;
use crate::resolve::resolve;
use crate::sheet::Library;
use crate::statement::{Shape, statements};

/// One text with its name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Text<'a> {
    /// What messages call it. A name that ends in `.readings` begins inside a readings block.
    pub name: &'a str,
    /// The text.
    pub text: &'a str,
}

/// What reading gave.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Read {
    /// All that was understood.
    pub circuit: Circuit,
    /// All that was not, and what is worth knowing, in the order of the texts.
    pub problems: Vec<Diagnostic>,
}

impl Read {
    /// Is there any error among the problems? Warnings and notes are none.
    #[must_use]
    pub fn has_errors(&self) -> bool {
        self.problems
            .iter()
            .any(|d| d.severity == crate::diagnostic::Severity::Error)
    }
}

/// Reads texts that are joined in this order.
///
/// Never fails: what could not be understood is in the problems, and everything else in
/// the circuit. Each text begins outside readings blocks, or inside one when its name ends
/// in `.readings`. The same texts give the same result.
///
/// ```
/// use wiring::{read, Text, sheet::Library};
/// let text = Text { name: "stage.wiring", text: "V1 12AX7\nV1.1 - R4 100k - B3\nB3 - V1.6\n" };
/// let read = read(&[text], Library::built_in());
/// assert!(!read.has_errors());
/// assert_eq!(read.circuit.node("V1a.plate"), read.circuit.node("V1.1"));
/// ```
#[must_use]
pub fn read(texts: &[Text<'_>], library: &Library) -> Read {
    let mut problems = Problems::default();
    let mut shapes: Vec<Shape<'_>> = Vec::new();
    for (file, text) in texts.iter().enumerate() {
        let in_readings = text.name.ends_with(".readings");
        shapes.extend(statements(text.text, file, in_readings, &mut problems));
    }
    let heading = heading::headings(&shapes, &mut problems);
    let sets = heading::sets(&shapes, &mut problems);
    let mut circuit = resolve(&shapes, heading, sets, library, &mut problems);
    circuit.readings = entries::blocks(&shapes, &circuit, &mut problems);
    circuit.assumed_walks = shapes
        .iter()
        .filter(|shape| matches!(shape, Shape::Walk { assumed: true, .. }))
        .count();
    Read {
        circuit,
        problems: problems.sorted(),
    }
}

/// Reads one text without a name, with the built-in data sheets.
#[must_use]
pub fn read_one(text: &str) -> Read {
    read(&[Text { name: "", text }], Library::built_in())
}

/// Reads a text of readings against a circuit that was read before.
///
/// The text begins inside a readings block, whatever its name. Places carry file index 0.
#[must_use]
pub fn read_readings(text: &Text<'_>, circuit: &Circuit) -> (Vec<Block>, Vec<Diagnostic>) {
    let mut problems = Problems::default();
    let shapes = statements(text.text, 0, true, &mut problems);
    for shape in &shapes {
        let place = match shape {
            Shape::Readings(..) | Shape::Entry(_) => continue,
            Shape::Heading(words) | Shape::Set(words) | Shape::Plain(words) => {
                words.first().map(|w| w.place)
            }
            Shape::Walk { items, .. } => items.first().map(crate::statement::Item::place),
        };
        problems.add(
            codes::WALK_IN_READINGS,
            place.unwrap_or_default(),
            "Only readings are read from this text.",
            "Move this line to the wiring.",
        );
    }
    let blocks = entries::blocks(&shapes, circuit, &mut problems);
    (blocks, problems.sorted())
}
