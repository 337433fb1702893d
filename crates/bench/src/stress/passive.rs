//! Resistors, controls, capacitors and diodes.

use super::{Held, Place, Quantity, Strained, When, Work};
use crate::charge::is_electrolytic;
use crate::part::resistor_volts;
use crate::powered::{Powered, ends};
use crate::rules::rules;
use crate::sheet::Origin;
use crate::surge::Highest;
use solve::netlist::Law;
use wiring::circuit::{DiodeSort, History, Kind, Make, Part, PartId};
use wiring::roles::{BlockKind, Role};

pub(super) fn strained(work: &Work<'_>) -> Vec<Strained> {
    let mut all = Vec::new();
    for (index, part) in work.circuit.parts.iter().enumerate() {
        if part.known.history == Some(History::Removed) {
            continue;
        }
        match &part.kind {
            Kind::Resistor { .. } => {
                all.extend(watts(work, part, Place::Resistor));
                all.extend(resistor_across(work, part));
            }
            Kind::Pot { .. } => all.extend(watts(work, part, Place::Pot)),
            Kind::Capacitor { .. } => all.extend(capacitor(work, part, PartId(index))),
            Kind::Diode { sort } => all.extend(diode(work, part, *sort)),
            _ => {}
        }
    }
    all
}

/// What a part dissipates in all its resistances; none where a value is not known.
fn dissipated(state: &Powered, part: &str) -> Option<f64> {
    let own = state.elements(part);
    if own.is_empty() || own.iter().any(|e| state.stands_in(*e)) {
        return None;
    }
    let mut sum = 0.0;
    for element in own {
        let Law::Resistor { a, b, ohms } = state.element(*element)?.law else {
            continue;
        };
        let steady = state.between(a, b)? / ohms;
        let amps = state.amps_rms(*element).max(steady.abs());
        sum += amps * amps * ohms;
    }
    Some(sum)
}

fn watts(work: &Work<'_>, part: &Part, kind: Place) -> Option<Strained> {
    let value = work.worst(|state| dissipated(state, &part.name));
    let value = work.or_driven(value, &part.name, |d| d.watts)?;
    let name = match part.known.make {
        Some(Make::Film) => "film",
        Some(Make::Wirewound) => "wirewound",
        // What it is made of is not known: the lower share.
        _ => "carbon composition",
    };
    let share = rules().figure("res.power", name).unwrap_or(50.0).min(60.0) / 100.0;
    let held = Held {
        rating: part.known.watts,
        share,
        origin: Origin::rule("res.power"),
    };
    Some(held.strained(&part.name, kind, Quantity::Watts, value))
}

/// Volts across a resistor, by the size that its rated watts tell.
fn resistor_across(work: &Work<'_>, part: &Part) -> Option<Strained> {
    let (a, b) = ends(part)?;
    let value = work.worst(|state| Some(state.across(a, b)?.abs()));
    let value = work.or_driven(value, &part.name, |d| d.peak_volts)?;
    let held = Held {
        rating: part.known.watts.and_then(resistor_volts),
        share: 1.0,
        origin: Origin::rule("res.voltage"),
    };
    Some(held.strained(&part.name, Place::Resistor, Quantity::Volts, value))
}

