//! Blocks and roles held against written cases: a wiring above the line, what each part is below it.
//!
//! `has KIND V1a V1b` asks for a block of that kind with exactly these sections (or any, when none
//! is given); `R4 = plate load` asks for that role; `shows TOPOLOGY` says which entry of
//! `roles/topologies.toml` the wiring is a variant of. Every case is also tried with its parts
//! renamed, its lines shuffled and its nodes renamed: the answer must stay the same.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "the cases are the test's own"
)]

#[path = "roles/support.rs"]
mod support;

use serde::Deserialize;
use std::collections::BTreeSet;
use support::{Case, EXAMPLES, SaidBlock, TOPICS, all_cases, cases, read, said};
use wiring::Circuit;
use wiring::roles::{Anatomy, anatomy};

fn check(case: &Case, wrong: &mut Vec<String>) {
    let circuit = read(&case.wiring);
    let found = anatomy(&circuit);
    let (blocks, roles) = said(&circuit, &found);
    let before = wrong.len();
    for line in &case.expect {
        if line.starts_with("shows ") {
            continue;
        }
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
                .any(|b| b.kind == kind && (valves.is_empty() || b.sections == valves));
            if !there {
                wrong.push(format!("{}: no {rest}; blocks {blocks:#?}", case.name));
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
            let differ: Vec<_> = roles.iter().filter(|(p, w)| r.get(*p) != Some(w)).collect();
            wrong.push(format!(
                "{}: another answer when shuffled\n  {differ:?}\n  {blocks:?}\n  {b:?}",
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

#[test]
fn every_written_case_is_recognised() {
    let mut wrong = Vec::new();
    let mut count = 0;
    for (_, text) in TOPICS {
        for case in cases(text) {
            check(&case, &mut wrong);
            count += 1;
        }
    }
    assert!(
        wrong.is_empty(),
        "{} of {count} cases\n{}",
        wrong.len(),
        wrong.join("\n")
    );
}

#[derive(Deserialize)]
struct Topologies {
    least: usize,
    topology: Vec<Topology>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Topology {
    name: String,
    #[serde(default)]
    has: Vec<String>,
    #[serde(default)]
    without: Vec<String>,
    role: Option<String>,
}

/// `KIND`, `KIND: FORM`, either with ` x2`; `stage` stands for any kind that ends in it.
fn holds(blocks: &[SaidBlock], wanted: &str) -> bool {
    let (wanted, times) = match wanted.rsplit_once(" x") {
        Some((w, n)) if n.parse::<usize>().is_ok() => (w, n.parse().unwrap()),
        _ => (wanted, 1),
    };
    let (kind, form) = match wanted.split_once(": ") {
        Some((k, f)) => (k, Some(f)),
        None => (wanted, None),
    };
    let fits = |b: &&SaidBlock| {
        (b.kind == kind || kind.ends_with("stage") && b.kind.ends_with(&format!(" {kind}")))
            && form.is_none_or(|f| b.forms.iter().any(|g| g == f))
    };
    blocks.iter().filter(fits).count() >= times
}

/// Each topology of the list is recognised in at least `least` wirings that say they show it, and
/// those are not one wiring with other values.
#[test]
fn every_topology_is_recognised_in_enough_variants() {
    let list: Topologies = toml::from_str(include_str!("roles/topologies.toml")).unwrap();
    let all = all_cases();
    let names: BTreeSet<&str> = list.topology.iter().map(|t| t.name.as_str()).collect();
    assert_eq!(names.len(), list.topology.len(), "a name twice");
    assert!(list.least >= 3);
    let mut wrong = Vec::new();
    for case in &all {
        for line in &case.expect {
            if let Some(t) = line.strip_prefix("shows ")
                && !names.contains(t)
            {
                wrong.push(format!("{}: no topology {t}", case.name));
            }
        }
    }
    for t in &list.topology {
        let mut shapes = BTreeSet::new();
        for case in &all {
            if !case.expect.contains(&format!("shows {}", t.name)) {
                continue;
            }
            let circuit = read(&case.wiring);
            let (blocks, roles) = said(&circuit, &anatomy(&circuit));
            let has = t.has.iter().all(|w| holds(&blocks, w))
                && !t.without.iter().any(|w| holds(&blocks, w))
                && t.role
                    .as_ref()
                    .is_none_or(|r| roles.values().any(|all| all.contains(r)));
            if has {
                shapes.insert(shape(&circuit));
            } else {
                wrong.push(format!(
                    "{}: not recognised as {}; {blocks:#?}",
                    case.name, t.name
                ));
            }
        }
        if shapes.len() < list.least {
            wrong.push(format!("{}: {} variants", t.name, shapes.len()));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// What a wiring is made of, with valve types and values: two variants differ in it.
fn shape(circuit: &Circuit) -> Vec<String> {
    let mut all: Vec<String> = circuit
        .parts
        .iter()
        .map(|p| format!("{:?}", p.kind))
        .collect();
    all.sort();
    all
}

/// The three example amplifiers, part by part: each line of a truth file was checked by eye
/// against the wiring and the textbook patterns.
#[test]
fn every_part_of_the_examples_has_its_role() {
    for (name, wiring, truth) in EXAMPLES {
        let circuit = read(wiring);
        let found = anatomy(&circuit);
        let (blocks, roles) = said(&circuit, &found);
        let mut is: Vec<String> = blocks
            .iter()
            .map(|b| {
                let head = format!("has {} {}", b.kind, b.sections.join(" "));
                let forms = b.forms.join("; ");
                match (head.trim_end(), forms.as_str()) {
                    (head, "") => head.to_owned(),
                    (head, forms) => format!("{head}: {forms}"),
                }
            })
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
        let (missing, extra): (Vec<_>, Vec<_>) = (
            should.iter().filter(|l| !is.contains(l)).collect(),
            is.iter().filter(|l| !should.contains(l)).collect(),
        );
        assert!(
            missing.is_empty() && extra.is_empty() && is.len() == should.len(),
            "{name}: should be {missing:#?}, is {extra:#?}"
        );
        let case = Case {
            name: (*name).to_owned(),
            wiring: (*wiring).to_owned(),
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
