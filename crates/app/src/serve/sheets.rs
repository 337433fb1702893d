//! Which sheets each step has, for this amp: asked of the computing crates, never worked out here.

use super::record::{ANSWERS, COLD};
use super::run::Step;
use super::site::Site;
use super::work_out::{Found, MOST_PARTS};
use bench::Asked;
use bench::answers::Answers;
use bench::cold::{ColdRequest, cold};
use bench::heating::heating;
use bench::idle::idle;
use bench::inspect::inspect;
use bench::powerup::{PowerupRequest, plan};
use bench::proof::proof;
use bench::safety::safety;
use bench::sheet::Sheet;
use bench::supply::supply;

/// The name under which answers of a step's sheet are kept.
pub(crate) fn kept_as(step: Step) -> &'static str {
    match step {
        Step::Inspection => "inspection",
        Step::Cold => COLD,
        Step::PowerUp => "power-up",
        Step::Safety => "safety",
        Step::PlayTest => "proof",
        _ => "set-up",
    }
}

/// The sheets of a step.
pub(crate) fn of(step: Step, site: &Site, found: &Found) -> Vec<Sheet> {
    let circuit = &found.traced.circuit;
    let library = &site.library;
    if circuit.parts.len() > MOST_PARTS {
        return Vec::new();
    }
    let answers = Answers::of(circuit);
    let asked = Asked::default();
    match step {
        Step::Inspection => vec![inspect(circuit, library, None, &answers)],
        Step::Cold => {
            // what was written on this sheet; else what a readings block with the power off says
            let written = found.results.iter().any(|r| r.fields.sheet == COLD);
            let request = ColdRequest {
                block: written.then(|| ANSWERS.to_owned()),
                ..ColdRequest::default()
            };
            vec![cold(circuit, library, &request).sheet()]
        }
        Step::PowerUp => {
            let plan = plan(circuit, library, &PowerupRequest::default());
            vec![plan.sheet(circuit, &answers)]
        }
        Step::SetUp => vec![
            idle(circuit, library, &asked).sheet,
            heating(circuit, library, &asked).sheet,
            supply(circuit, library, &asked, None).sheet,
        ],
        Step::Safety => vec![safety(circuit, library, None, &answers)],
        Step::PlayTest => vec![proof(circuit, &answers, &[])],
        _ => Vec::new(),
    }
}
