use super::*;
use crate::testing::Hand;
use solve::netlist::Parameter;
use wiring::circuit::Measured;

fn table() -> Tolerances {
    Tolerances::standard().unwrap()
}

fn resistor(ohms: f64, known: Known) -> Spread {
    let mut hand = Hand::new();
    hand.known_resistor("R1", "a", "ground", ohms, known);
    let part = hand.circuit.parts[0].clone();
    table().of_part(&hand.circuit, &part, Quantity::Ohms)
}

/// The whole table: every case has a row, every row a source, factors of a sound part.
#[test]
fn every_row_is_complete() {
    let table = table();
    for row in &table.rows {
        assert!(!row.source.trim().is_empty(), "{:?}", row.what);
        assert!(
            row.source.starts_with("common practice, no source")
                || row.source.starts_with("ours")
                || row.source.contains("http"),
            "{:?} does not say where it is from",
            row.what
        );
        assert!((0.5..=1.5).contains(&row.median), "{:?}", row.what);
        assert!(row.sigma < 1.0, "{:?}", row.what);
    }
    // every case that the code can ask for is there exactly once per `from`
    for case in serde_cases() {
        assert!(table.row(case, 1e9).is_some(), "no row for {case:?}");
    }
    for (i, row) in table.rows.iter().enumerate() {
        assert!(
            !table.rows[..i]
                .iter()
                .any(|r| r.what == row.what && r.from == row.from),
            "{:?} twice",
            row.what
        );
    }
}

fn serde_cases() -> Vec<Case> {
    use Case::*;
    vec![
        ResistorPeriod,
        ResistorFilm,
        ResistorWirewound,
        ResistorNew,
        MeasuredOhms,
        Pot,
        Speaker,
        HeaterOhms,
        Cell,
        SmallOhms,
        WindingOhms,
        WindingOhmsAssumed,
        WindingVolts,
        TurnsRatio,
        Henries,
        SupplyVolts,
        MainsRead,
        MainsHeading,
        MainsAssumed,
        MeterOhms,
        EmissionNew,
        EmissionUsed,
        EmissionStated,
        EmissionBetweenHalves,
        Mu,
        ScreenShare,
        GridAmpsSmall,
        GridAmpsPower,
        RectifierValve,
        Junction,
        LeakElectrolytic,
        LeakOther,
        MeasuredLeak,
        FaradsElectrolytic,
        FaradsPaper,
        FaradsCeramic,
        FaradsMica,
        FaradsFilm,
        MeasuredFarads,
    ]
}

#[test]
fn an_impossible_row_is_refused() {
    let bad = "[[row]]\nwhat = \"pot\"\nmedian = 0.0\nsigma = 0.1\nsource = \"x\"\n";
    assert!(matches!(
        Tolerances::from_toml(bad),
        Err(ToleranceError::Impossible {
            what: Case::Pot,
            ..
        })
    ));
    assert!(matches!(
        Tolerances::from_toml("[[row]]\nwhat = \"banana\""),
        Err(ToleranceError::Unreadable(_))
    ));
}

/// The suggested prior of an unmeasured resistor of the period: median 1.06 of marked, 1.12
/// from 100k up, 1.00 below 1k; one sigma 8 %, 12 % from 100k up (common practice, no source).
#[test]
fn period_resistors_drift_upward_by_size() {
    let at = |ohms| resistor(ohms, Known::default());
    assert_eq!(
        at(470.0),
        Spread {
            median: 1.00,
            sigma: 0.08
        }
    );
    assert_eq!(
        at(1e3),
        Spread {
            median: 1.06,
            sigma: 0.08
        }
    );
    assert_eq!(
        at(68e3),
        Spread {
            median: 1.06,
            sigma: 0.08
        }
    );
    assert_eq!(
        at(100e3),
        Spread {
            median: 1.12,
            sigma: 0.12
        }
    );
    let carbon = Known {
        make: Some(Make::Carbon),
        ..Known::default()
    };
    assert_eq!(
        resistor(1e6, carbon),
        Spread {
            median: 1.12,
            sigma: 0.12
        }
    );
}

#[test]
fn a_lifted_reading_clears_drift_and_narrows() {
    let read = |in_circuit| Known {
        reading: Some(Measured {
            value: MeasuredValue::Is(560.0),
            in_circuit,
        }),
        make: Some(Make::Carbon),
        tolerance: Some((0.2, 0.2)),
        ..Known::default()
    };
    assert_eq!(
        resistor(470.0, read(false)),
        Spread {
            median: 1.0,
            sigma: 0.01
        }
    );
    // read in circuit: it may have been read beside others, so it clears nothing
    assert!(resistor(470.0, read(true)).sigma > 0.05);
}

