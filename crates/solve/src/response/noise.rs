//! Noise between any two nodes, each source of it by itself.
//!
//! Every resistance hisses (J.B. Johnson and H. Nyquist, Physical Review 32, 1928, from memory,
//! not seen): `4 k T Re(Y)` square amperes per hertz beside its admittance. A valve's space
//! current is shot noise that the space charge smooths: as if a resistance of `2.5 / gm` at
//! room temperature stood in the grid's lead, never more than full shot noise `2 q I`; and how it
//! divides between plate and screen is a matter of chance, `2 q Ia Is / (Ia + Is)` (B.J. Thompson,
//! D.O. North and W.A. Harris, RCA Review 4 and 5, 1940 to 1941, from memory, not seen). Grid and
//! diode currents are full shot noise. Below a corner the noise of a valve's cathode rises as
//! `1 / f`, and a resistor of carbon adds noise of its own with its steady volts.
//!
//! Not here: hum, microphony, and what a mains rectifier or a glow lamp adds.

use std::f64::consts::LN_10;

use super::build::core_loss;
use super::{Admittance, Response, ResponseError, SmallSignal, Toward};
use crate::linear::{Complex, Phasor};
use crate::netlist::{Law, Netlist, NodeIndex};
use crate::operating::Solution;

/// Boltzmann's constant, J/K (exact in the SI of 2019).
const BOLTZMANN: f64 = 1.380_649e-23;
/// Charge of the electron, C (exact in the SI of 2019).
const CHARGE: f64 = 1.602_176_634e-19;
/// Temperature at which the equivalent grid resistance of a valve is quoted, kelvin.
const ROOM_KELVIN: f64 = 290.0;
/// Equivalent noise resistance of a space-charge limited valve times its mutual conductance.
const SMOOTHED: f64 = 2.5;

/// What a noise depends on besides the circuit.
#[derive(Debug, Clone, PartialEq)]
pub struct NoiseModel {
    /// Temperature of every resistance, kelvin.
    pub kelvin: f64,
    /// Frequency below which the noise of a valve's cathode rises as `1 / f`, hertz. Sound
    /// valves lie between some hundred hertz and 10 kHz: common practice, no source.
    pub corner_hertz: f64,
    /// Carbon resistors by element: microvolts rms in a decade of frequency for each steady volt
    /// across them (the noise index of MIL-STD-202 method 308, from memory, not seen). About 1 for
    /// carbon composition, 0.1 for carbon film: common practice, no source.
    pub index: Vec<(usize, f64)>,
}

impl Default for NoiseModel {
    /// 20 degrees Celsius, a corner of 1 kHz, no carbon noise.
    fn default() -> Self {
        Self {
            kelvin: 293.15,
            corner_hertz: 1e3,
            index: Vec::new(),
        }
    }
}

/// Where a noise comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum NoiseKind {
    /// Hiss of a resistance.
    Thermal,
    /// Grains of a current.
    Shot,
    /// What rises as `1 / f`.
    Flicker,
}

/// What one source adds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NoiseShare {
    /// Index of the element.
    pub element: usize,
    /// Of what kind.
    pub kind: NoiseKind,
    /// Square volts between the two nodes: per hertz at one frequency, in all over a band.
    pub square: f64,
}

/// Noise between two nodes.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Noise {
    /// Every source, in the order of the elements.
    pub shares: Vec<NoiseShare>,
}

impl Noise {
    /// Root of the sum of all squares: volts over a band, volts per root hertz at one frequency.
    #[must_use]
    pub fn volts(&self) -> f64 {
        self.shares.iter().map(|s| s.square).sum::<f64>().sqrt()
    }

    /// The same for one kind.
    #[must_use]
    pub fn volts_of(&self, kind: NoiseKind) -> f64 {
        let of_kind = self.shares.iter().filter(|s| s.kind == kind);
        of_kind.map(|s| s.square).sum::<f64>().sqrt()
    }

    fn add(&mut self, element: usize, kind: NoiseKind, square: f64) {
        if square > 0.0 {
            self.shares.push(NoiseShare {
                element,
                kind,
                square,
            });
        }
    }
}

