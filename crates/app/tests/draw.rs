//! `draw` as a technician runs it: the picture is whole, says what it shows, and half a tracing is no obstacle.

mod common;

use common::{run, run_with};

/// Parts of an example, by the JSON summary.
fn summary(name: &str) -> serde_json::Value {
    run(&["draw", "--json", &format!("examples/{name}.wiring")])
        .ends(0)
        .json()
}

#[test]
fn the_examples_keep_the_conventions() {
    for name in ["pip", "curlew", "turnstone"] {
        let drawn = summary(name);
        assert_eq!(drawn["plain"], false, "{name}");
        assert_eq!(drawn["loose"], 0, "{name}");
        let (kept, met) = (
            drawn["conventions_kept"].as_f64().expect("kept"),
            drawn["conventions_met"].as_f64().expect("met"),
        );
        assert!(met > 20.0 && kept >= 0.95 * met, "{name}: {kept} of {met}");
    }
}

#[test]
fn the_picture_holds_every_part_and_no_script() {
    let ran = run(&["draw", "examples/pip.wiring"]);
    ran.ends(0).calm();
    assert!(ran.out.starts_with("<svg"));
    for part in ["V1", "R14", "C7a", "VOLUME", "LS1", "12AX7"] {
        assert!(ran.out.contains(part), "{part}");
    }
    assert!(ran.out.contains("<title>"));
    for forbidden in ["<script", "style=", "<style", "href=\"http"] {
        assert!(!ran.out.contains(forbidden), "{forbidden}");
    }
    let again = run(&["draw", "examples/pip.wiring"]);
    assert_eq!(ran.out, again.out);
}

#[test]
fn zigzags_differ_from_boxes() {
    let boxes = run(&["draw", "examples/pip.wiring"]).out;
    let zigzags = run(&["draw", "--ieee", "examples/pip.wiring"]).out;
    assert_ne!(boxes, zigzags);
}

#[test]
fn files_are_written_whole() {
    let folder = tempfile::tempdir().expect("a folder");
    for (name, start) in [("amp.svg", &b"<svg"[..]), ("amp.png", &b"\x89PNG"[..])] {
        let path = folder.path().join(name);
        let ran = run(&[
            "draw",
            "examples/pip.wiring",
            "-o",
            path.to_str().expect("a path"),
        ]);
        ran.ends(0).fits();
        assert!(ran.out.contains("48 parts"), "{}", ran.out);
        let bytes = std::fs::read(&path).expect("the picture");
        assert!(bytes.starts_with(start), "{name}");
    }
    let ran = run(&["draw", "examples/pip.wiring", "-o", "amp.bmp"]);
    ran.ends(2).fits();
    assert!(ran.err.contains(".svg"), "{}", ran.err);
}

#[test]
fn half_a_tracing_is_drawn() {
    for text in [
        "V1.1 - R1 100k - B1\n",
        "V1 12AX7\n",
        "",
        "R1 47k\nZ9 box a b\n",
    ] {
        let ran = run_with(&["draw", "-"], text.as_bytes());
        ran.calm();
        assert!(
            ran.out.starts_with("<svg"),
            "{text}\n{}\n{}",
            ran.out,
            ran.err
        );
    }
}

#[test]
fn readings_lie_over_the_drawing_with_their_verdicts() {
    let amp = "examples/stage.wiring";
    let drawn = run(&["draw", "--json", "--over", "verdicts", amp])
        .ends(0)
        .json();
    let points = drawn["over"]["points"].as_array().expect("points");
    let plate = points.iter().find(|p| p["point"] == "V1.1").expect("V1.1");
    // The chart of README.md: 121 for 169, outside.
    assert_eq!(plate["read"], "121");
    assert_eq!(plate["standing"], "outside, low");
    assert_eq!(plate["placed"], true);
    let ran = run(&["draw", "--over", "verdicts", amp]);
    ran.ends(0).calm();
    assert!(ran.out.contains("V1.1: 121 read for 169, outside, low"));
    // The drawing below it is the one without.
    let bare = run(&["draw", amp]).out;
    let parts = |s: &str| {
        s[s.find("<g id=\"wires\"").expect("wires")..s.find("<g id=\"labels\"").expect("labels")]
            .to_owned()
    };
    assert_eq!(parts(&bare), parts(&ran.out));
    // Figures lead hands into a live chassis: the caution stands on the sheet.
    assert!(ran.out.contains("holds voltages that kill"));
    assert!(!bare.contains("holds voltages that kill"));
}

#[test]
fn what_an_overlay_lacks_is_told() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("amp.svg");
    let path = path.to_str().expect("a path");
    let ran = run_with(
        &["draw", "--over", "volts,verdicts", "-o", path, "-"],
        b"V1 12AX7\nV1.1 - R1 100k - B1\n",
    );
    ran.ends(0).fits();
    for words in ["Nothing was read", "Not computed", "holds voltages"] {
        assert!(ran.out.contains(words), "{words}: {}", ran.out);
    }
    // Readings across parts stand at no point of the drawing; they are told beside it.
    let ran = run(&[
        "draw",
        "examples/pip.wiring",
        "--readings",
        "examples/pip.readings",
        "--over",
        "verdicts",
        "-o",
        path,
    ]);
    ran.ends(0).fits();
    assert!(ran.out.contains("B1 to B2 9.38, inside"), "{}", ran.out);
}

