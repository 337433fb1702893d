//! Names of whatever characters, of whatever length: the drawing is legal, also where the typeface has none of them.

use draw::{Options, draw, look};
use proptest::prelude::*;

/// Characters of a name: of any script, few of which the typeface has, and the widest of them often.
fn character() -> impl Strategy<Value = char> {
    prop_oneof![
        3 => any::<char>(),
        2 => proptest::char::range('\u{4e00}', '\u{9fff}'),
        1 => prop_oneof![Just('\u{fdfd}'), Just('\u{fffd}'), Just('\u{1f525}'), Just('\u{301}'), Just('\u{200b}')],
        1 => proptest::char::range('A', 'Z'),
    ]
}

/// No blanks, which end a name in the notation.
fn name() -> impl Strategy<Value = String> {
    let letter = character().prop_filter("a blank", |c| !c.is_whitespace() && !c.is_control());
    proptest::collection::vec(letter, 1..60).prop_map(|letters| letters.into_iter().collect())
}

/// The fault of a circuit's drawing, if there is one.
fn fault(circuit: &wiring::Circuit) -> Option<String> {
    let anatomy = look(circuit);
    let drawing = draw(circuit, &anatomy, Options::default());
    drawing.faults.first().map(ToString::to_string)
}

/// Two stages joined by two capacitors and their resistors.
const STAGES: &str = "V1 12AX7\nR1 100k\nR2 100k\nR3 1M\nR4 1k5\nC1 22n\nC2 22u\nC3 1n\nS1 switch\n\
    V1.1 - R1 - B1\nV1.6 - R2 - B2\nV1.1 - C1 - R3 - ground\nV1.3 - R4 - ground\nV1.3 - C2 - ground\n\
    C1.2 - V1.7\nV1.8 - C3 - AMBER\n";

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    /// Every part has a name that was made up, and every point several.
    #[test]
    fn names_of_any_characters_never_run_into_their_neighbours(
        names in proptest::collection::vec(name(), 64),
        many in 1_usize..6,
    ) {
        let mut circuit = wiring::read_one(STAGES).circuit;
        // no two the same: a name is one thing
        let mut names = names.iter().enumerate().map(|(k, name)| format!("{k}{name}"));
        for part in &mut circuit.parts {
            if let Some(name) = names.next() {
                part.name = name;
            }
        }
        for node in circuit.nodes.iter_mut().skip(1) {
            let new: Vec<String> = names.by_ref().take(many).collect();
            if !new.is_empty() {
                node.names = new;
            }
        }
        let found = fault(&circuit);
        prop_assert!(found.is_none(), "{found:?}");
    }

    /// The same of a text, with whatever of the names it is read as.
    #[test]
    fn a_text_with_names_of_any_characters_is_drawn(names in proptest::collection::vec(name(), 6)) {
        let mut text = String::from("V1 12AX7\n");
        for (k, name) in names.iter().enumerate() {
            text += &format!("R{k} 100k\nV1.{} - R{k} - {name}\n{name} - C{k} - {}\n", k + 1, names[(k + 1) % names.len()]);
        }
        let found = fault(&wiring::read_one(&text).circuit);
        prop_assert!(found.is_none(), "{found:?}\n{text}");
    }
}
