//! A sheet as a block of a file: what reads back as the same sheet.
//!
//! Lines fit 80 columns; a long row goes on in the next line (TOML 1.1 lets inline tables do so).

mod lines;
#[cfg(test)]
mod tests;

use super::law::SheetLaw;
use super::limits::{LimitQuantity, LimitSet};
use super::rows::{CurvePoint, DropRow, StageRow, StaticRow, SupplyRow};
use super::types::{Base, Capacitances, Heater, HeaterWay, Pin, Sheet, Source, ValveKind};
use lines::{
    Pairs, add, add_origin, add_section, add_text, figure, list, pair, text, words, wrapped,
};

/// `[source.KEY]` with its text and status.
#[must_use]
pub fn source_block(key: &str, source: &Source) -> String {
    format!(
        "[source.{key}]\n{}\n{}\n",
        words("text", &source.text),
        words("status", &source.status)
    )
}

/// The `[[valve]]` block of a sheet, complete: nothing in it leans on another type. Comments go before `pins` and
/// before the law.
///
/// ```
/// use wiring::sheet::{Library, valve_block};
/// let sheet = Library::built_in().find("EL84").unwrap();
/// let (again, problems) = Library::with_user_file(&valve_block(sheet, "", ""));
/// assert!(problems.is_empty());
/// assert_eq!(again.find("EL84"), Some(sheet));
/// ```
#[must_use]
pub fn valve_block(sheet: &Sheet, before_pins: &str, before_law: &str) -> String {
    let mut out = format!("[[valve]]\ntype = {}\n", text(&sheet.name));
    if !sheet.aliases.is_empty() {
        let all: Vec<String> = sheet.aliases.iter().map(|a| text(a)).collect();
        out += &wrapped("aliases = [", &all, "]", "  ");
    }
    out += &format!("kind = {}\n", text(kind(sheet.kind)));
    if let Some(about) = &sheet.about {
        out += &format!("{}\n", words("about", about));
    }
    out += before_pins;
    out += &format!("base = {}\n", text(base(sheet.base)));
    if let Some(basing) = &sheet.basing {
        out += &format!("basing = {}\n", text(basing));
    }
    let pins: Vec<String> = sheet.pins.iter().map(pin).collect();
    out += &wrapped("pins = { ", &pins, " }", "  ");
    out += &format!(
        "pins_confidence = {}\npins_source = {}\n",
        text(sheet.pins_origin.confidence.word()),
        text(&sheet.pins_origin.sources.join(", "))
    );
    if let Some(note) = &sheet.pins_note {
        out += &format!("{}\n", words("pins_note", note));
    }
    if let Some(heater) = &sheet.heater {
        out += &wrapped("heater = { ", &heater_pairs(heater), " }", "  ");
    }
    out += &list("limits", sheet.limits.iter().map(limit_pairs));
    out += &list("capacitances", sheet.capacitances.iter().map(capacitances));
    out += &curves(sheet);
    out += &list("static", sheet.static_rows.iter().map(static_row));
    out += &list("curve", sheet.curve_points.iter().map(curve_point));
    out += &list("stage", sheet.stage_rows.iter().map(stage_row));
    out += &list("drop", sheet.drop_rows.iter().map(drop_row));
    out += &list("supply", sheet.supply_rows.iter().map(supply_row));
    // A law that came with another type's curves comes with them again.
    let own: Vec<&SheetLaw> = sheet.own_laws.iter().filter(|l| l.of.is_none()).collect();
    if !own.is_empty() {
        out += before_law;
    }
    match own.as_slice() {
        [] => {}
        [one] => out += &wrapped("law = { ", &law(one), " }", "  "),
        several => out += &list("law", several.iter().map(|l| law(l))),
    }
    out
}

/// The word of a kind in a file, which is shorter than that on a page.
fn kind(kind: ValveKind) -> &'static str {
    match kind {
        ValveKind::Triode => "triode",
        ValveKind::TwinTriode => "twin triode",
        ValveKind::Pentode => "pentode",
        ValveKind::BeamTetrode => "beam tetrode",
        ValveKind::TriodePentode => "triode-pentode",
        ValveKind::Rectifier => "rectifier",
        ValveKind::DirectlyHeatedRectifier => "directly heated rectifier",
        ValveKind::GasRegulator => "gas regulator",
    }
}

fn base(base: Base) -> &'static str {
    match base {
        Base::Octal => "octal",
        Base::Noval => "noval",
        Base::Miniature => "miniature",
    }
}

