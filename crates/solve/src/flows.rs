//! Currents and powers of each element at an operating point.
//!
//! Worked out from the laws and the volts, one element at a time, by other code than the
//! equations use; so the sum of currents at a node and the balance of powers check the
//! equations too.

use crate::equations::{AMPLIFIER_OHMS, FLOOR_SIEMENS, LEAK_SIEMENS};
use crate::netlist::{Law, Netlist, NodeIndex};
use crate::operating::Solution;

/// What an element turns into heat and what it feeds into the circuit, watts.
///
/// Heat less feed is what flows into its terminals, so both sums over a circuit are equal.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Power {
    /// Heat, at least 0 for every passive element and valve.
    pub dissipated: f64,
    /// Fed into the circuit: the emf of a source times its current (below 0 where a source is
    /// charged), what an ideal amplifier gives, what rectifier plates bring over from the
    /// alternating side.
    pub delivered: f64,
}

impl Law {
    /// The element's terminals, in the order of [`terminal_currents`]: plate, (screen,) grid,
    /// cathode of a valve; plus, minus of a source; input, output of an amplifier; both ends
    /// of each winding; plate and cathode of each rectifier plate; otherwise both ends.
    #[must_use]
    pub fn terminals(&self) -> Vec<NodeIndex> {
        match self {
            Law::Resistor { a, b, .. }
            | Law::Capacitor { a, b, .. }
            | Law::Inductor { a, b, .. }
            | Law::Alternating { a, b, .. }
            | Law::Filament { a, b, .. }
            | Law::Neon { a, b, .. }
            | Law::Diode { a, k: b, .. }
            | Law::Source {
                plus: a, minus: b, ..
            }
            | Law::Amplifier {
                input: a,
                output: b,
                ..
            } => vec![*a, *b],
            Law::Transformer(transformer) => transformer
                .windings
                .iter()
                .flat_map(|winding| [winding.a, winding.b])
                .collect(),
            Law::Triode {
                plate,
                grid,
                cathode,
                ..
            } => vec![*plate, *grid, *cathode],
            Law::Pentode {
                plate,
                screen,
                grid,
                cathode,
                ..
            } => vec![*plate, *screen, *grid, *cathode],
            Law::Rectifiers(group) => group
                .plates
                .iter()
                .flat_map(|plate| [plate.plate, plate.cathode])
                .collect(),
        }
    }
}

/// Conventional currents into the terminals of element number `element`, amperes, in the order
/// of [`Law::terminals`]; empty if there is no such element.
///
/// An amplifier's output current comes back through ground, so only its own do not sum to 0.
#[must_use]
pub fn terminal_currents(netlist: &Netlist, solution: &Solution, element: usize) -> Vec<f64> {
    let Some(part) = netlist.elements.get(element) else {
        return Vec::new();
    };
    let amplifiers = || {
        netlist
            .elements
            .iter()
            .take(element)
            .filter(|element| matches!(element.law, Law::Amplifier { .. }))
            .count()
    };
    let output_amps = match part.law {
        Law::Amplifier { .. } => solution.amplifier_amps.get(amplifiers()).copied(),
        _ => None,
    };
    let lit = solution.lit.contains(&element);
    currents_of(&part.law, solution, lit, output_amps.unwrap_or(0.0))
}

/// Currents into the terminals of a law at the volts of `solution`.
pub(crate) fn currents_of(law: &Law, solution: &Solution, lit: bool, output_amps: f64) -> Vec<f64> {
    let across = |a: NodeIndex, b: NodeIndex| solution.across(a, b);
    match law {
        Law::Capacitor { .. } => pair(0.0),
        Law::Resistor { a, b, ohms }
        | Law::Inductor { a, b, ohms, .. }
        | Law::Alternating { a, b, ohms, .. } => pair(across(*a, *b) / ohms),
        Law::Source {
            plus,
            minus,
            volts,
            ohms,
        } => pair(solution.across_less(*plus, *minus, *volts) / ohms),
        Law::Transformer(transformer) => transformer
            .windings
            .iter()
            .flat_map(|winding| pair(across(winding.a, winding.b) / winding.ohms))
            .collect(),
        Law::Amplifier { .. } => vec![0.0, output_amps],
        Law::Filament { a, b, law } => pair(law.current(across(*a, *b)).0),
        Law::Diode { .. } | Law::Neon { .. } | Law::Triode { .. } | Law::Pentode { .. } => {
            without_memory(law, across, || lit)
        }
        Law::Rectifiers(group) => {
            let volts: Vec<f64> = group
                .plates
                .iter()
                .map(|plate| across(plate.plate, plate.cathode))
                .collect();
            let amps = group.amps_from(&mut solution.cycle_of(group), &volts);
            amps.into_iter().flat_map(pair).collect()
        }
    }
}

