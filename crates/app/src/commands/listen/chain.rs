//! One recording through one amplifier: samples in, volts out into a file of their own, with what they amount to.
//!
//! Samples are read block by block and go to a rate at which the amplifier's own harmonics do not fold back to speak of;
//! volts come back to the file's rate, go through the loudspeaker's impulse response where there is one, and are kept
//! as 32-bit numbers until their level is known. Nothing here grows with the length of the recording.

use bench::play::Player;
use sound::convolve::Convolver;
use sound::loudness::Loudness;
use sound::rate::{Down, Up};
use std::fs::File;
use std::io::{BufReader, BufWriter, Read as _, Seek, SeekFrom, Write};

/// Where samples come from.
pub(crate) enum Source {
    /// A file, which of its channels, and how many samples of it are played at most.
    File(Box<sound::Reader>, usize, u64),
    /// Samples that were made here.
    Made(Vec<f64>),
}

impl Source {
    fn next(&mut self, block: &mut Vec<Vec<f64>>) -> bool {
        match self {
            Self::File(reader, channel, left) => {
                let any = *left > 0 && reader.next(block);
                if let Some(played) = block.get_mut(*channel) {
                    played.truncate(usize::try_from(*left).unwrap_or(usize::MAX));
                    *left -= played.len() as u64;
                }
                any
            }
            Self::Made(samples) => {
                let made = std::mem::take(samples);
                let any = !made.is_empty();
                *block = vec![made];
                any
            }
        }
    }

    fn channel(&self) -> usize {
        match self {
            Self::File(_, channel, _) => *channel,
            Self::Made(_) => 0,
        }
    }

    /// What was noticed while reading.
    pub(crate) fn notes(&self) -> Vec<String> {
        match self {
            Self::File(reader, ..) => reader.notes(),
            Self::Made(_) => Vec::new(),
        }
    }
}

/// By how much the rate is raised, and lowered again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Rates {
    /// Of the recording, hertz.
    pub(crate) from: u32,
    /// Of the file that is written.
    pub(crate) to: u32,
    /// Inside the amplifier.
    pub(crate) inside: u32,
}

/// A file that is written has this rate at least, hertz.
const LEAST: u32 = 44_100;

impl Rates {
    /// The rates for a recording: `inside` is about what is wanted inside the amplifier.
    pub(crate) fn new(from: u32, inside: u32) -> Self {
        let to = from * LEAST.div_ceil(from);
        // 176.4 kHz, four times 44.1 kHz, serve for 192 kHz.
        let wanted = f64::from(inside) * 0.9 / f64::from(to);
        let times = wanted.ceil().clamp(1.0, 64.0) as u32;
        Self {
            from,
            to,
            inside: to * times,
        }
    }
}

/// What came out.
pub(crate) struct Heard {
    /// The volts, as 32-bit numbers.
    kept: File,
    samples: u64,
    /// Largest and r.m.s. volts.
    pub(crate) peak: f64,
    pub(crate) rms: f64,
    /// Loudness of the volts taken as samples.
    pub(crate) loudness: Option<f64>,
    /// The largest sample that was read, and what was noticed on the way.
    pub(crate) read_peak: f64,
    pub(crate) notes: Vec<String>,
}

impl Heard {
    /// How many samples.
    pub(crate) fn samples(&self) -> u64 {
        self.samples
    }

    /// Writes the sound, a volt being `scale` of full scale.
    pub(crate) fn write(
        &mut self,
        to: impl Write + Seek,
        rate: u32,
        scale: f64,
    ) -> Result<(), String> {
        let mut writer = sound::write::Writer::new(BufWriter::new(to), rate)?;
        self.kept
            .seek(SeekFrom::Start(0))
            .map_err(|e| e.to_string())?;
        let mut kept = BufReader::new(&mut self.kept);
        let mut bytes = [0_u8; 4];
        for _ in 0..self.samples {
            kept.read_exact(&mut bytes).map_err(|e| e.to_string())?;
            writer.push(f64::from(f32::from_le_bytes(bytes)) * scale)?;
        }
        writer.end()
    }
}

/// Samples that go through the chain together.
const TOGETHER: usize = 256;

/// The highest peak of a file that is written, full scale 1: 1 dB below.
const HIGHEST: f64 = 0.891_25;

/// What a volt becomes in each file: all equally loud, the highest peak of them 1 dB below full scale.
///
/// # Errors
/// The number of one that is silent.
pub(crate) fn scales(all: &[&Heard]) -> Result<Vec<f64>, usize> {
    // Less than the smallest step of 24 bits.
    let silent = |h: &&Heard| h.read_peak < 1.2e-7 || h.peak <= 0.0;
    if let Some(silent) = all.iter().position(silent) {
        return Err(silent);
    }
    // Shorter than 400 ms has no loudness: then by its r.m.s.
    let all_have = all.iter().all(|h| h.loudness.is_some());
    let loud = |h: &Heard| {
        let loudness = h.loudness.filter(|_| all_have);
        loudness.map_or(h.rms, |l| 10_f64.powf(l / 20.0))
    };
    let target = all
        .iter()
        .map(|h| loud(h) * HIGHEST / h.peak)
        .fold(f64::INFINITY, f64::min);
    Ok(all.iter().map(|h| target / loud(h)).collect())
}

