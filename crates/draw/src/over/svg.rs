//! An overlay as a group of SVG, to be put on top of its drawing.

use super::place::{PAD, SIGN, nearest, signed};
use super::{Flagged, Laid, MarkSort, Marked, Standing};
use crate::geometry::Area;
use crate::svg::{Colours, escape, id};
use std::fmt::Write as _;

/// Colours of what is laid over a drawing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Hues {
    /// The drawing's own.
    pub base: Colours,
    /// Where you are.
    pub act: &'static str,
    /// Edge of what is inside its band.
    pub band_edge: &'static str,
    /// Doubtful.
    pub doubt: &'static str,
    /// Outside: the slab.
    pub out: &'static str,
    /// Text on that slab.
    pub on_out: &'static str,
}

impl Hues {
    /// By day.
    pub const DAY: Self = Self {
        base: crate::svg::DAY,
        act: "#0a5866",
        band_edge: "#2b6f7a",
        doubt: "#774900",
        out: "#a3103a",
        on_out: "#ffffff",
    };
    /// On white paper, ink only.
    pub const PRINT: Self = Self {
        base: crate::svg::PRINT,
        act: "#000000",
        band_edge: "#000000",
        doubt: "#000000",
        out: "#000000",
        on_out: "#ffffff",
    };
}

/// The picture with a group on top: what stood in it stands where it stood.
#[must_use]
pub fn onto(picture: &str, group: &str) -> String {
    match picture.rfind("</svg>") {
        Some(end) => format!("{}{group}{}", &picture[..end], &picture[end..]),
        None => picture.to_owned(),
    }
}

/// Everything that is laid over the schematic, as one group.
#[must_use]
pub fn group(laid: &Laid, hues: Hues) -> String {
    group_of(laid, hues, "")
}

/// The same for a second view on the same page: its ids begin with `before`.
#[must_use]
pub fn group_of(laid: &Laid, hues: Hues, before: &str) -> String {
    let mut out = format!("<g id=\"{before}over\">\n");
    for m in &laid.marks {
        mark(m, hues, &mut out);
    }
    for f in &laid.flags {
        flag(f, hues, before, &mut out);
    }
    if let Some(here) = laid.here {
        let (x, y) = (here.x, here.y);
        let _ = writeln!(
            out,
            "<g id=\"{before}here\" fill=\"none\" stroke=\"{c}\"><circle cx=\"{x}\" cy=\"{y}\" r=\"12\" stroke-width=\"3.6\"/><path d=\"M{a} {b}l-15 -4 8 -11Z\" fill=\"{c}\" stroke-width=\"0\"/></g>",
            c = hues.act,
            a = x - 11,
            b = y - 11,
        );
    }
    out.push_str("</g>\n");
    out
}

/// From the flag to its point, where they stand apart.
fn leader(a: Area, x: i32, y: i32) -> Option<(i32, i32)> {
    let (nx, ny) = (x.clamp(a.x0, a.x1), y.clamp(a.y0, a.y1));
    let far = (nx - x).abs().max((ny - y).abs());
    (far > 9).then_some((nx, ny))
}

fn text(x: i32, a: Area, words: &str, bold: bool, colour: &str, out: &mut String) -> i32 {
    let _ = write!(
        out,
        "<text x=\"{x}\" y=\"{}\" fill=\"{colour}\"{}>{}</text>",
        a.y0 + 15,
        if bold { " font-weight=\"700\"" } else { "" },
        escape(words)
    );
    x + typeface::width(words, bold)
}

fn flag(f: &Flagged, hues: Hues, before: &str, out: &mut String) {
    let a = f.area;
    let (edge, width, fill, ink) = match f.flag.standing {
        Standing::Outside(_) => (hues.out, "0", hues.out, hues.on_out),
        Standing::Doubtful(_) => (hues.doubt, "2", hues.base.paper, hues.doubt),
        Standing::Inside | Standing::Read => {
            (hues.band_edge, "1.2", hues.base.paper, hues.base.ink)
        }
        Standing::Expected => (hues.base.paper, "0", hues.base.paper, hues.base.soft),
    };
    let mut says = format!("{}: ", f.flag.point);
    match (f.flag.read.is_empty(), f.flag.expected.is_empty()) {
        (true, _) => {
            let _ = write!(says, "{} expected", f.flag.expected);
        }
        (false, true) => {
            let _ = write!(says, "{} read", f.flag.read);
        }
        (false, false) => {
            let _ = write!(says, "{} read for {}", f.flag.read, f.flag.expected);
        }
    }
    if signed(&f.flag) {
        let _ = write!(says, ", {}", f.flag.standing.word());
    }
    let _ = write!(
        out,
        "<g id=\"{before}flag-{}\" data-point=\"{}\"><title>{}</title>",
        id(&f.flag.point),
        escape(&f.flag.point),
        escape(&says)
    );
    let (px, py) = (f.at.x, f.at.y);
    if let Some((x, y)) = leader(a, px, py) {
        let _ = write!(
            out,
            "<path d=\"M{x} {y}L{px} {py}\" fill=\"none\" stroke=\"{}\" stroke-width=\"1.2\" stroke-dasharray=\"2 3\"/>",
            hues.base.soft
        );
    }
    let _ = write!(
        out,
        "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" rx=\"2\" fill=\"{fill}\" stroke=\"{edge}\" stroke-width=\"{width}\"/>",
        a.x0,
        a.y0,
        a.width(),
        a.height()
    );
    let mut x = a.x0 + PAD;
    if signed(&f.flag) {
        sign(f.flag.standing, x, a.y0 + 10, ink, hues, out);
        x += SIGN;
        if let Some(letter) = f.flag.standing.letter() {
            x = text(x, a, letter, true, ink, out) + 5;
        }
    }
    if !f.flag.read.is_empty() {
        x = text(x, a, &f.flag.read, true, ink, out);
        if !f.flag.expected.is_empty() {
            let gap = typeface::width(" ", false);
            x = text(x + gap, a, "for", false, ink, out) + gap;
        }
    }
    if !f.flag.expected.is_empty() {
        let end = text(x, a, &f.flag.expected, false, ink, out);
        // Computed figures carry a dotted line, as on every page.
        let _ = write!(
            out,
            "<path d=\"M{x} {y}H{end}\" fill=\"none\" stroke=\"{ink}\" stroke-width=\"1.2\" stroke-dasharray=\"1.2 2.4\"/>",
            y = a.y0 + 18
        );
    }
    out.push_str("</g>\n");
}

