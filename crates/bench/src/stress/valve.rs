//! Valves: plate, screen, cathode, grid circuit, heater, and rectifiers.

use super::{DrivenPart, Held, Place, Quantity, Strained, Verdict, When, Work};
use crate::heating::elevated_at;
use crate::powered::{Powered, SectionAmps, electrode};
use crate::sheet::Origin;
use crate::supply::rectifier_at;
use wiring::circuit::{Electrode, History, Kind, Part, Valve};
use wiring::sheet::{Library, LimitQuantity, RatingSystem, Sheet as DataSheet};

pub(super) fn strained(work: &Work<'_>) -> Vec<Strained> {
    let mut all = Vec::new();
    for part in &work.circuit.parts {
        let Kind::Valve(valve) = &part.kind else {
            continue;
        };
        if part.known.history == Some(History::Removed) {
            continue;
        }
        for letter in sections(valve) {
            all.extend(section(work, part, valve, letter));
        }
    }
    all.extend(heaters(work));
    all.extend(rectifier(work));
    all
}

/// Letters of the sections with a plate; one without a letter for a valve of a single section.
pub(crate) fn sections(valve: &Valve) -> Vec<Option<char>> {
    let mut all = Vec::new();
    for u in &valve.electrodes {
        if u.electrode == Electrode::Plate && !all.contains(&u.section) {
            all.push(u.section);
        }
    }
    all
}

/// The sheets that bind a valve: of the type in the socket and of the type it is made for; of a
/// type that lends its curves only where neither is known.
pub(super) fn binding<'l>(library: &'l Library, valve: &Valve) -> Vec<&'l DataSheet> {
    let find = |name: &str| library.find(name);
    let mut all: Vec<&DataSheet> = [valve.type_in_socket(), valve.meant.as_str()]
        .into_iter()
        .filter_map(find)
        .collect();
    if all.is_empty() {
        all.extend(valve.like.as_deref().and_then(find));
    }
    all
}

/// A limit with the sheet it stands on.
pub(crate) struct Limit {
    pub(crate) value: f64,
    /// For an average valve on its rated mains: what the mains does besides is allowed for.
    pub(crate) centre: bool,
    pub(crate) origin: Origin,
}

/// The lowest limit of a section.
pub(crate) fn limit(
    library: &Library,
    valve: &Valve,
    letter: Option<char>,
    quantity: LimitQuantity,
    typed: Option<f64>,
) -> Option<Limit> {
    let mut lowest = typed.filter(|v| *v > 0.0).map(|value| Limit {
        value,
        centre: false,
        origin: Origin::cited("typed in the wiring"),
    });
    for sheet in binding(library, valve) {
        let Some(value) = sheet.guarding_limit(letter, quantity) else {
            continue;
        };
        if lowest.as_ref().is_none_or(|least| value < least.value) {
            let set = sheet.guarding_set(letter, quantity);
            let origin = set.map_or_else(
                || Origin::data_sheet(&sheet.name),
                |set| {
                    let cited = library.cite(&set.origin);
                    Origin::data_sheet(format!("{}, {cited}", set.system.word()))
                },
            );
            lowest = Some(Limit {
                value,
                centre: set.is_some_and(|s| s.system == RatingSystem::DesignCentre),
                origin,
            });
        }
    }
    lowest
}

fn no_limit() -> Origin {
    Origin::data_sheet("no limit on the sheet at hand")
}

