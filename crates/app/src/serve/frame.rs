//! The frame of every page: head, run of steps, conditions, page, rail of tags; on a phone bars
//! above and below.

use super::ask::Ask;
use super::assets;
use super::marks;
use super::run::{Step, StepState};
use super::site::Site;
use super::state::{self, ConditionsShown, JobView};
use maud::{DOCTYPE, Markup, html};
use shop::{Job, JobId, Power, Reader, ShopError};
use std::collections::BTreeMap;

/// Where a page belongs.
pub(crate) enum Place<'a> {
    /// The list of amps.
    Bench,
    /// A page of a job; none: the job's own page.
    Job(&'a JobView, Option<Step>),
    /// Something of the whole shop.
    Shop,
}

/// What a page puts into its frame.
pub(crate) struct Page<'a> {
    /// Title of the window.
    pub(crate) title: String,
    /// Where it belongs.
    pub(crate) place: Place<'a>,
    /// Head at the left: the heading.
    pub(crate) head: Markup,
    /// Head at the right: secondary buttons.
    pub(crate) buttons: Markup,
    /// The strip of conditions; empty where there are none.
    pub(crate) conditions: Markup,
    /// The page.
    pub(crate) body: Markup,
}

/// The settings of the script library: no evaluation, no styles of its own, no other sites.
const HTMX: &str = r#"{"allowEval":false,"includeIndicatorStyles":false,"selfRequestsOnly":true,"historyCacheSize":0,"defaultSwapDelay":0,"defaultSettleDelay":0,"responseHandling":[{"code":"204","swap":false},{"code":"[23]..","swap":true},{"code":"409","swap":true},{"code":"422","swap":true},{"code":"[45]..","swap":true,"error":true}]}"#;

/// A whole page in its frame.
pub(crate) fn page(
    site: &Site,
    ask: &Ask,
    r: &Reader<'_>,
    page: Page<'_>,
) -> Result<Markup, ShopError> {
    let open = r.open_jobs()?;
    let live = live_jobs(site, r, &open)?;
    let (job, step) = match &page.place {
        Place::Job(view, step) => (Some(*view), *step),
        Place::Bench | Place::Shop => (None, None),
    };
    let number = job.map(|v| v.job.id);
    let inner = html! {
        a.skip href="#page" { "To the page" }
        div #unsaved.unsaved role="status" hidden {}
        header.bar {
            @if let Some(view) = job {
                details.chip {
                    summary { span.tag { (view.job.id) } span.visually-hidden { "Other amps" } }
                    (tags(&open, &live, number))
                }
                a.name href=(format!("/job/{}", view.job.id)) { (view.job.amp.fields.short()) }
            } @else {
                a.home href="/" aria-label="Bench" { (marks::house_mark()) }
                span.name { (page.title) }
            }
        }
        main class=(place_class(&page.place)) {
            div.head {
                div.title { (page.head) }
                div.buttons { (page.buttons) }
            }
            @if let Some(view) = job { (run(view, step)) }
            (page.conditions)
            div #page.page tabindex="-1" { (page.body) }
        }
        nav.rail aria-label="Amps" {
            a.home href="/" aria-current=[matches!(page.place, Place::Bench).then_some("page")] {
                (marks::house_mark()) span { "Bench" }
            }
            (tags(&open, &live, number))
            div.rail-foot {
                a href="/orders" { "Orders" }
                a href="/settings" { "Settings" }
                a href="/help" { "Help" }
                a href="/find" { "Find" kbd { "/" } }
            }
        }
        (foot(job, step))
    };
    Ok(document(&page.title, ask, &inner))
}

