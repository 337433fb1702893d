//! The limits of a sheet, under the rating system it used.
//!
//! Several systems may stand side by side. The lower figure guards the valve: which variant and which printing
//! is on the bench is seldom sure.

use super::types::Origin;
use serde::Serialize;

/// How a sheet's limits are meant (IEC 60134, from memory, not seen).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum RatingSystem {
    /// For an average valve in average equipment on its rated mains; the spread of all three is allowed for.
    DesignCentre,
    /// For any valve and any part, at the mains and controls as they are.
    DesignMaximum,
    /// Never to be passed in any condition.
    Absolute,
}

impl RatingSystem {
    /// As written in sheets.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::DesignCentre => "design-centre",
            Self::DesignMaximum => "design-maximum",
            Self::Absolute => "absolute",
        }
    }
}

/// What a limit bounds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum LimitQuantity {
    /// Plate volts.
    PlateVolts,
    /// Plate dissipation of one section.
    PlateWatts,
    /// Plate dissipation of both sections together.
    PlateWattsBoth,
    /// Screen volts.
    ScreenVolts,
    /// Supply volts behind a screen resistor.
    ScreenSupplyVolts,
    /// Screen dissipation at rest.
    ScreenWatts,
    /// Screen dissipation at full signal.
    ScreenWattsFullSignal,
    /// Plate and screen dissipation together.
    PlateAndScreenWatts,
    /// Mean cathode current, amperes.
    CathodeAmps,
    /// Negative grid volts, as a positive figure.
    GridNegativeVolts,
    /// Positive grid volts.
    GridPositiveVolts,
    /// Peak volts between heater and cathode, heater negative.
    HeaterNegativeVolts,
    /// Peak volts between heater and cathode, heater positive.
    HeaterPositiveVolts,
    /// Steady volts between heater and cathode, heater positive.
    HeaterPositiveDcVolts,
    /// Grid-circuit ohms with cathode bias.
    GridOhmsCathodeBias,
    /// Grid-circuit ohms with fixed bias.
    GridOhmsFixedBias,
    /// Peak inverse volts of a rectifier.
    InverseVolts,
    /// Peak current of one plate, amperes.
    PeakPlateAmps,
    /// Direct output current of a rectifier, amperes.
    OutputAmps,
    /// Volts rms per plate with a reservoir first.
    SupplyVoltsCapacitor,
    /// Volts rms per plate with a choke first.
    SupplyVoltsChoke,
    /// Largest reservoir, farads.
    ReservoirFarads,
    /// Least supply resistance per plate, ohms. The only limit that bounds from below.
    SourceOhms,
}

