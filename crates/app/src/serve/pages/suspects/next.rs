//! What to read next, in large type: the steps up to the reading, what each outcome would mean, one
//! press that opens it; and what could be read instead.

use super::View;
use crate::commands::suspects::value;
use crate::serve::frame;
use crate::serve::marks;
use crate::serve::pages::chart::{self, ChartView};
use crate::serve::state;
use crate::words::sentence;
use bench::digits;
use bench::suspects::{Next, Probing, Suspects, Would};
use maud::{Markup, html};
use shop::{InstrumentId, JobId, Power};
use wiring::circuit::Circuit;
use wiring::readings::ValvesIn;

/// Volts above which a point is named in the caution before it is first reached
/// (`live.discharge` calls 60 V DC hazardous; the lower of two figures is taken).
const HAZARD_VOLTS: f64 = 50.0;

/// Do hands go into the chassis for it?
fn hands_in(next: &Next) -> bool {
    !next.live || next.settings.iter().any(|s| s.starts_with("valves"))
}

/// Hands go in, and it is not off.
pub(super) fn locked(power: &Power, next: &Next) -> bool {
    hands_in(next) && !matches!(power, Power::Off { .. })
}

/// A block to begin before a reading can be taken.
pub(super) struct NewBlock {
    pub(super) name: String,
    pub(super) conditions: String,
    pub(super) instrument: Option<InstrumentId>,
}

/// The block to begin; none where the open one has these conditions already.
pub(super) fn block_to_begin(
    chart: &ChartView,
    next: &Next,
    mains: &str,
    meter: &str,
) -> Option<NewBlock> {
    let blocks = &chart.found.blocks;
    let usual = |b: &&shop::Block| {
        let c = state::parsed(&chart.found.traced.circuit, &b.conditions);
        !c.power_off && c.valves == ValvesIn::All && c.signal.is_none()
    };
    let base = blocks.iter().rev().find(usual);
    let before = base.map_or_else(
        || state::usual_conditions(mains, meter),
        |b| b.conditions.clone(),
    );
    let conditions = under(&before, &next.settings);
    if let Some(open) = blocks.last()
        && open.conditions.trim() == conditions.trim()
    {
        return None;
    }
    let word = chart.state.word();
    let valves = next.settings.iter().find_map(|s| s.strip_prefix("valves "));
    let name = if next.settings.is_empty() {
        word.to_owned()
    } else if next.unit == "ohm" {
        format!("{word}, power off")
    } else if next.has_signal() {
        format!("{word}, signal")
    } else {
        format!("{word}, {}", valves.unwrap_or(&next.condition))
    };
    Some(NewBlock {
        name,
        conditions,
        instrument: base.or(blocks.last()).and_then(|b| b.instrument),
    })
}

/// Condition lines with some said anew; with the power off only the meter and the knobs matter.
fn under(before: &str, settings: &[String]) -> String {
    let off = settings.iter().any(|s| s == "power off");
    // of knobs the name counts, too
    let key = |line: &str| {
        let mut words = line.split_whitespace();
        let first = words.next().unwrap_or_default().to_owned();
        match first.as_str() {
            "set" => format!("set {}", words.next().unwrap_or_default()),
            _ => first,
        }
    };
    let said: Vec<String> = settings.iter().map(|s| key(s)).collect();
    let stays = |line: &&str| {
        let k = key(line);
        !said.contains(&k) && (!off || k == "meter" || k.starts_with("set "))
    };
    let mut lines: Vec<&str> = before
        .lines()
        .map(str::trim)
        .filter(|l| !l.is_empty())
        .collect();
    lines.retain(|l| stays(l));
    lines.extend(settings.iter().map(String::as_str));
    lines.join("\n")
}

/// Everything at the right.
pub(super) fn sheets(seen: &View) -> Markup {
    let found = &*seen.found;
    let id = seen.chart.view.job.id;
    let first = found.next.first();
    html! {
        @if found.probing == Probing::SureEnough { (enough(seen, found, id)) }
        @else {
            @match first {
                Some(next) => { (caution(seen, next)) (now(seen, next)) }
                None if !found.suspects.is_empty() => {
                    section.sheet {
                        p.by { "What to do now" }
                        h2.point-now { "Listen and look" }
                        p { "No reading that may be proposed would tell more. Listen, look, or try the parts one by one." }
                    }
                }
                None => {}
            }
        }
        @let others: Vec<&Next> = found.next.iter().skip(usize::from(found.probing != Probing::SureEnough)).collect();
        @if !others.is_empty() {
            section.sheet.instead {
                h2 { @if found.probing == Probing::SureEnough { "To be surer still" } @else { "Or else" } }
                ul { @for next in others { li { (other(seen, next)) } } }
            }
        }
    }
}

