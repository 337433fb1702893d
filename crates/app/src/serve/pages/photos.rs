//! Photos of a job: taking them, tying them to a part, point, work item or reading; recordings.

use super::{back, choice, field};
use crate::serve::ask::{Ask, Fields};
use crate::serve::fail::{Answer, Fail, go, ok};
use crate::serve::frame::{self, Page, Place};
use crate::serve::site::Site;
use crate::serve::{dates, photo, state};
use axum::body::Body;
use axum::http::header::{ACCEPT_RANGES, CACHE_CONTROL, CONTENT_RANGE, CONTENT_TYPE};
use axum::http::{HeaderValue, StatusCode};
use axum::response::Response;
use maud::{Markup, html};
use shop::{JobId, NewPhoto, Photo, PhotoId, Tie, TieId, TieKind};

/// A file of an upload.
pub(crate) struct Upload {
    /// What it was called; only ever shown.
    pub(crate) name: String,
    /// Its bytes.
    pub(crate) content: Vec<u8>,
}

const KINDS: [(&str, &str); 7] = [
    ("", "nothing"),
    ("part", "a part"),
    ("point", "a point"),
    ("work", "a work item, by number"),
    ("reading", "a reading, by number"),
    ("valve", "a socket"),
    ("sheet", "an item of a sheet"),
];

