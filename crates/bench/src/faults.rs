//! The fault dictionary: what goes wrong with which part, what that does to the circuit, how it
//! shows and how a technician makes sure.
//!
//! A data file (`data/faults.toml`), read through these types and tested whole. Where a fault
//! applies is said by the part's sort and by roles found in the wiring, never by names. Ranges
//! and priors are working guesses of the trade, not statistics; each row names its source, and a
//! bench may bring a file of its own.

mod heard;
#[cfg(test)]
mod tests;

pub use heard::Symptom;

use serde::{Deserialize, Serialize};
use wiring::circuit::Kind;
use wiring::roles::{BlockKind, Role};

/// The word a verdict uses.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Class {
    /// Carries nothing.
    Open,
    /// Next to no resistance.
    Short,
    /// More ohms than it should have, or more series resistance.
    High,
    /// Less: ohms, farads, volts.
    Low,
    /// Passes current that it should hold back.
    Leaky,
    /// Low emission.
    Weak,
    /// No emission at all.
    Dead,
    /// Grid current.
    Gassy,
    /// Noise, contact, mechanics.
    Worn,
    /// Turns of a winding touch.
    ShortedTurns,
    /// Another part or another way of wiring than it should be.
    Wrong,
    /// Not there.
    Missing,
}

impl Class {
    /// The verdict in a word or two.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::Short => "short",
            Self::High => "high",
            Self::Low => "low",
            Self::Leaky => "leaky",
            Self::Weak => "weak",
            Self::Dead => "dead",
            Self::Gassy => "gassy",
            Self::Worn => "worn",
            Self::ShortedTurns => "shorted turns",
            Self::Wrong => "wrong",
            Self::Missing => "missing",
        }
    }
}

/// The sort of part a fault belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Sort {
    /// Resistor.
    Resistor,
    /// Capacitor.
    Capacitor,
    /// Choke.
    Choke,
    /// Valve with a grid.
    Valve,
    /// Rectifier valve.
    Rectifier,
    /// Diode.
    Diode,
    /// Control.
    Pot,
    /// Switch.
    Switch,
    /// Jack.
    Jack,
    /// Fuse.
    Fuse,
    /// Lamp.
    Lamp,
    /// Photo-resistor.
    Cell,
    /// Output transformer.
    OutputTransformer,
    /// Driver or interstage transformer.
    CouplingTransformer,
    /// Mains transformer.
    PowerTransformer,
    /// A supply that stands for one.
    Supply,
    /// Loudspeaker.
    Speaker,
    /// Spring tank.
    Tank,
    /// No part: joints, grounds, the amplifier as a whole.
    Any,
}

impl Sort {
    /// What a technician calls it.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Resistor => "resistor",
            Self::Capacitor => "capacitor",
            Self::Choke => "choke",
            Self::Valve => "valve",
            Self::Rectifier => "rectifier valve",
            Self::Diode => "diode",
            Self::Pot => "control",
            Self::Switch => "switch",
            Self::Jack => "jack",
            Self::Fuse => "fuse",
            Self::Lamp => "lamp",
            Self::Cell => "photo-resistor",
            Self::OutputTransformer => "output transformer",
            Self::CouplingTransformer => "driver transformer",
            Self::PowerTransformer => "mains transformer",
            Self::Supply => "supply",
            Self::Speaker => "loudspeaker",
            Self::Tank => "spring tank",
            Self::Any => "amplifier",
        }
    }

    /// The sort of a part; none where the dictionary has nothing for it. `rectifies` says of a
    /// valve that it has no grid.
    #[must_use]
    pub fn of(kind: &Kind, rectifies: bool) -> Option<Self> {
        Some(match kind {
            Kind::Resistor { .. } => Self::Resistor,
            Kind::Capacitor { .. } => Self::Capacitor,
            Kind::Choke { .. } => Self::Choke,
            Kind::Valve(_) if rectifies => Self::Rectifier,
            Kind::Valve(_) => Self::Valve,
            Kind::Diode { .. } => Self::Diode,
            Kind::Pot { .. } => Self::Pot,
            Kind::Switch { .. } => Self::Switch,
            Kind::Jack { .. } => Self::Jack,
            Kind::Fuse { .. } => Self::Fuse,
            Kind::Lamp { .. } => Self::Lamp,
            Kind::Cell { .. } => Self::Cell,
            Kind::OutputTransformer(_) => Self::OutputTransformer,
            Kind::CouplingTransformer(_) => Self::CouplingTransformer,
            Kind::PowerTransformer(_) => Self::PowerTransformer,
            Kind::Supply { .. } => Self::Supply,
            Kind::Speaker { .. } => Self::Speaker,
            Kind::Tank { .. } => Self::Tank,
            _ => return None,
        })
    }
}

