//! Recordings made from known systems are measured back: closed forms of filters, hum, distortion, tremolo, noise,
//! clipping, at three sampling rates (each test at one, at all in the long run), with a recorder whose clock is off.
#![allow(clippy::expect_used, reason = "a test file")]

use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use sound::{hum, level, signals, steps, sweep, tremolo, two_tone};
use std::f64::consts::{PI, TAU};

/// The rates of sampling that recordings are measured back at.
const RATES: [f64; 3] = [44_100.0, 48_000.0, 96_000.0];

/// Even noise of a given r.m.s., by the method of Box and Muller.
fn noise(n: usize, rms: f64, seed: u64) -> Vec<f64> {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    (0..n)
        .map(|_| {
            let a: f64 = 1.0 - random.random::<f64>();
            let b: f64 = random.random();
            rms * (-2.0 * a.ln()).sqrt() * (TAU * b).cos()
        })
        .collect()
}

/// A second-order section, bilinear from the analogue prototype at 8 times the rate would be needless: the filter is
/// defined by its own digital closed form, which is the truth compared with.
struct Section {
    b: [f64; 3],
    a: [f64; 3],
}

impl Section {
    /// A resonance of `gain` decibels at `hertz` with quality `q`.
    fn peak(rate: f64, hertz: f64, q: f64, gain: f64) -> Self {
        let w = TAU * hertz / rate;
        let a = 10_f64.powf(gain / 40.0);
        let alpha = w.sin() / (2.0 * q);
        Self {
            b: [1.0 + alpha * a, -2.0 * w.cos(), 1.0 - alpha * a],
            a: [1.0 + alpha / a, -2.0 * w.cos(), 1.0 - alpha / a],
        }
    }

    /// A first-order high pass.
    fn high(rate: f64, hertz: f64) -> Self {
        let k = (PI * hertz / rate).tan();
        Self {
            b: [1.0, -1.0, 0.0],
            a: [1.0 + k, k - 1.0, 0.0],
        }
    }

    /// A first-order low pass.
    fn low(rate: f64, hertz: f64) -> Self {
        let k = (PI * hertz / rate).tan();
        Self {
            b: [k, k, 0.0],
            a: [1.0 + k, k - 1.0, 0.0],
        }
    }

    fn run(&self, x: &[f64]) -> Vec<f64> {
        let (mut s1, mut s2) = (0.0, 0.0);
        x.iter()
            .map(|v| {
                let y = (self.b[0] * v + s1) / self.a[0];
                s1 = self.b[1] * v - self.a[1] * y + s2;
                s2 = self.b[2] * v - self.a[2] * y;
                y
            })
            .collect()
    }

    /// Decibels at `hertz`: the polynomials on the unit circle.
    fn db(&self, rate: f64, hertz: f64) -> f64 {
        let w = TAU * hertz / rate;
        let size = |c: &[f64; 3]| {
            (c[0] + c[1] * w.cos() + c[2] * (2.0 * w).cos())
                .hypot(c[1] * w.sin() + c[2] * (2.0 * w).sin())
        };
        20.0 * (size(&self.b) / size(&self.a)).log10()
    }
}

/// The sections of a made-up amplifier: 40 Hz and 6 kHz at the ends, a dip at 500 Hz.
fn amplifier(rate: f64) -> Vec<Section> {
    vec![
        Section::high(rate, 40.0),
        Section::low(rate, 6000.0),
        Section::peak(rate, 500.0, 1.0, -9.0),
    ]
}

fn through(sections: &[Section], x: &[f64]) -> Vec<f64> {
    sections.iter().fold(x.to_vec(), |x, s| s.run(&x))
}

/// The sound as a recorder hears it whose clock runs fast by `parts`: read at stretched times between the samples, by a
/// windowed sinc of 64 taps.
fn drifted(x: &[f64], parts: f64) -> Vec<f64> {
    let n = (x.len() as f64 * (1.0 + parts)) as usize;
    (0..n)
        .map(|i| {
            let at = i as f64 / (1.0 + parts);
            let middle = at.floor() as i64;
            (-31..=32)
                .map(|k| {
                    let j = middle + k;
                    let Some(v) = usize::try_from(j).ok().and_then(|j| x.get(j)) else {
                        return 0.0;
                    };
                    let d = at - j as f64;
                    let sinc = if d.abs() < 1e-12 {
                        1.0
                    } else {
                        (PI * d).sin() / (PI * d)
                    };
                    v * sinc * (0.5 + 0.5 * (PI * d / 32.5).cos())
                })
                .sum()
        })
        .collect()
}

