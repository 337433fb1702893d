//! Recordings handed in, measured beside the wiring, and listened to: without script, then in a browser by keyboard.

#![allow(clippy::unwrap_used, reason = "a failed step is a failed test")]

mod chromium;
mod desk;
mod server;

use chromium::{Chromium, pictures, shuts_out};
use desk::{start, take_in, trace};
use server::{Browser, Server};

const CURLEW: &str = include_str!("../../../examples/curlew.wiring");

/// The sweep through a first-order low-pass at 5 kHz, as a file.
fn swept() -> Vec<u8> {
    let k = (std::f64::consts::PI * 5000.0 / 44_100.0).tan();
    let (mut before, mut y) = (0.0, 0.0);
    let through: Vec<f64> = sound::signals::sweep(44_100.0)
        .into_iter()
        .map(|x| {
            y = (k * (x + before) + (1.0 - k) * y) / (1.0 + k);
            before = x;
            0.5 * y
        })
        .collect();
    sound::write::wav(&through, 44_100).unwrap()
}

/// Half a second of a plucked string.
fn riff() -> Vec<u8> {
    let all = sound::signals::string(44_100.0);
    sound::write::wav(&all[8_000..30_000], 44_100).unwrap()
}

fn handed_in(b: &mut Browser) {
    take_in(b, "Curlew", "Odo Kestle");
    trace(b, CURLEW);
    b.upload("/job/1/photos", "sweep back.wav", &swept());
    b.upload("/job/1/photos", "riff.wav", &riff());
}

/// Waits until what takes longer is done, and gives its page.
fn done(b: &mut Browser, address: &str) -> server::Page {
    for _ in 0..600 {
        let page = b.get(address);
        let words = page.words();
        if !words.contains("Playing it through") && !words.contains("is measured, and the wiring") {
            return page;
        }
        std::thread::sleep(std::time::Duration::from_millis(100));
    }
    panic!("it never ended");
}

#[test]
fn a_recording_is_measured_beside_the_wiring_and_written_down() {
    let (_folder, server) = start();
    let mut b = server.browser();
    b.get("/job/1/recordings");
    handed_in(&mut b);
    let page = b.get("/job/1/recordings");
    page.has(&["Measure a recording", "sweep back.wav", "VOLB stood at"]);
    let page = done(
        &mut b,
        "/job/1/recordings?of=1&played=sweep&from=J1&full=28.3&load=8",
    );
    page.has(&[
        "response at 100 Hz",
        "outside",
        "dB are against 1000 Hz",
        "Everything that was measured",
        "44100 Hz, 24 bits",
        "Peak -",
    ]);
    let form = page.form("value=\"Recording sweep back.wav");
    let page = b.send(&form);
    page.has(&[
        "Recording sweep back.wav, played sweep, full scale V 28.3",
        "response at 100 Hz",
    ]);
    // what cannot be measured says why
    done(&mut b, "/job/1/recordings?of=2&played=sweep").has(&["shorter than the sweep"]);
    b.get("/job/1/recordings?of=2&full=much")
        .has(&["is no volts above 0"]);
    b.get("/job/1/recordings?of=99")
        .has(&["Measure a recording"]);
}

#[test]
fn an_amp_is_listened_to_without_script() {
    let (_folder, server) = start();
    let mut b = server.browser();
    take_in(&mut b, "Curlew", "Odo Kestle");
    b.get("/job/1/listen").has(&["No input jack is traced yet"]);
    trace(&mut b, CURLEW);
    b.upload("/job/1/photos", "riff.wav", &riff());
    let form = b.get("/job/1/listen").form("name=\"volts\"");
    let page = b.send(
        &form
            .with("of", "1")
            .with("from", "J3")
            .with("as-set", "yes")
            .with("at VOLB", "8"),
    );
    let _ = page;
    let page = done(&mut b, "/job/1/listen?play=1");
    page.has(&[
        "Hear it",
        "as found",
        "knobs as set",
        "Equally loud",
        "from J3",
        "tremolo from",
    ]);
    let whole = b.ask("GET", "/job/1/listen/16", &[], b"");
    assert_eq!(
        (whole.status, whole.header("content-type")),
        (200, "audio/wav")
    );
    let part = b.ask(
        "GET",
        "/job/1/listen/17",
        &[("Range", "bytes=44-1043")],
        b"",
    );
    assert_eq!(part.status, 206);
    assert!(part.header("content-range").starts_with("bytes 44-1043/"));
    assert_eq!(b.ask("GET", "/job/1/listen/18", &[], b"").status, 404);
    // the same again is not worked out again
    let form = b.get("/job/1/listen").form("name=\"volts\"");
    let page = b.send(
        &form
            .with("of", "1")
            .with("from", "J3")
            .with("as-set", "yes")
            .with("at VOLB", "8"),
    );
    page.has(&["Hear it"]);
    let form = b.get("/job/1/listen").form("name=\"volts\"");
    b.send(&form.with("volts", "loud"))
        .has(&["`loud` is no number of volts above 0"]);
    b.get("/job/1/listen?play=77")
        .has(&["That is not kept any more"]);
}

/// In a browser: handed in, played through, and heard in turn by one key; both pages as pictures, scanned.
#[test]
fn one_key_goes_from_one_to_the_next() {
    let folder = tempfile::tempdir().unwrap();
    let server = Server::start(&folder.path().join("shop"), &[]);
    let mut b = server.browser();
    handed_in(&mut b);
    let base = format!("http://{}", server.host);
    let form = b.get("/job/1/listen").form("name=\"volts\"");
    b.send(
        &form
            .with("of", "2")
            .with("from", "J3")
            .with("as-set", "yes")
            .with("at VOLB", "8"),
    );
    let mut c = Chromium::start();
    let measured = "/job/1/recordings?of=1&played=sweep&from=J1";
    c.open(&format!("{base}/job/1/listen?play=1"));
    c.wait("document.querySelector('#tracks') !== null");
    c.wait("!document.querySelector('#tracks [data-next]').hidden");
    c.key(" ");
    c.wait("document.querySelectorAll('#tracks audio')[0].paused === false || document.querySelectorAll('#tracks audio')[0].ended");
    c.wait("document.querySelectorAll('#tracks li')[0].hasAttribute('aria-current')");
    c.key(" ");
    c.wait("document.querySelectorAll('#tracks li')[1].hasAttribute('aria-current') && document.querySelectorAll('#tracks audio')[0].paused");
    let mut serious = Vec::new();
    for (size, width, height, light) in [
        ("desk", 1440, 900, "light"),
        ("desk", 1440, 900, "dark"),
        ("phone", 390, 844, "light"),
        ("phone", 390, 844, "dark"),
    ] {
        c.screen(width, height, size == "phone");
        c.light(light);
        for (name, address) in [("listen", "/job/1/listen?play=1"), ("recordings", measured)] {
            c.open(&format!("{base}{address}"));
            c.wait("document.querySelector('#tracks, #measured') !== null");
            let lamp = if light == "dark" { "-lamp" } else { "" };
            c.whole_picture(&pictures().join(format!("{size}-{name}{lamp}.png")));
            serious.extend(
                shuts_out(&mut c)
                    .iter()
                    .map(|v| format!("{size} {light} {name}: {v}")),
            );
        }
    }
    assert!(serious.is_empty(), "{}", serious.join("\n"));
    assert!(c.wrong.is_empty(), "{:?}", c.wrong);
}
