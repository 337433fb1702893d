//! Sound through the solved amplifier, sample by sample.
//!
//! Volts come in at a jack, volts at the loudspeaker go out, in steps of one length. The loudspeaker is its impedance
//! (`solve`'s own), not a resistor. The rectifiers stand as their means over a mains cycle, taken anew when the volts
//! on them have moved: so the supply sags, without its ripple; hum, hiss and a saturating core are not heard. A tremolo
//! that starts by itself is let swing before the first sample. Knows no file and no rate of a recording: whoever plays
//! chooses the steps, and keeps from them what they cannot hold (`sound::rate`).

use crate::powered::Asked;
use crate::voicing::{
    Plugged, ends, in_the_way, inputs, loudspeaker, notes_of, plugged, silent, unknown_in_the_way,
};
use solve::netlist::{Law, NodeIndex};
use solve::operating::Solution;
use solve::response::SmallSignal;
use solve::time::{Running, Tendency, natural_frequencies};
use wiring::circuit::Circuit;
use wiring::sheet::Library;

#[cfg(test)]
mod tests;

/// Below this gain at 1 kHz nothing is said to arrive; a volume turned down lets more creep past.
const SILENT: f64 = 1e-6;
/// A tremolo swings no faster, hertz.
const FASTEST: f64 = 30.0;
/// Its resistors are off by this part for a moment, to nudge it.
const NUDGE: f64 = 1.05;
/// The nudge is let grow for so many of its own times, and for this many seconds at most.
const GROWN: (f64, f64) = (6.0, 20.0);
/// The rectifiers are taken anew when the mean volts on one have moved by this part.
const MOVED: f64 = 5e-3;
/// Seconds over which those means are taken: whole cycles of 50 and of 60 Hz mains.
const MEANS_OVER: f64 = 0.1;

/// What is played.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct PlayRequest {
    /// Conditions, knobs among them.
    pub asked: Asked,
    /// Jack or generator; the input that is heard loudest unless told.
    pub from: Option<String>,
    /// Point or part that is heard; the loudspeaker unless told.
    pub to: Option<String>,
    /// Seconds from sample to sample.
    pub step: f64,
}

/// An amplifier that is played through.
#[derive(Debug, Clone)]
pub struct Player {
    from: String,
    to: String,
    notes: Vec<String>,
    tremolo_hertz: Option<f64>,
    gain: f64,
    step: f64,
    source: usize,
    ends: (NodeIndex, NodeIndex),
    /// Volts between them at rest.
    rest: f64,
    running: Running,
    begun: Solution,
    means: Means,
}

/// Mean volts on the rectifiers.
#[derive(Debug, Clone)]
struct Means {
    nodes: Vec<NodeIndex>,
    /// Where the rectifiers were taken last.
    stand: Vec<f64>,
    sums: Vec<f64>,
    count: u32,
    whole: u32,
}

impl Means {
    /// Adds the volts of a sample up.
    fn add(&mut self, volts: impl Fn(NodeIndex) -> f64) {
        for (sum, &node) in self.sums.iter_mut().zip(&self.nodes) {
            *sum += volts(node);
        }
        // without averaged rectifiers nothing ever begins anew
        self.count = self.count.saturating_add(1);
    }
}

impl Player {
    /// Solves the amplifier at rest, with the jack plugged, and lets its tremolo swing. `watch` is asked now and then
    /// whether to go on.
    ///
    /// # Errors
    /// A sentence: a name that is nowhere, no operating point, a valve in the way whose volts hang on what is not
    /// traced, nothing that arrives.
    pub fn new(
        circuit: &Circuit,
        library: &Library,
        request: &PlayRequest,
        watch: &mut dyn FnMut(&str) -> bool,
    ) -> Result<Self, String> {
        if !(request.step > 0.0 && request.step.is_finite()) {
            return Err("a step must be longer than nothing".to_owned());
        }
        let to = match &request.to {
            Some(to) => to.clone(),
            None => loudspeaker(circuit).ok_or(
                "no loudspeaker is traced at both ends; type one, `LS1 speaker 8 ohm`, or name another point",
            )?,
        };
        let names = match &request.from {
            Some(name) => vec![name.clone()],
            None => inputs(circuit),
        };
        let mut loudest: Option<(f64, Plugged, (NodeIndex, NodeIndex))> = None;
        let mut why = "no input jack is traced; name a jack or a generator".to_owned();
        for name in names {
            match arrives(circuit, library, &request.asked, &name, &to) {
                Ok((gain, at, ends)) => {
                    if loudest.as_ref().is_none_or(|l| gain > l.0 * (1.0 + 1e-9)) {
                        loudest = Some((gain, at, ends));
                    }
                }
                Err(reason) => why = reason,
            }
        }
        let (gain, at, ends) = loudest.ok_or(why)?;
        Self::plugged(at, gain, to, ends, request.step, watch)
    }

