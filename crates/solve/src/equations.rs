//! The residual and the Jacobian of a netlist at direct current.
//!
//! Unknowns: the volts of the nodes 1.., then one current per ideal amplifier, into its output
//! terminal. Residuals: amperes that leave each node, then volts by which each amplifier's
//! output misses. Capacitors are open; chokes, windings and alternating sources are their
//! resistance; rectifier groups are their cycle means.
//!
//! Three numbers are added to what the netlist says, so that every circuit has a solution:
//! [`FLOOR_SIEMENS`] from each node to ground, [`LEAK_SIEMENS`] from plate to cathode of each
//! valve section, and [`AMPLIFIER_OHMS`] in the output of each ideal amplifier.
//!
//! The structure is compiled once ([`Equations::new`]); numbers are loaded for each solution
//! ([`Equations::load`]). A difference of volts can be taken with the volts held as two
//! numbers each ([`Point`]), because 0.05 ohm at 400 V turns the last digit of one number
//! into a picoampere.

mod abreast;
mod evaluate;
mod load;
mod ports;

pub(crate) use abreast::{Abreast, LoadedAbreast, Place};
pub(crate) use evaluate::Evaluation;
pub(crate) use load::{Loaded, Scale};
pub(crate) use ports::{Approach, Farthest, Ports};

use std::ops::{Add, Neg, Sub};

use crate::linear::{Pattern, Stamp};
use crate::netlist::{Law, Netlist, NodeIndex};

/// Conductance from each node to ground that keeps floating parts of a circuit solvable:
/// 1 part in 10,000 of the 1 Gohm above which a node counts as undetermined.
pub const FLOOR_SIEMENS: f64 = 1e-13;

/// Conductance between plate and cathode of each valve section, so that a valve in deep
/// cut-off keeps a slope.
pub const LEAK_SIEMENS: f64 = 1e-12;

/// Output resistance of an ideal amplifier: nothing that a meter shows, and it keeps an
/// amplifier that drives ground or itself solvable.
pub const AMPLIFIER_OHMS: f64 = 1e-6;

/// Volts of all nodes and amperes of all amplifiers, each as the sum of two numbers.
///
/// Index 0 is ground, then the nodes, then the amplifiers; so an unknown's index here is one
/// more than its number in the equations.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Point {
    /// The number.
    pub(crate) high: Vec<f64>,
    /// What the number cannot hold.
    pub(crate) low: Vec<f64>,
}

impl Point {
    pub(crate) fn new(len: usize) -> Self {
        Self {
            high: vec![0.0; len],
            low: vec![0.0; len],
        }
    }

    /// Volts of `a` over `b`.
    #[inline]
    pub(crate) fn across(&self, a: usize, b: usize) -> f64 {
        across((self.high[a], self.low[a]), (self.high[b], self.low[b]))
    }

    /// Adds a correction to unknown `at`, keeping what the sum loses.
    #[inline]
    pub(crate) fn correct(&mut self, at: usize, by: f64) {
        let (sum, lost) = two_sum(self.high[at], self.low[at] + by);
        self.high[at] = sum;
        self.low[at] = lost;
    }
}

/// One sum of two numbers less another, to the last digit of both.
#[inline(always)]
pub(crate) fn across<T>((high_a, low_a): (T, T), (high_b, low_b): (T, T)) -> T
where
    T: Copy + Add<Output = T> + Sub<Output = T> + Neg<Output = T>,
{
    let (difference, lost) = two_sum(high_a, -high_b);
    difference + (lost + (low_a - low_b))
}

/// A sum and its rounding error (Knuth, The Art of Computer Programming, volume 2, from memory,
/// not seen).
#[inline(always)]
pub(crate) fn two_sum<T>(a: T, b: T) -> (T, T)
where
    T: Copy + Add<Output = T> + Sub<Output = T>,
{
    let sum = a + b;
    let part = sum - a;
    (sum, (a - (sum - part)) + (b - part))
}

/// Why a netlist is no set of equations: an element names a node that is not there, or a
/// number in it is not one that its law allows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("element {element} names a node that does not exist or holds an impossible number")]
pub struct BadElement {
    /// Index of the element.
    pub element: usize,
}

/// A conductance in series with an emf; `i = g (v_a - v_b - emf)`, into `a`.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Branch {
    a: usize,
    b: usize,
    stamps: [Stamp; 2],
}

/// A device of two terminals: its element, and its ends.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Pair {
    element: usize,
    a: usize,
    b: usize,
    stamps: [Stamp; 2],
}

/// A triode: terminals plate, grid, cathode; stamps by row and controlling volts.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Three {
    element: usize,
    nodes: [usize; 3],
    stamps: [[Stamp; 2]; 3],
}

/// A pentode: terminals plate, screen, grid, cathode.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Four {
    element: usize,
    nodes: [usize; 4],
    stamps: [[Stamp; 3]; 4],
}

/// A rectifier group: plates and cathodes; stamps by row plate and column plate.
#[derive(Debug, Clone, PartialEq)]
struct Group {
    element: usize,
    ends: Vec<(usize, usize)>,
    stamps: Vec<[Stamp; 2]>,
}