/// The stop rule's words.
fn enough(seen: &View, found: &Suspects, id: JobId) -> Markup {
    let sure = found
        .suspects
        .first()
        .filter(|s| s.probability > found.healthy);
    html! {
        section.sheet.now-sheet {
            p.by { "Sure enough" }
            @match sure {
                Some(s) => {
                    h2.point-now { (s.part) " " (s.words) }
                    p { (s.confirm) }
                    p { "Confirm it and mend it, then read again." }
                    @let part = seen.part(&s.part).map_or(s.part.as_str(), |(_, p)| p.name.as_str());
                    (frame::primary_link(&format!("/job/{id}/parts?at={}", chart::percent(part)), &format!("Give {part} its verdict"), "", "Enter"))
                }
                None => {
                    h2.point-now { "Nothing wrong here" }
                    p { "These readings show nothing wrong. If the amplifier still misbehaves, read it while it does, or listen." }
                    (frame::primary_link(&seen.chart.address(), "To the chart", "", "Enter"))
                }
            }
        }
    }
}

/// Before hands go in, or reach a high point for the first time in a block.
fn caution(seen: &View, next: &Next) -> Markup {
    let power = &seen.chart.view.power;
    let block = seen.chart.conditions.block.as_ref();
    let begun = seen
        .chart
        .found
        .readings
        .iter()
        .any(|x| Some(x.block) == block.map(|b| b.id))
        && block.is_some();
    let shown = next.would.iter().filter(|_| next.unit == "V");
    let highest = shown.fold(next.stands_at, |m, w| f64::max(m, w.value.abs()));
    let slab = |head: String, words: Markup| {
        html! {
            section.caution role="note" {
                (marks::hatch())
                div { h2 { (head) } p { (words) } }
                (marks::flash())
            }
        }
    };
    if locked(power, next) {
        let limit = state::safe_volts();
        return slab(
            "Hands go in: it must be off".to_owned(),
            html! { "Unplug, clip a discharge resistor on, and read every point that stores charge. Below " (limit) " V hands may go in." },
        );
    }
    if next.live && highest > HAZARD_VOLTS && !begun {
        let words = html! { "One hand, the clip lead on first, somebody near. It holds charge when it is unplugged, too." };
        return slab(
            format!("{} may stand at {} V", next.probe, digits::volts(highest)),
            words,
        );
    }
    html! {}
}

/// The next reading.
fn now(seen: &View, next: &Next) -> Markup {
    let id = seen.chart.view.job.id;
    let circuit = &seen.chart.found.traced.circuit;
    html! {
        section.sheet.now-sheet aria-label="What to do now" {
            p.by { "What to do now" }
            h2.point-now { (next.probe) @if let Some(how) = short(next) { span.how { ", " (how) } } }
            ol.what-now { @for step in steps(&seen.chart.view.power, circuit, next) { li { (step) } } }
            (fork(next))
            @if let Some(then) = &next.then {
                p.hint { "After it, most likely " strong { (then.probe) } ", " (then.condition) (format!(": {:.2} bits more.", then.gain_bits)) }
            }
            @if locked(&seen.chart.view.power, next) { (unlock(seen, id)) }
            @else { (press(seen, next, true)) }
            p.hint { (format!("It would tell {:.2} bits; effort {:.1}, where a probe under power is 1.", next.gain_bits, next.effort)) }
        }
    }
}

/// A form that opens the reading; where the part itself is tried, the part.
fn press(seen: &View, next: &Next, primary: bool) -> Markup {
    let id = seen.chart.view.job.id;
    if next.unit.is_empty() {
        let address = format!("/job/{id}/parts?at={}", chart::percent(&next.probe));
        return html! {
            @if primary { (frame::primary_link(&address, &format!("Try {}", next.probe), "then give it its verdict", "Enter")) }
            @else { a.button href=(address) { "Try it" } }
        };
    }
    html! {
        form method="post" action=(format!("/job/{id}/suspects")) {
            input type="hidden" name="state" value=(seen.chart.state.word());
            input type="hidden" name="probe" value=(next.probe);
            input type="hidden" name="condition" value=(next.condition);
            @if seen.ahead { input type="hidden" name="ahead" value="two"; }
            @if primary { (frame::primary_button(&format!("Read {}", next.probe), "then back here", "Enter")) }
            @else { button.button { "Use this" } }
        }
    }
}

/// What takes the lock off: the plug out, then each point that stores charge.
fn unlock(seen: &View, id: JobId) -> Markup {
    let post = format!("/job/{id}/power");
    let back = seen.address();
    html! {
        form method="post" action=(post) {
            input type="hidden" name="back" value=(back);
            @match &seen.chart.view.power {
                Power::Charged { left, .. } => {
                    input type="hidden" name="what" value="read";
                    @if let Some((point, _)) = left.first() {
                        input type="hidden" name="point" value=(point);
                        label { span { (point) " to ground reads, V" } input.figure name="volts" inputmode="decimal" autocomplete="off" required; }
                        (frame::primary_button(&format!("Write {point}"), "below 10 V, then the reading opens", ""))
                    }
                }
                Power::Unnamed { known, .. } if !known.is_empty() => {
                    input type="hidden" name="what" value="no more points";
                    p { "By the tracing these store charge: " (known.join(", ")) ". Name any other in the strip above first." }
                    (frame::primary_button("There are no more", "then each is read", ""))
                }
                Power::Unnamed { .. } => {
                    input type="hidden" name="what" value="stores";
                    label { span { "A point that stores charge" } input name="point" autocomplete="off" required maxlength="60"; }
                    (frame::primary_button("Name it", "each electrolytic you can see, one at a time", ""))
                }
                _ => {
                    input type="hidden" name="what" value="plug out";
                    (frame::primary_button("The plug is out", "say it only when it is in your hand", ""))
                }
            }
        }
    }
}

