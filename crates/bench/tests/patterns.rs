//! What the pattern of a stage's readings suggests, on readings that a fault really gives.

mod support;

use support::{chart_of, volts};

/// A 12AX7 stage with measured resistors, and a second supply point behind a dropping resistor.
fn stage(r4: &str, r5: &str, bypass: &str, grid: &str, valve: &str) -> String {
    format!(
        "PS1 supply 330 V 1 ohm\nV1 12AX7 {valve}\nPS2 supply {grid} 1 ohm\n\
         B2 - +PS1 - ground\nB2 - R10 22k = 22k - B3 - +C8 8u 450V - ground\n\
         V1.1 - R4 {r4} - B3\nV1.3 - [R5 {r5} | +C1 25u {bypass}] - ground\n\
         V1.2 - R1 1k - +PS2 - ground\n"
    )
}

const SOUND: [&str; 5] = ["100k = 100k", "1k5 = 1k5", "", "0 V", ""];

/// The trouble told about the sound circuit, when the readings are those of the faulty one.
fn told(fault: [&str; 5]) -> Vec<String> {
    let [r4, r5, bypass, grid, valve] = fault;
    let faulty = chart_of(&format!(
        "{}readings now\nmeter 10M 0.5%\nB3 1\nV1.1 1\nV1.3 1\n",
        stage(r4, r5, bypass, grid, valve)
    ));
    let reads = |point| format!("{point} {:.3}\n", volts(&faulty, point));
    let [r4, r5, bypass, grid, valve] = SOUND;
    chart_of(&format!(
        "{}readings now\nmeter 10M 0.5%\n{}{}{}",
        stage(r4, r5, bypass, grid, valve),
        reads("B3"),
        reads("V1.1"),
        reads("V1.3")
    ))
    .trouble
}

/// Pairs of plate and cathode readings separate causes (common practice, no source).
#[test]
fn pairs_of_readings_separate_causes() {
    assert_eq!(told(SOUND), Vec::<String>::new());
    let cases = [
        (["200k = 200k", "1k5 = 1k5", "", "0 V", ""], "plate load"),
        (
            ["100k = 100k", "3k = 3k", "", "0 V", ""],
            "cathode resistor that has risen",
        ),
        (
            ["100k = 100k", "1k5 = 1k5", "= short", "0 V", ""],
            "shorted bypass",
        ),
        (
            ["100k = 100k", "1k5 = 1k5", "", "2 V", ""],
            "grid that is pulled up",
        ),
        (
            ["100k = 100k", "1k5 = 1k5", "", "0 V", "emission 15%"],
            "weak valve",
        ),
        (
            ["100k = open", "1k5 = 1k5", "", "0 V", ""],
            "open plate load",
        ),
    ];
    for (fault, words) in cases {
        let told = told(fault);
        assert!(
            told.first().is_some_and(|s| s.contains(words)),
            "{fault:?}: {told:#?}"
        );
        // careful words only
        assert!(
            told.iter()
                .all(|s| !s.contains("is faulty") && !s.contains("must be"))
        );
    }
}
