//! The chart: point by point, what to expect, what was read, the verdict; and the sheet on which the
//! next reading is entered.

use super::{conditions, reading};
use crate::commands::chart::rows;

use crate::serve::ask::{Ask, Fields};
use crate::serve::fail::{Answer, ok};
use crate::serve::frame::{self, Page, Place};
use crate::serve::marks::{self, BandShown};
use crate::serve::pins;
use crate::serve::run::Step;
use crate::serve::site::Site;
use crate::serve::state::{self, ConditionsShown, JobView};
use crate::serve::work_out::{self, Found};
use bench::chart::{Chart, Line, Status, Word, Worked};
use bench::digits;
use bench::rules::STANDARD_CAUTION;
use maud::{Markup, html};
use shop::{JobId, Photo, Power, Reader, Reading, ReadingState, ShopError, TieKind};

/// Volts above which a point is named in the caution before it is first reached
/// (`live.discharge` calls 60 V DC hazardous; the lower of two figures is taken).
const HAZARD_VOLTS: f64 = 50.0;

/// Everything that the chart's pages show.
pub(crate) struct ChartView {
    /// The job.
    pub(crate) view: JobView,
    /// As found or as left.
    pub(crate) state: ReadingState,
    /// What the record says.
    pub(crate) found: Found,
    /// Under which conditions.
    pub(crate) conditions: ConditionsShown,
    /// The chart.
    pub(crate) worked: std::sync::Arc<Worked>,
    /// The point that is next under the hand.
    pub(crate) at: String,
    /// The job's photos.
    pub(crate) photos: Vec<Photo>,
    /// Where to go once the reading is written; none: to the next point.
    pub(crate) back: Option<String>,
    /// What is read here, where it is not what the chart expects: `ac`, `Hz`, or nothing.
    pub(crate) unit: &'static str,
}

/// As found, unless the address says as left.
pub(crate) fn which(fields: &Fields) -> ReadingState {
    match fields.get("state") {
        "as left" => ReadingState::AsLeft,
        _ => ReadingState::AsFound,
    }
}

/// Reads all of it.
pub(crate) fn view(
    site: &Site,
    r: &Reader<'_>,
    id: JobId,
    fields: &Fields,
) -> Result<ChartView, ShopError> {
    let view = state::view(site, r, id)?;
    let state = which(fields);
    let found = work_out::found(site, r, id, state)?;
    let (mains, meter) = conditions::usual(r)?;
    let conditions = state::conditions(&found, &mains, &meter);
    let worked = work_out::chart(site, &found, conditions.block.as_ref().map(|b| b.id));
    let photos = r.photos(id)?;
    let lines = listed(&worked.chart);
    let at = match fields.some("at") {
        Some(at) => at.to_owned(),
        None => lines
            .iter()
            .find(|l| unread(l))
            .or(lines.first())
            .map_or_else(String::new, |l| l.point.clone()),
    };
    Ok(ChartView {
        view,
        state,
        found,
        conditions,
        worked,
        at,
        photos,
        back: fields
            .some("back")
            .map(|_| super::back(fields, &format!("/job/{id}/chart"))),
        unit: match fields.get("unit") {
            "ac" => "ac",
            "Hz" => "Hz",
            _ => "",
        },
    })
}

/// Lines worth a row: not ground itself, and not the mains side, where nothing is sought.
pub(crate) fn listed(chart: &Chart) -> Vec<&Line> {
    chart
        .points
        .iter()
        .filter(|l| l.point != "ground" || l.reading.is_some())
        .filter(|l| !matches!(l.point.as_str(), "live" | "neutral" | "earth"))
        .collect()
}

fn unread(line: &Line) -> bool {
    line.reading.is_none() && line.shown.is_none() && line.volts.is_some()
}

impl ChartView {
    /// Where the chart stands in this state.
    pub(crate) fn address(&self) -> String {
        format!(
            "/job/{}/chart?state={}",
            self.view.job.id,
            self.state.word().replace(' ', "%20")
        )
    }

    /// The address of a point.
    pub(crate) fn at_address(&self, point: &str) -> String {
        format!("{}&at={}", self.address(), percent(point))
    }

