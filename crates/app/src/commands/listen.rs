//! `listen`: a recording through the solved amplifier, as WAV files that can be heard one after the other.
//!
//! Several wirings, as found, as left and as drawn, come out equally loud. Everything is computed by `bench::play` and
//! the filters of `sound`; here files are opened and levels set.

pub(crate) mod chain;
mod text;

use crate::amp::Amp;
use crate::arguments::Listen as Given;
use crate::outcome::{Failure, Outcome};
use crate::wired_sheet;
use bench::play::{PlayRequest, Player};
use chain::{Heard, Rates, Source};
use std::fs::{File, OpenOptions};
use std::io::{ErrorKind, IsTerminal as _, Write as _};
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};

/// The built-in string is made at this rate.
const STRING_RATE: f64 = 48_000.0;

/// One amplifier that was played through.
pub(crate) struct Rendering {
    label: String,
    file: PathBuf,
    from: String,
    to: String,
    gain: f64,
    tremolo_hertz: Option<f64>,
    notes: Vec<String>,
    heard: Heard,
    /// What a volt becomes in the file.
    scale: f64,
}

/// What was played.
pub(crate) struct Played {
    name: String,
    rates: Rates,
    seconds: f64,
    /// Volts at the jack of a sample at full scale.
    full_scale: f64,
    response: Option<String>,
    notes: Vec<String>,
}

/// Runs `listen`.
pub(crate) fn run(given: &Given) -> Result<Outcome, Failure> {
    let amp = wired_sheet::load(&given.wired)?;
    let mut amps = Vec::new();
    for path in &given.against {
        amps.push(wired_sheet::load_files(
            std::slice::from_ref(path),
            &[],
            given.wired.valves_file.as_deref(),
        )?);
    }
    let asked = wired_sheet::asked(&given.wired, &amp)?;
    let first = given
        .wired
        .files
        .first()
        .map_or_else(|| "the amplifier".to_owned(), |p| stem(p));
    let mut labels = vec![first];
    labels.extend(given.against.iter().map(|p| stem(p)));
    let (_, rate, promised) = open(given)?;
    let rates = Rates::new(rate, given.inside);
    let response = response(given, rates.to)?;
    let request = PlayRequest {
        asked,
        from: given.from.clone(),
        to: given.to.clone(),
        step: 1.0 / f64::from(rates.inside),
    };
    // Every file is there before the long work begins; what was there before is not written over.
    let mut files = Vec::new();
    for (at, label) in labels.iter().enumerate() {
        let path = output(&given.output, at, label, labels.len());
        files.push((new_file(&path, &files)?, path));
    }
    let work = Work {
        given,
        rates,
        response: response.as_ref().map(|r| &r.1[..]),
        progress: Progress::new(labels.len(), promised),
    };
    let all: Vec<&Amp> = std::iter::once(&amp).chain(&amps).collect();
    let played = work.all(&all, &labels, request);
    work.progress.end();
    let mut renderings = Vec::new();
    let mut failed = None;
    for (result, (label, (_, path))) in played.into_iter().zip(labels.iter().zip(&files)) {
        match result {
            Ok((player, heard)) => renderings.push(Rendering {
                label: label.clone(),
                file: path.clone(),
                from: player.from().to_owned(),
                to: player.to().to_owned(),
                gain: player.gain(),
                tremolo_hertz: player.tremolo_hertz(),
                notes: player.notes().to_vec(),
                heard,
                scale: 0.0,
            }),
            Err(failure) => failed = failed.or(Some(failure)),
        }
    }
    let failed = failed.or_else(|| levels(&mut renderings, given).err());
    if let Some(failure) = failed {
        remove(&files);
        return Err(failure);
    }
    let mut notes = Vec::new();
    for (rendering, (file, path)) in renderings.iter_mut().zip(files) {
        let (rate, scale) = (rates.to, rendering.scale);
        rendering
            .heard
            .write(file, rate, scale)
            .map_err(|e| unwritten(&path, &e))?;
        for note in rendering.heard.notes.drain(..) {
            if !notes.contains(&note) {
                notes.push(note);
            }
        }
    }
    let seconds = renderings
        .first()
        .map_or(0.0, |r| r.heard.samples() as f64 / f64::from(rates.to));
    let played = Played {
        name: given.play.as_ref().map_or_else(
            || "the built-in string".to_owned(),
            |p| p.display().to_string(),
        ),
        rates,
        seconds,
        full_scale: given.full_scale,
        response: response.map(|r| r.0),
        notes,
    };
    let told = given.out_full_scale.is_some();
    let text = if given.json {
        amp.json(text::value(&played, &renderings, told))
    } else {
        text::text(&played, &renderings, told)
    };
    Ok(amp.outcome(text, given.json))
}

