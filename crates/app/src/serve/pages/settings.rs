//! Settings of the shop and of this device, instruments, other devices, backup.

use super::{choice, field};
use crate::serve::ask::{Ask, Fields, escaped};
use crate::serve::code_picture;
use crate::serve::fail::{Answer, Fail, go, ok};
use crate::serve::frame::{self, Page, Place};
use crate::serve::site::Site;
use crate::serve::{access, dates, money};
use axum::http::header::SET_COOKIE;
use axum::response::{AppendHeaders, IntoResponse as _, Redirect};
use maud::{Markup, html};
use shop::{
    ClientId, Instrument, InstrumentFields, InstrumentId, Rate, Settings, ShopError, Tax, TaxId,
};

/// `/settings`.
pub(crate) fn show(site: &Site, ask: &Ask, _: &Fields) -> Answer {
    let page = site.shop.read(|r| {
        let set = r.settings()?;
        let body = html! {
            div.settings {
                div {
                    (shop_sheet(&set))
                    (device_sheet(ask))
                    (money_sheet(&set, &r.rates()?, &r.taxes()?))
                    (instruments(&r.instruments()?, r.last_entry()?.0))
                }
                div {
                    @if ask.desk { (others(site, ask, set.get("passcode").is_some_and(|p| !p.is_empty()))) }
                    @if ask.desk { (backup(site)) }
                    @if ask.desk { (people(&r.clients()?)) }
                    section.sheet { p { a.button href="/keys" { "Keys" kbd { "?" } } } p.hint { "Tubewright " (env!("CARGO_PKG_VERSION")) } }
                }
            }
        };
        frame::page(site, ask, r, Page {
            title: "Settings".to_owned(),
            place: Place::Shop,
            head: html! { h1 { "Settings" } },
            buttons: html! {},
            conditions: html! {},
            body,
        })
    })?;
    ok(page)
}

fn shop_sheet(set: &Settings) -> Markup {
    let get = |name: &str, otherwise: &'static str| {
        set.get(name)
            .filter(|v| !v.is_empty())
            .map_or(otherwise.to_owned(), Clone::clone)
    };
    html! {
        section.sheet {
            h2 { "The bench" }
            form method="post" action="/settings" {
                input type="hidden" name="what" value="shop";
                (field("Its name", "bench_name", &get("bench_name", "Desk")))
                div.triple {
                    (field("Mains here, such as 231 V", "mains", &get("mains", "")))
                    (choice("Currency", "currency", &[("EUR", "€"), ("GBP", "£"), ("USD", "$"), ("CHF", "CHF"), ("SEK", "SEK"), ("AUD", "AUD"), ("CAD", "CAD"), ("JPY", "JPY")], &get("currency", "EUR")))
                    (field("An hour costs", "rate", &get("rate", "")))
                }
                div.triple {
                    (choice("Capacitors in", "capacitors", &[("µF", "µF, nF, pF"), ("MFD", "MFD")], &get("capacitors", "µF")))
                    (choice("Valve names", "valves", &[("US", "US (12AX7)"), ("European", "European (ECC83)")], &get("valves", "US")))
                    (choice("Paper", "paper", &[("A4", "A4"), ("Letter", "Letter")], &get("paper", "A4")))
                }
                button.button { "Write" }
            }
        }
    }
}

fn money_sheet(set: &Settings, rates: &[Rate], taxes: &[Tax]) -> Markup {
    let get = |name: &str| set.get(name).map_or("", String::as_str);
    let currency = Some(get("currency"))
        .filter(|c| !c.is_empty())
        .unwrap_or("EUR");
    html! {
        section.sheet #money {
            h2 { "Money" }
            form method="post" action="/settings/money" {
                (super::area("Your address, on invoices", "bench_address", get("bench_address"), 3))
                (super::area("At the foot of invoices: bank, tax number, terms", "invoice_foot", get("invoice_foot"), 3))
                button.button name="do" value="words" { "Write" }
            }
            h3 { "An hour of some tasks costs otherwise" }
            ul { @for rate in rates { li {
                form.inline method="post" action="/settings/money" {
                    input type="hidden" name="task" value=(rate.task);
                    span { (rate.task) ", " (money::shown(rate.hour_minor, currency)) }
                    button.button.small-button name="do" value="rate-off" aria-label=(format!("As usual: {}", rate.task)) { "As usual" }
                }
            } } }
            form.inline method="post" action="/settings/money" {
                (field("Task, as on the clock", "task", ""))
                (field(&format!("An hour, {currency}"), "hour", ""))
                button.button name="do" value="rate" { "Set" }
            }
            h3 { "Taxes on top of what is taxed" }
            ul { @for tax in taxes { li {
                form.inline method="post" action="/settings/money" {
                    input type="hidden" name="tax" value=(tax.id);
                    span { (tax.name) ", " (tax.milli_percent / 1000) "." (format!("{:03}", tax.milli_percent % 1000)) " %" }
                    button.button.small-button name="do" value="tax-off" aria-label=(format!("Take away: {}", tax.name)) { "Take away" }
                }
            } } }
            form.inline method="post" action="/settings/money" {
                (field("Its name on the invoice", "name", ""))
                (field("Per cent", "percent", ""))
                button.button name="do" value="tax" { "Put on" }
            }
            p { a.button href="/invoices" { "Invoices" } }
        }
    }
}

