//! The laws of the valves against the rows that data sheets print.
//!
//! Sources of the rows stand beside them in `crates/wiring/data/valves.toml`; most are from
//! memory of the sheets, not seen. The accepted error of each row is the real error rounded up to
//! the next half percent: what the equations owe the maker's average valve. Sound valves spread
//! by 20 to 30 % in current, far more than most of these errors.

use solve::device::{RowErrors, ValveLaw, law_for, row_errors, row_point};
use wiring::sheet::{Confidence, Library, Sheet, StaticRow};

/// The law of a row's section; rows without a section are for each.
fn law(sheet: &Sheet, row: &StaticRow) -> ValveLaw {
    let section = row.section.or(sheet.sections()[0].letter);
    law_for(sheet, section).unwrap_or_else(|| panic!("{} has rows but no law", sheet.name))
}

/// The figures of a row by name: error of the law, accepted error.
fn figures(errors: RowErrors, row: &StaticRow) -> Vec<(&'static str, f64, Option<f64>)> {
    let a = &row.accept;
    [
        ("plate current", errors.plate, a.plate),
        ("screen current", errors.screen, a.screen),
        ("mutual conductance", errors.gm, a.gm),
        ("plate resistance", errors.rp, a.rp),
        ("amplification factor", errors.mu, a.mu),
    ]
    .into_iter()
    .filter_map(|(word, error, accept)| error.map(|e| (word, e, accept)))
    .collect()
}

/// Every row has an accepted error for each of its figures, or a reason why not, and meets it.
#[test]
fn every_static_row_meets_its_accepted_error() {
    let (mut gated, mut open) = (0, 0);
    for sheet in Library::built_in().types() {
        for row in &sheet.static_rows {
            let point = row_point(law(sheet, row), row).expect("law and row go together");
            let name = format!("{} at {} V", sheet.name, row.plate);
            if let Some(reason) = &row.not_gated {
                assert!(reason.len() > 10, "{name}: a reason in words");
                assert_eq!(
                    row.accept,
                    wiring::sheet::Accept::default(),
                    "{name}: one of the two"
                );
                open += 1;
                continue;
            }
            gated += 1;
            for (word, error, accept) in figures(row_errors(&point, row), row) {
                let accept =
                    accept.unwrap_or_else(|| panic!("{name}: no accepted error of the {word}"));
                assert!(
                    error.abs() <= accept,
                    "{name}: the {word} is out by {:.2} %, accepted {:.2} %",
                    100.0 * error,
                    100.0 * accept
                );
            }
        }
    }
    println!("{gated} rows gated, {open} not");
    assert!(gated >= 60 && open <= 7, "{gated} gated, {open} not");
}

/// An accepted error that is much looser than the real one is a gate left open.
#[test]
fn accepted_errors_stay_close_to_the_real_ones() {
    for sheet in Library::built_in().types() {
        for row in sheet.static_rows.iter().filter(|r| r.not_gated.is_none()) {
            if row.accept.why.is_some() {
                continue;
            }
            let point = row_point(law(sheet, row), row).expect("law and row go together");
            for (word, error, accept) in figures(row_errors(&point, row), row) {
                let accept = accept.unwrap_or(f64::INFINITY);
                let most = (1.6 * error.abs()).max(error.abs() + 0.005);
                assert!(
                    accept <= most + 1e-9,
                    "{} at {} V: the {word} is out by {:.2} % but {:.2} % is accepted",
                    sheet.name,
                    row.plate,
                    100.0 * error,
                    100.0 * accept
                );
            }
        }
    }
}

/// Only the far tail and doubtful rows stand outside the gate.
#[test]
fn what_is_not_gated_is_doubtful_or_far_in_the_tail() {
    for sheet in Library::built_in().types() {
        for row in sheet.static_rows.iter().filter(|r| r.not_gated.is_some()) {
            let tail = row.plate_amps.is_some_and(|amps| amps < 0.1e-3);
            assert!(
                tail || row.origin.confidence == Confidence::Low,
                "{} at {} V",
                sheet.name,
                row.plate
            );
        }
    }
}

/// Root mean square in percent of the errors that are there.
fn rms(errors: impl Iterator<Item = Option<f64>>) -> f64 {
    let (mut sum, mut count) = (0.0, 0.0_f64);
    for e in errors.flatten() {
        sum += e * e;
        count += 1.0;
    }
    100.0 * (sum / count.max(1.0)).sqrt()
}

/// The rows of a fit: those of its own types, cut-off points and triode connection apart, each at the bias
/// that its sheet's own currents give (which is how the fits were made).
fn fitted(types: &[&str], section: Option<char>, doubtful: bool) -> Vec<RowErrors> {
    let library = Library::built_in();
    let mut seen: Vec<StaticRow> = Vec::new();
    let mut all = Vec::new();
    for name in types {
        let sheet = library.find(name).expect("a built-in type");
        for row in &sheet.static_rows {
            let apart = row.triode_connected
                || row.plate_amps.is_none_or(|amps| amps < 0.1e-3)
                || (row.section.is_some() && row.section != section)
                || (!doubtful && row.origin.confidence == Confidence::Low);
            let same = |s: &StaticRow| {
                (s.plate, s.screen, s.grid, s.mu) == (row.plate, row.screen, row.grid, row.mu)
            };
            if apart || (types.len() > 1 && seen.iter().any(same)) {
                continue;
            }
            seen.push(row.clone());
            let mut row = row.clone();
            if let Some(ohms) = row.cathode_ohms.take() {
                let plate = row
                    .plate_amps
                    .expect("a published row has its plate current");
                row.grid = Some(-ohms * (plate + row.screen_amps.unwrap_or(0.0)));
            }
            let point = row_point(law(sheet, &row), &row).expect("law and row go together");
            all.push(row_errors(&point, &row));
        }
    }
    all
}

