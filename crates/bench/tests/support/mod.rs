//! What the tests of the chart share.

#![allow(dead_code, reason = "each test binary uses its own part")]

use bench::chart::{Chart, ChartRequest, Line, chart};
use solve::{AssembleOptions, Solved, solve_circuit};
use wiring::sheet::Library;
use wiring::{Circuit, Conditions};

/// Reads a wiring that must hold no error.
pub(crate) fn circuit(text: &str) -> Circuit {
    let read = wiring::read_one(text);
    let errors: Vec<_> = read
        .problems
        .iter()
        .filter(|p| p.severity == wiring::Severity::Error)
        .collect();
    assert!(errors.is_empty(), "{errors:#?}");
    read.circuit
}

/// The chart against the last block.
pub(crate) fn chart_of(text: &str) -> Chart {
    chart(
        &circuit(text),
        Library::built_in(),
        &ChartRequest::default(),
    )
}

/// The line of a point.
pub(crate) fn line<'a>(chart: &'a Chart, point: &str) -> &'a Line {
    chart
        .points
        .iter()
        .find(|l| l.point == point || l.also.iter().any(|n| n == point))
        .unwrap_or_else(|| panic!("{point} is not in {:?}", names(chart)))
}

/// Expected volts of a point with every part as marked.
pub(crate) fn volts(chart: &Chart, point: &str) -> f64 {
    line(chart, point)
        .volts
        .unwrap_or_else(|| panic!("{point}: {:?}", chart.unsolved))
}

/// All points in order.
pub(crate) fn names(chart: &Chart) -> Vec<&str> {
    chart.points.iter().map(|l| l.point.as_str()).collect()
}

/// Solves a wiring of which nothing may be left out.
pub(crate) fn solved(text: &str) -> (Circuit, Solved) {
    let circuit = circuit(text);
    let solved = solve_circuit(
        &circuit,
        Library::built_in(),
        &Conditions::default(),
        &AssembleOptions::default(),
    );
    assert!(
        solved.point.solved() && solved.assembly.unsolved.is_empty(),
        "{text}\n{:?}",
        solved.assembly.unsolved
    );
    (circuit, solved)
}