/// An ideal amplifier; `unknown` is the index of its current in a [`Point`].
#[derive(Debug, Clone, Copy, PartialEq)]
struct Follower {
    input: usize,
    output: usize,
    unknown: usize,
    /// Its current in the output node's row; output, input and own current in its own row.
    stamps: [Stamp; 4],
}

/// The compiled structure of a netlist's equations.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Equations {
    /// Nodes of the netlist, ground included.
    pub(crate) nodes: usize,
    /// Unknowns.
    pub(crate) size: usize,
    pub(crate) pattern: Pattern,
    shape: Vec<usize>,
    floors: Vec<Stamp>,
    branches: Vec<Branch>,
    pairs: Vec<Pair>,
    triodes: Vec<Three>,
    pentodes: Vec<Four>,
    groups: Vec<Group>,
    followers: Vec<Follower>,
    lamps: usize,
}

impl Equations {
    /// Compiles the structure of `netlist`.
    pub(crate) fn new(netlist: &Netlist) -> Result<Self, BadElement> {
        let mut shape = Vec::new();
        describe(netlist, &mut shape)?;
        let nodes = netlist.nodes.len().max(1);
        let amplifiers = netlist
            .elements
            .iter()
            .filter(|element| matches!(element.law, Law::Amplifier { .. }))
            .count();
        let size = nodes - 1 + amplifiers;
        let pattern = pattern(netlist, nodes, size).ok_or(BadElement { element: 0 })?;
        let mut made = Self {
            nodes,
            size,
            pattern,
            shape,
            floors: Vec::new(),
            branches: Vec::new(),
            pairs: Vec::new(),
            triodes: Vec::new(),
            pentodes: Vec::new(),
            groups: Vec::new(),
            followers: Vec::new(),
            lamps: 0,
        };
        for node in 1..nodes {
            let stamp = made.stamp(node, node, 0);
            made.floors.push(stamp);
        }
        for (element, part) in netlist.elements.iter().enumerate() {
            made.compile(element, &part.law);
        }
        Ok(made)
    }

    /// Length of a [`Point`] of these equations.
    pub(crate) fn len(&self) -> usize {
        self.size + 1
    }

    /// Does this netlist have the structure that these equations were compiled for?
    pub(crate) fn fits(&self, netlist: &Netlist, scratch: &mut Vec<usize>) -> bool {
        scratch.clear();
        describe(netlist, scratch).is_ok() && *scratch == self.shape
    }

    fn compile(&mut self, element: usize, law: &Law) {
        match law {
            Law::Capacitor { .. } => {}
            Law::Resistor { a, b, .. }
            | Law::Inductor { a, b, .. }
            | Law::Alternating { a, b, .. } => self.branch(*a, *b),
            Law::Source { plus, minus, .. } => self.branch(*plus, *minus),
            Law::Transformer(transformer) => {
                for winding in &transformer.windings {
                    self.branch(winding.a, winding.b);
                }
            }
            Law::Amplifier { input, output, .. } => {
                let unknown = self.nodes + self.followers.len();
                self.followers.push(Follower {
                    input: *input,
                    output: *output,
                    unknown,
                    stamps: [
                        self.stamp(*output, unknown, 0),
                        self.stamp(unknown, *output, 0),
                        self.stamp(unknown, 0, *input),
                        self.stamp(unknown, 0, unknown),
                    ],
                });
            }
            Law::Triode {
                plate,
                grid,
                cathode,
                ..
            } => {
                self.branch(*plate, *cathode);
                let nodes = [*plate, *grid, *cathode];
                let stamps = nodes.map(|row| {
                    [
                        self.stamp(row, *plate, *cathode),
                        self.stamp(row, *grid, *cathode),
                    ]
                });
                self.triodes.push(Three {
                    element,
                    nodes,
                    stamps,
                });
            }
            Law::Pentode {
                plate,
                screen,
                grid,
                cathode,
                ..
            } => {
                self.branch(*plate, *cathode);
                let nodes = [*plate, *screen, *grid, *cathode];
                let stamps = nodes.map(|row| {
                    [
                        self.stamp(row, *plate, *cathode),
                        self.stamp(row, *screen, *cathode),
                        self.stamp(row, *grid, *cathode),
                    ]
                });
                self.pentodes.push(Four {
                    element,
                    nodes,
                    stamps,
                });
            }
            Law::Diode { a, k: b, .. } | Law::Filament { a, b, .. } | Law::Neon { a, b, .. } => {
                self.lamps += usize::from(matches!(law, Law::Neon { .. }));
                let stamps = [self.stamp(*a, *a, *b), self.stamp(*b, *b, *a)];
                self.pairs.push(Pair {
                    element,
                    a: *a,
                    b: *b,
                    stamps,
                });
            }
            Law::Rectifiers(group) => {
                let ends: Vec<(usize, usize)> = group
                    .plates
                    .iter()
                    .map(|plate| (plate.plate, plate.cathode))
                    .collect();
                let mut stamps = Vec::with_capacity(ends.len() * ends.len());
                for &(plate, cathode) in &ends {
                    for &(over, under) in &ends {
                        stamps.push([
                            self.stamp(plate, over, under),
                            self.stamp(cathode, under, over),
                        ]);
                    }
                }
                self.groups.push(Group {
                    element,
                    ends,
                    stamps,
                });
            }
        }
    }

