//! The power-up plan: lamp, mains steps, what to read at each, when to switch off, where charge
//! stays afterwards.
//!
//! Each step is the amplifier solved at those mains volts with those valves in their sockets, so
//! the expected figures know that a valve rectifier gives nothing until its heater is warm, that
//! unloaded volts stand at the peak, and that a lamp takes its share. Limits are relative to what
//! is expected at that step, the lower of two where there are two, and never looser than the rule.
//!
//! Settled states only: warm valves, charged capacitors. What happens in the first second is not
//! told here.

mod abort;
mod lamp;
mod sheet;
mod stages;
mod step;

#[cfg(test)]
mod tests;

use crate::charge::{Charges, Start, charges, start};
use crate::chart::Unsolved;
use crate::rules::rules;
use serde::Serialize;
use solve::{AssembleOptions, Solved, solve_circuit};
use stages::Sockets;
use step::Look;
use wiring::Conditions;
use wiring::assume::Assumed;
use wiring::circuit::{Circuit, Setting};
use wiring::roles::anatomy;
use wiring::sheet::Library;

pub use abort::{Abort, Quantity, Source};
pub use lamp::Lamp;
pub use sheet::discharge_lines;
pub use stages::Stage;
pub use step::{Level, Plate, Step};

/// The steps of a variable transformer, per cent of the mains: each 10 to 25 % above the one before
/// (`power.variable_transformer`).
pub const STEPS: [f64; 5] = [25.0, 50.0, 75.0, 90.0, 100.0];

/// What is asked of a plan.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct PowerupRequest {
    /// Mains volts; none: as the wiring says.
    pub mains_volts: Option<f64>,
    /// Watts of the lamp at hand; none: one is proposed.
    pub lamp_watts: Option<f64>,
    /// Knobs and switches in place of what the wiring says.
    pub sets: Vec<Setting>,
    /// Valves that are not there at all.
    pub without_valves: Vec<String>,
}

/// The plan.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Powerup {
    /// Mains volts of the last step.
    pub mains_volts: Option<f64>,
    /// Highest mains that the discharge starts from.
    pub highest_mains_volts: Option<f64>,
    /// Volt-amperes at rest, all valves in, full mains.
    pub draw_va: Option<f64>,
    /// The lamp in series.
    pub lamp: Option<Lamp>,
    /// What is expected on the lamp at full mains, stage by stage.
    pub on_lamp: Vec<Stage>,
    /// What is expected on the variable transformer, stage by stage.
    pub stages: Vec<Stage>,
    /// How every capacitor empties with the standby switch closed, or without one.
    pub discharge: Charges,
    /// The same with it open; none without such a switch.
    pub discharge_standby_open: Option<Charges>,
    /// What could not be computed, and why.
    pub unsolved: Vec<Unsolved>,
    /// What was assumed.
    pub notes: Vec<String>,
    #[serde(skip)]
    subject: Option<String>,
    #[serde(skip)]
    still: Assumed,
}

/// The plan for this amplifier.
///
/// Total: any circuit gives a plan; what is not computed is in `unsolved`, and the discharge list
/// has every electrolytic all the same.
#[must_use]
pub fn plan(circuit: &Circuit, library: &Library, request: &PowerupRequest) -> Powerup {
    let anatomy = anatomy(circuit);
    let sockets = Sockets::of(circuit, library, &anatomy, &request.without_valves);
    let work = Work {
        circuit,
        library,
        request,
        look: Look::new(circuit, library, &anatomy, &sockets),
    };
    let full = work.full_mains();
    let all_in = work.solved(full, &work.base(sockets.all()));
    let draw_va = work.look.draw(&all_in, full);
    let lamp = lamp::choose(draw_va, full, request.lamp_watts);
    let mut on_lamp = Vec::new();
    if let Some(lamp) = &lamp {
        for stage in sockets.stages() {
            let mut conditions = work.base(stage.valves.clone());
            conditions.limiter_watts = Some(lamp.watts);
            let step = work.step(100.0, full, &conditions);
            on_lamp.push(stage.with(vec![step]));
        }
    }
    let stages: Vec<Stage> = sockets
        .stages()
        .map(|stage| {
            let conditions = work.base(stage.valves.clone());
            let steps = STEPS.map(|percent| work.step(percent, full, &conditions));
            stage.with(steps.to_vec())
        })
        .collect();
    let highest = full.map(highest_mains);
    let (closed, open) = work.emptied(highest, &sockets);
    let mut unsolved: Vec<Unsolved> = all_in
        .assembly
        .unsolved
        .iter()
        .map(|u| Unsolved {
            point: u.point.clone(),
            why: u.why.clone(),
        })
        .collect();
    if full.is_none() {
        unsolved.push(Unsolved {
            point: "mains".to_owned(),
            why:
                "neither the wiring nor the command says the mains volts; type `mains 230 V 50 Hz`"
                    .to_owned(),
        });
    }
    if work.look.hertz(&all_in) <= 0.0 {
        unsolved.push(Unsolved {
            point: "mains transformer".to_owned(),
            why: "not traced yet, so no step has figures; type it as in `T1 power 230 V: hv 275-0-275 V 70 mA, heater 6.3 V 2.5 A`".to_owned(),
        });
    }
    Powerup {
        mains_volts: full,
        highest_mains_volts: highest,
        draw_va,
        lamp,
        on_lamp,
        stages,
        discharge: closed,
        discharge_standby_open: open,
        unsolved,
        notes: notes(&all_in),
        subject: circuit.heading.amp.clone(),
        still: Assumed::of(circuit),
    }
}

