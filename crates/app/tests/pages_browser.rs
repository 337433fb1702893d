//! The pages in a real Chromium: whole jobs by keyboard alone and on a phone, two browsers on one wiring, both views
//! of the parts.

#![allow(clippy::unwrap_used, reason = "a failed step is a failed test")]

mod chromium;
mod desk;
mod server;

use chromium::{Chromium, pictures, shuts_out};
use desk::{STAGE, begun};
use serde_json::json;
use server::Server;

/// From the empty bench to the closed job without a mouse: every page is reached and left by keys.
fn a_whole_job(width: u32, height: u32, phone: bool) {
    let folder = tempfile::tempdir().unwrap();
    let server = Server::start(&folder.path().join("shop"), &[]);
    let mut c = Chromium::start();
    c.screen(width, height, phone);
    c.open(&format!("http://{}", server.host));
    // the filled button of the empty bench
    c.key("Enter");
    c.at("/new");
    for (field, text) in [
        ("[name=words]", "It hums whatever I do."),
        ("[name=maker]", "Marram"),
        ("[name=model]", "Dunlin"),
        ("[name=serial]", "00642"),
        ("[name=name]", "Odo Kestle"),
    ] {
        c.tab_to(field);
        c.text(text);
    }
    c.key("Enter");
    c.at("/job/1/intake");
    c.tab_to("[name=digits]");
    c.text("123 6114");
    c.key("Enter");
    c.wait(
        "document.readyState === 'complete' && document.body.innerText.includes('week 14 of 1961')",
    );
    // Enter on nothing presses the filled button: the intake is done
    c.key("Enter");
    c.at("/job/1/inspection");

    // OFF is said by the plug, the names of what stores charge, and their volts
    for (what, text) in [
        ("button[value='plug out']", ""),
        ("[name=point]", "can"),
        ("button[value='no more points']", ""),
        ("[name=volts]", "0.4"),
    ] {
        c.tab_to(".power summary");
        c.key("Enter");
        c.tab_to(&format!(".power[open] {what}"));
        if !text.is_empty() {
            c.text(text);
        }
        let before = c.eval("document.querySelector('.power').innerText");
        c.key("Enter");
        c.wait(&format!(
            "document.readyState === 'complete' && document.querySelector('.power') && document.querySelector('.power').innerText !== {before}"
        ));
    }
    c.wait("document.querySelector('.power.off')");
    c.tab_to("#shown");
    c.text("0.4");
    c.key("Enter");
    c.wait("document.readyState === 'complete' && document.body.innerText.includes('1 pass')");
    // a digit answers what wants a word
    c.key("1");
    c.wait("document.readyState === 'complete' && document.body.innerText.includes('2 pass')");
    for step in ["cold", "power-up", "tracing"] {
        c.key("F9");
        c.at(&format!("/job/1/{step}"));
    }

    // what is typed is drawn, what is wrong is answered with a press
    c.tab_to("#text");
    c.eval("document.activeElement.setSelectionRange(9999, 9999)");
    c.text(&STAGE.replace("25u 25V", "25"));
    c.wait("document.querySelector('[data-part=R4]') && document.querySelector('.problems .answers button')");
    c.key("Tab");
    c.wait("document.activeElement?.matches('.answers button')");
    // the first answer: microfarads
    let answers = c.eval(
        "[...document.querySelectorAll('.problems .answers button')].map(b => b.innerText).join()",
    );
    let micro = answers
        .as_str()
        .unwrap()
        .split(',')
        .position(|a| a == "25u")
        .unwrap()
        + 1;
    c.key(&micro.to_string());
    c.wait("document.querySelector('.problems.none')");
    let typed = c.eval("document.querySelector('#text').value");
    assert!(typed.as_str().unwrap().contains("+C1 25u"), "{typed}");
    c.ctrl("s");
    c.wait("document.querySelector('#saved').textContent === 'saved'");
    c.key("F9");
    c.at("/job/1/chart");

    // the verdict comes while the figure is typed; Enter writes it and goes on
    c.wait("document.activeElement?.id === 'shown'");
    read(&mut c, "B3", "262");
    // a slip of the range is asked about before it is written
    to_point(&mut c, "V1.3");
    c.text("138");
    c.key("Enter");
    c.wait("document.querySelector('.slip') && document.activeElement?.matches('.slip button')");
    c.key("Enter");
    c.wait("document.readyState === 'complete' && !document.querySelector('.slip') && document.querySelector('.head, main').innerText.includes('2 of')");
    // letters act in the empty box: why, and undo as a new entry
    c.wait("document.activeElement?.id === 'shown'");
    c.key("y");
    c.wait("document.querySelector('#why') && document.querySelector('#why').open");
    c.key("z");
    // the strip of conditions counts too: only the head says how many points are read
    c.wait("document.readyState === 'complete' && document.querySelector('.head')?.innerText.includes('1 of 5 read')");
    c.key("Escape");
    c.key("j");
    c.at("/job/1/journal");
    c.wait("document.body.innerText.includes('undone')");

    // verdicts by letters, a work item, and on along the wire
    c.eval("history.back()");
    c.at("/job/1/chart");
    c.key("F9");
    c.at("/job/1/parts");
    for letter in ["k", "r"] {
        let part = c.eval("document.querySelector('.point-now').textContent");
        c.key(letter);
        if letter == "r" {
            // the figures ask to keep it: a few words come first, and Enter then means what was pressed
            c.wait("document.activeElement?.name === 'reason'");
            c.text("cracked");
            c.key("Enter");
        }
        c.wait(&format!(
            "document.readyState === 'complete' && document.querySelector('.point-now') && document.querySelector('.point-now').textContent !== {part}"
        ));
    }
    let given = c.eval("[...document.querySelectorAll('.parts-table tr')].map(r => r.innerText).find(t => t.startsWith('C2'))");
    assert!(given.as_str().unwrap().ends_with("replace"), "{given}");
    c.key("F9");
    c.at("/job/1/work");
    c.tab_to("[name=title]");
    c.text("clean the sockets");
    c.key("Enter");
    c.wait("document.readyState === 'complete' && document.querySelector('.work-list summary')");
    c.tab_to(".work-list summary");
    c.key("Enter");
    c.tab_to(".work-list [value=done]");
    c.key("Enter");
    c.wait("document.readyState === 'complete' && document.body.innerText.includes('0 open')");
    for step in ["set-up", "safety", "play-test", "hand-over"] {
        c.key("F9");
        c.at(&format!("/job/1/{step}"));
    }

    // the chart as left, and the job is closed
    c.key("Enter");
    c.at("/job/1/chart");
    c.wait("location.search.includes('as%20left') && document.activeElement?.id === 'shown'");
    read(&mut c, "B3", "262");
    c.tab_to(".inline-done button");
    c.key("Enter");
    c.at("/job/1/hand-over");
    c.wait("document.body.innerText.includes('Close job 1')");
    c.tab_to("[name=signed]");
    c.text("Odo Kestle");
    c.tab_to("[name=reason]");
    c.text("the owner moves");
    c.key("Enter");
    c.wait("document.readyState === 'complete' && document.body.innerText.includes('The bench is clear')");
    // the question about a slip comes with this status, and the browser notes it
    c.wrong.retain(|w| !w.contains("422"));
    assert!(c.wrong.is_empty(), "{:?}", c.wrong);
}