/// Brackets for the band, a dot for the reading: in, on the bracket, or out, on the side it went.
fn sign(standing: Standing, x: i32, y: i32, ink: &str, hues: Hues, out: &mut String) {
    let edge = if matches!(standing, Standing::Inside) {
        hues.band_edge
    } else {
        ink
    };
    let _ = write!(
        out,
        "<path d=\"M{a} {t}H{b}V{u}H{a}M{d} {t}H{c}V{u}H{d}\" fill=\"none\" stroke=\"{edge}\" stroke-width=\"2\"/>",
        a = x + 7,
        b = x + 4,
        c = x + 18,
        d = x + 15,
        t = y - 6,
        u = y + 6,
    );
    let at = match standing {
        Standing::Doubtful(false) => x + 4,
        Standing::Doubtful(true) => x + 18,
        Standing::Outside(false) => x,
        Standing::Outside(true) => x + 22,
        _ => x + 11,
    };
    let _ = write!(
        out,
        "<circle cx=\"{at}\" cy=\"{y}\" r=\"3\" fill=\"{edge}\"/>"
    );
}

fn mark(m: &Marked, hues: Hues, out: &mut String) {
    let (colour, width, dash) = match m.mark.sort {
        MarkSort::Suspect => (hues.out, "3.2", ""),
        MarkSort::Replace => (hues.out, "2", ""),
        MarkSort::Rewired => (hues.act, "2.6", "14 4 3 4"),
        MarkSort::Alone => (hues.act, "3.2", ""),
        MarkSort::Differs => (hues.act, "2", "10 4"),
        MarkSort::Stress => (hues.out, "2", "10 4"),
        MarkSort::Hot => (hues.doubt, "2", "6 3 2 3"),
        MarkSort::Watch => (hues.doubt, "2", "10 4"),
        MarkSort::Odd => (hues.doubt, "2", "2 4"),
        MarkSort::Later => (hues.act, "1.6", ""),
        MarkSort::Assumed => (hues.base.soft, "1.6", "5 4"),
        MarkSort::Keep => (hues.band_edge, "1.2", ""),
    };
    let dash = if dash.is_empty() {
        String::new()
    } else {
        format!(" stroke-dasharray=\"{dash}\"")
    };
    let _ = write!(
        out,
        "<g data-mark=\"{}\"><title>{}</title>",
        m.mark.part.0,
        escape(&m.mark.text)
    );
    if !m.round.is_empty() {
        out.push_str("<path d=\"");
        for (x0, y0, x1, y1) in &m.round {
            let _ = write!(out, "M{x0} {y0}L{x1} {y1}");
        }
        let _ = write!(
            out,
            "\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"{width}\"{dash}/>"
        );
    }
    if let Some(a) = m.area {
        let (px, py) = nearest(&m.body, &a);
        // Words that stand away from their part are led to it.
        if let Some((x, y)) = leader(a, px, py) {
            let _ = write!(
                out,
                "<path d=\"M{x} {y}L{px} {py}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"1.2\" stroke-dasharray=\"2 3\"/>"
            );
        }
        let slab = matches!(m.mark.sort, MarkSort::Suspect | MarkSort::Replace);
        let (fill, ink) = if slab {
            (hues.out, hues.on_out)
        } else {
            (hues.base.paper, colour)
        };
        let _ = write!(
            out,
            "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" rx=\"2\" fill=\"{fill}\"/>",
            a.x0,
            a.y0,
            a.width(),
            a.height()
        );
        text(a.x0 + PAD, a, &m.mark.text, true, ink, out);
    }
    out.push_str("</g>\n");
}