/// The greatest error of the response from 25 Hz up to 18 kHz, in decibels.
fn response_error(recorded: &[f64], rate: f64, gain_db: f64) -> f64 {
    let swept = sweep::response(recorded, rate, &sweep::third_octaves()).expect("a sweep");
    let truth = amplifier(rate);
    let mut worst = 0.0_f64;
    let mut count = 0;
    for p in swept.points.iter().filter(|p| p.hertz <= 18_000.0) {
        let want: f64 = truth.iter().map(|s| s.db(rate, p.hertz)).sum::<f64>() + gain_db;
        worst = worst.max((p.db - want).abs());
        count += 1;
    }
    assert!(count >= 29, "{count} frequencies");
    worst
}

#[test]
fn response_of_a_known_filter_to_a_tenth_of_a_decibel() {
    let gain_db = 20.0 * signals::PEAK.log10();
    for (i, rate) in RATES.iter().enumerate() {
        let mut clean = through(&amplifier(*rate), &signals::sweep(*rate));
        let error = response_error(&clean, *rate, gain_db);
        println!("response, {rate} Hz: {error:.4} dB");
        assert!(error < 0.1, "{error} dB at {rate}");
        for (x, n) in clean
            .iter_mut()
            .zip(noise(12 * *rate as usize + 9, 1e-3, i as u64))
        {
            *x += n;
        }
        let error = response_error(&clean, *rate, gain_db);
        println!("response, {rate} Hz, noise of -57 dB: {error:.4} dB");
        assert!(error < 0.1, "{error} dB with noise at {rate}");
    }
}

#[test]
fn response_with_a_clock_that_is_off_by_a_hundred_parts_in_a_million() {
    let rate = 48_000.0;
    for parts in [1e-4, -1e-4] {
        let recorded = drifted(&through(&amplifier(rate), &signals::sweep(rate)), parts);
        let error = response_error(&recorded, rate, 20.0 * signals::PEAK.log10());
        println!("response, clock off by {parts}: {error:.4} dB");
        assert!(error < 0.1, "{error} dB");
    }
}

/// Distortion of known size: x + a x^2 + b x^3 of a sine of peak p has a second harmonic of a p/2 and a third of
/// b p^2/4 against a fundamental of 1 + 3 b p^2/4.
#[test]
fn distortion_of_a_known_curve_down_to_minus_80_decibels() {
    for rate in RATES {
        for wanted in if rate == 48_000.0 {
            vec![-40.0, -80.0]
        } else {
            vec![-80.0]
        } {
            let share = 10_f64.powf(wanted / 20.0);
            let p = signals::PEAK;
            // Without the third order's share of the fundamental: solved for exactly.
            let b = -share / (p * p * (0.25 + 0.75 * share));
            let fundamental = 1.0 + 0.75 * b * p * p;
            let a = 2.0 * share * fundamental / p;
            let curve = |x: f64| 0.5 * (x + a * x * x + b * x * x * x);
            let recorded: Vec<f64> = signals::sweep(rate).iter().map(|x| curve(*x)).collect();
            let swept =
                sweep::response(&recorded, rate, &[100.0, 316.0, 1000.0, 3000.0]).expect("a sweep");
            for point in &swept.points {
                for order in [2, 3] {
                    let (db, floor) = point.harmonics[order - 2].expect("in the band");
                    println!(
                        "sweep {rate} Hz, {wanted} dB, {} Hz, order {order}: {db:.3} (floor {floor:.0})",
                        point.hertz
                    );
                    assert!((db - wanted).abs() < 0.3, "{db} for {wanted}");
                }
            }
            let mut stepped: Vec<f64> = signals::steps(rate).iter().map(|x| curve(*x)).collect();
            // Noise 35 dB below the harmonic in the bandwidth of the analysis, which is 2 bins of about 0.63 s.
            let density = 10_f64.powf((wanted - 35.0) / 20.0) * 0.5 * p / 2_f64.sqrt()
                * (rate / 2.0 / 3.2).sqrt();
            for (x, n) in stepped
                .iter_mut()
                .zip(noise(26 * rate as usize, density, 7))
            {
                *x += n;
            }
            let found = steps::steps(&stepped, rate).expect("the steps");
            for step in found.iter().filter(|s| s.played == 0.0) {
                for order in [2, 3] {
                    let (db, _) = step.harmonics[order - 2].expect("in the band");
                    println!(
                        "steps {rate} Hz, {wanted} dB, {:.0} Hz, order {order}: {db:.3}",
                        step.hertz
                    );
                    assert!((db - wanted).abs() < 0.3, "{db} for {wanted}");
                }
                assert!(
                    (step.hertz / step.hertz.round() - 1.0).abs() < 1e-5,
                    "{}",
                    step.hertz
                );
            }
        }
    }
}

