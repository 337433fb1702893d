//! A circuit running in time: valves, rectifiers, capacitors, coils and the mains, together.
//!
//! [`Running`] starts from an operating point ([`Running::at`]) or from nothing
//! ([`Running::empty`]) and goes on in one of two ways. [`Running::until`] chooses its steps for
//! an accuracy, with a fourth-order rule, and lands on the time asked for: for start-up,
//! ripple, tremolo, and every figure that goes on a record. [`Running::step`] makes one
//! second-order step of a given length, and [`Running::two_steps`] two at once, of third order:
//! for sound. All rules are L-stable, so stray picofarads neither ring nor hold the step down.
//! What is switched, turned or pulled out meanwhile is told by [`Running::change`] and
//! [`Running::drive`]; a glow lamp strikes and goes out at its own moment.
//!
//! The netlist is taken as it is, winding and stray capacitances included (assembly adds them
//! by default). Averaged rectifier groups ([`crate::supply`]) stand as the straight line through
//! their cycle means at the operating point, so that a signal can run on a supply that is
//! averaged; the unreduced netlist with its mains runs cycle by cycle. A filament's ohms stay
//! what they are at the start (cold, from nothing); emission is what the laws say, unless
//! [`Running::warm_up`] or [`Running::cool_down`] moves it. Cores do not saturate.
//!
//! Time in seconds, volts against circuit ground, amperes into an element's first terminal. A
//! sine begins with 0 V, rising, at 0 s. Pure: the same calls give the same bits.

mod advance;
mod build;
mod cathodes;
mod cycle;
mod devices;
mod gains;
mod held;
mod natural;
mod parts;
mod past;
mod periodic;
mod power;
mod rules;
mod stage;
mod stores;
mod sweep;
mod terms;
#[cfg(test)]
mod tests;
mod twice;

pub use cathodes::warming_seconds;
pub use cycle::{Current, Cycle};
pub use natural::{NaturalFrequency, Tendency, natural_frequencies};
pub use periodic::Watch;
pub use stage::Work;

use advance::Trial;
use build::{Basis, Emf, Moving};
use stage::Room;
use stores::Sort;
use twice::Twice;

use crate::equations::BadElement;
use crate::netlist::{Netlist, NodeIndex};
use crate::operating::Solution;

/// Error allowed to a node in one step of [`Running::until`], as part of its peak so far.
pub const USUAL_ACCURACY: f64 = 1e-6;

/// The same in a cycle that repeats, unless told.
pub const CYCLE_ACCURACY: f64 = 1e-5;

/// What is added to a node's peak in that, volts.
const FLOOR_VOLTS: f64 = 0.1;

/// Why a circuit does not run.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum TimeError {
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
    /// Averaged rectifiers have no start from nothing: they need their operating point.
    #[error(
        "element {element} is a rectifier as cycle means: start from an operating point, or run the netlist with its diodes"
    )]
    Averaged {
        /// Index of the element.
        element: usize,
    },
    /// The equations leave an unknown free.
    #[error("the circuit has no single state at {seconds} s")]
    Free {
        /// When.
        seconds: f64,
    },
    /// No step was short enough.
    #[error("the circuit could not be followed beyond {seconds} s")]
    Stuck {
        /// Until when it could.
        seconds: f64,
    },
    /// No state was found that repeats itself.
    #[error("no state was found that repeats itself, within {seconds} s from the beginning")]
    Unsettled {
        /// How far the circuit was let run.
        seconds: f64,
    },
    /// Whoever watched wanted no more.
    #[error("stopped")]
    Stopped,
    /// A step is not longer than nothing.
    #[error("{seconds} s is no length of a step or cycle; ask for one above 0")]
    Length {
        /// What was asked for.
        seconds: f64,
    },
    /// The element is neither a source nor a generator.
    #[error("element {element} is no source")]
    NoSource {
        /// Its index.
        element: usize,
    },
    /// The element has no cathode that could warm.
    #[error("element {element} is no valve")]
    NoCathode {
        /// Its index.
        element: usize,
    },
    /// Another netlist has other elements, nodes or stores.
    #[error("the changed netlist has another structure")]
    Structure,
}

/// A circuit at a moment.
#[derive(Debug, Clone)]
pub struct Running {
    netlist: Netlist,
    moving: Moving,
    room: Room,
    /// Unknowns, ground first.
    x: Vec<f64>,
    states: Vec<f64>,
    amps: Vec<f64>,
    /// Are states and amperes those of before the last two steps at once, which alone know them?
    behind: bool,
    seconds: f64,
    /// Length of the next step, if nothing hinders it.
    next: f64,
    /// Length that no step exceeds.
    longest: f64,
    accuracy: f64,
    /// Was the accuracy told?
    told: bool,
    peaks: Vec<f64>,
    within: Vec<f64>,
    trial: Trial,
    twice: Twice,
    /// Unknowns at the end of the first of two steps.
    midway: Vec<f64>,
    /// Room for those at the end of the second.
    ahead: Vec<f64>,
}

