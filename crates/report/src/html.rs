//! A document as HTML that prints on as many pages as it takes.
//!
//! Heads of tables stand again on each page, rows and pictures are not torn, and the foot of each printed page has its
//! number. The style stands apart, for pages that may hold none.

use crate::document::{Block, Cell, Content, Document, Label, Mark, Picture, Run, Table};
use crate::marks::sign;
use crate::paper::Paper;
use maud::{DOCTYPE, Markup, PreEscaped, html};

/// Edge of the paper, millimetres: left, right and above. Below it is wider, for the foot.
const EDGE: f64 = 17.0;

/// The document as one HTML file with everything in it, that any browser prints.
#[must_use]
pub fn whole(document: &Document) -> String {
    let style = typeface::embedded() + &style(document);
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="author" content=(document.author);
                title { (document.title) ", " (document.number_of) " " (document.number) ", " (document.version) }
                style { (PreEscaped(style)) }
            }
            body.report-behind { main { (body(document)) } }
        }
    }
    .into_string()
}

/// The document alone, to stand in a page of its own; [`style`] goes with it.
#[must_use]
pub fn body(document: &Document) -> Markup {
    article(document, &html! { h1 { (document.title) } })
}

/// The same in a page that has its heading already.
#[must_use]
pub fn inset(document: &Document) -> Markup {
    article(document, &html! { p.report-title { (document.title) } })
}

fn article(document: &Document, title: &Markup) -> Markup {
    html! {
        article.report.report-letter[document.paper == Paper::Letter] {
            header.report-head {
                div {
                    @if !document.above.is_empty() { p.report-above { (document.above) } }
                    (title)
                }
                @if !document.number.is_empty() {
                    p.report-number { strong { (document.number) } " " span { (document.number_of) } }
                }
            }
            @if let Some(warning) = &document.warning {
                section.report-warning {
                    h2 { (warning.title) }
                    @for line in &warning.lines { p { (line) } }
                }
            }
            @if !document.facts.is_empty() {
                dl.report-facts {
                    @for fact in &document.facts { div { dt { (fact.name) } dd { (fact.value) } } }
                }
            }
            @for block in &document.blocks { (one(block)) }
            @if !document.notes.is_empty() {
                section.report-notes {
                    h2 { "Where limits and figures are from" }
                    ol { @for (i, note) in document.notes.iter().enumerate() { li id=(format!("source-{}", i + 1)) { (note) } } }
                }
            }
        }
    }
}

fn one(block: &Block) -> Markup {
    html! {
        @match block {
            Block::Heading { text, beside } => h2 { (text) @if !beside.is_empty() { " " span { (beside) } } },
            Block::Subheading { text } => h3 { (text) },
            Block::Paragraph { text } => p { (runs(text)) },
            Block::Quote { text } => blockquote { p { "\u{201c}" (text) "\u{201d}" } },
            Block::List { items } => ul { @for item in items { li { (runs(item)) } } },
            Block::Table(t) => (table(t)),
            Block::Picture(p) => (picture(p)),
            Block::Pictures { pictures } => div.report-pictures { @for p in pictures { (picture(p)) } },
            Block::Caution { text } => (caution(text)),
            Block::Signatures { lines } => div.report-sign { @for line in lines { p { (line) } } },
            Block::Labels { labels } => div.report-labels { @for l in labels { (label(l)) } },
            Block::NewPage => div.report-break {},
        }
    }
}

fn runs(text: &[Run]) -> Markup {
    html! {
        @for run in text {
            @if run.strong { strong { (run.text) } } @else { (run.text) }
            @if let Some(note) = run.note { sup { a href=(format!("#source-{note}")) { span.report-unseen { "source " } (note) } } }
        }
    }
}

fn table(t: &Table) -> Markup {
    html! {
        table {
            caption.report-unseen { (t.name) }
            colgroup { @for c in &t.columns { col.(format!("w{}", c.share)); } }
            thead { tr { @for c in &t.columns { th.report-right[c.right] scope="col" { (c.head) } } } }
            tbody {
                @for row in &t.rows {
                    tr {
                        @for (i, (cell, column)) in row.iter().zip(&t.columns).enumerate() {
                            @if i == 0 { th.report-right[column.right] scope="row" { (inside(cell)) } }
                            @else { td.report-right[column.right] { (inside(cell)) } }
                        }
                    }
                }
            }
        }
    }
}

