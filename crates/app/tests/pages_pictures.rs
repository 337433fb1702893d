//! Every page as a picture in `target/pages`, desk and phone, by day and by lamp, and scanned for what shuts people out.

#![allow(clippy::unwrap_used, reason = "a failed step is a failed test")]

mod chromium;
mod desk;
mod server;

use chromium::{Chromium, pictures, shuts_out, too_pale};
use desk::begun;
use server::Server;

/// Keeps each page as a picture in both sizes, by day and by lamp, and scans it: by day for everything, by lamp for what
/// colours decide.
fn looked_at(c: &mut Chromium, base: &str, pages: &[(&str, &str)], unfolded: bool) {
    let mut serious = Vec::new();
    for (size, width, height) in [("desk", 1440, 900), ("phone", 390, 844)] {
        c.screen(width, height, size == "phone");
        for (name, address) in pages {
            // paper has one size
            if size == "phone" && *name == "paper" {
                continue;
            }
            c.light("light");
            c.open(&format!("{base}{address}"));
            if unfolded {
                c.eval("document.querySelectorAll('main details:not([name=condition])').forEach(d => { d.open = true })");
            }
            for (lamp, scan) in [
                ("", shuts_out as fn(&mut Chromium) -> Vec<String>),
                ("-lamp", too_pale),
            ] {
                if !lamp.is_empty() {
                    c.light("dark");
                }
                let picture = pictures().join(format!("{size}-{name}{lamp}.png"));
                if unfolded {
                    c.whole_picture(&picture);
                } else {
                    c.picture(&picture);
                }
                let found = scan(c);
                serious.extend(found.iter().map(|v| format!("{size} {name}{lamp}: {v}")));
            }
        }
    }
    assert!(serious.is_empty(), "{}", serious.join("\n"));
}

#[test]
fn every_page_is_kept_as_a_picture_and_shuts_nobody_out() {
    let folder = tempfile::tempdir().unwrap();
    let server = Server::start(&folder.path().join("shop"), &[]);
    begun(&server);
    let base = format!("http://{}", server.host);
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
        ("kin", "/job/1/kin"),
        ("parts", "/job/1/parts"),
        ("work", "/job/1/work"),
        ("set-up", "/job/1/set-up"),
        ("heaters", "/job/1/set-up?sheet=heaters"),
        ("supply", "/job/1/set-up?sheet=supply"),
        ("safety", "/job/1/safety"),
        ("play-test", "/job/1/play-test"),
        ("hand-over", "/job/1/hand-over"),
        ("report", "/job/1/report"),
        ("report-print", "/job/1/report/print?version=full"),
        ("report-labels", "/job/1/report?version=labels"),
        ("estimate", "/job/1/estimate"),
        ("invoice", "/job/1/invoice"),
        ("invoices", "/invoices"),
        ("journal", "/job/1/journal"),
        ("photos", "/job/1/photos"),
        ("photo", "/job/1/photos/1"),
        ("revisions", "/job/1/revisions"),
        ("settings", "/settings"),
        ("find", "/find"),
        ("orders", "/orders?write=1"),
        ("keys", "/keys"),
        ("help", "/help"),
        ("handbook", "/help/first-hour"),
        ("entrance", "/in"),
        ("no-page", "/job/1/nothing"),
        ("paper", "/job/1/paper?sheet=chart"),
    ];
    let mut c = Chromium::start();
    looked_at(&mut c, &base, &pages, false);
    // the address that leads nowhere, and the browser's own wish for an icon
    c.wrong.retain(|w| !w.contains("404"));
    assert!(c.wrong.is_empty(), "{:?}", c.wrong);
}