#[test]
fn steps_are_found_by_a_clock_that_is_off_and_follow_the_level() {
    let rate = 48_000.0;
    let recorded = drifted(&signals::steps(rate), 1e-4);
    let found = steps::steps(&recorded, rate).expect("the steps");
    assert_eq!(found.len(), 24);
    for step in found {
        let want = signals::PEAK * 10_f64.powf(step.played / 20.0);
        assert!((step.amplitude / want - 1.0).abs() < 0.002, "{step:?}");
        assert!(
            (step.hertz * (1.0 + 1e-4) / (step.hertz.round()) - 1.0).abs() < 1e-5,
            "{step:?}"
        );
    }
}

/// x + a x^2 of two sines of peaks p and q has lines of a p q at sum and difference; x + b x^3 has lines of 0.75 b p^2 q at
/// the high tone and twice the low one away, and a high tone of q (1 + 1.5 b p^2 + 0.75 b q^2).
#[test]
fn modulation_distortion_of_a_known_curve() {
    for rate in RATES {
        let (p, q) = (0.8 * signals::PEAK, 0.2 * signals::PEAK);
        let (a, b) = (0.01, 0.004);
        let mut x: Vec<f64> = signals::two_tone(rate, 6.0)
            .iter()
            .map(|x| 0.5 * (x + a * x * x + b * x * x * x))
            .collect();
        for (x, n) in x.iter_mut().zip(noise(6 * rate as usize, 1e-5, 4)) {
            *x += n;
        }
        let found = two_tone::modulation(&x, rate).expect("two tones");
        let high = 1.0 + 1.5 * b * p * p + 0.75 * b * q * q;
        for (got, want) in found
            .percent
            .iter()
            .zip([2.0 * a * p / high, 1.5 * b * p * p / high])
        {
            let error = sound::decibels(got / (100.0 * want));
            println!("two tones, {rate} Hz: {error:.3} dB");
            assert!(error.abs() < 0.3, "{got} for {want}: {found:?}");
        }
    }
    let off = drifted(&signals::two_tone(48_000.0, 3.0), 1e-4);
    let found = two_tone::modulation(&off, 48_000.0).expect("two tones");
    assert!(found.percent[0] < 0.01, "{found:?}");
    assert_eq!(
        two_tone::modulation(&signals::silence(48_000.0, 3.0), 48_000.0),
        None
    );
}

