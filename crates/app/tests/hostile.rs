//! Hostile input: what `fuzz/` mutates for hours, here the project's own texts and the kept inputs, and
//! some mutations of each, the same ones every time.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

use rand::{Rng, RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use std::path::{Path, PathBuf};

#[path = "../../../fuzz/bodies/archive.rs"]
mod archive;
#[path = "../../../fuzz/bodies/circuit.rs"]
mod circuit;
#[path = "../../../fuzz/bodies/notation.rs"]
mod notation;
#[path = "../../../fuzz/bodies/photo.rs"]
mod photo;
#[path = "../../../fuzz/bodies/readings.rs"]
mod readings;
#[path = "../../../fuzz/bodies/recording.rs"]
mod recording;
#[path = "../../../fuzz/bodies/sheet.rs"]
mod sheet;

/// Mutations of each kept input; fifty times as many with `TUBEWRIGHT_LONG`.
fn rounds(few: usize) -> usize {
    if std::env::var_os("TUBEWRIGHT_LONG").is_some() {
        few * 100
    } else {
        few
    }
}

/// What is mutated, from the project's folders: its own texts, and what was kept.
fn inputs(folders: &[&str]) -> Vec<(PathBuf, Vec<u8>)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let mut files: Vec<PathBuf> = folders
        .iter()
        .flat_map(|folder| std::fs::read_dir(root.join(folder)).unwrap())
        .map(|e| e.unwrap().path())
        .filter(|p| p.is_file())
        .collect();
    files.sort();
    files
        .into_iter()
        .map(|p| {
            let bytes = std::fs::read(&p).unwrap();
            (p, bytes)
        })
        .collect()
}

/// A few bytes changed, a piece left out, a piece said twice, a piece of another put in, an end cut off.
fn mutated(bytes: &[u8], other: &[u8], random: &mut ChaCha8Rng) -> Vec<u8> {
    let mut out = bytes.to_vec();
    for _ in 0..random.random_range(1..5) {
        if out.is_empty() {
            break;
        }
        let from = random.random_range(0..out.len());
        let to = (from + random.random_range(1..24)).min(out.len());
        match random.random_range(0..6) {
            0 => out[from] = random.next_u32() as u8,
            1 => drop(out.drain(from..to)),
            2 => {
                let piece = out[from..to].to_vec();
                out.splice(from..from, piece);
            }
            3 if !other.is_empty() => {
                let start = random.random_range(0..other.len());
                let end = (start + random.random_range(1..60)).min(other.len());
                out.splice(from..to, other[start..end].iter().copied());
            }
            4 => {
                let digits = b"0123456789.eE-+ukMn[]|\"=?";
                out[from] = digits[random.random_range(0..digits.len())];
            }
            _ => out.truncate(to),
        }
    }
    out
}

/// Runs a body; what fails is named by its input, which can be kept as it is.
fn all(folders: &[&str], few: usize, body: fn(&[u8])) {
    let inputs = inputs(folders);
    assert!(!inputs.is_empty(), "no input in {folders:?}");
    let mut random = ChaCha8Rng::seed_from_u64(2611);
    for (path, bytes) in &inputs {
        body(bytes);
        for round in 0..rounds(few) {
            let other = &inputs[random.random_range(0..inputs.len())].1;
            let bad = mutated(bytes, other, &mut random);
            let failed = std::panic::catch_unwind(|| body(&bad)).is_err();
            assert!(
                !failed,
                "mutation {round} of {}: {:?}",
                path.display(),
                String::from_utf8_lossy(&bad)
            );
        }
    }
}

#[test]
fn wirings() {
    all(&["examples"], 300, notation::run);
}

#[test]
fn readings_of_an_amplifier() {
    all(&["examples"], 400, readings::run);
}

#[test]
fn spreadsheets() {
    all(&["fuzz/kept/sheet"], 600, sheet::run);
}

#[test]
fn circuits() {
    all(
        &["crates/wiring/data/snippets", "fuzz/kept/circuit"],
        20,
        circuit::run,
    );
}

#[test]
fn recordings() {
    all(&["fuzz/kept/recording"], 300, recording::run);
}

#[test]
fn photos() {
    all(&["fuzz/kept/photo"], 300, photo::run);
}

#[test]
fn archives() {
    all(&["fuzz/kept/archive"], 25, archive::run);
}
