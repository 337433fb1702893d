//! The mains fuse for the current that was worked out.

use super::Work;
use crate::fuse::{Marking, Pace, Proposal, families, proposal};
use serde::Serialize;
use wiring::circuit::Kind;
use wiring::roles::Role;

/// What to fit in the mains lead.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MainsFuse {
    /// Rms amperes at rest that it was sized from: those at the highest mains.
    pub amps: f64,
    /// The marking that it keeps to, in words.
    pub marking: Option<String>,
    /// One for each family of fuse-links that has one.
    pub links: Vec<Link>,
}

/// A fuse-link to fit.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Link {
    /// The standard of its family.
    pub standard: String,
    /// As it is marked: `T1A`.
    pub words: String,
    /// Its rating.
    pub amps: f64,
    /// Why this one.
    pub why: String,
    /// How long it carries what, in words.
    pub times: String,
}

/// The smallest marking of the mains fuses in the wiring.
fn written(work: &Work<'_>) -> Option<Marking> {
    let circuit = work.circuit;
    circuit
        .parts
        .iter()
        .enumerate()
        .filter(|(i, _)| work.has_role(*i, Role::MainsFuse))
        .filter_map(|(_, p)| match p.kind {
            Kind::Fuse {
                amps: Some(amps),
                slow,
            } if amps > 0.0 && amps.is_finite() => Some(Marking {
                text: format!("{amps} A {}", if slow { "slow" } else { "quick" }),
                amps,
                family: None,
                pace: Some(if slow { Pace::TimeLag } else { Pace::Quick }),
            }),
            _ => None,
        })
        .min_by(|a, b| a.amps.total_cmp(&b.amps))
}

pub(super) fn mains_fuse(
    work: &Work<'_>,
    mains_volts: Option<f64>,
    typed: Option<&Marking>,
) -> Option<MainsFuse> {
    let amps = super::mains_amps(work.surge.warm.as_ref())
        .or_else(|| super::mains_amps(work.now.as_ref()))?;
    let written = written(work);
    // Of what is typed and what is written the smaller counts.
    let marking = match (typed, written.as_ref()) {
        (Some(a), Some(b)) if b.amps < a.amps => Some(b),
        (Some(a), _) => Some(a),
        (None, b) => b,
    };
    let links = families()
        .iter()
        .filter_map(|family| proposal(family, amps, mains_volts, marking))
        .map(link)
        .collect();
    Some(MainsFuse {
        amps,
        marking: marking.map(|m| m.text.clone()),
        links,
    })
}

fn link(p: Proposal) -> Link {
    let law = p.family.law(p.pace, p.amps);
    let times: Vec<String> = law
        .iter()
        .flat_map(|l| &l.points)
        .map(|point| {
            let amps = crate::sheet::Figure::new(p.amps * point.times, "A");
            let seconds = |s: f64| crate::sheet::Figure::new(s, "s").to_string();
            match (point.at_least_s, point.at_most_s) {
                (Some(least), Some(most)) => {
                    format!("opens at {amps} in {} to {}", seconds(least), seconds(most))
                }
                (Some(least), None) => format!("carries {amps} for {}", seconds(least)),
                (None, Some(most)) => format!("opens at {amps} within {}", seconds(most)),
                (None, None) => String::new(),
            }
        })
        .filter(|t| !t.is_empty())
        .collect();
    let times = if times.is_empty() {
        String::new()
    } else {
        format!("It {}.", times.join(", "))
    };
    Link {
        standard: p.family.standard.clone(),
        words: p.words(),
        amps: p.amps,
        why: p.why,
        times,
    }
}