/// What all renderings share.
struct Work<'a> {
    given: &'a Given,
    rates: Rates,
    response: Option<&'a [f64]>,
    progress: Progress,
}

impl Work<'_> {
    /// Every amplifier on a thread of its own, as many at a time as there are processors.
    fn all(
        &self,
        amps: &[&Amp],
        labels: &[String],
        request: PlayRequest,
    ) -> Vec<Result<(Player, Heard), Failure>> {
        let at_once = std::thread::available_parallelism().map_or(1, usize::from);
        let mut done = Vec::new();
        let numbered: Vec<(usize, &&Amp)> = amps.iter().enumerate().collect();
        // Another wiring may have no jack of that name, but it is asked for it all the same.
        for some in numbered.chunks(at_once) {
            std::thread::scope(|scope| {
                let running: Vec<_> = some
                    .iter()
                    .map(|(at, amp)| {
                        let request = request.clone();
                        scope.spawn(move || self.one(*at, amp, &labels[*at], &request))
                    })
                    .collect();
                for thread in running {
                    done.push(thread.join().unwrap_or_else(|_| {
                        Err(Failure::outside(
                            "The work was broken off.",
                            "Ask again; if it stays so, ask for one amplifier at a time.",
                        ))
                    }));
                }
            });
        }
        done
    }

    fn one(
        &self,
        at: usize,
        amp: &Amp,
        label: &str,
        request: &PlayRequest,
    ) -> Result<(Player, Heard), Failure> {
        let cannot = |why: String| {
            Failure::input(
                format!("{label} cannot be played through: {why}."),
                "`tubewright check` lists what is not traced; `--from` and `--to` name a jack and a point.",
            )
        };
        let mut player =
            Player::new(&amp.circuit, &amp.library, request, &mut |_| true).map_err(cannot)?;
        let (mut source, ..) = open(self.given)?;
        let folder = self
            .given
            .output
            .parent()
            .filter(|p| !p.as_os_str().is_empty());
        let kept = tempfile::tempfile_in(folder.unwrap_or(Path::new(".")))
            .map_err(|e| unwritten(&self.given.output, &e.to_string()))?;
        let heard = chain::play(
            &mut player,
            &mut source,
            self.rates,
            self.given.full_scale,
            self.response,
            kept,
            &mut |read| {
                self.progress.tell(at, read);
                true
            },
        )
        .map_err(cannot)?;
        Ok((player, heard))
    }
}

/// How far every rendering is, on one line of a terminal.
struct Progress {
    terminal: bool,
    whole: Option<u64>,
    read: Vec<AtomicU64>,
    said: Mutex<String>,
}

impl Progress {
    fn new(how_many: usize, whole: Option<u64>) -> Self {
        Self {
            terminal: std::io::stderr().is_terminal(),
            whole: whole.filter(|n| *n > 0),
            read: (0..how_many).map(|_| AtomicU64::new(0)).collect(),
            said: Mutex::new(String::new()),
        }
    }

    fn tell(&self, at: usize, read: u64) {
        if !self.terminal {
            return;
        }
        self.read[at].store(read, Ordering::Relaxed);
        let all: u64 = self.read.iter().map(|r| r.load(Ordering::Relaxed)).sum();
        let words = match self.whole {
            Some(whole) => format!(
                "{} %",
                (100 * all / (whole * self.read.len() as u64)).min(100)
            ),
            None => format!("{} million samples", all / 1_000_000),
        };
        if let Ok(mut said) = self.said.lock()
            && *said != words
        {
            let _ = write!(std::io::stderr(), "\rPlaying: {words}   ");
            *said = words;
        }
    }

    fn end(&self) {
        if self.terminal && self.said.lock().is_ok_and(|said| !said.is_empty()) {
            let _ = writeln!(std::io::stderr());
        }
    }
}

