//! Does the traced circuit make sense? Checks that run before any solving.
//!
//! Each finding names its place, says what is odd in a sentence, and what to do. A loose end is
//! not a fault: where the way to a supply or to ground simply is not traced yet, the check stays
//! silent. Common practice, no source, unless a check names one.
//!
//! A wired internal-connection pin is told by the reader already (`internal-pin`).
//!
//! Knows the wiring, its blocks and roles, and data sheets. Solves nothing, reads no meter.

mod mains;
mod paths;
mod sockets;
mod supplies;
mod values;

use crate::rules::Gravity;
use serde::Serialize;
use wiring::roles::{Anatomy, anatomy};
use wiring::sheet::Library;
use wiring::{Circuit, PartId};

/// Something about the wiring that does not make sense.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Finding {
    /// Stable kebab-case code.
    pub code: &'static str,
    /// How much it matters; `Stop` means: do not energise.
    pub gravity: Gravity,
    /// Points or parts it is about, as the technician names them.
    pub at: Vec<String>,
    /// What is odd.
    pub message: String,
    /// What to do.
    pub advice: String,
}

/// What all checks look at.
struct Look<'a> {
    circuit: &'a Circuit,
    library: &'a Library,
    anatomy: &'a Anatomy,
    paths: paths::Paths<'a>,
    found: Vec<Finding>,
}

/// All findings, the gravest first, then in the order of the parts.
#[must_use]
pub fn sanity(circuit: &Circuit, library: &Library) -> Vec<Finding> {
    let anatomy = anatomy(circuit);
    sanity_of(circuit, library, &anatomy)
}

/// The same, for a caller that already has the blocks and roles.
#[must_use]
pub fn sanity_of(circuit: &Circuit, library: &Library, anatomy: &Anatomy) -> Vec<Finding> {
    let mut look = Look {
        circuit,
        library,
        anatomy,
        paths: paths::Paths::of(circuit),
        found: Vec::new(),
    };
    mains::check(&mut look);
    sockets::check(&mut look);
    supplies::check(&mut look);
    values::check(&mut look);
    let mut found = look.found;
    found.sort_by_key(|f| std::cmp::Reverse(f.gravity));
    found
}

impl Look<'_> {
    fn add(
        &mut self,
        code: &'static str,
        gravity: Gravity,
        at: Vec<String>,
        message: String,
        advice: &str,
    ) {
        self.found.push(Finding {
            code,
            gravity,
            at,
            message,
            advice: advice.to_owned(),
        });
    }

    fn name(&self, part: PartId) -> &str {
        self.circuit
            .parts
            .get(part.0)
            .map_or("", |p| p.name.as_str())
    }
}

#[cfg(test)]
mod tests;