#[test]
fn hum_lines_to_two_tenths_of_a_decibel() {
    for rate in RATES {
        for (mains, levels) in [
            (
                49.93,
                [(1, -60.0), (2, -50.0), (4, -62.0), (6, -70.0), (8, -80.0)],
            ),
            (
                60.02,
                [(1, -55.0), (2, -70.0), (3, -75.0), (4, -80.0), (5, -80.0)],
            ),
        ] {
            let mut x = noise(10 * rate as usize, 10_f64.powf(-70.0 / 20.0), 3);
            for (k, db) in levels {
                let size = 10_f64.powf(db / 20.0);
                for (i, v) in x.iter_mut().enumerate() {
                    *v += size
                        * (TAU * mains * f64::from(k) * i as f64 / rate + 0.4 * f64::from(k)).cos();
                }
            }
            let found = hum::hum(&x, rate).expect("long enough");
            let (hertz, doubt) = found.mains.expect("lines");
            assert!(
                (hertz - mains).abs() < doubt.max(0.002),
                "{hertz} +- {doubt} for {mains}"
            );
            for (k, db) in levels {
                let line = found.lines.iter().find(|l| l.order == k).expect("the line");
                let error = sound::decibels(line.amplitude) - db;
                println!(
                    "hum {rate} Hz, {mains}, order {k}: {error:.3} dB, +- {:.2}",
                    line.uncertainty
                );
                assert!(error.abs() < 0.2, "{error} dB");
                let turn = (line.degrees - (0.4 * f64::from(k)).to_degrees()).rem_euclid(360.0);
                assert!(turn.min(360.0 - turn) < 8.0, "{turn} degrees, order {k}");
            }
            assert!(
                found
                    .lines
                    .iter()
                    .all(|l| levels.iter().any(|(k, _)| *k == l.order)),
                "{:?}",
                found.lines
            );
            // The noise between the lines: -70 dB over the whole band, 20 kHz of it.
            let want = -70.0 + 10.0 * ((found.band_to - 20.0) / (rate / 2.0)).log10();
            let error = sound::decibels(found.noise) - want;
            println!(
                "noise {rate} Hz: {error:.3} dB, +- {:.2}",
                found.noise_uncertainty
            );
            assert!(error.abs() < 0.1, "{error} dB");
        }
    }
}

#[test]
fn causes_of_hum_by_their_pattern() {
    let rate = 48_000.0;
    let made = |lines: &[(u32, f64)]| {
        let mut x = noise(5 * 48_000, 1e-5, 5);
        for (i, v) in x.iter_mut().enumerate() {
            for (k, size) in lines {
                *v += size * (TAU * 50.0 * f64::from(*k) * i as f64 / rate).sin();
            }
        }
        hum::hum(&x, rate)
            .expect("long enough")
            .causes
            .first()
            .map(|c| c.0)
    };
    assert_eq!(made(&[(1, 0.01)]), Some(hum::Cause::Heater));
    let sawtooth: Vec<(u32, f64)> = (1..=6).map(|k| (k, 0.01 / f64::from(k))).collect();
    assert_eq!(made(&sawtooth), Some(hum::Cause::HalfWave));
    let full: Vec<(u32, f64)> = (1..=4).map(|k| (2 * k, 0.01 / f64::from(k))).collect();
    assert_eq!(made(&full), Some(hum::Cause::FullWave));
    let spikes: Vec<(u32, f64)> = (1..=20).map(|k| (2 * k, 0.002)).collect();
    assert_eq!(made(&spikes), Some(hum::Cause::Buzz));
    assert_eq!(made(&[]), None);
}

#[test]
fn tremolo_rate_depth_shape_and_drift() {
    for rate in RATES {
        for (hertz, depth) in [(2.3, 0.8), (5.03, 0.3), (8.7, 0.1)] {
            let seconds = 12.0;
            let mut x = noise((seconds * rate) as usize, 1e-4, 11);
            for (i, v) in x.iter_mut().enumerate() {
                let t = i as f64 / rate;
                *v += 0.3 * (1.0 + depth * (TAU * hertz * t + 1.0).sin()) * (TAU * 440.0 * t).sin();
            }
            let found = tremolo::tremolo(&x, rate).expect("a tremolo");
            println!(
                "tremolo {rate}: {:.4} for {hertz}, {:.2} for {}",
                found.hertz,
                found.depth_percent,
                100.0 * depth
            );
            assert!((found.hertz / hertz - 1.0).abs() < 0.002, "{found:?}");
            assert!(
                (found.depth_percent - 100.0 * depth).abs() < 1.0,
                "{found:?}"
            );
            assert!(
                found.shape_percent[0] < 3.0 && (found.rising_percent - 50.0).abs() < 2.0,
                "{found:?}"
            );
        }
    }
    shapes_of_a_swing();
    // A rate that grows by two per cent in 12 s: ten in a minute.
    let rate = 48_000.0;
    let x: Vec<f64> = (0..12 * 48_000)
        .map(|i| {
            let t = f64::from(i) / rate;
            let phase = TAU * 5.0 * (t + 0.02 * t * t / 24.0);
            0.3 * (1.0 + 0.5 * phase.sin()) * (TAU * 440.0 * t).sin()
        })
        .collect();
    let found = tremolo::tremolo(&x, rate).expect("a tremolo");
    assert!((found.drift_percent - 10.0).abs() < 1.0, "{found:?}");
    assert_eq!(
        tremolo::tremolo(&signals::tone(rate, 5.0, 440.0), rate),
        None
    );
    assert_eq!(tremolo::tremolo(&signals::silence(rate, 5.0), rate), None);
}

