//! The physical view as SVG; a part has the same `data-part` as on the schematic.

use super::{Body, Physical, Shape};
use crate::svg::{Colours, escape, id};
use std::fmt::Write as _;
use wiring::circuit::History;

/// What it shows, in words.
fn description(v: &Physical<'_>) -> String {
    let boards: Vec<String> = v
        .groups
        .iter()
        .map(|g| {
            let inside = v.bodies.iter().filter(|b| g.area.holds(&b.area));
            let names: Vec<&str> = inside
                .filter_map(|b| v.circuit.parts.get(b.part))
                .map(|p| p.name.as_str())
                .collect();
            format!("{}: {}", g.title, names.join(", "))
        })
        .collect();
    format!(
        "Parts where they sit, not to scale; full lines were seen, dashed ones are assumed. {}.",
        boards.join(". ")
    )
}

/// The picture.
#[must_use]
pub fn svg(v: &Physical<'_>, colours: Colours) -> String {
    linked(v, colours, &|_| None)
}

/// The picture with a group laid over it ([`crate::over::group_of`]) and some sentences below.
#[must_use]
pub fn sheet(v: &Physical<'_>, colours: Colours, over: &str, foot: &str) -> String {
    picture(v, colours, &|_| None, over, foot)
}

/// The picture with parts as links, such as to the same part on a schematic on the same page; `to` gives the address
/// for a part's name.
#[must_use]
pub fn linked(v: &Physical<'_>, colours: Colours, to: &dyn Fn(&str) -> Option<String>) -> String {
    picture(v, colours, to, "", "")
}

const LEGEND: &str =
    "Not to scale. Full line: seen. Dashed: assumed, not seen. Ring: nothing joined yet.";

fn picture(
    v: &Physical<'_>,
    colours: Colours,
    to: &dyn Fn(&str) -> Option<String>,
    over: &str,
    foot: &str,
) -> String {
    let mut out = String::new();
    let title = v.circuit.heading.amp.as_deref().unwrap_or("An amplifier");
    let width = v.width.max(640);
    let mut lines = vec![LEGEND.to_owned()];
    lines.extend(crate::svg::rows(foot, width - 40));
    let height = v.height + 10 + 20 * i32::try_from(lines.len()).unwrap_or(1);
    let _ = writeln!(
        out,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" width=\"{width}\" height=\"{height}\" role=\"img\" aria-labelledby=\"physical-title physical-desc\" font-family=\"{}\" font-size=\"{}\" font-weight=\"500\">",
        typeface::FAMILY,
        typeface::SIZE
    );
    let _ = writeln!(
        out,
        "<title id=\"physical-title\">{}: where its parts sit</title>\n<desc id=\"physical-desc\">{}</desc>\n<rect width=\"{width}\" height=\"{height}\" fill=\"{}\"/>",
        escape(title),
        escape(&description(v)),
        colours.paper
    );
    for g in &v.groups {
        let a = g.area;
        let _ = writeln!(
            out,
            "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" rx=\"3\" fill=\"none\" stroke=\"{}\" stroke-width=\"{}\"/>",
            a.x0,
            a.y0,
            a.width(),
            a.height(),
            colours.soft,
            if g.recorded { "2" } else { "0.6" }
        );
    }
    wires(v, colours, &mut out);
    let (mut drawn, mut links) = (String::new(), false);
    for b in &v.bodies {
        let name = v.circuit.parts.get(b.part).map_or("", |p| p.name.as_str());
        let link = to(name);
        if let Some(address) = &link {
            links = true;
            let _ = write!(drawn, "<a href=\"{}\">", escape(address));
        }
        body(v, b, colours, &mut drawn);
        if link.is_some() {
            drawn.push_str("</a>");
        }
    }
    out.push_str(&drawn);
    if links {
        // What can be pressed is no picture.
        out = out.replacen("role=\"img\"", "role=\"group\"", 1);
    }
    for g in &v.groups {
        text(
            &g.title,
            (g.title_area.x0, g.title_area.y0),
            true,
            colours.ink,
            colours.paper,
            &mut out,
        );
    }
    out.push_str(over);
    for (line, y) in lines.iter().zip((v.height..).step_by(20)) {
        text(line, (20, y), false, colours.soft, colours.paper, &mut out);
    }
    out.push_str("</svg>\n");
    out
}

