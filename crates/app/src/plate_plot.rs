//! Plate curves of an output stage as a plot: one for page, file and paper.

use bench::plate_curves::{IdlePoint, PlateCurves};
use draw::plot::{Axis, Curve, Pen, Plot, Spot};

/// The plot, so many pixels wide and high.
pub(crate) fn plot(of: &PlateCurves, id: &str, width: i32, height: i32) -> Plot {
    let ma = |p: &(f64, f64)| (p.0, p.1 * 1e3);
    let mut plot = Plot::new(
        id,
        format!("Plate curves of {}", of.valve_type),
        Axis::linear("plate to cathode, V", 0.0, of.volts_high),
        Axis::linear("plate current, mA", 0.0, of.amps_high * 1e3),
    );
    plot.width = width;
    plot.height = height;
    plot.says = says(of);
    if let Some(watts) = of.limit_watts {
        let from = watts / of.amps_high;
        let along = (0..=160).map(|i| {
            let share = f64::from(i) / 160.0;
            let volts = from * 0.9 + share * (of.volts_high - from * 0.9);
            (volts, watts / volts * 1e3)
        });
        plot.curves
            .push(Curve::limit(format!("{watts} W limit"), along.collect()));
    }
    for (grid, points) in &of.curves {
        let name = if *grid == 0.0 {
            "0 V".to_owned()
        } else {
            format!("\u{2212}{} V", (grid.abs() * 100.0).round() / 100.0)
        };
        let points = points.iter().map(ma).collect();
        plot.curves.push(Curve::new(name, Pen::Sheet, points));
    }
    if let Some(load) = &of.load {
        let ohms = wiring::units::rounded(load.primary_ohms, wiring::units::Quantity::Ohms, 3);
        let name = if load.push_pull {
            format!("load line, {ohms} plate to plate")
        } else {
            format!("load line, {ohms}")
        };
        let path = load.path.iter().map(ma).collect();
        plot.curves.push(Curve::new(name, Pen::Load, path));
    }
    plot.spots = spots(of);
    plot
}

/// The points; computed ones that stand in one place share a name.
fn spots(of: &PlateCurves) -> Vec<Spot> {
    let mut out: Vec<Spot> = Vec::new();
    let near = |a: &Spot, p: &IdlePoint| {
        (a.at.0 - p.at.0).abs() < 0.01 * of.volts_high
            && (a.at.1 - p.at.1 * 1e3).abs() < 10.0 * of.amps_high
    };
    for p in &of.points {
        if !p.read
            && let Some(spot) = out.iter_mut().find(|s| !s.read && near(s, p))
        {
            spot.name = format!("{}, {}", spot.name, p.name);
            continue;
        }
        let computed_too = of.points.iter().any(|q| !q.read);
        out.push(Spot {
            name: if p.read && computed_too {
                format!("{} read", p.name)
            } else {
                p.name.clone()
            },
            at: (p.at.0, p.at.1 * 1e3),
            plus_minus_x: None,
            plus_minus_y: p.amps_plus_minus.map(|a| a * 1e3),
            read: p.read,
        });
    }
    out
}

/// The main figures in words.
fn says(of: &PlateCurves) -> String {
    let points = of.points.iter().map(|p| {
        let watts = p.at.0 * p.at.1;
        let limit = of
            .limit_watts
            .map_or_else(String::new, |l| format!(" of {l} W"));
        format!(
            "{} idles at {:.0} V and {:.1} mA, {watts:.1} W{limit}, {}.",
            p.name,
            p.at.0,
            p.at.1 * 1e3,
            if p.read { "read" } else { "computed" }
        )
    });
    let load = of.load.iter().filter_map(|l| {
        let (volts, amps) = *l.path.first()?;
        Some(format!(
            "Under signal one plate comes down to {volts:.0} V at {:.0} mA before its grid reaches its cathode.",
            amps * 1e3
        ))
    });
    points.chain(load).collect::<Vec<_>>().join(" ")
}
