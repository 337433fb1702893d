//! What a text means so far: problems with answers to press, loose ends, the drawing.

use crate::serve::marks;
use crate::serve::pins;
use crate::serve::work_out::Traced;
use draw::over::Overlay;
use maud::{Markup, PreEscaped, html};
use wiring::{Diagnostic, Severity};

/// Problems that get answers to press; more are only listed.
const WITH_ANSWERS: usize = 6;
/// Problems that are listed at all.
const MOST: usize = 40;

/// A way out of a problem: the whole text with it applied.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct WayOut {
    /// What stands on the button.
    pub(crate) words: String,
    /// What is replaced: byte range in the text.
    pub(crate) range: (usize, usize),
    /// By what.
    pub(crate) by: String,
}

/// `37 parts, 2 loose ends`.
pub(crate) fn counts(traced: &Traced) -> Markup {
    let some = |n: usize, one: &str, many: &str| {
        if n == 1 {
            format!("1 {one}")
        } else {
            format!("{n} {many}")
        }
    };
    html! {
        (some(traced.circuit.parts.len(), "part", "parts")) ", "
        (some(traced.loose_ends.len(), "loose end", "loose ends"))
    }
}

/// Everything beside the text.
pub(crate) fn panes(traced: &Traced) -> Markup {
    let grave: Vec<&Diagnostic> = traced
        .problems
        .iter()
        .filter(|d| d.severity != Severity::Note)
        .collect();
    html! {
        (problems(traced, &grave))
        (next_loose_end(traced))
        @if !traced.circuit.parts.is_empty() { p.to-sits { a href="#sits" { "Where the parts sit" } } }
        (drawing(traced, "", &Overlay::default()))
        (sits(traced))
        (notes(traced))
    }
}

fn problems(traced: &Traced, grave: &[&Diagnostic]) -> Markup {
    if grave.is_empty() {
        return html! { section.problems.none aria-label="Problems" { p { "Every line is understood." } } };
    }
    html! {
        section.problems aria-label="Problems" {
            ol {
                @for (i, d) in grave.iter().take(MOST).enumerate() {
                    @let (from, to) = utf16_range(&traced.text, d.place.start, d.place.end);
                    li.error[d.severity == Severity::Error] data-from=(from) data-to=(to) {
                        p.what {
                            a.place href="#text" data-line=(d.place.line) { "Line " (d.place.line) ", place " (d.place.column) }
                            ": " (marks::typed(&d.message))
                        }
                        div.answers {
                            @if i < WITH_ANSWERS {
                                @for way in ways_out(traced, d) {
                                    @let (from, to) = utf16_range(&traced.text, way.range.0, way.range.1);
                                    button.button type="button" data-from=(from) data-to=(to) data-by=(way.by) { (way.words) }
                                }
                            }
                            span.hint { (d.advice) }
                        }
                    }
                }
            }
            @if grave.len() > MOST { p { "And " (grave.len() - MOST) " more." } }
        }
    }
}

/// Where the next wire waits.
fn next_loose_end(traced: &Traced) -> Markup {
    let Some(first) = traced.loose_ends.first() else {
        return html! {};
    };
    let more = traced.loose_ends.len() - 1;
    let why = match more {
        0 => "the last one".to_owned(),
        1 => "one more after it".to_owned(),
        n => format!("{n} more after it"),
    };
    html! {
        button.primary type="button" #loose data-end=(first) {
            (crate::serve::marks::probe())
            span.words { span.what { "Next loose end: " (first) } span.why { (why) } }
            kbd { "Ctrl Enter" }
        }
    }
}

