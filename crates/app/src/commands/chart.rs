//! `chart`: what every point should read, next to what the meter said.

pub(crate) mod page;
pub(crate) mod rows;
mod text;

use crate::amp::Amp;
use crate::arguments::Chart as Given;
use crate::caution;
use crate::outcome::{Failure, Outcome};
use crate::wired_sheet;
use bench::chart::{Chart, ChartRequest};

pub(crate) use rows::outside;
pub(crate) use text::text;

/// Runs `chart`.
pub(crate) fn run(given: &Given) -> Result<Outcome, Failure> {
    if given.wired.files.is_empty() {
        return Err(Failure::misuse(
            "A chart needs a wiring.",
            "Name its file, `tubewright chart amp.wiring`, or type it: `tubewright chart -`.",
        ));
    }
    let amp = wired_sheet::load(&given.wired)?;
    let request = request(given, &amp)?;
    let chart = bench::chart::chart(&amp.circuit, &amp.library, &request);
    let text = if let Some(written) = given.paper.write(&page::sheet(&amp.circuit, &chart))? {
        written
    } else if given.json {
        amp.json(serde_json::to_value(&chart).unwrap_or_default())
    } else if given.csv {
        csv(&chart)?
    } else {
        text(&amp.circuit, &chart, given.currents) + &caution::foot()
    };
    Ok(amp.outcome(text, given.json))
}

/// The options as the computing crate wants them; names that are nowhere are wrong use.
fn request(given: &Given, amp: &Amp) -> Result<ChartRequest, Failure> {
    let asked = wired_sheet::asked(&given.wired, amp)?;
    Ok(ChartRequest {
        block: asked.block,
        mains_volts: asked.mains_volts,
        sets: asked.sets,
        without_valves: asked.without_valves,
        ..ChartRequest::default()
    })
}

fn csv(chart: &Chart) -> Result<String, Failure> {
    let head = [
        "point", "also", "unit", "volts", "low", "high", "reading", "verdict", "why",
    ];
    let number = |v: Option<f64>| v.map_or_else(String::new, |v| format!("{v}"));
    let mut table = vec![head.map(str::to_owned)];
    for line in &chart.points {
        table.push([
            line.point.clone(),
            line.also.join(" "),
            line.unit.to_owned(),
            number(line.volts),
            number(line.low),
            number(line.high),
            line.shown.clone().unwrap_or_else(|| number(line.reading)),
            line.verdict
                .map_or_else(String::new, |v| rows::word(v).to_owned()),
            rows::why(chart, &line.point).unwrap_or_default().to_owned(),
        ]);
    }
    for unsolved in &chart.unsolved {
        if !chart.points.iter().any(|l| l.point == unsolved.point) {
            let mut row = head.map(|_| String::new());
            row[0].clone_from(&unsolved.point);
            row[8].clone_from(&unsolved.why);
            table.push(row);
        }
    }
    crate::csv_text::of(table)
}
