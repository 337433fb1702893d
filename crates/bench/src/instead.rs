//! What if: the circuit with another part in the place of one, for any sheet.
//!
//! A part is given as a wiring describes it (`47u 450V`, `2k2 1W`, `GZ34`) and must be of the same kind; a rectifier
//! valve may also give its place to `silicon`, diodes from its plates to its cathode. What was read on the old part
//! goes with it. Readings of the amplifier stay as they are: those of the parts as wired.

use crate::powered::sheet_of;
use serde::Serialize;
use std::mem::discriminant;
use wiring::circuit::{Circuit, DiodeSort, Electrode, Kind, Known, Part, PartId, Terminal};
use wiring::sheet::Library;

/// The word for diodes in the place of a rectifier valve.
const SILICON: &str = "silicon";

/// Another part in the place of one.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Instead {
    /// The part whose place it takes.
    pub part: String,
    /// What it is, as a wiring describes it.
    pub with: String,
}

/// Why a part cannot take a place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refused {
    /// What is wrong.
    pub what: String,
    /// What to do.
    pub remedy: String,
}

impl Instead {
    /// `V5=GZ34`; none without a name, an equals sign and something after it.
    #[must_use]
    pub fn read(text: &str) -> Option<Self> {
        let (part, with) = text.split_once('=')?;
        let (part, with) = (part.trim(), with.trim());
        (!part.is_empty() && !with.is_empty()).then(|| Self {
            part: part.to_owned(),
            with: with.to_owned(),
        })
    }

    fn words(&self) -> String {
        format!("{} as {}", self.part, self.with)
    }
}

/// The circuit with these parts in the places of its own. Its `state` says so, and so does the head of each sheet.
///
/// # Errors
/// When there is no such part, or what is given is not of its kind.
pub fn with(circuit: &Circuit, library: &Library, changes: &[Instead]) -> Result<Circuit, Refused> {
    let mut changed = circuit.clone();
    for change in changes {
        exchange(&mut changed, library, change)?;
    }
    if !changes.is_empty() {
        let words: Vec<String> = changes.iter().map(Instead::words).collect();
        let asked = format!("WHAT IF: {}", words.join(", "));
        changed.heading.state = Some(match changed.heading.state.take() {
            Some(state) => format!("{state}; {asked}"),
            None => asked,
        });
    }
    Ok(changed)
}

fn exchange(circuit: &mut Circuit, library: &Library, change: &Instead) -> Result<(), Refused> {
    let Some(id) = circuit.part(&change.part) else {
        return Err(Refused {
            what: format!("There is no part `{}`.", change.part),
            remedy: "`tubewright check` lists the parts; of a can or a dual control name the section, as `C9a`."
                .to_owned(),
        });
    };
    let Some(old) = circuit.parts.get(id.0).cloned() else {
        return Ok(());
    };
    let rectifier = sheet_of(library, &old).filter(|sheet| sheet.kind.is_rectifier());
    if change.with.eq_ignore_ascii_case(SILICON) {
        let Some(sheet) = rectifier else {
            return Err(Refused {
                what: format!("`{}` is no rectifier valve.", change.part),
                remedy: "Only a rectifier valve can give its place to silicon.".to_owned(),
            });
        };
        diodes(circuit, id, sheet);
        return Ok(());
    }
    let new = described(&old, change)?;
    if let (Kind::Valve(was), Kind::Valve(is)) = (&old.kind, &new.kind) {
        return valve(circuit, library, id, was.clone(), &is.meant, change);
    }
    let known = Known {
        history: old.known.history,
        sits: old.known.sits,
        ..new.known
    };
    if let Some(part) = circuit.parts.get_mut(id.0) {
        part.kind = same_way_round(new.kind, &old.kind);
        part.known = known;
    }
    Ok(())
}

