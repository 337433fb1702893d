//! An output valve's plate curves with the point at which it idles, its limit, and the path its plate takes under signal.
//!
//! The curves are the fitted law of the type ([`solve::device`]), those of an average new valve, with the screen held
//! where it idles. A single valve moves along a straight load line through its idle point. Of a pair each valve's path
//! bends: both together see the whole primary, so at every drive the difference of the two plate currents goes through
//! a quarter of the plate-to-plate impedance, and where the other valve is cut off one alone sees that quarter (F.
//! Langford-Smith, Radiotron Designer's Handbook, from memory, not seen). Winding resistance, the supply's sag, and
//! the speaker's own curve are left out. Pure.

use crate::bias::{BiasRequest, Stage as Sort};
use crate::idle::{Stage, ValveIdle};
use crate::sheet::Missing;
use serde::Serialize;
use solve::device::{ValveLaw, law_entry};
use wiring::circuit::{Circuit, Electrode, Kind};
use wiring::sheet::{Library, LimitQuantity, Sheet};

/// A point in plate volts and plate amperes.
pub type Place = (f64, f64);

/// What is drawn of one output valve, or of those of one type in a stage.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlateCurves {
    /// The type.
    pub valve_type: String,
    /// What its law rests on.
    pub fit: String,
    /// Screen volts of the curves, against the cathode; none of a triode.
    pub screen_volts: Option<f64>,
    /// Screen tied to the plate.
    pub as_triode: bool,
    /// Grid volts, and plate amperes over plate volts.
    pub curves: Vec<(f64, Vec<Place>)>,
    /// Lowest plate limit, watts.
    pub limit_watts: Option<f64>,
    /// Where each valve idles.
    pub points: Vec<IdlePoint>,
    /// The path under signal.
    pub load: Option<Load>,
    /// Plate volts that the plot reaches.
    pub volts_high: f64,
    /// Plate amperes that it reaches.
    pub amps_high: f64,
    /// What could not be drawn.
    pub missing: Vec<Missing>,
    /// On what it rests.
    pub notes: Vec<String>,
}

/// Where a valve idles.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct IdlePoint {
    /// Its name; empty where only numbers were typed.
    pub name: String,
    /// Plate to cathode volts, plate amperes.
    pub at: Place,
    /// Either way, about 95 %, amperes.
    pub amps_plus_minus: Option<f64>,
    /// Read rather than computed.
    pub read: bool,
}

/// The path of one valve's plate under signal.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Load {
    /// Marked primary impedance, ohms: plate to plate, or plate to supply.
    pub primary_ohms: f64,
    /// What one valve sees when the other is cut off, ohms; of a single valve the primary itself.
    pub alone_ohms: f64,
    /// A pair.
    pub push_pull: bool,
    /// Valves on each side.
    pub on_side: u32,
    /// The path, from the grid at its cathode's volts to cut-off.
    pub path: Vec<Place>,
}

/// The load that a stage works into.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Into {
    primary_ohms: f64,
    push_pull: bool,
    on_side: u32,
}

/// The law of a section with the screen held, or tied to the plate.
#[derive(Debug, Clone, Copy)]
struct Held {
    law: ValveLaw,
    screen: Option<f64>,
}

impl Held {
    fn amps(self, plate: f64, grid: f64) -> f64 {
        match (self.law, self.screen) {
            (ValveLaw::Triode(law), _) => law.currents(plate, grid).plate_a,
            (ValveLaw::Pentode(law), Some(screen)) => law.currents(plate, screen, grid).plate.amps,
            (ValveLaw::Pentode(law), None) => law.triode_connected(plate, grid).plate_a,
            (ValveLaw::Rectifier(_), _) => 0.0,
        }
    }

    /// Grid volts at which it passes a current; the current rises with the grid.
    fn grid_for(self, plate: f64, amps: f64) -> Option<f64> {
        bisect(-400.0, 0.0, |g| self.amps(plate, g) - amps)
    }
}

/// Where a rising function is zero.
fn bisect(mut low: f64, mut high: f64, rising: impl Fn(f64) -> f64) -> Option<f64> {
    if !(rising(low) <= 0.0 && rising(high) >= 0.0) {
        return None;
    }
    for _ in 0..80 {
        let middle = f64::midpoint(low, high);
        if rising(middle) > 0.0 {
            high = middle;
        } else {
            low = middle;
        }
    }
    Some(f64::midpoint(low, high))
}

