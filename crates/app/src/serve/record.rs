//! From the record to the notation and back: the texts that the computing crates read.

use super::run::Step;
use shop::{Block, Reader, Reading, ResultGiven, ShopError};
use wiring::readings::{Probe, Shown};
use wiring::{Circuit, Diagnostic, Severity};

/// The block in which answers of the run sheets stand.
pub(crate) const ANSWERS: &str = "answers";
/// The run sheet whose answers are readings.
pub(crate) const COLD: &str = "cold";

/// The readings of a job as a text in the notation, one block for each set of conditions, the
/// blocks in the order taken; answers of the run sheets stand in a block of their own in front.
pub(crate) fn readings_text(
    blocks: &[Block],
    readings: &[Reading],
    results: &[ResultGiven],
) -> String {
    let mut out = String::new();
    if !results.is_empty() {
        out.push_str(&format!("readings {ANSWERS}\npower off\n"));
        for result in results {
            out.push_str(&if result.fields.sheet == COLD {
                cold_line(result)
            } else {
                answer_line(result)
            });
        }
    }
    for block in blocks {
        out.push_str(&format!("readings {}\n", one_line(&block.name)));
        for line in block.conditions.lines() {
            out.push_str(&one_line(line));
            out.push('\n');
        }
        for reading in readings.iter().filter(|r| r.block == block.id) {
            out.push_str(&reading_line(reading));
        }
    }
    out
}

fn reading_line(reading: &Reading) -> String {
    let f = &reading.fields;
    let mut line = format!("{} {}", one_line(&f.point), one_line(&f.shown));
    if !f.unit.is_empty() {
        line.push(' ');
        line.push_str(&one_line(&f.unit));
    }
    push_quoted(&mut line, &f.note);
    line.push('\n');
    line
}

/// Ohms before power are readings, taken with the power off.
fn cold_line(result: &ResultGiven) -> String {
    let f = &result.fields;
    let mut line = format!(
        "{} {} {}",
        one_line(&f.item),
        one_line(&f.shown),
        one_line(&f.unit)
    );
    push_quoted(&mut line, &f.note);
    line.push('\n');
    line
}

/// `answer cord yes "new, three cores"`, with the word or the figure as it was given.
fn answer_line(result: &ResultGiven) -> String {
    let f = &result.fields;
    let said = match (f.shown.as_str(), f.result) {
        ("", shop::Outcome::Pass) => "yes".to_owned(),
        ("", shop::Outcome::Fail) => "no".to_owned(),
        ("", _) => return String::new(),
        (shown, _) => format!("{} {}", one_line(shown), one_line(&f.unit))
            .trim()
            .to_owned(),
    };
    let mut line = format!("answer {} {said}", one_line(&f.item));
    push_quoted(&mut line, &f.note);
    line.push('\n');
    line
}

fn push_quoted(line: &mut String, note: &str) {
    let note = one_line(note).replace('"', "'");
    if !note.is_empty() {
        line.push_str(&format!(" \"{note}\""));
    }
}

/// Text that cannot end its line.
fn one_line(text: &str) -> String {
    text.chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect::<String>()
        .trim()
        .to_owned()
}

/// A reading as typed, understood.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Typed {
    /// What it means.
    pub(crate) reading: wiring::Reading,
    /// The point is not in the wiring (yet).
    pub(crate) nowhere: bool,
}

/// Understands one typed reading under the conditions of a block.
///
/// # Errors
/// One sentence and what to type instead.
pub(crate) fn understand(
    circuit: &Circuit,
    conditions: &str,
    point: &str,
    shown: &str,
    unit: &str,
) -> Result<Typed, (String, String)> {
    let line = format!("{} {} {}", one_line(point), one_line(shown), one_line(unit));
    let head = format!("readings typed\n{conditions}\n");
    let text = format!("{head}{line}\n");
    let named = wiring::Text {
        name: "typed.readings",
        text: &text,
    };
    let (blocks, problems) = wiring::read_readings(&named, circuit);
    let own = head.lines().count() + 1;
    let wrong: Option<&Diagnostic> = problems.iter().find(|d| {
        d.place.line == own && d.severity == Severity::Error && d.code != "unknown-point"
    });
    let reading = blocks
        .into_iter()
        .next_back()
        .and_then(|b| b.readings.into_iter().next_back());
    match (reading, wrong) {
        (Some(reading), None) => Ok(Typed {
            nowhere: reading.probe == Probe::Nowhere,
            reading,
        }),
        (_, Some(d)) => Err((d.message.clone(), d.advice.clone())),
        (None, None) => Err((
            format!("`{}` is not read as a reading.", one_line(shown)),
            "Type what the display shows: `172`, `-0.02`, `OL`, `< 0.01`, `4 mV ac`.".to_owned(),
        )),
    }
}

/// The number of a reading, when the display showed one.
pub(crate) fn number(reading: &wiring::Reading) -> Option<f64> {
    match reading.value {
        Shown::Number(v) => Some(v),
        _ => None,
    }
}

