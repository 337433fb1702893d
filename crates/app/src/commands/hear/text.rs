//! What `hear` prints.

use super::measure::Measured;
use crate::arguments::{Hear as Given, Played};
use crate::table::{Side, Table, paragraph};
use sound::decibels;
use sound::hum::{Cause, Hum};
use std::f64::consts::SQRT_2;

/// The whole text.
pub(crate) fn text(given: &Given, now: &Measured, before: Option<&Measured>) -> String {
    let mut out = String::new();
    out.push_str(&conditions(given, now));
    for note in &now.notes {
        out.push_str(&paragraph(note, ""));
    }
    for missing in &now.missing {
        out.push_str(&paragraph(missing, ""));
    }
    if now.unusable() {
        return out;
    }
    if let Some(hum) = &now.hum {
        out.push_str(&hum_text(given, hum));
    }
    if let Some(clicks) = &now.clicks {
        out.push_str(&clicks_text(clicks, now.seconds));
    }
    out.push_str(&swept_text(now));
    out.push_str(&steps_text(given, now));
    if let Some(t) = &now.tremolo {
        out.push_str("\nTremolo\n");
        let mut lines = vec![
            format!(
                "Rate {:.3} Hz, plus or minus {:.3}; it changes by {:+.1} % a minute.",
                t.hertz, t.hertz_uncertainty, t.drift_percent
            ),
            format!(
                "Depth {:.1} %, plus or minus 1, up to 4 low where it has a sharp peak (highest less lowest, over their sum): {} down.",
                t.depth_percent,
                if t.down_db > 60.0 {
                    "more than 60 dB".to_owned()
                } else {
                    format!("{:.1} dB", t.down_db)
                }
            ),
            format!(
                "Shape: second harmonic {:.0} %, third {:.0} % of the swing (a sine has none); it rises for {:.0} % of the time.",
                t.shape_percent[0], t.shape_percent[1], t.rising_percent
            ),
        ];
        lines.push(format!("Heard on a tone of {:.1} Hz.", t.tone));
        for line in lines {
            out.push_str(&paragraph(&line, ""));
        }
    }
    if let Some(m) = &now.modulation {
        out.push_str("\nModulation distortion\n");
        out.push_str(&paragraph(
            &format!(
                "{:.0} Hz makes {:.0} Hz swing: second order {:.3} %, third order {:.3} %; noise alone would show {:.4} %.",
                m.hertz[0], m.hertz[1], m.percent[0], m.percent[1], m.floor_percent
            ),
            "",
        ));
    }
    if given.played == Some(Played::String) {
        out.push_str(&paragraph(
            "A string is for listening: only its level is measured.",
            "",
        ));
    }
    if let Some(before) = before {
        out.push_str(&compared(now, before));
    }
    out
}

/// What was measured, and how.
fn conditions(given: &Given, m: &Measured) -> String {
    let bits = m.bits.map_or_else(String::new, |b| format!(", {b} bits"));
    let of = if m.levels.len() > 1 {
        format!(", channel {} of {}", m.channel, m.levels.len())
    } else {
        String::new()
    };
    let mut out = paragraph(
        &format!(
            "{}: {}, {:.1} s, {:.0} Hz{bits}{of}.",
            m.name, m.format, m.seconds, m.rate
        ),
        "",
    );
    if let Some(level) = m.level() {
        let mut text = format!(
            "Peak {}, r.m.s. {} against a sine of full scale.",
            db(level.peak),
            db(level.rms * SQRT_2)
        );
        if let Some(full) = given.full_scale {
            text.push_str(&format!(
                " Full scale stands for {full} V peak at the load, as stated, to {} %; r.m.s. {}.",
                given.calibrated_to,
                volts(level.rms * full)
            ));
        } else {
            text.push_str(" Without `--full-scale` there are no volts and no watts.");
        }
        out.push_str(&paragraph(&text, ""));
    }
    if m.levels.len() > 1 {
        let others: Vec<String> = m
            .levels
            .iter()
            .enumerate()
            .filter(|(i, _)| i + 1 != m.channel)
            .map(|(i, l)| {
                if l.silent() {
                    format!("channel {} is silent", i + 1)
                } else {
                    format!("channel {} stands at {}", i + 1, db(l.rms * SQRT_2))
                }
            })
            .collect();
        out.push_str(&paragraph(
            &format!("The other: {}.", others.join(", ")),
            "",
        ));
    }
    out
}