/// Of an output stage of a wiring; nothing where no valve of it has a figure or curves.
#[must_use]
pub fn of_stage(circuit: &Circuit, library: &Library, stage: &Stage) -> Option<PlateCurves> {
    let first = stage.valves.iter().find(|v| point(v).is_some())?;
    let sheet = library.find(&first.valve_type)?;
    let letter = section_letter(circuit, first);
    let entry = law_entry(sheet, letter)?;
    let idle = point(first)?;
    let as_triode = matches!(entry.law, ValveLaw::Pentode(_)) && tied(circuit, first);
    let screen = match (first.screen_w, first.screen_ma) {
        (Some(w), Some(ma)) if ma > 1e-6 => Some(w / (ma * 1e-3)),
        _ => None,
    };
    let mut out = blank(sheet, entry.fit.clone());
    out.as_triode = as_triode;
    out.limit_watts = first.plate_limit_w;
    let needs = matches!(entry.law, ValveLaw::Pentode(_)) && !as_triode;
    let held = Held {
        law: entry.law,
        screen: needs.then(|| screen.unwrap_or(idle.0)),
    };
    if needs && screen.is_none() {
        out.notes.push(
            "The screen's volts are not known: the curves take it at the plate's.".to_owned(),
        );
    }
    for v in stage
        .valves
        .iter()
        .filter(|v| v.valve_type == first.valve_type)
    {
        if let Some(at) = computed(v) {
            out.points.push(IdlePoint {
                name: v.valve.clone(),
                at,
                amps_plus_minus: None,
                read: false,
            });
        }
        if let Some(m) = &v.measured
            && let Some(at) = over(m.plate_w, m.plate_ma)
        {
            out.points.push(IdlePoint {
                name: v.valve.clone(),
                at,
                amps_plus_minus: Some(m.plate_ma_plus_minus * 1e-3),
                read: true,
            });
        }
    }
    let others = stage
        .valves
        .iter()
        .filter(|v| v.valve_type != first.valve_type);
    if let Some(v) = others.into_iter().next() {
        out.notes.push(format!(
            "{} is a {}: its curves are others and are not drawn.",
            v.valve, v.valve_type
        ));
    }
    let part = circuit.parts.iter().find(|p| p.name == stage.name);
    let transformer = part.and_then(|p| match &p.kind {
        Kind::OutputTransformer(t) => Some(t),
        _ => None,
    });
    if transformer.is_some_and(|t| t.screen_taps.is_some()) && needs {
        out.notes.push(
            "The screens are on taps and follow the plates; curves and path hold them still."
                .to_owned(),
        );
    }
    let into = transformer
        .and_then(|t| t.primary_impedance)
        .filter(|z| z.is_finite() && *z > 0.0)
        .map(|primary_ohms| Into {
            primary_ohms,
            push_pull: stage.push_pull,
            on_side: stage
                .valves
                .iter()
                .filter(|v| v.side == first.side)
                .count()
                .try_into()
                .unwrap_or(1),
        });
    if into.is_none() {
        out.missing.push(Missing {
            what: "the load line".to_owned(),
            remedy: format!(
                "Type the primary impedance of the output transformer, such as `{} output 8k:8 ohm`.",
                if stage.name.is_empty() { "T2" } else { &stage.name }
            ),
        });
    }
    finish(
        &mut out,
        held,
        idle,
        first.bias_v.filter(|_| computed(first).is_some()),
        into,
    );
    Some(out)
}

