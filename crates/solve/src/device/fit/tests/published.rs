//! Against the rows that sheets print, from every type but the one that is fitted.

use super::*;

/// The published rows of a law's type: typical points, and readings of the curves that are well known. Cut-off points
/// and triode connection apart, as in the fits that the library's laws come from.
fn published(entry: &LawEntry) -> Vec<FitRow> {
    let names: &[&str] = if entry.valve == "6L6GC" {
        // One law stands for both families, whose sheets print the same curves.
        &["6L6GC", "6L6G"]
    } else {
        &[entry.valve.as_str()]
    };
    let mut rows: Vec<FitRow> = Vec::new();
    for name in names {
        let sheet = Library::built_in().find(name).unwrap();
        let fixed = sheet
            .static_rows
            .iter()
            .filter(|r| r.section.is_none() || r.section == entry.section)
            .filter(|r| !r.triode_connected && r.plate_amps.is_some_and(|amps| amps > 1e-4))
            .map(FitRow::from);
        let read = sheet
            .curve_points
            .iter()
            .filter(|c| c.origin.confidence == Confidence::High)
            .map(FitRow::from);
        for row in fixed.chain(read) {
            if names.len() == 1 || !rows.contains(&row) {
                rows.push(row);
            }
        }
    }
    rows
}

fn others(entry: &LawEntry) -> Vec<LawEntry> {
    laws().iter().filter(|e| *e != entry).cloned().collect()
}

/// Rms errors of a law on rows by figure, as the fit counts them.
fn errors(sort: Sort, law: ValveLaw, rows: &[FitRow], figure: Figure) -> Option<f64> {
    let (mut sum, mut count) = (0.0, 0.0_f64);
    for row in rows.iter().map(|r| r.at_own_bias(sort)) {
        let point = row.point(law).unwrap();
        for given in row
            .given()
            .iter()
            .filter(|g| g.figure == figure && !g.least)
        {
            sum += (row.computed(law, figure, &point) / given.value - 1.0).powi(2);
            count += 1.0;
        }
    }
    (count > 0.0).then(|| (sum / count).sqrt())
}

/// Rms of all residuals over their uncertainties.
fn weighed(sort: Sort, law: ValveLaw, rows: &[FitRow]) -> f64 {
    let all: Vec<f64> = rows
        .iter()
        .flat_map(|row| kin::residuals(sort, law, &row.at_own_bias(sort)))
        .collect();
    (all.iter().map(|r| r * r).sum::<f64>() / all.len() as f64).sqrt()
}

/// Figures whose rms error after a refit is more than 1.3 times that of the library's law, with what is accepted.
///
/// Two or three rows can't have all their figures met at once, and the refit weighs them otherwise than the library's
/// fits did: plate current 2 %, mutual conductance 5 %, screen current 15 %, plate resistance 6 % (of a pentode 20 %).
/// What stands here is met worse than by the library and still within that weight, and another figure of the same type
/// is met better; of the 6AN8's pentode that is the mutual conductance (6.8 % for 9.9 %).
const WEIGHED_OTHERWISE: [(&str, Option<char>, Figure, f64); 6] = [
    ("12AX7", None, Figure::Gm, 0.05),
    ("EL84", None, Figure::Gm, 0.035),
    ("6973", None, Figure::Gm, 0.04),
    ("EF86", None, Figure::Screen, 0.02),
    ("EF86", None, Figure::Gm, 0.04),
    ("6AN8", Some('p'), Figure::Screen, 0.065),
];