/// A quantity that a fault scales.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Scaled {
    /// Ohms.
    Ohms,
    /// Farads.
    Farads,
    /// Henries.
    Henries,
    /// Ohms in series with a capacitor: `lo` to `hi` ohms are put there.
    Esr,
    /// Emission of a valve with a grid.
    Emission,
    /// Perveance of a rectifier plate.
    Perveance,
    /// Volts of a source or winding.
    Volts,
}

/// A place at a part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Spot {
    /// Plate.
    Plate,
    /// Control grid.
    Grid,
    /// Cathode.
    Cathode,
    /// Screen.
    Screen,
    /// The rail that feeds the stage.
    Supply,
    /// Chassis.
    Ground,
    /// Lug 1 of a control.
    #[serde(rename = "1")]
    Lug1,
    /// Its wiper.
    #[serde(rename = "2")]
    Lug2,
    /// Lug 3.
    #[serde(rename = "3")]
    Lug3,
}

/// What a fault does to the circuit; sizes in SI units, or factors.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "op", rename_all = "snake_case")]
pub enum Change {
    /// Multiplies a quantity.
    Scale {
        /// Which.
        quantity: Scaled,
        /// Least factor.
        lo: f64,
        /// Greatest.
        hi: f64,
        /// Usual.
        typ: f64,
    },
    /// Carries nothing.
    Open,
    /// A resistance across the part.
    Leak {
        /// Least ohms.
        lo: f64,
        /// Greatest.
        hi: f64,
        /// Usual.
        typ: f64,
    },
    /// A resistance between two places of a valve section.
    Bridge {
        /// One place.
        from: Spot,
        /// The other.
        to: Spot,
        /// Least ohms.
        lo: f64,
        /// Greatest.
        hi: f64,
        /// Usual.
        typ: f64,
    },
    /// A current into the control grid.
    GridAmps {
        /// Least amperes.
        lo: f64,
        /// Greatest.
        hi: f64,
        /// Usual.
        typ: f64,
    },
    /// A resistance in one lead.
    Lead {
        /// Which lead.
        from: Spot,
        /// Least ohms.
        lo: f64,
        /// Greatest.
        hi: f64,
        /// Usual.
        typ: f64,
    },
    /// Half of a primary is open.
    Winding {
        /// 1: the side of `p1`; 2: the side of `p2`.
        half: u8,
    },
    /// Ohms from a primary's plate end to chassis.
    PrimaryLeak {
        /// Least ohms.
        lo: f64,
        /// Greatest.
        hi: f64,
        /// Usual.
        typ: f64,
    },
    /// One plate of a rectifier passes nothing.
    HalfOpen,
    /// Ohms `lo` or `hi` times what was typed.
    Factor {
        /// The one.
        lo: f64,
        /// The other.
        hi: f64,
        /// Usual.
        typ: f64,
    },
    /// Farads `lo` or `hi` times what was typed.
    FactorFarads {
        /// The one.
        lo: f64,
        /// The other.
        hi: f64,
        /// Usual.
        typ: f64,
    },
    /// Two leads exchanged.
    Swap {
        /// One.
        from: Spot,
        /// The other.
        to: Spot,
    },
    /// Nothing that a meter at rest shows.
    None,
}