    fn plugged(
        at: Plugged,
        gain: f64,
        to: String,
        ends: (NodeIndex, NodeIndex),
        step: f64,
        watch: &mut dyn FnMut(&str) -> bool,
    ) -> Result<Self, String> {
        let solved = at.solved;
        let mut netlist = solved.point.netlist.clone();
        for element in &mut netlist.elements {
            // What the mains does stands in the rectifiers' means and in the heat of the cathodes.
            if let Law::Alternating { volts, .. } = &mut element.law {
                *volts = 0.0;
            }
        }
        let begun = solved.point.solution.clone();
        let mut running = Running::at(&netlist, &begun).map_err(|e| e.to_string())?;
        let swings = natural_frequencies(&netlist, &begun)
            .unwrap_or_default()
            .into_iter()
            .find(|n| n.hertz > 0.1 && n.hertz < FASTEST && n.tendency() == Tendency::Oscillates);
        if let Some(pair) = swings {
            let mut nudged = netlist.clone();
            for element in &mut nudged.elements {
                if let Law::Resistor { ohms, .. } = &mut element.law {
                    *ohms *= NUDGE;
                }
            }
            let words = "how the tremolo swings";
            let mut go = |running: &mut Running, until: f64| {
                running
                    .until_while(until, &mut |_| watch(words))
                    .map_err(|e| e.to_string())
            };
            running = running.with_accuracy(1e-5);
            running.change(&nudged).map_err(|e| e.to_string())?;
            go(&mut running, 0.25 / pair.hertz)?;
            running.change(&netlist).map_err(|e| e.to_string())?;
            let grown = (GROWN.0 / pair.growth.max(1e-3)).min(GROWN.1);
            let from = running.seconds();
            go(&mut running, from + grown)?;
            running = running.with_accuracy(solve::time::USUAL_ACCURACY);
        }
        let nodes: Vec<NodeIndex> = netlist
            .elements
            .iter()
            .filter(|e| matches!(e.law, Law::Rectifiers(_)))
            .flat_map(|e| e.law.terminals())
            .collect();
        let mut notes: Vec<String> = notes_of(&solved).collect();
        notes.dedup();
        Ok(Self {
            from: at.from,
            to,
            notes,
            tremolo_hertz: swings.map(|s| s.hertz),
            gain,
            step,
            source: at.source,
            rest: begun.across(ends.0, ends.1),
            ends,
            means: Means {
                stand: nodes
                    .iter()
                    .map(|&n| begun.volts.get(n).copied().unwrap_or(0.0))
                    .collect(),
                sums: vec![0.0; nodes.len()],
                nodes,
                count: 0,
                whole: (MEANS_OVER / step).round().clamp(1.0, 1e9) as u32,
            },
            running,
            begun,
        })
    }

    /// The jack or generator that is played.
    #[must_use]
    pub fn from(&self) -> &str {
        &self.from
    }

    /// What is heard.
    #[must_use]
    pub fn to(&self) -> &str {
        &self.to
    }

    /// What was assumed, and what is left out.
    #[must_use]
    pub fn notes(&self) -> &[String] {
        &self.notes
    }

    /// Where a tremolo swings: its pace as it begins, hertz.
    #[must_use]
    pub fn tremolo_hertz(&self) -> Option<f64> {
        self.tremolo_hertz
    }

    /// Volts out for a volt in at 1 kHz, small signals.
    #[must_use]
    pub fn gain(&self) -> f64 {
        self.gain
    }

    /// Two steps on, to `volts` at the jack (open-circuit) at the end of each; the volts heard then, less those at rest.
    ///
    /// Two at once, because that takes half the time of one after the other ([`Running::two_steps`]).
    ///
    /// # Errors
    /// A sentence, where the circuit cannot be followed.
    pub fn push(&mut self, volts: [f64; 2]) -> Result<[f64; 2], String> {
        let told = |e: solve::time::TimeError| e.to_string();
        let midway = self
            .running
            .two_steps(self.step, &[(self.source, volts)])
            .map_err(told)?;
        let (a, b) = self.ends;
        let first = midway[a] - midway[b];
        self.means.add(|node| midway[node]);
        self.means.add(|node| self.running.volts(node));
        self.watch_supply().map_err(told)?;
        Ok([first, self.running.across(a, b)].map(|volts| volts - self.rest))
    }

    /// Takes the rectifiers anew when their mean volts have moved.
    fn watch_supply(&mut self) -> Result<(), solve::time::TimeError> {
        let Means {
            nodes,
            stand,
            sums,
            count,
            whole,
        } = &mut self.means;
        if nodes.is_empty() || *count < *whole {
            return Ok(());
        }
        let means: Vec<f64> = sums.iter().map(|s| s / f64::from(*count)).collect();
        sums.fill(0.0);
        *count = 0;
        let moved = stand
            .iter()
            .zip(&means)
            .any(|(was, is)| (is - was).abs() > MOVED * is.abs().max(1.0));
        if moved {
            let volts: Vec<(NodeIndex, f64)> =
                nodes.iter().copied().zip(means.iter().copied()).collect();
            self.running.follow_means(&self.begun, &volts)?;
            *stand = means;
        }
        Ok(())
    }
}

/// Solves with one jack plugged, and says how much arrives at 1 kHz.
fn arrives(
    circuit: &Circuit,
    library: &Library,
    asked: &Asked,
    from: &str,
    to: &str,
) -> Result<(f64, Plugged, (NodeIndex, NodeIndex)), String> {
    let at = plugged(circuit, library, asked, from)?;
    let (a, b) = ends(circuit, &at.solved, to)?;
    let small = SmallSignal::new(&at.solved.point.netlist, &at.solved.point.solution)
        .map_err(|e| e.to_string())?;
    let here = small.at(1000.0).map_err(|e| e.to_string())?;
    let moved = here.per_volt(at.source);
    let volts = |n: NodeIndex| moved.get(n).copied().unwrap_or_default();
    let gain = volts(a) - volts(b);
    if let Some(valve) = unknown_in_the_way(&at.solved, &here, &moved, (a, b), gain) {
        return Err(in_the_way(&valve));
    }
    let gain = gain.abs();
    if gain < SILENT {
        return Err(silent(from, to));
    }
    Ok((gain, at, (a, b)))
}
