//! The rows that a law is fitted to, and what a law gives there.

use super::super::rows::{Bias, Spot, spot_point};
use super::super::{RowPoint, ValveLaw};
use super::Sort;
use serde::Serialize;
use wiring::sheet::{Confidence, CurvePoint, StaticRow};

/// A figure that a row may give.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Figure {
    /// Plate current, amperes; plate and screen together where the screen is on the plate.
    Plate,
    /// Plate and screen current together, amperes.
    Cathode,
    /// Screen current, amperes.
    Screen,
    /// Mutual conductance, siemens.
    Gm,
    /// Plate resistance, ohms.
    PlateOhms,
    /// Amplification factor.
    Mu,
    /// Amplification factor of grid 1 against grid 2.
    MuScreen,
}

/// Every figure, in the order that reports list them.
pub const FIGURES: [Figure; 7] = [
    Figure::Plate,
    Figure::Cathode,
    Figure::Screen,
    Figure::Gm,
    Figure::PlateOhms,
    Figure::Mu,
    Figure::MuScreen,
];

impl Figure {
    /// In words.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Plate => "plate current",
            Self::Cathode => "cathode current",
            Self::Screen => "screen current",
            Self::Gm => "mutual conductance",
            Self::PlateOhms => "plate resistance",
            Self::Mu => "amplification factor",
            Self::MuScreen => "amplification factor of grid 2",
        }
    }

    /// Does it say how much the valve draws in all?
    #[must_use]
    pub fn is_main(self) -> bool {
        matches!(self, Self::Plate | Self::Cathode)
    }

    /// Is it a current?
    #[must_use]
    pub fn is_current(self) -> bool {
        self.is_main() || self == Self::Screen
    }

    /// How well the equations meet it on an average data sheet, as a fraction: near the rms errors of the built-in fits.
    /// No row counts for more than this.
    fn of_the_equations(self, sort: Sort) -> f64 {
        match (self, sort) {
            (Self::Plate | Self::Cathode, _) => 0.02,
            (Self::Screen, _) => 0.15,
            (Self::Gm | Self::Mu | Self::MuScreen, _) => 0.05,
            (Self::PlateOhms, Sort::Triode) => 0.06,
            (Self::PlateOhms, Sort::Pentode) => 0.2,
        }
    }
}

/// A row that its sheet is in doubt of counts by this much less.
const DOUBTED: f64 = 3.0;

/// The equations are out by 8 to 19 % with the screen on the plate, so such rows count less by this.
const TRIODE_CONNECTED: f64 = 4.0;

/// One figure of a row. SI units.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Given {
    /// Which.
    pub figure: Figure,
    /// Its value, above 0.
    pub value: f64,
    /// The sheet prints it as a least figure.
    pub least: bool,
}

/// One operating point with what is known there. Volts against the cathode.
#[derive(Debug, Clone, PartialEq)]
pub struct FitRow {
    spot: Spot,
    given: Vec<Given>,
    uncertainty: Option<f64>,
    doubt: f64,
}

impl FitRow {
    /// A point at plate and grid volts.
    #[must_use]
    pub fn at(plate: f64, grid: f64) -> Self {
        Self::with_bias(plate, Bias::Grid(grid))
    }

    /// A point whose grid volts a cathode resistor sets.
    #[must_use]
    pub fn with_cathode_ohms(plate: f64, ohms: f64) -> Self {
        Self::with_bias(plate, Bias::CathodeOhms(ohms))
    }

    fn with_bias(plate: f64, bias: Bias) -> Self {
        Self {
            spot: Spot {
                plate,
                screen: None,
                triode_connected: false,
                bias,
            },
            given: Vec::new(),
            uncertainty: None,
            doubt: 1.0,
        }
    }

    /// Adds screen volts.
    #[must_use]
    pub fn screen(mut self, volts: f64) -> Self {
        self.spot.screen = Some(volts);
        self
    }