/// Steps to a point with `s`, as a hand does that skips what it cannot reach.
fn to_point(c: &mut Chromium, point: &str) {
    for _ in 0..40 {
        let now = c.eval("document.querySelector('.point-now').textContent");
        if now == point {
            return;
        }
        c.key("s");
        c.wait(&format!(
            "document.readyState === 'complete' && document.activeElement?.id === 'shown' && document.querySelector('.point-now').textContent !== {now}"
        ));
    }
    panic!("no way to {point}");
}

/// Types a reading; the verdict stands there before Enter writes it.
fn read(c: &mut Chromium, point: &str, shown: &str) {
    to_point(c, point);
    c.text(shown);
    c.wait("document.querySelector('#verdict .verdict.inside')");
    c.key("Enter");
    c.wait(&format!(
        "document.readyState === 'complete' && document.activeElement?.id === 'shown' && document.querySelector('.point-now').textContent !== {}",
        json!(point)
    ));
}

#[test]
fn a_whole_job_by_keyboard_alone() {
    a_whole_job(1440, 900, false);
}

#[test]
fn a_whole_job_by_keyboard_alone_on_a_phone() {
    a_whole_job(390, 844, true);
}

#[test]
fn a_chart_with_one_finger_and_readings_held_while_the_server_is_away() {
    let folder = tempfile::tempdir().unwrap();
    let shop = folder.path().join("shop");
    let server = Server::start(&shop, &[]);
    begun(&server);
    let mut c = Chromium::start();
    c.screen(390, 844, true);
    let base = format!("http://{}", server.host);
    c.open(&format!("{base}/job/1/chart?at=V1.3"));
    let tap = |c: &mut Chromium, what: &str| {
        c.eval(&format!(
            "[...document.querySelectorAll('.key')].find(k => k.textContent === {}).click()",
            json!(what)
        ));
    };
    // keys are as large as a finger
    let sizes = c.eval("[...document.querySelectorAll('.key')].map(k => k.getBoundingClientRect()).map(b => Math.min(b.width, b.height))");
    for size in sizes.as_array().unwrap() {
        assert!(size.as_f64().unwrap() >= 90.0, "{sizes}");
    }
    for key in ["1", ".", "4"] {
        tap(&mut c, key);
    }
    c.wait("document.querySelector('#verdict .verdict.inside')");
    tap(&mut c, "Enter");
    c.wait("document.readyState === 'complete' && document.body.innerText.includes('V1.3 1.4')");
    // the program dies; the reading waits in the browser and is said to
    c.open(&format!("{base}/job/1/chart?at=V1.1"));
    let port = server.host.rsplit(':').next().unwrap().to_owned();
    server.kill();
    c.wrong.clear();
    for key in ["1", "6", "5"] {
        tap(&mut c, key);
    }
    tap(&mut c, "Enter");
    c.wait("document.querySelector('#unsaved').textContent.includes('1 reading held here')");
    let server = Server::start(&shop, &["--port", &port]);
    c.wait("document.readyState === 'complete' && document.querySelector('#unsaved').hidden");
    let mut b = server.browser();
    b.get("/job/1/journal")
        .has(&["V1.1 read 165, corrected from 121"]);
}

