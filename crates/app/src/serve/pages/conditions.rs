//! The conditions under which readings are taken. Changing them begins a new block; readings taken
//! before keep theirs.

use super::chart::{ChartView, which};
use super::{back, choice, field};
use crate::serve::ask::{Ask, Fields};
use crate::serve::fail::{Answer, Fail, go};
use crate::serve::site::Site;
use crate::serve::{state, work_out};
use maud::{Markup, html};
use shop::{Instrument, InstrumentId, JobId, Reader, ShopError};
use wiring::circuit::Kind;

/// Mains and meter that the bench usually has: `231 V`, `10M 0.5%`.
pub(crate) fn usual(r: &Reader<'_>) -> Result<(String, String), ShopError> {
    let mains = r.setting("mains")?.unwrap_or_default();
    let meter = r
        .instruments()?
        .iter()
        .find(|i| !i.gone && i.fields.input_ohms.is_some())
        .map_or_else(String::new, meter_words);
    Ok((mains, meter))
}

/// An instrument as a condition line says it: `10M 0.5%`.
pub(crate) fn meter_words(i: &Instrument) -> String {
    let ohms = i.fields.input_ohms.map_or_else(String::new, |o| {
        wiring::units::rounded(o, wiring::units::Quantity::Ohms, 3)
    });
    let error = i
        .fields
        .error_percent
        .map_or_else(String::new, |e| format!(" {e}%"));
    format!("{ohms}{error}")
}

/// The form behind `change`.
pub(crate) fn form(chart: &ChartView, instruments: &[Instrument]) -> Markup {
    let id = chart.view.job.id;
    let shown = &chart.conditions;
    let raw = &shown.raw;
    let controls: Vec<&str> = chart
        .found
        .traced
        .circuit
        .parts
        .iter()
        .filter(|p| matches!(p.kind, Kind::Pot { .. }))
        .map(|p| p.parent.as_deref().unwrap_or(&p.name))
        .collect();
    let sets: Vec<String> = raw
        .sets
        .iter()
        .map(|s| format!("{} {}", s.name, state::position(s.to)))
        .collect();
    let chosen = shown
        .block
        .as_ref()
        .and_then(|b| b.instrument)
        .map_or_else(String::new, |i| i.to_string());
    let meters: Vec<(String, String)> = instruments
        .iter()
        .filter(|i| !i.gone && i.fields.input_ohms.is_some())
        .map(|i| {
            (
                i.id.to_string(),
                format!("{} ({})", i.fields.name, meter_words(i)),
            )
        })
        .collect();
    let meters: Vec<(&str, &str)> = std::iter::once(("", "not said"))
        .chain(meters.iter().map(|(a, b)| (a.as_str(), b.as_str())))
        .collect();
    html! {
        form method="post" action=(format!("/job/{id}/conditions")) {
            input type="hidden" name="state" value=(chart.state.word());
            input type="hidden" name="back" value=(chart.back.clone().unwrap_or_else(|| chart.at_address(&chart.at)));
            (field("Mains at the wall, volts", "mains", &raw.mains_volts.map(|v| v.to_string()).unwrap_or_default()))
            (choice("Meter", "instrument", &meters, &chosen))
            (field("Valves: all in; without V2; only V3", "valves", &shown.valves))
            (field(&format!("Knobs, such as {} 0", controls.first().unwrap_or(&"VOLUME")), "knobs", &sets.join(", ")))
            (field("Lamp in series, watts; empty for none", "limiter", &raw.limiter_watts.map(|w| w.to_string()).unwrap_or_default()))
            (choice("Standby", "standby", &[("", "as in the wiring"), ("closed", "closed"), ("open", "open")], match raw.standby_open { Some(true) => "open", Some(false) => "closed", None => "" }))
            (choice("Loudspeaker", "speaker", &[("", "on"), ("off", "off")], if raw.speaker_on == Some(false) { "off" } else { "" }))
            (choice("Power", "power", &[("", "on"), ("off", "off: ohms, unplugged")], if raw.power_off { "off" } else { "" }))
            p.hint { "They hold for the readings from now on." }
            button.button { "From now on" }
        }
    }
}

/// Begins a new block under changed conditions.
pub(crate) fn change(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let state = which(fields);
    let instrument = fields.number("instrument").map(InstrumentId);
    let mut text = String::new();
    let mut line = |words: String| {
        text.push_str(&words);
        text.push('\n');
    };
    if let Some(mains) = fields.some("mains") {
        line(format!("mains {}", with_unit(mains, "V")));
    }
    if let Some(i) = instrument {
        let i = site.shop.read(|r| r.instrument(i))?;
        line(format!("meter {}", meter_words(&i)));
    }
    match fields.line("valves").as_str() {
        "" | "all in" | "all" => {}
        other => line(format!("valves {other}")),
    }
    for set in fields
        .line("knobs")
        .split([',', ';'])
        .map(str::trim)
        .filter(|s| !s.is_empty())
    {
        line(format!("set {set}"));
    }
    if let Some(watts) = fields.some("limiter") {
        line(format!("limiter {}", with_unit(watts, "W")));
    }
    for (name, word) in [
        ("standby", "standby"),
        ("speaker", "speaker"),
        ("power", "power"),
    ] {
        if let Some(value) = fields.some(name) {
            line(format!("{word} {value}"));
        }
    }
    let (circuit, name) = site.shop.read(|r| {
        let found = work_out::found(site, r, id, state)?;
        Ok((found.traced, block_name(state.word(), fields)))
    })?;
    let named = format!("readings now\n{text}");
    let (_, problems) = wiring::read_readings(
        &wiring::Text {
            name: "now.readings",
            text: &named,
        },
        &circuit.circuit,
    );
    if let Some(d) = problems
        .iter()
        .find(|d| d.severity == wiring::Severity::Error)
    {
        return Err(Fail::typed(d.message.clone(), d.advice.clone()));
    }
    site.shop.write(&ask.stamp(), |w| {
        w.begin_block(id, state, &name, &text, instrument)
    })?;
    go(back(fields, &format!("/job/{id}/chart")))
}

/// `as found, without V2`.
fn block_name(state: &str, fields: &Fields) -> String {
    if fields.get("power") == "off" {
        return format!("{state}, power off");
    }
    match fields.line("valves").as_str() {
        "" | "all in" | "all" => state.to_owned(),
        other => format!("{state}, {other}"),
    }
}

fn with_unit(text: &str, unit: &str) -> String {
    if text.ends_with(|c: char| c.is_ascii_digit()) {
        format!("{text} {unit}")
    } else {
        text.to_owned()
    }
}
