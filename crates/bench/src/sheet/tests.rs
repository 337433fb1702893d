use super::*;
use crate::rules::rules;
use proptest::prelude::*;

fn any_number() -> impl Strategy<Value = f64> {
    prop_oneof![
        Just(f64::NAN),
        Just(f64::INFINITY),
        Just(f64::NEG_INFINITY),
        Just(0.0),
        -1e3..1e3,
        any::<f64>(),
    ]
}

fn any_limit() -> impl Strategy<Value = Limit> {
    (any_number(), any_number(), 0..4).prop_map(|(a, b, sort)| match sort {
        0 => Limit::at_most(a, "V"),
        1 => Limit::at_least(a, "V"),
        2 => Limit::between(a, b, "V"),
        _ => Limit::at_most(a, "W"),
    })
}

#[derive(Debug, Clone)]
enum Step {
    At,
    Expect(f64),
    Limit(f64),
    Show(f64),
    Stop,
    Doubt,
    Blank,
}

fn any_step() -> impl Strategy<Value = Step> {
    prop_oneof![
        Just(Step::At),
        any_number().prop_map(Step::Expect),
        any_number().prop_map(Step::Limit),
        any_number().prop_map(Step::Show),
        Just(Step::Stop),
        Just(Step::Doubt),
        Just(Step::Blank),
    ]
}

proptest! {
    /// Whatever is done to a line, it passes only with a reading that its limit holds, or an answer.
    #[test]
    fn nothing_passes_without_a_reading_or_an_answer(
        sort in 0..6,
        value in any_number(),
        width in any_number(),
        limit in any_limit(),
        good in any::<bool>(),
        answer in prop_oneof![Just(String::new()), Just("  ".to_owned()), Just("seen".to_owned())],
        steps in proptest::collection::vec(any_step(), 0..8),
    ) {
        let origin = Origin::practice();
        let mut line = match sort {
            0 => Line::told("x", origin),
            1 => Line::open("x", origin),
            2 => Line::read("x", Figure::new(value, "V").plus_minus(width), limit, origin),
            3 => Line::computed("x", Expected::value(value, "V"), limit, origin),
            4 => Line::answered("x", &answer, good, origin),
            _ => Line::stop("x", origin),
        };
        for step in steps {
            line = match step {
                Step::At => line.at("B1"),
                Step::Expect(v) => line.expecting(Expected::value(v, "V")),
                Step::Limit(v) => line.limited(Limit::at_most(v, "V")),
                Step::Show(v) => line.showing(Figure::new(v, "V")),
                Step::Stop => line.or_stop(),
                Step::Doubt => line.doubted("perhaps"),
                Step::Blank => line.blank(),
            };
        }
        if line.outcome() == Outcome::Pass {
            let answered = line.answer().is_some_and(|a| !a.trim().is_empty()) && good;
            let read = match (line.reading(), line.limit()) {
                (Some(r), Some(l)) => r.unit == l.unit && l.holds(r.value),
                _ => false,
            };
            prop_assert!(answered || read, "{line:?}");
        }
    }

    /// A reading beyond its limit never comes out as anything but a failure.
    #[test]
    fn a_reading_beyond_its_limit_fails(over in 1e-6..1e6_f64, most in -1e3..1e3_f64, width in 0.0..1e6_f64) {
        let read = Figure::new(most + over, "V").plus_minus(width);
        let line = Line::read("x", read, Limit::at_most(most, "V"), Origin::practice());
        prop_assert_eq!(line.outcome(), Outcome::Fail);
        prop_assert_eq!(line.or_stop().outcome(), Outcome::Stop);
    }
}

#[test]
fn a_reading_that_only_perhaps_holds_is_open() {
    let limit = || Limit::at_most(30.0, "W");
    let read = |figure| Line::read("x", figure, limit(), Origin::practice()).outcome();
    assert_eq!(read(Figure::new(28.0, "W").plus_minus(1.0)), Outcome::Pass);
    assert_eq!(read(Figure::new(29.5, "W").plus_minus(1.0)), Outcome::Open);
    assert_eq!(read(Figure::new(30.5, "W").plus_minus(1.0)), Outcome::Fail);
    assert_eq!(read(Figure::new(10.0, "V")), Outcome::Open, "another unit");
}

#[test]
fn readings_over_and_under_range_are_held_by_what_they_say() {
    let least = || Limit::at_least(1e6, "ohm");
    let most = || Limit::at_most(0.1, "ohm");
    let judged =
        |figure: Figure, limit| Line::read("x", figure, limit, Origin::practice()).outcome();
    let over = Figure::new(40e6, "ohm").bound(Bound::AtLeast);
    let under = Figure::new(0.05, "ohm").bound(Bound::AtMost);
    assert_eq!(judged(over.clone(), least()), Outcome::Pass);
    assert_eq!(judged(over, most()), Outcome::Fail);
    assert_eq!(judged(under.clone(), most()), Outcome::Pass);
    assert_eq!(judged(under, least()), Outcome::Fail);
    let low = Figure::new(1e5, "ohm").bound(Bound::AtLeast);
    assert_eq!(judged(low, least()), Outcome::Open, "may be more, may not");
}

#[test]
fn a_computed_figure_can_fail_and_never_passes() {
    let rated = || Limit::at_most(450.0, "V");
    let line = |v| Line::computed("x", Expected::value(v, "V"), rated(), Origin::practice());
    assert_eq!(line(460.0).outcome(), Outcome::Fail);
    assert_eq!(line(300.0).outcome(), Outcome::Told);
    let band = Expected::band(440.0, 420.0, 470.0, "V");
    let line = Line::computed("x", band, rated(), Origin::practice());
    assert_eq!(line.outcome(), Outcome::Fail);
}

#[test]
fn every_sheet_has_its_caution_also_in_json() {
    let sheet = Sheet::new("bias", "Bias");
    assert_eq!(sheet.caution(), STANDARD_CAUTION);
    let json = serde_json::to_value(&sheet).unwrap();
    assert_eq!(json["caution"], STANDARD_CAUTION);
}

#[test]
fn a_rule_brings_its_source_and_how_far_it_was_seen() {
    for rule in rules().iter() {
        let origin = Origin::rule(&rule.id);
        assert_eq!(origin.rule.as_deref(), Some(rule.id.as_str()));
        assert_eq!(origin.text, rule.source_words());
    }
    assert_eq!(Origin::rule("no.such").kind, OriginKind::Assumed);
}
