//! Many amplifiers of one wiring: what spreads, drawn; what a meter would read, counted.
//!
//! Each build draws every parameter of the netlist ([`crate::netlist::Parameter`]), by Latin hypercube
//! (McKay, Beckman, Conover, Technometrics 21, 1979, from memory, not seen): of `count` builds, each
//! `1 / count` of a parameter's distribution is drawn exactly once; or by scrambled Sobol points, which spread evenly
//! over several parameters together as well ([`Drawn`] says when which is better). Each is solved from the
//! nominal solution, four side by side, so no build depends on another, nor on how many threads share the work.
//! Means are corrected by the linear prediction, whose own mean is known (a control variate).

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

use crate::lanes::{LANES, Mask, Wide, Work, widely};
use crate::linearised::{LineariseError, Linearised};
use crate::netlist::{Netlist, NodeIndex};
use crate::operating::{Four, Solution, Solver};

mod sobol;

/// Builds solved between two questions whether to go on: whole groups of lanes.
const ROUND: usize = 128 * LANES;

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
    let predictions = Predictions::new(&slopes, &moments);
    let groups = count.div_ceil(LANES);
    let mut solved = vec![false; groups * LANES];
    let mut reads = vec![Read::default(); groups * readings.len()];
    let threads = plan.threads.max(1);
    let mut done = 0;
    let rounds = solved
        .chunks_mut(ROUND)
        .zip(reads.chunks_mut(ROUND / LANES * readings.len().max(1)));
    for (solved, reads) in rounds {
        if !watch(done as f64 / count.max(1) as f64) {
            return Err(BuildsError::Stopped);
        }
        let share = (solved.len() / LANES).div_ceil(threads).max(1);
        std::thread::scope(|scope| {
            let parts = solved.chunks_mut(share * LANES);
            for (hand, (solved, reads)) in parts
                .zip(reads.chunks_mut((share * readings.len()).max(1)))
                .enumerate()
            {
                let first = done + hand * share * LANES;
                let work = Hand {
                    netlist,
                    solution,
                    readings,
                    factor,
                    draws: &draws,
                    predictions: &predictions,
                    count,
                };
                scope.spawn(move || work.build(first, solved, reads));
            }
        });
        done += solved.len();
    }
    solved.truncate(count);
    let spreads = readings.iter().zip(&slopes).enumerate();
    Ok(spreads
        .map(|(reading, (&(a, b), slopes))| {
            let nominal = solution.across(a, b);
            let mut left = Vec::with_capacity(count);
            let mut values = Vec::with_capacity(count);
            let reads = reads.iter().skip(reading).step_by(readings.len());
            for (read, solved) in reads.zip(solved.chunks(LANES)) {
                for (lane, _) in solved.iter().enumerate().filter(|(_, solved)| **solved) {
                    let volts = read.volts.0[lane];
                    values.push(volts);
                    left.push(volts - read.predicted.0[lane]);
                }
            }
            let (mean, rest) = mean_and_deviation(&left);
            let (_, deviation) = mean_and_deviation(&values);
            values.sort_unstable_by(f64::total_cmp);
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

/// A reading of as many builds as there are lanes.
#[derive(Debug, Clone, Copy, Default)]
struct Read {
    volts: Wide,
    /// By how much the sensitivities alone say that it departs from the mean.
    predicted: Wide,
}

/// What each thread works with.
struct Hand<'a> {
    netlist: &'a Netlist,
    solution: &'a Solution,
    readings: &'a [(NodeIndex, NodeIndex)],
    factor: &'a (dyn Fn(usize, f64) -> f64 + Sync),
    draws: &'a Draws,
    predictions: &'a Predictions,
    count: usize,
}

impl Hand<'_> {
    /// Draws and solves the builds from number `first` on.
    fn build(&self, first: usize, solved: &mut [bool], reads: &mut [Read]) {
        let parameters = self.netlist.parameters.len();
        let mut four = Four::new(self.netlist, self.solution);
        let mut alone: Option<(Solver, Netlist)> = None;
        let mut factors = vec![Wide::all(1.0); parameters];
        let mut logs = vec![Wide::all(0.0); parameters];
        let wide = self.readings.len().max(1);
        let groups = solved.chunks_mut(LANES).zip(reads.chunks_mut(wide));
        for (group, (solved, reads)) in groups.enumerate() {
            let first = first + group * LANES;
            for (p, slot) in factors.iter_mut().enumerate() {
                *slot = Wide(
                    self.draws
                        .ranks(p, first)
                        .map(|rank| sound((self.factor)(p, rank))),
                );
            }
            let found = match &mut four {
                Some(four) => {
                    widely(Rescale(four, &factors));
                    four.solve()
                }
                None => Mask::all(false),
            };
            self.predictions.read(&factors, &mut logs, reads);
            for (lane, solved) in solved.iter_mut().enumerate() {
                *solved = found.lane(lane);
            }
            if let Some(four) = &four {
                for (read, &(a, b)) in reads.iter_mut().zip(self.readings) {
                    read.volts = four.across(a, b);
                }
            }
            for (lane, solved) in solved.iter_mut().enumerate() {
                if *solved || first + lane >= self.count {
                    continue;
                }
                let Some(found) = self.by_itself(lane, &factors, &mut alone) else {
                    continue;
                };
                *solved = found.converged();
                for (read, &(a, b)) in reads.iter_mut().zip(self.readings) {
                    read.volts.0[lane] = found.across(a, b);
                }
            }
        }
    }

    /// One build with all the ways there are.
    fn by_itself(
        &self,
        lane: usize,
        factors: &[Wide],
        kept: &mut Option<(Solver, Netlist)>,
    ) -> Option<Solution> {
        if kept.is_none() {
            *kept = Some((Solver::new(self.netlist).ok()?, self.netlist.clone()));
        }
        let (solver, build) = kept.as_mut()?;
        let factors: Vec<f64> = factors.iter().map(|factor| factor.0[lane]).collect();
        build.rescale(self.netlist, &factors);
        solver.remember(&self.solution.cycles);
        Some(solver.solve(build, Some(&self.solution.volts)))
    }
}

struct Rescale<'a, 'b>(&'a mut Four<'b>, &'a [Wide]);

impl Work for Rescale<'_, '_> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        self.0.rescale(self.1);
    }
}

