//! Whole jobs through the pages, without script: forms filled in and sent as a browser does.

#![allow(clippy::unwrap_used, reason = "a failed step is a failed test")]

mod desk;
mod server;

use desk::{STAGE, read, start, take_in, trace};
use server::{Browser, Page};

/// One stage, with a slip in its last line.
const HALF: &str = "V1 12AX7\nB3 262 V 1 ohm supply\n";

#[test]
fn a_whole_job_from_intake_to_the_closed_job() {
    let (_folder, server) = start();
    let mut b = server.browser();
    b.get("/").has(&["The bench is clear", "Take in an amp"]);

    // the bench's own settings
    let form = b.get("/settings").form("name=\"mains\"");
    b.send(&form.with("mains", "231 V").with("rate", "48"));
    let form = b.get("/settings").form("name=\"input_ohms\"");
    b.send(
        &form
            .with("name", "red meter")
            .with("input_ohms", "10M")
            .with("error_percent", "0.5"),
    )
    .has(&["red meter"]);

    // intake
    let page = take_in(&mut b, "Dunlin", "Odo Kestle");
    page.has(&[
        "Marram Dunlin",
        "It got loud and fat one evening",
        "Interview",
    ]);
    let form = page.form("name=\"digits\"");
    b.send(
        &form
            .with("found_on", "mains transformer")
            .with("digits", "123 6114"),
    )
    .has(&["week 14 of 1961"]);
    let form = b.get("/job/1/intake").form("name=\"ceiling\"");
    b.send(&form.with("says", "make it safe").with("ceiling", "380"));
    b.get("/job/1").has(&["of 380 agreed", "Odo Kestle said"]);
    let form = b.get("/job/1/intake").form("Intake is done");
    b.send(&form).has(&["Inspection", "unplugged"]);

    // inspection: an item answered, with its reason
    let page = b.get("/job/1/inspection?at=fuse-as-marked");
    let form = page.form("As it should be");
    let item = form.value("item").to_owned();
    b.send(&form.with("said", "yes").with("note", "T1A, as marked"));
    b.get(&format!("/job/1/inspection?at={item}"))
        .has(&["1 pass", "T1A, as marked"]);

    // tracing: the page points at what is wrong, keeps the text, and draws what it understood
    trace(&mut b, HALF).has(&["Line 2"]);
    let page = trace(&mut b, STAGE);
    page.has(&["Every line is understood", "7 parts", "Next loose end"]);
    assert!(
        page.text.contains("data-part=\"R4\""),
        "the schematic is on the page"
    );
    b.get("/job/1/revisions")
        .has(&["Revisions, as found", "supply 262 V 1 ohm"]);

    // the chart: judged against the band, a slip is asked about before it is written
    let page = b.get("/job/1/chart");
    page.has(&["V1.1", "expect", "not read"]);
    read(&mut b, "V1.3", "138").has(&["Nothing is written yet", "138 is right"]);
    b.get("/job/1/chart").has(&["0 of "]);
    let page = b.get("/job/1/chart?at=V1.3");
    let form = page.form("name=\"shown\"").with("shown", "138");
    let asked = b.send(&form);
    let meant = asked.form("It was 1.38");
    b.send(&meant).has(&["1 of ", "inside"]);
    read(&mut b, "V1.1", "121").has(&["outside"]);
    // a figure that is none is answered, not swallowed
    read(&mut b, "B3", "abc").has(&["abc"]);
    read(&mut b, "B3", "262").has(&["3 of "]);
    // corrected: both stay in the record
    let page = b.get("/job/1/chart?at=V1.1");
    page.has(&["Another figure corrects it"]);
    b.send(&page.form("name=\"shown\"").with("shown", "165"));
    b.get("/job/1/journal")
        .has(&["V1.1 read 165, corrected from 121"]);

    // undo is an entry of its own
    let page = b.get("/job/1/journal");
    b.send(&page.form("Undo the last")).has(&["(undone)"]);
    b.get("/job/1/chart?at=V1.1").has(&["121"]);

    // a verdict, work, set-up, safety, hand-over
    let form = b.get("/job/1/parts?at=R4").form("Why, in a few words");
    b.send(&form.with("verdict", "replace").with("reason", "risen"));
    b.get("/job/1/parts").has(&["R4", "replace", "Replace 1"]);
    let form = b.get("/job/1/work").form("name=\"title\"");
    b.send(&form.with("title", "new plate load").with("part", "R4"));
    b.get("/job/1/work").has(&["new plate load", "1 open"]);
    for step in ["cold", "power-up", "set-up", "safety", "play-test"] {
        let page = b.get(&format!("/job/1/{step}"));
        assert_eq!(page.status, 200, "{step}: {}", page.words());
    }
    b.get("/job/1/hand-over").has(&[
        "things open",
        "Work: new plate load",
        "Read the chart as left",
    ]);
    let form = b.get("/job/1/hand-over").form("Close it without");
    for bad in [
        &[][..],
        &[("reason", "the owner moves")],
        &[("signed", "Odo Kestle")],
    ] {
        assert_eq!(b.ask_post("/job/1/close", bad), Some(422), "{bad:?}");
    }
    b.get("/").has(&["One amp on the bench"]);
    let form = form
        .with("do", "close")
        .with("signed", "Odo Kestle")
        .with("reason", "the owner moves");
    b.send(&form).has(&["The bench is clear"]);
    b.get("/job/1/hand-over").has(&[
        "Not electrically safe. Left on the owner's signature: Odo Kestle.",
        "because: the owner moves.",
        "Chart as left: not read",
    ]);
    b.get("/find?q=dunlin").has(&["Marram Dunlin", "closed"]);
}

