//! One data sheet as text, JSON and CSV.

use super::{curves, laws, picture};
use crate::outcome::Failure;
use crate::table::{Side, Table, hanging, paragraph};
use crate::words::sentence;
use serde_json::{Map, Value, json};
use wiring::sheet::{HeaterWay, Library, LimitQuantity, LimitSet, Origin, Sheet, StaticRow};
use wiring::units::{Quantity, rounded};

/// Sources in the order they are first used, printed as `[1]`.
#[derive(Default)]
struct Sources {
    used: Vec<String>,
}

impl Sources {
    /// `[1]`, `[1 2]` for an origin.
    fn mark(&mut self, origin: &Origin) -> String {
        let numbers: Vec<String> = origin
            .sources
            .iter()
            .map(|key| {
                let at = self.used.iter().position(|k| k == key).unwrap_or_else(|| {
                    self.used.push(key.clone());
                    self.used.len() - 1
                });
                (at + 1).to_string()
            })
            .collect();
        format!("[{}]", numbers.join(" "))
    }

    fn foot(&self, library: &Library) -> String {
        let mut out = String::new();
        for (i, key) in self.used.iter().enumerate() {
            let text = library
                .source(key)
                .map_or_else(|| key.clone(), wiring::sheet::Source::in_full);
            out.push_str(&hanging(&text, &format!("[{}] ", i + 1), "    "));
        }
        out
    }
}

/// `6.3 V 0.3 A`.
fn way(way: HeaterWay) -> String {
    format!(
        "{} {}",
        rounded(way.volts, Quantity::Volts, 4),
        amps(way.amps)
    )
}

/// Amperes as heaters are written, `0.3 A`.
fn amps(amps: f64) -> String {
    format!("{} A", (amps * 1000.0).round() / 1000.0)
}

/// The heater in a cell of a list.
pub(super) fn heater_in_short(sheet: &Sheet) -> String {
    match &sheet.heater {
        None => "none".to_owned(),
        Some(heater) => way(heater.parallel.unwrap_or(heater.ends)),
    }
}

/// The sheet as printed.
pub(super) fn text(sheet: &Sheet, library: &Library) -> String {
    let mut sources = Sources::default();
    let mut out = format!("{}  {}", sheet.name, sheet.kind.word());
    if !sheet.aliases.is_empty() {
        out.push_str(&format!(", also {}", sheet.aliases.join(", ")));
    }
    out = paragraph(&out, "");
    for words in [&sheet.about, &sheet.pins_note].into_iter().flatten() {
        out.push_str(&paragraph(&sentence(words), ""));
    }
    let basing = sheet
        .basing
        .as_ref()
        .map_or_else(String::new, |b| format!(", basing {b}"));
    out.push_str(&paragraph(
        &format!(
            "Base {}{basing} {}. From below:",
            sheet.base.word(),
            sources.mark(&sheet.pins_origin)
        ),
        "",
    ));
    out.push('\n');
    for line in picture::from_below(sheet).lines() {
        out.push_str(&format!("  {line}\n"));
    }
    out.push('\n');
    out.push_str(&heater(sheet, &mut sources));
    out.push_str(&capacitances(sheet, &mut sources));
    out.push_str(&limits(sheet, &mut sources));
    out.push_str(&rows(sheet, &mut sources));
    let computed = curves::text(sheet);
    if !computed.is_empty() {
        out.push_str(&computed);
        out.push_str(&laws::text(sheet, library));
        out.push_str(&curves::caution());
    }
    out.push_str("\nSources\n");
    out.push_str(&sources.foot(library));
    out
}

fn heater(sheet: &Sheet, sources: &mut Sources) -> String {
    let Some(heater) = &sheet.heater else {
        return "Heater: none, a cold cathode.\n".to_owned();
    };
    let mark = sources.mark(&heater.origin);
    match heater.parallel {
        Some(parallel) => paragraph(
            &format!(
                "Heater {} end to end, or {} between both ends joined and the tap {mark}.",
                way(heater.ends),
                way(parallel)
            ),
            "",
        ),
        None => format!("Heater {} {mark}.\n", way(heater.ends)),
    }
}

