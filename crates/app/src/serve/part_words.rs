//! A part in words: what is marked on it, what was read, what it is there for.

use wiring::circuit::{DiodeSort, Kind, LampSort, Make, MeasuredValue, Taper};
use wiring::roles::Anatomy;
use wiring::sheet::Library;
use wiring::units::{Quantity, rounded};
use wiring::{Circuit, Part, PartId};

/// How the bench wants values and types written.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) struct Manner {
    /// `MFD` instead of `µF`.
    pub(crate) mfd: bool,
    /// European valve names where the sheet has one.
    pub(crate) european: bool,
}

/// What is marked: `22 nF 400V paper`.
pub(crate) fn marked(part: &Part, library: &Library, manner: Manner) -> String {
    let (value, rest) = match &part.kind {
        Kind::Resistor { ohms } => (ohms.map(|v| rounded(v, Quantity::Ohms, 3)), String::new()),
        Kind::Capacitor { farads, .. } => (farads.map(|v| capacity(v, manner)), String::new()),
        Kind::Choke { henries, .. } => (
            henries.map(|v| rounded(v, Quantity::Henries, 3)),
            String::new(),
        ),
        Kind::Pot { ohms, taper, .. } => (
            ohms.map(|v| rounded(v, Quantity::Ohms, 3)),
            match taper {
                Taper::Linear => "linear",
                Taper::Audio(_) => "audio",
                Taper::Reverse(_) => "reverse",
                Taper::Measured(_) => "measured track",
            }
            .to_owned(),
        ),
        Kind::Valve(v) => {
            let meant = valve_name(&v.meant, library, manner);
            let other = v
                .fitted
                .as_deref()
                .map(|f| format!("in it: {}", valve_name(f, library, manner)));
            (Some(meant), other.unwrap_or_default())
        }
        Kind::Fuse { amps, slow } => (
            amps.map(|v| rounded(v, Quantity::Amps, 3)),
            if *slow { "slow" } else { "" }.to_owned(),
        ),
        Kind::Diode { sort } => (
            Some(
                match sort {
                    DiodeSort::Silicon(_) => "silicon",
                    DiodeSort::Selenium => "selenium",
                    DiodeSort::Zener(_) => "zener",
                    DiodeSort::Ideal => "ideal",
                }
                .to_owned(),
            ),
            String::new(),
        ),
        Kind::Lamp { sort } => (
            Some(
                match sort {
                    LampSort::Neon => "neon",
                    LampSort::Filament(..) => "filament",
                }
                .to_owned(),
            ),
            String::new(),
        ),
        Kind::Speaker { ohms } => (ohms.map(|v| format!("{v} Ω")), String::new()),
        Kind::OutputTransformer(t) => (
            t.primary_impedance.map(|z| {
                let taps: Vec<String> = t.taps.iter().map(|(_, z)| z.to_string()).collect();
                format!("{}:{}", rounded(z, Quantity::Ohms, 3), taps.join("/"))
            }),
            "output".to_owned(),
        ),
        Kind::PowerTransformer(_) => (None, "mains transformer".to_owned()),
        Kind::CouplingTransformer(_) => (None, "transformer".to_owned()),
        Kind::Bridge => (None, "bridge".to_owned()),
        Kind::Switch { throws, .. } => (
            None,
            if *throws > 1 {
                "switch"
            } else {
                "on-off switch"
            }
            .to_owned(),
        ),
        Kind::Jack { phono, .. } => (None, if *phono { "phono" } else { "jack" }.to_owned()),
        Kind::Tank { .. } => (None, "spring tank".to_owned()),
        Kind::Cell { .. } => (None, "photo-resistor".to_owned()),
        Kind::Box { label } => (None, label.clone()),
        Kind::Supply { .. } | Kind::Generator { .. } | Kind::Gain { .. } | Kind::Unknown => {
            (None, String::new())
        }
    };
    let mut words: Vec<String> = value.into_iter().collect();
    words.push(rest);
    let known = &part.known;
    words.extend(known.watts.map(|w| format!("{w}W")));
    words.extend(known.volts.map(|v| format!("{v}V")));
    words.extend(known.make.map(|m| make(m).to_owned()));
    words.retain(|w| !w.is_empty());
    words.join(" ")
}

/// A capacitor's value in the bench's manner.
fn capacity(farads: f64, manner: Manner) -> String {
    if manner.mfd && farads >= 1e-9 {
        let text = format!("{:.6}", farads * 1e6);
        return format!("{} MFD", text.trim_end_matches('0').trim_end_matches('.'));
    }
    rounded(farads, Quantity::Farads, 3)
}

/// A valve's name in the bench's manner, where its sheet has such a name.
pub(crate) fn valve_name(name: &str, library: &Library, manner: Manner) -> String {
    // European receiving types have two to four letters in front: ECC83, EL84, GZ34
    let european = |n: &str| {
        let letters = n.chars().take_while(char::is_ascii_uppercase).count();
        (2..=4).contains(&letters) && n.chars().skip(letters).all(|c| c.is_ascii_digit())
    };
    let Some(sheet) = library.find(name) else {
        return name.to_owned();
    };
    if european(name) == manner.european {
        return name.to_owned();
    }
    std::iter::once(&sheet.name)
        .chain(&sheet.aliases)
        .find(|n| european(n) == manner.european)
        .map_or_else(|| name.to_owned(), Clone::clone)
}

