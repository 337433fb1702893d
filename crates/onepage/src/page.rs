//! One sheet as one page.

use crate::cells::{Hand, Row, Sources, row};
use crate::fit::{
    CAUTION, Fit, GAP, LEADING, NAME, PAD, WRITING, fit, foot_size, shares, why_size,
};
use crate::matrix::{Matrix, cell, matrix};
use crate::room::{MARGIN, inner};
use bench::sheet::Sheet;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use report::Paper;

/// Everything that the page says, in words, before it has a size.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Body {
    pub(crate) title: String,
    pub(crate) subject: String,
    pub(crate) conditions: String,
    pub(crate) caution: String,
    pub(crate) sections: Vec<Part>,
    pub(crate) missing: Vec<String>,
    pub(crate) notes: Vec<String>,
    pub(crate) sources: Sources,
}

/// A section.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Part {
    pub(crate) title: String,
    pub(crate) rows: Vec<Row>,
    pub(crate) matrix: Option<Matrix>,
}

impl Body {
    fn of(sheet: &Sheet) -> Self {
        let mut sources = Sources::default();
        let sections = sheet
            .sections
            .iter()
            .map(|section| {
                let mut before = "";
                let mut rows = Vec::new();
                for line in &section.lines {
                    rows.push(row(line, before, &mut sources));
                    before = line.why();
                }
                Part {
                    title: section.title.clone(),
                    matrix: matrix(&rows),
                    rows,
                }
            })
            .collect();
        Self {
            title: sheet.title.clone(),
            subject: sheet.subject.clone().unwrap_or_default(),
            conditions: conditions(sheet),
            caution: sheet.caution().to_owned(),
            sections,
            missing: sheet
                .missing
                .iter()
                .map(|m| format!("{}: {}", m.what, m.remedy))
                .collect(),
            notes: sheet.notes.clone(),
            sources,
        }
    }

    /// Every text of the foot.
    pub(crate) fn foot(&self) -> impl Iterator<Item = &String> {
        self.missing
            .iter()
            .chain(&self.notes)
            .chain(&self.sources.texts)
    }
}

/// Under what conditions the sheet holds; what of the wiring is still assumed is one of them, and so
/// stands at the head, where nothing is shortened away.
fn conditions(sheet: &Sheet) -> String {
    let assumed = sheet.assumed.as_ref().and_then(|a| a.sentence());
    let said = assumed.iter().map(|s| s.trim_end_matches('.'));
    let all: Vec<&str> = sheet
        .conditions
        .iter()
        .map(String::as_str)
        .chain(said)
        .collect();
    all.join("; ")
}

/// The sheet as an HTML document that prints on one page of `paper`.
///
/// Self-contained: style and typeface are in it; it loads nothing and runs nothing. Letters are as large as one page
/// allows, at most 11 points. A very long sheet loses its reasons first, then its sources, and says so.
#[must_use]
pub fn page(sheet: &Sheet, paper: Paper) -> String {
    let body = Body::of(sheet);
    let (width, height) = inner(paper);
    let fit = fit(&body, width, height);
    document(&body, &fit, paper).into_string()
}

fn document(body: &Body, fit: &Fit, paper: Paper) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width";
                title { (body.title) @if !body.subject.is_empty() { ": " (body.subject) } }
                style { (PreEscaped(style(body, fit, paper))) }
            }
            body {
                (head(body))
                (caution(body))
                main {
                    @for part in &body.sections { (section(part, fit)) }
                }
                (foot(body, fit))
            }
        }
    }
}

fn head(body: &Body) -> Markup {
    html! {
        header {
            div {
                h1 { (body.title) }
                @if !body.subject.is_empty() { p.subject { (body.subject) } }
            }
            p.hand {
                "Date " span.rule {} " By " span.rule {} br;
                "Instrument " span.rule.long {}
            }
        }
        @if !body.conditions.is_empty() { p.conditions { (body.conditions) } }
    }
}

/// The general warning sign, a triangle with an exclamation mark, as ISO 7010 W001 (from memory, not seen).
fn caution(body: &Body) -> Markup {
    html! {
        aside {
            svg viewBox="0 0 24 22" aria-hidden="true" {
                path d="M12 1 L23 20.5 H1 Z" fill="none" stroke="#000" stroke-width="2" stroke-linejoin="round" {}
                path d="M12 7.5 V14" stroke="#000" stroke-width="2.4" {}
                circle cx="12" cy="17.2" r="1.4" {}
            }
            p { b { "CAUTION. " } (body.caution) }
        }
    }
}

fn section(part: &Part, fit: &Fit) -> Markup {
    html! {
        section {
            (heading(part))
            @if let Some(matrix) = &part.matrix {
                (grid(matrix))
            } @else {
                @for row in &part.rows { (line(row, fit)) }
            }
        }
    }
}

/// The title, and over columns of figures what they are.
fn heading(part: &Part) -> Markup {
    let figures = part.matrix.is_none() && part.rows.iter().any(|r| !r.expected.is_empty());
    let limits = part.rows.iter().any(|r| !r.limit.is_empty());
    html! {
        @if figures {
            h2.line {
                div { (part.title) }
                div.why { "expected" }
                div.why { @if limits { "limit" } }
                div.why { "read" }
            }
        } @else if !part.title.is_empty() {
            h2 { (part.title) }
        }
    }
}

fn line(row: &Row, fit: &Fit) -> Markup {
    let wide = row.expected.is_empty() && row.limit.is_empty();
    let roomy = row.expected.is_empty() && !wide;
    html! {
        div.line {
            div.what.wide[wide].roomy[roomy] {
                @if !row.point.is_empty() { b { (row.point) } " " }
                (row.what)
                @if let Some(source) = row.source { " " sup { (source) } }
            }
            @if !wide {
                @if !roomy { div { b { (row.expected) } } }
                div { (row.limit) }
            }
            (hand(row))
            @if fit.whys && !row.why.is_empty() { div.why { (row.why) } }
        }
    }
}

