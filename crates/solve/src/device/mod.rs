//! The laws of valves, rectifiers and lamps: current from voltages.
//!
//! All voltages are in volts against the cathode, all currents in amperes. Every law is
//! finite and smooth for every finite voltage, so that a Newton step can go anywhere.

mod behind;
mod diode;
mod filament;
pub mod fit;
mod library;
mod neon;
mod number;
mod pentode;
mod rectifier;
mod rows;
mod smooth;
#[cfg(test)]
mod tests;
mod triode;
mod triodes;

pub use behind::{Behind, LawPoint};
pub use library::{LawEntry, ValveLaw, law_entry, law_for, laws, pentode_law, triode_law};
pub(crate) use pentode::pentode_currents;
pub use pentode::{PentodePoint, Sloped};
pub use rows::{RowErrors, RowPoint, row_errors, row_point};
pub use triode::TriodePoint;
pub(crate) use triode::triode_currents;
pub(crate) use triodes::{TOGETHER, triodes_currents};

/// Equation set T for triodes: softplus space current with a cut-off that widens with plate
/// voltage, and a grid share. `K` amperes per volt^x.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TriodeLaw<T = f64> {
    /// Scale `K`, A/V^x; emission multiplies it.
    pub k: T,
    /// Amplification factor.
    pub mu: T,
    /// Exponent.
    pub x: T,
    /// Cut-off width at no plate volts.
    pub w0: T,
    /// Its growth with plate volts.
    pub w1: T,
    /// Grid offset.
    pub v0: T,
    /// Plate volts at which half the offset is there.
    pub vb: T,
    /// Grid share divisor, 6.5/mu.
    pub d: T,
    /// Grid knee, volts.
    pub wg: T,
    /// Grid current onset, volts.
    pub vg0: T,
}

/// Equation set P for pentodes and beam tetrodes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PentodeLaw<T = f64> {
    /// Scale `K`, A/V^x; emission multiplies it.
    pub k: T,
    /// Amplification factor of grid 1 against grid 2.
    pub mu: T,
    /// Exponent.
    pub x: T,
    /// Cut-off width.
    pub w0: T,
    /// Its growth with screen volts.
    pub w1: T,
    /// The plate's share of the field.
    pub lam: T,
    /// Share caught by the screen.
    pub s: T,
    /// How that share depends on the ratio of plate and screen volts.
    pub m: T,
    /// Least knee volts.
    pub vmin: T,
    /// Knee volts at 0.1 A on top of it.
    pub v1: T,
    /// Sharpness of the knee.
    pub n: T,
    /// Part of the returned current the screen keeps at no plate volts.
    pub r0: T,
    /// Control-grid share divisor.
    pub d: T,
    /// Grid knee, volts.
    pub wg: T,
    /// Grid current onset, volts.
    pub vg0: T,
}

/// A rectifying plate: `i = perveance * v^1.5`, or a solid-state junction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum RectifierLaw {
    /// One plate of a rectifier valve, A/V^1.5.
    Valve(f64),
    /// Junction: saturation amperes, emission volts (n times the thermal voltage), series ohms.
    Junction {
        /// Saturation current.
        saturation: f64,
        /// Emission volts.
        volts: f64,
        /// Series resistance.
        ohms: f64,
    },
    /// No drop when conducting, nothing in reverse; ohms keep it solvable.
    Ideal {
        /// Forward ohms.
        ohms: f64,
    },
}

/// Diodes at steady volts: a rectifying law forward, leakage or zener conduction backward.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DiodeLaw {
    /// Forward.
    pub forward: RectifierLaw,
    /// Zener volts; infinite for none.
    pub zener: f64,
    /// Reverse leakage, siemens.
    pub leak: f64,
}

/// A tungsten filament: hot ohms at rated volts, and how resistance follows voltage.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FilamentLaw {
    /// Rated volts.
    pub volts: f64,
    /// Rated amperes.
    pub amps: f64,
    /// Cold resistance over hot resistance.
    pub cold: f64,
}

/// A glow lamp: strikes, then holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NeonLaw {
    /// Strike volts.
    pub strike: f64,
    /// Holding volts.
    pub hold: f64,
    /// Slope once lit, ohms.
    pub ohms: f64,
}
