//! Level, clipping, and what crackles.

/// The level of one channel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    /// The highest sample, full scale 1.
    pub peak: f64,
    /// Root mean square without the mean, full scale 1.
    pub rms: f64,
    /// The mean, full scale 1.
    pub mean: f64,
    /// Places where at least three samples in a row stand at full scale.
    pub clipped: usize,
    /// Places where at least four samples in a row stand exactly at one height below full scale: clipped before it was
    /// made smaller.
    pub flat: usize,
}

impl Level {
    /// Not one sample that differs from its mean by more than the smallest step of 24 bits.
    #[must_use]
    pub fn silent(&self) -> bool {
        self.rms < 1.2e-7
    }
}

/// The level of `x`, a recording of so many bits a sample where that is known.
#[must_use]
pub fn level(x: &[f64], bits: Option<u32>) -> Level {
    let n = x.len().max(1) as f64;
    let peak = x.iter().fold(0.0_f64, |m, v| m.max(v.abs()));
    let mean = x.iter().sum::<f64>() / n;
    let rms = (x.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / n).sqrt();
    let full = if bits == Some(8) { FULL_OF_8 } else { FULL };
    let clipped = runs(x, 3, 0.0, |v| v.abs() >= full);
    // Rounded tops of a slow tone stand still for some samples too, but fall by one step of the recorder beside them.
    let flat = if clipped == 0 && peak > 0.05 {
        runs(x, 4, 0.004 * peak, |v| v.abs() >= peak * (1.0 - 1e-6))
    } else {
        0
    };
    Level {
        peak,
        rms,
        mean,
        clipped,
        flat: if flat >= 3 { flat } else { 0 },
    }
}

/// From here a sample stands at full scale: the highest step of 14 bits and more.
const FULL: f64 = 0.9998;
/// The highest step of 8 bits is 127 of 128; some recorders stop there on both sides.
const FULL_OF_8: f64 = 126.5 / 128.0;

/// How often at least `least` samples in a row hold, and the samples two away on both sides are lower by `drop`.
fn runs(x: &[f64], least: usize, drop: f64, holds: impl Fn(f64) -> bool) -> usize {
    let (mut count, mut start) = (0, None);
    for (i, v) in x.iter().enumerate() {
        match (holds(*v), start) {
            (true, None) => start = Some(i),
            (false, Some(from)) => {
                // Two samples away: the next one may stand anywhere below the height.
                let before = from.checked_sub(2).and_then(|j| x.get(j));
                let falls =
                    |side: Option<&f64>| side.is_none_or(|side| x[from].abs() - side.abs() >= drop);
                if i - from >= least && falls(before) && falls(x.get(i + 1)) {
                    count += 1;
                }
                start = None;
            }
            _ => {}
        }
    }
    count
}

/// A click in a recording.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Click {
    /// When, in seconds.
    pub seconds: f64,
    /// How far it stands out of what surrounds it, full scale 1.
    pub height: f64,
    /// How long it lasts, in seconds.
    pub length: f64,
}

/// The samples from which one block of clicks is judged.
const BLOCK: usize = 4096;
/// How many samples before it predict a sample.
const ORDER: usize = 16;
/// How many times the usual error of prediction stands out: once in some 10^15 samples of even noise.
const STANDS_OUT: f64 = 8.0;

/// Clicks: samples that the sixteen before them do not foretell, by eight times the usual error, those within 5 ms
/// taken together. A tone, hum or hiss gives none; its own edges do.
///
/// Linear prediction: J. Makhoul, Linear prediction: a tutorial review, Proc. IEEE 63, 1975 (from memory, not seen).
#[must_use]
pub fn clicks(x: &[f64], rate: f64) -> Vec<Click> {
    let mut found: Vec<Click> = Vec::new();
    for (b, block) in x.chunks(BLOCK).enumerate() {
        if block.len() < 4 * ORDER {
            continue;
        }
        let errors = unforeseen(block);
        let mut sizes: Vec<f64> = errors.iter().map(|e| e.abs()).collect();
        sizes.sort_by(f64::total_cmp);
        // The median of a normal error is 0.6745 of its spread. One step of 16 bits is the least that counts.
        let usual = (sizes[sizes.len() / 2] / 0.6745).max(1.0 / 65_536.0);
        for (i, e) in errors.iter().enumerate() {
            if e.abs() < STANDS_OUT * usual {
                continue;
            }
            let seconds = (b * BLOCK + ORDER + i) as f64 / rate;
            match found.last_mut() {
                Some(last) if seconds - (last.seconds + last.length) < 0.005 => {
                    last.length = seconds - last.seconds;
                    last.height = last.height.max(e.abs());
                }
                _ => found.push(Click {
                    seconds,
                    height: e.abs(),
                    length: 0.0,
                }),
            }
        }
    }
    found
}

/// What the samples before do not foretell, from the sixteenth sample on.
fn unforeseen(x: &[f64]) -> Vec<f64> {
    let n = x.len();
    let r: Vec<f64> = (0..=ORDER)
        .map(|k| (k..n).map(|i| x[i] * x[i - k]).sum())
        .collect();
    let mut a = [0.0; ORDER + 1];
    a[0] = 1.0;
    // A trace of white noise keeps the recursion of Levinson and Durbin sound on pure tones.
    let mut error = r[0] * (1.0 + 1e-9) + 1e-12;
    for m in 1..=ORDER {
        let k = -(0..m).map(|j| a[j] * r[m - j]).sum::<f64>() / error;
        let before = a;
        for (now, (ahead, behind)) in a[1..=m]
            .iter_mut()
            .zip(before[1..=m].iter().zip(before[..m].iter().rev()))
        {
            *now = ahead + k * behind;
        }
        error *= 1.0 - k * k;
        if error.is_nan() || error <= 0.0 {
            break;
        }
    }
    (ORDER..n)
        .map(|i| (0..=ORDER).map(|j| a[j] * x[i - j]).sum())
        .collect()
}
