//! Names: classes of parts, reserved words, and what a name may look like.
//!
//! Class letters after IEEE 315 (from memory of the standard, not seen).

/// Classes whose letters with a number name a part without a word on its kind.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) enum Class {
    Resistor,
    Capacitor,
    Choke,
    Diode,
    Lamp,
    Fuse,
    Switch,
    Jack,
    Valve,
    Transformer,
    Tank,
    Speaker,
}

impl Class {
    fn from_letters(letters: &str) -> Option<Self> {
        Some(match letters {
            "R" => Self::Resistor,
            "C" => Self::Capacitor,
            "L" => Self::Choke,
            "D" => Self::Diode,
            "DS" => Self::Lamp,
            "F" => Self::Fuse,
            "S" => Self::Switch,
            "J" => Self::Jack,
            "V" => Self::Valve,
            "T" => Self::Transformer,
            "DL" => Self::Tank,
            "LS" => Self::Speaker,
            _ => return None,
        })
    }

    /// What such a part is called in a sentence.
    pub(crate) fn word(self) -> &'static str {
        match self {
            Self::Resistor => "resistor",
            Self::Capacitor => "capacitor",
            Self::Choke => "choke",
            Self::Diode => "diode",
            Self::Lamp => "lamp",
            Self::Fuse => "fuse",
            Self::Switch => "switch",
            Self::Jack => "jack",
            Self::Valve => "valve",
            Self::Transformer => "transformer",
            Self::Tank => "spring tank",
            Self::Speaker => "loudspeaker",
        }
    }
}

/// Letters, digits, and perhaps a section letter.
fn pieces(name: &str) -> Option<(&str, &str, Option<char>)> {
    let letters = name.find(|c: char| !c.is_ascii_alphabetic())?;
    let (letters, rest) = name.split_at(letters);
    let digits = rest
        .find(|c: char| !c.is_ascii_digit())
        .unwrap_or(rest.len());
    let (digits, tail) = rest.split_at(digits);
    let mut tail = tail.chars();
    let section = tail.next();
    if letters.is_empty()
        || digits.is_empty()
        || tail.next().is_some()
        || section.is_some_and(|c| !c.is_ascii_lowercase())
    {
        return None;
    }
    Some((letters, digits, section))
}

/// The class of a name like `R12`, `LS1`, `C9a`.
pub(crate) fn class_of(name: &str) -> Option<Class> {
    pieces(name).and_then(|(letters, _, _)| Class::from_letters(letters))
}

/// The name without its section letter, and the letter: `V1a` is `V1` and `a`; also `DEPTHa`.
pub(crate) fn without_section(name: &str) -> Option<(&str, char)> {
    let section = name.chars().last().filter(char::is_ascii_lowercase)?;
    let base = name.get(..name.len() - 1).filter(|b| !b.is_empty())?;
    Some((base, section))
}

/// The name as a class name if its letters were capitals: `r12` gives `R12`.
pub(crate) fn in_capitals(name: &str) -> Option<String> {
    let (letters, digits, section) = pieces(name)?;
    let upper = letters.to_ascii_uppercase();
    if upper == letters {
        return None;
    }
    Class::from_letters(&upper)?;
    let mut out = format!("{upper}{digits}");
    out.extend(section);
    Some(out)
}

/// What a name that looks like a part number could be, as a line to type: `VR1` gives `VR1 pot 1M audio`.
///
/// Ruling: these letters look like part numbers when a number follows; any other letters
/// (`B1`, `HT2`, `TP3`, `E14`, `H1`, `K2`) are points.
pub(crate) fn lookalike(name: &str) -> Option<String> {
    let (letters, _, _) = pieces(name)?;
    let offer = match letters {
        "VR" | "RV" | "POT" | "P" => "pot 1M audio",
        "Q" | "TR" | "U" | "IC" | "X" | "Y" | "Z" | "W" => "box \"what it is\" a b c",
        "SW" => "switch closed",
        "CR" | "REC" => "silicon 1000V",
        "BR" => "bridge",
        "TH" | "RT" | "NTC" | "PTC" => "resistor 10",
        "VC" | "CV" => "capacitor 100p",
        "CH" | "CHK" => "choke 5H 150 ohm",
        "LP" | "LA" | "PL" => "lamp 6.3V 150mA",
        "FS" | "FU" => "fuse 1A slow",
        "SK" | "PH" | "JK" => "jack",
        "TX" | "XF" | "PT" | "MT" => "power 230 V: hv 275-0-275 V 70 mA, heater 6.3 V 2.5 A",
        "OT" | "OPT" => "output 8k:8 ohm",
        "SP" | "SPK" | "SPKR" => "speaker 8 ohm",
        "VT" | "TUBE" => "valve 12AX7",
        "VZ" | "ZD" => "zener 100V",
        "PS" => "supply 300 V 10 ohm",
        "G" => "generator 50 mV 1 kHz 600 ohm",
        "A" => "gain -29",
        "LDR" => "cell of DS1 dark 10M lit 10k",
        "M" | "RL" | "RLY" | "RY" => "box \"what it is\" a b",
        _ => return None,
    };
    Some(format!("{name} {offer}"))
}

/// Heading words; no part or point may bear them.
pub(crate) const HEADING: [&str; 12] = [
    "amp", "maker", "serial", "year", "mains", "cord", "state", "drawing", "note", "set",
    "readings", "wiring",
];

/// Condition words of a readings block; no point may bear them.
pub(crate) const CONDITIONS: [&str; 13] = [
    "mains", "meter", "valves", "set", "standby", "speaker", "limiter", "minutes", "signal",
    "power", "answer", "heard", "seen",
];

/// Words with a meaning of their own in walks and readings.
pub(crate) const MARKS: [&str; 4] = ["unused", "apart", "to", "ac"];

/// May no point or part bear this name?
pub(crate) fn is_reserved(name: &str) -> bool {
    HEADING.contains(&name) || CONDITIONS.contains(&name) || MARKS.contains(&name)
}

/// Points with a fixed meaning, and `gnd` and `0V` for ground.
pub(crate) const FIXED: [&str; 7] = ["ground", "gnd", "0V", "chassis", "live", "neutral", "earth"];

/// Is this one of the names of circuit ground?
pub(crate) fn is_ground(name: &str) -> bool {
    matches!(name, "ground" | "gnd" | "0V")
}

/// Made of letters, digits, `_`, `+`, `/`, with a letter in it?
pub(crate) fn is_name(name: &str) -> bool {
    name.chars()
        .all(|c| c.is_alphanumeric() || matches!(c, '_' | '+' | '/'))
        && name.chars().any(char::is_alphabetic)
}

/// The candidate that is nearest to a name, if one is near enough to be meant.
pub(crate) fn nearest<'c>(
    name: &str,
    candidates: impl IntoIterator<Item = &'c str>,
) -> Option<&'c str> {
    if name.len() > 40 {
        return None;
    }
    let lower = name.to_lowercase();
    let mut best: Option<(f64, &str)> = None;
    for candidate in candidates {
        if candidate == name || candidate.len() > 40 {
            continue;
        }
        let likeness = strsim::normalized_damerau_levenshtein(&lower, &candidate.to_lowercase());
        if likeness >= 0.5 && best.is_none_or(|(most, _)| likeness > most) {
            best = Some((likeness, candidate));
        }
    }
    best.map(|(_, candidate)| candidate)
}
