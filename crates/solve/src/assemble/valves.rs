//! Valves: each section its law, at the pins of the socket it sits in.

use std::collections::BTreeSet;

use wiring::circuit::{Electrode, Valve};
use wiring::{NodeId, Part};

use super::builder::Builder;
use super::defaults::GRID_LEAK_OHMS;
use super::heaters::{self, Heater};
use super::sockets::Socket;
use crate::device::{DiodeLaw, ValveLaw, law_for};
use crate::netlist::{Law, NodeIndex, Quantity, Slot};

/// Valves whose heaters are not traced, for one note over all.
#[derive(Default)]
pub(super) struct Untraced(Vec<String>);

impl Untraced {
    /// One note for all of them.
    pub(super) fn say(self, b: &mut Builder<'_>) {
        if !self.0.is_empty() {
            b.note(
                "heater-not-traced",
                format!(
                    "no walk joins a winding to the heater of {}: counted as lit",
                    self.0.join(", ")
                ),
            );
        }
    }
}

/// Adds a valve, if it is in its socket.
pub(super) fn valve<'a>(
    b: &mut Builder<'a>,
    part: &'a Part,
    valve: &Valve,
    fed: &BTreeSet<NodeId>,
    untraced: &mut Untraced,
) {
    if !b.conditions.valves.is_in(&part.name) {
        return;
    }
    let socket = Socket::new(b, part, valve);
    let Some(sheet) = socket.sheet else {
        return unknown(b, &socket, valve);
    };
    fits(b, part, valve);
    let kind = sheet.kind;
    let filament = kind == wiring::sheet::ValveKind::DirectlyHeatedRectifier;
    let heater = heaters::heater(b, &socket, filament);
    let slots = heater.elements.iter().map(|e| (*e, Slot::Ohms)).collect();
    b.spreads(&part.name, Quantity::Ohms, slots);
    let mut lights = Vec::new();
    let mut plates = Vec::new();
    for letter in socket.sections() {
        let law = curves(b, &socket, valve, letter);
        let Some(law) = law else {
            b.unsolved(
                &part.name,
                format!(
                    "no curves of {} are at hand; type `{} {} like 12AX7` with the nearest type, or fit its points (`tubewright fit`)",
                    valve.type_in_socket(),
                    part.name,
                    valve.type_in_socket()
                ),
            );
            stand_in(b, &socket, letter);
            continue;
        };
        let emission = valve.emission.filter(|e| e.is_finite() && *e >= 0.0);
        // A dead cathode still has a law, a millionth of the sound one.
        let law = law.at_emission(emission.unwrap_or(1.0).clamp(1e-6, 100.0));
        if let Some(e) = section(b, &socket, letter, law, &heater) {
            lights.push(e);
            if matches!(law, ValveLaw::Rectifier(_)) {
                plates.push((e, Slot::Perveance));
            }
        }
    }
    b.spreads(&part.name, Quantity::Drop, plates);
    if !heaters::light(b, &socket, heater, fed, lights) {
        untraced.0.push(part.name.clone());
    }
}

/// Notes a valve that sits in a socket of another base.
fn fits(b: &mut Builder<'_>, part: &Part, valve: &Valve) {
    let Some(fitted) = &valve.fitted else { return };
    let (meant, is) = (b.sheet(&valve.meant), b.sheet(fitted));
    if let (Some(meant), Some(is)) = (meant, is)
        && meant.base != is.base
    {
        let text = format!(
            "{}: {fitted} has a base that is {}, the socket of {} is {}; pins are taken by number",
            part.name,
            is.base.word(),
            valve.meant,
            meant.base.word()
        );
        b.note("valve-does-not-fit", text);
    }
}

/// The law of a section: of the type that the wiring says it is like, else of the sheet.
fn curves(
    b: &Builder<'_>,
    socket: &Socket<'_>,
    valve: &Valve,
    letter: Option<char>,
) -> Option<ValveLaw> {
    let like = valve.like.as_deref().and_then(|t| b.sheet(t));
    let of = |sheet| law_for(sheet, letter).or_else(|| law_for(sheet, None));
    like.and_then(of).or_else(|| socket.sheet.and_then(of))
}

