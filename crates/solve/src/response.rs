//! How a circuit at its operating point answers a small alternating drive.
//!
//! The netlist that was solved at direct current ([`crate::supply::OperatingPoint::netlist`]) is
//! linearised at that solution: valves, diodes and lamps by their analytic slopes, capacitors,
//! coils and transformers by their admittance at the frequency asked for. Phasors then come
//! from one complex elimination for each frequency. The pattern is compiled once. One more,
//! transposed, solution says what every source of noise and every part does to a reading
//! (`noise`, `sensitivity`). Many frequencies of one drive go side by side (`sweep`).
//!
//! A rectifier group answers by the slope of its mean currents: exact far below the mains
//! frequency, an approximation above it, where the supply's first capacitor decides anyway.
//! The mains and every generator that isn't the drive are their source resistance. A drive
//! is small by definition: nothing here clips.

use std::f64::consts::TAU;

mod build;
mod noise;
mod sensitivity;
mod sweep;

pub use noise::{Noise, NoiseKind, NoiseModel, NoiseShare};
pub use sensitivity::Held;
pub use sweep::Sweep;

use build::Build;

use crate::equations::{BadElement, Equations, FLOOR_SIEMENS};
use crate::linear::{Complex, Factors, Pattern, Phasor, Scalar, Stamp};
use crate::netlist::{Law, Netlist, NodeIndex};
use crate::operating::Solution;

/// Why there is no response.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum ResponseError {
    /// The netlist is no set of equations.
    #[error(transparent)]
    Bad(#[from] BadElement),
    /// The solution belongs to another netlist.
    #[error("the solution has {has} nodes and the netlist {wants}")]
    OtherNetlist {
        /// Nodes of the solution.
        has: usize,
        /// Nodes of the netlist.
        wants: usize,
    },
    /// The frequency isn't a positive, finite number of hertz.
    #[error("{hertz} Hz is no frequency; ask for one above 0")]
    Frequency {
        /// What was asked for.
        hertz: f64,
    },
    /// At this frequency the equations leave an unknown free.
    #[error("the circuit has no single answer at {hertz} Hz")]
    Free {
        /// The frequency.
        hertz: f64,
    },
    /// The element that should drive is neither a source nor a generator.
    #[error("element {element} is no source")]
    NoSource {
        /// Its index.
        element: usize,
    },
}

/// What one term of an equation is, before a frequency is chosen. Siemens.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Admittance {
    Real(f64),
    Capacitor { farads: f64, esr_ohms: f64 },
    Coil { henries: f64, ohms: f64 },
    Core { henries: f64 },
}

impl Admittance {
    /// At `turning`, the angular frequency on the imaginary axis, radians a second.
    #[inline(always)]
    fn at<P: Phasor>(self, turning: P) -> P {
        match self {
            Self::Real(siemens) => P::real(siemens),
            Self::Capacitor { farads, esr_ohms } => {
                let y = turning.scaled(farads);
                if esr_ohms == 0.0 {
                    y
                } else {
                    y * (P::ONE + y.scaled(esr_ohms)).inverse()
                }
            }
            Self::Coil { henries, ohms } => (P::real(ohms) + turning.scaled(henries)).inverse(),
            Self::Core { henries } => turning.scaled(henries).inverse(),
        }
    }
}

/// `factor * admittance * (x[plus] - x[minus])` in a row.
#[derive(Debug, Clone, Copy)]
struct Term {
    element: usize,
    row: usize,
    plus: Option<usize>,
    minus: Option<usize>,
    admittance: Admittance,
    factor: f64,
}

/// A circuit linearised at its operating point, ready for any frequency.
#[derive(Debug, Clone)]
pub struct SmallSignal {
    nodes: usize,
    pattern: Pattern,
    /// What no frequency changes, summed, and the terms that it is the sum of.
    still: Vec<Complex>,
    resistive: Vec<Stamped>,
    /// What every frequency changes; the terms of one part stand together.
    reactive: Vec<Stamped>,
    /// For each element that can drive: its two ends and its siemens.
    sources: Vec<Option<(NodeIndex, NodeIndex, f64)>>,
    /// For each element, the number of the unknown that is its alone, if it has one.
    own: Vec<usize>,
}

#[derive(Debug, Clone, Copy)]
struct Stamped {
    element: usize,
    stamp: Stamp,
    admittance: Admittance,
    factor: f64,
}

/// How the volts of one node over another follow a current fed into any equation.
///
/// Made by [`Response::toward`]: one transposed solution, which serves every source of noise
/// and every part (the adjoint network; Director and Rohrer, IEEE Trans. CT 16, 1969, from
/// memory, not seen).
#[derive(Debug, Clone)]
pub struct Toward {
    by_unknown: Vec<Complex>,
}