    /// The line of the point under the hand.
    pub(crate) fn line(&self) -> Option<&Line> {
        let lines = &self.worked.chart.points;
        lines
            .iter()
            .find(|l| l.point == self.at)
            .or_else(|| lines.iter().find(|l| l.also.contains(&self.at)))
    }

    /// The unread point after the one under the hand; the first unread one when it was the last.
    pub(crate) fn next(&self) -> Option<String> {
        let lines = listed(&self.worked.chart);
        let here = lines
            .iter()
            .position(|l| l.point == self.at)
            .map_or(0, |i| i + 1);
        let (before, after) = lines.split_at(here.min(lines.len()));
        after
            .iter()
            .chain(before)
            .find(|l| unread(l) && l.point != self.at)
            .map(|l| l.point.clone())
    }

    /// Photos tied to the point under the hand, or to a reading of it.
    pub(crate) fn tied_photos(&self) -> Vec<&Photo> {
        let readings: Vec<String> = self
            .found
            .readings
            .iter()
            .filter(|x| x.fields.point == self.at)
            .map(|x| x.id.to_string())
            .collect();
        let here = |t: &shop::Tie| match t.kind {
            TieKind::Point => t.target == self.at,
            TieKind::Reading => readings.contains(&t.target),
            _ => false,
        };
        self.photos
            .iter()
            .filter(|p| p.ties.iter().any(here))
            .collect()
    }

    /// The reading of this point that stands in the open block.
    pub(crate) fn standing(&self, point: &str) -> Option<&Reading> {
        let block = self.conditions.block.as_ref()?.id;
        self.found
            .readings
            .iter()
            .rev()
            .find(|x| x.block == block && x.fields.point == point)
    }
}

/// Text in an address.
pub(crate) fn percent(text: &str) -> String {
    text.bytes()
        .map(|b| match b {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'.' | b'_' | b'-' => {
                char::from(b).to_string()
            }
            _ => format!("%{b:02X}"),
        })
        .collect()
}

/// `/job/42/chart`.
pub(crate) fn show(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let page = site.shop.read(|r| {
        let chart = view(site, r, id, fields)?;
        page(site, ask, r, &chart, &reading::entry(&chart, ask, "", None))
    })?;
    ok(page)
}

/// The page with a given entry sheet.
pub(crate) fn page(
    site: &Site,
    ask: &Ask,
    r: &Reader<'_>,
    chart: &ChartView,
    entry: &Markup,
) -> Result<Markup, ShopError> {
    let view = &chart.view;
    let id = view.job.id;
    let lines = listed(&chart.worked.chart);
    let read = lines
        .iter()
        .filter(|l| l.reading.is_some() || l.shown.is_some())
        .count();
    let left = chart.state == ReadingState::AsLeft;
    let body = html! {
        div.chart {
            div.chart-list {
                (caution(chart))
                (table(chart, &lines))
                (stands_out(chart))
                (frame::sheet_foot(STANDARD_CAUTION))
            }
            div.chart-entry {
                (entry)
                @if !chart.found.traced.circuit.parts.is_empty() { (super::look::drawing(&chart.found.traced, &chart.at, &pins::readings(&chart.found.traced, &chart.worked.chart, &chart.at))) }
            }
        }
    };
    let form = conditions::form(chart, &r.instruments()?);
    frame::page(
        site,
        ask,
        r,
        Page {
            title: format!("{} {}: chart", id, view.job.amp.fields.short()),
            place: Place::Job(view, Some(Step::Chart)),
            head: frame::job_head(view),
            buttons: html! {
                span.aside { (read) " of " (lines.len()) " read" }
                (super::paper::button(id, "chart", chart.state.word()))
                a.button href=(format!("/job/{id}/suspects?state={}", percent(chart.state.word()))) { "Suspects" }
                (super::tracing::state_buttons(id, "chart", left))
                form.inline-done method="post" action=(format!("/job/{id}/step")) {
                    input type="hidden" name="step" value=(if left { Step::HandOver.slug() } else { Step::Chart.slug() });
                    @if left { input type="hidden" name="back" value=(format!("/job/{id}/hand-over")); }
                    button.button { "Done" }
                }
            },
            conditions: frame::conditions_strip(view, ask, &chart.conditions, &form),
            body,
        },
    )
}

