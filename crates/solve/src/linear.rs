//! Sparse linear equations of circuits, factored again and again on one pattern.
//!
//! A valve amplifier is a chain, so its matrix stays sparse when it is eliminated in a good
//! order. [`Pattern`] finds that order once (least Markowitz count, Management Science 3,
//! 1957, from memory, not seen) and compiles the elimination to a list of places;
//! [`Factors`] repeats the list without looking for pivots. Each pivot is compared with what
//! it was made from; when too much of it has cancelled, a dense elimination with row exchange
//! takes over, so a bad order costs time and never accuracy.
//!
//! **Ground parts.** A node that hangs on nothing but 1e-13 S makes an ordinary matrix lose
//! that conductance beside a 20 S neighbour: the diagonal holds their sum. So the row of a node
//! stores its off-diagonal entries and, instead of the diagonal, its *ground part*: the sum of
//! the row over all node columns, that is, the current per volt when all nodes move
//! together. Elimination carries ground parts along like one more column and rebuilds a
//! diagonal from them when it is needed, by additions only where the matrix is that of
//! conductances (after Grassmann, Taksar and Heyman, Operations Research 33, 1985,
//! from memory, not seen). So islands that float come out as exactly as all others.
//!
//! Generic over [`Single`]: `f64` at direct current, [`Complex`] for phasors; independent problems go
//! side by side through one list of places as several numbers each ([`Scalar`]). Knows nothing of
//! circuits: unknowns have numbers, and the first `nodes` of them are node voltages.

mod dense;
mod factors;
mod lanes;
mod pattern;
mod places;
mod runs;
mod scalar;
mod triangle;

pub use factors::{Factors, Singular};
pub(crate) use lanes::Phasors;
pub use pattern::{Pattern, Stamp};
pub(crate) use places::{Place, Placed, add, at};
pub(crate) use runs::Runs;
pub use scalar::{Complex, Phasor, Scalar, Single};
pub(crate) use triangle::Triangle;

#[cfg(test)]
mod tests;
