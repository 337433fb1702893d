//! Sound as the bytes of a WAV file.

use hound::{SampleFormat, WavSpec, WavWriter};
use std::io::{Cursor, Seek, Write};

/// One channel as a WAV file of 24 bits. Values beyond full scale are held at full scale.
///
/// # Errors
/// When the sound is longer than a WAV file can hold (4 GiB).
pub fn wav(samples: &[f64], rate: u32) -> Result<Vec<u8>, String> {
    let mut bytes = Cursor::new(Vec::new());
    let mut writer = Writer::new(&mut bytes, rate)?;
    for x in samples {
        writer.push(*x)?;
    }
    writer.end()?;
    Ok(bytes.into_inner())
}

/// The longest sound that a WAV file of 24 bits and one channel can hold, in samples.
pub const MOST_SAMPLES: u64 = (u32::MAX as u64 - 128) / 3;

/// One channel as a WAV file of 24 bits, sample by sample.
pub struct Writer<W: Write + Seek> {
    inner: WavWriter<W>,
    written: u64,
}

impl<W: Write + Seek> Writer<W> {
    /// Begins a file.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn new(to: W, rate: u32) -> Result<Self, String> {
        let spec = WavSpec {
            channels: 1,
            sample_rate: rate,
            bits_per_sample: 24,
            sample_format: SampleFormat::Int,
        };
        let inner = WavWriter::new(to, spec).map_err(|e| e.to_string())?;
        Ok(Self { inner, written: 0 })
    }

    /// One sample, full scale 1; beyond it is held there.
    ///
    /// # Errors
    /// When it cannot be written, or no more fits.
    pub fn push(&mut self, x: f64) -> Result<(), String> {
        self.written += 1;
        if self.written > MOST_SAMPLES {
            return Err("a WAV file holds no more than 4 GiB".to_owned());
        }
        let whole = (x.clamp(-1.0, 1.0) * 8_388_607.0).round();
        // Within 24 bits after the clamp; a NaN becomes 0.
        self.inner
            .write_sample(whole as i32)
            .map_err(|e| e.to_string())
    }

    /// Ends the file; without it the file's head does not know its length.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn end(self) -> Result<(), String> {
        self.inner.finalize().map_err(|e| e.to_string())
    }
}
