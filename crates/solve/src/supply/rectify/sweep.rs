//! Newton's method over a whole cycle at once.
//!
//! Between steps the volts and amperes of the network are brought to the nearest point of each
//! law: nearest along a line of the resistance that the plate sees. A plate found 30 V above
//! its cathode then gets the amperes that 30 V drive through that resistance, not those of the
//! bare law, and a steep law is as easy as a soft one (resolvent of a monotone operator; Minty,
//! Duke Math. J. 29, 1962, from memory, not seen). Steps are halved until the misfit falls.

use super::steps::Steps;
use super::tangents::Tangents;
use crate::device::Behind;
use crate::netlist::{CYCLE_STEPS, Rectifiers};
use std::f64::consts::TAU;

/// Newton steps of one approach.
const MOST_STEPS: usize = 40;
/// Newton steps of the first approach, and of a start from an earlier cycle.
const FIRST_STEPS: usize = 14;
/// Greatest resistance that is put in series with a plate, ohms: nothing real passes it.
const MOST_SERIES: f64 = 1e12;
/// Accepted departure of the laws from the network's currents, relative to the greatest.
const TOLERANCE: f64 = 1e-11;
/// The same for a first look,
const LOOSE: f64 = 1e-9;
/// and with a resistance in series, which is only a start for less of it.
const SERIES: f64 = 1e-3;
/// On the way to somewhere else, slopes before a last correction of the currents by this part are good
/// enough.
const NEAR: f64 = 1e-4;

/// How much of a solution is wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Care {
    /// Currents and slopes.
    Whole,
    /// The slopes may be those before the last correction.
    RoughSlopes,
    /// So they may, and the currents need be right for a first look only.
    Loose,
}

/// The working arrays of one solution. Arrays over the cycle are step by step, plate within step.
pub(super) struct Sweep<'a> {
    group: &'a Rectifiers,
    steps: &'a Steps,
    /// Plates.
    m: usize,
    /// Each law behind the resistance that its plate sees.
    laws: Vec<Behind>,
    /// Resistance in series with every plate, for the time being.
    series: f64,
    /// Plate volts without any current: steady volts and emf.
    pub(super) drive: Vec<f64>,
    /// Plate volts and amperes that satisfy the network.
    pub(super) net_volts: Vec<f64>,
    pub(super) net_amps: Vec<f64>,
    /// The nearest volts and amperes that satisfy the laws, and the slopes there.
    pub(super) volts: Vec<f64>,
    pub(super) law_amps: Vec<f64>,
    pub(super) law_slope: Vec<f64>,
    tangents: Tangents,
    pub(super) care: Care,
    /// The slopes of the means at the last correction, if that was small.
    found: Vec<f64>,
    pub(super) iterations: usize,
}

impl<'a> Sweep<'a> {
    /// All plates open, at steady volts `across` each. `steps` must be those of `group`.
    pub(super) fn new(group: &'a Rectifiers, steps: &'a Steps, across: &[f64]) -> Self {
        let m = steps.m;
        let size = CYCLE_STEPS * m;
        let mut drive = vec![0.0; size];
        let (turn_sin, turn_cos) = (TAU / CYCLE_STEPS as f64).sin_cos();
        for (d, plate) in group.plates.iter().enumerate() {
            let (mut sin, mut cos) = plate.phase.sin_cos();
            for slot in drive.iter_mut().skip(d).step_by(m) {
                (sin, cos) = (
                    sin * turn_cos + cos * turn_sin,
                    cos * turn_cos - sin * turn_sin,
                );
                *slot = across[d] + plate.emf_peak * cos;
            }
        }
        let mut sweep = Sweep {
            group,
            steps,
            m,
            laws: Vec::new(),
            series: 0.0,
            volts: vec![0.0; size],
            net_volts: vec![0.0; size],
            net_amps: vec![0.0; size],
            drive,
            law_amps: vec![0.0; size],
            law_slope: vec![0.0; size],
            tangents: Tangents::default(),
            care: Care::Whole,
            found: Vec::new(),
            iterations: 0,
        };
        sweep.with_series(0.0);
        sweep.open();
        sweep
    }

    /// Plates that see steady volts and emf alone: with currents that stand still, a
    /// consistent start.
    fn open(&mut self) {
        self.net_volts.copy_from_slice(&self.drive);
        for (d, law) in self.laws.iter().enumerate() {
            let amps = self.net_amps.iter_mut().skip(d).step_by(self.m);
            amps.for_each(|i| *i = law.off());
        }
    }

    /// Puts a resistance in series with each plate.
    fn with_series(&mut self, series: f64) {
        self.series = series;
        let plates = self.group.plates.iter().zip(&self.steps.seen);
        self.laws = plates
            .map(|(plate, ohms)| plate.law.behind(ohms + series))
            .collect();
    }

    /// Brings the network's volts and amperes to the laws; returns the greatest current and the
    /// greatest departure from the network's.
    fn laws(&mut self) -> (f64, f64) {
        let (mut greatest, mut apart) = (0.0_f64, 0.0_f64);
        for (d, law) in self.laws.iter().enumerate() {
            let ohms = self.steps.seen[d];
            for at in (d..CYCLE_STEPS * self.m).step_by(self.m) {
                let emf = self.net_volts[at] + ohms * self.net_amps[at];
                let point = law.at(emf);
                self.volts[at] = point.volts + self.series * point.amps;
                self.law_amps[at] = point.amps;
                self.law_slope[at] = point.slope / (1.0 + self.series * point.slope);
                greatest = greatest.max(point.amps.abs());
                apart = apart.max((point.amps - self.net_amps[at]).abs());
            }
        }
        (greatest, apart)
    }