#[test]
fn a_job_without_any_tracing() {
    let (_folder, server) = start();
    let mut b = server.browser();
    take_in(&mut b, "Knot", "Maren Tuck");
    b.get("/job/1/chart").has(&["Nothing is traced yet"]);
    let form = b.get("/job/1/chart?at=").form("name=\"shown\"");
    b.send(&form.with("point", "V1.3").with("shown", "1.4"));
    b.get("/job/1/chart?at=V1.3").has(&["1.4"]);
    let form = b.get("/job/1/parts").form("name=\"part\"");
    b.send(
        &form
            .with("part", "can by the rectifier")
            .with("verdict", "replace"),
    )
    .has(&["can by the rectifier"]);
    for step in [
        "intake",
        "inspection",
        "cold",
        "power-up",
        "tracing",
        "chart",
        "parts",
        "work",
        "set-up",
        "safety",
        "play-test",
        "hand-over",
        "journal",
        "photos",
        "revisions",
    ] {
        let page = b.get(&format!("/job/1/{step}"));
        assert_eq!(page.status, 200, "{step}");
    }
}

/// Guards a life both ways: a two-wire cord bars the way home while it is in the wiring as left, and the amp that got
/// its third wire is judged as it leaves, not as it came.
#[test]
fn what_is_proved_is_the_amp_as_it_leaves() {
    let (_folder, server) = start();
    let mut b = server.browser();
    take_in(&mut b, "Dunlin", "Odo Kestle");
    let old = format!("cord two-wire\n{STAGE}");
    trace(&mut b, &old);
    for page in ["safety", "hand-over"] {
        b.get(&format!("/job/1/{page}")).has(&["two-wire cord"]);
    }
    // wired anew with the old cord still on: barred as before
    let left = |b: &mut Browser, text: &str| {
        let form = b.get("/job/1/tracing?state=as%20left");
        let form = form.form("name=\"base\"");
        b.send(&form.with("text", text))
    };
    left(&mut b, &old);
    b.get("/job/1/hand-over").has(&["two-wire cord"]);
    left(&mut b, STAGE);
    for page in ["safety", "hand-over", "report?version=full"] {
        let page = b.get(&format!("/job/1/{page}"));
        assert_eq!(page.status, 200);
        assert!(!page.words().contains("two-wire cord"), "{}", page.words());
    }
    // what nobody tested still bars
    b.get("/job/1/hand-over").has(&["not tested"]);
}