fn text(words: &str, (x, y): (i32, i32), bold: bool, colour: &str, paper: &str, out: &mut String) {
    // Wires behind it are held off.
    let _ = write!(
        out,
        "<text x=\"{}\" y=\"{}\" fill=\"{colour}\" stroke=\"{paper}\" stroke-width=\"4\" stroke-linejoin=\"round\" paint-order=\"stroke\"{}>{}</text>",
        x + 1,
        y + 14,
        if bold { " font-weight=\"700\"" } else { "" },
        escape(words)
    );
}

fn wires(v: &Physical<'_>, colours: Colours, out: &mut String) {
    let _ = writeln!(
        out,
        "<g id=\"physical-wires\" fill=\"none\" stroke=\"{}\" stroke-width=\"1.6\">",
        colours.soft
    );
    for w in &v.wires {
        let name = v.circuit.nodes.get(w.node).map_or_else(String::new, |n| {
            n.names.first().cloned().unwrap_or_else(|| {
                let first = n.terminals.first();
                let part = first.and_then(|(p, t)| {
                    let part = v.circuit.parts.get(p.0)?;
                    Some(format!("{}.{}", part.name, part.terminals.get(*t)?.name))
                });
                part.unwrap_or_default()
            })
        });
        let ((ax, ay), (bx, by)) = (w.from, w.to);
        let (mx, my) = w.bow();
        let _ = writeln!(
            out,
            "<path data-point=\"{}\" d=\"M{ax} {ay}Q{} {} {bx} {by}\"{}/>",
            escape(&name),
            mx,
            my,
            if w.assumed {
                " stroke-dasharray=\"6 4\""
            } else {
                ""
            }
        );
    }
    out.push_str("</g>\n");
}

fn body(v: &Physical<'_>, b: &Body, colours: Colours, out: &mut String) {
    let Some(part) = v.circuit.parts.get(b.part) else {
        return;
    };
    let _ = write!(
        out,
        "<g id=\"sits-{}\" data-part=\"{}\"><title>{}</title>",
        id(&part.name),
        escape(&part.name),
        escape(&part.name)
    );
    let dashes = if part.known.history == Some(History::Removed) {
        " stroke-dasharray=\"2 4\""
    } else if part.assumed || part.known.assumed {
        " stroke-dasharray=\"6 4\""
    } else {
        ""
    };
    let a = b.outline;
    match b.shape {
        Shape::Lead | Shape::Boxed => {
            if b.shape == Shape::Lead {
                for e in &b.ends {
                    let edge = if e.at.1 < a.y0 { a.y0 } else { a.y1 };
                    let _ = write!(
                        out,
                        "<path d=\"M{} {}V{edge}\" stroke=\"{}\" stroke-width=\"1.6\"/>",
                        e.at.0, e.at.1, colours.ink
                    );
                }
            }
            let _ = write!(
                out,
                "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"{}\" stroke=\"{}\" stroke-width=\"1.6\"{dashes}/>",
                a.x0,
                a.y0,
                a.width(),
                a.height(),
                colours.paper,
                colours.ink
            );
        }
        Shape::Socket(places) => {
            let (cx, cy, r) = ((a.x0 + a.x1) / 2, (a.y0 + a.y1) / 2, a.width() / 2);
            let _ = write!(
                out,
                "<circle cx=\"{cx}\" cy=\"{cy}\" r=\"{r}\" fill=\"{}\" stroke=\"{}\" stroke-width=\"1.6\"{dashes}/>",
                colours.paper, colours.ink
            );
            if places == b.ends.len() {
                // The key, between the last pin and the first.
                let _ = write!(
                    out,
                    "<path d=\"M{} {}v-7h8v7\" fill=\"none\" stroke=\"{}\" stroke-width=\"1.6\"/>",
                    cx - 4,
                    cy + 11,
                    colours.ink
                );
            }
        }
    }
    for e in &b.ends {
        let _ = write!(
            out,
            "<circle cx=\"{}\" cy=\"{}\" r=\"4\" fill=\"{}\" stroke=\"{}\" stroke-width=\"1.6\"/>",
            e.at.0,
            e.at.1,
            if e.open { colours.paper } else { colours.ink },
            colours.ink
        );
    }
    for (words, area, bold) in &b.texts {
        text(
            words,
            (area.x0, area.y0),
            *bold,
            colours.ink,
            colours.paper,
            out,
        );
    }
    out.push_str("</g>\n");
}
