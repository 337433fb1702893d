//! What a data sheet holds, typed.

use super::law::SheetLaw;
use super::limits::{LimitQuantity, LimitSet};
use super::rows::{CurvePoint, DropRow, StageRow, StaticRow, SupplyRow};
use crate::circuit::Electrode;
use serde::{Deserialize, Serialize};

/// How sure a figure is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Confidence {
    /// Remembered with doubt; no release hangs on it.
    Low,
    /// Remembered, and makes sense beside the others.
    Medium,
    /// Seen, or remembered with independent agreement.
    High,
}

impl Confidence {
    /// In a word.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Low => "low",
            Self::Medium => "medium",
            Self::High => "high",
        }
    }
}

/// Where a figure is from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Origin {
    /// Keys into the library's sources.
    pub sources: Vec<String>,
    /// How sure it is.
    pub confidence: Confidence,
}

/// A source in full words.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Source {
    /// Author, title, publisher, address.
    pub text: String,
    /// `seen`, `seen second-hand`, or `from memory, not seen`.
    pub status: String,
}

impl Source {
    /// The source as one phrase that says its status.
    #[must_use]
    pub fn in_full(&self) -> String {
        if self.status == "from memory, not seen" {
            format!("from memory of {}, not seen", self.text)
        } else {
            format!("{} ({})", self.text, self.status)
        }
    }
}

/// What sort of valve it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum ValveKind {
    /// One triode.
    #[serde(rename = "triode")]
    Triode,
    /// Two triodes, sections a and b.
    #[serde(rename = "twin triode")]
    TwinTriode,
    /// Pentode.
    #[serde(rename = "pentode")]
    Pentode,
    /// Beam power tetrode; its beam plates are on the cathode.
    #[serde(rename = "beam tetrode")]
    BeamTetrode,
    /// Triode, section t, and pentode, section p.
    #[serde(rename = "triode-pentode")]
    TriodePentode,
    /// Rectifier with a cathode.
    #[serde(rename = "rectifier")]
    Rectifier,
    /// Rectifier whose filament is its cathode.
    #[serde(rename = "directly heated rectifier")]
    DirectlyHeatedRectifier,
    /// Glow-discharge regulator.
    #[serde(rename = "gas regulator")]
    GasRegulator,
}

impl ValveKind {
    /// In words.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Triode => "triode",
            Self::TwinTriode => "twin triode",
            Self::Pentode => "pentode",
            Self::BeamTetrode => "beam power tetrode",
            Self::TriodePentode => "triode-pentode",
            Self::Rectifier => "full-wave rectifier",
            Self::DirectlyHeatedRectifier => "full-wave rectifier, directly heated",
            Self::GasRegulator => "glow-discharge regulator",
        }
    }

    /// Is it a rectifier?
    #[must_use]
    pub fn is_rectifier(self) -> bool {
        matches!(self, Self::Rectifier | Self::DirectlyHeatedRectifier)
    }
}

/// The base, which fixes the number of pins and the way they are counted.
///
/// Seen from below, pins count clockwise from the key or the gap.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Base {
    /// Octal, 8 pins (IEC 67-I-5a, from memory, not seen).
    Octal,
    /// Noval, B9A, 9 pins.
    Noval,
    /// Miniature, B7G, 7 pins.
    Miniature,
}

impl Base {
    /// Pins of the socket.
    #[must_use]
    pub fn pins(self) -> u8 {
        match self {
            Self::Octal => 8,
            Self::Noval => 9,
            Self::Miniature => 7,
        }
    }

    /// In words.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Octal => "octal",
            Self::Noval => "noval (B9A)",
            Self::Miniature => "miniature (B7G)",
        }
    }
}

/// One electrode on a pin.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct PinElectrode {
    /// `a`, `b` of twins and of a rectifier's plates, `t`, `p` of a triode-pentode; none for what sections share.
    pub section: Option<char>,
    /// Which electrode.
    pub electrode: Electrode,
}

/// One pin of the base. A pin that the sheet doesn't name is not in the list.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Pin {
    /// Its number, from 1.
    pub number: u8,
    /// What is on it; empty: no connection.
    pub uses: Vec<PinElectrode>,
    /// Joined to something inside that is nobody's business: leave it free.
    pub internal: bool,
}

/// One way of feeding the heater.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct HeaterWay {
    /// Volts.
    pub volts: f64,
    /// Amperes.
    pub amps: f64,
}