impl Running {
    /// `netlist` at rest in its operating point `solution`, at 0 s. Generators begin from there.
    ///
    /// # Errors
    /// [`TimeError::Bad`] when the netlist is no set of equations, [`TimeError::OtherNetlist`]
    /// when the solution is not its own.
    pub fn at(netlist: &Netlist, solution: &Solution) -> Result<Self, TimeError> {
        let nodes = netlist.nodes.len().max(1);
        let has = solution.volts.len();
        if has != nodes {
            return Err(TimeError::OtherNetlist { has, wants: nodes });
        }
        let mut running = Self::new(netlist, Basis::Solution(solution))?;
        running.x[..nodes].copy_from_slice(&solution.volts);
        let amplifiers = netlist.elements.iter().zip(&running.moving.own);
        let amplifiers = amplifiers
            .filter(|(e, _)| matches!(e.law, crate::netlist::Law::Amplifier { .. }))
            .map(|(_, own)| *own);
        for (own, amps) in amplifiers.zip(&solution.amplifier_amps) {
            running.x[own] = *amps;
        }
        for pair in &mut running.moving.bent.pairs {
            pair.lit = solution.lit.contains(&pair.element);
        }
        let mut core = vec![0.0; running.x.len()];
        for (at, store) in running.moving.stores.iter().enumerate() {
            let volts = solution.across(store.plus, store.minus);
            let (state, amps) = match store.sort {
                Sort::Capacitor { .. } => (volts, 0.0),
                Sort::Coil { ohms, .. } if ohms > 0.0 => (volts / ohms, volts / ohms),
                Sort::Coil { .. } => (0.0, 0.0),
            };
            running.states[at] = state;
            running.amps[at] = amps;
        }
        running.magnetise(netlist, &mut core);
        running.peaks.clone_from(&running.x);
        for peak in &mut running.peaks {
            *peak = peak.abs();
        }
        Ok(running)
    }

    /// `netlist` with every capacitor empty and no current anywhere, at 0 s, its sources on.
    ///
    /// # Errors
    /// [`TimeError::Bad`] when the netlist is no set of equations, [`TimeError::Averaged`] when
    /// it has averaged rectifiers.
    pub fn empty(netlist: &Netlist) -> Result<Self, TimeError> {
        Self::new(netlist, Basis::Nothing)
    }

    fn new(netlist: &Netlist, basis: Basis<'_>) -> Result<Self, TimeError> {
        let moving = Moving::new(netlist, basis)?;
        let (size, stores) = (moving.pattern.size() + 1, moving.stores.len());
        let mut running = Self {
            netlist: netlist.clone(),
            room: Room::new(&moving),
            x: vec![0.0; size],
            states: vec![0.0; stores],
            amps: vec![0.0; stores],
            behind: false,
            seconds: 0.0,
            next: 0.0,
            longest: f64::INFINITY,
            accuracy: USUAL_ACCURACY,
            told: false,
            peaks: vec![0.0; size],
            within: vec![0.0; size],
            trial: Trial::default(),
            twice: Twice::new(&moving),
            midway: Vec::new(),
            ahead: Vec::new(),
            moving,
        };
        running.jumped();
        Ok(running)
    }

    /// Takes states and amperes from where they are known.
    fn catch_up(&mut self) {
        if std::mem::take(&mut self.behind) {
            self.twice.tell(&mut self.states, &mut self.amps);
        }
    }

    /// What steady currents in its windings leave in each core, which has no volts per turn then.
    fn magnetise(&mut self, netlist: &Netlist, core: &mut [f64]) {
        for (element, part) in netlist.elements.iter().enumerate() {
            let crate::netlist::Law::Transformer(transformer) = &part.law else {
                continue;
            };
            let own = self.moving.own[element];
            for winding in &transformer.windings {
                let volts = self.x[winding.a] - self.x[winding.b];
                core[own] += winding.turns * volts / winding.ohms;
            }
        }
        for (at, store) in self.moving.stores.iter().enumerate() {
            if store.plus >= self.moving.nodes {
                self.states[at] = core[store.plus];
                self.amps[at] = core[store.plus];
            }
        }
    }

    /// The error that a step of [`Running::until`] may leave at a node, as part of the node's peak so far plus
    /// 0.1 V; [`USUAL_ACCURACY`] unless told, [`CYCLE_ACCURACY`] for a cycle that repeats, in which nothing adds up. What steps leave adds up: expect ten to a hundred times it in the end.
    /// Kept between 1e-8 and 0.01.
    #[must_use]
    pub fn with_accuracy(mut self, accuracy: f64) -> Self {
        self.accuracy = accuracy.clamp(1e-8, 1e-2);
        self.told = true;
        self
    }

