//! Whatever is typed, the drawing is legal: damaged amplifiers, shuffled lines, nonsense.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

use draw::{Memory, Options, draw, draw_on, draw_unchecked, look};
use rand::{RngExt as _, SeedableRng as _, seq::SliceRandom as _};
use rand_chacha::ChaCha8Rng;

const AMPS: [&str; 3] = [
    include_str!("../../../examples/pip.wiring"),
    include_str!("../../../examples/curlew.wiring"),
    include_str!("../../../examples/turnstone.wiring"),
];

/// Lines without comments and blanks.
fn lines(text: &str) -> Vec<String> {
    text.lines()
        .map(|l| l.split(" # ").next().unwrap_or("").trim().to_owned())
        .filter(|l| !l.is_empty() && !l.starts_with('#'))
        .collect()
}

/// One damaged wiring: lines left out, ends moved to wrong points, lines shuffled, words cut.
fn damaged(rng: &mut ChaCha8Rng) -> String {
    let pick = rng.random_range(0..AMPS.len() + 8);
    let text = AMPS.get(pick).copied().unwrap_or_else(|| {
        let all = wiring::snippet::SNIPPETS;
        all[rng.random_range(0..all.len())].text
    });
    let mut all = lines(text);
    if pick >= AMPS.len() {
        // Two or three snippets thrown together.
        for _ in 0..rng.random_range(0..3) {
            let more = wiring::snippet::SNIPPETS;
            all.extend(lines(more[rng.random_range(0..more.len())].text));
        }
    }
    let keep = [1.0, 0.95, 0.8, 0.5, 0.25][rng.random_range(0..5)];
    all.retain(|_| rng.random::<f64>() < keep);
    let points: Vec<String> = all
        .iter()
        .flat_map(|l| l.split_whitespace().map(str::to_owned).collect::<Vec<_>>())
        .filter(|w| w.contains('.') && w.starts_with(|c: char| c.is_ascii_uppercase()))
        .collect();
    for _ in 0..rng.random_range(0..6) {
        if all.is_empty() || points.is_empty() {
            break;
        }
        let i = rng.random_range(0..all.len());
        let wrong = &points[rng.random_range(0..points.len())];
        if let Some((first, rest)) = all[i].split_once(" - ") {
            all[i] = if rng.random::<bool>() {
                format!("{wrong} - {rest}")
            } else {
                format!("{first} - {wrong}")
            };
        }
    }
    if rng.random::<bool>() {
        all.shuffle(rng);
    }
    if rng.random_range(0..4) == 0 {
        for l in &mut all {
            if rng.random_range(0..20) == 0 {
                let n = rng.random_range(0..=l.len());
                if l.is_char_boundary(n) {
                    l.truncate(n);
                }
            }
        }
    }
    all.join("\n") + "\n"
}

/// What a drawing joins: for each node with two pins or more, its pins by name.
fn joined(circuit: &wiring::Circuit) -> Vec<Vec<String>> {
    let mut out: Vec<Vec<String>> = circuit
        .nodes
        .iter()
        .map(|n| {
            let mut pins: Vec<String> = n
                .terminals
                .iter()
                .map(|(p, t)| {
                    let part = &circuit.parts[p.0];
                    format!("{}.{}", part.name, part.terminals[*t].name)
                })
                .collect();
            pins.sort();
            pins
        })
        .collect();
    out.sort();
    out
}

/// The hard rules, the round trip among them, on each wiring and on the same lines in another order.
#[test]
fn damaged_wirings_are_drawn_legally() {
    let long = std::env::var_os("TUBEWRIGHT_LONG").is_some();
    let (count, seed) = if long { (2000, 7) } else { (200, 7) };
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let (mut plain, mut plain_again, mut parts, mut crossings) = (0, 0, 0, 0);
    let (mut kept, mut met, mut same) = (0, 0, 0);
    let mut memory = Memory::default();
    for case in 0..count {
        let text = damaged(&mut rng);
        let read = wiring::read_one(&text);
        let sound = !read.has_errors();
        let circuit = read.circuit;
        let anatomy = look(&circuit);
        let d = draw(&circuit, &anatomy, Options::default());
        assert!(d.faults.is_empty(), "case {case}: {}\n{text}", d.faults[0]);
        parts += circuit.parts.len();
        let s = draw::score(&d);
        crossings += s.crossings;
        let (k, m) = s.conventions_kept();
        kept += k;
        met += m;
        if d.plain {
            plain += 1;
            if std::env::var_os("TUBEWRIGHT_SHOW").is_some() {
                let first = draw_unchecked(&circuit, &anatomy, Options::default());
                eprintln!("case {case}:");
                for f in &first.faults {
                    eprintln!("   {}", f.to_string().chars().take(160).collect::<String>());
                }
                let _ = std::fs::write(format!("/tmp/damaged-{case}.wiring"), &text);
            }
        }
        // The same lines in another order: drawn as legally. Where no line contradicts another, the same is joined
        // (of two descriptions of one part the first stands, so there the order decides).
        let mut lines: Vec<&str> = text.lines().collect();
        lines.shuffle(&mut rng);
        let text = lines.join("\n") + "\n";
        let again = wiring::read_one(&text).circuit;
        let anatomy_again = look(&again);
        let e = draw(&again, &anatomy_again, Options::default());
        assert!(
            e.faults.is_empty(),
            "case {case}, permuted: {}\n{text}",
            e.faults[0]
        );
        plain_again += usize::from(e.plain);
        // With the places of whatever was drawn before, often of another amplifier with parts of the same names.
        let (on, next) = draw_on(&circuit, &anatomy, Options::default(), &memory);
        assert!(
            on.faults.is_empty(),
            "case {case}, remembered: {}\n{text}",
            on.faults[0]
        );
        memory = next;
        if sound {
            same += 1;
            assert_eq!(joined(&again), joined(&circuit), "case {case}:\n{text}");
        }
    }
    eprintln!(
        "{count} damaged wirings, {parts} parts: {plain} in the plain form, {plain_again} of the permuted; {same} without \
         contradiction; {crossings} crossings; conventions {kept} of {met}"
    );
    // The usual layout must carry nearly all of them: one in twenty at most may need the plain form.
    assert!(plain * 20 <= count, "{plain} of {count} in the plain form");
    assert!(
        plain_again * 20 <= count,
        "{plain_again} of {count} permuted ones in the plain form"
    );
    assert!(
        same * 4 >= count,
        "only {same} of {count} without contradiction"
    );
    assert!(kept * 100 >= met * 90, "{kept} of {met} conventions");
}
