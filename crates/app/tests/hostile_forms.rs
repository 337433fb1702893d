//! Hostile forms: everything that a page lets one send, mutated, and sent to a server that keeps a record. It answers
//! each, no answer is a failure of its own, no page that was there is lost, and the record holds together.
//!
//! The same sequence every time; `fuzz/run form SECONDS` goes on for so long with one of its own.

#![allow(clippy::unwrap_used, reason = "a failed step is a failed test")]
#![allow(clippy::print_stderr, reason = "a run of hours says how far it is")]
#![allow(
    clippy::disallowed_methods,
    reason = "a run of hours is told how long it may go on"
)]

mod desk;
mod server;

use desk::begun;
use rand::seq::IndexedRandom as _;
use rand::{Rng, RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use server::{Browser, Form, Page, Server};
use std::time::{Duration, Instant};

/// Requests between two walks over all pages.
const BETWEEN: usize = 400;
/// Pages of one walk.
const PAGES: usize = 150;

/// What is typed where something else is meant: ends of ranges, things of another sort, markup, other scripts, nothing.
const ODD: [&str; 44] = [
    "",
    " ",
    "0",
    "-1",
    "1",
    "2",
    "-0",
    "1e999",
    "-1e-999",
    "NaN",
    "inf",
    "9223372036854775807",
    "9223372036854775808",
    "-9223372036854775809",
    "18446744073709551616",
    "0.1",
    "1,5",
    "1.000,5",
    "+7",
    "0x10",
    "1/0",
    "2026-02-30",
    "2026-11-25",
    "-9999-12-31",
    "99999-01-01",
    "24:61",
    "null",
    "true",
    "on",
    "V1.1",
    "B3",
    "R4",
    "ground",
    "'; DROP TABLE jobs; --",
    "\"'><script>alert(1)</script>",
    "%00%0a",
    "../../../etc/passwd",
    "\u{0}",
    "\u{202e}\u{feff}",
    "\u{1f525}\u{301}\u{301}",
    "V1 12AX7\nR1 100k\nV1.1 - R1 - B3\n",
    "mains 9e99 V",
    "OL",
    "262 V",
];

/// How long, if not for a fixed count.
fn seconds() -> Option<Duration> {
    let text = std::env::var("TUBEWRIGHT_FORM_SECONDS").ok()?;
    text.parse().ok().map(Duration::from_secs)
}

/// One value, made odd.
fn odd(value: &str, random: &mut ChaCha8Rng) -> Vec<u8> {
    match random.random_range(0..8) {
        0..4 => ODD.choose(random).unwrap().as_bytes().to_vec(),
        4 => value.as_bytes().repeat(random.random_range(0..40)),
        5 => {
            let length = random.random_range(0..40);
            (0..length).map(|_| random.next_u32() as u8).collect()
        }
        6 => "7".repeat(random.random_range(0..5_000)).into_bytes(),
        _ => {
            let mut bytes = value.as_bytes().to_vec();
            if !bytes.is_empty() {
                let at = random.random_range(0..bytes.len());
                bytes[at] = random.next_u32() as u8;
            }
            bytes
        }
    }
}

fn escaped(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("%{b:02X}")).collect()
}

/// The body of a form with some of its fields odd, away, twice, or others added.
fn body(form: &Form, random: &mut ChaCha8Rng) -> String {
    let mut pieces = Vec::new();
    let fields = form.fields();
    for (name, value) in fields {
        let plain = |v: &[u8]| format!("{}={}", escaped(name.as_bytes()), escaped(v));
        match random.random_range(0..10) {
            0..5 => pieces.push(plain(value.as_bytes())),
            5..8 => pieces.push(plain(&odd(value, random))),
            8 => {}
            _ => {
                pieces.push(plain(value.as_bytes()));
                pieces.push(plain(&odd(value, random)));
            }
        }
    }
    if random.random_range(0..12) == 0 {
        pieces.push("=&&%&%zz&=%".to_owned());
    }
    pieces.join("&")
}

