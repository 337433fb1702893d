//! What `hear --json` prints (docs/json.md).

use super::measure::Measured;
use super::text::{changes, watts};
use crate::amp::Amp;
use crate::arguments::Hear as Given;
use crate::problems;
use bench::beside::Beside;
use serde_json::{Value, json};
use sound::decibels;
use sound::hum::Cause;
use std::f64::consts::SQRT_2;
use wiring::Severity;

/// The whole object.
pub(crate) fn value(given: &Given, now: &Measured, before: Option<&Measured>) -> Value {
    let mut value = one(given, now);
    if let Some(map) = value.as_object_mut() {
        let compared = before.map(|b| {
            let list: Vec<Value> = changes(now, b)
                .into_iter()
                .map(|(what, was, is, unit)| json!({"what": what, "before": was, "now": is, "unit": unit}))
                .collect();
            json!({"file": b.name, "changes": list})
        });
        map.insert("against".to_owned(), json!(compared));
        let missing = now
            .missing
            .iter()
            .chain(before.iter().flat_map(|b| &b.missing));
        map.insert(
            "errors".to_owned(),
            missing
                .map(|m| problem(&now.name, m))
                .collect::<Vec<_>>()
                .into(),
        );
        map.insert("warnings".to_owned(), json!([]));
    }
    value
}

/// A problem of a recording, in the form of every command's: a recording has one line.
fn problem(file: &str, message: &str) -> Value {
    let (message, advice) = message.split_once(": ").unwrap_or((message, ""));
    json!({
        "code": "recording", "severity": "error", "file": file, "line": 1, "column": 1,
        "message": message, "advice": advice, "also": null,
    })
}

/// Adds what the wiring promises, and the wiring's problems.
pub(crate) fn beside(
    value: &mut Value,
    file: &str,
    found: Option<Result<Beside, String>>,
    amp: Option<&Amp>,
) {
    let Some(map) = value.as_object_mut() else {
        return;
    };
    let mut errors = Vec::new();
    let shown = match found {
        Some(Ok(found)) => serde_json::to_value(found).unwrap_or_default(),
        Some(Err(why)) => {
            errors.push(problem(file, &why));
            Value::Null
        }
        None => Value::Null,
    };
    map.insert("beside".to_owned(), shown);
    let of = |severity| {
        amp.map(|a| problems::of(&a.problems, severity, &a.names()))
            .and_then(|list| serde_json::to_value(list).ok())
            .and_then(|list| list.as_array().cloned())
            .unwrap_or_default()
    };
    errors.extend(of(Severity::Error));
    for (name, more) in [("errors", errors), ("warnings", of(Severity::Warning))] {
        if let Some(Value::Array(list)) = map.get_mut(name) {
            list.extend(more);
        }
    }
}

/// One recording.
fn one(given: &Given, m: &Measured) -> Value {
    let channels: Vec<Value> = m
        .levels
        .iter()
        .map(|l| {
            json!({"peak_db": level(l.peak), "rms_db": level(l.rms * SQRT_2), "clipped": l.clipped, "flat": l.flat})
        })
        .collect();
    let hum = m.hum.as_ref().map(|h| {
        json!({
            "mains_hz": h.mains.map(|x| x.0),
            "mains_uncertainty_hz": h.mains.map(|x| x.1),
            "lines": h.lines.iter().map(|l| json!({
                "order": l.order, "hz": l.hertz, "db": decibels(l.amplitude), "uncertainty_db": l.uncertainty,
                "deg": l.degrees,
                "volts": given.full_scale.map(|full| l.amplitude / SQRT_2 * full),
            })).collect::<Vec<_>>(),
            "causes": h.causes.iter().map(|(c, orders)| json!({"cause": cause(*c), "orders": orders})).collect::<Vec<_>>(),
            "hum_db": level(h.rms * SQRT_2),
            "noise_db": level(h.noise * SQRT_2),
            "noise_a_db": level(h.noise_a * SQRT_2),
            "total_a_db": level(h.total_a * SQRT_2),
            "noise_uncertainty_db": h.noise_uncertainty,
            "band_to_hz": h.band_to,
            "seconds": h.seconds,
        })
    });
    let clicks = m.clicks.as_ref().map(|all| {
        json!({
            "count": all.len(),
            "at_s": all.iter().take(1000).map(|c| c.seconds).collect::<Vec<_>>(),
        })
    });
    let harmonics = |list: &[Option<(f64, f64)>]| -> Vec<Value> {
        list.iter()
            .enumerate()
            .filter_map(|(i, h)| {
                h.map(|(db, floor)| json!({"order": i + 2, "db": db, "floor_db": floor}))
            })
            .collect()
    };
    json!({
        "file": m.name,
        "format": m.format,
        "rate": m.rate,
        "bits": m.bits,
        "seconds": m.seconds,
        "channel": m.channel,
        "channels": channels,
        "full_scale_volts": given.full_scale,
        "notes": m.notes,
        "hum": hum,
        "clicks": clicks,
        "response": m.swept.as_ref().map(|s| json!({
            "begins_s": s.begins,
            "points": s.points.iter().map(|p| json!({
                "hz": p.hertz, "db": p.db, "uncertainty_db": p.uncertainty,
                "harmonics": harmonics(&p.harmonics), "thd_percent": p.thd_percent,
            })).collect::<Vec<_>>(),
        })),
        "steps": m.steps.iter().map(|s| json!({
            "hz": s.hertz, "played_db": s.played, "db": decibels(s.amplitude),
            "harmonics": harmonics(&s.harmonics),
            "thd_percent": s.thd_percent, "thd_uncertainty_db": s.thd_uncertainty, "watts": watts(given, s),
        })).collect::<Vec<_>>(),
        "tremolo": m.tremolo.map(|t| json!({
            "hz": t.hertz, "uncertainty_hz": t.hertz_uncertainty, "depth_percent": t.depth_percent,
            "down_db": t.down_db, "second_percent": t.shape_percent[0], "third_percent": t.shape_percent[1],
            "rising_percent": t.rising_percent, "drift_percent_a_minute": t.drift_percent, "tone_hz": t.tone,
        })),
        "modulation": m.modulation.map(|t| json!({
            "low_hz": t.hertz[0], "high_hz": t.hertz[1], "second_percent": t.percent[0],
            "third_percent": t.percent[1], "floor_percent": t.floor_percent,
        })),
    })
}

/// Decibels, or nothing where there is nothing.
fn level(x: f64) -> Option<f64> {
    (x > 1e-15).then(|| decibels(x))
}

/// The stable word of a cause.
fn cause(cause: Cause) -> &'static str {
    match cause {
        Cause::Heater => "heater",
        Cause::HalfWave => "half_wave",
        Cause::FullWave => "full_wave",
        Cause::Buzz => "buzz",
    }
}