/// Before hands reach a high point for the first time in a block.
fn caution(chart: &ChartView) -> Markup {
    let block = chart.conditions.block.as_ref().map(|b| b.id);
    let begun = chart.found.readings.iter().any(|x| Some(x.block) == block);
    let highest = chart
        .worked
        .chart
        .points
        .iter()
        .filter_map(|l| Some((l.volts?.abs().max(l.high?.abs()), &l.point)))
        .max_by(|a, b| a.0.total_cmp(&b.0));
    let off = matches!(chart.view.power, Power::Off { .. });
    match highest {
        Some((volts, point))
            if !begun && volts > HAZARD_VOLTS && !chart.conditions.raw.power_off =>
        {
            html! {
                section.caution role="note" {
                    (marks::hatch())
                    div {
                        h2 { (point) " may stand at " (digits::volts(volts)) " V" }
                        p {
                            "One hand, the clip lead on first, somebody near. "
                            @if off { "It is off now: say so when the plug goes in." }
                            @else { "It holds charge when it is unplugged, too." }
                        }
                    }
                    (marks::flash())
                }
            }
        }
        _ => html! {},
    }
}

fn table(chart: &ChartView, lines: &[&Line]) -> Markup {
    if lines.is_empty() {
        return html! {
            section.sheet {
                h2 { "Nothing is traced yet" }
                p { "Readings can be taken all the same: type the point and what the meter shows. What to expect comes with the tracing." }
                p { a.button href=(format!("/job/{}/tracing", chart.view.job.id)) { "Trace a wire" } }
            }
        };
    }
    html! {
        table.points {
            thead {
                tr {
                    th { "Point" } th.what { span.visually-hidden { "What" } } th.figure { "Expect V" }
                    th.band { "Band" } th.figure { "Read V" } th { "Verdict" }
                }
            }
            tbody { @for line in lines { (row(chart, line)) } }
        }
    }
}

fn row(chart: &ChartView, line: &Line) -> Markup {
    let here = line.point == chart.at;
    let circuit = &chart.found.traced.circuit;
    let what = rows::what(circuit, line);
    let why = chart
        .worked
        .chart
        .unsolved
        .iter()
        .find(|u| u.point == line.point)
        .map(|u| u.why.as_str());
    html! {
        tr.here[here] id=[here.then_some("at")] {
            td.point { a href=(chart.at_address(&line.point)) aria-current=[here.then_some("true")] { (line.point) } }
            td.what { (what) }
            td.figure.computed { @if let Some(v) = line.volts { (rows::figure(v, line.unit)) } }
            td.band { @if let Some(band) = band_of(line) { (marks::band(&band, 176.0, 32.0)) } }
            td.figure.read { (rows::read(line)) }
            td.verdict-cell {
                @match (line.verdict, why) {
                    (None, Some(why)) => { span.why-not { (why) } }
                    (verdict, _) => { (marks::verdict(verdict, rows::high(line), "")) }
                }
            }
        }
    }
}

/// The band of a line as it is drawn.
pub(crate) fn band_of(line: &Line) -> Option<BandShown> {
    Some(BandShown {
        low: line.low?,
        high: line.high?,
        expected: line.volts,
        reading: line.reading,
        verdict: line.verdict,
    })
}

/// What the chart says as a whole.
fn stands_out(chart: &ChartView) -> Markup {
    let c = &chart.worked.chart;
    let mut unsolved: Vec<(&str, Vec<&str>)> = Vec::new();
    for u in &c.unsolved {
        match unsolved.iter_mut().find(|(why, _)| *why == u.why) {
            Some((_, points)) => points.push(&u.point),
            None => unsolved.push((&u.why, vec![&u.point])),
        }
    }
    let any = !c.trouble.is_empty() || !c.findings.is_empty() || !c.slips.is_empty();
    html! {
        @if any {
            section.sheet.stands-out {
                @if !c.trouble.is_empty() {
                    h2 { "What stands out" }
                    ul { @for t in &c.trouble { li { (t) } } }
                }
                @if !c.findings.is_empty() {
                    h2 { "Readings that clash" }
                    ul { @for f in &c.findings { li { (f.text) } } }
                }
                @if !c.slips.is_empty() {
                    h2 { "Readings to take again" }
                    ul { @for s in &c.slips { li { (s.text) } } }
                }
            }
        }
        @if !unsolved.is_empty() || !c.notes.is_empty() {
            details.sheet.not-computed {
                summary {
                    @match c.status {
                        Status::Solved => "Notes",
                        Status::Partly => "Not computed, and why",
                        Status::Failed => "Nothing could be computed, and why",
                    }
                }
                @if !unsolved.is_empty() {
                    dl { @for (why, points) in &unsolved { dt { (points.join(", ")) } dd { (why) } } }
                }
                @if !c.notes.is_empty() { ul { @for n in &c.notes { li { (n) } } } }
            }
        }
    }
}