    /// Seconds since the beginning.
    #[must_use]
    pub fn seconds(&self) -> f64 {
        self.seconds
    }

    /// Volts of a node against ground; 0 for a node that does not exist. From nothing, all are
    /// 0 until the first step.
    #[must_use]
    pub fn volts(&self, node: NodeIndex) -> f64 {
        let inside = node < self.moving.nodes;
        self.x.get(node).copied().filter(|_| inside).unwrap_or(0.0)
    }

    /// Volts of node `a` over node `b`.
    #[must_use]
    pub fn across(&self, a: NodeIndex, b: NodeIndex) -> f64 {
        self.volts(a) - self.volts(b)
    }

    /// What has been done so far.
    #[must_use]
    pub fn work(&self) -> Work {
        self.room.count
    }

    /// From now on the source or generator that is element number `element` stands at `volts`.
    ///
    /// # Errors
    /// [`TimeError::NoSource`].
    pub fn drive(&mut self, element: usize, volts: f64) -> Result<(), TimeError> {
        self.source(element)?.emf = Emf::Steady(volts);
        self.jumped();
        Ok(())
    }

    fn ramp(&mut self, element: usize, to: f64, length: f64) -> Result<(), TimeError> {
        let since = self.seconds;
        let source = self.source(element)?;
        let from = source.emf.at(since);
        source.emf = Emf::Ramp {
            from,
            to,
            since,
            length,
        };
        Ok(())
    }

    fn source(&mut self, element: usize) -> Result<&mut build::Source, TimeError> {
        let mut sources = self.moving.sources.iter_mut();
        let found = sources.find(|source| source.element == element);
        found.ok_or(TimeError::NoSource { element })
    }

    /// From now on the circuit is `netlist`: a switch thrown, a knob turned, a valve pulled out.
    /// It must have the same elements between the same nodes; a switch is a resistance that
    /// changes. Capacitors keep their volts, coils their amperes, glow lamps their light, driven
    /// sources their drive.
    ///
    /// # Errors
    /// [`TimeError::Structure`] when it is another circuit, [`TimeError::Bad`] when a number in it is
    /// impossible; nothing has changed then.
    pub fn change(&mut self, netlist: &Netlist) -> Result<(), TimeError> {
        let moving = Moving::new(netlist, Basis::Before(&self.moving))?;
        self.go_on_as(netlist, moving)
    }

    /// From now on averaged rectifiers stand as the straight line through their cycle means at `volts` (and filaments at
    /// their ohms there): for a supply that sags so slowly that its means over a mains cycle are what its rectifiers
    /// see. `near` is where the circuit began; its volts but those of `volts` (node, volts) are not looked at.
    ///
    /// # Errors
    /// As [`Running::change`].
    pub fn follow_means(
        &mut self,
        near: &Solution,
        volts: &[(NodeIndex, f64)],
    ) -> Result<(), TimeError> {
        let mut at = near.clone();
        for &(node, mean) in volts {
            if let Some(slot) = at.volts.get_mut(node) {
                *slot = mean;
            }
        }
        let netlist = self.netlist.clone();
        let moving = Moving::new(&netlist, Basis::Solution(&at))?;
        self.go_on_as(&netlist, moving)
    }

    fn go_on_as(&mut self, netlist: &Netlist, mut moving: Moving) -> Result<(), TimeError> {
        let alike = moving.nodes == self.moving.nodes
            && moving.own == self.moving.own
            && moving.sources.len() == self.moving.sources.len()
            && moving.bent.pairs.len() == self.moving.bent.pairs.len()
            && moving.stores.len() == self.moving.stores.len()
            && moving
                .stores
                .iter()
                .zip(&self.moving.stores)
                .all(|(new, old)| {
                    (new.element, new.plus, new.minus) == (old.element, old.plus, old.minus)
                });
        if !alike {
            return Err(TimeError::Structure);
        }
        for (new, old) in moving.bent.pairs.iter_mut().zip(&self.moving.bent.pairs) {
            new.lit = old.lit;
        }
        moving.keep_heat(&self.moving);
        for (new, old) in moving.sources.iter_mut().zip(&self.moving.sources) {
            if matches!(old.emf, Emf::Ramp { .. }) {
                new.emf = old.emf;
            }
        }
        self.catch_up();
        let work = self.room.count;
        self.room = Room::new(&moving);
        self.room.count = work;
        self.twice = Twice::new(&moving);
        self.moving = moving;
        self.netlist = netlist.clone();
        self.jumped();
        Ok(())
    }
}