fn section(work: &Work<'_>, part: &Part, valve: &Valve, letter: Option<char>) -> Vec<Strained> {
    let mut name = part.name.clone();
    name.extend(letter);
    let mut all = Vec::new();
    let mut held =
        |place, quantity, which, typed, scale: f64, of: &dyn Fn(&SectionAmps) -> Option<f64>| {
            let limit = limit(work.library, valve, letter, which, typed);
            let figure = |s: &Powered| of(&s.section(&part.name, letter)?);
            // A design-centre limit holds at the rated mains; others in every state.
            let worst = match (&limit, work.now.as_ref()) {
                (Some(Limit { centre: true, .. }), Some(now)) => {
                    figure(now).map(|v| (v, When::Idle))
                }
                _ => work.worst(figure),
            };
            let Some(worst) = worst else { return };
            let (rating, origin) = match limit {
                Some(limit) => (Some(limit.value * scale), limit.origin),
                None => (None, no_limit()),
            };
            let held = Held {
                rating,
                share: 1.0,
                origin,
            };
            let resting = held.strained(&name, place, quantity, worst);
            all.push(driven(work, part, valve, letter, &name, resting));
        };
    let over_cathode = |volts: f64, a: &SectionAmps| volts - a.cathode_volts;
    held(
        Place::Plate,
        Quantity::Volts,
        LimitQuantity::PlateVolts,
        None,
        1.0,
        &|a| Some(over_cathode(a.plate_volts, a)),
    );
    held(
        Place::Plate,
        Quantity::Watts,
        LimitQuantity::PlateWatts,
        valve.limits.plate_watts,
        1.0,
        &|a| Some(a.plate_watts()),
    );
    held(
        Place::Screen,
        Quantity::Volts,
        LimitQuantity::ScreenVolts,
        None,
        1.0,
        &|a| Some(over_cathode(a.screen_volts?, a)),
    );
    held(
        Place::Screen,
        Quantity::Watts,
        LimitQuantity::ScreenWatts,
        valve.limits.screen_watts,
        1.0,
        &|a| a.screen_watts(),
    );
    held(
        Place::Cathode,
        Quantity::MeanMa,
        LimitQuantity::CathodeAmps,
        None,
        1e3,
        &|a| Some(a.cathode * 1e3),
    );
    all.extend(grid(work, part, valve, letter, &name));
    all
}

/// A figure of a section under drive where it asks for more than at rest. A sheet's limit is for full signal without
/// clipping: what is beyond it only when driven harder is told, and is no fault.
fn driven(
    work: &Work<'_>,
    part: &Part,
    valve: &Valve,
    letter: Option<char>,
    name: &str,
    resting: Strained,
) -> Strained {
    let of = |d: &DrivenPart| match (resting.kind, resting.quantity) {
        (Place::Plate, Quantity::Watts) => d.plate_watts,
        (Place::Screen, Quantity::Watts) => d.screen_watts,
        (Place::Cathode, Quantity::MeanMa) => d.cathode_ma,
        _ => None,
    };
    // screens have a limit of their own at full signal
    let screen = (resting.kind == Place::Screen)
        .then(|| {
            let which = LimitQuantity::ScreenWattsFullSignal;
            limit(work.library, valve, letter, which, None)
        })
        .flatten();
    let (rating, origin) = match screen {
        Some(full) => (Some(full.value), full.origin),
        None => (resting.rating, resting.origin.clone()),
    };
    let held = Held {
        rating,
        share: 1.0,
        origin,
    };
    let asks = |s: &Strained| s.ratio.unwrap_or(s.value);
    let mut worst = resting.clone();
    for drive in work.drives {
        let entry = drive.part(name).or_else(|| drive.part(&part.name));
        let Some(value) = entry.and_then(of).filter(|v| v.is_finite()) else {
            continue;
        };
        let mut one = held.strained(name, resting.kind, resting.quantity, (value, drive.when));
        if drive.when == When::HardDrive && one.verdict == Verdict::Over {
            // what is over without clipping counts before what is over with it
            if worst.verdict == Verdict::Over {
                continue;
            }
            one.verdict = Verdict::OverSheetAsMade;
            one.needs = None;
            one.remedy = Some(
                "Only when driven into clipping, for which no sheet has a limit: it will not last as long."
                    .to_owned(),
            );
        }
        if asks(&one) > asks(&worst) * (1.0 + 1e-9) {
            worst = one;
        }
    }
    worst
}

