#![allow(clippy::unwrap_used, reason = "tests")]

use super::*;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use wiring::circuit::{Kind, NodeId, Part, PartId};

const STAGE: &str = include_str!("../../../../examples/stage.wiring");
const PIP: &str = include_str!("../../../../examples/pip.wiring");
const CURLEW: &str = include_str!("../../../../examples/curlew.wiring");
const TURNSTONE: &str = include_str!("../../../../examples/turnstone.wiring");

fn circuit(text: &str) -> Circuit {
    wiring::read_one(text).circuit
}

fn compare(amp: &Circuit, drawing: &Circuit) -> DrawingKin {
    let drawings = [Drawing {
        name: "it",
        circuit: drawing,
    }];
    kin(amp, Library::built_in(), &drawings).drawings.remove(0)
}

struct Dice(ChaCha8Rng);

impl Dice {
    fn below(&mut self, n: usize) -> usize {
        self.0.next_u32() as usize % n.max(1)
    }
    fn order(&mut self, n: usize) -> Vec<usize> {
        let mut order: Vec<usize> = (0..n).collect();
        for i in (1..n).rev() {
            order.swap(i, self.below(i + 1));
        }
        order
    }
}

/// The terminals of the nodes anew, from those of the parts.
fn rewire(c: &mut Circuit) {
    for node in &mut c.nodes {
        node.terminals.clear();
    }
    for (i, part) in c.parts.iter().enumerate() {
        for (t, terminal) in part.terminals.iter().enumerate() {
            if let Some(n) = terminal.node {
                c.nodes[n.0].terminals.push((PartId(i), t));
            }
        }
    }
}

/// Other names, another order of parts and nodes, ends of symmetrical parts exchanged, sections of
/// twin triodes swapped, also between sockets of one type.
fn shuffled(c: &Circuit, dice: &mut Dice) -> Circuit {
    let mut new = c.clone();
    let order = dice.order(c.nodes.len() - 1);
    let moved = |n: NodeId| {
        if n.0 == 0 {
            n
        } else {
            NodeId(order[n.0 - 1] + 1)
        }
    };
    for (i, node) in c.nodes.iter().enumerate() {
        let mut node = node.clone();
        for name in &mut node.names {
            if !["ground", "gnd", "0V", "live", "neutral", "earth", "chassis"]
                .contains(&name.as_str())
            {
                *name = format!("x{}", dice.below(1_000_000));
            }
        }
        new.nodes[moved(NodeId(i)).0] = node;
    }
    let mut parts: Vec<Part> = Vec::new();
    for i in dice.order(c.parts.len()) {
        let mut part = c.parts[i].clone();
        for terminal in &mut part.terminals {
            terminal.node = terminal.node.map(moved);
        }
        part.name = format!("Q{}{}", i, dice.below(1000));
        if matches!(
            part.kind,
            Kind::Resistor { .. }
                | Kind::Choke { .. }
                | Kind::Speaker { .. }
                | Kind::Fuse { .. }
                | Kind::Capacitor {
                    plus_first: None,
                    ..
                }
        ) && dice.below(2) == 1
        {
            let (a, b) = (part.terminals[0].node, part.terminals[1].node);
            part.terminals[0].node = b;
            part.terminals[1].node = a;
        }
        parts.push(part);
    }
    // Twin triodes on pins 1 2 3 and 6 7 8: swap any section with any other of the type.
    let sockets: Vec<(usize, [usize; 3])> = parts
        .iter()
        .enumerate()
        .filter(|(_, p)| matches!(&p.kind, Kind::Valve(v) if v.type_in_socket() == "12AX7"))
        .flat_map(|(i, _)| [(i, [0, 1, 2]), (i, [5, 6, 7])])
        .collect();
    for _ in 0..sockets.len() {
        let (x, y) = (dice.below(sockets.len()), dice.below(sockets.len()));
        let ((p, a), (q, b)) = (sockets[x], sockets[y]);
        for k in 0..3 {
            let (u, v) = (parts[p].terminals[a[k]].node, parts[q].terminals[b[k]].node);
            parts[p].terminals[a[k]].node = v;
            parts[q].terminals[b[k]].node = u;
        }
    }
    new.parts = parts;
    rewire(&mut new);
    new
}

fn long() -> bool {
    std::env::var_os("TUBEWRIGHT_LONG").is_some()
}

#[test]
fn names_order_sockets_and_ends_do_not_matter() {
    let mut dice = Dice(ChaCha8Rng::seed_from_u64(11));
    for text in [STAGE, PIP, CURLEW, TURNSTONE] {
        let amp = circuit(text);
        for _ in 0..if long() { 40 } else { 4 } {
            let drawn = shuffled(&amp, &mut dice);
            let found = compare(&amp, &drawn);
            let wrong: Vec<&Line> = found
                .pairs
                .iter()
                .filter(|p| p.status != Status::Same)
                .collect();
            assert!(wrong.is_empty(), "{wrong:#?}");
            assert_eq!((found.score, found.edits), (1.0, 0));
            assert!(found.kin);
            assert!(
                found.blocks.iter().all(|b| b.verdict == BlockVerdict::Same),
                "{:#?}",
                found.blocks
            );
        }
    }
}

