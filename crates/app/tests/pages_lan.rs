//! A phone comes in over the network: address, one-time code, passcode; and who does not.

#![allow(
    clippy::unwrap_used,
    clippy::print_stderr,
    reason = "a failed step is a failed test"
)]

mod server;

use server::{Browser, Server};

const PASSCODE: &str = "kettle under glass";

/// The address for devices and the code that works now, as the desk's page shows them.
fn invitation(server: &Server) -> (String, String) {
    let page = server.browser().get("/settings");
    let between = |before: &str, after: &str| {
        let (_, rest) = page.text.split_once(before).unwrap();
        rest.split_once(after).unwrap().0.to_owned()
    };
    assert!(page.text.contains("class=\"scannable"), "a picture to scan");
    page.has(&["not encrypted", "works once"]);
    (
        between("Open <strong class=\"mono\">http://", "<"),
        between("<strong class=\"code-now\">", "<"),
    )
}

fn come_in(b: &mut Browser, code: &str, passcode: &str) -> server::Page {
    let form = b.get("/in").form("name=\"passcode\"");
    b.send(
        &form
            .with("code", code)
            .with("passcode", passcode)
            .with("name", "Phone"),
    )
}

#[test]
fn a_phone_comes_in_with_address_code_and_passcode() {
    let folder = tempfile::tempdir().unwrap();
    let Some(server) = Server::for_the_network(folder.path(), PASSCODE) else {
        return;
    };
    let (host, code) = invitation(&server);
    assert_ne!(host, server.host, "a door of its own");
    let mut phone = server.browser_at(&host);
    // a stranger sees the entrance, whatever is asked for, and changes nothing
    let page = phone.get("/job/1/chart");
    page.has(&["Come in", "not encrypted"]);
    assert_eq!(phone.ask_post("/new", &[("model", "x")]), Some(403));
    // the scanned address brings the code along
    let page = phone.get(&format!("/in?code={code}"));
    assert_eq!(page.form("name=\"passcode\"").value("code"), code);
    let page = come_in(&mut phone, &code, PASSCODE);
    assert_eq!(page.status, 200, "{}", page.words());
    page.has(&["The bench is clear"]);
    let cookies = phone.last_cookies();
    assert!(
        cookies.iter().any(|c| c.starts_with("key=")
            && c.contains("HttpOnly")
            && c.contains("SameSite=Strict")),
        "{cookies:?}"
    );
    // it works like the desk, and signs with its own name
    phone.send_to("/new", &[("model", "Dunlin"), ("name", "Odo Kestle")]);
    phone.get("/job/1/journal").has(&["taken in", "Phone"]);
    // the code is used up: the next device needs a fresh one
    let mut other = server.browser_at(&host);
    assert_eq!(come_in(&mut other, &code, PASSCODE).status, 403);
    let (_, fresh) = invitation(&server);
    assert_ne!(fresh, code);
    assert_eq!(come_in(&mut other, &fresh, PASSCODE).status, 200);
    // the desk sends all of them out
    let mut desk = server.browser();
    desk.send_to("/settings", &[("what", "all-out")]);
    phone.get("/").has(&["Come in"]);
    other.get("/job/1").has(&["Come in"]);
}

#[test]
fn what_is_tried_on_the_door_fails() {
    let folder = tempfile::tempdir().unwrap();
    let Some(server) = Server::for_the_network(folder.path(), PASSCODE) else {
        return;
    };
    let (host, code) = invitation(&server);
    let mut stranger = server.browser_at(&host);
    // names and origins are checked here as on the desk
    let port = host.rsplit(':').next().unwrap();
    for name in ["evil.example", &format!("localhost:{port}"), &server.host] {
        assert_eq!(
            stranger.ask("GET", "/in", &[("Host", name)], b"").status,
            421,
            "{name}"
        );
    }
    let form = [
        ("Content-Type", "application/x-www-form-urlencoded"),
        ("Origin", "http://evil.example"),
    ];
    assert_eq!(
        stranger
            .ask("POST", "/in", &form, b"code=1&passcode=2")
            .status,
        403
    );
    // a made-up key opens nothing
    for key in ["", "0", &"0".repeat(64), "../../etc/passwd"] {
        let page = stranger.ask("GET", "/", &[("Cookie", &format!("key={key}"))], b"");
        assert_eq!(
            (page.status, page.header("location")),
            (303, "/in"),
            "{key}"
        );
    }
    // what only the desk may do is refused to a phone that is in
    let mut phone = server.browser_at(&host);
    assert_eq!(come_in(&mut phone, &code, PASSCODE).status, 200);
    for fields in [
        &[("what", "passcode"), ("passcode", "mine from now on")][..],
        &[("what", "backup")][..],
        &[("what", "all-out")][..],
        &[("what", "blank"), ("client", "1"), ("sure", "yes")][..],
    ] {
        assert_eq!(phone.ask_post("/settings", fields), Some(422), "{fields:?}");
    }
    let page = phone.get("/settings");
    assert!(
        !page.text.contains("code-now"),
        "no code for yet another device"
    );
}

#[test]
fn guessing_is_slowed_down_for_everybody() {
    let folder = tempfile::tempdir().unwrap();
    let Some(server) = Server::for_the_network(folder.path(), PASSCODE) else {
        return;
    };
    let (host, code) = invitation(&server);
    // each guess comes from a browser of its own, so nothing hangs on a cookie
    let mut statuses = Vec::new();
    for n in 0..8 {
        let mut guess = server.browser_at(&host);
        statuses.push(come_in(&mut guess, &code, &format!("guess {n}")).status);
    }
    assert_eq!(statuses[..6], [403; 6]);
    assert_eq!(statuses[6..], [429; 2], "the seventh waits");
    // right words do not get past the wait either, or a guesser would know by it
    let mut right = server.browser_at(&host);
    let page = come_in(&mut right, &code, PASSCODE);
    assert_eq!(page.status, 429);
    page.has(&["Too many wrong tries"]);
}
