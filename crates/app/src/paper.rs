//! A sheet as one page of paper: an HTML file that any browser prints.

use crate::outcome::Failure;
use crate::picture;
use crate::table::paragraph;
use bench::sheet::Sheet;
use std::path::PathBuf;

/// Whether and where a page is written.
#[derive(Debug, Clone, Default, clap::Args)]
pub(crate) struct Paper {
    /// Write it as one page to print, an HTML file, instead
    #[arg(long, value_name = "FILE.html", conflicts_with_all = ["json", "csv"])]
    pub(crate) paper: Option<PathBuf>,
    /// The paper is Letter, not A4
    #[arg(long, requires = "paper")]
    pub(crate) letter: bool,
}

impl Paper {
    /// Writes the page, when one was asked for, and says so.
    pub(crate) fn write(&self, sheet: &Sheet) -> Result<Option<String>, Failure> {
        let Some(path) = &self.paper else {
            return Ok(None);
        };
        let ending = path.extension().and_then(|e| e.to_str());
        if !ending.is_some_and(|e| e.eq_ignore_ascii_case("html") || e.eq_ignore_ascii_case("htm"))
        {
            return Err(Failure::misuse(
                format!("`{}` is no name of a page.", path.display()),
                "A page is an HTML file: `--paper sheet.html`.",
            ));
        }
        let (paper, name) = if self.letter {
            (report::Paper::Letter, "Letter")
        } else {
            (report::Paper::A4, "A4")
        };
        picture::write(path, onepage::page(sheet, paper).as_bytes())?;
        Ok(Some(paragraph(
            &format!(
                "{} written to {}, one page of {name}. Open it in a browser and print it at its own size.",
                sheet.title,
                path.display()
            ),
            "",
        )))
    }
}
