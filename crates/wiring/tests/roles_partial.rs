//! Half a tracing: with lines missing at random, no part is given a role it does not have.
//!
//! The truth of a wiring is what is said of it whole, and that is held against the written cases
//! and truth files in `roles.rs`. Of a part of it, every role said must be one of the truth's, or a
//! general word that says how the part lies (`shunt resistor`) and not what it is for.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "the cases are the test's own"
)]

#[path = "roles/support.rs"]
mod support;

use std::collections::{BTreeMap, BTreeSet};
use support::{EXAMPLES, all_cases, said};
use wiring::roles::anatomy;

/// Roles of each part, in words.
type Roles = BTreeMap<String, Vec<String>>;

fn roles_of(text: &str) -> Roles {
    let circuit = wiring::read_one(text).circuit;
    said(&circuit, &anatomy(&circuit)).1
}

/// Whether `said` of a part of the tracing contradicts what the whole says.
fn wrong(said: &str, truth: &[String]) -> bool {
    if truth.iter().any(|t| t == said) {
        return false;
    }
    let also = |words: &[&str]| truth.iter().any(|t| words.contains(&t.as_str()));
    let general = match said {
        // How it lies; true of any part that lies so.
        "series resistor" | "shunt resistor" | "shunt capacitor" | "series capacitor"
        | "control" | "signal switch" | "jack" => true,
        // From a plate onward: it passes the signal and holds the volts back, whatever follows.
        "coupling capacitor" => also(&[
            "oscillator capacitor",
            "tremolo coupling",
            "treble capacitor",
            "tone capacitor",
            "middle capacitor",
            "phase-shift capacitor",
            "band-filter capacitor",
            "plate damping",
            // Into a grid with a leak, its other end not traced.
            "second-grid capacitor",
        ]),
        // Two that meet at a grid, their other ends not traced.
        "mixing resistor" => also(&["grid leak"]),
        // The grid's charge leaves through it, whatever else it does.
        "grid leak" => also(&["input leak", "oscillator resistor"]),
        // A kind of it.
        "volume control" => also(&["reverb control", "depth control"]),
        "tone control" => also(&["treble control", "bass control", "middle control"]),
        "tone capacitor" => also(&["bass capacitor", "middle capacitor"]),
        "tone resistor" => also(&["middle resistor"]),
        "filter capacitor" => also(&["reservoir"]),
        "dropping resistor" => also(&["standby bypass resistor", "balance resistor"]),
        // A plate's only resistor, to a point where the tracing ends.
        "plate load" => also(&["slope resistor"]),
        "rectifier series resistor" => also(&["back-bias resistor"]),
        "output transformer" => also(&["driver transformer"]),
        // The first capacitor after the rectifier, as far as that is traced.
        "reservoir" => also(&["filter capacitor"]),
        // A foot switch on a ladder that is cut looks like an input in every respect.
        "input leak" => also(&["oscillator resistor"]),
        _ => false,
    };
    !general
}

/// Every role that half a tracing says and the whole does not.
fn slips(lines: &[&str], kept: &[bool], truth: &Roles) -> Vec<String> {
    let text: String = lines
        .iter()
        .zip(kept)
        .filter(|(_, k)| **k)
        .map(|(l, _)| format!("{l}\n"))
        .collect();
    let mut out = Vec::new();
    for (part, roles) in roles_of(&text) {
        let Some(whole) = truth.get(&part) else {
            continue;
        };
        for role in roles {
            if wrong(&role, whole) {
                out.push(format!("{part} is said to be {role}, is {whole:?}"));
            }
        }
    }
    out
}

/// Every written case and every example.
fn texts() -> Vec<(String, String)> {
    let mut texts: Vec<(String, String)> = all_cases()
        .into_iter()
        .map(|c| (c.name, c.wiring))
        .collect();
    texts.extend(
        EXAMPLES
            .iter()
            .map(|(n, w, _)| ((*n).to_owned(), (*w).to_owned())),
    );
    texts
}

/// Walks may go missing; descriptions stay, as they do on a bench.
fn is_walk(line: &str) -> bool {
    line.contains(" - ")
}

