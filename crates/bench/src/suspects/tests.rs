use super::*;
use wiring::Text;

fn amp(wiring: &str, readings: &str) -> Circuit {
    let texts = [
        Text {
            name: "amp.wiring",
            text: wiring,
        },
        Text {
            name: "amp.readings",
            text: readings,
        },
    ];
    wiring::read(&texts, Library::built_in()).circuit
}

fn of(wiring: &str, readings: &str) -> Suspects {
    suspects(
        &amp(wiring, readings),
        Library::built_in(),
        &SuspectsRequest::default(),
    )
}

/// The example amplifiers are invented: that their planted fault is found shows how the parts of
/// the program fit together, and proves nothing about real ones.
#[test]
fn the_planted_faults_of_the_examples_lead() {
    let cases = [
        (
            include_str!("../../../../examples/pip.wiring"),
            include_str!("../../../../examples/pip.readings"),
            ("C4", Class::Leaky),
        ),
        (
            include_str!("../../../../examples/curlew.wiring"),
            include_str!("../../../../examples/curlew.readings"),
            ("R18", Class::High),
        ),
        (
            include_str!("../../../../examples/turnstone.wiring"),
            include_str!("../../../../examples/turnstone.readings"),
            ("R47", Class::Open),
        ),
    ];
    for (wiring, readings, (part, class)) in cases {
        let found = of(wiring, readings);
        let sum: f64 = found.suspects.iter().map(|s| s.probability).sum();
        assert!(sum + found.healthy + found.unlisted <= 1.0 + 1e-9);
        let first = found.suspects.first().map(|s| (s.part.as_str(), s.class));
        assert_eq!(first, Some((part, class)), "{found:#?}");
    }
}

/// A stage on a steady supply, read with faults and without; sizes after the textbook case of a
/// 100k and 1k5 stage.
const STAGE: &str = "V1 12AX7\nPS1 supply 300 V 10 ohm\nB1 - +PS1 - ground\n\
    B1 - R1 100k 5% film - V1.1\nV1.3 - R2 1k5 5% film - ground\nV1.3 - +C1 25u 25V electrolytic - ground\n\
    V1.2 - R3 1M 5% film - ground\nV1.1 - C2 22n film - out\nout - R4 1M 5% film - ground\n";

fn sums_to_one(found: &Suspects) {
    let all: f64 = found.suspects.iter().map(|s| s.probability).sum();
    let whole = all + found.healthy + found.unlisted;
    assert!(whole > 0.9989 && whole < 1.0 + 1e-9, "{whole}");
}

#[test]
fn without_readings_it_is_the_priors_and_says_so() {
    let found = of(STAGE, "");
    sums_to_one(&found);
    assert_eq!(found.used, 0);
    assert!(
        found
            .notes
            .iter()
            .any(|n| n.contains("no reading could be used"))
    );
    assert!((found.healthy - 0.06).abs() < 0.01, "{}", found.healthy);
}

#[test]
fn readings_at_no_point_and_absurd_ones_are_listed_and_not_weighed() {
    let found = of(
        STAGE,
        "readings as found\nmeter 10M 0.5%\nnowhere 12\nV1.1 20500\nV1.3 1.4\nB1 OL\n",
    );
    sums_to_one(&found);
    assert_eq!(found.used, 1, "{:#?}", found.unused);
    assert_eq!(found.unused.len(), 3, "{:#?}", found.unused);
}

#[test]
fn readings_that_contradict_each_other_are_said_so() {
    // full volts on the plate and full current in the cathode: no one fault does that
    let found = of(
        STAGE,
        "readings as found\nmeter 10M 0.5%\nB1 30\nV1.1 299\nV1.3 25\nV1.2 -40\nout 200\n",
    );
    sums_to_one(&found);
    assert!(
        found.unlisted > 0.5 && found.notes.iter().any(|n| n.contains("no single fault")),
        "{} {:#?}",
        found.unlisted,
        found.notes
    );
}

/// A reservoir that takes all of a supply's current says so, and a leaky coupling that moves a
/// few volts does not.
#[test]
fn a_fault_that_no_fuse_holds_is_said_to_be_one() {
    let with = STAGE.replace(
        "300 V 10 ohm\n",
        "300 V 200 ohm\nB1 - +C9 16u 450V electrolytic - ground\n",
    );
    let found = of(
        &with,
        "readings as found\nmeter 10M 0.5%\nB1 1.6\nV1.1 1.5\nV1.3 0.01\n",
    );
    let short = found.suspects.iter().find(|s| s.part == "C9");
    let words = short.map(|s| s.strain.join("; ")).unwrap_or_default();
    assert!(words.contains("a fuse blows"), "{found:#?}");
    let found = of(
        STAGE,
        "readings as found\nmeter 10M 0.5%\nB1 300\nV1.1 163\nV1.3 2.06\n",
    );
    let strained = found.suspects.iter().filter(|s| !s.strain.is_empty());
    assert_eq!(strained.count(), 0, "{found:#?}");
}

