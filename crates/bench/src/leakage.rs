//! Capacitors judged from typed readings: coupling capacitors by what they let through, electrolytics by leakage,
//! series resistance and capacitance.
//!
//! Every limit is a row of the bench's rules. A reading that is good passes, one that is bad enough to replace fails,
//! and one between stays open: watch it.

mod coupling;
mod electrolytic;

pub use coupling::{Coupling, Place, leak_by_meter, leak_by_shift};
pub use electrolytic::{Electrolytic, esr_limit, new_leakage_limit, old_leakage_limit};

use crate::sheet::Sheet;

/// What was typed.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct LeakageRequest {
    /// Of a coupling capacitor.
    pub coupling: Coupling,
    /// Of an electrolytic.
    pub electrolytic: Electrolytic,
}

/// The sheet.
#[must_use]
pub fn leakage(given: &LeakageRequest) -> Sheet {
    let mut sheet = Sheet::new("leakage", "Leakage of capacitors");
    let nothing =
        given.coupling == Coupling::default() && given.electrolytic == Electrolytic::default();
    if nothing || given.coupling != Coupling::default() {
        coupling::add(&mut sheet, &given.coupling);
    }
    if nothing || given.electrolytic != Electrolytic::default() {
        electrolytic::add(&mut sheet, &given.electrolytic);
    }
    sheet
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::STANDARD_CAUTION;
    use crate::sheet::Outcome;
    use proptest::prelude::*;

    fn any() -> impl Strategy<Value = Option<f64>> {
        proptest::option::of(prop_oneof![proptest::prelude::any::<f64>(), 1e-9..1e6_f64])
    }

    proptest! {
        #[test]
        fn any_numbers_give_a_sheet_with_its_caution(
            a in (any(), any(), any(), any(), any(), any(), any()),
            b in (any(), any(), any(), any(), any(), any(), any(), any()),
            place in proptest::option::of(prop_oneof![Just(Place::Output), Just(Place::Preamp)]),
        ) {
            let coupling = Coupling {
                place, grid: a.0, rest: a.1, grid_leak: a.2, plate: a.3, meter_volts: a.4, across: a.5, meter_ohms: a.6,
            };
            let electrolytic = Electrolytic {
                farads: b.0, rated: b.1, leakage: b.2, drop: b.3, over: b.4, esr: b.5, hertz: b.6, measured: b.7,
            };
            let sheet = leakage(&LeakageRequest { coupling, electrolytic });
            prop_assert_eq!(sheet.caution(), STANDARD_CAUTION);
            for line in sheet.lines().filter(|l| l.outcome() == Outcome::Pass) {
                prop_assert!(line.reading().is_some());
            }
        }
    }
}