/// Writes rates, taxes and what stands on every invoice.
pub(crate) fn money(site: &Site, ask: &Ask, fields: &Fields) -> Answer {
    let stamp = ask.stamp();
    match fields.get("do") {
        "words" => site.shop.write(&stamp, |w| {
            for name in ["bench_address", "invoice_foot"] {
                if w.setting(name)?.unwrap_or_default() != fields.get(name) {
                    w.set_setting(name, fields.get(name))?;
                }
            }
            Ok::<_, ShopError>(())
        })?,
        "rate" => {
            let currency = site.shop.read(crate::serve::purse::currency)?;
            let text = fields.get("hour");
            let hour = money::parse(text, &currency).ok_or_else(|| {
                Fail::typed(
                    format!("\u{201c}{text}\u{201d} is no amount."),
                    "Type it as 48 or 48.50.",
                )
            })?;
            let task = fields.line("task");
            site.shop.write(&stamp, |w| w.set_rate(&task, Some(hour)))?;
        }
        "rate-off" => {
            let task = fields.line("task");
            site.shop.write(&stamp, |w| w.set_rate(&task, None))?;
        }
        "tax" => {
            let text = fields.get("percent");
            let milli = thousandths(text).ok_or_else(|| {
                Fail::typed(
                    format!("\u{201c}{text}\u{201d} is no percentage."),
                    "Type it as 19 or 9.975.",
                )
            })?;
            let name = fields.line("name");
            site.shop.write(&stamp, |w| w.add_tax(&name, milli))?;
        }
        "tax-off" => {
            let tax = TaxId(fields.number("tax").unwrap_or_default());
            site.shop.write(&stamp, |w| w.drop_tax(tax))?;
        }
        _ => return Err(Fail::NoPage),
    }
    go("/settings#money")
}

/// `19`, `9.975` in thousandths.
fn thousandths(text: &str) -> Option<i64> {
    let text = text.trim_end_matches('%').trim().replace(',', ".");
    let (whole, rest) = text.split_once('.').unwrap_or((&text, ""));
    let digits = |t: &str| t.bytes().all(|b| b.is_ascii_digit());
    if whole.is_empty() || !digits(whole) || !digits(rest) || rest.len() > 3 {
        return None;
    }
    format!("{whole}{rest:0<3}").parse().ok()
}

fn device_sheet(ask: &Ask) -> Markup {
    html! {
        section.sheet {
            h2 { "This device" }
            form method="post" action="/settings/device" {
                (field("Its name in the journal", "name", &ask.bench))
                (choice("Light", "light", &[("", "as the device has it"), ("day", "day"), ("lamp", "lamp (dark)")], &ask.light))
                (choice("Single-letter keys", "letters", &[("on", "on"), ("off", "off")], if ask.letters { "on" } else { "off" }))
                button.button { "Write" }
            }
        }
    }
}

fn instruments(all: &[Instrument], seen: i64) -> Markup {
    html! {
        section.sheet {
            h2 { "Instruments" }
            @for i in all {
                details {
                    summary { (i.fields.name) " " span.small { (i.fields.kind) @if i.gone { ", gone" } @if !i.fields.calibrated.is_empty() { ", calibrated " (i.fields.calibrated) } } }
                    (instrument_form(Some(i), seen))
                }
            }
            details open[all.is_empty()] { summary { "Another instrument" } (instrument_form(None, seen)) }
        }
    }
}

