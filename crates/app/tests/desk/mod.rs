//! What tests of the pages share: an amp on the bench, made through the forms, and what a page shuts out.

#![allow(dead_code, reason = "each test file uses its own part of it")]
#![allow(unreachable_pub, reason = "a module of test files")]
#![allow(clippy::unwrap_used, reason = "a failed step is a failed test")]

use crate::server::{self, Browser, Page, Server};

/// One stage on a bench supply.
pub const STAGE: &str = "\
V1   12AX7
PS1  supply 262 V 1 ohm
B3 - +PS1 - ground
V1.2 - R1 1M - ground
V1.1 - R4 100k - B3
V1.3 - [R5 1k5 | +C1 25u 25V] - ground
V1.1 - C2 22n - next
";

pub fn start() -> (tempfile::TempDir, Server) {
    let folder = tempfile::tempdir().unwrap();
    let server = Server::start(&folder.path().join("shop"), &[]);
    (folder, server)
}

pub fn take_in(b: &mut Browser, model: &str, owner: &str) -> Page {
    let form = b.get("/new").form("name=\"maker\"");
    let form = form
        .with("words", "It got loud and fat one evening, then a smell.")
        .with("maker", "Marram")
        .with("model", model)
        .with("serial", "00642")
        .with("name", owner);
    let page = b.send(&form);
    assert_eq!(page.status, 200, "{}", page.words());
    page
}

pub fn trace(b: &mut Browser, text: &str) -> Page {
    let form = b.get("/job/1/tracing").form("name=\"base\"");
    b.send(&form.with("text", text))
}

pub fn read(b: &mut Browser, point: &str, shown: &str) -> Page {
    let page = b.get(&format!("/job/1/chart?at={point}"));
    let form = page.form("name=\"shown\"");
    b.send(&form.with("shown", shown))
}

/// A shop with one amp, traced and half read, made through the forms.
pub fn begun(server: &Server) {
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
    b.upload("/job/1/photos", "board.png", &server::png());
    b.send_to("/orders", &[("do", "vendor"), ("name", "Quillon")]);
    b.send_to(
        "/orders",
        &[
            ("do", "need"),
            ("job", "1"),
            ("what", "resistor"),
            ("part", "R4"),
            ("spec", "100k 1W metal film"),
            ("quantity", "2"),
            ("unit", "piece"),
        ],
    );
    let order = [("do", "order"), ("need", "1"), ("vendor", "1")];
    b.send_to("/orders", &order);
    let came = [("line", "1"), ("came", "right"), ("quantity", "1")];
    b.send_to("/orders/line", &came);
    b.send_to(
        "/orders",
        &[
            ("do", "stock"),
            ("what", "fuse T1A"),
            ("unit", "piece"),
            ("quantity", "8"),
        ],
    );
    b.send_to(
        "/orders",
        &[
            ("do", "need"),
            ("what", "fuse T1A"),
            ("quantity", "2"),
            ("unit", "piece"),
        ],
    );
}
