//! A fit as the terminal shows it: rows beside the law, what it rests on, the block.

use super::Done;
use crate::table::{Side, Table, hanging, paragraph};
use crate::words::{capital, sentence};
use bench::fitting::{FittedLaw, FittedSection};
use solve::device::fit::{
    Figure, Finding, Fit, FitError, FitRow, FittedRow, Held, RectifierFit, Slip,
};

/// So many rows are shown; of more, those that are out most.
const SHOWN: usize = 40;

/// So many findings of a sort are listed.
const LISTED: usize = 8;

/// Everything; `written` says where the block went, if it went anywhere, `unwritten` that errors kept it from a file.
pub(super) fn text(done: &Done, written: Option<&str>, unwritten: bool) -> String {
    let mut out = String::new();
    for section in &done.fitted.sections {
        out += &heading(done, section);
        match &section.outcome {
            Ok(law) => out += &of_law(done, section, law),
            Err(FitError::TooPoor { sort, rms, fit }) => {
                out += &table(done, section, fit);
                out += &findings(done, section, fit);
                out += &paragraph(
                    &format!(
                        "No law: the best that the equations of a {} can do is {:.0} % off in current. \
                         Look for a column that holds something else, a sign, a decimal point.",
                        sort.word(),
                        100.0 * rms
                    ),
                    "",
                );
            }
            Err(error) => out += &paragraph(&format!("No law: {error}."), ""),
        }
        out.push('\n');
    }
    match (&done.fitted.block, written) {
        (Ok(_), Some(place)) => {
            out += &paragraph(
                &format!("{place} Name that file with `--valves-file`, and a chart uses it."),
                "",
            );
        }
        (Ok(block), None) => {
            let how = if unwritten {
                "Not written: rows have errors. Mend them first. Without those rows it would be:"
            } else {
                "To use it, put this into a file and name that with `--valves-file` (`-o FILE` writes it):"
            };
            out += &paragraph(how, "");
            out.push('\n');
            out += &block.text;
        }
        (Err(why), _) => {
            let mut why = why.clone();
            if !done.fitted.sections.is_empty() {
                why = format!("Nothing to save: {why}");
            }
            out += &paragraph(&sentence(&why), "");
        }
    }
    out
}

fn heading(done: &Done, section: &FittedSection) -> String {
    let of = section
        .letter
        .map_or_else(String::new, |l| format!(", section {l}"));
    let what = match &section.outcome {
        Ok(FittedLaw::Rectifier(..)) => "as a rectifier",
        Ok(FittedLaw::Valve(fit)) => match fit.law {
            solve::device::ValveLaw::Pentode(_) => "as a pentode",
            _ => "as a triode",
        },
        Err(_) => "not fitted",
    };
    format!("{}{of}, {what}\n\n", done.fitted.name)
}

fn of_law(done: &Done, section: &FittedSection, law: &FittedLaw) -> String {
    match law {
        FittedLaw::Valve(fit) => {
            table(done, section, fit)
                + &summary(done, section, fit)
                + &findings(done, section, fit)
                + &numbers(fit)
        }
        FittedLaw::Rectifier(fit, rows) => rectifier(done, section, fit, rows),
    }
}

/// The number that stands for a row of the section.
fn label(done: &Done, section: &FittedSection, row: usize) -> usize {
    section
        .rows
        .get(row)
        .and_then(|i| done.labels.get(*i))
        .copied()
        .unwrap_or(row + 1)
}

/// Three significant digits, without an exponent.
fn three(value: f64) -> String {
    if !value.is_finite() {
        return "?".to_owned();
    }
    let short: f64 = format!("{value:.2e}").parse().unwrap_or(value);
    format!("{short}")
}

fn percent(error: f64) -> String {
    if error.abs() >= 9.995 {
        return "far off".to_owned();
    }
    let text = format!("{:+.1}", 100.0 * error);
    if text == "-0.0" {
        "+0.0".to_owned()
    } else {
        text
    }
}