impl Toward {
    /// Volts of the reading per ampere that flows from `a` through something into `b`.
    #[must_use]
    pub fn through(&self, a: NodeIndex, b: NodeIndex) -> Complex {
        self.unknown(unknown(b)) - self.unknown(unknown(a))
    }

    fn unknown(&self, at: Option<usize>) -> Complex {
        at.and_then(|at| self.by_unknown.get(at).copied())
            .unwrap_or_default()
    }
}

/// The same at one frequency.
#[derive(Debug, Clone)]
pub struct Response<'a> {
    circuit: &'a SmallSignal,
    factors: Factors<Complex>,
    hertz: f64,
}

impl SmallSignal {
    /// Linearises `netlist` at `solution`, which must be its own.
    ///
    /// # Errors
    /// [`ResponseError::Bad`] when the netlist is no set of equations,
    /// [`ResponseError::OtherNetlist`] when the solution is not its own, and
    /// [`ResponseError::Free`] when some unknown has no equation at any frequency.
    pub fn new(netlist: &Netlist, solution: &Solution) -> Result<Self, ResponseError> {
        // Nodes and numbers are checked where the operating point checks them.
        let wants = Equations::new(netlist)?.nodes;
        let has = solution.volts.len();
        if has != wants {
            return Err(ResponseError::OtherNetlist { has, wants });
        }
        let mut build = Build::new(solution, wants - 1);
        for node in 1..wants {
            build.siemens(node, 0, FLOOR_SIEMENS);
        }
        let mut own = Vec::with_capacity(netlist.elements.len());
        for (element, part) in netlist.elements.iter().enumerate() {
            own.push(build.next);
            build.element(element, &part.law);
        }
        let entries: Vec<(usize, usize)> = build
            .terms
            .iter()
            .flat_map(|t| [t.plus, t.minus].into_iter().flatten().map(|c| (t.row, c)))
            .collect();
        let free = ResponseError::Free { hertz: 0.0 };
        let pattern = Pattern::new(build.next, wants - 1, &entries).ok_or(free)?;
        let stamped = |t: &Term| {
            Some(Stamped {
                element: t.element,
                stamp: pattern.stamp(t.row, t.plus, t.minus)?,
                admittance: t.admittance,
                factor: t.factor,
            })
        };
        let terms = build.terms.iter().filter_map(stamped);
        let (resistive, reactive): (Vec<_>, Vec<_>) =
            terms.partition(|t| matches!(t.admittance, Admittance::Real(_)));
        let still = summed(&pattern, &resistive, None);
        let sources = netlist.elements.iter().map(|e| match &e.law {
            Law::Alternating { a, b, ohms, .. } => Some((*a, *b, 1.0 / ohms)),
            Law::Source {
                plus, minus, ohms, ..
            } => Some((*plus, *minus, 1.0 / ohms)),
            _ => None,
        });
        let sources = sources.collect();
        Ok(Self {
            nodes: wants,
            pattern,
            still,
            resistive,
            reactive,
            sources,
            own,
        })
    }

    /// The circuit at `hertz`.
    ///
    /// # Errors
    /// [`ResponseError::Frequency`] unless `hertz` is finite and above 0 (what holds at 0 Hz is
    /// in [`crate::linearised`]), [`ResponseError::Free`] when there is no single answer.
    pub fn at(&self, hertz: f64) -> Result<Response<'_>, ResponseError> {
        self.without(None, hertz)
    }

    /// What the source or generator that is element number `source` works into, ohms: the
    /// circuit between its ends without it.
    ///
    /// # Errors
    /// As [`SmallSignal::at`]; an element that is no source is [`ResponseError::NoSource`].
    pub fn input_impedance(&self, source: usize, hertz: f64) -> Result<Complex, ResponseError> {
        let Some(Some((a, b, _))) = self.sources.get(source) else {
            return Err(ResponseError::NoSource { element: source });
        };
        Ok(self.without(Some(source), hertz)?.impedance(*a, *b))
    }

    /// The circuit at a frequency, one element left out if one is named.
    fn without(&self, left_out: Option<usize>, hertz: f64) -> Result<Response<'_>, ResponseError> {
        if !(hertz > 0.0 && hertz.is_finite()) {
            return Err(ResponseError::Frequency { hertz });
        }
        let mut matrix = match left_out {
            None => self.still.clone(),
            Some(_) => summed(&self.pattern, &self.resistive, left_out),
        };
        self.add_reactive(&mut matrix, Complex::imaginary(TAU * hertz), left_out);
        let mut factors = Factors::new(&self.pattern);
        factors
            .factor(&self.pattern, &matrix)
            .map_err(|_| ResponseError::Free { hertz })?;
        Ok(Response {
            circuit: self,
            factors,
            hertz,
        })
    }

    /// Adds what the frequency decides.
    #[inline(always)]
    fn add_reactive<P: Phasor>(&self, matrix: &mut [P], turning: P, left_out: Option<usize>) {
        // A part's terms have one admittance, which costs a division.
        let mut last: Option<(Admittance, P)> = None;
        let kept = |term: &&Stamped| Some(term.element) != left_out;
        for term in self.reactive.iter().filter(kept) {
            let value = match last {
                Some((admittance, value)) if admittance == term.admittance => value,
                _ => term.admittance.at(turning),
            };
            last = Some((term.admittance, value));
            term.stamp.add(matrix, value.scaled(term.factor));
        }
    }
}