/// Guards a life: the page never says OFF before the plug is out and every point was read.
#[test]
fn off_is_said_only_when_every_point_is_read() {
    let (_folder, server) = start();
    let mut b = server.browser();
    take_in(&mut b, "Dunlin", "Odo Kestle");
    let off = |page: &Page| page.text.contains("cell power off");
    let say = |b: &mut Browser, fields: &[(&str, &str)]| b.send_to("/job/1/power", fields);
    let page = b.get("/job/1");
    page.has(&["TAKE AS LIVE"]);
    assert!(!off(&page));
    assert!(!off(&say(&mut b, &[("what", "plug out")])));
    // nothing is traced: each has to be named, and that there are no more
    assert!(!off(&say(&mut b, &[("what", "stores"), ("point", "can")])));
    assert!(!off(&say(&mut b, &[("what", "no more points")])));
    for wrong in ["OL", "", "10", "262", "-40"] {
        let page = say(
            &mut b,
            &[("what", "read"), ("point", "can"), ("volts", wrong)],
        );
        assert!(!off(&page), "{wrong}");
        assert!(!off(&b.get("/job/1")), "{wrong}");
    }
    let page = say(
        &mut b,
        &[("what", "read"), ("point", "can"), ("volts", "0.4")],
    );
    assert!(off(&page), "{}", page.words());
    let page = say(&mut b, &[("what", "plug in")]);
    page.has(&["LIVE"]);
    assert!(!off(&page));
    // half a tracing knows some points only
    trace(&mut b, "B1 - +C1 16u 450V - ground\n");
    say(&mut b, &[("what", "plug out")]);
    let page = say(
        &mut b,
        &[("what", "read"), ("point", "B1"), ("volts", "0.4")],
    );
    assert!(!off(&page), "{}", page.words());
}

/// Guards a life: ohms are written only where it is off.
#[test]
fn no_ohms_are_written_before_it_is_off() {
    let (_folder, server) = start();
    let mut b = server.browser();
    take_in(&mut b, "Dunlin", "Odo Kestle");
    trace(
        &mut b,
        "V1 12AX7\nV1.1 - R4 100k - B3\nV1.3 - R5 1k5 - ground\nB3 - +C1 16u 450V - ground\n",
    );
    let page = b.get("/job/1/cold");
    page.has(&["Unplug, clip on", "once the cell above says OFF"]);
    assert!(!page.text.contains("id=\"shown\""));
    let ohms = [("step", "cold"), ("item", "V1.3"), ("said", "1.5k")];
    assert_eq!(b.ask_post("/job/1/answer", &ohms), Some(422));
    b.send_to("/job/1/power", &[("what", "plug out")]);
    b.get("/job/1/cold").has(&["Name what stores charge"]);
    b.send_to("/job/1/power", &[("what", "no more points")]);
    b.get("/job/1/cold").has(&["Clip on, read B3"]);
    assert_eq!(b.ask_post("/job/1/answer", &ohms), Some(422));
    b.send_to(
        "/job/1/power",
        &[("what", "read"), ("point", "B3"), ("volts", "0.4")],
    );
    let page = b.get("/job/1/cold");
    assert!(
        page.text.contains("id=\"shown\"") && !page.text.contains("Clip on, read"),
        "{}",
        page.words()
    );
}