/// Every type fitted afresh from its own published rows, starting from the *other* types' laws, does as well on them
/// as the library's law, whose rms errors by figure are held elsewhere (tests/static_rows.rs).
///
/// Every figure of a row that those errors are told of (a pentode's plate resistance is not), and all figures weighed
/// together: at most 1.3 times the library's. Below 1 % lies what a sheet's two or three digits say.
#[test]
fn every_type_is_refitted_from_its_own_rows_without_its_own_law() {
    println!(
        "type        kin       rows   library:  plate  screen    gm    rp   refit:  plate  screen    gm    rp  %"
    );
    let mut wrong: Vec<String> = Vec::new();
    for entry in laws() {
        let Some(sort) = Sort::of(entry.law) else {
            continue;
        };
        let rows = published(entry);
        let fitted = fit(sort, &rows, &others(entry)).unwrap();
        let shown = [Figure::Plate, Figure::Screen, Figure::Gm, Figure::PlateOhms];
        let percent = |law| {
            shown
                .map(|f| {
                    errors(sort, law, &rows, f)
                        .map_or("     -".to_owned(), |e| format!("{:6.1}", 100.0 * e))
                })
                .join(" ")
        };
        println!(
            "{:<8}{:<3} {:<10} {:>3}           {}           {}   {:?}",
            entry.valve,
            entry.section.map_or_else(String::new, String::from),
            fitted.kin,
            rows.len(),
            percent(entry.law),
            percent(fitted.law),
            fitted.predicted_rms.map(|p| (1000.0 * p).round() / 10.0),
        );
        let (ours, theirs) = (
            weighed(sort, fitted.law, &rows),
            weighed(sort, entry.law, &rows),
        );
        assert!(
            ours <= 1.3 * theirs.max(0.3),
            "{}: {ours:.2} against {theirs:.2}",
            entry.valve
        );
        for figure in shown {
            if (sort, figure) == (Sort::Pentode, Figure::PlateOhms) {
                continue;
            }
            let of = |law| errors(sort, law, &rows, figure);
            let (Some(ours), Some(theirs)) = (of(fitted.law), of(entry.law)) else {
                continue;
            };
            let usual = 1.3 * theirs.max(0.01);
            let listed = WEIGHED_OTHERWISE.iter().find(|(valve, section, f, _)| {
                (*valve, *section, *f) == (entry.valve.as_str(), entry.section, figure)
            });
            if listed.is_some() && ours <= usual {
                wrong.push(format!("{} {figure:?} need not be listed", entry.valve));
            }
            if ours > listed.map_or(usual, |(.., most)| *most) {
                wrong.push(format!(
                    "{} {figure:?}: {ours:.4}, library {theirs:.4}",
                    entry.valve
                ));
            }
        }
    }
    assert_eq!(wrong, Vec::<String>::new());
}

/// Fitted to every second published row, the laws predict the plate current of the rows between.
///
/// The accepted errors are what was found, rounded up. From two rows or more: 6 % rms; of the one type with many rows
/// of its curves (the 6SL7GT, 27 rows, most of them seen second-hand) 3.2 %. From a single row the kin's shape predicts
/// alone, which is out by 17 % rms: one row is not enough, and the fit says so.
#[test]
fn half_the_published_rows_predict_the_other_half() {
    let (mut single, mut several, mut many) = (Vec::new(), Vec::new(), Vec::new());
    for entry in laws() {
        let Some(sort) = Sort::of(entry.law) else {
            continue;
        };
        let rows = published(entry);
        for parity in 0..2 {
            let half = |keep: bool| -> Vec<FitRow> {
                rows.iter()
                    .enumerate()
                    .filter(|(i, _)| (i % 2 == parity) == keep)
                    .map(|(_, row)| row.clone())
                    .collect()
            };
            let (taken, held_back) = (half(true), half(false));
            if taken.is_empty() {
                continue;
            }
            let fitted = fit(sort, &taken, &others(entry)).unwrap();
            if taken.len() < 3 {
                assert!(
                    fitted
                        .findings
                        .contains(&Finding::Few { rows: taken.len() })
                );
            }
            for row in held_back.iter().map(|r| r.at_own_bias(sort)) {
                let computed = row.point(fitted.law).unwrap().plate_a;
                let error = computed / row.value(Figure::Plate).unwrap() - 1.0;
                match taken.len() {
                    1 => single.push(error),
                    2..9 => several.push(error),
                    _ => many.push(error),
                }
                if error.abs() > 0.1 {
                    println!(
                        "{} from {} and {} rows: {:+.0} %",
                        entry.valve,
                        fitted.kin,
                        taken.len(),
                        100.0 * error
                    );
                }
            }
        }
    }
    for (errors, least, accepted) in [
        (&single, 20, 0.17),
        (&several, 30, 0.065),
        (&many, 25, 0.035),
    ] {
        let rms = (errors.iter().map(|e| e * e).sum::<f64>() / errors.len() as f64).sqrt();
        println!("held back: {} rows, {:.1} % rms", errors.len(), 100.0 * rms);
        assert!(errors.len() >= least, "{}", errors.len());
        assert!(rms < accepted, "{rms}");
    }
}
