//! A laid plot as SVG.

use super::lay::{Laid, Text};
use super::words::description;
use super::{Pen, Plot};
use crate::svg::{escape, id};
use std::fmt::Write as _;

/// Colours of a plot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shades {
    /// What it is drawn on.
    pub paper: &'static str,
    /// What you have, and text.
    pub ink: &'static str,
    /// Curves of a sheet, titles of axes.
    pub soft: &'static str,
    /// Grid.
    pub rule: &'static str,
    /// Load lines, and what is held against.
    pub act: &'static str,
    /// Bands.
    pub band: &'static str,
    /// Limits.
    pub out: &'static str,
    /// What lies beyond a limit.
    pub out_tint: &'static str,
}

impl Shades {
    /// By day.
    pub const DAY: Self = Self {
        paper: "#f7faf8",
        ink: "#10201a",
        soft: "#3f5048",
        rule: "#b4c1ba",
        act: "#0a5866",
        band: "#bcdadd",
        out: "#a3103a",
        out_tint: "#f6dbe1",
    };
    /// On white paper, without colour.
    pub const PRINT: Self = Self {
        paper: "#ffffff",
        ink: "#000000",
        soft: "#333333",
        rule: "#c4c4c4",
        act: "#000000",
        band: "#d9d9d9",
        out: "#000000",
        out_tint: "#ececec",
    };
    /// The page's own, by day and by lamp.
    pub const PAGE: Self = Self {
        paper: "var(--panel)",
        ink: "currentColor",
        soft: "var(--ink-2)",
        rule: "var(--rule)",
        act: "var(--act)",
        band: "var(--band)",
        out: "var(--out)",
        out_tint: "var(--out-tint)",
    };
}

pub(crate) fn number(v: f64) -> String {
    let text = format!("{v:.1}");
    text.strip_suffix(".0").map_or(text.clone(), str::to_owned)
}

/// Colour, width and dashes of a pen.
fn pen(pen: Pen, shades: Shades) -> String {
    let (colour, width, dashes) = match pen {
        Pen::Sheet => (shades.soft, "1.25", ""),
        Pen::Have => (shades.ink, "4", ""),
        Pen::Against => (shades.act, "2.5", "10 5"),
        Pen::Third => (shades.ink, "3.25", "0.1 7"),
        Pen::Load => (shades.act, "3", ""),
        Pen::Limit => (shades.out, "2", "12 4 2 4"),
    };
    let mut out = format!("stroke=\"{colour}\" stroke-width=\"{width}\"");
    if !dashes.is_empty() {
        let _ = write!(out, " stroke-dasharray=\"{dashes}\"");
    }
    if pen == Pen::Third {
        out.push_str(" stroke-linecap=\"round\"");
    }
    out
}

fn path(points: &[(f64, f64)], out: &mut String) {
    for (i, (x, y)) in points.iter().enumerate() {
        let _ = write!(
            out,
            "{}{} {}",
            if i == 0 { "M" } else { "L" },
            number(*x),
            number(*y)
        );
    }
}

impl Plot {
    /// The picture.
    #[must_use]
    pub fn svg(&self, shades: Shades) -> String {
        let laid = self.lay();
        let name = id(&self.id);
        let mut out = String::new();
        open(
            (laid.width, laid.height),
            &name,
            &self.title,
            &description(self),
            shades,
            &mut out,
        );
        drawn(&laid, shades, &mut out);
        out.push_str("</svg>\n");
        out
    }
}

/// The head of a picture: size, title, description, paper.
pub(crate) fn open(
    (width, height): (i32, i32),
    name: &str,
    title: &str,
    says: &str,
    shades: Shades,
    out: &mut String,
) {
    let _ = writeln!(
        out,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" width=\"{width}\" height=\"{height}\" role=\"img\" aria-labelledby=\"plot-{name}-title plot-{name}-desc\" font-family=\"{}\" font-size=\"{}\" font-weight=\"500\">",
        typeface::FAMILY,
        typeface::SIZE
    );
    let _ = writeln!(
        out,
        "<title id=\"plot-{name}-title\">{}</title>\n<desc id=\"plot-{name}-desc\">{}</desc>",
        escape(title),
        escape(says)
    );
    let _ = writeln!(
        out,
        "<rect width=\"{width}\" height=\"{height}\" fill=\"{}\"/>",
        shades.paper
    );
}