/// The schematic of what is traced, with a point in sight and what is laid over it; the blocks in
/// words beneath it.
pub(crate) fn drawing(traced: &Traced, here: &str, over: &Overlay) -> Markup {
    html! {
        section.sheet.drawn aria-label="What is traced" data-here=(here) {
            @if traced.circuit.parts.is_empty() {
                p.hint { "Nothing is traced yet. Describe a part, or follow a wire and name what you pass." }
            } @else {
                @match pins::pinned(traced, over) {
                    Some((picture, beside)) => {
                        div.paper tabindex="0" role="region" aria-label="Schematic, scrolls" { (PreEscaped(&picture)) }
                        @if !beside.is_empty() { p.hint { (beside) } }
                        @if let Some(n) = traced.drawn().and_then(|d| d.crowded) {
                            p.hint { "Lines cross " (n) " times. Parts stay where they stood while you type; \"Tidy the drawing\" lays them out afresh." }
                        }
                        (map(&picture))
                    }
                    None => { p.hint { "That many parts are not drawn." } }
                }
                details.in-words { summary { "Block by block" } (blocks(traced)) }
            }
        }
    }
}

/// Where the parts sit; a press on one leads to it on the schematic, and with script each marks the other.
fn sits(traced: &Traced) -> Markup {
    let Some(drawn) = traced.drawn().filter(|_| !traced.circuit.parts.is_empty()) else {
        return html! {};
    };
    let on_schematic = |name: &str| {
        let same = format!("\" data-part=\"{}\"", draw::svg::escape(name));
        let before = drawn.picture.split(&same).next()?;
        let (_, id) = before.rsplit_once("id=\"")?;
        (before.len() < drawn.picture.len() && !id.contains('"')).then(|| format!("#{id}"))
    };
    let view = draw::physical::physical(&traced.circuit);
    html! {
        section.sheet.where-parts aria-label="Where the parts sit" {
            details.where {
                summary { "Where the parts sit" }
                div.sits #sits tabindex="0" role="region" aria-label="Where the parts sit, scrolls" {
                    (PreEscaped(draw::physical::linked(&view, crate::serve::work_out::PAGE, &on_schematic)))
                }
            }
        }
    }
}

/// The whole drawing, small, with a frame around what is in sight (the frame needs script).
fn map(picture: &str) -> Markup {
    let numbers = picture
        .split_once("viewBox=\"")
        .and_then(|(_, rest)| rest.split_once('"'))
        .map_or("", |(numbers, _)| numbers);
    let [x, y, width, height] = numbers.split(' ').collect::<Vec<_>>()[..] else {
        return html! {};
    };
    html! {
        svg.map viewBox=(numbers) preserveAspectRatio="xMinYMid meet" aria-hidden="true" focusable="false" {
            use href="#schematic" x=(x) y=(y) width=(width) height=(height) {}
            rect.frame x=(x) y=(y) width="0" height="0" {}
        }
    }
}

/// The blocks that were recognised, a line each.
fn blocks(traced: &Traced) -> Markup {
    let circuit = &traced.circuit;
    let name = |p: wiring::PartId| circuit.parts.get(p.0).map_or("", |p| p.name.as_str());
    html! {
        ul.blocks {
            @for block in &traced.anatomy.blocks {
                li {
                    strong { (block.kind.words()) }
                    " " (block.parts.iter().map(|(p, _)| name(*p)).collect::<Vec<_>>().join(" "))
                }
            }
        }
        @if !traced.anatomy.unplaced.is_empty() {
            p { "Fits no pattern: " (traced.anatomy.unplaced.iter().map(|p| name(*p)).collect::<Vec<_>>().join(" ")) }
        }
    }
}

/// Notes, folded away: half a tracing is full of them.
fn notes(traced: &Traced) -> Markup {
    let notes: Vec<&Diagnostic> = traced
        .problems
        .iter()
        .filter(|d| d.severity == Severity::Note)
        .take(MOST)
        .collect();
    if notes.is_empty() {
        return html! {};
    }
    html! {
        details.sheet.notes {
            summary { "Notes " (notes.len()) }
            ul { @for d in notes { li { "Line " (d.place.line) ": " (marks::typed(&d.message)) " " span.hint { (marks::typed(&d.advice)) } } } }
        }
    }
}

