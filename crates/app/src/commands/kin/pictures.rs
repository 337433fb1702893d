//! The amp and each drawing as schematics, the differences laid over them.

use crate::kin_over::{LINES, Side, marks};
use crate::outcome::Failure;
use crate::picture;
use crate::table::{hanging, paragraph};
use bench::kin::{Drawing, DrawingKin, Kin};
use draw::over::{Hues, Overlay, Room, group, lay};
use std::path::Path;
use wiring::Circuit;

/// Two pictures for each drawing that is kin; tells which were written, and which marks found no room.
pub(super) fn write(
    folder: &Path,
    amp: &Circuit,
    drawings: &[Drawing<'_>],
    found: &Kin,
) -> Result<String, Failure> {
    std::fs::create_dir_all(folder).map_err(|e| {
        Failure::outside(
            format!("The folder {} cannot be made: {e}.", folder.display()),
            "Name a folder that you may write to.",
        )
    })?;
    let mut out = String::from("\n");
    for (n, (drawing, kin)) in drawings.iter().zip(&found.drawings).enumerate() {
        if !kin.kin {
            out.push_str(&paragraph(
                &format!("Not drawn: drawing {}, {}, is not kin.", n + 1, kin.name),
                "",
            ));
            continue;
        }
        for (circuit, side, word) in [
            (amp, Side::Found, "as-found"),
            (drawing.circuit, Side::Drawn, "as-drawn"),
        ] {
            let (picture, left) = one(circuit, kin, side);
            let name: String = kin
                .name
                .chars()
                .map(|c| if c.is_alphanumeric() { c } else { '-' })
                .collect();
            let path = folder.join(format!("{}-{name}-{word}.svg", n + 1));
            picture::write(&path, picture.as_bytes())?;
            out.push_str(&paragraph(&format!("Written to {}.", path.display()), ""));
            if !left.is_empty() {
                out.push_str(&hanging(
                    &format!("{}.", left.join("; ")),
                    "No place on the page: ",
                    "  ",
                ));
            }
        }
    }
    Ok(out)
}

fn one(circuit: &Circuit, kin: &DrawingKin, side: Side) -> (String, Vec<String>) {
    let anatomy = draw::look(circuit);
    let drawing = draw::draw(circuit, &anatomy, draw::Options::default());
    let overlay = Overlay {
        marks: marks(circuit, kin, side),
        ..Overlay::default()
    };
    let laid = lay(&Room::of(&drawing), &overlay);
    let left = laid.left_marks.iter().filter_map(|m| {
        let part = circuit.parts.get(m.part.0)?;
        Some(format!("{} {}", part.name, m.text))
    });
    let left: Vec<String> = left.collect();
    let over = group(&laid, Hues::DAY);
    (
        draw::svg::sheet(&drawing, draw::svg::DAY, &over, LINES),
        left,
    )
}
