//! A recording from the bytes of a file, whatever its name says it is.

use std::io::Cursor;
use symphonia::core::codecs::audio::AudioDecoderOptions;
use symphonia::core::errors::Error;
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::{FormatOptions, TrackType};
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
    if bytes.is_empty() {
        return Err(DecodeError::Empty);
    }
    let format = format_of(&bytes).ok_or(DecodeError::Unknown)?;
    let mut notes = Vec::new();
    if let Some(said) = promised(ending).filter(|said| *said != format) {
        notes.push(format!(
            "The name says {said}, the bytes are {format}; read as {format}."
        ));
    }
    if let Some(missing) = cut_off(&bytes, format) {
        notes.push(format!(
            "The file is cut off: {missing} bytes that its header promises are missing; measured as far as it goes."
        ));
    }
    let stream = MediaSourceStream::new(Box::new(Cursor::new(bytes)), Default::default());
    let mut reader = symphonia::default::get_probe()
        .probe(
            &Hint::new(),
            stream,
            FormatOptions::default(),
            MetadataOptions::default(),
        )
        .map_err(|e| match e {
            Error::Unsupported(_) => DecodeError::Coding(e.to_string()),
            _ => DecodeError::Damaged(e.to_string()),
        })?;
    let track = reader
        .default_track(TrackType::Audio)
        .ok_or(DecodeError::NoSamples)?;
    let id = track.id;
    let promised_frames = track.num_frames;
    let parameters = track
        .codec_params
        .as_ref()
        .and_then(|p| p.audio())
        .ok_or_else(|| DecodeError::Coding("unknown".into()))?;
    let bits = parameters.bits_per_sample;
    let mut decoder = symphonia::default::get_codecs()
        .make_audio_decoder(parameters, &AudioDecoderOptions::default())
        .map_err(|e| DecodeError::Coding(e.to_string()))?;

    let mut rate = 0.0;
    let mut channels: Vec<Vec<f64>> = Vec::new();
    let mut skipped = 0_usize;
    let mut ended_early = false;
    let mut block: Vec<Vec<f64>> = Vec::new();
    loop {
        let packet = match reader.next_packet() {
            Ok(Some(packet)) => packet,
            Ok(None) => break,
            Err(_) => {
                ended_early = true;
                break;
            }
        };
        if packet.track_id != id {
            continue;
        }
        match decoder.decode(&packet) {
            Ok(sound) => {
                rate = f64::from(sound.spec().rate());
                sound.copy_to_vecs_planar(&mut block);
                if channels.is_empty() {
                    channels = vec![Vec::new(); block.len()];
                }
                if block.len() != channels.len() {
                    ended_early = true;
                    break;
                }
                for (all, new) in channels.iter_mut().zip(&block) {
                    all.extend(new.iter().map(|x| if x.is_finite() { *x } else { 0.0 }));
                }
                if channels.iter().map(Vec::len).sum::<usize>() > MOST_SAMPLES {
                    return Err(DecodeError::TooLong);
                }
            }
            Err(_) => skipped += 1,
        }
    }
    let frames = channels.first().map_or(0, Vec::len);
    if frames == 0 || !(1000.0..=1e6).contains(&rate) {
        return Err(DecodeError::NoSamples);
    }
    if skipped > 0 {
        notes.push(format!(
            "{skipped} blocks of the file are damaged and were left out."
        ));
    }
    let short = promised_frames.is_some_and(|n| n > frames as u64 + 4800);
    if (ended_early || short) && !notes.iter().any(|n| n.contains("cut off")) {
        notes.push(
            "The file is cut off: it ends before its own end; measured as far as it goes.".into(),
        );
    }
    if bits == Some(8) {
        notes.push(
            "8 bits a sample: its own noise is near -50 dB; nothing below that can be measured."
                .into(),
        );
    }
    if matches!(format, "MP3" | "AAC" | "MP4") {
        notes.push(
            "A phone's format that leaves out what the ear does not miss: hum and response are usable, noise and \
             distortion below about -50 dB are not (common practice, no source)."
                .into(),
        );
    }
    Ok(Recording {
        rate,
        channels,
        bits,
        format,
        notes,
    })
}

/// The bytes that the header of a WAV file promises and that are not there.
fn cut_off(bytes: &[u8], format: &str) -> Option<u64> {
    if format != "WAV" || !bytes.starts_with(b"RIFF") {
        return None;
    }
    let size = u32::from_le_bytes(bytes.get(4..8)?.try_into().ok()?);
    // A recorder that streams writes the greatest number, or none, and means "until the end".
    if size == u32::MAX || size == 0 {
        return None;
    }
    (u64::from(size) + 8)
        .checked_sub(bytes.len() as u64)
        .filter(|missing| *missing > 1)
}
