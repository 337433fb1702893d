//! What the pages work out of a wiring and its readings, without script: suspects, kin, the drawing while one types.

#![allow(clippy::unwrap_used, reason = "a failed step is a failed test")]

mod desk;
mod server;

use desk::{STAGE, read, start, take_in, trace};
use server::Page;

/// Other mains, another rectifier and another capacitor on the supply sheet: the rails before and after; a slip is said
/// with its remedy, and what was typed stays. Nothing of it is written down.
#[test]
fn what_if_on_the_supply_sheet() {
    let (_folder, server) = start();
    let mut b = server.browser();
    take_in(&mut b, "Pip", "Odo Kestle");
    trace(&mut b, include_str!("../../../examples/pip.wiring"));
    let supply = "/job/1/set-up?sheet=supply";
    let wired = b.get(supply);
    wired.has(&["What if", "V3 instead of 5Y3GT", "C7a instead of 16 µF"]);
    assert!(!wired.text.contains("What it changes"));
    let asked = "&mains=242+V&if+V3=silicon&if+C7a=32u+450V";
    let page = b.get(&format!("{supply}{asked}"));
    page.has(&[
        "Supply, what if",
        "What it changes",
        "mains 242 V",
        "As wired",
    ]);
    for (slip, words) in [
        (
            "&mains=much",
            &["`much` is no mains", "for example 233"][..],
        ),
        ("&if+C7a=a+lot", &["Describe it as in a wiring"][..]),
        ("&if+V3=6V6GT", &["V3"][..]),
    ] {
        let page = b.get(&format!("{supply}{slip}"));
        page.has(words);
        let typed = slip.split('=').nth(1).unwrap().replace('+', " ");
        assert!(page.text.contains(&typed), "{slip}");
    }
    assert!(!b.get(supply).text.contains("What it changes"));
}

/// The page of suspects in every state of a job; one press opens the next reading under its
/// conditions, and the reading leads back. Hands go in only where it is off.
#[test]
fn suspects_lead_to_the_next_reading_and_back() {
    let (_folder, server) = start();
    let mut b = server.browser();
    take_in(&mut b, "Dunlin", "Odo Kestle");
    b.get("/job/1/suspects").has(&["Nothing is traced yet"]);
    // half a tracing: nothing feeds the plate, so its reading is not weighed, and it says why
    trace(
        &mut b,
        &STAGE
            .replace("PS1  supply 262 V 1 ohm\n", "")
            .replace("B3 - +PS1 - ground\n", ""),
    );
    read(&mut b, "V1.1", "121");
    b.get("/job/1/suspects").has(&[
        "no reading weighed yet",
        "Readings that were not weighed, and why",
    ]);
    trace(&mut b, STAGE);
    read(&mut b, "B3", "262");
    let page = b.get("/job/1/suspects");
    page.has(&[
        "2 readings weighed",
        "What to do now",
        "To make sure",
        "Nothing wrong",
        "Not in the list",
    ]);
    // volts under power: opened with the way back, written, back
    let opened = b.send(&page.form("name=\"probe\""));
    opened.has(&["then back to the suspects"]);
    let back = b.send(
        &opened
            .form("name=\"shown\"")
            .with("shown", "0.9")
            .with("sure", "yes"),
    );
    back.has(&["3 readings weighed"]);
    b.get("/job/1/suspects?drawing=yes").has(&["suspect"]);
    // ohms: not before it is off
    let ohms = [("probe", "R4"), ("condition", "power off, discharged")];
    back.has(&["once it is off"]);
    assert_eq!(b.ask_post("/job/1/suspects", &ohms), Some(422));
    b.send_to("/job/1/power", &[("what", "plug out")]);
    assert_eq!(b.ask_post("/job/1/suspects", &ohms), Some(422));
    b.send_to("/job/1/power", &[("what", "stores"), ("point", "can")]);
    b.send_to("/job/1/power", &[("what", "no more points")]);
    for point in ["can", "V1.3"] {
        let read = [("what", "read"), ("point", point), ("volts", "0.4")];
        b.send_to("/job/1/power", &read);
    }
    let opened = b.send_to("/job/1/suspects", &ohms);
    opened.has(&["R4", "then back to the suspects"]);
    b.send(
        &opened
            .form("name=\"shown\"")
            .with("shown", "150k")
            .with("sure", "yes"),
    )
    .has(&["4 readings weighed", "power off", "R4"]);
    // an address that no reading has: nothing is written
    let nowhere = [("probe", "R99"), ("condition", "as found")];
    b.send_to("/job/1/suspects", &nowhere)
        .has(&["4 readings weighed"]);
}

