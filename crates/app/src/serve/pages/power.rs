//! What is said and read about power.

use super::back;
use crate::serve::ask::{Ask, Fields};
use crate::serve::fail::{Answer, Fail, go};
use crate::serve::site::Site;
use shop::{JobId, PowerEvent};

/// A plug in or out, a discharge reading, a point that stores charge.
pub(crate) fn say(site: &Site, ask: &Ask, job: JobId, fields: &Fields) -> Answer {
    let event = match fields.get("what") {
        "plug in" => PowerEvent::PlugIn,
        "plug out" => PowerEvent::PlugOut,
        "no more points" => PowerEvent::NoMorePoints,
        "stores" => PowerEvent::Stores(fields.line("point")),
        "read" => PowerEvent::Read {
            point: fields.line("point"),
            volts: volts(fields.get("volts"))?,
        },
        _ => return Err(Fail::NoPage),
    };
    if let PowerEvent::Stores(point) = &event
        && point.is_empty()
    {
        return Err(Fail::typed(
            "The point has no name.",
            "Type what you see, such as `can by the rectifier`.",
        ));
    }
    site.shop
        .write(&ask.stamp(), |w| w.power_event(job, &event, None))?;
    go(back(fields, &format!("/job/{job}")))
}

/// Volts as a meter shows them.
fn volts(text: &str) -> Result<f64, Fail> {
    let plain = text
        .trim()
        .trim_end_matches(['V', 'v'])
        .trim()
        .replace('\u{2212}', "-");
    match plain.parse::<f64>() {
        Ok(volts) if volts.is_finite() => Ok(volts),
        _ => Err(Fail::typed(
            format!("`{text}` is no number of volts."),
            "Type what the meter shows, such as `0.4`. Over range is no reading: take a higher range.",
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Guards a life: what is no number never counts as discharged.
    #[test]
    fn only_a_number_is_a_discharge_reading() {
        assert!(matches!(volts("0.4"), Ok(v) if v == 0.4));
        assert!(matches!(volts("-3 V"), Ok(v) if v == -3.0));
        for bad in ["", "OL", "nan", "inf", "-inf", "0,4", "low", "1e400"] {
            assert!(volts(bad).is_err(), "{bad}");
        }
    }
}