#[test]
fn what_was_told_shifts_the_priors() {
    let amp = amp(STAGE, "");
    let share = |told: &[&str]| {
        let request = SuspectsRequest {
            told: told.iter().map(|t| (*t).to_owned()).collect(),
        };
        let found = suspects(&amp, Library::built_in(), &request);
        let load = found
            .suspects
            .iter()
            .find(|s| s.part == "R1" && s.class == Class::High);
        load.map_or(0.0, |s| s.probability)
    };
    assert!(share(&["a steady hiss"]) > 1.5 * share(&[]));
}

/// No reading is proposed on a driven plate, the mains side, or a winding under power: with
/// nothing read, with everything read, and with valves and lines left out of the wiring.
#[test]
fn no_reading_is_proposed_where_none_is_safe() {
    let wirings = [
        include_str!("../../../../examples/pip.wiring"),
        include_str!("../../../../examples/curlew.wiring"),
        include_str!("../../../../examples/turnstone.wiring"),
    ];
    let long = std::env::var_os("TUBEWRIGHT_LONG").is_some();
    for wiring in wirings {
        let lines: Vec<&str> = wiring.lines().collect();
        for skip in 0..if long { 40 } else { 2 } {
            // a line in every seven is not traced yet, none the first time
            let half: Vec<&str> = lines
                .iter()
                .enumerate()
                .filter(|(i, l)| skip == 0 || (i + skip) % 7 != 0 || !l.contains(" - "))
                .map(|(_, l)| *l)
                .collect();
            let circuit = amp(&half.join("\n"), "");
            let anatomy = wiring::roles::anatomy(&circuit);
            let tolerances = Tolerances::standard().expect("the table");
            let library = Library::built_in();
            let evidence = evidence::Evidence::of(&circuit, library, &tolerances);
            let wanted = wanted::Wanted::of(&circuit, library, &anatomy, &tolerances, &evidence);
            for candidate in &wanted.candidates {
                judge(&circuit, candidate.is_live(), &candidate.probe);
            }
        }
    }
}

/// Judged by plain looking at the wiring, not by roles.
fn judge(circuit: &Circuit, live: bool, probe: &str) {
    use wiring::circuit::{Electrode, Kind};
    let index = wiring::Index::new(circuit);
    let nodes: Vec<wiring::NodeId> = match index.part(probe) {
        Some(id) => circuit.parts[id.0]
            .terminals
            .iter()
            .filter_map(|t| t.node)
            .collect(),
        None => index.node(probe).into_iter().collect(),
    };
    assert!(!nodes.is_empty(), "`{probe}` is no point of the wiring");
    for node in nodes.iter().filter(|n| **n != wiring::GROUND) {
        let names = &circuit.nodes[node.0].names;
        assert!(
            !names.iter().any(|n| n == "live" || n == "neutral"),
            "{probe}"
        );
        let here = |part: &wiring::Part, start: &str| {
            let ends = part.terminals.iter();
            ends.filter(|t| t.node == Some(*node))
                .any(|t| t.name.starts_with(start))
        };
        let wound = |start: &str, power: bool| {
            circuit.parts.iter().any(|p| {
                let of = match p.kind {
                    Kind::PowerTransformer(_) => power,
                    Kind::OutputTransformer(_) => !power,
                    _ => false,
                };
                of && here(p, start)
            })
        };
        assert!(!wound("pri", true), "{probe} is on the mains side");
        let driven = wound("p1", false) || wound("p2", false);
        let plate = circuit.parts.iter().any(|p| match &p.kind {
            Kind::Valve(v) => v.electrodes.iter().any(|e| {
                e.electrode == Electrode::Plate && p.terminals[e.terminal].node == Some(*node)
            }),
            _ => false,
        });
        assert!(!(live && driven && plate), "{probe} is a driven plate");
    }
}

/// Half a tracing: what nothing feeds says nothing of parts, and is no reason to call it sound.
#[test]
fn what_nothing_traced_feeds_is_not_weighed() {
    let half = STAGE.replace("PS1 supply 300 V 10 ohm\nB1 - +PS1 - ground\n", "");
    let found = of(
        &half,
        "readings as found\nmeter 10M 0.5%\nV1.1 190\nB1 300\n",
    );
    assert_eq!(found.used, 0, "{found:#?}");
    assert_eq!(found.unused.len(), 2, "{:#?}", found.unused);
    assert_ne!(found.probing, Probing::SureEnough);
    assert!(found.next.iter().all(|n| !n.live), "{:#?}", found.next);
}

#[test]
fn without_a_circuit_nothing_is_called_sound() {
    let found = of("", "readings as found\nmeter 10M 0.5%\nV1.1 190\n");
    assert!(found.healthy == 0.0 && found.probing == Probing::NothingHelps);
    assert!(
        found
            .notes
            .iter()
            .any(|n| n.contains("nothing can be weighed"))
    );
}
