//! From followed walks to the circuit: nodes, joins inside valves, ground and chassis, notes.

use crate::attach::{attach, label};
use crate::circuit::{Circuit, Electrode, Heading, Kind, Node, NodeId, Position, Setting};
use crate::codes;
use crate::collect::{self, Drafts};
use crate::names;
use crate::net::{Elem, Joins};
use crate::parts::Parts;
use crate::problems::Problems;
use crate::sheet::Library;
use crate::statement::Shape;
use crate::walk::{Wirer, may_pass};
use std::collections::HashMap;

/// Makes the circuit of the statements; readings and headings are read elsewhere.
pub(crate) fn resolve(
    shapes: &[Shape<'_>],
    heading: Heading,
    sets: Vec<Setting>,
    library: &Library,
    problems: &mut Problems,
) -> Circuit {
    let drafts: Drafts = collect::collect(shapes, library, problems);
    let parts = Parts::build(&drafts, library, problems);
    let mut wirer = Wirer::new(parts, problems);
    wirer.follow(shapes);
    attach(&mut wirer);
    doubled_pins(&mut wirer);
    ground_and_chassis(&mut wirer);
    mains(&mut wirer);
    notes(&mut wirer);
    lamps_and_shafts(&mut wirer);
    check_sets(&mut wirer, &sets);
    finish(wirer, heading, sets)
}

/// Pins that carry the same electrode are one inside the valve.
fn doubled_pins(wirer: &mut Wirer<'_>) {
    for at in 0..wirer.parts.list.len() {
        let mut by_use: Vec<((Option<char>, Electrode), usize)> = Vec::new();
        let mut pairs: Vec<(usize, usize)> = Vec::new();
        if let Some(part) = wirer.parts.list.get(at)
            && let Kind::Valve(valve) = &part.kind
        {
            for u in &valve.electrodes {
                if u.electrode == Electrode::Internal {
                    continue;
                }
                let key = (u.section, u.electrode);
                match by_use.iter().find(|(k, t)| *k == key && *t != u.terminal) {
                    Some((_, other)) => pairs.push((*other, u.terminal)),
                    None => by_use.push((key, u.terminal)),
                }
            }
        }
        for (a, b) in pairs {
            let (known_a, known_b) = (wirer.known_end(at, a), wirer.known_end(at, b));
            let Some(elem) = known_a.or(known_b) else {
                continue;
            };
            let place = wirer.net.place(elem);
            let (a, b) = (wirer.end(at, a, place), wirer.end(at, b, place));
            wirer.net.join(a, b);
        }
    }
}

fn ground_and_chassis(wirer: &mut Wirer<'_>) {
    let ground = wirer.ground;
    let Some(chassis) = wirer.bare_elem("chassis") else {
        return;
    };
    if wirer.apart.is_none() {
        // A part whose two ends are the two of them keeps them apart, wherever it was traced.
        wirer.apart = (0..wirer.parts.list.len()).find_map(|at| {
            let part = wirer.parts.list.get(at)?;
            if part.terminals.len() != 2 {
                return None;
            }
            let (a, b) = (wirer.known_end(at, 0)?, wirer.known_end(at, 1)?);
            let net = &wirer.net;
            let between = net.same(a, ground) && net.same(b, chassis)
                || net.same(a, chassis) && net.same(b, ground);
            (between && !net.same(ground, chassis)).then_some(part.place)
        });
    }
    match wirer.apart {
        None => wirer.net.join(ground, chassis),
        Some(place) if wirer.net.same(ground, chassis) => wirer.problems.add(
            codes::APART_YET_JOINED,
            place,
            "Ground and chassis are kept apart here, but other walks join them by wire.",
            "Find the walk that joins them, or take out what keeps them apart.",
        ),
        Some(_) => {}
    }
}

/// Live joined by wire to any of the others is never meant.
fn mains(wirer: &mut Wirer<'_>) {
    let Some(live) = wirer.bare_elem("live") else {
        return;
    };
    for other in ["neutral", "earth", "chassis", "ground"] {
        if let Some(elem) = wirer.bare_elem(other)
            && wirer.net.same(live, elem)
        {
            wirer.problems.add(
                codes::MAINS_JOINED,
                wirer.net.place(live),
                format!("`live` is joined to `{other}` by wire, with no part between."),
                "Trace this again before anything is plugged in; name the part that lies between.",
            );
            return;
        }
    }
}

fn notes(wirer: &mut Wirer<'_>) {
    let names = std::mem::take(&mut wirer.bare_order);
    for (name, elem) in &names {
        let quiet = names::FIXED.contains(&name.as_str()) || wirer.net.unused(*elem).is_some();
        if wirer.net.count(*elem) != 1 || quiet {
            continue;
        }
        let near = wirer.nearest(name, &names);
        let advice = match near {
            Some(near) => {
                format!("If you meant `{near}`, type that; if it is a loose end, leave it.")
            }
            None => "If it is a loose end, leave it.".to_owned(),
        };
        wirer.problems.add(
            codes::NAMED_ONCE,
            wirer.net.place(*elem),
            format!("`{name}` occurs only once."),
            advice,
        );
    }
    wirer.bare_order = names;
    loose_ends(wirer);
    for (name, sections, place) in wirer.parts.cans.clone() {
        let Some(common) = wirer.bare_elem(&format!("{name}.can")) else {
            continue;
        };
        let wired = sections.iter().any(|s| wirer.known_end(*s, 0).is_some());
        if wired && !wirer.net.is_touched(common) {
            wirer.problems.add(
                codes::LOOSE_END,
                place,
                format!("No walk has reached the common minus of `{name}`."),
                format!("Type `{name}.can - ground` when you have seen where it goes."),
            );
        }
    }
}

fn loose_ends(wirer: &mut Wirer<'_>) {
    for at in 0..wirer.parts.list.len() {
        let Some(part) = wirer.parts.list.get(at) else {
            continue;
        };
        if wirer.is_removed(at) || matches!(part.kind, Kind::Unknown | Kind::Box { .. }) {
            continue;
        }
        let (name, place) = (part.name.clone(), part.place);
        let reached: Vec<bool> = (0..part.terminals.len())
            .map(|t| {
                wirer
                    .known_end(at, t)
                    .is_some_and(|e| wirer.net.is_touched(e))
            })
            .collect();
        let can = part.parent.is_some() && matches!(part.kind, Kind::Capacitor { .. });
        let none = reached.iter().all(|r| !r) || can && !reached.first().copied().unwrap_or(false);
        if none {
            wirer.problems.add(
                codes::NOT_WIRED,
                place,
                format!("No walk has reached `{name}` yet."),
                "Trace it, or mark it `removed` if it is no longer there.",
            );
        } else if may_pass(&part.kind) && reached.len() == 2 && !can {
            let loose = reached.iter().position(|r| !r);
            if let Some(loose) = loose
                && let Some(terminal) = part.terminals.get(loose)
            {
                let other = label(wirer, wirer.known_end(at, 1 - loose));
                let end = format!("{name}.{}", terminal.name);
                wirer.problems.add(
                    codes::LOOSE_END,
                    place,
                    format!("One end of `{name}` is on {other}; no walk has reached the other."),
                    format!("Go on from there: `{end} - ...`, or `{end} unused \"cut off\"`."),
                );
            }
        }
    }
    for at in 0..wirer.parts.list.len() {
        let ends = (wirer.known_end(at, 0), wirer.known_end(at, 1));
        if let Some(part) = wirer.parts.list.get(at)
            && part.terminals.len() == 2
            && may_pass(&part.kind)
            && let (Some(a), Some(b)) = ends
            && wirer.net.same(a, b)
        {
            let (name, place) = (part.name.clone(), part.place);
            let at = label(wirer, ends.0);
            wirer.problems.add(
                codes::BOTH_ENDS,
                place,
                format!("Both ends of `{name}` are on {at}."),
                "If a wire bridges it, leave it; if not, correct the walk.",
            );
        }
    }
}

fn lamps_and_shafts(wirer: &mut Wirer<'_>) {
    for at in 0..wirer.parts.list.len() {
        let Some(part) = wirer.parts.list.get(at) else {
            continue;
        };
        let place = part.place;
        let name = part.name.clone();
        match &part.kind {
            Kind::Cell { lamp, .. } if !lamp.is_empty() => {
                let lit = wirer
                    .parts
                    .part(lamp)
                    .is_some_and(|p| matches!(p.kind, Kind::Lamp { .. }));
                if !lit {
                    let lamp = lamp.clone();
                    wirer.problems.add(
                        codes::LAMP_UNKNOWN,
                        place,
                        format!("`{name}` is lit by `{lamp}`, and there is no lamp of that name."),
                        format!(
                            "Add `{lamp} neon` or `{lamp} lamp 6.3V 150mA`, or correct the name."
                        ),
                    );
                }
            }
            Kind::Pot {
                switch: Some(switch),
                ..
            } if !wirer.parts.is_part(switch)
                && (part.parent.is_none() || part.name.ends_with('a')) =>
            {
                let switch = switch.clone();
                wirer.problems.add(
                    codes::SWITCH_UNKNOWN,
                    place,
                    format!("The switch `{switch}` on the shaft of `{name}` is described nowhere."),
                    format!("Add `{switch} switch closed` and walk through it."),
                );
            }
            _ => {}
        }
    }
}

/// Is `to` a position of the control called `name`? The sentence and advice if not.
pub(crate) fn set_problem(
    circuit_parts: &[crate::circuit::Part],
    set: &Setting,
) -> Option<(codes::Code, String, String)> {
    let owned = |p: &&crate::circuit::Part| {
        p.name == set.name || p.parent.as_deref() == Some(set.name.as_str())
    };
    let name = &set.name;
    let kind = circuit_parts
        .iter()
        .find(owned)
        .map(|p| &p.kind)
        .filter(|k| {
            matches!(
                k,
                Kind::Pot { .. } | Kind::Switch { .. } | Kind::Jack { .. } | Kind::Unknown
            )
        });
    let Some(kind) = kind else {
        let controls = circuit_parts.iter().filter(|p| {
            matches!(
                p.kind,
                Kind::Pot { .. } | Kind::Switch { .. } | Kind::Jack { .. }
            )
        });
        let near = names::nearest(
            name,
            controls.map(|p| p.parent.as_deref().unwrap_or(&p.name)),
        );
        let advice = match near {
            Some(near) => format!("Did you mean `{near}`?"),
            None => format!("Describe it, like `{name} pot 1M audio`."),
        };
        return Some((
            codes::SET_UNKNOWN,
            format!("`{name}` is no knob, switch or jack of this wiring."),
            advice,
        ));
    };
    let fine = match (kind, set.to) {
        (Kind::Unknown, _) => true,
        (Kind::Pot { .. }, Position::Number(n)) => (0.0..=10.0).contains(&n),
        (Kind::Switch { throws: 1, .. }, Position::Number(n)) => n == 0.0 || n == 1.0,
        (Kind::Switch { throws, .. }, Position::Number(n)) => {
            n.fract() == 0.0 && n >= 1.0 && n <= f64::from(u32::try_from(*throws).unwrap_or(1))
        }
        (Kind::Switch { throws: 1, .. }, Position::Closed | Position::Open) => true,
        (Kind::Switch { .. }, Position::Open) => true,
        (Kind::Jack { .. }, Position::Plugged | Position::Unplugged) => true,
        _ => false,
    };
    if fine {
        return None;
    }
    let (message, advice) = match kind {
        Kind::Pot { .. } => (
            "is a knob that goes from 0 to 10".to_owned(),
            format!("Type `set {name} 5`."),
        ),
        Kind::Switch { throws: 1, .. } => (
            "is a switch that is open or closed".to_owned(),
            format!("Type `set {name} closed` or `set {name} open`."),
        ),
        Kind::Switch { throws, .. } => (
            format!("is a switch with positions 1 to {throws}"),
            format!("Type `set {name} 1`."),
        ),
        _ => (
            "is a jack, with a plug in it or not".to_owned(),
            format!("Type `set {name} plugged` or `set {name} unplugged`."),
        ),
    };
    Some((codes::SET_UNCLEAR, format!("`{name}` {message}."), advice))
}

fn check_sets(wirer: &mut Wirer<'_>, sets: &[Setting]) {
    for set in sets {
        if let Some((code, message, advice)) = set_problem(&wirer.parts.list, set) {
            wirer.problems.add(code, set.place, message, advice);
        }
    }
    let set: std::collections::HashSet<&str> = sets.iter().map(|s| s.name.as_str()).collect();
    let mut said: std::collections::HashSet<&str> = std::collections::HashSet::new();
    for part in &wirer.parts.list {
        let name = part.parent.as_deref().unwrap_or(&part.name);
        if matches!(part.kind, Kind::Pot { .. })
            && !set.contains(name)
            && !set.contains(part.name.as_str())
            && said.insert(name)
        {
            wirer.problems.add(
                codes::KNOB_NOT_SET,
                part.place,
                format!("Nothing says where the knob `{name}` stands; it is taken at 5."),
                format!("Add `set {name} 5`, or where it stands."),
            );
        }
    }
}

fn finish(wirer: Wirer<'_>, heading: Heading, sets: Vec<Setting>) -> Circuit {
    let net = &wirer.net;
    let mut nodes = vec![Node::default()];
    let mut id_of: HashMap<Elem, usize> = HashMap::from([(net.root(wirer.ground), 0)]);
    let mut parts = wirer.parts.list;
    for elem in 0..net.len() {
        let joins = match net.joins(elem) {
            Some(Joins::Junction) | None => continue,
            Some(joins) => joins,
        };
        let root = net.root(elem);
        let next = nodes.len();
        let id = *id_of.entry(root).or_insert(next);
        if id == next {
            nodes.push(Node {
                assumed: !net.is_seen(elem) && net.is_touched(elem),
                unused: net.unused(elem),
                ..Node::default()
            });
        }
        let Some(node) = nodes.get_mut(id) else {
            continue;
        };
        match joins {
            Joins::Bare(name) => node.names.push(name.clone()),
            Joins::Terminal(part, terminal) => {
                node.terminals
                    .push((crate::circuit::PartId(*part), *terminal));
                if let Some(t) = parts
                    .get_mut(*part)
                    .and_then(|p| p.terminals.get_mut(*terminal))
                {
                    t.node = Some(NodeId(id));
                }
            }
            Joins::Junction => {}
        }
    }
    if let Some(ground) = nodes.first_mut() {
        ground.unused = net.unused(wirer.ground);
        ground.assumed = net.is_touched(wirer.ground) && !net.is_seen(wirer.ground);
    }
    for (at, part) in parts.iter_mut().enumerate() {
        let wired = part.terminals.iter().any(|t| t.node.is_some());
        part.assumed = wired && !wirer.seen_parts.contains(&at);
    }
    Circuit {
        assumed_walks: 0, // counted by the reader, which sees the walks
        heading,
        parts,
        nodes,
        sets,
        readings: Vec::new(),
    }
}
