//! Many amplifiers of one wiring: what spreads, drawn; what a meter would read, counted.
//!
//! Each build draws every parameter of the netlist ([`crate::netlist::Parameter`]), by Latin hypercube
//! (McKay, Beckman, Conover, Technometrics 21, 1979, from memory, not seen): of `count` builds, each
//! `1 / count` of a parameter's distribution is drawn exactly once; or by scrambled Sobol points, which spread evenly
//! over several parameters together as well ([`Drawn`] says when which is better). Each is solved from the
//! nominal solution, so no build depends on another, nor on how many threads share the work.
//! Means are corrected by the linear prediction, whose own mean is known (a control variate).

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

use crate::linearised::{LineariseError, Linearised};
use crate::netlist::{Netlist, NodeIndex};
use crate::operating::{Solution, Solver};

mod sobol;

/// Builds solved between two questions whether to go on.
const ROUND: usize = 512;

/// Points by which the mean logarithm of a parameter's factor is found.
const MEAN_POINTS: u32 = 1000;

/// How builds are drawn.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Drawn {
    /// Latin hypercube.
    Strata,
    /// Scrambled Sobol points; parameters beyond the four hundredth by strata.
    #[default]
    Points,
}

/// How many builds, drawn how, by how many hands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Plan {
    /// How.
    pub drawn: Drawn,
    /// Builds.
    pub count: u32,
    /// The same seed draws the same builds.
    pub seed: u64,
    /// Threads; 0 counts as 1. The figures do not depend on it, to the last bit.
    pub threads: usize,
}

/// Why there are no builds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum BuildsError {
    /// The nominal circuit cannot be linearised.
    #[error(transparent)]
    Linearise(#[from] LineariseError),
    /// Whoever watched wanted no more.
    #[error("stopped")]
    Stopped,
}

/// One reading over all builds.
#[derive(Debug, Clone, PartialEq)]
pub struct Spread {
    /// Volts of the nominal circuit.
    pub nominal: f64,
    /// Mean, corrected by the linear prediction.
    pub mean: f64,
    /// Standard deviation.
    pub deviation: f64,
    /// By how much the mean may be off, one standard error, if builds were drawn without strata:
    /// strata only make it less.
    pub mean_error: f64,
    /// Standard deviation by the sensitivities alone.
    pub linear_deviation: f64,
    /// Volts of every build that was solved, in order of size.
    sorted: Vec<f64>,
}

impl Spread {
    /// Volts that the part `rank` (0 to 1) of all builds is below, interpolated between builds.
    /// Not a number when no build was solved.
    #[must_use]
    pub fn quantile(&self, rank: f64) -> f64 {
        let count = self.sorted.len();
        if count == 0 || rank.is_nan() {
            return f64::NAN;
        }
        let at = (rank.clamp(0.0, 1.0) * count as f64 - 0.5).clamp(0.0, count as f64 - 1.0);
        let below = at.floor();
        let get = |at: f64| self.sorted.get(at as usize).copied().unwrap_or(f64::NAN);
        get(below) + (at - below) * (get(at.ceil()) - get(below))
    }

    /// How many builds were solved.
    #[must_use]
    pub fn solved(&self) -> usize {
        self.sorted.len()
    }
}