/// Ohms that the grid sees to its cathode, against the limit for its kind of bias.
fn grid(
    work: &Work<'_>,
    part: &Part,
    valve: &Valve,
    letter: Option<char>,
    name: &str,
) -> Option<Strained> {
    let state = work.now.as_ref()?;
    let a = state.section(&part.name, letter)?;
    let bias = a.cathode_volts - a.grid_volts;
    if bias < 0.1 {
        return None;
    }
    let which = if a.cathode_volts > 0.5 * bias {
        LimitQuantity::GridOhmsCathodeBias
    } else {
        LimitQuantity::GridOhmsFixedBias
    };
    // The circuit outside the valve: what feedback makes of it counts not, so the valves are out.
    let node = |which| electrode(part, letter, which);
    let (grid, cathode) = (node(Electrode::Grid)?, node(Electrode::Cathode)?);
    let ohms = work.surge.cold.as_ref()?.between_ohms(grid, cathode);
    let ohms = ohms.filter(|r| *r > 0.0 && *r < 1e9)?;
    let limit = limit(work.library, valve, letter, which, None)?;
    let held = Held {
        rating: Some(limit.value),
        share: 1.0,
        origin: limit.origin,
    };
    Some(held.strained(name, Place::Grid, Quantity::GridOhms, (ohms, When::Idle)))
}

fn heaters(work: &Work<'_>) -> Vec<Strained> {
    let states: Vec<(When, &Powered)> = work.states().collect();
    let mut all = Vec::new();
    let figures: Vec<_> = states
        .iter()
        .map(|(when, state)| {
            (
                *when,
                elevated_at(work.circuit, work.library, &[Some(state)]),
            )
        })
        .collect();
    let Some((_, first)) = figures.first() else {
        return all;
    };
    for (i, one) in first.iter().enumerate() {
        if one.joined {
            continue;
        }
        // Both signs have limits of their own: the one that is nearer counts.
        let mut worst: Option<(f64, f64, When)> = None;
        for (when, list) in &figures {
            let Some(e) = list.get(i) else { continue };
            for (value, limit) in [
                (e.positive_steady_v, e.limit_positive_steady_v),
                (e.positive_peak_v, e.limit_positive_peak_v),
                (e.negative_peak_v, e.limit_negative_peak_v),
            ] {
                if worst.is_none_or(|(v, l, _)| value / limit > v / l * (1.0 + 1e-9)) {
                    worst = Some((value, limit, *when));
                }
            }
        }
        let Some((value, limit, when)) = worst.filter(|w| w.0 > 0.0) else {
            continue;
        };
        let origin = match &one.source {
            Some(source) => Origin::data_sheet(source.clone()),
            None => Origin::rule("heater.reference"),
        };
        let held = Held {
            rating: Some(limit),
            share: 1.0,
            origin,
        };
        all.push(held.strained(
            &one.valve,
            Place::Heater,
            Quantity::HeaterCathodeVolts,
            (value, when),
        ));
    }
    all
}

fn rectifier(work: &Work<'_>) -> Vec<Strained> {
    let mut all = Vec::new();
    let Some(r) = rectifier_at(
        work.circuit,
        work.library,
        work.anatomy,
        work.now.as_ref(),
        &work.surge,
    ) else {
        return all;
    };
    for part in r.parts.iter().filter(|p| p.valve.is_some()) {
        let origin = match &part.source {
            Some(source) => Origin::data_sheet(source.clone()),
            None => no_limit(),
        };
        for (quantity, now, highest, rating) in [
            (
                Quantity::PeakMa,
                r.peak_ma,
                r.peak_ma_highest,
                part.limit_peak_ma,
            ),
            (
                Quantity::MeanMa,
                r.mean_ma,
                r.mean_ma_highest,
                part.limit_mean_ma,
            ),
            (
                Quantity::InverseVolts,
                r.inverse_volts,
                r.inverse_volts_highest,
                part.limit_inverse_volts,
            ),
        ] {
            let when = if highest > now * (1.0 + 1e-9) {
                When::HighMains
            } else {
                When::Idle
            };
            let held = Held {
                rating,
                share: 1.0,
                origin: origin.clone(),
            };
            all.push(held.strained(&part.part, Place::Rectifier, quantity, (highest, when)));
        }
    }
    all
}
