//! Blocks and roles held against written cases: a wiring above the line, what each part is below it.
//!
//! `has KIND V1a V1b` asks for a block of that kind with exactly these sections (or any, when none
//! is given); `R4 = plate load` asks for that role. Every case is also tried with its parts renamed,
//! its lines shuffled and its nodes renamed: the answer must stay the same.

use std::collections::BTreeMap;
use wiring::roles::{Anatomy, anatomy};
use wiring::{Circuit, PartId};

struct Case {
    name: String,
    wiring: String,
    expect: Vec<String>,
}

fn cases(text: &str) -> Vec<Case> {
    text.split("==== ")
        .skip(1)
        .map(|chunk| {
            let (name, rest) = chunk.split_once('\n').expect("a name line");
            let (wiring, expect) = rest.split_once("----\n").expect("a line of dashes");
            Case {
                name: name.to_owned(),
                wiring: wiring.to_owned(),
                expect: expect
                    .lines()
                    .filter(|l| !l.trim().is_empty())
                    .map(str::to_owned)
                    .collect(),
            }
        })
        .collect()
}

fn read(text: &str) -> Circuit {
    let read = wiring::read_one(text);
    let errors: Vec<_> = read
        .problems
        .iter()
        .filter(|d| d.severity == wiring::Severity::Error)
        .collect();
    assert!(errors.is_empty(), "{text}\n{errors:#?}");
    read.circuit
}

fn section_name(circuit: &Circuit, part: PartId, section: Option<char>) -> String {
    let mut name = circuit.parts[part.0].name.clone();
    name.extend(section);
    name
}

/// Blocks with their sections, and each part's roles, in words.
type Said = (Vec<(String, Vec<String>)>, BTreeMap<String, Vec<String>>);

/// What the anatomy says, in the words of the cases.
fn said(circuit: &Circuit, found: &Anatomy) -> Said {
    let mut blocks: Vec<(String, Vec<String>)> = found
        .blocks
        .iter()
        .map(|b| {
            let mut names: Vec<String> = b
                .sections
                .iter()
                .map(|s| section_name(circuit, s.part, s.section))
                .collect();
            names.sort();
            (b.kind.words().to_owned(), names)
        })
        .collect();
    blocks.sort();
    let roles = circuit
        .parts
        .iter()
        .enumerate()
        .map(|(i, p)| {
            let mut words: Vec<String> = found.roles[i]
                .iter()
                .map(|r| r.role.words().to_owned())
                .collect();
            words.sort();
            words.dedup();
            (p.name.clone(), words)
        })
        .collect();
    (blocks, roles)
}

fn check(case: &Case, wrong: &mut Vec<String>) {
    let circuit = read(&case.wiring);
    let found = anatomy(&circuit);
    let (blocks, roles) = said(&circuit, &found);
    let before = wrong.len();
    for line in &case.expect {
        if let Some(rest) = line.strip_prefix("has ") {
            let words: Vec<&str> = rest.split_whitespace().collect();
            let cut = words
                .iter()
                .position(|w| {
                    w.starts_with('V') && w[1..].starts_with(|c: char| c.is_ascii_digit())
                })
                .unwrap_or(words.len());
            let kind = words[..cut].join(" ");
            let mut valves: Vec<String> = words[cut..].iter().map(|w| (*w).to_owned()).collect();
            valves.sort();
            let there = blocks
                .iter()
                .any(|(k, v)| *k == kind && (valves.is_empty() || *v == valves));
            if !there {
                wrong.push(format!("{}: no {rest}; blocks {blocks:?}", case.name));
            }
        } else {
            let (part, role) = line.split_once(" = ").expect("PART = role");
            let has = roles
                .get(part)
                .unwrap_or_else(|| panic!("{}: no part {part}", case.name));
            if !has.iter().any(|r| r == role) {
                wrong.push(format!("{}: {part} is {has:?}, not {role}", case.name));
            }
        }
    }
    if wrong.len() == before {
        stays_the_same(case, &circuit, &found, wrong);
    }
}

