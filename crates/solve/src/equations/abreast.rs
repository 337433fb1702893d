//! Four circuits of one structure side by side: their numbers, and residual and Jacobian of each at its own point.
//!
//! Says what [`super::load`], [`super::evaluate`] and [`super::ports`] say, in the same order and without a branch between lanes,
//! so that a lane has the same bits whatever stands beside it. Everything is inlined into whoever chooses the vectors
//! ([`crate::lanes::widely`]). Knows no rectifier groups: a cycle is no work for lanes.

use super::load::{Loaded, PairLaw};
use super::ports::{self, Farthest};
use super::{AMPLIFIER_OHMS, Equations, FLOOR_SIEMENS, across, two_sum};
use crate::device::{PentodeLaw, RectifierLaw, TriodeLaw, pentode_currents, triode_currents};
use crate::lanes::{LANES, Mask, Wide};
use crate::linear::Scalar as _;
use crate::netlist::{Law, Netlist, Slot};

/// Where the numbers of one element stand among those of its netlist.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Place {
    /// Its first branch.
    branch: usize,
    /// Its number among the elements of its kind.
    own: usize,
}

/// The numbers of as many netlists as there are lanes.
#[derive(Debug, Clone, Default)]
pub(crate) struct LoadedAbreast {
    base: Vec<Wide>,
    branches: Vec<(Wide, Wide)>,
    pairs: Vec<[PairLaw; LANES]>,
    triodes: Vec<TriodeLaw<Wide>>,
    pentodes: Vec<PentodeLaw<Wide>>,
    gains: Vec<Wide>,
}

impl LoadedAbreast {
    /// The same netlist in every lane.
    pub(crate) fn of(loaded: &Loaded) -> Self {
        let wide = |&(siemens, emf): &(f64, f64)| (Wide::all(siemens), Wide::all(emf));
        let triode = |law: &TriodeLaw| TriodeLaw::of_numbers(law.numbers().map(Wide::all));
        let pentode = |law: &PentodeLaw| PentodeLaw::of_numbers(law.numbers().map(Wide::all));
        Self {
            base: vec![Wide::ZERO; loaded.base.len()],
            branches: loaded.branches.iter().map(wide).collect(),
            pairs: loaded.pairs.iter().map(|law| [*law; LANES]).collect(),
            triodes: loaded.triodes.iter().map(triode).collect(),
            pentodes: loaded.pentodes.iter().map(pentode).collect(),
            gains: loaded.gains.iter().map(|&gain| Wide::all(gain)).collect(),
        }
    }

    /// As another, of the same structure.
    #[inline(always)]
    pub(crate) fn copy(&mut self, other: &Self) {
        self.branches.copy_from_slice(&other.branches);
        self.pairs.copy_from_slice(&other.pairs);
        self.triodes.copy_from_slice(&other.triodes);
        self.pentodes.copy_from_slice(&other.pentodes);
        self.gains.copy_from_slice(&other.gains);
    }

    /// Multiplies one number of an element, as [`crate::netlist::Element::scale`] does.
    #[inline(always)]
    pub(crate) fn scale(&mut self, law: &Law, slot: Slot, at: Place, by: Wide) {
        match (slot, law) {
            (
                Slot::Ohms,
                Law::Resistor { .. }
                | Law::Inductor { .. }
                | Law::Source { .. }
                | Law::Alternating { .. },
            ) => self.branches[at.branch].0 = self.branches[at.branch].0 / by,
            (Slot::WindingOhms(winding), Law::Transformer(t)) if winding < t.windings.len() => {
                let branch = &mut self.branches[at.branch + winding];
                branch.0 = branch.0 / by;
            }
            (Slot::Volts, Law::Source { .. }) => {
                self.branches[at.branch].1 = self.branches[at.branch].1 * by;
            }
            (Slot::Scale, Law::Triode { .. }) => {
                self.triodes[at.own].k = self.triodes[at.own].k * by;
            }
            (Slot::Scale, Law::Pentode { .. }) => {
                self.pentodes[at.own].k = self.pentodes[at.own].k * by;
            }
            (Slot::Mu, Law::Triode { .. }) => {
                self.triodes[at.own].mu = self.triodes[at.own].mu * by;
            }
            (Slot::Mu, Law::Pentode { .. }) => {
                self.pentodes[at.own].mu = self.pentodes[at.own].mu * by;
            }
            (Slot::ScreenShare, Law::Pentode { .. }) => {
                self.pentodes[at.own].s = self.pentodes[at.own].s * by;
            }
            (Slot::Perveance, Law::Diode { .. }) => {
                for (law, by) in self.pairs[at.own].iter_mut().zip(by.0) {
                    if let PairLaw::Diode(law) = law {
                        match &mut law.forward {
                            RectifierLaw::Valve(perveance) => *perveance *= by,
                            RectifierLaw::Junction { saturation, .. } => *saturation *= by,
                            RectifierLaw::Ideal { ohms } => *ohms /= by,
                        }
                    }
                }
            }
            // what does nothing at rest
            _ => {}
        }
    }