/// Proposals with what they rest on; a verdict against one asks for words; one press keeps what nothing speaks against.
#[test]
fn parts_are_proposed_with_reasons_and_decided_by_hand() {
    let (_folder, server) = start();
    let mut b = server.browser();
    take_in(&mut b, "Dunlin", "Odo Kestle");
    b.get("/job/1/parts")
        .has(&["No part is traced or named yet"]);
    // half a tracing: no volts, so no strain, and what was read on the part still counts
    let half = "R4 100k 0.5W carbon original = 171k\nV1.1 - R4 - B3\n";
    trace(&mut b, half);
    b.get("/job/1/parts?at=R4").has(&[
        "R4",
        "watch?",
        "+71 %, more than",
        "What is not in these proposals",
    ]);
    let whole = STAGE
        .replace("R4 100k", "R4 100k 0.25W carbon original = 171k")
        .replace("C2 22n", "C2 22n 400V film original")
        .replace("+C1 25u 25V", "+C1 25u 25V electrolytic original");
    trace(&mut b, &whole);
    // what is to be replaced comes first
    let page = b.get("/job/1/parts");
    page.has(&[
        "C1",
        "cathode bypass",
        "presumed finished",
        "Worked",
        "If it fails",
        "33 µF 25 V electrolytic",
        "parts are said to be the maker's own",
        "Local electrical codes",
    ]);
    let page = b.get("/job/1/parts?at=R4");
    page.has(&[
        "plate load",
        "Its drift of +71 % changes V1.1",
        "What a new one brings",
        "V1.1 from",
        "100k 5 % 0.5 W film",
    ]);
    // against the proposal without a word: it is asked for, and nothing is written
    let page = b.send(&page.form("Why, in a few words").with("verdict", "keep"));
    page.has(&["Proposed is", "Say in a few words why", "replace?"]);
    let form = page.form("Why, in a few words").with("verdict", "keep");
    b.send(&form.with("reason", "the owner wants it in"));
    b.get("/job/1/parts?at=R4")
        .has(&["the owner wants it in", "Undecided 5"]);
    // the work list gets the part with its figures
    let page = b.get("/job/1/parts?at=C1");
    let to = page.link("To the work list");
    let typed = b.get(&to).form("Put on");
    assert_eq!(
        typed.value("title"),
        "fit 33 µF 25 V electrolytic, 105 °C for C1"
    );
    let page = b.get("/job/1/parts");
    page.has(&["Keep the 4 that nothing speaks against"]);
    let page = b.send(&page.form("that nothing speaks against"));
    page.has(&["Undecided 1", "C1"]);
    b.get("/job/1/journal").has(&["C2"]);
}

/// The page of a work that takes long, when it is there.
fn when_there(b: &mut server::Browser, address: &str) -> Page {
    let standing = address.replace("/driven?", "/driven/standing?");
    b.get(address);
    for _ in 0..6_000 {
        let now = b.get(&standing);
        if now.header("hx-refresh") == "true" {
            return b.get(address);
        }
        assert_eq!(now.status, 200, "{}", now.words());
        assert!(now.words().contains("so far"), "{}", now.words());
        std::thread::sleep(std::time::Duration::from_millis(100));
    }
    panic!("{address} never came");
}

/// What takes long is begun by its page, told while it goes on, stopped by a press, kept as a sheet when it is there.
#[test]
fn power_and_tremolo_are_worked_out_while_one_goes_on() {
    let (_folder, server) = start();
    let mut b = server.browser();
    take_in(&mut b, "Pip", "Odo Kestle");
    // nothing traced, half a tracing, a stage without a loudspeaker: each says what is missing
    for (wiring, power) in [
        ("", "no input jack is traced"),
        ("V1 12AX7\nV1.1 - R4 100k - B3\n", "no input jack is traced"),
        (STAGE, "no input jack is traced"),
    ] {
        if !wiring.is_empty() {
            trace(&mut b, wiring);
        }
        when_there(&mut b, "/job/1/driven?sheet=power").has(&[power, "Not known"]);
        when_there(&mut b, "/job/1/driven?sheet=tremolo").has(&["o tremolo oscillator was found"]);
    }
    trace(&mut b, include_str!("../../../examples/pip.wiring"));
    let page = when_there(&mut b, "/job/1/driven?sheet=power");
    page.has(&[
        "W clean",
        "distortion",
        "driven four times as hard",
        "Rails under drive",
        "Local electrical codes",
    ]);
    assert!(page.text.contains("Distortion over watts"));
    b.get(&page.link("Paper")).has(&["Power, clean"]);
    // another place of a knob is another work; with the volume off nothing arrives
    let off = "/job/1/driven?sheet=power&from=J1&at%20VOLUME=0";
    when_there(&mut b, off).has(&["turn the volume up"]);
    // a work of many seconds, stopped: what is there is shown, and it can be done again
    trace(&mut b, include_str!("../../../examples/curlew.wiring"));
    let page = b.get("/job/1/driven?sheet=tremolo");
    page.has(&[
        "Letting the tremolo run",
        "so far",
        "You can go on elsewhere",
    ]);
    b.send(&page.form("Stop, and show what is there"));
    when_there(&mut b, "/job/1/driven?sheet=tremolo").has(&["It was stopped"]);
}

