//! A run sheet: what is to be looked at or read, one item after another, each held against its
//! limit at once.

use super::power_up;
use super::{back, grid};
use crate::serve::ask::{Ask, Fields};
use crate::serve::fail::{Answer, Fail, go, ok};
use crate::serve::frame::{self, Page, Place};
use crate::serve::run::Step;
use crate::serve::site::Site;
use crate::serve::state::JobView;
use crate::serve::work_out::{self, Found};
use crate::serve::{marks, sheets, state};
use bench::sheet::{Line, Outcome, Sheet};
use maud::{Markup, html};
use shop::{
    JobFields, JobId, Photo, Power, ResultFields, ResultGiven, ResultId, ShopError, TieKind,
};

/// A line that asks for something that is answered here. What is read under power belongs on the
/// chart, what is left on a capacitor in the cell that says whether it is off.
fn asks(step: Step, line: &Line) -> bool {
    let here = match step {
        Step::SetUp => false,
        Step::PowerUp => matches!(line.point(), Some("load" | "cold-check")),
        _ => true,
    };
    here && line.point().is_some()
        && (line.is_blank()
            || matches!(
                line.outcome(),
                Outcome::Pass | Outcome::Open | Outcome::Fail | Outcome::Stop
            ))
}

/// The page of a step with sheets.
pub(crate) fn show(site: &Site, ask: &Ask, id: JobId, step: Step, fields: &Fields) -> Answer {
    let page = site.shop.read(|r| {
        let view = state::view(site, r, id)?;
        let found = work_out::found(site, r, id, sheets::state_of(step))?;
        let all = sheets::of(step, site, &found);
        let lines: Vec<&Line> = all.iter().flat_map(Sheet::lines).filter(|l| asks(step, l)).collect();
        let plan = (step == Step::PowerUp).then(|| sheets::plan_of(site, &found));
        let heads = |title: &str, column: usize| {
            plan.as_ref().map_or_else(|| html! {}, |p| power_up::read_here(id, p, &found.traced.circuit, title, column))
        };
        let at = fields
            .some("at")
            .and_then(|at| lines.iter().find(|l| l.point() == Some(at)))
            .or_else(|| lines.iter().find(|l| l.outcome() == Outcome::Open))
            .or(lines.first());
        let open = lines.iter().filter(|l| l.outcome() == Outcome::Open).count();
        let told: Vec<&Line> = all
            .iter()
            .flat_map(Sheet::lines)
            .filter(|l| asks(step, l) || matches!(l.outcome(), Outcome::Fail | Outcome::Stop))
            .collect();
        let photos = r.photos(id)?;
        let done = html! {
            form method="post" action=(format!("/job/{id}/step")) {
                input type="hidden" name="step" value=(step.slug());
                @if open == 0 { (frame::primary_button(&format!("{} is done", step.name()), &step.after().map_or_else(String::new, |s| format!("next: {}", s.name().to_lowercase())), "Enter")) }
                @else { button.button { "Go on with " (open) " open" } }
            }
        };
        let body = html! {
            div.run-sheet {
                div {
                    @for sheet in all.iter() { (table(id, step, sheet, at.copied(), &heads)) }
                    @if all.is_empty() { section.sheet { p.hint { "Nothing is asked here yet." } } }
                    @if let Some(first) = all.first() { (frame::sheet_foot(first.caution())) }
                }
                div.run-entry {
                    (unplug(&view, step))
                    @match at {
                        Some(_) if locked(&view, step) => {
                            section.sheet { p { "Ohms are written here once the cell above says OFF: the plug out, and every point that stores charge read below " (state::safe_volts()) " V." } }
                        }
                        Some(line) => (entry(id, step, line, &found, &photos)),
                        None => {}
                    }
                    (done)
                }
            }
        };
        frame::page(site, ask, r, Page {
            title: format!("{} {}: {}", id, view.job.amp.fields.short(), step.name().to_lowercase()),
            place: Place::Job(&view, Some(step)),
            head: frame::job_head(&view),
            buttons: html! {
                span.aside { (count(&told)) }
                @if step == Step::PlayTest {
                    a.button href=(format!("/job/{id}/recordings")) { "Recordings" }
                    a.button href=(format!("/job/{id}/listen")) { "Listen" }
                }
                @if !all.is_empty() { (super::paper::button(id, step.slug(), "")) } },
            conditions: frame::power_strip(&view, ask),
            body,
        })
    })?;
    ok(page)
}