/// What the words describe, read by the notation itself; of the old part's kind.
fn described(old: &Part, change: &Instead) -> Result<Part, Refused> {
    let refused = |what: String| Refused {
        what,
        remedy: "Describe it as in a wiring, of the same kind: `47u 450V`, `2k2 1W`, `GZ34`."
            .to_owned(),
    };
    let one_line = !change.with.contains(['\n', '\r', ';', '#']);
    let name = old.parent.as_deref().unwrap_or(&old.name);
    let read = wiring::read_one(&format!("{name} {}\n", change.with));
    let error = read
        .problems
        .iter()
        .find(|p| p.severity == wiring::Severity::Error);
    if let Some(error) = error.filter(|_| one_line) {
        return Err(refused(format!("`{}`: {}", change.with, error.message)));
    }
    let new = read.circuit.parts.into_iter().next();
    new.filter(|new| one_line && discriminant(&new.kind) == discriminant(&old.kind))
        .ok_or_else(|| {
            refused(format!(
                "`{}` is no part of the kind of {}.",
                change.with, old.name
            ))
        })
}

/// A polarised part goes in as the old one sat.
fn same_way_round(new: Kind, old: &Kind) -> Kind {
    match (new, old) {
        (
            Kind::Capacitor {
                farads,
                plus_first: None,
            },
            Kind::Capacitor { plus_first, .. },
        ) => Kind::Capacitor {
            farads,
            plus_first: *plus_first,
        },
        (new, _) => new,
    }
}

fn valve(
    circuit: &mut Circuit,
    library: &Library,
    id: PartId,
    was: wiring::circuit::Valve,
    name: &str,
    change: &Instead,
) -> Result<(), Refused> {
    let Some(new) = library.find(name) else {
        return Err(Refused {
            what: format!("`{name}` has no data sheet here."),
            remedy: "`tubewright valves` lists the types; your own sheets come by `--valves-file`."
                .to_owned(),
        });
    };
    let old = library.find(was.type_in_socket());
    if let Some(old) = old.filter(|old| old.base != new.base) {
        return Err(Refused {
            what: format!(
                "{} is a {} and does not go into the socket of {}, {}.",
                new.name,
                new.base.word(),
                change.part,
                old.base.word()
            ),
            remedy: "Another socket is other wiring: change it in the wiring and compare the two."
                .to_owned(),
        });
    }
    if let Some(part) = circuit.parts.get_mut(id.0) {
        part.known.reading = None;
        part.kind = Kind::Valve(wiring::circuit::Valve {
            fitted: (name != was.meant).then(|| name.to_owned()),
            emission: None,
            like: None,
            ..was
        });
    }
    Ok(())
}

/// Diodes from each plate to the cathode in the place of a rectifier; its heater is no longer there.
fn diodes(circuit: &mut Circuit, id: PartId, sheet: &wiring::sheet::Sheet) {
    let Some(old) = circuit.parts.get(id.0).cloned() else {
        return;
    };
    let node = |section: Option<char>, electrode: Electrode| {
        sheet.pins_of(section, electrode).find_map(|pin| {
            let name = pin.to_string();
            old.terminals.iter().find(|t| t.name == name)?.node
        })
    };
    let cathode = node(None, Electrode::Cathode);
    let mut plates: Vec<Option<wiring::NodeId>> = Vec::new();
    for section in [Some('a'), Some('b'), None] {
        let plate = node(section, Electrode::Plate);
        if plate.is_some() && !plates.contains(&plate) {
            plates.push(plate);
        }
    }
    for node in &mut circuit.nodes {
        node.terminals.retain(|(part, _)| *part != id);
    }
    for (count, plate) in plates.into_iter().enumerate() {
        let (place, name) = if count == 0 {
            (id, old.name.clone())
        } else {
            let name = format!("{}{}", old.name, char::from(b'a' + (count.min(25) as u8)));
            (PartId(circuit.parts.len()), name)
        };
        let part = Part {
            name,
            kind: Kind::Diode {
                sort: DiodeSort::Silicon(None),
            },
            terminals: vec![end("a", plate), end("k", cathode)],
            known: Known::default(),
            ..old.clone()
        };
        for (index, terminal) in part.terminals.iter().enumerate() {
            if let Some(node) = terminal.node.and_then(|n| circuit.nodes.get_mut(n.0)) {
                node.terminals.push((place, index));
            }
        }
        match circuit.parts.get_mut(place.0) {
            Some(slot) => *slot = part,
            None => circuit.parts.push(part),
        }
    }
}

fn end(name: &str, node: Option<wiring::NodeId>) -> Terminal {
    Terminal {
        name: name.to_owned(),
        node,
    }
}

#[cfg(test)]
mod tests;