/// The plan's steps lead to the chart under their own conditions; set-up is kept when it is done;
/// each sheet is a page of paper.
#[test]
fn power_up_set_up_and_paper() {
    let (_folder, server) = start();
    let mut b = server.browser();
    take_in(&mut b, "Pip", "Odo Kestle");
    trace(&mut b, include_str!("../../../examples/pip.wiring"));
    let page = b.get("/job/1/power-up");
    page.has(&[
        "Variable transformer: no valves",
        "25 %, 58 V",
        "On the 40 W lamp",
    ]);
    let form = page.form("aria-label=\"Read at 58 V, only the rectifier V3\"");
    let page = b.send(&form);
    page.has(&["58 V", "only V3"]);
    assert!(page.text.contains("id=\"shown\""), "on the chart");
    for (sheet, words) in [
        ("bias", "Output stage at idle"),
        ("heaters", "Heaters"),
        ("supply", "Supply"),
    ] {
        let page = b.get(&format!("/job/1/set-up?sheet={sheet}"));
        page.has(&[words, "What is read on the chart"]);
        assert!(
            !page.text.contains("name=\"said\""),
            "nothing is typed here"
        );
    }
    let form = b.get("/job/1/set-up").form("Set-up is done");
    b.send(&form);
    b.get("/job/1/journal")
        .has(&["bias sheet kept", "heaters sheet kept", "supply sheet kept"]);
    for sheet in [
        "chart",
        "inspection",
        "cold",
        "power-up",
        "bias",
        "heaters",
        "supply",
        "safety",
        "play-test",
    ] {
        let page = b.get(&format!("/job/1/paper?sheet={sheet}"));
        page.has(&["CAUTION.", "Marram Pip"]);
        assert!(!page.text.contains("<style"), "{sheet}");
        let style = b.get(&format!("/job/1/paper.css?sheet={sheet}"));
        assert!(style.text.contains("@page{size:A4"), "{sheet}");
    }
    assert_eq!(b.get("/job/1/paper?sheet=nothing").status, 404);
    let form = b.get("/settings").form("name=\"mains\"");
    b.send(&form.with("paper", "Letter"));
    assert!(
        b.get("/job/1/paper.css?sheet=chart")
            .text
            .to_lowercase()
            .contains("@page{size:letter")
    );
}

#[test]
fn two_browsers_on_one_job_lose_nothing() {
    let (_folder, server) = start();
    let (mut here, mut there) = (server.browser(), server.browser());
    take_in(&mut here, "Dunlin", "Odo Kestle");
    trace(&mut here, STAGE);
    let device = there.get("/settings").form("Its name in the journal");
    there.send(&device.with("name", "Phone"));
    // different lines: both stay
    let mine = here.get("/job/1/tracing").form("name=\"base\"");
    let theirs = there.get("/job/1/tracing").form("name=\"base\"");
    let text = mine.value("text").to_owned();
    there.send(&theirs.with("text", &text.replace("R1 1M", "R1 470k")));
    here.send(&mine.with("text", &format!("{text}next - R6 1M - ground\n")))
        .has(&["R1 470k", "R6 1M"]);
    // the same line: both texts are shown, both are kept
    let mine = here.get("/job/1/tracing").form("name=\"base\"");
    let theirs = there.get("/job/1/tracing").form("name=\"base\"");
    let text = mine.value("text").to_owned();
    there.send(&theirs.with("text", &text.replace("R4 100k", "R4 220k")));
    let clash = here.send(&mine.with("text", &text.replace("R4 100k", "R4 150k")));
    clash.has(&["was changed elsewhere", "R4 150k", "R4 220k", "Phone"]);
    let settled = here.send(&clash.form("Save it so").with("way0", "here"));
    settled.has(&["R4 150k"]);
    assert!(!settled.form("name=\"base\"").value("text").contains("220k"));
    let all = here.get("/job/1/revisions");
    all.has(&["kept aside in a clash", "Phone"]);
    // fields of the job: what stands there now comes back, nothing is written
    let mine = here.get("/job/1").form("name=\"waits_text\"");
    let theirs = there.get("/job/1").form("name=\"waits_text\"");
    there.send(&theirs.with("waits_text", "a can capacitor"));
    let clash = here.send(&mine.with("waits_text", "two valves"));
    assert_eq!(clash.status, 409);
    clash.has(&["a can capacitor", "two valves", "Nothing is written yet"]);
    let both = clash.form(">Both<").with("back", "/job/1");
    let page = here.send(&both);
    assert_eq!(page.status, 200);
    here.get("/job/1/journal").has(&["what the job waits for"]);
}

