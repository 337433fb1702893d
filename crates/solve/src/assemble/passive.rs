//! Resistors, capacitors, chokes.

use std::f64::consts::TAU;

use wiring::Part;
use wiring::circuit::Make;

use super::builder::{Builder, Effective, effective, written, written_ohms};
use super::defaults::{
    ELECTROLYTIC_FROM, ELECTROLYTIC_LOSS, ELECTROLYTIC_SECONDS, OPEN_OHMS, SHORT_OHMS,
    choke_henries, choke_ohms,
};
use crate::netlist::{Law, Quantity, Slot};

/// A resistor: its reading if it was lifted, else its marking.
pub(super) fn resistor(b: &mut Builder<'_>, part: &Part, marked: Option<f64>) {
    let ohms = match effective(marked, &part.known) {
        Effective::Value(ohms) => ohms,
        Effective::Open => OPEN_OHMS,
        Effective::Short => SHORT_OHMS,
        Effective::Missing => return missing(b, part, "ohms", "100k"),
    };
    let Some(ends) = b.ends(part) else { return };
    if let Some(e) = b.resistor(&part.name, part.name.clone(), ends, ohms) {
        b.spreads(&part.name, Quantity::Ohms, vec![(e, Slot::Ohms)]);
    }
}

/// A capacitor, its series resistance in it, its leak beside it.
///
/// A sound electrolytic leaks by [`ELECTROLYTIC_SECONDS`]; others leak only what was read.
pub(super) fn capacitor(b: &mut Builder<'_>, part: &Part, marked: Option<f64>, polarised: bool) {
    let known = &part.known;
    let farads = match effective(marked, known) {
        Effective::Open => return,
        Effective::Short => {
            b.forced(part);
            return;
        }
        Effective::Value(farads) => Some(farads),
        Effective::Missing => {
            b.unsolved(
                &part.name,
                format!(
                    "its farads are not known: steady volts do without, ripple and response do not; \
                     type `{} 22n` once it is read",
                    part.name
                ),
            );
            None
        }
    };
    let Some(ends) = b.ends(part) else { return };
    let electrolytic = match known.make {
        Some(make) => make == Make::Electrolytic,
        None => polarised || farads.is_some_and(|f| f >= ELECTROLYTIC_FROM),
    };
    if let Some(farads) = farads {
        let esr = known.esr_ohms.unwrap_or(if electrolytic && farads > 0.0 {
            ELECTROLYTIC_LOSS / (TAU * 120.0 * farads)
        } else {
            0.0
        });
        if let Some(e) = b.capacitor(&part.name, part.name.clone(), ends, farads, esr) {
            b.spreads(&part.name, Quantity::Farads, vec![(e, Slot::Farads)]);
        }
    }
    let leak = match (known.leak_ohms, farads) {
        (Some(read), _) => Some(read),
        (None, Some(farads)) if electrolytic && farads > 0.0 => Some(ELECTROLYTIC_SECONDS / farads),
        _ => None,
    };
    if let Some(leak) = leak
        && let Some(e) = b.resistor(&part.name, format!("{} leak", part.name), ends, leak)
    {
        b.spreads(&part.name, Quantity::Leak, vec![(e, Slot::Ohms)]);
    }
}

/// A choke; unwritten ohms or henries follow from the other.
pub(super) fn choke(
    b: &mut Builder<'_>,
    part: &Part,
    marked: Option<f64>,
    ohms_written: Option<f64>,
) {
    if b.forced(part) {
        return;
    }
    let henries = match effective(marked, &part.known) {
        Effective::Value(h) => written(Some(h), 1e6),
        _ => None,
    };
    let ohms_written = written_ohms(ohms_written);
    let (henries, ohms) = match (henries, ohms_written) {
        (Some(h), Some(r)) => (h, r),
        (Some(h), None) => {
            let r = choke_ohms(h);
            b.note(
                "choke-ohms-assumed",
                format!(
                    "{}: winding taken as {r:.0} ohm, as usual for {h} H",
                    part.name
                ),
            );
            (h, r)
        }
        (None, Some(r)) => {
            let h = choke_henries(r);
            b.note(
                "choke-henries-assumed",
                format!(
                    "{}: inductance taken as {h:.1} H, as usual for {r} ohm",
                    part.name
                ),
            );
            (h, r)
        }
        (None, None) => return missing(b, part, "henries and ohms", "5H 150 ohm"),
    };
    let Some((a, z)) = b.ends(part) else { return };
    if a == z {
        return;
    }
    let law = Law::Inductor {
        a,
        b: z,
        henries,
        ohms,
    };
    let e = b.add(&part.name, part.name.clone(), law);
    b.spreads(&part.name, Quantity::Ohms, vec![(e, Slot::Ohms)]);
    b.spreads(&part.name, Quantity::Henries, vec![(e, Slot::Henries)]);
}

/// A passed part without a value: listed, and its place held open.
pub(super) fn missing(b: &mut Builder<'_>, part: &Part, what: &str, such_as: &str) {
    b.unsolved(
        &part.name,
        format!(
            "its {what} are not known; type `{} {such_as}` once read",
            part.name
        ),
    );
    if let Some(ends) = b.ends(part) {
        b.stand_in(&part.name, ends);
    }
}
