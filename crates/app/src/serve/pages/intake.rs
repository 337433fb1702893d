//! Intake: what the owner says, the interview, what is printed and stamped on the amp, what sits in
//! its sockets, what is allowed.

use super::{area, back, choice, clash, field};
use crate::serve::ask::{Ask, Fields};
use crate::serve::fail::{Answer, Fail, go, ok};
use crate::serve::frame::{self, Page, Place};
use crate::serve::run::Step;
use crate::serve::site::Site;
use crate::serve::state::{self, JobView};
use crate::serve::{dates, money};
use bench::datecodes;
use maud::{Markup, html};
use shop::{
    AmpFields, Answer as Said, Authorisation, AuthorisationFields, ClientFields, DateCode,
    DateCodeId, JobFields, JobId, OwnerWords, Reader, ShopError, Untouched, ValveFields,
    ValveFitted, ValveId,
};

/// The interview: stable name, question. Common practice, no source.
const QUESTIONS: [(&str, &str); 11] = [
    ("last_played", "When did it last work?"),
    ("changed", "What changed just before?"),
    ("always", "Is it there always, or does it come and go?"),
    ("channel", "Which channel, which input?"),
    ("controls", "Which controls change it?"),
    ("smell_fuse", "Does it smell, or blow fuses?"),
    ("inside", "Who has been inside?"),
    ("stored", "Was it stored unused, and for how long?"),
    ("country", "In which country was it used?"),
    ("purpose", "For the stage, the studio, the collection?"),
    ("limit", "What may it cost?"),
];

/// Where codes are usually found.
const PLACES: [&str; 6] = [
    "mains transformer",
    "output transformer",
    "choke",
    "loudspeaker",
    "control",
    "can capacitor",
];

/// Photos worth taking before anything is moved.
const PHOTOS: [&str; 6] = [
    "outside, front",
    "outside, back",
    "chassis from above",
    "wiring, close, overlapping, before anything is touched",
    "joints that look disturbed",
    "damage",
];

