//! Reads the data file of sheets; every problem of one type leaves the others whole.
//!
//! Refuses what it can't understand: an unknown key is a problem, never skipped in silence.

use super::law::{self, SheetLaw};
use super::limits::{LimitQuantity, LimitSet, RatingSystem};
use super::rows::{Accept, CurvePoint, DropRow, StageRow, StaticRow, SupplyRow};
use super::types::{
    Base, Capacitances, Confidence, Heater, HeaterWay, Origin, Pin, PinElectrode, Sheet, Source,
    ValveKind,
};
use super::{Library, plain};
use crate::circuit::Electrode;
use crate::diagnostic::{Diagnostic, Place, Severity};
use serde::Deserialize;
use std::collections::BTreeMap;
use toml::Spanned;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    #[serde(default)]
    source: BTreeMap<String, Source>,
    #[serde(default)]
    valve: Vec<Spanned<toml::Table>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawValve {
    r#type: String,
    #[serde(default)]
    aliases: Vec<String>,
    like: Option<String>,
    kind: Option<ValveKind>,
    about: Option<String>,
    base: Option<Base>,
    basing: Option<String>,
    pins: Option<BTreeMap<String, String>>,
    pins_confidence: Option<Confidence>,
    pins_source: Option<String>,
    pins_note: Option<String>,
    heater: Option<RawHeater>,
    #[serde(default)]
    limits: Vec<toml::Table>,
    #[serde(default)]
    capacitances: Vec<RawCapacitances>,
    curves: Option<RawCurves>,
    law: Option<RawLaws>,
    #[serde(default, rename = "static")]
    static_rows: Vec<RawStatic>,
    #[serde(default)]
    curve: Vec<RawPoint>,
    #[serde(default)]
    stage: Vec<RawStage>,
    #[serde(default)]
    drop: Vec<RawDrop>,
    #[serde(default)]
    supply: Vec<RawSupply>,
}

#[derive(Deserialize)]
#[serde(untagged)]
enum RawCurves {
    All(String),
    Each(BTreeMap<char, String>),
}

