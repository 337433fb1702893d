//! A recording through the solved amplifier, measured back: the loop from wiring to sound to figures is closed.
#![allow(clippy::expect_used, reason = "a test file")]

mod common;

use serde_json::Value;
use std::path::Path;

fn example(name: &str) -> String {
    std::fs::read_to_string(common::root().join(format!("examples/{name}.wiring")))
        .expect("an example")
}

fn ran(here: &Path, arguments: &[&str]) -> Value {
    common::run_in(here, arguments, b"").ends(0).json()
}

fn number(value: &Value) -> f64 {
    value.as_f64().expect("a number")
}

/// A tone that begins at once, as a file.
fn tone(here: &Path, name: &str, hertz: f64, peak: f64, seconds: f64) {
    let samples: Vec<f64> = (0..(48_000.0 * seconds) as usize)
        .map(|i| peak * (std::f64::consts::TAU * hertz * i as f64 / 48_000.0).sin())
        .collect();
    let bytes = sound::write::wav(&samples, 48_000).expect("short");
    std::fs::write(here.join(name), bytes).expect("a file");
}

/// The last second of a file that was written.
fn last_second(path: &Path) -> Vec<f64> {
    let bytes = std::fs::read(path).expect("a file");
    let recording = sound::decode(bytes, "wav").expect("a recording");
    let x = &recording.channels[0];
    x[x.len() - 48_000..].to_vec()
}

/// The whole way: the sweep goes through the amplifier as a sound, what comes out is analysed as any recording, and the
/// response is that of the linear equations: 0.2 dB from 25 Hz to 16 kHz. The largest of the examples in the long run.
#[test]
fn a_quiet_sweep_comes_back_as_the_voicing() {
    let mut amps = vec![("pip", &["VOLUME=5"][..])];
    if std::env::var_os("TUBEWRIGHT_LONG").is_some() {
        // A tremolo at work would sway the sweep.
        amps.extend([
            ("curlew", &["VOLA=5", "DEPTH=0"][..]),
            ("turnstone", &["VOLA=5"]),
        ]);
    }
    for (name, knobs) in amps {
        let file = format!("{name}.wiring");
        let here = common::folder(&[(&file, &example(name))]);
        let here = here.path();
        ran(here, &["signal", "sweep", "-o", "sweep.wav", "--json"]);
        let mut set = vec!["--from", "J1", "--json"];
        knobs.iter().for_each(|k| set.extend(["--set", k]));
        let voiced = ran(
            here,
            &[
                &["voicing", &file, "--hz", "25.118864315,15848.931925,29"][..],
                &set,
            ]
            .concat(),
        );
        // A tenth of a volt at the loudspeaker at 1 kHz: nothing bends.
        let full_scale = 0.1 / 10_f64.powf(number(&voiced["db"][16]) / 20.0);
        let listened = ran(
            here,
            &[
                &["listen", &file, "--play", "sweep.wav", "-o", "back.wav"][..],
                &[
                    "--full-scale",
                    &full_scale.to_string(),
                    "--out-full-scale",
                    "2",
                ],
                &set,
            ]
            .concat(),
        );
        assert_eq!(listened["inside_hz"], 192_000);
        assert_eq!(listened["files"][0]["cut_off"], false);
        let heard = ran(here, &["hear", "back.wav", "--played", "sweep", "--json"]);
        let points = heard["response"]["points"].as_array().expect("points");
        assert_eq!(points.len(), 29);
        // The sweep's peak is 1 dB below full scale, and the response is against full scale.
        let against = sound::decibels(2.0 / full_scale) - sound::decibels(sound::signals::PEAK);
        let mut worst = 0.0_f64;
        for (at, point) in points.iter().enumerate() {
            let hertz = number(&voiced["hz"][at]);
            assert!((number(&point["hz"]) / hertz - 1.0).abs() < 1e-6);
            let off = number(&point["db"]) + against - number(&voiced["db"][at]);
            worst = worst.max(off.abs());
            assert!(off.abs() < 0.2, "{name}, {hertz} Hz: {off} dB");
        }
        println!("{name}: {worst:.3} dB");
    }
}

