//! A fit as JSON: SI units, errors as fractions.

use super::Done;
use crate::problems;
use bench::fitting::{FittedLaw, FittedSection};
use serde_json::{Map, Value, json};
use solve::device::ValveLaw;
use solve::device::fit::{Fit, FitError};
use wiring::Severity;

/// The whole fit with the problems of the files.
pub(super) fn json(done: &Done, names: &[String]) -> String {
    let sections: Vec<Value> = done
        .fitted
        .sections
        .iter()
        .map(|s| section(done, s))
        .collect();
    let value = json!({
        "type": done.fitted.name,
        "like": done.fitted.like,
        "sections": sections,
        "copied": done.fitted.block.as_ref().ok().and_then(|b| b.copied.clone()),
        "block": done.fitted.block.as_ref().ok().map(|b| b.text.clone()),
        "no_block": done.fitted.block.as_ref().err(),
        "errors": problems::of(&done.problems, Severity::Error, names),
        "warnings": problems::of(&done.problems, Severity::Warning, names),
    });
    format!("{value:#}\n")
}

fn section(done: &Done, section: &FittedSection) -> Value {
    let label = |i: usize| section.rows.get(i).and_then(|r| done.labels.get(*r));
    let mut out = Map::new();
    out.insert("section".into(), json!(section.letter));
    let (equations, fit, why) = match &section.outcome {
        Ok(FittedLaw::Valve(fit)) => (equations(fit.law), Some(fit.as_ref()), None),
        Ok(FittedLaw::Rectifier(..)) => ("rectifier", None, None),
        Err(error) => {
            let fit = match error {
                FitError::TooPoor { fit, .. } => Some(fit.as_ref()),
                _ => None,
            };
            let equations = fit.map_or("none", |f| self::equations(f.law));
            (equations, fit, Some(error.to_string()))
        }
    };
    out.insert("equations".into(), json!(equations));
    out.insert("why_not".into(), json!(why));
    match &section.outcome {
        Ok(FittedLaw::Rectifier(fit, rows)) => {
            let rows: Vec<Value> = rows
                .iter()
                .zip(&fit.errors)
                .enumerate()
                .map(|(i, ((volts, amps), error))| {
                    json!({
                        "row": label(i),
                        "used": true,
                        "predicted_error": null,
                        "figures": [{
                            "figure": "drop",
                            "given": volts,
                            "computed": volts * (1.0 + error),
                            "error": error,
                            "sigma": null,
                        }],
                        "at_amps": amps,
                    })
                })
                .collect();
            out.insert("law".into(), json!({ "perveance": fit.perveance }));
            out.insert("rows".into(), json!(rows));
            out.insert(
                "rms".into(),
                json!([{ "figure": "drop", "rms": fit.rms.rms, "rows": fit.rms.rows }]),
            );
            out.insert(
                "covers".into(),
                json!({ "plate_volts": fit.volts, "plate_amps": fit.amps }),
            );
        }
        _ => {
            if let Some(fit) = fit {
                valve(&mut out, fit, &label);
            }
        }
    }
    Value::Object(out)
}

fn equations(law: ValveLaw) -> &'static str {
    match law {
        ValveLaw::Triode(_) => "triode",
        ValveLaw::Pentode(_) => "pentode",
        ValveLaw::Rectifier(_) => "rectifier",
    }
}

fn valve<'d>(out: &mut Map<String, Value>, fit: &Fit, label: &dyn Fn(usize) -> Option<&'d usize>) {
    let law: Map<String, Value> = fit
        .law
        .numbers()
        .1
        .into_iter()
        .map(|(name, value)| (name.to_owned(), json!(value)))
        .collect();
    let rows: Vec<Value> = fit
        .rows
        .iter()
        .enumerate()
        .map(|(i, row)| {
            json!({
                "row": label(i),
                "used": row.used,
                "grid_volts": row.point.map(|p| p.grid),
                "figures": row.figures,
                "predicted_error": row.predicted,
            })
        })
        .collect();
    // A finding names rows by index; outside they have the number of their line.
    let findings: Vec<Value> = fit
        .findings
        .iter()
        .map(|finding| {
            let mut value = serde_json::to_value(finding).unwrap_or_default();
            if let Some(map) = value.as_object_mut() {
                for key in ["row", "other"] {
                    if let Some(at) = map.get(key).and_then(Value::as_u64) {
                        let number = usize::try_from(at).ok().and_then(label);
                        map.insert(key.to_owned(), json!(number));
                    }
                }
            }
            value
        })
        .collect();
    out.insert("law".into(), Value::Object(law));
    out.insert("kin".into(), json!(fit.kin));
    out.insert("kin_section".into(), json!(fit.kin_section));
    out.insert("parameters".into(), json!(fit.parameters));
    out.insert("rows".into(), json!(rows));
    out.insert("rms".into(), json!(fit.rms));
    out.insert(
        "worst".into(),
        json!(fit.worst.map(|w| json!({
            "row": label(w.row),
            "figure": w.figure,
            "error": w.error,
        }))),
    );
    out.insert("predicted_rms".into(), json!(fit.predicted_rms));
    out.insert("covers".into(), json!(fit.covers));
    out.insert("findings".into(), json!(findings));
}