/// Readings that are predicted together.
const BLOCK: usize = 8;

/// What the sensitivities alone say of every reading.
struct Predictions {
    /// Of each block of readings, by parameter: what the logarithm of its factor is multiplied by.
    slopes: Vec<Vec<[f64; BLOCK]>>,
    /// By parameter: the mean logarithm.
    means: Vec<f64>,
}

impl Predictions {
    fn new(slopes: &[Vec<f64>], moments: &[(f64, f64)]) -> Self {
        let block = |readings: &[Vec<f64>]| {
            let by_parameter = (0..moments.len()).map(|p| {
                let of = |reading: usize| readings.get(reading).and_then(|slopes| slopes.get(p));
                std::array::from_fn(|reading| of(reading).copied().unwrap_or(0.0))
            });
            by_parameter.collect()
        };
        Self {
            slopes: slopes.chunks(BLOCK).map(block).collect(),
            means: moments.iter().map(|(mean, _)| *mean).collect(),
        }
    }

    /// Predicts every reading; `logs` is room.
    fn read(&self, factors: &[Wide], logs: &mut [Wide], reads: &mut [Read]) {
        widely(Predict {
            of: self,
            factors,
            logs,
            reads,
        });
    }
}

struct Predict<'a> {
    of: &'a Predictions,
    factors: &'a [Wide],
    logs: &'a mut [Wide],
    reads: &'a mut [Read],
}

impl Work for Predict<'_> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        let logs = self.logs;
        for ((log, factor), mean) in logs.iter_mut().zip(self.factors).zip(&self.of.means) {
            *log = factor.ln() - *mean;
        }
        for (reads, slopes) in self.reads.chunks_mut(BLOCK).zip(&self.of.slopes) {
            let mut sums = [Wide::all(0.0); BLOCK];
            for (slopes, log) in slopes.iter().zip(&*logs) {
                for (sum, slope) in sums.iter_mut().zip(slopes) {
                    *sum += *log * *slope;
                }
            }
            for (read, sum) in reads.iter_mut().zip(sums) {
                read.predicted = sum;
            }
        }
    }
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
                sobol::places(p, plan.count, noise.next_u32())
            } else {
                strata(plan.count as usize, &mut noise)
            }
        });
        Self {
            ranks: ranks.collect(),
        }
    }

    /// Where the builds from number `first` on stand among all, by parameter `p`.
    fn ranks(&self, p: usize, first: usize) -> [f64; LANES] {
        let ranks = self.ranks.get(p).and_then(|ranks| ranks.get(first..));
        let ranks = ranks.unwrap_or_default();
        std::array::from_fn(|lane| ranks.get(lane).copied().unwrap_or(0.5))
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
