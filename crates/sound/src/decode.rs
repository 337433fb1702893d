//! A recording from the bytes of a file, whatever its name says it is: whole, or block by block.

use std::io::{Cursor, Read as _, Seek as _, SeekFrom};
use symphonia::core::codecs::audio::{AudioDecoder, AudioDecoderOptions};
use symphonia::core::errors::Error;
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::{FormatOptions, FormatReader, TrackType};
/// Where a recording's bytes come from: a file, or bytes in memory.
pub use symphonia::core::io::MediaSource;
use symphonia::core::io::MediaSourceStream;
use symphonia::core::meta::MetadataOptions;
use thiserror::Error as ThisError;

/// The longest recording that is read whole, in samples of all channels together: half an hour of stereo at 48 kHz.
/// (It is kept as 8 bytes a sample while it is measured.)
pub const MOST_SAMPLES: usize = 172_800_000;

/// A decoded recording: full scale is 1.0.
#[derive(Debug, Clone, PartialEq)]
pub struct Recording {
    /// Samples per second.
    pub rate: f64,
    /// One list of samples per channel, all of one length.
    pub channels: Vec<Vec<f64>>,
    /// Bits of a sample as the file states them; none where a lossy format has none.
    pub bits: Option<u32>,
    /// What the bytes are: `WAV`, `FLAC`, `MP4`, `MP3`, `AAC`.
    pub format: &'static str,
    /// What was noticed while reading, a sentence each.
    pub notes: Vec<String>,
}

impl Recording {
    /// Its length in seconds.
    #[must_use]
    pub fn seconds(&self) -> f64 {
        self.channels.first().map_or(0.0, |c| c.len() as f64) / self.rate
    }
}

/// Why bytes are no recording that can be measured.
#[derive(Debug, Clone, PartialEq, Eq, ThisError)]
pub enum DecodeError {
    /// No bytes.
    #[error("the file is empty")]
    Empty,
    /// The bytes are of none of the formats.
    #[error("this is no recording in a format that is read here")]
    Unknown,
    /// A known container, with a damaged or unfinished beginning.
    #[error("the file's beginning is damaged or cut off ({0})")]
    Damaged(String),
    /// A known container with something inside that is not read here.
    #[error("the sound inside is coded in a way that is not read here ({0})")]
    Coding(String),
    /// Not one sample.
    #[error("the file holds no sound: not one sample could be read")]
    NoSamples,
    /// Longer than can be measured.
    #[error("the recording is too long: more than {MOST_SAMPLES} samples")]
    TooLong,
}

impl DecodeError {
    /// What to do about it.
    #[must_use]
    pub fn remedy(&self) -> &'static str {
        match self {
            Self::Empty | Self::NoSamples => "Copy it again from the recorder, or record again.",
            Self::Unknown => "Give WAV, FLAC, MP3, AAC or a phone's M4A.",
            Self::Damaged(_) => {
                "Copy it again from the recorder; if it stays so, open it in the recorder and save it as WAV."
            }
            Self::Coding(_) => "Save it as WAV with 16 or 24 bits.",
            Self::TooLong => {
                "Cut out the part that matters; half an hour of stereo at 48 kHz is the most."
            }
        }
    }
}

/// What the first bytes say the file is.
fn format_of(bytes: &[u8]) -> Option<&'static str> {
    let at = |from: usize, what: &[u8]| bytes.get(from..from + what.len()) == Some(what);
    if (at(0, b"RIFF") || at(0, b"RF64")) && at(8, b"WAVE") {
        Some("WAV")
    } else if at(0, b"fLaC") {
        Some("FLAC")
    } else if at(4, b"ftyp") {
        Some("MP4")
    } else if at(0, b"ID3") {
        Some("MP3")
    } else if bytes.first() == Some(&0xff) && bytes.get(1).is_some_and(|b| b & 0xf6 == 0xf0) {
        Some("AAC")
    } else if bytes.first() == Some(&0xff) && bytes.get(1).is_some_and(|b| b & 0xe0 == 0xe0) {
        Some("MP3")
    } else {
        None
    }
}

/// The format that a file's ending promises.
fn promised(ending: &str) -> Option<&'static str> {
    match ending.to_ascii_lowercase().as_str() {
        "wav" | "wave" => Some("WAV"),
        "flac" => Some("FLAC"),
        "m4a" | "mp4" | "3gp" => Some("MP4"),
        "mp3" => Some("MP3"),
        "aac" => Some("AAC"),
        _ => None,
    }
}

