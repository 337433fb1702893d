//! Files as typed on the command line: reading them whole, with a remedy for each thing that can go wrong.

use crate::outcome::Failure;
use sound::MediaSource;
use std::fs::File;
use std::io::{self, Read as _};
use std::path::{Path, PathBuf};
use wiring::{Diagnostic, Place, Severity};

/// No wiring is larger than this; a wrong file (a photo, a disk) is refused before it fills the memory.
const LARGEST: u64 = 16 << 20;

/// One file's name and text.
#[derive(Debug, Clone)]
pub(crate) struct Text {
    /// As typed; `standard input` for `-`.
    pub(crate) name: String,
    /// What it holds, without a leading byte-order mark.
    pub(crate) text: String,
    /// The text with such a mark, as it is on the disk.
    pub(crate) original: String,
    /// The first byte that is no UTF-8, if there is one; it is U+FFFD in the text.
    pub(crate) slip: Option<Diagnostic>,
}

/// Reads files in the order given. `-` is standard input, once.
pub(crate) fn read_all<'a>(
    files: impl IntoIterator<Item = &'a PathBuf>,
) -> Result<Vec<Text>, Failure> {
    let mut texts: Vec<Text> = Vec::new();
    let mut standard = false;
    for path in files {
        if path.as_os_str() == "-" {
            if standard {
                return Err(Failure::misuse(
                    "Standard input (`-`) can be read only once.",
                    "Name `-` once, and the other files by name.",
                ));
            }
            standard = true;
        }
        let index = texts.len();
        texts.push(read(path, index)?);
    }
    Ok(texts)
}

/// Reads one file; `index` is its place among the joined files.
pub(crate) fn read(path: &Path, index: usize) -> Result<Text, Failure> {
    let (name, bytes) = if path.as_os_str() == "-" {
        let mut bytes = Vec::new();
        io::stdin()
            .lock()
            .take(LARGEST + 1)
            .read_to_end(&mut bytes)
            .map_err(|e| {
                Failure::outside(
                    format!("Standard input could not be read: {e}."),
                    "Try again, or save the text and name the file.",
                )
            })?;
        ("standard input".to_owned(), bytes)
    } else {
        let name = path.display().to_string();
        let bytes = bytes_of(path).map_err(|e| unreadable(&name, path, &e))?;
        (name, bytes)
    };
    if bytes.len() as u64 > LARGEST {
        return Err(Failure::input(
            format!("{name} is larger than {} MB.", LARGEST >> 20),
            "A wiring is a text of some kilobytes. Is this the right file?",
        ));
    }
    Ok(decode(name, bytes, index))
}

/// No recording is larger than this.
const LARGEST_SOUND: u64 = 1 << 30;

/// A recording that is measured, with its name. What is too large is refused by its length, before anything is read.
pub(crate) fn sound(path: &Path) -> Result<(String, Box<dyn MediaSource>), Failure> {
    let name = path.display().to_string();
    let file = open(path)?;
    let about = file.metadata().map_err(|e| unreadable(&name, path, &e))?;
    let too_large = || {
        Failure::input(
            format!("{name} is larger than {} MB.", LARGEST_SOUND >> 20),
            "Cut out the part that matters, some minutes at most.",
        )
    };
    if about.is_file() {
        return if about.len() > LARGEST_SOUND {
            Err(too_large())
        } else {
            Ok((name, Box::new(file)))
        };
    }
    // A pipe says no length and cannot be gone back in.
    let mut bytes = Vec::new();
    file.take(LARGEST_SOUND + 1)
        .read_to_end(&mut bytes)
        .map_err(|e| unreadable(&name, path, &e))?;
    if bytes.len() as u64 > LARGEST_SOUND {
        return Err(too_large());
    }
    Ok((name, Box::new(io::Cursor::new(bytes))))
}

/// A recording that is read as it is needed, however long it is.
pub(crate) fn open(path: &Path) -> Result<File, Failure> {
    let name = path.display().to_string();
    let file = File::open(path).map_err(|e| unreadable(&name, path, &e))?;
    if file.metadata().is_ok_and(|m| m.is_dir()) {
        let folder = io::Error::from(io::ErrorKind::IsADirectory);
        return Err(unreadable(&name, path, &folder));
    }
    Ok(file)
}