fn capacitances(sheet: &Sheet, sources: &mut Sources) -> String {
    let mut out = String::new();
    for c in &sheet.capacitances {
        let picofarads = |f: f64| format!("{} pF", (f * 1e14).round() / 100.0);
        let of = c
            .section
            .map_or_else(String::new, |s| format!(" of section {s}"));
        let most = if c.grid_plate_is_most { "at most " } else { "" };
        let list: Vec<String> = [
            c.grid_plate
                .map(|f| format!("grid to plate {most}{}", picofarads(f))),
            c.grid_cathode.map(|f| format!("input {}", picofarads(f))),
            c.plate_cathode.map(|f| format!("output {}", picofarads(f))),
        ]
        .into_iter()
        .flatten()
        .collect();
        out.push_str(&paragraph(
            &format!(
                "Capacitances{of}: {} {}.",
                list.join(", "),
                sources.mark(&c.origin)
            ),
            "",
        ));
    }
    out
}

/// A limit in the units of the trade.
fn figure(quantity: LimitQuantity, value: f64) -> String {
    let unit = match quantity.unit() {
        "W" => Quantity::Watts,
        "A" => Quantity::Amps,
        "ohm" => Quantity::Ohms,
        "F" => Quantity::Farads,
        _ => Quantity::Volts,
    };
    let text = rounded(value, unit, 4);
    // `2M2` is a resistance to everybody; a bare `50` is not.
    if unit == Quantity::Ohms && text.bytes().all(|b| b.is_ascii_digit()) {
        format!("{text} Ω")
    } else {
        text
    }
}

fn limits(sheet: &Sheet, sources: &mut Sources) -> String {
    if sheet.limits.is_empty() {
        return "\nNo limits are known.\n".to_owned();
    }
    let mut table = Table::new()
        .wrapping("limit", 20)
        .column("", Side::Right)
        .column("", Side::Left)
        .column("rating system", Side::Left)
        .column("section", Side::Left)
        .column("sure", Side::Left)
        .column("source", Side::Left);
    for quantity in LimitQuantity::all() {
        for set in &sheet.limits {
            let Some(value) = set.get(quantity) else {
                continue;
            };
            let guards = sheet.guarding_limit(set.section, quantity) == Some(value);
            table.row([
                quantity.word().to_owned(),
                figure(quantity, value),
                if guards { "<" } else { "" }.to_owned(),
                set.system.word().to_owned(),
                set.section.map_or("each", |_| "").to_owned()
                    + &set.section.map_or_else(String::new, String::from),
                set.origin.confidence.word().to_owned(),
                sources.mark(&set.origin),
            ]);
        }
    }
    let mut out = format!("\nLimits (< guards the valve)\n{}", table.render());
    for set in &sheet.limits {
        out.push_str(&limit_notes(set));
    }
    out
}

/// What a set says beyond single figures.
fn limit_notes(set: &LimitSet) -> String {
    let mut out = String::new();
    let pairs = |list: &[(f64, f64)], unit: Quantity| {
        list.iter()
            .map(|(volts, value)| {
                format!(
                    "{} at {}",
                    rounded(*value, unit, 4),
                    rounded(*volts, Quantity::Volts, 4)
                )
            })
            .collect::<Vec<_>>()
            .join(", ")
    };
    if !set.source_ohms_at.is_empty() {
        let text = format!(
            "Least supply resistance per plate, ohms: {} rms per plate.",
            pairs(&set.source_ohms_at, Quantity::Ohms)
        );
        out.push_str(&paragraph(&text, "  "));
    }
    if !set.output_amps_at.is_empty() {
        let text = format!(
            "Output current: {} rms per plate.",
            pairs(&set.output_amps_at, Quantity::Amps)
        );
        out.push_str(&paragraph(&text, "  "));
    }
    if let Some(note) = &set.note {
        out.push_str(&paragraph(
            &format!("{}: {}", set.system.word(), sentence(note)),
            "  ",
        ));
    }
    out
}

