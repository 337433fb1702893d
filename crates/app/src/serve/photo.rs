//! Photos as they come in: told by their content, turned upright, made small. What came is kept
//! untouched; pages show only what was made here.

use image::codecs::jpeg::JpegEncoder;
use image::{DynamicImage, ImageDecoder as _, ImageFormat, ImageReader, Limits};
use std::io::Cursor;

/// Largest file that is no recording.
const LARGEST: usize = 25 << 20;
/// Largest recording: half an hour of one channel at 48 kHz in 16 bits is 173 MB.
const LARGEST_RECORDING: usize = 190 << 20;
/// Longest side that is read.
const MOST_PIXELS: u32 = 12_000;
/// Memory that decoding may take.
const MOST_MEMORY: u64 = 512 << 20;
/// Longest side of what pages show.
const SHOWN: u32 = 1600;
/// Longest side of a thumbnail.
const SMALL: u32 = 240;

/// A photo, ready for the record.
pub(crate) struct Ready {
    /// Media type of what came.
    pub(crate) media: &'static str,
    /// For pages, JPEG.
    pub(crate) shown: Vec<u8>,
    /// Small, JPEG.
    pub(crate) thumbnail: Vec<u8>,
    /// Upright.
    pub(crate) width: u32,
    /// Upright.
    pub(crate) height: u32,
}

/// Reads a photo.
///
/// # Errors
/// One sentence and what to do.
pub(crate) fn ready(content: &[u8]) -> Result<Ready, (&'static str, &'static str)> {
    let (format, media) = sort(content)?;
    let mut reader = ImageReader::with_format(Cursor::new(content), format);
    let mut limits = Limits::default();
    limits.max_image_width = Some(MOST_PIXELS);
    limits.max_image_height = Some(MOST_PIXELS);
    limits.max_alloc = Some(MOST_MEMORY);
    reader.limits(limits);
    let unreadable = (
        "The photo could not be read: it is damaged, or far larger than a camera makes them.",
        "Take it again, or send another.",
    );
    let mut decoder = reader.into_decoder().map_err(|_| unreadable)?;
    let turned = decoder.orientation().map_err(|_| unreadable)?;
    let mut picture = DynamicImage::from_decoder(decoder).map_err(|_| unreadable)?;
    picture.apply_orientation(turned);
    let (width, height) = (picture.width(), picture.height());
    let smaller = |side: u32, quality: u8| -> Result<Vec<u8>, (&'static str, &'static str)> {
        let small = if width.max(height) > side {
            picture.thumbnail(side, side)
        } else {
            picture.clone()
        };
        let mut out = Vec::new();
        small
            .to_rgb8()
            .write_with_encoder(JpegEncoder::new_with_quality(&mut out, quality))
            .map_err(|_| unreadable)?;
        Ok(out)
    };
    Ok(Ready {
        media,
        shown: smaller(SHOWN, 82)?,
        thumbnail: smaller(SMALL, 78)?,
        width,
        height,
    })
}

/// Longest side of a photo in a report.
const REPORTED: u32 = 900;
/// A report with ten photos has less than 2 MB, so each has at most so many bytes.
const REPORTED_BYTES: usize = 150_000;

/// A photo of the record as a report holds it, with its width and height; none where it can't be read.
pub(crate) fn smaller(shown: &[u8]) -> Option<(Vec<u8>, u32, u32)> {
    let picture = image::load_from_memory_with_format(shown, ImageFormat::Jpeg).ok()?;
    let mut side = REPORTED;
    loop {
        let small = if picture.width().max(picture.height()) > side {
            picture.thumbnail(side, side)
        } else {
            picture.clone()
        };
        let mut out = Vec::new();
        small
            .to_rgb8()
            .write_with_encoder(JpegEncoder::new_with_quality(&mut out, 75))
            .ok()?;
        if out.len() <= REPORTED_BYTES || side < 200 {
            return Some((out, small.width(), small.height()));
        }
        side = side * 3 / 4;
    }
}

/// Told by the first bytes, never by the name.
fn sort(content: &[u8]) -> Result<(ImageFormat, &'static str), (&'static str, &'static str)> {
    if content.starts_with(&[0xff, 0xd8, 0xff]) {
        Ok((ImageFormat::Jpeg, "image/jpeg"))
    } else if content.starts_with(b"\x89PNG\r\n\x1a\n") {
        Ok((ImageFormat::Png, "image/png"))
    } else if content.get(4..8) == Some(b"ftyp") {
        Err((
            "This phone sends a format that is not read here (HEIC).",
            "Set its camera to JPEG (\"most compatible\"), or send a JPEG.",
        ))
    } else {
        Err(("This is no photo.", "Send a JPEG or a PNG."))
    }
}