/// Driven four times as hard as it stays clean, into a resistor: watts and distortion of the sound are those of the state
/// that repeats itself, which is found without any sampling.
#[test]
fn a_loud_tone_comes_back_as_the_power() {
    let text = example("pip");
    let with_resistor: String = text
        .lines()
        .map(|line| match line {
            l if l.starts_with("LS1 ") => String::new(),
            "T2.s1 - LS1 - ground" => "T2.s1 - R99 8 - ground\n".to_owned(),
            l => format!("{l}\n"),
        })
        .collect();
    assert!(with_resistor.contains("R99"));
    let here = common::folder(&[("pip.wiring", &text), ("loaded.wiring", &with_resistor)]);
    let here = here.path();
    let power = ran(
        here,
        &[
            "power",
            "pip.wiring",
            "--set",
            "VOLUME=8",
            "--hz",
            "1000",
            "--from",
            "J1",
            "--json",
        ],
    );
    for (name, level) in [
        ("clean", &power["cleanest"][0][1]),
        ("full", &power["full"]),
    ] {
        let volts = number(&level["volts"]);
        tone(here, &format!("{name}-in.wav"), 1000.0, 0.5, 3.0);
        let full_scale = format!("{}", volts * 2_f64.sqrt() / 0.5);
        ran(
            here,
            &[
                "listen",
                "loaded.wiring",
                "--set",
                "VOLUME=8",
                "--from",
                "J1",
                "--to",
                "R99",
                "--json",
                "--play",
                &format!("{name}-in.wav"),
                "--full-scale",
                &full_scale,
                "--out-full-scale",
                "30",
                "-o",
                &format!("{name}.wav"),
            ],
        );
        let x = last_second(&here.join(format!("{name}.wav")));
        let watts = x.iter().map(|v| (30.0 * v).powi(2)).sum::<f64>() / x.len() as f64 / 8.0;
        let off = 10.0 * (watts / number(&level["watts"])).log10();
        assert!(off.abs() < 0.1, "{name}: {off} dB, {watts} W");
        let step = sound::steps::step(&x, 48_000.0, 1000.0, 0.0);
        let off = sound::decibels(step.thd_percent / 100.0 / number(&level["distortion"]));
        assert!(off.abs() < 0.3, "{name}: {off} dB, {} %", step.thd_percent);
    }
}

/// Two wirings come out equally loud, through a loudspeaker's impulse response, and neither is cut off.
#[test]
fn what_is_compared_is_equally_loud() {
    let here = common::folder(&[
        ("found.wiring", &example("pip")),
        (
            "left.wiring",
            &example("pip").replace("1k8 carbon", "820 carbon"),
        ),
    ]);
    let here = here.path();
    let riff: Vec<f64> = sound::signals::string(44_100.0)
        .into_iter()
        .take(44_100)
        .collect();
    let bytes = sound::write::wav(&riff, 44_100).expect("short");
    std::fs::write(here.join("riff.wav"), bytes).expect("a file");
    let mut click = vec![0.0; 2000];
    click[20] = 0.5;
    click[500] = -0.2;
    let bytes = sound::write::wav(&click, 48_000).expect("short");
    std::fs::write(here.join("box.wav"), bytes).expect("a file");
    let said = ran(
        here,
        &[
            "listen",
            "found.wiring",
            "--against",
            "left.wiring",
            "--play",
            "riff.wav",
            "--impulse",
            "box.wav",
            "--inside",
            "44100",
            "-o",
            "heard.wav",
            "--json",
        ],
    );
    let files = said["files"].as_array().expect("files");
    let loudness = |at: usize| {
        let path = here.join(files[at]["file"].as_str().expect("a name"));
        let recording =
            sound::decode(std::fs::read(path).expect("a file"), "wav").expect("a recording");
        assert_eq!(recording.rate, 44_100.0);
        let mut meter = sound::loudness::Loudness::new(recording.rate);
        recording.channels[0].iter().for_each(|x| meter.push(*x));
        (
            meter.value().expect("loud"),
            sound::level::level(&recording.channels[0], None).peak,
        )
    };
    let (a, b) = (loudness(0), loudness(1));
    assert!((a.0 - b.0).abs() < 0.1, "{a:?} {b:?}");
    assert!((a.1.max(b.1) - 0.891).abs() < 0.001, "{a:?} {b:?}");
    assert_eq!(files[1]["label"], "left");
}