/// The sound in `bytes`. The ending of the file's name (without the dot, or nothing) only serves to tell the user when
/// it is wrong.
///
/// # Errors
/// When no sound can be had of the bytes; a recording that is cut off is read as far as it goes, with a note.
pub fn decode(bytes: Vec<u8>, ending: &str) -> Result<Recording, DecodeError> {
    decode_from(Box::new(Cursor::new(bytes)), ending)
}

/// As [`decode`], of a file where it lies: its bytes are not kept beside its samples.
///
/// # Errors
/// As [`decode`].
pub fn decode_from(source: Box<dyn MediaSource>, ending: &str) -> Result<Recording, DecodeError> {
    decode_up_to(source, ending, MOST_SAMPLES)
}

fn decode_up_to(
    source: Box<dyn MediaSource>,
    ending: &str,
    most: usize,
) -> Result<Recording, DecodeError> {
    let mut reader = Reader::open(source, ending)?;
    let mut channels: Vec<Vec<f64>> = vec![Vec::new(); reader.channels()];
    let mut block = Vec::new();
    while reader.next(&mut block) {
        for (all, new) in channels.iter_mut().zip(&block) {
            all.extend_from_slice(new);
        }
        if channels.iter().map(Vec::len).sum::<usize>() > most {
            return Err(DecodeError::TooLong);
        }
    }
    Ok(Recording {
        rate: reader.rate(),
        channels,
        bits: reader.bits(),
        format: reader.format(),
        notes: reader.notes(),
    })
}

/// What the decoders give; none where they fail over bytes that no format allows. They are another project's, and what
/// somebody sends must not end the program.
fn unharmed<T>(work: impl FnOnce() -> T) -> Option<T> {
    std::panic::catch_unwind(std::panic::AssertUnwindSafe(work)).ok()
}

/// A recording that is read block by block, however long it is.
pub struct Reader {
    reader: Box<dyn FormatReader>,
    decoder: Box<dyn AudioDecoder>,
    track: u32,
    format: &'static str,
    bits: Option<u32>,
    rate: f64,
    channels: usize,
    /// Frames that the file promises, and those that came.
    promised: Option<u64>,
    frames: u64,
    /// The first block, read ahead because it alone is sure of rate and channels.
    ahead: Option<Vec<Vec<f64>>>,
    skipped: usize,
    ended_early: bool,
    notes: Vec<String>,
}

impl Reader {
    /// Opens the sound in `source`. The ending of its name is as in [`decode`].
    ///
    /// # Errors
    /// When no sound can be had of it.
    pub fn open(mut source: Box<dyn MediaSource>, ending: &str) -> Result<Self, DecodeError> {
        let mut head = Vec::new();
        let damaged = |e: std::io::Error| DecodeError::Damaged(e.to_string());
        (&mut source)
            .take(16)
            .read_to_end(&mut head)
            .map_err(damaged)?;
        source.seek(SeekFrom::Start(0)).map_err(damaged)?;
        if head.is_empty() {
            return Err(DecodeError::Empty);
        }
        let format = format_of(&head).ok_or(DecodeError::Unknown)?;
        let mut notes = Vec::new();
        if let Some(said) = promised(ending).filter(|said| *said != format) {
            notes.push(format!(
                "The name says {said}, the bytes are {format}; read as {format}."
            ));
        }
        let length = source.byte_len();
        if let Some(missing) = length.and_then(|n| cut_off(&head, n, format)) {
            notes.push(format!(
                "The file is cut off: {missing} bytes that its header promises are missing; measured as far as it goes."
            ));
        }
        let stream = MediaSourceStream::new(source, Default::default());
        let probe = || {
            symphonia::default::get_probe().probe(
                &Hint::new(),
                stream,
                FormatOptions::default(),
                MetadataOptions::default(),
            )
        };
        let reader = unharmed(probe)
            .ok_or_else(|| DecodeError::Damaged("its head makes no sense".into()))?
            .map_err(|e| match e {
                Error::Unsupported(_) => DecodeError::Coding(e.to_string()),
                _ => DecodeError::Damaged(e.to_string()),
            })?;
        let track = reader
            .default_track(TrackType::Audio)
            .ok_or(DecodeError::NoSamples)?;
        let parameters = track
            .codec_params
            .as_ref()
            .and_then(|p| p.audio())
            .ok_or_else(|| DecodeError::Coding("unknown".into()))?;
        let decoder = unharmed(|| {
            symphonia::default::get_codecs()
                .make_audio_decoder(parameters, &AudioDecoderOptions::default())
        })
        .ok_or_else(|| DecodeError::Damaged("its coding makes no sense".into()))?
        .map_err(|e| DecodeError::Coding(e.to_string()))?;
        let mut opened = Self {
            track: track.id,
            promised: track.num_frames,
            bits: parameters.bits_per_sample,
            decoder,
            format,
            rate: 0.0,
            channels: 0,
            frames: 0,
            ahead: None,
            skipped: 0,
            ended_early: false,
            notes,
            reader,
        };
        let mut first = Vec::new();
        if !opened.read(&mut first) || !(1000.0..=1e6).contains(&opened.rate) {
            return Err(DecodeError::NoSamples);
        }
        opened.ahead = Some(first);
        Ok(opened)
    }

