//! A document of several pages, as a value: what stands in it, in reading order, and nothing of how it looks.
//!
//! Serialisable, so that another program can make something else of it. It knows no amplifier. Where a text rests on a
//! source, a run of it carries the number of a note; the notes stand at the end, each once.

use crate::paper::Paper;
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use serde::{Deserialize, Serialize};

/// The whole of it.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Document {
    /// The heading of the first page.
    pub title: String,
    /// A line over the heading.
    pub above: String,
    /// A number in the corner of the first page.
    pub number: String,
    /// What the number is of.
    pub number_of: String,
    /// At the left of every foot.
    pub running: String,
    /// At the right of every foot, before the number of the page.
    pub version: String,
    /// Who made it.
    pub author: String,
    /// The date that it bears, as `2026-11-27`.
    pub date: String,
    /// The paper.
    pub paper: Paper,
    /// What must not be missed, before all else.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub warning: Option<Warning>,
    /// What is known at a glance.
    pub facts: Vec<Fact>,
    /// Everything else, in reading order.
    pub blocks: Vec<Block>,
    /// Sources, numbered from 1.
    pub notes: Vec<String>,
}

/// What must not be missed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Warning {
    /// A few words, large.
    pub title: String,
    /// What it rests on.
    pub lines: Vec<String>,
}

/// A thing known at a glance.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Fact {
    /// `Serial`.
    pub name: String,
    /// `C 1098`.
    pub value: String,
}

/// A piece of the document.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "block", rename_all = "snake_case")]
pub enum Block {
    /// A heading, and a few words beside it in a lighter letter.
    Heading {
        /// The heading.
        text: String,
        /// Beside it; may be empty.
        beside: String,
    },
    /// A lesser heading.
    Subheading {
        /// The heading.
        text: String,
    },
    /// A paragraph.
    Paragraph {
        /// Its text.
        text: Vec<Run>,
    },
    /// Somebody's words, as they said them.
    Quote {
        /// The words, without marks.
        text: String,
    },
    /// Points, one under the other.
    List {
        /// Each of them.
        items: Vec<Vec<Run>>,
    },
    /// A table; its head stands again on every page that it runs over.
    Table(Table),
    /// A picture across the page.
    Picture(Picture),
    /// Pictures beside each other, two in a row.
    Pictures {
        /// Each of them.
        pictures: Vec<Picture>,
    },
    /// A caution, with the general warning sign.
    Caution {
        /// Word for word.
        text: String,
    },
    /// Lines to sign on.
    Signatures {
        /// What stands under each.
        lines: Vec<String>,
    },
    /// Labels to cut out, three in a row.
    Labels {
        /// Each of them.
        labels: Vec<Label>,
    },
    /// What follows begins on a new page.
    NewPage,
}

/// Text of one sort.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Run {
    /// The text.
    pub text: String,
    /// It stands out.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub strong: bool,
    /// It rests on this note.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<usize>,
}

/// Text as it stands.
#[must_use]
pub fn plain(text: impl Into<String>) -> Vec<Run> {
    vec![Run {
        text: text.into(),
        ..Run::default()
    }]
}

/// Text that stands out.
#[must_use]
pub fn strong(text: impl Into<String>) -> Vec<Run> {
    vec![Run {
        text: text.into(),
        strong: true,
        note: None,
    }]
}

/// A table.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Table {
    /// What it is a table of, for those who do not see the heading above it.
    pub name: String,
    /// Its columns.
    pub columns: Vec<Column>,
    /// Its rows, a cell for each column.
    pub rows: Vec<Vec<Cell>>,
}

/// A column.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Column {
    /// Its head.
    pub head: String,
    /// Its share of the width, in hundredths.
    pub share: u8,
    /// Figures: they stand at its right edge.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub right: bool,
}

impl Column {
    /// A column of words.
    #[must_use]
    pub fn words(head: &str, share: u8) -> Self {
        Self {
            head: head.to_owned(),
            share,
            right: false,
        }
    }

