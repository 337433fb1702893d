//! Writing the block: to a new file, or behind what a valve file holds already.

use crate::input;
use crate::outcome::Failure;
use crate::problems;
use crate::replace::replace;
use bench::fitting::Block;
use std::fs::OpenOptions;
use std::io::{ErrorKind, Write as _};
use std::path::Path;
use wiring::sheet::Library;

/// Writes the block and says where it went.
pub(super) fn save(path: &Path, block: &Block) -> Result<String, Failure> {
    if path.as_os_str() == "-" {
        return Err(Failure::misuse(
            "`-o` needs a file to write to.",
            "Name one, or leave `-o` out: the block is printed.",
        ));
    }
    let name = path.display();
    let failed = |e: std::io::Error| {
        Failure::outside(
            format!("{name} could not be written: {e}."),
            "Look at the disk and at the folder's permissions; without `-o` the block is printed.",
        )
    };
    match OpenOptions::new().write(true).create_new(true).open(path) {
        Ok(mut new) => {
            new.write_all(block.text.as_bytes()).map_err(failed)?;
            new.sync_all().map_err(failed)?;
            Ok(format!("Written to {name}."))
        }
        Err(e) if e.kind() == ErrorKind::AlreadyExists => append(path, block),
        Err(e) => Err(failed(e)),
    }
}

/// Puts the block behind what the file holds, if both together read well.
fn append(path: &Path, block: &Block) -> Result<String, Failure> {
    let name = path.display();
    let before = input::read(path, 0)?;
    let other = "Name a new file, or leave `-o` out: the block is printed.";
    let (known, slips) = Library::with_user_file(&before.text);
    if before.slip.is_some() || problems::any_error(&slips) {
        return Err(Failure::input(
            format!("{name} is there already and is no valve file without errors."),
            other,
        ));
    }
    let names = Library::names_in(&before.text);
    if names.contains(&block.sheet.name) {
        return Err(Failure::input(
            format!("{name} describes a {} already.", block.sheet.name),
            format!("Take that block out of it. Or: {other}"),
        ));
    }
    let ending = if before.original.is_empty() || before.original.ends_with('\n') {
        ""
    } else {
        "\n"
    };
    let text = format!("{}{ending}\n{}", before.original, block.text);
    let (all, slips) = Library::with_user_file(text.trim_start_matches('\u{feff}'));
    let whole = names
        .iter()
        .all(|n| all.find(n).map(|s| &s.pins) == known.find(n).map(|s| &s.pins));
    if problems::any_error(&slips) || !whole {
        return Err(Failure::input(
            format!("The block would not go together with what {name} holds."),
            other,
        ));
    }
    replace(path, before.original.as_bytes(), &text)?;
    Ok(format!("Added to {name}."))
}