fn drawn(laid: &Laid, shades: Shades, out: &mut String) {
    for line in laid.lines.iter().filter(|l| l.tint.len() > 2) {
        let mut d = String::new();
        path(&line.tint, &mut d);
        let _ = writeln!(out, "<path d=\"{d}Z\" fill=\"{}\"/>", shades.out_tint);
    }
    for band in laid.bands.iter().filter(|b| b.len() > 2) {
        let mut d = String::new();
        path(band, &mut d);
        let _ = writeln!(out, "<path d=\"{d}Z\" fill=\"{}\"/>", shades.band);
    }
    for (minor, width) in [(true, "0.5"), (false, "1")] {
        let mut d = String::new();
        for (x0, y0, x1, y1, _) in laid.grid.iter().filter(|g| g.4 == minor) {
            path(&[(*x0, *y0), (*x1, *y1)], &mut d);
        }
        if !d.is_empty() {
            let _ = writeln!(
                out,
                "<path d=\"{d}\" fill=\"none\" stroke=\"{}\" stroke-width=\"{width}\"/>",
                shades.rule
            );
        }
    }
    let f = laid.frame;
    let _ = writeln!(
        out,
        "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"none\" stroke=\"{}\"/>",
        number(f.x0),
        number(f.y0),
        number(f.x1 - f.x0),
        number(f.y1 - f.y0),
        shades.soft
    );
    for line in &laid.lines {
        let mut d = String::new();
        for run in &line.runs {
            path(run, &mut d);
        }
        if !d.is_empty() {
            let _ = writeln!(
                out,
                "<path d=\"{d}\" fill=\"none\" stroke-linejoin=\"round\" {}/>",
                pen(line.pen, shades)
            );
        }
    }
    for (foot, head) in &laid.stems {
        let mut d = String::new();
        path(&[*foot, *head], &mut d);
        let _ = writeln!(
            out,
            "<path d=\"{d}\" stroke=\"{ink}\" stroke-width=\"2.5\"/><circle cx=\"{}\" cy=\"{}\" r=\"3.5\" fill=\"{ink}\"/>",
            number(head.0),
            number(head.1),
            ink = shades.ink
        );
    }
    marks(laid, shades, out);
    for (x, y, p) in &laid.samples {
        let mut d = String::new();
        path(&[(*x, *y), (*x + 44.0, *y)], &mut d);
        let _ = writeln!(out, "<path d=\"{d}\" fill=\"none\" {}/>", pen(*p, shades));
    }
    for text in &laid.texts {
        written(text, shades, out);
    }
}

fn marks(laid: &Laid, shades: Shades, out: &mut String) {
    for mark in &laid.marks {
        for (a, b) in &mark.bars {
            let mut d = String::new();
            path(&[*a, *b], &mut d);
            // A short stroke across each end.
            let (dx, dy) = if (a.0 - b.0).abs() > (a.1 - b.1).abs() {
                (0.0, 5.0)
            } else {
                (5.0, 0.0)
            };
            for p in [a, b] {
                path(&[(p.0 - dx, p.1 - dy), (p.0 + dx, p.1 + dy)], &mut d);
            }
            let _ = writeln!(
                out,
                "<path d=\"{d}\" fill=\"none\" stroke=\"{}\" stroke-width=\"2\"/>",
                shades.ink
            );
        }
        let _ = writeln!(
            out,
            "<circle cx=\"{}\" cy=\"{}\" r=\"7\" fill=\"{}\" stroke=\"{}\" stroke-width=\"3\"/>",
            number(mark.at.0),
            number(mark.at.1),
            if mark.read { shades.ink } else { shades.paper },
            shades.ink
        );
    }
}

fn written(t: &Text, shades: Shades, out: &mut String) {
    let colour = match t.of {
        Some(Pen::Limit) => shades.out,
        Some(Pen::Load | Pen::Against) => shades.act,
        _ if t.soft => shades.soft,
        _ => shades.ink,
    };
    let halo = if t.on_plot {
        format!(
            " stroke=\"{}\" stroke-width=\"4\" stroke-linejoin=\"round\" paint-order=\"stroke\"",
            shades.paper
        )
    } else {
        String::new()
    };
    let _ = writeln!(
        out,
        "<text x=\"{}\" y=\"{}\" fill=\"{colour}\"{}{halo}>{}</text>",
        t.area.x0 + 1,
        t.area.y0 + 14,
        if t.bold { " font-weight=\"700\"" } else { "" },
        escape(&t.words)
    );
}