/// Adds one section with its capacitances; gives the element that its heater lights.
fn section(
    b: &mut Builder<'_>,
    socket: &Socket<'_>,
    letter: Option<char>,
    law: ValveLaw,
    heater: &Heater,
) -> Option<usize> {
    let part = socket.part;
    let name = match letter {
        Some(letter) => format!("{}{letter}", part.name),
        None => part.name.clone(),
    };
    let wanted: &[Electrode] = match law {
        ValveLaw::Triode(_) => &[Electrode::Plate, Electrode::Cathode],
        ValveLaw::Pentode(_) => &[Electrode::Plate, Electrode::Screen, Electrode::Cathode],
        ValveLaw::Rectifier(_) => &[Electrode::Plate, Electrode::Cathode],
    };
    let is_there = |b: &Builder<'_>, e: Electrode| {
        socket.is_wired(b, letter, e) || (e == Electrode::Cathode && heater.middle.is_some())
    };
    let missing: Vec<&str> = wanted
        .iter()
        .filter(|e| !is_there(b, **e))
        .map(|e| e.word())
        .collect();
    if !missing.is_empty() {
        // The idle plate of a rectifier and the unused half of a twin are no news.
        let all = wanted.iter().all(|e| !socket.is_wired(b, letter, *e))
            && !socket.is_wired(b, letter, Electrode::Grid);
        let idle = missing == ["plate"] && matches!(law, ValveLaw::Rectifier(_));
        if !all && !idle {
            let why = format!(
                "{name} is not traced whole: no walk reaches its {}",
                missing.join(" and ")
            );
            draws_untold(b, socket, letter, &why);
            b.note(
                "valve-half-traced",
                format!(
                    "{name}: no walk reaches its {}; it is left out until one does",
                    missing.join(" and ")
                ),
            );
        }
        return None;
    }
    let plate = socket.node(b, letter, Electrode::Plate)?;
    let cathode = match heater.middle {
        Some(middle) => middle,
        None => socket.node(b, letter, Electrode::Cathode)?,
    };
    if let ValveLaw::Rectifier(perveance) = law {
        let law = DiodeLaw::valve_plate(perveance);
        if b.conditions.power_off || plate == cathode {
            return None;
        }
        let law = Law::Diode {
            a: plate,
            k: cathode,
            law,
        };
        return Some(b.add(&part.name, name, law));
    }
    let grid = grid(b, socket, letter, &name, cathode)?;
    let screen = match law {
        ValveLaw::Pentode(_) => Some(socket.node(b, letter, Electrode::Screen)?),
        _ => None,
    };
    suppressor(b, socket, letter, &name, cathode);
    capacitances(b, socket, letter, &name, (plate, grid, cathode));
    if b.conditions.power_off {
        return None;
    }
    let law = match (law, screen) {
        (ValveLaw::Triode(law), _) => Law::Triode {
            plate,
            grid,
            cathode,
            law,
        },
        (ValveLaw::Pentode(law), Some(screen)) => Law::Pentode {
            plate,
            screen,
            grid,
            cathode,
            law,
        },
        _ => return None,
    };
    let pentode = matches!(law, Law::Pentode { .. });
    let e = b.add(&part.name, name.clone(), law);
    b.spreads(&name, Quantity::Emission, vec![(e, Slot::Scale)]);
    b.spreads(&name, Quantity::Mu, vec![(e, Slot::Mu)]);
    if pentode {
        b.spreads(&name, Quantity::ScreenShare, vec![(e, Slot::ScreenShare)]);
    }
    Some(e)
}

