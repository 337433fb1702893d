//! Small drawings in a text: how a reading stands to its band, and how far a job came. Ink on white, told apart without
//! colour.

use crate::document::{Content, Mark, Picture};
use std::fmt::Write as _;

/// Typeface of letters in drawings.
const FAMILY: &str = typeface::FAMILY;

fn bracket(out: &mut String, x: f64, open: bool, ink: &str) {
    let inward = if open { 4.0 } else { -4.0 };
    let _ = write!(
        out,
        "<path d=\"M{:.1} 3 H{x:.1} V15 H{:.1}\" fill=\"none\" stroke=\"{ink}\" stroke-width=\"2\"/>",
        x + inward,
        x + inward
    );
}

/// The sign of a mark as SVG: two brackets, and a dot in, on or outside them; an empty pair where nothing was tested.
#[must_use]
pub fn sign(mark: Mark) -> String {
    let ink = if mark.is_slab() { "#fff" } else { "#000" };
    let mut out = String::from(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 34 18\" width=\"34\" height=\"18\" aria-hidden=\"true\">",
    );
    bracket(&mut out, 9.0, true, ink);
    bracket(&mut out, 25.0, false, ink);
    let dot = match mark {
        Mark::Inside | Mark::Pass => Some(17.0),
        Mark::Doubtful => Some(25.0),
        Mark::Below => Some(3.5),
        Mark::Above | Mark::Fail => Some(30.5),
        Mark::NotTested | Mark::Declined => None,
    };
    if let Some(x) = dot {
        let _ = write!(
            out,
            "<circle cx=\"{x}\" cy=\"9\" r=\"3.2\" fill=\"{ink}\"/>"
        );
    }
    if mark == Mark::Declined {
        out.push_str("<path d=\"M12 9 H22\" stroke=\"#000\" stroke-width=\"2\"/>");
    }
    out.push_str("</svg>");
    out
}

/// A band with its expected value and a reading on it: the band takes about a third of the width; a reading beyond the
/// ends stops there with an arrow. None without a band.
#[must_use]
pub fn band(low: f64, high: f64, expected: Option<f64>, reading: Option<f64>) -> Option<Picture> {
    let width = high - low;
    if !width.is_finite() || width <= 0.0 {
        return None;
    }
    let (left, right) = (38.0, 72.0);
    let at = |v: f64| left + (v - low) / width * (right - left);
    let mut svg = String::from(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 110 20\" width=\"110\" height=\"20\" aria-hidden=\"true\">\
<path d=\"M4 12 H106\" stroke=\"#000\" stroke-width=\"1\"/>",
    );
    let _ = write!(
        svg,
        "<rect x=\"{left}\" y=\"6\" width=\"{}\" height=\"12\" fill=\"#d9d9d9\"/>",
        right - left
    );
    for (x, inward) in [(left, 4.0), (right, -4.0)] {
        let _ = write!(
            svg,
            "<path d=\"M{0} 6 H{x} V18 H{0}\" fill=\"none\" stroke=\"#000\" stroke-width=\"2\"/>",
            x + inward
        );
    }
    if let Some(x) = expected.map(at).filter(|x| (left..=right).contains(x)) {
        let _ = write!(
            svg,
            "<path d=\"M{x:.1} 8 V16\" stroke=\"#555\" stroke-width=\"1.4\"/>"
        );
    }
    if let Some(x) = reading.map(at).filter(|x| x.is_finite()) {
        if x < 6.0 {
            svg.push_str("<path d=\"M4 12 L12 6 V18 Z M12 12 L20 6 V18 Z\" fill=\"#000\"/>");
        } else if x > 104.0 {
            svg.push_str("<path d=\"M106 12 L98 6 V18 Z M98 12 L90 6 V18 Z\" fill=\"#000\"/>");
        } else {
            let _ = write!(
                svg,
                "<path d=\"M{:.1} 1 H{:.1} L{x:.1} 9 Z\" fill=\"#000\"/><path d=\"M{x:.1} 8 V19\" stroke=\"#000\" stroke-width=\"2\"/>",
                x - 4.5,
                x + 4.5
            );
        }
    }
    svg.push_str("</svg>");
    Some(Picture {
        alt: String::new(),
        caption: String::new(),
        width: 110,
        height: 20,
        content: Content::Svg(svg),
    })
}

/// A job as a wire: a joint for each step, filled where it is done, half where it was begun, a ring where it is not.
#[must_use]
pub fn wire(joints: &[(&str, &str)]) -> Picture {
    let each = 88.0;
    let width = each * joints.len().max(1) as f64;
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} 44\" width=\"{width}\" height=\"44\">"
    );
    let last = each * (joints.len().max(1) as f64 - 0.5);
    let _ = write!(
        svg,
        "<path d=\"M{} 32 H{last}\" stroke=\"#000\" stroke-width=\"2\"/>",
        each / 2.0
    );
    for (i, (word, state)) in joints.iter().enumerate() {
        let x = each * (i as f64 + 0.5);
        let _ = write!(
            svg,
            "<text x=\"{x}\" y=\"16\" font-family=\"{FAMILY}\" font-size=\"16\" font-weight=\"500\" text-anchor=\"middle\" fill=\"#000\">{}</text>",
            word.replace('&', "&amp;").replace('<', "&lt;")
        );
        let fill = if *state == "done" { "#000" } else { "#fff" };
        let _ = write!(
            svg,
            "<circle cx=\"{x}\" cy=\"32\" r=\"6\" fill=\"{fill}\" stroke=\"#000\" stroke-width=\"2\"/>"
        );
        if *state == "begun" {
            let _ = write!(
                svg,
                "<path d=\"M{x} 26 A6 6 0 0 0 {x} 38 Z\" fill=\"#000\"/>"
            );
        }
    }
    svg.push_str("</svg>");
    let said: Vec<String> = joints.iter().map(|(w, s)| format!("{w}: {s}")).collect();
    Picture {
        alt: format!("The steps of the job. {}.", said.join(", ")),
        caption: String::new(),
        width: width as u32,
        height: 44,
        content: Content::Svg(svg),
    }
}