/// Depth of swings that are no sine, at every rate of sampling, with noise: peaks on both sides, peaks that lean, a
/// capacitor that charges and discharges, jumps within a hundredth of a second. Each goes from -1 to 1 by its own formula.
fn shapes_of_a_swing() {
    let lean = |share: f64| {
        move |turn: f64, _: f64| {
            if turn < share {
                2.0 * turn / share - 1.0
            } else {
                1.0 - 2.0 * (turn - share) / (1.0 - share)
            }
        }
    };
    let charge = |turn: f64, _: f64| {
        let worn = (-0.5_f64 / 0.15).exp();
        let (high, low) = (1.0 / (1.0 + worn), worn / (1.0 + worn));
        let now = if turn < 0.5 {
            1.0 - (1.0 - low) * (-turn / 0.15).exp()
        } else {
            high * (-(turn - 0.5) / 0.15).exp()
        };
        2.0 * (now - low) / (high - low) - 1.0
    };
    let jump =
        |turn: f64, hertz: f64| ((TAU * turn).sin() / (TAU * hertz * 0.005)).clamp(-1.0, 1.0);
    type Shape<'a> = (&'a str, &'a dyn Fn(f64, f64) -> f64);
    let shapes: [Shape<'_>; 6] = [
        ("sine", &|turn, _| (TAU * turn).sin()),
        ("triangle", &lean(0.5)),
        ("leaning", &lean(0.2)),
        ("saw", &lean(0.95)),
        ("charging", &charge),
        ("jumping", &jump),
    ];
    let mut quiet = noise(8 * 96_000, 1e-4, 12);
    for (n, rate) in RATES.into_iter().enumerate() {
        for (name, shape) in shapes {
            let all = [(2.3, 0.8), (5.03, 0.5), (8.7, 0.3)];
            // each shape at each rate of sampling once, all pace and depth in the long run
            let of = if std::env::var_os("TUBEWRIGHT_LONG").is_some() {
                &all[..]
            } else {
                &all[n..=n]
            };
            for (hertz, depth) in of {
                let x: Vec<f64> = quiet
                    .iter()
                    .take((8.0 * rate) as usize)
                    .enumerate()
                    .map(|(i, noise)| {
                        let t = i as f64 / rate;
                        let level = shape((hertz * t + 0.1).fract(), *hertz);
                        noise + 0.3 * (1.0 + depth * level) * (TAU * 440.0 * t).sin()
                    })
                    .collect();
                let found = tremolo::tremolo(&x, rate).expect("a tremolo");
                assert!(
                    (found.hertz / hertz - 1.0).abs() < 0.002,
                    "{name} {found:?}"
                );
                assert!(
                    (found.depth_percent - 100.0 * depth).abs() < 1.0,
                    "{name} {found:?}"
                );
            }
        }
        quiet.rotate_left(1_000);
    }
}