fn place_class(place: &Place<'_>) -> &'static str {
    match place {
        Place::Job(_, Some(_)) => "column in-step",
        Place::Job(_, None) => "column in-job",
        Place::Bench | Place::Shop => "column in-shop",
    }
}

/// A page outside the frame, such as one that says what went wrong.
pub(crate) fn bare(title: &str, body: &Markup) -> Markup {
    let ask = Ask {
        bench: String::new(),
        now: shop::At(0),
        light: String::new(),
        letters: false,
        desk: false,
        path: String::new(),
    };
    document(title, &ask, &html! { main.bare { div #page { (body) } } })
}

fn document(title: &str, ask: &Ask, inner: &Markup) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" data-light=[(!ask.light.is_empty()).then_some(ask.light.as_str())] {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                meta name="htmx-config" content=(HTMX);
                title { (title) }
                link rel="icon" href=(assets::address("mark.svg")) type="image/svg+xml";
                link rel="stylesheet" href=(assets::address("page.css"));
                link rel="stylesheet" href=(assets::address("sheets.css"));
                script defer src=(assets::address("htmx.min.js")) {}
                script defer src=(assets::address("page.js")) {}
                script defer src=(assets::address("wiring.js")) {}
            }
            body data-letters=(if ask.letters { "on" } else { "off" }) { (inner) }
        }
    }
}

/// Which open jobs are live.
fn live_jobs(
    site: &Site,
    r: &Reader<'_>,
    open: &[Job],
) -> Result<BTreeMap<JobId, bool>, ShopError> {
    let _ = site;
    let mut live = BTreeMap::new();
    for job in open {
        let last = r
            .power_events(job.id)?
            .into_iter()
            .rev()
            .find_map(|(_, _, e)| match e {
                shop::PowerEvent::PlugIn => Some(true),
                shop::PowerEvent::PlugOut => Some(false),
                _ => None,
            });
        live.insert(job.id, last == Some(true));
    }
    Ok(live)
}

/// A tag for each open amp; one press leads to its current step.
fn tags(open: &[Job], live: &BTreeMap<JobId, bool>, here: Option<JobId>) -> Markup {
    html! {
        ul.tags {
            @for job in open {
                @let is_live = live.get(&job.id).copied().unwrap_or(false);
                @let is_here = here == Some(job.id);
                li {
                    a.tag.live[is_live && !is_here].held[job.waits_for.holds()]
                        href=(Step::of(&job.step).address(job.id))
                        aria-current=[is_here.then_some("true")] {
                        span.number { (job.id) }
                        span.model { (job.amp.fields.short()) }
                        @if is_live { span.visually-hidden { ", live" } }
                    }
                }
            }
        }
    }
}

/// The run: every step of the job, each a press away.
fn run(view: &JobView, here: Option<Step>) -> Markup {
    html! {
        nav.run aria-label=(format!("Steps of job {}", view.job.id)) {
            ol {
                @for (step, state) in Step::ALL.into_iter().zip(view.states) {
                    @let past = state == StepState::Done;
                    li.past[past] {
                        a href=(step.address(view.job.id))
                            aria-current=[(here == Some(step)).then_some("step")]
                            aria-label=(format!("{}, {}", step.name(), state.word())) {
                            span.name { (step.name()) }
                            (marks::one_joint(state))
                        }
                    }
                }
            }
        }
    }
}

