//! Photos and recordings, and what a photo is tied to.

use crate::attach::Hash;
use crate::change::{Card, Entries};
use crate::error::ShopError;
use crate::id::{JobId, PhotoId, RecordingId, TieId};
use crate::open::{Reader, Write};
use crate::stamp::At;
use rusqlite::{OptionalExtension as _, Row, params};
use serde::{Deserialize, Serialize};

/// A photo to put in. All three contents are kept; pages show only the two that were made here.
#[derive(Debug, Clone, Copy)]
pub struct NewPhoto<'a> {
    /// As it came.
    pub original: &'a [u8],
    /// Its media type, found from the content.
    pub media: &'a str,
    /// Turned upright, at most screen size, JPEG.
    pub shown: &'a [u8],
    /// Small, JPEG.
    pub thumbnail: &'a [u8],
    /// What the file was called; only ever shown as text.
    pub file_name: &'a str,
    /// A few words.
    pub caption: &'a str,
    /// Width upright, in pixels.
    pub width: u32,
    /// Height upright, in pixels.
    pub height: u32,
}

/// A photo.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Photo {
    /// Which.
    pub id: PhotoId,
    /// Of which job.
    pub job: JobId,
    /// As it came.
    pub original: Hash,
    /// Screen size.
    pub shown: Hash,
    /// Small.
    pub thumbnail: Hash,
    /// What the file was called.
    pub file_name: String,
    /// A few words.
    pub caption: String,
    /// Width upright.
    pub width: u32,
    /// Height upright.
    pub height: u32,
    /// When.
    pub at: At,
    /// What it is tied to.
    pub ties: Vec<Tie>,
}

/// What a photo can be tied to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum TieKind {
    /// A part, by its name.
    Part,
    /// A point, by its name.
    Point,
    /// A work item, by its number.
    Work,
    /// A reading, by its number.
    Reading,
    /// A socket, by its name.
    Valve,
    /// An item of a run sheet (`inspection/cord`).
    Sheet,
}

impl TieKind {
    /// As stored and as shown.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Part => "part",
            Self::Point => "point",
            Self::Work => "work",
            Self::Reading => "reading",
            Self::Valve => "valve",
            Self::Sheet => "sheet",
        }
    }

    /// Of a word.
    #[must_use]
    pub fn of(word: &str) -> Option<Self> {
        [
            Self::Part,
            Self::Point,
            Self::Work,
            Self::Reading,
            Self::Valve,
            Self::Sheet,
        ]
        .into_iter()
        .find(|k| k.word() == word)
    }
}

/// A photo tied to a thing.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Tie {
    /// Which.
    pub id: TieId,
    /// To what sort of thing.
    pub kind: TieKind,
    /// To which.
    pub target: String,
}

/// A sound recording.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Recording {
    /// Which.
    pub id: RecordingId,
    /// As it came.
    pub original: Hash,
    /// What the file was called.
    pub file_name: String,
    /// A few words.
    pub caption: String,
    /// When.
    pub at: At,
}

fn photo(r: &Row<'_>) -> rusqlite::Result<Photo> {
    Ok(Photo {
        id: r.get("id")?,
        job: r.get("job")?,
        original: r.get("original")?,
        shown: r.get("shown")?,
        thumbnail: r.get("thumbnail")?,
        file_name: r.get("file_name")?,
        caption: r.get("caption")?,
        width: r.get("width")?,
        height: r.get("height")?,
        at: r.get("at")?,
        ties: Vec::new(),
    })
}

const STANDS: &str = "withdrawn = 0 AND blanked_at IS NULL
 AND NOT EXISTS (SELECT 1 FROM photos n WHERE n.corrects = p.id)";

impl Reader<'_> {
    /// The photos of a job with their ties, the first first.
    pub fn photos(&self, job: JobId) -> Result<Vec<Photo>, ShopError> {
        let sql = format!("SELECT * FROM photos p WHERE job = ?1 AND {STANDS} ORDER BY id");
        let mut ask = self.base.prepare_cached(&sql)?;
        let mut all: Vec<Photo> = ask.query_map([job], photo)?.collect::<Result<_, _>>()?;
        let mut ask = self.base.prepare_cached(
            "SELECT t.photo, t.id, t.kind, t.target FROM ties t JOIN photos p ON p.id = t.photo
             WHERE p.job = ?1 AND t.gone = 0 ORDER BY t.id",
        )?;
        let ties = ask.query_map([job], |r| {
            Ok((
                r.get::<_, PhotoId>(0)?,
                r.get(1)?,
                r.get::<_, String>(2)?,
                r.get(3)?,
            ))
        })?;
        for tie in ties {
            let (of, id, kind, target) = tie?;
            if let (Some(photo), Some(kind)) =
                (all.iter_mut().find(|p| p.id == of), TieKind::of(&kind))
            {
                photo.ties.push(Tie { id, kind, target });
            }
        }
        Ok(all)
    }

    /// One photo, without its ties.
    pub fn photo(&self, id: PhotoId) -> Result<Photo, ShopError> {
        self.base
            .prepare_cached(&format!(
                "SELECT * FROM photos p WHERE id = ?1 AND {STANDS}"
            ))?
            .query_row([id], photo)
            .optional()?
            .ok_or_else(|| ShopError::Nothing(format!("photo {id}")))
    }

    /// The recordings of a job.
    pub fn recordings(&self, job: JobId) -> Result<Vec<Recording>, ShopError> {
        let mut ask = self.base.prepare_cached(
            "SELECT id, original, file_name, caption, at FROM recordings w
             WHERE job = ?1 AND withdrawn = 0
             AND NOT EXISTS (SELECT 1 FROM recordings n WHERE n.corrects = w.id) ORDER BY id",
        )?;
        let all = ask
            .query_map([job], |r| {
                Ok(Recording {
                    id: r.get(0)?,
                    original: r.get(1)?,
                    file_name: r.get(2)?,
                    caption: r.get(3)?,
                    at: r.get(4)?,
                })
            })?
            .collect::<Result<_, _>>()?;
        Ok(all)
    }
}