    /// The screen is on the plate.
    #[must_use]
    pub fn triode_connected(mut self) -> Self {
        self.spot.triode_connected = true;
        self
    }

    /// Adds a figure; one that is not above 0 is left out.
    #[must_use]
    pub fn with(self, figure: Figure, value: f64) -> Self {
        self.add(figure, Some(value), false)
    }

    /// Adds a figure that is printed as a least one.
    #[must_use]
    pub fn with_least(self, figure: Figure, value: f64) -> Self {
        self.add(figure, Some(value), true)
    }

    fn add(mut self, figure: Figure, value: Option<f64>, least: bool) -> Self {
        if let Some(value) = value.filter(|v| v.is_finite() && *v > 0.0) {
            self.given.push(Given {
                figure,
                value,
                least,
            });
        }
        self
    }

    /// The standard uncertainty of its figures, as a fraction; without it they count as exact as the equations are.
    #[must_use]
    pub fn known_to(mut self, fraction: f64) -> Self {
        self.uncertainty = Some(fraction).filter(|f| f.is_finite() && *f > 0.0);
        self
    }

    /// Counts for less: its own sheet or memory is in doubt.
    #[must_use]
    pub fn doubted(mut self) -> Self {
        self.doubt = DOUBTED;
        self
    }

    /// Plate volts.
    #[must_use]
    pub fn plate_volts(&self) -> f64 {
        self.spot.plate
    }

    /// Screen volts; those of the plate where the screen is on it.
    #[must_use]
    pub fn screen_volts(&self) -> Option<f64> {
        if self.spot.triode_connected {
            Some(self.spot.plate)
        } else {
            self.spot.screen
        }
    }

    /// Is the screen on the plate?
    #[must_use]
    pub fn is_triode_connected(&self) -> bool {
        self.spot.triode_connected
    }

    /// Grid volts, where a cathode resistor doesn't set them.
    #[must_use]
    pub fn grid_volts(&self) -> Option<f64> {
        match self.spot.bias {
            Bias::Grid(volts) => Some(volts),
            Bias::CathodeOhms(_) => None,
        }
    }

    /// The cathode resistor that sets the grid volts.
    #[must_use]
    pub fn cathode_ohms(&self) -> Option<f64> {
        match self.spot.bias {
            Bias::Grid(_) => None,
            Bias::CathodeOhms(ohms) => Some(ohms),
        }
    }

    /// Its figures.
    #[must_use]
    pub fn given(&self) -> &[Given] {
        &self.given
    }

    /// A figure's value.
    #[must_use]
    pub fn value(&self, figure: Figure) -> Option<f64> {
        self.given
            .iter()
            .find(|g| g.figure == figure && !g.least)
            .map(|g| g.value)
    }

    /// What it says the valve draws in all, as far as it says.
    #[must_use]
    pub fn main(&self) -> Option<f64> {
        self.value(Figure::Plate)
            .or_else(|| self.value(Figure::Cathode))
    }

    /// Is its plate so far below its screen that the knee shows?
    pub(super) fn is_at_knee(&self) -> bool {
        self.spot
            .screen
            .is_some_and(|screen| self.spot.plate < 0.5 * screen)
    }

    /// The same row at other grid volts.
    pub(super) fn with_grid(&self, volts: f64) -> Self {
        let mut row = self.clone();
        row.spot.bias = Bias::Grid(volts);
        row
    }

    /// Do the equations of this sort hold for such a row?
    pub(super) fn goes_with(&self, sort: Sort) -> bool {
        match sort {
            Sort::Triode => {
                !self.spot.triode_connected
                    && self.spot.screen.is_none()
                    && self
                        .given
                        .iter()
                        .all(|g| !matches!(g.figure, Figure::Screen | Figure::MuScreen))
            }
            Sort::Pentode => self.spot.triode_connected != self.spot.screen.is_some(),
        }
    }

