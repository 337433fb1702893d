//! Pins, heater, limits, capacitances, laws and rows of one type.

use super::Known;
use super::origin;
use super::raw::{RawCapacitances, RawHeater, RawLaws, RawStage, RawStatic};
use crate::circuit::Electrode;
use crate::sheet::law::{self, SheetLaw};
use crate::sheet::limits::{LimitQuantity, LimitSet, RatingSystem};
use crate::sheet::rows::{Accept, StageRow, StaticRow};
use crate::sheet::types::{
    Base, Capacitances, Confidence, Heater, HeaterWay, Pin, PinElectrode, Sheet,
};
use std::collections::BTreeMap;

/// Each law is for a section that is there, and there is one for each at most.
pub(super) fn check_laws(sheet: &Sheet) -> Result<(), String> {
    for (i, law) in sheet.own_laws.iter().enumerate() {
        if let Some(letter) = law.section
            && !sheet.sections().iter().any(|s| s.letter == Some(letter))
        {
            return Err(format!(
                "the law is for a section `{letter}` that no pin has"
            ));
        }
        let before = sheet.own_laws.iter().take(i);
        if before.clone().any(|other| other.section == law.section) {
            return Err("there are two laws for the same section".into());
        }
    }
    Ok(())
}

pub(super) fn read_laws(raw: RawLaws, known: Known) -> Result<Vec<SheetLaw>, String> {
    let tables = match raw {
        RawLaws::One(table) => vec![table],
        RawLaws::Several(tables) => tables,
    };
    tables
        .iter()
        .map(|table| {
            let word = |key: &str| table.get(key).and_then(toml::Value::as_str);
            let confidence = match word("confidence") {
                Some("high") => Confidence::High,
                Some("medium") => Confidence::Medium,
                Some("low") => Confidence::Low,
                _ => return Err("a law needs `confidence`: high, medium or low".into()),
            };
            let source = word("source").ok_or("a law needs a `source`")?;
            law::read(table, &number, origin(confidence, source, known)?)
        })
        .collect()
}

pub(super) fn check_heater_pins(sheet: &Sheet) -> Result<(), String> {
    let ends = [Electrode::Heater1, Electrode::Heater2].map(|e| sheet.pin(None, e).is_some());
    let tap = sheet.pin(None, Electrode::HeaterTap).is_some();
    match &sheet.heater {
        Some(_) if ends != [true, true] => {
            Err("a heater needs the pins `heater1` and `heater2`".into())
        }
        Some(h) if h.parallel.is_some() != tap => Err(
            "a heater with `series` and `parallel` needs a pin `heatertap`, and no other does"
                .into(),
        ),
        None if ends != [false, false] || tap => {
            Err("there are heater pins but no `heater`".into())
        }
        _ => Ok(()),
    }
}

pub(super) fn read_pins(raw: BTreeMap<String, String>, base: Base) -> Result<Vec<Pin>, String> {
    let mut pins = Vec::new();
    for (number, text) in raw {
        let number: u8 = number
            .trim()
            .parse()
            .ok()
            .filter(|n| (1..=base.pins()).contains(n))
            .ok_or_else(|| {
                format!(
                    "pin `{number}` is not on the base, whose pins are 1 to {}",
                    base.pins()
                )
            })?;
        if pins.iter().any(|p: &Pin| p.number == number) {
            return Err(format!("pin {number} is there twice"));
        }
        let mut pin = Pin {
            number,
            uses: Vec::new(),
            internal: false,
        };
        for one in text.split(',').map(str::trim) {
            let mut words = one.split_whitespace();
            let word = words.next().unwrap_or_default();
            if word == "none" {
                continue;
            }
            let electrode = Electrode::from_word(word)
                .ok_or_else(|| format!("pin {number}: `{word}` is no electrode"))?;
            let section = match words.next() {
                None => None,
                Some(letter) => match letter.chars().next() {
                    Some(c) if letter.len() == 1 && c.is_ascii_lowercase() => Some(c),
                    _ => return Err(format!("pin {number}: `{letter}` is no section letter")),
                },
            };
            if let Some(extra) = words.next() {
                return Err(format!("pin {number}: `{extra}` is one word too many"));
            }
            if electrode == Electrode::Internal {
                pin.internal = true;
            }
            pin.uses.push(PinElectrode { section, electrode });
        }
        pins.push(pin);
    }
    pins.sort_by_key(|p| p.number);
    Ok(pins)
}

