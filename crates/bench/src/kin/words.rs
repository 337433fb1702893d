//! Words for what stands in a graph: a part, a place where wires meet, a value in its own unit.

use super::graph::{NONE, Sort, Thing};
use wiring::Circuit;
use wiring::circuit::{Electrode, Kind, PartId};
use wiring::units::{Quantity, engineering};

pub(super) fn nets_of(thing: &Thing) -> Vec<usize> {
    let mut nets: Vec<usize> = Vec::new();
    for end in &thing.ends {
        if end.net != NONE && !nets.contains(&end.net) {
            nets.push(end.net);
        }
    }
    nets.truncate(3);
    nets
}

pub(super) fn between(nets: &[String]) -> String {
    match nets {
        [] => "joined to nothing".to_owned(),
        [one] => format!("on {one}"),
        [one, two] => format!("from {one} to {two}"),
        [one, two, three, ..] => format!("on {one}, {two} and {three}"),
    }
}

/// `V4.7 (grid)`.
pub(super) fn electrode_name(circuit: &Circuit, part: PartId, terminal: usize) -> String {
    let whole = &circuit.parts[part.0];
    let pin = &whole.terminals[terminal].name;
    let Kind::Valve(valve) = &whole.kind else {
        return format!("{}.{pin}", whole.name);
    };
    let what = valve
        .electrodes
        .iter()
        .find(|u| u.terminal == terminal)
        .map(|u| match u.electrode {
            Electrode::Plate => "plate",
            Electrode::Grid => "grid",
            Electrode::Cathode => "cathode",
            Electrode::Screen => "screen",
            Electrode::Suppressor => "suppressor",
            Electrode::Heater1 | Electrode::Heater2 | Electrode::HeaterTap => "heater",
            Electrode::Shield => "shield",
            Electrode::Internal => "free pin",
        });
    match what {
        Some(what) => format!("{}.{pin} ({what})", whole.name),
        None => format!("{}.{pin}", whole.name),
    }
}

/// What to call a net: its own name, else a valve's pin, else the first end on it.
pub(super) fn net_name(circuit: &Circuit, net: usize, but: Option<PartId>) -> String {
    let Some(node) = circuit.nodes.get(net) else {
        return "nothing".to_owned();
    };
    if net == 0 {
        return "ground".to_owned();
    }
    if let Some(name) = node.names.first() {
        return name.clone();
    }
    let others = || node.terminals.iter().filter(|(p, _)| Some(*p) != but);
    let rank = |kind: &Kind| match kind {
        Kind::Valve(_) => 0,
        Kind::OutputTransformer(_) | Kind::PowerTransformer(_) | Kind::CouplingTransformer(_) => 1,
        Kind::Pot { .. } | Kind::Jack { .. } | Kind::Switch { .. } => 2,
        _ => 3,
    };
    match others().min_by_key(|(p, _)| rank(&circuit.parts[p.0].kind)) {
        Some((p, t)) if rank(&circuit.parts[p.0].kind) == 3 => {
            format!("{}'s end", circuit.parts[p.0].name) + if *t > 1 { "s" } else { "" }
        }
        Some((p, t)) => electrode_name(circuit, *p, *t),
        None => "nothing else".to_owned(),
    }
}

/// What tells a part from another of its sort, for a label on a drawing: its value, else its type.
pub(super) fn short(circuit: &Circuit, thing: &Thing) -> String {
    match thing.value {
        Some(value) if thing.made.is_empty() => written(thing.sort, value),
        Some(value) => format!("{} {}", written(thing.sort, value), thing.made),
        None => described(circuit, thing),
    }
}

/// `12AX7`, `100k`, `22 nF`, `audio pot 1M`.
pub(super) fn described(circuit: &Circuit, thing: &Thing) -> String {
    let value = thing.value.map(|v| written(thing.sort, v));
    let word = match thing.sort {
        Sort::Resistor => "resistor",
        Sort::Choke => "choke",
        Sort::Capacitor => "capacitor",
        Sort::Diode => "diode",
        Sort::Bridge => "bridge rectifier",
        Sort::Lamp => "lamp",
        Sort::Cell => "photo-resistor",
        Sort::Fuse => "fuse",
        Sort::Switch => "switch",
        Sort::Jack => "jack",
        Sort::Pot => "control",
        Sort::Section | Sort::RectifierValve | Sort::Regulator | Sort::Heater => "valve",
        Sort::Mains => "mains transformer",
        Sort::Output => "output transformer",
        Sort::Coupling => "transformer",
        Sort::Tank => "spring tank",
        Sort::Speaker => "loudspeaker",
        Sort::Supply => "supply",
        Sort::Generator => "generator",
        Sort::Gain => "ideal amplifier",
        Sort::Other => "part",
    };
    match thing.sort {
        Sort::Section | Sort::RectifierValve | Sort::Regulator | Sort::Heater => thing.made.clone(),
        Sort::Mains => match &circuit.parts[thing.part.0].kind {
            Kind::PowerTransformer(t) => {
                let windings: Vec<String> = t
                    .windings
                    .iter()
                    .map(|w| {
                        let volts: Vec<String> = w
                            .taps
                            .iter()
                            .map(|(_, v)| format!("{}", (v.abs() * 100.0).round() / 100.0))
                            .collect();
                        let volts = if let [one, zero] = volts.as_slice()
                            && zero == "0"
                        {
                            one.clone()
                        } else {
                            volts.join("-")
                        };
                        format!("{} {volts} V", w.name)
                    })
                    .collect();
                format!("mains transformer {}", windings.join(", "))
            }
            _ => word.to_owned(),
        },
        Sort::Fuse => join(&[value.as_deref(), Some(thing.made.as_str()), Some(word)]),
        Sort::Switch if thing.made == "1" => word.to_owned(),
        Sort::Switch => format!("switch of {} throws", thing.made),
        Sort::Other if !thing.made.is_empty() => format!("box {}", thing.made),
        Sort::Other => word.to_owned(),
        _ => join(&[value.as_deref(), Some(thing.made.as_str()), Some(word)]),
    }
}

fn join(words: &[Option<&str>]) -> String {
    words
        .iter()
        .flatten()
        .filter(|w| !w.is_empty())
        .copied()
        .collect::<Vec<_>>()
        .join(" ")
}

/// A value in its own unit.
pub(super) fn written(sort: Sort, value: f64) -> String {
    let quantity = match sort {
        Sort::Capacitor => Quantity::Farads,
        Sort::Choke => Quantity::Henries,
        Sort::Fuse => Quantity::Amps,
        Sort::Diode | Sort::Supply => Quantity::Volts,
        Sort::Coupling | Sort::Gain => return format!("{value}"),
        _ => Quantity::Ohms,
    };
    if sort == Sort::Capacitor || sort == Sort::Resistor {
        return wiring::units::rounded(value, quantity, 4);
    }
    engineering(value, quantity)
}
