//! The drawing as SVG: presentation attributes only, no style, no script; a title and a
//! description; every part has an id, so that several views can point at the same thing.

use crate::drawing::Drawing;
use crate::geometry::{Area, Point, UNIT};
use crate::label::{Side, Spot};
use crate::symbol::{Fill, Ink, Pen, Step};
use std::fmt::Write as _;

/// Colours of a picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Colours {
    /// What it is drawn on.
    pub paper: &'static str,
    /// Lines and text.
    pub ink: &'static str,
    /// Secondary text.
    pub soft: &'static str,
}

/// By day.
pub const DAY: Colours = Colours {
    paper: "#f7faf8",
    ink: "#10201a",
    soft: "#3f5048",
};
/// On white paper.
pub const PRINT: Colours = Colours {
    paper: "#ffffff",
    ink: "#000000",
    soft: "#333333",
};

/// Text made safe for an element or an attribute.
#[must_use]
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            // Not allowed in XML at all.
            c if (c as u32) < 0x20 && !matches!(c, '\n' | '\t') => out.push(' '),
            '\u{fffe}' | '\u{ffff}' => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

/// An id from a name: letters, digits, `_` and `-` stay, all else is written as its number.
#[must_use]
pub fn id(name: &str) -> String {
    let mut out = String::new();
    for c in name.chars() {
        if c.is_ascii_alphanumeric() || c == '_' || c == '-' {
            out.push(c);
        } else {
            let _ = write!(out, "-{:x}-", c as u32);
        }
    }
    out
}

/// The picture.
#[must_use]
pub fn svg(d: &Drawing<'_>, colours: Colours) -> String {
    sheet(d, colours, "", "")
}

/// The picture with a group laid over it ([`crate::over::group`]) and some sentences in a strip
/// that is added below: whatever stands in the picture stands where it stood without them.
#[must_use]
pub fn sheet(d: &Drawing<'_>, colours: Colours, over: &str, foot: &str) -> String {
    let lines = rows(foot, d.frame.width() - 32);
    let more = match i32::try_from(lines.len()).unwrap_or(0) {
        0 => 0,
        n => n * 20 + 16,
    };
    let mut f = d.frame;
    let strip = f.y1;
    f.y1 += more;
    let mut out = String::new();
    let heading = &d.plan.circuit.heading;
    let title = heading.amp.as_deref().unwrap_or("Schematic");
    let _ = writeln!(
        out,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"{} {} {} {}\" width=\"{}\" height=\"{}\" role=\"img\" aria-labelledby=\"drawing-title drawing-desc\" font-family=\"{}\" font-size=\"{}\" font-weight=\"500\">",
        f.x0,
        f.y0,
        f.width(),
        f.height(),
        f.width(),
        f.height(),
        typeface::FAMILY,
        typeface::SIZE
    );
    let _ = writeln!(out, "<title id=\"drawing-title\">{}</title>", escape(title));
    let _ = writeln!(
        out,
        "<desc id=\"drawing-desc\">{}</desc>",
        escape(&description(d))
    );
    let _ = writeln!(
        out,
        "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"{}\"/>",
        f.x0,
        f.y0,
        f.width(),
        f.height(),
        colours.paper
    );
    wires(d, colours, &mut out);
    tags(d, colours, &mut out);
    parts(d, colours, &mut out);
    labels(d, colours, &mut out);
    out.push_str(over);
    for (i, line) in lines.iter().enumerate() {
        let _ = writeln!(
            out,
            "<text x=\"{}\" y=\"{}\" fill=\"{}\">{}</text>",
            f.x0 + 16,
            strip + 14 + 20 * i32::try_from(i).unwrap_or(0),
            colours.ink,
            escape(line)
        );
    }
    out.push_str("</svg>\n");
    out
}

/// Sentences in lines of a width; a word that is wider has a line of its own.
pub(crate) fn rows(text: &str, width: i32) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match out.last_mut() {
            Some(line) if typeface::width(&format!("{line} {word}"), false) <= width => {
                line.push(' ');
                line.push_str(word);
            }
            _ => out.push(word.to_owned()),
        }
    }
    out
}