impl Change {
    /// Least, greatest and usual size, where it has a size.
    #[must_use]
    pub fn range(&self) -> Option<(f64, f64, f64)> {
        match *self {
            Self::Scale { lo, hi, typ, .. }
            | Self::Leak { lo, hi, typ }
            | Self::Bridge { lo, hi, typ, .. }
            | Self::GridAmps { lo, hi, typ }
            | Self::Lead { lo, hi, typ, .. }
            | Self::PrimaryLeak { lo, hi, typ }
            | Self::Factor { lo, hi, typ }
            | Self::FactorFarads { lo, hi, typ } => Some((lo, hi, typ)),
            Self::Open | Self::Winding { .. } | Self::HalfOpen | Self::Swap { .. } | Self::None => {
                None
            }
        }
    }

    /// What its size is: `times` a value, `ohm`, `A`; nothing where it has none.
    #[must_use]
    pub fn measure(&self) -> &'static str {
        match self {
            Self::Scale {
                quantity: Scaled::Esr,
                ..
            }
            | Self::Leak { .. }
            | Self::Bridge { .. }
            | Self::Lead { .. }
            | Self::PrimaryLeak { .. } => "ohm",
            Self::Scale { .. } | Self::Factor { .. } | Self::FactorFarads { .. } => "times",
            Self::GridAmps { .. } => "A",
            Self::Open | Self::Winding { .. } | Self::HalfOpen | Self::Swap { .. } | Self::None => {
                ""
            }
        }
    }

    /// Is it the part's own value that is changed, as one reads it with an end lifted?
    #[must_use]
    pub fn is_of_the_part(&self) -> bool {
        matches!(
            self,
            Self::Open | Self::Factor { .. } | Self::FactorFarads { .. }
        ) || matches!(
            self,
            Self::Scale {
                quantity: Scaled::Ohms | Scaled::Farads,
                ..
            }
        )
    }

    /// Is there anything that a meter on the circuit could show?
    #[must_use]
    pub fn is_electrical(&self) -> bool {
        !matches!(self, Self::None)
    }

    /// What it changes, without the size: two rows of one class for one part are two faults only
    /// where this differs.
    #[must_use]
    pub fn sort(&self) -> String {
        match self {
            Self::Scale { quantity, .. } => format!("scale {quantity:?}"),
            Self::Open => "open".to_owned(),
            Self::Leak { .. } => "leak".to_owned(),
            Self::Bridge { from, to, .. } => format!("bridge {from:?} {to:?}"),
            Self::GridAmps { .. } => "grid amps".to_owned(),
            Self::Lead { from, .. } => format!("lead {from:?}"),
            Self::Winding { half } => format!("winding {half}"),
            Self::PrimaryLeak { .. } => "primary leak".to_owned(),
            Self::HalfOpen => "half open".to_owned(),
            Self::Factor { .. } => "factor".to_owned(),
            Self::FactorFarads { .. } => "factor farads".to_owned(),
            Self::Swap { from, to } => format!("swap {from:?} {to:?}"),
            Self::None => "none".to_owned(),
        }
    }
}

/// How a fault is found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Found {
    /// Volts DC under power.
    Volts,
    /// Ohms, power off.
    Ohms,
    /// A signal, measured.
    Signal,
    /// Volts AC on a rail.
    Ripple,
    /// Listening.
    Hearing,
    /// Looking.
    Looking,
    /// An insulation test.
    Insulation,
    /// A meter for the part itself, one end lifted.
    PartsMeter,
}

/// How often, per part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Prior {
    /// Often met.
    Common,
    /// Met now and then.
    Occasional,
    /// Hardly ever.
    Rare,
}