/// A whole amplifier, read, with every fold of its pages open: plots, both views of the parts, reasons.
#[test]
fn the_pages_of_a_whole_amplifier_with_every_fold_open() {
    let folder = tempfile::tempdir().unwrap();
    let server = Server::start(&folder.path().join("shop"), &[]);
    begun(&server);
    let mut b = server.browser();
    let wiring = include_str!("../../../examples/curlew.wiring");
    let form = b.get("/job/1/tracing").form("name=\"base\"");
    b.send(&form.with("text", wiring));
    // a recovery stage whose plate load has gone high
    for (point, shown) in [
        ("B1", "311"),
        ("B2", "306"),
        ("B3", "276"),
        ("B4", "244"),
        ("V1.1", "152.4"),
        ("V1.3", "1.290"),
        ("V2.1", "61.4"),
        ("V4.1", "179.5"),
    ] {
        let form = b
            .get(&format!("/job/1/chart?at={point}"))
            .form("name=\"shown\"");
        b.send(&form.with("shown", shown).with("sure", "yes"));
    }
    for (name, text) in [
        (
            "first issue.wiring",
            include_str!("../../../examples/kin/curlew-first-issue.wiring"),
        ),
        (
            "later production.wiring",
            include_str!("../../../examples/kin/curlew-later-production.wiring"),
        ),
        (
            "sketch of a repair.wiring",
            include_str!("../../../examples/kin/curlew-repair-sketch.wiring"),
        ),
    ] {
        b.upload("/job/1/kin", name, text.as_bytes());
    }
    let mut c = Chromium::start();
    // what takes long goes on while nobody looks; its page comes by itself when it is there
    let base = format!("http://{}", server.host);
    for which in ["power", "tremolo"] {
        c.open(&format!("{base}/job/1/driven?sheet={which}"));
        if which == "power" {
            c.screen(1440, 900, false);
            c.picture(&pictures().join("desk-whole-working.png"));
        }
        c.wait("document.readyState === 'complete' && !!document.querySelector('.result')");
    }
    let pages = [
        ("whole-power", "/job/1/driven?sheet=power"),
        ("whole-tremolo", "/job/1/driven?sheet=tremolo"),
        ("whole-kin", "/job/1/kin"),
        ("whole-suspects", "/job/1/suspects?drawing=yes"),
        ("whole-job", "/job/1"),
        ("whole-tracing", "/job/1/tracing"),
        ("whole-chart", "/job/1/chart"),
        ("whole-parts", "/job/1/parts"),
        ("whole-set-up", "/job/1/set-up"),
        ("whole-supply", "/job/1/set-up?sheet=supply"),
        ("whole-stress", "/job/1/set-up?sheet=stress"),
        ("whole-report", "/job/1/report?version=full"),
        ("whole-voicing", "/job/1/voicing?from=J3&beside=J1"),
    ];
    looked_at(&mut c, &format!("http://{}", server.host), &pages, true);
    the_next_reading_is_one_press_away(&mut c, &format!("http://{}", server.host));
    // a knob moved by a key redraws the curve and says how it differs from the knobs as set
    c.open(&format!("http://{}/job/1/voicing?from=J3", server.host));
    c.tab_to("[name='at TREBLE']");
    c.key("ArrowRight");
    c.key("ArrowRight");
    // set to 6 in the wiring
    c.wait("document.querySelector('[name=\"at TREBLE\"]').closest('label').querySelector('output').textContent === '6.2'");
    c.wait("document.querySelector('#curves').innerText.includes('J3 as set')");
    assert!(c.wrong.is_empty(), "{:?}", c.wrong);
}

