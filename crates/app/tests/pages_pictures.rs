//! Every page as a picture in `target/pages`, desk and phone, by day and by lamp, and scanned for what shuts people out.

#![allow(clippy::unwrap_used, reason = "a failed step is a failed test")]

mod chromium;
mod desk;
mod server;

use chromium::{Chromium, pictures, shuts_out};
use desk::begun;
use server::Server;

/// Keeps each page as a picture in both sizes, by day and by lamp, and scans it.
fn looked_at(c: &mut Chromium, base: &str, pages: &[(&str, &str)], unfolded: bool) {
    let mut serious = Vec::new();
    for (size, width, height, light) in [
        ("desk", 1440, 900, "light"),
        ("desk", 1440, 900, "dark"),
        ("phone", 390, 844, "light"),
        ("phone", 390, 844, "dark"),
    ] {
        c.screen(width, height, size == "phone");
        c.light(light);
        for (name, address) in pages {
            // paper has one size
            if size == "phone" && *name == "paper" {
                continue;
            }
            c.open(&format!("{base}{address}"));
            let lamp = if light == "dark" { "-lamp" } else { "" };
            let picture = pictures().join(format!("{size}-{name}{lamp}.png"));
            if unfolded {
                c.eval("document.querySelectorAll('main details:not([name=condition])').forEach(d => { d.open = true })");
                c.whole_picture(&picture);
            } else {
                c.picture(&picture);
            }
            let size = format!("{size} {light} {name}");
            serious.extend(shuts_out(c).iter().map(|v| format!("{size}: {v}")));
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
