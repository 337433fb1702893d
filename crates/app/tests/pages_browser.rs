//! The pages in a real Chromium: by keyboard alone, on a phone, scanned for what shuts people out, a
//! picture of each kept in `target/pages`.

#![allow(clippy::unwrap_used, reason = "a failed step is a failed test")]

mod chromium;
mod server;

use chromium::{Chromium, pictures};
use serde_json::json;
use server::Server;

const STAGE: &str = "\
V1   12AX7
PS1  supply 262 V 1 ohm
B3 - +PS1 - ground
V1.2 - R1 1M - ground
V1.1 - R4 100k - B3
V1.3 - [R5 1k5 | +C1 25u 25V] - ground
";

/// A shop with one amp, traced and half read, made through the forms.
fn begun(server: &Server) {
    let mut b = server.browser();
    b.send_to(
        "/settings",
        &[("what", "shop"), ("bench_name", "Desk"), ("mains", "231 V")],
    );
    b.send_to(
        "/new",
        &[
            ("maker", "Marram"),
            ("model", "Dunlin"),
            ("serial", "00642"),
            ("name", "Odo Kestle"),
            ("words", "It got loud and fat one evening, then a smell."),
        ],
    );
    let form = b.get("/job/1/tracing").form("name=\"base\"");
    b.send(&form.with("text", STAGE));
    for (point, shown) in [("B3", "262"), ("V1.1", "121")] {
        let form = b
            .get(&format!("/job/1/chart?at={point}"))
            .form("name=\"shown\"");
        b.send(&form.with("shown", shown));
    }
    b.send_to("/job/1/work", &[("title", "clean the sockets")]);
    b.send_to(
        "/job/1/verdict",
        &[("part", "R4"), ("verdict", "replace"), ("reason", "risen")],
    );
}

/// A browser waits for pages and pages for a busy machine, so these belong to `./check long`; without script, the same
/// jobs are done over HTTP in every run (`pages.rs`).
fn long() -> bool {
    std::env::var_os("TUBEWRIGHT_LONG").is_some()
}