/// Currents first, slopes in a table of their own, so that both fit the terminal.
fn table(done: &Done, section: &FittedSection, fit: &Fit) -> String {
    let currents = [
        (Figure::Plate, "plate mA", 1e3),
        (Figure::Cathode, "cath. mA", 1e3),
        (Figure::Screen, "screen mA", 1e3),
    ];
    let slopes = [
        (Figure::Gm, "mS", 1e3),
        (Figure::PlateOhms, "rp kΩ", 1e-3),
        (Figure::Mu, "mu", 1.0),
        (Figure::MuScreen, "mu g2", 1.0),
    ];
    let mut out = one_table(done, section, fit, &currents, true);
    out += "law: computed by the fitted equations; %: its error\n";
    let has = |f: Figure| {
        fit.rows
            .iter()
            .any(|r| r.figures.iter().any(|c| c.figure == f))
    };
    if slopes.iter().any(|(f, ..)| has(*f)) {
        out.push('\n');
        out += &one_table(done, section, fit, &slopes, false);
    }
    if shown(fit)
        .iter()
        .any(|i| fit.rows.get(*i).is_some_and(|r| !r.used))
    {
        out += "* shown, not fitted to\n";
    }
    if fit.rows.len() > SHOWN {
        out += &paragraph(
            &format!(
                "Shown are the {SHOWN} of {} rows that are out most; `--json` has all.",
                fit.rows.len()
            ),
            "",
        );
    }
    out
}

/// Indices of the rows that are shown, in their order.
fn shown(fit: &Fit) -> Vec<usize> {
    most(&fit.rows, |row| {
        row.figures
            .iter()
            .map(|c| c.error.abs())
            .fold(0.0, f64::max)
    })
}

/// All, or the [`SHOWN`] with the largest size; in their order.
fn most<T>(rows: &[T], size: impl Fn(&T) -> f64) -> Vec<usize> {
    let mut sizes: Vec<(f64, usize)> = rows.iter().map(size).zip(0..).collect();
    sizes.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let mut all: Vec<usize> = sizes.into_iter().take(SHOWN).map(|(_, i)| i).collect();
    all.sort_unstable();
    all
}

fn one_table(
    done: &Done,
    section: &FittedSection,
    fit: &Fit,
    figures: &[(Figure, &str, f64)],
    volts: bool,
) -> String {
    let mut table = Table::new().column(done.label, Side::Right);
    if volts {
        for head in ["plate V", "screen V", "grid V"] {
            table = table.column(head, Side::Right);
        }
    }
    for (_, head, _) in figures {
        table = table
            .column(head, Side::Right)
            .column("law", Side::Right)
            .column("%", Side::Right);
    }
    table = table.column("", Side::Left);
    for i in shown(fit) {
        let Some(row) = fit.rows.get(i) else {
            continue;
        };
        let mut cells = vec![label(done, section, i).to_string()];
        if volts {
            cells.extend(row_volts(section.points.get(i), row));
        }
        for (figure, _, scale) in figures {
            match row.figures.iter().find(|c| c.figure == *figure) {
                Some(c) => cells.extend([
                    three(c.given * scale),
                    three(c.computed * scale),
                    percent(c.error),
                ]),
                None => cells.extend([String::new(), String::new(), String::new()]),
            }
        }
        cells.push(if row.used { "" } else { "*" }.to_owned());
        table.row(cells);
    }
    table.without_empty_columns().render()
}

fn row_volts(point: Option<&FitRow>, row: &FittedRow) -> [String; 3] {
    let short = |v: f64| {
        let text = format!("{v:.2}");
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    };
    let screen = point.map_or_else(String::new, |p| {
        if p.is_triode_connected() {
            "plate".to_owned()
        } else {
            p.screen_volts().map_or_else(String::new, short)
        }
    });
    [
        point.map_or_else(String::new, |p| short(p.plate_volts())),
        screen,
        row.point.map_or_else(String::new, |p| short(p.grid)),
    ]
}