    /// Gives one lane another law in the place of an element's own, which is of the same kind between the same nodes. False if
    /// its numbers are none that the law allows.
    pub(crate) fn put(&mut self, lane: usize, law: &Law, at: Place) -> bool {
        let mut sound = true;
        let mut branch = |at: usize, ohms: f64, emf: f64| {
            sound &= ohms > 0.0 && emf.is_finite();
            self.branches[at].0.0[lane] = 1.0 / ohms;
            self.branches[at].1.0[lane] = emf;
        };
        match law {
            Law::Capacitor { .. } => {}
            Law::Resistor { ohms, .. }
            | Law::Inductor { ohms, .. }
            | Law::Alternating { ohms, .. } => branch(at.branch, *ohms, 0.0),
            Law::Source { volts, ohms, .. } => branch(at.branch, *ohms, *volts),
            Law::Transformer(transformer) => {
                for (winding, port) in transformer.windings.iter().enumerate() {
                    branch(at.branch + winding, port.ohms, 0.0);
                }
            }
            Law::Amplifier { gain, .. } => {
                sound = gain.is_finite();
                self.gains[at.own].0[lane] = *gain;
            }
            Law::Triode { law, .. } => {
                let mut numbers = self.triodes[at.own].numbers();
                for (slot, number) in numbers.iter_mut().zip(law.numbers()) {
                    slot.0[lane] = number;
                }
                self.triodes[at.own] = TriodeLaw::of_numbers(numbers);
            }
            Law::Pentode { law, .. } => {
                let mut numbers = self.pentodes[at.own].numbers();
                for (slot, number) in numbers.iter_mut().zip(law.numbers()) {
                    slot.0[lane] = number;
                }
                self.pentodes[at.own] = PentodeLaw::of_numbers(numbers);
            }
            Law::Diode { law, .. } => self.pairs[at.own][lane] = PairLaw::Diode(*law),
            Law::Filament { law, .. } => self.pairs[at.own][lane] = PairLaw::Filament(*law),
            Law::Neon { law, .. } => self.pairs[at.own][lane] = PairLaw::Neon(*law, false),
            Law::Rectifiers(_) => sound = false,
        }
        sound
    }
}

/// A pair of controlling terminals in each lane: see [`super::ports`].
#[derive(Debug, Clone, Copy)]
struct Port {
    at: Wide,
    moved: Wide,
    longer: Wide,
}

/// Points, and what the equations say there; indices as in [`super::Point`].
#[derive(Debug, Clone)]
pub(crate) struct Abreast {
    /// The numbers, and what they cannot hold.
    pub(crate) high: Vec<Wide>,
    pub(crate) low: Vec<Wide>,
    ports: Vec<Port>,
    next: usize,
    /// How far all ports together stand from their nodes.
    apart: Wide,
    pub(crate) residual: Vec<Wide>,
    lost: Vec<Wide>,
    pub(crate) flow: Vec<Wide>,
    pub(crate) matrix: Vec<Wide>,
}

impl Abreast {
    pub(crate) fn new(equations: &Equations) -> Self {
        let room = vec![Wide::ZERO; equations.len()];
        let pairs = equations.pairs.len();
        let port = Port {
            at: Wide::ZERO,
            moved: Wide::ZERO,
            longer: Wide::ONE,
        };
        Self {
            high: room.clone(),
            low: room.clone(),
            ports: vec![port; pairs + 2 * equations.triodes.len() + 3 * equations.pentodes.len()],
            next: 0,
            apart: Wide::ZERO,
            residual: room.clone(),
            lost: room.clone(),
            flow: room,
            matrix: equations.pattern.zeros(),
        }
    }

