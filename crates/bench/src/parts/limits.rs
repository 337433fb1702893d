//! How far a resistor may drift in its place: the rule that speaks of it.
//!
//! Where two roles have two rules the tighter one counts. A place that no rule speaks of has none, and then
//! only a reading outside the widest tolerance that parts were made with is worth a look.

use crate::rules::{Gravity, rules};
use wiring::circuit::PartId;
use wiring::roles::{Anatomy, BlockKind, Role};

/// The widest tolerance of composition resistors, per cent (IEC 60062: no colour on the fourth place).
pub(super) const MADE_WITHIN: f64 = 20.0;

/// A limit of drift.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Limit {
    /// The rule.
    pub(super) rule: &'static str,
    /// It may stay within so many per cent.
    pub(super) keep: f64,
    /// From here it goes.
    pub(super) replace: f64,
    /// A rule that only informs never replaces.
    pub(super) note_only: bool,
}

/// The tightest limit of a part's places.
pub(super) fn drift(anatomy: &Anatomy, id: PartId) -> Option<Limit> {
    let roles = anatomy.roles.get(id.0)?;
    roles
        .iter()
        .filter_map(|found| {
            let block = anatomy.blocks.get(found.block.0).map(|b| b.kind);
            let (rule, keep, replace) = names(found.role, block?)?;
            let keep = rules().figure(rule, keep)?;
            Some(Limit {
                rule,
                keep,
                replace: replace
                    .and_then(|name| rules().figure(rule, name))
                    .unwrap_or(keep),
                note_only: rules().rule(rule)?.severity == Gravity::Note,
            })
        })
        .min_by(|a, b| {
            // of two that are as tight, the one that may ask for more
            a.keep
                .total_cmp(&b.keep)
                .then_with(|| a.note_only.cmp(&b.note_only))
        })
}

type Names = (&'static str, &'static str, Option<&'static str>);

/// Rule, value to stay within, and value to replace from.
fn names(role: Role, block: BlockKind) -> Option<Names> {
    let output = matches!(block, BlockKind::PushPull | BlockKind::SingleEnded);
    Some(match role {
        Role::PlateLoad => ("res.drift.plate_load", "keep within", Some("replace above")),
        Role::CathodeResistor if output => ("res.drift.cathode", "output stage", None),
        Role::CathodeResistor | Role::CathodeLoad | Role::Tail => {
            ("res.drift.cathode", "small signal", None)
        }
        Role::GridLeak if output => ("res.drift.grid_leak_output", "drift", None),
        Role::BiasFeed | Role::BiasDivider | Role::BackBias => {
            ("res.drift.bias_divider", "drift", None)
        }
        Role::Dropping => ("res.drift.dropping", "drift", None),
        Role::OscillatorResistor => ("res.drift.trem", "drift", None),
        Role::FeedbackResistor | Role::FeedbackShunt => {
            ("res.drift.signal", "feedback resistors", None)
        }
        Role::InputLeak | Role::InputStopper | Role::GridStopper | Role::GridLeak => {
            ("res.drift.signal", "input 1 Mohm and stoppers", None)
        }
        Role::SlopeResistor
        | Role::MiddleResistor
        | Role::ToneResistor
        | Role::MixingResistor
        | Role::SeriesResistor
        | Role::ShuntResistor => ("res.drift.signal", "tone and slope", None),
        _ => return None,
    })
}
