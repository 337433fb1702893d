//! A supply from typed numbers: winding, rectifier, reservoir and load, before anything is traced.
//!
//! The numbers become a small wiring of their own, so that they are computed by the same
//! equations as a traced amplifier. The load is a resistance that draws the stated current at
//! the volts it finds.

use crate::powered::{Asked, Powered};
use wiring::circuit::{Electrode, Position, Setting};
use wiring::readings::Conditions;
use wiring::sheet::Library;
use wiring::{Circuit, Place};

/// What was typed.
#[derive(Debug, Clone, PartialEq)]
pub struct Numbers {
    /// Volts rms from each end of the high-tension winding to its tap, or of the whole winding
    /// into a bridge.
    pub winding_volts: f64,
    /// Direct amperes at which these volts hold; none: without load.
    pub winding_amps: Option<f64>,
    /// Ohms of the winding end to end.
    pub winding_ohms: Option<f64>,
    /// Volts that the primary is made for.
    pub primary_volts: f64,
    /// Ohms of the primary.
    pub primary_ohms: Option<f64>,
    /// Rectifier.
    pub rectifier: Rectifying,
    /// Farads of the reservoir.
    pub reservoir_farads: f64,
    /// Rated volts of the reservoir.
    pub reservoir_volts: Option<f64>,
    /// Amperes that the amplifier draws.
    pub load_amps: f64,
    /// Ohms of a resistor across the reservoir.
    pub bleeder_ohms: Option<f64>,
    /// Mains volts today.
    pub mains_volts: Option<f64>,
}

/// What rectifies.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Rectifying {
    /// A rectifier valve of this type, full wave.
    Valve(String),
    /// Two silicon diodes, full wave with a centre tap.
    Silicon,
    /// Four silicon diodes.
    Bridge,
}

/// Why numbers are no supply.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NumbersError {
    /// A number that nothing can have.
    #[error("{what} is {value}, and must lie between {least} and {most}")]
    Range {
        /// Which.
        what: &'static str,
        /// What was typed.
        value: f64,
        /// Least.
        least: f64,
        /// Most.
        most: f64,
    },
    /// Not a rectifier valve that is known.
    #[error("`{name}` is no rectifier valve that is known here{}", near(.closest))]
    Valve {
        /// What was typed.
        name: String,
        /// The nearest known type.
        closest: Option<String>,
    },
    /// The load asks for more than the winding gives.
    #[error("no operating point with that load: {0}")]
    Unsolved(String),
}

fn near(closest: &Option<String>) -> String {
    closest
        .as_deref()
        .map_or_else(String::new, |c| format!("; did you mean {c}?"))
}

/// Rounds in which the load's resistance is found.
const ROUNDS: usize = 12;

/// The small wiring of these numbers.
///
/// # Errors
/// When a number lies outside what can be, the rectifier is not known, or nothing is found.
pub fn circuit(numbers: &Numbers, library: &Library) -> Result<Circuit, NumbersError> {
    check(numbers)?;
    let pins = pins(numbers, library)?;
    let mut ohms = 1.2 * numbers.winding_volts / numbers.load_amps;
    for _ in 0..ROUNDS {
        let circuit = wiring::read_one(&text(numbers, &pins, ohms)).circuit;
        let powered = Powered::new(&circuit, library, &Conditions::default())
            .map_err(NumbersError::Unsolved)?;
        let volts = circuit.node("B1").and_then(|n| powered.volts(n));
        let Some(volts) = volts.filter(|v| *v > 0.0) else {
            return Err(NumbersError::Unsolved(
                "the rectifier gives nothing".to_owned(),
            ));
        };
        let next = volts / numbers.load_amps;
        if (next / ohms - 1.0).abs() < 1e-4 {
            return Ok(circuit);
        }
        ohms = next;
    }
    Ok(wiring::read_one(&text(numbers, &pins, ohms)).circuit)
}

fn check(n: &Numbers) -> Result<(), NumbersError> {
    let all = [
        ("the winding's volts", Some(n.winding_volts), 20.0, 2000.0),
        ("the winding's amperes", n.winding_amps, 1e-3, 5.0),
        ("the winding's ohms", n.winding_ohms, 0.1, 5000.0),
        ("the primary's volts", Some(n.primary_volts), 50.0, 500.0),
        ("the primary's ohms", n.primary_ohms, 0.1, 1000.0),
        ("the reservoir", Some(n.reservoir_farads), 1e-7, 1e-2),
        ("the reservoir's rating", n.reservoir_volts, 10.0, 5000.0),
        ("the load", Some(n.load_amps), 1e-4, 5.0),
        ("the bleeder", n.bleeder_ohms, 100.0, 1e8),
        ("the mains", n.mains_volts, 1.0, 500.0),
    ];
    for (what, value, least, most) in all {
        if let Some(value) = value
            && !(least..=most).contains(&value)
        {
            return Err(NumbersError::Range {
                what,
                value,
                least,
                most,
            });
        }
    }
    Ok(())
}