    /// Samples per second.
    #[must_use]
    pub fn rate(&self) -> f64 {
        self.rate
    }

    /// How many channels.
    #[must_use]
    pub fn channels(&self) -> usize {
        self.channels
    }

    /// Bits of a sample as the file states them.
    #[must_use]
    pub fn bits(&self) -> Option<u32> {
        self.bits
    }

    /// What the bytes are.
    #[must_use]
    pub fn format(&self) -> &'static str {
        self.format
    }

    /// How many samples a channel has by the file's own word.
    #[must_use]
    pub fn promised(&self) -> Option<u64> {
        self.promised
    }

    /// The next samples of every channel; false at the end, with `block` empty.
    pub fn next(&mut self, block: &mut Vec<Vec<f64>>) -> bool {
        if let Some(first) = self.ahead.take() {
            *block = first;
            return true;
        }
        self.read(block)
    }

    fn read(&mut self, block: &mut Vec<Vec<f64>>) -> bool {
        while !self.ended_early {
            let packet = match unharmed(|| self.reader.next_packet()) {
                Some(Ok(Some(packet))) => packet,
                Some(Ok(None)) => break,
                Some(Err(_)) | None => {
                    self.ended_early = true;
                    break;
                }
            };
            if packet.track_id != self.track {
                continue;
            }
            let decoded = unharmed(|| {
                let sound = self.decoder.decode(&packet).ok()?;
                sound.copy_to_vecs_planar(block);
                Some(f64::from(sound.spec().rate()))
            });
            let Some(rate) = decoded.unwrap_or_else(|| {
                self.ended_early = true;
                None
            }) else {
                self.skipped += 1;
                continue;
            };
            if self.channels == 0 {
                self.channels = block.len();
                self.rate = rate;
            }
            if block.len() != self.channels {
                self.ended_early = true;
                break;
            }
            let frames = block.first().map_or(0, Vec::len);
            if frames == 0 {
                continue;
            }
            self.frames += frames as u64;
            for x in block.iter_mut().flatten().filter(|x| !x.is_finite()) {
                *x = 0.0;
            }
            return true;
        }
        block.clear();
        false
    }

    /// What was noticed, a sentence each; whole once the end was reached.
    #[must_use]
    pub fn notes(&self) -> Vec<String> {
        let mut notes = self.notes.clone();
        if self.skipped > 0 {
            notes.push(format!(
                "{} blocks of the file are damaged and were left out.",
                self.skipped
            ));
        }
        let short = self.promised.is_some_and(|n| n > self.frames + 4800);
        if (self.ended_early || short) && !notes.iter().any(|n| n.contains("cut off")) {
            notes.push(
                "The file is cut off: it ends before its own end; measured as far as it goes."
                    .into(),
            );
        }
        if self.bits == Some(8) {
            notes.push(
                "8 bits a sample: its own noise is near -50 dB; nothing below that can be measured."
                    .into(),
            );
        }
        if matches!(self.format, "MP3" | "AAC" | "MP4") {
            notes.push(
                "A phone's format that leaves out what the ear does not miss: hum and response are usable, noise and \
                 distortion below about -50 dB are not (common practice, no source)."
                    .into(),
            );
        }
        notes
    }
}

/// The bytes that the header of a WAV file promises and that are not there.
fn cut_off(head: &[u8], length: u64, format: &str) -> Option<u64> {
    if format != "WAV" || !head.starts_with(b"RIFF") {
        return None;
    }
    let size = u32::from_le_bytes(head.get(4..8)?.try_into().ok()?);
    // A recorder that streams writes the greatest number, or none, and means "until the end".
    if size == u32::MAX || size == 0 {
        return None;
    }
    (u64::from(size) + 8)
        .checked_sub(length)
        .filter(|missing| *missing > 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Too long is said before the memory is full, of all channels together.
    #[test]
    fn what_is_too_long_is_not_read_whole() {
        let bytes = crate::write::wav(&[0.1; 20_000], 48_000).unwrap();
        let read = |most| decode_up_to(Box::new(Cursor::new(bytes.clone())), "wav", most);
        assert_eq!(read(20_000).map(|r| r.channels[0].len()), Ok(20_000));
        assert_eq!(read(19_999), Err(DecodeError::TooLong));
        assert!(DecodeError::TooLong.remedy().contains("half an hour"));
    }
}