#[test]
fn typing_leaves_parts_where_they_are_until_the_drawing_is_tidied() {
    let picture = |page: &Page| {
        let (_, rest) = page.text.split_once("<svg id=\"schematic\"").unwrap();
        rest.split_once("</svg>").unwrap().0.to_owned()
    };
    let whole = include_str!("../../../examples/pip.wiring");
    let (_folder, server) = start();
    let mut b = server.browser();
    take_in(&mut b, "Dunlin", "Mara Lind");
    let fresh = picture(&b.send_to("/job/1/look", &[("text", whole)]));

    let (_folder, server) = start();
    let mut b = server.browser();
    take_in(&mut b, "Dunlin", "Mara Lind");
    let lines: Vec<&str> = whole.lines().collect();
    for n in 20..lines.len() {
        b.send_to("/job/1/look", &[("text", &lines[..n].join("\n"))]);
    }
    let typed = picture(&b.send_to("/job/1/look", &[("text", whole)]));
    assert_ne!(typed, fresh, "parts stayed where they were first drawn");
    let again = picture(&b.send_to("/job/1/look", &[("text", whole)]));
    assert_eq!(typed, again);
    // the other state of the amplifier has places of its own
    let left = [("text", whole), ("state", "as left")];
    assert_eq!(picture(&b.send_to("/job/1/look", &left)), fresh);
    let tidy = [("text", whole), ("tidy", "yes")];
    assert_eq!(picture(&b.send_to("/job/1/look", &tidy)), fresh);
    // and without script by a link, here on the text as it was saved: nothing yet
    b.get("/job/1/tracing").has(&["Tidy the drawing"]);
    assert_eq!(b.get("/job/1/tracing?tidy=yes").status, 200);
}

/// Drawings handed in as files; the amp beside them; what is no drawing of it is told so.
#[test]
fn an_amp_beside_drawings_that_are_handed_in() {
    let (_folder, server) = start();
    let mut b = server.browser();
    take_in(&mut b, "Curlew", "Odo Kestle");
    b.get("/job/1/kin").has(&["Nothing is traced yet"]);
    trace(&mut b, include_str!("../../../examples/curlew.wiring"));
    b.get("/job/1/tracing").has(&["Which drawing is it?"]);
    b.get("/job/1/kin")
        .has(&["No drawing is chosen", "The shop has no drawing yet"]);

    let issue = include_str!("../../../examples/kin/curlew-first-issue.wiring");
    let page = b.upload("/job/1/kin", "first issue.wiring", issue.as_bytes());
    page.has(&[
        "1 first issue",
        "Against first issue",
        "Region by region",
        "wiring differs",
        "To make the amp as drawn",
        "As drawn: first issue",
        "only here",
        "only drawn",
        "The text of first issue",
    ]);
    // both schematics, and no id twice
    assert_eq!(page.text.matches("data-part=\"LS1\"").count(), 2);
    let mut ids: Vec<&str> = page
        .text
        .split(" id=\"")
        .skip(1)
        .filter_map(|rest| Some(rest.split_once('"')?.0))
        .collect();
    ids.sort_unstable();
    let all = ids.len();
    ids.dedup();
    assert_eq!(ids.len(), all, "an id stands twice");

    // one that says it is of this amp is taken without asking
    let later = include_str!("../../../examples/kin/curlew-later-production.wiring");
    b.upload("/job/1/kin", "later production.wiring", later.as_bytes());
    b.get("/job/1/kin").has(&[
        "1 first issue",
        "2 later production",
        "The volume and tone controls follow drawing 2",
    ]);

    // another amp, a text that is none, an empty wiring
    let pip = include_str!("../../../examples/pip.wiring");
    for (name, text) in [
        ("pip.wiring", pip),
        ("letter.txt", "Dear Odo,\nthe amp is done.\n"),
        ("head.wiring", "amp Marram Curlew\n"),
    ] {
        let page = b.upload("/job/1/kin", name, text.as_bytes());
        page.has(&["Not kin:", "not kin"]);
        assert!(!page.words().contains("To make the amp as drawn"), "{name}");
    }
    // a picture, and nothing at all
    let page = b.upload("/job/1/kin", "scan.png", &server::png());
    assert_eq!(page.status, 422);
    page.has(&["is not a text", "has to be typed"]);
    assert_eq!(b.upload("/job/1/kin", "none.wiring", b" \n").status, 422);
    // a drawing that is nowhere is no drawing
    b.get("/job/1/kin?with=9999&at=x")
        .has(&["No drawing is chosen"]);
    assert_eq!(b.get("/job/77/kin").status, 404);
}
