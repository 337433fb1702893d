//! A fault as changes of a netlist.
//!
//! A hypothesis knows the part; an edit knows elements and nodes, and is made anew for each
//! condition, since a valve that is out of its socket is not in the netlist.

mod of_fault;

pub(super) use of_fault::edits;

use solve::netlist::{Element, Law, Netlist, NodeIndex, Rectifiers, Slot};

/// Name of the elements that stand for the currents of grids.
pub(super) const STRAY: &str = "stray";

/// One change of a netlist.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Edit {
    /// A number of an element times a factor.
    Scale { element: usize, slot: Slot, by: f64 },
    /// Ohms of a resistor.
    Ohms { element: usize, ohms: f64 },
    /// Ohms put in series with a resistor.
    More { element: usize, ohms: f64 },
    /// Ohms put beside a resistor.
    Beside { element: usize, ohms: f64 },
    /// Ohms in series with a capacitor.
    Esr { element: usize, ohms: f64 },
    /// Something more.
    Add { law: Law, cold: bool },
    /// A resistance in one lead of an element, by the terminal's number.
    Cut {
        element: usize,
        terminal: usize,
        ohms: f64,
    },
    /// The end of `below` and the start of `above` leave the wiper, and hang on it by so many ohms.
    Wiper {
        below: usize,
        above: usize,
        ohms: f64,
    },
    /// Grids that nothing holds drift down, not up.
    Drift,
    /// Two terminals of an element exchanged.
    Swap {
        element: usize,
        terminals: (usize, usize),
    },
}

impl Edit {
    /// Changes a netlist; false when it holds no such thing.
    pub(super) fn apply(&self, net: &mut Netlist) -> bool {
        match self {
            Self::Scale { element, slot, by } => {
                let Some(e) = net.elements.get_mut(*element) else {
                    return false;
                };
                let before = e.law.clone();
                e.scale(*slot, *by);
                e.law != before || *by == 1.0
            }
            Self::Ohms { element, ohms } => resistor(net, *element, |_| *ohms),
            Self::More { element, ohms } => resistor(net, *element, |r| r + ohms),
            Self::Beside { element, ohms } => {
                resistor(net, *element, |r| 1.0 / (1.0 / r + 1.0 / ohms))
            }
            Self::Esr { element, ohms } => {
                match net.elements.get_mut(*element).map(|e| &mut e.law) {
                    Some(Law::Capacitor { esr_ohms, .. }) => {
                        *esr_ohms += ohms;
                        true
                    }
                    _ => false,
                }
            }
            Self::Add { law, .. } => {
                net.elements.push(Element {
                    name: "fault".to_owned(),
                    law: law.clone(),
                });
                true
            }
            Self::Cut {
                element,
                terminal,
                ohms,
            } => {
                let end = net.nodes.len();
                let Some(law) = net.elements.get_mut(*element).map(|e| &mut e.law) else {
                    return false;
                };
                let mut ends = ends_mut(law);
                let Some(slot) = ends.get_mut(*terminal) else {
                    return false;
                };
                let was = **slot;
                **slot = end;
                net.nodes.push(format!("cut {was}"));
                net.elements.push(Element {
                    name: "fault".to_owned(),
                    law: Law::Resistor {
                        a: was,
                        b: end,
                        ohms: *ohms,
                    },
                });
                true
            }
            Self::Drift => {
                for element in net.elements.iter_mut().filter(|e| e.name == STRAY) {
                    if let Law::Source { volts, .. } = &mut element.law {
                        *volts = -*volts;
                    }
                }
                true
            }
            Self::Wiper { below, above, ohms } => {
                let loose = net.nodes.len();
                let Some(Law::Resistor { b: wiper, .. }) = net.elements.get(*below).map(|e| &e.law)
                else {
                    return false;
                };
                let wiper = *wiper;
                if let Some(Law::Resistor { b, .. }) =
                    net.elements.get_mut(*below).map(|e| &mut e.law)
                {
                    *b = loose;
                }
                if let Some(Law::Resistor { a, .. }) =
                    net.elements.get_mut(*above).map(|e| &mut e.law)
                {
                    *a = loose;
                }
                net.nodes.push(format!("cut {wiper}"));
                net.elements.push(Element {
                    name: "fault".to_owned(),
                    law: Law::Resistor {
                        a: wiper,
                        b: loose,
                        ohms: *ohms,
                    },
                });
                true
            }
            Self::Swap { element, terminals } => {
                let Some(law) = net.elements.get_mut(*element).map(|e| &mut e.law) else {
                    return false;
                };
                let mut ends = ends_mut(law);
                let (Some(a), Some(b)) = (
                    ends.get(terminals.0).map(|n| **n),
                    ends.get(terminals.1).map(|n| **n),
                ) else {
                    return false;
                };
                if let Some(slot) = ends.get_mut(terminals.0) {
                    **slot = b;
                }
                if let Some(slot) = ends.get_mut(terminals.1) {
                    **slot = a;
                }
                true
            }
        }
    }