/// Answers that were tried: each text quoted in the advice, put in place of what is marked or at
/// the end, is kept only when the problem is gone with it and no other error came.
pub(crate) fn ways_out(traced: &Traced, d: &Diagnostic) -> Vec<WayOut> {
    let text = &traced.text;
    let errors = |problems: &[Diagnostic]| {
        problems
            .iter()
            .filter(|p| p.severity == Severity::Error)
            .count()
    };
    let gone = |problems: &[Diagnostic]| {
        problems.iter().filter(|p| p.code == d.code).count()
            < traced.problems.iter().filter(|p| p.code == d.code).count()
    };
    let mut found: Vec<WayOut> = Vec::new();
    let before = text.get(..d.place.start).unwrap_or_default().trim_end();
    for quoted in quoted(&d.advice) {
        // `C1 47u` for a place behind `C1`: only the rest is put in
        let quoted = quoted
            .split_once(' ')
            .filter(|(name, _)| before.ends_with(name))
            .map_or(quoted, |(_, rest)| rest);
        let end = text.trim_end().len();
        let places = [
            ((d.place.start, d.place.end), quoted.to_owned()),
            ((end, end), format!("\n{quoted}")),
        ];
        for (range, by) in places {
            let (Some(before), Some(after)) = (text.get(..range.0), text.get(range.1..)) else {
                continue;
            };
            let tried = wiring::read_one(&format!("{before}{by}{after}"));
            if gone(&tried.problems)
                && errors(&tried.problems) <= errors(&traced.problems)
                && !found.iter().any(|w| w.words == quoted)
            {
                found.push(WayOut {
                    words: quoted.to_owned(),
                    range,
                    by,
                });
                break;
            }
        }
    }
    found
}

/// What stands between back-quotes.
fn quoted(text: &str) -> impl Iterator<Item = &str> {
    text.split('`')
        .skip(1)
        .step_by(2)
        .filter(|t| !t.is_empty())
        .take(4)
}

/// Byte offsets as the browser counts: in UTF-16 units.
fn utf16_range(text: &str, start: usize, end: usize) -> (usize, usize) {
    let count = |to: usize| text.get(..to).map_or(0, |t| t.encode_utf16().count());
    (count(start), count(end))
}

#[cfg(test)]
mod tests {
    use super::*;
    use wiring::roles::Anatomy;

    fn traced(text: &str) -> Traced {
        let read = wiring::read_one(text);
        Traced {
            circuit: read.circuit,
            problems: read.problems,
            anatomy: Anatomy::default(),
            loose_ends: Vec::new(),
            text: text.to_owned(),
            ..Traced::default()
        }
    }

    #[test]
    fn a_bare_capacitor_value_gets_its_two_readings_as_answers() {
        let traced = traced("V1 6V6GT\nV1.8 - [R1 470 | +C1 47] - ground\n");
        let d = traced
            .problems
            .iter()
            .find(|d| d.severity == Severity::Error)
            .unwrap();
        let ways = ways_out(&traced, d);
        let words: Vec<&str> = ways.iter().map(|w| w.words.as_str()).collect();
        assert!(
            words.contains(&"47u") && words.contains(&"47p"),
            "{words:?}: {}",
            d.advice
        );
        let (from, to) = ways[0].range;
        let cured = format!(
            "{}{}{}",
            &traced.text[..from],
            ways[0].by,
            &traced.text[to..]
        );
        assert!(!wiring::read_one(&cured).has_errors(), "{cured}");
    }

    #[test]
    fn an_answer_is_offered_only_when_it_cures() {
        for text in [
            "VR1.2 - V1.2\n",
            "V1 12AX7\nv1.3 - R1 1k\n",
            "R1 1m\n",
            "nonsense here\n",
            "R1 100k - B1\nR1 100k - B2\n",
        ] {
            let traced = traced(text);
            for d in &traced.problems {
                for way in ways_out(&traced, d) {
                    let cured =
                        format!("{}{}{}", &text[..way.range.0], way.by, &text[way.range.1..]);
                    let after = wiring::read_one(&cured);
                    let count = |p: &[Diagnostic]| p.iter().filter(|x| x.code == d.code).count();
                    assert!(
                        count(&after.problems) < count(&traced.problems),
                        "{text} -> {cured}"
                    );
                }
            }
        }
    }

    #[test]
    fn places_are_counted_as_the_browser_does() {
        assert_eq!(utf16_range("Ω 𝄞 a", 0, "Ω 𝄞".len()), (0, 4));
        assert_eq!(utf16_range("abc", 9, 12), (0, 0));
    }
}
