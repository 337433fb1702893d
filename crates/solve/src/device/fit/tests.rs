//! Fits against published rows, against formulas that share no code with the laws, and against nonsense.

use super::*;
use crate::device::{PentodeLaw, TriodeLaw, laws};
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use wiring::sheet::{Confidence, Library};

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

/// Equation set T written out once more, plainly: plate current below 0 V on the grid.
fn set_t(l: &TriodeLaw, va: f64, vg: f64) -> f64 {
    let w = (l.w0 * l.w0 + l.w1 * l.w1 * va * va).sqrt();
    let e = w
        * ((vg + l.v0 * va / (va + l.vb) + va / l.mu) / w)
            .exp()
            .ln_1p();
    let grid = l.wg * ((vg - l.vg0) / l.wg).exp().ln_1p();
    l.k * e.powf(l.x) * l.d * va / (grid + l.d * va)
}

/// A triode that no library has.
const UNKNOWN: TriodeLaw = TriodeLaw {
    k: 0.0021,
    mu: 33.0,
    x: 1.41,
    w0: 0.24,
    w1: 0.0052,
    v0: 0.38,
    vb: 22.0,
    d: 6.5 / 33.0,
    wg: 0.079,
    vg0: 0.018,
};

/// Points over the region that a bench covers, where at least 0.2 mA flows.
fn bench_points() -> Vec<(f64, f64)> {
    let mut all = Vec::new();
    for va in [60.0, 100.0, 150.0, 200.0, 250.0, 300.0] {
        for vg in [-0.5, -1.0, -2.0, -3.0, -4.0, -6.0, -8.0] {
            if set_t(&UNKNOWN, va, vg) > 2e-4 {
                all.push((va, vg));
            }
        }
    }
    all
}

fn triode(law: ValveLaw) -> TriodeLaw {
    match law {
        ValveLaw::Triode(law) => law,
        _ => panic!("a triode"),
    }
}

fn value(fit: &Fit, name: &str) -> f64 {
    fit.parameters
        .iter()
        .find(|p| p.name == name)
        .unwrap()
        .value
}

/// Exact rows from the formula give its numbers back.
#[test]
fn known_parameters_come_back_from_exact_rows() {
    let rows: Vec<FitRow> = bench_points()
        .into_iter()
        .map(|(va, vg)| FitRow::at(va, vg).with(Figure::Plate, set_t(&UNKNOWN, va, vg)))
        .collect();
    let found = fit(Sort::Triode, &rows, laws()).unwrap();
    println!("{} rows: {:?}", rows.len(), found.parameters);
    // `w0`, `vb` and what goes with them are only partly in such rows, the rest is the kin's.
    for (name, truth, within) in [
        ("mu", UNKNOWN.mu, 0.02),
        ("k", UNKNOWN.k, 0.06),
        ("x", UNKNOWN.x, 0.02),
        ("w1", UNKNOWN.w1, 0.10),
    ] {
        let got = value(&found, name);
        assert!(
            (got / truth - 1.0).abs() < within,
            "{name}: {got} for {truth}"
        );
    }
    assert!(found.rms[0].rms < 0.005, "{:?}", found.rms);
    assert_eq!(found.findings, Vec::new());
}

/// Readings with 3 % noise: the law is nearer to the truth than any reading, and the stated uncertainties are honest.
#[test]
fn noisy_readings_are_averaged_and_their_uncertainty_is_honest() {
    let points = bench_points();
    let (mut off, mut tests) = (0.0, 0.0_f64);
    let (mut inside, mut told) = (0, 0);
    for seed in 0..40 {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        // About normal: twelve even numbers summed.
        let mut noise = || 0.03 * ((0..12).map(|_| random.random::<f64>()).sum::<f64>() - 6.0);
        let rows: Vec<FitRow> = points
            .iter()
            .map(|&(va, vg)| {
                FitRow::at(va, vg)
                    .with(Figure::Plate, set_t(&UNKNOWN, va, vg) * (1.0 + noise()))
                    .known_to(0.03)
            })
            .collect();
        let found = fit(Sort::Triode, &rows, laws()).unwrap();
        for (va, vg) in [(80.0, -0.7), (170.0, -1.5), (270.0, -3.5), (220.0, -1.0)] {
            let computed = triode(found.law).currents(va, vg).plate_a;
            off += (computed / set_t(&UNKNOWN, va, vg) - 1.0).powi(2);
            tests += 1.0;
        }
        for (name, truth) in [("mu", UNKNOWN.mu), ("k", UNKNOWN.k), ("x", UNKNOWN.x)] {
            let p = found.parameters.iter().find(|p| p.name == name).unwrap();
            if let Some(sigma) = p.uncertainty {
                told += 1;
                inside += usize::from((p.value - truth).abs() < 2.0 * sigma);
            }
        }
    }
    let rms = (off / tests).sqrt();
    println!(
        "between the readings {:.2} % rms; {inside} of {told} within two sigma",
        100.0 * rms
    );
    assert!(rms < 0.015, "{rms}");
    assert!(
        told >= 100 && inside * 100 >= told * 90,
        "{inside} of {told}"
    );
}

