//! A plot in words, for those who do not see it.

use super::{Plot, Scale};
use std::fmt::Write as _;

/// A figure with three digits that count.
pub(crate) fn figure(v: f64) -> String {
    if v == 0.0 {
        return "0".to_owned();
    }
    if !v.is_finite() {
        return "not known".to_owned();
    }
    let size = v.abs().log10().floor();
    let text = if (-4.0..6.0).contains(&size) {
        let decimals = (2.0 - size).clamp(0.0, 8.0) as usize;
        let text = format!("{v:.decimals$}");
        if text.contains('.') {
            text.trim_end_matches('0').trim_end_matches('.').to_owned()
        } else {
            text
        }
    } else {
        format!("{v:.2e}")
    };
    text.replacen('-', "\u{2212}", 1)
}

/// What it shows: its main figures first, then axes, curves and points.
pub(crate) fn description(plot: &Plot) -> String {
    let mut out = plot.says.trim().to_owned();
    for (way, axis) in [("Along", &plot.x), ("Up", &plot.y)] {
        let (low, high) = axis.range();
        let scale = match axis.scale {
            Scale::Linear => "",
            Scale::Log => ", logarithmic",
        };
        let _ = write!(
            out,
            "{}{way}: {}, {} to {}{scale}.",
            if out.is_empty() { "" } else { " " },
            axis.title,
            figure(low),
            figure(high)
        );
    }
    for band in &plot.bands {
        if let (Some(a), Some(b)) = (band.edges.first(), band.edges.last()) {
            let _ = write!(
                out,
                " {}: {} to {} at {}, {} to {} at {}.",
                band.name,
                figure(a.1),
                figure(a.2),
                figure(a.0),
                figure(b.1),
                figure(b.2),
                figure(b.0)
            );
        }
    }
    for curve in &plot.curves {
        let seen = || {
            curve
                .points
                .iter()
                .filter(|(x, y)| x.is_finite() && y.is_finite())
        };
        if let (Some(a), Some(b)) = (seen().next(), seen().next_back()) {
            let top = seen().fold(*a, |m, p| if p.1 > m.1 { *p } else { m });
            let _ = write!(
                out,
                " {}: from {} at {} to {} at {}, highest {} at {}.",
                curve.name,
                figure(a.1),
                figure(a.0),
                figure(b.1),
                figure(b.0),
                figure(top.1),
                figure(top.0)
            );
        }
    }
    for stem in plot.stems.iter().filter(|s| !s.name.is_empty()) {
        let _ = write!(out, " {}: {}.", stem.name, figure(stem.at.1));
    }
    for spot in &plot.spots {
        let _ = write!(
            out,
            " {}, {}: {} at {}.",
            spot.name,
            if spot.read { "read" } else { "computed" },
            figure(spot.at.1),
            figure(spot.at.0)
        );
    }
    out
}