fn instrument_form(old: Option<&Instrument>, seen: i64) -> Markup {
    let f = old.map(|i| i.fields.clone()).unwrap_or_default();
    let number = |v: Option<f64>| v.map(|v| v.to_string()).unwrap_or_default();
    let ohms = f.input_ohms.map_or_else(String::new, |o| {
        wiring::units::rounded(o, wiring::units::Quantity::Ohms, 4)
    });
    html! {
        form method="post" action="/settings" {
            input type="hidden" name="what" value="instrument";
            input type="hidden" name="seen" value=(seen);
            @if let Some(i) = old { input type="hidden" name="id" value=(i.id); }
            div.triple { (field("Name", "name", &f.name)) (field("What it is", "kind", &f.kind)) (field("Serial number", "serial", &f.serial)) }
            div.triple {
                (field("Input resistance on DC volts", "input_ohms", &ohms))
                (field("Error of reading, %", "error_percent", &number(f.error_percent)))
                label { span { "Calibrated on" } input type="date" name="calibrated" value=(f.calibrated); }
            }
            @if old.is_some() { label.check { input type="checkbox" name="gone" value="yes" checked[old.is_some_and(|i| i.gone)]; span { "no longer on the bench" } } }
            button.button { "Write" }
        }
    }
}

/// Other devices: the address, the code, the passcode.
fn others(site: &Site, ask: &Ask, set: bool) -> Markup {
    let address = site.access.address.clone();
    let code = address.as_ref().and_then(|_| site.access.code(ask.now));
    html! {
        section.sheet.devices {
            h2 { "Phone and other devices" }
            @if let (Some(address), Some(code)) = (&address, &code) {
                @let whole = format!("{address}/in?code={code}");
                p { "Open " strong.mono { (address) } " on the phone, or scan:" }
                @if let Some(picture) = code_picture::scannable(&whole) { (picture) }
                p { "Code " strong.code-now { (code) } " works once, for ten minutes. The passcode is asked, too." }
                @let devices = site.access.devices();
                @if !devices.is_empty() {
                    p { "In now: " (devices.iter().map(|d| format!("{} since {}", d.name, dates::since(d.since, ask.now))).collect::<Vec<_>>().join(", ")) "." }
                    form method="post" action="/settings" { button.button name="what" value="all-out" { "Send all of them out" } }
                }
            } @else {
                p { "Start with " code { "tubewright serve --lan" } " to let a phone on the same network in." }
            }
            form.inline method="post" action="/settings" {
                label { span { @if set { "A new passcode" } @else { "A passcode, at least six signs" } } input type="password" name="passcode" autocomplete="new-password" minlength="6" required; }
                button.button name="what" value="passcode" { "Set" }
            }
            p.hint { "It keeps out whoever finds the address. It does not hide what is sent: the connection is not encrypted, so use it on a network of your own." }
        }
    }
}

fn backup(site: &Site) -> Markup {
    html! {
        section.sheet {
            h2 { "Backup" }
            p { "The shop is in " span.mono { (site.shop.folder().display()) } "." }
            form method="post" action="/settings" {
                button.button name="what" value="backup" { "Make a backup beside it" }
            }
            p { a.button href="/shop.zip" download { "The shop as one archive" } }
            p.hint { "While you go on working. Onto another disk, and to verify or restore: " code { "tubewright backup" } "." }
        }
    }
}

fn people(clients: &[shop::Client]) -> Markup {
    if clients.is_empty() {
        return html! {};
    }
    let options: Vec<(String, &str)> = clients
        .iter()
        .map(|c| (c.id.to_string(), c.fields.name.as_str()))
        .collect();
    let options: Vec<(&str, &str)> = options.iter().map(|(i, n)| (i.as_str(), *n)).collect();
    html! {
        details.sheet {
            summary { "Blank a client" }
            form method="post" action="/settings" {
                (choice("Who", "client", &options, ""))
                p { "Name, numbers, own words, interview and authorisations are emptied for good. Readings, verdicts, results and work stay. Backups made earlier still hold them." }
                label.check { input type="checkbox" name="sure" value="yes" required; span { "I mean it; this cannot be undone" } }
                button.button name="what" value="blank" { "Blank" }
            }
        }
    }
}