fn capacitor(work: &Work<'_>, part: &Part, id: PartId) -> Option<Strained> {
    let highest = work.surge.capacitors.iter().find(|c| c.part == part.name)?;
    let rating = part.known.volts;
    if across_mains(work, id) {
        // Parts for the mains are marked with alternating volts.
        let held = Held {
            rating,
            share: 1.0,
            origin: Origin::practice(),
        };
        let worst = (highest.ac_v, When::HighMains);
        return Some(held.strained(&part.name, Place::Capacitor, Quantity::Volts, worst));
    }
    let of = |volts: f64, when: When| {
        let (share, origin) = share(work, part, id, when);
        let held = Held {
            rating,
            share,
            origin,
        };
        held.strained(&part.name, Place::Capacitor, Quantity::Volts, (volts, when))
    };
    let Highest { cold_v, warm_v, .. } = highest;
    let warm = warm_v.map(|v| of(v.abs(), When::HighMains));
    let cold = cold_v.map(|v| of(v.abs(), When::ColdStart));
    let driven = work.or_driven(None, &part.name, |d| d.peak_volts);
    let driven = driven.map(|(volts, when)| of(volts, when));
    // The state that asks for more: a working share counts beside a higher figure on cold start.
    let asks = |s: &Strained| s.limit.map_or(s.value, |l| s.value / l);
    let needs = [&warm, &cold, &driven]
        .into_iter()
        .filter_map(|s| s.as_ref()?.needs)
        .reduce(f64::max);
    let working = [&warm, &driven].into_iter().flatten().map(|s| s.value);
    let working = working.reduce(f64::max);
    let both = cold.is_some() && working.is_some();
    let mut worst: Option<Strained> = None;
    for one in [warm, cold, driven].into_iter().flatten() {
        if worst.as_ref().is_none_or(|w| asks(&one) > asks(w)) {
            worst = Some(one);
        }
    }
    let mut worst = worst?;
    worst.needs = needs;
    worst.warm = working.filter(|_| both);
    Some(worst)
}

/// Share of a capacitor's rated volts that its place allows.
fn share(work: &Work<'_>, part: &Part, id: PartId, when: When) -> (f64, Origin) {
    let of = |rule: &str, name: &str, safe: f64, inverse: bool| {
        let figure = rules().figure(rule, name).filter(|v| *v > 0.0);
        let share = figure.map(|v| if inverse { 1.0 / v } else { v });
        (share.unwrap_or(safe).min(safe), Origin::rule(rule))
    };
    if work.anatomy.has(id, Role::BiasFilter) {
        return of(
            "cap.bias.voltage",
            "rated / most negative bias",
            1.0 / 1.3,
            true,
        );
    }
    if work.anatomy.has(id, Role::CathodeBypass) && bypasses_output(work, id) {
        return of(
            "cap.cathode_bypass.voltage",
            "output bypass rated / standing",
            0.5,
            true,
        );
    }
    if !is_electrolytic(part) {
        return (1.0, Origin::practice());
    }
    let name = match when {
        When::ColdStart => {
            return of(
                "cap.electrolytic.voltage",
                "cold-start volts / rated volts",
                1.0,
                false,
            );
        }
        When::Idle | When::HighMains | When::CleanDrive | When::HardDrive => {
            "working volts / rated volts"
        }
    };
    of("cap.electrolytic.voltage", name, 0.9, false)
}

fn across_mains(work: &Work<'_>, id: PartId) -> bool {
    work.anatomy.has(id, Role::LineCapacitor) || work.anatomy.has(id, Role::MainsCapacitor)
}

fn bypasses_output(work: &Work<'_>, id: PartId) -> bool {
    work.anatomy.blocks.iter().any(|b| {
        matches!(b.kind, BlockKind::PushPull | BlockKind::SingleEnded)
            && b.parts.contains(&(id, Role::CathodeBypass))
    })
}

/// Inverse volts of a single diode that the mains drives.
fn diode(work: &Work<'_>, part: &Part, sort: DiodeSort) -> Option<Strained> {
    let DiodeSort::Silicon(rating) = sort else {
        return None;
    };
    let inverse = |state: &Powered| {
        let own = state.elements(&part.name);
        let plates = state.solved.point.plates.iter();
        plates
            .filter(|p| own.contains(&p.element))
            .map(|p| p.inverse_volts)
            .reduce(f64::max)
    };
    let value = work.worst(inverse)?;
    let held = Held {
        rating,
        share: 1.0,
        origin: Origin::practice(),
    };
    Some(held.strained(&part.name, Place::Diode, Quantity::InverseVolts, value))
}
