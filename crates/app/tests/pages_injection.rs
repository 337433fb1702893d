//! Scripts and header lines typed into every field of every form: shown as what they are, never obeyed.

#![allow(clippy::unwrap_used, reason = "a failed step is a failed test")]

mod desk;
mod server;

use desk::{STAGE, read, start, take_in, trace};
use server::{Browser, Page};
use std::collections::BTreeSet;

/// What is typed: ends an attribute, a text and a script, and begins each; then a line of a header.
const TYPED: &str = "\"'></textarea></script><script>alert(1)</script><img src=x onerror=alert(2)>&lt;b&gt;\r\nX-Let-In: 1\r\n\r\n<b>";
/// The same on a line.
const LINE: &str = "\"'></textarea></script><script>alert(1)</script><img src=x onerror=alert(2)>";

/// Nothing of it stands on a page as markup, or in its head.
fn harmless(page: &Page) {
    assert_eq!(page.header("x-let-in"), "", "{}", page.address);
    let sort = page.header("content-type");
    if !(sort.starts_with("text/html") || sort.starts_with("image/svg")) {
        return; // tables and archives hold it as it was typed
    }
    for bad in ["<script>alert", "<img src=x", "</textarea></script>"] {
        assert!(!page.text.contains(bad), "{}: {bad}", page.address);
    }
    for script in page.text.split("<script").skip(1) {
        assert!(
            script.starts_with(" defer src=\"/assets/"),
            "{}",
            page.address
        );
    }
}

/// Every page that links lead to, each looked at.
fn pages(b: &mut Browser) -> Vec<Page> {
    let mut all = Vec::new();
    b.walk(&["/"], 250, |page| {
        assert!(page.status < 500, "{}: {}", page.address, page.words());
        harmless(&page);
        if page.header("content-type").starts_with("text/html") {
            all.push(page);
        }
    });
    all
}

#[test]
fn what_is_typed_is_never_obeyed() {
    let (_folder, server) = start();
    let mut b = server.browser();
    take_in(&mut b, "Dunlin", "Odo Kestle");
    trace(&mut b, STAGE);
    read(&mut b, "B3", "262");
    b.upload("/job/1/photos", "photo.png", &server::png());
    let before = pages(&mut b);
    let mut sent = BTreeSet::new();
    let mut accepted = 0;
    for page in &before {
        for form in page.forms() {
            let names = form.texts().to_vec();
            // one form of a sort is enough; the one that moves the job on would take its pages away
            let sort = format!("{} {names:?}", form.action());
            if names.is_empty() || !sent.insert(sort) {
                continue;
            }
            for typed in [TYPED, LINE] {
                let all = names
                    .iter()
                    .fold(form.clone(), |f, name| f.with(name, typed));
                let answer = b.send(&all);
                assert!(answer.status < 500, "{}: {}", form.action(), answer.words());
                harmless(&answer);
                accepted += usize::from(answer.status == 200);
                // where all at once is refused, each by itself
                for name in &names {
                    let answer = b.send(&form.clone().with(name, typed));
                    assert!(
                        answer.status < 500,
                        "{} {name}: {}",
                        form.action(),
                        answer.words()
                    );
                    harmless(&answer);
                    accepted += usize::from(answer.status == 200);
                }
            }
        }
    }
    assert!(
        sent.len() > 15 && accepted > 30,
        "{} forms, {accepted} taken",
        sent.len()
    );
    // what was taken is shown somewhere, as words
    let after = pages(&mut b);
    let shown = after
        .iter()
        .filter(|p| p.text.contains("&lt;script&gt;alert(1)"))
        .count();
    assert!(shown > 5, "{shown} of {} pages show it", after.len());
}