impl SmallSignal {
    /// Noise of `a` over `b` in the band from `low` to `high` hertz. The netlist and the solution
    /// are those that this was made from.
    ///
    /// # Errors
    /// As [`SmallSignal::at`], which is asked five times for each third of an octave; a band that
    /// ends below its beginning is [`ResponseError::Frequency`].
    pub fn noise(
        &self,
        netlist: &Netlist,
        solution: &Solution,
        (a, b): (NodeIndex, NodeIndex),
        (low, high): (f64, f64),
        model: &NoiseModel,
    ) -> Result<Noise, ResponseError> {
        if !(low > 0.0 && low.is_finite()) {
            return Err(ResponseError::Frequency { hertz: low });
        }
        if !(high >= low && high.is_finite()) {
            return Err(ResponseError::Frequency { hertz: high });
        }
        let panels = (3.0 * (high / low).log2()).ceil().clamp(1.0, 400.0);
        let ratio = (high / low).ln() / panels;
        let mut sum = Noise::default();
        let mut panel = 0.0;
        while panel < panels {
            for (at, weight) in GAUSS {
                let hertz = low * (ratio * (panel + 0.5 + 0.5 * at)).exp();
                let here = self.at(hertz)?.noise(netlist, solution, (a, b), model);
                // df = f d(ln f)
                let weight = 0.5 * weight * ratio * hertz;
                if sum.shares.is_empty() {
                    sum.shares = here.shares;
                    for share in &mut sum.shares {
                        share.square *= weight;
                    }
                } else {
                    for share in here.shares {
                        let same = |s: &&mut NoiseShare| {
                            (s.element, s.kind) == (share.element, share.kind)
                        };
                        match sum.shares.iter_mut().find(same) {
                            Some(known) => known.square += weight * share.square,
                            None => sum.add(share.element, share.kind, weight * share.square),
                        }
                    }
                }
            }
            panel += 1.0;
        }
        Ok(sum)
    }
}

/// Gauss's rule of five points on -1 to 1.
const GAUSS: [(f64, f64); 5] = [
    (-0.906_179_845_938_664, 0.236_926_885_056_189_1),
    (-0.538_469_310_105_683_1, 0.478_628_670_499_366_5),
    (0.0, 0.568_888_888_888_888_9),
    (0.538_469_310_105_683_1, 0.478_628_670_499_366_5),
    (0.906_179_845_938_664, 0.236_926_885_056_189_1),
];

impl Response<'_> {
    /// Noise of `a` over `b` at this frequency, square volts per hertz. The netlist and the
    /// solution are those that the circuit was made from.
    #[must_use]
    pub fn noise(
        &self,
        netlist: &Netlist,
        solution: &Solution,
        (a, b): (NodeIndex, NodeIndex),
        model: &NoiseModel,
    ) -> Noise {
        let mut found = Sources {
            toward: self.toward(a, b),
            omega: std::f64::consts::TAU * self.hertz,
            flicker: model.corner_hertz.max(0.0) / self.hertz,
            thermal: 4.0 * BOLTZMANN * model.kelvin.max(0.0),
            noise: Noise::default(),
        };
        for (element, part) in netlist.elements.iter().enumerate() {
            let own = self.circuit.own.get(element).copied();
            found.element(element, &part.law, own, solution);
            let index = model.index.iter().find(|(of, _)| *of == element);
            if let (Some((_, index)), Law::Resistor { a, b, ohms }) = (index, &part.law) {
                let volts = 1e-6 * index * solution.across(*a, *b);
                let square = volts * volts / (LN_10 * self.hertz * ohms * ohms);
                found.between(element, NoiseKind::Flicker, (*a, *b), square);
            }
        }
        found.noise
    }
}

struct Sources {
    toward: Toward,
    omega: f64,
    flicker: f64,
    thermal: f64,
    noise: Noise,
}

impl Sources {
    /// A current of so many square amperes per hertz from one node to the other.
    fn between(
        &mut self,
        element: usize,
        kind: NoiseKind,
        (a, b): (NodeIndex, NodeIndex),
        square_amps: f64,
    ) {
        let reach = square(self.toward.through(a, b));
        self.noise.add(element, kind, reach * square_amps);
    }

    fn thermal(&mut self, element: usize, ends: (NodeIndex, NodeIndex), siemens: f64) {
        let amps = self.thermal * siemens;
        self.between(element, NoiseKind::Thermal, ends, amps);
    }

