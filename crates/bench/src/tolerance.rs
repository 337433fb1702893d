//! How far a sound part may stray: era tolerance, drift, valve spread, mains and meter.
//!
//! Every number is a row of `data/tolerances.toml` with its source beside it. This module
//! chooses the row for a part from what is known of it (make-up, history, marked tolerance,
//! a lifted reading) and gives back a median factor and a spread.
//!
//! A factor is the true value over the value that the equations hold (marked, or read with
//! the part lifted). It is log-normal: `factor = median * exp(sigma * z)`, `z` standard normal.
//! Knows nothing of circuits as equations, and computes no volts.

use serde::{Deserialize, Serialize};
use solve::netlist::Quantity;
use wiring::circuit::{Circuit, History, Kind, Known, Make, MeasuredValue, Part};

mod causes;

pub(crate) use causes::part_of;
pub use causes::{Cause, Causes};

/// Median and spread of a factor.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Spread {
    /// Middle of sound specimens over the nominal value.
    pub median: f64,
    /// One standard deviation of the factor's natural logarithm.
    pub sigma: f64,
}

impl Spread {
    /// No spread at all.
    pub const NONE: Self = Self {
        median: 1.0,
        sigma: 0.0,
    };

    /// A tolerance of so much down and up, both fractions, as two standard deviations each way.
    ///
    /// Down is held at 95 %, so that a nonsense tolerance cannot reach zero ohms.
    #[must_use]
    pub fn from_tolerance(down: f64, up: f64) -> Self {
        let low = 1.0 - down.clamp(0.0, 0.95);
        let high = 1.0 + up.max(0.0);
        Self {
            median: (low * high).sqrt(),
            sigma: (high / low).ln() / 4.0,
        }
    }
}

/// What a row of the table is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Case {
    /// Resistor of the period, carbon composition or of unknown make, not measured.
    ResistorPeriod,
    /// Film resistor of the period.
    ResistorFilm,
    /// Wirewound resistor; also one of unknown make rated 4 W or more, since carbon
    /// composition ends at 2 W (common practice, no source).
    ResistorWirewound,
    /// Resistor fitted later (`replaced`, `added`) without a make-up.
    ResistorNew,
    /// Any resistance read with the part lifted.
    MeasuredOhms,
    /// Pot, end to end.
    Pot,
    /// Loudspeaker.
    Speaker,
    /// Heater.
    HeaterOhms,
    /// Photo-resistor.
    Cell,
    /// Fuses, contacts, lamps.
    SmallOhms,
    /// Winding ohms that were written.
    WindingOhms,
    /// Winding ohms that stand at a documented default.
    WindingOhmsAssumed,
    /// Volts of a mains transformer's secondary.
    WindingVolts,
    /// Turns ratio of an output, driver or interstage transformer.
    TurnsRatio,
    /// Inductance.
    Henries,
    /// Bench supply.
    SupplyVolts,
    /// Mains stated with the readings.
    MainsRead,
    /// Mains from the wiring's heading.
    MainsHeading,
    /// Mains nobody stated.
    MainsAssumed,
    /// Input resistance of the meter.
    MeterOhms,
    /// Valve fitted later.
    EmissionNew,
    /// Valve found in the amplifier.
    EmissionUsed,
    /// Valve with `emission` typed.
    EmissionStated,
    /// One half of a double valve against the other.
    EmissionBetweenHalves,
    /// Amplification factor.
    Mu,
    /// The screen's share of the current.
    ScreenShare,
    /// Grid current of a small triode at rest, either way: `sigma` in amperes.
    GridAmpsSmall,
    /// Grid current of an output valve at rest, either way: `sigma` in amperes.
    GridAmpsPower,
    /// One rectifier valve's perveance.
    RectifierValve,
    /// Silicon or selenium drop.
    Junction,
    /// Leakage resistance of an electrolytic.
    LeakElectrolytic,
    /// Leakage resistance of any other part.
    LeakOther,
    /// Leakage that was read.
    MeasuredLeak,
    /// Electrolytic capacitance.
    FaradsElectrolytic,
    /// Paper capacitance.
    FaradsPaper,
    /// Ceramic capacitance.
    FaradsCeramic,
    /// Mica capacitance.
    FaradsMica,
    /// Film capacitance; also of unknown make.
    FaradsFilm,
    /// Capacitance read with the part lifted.
    MeasuredFarads,
}

