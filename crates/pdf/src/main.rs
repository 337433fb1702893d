//! Makes PDFs: a document as JSON on standard input, the PDF on standard output.
//!
//! A program of its own, because what sets its pages takes far longer to build than all else. It opens no file, asks for
//! no time and knows no amplifier; the same document gives the same bytes. Exit status: 0 done, 1 the document is none,
//! 3 the PDF could not be made or written.

mod glyphs;
mod set;

use std::io::{Read as _, Write as _};
use std::process::ExitCode;

fn main() -> ExitCode {
    match run() {
        Ok(()) => ExitCode::SUCCESS,
        Err((status, what)) => {
            // nothing can be reported when standard error itself fails
            let _ = writeln!(std::io::stderr(), "{what}");
            ExitCode::from(status)
        }
    }
}

fn run() -> Result<(), (u8, String)> {
    let mut text = String::new();
    std::io::stdin()
        .read_to_string(&mut text)
        .map_err(|e| (1, format!("The document could not be read: {e}.")))?;
    let document: report::Document = serde_json::from_str(&text).map_err(|e| {
        (
            1,
            format!("This is no document as `tubewright report --json` prints it: {e}."),
        )
    })?;
    let pdf = set::pdf(document).map_err(|e| (3, format!("The PDF could not be made: {e}.")))?;
    let mut out = std::io::stdout().lock();
    out.write_all(&pdf)
        .and_then(|()| out.flush())
        .map_err(|e| (3, format!("The PDF could not be written: {e}.")))
}