/// Shuffled lines and other node and part names change nothing.
fn stays_the_same(case: &Case, circuit: &Circuit, found: &Anatomy, wrong: &mut Vec<String>) {
    let (blocks, roles) = said(circuit, found);
    let mut lines: Vec<&str> = case.wiring.lines().collect();
    // A fixed shuffle: every third line first, then backwards.
    let mut shuffled: Vec<&str> = Vec::new();
    for k in 0..3 {
        shuffled.extend(lines.iter().skip(k).step_by(3));
    }
    lines.reverse();
    for text in [shuffled.join("\n"), lines.join("\n")] {
        let other = read(&text);
        let (b, r) = said(&other, &anatomy(&other));
        if b != blocks || r != roles {
            wrong.push(format!(
                "{}: another answer when shuffled\n  {blocks:?}\n  {b:?}",
                case.name
            ));
        }
    }
    // Bare points get other names, and resistors and capacitors other numbers.
    let mut renamed = circuit.clone();
    for (i, node) in renamed.nodes.iter_mut().enumerate() {
        for name in &mut node.names {
            let fixed = ["ground", "chassis", "earth", "live", "neutral"].contains(&name.as_str());
            let rail = name.starts_with('B') || name.starts_with("HT") || name == "bias";
            if !fixed && !rail {
                *name = format!("q{i}");
            }
        }
    }
    for (i, part) in renamed.parts.iter_mut().enumerate() {
        if part.name.starts_with(['R', 'C', 'L', 'D']) && part.parent.is_none() {
            part.name = format!("{}{}", &part.name[..1], 900 + i);
        }
    }
    let (b, _) = said(&renamed, &anatomy(&renamed));
    if b != blocks {
        wrong.push(format!("{}: another answer when renamed", case.name));
    }
}

fn run(text: &str) {
    let mut wrong = Vec::new();
    let all = cases(text);
    for case in &all {
        check(case, &mut wrong);
    }
    assert!(
        wrong.is_empty(),
        "{} of {} cases\n{}",
        wrong.len(),
        all.len(),
        wrong.join("\n")
    );
}

macro_rules! topic {
    ($($name:ident),*) => { $(
        #[test]
        fn $name() { run(include_str!(concat!("roles/", stringify!($name), ".case"))); }
    )* };
}
topic!(stages, inverters, output, tone, inputs, effects, supplies);

/// The three example amplifiers, part by part: each line of a truth file was checked by eye
/// against the wiring and the textbook patterns.
#[test]
fn every_part_of_the_examples_has_its_role() {
    for (name, wiring, truth) in [
        (
            "pip",
            include_str!("../../../examples/pip.wiring"),
            include_str!("roles/pip.truth"),
        ),
        (
            "curlew",
            include_str!("../../../examples/curlew.wiring"),
            include_str!("roles/curlew.truth"),
        ),
        (
            "turnstone",
            include_str!("../../../examples/turnstone.wiring"),
            include_str!("roles/turnstone.truth"),
        ),
    ] {
        let circuit = read(wiring);
        let found = anatomy(&circuit);
        let (blocks, roles) = said(&circuit, &found);
        let mut is: Vec<String> = blocks
            .iter()
            .map(|(k, v)| format!("has {k} {}", v.join(" ")).trim_end().to_owned())
            .collect();
        is.extend(
            roles
                .iter()
                .map(|(p, r)| format!("{p} = {}", r.join(", ")).trim_end().to_owned()),
        );
        let mut should: Vec<String> = truth
            .lines()
            .filter(|l| !l.starts_with('#') && !l.is_empty())
            .map(str::to_owned)
            .collect();
        is.sort();
        should.sort();
        assert_eq!(is, should, "{name}");
        let case = Case {
            name: name.to_owned(),
            wiring: wiring.to_owned(),
            expect: Vec::new(),
        };
        let mut wrong = Vec::new();
        stays_the_same(&case, &circuit, &found, &mut wrong);
        assert!(wrong.is_empty(), "{wrong:#?}");
    }
}