/// Pins of both plates and of the cathode.
fn pins(n: &Numbers, library: &Library) -> Result<Option<[u8; 3]>, NumbersError> {
    let Rectifying::Valve(name) = &n.rectifier else {
        return Ok(None);
    };
    let unknown = || NumbersError::Valve {
        name: name.clone(),
        closest: library
            .nearest(name)
            .filter(|near| library.find(near).is_some_and(|s| s.kind.is_rectifier()))
            .map(str::to_owned),
    };
    let sheet = library
        .find(name)
        .filter(|s| s.kind.is_rectifier())
        .ok_or_else(unknown)?;
    let plate = |s| sheet.pin(Some(s), Electrode::Plate);
    match (plate('a'), plate('b'), sheet.pin(None, Electrode::Cathode)) {
        (Some(a), Some(b), Some(k)) => Ok(Some([a, b, k])),
        _ => Err(unknown()),
    }
}

/// The wiring as text.
fn text(n: &Numbers, pins: &Option<[u8; 3]>, load_ohms: f64) -> String {
    let mut out = String::new();
    if let Some(volts) = n.mains_volts {
        out.push_str(&format!("mains {volts} V\n"));
    }
    let primary = n
        .primary_ohms
        .map_or_else(String::new, |r| format!(" {r} ohm"));
    let volts = match n.rectifier {
        Rectifying::Bridge => format!("{} V", n.winding_volts),
        _ => format!("{0}-0-{0} V", n.winding_volts),
    };
    let amps = n
        .winding_amps
        .map_or_else(String::new, |a| format!(" {a} A"));
    let ohms = n
        .winding_ohms
        .map_or_else(String::new, |r| format!(" {r} ohm"));
    out.push_str(&format!(
        "T1 power {} V{primary}: hv {volts}{amps}{ohms}\nlive - T1.pri1\nneutral - T1.pri2\n",
        n.primary_volts
    ));
    match (&n.rectifier, pins) {
        (Rectifying::Valve(name), Some([a, b, k])) => out.push_str(&format!(
            "V1 {name}\nT1.hv1 - V1.{a}\nT1.hv2 - V1.{b}\nT1.hv0 - ground\nV1.{k} - B1\n"
        )),
        (Rectifying::Bridge, _) => out.push_str(
            "D1 bridge\nT1.hv1 - D1.ac1\nT1.hv2 - D1.ac2\nD1.minus - ground\nD1.plus - B1\n",
        ),
        _ => {
            out.push_str("T1.hv1 - D1> silicon - B1\nT1.hv2 - D2> silicon - B1\nT1.hv0 - ground\n")
        }
    }
    let rated = n
        .reservoir_volts
        .map_or_else(String::new, |v| format!(" {v}V"));
    out.push_str(&format!(
        "B1 - +C1 {}u{rated} electrolytic - ground\n",
        n.reservoir_farads * 1e6
    ));
    if let Some(ohms) = n.bleeder_ohms {
        out.push_str(&format!("B1 - R1 {ohms} - ground\n"));
    }
    out.push_str(&format!(
        "{LOAD} switch closed\nB1 - {LOAD} - {LOAD_POINT}\n{LOAD_POINT} - R2 {load_ohms} - ground\n"
    ));
    out
}

/// The switch through which the load draws: open while the valves that it stands for are cold.
const LOAD: &str = "LOAD";

/// The point behind it.
pub(super) const LOAD_POINT: &str = "drawn";

/// The supply sheet of these numbers.
///
/// # Errors
/// As [`circuit`].
pub fn supply(numbers: &Numbers, library: &Library) -> Result<super::Supply, NumbersError> {
    let circuit = circuit(numbers, library)?;
    let cold = [Setting {
        name: LOAD.to_owned(),
        to: Position::Open,
        place: Place::default(),
    }];
    let mut supply = super::supply_of(&circuit, library, &Asked::default(), None, &cold);
    supply
        .sheet
        .conditions
        .push("from typed numbers".to_owned());
    supply.sheet.missing(
        "rails behind the reservoir, who draws, fuses",
        "Trace the supply; `snippet` has pieces to start from.",
    );
    Ok(supply)
}
