//! Ohms without power, against what series and parallel resistances give by hand.

#![allow(clippy::unwrap_used, reason = "a test: a panic is its failure")]

mod support;

use bench::chart::Word;
use support::{chart_of, line};

const SUPPLY: &str = "B1 - R1 100k film 1% - B2 - R2 47k film 1% - ground\n\
                      B2 - R3 220k film 1% - V1.1\nV1 12AX7\nV1.3 - R4 1k5 film 1% - ground\n\
                      V1.2 - R5 1M film 1% - ground\n";

#[test]
fn series_and_parallel_by_hand() {
    let chart = chart_of(&format!(
        "{SUPPLY}readings power off\npower off\nB1 147k\nB2 46k9\nR1 99k8\nR3 OL\nV1.1 267k\nV1.3 1k5\nV1.2 900k\n"
    ));
    for (point, ohms) in [
        ("B1", 147e3),
        ("B2", 47e3),
        ("R1", 100e3),
        ("V1.1", 267e3),
        ("V1.3", 1.5e3),
        ("V1.2", 1e6),
    ] {
        let got = line(&chart, point);
        assert!((got.volts.unwrap() / ohms - 1.0).abs() < 1e-6, "{got:?}");
        assert_eq!(got.unit, "ohm");
    }
    // two resistors of 1 % (half a per cent one sigma) in series: their shares add as squares
    let b1 = line(&chart, "B1");
    let sigma = (100e3f64 * 0.005).hypot(47e3 * 0.005);
    let width = b1.high.unwrap() - b1.low.unwrap();
    assert!(
        (width / (2.0 * 1.96 * sigma) - 1.0).abs() < 1e-3,
        "{width} {sigma}"
    );
    assert_eq!(b1.verdict, Some(Word::Inside));
    // 220k cannot be over range: it is open
    assert_eq!(line(&chart, "R3").verdict, Some(Word::Outside));
    // 1M cannot read 0.9M
    assert_eq!(line(&chart, "V1.2").verdict, Some(Word::Outside));
}

/// An electrolytic leaks as a new part's sheet allows, and that is part of the reading.
#[test]
fn a_leak_lies_beside() {
    let chart = chart_of(
        "B1 - +C1 16u 450V leak 500k - ground\nB1 - R1 500k film 1% - ground\nreadings off\npower off\nB1 250k\n",
    );
    let b1 = line(&chart, "B1");
    assert!((b1.volts.unwrap() - 250e3).abs() < 1.0, "{b1:?}");
}

#[test]
fn no_path_says_over_range() {
    let chart =
        chart_of("B1 - C1 100n - B2\nB2 - R1 1M - ground\nreadings off\npower off\nB1 OL\nB2 1M\n");
    assert_eq!(line(&chart, "B1").volts, None);
    assert!(
        chart
            .unsolved
            .iter()
            .any(|u| u.point == "B1" && u.why.contains("over range")),
        "{:?}",
        chart.unsolved
    );
    assert_eq!(line(&chart, "B2").verdict, Some(Word::Inside));
}
