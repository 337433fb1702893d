//! What `draw` lays over the schematic: the chart's figures and verdicts, what is known of parts.

use crate::amp::Amp;
use crate::arguments::{Draw as Given, Over as Asked};
use crate::caution;
use crate::commands::chart::rows;
use crate::outcome::Failure;
use crate::table::{hanging, paragraph};
use crate::wired_sheet;
use bench::chart::{Chart, ChartRequest, Word};
use bench::rules::STANDARD_CAUTION;
use draw::over::{
    Flag, Hues, Laid, Mark, MarkSort, Overlay, Room, Standing, group, known, lay, odd,
};
use serde_json::{Value, json};
use wiring::circuit::{Circuit, PartId};
use wiring::roles::Anatomy;

/// What the figures are.
const UNITS: &str =
    "Volts DC against ground unless ac is said: what was read, for what is expected.";

/// What a mark of strain is.
const SHARES: &str = "Per cent of the rating, in the state that strains the part most, mains at its highest among them.";

/// A part with a smaller chance of being at fault is not marked.
const LEAST_CHANCE: f64 = 0.02;

/// An overlay that found its place, and what did not.
#[derive(Debug, Default)]
pub(super) struct Over {
    asked: bool,
    /// Volts are on it.
    figures: bool,
    /// Shares of ratings are on it.
    shares: bool,
    /// It leads hands into a live chassis.
    live: bool,
    laid: Laid,
    /// What is missing from it, in sentences.
    missing: Vec<String>,
    /// Readings that stand at no single point of the drawing: point, what was read, verdict.
    beside: Vec<(String, String, Option<Word>)>,
    /// Names of the parts of marks, in the order of the marks laid, then of those left.
    names: Vec<String>,
}

/// Finds what is asked for, and a place for it in a view; `anatomy` tells what fits no pattern.
pub(super) fn over(
    given: &Given,
    amp: &Amp,
    anatomy: &Anatomy,
    room: &Room,
) -> Result<Over, Failure> {
    wired_sheet::known_block(amp, given.block.as_deref())?;
    let has = |what| given.over.contains(&what);
    if given.over.is_empty() {
        return Ok(Over::default());
    }
    let mut overlay = Overlay::default();
    let mut beside = Vec::new();
    let mut missing = Vec::new();
    let figures = has(Asked::Volts) || has(Asked::Verdicts);
    if figures {
        let request = ChartRequest {
            block: given.block.clone(),
            ..ChartRequest::default()
        };
        let chart = bench::chart::chart(&amp.circuit, &amp.library, &request);
        flags(
            amp,
            &chart,
            (has(Asked::Volts), has(Asked::Verdicts)),
            &mut overlay.flags,
            &mut beside,
        );
        if has(Asked::Volts) && !chart.unsolved.is_empty() {
            let n = chart.unsolved.len();
            missing.push(format!(
                "Not computed: {n} {}; `chart` says why.",
                if n == 1 { "point" } else { "points" }
            ));
        }
    }
    if figures && beside.is_empty() && overlay.flags.iter().all(|f| f.read.is_empty()) {
        missing.push("Nothing was read: no reading lies on it.".to_owned());
    }
    if has(Asked::Parts) {
        overlay.marks = known(&amp.circuit);
        overlay.marks.extend(odd(anatomy));
    }
    if has(Asked::Suspects) {
        let found = suspected(amp);
        overlay.marks.extend(found.0);
        missing.extend(found.1);
    }
    if has(Asked::Stress) {
        let found = super::strain::marks(amp, given.block.clone());
        overlay.marks.extend(found.0);
        missing.extend(found.1);
    }
    let laid = lay(room, &overlay);
    let name = |m: &Mark| {
        let part = amp.circuit.parts.get(m.part.0);
        part.map_or_else(String::new, |p| p.name.clone())
    };
    let names = laid
        .marks
        .iter()
        .map(|m| name(&m.mark))
        .chain(laid.left_marks.iter().map(name))
        .collect();
    Ok(Over {
        asked: true,
        figures,
        shares: has(Asked::Stress),
        live: figures || has(Asked::Suspects) || has(Asked::Stress),
        missing,
        laid,
        beside,
        names,
    })
}

/// Parts that are suspected, all faults of a part together; and what is to be said where there are none.
fn suspected(amp: &Amp) -> (Vec<Mark>, Option<String>) {
    let found = bench::suspects::suspects(
        &amp.circuit,
        &amp.library,
        &bench::suspects::SuspectsRequest {
            ranked_only: true,
            ..bench::suspects::SuspectsRequest::default()
        },
    );
    suspects_over(&amp.circuit, &found)
}

/// The parts that an answer suspects, all faults of a part together; and what is to be said where there are none.
pub(crate) fn suspects_over(
    circuit: &Circuit,
    found: &bench::suspects::Suspects,
) -> (Vec<Mark>, Option<String>) {
    if found.used == 0 {
        return (
            Vec::new(),
            Some("Nothing was read that could point at a part: no suspects lie on it.".to_owned()),
        );
    }
    let mut chance = vec![0.0; circuit.parts.len()];
    for suspect in &found.suspects {
        if let Some(id) = circuit.part_or_valve(&suspect.part) {
            chance[id.0] += suspect.probability;
        }
    }
    let mut order: Vec<usize> = (0..chance.len())
        .filter(|i| chance[*i] >= LEAST_CHANCE)
        .collect();
    order.sort_by(|a, b| chance[*b].total_cmp(&chance[*a]).then(a.cmp(b)));
    let marks: Vec<Mark> = order
        .into_iter()
        .map(|i| Mark {
            part: PartId(i),
            sort: MarkSort::Suspect,
            text: if chance[i] > 0.99 {
                "suspect over 99 %".to_owned()
            } else {
                format!("suspect {:.0} %", chance[i] * 100.0)
            },
        })
        .collect();
    let none = marks.is_empty().then(|| {
        format!(
            "No part is suspected; that nothing is wrong has {:.0} %.",
            found.healthy * 100.0
        )
    });
    (marks, none)
}

