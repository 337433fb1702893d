//! One job in a real Chromium, by keyboard: from the verdict to the order, a wrong delivery, the held
//! job, the late delivery, the finished job, the hand-over and the invoice.

#![allow(clippy::unwrap_used, reason = "a failed step is a failed test")]

mod chromium;
mod desk;
mod server;

use chromium::Chromium;
use desk::{STAGE, take_in, trace};
use server::Server;

/// Waits until the page says something.
fn says(c: &mut Chromium, words: &str) {
    c.wait(&format!(
        "document.readyState === 'complete' && document.body.innerText.includes({words:?})"
    ));
}

/// Types into fields, one after the other, then presses a button.
fn fill(c: &mut Chromium, fields: &[(&str, &str)], button: &str) {
    for (field, text) in fields {
        c.tab_to(field);
        c.eval("document.activeElement.select && document.activeElement.select()");
        c.text(text);
    }
    press(c, button);
}

/// Presses something that the Tab key reaches, and waits for the page after it.
fn press(c: &mut Chromium, button: &str) {
    c.tab_to(button);
    c.eval("window.leftBehind = true");
    c.key("Enter");
    c.wait("document.readyState === 'complete' && !window.leftBehind");
}

/// Opens a fold.
fn unfold(c: &mut Chromium, summary: &str) {
    c.tab_to(summary);
    c.key("Enter");
}

/// Chooses in a list by its first letters, as a keyboard does.
fn choose(c: &mut Chromium, list: &str, value: &str) {
    c.tab_to(list);
    for _ in 0..12 {
        if c.eval("document.activeElement.value") == value {
            return;
        }
        c.key("ArrowDown");
    }
    panic!("{list} has no {value}");
}

#[test]
fn from_the_verdict_to_the_invoice() {
    let folder = tempfile::tempdir().unwrap();
    let server = Server::start(&folder.path().join("shop"), &[]);
    let mut b = server.browser();
    take_in(&mut b, "Dunlin", "Odo Kestle");
    trace(&mut b, STAGE);
    let set = [
        ("what", "shop"),
        ("bench_name", "Desk"),
        ("mains", "231 V"),
        ("rate", "48"),
    ];
    b.send_to("/settings", &set);
    let base = format!("http://{}", server.host);
    let mut c = Chromium::start();
    c.screen(1440, 900, false);

    // the verdict asks for a part
    c.open(&format!("{base}/job/1/parts?at=C2"));
    fill(&mut c, &[(".part [name=reason]", "leaks")], "#replace");
    c.open(&format!("{base}/orders"));
    says(&mut c, "Asked for by a verdict");
    press(&mut c, "a[href*='part=C2']");
    fill(
        &mut c,
        &[("#need [name=what]", "coupling capacitor")],
        "#need button[value=need]",
    );
    says(&mut c, "Still to order, all jobs");
    unfold(&mut c, "details:has(button[value=vendor]) summary");
    fill(
        &mut c,
        &[("[name=name]", "Quillon")],
        "button[value=vendor]",
    );
    // the order
    unfold(&mut c, ".to-order details summary");
    let order = [
        (".to-order [name=reference]", "Q 118"),
        (".to-order [name=price]", "4.20"),
    ];
    fill(&mut c, &order, ".to-order button[value=order]");
    says(&mut c, "1 to come");

    // what came is the wrong one: the line is short, and the job waits for it
    unfold(&mut c, "#line-1 summary");
    choose(&mut c, "#line-1 [name=came]", "wrong");
    fill(
        &mut c,
        &[("#line-1 [name=note]", "2n2 came")],
        "#line-1 button[value=came]",
    );
    says(&mut c, "1 line short");
    c.open(&format!("{base}/orders?write=1"));
    let letter = c.eval("document.querySelector('[name=letter]').value");
    let letter = letter.as_str().unwrap();
    assert!(
        letter.contains("2n2 came") && letter.contains("still owed 1"),
        "{letter}"
    );
    c.open(&format!("{base}/job/1"));
    unfold(&mut c, ".waits summary");
    choose(&mut c, "[name=waits_for]", "parts");
    press(&mut c, ".waits button");
    c.open(&base);
    says(&mut c, "Short: coupling capacitor");
    says(&mut c, "Held");

    // it comes late, and the job can be finished
    c.open(&format!("{base}/orders?line=1#line-1"));
    says(&mut c, "No amp has all the parts it needs.");
    press(&mut c, "#line-1 button[value=came]");
    says(&mut c, "coupling capacitor here");
    c.open(&format!("{base}/job/1/work"));
    fill(
        &mut c,
        &[("#new [name=title]", "new coupling capacitor")],
        "#new button",
    );
    unfold(&mut c, ".work-list summary");
    press(&mut c, ".work-list button[value=done]");
    says(&mut c, "0 open");

    // the estimate, and what the owner says to it
    c.open(&format!("{base}/job/1/estimate"));
    let item = [
        ("#new [name=what]", "new coupling capacitor"),
        ("#new [name=low]", "40"),
        ("#new [name=high]", "60"),
    ];
    fill(&mut c, &item, "#new button");
    says(&mut c, "not answered");
    press(&mut c, "#item-1 button[value=yes]");
    says(&mut c, "yes, ");

    // time by hand, the part at a price, the invoice
    c.open(&format!("{base}/job/1"));
    unfold(&mut c, ".money details summary");
    let time = [
        (".money [name=task]", "coupling capacitor"),
        (".money [name=minutes]", "50"),
    ];
    fill(&mut c, &time, ".money button[value=add]");
    c.open(&format!("{base}/job/1/invoice"));
    says(&mut c, "Came for this job, not charged yet");
    fill(&mut c, &[("[name=amount]", "6.50")], "button[value=charge]");
    // 50 minutes at 48 are 40.00
    says(&mut c, "46.50");
    c.eval("document.activeElement.blur()");
    c.key("Enter");
    c.at("/invoice/1");
    says(&mut c, "46.50");

    // the chart as left, and home: untested, so only on the owner's signature
    c.open(&format!("{base}/job/1/chart?state=as%20left&at=B3"));
    c.tab_to("#shown");
    c.text("262");
    c.key("Enter");
    says(&mut c, "1 of ");
    c.open(&format!("{base}/job/1/hand-over"));
    says(&mut c, "Electrical safety not tested");
    let typed = [
        ("[name=signed]", "Odo Kestle"),
        ("[name=reason]", "tested at the owner's own shop"),
    ];
    fill(&mut c, &typed, ".hand-over form button");
    says(&mut c, "The bench is clear");
    b.get("/job/1/hand-over").has(&[
        "Not electrically safe. Left on the owner's signature: Odo Kestle.",
        "because: tested at the owner's own shop.",
    ]);
    b.get("/job/1/report/print?version=full").has(&[
        "Dunlin",
        "Not electrically safe",
        "tested at the owner's own shop",
        "new coupling capacitor",
    ]);
    let csv = b.get("/invoices.csv");
    csv.has(&["labour,coupling capacitor,50,48.00,40.00,EUR"]);

    // it comes back: the wiring is there, and the last chart as left to be held against
    b.send_to("/new", &[("amp", "1"), ("words", "It is dull now.")]);
    c.open(&format!("{base}/job/2/comeback"));
    says(&mut c, "since job 1");
    says(&mut c, "not read yet");
    c.open(&format!("{base}/job/2/tracing"));
    let text = c.eval("document.querySelector('#text').value");
    assert!(text.as_str().unwrap().contains("C2 22n"));
    assert!(c.wrong.is_empty(), "{:?}", c.wrong);
}