/// Without optimisation only every seventh line, to keep the wait short.
#[test]
fn one_missing_line_makes_no_role_wrong() {
    let mut all: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for (name, text) in &texts() {
        let truth = roles_of(text);
        let lines: Vec<&str> = text.lines().collect();
        for cut in (0..lines.len()).step_by(if cfg!(debug_assertions) { 7 } else { 1 }) {
            if !is_walk(lines[cut]) {
                continue;
            }
            let kept: Vec<bool> = (0..lines.len()).map(|i| i != cut).collect();
            for slip in slips(&lines, &kept, &truth) {
                all.entry(format!("{name}: {slip}"))
                    .or_default()
                    .insert(lines[cut].to_owned());
            }
        }
    }
    assert!(all.is_empty(), "{} slips\n{all:#?}", all.len());
}

/// Uniform in 0 to 1. Xorshift64*: G. Marsaglia, Xorshift RNGs, Journal of Statistical Software,
/// 2003 (from memory, not seen).
fn random(state: &mut u64) -> f64 {
    *state ^= *state >> 12;
    *state ^= *state << 25;
    *state ^= *state >> 27;
    (state.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11) as f64 / (1_u64 << 53) as f64
}

/// Any share of the walks of any wiring.
#[test]
fn no_half_tracing_makes_a_role_wrong() {
    let rounds: u64 = if std::env::var_os("TUBEWRIGHT_LONG").is_some() {
        200
    } else {
        6
    };
    let texts = texts();
    let mut wrong: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for seed in 1..=rounds {
        let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15);
        for (name, text) in &texts {
            let truth = roles_of(text);
            let lines: Vec<&str> = text.lines().collect();
            let share = 0.1 + 0.85 * random(&mut state);
            let kept: Vec<bool> = lines
                .iter()
                .map(|l| !is_walk(l) || random(&mut state) < share)
                .collect();
            for slip in slips(&lines, &kept, &truth) {
                let left: Vec<&str> = lines
                    .iter()
                    .zip(&kept)
                    .filter(|(_, k)| **k)
                    .map(|(l, _)| *l)
                    .collect();
                wrong
                    .entry(format!("{name}: {slip}"))
                    .or_default()
                    .insert(left.join("\n"));
            }
        }
    }
    assert!(
        wrong.is_empty(),
        "{} slips in {rounds} rounds\n{wrong:#?}",
        wrong.len()
    );
}

/// Ten thousand parts in a row, in a star and in stages: an answer, and every part of it placed or listed.
#[test]
fn ten_thousand_parts_are_taken() {
    use std::fmt::Write;
    let (mut chain, mut star, mut stages) = (String::new(), String::new(), String::new());
    for i in 1..=5_000 {
        writeln!(
            chain,
            "n{i} - R{i} 1k - n{}\nn{i} - +C{i} 8u 450V - ground",
            i + 1
        )
        .unwrap();
        writeln!(star, "B1 - R{i} 100k - n{i}\nn{i} - C{i} 22n - ground").unwrap();
    }
    writeln!(chain, "V1 12AX7\nV1.1 - R9999 100k - n5000").unwrap();
    for i in 1..=1_000 {
        writeln!(stages, "V{i} 12AX7\nV{i}.1 - R{i} 100k - B1\nV{i}.3 - R{} 1k5 - ground\nV{i}.2 - R{} 1M - ground\nV{i}.1 - C{i} 22n - V{}.2", 1000 + i, 2000 + i, i + 1).unwrap();
    }
    for text in [chain, star, stages] {
        let circuit = wiring::read_one(&text).circuit;
        let found = anatomy(&circuit);
        assert_eq!(found.roles.len(), circuit.parts.len());
        let placed = found.roles.iter().filter(|r| !r.is_empty()).count();
        let wired = circuit
            .parts
            .iter()
            .filter(|p| p.terminals.iter().any(|t| t.node.is_some()))
            .count();
        assert_eq!(placed + found.unplaced.len(), wired);
    }
}