/// How large a file may be, by its content.
pub(crate) fn largest(content: &[u8]) -> usize {
    match recording(content) {
        Some(_) => LARGEST_RECORDING,
        None => LARGEST,
    }
}

/// The media type of a recording, told by its content; none for anything else.
pub(crate) fn recording(content: &[u8]) -> Option<&'static str> {
    if content.starts_with(b"RIFF") && content.get(8..12) == Some(b"WAVE") {
        Some("audio/wav")
    } else if content.starts_with(b"fLaC") {
        Some("audio/flac")
    } else if matches!(
        content.get(4..11),
        Some(b"ftypM4A" | b"ftypmp4" | b"ftypiso" | b"ftyp3gp")
    ) {
        // what phones record in; their photos in a like wrapper say another word
        Some("audio/mp4")
    } else if content.starts_with(b"ID3")
        || (content.first() == Some(&0xff) && content.get(1).is_some_and(|b| b & 0xe6 == 0xe2))
    {
        Some("audio/mpeg")
    } else {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::RgbImage;

    /// Noise is what JPEG keeps worst.
    #[test]
    fn a_photo_of_a_report_is_small_whatever_it_shows() {
        let mut seed = 1_u32;
        let noise = RgbImage::from_fn(1600, 1200, |_, _| {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let [a, b, c, _] = seed.to_be_bytes();
            image::Rgb([a, b, c])
        });
        let mut out = Vec::new();
        noise
            .write_with_encoder(JpegEncoder::new_with_quality(&mut out, 82))
            .unwrap();
        let (jpeg, width, height) = smaller(&out).unwrap();
        assert!(
            jpeg.len() <= REPORTED_BYTES && width > height,
            "{}",
            jpeg.len()
        );
        assert!(smaller(b"no photo").is_none());
    }

    fn png(width: u32, height: u32) -> Vec<u8> {
        let mut out = Cursor::new(Vec::new());
        RgbImage::from_fn(width, height, |x, y| {
            image::Rgb([(x % 256) as u8, (y % 256) as u8, 0])
        })
        .write_to(&mut out, ImageFormat::Png)
        .unwrap();
        out.into_inner()
    }

    #[test]
    fn photos_are_made_small_and_keep_their_size_in_the_record() {
        let ready = ready(&png(2000, 1000)).unwrap();
        assert_eq!(
            (ready.width, ready.height, ready.media),
            (2000, 1000, "image/png")
        );
        let shown = image::load_from_memory(&ready.shown).unwrap();
        assert_eq!((shown.width(), shown.height()), (1600, 800));
        let small = image::load_from_memory(&ready.thumbnail).unwrap();
        assert_eq!((small.width(), small.height()), (240, 120));
    }

    #[test]
    fn what_is_no_photo_is_refused_by_its_content() {
        assert!(ready(b"<svg onload=alert(1)>").is_err());
        assert!(ready(b"").is_err());
        assert!(
            ready(b"\x00\x00\x00\x18ftypheic----")
                .err()
                .unwrap()
                .0
                .contains("HEIC")
        );
        assert!(ready(&png(10, 10)[..40]).is_err(), "cut short");
        // a header that claims far more pixels than there are bytes
        let mut bomb = png(10, 10);
        bomb[16..20].copy_from_slice(&60_000u32.to_be_bytes());
        bomb[20..24].copy_from_slice(&60_000u32.to_be_bytes());
        assert!(ready(&bomb).is_err());
        assert_eq!(
            recording(b"RIFF\x00\x00\x00\x00WAVEfmt "),
            Some("audio/wav")
        );
        assert_eq!(recording(b"RIFF\x00\x00\x00\x00AVI "), None);
        assert_eq!(
            recording(b"\x00\x00\x00\x1cftypM4A \x00"),
            Some("audio/mp4")
        );
        assert_eq!(recording(b"\xff\xfb\x90\x64"), Some("audio/mpeg"));
        assert_eq!(recording(b"\xff\xd8\xff\xe0"), None, "a photo");
        assert_eq!(recording(b"\x00\x00\x00\x18ftypheic"), None, "a photo");
        assert_eq!(recording(b"#!/bin/sh"), None);
    }
}