/// An ohmmeter goes in only where nothing is left.
fn locked(view: &JobView, step: Step) -> bool {
    step == Step::Cold && !matches!(view.power, Power::Off { .. })
}

/// Before hands go in: what of this amp is live or charged, and what to do. It cannot be pressed
/// away; it goes when every point is read.
fn unplug(view: &JobView, step: Step) -> Markup {
    if !matches!(step, Step::Inspection | Step::Cold) {
        return html! {};
    }
    let limit = state::safe_volts();
    let (what, then) = match &view.power {
        Power::Off { .. } => return html! {},
        Power::Live { .. } | Power::Unknown => (
            "Unplug, clip on, read each point".to_owned(),
            match &view.live_at {
                Some((point, volts)) => format!(
                    "{point} was read at {volts} V. It holds charge after the plug is out: hands go in below {limit} V."
                ),
                None => format!(
                    "It holds charge after the plug is out: hands go in below {limit} V at every capacitor."
                ),
            },
        ),
        Power::Charged { left, .. } => (
            match left.first() {
                Some((point, _)) => format!("Clip on, read {point}"),
                None => "Clip on, read each point".to_owned(),
            },
            format!(
                "{} still to be read below {limit} V.",
                if left.len() == 1 {
                    "1 point is".to_owned()
                } else {
                    format!("{} points are", left.len())
                }
            ),
        ),
        Power::Unnamed { .. } => (
            "Name what stores charge, and read it".to_owned(),
            format!("Each electrolytic capacitor counts until it was read below {limit} V."),
        ),
    };
    html! {
        section.caution role="note" {
            (marks::hatch())
            div { h2 { (what) } p { (then) " The cell above takes it down." } }
            (marks::flash())
        }
    }
}

/// The unit in which a line wants its figure; none where it wants a word.
fn unit(step: Step, line: &Line) -> Option<String> {
    match line.limit() {
        Some(limit) => Some(limit.unit.clone()),
        None if step == Step::Cold => Some("ohm".to_owned()),
        None => None,
    }
}

/// `3 pass, 1 fail, 8 open`.
pub(crate) fn count(lines: &[&Line]) -> String {
    let all = [
        (Outcome::Stop, "stop"),
        (Outcome::Fail, "fail"),
        (Outcome::Pass, "pass"),
        (Outcome::Open, "open"),
    ];
    let counts: Vec<String> = all
        .into_iter()
        .map(|(o, w)| (lines.iter().filter(|l| l.outcome() == o).count(), w))
        .filter(|(n, _)| *n > 0)
        .map(|(n, w)| format!("{n} {w}"))
        .collect();
    counts.join(", ")
}