#[test]
fn make_up_history_and_marked_tolerance_decide() {
    let film = Known {
        make: Some(Make::Film),
        ..Known::default()
    };
    assert_eq!(resistor(100e3, film.clone()).median, 1.0);
    let tight = Known {
        tolerance: Some((0.01, 0.01)),
        ..film
    };
    assert!((resistor(100e3, tight).sigma - 0.005).abs() < 1e-4);
    let later = Known {
        history: Some(History::Replaced),
        ..Known::default()
    };
    assert_eq!(resistor(100e3, later).median, 1.0);
    let big = Known {
        watts: Some(5.0),
        ..Known::default()
    };
    assert_eq!(
        resistor(1.5e3, big),
        Spread {
            median: 1.0,
            sigma: 0.05
        }
    );
    // a gold band of 1960 says what it was in 1960
    let gold = Known {
        make: Some(Make::Carbon),
        tolerance: Some((0.05, 0.05)),
        ..Known::default()
    };
    let gold = resistor(100e3, gold);
    assert!((gold.median - 1.12).abs() < 0.01 && gold.sigma == 0.12);
}

#[test]
fn lopsided_tolerances_move_the_median() {
    let spread = Spread::from_tolerance(0.2, 0.5);
    assert!((spread.median - (0.8f64 * 1.5).sqrt()).abs() < 1e-12);
    assert!((spread.median * (2.0 * spread.sigma).exp() - 1.5).abs() < 1e-12);
    assert!((spread.median * (-2.0 * spread.sigma).exp() - 0.8).abs() < 1e-12);
    assert!(Spread::from_tolerance(3.0, 0.0).sigma.is_finite());
}

/// 95 % of used valves lie between 60 and 125 % of the sheet.
#[test]
fn used_valves_span_their_range() {
    let s = table().spread(Case::EmissionUsed, 0.0);
    assert!((s.median * (-1.96 * s.sigma).exp() - 0.60).abs() < 0.005);
    assert!((s.median * (1.96 * s.sigma).exp() - 1.25).abs() < 0.01);
}

fn parameter(part: &str, quantity: Quantity) -> Parameter {
    Parameter {
        part: part.to_owned(),
        quantity,
        slots: Vec::new(),
    }
}

#[test]
fn halves_of_a_double_valve_share_most_of_their_emission() {
    let mut hand = Hand::new();
    hand.twin_triode("V1").resistor("R1", "x", "ground", 1e5);
    let parameters = [
        parameter("V1a", Quantity::Emission),
        parameter("V1b", Quantity::Emission),
        parameter("R1", Quantity::Ohms),
        parameter("mains", Quantity::Mains),
    ];
    let causes = Causes::of(&hand.circuit, &parameters, &table(), MainsKnown::Assumed);
    let variance = |a: usize, b: usize| -> f64 {
        causes
            .causes
            .iter()
            .map(|c| {
                let of = |p| {
                    c.moves
                        .iter()
                        .filter(|m| m.0 == p)
                        .map(|m| m.1)
                        .sum::<f64>()
                };
                of(a) * of(b)
            })
            .sum()
    };
    let total = table().spread(Case::EmissionUsed, 0.0).sigma;
    assert!((variance(0, 0).sqrt() - total).abs() < 1e-12);
    assert!((variance(1, 1).sqrt() - total).abs() < 1e-12);
    // the halves differ by 10-20 %: root two times their own 7 %
    let differ = (variance(0, 0) + variance(1, 1) - 2.0 * variance(0, 1)).sqrt();
    assert!((0.09..0.15).contains(&differ), "{differ}");
    assert_eq!(variance(0, 2), 0.0);
    assert!((variance(3, 3).sqrt() - 0.025).abs() < 1e-12);
    assert_eq!(causes.medians, vec![0.866, 0.866, 1.12, 1.0]);
}

#[test]
fn factors_are_log_normal_around_the_medians() {
    let mut hand = Hand::new();
    hand.resistor("R1", "x", "ground", 1e5);
    let causes = Causes::of(
        &hand.circuit,
        &[
            parameter("R1", Quantity::Ohms),
            parameter("nowhere", Quantity::Ohms),
        ],
        &table(),
        MainsKnown::Read,
    );
    assert_eq!(causes.factors(&[]), vec![1.12f64.ln().exp(), 1.0]);
    let up = causes.factors(&[1.0]);
    assert!((up[0] / 1.12 - 0.12f64.exp()).abs() < 1e-12 && up[1] == 1.0);
}
