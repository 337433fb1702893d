//! Entering a reading: the sheet, the verdict while it is typed, the guard against slips, writing.

use super::chart::{self, ChartView};
use super::conditions;
use crate::commands::chart::rows;
use crate::serve::ask::{Ask, Fields};
use crate::serve::dates;
use crate::serve::fail::{Answer, Fail, go, ok};
use crate::serve::marks::{self, BandShown};
use crate::serve::record::{number, understand};
use crate::serve::run::Step;
use crate::serve::site::Site;
use axum::http::StatusCode;
use bench::chart::judge::{Judged, judge};
use bench::slips::Slip;
use maud::{Markup, html};
use shop::{JobFields, JobId, NewReading, ReadingId, ShopError};

/// A question before a reading is written.
pub(crate) struct Question {
    /// The question.
    what: String,
    /// What it may have been meant to be, when that is a figure.
    instead: Option<String>,
}

/// The keys of the pad, row by row; `Enter` is two wide.
const PAD: [[&str; 4]; 4] = [
    ["7", "8", "9", "erase"],
    ["4", "5", "6", "−"],
    ["1", "2", "3", "."],
    ["skip", "0", "Enter", ""],
];

/// Where a photo is taken that is tied at once: to the reading that stands here, else to the point.
fn photo_address(chart: &ChartView) -> String {
    let id = chart.view.job.id;
    match chart.standing(&chart.at) {
        Some(reading) => format!("/job/{id}/photos?kind=reading&target={}", reading.id),
        None => format!(
            "/job/{id}/photos?kind=point&target={}",
            chart::percent(&chart.at)
        ),
    }
}