/// One row of the table.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Row {
    /// What it is for.
    pub what: Case,
    /// The least marked value it holds for, SI units.
    #[serde(default)]
    pub from: f64,
    /// Median factor.
    pub median: f64,
    /// One sigma of the factor's logarithm.
    pub sigma: f64,
    /// Where the figures come from; `common practice, no source` where that is so.
    pub source: String,
}

/// The whole table.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Tolerances {
    /// The rows in file order.
    #[serde(rename = "row")]
    pub rows: Vec<Row>,
}

/// Why a table of tolerances cannot be used.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ToleranceError {
    /// Not TOML, or not these fields.
    #[error(
        "the table of tolerances cannot be read: {0}; compare it with crates/bench/data/tolerances.toml"
    )]
    Unreadable(String),
    /// A factor that no part can have.
    #[error(
        "tolerance row `{what:?}` has median {median} and sigma {sigma}; the median must be above 0 and the sigma 0 or more"
    )]
    Impossible {
        /// Which row.
        what: Case,
        /// Its median.
        median: f64,
        /// Its sigma.
        sigma: f64,
    },
}

/// How today's mains is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum MainsKnown {
    /// Read with the readings (or given with the request).
    Read,
    /// Stated in the wiring's heading.
    Heading,
    /// Taken from the transformer's primary.
    Assumed,
}

impl Tolerances {
    /// The table that comes with the program.
    ///
    /// # Errors
    /// Only if the table in the program is damaged; a test reads it whole.
    pub fn standard() -> Result<Self, ToleranceError> {
        Self::from_toml(include_str!("../data/tolerances.toml"))
    }

    /// A table from text in the form of `data/tolerances.toml`, for a bench's own statistics.
    ///
    /// # Errors
    /// When the text is not such a table, or a row holds an impossible factor.
    pub fn from_toml(text: &str) -> Result<Self, ToleranceError> {
        let table: Self =
            toml::from_str(text).map_err(|e| ToleranceError::Unreadable(e.message().to_owned()))?;
        for row in &table.rows {
            let sound = row.median.is_finite()
                && row.median > 0.0
                && row.sigma.is_finite()
                && row.sigma >= 0.0;
            if !sound {
                return Err(ToleranceError::Impossible {
                    what: row.what,
                    median: row.median,
                    sigma: row.sigma,
                });
            }
        }
        Ok(table)
    }

    /// The row for a case and a marked value: the one with the largest `from` not above it.
    #[must_use]
    pub fn row(&self, what: Case, value: f64) -> Option<&Row> {
        self.rows
            .iter()
            .filter(|r| r.what == what && r.from <= value)
            .max_by(|a, b| a.from.total_cmp(&b.from))
    }

    /// Spread of a case at a marked value; none at all when the table has no such row.
    #[must_use]
    pub fn spread(&self, what: Case, value: f64) -> Spread {
        self.row(what, value).map_or(Spread::NONE, |r| Spread {
            median: r.median,
            sigma: r.sigma,
        })
    }

    /// Spread of one quantity of a part.
    ///
    /// A lifted reading clears drift and marked tolerance: only the meter's uncertainty is
    /// left. An explicit tolerance replaces the row's spread, except on carbon composition of
    /// the period, where drift stays and the wider of the two spreads counts.
    #[must_use]
    pub fn of_part(&self, circuit: &Circuit, part: &Part, quantity: Quantity) -> Spread {
        self.of_winding(circuit, part, None, quantity)
    }