/// The grid's node. A grid that no walk reaches is taken as leaked to ground, where nearly all
/// grids are; but not where the cathode is grounded and only a bias line could hold the valve.
fn grid(
    b: &mut Builder<'_>,
    socket: &Socket<'_>,
    letter: Option<char>,
    name: &str,
    cathode: NodeIndex,
) -> Option<NodeIndex> {
    if let Some(grid) = socket.node(b, letter, Electrode::Grid) {
        return Some(grid);
    }
    if cathode == 0 {
        b.unsolved(
            &socket.part.name,
            format!(
                "no walk reaches the grid of {name}, and its cathode is grounded: \
                 its current hangs on a bias that is not traced"
            ),
        );
        let why = format!("depends on {name}, whose grid is not traced yet");
        draws_untold(b, socket, letter, &why);
        return None;
    }
    b.note(
        "grid-not-traced",
        format!("{name}: no walk reaches its grid; taken as leaked to ground"),
    );
    let grid = b.inner(format!("{name} grid"));
    let leak = format!("{name} grid leak");
    b.resistor(&socket.part.name, leak, (grid, 0), GRID_LEAK_OHMS);
    Some(grid)
}

/// Nobody knows yet what this section will do to the volts at its electrodes.
fn draws_untold(b: &mut Builder<'_>, socket: &Socket<'_>, letter: Option<char>, why: &str) {
    for electrode in [Electrode::Plate, Electrode::Screen, Electrode::Cathode] {
        let pins: Vec<usize> = socket.pins(letter, electrode).collect();
        for pin in pins {
            if let Some(point) = b.wired(socket.part, pin).filter(|p| *p != wiring::GROUND) {
                b.node(point);
                b.untold(point, why);
            }
        }
    }
}

/// Grid 3 on a pin of its own is computed as if it were on the cathode; say so if it is elsewhere.
fn suppressor(
    b: &mut Builder<'_>,
    socket: &Socket<'_>,
    letter: Option<char>,
    name: &str,
    cathode: NodeIndex,
) {
    if !socket.has(letter, Electrode::Suppressor) {
        return;
    }
    match socket.node(b, letter, Electrode::Suppressor) {
        Some(node) if node == cathode => {}
        Some(_) => b.note(
            "suppressor-elsewhere",
            format!("{name}: its suppressor is not on its cathode; it is computed as if it were"),
        ),
        None => b.note(
            "suppressor-not-traced",
            format!("{name}: no walk reaches its suppressor; it is taken on the cathode"),
        ),
    }
}

/// Interelectrode capacitances of the sheet.
fn capacitances(
    b: &mut Builder<'_>,
    socket: &Socket<'_>,
    letter: Option<char>,
    name: &str,
    (plate, grid, cathode): (NodeIndex, NodeIndex, NodeIndex),
) {
    let Some(c) = socket.sheet.and_then(|s| s.capacitances_of(letter)) else {
        return;
    };
    for (word, ends, farads) in [
        ("grid to plate", (grid, plate), c.grid_plate),
        ("grid to cathode", (grid, cathode), c.grid_cathode),
        ("plate to cathode", (plate, cathode), c.plate_cathode),
    ] {
        if let Some(farads) = farads {
            b.capacitor(
                &socket.part.name,
                format!("{name} {word}"),
                ends,
                farads,
                0.0,
            );
        }
    }
}

/// A type without a sheet: listed, and what it might carry held open.
fn unknown(b: &mut Builder<'_>, socket: &Socket<'_>, valve: &Valve) {
    let typed = valve.type_in_socket();
    let nearest = b
        .library
        .nearest(typed)
        .map_or_else(String::new, |n| format!(" (or did you mean {n}?)"));
    let name = &socket.part.name;
    b.unsolved(
        name,
        format!(
            "no data sheet of {typed} is at hand; type `{name} {typed} like 12AX7` with the nearest type{nearest}"
        ),
    );
    let sections = socket.sections();
    for letter in &sections {
        stand_in(b, socket, *letter);
    }
    if sections.is_empty() {
        // Its pins are not known either: any of them might draw current.
        for terminal in 0..socket.part.terminals.len() {
            if let Some(node) = b.at(socket.part, terminal) {
                b.stand_in(name, (node, 0));
            }
        }
    }
}

fn stand_in(b: &mut Builder<'_>, socket: &Socket<'_>, letter: Option<char>) {
    let plate = socket.node(b, letter, Electrode::Plate);
    let cathode = socket.node(b, letter, Electrode::Cathode);
    if let (Some(plate), Some(cathode)) = (plate, cathode) {
        b.stand_in(&socket.part.name, (plate, cathode));
    }
}