/// Writes settings of the shop.
pub(crate) fn write(site: &Site, ask: &Ask, fields: &Fields) -> Answer {
    let desk_only = || {
        if ask.desk {
            Ok(())
        } else {
            Err(Fail::typed(
                "This can be done at the desk only.",
                "Open the page on the machine itself.",
            ))
        }
    };
    match fields.get("what") {
        "shop" => site.shop.write(&ask.stamp(), |w| {
            for name in [
                "bench_name",
                "mains",
                "currency",
                "rate",
                "capacitors",
                "valves",
                "paper",
            ] {
                let value = fields.line(name);
                if w.setting(name)?.unwrap_or_default() != value {
                    w.set_setting(name, &value)?;
                }
            }
            Ok::<_, ShopError>(())
        })?,
        "instrument" => {
            let new = instrument(fields)?;
            let gone = fields.has("gone");
            site.shop
                .write(&ask.stamp(), |w| match fields.number("id") {
                    Some(id) => w.change_instrument(InstrumentId(id), &new, gone, fields.seen()),
                    None => w.add_instrument(&new).map(|_| ()),
                })?;
        }
        "passcode" => {
            desk_only()?;
            let typed = fields.whole("passcode");
            if typed.chars().count() < access::SHORTEST {
                return Err(Fail::typed(
                    format!("The passcode has fewer than {} signs.", access::SHORTEST),
                    "Choose a longer one.",
                ));
            }
            let kept = access::kept(typed).ok_or_else(|| {
                Fail::typed("There are no random numbers on this system.", "Try again.")
            })?;
            site.shop
                .write(&ask.stamp(), |w| w.set_setting("passcode", &kept))?;
            site.access.close();
        }
        "all-out" => {
            desk_only()?;
            site.access.close();
        }
        "backup" => {
            desk_only()?;
            let folder = site.shop.folder();
            let name = format!(
                "{}-backup-{}",
                folder
                    .file_name()
                    .map_or_else(|| "shop".into(), |n| n.to_string_lossy().into_owned()),
                dates::for_a_name(ask.now)
            );
            let to = folder.with_file_name(name);
            let made = shop::back_up(folder, &to, ask.now)?;
            let page = frame::bare(
                "Backup",
                &html! {
                    section.sheet {
                        h1 { "The backup is made" }
                        p { (made.jobs) " jobs, " (made.readings) " readings, " (made.attachments) " files, in " span.mono { (to.display()) } "." }
                        p { "Copy it to another disk. " code { "tubewright backup --verify" } " reads all of it." }
                        p { a.button href="/settings" { "Back" } }
                    }
                },
            );
            return ok(page);
        }
        "blank" => {
            desk_only()?;
            let client = ClientId(fields.number("client").ok_or(Fail::NoPage)?);
            if fields.get("sure") != "yes" {
                return Err(Fail::typed("It was not confirmed.", "Tick the box first."));
            }
            site.shop.forget(&ask.stamp(), |w| w.blank_client(client))?;
        }
        _ => return Err(Fail::NoPage),
    }
    go("/settings")
}

fn instrument(fields: &Fields) -> Result<InstrumentFields, Fail> {
    let number = |name: &str, example: &str| match fields.some(name) {
        None => Ok(None),
        Some(text) => text
            .trim_end_matches('%')
            .trim()
            .parse::<f64>()
            .ok()
            .filter(|v| v.is_finite() && *v >= 0.0)
            .map(Some)
            .ok_or_else(|| {
                Fail::typed(
                    format!("`{text}` is no number."),
                    format!("Type it as `{example}`."),
                )
            }),
    };
    let input_ohms = match fields.some("input_ohms") {
        None => None,
        Some(text) => Some(
            wiring::units::parse(text, wiring::units::Quantity::Ohms)
                .map_err(|e| Fail::typed(e.to_string(), "Type it as `10M`."))?
                .value,
        ),
    };
    let name = fields.line("name");
    if name.is_empty() {
        return Err(Fail::typed(
            "The instrument has no name.",
            "Type what you call it, such as `red meter`.",
        ));
    }
    Ok(InstrumentFields {
        name,
        kind: fields.line("kind"),
        serial: fields.line("serial"),
        input_ohms,
        error_percent: number("error_percent", "0.5")?,
        digits: None,
        calibrated: fields.line("calibrated"),
        note: fields.line("note"),
    })
}

/// Settings of this device, kept in the device.
pub(crate) fn device(_: &Site, _: &Ask, fields: &Fields) -> Answer {
    let cookie = |name: &str, value: &str| {
        (
            SET_COOKIE,
            format!("{name}={value}; Path=/; SameSite=Strict; Max-Age=31536000"),
        )
    };
    let light = match fields.get("light") {
        "day" => "day",
        "lamp" => "lamp",
        _ => "",
    };
    let letters = if fields.get("letters") == "off" {
        "off"
    } else {
        "on"
    };
    let name: String = fields.line("name").chars().take(40).collect();
    let cookies = AppendHeaders([
        cookie("bench", &escaped(&name)),
        cookie("light", light),
        cookie("letters", letters),
    ]);
    Ok((cookies, Redirect::to("/settings")).into_response())
}