/// The sheet on which the next reading is entered.
pub(crate) fn entry(
    chart: &ChartView,
    ask: &Ask,
    typed: &str,
    question: Option<&Question>,
) -> Markup {
    let id = chart.view.job.id;
    let line = chart.line();
    let post = format!("/job/{id}/reading");
    let standing = chart.standing(&chart.at);
    let next = chart.next();
    let what = line.map_or_else(String::new, |l| rows::what(&chart.found.traced.circuit, l));
    let unit = match chart.unit {
        "ac" => "V ac",
        "Hz" => "Hz",
        _ => line.map_or("V", |l| l.unit),
    };
    let unit_words = match unit {
        "V ac" => "V ac",
        "ohm" => "ohm, unplugged",
        "A" => "A",
        "Hz" => "swings a second",
        _ => "V",
    };
    let last = chart.found.readings.last();
    let tied = chart.tied_photos();
    html! {
        section.sheet.entry aria-label="Entry" {
            @if chart.at.is_empty() {
                h2.point-now { "A reading" }
            } @else {
                div.now {
                    h2.point-now { (chart.at) }
                    span.what {
                        (what)
                        @if unit == "V" && !chart.at.contains(" to ") { @if !what.is_empty() { ", " } "to ground" }
                    }
                    @if let Some(v) = line.filter(|l| l.unit == unit).and_then(|l| l.volts) {
                        span.expect { "expect " strong.computed { (rows::figure(v, unit)) } @if unit == "V" { " V" } }
                    }
                }
            }
            @if let Some(q) = question { (slip(chart, &post, typed, q)) }
            @else {
                form #reading method="post" action=(post) hx-get=(format!("/job/{id}/judge")) hx-trigger="input changed delay:40ms from:#shown" hx-target="#verdict" hx-include="#reading" hx-sync="this:queue last" {
                    input type="hidden" name="state" value=(chart.state.word());
                    @if let Some(back) = &chart.back { input type="hidden" name="back" value=(back); }
                    @if chart.at.is_empty() {
                        label.free-point { span { "Point" } input name="point" autocomplete="off" placeholder="V1.3" required autofocus; }
                    } @else { input type="hidden" name="point" value=(chart.at); }
                    @if unit == "V ac" { input type="hidden" name="unit" value="ac"; }
                    @if unit == "Hz" { input type="hidden" name="unit" value="Hz"; }
                    @if let Some(s) = standing { input type="hidden" name="corrects" value=(s.id); }
                    div.value {
                        input #shown name="shown" value=(typed) inputmode="decimal" autocomplete="off" autofocus[!chart.at.is_empty()]
                            aria-label=(format!("What the meter shows at {}, {unit_words}", if chart.at.is_empty() { "the point" } else { &chart.at }));
                        div #verdict aria-live="polite" { (standing_verdict(line)) }
                    }
                    div #wide { (chart::wide_band(line.and_then(chart::band_of))) }
                    @if let Some(s) = standing {
                        p.standing { "Read " strong { (s.fields.shown) } ", " (s.bench) " " (dates::since(s.at, ask.now)) ". Another figure corrects it; both stay in the record." }
                    }
                    div.write {
                        button.primary #primary type="submit" {
                            (marks::probe())
                            span.words { span.what { "Write it" } @if chart.back.is_some() { span.why { "then back to the suspects" } } @else if let Some(n) = &next { span.why { "then " (n) } } }
                            kbd { "Enter" }
                        }
                        @if let Some(back) = &chart.back { a.button #skip href=(back) { "Leave it" kbd { "s" } } }
                        @else if let Some(n) = &next { a.button #skip href=(chart.at_address(n)) { "Skip" kbd { "s" } } }
                    }
                    @if let Some(l) = last { p.last-above { "last reading" strong { (l.fields.point) " " (l.fields.shown) } } }
                    div.pad aria-label="Keypad" role="group" {
                        @for key in PAD.iter().flatten().filter(|k| !k.is_empty()) {
                            @match *key {
                                "Enter" => { button.key.enter type="submit" { "Enter" } }
                                "skip" => { button.key.minor type="button" data-key="skip" { "skip" } }
                                k if k.len() == 1 && k.as_bytes()[0].is_ascii_digit() => { button.key type="button" data-key=(k) { (k) } }
                                k => { button.key.minor type="button" data-key=(k) aria-label=[(k == "−").then_some("minus")] { (k) } }
                            }
                        }
                    }
                }
                div.entry-foot {
                @if let Some(l) = line {
                    details.reason #why { summary { "Why " (l.volts.map_or_else(|| "nothing".to_owned(), |v| rows::figure(v, l.unit))) "?" kbd { "y" } } (chart::reason(chart, l)) }
                }
                    @if let Some(s) = standing {
                        form method="post" action=(format!("/job/{id}/reading/withdraw")) {
                            input type="hidden" name="back" value=(chart.at_address(&chart.at));
                            input type="hidden" name="reading" value=(s.id);
                            button.button { "Take it back" }
                        }
                    }
                    details {
                        summary { "Another point" }
                        form.inline method="get" action=(format!("/job/{id}/chart")) {
                            input type="hidden" name="state" value=(chart.state.word());
                            label { span { "Such as V2.8, LS1, B1 to B2" } input name="at" autocomplete="off" required; }
                            button.button { "Go" }
                        }
                    }
                    a.button href=(photo_address(chart)) #photo { "Photo" kbd { "p" } }
                    @if let Some(l) = last { p.last { "last " strong { (l.fields.point) " " (l.fields.shown) } } }
                }
                (super::photos::thumbnails(&tied))
            }
        }
    }
}

fn standing_verdict(line: Option<&bench::chart::Line>) -> Markup {
    match line {
        Some(l) if l.verdict.is_some() => marks::verdict(l.verdict, rows::high(l), ""),
        _ => html! {},
    }
}

