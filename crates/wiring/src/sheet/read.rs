//! Reads the data file of sheets; every problem of one type leaves the others whole.
//!
//! Refuses what it can't understand: an unknown key is a problem, never skipped in silence.

mod pieces;
mod raw;

use super::law::SheetLaw;
use super::rows::{CurvePoint, DropRow, SupplyRow};
use super::types::{Confidence, Origin, Sheet};
use super::{Library, plain};
use crate::diagnostic::{Diagnostic, Place, Severity};
use pieces::{
    check_heater_pins, check_laws, read_capacitances, read_heater, read_laws, read_limits,
    read_pins, read_stage, read_static,
};
use raw::{File, RawCurves, RawValve};

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
