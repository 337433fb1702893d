//! The block of a fitted valve in a valve file, with what was copied and from where.

use super::{FitRequest, FittedLaw, FittedSection, FittedValve, ValveRows};
use solve::device::ValveLaw;
use solve::device::fit::{Figure, Finding, Fit, Held};
use std::collections::BTreeSet;
use wiring::sheet::{
    Accept, Confidence, DropRow, LawCovers, Library, Origin, Sheet, SheetLaw, Source, StaticRow,
    TypedRow, source_block, valve_block,
};

/// What to save: a sheet with its laws, and the sources it names that are not built in.
#[derive(Debug, Clone, PartialEq)]
pub struct Block {
    /// The sheet.
    pub sheet: Sheet,
    /// Its sources.
    pub sources: Vec<(String, Source)>,
    /// What was copied, in words, if anything was.
    pub copied: Option<String>,
    /// The text, TOML.
    pub text: String,
}

/// An rms error of plate current beyond this is no law to be sure of.
const UNSURE: f64 = 0.08;

/// Puts the block together, or says what is missing.
pub(super) fn block(
    library: &Library,
    request: &FitRequest<'_>,
    from: Option<&Sheet>,
    fitted: &FittedValve,
) -> Result<Block, String> {
    if fitted.sections.is_empty() {
        return Err("no row goes with the valve".to_owned());
    }
    if fitted.sections.iter().any(|s| s.outcome.is_err()) {
        return Err("not every section could be fitted".to_owned());
    }
    let Some(from) = from else {
        return Err(format!(
            "nothing says what pins, base and heater the {} has: name a type that has the same with `--like`",
            request.name
        ));
    };
    let key: String = request
        .name
        .chars()
        .filter(char::is_ascii_alphanumeric)
        .collect();
    let (rows_key, copied_key) = (format!("rows-{key}"), format!("copied-{key}"));
    let same = from.names().any(|n| is_same(n, request.name));
    let mut sources: Vec<(String, Source)> = Vec::new();
    let mut sheet = from.clone();
    let mut copied = None;
    match request.rows {
        ValveRows::Typed { file, rows } => {
            sources.push((
                rows_key.clone(),
                Source {
                    text: format!("rows of {file}"),
                    status: "as typed".to_owned(),
                },
            ));
            let origin = Origin {
                sources: vec![rows_key.clone()],
                confidence: Confidence::Medium,
            };
            if !same {
                copied = Some(copy(&mut sheet, request.name, &copied_key));
                sources.push((
                    copied_key,
                    Source {
                        text: format!(
                            "the {}, and not looked up for the {}",
                            from.name, request.name
                        ),
                        status: "copied".to_owned(),
                    },
                ));
            }
            let kept = kept(fitted);
            let rows = || {
                rows.iter()
                    .enumerate()
                    .filter(|(i, _)| kept.contains(i))
                    .map(|(_, r)| r)
            };
            sheet.static_rows = rows().filter_map(|r| static_row(r, &origin)).collect();
            sheet.drop_rows = rows().filter_map(|r| drop_row(r, &origin)).collect();
            sheet.curve_points = Vec::new();
            sheet.stage_rows = Vec::new();
            sheet.supply_rows = Vec::new();
        }
        ValveRows::Sheet(_) => {
            copied = from
                .like
                .as_ref()
                .map(|like| format!("what its block did not say is as in the {like}, limits too"));
        }
    }
    sheet.like = None;
    let origin = law_origin(request.rows, &rows_key);
    let whole = fitted.sections.iter().any(|s| s.letter.is_none());
    let refitted = |letter| whole || fitted.sections.iter().any(|s| s.letter == letter);
    // The type's own laws of other sections stay.
    sheet.own_laws.retain(|law| {
        (same || matches!(request.rows, ValveRows::Sheet(_)))
            && law.of.is_none()
            && !refitted(law.section)
    });
    sheet.own_laws.extend(
        fitted
            .sections
            .iter()
            .filter_map(|s| sheet_law(s, request.rows, &origin)),
    );
    sheet.curves = curves(from, &sheet);
    // A user's own sources stand beside their types; the built-in ones are known everywhere.
    for key in keys(&sheet) {
        let known = sources.iter().any(|(k, _)| *k == key);
        if let (false, Some(source)) = (known || is_built_in(&key), library.source(&key)) {
            sources.push((key, source.clone()));
        }
    }
    let before_pins = copied
        .as_ref()
        .map_or_else(String::new, |words| comment(&format!("Copied: {words}.")));
    let limits = if sheet.limits.is_empty() {
        comment("No limits yet: write `limits` from its own sheet, as docs/valves.md shows.")
    } else {
        String::new()
    };
    let text = sources
        .iter()
        .map(|(key, source)| source_block(key, source) + "\n")
        .collect::<String>()
        + &valve_block(&sheet, &before_pins, &(limits + &held_comment(fitted)));
    Ok(Block {
        sheet,
        sources,
        copied,
        text,
    })
}