/// The question about a slip, instead of the form.
fn slip(chart: &ChartView, post: &str, typed: &str, q: &Question) -> Markup {
    let again = |shown: &str, sure: bool, inner: &Markup| {
        html! {
            form method="post" action=(post) {
                input type="hidden" name="state" value=(chart.state.word());
                input type="hidden" name="point" value=(chart.at);
                input type="hidden" name="shown" value=(shown);
                @if let Some(back) = &chart.back { input type="hidden" name="back" value=(back); }
                @if !chart.unit.is_empty() { input type="hidden" name="unit" value=(chart.unit); }
                @if sure { input type="hidden" name="sure" value="yes"; }
                @if let Some(s) = chart.standing(&chart.at) { input type="hidden" name="corrects" value=(s.id); }
                (inner)
            }
        }
    };
    html! {
        div.slip role="alert" {
            p.typed { (typed) }
            p { (q.what) " Nothing is written yet." }
            @if let Some(instead) = &q.instead {
                (again(instead, true, &html! { button.primary #primary data-digit="1" autofocus { (marks::probe()) span.words { span.what { "It was " (instead) } } kbd { "1" } } }))
                (again(typed, true, &html! { button.button.wide data-digit="2" { (typed) " is right" kbd { "2" } } }))
            } @else {
                (again(typed, true, &html! { button.button.wide data-digit="1" { (typed) " is right" kbd { "1" } } }))
            }
            a.button.wide href=(chart.at_address(&chart.at)) { "Read it again" }
        }
    }
}

/// The reading judged against the chart that is on the page.
fn judged(
    chart: &ChartView,
    point: &str,
    shown: &str,
    unit: &str,
) -> Result<(Judged, Option<f64>), (String, String)> {
    let circuit = &chart.found.traced.circuit;
    let lines: String = chart
        .conditions
        .block
        .as_ref()
        .map_or_else(String::new, |b| b.conditions.clone());
    let typed = understand(circuit, &lines, point, shown, unit)?;
    let meter = chart.conditions.raw.meter;
    Ok((
        judge(circuit, &chart.worked.entries, &typed.reading, meter),
        number(&typed.reading),
    ))
}

/// The verdict while it is typed.
pub(crate) fn while_typing(site: &Site, _: &Ask, id: JobId, fields: &Fields) -> Answer {
    let (point, shown) = (fields.line("point"), fields.line("shown"));
    let typed = Fields::of(vec![
        ("at".to_owned(), point.clone()),
        ("state".to_owned(), fields.get("state").to_owned()),
    ]);
    let answer = site.shop.read(|r| {
        let chart = chart::view(site, r, id, &typed)?;
        let line = chart.line();
        if shown.is_empty() || shown == "-" {
            return Ok(html! {
                (standing_verdict(line))
                div #wide hx-swap-oob="innerHTML:#wide" { (chart::wide_band(line.and_then(chart::band_of))) }
            });
        }
        Ok(match judged(&chart, &point, &shown, fields.get("unit")) {
            Err((what, _)) => html! { p.not-read { (what) } },
            Ok((judged, value)) => {
                let (verdict, high, amount) = chart::verdict_words(judged.verdict, judged.beyond);
                let band = line.and_then(chart::band_of).map(|b| BandShown { reading: value, verdict, ..b });
                html! {
                    @if verdict.is_some() { (marks::verdict(verdict, high, &amount)) }
                    div #wide hx-swap-oob="innerHTML:#wide" { (chart::wide_band(band)) }
                }
            }
        })
    })?;
    ok(answer)
}

/// Writes a reading down, after the guard.
pub(crate) fn write(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let point = fields.line("point");
    let shown = fields.line("shown").replace(['\u{2212}', '\u{2013}'], "-");
    let unit = fields.line("unit");
    let at = Fields::of(vec![
        ("at".to_owned(), point.clone()),
        ("state".to_owned(), fields.get("state").to_owned()),
        ("back".to_owned(), fields.get("back").to_owned()),
        ("unit".to_owned(), unit.clone()),
    ]);
    let chart = site.shop.read(|r| chart::view(site, r, id, &at))?;
    if shown.is_empty() {
        // Enter on nothing goes on to the next point
        let next = || chart.next().map(|n| chart.at_address(&n));
        let to = chart.back.clone().or_else(next);
        return go(to.unwrap_or_else(|| chart.address()));
    }
    let (judged, _) = judged(&chart, &point, &shown, &unit)
        .map_err(|(what, remedy)| Fail::typed(what, remedy))?;
    if let (Some(hint), false) = (&judged.slip, fields.has("sure")) {
        let question = Question {
            what: hint.text.clone(),
            instead: instead(&shown, &hint.slip),
        };
        let page = site.shop.read(|r| {
            let entry = entry(&chart, ask, &shown, Some(&question));
            chart::page(site, ask, r, &chart, &entry)
        })?;
        return Err(Fail::Page(StatusCode::UNPROCESSABLE_ENTITY, Box::new(page)));
    }
    let next = chart.next();
    let new = NewReading {
        point,
        shown,
        unit,
        ..NewReading::default()
    };
    let corrects = fields.number("corrects").map(ReadingId);
    site.shop.write(&ask.stamp(), |w| {
        let block = match chart.conditions.block.as_ref() {
            Some(b) => b.id,
            None => {
                let (mains, meter) = conditions::usual(w)?;
                let text = crate::serve::state::usual_conditions(&mains, &meter);
                let instrument = w.instruments()?.iter().find(|i| !i.gone).map(|i| i.id);
                w.begin_block(id, chart.state, chart.state.word(), &text, instrument)?
            }
        };
        w.take_reading(block, &new, corrects)?;
        if Step::of(&w.job(id)?.step) < Step::Chart {
            let at = JobFields {
                step: Some(Step::Chart.slug().to_owned()),
                ..JobFields::default()
            };
            w.change_job(id, &at, None, "at the chart")?;
        }
        Ok::<_, ShopError>(())
    })?;
    if let Some(back) = chart.back {
        return go(back);
    }
    let to = match next {
        Some(n) => chart.at_address(&n),
        None if chart.worked.chart.points.is_empty() => format!("{}&at=", chart.address()),
        None => chart.address(),
    };
    go(to)
}

/// The figure that a slip would have hidden.
fn instead(shown: &str, slip: &Slip) -> Option<String> {
    let value: f64 = shown.parse().ok()?;
    match slip {
        Slip::Sign => Some(match shown.strip_prefix('-') {
            Some(plain) => plain.to_owned(),
            None => format!("-{shown}"),
        }),
        Slip::Range { factor } => {
            // the digits stay as they were typed; only the point moves
            let digits = shown.chars().filter(char::is_ascii_digit).count();
            let meant = value * factor;
            let whole = meant.abs().log10().floor().max(0.0) + 1.0;
            let places = (digits as f64 - whole).clamp(0.0, 6.0) as usize;
            Some(format!("{meant:.places$}"))
        }
        Slip::Pin { .. } | Slip::AcPosition | Slip::AmpOff => None,
    }
}

/// Takes a reading back; it stays in the record.
pub(crate) fn withdraw(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let reading = ReadingId(fields.number("reading").ok_or(Fail::NoPage)?);
    site.shop.write(&ask.stamp(), |w| {
        if !w.readings(id)?.iter().any(|r| r.id == reading) {
            return Err(ShopError::Nothing("such reading in this job".to_owned()));
        }
        w.withdraw_reading(reading)
    })?;
    go(super::back(fields, &format!("/job/{id}/chart")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_figure_that_was_meant_keeps_its_digits() {
        let range = |shown: &str, factor| instead(shown, &Slip::Range { factor });
        assert_eq!(range("131", 0.01), Some("1.31".to_owned()));
        assert_eq!(range("1.72", 100.0), Some("172".to_owned()));
        assert_eq!(range("17.2", 10.0), Some("172".to_owned()));
        assert_eq!(range("-29.4", 0.1), Some("-2.94".to_owned()));
        assert_eq!(instead("169", &Slip::Sign), Some("-169".to_owned()));
        assert_eq!(instead("-0.4", &Slip::Sign), Some("0.4".to_owned()));
        assert_eq!(instead("0", &Slip::AmpOff), None);
    }
}
