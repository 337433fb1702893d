//! Too few rows, slips, nonsense.

use super::*;

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