#[test]
fn without_script_a_job_without_any_tracing() {
    let folder = tempfile::tempdir().unwrap();
    let server = Server::start(&folder.path().join("shop"), &[]);
    let mut b = server.browser();
    b.send_to(
        "/new",
        &[
            ("maker", "Marram"),
            ("model", "Knot"),
            ("name", "Maren Tuck"),
        ],
    );
    let base = format!("http://{}", server.host);
    let mut c = Chromium::start();
    c.screen(1440, 900, false);
    c.without_script();
    // a reading of a point that is in no wiring
    c.open(&format!("{base}/job/1/chart?at="));
    c.tab_to("[name=point]");
    c.text("V1.3");
    c.tab_to("#shown");
    c.text("1.4");
    c.key("Enter");
    c.wait("document.readyState === 'complete' && document.body.innerText.includes('V1.3 1.4')");
    // a verdict on a part that was only seen
    c.open(&format!("{base}/job/1/parts"));
    c.tab_to(".parts-list summary");
    c.key("Enter");
    c.tab_to(".parts-list [name=part]");
    c.text("can by the rectifier");
    c.key("Enter");
    c.wait("document.readyState === 'complete' && document.body.innerText.includes('can by the rectifier')");
    // the wiring is saved by its button, and drawn
    c.open(&format!("{base}/job/1/tracing"));
    c.tab_to("#text");
    c.eval("document.activeElement.setSelectionRange(9999, 9999)");
    c.text("V1.3 - R5 1k5 - ground\n");
    c.tab_to("#save");
    c.key("Enter");
    c.wait("document.readyState === 'complete' && document.querySelector('[data-part=R5]')");
    // closed as it is
    c.open(&format!("{base}/job/1/hand-over"));
    c.tab_to("[name=signed]");
    c.text("Odo Kestle");
    c.tab_to("[name=reason]");
    c.text("the owner moves");
    c.tab_to(".hand-over .after button");
    c.key("Enter");
    c.wait("document.readyState === 'complete' && document.body.innerText.includes('The bench is clear')");
}

