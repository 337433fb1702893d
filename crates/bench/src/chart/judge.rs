//! One more reading against a chart that was worked out already: the verdict while it is typed.
//!
//! What is expected of a point depends on the wiring and the conditions, not on the other
//! readings, so nothing is solved again. A reading of a point that the chart does not list
//! (between two points, across a part) has no band here; it gets one when the chart is worked
//! out with it.

use super::entry::{Entry, Read};
use super::verdict::Word;
use crate::slips::{Hint, hint};
use serde::Serialize;
use wiring::Circuit;
use wiring::readings::{Meter, Reading};

/// What a reading says about its point.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Judged {
    /// The verdict; none where nothing is expected.
    pub verdict: Option<Word>,
    /// How far beyond the nearer end of the band, signed, in the reading's unit; 0 within it.
    pub beyond: Option<f64>,
    /// A slip of the hand that would explain it.
    pub slip: Option<Hint>,
}

/// Holds a reading against the entries of a chart.
#[must_use]
pub fn judge(
    circuit: &Circuit,
    entries: &[Entry],
    reading: &Reading,
    meter: Option<Meter>,
) -> Judged {
    let listed = entries
        .iter()
        .find(|e| e.probe == reading.probe && e.unit == reading.unit);
    let Some(listed) = listed else {
        return Judged {
            verdict: None,
            beyond: None,
            slip: None,
        };
    };
    let entry = Entry {
        point: reading.point.clone(),
        read: Some(Read::of(reading, meter)),
        ..listed.clone()
    };
    let beyond = entry.band.zip(entry.number()).map(|(band, read)| {
        if read < band.low() {
            read - band.low()
        } else if read > band.high() {
            read - band.high()
        } else {
            0.0
        }
    });
    Judged {
        verdict: entry.verdict(),
        beyond,
        slip: hint(circuit, entries, &entry),
    }
}

#[cfg(test)]
mod tests {
    use super::super::{ChartRequest, work_out};
    use super::*;
    use crate::slips::Slip;
    use wiring::Text;
    use wiring::sheet::Library;

    const STAGE: &str = "PS1 supply 262 V 1 ohm\nV1 12AX7\nB3 - +PS1 - ground\nJ1 jack\n\
        J1.tip - R1 1M - ground\nJ1.tip - R2 68k - V1.2\nJ1.sleeve - ground\n\
        V1.1 - R4 100k - B3\nV1.3 - R5 1k5 - ground\nreadings as found\nmeter 10M 0.5%\n";

    /// The same verdict as the chart gives when the reading stands in it.
    #[test]
    fn the_verdict_while_typing_is_the_verdict_of_the_chart() {
        let library = Library::built_in();
        let read = |text: &str| wiring::read(&[Text { name: "a", text }], library).circuit;
        let before = read(STAGE);
        let worked = work_out(&before, library, &ChartRequest::default());
        let mut seen = Vec::new();
        for typed in [
            "V1.3 1.38",
            "V1.3 0.93",
            "V1.3 138",
            "V1.1 169",
            "V1.1 121",
            "V1.1 -169",
        ] {
            let after = read(&format!("{STAGE}{typed}\n"));
            let block = &after.readings[0];
            let reading = &block.readings[0];
            let judged = judge(&before, &worked.entries, reading, block.conditions.meter);
            let chart = crate::chart::chart(&after, library, &ChartRequest::default());
            let line = chart
                .points
                .iter()
                .find(|l| l.point == reading.point)
                .unwrap();
            assert_eq!(judged.verdict, line.verdict, "{typed}");
            let slip = judged.slip.map(|h| h.slip);
            assert_eq!(slip, chart.slips.first().map(|h| h.slip.clone()), "{typed}");
            seen.push((judged.verdict, slip));
        }
        assert_eq!(seen[0], (Some(Word::Inside), None));
        assert_eq!(seen[2].1, Some(Slip::Range { factor: 0.01 }));
        assert_eq!(seen[5].1, Some(Slip::Sign));
    }
}