/// A level in decibels.
fn db(x: f64) -> String {
    let level = decibels(x);
    if level < -200.0 {
        "nothing".to_owned()
    } else {
        format!("{level:.1} dB")
    }
}

/// Volts with a fitting unit.
fn volts(v: f64) -> String {
    if v >= 1.0 {
        format!("{v:.2} V")
    } else {
        format!("{:.3} mV", v * 1000.0)
    }
}

/// What makes a line, in words.
pub(crate) fn cause(cause: Cause) -> &'static str {
    match cause {
        Cause::Heater => {
            "mains frequency alone: heater wiring, a leak from heater to cathode, or a transformer's field"
        }
        Cause::HalfWave => {
            "mains frequency with all harmonics falling: ripple of a half-wave supply, as for bias"
        }
        Cause::FullWave => {
            "twice the mains with even harmonics: ripple of the full-wave high tension"
        }
        Cause::Buzz => {
            "many high harmonics: a rectifier's switching, an earth loop or a poor ground"
        }
    }
}

fn hum_text(given: &Given, hum: &Hum) -> String {
    let mut out = String::from("\nHum and noise\n");
    let calibrated = |rms: f64| {
        given
            .full_scale
            .map_or_else(String::new, |full| format!(" = {}", volts(rms * full)))
    };
    match hum.mains {
        Some((hertz, doubt)) => {
            out.push_str(&paragraph(
                &format!("Mains found: {hertz:.3} Hz, plus or minus {doubt:.3}."),
                "",
            ));
            let mut table = Table::new()
                .column("line", Side::Right)
                .column("Hz", Side::Right)
                .column("dB", Side::Right)
                .column("+-", Side::Right)
                .column("degrees", Side::Right)
                .column("r.m.s.", Side::Right);
            for l in &hum.lines {
                table.row([
                    l.order.to_string(),
                    format!("{:.1}", l.hertz),
                    format!("{:.1}", decibels(l.amplitude)),
                    format!("{:.1}", l.uncertainty),
                    format!("{:.0}", l.degrees.round() + 0.0),
                    given
                        .full_scale
                        .map_or_else(String::new, |full| volts(l.amplitude / SQRT_2 * full)),
                ]);
            }
            out.push_str(&table.without_empty_columns().render());
            for (c, orders) in &hum.causes {
                let orders: Vec<String> = orders.iter().map(u32::to_string).collect();
                out.push_str(&paragraph(
                    &format!("Likely, from lines {}: {}.", orders.join(", "), cause(*c)),
                    "",
                ));
            }
            out.push_str(&paragraph(
                "(Causes by their pattern: common practice, no source.)",
                "",
            ));
            out.push_str(&paragraph(
                &format!(
                    "All lines together: {}{}.",
                    db(hum.rms * SQRT_2),
                    calibrated(hum.rms)
                ),
                "",
            ));
        }
        None => out.push_str(&paragraph(
            "No line of the mains stands out of the noise.",
            "",
        )),
    }
    for (what, rms) in [
        ("Noise without the lines", hum.noise),
        ("Noise without the lines, A-weighted", hum.noise_a),
        ("Hum and noise, A-weighted", hum.total_a),
    ] {
        out.push_str(&paragraph(
            &format!(
                "{what}: {}{}, plus or minus {:.1} dB.",
                db(rms * SQRT_2),
                calibrated(rms),
                hum.noise_uncertainty.max(0.1)
            ),
            "",
        ));
    }
    if hum.noise_uncertainty > 1.0 {
        out.push_str(&paragraph(
            "A tone or a note sounds in it: these are not figures of noise alone.",
            "",
        ));
    }
    out.push_str(&paragraph(
        &format!(
            "Band 20 Hz to {:.0} Hz, {:.1} s used; the recorder's own noise is in it.",
            hum.band_to, hum.seconds
        ),
        "",
    ));
    out
}