    /// Starts from the same point in every lane.
    #[inline(always)]
    pub(crate) fn start<'a>(&mut self, high: impl Iterator<Item = &'a f64>, low: &[f64]) {
        for (slot, value) in self.high.iter_mut().zip(high) {
            *slot = Wide::all(*value);
        }
        for (slot, value) in self.low.iter_mut().zip(low) {
            *slot = Wide::all(*value);
        }
    }

    /// Where some port stands elsewhere than its nodes.
    #[inline(always)]
    pub(crate) fn apart(&self) -> Mask {
        Wide::ZERO.less(self.apart)
    }

    #[inline(always)]
    fn add<const FINE: bool>(&mut self, node: usize, amps: Wide) {
        self.sum::<FINE>(node, amps);
        self.flow[node] += amps.abs();
    }

    #[inline(always)]
    fn sum<const FINE: bool>(&mut self, node: usize, amps: Wide) {
        if FINE {
            let (sum, lost) = two_sum(self.residual[node], amps);
            self.residual[node] = sum;
            self.lost[node] += lost;
        } else {
            self.residual[node] += amps;
        }
    }

    /// Adds a correction to unknown `at`, keeping what the sum loses.
    #[inline(always)]
    pub(crate) fn correct(&mut self, at: usize, by: Wide) {
        let (sum, lost) = two_sum(self.high[at], self.low[at] + by);
        self.high[at] = sum;
        self.low[at] = lost;
    }

    #[inline(always)]
    fn across<const FINE: bool>(&self, a: usize, b: usize) -> Wide {
        if FINE {
            across((self.high[a], self.low[a]), (self.high[b], self.low[b]))
        } else {
            self.high[a] - self.high[b]
        }
    }

    /// Moves the next port towards its nodes; at once where `AT_ONCE`.
    #[inline(always)]
    fn follow<const AT_ONCE: bool>(&mut self, volts: Wide, farthest: Farthest) -> Wide {
        let port = &mut self.ports[self.next];
        self.next += 1;
        if AT_ONCE {
            *port = Port {
                at: volts,
                moved: Wide::ZERO,
                longer: Wide::ONE,
            };
            return volts;
        }
        let asked = volts - port.at;
        let (size, last) = (asked.abs(), port.moved.abs());
        let way = asked * port.moved;
        let small = !Wide::all(ports::FINE).less(size);
        let back = way.less(Wide::ZERO) & (last * 0.5).less(size);
        let part = Wide::ONE
            .less(port.longer)
            .pick(Wide::all(ports::BACK_FROM_LONG), Wide::all(ports::BACK));
        let limit = Wide::all(farthest.limit());
        let limit = back.pick(limit.lower(part * last), limit);
        let limit = small.pick(Wide::all(ports::FINE), limit);
        let before = last / port.longer;
        let same = Wide::ZERO.less(way)
            & (before * ports::SAME_LEAST).less(size)
            & size.less(before * ports::SAME_MOST)
            & !small;
        let further = (port.longer * 2.0).lower(Wide::all(ports::LONGEST));
        let longer = same.pick(further, Wide::ONE);
        let by = asked * longer;
        let by = by.lower(limit).higher(-limit);
        self.apart += (by - asked).abs();
        *port = Port {
            at: port.at + by,
            moved: by,
            longer,
        };
        port.at
    }
}

impl Farthest {
    fn limit(self) -> f64 {
        match self {
            Self::Grid => ports::FARTHEST_GRID,
            Self::Other => ports::FARTHEST,
        }
    }
}

impl Equations {
    /// Can circuits of this structure go side by side?
    pub(crate) fn go_abreast(&self) -> bool {
        self.groups.is_empty() && self.lamps == 0
    }