/// Rows made by other people's law: a measured 12AX7, specimen A of K. Dempwolf and U. Zoelzer, DAFx-11, Paris 2011,
/// https://docslib.org/doc/13122333 (seen): `Ik = G (ln(1 + exp(C (Va/mu + Vg))) / C)^gamma`.
///
/// Within 4 % rms over its grid: what one law owes another of a different shape.
#[test]
fn a_measured_specimen_in_other_equations_is_met() {
    let (g, c, mu, gamma) = (2.242e-3, 3.40, 103.2, 1.26);
    let specimen = |va: f64, vg: f64| -> f64 {
        let drive: f64 = c * (va / mu + vg);
        g * (drive.exp().ln_1p() / c).powf(gamma)
    };
    let mut rows = Vec::new();
    for va in [100.0, 150.0, 200.0, 250.0, 300.0] {
        for vg in [-0.5, -1.0, -1.5, -2.0, -2.5] {
            let amps = specimen(va, vg);
            if amps > 1.5e-4 {
                rows.push(FitRow::at(va, vg).with(Figure::Plate, amps));
            }
        }
    }
    let found = fit(Sort::Triode, &rows, laws()).unwrap();
    println!(
        "{} rows from {}: {:?}, predicted {:?}",
        rows.len(),
        found.kin,
        found.rms,
        found.predicted_rms
    );
    assert!(found.rms[0].rms < 0.04);
    // Slopes were not in the rows: the mutual conductance at 250 V, -2 V by central difference of the formula.
    let gm = (specimen(250.0, -1.999) - specimen(250.0, -2.001)) / 0.002;
    let ours = triode(found.law).currents(250.0, -2.0).plate_by_grid;
    assert!((ours / gm - 1.0).abs() < 0.08, "{ours:e} for {gm:e}");
}

/// A tetrode's currents with its space current by the three-halves law and a fixed share of the screen: plate and
/// screen readings well above the knee come back within 5 % and 10 %.
///
/// Source of the law: C.D. Child, 1911, I. Langmuir, 1913, as in K.R. Spangenberg, Vacuum Tubes, 1948 (from memory, not seen).
#[test]
fn a_tetrode_in_the_three_halves_law_is_met() {
    let space = |vs: f64, vg: f64| 0.0011 * (vg + vs / 11.0).max(0.0).powf(1.5);
    let mut rows = Vec::new();
    for vs in [200.0, 250.0, 300.0] {
        for vg in [-8.0, -11.0, -14.0] {
            let all: f64 = space(vs, vg);
            if all > 0.012 {
                rows.push(
                    FitRow::at(280.0, vg)
                        .screen(vs)
                        .with(Figure::Plate, 0.93 * all)
                        .with(Figure::Screen, 0.07 * all),
                );
            }
        }
    }
    let found = fit(Sort::Pentode, &rows, laws()).unwrap();
    println!("{} rows from {}: {:?}", rows.len(), found.kin, found.rms);
    assert!(found.rms[0].rms < 0.05, "{:?}", found.rms);
    assert!(found.rms[1].rms < 0.15, "{:?}", found.rms);
    let ValveLaw::Pentode(law) = found.law else {
        panic!("a pentode");
    };
    let p = law.currents(280.0, 250.0, -11.0);
    let (by_grid, by_screen) = (
        p.plate.by_grid + p.screen.by_grid,
        p.plate.by_screen + p.screen.by_screen,
    );
    assert!((by_grid / by_screen / 11.0 - 1.0).abs() < 0.05);
}

