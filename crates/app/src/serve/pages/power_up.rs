//! The power-up plan's own button: reading on at a mains step, with what is in the sockets there.

use bench::powerup::{Powerup, Stage};
use maud::{Markup, html};
use shop::JobId;
use wiring::Circuit;
use wiring::circuit::Kind;
use wiring::readings::ValvesIn;

/// `Read here`, under a column of the plan: begins a block of readings under this step's
/// conditions and leads to the chart, which holds each against what is expected there.
pub(crate) fn read_here(
    id: JobId,
    plan: &Powerup,
    circuit: &Circuit,
    title: &str,
    column: usize,
) -> Markup {
    let on_transformer = plan
        .stages
        .iter()
        .find(|s| title.ends_with(&format!(": {}", s.name)))
        .and_then(|s| Some((s, s.steps.get(column)?, None)));
    let on_lamp = || {
        let lamp = plan.lamp.as_ref()?;
        let stage = plan.on_lamp.get(column)?;
        Some((stage, stage.steps.first()?, Some(lamp.watts)))
    };
    let Some((stage, step, limiter)) = on_transformer.or_else(on_lamp) else {
        return html! {};
    };
    let Some(mains) = step.mains_volts else {
        return html! {};
    };
    html! {
        form method="post" action=(format!("/job/{id}/conditions")) {
            input type="hidden" name="state" value="as found";
            input type="hidden" name="mains" value=(format!("{mains:.0}"));
            input type="hidden" name="valves" value=(valves(stage, circuit));
            @if let Some(watts) = limiter { input type="hidden" name="limiter" value=(watts); }
            input type="hidden" name="back" value=(format!("/job/{id}/chart"));
            button.button.small-button aria-label=(format!("Read at {mains:.0} V, {}", stage.name)) { "Read" }
        }
    }
}

/// What is in the sockets, in the words of a condition.
fn valves(stage: &Stage, circuit: &Circuit) -> String {
    let every: Vec<&str> = circuit
        .parts
        .iter()
        .filter(|p| matches!(p.kind, Kind::Valve(_)))
        .map(|p| p.name.as_str())
        .collect();
    let is_in: Vec<&str> = every
        .iter()
        .copied()
        .filter(|v| stage.valves.is_in(v))
        .collect();
    match (&stage.valves, is_in.len()) {
        (ValvesIn::All, _) => "all in".to_owned(),
        (_, n) if n == every.len() => "all in".to_owned(),
        (_, 0) => format!("without {}", every.join(" ")),
        _ => format!("only {}", is_in.join(" ")),
    }
}
