//! Plots: legal whatever the values are, round numbers along the axes, the same picture twice; tried on closed forms.
#![allow(clippy::expect_used, reason = "a test")]

use draw::plot::{Axis, Band, Cells, Curve, Pen, Plot, Scale, Shades, Spot, Stem, covering};
use proptest::prelude::*;
use std::f64::consts::{PI, TAU};

fn samples(low: f64, high: f64, of: impl Fn(f64) -> f64) -> Vec<(f64, f64)> {
    (0..=200)
        .map(|i| {
            let x = low + (high - low) * f64::from(i) / 200.0;
            (x, of(x))
        })
        .collect()
}

/// A low-pass and a high-pass of one resistor and one capacitor: -3.01 dB at 1 / (2 pi R C), 20 dB a decade beyond.
fn response() -> Plot {
    let corner = 1.0 / (TAU * 68e3 * 1e-9);
    let hz = |i: i32| 20.0 * 1000f64.powf(f64::from(i) / 200.0);
    let of = |f: &dyn Fn(f64) -> f64| (0..=200).map(|i| (hz(i), f(hz(i)))).collect();
    let low = |f: f64| -10.0 * (1.0 + (f / corner).powi(2)).log10();
    let high = |f: f64| -10.0 * (1.0 + (corner / f).powi(2)).log10();
    let mut plot = Plot::new(
        "response",
        "Response of one resistor and one capacitor",
        Axis::log("Hz", 20.0, 20e3),
        Axis::linear("dB", -40.0, 5.0),
    );
    plot.says = format!("Corner at {corner:.0} Hz.");
    plot.bands.push(Band {
        name: "band of a 20 % capacitor".to_owned(),
        edges: (0..=200)
            .map(|i| (hz(i), low(hz(i) * 1.2), low(hz(i) / 1.2)))
            .collect(),
    });
    plot.curves = vec![
        Curve::new("low pass", Pen::Have, of(&low)),
        Curve::new("high pass", Pen::Against, of(&high)),
        Curve::new("flat", Pen::Third, of(&|_| 0.0)),
    ];
    plot.spots.push(Spot {
        name: "corner".to_owned(),
        at: (corner, -3.0103),
        plus_minus_x: Some(300.0),
        plus_minus_y: Some(1.0),
        read: true,
    });
    plot
}

fn wave() -> Plot {
    let mut plot = Plot::new(
        "wave",
        "Sine and clipped sine",
        Axis::linear("time, ms", 0.0, 2.0),
        Axis::linear("V", -12.0, 12.0),
    );
    let sine = |t: f64| 10.0 * (TAU * t).sin();
    plot.curves = vec![
        Curve::new("in", Pen::Against, samples(0.0, 2.0, sine)),
        Curve::new(
            "out",
            Pen::Have,
            samples(0.0, 2.0, |t| sine(t).clamp(-7.0, 5.0)),
        ),
    ];
    plot
}

fn decay() -> Plot {
    let (low, high) = covering([0.0, 420.0]);
    let mut plot = Plot::new(
        "decay",
        "A reservoir discharged",
        Axis::linear("seconds", 0.0, 20.0),
        Axis::linear("V", low, high),
    );
    let curve = |tau: f64| samples(0.0, 20.0, move |t| 420.0 * (-t / tau).exp());
    plot.curves = vec![
        Curve::new("by 100k", Pen::Have, curve(3.2)),
        Curve::new("by 220k", Pen::Against, curve(7.04)),
        Curve::limit("10 V", samples(0.0, 20.0, |_| 10.0)),
    ];
    plot
}

/// A square wave's odd harmonics, 4 / (pi n).
fn spectrum() -> Plot {
    let mut plot = Plot::new(
        "spectrum",
        "Spectrum of a square wave",
        Axis::log("Hz", 50.0, 20e3),
        Axis::linear("dB", -60.0, 10.0),
    );
    plot.stems = (0..9)
        .map(|k| {
            let n = f64::from(2 * k + 1);
            Stem {
                name: if k < 3 {
                    format!("{}.", 2 * k + 1)
                } else {
                    String::new()
                },
                at: (100.0 * n, 20.0 * (4.0 / (PI * n)).log10()),
            }
        })
        .collect();
    plot
}

