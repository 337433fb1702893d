//! One part described in several places.
//!
//! What only one place says is added; what both say must agree.

use super::{Description, What};
use crate::circuit::{Kind, Known};

/// Takes the new value where there was none; false where both differ.
fn add<T: PartialEq + Clone>(old: &mut Option<T>, new: &Option<T>) -> bool {
    match (old.as_ref(), new) {
        (_, None) => true,
        (None, Some(_)) => {
            old.clone_from(new);
            true
        }
        (Some(a), Some(b)) => a == b,
    }
}

/// Adds what a second description says; false, with the first kept, where they clash.
pub(crate) fn merge(old: &mut Description, new: &Description) -> bool {
    let mut together = old.clone();
    let fits = what(&mut together.what, &new.what, old.bare, new.bare)
        && known(&mut together.known, &new.known);
    if fits {
        together.bare &= new.bare;
        *old = together;
    }
    fits
}

fn what(old: &mut What, new: &What, old_bare: bool, new_bare: bool) -> bool {
    if old == new {
        return true;
    }
    if !same_sort(old, new) {
        return false;
    }
    if new_bare {
        return true;
    }
    if old_bare {
        *old = new.clone();
        return true;
    }
    match (old, new) {
        (What::One(old, _), What::One(new, _)) => kind(old, new),
        _ => false,
    }
}

/// The same kind, whatever the values?
fn same_sort(old: &What, new: &What) -> bool {
    match (old, new) {
        (What::One(a, _), What::One(b, _))
        | (What::Gangs(a, _), What::Gangs(b, _))
        | (What::Poles(a, _, _), What::Poles(b, _, _)) => {
            std::mem::discriminant(a) == std::mem::discriminant(b)
        }
        (What::Can(_), What::Can(_)) => true,
        _ => false,
    }
}

fn kind(old: &mut Kind, new: &Kind) -> bool {
    match (old, new) {
        (Kind::Resistor { ohms: a }, Kind::Resistor { ohms: b })
        | (Kind::Speaker { ohms: a }, Kind::Speaker { ohms: b }) => add(a, b),
        (Kind::Capacitor { farads: a, .. }, Kind::Capacitor { farads: b, .. }) => add(a, b),
        (
            Kind::Choke {
                henries: a,
                ohms: c,
            },
            Kind::Choke {
                henries: b,
                ohms: d,
            },
        ) => add(a, b) && add(c, d),
        (Kind::Fuse { amps: a, slow: c }, Kind::Fuse { amps: b, slow: d }) => {
            *c |= *d;
            add(a, b)
        }
        (Kind::Valve(a), Kind::Valve(b)) => {
            let meant = a.meant == b.meant || b.meant.is_empty();
            let pins = a.electrodes == b.electrodes || b.electrodes.is_empty();
            meant
                && pins
                && add(&mut a.fitted, &b.fitted)
                && add(&mut a.emission, &b.emission)
                && add(&mut a.like, &b.like)
        }
        (a, b) => a == b,
    }
}

fn known(old: &mut Known, new: &Known) -> bool {
    old.minimum |= new.minimum;
    old.assumed |= new.assumed;
    for note in &new.notes {
        if !old.notes.contains(note) {
            old.notes.push(note.clone());
        }
    }
    add(&mut old.reading, &new.reading)
        && add(&mut old.watts, &new.watts)
        && add(&mut old.volts, &new.volts)
        && add(&mut old.tolerance, &new.tolerance)
        && add(&mut old.make, &new.make)
        && add(&mut old.leak_ohms, &new.leak_ohms)
        && add(&mut old.esr_ohms, &new.esr_ohms)
        && add(&mut old.history, &new.history)
        && add(&mut old.verdict, &new.verdict)
        && add(&mut old.sits, &new.sits)
}