fn summary(done: &Done, section: &FittedSection, fit: &Fit) -> String {
    let all: Vec<String> = fit
        .rms
        .iter()
        .map(|r| format!("{} {:.1} % ({})", r.figure.word(), 100.0 * r.rms, r.rows))
        .collect();
    let mut text = format!("Error, rms over rows: {}.", all.join(", "));
    if let Some(worst) = fit.worst {
        text += &format!(
            " Worst: {} {}, {}, {} %.",
            done.label,
            label(done, section, worst.row),
            worst.figure.word(),
            percent(worst.error)
        );
    }
    if let Some(rms) = fit.predicted_rms {
        text += &format!(
            " Each row's current as the others predict it: {:.1} % rms.",
            100.0 * rms
        );
    }
    let span = |(low, high): (f64, f64)| {
        if low == high {
            three(low)
        } else {
            format!("{} to {}", three(low), three(high))
        }
    };
    let c = &fit.covers;
    let mut covers = vec![format!("plate {} V", span(c.plate_volts))];
    covers.extend(c.screen_volts.map(|s| format!("screen {} V", span(s))));
    covers.push(format!("grid {} V", span(c.grid_volts)));
    let (low, high) = c.plate_amps;
    covers.push(format!(
        "plate current {} mA",
        span((low * 1e3, high * 1e3))
    ));
    format!(
        "\n{}{}",
        paragraph(&text, ""),
        paragraph(
            &format!("Valid where the rows are: {}.", covers.join(", ")),
            ""
        )
    )
}

/// What is odd, each as a point of a list.
fn findings(done: &Done, section: &FittedSection, fit: &Fit) -> String {
    let row = |row: usize| format!("{} {}", done.label, label(done, section, row));
    let mut out = String::new();
    let mut tails: Vec<String> = Vec::new();
    let (mut strange, mut same) = (0, 0);
    let mut say = |text: String| out += &hanging(&text, "- ", "  ");
    for finding in &fit.findings {
        match finding {
            Finding::Strange { .. } if strange == LISTED => {}
            Finding::SamePoint { .. } if same == LISTED => {}
            Finding::Tail { row: i } => tails.push(label(done, section, *i).to_string()),
            Finding::Strange {
                row: i,
                figure,
                left_out,
                slip,
            } => {
                strange += 1;
                let left = if *left_out { " and is left out" } else { "" };
                let slip = match slip {
                    Some(Slip::Factor(factor)) => format!(
                        " {} times what is written would fit: look at the decimal point and the unit.",
                        three(*factor)
                    ),
                    Some(Slip::GridSign) => {
                        " With the grid below the cathode it would fit: look at the sign."
                            .to_owned()
                    }
                    None => " Read it again.".to_owned(),
                };
                say(format!(
                    "The {} of {} does not go with the other rows{left}.{slip}",
                    figure.word(),
                    row(*i)
                ));
            }
            Finding::SamePoint { row: a, other } => {
                same += 1;
                say(format!(
                    "{} and {} are at the same volts with different currents. One of them is wrong, or two \
                     valves were read; the law lies between.",
                    capital(&row(*a)),
                    row(*other)
                ));
            }
            Finding::Thinned { rows, of } => say(format!(
                "{of} rows are more than a fit needs: it was made from {rows} of them, spread over the volts \
                 that all cover. The others are compared with it."
            )),
            Finding::Few { rows } => say(format!(
                "{} can't tell one valve from another: only what is marked below was fitted, the shape of \
                 the curves is that of the {}. Trust it near the rows, and read more of them.",
                if *rows == 1 { "One row" } else { "Two rows" },
                fit.kin
            )),
            Finding::AtBound { parameter } => say(format!(
                "`{parameter}` stands at the end of what is physical: the rows ask for a valve that the \
                 equations don't describe."
            )),
        }
    }
    if !tails.is_empty() {
        let more = tails.len().saturating_sub(LISTED);
        tails.truncate(LISTED);
        let more = if more > 0 {
            format!(" and {more} more")
        } else {
            String::new()
        };
        say(format!(
            "So little current flows in {} {}{more} that the equations are out by a factor of several there.",
            done.label,
            tails.join(", ")
        ));
    }
    let count = |is: fn(&Finding) -> bool| fit.findings.iter().filter(|f| is(f)).count();
    let strange = count(|f| matches!(f, Finding::Strange { .. })).saturating_sub(LISTED);
    let same = count(|f| matches!(f, Finding::SamePoint { .. })).saturating_sub(LISTED);
    if strange > 0 {
        say(format!(
            "{strange} more figures do not go with the others; `--json` lists them."
        ));
    }
    if same > 0 {
        say(format!(
            "{same} more points have rows with different currents; `--json` lists them."
        ));
    }
    out
}