    /// How far laws and network are apart after part of a step: sum of squares, each weighted
    /// with its resistance.
    fn misfit(&self, fraction: f64, volts: &[f64], amps: &[f64]) -> f64 {
        let mut sum = 0.0;
        for (d, law) in self.laws.iter().enumerate() {
            let ohms = self.steps.seen[d];
            for at in (d..CYCLE_STEPS * self.m).step_by(self.m) {
                let net = self.net_amps[at] + fraction * amps[at];
                let emf = self.net_volts[at] + fraction * volts[at] + ohms * net;
                let apart = ohms * (law.at(emf).amps - net);
                sum += apart * apart;
            }
        }
        sum
    }

    /// Newton's method over the whole cycle; where it stalls, once more with a resistance in
    /// series with each plate that is as large as anything in the network, then less and less.
    pub(super) fn solve(&mut self) -> bool {
        let enough = self.enough();
        if self.newton(FIRST_STEPS, enough) {
            return true;
        }
        self.open();
        let m = self.m;
        let largest = (0..m).fold(0.0_f64, |z, d| z.max(self.steps.ohms[d * m + d].abs()));
        let least = self
            .steps
            .seen
            .iter()
            .copied()
            .fold(f64::INFINITY, f64::min);
        let mut series = largest.min(MOST_SERIES);
        while series > 1e-2 * least {
            self.with_series(series);
            self.newton(MOST_STEPS, SERIES);
            series *= 0.2;
        }
        self.with_series(0.0);
        self.newton(MOST_STEPS, enough)
    }

    /// Accepted departure of the laws from the network's currents, relative to the greatest.
    fn enough(&self) -> f64 {
        match self.care {
            Care::Whole | Care::RoughSlopes => TOLERANCE,
            Care::Loose => LOOSE,
        }
    }

    /// Newton's method from volts and amperes that satisfy the network; [`Sweep::solve`] where
    /// that does not settle.
    pub(super) fn solve_from(&mut self, volts: &[f64], amps: &[f64]) -> bool {
        self.net_volts.copy_from_slice(volts);
        self.net_amps.copy_from_slice(amps);
        if self.newton(FIRST_STEPS, self.enough()) {
            return true;
        }
        self.open();
        self.solve()
    }

    /// Newton's method from the volts and amperes that stand in the network, until the laws depart no more than `enough` from it.
    fn newton(&mut self, most: usize, enough: f64) -> bool {
        let size = CYCLE_STEPS * self.m;
        let (mut step_volts, mut step_amps) = (vec![0.0; size], vec![0.0; size]);
        let (mut greatest, mut apart) = self.laws();
        let mut best = f64::INFINITY;
        self.found.clear();
        for count in 0..most {
            if apart <= enough * greatest + 1e-16 {
                return true;
            }
            self.iterations += 1;
            let near = self.care != Care::Whole && apart <= NEAR * greatest;
            if !self.linear_cycle(&mut step_volts, &mut step_amps, near) {
                return false;
            }
            // Full steps are the rule; the misfit is looked at only when they do not pay.
            let mut fraction = 1.0;
            if count >= 12 && apart >= best {
                let before = self.misfit(0.0, &step_volts, &step_amps);
                while fraction > 1e-4
                    && self.misfit(fraction, &step_volts, &step_amps)
                        > (1.0 - 0.1 * fraction) * before
                {
                    fraction *= 0.5;
                }
            }
            best = best.min(apart);
            for at in 0..size {
                self.net_volts[at] += fraction * step_volts[at];
                self.net_amps[at] += fraction * step_amps[at];
            }
            (greatest, apart) = self.laws();
        }
        apart <= 1e3 * TOLERANCE * greatest + 1e-15
    }

    /// The Newton step: departures of volts and network currents at which the tangents of the
    /// laws meet the network. Departures, so that large network resistances (a floating
    /// winding's against ground) act on small numbers only.
    /// With `slopes`, those of the means are kept as well.
    fn linear_cycle(&mut self, volts: &mut [f64], amps: &mut [f64], slopes: bool) -> bool {
        // What a law's tangent passes beyond the network's current at the network's volts.
        for (at, beyond) in amps.iter_mut().enumerate() {
            *beyond = (self.law_amps[at] - self.net_amps[at])
                - self.law_slope[at] * (self.volts[at] - self.net_volts[at]);
        }
        self.found.clear();
        let found = slopes.then_some(&mut self.found);
        let (steps, slope) = (self.steps, &self.law_slope);
        self.tangents.factor(steps, slope, Some(amps))
            && self.tangents.departures(steps, slope, volts, amps, found)
    }

    /// Mean current of each plate by its law.
    pub(super) fn means(&self) -> Vec<f64> {
        let m = self.m;
        let sum = |d: usize| self.law_amps.iter().skip(d).step_by(m).sum::<f64>();
        (0..m).map(|d| sum(d) / CYCLE_STEPS as f64).collect()
    }

    /// Slopes of the mean currents with the steady volts, at the present laws.
    pub(super) fn slopes(&mut self, jacobian: &mut [f64]) {
        let m = self.m;
        jacobian[..m * m].fill(0.0);
        if self.law_slope.iter().all(|g| *g == 0.0) {
            return;
        }
        if self.found.len() == m * m {
            jacobian[..m * m].copy_from_slice(&self.found);
            return;
        }
        if self.tangents.factor(self.steps, &self.law_slope, None) {
            self.tangents
                .slopes(self.steps, &self.law_slope, &mut jacobian[..m * m]);
        }
    }
}