/// Every snippet reads without a slip, and given to a host with the same names it gets free ones.
#[test]
fn snippets_read_and_take_free_names() {
    use wiring::snippet::{SNIPPETS, fill, find, names_in, nearest};
    assert!(SNIPPETS.len() >= 22);
    for s in SNIPPETS {
        let alone = wiring::read_one(s.text);
        let errors: Vec<_> = alone
            .problems
            .iter()
            .filter(|d| d.severity != wiring::Severity::Note)
            .collect();
        assert!(errors.is_empty(), "{}: {errors:#?}", s.name);
        assert!(s.about().ends_with('.'), "{}", s.name);
        let used = names_in(&alone.circuit);
        let filled = fill(*s, &used);
        let again = wiring::read_one(&filled);
        let shared = [
            "ground", "chassis", "earth", "live", "neutral", "bias", "B0", "B1", "B2", "B3",
        ];
        for name in names_in(&again.circuit) {
            assert!(
                !used.contains(&name) || shared.contains(&name.as_str()),
                "{}: {name} is taken\n{filled}",
                s.name
            );
        }
        // The same circuit under other names.
        let (a, b) = (anatomy(&alone.circuit), anatomy(&again.circuit));
        let kinds = |x: &Anatomy| {
            x.blocks
                .iter()
                .map(|b| b.kind.words())
                .collect::<std::collections::BTreeSet<_>>()
        };
        assert_eq!(kinds(&a), kinds(&b), "{}", s.name);
        // Dropped in, it stays apart from the host.
        let joined = wiring::read_one(&format!("{}\n{filled}", s.text));
        assert!(
            !joined
                .problems
                .iter()
                .any(|d| d.severity == wiring::Severity::Error),
            "{}: {:#?}",
            s.name,
            joined.problems
        );
        assert_eq!(
            joined.circuit.parts.len(),
            2 * alone.circuit.parts.len(),
            "{}",
            s.name
        );
    }
    assert!(find("no such thing").is_none());
    assert!(nearest("tremolo").iter().all(|n| n.starts_with("tremolo")));
}

/// Half a tracing: with any one line missing, or all lines after it, there is an answer, and no
/// part gets a block that lost the valve or transformer it is anchored at.
#[test]
fn any_half_of_an_example_is_taken_as_it_is() {
    for wiring in [
        include_str!("../../../examples/pip.wiring"),
        include_str!("../../../examples/curlew.wiring"),
        include_str!("../../../examples/turnstone.wiring"),
    ] {
        let lines: Vec<&str> = wiring.lines().collect();
        let mut placed_at_the_end = 0;
        for cut in 0..lines.len() {
            let without: Vec<&str> = lines
                .iter()
                .enumerate()
                .filter(|(i, _)| *i != cut)
                .map(|(_, l)| *l)
                .collect();
            for text in [lines[..cut].join("\n"), without.join("\n")] {
                let circuit = wiring::read_one(&text).circuit;
                let found = anatomy(&circuit);
                assert_eq!(found.roles.len(), circuit.parts.len());
                for b in &found.blocks {
                    assert!(!b.parts.is_empty());
                    for (p, _) in &b.parts {
                        assert!(
                            circuit.parts[p.0]
                                .terminals
                                .iter()
                                .any(|t| t.node.is_some())
                                || circuit.parts[p.0].terminals.is_empty(),
                            "{} is not wired",
                            circuit.parts[p.0].name
                        );
                    }
                }
                placed_at_the_end = found.roles.iter().filter(|r| !r.is_empty()).count();
            }
        }
        assert!(placed_at_the_end > 40);
    }
}