/// The sheet's published rows, SI units: the figures that a page shows.
fn columns(sheet: &Sheet) -> Vec<[Option<f64>; 8]> {
    let mut all: Vec<[Option<f64>; 8]> = sheet
        .static_rows
        .iter()
        .map(|r| {
            [
                Some(r.plate),
                r.screen,
                r.grid,
                r.cathode_ohms,
                r.plate_amps,
                r.screen_amps,
                r.cathode_amps,
                r.gm,
            ]
        })
        .collect();
    all.extend(sheet.curve_points.iter().map(|p| {
        [
            Some(p.plate),
            None,
            Some(p.grid),
            None,
            Some(p.plate_amps),
            None,
            None,
            None,
        ]
    }));
    all
}

fn rows(sheet: &Sheet, sources: &mut Sources) -> String {
    let mut out = String::new();
    if !sheet.static_rows.is_empty() || !sheet.curve_points.is_empty() {
        let mut table = Table::new();
        for head in [
            "plate V",
            "screen V",
            "grid V",
            "cathode Ω",
            "plate mA",
            "screen mA",
            "cathode mA",
            "mS",
        ] {
            table = table.column(head, Side::Right);
        }
        table = table
            .column("sure", Side::Left)
            .column("source", Side::Left);
        let origins = sheet
            .static_rows
            .iter()
            .map(|r| &r.origin)
            .chain(sheet.curve_points.iter().map(|p| &p.origin));
        for (i, (row, origin)) in columns(sheet).into_iter().zip(origins).enumerate() {
            let scale = [1.0, 1.0, 1.0, 1.0, 1e3, 1e3, 1e3, 1e3];
            let mut cells: Vec<String> = row
                .into_iter()
                .zip(scale)
                .map(|(value, scale)| value.map_or_else(String::new, |v| short(v * scale)))
                .collect();
            cells.push(origin.confidence.word().to_owned());
            cells.push(sources.mark(origin));
            // A screen on the plate has the plate's volts.
            let joined = sheet.static_rows.get(i).is_some_and(|r| r.triode_connected);
            if let Some(cell) = cells.get_mut(1).filter(|_| joined) {
                "plate".clone_into(cell);
            }
            table.row(cells);
        }
        let heading = if sheet.own_laws.is_empty() {
            "Published points of the average valve"
        } else {
            "Points from a sheet or a bench"
        };
        out.push_str(&format!(
            "\n{heading}\n{}",
            table.without_empty_columns().render()
        ));
    }
    if !sheet.drop_rows.is_empty() {
        let mut table = Table::new()
            .column("one plate, mA", Side::Right)
            .column("drop, V", Side::Right)
            .column("sure", Side::Left)
            .column("source", Side::Left);
        for row in &sheet.drop_rows {
            table.row([
                short(row.amps * 1e3),
                short(row.volts),
                row.origin.confidence.word().to_owned(),
                sources.mark(&row.origin),
            ]);
        }
        out.push_str(&format!("\nPublished drop\n{}", table.render()));
    }
    if !sheet.supply_rows.is_empty() {
        let mut table = Table::new()
            .column("V rms per plate", Side::Right)
            .column("first", Side::Left)
            .column("source Ω", Side::Right)
            .column("mA", Side::Right)
            .column("V DC", Side::Right)
            .column("sure", Side::Left)
            .column("source", Side::Left);
        for row in &sheet.supply_rows {
            let first = match (row.reservoir_farads, row.choke_henries) {
                (Some(farads), _) => rounded(farads, Quantity::Farads, 3),
                (None, Some(henries)) => rounded(henries, Quantity::Henries, 3),
                (None, None) => String::new(),
            };
            table.row([
                short(row.ac_volts),
                first,
                row.source_ohms.map_or_else(String::new, short),
                short(row.output_amps * 1e3),
                short(row.output_volts),
                row.origin.confidence.word().to_owned(),
                sources.mark(&row.origin),
            ]);
        }
        out.push_str(&format!(
            "\nPublished output, full wave\n{}",
            table.render()
        ));
    }
    out
}

