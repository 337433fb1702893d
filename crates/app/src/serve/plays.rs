//! Amplifiers that are being played through, and the last ones that were: work of seconds that a page waits for, with
//! how far it is and a way to stop it.

use crate::commands::listen::chain::{self, Heard, Rates, Source};
use bench::play::{PlayRequest, Player};
use shop::JobId;
use std::fs::File;
use std::io::{Read as _, Seek as _, SeekFrom};
use std::sync::atomic::{AtomicBool, AtomicI64, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};
use wiring::circuit::Circuit;
use wiring::sheet::Library;

/// So many are kept; their sound waits in files of its own.
const KEPT: usize = 4;
/// Amplifiers beside one another.
pub(crate) const MOST: usize = 4;

/// What is to be heard.
pub(crate) struct Asked {
    /// Of which job.
    pub(crate) job: JobId,
    /// Everything that it hangs on, so that the same is not worked out twice.
    pub(crate) key: String,
    /// In words, for the page.
    pub(crate) words: String,
    /// As it was chosen, so that the form stands as it stood.
    pub(crate) chosen: Vec<(String, String)>,
    /// Name and circuit of each.
    pub(crate) amps: Vec<(String, Circuit, PlayRequest)>,
    /// Opens what is played, from its beginning for each amplifier.
    pub(crate) source: Box<dyn Fn() -> Result<Source, String> + Send>,
    /// So many samples, as far as the file says.
    pub(crate) samples: u64,
    pub(crate) rates: Rates,
    /// Volts at the jack of a sample at full scale.
    pub(crate) full_scale: f64,
    /// A loudspeaker's impulse response at the rate of the files.
    pub(crate) response: Option<Vec<f64>>,
}

/// One amplifier, heard.
pub(crate) struct Track {
    pub(crate) label: String,
    pub(crate) from: String,
    pub(crate) rms: f64,
    pub(crate) peak: f64,
    pub(crate) tremolo_hertz: Option<f64>,
    wav: Mutex<File>,
    pub(crate) bytes: usize,
}

impl Track {
    /// Some of its WAV file: from one byte, so many.
    pub(crate) fn piece(&self, from: usize, many: usize) -> std::io::Result<Vec<u8>> {
        let mut file = self.wav.lock().unwrap_or_else(PoisonError::into_inner);
        file.seek(SeekFrom::Start(from as u64))?;
        let mut piece = vec![0; many];
        file.read_exact(&mut piece)?;
        Ok(piece)
    }
}

/// One work.
pub(crate) struct Play {
    pub(crate) id: i64,
    pub(crate) job: JobId,
    key: String,
    pub(crate) words: String,
    pub(crate) chosen: Vec<(String, String)>,
    /// Samples that were read, and all there are.
    read: AtomicU64,
    whole: u64,
    stop: AtomicBool,
    done: OnceLock<Result<Vec<Track>, String>>,
}

impl Play {
    /// How far it is, in per cent.
    pub(crate) fn percent(&self) -> u64 {
        (100 * self.read.load(Ordering::Relaxed) / self.whole.max(1)).min(100)
    }

    /// What came of it; none while it is at work.
    pub(crate) fn done(&self) -> Option<&Result<Vec<Track>, String>> {
        self.done.get()
    }

    /// Breaks it off.
    pub(crate) fn stop(&self) {
        self.stop.store(true, Ordering::Relaxed);
    }
}

/// All of them.
#[derive(Default)]
pub(crate) struct Plays {
    all: Mutex<Vec<Arc<Play>>>,
    next: AtomicI64,
}

impl Plays {
    /// The one of a number, where it is still kept.
    pub(crate) fn get(&self, id: i64) -> Option<Arc<Play>> {
        let all = self.all.lock().unwrap_or_else(PoisonError::into_inner);
        all.iter().find(|p| p.id == id).cloned()
    }

    /// Begins one, unless the same is kept; older work of the same job is broken off.
    pub(crate) fn start(&self, asked: Asked, library: Library) -> Arc<Play> {
        let mut all = self.all.lock().unwrap_or_else(PoisonError::into_inner);
        let failed = |p: &Play| matches!(p.done(), Some(Err(_)));
        if let Some(known) = all.iter().find(|p| p.key == asked.key && !failed(p)) {
            return Arc::clone(known);
        }
        for other in all.iter().filter(|p| p.job == asked.job) {
            other.stop();
        }
        let play = Arc::new(Play {
            id: self.next.fetch_add(1, Ordering::Relaxed) + 1,
            job: asked.job,
            key: asked.key.clone(),
            words: asked.words.clone(),
            chosen: asked.chosen.clone(),
            read: AtomicU64::new(0),
            whole: asked.samples.saturating_mul(asked.amps.len() as u64),
            stop: AtomicBool::new(false),
            done: OnceLock::new(),
        });
        if all.len() >= KEPT {
            all.remove(0).stop();
        }
        all.push(Arc::clone(&play));
        let own = Arc::clone(&play);
        std::thread::spawn(move || {
            let made = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
                work(&own, asked, &library)
            }));
            let _ = own.done.set(made.unwrap_or_else(|_| {
                Err("the work failed inside the program; ask again, and note what you did if it stays so".to_owned())
            }));
        });
        play
    }
}

/// One amplifier after the other, so that a processor stays free for the bench.
fn work(play: &Play, asked: Asked, library: &Library) -> Result<Vec<Track>, String> {
    let mut heard: Vec<(String, Player, Heard)> = Vec::new();
    let before = |done: usize| asked.samples.saturating_mul(done as u64);
    for (at, (label, circuit, request)) in asked.amps.into_iter().enumerate() {
        let named = |why: String| format!("{label}: {why}");
        let mut go = |_: &str| !play.stop.load(Ordering::Relaxed);
        let mut player = Player::new(&circuit, library, &request, &mut go).map_err(named)?;
        let kept = tempfile::tempfile().map_err(|e| e.to_string())?;
        let made = chain::play(
            &mut player,
            &mut (asked.source)()?,
            asked.rates,
            asked.full_scale,
            asked.response.as_deref(),
            kept,
            &mut |read| {
                play.read.store(before(at) + read, Ordering::Relaxed);
                !play.stop.load(Ordering::Relaxed)
            },
        )
        .map_err(|why| format!("{label}: {why}"))?;
        heard.push((label, player, made));
    }
    let scales = chain::scales(&heard.iter().map(|h| &h.2).collect::<Vec<_>>())
        .map_err(|_| "what was played is silent".to_owned())?;
    heard
        .into_iter()
        .zip(scales)
        .map(|((label, player, mut heard), scale)| {
            let wav = tempfile::tempfile().map_err(|e| e.to_string())?;
            heard.write(&wav, asked.rates.to, scale)?;
            let bytes = wav.metadata().map_err(|e| e.to_string())?.len();
            Ok(Track {
                label,
                from: player.from().to_owned(),
                rms: heard.rms,
                peak: heard.peak,
                tremolo_hertz: player.tremolo_hertz(),
                wav: Mutex::new(wav),
                bytes: usize::try_from(bytes).map_err(|e| e.to_string())?,
            })
        })
        .collect()
}
