//! How hard every part is worked, against what it is rated for.
//!
//! Volts, watts and currents of each part come from the solved circuit: at rest with today's mains
//! and with the highest, and on a cold start, when the rails stand before the valves draw. Each is
//! held against the part's rating with the trade's derating, worst first. A rating that nobody
//! wrote down stays unknown, with the least that would do. A valve that the wiring itself runs
//! beyond its sheet is told as that: a fact of the amplifier, not a fault and not a pass. Then
//! likely faults are tried one at a time, to see what each would take with it. Where the amplifier was driven before
//! ([`crate::power`]), the clean limit and hard drive count as states, too.

mod as_made;
mod driven;
mod failing;
mod page;
mod passive;
pub(crate) mod valve;

pub(crate) use driven::under_drive;

pub use driven::{DrivenPart, UnderDrive};
pub use failing::{Failing, Pushed};

use crate::powered::{Asked, Powered, block, conditions, head, mains_volts};
use crate::sheet::{Origin, Sheet};
use crate::surge::{Surge, surge};
use crate::wall::{Wall, made_for, wall};
use serde::Serialize;
use wiring::circuit::Circuit;
use wiring::readings::Conditions;
use wiring::roles::{Anatomy, anatomy};
use wiring::sheet::Library;

/// The strain of every part.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Stress {
    /// Every quantity of every part at its worst; the largest share of its limit first, then what
    /// has no rating, the largest figure first.
    pub parts: Vec<Strained>,
    /// The drives that count among the states; none where it was not driven.
    pub drives: Vec<Drive>,
    /// What one likely fault does to the other parts.
    pub failing: Vec<Failing>,
    /// What the mains gives and may give.
    pub wall: Wall,
    /// Mains volts of today.
    pub mains_volts: Option<f64>,
    /// The sheet.
    #[serde(flatten)]
    pub sheet: Sheet,
}

/// A drive that counts.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Drive {
    /// At the clean limit or driven hard.
    pub when: When,
    /// Frequency, hertz.
    pub hertz: f64,
    /// Watts at the loudspeaker.
    pub watts: f64,
}

/// One quantity of one part, in the state that strains it most.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Strained {
    /// The part; of a valve with its section.
    pub part: String,
    /// What is strained.
    pub kind: Place,
    /// Of what sort.
    pub quantity: Quantity,
    /// The figure, in the quantity's unit.
    pub value: f64,
    /// What the part is rated for, in the same unit; none where it is not known.
    pub rating: Option<f64>,
    /// What of that the trade allows (`rating` less its derating).
    pub limit: Option<f64>,
    /// `value` over `rating`.
    pub ratio: Option<f64>,
    /// When.
    pub when: When,
    /// Of a capacitor: the largest once it is warm, in the same unit.
    pub warm: Option<f64>,
    /// How it stands.
    pub verdict: Verdict,
    /// The least rating that would do, where none is known or the one there does not.
    pub needs: Option<f64>,
    /// What would lower it, or what to do.
    pub remedy: Option<String>,
    /// Where rating and derating are from.
    pub origin: Origin,
}

/// What of a part is strained.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Place {
    /// A resistor.
    Resistor,
    /// A control or trimmer.
    Pot,
    /// A capacitor.
    Capacitor,
    /// A semiconductor or metal rectifier.
    Diode,
    /// A rectifier valve.
    Rectifier,
    /// A valve's plate.
    Plate,
    /// A valve's screen.
    Screen,
    /// A valve's cathode.
    Cathode,
    /// A valve's heater against its cathode.
    Heater,
    /// A valve's grid circuit.
    Grid,
}

impl Place {
    /// In a word.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Resistor => "resistor",
            Self::Pot => "control",
            Self::Capacitor => "capacitor",
            Self::Diode => "diode",
            Self::Rectifier => "rectifier",
            Self::Plate => "plate",
            Self::Screen => "screen",
            Self::Cathode => "cathode",
            Self::Heater => "heater to cathode",
            Self::Grid => "grid circuit",
        }
    }
}

/// Which figure.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Quantity {
    /// Highest volts across it, peaks included; without sign.
    Volts,
    /// Dissipation.
    Watts,
    /// Peak current, milliamperes.
    PeakMa,
    /// Mean current, milliamperes.
    MeanMa,
    /// Peak volts against the direction of conduction.
    InverseVolts,
    /// Peak volts between heater and cathode.
    HeaterCathodeVolts,
    /// Direct-current resistance from grid to cathode.
    GridOhms,
}

