//! Randomly damaged amplifiers: every one is solved or explained, none hangs, none panics.
//!
//! The three examples with parts opened, shorted, removed, turned round, of wild values, with
//! other valves in the sockets, valves pulled, controls anywhere and any mains. A thousand by
//! default, ten thousand with `TUBEWRIGHT_LONG=1`. The seed of a case is its number, so a case
//! that fails can be had again alone, with `TUBEWRIGHT_CASE=371`, and many runs make a long one,
//! `TUBEWRIGHT_CASE=2000-2999`.

mod common;

use bench::chart::{Chart, ChartRequest, Status};
use rand::seq::IndexedRandom as _;
use rand::{Rng, RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use solve::{AssembleOptions, Solved};

use std::any::Any;
use std::collections::BTreeMap;
use std::ops::Range;
use wiring::circuit::{
    DiodeSort, Kind, Measured, MeasuredValue, NodeId, PartId, Position, Setting,
};
use wiring::readings::{Conditions, ValvesIn};
use wiring::sheet::Library;
use wiring::{Circuit, Place};

/// Bound on the Newton steps of one operating point, all methods together.
const MOST_STEPS: u32 = 1_000;

/// One of the examples, as text and as circuit.
struct Example {
    name: &'static str,
    text: String,
    circuit: Circuit,
}

fn examples() -> Vec<Example> {
    ["pip", "curlew", "turnstone"]
        .into_iter()
        .map(|name| {
            let path = common::root().join(format!("examples/{name}.wiring"));
            let text = std::fs::read_to_string(path).expect("an example");
            let circuit = read(&text);
            assert!(circuit.parts.len() > 30, "{name} was read");
            Example {
                name,
                text,
                circuit,
            }
        })
        .collect()
}

fn read(text: &str) -> Circuit {
    wiring::read_one(text).circuit
}

/// The text with another type in one or two sockets, pins as that type has them.
fn other_valves(text: &str, random: &mut ChaCha8Rng) -> String {
    let sockets: Vec<usize> = text
        .lines()
        .enumerate()
        .filter(|(_, line)| is_socket(line))
        .map(|(i, _)| i)
        .collect();
    let chosen: Vec<usize> = (0..random.random_range(1..=2))
        .filter_map(|_| sockets.choose(random).copied())
        .collect();
    text.lines()
        .enumerate()
        .map(|(i, line)| {
            if !chosen.contains(&i) {
                return line.to_owned();
            }
            let types = Library::built_in().types();
            let other = types
                .choose(random)
                .map_or("12AX7", |sheet| sheet.name.as_str());
            let mut words = line.split_whitespace();
            let (name, meant) = (words.next().unwrap_or(""), words.next().unwrap_or(""));
            if random.random_bool(0.5) {
                format!("{name} {meant} = {other}")
            } else {
                format!("{name} {other}")
            }
        })
        .collect::<Vec<_>>()
        .join("\n")
}

/// `V1 12AX7 ...`, and no walk.
fn is_socket(line: &str) -> bool {
    let name = line.split_whitespace().next().unwrap_or("");
    name.strip_prefix('V')
        .is_some_and(|n| !n.is_empty() && n.bytes().all(|b| b.is_ascii_digit()))
        && !line.contains(" - ")
}

/// Joins a terminal to another node, or to none, and keeps both sides of the books.
fn rewire(circuit: &mut Circuit, part: PartId, terminal: usize, to: Option<NodeId>) {
    for node in &mut circuit.nodes {
        node.terminals.retain(|t| *t != (part, terminal));
    }
    circuit.parts[part.0].terminals[terminal].node = to;
    if let Some(node) = to {
        circuit.nodes[node.0].terminals.push((part, terminal));
    }
}

/// A factor between a millionth and a million.
fn wild(random: &mut impl Rng) -> f64 {
    10f64.powf(random.random_range(-6.0..6.0))
}

fn scale(value: &mut Option<f64>, random: &mut ChaCha8Rng) {
    if let Some(value) = value {
        *value *= wild(random);
    }
}

/// Does one thing to one part, and says what.
fn damage(circuit: &mut Circuit, random: &mut ChaCha8Rng) -> String {
    let id = PartId(random.random_range(0..circuit.parts.len()));
    let did = damage_to(circuit, id, random);
    format!("{} {did}", circuit.parts[id.0].name)
}

fn damage_to(circuit: &mut Circuit, id: PartId, random: &mut ChaCha8Rng) -> &'static str {
    let ends = circuit.parts[id.0].terminals.len();
    match random.random_range(0..7) {
        0 | 1 => {
            let open = random.random_bool(0.5);
            circuit.parts[id.0].known.reading = Some(Measured {
                value: if open {
                    MeasuredValue::Open
                } else {
                    MeasuredValue::Short
                },
                in_circuit: false,
            });
            if open { "opened" } else { "shorted" }
        }
        2 => {
            for terminal in 0..ends {
                rewire(circuit, id, terminal, None);
            }
            "removed"
        }
        3 => {
            let (a, b) = (random.random_range(0..ends), random.random_range(0..ends));
            let (at_a, at_b) = (
                circuit.parts[id.0].terminals[a].node,
                circuit.parts[id.0].terminals[b].node,
            );
            rewire(circuit, id, a, at_b);
            rewire(circuit, id, b, at_a);
            "swapped ends"
        }
        4 => {
            // A slipped wire: one end on any other node.
            let to = NodeId(random.random_range(0..circuit.nodes.len()));
            rewire(circuit, id, random.random_range(0..ends), Some(to));
            "wire moved"
        }
        5 => {
            let part = &mut circuit.parts[id.0];
            part.known.leak_ohms = Some(1e6 * wild(random));
            part.known.reading = Some(Measured {
                value: MeasuredValue::Is(1e3 * wild(random)),
                in_circuit: false,
            });
            "wild reading"
        }
        _ => {
            wild_value(&mut circuit.parts[id.0].kind, random);
            "wild value"
        }
    }
}