fn inside(cell: &Cell) -> Markup {
    html! {
        @if let Some(mark) = cell.mark { (marked(mark)) " " }
        @if let Some(p) = &cell.picture { (content(p)) " " }
        (runs(&cell.text))
    }
}

fn marked(mark: Mark) -> Markup {
    let doubtful = mark == Mark::Doubtful;
    html! { span.report-mark.report-slab[mark.is_slab()].report-edged[doubtful] { (PreEscaped(sign(mark))) (mark.word()) } }
}

fn picture(p: &Picture) -> Markup {
    html! {
        figure {
            (content(p))
            @if !p.caption.is_empty() { figcaption { (p.caption) } }
        }
    }
}

fn content(p: &Picture) -> Markup {
    let seen = |address: &str| html! { img src=(address) alt=(p.alt) width=(p.width) height=(p.height) loading="lazy"; };
    match &p.content {
        Content::Svg(svg) if p.alt.is_empty() => PreEscaped(svg.clone()),
        Content::Svg(svg) => {
            html! { div.report-drawn role="img" aria-label=(p.alt) { (PreEscaped(svg)) } }
        }
        Content::Jpeg(data) => seen(&format!("data:image/jpeg;base64,{data}")),
        Content::At(address) => seen(address),
    }
}

/// The general warning sign, a triangle with an exclamation mark, as ISO 7010 W001 (from memory, not seen).
fn caution(text: &str) -> Markup {
    html! {
        aside.report-caution {
            svg viewBox="0 0 24 22" width="30" height="27" aria-hidden="true" {
                path d="M12 1 L23 20.5 H1 Z" fill="none" stroke="#000" stroke-width="2" stroke-linejoin="round" {}
                path d="M12 7.5 V14" stroke="#000" stroke-width="2.4" {}
                circle cx="12" cy="17.2" r="1.4" {}
            }
            p { strong { "CAUTION. " } (text) }
        }
    }
}

fn label(l: &Label) -> Markup {
    html! {
        div.report-label {
            p.report-goes-on { (l.goes_on) }
            p.report-first { (l.title) }
            @for line in &l.lines { p { (line) } }
        }
    }
}

/// Text as a string of a style sheet.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' | '\\' | '<' | '>' | '&' => out.push_str(&format!("\\{:x} ", c as u32)),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

