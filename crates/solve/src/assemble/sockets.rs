//! Which electrode of the valve that is in a socket sits on which of its pins.
//!
//! The wiring names the pins of the socket; what is on them is the fitted valve's affair.

use wiring::Part;
use wiring::circuit::{Electrode, PinUse, Valve};
use wiring::sheet::Sheet;

use super::builder::Builder;
use super::defaults::LINK_OHMS;
use crate::netlist::NodeIndex;

/// A valve in its socket.
pub(super) struct Socket<'a> {
    pub(super) part: &'a Part,
    /// The sheet of what is fitted, or of the type it is said to be like.
    pub(super) sheet: Option<&'a Sheet>,
    pub(super) uses: Vec<PinUse>,
}

impl<'a> Socket<'a> {
    /// The fitted valve's electrodes at the pins of the socket it sits in.
    pub(super) fn new(b: &Builder<'a>, part: &'a Part, valve: &Valve) -> Self {
        let own = b.sheet(valve.type_in_socket());
        let like = valve.like.as_deref().and_then(|t| b.sheet(t));
        let sheet = own.or(like);
        // Pins that were described for the type go first, but not for another valve in its place.
        let described = valve.fitted.is_none() && !valve.electrodes.is_empty();
        let uses = match sheet {
            Some(sheet) if !described => by_sheet(part, sheet),
            _ => valve.electrodes.clone(),
        };
        Self { part, sheet, uses }
    }

    /// Letters of the sections, `None` for a valve that has one.
    pub(super) fn sections(&self) -> Vec<Option<char>> {
        let mut letters = Vec::new();
        for u in &self.uses {
            if u.electrode == Electrode::Plate && !letters.contains(&u.section) {
                letters.push(u.section);
            }
        }
        letters
    }

    pub(super) fn has(&self, section: Option<char>, electrode: Electrode) -> bool {
        self.pins(section, electrode).next().is_some()
    }

    /// Terminals that carry an electrode of a section, or one that all sections share.
    pub(super) fn pins(
        &self,
        section: Option<char>,
        electrode: Electrode,
    ) -> impl Iterator<Item = usize> + '_ {
        let own = move |u: &&PinUse| {
            u.electrode == electrode && (u.section == section || u.section.is_none())
        };
        self.uses.iter().filter(own).map(|u| u.terminal)
    }

    /// True if a walk reaches a pin of the electrode.
    pub(super) fn is_wired(
        &self,
        b: &Builder<'_>,
        section: Option<char>,
        electrode: Electrode,
    ) -> bool {
        self.pins(section, electrode)
            .any(|t| b.wired(self.part, t).is_some())
    }

    /// The node of an electrode. Pins that are joined inside the valve join what is wired to them.
    pub(super) fn node(
        &self,
        b: &mut Builder<'_>,
        section: Option<char>,
        electrode: Electrode,
    ) -> Option<NodeIndex> {
        let pins: Vec<usize> = self.pins(section, electrode).collect();
        let mut first = None;
        for pin in pins {
            let Some(node) = b.at(self.part, pin) else {
                continue;
            };
            match first {
                None => first = Some(node),
                Some(first) if first != node => {
                    let name = format!("{} pins", self.part.name);
                    let joined = b
                        .out
                        .elements_of
                        .get(&self.part.name)
                        .into_iter()
                        .flatten()
                        .any(|e| b.is_resistor_between(*e, first, node));
                    if !joined {
                        b.resistor(&self.part.name, name, (first, node), LINK_OHMS);
                    }
                }
                Some(_) => {}
            }
        }
        first
    }
}

fn by_sheet(part: &Part, sheet: &Sheet) -> Vec<PinUse> {
    let mut uses = Vec::new();
    for (terminal, t) in part.terminals.iter().enumerate() {
        let pin = sheet.pins.iter().find(|p| p.number.to_string() == t.name);
        for u in pin.into_iter().flat_map(|p| &p.uses) {
            uses.push(PinUse {
                terminal,
                section: u.section,
                electrode: u.electrode,
            });
        }
    }
    uses
}