    fn element(&mut self, element: usize, law: &Law, own: Option<usize>, solution: &Solution) {
        let across = |a: NodeIndex, b: NodeIndex| solution.across(a, b);
        match law {
            Law::Resistor { a, b, ohms }
            | Law::Alternating { a, b, ohms, .. }
            | Law::Source {
                plus: a,
                minus: b,
                ohms,
                ..
            } => self.thermal(element, (*a, *b), 1.0 / ohms),
            Law::Filament { a, b, law } => {
                let ohms = law.ohms(across(*a, *b).abs()).max(1e-6);
                self.thermal(element, (*a, *b), 1.0 / ohms);
            }
            Law::Capacitor {
                a,
                b,
                farads,
                esr_ohms,
            } => {
                let (farads, esr_ohms) = (*farads, *esr_ohms);
                let y =
                    Admittance::Capacitor { farads, esr_ohms }.at(Complex::imaginary(self.omega));
                self.thermal(element, (*a, *b), y.re);
            }
            Law::Inductor {
                a,
                b,
                henries,
                ohms,
            } => {
                let (henries, ohms) = (*henries, *ohms);
                let y = Admittance::Coil { henries, ohms }.at(Complex::imaginary(self.omega));
                self.thermal(element, (*a, *b), y.re);
            }
            Law::Transformer(transformer) => {
                let core = self.toward.unknown(own);
                let reach = square(core) * self.thermal * core_loss(transformer);
                self.noise.add(element, NoiseKind::Thermal, reach);
                for winding in &transformer.windings {
                    let (henries, ohms) = (winding.leakage, winding.ohms);
                    let y = Admittance::Coil { henries, ohms }.at(Complex::imaginary(self.omega));
                    // Its current goes round the core too.
                    let turns = Complex::new(winding.turns, 0.0);
                    let reach = self.toward.through(winding.a, winding.b) + turns * core;
                    let amps = self.thermal * y.re;
                    self.noise
                        .add(element, NoiseKind::Thermal, square(reach) * amps);
                }
            }
            Law::Diode { a, k, law } => {
                let (amps, _) = law.conduction(across(*a, *k));
                let square = 2.0 * CHARGE * amps.abs();
                self.between(element, NoiseKind::Shot, (*a, *k), square);
                self.thermal(element, (*a, *k), law.leak);
            }
            Law::Triode {
                plate,
                grid,
                cathode,
                law,
            } => {
                let at = law.currents(across(*plate, *cathode), across(*grid, *cathode));
                let ends = (*plate, *cathode);
                self.space(element, ends, ends, 1.0, at.plate_by_grid, at.plate_a);
                let square = 2.0 * CHARGE * at.grid_a;
                self.between(element, NoiseKind::Shot, (*grid, *cathode), square);
            }
            Law::Pentode {
                plate,
                screen,
                grid,
                cathode,
                law,
            } => {
                let at = law.currents(
                    across(*plate, *cathode),
                    across(*screen, *cathode),
                    across(*grid, *cathode),
                );
                let amps = at.plate.amps + at.screen.amps;
                let slope = at.plate.by_grid + at.screen.by_grid;
                let share = if amps > 0.0 {
                    at.plate.amps / amps
                } else {
                    1.0
                };
                let to_plate = (*plate, *cathode);
                let to_screen = (*screen, *cathode);
                self.space(element, to_plate, to_screen, share, slope, amps);
                // What goes to the one is missing at the other.
                let divided = 2.0 * CHARGE * share * at.screen.amps;
                self.between(element, NoiseKind::Shot, (*plate, *screen), divided);
                let square = 2.0 * CHARGE * at.grid.amps;
                self.between(element, NoiseKind::Shot, (*grid, *cathode), square);
            }
            Law::Amplifier { .. } | Law::Neon { .. } | Law::Rectifiers(_) => {}
        }
    }

    /// A smoothed space current, `share` of it to one electrode and the rest to the other.
    fn space(
        &mut self,
        element: usize,
        first: (NodeIndex, NodeIndex),
        second: (NodeIndex, NodeIndex),
        share: f64,
        slope: f64,
        amps: f64,
    ) {
        let smoothed = 4.0 * BOLTZMANN * ROOM_KELVIN * SMOOTHED * slope.max(0.0);
        let square_amps = smoothed.min(2.0 * CHARGE * amps.max(0.0));
        let part = |share: f64| Complex::new(share, 0.0);
        let reach = square(
            part(share) * self.toward.through(first.0, first.1)
                + part(1.0 - share) * self.toward.through(second.0, second.1),
        );
        let shot = reach * square_amps;
        self.noise.add(element, NoiseKind::Shot, shot);
        self.noise
            .add(element, NoiseKind::Flicker, shot * self.flicker);
    }
}

fn square(z: Complex) -> f64 {
    z.re * z.re + z.im * z.im
}