fn bytes_of(path: &Path) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    File::open(path)?
        .take(LARGEST + 1)
        .read_to_end(&mut bytes)?;
    Ok(bytes)
}

fn unreadable(name: &str, path: &Path, error: &io::Error) -> Failure {
    match error.kind() {
        io::ErrorKind::NotFound => Failure::outside(
            format!("There is no file {name}."),
            nearest_file(path).map_or_else(
                || {
                    "Look at the name and at the folder you are in. \
                     `tubewright demo` writes example files and says where."
                        .to_owned()
                },
                |near| format!("Did you mean {near}?"),
            ),
        ),
        io::ErrorKind::PermissionDenied => Failure::outside(
            format!("{name} may not be read."),
            "Change its permissions, or copy it where you may read it.",
        ),
        io::ErrorKind::IsADirectory => Failure::outside(
            format!("{name} is a folder."),
            "Name the files in it, for example `*.wiring`.",
        ),
        _ => Failure::outside(
            format!("{name} could not be read: {error}."),
            "Look at the disk it is on.",
        ),
    }
}

/// The file in the same folder whose name is nearest, when it is near at all.
fn nearest_file(path: &Path) -> Option<String> {
    let wanted = path.file_name()?.to_str()?;
    let folder = match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    let mut near: Vec<(usize, String)> = std::fs::read_dir(folder)
        .ok()?
        .flatten()
        .filter_map(|entry| entry.file_name().into_string().ok())
        .filter(|name| !name.starts_with('.'))
        .map(|name| (strsim::levenshtein(&name, wanted), name))
        .collect();
    near.sort();
    let (distance, name) = near.into_iter().next()?;
    (distance <= 1 + wanted.chars().count() / 5)
        .then(|| path.with_file_name(name).display().to_string())
}

/// Text of bytes: UTF-8, a leading byte-order mark dropped, and the first slip told.
fn decode(name: String, bytes: Vec<u8>, index: usize) -> Text {
    match String::from_utf8(bytes) {
        Ok(original) => Text {
            name,
            text: unmarked(&original),
            original,
            slip: None,
        },
        Err(e) => {
            let good = e.utf8_error().valid_up_to();
            let bytes = e.into_bytes();
            let byte = bytes.get(good).copied().unwrap_or(0);
            let original = String::from_utf8_lossy(&bytes).into_owned();
            let text = unmarked(&original);
            let good = good.saturating_sub(original.len() - text.len());
            let before = text.get(..good).unwrap_or("");
            let place = Place {
                file: index,
                line: before.matches('\n').count() + 1,
                column: before
                    .rsplit('\n')
                    .next()
                    .map_or(0, |line| line.chars().count())
                    + 1,
                start: good,
                end: good + '\u{fffd}'.len_utf8(),
            };
            let slip = Diagnostic {
                code: "not-utf-8",
                severity: Severity::Error,
                place,
                message: format!("The byte {byte:02X} here is not UTF-8 text."),
                advice: "Save the file as UTF-8; every text editor can.".to_owned(),
                also: None,
            };
            Text {
                name,
                text,
                original,
                slip: Some(slip),
            }
        }
    }
}

fn unmarked(text: &str) -> String {
    text.strip_prefix('\u{feff}').unwrap_or(text).to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_byte_of_another_encoding_is_told_with_its_place() {
        let read = decode("a".into(), b"amp x\nC1 22 \xb5F\n".to_vec(), 2);
        let slip = read.slip.expect("told");
        assert_eq!(
            (slip.place.file, slip.place.line, slip.place.column),
            (2, 2, 7)
        );
        assert_eq!(read.text, "amp x\nC1 22 \u{fffd}F\n");
        assert_eq!(&read.text[slip.place.start..slip.place.end], "\u{fffd}");
    }

    #[test]
    fn a_byte_order_mark_is_no_text() {
        let read = decode("a".into(), b"\xef\xbb\xbfamp x\n".to_vec(), 0);
        assert_eq!(read.text, "amp x\n");
        assert!(read.slip.is_none());
    }
}
