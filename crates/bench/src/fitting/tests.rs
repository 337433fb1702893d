//! Rows in, block out: where rows belong, what is copied, and that the block reads back to the same law.

use super::*;
use solve::device::{law_entry, law_for};
use wiring::sheet::{LawForm, TypedRow, read_rows};

fn rows(text: &str) -> Vec<TypedRow> {
    let read = read_rows(text, 0);
    assert_eq!(read.diagnostics, Vec::new());
    read.rows
}

fn fitted(name: &str, like: Option<&str>, text: &str) -> FittedValve {
    let rows = rows(text);
    let request = FitRequest {
        name,
        rows: ValveRows::Typed {
            file: "bench.csv",
            rows: &rows,
        },
        like,
    };
    fit_valve(Library::built_in(), &request).unwrap()
}

/// Rows of a triode-pentode go to its sections by their letter, without one by their screen.
#[test]
fn rows_find_their_section() {
    let text = "section,plate,screen,grid,plate_ma,screen_ma\n\
                t,100,,-1,3,\n,150,,-2,4,\np,200,200,-10,30,5\n,200,200,-16,15,2.5\n";
    let found = fitted("ECL82", None, text);
    assert_eq!(found.misfits, Vec::new());
    let of: Vec<(Option<char>, Vec<usize>)> = found
        .sections
        .iter()
        .map(|s| (s.letter, s.rows.clone()))
        .collect();
    assert_eq!(of, [(Some('p'), vec![2, 3]), (Some('t'), vec![0, 1])]);
    let block = found.block.unwrap();
    let (library, problems) = Library::with_user_file(&block.text);
    assert_eq!(problems, Vec::new(), "{}", block.text);
    let sheet = library.find("6BM8").expect("its other name stays");
    let forms = ['t', 'p'].map(|s| law_for(sheet, Some(s)).unwrap().numbers().0);
    assert_eq!(forms, [LawForm::Triode, LawForm::Pentode]);
}

/// The block is what the chart reads: the same law bit by bit, with what its rows cover.
#[test]
fn a_block_reads_back_to_the_law_that_was_shown() {
    let found = fitted(
        "X7",
        Some("12AX7"),
        "plate,grid,plate_ma\n100,-1,0.5\n150,-1,1.1\n200,-2,0.7\n250,-2,1.2\n",
    );
    let Ok(FittedLaw::Valve(fit)) = &found.sections[0].outcome else {
        panic!("{found:?}");
    };
    let block = found.block.as_ref().unwrap();
    let (library, problems) = Library::with_user_file(&block.text);
    assert_eq!(problems, Vec::new(), "{}", block.text);
    let sheet = library.find("x7").unwrap();
    let entry = law_entry(sheet, Some('b')).unwrap();
    assert_eq!(entry.law, fit.law);
    assert_eq!(entry.covers.unwrap().plate_volts, Some((100.0, 250.0)));
    assert_eq!(sheet.limits, Vec::new());
    assert_eq!(sheet.static_rows.len(), 4);
    assert!(block.copied.as_ref().unwrap().contains("12AX7"));
    assert_eq!(sheet.pins, Library::built_in().find("12AX7").unwrap().pins);
}

/// One's own specimen of a known type keeps that type's limits, and its rows take the place of the published ones.
#[test]
fn a_known_type_keeps_its_limits() {
    let found = fitted(
        "EL84",
        None,
        "plate,screen,grid,plate_ma,screen_ma\n250,250,-7.3,44,5\n",
    );
    let block = found.block.unwrap();
    assert_eq!(block.copied, None);
    let own = Library::built_in().find("EL84").unwrap();
    assert_eq!(block.sheet.limits, own.limits);
    assert_eq!(block.sheet.static_rows.len(), 1);
}

#[test]
fn rows_of_another_kind_are_told_by_row() {
    let what = |name: &str, like: Option<&str>, text: &str| -> Vec<usize> {
        let found = fitted(name, like, text);
        for misfit in &found.misfits {
            assert!(!misfit.what.is_empty() && !misfit.advice.is_empty());
        }
        found.misfits.iter().map(|m| m.row).collect()
    };
    let mixed = "section,plate,screen,grid,plate_ma,drop\n,250,,-2,1.2,\n,250,200,-2,1.2,\n\
                 ,,,,50,15\nc,250,,-2,1.2,\n";
    assert_eq!(what("12AX7", None, mixed), [1, 2, 3]);
    assert_eq!(what("EL84", None, mixed), [0, 2, 3]);
    assert_eq!(what("5AR4", None, mixed), [0, 1, 3]);
    // Without a sheet a screen makes it a pentode.
    assert_eq!(
        what(
            "X1",
            None,
            "plate,screen,grid,plate_ma\n250,,-2,1.2\n250,200,-2,5\n"
        ),
        [0]
    );
}

/// The drop of a published rectifier gives its perveance: the 5AR4's is 17 V at 225 mA a plate, published in several
/// printings of its sheet (from memory, not seen): 0.225 / 17^1.5 = 3.21e-3.
#[test]
fn a_rectifier_is_fitted_from_its_drop() {
    let found = fitted("X5", Some("5AR4"), "drop,plate_ma\n17,225\n");
    let Ok(FittedLaw::Rectifier(fit, _)) = &found.sections[0].outcome else {
        panic!("{found:?}");
    };
    assert!((fit.perveance / 3.21e-3 - 1.0).abs() < 1e-3);
    let (library, problems) = Library::with_user_file(&found.block.unwrap().text);
    assert_eq!(problems, Vec::new());
    assert!(law_for(library.find("X5").unwrap(), None).is_some());
}

#[test]
fn what_is_missing_is_said() {
    let all = "plate,grid,plate_ma\n250,-2,1.2\n";
    assert!(
        fitted("X1", None, all)
            .block
            .unwrap_err()
            .contains("`--like`")
    );
    let rows = rows(all);
    let request = |like, rows| FitRequest {
        name: "X1",
        rows: ValveRows::Typed { file: "f", rows },
        like,
    };
    let library = Library::built_in();
    assert_eq!(
        fit_valve(library, &request(Some("12AX8"), &rows)),
        Err(FittingError::UnknownLike("12AX8".to_owned()))
    );
    assert_eq!(
        fit_valve(library, &request(None, &[])),
        Err(FittingError::NoRows)
    );
}