/// The rms errors of the triode fits, in percent: plate current, mutual conductance, plate
/// resistance. The figures of the fit; computed in this project with other code, so a slip in
/// either shows.
#[test]
fn triode_fits_are_as_good_as_stated() {
    let stated: [(&str, Option<char>, usize, [f64; 3]); 8] = [
        ("12AX7", None, 2, [1.8, 2.5, 1.8]),
        ("12AT7", None, 6, [6.8, 3.2, 3.4]),
        ("12AU7", None, 2, [1.6, 3.5, 3.1]),
        ("12AY7", None, 2, [0.3, 0.7, 4.8]),
        ("6SL7GT", None, 27, [2.3, 3.2, 4.1]),
        ("6SN7GT", None, 3, [0.5, 2.2, 1.9]),
        ("6AN8", Some('t'), 2, [1.6, 8.3, 6.3]),
        ("6U8A", Some('t'), 2, [1.4, 2.2, 2.4]),
    ];
    println!("triode        rows   plate A      gm      rp   rms %");
    for (name, section, count, [plate, gm, rp]) in stated {
        let mut errors = fitted(&[name], section, false);
        let sheet = Library::built_in().find(name).expect("a built-in type");
        if let Some(ValveLaw::Triode(law)) = law_for(sheet, section.or(Some('a'))) {
            errors.extend(
                sheet
                    .curve_points
                    .iter()
                    .filter(|c| c.origin.confidence == Confidence::High)
                    .map(|c| RowErrors {
                        plate: Some(law.currents(c.plate, c.grid).plate_a / c.plate_amps - 1.0),
                        ..RowErrors::default()
                    }),
            );
        }
        let got = [
            rms(errors.iter().map(|e| e.plate)),
            rms(errors.iter().map(|e| e.gm)),
            rms(errors.iter().map(|e| e.rp)),
        ];
        println!(
            "{name:<12} {:>5} {:>9.1} {:>7.1} {:>7.1}",
            errors.len(),
            got[0],
            got[1],
            got[2]
        );
        assert_eq!(errors.len(), count, "{name}");
        // One digit after the point was stated.
        for (g, s) in got.into_iter().zip([plate, gm, rp]) {
            assert!(g <= s + 0.05 + 1e-9, "{name}: {g:.2} % rms, stated {s}");
        }
    }
}

/// The same for pentodes and beam tetrodes: plate current, screen current, mutual conductance.
#[test]
fn pentode_fits_are_as_good_as_stated() {
    type Stated<'a> = (&'a [&'a str], Option<char>, usize, [f64; 3]);
    let stated: [Stated; 14] = [
        (&["6V6GT"], None, 5, [2.1, 23.4, 2.2]),
        (&["6L6G", "6L6GC"], None, 7, [0.9, 16.0, 0.9]),
        (&["EL34"], None, 2, [1.5, 4.1, 5.7]),
        (&["EL84"], None, 4, [2.7, 4.4, 1.4]),
        (&["6550"], None, 4, [1.4, 37.2, 7.3]),
        (&["KT66"], None, 1, [0.3, 0.2, 5.2]),
        (&["KT88"], None, 1, [8.2, 30.0, 2.9]),
        (&["6K6GT"], None, 4, [1.4, 4.2, 3.2]),
        (&["6973"], None, 3, [3.6, 10.8, 0.3]),
        (&["7591"], None, 3, [4.0, 9.1, 5.1]),
        (&["6SJ7"], None, 2, [0.2, 2.3, 0.6]),
        (&["EF86"], None, 1, [0.6, 0.2, 1.2]),
        (&["6AN8"], Some('p'), 2, [5.5, 2.9, 9.9]),
        (&["6U8A"], Some('p'), 2, [1.9, 1.7, 2.4]),
    ];
    println!("pentode       rows   plate A  screen A    gm   rms %");
    for (names, section, count, figures) in stated {
        let errors = fitted(names, section, true);
        let got = [
            rms(errors.iter().map(|e| e.plate)),
            rms(errors.iter().map(|e| e.screen)),
            rms(errors.iter().map(|e| e.gm)),
        ];
        println!(
            "{:<12} {:>5} {:>9.1} {:>9.1} {:>6.1}",
            names[0],
            errors.len(),
            got[0],
            got[1],
            got[2]
        );
        assert_eq!(errors.len(), count, "{names:?}");
        for (g, s) in got.into_iter().zip(figures) {
            assert!(g <= s + 0.05 + 1e-9, "{names:?}: {g:.2} % rms, stated {s}");
        }
    }
}

/// Drops of rectifier plates against the sheets' rows, in percent of the drop.
///
/// 10 % for rows of medium or high confidence: the 5Y3GT stands between 60 V and 50 V that two
/// memories give for 125 mA; the others were set from the row itself.
#[test]
fn rectifier_drops_meet_their_rows() {
    let mut rows = 0;
    for sheet in Library::built_in().types() {
        for row in sheet
            .drop_rows
            .iter()
            .filter(|r| r.origin.confidence != Confidence::Low)
        {
            let Some(ValveLaw::Rectifier(perveance)) = law_for(sheet, Some('a')) else {
                panic!("{} has drops but no law", sheet.name);
            };
            let volts = (row.amps / perveance).powf(2.0 / 3.0);
            let error = volts / row.volts - 1.0;
            let accept = if sheet.name == "5Y3GT" { 0.10 } else { 0.005 };
            assert!(
                error.abs() <= accept,
                "{}: {volts:.1} V for {} V",
                sheet.name,
                row.volts
            );
            rows += 1;
        }
    }
    assert_eq!(rows, 6);
}