    /// Where each element's numbers stand.
    pub(crate) fn places(netlist: &Netlist) -> Vec<Place> {
        let (mut branches, mut pairs, mut triodes, mut pentodes, mut gains) = (0, 0, 0, 0, 0);
        let elements = netlist.elements.iter().map(|element| {
            let next = |count: &mut usize| std::mem::replace(count, *count + 1);
            let mut place = Place {
                branch: branches,
                own: 0,
            };
            match &element.law {
                Law::Capacitor { .. } | Law::Rectifiers(_) => {}
                Law::Resistor { .. }
                | Law::Inductor { .. }
                | Law::Alternating { .. }
                | Law::Source { .. } => branches += 1,
                Law::Transformer(transformer) => branches += transformer.windings.len(),
                Law::Amplifier { .. } => place.own = next(&mut gains),
                Law::Triode { .. } => {
                    branches += 1;
                    place.own = next(&mut triodes);
                }
                Law::Pentode { .. } => {
                    branches += 1;
                    place.own = next(&mut pentodes);
                }
                Law::Diode { .. } | Law::Filament { .. } | Law::Neon { .. } => {
                    place.own = next(&mut pairs);
                }
            }
            place
        });
        elements.collect()
    }

    /// Makes the matrices of everything linear.
    #[inline(always)]
    pub(crate) fn assemble_abreast(&self, into: &mut LoadedAbreast) {
        into.base.fill(Wide::ZERO);
        for floor in &self.floors {
            floor.add(&mut into.base, Wide::all(FLOOR_SIEMENS));
        }
        for (branch, &(siemens, _)) in self.branches.iter().zip(&into.branches) {
            branch.stamps[0].add(&mut into.base, siemens);
            branch.stamps[1].add(&mut into.base, siemens);
        }
        for (follower, &gain) in self.followers.iter().zip(&into.gains) {
            let [current, output, input, own] = &follower.stamps;
            current.add(&mut into.base, Wide::ONE);
            output.add(&mut into.base, Wide::ONE);
            input.add(&mut into.base, gain);
            own.add(&mut into.base, Wide::all(AMPLIFIER_OHMS));
        }
    }

    /// Evaluates residuals, flows and Jacobians; a fine evaluation keeps the digits that plain sums and differences lose.
    #[inline(always)]
    pub(crate) fn evaluate_abreast<const FINE: bool, const AT_ONCE: bool>(
        &self,
        loaded: &LoadedAbreast,
        at: &mut Abreast,
    ) {
        at.next = 0;
        at.apart = Wide::ZERO;
        at.matrix.copy_from_slice(&loaded.base);
        at.lost.fill(Wide::ZERO);
        at.residual[0] = Wide::ZERO;
        at.flow[0] = Wide::ZERO;
        for node in 1..self.nodes {
            let amps = at.high[node] * FLOOR_SIEMENS;
            at.residual[node] = amps;
            at.flow[node] = amps.abs();
        }
        for (branch, &(siemens, emf)) in self.branches.iter().zip(&loaded.branches) {
            let volts = if FINE {
                let (difference, lost) = two_sum(at.high[branch.a], -at.high[branch.b]);
                let (driving, more) = two_sum(difference, -emf);
                driving + (lost + more + (at.low[branch.a] - at.low[branch.b]))
            } else {
                at.high[branch.a] - at.high[branch.b] - emf
            };
            let amps = siemens * volts;
            at.add::<FINE>(branch.a, amps);
            at.add::<FINE>(branch.b, -amps);
        }
        self.pairs_abreast::<FINE, AT_ONCE>(loaded, at);
        self.triodes_abreast::<FINE, AT_ONCE>(loaded, at);
        self.pentodes_abreast::<FINE, AT_ONCE>(loaded, at);
        for (follower, &gain) in self.followers.iter().zip(&loaded.gains) {
            let amps = at.high[follower.unknown] + at.low[follower.unknown];
            at.add::<FINE>(follower.output, amps);
            let (output, input) = (follower.output, follower.input);
            let own = amps * AMPLIFIER_OHMS;
            let wanted = gain * at.high[input];
            // without a fused product the rest of `wanted` is not had; the residual of the node that is fed decides
            let rest = at.low[output] - gain * at.low[input];
            at.residual[follower.unknown] = ((at.high[output] - wanted) + rest) - own;
            at.flow[follower.unknown] = at.high[output].abs() + wanted.abs() + own.abs();
        }
        if FINE {
            for (residual, lost) in at.residual.iter_mut().zip(&at.lost) {
                *residual += *lost;
            }
        }
    }