/// A published figure without digits that its rounding to binary added.
fn short(value: f64) -> String {
    let text = format!("{value:.4}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// The published rows as CSV, in SI units, with the headings that `fit` understands.
pub(super) fn rows_csv(sheet: &Sheet) -> Result<String, Failure> {
    let head = [
        "plate_volts",
        "screen_volts",
        "grid_volts",
        "cathode_ohms",
        "plate_amps",
        "screen_amps",
        "cathode_amps",
        "gm_siemens",
        "rp_ohms",
        "rp_least_ohms",
        "mu",
        "mu_screen",
        "drop_volts",
        "error_percent",
        "triode_connected",
        "section",
        "note",
    ];
    let number = |value: Option<f64>| value.map_or_else(String::new, |v| format!("{v}"));
    let mut table = vec![head.map(str::to_owned)];
    let more = sheet
        .static_rows
        .iter()
        .map(Some)
        .chain(std::iter::repeat(None));
    for (row, more) in columns(sheet).into_iter().zip(more) {
        let [a, b, c, d, e, f, g, h] = row.map(number);
        let of = |pick: fn(&StaticRow) -> Option<f64>| number(more.and_then(pick));
        table.push([
            a,
            b,
            c,
            d,
            e,
            f,
            g,
            h,
            of(|r| r.plate_ohms),
            of(|r| r.plate_ohms_least),
            of(|r| r.mu),
            of(|r| r.mu_screen),
            String::new(),
            of(|r| r.uncertainty.map(|u| 100.0 * u)),
            more.filter(|r| r.triode_connected)
                .map_or_else(String::new, |_| "yes".to_owned()),
            more.and_then(|r| r.section)
                .map_or_else(String::new, String::from),
            more.and_then(|r| r.note.clone()).unwrap_or_default(),
        ]);
    }
    for row in &sheet.drop_rows {
        let mut cells = head.map(|_| String::new());
        for (cell, value) in cells
            .iter_mut()
            .zip(head)
            .filter_map(|(cell, name)| match name {
                "plate_amps" => Some((cell, row.amps)),
                "drop_volts" => Some((cell, row.volts)),
                _ => None,
            })
        {
            *cell = number(Some(value));
        }
        table.push(cells);
    }
    crate::csv_text::of(table)
}

/// The whole sheet as JSON: SI units, and every source in full.
pub(super) fn json(sheet: &Sheet, library: &Library) -> Value {
    let mut value = serde_json::to_value(sheet).unwrap_or_default();
    let mut keys: Vec<String> = Vec::new();
    gather_sources(&value, &mut keys);
    if let Some(map) = value.as_object_mut() {
        if let Some(name) = map.shift_remove("name") {
            let mut named = Map::new();
            named.insert("type".to_owned(), name);
            named.append(map);
            *map = named;
        }
        // Pairs of quantity and value read better as an object.
        if let Some(sets) = map.get_mut("limits").and_then(Value::as_array_mut) {
            for (set, own) in sets.iter_mut().zip(&sheet.limits) {
                let values: Map<String, Value> = own
                    .values
                    .iter()
                    .filter_map(|(quantity, value)| {
                        let key = serde_json::to_value(quantity).ok()?;
                        Some((key.as_str()?.to_owned(), json!(value)))
                    })
                    .collect();
                if let Some(set) = set.as_object_mut() {
                    set.insert("values".to_owned(), Value::Object(values));
                }
            }
        }
        let sources: Map<String, Value> = keys
            .into_iter()
            .map(|key| {
                let text = library
                    .source(&key)
                    .map_or_else(|| key.clone(), wiring::sheet::Source::in_full);
                (key, Value::String(text))
            })
            .collect();
        map.insert("sources".to_owned(), Value::Object(sources));
        map.insert("laws".to_owned(), laws::json(sheet, library));
    }
    value
}

/// Keys of every origin in a value, in order, once each.
fn gather_sources(value: &Value, keys: &mut Vec<String>) {
    match value {
        Value::Object(map) => {
            for (key, inner) in map {
                if key == "sources" {
                    for name in inner.as_array().into_iter().flatten() {
                        if let Some(name) = name.as_str()
                            && !keys.iter().any(|k| k == name)
                        {
                            keys.push(name.to_owned());
                        }
                    }
                } else {
                    gather_sources(inner, keys);
                }
            }
        }
        Value::Array(items) => {
            for item in items {
                gather_sources(item, keys);
            }
        }
        _ => {}
    }
}