/// What is played: the samples, their rate, and how many the file promises.
fn open(given: &Given) -> Result<(Source, u32, Option<u64>), Failure> {
    let Some(path) = &given.play else {
        let made = sound::signals::string(STRING_RATE);
        let many = made.len() as u64;
        return Ok((Source::Made(made), STRING_RATE as u32, Some(many)));
    };
    let name = path.display().to_string();
    let reader = reader(path)?;
    let channel = usize::from(given.channel.unwrap_or(1));
    if channel > reader.channels() {
        return Err(Failure::misuse(
            format!(
                "{name} has no channel {channel}: it has {}.",
                reader.channels()
            ),
            "Give a channel that is there, or leave `--channel` out.",
        ));
    }
    let (rate, many) = (reader.rate() as u32, reader.promised());
    let source = Source::File(Box::new(reader), channel - 1, u64::MAX);
    Ok((source, rate, many))
}

fn reader(path: &Path) -> Result<sound::Reader, Failure> {
    let name = path.display().to_string();
    let file = crate::input::open(path)?;
    let ending = path.extension().and_then(|e| e.to_str()).unwrap_or("");
    sound::Reader::open(Box::new(file), ending)
        .map_err(|e| Failure::input(format!("{name}: {e}."), e.remedy()))
}

/// The loudspeaker's impulse response at the rate of the files, and what was noticed about it.
fn response(given: &Given, rate: u32) -> Result<Option<(String, Vec<f64>)>, Failure> {
    let Some(path) = &given.impulse else {
        return Ok(None);
    };
    let name = path.display().to_string();
    let mut reader = reader(path)?;
    let most = (sound::convolve::LONGEST * reader.rate()) as usize;
    let (mut all, mut block) = (Vec::new(), Vec::new());
    while all.len() <= most && reader.next(&mut block) {
        all.extend_from_slice(block.first().map_or(&[][..], |b| &b[..]));
    }
    let mut words = name.clone();
    if all.len() > most {
        all.truncate(most);
        words.push_str(&format!(", its first {} s", sound::convolve::LONGEST));
    }
    if reader.channels() > 1 {
        words.push_str(", its first channel");
    }
    if all.iter().all(|x| x.abs() < 1e-9) {
        return Err(Failure::input(
            format!("{name} is silent: it is no impulse response."),
            "Give a recording of what a loudspeaker makes of one click, as WAV.",
        ));
    }
    let at = sound::convolve::resampled(&all, reader.rate(), f64::from(rate));
    Ok(Some((words, at)))
}

/// Sets what a volt becomes in each file: equally loud, the highest peak 1 dB below full scale; or as told.
fn levels(renderings: &mut [Rendering], given: &Given) -> Result<(), Failure> {
    if let Some(volts) = given.out_full_scale {
        for rendering in &mut *renderings {
            rendering.scale = 1.0 / volts;
        }
        return Ok(());
    }
    let heard: Vec<&Heard> = renderings.iter().map(|r| &r.heard).collect();
    let scales = chain::scales(&heard).map_err(|silent| {
        let label = renderings.get(silent).map_or("", |r| &r.label);
        Failure::input(
            format!("Nothing is heard of {label}: what was played is silent."),
            "Give a recording with sound in it; `--channel` takes another of its channels.",
        )
    })?;
    for (rendering, scale) in renderings.iter_mut().zip(scales) {
        rendering.scale = scale;
    }
    Ok(())
}

fn stem(path: &Path) -> String {
    path.file_stem()
        .unwrap_or_default()
        .to_string_lossy()
        .into_owned()
}

/// The name as given where there is one rendering; else with number and label before its ending.
fn output(given: &Path, at: usize, label: &str, how_many: usize) -> PathBuf {
    if how_many == 1 {
        return given.to_path_buf();
    }
    let plain: String = label
        .chars()
        .map(|c| {
            if c.is_alphanumeric() || c == '-' {
                c
            } else {
                '-'
            }
        })
        .collect();
    given.with_file_name(format!("{}-{}-{plain}.wav", stem(given), at + 1))
}

fn new_file(path: &Path, made: &[(File, PathBuf)]) -> Result<File, Failure> {
    let file = OpenOptions::new().write(true).create_new(true).open(path);
    file.map_err(|e| {
        remove(made);
        if e.kind() == ErrorKind::AlreadyExists {
            Failure::misuse(
                format!("{} is there already.", path.display()),
                "Name a new file.",
            )
        } else {
            unwritten(path, &e.to_string())
        }
    })
}

/// Takes back files that nothing was written into.
fn remove(files: &[(File, PathBuf)]) {
    for file in files {
        let _ = std::fs::remove_file(&file.1);
    }
}

fn unwritten(path: &Path, why: &str) -> Failure {
    Failure::outside(
        format!("{} could not be written: {why}.", path.display()),
        "Look at the folder, its permissions and the room on the disk.",
    )
}
