//! Where parts sit: every part once, nothing overlaps, all texts inside, and the joints read back from the page.
#![allow(clippy::expect_used, reason = "a test")]

use draw::over::{self, Flag, Hues, Mark, MarkSort, Overlay, Room, Standing, group_of, lay};
use draw::physical::{Shape, faults, physical, sheet, svg};
use draw::svg::DAY;
use rand::seq::SliceRandom as _;
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use wiring::circuit::{NodeId, PartId};

fn example(name: &str) -> String {
    let path = format!(
        "{}/../../examples/{name}.wiring",
        env!("CARGO_MANIFEST_DIR")
    );
    std::fs::read_to_string(path).expect("an example")
}

fn legal(text: &str) -> String {
    let circuit = wiring::read_one(text).circuit;
    let view = physical(&circuit);
    assert_eq!(faults(&view), Vec::<String>::new(), "{text}");
    let picture = svg(&view, DAY);
    assert_eq!(picture, svg(&physical(&circuit), DAY));
    for part in &circuit.parts {
        assert!(picture.contains(&format!("data-part=\"{}\"", draw::svg::escape(&part.name))));
    }
    picture
}

#[test]
fn the_examples_are_legal_and_carry_the_schematic_s_ids() {
    for name in ["pip", "curlew", "turnstone"] {
        let text = example(name);
        let picture = legal(&text);
        assert!(picture.contains("role=\"img\"") && picture.contains("<desc"));
        for forbidden in ["<script", "style=", "<style"] {
            assert!(!picture.contains(forbidden), "{name}: {forbidden}");
        }
        let circuit = wiring::read_one(&text).circuit;
        let anatomy = draw::look(&circuit);
        let schematic = draw::svg::svg(
            &draw::draw(&circuit, &anatomy, draw::Options::default()),
            DAY,
        );
        for part in schematic
            .split("data-part=\"")
            .skip(1)
            .filter_map(|s| s.split('"').next())
        {
            assert!(
                part == "mains" || picture.contains(&format!("data-part=\"{part}\"")),
                "{part}"
            );
        }
    }
}

#[test]
fn what_is_laid_over_moves_nothing_and_lies_on_nothing() {
    for name in ["pip", "curlew", "turnstone"] {
        let circuit = wiring::read_one(&example(name)).circuit;
        let view = physical(&circuit);
        let flags = (1..circuit.nodes.len()).map(|n| Flag {
            node: NodeId(n),
            point: format!("point {n}"),
            read: "184.2".to_owned(),
            expected: "172".to_owned(),
            standing: Standing::Inside,
        });
        let marks = (0..circuit.parts.len()).map(|p| Mark {
            part: PartId(p),
            sort: if p % 2 == 0 {
                MarkSort::Stress
            } else {
                MarkSort::Hot
            },
            text: "118 %".to_owned(),
        });
        let overlay = Overlay {
            flags: flags.collect(),
            marks: marks.collect(),
            here: Some(NodeId(3)),
        };
        let room = Room::sits(&view);
        let laid = lay(&room, &overlay);
        assert_eq!(over::faults(&room, &laid), Vec::<String>::new(), "{name}");
        // Every part is marked, and every figure is on the page or handed back.
        assert_eq!(laid.marks.len(), circuit.parts.len());
        assert_eq!(laid.flags.len() + laid.left.len(), circuit.nodes.len() - 1);
        // More than anybody lays over a page; most of it still finds room.
        let lost = laid.left.len() + laid.left_marks.len();
        assert!(
            lost * 4 < overlay.flags.len() + overlay.marks.len(),
            "{name}: {lost}"
        );
        let bare = svg(&view, DAY);
        let over = sheet(
            &view,
            DAY,
            &group_of(&laid, Hues::DAY, "sits-"),
            "A sentence.",
        );
        let parts = |s: &str| {
            let from = s.find("<g id=\"physical-wires\"").expect("wires");
            s[from..s
                .rfind("<g id=\"sits-over\"")
                .or(s.rfind("<text x=\"21\""))
                .expect("the foot")]
                .to_owned()
        };
        assert_eq!(parts(&over), parts(&bare));
        assert!(over.contains("A sentence.") && over.contains("id=\"sits-over\""));
    }
}