fn clicks_text(clicks: &[sound::level::Click], seconds: f64) -> String {
    let mut out = String::from("\nCrackle and pops\n");
    if clicks.is_empty() {
        out.push_str(&paragraph("None.", ""));
        return out;
    }
    let long = clicks.iter().filter(|c| c.length > 0.003).count();
    out.push_str(&paragraph(
        &format!(
            "{} in {seconds:.1} s ({:.1} a minute): {} short, {long} longer than 3 ms. First at {}.",
            clicks.len(),
            clicks.len() as f64 / seconds * 60.0,
            clicks.len() - long,
            clicks.iter().take(5).map(|c| format!("{:.2} s", c.seconds)).collect::<Vec<_>>().join(", ")
        ),
        "",
    ));
    out.push_str(&paragraph(
        "They stand out of the steady background by eight times its usual error of prediction.",
        "",
    ));
    out
}

/// A harmonic: its decibels, or that noise covers it.
fn harmonic(of: Option<&Option<(f64, f64)>>) -> String {
    match of {
        Some(Some((db, floor))) if *db > floor + 6.0 => format!("{db:.1}"),
        Some(Some((_, floor))) => format!("<{:.0}", floor + 6.0),
        _ => String::new(),
    }
}

fn swept_text(m: &Measured) -> String {
    let Some(swept) = &m.swept else {
        return String::new();
    };
    let mut out = String::from("\nFrequency response and harmonic distortion\n");
    let reference = swept
        .points
        .iter()
        .find(|p| (p.hertz - 1000.0).abs() < 1.0)
        .map(|p| p.db);
    let mut table = Table::new()
        .column("Hz", Side::Right)
        .column("dB", Side::Right)
        .column("+-", Side::Right)
        .column("2nd, dB", Side::Right)
        .column("3rd, dB", Side::Right)
        .column("4th, dB", Side::Right)
        .column("5th, dB", Side::Right)
        .column("THD, %", Side::Right);
    for p in &swept.points {
        let covered = p
            .harmonics
            .iter()
            .flatten()
            .all(|(db, floor)| *db < floor + 6.0);
        table.row([
            format!("{:.0}", p.hertz),
            format!("{:+.2}", p.db - reference.unwrap_or(0.0)),
            format!("{:.2}", p.uncertainty),
            harmonic(p.harmonics.first()),
            harmonic(p.harmonics.get(1)),
            harmonic(p.harmonics.get(2)),
            harmonic(p.harmonics.get(3)),
            p.thd_percent
                .filter(|_| !covered)
                .map_or_else(String::new, |t| {
                    if t >= 0.1 {
                        format!("{t:.2}")
                    } else {
                        format!("{t:.4}")
                    }
                }),
        ]);
    }
    out.push_str(&table.render());
    out.push_str(&paragraph(
        &format!(
            "dB against 1 kHz{}; harmonics against the fundamental of the same row, `<` where noise covers them. The sweep \
             begins at {:.2} s. Player, recorder and microphone are in the response: a recording of the sweep straight \
             from player to recorder shows their part.",
            reference.map_or_else(String::new, |r| format!(", which stands {r:.2} dB from full scale")),
            swept.begins
        ),
        "",
    ));
    out
}

fn steps_text(given: &Given, m: &Measured) -> String {
    if m.steps.is_empty() {
        return String::new();
    }
    let mut out = String::from("\nDistortion and output against level\n");
    let mut table = Table::new()
        .column("Hz", Side::Right)
        .column("played, dB", Side::Right)
        .column("back, dB", Side::Right)
        .column("2nd, dB", Side::Right)
        .column("3rd, dB", Side::Right)
        .column("THD, %", Side::Right)
        .column("+-, dB", Side::Right)
        .column("W", Side::Right);
    for s in &m.steps {
        table.row([
            format!("{:.0}", s.hertz),
            format!("{:.0}", s.played),
            format!("{:.2}", decibels(s.amplitude)),
            harmonic(s.harmonics.first()),
            harmonic(s.harmonics.get(1)),
            if s.thd_percent >= 0.1 {
                format!("{:.2}", s.thd_percent)
            } else {
                format!("{:.4}", s.thd_percent)
            },
            format!("{:.1}", s.thd_uncertainty.min(99.0)),
            watts(given, s).map_or_else(String::new, |w| {
                if w >= 0.1 {
                    format!("{w:.2}")
                } else {
                    format!("{w:.4}")
                }
            }),
        ]);
    }
    out.push_str(&table.without_empty_columns().render());
    if let (Some(load), Some(_)) = (given.load, given.full_scale) {
        out.push_str(&paragraph(
            &format!("Output power of the fundamental in {load} ohms, plus or minus {:.0} % from the calibration.", 2.0 * given.calibrated_to),
            "",
        ));
    } else if given.played == Some(Played::Steps) {
        out.push_str(&paragraph(
            "For watts: `--full-scale VOLTS --load OHMS`.",
            "",
        ));
    }
    out
}