/// Where it is sent: mostly where it belongs; else a number of the path is another.
fn address(action: &str, random: &mut ChaCha8Rng) -> String {
    if random.random_range(0..6) > 0 {
        return action.to_owned();
    }
    let numbers = [
        "0",
        "2",
        "-1",
        "99",
        "9223372036854775807",
        "9223372036854775808",
        "%00",
        "x",
    ];
    let (path, query) = action.split_once('?').unwrap_or((action, ""));
    let path: Vec<&str> = path
        .split('/')
        .map(|piece| {
            if piece.parse::<i64>().is_ok() {
                *numbers.choose(random).unwrap()
            } else {
                piece
            }
        })
        .collect();
    format!("{}?{query}", path.join("/"))
}

/// Looks at every page; none may fail. Gives the forms that are on them.
fn look(b: &mut Browser) -> Vec<Form> {
    let mut forms = Vec::new();
    b.walk(&["/"], PAGES, |page| {
        fine(&page, "walk");
        if page.status == 200 {
            forms.extend(page.forms());
        }
    });
    // the one that shuts the doors of the shop is not sent
    forms.retain(|form| !form.action().is_empty());
    forms
}

#[track_caller]
fn fine(page: &Page, sent: &str) {
    assert!(
        page.status != 0 && (page.status < 500 || page.status == 503),
        "{} {}: {}\nsent: {sent}",
        page.status,
        page.address,
        page.words()
    );
    if page.header("content-type").starts_with("text/html") {
        assert!(!page.text.contains("<script>alert"), "{}", page.address);
        assert!(
            page.text.trim_end().ends_with("</html>"),
            "{}: cut",
            page.address
        );
    }
}

#[test]
fn mutated_forms_are_answered_and_the_record_holds() {
    let folder = tempfile::tempdir().unwrap();
    let shop = folder.path().join("shop");
    let server = Server::start(&shop, &[]);
    begun(&server);
    let mut b = server.browser();
    let mut forms = look(&mut b);
    assert!(forms.len() > 40, "{} forms", forms.len());
    let long = seconds();
    let seed = if long.is_some() { random_seed() } else { 2711 };
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let began = Instant::now();
    let (mut sent, mut taken) = (0_usize, 0_usize);
    loop {
        for _ in 0..BETWEEN {
            let form = forms.choose(&mut random).unwrap();
            let to = address(form.action(), &mut random);
            let body = body(form, &mut random);
            let page = b.post(&to, &body);
            fine(&page, &body);
            sent += 1;
            taken += usize::from(matches!(page.status, 200 | 303));
        }
        // a job is never lost, and every page can still be shown
        fine(&b.get("/job/1"), "");
        let now = look(&mut b);
        forms.extend(now);
        let most = forms.len().min(4_000);
        forms.drain(..forms.len() - most);
        match long {
            None if sent >= 800 => break,
            Some(long) if began.elapsed() >= long => break,
            Some(_) => eprintln!(
                "seed {seed}: {sent} forms sent, {taken} taken, {} s",
                began.elapsed().as_secs()
            ),
            None => {}
        }
    }
    assert!(
        taken > sent / 10,
        "{taken} of {sent} taken: nothing was tried"
    );
    // killed in the middle of its work, it opens again as it was and holds together (a job whose taking in was undone stays so)
    let last = b.get("/job/1/journal").status;
    server.kill();
    let server = Server::start(&shop, &[]);
    assert_eq!(server.browser().get("/job/1/journal").status, last);
    drop(server);
    let report = shop::verify(&shop).unwrap();
    assert!(report.problems.is_empty(), "{:?}", report.problems);
}

/// A seed that no run had before; it is said, and `TUBEWRIGHT_FORM_SEED` takes it back.
fn random_seed() -> u64 {
    let given = std::env::var("TUBEWRIGHT_FORM_SEED")
        .ok()
        .and_then(|t| t.parse().ok());
    given.unwrap_or_else(|| u64::from(std::process::id()) << 20 | u64::from(rand::random::<u16>()))
}