/// In a word or two, beside the point.
fn short(next: &Next) -> Option<String> {
    let valves = next.settings.iter().find_map(|s| s.strip_prefix("valves "));
    match (next.unit, valves) {
        ("ohm", _) => Some("ohms, off".to_owned()),
        ("V ac", _) if next.has_signal() => Some("with a signal".to_owned()),
        ("V ac", _) => Some("volts AC".to_owned()),
        ("Hz", _) => Some("swings of the tremolo".to_owned()),
        ("", _) if next.condition.contains("valve") => Some("another valve".to_owned()),
        ("", _) => Some("one end lifted".to_owned()),
        (_, Some(valves)) => Some(valves.to_owned()),
        _ => None,
    }
}

/// What hands do, one after the other.
fn steps(power: &Power, circuit: &Circuit, next: &Next) -> Vec<String> {
    let mut all = Vec::new();
    let part = circuit.parts.iter().any(|p| p.name == next.probe);
    let off = matches!(power, Power::Off { .. });
    if hands_in(next) && !off {
        all.push("Unplug, discharge clip on, read each point that stores charge.".to_owned());
    }
    let valves = next.settings.iter().find_map(|s| s.strip_prefix("valves "));
    if let Some(valves) = valves {
        all.push(format!(
            "Leave {} out.",
            valves.trim_start_matches("without ")
        ));
    }
    if next.unit.is_empty() {
        all.push(sentence(&next.condition));
        all.push("Read the part itself, or listen whether the fault went with it.".to_owned());
        return all;
    }
    if next.unit == "ohm" {
        all.push(if part {
            format!("Ohmmeter across {}, nothing lifted.", next.probe)
        } else {
            format!("Ohmmeter from {} to ground.", next.probe)
        });
        return all;
    }
    if next.has_signal() {
        all.push(format!("{}.", next.condition.trim_end_matches('.')));
    }
    if !matches!(power, Power::Live { .. }) || valves.is_some() {
        all.push("Clip lead on ground first; then the plug in, and say so above.".to_owned());
    }
    all.push(match next.unit {
        "Hz" => format!(
            "Tremolo on. One hand: count the swings of the volts at {} over ten seconds, and type how many a second; 0 where they stand still.",
            next.probe
        ),
        "V ac" if next.probe.contains(" to ") => format!("Volts AC from {}, one hand, the other lead clipped on.", next.probe),
        "V ac" => format!("Volts AC from {} to ground, one hand.", next.probe),
        _ => format!("Volts DC from {} to ground, one hand.", next.probe),
    });
    all
}

/// What the likeliest suspects would show; those that show the same stand together.
fn fork(next: &Next) -> Markup {
    let mut ways: Vec<(String, Vec<&Would>)> = Vec::new();
    for would in &next.would {
        let shown = value(would.value, next.unit);
        match ways.iter_mut().find(|w| w.0 == shown) {
            Some(way) => way.1.push(would),
            None => ways.push((shown, vec![would])),
        }
    }
    html! {
        @if !ways.is_empty() {
            ul.fork {
                @for (shown, of) in &ways {
                    li {
                        strong { (shown) }
                        span { @for (i, w) in of.iter().enumerate() { @if i > 0 { ", or " } (w.suspect) } }
                    }
                }
            }
        }
    }
}

/// Another way, with its cost.
fn other(seen: &View, next: &Next) -> Markup {
    let how = if next.live && next.settings.is_empty() {
        "under power, as before".to_owned()
    } else {
        next.condition.clone()
    };
    html! {
        div {
            strong { (next.probe) } span.small { (how) }
            span.small { (format!("{:.2} bits, effort {:.1}", next.gain_bits, next.effort)) }
        }
        @if locked(&seen.chart.view.power, next) { span.small { "once it is off" } }
        @else { (press(seen, next, false)) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_said_anew_takes_the_place_of_what_was_said() {
        let before = "mains 231 V\nmeter 10M 0.5%\nset VOLUME 0\nset TONE 5\n";
        let off = under(before, &["power off".to_owned()]);
        assert_eq!(off, "meter 10M 0.5%\nset VOLUME 0\nset TONE 5\npower off");
        let signal = ["set VOLUME 5".to_owned(), "signal J1 0.02 1000".to_owned()];
        assert_eq!(
            under(before, &signal),
            "mains 231 V\nmeter 10M 0.5%\nset TONE 5\nset VOLUME 5\nsignal J1 0.02 1000"
        );
        assert_eq!(under(before, &[]), before.trim());
    }
}