/// Watts of a step's fundamental in the stated load.
pub(crate) fn watts(given: &Given, step: &sound::steps::Step) -> Option<f64> {
    let volts = step.amplitude * given.full_scale? / SQRT_2;
    Some(volts * volts / given.load?)
}

/// Now beside before.
fn compared(now: &Measured, before: &Measured) -> String {
    let mut out = String::from("\nAgainst before\n");
    out.push_str(&paragraph(
        &format!(
            "{}: {:.1} s, {:.0} Hz.",
            before.name, before.seconds, before.rate
        ),
        "",
    ));
    for missing in &before.missing {
        out.push_str(&paragraph(missing, ""));
    }
    let mut table = Table::new()
        .wrapping("what", 20)
        .column("before", Side::Right)
        .column("now", Side::Right)
        .column("change", Side::Right);
    for (what, was, is, unit) in changes(now, before) {
        let figure = |x: f64| format!("{x:.1} {unit}");
        table.row([
            what,
            figure(was),
            figure(is),
            format!("{:+.1} {unit}", is - was),
        ]);
    }
    out.push_str(&table.render());
    out.push_str(&paragraph(
        "Levels compare only when the recorder's level and the knobs stood alike.",
        "",
    ));
    out
}

/// What both recordings have: name, before, now, unit.
pub(crate) fn changes(now: &Measured, before: &Measured) -> Vec<(String, f64, f64, &'static str)> {
    let mut all = Vec::new();
    if let (Some(a), Some(b)) = (before.level(), now.level()) {
        all.push((
            "level, r.m.s.".to_owned(),
            decibels(a.rms * SQRT_2),
            decibels(b.rms * SQRT_2),
            "dB",
        ));
    }
    if let (Some(a), Some(b)) = (&before.hum, &now.hum) {
        for l in &b.lines {
            if let Some(was) = a.lines.iter().find(|x| x.order == l.order) {
                all.push((
                    format!("hum line {}", l.order),
                    decibels(was.amplitude),
                    decibels(l.amplitude),
                    "dB",
                ));
            }
        }
        all.push((
            "all hum lines".to_owned(),
            decibels(a.rms * SQRT_2),
            decibels(b.rms * SQRT_2),
            "dB",
        ));
        all.push((
            "noise".to_owned(),
            decibels(a.noise * SQRT_2),
            decibels(b.noise * SQRT_2),
            "dB",
        ));
        all.push((
            "noise, A-weighted".to_owned(),
            decibels(a.noise_a * SQRT_2),
            decibels(b.noise_a * SQRT_2),
            "dB",
        ));
    }
    if let (Some(a), Some(b)) = (&before.swept, &now.swept) {
        for p in &b.points {
            if let Some(was) = a
                .points
                .iter()
                .find(|x| (x.hertz / p.hertz - 1.0).abs() < 1e-6)
            {
                all.push((format!("response at {:.0} Hz", p.hertz), was.db, p.db, "dB"));
            }
        }
    }
    for s in &now.steps {
        if let Some(was) = before
            .steps
            .iter()
            .find(|x| x.played == s.played && (x.hertz / s.hertz - 1.0).abs() < 0.01)
        {
            all.push((
                format!("{:.0} Hz at {:.0} dB", s.hertz, s.played),
                decibels(was.amplitude),
                decibels(s.amplitude),
                "dB",
            ));
        }
    }
    if let (Some(a), Some(b)) = (&before.tremolo, &now.tremolo) {
        all.push(("tremolo rate".to_owned(), a.hertz, b.hertz, "Hz"));
        all.push((
            "tremolo depth".to_owned(),
            a.depth_percent,
            b.depth_percent,
            "%",
        ));
    }
    all
}
