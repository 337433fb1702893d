//! The program that makes PDFs, `tubewright-pdf`: it stands beside this one, takes a document as JSON on its standard input
//! and gives the PDF on its standard output. It is found in no other place.

use report::Document;
use std::io::{Read as _, Write as _};
use std::path::PathBuf;
use std::process::{Command, Stdio};

/// Its file's name.
const NAME: &str = if cfg!(windows) {
    "tubewright-pdf.exe"
} else {
    "tubewright-pdf"
};

/// How to get it, in a sentence.
pub(crate) const HOW: &str =
    "The package has it; from a source tree, `./pdf` builds it beside this program.";

/// Where it is; none where it is not there.
pub(crate) fn find() -> Option<PathBuf> {
    let beside = std::env::current_exe().ok()?.parent()?.join(NAME);
    // a test program stands one folder further down
    let above = beside.parent()?.parent()?.join(NAME);
    [beside, above].into_iter().find(|p| p.is_file())
}

/// A document as files for an archive: as a page, and as PDF where it can be made.
pub(crate) fn papers(document: &Document) -> Vec<(String, Vec<u8>)> {
    let mut all = vec![(
        "report.html".to_owned(),
        report::whole(document).into_bytes(),
    )];
    if let Ok(made) = pdf(document) {
        all.push(("report.pdf".to_owned(), made));
    }
    all
}

/// The document as PDF.
///
/// # Errors
/// One sentence and what to do.
pub(crate) fn pdf(document: &Document) -> Result<Vec<u8>, (String, String)> {
    let Some(program) = find() else {
        return Err((
            "The program that makes PDFs, `tubewright-pdf`, is not beside this one.".to_owned(),
            format!("{HOW} Until then, print the report from the browser."),
        ));
    };
    let failed = |what: String| {
        (
            format!("The PDF could not be made: {what}."),
            "Print the report from the browser instead.".to_owned(),
        )
    };
    let json = serde_json::to_vec(document).map_err(|e| failed(e.to_string()))?;
    let mut child = Command::new(program)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .map_err(|e| failed(e.to_string()))?;
    // written beside the reading, so that neither waits for the other
    let mut to = child.stdin.take();
    let writing = std::thread::spawn(move || {
        if let Some(to) = to.as_mut() {
            // a reader that ended early says why itself
            let _ = to.write_all(&json);
        }
    });
    let mut said = child.stderr.take();
    let listening = std::thread::spawn(move || {
        let mut words = String::new();
        if let Some(said) = said.as_mut() {
            let _ = said.read_to_string(&mut words);
        }
        words
    });
    let mut made = Vec::new();
    let read = match child.stdout.as_mut() {
        Some(out) => out.read_to_end(&mut made).map(|_| ()),
        None => Ok(()),
    };
    let _ = writing.join();
    let words = listening.join().unwrap_or_default();
    let status = child.wait().map_err(|e| failed(e.to_string()))?;
    read.map_err(|e| failed(e.to_string()))?;
    if !status.success() || !made.starts_with(b"%PDF-") {
        let words = words.lines().next().unwrap_or("it ended without one");
        return Err(failed(words.trim_end_matches('.').to_owned()));
    }
    Ok(made)
}
