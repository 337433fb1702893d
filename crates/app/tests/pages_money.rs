//! Estimate, what was agreed, the gate and the invoice, through the pages, without script.

#![allow(clippy::unwrap_used, reason = "a failed step is a failed test")]

mod desk;
mod server;

use desk::{start, take_in};
use server::Browser;

/// Puts an item on the estimate of job 1.
fn item(b: &mut Browser, sort: &str, what: &str, low: &str, high: &str) {
    let form = b.get("/job/1/estimate").form("Put on");
    let form = form.with("do", "add").with("sort", sort).with("what", what);
    b.send(&form.with("low", low).with("high", high))
        .has(&[what]);
}

/// The owner's answer to the item that the page leads to next.
fn answer(b: &mut Browser, number: i64, yes: bool, says: &str) {
    let (item, word) = (number.to_string(), if yes { "yes" } else { "no" });
    let said = [
        ("item", item.as_str()),
        ("on", "2026-11-25"),
        ("says", says),
        ("do", word),
    ];
    assert_eq!(b.ask_post("/job/1/estimate", &said), Some(303));
}

#[test]
fn from_the_estimate_to_the_invoice() {
    let (_folder, server) = start();
    let mut b = server.browser();
    take_in(&mut b, "Dunlin", "Odo Kestle");
    let form = b.get("/settings").form("name=\"mains\"");
    b.send(&form.with("rate", "48"));
    let form = b.get("/settings").form("name=\"percent\"");
    b.send(
        &form
            .with("do", "tax")
            .with("name", "VAT")
            .with("percent", "19"),
    )
    .has(&["VAT, 19.000 %"]);

    // groups apart, the sum without what was refused
    item(&mut b, "safety", "new mains cord", "30", "45");
    item(&mut b, "repair", "new can capacitor", "70.50", "");
    item(&mut b, "wishes", "new grille cloth", "60", "80");
    let page = b.get("/job/1/estimate");
    page.has(&[
        "Safety: not optional",
        "€ 30 to 45",
        "not answered",
        "€ 160.50 to 195.50",
    ]);
    b.get("/job/1/hand-over")
        .has(&["new mains cord: safety, not answered by the owner"]);
    answer(&mut b, 2, true, "");
    answer(&mut b, 3, false, "I like it as it is");
    b.get("/job/1/estimate").has(&[
        "refused",
        "I like it as it is",
        "€ 100.50 to 115.50",
        "you refused it",
    ]);
    // what is safety and refused bars the amp, and no reason opens that
    answer(&mut b, 1, false, "");
    b.get("/job/1/hand-over").has(&[
        "Not electrically safe",
        "new mains cord: declined by the owner",
    ]);
    let no = b.ask_post("/job/1/close", &[("reason", "in a hurry")]);
    assert_eq!(no, Some(422));
    answer(&mut b, 1, true, "");
    let page = b.get("/job/1/hand-over");
    assert!(!page.text.contains("new mains cord"), "{}", page.words());
    // an answered item keeps its price
    let sly = [
        ("do", "change"),
        ("item", "2"),
        ("sort", "repair"),
        ("what", "new can capacitor"),
        ("low", "1"),
        ("high", "1"),
        ("currency", "EUR"),
    ];
    assert_eq!(b.ask_post("/job/1/estimate", &sly), Some(422));

    // time by hand, a part, a credit, a deposit
    let form = b.get("/job/1").form("name=\"minutes\"");
    b.send(
        &form
            .with("what", "add")
            .with("task", "chart")
            .with("minutes", "125"),
    );
    for (sort, what, amount) in [
        ("part", "can capacitor", "31.80"),
        ("credit", "bench fee", "25"),
    ] {
        let form = b.get("/job/1/invoice").form("taxes come on top");
        let form = form.with("do", "charge").with("sort", sort);
        b.send(&form.with("what", what).with("amount", amount));
    }
    let form = b.get("/job/1/invoice").form("name=\"how\"");
    b.send(&form.with("do", "paid").with("amount", "50"));
    // by hand: 100 + 31.80 - 25 = 106.80, 19 % is 20.29, less 50
    let page = b.get("/job/1/invoice");
    page.has(&[
        "2:05",
        "100.00",
        "\u{2212}25.00",
        "20.29",
        "77.09",
        "No amount is agreed yet",
    ]);

    // the ceiling warns at 80 %, and above it the invoice wants a word
    let agree = |b: &mut Browser, ceiling: &str| {
        let form = b.get("/job/1/intake").form("name=\"ceiling\"");
        b.send(&form.with("says", "make it safe").with("ceiling", ceiling));
    };
    agree(&mut b, "200");
    b.get("/job/1")
        .has(&["127.09", "of 200 agreed", "warns at 160"]);
    agree(&mut b, "150");
    b.get("/job/1/estimate").has(&["past 80 %: call the owner"]);
    agree(&mut b, "120");
    let form = b.get("/job/1/invoice").form("Write invoice");
    let year = form.value("number").split_once('-').unwrap().0.to_owned();
    assert_eq!(form.value("expected"), "7709");
    let page = b.send(&form.clone().with("do", "write"));
    assert_eq!(page.status, 422);
    page.has(&["above what the owner agreed to"]);
    let page = b.send(
        &form
            .with("do", "write")
            .with("reason", "Odo Kestle, by telephone"),
    );
    page.has(&[
        &format!("Invoice {year}-1"),
        "77.09",
        "Odo Kestle",
        "Above the sum first agreed: Odo Kestle, by telephone",
        "declined by the owner",
        "new grille cloth",
    ]);
    b.get("/job/1/invoice").has(&["Nothing.", "As it prints"]);
    let csv = b.get("/invoices.csv").text;
    assert!(
        csv.contains(&format!("{year}-1,")) && csv.contains(",credit,bench fee,0,0.00,-25.00,EUR"),
        "{csv}"
    );
    let sum: i64 = csv
        .lines()
        .skip(1)
        .map(|l| {
            let cell = l.rsplit(',').nth(1).unwrap();
            let (sign, digits) = cell.strip_prefix('-').map_or((1, cell), |d| (-1, d));
            sign * digits.replace('.', "").parse::<i64>().unwrap()
        })
        .sum();
    assert_eq!(sum, 7_709, "the lines of the file add up to what is to pay");
    // taken back, it is to be billed again under another number
    let form = b.get("/job/1/invoice").form("Take it back");
    b.send(&form.with("do", "back"))
        .has(&["taken back", "77.09", &format!("{year}-2")]);
    b.get("/invoices").has(&["taken back"]);
}