/// What it shows, in words.
#[must_use]
pub fn description(d: &Drawing<'_>) -> String {
    let parts = d.plan.circuit.parts.len();
    let loose = d
        .tags
        .iter()
        .filter(|t| t.sort == crate::tag::Sort::Loose)
        .count();
    let mut text = format!("Schematic of what was traced: {parts} parts, {loose} loose ends.");
    for block in &d.plan.anatomy.blocks {
        let names: Vec<&str> = block
            .sections
            .iter()
            .filter_map(|s| d.plan.circuit.parts.get(s.part.0))
            .map(|p| p.name.as_str())
            .collect();
        if !names.is_empty() {
            let _ = write!(text, " {}: {}.", names.join(", "), block.kind.words());
        }
    }
    text
}

fn stroke(pen: Pen) -> &'static str {
    match pen {
        Pen::Thin => "1.2",
        Pen::Plain => "1.6",
        Pen::Heavy => "2.6",
    }
}

fn number(v: f32) -> String {
    let text = format!("{v:.1}");
    text.strip_suffix(".0").map_or(text.clone(), str::to_owned)
}

/// Shapes at a place.
pub(crate) fn ink(list: &[Ink], at: Point, colours: Colours, out: &mut String) {
    let (ox, oy) = ((at.x * UNIT) as f32, (at.y * UNIT) as f32);
    let u = UNIT as f32;
    let xy = |x: f32, y: f32| format!("{} {}", number(ox + x * u), number(oy + y * u));
    for i in list {
        match i {
            Ink::Circle(x, y, r, pen, fill) => {
                let _ = write!(
                    out,
                    "<circle cx=\"{}\" cy=\"{}\" r=\"{}\" fill=\"{}\" stroke=\"{}\" stroke-width=\"{}\"/>",
                    number(ox + x * u),
                    number(oy + y * u),
                    number(r * u),
                    paint(*fill, colours),
                    colours.ink,
                    stroke(*pen)
                );
            }
            Ink::Path(steps, pen, fill, dashed) => {
                let mut path = String::new();
                for s in steps {
                    match *s {
                        Step::Move(x, y) => {
                            let _ = write!(path, "M{}", xy(x, y));
                        }
                        Step::Line(x, y) => {
                            let _ = write!(path, "L{}", xy(x, y));
                        }
                        Step::Curve(a, b, c, e, x, y) => {
                            let _ = write!(path, "C{} {} {}", xy(a, b), xy(c, e), xy(x, y));
                        }
                        Step::Close => path.push('Z'),
                    }
                }
                let dash = if *dashed {
                    " stroke-dasharray=\"5.4 3.6\""
                } else {
                    ""
                };
                let _ = write!(
                    out,
                    "<path d=\"{path}\" fill=\"{}\" stroke=\"{}\" stroke-width=\"{}\"{dash}/>",
                    paint(*fill, colours),
                    colours.ink,
                    stroke(*pen)
                );
            }
        }
    }
}

fn paint(fill: Fill, colours: Colours) -> &'static str {
    match fill {
        Fill::None => "none",
        Fill::Paper => colours.paper,
        Fill::Solid => colours.ink,
    }
}

fn wires(d: &Drawing<'_>, colours: Colours, out: &mut String) {
    let _ = writeln!(
        out,
        "<g id=\"wires\" fill=\"none\" stroke=\"{}\" stroke-width=\"1.6\" stroke-linecap=\"square\">",
        colours.ink
    );
    for w in &d.wires {
        let name = d.plan.node_name(wiring::circuit::NodeId(w.node));
        let mut path = String::new();
        for (a, b) in &w.runs {
            let _ = write!(
                path,
                "M{} {}L{} {}",
                a.x * UNIT,
                a.y * UNIT,
                b.x * UNIT,
                b.y * UNIT
            );
        }
        let _ = writeln!(out, "<path data-point=\"{}\" d=\"{path}\"/>", escape(&name));
    }
    out.push_str("</g>\n");
    let _ = writeln!(out, "<g id=\"joints\" fill=\"{}\">", colours.ink);
    for w in &d.wires {
        for j in &w.joints {
            let _ = write!(
                out,
                "<circle cx=\"{}\" cy=\"{}\" r=\"3.6\"/>",
                j.x * UNIT,
                j.y * UNIT
            );
        }
    }
    out.push_str("\n</g>\n");
}