    /// A column of figures.
    #[must_use]
    pub fn figures(head: &str, share: u8) -> Self {
        Self {
            right: true,
            ..Self::words(head, share)
        }
    }
}

/// A cell: any of a mark, a small picture and a text.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Cell {
    /// How it came out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mark: Option<Mark>,
    /// A small picture.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub picture: Option<Picture>,
    /// Its text.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub text: Vec<Run>,
}

impl Cell {
    /// A text.
    #[must_use]
    pub fn plain(text: impl Into<String>) -> Self {
        Self {
            text: plain(text),
            ..Self::default()
        }
    }

    /// A text that stands out.
    #[must_use]
    pub fn strong(text: impl Into<String>) -> Self {
        Self {
            text: strong(text),
            ..Self::default()
        }
    }

    /// How it came out.
    #[must_use]
    pub fn mark(mark: Option<Mark>) -> Self {
        Self {
            mark,
            ..Self::default()
        }
    }
}

/// How something came out: a shape and a word, so that it is read without colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Mark {
    /// A reading within its band.
    Inside,
    /// One that cannot be told.
    Doubtful,
    /// One beyond its band, below.
    Below,
    /// One beyond its band, above.
    Above,
    /// Tested, and within its limit.
    Pass,
    /// Tested, and not in order.
    Fail,
    /// Not tested.
    NotTested,
    /// The owner said no.
    Declined,
}

impl Mark {
    /// All of them.
    pub const ALL: [Self; 8] = [
        Self::Inside,
        Self::Doubtful,
        Self::Below,
        Self::Above,
        Self::Pass,
        Self::Fail,
        Self::NotTested,
        Self::Declined,
    ];

    /// In words.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Inside => "inside",
            Self::Doubtful => "doubtful",
            Self::Below => "outside, low",
            Self::Above => "outside, high",
            Self::Pass => "pass",
            Self::Fail => "not in order",
            Self::NotTested => "not tested",
            Self::Declined => "declined",
        }
    }

    /// Trouble: it stands as a slab.
    #[must_use]
    pub fn is_slab(self) -> bool {
        matches!(self, Self::Below | Self::Above | Self::Fail)
    }
}

/// A picture.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Picture {
    /// What it shows, for those who do not see it.
    pub alt: String,
    /// A line under it; may be empty.
    pub caption: String,
    /// Pixels, or the drawing's own units.
    pub width: u32,
    /// As the width.
    pub height: u32,
    /// The picture.
    pub content: Content,
}

/// Where a picture is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Content {
    /// A drawing with lines and letters.
    Svg(String),
    /// A photo, JPEG in base 64.
    Jpeg(String),
    /// A photo at an address, on pages only.
    At(String),
}

impl Content {
    /// A photo.
    #[must_use]
    pub fn jpeg(bytes: &[u8]) -> Self {
        Self::Jpeg(STANDARD.encode(bytes))
    }
}

/// A label to cut out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Label {
    /// What it goes on: `Bag`, `Fuse`.
    pub goes_on: String,
    /// The line that is read first.
    pub title: String,
    /// The rest.
    pub lines: Vec<String>,
}

impl Document {
    /// The number of a note with this text, which is added where it is new.
    pub fn note(&mut self, text: &str) -> usize {
        let at = self.notes.iter().position(|n| n == text);
        at.unwrap_or_else(|| {
            self.notes.push(text.to_owned());
            self.notes.len() - 1
        }) + 1
    }

    /// A heading with nothing beside it.
    pub fn heading(&mut self, text: &str) {
        self.heading_beside(text, "");
    }

    /// A heading, and a few words beside it.
    pub fn heading_beside(&mut self, text: &str, beside: &str) {
        self.blocks.push(Block::Heading {
            text: text.to_owned(),
            beside: beside.to_owned(),
        });
    }

    /// A paragraph.
    pub fn say(&mut self, text: impl Into<String>) {
        self.blocks.push(Block::Paragraph { text: plain(text) });
    }
}
