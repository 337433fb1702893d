//! Reading the written cases, and saying in words what the recogniser found.

#![allow(dead_code, reason = "each test file uses a part of it")]

use std::collections::BTreeMap;
use wiring::roles::Anatomy;
use wiring::{Circuit, PartId};

/// A wiring above the line, what each part is below it.
pub(crate) struct Case {
    pub(crate) name: String,
    pub(crate) wiring: String,
    pub(crate) expect: Vec<String>,
}

/// Every file of cases.
pub(crate) const TOPICS: &[(&str, &str)] = &[
    ("inputs", include_str!("inputs.case")),
    ("stages", include_str!("stages.case")),
    ("volume", include_str!("volume.case")),
    ("tone", include_str!("tone.case")),
    ("branches", include_str!("branches.case")),
    ("inverters", include_str!("inverters.case")),
    ("output", include_str!("output.case")),
    ("damping", include_str!("damping.case")),
    ("feedback", include_str!("feedback.case")),
    ("tremolo", include_str!("tremolo.case")),
    ("vibrato", include_str!("vibrato.case")),
    ("reverb", include_str!("reverb.case")),
    ("supplies", include_str!("supplies.case")),
    ("bias", include_str!("bias.case")),
    ("heaters", include_str!("heaters.case")),
    ("mains", include_str!("mains.case")),
];

/// The three examples with their truth files.
pub(crate) const EXAMPLES: &[(&str, &str, &str)] = &[
    (
        "pip",
        include_str!("../../../../examples/pip.wiring"),
        include_str!("pip.truth"),
    ),
    (
        "curlew",
        include_str!("../../../../examples/curlew.wiring"),
        include_str!("curlew.truth"),
    ),
    (
        "turnstone",
        include_str!("../../../../examples/turnstone.wiring"),
        include_str!("turnstone.truth"),
    ),
];

pub(crate) fn cases(text: &str) -> Vec<Case> {
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

pub(crate) fn all_cases() -> Vec<Case> {
    TOPICS.iter().flat_map(|(_, text)| cases(text)).collect()
}

pub(crate) fn read(text: &str) -> Circuit {
    let read = wiring::read_one(text);
    let errors: Vec<_> = read
        .problems
        .iter()
        .filter(|d| d.severity == wiring::Severity::Error)
        .collect();
    assert!(errors.is_empty(), "{text}\n{errors:#?}");
    read.circuit
}

pub(crate) fn section_name(circuit: &Circuit, part: PartId, section: Option<char>) -> String {
    let mut name = circuit.parts[part.0].name.clone();
    name.extend(section);
    name
}

/// One block in words: kind, forms, sections.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct SaidBlock {
    pub(crate) kind: String,
    pub(crate) forms: Vec<String>,
    pub(crate) sections: Vec<String>,
}

/// Blocks, and each part's roles, in words.
pub(crate) type Said = (Vec<SaidBlock>, BTreeMap<String, Vec<String>>);

/// What the anatomy says, in the words of the cases.
pub(crate) fn said(circuit: &Circuit, found: &Anatomy) -> Said {
    let mut blocks: Vec<SaidBlock> = found
        .blocks
        .iter()
        .map(|b| {
            let mut sections: Vec<String> = b
                .sections
                .iter()
                .map(|s| section_name(circuit, s.part, s.section))
                .collect();
            sections.sort();
            let mut forms: Vec<String> = b.forms.iter().map(|f| f.words().to_owned()).collect();
            forms.sort();
            SaidBlock {
                kind: b.kind.words().to_owned(),
                forms,
                sections,
            }
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
