//! What the owner should know, and what is signed.

use super::{Gathered, front};
use bench::rules::STANDARD_CAUTION;
use report::{Block, Document, plain};

/// What a technician can write for the report: what a note is about, on the page, and a hint.
pub(crate) const NOTES: [(&str, &str, &str); 3] = [
    (
        "report: found",
        "What was found, in plain words",
        "The hum came from two filter capacitors that had dried out.",
    ),
    (
        "report: care",
        "Care, beyond what always stands there",
        "The cabinet's left corner is glued: carry it by the handle.",
    ),
    ("report: next", "Next check", "autumn 2028"),
];

/// The text of a note that takes the one before it back; a note has words.
pub(crate) const NOTHING: &str = "(nothing)";

/// The latest note about one of these.
pub(crate) fn note_on<'n>(notes: &'n [shop::Note], about: &str) -> &'n str {
    notes
        .iter()
        .rev()
        .find(|n| n.about == about && !n.blanked)
        .map_or("", |n| n.text.as_str())
        .trim_start_matches(NOTHING)
}

/// Care and cautions; what always holds is common practice.
pub(super) fn care(g: &Gathered<'_>, d: &mut Document) {
    d.heading("Care");
    let mut items = Vec::new();
    if let Some(own) = g.note("report: care") {
        items.extend(
            own.lines()
                .filter(|l| !l.trim().is_empty())
                .map(str::to_owned),
        );
    }
    items
        .push("Never switch it on without its loudspeaker, or a load of the same ohms.".to_owned());
    items.push(match front::fuse(g) {
        Some(fuse) => format!(
            "Mains fuse as the wiring of this record has it: {fuse}. Never a larger or a slower one. One that blows again is a fault: switch off, unplug, have it looked at."
        ),
        None => "Never fit a larger or a slower fuse than the chassis marking says. One that blows again is a fault: switch off, unplug, have it looked at.".to_owned(),
    });
    items.push("After new output valves, have the bias read again.".to_owned());
    items.push(
        "Smoke, a smell of burning, a plate that glows red, a loud hum: switch off and unplug."
            .to_owned(),
    );
    d.blocks.push(Block::List {
        items: items.into_iter().map(plain).collect(),
    });
    d.say(match g.note("report: next") {
        Some(next) => format!("Next check: {next}."),
        None => "Next check: none was agreed.".to_owned(),
    });
    d.blocks.push(Block::Caution {
        text: STANDARD_CAUTION.to_owned(),
    });
}

/// Lines to sign on.
pub(super) fn signatures(d: &mut Document) {
    d.blocks.push(Block::Signatures {
        lines: vec!["at the bench, date".to_owned(), "owner, date".to_owned()],
    });
}