    #[inline(always)]
    fn pairs_abreast<const FINE: bool, const AT_ONCE: bool>(
        &self,
        loaded: &LoadedAbreast,
        at: &mut Abreast,
    ) {
        for (pair, laws) in self.pairs.iter().zip(&loaded.pairs) {
            let volts = at.across::<FINE>(pair.a, pair.b);
            let stands = at.follow::<AT_ONCE>(volts, Farthest::Other);
            let (mut amps, mut slope) = (Wide::ZERO, Wide::ZERO);
            for (lane, law) in laws.iter().enumerate() {
                (amps.0[lane], slope.0[lane]) = law.current(stands.0[lane]);
            }
            let amps = amps + slope * (volts - stands);
            at.add::<FINE>(pair.a, amps);
            at.add::<FINE>(pair.b, -amps);
            pair.stamps[0].add(&mut at.matrix, slope);
            pair.stamps[1].add(&mut at.matrix, slope);
        }
    }

    #[inline(always)]
    fn triodes_abreast<const FINE: bool, const AT_ONCE: bool>(
        &self,
        loaded: &LoadedAbreast,
        at: &mut Abreast,
    ) {
        for (triode, law) in self.triodes.iter().zip(&loaded.triodes) {
            let [plate, grid, cathode] = triode.nodes;
            let v = [
                at.across::<FINE>(plate, cathode),
                at.across::<FINE>(grid, cathode),
            ];
            let u = [
                at.follow::<AT_ONCE>(v[0], Farthest::Other),
                at.follow::<AT_ONCE>(v[1], Farthest::Grid),
            ];
            let found = triode_currents(*law, u[0], u[1]);
            let d = [v[0] - u[0], v[1] - u[1]];
            let plate_a =
                found.plate_a + (found.plate_by_plate * d[0] + found.plate_by_grid * d[1]);
            let grid_a = found.grid_a + (found.grid_by_plate * d[0] + found.grid_by_grid * d[1]);
            at.add::<FINE>(plate, plate_a);
            at.add::<FINE>(grid, grid_a);
            at.sum::<FINE>(cathode, -plate_a);
            at.sum::<FINE>(cathode, -grid_a);
            at.flow[cathode] += (plate_a + grid_a).abs();
            let slopes = [
                [found.plate_by_plate, found.plate_by_grid],
                [found.grid_by_plate, found.grid_by_grid],
                [
                    -(found.plate_by_plate + found.grid_by_plate),
                    -(found.plate_by_grid + found.grid_by_grid),
                ],
            ];
            for (stamps, slopes) in triode.stamps.iter().zip(&slopes) {
                for (stamp, &slope) in stamps.iter().zip(slopes) {
                    stamp.add(&mut at.matrix, slope);
                }
            }
        }
    }

    #[inline(always)]
    fn pentodes_abreast<const FINE: bool, const AT_ONCE: bool>(
        &self,
        loaded: &LoadedAbreast,
        at: &mut Abreast,
    ) {
        for (pentode, law) in self.pentodes.iter().zip(&loaded.pentodes) {
            let [plate, screen, grid, cathode] = pentode.nodes;
            let v = [
                at.across::<FINE>(plate, cathode),
                at.across::<FINE>(screen, cathode),
                at.across::<FINE>(grid, cathode),
            ];
            let u = [
                at.follow::<AT_ONCE>(v[0], Farthest::Other),
                at.follow::<AT_ONCE>(v[1], Farthest::Other),
                at.follow::<AT_ONCE>(v[2], Farthest::Grid),
            ];
            let found = pentode_currents(*law, u[0], u[1], u[2]);
            let d = [v[0] - u[0], v[1] - u[1], v[2] - u[2]];
            let mut slopes = [[Wide::ZERO; 3]; 4];
            let mut cathode_amps = Wide::ZERO;
            let currents = [found.plate, found.screen, found.grid];
            for ((node, current), row) in [plate, screen, grid].into_iter().zip(currents).zip(0..3)
            {
                let by = [current.by_plate, current.by_screen, current.by_grid];
                let amps = current.amps + (by[0] * d[0] + by[1] * d[1] + by[2] * d[2]);
                at.add::<FINE>(node, amps);
                at.sum::<FINE>(cathode, -amps);
                cathode_amps += amps;
                slopes[row] = by;
                for (sum, by) in slopes[3].iter_mut().zip(by) {
                    *sum -= by;
                }
            }
            at.flow[cathode] += cathode_amps.abs();
            for (stamps, slopes) in pentode.stamps.iter().zip(&slopes) {
                for (stamp, &slope) in stamps.iter().zip(slopes) {
                    stamp.add(&mut at.matrix, slope);
                }
            }
        }
    }
}
