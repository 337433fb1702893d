//! What recorders and phones write, read back: the files in `recordings/` hold 0.6 s of 1 kHz (half of full scale, left) and
//! 440 Hz (a quarter, right) at 44.1 kHz, made by Python's `wave` and coded by `flac` 1.4.2 and `ffmpeg` 5.1; the
//! MP3 was made louder by the 0.4455 dB that its coder takes away.
#![allow(clippy::expect_used, reason = "a test file")]

use sound::{DecodeError, Recording, decode};
use std::f64::consts::TAU;

fn bytes(name: &str) -> Vec<u8> {
    let path = format!("{}/tests/recordings/{name}", env!("CARGO_MANIFEST_DIR"));
    std::fs::read(path).expect("a recording")
}

fn read(name: &str) -> Recording {
    let ending = name.rsplit('.').next().unwrap_or("");
    decode(bytes(name), ending).expect("a recording")
}

/// The amplitude of a tone in the middle of a channel.
fn amplitude(x: &[f64], rate: f64, hertz: f64) -> f64 {
    let middle = &x[x.len() / 4..3 * x.len() / 4];
    let whole = (middle.len() as f64 * hertz / rate).floor() * rate / hertz;
    let middle = &middle[..whole.round() as usize];
    let (mut re, mut im) = (0.0, 0.0);
    for (i, v) in middle.iter().enumerate() {
        let turn = TAU * hertz * i as f64 / rate;
        re += v * turn.cos();
        im += v * turn.sin();
    }
    2.0 * re.hypot(im) / middle.len() as f64
}

#[test]
fn every_format_keeps_levels_channels_and_length() {
    for (name, format, bits, within_db) in [
        ("two.flac", "FLAC", Some(16), 0.02),
        ("two.m4a", "MP4", None, 0.3),
        ("two.aac", "AAC", None, 0.3),
        ("two.mp3", "MP3", None, 0.3),
        ("eight-bits.wav", "WAV", Some(8), 0.1),
        ("adpcm.wav", "WAV", None, 0.1),
        ("floating.wav", "WAV", Some(32), 0.02),
    ] {
        let found = read(name);
        assert_eq!(
            (found.format, found.rate, found.channels.len()),
            (format, 44_100.0, 2),
            "{name}"
        );
        if bits.is_some() {
            assert_eq!(found.bits, bits, "{name}");
        }
        // Lossy coders put some hundredths of a second before and after.
        assert!(
            (found.seconds() - 0.6).abs() < 0.12,
            "{name}: {} s",
            found.seconds()
        );
        for (channel, hertz, want) in [(0, 1000.0, 0.5), (1, 440.0, 0.25)] {
            let got = amplitude(&found.channels[channel], found.rate, hertz);
            let off = sound::decibels(got / want);
            assert!(
                off.abs() < within_db,
                "{name}, channel {channel}: {off:.3} dB"
            );
        }
        let lossy = matches!(format, "MP4" | "AAC" | "MP3");
        assert_eq!(
            found.notes.iter().any(|n| n.contains("phone's format")),
            lossy,
            "{name}: {:?}",
            found.notes
        );
        assert_eq!(
            found.notes.iter().any(|n| n.contains("8 bits")),
            bits == Some(8),
            "{name}"
        );
    }
}

#[test]
fn what_is_not_read_says_so() {
    assert_eq!(decode(bytes("two.ogg"), "ogg"), Err(DecodeError::Unknown));
    let Err(DecodeError::Coding(_)) = decode(bytes("alac.m4a"), "m4a") else {
        panic!("a coding that is not read");
    };
    let cut = read("cut.wav");
    assert!(
        cut.notes.iter().any(|n| n.contains("cut off")),
        "{:?}",
        cut.notes
    );
    // Cut anywhere, damaged anywhere: answered.
    for name in ["two.flac", "two.m4a", "two.aac", "two.mp3", "adpcm.wav"] {
        let whole = bytes(name);
        for part in 1..20 {
            let _ = decode(whole[..whole.len() * part / 20].to_vec(), "");
            let mut damaged = whole.clone();
            let at = damaged.len() * part / 20;
            for b in damaged.iter_mut().skip(at).take(7) {
                *b ^= 0x5a;
            }
            let _ = decode(damaged, "");
        }
    }
}