impl Write<'_> {
    /// Puts a photo in.
    pub fn add_photo(&mut self, job: JobId, new: &NewPhoto<'_>) -> Result<PhotoId, ShopError> {
        self.job(job)?;
        let original = self.attach(new.original, new.media)?;
        let shown = self.attach(new.shown, "image/jpeg")?;
        let thumbnail = self.attach(new.thumbnail, "image/jpeg")?;
        let entry = self.enter(Some(job), "photo")?;
        let columns = [
            ("job", job.into()),
            ("original", original.into()),
            ("shown", shown.into()),
            ("thumbnail", thumbnail.into()),
            ("file_name", as_text(new.file_name).into()),
            ("caption", new.caption.trim().to_owned().into()),
            ("width", i64::from(new.width).into()),
            ("height", i64::from(new.height).into()),
        ];
        Ok(PhotoId(self.append(
            entry,
            Entries::Photos,
            &columns,
            None,
        )?))
    }

    /// Ties a photo to a thing; twice is once.
    pub fn tie(&mut self, photo: PhotoId, kind: TieKind, target: &str) -> Result<TieId, ShopError> {
        let job = self.photo(photo)?.job;
        let there: Option<(i64, bool)> = self
            .base
            .query_row(
                "SELECT id, gone FROM ties WHERE photo = ?1 AND kind = ?2 AND target = ?3",
                params![photo, kind.word(), target],
                |r| Ok((r.get(0)?, r.get(1)?)),
            )
            .optional()?;
        let says = format!("photo tied to {} {target}", kind.word());
        if let Some((row, gone)) = there {
            if gone {
                self.alter(
                    Some(job),
                    Card::Ties,
                    row,
                    &[("gone", 0.into())],
                    None,
                    &says,
                )?;
            }
            return Ok(TieId(row));
        }
        let entry = self.enter(Some(job), &says)?;
        let columns = [
            ("photo", photo.into()),
            ("kind", kind.word().to_owned().into()),
            ("target", target.to_owned().into()),
        ];
        Ok(TieId(self.make(entry, Card::Ties, &columns)?))
    }

    /// Unties a photo.
    pub fn untie(&mut self, job: JobId, tie: TieId) -> Result<(), ShopError> {
        let columns = [("gone", 1.into())];
        self.alter(Some(job), Card::Ties, tie.0, &columns, None, "photo untied")?;
        Ok(())
    }

    /// Takes a photo off the job. Its content stays in the record.
    pub fn withdraw_photo(&mut self, id: PhotoId) -> Result<(), ShopError> {
        let job = self.photo(id)?.job;
        let entry = self.enter(Some(job), "photo withdrawn")?;
        self.withdraw(entry, Entries::Photos, id.0)?;
        Ok(())
    }

    /// Erases a photo for good, such as one with a person in it: its words are blanked, and its
    /// contents removed from the disk unless another photo uses them. Cannot be undone.
    pub fn blank_photo(&mut self, id: PhotoId) -> Result<(), ShopError> {
        let photo = self.photo(id)?;
        let entry = self.enter(Some(photo.job), "photo blanked")?;
        self.blank(entry, Entries::Photos, id.0)?;
        for hash in [photo.original, photo.shown, photo.thumbnail] {
            let used: bool = self.base.query_row(
                "SELECT EXISTS (SELECT 1 FROM photos
                 WHERE (original = ?1 OR shown = ?1 OR thumbnail = ?1) AND blanked_at IS NULL)
                 OR EXISTS (SELECT 1 FROM recordings WHERE original = ?1)",
                [hash.text()],
                |r| r.get(0),
            )?;
            if !used {
                self.erase_content(&hash)?;
            }
        }
        Ok(())
    }

    /// Puts a recording in.
    pub fn add_recording(
        &mut self,
        job: JobId,
        content: &[u8],
        media: &str,
        file_name: &str,
        caption: &str,
    ) -> Result<RecordingId, ShopError> {
        self.job(job)?;
        let original = self.attach(content, media)?;
        let entry = self.enter(Some(job), "recording")?;
        let columns = [
            ("job", job.into()),
            ("original", original.into()),
            ("file_name", as_text(file_name).into()),
            ("caption", caption.trim().to_owned().into()),
        ];
        Ok(RecordingId(self.append(
            entry,
            Entries::Recordings,
            &columns,
            None,
        )?))
    }
}

/// A file's name as a text to show: no control characters, at most 80 characters.
fn as_text(name: &str) -> String {
    name.chars().filter(|c| !c.is_control()).take(80).collect()
}
