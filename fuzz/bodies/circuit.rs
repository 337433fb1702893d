//! Whatever circuit a text makes: the chart answers with figures that are numbers or with a
//! reason, and the drawing is legal.

use bench::chart::ChartRequest;
use wiring::sheet::Library;

/// More parts take longer and show nothing new.
const MOST_PARTS: usize = 40;

pub(crate) fn run(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let circuit = wiring::read_one(&text).circuit;
    if circuit.parts.len() > MOST_PARTS {
        return;
    }
    let chart = bench::chart::chart(&circuit, Library::built_in(), &ChartRequest::default());
    for line in &chart.points {
        if let Some(volts) = line.volts {
            assert!(volts.is_finite(), "{}: {volts}", line.point);
        }
    }
    let anatomy = draw::look(&circuit);
    let drawing = draw::draw(&circuit, &anatomy, draw::Options::default());
    assert!(drawing.faults.is_empty(), "{:?}", drawing.faults);
    let svg = draw::svg::svg(&drawing, draw::svg::DAY);
    assert!(!svg.contains("NaN"), "a place that is no number");
}