    /// The elements it changes.
    pub(super) fn elements(&self) -> impl Iterator<Item = usize> {
        let (one, two) = match self {
            Self::Scale { element, .. }
            | Self::Ohms { element, .. }
            | Self::More { element, .. }
            | Self::Beside { element, .. }
            | Self::Esr { element, .. }
            | Self::Cut { element, .. }
            | Self::Swap { element, .. } => (Some(*element), None),
            Self::Wiper { below, above, .. } => (Some(*below), Some(*above)),
            Self::Add { .. } | Self::Drift => (None, None),
        };
        one.into_iter().chain(two)
    }

    /// The element whose value it says anew; a valve keeps the spread of its law.
    pub(super) fn valued(&self) -> Option<usize> {
        match self {
            Self::Scale {
                slot: Slot::Scale | Slot::Perveance,
                ..
            } => None,
            Self::Scale { element, .. }
            | Self::Ohms { element, .. }
            | Self::More { element, .. }
            | Self::Beside { element, .. } => Some(*element),
            _ => None,
        }
    }

    /// Does it join elements to other nodes, or bring new ones?
    pub(super) fn moves_leads(&self) -> bool {
        matches!(
            self,
            Self::Add { .. } | Self::Cut { .. } | Self::Swap { .. } | Self::Wiper { .. }
        )
    }

    /// Does it show with the power off?
    pub(super) fn holds_cold(&self) -> bool {
        match self {
            Self::Add { cold, .. } => *cold,
            Self::Cut { .. } | Self::Swap { .. } | Self::Drift => false,
            _ => true,
        }
    }

    /// Does it act before the rectifiers: on what drives them?
    pub(super) fn is_of_the_mains(&self, groups: &[&Rectifiers]) -> bool {
        match self {
            Self::Scale {
                element,
                slot: Slot::Perveance,
                ..
            } => !groups
                .iter()
                .any(|g| g.plates.iter().any(|p| p.element == *element)),
            Self::Scale { .. } | Self::Ohms { .. } => true,
            _ => false,
        }
    }
}

fn resistor(net: &mut Netlist, element: usize, to: impl Fn(f64) -> f64) -> bool {
    match net.elements.get_mut(element).map(|e| &mut e.law) {
        Some(
            Law::Resistor { ohms, .. } | Law::Inductor { ohms, .. } | Law::Source { ohms, .. },
        ) => {
            *ohms = to(*ohms);
            true
        }
        _ => false,
    }
}

/// The nodes of a law's terminals, in the order of [`Law::terminals`], of what can be cut.
fn ends_mut(law: &mut Law) -> Vec<&mut NodeIndex> {
    match law {
        Law::Triode {
            plate,
            grid,
            cathode,
            ..
        } => vec![plate, grid, cathode],
        Law::Pentode {
            plate,
            screen,
            grid,
            cathode,
            ..
        } => vec![plate, screen, grid, cathode],
        Law::Resistor { a, b, .. } => vec![a, b],
        _ => Vec::new(),
    }
}