fn wild_value(kind: &mut Kind, random: &mut ChaCha8Rng) {
    match kind {
        Kind::Resistor { ohms } | Kind::Pot { ohms, .. } | Kind::Speaker { ohms } => {
            scale(ohms, random);
        }
        Kind::Capacitor { farads, plus_first } => {
            scale(farads, random);
            *plus_first = plus_first.map(|p| !p);
        }
        Kind::Choke { henries, ohms } => {
            scale(henries, random);
            scale(ohms, random);
        }
        Kind::Diode { sort } => *sort = DiodeSort::Zener(100.0 * wild(random)),
        Kind::Fuse { amps, .. } => scale(amps, random),
        Kind::Switch { start, .. } => *start = usize::from(random.random_bool(0.5)),
        Kind::Valve(valve) => valve.emission = Some(random.random_range(0.0..2.0)),
        Kind::PowerTransformer(t) => {
            scale(&mut t.primary_ohms, random);
            for winding in &mut t.windings {
                let factor = random.random_range(0.0..4.0);
                for tap in &mut winding.taps {
                    tap.1 *= factor;
                }
                scale(&mut winding.ohms, random);
            }
        }
        Kind::OutputTransformer(t) => {
            scale(&mut t.ohms, random);
            scale(&mut t.primary_impedance, random);
        }
        Kind::Supply { volts, ohms } => {
            scale(volts, random);
            *ohms *= wild(random);
        }
        _ => {}
    }
}

/// Any mains, any knobs, any valves out.
fn request(circuit: &Circuit, random: &mut ChaCha8Rng) -> ChartRequest {
    let mut request = ChartRequest {
        mains_volts: Some(random.random_range(0.0..=260.0)),
        ..ChartRequest::default()
    };
    for part in &circuit.parts {
        match part.kind {
            Kind::Pot { .. } if random.random_bool(0.3) => {
                let to = [0.0, 10.0, random.random_range(0.0..10.0)];
                request.sets.push(Setting {
                    name: part.name.clone(),
                    to: Position::Number(to[random.random_range(0..3)]),
                    place: Place::default(),
                });
            }
            Kind::Valve(_) if random.random_bool(0.1) => {
                request.without_valves.push(part.name.clone());
            }
            _ => {}
        }
    }
    request
}

