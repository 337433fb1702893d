//! An address as a picture that a phone's camera reads.

use maud::{Markup, html};
use qrcode::{Color, EcLevel, QrCode};
use std::fmt::Write as _;

/// The scannable code of a text; nothing when the text is too long for one.
pub(crate) fn scannable(text: &str) -> Option<Markup> {
    let code = QrCode::with_error_correction_level(text.as_bytes(), EcLevel::M).ok()?;
    let width = code.width();
    let mut path = String::new();
    for (i, colour) in code.to_colors().iter().enumerate() {
        if *colour == Color::Dark {
            let _ = write!(path, "M{} {}h1v1h-1z", i % width + 4, i / width + 4);
        }
    }
    let side = width + 8;
    Some(html! {
        svg.scannable width="232" height="232" viewBox=(format!("0 0 {side} {side}")) role="img"
            shape-rendering="crispEdges" aria-label="The address and the code, to be scanned with a phone" {
            rect.paper width=(side) height=(side) {}
            path.dark d=(path) {}
        }
    })
}
