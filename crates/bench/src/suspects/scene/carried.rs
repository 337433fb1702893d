//! What the parts of a changed circuit carry.

use super::{Desk, Scene};
use crate::suspects::edit::Edit;
use solve::netlist::{Law, NodeIndex};

/// What one element carries at rest.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(in crate::suspects) struct Carried {
    /// Amperes through a resistance; of a valve its plate.
    pub(in crate::suspects) amps: f64,
    /// Watts in a resistance; of a valve in its plate.
    pub(in crate::suspects) watts: f64,
    /// Watts in a screen.
    pub(in crate::suspects) screen_watts: f64,
}

/// All that is carried.
#[derive(Debug, Clone, Default, PartialEq)]
pub(in crate::suspects) struct Load {
    /// By the element's index.
    pub(in crate::suspects) elements: Vec<Carried>,
    /// What all rectifiers give together, amperes.
    pub(in crate::suspects) rectified: f64,
}

impl Scene {
    /// With these changes made; none where there is no operating point.
    pub(in crate::suspects) fn load(&self, desk: &mut Desk, edits: &[Edit]) -> Option<Load> {
        let found = self.changed(desk, edits, false, &self.volts);
        let load = found.map(|(_, volts)| {
            let elements = desk.net.elements.iter();
            let elements: Vec<Carried> = elements.map(|e| carried(&e.law, &volts)).collect();
            let tangents = self.groups.iter().flat_map(|g| &g.tangents);
            let rectified = tangents.filter_map(|t| elements.get(*t));
            Load {
                rectified: rectified.map(|c| c.amps.abs()).sum(),
                elements,
            }
        });
        self.put_back(desk, edits);
        load
    }
}

pub(super) fn carried(law: &Law, volts: &[f64]) -> Carried {
    // the far end of a cut lead carries nothing to speak of
    let at = |n: NodeIndex| volts.get(n).copied();
    let whole = || -> Option<Carried> {
        Some(match law {
            Law::Resistor { a, b, ohms } => {
                let across = at(*a)? - at(*b)?;
                Carried {
                    amps: across / ohms,
                    watts: across * across / ohms,
                    screen_watts: 0.0,
                }
            }
            Law::Source {
                plus,
                minus,
                volts: emf,
                ohms,
            } => Carried {
                amps: (emf - (at(*plus)? - at(*minus)?)) / ohms,
                ..Carried::default()
            },
            Law::Triode {
                plate,
                grid,
                cathode,
                law,
            } => {
                let k = at(*cathode)?;
                let (p, g) = (at(*plate)? - k, at(*grid)? - k);
                let amps = law.currents(p, g).plate_a;
                Carried {
                    amps,
                    watts: amps * p,
                    screen_watts: 0.0,
                }
            }
            Law::Pentode {
                plate,
                screen,
                grid,
                cathode,
                law,
            } => {
                let k = at(*cathode)?;
                let (p, s, g) = (at(*plate)? - k, at(*screen)? - k, at(*grid)? - k);
                let currents = law.currents(p, s, g);
                Carried {
                    amps: currents.plate.amps,
                    watts: currents.plate.amps * p,
                    screen_watts: currents.screen.amps * s,
                }
            }
            _ => Carried::default(),
        })
    };
    whole().unwrap_or_default()
}