/// Solved, or explained by a point and a reason; and no figure that is none.
fn answered(chart: &Chart, case: &str) {
    for line in &chart.points {
        let figures = [line.volts, line.low, line.high];
        assert!(
            figures.iter().flatten().all(|v| v.is_finite()),
            "{case}: {line:?}"
        );
        if let (Some(low), Some(high)) = (line.low, line.high) {
            assert!(low <= high, "{case}: {line:?}");
        }
        assert!(
            line.volts.is_some() || chart.unsolved.iter().any(|u| u.point == line.point),
            "{case}: {} has neither volts nor a reason",
            line.point
        );
    }
    for unsolved in &chart.unsolved {
        assert!(!unsolved.point.trim().is_empty(), "{case}: {unsolved:?}");
        assert!(unsolved.why.len() > 8, "{case}: {unsolved:?}");
    }
    match chart.status {
        Status::Solved => assert!(
            chart.unsolved.iter().all(|u| u.why.contains("mains side")),
            "{case}"
        ),
        Status::Partly | Status::Failed => {
            assert!(!chart.unsolved.is_empty(), "{case}: no reason");
        }
    }
}

/// The operating point by itself: found, or the worst node has a name; within the bound on steps.
fn bounded(circuit: &Circuit, request: &ChartRequest, case: &str) -> Solved {
    let conditions = Conditions {
        mains_volts: request.mains_volts,
        sets: request.sets.clone(),
        valves: ValvesIn::Without(request.without_valves.clone()),
        ..Conditions::default()
    };
    let solved = solve::solve_circuit(
        circuit,
        Library::built_in(),
        &conditions,
        &AssembleOptions::default(),
    );
    let solution = &solved.point.solution;
    if let Some(name) = &solved.point.unsettled {
        assert!(!name.is_empty(), "{case}: no name");
    }
    assert_eq!(solved.point.settled, solved.point.unsettled.is_none());
    match solution.status {
        solve::operating::Status::Converged => {}
        solve::operating::Status::Stalled { worst_node, amps } => {
            let name = solved.point.netlist.nodes.get(worst_node);
            assert!(name.is_some_and(|n| !n.is_empty()), "{case}: no name");
            assert!(amps.is_finite(), "{case}: {amps} A left over");
        }
        solve::operating::Status::BadElement { element } => {
            let name = solved.point.netlist.elements.get(element);
            assert!(name.is_some_and(|e| !e.name.is_empty()), "{case}: no name");
        }
    }
    assert!(
        solution.iterations <= MOST_STEPS,
        "{case}: {}",
        solution.iterations
    );
    solved
}

/// What became of one damaged amplifier.
struct Outcome {
    /// Solved, partly or failed; or what was wrong with the answer.
    status: Result<String, String>,
    seconds: f64,
    steps: u32,
    case: String,
}

/// The damaged amplifier of a number, how it is asked for, and what was done to it.
fn damaged(seed: u64, examples: &[Example]) -> (Circuit, ChartRequest, String) {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let example = &examples[random.random_range(0..examples.len())];
    let mut did: Vec<String> = Vec::new();
    let mut circuit = if random.random_bool(0.25) {
        did.push("other valve".to_owned());
        read(&other_valves(&example.text, &mut random))
    } else {
        example.circuit.clone()
    };
    for _ in 0..random.random_range(1..=4) {
        did.push(damage(&mut circuit, &mut random));
    }
    let request = request(&circuit, &mut random);
    let case = format!("case {seed}, {}: {}", example.name, did.join(", "));
    (circuit, request, case)
}

#[allow(
    clippy::disallowed_methods,
    reason = "the longest case is measured, so that none hangs unseen"
)]
fn one(seed: u64, examples: &[Example]) -> Outcome {
    let (circuit, request, case) = damaged(seed, examples);
    let begun = std::time::Instant::now();
    // One bad case must not hide the next.
    let answer = std::panic::catch_unwind(|| {
        let steps = bounded(&circuit, &request, &case).point.solution.iterations;
        let chart = bench::chart::chart(&circuit, Library::built_in(), &request);
        answered(&chart, &case);
        (steps, format!("{:?}", chart.status))
    });
    let seconds = begun.elapsed().as_secs_f64();
    let (steps, status) = match answer {
        Ok((steps, status)) => (steps, Ok(status)),
        Err(panic) => (0, Err(said(&*panic))),
    };
    Outcome {
        status,
        seconds,
        steps,
        case,
    }
}