#[test]
fn clipping_and_clicks_are_counted() {
    let rate = 48_000.0;
    let clipped: Vec<f64> = signals::tone(rate, 1.0, 100.0)
        .iter()
        .map(|x| (1.5 * x).clamp(-1.0, 1.0))
        .collect();
    assert_eq!(level::level(&clipped, None).clipped, 200);
    let smaller: Vec<f64> = clipped.iter().map(|x| 0.5 * x).collect();
    assert_eq!(
        (
            level::level(&smaller, None).clipped,
            level::level(&smaller, None).flat
        ),
        (0, 200)
    );
    // 8 bits end at 127 of 128, on one side or both
    let coarse = |least: f64| -> Vec<f64> {
        let steps = clipped.iter().map(|x| (128.0 * x).round());
        steps.map(|n| n.clamp(least, 127.0) / 128.0).collect()
    };
    for least in [-128.0, -127.0] {
        assert_eq!(level::level(&coarse(least), Some(8)).clipped, 200);
    }
    // A slow tone in coarse steps has flat tops of its own: not clipped.
    let slow: Vec<f64> = signals::tone(rate, 1.0, 20.0)
        .iter()
        .map(|x| (0.1 * x * 32_768.0).round() / 32_768.0)
        .collect();
    assert_eq!(
        (
            level::level(&slow, None).clipped,
            level::level(&slow, None).flat
        ),
        (0, 0)
    );
    let clean = level::level(&signals::tone(rate, 1.0, 100.0), None);
    assert_eq!((clean.clipped, clean.flat), (0, 0));
    assert!((clean.rms / (signals::PEAK / 2_f64.sqrt()) - 1.0).abs() < 1e-6);
    let mut x = noise(10 * 48_000, 1e-3, 2);
    for (i, v) in x.iter_mut().enumerate() {
        *v += 0.01 * (TAU * 100.0 * i as f64 / rate).sin();
    }
    assert!(level::clicks(&x, rate).is_empty());
    for k in 0..17 {
        x[20_000 + k * 25_000] += 0.05;
    }
    let found = level::clicks(&x, rate);
    assert_eq!(found.len(), 17, "{found:?}");
    assert!((found[3].seconds - 95_000.0 / rate).abs() < 1e-3);
}

#[test]
fn what_holds_no_signal_says_so() {
    let rate = 48_000.0;
    assert_eq!(
        sweep::response(&noise(600_000, 0.1, 1), rate, &[1000.0]),
        Err(sweep::SweepError::NotFound)
    );
    assert_eq!(
        sweep::response(&signals::silence(rate, 12.0), rate, &[1000.0]),
        Err(sweep::SweepError::NotFound)
    );
    assert_eq!(
        sweep::response(&[0.0; 100], rate, &[1000.0]),
        Err(sweep::SweepError::Short)
    );
    assert!(steps::steps(&noise(1_400_000, 0.1, 1), rate).is_none());
    assert!(
        hum::hum(&noise(480_000, 0.1, 1), rate)
            .expect("long enough")
            .mains
            .is_none()
    );
    assert!(
        hum::hum(&signals::silence(rate, 3.0), rate)
            .expect("long enough")
            .mains
            .is_none()
    );
    assert!(hum::hum(&[0.1; 10], rate).is_none());
}

#[test]
fn files_that_are_written_are_read_back_and_bad_ones_get_a_word() {
    let x = signals::string(48_000.0);
    let bytes = sound::write::wav(&x, 48_000).expect("short enough");
    let back = sound::decode(bytes.clone(), "wav").expect("a WAV file");
    assert_eq!(
        (back.rate, back.channels.len(), back.bits),
        (48_000.0, 1, Some(24))
    );
    assert!(back.notes.is_empty(), "{:?}", back.notes);
    assert_eq!(back.channels[0].len(), x.len());
    for (a, b) in x.iter().zip(&back.channels[0]) {
        assert!((a - b).abs() < 2e-7, "{a} {b}");
    }
    let cut = sound::decode(bytes[..bytes.len() / 2].to_vec(), "wav").expect("half of it");
    assert!(
        cut.notes.iter().any(|n| n.contains("cut off")),
        "{:?}",
        cut.notes
    );
    let named = sound::decode(bytes.clone(), "flac").expect("by its bytes");
    assert!(
        named.notes.iter().any(|n| n.contains("the bytes are WAV")),
        "{:?}",
        named.notes
    );
    assert_eq!(
        sound::decode(Vec::new(), "wav"),
        Err(sound::DecodeError::Empty)
    );
    assert_eq!(
        sound::decode(b"amp pip\nB1 - R1".to_vec(), "wav"),
        Err(sound::DecodeError::Unknown)
    );
    // Any beginning of a file is answered.
    for n in 1..200 {
        let _ = sound::decode(bytes[..n].to_vec(), "wav");
    }
}