#[test]
fn two_browsers_on_one_wiring_show_both_texts_and_lose_none() {
    let folder = tempfile::tempdir().unwrap();
    let server = Server::start(&folder.path().join("shop"), &[]);
    begun(&server);
    let tracing = format!("http://{}/job/1/tracing", server.host);
    let (mut desk, mut phone) = (Chromium::start(), Chromium::start());
    desk.screen(1440, 900, false);
    phone.screen(390, 844, true);
    for c in [&mut desk, &mut phone] {
        c.open(&tracing);
        c.tab_to("#text");
    }
    phone.eval("document.cookie = 'bench=Phone; path=/'");
    let type_over = |c: &mut Chromium, old: &str, new: &str| {
        c.eval(&format!(
            "{{ const t = document.querySelector('#text'); const at = t.value.indexOf({0}); t.setSelectionRange(at, at + {1}) }}",
            json!(old),
            old.len()
        ));
        c.text(new);
    };
    type_over(&mut phone, "R4 100k", "R4 220k");
    phone.ctrl("s");
    phone.wait("document.querySelector('#saved').textContent === 'saved'");
    // the desk typed on what was there before
    type_over(&mut desk, "R4 100k", "R4 150k");
    desk.ctrl("s");
    desk.wait("location.pathname.endsWith('/clash') && document.readyState === 'complete'");
    let shown = desk.eval("document.querySelector('#page').innerText");
    for words in ["was changed elsewhere", "R4 150k", "R4 220k", "Phone"] {
        assert!(shown.as_str().unwrap().contains(words), "{words}: {shown}");
    }
    for (size, width, height, light) in [
        ("phone", 390, 844, "dark"),
        ("phone", 390, 844, "light"),
        ("desk", 1440, 900, "dark"),
        ("desk", 1440, 900, "light"),
    ] {
        desk.screen(width, height, size == "phone");
        desk.light(light);
        let lamp = if light == "dark" { "-lamp" } else { "" };
        desk.picture(&pictures().join(format!("{size}-clash{lamp}.png")));
        let found = shuts_out(&mut desk);
        assert!(found.is_empty(), "{size} {light}: {}", found.join("\n"));
    }
    desk.tab_to("[name=way0]");
    desk.key("ArrowUp");
    desk.eval("document.querySelector('[name=way0][value=here]').checked = true");
    desk.tab_to("#primary");
    desk.key("Enter");
    desk.at("/job/1/tracing");
    let text = desk.eval("document.querySelector('#text').value");
    let text = text.as_str().unwrap();
    assert!(
        text.contains("R4 150k") && !text.contains("R4 220k"),
        "{text}"
    );
    // neither text is lost
    let mut b = server.browser();
    b.get("/job/1/revisions")
        .has(&["kept aside in a clash", "Phone"]);
    // another line meanwhile: the phone's page still has the old text, and both changes stay
    type_over(&mut phone, "12AX7", "ECC83");
    phone.ctrl("s");
    phone.wait("document.readyState === 'complete' && document.querySelector('#text')?.value.includes('R4 150k')");
    let text = phone.eval("document.querySelector('#text').value");
    assert!(text.as_str().unwrap().contains("ECC83"), "{text}");
    for c in [&mut desk, &mut phone] {
        // that the text clashed comes with this status, and the browser notes it
        c.wrong.retain(|w| !w.contains("409"));
        assert!(c.wrong.is_empty(), "{:?}", c.wrong);
    }
}