impl Response<'_> {
    /// Volts of every node (ground first) per volt, open circuit, of the source or generator
    /// that is element number `source`; all 0 when that element is no source.
    #[must_use]
    pub fn per_volt(&self, source: usize) -> Vec<Complex> {
        match self.circuit.sources.get(source) {
            Some(Some((a, b, siemens))) => self.fed(*a, *b, *siemens),
            _ => vec![Complex::ZERO; self.circuit.nodes],
        }
    }

    /// Volts of every node (ground first) per ampere fed into `into` and taken out at `from`.
    ///
    /// The difference of the two nodes' values is the impedance between them, in ohms.
    #[must_use]
    pub fn per_ampere(&self, into: NodeIndex, from: NodeIndex) -> Vec<Complex> {
        self.fed(into, from, 1.0)
    }

    /// Impedance between two nodes, ohms; that of an output is what loads it included.
    #[must_use]
    pub fn impedance(&self, a: NodeIndex, b: NodeIndex) -> Complex {
        let moved = self.per_ampere(a, b);
        let at = |node: NodeIndex| moved.get(node).copied().unwrap_or_default();
        at(a) - at(b)
    }

    /// How the volts of `a` over `b` follow a current fed in anywhere; all 0 if one does not exist.
    #[must_use]
    pub fn toward(&self, a: NodeIndex, b: NodeIndex) -> Toward {
        let mut by_unknown = vec![Complex::ZERO; self.circuit.pattern.size()];
        if a.max(b) < self.circuit.nodes {
            for (node, share) in [(a, 1.0), (b, -1.0)] {
                if let Some(slot) = node.checked_sub(1).and_then(|n| by_unknown.get_mut(n)) {
                    *slot += Complex::real(share);
                }
            }
            let pattern = &self.circuit.pattern;
            self.factors
                .solve_transposed_beside(pattern, &mut by_unknown);
        }
        Toward { by_unknown }
    }

    fn fed(&self, into: NodeIndex, from: NodeIndex, amps: f64) -> Vec<Complex> {
        let mut by_node = vec![Complex::ZERO];
        let solved = self.unknowns(into, from, amps);
        by_node.extend(solved.into_iter().take(self.circuit.nodes - 1));
        by_node
    }

    /// Every unknown for a current fed into one node and taken out at another.
    fn unknowns(&self, into: NodeIndex, from: NodeIndex, amps: f64) -> Vec<Complex> {
        let mut x = vec![Complex::ZERO; self.circuit.pattern.size()];
        for (node, amps) in [(into, amps), (from, -amps)] {
            let inside = node < self.circuit.nodes;
            if let Some(at) = node.checked_sub(1).filter(|_| inside)
                && let Some(x) = x.get_mut(at)
            {
                *x += Complex::real(amps);
            }
        }
        self.factors.solve_beside(&self.circuit.pattern, &mut x);
        x
    }
}

/// The matrix of resistive terms, one element left out if one is named.
fn summed(pattern: &Pattern, terms: &[Stamped], left_out: Option<usize>) -> Vec<Complex> {
    let mut matrix = pattern.zeros::<Complex>();
    let kept = |term: &&Stamped| Some(term.element) != left_out;
    for term in terms.iter().filter(kept) {
        let value = term.admittance.at(Complex::ZERO).scaled(term.factor);
        term.stamp.add(&mut matrix, value);
    }
    matrix
}

/// Unknown number of a node; none for ground.
fn unknown(node: NodeIndex) -> Option<usize> {
    node.checked_sub(1)
}
