//! What a cycle that repeats holds: waves, harmonics, and what every part makes of it.

use std::f64::consts::TAU;

use super::Running;
use super::build::Moving;
use super::power::Moment;
use crate::flows::Power;
use crate::linear::Complex;
use crate::netlist::{Netlist, NodeIndex};

/// A multiplier this far outside the circle grows.
const OUTSIDE: f64 = 1e-4;

/// Highest harmonic that counts as distortion.
const HARMONICS: u32 = 20;

/// One electrode or terminal over a cycle, amperes.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Current {
    /// Mean.
    pub mean: f64,
    /// Root of the mean square.
    pub rms: f64,
    /// Greatest, whichever way it flows.
    pub peak: f64,
}

/// One cycle of a circuit that repeats itself.
#[derive(Debug, Clone)]
pub struct Cycle {
    begin: f64,
    period: f64,
    multipliers: Vec<Complex>,
    /// Nodes' volts, stage by stage: seconds, weight, volts.
    stages: Vec<(f64, f64, Vec<f64>)>,
    elements: Vec<(Power, Vec<Current>)>,
    /// Mean watts into each terminal, by element.
    watts: Vec<Vec<f64>>,
    nodes: usize,
    start: Option<Running>,
}

impl Cycle {
    pub(super) fn new(netlist: &Netlist, begin: f64, period: f64) -> Self {
        Self {
            begin,
            period,
            multipliers: Vec::new(),
            stages: Vec::new(),
            elements: netlist
                .elements
                .iter()
                .map(|e| {
                    (
                        Power::default(),
                        vec![Current::default(); e.law.terminals().len()],
                    )
                })
                .collect(),
            watts: netlist
                .elements
                .iter()
                .map(|e| vec![0.0; e.law.terminals().len()])
                .collect(),
            nodes: netlist.nodes.len().max(1),
            start: None,
        }
    }

    /// Adds one stage.
    pub(super) fn see(
        &mut self,
        netlist: &Netlist,
        moving: &Moving,
        (seconds, weight): (f64, f64),
        x: &[f64],
        amps: &[f64],
    ) {
        let weight = weight / self.period;
        let moment = Moment {
            netlist,
            moving,
            x,
            amps: amps.into(),
            seconds,
        };
        for (element, (power, currents)) in self.elements.iter_mut().enumerate() {
            let flows = moment.currents(element);
            let now = moment.power_of(element, &flows);
            power.dissipated += weight * now.dissipated;
            power.delivered += weight * now.delivered;
            let terminals = netlist.elements[element].law.terminals();
            let last = terminals.last().map_or(0.0, |&node| x[node]);
            for ((watts, &node), amps) in self.watts[element].iter_mut().zip(&terminals).zip(&flows)
            {
                *watts += weight * (x[node] - last) * amps;
            }
            for (current, amps) in currents.iter_mut().zip(flows) {
                current.mean += weight * amps;
                // a mean square until the end
                current.rms += weight * amps * amps;
                current.peak = current.peak.max(amps.abs());
            }
        }
        let volts = x.iter().take(self.nodes).copied().collect();
        self.stages.push((seconds - self.begin, weight, volts));
    }

    /// All of it has been seen: where it begins, and what it does to nudges.
    pub(super) fn closes(&mut self, start: Running, multipliers: Vec<Complex>) {
        self.multipliers = multipliers;
        for (_, currents) in &mut self.elements {
            for current in currents {
                current.rms = current.rms.max(0.0).sqrt();
            }
        }
        self.start = Some(start);
    }

    /// Length of the cycle, seconds.
    #[must_use]
    pub fn period(&self) -> f64 {
        self.period
    }

    /// What a nudge is multiplied by in each cycle, largest first (Floquet's multipliers). Those
    /// near nothing are rough. An oscillator's own, which is 1, is not among them.
    #[must_use]
    pub fn multipliers(&self) -> &[Complex] {
        &self.multipliers
    }

