//! The drawn signs: wire, band, probe, verdict. SVG with classes only; colours are the style's.
//!
//! Every sign has a word beside it in the page, so all of them are hidden from screen readers.

use super::run::StepState;
use bench::chart::Word;
use maud::{Markup, PreEscaped, html};
use std::fmt::Write as _;

/// Words with what is typed, between back-quotes, set as such.
pub(crate) fn typed(text: &str) -> Markup {
    html! {
        @for (i, part) in text.split('`').enumerate() {
            @if i % 2 == 1 { code { (part) } } @else { (part) }
        }
    }
}

/// A joint of a wire, drawn at (`x`, `y`) with radius `r`.
fn joint(out: &mut String, state: StepState, x: f64, y: f64, r: f64) {
    let _ = match state {
        StepState::Done => write!(out, r#"<circle class="done" cx="{x}" cy="{y}" r="{r}"/>"#),
        StepState::Begun => {
            let top = y - r;
            let bottom = y + r;
            write!(
                out,
                r#"<circle class="open" cx="{x}" cy="{y}" r="{r}"/><path class="done" d="M{x} {top}A{r} {r} 0 0 0 {x} {bottom}Z"/>"#
            )
        }
        StepState::Open => write!(out, r#"<circle class="open" cx="{x}" cy="{y}" r="{r}"/>"#),
        StepState::Held => {
            let (a, b) = (x - r * 0.75, x + r * 0.75);
            let (top, bottom) = (y - r - 1.0, y + r + 1.0);
            write!(
                out,
                r#"<path class="gap" d="M{a} {y}H{b}"/><path class="held" d="M{a} {top}V{bottom}M{b} {top}V{bottom}"/>"#
            )
        }
    };
}

/// One joint by itself.
pub(crate) fn one_joint(state: StepState) -> Markup {
    let mut inner = String::new();
    joint(&mut inner, state, 12.0, 12.0, 8.0);
    svg("joint", 24.0, 24.0, &inner)
}

/// A small wire with a probe at the step that is current.
pub(crate) fn small_wire(states: &[StepState], at: Option<usize>) -> Markup {
    let step = 22.0;
    let width = step * states.len() as f64;
    let mut inner = String::new();
    let y = 24.0;
    let x = |i: usize| step * (i as f64 + 0.5);
    let last = states.len().saturating_sub(1);
    let _ = write!(
        inner,
        r#"<path class="line" d="M{} {y}H{}"/>"#,
        x(0),
        x(last)
    );
    for (i, pair) in states.windows(2).enumerate() {
        if pair.iter().all(|s| *s == StepState::Done) {
            let _ = write!(
                inner,
                r#"<path class="line past" d="M{} {y}H{}"/>"#,
                x(i),
                x(i + 1)
            );
        }
    }
    for (i, state) in states.iter().enumerate() {
        joint(&mut inner, *state, x(i), y, 5.0);
    }
    if let Some(at) = at {
        let (x, left, right) = (x(at), x(at) - 7.0, x(at) + 7.0);
        let _ = write!(
            inner,
            r#"<path class="probe" d="M{left} 6H{right}L{x} 15Z"/>"#
        );
    }
    svg("wire", width, 34.0, &inner)
}

/// What a band shows.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct BandShown {
    /// Lower end.
    pub(crate) low: f64,
    /// Upper end.
    pub(crate) high: f64,
    /// The value with every part as marked or measured.
    pub(crate) expected: Option<f64>,
    /// What was read.
    pub(crate) reading: Option<f64>,
    /// The verdict on it.
    pub(crate) verdict: Option<Word>,
}

/// A band as wide as `width`, the band itself about a quarter of it; beyond the ends the probe
/// stops with a double arrow.
pub(crate) fn band(shown: &BandShown, width: f64, height: f64) -> Markup {
    let spread = (shown.high - shown.low).abs();
    let middle = f64::midpoint(shown.low, shown.high);
    let quarter = width / 4.0;
    // a band of no width is drawn as a line
    let scale = if spread > 0.0 { quarter / spread } else { 0.0 };
    let place = |value: f64| {
        let x = width / 2.0 + (value - middle) * scale;
        if x.is_finite() { x } else { width / 2.0 }
    };
    let (axis, top, bottom) = (height * 0.5, height * 0.16, height * 0.84);
    let (left, right) = (width / 2.0 - quarter / 2.0, width / 2.0 + quarter / 2.0);
    let serif = height * 0.16;
    let mut inner = String::new();
    let _ = write!(
        inner,
        r#"<path class="axis" d="M1 {axis}H{end}"/><rect class="band" x="{left:.1}" y="{top:.1}" width="{quarter:.1}" height="{tall:.1}"/><path class="edge" d="M{l2:.1} {top:.1}H{left:.1}V{bottom:.1}H{l2:.1}M{r2:.1} {top:.1}H{right:.1}V{bottom:.1}H{r2:.1}"/>"#,
        end = width - 1.0,
        tall = bottom - top,
        l2 = left + serif,
        r2 = right - serif,
    );
    if let Some(expected) = shown.expected {
        let x = place(expected).clamp(left, right);
        let _ = write!(
            inner,
            r#"<path class="tick" d="M{x:.1} {a:.1}V{b:.1}"/>"#,
            a = axis - height * 0.18,
            b = axis + height * 0.18
        );
    }
    if let Some(reading) = shown.reading {
        let raw = if scale > 0.0 {
            place(reading)
        } else {
            // no width: on the line, or at the end on the side it went
            width / 2.0 + (reading - middle).signum() * if reading == middle { 0.0 } else { width }
        };
        let half = height * 0.2;
        let x = raw.clamp(half + 1.0, width - half - 1.0);
        let class = match shown.verdict {
            Some(Word::Outside) => "probe out",
            Some(Word::Doubtful) => "probe doubt",
            _ => "probe ink",
        };
        let _ = write!(
            inner,
            r#"<path class="{class}" d="M{a:.1} 1H{b:.1}L{x:.1} {tip:.1}Z"/><path class="{class} stem" d="M{x:.1} {tip:.1}V{bottom:.1}"/>"#,
            a = x - half,
            b = x + half,
            tip = height * 0.42,
        );
        if raw != x {
            let to = if raw < x { -1.0 } else { 1.0 };
            let base = x - to * height * 0.36;
            let arm = height * 0.12;
            for offset in [0.0, arm] {
                let tip = base - to * offset;
                let _ = write!(
                    inner,
                    r#"<path class="{class} stem" d="M{back:.1} {up:.1}L{tip:.1} {axis:.1}L{back:.1} {down:.1}"/>"#,
                    back = tip - to * arm,
                    up = axis - arm,
                    down = axis + arm,
                );
            }
        }
    }
    svg("bandmark", width, height, &inner)
}

/// Brackets with the dot in, on a bracket, or out, on the side it went; empty without a reading.
fn brackets(verdict: Option<Word>, high: bool) -> Markup {
    let dot = match (verdict, high) {
        (None, _) => None,
        (Some(Word::Inside), _) => Some(22.0),
        (Some(Word::Doubtful), true) => Some(31.0),
        (Some(Word::Doubtful), false) => Some(13.0),
        (Some(Word::Outside), true) => Some(39.0),
        (Some(Word::Outside), false) => Some(5.0),
    };
    let mut inner = String::from(r#"<path class="brackets" d="M17 4H13V20H17M27 4H31V20H27"/>"#);
    if let Some(x) = dot {
        let _ = write!(inner, r#"<circle class="dot" cx="{x}" cy="12" r="4"/>"#);
    }
    svg("sign", 44.0, 24.0, &inner)
}

/// A verdict on a reading: sign, word, amount.
pub(crate) fn verdict(verdict: Option<Word>, high: bool, amount: &str) -> Markup {
    let (class, word) = match verdict {
        None => ("verdict none", "not read"),
        Some(Word::Inside) => ("verdict inside", "inside"),
        Some(Word::Doubtful) => ("verdict doubtful", "doubtful"),
        Some(Word::Outside) => ("verdict outside", "outside"),
    };
    html! {
        span class=(class) {
            (brackets(verdict, high))
            span.word { (word) @if !amount.is_empty() { ", " (amount) } }
        }
    }
}

/// How many readings have a verdict: `2 outside`.
pub(crate) fn verdict_count(word: Word, count: usize) -> Markup {
    let (class, text) = match word {
        Word::Inside => ("verdict inside", "inside"),
        Word::Doubtful => ("verdict doubtful", "doubtful"),
        Word::Outside => ("verdict outside", "outside"),
    };
    html! { span class=(class) { (brackets(Some(word), true)) span.word { (count) " " (text) } } }
}

/// How many answers fail: `2 fail`.
pub(crate) fn failed(count: usize) -> Markup {
    html! { span class="verdict outside" { (brackets(Some(Word::Outside), true)) span.word { (count) " fail" } } }
}

/// Keep: joint through. Watch: half joint. Replace: gap.
pub(crate) fn part_sign(verdict: shop::Verdict) -> Markup {
    let inner = match verdict {
        shop::Verdict::Keep => {
            r#"<path class="lead" d="M2 12H42"/><circle class="done" cx="22" cy="12" r="7"/>"#
        }
        shop::Verdict::Watch => {
            r#"<path class="lead" d="M2 12H15M29 12H42"/><circle class="open" cx="22" cy="12" r="7"/><path class="done" d="M22 5A7 7 0 0 0 22 19Z"/>"#
        }
        shop::Verdict::Replace => {
            r#"<path class="lead" d="M2 12H13M31 12H42"/><path class="bar" d="M14 4V20M30 4V20"/>"#
        }
    };
    svg("sign partsign", 44.0, 24.0, inner)
}

/// How an item of a run sheet came out, in the same signs.
pub(crate) fn outcome(outcome: bench::sheet::Outcome) -> Markup {
    use bench::sheet::Outcome;
    let (class, sign, word) = match outcome {
        Outcome::Told => return html! {},
        Outcome::Pass => ("verdict inside", brackets(Some(Word::Inside), true), "pass"),
        Outcome::Open => ("verdict none", brackets(None, true), "open"),
        Outcome::Fail => (
            "verdict outside",
            brackets(Some(Word::Outside), true),
            "fail",
        ),
        Outcome::Stop => (
            "verdict outside",
            brackets(Some(Word::Outside), true),
            "stop",
        ),
    };
    html! { span class=(class) { (sign) span.word { (word) } } }
}

/// The filled triangle with which a primary begins.
pub(crate) fn probe() -> Markup {
    svg(
        "arrow",
        24.0,
        28.0,
        r#"<path class="fill" d="M2 1V27L23 14Z"/>"#,
    )
}

/// The warning triangle with the flash: dangerous voltage (ISO 7010 W012, from memory, not seen).
pub(crate) fn flash() -> Markup {
    svg(
        "flash",
        30.0,
        27.0,
        r#"<path class="triangle" d="M15 2L29 25.5H1Z"/><path class="bolt" d="M16.2 8L11.5 15.5H15L13.2 22L19 13.5H15.5Z"/>"#,
    )
}

/// Black and yellow hatch beside a caution.
pub(crate) fn hatch() -> Markup {
    let mut inner = String::new();
    for i in -3i32..12 {
        let y = f64::from(i) * 24.0;
        let _ = write!(
            inner,
            r#"<path class="stripe" d="M0 {a}L64 {b}V{c}L0 {d}Z"/>"#,
            a = y + 12.0,
            b = y - 52.0 + 12.0,
            c = y - 40.0 + 12.0,
            d = y + 24.0,
        );
    }
    svg("hatch", 64.0, 160.0, &inner)
}

/// The sign of the program: a wire through a valve.
pub(crate) fn house_mark() -> Markup {
    svg(
        "housemark",
        48.0,
        28.0,
        r#"<path d="M1 18H13M35 18H47M13 26V14A11 11 0 0 1 35 14V26ZM17.5 12H22M26 12H30.5M24 5V12"/><circle cx="24" cy="19" r="2.4"/>"#,
    )
}

fn svg(class: &str, width: f64, height: f64, inner: &str) -> Markup {
    html! {
        svg class=(class) width=(width) height=(height) viewBox=(format!("0 0 {width} {height}"))
            aria-hidden="true" focusable="false" { (PreEscaped(inner)) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_probe_far_out_stops_at_the_end_with_a_double_arrow() {
        let shown = |reading| BandShown {
            low: 7.0,
            high: 8.9,
            expected: Some(7.9),
            reading: Some(reading),
            verdict: Some(Word::Outside),
        };
        let near = band(&shown(9.5), 176.0, 32.0).into_string();
        let far = band(&shown(131.0), 176.0, 32.0).into_string();
        assert_eq!(near.matches("stem").count(), 1);
        assert_eq!(far.matches("stem").count(), 3);
        for odd in [f64::NAN, f64::INFINITY, 1e300] {
            let text = band(&shown(odd), 176.0, 32.0).into_string();
            assert!(!text.contains("NaN") && !text.contains("inf"), "{text}");
        }
        let no_width = BandShown {
            low: 1.0,
            high: 1.0,
            reading: Some(1.0),
            ..BandShown::default()
        };
        assert!(!band(&no_width, 176.0, 32.0).into_string().contains("NaN"));
    }

    #[test]
    fn signs_carry_no_style_and_no_script() {
        let all = html! {
            (one_joint(StepState::Held)) (small_wire(&[StepState::Done, StepState::Open], Some(1)))
            (verdict(Some(Word::Outside), true, "2.0 high")) (hatch()) (flash()) (probe()) (house_mark())
        }
        .into_string();
        assert!(!all.contains("style=") && !all.contains("<script"));
        assert!(all.contains("outside, 2.0 high"));
    }
}
