//! Whatever is typed as a wiring: the reader answers, each problem has a place in the text and a
//! remedy, and the tidy form is tidy.

pub(crate) fn run(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let read = wiring::read_one(&text);
    for problem in &read.problems {
        let place = problem.place;
        assert!(text.get(place.start..place.end).is_some(), "{problem:?}");
        assert!(
            !problem.message.is_empty() && !problem.advice.is_empty(),
            "{problem:?}"
        );
        assert!(
            wiring::codes::find(problem.code).is_some(),
            "{}",
            problem.code
        );
    }
    let tidy = wiring::format::format(&text);
    assert_eq!(
        wiring::format::format(&tidy),
        tidy,
        "tidying twice changes it again"
    );
    let again = wiring::read_one(&tidy);
    assert_eq!(
        again.circuit.parts.len(),
        read.circuit.parts.len(),
        "tidying changed the circuit"
    );
    assert_eq!(
        again.circuit.nodes.len(),
        read.circuit.nodes.len(),
        "tidying changed the circuit"
    );
    assert_eq!(
        again.circuit.readings.len(),
        read.circuit.readings.len(),
        "tidying lost readings"
    );
}
