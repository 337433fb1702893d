//! Figures on a sheet: readings with their uncertainty, what is expected, limits.

use crate::rules::{Side, Value};
use serde::Serialize;

/// How a reading is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Bound {
    /// The figure itself.
    #[default]
    Exactly,
    /// The meter went over its range: this or more.
    AtLeast,
    /// The meter showed less than it can tell: this or less.
    AtMost,
}

/// A figure with its unit.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Figure {
    /// In the unit named.
    pub value: f64,
    /// SI unit without prefix (`V`, `V ac`, `A`, `ohm`, `F`, `W`, `s`, `J`), `%`, or words.
    pub unit: String,
    /// Expanded uncertainty either way (coverage about 95 %), same unit.
    pub plus_minus: Option<f64>,
    /// Whether it is the figure itself.
    pub bound: Bound,
}

impl Figure {
    /// A figure without an uncertainty.
    #[must_use]
    pub fn new(value: f64, unit: impl Into<String>) -> Self {
        Self {
            value,
            unit: unit.into(),
            plus_minus: None,
            bound: Bound::Exactly,
        }
    }

    /// With its expanded uncertainty; one that is no number leaves the figure without.
    #[must_use]
    pub fn plus_minus(mut self, half_width: f64) -> Self {
        self.plus_minus = half_width.is_finite().then_some(half_width.abs());
        self
    }

    /// Over or under the meter's range.
    #[must_use]
    pub fn bound(mut self, bound: Bound) -> Self {
        self.bound = bound;
        self
    }

    /// All values that the reading may stand for.
    fn span(&self) -> (f64, f64) {
        let width = self.plus_minus.unwrap_or(0.0);
        match self.bound {
            Bound::Exactly => (self.value - width, self.value + width),
            Bound::AtLeast => (self.value, f64::INFINITY),
            Bound::AtMost => (f64::NEG_INFINITY, self.value),
        }
    }
}

/// What a sound amplifier should show.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Expected {
    /// The figure, when there is a single one.
    pub value: Option<f64>,
    /// Lower end of the band.
    pub low: Option<f64>,
    /// Upper end of the band.
    pub high: Option<f64>,
    /// As of [`Figure::unit`].
    pub unit: String,
}

impl Expected {
    /// A single figure.
    #[must_use]
    pub fn value(value: f64, unit: impl Into<String>) -> Self {
        Self {
            value: Some(value),
            low: None,
            high: None,
            unit: unit.into(),
        }
    }

    /// A range without a figure that is meant above others.
    #[must_use]
    pub fn range(low: f64, high: f64, unit: impl Into<String>) -> Self {
        Self {
            value: None,
            low: Some(low),
            high: Some(high),
            unit: unit.into(),
        }
    }

    /// A figure with its band.
    #[must_use]
    pub fn band(value: f64, low: f64, high: f64, unit: impl Into<String>) -> Self {
        Self {
            value: Some(value),
            low: Some(low),
            high: Some(high),
            unit: unit.into(),
        }
    }
}

/// What a reading must keep to.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Limit {
    /// It must not be less.
    pub at_least: Option<f64>,
    /// It must not be more.
    pub at_most: Option<f64>,
    /// As of [`Figure::unit`]; a reading is held against a limit in the same unit.
    pub unit: String,
}

/// How a figure lies to a limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Verdict {
    /// All of it inside.
    Inside,
    /// The figure is outside.
    Outside,
    /// Inside, but its uncertainty reaches over the limit, or it cannot be told.
    Doubtful,
}

impl Limit {
    /// Not more than this.
    #[must_use]
    pub fn at_most(value: f64, unit: impl Into<String>) -> Self {
        Self {
            at_least: None,
            at_most: Some(value),
            unit: unit.into(),
        }
    }

    /// Not less than this.
    #[must_use]
    pub fn at_least(value: f64, unit: impl Into<String>) -> Self {
        Self {
            at_least: Some(value),
            at_most: None,
            unit: unit.into(),
        }
    }

    /// Between these two.
    #[must_use]
    pub fn between(low: f64, high: f64, unit: impl Into<String>) -> Self {
        Self {
            at_least: Some(low),
            at_most: Some(high),
            unit: unit.into(),
        }
    }

    /// The limit that a rule's value states by its operator, times `scale` (from the row's unit to
    /// `unit`). Only for rows whose operator names the *allowed* side: rows such as "replace above"
    /// name the other, and their sheets use [`Limit::at_most`] with the figure.
    #[must_use]
    pub fn of(value: &Value, scale: f64, unit: impl Into<String>) -> Self {
        let figure = value.value.map(|v| v * scale);
        let (at_least, at_most) = match value.op {
            Side::AtMost => (None, figure),
            Side::AtLeast => (figure, None),
            Side::Is => (figure, figure),
            Side::Between => (value.lo.map(|v| v * scale), value.hi.map(|v| v * scale)),
        };
        Self {
            at_least,
            at_most,
            unit: unit.into(),
        }
    }

    /// Whether a bare number keeps to it; one that is no number doesn't.
    #[must_use]
    pub fn holds(&self, value: f64) -> bool {
        self.at_least.is_none_or(|least| value >= least)
            && self.at_most.is_none_or(|most| value <= most)
            && !value.is_nan()
    }

    pub(super) fn verdict(&self, figure: &Figure) -> Verdict {
        let nothing_bounds = self.at_least.is_none() && self.at_most.is_none();
        let unusable = |v: Option<f64>| v.is_some_and(f64::is_nan);
        if figure.value.is_nan()
            || figure.unit != self.unit
            || nothing_bounds
            || unusable(self.at_least)
            || unusable(self.at_most)
        {
            return Verdict::Doubtful;
        }
        let (low, high) = figure.span();
        if self.holds(low) && self.holds(high) {
            return Verdict::Inside;
        }
        let outside = match figure.bound {
            Bound::Exactly => !self.holds(figure.value),
            Bound::AtLeast => self.at_most.is_some_and(|most| low > most),
            Bound::AtMost => self.at_least.is_some_and(|least| high < least),
        };
        if outside {
            Verdict::Outside
        } else {
            Verdict::Doubtful
        }
    }
}