/// Plate current of a valve of the library, as a reading.
fn reading(name: &str, va: f64, vg: f64) -> FitRow {
    let law = crate::device::triode_law(name, None).unwrap();
    FitRow::at(va, vg).with(Figure::Plate, law.currents(va, vg).plate_a)
}

/// One row fixes the scale and nothing else: the rest is the kin's, and is listed.
#[test]
fn one_row_fixes_the_scale_alone() {
    let found = fit(Sort::Triode, &[reading("12AU7", 200.0, -6.0)], laws()).unwrap();
    let free: Vec<&str> = found
        .parameters
        .iter()
        .filter(|p| p.held.is_none())
        .map(|p| p.name)
        .collect();
    assert_eq!(free, ["k"]);
    assert!(found.rms[0].rms < 1e-3);
    assert!(found.findings.contains(&Finding::Few { rows: 1 }));
    assert_eq!(found.predicted_rms, None);
}

#[test]
fn a_slipped_decimal_is_named_and_left_out() {
    let mut rows: Vec<FitRow> = [
        (100.0, -1.0),
        (150.0, -1.0),
        (200.0, -1.5),
        (250.0, -2.0),
        (300.0, -2.5),
        (250.0, -1.5),
    ]
    .map(|(va, vg)| reading("12AX7", va, vg))
    .into();
    let ten = rows[3].value(Figure::Plate).unwrap() * 10.0;
    rows[3] = FitRow::at(250.0, -2.0).with(Figure::Plate, ten);
    let known: Vec<LawEntry> = laws()
        .iter()
        .filter(|e| e.valve != "12AX7")
        .cloned()
        .collect();
    let found = fit(Sort::Triode, &rows, &known).unwrap();
    assert!(!found.rows[3].used);
    assert_eq!(
        found.findings,
        [Finding::Strange {
            row: 3,
            figure: Figure::Plate,
            left_out: true,
            slip: Some(Slip::Factor(0.1)),
        }]
    );
    assert!(found.rms[0].rms < 0.03, "{:?}", found.rms);
}

#[test]
fn a_grid_typed_without_its_sign_is_named() {
    let mut rows: Vec<FitRow> = [
        (100.0, -1.0),
        (150.0, -2.0),
        (200.0, -4.0),
        (250.0, -8.0),
        (250.0, -6.0),
    ]
    .map(|(va, vg)| reading("12AU7", va, vg))
    .into();
    rows[3] = FitRow::at(250.0, 8.0).with(Figure::Plate, rows[3].value(Figure::Plate).unwrap());
    let found = fit(Sort::Triode, &rows, laws()).unwrap();
    assert!(
        found.findings.iter().any(|f| matches!(
            f,
            Finding::Strange {
                row: 3,
                slip: Some(Slip::GridSign),
                ..
            }
        )),
        "{:?}",
        found.findings
    );
}

#[test]
fn two_currents_at_the_same_volts_are_named() {
    let mut rows: Vec<FitRow> = [(100.0, -1.0), (250.0, -2.0), (200.0, -1.5)]
        .map(|(va, vg)| reading("12AX7", va, vg))
        .into();
    rows.push(FitRow::at(250.0, -2.0).with(Figure::Plate, 1.9e-3));
    let found = fit(Sort::Triode, &rows, laws()).unwrap();
    assert!(
        found
            .findings
            .contains(&Finding::SamePoint { row: 1, other: 3 })
    );
}