pub(super) fn read_heater(raw: RawHeater, known: Known) -> Result<Heater, String> {
    let origin = origin(raw.confidence, &raw.source, known)?;
    let (ends, parallel) = match (raw.volts, raw.amps, raw.series, raw.parallel) {
        (Some(volts), Some(amps), None, None) => (HeaterWay { volts, amps }, None),
        (None, None, Some(series), Some(parallel)) => (series, Some(parallel)),
        _ => return Err("a heater has `volts` and `amps`, or both `series` and `parallel`".into()),
    };
    if [Some(ends), parallel]
        .into_iter()
        .flatten()
        .any(|way| !(positive(way.volts) && positive(way.amps)))
    {
        return Err("heater volts and amperes must be above 0".into());
    }
    Ok(Heater {
        ends,
        parallel,
        origin,
    })
}

pub(super) fn positive(x: f64) -> bool {
    x.is_finite() && x > 0.0
}

pub(super) fn number(value: &toml::Value) -> Option<f64> {
    match value {
        toml::Value::Integer(i) => Some(*i as f64),
        toml::Value::Float(f) if f.is_finite() => Some(*f),
        _ => None,
    }
}

pub(super) fn read_limits(table: toml::Table, known: Known) -> Result<LimitSet, String> {
    let word = |key: &str| table.get(key).and_then(toml::Value::as_str);
    let system = match word("system") {
        Some("design-centre") => RatingSystem::DesignCentre,
        Some("design-maximum") => RatingSystem::DesignMaximum,
        Some("absolute") => RatingSystem::Absolute,
        _ => return Err("limits need `system`: design-centre, design-maximum or absolute".into()),
    };
    let confidence = match word("confidence") {
        Some("high") => Confidence::High,
        Some("medium") => Confidence::Medium,
        Some("low") => Confidence::Low,
        _ => return Err("limits need `confidence`: high, medium or low".into()),
    };
    let origin = origin(
        confidence,
        word("source").ok_or("limits need a `source`")?,
        known,
    )?;
    let mut set = LimitSet {
        system,
        section: word("section").and_then(|s| s.chars().next()),
        values: Vec::new(),
        source_ohms_at: Vec::new(),
        output_amps_at: Vec::new(),
        note: word("note").map(str::to_owned),
        origin,
    };
    for (key, value) in &table {
        match key.as_str() {
            "system" | "section" | "confidence" | "source" | "note" => {}
            "source_ohms_at" => set.source_ohms_at = pairs(key, value, 1.0)?,
            "output_ma_at" => set.output_amps_at = pairs(key, value, 1e-3)?,
            _ => {
                let (quantity, _, factor) = LimitQuantity::ALL
                    .into_iter()
                    .find(|(_, name, _)| name == key)
                    .ok_or_else(|| format!("`{key}` is no limit"))?;
                let value = number(value)
                    .filter(|v| {
                        *v > 0.0 || (*v == 0.0 && quantity == LimitQuantity::GridPositiveVolts)
                    })
                    .ok_or_else(|| format!("the limit `{key}` must be a number above 0"))?;
                set.values.push((quantity, value * factor));
            }
        }
    }
    set.values.sort_by_key(|(quantity, _)| *quantity);
    Ok(set)
}

pub(super) fn pairs(
    key: &str,
    value: &toml::Value,
    factor: f64,
) -> Result<Vec<(f64, f64)>, String> {
    let wrong = || format!("`{key}` is a list of pairs, `[[300, 75], [350, 100]]`, volts rising");
    let mut list = Vec::new();
    for pair in value.as_array().ok_or_else(wrong)? {
        match pair.as_array().map(Vec::as_slice) {
            Some([volts, figure]) => {
                let volts = number(volts).filter(|v| *v > 0.0).ok_or_else(wrong)?;
                let figure = number(figure).filter(|v| *v > 0.0).ok_or_else(wrong)?;
                list.push((volts, figure * factor));
            }
            _ => return Err(wrong()),
        }
    }
    if list.windows(2).any(|w| matches!(w, [a, b] if a.0 >= b.0)) {
        return Err(wrong());
    }
    Ok(list)
}