/// The numbers of the cases to run: `TUBEWRIGHT_CASE=371`, or `TUBEWRIGHT_CASE=2000-2999`.
fn asked() -> Range<u64> {
    if let Ok(text) = std::env::var("TUBEWRIGHT_CASE") {
        let (first, last) = text.split_once('-').unwrap_or((&text, &text));
        let number = |n: &str| {
            n.trim()
                .parse::<u64>()
                .expect("TUBEWRIGHT_CASE is a number")
        };
        return number(first)..number(last) + 1;
    }
    if std::env::var_os("TUBEWRIGHT_LONG").is_some() {
        0..10_000
    } else {
        0..1_000
    }
}

/// The text of a panic.
fn said(panic: &(dyn Any + Send)) -> String {
    let text = panic.downcast_ref::<String>().cloned();
    text.or_else(|| panic.downcast_ref::<&str>().map(|t| (*t).to_owned()))
        .unwrap_or_default()
}

#[test]
fn every_damaged_amplifier_is_solved_or_explained() {
    let examples = examples();
    let cases = asked();
    let first = cases.start;
    // Side by side; a case depends on its number alone.
    let lanes = std::thread::available_parallelism().map_or(1, |n| n.get() as u64);
    let mut outcomes: Vec<Outcome> = std::thread::scope(|scope| {
        let running: Vec<_> = (0..lanes)
            .map(|lane| {
                let examples = &examples;
                scope.spawn(move || {
                    (first + lane..cases.end)
                        .step_by(lanes as usize)
                        .map(|seed| one(seed, examples))
                        .collect::<Vec<_>>()
                })
            })
            .collect();
        running
            .into_iter()
            .flat_map(|lane| lane.join().expect("every panic was caught"))
            .collect()
    });
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    for outcome in &outcomes {
        let status = outcome.status.as_ref().map_or("Wrong", |s| s);
        *counts.entry(status).or_default() += 1;
    }
    println!("{} damaged amplifiers: {counts:?}", outcomes.len());
    assert_eq!(outcomes.len() as u64, cases.end - cases.start);
    let failed = counts.get("Failed").copied().unwrap_or(0);
    if outcomes.len() >= 1_000 {
        assert!(failed * 10 < outcomes.len(), "{counts:?}");
    }

    let wrong: Vec<String> = outcomes
        .iter()
        .filter_map(|o| Some(format!("{}: {}", o.case, o.status.as_ref().err()?)))
        .collect();
    if let Some(hardest) = outcomes.iter().max_by_key(|o| o.steps) {
        println!("most steps: {}, {}", hardest.steps, hardest.case);
    }
    outcomes.sort_by(|a, b| b.seconds.total_cmp(&a.seconds));
    println!("slowest:");
    for slow in outcomes.iter().take(20) {
        println!("{:8.2} s  {}", slow.seconds, slow.case);
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// What stands in the way, without the names that differ from case to case.
fn sort(why: &str) -> String {
    let plain = |word: &str| {
        let word = word.trim_matches(|c: char| ",.;:()`\"".contains(c));
        word.chars()
            .all(|c| c.is_ascii_lowercase() || "-'/".contains(c))
    };
    let words = why
        .split_whitespace()
        .map(|w| if plain(w) { w } else { "*" });
    let mut all: Vec<&str> = words.collect();
    all.dedup();
    all.join(" ")
}

/// What became of the operating point of one case, in words that many cases share.
fn kinds(seed: u64, examples: &[Example]) -> Result<Vec<String>, String> {
    let (circuit, request, case) = damaged(seed, examples);
    let answer = std::panic::catch_unwind(|| {
        let solved = bounded(&circuit, &request, &case);
        let point = &solved.point;
        let mut kinds = vec![match (&point.solution.status, point.settled) {
            (solve::operating::Status::Converged, true) => {
                format!("solved: {:?}", point.solution.method)
            }
            (solve::operating::Status::Converged, false) => {
                "the mains side does not settle".to_owned()
            }
            (solve::operating::Status::Stalled { .. }, _) => {
                "not found; the worst node is named".to_owned()
            }
            (solve::operating::Status::BadElement { .. }, _) => {
                "a law without a figure; the part is named".to_owned()
            }
        }];
        let finite = point.solution.volts.iter().all(|v| v.is_finite());
        assert!(
            finite || !point.solved(),
            "{case}: a volt that is no number"
        );
        let told = solved.assembly.unsolved.iter().map(|u| &u.why);
        let untold = solved.assembly.untold.values();
        let mut why: Vec<String> = told
            .chain(untold)
            .map(|w| format!("told: {}", sort(w)))
            .collect();
        if solved.hanging.values().any(|names| !names.is_empty()) {
            why.push("told: volts hang on a part without a value".to_owned());
        }
        why.sort_unstable();
        why.dedup();
        kinds.extend(why);
        kinds
    });
    answer.map_err(|panic| format!("{case}: {}", said(&*panic)))
}

/// Cases of the soak that once took thousands of steps: a plate of the rectifier, or the winding's end that feeds it, on a
/// wire that only insulation joins to the mains.
const ONCE_HARD: [u64; 16] = [
    20_215, 58_539, 67_171, 168_677, 227_339, 270_338, 320_062, 356_347, 514_058, 575_470, 575_565,
    622_928, 807_675, 852_367, 867_469, 897_169,
];

#[test]
fn what_was_hard_once_is_not() {
    let examples = examples();
    for case in ONCE_HARD {
        match kinds(1_000_000_000 + case, &examples) {
            Ok(kinds) => assert!(kinds[0].starts_with("solved"), "{case}: {kinds:?}"),
            Err(said) => panic!("{said}"),
        }
    }
}

/// The operating point alone, of many more: every one found, or explained, and the explanations counted by kind.
/// `TUBEWRIGHT_SOAK=1000000` for as many; `TUBEWRIGHT_SOAK_FROM=400000` goes on where a run before ended.
#[test]
fn a_soak_of_the_operating_point() {
    let number = |name: &str, usual: u64| {
        std::env::var(name).map_or(usual, |n| {
            n.parse()
                .unwrap_or_else(|_| panic!("{name} is a number, not {n}"))
        })
    };
    let many = number("TUBEWRIGHT_SOAK", 2_000);
    let examples = examples();
    let hands = std::thread::available_parallelism().map_or(1, |n| n.get() as u64);
    // other cases than above
    let first = 1_000_000_000 + number("TUBEWRIGHT_SOAK_FROM", 0);
    let parts: Vec<(BTreeMap<String, u64>, Vec<String>)> = std::thread::scope(|scope| {
        let running: Vec<_> = (0..hands)
            .map(|hand| {
                let examples = &examples;
                scope.spawn(move || {
                    let (mut counts, mut wrong) = (BTreeMap::new(), Vec::new());
                    for seed in (first + hand..first + many).step_by(hands as usize) {
                        match kinds(seed, examples) {
                            Ok(kinds) => kinds
                                .into_iter()
                                .for_each(|k| *counts.entry(k).or_default() += 1),
                            Err(said) => wrong.push(said),
                        }
                    }
                    (counts, wrong)
                })
            })
            .collect();
        running
            .into_iter()
            .map(|hand| hand.join().expect("every panic was caught"))
            .collect()
    });
    let mut counts: BTreeMap<String, u64> = BTreeMap::new();
    let mut wrong = Vec::new();
    for (of, said) in parts {
        of.into_iter()
            .for_each(|(k, n)| *counts.entry(k).or_default() += n);
        wrong.extend(said);
    }
    println!("{many} damaged amplifiers from case {first} on, operating point alone:");
    for (kind, n) in &counts {
        println!("{n:9}  {kind}");
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    let found: u64 = counts
        .iter()
        .filter(|(k, _)| k.starts_with("solved"))
        .map(|(_, n)| n)
        .sum();
    assert!(found * 100 > many * 95, "{found} of {many} found");
}