/// `/job/42/photos`.
pub(crate) fn show(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let (kind, target) = (fields.get("kind"), fields.line("target"));
    let page = site.shop.read(|r| {
        let view = state::view(site, r, id)?;
        let photos = r.photos(id)?;
        let recordings = r.recordings(id)?;
        let tied = TieKind::of(kind).filter(|_| !target.is_empty());
        let body = html! {
            div.photos {
                section.sheet {
                    h2 { @match tied { Some(k) => { "A photo of " (k.word()) " " (target) } None => "A photo" } }
                    form method="post" action=(format!("/job/{id}/photos")) enctype="multipart/form-data" {
                        @if let Some(k) = tied {
                            input type="hidden" name="kind" value=(k.word());
                            input type="hidden" name="target" value=(target);
                        }
                        label.file { span { "Take or choose (JPEG, PNG; also a recording, WAV or FLAC)" } input #file type="file" name="file" accept="image/jpeg,image/png,audio/wav,audio/flac" multiple required; }
                        (field("A few words", "caption", ""))
                        (frame::primary_button("Put in", "", "Enter"))
                    }
                    p.hint { "What the camera sent is kept untouched, with the place where it was taken if the camera writes that; pages show a smaller copy without it." }
                }
                ul.grid {
                    @for p in photos.iter().rev() { (card(id, p, kind, &target, ask)) }
                }
                @if !recordings.is_empty() {
                    section.sheet {
                        h2 { "Recordings" }
                        ul { @for x in &recordings { li { (x.caption) " " span.small { (x.file_name) ", " (dates::since(x.at, ask.now)) } audio controls preload="none" src=(format!("/job/{id}/recordings/{}", x.id)) {} } } }
                        p { a.button href=(format!("/job/{id}/recordings")) { "Measure a recording" } }
                    }
                }
            }
        };
        frame::page(site, ask, r, Page {
            title: format!("{} {}: photos", id, view.job.amp.fields.short()),
            place: Place::Job(&view, None),
            head: frame::job_head(&view),
            buttons: html! { span.aside { (photos.len()) @if photos.len() == 1 { " photo" } @else { " photos" } } },
            conditions: html! {},
            body,
        })
    })?;
    ok(page)
}

fn card(id: JobId, p: &Photo, kind: &str, target: &str, ask: &Ask) -> Markup {
    let tied = |k: TieKind| p.ties.iter().any(|t| t.kind == k && t.target == target);
    let words = if p.caption.is_empty() {
        p.file_name.clone()
    } else {
        p.caption.clone()
    };
    let post = format!("/job/{id}/photos/{}", p.id);
    html! {
        li.photo {
            a href=(format!("/job/{id}/photos/{}", p.id)) { img src=(format!("/job/{id}/photos/{}/small", p.id)) alt=(words) loading="lazy" width="240"; }
            p { (words) " " span.small { (dates::since(p.at, ask.now)) } }
            @if !p.ties.is_empty() { p.ties { @for t in &p.ties { (tie(id, t)) } } }
            @if let Some(k) = TieKind::of(kind).filter(|k| !target.is_empty() && !tied(*k)) {
                form method="post" action=(post) {
                    input type="hidden" name="kind" value=(k.word());
                    input type="hidden" name="target" value=(target);
                    input type="hidden" name="back" value=(ask.path);
                    button.button name="do" value="tie" { "Tie to " (target) }
                }
            }
            details {
                summary { "Tie, withdraw" }
                form method="post" action=(post) {
                    input type="hidden" name="back" value=(ask.path);
                    (choice("Tie to", "kind", &KINDS, ""))
                    (field("Which", "target", ""))
                    button.button name="do" value="tie" { "Tie" }
                    button.button name="do" value="withdraw" { "Take off the job" }
                    button.button name="do" value="blank" { "Erase for good" }
                }
            }
        }
    }
}

fn tie(id: JobId, t: &Tie) -> Markup {
    html! {
        form.tie method="post" action=(format!("/job/{id}/photos/ties/{}", t.id)) {
            span { (t.kind.word()) " " (t.target) }
            button.button.small-button aria-label=(format!("Untie from {} {}", t.kind.word(), t.target)) { "Untie" }
        }
    }
}

/// Small pictures in a row.
pub(crate) fn thumbnails(photos: &[&Photo]) -> Markup {
    html! {
        @if !photos.is_empty() {
            ul.thumbnails { @for p in photos { li { a href=(format!("/job/{}/photos/{}", p.job, p.id)) { img src=(format!("/job/{}/photos/{}/small", p.job, p.id)) alt=(if p.caption.is_empty() { &p.file_name } else { &p.caption }) width="120"; } } } }
        }
    }
}

/// One photo, large.
pub(crate) fn one(site: &Site, ask: &Ask, id: JobId, photo: i64, _: &Fields) -> Answer {
    let page = site.shop.read(|r| {
        let view = state::view(site, r, id)?;
        let p = r.photo(PhotoId(photo))?;
        own(&p, id)?;
        let words = if p.caption.is_empty() { p.file_name.clone() } else { p.caption.clone() };
        let body = html! {
            figure.sheet.large-photo {
                img src=(format!("/job/{id}/photos/{photo}/large")) alt=(words) width=(p.width) height=(p.height);
                figcaption { (words) " " span.small { (p.width) " by " (p.height) ", " (dates::since(p.at, ask.now)) } }
            }
        };
        frame::page(site, ask, r, Page {
            title: format!("{id} {}: photo", view.job.amp.fields.short()),
            place: Place::Job(&view, None),
            head: frame::job_head(&view),
            buttons: html! { a.button href=(format!("/job/{id}/photos")) { "All photos" } },
            conditions: html! {},
            body,
        })
    })?;
    ok(page)
}

fn own(photo: &Photo, job: JobId) -> Result<(), shop::ShopError> {
    if photo.job == job {
        Ok(())
    } else {
        Err(shop::ShopError::Nothing(
            "such photo in this job".to_owned(),
        ))
    }
}

/// The bytes of a picture that was made here.
pub(crate) fn picture(site: &Site, id: JobId, photo: i64, large: bool) -> Answer {
    let p = site.shop.read(|r| r.photo(PhotoId(photo)))?;
    own(&p, id)?;
    let hash = if large { &p.shown } else { &p.thumbnail };
    bytes("image/jpeg", site.shop.content(hash)?)
}

/// The bytes of a recording.
pub(crate) fn recording(
    site: &Site,
    id: JobId,
    recording: i64,
    range: Option<&HeaderValue>,
) -> Answer {
    let found = site.shop.read(|r| {
        let all = r.recordings(id)?;
        let x = all.into_iter().find(|x| x.id.0 == recording);
        match x {
            Some(x) => Ok(r.attachment(&x.original)?),
            None => Ok(None),
        }
    })?;
    let a = found.ok_or(Fail::NoPage)?;
    let media = match a.media.as_str() {
        "audio/flac" => "audio/flac",
        "audio/mp4" => "audio/mp4",
        "audio/mpeg" => "audio/mpeg",
        _ => "audio/wav",
    };
    let content = site.shop.content(&a.hash)?;
    sounding(media, content.len(), range, |from, many| {
        Ok(content[from..from + many].to_vec())
    })
}

/// Sound of so many bytes, whole or the part of it that a browser asks for when it goes to another moment. `piece` reads
/// from one byte so many.
pub(crate) fn sounding(
    media: &'static str,
    length: usize,
    range: Option<&HeaderValue>,
    piece: impl FnOnce(usize, usize) -> std::io::Result<Vec<u8>>,
) -> Answer {
    let asked = range
        .and_then(|r| r.to_str().ok())
        .and_then(|r| part(r, length));
    let read = match asked {
        Some((from, to)) => piece(from, to + 1 - from),
        None => piece(0, length),
    };
    let read = read.map_err(|e| {
        Fail::typed(
            format!("The sound could not be read: {e}."),
            "Play it again.",
        )
    })?;
    let built = Response::builder()
        .header(CONTENT_TYPE, media)
        .header(ACCEPT_RANGES, "bytes")
        .header(CACHE_CONTROL, "private, max-age=86400");
    let built = match asked {
        Some((from, to)) => built
            .status(StatusCode::PARTIAL_CONTENT)
            .header(CONTENT_RANGE, format!("bytes {from}-{to}/{length}")),
        None => built,
    };
    let built = built.body(Body::from(read));
    built.map_err(|_| Fail::NoPage)
}

/// First and last byte of one range (RFC 9110); none where the whole is to be sent.
fn part(range: &str, length: usize) -> Option<(usize, usize)> {
    let (from, to) = range.strip_prefix("bytes=")?.split_once('-')?;
    let last = length.checked_sub(1)?;
    let (from, to) = if from.is_empty() {
        (length.saturating_sub(to.parse().ok()?), last)
    } else {
        let to = if to.is_empty() {
            last
        } else {
            to.parse().ok()?
        };
        (from.parse().ok()?, to.min(last))
    };
    (from <= to).then_some((from, to))
}

fn bytes(media: &'static str, content: Vec<u8>) -> Answer {
    Response::builder()
        .header(CONTENT_TYPE, media)
        .header(CACHE_CONTROL, "private, max-age=86400")
        .body(Body::from(content))
        .map_err(|_| Fail::NoPage)
}

/// Puts photos and recordings in.
pub(crate) fn put(
    site: &Site,
    ask: &Ask,
    id: JobId,
    fields: &Fields,
    uploads: Vec<Upload>,
) -> Answer {
    if uploads.is_empty() {
        return Err(Fail::typed("No file was sent.", "Choose a photo first."));
    }
    // everything is looked at before anything is written
    let mut photos = Vec::new();
    let mut recordings = Vec::new();
    for upload in uploads {
        if let Some(media) = photo::recording(&upload.content) {
            recordings.push((upload, media));
        } else {
            let ready = photo::ready(&upload.content).map_err(|(what, remedy)| {
                Fail::typed(format!("{}: {what}", shown_name(&upload.name)), remedy)
            })?;
            photos.push((upload, ready));
        }
    }
    let caption = fields.line("caption");
    let tie = TieKind::of(fields.get("kind")).zip(fields.some("target"));
    site.shop.write(&ask.stamp(), |w| {
        for (upload, ready) in &photos {
            let new = NewPhoto {
                original: &upload.content,
                media: ready.media,
                shown: &ready.shown,
                thumbnail: &ready.thumbnail,
                file_name: &upload.name,
                caption: &caption,
                width: ready.width,
                height: ready.height,
            };
            let photo = w.add_photo(id, &new)?;
            if let Some((kind, target)) = tie {
                w.tie(photo, kind, target)?;
            }
        }
        for (upload, media) in &recordings {
            w.add_recording(id, &upload.content, media, &upload.name, &caption)?;
        }
        Ok(())
    })?;
    let to = match tie {
        Some((kind, target)) => format!(
            "/job/{id}/photos?kind={}&target={}",
            kind.word(),
            super::chart::percent(target)
        ),
        None => format!("/job/{id}/photos"),
    };
    go(back(fields, &to))
}

fn shown_name(name: &str) -> String {
    name.chars().filter(|c| !c.is_control()).take(80).collect()
}

/// Ties, withdraws or erases a photo.
pub(crate) fn change(site: &Site, ask: &Ask, id: JobId, photo: i64, fields: &Fields) -> Answer {
    let photo = PhotoId(photo);
    let p = site.shop.read(|r| r.photo(photo))?;
    own(&p, id)?;
    match fields.get("do") {
        "tie" => {
            let kind = TieKind::of(fields.get("kind"));
            let target = fields.line("target");
            let Some(kind) = kind.filter(|_| !target.is_empty()) else {
                return Err(Fail::typed(
                    "It is not said what the photo is tied to.",
                    "Choose a sort and name it, such as part `C3`.",
                ));
            };
            site.shop
                .write(&ask.stamp(), |w| w.tie(photo, kind, &target))?;
        }
        "withdraw" => site.shop.write(&ask.stamp(), |w| w.withdraw_photo(photo))?,
        "blank" => site.shop.forget(&ask.stamp(), |w| w.blank_photo(photo))?,
        _ => return Err(Fail::NoPage),
    }
    go(back(fields, &format!("/job/{id}/photos")))
}

/// Unties a photo.
pub(crate) fn untie(site: &Site, ask: &Ask, id: JobId, tie: i64, fields: &Fields) -> Answer {
    let known = site.shop.read(|r| {
        Ok(r.photos(id)?
            .iter()
            .any(|p| p.ties.iter().any(|t| t.id == TieId(tie))))
    })?;
    if !known {
        return Err(Fail::NoPage);
    }
    site.shop.write(&ask.stamp(), |w| w.untie(id, TieId(tie)))?;
    go(back(fields, &format!("/job/{id}/photos")))
}

#[cfg(test)]
mod tests {
    use super::part;

    /// RFC 9110, section 14.1.2 (from memory, not seen): first to last, from one on, the last so many.
    #[test]
    fn one_range_of_bytes() {
        assert_eq!(part("bytes=0-499", 10_000), Some((0, 499)));
        assert_eq!(part("bytes=9500-", 10_000), Some((9500, 9999)));
        assert_eq!(part("bytes=-500", 10_000), Some((9500, 9999)));
        assert_eq!(part("bytes=9000-20000", 10_000), Some((9000, 9999)));
        for whole in [
            "bytes=5-4",
            "bytes=10000-",
            "bytes=0-1,5-6",
            "lines=0-1",
            "bytes=x-",
            "bytes=-",
        ] {
            assert_eq!(part(whole, 10_000), None, "{whole}");
        }
        assert_eq!(part("bytes=0-", 0), None);
    }
}