/// `/job/42/intake`.
pub(crate) fn show(site: &Site, ask: &Ask, id: JobId, _: &Fields) -> Answer {
    let page = site.shop.read(|r| {
        let view = state::view(site, r, id)?;
        let post = format!("/job/{id}/intake");
        let body = html! {
            div.intake {
                div {
                    (words_sheet(&r.owner_words(id)?, &post, ask))
                    (interview(&r.answers(id)?, &post))
                    (codes_sheet(&r.date_codes(id)?, &post, dates::year(ask.now)))
                }
                div {
                    (identity(&view, &client_of(r, &view)?, &post))
                    (valves(&r.valves_fitted(id)?, &post))
                    (allowed(&r.authorisations(id)?, r.setting("currency")?.as_deref().unwrap_or("EUR"), &post, ask))
                    (photos(&view))
                    form method="post" action=(format!("/job/{id}/step")) {
                        input type="hidden" name="step" value=(Step::Intake.slug());
                        (frame::primary_button("Intake is done", "next: inspection, unplugged", "Enter"))
                    }
                }
            }
        };
        frame::page(site, ask, r, Page {
            title: format!("{} {}: intake", id, view.job.amp.fields.short()),
            place: Place::Job(&view, Some(Step::Intake)),
            head: frame::job_head(&view),
            buttons: html! { a.button href=(format!("/job/{id}/photos")) #photo { "Photo" kbd { "p" } } },
            conditions: html! {},
            body,
        })
    })?;
    ok(page)
}

fn client_of(r: &Reader<'_>, view: &JobView) -> Result<ClientFields, ShopError> {
    Ok(r.client(view.job.amp.client)?.fields)
}

fn words_sheet(words: &[OwnerWords], post: &str, ask: &Ask) -> Markup {
    html! {
        section.sheet {
            h2 { "The owner's words" }
            @for w in words {
                @if w.blanked { p.hint { "blanked" } }
                @else { blockquote.small-quote { "“" (w.text) "”" span.small { (dates::day(w.at, ask.now)) } } }
            }
            form method="post" action=(post) {
                input type="hidden" name="what" value="words";
                (area("Word for word", "words", "", 2))
                button.button { "Take down" }
            }
        }
    }
}

fn interview(answers: &[Said], post: &str) -> Markup {
    html! {
        section.sheet {
            h2 { "Interview" }
            form method="post" action=(post) {
                input type="hidden" name="what" value="interview";
                @for (name, question) in QUESTIONS {
                    @let said = answers.iter().find(|a| a.question == name).map_or("", |a| a.answer.as_str());
                    (field(question, name, said))
                }
                button.button { "Write the answers" }
            }
        }
    }
}

fn codes_sheet(codes: &[DateCode], post: &str, year: u16) -> Markup {
    let untouched: Vec<&str> = codes
        .iter()
        .filter(|c| c.untouched != Untouched::No)
        .map(|c| c.code.as_str())
        .collect();
    let windows = datecodes::windows(&untouched, year);
    html! {
        section.sheet {
            h2 { "Date codes" }
            @if !codes.is_empty() {
                table.plain {
                    thead { tr { th { "On" } th { "Code" } th { "Read as" } th { "Untouched" } th { span.visually-hidden { "Take away" } } } }
                    tbody {
                        @for c in codes {
                            tr {
                                td { (c.found_on) }
                                td.mono { (c.code) }
                                td { (read_as(&c.code, year)) }
                                td { (c.untouched.word()) }
                                td {
                                    form method="post" action=(post) {
                                        input type="hidden" name="what" value="code-gone";
                                        input type="hidden" name="code" value=(c.id);
                                        button.button.small-button aria-label=(format!("Take away the code on the {}", c.found_on)) { "Take away" }
                                    }
                                }
                            }
                        }
                    }
                }
            }
            @if !windows.is_empty() {
                p.result { "Finished in " (windows.iter().map(|w| format!("{}", w.year)).collect::<Vec<_>>().join(" or ")) " or later." }
                @let odd: Vec<&str> = windows.first().map(|w| w.odd.iter().filter_map(|i| untouched.get(*i).copied()).collect()).unwrap_or_default();
                @if !odd.is_empty() { p { "Does not fit with the others, so probably a replacement: " (odd.join(", ")) "." } }
                p.hint { "The latest date among untouched parts is the earliest the amp can have been finished. One digit of a year leaves the decade open. Layout of the code: a public page, seen second-hand, not verified in the original." }
            }
            form.inline method="post" action=(post) {
                input type="hidden" name="what" value="code";
                label { span { "On" } input name="found_on" list="places" autocomplete="off"; }
                datalist #places { @for p in PLACES { option value=(p) {} } }
                label { span { "Digits as printed" } input name="digits" autocomplete="off"; }
                (choice("Untouched", "untouched", &[("unsure", "unsure"), ("yes", "yes"), ("no", "no")], "unsure"))
                button.button { "Add" }
            }
        }
    }
}

/// `maker 123, week 14 of 1961`, every way it can be split.
pub(crate) fn read_as(code: &str, year: u16) -> String {
    let splits = datecodes::splits(code, year);
    if splits.is_empty() {
        return "no such code".to_owned();
    }
    let one = |s: &datecodes::Split| {
        let years: Vec<String> = s.years.iter().map(ToString::to_string).collect();
        format!("maker {}, week {} of {}", s.maker, s.week, years.join(", "))
    };
    splits.iter().map(one).collect::<Vec<_>>().join("; or ")
}

fn identity(view: &JobView, client: &ClientFields, post: &str) -> Markup {
    let a = &view.job.amp.fields;
    html! {
        section.sheet {
            h2 { "The amp and its owner" }
            form method="post" action=(post) {
                input type="hidden" name="what" value="identity";
                input type="hidden" name="seen" value=(view.seen);
                div.pair { (field("Maker", "maker", &a.maker)) (field("Model", "model", &a.model)) }
                div.pair { (field("Serial, chassis", "serial", &a.serial)) (field("Serial, cabinet", "cabinet_serial", &a.cabinet_serial)) }
                (field("In a few words", "about", &a.about))
                (field("What came with it", "accessories", &view.job.accessories))
                div.pair { (field("Owner", "name", &client.name)) (field("Telephone", "phone", &client.phone)) }
                (field("Mail", "email", &client.email))
                button.button { "Write" }
            }
        }
    }
}

fn valves(fitted: &[ValveFitted], post: &str) -> Markup {
    html! {
        section.sheet {
            h2 { "Valves in their sockets" }
            @if !fitted.is_empty() {
                table.plain {
                    thead { tr { th { "Socket" } th { "Meant" } th { "In it" } th { "Printed, code" } th { "Tester" } } }
                    tbody {
                        @for v in fitted {
                            @let f = &v.fields;
                            tr {
                                td { strong { (f.socket) } }
                                td { (f.meant) }
                                td { (f.found) @if !f.meant.is_empty() && f.meant != f.found { " " span.outlined { "another type" } } }
                                td { (f.print) @if !f.date_code.is_empty() { ", " (f.date_code) } }
                                td { (f.tester) }
                            }
                        }
                    }
                }
            }
            form method="post" action=(post) {
                input type="hidden" name="what" value="valve";
                div.triple {
                    (field("Socket", "socket", ""))
                    (field("Meant for", "meant", ""))
                    (field("In it", "found", ""))
                }
                div.triple {
                    (field("Printed on it", "print", ""))
                    (field("Date code", "date_code", ""))
                    (field("Tester says", "tester", ""))
                }
                p.hint { "The same socket again is a correction, or a swap: both stay in the record." }
                button.button { "Add" }
            }
        }
    }
}

fn allowed(given: &[Authorisation], currency: &str, post: &str, ask: &Ask) -> Markup {
    html! {
        section.sheet #allows {
            h2 { "What the owner allows" }
            @for a in given {
                p { (a.fields.says)
                    @if let Some(c) = a.fields.ceiling_minor { ", up to " strong { (money::shown(c, &a.fields.currency)) } }
                    span.small { " " (a.fields.who) " " (a.fields.how) ", " (dates::day(a.at, ask.now)) }
                }
            }
            form method="post" action=(post) {
                input type="hidden" name="what" value="allow";
                input type="hidden" name="currency" value=(currency);
                (field("What, in words", "says", ""))
                div.triple {
                    (field(&format!("Up to, {currency}"), "ceiling", ""))
                    (field("Who", "who", ""))
                    (field("How", "how", ""))
                }
                button.button { "Write" }
            }
        }
    }
}