fn is_same(a: &str, b: &str) -> bool {
    let plain = |s: &str| -> String {
        s.chars()
            .filter(|c| c.is_alphanumeric())
            .flat_map(char::to_uppercase)
            .collect()
    };
    plain(a) == plain(b)
}

fn is_built_in(key: &str) -> bool {
    Library::built_in().source(key).is_some()
}

/// Turns another type's sheet into one of this name: what tells a socket is kept and marked, limits are not.
fn copy(sheet: &mut Sheet, name: &str, key: &str) -> String {
    let origin = Origin {
        sources: vec![key.to_owned()],
        confidence: Confidence::Low,
    };
    let from = std::mem::replace(&mut sheet.name, name.to_owned());
    sheet.aliases = Vec::new();
    sheet.about = None;
    sheet.basing = None;
    sheet.limits = Vec::new();
    sheet.pins_origin = origin.clone();
    let mut what = vec!["pins", "base"];
    if let Some(heater) = &mut sheet.heater {
        heater.origin = origin.clone();
        what.push("heater");
    }
    if !sheet.capacitances.is_empty() {
        what.push("capacitances");
    }
    for c in &mut sheet.capacitances {
        c.origin = origin.clone();
    }
    format!("{} as in the {from}; check them", what.join(", "))
}

/// The rows that the block keeps: all that go with the valve; of a section whose rows were too many, those fitted to.
fn kept(fitted: &FittedValve) -> BTreeSet<usize> {
    let mut kept = BTreeSet::new();
    for section in &fitted.sections {
        let fit = match &section.outcome {
            Ok(FittedLaw::Valve(fit)) if thinned(fit).is_some() => Some(fit),
            _ => None,
        };
        for (at, row) in section.rows.iter().enumerate() {
            if fit.is_none_or(|f| f.rows.get(at).is_some_and(|r| r.used)) {
                kept.insert(*row);
            }
        }
    }
    kept
}

fn thinned(fit: &Fit) -> Option<usize> {
    fit.findings.iter().find_map(|f| match f {
        Finding::Thinned { rows, .. } => Some(*rows),
        _ => None,
    })
}

fn static_row(row: &TypedRow, origin: &Origin) -> Option<StaticRow> {
    Some(StaticRow {
        section: row.section,
        triode_connected: row.triode_connected,
        plate: row.plate?,
        screen: row.screen,
        grid: row.grid.filter(|_| row.cathode_ohms.is_none()),
        cathode_ohms: row.cathode_ohms,
        plate_amps: row.plate_amps,
        screen_amps: row.screen_amps,
        cathode_amps: row.cathode_amps,
        gm: row.gm,
        plate_ohms: row.plate_ohms,
        plate_ohms_least: row.plate_ohms_least,
        mu: row.mu,
        mu_screen: row.mu_screen,
        uncertainty: row.uncertainty,
        note: row.note.clone(),
        accept: Accept::default(),
        not_gated: None,
        origin: origin.clone(),
    })
}

fn drop_row(row: &TypedRow, origin: &Origin) -> Option<DropRow> {
    Some(DropRow {
        amps: row.plate_amps.or(row.cathode_amps)?,
        volts: row.drop?,
        note: row.note.clone(),
        origin: origin.clone(),
    })
}

/// The law rests on what its rows rest on.
fn law_origin(rows: ValveRows<'_>, key: &str) -> Vec<String> {
    match rows {
        ValveRows::Typed { .. } => vec![key.to_owned()],
        ValveRows::Sheet(sheet) => {
            let all = sheet
                .static_rows
                .iter()
                .map(|r| &r.origin)
                .chain(sheet.curve_points.iter().map(|c| &c.origin))
                .chain(sheet.drop_rows.iter().map(|d| &d.origin));
            let keys: BTreeSet<&String> = all.flat_map(|o| &o.sources).collect();
            keys.into_iter().cloned().collect()
        }
    }
}

fn sheet_law(section: &FittedSection, rows: ValveRows<'_>, sources: &[String]) -> Option<SheetLaw> {
    let count = match section.outcome.as_ref().ok()? {
        FittedLaw::Valve(fit) => thinned(fit).unwrap_or(section.rows.len()),
        FittedLaw::Rectifier(..) => section.rows.len(),
    };
    let all = if count < section.rows.len() {
        format!("{count} of {}", section.rows.len())
    } else {
        count.to_string()
    };
    let of = match rows {
        ValveRows::Typed { file, .. } => format!("{all} {} of {file}", plural(count)),
        ValveRows::Sheet(_) => format!("{all} {} of its sheet", plural(count)),
    };
    let (law, covers, fit, confidence) = match section.outcome.as_ref().ok()? {
        FittedLaw::Valve(fit) => (fit.law, covers(fit), words(fit, &of), confidence(fit)),
        FittedLaw::Rectifier(fit, _) => (
            ValveLaw::Rectifier(fit.perveance),
            LawCovers {
                plate_volts: Some(fit.volts),
                plate_amps: Some(fit.amps),
                ..LawCovers::default()
            },
            format!("{of}, {:.1} % rms in drop", 100.0 * fit.rms.rms),
            Confidence::Medium,
        ),
    };
    let (form, numbers) = law.numbers();
    Some(SheetLaw {
        section: section.letter,
        form,
        numbers,
        covers,
        fit,
        of: None,
        origin: Origin {
            sources: sources.to_vec(),
            confidence,
        },
    })
}

