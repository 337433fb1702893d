//! Attempts on the pages from outside, each refused.

#![allow(clippy::unwrap_used, reason = "a failed step is a failed test")]

mod server;

use server::Server;

#[test]
fn foreign_names_foreign_sites_and_paths_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let server = Server::start(&folder.path().join("shop"), &[]);
    let mut b = server.browser();
    let port = server.host.rsplit(':').next().unwrap().to_owned();
    let own = format!("http://{}", server.host);
    let get = |b: &mut server::Browser, path: &str, headers: &[(&str, &str)]| {
        b.ask("GET", path, headers, b"").status
    };

    assert_eq!(get(&mut b, "/", &[]), 200);
    assert_eq!(
        get(&mut b, "/", &[("Host", &format!("localhost:{port}"))]),
        200
    );
    for foreign in [
        "evil.example",
        "evil.example:80",
        "127.0.0.1",
        "127.0.0.1:1",
        "0.0.0.0",
    ] {
        assert_eq!(get(&mut b, "/", &[("Host", foreign)]), 421, "{foreign}");
    }

    let form = ("Content-Type", "application/x-www-form-urlencoded");
    let post = |b: &mut server::Browser, headers: &[(&str, &str)]| {
        let mut all = vec![form];
        all.extend_from_slice(headers);
        b.ask("POST", "/new", &all, b"model=Dunlin&name=x").status
    };
    assert_eq!(post(&mut b, &[]), 403, "no origin");
    for bad in [
        "null",
        "http://evil.example",
        "http://127.0.0.1:1",
        "https://127.0.0.1",
    ] {
        assert_eq!(post(&mut b, &[("Origin", bad)]), 403, "{bad}");
    }
    assert_eq!(
        post(
            &mut b,
            &[("Origin", &own), ("Sec-Fetch-Site", "cross-site")]
        ),
        403
    );
    assert_eq!(get(&mut b, "/job/1", &[]), 404, "nothing was written");
    assert_eq!(
        post(
            &mut b,
            &[("Origin", &own), ("Sec-Fetch-Site", "same-origin")]
        ),
        303
    );
    assert_eq!(get(&mut b, "/job/1", &[]), 200);

    for path in [
        "/assets/../../Cargo.toml",
        "/assets/..%2f..%2fCargo.toml",
        "/assets/%2e%2e/%2e%2e/etc/passwd",
        "/assets//etc/passwd",
        "/assets/fonts",
        "/etc/passwd",
        "/shop.sqlite",
    ] {
        assert_eq!(get(&mut b, path, &[]), 404, "{path}");
    }
    for path in [
        "/job/1/photos/..%2f..%2fx/small",
        "/job/x/photos/1/small",
        "/job/1/photos/1/small",
    ] {
        let status = get(&mut b, path, &[]);
        assert!(status == 400 || status == 404, "{path}: {status}");
    }
    // a page that asks for a change by GET changes nothing
    assert_eq!(get(&mut b, "/job/1/close", &[]), 405);
    assert_eq!(get(&mut b, "/job/1/undo", &[]), 405);
}

#[test]
fn uploads_are_told_by_their_content_and_have_limits() {
    let folder = tempfile::tempdir().unwrap();
    let server = Server::start(&folder.path().join("shop"), &[]);
    let mut b = server.browser();
    b.send_to("/new", &[("model", "Dunlin"), ("name", "Odo Kestle")]);
    let to = "/job/1/photos";
    let page = b.upload(to, "photo.jpg", b"<svg onload=alert(1)>");
    assert_eq!(page.status, 422);
    page.has(&["This is no photo"]);
    let page = b.upload(to, "photo.heic", b"\x00\x00\x00\x18ftypheic----");
    page.has(&["HEIC"]);
    assert_eq!(b.upload(to, "a.jpg", &vec![0xff; 26 << 20]).status, 413);
    // a form without files is smaller still
    let long = "x".repeat(2 << 20);
    assert_eq!(b.send_to("/job/1/note", &[("text", &long)]).status, 413);
    // a picture is kept, shown small, and its name is only a name
    let page = b.upload(to, "../../<b>x.png", &server::png());
    assert_eq!(page.status, 200, "{}", page.words());
    page.has(&["../../<b>x.png"]);
    assert!(!page.text.contains("<b>x.png"));
    let small = b.get("/job/1/photos/1/small");
    assert_eq!(
        (small.status, small.header("content-type")),
        (200, "image/jpeg")
    );
    assert_eq!(b.get("/job/2/photos/1/small").status, 404, "another job's");
    assert!(!folder.path().join("x.png").exists());
}

/// `--lan` without a passcode does not start; the loopback door is the only one by default.
#[test]
fn the_network_is_let_in_only_with_a_passcode() {
    let folder = tempfile::tempdir().unwrap();
    let ran = std::process::Command::new(env!("CARGO_BIN_EXE_tubewright"))
        .args(["serve", "--port", "0", "--lan", "--shop"])
        .arg(folder.path().join("shop"))
        .output()
        .unwrap();
    assert_eq!(ran.status.code(), Some(2));
    let said = String::from_utf8_lossy(&ran.stderr);
    assert!(said.contains("passcode"), "{said}");
    let server = Server::start(&folder.path().join("shop"), &[]);
    assert!(server.host.starts_with("127.0.0.1:"), "{}", server.host);
}