#[derive(Deserialize)]
#[serde(untagged)]
enum RawLaws {
    One(toml::Table),
    Several(Vec<toml::Table>),
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawHeater {
    volts: Option<f64>,
    amps: Option<f64>,
    series: Option<HeaterWay>,
    parallel: Option<HeaterWay>,
    confidence: Confidence,
    source: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawCapacitances {
    section: Option<char>,
    grid_plate: Option<f64>,
    grid_plate_most: Option<f64>,
    grid_cathode: Option<f64>,
    plate_cathode: Option<f64>,
    confidence: Confidence,
    source: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawStatic {
    section: Option<char>,
    #[serde(default)]
    triode_connected: bool,
    plate: f64,
    screen: Option<f64>,
    grid: Option<f64>,
    cathode_ohms: Option<f64>,
    plate_ma: Option<f64>,
    screen_ma: Option<f64>,
    cathode_ma: Option<f64>,
    gm_us: Option<f64>,
    rp: Option<f64>,
    rp_least: Option<f64>,
    mu: Option<f64>,
    mu_screen: Option<f64>,
    error_percent: Option<f64>,
    note: Option<String>,
    #[serde(default)]
    accept: RawAccept,
    not_gated: Option<String>,
    confidence: Confidence,
    source: String,
}

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields)]
struct RawAccept {
    plate: Option<f64>,
    screen: Option<f64>,
    gm: Option<f64>,
    rp: Option<f64>,
    mu: Option<f64>,
    why: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawPoint {
    grid: f64,
    plate: f64,
    plate_ma: f64,
    confidence: Confidence,
    source: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawStage {
    r#use: String,
    class: Option<String>,
    supply: Option<f64>,
    screen_supply: Option<f64>,
    plate: Option<f64>,
    screen: Option<f64>,
    grid: Option<f64>,
    cathode_ohms: Option<f64>,
    cathode_ohms_each: Option<f64>,
    #[serde(default)]
    cathode_bypassed: bool,
    screen_ohms: Option<f64>,
    plate_ohms: Option<f64>,
    next_grid_ohms: Option<f64>,
    load_ohms: Option<f64>,
    drive_peak: Option<f64>,
    drive_peak_pair: Option<f64>,
    drive_rms: Option<f64>,
    plate_ma: Option<f64>,
    plate_ma_full: Option<f64>,
    screen_ma: Option<f64>,
    screen_ma_full: Option<f64>,
    cathode_ma: Option<f64>,
    gain: Option<f64>,
    output_rms: Option<f64>,
    distortion_percent: Option<f64>,
    watts: Option<f64>,
    grid_drive_mw: Option<f64>,
    note: Option<String>,
    confidence: Confidence,
    source: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawDrop {
    ma: f64,
    volts: f64,
    note: Option<String>,
    confidence: Confidence,
    source: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawSupply {
    ac_volts: f64,
    reservoir_uf: Option<f64>,
    source_ohms: Option<f64>,
    choke_henries: Option<f64>,
    output_ma: f64,
    output_volts: f64,
    hertz: f64,
    confidence: Confidence,
    source: String,
}

/// Collects problems with the place of the type they are in.
struct Problems<'t> {
    text: &'t str,
    file: usize,
    list: Vec<Diagnostic>,
}

impl Problems<'_> {
    fn place(&self, span: std::ops::Range<usize>) -> Place {
        let start = span.start.min(self.text.len());
        let before = self.text.get(..start).unwrap_or_default();
        let line_start = before.rfind('\n').map_or(0, |i| i + 1);
        Place {
            file: self.file,
            line: before.matches('\n').count() + 1,
            column: before.get(line_start..).map_or(0, |s| s.chars().count()) + 1,
            start,
            end: span.end.clamp(start, self.text.len()),
        }
    }

    fn add(
        &mut self,
        code: &'static str,
        span: std::ops::Range<usize>,
        what: String,
        advice: &str,
    ) {
        let place = self.place(span);
        self.list.push(Diagnostic {
            code,
            severity: Severity::Error,
            place,
            message: what,
            advice: advice.to_owned(),
            also: None,
        });
    }
}

/// Reads a data file; `base` is what its types may be `like`.
pub(super) fn read(text: &str, base: &Library, file: usize) -> (Library, Vec<Diagnostic>) {
    let mut problems = Problems {
        text,
        file,
        list: Vec::new(),
    };
    let raw: File = match toml::from_str(text) {
        Ok(raw) => raw,
        Err(error) => {
            problems.add(
                "types-file",
                error.span().unwrap_or(0..0),
                format!("The file of valve types can't be read: {}.", error.message()),
                "Mend this line; the file holds `[source.KEY]` and `[[valve]]` tables as in docs/valves.md.",
            );
            return (Library::default(), problems.list);
        }
    };
    // A built-in key keeps its meaning: figures that name it must not change their source.
    for key in raw.source.keys().filter(|k| base.source(k).is_some()) {
        let at = text.find(&format!("[source.{key}]")).unwrap_or(0);
        problems.add(
            "types-entry",
            at..at,
            format!("The built-in sheets have a source `{key}` already."),
            "Give yours another key.",
        );
    }
    let mut library = Library {
        sheets: Vec::new(),
        sources: raw
            .source
            .into_iter()
            .filter(|(key, _)| base.source(key).is_none())
            .collect(),
    };
    // A `like` may name a type further down, so types wait until what they lean on is there.
    let mut waiting: Vec<(std::ops::Range<usize>, RawValve)> = Vec::new();
    for table in raw.valve {
        let span = table.span();
        let name = table
            .get_ref()
            .get("type")
            .and_then(|t| t.as_str())
            .unwrap_or("this type")
            .to_owned();
        match toml::Value::Table(table.into_inner()).try_into::<RawValve>() {
            Ok(valve) if plain(&valve.r#type).is_empty() => problems.add(
                "types-entry",
                span,
                "A valve has no type number.".to_owned(),
                "Give it one: `type = \"12AX7\"`.",
            ),
            Ok(valve) => waiting.push((span, valve)),
            Err(error) => problems.add(
                "types-entry",
                span,
                format!(
                    "{name} can't be read: {}.",
                    error.to_string().trim().replace('\n', " ")
                ),
                "Mend the key it names; the built-in sheets show every key.",
            ),
        }
    }
    while !waiting.is_empty() {
        let mut later = Vec::new();
        let count = waiting.len();
        for (span, valve) in waiting {
            let parent = match &valve.like {
                None => None,
                Some(like) => match library.find(like).or_else(|| base.find(like)) {
                    Some(sheet) => Some(sheet.clone()),
                    None => {
                        later.push((span, valve));
                        continue;
                    }
                },
            };
            let known = |key: &str| library.sources.contains_key(key) || base.source(key).is_some();
            match build(valve, parent, &known) {
                Ok(sheet)
                    if library
                        .sheets
                        .iter()
                        .any(|s| plain(&s.name) == plain(&sheet.name)) =>
                {
                    problems.add(
                        "types-twice",
                        span,
                        format!("{} is described twice.", sheet.name),
                        "Keep one of the two.",
                    );
                }
                Ok(sheet) => library.sheets.push(sheet),
                Err((name, what)) => problems.add(
                    "types-entry",
                    span,
                    format!("{name}: {what}."),
                    "Mend it; the built-in sheets show how it is written.",
                ),
            }
        }
        if later.len() == count {
            for (span, valve) in later {
                let like = valve.like.unwrap_or_default();
                problems.add(
                    "types-like",
                    span,
                    format!("{} is like `{like}`, which has no sheet.", valve.r#type),
                    "Name a type that has one.",
                );
            }
            break;
        }
        waiting = later;
    }
    library.sheets.sort_by(|a, b| a.name.cmp(&b.name));
    (library, problems.list)
}

type Known<'k> = &'k dyn Fn(&str) -> bool;

fn origin(confidence: Confidence, source: &str, known: Known) -> Result<Origin, String> {
    let sources: Vec<String> = source.split(',').map(|s| s.trim().to_owned()).collect();
    match sources.iter().find(|key| !known(key)) {
        Some(key) => Err(format!("nothing says what the source `{key}` is")),
        None => Ok(Origin {
            sources,
            confidence,
        }),
    }
}

fn build(raw: RawValve, parent: Option<Sheet>, known: Known) -> Result<Sheet, (String, String)> {
    let name = raw.r#type.clone();
    build_named(raw, parent, known).map_err(|what| (name, what))
}

fn build_named(raw: RawValve, parent: Option<Sheet>, known: Known) -> Result<Sheet, String> {
    let missing = |what: &str| format!("`{what}` is missing, and so is `like`");
    let kind = raw
        .kind
        .or(parent.as_ref().map(|p| p.kind))
        .ok_or_else(|| missing("kind"))?;
    let base = raw
        .base
        .or(parent.as_ref().map(|p| p.base))
        .ok_or_else(|| missing("base"))?;
    let (pins, pins_origin) = match (raw.pins, &parent) {
        (Some(pins), _) => {
            let confidence = raw.pins_confidence.ok_or("`pins_confidence` is missing")?;
            let source = raw.pins_source.ok_or("`pins_source` is missing")?;
            (read_pins(pins, base)?, origin(confidence, &source, known)?)
        }
        (None, Some(p)) => (p.pins.clone(), p.pins_origin.clone()),
        (None, None) => return Err(missing("pins")),
    };
    let heater = match raw.heater {
        Some(heater) => Some(read_heater(heater, known)?),
        None => parent.as_ref().and_then(|p| p.heater.clone()),
    };
    let limits = if raw.limits.is_empty() {
        parent
            .as_ref()
            .map(|p| p.limits.clone())
            .unwrap_or_default()
    } else {
        raw.limits
            .into_iter()
            .map(|table| read_limits(table, known))
            .collect::<Result<_, _>>()?
    };
    let capacitances = if raw.capacitances.is_empty() {
        parent
            .as_ref()
            .map(|p| p.capacitances.clone())
            .unwrap_or_default()
    } else {
        raw.capacitances
            .into_iter()
            .map(|c| read_capacitances(&c, known))
            .collect::<Result<_, _>>()?
    };
    let own_laws = match raw.law {
        Some(laws) => read_laws(laws, known)?,
        // With the kin's curves come the kin's own laws.
        None if raw.curves.is_none() => parent
            .as_ref()
            .map(|p| {
                let of = |law: &SheetLaw| law.of.clone().or_else(|| Some(p.name.clone()));
                p.own_laws
                    .iter()
                    .map(|law| SheetLaw {
                        of: of(law),
                        ..law.clone()
                    })
                    .collect()
            })
            .unwrap_or_default(),
        None => Vec::new(),
    };
    let curves = match raw.curves {
        Some(RawCurves::All(one)) => vec![(None, one)],
        Some(RawCurves::Each(each)) => each.into_iter().map(|(s, name)| (Some(s), name)).collect(),
        None => parent
            .as_ref()
            .map_or_else(|| vec![(None, raw.r#type.clone())], |p| p.curves.clone()),
    };
    let sheet = Sheet {
        name: raw.r#type,
        aliases: raw.aliases,
        kind,
        about: raw
            .about
            .or_else(|| parent.as_ref().and_then(|p| p.about.clone())),
        like: raw.like.and(parent.as_ref().map(|p| p.name.clone())),
        base,
        basing: raw
            .basing
            .or_else(|| parent.as_ref().and_then(|p| p.basing.clone())),
        pins,
        pins_origin,
        pins_note: raw
            .pins_note
            .or_else(|| parent.as_ref().and_then(|p| p.pins_note.clone())),
        heater,
        limits,
        capacitances,
        curves,
        own_laws,
        static_rows: raw
            .static_rows
            .into_iter()
            .map(|r| read_static(r, known))
            .collect::<Result<_, _>>()?,
        stage_rows: raw
            .stage
            .into_iter()
            .map(|r| read_stage(r, known))
            .collect::<Result<_, _>>()?,
        curve_points: raw
            .curve
            .into_iter()
            .map(|r| {
                Ok(CurvePoint {
                    grid: r.grid,
                    plate: r.plate,
                    plate_amps: r.plate_ma * 1e-3,
                    origin: origin(r.confidence, &r.source, known)?,
                })
            })
            .collect::<Result<_, String>>()?,
        drop_rows: raw
            .drop
            .into_iter()
            .map(|r| {
                Ok(DropRow {
                    amps: r.ma * 1e-3,
                    volts: r.volts,
                    note: r.note,
                    origin: origin(r.confidence, &r.source, known)?,
                })
            })
            .collect::<Result<_, String>>()?,
        supply_rows: raw
            .supply
            .into_iter()
            .map(|r| {
                Ok(SupplyRow {
                    ac_volts: r.ac_volts,
                    reservoir_farads: r.reservoir_uf.map(|c| c * 1e-6),
                    source_ohms: r.source_ohms,
                    choke_henries: r.choke_henries,
                    output_amps: r.output_ma * 1e-3,
                    output_volts: r.output_volts,
                    hertz: r.hertz,
                    origin: origin(r.confidence, &r.source, known)?,
                })
            })
            .collect::<Result<_, String>>()?,
    };
    check_heater_pins(&sheet)?;
    check_laws(&sheet)?;
    Ok(sheet)
}

/// Each law is for a section that is there, and there is one for each at most.
fn check_laws(sheet: &Sheet) -> Result<(), String> {
    for (i, law) in sheet.own_laws.iter().enumerate() {
        if let Some(letter) = law.section
            && !sheet.sections().iter().any(|s| s.letter == Some(letter))
        {
            return Err(format!(
                "the law is for a section `{letter}` that no pin has"
            ));
        }
        let before = sheet.own_laws.iter().take(i);
        if before.clone().any(|other| other.section == law.section) {
            return Err("there are two laws for the same section".into());
        }
    }
    Ok(())
}

fn read_laws(raw: RawLaws, known: Known) -> Result<Vec<SheetLaw>, String> {
    let tables = match raw {
        RawLaws::One(table) => vec![table],
        RawLaws::Several(tables) => tables,
    };
    tables
        .iter()
        .map(|table| {
            let word = |key: &str| table.get(key).and_then(toml::Value::as_str);
            let confidence = match word("confidence") {
                Some("high") => Confidence::High,
                Some("medium") => Confidence::Medium,
                Some("low") => Confidence::Low,
                _ => return Err("a law needs `confidence`: high, medium or low".into()),
            };
            let source = word("source").ok_or("a law needs a `source`")?;
            law::read(table, &number, origin(confidence, source, known)?)
        })
        .collect()
}

fn check_heater_pins(sheet: &Sheet) -> Result<(), String> {
    let ends = [Electrode::Heater1, Electrode::Heater2].map(|e| sheet.pin(None, e).is_some());
    let tap = sheet.pin(None, Electrode::HeaterTap).is_some();
    match &sheet.heater {
        Some(_) if ends != [true, true] => {
            Err("a heater needs the pins `heater1` and `heater2`".into())
        }
        Some(h) if h.parallel.is_some() != tap => Err(
            "a heater with `series` and `parallel` needs a pin `heatertap`, and no other does"
                .into(),
        ),
        None if ends != [false, false] || tap => {
            Err("there are heater pins but no `heater`".into())
        }
        _ => Ok(()),
    }
}

fn read_pins(raw: BTreeMap<String, String>, base: Base) -> Result<Vec<Pin>, String> {
    let mut pins = Vec::new();
    for (number, text) in raw {
        let number: u8 = number
            .trim()
            .parse()
            .ok()
            .filter(|n| (1..=base.pins()).contains(n))
            .ok_or_else(|| {
                format!(
                    "pin `{number}` is not on the base, whose pins are 1 to {}",
                    base.pins()
                )
            })?;
        if pins.iter().any(|p: &Pin| p.number == number) {
            return Err(format!("pin {number} is there twice"));
        }
        let mut pin = Pin {
            number,
            uses: Vec::new(),
            internal: false,
        };
        for one in text.split(',').map(str::trim) {
            let mut words = one.split_whitespace();
            let word = words.next().unwrap_or_default();
            if word == "none" {
                continue;
            }
            let electrode = Electrode::from_word(word)
                .ok_or_else(|| format!("pin {number}: `{word}` is no electrode"))?;
            let section = match words.next() {
                None => None,
                Some(letter) => match letter.chars().next() {
                    Some(c) if letter.len() == 1 && c.is_ascii_lowercase() => Some(c),
                    _ => return Err(format!("pin {number}: `{letter}` is no section letter")),
                },
            };
            if let Some(extra) = words.next() {
                return Err(format!("pin {number}: `{extra}` is one word too many"));
            }
            if electrode == Electrode::Internal {
                pin.internal = true;
            }
            pin.uses.push(PinElectrode { section, electrode });
        }
        pins.push(pin);
    }
    pins.sort_by_key(|p| p.number);
    Ok(pins)
}

fn read_heater(raw: RawHeater, known: Known) -> Result<Heater, String> {
    let origin = origin(raw.confidence, &raw.source, known)?;
    let (ends, parallel) = match (raw.volts, raw.amps, raw.series, raw.parallel) {
        (Some(volts), Some(amps), None, None) => (HeaterWay { volts, amps }, None),
        (None, None, Some(series), Some(parallel)) => (series, Some(parallel)),
        _ => return Err("a heater has `volts` and `amps`, or both `series` and `parallel`".into()),
    };
    if [Some(ends), parallel]
        .into_iter()
        .flatten()
        .any(|way| !(positive(way.volts) && positive(way.amps)))
    {
        return Err("heater volts and amperes must be above 0".into());
    }
    Ok(Heater {
        ends,
        parallel,
        origin,
    })
}

fn positive(x: f64) -> bool {
    x.is_finite() && x > 0.0
}

fn number(value: &toml::Value) -> Option<f64> {
    match value {
        toml::Value::Integer(i) => Some(*i as f64),
        toml::Value::Float(f) if f.is_finite() => Some(*f),
        _ => None,
    }
}

fn read_limits(table: toml::Table, known: Known) -> Result<LimitSet, String> {
    let word = |key: &str| table.get(key).and_then(toml::Value::as_str);
    let system = match word("system") {
        Some("design-centre") => RatingSystem::DesignCentre,
        Some("design-maximum") => RatingSystem::DesignMaximum,
        Some("absolute") => RatingSystem::Absolute,
        _ => return Err("limits need `system`: design-centre, design-maximum or absolute".into()),
    };
    let confidence = match word("confidence") {
        Some("high") => Confidence::High,
        Some("medium") => Confidence::Medium,
        Some("low") => Confidence::Low,
        _ => return Err("limits need `confidence`: high, medium or low".into()),
    };
    let origin = origin(
        confidence,
        word("source").ok_or("limits need a `source`")?,
        known,
    )?;
    let mut set = LimitSet {
        system,
        section: word("section").and_then(|s| s.chars().next()),
        values: Vec::new(),
        source_ohms_at: Vec::new(),
        output_amps_at: Vec::new(),
        note: word("note").map(str::to_owned),
        origin,
    };
    for (key, value) in &table {
        match key.as_str() {
            "system" | "section" | "confidence" | "source" | "note" => {}
            "source_ohms_at" => set.source_ohms_at = pairs(key, value, 1.0)?,
            "output_ma_at" => set.output_amps_at = pairs(key, value, 1e-3)?,
            _ => {
                let (quantity, _, factor) = LimitQuantity::ALL
                    .into_iter()
                    .find(|(_, name, _)| name == key)
                    .ok_or_else(|| format!("`{key}` is no limit"))?;
                let value = number(value)
                    .filter(|v| {
                        *v > 0.0 || (*v == 0.0 && quantity == LimitQuantity::GridPositiveVolts)
                    })
                    .ok_or_else(|| format!("the limit `{key}` must be a number above 0"))?;
                set.values.push((quantity, value * factor));
            }
        }
    }
    set.values.sort_by_key(|(quantity, _)| *quantity);
    Ok(set)
}

fn pairs(key: &str, value: &toml::Value, factor: f64) -> Result<Vec<(f64, f64)>, String> {
    let wrong = || format!("`{key}` is a list of pairs, `[[300, 75], [350, 100]]`, volts rising");
    let mut list = Vec::new();
    for pair in value.as_array().ok_or_else(wrong)? {
        match pair.as_array().map(Vec::as_slice) {
            Some([volts, figure]) => {
                let volts = number(volts).filter(|v| *v > 0.0).ok_or_else(wrong)?;
                let figure = number(figure).filter(|v| *v > 0.0).ok_or_else(wrong)?;
                list.push((volts, figure * factor));
            }
            _ => return Err(wrong()),
        }
    }
    if list.windows(2).any(|w| matches!(w, [a, b] if a.0 >= b.0)) {
        return Err(wrong());
    }
    Ok(list)
}

fn read_capacitances(raw: &RawCapacitances, known: Known) -> Result<Capacitances, String> {
    let farads = |pico: f64| pico * 1e-12;
    Ok(Capacitances {
        section: raw.section,
        grid_plate: raw.grid_plate.or(raw.grid_plate_most).map(farads),
        grid_plate_is_most: raw.grid_plate.is_none() && raw.grid_plate_most.is_some(),
        grid_cathode: raw.grid_cathode.map(farads),
        plate_cathode: raw.plate_cathode.map(farads),
        origin: origin(raw.confidence, &raw.source, known)?,
    })
}

fn read_static(raw: RawStatic, known: Known) -> Result<StaticRow, String> {
    if raw.grid.is_some() == raw.cathode_ohms.is_some() {
        return Err("a static row has `grid` volts or `cathode_ohms`, one of the two".into());
    }
    if raw.plate_ma.is_none() && raw.cathode_ma.is_none() {
        return Err("a static row needs a current: `plate_ma` or `cathode_ma`".into());
    }
    Ok(StaticRow {
        section: raw.section,
        triode_connected: raw.triode_connected,
        plate: raw.plate,
        screen: raw.screen,
        grid: raw.grid,
        cathode_ohms: raw.cathode_ohms,
        plate_amps: raw.plate_ma.map(|x| x * 1e-3),
        screen_amps: raw.screen_ma.map(|x| x * 1e-3),
        cathode_amps: raw.cathode_ma.map(|x| x * 1e-3),
        gm: raw.gm_us.map(|x| x * 1e-6),
        plate_ohms: raw.rp,
        plate_ohms_least: raw.rp_least,
        mu: raw.mu,
        mu_screen: raw.mu_screen,
        uncertainty: raw.error_percent.map(|x| x * 1e-2),
        note: raw.note,
        accept: Accept {
            plate: raw.accept.plate,
            screen: raw.accept.screen,
            gm: raw.accept.gm,
            rp: raw.accept.rp,
            mu: raw.accept.mu,
            why: raw.accept.why,
        },
        not_gated: raw.not_gated,
        origin: origin(raw.confidence, &raw.source, known)?,
    })
}

fn read_stage(raw: RawStage, known: Known) -> Result<StageRow, String> {
    let milli = |x: Option<f64>| x.map(|x| x * 1e-3);
    Ok(StageRow {
        usage: raw.r#use,
        class: raw.class,
        supply: raw.supply,
        screen_supply: raw.screen_supply,
        plate: raw.plate,
        screen: raw.screen,
        grid: raw.grid,
        cathode_ohms: raw.cathode_ohms,
        cathode_ohms_each: raw.cathode_ohms_each,
        cathode_bypassed: raw.cathode_bypassed,
        screen_ohms: raw.screen_ohms,
        plate_ohms: raw.plate_ohms,
        next_grid_ohms: raw.next_grid_ohms,
        load_ohms: raw.load_ohms,
        drive_peak: raw.drive_peak,
        drive_peak_pair: raw.drive_peak_pair,
        drive_rms: raw.drive_rms,
        plate_amps: milli(raw.plate_ma),
        plate_amps_full: milli(raw.plate_ma_full),
        screen_amps: milli(raw.screen_ma),
        screen_amps_full: milli(raw.screen_ma_full),
        cathode_amps: milli(raw.cathode_ma),
        gain: raw.gain,
        output_rms: raw.output_rms,
        distortion: raw.distortion_percent.map(|x| x / 100.0),
        watts: raw.watts,
        grid_drive_watts: milli(raw.grid_drive_mw),
        note: raw.note,
        origin: origin(raw.confidence, &raw.source, known)?,
    })
}