#[test]
fn a_job_by_keyboard_alone() {
    if !long() {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let server = Server::start(&folder.path().join("shop"), &[]);
    let mut c = Chromium::start();
    c.screen(1440, 900, false);
    let base = format!("http://{}", server.host);
    c.open(&base);
    // the filled button of the empty bench
    c.key("Enter");
    c.wait("location.pathname === '/new' && document.readyState === 'complete'");
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
    c.wait("location.pathname === '/job/1/intake' && document.readyState === 'complete'");
    // along the steps with F9: inspection, cold check, power-up, tracing
    for step in ["inspection", "cold", "power-up", "tracing"] {
        c.key("F9");
        c.wait(&format!(
            "location.pathname === '/job/1/{step}' && document.readyState === 'complete'"
        ));
    }
    // the text has the cursor; what is typed is drawn, what is wrong is answered with a press
    c.wait("document.activeElement?.id === 'text'");
    c.eval("document.activeElement.setSelectionRange(9999, 9999)");
    c.text(&STAGE.replace("25u 25V", "25"));
    c.wait("document.querySelector('[data-part=R4]') && document.querySelector('.problems .answers button')");
    c.key("Tab");
    c.wait("document.activeElement?.matches('.answers button')");
    // the second answer: microfarads
    c.key("2");
    c.wait("document.querySelector('.problems.none')");
    assert!(
        c.eval("document.querySelector('#text').value")
            .as_str()
            .unwrap()
            .contains("25u")
    );
    c.eval("document.querySelector('#text').form.requestSubmit()");
    c.wait("document.querySelector('#saved').textContent === 'saved'");
    c.key("F9");
    c.wait("location.pathname === '/job/1/chart' && document.readyState === 'complete'");
    // the verdict comes while the figure is typed; Enter writes it and goes on
    c.wait("document.activeElement?.id === 'shown'");
    let first = c.eval("document.querySelector('.point-now').textContent");
    c.text("262");
    c.wait("document.querySelector('#verdict .verdict.inside')");
    c.key("Enter");
    c.wait(&format!(
        "document.readyState === 'complete' && document.querySelector('.point-now') && document.querySelector('.point-now').textContent !== {first}"
    ));
    // a slip of the range is asked about before it is written
    c.open(&format!("{base}/job/1/chart?at=V1.3"));
    c.wait("document.activeElement?.id === 'shown'");
    c.text("138");
    c.key("Enter");
    c.wait("document.querySelector('.slip')");
    c.key("Enter");
    c.wait("document.readyState === 'complete' && !document.querySelector('.slip') && document.body.innerText.includes('2 of')");
    // letters act in the empty box: why, and undo as a new entry
    c.key("y");
    c.wait("document.querySelector('#why') && document.querySelector('#why').open");
    c.key("z");
    c.wait("document.readyState === 'complete' && document.body.innerText.includes('1 of')");
    c.key("Escape");
    c.key("j");
    c.wait("location.pathname === '/job/1/journal' && document.body.innerText.includes('undone')");
    // the last step, and the job is closed
    c.open(&format!("{base}/job/1/hand-over"));
    c.tab_to(".hand-over .after button");
    c.key("Enter");
    c.wait("document.body.innerText.includes('The bench is clear')");
    // the question about a slip comes with this status, and the browser notes it
    c.wrong.retain(|w| !w.contains("422"));
    assert!(c.wrong.is_empty(), "{:?}", c.wrong);
}

#[test]
fn a_chart_with_one_finger_and_readings_held_while_the_server_is_away() {
    if !long() {
        return;
    }
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
fn every_page_is_kept_as_a_picture_and_shuts_nobody_out() {
    if !long() {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let server = Server::start(&folder.path().join("shop"), &[]);
    begun(&server);
    let base = format!("http://{}", server.host);
    let axe = include_str!("axe/axe.min.js");
    let out = pictures();
    let pages = [
        ("bench", "/"),
        ("new", "/new"),
        ("job", "/job/1"),
        ("intake", "/job/1/intake"),
        ("inspection", "/job/1/inspection"),
        ("cold", "/job/1/cold"),
        ("power-up", "/job/1/power-up"),
        ("tracing", "/job/1/tracing"),
        ("chart", "/job/1/chart"),
        ("parts", "/job/1/parts"),
        ("work", "/job/1/work"),
        ("set-up", "/job/1/set-up"),
        ("safety", "/job/1/safety"),
        ("play-test", "/job/1/play-test"),
        ("hand-over", "/job/1/hand-over"),
        ("journal", "/job/1/journal"),
        ("photos", "/job/1/photos"),
        ("revisions", "/job/1/revisions"),
        ("settings", "/settings"),
        ("find", "/find"),
        ("keys", "/keys"),
    ];
    let mut c = Chromium::start();
    let mut serious = Vec::new();
    for (size, width, height, light) in [
        ("desk", 1440, 900, "light"),
        ("desk", 1440, 900, "dark"),
        ("phone", 390, 844, "light"),
    ] {
        c.screen(width, height, size == "phone");
        c.light(light);
        for (name, address) in pages {
            // the colours are few: these pages have all of them
            let coloured = ["bench", "job", "tracing", "chart", "parts", "safety"];
            if light == "dark" && !coloured.contains(&name) {
                continue;
            }
            c.open(&format!("{base}{address}"));
            let lamp = if light == "dark" { "-lamp" } else { "" };
            c.picture(&out.join(format!("{size}-{name}{lamp}.png")));
            let wide = c.eval(
                "document.documentElement.scrollWidth - document.documentElement.clientWidth",
            );
            if wide.as_i64() != Some(0) {
                serious.push(format!("{size} {name}: {wide} px too wide"));
            }
            c.eval(axe);
            let found = c.eval(
                "axe.run().then(r => r.violations.filter(v => v.impact === 'serious' || v.impact === 'critical')\
                 .map(v => `${v.id} ${v.nodes.map(n => n.target + ': ' + n.failureSummary).join('; ')}`))",
            );
            for v in found.as_array().unwrap() {
                serious.push(format!(
                    "{size} {light} {name}: {}",
                    v.as_str().unwrap_or_default()
                ));
            }
        }
    }
    assert!(serious.is_empty(), "{}", serious.join("\n"));
    assert!(c.wrong.is_empty(), "{:?}", c.wrong);
}