/// One row.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Fault {
    /// Its name, for files and JSON.
    pub id: String,
    /// The word of a verdict.
    pub class: Class,
    /// Which sort of part.
    pub on: Sort,
    /// Roles it is for; none: any.
    #[serde(default)]
    pub roles: Vec<Role>,
    /// Kinds of block it is for; none: any.
    #[serde(default)]
    pub blocks: Vec<BlockKind>,
    /// What it does.
    pub change: Change,
    /// How it is found.
    pub found: Vec<Found>,
    /// The fault in words, after the part's name.
    pub words: String,
    /// Symptoms, by id.
    #[serde(default)]
    pub symptoms: Vec<String>,
    /// How a technician makes sure.
    pub confirm: String,
    /// How often.
    pub prior: Prior,
    /// Where it comes from.
    pub source: String,
}

/// The words of a prior as numbers.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Weights {
    /// Of `common`.
    pub common: f64,
    /// Of `occasional`.
    pub occasional: f64,
    /// Of `rare`.
    pub rare: f64,
    /// Where they come from.
    pub source: String,
}

/// The whole dictionary.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Faults {
    /// Priors as numbers.
    pub weights: Weights,
    /// The rows in file order.
    #[serde(rename = "fault")]
    pub faults: Vec<Fault>,
    /// What is heard and seen.
    #[serde(rename = "symptom")]
    pub symptoms: Vec<Symptom>,
}

/// Why a dictionary cannot be used.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum FaultsError {
    /// Not TOML, or not these fields.
    #[error(
        "the fault dictionary cannot be read: {0}; compare it with crates/bench/data/faults.toml"
    )]
    Unreadable(String),
    /// A row that means nothing.
    #[error("fault `{id}`: {why}")]
    Impossible {
        /// Which row.
        id: String,
        /// What is wrong with it and what to type.
        why: String,
    },
}

impl Faults {
    /// The dictionary that comes with the program.
    ///
    /// # Errors
    /// Only if the file in the program is damaged; a test reads it whole.
    pub fn standard() -> Result<Self, FaultsError> {
        Self::from_toml(include_str!("../data/faults.toml"))
    }

    /// A dictionary from text in the form of `data/faults.toml`, for a bench's own priors.
    ///
    /// # Errors
    /// When the text is no such table, or a row holds an impossible size, weight or symptom.
    pub fn from_toml(text: &str) -> Result<Self, FaultsError> {
        let faults: Self =
            toml::from_str(text).map_err(|e| FaultsError::Unreadable(e.message().to_owned()))?;
        faults.check()?;
        Ok(faults)
    }

    /// The weight of a row.
    #[must_use]
    pub fn weight(&self, prior: Prior) -> f64 {
        match prior {
            Prior::Common => self.weights.common,
            Prior::Occasional => self.weights.occasional,
            Prior::Rare => self.weights.rare,
        }
    }

    fn check(&self) -> Result<(), FaultsError> {
        let bad = |id: &str, why: &str| {
            Err(FaultsError::Impossible {
                id: id.to_owned(),
                why: why.to_owned(),
            })
        };
        let weights = [
            self.weights.common,
            self.weights.occasional,
            self.weights.rare,
        ];
        if !weights.iter().all(|w| w.is_finite() && *w > 0.0) {
            return bad("weights", "the three weights must be above 0");
        }
        for (index, fault) in self.faults.iter().enumerate() {
            if let Some((lo, hi, typ)) = fault.change.range() {
                let sound = lo > 0.0 && hi.is_finite() && lo <= typ && typ <= hi;
                if !sound {
                    return bad(
                        &fault.id,
                        "sizes must be above 0, with `typ` between `lo` and `hi`",
                    );
                }
            }
            let before = self.faults.get(..index).unwrap_or_default();
            if before.iter().any(|f| f.id == fault.id) {
                return bad(&fault.id, "another row has this id; give it one of its own");
            }
            let known = |id: &String| self.symptoms.iter().any(|s| s.id == *id);
            if let Some(unknown) = fault.symptoms.iter().find(|s| !known(s)) {
                return bad(
                    &fault.id,
                    &format!("no symptom is called `{unknown}`; add a row for it"),
                );
            }
        }
        for symptom in &self.symptoms {
            if !(symptom.times.is_finite() && symptom.times > 0.0) {
                return bad(&symptom.id, "`times` must be above 0");
            }
        }
        Ok(())
    }
}