fn map() -> Cells {
    let loads = [4.0, 8.0, 16.0];
    let drives = [0.1, 0.2, 0.5, 1.0];
    let watts = |load: f64, volts: f64| (20.0 * volts).powi(2) * load / (load + 8.0f64).powi(2);
    Cells {
        id: "power".to_owned(),
        title: "Power by drive and load".to_owned(),
        says: String::new(),
        what: "watts".to_owned(),
        across: "drive, V rms".to_owned(),
        columns: drives.iter().map(|d| format!("{d} V")).collect(),
        down: "load".to_owned(),
        rows: loads.iter().map(|l| format!("{l} ohm")).collect(),
        figures: loads
            .iter()
            .map(|l| drives.iter().map(|d| Some(watts(*l, *d))).collect())
            .collect(),
    }
}

fn legal(plot: &Plot) {
    let laid = plot.lay();
    assert_eq!(laid.faults(), Vec::<String>::new());
    let picture = plot.svg(Shades::DAY);
    assert_eq!(picture, plot.svg(Shades::DAY), "the same twice");
    for forbidden in ["<script", "style=", "<style", "NaN", "inf", "href"] {
        assert!(!picture.contains(forbidden), "{forbidden}");
    }
    for wanted in ["role=\"img\"", "<title id=", "<desc id="] {
        assert!(picture.contains(wanted), "{wanted}");
    }
}

#[test]
fn closed_forms_are_drawn_where_they_lie() {
    for plot in [response(), wave(), decay(), spectrum()] {
        legal(&plot);
    }
    // The corner of the low pass is 3.01 dB down: 8.01 of 45 dB below the top of the frame.
    let plot = response();
    let share = plot.y.share(-3.0103).expect("inside");
    assert!((share - 36.9897 / 45.0).abs() < 1e-9);
    let corner = plot.spots[0].at.0;
    assert!((plot.x.share(corner).expect("inside") - (corner / 20.0).log10() / 3.0).abs() < 1e-9);
    // Every name is written, at its curve or beneath.
    for (plot, names) in [
        (
            response(),
            &[
                "low pass",
                "high pass",
                "flat",
                "corner",
                "band of a 20 % capacitor",
            ][..],
        ),
        (decay(), &["by 100k", "by 220k", "10 V"][..]),
    ] {
        let laid = plot.lay();
        for name in names {
            assert!(laid.texts.iter().any(|t| t.words == *name), "{name}");
        }
    }
}

#[test]
fn words_tell_the_main_figures() {
    let picture = response().svg(Shades::PAGE);
    assert!(picture.contains("Corner at 2341 Hz."), "{picture}");
    assert!(picture.contains("low pass: from"));
    assert!(picture.contains("corner, read: \u{2212}3.01 at 2341"));
    let cells = map();
    assert_eq!(cells.faults(), Vec::<String>::new());
    let picture = cells.svg(Shades::DAY);
    assert!(picture.contains("8 ohm: 0.1 V 0.125, 0.2 V 0.5, 0.5 V 3.12, 1 V 12.5."));
    assert_eq!(picture, cells.svg(Shades::DAY));
}

#[test]
fn curves_differ_in_pattern_or_weight() {
    let mut plot = wave();
    let pens = [
        Pen::Sheet,
        Pen::Have,
        Pen::Against,
        Pen::Third,
        Pen::Load,
        Pen::Limit,
    ];
    plot.curves = pens
        .iter()
        .map(|p| Curve::new("x", *p, samples(0.0, 2.0, |t| t)))
        .collect();
    let picture = plot.svg(Shades::PRINT);
    let mut seen: Vec<&str> = picture
        .lines()
        .filter(|l| l.contains("stroke-linejoin=\"round\" stroke=") && l.starts_with("<path"))
        .filter_map(|l| l.split_once("stroke-width=").map(|(_, rest)| rest))
        .collect();
    seen.sort_unstable();
    assert_eq!(seen.len(), pens.len());
    seen.dedup();
    assert_eq!(seen.len(), pens.len(), "{seen:?}");
    // In print nothing has a colour.
    for hue in picture.split("=\"#").skip(1) {
        let hex = &hue[..6];
        assert!(hex[..2] == hex[2..4] && hex[2..4] == hex[4..6], "{hex}");
    }
}