/// Plays `source` through `player`. `scale` is the volts at the jack of a sample at full scale. `watch` is told how
/// many samples were read, and says whether to go on.
pub(crate) fn play(
    player: &mut Player,
    source: &mut Source,
    rates: Rates,
    scale: f64,
    response: Option<&[f64]>,
    kept: File,
    watch: &mut dyn FnMut(u64) -> bool,
) -> Result<Heard, String> {
    let (raise, lower) = (
        (rates.inside / rates.from) as usize,
        (rates.inside / rates.to) as usize,
    );
    let mut up = Up::new(raise);
    let mut down = Down::new(lower);
    let mut box_ = response.map(Convolver::new);
    let more = (raise / lower) as u64;
    let late =
        up.late() as u64 * more + down.late() as u64 + box_.as_ref().map_or(0, |b| b.late() as u64);
    let tail = response.map_or(0, |r| r.len() as u64);
    let mut out = Out {
        file: BufWriter::new(kept),
        late,
        samples: 0,
        peak: 0.0,
        squares: 0.0,
        loudness: Loudness::new(f64::from(rates.to)),
    };
    let (mut inside, mut heard) = (Vec::new(), Vec::new());
    // The filters work on many samples at once and then the amplifier, each with what it needs at hand.
    let mut some = |volts: &[f64], out: &mut Out| -> Result<(), String> {
        for x in volts {
            up.push(*x, &mut inside);
        }
        // two by two; an odd one waits for the next
        let (pairs, _) = inside.as_chunks::<2>();
        for volts in pairs {
            heard.extend(player.push(*volts)?);
        }
        inside.drain(..2 * pairs.len());
        for volts in heard.drain(..).filter_map(|volts| down.push(volts)) {
            out.push(match &mut box_ {
                Some(box_) => box_.push(volts),
                None => volts,
            })?;
        }
        Ok(())
    };
    let (mut block, mut volts) = (Vec::new(), Vec::new());
    let (mut read, mut read_peak) = (0_u64, 0.0_f64);
    let channel = source.channel();
    while source.next(&mut block) {
        let Some(samples) = block.get(channel) else {
            continue;
        };
        for few in samples.chunks(TOGETHER) {
            volts.clear();
            volts.extend(few.iter().map(|x| x * scale));
            read_peak = few.iter().fold(read_peak, |peak, x| peak.max(x.abs()));
            some(&volts, &mut out)?;
            read += few.len() as u64;
            if !watch(read) {
                return Err("stopped".to_owned());
            }
        }
    }
    let whole = read * more + tail;
    while out.samples < whole {
        some(&[0.0], &mut out)?;
    }
    let (peak, squares, samples) = (out.peak, out.squares, out.samples);
    Ok(Heard {
        kept: out.file.into_inner().map_err(|e| e.to_string())?,
        samples,
        peak,
        rms: (squares / samples.max(1) as f64).sqrt(),
        loudness: out.loudness.value(),
        read_peak,
        notes: source.notes(),
    })
}

/// Volts on their way into the file.
struct Out {
    file: BufWriter<File>,
    /// Samples that are left out at the beginning, so that the sound is where it was in the recording.
    late: u64,
    samples: u64,
    peak: f64,
    squares: f64,
    loudness: Loudness,
}

impl Out {
    fn push(&mut self, volts: f64) -> Result<(), String> {
        if self.late > 0 {
            self.late -= 1;
            return Ok(());
        }
        self.samples += 1;
        self.peak = self.peak.max(volts.abs());
        self.squares += volts * volts;
        self.loudness.push(volts);
        self.file
            .write_all(&(volts as f32).to_le_bytes())
            .map_err(|e| e.to_string())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// As many samples as were asked for, over the ends of its blocks; all of them where all are asked for.
    #[test]
    fn a_file_is_played_as_far_as_asked() {
        let made: Vec<f64> = (0..30_000).map(|i| f64::from(i % 100) / 200.0).collect();
        let wav = sound::write::wav(&made, 48_000).unwrap();
        for (most, played) in [
            (0, 0),
            (1, 1),
            (20_001, 20_001),
            (30_000, 30_000),
            (u64::MAX, 30_000),
        ] {
            let reader = sound::Reader::open(Box::new(std::io::Cursor::new(wav.clone())), "wav");
            let mut source = Source::File(Box::new(reader.unwrap()), 0, most);
            let (mut block, mut all) = (Vec::new(), Vec::new());
            while source.next(&mut block) {
                all.extend_from_slice(&block[source.channel()]);
            }
            assert_eq!(all.len(), played, "{most}");
            let same = all.iter().zip(&made).all(|(a, b)| (a - b).abs() < 1e-4);
            assert!(same, "{most}");
        }
    }
}