/// Of typed numbers; nothing where valve, plate volts or current are not there, or the type has no curves.
#[must_use]
pub fn of_numbers(given: &BiasRequest<'_>, load_ohms: Option<f64>) -> Option<PlateCurves> {
    let sheet = given.valve?;
    let now = crate::bias::currents_of(given)?;
    let (volts, amps) = (now.plate_volts?, now.plate_amps?);
    let idle = (volts.value, amps.value);
    if !(idle.0 > 0.0 && idle.1 > 0.0) {
        return None;
    }
    let sections = sheet.sections();
    let section = sections.iter().find(|s| s.screen).or(sections.first())?;
    let entry = law_entry(sheet, section.letter)?;
    let mut out = blank(sheet, entry.fit.clone());
    let needs = matches!(entry.law, ValveLaw::Pentode(_));
    let screen = now.screen_volts.map(|r| r.value).filter(|v| *v > 0.0);
    if needs && screen.is_none() {
        out.notes.push(
            "No screen volts were typed (`--screen`): the curves take the screen at the plate's volts."
                .to_owned(),
        );
    }
    let held = Held {
        law: entry.law,
        screen: needs.then(|| screen.unwrap_or(idle.0)),
    };
    out.limit_watts = sheet.guarding_limit(section.letter, LimitQuantity::PlateWatts);
    out.points.push(IdlePoint {
        name: sheet.name.clone(),
        at: idle,
        amps_plus_minus: Some(amps.expanded),
        read: true,
    });
    let missing = |what: &str| Missing {
        what: "the load line".to_owned(),
        remedy: what.to_owned(),
    };
    let into = match (load_ohms.filter(|z| z.is_finite() && *z > 0.0), given.stage) {
        (None, _) => {
            out.missing.push(missing(
                "Type the primary impedance of the output transformer, `--load 8k`, and the sort of stage, `--stage pair`.",
            ));
            None
        }
        (Some(_), None) => {
            out.missing.push(missing(
                "Say whether the load is of a pair or of one valve: `--stage fixed`, `pair` or `single`.",
            ));
            None
        }
        (Some(primary_ohms), Some(sort)) => Some(Into {
            primary_ohms,
            push_pull: sort != Sort::SingleEnded,
            on_side: given.on_half.max(1),
        }),
    };
    finish(&mut out, held, idle, None, into);
    Some(out)
}

fn blank(sheet: &Sheet, fit: String) -> PlateCurves {
    PlateCurves {
        valve_type: sheet.name.clone(),
        fit,
        screen_volts: None,
        as_triode: false,
        curves: Vec::new(),
        limit_watts: None,
        points: Vec::new(),
        load: None,
        volts_high: 0.0,
        amps_high: 0.0,
        missing: Vec::new(),
        notes: Vec::new(),
    }
}

/// Volts and amperes from watts and milliamperes.
fn over(watts: f64, ma: f64) -> Option<Place> {
    let amps = ma * 1e-3;
    let volts = watts / amps;
    (amps > 0.0 && volts.is_finite() && volts > 0.0).then_some((volts, amps))
}

fn computed(v: &ValveIdle) -> Option<Place> {
    over(v.plate_w?, v.plate_ma?)
}

fn point(v: &ValveIdle) -> Option<Place> {
    computed(v).or_else(|| {
        let m = v.measured.as_ref()?;
        over(m.plate_w, m.plate_ma)
    })
}

/// The section letter at the end of a valve's name, where its part bears the name without it.
fn section_letter(circuit: &Circuit, v: &ValveIdle) -> Option<char> {
    if circuit.parts.iter().any(|p| p.name == v.valve) {
        return None;
    }
    v.valve.chars().next_back()
}

/// Whether screen and plate are one point.
fn tied(circuit: &Circuit, v: &ValveIdle) -> bool {
    let letter = section_letter(circuit, v);
    let name = v
        .valve
        .strip_suffix(|c| Some(c) == letter)
        .unwrap_or(&v.valve);
    let Some(part) = circuit.parts.iter().find(|p| p.name == name) else {
        return false;
    };
    let Kind::Valve(valve) = &part.kind else {
        return false;
    };
    let node = |which| {
        valve
            .electrodes
            .iter()
            .filter(|u| u.electrode == which && (u.section == letter || u.section.is_none()))
            .find_map(|u| part.terminals.get(u.terminal)?.node)
    };
    node(Electrode::Screen).is_some() && node(Electrode::Screen) == node(Electrode::Plate)
}

