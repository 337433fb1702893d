//! What is heard and seen, from free text to symptoms of the dictionary.

use super::{Fault, Faults};
use serde::{Deserialize, Serialize};

/// Words that stand for a symptom.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Symptom {
    /// Its name.
    pub id: String,
    /// Any of these in a line.
    pub words: Vec<String>,
    /// None of these in it.
    #[serde(default)]
    pub without: Vec<String>,
    /// Factor on the prior of a fault that has this symptom.
    pub times: f64,
    /// Where it comes from.
    pub source: String,
}

impl Symptom {
    /// Does this line tell of it? Letters' case does not matter.
    #[must_use]
    pub fn is_in(&self, line: &str) -> bool {
        let line = line.to_lowercase();
        let negated = |word: &String| {
            line.contains(&format!("no {word}")) || line.contains(&format!("not {word}"))
        };
        self.words.iter().any(|w| line.contains(w) && !negated(w))
            && !self.without.iter().any(|w| line.contains(w))
    }
}

impl Faults {
    /// The symptoms that these lines tell of, in the dictionary's order.
    #[must_use]
    pub fn symptoms_in<'a>(&'a self, lines: &[String]) -> Vec<&'a Symptom> {
        let told = |s: &&Symptom| lines.iter().any(|l| s.is_in(l));
        self.symptoms.iter().filter(told).collect()
    }

    /// Factor on a fault's prior for what was heard and seen: the strongest symptom counts, so
    /// that three words for one thing are one piece of evidence.
    #[must_use]
    pub fn times(fault: &Fault, told: &[&Symptom]) -> f64 {
        let of = told.iter().filter(|s| fault.symptoms.contains(&s.id));
        of.fold(1.0, |most, s| f64::max(most, s.times))
    }
}
