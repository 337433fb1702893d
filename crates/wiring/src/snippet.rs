//! Ready pieces of circuit with free designators, so that nobody starts from an empty page.
//!
//! A snippet is a small wiring of the common kind (ranges of the textbooks, nobody's product).
//! [`fill`] gives it names that are not used yet in the wiring it will be dropped into. Rails
//! (`B1`), ground and the mains keep their names, because they are meant to join.

use crate::circuit::Circuit;
use std::collections::{BTreeMap, BTreeSet};

/// One snippet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Snippet {
    /// Its name, as typed after `snippet`.
    pub name: &'static str,
    /// The text, a comment line first.
    pub text: &'static str,
}

macro_rules! snippets {
    ($($name:literal),* $(,)?) => {
        /// All snippets, in the order of the signal, then the supplies.
        pub const SNIPPETS: &[Snippet] = &[
            $(Snippet { name: $name, text: include_str!(concat!("../data/snippets/", $name, ".wiring")) },)*
        ];
    };
}

snippets![
    "input-pair",
    "common-cathode",
    "shared-cathode",
    "grid-leak-bias",
    "pentode",
    "cathode-follower",
    "volume-bright",
    "tone-two-knob",
    "tone-three-knob",
    "tone-single",
    "tone-bridge",
    "mixer",
    "long-tailed-pair",
    "cathodyne",
    "paraphase",
    "single-ended",
    "single-ended-fixed-bias",
    "push-pull-cathode-bias",
    "push-pull-fixed-bias",
    "feedback-presence",
    "tremolo-oscillator",
    "tremolo-oscillator-lag",
    "tremolo-on-bias",
    "tremolo-optical",
    "reverb-drive",
    "reverb-recovery",
    "supply-valve",
    "supply-silicon",
    "supply-bridge",
    "bias-winding",
    "bias-from-ht",
    "heater-two-resistors",
    "heater-hum-control",
    "heater-raised",
];

impl Snippet {
    /// What it is, in one sentence.
    #[must_use]
    pub fn about(&self) -> &'static str {
        self.text
            .lines()
            .next()
            .map_or("", |l| l.trim_start_matches('#').trim())
    }
}

/// The snippet of this name.
#[must_use]
pub fn find(name: &str) -> Option<Snippet> {
    SNIPPETS
        .iter()
        .copied()
        .find(|s| s.name.eq_ignore_ascii_case(name))
}

/// The nearest names, best first, for a name that is none.
#[must_use]
pub fn nearest(name: &str) -> Vec<&'static str> {
    let wanted = name.to_lowercase();
    let mut scored: Vec<(f64, &'static str)> = SNIPPETS
        .iter()
        .map(|s| {
            let bonus = if s.name.contains(&wanted) { 0.5 } else { 0.0 };
            (strsim::jaro_winkler(&wanted, s.name) + bonus, s.name)
        })
        .collect();
    scored.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(b.1)));
    scored.into_iter().take(3).map(|(_, n)| n).collect()
}

/// Every name that a circuit already uses, for parts and points alike.
#[must_use]
pub fn names_in(circuit: &Circuit) -> BTreeSet<String> {
    let mut used: BTreeSet<String> = circuit
        .nodes
        .iter()
        .flat_map(|n| n.names.iter().cloned())
        .collect();
    for part in &circuit.parts {
        used.insert(part.name.clone());
        used.extend(part.parent.clone());
        if let crate::Kind::Cell { lamp, .. } = &part.kind {
            used.insert(lamp.clone());
        }
    }
    used
}