impl LimitQuantity {
    /// Every quantity, with its key in the data file and the factor from the file's unit to SI.
    pub(super) const ALL: [(Self, &'static str, f64); 23] = [
        (Self::PlateVolts, "plate_volts", 1.0),
        (Self::PlateWatts, "plate_watts", 1.0),
        (Self::PlateWattsBoth, "plate_watts_both", 1.0),
        (Self::ScreenVolts, "screen_volts", 1.0),
        (Self::ScreenSupplyVolts, "screen_supply_volts", 1.0),
        (Self::ScreenWatts, "screen_watts", 1.0),
        (Self::ScreenWattsFullSignal, "screen_watts_full_signal", 1.0),
        (Self::PlateAndScreenWatts, "plate_and_screen_watts", 1.0),
        (Self::CathodeAmps, "cathode_ma", 1e-3),
        (Self::GridNegativeVolts, "grid_negative_volts", 1.0),
        (Self::GridPositiveVolts, "grid_positive_volts", 1.0),
        (Self::HeaterNegativeVolts, "heater_negative_volts", 1.0),
        (Self::HeaterPositiveVolts, "heater_positive_volts", 1.0),
        (Self::HeaterPositiveDcVolts, "heater_positive_dc_volts", 1.0),
        (Self::GridOhmsCathodeBias, "grid_ohms_cathode_bias", 1.0),
        (Self::GridOhmsFixedBias, "grid_ohms_fixed_bias", 1.0),
        (Self::InverseVolts, "inverse_volts", 1.0),
        (Self::PeakPlateAmps, "peak_plate_ma", 1e-3),
        (Self::OutputAmps, "output_ma", 1e-3),
        (Self::SupplyVoltsCapacitor, "supply_volts_capacitor", 1.0),
        (Self::SupplyVoltsChoke, "supply_volts_choke", 1.0),
        (Self::ReservoirFarads, "reservoir_uf", 1e-6),
        (Self::SourceOhms, "source_ohms", 1.0),
    ];

    /// Every quantity, in the order a sheet prints them.
    pub fn all() -> impl Iterator<Item = Self> {
        Self::ALL.into_iter().map(|(quantity, _, _)| quantity)
    }

    /// In words.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::PlateVolts => "plate volts",
            Self::PlateWatts => "plate dissipation",
            Self::PlateWattsBoth => "plate dissipation, both sections",
            Self::ScreenVolts => "screen volts",
            Self::ScreenSupplyVolts => "screen supply volts",
            Self::ScreenWatts => "screen dissipation",
            Self::ScreenWattsFullSignal => "screen dissipation at full signal",
            Self::PlateAndScreenWatts => "plate and screen dissipation",
            Self::CathodeAmps => "cathode current",
            Self::GridNegativeVolts => "negative grid volts",
            Self::GridPositiveVolts => "positive grid volts",
            Self::HeaterNegativeVolts => "heater to cathode, heater negative, peak",
            Self::HeaterPositiveVolts => "heater to cathode, heater positive, peak",
            Self::HeaterPositiveDcVolts => "heater to cathode, heater positive, steady",
            Self::GridOhmsCathodeBias => "grid-circuit resistance, cathode bias",
            Self::GridOhmsFixedBias => "grid-circuit resistance, fixed bias",
            Self::InverseVolts => "peak inverse volts",
            Self::PeakPlateAmps => "peak current per plate",
            Self::OutputAmps => "output current",
            Self::SupplyVoltsCapacitor => "volts rms per plate, reservoir first",
            Self::SupplyVoltsChoke => "volts rms per plate, choke first",
            Self::ReservoirFarads => "reservoir",
            Self::SourceOhms => "least supply resistance per plate",
        }
    }

    /// The SI unit of its figure.
    #[must_use]
    pub fn unit(self) -> &'static str {
        match self {
            Self::PlateWatts
            | Self::PlateWattsBoth
            | Self::ScreenWatts
            | Self::ScreenWattsFullSignal
            | Self::PlateAndScreenWatts => "W",
            Self::CathodeAmps | Self::PeakPlateAmps | Self::OutputAmps => "A",
            Self::GridOhmsCathodeBias | Self::GridOhmsFixedBias | Self::SourceOhms => "ohm",
            Self::ReservoirFarads => "F",
            _ => "V",
        }
    }

    /// True where more is safer than less.
    #[must_use]
    pub fn is_least(self) -> bool {
        self == Self::SourceOhms
    }

    /// The safer of two figures.
    #[must_use]
    pub fn safer(self, a: f64, b: f64) -> f64 {
        if self.is_least() { a.max(b) } else { a.min(b) }
    }
}

/// The limits of one rating system, of one section or of all.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LimitSet {
    /// Rating system.
    pub system: RatingSystem,
    /// The section it is for; none: for each.
    pub section: Option<char>,
    /// The figures in SI units.
    pub values: Vec<(LimitQuantity, f64)>,
    /// Least supply ohms per plate at volts rms per plate: `(volts, ohms)`, rising.
    pub source_ohms_at: Vec<(f64, f64)>,
    /// Output amperes allowed up to volts rms per plate: `(volts, amperes)`, volts rising.
    pub output_amps_at: Vec<(f64, f64)>,
    /// What else the sheet says.
    pub note: Option<String>,
    /// Where it is from and how sure.
    pub origin: Origin,
}

impl LimitSet {
    /// A figure of this set, in SI units.
    #[must_use]
    pub fn get(&self, quantity: LimitQuantity) -> Option<f64> {
        self.values
            .iter()
            .find(|(q, _)| *q == quantity)
            .map(|(_, value)| *value)
    }

    /// Is the set for this section?
    #[must_use]
    pub fn covers(&self, section: Option<char>) -> bool {
        self.section.is_none() || section.is_none() || self.section == section
    }
}