/// Money, archives, files taken in, and an amp that comes back: with answers, hours, charges and an invoice on them.
#[test]
fn the_pages_of_money_and_of_an_amp_that_comes_back() {
    let folder = tempfile::tempdir().unwrap();
    let server = Server::start(&folder.path().join("shop"), &[]);
    begun(&server);
    let mut b = server.browser();
    b.send_to(
        "/settings",
        &[
            ("what", "shop"),
            ("bench_name", "The bench at Dunmere"),
            ("mains", "231 V"),
            ("rate", "48"),
        ],
    );
    b.send_to(
        "/settings/money",
        &[
            ("do", "words"),
            ("bench_address", "3 Mill Lane\nDunmere"),
            ("invoice_foot", "To be paid within 14 days."),
        ],
    );
    b.send_to(
        "/settings/money",
        &[("do", "tax"), ("name", "VAT"), ("percent", "19")],
    );
    b.send_to(
        "/settings/money",
        &[("do", "rate"), ("task", "chart"), ("hour", "52")],
    );
    for (sort, what, why, low, high) in [
        (
            "safety",
            "new mains cord with earth",
            "two cores, cracked",
            "30",
            "45",
        ),
        (
            "repair",
            "new plate resistor, and the chart again",
            "risen to three times its value",
            "70.50",
            "90",
        ),
        ("wishes", "new grille cloth", "", "60", "80"),
    ] {
        let item = [
            ("do", "add"),
            ("sort", sort),
            ("what", what),
            ("why", why),
            ("low", low),
            ("high", high),
            ("currency", "EUR"),
        ];
        b.send_to("/job/1/estimate", &item);
    }
    for (item, answer, says) in [("1", "yes", ""), ("3", "no", "likes it as it is")] {
        let said = [
            ("item", item),
            ("on", "2026-11-25"),
            ("says", says),
            ("do", answer),
        ];
        b.send_to("/job/1/estimate", &said);
    }
    let form = b.get("/job/1/intake").form("name=\"ceiling\"");
    b.send(&form.with("says", "make it safe").with("ceiling", "200"));
    for (task, minutes) in [("chart", "95"), ("clean the sockets", "40")] {
        b.send_to(
            "/job/1/clock",
            &[("what", "add"), ("task", task), ("minutes", minutes)],
        );
    }
    let form = b.get("/job/1/invoice").form("taxes come on top");
    let form = form.with("do", "charge").with("sort", "part");
    b.send(&form.with("what", "220k 1 W").with("amount", "0.80"));
    let form = b.get("/job/1/invoice").form("name=\"how\"");
    b.send(&form.with("do", "paid").with("amount", "50"));
    let form = b.get("/job/1/invoice").form("Write invoice");
    b.send(&form.with("do", "write")).has(&["To pay"]);
    for (point, shown) in [("B3", "261"), ("V1.1", "176"), ("V1.3", "1.31")] {
        let page = b.get(&format!("/job/1/chart?state=as%20left&at={point}"));
        b.send(&page.form("name=\"shown\"").with("shown", shown));
    }
    let close = [
        ("do", "close"),
        ("signed", "Odo Kestle"),
        ("reason", "tested at the owner's own shop"),
    ];
    b.send_to("/job/1/close", &close);
    b.send_to("/new", &[("amp", "1"), ("words", "It is dull now.")]);
    for (point, shown) in [("B3", "262"), ("V1.1", "121")] {
        let page = b.get(&format!("/job/2/chart?at={point}"));
        b.send(&page.form("name=\"shown\"").with("shown", shown));
    }
    b.get("/job/2/comeback").has(&["since job 1"]);
    // a time that was written down wrong: the fold has it, and the journal what stood there
    let form = b.get("/job/2").form("name=\"minutes\"");
    b.send(
        &form
            .with("what", "add")
            .with("task", "chart")
            .with("minutes", "140"),
    );
    let form = b.get("/job/2").form("Correct it");
    assert_eq!(
        (form.value("task"), form.value("minutes")),
        ("chart", "140")
    );
    b.send(&form.with("what", "correct").with("minutes", "90"))
        .has(&["1:30"]);
    b.get("/job/2/journal")
        .has(&["90 min: chart, in place of 140 min: chart"]);
    let pages = [
        ("money-settings", "/settings#money"),
        ("money-estimate", "/job/1/estimate"),
        ("money-invoice", "/job/1/invoice"),
        ("money-invoice-prints", "/invoice/1"),
        ("money-invoices", "/invoices"),
        ("money-report", "/job/1/report"),
        ("comeback", "/job/2/comeback"),
        ("comeback-job", "/job/2"),
        ("archive-in", "/new"),
        ("archive-taken", "/job/2?owner=new"),
        ("csv-in", "/orders"),
    ];
    let mut c = Chromium::start();
    let base = format!("http://{}", server.host);
    looked_at(&mut c, &base, &pages, true);
    c.screen(794, 1123, false);
    for (name, address) in [("estimate", "/job/1/estimate"), ("invoice", "/invoice/1")] {
        c.paper(true);
        c.open(&format!("{base}{address}"));
        c.whole_picture(&pictures().join(format!("printed-{name}.png")));
    }
    c.paper(false);
    assert!(c.wrong.is_empty(), "{:?}", c.wrong);
}

/// From the suspects by one key to the reading that would tell most, and back with it.
fn the_next_reading_is_one_press_away(c: &mut Chromium, base: &str) {
    let address = format!("{base}/job/1/suspects");
    c.open(&address);
    let words = |c: &mut Chromium, of: &str| {
        let text = c.eval(&format!("document.querySelector('{of}')?.innerText ?? ''"));
        text.as_str().unwrap_or_default().to_owned()
    };
    assert!(
        words(c, ".ranked").contains("R18"),
        "{}",
        words(c, ".ranked")
    );
    let weighed = words(c, ".head .aside");
    let asked = words(c, "#primary");
    assert!(asked.contains("Read V2.3"), "{asked}");
    c.key("Enter");
    c.at("/job/1/chart");
    assert_eq!(words(c, ".point-now"), "V2.3");
    c.tab_to("[name=shown]");
    c.text("0.677");
    c.key("Enter");
    c.at("/job/1/suspects");
    assert_ne!(words(c, ".head .aside"), weighed);
    // one reading was enough: confirm it, and give the part its verdict
    assert!(words(c, ".now-sheet").contains("R18 has risen"));
    c.picture(&pictures().join("desk-whole-suspects-sure.png"));
    c.key("Enter");
    c.at("/job/1/parts");
}

/// Address, code and the picture to scan, as the desk shows them to let a phone in.
#[test]
fn the_code_that_lets_a_phone_in_is_kept_as_a_picture_and_shuts_nobody_out() {
    let folder = tempfile::tempdir().unwrap();
    let Some(server) = Server::for_the_network(folder.path(), "kettle under glass") else {
        return;
    };
    let mut c = Chromium::start();
    let pages = [("code", "/settings")];
    looked_at(&mut c, &format!("http://{}", server.host), &pages, false);
    assert_eq!(c.eval("!!document.querySelector('.scannable')"), true);
    assert!(c.wrong.is_empty(), "{:?}", c.wrong);
}
