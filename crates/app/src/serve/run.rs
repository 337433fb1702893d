//! The steps of a job, in the order of the work.
//!
//! One table: a page of its own for each, with the name that stands on the run. A step is *begun*
//! as soon as something was written in it, and *done* when the technician says so.

use shop::{Job, StepMark};
use std::collections::BTreeMap;

/// A step.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub(crate) enum Step {
    /// What came in.
    Intake,
    /// Looked at before power.
    Inspection,
    /// Ohms before power.
    Cold,
    /// First power.
    PowerUp,
    /// Following the wires.
    Tracing,
    /// Volts.
    Chart,
    /// A verdict for each part.
    Parts,
    /// What is done to it.
    Work,
    /// Bias, heaters, supply.
    SetUp,
    /// Mains and earth.
    Safety,
    /// Played and proved.
    PlayTest,
    /// Back to the owner.
    HandOver,
}

/// How far a step is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum StepState {
    /// Said to be done.
    Done,
    /// Something is written in it.
    Begun,
    /// Nothing yet.
    Open,
    /// Waits.
    Held,
}

impl Step {
    /// All, in order.
    pub(crate) const ALL: [Self; 12] = [
        Self::Intake,
        Self::Inspection,
        Self::Cold,
        Self::PowerUp,
        Self::Tracing,
        Self::Chart,
        Self::Parts,
        Self::Work,
        Self::SetUp,
        Self::Safety,
        Self::PlayTest,
        Self::HandOver,
    ];

    /// What stands on the run.
    pub(crate) fn name(self) -> &'static str {
        match self {
            Self::Intake => "Intake",
            Self::Inspection => "Inspection",
            Self::Cold => "Cold check",
            Self::PowerUp => "Power-up",
            Self::Tracing => "Tracing",
            Self::Chart => "Chart",
            Self::Parts => "Parts",
            Self::Work => "Work list",
            Self::SetUp => "Set-up",
            Self::Safety => "Safety",
            Self::PlayTest => "Play test",
            Self::HandOver => "Hand-over",
        }
    }

    /// In addresses and in the record.
    pub(crate) fn slug(self) -> &'static str {
        match self {
            Self::Intake => "intake",
            Self::Inspection => "inspection",
            Self::Cold => "cold",
            Self::PowerUp => "power-up",
            Self::Tracing => "tracing",
            Self::Chart => "chart",
            Self::Parts => "parts",
            Self::Work => "work",
            Self::SetUp => "set-up",
            Self::Safety => "safety",
            Self::PlayTest => "play-test",
            Self::HandOver => "hand-over",
        }
    }

    /// Of a word in the record; an unknown one is the intake.
    pub(crate) fn of(slug: &str) -> Self {
        Self::ALL
            .into_iter()
            .find(|s| s.slug() == slug)
            .unwrap_or(Self::Intake)
    }

    /// Place in the order.
    pub(crate) fn index(self) -> usize {
        Self::ALL.iter().position(|s| *s == self).unwrap_or(0)
    }

    /// The one before.
    pub(crate) fn before(self) -> Option<Self> {
        Self::ALL.get(self.index().checked_sub(1)?).copied()
    }

    /// The one after.
    pub(crate) fn after(self) -> Option<Self> {
        Self::ALL.get(self.index() + 1).copied()
    }

    /// Its page in a job.
    pub(crate) fn address(self, job: shop::JobId) -> String {
        format!("/job/{job}/{}", self.slug())
    }
}

impl StepState {
    /// In words, for screen readers.
    pub(crate) fn word(self) -> &'static str {
        match self {
            Self::Done => "done",
            Self::Begun => "begun",
            Self::Open => "open",
            Self::Held => "held",
        }
    }
}

/// The state of every step: what was marked, what has something in it, and the step at which a
/// held job is held.
pub(crate) fn states(
    job: &Job,
    marks: &BTreeMap<String, StepMark>,
    begun: impl Fn(Step) -> bool,
) -> [StepState; 12] {
    let at = Step::of(&job.step);
    Step::ALL.map(|step| {
        let mark = marks.get(step.slug()).map(|m| m.state);
        if job.closed_at.is_none() && step == at && job.waits_for.holds() {
            return StepState::Held;
        }
        match mark {
            Some(shop::StepState::Done) => StepState::Done,
            Some(shop::StepState::Held) => StepState::Held,
            Some(shop::StepState::Open) | None => {
                if begun(step) {
                    StepState::Begun
                } else {
                    StepState::Open
                }
            }
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_follow_each_other_and_keep_their_names() {
        for (i, step) in Step::ALL.into_iter().enumerate() {
            assert_eq!(step.index(), i);
            assert_eq!(Step::of(step.slug()), step);
            assert_eq!(
                step.after().and_then(Step::before),
                step.after().map(|_| step)
            );
        }
        assert_eq!(Step::of("no such step"), Step::Intake);
        assert_eq!(Step::Intake.before(), None);
        assert_eq!(Step::HandOver.after(), None);
    }
}
