//! The entrance for devices that come over the network.

use super::field;
use crate::serve::access::Entered;
use crate::serve::ask::{Ask, Fields, escaped};
use crate::serve::fail::{Answer, Fail, ok};
use crate::serve::frame;
use crate::serve::site::Site;
use axum::http::StatusCode;
use axum::http::header::SET_COOKIE;
use axum::response::{AppendHeaders, IntoResponse as _, Redirect};
use maud::{Markup, html};

/// `/in`.
pub(crate) fn show(_: &Site, _: &Ask, fields: &Fields) -> Answer {
    ok(page(fields.get("code"), ""))
}

fn page(code: &str, wrong: &str) -> Markup {
    frame::bare(
        "Come in",
        &html! {
            section.sheet.entrance {
                h1 { "Come in" }
                @if !wrong.is_empty() { p.wrong role="alert" { (wrong) } }
                form method="post" action="/in" {
                    (field("Code from the desk", "code", code))
                    label { span { "Passcode" } input type="password" name="passcode" autocomplete="current-password"; }
                    (field("Name of this device", "name", "Phone"))
                    (frame::primary_button("Come in", "", ""))
                }
                p.hint { "The connection is not encrypted: use it on a network of your own only." }
            }
        },
    )
}

/// Lets a device in, or says why not.
pub(crate) fn enter(site: &Site, ask: &Ask, fields: &Fields) -> Answer {
    let stored = site
        .shop
        .read(|r| r.setting("passcode"))?
        .unwrap_or_default();
    let name: String = fields.line("name").chars().take(40).collect();
    let name = if name.is_empty() {
        "Phone".to_owned()
    } else {
        name
    };
    let refused = |status, words: &str| Err(Fail::Page(status, Box::new(page("", words))));
    match site.access.enter(
        fields.get("code"),
        fields.whole("passcode"),
        &stored,
        &name,
        ask.now,
    ) {
        Entered::Key(key) => {
            let cookies = AppendHeaders([
                (
                    SET_COOKIE,
                    format!("key={key}; Path=/; HttpOnly; SameSite=Strict"),
                ),
                (
                    SET_COOKIE,
                    format!(
                        "bench={}; Path=/; SameSite=Strict; Max-Age=31536000",
                        escaped(&name)
                    ),
                ),
            ]);
            Ok((cookies, Redirect::to("/")).into_response())
        }
        Entered::Wrong => refused(
            StatusCode::FORBIDDEN,
            "Code or passcode is wrong, or the code is used up. A fresh code is on the desk's page Settings.",
        ),
        Entered::Wait(seconds) => refused(
            StatusCode::TOO_MANY_REQUESTS,
            &format!("Too many wrong tries. Wait {seconds} seconds."),
        ),
    }
}