/// A heater and how it may be fed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Heater {
    /// End to end. Of a centre-tapped heater: both halves in series.
    pub ends: HeaterWay,
    /// Of a centre-tapped heater: both ends joined, against the tap.
    pub parallel: Option<HeaterWay>,
    /// Where it is from and how sure.
    pub origin: Origin,
}

/// One stretch of heater wire between two electrodes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct HeaterPart {
    /// From.
    pub from: Electrode,
    /// To.
    pub to: Electrode,
    /// Rated volts across it.
    pub volts: f64,
    /// Rated amperes through it.
    pub amps: f64,
}

/// Interelectrode capacitances in farads, constant.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Capacitances {
    /// The section; none: each.
    pub section: Option<char>,
    /// Grid to plate.
    pub grid_plate: Option<f64>,
    /// The sheet prints grid to plate as a largest figure.
    pub grid_plate_is_most: bool,
    /// Grid to cathode and all else (input).
    pub grid_cathode: Option<f64>,
    /// Plate to cathode and all else (output).
    pub plate_cathode: Option<f64>,
    /// Where it is from and how sure.
    pub origin: Origin,
}

/// A section of a valve: what conducts on its own.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Section {
    /// Its letter; none where there is only one.
    pub letter: Option<char>,
    /// It has a screen.
    pub screen: bool,
    /// It has a control grid.
    pub grid: bool,
}

/// One data sheet.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Sheet {
    /// Type number.
    pub name: String,
    /// Other numbers of the same valve.
    pub aliases: Vec<String>,
    /// Sort of valve.
    pub kind: ValveKind,
    /// A phrase on it.
    pub about: Option<String>,
    /// The type this one shares pins and curves with, its own limits apart.
    pub like: Option<String>,
    /// Base.
    pub base: Base,
    /// Basing number, as sheets print it.
    pub basing: Option<String>,
    /// Pins by number.
    pub pins: Vec<Pin>,
    /// Where the pins are from and how sure.
    pub pins_origin: Origin,
    /// What to mind about the pins.
    pub pins_note: Option<String>,
    /// Heater; none for a cold cathode.
    pub heater: Option<Heater>,
    /// Limits, in the order of the sheet: the lowest first.
    pub limits: Vec<LimitSet>,
    /// Capacitances.
    pub capacitances: Vec<Capacitances>,
    /// Which type's curves hold: for a section, or (first field none) for all. A type that has its own names itself;
    /// `none` means that nothing is known.
    pub curves: Vec<(Option<char>, String)>,
    /// Laws that stand in the sheet itself; they go before those that `curves` names.
    #[serde(skip)]
    pub own_laws: Vec<SheetLaw>,
    /// Typical operating points.
    pub static_rows: Vec<StaticRow>,
    /// Typical stages.
    pub stage_rows: Vec<StageRow>,
    /// Readings of the average curves.
    pub curve_points: Vec<CurvePoint>,
    /// Drops of a rectifier plate.
    pub drop_rows: Vec<DropRow>,
    /// Volts that a rectifier gives.
    pub supply_rows: Vec<SupplyRow>,
}