/// Draws and solves builds of `netlist`, whose nominal solution is `solution`, and reads the volts
/// of the first node of each pair over the second.
///
/// `factor(p, u)` is the factor on parameter number `p` that the part `u` (above 0, below 1) of all
/// sound parts is below: the inverse of its distribution. Factors that are not above 0 and finite count as 1.
/// Builds without an operating point are left out of every spread: see [`Spread::solved`].
/// `watch` is asked now and then with the share that is done; false stops the work.
///
/// # Errors
/// [`BuildsError::Linearise`] when the solution is not the netlist's own, [`BuildsError::Stopped`].
pub fn builds(
    netlist: &Netlist,
    solution: &Solution,
    readings: &[(NodeIndex, NodeIndex)],
    factor: &(dyn Fn(usize, f64) -> f64 + Sync),
    plan: Plan,
    watch: &mut dyn FnMut(f64) -> bool,
) -> Result<Vec<Spread>, BuildsError> {
    let linearised = Linearised::new(netlist, solution)?;
    let count = plan.count as usize;
    let parameters = netlist.parameters.len();
    let slopes: Vec<Vec<f64>> = readings
        .iter()
        .map(|&(a, b)| {
            let adjoint = linearised.adjoint(a, b);
            (0..parameters)
                .map(|p| adjoint.sensitivity(netlist, solution, p))
                .collect()
        })
        .collect();
    let logs = |p: usize, u: f64| sound(factor(p, u)).ln();
    // Mean and variance of each parameter's logarithm.
    let moments: Vec<(f64, f64)> = (0..parameters)
        .map(|p| {
            let points =
                (0..MEAN_POINTS).map(|i| logs(p, (f64::from(i) + 0.5) / f64::from(MEAN_POINTS)));
            let sums = points.fold((0.0, 0.0), |(sum, square), log| {
                (sum + log, square + log * log)
            });
            let mean = sums.0 / f64::from(MEAN_POINTS);
            (
                mean,
                (sums.1 / f64::from(MEAN_POINTS) - mean * mean).max(0.0),
            )
        })
        .collect();
    let draws = Draws::new(plan, parameters);
    let mut solved: Vec<Option<Vec<Read>>> = vec![None; count];
    let threads = plan.threads.max(1);
    let mut done = 0;
    for round in solved.chunks_mut(ROUND) {
        if !watch(done as f64 / count.max(1) as f64) {
            return Err(BuildsError::Stopped);
        }
        let share = round.len().div_ceil(threads);
        std::thread::scope(|scope| {
            for (hand, part) in round.chunks_mut(share).enumerate() {
                let first = done + hand * share;
                let (draws, slopes, moments) = (&draws, &slopes, &moments);
                scope.spawn(move || {
                    let Ok(mut solver) = Solver::new(netlist) else {
                        return;
                    };
                    let mut build = netlist.clone();
                    let mut factors = vec![1.0; parameters];
                    let mut logs = vec![0.0; parameters];
                    for (at, slot) in part.iter_mut().enumerate() {
                        let each = factors.iter_mut().zip(&mut logs).zip(moments);
                        for (p, ((value, log), (mean, _))) in each.enumerate() {
                            *value = sound(factor(p, draws.rank(p, first + at)));
                            *log = value.ln() - mean;
                        }
                        build.rescale(netlist, &factors);
                        solver.remember(&solution.cycles);
                        let found = solver.solve(&build, Some(&solution.volts));
                        if found.converged() {
                            let read = readings.iter().zip(slopes).map(|(&(a, b), slopes)| {
                                let volts = found.across(a, b);
                                let predicted = slopes
                                    .iter()
                                    .zip(&logs)
                                    .map(|(slope, log)| slope * log)
                                    .sum();
                                Read { volts, predicted }
                            });
                            *slot = Some(read.collect());
                        }
                    }
                });
            }
        });
        done += round.len();
    }
    let spreads = readings.iter().zip(&slopes).enumerate();
    Ok(spreads
        .map(|(reading, (&(a, b), slopes))| {
            let nominal = solution.across(a, b);
            let mut left = Vec::new();
            let mut values = Vec::new();
            for found in solved.iter().flatten() {
                let Some(read) = found.get(reading) else {
                    continue;
                };
                values.push(read.volts);
                left.push(read.volts - read.predicted);
            }
            let (mean, rest) = mean_and_deviation(&left);
            let (_, deviation) = mean_and_deviation(&values);
            values.sort_by(f64::total_cmp);
            let linear = slopes.iter().zip(&moments).map(|(s, (_, v))| s * s * v);
            Spread {
                nominal,
                mean,
                deviation,
                mean_error: rest / (left.len() as f64).sqrt(),
                linear_deviation: linear.sum::<f64>().sqrt(),
                sorted: values,
            }
        })
        .collect())
}

/// A reading of one build.
#[derive(Debug, Clone, Copy)]
struct Read {
    volts: f64,
    /// By how much the sensitivities alone say that it departs from the mean.
    predicted: f64,
}

fn sound(factor: f64) -> f64 {
    if factor > 0.0 && factor.is_finite() {
        factor
    } else {
        1.0
    }
}

fn mean_and_deviation(values: &[f64]) -> (f64, f64) {
    let count = values.len() as f64;
    let mean = values.iter().sum::<f64>() / count;
    let square: f64 = values.iter().map(|v| (v - mean) * (v - mean)).sum();
    (mean, (square / (count - 1.0).max(1.0)).sqrt())
}

/// Where each build stands by each parameter.
struct Draws {
    ranks: Vec<Vec<f64>>,
}

impl Draws {
    fn new(plan: Plan, parameters: usize) -> Self {
        let ranks = (0..parameters).map(|p| {
            let mut noise = ChaCha8Rng::seed_from_u64(plan.seed);
            noise.set_stream(p as u64 + 1);
            if plan.drawn == Drawn::Points && p < sobol::most() {
                let key = noise.next_u32();
                let points = 0..plan.count;
                points.map(|point| sobol::place(p, point, key)).collect()
            } else {
                strata(plan.count as usize, &mut noise)
            }
        });
        Self {
            ranks: ranks.collect(),
        }
    }

    /// Where build number `build` stands among all, by parameter `p`.
    fn rank(&self, p: usize, build: usize) -> f64 {
        let ranks = self.ranks.get(p);
        ranks
            .and_then(|ranks| ranks.get(build))
            .copied()
            .unwrap_or(0.5)
    }
}

/// An order of so many strata, and a place within each.
fn strata(count: usize, noise: &mut ChaCha8Rng) -> Vec<f64> {
    let mut order: Vec<usize> = (0..count).collect();
    for at in (1..count).rev() {
        // the high half of a product: no remainder that favours the low numbers
        let wide = u128::from(noise.next_u64()) * (at as u128 + 1);
        order.swap(at, (wide >> 64) as usize);
    }
    let place = |stratum: usize, within: f64| (stratum as f64 + within) / count as f64;
    let mut within = || ((noise.next_u64() >> 12) as f64 + 0.5) / (1u64 << 52) as f64;
    order
        .iter()
        .map(|&stratum| place(stratum, within()))
        .collect()
}