/// How a document looks, on a screen and on its paper; the typeface itself stands elsewhere. It hangs on the paper and the
/// running foot alone.
#[must_use]
pub fn style(document: &Document) -> String {
    let (width, height) = document.paper.millimetres();
    let shares: String = (5..=80)
        .map(|s| format!(".report .w{s}{{width:{s}%}}\n"))
        .collect();
    let first = quoted(&document.running);
    let second = quoted(&format!("{}, page ", document.version));
    format!(
        "@page{{size:{};margin:{EDGE}mm {EDGE}mm 20mm;
@bottom-left{{content:{first};font:500 8.5pt 'Sofia Sans Condensed',sans-serif;color:#333;vertical-align:top;padding-top:4mm}}
@bottom-right{{content:{second} counter(page) \" of \" counter(pages);font:500 8.5pt 'Sofia Sans Condensed',sans-serif;color:#333;vertical-align:top;padding-top:4mm}}}}
.report{{box-sizing:border-box;max-width:{width}mm;min-height:{height}mm;padding:{EDGE}mm;background:#fff;color:#000;font:500 11pt/1.35 'Sofia Sans Condensed','Sofia Sans',sans-serif;font-variant-numeric:tabular-nums;text-align:left}}
@media screen and (max-width:700px){{.report{{padding:5mm;min-height:0}}}}
{SCREEN}{PRINT}{shares}",
        document.paper.name()
    )
}

const SCREEN: &str = "
body.report-behind{margin:0;background:#8b928f}
body.report-behind main{display:flex;justify-content:center;padding:6mm 0}
.report *{box-sizing:border-box}
.report h1,.report h2,.report h3,.report p,.report ul,.report ol,.report dl,.report dd,.report figure,.report blockquote{margin:0;padding:0;color:#000}
.report h1,.report .report-title{font-size:27pt;line-height:1.1;font-weight:700;margin:0}
.report .report-above{font-size:11pt;color:#333}
.report-head{display:flex;justify-content:space-between;align-items:flex-end;gap:8mm}
.report-number{text-align:right;font-size:10pt;color:#333}
.report-number strong{display:block;font-size:20pt;line-height:1.1;color:#000}
.report-facts{display:grid;grid-template-columns:repeat(4,1fr);gap:2mm 6mm;margin:4mm 0 2mm!important}
.report dt{font-size:9pt;color:#333}
.report dd{font-weight:700}
.report h2{font-size:13.5pt;line-height:1.25;font-weight:700;border-bottom:1.2pt solid #000;margin:6mm 0 1.5mm;break-after:avoid}
.report h2 span{font-weight:500;font-size:11pt}
.report h3{font-size:11.5pt;font-weight:700;margin:4mm 0 1mm;break-after:avoid}
.report p+p{margin-top:1.5mm}
.report p{orphans:3;widows:3;overflow-wrap:anywhere}
.report strong,.report th{font-weight:700}
.report ul,.report ol{padding-left:5mm}
.report ul{list-style:disc}
.report ol{list-style:decimal}
.report li{overflow-wrap:anywhere;margin:.6mm 0}
.report blockquote{font-size:13pt;border:0}
.report sup{font-size:.7em;line-height:0}
.report sup a{color:#333;text-decoration:none}
.report sup a:focus-visible{outline:2px solid #000}
.report table{border-collapse:collapse;width:100%;table-layout:fixed;margin:1mm 0 2mm;font-size:10pt;line-height:1.3}
.report thead{display:table-header-group;break-after:avoid}
.report tr{break-inside:avoid}
.report tbody tr:first-child,.report tbody tr:nth-child(2){break-before:avoid}
.report tbody tr:last-child:not(:first-child){break-before:avoid}
.report th,.report td{text-align:left;vertical-align:top;padding:1mm 2mm 1mm 0;border-bottom:.5pt solid #aaa;overflow-wrap:anywhere;background:none;color:#000;font-size:inherit}
.report tbody th{font-weight:500}
.report thead th{font-weight:500;font-size:9pt;color:#333;border-bottom:1pt solid #000;vertical-align:bottom}
.report .report-right{text-align:right;padding-right:4mm}
.report-slab svg{margin-right:.8mm}
.report td svg,.report th svg{display:inline-block;vertical-align:-3.5pt;height:14pt;width:auto;max-width:100%}
.report-mark{white-space:nowrap;font-size:inherit;font-weight:700;padding:0 1.5mm 0 0}
.report-mark.report-slab{background:#000;color:#fff;padding:.8mm 1.5mm .8mm .8mm;-webkit-print-color-adjust:exact;print-color-adjust:exact}
.report-mark.report-edged{outline:.8pt solid #000}
.report figure{margin:2mm 0 3mm;break-inside:avoid}
.report figure svg{display:block;width:100%;height:auto;max-height:235mm}
.report figure img{display:block;max-width:100%;height:auto}
.report figcaption{font-size:9.5pt;color:#333;margin-top:1mm}
.report-pictures{display:grid;grid-template-columns:1fr 1fr;gap:2mm 6mm}
.report-pictures img{width:100%;max-height:90mm;object-fit:contain;object-position:left}
.report-caution{display:flex;gap:4mm;align-items:center;border:1.4pt solid #000;padding:2mm 3mm;margin:3mm 0;break-inside:avoid}
.report-caution svg{flex:none}
.report-warning{border:3pt solid #000;padding:3mm 4mm;margin:4mm 0;break-inside:avoid}
.report-warning h2{margin:0!important;border:0;font-size:20pt}
.report-sign{display:grid;grid-template-columns:1fr 1fr;gap:8mm;margin-top:16mm;break-inside:avoid}
.report-sign p{border-top:.8pt solid #000;padding-top:1mm!important;margin:0!important;font-size:10pt}
.report-notes{font-size:9pt;line-height:1.3}
.report-labels{display:grid;grid-template-columns:repeat(3,1fr)}
.report-label{border:.6pt dashed #555;padding:3mm;min-height:37mm;break-inside:avoid;font-size:10pt;line-height:1.25;overflow-wrap:anywhere}
.report-label p{margin:0!important}
.report-label .report-goes-on{font-size:8.5pt;color:#333}
.report-label .report-first{font-size:17pt;font-weight:700;line-height:1.15}
.report-break{break-after:page}
.report .report-unseen{position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%);white-space:nowrap}
@media screen and (max-width:700px){.report-facts{grid-template-columns:1fr 1fr}.report-pictures,.report-labels{grid-template-columns:1fr}.report{overflow-x:auto}.report table{min-width:170mm}}
";

const PRINT: &str = "
@media print{
body.report-behind{background:none}
body.report-behind main{display:block;padding:0}
.report{max-width:none;min-height:0;padding:0}
}
";
