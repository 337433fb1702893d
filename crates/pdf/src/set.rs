//! Sets a document into pages.
//!
//! The layout stands in `report.typ`. What somebody typed goes in as data, never as markup, so it can become neither. The
//! pages are tagged, and the library refuses a file that does not keep to PDF/UA-1 as far as a program can check it.

use crate::glyphs;
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use report::{Block, Content, Document, Mark, Picture};
use serde_json::json;
use std::sync::OnceLock;
use typst::diag::{FileError, FileResult};
use typst::foundations::{Bytes, Datetime, Duration, Smart};
use typst::syntax::{FileId, RootedPath, Source, VirtualPath, VirtualRoot};
use typst::text::{Font, FontBook};
use typst::utils::LazyHash;
use typst::{Library, LibraryExt as _, World};
use typst_layout::PagedDocument;
use typst_pdf::{PdfOptions, PdfStandard, PdfStandards};

/// The layout.
const LAYOUT: &str = include_str!("report.typ");

/// The two weights of the drawings' typeface, and behind them one that has more signs (SIL Open Font License 1.1).
fn fonts() -> &'static (Vec<Font>, LazyHash<FontBook>) {
    static FONTS: OnceLock<(Vec<Font>, LazyHash<FontBook>)> = OnceLock::new();
    FONTS.get_or_init(|| {
        let [medium, bold] = typeface::files();
        let files: [&'static [u8]; 4] = [
            medium,
            bold,
            include_bytes!("../fonts/CommitMono-400.ttf"),
            include_bytes!("../fonts/CommitMono-700.ttf"),
        ];
        let all: Vec<Font> = files
            .into_iter()
            .flat_map(|file| Font::iter(Bytes::new(file)))
            .collect();
        let book = FontBook::from_fonts(&all);
        (all, LazyHash::new(book))
    })
}

/// Some typeface has the letter.
fn held(c: char) -> bool {
    fonts()
        .0
        .iter()
        .any(|f| f.info().coverage.contains(c as u32))
}

/// What the layout can reach: itself, the document, its pictures.
struct Desk {
    library: LazyHash<Library>,
    layout: Source,
    files: Vec<(FileId, Bytes)>,
}

fn named(name: &str) -> Result<FileId, String> {
    let path = VirtualPath::new(name).map_err(|e| format!("{e:?}"))?;
    Ok(FileId::new(RootedPath::new(VirtualRoot::Project, path)))
}

impl World for Desk {
    fn library(&self) -> &LazyHash<Library> {
        &self.library
    }

    fn book(&self) -> &LazyHash<FontBook> {
        &fonts().1
    }

    fn main(&self) -> FileId {
        self.layout.id()
    }

    fn source(&self, id: FileId) -> FileResult<Source> {
        if id == self.layout.id() {
            Ok(self.layout.clone())
        } else {
            Err(FileError::AccessDenied)
        }
    }

    fn file(&self, id: FileId) -> FileResult<Bytes> {
        let found = self.files.iter().find(|f| f.0 == id);
        found.map(|f| f.1.clone()).ok_or(FileError::AccessDenied)
    }

    fn font(&self, index: usize) -> Option<Font> {
        fonts().0.get(index).cloned()
    }

    fn today(&self, _: Option<Duration>) -> Option<Datetime> {
        None
    }
}

/// The document as PDF.
pub(crate) fn pdf(mut document: Document) -> Result<Vec<u8>, String> {
    let mut files = Vec::new();
    let mut photo = |p: &mut Picture| -> Result<(), String> {
        match &p.content {
            Content::Jpeg(data) => {
                let name = format!("photo-{}.jpg", files.len());
                let bytes = STANDARD
                    .decode(data)
                    .map_err(|_| "a photo is not in base 64".to_owned())?;
                files.push((named(&name)?, Bytes::new(bytes)));
                p.content = Content::At(name);
                Ok(())
            }
            Content::At(_) => Err("a photo is at an address, not in the document".to_owned()),
            Content::Svg(_) => Ok(()),
        }
    };
    for block in &mut document.blocks {
        match block {
            Block::Picture(p) => photo(p)?,
            Block::Pictures { pictures } => pictures.iter_mut().try_for_each(&mut photo)?,
            Block::Table(t) => {
                for p in t
                    .rows
                    .iter_mut()
                    .flatten()
                    .filter_map(|c| c.picture.as_mut())
                {
                    photo(p)?;
                }
            }
            _ => {}
        }
    }
    let marks: Vec<_> = Mark::ALL
        .into_iter()
        .map(|m| json!({"mark": m, "word": m.word(), "slab": m.is_slab(), "sign": report::sign(m)}))
        .collect();
    let mut data = json!({"document": document, "marks": marks});
    glyphs::keep(&mut data, &held);
    let bytes = serde_json::to_vec(&data).map_err(|e| e.to_string())?;
    files.push((named("data.json")?, Bytes::new(bytes)));
    let desk = Desk {
        library: LazyHash::new(Library::default()),
        layout: Source::new(named("report.typ")?, LAYOUT.to_owned()),
        files,
    };
    let first = |all: &[typst::diag::SourceDiagnostic]| {
        all.first()
            .map_or_else(|| "no reason given".to_owned(), |d| d.message.to_string())
    };
    let set = typst::compile::<PagedDocument>(&desk);
    let pages = set.output.map_err(|e| first(&e))?;
    let standards = PdfStandards::new(&[PdfStandard::Ua_1]).map_err(|e| e.message().to_string())?;
    let options = PdfOptions {
        creator: Smart::Custom(Some("tubewright-pdf".to_owned())),
        standards,
        ..PdfOptions::default()
    };
    typst_pdf::pdf(&pages, &options).map_err(|e| first(&e))
}

#[cfg(test)]
mod tests;
