//! Diodes, bridges, lamps, and the photo-resistor that a lamp lights.

use wiring::Part;
use wiring::circuit::{DiodeSort, LampSort};

use super::LitCell;
use super::builder::{Builder, Effective, effective, sound_ohms, written_ohms};
use super::passive::missing;
use crate::device::{DiodeLaw, FilamentLaw, NeonLaw};
use crate::netlist::{Law, NodeIndex, Quantity, Slot};

fn law_of(sort: DiodeSort) -> DiodeLaw {
    match sort {
        DiodeSort::Zener(volts) if volts.is_finite() && volts > 0.0 => DiodeLaw::zener(volts),
        DiodeSort::Silicon(_) | DiodeSort::Zener(_) => DiodeLaw::SILICON,
        DiodeSort::Selenium => DiodeLaw::SELENIUM,
        DiodeSort::Ideal => DiodeLaw::IDEAL,
    }
}

/// A diode from `a` to `k`.
pub(super) fn diode(b: &mut Builder<'_>, part: &Part, sort: DiodeSort) {
    if b.forced(part) {
        return;
    }
    if let Some((a, k)) = b.ends(part)
        && a != k
    {
        let law = law_of(sort);
        b.add(&part.name, part.name.clone(), Law::Diode { a, k, law });
    }
}

/// Four silicon diodes.
pub(super) fn bridge(b: &mut Builder<'_>, part: &Part) {
    let mut at = |name: &str| b.at_named(part, name);
    let (ac1, ac2, plus, minus) = (at("ac1"), at("ac2"), at("plus"), at("minus"));
    let legs: [(Option<NodeIndex>, Option<NodeIndex>, &str); 4] = [
        (ac1, plus, "ac1 plus"),
        (ac2, plus, "ac2 plus"),
        (minus, ac1, "minus ac1"),
        (minus, ac2, "minus ac2"),
    ];
    for (a, k, word) in legs {
        if let (Some(a), Some(k)) = (a, k)
            && a != k
        {
            let law = law_of(DiodeSort::Silicon(None));
            b.add(
                &part.name,
                format!("{} {word}", part.name),
                Law::Diode { a, k, law },
            );
        }
    }
}

/// A glow lamp, or a filament lamp of known rating.
pub(super) fn lamp(b: &mut Builder<'_>, part: &Part, sort: LampSort) {
    if b.forced(part) {
        return;
    }
    match sort {
        LampSort::Neon => {
            if let Some((a, z)) = b.ends(part)
                && a != z
            {
                let law = Law::Neon {
                    a,
                    b: z,
                    law: NeonLaw::SMALL,
                };
                b.add(&part.name, part.name.clone(), law);
            }
        }
        LampSort::Filament(Some(volts), Some(amps))
            if (1e-3..1e6).contains(&volts) && (1e-6..1e4).contains(&amps) =>
        {
            let law = FilamentLaw::rated(volts, amps);
            if let Some((a, z)) = b.ends(part)
                && a != z
            {
                b.add(
                    &part.name,
                    part.name.clone(),
                    Law::Filament { a, b: z, law },
                );
            }
        }
        LampSort::Filament(..) => missing(b, part, "rating", "lamp 6.3V 150mA"),
    }
}

/// A photo-resistor, dark: what its lamp does to it is found once the lamp's state is.
///
/// Unwritten ohms follow from the written: a thousand times darker than lit, at least a megohm in
/// the dark (common practice, no source). A reading on the lifted part was taken under some
/// light of the bench and stands for both.
pub(super) fn cell(
    b: &mut Builder<'_>,
    part: &Part,
    lamp: &str,
    dark: Option<f64>,
    lit: Option<f64>,
) {
    if b.forced(part) {
        return;
    }
    let (dark, lit) = match (
        effective(None, &part.known),
        written_ohms(dark),
        written_ohms(lit),
    ) {
        (Effective::Value(read), _, _) => (sound_ohms(read), sound_ohms(read)),
        (_, Some(dark), Some(lit)) => (dark, lit),
        (_, Some(dark), None) => (dark, sound_ohms(dark / 1000.0)),
        (_, None, Some(lit)) => ((1000.0 * lit).max(1e6), lit),
        (_, None, None) => {
            return missing(b, part, "dark and lit ohms", "cell of DS1 dark 10M lit 10k");
        }
    };
    if b.circuit.part(lamp).is_none() {
        b.note(
            "cell-dark",
            format!(
                "{}: no lamp {lamp} is there to light it; taken as dark",
                part.name
            ),
        );
    }
    if let Some(ends) = b.ends(part)
        && let Some(element) = b.resistor(&part.name, part.name.clone(), ends, dark)
    {
        b.spreads(&part.name, Quantity::Ohms, vec![(element, Slot::Ohms)]);
        b.out.cells.push(LitCell {
            element,
            lamp: lamp.to_owned(),
            dark_ohms: dark,
            lit_ohms: lit,
        });
    }
}