/// The bar at the foot of a phone.
fn foot(job: Option<&JobView>, step: Option<Step>) -> Markup {
    let Some(view) = job else {
        return html! {
            nav.foot.plain aria-label="Shop" {
                a href="/" { "Bench" }
                a href="/orders" { "Orders" }
                a href="/settings" { "Settings" }
                a href="/help" { "Help" }
                a href="/find" { "Find" }
            }
        };
    };
    let id = view.job.id;
    let before = step.and_then(Step::before);
    let after = match step {
        Some(step) => step.after(),
        None => Some(Step::of(&view.job.step)),
    };
    html! {
        nav.foot aria-label="Steps" {
            @match before {
                Some(step) => { a.turn #before href=(step.address(id)) aria-label=(format!("Step before: {}", step.name())) { (chevron(true)) } }
                None => { a.turn #before href=(format!("/job/{id}")) aria-label="The job" { (chevron(true)) } }
            }
            details.steps {
                summary {
                    (marks::small_wire(&view.states, step.map(Step::index)))
                    span {
                        @match step {
                            Some(step) => { (step.name()) ", step " (step.index() + 1) " of " (Step::ALL.len()) }
                            None => { "The job" }
                        }
                    }
                }
                ol {
                    @for (step, state) in Step::ALL.into_iter().zip(view.states) {
                        li { a href=(step.address(id)) { (marks::one_joint(state)) (step.name()) span.visually-hidden { ", " (state.word()) } } }
                    }
                }
            }
            @match after {
                Some(step) => { a.turn #after href=(step.address(id)) aria-label=(format!("Next step: {}", step.name())) { (chevron(false)) } }
                None => { span.turn {} }
            }
        }
    }
}

fn chevron(back: bool) -> Markup {
    let path = if back {
        "M17 3L6 14L17 25"
    } else {
        "M7 3L18 14L7 25"
    };
    html! { svg width="24" height="28" viewBox="0 0 24 28" aria-hidden="true" { path.chevron d=(path) {} } }
}

/// Heading of a job's pages.
pub(crate) fn job_head(view: &JobView) -> Markup {
    let f = &view.job.amp.fields;
    let mut first: Vec<&str> = Vec::new();
    if !f.serial.is_empty() {
        first.push(&f.serial);
    }
    if !view.job.owner.is_empty() {
        first.push(&view.job.owner);
    }
    html! {
        h1 { a href=(format!("/job/{}", view.job.id)) { (f.name()) } }
        p.whose {
            span { (first.join(", ")) }
            @if !f.about.is_empty() { span { (f.about) } }
        }
    }
}

/// The cell that says whether the amp is live; its form says and reads what changes that.
pub(crate) fn power_cell(view: &JobView, ask: &Ask) -> Markup {
    let now = ask.now;
    let (class, lead, rest) = match &view.power {
        Power::Live { since } => {
            let lead = match &view.live_at {
                Some((_, volts)) => format!("LIVE {volts} V"),
                None => "LIVE".to_owned(),
            };
            let rest = match &view.live_at {
                Some((point, _)) => {
                    format!("at {point}, since {}", super::dates::since(*since, now))
                }
                None => format!("not read, since {}", super::dates::since(*since, now)),
            };
            ("cell power live", lead, rest)
        }
        Power::Unknown => (
            "cell power unsure",
            "TAKE AS LIVE".to_owned(),
            "nothing said yet".to_owned(),
        ),
        Power::Charged { left, done, .. } => (
            "cell power unsure",
            "CHARGED".to_owned(),
            format!("{} of {} read", done, done + left.len()),
        ),
        Power::Unnamed { .. } => (
            "cell power unsure",
            "CHARGED".to_owned(),
            "name what stores charge".to_owned(),
        ),
        Power::Off {
            at,
            points,
            highest,
        } => (
            "cell power off",
            "OFF".to_owned(),
            format!(
                "{points} of {points}, highest {} V at {}, {}",
                highest.1,
                highest.0,
                super::dates::since(*at, now)
            ),
        ),
    };
    html! {
        details class=(class) name="condition" {
            summary {
                @if matches!(view.power, Power::Live { .. }) { (marks::flash()) }
                strong { (lead) } " " span.small { (rest) }
            }
            div.opened { (power_form(view, ask)) }
        }
    }
}

/// What can be said and read about power.
fn power_form(view: &JobView, ask: &Ask) -> Markup {
    let post = format!("/job/{}/power", view.job.id);
    let back = &ask.path;
    let say = |what: &str, words: &str| {
        html! {
            form method="post" action=(post) {
                input type="hidden" name="back" value=(back);
                button.button name="what" value=(what) { (words) }
            }
        }
    };
    let limit = state::safe_volts();
    html! {
        @match &view.power {
            Power::Live { .. } | Power::Unknown => {
                p { "Say it only when the plug is in your hand." }
                (say("plug out", "The plug is out"))
                @if matches!(view.power, Power::Unknown) { (say("plug in", "The plug is in")) }
            }
            Power::Charged { left, .. } => {
                p { "The plug is out. Clip on a discharge resistor; then read each point. Below " (limit) " V hands may go in." }
                @for (point, last) in left {
                    form.inline method="post" action=(post) {
                        input type="hidden" name="back" value=(back);
                        input type="hidden" name="what" value="read";
                        input type="hidden" name="point" value=(point);
                        label {
                            (point)
                            @if let Some(volts) = last { span.small { " read " (volts) " V" } }
                            input.figure name="volts" inputmode="decimal" autocomplete="off" required;
                        }
                        button.button { "Write" }
                    }
                }
                (name_point(&post, back))
                (say("plug in", "The plug is in"))
            }
            Power::Unnamed { known, .. } => {
                p {
                    @if known.is_empty() {
                        "The plug is out. Name each electrolytic capacitor you can see, one at a time; then say that there are no more."
                    } @else {
                        "By the tracing these store charge: " (known.join(", ")) ". Name any others; then say that there are no more."
                    }
                }
                (name_point(&post, back))
                @if !known.is_empty() { (say("no more points", "There are no more")) }
                (say("plug in", "The plug is in"))
            }
            Power::Off { .. } => {
                p { "Old capacitors recover some charge: read again after five minutes, and leave the clip on." }
                (say("plug in", "The plug is in"))
            }
        }
    }
}

fn name_point(post: &str, back: &str) -> Markup {
    html! {
        form.inline method="post" action=(post) {
            input type="hidden" name="back" value=(back);
            input type="hidden" name="what" value="stores";
            label { "Another that stores charge" input name="point" autocomplete="off" required maxlength="60"; }
            button.button { "Name it" }
        }
    }
}

/// The strip of conditions under which readings are taken.
pub(crate) fn conditions_strip(
    view: &JobView,
    ask: &Ask,
    shown: &ConditionsShown,
    form: &Markup,
) -> Markup {
    html! {
        section.conditions aria-label="Conditions" {
            (power_cell(view, ask))
            div.cell { span.small { "Mains" } " " strong { (shown.mains) } }
            div.cell.strong[shown.unusual] { span.small { "Valves" } " " strong { (shown.valves) } }
            @if !shown.limiter.is_empty() { div.cell.strong { span.small { "Lamp" } " " strong { (shown.limiter) } } }
            div.cell.more { span.small { "Knobs" } " " strong { (shown.knobs) } }
            div.cell.more { span.small { "Meter" } " " strong { (shown.meter) } }
            details.cell.change name="condition" {
                summary #change { span.wide { "change" } span.narrow { "2 more" } kbd { "c" } }
                div.opened { (form) }
            }
        }
    }
}

/// The strip of a page that takes no readings: only the state of the power.
pub(crate) fn power_strip(view: &JobView, ask: &Ask) -> Markup {
    html! {
        section.conditions aria-label="Power" { (power_cell(view, ask)) }
    }
}

/// The one filled button of a page, as a link.
pub(crate) fn primary_link(address: &str, what: &str, why: &str, key: &str) -> Markup {
    html! {
        a.primary #primary href=(address) { (primary_words(what, why, key)) }
    }
}

/// The one filled button of a page, within a form.
pub(crate) fn primary_button(what: &str, why: &str, key: &str) -> Markup {
    html! {
        button.primary #primary type="submit" { (primary_words(what, why, key)) }
    }
}

fn primary_words(what: &str, why: &str, key: &str) -> Markup {
    html! {
        (marks::probe())
        span.words {
            span.what { (what) }
            @if !why.is_empty() { span.why { (why) } }
        }
        @if !key.is_empty() { kbd { (key) } }
    }
}

/// The sentence at the foot of a sheet.
pub(crate) fn sheet_foot(text: &str) -> Markup {
    html! { p.sheet-foot { (text) } }
}
