//! The published rows of a sheet, which the equations are held against.
//!
//! SI units throughout; volts against the cathode unless the row has a cathode resistor.

use super::types::Origin;
use serde::Serialize;

/// An operating point that the sheet prints as typical.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StaticRow {
    /// The section it is for; none: each.
    pub section: Option<char>,
    /// Screen (and grid 3, if it has a pin) joined to the plate.
    pub triode_connected: bool,
    /// Plate volts.
    pub plate: f64,
    /// Screen volts.
    pub screen: Option<f64>,
    /// Grid volts; none where a cathode resistor sets them.
    pub grid: Option<f64>,
    /// Cathode resistor; the plate and screen volts are then to the cathode, the grid returns to the resistor's far end.
    pub cathode_ohms: Option<f64>,
    /// Plate amperes. A row has these or the cathode's.
    pub plate_amps: Option<f64>,
    /// Screen amperes.
    pub screen_amps: Option<f64>,
    /// Plate and screen amperes together, where they were read at the cathode.
    pub cathode_amps: Option<f64>,
    /// Mutual conductance, siemens.
    pub gm: Option<f64>,
    /// Plate resistance, ohms.
    pub plate_ohms: Option<f64>,
    /// Plate resistance, printed as a least figure.
    pub plate_ohms_least: Option<f64>,
    /// Amplification factor.
    pub mu: Option<f64>,
    /// Amplification factor of grid 1 against grid 2.
    pub mu_screen: Option<f64>,
    /// Standard uncertainty of its figures as a fraction, of rows that were read on a bench.
    pub uncertainty: Option<f64>,
    /// What the sheet says beside it.
    pub note: Option<String>,
    /// Largest errors that pass; empty when not gated.
    pub accept: Accept,
    /// Why no error is set, when none is.
    pub not_gated: Option<String>,
    /// Where it is from and how sure.
    pub origin: Origin,
}

/// Accepted errors of a static row, as fractions of the sheet's figures.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Accept {
    /// Of the plate current.
    pub plate: Option<f64>,
    /// Of the screen current.
    pub screen: Option<f64>,
    /// Of the mutual conductance.
    pub gm: Option<f64>,
    /// Of the plate resistance.
    pub rp: Option<f64>,
    /// Of the amplification factor.
    pub mu: Option<f64>,
    /// Why an accepted error is larger than the real one asks for, when it is.
    pub why: Option<String>,
}

/// One reading of the average plate curves.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CurvePoint {
    /// Grid volts.
    pub grid: f64,
    /// Plate volts.
    pub plate: f64,
    /// Plate amperes.
    pub plate_amps: f64,
    /// Where it is from and how sure.
    pub origin: Origin,
}

/// An amplifier stage that the sheet prints: signal, load, power.
///
/// In push-pull rows currents are of both valves, the load is plate to plate, and the drive
/// is grid to grid where it is `drive_peak_pair`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StageRow {
    /// `single-ended`, `push-pull`, or `voltage amplifier`.
    pub usage: String,
    /// Class of operation (A1, AB1, AB2, B).
    pub class: Option<String>,
    /// Supply volts.
    pub supply: Option<f64>,
    /// Screen supply volts.
    pub screen_supply: Option<f64>,
    /// Plate volts.
    pub plate: Option<f64>,
    /// Screen volts.
    pub screen: Option<f64>,
    /// Grid bias.
    pub grid: Option<f64>,
    /// Cathode resistor, common to a pair.
    pub cathode_ohms: Option<f64>,
    /// Cathode resistor of each valve.
    pub cathode_ohms_each: Option<f64>,
    /// The cathode resistor is bypassed.
    pub cathode_bypassed: bool,
    /// Screen resistor, common to a pair.
    pub screen_ohms: Option<f64>,
    /// Plate resistor of a voltage amplifier.
    pub plate_ohms: Option<f64>,
    /// Grid resistor of the next stage.
    pub next_grid_ohms: Option<f64>,
    /// Load; plate to plate in push-pull.
    pub load_ohms: Option<f64>,
    /// Peak signal volts at one grid.
    pub drive_peak: Option<f64>,
    /// Peak signal volts grid to grid.
    pub drive_peak_pair: Option<f64>,
    /// Signal volts rms at one grid.
    pub drive_rms: Option<f64>,
    /// Plate amperes without signal.
    pub plate_amps: Option<f64>,
    /// Plate amperes at full signal.
    pub plate_amps_full: Option<f64>,
    /// Screen amperes without signal.
    pub screen_amps: Option<f64>,
    /// Screen amperes at full signal.
    pub screen_amps_full: Option<f64>,
    /// Cathode amperes.
    pub cathode_amps: Option<f64>,
    /// Voltage gain.
    pub gain: Option<f64>,
    /// Output volts rms.
    pub output_rms: Option<f64>,
    /// Total harmonic distortion as a fraction.
    pub distortion: Option<f64>,
    /// Output power.
    pub watts: Option<f64>,
    /// Grid drive power, watts.
    pub grid_drive_watts: Option<f64>,
    /// What the sheet says beside it.
    pub note: Option<String>,
    /// Where it is from and how sure.
    pub origin: Origin,
}

/// Volts across one plate of a rectifier that carries a steady current.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DropRow {
    /// Amperes through one plate.
    pub amps: f64,
    /// Plate to cathode.
    pub volts: f64,
    /// What the sheet says beside it.
    pub note: Option<String>,
    /// Where it is from and how sure.
    pub origin: Origin,
}

/// Direct volts that a full-wave rectifier gives.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SupplyRow {
    /// Volts rms per plate.
    pub ac_volts: f64,
    /// Reservoir, where one comes first.
    pub reservoir_farads: Option<f64>,
    /// Supply resistance per plate.
    pub source_ohms: Option<f64>,
    /// Choke, where one comes first.
    pub choke_henries: Option<f64>,
    /// Output current.
    pub output_amps: f64,
    /// Volts at the filter's input.
    pub output_volts: f64,
    /// Mains frequency: 60 Hz for American sheets, 50 Hz for European ones.
    pub hertz: f64,
    /// Where it is from and how sure.
    pub origin: Origin,
}
