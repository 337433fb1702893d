//! Whatever is typed as readings of an amplifier.

use std::sync::OnceLock;

fn amp() -> &'static wiring::Circuit {
    static AMP: OnceLock<wiring::Circuit> = OnceLock::new();
    AMP.get_or_init(|| wiring::read_one(include_str!("../../examples/pip.wiring")).circuit)
}

pub(crate) fn run(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let name = "as-found.readings";
    let (blocks, problems) = wiring::read_readings(&wiring::Text { name, text: &text }, amp());
    for problem in &problems {
        let place = problem.place;
        assert!(text.get(place.start..place.end).is_some(), "{problem:?}");
        assert!(
            !problem.message.is_empty() && !problem.advice.is_empty(),
            "{problem:?}"
        );
    }
    // what was understood can be written down and understood again
    let written = wiring::csv::blocks_to_text(&blocks);
    let (again, _) = wiring::read_readings(
        &wiring::Text {
            name,
            text: &written,
        },
        amp(),
    );
    assert_eq!(again.len(), blocks.len(), "{written}");
    for (a, b) in again.iter().zip(&blocks) {
        assert_eq!(a.readings.len(), b.readings.len(), "{written}");
    }
}