#[test]
fn groups_stand_beside_each_other_and_never_on_each_other() {
    for name in ["pip", "curlew", "turnstone"] {
        let circuit = wiring::read_one(&example(name)).circuit;
        let view = physical(&circuit);
        for (i, a) in view.groups.iter().enumerate() {
            for b in &view.groups[..i] {
                assert!(!a.area.hits(&b.area), "{name}: {} on {}", a.title, b.title);
            }
        }
    }
    let circuit = wiring::read_one(&example("pip")).circuit;
    let view = physical(&circuit);
    assert!(view.groups.windows(2).any(|g| g[0].area.y0 == g[1].area.y0));
}

#[test]
fn pins_run_clockwise_from_the_gap_at_the_foot() {
    // From below, clockwise, pin 1 next to the gap or key: practice of the RMA and IEC bases, from memory, not seen.
    let circuit = wiring::read_one("V1 12AX7\nV2 6V6GT\nV1.1 - R1 100k - B1\n").circuit;
    let view = physical(&circuit);
    for (name, pins) in [("V1", 9), ("V2", 8)] {
        let body = view
            .bodies
            .iter()
            .find(|b| circuit.parts[b.part].name == name)
            .expect("a socket");
        assert!(matches!(body.shape, Shape::Socket(_)));
        assert_eq!(body.ends.len(), pins);
        let (cx, cy) = (
            (body.outline.x0 + body.outline.x1) / 2,
            (body.outline.y0 + body.outline.y1) / 2,
        );
        let (first, last) = (body.ends[0].at, body.ends[pins - 1].at);
        // The page's y runs down: left of the foot is clockwise from it.
        assert!(first.0 < cx && first.1 > cy && last.0 > cx && last.1 > cy);
        assert!(body.ends[pins / 2].at.1 < cy);
    }
}

#[test]
fn places_make_boards_in_the_order_of_their_lugs() {
    let text = "R1 1k @ \"board 10\"\nR2 2k @ \"board 2\"\nR3 3k @ \"left panel\"\nR4 4k\nR1 - R2 - R3 - R4\n";
    let circuit = wiring::read_one(text).circuit;
    let view = physical(&circuit);
    let titles: Vec<_> = view
        .groups
        .iter()
        .map(|g| (g.title.as_str(), g.recorded))
        .collect();
    assert_eq!(
        titles,
        [
            ("board", true),
            ("left panel", true),
            ("no place noted", false)
        ]
    );
    let order: Vec<_> = view
        .bodies
        .iter()
        .map(|b| circuit.parts[b.part].name.as_str())
        .collect();
    assert_eq!(order, ["R2", "R1", "R3", "R4"]);
}

#[test]
fn what_is_assumed_is_dashed() {
    let seen = legal("R1 1k\nV1 12AX7\nV1.1 - R1 - V1.6\n");
    let assumed = legal("R1 1k\nV1 12AX7\nV1.1 - R1 - V1.6 ?\n");
    assert!(!seen.contains("stroke-dasharray=\"6 4\""));
    assert!(assumed.matches("stroke-dasharray=\"6 4\"").count() >= 2);
}

#[test]
fn damaged_wirings_are_legal() {
    let mut dice = ChaCha8Rng::seed_from_u64(5);
    for round in 0..120 {
        let text = example(["pip", "curlew", "turnstone"][round % 3]);
        let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
        if round % 2 == 0 {
            lines.shuffle(&mut dice);
        }
        lines.retain(|_| dice.random_range(0..10) > 1);
        for line in &mut lines {
            if dice.random_range(0..20) == 0 {
                let keep = dice.random_range(0..=line.chars().count());
                *line = line.chars().take(keep).collect();
            }
            if dice.random_range(0..30) == 0 {
                line.push_str(" @ \"somewhere quite far off 7\"");
            }
        }
        legal(&lines.join("\n"));
    }
    legal("");
}