fn make(make: Make) -> &'static str {
    match make {
        Make::Carbon => "carbon",
        Make::Film => "film",
        Make::Wirewound => "wirewound",
        Make::Paper => "paper",
        Make::Ceramic => "ceramic",
        Make::Mica => "mica",
        Make::Electrolytic => "electrolytic",
    }
}

/// What was read on the part itself: the words, and how far off the marking it is.
pub(crate) fn read(part: &Part, manner: Manner) -> (String, String) {
    let known = &part.known;
    let quantity = match part.kind {
        Kind::Capacitor { .. } => Quantity::Farads,
        Kind::Choke { .. } => Quantity::Henries,
        _ => Quantity::Ohms,
    };
    let marked = match part.kind {
        Kind::Resistor { ohms } | Kind::Pot { ohms, .. } => ohms,
        Kind::Capacitor { farads, .. } => farads,
        Kind::Choke { henries, .. } => henries,
        _ => None,
    };
    let mut words = Vec::new();
    let mut off = String::new();
    if let Some(m) = known.reading {
        words.push(match m.value {
            MeasuredValue::Is(v) if quantity == Quantity::Farads => capacity(v, manner),
            MeasuredValue::Is(v) => rounded(v, quantity, 4),
            MeasuredValue::Open => "open".to_owned(),
            MeasuredValue::Short => "short".to_owned(),
        });
        if m.in_circuit {
            words.push("in circuit".to_owned());
        }
        if let (MeasuredValue::Is(v), Some(marked)) = (m.value, marked)
            && marked > 0.0
        {
            off = format!("{:+.0} %", (v / marked - 1.0) * 100.0).replace('-', "\u{2212}");
        }
    }
    if let Some(ohms) = known.leak_ohms {
        words.push(format!("leaks {}", rounded(ohms, Quantity::Ohms, 3)));
    }
    if let Some(ohms) = known.esr_ohms {
        words.push(format!("ESR {}", rounded(ohms, Quantity::Ohms, 3)));
    }
    (words.join(", "), off)
}

/// What a part is there for: `V1a: plate load`, each role once.
pub(crate) fn roles(circuit: &Circuit, anatomy: &Anatomy, id: PartId) -> String {
    let mut words: Vec<String> = Vec::new();
    for role in anatomy.roles.get(id.0).into_iter().flatten() {
        let block = anatomy.blocks.get(role.block.0);
        let valves: Vec<String> = block
            .map(|b| &b.sections)
            .into_iter()
            .flatten()
            .filter_map(|s| {
                let mut name = circuit.parts.get(s.part.0)?.name.clone();
                name.extend(s.section);
                Some(name)
            })
            .collect();
        let text = if valves.is_empty()
            || circuit
                .parts
                .get(id.0)
                .is_some_and(|p| matches!(p.kind, Kind::Valve(_)))
        {
            match block {
                Some(b) if role.role == wiring::roles::Role::Valve => b.kind.words().to_owned(),
                _ => role.role.words().to_owned(),
            }
        } else {
            format!("{}: {}", valves.join(" "), role.role.words())
        };
        if !words.contains(&text) {
            words.push(text);
        }
    }
    words.join("; ")
}

/// The places of a sheet are points and parts, and names by which a question is kept: those say nothing to a reader.
pub(crate) fn is_place(point: &str) -> bool {
    point.contains(" to ") || point.starts_with(|c: char| c.is_ascii_uppercase())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_in_words() {
        let library = Library::built_in();
        let text = "V1 12AX7\nR4 100k 0.5W carbon = 118k\nC3 22n 400V paper = 25n leak 20M\nVOLUME pot 1M audio\n";
        let circuit = wiring::read_one(text).circuit;
        let part = |name: &str| circuit.parts.iter().find(|p| p.name == name).unwrap();
        let plain = Manner::default();
        assert_eq!(marked(part("R4"), library, plain), "100k 0.5W carbon");
        assert_eq!(read(part("R4"), plain), ("118k".into(), "+18 %".into()));
        assert_eq!(marked(part("C3"), library, plain), "22 nF 400V paper");
        assert_eq!(read(part("C3"), plain).0, "25 nF, leaks 20M");
        let old = Manner {
            mfd: true,
            european: true,
        };
        assert_eq!(marked(part("C3"), library, old), "0.022 MFD 400V paper");
        assert_eq!(marked(part("V1"), library, old), "ECC83");
        assert_eq!(valve_name("ECC83", library, plain), "12AX7");
        assert_eq!(valve_name("no such type", library, old), "no such type");
        assert_eq!(marked(part("VOLUME"), library, plain), "1M audio");
    }
}
