//! The part that would replace another: value, tolerance, volts, watts and kind.
//!
//! Ratings are the smallest that are sold and not below the need. The need is the larger of what was
//! computed with the parts as they are and with everything new that is to be replaced, each divided
//! by the share of a rating that the place allows, and never below what was marked. Where no part
//! that is sold reaches it, that is said and no rating is given.

use crate::charge::is_electrolytic;
use crate::part::{power_factor, rated_volts, rated_watts, resistor_volts};
use crate::rules::rules;
use crate::stress::{Quantity as Strain, Strained};
use crate::surge::Surge;
use serde::Serialize;
use wiring::circuit::{DiodeSort, Kind, Make, Part, PartId, Taper};
use wiring::roles::{Anatomy, BlockKind, Role};
use wiring::units::series::Series;
use wiring::units::{Quantity, engineering};

/// Inverse volts that a silicon diode is ordered with: the most that single ones are sold with, since
/// it costs no more. Common practice, no source.
const RATED_INVERSE: f64 = 1000.0;

/// What to order.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Replacement {
    /// Value in `unit`.
    pub value: Option<f64>,
    /// `ohm`, `F`, `A` or nothing.
    pub unit: &'static str,
    /// Tolerance, per cent.
    pub tolerance_percent: Option<f64>,
    /// Rated volts, at least.
    pub volts: Option<f64>,
    /// Rated watts, at least.
    pub watts: Option<f64>,
    /// What it is made of, or which type.
    pub kind: String,
    /// Volts that were computed to be needed.
    pub needs_volts: Option<f64>,
    /// Watts that were computed to be needed.
    pub needs_watts: Option<f64>,
    /// All of it as one orders it.
    pub words: String,
    /// What to mind.
    pub note: Option<String>,
}

/// A part in its place.
pub(super) struct Place<'a> {
    pub(super) part: &'a Part,
    pub(super) id: PartId,
    pub(super) anatomy: &'a Anatomy,
    pub(super) now: &'a [Strained],
    pub(super) after: Vec<&'a Strained>,
    pub(super) surges: [&'a Surge; 2],
}

impl Place<'_> {
    fn has(&self, role: Role) -> bool {
        self.anatomy.has(self.id, role)
    }

    /// The rating that a quantity asks for; none where it was not computed.
    fn need(&self, quantity: Strain) -> Option<f64> {
        self.now
            .iter()
            .chain(self.after.iter().copied())
            .filter(|s| s.quantity == quantity)
            .map(|s| match (s.rating, s.limit) {
                (Some(rating), Some(limit)) if limit > 0.0 => s.value * rating / limit,
                _ => s.needs.unwrap_or(s.value),
            })
            .filter(|v| v.is_finite())
            .reduce(f64::max)
    }

    /// The highest volts of either end against ground, in either state.
    fn rail(&self) -> Option<f64> {
        let ends = self.part.terminals.iter().filter_map(|t| t.node);
        ends.flat_map(|n| self.surges.iter().filter_map(move |s| s.node(n)))
            .reduce(f64::max)
    }
}

/// The part that would take a part's place; none where nothing can be said of it, or nothing may.
pub(super) fn replacement(at: &Place<'_>) -> Option<Replacement> {
    match &at.part.kind {
        Kind::Resistor { ohms } => Some(resistor(at, (*ohms)?)),
        Kind::Capacitor { farads, .. } => capacitor(at, (*farads)?),
        Kind::Pot { ohms, taper, .. } => Some(pot(at, (*ohms)?, taper)),
        Kind::Diode { sort } => diode(at, *sort),
        Kind::Fuse { amps, slow } => Some(fuse((*amps)?, *slow)),
        Kind::Valve(valve) => Some(plain(valve.meant.clone(), None)),
        _ => None,
    }
}

fn plain(kind: String, note: Option<String>) -> Replacement {
    Replacement {
        value: None,
        unit: "",
        tolerance_percent: None,
        volts: None,
        watts: None,
        words: kind.clone(),
        kind,
        needs_volts: None,
        needs_watts: None,
        note,
    }
}

fn words(parts: impl IntoIterator<Item = Option<String>>) -> String {
    let all: Vec<String> = parts.into_iter().flatten().collect();
    all.join(" ")
}