#[test]
fn marks_stand_at_round_numbers() {
    let text = |axis: &Axis, fits| -> Vec<String> {
        let ticks = axis.ticks(fits);
        ticks
            .into_iter()
            .map(|t| t.text)
            .filter(|t| !t.is_empty())
            .collect()
    };
    assert_eq!(
        text(&Axis::log("Hz", 20.0, 20e3), 10),
        [
            "20", "50", "100", "200", "500", "1k", "2k", "5k", "10k", "20k"
        ]
    );
    assert_eq!(
        text(&Axis::log("Hz", 1.0, 1e6), 8),
        ["1", "10", "100", "1k", "10k", "100k", "1000k"]
    );
    assert_eq!(
        text(&Axis::linear("mA", 0.0, 160.0), 5),
        ["0", "50", "100", "150"]
    );
    assert_eq!(
        text(&Axis::linear("V", -0.3, 0.3), 6),
        [
            "\u{2212}0.3",
            "\u{2212}0.2",
            "\u{2212}0.1",
            "0",
            "0.1",
            "0.2",
            "0.3"
        ]
    );
    assert_eq!(covering([3.0, 97.0]), (0.0, 100.0));
}

fn value() -> impl Strategy<Value = f64> {
    prop_oneof![
        4 => -1000.0..1000.0f64,
        1 => any::<f64>(),
        1 => Just(0.0),
        1 => Just(f64::NAN),
        1 => Just(f64::INFINITY),
    ]
}

fn axis() -> impl Strategy<Value = Axis> {
    (value(), value(), any::<bool>(), "[a-z, ]{0,80}").prop_map(|(low, high, log, title)| {
        if log {
            Axis::log(title, low, high)
        } else {
            Axis::linear(title, low, high)
        }
    })
}

prop_compose! {
    fn anything()(
        x in axis(),
        y in axis(),
        curves in prop::collection::vec(
            ("\\PC{0,60}", 0..6usize, prop::collection::vec((value(), value()), 0..12), any::<bool>()), 0..12),
        spots in prop::collection::vec(("[A-Za-z0-9 ]{0,12}", value(), value(), value()), 0..8),
        stems in prop::collection::vec(("[0-9]{0,4}", value(), value()), 0..8),
        width in -100..2000i32,
        height in -100..1200i32,
    ) -> Plot {
        let pens = [Pen::Sheet, Pen::Have, Pen::Against, Pen::Third, Pen::Load, Pen::Limit];
        let mut plot = Plot::new("any", "Anything", x, y);
        plot.curves = curves.into_iter().map(|(name, pen, points, tint_above)| Curve {
            name, pen: pens[pen], points, tint_above,
        }).collect();
        plot.bands = plot.curves.iter().take(1).map(|c| Band {
            name: c.name.clone(),
            edges: c.points.iter().map(|p| (p.0, p.1 - 1.0, p.1 + 1.0)).collect(),
        }).collect();
        plot.spots = spots.into_iter().map(|(name, a, b, pm)| Spot {
            name, at: (a, b), plus_minus_x: Some(pm), plus_minus_y: Some(pm), read: true,
        }).collect();
        plot.stems = stems.into_iter().map(|(name, a, b)| Stem { name, at: (a, b) }).collect();
        plot.width = width;
        plot.height = height;
        plot
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn whatever_the_values_are_it_is_legal(plot in anything()) {
        prop_assert_eq!(plot.lay().faults(), Vec::<String>::new());
        let picture = plot.svg(Shades::PRINT);
        prop_assert_eq!(&picture, &plot.svg(Shades::PRINT));
        for axis in [&plot.x, &plot.y] {
            let marks = axis.ticks(10);
            prop_assert!(marks.iter().all(|m| m.value.is_finite()));
            for pair in marks.windows(2) {
                prop_assert!(pair[0].value < pair[1].value);
                if axis.scale == Scale::Linear {
                    let step = pair[1].value - pair[0].value;
                    let digit = step / 10f64.powf((step.log10() + 1e-4).floor());
                    prop_assert!([1.0, 2.0, 5.0].iter().any(|d| (digit / d - 1.0).abs() < 1e-3), "{step}");
                }
            }
        }
        // Only names may hold letters that look like no number.
        let drawn: String = picture.lines().filter(|l| l.starts_with("<path") || l.starts_with("<circle")).collect();
        prop_assert!(!drawn.contains("NaN") && !drawn.contains("inf"));
    }
}