fn pin(pin: &Pin) -> String {
    let uses: Vec<String> = pin
        .uses
        .iter()
        .map(|u| match u.section {
            Some(letter) => format!("{} {letter}", u.electrode.word()),
            None => u.electrode.word().to_owned(),
        })
        .collect();
    let words = if uses.is_empty() {
        "none".to_owned()
    } else {
        uses.join(", ")
    };
    format!("{} = {}", pin.number, text(&words))
}

fn heater_pairs(heater: &Heater) -> Pairs {
    let way = |way: HeaterWay| {
        format!(
            "{{ {}, {} }}",
            pair("volts", way.volts),
            pair("amps", way.amps)
        )
    };
    let mut pairs = match heater.parallel {
        Some(parallel) => vec![
            format!("series = {}", way(heater.ends)),
            format!("parallel = {}", way(parallel)),
        ],
        None => vec![
            pair("volts", heater.ends.volts),
            pair("amps", heater.ends.amps),
        ],
    };
    add_origin(&mut pairs, &heater.origin);
    pairs
}

fn limit_pairs(set: &LimitSet) -> Pairs {
    let mut pairs = vec![format!("system = {}", text(set.system.word()))];
    add_section(&mut pairs, set.section);
    for (quantity, key, factor) in LimitQuantity::ALL {
        if let Some(value) = set.get(quantity) {
            pairs.push(pair(key, value / factor));
        }
    }
    let at = |list: &[(f64, f64)], factor: f64| {
        let all: Vec<String> = list
            .iter()
            .map(|(volts, value)| format!("[{}, {}]", figure(*volts), figure(value / factor)))
            .collect();
        // Four fit beside any key.
        let lines: Vec<String> = all.chunks(4).map(|four| four.join(", ")).collect();
        lines.join(",\n      ")
    };
    if !set.source_ohms_at.is_empty() {
        pairs.push(format!(
            "source_ohms_at = [{}]",
            at(&set.source_ohms_at, 1.0)
        ));
    }
    if !set.output_amps_at.is_empty() {
        pairs.push(format!(
            "output_ma_at = [{}]",
            at(&set.output_amps_at, 1e-3)
        ));
    }
    add_text(&mut pairs, "note", set.note.as_deref());
    add_origin(&mut pairs, &set.origin);
    pairs
}

fn capacitances(c: &Capacitances) -> Pairs {
    let mut pairs = Vec::new();
    add_section(&mut pairs, c.section);
    let grid_plate = if c.grid_plate_is_most {
        "grid_plate_most"
    } else {
        "grid_plate"
    };
    add(
        &mut pairs,
        &[
            (grid_plate, c.grid_plate, 1e12),
            ("grid_cathode", c.grid_cathode, 1e12),
            ("plate_cathode", c.plate_cathode, 1e12),
        ],
    );
    add_origin(&mut pairs, &c.origin);
    pairs
}

fn curves(sheet: &Sheet) -> String {
    match sheet.curves.as_slice() {
        [(None, name)] if *name == sheet.name => String::new(),
        [(None, name)] => format!("curves = {}\n", text(name)),
        each => {
            let all: Vec<String> = each
                .iter()
                .filter_map(|(section, name)| Some(format!("{} = {}", (*section)?, text(name))))
                .collect();
            wrapped("curves = { ", &all, " }", "  ")
        }
    }
}

fn static_row(r: &StaticRow) -> Pairs {
    let mut pairs = Vec::new();
    add_section(&mut pairs, r.section);
    if r.triode_connected {
        pairs.push("triode_connected = true".to_owned());
    }
    add(
        &mut pairs,
        &[
            ("plate", Some(r.plate), 1.0),
            ("screen", r.screen, 1.0),
            ("grid", r.grid, 1.0),
            ("cathode_ohms", r.cathode_ohms, 1.0),
            ("plate_ma", r.plate_amps, 1e3),
            ("screen_ma", r.screen_amps, 1e3),
            ("cathode_ma", r.cathode_amps, 1e3),
            ("gm_us", r.gm, 1e6),
            ("rp", r.plate_ohms, 1.0),
            ("rp_least", r.plate_ohms_least, 1.0),
            ("mu", r.mu, 1.0),
            ("mu_screen", r.mu_screen, 1.0),
            ("error_percent", r.uncertainty, 1e2),
        ],
    );
    add_text(&mut pairs, "note", r.note.as_deref());
    let mut accept = Vec::new();
    let a = &r.accept;
    add(
        &mut accept,
        &[
            ("plate", a.plate, 1.0),
            ("screen", a.screen, 1.0),
            ("gm", a.gm, 1.0),
            ("rp", a.rp, 1.0),
            ("mu", a.mu, 1.0),
        ],
    );
    add_text(&mut accept, "why", a.why.as_deref());
    if !accept.is_empty() {
        pairs.push(format!("accept = {{ {} }}", accept.join(", ")));
    }
    add_text(&mut pairs, "not_gated", r.not_gated.as_deref());
    add_origin(&mut pairs, &r.origin);
    pairs
}