#[test]
fn suspects_lie_over_the_drawing_and_say_what_they_need() {
    let amp = "examples/pip.wiring";
    let read = [
        "draw",
        "--over",
        "suspects",
        amp,
        "--readings",
        "examples/pip.readings",
    ];
    let drawn = run(&read);
    drawn.ends(0).calm();
    assert!(drawn.out.contains("holds voltages that kill"));
    // The first of the ranking is marked with its chance; nothing below it moved.
    let ranked = run(&[
        "suspects",
        "--json",
        amp,
        "--readings",
        "examples/pip.readings",
    ])
    .ends(0)
    .json();
    let first = ranked["suspects"][0]["part"]
        .as_str()
        .expect("a suspect")
        .to_owned();
    let laid = run(&[&read[..], &["--json"]].concat()).ends(0).json();
    let marks = laid["over"]["parts"].as_array().expect("marks");
    assert_eq!(marks.first().expect("a mark")["part"], first.as_str());
    let words = marks[0]["text"].as_str().expect("words");
    assert!(
        words.starts_with("suspect ") && words.ends_with(" %"),
        "{words}"
    );
    let wires = |s: &str| {
        s[s.find("<g id=\"wires\"").expect("wires")..s.find("<g id=\"labels\"").expect("labels")]
            .to_owned()
    };
    assert_eq!(wires(&run(&["draw", amp]).out), wires(&drawn.out));
    // Without a reading nobody is suspected.
    let none = run_with(
        &["draw", "--over", "suspects", "--json", "-"],
        b"V1 12AX7\nV1.1 - R1 100k - B1\n",
    )
    .ends(0)
    .json();
    assert!(
        none["over"]["missing"][0]
            .as_str()
            .expect("a sentence")
            .contains("Nothing was read")
    );
}

#[test]
fn strain_lies_over_both_views() {
    let amp = "examples/pip.wiring";
    let rows = run(&["stress", "--json", amp]).ends(0).json();
    let rows = rows["parts"].as_array().expect("rows").clone();
    // The worst row of each part that is over or hot, in the sheet's own order.
    let mut worked: Vec<(String, f64)> = Vec::new();
    for row in &rows {
        let name = row["part"].as_str().expect("a name").to_owned();
        let hard = ["over", "hot", "over_sheet_as_made"];
        if hard.contains(&row["verdict"].as_str().expect("a verdict"))
            && worked.iter().all(|w| w.0 != name)
        {
            worked.push((name, row["ratio"].as_f64().expect("a ratio")));
        }
    }
    assert!(!worked.is_empty());
    for view in [&["draw", "--json"][..], &["draw", "--physical", "--json"]] {
        let laid = run(&[view, &["--over", "stress", amp]].concat())
            .ends(0)
            .json();
        let marks = laid["over"]["parts"].as_array().expect("marks");
        assert_eq!(marks.len(), worked.len());
        for (name, ratio) in &worked {
            let mark = marks
                .iter()
                .find(|m| m["part"] == name.as_str())
                .expect("a mark");
            let words = mark["text"].as_str().expect("words");
            assert!(
                words.contains(&format!("{:.0} % of ", ratio * 100.0)),
                "{name}: {words}"
            );
        }
        let missing = laid["over"]["missing"].to_string();
        assert!(missing.contains("Rating not known"), "{missing}");
    }
    let bare = run(&["draw", "--physical", amp]).out;
    let over = run(&["draw", "--physical", "--over", "stress,parts", amp]).out;
    let wires = |s: &str| {
        let from = s.find("<g id=\"physical-wires\"").expect("wires");
        s[from..from + s[from..].find("</g>").expect("an end")].to_owned()
    };
    assert_eq!(wires(&bare), wires(&over));
    assert!(over.contains("% of 400 V<") && over.contains(">replaced<"));
    assert!(over.contains("holds voltages that kill") && !bare.contains("voltages that kill"));
}

#[test]
fn places_are_told_as_json() {
    let sits = run(&["draw", "--physical", "--json", "examples/pip.wiring"])
        .ends(0)
        .json();
    let parts = sits["parts"].as_array().expect("parts");
    let r4 = parts.iter().find(|p| p["part"] == "R4").expect("R4");
    assert_eq!(
        (&r4["place"], &r4["stands_in"], &r4["recorded"]),
        (&"board 1".into(), &"board".into(), &true.into())
    );
    let wires = sits["wires"].as_array().expect("wires");
    assert!(
        wires
            .iter()
            .all(|w| w["from"].is_string() && w["to"].is_string())
    );
    // A drawing's resistor symbol has no meaning on a plan.
    run(&["draw", "--physical", "--ieee", "examples/pip.wiring"]).ends(2);
}

#[test]
fn parts_lie_over_the_drawing_without_the_caution() {
    let ran = run(&["draw", "--over", "parts", "examples/turnstone.wiring"]);
    ran.ends(0).calm();
    assert!(ran.out.contains(">replaced<") && ran.out.contains(">added<"));
    run(&["draw", "--over", "colours", "examples/pip.wiring"])
        .ends(2)
        .fits();
    run(&[
        "draw",
        "--over",
        "volts",
        "--block",
        "nowhere",
        "examples/pip.wiring",
    ])
    .ends(2)
    .fits();
}