impl Quantity {
    /// Unit of its figures.
    #[must_use]
    pub fn unit(self) -> &'static str {
        match self {
            Self::Volts | Self::InverseVolts | Self::HeaterCathodeVolts => "V",
            Self::Watts => "W",
            Self::PeakMa | Self::MeanMa => "mA",
            Self::GridOhms => "ohm",
        }
    }

    /// In words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Volts => "volts",
            Self::Watts => "watts",
            Self::PeakMa => "peak current",
            Self::MeanMa => "mean current",
            Self::InverseVolts => "inverse volts",
            Self::HeaterCathodeVolts => "volts to the heater",
            Self::GridOhms => "ohms to the cathode",
        }
    }
}

/// In which state of the amplifier.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum When {
    /// At rest, today's mains.
    Idle,
    /// At rest, the highest mains.
    HighMains,
    /// Cold start, the highest mains.
    ColdStart,
    /// Driven to the clean limit, today's mains.
    CleanDrive,
    /// Driven four times as hard, today's mains.
    HardDrive,
}

impl When {
    /// In words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Idle => "at rest",
            Self::HighMains => "at rest, highest mains",
            Self::ColdStart => "cold start, highest mains",
            Self::CleanDrive => "at the clean limit",
            Self::HardDrive => "driven hard",
        }
    }
}

/// How a figure stands against its rating.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Above its rating.
    Over,
    /// Inside the rating, above what the trade allows of it.
    Hot,
    /// A valve above its sheet because the amplifier was made so.
    OverSheetAsMade,
    /// No rating is known.
    Unknown,
    /// Inside.
    Fits,
}

impl Verdict {
    /// In words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Over => "over",
            Self::Hot => "hot",
            Self::OverSheetAsMade => "over sheet, as made",
            Self::Unknown => "rating not known",
            Self::Fits => "fits",
        }
    }
}

/// The circuit in the states that strain it.
pub(crate) struct Work<'a> {
    pub(crate) circuit: &'a Circuit,
    pub(crate) library: &'a Library,
    pub(crate) anatomy: &'a Anatomy,
    pub(crate) under: Conditions,
    pub(crate) now: Option<Powered>,
    pub(crate) surge: Surge,
    pub(crate) drives: &'a [UnderDrive],
}

impl Work<'_> {
    /// A figure, or that of a drive that is larger.
    fn or_driven(
        &self,
        worst: Option<(f64, When)>,
        part: &str,
        of: impl Fn(&DrivenPart) -> Option<f64>,
    ) -> Option<(f64, When)> {
        let mut worst = worst;
        for drive in self.drives {
            let value = drive.part(part).and_then(&of).filter(|v| v.is_finite());
            if let Some(value) = value
                && worst.is_none_or(|(most, _)| value > most * (1.0 + 1e-9))
            {
                worst = Some((value, drive.when));
            }
        }
        worst
    }

    /// Each solved state.
    fn states(&self) -> impl Iterator<Item = (When, &Powered)> {
        [
            (When::Idle, self.now.as_ref()),
            (When::HighMains, self.surge.warm.as_ref()),
            (When::ColdStart, self.surge.cold.as_ref()),
        ]
        .into_iter()
        .filter_map(|(when, state)| Some((when, state?)))
    }

    /// The state in which a figure is largest; none where no state has one. A state that comes
    /// first keeps a figure that others only equal.
    fn worst(&self, of: impl Fn(&Powered) -> Option<f64>) -> Option<(f64, When)> {
        let mut worst: Option<(f64, When)> = None;
        for (when, state) in self.states() {
            let Some(value) = of(state).filter(|v| v.is_finite()) else {
                continue;
            };
            if worst.is_none_or(|(most, _)| value > most * (1.0 + 1e-9)) {
                worst = Some((value, when));
            }
        }
        worst
    }
}

/// A figure with what it is held against.
struct Held {
    rating: Option<f64>,
    /// Share of the rating that is allowed; 1 without derating.
    share: f64,
    origin: Origin,
}

