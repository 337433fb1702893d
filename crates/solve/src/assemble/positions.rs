//! Where every knob, switch and plug stands: the wiring's `set` lines, then the block's.

use wiring::circuit::{Kind, Position};
use wiring::{Circuit, Conditions, Part};

use super::builder::Builder;

/// Where the controls stand; the last word on a name counts.
pub(super) struct Positions {
    sets: Vec<(String, Position)>,
    /// `standby open` is true.
    standby_open: Option<bool>,
    /// The jack that a signal is brought to.
    plugged: Option<String>,
}

impl Positions {
    pub(super) fn new(circuit: &Circuit, conditions: &Conditions) -> Self {
        let sets = circuit.sets.iter().chain(&conditions.sets);
        Self {
            sets: sets.map(|s| (s.name.clone(), s.to)).collect(),
            standby_open: conditions.standby_open,
            plugged: conditions.signal.as_ref().map(|s| s.0.clone()),
        }
    }

    /// What was last said of this part, or of the part that it is a gang or pole of.
    pub(super) fn said(&self, part: &Part) -> Option<Position> {
        self.sets
            .iter()
            .rev()
            .find(|(name, _)| *name == part.name || part.parent.as_ref() == Some(name))
            .map(|(_, to)| *to)
    }

    /// The throw a switch stands on, 0 for open.
    pub(super) fn throw(&self, part: &Part, throws: usize, start: usize) -> usize {
        if let (Some(open), true) = (self.standby_open, is_standby(part)) {
            return usize::from(!open);
        }
        match self.said(part) {
            Some(Position::Closed) => 1,
            Some(Position::Open) => 0,
            Some(Position::Number(n)) if n.is_finite() && n >= 0.5 => {
                // A throw that the switch does not have joins nothing.
                if n <= throws as f64 + 0.5 {
                    n.round() as usize
                } else {
                    0
                }
            }
            Some(Position::Number(_)) => 0,
            _ => start,
        }
    }

    /// Whether a plug is in the jack.
    pub(super) fn is_plugged(&self, part: &Part) -> bool {
        if self.plugged.as_ref() == Some(&part.name) {
            return true;
        }
        matches!(self.said(part), Some(Position::Plugged))
    }
}

/// A plain switch that is named STANDBY, or whose note or place says so.
fn is_standby(part: &Part) -> bool {
    let says = |text: &String| text.to_lowercase().contains("standby");
    matches!(part.kind, Kind::Switch { .. })
        && (says(&part.name)
            || part.parent.as_ref().is_some_and(says)
            || part.known.notes.iter().any(says)
            || part.known.sits.as_ref().is_some_and(says))
}

/// Notes conditions that found nothing to act on.
pub(super) fn unused(b: &mut Builder<'_>) {
    let parts = &b.circuit.parts;
    if b.positions.standby_open.is_some() && !parts.iter().any(is_standby) {
        b.note(
            "no-standby-switch",
            "standby was given, but no switch is named STANDBY or noted as it: it changes nothing"
                .to_owned(),
        );
    }
    let jack = b.positions.plugged.clone();
    if let Some(jack) = jack
        && !parts
            .iter()
            .any(|p| p.name == jack && matches!(p.kind, Kind::Jack { .. }))
    {
        b.note(
            "no-such-jack",
            format!("the signal goes to `{jack}`, which is no jack of this wiring: it is left out"),
        );
    }
    let names: Vec<String> = b.positions.sets.iter().map(|s| s.0.clone()).collect();
    for name in names {
        let known = parts
            .iter()
            .any(|p| p.name == name || p.parent.as_ref() == Some(&name));
        if !known {
            b.note(
                "set-nothing",
                format!("`set {name}` names no control of this wiring: it changes nothing"),
            );
        }
    }
}
