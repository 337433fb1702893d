use super::*;
use crate::rules::STANDARD_CAUTION;
use crate::sheet::Outcome;
use proptest::prelude::*;

fn family(id: &str) -> &'static Family {
    Family::of(id).unwrap()
}

fn marked(text: &str) -> Marking {
    Marking::read(text).unwrap()
}

/// 0.8 A at full drive: 1.35 times is 1.08 A, so 1.25 A in both families (rule `fuse.size.steady`,
/// common practice, no source).
#[test]
fn the_next_standard_rating_above_the_factor() {
    for id in ["iec", "ul"] {
        let p = proposal(family(id), 0.8, None, None).unwrap();
        assert_eq!(p.amps, 1.25, "{id}");
        assert_eq!(p.pace, Pace::TimeLag);
    }
    assert_eq!(
        proposal(family("iec"), 0.8, None, None).unwrap().words(),
        "T1.25A"
    );
    assert_eq!(
        proposal(family("iec"), 0.3, None, None).unwrap().words(),
        "T500mA"
    );
}

/// A 2 A T link opens for sure at 4.2 A, a 2 A North American slow one at 2.7 A: the T link that opens no
/// later is 1.25 A (rules `fuse.rating.iec` and `fuse.rating.ul`).
#[test]
fn families_are_not_swapped_like_for_like() {
    let two = marked("2 A slow");
    let top = ceiling(family("iec"), &two, None).unwrap();
    assert!((top - 2.0 * 1.35 / 2.1).abs() < 1e-9);
    let p = proposal(family("iec"), 0.9, None, Some(&two)).unwrap();
    assert_eq!(p.amps, 1.25);
    // The other way the marking itself is the ceiling.
    let top = ceiling(family("ul"), &marked("T2A"), None).unwrap();
    assert_eq!(top, 2.0);
}

#[test]
fn a_marking_that_agrees_is_fitted_as_it_stands() {
    let p = proposal(family("iec"), 0.7, Some(230.0), Some(&marked("T1A"))).unwrap();
    assert_eq!(p.words(), "T1A");
    let p = proposal(family("iec"), 0.4, Some(230.0), Some(&marked("F630mA"))).unwrap();
    assert_eq!((p.amps, p.pace), (0.63, Pace::Quick), "never a slower one");
}

#[test]
fn a_marking_below_the_need_is_kept_while_it_carries_the_current() {
    let p = proposal(family("iec"), 0.8, Some(230.0), Some(&marked("T1A"))).unwrap();
    assert_eq!(p.amps, 1.0);
    assert!(proposal(family("iec"), 1.4, Some(230.0), Some(&marked("T1A"))).is_none());
    let sheet = fuse(&FuseRequest {
        amps: Some(1.4),
        mains: Some(230.0),
        marking: Some(marked("T1A")),
        ..FuseRequest::default()
    });
    assert_eq!(sheet.count(Outcome::Fail), 1);
}

#[test]
fn a_marking_far_above_the_current_gives_the_smaller() {
    let p = proposal(family("iec"), 0.8, Some(230.0), Some(&marked("T5A"))).unwrap();
    assert_eq!(p.amps, 1.25);
}

fn any_current() -> impl Strategy<Value = f64> {
    prop_oneof![any::<f64>(), 0.001..12.0_f64]
}

fn any_marking() -> impl Strategy<Value = Option<Marking>> {
    let amps = prop_oneof![any::<f64>(), 0.01..12.0_f64];
    let pace = proptest::option::of(prop_oneof![Just(Pace::TimeLag), Just(Pace::Quick)]);
    let family = proptest::option::of(prop_oneof![Just("iec"), Just("ul")]);
    proptest::option::of(
        (amps, pace, family).prop_map(|(amps, pace, family)| Marking {
            text: "as typed".to_owned(),
            amps,
            pace,
            family,
        }),
    )
}

proptest! {
    /// Nothing above the marking, nothing slower than it, and nothing that cannot carry the current.
    #[test]
    fn no_fuse_is_above_the_marking(
        amps in any_current(),
        mains in proptest::option::of(prop_oneof![any::<f64>(), 90.0..260.0_f64]),
        marking in any_marking(),
    ) {
        for family in families() {
            let Some(p) = proposal(family, amps, mains, marking.as_ref()) else { continue };
            prop_assert!(p.amps * steady_share(family).unwrap() >= amps * (1.0 - 1e-9));
            if let Some(marking) = &marking {
                prop_assert!(p.amps <= marking.amps);
                if marking.pace == Some(Pace::Quick) {
                    prop_assert_eq!(p.pace, Pace::Quick);
                }
                let marked = opens_at(family_of(marking, mains).unwrap_or("ul")).unwrap();
                prop_assert!(p.amps * opens_at(&family.id).unwrap() <= marking.amps * marked * (1.0 + 1e-9));
            }
        }
        let sheet = fuse(&FuseRequest { amps: Some(amps), mains, marking, ht_amps: Some(amps), ht_volts: mains });
        prop_assert_eq!(sheet.caution(), STANDARD_CAUTION);
    }
}