    /// The same of one winding of a transformer (`hv`, `primary`, `secondary`), whose ohms may
    /// be written while another's are not; `None` for the part as a whole.
    #[must_use]
    pub fn of_winding(
        &self,
        circuit: &Circuit,
        part: &Part,
        winding: Option<&str>,
        quantity: Quantity,
    ) -> Spread {
        match quantity {
            Quantity::Ohms => self.ohms(circuit, part, winding),
            Quantity::Leak => self.leak(part),
            Quantity::Farads => self.farads(part),
            Quantity::Henries => self.spread(Case::Henries, 0.0),
            Quantity::Emission => self.spread(emission_case(part), 0.0),
            Quantity::Mu => self.spread(Case::Mu, 0.0),
            Quantity::ScreenShare => self.spread(Case::ScreenShare, 0.0),
            Quantity::Drop => match part.kind {
                Kind::Valve(_) => self.spread(Case::RectifierValve, 0.0),
                _ => self.spread(Case::Junction, 0.0),
            },
            Quantity::Volts => match part.kind {
                Kind::OutputTransformer(_) | Kind::CouplingTransformer(_) => {
                    self.spread(Case::TurnsRatio, 0.0)
                }
                Kind::Supply { .. } | Kind::Generator { .. } => self.spread(Case::SupplyVolts, 0.0),
                _ => self.spread(Case::WindingVolts, 0.0),
            },
            Quantity::Mains => self.spread(Case::MainsRead, 0.0),
            Quantity::Meter => self.spread(Case::MeterOhms, 0.0),
        }
    }

    fn ohms(&self, circuit: &Circuit, part: &Part, winding: Option<&str>) -> Spread {
        if is_measured(&part.known) {
            return self.spread(Case::MeasuredOhms, 0.0);
        }
        match &part.kind {
            Kind::Resistor { ohms } => {
                let case = resistor_case(&part.known);
                let row = self.spread(case, ohms.unwrap_or(0.0));
                with_tolerance(row, &part.known, case == Case::ResistorPeriod)
            }
            Kind::Pot { .. } => with_tolerance(
                self.spread(Case::Pot, 0.0),
                &known_of_pot(circuit, part),
                false,
            ),
            Kind::Choke { ohms, .. } => self.spread(written(ohms.is_some()), 0.0),
            Kind::PowerTransformer(_)
            | Kind::OutputTransformer(_)
            | Kind::CouplingTransformer(_) => {
                self.spread(written(ohms_written(&part.kind, winding)), 0.0)
            }
            Kind::Valve(_) => self.spread(Case::HeaterOhms, 0.0),
            Kind::Speaker { .. } | Kind::Tank { .. } => self.spread(Case::Speaker, 0.0),
            Kind::Cell { .. } => self.spread(Case::Cell, 0.0),
            Kind::Supply { .. } | Kind::Generator { .. } | Kind::Gain { .. } => Spread::NONE,
            _ => self.spread(Case::SmallOhms, 0.0),
        }
    }

    fn leak(&self, part: &Part) -> Spread {
        if part.known.leak_ohms.is_some() {
            return self.spread(Case::MeasuredLeak, 0.0);
        }
        match capacitor_make(part) {
            Some(Make::Electrolytic) => self.spread(Case::LeakElectrolytic, 0.0),
            _ => self.spread(Case::LeakOther, 0.0),
        }
    }

    fn farads(&self, part: &Part) -> Spread {
        if is_measured(&part.known) {
            return self.spread(Case::MeasuredFarads, 0.0);
        }
        let case = match capacitor_make(part) {
            Some(Make::Electrolytic) => Case::FaradsElectrolytic,
            Some(Make::Paper) => Case::FaradsPaper,
            Some(Make::Ceramic) => Case::FaradsCeramic,
            Some(Make::Mica) => Case::FaradsMica,
            _ => Case::FaradsFilm,
        };
        with_tolerance(self.spread(case, 0.0), &part.known, false)
    }
}