    /// Standard uncertainty of one of its figures, as a fraction: that of the equations and that of the row together.
    #[must_use]
    pub fn sigma(&self, sort: Sort, given: &Given) -> f64 {
        let connection = if self.spot.triode_connected {
            TRIODE_CONNECTED
        } else {
            1.0
        };
        let equations = given.figure.of_the_equations(sort) * self.doubt * connection;
        equations.hypot(self.uncertainty.unwrap_or(0.0))
    }

    /// The same row at the grid volts that its own currents make in its cathode resistor, where it gives them all: the
    /// fit then needs no bias of its own.
    pub(super) fn at_own_bias(&self, sort: Sort) -> Self {
        let mut row = self.clone();
        if let Bias::CathodeOhms(ohms) = self.spot.bias
            && let Some(amps) = self.cathode_amps(sort)
        {
            row.spot.bias = Bias::Grid(-ohms * amps);
        }
        row
    }

    /// All that leaves the cathode, if the row tells.
    pub(super) fn cathode_amps(&self, sort: Sort) -> Option<f64> {
        let plate = self.value(Figure::Plate);
        match (sort, self.spot.triode_connected) {
            (Sort::Triode, _) | (Sort::Pentode, true) => {
                plate.or_else(|| self.value(Figure::Cathode))
            }
            (Sort::Pentode, false) => self
                .value(Figure::Cathode)
                .or_else(|| Some(plate? + self.value(Figure::Screen)?)),
        }
    }

    /// What a law gives here; none where it does not go with the row.
    pub(super) fn point(&self, law: ValveLaw) -> Option<RowPoint> {
        spot_point(law, &self.spot)
    }

    /// What a law gives for one of its figures.
    pub(super) fn computed(&self, law: ValveLaw, figure: Figure, point: &RowPoint) -> f64 {
        match figure {
            Figure::Plate => point.plate_a,
            Figure::Screen => point.screen_a.unwrap_or(0.0),
            Figure::Cathode => point.plate_a + point.screen_a.unwrap_or(0.0),
            Figure::Gm => point.gm,
            Figure::PlateOhms => point.plate_ohms,
            Figure::Mu => point.gm * point.plate_ohms,
            Figure::MuScreen => match (law, self.spot.screen) {
                // How far grid 2 must come down for a volt up on grid 1, the plate current staying.
                (ValveLaw::Pentode(law), Some(screen)) => {
                    let plate = law.currents(self.spot.plate, screen, point.grid).plate;
                    plate.by_grid / plate.by_screen
                }
                _ => f64::NAN,
            },
        }
    }
}

impl From<&StaticRow> for FitRow {
    fn from(row: &StaticRow) -> Self {
        let bias = match (row.cathode_ohms, row.grid) {
            (Some(ohms), _) => Bias::CathodeOhms(ohms),
            (None, grid) => Bias::Grid(grid.unwrap_or(0.0)),
        };
        let mut out = Self::with_bias(row.plate, bias);
        out.spot.screen = row.screen;
        out.spot.triode_connected = row.triode_connected;
        if row.origin.confidence == Confidence::Low {
            out = out.doubted();
        }
        if let Some(fraction) = row.uncertainty {
            out = out.known_to(fraction);
        }
        out.add(Figure::Plate, row.plate_amps, false)
            .add(Figure::Cathode, row.cathode_amps, false)
            .add(Figure::Screen, row.screen_amps, false)
            .add(Figure::Gm, row.gm, false)
            .add(Figure::PlateOhms, row.plate_ohms, false)
            .add(Figure::PlateOhms, row.plate_ohms_least, true)
            .add(Figure::Mu, row.mu, false)
            .add(Figure::MuScreen, row.mu_screen, false)
    }
}

impl From<&CurvePoint> for FitRow {
    fn from(point: &CurvePoint) -> Self {
        let row = Self::at(point.plate, point.grid).with(Figure::Plate, point.plate_amps);
        if point.origin.confidence == Confidence::Low {
            row.doubted()
        } else {
            row
        }
    }
}
