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

/// A supply of three points: 330 V behind 500 ohm, 10k and 22k, with bleeders as loads.
fn supply(reservoir: &str, middle: &str, last: &str, source: f64) -> String {
    format!(
        "PS1 supply {source} V 500 ohm\nB1 - +PS1 - ground\n\
         B1 - R10 10k = 10k - B2 - R11 22k = 22k - B3\n\
         B1 - [+C1 16u 450V {reservoir} | R1 47k = 47k] - ground\n\
         B2 - [+C2 16u 450V {middle} | R2 100k = 100k] - ground\n\
         B3 - [+C3 8u 450V {last} | R3 150k = 150k] - ground\n"
    )
}

/// What is told about the sound supply when the readings are those of another.
fn told_of_supply(faulty: &str) -> Vec<String> {
    let points = ["B1", "B2", "B3"];
    let other = chart_of(&format!(
        "{faulty}readings now\nmeter 10M 0.5%\nB1 1\nB2 1\nB3 1\n"
    ));
    let reads: String = points
        .iter()
        .map(|p| format!("{p} {:.1}\n", volts(&other, p)))
        .collect();
    chart_of(&format!(
        "{}readings now\nmeter 10M 0.5%\n{reads}",
        supply("", "", "", 330.0)
    ))
    .trouble
}

/// All points by one ratio is mains or rectifier; one group behind a part is that part or a leak
/// after it (common practice, no source).
#[test]
fn supply_points_separate_causes() {
    assert_eq!(
        told_of_supply(&supply("", "", "", 330.0)),
        Vec::<String>::new()
    );
    let low = told_of_supply(&supply("", "", "", 280.0));
    assert_eq!(low.len(), 1, "{low:#?}");
    assert!(
        low[0].contains("B1, B2, B3 all stand at about 85 %"),
        "{low:#?}"
    );
    let leak = told_of_supply(&supply("", "", "leak 47k", 330.0));
    assert!(
        leak[0].contains("B2 and B3 are low") && leak[0].contains("at or after B3"),
        "{leak:#?}"
    );
    let risen =
        told_of_supply(&supply("", "", "", 330.0).replace("R10 10k = 10k", "R10 20k = 20k"));
    assert!(risen[0].contains("R10 has risen"), "{risen:#?}");
}