fn photos(view: &JobView) -> Markup {
    html! {
        section.sheet {
            h2 { "Photos" }
            p { (view.tally.photos) " so far. Worth having, before anything is moved:" }
            ul.ticks { @for p in PHOTOS { li { (p) } } }
            p { a.button href=(format!("/job/{}/photos", view.job.id)) { "Take photos" } }
        }
    }
}

/// Writes one part of the intake.
pub(crate) fn write(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let here = format!("/job/{id}/intake");
    let stamp = ask.stamp();
    match fields.get("what") {
        "words" => {
            if let Some(words) = fields.some("words") {
                site.shop.write(&stamp, |w| w.take_down(id, words, None))?;
            }
        }
        "interview" => site.shop.write(&stamp, |w| {
            for (name, _) in QUESTIONS {
                if fields.has(name) {
                    w.answer(id, name, &fields.line(name))?;
                }
            }
            Ok(())
        })?,
        "code" => {
            let (on, digits) = (fields.line("found_on"), fields.line("digits"));
            if digits.is_empty() {
                return Err(Fail::typed(
                    "A code has digits.",
                    "Type them as they are printed, such as `123 6114`.",
                ));
            }
            let untouched = Untouched::of(fields.get("untouched"));
            site.shop
                .write(&stamp, |w| w.add_date_code(id, &on, &digits, untouched))?;
        }
        "code-gone" => {
            let code = DateCodeId(fields.number("code").unwrap_or(0));
            site.shop.write(&stamp, |w| {
                let all = w.date_codes(id)?;
                let old = all
                    .iter()
                    .find(|c| c.id == code)
                    .ok_or_else(|| ShopError::Nothing("such code".to_owned()))?;
                w.change_date_code(id, code, &old.code, old.untouched, true)
            })?;
        }
        "identity" => return identify(site, ask, id, fields),
        "valve" => {
            let new = ValveFields {
                socket: fields.line("socket"),
                meant: fields.line("meant"),
                found: fields.line("found"),
                print: fields.line("print"),
                date_code: fields.line("date_code"),
                tester: fields.line("tester"),
                ..ValveFields::default()
            };
            if new.socket.is_empty() {
                return Err(Fail::typed(
                    "The socket has no name.",
                    "Type it as in the wiring: `V1`, `V2`.",
                ));
            }
            site.shop.write(&stamp, |w| {
                let before: Option<ValveId> = w
                    .valves_fitted(id)?
                    .iter()
                    .find(|v| v.fields.socket == new.socket)
                    .map(|v| v.id);
                w.enter_valve(id, &new, before)
            })?;
        }
        "allow" => {
            let ceiling = match fields.some("ceiling") {
                None => None,
                Some(text) => {
                    Some(money::parse(text, &fields.line("currency")).ok_or_else(|| {
                        Fail::typed(
                            format!("`{text}` is no amount."),
                            "Type it as `380` or `380.50`.",
                        )
                    })?)
                }
            };
            let new = AuthorisationFields {
                who: fields.line("who"),
                how: fields.line("how"),
                says: fields.line("says"),
                ceiling_minor: ceiling,
                currency: fields.line("currency"),
            };
            site.shop.write(&stamp, |w| w.authorise(id, &new))?;
        }
        _ => return Err(Fail::NoPage),
    }
    go(back(fields, &here))
}

/// What is printed on the amp, what came with it, and the owner's details.
fn identify(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let seen = fields.seen();
    let done = site.shop.write(&ask.stamp(), |w| {
        let job = w.job(id)?;
        w.change_amp(
            job.amp.id,
            &AmpFields {
                maker: fields.line("maker"),
                model: fields.line("model"),
                serial: fields.line("serial"),
                cabinet_serial: fields.line("cabinet_serial"),
                about: fields.line("about"),
            },
            seen,
        )?;
        let accessories = JobFields {
            accessories: Some(fields.line("accessories")),
            ..JobFields::default()
        };
        w.change_job(id, &accessories, seen, "what came with it")?;
        let old = w.client(job.amp.client)?;
        if !old.blanked {
            let new = ClientFields {
                name: fields.line("name"),
                phone: fields.line("phone"),
                email: fields.line("email"),
                ..old.fields
            };
            w.change_client(job.amp.client, &new, seen)?;
        }
        Ok(())
    });
    let post = format!("/job/{id}/intake");
    clash::or_page(site, ask, id, fields, &post, done)?;
    go(back(fields, &post))
}