#[test]
fn nonsense_is_refused_and_nothing_panics() {
    assert_eq!(fit(Sort::Triode, &[], laws()), Err(FitError::NoRows));
    let volts_only = [FitRow::at(250.0, -2.0)];
    assert_eq!(
        fit(Sort::Triode, &volts_only, laws()),
        Err(FitError::NoRows)
    );
    let screen = [FitRow::at(250.0, -2.0)
        .screen(100.0)
        .with(Figure::Plate, 1e-3)];
    assert!(matches!(
        fit(Sort::Triode, &screen, laws()),
        Err(FitError::NotThisSort { row: 0, .. })
    ));
    assert!(matches!(
        fit(Sort::Triode, &[reading("12AX7", 250.0, -2.0)], &[]),
        Err(FitError::NoKin(_))
    ));
    // Current that falls as the plate rises and the grid comes up.
    let upside_down: Vec<FitRow> = [
        (100.0, -1.0, 9e-3),
        (150.0, -1.0, 4e-3),
        (200.0, -0.5, 1e-3),
        (250.0, -0.2, 0.3e-3),
    ]
    .map(|(va, vg, amps)| FitRow::at(va, vg).with(Figure::Plate, amps))
    .into();
    assert!(matches!(
        fit(Sort::Triode, &upside_down, laws()),
        Err(FitError::TooPoor { .. })
    ));
    let wild = [f64::NAN, f64::INFINITY, -1e300, 0.0, 1e-300, 1e300];
    for a in wild {
        for b in wild {
            let rows = [
                FitRow::at(a, b).with(Figure::Plate, 1e-3),
                FitRow::at(250.0, -2.0)
                    .with(Figure::Plate, a)
                    .with(Figure::Gm, b),
                FitRow::with_cathode_ohms(b, a).with(Figure::Plate, 2e-3),
            ];
            let _ = fit(Sort::Triode, &rows, laws());
            let rows = [
                FitRow::at(a, b)
                    .screen(b)
                    .with(Figure::Plate, 1e-3)
                    .with(Figure::Screen, 1e-4),
                FitRow::with_cathode_ohms(250.0, a)
                    .screen(100.0)
                    .with(Figure::Cathode, 1e-3),
            ];
            let _ = fit(Sort::Pentode, &rows, laws());
        }
    }
}

/// Whatever the rows, the law stays physical: no negative current, plate current rising with plate volts.
#[test]
fn fitted_laws_are_physical_everywhere() {
    let physical = |law: PentodeLaw| {
        for va in [-50.0, 0.0, 20.0, 100.0, 400.0, 1000.0] {
            for vs in [-20.0, 0.0, 100.0, 300.0, 600.0] {
                for vg in [-120.0, -20.0, 0.0, 60.0] {
                    let p = law.currents(va, vs, vg);
                    let all = p.plate.amps + p.screen.amps + p.grid.amps;
                    for x in [p.plate.amps, p.screen.amps, p.grid.amps] {
                        assert!(x.is_finite() && x >= 0.0, "{law:?} {va} {vs} {vg}");
                    }
                    assert!(p.plate.by_plate >= -1e-12 * all, "{law:?} {va} {vs} {vg}");
                }
            }
        }
    };
    let mut random = ChaCha8Rng::seed_from_u64(7);
    for _ in 0..12 {
        let mut within = |a: f64, b: f64| a + (b - a) * random.random::<f64>();
        let rows: Vec<FitRow> = (0..5)
            .map(|_| {
                let plate = within(5e-3, 0.1);
                FitRow::at(within(40.0, 400.0), within(-25.0, -2.0))
                    .screen(within(80.0, 350.0))
                    .with(Figure::Plate, plate)
                    .with(Figure::Screen, plate * within(0.02, 0.6))
            })
            .collect();
        match fit(Sort::Pentode, &rows, laws()) {
            Ok(Fit {
                law: ValveLaw::Pentode(law),
                ..
            }) => physical(law),
            Err(FitError::TooPoor { fit, .. }) => match fit.law {
                ValveLaw::Pentode(law) => physical(law),
                _ => panic!("a pentode"),
            },
            other => panic!("{other:?}"),
        }
    }
}

/// Exact rows of a pentode with the plate well below its screen tell the knee.
#[test]
fn rows_at_the_knee_free_it() {
    let law = crate::device::pentode_law("EL84", None).unwrap();
    let mut rows = Vec::new();
    for va in [20.0, 40.0, 60.0, 100.0, 150.0, 250.0] {
        for vg in [-2.0, -5.0, -8.0] {
            let p = law.currents(va, 250.0, vg);
            rows.push(
                FitRow::at(va, vg)
                    .screen(250.0)
                    .with(Figure::Plate, p.plate.amps)
                    .with(Figure::Screen, p.screen.amps),
            );
        }
    }
    let known: Vec<LawEntry> = laws()
        .iter()
        .filter(|e| e.valve != "EL84")
        .cloned()
        .collect();
    let found = fit(Sort::Pentode, &rows, &known).unwrap();
    println!("{:?}", found.parameters);
    let freed = |name: &str| {
        found
            .parameters
            .iter()
            .any(|p| p.name == name && p.held.is_none())
    };
    assert!(freed("v1") && freed("n"));
    assert!((value(&found, "v1") / law.v1 - 1.0).abs() < 0.1);
    assert!(found.rms[0].rms < 0.01, "{:?}", found.rms);
}

