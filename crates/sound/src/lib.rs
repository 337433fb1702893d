//! Test signals for an amplifier, what a recording of it says, and the filters that sound goes through on its way in and out.
//!
//! Knows no circuit, opens no file, reads no clock: bytes come in, figures go out. Levels are in decibels against a
//! sine of full scale (its peak at 1.0), as digital audio counts them (AES17, from memory, not seen); a stated
//! calibration makes volts of them. Names of figures follow IEC 60268-3 (amplifiers; from memory, not seen): total
//! harmonic distortion, harmonic distortion of the nth order, signal-to-noise ratio, output power.
//!
//! The same call gives the same bits.

pub mod convolve;
pub mod decode;
pub mod hum;
pub mod level;
pub mod loudness;
pub mod rate;
pub mod signals;
mod spectrum;
pub mod steps;
pub mod sweep;
pub mod tremolo;
pub mod two_tone;
pub mod weighting;
pub mod write;

pub use decode::{DecodeError, MediaSource, Reader, Recording, decode, decode_from};

/// Decibels of a ratio of amplitudes; a ratio of nothing gives -300.
#[must_use]
pub fn decibels(ratio: f64) -> f64 {
    if ratio.is_finite() && ratio > 1e-15 {
        20.0 * ratio.log10()
    } else {
        -300.0
    }
}
