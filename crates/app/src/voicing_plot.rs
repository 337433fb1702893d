//! Responses as a plot: one for page and file.

use bench::voicing::Voicing;
use draw::plot::{Axis, Curve, Pen, Plot};

/// Patterns of the curves, the first for what stands first.
const PENS: [Pen; 5] = [Pen::Have, Pen::Against, Pen::Third, Pen::Load, Pen::Sheet];

/// Decibels shown below the highest, at most.
const SHOWN_DB: f64 = 60.0;

/// Up to five responses, each with its name; decibels in steps of ten.
pub(crate) fn plot(curves: &[(String, &Voicing)], id: &str, width: i32, height: i32) -> Plot {
    let shown = curves
        .get(..PENS.len().min(curves.len()))
        .unwrap_or_default();
    let first = shown.first().map(|(_, f)| *f);
    let hz = first.map_or(&[][..], |f| &f.hz);
    let low = hz.first().copied().unwrap_or(20.0);
    let high = hz.last().copied().unwrap_or(20e3);
    let all = || shown.iter().flat_map(|(_, f)| &f.db).copied();
    let top = all().fold(f64::NEG_INFINITY, f64::max);
    let top = if top.is_finite() {
        (top / 10.0).ceil() * 10.0
    } else {
        0.0
    };
    let least = all().fold(f64::INFINITY, f64::min).max(top - SHOWN_DB);
    let bottom = ((least / 10.0).floor() * 10.0).min(top - 10.0);
    let (from, to) = first.map_or(("", ""), |f| (f.from.as_str(), f.to.as_str()));
    let mut plot = Plot::new(
        id,
        format!("Response from {from} to {to}"),
        Axis::log("frequency, Hz", low, high.max(low * 1.01)),
        Axis::linear("volts out over volts in, dB", bottom, top),
    );
    plot.width = width;
    plot.height = height;
    for ((name, found), pen) in shown.iter().zip(PENS) {
        let points = found.hz.iter().copied().zip(found.db.iter().copied());
        plot.curves
            .push(Curve::new(name.clone(), pen, points.collect()));
    }
    plot.says = shown
        .iter()
        .filter_map(|(name, found)| {
            let gain = found.figures.gain_1k_db?;
            Some(format!("{name}: {gain:.1} dB at 1 kHz."))
        })
        .collect::<Vec<_>>()
        .join(" ");
    plot
}