    fn branch(&mut self, a: usize, b: usize) {
        let stamps = [self.stamp(a, a, b), self.stamp(b, b, a)];
        self.branches.push(Branch { a, b, stamps });
    }

    /// The stamp of a term by indices of a [`Point`], 0 being ground; a term of ground's row,
    /// which is not among the equations, goes nowhere.
    fn stamp(&self, row: usize, plus: usize, minus: usize) -> Stamp {
        row.checked_sub(1)
            .and_then(|row| {
                self.pattern
                    .stamp(row, plus.checked_sub(1), minus.checked_sub(1))
            })
            .unwrap_or_else(|| self.pattern.nowhere())
    }
}

/// The pattern of the matrix.
fn pattern(netlist: &Netlist, nodes: usize, size: usize) -> Option<Pattern> {
    let mut entries: Vec<(usize, usize)> = Vec::new();
    let mut weak = Vec::new();
    let mut mesh = |rows: &[NodeIndex], columns: &[NodeIndex]| {
        for row in rows.iter().filter_map(|row| row.checked_sub(1)) {
            for column in columns.iter().filter_map(|column| column.checked_sub(1)) {
                entries.push((row, column));
            }
        }
    };
    let mut unknown = nodes;
    for element in &netlist.elements {
        match &element.law {
            Law::Capacitor { .. } => {}
            Law::Resistor { a, b, .. }
            | Law::Inductor { a, b, .. }
            | Law::Alternating { a, b, .. }
            | Law::Filament { a, b, .. }
            | Law::Neon { a, b, .. }
            | Law::Diode { a, k: b, .. }
            | Law::Source {
                plus: a, minus: b, ..
            } => mesh(&[*a, *b], &[*a, *b]),
            Law::Transformer(transformer) => {
                for winding in &transformer.windings {
                    mesh(&[winding.a, winding.b], &[winding.a, winding.b]);
                }
            }
            Law::Amplifier { input, output, .. } => {
                mesh(&[*output], &[unknown]);
                mesh(&[unknown], &[*output, *input, unknown]);
                weak.push(unknown - 1);
                unknown += 1;
            }
            Law::Triode {
                plate,
                grid,
                cathode,
                ..
            } => {
                let all = [*plate, *grid, *cathode];
                mesh(&all, &all);
            }
            Law::Pentode {
                plate,
                screen,
                grid,
                cathode,
                ..
            } => {
                let all = [*plate, *screen, *grid, *cathode];
                mesh(&all, &all);
            }
            Law::Rectifiers(group) => {
                let all: Vec<NodeIndex> = group
                    .plates
                    .iter()
                    .flat_map(|plate| [plate.plate, plate.cathode])
                    .collect();
                mesh(&all, &all);
            }
        }
    }
    Pattern::with_weak_diagonals(size, nodes - 1, &entries, &weak)
}

/// Writes kinds and nodes of all elements as numbers, to compare structures.
fn describe(netlist: &Netlist, shape: &mut Vec<usize>) -> Result<(), BadElement> {
    let count = netlist.nodes.len().max(1);
    shape.push(count);
    for (element, part) in netlist.elements.iter().enumerate() {
        let start = shape.len() + 1;
        match &part.law {
            Law::Capacitor { .. } => shape.push(0),
            Law::Resistor { a, b, .. }
            | Law::Inductor { a, b, .. }
            | Law::Alternating { a, b, .. }
            | Law::Source {
                plus: a, minus: b, ..
            } => shape.extend([1, *a, *b]),
            Law::Diode { a, k: b, .. } | Law::Filament { a, b, .. } | Law::Neon { a, b, .. } => {
                shape.extend([2, *a, *b]);
            }
            Law::Transformer(transformer) => {
                shape.push(3);
                for winding in &transformer.windings {
                    shape.extend([winding.a, winding.b]);
                }
            }
            Law::Amplifier { input, output, .. } => shape.extend([4, *input, *output]),
            Law::Triode {
                plate,
                grid,
                cathode,
                ..
            } => shape.extend([5, *plate, *grid, *cathode]),
            Law::Pentode {
                plate,
                screen,
                grid,
                cathode,
                ..
            } => shape.extend([6, *plate, *screen, *grid, *cathode]),
            Law::Rectifiers(group) => {
                shape.push(7);
                for plate in &group.plates {
                    shape.extend([plate.plate, plate.cathode]);
                }
            }
        }
        let named = shape.get(start..).unwrap_or_default();
        if named.iter().any(|&node| node >= count) {
            return Err(BadElement { element });
        }
        // Kinds of different length must not run into one another.
        shape.push(usize::MAX);
    }
    Ok(())
}
