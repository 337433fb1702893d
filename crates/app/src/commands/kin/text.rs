//! Kin as the terminal shows it.

use crate::table::{Side, Table, hanging, paragraph};
use crate::words::sentence;
use bench::kin::{BlockVerdict, DrawingKin, Kin, Status, Step};
use wiring::Circuit;

/// The whole answer.
pub(super) fn text(amp: &Circuit, found: &Kin, all: bool) -> String {
    let name = amp.heading.amp.as_deref();
    let mut out = paragraph(name.unwrap_or("An amplifier without a name"), "");
    out.push_str(&paragraph(
        "Matched by what is joined to what; names of parts and points are not looked at.",
        "",
    ));
    out.push('\n');
    out.push_str(&overview(found));
    if !found.patchwork.is_empty() {
        out.push_str("\nRegion by region\n");
        for patch in &found.patchwork {
            out.push_str(&hanging(&sentence(&patch.words), "- ", "  "));
        }
    }
    for (n, drawing) in found.drawings.iter().enumerate() {
        out.push('\n');
        out.push_str(&one(n + 1, drawing, all));
    }
    out
}

fn overview(found: &Kin) -> String {
    let mut table = Table::new()
        .column("drawing", Side::Left)
        .column("score", Side::Right)
        .column("same", Side::Right)
        .column("value", Side::Right)
        .column("rewired", Side::Right)
        .column("missing", Side::Right)
        .column("added", Side::Right)
        .wrapping("", 10);
    for (n, d) in found.drawings.iter().enumerate() {
        let word = match (d.kin, d.partial) {
            (false, _) => "not kin",
            (true, true) => "partial",
            (true, false) => "",
        };
        table.row([
            format!("{} {}", n + 1, d.name),
            format!("{:.2}", d.score),
            d.same.to_string(),
            d.value_changed.to_string(),
            d.rewired.to_string(),
            d.missing.to_string(),
            d.added.to_string(),
            word.to_owned(),
        ]);
    }
    let mut out = table.without_empty_columns().render();
    out.push_str(&paragraph(
        "Missing: on the drawing only. Added: in the amp only. Score: 1 where nothing differs.",
        "",
    ));
    out
}

fn one(number: usize, drawing: &DrawingKin, all: bool) -> String {
    let mut out = paragraph(&format!("Drawing {number}, {}", drawing.name), "");
    if let Some(why) = &drawing.why {
        out.push_str(&paragraph(&format!("Not kin: {why}."), ""));
        if !all {
            return out;
        }
    }
    if drawing.partial {
        out.push_str(&paragraph(
            "It does not show the whole amp; what it leaves out is not held against it.",
            "",
        ));
    }
    for verdict in [
        BlockVerdict::Same,
        BlockVerdict::OnlyHere,
        BlockVerdict::OnlyThere,
    ] {
        let names: Vec<&str> = drawing
            .blocks
            .iter()
            .filter(|b| b.verdict == verdict)
            .map(|b| b.name.as_str())
            .collect();
        if !names.is_empty() {
            out.push_str(&hanging(
                &format!(
                    "{}: {}.",
                    sentence(verdict.words()).trim_end_matches('.'),
                    names.join(", ")
                ),
                "",
                "  ",
            ));
        }
    }
    for block in drawing.blocks.iter().filter(|b| {
        matches!(
            b.verdict,
            BlockVerdict::ValuesDiffer | BlockVerdict::WiringDiffers
        )
    }) {
        out.push_str(&hanging(
            &format!(
                "{}: {}.",
                sentence(&block.name).trim_end_matches('.'),
                block.verdict.words()
            ),
            "",
            "  ",
        ));
        for difference in &block.differences {
            out.push_str(&hanging(&format!("{difference}."), "  - ", "    "));
        }
    }
    let inside: Vec<String> = drawing
        .pairs
        .iter()
        .filter(|p| p.status == Status::Inside)
        .filter_map(|p| Some(format!("{}: {}", p.found.as_ref()?, p.what)))
        .collect();
    if !inside.is_empty() {
        out.push_str("Within tolerance\n");
        for line in inside {
            out.push_str(&hanging(&format!("{line}."), "  - ", "    "));
        }
    }
    if all {
        out.push_str("Part by part\n");
        for pair in &drawing.pairs {
            let found = pair.found.as_deref().unwrap_or("nothing");
            let drawn = pair.drawing.as_deref().unwrap_or("nothing");
            out.push_str(&hanging(
                &format!("{found} here, {drawn} there: {}.", pair.what),
                "  - ",
                "    ",
            ));
        }
    }
    out.push_str(&needed(drawing));
    out
}

/// What a change of the amp to this drawing would need.
fn needed(drawing: &DrawingKin) -> String {
    if drawing.edits == 0 {
        return paragraph(
            "Nothing would have to be changed to make the amp as drawn.",
            "",
        );
    }
    let needed = drawing.needed();
    let edits = needed.edits();
    let mut out = String::new();
    if edits > 0 {
        let plural = if edits == 1 { "" } else { "s" };
        out.push_str(&paragraph(
            &format!("To make the amp as drawn, {edits} change{plural}:"),
            "",
        ));
    }
    // Part by part: a part's value and its ends are changed together.
    let listed = |step: &Step| {
        let mut all = needed.parts.iter().chain(&needed.wires);
        all.any(|s| std::ptr::eq(*s, step))
    };
    for step in drawing.pairs.iter().flat_map(|p| &p.steps) {
        if listed(step) {
            out.push_str(&hanging(&step.words, "  - ", "    "));
        }
    }
    if needed.left_out > 0 {
        out.push_str(&paragraph(
            &format!(
                "Not listed: {} part{} of blocks that are only here or only there, or not traced yet.",
                needed.left_out,
                if needed.left_out == 1 { "" } else { "s" }
            ),
            "",
        ));
    }
    out
}
