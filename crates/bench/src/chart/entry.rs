//! One line of the chart before it is printed: where, what is expected, what was read.
//!
//! The cross-checks, the slips and the list of trouble all work on these; none of them
//! solves anything. All values in volts, ohms or amperes after [`Entry::unit`].

use super::uncertainty::{allowance, standard_uncertainty};
use super::verdict::{Band, Word, word};
use wiring::circuit::NodeId;
use wiring::readings::{Meter, Probe, Reading, Shown, Unit};

/// A bench meter that shows over range on ohms sees more than this (common practice, no source:
/// the highest range of the simplest ones ends here).
pub(crate) const OVER_OHMS: f64 = 2e6;

/// A reading with its own uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Read {
    /// What the display showed.
    pub shown: Shown,
    /// Its standard uncertainty (one sigma), meter and last digit.
    pub sigma: f64,
    /// Size of the last digit.
    pub digit: f64,
}

impl Read {
    /// A reading with the uncertainty of section [`super::uncertainty`].
    #[must_use]
    pub fn of(reading: &Reading, meter: Option<Meter>) -> Self {
        let size = match reading.value {
            Shown::Number(v) | Shown::Below(v) | Shown::Above(v) => v,
            Shown::Over => 0.0,
        };
        Self {
            shown: reading.value,
            sigma: standard_uncertainty(size, reading.digit, allowance(reading.unit, meter), 0.0),
            digit: reading.digit,
        }
    }

    /// The number, when the display showed one.
    #[must_use]
    pub fn number(&self) -> Option<f64> {
        match self.shown {
            Shown::Number(v) if v.is_finite() => Some(v),
            _ => None,
        }
    }
}

/// One line of the chart.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// The point as typed, or its first name.
    pub point: String,
    /// Its other names.
    pub also: Vec<String>,
    /// Where the leads are.
    pub probe: Probe,
    /// Which quantity.
    pub unit: Unit,
    /// Expected with every part as marked or measured, at today's mains, meter in place.
    pub nominal: Option<f64>,
    /// Expected among sound amplifiers.
    pub band: Option<Band>,
    /// Source resistance at the probe, without the meter.
    pub source_ohms: Option<f64>,
    /// What was read.
    pub read: Option<Read>,
    /// Why nothing is expected here.
    pub why: Option<String>,
}

impl Entry {
    /// The number read, where there is one.
    #[must_use]
    pub fn number(&self) -> Option<f64> {
        self.read.and_then(|r| r.number())
    }

    /// Verdict, when there is something to compare.
    #[must_use]
    pub fn verdict(&self) -> Option<Word> {
        let (band, read) = (self.band?, self.read?);
        match read.shown {
            Shown::Number(_) => self.sigmas().map(word),
            Shown::Below(v) => Some(band.judge_below(v, read.sigma)),
            Shown::Above(v) => Some(band.judge_above(v, read.sigma)),
            // over range says nothing about volts; every ohmmeter reaches OVER_OHMS
            Shown::Over if self.unit == Unit::Ohms => Some(band.judge_above(OVER_OHMS, 0.0)),
            Shown::Over => None,
        }
    }

    /// How far out a number is, signed, in standard deviations of band and reading together.
    #[must_use]
    pub fn sigmas(&self) -> Option<f64> {
        let (band, read) = (self.band?, self.read?);
        let number = read.number()?;
        Some(match self.unit {
            // resistances spread by factors, and leaks by large ones
            Unit::Ohms => band.sigmas_by_factor(number, read.sigma),
            _ => band.sigmas(number, read.sigma),
        })
    }

    /// Is it direct volts of one node against ground?
    #[must_use]
    pub fn volts_at(&self) -> Option<NodeId> {
        match self.probe {
            Probe::At(node) if self.unit == Unit::VoltsDc => Some(node),
            _ => None,
        }
    }
}

/// The last number of direct volts read at a node, with its standard uncertainty.
///
/// Ground needs no reading.
#[must_use]
pub fn volts_read(entries: &[Entry], node: NodeId) -> Option<(f64, f64)> {
    if node == wiring::GROUND {
        return Some((0.0, 0.0));
    }
    entries
        .iter()
        .rev()
        .filter(|e| e.volts_at() == Some(node))
        .find_map(|e| Some((e.number()?, e.read?.sigma)))
}

/// The middle of what is expected at a node.
#[must_use]
pub fn volts_expected(entries: &[Entry], node: NodeId) -> Option<f64> {
    if node == wiring::GROUND {
        return Some(0.0);
    }
    entries
        .iter()
        .find(|e| e.volts_at() == Some(node) && e.band.is_some())
        .and_then(|e| e.band)
        .map(|b| b.centre)
}

/// The name under which a node stands in the chart, for sentences.
#[must_use]
pub fn name_of(entries: &[Entry], node: NodeId) -> String {
    if node == wiring::GROUND {
        return "ground".to_owned();
    }
    entries
        .iter()
        .find(|e| e.volts_at() == Some(node))
        .map_or_else(|| format!("point {}", node.0), |e| e.point.clone())
}
