//! What is laid over a drawing moves nothing in it, lies on nothing, and loses nothing.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

use draw::over::{Flag, Hues, Mark, MarkSort, Overlay, Room, Standing, faults, group, lay, onto};
use draw::{Options, draw, look};
use wiring::circuit::{NodeId, PartId};

const AMPS: [&str; 3] = [
    include_str!("../../../examples/pip.wiring"),
    include_str!("../../../examples/curlew.wiring"),
    include_str!("../../../examples/turnstone.wiring"),
];

/// Every node flagged, every part marked: more than anybody lays over a page.
fn full(circuit: &wiring::Circuit) -> Overlay {
    let standings = [
        Standing::Expected,
        Standing::Inside,
        Standing::Doubtful(true),
        Standing::Outside(false),
        Standing::Read,
    ];
    let sorts = [
        MarkSort::Suspect,
        MarkSort::Stress,
        MarkSort::Later,
        MarkSort::Odd,
        MarkSort::Rewired,
        MarkSort::Alone,
        MarkSort::Differs,
    ];
    Overlay {
        flags: (1..circuit.nodes.len())
            .map(|n| {
                let standing = standings[n % standings.len()];
                Flag {
                    node: NodeId(n),
                    point: format!("point {n}"),
                    read: if standing == Standing::Expected {
                        String::new()
                    } else {
                        "184.2".to_owned()
                    },
                    expected: "172".to_owned(),
                    standing,
                }
            })
            .collect(),
        marks: (0..circuit.parts.len())
            .map(|p| Mark {
                part: PartId(p),
                sort: sorts[p % sorts.len()],
                text: "118 %".to_owned(),
            })
            .collect(),
        here: Some(NodeId(3)),
    }
}

#[test]
fn an_overlay_lies_on_nothing_and_loses_nothing() {
    let snippets = wiring::snippet::SNIPPETS.iter().map(|s| s.text);
    for text in AMPS.into_iter().chain(snippets) {
        let circuit = wiring::read_one(text).circuit;
        let anatomy = look(&circuit);
        let d = draw(&circuit, &anatomy, Options::default());
        let room = Room::of(&d);
        let overlay = full(&circuit);
        let laid = lay(&room, &overlay);
        assert_eq!(faults(&room, &laid), Vec::<String>::new());
        assert_eq!(
            laid.flags.len() + laid.left.len(),
            overlay.flags.len(),
            "{text}"
        );
        let worded = laid.marks.iter().filter(|m| m.area.is_some()).count();
        assert_eq!(
            worded + laid.left_marks.len(),
            overlay.marks.len(),
            "{text}"
        );
        // The same again is the same.
        assert_eq!(laid, lay(&room, &overlay));
    }
}

/// On a whole amplifier every point finds room for its volts, however many are read.
#[test]
fn the_volts_of_whole_amplifiers_find_room() {
    for text in AMPS {
        let circuit = wiring::read_one(text).circuit;
        let anatomy = look(&circuit);
        let d = draw(&circuit, &anatomy, Options::default());
        let mut overlay = full(&circuit);
        overlay.marks.clear();
        let laid = lay(&Room::of(&d), &overlay);
        assert!(
            laid.left.is_empty(),
            "{:?}",
            laid.left.iter().map(|f| &f.point).collect::<Vec<_>>()
        );
    }
}

/// A part has one line round it, of its most serious mark, and the words of every mark.
#[test]
fn two_marks_of_a_part_share_its_line() {
    let circuit = wiring::read_one(AMPS[0]).circuit;
    let anatomy = look(&circuit);
    let d = draw(&circuit, &anatomy, Options::default());
    let part = circuit.parts.iter().position(|p| p.name == "R4").unwrap();
    let mark = |sort, text: &str| Mark {
        part: PartId(part),
        sort,
        text: text.to_owned(),
    };
    let overlay = Overlay {
        marks: vec![
            mark(MarkSort::Later, "added"),
            mark(MarkSort::Suspect, "42 %"),
        ],
        ..Overlay::default()
    };
    let room = Room::of(&d);
    let laid = lay(&room, &overlay);
    assert_eq!(faults(&room, &laid), Vec::<String>::new());
    assert_eq!(laid.marks[0].mark.text, "42 %");
    assert!(!laid.marks[0].round.is_empty() && laid.marks[1].round.is_empty());
    assert!(laid.marks.iter().all(|m| m.area.is_some()));
}

#[test]
fn nothing_moves_under_an_overlay() {
    let circuit = wiring::read_one(AMPS[0]).circuit;
    let anatomy = look(&circuit);
    let d = draw(&circuit, &anatomy, Options::default());
    let bare = draw::svg::svg(&d, draw::svg::DAY);
    let laid = lay(&Room::of(&d), &full(&circuit));
    let over = group(&laid, Hues::DAY);
    let with = onto(&bare, &over);
    assert_eq!(with.replace(&over, ""), bare);
    let sheet = draw::svg::sheet(&d, draw::svg::DAY, &over, "");
    assert_eq!(sheet, with);
    // A strip below makes the page taller and changes nothing above.
    let foot = draw::svg::sheet(&d, draw::svg::DAY, &over, "Mind your hands.");
    let body = |s: &str| {
        s[s.find("<g id=\"wires\"").unwrap()..s.find("<g id=\"over\"").unwrap()].to_owned()
    };
    assert_eq!(
        body(&foot),
        body(&bare.replace("</svg>", "<g id=\"over\"></svg>"))
    );
    assert!(foot.contains("Mind your hands."));
}

/// In grey every standing still differs from every other: by its words, sign or letter.
#[test]
fn no_verdict_is_told_by_colour_alone() {
    let circuit = wiring::read_one(AMPS[0]).circuit;
    let anatomy = look(&circuit);
    let d = draw(&circuit, &anatomy, Options::default());
    let room = Room::of(&d);
    let mut seen = Vec::new();
    for standing in [
        Standing::Read,
        Standing::Inside,
        Standing::Doubtful(false),
        Standing::Doubtful(true),
        Standing::Outside(false),
        Standing::Outside(true),
    ] {
        let overlay = Overlay {
            flags: vec![Flag {
                node: NodeId(3),
                point: "x".to_owned(),
                read: "1".to_owned(),
                expected: String::new(),
                standing,
            }],
            ..Overlay::default()
        };
        let mut svg = group(&lay(&room, &overlay), Hues::PRINT);
        // Without title (its word) and without any colour.
        let (a, b) = (svg.find("<title>").unwrap(), svg.find("</title>").unwrap());
        svg.replace_range(a..b, "");
        for hue in ["#000000", "#ffffff"] {
            svg = svg.replace(hue, "");
        }
        assert!(!seen.contains(&svg), "{standing:?}");
        seen.push(svg);
    }
}