/// The reason of an expected value, in place: what goes in, the equation in words, the band.
pub(crate) fn reason(chart: &ChartView, line: &Line) -> Markup {
    let circuit = &chart.found.traced.circuit;
    let c = &chart.worked.chart;
    let Some(volts) = line.volts else {
        let why = c.unsolved.iter().find(|u| u.point == line.point);
        return html! { p { (why.map_or("Nothing is expected of this point.", |u| u.why.as_str())) } };
    };
    let node = circuit.node(&line.point);
    let mut shown: Vec<(String, String, &'static str)> = Vec::new();
    if let Some(node) = node.and_then(|n| circuit.nodes.get(n.0)) {
        for (part, terminal) in &node.terminals {
            let Some(part) = circuit.parts.get(part.0) else {
                continue;
            };
            let electrode = part
                .terminals
                .get(*terminal)
                .map_or("", |t| t.name.as_str());
            let current = c.currents.iter().find(|i| {
                i.part == part.name
                    || line.also.contains(&i.part)
                    || i.part == format!("{}.{electrode}", part.name)
            });
            if let Some(i) = current
                && !shown.iter().any(|(name, _, _)| *name == i.part)
            {
                shown.push((
                    i.part.clone(),
                    format!("{} mA", digits::volts(i.ma)),
                    "solved",
                ));
            }
        }
    }
    let mains = c.mains_volts.map(|v| {
        (
            format!("{} V", digits::volts(v)),
            if chart.conditions.raw.mains_volts.is_some() {
                "read"
            } else {
                "assumed"
            },
        )
    });
    html! {
        table.reasons {
            tbody {
                @for (what, value, kind) in &shown { tr { th { "current of " (what) } td.figure.computed { (value) } td { (kind) } } }
                @if let Some((value, kind)) = &mains { tr { th { "mains" } td.figure { (value) } td { (kind) } } }
                @if let Some(m) = &c.meter {
                    tr { th { "meter" } td.figure { (wiring::units::rounded(m.ohms, wiring::units::Quantity::Ohms, 3)) } td { @if m.assumed { "assumed" } @else { "its own" } } }
                }
            }
        }
        p {
            (rows::figure(volts, line.unit)) " are the volts at which the currents into this point sum to zero, with every part as marked or, where it was lifted and read, as read. "
            @if let (Some(low), Some(high)) = (line.low, line.high) {
                @let (low, high) = digits::ends(low, high);
                "95 % of sound amps lie between " (low) " and " (high) ": tolerance and age of the parts, spread of valves, mains, meter."
            }
        }
    }
}

/// The wide band of the entry sheet with both limits in figures.
pub(crate) fn wide_band(shown: Option<BandShown>) -> Markup {
    let Some(shown) = shown else {
        return html! {};
    };
    let (low, high) = digits::ends(shown.low, shown.high);
    html! {
        div.wide-band {
            (marks::band(&shown, 520.0, 68.0))
            div.ends { span.low { (low) } span.high { (high) } }
        }
    }
}

/// A reading judged while it is typed, in words: verdict and how far beyond the band.
pub(crate) fn verdict_words(
    verdict: Option<Word>,
    beyond: Option<f64>,
) -> (Option<Word>, bool, String) {
    let high = beyond.is_some_and(|b| b > 0.0);
    let amount = match (verdict, beyond) {
        (Some(Word::Outside | Word::Doubtful), Some(b)) if b != 0.0 => {
            format!(
                "{} {}",
                digits::volts(b.abs()),
                if b > 0.0 { "high" } else { "low" }
            )
        }
        _ => String::new(),
    };
    (verdict, high, amount)
}
