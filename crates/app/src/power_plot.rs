//! What an amplifier gives under drive, as plots: distortion over watts, and a tremolo's swing.

use bench::power::Power;
use bench::tremolo::Depth;
use draw::plot::{Axis, Curve, Pen, Plot, Spot, covering};

/// Distortion shown, per cent.
const LEAST: f64 = 0.01;
const MOST: f64 = 100.0;

/// Distortion over watts at the loudspeaker, both in equal ratios; none where there is nothing to join.
pub(crate) fn distortion(of: &Power, id: &str, width: i32, height: i32) -> Option<Plot> {
    let points: Vec<(f64, f64)> = of
        .levels
        .iter()
        .filter(|l| l.watts > 0.0)
        .map(|l| (l.watts, (100.0 * l.distortion).clamp(LEAST, MOST)))
        .collect();
    if points.len() < 2 {
        return None;
    }
    let low = points.iter().map(|p| p.0).fold(f64::INFINITY, f64::min);
    let high = points.iter().map(|p| p.0).fold(0.0, f64::max);
    let least = points.iter().map(|p| p.1).fold(MOST, f64::min);
    let decade = |v: f64, up: bool| {
        let power = if up {
            v.log10().ceil()
        } else {
            v.log10().floor()
        };
        10f64.powf(power)
    };
    let mut plot = Plot::new(
        id,
        "Distortion over watts",
        Axis::log("watts at the loudspeaker", low, high * 1.3),
        Axis::log("distortion, %", decade(least, false), MOST),
    );
    plot.width = width;
    plot.height = height;
    let limit = 100.0 * of.clean;
    plot.curves.push(Curve::new(
        format!("{limit:.0} % counts as clean"),
        Pen::Against,
        vec![(low, limit), (high * 1.3, limit)],
    ));
    let hertz = of.levels.first().map_or(1000.0, |l| l.hertz);
    plot.curves
        .push(Curve::new(format!("{hertz:.0} Hz"), Pen::Have, points));
    let clean = of.cleanest.first().and_then(|c| c.1.as_ref());
    if let Some(level) = clean {
        plot.spots.push(Spot {
            name: format!("{} W", bench::digits::volts(level.watts)),
            at: (level.watts, 100.0 * level.distortion),
            plus_minus_x: None,
            plus_minus_y: None,
            read: false,
        });
        plot.says = format!(
            "{} W at {:.1} % distortion.",
            bench::digits::volts(level.watts),
            100.0 * level.distortion
        );
    }
    Some(plot)
}

/// Loudness through one cycle of a tremolo, over its mean.
pub(crate) fn swing(of: &Depth, id: &str, width: i32, height: i32) -> Option<Plot> {
    if of.shape.len() < 2 {
        return None;
    }
    let n = of.shape.len() as f64;
    // once around and back to the beginning
    let points = (0..=of.shape.len())
        .filter_map(|i| Some((i as f64 / n, *of.shape.get(i % of.shape.len())?)))
        .collect();
    let (low, high) = covering(of.shape.iter().copied().chain([0.0, 1.0]));
    let mut plot = Plot::new(
        id,
        "Loudness through one cycle",
        Axis::linear("part of the cycle", 0.0, 1.0),
        Axis::linear("gain over its mean", low, high),
    );
    plot.width = width;
    plot.height = height;
    plot.curves
        .push(Curve::new(format!("from {}", of.from), Pen::Have, points));
    plot.says = of.tones.first().map_or_else(String::new, |t| {
        format!("{:.1} dB from loudest to softest.", t.db)
    });
    Some(plot)
}