impl Sheet {
    /// Its name and then its aliases.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        std::iter::once(self.name.as_str()).chain(self.aliases.iter().map(String::as_str))
    }

    /// The sections that conduct, in the order of their letters (t before p).
    ///
    /// A rectifier has one per plate, `a` on the lower pin.
    #[must_use]
    pub fn sections(&self) -> Vec<Section> {
        let mut letters: Vec<Option<char>> = Vec::new();
        for pin in &self.pins {
            for u in &pin.uses {
                if u.electrode == Electrode::Plate && !letters.contains(&u.section) {
                    letters.push(u.section);
                }
            }
        }
        letters.sort_by_key(|letter| match letter {
            None => 0_u32,
            Some('t') => 1,
            Some('p') => 2,
            Some(c) => 3 + u32::from(*c),
        });
        letters
            .into_iter()
            .map(|letter| Section {
                letter,
                screen: self.pin(letter, Electrode::Screen).is_some(),
                grid: self.pin(letter, Electrode::Grid).is_some(),
            })
            .collect()
    }

    /// The lowest pin that carries an electrode of a section, or one that its sections share.
    #[must_use]
    pub fn pin(&self, section: Option<char>, electrode: Electrode) -> Option<u8> {
        self.pins_of(section, electrode).next()
    }

    /// Every pin that carries the electrode: two or more are joined inside.
    pub fn pins_of(
        &self,
        section: Option<char>,
        electrode: Electrode,
    ) -> impl Iterator<Item = u8> + '_ {
        self.pins.iter().filter_map(move |pin| {
            pin.uses
                .iter()
                .any(|u| u.electrode == electrode && (u.section == section || u.section.is_none()))
                .then_some(pin.number)
        })
    }

    /// Does another pin carry the same electrode?
    #[must_use]
    pub fn is_doubled(&self, number: u8) -> bool {
        let Some(pin) = self.pins.iter().find(|pin| pin.number == number) else {
            return false;
        };
        self.pins.iter().any(|other| {
            other.number != number
                && other
                    .uses
                    .iter()
                    .any(|u| u.electrode != Electrode::Shield && pin.uses.contains(u))
        })
    }

    /// The heater as stretches of wire: one, or two of a centre-tapped one.
    #[must_use]
    pub fn heater_parts(&self) -> Vec<HeaterPart> {
        let Some(heater) = &self.heater else {
            return Vec::new();
        };
        let ends = heater.ends;
        let part = |from, to, volts| HeaterPart {
            from,
            to,
            volts,
            amps: ends.amps,
        };
        if self.pin(None, Electrode::HeaterTap).is_some() {
            vec![
                part(Electrode::Heater1, Electrode::HeaterTap, ends.volts / 2.0),
                part(Electrode::HeaterTap, Electrode::Heater2, ends.volts / 2.0),
            ]
        } else {
            vec![part(Electrode::Heater1, Electrode::Heater2, ends.volts)]
        }
    }

    /// The figure that guards a section: the safest of all rating systems that give one, in SI units.
    ///
    /// With the heater positive and nothing printed for it, the figure for the heater negative
    /// counts, at most 100 V (the direct volts that sheets with 200 V allow; from memory of late
    /// American sheets, not seen). A screen whose sheet gives only its supply is bounded by that.
    #[must_use]
    pub fn guarding_limit(&self, section: Option<char>, quantity: LimitQuantity) -> Option<f64> {
        let lowest = |wanted: LimitQuantity| {
            self.limits
                .iter()
                .filter(|set| set.covers(section))
                .filter_map(|set| set.get(wanted))
                .reduce(|a, b| wanted.safer(a, b))
        };
        lowest(quantity).or_else(|| match quantity {
            LimitQuantity::HeaterPositiveDcVolts => lowest(LimitQuantity::HeaterPositiveVolts)
                .or_else(|| lowest(LimitQuantity::HeaterNegativeVolts))
                .map(|volts| volts.min(100.0)),
            LimitQuantity::HeaterPositiveVolts => lowest(LimitQuantity::HeaterNegativeVolts),
            LimitQuantity::ScreenVolts => lowest(LimitQuantity::ScreenSupplyVolts),
            _ => None,
        })
    }

    /// The set that gives the guarding figure, for its rating system, source and confidence.
    #[must_use]
    pub fn guarding_set(
        &self,
        section: Option<char>,
        quantity: LimitQuantity,
    ) -> Option<&LimitSet> {
        let value = self.guarding_limit(section, quantity)?;
        self.limits
            .iter()
            .filter(|set| set.covers(section))
            .find(|set| set.get(quantity) == Some(value))
    }

    /// Capacitances of a section.
    #[must_use]
    pub fn capacitances_of(&self, section: Option<char>) -> Option<&Capacitances> {
        self.capacitances
            .iter()
            .find(|c| c.section == section)
            .or_else(|| {
                self.capacitances
                    .iter()
                    .find(|c| c.section.is_none() || section.is_none())
            })
    }

    /// The law that stands in the sheet itself for a section.
    #[must_use]
    pub fn own_law(&self, section: Option<char>) -> Option<&SheetLaw> {
        self.own_laws
            .iter()
            .find(|law| law.section == section)
            .or_else(|| self.own_laws.iter().find(|law| law.section.is_none()))
    }

    /// The type whose curves a section has, if any are known.
    #[must_use]
    pub fn curves_of(&self, section: Option<char>) -> Option<&str> {
        self.curves
            .iter()
            .find(|(of, _)| *of == section)
            .or_else(|| self.curves.iter().find(|(of, _)| of.is_none()))
            .map(|(_, name)| name.as_str())
            .filter(|name| *name != "none")
    }
}
