//! The corpus: every snippet, the examples, five larger inventions. Each drawing is legal, keeps the conventions, and is
//! no worse than the scores stored in `corpus/scores.txt`.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

use draw::{Options, Score, draw, look, score};
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;

/// Whole amplifiers: no end of them is loose.
const WHOLE: [(&str, &str); 8] = [
    ("pip", include_str!("../../../examples/pip.wiring")),
    ("curlew", include_str!("../../../examples/curlew.wiring")),
    (
        "turnstone",
        include_str!("../../../examples/turnstone.wiring"),
    ),
    ("knapweed", include_str!("corpus/knapweed.wiring")),
    ("sorrel", include_str!("corpus/sorrel.wiring")),
    ("fennel", include_str!("corpus/fennel.wiring")),
    ("teasel", include_str!("corpus/teasel.wiring")),
    ("burdock", include_str!("corpus/burdock.wiring")),
];

/// Everything, by name.
fn all() -> Vec<(&'static str, &'static str)> {
    let mut out = WHOLE.to_vec();
    out.push(("stage", include_str!("../../../examples/stage.wiring")));
    out.extend(wiring::snippet::SNIPPETS.iter().map(|s| (s.name, s.text)));
    out
}

/// One row of the table of scores.
fn row(name: &str, s: &Score) -> String {
    let (kept, met) = s.conventions_kept();
    format!(
        "{name:24}{:6}{:6}{:7}{:6}{kept:6}{met:6}",
        s.crossings, s.bends, s.length, s.links
    )
}

const HEAD: &str = "# What is drawn of the corpus. Lower is better, apart from the conventions: kept of met.\n\
    # TUBEWRIGHT_STORE=1 cargo test --release -p draw --test corpus writes it anew.\n\
    # name                crossings bends length links  kept   met\n";

#[test]
fn the_corpus_is_drawn_legally_and_no_worse_than_before() {
    let mut table = String::from(HEAD);
    let mut by_convention: BTreeMap<&str, (usize, usize)> = BTreeMap::new();
    let (mut all_kept, mut all_met) = (0, 0);
    let mut wrong: Vec<String> = Vec::new();
    let drawn = all();
    assert!(drawn.len() >= 15);
    for (name, text) in drawn {
        let read = wiring::read_one(text);
        if read.has_errors() {
            wrong.push(format!("{name}: {:?}", read.problems));
            continue;
        }
        let anatomy = look(&read.circuit);
        let d = draw(&read.circuit, &anatomy, Options::default());
        wrong.extend(d.faults.iter().map(|f| format!("{name}: {f}")));
        if d.plain {
            wrong.push(format!("{name} needed the plain form"));
        }
        let s = score(&d);
        let (kept, met) = s.conventions_kept();
        if WHOLE.iter().any(|w| w.0 == name) {
            if s.loose > 0 {
                wrong.push(format!("{name}: {} loose ends", s.loose));
            }
            if met <= 20 || kept * 100 < met * 95 {
                wrong.push(format!("{name}: {kept} of {met} conventions"));
            }
        }
        all_kept += kept;
        all_met += met;
        for c in &s.conventions {
            let sum = by_convention.entry(c.name).or_default();
            sum.0 += c.kept;
            sum.1 += c.met;
        }
        let _ = writeln!(table, "{}", row(name, &s));
    }
    if all_kept * 100 < all_met * 95 {
        wrong.push(format!("{all_kept} of {all_met} conventions"));
    }
    let _ = writeln!(
        table,
        "#\n# Conventions over the corpus: {all_kept} of {all_met}"
    );
    for (name, (kept, met)) in &by_convention {
        let _ = writeln!(table, "# {name}: {kept} of {met}");
        // Each of them was met, and none is bought with another.
        if *met == 0 || kept * 100 < met * 90 {
            wrong.push(format!("{name}: {kept} of {met}"));
        }
    }
    if std::env::var_os("TUBEWRIGHT_SHOW").is_some() {
        eprintln!("{table}");
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    held_against("scores.txt", &table);
}

/// Compares with what is stored, line by line; a better figure is stored on purpose, never in passing.
#[track_caller]
fn held_against(file: &str, now: &str) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/corpus")
        .join(file);
    if std::env::var_os("TUBEWRIGHT_STORE").is_some() {
        std::fs::write(&path, now).unwrap();
        return;
    }
    let stored = std::fs::read_to_string(&path).unwrap();
    let differ: Vec<String> = stored
        .lines()
        .map(str::to_owned)
        .zip(now.lines().map(str::to_owned))
        .filter(|(a, b)| a != b)
        .map(|(a, b)| format!("stored {a}\nnow    {b}"))
        .collect();
    assert!(
        differ.is_empty() && stored.lines().count() == now.lines().count(),
        "{}\nLook at the drawings; if they are better, store the scores (see the head of {file}).",
        differ.join("\n")
    );
}