/// How every capacitor empties from the highest volts, with the standby switch closed (or without
/// one), and open where there is such a switch.
#[must_use]
pub fn emptying(circuit: &Circuit, library: &Library) -> (Charges, Option<Charges>) {
    let request = PowerupRequest::default();
    let anatomy = anatomy(circuit);
    let sockets = Sockets::of(circuit, library, &anatomy, &[]);
    let work = Work {
        circuit,
        library,
        request: &request,
        look: Look::new(circuit, library, &anatomy, &sockets),
    };
    let highest = work.full_mains().map(highest_mains);
    work.emptied(highest, &sockets)
}

/// The highest mains that is likely where the amplifier is: 10 % over 230 V in Europe, 5 % over
/// 120 V in America (`mains.level_then_now`), never below what is there now; elsewhere 10 % more.
fn highest_mains(now: f64) -> f64 {
    let rule = "mains.level_then_now";
    let europe = rules().figure(rule, "Europe highest").unwrap_or(253.0);
    let america = rules().figure(rule, "US supply tolerance").unwrap_or(5.0);
    if now >= 200.0 {
        europe.max(now)
    } else if now >= 105.0 {
        (120.0 * (1.0 + america / 100.0)).max(now * (1.0 + america / 100.0))
    } else {
        now * 1.1
    }
}

/// What was assumed, once.
fn notes(solved: &Solved) -> Vec<String> {
    let assumed = solved.assembly.notes.iter().map(|n| n.text.clone());
    let approximate = solved.point.notes.iter();
    assumed
        .chain(approximate.map(|n| format!("{}: {}", n.part, n.text)))
        .collect()
}

/// All that a step is computed from.
struct Work<'a> {
    circuit: &'a Circuit,
    library: &'a Library,
    request: &'a PowerupRequest,
    look: Look<'a>,
}

impl Work<'_> {
    /// Conditions with these valves in, at mains volts that are still to be set.
    fn base(&self, valves: wiring::readings::ValvesIn) -> Conditions {
        Conditions {
            valves,
            sets: self.request.sets.clone(),
            ..Conditions::default()
        }
    }

    fn solved(&self, mains: Option<f64>, conditions: &Conditions) -> Solved {
        let under = Conditions {
            mains_volts: mains,
            ..conditions.clone()
        };
        solve_circuit(
            self.circuit,
            self.library,
            &under,
            &AssembleOptions::default(),
        )
    }

    fn step(&self, percent: f64, full: Option<f64>, conditions: &Conditions) -> Step {
        let mains = full.map(|v| v * percent / 100.0);
        let solved = self.solved(mains, conditions);
        self.look.step(percent, mains, conditions, &solved)
    }

    /// Today's mains: asked, else of the heading, else of the primary.
    fn full_mains(&self) -> Option<f64> {
        let asked = self.request.mains_volts;
        let heading = self.circuit.heading.mains.map(|m| m.volts);
        asked
            .or(heading)
            .or_else(|| self.look.primary_volts())
            .filter(|v| v.is_finite() && *v > 0.0)
    }

    /// How every capacitor empties: standby closed, or no such switch; and open.
    fn emptied(&self, highest: Option<f64>, sockets: &Sockets) -> (Charges, Option<Charges>) {
        let has_standby = self.has_standby();
        let starts = self.starts(highest, sockets, has_standby);
        let under = |open: Option<bool>| {
            let conditions = Conditions {
                standby_open: open,
                ..self.base(sockets.all())
            };
            charges(self.circuit, self.library, &conditions, &starts)
        };
        let closed = under(has_standby.then_some(false));
        (closed, has_standby.then(|| under(Some(true))))
    }

    /// Is there a switch that `standby open` acts on?
    fn has_standby(&self) -> bool {
        let under = Conditions {
            standby_open: Some(true),
            power_off: true,
            ..Conditions::default()
        };
        let options = AssembleOptions::default();
        let assembly = solve::assemble(self.circuit, self.library, &under, &options);
        !assembly.notes.iter().any(|n| n.code == "no-standby-switch")
    }

    /// The states in which the plug may be pulled, at the highest mains.
    fn starts(&self, highest: Option<f64>, sockets: &Sockets, has_standby: bool) -> Vec<Start> {
        let Some(mains) = highest else {
            return Vec::new();
        };
        let positions: &[Option<bool>] = if has_standby {
            &[Some(false), Some(true)]
        } else {
            &[None]
        };
        let mut starts = Vec::new();
        for stage in sockets.stages() {
            for open in positions {
                let conditions = Conditions {
                    standby_open: *open,
                    ..self.base(stage.valves.clone())
                };
                let solved = self.solved(Some(mains), &conditions);
                let standby = match open {
                    Some(true) => ", standby open",
                    Some(false) => ", standby closed",
                    None => "",
                };
                let when = format!("{}{standby}, {mains:.0} V mains", stage.name);
                starts.push(start(self.circuit, &solved, when));
            }
        }
        starts
    }
}