fn resistor(at: &Place<'_>, ohms: f64) -> Replacement {
    let screen = at.has(Role::ScreenResistor)
        && at.anatomy.blocks.iter().any(|b| {
            matches!(b.kind, BlockKind::PushPull | BlockKind::SingleEnded)
                && b.parts.contains(&(at.id, Role::ScreenResistor))
        });
    // Drive works an output screen's resistor harder than these figures: the upper end of its rule.
    let least = match rules().range("res.screen", "rating") {
        Some((_, high)) if screen => high,
        _ => 0.0,
    };
    let marked = at.part.known.watts.unwrap_or(0.0);
    let computed = at.need(Strain::Watts);
    let film = power_factor().unwrap_or(2.0);
    // The share of its place, and never less than that of film.
    let own = at
        .now
        .iter()
        .chain(at.after.iter().copied())
        .filter(|s| s.quantity == Strain::Watts)
        .map(|s| s.value * film)
        .reduce(f64::max);
    let needs_watts = match (computed, own) {
        (Some(a), Some(b)) => Some(a.max(b).max(least)),
        (a, b) => a.or(b).map(|w| w.max(least)),
    };
    let needs_volts = at.need(Strain::Volts).or_else(|| at.rail());
    let watts = needs_watts.and_then(|need| {
        let mut rating = rated_watts(need.max(marked).max(0.5))?;
        // a larger size for its volts
        for _ in 0..8 {
            if resistor_volts(rating).is_some_and(|v| v >= needs_volts.unwrap_or(0.0)) {
                return Some(rating);
            }
            rating = rated_watts(rating * 1.01)?;
        }
        None
    });
    let volts = watts.and_then(resistor_volts);
    let wound = at.part.known.make == Some(Make::Wirewound) || watts.is_some_and(|w| w > 3.0);
    let kind = match (wound, screen) {
        (true, _) => "wirewound",
        (false, true) => "flame-proof film",
        (false, false) => "film",
    };
    let tight = at.anatomy.blocks.iter().any(|b| {
        matches!(
            b.kind,
            BlockKind::LongTailedPair | BlockKind::Cathodyne | BlockKind::Paraphase
        ) && (b.parts.contains(&(at.id, Role::PlateLoad))
            || b.parts.contains(&(at.id, Role::CathodeLoad)))
    });
    let tolerance = if tight { 2.0 } else { 5.0 };
    let value = near(Series::E24, ohms, 0.05);
    let note = if needs_watts.is_none() {
        Some("its watts are not known yet: trace its place before it is ordered".to_owned())
    } else if watts.is_none() {
        Some("no single part is sold for its watts and volts: two in series".to_owned())
    } else if tight {
        Some("matched with its mate, by their ratio".to_owned())
    } else {
        None
    };
    Replacement {
        words: words([
            Some(engineering(value, Quantity::Ohms)),
            Some(format!("{tolerance} %")),
            watts.map(|w| format!("{w} W")),
            Some(kind.to_owned()),
        ]),
        value: Some(value),
        unit: "ohm",
        tolerance_percent: Some(tolerance),
        volts,
        watts,
        kind: kind.to_owned(),
        needs_volts,
        needs_watts,
        note,
    }
}

/// The value of the series within a share of the one marked; else the one marked.
fn near(series: Series, value: f64, share: f64) -> f64 {
    series
        .nearest(value)
        .filter(|v| (v / value - 1.0).abs() <= share)
        .unwrap_or(value)
}