fn hand(row: &Row) -> Markup {
    html! {
        @match &row.hand {
            Hand::Tick => div.tick { span.box {} " yes " span.box {} " no" },
            Hand::Figure(unit) => div.figure { span.rule {} " " (unit) },
            Hand::Done(text) => div { b { (text) } " " (row.outcome) },
            Hand::Nothing => div { (row.outcome) },
        }
    }
}

fn grid(matrix: &Matrix) -> Markup {
    html! {
        table {
            thead { tr {
                th {}
                @for step in &matrix.steps { th scope="col" { (step) } }
            } }
            tbody {
                @for (point, cells) in &matrix.points {
                    tr {
                        th scope="row" { (point) }
                        @for one in cells {
                            td {
                                @if let Some(row) = one {
                                    @let (expected, limit) = cell(row);
                                    div.pair { b { (expected) } span.rule {} }
                                    @if !limit.is_empty() { div.why { (limit) } }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn foot(body: &Body, fit: &Fit) -> Markup {
    if !fit.foot {
        return html! { footer { p { "Shortened to fit one page: reasons and sources are on the screen." } } };
    }
    html! {
        footer {
            @if !body.missing.is_empty() {
                h3 { "Not known" }
                ul { @for text in &body.missing { li { (text) } } }
            }
            @if !body.notes.is_empty() {
                h3 { "Notes" }
                ul { @for text in &body.notes { li { (text) } } }
            }
            h3 { "Where limits and figures are from" }
            ol { @for text in &body.sources.texts { li { (text) } } }
        }
    }
}

fn style(body: &Body, fit: &Fit, paper: Paper) -> String {
    let (width, height) = paper.millimetres();
    let inner = width - 2.0 * MARGIN;
    let [what, expected, limit, hand] = shares(body).map(|share| share * 100.0);
    let size = fit.size;
    let columns = fit.columns;
    let foot = foot_size(size);
    let why = why_size(size);
    let writing = WRITING.min(size * 1.9);
    let name = NAME * 100.0;
    let leading = LEADING;
    format!(
        "{}@page{{size:{};margin:{MARGIN}mm}}
*{{box-sizing:border-box;margin:0;padding:0}}
html{{background:#fff;color:#000}}
body{{width:{inner:.1}mm;margin:0 auto;font:500 {size}pt/{leading} 'Sofia Sans Condensed',sans-serif;font-variant-numeric:tabular-nums}}
@media screen{{body{{margin:{MARGIN}mm auto;min-height:{:.1}mm}}}}
b,h1,h2,h3,th{{font-weight:700}}
header{{display:flex;justify-content:space-between;gap:6mm}}
h1{{font-size:15pt;line-height:{leading}}}
.subject{{font-size:11pt}}
.conditions{{font-size:8.5pt}}
.hand{{font-size:9pt;line-height:17pt;text-align:right;white-space:nowrap}}
.rule{{display:inline-block;border-bottom:.6pt solid #000;min-width:22mm}}
.rule.long{{min-width:52mm}}
aside{{display:flex;gap:3mm;align-items:center;border:1.2pt solid #000;padding:2pt 5pt;margin:3pt 0 4pt;font-size:{CAUTION}pt}}
aside svg{{flex:none;width:8mm;height:7.3mm}}
main{{columns:{columns};column-gap:{GAP}pt}}
.line{{display:grid;grid-template-columns:{what}% {expected}% {limit}% {hand}%;border-bottom:.4pt solid #888;padding:.6pt 0;break-inside:avoid}}
h2.line{{align-items:end}}
h2 .why{{font-weight:500}}
h2{{font-size:{:.2}pt;border-bottom:1pt solid #000;margin-top:3pt;break-after:avoid}}
.line>div{{padding:0 {PAD}pt;overflow-wrap:anywhere}}
.line>.wide{{grid-column:1/4}}
.line>.roomy{{grid-column:1/3}}
div.line>.why{{grid-column:1/-1}}
.why{{font-size:{why:.2}pt;color:#333}}
sup{{font-size:.62em;line-height:0;color:#333}}
.tick,.figure{{min-height:{writing:.2}pt;white-space:nowrap;align-self:end}}
.figure{{display:flex;align-items:flex-end;gap:2pt}}
.figure .rule{{flex:1;min-width:0}}
.box{{display:inline-block;margin:0 2pt 0 6pt;width:.85em;height:.85em;border:.8pt solid #000;vertical-align:-.1em}}
.box:first-child{{margin-left:0}}
table{{border-collapse:collapse;width:100%;table-layout:fixed}}
th,td{{border-bottom:.4pt solid #888;border-left:.4pt solid #ccc;padding:.4pt {PAD}pt;text-align:left;vertical-align:top;font-size:inherit}}
th:first-child{{width:{name}%;border-left:0}}
tr{{break-inside:avoid}}
.pair{{display:flex;align-items:flex-end;gap:2pt}}
.pair .rule{{flex:1;min-width:0;height:1em}}
footer{{columns:2;column-gap:{GAP}pt;border-top:1pt solid #000;margin-top:4pt;padding-top:2pt;font-size:{foot:.2}pt;line-height:{leading}}}
footer h3{{font-size:inherit;break-after:avoid}}
footer li{{margin-left:14pt;break-inside:avoid}}
",
        typeface::embedded(),
        paper.name(),
        height - 2.0 * MARGIN,
        size * 1.1,
    )
}