fn flags(
    amp: &Amp,
    chart: &Chart,
    (volts, verdicts): (bool, bool),
    flags: &mut Vec<Flag>,
    beside: &mut Vec<(String, String, Option<Word>)>,
) {
    for line in &chart.points {
        let read = rows::read(line);
        let expected = line.volts.map(|v| rows::figure(v, line.unit));
        if read.is_empty() && (!volts || expected.is_none()) {
            continue;
        }
        let Some(node) = amp.circuit.node(&line.point) else {
            if !read.is_empty() {
                beside.push((line.point.clone(), read, line.verdict));
            }
            continue;
        };
        // Ground reads nothing; a hundred flags would say so.
        if node == wiring::circuit::GROUND && read.is_empty() {
            continue;
        }
        flags.extend(rows::flag(line, node, verdicts, volts).or_else(|| {
            Some(Flag {
                node,
                point: line.point.clone(),
                read: String::new(),
                expected: expected?,
                standing: Standing::Expected,
            })
        }));
    }
}

impl Over {
    /// All of it as a group of SVG; empty where nothing was asked for.
    pub(super) fn group(&self) -> String {
        if self.asked {
            group(&self.laid, Hues::DAY)
        } else {
            String::new()
        }
    }

    /// Sentences that stand below the picture: what the figures are, and the caution where they lead hands to it.
    pub(super) fn foot(&self) -> String {
        let said = [
            self.figures.then_some(UNITS),
            self.shares.then_some(SHARES),
            self.live.then_some(STANDARD_CAUTION),
        ];
        said.into_iter().flatten().collect::<Vec<_>>().join(" ")
    }

    /// What has no place on the page, in words; then the caution.
    pub(super) fn told(&self) -> String {
        let mut out = String::new();
        if self.figures {
            out.push_str(&paragraph(UNITS, ""));
        }
        if self.shares {
            out.push_str(&paragraph(SHARES, ""));
        }
        out.extend(self.missing.iter().map(|m| paragraph(m, "")));
        let readings: Vec<String> = self
            .beside
            .iter()
            .map(|(point, read, verdict)| match verdict {
                Some(v) => format!("{point} {read}, {}", rows::word(*v)),
                None => format!("{point} {read}"),
            })
            .collect();
        if !readings.is_empty() {
            out.push_str(&hanging(
                &format!("{}.", readings.join("; ")),
                "Read across parts, not at a point: ",
                "  ",
            ));
        }
        let mut left: Vec<String> = self
            .laid
            .left
            .iter()
            .map(|f| match (f.read.is_empty(), f.expected.is_empty()) {
                (true, _) => format!("{} {} expected", f.point, f.expected),
                (false, _) => format!("{} {} read", f.point, f.read),
            })
            .collect();
        left.extend(
            self.laid
                .left_marks
                .iter()
                .zip(self.left_names())
                .map(|(m, name)| format!("{name} {}", m.text)),
        );
        if !left.is_empty() {
            out.push_str(&hanging(
                &format!("{}.", left.join("; ")),
                "No place on the page: ",
                "  ",
            ));
        }
        if self.live {
            out.push_str(&caution::foot());
        }
        out
    }

    /// Names of the parts of marks that found no place.
    fn left_names(&self) -> impl Iterator<Item = &String> {
        self.names.iter().skip(self.laid.marks.len())
    }

    /// As JSON; null where nothing was asked for.
    pub(super) fn value(&self) -> Value {
        if !self.asked {
            return Value::Null;
        }
        let flag = |f: &Flag, placed: bool| {
            json!({
                "point": f.point,
                "read": f.read,
                "expected": f.expected,
                "standing": f.standing.word(),
                "placed": placed,
            })
        };
        let mut points: Vec<Value> = self
            .laid
            .flags
            .iter()
            .map(|f| flag(&f.flag, true))
            .collect();
        points.extend(self.laid.left.iter().map(|f| flag(f, false)));
        let mut marks: Vec<Value> = self
            .laid
            .marks
            .iter()
            .zip(&self.names)
            .map(|(m, name)| json!({ "part": name, "text": m.mark.text, "placed": m.area.is_some() }))
            .collect();
        // Those whose symbol is not on the page stand in no mark.
        let unplaced = self.laid.left_marks.iter().zip(self.left_names());
        marks.extend(
            unplaced
                .filter(|(m, _)| self.laid.marks.iter().all(|laid| laid.mark != **m))
                .map(|(m, name)| json!({ "part": name, "text": m.text, "placed": false })),
        );
        let across: Vec<Value> = self
            .beside
            .iter()
            .map(|(point, read, verdict)| json!({ "point": point, "read": read, "verdict": verdict.map(rows::word) }))
            .collect();
        json!({ "points": points, "parts": marks, "across": across, "missing": self.missing })
    }
}
