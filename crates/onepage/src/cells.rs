//! A line of a sheet as the cells that paper shows.

use bench::sheet::{Line, OriginKind, Outcome};

/// What the hand does in the last cell.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Hand {
    /// Ticks yes or no.
    Tick,
    /// Writes a figure; the unit stands behind the rule.
    Figure(String),
    /// Nothing: it was read or answered, in words.
    Done(String),
    /// Nothing to do.
    Nothing,
}

/// A line.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Row {
    pub(crate) what: String,
    pub(crate) point: String,
    pub(crate) expected: String,
    pub(crate) limit: String,
    pub(crate) hand: Hand,
    pub(crate) outcome: String,
    pub(crate) why: String,
    pub(crate) source: Option<usize>,
}

/// The sources of a sheet in the order of their first line.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Sources {
    pub(crate) texts: Vec<String>,
}

impl Sources {
    /// The number of a line's origin; none for what was measured here.
    fn number(&mut self, line: &Line) -> Option<usize> {
        let origin = line.origin();
        if origin.kind == OriginKind::Measured {
            return None;
        }
        let text = origin.to_string();
        let at = self.texts.iter().position(|t| *t == text);
        let at = at.unwrap_or_else(|| {
            self.texts.push(text);
            self.texts.len() - 1
        });
        Some(at + 1)
    }
}

/// The cells of a line. `before` is what the line above said: it is not said twice.
pub(crate) fn row(line: &Line, before: &str, sources: &mut Sources) -> Row {
    let limit = line.limit();
    let unit = limit
        .map(|l| l.unit.clone())
        .or_else(|| line.expected().map(|e| e.unit.clone()));
    let hand = match (line.reading(), line.answer()) {
        (Some(figure), _) => Hand::Done(figure.to_string()),
        (None, Some(answer)) => Hand::Done(answer.to_owned()),
        (None, None) if !line.is_blank() => Hand::Nothing,
        (None, None) => match unit {
            Some(unit) => Hand::Figure(unit),
            None => Hand::Tick,
        },
    };
    // A word about a reading stands beside it.
    let short = line.reading().is_some() && line.why().len() < 12;
    Row {
        what: line.what().to_owned(),
        point: line.point().unwrap_or_default().to_owned(),
        expected: line
            .expected()
            .map_or_else(String::new, ToString::to_string),
        limit: limit.map_or_else(String::new, ToString::to_string),
        // On paper a blank says by itself that it is open.
        outcome: match line.outcome() {
            Outcome::Told | Outcome::Open if short => line.why().trim_end_matches('.').to_owned(),
            Outcome::Told | Outcome::Open => String::new(),
            other => other.word().to_owned(),
        },
        hand,
        why: if short || line.why() == before {
            String::new()
        } else {
            line.why().to_owned()
        },
        source: sources.number(line),
    }
}
