//! Natural frequencies: what a circuit at rest does by itself after a nudge.
//!
//! Near its operating point every nudge is a sum of parts `exp(s t)`. The `s` are found from one
//! implicit step: its matrix `(1 - h A)^-1`, by capacitors' volts and coils' amperes, has the eigenvalues
//! `1 / (1 - h s)`. What is infinitely fast, such as two capacitors side by side, comes
//! out as 0 and falls away, so no list of independent states has to be made. Rows and columns are
//! scaled to the root of energy, in which what is passive never grows.

use nalgebra::DMatrix;
use nalgebra::linalg::Schur;

use super::build::{Emf, Moving};
use super::stage::Room;
use super::{Running, TimeError};
use crate::netlist::Netlist;
use crate::operating::Solution;

/// Length of the implicit step, seconds: what goes by in 0.1 ms, give or take nine decades, is
/// told from what stands still and from what is gone at once.
const STEP: f64 = 1e-4;

/// Below this an eigenvalue is a part that is gone at once.
const GONE: f64 = 1e-10;

/// Growth above this counts, 1/s: slower than any warm-up, and above what rounding makes of a
/// charge that nothing drains.
const GROWS: f64 = 1e-3;

/// Iterations of the eigenvalues, after which they count as not found.
const MOST_ITERATIONS: usize = 100_000;

/// One part `exp(growth t) cos(2 pi hertz t)` of what the circuit does by itself; a pair with
/// the same part against phase.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NaturalFrequency {
    /// Growth, 1/s; below 0 where it dies away.
    pub growth: f64,
    /// Frequency; 0 where it does not swing.
    pub hertz: f64,
}

/// What a natural frequency means for the circuit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tendency {
    /// It dies away.
    Settles,
    /// It swings and grows: the circuit oscillates.
    Oscillates,
    /// It grows without swinging: the operating point is not one that the circuit stays at.
    Leaves,
}

impl NaturalFrequency {
    /// What it means.
    #[must_use]
    pub fn tendency(&self) -> Tendency {
        if self.growth <= GROWS {
            Tendency::Settles
        } else if self.hertz > 0.0 {
            Tendency::Oscillates
        } else {
            Tendency::Leaves
        }
    }
}

/// The natural frequencies of `netlist` at its operating point `solution`, what grows fastest
/// first. Each pair is listed once.
///
/// Good to 1e-6 of their size and about 1e-8 1/s, between 1e-2 and 1e8 1/s; what is faster than 1e12 1/s is left
/// out. Generators and the mains are their source resistance. A rectifier group answers by the
/// slope of its mean current, so what goes through the supply near the mains frequency is an
/// approximation.
///
/// # Errors
/// As [`Running::at`]; [`TimeError::Free`] where the equations leave an unknown free, or the
/// eigenvalues were not found.
pub fn natural_frequencies(
    netlist: &Netlist,
    solution: &Solution,
) -> Result<Vec<NaturalFrequency>, TimeError> {
    let mut run = Running::at(netlist, solution)?;
    for source in &mut run.moving.sources {
        if let Emf::Sine { .. } = source.emf {
            source.emf = Emf::Steady(0.0);
        }
    }
    let free = TimeError::Free { seconds: 0.0 };
    let matrix = run.implicit(STEP).ok_or(free)?;
    if matrix.is_empty() {
        return Ok(Vec::new());
    }
    if matrix.iter().any(|v| !v.is_finite()) {
        return Err(free);
    }
    let schur = Schur::try_new(matrix, f64::EPSILON, MOST_ITERATIONS).ok_or(free)?;
    let values = schur.complex_eigenvalues();
    let mut found: Vec<NaturalFrequency> = values
        .iter()
        .filter(|value| value.norm() > GONE && value.im >= 0.0)
        .map(|value| {
            let s = (nalgebra::Complex::new(1.0, 0.0) - value.inv()) / STEP;
            NaturalFrequency {
                growth: s.re,
                // from 1 / conj(z): rounding gives an im of either sign to a real pair
                hertz: s.im.abs() / std::f64::consts::TAU,
            }
        })
        .collect();
    found.sort_by(|a, b| {
        b.growth
            .total_cmp(&a.growth)
            .then(a.hertz.total_cmp(&b.hertz))
    });
    Ok(found)
}

impl Running {
    /// `(1 - h A)^-1` at rest, scaled to the root of energy.
    fn implicit(&mut self, h: f64) -> Option<DMatrix<f64>> {
        self.catch_up();
        let (moving, room) = (&self.moving, &mut self.room);
        moving.prepare(room, h);
        let states = self.states.clone();
        let within = vec![1e-9; self.x.len()];
        if !moving.settle(room, 0.0, &states, &mut self.x, &within) {
            return None;
        }
        let count = states.len();
        let roots: Vec<f64> = moving.stores.iter().map(|s| s.sort.size().sqrt()).collect();
        let mut matrix = DMatrix::zeros(count, count);
        let mut unit = vec![0.0; count];
        for column in 0..count {
            unit[column] = 1.0 / roots[column];
            let ends = moving.carried(room, &unit);
            for (row, (end, root)) in ends.iter().zip(&roots).enumerate() {
                matrix[(row, column)] = end * root;
            }
            unit[column] = 0.0;
        }
        Some(matrix)
    }
}

impl Moving {
    /// States at the end of a stage that began at `base`, all else being the straight line that
    /// the last iteration took it for.
    pub(super) fn carried(&self, room: &mut Room, base: &[f64]) -> Vec<f64> {
        let x = self.straight(room, base);
        let stores = self.stores.iter().zip(&room.branches).zip(base);
        stores
            .map(|((store, branch), &base)| {
                let amps = branch.siemens * store.volts(&x) + branch.drive * base;
                base + room.h * store.sort.rate(amps, base, room.h)
            })
            .collect()
    }
}