/// From a verdict to an order, a short delivery, the late one, and the amp that can be finished.
#[test]
fn what_a_verdict_asks_for_is_ordered_comes_short_and_comes_late() {
    let (_folder, server) = start();
    let mut b = server.browser();
    take_in(&mut b, "Dunlin", "Odo Kestle");
    trace(&mut b, STAGE);
    let verdict = [("part", "C2"), ("verdict", "replace"), ("reason", "leaks")];
    b.send_to("/job/1/verdict", &verdict);
    let page = b.get("/orders");
    page.has(&["Asked for by a verdict", "C2", "22 nF"]);
    b.send_to("/orders", &[("do", "vendor"), ("name", "Quillon")]);
    let form = b
        .get("/orders?job=1&part=C2&spec=22n%20400V")
        .form("name=\"part\"");
    assert_eq!(form.value("part"), "C2");
    let need = [
        ("do", "need"),
        ("job", "1"),
        ("what", "coupling capacitor"),
        ("part", "C2"),
        ("spec", "22n 400V film"),
        ("unit", "piece"),
        ("quantity", "2"),
    ];
    b.send_to("/orders", &need);
    let page = b.get("/orders");
    page.has(&["Still to order", "coupling capacitor", "22n 400V film"]);
    assert!(!page.text.contains("Asked for by a verdict"));
    for bad in [("price", "3.141"), ("promised", "soon"), ("vendor", "7")] {
        let fields = [("do", "order"), ("need", "1"), ("vendor", "1"), bad];
        let fields: Vec<_> = fields
            .iter()
            .copied()
            .filter(|f| f.0 != "vendor" || bad.0 != "vendor" || f.1 == "7")
            .collect();
        let status = b.ask_post("/orders", &fields);
        assert!(matches!(status, Some(404 | 422)), "{bad:?}: {status:?}");
    }
    let order = [
        ("do", "order"),
        ("need", "1"),
        ("vendor", "1"),
        ("reference", "Q 118"),
        ("price", "12.50"),
        ("currency", "EUR"),
        ("today", "2026-11-20"),
        ("promised", "2026-11-25"),
    ];
    b.send_to("/orders", &order);
    b.get("/orders").has(&["2 to come", "No amp has all"]);
    assert!(!b.get("/").text.contains("Short:"));
    let came = [("line", "1"), ("came", "right"), ("quantity", "1")];
    b.send_to("/orders/line", &came);
    let wrong = [
        ("line", "1"),
        ("came", "wrong"),
        ("quantity", "1"),
        ("promised", "2026-12-05"),
        ("note", "2n2 came"),
    ];
    b.send_to("/orders/line", &wrong);
    b.get("/orders?write=1")
        .has(&["1 line short", "1 short", "Q 118", "2n2 came", "came wrong"]);
    b.get("/").has(&["Short: coupling capacitor"]);
    b.send_to("/orders/line", &came);
    let page = b.get("/orders");
    page.has(&[
        "Can be finished today",
        "coupling capacitor here",
        "Nothing is owed",
    ]);
    assert!(!b.get("/").text.contains("Short:"));
    let table = b.get("/orders.csv");
    assert!(table.header("content-type").starts_with("text/csv"));
    table.has(&["Quillon,Q 118,2026-11-20,1,C2,coupling capacitor,22n 400V film,piece,2,2,0,2026-12-05,12.50,EUR"]);
    // what is on the shelf goes no lower than nothing
    let keep = [
        ("do", "stock"),
        ("what", "fuse"),
        ("unit", "piece"),
        ("quantity", "3"),
    ];
    b.send_to("/orders", &keep);
    let out = [("do", "out"), ("item", "1"), ("quantity", "4")];
    assert_eq!(b.ask_post("/orders", &out), Some(422));
    for bad in ["", "-1", "0", "1e3", "99999999999999999999"] {
        let out = [("do", "out"), ("item", "1"), ("quantity", bad)];
        assert_eq!(b.ask_post("/orders", &out), Some(422), "{bad}");
    }
}

