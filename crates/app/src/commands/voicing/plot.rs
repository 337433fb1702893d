//! `voicing --plot`: the curves in a file, five at most.

use super::Run;
use crate::outcome::Failure;
use crate::picture::{self, Sort};
use draw::plot::{Axis, Curve, Pen, Plot, Shades};
use std::path::Path;

/// Patterns of the curves, the first for what stands first.
const PENS: [Pen; 5] = [Pen::Have, Pen::Against, Pen::Third, Pen::Load, Pen::Sheet];

pub(super) fn write(path: &Path, runs: &[Run]) -> Result<(), Failure> {
    let sort = picture::sort_of(path)?;
    let svg = plot(runs).svg(Shades::DAY);
    match sort {
        Sort::Svg => picture::write(path, svg.as_bytes()),
        Sort::Png => picture::write(path, &picture::png(&svg)?),
    }
}

/// The curves as a plot; decibels from the highest down, in steps of ten.
pub(crate) fn plot(runs: &[Run]) -> Plot {
    let shown = runs.get(..PENS.len().min(runs.len())).unwrap_or_default();
    let first = shown.first().map(|r| &r.found);
    let hz = first.map_or(&[][..], |f| &f.hz);
    let (low, high) = (
        hz.first().copied().unwrap_or(20.0),
        hz.last().copied().unwrap_or(20e3),
    );
    let all = || shown.iter().flat_map(|r| &r.found.db).copied();
    let top = all().fold(f64::NEG_INFINITY, f64::max);
    let top = if top.is_finite() {
        (top / 10.0).ceil() * 10.0
    } else {
        0.0
    };
    let least = all().fold(f64::INFINITY, f64::min).max(top - 60.0);
    let bottom = ((least / 10.0).floor() * 10.0).min(top - 10.0);
    let (from, to) = first.map_or(("", ""), |f| (f.from.as_str(), f.to.as_str()));
    let mut plot = Plot::new(
        "voicing",
        format!("Response from {from} to {to}"),
        Axis::log("frequency, Hz", low, high.max(low * 1.01)),
        Axis::linear("volts out over volts in, dB", bottom, top),
    );
    for (run, pen) in shown.iter().zip(PENS) {
        let points = run
            .found
            .hz
            .iter()
            .copied()
            .zip(run.found.db.iter().copied());
        plot.curves
            .push(Curve::new(run.label.clone(), pen, points.collect()));
    }
    plot.says = shown
        .iter()
        .filter_map(|r| {
            let gain = r.found.figures.gain_1k_db?;
            Some(format!("{}: {gain:.1} dB at 1 kHz.", r.label))
        })
        .collect::<Vec<_>>()
        .join(" ");
    plot
}