/// The snippet's text with names that are not in `used`.
///
/// Parts of a class get the next free numbers of that class; controls and points that are taken
/// get a number behind their name. Names that are free stay as they are.
#[must_use]
pub fn fill(snippet: Snippet, used: &BTreeSet<String>) -> String {
    let mut given: BTreeMap<String, String> = BTreeMap::new();
    let mut taken = used.clone();
    let own = words(snippet.text);
    for word in &own {
        if given.contains_key(word) || stays(word) {
            continue;
        }
        let name = if taken.contains(word)
            || own_number(word).is_some_and(|(class, _)| crowded(class, used))
        {
            free(word, &taken)
        } else {
            word.clone()
        };
        taken.insert(name.clone());
        given.insert(word.clone(), name);
    }
    let mut out = String::new();
    for line in snippet.text.lines() {
        if line.starts_with('#') {
            out.push_str(line);
        } else {
            out.push_str(&replace(line, &given));
        }
        out.push('\n');
    }
    out
}

/// Once one number of a class is taken by the host, all of the snippet's follow on behind it,
/// so that its parts stand together.
fn crowded(class: &str, used: &BTreeSet<String>) -> bool {
    used.iter()
        .any(|u| own_number(u).is_some_and(|(c, _)| c == class))
}

/// Rails and the common points are meant to join.
fn stays(word: &str) -> bool {
    matches!(
        word,
        "ground" | "chassis" | "earth" | "live" | "neutral" | "bias"
    ) || word
        .strip_prefix('B')
        .is_some_and(|r| !r.is_empty() && r.chars().all(|c| c.is_ascii_digit()))
}

/// Class letters and number of a part's name.
fn own_number(word: &str) -> Option<(&str, usize)> {
    let cut = word.find(|c: char| c.is_ascii_digit())?;
    let (class, number) = word.split_at(cut);
    let known = [
        "R", "C", "L", "D", "DS", "F", "S", "J", "V", "T", "DL", "LS",
    ];
    (known.contains(&class))
        .then(|| number.parse().ok().map(|n| (class, n)))
        .flatten()
}

fn free(word: &str, taken: &BTreeSet<String>) -> String {
    if let Some((class, _)) = own_number(word) {
        let most = taken
            .iter()
            .filter_map(|t| own_number(t))
            .filter(|(c, _)| *c == class)
            .map(|(_, n)| n)
            .max()
            .unwrap_or(0);
        return format!("{class}{}", most + 1);
    }
    (2..)
        .map(|n| format!("{word}{n}"))
        .find(|n| !taken.contains(n))
        .unwrap_or_else(|| word.to_owned())
}

/// Every part and point name in the text, in order, without the terminal after the dot.
fn words(text: &str) -> Vec<String> {
    let mut all = Vec::new();
    for line in text.lines().filter(|l| !l.starts_with('#')) {
        for (start, end) in names(line) {
            all.push(line[start..end].to_owned());
        }
    }
    all
}

fn replace(line: &str, given: &BTreeMap<String, String>) -> String {
    let mut out = String::new();
    let mut at = 0;
    for (start, end) in names(line) {
        out.push_str(&line[at..start]);
        let word = &line[start..end];
        out.push_str(given.get(word).map_or(word, String::as_str));
        at = end;
    }
    out.push_str(&line[at..]);
    out
}

/// Byte ranges of names: the first word of each stop, and the lamp after `cell of`.
fn names(line: &str) -> Vec<(usize, usize)> {
    let mut found = Vec::new();
    let mut fresh = true;
    let mut after_of = false;
    let mut at = 0;
    for word in line.split(' ') {
        let start = at;
        at += word.len() + 1;
        match word {
            "-" | "[" | "|" | "]" => {
                fresh = true;
                continue;
            }
            "" => continue,
            _ => {}
        }
        if fresh || after_of {
            let inner = word
                .trim_start_matches(['[', '+'])
                .trim_end_matches([']', '+', '>', '<']);
            let skip = word.find(inner).unwrap_or(0);
            let stem = inner.split('.').next().unwrap_or(inner);
            if stem.starts_with(|c: char| c.is_ascii_alphabetic()) {
                found.push((start + skip, start + skip + stem.len()));
            }
        }
        after_of = word == "of";
        fresh = false;
    }
    found
}
