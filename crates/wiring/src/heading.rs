//! Heading lines and `set` lines.

use crate::circuit::{Heading, Mains, Position, Setting};
use crate::codes;
use crate::problems::Problems;
use crate::statement::Shape;
use crate::units::{Quantity, ValueError, parse};
use crate::words::{Word, Words};

/// Reads every heading line.
pub(crate) fn headings(shapes: &[Shape<'_>], problems: &mut Problems) -> Heading {
    let mut heading = Heading::default();
    for shape in shapes {
        if let Shape::Heading(words) = shape {
            line(words, &mut heading, problems);
        }
    }
    heading
}

fn line(words: &[Word<'_>], heading: &mut Heading, problems: &mut Problems) {
    let Some((first, rest)) = words.split_first() else {
        return;
    };
    let text = rest.first().map_or("", |w| w.text).trim();
    let field = match first.text {
        "amp" => &mut heading.amp,
        "maker" => &mut heading.maker,
        "serial" => &mut heading.serial,
        "year" => &mut heading.year,
        "state" => &mut heading.state,
        "drawing" => &mut heading.drawing,
        "note" => {
            if text.is_empty() {
                empty(*first, problems);
            } else {
                heading.notes.push(text.to_owned());
            }
            return;
        }
        "mains" => {
            if let Some(mains) = mains(*first, rest, codes::HEADING_UNCLEAR, problems) {
                match heading.mains {
                    Some(old) if old != mains => twice(*first, problems),
                    _ => heading.mains = Some(mains),
                }
            }
            return;
        }
        "cord" => {
            match rest {
                [word] if word.is("two-wire") => heading.two_wire_cord = true,
                [word] if word.is("three-wire") => {}
                _ => problems.add(
                    codes::HEADING_UNCLEAR,
                    first.place,
                    "This does not say what cord it is.",
                    "Type `cord two-wire` for one without earth, or leave the line out.",
                ),
            }
            return;
        }
        // `wiring` with words behind it.
        _ => {
            problems.add(
                codes::HEADING_UNCLEAR,
                first.place,
                format!("`{}` stands alone on its line.", first.text),
                format!("Type `{}`.", first.text),
            );
            return;
        }
    };
    if text.is_empty() {
        empty(*first, problems);
    } else {
        match field {
            Some(old) if old != text => twice(*first, problems),
            _ => *field = Some(text.to_owned()),
        }
    }
}

fn empty(word: Word<'_>, problems: &mut Problems) {
    problems.add(
        codes::HEADING_UNCLEAR,
        word.place,
        format!("`{}` says nothing.", word.text),
        format!(
            "Type something after `{}`, or leave the line out.",
            word.text
        ),
    );
}

fn twice(word: Word<'_>, problems: &mut Problems) {
    problems.add(
        codes::HEADING_TWICE,
        word.place,
        format!(
            "`{}` was already given, with another text; the first counts.",
            word.text
        ),
        "Leave one of the two lines out.",
    );
}

/// `mains 233 V 50 Hz`, after its word; `unclear` is the code for what does not read.
pub(crate) fn mains(
    first: Word<'_>,
    rest: &[Word<'_>],
    unclear: codes::Code,
    problems: &mut Problems,
) -> Option<Mains> {
    let mut words = Words::new(rest);
    let say = |problems: &mut Problems, word: Word<'_>| {
        problems.add(
            unclear,
            word.place,
            "This does not say what the wall gives.",
            "Type `mains 233 V` or `mains 233 V 50 Hz`, up to 1000 V and 1000 Hz.",
        );
    };
    let volts = words
        .take_number()
        .map(|n| (parse(&n.text, Quantity::Volts), n));
    let volts = match volts {
        Some((Ok(raw), _)) if (0.0..=1000.0).contains(&raw.value) => raw.value,
        Some((Err(error), n)) if !matches!(error, ValueError::WrongUnit { .. }) => {
            problems.value(&error, n.place, &n.text, "mains ");
            return None;
        }
        _ => {
            say(problems, first);
            return None;
        }
    };
    let mut hertz = None;
    if let Some(n) = words.take_number() {
        match parse(&n.text, Quantity::Hertz) {
            Ok(raw) if (1.0..=1000.0).contains(&raw.value) => hertz = Some(raw.value),
            Err(error) if !matches!(error, ValueError::WrongUnit { .. }) => {
                problems.value(&error, n.place, &n.text, "mains 233 V ");
            }
            _ => say(problems, first),
        }
    }
    if let Some(word) = words.peek() {
        problems.add(
            unclear,
            word.place,
            format!("`{}` fits nowhere in the mains.", word.text),
            "Type `mains 233 V 50 Hz`, and the rest as a comment or `note`.",
        );
    }
    Some(Mains { volts, hertz })
}

/// Reads every `set` line.
pub(crate) fn sets(shapes: &[Shape<'_>], problems: &mut Problems) -> Vec<Setting> {
    shapes
        .iter()
        .filter_map(|shape| match shape {
            Shape::Set(words) => setting(words, problems),
            _ => None,
        })
        .collect()
}

/// `set VOLUME 5`, with the `set`.
pub(crate) fn setting(words: &[Word<'_>], problems: &mut Problems) -> Option<Setting> {
    let set = words.first()?;
    let unclear = |problems: &mut Problems, word: Word<'_>| {
        problems.add(
            codes::SET_UNCLEAR,
            word.place,
            "This does not say what stands where.",
            "Type `set VOLUME 5`, `set S1 open`, or `set J1 plugged`.",
        );
    };
    let [_, name, to, rest @ ..] = words else {
        unclear(problems, *set);
        return None;
    };
    if !name.is_word() {
        unclear(problems, *name);
        return None;
    }
    let position = match to.text {
        "closed" => Some(Position::Closed),
        "open" => Some(Position::Open),
        "plugged" => Some(Position::Plugged),
        "unplugged" => Some(Position::Unplugged),
        text => match crate::units::parse_raw(text) {
            Ok(raw) if raw.unit.is_none() && raw.prefix.is_none() && to.is_word() => {
                Some(Position::Number(raw.value))
            }
            Err(error @ crate::units::ValueError::Comma { .. }) => {
                problems.value(&error, to.place, text, &format!("set {} ", name.text));
                return None;
            }
            _ => None,
        },
    };
    let Some(position) = position else {
        unclear(problems, *to);
        return None;
    };
    if let Some(word) = rest.first() {
        problems.add(
            codes::SET_UNCLEAR,
            word.place,
            format!("`{}` fits nowhere after a position.", word.text),
            "Put a remark behind `# `.",
        );
    }
    Some(Setting {
        name: name.text.to_owned(),
        to: position,
        place: name.place,
    })
}