/// What a job holds, counted: enough to say how far each step is.
#[derive(Debug, Clone, Default)]
pub(crate) struct Tally {
    begun: Vec<Step>,
    /// Readings in charts as found.
    pub(crate) found: usize,
    /// Readings in charts as left.
    pub(crate) left: usize,
    /// Verdicts given.
    pub(crate) verdicts: usize,
    /// Work items that are open, done, declined.
    pub(crate) work: (usize, usize, usize),
    /// Photos.
    pub(crate) photos: usize,
    /// Answers by run sheet.
    pub(crate) results: Vec<(String, usize)>,
    /// Revision of the wiring as found.
    pub(crate) revision: i64,
}

impl Tally {
    /// Counts a job.
    pub(crate) fn of(r: &Reader<'_>, job: shop::JobId) -> Result<Self, ShopError> {
        let counts = r.counts(job)?;
        let mut begun = vec![Step::Intake];
        let mut add = |step: Step, is: bool| {
            if is {
                begun.push(step);
            }
        };
        let results = |sheet: &str| counts.results.iter().any(|(s, n)| s == sheet && *n > 0);
        add(Step::Inspection, results("inspection"));
        add(Step::Cold, results("cold"));
        add(Step::PowerUp, results("power-up"));
        add(Step::Tracing, counts.revision > 0);
        add(
            Step::Chart,
            counts.readings_found + counts.readings_left > 0,
        );
        add(Step::Parts, counts.verdicts > 0);
        add(
            Step::Work,
            counts.work_open + counts.work_done + counts.work_declined > 0,
        );
        add(Step::SetUp, counts.sheets > 0);
        add(Step::Safety, results("safety"));
        add(Step::PlayTest, results("proof") || counts.recordings > 0);
        Ok(Self {
            begun,
            found: counts.readings_found,
            left: counts.readings_left,
            verdicts: counts.verdicts,
            work: (counts.work_open, counts.work_done, counts.work_declined),
            photos: counts.photos,
            results: counts.results,
            revision: counts.revision,
        })
    }

    /// Is something written in this step?
    pub(crate) fn begun(&self, step: Step) -> bool {
        self.begun.contains(&step)
    }

    /// Answers of a run sheet.
    pub(crate) fn results_of(&self, sheet: &str) -> usize {
        self.results
            .iter()
            .find(|(s, _)| s == sheet)
            .map_or(0, |(_, n)| *n)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use shop::{At, BlockId, NewReading, ReadingId, ReadingState};

    fn block(conditions: &str) -> Block {
        Block {
            id: BlockId(1),
            state: ReadingState::AsFound,
            name: "as found".into(),
            conditions: conditions.into(),
            instrument: None,
            at: At(0),
        }
    }

    fn reading(point: &str, shown: &str, note: &str) -> Reading {
        Reading {
            id: ReadingId(1),
            block: BlockId(1),
            fields: NewReading {
                point: point.into(),
                shown: shown.into(),
                note: note.into(),
                ..NewReading::default()
            },
            at: At(0),
            bench: String::new(),
            corrects: None,
            withdrawn: false,
        }
    }

    #[test]
    fn what_was_written_reads_back_as_it_was_meant() {
        let text = readings_text(
            &[block("mains 231 V\nmeter 10M 0.5%")],
            &[
                reading("V1.3", "1.31", "needle \"swings\""),
                reading("B1 to B2", "30.4", ""),
                reading("V1.1\nV1.6 5", "OL", ""),
            ],
            &[],
        );
        let named = wiring::Text {
            name: "a.readings",
            text: &text,
        };
        let (blocks, _) = wiring::read_readings(&named, &Circuit::default());
        assert_eq!(blocks.len(), 1);
        assert_eq!(blocks[0].conditions.mains_volts, Some(231.0));
        assert_eq!(
            blocks[0].readings[0].note.as_deref(),
            Some("needle 'swings'")
        );
        assert_eq!(blocks[0].readings[1].point, "B1 to B2");
        // a line end in a point cannot begin a reading of its own
        assert!(!blocks[0].readings.iter().any(|r| r.point == "V1.6"));
    }

    #[test]
    fn typed_readings_are_understood_or_answered() {
        let circuit = wiring::read_one("V1 12AX7\nV1.3 - R1 1k5 - ground\n").circuit;
        let is = |point: &str, shown: &str| understand(&circuit, "", point, shown, "");
        let good = is("V1.3", "1.31").unwrap();
        assert_eq!(number(&good.reading), Some(1.31));
        assert!((good.reading.digit - 0.01).abs() < 1e-12 && !good.nowhere);
        assert_eq!(number(&is("V1.3", "-0.02").unwrap().reading), Some(-0.02));
        assert!(
            is("V9.3", "7").unwrap().nowhere,
            "kept, also where nothing is traced"
        );
        for bad in ["", "abc", "1,31", "1.3.1"] {
            let (what, remedy) = is("V1.3", bad).unwrap_err();
            assert!(!what.is_empty() && !remedy.is_empty(), "{bad}");
        }
    }
}