/// The same request gives the same bytes; what is there already stays.
#[test]
fn the_same_again_and_nothing_is_written_over() {
    let here = common::folder(&[("pip.wiring", &example("pip"))]);
    let here = here.path();
    tone(here, "in.wav", 440.0, 0.5, 0.3);
    let go = |out: &str| {
        common::run_in(
            here,
            &[
                "listen",
                "pip.wiring",
                "--play",
                "in.wav",
                "--inside",
                "44100",
                "-o",
                out,
            ],
            b"",
        )
    };
    go("a.wav").ends(0).calm().fits();
    go("b.wav").ends(0).calm().fits();
    let bytes = |name: &str| std::fs::read(here.join(name)).expect("a file");
    assert_eq!(bytes("a.wav"), bytes("b.wav"));
    go("a.wav").ends(2).fits();
    assert_eq!(bytes("a.wav"), bytes("b.wav"));
}

/// What cannot be played gets a word, and leaves no file behind.
#[test]
fn what_cannot_be_played_leaves_nothing_behind() {
    let here = common::folder(&[("pip.wiring", &example("pip")), ("text.wav", "V1 12AX7\n")]);
    let here = here.path();
    tone(here, "silent.wav", 440.0, 0.0, 0.3);
    for (arguments, status, word) in [
        (&["--play", "text.wav"][..], 1, "no recording"),
        (&["--play", "no.wav"], 3, "There is no file"),
        (&["--play", "."], 3, "folder"),
        (&["--play", "silent.wav", "--inside", "44100"], 1, "silent"),
        (
            &["--play", "silent.wav", "--channel", "2"],
            2,
            "no channel 2",
        ),
        (&["--to", "ground"], 1, "arrives at ground"),
        (&["--from", "J9"], 1, "J9"),
        (&["--impulse", "silent.wav"], 1, "no impulse response"),
        (&["--full-scale", "0"], 2, "above 0"),
    ] {
        let all = [&["listen", "pip.wiring", "-o", "out.wav"][..], arguments].concat();
        let ran = common::run_in(here, &all, b"");
        ran.ends(status).fits();
        let said = format!("{}{}", ran.out, ran.err).replace('\n', " ");
        assert!(said.contains(word), "{arguments:?}: {said}");
        assert!(!here.join("out.wav").exists(), "{arguments:?}");
    }
}

/// Six times the length takes no more memory: neither the recording nor what comes of it is kept. Looked at where the
/// system tells how much a program had at most.
#[cfg(target_os = "linux")]
#[test]
fn memory_does_not_grow_with_the_length() {
    let stage =
        std::fs::read_to_string(common::root().join("examples/stage.wiring")).expect("an example");
    let here = common::folder(&[("stage.wiring", &stage)]);
    let here = here.path();
    let most = |name: &str, seconds: f64| -> u64 {
        tone(here, name, 440.0, 0.2, seconds);
        let mut child = std::process::Command::new(env!("CARGO_BIN_EXE_tubewright"))
            .args([
                "listen",
                "stage.wiring",
                "--to",
                "next",
                "--inside",
                "44100",
                "--play",
                name,
                "-o",
            ])
            .arg(format!("heard-{name}"))
            .current_dir(here)
            .stdout(std::process::Stdio::null())
            .spawn()
            .expect("the program starts");
        let status = format!("/proc/{}/status", child.id());
        let mut most = 0;
        while child.try_wait().expect("the program").is_none() {
            let text = std::fs::read_to_string(&status).unwrap_or_default();
            let line = text.lines().find(|l| l.starts_with("VmHWM:"));
            let kb = line.and_then(|l| l.split_whitespace().nth(1)?.parse().ok());
            most = most.max(kb.unwrap_or(0));
            std::thread::sleep(std::time::Duration::from_millis(20));
        }
        assert!(child.wait().expect("an end").success());
        most
    };
    let (short, long) = (most("short.wav", 10.0), most("long.wav", 60.0));
    // Fifty seconds more are 9.6 MB as they are read, 19 MB as numbers.
    assert!(
        short > 1000 && long < short + 3000,
        "{short} kB became {long} kB"
    );
}