/// The numbers of the law with their uncertainty, or why they were not fitted.
fn numbers(fit: &Fit) -> String {
    let kin = match fit.kin_section {
        Some(letter) => format!("{} (section {letter})", fit.kin),
        None => fit.kin.clone(),
    };
    let mut table = Table::new()
        .column("number", Side::Left)
        .column("value", Side::Right)
        .column("±", Side::Right)
        .wrapping("", 30);
    for p in &fit.parameters {
        let why = match p.held {
            None => "fitted".to_owned(),
            Some(Held::RowsSayTooLittle) => format!("held as in the {kin}: the rows don't tell"),
            Some(Held::GoesWithMu) if p.name == "w1" => {
                format!("held: its product with mu is that of the {kin}")
            }
            Some(Held::GoesWithMu) => "6.5 over mu".to_owned(),
            Some(Held::NeverFitted) => format!("as in the {kin}; no such row tells"),
        };
        table.row([
            p.name.to_owned(),
            format!("{}", p.value),
            p.uncertainty.map_or_else(String::new, two),
            why,
        ]);
    }
    format!(
        "\n{}{}",
        table.render(),
        paragraph(
            &format!("The known type that needed the least change is the {kin}."),
            ""
        )
    )
}

/// Two significant digits.
fn two(value: f64) -> String {
    let short: f64 = format!("{value:.1e}").parse().unwrap_or(value);
    format!("{short}")
}

fn rectifier(
    done: &Done,
    section: &FittedSection,
    fit: &RectifierFit,
    rows: &[(f64, f64)],
) -> String {
    let mut table = Table::new()
        .column(done.label, Side::Right)
        .column("one plate, mA", Side::Right)
        .column("drop V", Side::Right)
        .column("law", Side::Right)
        .column("%", Side::Right);
    for i in most(&fit.errors, |e| e.abs()) {
        if let (Some((volts, amps)), Some(error)) = (rows.get(i), fit.errors.get(i)) {
            table.row([
                label(done, section, i).to_string(),
                three(amps * 1e3),
                three(*volts),
                three(volts * (1.0 + error)),
                percent(*error),
            ]);
        }
    }
    let some = if rows.len() > SHOWN {
        format!(
            "Shown are the {SHOWN} of {} rows that are out most; `--json` has all.\n",
            rows.len()
        )
    } else {
        String::new()
    };
    format!(
        "{}{some}\n{}",
        table.render(),
        paragraph(
            &format!(
                "Perveance {} A/V^1.5. Error of the drop, rms: {:.1} % ({}). Valid from {} to {} mA.",
                fit.perveance,
                100.0 * fit.rms.rms,
                fit.rms.rows,
                three(fit.amps.0 * 1e3),
                three(fit.amps.1 * 1e3)
            ),
            ""
        )
    )
}