impl Held {
    /// Puts a figure beside its rating.
    fn strained(
        &self,
        part: &str,
        kind: Place,
        quantity: Quantity,
        (value, when): (f64, When),
    ) -> Strained {
        let rating = self.rating.filter(|r| r.is_finite() && *r > 0.0);
        let limit = rating.map(|r| r * self.share);
        let ratio = rating.map(|r| value / r);
        let verdict = match (rating, limit) {
            (Some(r), _) if value > r => Verdict::Over,
            (_, Some(l)) if value > l => Verdict::Hot,
            (Some(_), _) => Verdict::Fits,
            (None, _) => Verdict::Unknown,
        };
        let wanting = matches!(verdict, Verdict::Over | Verdict::Hot | Verdict::Unknown);
        Strained {
            part: part.to_owned(),
            kind,
            quantity,
            value,
            rating,
            limit,
            ratio,
            when,
            warm: None,
            verdict,
            needs: wanting.then_some(value / self.share),
            remedy: None,
            origin: self.origin.clone(),
        }
    }
}

/// The strain of every part of a wiring.
#[must_use]
pub fn stress(circuit: &Circuit, library: &Library, asked: &Asked) -> Stress {
    stress_under(circuit, library, asked, &[])
}

/// The same with drives that were worked out before, under the same conditions.
#[must_use]
pub fn stress_under(
    circuit: &Circuit,
    library: &Library,
    asked: &Asked,
    drives: &[UnderDrive],
) -> Stress {
    let anatomy = anatomy(circuit);
    let block = block(circuit, asked);
    let under = conditions(asked, block);
    let today = mains_volts(circuit, &under);
    let mut sheet = Sheet::new("stress", "How hard each part is worked");
    head(&mut sheet, circuit);
    let now = match Powered::new(circuit, library, &under) {
        Ok(powered) => Some(powered),
        Err(why) => {
            sheet.missing(
                format!("figures at rest: {why}"),
                "Run `check`, and look for a slip near that point.",
            );
            None
        }
    };
    let surge = surge(circuit, library, &anatomy, asked);
    let work = Work {
        circuit,
        library,
        anatomy: &anatomy,
        under,
        now,
        surge,
        drives,
    };
    let mut parts = passive::strained(&work);
    parts.extend(valve::strained(&work));
    as_made::judge(&work, &mut parts);
    parts.sort_by(worse_first);
    let failing = failing::failing(&work, &parts);
    let drive = |d: &UnderDrive| Drive {
        when: d.when,
        hertz: d.hertz,
        watts: d.watts,
    };
    let mut stress = Stress {
        parts,
        drives: drives.iter().map(drive).collect(),
        failing,
        wall: wall(made_for(circuit), today),
        mains_volts: today,
        sheet,
    };
    page::fill(&work, block.map(|b| b.name.as_str()), &mut stress);
    stress
}

/// The strain of every part of a wiring without a sheet and without trying faults, and the highest
/// volts that it rests on.
pub(crate) fn strained(
    circuit: &Circuit,
    library: &Library,
    anatomy: &Anatomy,
    asked: &Asked,
) -> (Vec<Strained>, Surge) {
    let under = conditions(asked, block(circuit, asked));
    let work = Work {
        circuit,
        library,
        anatomy,
        now: Powered::new(circuit, library, &under).ok(),
        surge: surge(circuit, library, anatomy, asked),
        under,
        drives: &[],
    };
    let mut parts = passive::strained(&work);
    parts.extend(valve::strained(&work));
    as_made::judge(&work, &mut parts);
    parts.sort_by(worse_first);
    (parts, work.surge)
}

/// Largest share of its limit first; what has no rating last, by its figure.
fn worse_first(a: &Strained, b: &Strained) -> std::cmp::Ordering {
    let share = |s: &Strained| s.limit.map(|l| s.value / l);
    match (share(a), share(b)) {
        (Some(x), Some(y)) => y.total_cmp(&x),
        (Some(_), None) => std::cmp::Ordering::Less,
        (None, Some(_)) => std::cmp::Ordering::Greater,
        (None, None) => b.value.total_cmp(&a.value),
    }
    .then_with(|| a.part.cmp(&b.part))
    .then_with(|| a.quantity.cmp(&b.quantity))
}

#[cfg(test)]
mod tests;