/// The wiring of the stage with the places of three parts noted.
fn placed() -> String {
    STAGE
        .replace("R4 100k", "R4 100k @ \"board 1\"")
        .replace("R5 1k5", "R5 1k5 @ \"board 2\"")
        .replace("R1 1M", "R1 1M @ \"board 3\"")
}

#[test]
fn a_part_is_the_same_in_both_views() {
    let folder = tempfile::tempdir().unwrap();
    let server = Server::start(&folder.path().join("shop"), &[]);
    begun(&server);
    let mut b = server.browser();
    let form = b.get("/job/1/tracing").form("name=\"base\"");
    b.send(&form.with("text", &placed()));
    let mut c = Chromium::start();
    c.screen(1600, 1000, false);
    let address = format!("http://{}/job/1/tracing", server.host);
    let names = |view: &str| {
        format!(
            "[...new Set([...document.querySelectorAll('{view} [data-part]')].map(p => p.dataset.part.replace(/[.].*$/, '')))].sort().join()"
        )
    };
    let marked = |view: &str| {
        format!(
            "[...new Set([...document.querySelectorAll('{view} [data-part].here')].map(p => p.dataset.part.replace(/[.].*$/, '')))].join()"
        )
    };
    c.open(&address);
    c.wait("document.readyState === 'complete' && document.querySelector('.paper [data-part=R5]')");
    // both views hold the same parts by the same names
    let schematic = c.eval(&names(".paper"));
    assert_eq!(schematic, c.eval(&names(".sits")));
    assert_eq!(schematic, json!("C1,C2,PS1,R1,R4,R5,V1"));
    // the link opens the second view; a press in either marks that part, and no other, in both
    c.eval("document.querySelector('.to-sits a').click()");
    c.wait("document.querySelector('details.where').open");
    c.eval("document.querySelector('.sits [data-part=R5] rect').dispatchEvent(new MouseEvent('click', {bubbles: true, cancelable: true}))");
    assert_eq!(c.eval(&marked(".paper")), json!("R5"));
    assert_eq!(c.eval(&marked(".sits")), json!("R5"));
    c.eval("document.querySelector('.paper [data-part=R4]').dispatchEvent(new MouseEvent('click', {bubbles: true, cancelable: true}))");
    assert_eq!(c.eval(&marked(".paper")), json!("R4"));
    assert_eq!(c.eval(&marked(".sits")), json!("R4"));
    // by keyboard: a part of the second view is a link, and Enter marks it too
    c.eval("document.querySelector('.sits a:has([data-part=R1])').focus()");
    c.key("Enter");
    c.wait(&format!("{} === 'R1'", marked(".paper")));
    c.whole_picture(&pictures().join("tracing-sits.png"));
    assert_eq!(shuts_out(&mut c), Vec::<String>::new());

    // without script the link opens it all the same, and a part leads to itself on the schematic
    let mut c = Chromium::start();
    c.without_script();
    c.open(&address);
    c.eval("document.querySelector('.to-sits a').click()");
    c.wait("document.querySelector('details.where').open");
    c.eval("document.querySelector('.sits a:has([data-part=R5])').dispatchEvent(new MouseEvent('click', {bubbles: true, cancelable: true}))");
    c.wait("document.querySelector('#schematic g:target')?.dataset.part === 'R5'");
}