pub(super) fn read_capacitances(
    raw: &RawCapacitances,
    known: Known,
) -> Result<Capacitances, String> {
    let farads = |pico: f64| pico * 1e-12;
    Ok(Capacitances {
        section: raw.section,
        grid_plate: raw.grid_plate.or(raw.grid_plate_most).map(farads),
        grid_plate_is_most: raw.grid_plate.is_none() && raw.grid_plate_most.is_some(),
        grid_cathode: raw.grid_cathode.map(farads),
        plate_cathode: raw.plate_cathode.map(farads),
        origin: origin(raw.confidence, &raw.source, known)?,
    })
}

pub(super) fn read_static(raw: RawStatic, known: Known) -> Result<StaticRow, String> {
    if raw.grid.is_some() == raw.cathode_ohms.is_some() {
        return Err("a static row has `grid` volts or `cathode_ohms`, one of the two".into());
    }
    if raw.plate_ma.is_none() && raw.cathode_ma.is_none() {
        return Err("a static row needs a current: `plate_ma` or `cathode_ma`".into());
    }
    Ok(StaticRow {
        section: raw.section,
        triode_connected: raw.triode_connected,
        plate: raw.plate,
        screen: raw.screen,
        grid: raw.grid,
        cathode_ohms: raw.cathode_ohms,
        plate_amps: raw.plate_ma.map(|x| x * 1e-3),
        screen_amps: raw.screen_ma.map(|x| x * 1e-3),
        cathode_amps: raw.cathode_ma.map(|x| x * 1e-3),
        gm: raw.gm_us.map(|x| x * 1e-6),
        plate_ohms: raw.rp,
        plate_ohms_least: raw.rp_least,
        mu: raw.mu,
        mu_screen: raw.mu_screen,
        uncertainty: raw.error_percent.map(|x| x * 1e-2),
        note: raw.note,
        accept: Accept {
            plate: raw.accept.plate,
            screen: raw.accept.screen,
            gm: raw.accept.gm,
            rp: raw.accept.rp,
            mu: raw.accept.mu,
            why: raw.accept.why,
        },
        not_gated: raw.not_gated,
        origin: origin(raw.confidence, &raw.source, known)?,
    })
}

pub(super) fn read_stage(raw: RawStage, known: Known) -> Result<StageRow, String> {
    let milli = |x: Option<f64>| x.map(|x| x * 1e-3);
    Ok(StageRow {
        usage: raw.r#use,
        class: raw.class,
        supply: raw.supply,
        screen_supply: raw.screen_supply,
        plate: raw.plate,
        screen: raw.screen,
        grid: raw.grid,
        cathode_ohms: raw.cathode_ohms,
        cathode_ohms_each: raw.cathode_ohms_each,
        cathode_bypassed: raw.cathode_bypassed,
        screen_ohms: raw.screen_ohms,
        plate_ohms: raw.plate_ohms,
        next_grid_ohms: raw.next_grid_ohms,
        load_ohms: raw.load_ohms,
        drive_peak: raw.drive_peak,
        drive_peak_pair: raw.drive_peak_pair,
        drive_rms: raw.drive_rms,
        plate_amps: milli(raw.plate_ma),
        plate_amps_full: milli(raw.plate_ma_full),
        screen_amps: milli(raw.screen_ma),
        screen_amps_full: milli(raw.screen_ma_full),
        cathode_amps: milli(raw.cathode_ma),
        gain: raw.gain,
        output_rms: raw.output_rms,
        distortion: raw.distortion_percent.map(|x| x / 100.0),
        watts: raw.watts,
        grid_drive_watts: milli(raw.grid_drive_mw),
        note: raw.note,
        origin: origin(raw.confidence, &raw.source, known)?,
    })
}