/// Range, curves and path.
fn finish(out: &mut PlateCurves, held: Held, idle: Place, bias: Option<f64>, into: Option<Into>) {
    out.screen_volts = held.screen;
    let grid = bias.or_else(|| held.grid_for(idle.0, idle.1));
    match (into, grid) {
        (Some(into), Some(grid)) => {
            out.load = Some(load(held, idle, grid, into));
            if let Some(l) = &out.load
                && l.path.len() < 2
            {
                out.load = None;
            }
        }
        (Some(_), None) => out.missing.push(Missing {
            what: "the load line".to_owned(),
            remedy: "The average valve does not pass this current at these volts with its grid below the cathode: read screen and cathode again.".to_owned(),
        }),
        _ => {}
    }
    let path = || out.load.iter().flat_map(|l| &l.path);
    let volts = path()
        .map(|p| p.0)
        .chain(out.points.iter().map(|p| 1.4 * p.at.0))
        .fold(0.0, f64::max);
    let read = out.points.iter().map(|p| p.at.1).fold(0.0, f64::max);
    let amps = path()
        .map(|p| 1.1 * p.1)
        .chain([1.6 * read, 3.0 * out.limit_watts.unwrap_or(0.0) / idle.0])
        .fold(0.0, f64::max);
    out.volts_high = round_up(volts.min(2.4 * idle.0));
    out.amps_high = round_up(amps * 1e3) * 1e-3;
    out.curves = curves(held, idle.0, out.volts_high);
    out.notes.push(format!(
        "Curves of an average new {}{}: {}.",
        out.valve_type,
        match (out.screen_volts, out.as_triode) {
            (Some(v), _) => format!(", screen at {v:.0} V"),
            (None, true) => ", screen tied to the plate".to_owned(),
            (None, false) => String::new(),
        },
        out.fit.trim_end_matches('.')
    ));
    if let Some(l) = &out.load {
        out.notes.push(if l.push_pull {
            format!(
                "The load line is of {:.0} ohm plate to plate: a quarter, {:.0} ohm, for each valve once the other is cut off{}; near idle both conduct and it bends.",
                l.primary_ohms,
                l.alone_ohms,
                match l.on_side {
                    0 | 1 => String::new(),
                    n => format!(", times {n} side by side"),
                }
            )
        } else {
            format!(
                "The load line is of {:.0} ohm, the whole primary, through the idle point.",
                l.primary_ohms
            )
        });
        out.notes.push(
            "It takes the marked impedance with the marked speaker; windings, sag and the speaker's own curve are left out."
                .to_owned(),
        );
    }
}

/// The next of 1, 1.2, 1.4, 1.6, 2, 2.5, 3, 4, 5, 6, 7, 8 times a power of ten.
fn round_up(v: f64) -> f64 {
    if !(v.is_finite() && v > 0.0) {
        return 1.0;
    }
    let power = 10f64.powf(v.log10().floor());
    [1.0, 1.2, 1.4, 1.6, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0]
        .into_iter()
        .map(|m| m * power)
        .find(|s| *s >= v * (1.0 - 1e-9))
        .unwrap_or(10.0 * power)
}

/// Samples along a curve.
const SAMPLES: u32 = 160;

fn curves(held: Held, volts: f64, high: f64) -> Vec<(f64, Vec<Place>)> {
    // From the cathode's volts down to where it is as good as cut off.
    let full = held.amps(volts, 0.0);
    let cut = held.grid_for(volts, 0.01 * full).unwrap_or(-50.0);
    let step = round_up(-cut / 7.0);
    let mut out = Vec::new();
    let mut n = 0.0;
    while n * step <= -cut && out.len() < 12 {
        let grid = -n * step;
        let along = (0..=SAMPLES).map(|i| {
            // Closer together near the knee.
            let share = (f64::from(i) / f64::from(SAMPLES)).powf(1.6);
            (share * high, held.amps(share * high, grid))
        });
        out.push((grid, along.collect()));
        n += 1.0;
    }
    out
}

/// The path of one valve's plate, from its grid at the cathode's volts to cut-off.
fn load(held: Held, idle: Place, grid: f64, into: Into) -> Load {
    let on_side = into.on_side.max(1);
    let many = f64::from(on_side);
    let alone = if into.push_pull {
        into.primary_ohms / 4.0
    } else {
        into.primary_ohms
    } * many;
    let mut path = Vec::new();
    if into.push_pull {
        let swing = -grid;
        for i in 0..=SAMPLES {
            let drive = swing * (1.0 - 2.0 * f64::from(i) / f64::from(SAMPLES));
            // The other side is driven the other way and stands as far on the other side of the supply.
            let surplus = |v: f64| {
                let own = held.amps(v, grid + drive);
                let other = held.amps(2.0 * idle.0 - v, grid - drive);
                own - other - (idle.0 - v) / alone
            };
            if let Some(v) = bisect(0.0, 2.0 * idle.0, surplus) {
                path.push((v, held.amps(v, grid + drive)));
            }
        }
    } else {
        let on_line = |v: f64| idle.1 + (idle.0 - v) / alone;
        let end = idle.0 + idle.1 * alone;
        let start = bisect(0.0, end, |v| held.amps(v, 0.0) - on_line(v)).unwrap_or(0.0);
        path = vec![(start, on_line(start)), (end, 0.0)];
    }
    Load {
        primary_ohms: into.primary_ohms,
        alone_ohms: alone,
        push_pull: into.push_pull,
        on_side,
        path,
    }
}
