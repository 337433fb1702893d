//! One line of a sheet, and how it came out.

use super::figure::{Expected, Figure, Limit, Verdict};
use super::origin::Origin;
use serde::Serialize;

/// How a line came out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// Information; nothing to judge.
    Told,
    /// Read or answered, and within its limit.
    Pass,
    /// Still to be read or answered, or too near the limit to tell.
    Open,
    /// Beyond its limit.
    Fail,
    /// Beyond a limit that forbids power or hand-over.
    Stop,
}

impl Outcome {
    /// In a word, as tables print it; nothing for a line that only tells.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Told => "",
            Self::Pass => "pass",
            Self::Open => "open",
            Self::Fail => "FAIL",
            Self::Stop => "STOP",
        }
    }
}

/// One line.
///
/// ```
/// use bench::sheet::{Figure, Limit, Line, Origin, Outcome};
/// let limit = Limit::at_most(0.5, "ohm");
/// let earth = Line::read("Earth pin to chassis", Figure::new(0.08, "ohm"), limit, Origin::practice());
/// assert_eq!(earth.outcome(), Outcome::Pass);
/// let earth = Line::open("Earth pin to chassis", Origin::practice());
/// assert_eq!(earth.outcome(), Outcome::Open);
/// ```
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Line {
    what: String,
    point: Option<String>,
    expected: Option<Expected>,
    reading: Option<Figure>,
    answer: Option<String>,
    limit: Option<Limit>,
    origin: Origin,
    outcome: Outcome,
    why: String,
    blank: bool,
}

impl Line {
    fn new(what: impl Into<String>, origin: Origin, outcome: Outcome) -> Self {
        Self {
            what: what.into(),
            point: None,
            expected: None,
            reading: None,
            answer: None,
            limit: None,
            origin,
            outcome,
            why: String::new(),
            blank: false,
        }
    }

    /// Information: a figure, a proposal, an instruction. Never judged.
    #[must_use]
    pub fn told(what: impl Into<String>, origin: Origin) -> Self {
        Self::new(what, origin, Outcome::Told)
    }

    /// To be read or answered: open, with room to write on paper.
    #[must_use]
    pub fn open(what: impl Into<String>, origin: Origin) -> Self {
        Self {
            blank: true,
            ..Self::new(what, origin, Outcome::Open)
        }
    }

    /// A reading, or a figure that follows from readings, held against its limit.
    ///
    /// Inside with all its uncertainty: pass. Itself outside: fail. Where only the uncertainty
    /// reaches over the limit, or the reading is no number in the limit's unit: open.
    #[must_use]
    pub fn read(what: impl Into<String>, reading: Figure, limit: Limit, origin: Origin) -> Self {
        let (outcome, why) = match limit.verdict(&reading) {
            Verdict::Inside => (Outcome::Pass, String::new()),
            Verdict::Outside => (Outcome::Fail, String::new()),
            Verdict::Doubtful if !reading.value.is_finite() || reading.unit != limit.unit => (
                Outcome::Open,
                "The reading cannot be held against this limit.".to_owned(),
            ),
            Verdict::Doubtful => (
                Outcome::Open,
                "Inside, but its uncertainty reaches over the limit.".to_owned(),
            ),
        };
        Self {
            reading: Some(reading),
            limit: Some(limit),
            why,
            ..Self::new(what, origin, outcome)
        }
    }

    /// A computed figure held against its limit: it can fail, and never passes, because nothing was
    /// read.
    #[must_use]
    pub fn computed(
        what: impl Into<String>,
        expected: Expected,
        limit: Limit,
        origin: Origin,
    ) -> Self {
        let worst = [expected.value, expected.low, expected.high];
        let fails = expected.unit == limit.unit
            && worst
                .into_iter()
                .flatten()
                .any(|v| !v.is_nan() && !limit.holds(v));
        Self {
            expected: Some(expected),
            limit: Some(limit),
            ..Self::new(
                what,
                origin,
                if fails { Outcome::Fail } else { Outcome::Told },
            )
        }
    }