/// A sheet, section by section; `heads` gives what stands under the name of a grid's column.
pub(crate) fn table(
    id: JobId,
    step: Step,
    sheet: &Sheet,
    at: Option<&Line>,
    heads: &dyn Fn(&str, usize) -> Markup,
) -> Markup {
    html! {
        section.sheet.items aria-label=(sheet.title) {
            h2 { (sheet.title) }
            @if !sheet.conditions.is_empty() { p.hint { (sheet.conditions.join(", ")) } }
            @for section in &sheet.sections {
                @if !section.title.is_empty() { h3 { (section.title) } }
                @if let Some(grid) = grid::grid(section).filter(|_| step == Step::PowerUp) {
                    (grid::table(&section.title, &grid, |column| heads(&section.title, column)))
                } @else { ul {
                    @for line in &section.lines {
                        @let here = at.is_some_and(|a| std::ptr::eq(a, line));
                        li.item.here[here] id=[here.then_some("at")] {
                            div.what {
                                @match (asks(step, line), line.point()) {
                                    (true, Some(item)) => { a href=(format!("/job/{id}/{}?at={}", step.slug(), super::chart::percent(item))) aria-current=[here.then_some("true")] { (called(step, line)) } }
                                    _ => { span { (line.what()) } }
                                }
                                @if let Some(point) = line.point().filter(|p| !asks(step, line) && !line.what().contains(*p)) { " " span.small { (point) } }
                            }
                            div.expected { @if let Some(e) = line.expected() { span.computed { (e) } } }
                            div.read { (said(line)) }
                            div.limit { @if let Some(l) = line.limit() { (l) } }
                            div.came { (marks::outcome(line.outcome())) }
                            @if !line.why().is_empty() { p.why { (marks::typed(line.why())) } }
                        }
                    }
                } }
            }
            @if !sheet.missing.is_empty() {
                h3 { "Not known" }
                ul.missing { @for m in &sheet.missing { li { (marks::typed(&m.what)) ": " (marks::typed(&m.remedy)) } } }
            }
            @if !sheet.notes.is_empty() { ul.notes { @for n in &sheet.notes { li { (marks::typed(n)) } } } }
        }
    }
}

/// A line in words; ohms are asked for at a point, which is named first.
fn called(step: Step, line: &Line) -> Markup {
    let point = line
        .point()
        .filter(|p| step == Step::Cold && !line.what().contains(*p));
    html! {
        @if let Some(point) = point { strong.at-point { (point) } " " }
        span { (line.what()) }
    }
}

/// What was read or answered.
fn said(line: &Line) -> String {
    match (line.reading(), line.answer()) {
        (Some(figure), _) => figure.to_string(),
        (None, Some(answer)) => answer.to_owned(),
        (None, None) => String::new(),
    }
}

/// The sheet on which one item is answered.
fn entry(id: JobId, step: Step, line: &Line, found: &Found, photos: &[Photo]) -> Markup {
    let item = line.point().unwrap_or_default();
    let given = found.results.iter().find(|r| r.fields.item == item);
    let target = format!("{}/{item}", sheets::kept_as(step));
    let tied: Vec<&Photo> = photos
        .iter()
        .filter(|p| {
            p.ties
                .iter()
                .any(|t| t.kind == TieKind::Sheet && t.target == target)
        })
        .collect();
    let unit = unit(step, line);
    html! {
        section.sheet.item-entry {
            h2 { (called(step, line)) }
            @if let Some(l) = line.limit() { p { "Limit: " strong { (l) } } }
            @if let Some(e) = line.expected() { p { "Expect: " strong.computed { (e) } } }
            p.hint { (line.origin().text) }
            form method="post" action=(format!("/job/{id}/answer")) {
                input type="hidden" name="step" value=(step.slug());
                input type="hidden" name="item" value=(item);
                @if let Some(g) = given { input type="hidden" name="corrects" value=(g.id); }
                @if let Some(unit) = &unit {
                    div.value {
                        input #shown name="said" inputmode="decimal" autocomplete="off" autofocus
                            value=(given.map_or("", |g| g.fields.shown.as_str()))
                            aria-label=(format!("{}, {unit}", line.what()));
                        span.unit { (unit) }
                    }
                }
                label { span { "In a few words" } input name="note" autocomplete="off" value=(given.map_or("", |g| g.fields.note.as_str())); }
                @if unit.is_some() {
                    button.primary #primary { (marks::probe()) span.words { span.what { "Write it" } } kbd { "Enter" } }
                } @else {
                    div.three.two {
                        button.verdict-button name="said" value="yes" data-digit="1" autofocus { span { "As it should be" } kbd { "1" } }
                        button.verdict-button name="said" value="no" data-digit="2" { span { "No" } kbd { "2" } }
                    }
                }
            }
            div.others {
                a.button #photo href=(format!("/job/{id}/photos?kind=sheet&target={}", super::chart::percent(&target))) { "Photo" kbd { "p" } }
            }
            (super::photos::thumbnails(&tied))
        }
    }
}