#[test]
fn the_same_rows_give_the_same_bits() {
    let rows: Vec<FitRow> = bench_points()
        .into_iter()
        .map(|(va, vg)| FitRow::at(va, vg).with(Figure::Plate, set_t(&UNKNOWN, va, vg)))
        .collect();
    assert_eq!(
        fit(Sort::Triode, &rows, laws()),
        fit(Sort::Triode, &rows, laws())
    );
}

/// The perveances of the library come back from the published drops.
#[test]
fn rectifiers_are_refitted_from_their_drops() {
    let sheet = Library::built_in().find("5AR4").unwrap();
    let rows: Vec<(f64, f64)> = sheet.drop_rows.iter().map(|r| (r.volts, r.amps)).collect();
    let found = fit_rectifier(&rows).unwrap();
    assert!((found.perveance / 3.21e-3 - 1.0).abs() < 1e-3);
    assert_eq!(fit_rectifier(&[]), None);
    assert_eq!(fit_rectifier(&[(0.0, 1.0)]), None);
}

/// A long sweep of noisy readings: so many rows as a fit takes, spread over the volts, and the law is met as well as the
/// noise lets it: 3 % over the root of 150 rows is 0.25 %, and what the equations can tell apart is accepted at 1.5 %.
#[test]
fn of_many_rows_some_are_fitted_to_and_all_are_compared() {
    let points = bench_points();
    let mut random = ChaCha8Rng::seed_from_u64(11);
    let rows: Vec<FitRow> = (0..3000)
        .map(|i| {
            let (va, vg) = points[i % points.len()];
            let noise = 1.0 + 0.06 * (random.random::<f64>() - 0.5) * 3.0_f64.sqrt();
            FitRow::at(va, vg).with(Figure::Plate, set_t(&UNKNOWN, va, vg) * noise)
        })
        .collect();
    let found = fit(Sort::Triode, &rows, laws()).unwrap();
    assert!(found.findings.contains(&Finding::Thinned {
        rows: MOST_ROWS,
        of: 3000
    }));
    assert_eq!(found.rows.len(), 3000);
    assert_eq!(found.rows.iter().filter(|r| r.used).count(), MOST_ROWS);
    assert!(found.covers.plate_volts.0 <= 60.0 && found.covers.plate_volts.1 >= 300.0);
    for (va, vg) in [(80.0, -0.7), (170.0, -1.5), (270.0, -3.5), (220.0, -1.0)] {
        let computed = triode(found.law).currents(va, vg).plate_a;
        let error = computed / set_t(&UNKNOWN, va, vg) - 1.0;
        assert!(error.abs() < 0.015, "{va} {vg}: {error}");
    }
}

/// Readings of two valves in one file, 40 % apart: the law lies between, and each point with both is named once.
#[test]
fn rows_of_two_valves_are_met_between_and_named() {
    let points = bench_points();
    let rows: Vec<FitRow> = points
        .iter()
        .chain(&points)
        .enumerate()
        .map(|(i, &(va, vg))| {
            let scale = if i < points.len() { 1.0 } else { 1.4 };
            FitRow::at(va, vg).with(Figure::Plate, scale * set_t(&UNKNOWN, va, vg))
        })
        .collect();
    let found = fit(Sort::Triode, &rows, laws()).unwrap();
    let ratio = triode(found.law).currents(200.0, -2.0).plate_a / set_t(&UNKNOWN, 200.0, -2.0);
    assert!((1.02..1.38).contains(&ratio), "{ratio}");
    let same = found
        .findings
        .iter()
        .filter(|f| matches!(f, Finding::SamePoint { .. }));
    assert_eq!(same.count(), points.len());
}