fn curve_point(p: &CurvePoint) -> Pairs {
    let mut pairs = vec![
        pair("grid", p.grid),
        pair("plate", p.plate),
        pair("plate_ma", p.plate_amps * 1e3),
    ];
    add_origin(&mut pairs, &p.origin);
    pairs
}

fn stage_row(r: &StageRow) -> Pairs {
    let mut pairs = vec![format!("use = {}", text(&r.usage))];
    add_text(&mut pairs, "class", r.class.as_deref());
    add(
        &mut pairs,
        &[
            ("supply", r.supply, 1.0),
            ("screen_supply", r.screen_supply, 1.0),
            ("plate", r.plate, 1.0),
            ("screen", r.screen, 1.0),
            ("grid", r.grid, 1.0),
            ("cathode_ohms", r.cathode_ohms, 1.0),
            ("cathode_ohms_each", r.cathode_ohms_each, 1.0),
        ],
    );
    if r.cathode_bypassed {
        pairs.push("cathode_bypassed = true".to_owned());
    }
    add(
        &mut pairs,
        &[
            ("screen_ohms", r.screen_ohms, 1.0),
            ("plate_ohms", r.plate_ohms, 1.0),
            ("next_grid_ohms", r.next_grid_ohms, 1.0),
            ("load_ohms", r.load_ohms, 1.0),
            ("drive_peak", r.drive_peak, 1.0),
            ("drive_peak_pair", r.drive_peak_pair, 1.0),
            ("drive_rms", r.drive_rms, 1.0),
            ("plate_ma", r.plate_amps, 1e3),
            ("plate_ma_full", r.plate_amps_full, 1e3),
            ("screen_ma", r.screen_amps, 1e3),
            ("screen_ma_full", r.screen_amps_full, 1e3),
            ("cathode_ma", r.cathode_amps, 1e3),
            ("gain", r.gain, 1.0),
            ("output_rms", r.output_rms, 1.0),
            ("distortion_percent", r.distortion, 100.0),
            ("watts", r.watts, 1.0),
            ("grid_drive_mw", r.grid_drive_watts, 1e3),
        ],
    );
    add_text(&mut pairs, "note", r.note.as_deref());
    add_origin(&mut pairs, &r.origin);
    pairs
}

fn drop_row(r: &DropRow) -> Pairs {
    let mut pairs = vec![pair("ma", r.amps * 1e3), pair("volts", r.volts)];
    add_text(&mut pairs, "note", r.note.as_deref());
    add_origin(&mut pairs, &r.origin);
    pairs
}

fn supply_row(r: &SupplyRow) -> Pairs {
    let mut pairs = vec![pair("ac_volts", r.ac_volts)];
    add(
        &mut pairs,
        &[
            ("reservoir_uf", r.reservoir_farads, 1e6),
            ("source_ohms", r.source_ohms, 1.0),
            ("choke_henries", r.choke_henries, 1.0),
            ("output_ma", Some(r.output_amps), 1e3),
            ("output_volts", Some(r.output_volts), 1.0),
            ("hertz", Some(r.hertz), 1.0),
        ],
    );
    add_origin(&mut pairs, &r.origin);
    pairs
}

fn law(law: &SheetLaw) -> Pairs {
    let mut pairs = Vec::new();
    add_section(&mut pairs, law.section);
    add_text(&mut pairs, "equations", Some(law.form.word()));
    pairs.extend(law.numbers.iter().map(|(name, value)| pair(name, *value)));
    let c = &law.covers;
    for (key, span, factor) in [
        ("plate_volts", c.plate_volts, 1.0),
        ("screen_volts", c.screen_volts, 1.0),
        ("grid_volts", c.grid_volts, 1.0),
        ("plate_ma", c.plate_amps, 1e3),
    ] {
        if let Some((low, high)) = span {
            pairs.push(format!(
                "{key} = [{}, {}]",
                figure(low * factor),
                figure(high * factor)
            ));
        }
    }
    add_text(&mut pairs, "fit", Some(&law.fit));
    add_origin(&mut pairs, &law.origin);
    pairs
}