/// Writes an answer down, with the outcome that its limit gives, and goes on to the next open item.
pub(crate) fn answer(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let step = Step::of(fields.get("step"));
    if step == Step::Cold {
        let view = site.shop.read(|r| state::view(site, r, id))?;
        if locked(&view, step) {
            return Err(Fail::typed(
                "It is not said to be off, so no ohms are written.",
                "Unplug it, clip on, and write the volts of each point that stores charge into the cell that says LIVE or CHARGED.",
            ));
        }
    }
    let (item, said) = (
        fields.line("item"),
        fields.line("said").replace('\u{2212}', "-"),
    );
    if item.is_empty() || said.is_empty() {
        return Err(Fail::typed(
            "Nothing was answered.",
            "Press `As it should be` or `No`, or type what the meter shows.",
        ));
    }
    let mut new = ResultFields {
        sheet: sheets::kept_as(step).to_owned(),
        item: item.clone(),
        shown: said,
        note: fields.line("note"),
        ..ResultFields::default()
    };
    // a bare figure is in the unit that the line asks for
    let plain = site
        .shop
        .read(|r| work_out::found(site, r, id, sheets::state_of(step)))?;
    if new.shown.parse::<f64>().is_ok() {
        new.unit = sheets::of(step, site, &plain)
            .iter()
            .flat_map(Sheet::lines)
            .find(|l| l.point() == Some(item.as_str()))
            .and_then(|l| unit(step, l))
            .unwrap_or_default();
    }
    // the sheet with this answer on it says how it came out
    let found = site.shop.read(|r| {
        let mut found = work_out::found(site, r, id, sheets::state_of(step))?;
        let now = ResultGiven {
            id: ResultId(0),
            fields: new.clone(),
            at: ask.now,
            bench: ask.bench.clone(),
        };
        found.results.retain(|x| x.fields.item != item);
        found.results.push(now);
        let text =
            crate::serve::record::readings_text(&found.blocks, &found.readings, &found.results);
        let wiring = found.traced.text.clone();
        found.traced = work_out::trace(site, &found.place, &wiring, &text);
        Ok(found)
    })?;
    let all = sheets::of(step, site, &found);
    let line = all
        .iter()
        .flat_map(Sheet::lines)
        .find(|l| l.point() == Some(item.as_str()))
        .ok_or(Fail::NoPage)?;
    if line.outcome() == Outcome::Open && line.reading().is_none() {
        return Err(Fail::typed(
            format!("`{}` was not understood as an answer.", new.shown),
            line.why().to_owned(),
        ));
    }
    new.result = match line.outcome() {
        Outcome::Pass => shop::Outcome::Pass,
        Outcome::Fail | Outcome::Stop => shop::Outcome::Fail,
        Outcome::Open | Outcome::Told => shop::Outcome::Open,
    };
    new.limit = line.limit().map(ToString::to_string).unwrap_or_default();
    new.source = line.origin().text.clone();
    site.shop.write(&ask.stamp(), |w| {
        w.answer_item(id, &new)?;
        if Step::of(&w.job(id)?.step) < step {
            let at = JobFields {
                step: Some(step.slug().to_owned()),
                ..JobFields::default()
            };
            w.change_job(id, &at, None, &format!("at {}", step.name().to_lowercase()))?;
        }
        Ok::<_, ShopError>(())
    })?;
    go(back(fields, &step.address(id)))
}