/// Currents into the terminals of what follows its volts at once (diodes, glow lamps, valves), `across`
/// giving the volts between two nodes; of anything else none.
pub(crate) fn without_memory(
    law: &Law,
    across: impl Fn(NodeIndex, NodeIndex) -> f64,
    lit: impl Fn() -> bool,
) -> Vec<f64> {
    match law {
        Law::Diode { a, k, law } => pair(law.current(across(*a, *k)).0),
        Law::Neon { a, b, law } => pair(law.current(across(*a, *b), lit()).0),
        Law::Triode {
            plate,
            grid,
            cathode,
            law,
        } => {
            let volts = across(*plate, *cathode);
            let at = law.currents(volts, across(*grid, *cathode));
            let plate = at.plate_a + LEAK_SIEMENS * volts;
            vec![plate, at.grid_a, -(plate + at.grid_a)]
        }
        Law::Pentode {
            plate,
            screen,
            grid,
            cathode,
            law,
        } => {
            let volts = across(*plate, *cathode);
            let at = law.currents(volts, across(*screen, *cathode), across(*grid, *cathode));
            let plate = at.plate.amps + LEAK_SIEMENS * volts;
            let (screen, grid) = (at.screen.amps, at.grid.amps);
            vec![plate, screen, grid, -(plate + screen + grid)]
        }
        _ => Vec::new(),
    }
}

/// In at one end, out at the other.
pub(crate) fn pair(amps: f64) -> Vec<f64> {
    vec![amps, -amps]
}

/// Powers of element number `element`; none if there is no such element.
#[must_use]
pub fn power(netlist: &Netlist, solution: &Solution, element: usize) -> Power {
    let Some(part) = netlist.elements.get(element) else {
        return Power::default();
    };
    let amps = terminal_currents(netlist, solution, element);
    let terminals = part.law.terminals();
    // What flows in, every terminal's volts taken against the last one's, so that a valve at
    // 400 V does not lose digits; an amplifier's come back through ground.
    let reference = match part.law {
        Law::Amplifier { .. } => 0,
        _ => terminals.last().copied().unwrap_or(0),
    };
    let flows_in: f64 = match &part.law {
        Law::Transformer(_) | Law::Rectifiers(_) => terminals
            .chunks(2)
            .zip(amps.chunks(2))
            .map(|(ends, amps)| match (ends, amps) {
                ([a, b], [into, ..]) => solution.across(*a, *b) * into,
                _ => 0.0,
            })
            .sum(),
        _ => terminals
            .iter()
            .zip(&amps)
            .map(|(&node, amps)| solution.across(node, reference) * amps)
            .sum(),
    };
    match part.law {
        Law::Source { ohms, .. } => {
            let current = amps.first().copied().unwrap_or(0.0);
            let dissipated = ohms * current * current;
            Power {
                dissipated,
                delivered: dissipated - flows_in,
            }
        }
        Law::Amplifier { .. } => {
            let current = amps.last().copied().unwrap_or(0.0);
            let dissipated = AMPLIFIER_OHMS * current * current;
            Power {
                dissipated,
                delivered: dissipated - flows_in,
            }
        }
        Law::Rectifiers(_) => Power {
            dissipated: 0.0,
            delivered: -flows_in,
        },
        _ => Power {
            dissipated: flows_in,
            delivered: 0.0,
        },
    }
}

/// Sums of both powers over the circuit, the floor conductances included; they are equal at an
/// operating point.
#[must_use]
pub fn power_balance(netlist: &Netlist, solution: &Solution) -> Power {
    let mut total = Power::default();
    for &volts in solution.volts.iter().skip(1) {
        total.dissipated += FLOOR_SIEMENS * volts * volts;
    }
    for element in 0..netlist.elements.len() {
        let Power {
            dissipated,
            delivered,
        } = power(netlist, solution, element);
        total.dissipated += dissipated;
        total.delivered += delivered;
    }
    total
}