    /// A question with its answer in words, and whether that answer is the good one. An empty
    /// answer leaves the line open.
    #[must_use]
    pub fn answered(what: impl Into<String>, answer: &str, good: bool, origin: Origin) -> Self {
        let answer = answer.trim();
        if answer.is_empty() {
            return Self::open(what, origin);
        }
        Self {
            answer: Some(answer.to_owned()),
            ..Self::new(
                what,
                origin,
                if good { Outcome::Pass } else { Outcome::Fail },
            )
        }
    }

    /// Do not go on: the reason stands in [`Line::because`].
    #[must_use]
    pub fn stop(what: impl Into<String>, origin: Origin) -> Self {
        Self::new(what, origin, Outcome::Stop)
    }

    /// Where: a point, pins beside letters, or a part.
    #[must_use]
    pub fn at(mut self, point: impl Into<String>) -> Self {
        self.point = Some(point.into());
        self
    }

    /// What a sound amplifier should show; doesn't change the outcome.
    #[must_use]
    pub fn expecting(mut self, expected: Expected) -> Self {
        self.expected = Some(expected);
        self
    }

    /// The limit of a line that is told or open; a line that was judged keeps its own.
    #[must_use]
    pub fn limited(mut self, limit: Limit) -> Self {
        if matches!(self.outcome, Outcome::Told | Outcome::Open) {
            self.limit = Some(limit);
        }
        self
    }

    /// A figure that was read or follows from readings, on a line that is told; one that was judged
    /// keeps its own.
    #[must_use]
    pub fn showing(mut self, reading: Figure) -> Self {
        if self.outcome == Outcome::Told {
            self.reading = Some(reading);
        }
        self
    }

    /// The reason or the next step, in a sentence or two. A reason already there stays in front.
    #[must_use]
    pub fn because(mut self, why: impl AsRef<str>) -> Self {
        let why = why.as_ref().trim();
        if !self.why.is_empty() && !why.is_empty() {
            self.why.push(' ');
        }
        self.why.push_str(why);
        self
    }

    /// Room to write on paper.
    #[must_use]
    pub fn blank(mut self) -> Self {
        self.blank = true;
        self
    }

    /// A failure of this line forbids power or hand-over.
    #[must_use]
    pub fn or_stop(mut self) -> Self {
        if self.outcome == Outcome::Fail {
            self.outcome = Outcome::Stop;
        }
        self
    }

    /// Takes a pass back to open, with the reason; anything else stays.
    #[must_use]
    pub fn doubted(mut self, why: impl AsRef<str>) -> Self {
        if self.outcome == Outcome::Pass {
            self.outcome = Outcome::Open;
            return self.because(why);
        }
        self
    }

    /// What is looked at, in trade words.
    #[must_use]
    pub fn what(&self) -> &str {
        &self.what
    }

    /// Where.
    #[must_use]
    pub fn point(&self) -> Option<&str> {
        self.point.as_deref()
    }

    /// What a sound amplifier should show.
    #[must_use]
    pub fn expected(&self) -> Option<&Expected> {
        self.expected.as_ref()
    }

    /// What was read, or follows from what was read.
    #[must_use]
    pub fn reading(&self) -> Option<&Figure> {
        self.reading.as_ref()
    }

    /// What was answered.
    #[must_use]
    pub fn answer(&self) -> Option<&str> {
        self.answer.as_deref()
    }

    /// What it must keep to.
    #[must_use]
    pub fn limit(&self) -> Option<&Limit> {
        self.limit.as_ref()
    }

    /// Where the limit, or without one the figure, is from.
    #[must_use]
    pub fn origin(&self) -> &Origin {
        &self.origin
    }

    /// How it came out.
    #[must_use]
    pub fn outcome(&self) -> Outcome {
        self.outcome
    }

    /// The reason or the next step.
    #[must_use]
    pub fn why(&self) -> &str {
        &self.why
    }

    /// Whether paper leaves room to write.
    #[must_use]
    pub fn is_blank(&self) -> bool {
        self.blank
    }
}