fn plural(count: usize) -> &'static str {
    if count == 1 { "row" } else { "rows" }
}

fn covers(fit: &Fit) -> LawCovers {
    // Three digits say where rows lie well enough.
    let short = |(low, high): (f64, f64)| {
        let three = |v: f64| format!("{v:.2e}").parse().unwrap_or(v);
        (three(low), three(high))
    };
    LawCovers {
        plate_volts: Some(short(fit.covers.plate_volts)),
        screen_volts: fit.covers.screen_volts.map(short),
        grid_volts: Some(short(fit.covers.grid_volts)),
        plate_amps: Some(short(fit.covers.plate_amps)),
    }
}

/// What the fit rests on, in words.
fn words(fit: &Fit, of: &str) -> String {
    let mut text = of.to_owned();
    if let Some(rms) = fit.rms.iter().find(|r| r.figure.is_main()) {
        text += &format!(", {:.1} % rms in {}", 100.0 * rms.rms, rms.figure.word());
    }
    let held = held(fit);
    if !held.is_empty() {
        text += &format!("; {} as in the {}", held.join(", "), fit.kin);
    }
    text
}

/// Names of the numbers that are the kin's.
fn held(fit: &Fit) -> Vec<&'static str> {
    fit.parameters
        .iter()
        .filter(|p| match p.held {
            Some(Held::RowsSayTooLittle) => true,
            // `d` is derived, `w1` follows from the kin's product.
            Some(Held::GoesWithMu) => p.name == "w1",
            _ => false,
        })
        .map(|p| p.name)
        .collect()
}

/// Sure enough to be called medium: as many rows as it takes, all of them met.
fn confidence(fit: &Fit) -> Confidence {
    let doubtful = fit.findings.iter().any(|f| {
        matches!(
            f,
            Finding::Few { .. } | Finding::AtBound { .. } | Finding::SamePoint { .. }
        )
    });
    let main = |f: &Figure| f.is_main();
    let poor = fit.rms.iter().any(|r| main(&r.figure) && r.rms > UNSURE);
    if doubtful || poor {
        Confidence::Low
    } else {
        Confidence::Medium
    }
}

fn held_comment(fitted: &FittedValve) -> String {
    fitted
        .sections
        .iter()
        .filter_map(|s| match &s.outcome {
            Ok(FittedLaw::Valve(fit)) => {
                let held = held(fit);
                let of = s
                    .letter
                    .map_or_else(String::new, |l| format!("Section {l}. "));
                (!held.is_empty()).then(|| {
                    comment(&format!(
                        "{of}The rows don't tell {}: as in the {}.",
                        held.join(", "),
                        fit.kin
                    ))
                })
            }
            _ => None,
        })
        .collect()
}

/// A comment of one or more lines of at most 80 columns.
fn comment(text: &str) -> String {
    let mut out = String::new();
    let mut line = "#".to_owned();
    for word in text.split(' ') {
        if line.chars().count() + 1 + word.chars().count() > 80 && line.len() > 1 {
            out += &line;
            out.push('\n');
            line = "#".to_owned();
        }
        line.push(' ');
        line += word;
    }
    out + &line + "\n"
}

/// Which curves hold: its own where it has a law, else those of the type it was copied from.
fn curves(from: &Sheet, sheet: &Sheet) -> Vec<(Option<char>, String)> {
    if sheet.own_laws.iter().any(|law| law.section.is_none()) {
        return vec![(None, sheet.name.clone())];
    }
    from.sections()
        .iter()
        .map(|s| {
            let own = sheet.own_laws.iter().any(|law| law.section == s.letter);
            let name = if own {
                sheet.name.clone()
            } else {
                from.curves_of(s.letter).unwrap_or("none").to_owned()
            };
            (s.letter, name)
        })
        .collect()
}

/// Every source that a sheet names.
fn keys(sheet: &Sheet) -> BTreeSet<String> {
    let mut all: Vec<&Origin> = vec![&sheet.pins_origin];
    all.extend(sheet.heater.iter().map(|h| &h.origin));
    all.extend(sheet.limits.iter().map(|l| &l.origin));
    all.extend(sheet.capacitances.iter().map(|c| &c.origin));
    all.extend(sheet.static_rows.iter().map(|r| &r.origin));
    all.extend(sheet.curve_points.iter().map(|c| &c.origin));
    all.extend(sheet.stage_rows.iter().map(|s| &s.origin));
    all.extend(sheet.drop_rows.iter().map(|d| &d.origin));
    all.extend(sheet.supply_rows.iter().map(|s| &s.origin));
    all.extend(sheet.own_laws.iter().map(|l| &l.origin));
    all.into_iter()
        .flat_map(|o| o.sources.iter().cloned())
        .collect()
}
