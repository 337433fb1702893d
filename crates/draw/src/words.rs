//! What is written beside a part: its value in trade notation, and what it can stand.

use wiring::circuit::{Kind, LampSort, Make, Part, Taper};
use wiring::units::{Quantity, notation};

/// Lines under the designator.
#[must_use]
pub(crate) fn value(part: &Part) -> Vec<String> {
    let mut out = Vec::new();
    let known = &part.known;
    match &part.kind {
        Kind::Resistor { ohms } => {
            out.extend(ohms.map(ohms_text));
            if let Some(w) = known.watts.filter(|w| *w >= 1.0) {
                // `1 1 W` would be read as eleven watts.
                if let Some(bare) = out.last_mut()
                    && bare.chars().all(|c| c.is_ascii_digit())
                {
                    bare.push_str(" ohm");
                }
                append(&mut out, &format!("{} W", plain(w)));
            }
        }
        Kind::Capacitor { farads, plus_first } => {
            out.extend(farads.map(farads_text));
            if let Some(v) = known.volts
                && (plus_first.is_some() || known.make == Some(Make::Electrolytic))
            {
                append(&mut out, &format!("{} V", plain(v)));
            }
        }
        Kind::Choke { henries, ohms } => {
            if let Some(h) = henries {
                out.push(format!("{} H", plain(*h)));
            } else if let Some(o) = ohms {
                out.push(ohms_text(*o));
            }
        }
        Kind::Diode { sort } => match sort {
            wiring::circuit::DiodeSort::Zener(v) => out.push(format!("{} V", plain(*v))),
            wiring::circuit::DiodeSort::Selenium => out.push("selenium".to_owned()),
            wiring::circuit::DiodeSort::Silicon(Some(v)) => out.push(format!("{} V", plain(*v))),
            _ => {}
        },
        Kind::Lamp {
            sort: LampSort::Filament(volts, _),
        } => out.extend(volts.map(|v| format!("{} V", plain(v)))),
        Kind::Lamp { .. } => out.push("neon".to_owned()),
        Kind::Cell { lamp, .. } => out.push(format!("lit by {lamp}")),
        Kind::Fuse {
            amps: Some(a),
            slow,
        } => {
            let text = if *a < 1.0 {
                format!("{} mA", plain(a * 1000.0))
            } else {
                format!("{} A", plain(*a))
            };
            out.push(if *slow { format!("{text} slow") } else { text });
        }
        Kind::Pot { ohms, taper, .. } => {
            let word = match taper {
                Taper::Linear => "lin",
                Taper::Audio(_) => "audio",
                Taper::Reverse(_) => "reverse",
                Taper::Measured(_) => "measured",
            };
            out.push(match ohms {
                Some(o) => format!("{} {word}", ohms_text(*o)),
                None => word.to_owned(),
            });
        }
        Kind::Jack { .. } => {
            if let Some(note) = known.notes.first().filter(|n| n.chars().count() <= 18) {
                out.push(note.clone());
            }
        }
        Kind::Valve(v) => out.push(v.type_in_socket().to_owned()),
        Kind::OutputTransformer(t) => {
            if let Some(z) = t.primary_impedance {
                let taps: Vec<String> = t.taps.iter().map(|t| plain(t.1)).collect();
                out.push(format!("{}:{}", ohms_text(z), taps.join("/")));
            }
        }
        Kind::Tank {
            seconds: Some(s), ..
        } => out.push(format!("{} ms", plain(s * 1000.0))),
        Kind::Speaker { ohms } => out.extend(ohms.map(|o| format!("{} ohm", plain(o)))),
        Kind::Supply { volts, .. } => out.extend(volts.map(|v| format!("{} V", plain(v)))),
        Kind::Generator { volts, .. } => out.extend(volts.map(|v| format!("{} V", plain(v)))),
        Kind::Gain { gain } => out.push(format!("× {}", plain(*gain))),
        Kind::Box { label } => out.push(label.clone()),
        Kind::Unknown => out.push("?".to_owned()),
        _ => {}
    }
    for line in &mut out {
        *line = shorten(line, 24);
    }
    out
}

/// A label that is much too long is cut; the whole of it stays in the picture's title text.
pub(crate) fn shorten(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    let mut cut: String = text.chars().take(most - 1).collect();
    cut.push('.');
    cut
}

fn append(out: &mut Vec<String>, more: &str) {
    match out.last_mut() {
        Some(last) => {
            last.push(' ');
            last.push_str(more);
        }
        None => out.push(more.to_owned()),
    }
}

/// A number without needless digits.
pub(crate) fn plain(v: f64) -> String {
    if !v.is_finite() {
        return "?".to_owned();
    }
    let text = format!("{v:.3}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text.is_empty() {
        "0".to_owned()
    } else {
        text.to_owned()
    }
}

fn ohms_text(ohms: f64) -> String {
    notation(ohms, Quantity::Ohms)
}

fn farads_text(farads: f64) -> String {
    notation(farads, Quantity::Farads)
}

/// What a mains transformer's winding gives, by the name of one of its terminals (`T1.hv1`).
pub(crate) fn winding(part: &Part, terminal: &str) -> Option<String> {
    let Kind::PowerTransformer(t) = &part.kind else {
        return None;
    };
    let (_, name) = terminal.split_once('.')?;
    let index = part.terminals.iter().position(|x| x.name == name)?;
    let w = t
        .windings
        .iter()
        .find(|w| w.taps.iter().any(|(i, _)| *i == index))?;
    let mut volts: Vec<f64> = w.taps.iter().map(|x| x.1).collect();
    volts.sort_by(f64::total_cmp);
    let (low, high) = (volts.first()?, volts.last()?);
    Some(if *low < 0.0 {
        format!("{}-0-{} V", plain(-low), plain(*high))
    } else {
        format!("{} V", plain(high - low))
    })
}
