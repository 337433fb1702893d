//! Valves whose law was fitted by the user: what it rests on, and where a valve works outside its rows.

use super::model::Model;
use solve::device::{LawEntry, law_entry};
use solve::netlist::Law;
use wiring::circuit::{Circuit, Kind, Valve};
use wiring::sheet::{LawCovers, Library};

/// Rows reach a little beyond their ends: this part of the span between them, or of a single value.
const BEYOND: f64 = 0.1;

/// One note a fit, and one for each section that works outside its rows.
pub(super) fn notes(circuit: &Circuit, library: &Library, model: &Model) -> Vec<String> {
    let mut fits: Vec<(LawEntry, Vec<&str>)> = Vec::new();
    let mut outside = Vec::new();
    let assembly = model.assembly();
    for part in &circuit.parts {
        let Kind::Valve(valve) = &part.kind else {
            continue;
        };
        for index in assembly.elements_of.get(&part.name).into_iter().flatten() {
            let Some(element) = assembly.netlist.elements.get(*index) else {
                continue;
            };
            let letter = element
                .name
                .strip_prefix(part.name.as_str())
                .and_then(|rest| rest.chars().next());
            let works = working(&element.law, model, *index);
            let is_law = works.is_some() || matches!(element.law, Law::Diode { .. });
            let Some((entry, covers)) = is_law.then(|| own(library, valve, letter)).flatten()
            else {
                continue;
            };
            match fits.iter_mut().find(|(known, _)| *known == entry) {
                Some((_, parts)) if parts.contains(&part.name.as_str()) => {}
                Some((_, parts)) => parts.push(&part.name),
                None => fits.push((entry.clone(), vec![&part.name])),
            }
            let out = works.map_or_else(Vec::new, |w| w.outside(&covers));
            if !out.is_empty() && !model.is_adrift(*index) {
                outside.push(format!(
                    "{} works outside the rows that the {} was fitted to ({}): less sure than its band says",
                    element.name,
                    entry.valve,
                    out.join(", ")
                ));
            }
        }
    }
    let mut all: Vec<String> = fits
        .into_iter()
        .map(|(entry, parts)| {
            format!(
                "{}: {} as fitted to {}",
                parts.join(", "),
                entry.valve,
                entry.fit
            )
        })
        .collect();
    all.extend(outside);
    all
}

/// The user's own law that a section follows, if it does.
fn own(library: &Library, valve: &Valve, letter: Option<char>) -> Option<(LawEntry, LawCovers)> {
    let of = |name: &str| {
        let sheet = library.find(name)?;
        law_entry(sheet, letter).or_else(|| law_entry(sheet, None))
    };
    let entry = valve
        .like
        .as_deref()
        .and_then(of)
        .or_else(|| of(valve.type_in_socket()))?;
    let covers = entry.covers?;
    Some((entry, covers))
}

/// Where a section works: volts against its cathode.
struct Working {
    plate: f64,
    screen: Option<f64>,
    grid: f64,
    plate_amps: Option<f64>,
}

fn working(law: &Law, model: &Model, index: usize) -> Option<Working> {
    let state = model.nominal();
    let plate_amps = state.amps(index).first().copied();
    match law {
        Law::Triode {
            plate,
            grid,
            cathode,
            ..
        } => Some(Working {
            plate: state.across(*plate, *cathode),
            screen: None,
            grid: state.across(*grid, *cathode),
            plate_amps,
        }),
        Law::Pentode {
            plate,
            screen,
            grid,
            cathode,
            ..
        } => Some(Working {
            plate: state.across(*plate, *cathode),
            screen: Some(state.across(*screen, *cathode)),
            grid: state.across(*grid, *cathode),
            plate_amps,
        }),
        _ => None,
    }
}

impl Working {
    /// Each figure that lies outside, with where the rows are.
    fn outside(&self, covers: &LawCovers) -> Vec<String> {
        let milli = |amps: f64| amps * 1e3;
        [
            ("plate", "V", Some(self.plate), covers.plate_volts),
            ("screen", "V", self.screen, covers.screen_volts),
            ("grid", "V", Some(self.grid), covers.grid_volts),
            (
                "plate current",
                "mA",
                self.plate_amps.map(milli),
                covers
                    .plate_amps
                    .map(|(low, high)| (milli(low), milli(high))),
            ),
        ]
        .into_iter()
        .filter_map(|(what, unit, value, span)| {
            let (value, (low, high)) = (value?, span?);
            let more = BEYOND * (high - low).max(0.5 * high.abs().max(low.abs()));
            let out = value < low - more || value > high + more;
            out.then(|| {
                let rows = if low == high {
                    three(low)
                } else {
                    format!("{} to {}", three(low), three(high))
                };
                format!("{what} {} {unit}, rows {rows}", three(value))
            })
        })
        .collect()
    }
}

/// Three significant digits, without an exponent.
fn three(value: f64) -> String {
    let short: f64 = format!("{value:.2e}").parse().unwrap_or(value);
    format!("{short}")
}