/// Was the part's own value read with the part lifted?
#[must_use]
pub fn is_measured(known: &Known) -> bool {
    matches!(
        known.reading,
        Some(r) if !r.in_circuit && matches!(r.value, MeasuredValue::Is(_))
    )
}

fn is_fitted_later(known: &Known) -> bool {
    matches!(known.history, Some(History::Replaced | History::Added))
}

fn resistor_case(known: &Known) -> Case {
    match known.make {
        Some(Make::Carbon) => Case::ResistorPeriod,
        Some(Make::Wirewound) => Case::ResistorWirewound,
        Some(Make::Film) if is_fitted_later(known) => Case::ResistorNew,
        Some(_) => Case::ResistorFilm,
        None if is_fitted_later(known) => Case::ResistorNew,
        None if known.watts.is_some_and(|w| w >= 4.0) => Case::ResistorWirewound,
        None => Case::ResistorPeriod,
    }
}

fn emission_case(part: &Part) -> Case {
    match &part.kind {
        Kind::Valve(v) if v.emission.is_some() => Case::EmissionStated,
        _ if is_fitted_later(&part.known) => Case::EmissionNew,
        _ => Case::EmissionUsed,
    }
}

/// The marked tolerance in place of the row's spread; `drifts` keeps the row's median and the
/// wider spread, since half a century of drift is not on the body of the part.
fn with_tolerance(row: Spread, known: &Known, drifts: bool) -> Spread {
    let Some((down, up)) = known.tolerance else {
        return row;
    };
    let marked = Spread::from_tolerance(down, up);
    if drifts {
        Spread {
            median: row.median * marked.median,
            sigma: row.sigma.max(marked.sigma),
        }
    } else {
        marked
    }
}

/// A gang's markings stand on the pot it belongs to.
fn known_of_pot(circuit: &Circuit, part: &Part) -> Known {
    part.parent
        .as_deref()
        .and_then(|name| circuit.part(name))
        .and_then(|id| circuit.parts.get(id.0))
        .map_or_else(|| part.known.clone(), |p| p.known.clone())
}

/// Did somebody write the ohms of this winding (of every winding, when none is named)?
fn ohms_written(kind: &Kind, winding: Option<&str>) -> bool {
    match kind {
        Kind::PowerTransformer(t) => {
            let primary = winding.is_some_and(|w| w != "primary") || t.primary_ohms.is_some();
            primary
                && t.windings
                    .iter()
                    .filter(|w| winding.is_none_or(|name| name == w.name))
                    .all(|w| w.ohms.is_some() || w.halves.is_some())
        }
        Kind::OutputTransformer(t) => match winding {
            Some("secondary") => t.secondary_ohms.is_some(),
            _ => t.ohms.is_some() || t.halves.is_some(),
        },
        Kind::CouplingTransformer(t) => {
            let primary = winding == Some("secondary") || t.primary_ohms.is_some();
            let secondary = winding == Some("primary") || t.secondary_ohms.is_some();
            primary && secondary
        }
        _ => true,
    }
}

fn written(is: bool) -> Case {
    if is {
        Case::WindingOhms
    } else {
        Case::WindingOhmsAssumed
    }
}

/// Make-up of a capacitor; a polarised one is electrolytic, others are told by their size
/// (1 uF and more: electrolytic; below 1 nF: ceramic; common practice, no source).
fn capacitor_make(part: &Part) -> Option<Make> {
    if part.known.make.is_some() {
        return part.known.make;
    }
    match part.kind {
        Kind::Capacitor {
            plus_first: Some(_),
            ..
        } => Some(Make::Electrolytic),
        Kind::Capacitor {
            farads: Some(f), ..
        } if f >= 1e-6 => Some(Make::Electrolytic),
        Kind::Capacitor {
            farads: Some(f), ..
        } if f < 1e-9 => Some(Make::Ceramic),
        _ => None,
    }
}

#[cfg(test)]
mod tests;