fn tags(d: &Drawing<'_>, colours: Colours, out: &mut String) {
    out.push_str("<g id=\"tags\">\n");
    for t in &d.tags {
        ink(&crate::tag::drawn(t), t.at, colours, out);
        if let Some(a) = t.text_area() {
            let bold = t.sort == crate::tag::Sort::Rail;
            text_in(&t.text, bold, a, colours.ink, out);
        }
        out.push('\n');
    }
    out.push_str("</g>\n");
}

fn text_in(text: &str, bold: bool, a: Area, colour: &str, out: &mut String) {
    let _ = write!(
        out,
        "<text x=\"{}\" y=\"{}\" fill=\"{colour}\"{}>{}</text>",
        a.x0 + 1,
        a.y0 + 13,
        if bold { " font-weight=\"700\"" } else { "" },
        escape(text)
    );
}

fn parts(d: &Drawing<'_>, colours: Colours, out: &mut String) {
    out.push_str("<g id=\"parts\">\n");
    for p in &d.placed {
        let piece = &d.plan.pieces[p.piece];
        let part = piece
            .part
            .and_then(|x| d.plan.circuit.parts.get(x.0))
            .map_or("mains", |x| x.name.as_str());
        let suffix = match piece.which {
            crate::piece::Which::Heater => "-heater",
            _ => "",
        };
        let _ = write!(
            out,
            "<g id=\"part-{}{suffix}\" data-part=\"{}\"><title>{}</title>",
            id(&piece.name),
            escape(part),
            escape(&tooltip(d, p.piece))
        );
        ink(&p.symbol.ink, p.at, colours, out);
        for m in &p.symbol.marks {
            let w = typeface::width(&m.text, false);
            let x = ((p.at.x as f32 + m.at.0) * UNIT as f32) as i32 - w / 2;
            let y = ((p.at.y as f32 + m.at.1) * UNIT as f32) as i32 + 5;
            let _ = write!(
                out,
                "<text x=\"{x}\" y=\"{y}\" fill=\"{}\">{}</text>",
                colours.soft,
                escape(&m.text)
            );
        }
        out.push_str("</g>\n");
    }
    out.push_str("</g>\n");
}

/// A part in one line: name, value, roles.
fn tooltip(d: &Drawing<'_>, piece: usize) -> String {
    let p = &d.plan.pieces[piece];
    let mut text = p.name.clone();
    for v in &p.value {
        let _ = write!(text, ", {v}");
    }
    if let Some(part) = p.part {
        let mut roles: Vec<&str> = d
            .plan
            .anatomy
            .roles
            .get(part.0)
            .map_or(&[][..], Vec::as_slice)
            .iter()
            .map(|r| r.role.words())
            .collect();
        roles.dedup();
        if !roles.is_empty() && !matches!(p.which, crate::piece::Which::Section(_)) {
            let _ = write!(text, ": {}", roles.join(", "));
        }
    }
    text
}

fn labels(d: &Drawing<'_>, colours: Colours, out: &mut String) {
    let _ = writeln!(out, "<g id=\"labels\" fill=\"{}\">", colours.ink);
    for l in &d.labels {
        spot(&l.spot, out);
        out.push('\n');
    }
    out.push_str("</g>\n");
}

/// The lines of a label.
pub(crate) fn spot(s: &Spot, out: &mut String) {
    for (i, line) in s.lines.iter().enumerate() {
        let y = s.area.y0 + 13 + typeface::LINE * i32::try_from(i).unwrap_or(0);
        let total: i32 = line
            .iter()
            .map(|(t, b)| typeface::width(t, *b))
            .sum::<i32>()
            + 4 * (i32::try_from(line.len()).unwrap_or(1) - 1).max(0);
        let mut x = match s.side {
            Side::Start => s.area.x0,
            Side::Middle => (s.area.x0 + s.area.x1 - total) / 2,
            Side::End => s.area.x1 - total,
        };
        for (text, bold) in line {
            let _ = write!(
                out,
                "<text x=\"{x}\" y=\"{y}\"{}>{}</text>",
                if *bold { " font-weight=\"700\"" } else { "" },
                escape(text)
            );
            x += typeface::width(text, *bold) + 4;
        }
    }
}
