//! A drawing while it is typed: each amplifier line by line, and what moves on the page with each line.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

use draw::{Memory, Options, draw, draw_on, look, score};
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;

const AMPS: [(&str, &str); 8] = [
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

/// Where each wired piece stands: by its part's name and its number within the part. Parts that no walk has passed yet
/// wait in a row below; they are not in the schematic.
type Places = BTreeMap<(String, usize), (i32, i32)>;

fn places(d: &draw::Drawing<'_>) -> Places {
    let mut out = Places::new();
    for p in &d.placed {
        if d.plan.pieces[p.piece].nodes.iter().all(Option::is_none) {
            continue;
        }
        let name = d.plan.pieces[p.piece].name.clone();
        let mut n = 0;
        while out.contains_key(&(name.clone(), n)) {
            n += 1;
        }
        out.insert((name, n), (p.at.x, p.at.y));
    }
    out
}

/// What one line changed.
struct Step {
    /// Pieces drawn before and after.
    both: usize,
    /// Those of them that moved against most of the others: a page that shifts as a whole has not moved.
    moved: usize,
    /// Pairs of them whose order, left to right or above to below, turned round; out of all pairs, twice.
    flips: usize,
    pairs: usize,
}

fn step(before: &Places, after: &Places) -> Step {
    let both: Vec<((i32, i32), (i32, i32))> = before
        .iter()
        .filter_map(|(k, a)| Some((*a, *after.get(k)?)))
        .collect();
    let mut shifts: BTreeMap<(i32, i32), usize> = BTreeMap::new();
    for (a, b) in &both {
        *shifts.entry((b.0 - a.0, b.1 - a.1)).or_default() += 1;
    }
    let still = shifts.values().max().copied().unwrap_or(0);
    let (mut flips, mut pairs) = (0, 0);
    for (i, (a, b)) in both.iter().enumerate() {
        for (p, q) in &both[i + 1..] {
            pairs += 2;
            let turned = |u: i32, v: i32, s: i32, t: i32| (u - v).signum() * (s - t).signum() < 0;
            flips += usize::from(turned(a.0, p.0, b.0, q.0));
            flips += usize::from(turned(a.1, p.1, b.1, q.1));
        }
    }
    Step {
        both: both.len(),
        moved: both.len() - still,
        flips,
        pairs,
    }
}

/// What came of typing.
struct Typed {
    steps: Vec<Step>,
    /// Of the last drawing and of the same laid out afresh: crossings, conventions kept, met.
    last: (usize, usize, usize),
    fresh: (usize, usize, usize),
}

fn worth(d: &draw::Drawing<'_>) -> (usize, usize, usize) {
    let s = score(d);
    let (kept, met) = s.conventions_kept();
    (s.crossings, kept, met)
}

/// Types an amplifier: what its parts are first, then walk by walk in the order of the file. Each drawing starts from
/// the one before, is legal, and is the same when it is asked for again.
fn typed(name: &str, text: &str) -> Typed {
    let mut shown = String::new();
    let mut before: Option<Places> = None;
    let mut memory = Memory::default();
    let mut steps = Vec::new();
    let mut last = (0, 0, 0);
    for line in text.lines() {
        shown.push_str(line);
        shown.push('\n');
        let walk = line.split(" # ").next().unwrap_or("");
        if line.starts_with('#') || !walk.contains(" - ") {
            continue;
        }
        let circuit = wiring::read_one(&shown).circuit;
        let anatomy = look(&circuit);
        let (d, next) = draw_on(&circuit, &anatomy, Options::default(), &memory);
        assert!(d.faults.is_empty(), "{name}: {}\n{shown}", d.faults[0]);
        assert!(!d.plain, "{name} needed the plain form\n{shown}");
        let (again, kept) = draw_on(&circuit, &anatomy, Options::default(), &next);
        for (a, b) in d.placed.iter().zip(&again.placed) {
            assert_eq!(
                (a.at, a.turn),
                (b.at, b.turn),
                "{name}: {} at rest",
                d.plan.pieces[a.piece].name
            );
        }
        assert!(kept == next, "{name}: not remembered");
        memory = next;
        let now = places(&d);
        if let Some(before) = &before {
            steps.push(step(before, &now));
        }
        before = Some(now);
        last = worth(&d);
    }
    let circuit = wiring::read_one(text).circuit;
    let anatomy = look(&circuit);
    // Tidied: an empty memory is a layout afresh.
    let (tidy, _) = draw_on(&circuit, &anatomy, Options::default(), &Memory::default());
    let fresh = draw(&circuit, &anatomy, Options::default());
    assert!(tidy.placed == fresh.placed && tidy.wires == fresh.wires);
    Typed {
        steps,
        last,
        fresh: worth(&fresh),
    }
}

fn percent(part: usize, whole: usize) -> f64 {
    #[allow(clippy::cast_precision_loss, reason = "small counts")]
    let share = part as f64 / whole.max(1) as f64;
    share * 100.0
}

#[test]
fn a_line_moves_nearly_nothing() {
    let long = std::env::var_os("TUBEWRIGHT_LONG").is_some();
    let store = std::env::var_os("TUBEWRIGHT_STORE").is_some();
    let mut table = String::from(
        "# Each amplifier typed walk by walk: parts moved against the rest, per line; pairs whose order turned, in per cent.\n\
         # TUBEWRIGHT_LONG=1 TUBEWRIGHT_STORE=1 cargo test --release -p draw --test steady writes it anew.\n\
         # name      lines  moved: median  ninth tenth  most   flips: mean  most   crossings: typed afresh   kept\n",
    );
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/corpus/steady.txt");
    let stored = std::fs::read_to_string(&path).unwrap_or_default();
    for (name, text) in AMPS {
        // The largest take seconds; the ordinary run types the small ones.
        if !long && !["pip", "sorrel", "teasel"].contains(&name) {
            continue;
        }
        let Typed { steps, last, fresh } = typed(name, text);
        let mut moved: Vec<usize> = steps.iter().map(|s| s.moved).collect();
        moved.sort_unstable();
        let flips: Vec<f64> = steps.iter().map(|s| percent(s.flips, s.pairs)).collect();
        #[allow(clippy::cast_precision_loss, reason = "small counts")]
        let mean = flips.iter().sum::<f64>() / flips.len() as f64;
        let row = format!(
            "{name:12}{:6}{:15}{:13}{:6}{mean:15.2}{:6.1}{:14}{:6}{:8}/{}",
            steps.len(),
            moved[moved.len() / 2],
            moved[moved.len() * 9 / 10],
            moved[moved.len() - 1],
            flips.iter().copied().fold(0.0, f64::max),
            last.0,
            fresh.0,
            last.1,
            last.2,
        );
        if std::env::var_os("TUBEWRIGHT_SHOW").is_some() {
            eprintln!("{row}");
            for (i, s) in steps
                .iter()
                .enumerate()
                .filter(|(_, s)| s.moved * 4 > s.both || s.flips * 100 > s.pairs)
            {
                eprintln!(
                    "   line {i}: {} of {} moved, {:.1} %",
                    s.moved,
                    s.both,
                    percent(s.flips, s.pairs)
                );
            }
        }
        let _ = writeln!(table, "{row}");
        if !store {
            assert_eq!(moved[moved.len() / 2], 0, "{row}");
            assert!(mean <= 0.5, "{row}");
            assert!(
                stored.lines().any(|l| l == row),
                "now {row}\nstored {stored}"
            );
        }
    }
    if store && long {
        std::fs::write(&path, table).unwrap();
    }
}