/// Applies one random edit and gives its name.
fn edit(c: &mut Circuit, dice: &mut Dice) {
    let passive: Vec<usize> = c
        .parts
        .iter()
        .enumerate()
        .filter(|(_, p)| {
            matches!(p.kind, Kind::Resistor { .. } | Kind::Capacitor { .. })
                && p.terminals.iter().all(|t| t.node.is_some())
        })
        .map(|(i, _)| i)
        .collect();
    let pick = passive[dice.below(passive.len())];
    let nodes = c.nodes.len();
    match dice.below(4) {
        0 => {
            let times = [0.22, 0.47, 2.2, 4.7][dice.below(4)];
            match &mut c.parts[pick].kind {
                Kind::Resistor { ohms: Some(v) }
                | Kind::Capacitor {
                    farads: Some(v), ..
                } => *v *= times,
                _ => {}
            }
        }
        1 => {
            let t = dice.below(2);
            c.parts[pick].terminals[t].node = Some(NodeId(dice.below(nodes)));
        }
        2 => {
            let mut part = c.parts[pick].clone();
            part.name = format!("N{}", c.parts.len());
            for terminal in &mut part.terminals {
                terminal.node = Some(NodeId(dice.below(nodes)));
            }
            c.parts.push(part);
        }
        _ => {
            c.parts.remove(pick);
        }
    }
    rewire(c);
}

#[test]
fn no_longer_than_what_was_done() {
    let mut dice = Dice(ChaCha8Rng::seed_from_u64(12));
    let cases = if long() { 1000 } else { 60 };
    let mut longer = Vec::new();
    for case in 0..cases {
        let amp = circuit([PIP, CURLEW, TURNSTONE][case % 3]);
        let mut changed = amp.clone();
        let edits = 1 + dice.below(8);
        for _ in 0..edits {
            edit(&mut changed, &mut dice);
        }
        let drawn = shuffled(&changed, &mut dice);
        let found = compare(&amp, &drawn);
        if found.edits > edits {
            longer.push((case, edits, found.edits));
        }
    }
    #[allow(clippy::print_stdout, reason = "the share is what the test is for")]
    {
        println!(
            "{} of {cases} scripts no longer than applied; longer: {longer:?}",
            cases - longer.len()
        );
    }
    assert!(longer.len() * 50 <= cases, "{longer:?}");
}

#[test]
fn one_part_made_of_several() {
    let amp = STAGE
        .replace("R4 100k", "R4 47k - R41 53k")
        .replace("[R5 1k5", "[R5 3k3 | R51 2k7");
    let found = compare(&circuit(&amp), &circuit(STAGE));
    assert_eq!(found.edits, 0, "{:#?}", found.pairs);
    let back = compare(&circuit(STAGE), &circuit(&amp));
    assert_eq!(back.edits, 0, "{:#?}", back.pairs);
}

#[test]
fn another_amp_nothing_and_nonsense_are_no_kin() {
    let all = [PIP, CURLEW, TURNSTONE].map(circuit);
    for (i, a) in all.iter().enumerate() {
        for (j, b) in all.iter().enumerate() {
            let found = compare(a, b);
            assert_eq!(found.kin, i == j, "{i} on {j}: {}", found.score);
        }
    }
    for text in [
        "",
        "amp x\n",
        "hello world",
        "V1 12AX7\nV2 EL84\n",
        "R1 - - - R2",
    ] {
        let found = compare(&all[0], &circuit(text));
        assert!(!found.kin && found.why.is_some(), "{text}");
        assert!(!compare(&circuit(text), &all[0]).kin);
        assert!(!compare(&circuit(text), &circuit(text)).kin);
    }
}

/// In an amplifier with feedback exchanged plate leads turn it over: two ends moved. Without feedback
/// nothing tells the ends of a primary apart.
#[test]
fn a_reversed_primary_counts_where_feedback_makes_it_matter() {
    let reversed = |text: &str| {
        text.replace("- T2.p1", "- T2.other")
            .replace("- T2.p2", "- T2.p1")
            .replace("- T2.other", "- T2.p2")
    };
    let text = reversed(TURNSTONE);
    assert_ne!(text, TURNSTONE);
    for (amp, drawing) in [(TURNSTONE, text.as_str()), (&text, TURNSTONE)] {
        let found = compare(&circuit(amp), &circuit(drawing));
        let differ: Vec<&Line> = found
            .pairs
            .iter()
            .filter(|p| p.status != Status::Same)
            .collect();
        assert_eq!(differ.len(), 1, "{differ:#?}");
        assert_eq!(differ[0].found.as_deref(), Some("T2"));
        assert_eq!(differ[0].status, Status::Rewired);
        assert!(differ[0].what.contains("turns the feedback over"));
        assert_eq!((found.edits, found.rewired), (2, 1));
        assert!(found.score < 1.0 && found.kin);
        assert_eq!(found.needed().wires.len(), 1);
    }
    let text = reversed(CURLEW);
    assert_ne!(text, CURLEW);
    let found = compare(&circuit(CURLEW), &circuit(&text));
    assert_eq!((found.edits, found.score), (0, 1.0));
}
