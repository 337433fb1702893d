//! Sound as the bytes of a WAV file.

use hound::{SampleFormat, WavSpec, WavWriter};
use std::io::Cursor;

/// One channel as a WAV file of 24 bits. Values beyond full scale are held at full scale.
///
/// # Errors
/// When the sound is longer than a WAV file can hold (4 GiB).
pub fn wav(samples: &[f64], rate: u32) -> Result<Vec<u8>, String> {
    let spec = WavSpec {
        channels: 1,
        sample_rate: rate,
        bits_per_sample: 24,
        sample_format: SampleFormat::Int,
    };
    let mut bytes = Cursor::new(Vec::new());
    let mut writer = WavWriter::new(&mut bytes, spec).map_err(|e| e.to_string())?;
    for x in samples {
        let whole = (x.clamp(-1.0, 1.0) * 8_388_607.0).round();
        // Within 24 bits after the clamp; a NaN becomes 0.
        writer
            .write_sample(whole as i32)
            .map_err(|e| e.to_string())?;
    }
    writer.finalize().map_err(|e| e.to_string())?;
    Ok(bytes.into_inner())
}