    /// Does every nudge die away? If not, the circuit does not stay in this cycle: it
    /// oscillates besides, at whatever frequency.
    #[must_use]
    pub fn stable(&self) -> bool {
        self.multipliers.iter().all(|m| m.abs() <= 1.0 + OUTSIDE)
    }

    /// The circuit at the beginning of the cycle, to let it run on from there.
    #[must_use]
    pub fn running(&self) -> Option<Running> {
        self.start.clone()
    }

    fn mean_of(&self, a: NodeIndex, b: NodeIndex, mut by: impl FnMut(f64, f64) -> f64) -> f64 {
        let at = |volts: &[f64], node: NodeIndex| volts.get(node).copied().unwrap_or(0.0);
        self.stages
            .iter()
            .map(|(seconds, weight, volts)| weight * by(*seconds, at(volts, a) - at(volts, b)))
            .sum()
    }

    /// Mean volts of node `a` over node `b`.
    #[must_use]
    pub fn mean_volts(&self, a: NodeIndex, b: NodeIndex) -> f64 {
        self.mean_of(a, b, |_, volts| volts)
    }

    /// Rms volts of the alternating part of node `a` over node `b`.
    #[must_use]
    pub fn rms_volts(&self, a: NodeIndex, b: NodeIndex) -> f64 {
        let mean = self.mean_volts(a, b);
        let square = self.mean_of(a, b, |_, volts| (volts - mean) * (volts - mean));
        square.max(0.0).sqrt()
    }

    /// Peak phasor of harmonic number `order` (1: once in a cycle) of the volts of node `a` over
    /// node `b`. A sine that began the cycle with 0 V, rising, has the angle -90 degrees.
    #[must_use]
    pub fn harmonic(&self, a: NodeIndex, b: NodeIndex, order: u32) -> Complex {
        let omega = TAU * f64::from(order) / self.period;
        Complex::new(
            2.0 * self.mean_of(a, b, |t, volts| volts * (omega * t).cos()),
            -2.0 * self.mean_of(a, b, |t, volts| volts * (omega * t).sin()),
        )
    }

    /// Harmonics 2 to 20 together over the first, of the volts of node `a` over node `b`: a
    /// ratio; not a number where there is no first.
    #[must_use]
    pub fn distortion(&self, a: NodeIndex, b: NodeIndex) -> f64 {
        let square = |order: u32| self.harmonic(a, b, order).abs().powi(2);
        ((2..=HARMONICS).map(square).sum::<f64>() / square(1)).sqrt()
    }

    /// Volts of node `a` over node `b` from moment to moment: seconds since the beginning, volts. Not evenly spaced.
    #[must_use]
    pub fn wave(&self, a: NodeIndex, b: NodeIndex) -> Vec<(f64, f64)> {
        let at = |volts: &[f64], node: NodeIndex| volts.get(node).copied().unwrap_or(0.0);
        let mut wave: Vec<(f64, f64)> = self
            .stages
            .iter()
            .map(|(seconds, _, volts)| (*seconds, at(volts, a) - at(volts, b)))
            .collect();
        wave.sort_by(|a, b| a.0.total_cmp(&b.0));
        wave
    }

    /// Mean power of element number `element`, watts, as [`Running::power`] splits it; none if
    /// there is no such element.
    #[must_use]
    pub fn power(&self, element: usize) -> Power {
        self.elements
            .get(element)
            .map_or_else(Power::default, |e| e.0)
    }

    /// Currents into the terminals of element number `element`, in the order of
    /// [`crate::netlist::Law::terminals`]; none if there is no such element.
    #[must_use]
    pub fn currents(&self, element: usize) -> &[Current] {
        self.elements.get(element).map_or(&[], |e| &e.1[..])
    }

    /// Mean watts that go into terminal number `terminal` of element number `element`, against its last terminal: at a
    /// valve's plate, the plate's dissipation.
    #[must_use]
    pub fn terminal_watts(&self, element: usize, terminal: usize) -> f64 {
        self.watts
            .get(element)
            .and_then(|watts| watts.get(terminal))
            .copied()
            .unwrap_or(0.0)
    }
}