/// Every page: one heading, no doubled id, labels on all fields, nothing inline, links that lead
/// somewhere.
#[test]
fn every_page_is_well_made() {
    let (_folder, server) = start();
    let mut b = server.browser();
    take_in(&mut b, "Dunlin", "Odo Kestle");
    trace(&mut b, STAGE);
    read(&mut b, "B3", "262");
    let mut seen = 0;
    b.walk(&["/", "/keys", "/new", "/find"], 220, |page| {
        let plain = &page.address;
        assert_eq!(page.status, 200, "{plain}");
        seen += 1;
        if !page.header("content-type").starts_with("text/html") {
            return;
        }
        assert!(
            page.header("content-security-policy")
                .contains("default-src 'none'")
        );
        for bad in [
            " style=\"",
            "<style",
            "javascript:",
            " onclick",
            " onload",
            "{inf}",
            "NaN",
        ] {
            assert!(!page.text.contains(bad), "{plain} has `{bad}`");
        }
        for script in page.text.split("<script").skip(1) {
            assert!(script.starts_with(" defer src=\"/assets/"), "{plain}");
        }
        assert_eq!(page.text.matches("<h1").count(), 1, "{plain}: one heading");
        let mut ids: Vec<&str> = page
            .text
            .split(" id=\"")
            .skip(1)
            .map(|t| t.split('"').next().unwrap())
            .collect();
        ids.sort_unstable();
        let count = ids.len();
        ids.dedup();
        assert_eq!(ids.len(), count, "{plain}: an id stands twice");
        for link in page.links() {
            assert!(
                link.starts_with('/') || link.starts_with('#'),
                "{plain}: {link}"
            );
        }
    });
    assert!(seen > 30, "{seen}");
    let page = b.get("/no/such/page");
    assert_eq!(page.status, 404);
    page.has(&["There is no such page"]);
    assert_eq!(b.get("/job/99").status, 404);
}

/// A photo is tied where the hand is, in one press: from the reading of a point, then also to a part;
/// both pages show it, and untied it is still the job's.
#[test]
fn a_photo_is_tied_to_a_reading_in_one_press() {
    let (_folder, server) = start();
    let mut b = server.browser();
    take_in(&mut b, "Dunlin", "Odo Kestle");
    trace(&mut b, STAGE);
    let small = "/job/1/photos/1/small";
    let chart = "/job/1/chart?at=V1.1";
    // before anything is read, the photo belongs to the point
    assert!(
        b.get(chart)
            .text
            .contains("photos?kind=point&amp;target=V1.1")
    );
    read(&mut b, "V1.1", "121");
    assert!(
        b.get(chart)
            .text
            .contains("photos?kind=reading&amp;target=1")
    );
    b.upload("/job/1/photos", "probe.png", &server::png());
    assert!(!b.get(chart).text.contains(small));
    let tied = b.get("/job/1/photos?kind=reading&target=1");
    let page = b.send(&tied.form("Tie to 1").with("do", "tie"));
    assert_eq!(page.status, 200, "{}", page.words());
    page.has(&["reading 1", "Untie"]);
    assert!(b.get(chart).text.contains(small), "the point shows it");
    assert!(!b.get("/job/1/chart?at=B3").text.contains(small));
    let tied = b.get("/job/1/photos?kind=part&target=R4");
    b.send(&tied.form("Tie to R4").with("do", "tie"));
    assert!(b.get("/job/1/parts?at=R4").text.contains(small));
    let both = b.get("/job/1/photos");
    both.has(&["reading 1", "part R4"]);
    b.send(&both.form("Untie from reading 1"));
    assert!(!b.get(chart).text.contains(small));
    b.get("/job/1/photos").has(&["part R4", "probe.png"]);
    b.get("/job/1/journal").has(&["photo"]);
}
