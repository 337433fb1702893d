//! Taking in an amp: whose, which, and what the owner says. Everything else can wait.

use super::{area, choice, comeback, field};
use crate::serve::ask::{Ask, Fields};
use crate::serve::fail::{Answer, Fail, go, ok};
use crate::serve::frame::{self, Page, Place};
use crate::serve::site::Site;
use maud::html;
use shop::{AmpFields, AmpId, ClientFields, ClientId, ShopError};

/// Amps that are offered as known; an older one is found by its words.
const LAST: usize = 40;

/// `/new`.
pub(crate) fn show(site: &Site, ask: &Ask, typed: &Fields) -> Answer {
    let page = site.shop.read(|r| {
        let mut known = r.last_seen(LAST)?;
        // come from a job that was found
        if let Some(amp) = typed.number("amp").filter(|a| !known.iter().any(|(_, k)| k.id == AmpId(*a))) {
            let amp = r.amp(AmpId(amp))?;
            known.push((r.client(amp.client)?, amp));
        }
        let mut amps: Vec<(String, String)> = vec![(String::new(), "not here before".to_owned())];
        let mut clients: Vec<(String, String)> = vec![(String::new(), "somebody new".to_owned())];
        for (client, amp) in &known {
            let words = format!("{}, serial {}, {}", amp.fields.name(), amp.fields.serial, client.fields.name);
            amps.push((amp.id.to_string(), words));
            let client = (client.id.to_string(), client.fields.name.clone());
            if !clients.contains(&client) {
                clients.push(client);
            }
        }
        fn borrowed(all: &[(String, String)]) -> Vec<(&str, &str)> {
            all.iter().map(|(a, b)| (a.as_str(), b.as_str())).collect()
        }
        let body = html! {
            form.two-columns method="post" action="/new" {
                section.sheet {
                    h2 { "What the owner says" }
                    (area("Word for word", "words", typed.whole("words"), 4))
                    h2 { "The amp" }
                    @if amps.len() > 1 { (choice("Was it here before?", "amp", &borrowed(&amps), typed.get("amp"))) }
                    @if amps.len() > LAST { p.hint { "Longer ago? " a href="/find" { "Find it" } ", open its job, and take it in again from there." } }
                    div.pair {
                        (field("Maker, as printed", "maker", typed.get("maker")))
                        (field("Model, as printed", "model", typed.get("model")))
                    }
                    div.pair {
                        (field("Serial number, chassis", "serial", typed.get("serial")))
                        (field("Serial number, cabinet", "cabinet_serial", typed.get("cabinet_serial")))
                    }
                    (field("In a few words", "about", typed.get("about")))
                }
                section.sheet {
                    h2 { "The owner" }
                    @if clients.len() > 1 { (choice("Known already?", "client", &borrowed(&clients), typed.get("client"))) }
                    (field("Name", "name", typed.get("name")))
                    div.pair {
                        (field("Telephone", "phone", typed.get("phone")))
                        (field("Mail", "email", typed.get("email")))
                    }
                    p.hint { "Names and numbers stand apart from the technical record, and can be blanked without touching it." }
                    (field("Number on the tag, where one is printed already", "number", typed.get("number")))
                    p.advice { "Say to the owner: do not switch it on again, and do not put in a larger fuse." }
                    (frame::primary_button("Take it in", "then the interview, codes, photos", "Enter"))
                }
            }
            details.sheet.from-archive {
                summary { "A job from its archive" }
                form method="post" action="/new/archive" enctype="multipart/form-data" {
                    label { span { "The archive, as the page of the job gave it" } input type="file" name="archive" accept=".zip,application/zip" required; }
                    p.hint { "The amp comes with it as a new one; the owner too, unless somebody here has the same name and contact. It keeps its number where no job here has it." }
                    button.button { "Take it in" }
                }
            }
        };
        frame::page(site, ask, r, Page {
            title: "New job".to_owned(),
            place: Place::Shop,
            head: html! { h1 { "New job" } },
            buttons: html! {},
            conditions: html! {},
            body,
        })
    })?;
    ok(page)
}

/// Takes it in.
pub(crate) fn take(site: &Site, ask: &Ask, fields: &Fields) -> Answer {
    let number = match fields.some("number") {
        None => None,
        Some(text) => Some(text.parse::<i64>().map_err(|_| {
            Fail::typed(
                format!("`{text}` is no number of a tag."),
                "Type the number on the tag, or leave it empty: the next one is taken.",
            )
        })?),
    };
    let job = site.shop.write(&ask.stamp(), |w| {
        let amp = match fields.number("amp") {
            Some(amp) => w.amp(AmpId(amp))?.id,
            None => {
                let client = match fields.number("client") {
                    Some(client) => w.client(ClientId(client))?.id,
                    None => w.add_client(&ClientFields {
                        name: fields.line("name"),
                        phone: fields.line("phone"),
                        email: fields.line("email"),
                        ..ClientFields::default()
                    })?,
                };
                w.add_amp(
                    client,
                    &AmpFields {
                        maker: fields.line("maker"),
                        model: fields.line("model"),
                        serial: fields.line("serial"),
                        cabinet_serial: fields.line("cabinet_serial"),
                        about: fields.line("about"),
                    },
                )?
            }
        };
        let job = w.open_job(amp, number)?;
        comeback::begin(w, job)?;
        if let Some(words) = fields.some("words") {
            w.take_down(job, words, None)?;
        }
        Ok::<_, ShopError>(job)
    })?;
    go(format!("/job/{job}/intake"))
}