fn capacitor(at: &Place<'_>, farads: f64) -> Option<Replacement> {
    if at.has(Role::LineCapacitor) {
        return None;
    }
    if at.has(Role::MainsCapacitor) {
        let mut part = plain("X2 class".to_owned(), None);
        part.value = Some(farads);
        part.unit = "F";
        part.words = words([
            Some(engineering(farads, Quantity::Farads)),
            Some(part.kind.clone()),
        ]);
        return Some(part);
    }
    let electrolytic = is_electrolytic(at.part);
    let computed = at.need(Strain::Volts);
    let rail = rules()
        .figure("cap.coupling.voltage", "rated / highest HT")
        .zip(at.rail())
        .map(|(factor, volts)| factor.max(1.25) * volts);
    let holds_back = at.has(Role::Coupling) || at.has(Role::TremoloCoupling);
    let preamp = at
        .has(Role::CathodeBypass)
        .then(|| rules().figure("cap.cathode_bypass.voltage", "preamp bypass rated"))
        .flatten();
    let mut needs = computed;
    for more in [
        rail.filter(|_| holds_back),
        preamp.filter(|_| computed.is_some()),
    ] {
        needs = match (needs, more) {
            (Some(a), Some(b)) => Some(a.max(b)),
            (a, b) => a.or(b),
        };
    }
    let marked = at.part.known.volts.unwrap_or(0.0);
    let volts = needs.and_then(|need| rated_volts(need.max(marked)).or_else(|| rated_volts(need)));
    let (kind, value, tolerance) = if electrolytic {
        // The nearest that is sold, within what a reservoir may be (0.8 to 1.5 times).
        let value = [Series::E6.nearest(farads), Series::E6.at_least(farads)]
            .into_iter()
            .flatten()
            .find(|v| (0.9..=1.5).contains(&(v / farads)))
            .unwrap_or(farads);
        ("electrolytic, 105 °C", value, 20.0)
    } else {
        let kind = match at.part.known.make {
            Some(Make::Mica) => "mica",
            Some(Make::Ceramic) => "ceramic",
            None if farads < 1e-9 => "mica",
            _ => "film",
        };
        (kind, near(Series::E12, farads, 0.1), 10.0)
    };
    let note = if needs.is_none() {
        Some("its volts are not known yet: trace its place before it is ordered".to_owned())
    } else if volts.is_none() {
        Some(
            "no single part is sold for its volts: two in series, each with a resistor across"
                .to_owned(),
        )
    } else if at.has(Role::Reservoir) {
        Some("no larger: the rectifier's peak current grows with it".to_owned())
    } else {
        None
    };
    Some(Replacement {
        words: words([
            Some(engineering(value, Quantity::Farads)),
            volts.map(|v| format!("{v} V")),
            Some(kind.to_owned()),
        ]),
        value: Some(value),
        unit: "F",
        tolerance_percent: Some(tolerance),
        volts,
        watts: None,
        kind: kind.to_owned(),
        needs_volts: needs,
        needs_watts: None,
        note,
    })
}

fn pot(at: &Place<'_>, ohms: f64, taper: &Taper) -> Replacement {
    let taper = match taper {
        Taper::Linear => "linear",
        Taper::Audio(_) => "audio",
        Taper::Reverse(_) => "reverse audio",
        Taper::Measured(_) => "of the measured track",
    };
    let needs_watts = at.need(Strain::Watts);
    let watts = needs_watts.and_then(|w| rated_watts(w.max(at.part.known.watts.unwrap_or(0.0))));
    Replacement {
        words: words([
            Some(engineering(ohms, Quantity::Ohms)),
            Some(taper.to_owned()),
            watts.map(|w| format!("{w} W")),
            Some("control".to_owned()),
        ]),
        value: Some(ohms),
        unit: "ohm",
        tolerance_percent: Some(20.0),
        volts: None,
        watts,
        kind: format!("{taper} control"),
        needs_volts: None,
        needs_watts,
        note: Some("clean it first; shaft, bushing and tags as the old one".to_owned()),
    }
}

fn diode(at: &Place<'_>, sort: DiodeSort) -> Option<Replacement> {
    let needs = at.need(Strain::InverseVolts);
    let (kind, note) = match sort {
        DiodeSort::Silicon(_) => ("silicon diode", None),
        DiodeSort::Selenium => (
            "silicon diode",
            Some("it drops less than selenium: put ohms in series until the volts are as before"),
        ),
        DiodeSort::Zener(_) | DiodeSort::Ideal => return None,
    };
    let volts = needs
        .is_some_and(|need| need <= RATED_INVERSE)
        .then_some(RATED_INVERSE);
    let note = if needs.is_none() {
        Some("its inverse volts are not known yet: trace its place before it is ordered")
    } else if volts.is_none() {
        Some("no single diode is sold for its inverse volts")
    } else {
        note
    };
    Some(Replacement {
        words: words([Some(kind.to_owned()), volts.map(|v| format!("{v} V"))]),
        value: None,
        unit: "",
        tolerance_percent: None,
        volts,
        watts: None,
        kind: kind.to_owned(),
        needs_volts: needs,
        needs_watts: None,
        note: note.map(str::to_owned),
    })
}

fn fuse(amps: f64, slow: bool) -> Replacement {
    let kind = if slow { "slow fuse" } else { "fuse" };
    Replacement {
        words: format!("{} {kind}", engineering(amps, Quantity::Amps)),
        value: Some(amps),
        unit: "A",
        tolerance_percent: None,
        volts: None,
        watts: None,
        kind: kind.to_owned(),
        needs_volts: None,
        needs_watts: None,
        note: Some("the rating marked on the chassis, never a larger or slower one".to_owned()),
    }
}
