//! The circuit as equations: nodes, elements, and the parameters that spread.
//!
//! A netlist is complete: it holds what a direct-current solution ignores (capacitances,
//! inductances, transformer coupling, the alternating mains), so that response, periodic
//! and transient solutions start from the same list. What each element means at direct
//! current is said beside it.
//!
//! Node 0 is circuit ground. Currents are conventional, in amperes, into an element's
//! first terminal. Angles in radians, frequencies in hertz.

use crate::device::{DiodeLaw, FilamentLaw, NeonLaw, PentodeLaw, TriodeLaw};

/// Index of a node of the netlist; 0 is circuit ground.
pub type NodeIndex = usize;

/// The circuit as equations.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Netlist {
    /// A name for each node, for messages; index 0 is `ground`.
    pub nodes: Vec<String>,
    /// The elements; several may come from one part.
    pub elements: Vec<Element>,
    /// What spreads from one sound amplifier to the next.
    pub parameters: Vec<Parameter>,
    /// Which heater lights which valve; a valve that is in no entry counts as lit.
    pub heating: Vec<Heating>,
    /// Mains frequency in hertz; 0 without mains.
    pub hertz: f64,
}

/// A heater and the sections it lights.
#[derive(Debug, Clone, PartialEq)]
pub struct Heating {
    /// The valve's name.
    pub valve: String,
    /// Indices of the heater's resistor elements (two for a centre-tapped heater).
    pub heaters: Vec<usize>,
    /// Rated volts across each of them.
    pub rated_volts: f64,
    /// Indices of the triode, pentode, or diode elements that it lights.
    pub lights: Vec<usize>,
}

/// One element: the part it stands for, and its law.
#[derive(Debug, Clone, PartialEq)]
pub struct Element {
    /// The part's name, and where several elements stand for it, a word after a space
    /// (`R4`, `C6 leak`, `V1a`, `T1 hv`, `V2 heater`, `meter`).
    pub name: String,
    /// Its equation.
    pub law: Law,
}

/// What an element does.
#[derive(Debug, Clone, PartialEq)]
pub enum Law {
    /// A resistance: resistor, leak, closed switch, fuse, heater, a meter.
    Resistor {
        /// First end.
        a: NodeIndex,
        /// Second end.
        b: NodeIndex,
        /// Ohms, above 0.
        ohms: f64,
    },
    /// A capacitor without its leak (which is a resistor beside it). Open at direct current.
    Capacitor {
        /// First end.
        a: NodeIndex,
        /// Second end.
        b: NodeIndex,
        /// Farads.
        farads: f64,
        /// Equivalent series resistance.
        esr_ohms: f64,
    },
    /// A choke, or a coil with its resistance. A resistor at direct current.
    Inductor {
        /// First end.
        a: NodeIndex,
        /// Second end.
        b: NodeIndex,
        /// Henries.
        henries: f64,
        /// Ohms, above 0.
        ohms: f64,
    },
    /// Windings on one core. Each winding is its resistance at direct current.
    Transformer(Transformer),
    /// A steady source with a source resistance above 0.
    Source {
        /// Plus.
        plus: NodeIndex,
        /// Minus.
        minus: NodeIndex,
        /// Open-circuit volts.
        volts: f64,
        /// Source ohms, above 0.
        ohms: f64,
    },
    /// An alternating source (the mains, a generator): its source resistance at direct current.
    Alternating {
        /// First terminal.
        a: NodeIndex,
        /// Second terminal.
        b: NodeIndex,
        /// Volts rms, open circuit.
        volts: f64,
        /// Frequency.
        hertz: f64,
        /// Source ohms, above 0.
        ohms: f64,
        /// Is it the mains (true) or a signal (false)?
        mains: bool,
    },
    /// Ideal amplifier: the output stands at `gain` times the input, both against ground.
    Amplifier {
        /// Input.
        input: NodeIndex,
        /// Output; has an unknown current of its own.
        output: NodeIndex,
        /// Volts per volt.
        gain: f64,
    },
    /// One triode section.
    Triode {
        /// Plate.
        plate: NodeIndex,
        /// Grid.
        grid: NodeIndex,
        /// Cathode.
        cathode: NodeIndex,
        /// Its law, emission already in it.
        law: TriodeLaw,
    },
    /// One pentode or beam tetrode; grid 3 is taken at the cathode.
    Pentode {
        /// Plate.
        plate: NodeIndex,
        /// Screen, grid 2.
        screen: NodeIndex,
        /// Control grid, grid 1.
        grid: NodeIndex,
        /// Cathode.
        cathode: NodeIndex,
        /// Its law, emission already in it.
        law: PentodeLaw,
    },
    /// A diode that sees steady volts only (no alternating emf reaches it).
    Diode {
        /// Plate end.
        a: NodeIndex,
        /// Cathode end.
        k: NodeIndex,
        /// Its law (silicon, selenium, zener, ideal, one plate of a rectifier valve).
        law: DiodeLaw,
    },
    /// A filament lamp: a resistance that rises with its own power.
    Filament {
        /// First end.
        a: NodeIndex,
        /// Second end.
        b: NodeIndex,
        /// Its law.
        law: FilamentLaw,
    },
    /// A glow lamp, dark or struck.
    Neon {
        /// First end.
        a: NodeIndex,
        /// Second end.
        b: NodeIndex,
        /// Its law.
        law: NeonLaw,
    },
    /// Rectifying plates that an alternating emf drives into one filter, as cycle means.
    /// Made from diodes by the supply's reduction; never written by hand.
    Rectifiers(Rectifiers),
}

/// Windings on one core, tied by the volts per turn they share.
///
/// Current into a winding's first terminal: `i = (v - turns * u) / (ohms + j w leakage)`, with
/// `u` the volts per turn, an unknown; the core asks
/// `sum(turns * i) = u / (j w henries_per_turn2)`. At direct current `u` is 0.
#[derive(Debug, Clone, PartialEq)]
pub struct Transformer {
    /// The windings; a tapped winding is several in a row.
    pub windings: Vec<WindingPort>,
    /// Magnetising inductance for one turn, henries: the primary inductance over its turns squared.
    pub henries_per_turn2: f64,
    /// Core-loss resistance for one turn: ohms seen at the primary over its turns squared; infinite for none.
    pub ohms_per_turn2: f64,
}

/// One winding, or the part of one between two taps.
#[derive(Debug, Clone, PartialEq)]
pub struct WindingPort {
    /// In-phase end.
    pub a: NodeIndex,
    /// Other end.
    pub b: NodeIndex,
    /// Turns in any unit common to the core (no-load volts will do).
    pub turns: f64,
    /// Winding resistance, above 0.
    pub ohms: f64,
    /// Leakage inductance of this winding, henries.
    pub leakage: f64,
}

/// Plates that an alternating emf drives, with the linear network around them, as cycle means.
///
/// The steady volts of the network are the unknowns of the direct-current solution, in which
/// each plate carries its mean current `I_d` from its plate node to its cathode node. What
/// goes on within a mains cycle is told here, exactly, on a grid of [`CYCLE_STEPS`] angles
/// `a_j = 2 pi j / CYCLE_STEPS`, `j = 1 ..= CYCLE_STEPS`, with `h = 1 / (hertz CYCLE_STEPS)`:
///
/// ```text
/// v_d[j] = V_d + emf_peak_d cos(a_j + phase_d)
///          - sum_e ohms[d][e] (i_e[j] - I_e) - sum_s stores[s].reach[d] x_s[j]
/// i_d[j] = law_d(v_d[j])                          (forward law and zener, without the leak)
/// 3 x_s[j] - 4 x_s[j-1] + x_s[j-2] = 2 h f_s[j]   (all indices round the cycle)
/// f_s[j] = sum_q stores[s].rates[q] x_q[j] - LEAST_DECAY x_s[j] + sum_d stores[s].charge[d] (i_d[j] - I_d)
/// I_d    = mean over j of i_d[j]
/// ```
///
/// `V_d` is the mean of plate volts less cathode volts. Only departures from the mean act on
/// `ohms` and `stores`, because the direct-current equations already hold what the mean
/// current does; so a winding's own resistance counts for both, and what the primary reflects
/// (which no steady current crosses) for the departures only. `x` has mean zero of itself.
/// `ohms` with the stores is the impedance that the diodes see, as a passive network. The
/// two-step backward difference keeps it passive and damps what is faster than a step.
#[derive(Debug, Clone, PartialEq)]
pub struct Rectifiers {
    /// The plates.
    pub plates: Vec<RectifierPlate>,
    /// Resistance that the currents' departures from their means act through: volts across
    /// plate `d` (row) for a current through plate `e` (column), all stores at rest.
    pub ohms: Vec<Vec<f64>>,
    /// Capacitors and inductors that hold the ripple.
    pub stores: Vec<Store>,
    /// Mains frequency, above 0.
    pub hertz: f64,
}

/// Steps into which [`Rectifiers`] cut a mains cycle.
pub const CYCLE_STEPS: usize = 360;

/// Rate, 1/s, at which every [`Store`] decays besides: so slow that no meter shows it, it makes
/// the mean of a store with no load beside it 0.
pub const LEAST_DECAY: f64 = 1e-4;

/// One plate of a group.
#[derive(Debug, Clone, PartialEq)]
pub struct RectifierPlate {
    /// Index of the diode element in the unreduced netlist. In the reduced one its leak stands there.
    pub element: usize,
    /// Plate node.
    pub plate: NodeIndex,
    /// Cathode node.
    pub cathode: NodeIndex,
    /// Its law; the leak is not part of it (a resistor beside it carries that).
    pub law: DiodeLaw,
    /// Peak of the emf with all plates of the group open, volts.
    pub emf_peak: f64,
    /// Its phase.
    pub phase: f64,
}

/// A capacitor (its volts) or an inductor (its amperes) that holds ripple: one state, as a
/// departure from its mean.
#[derive(Debug, Clone, PartialEq)]
pub struct Store {
    /// Index of the element in the unreduced netlist.
    pub element: usize,
    /// How fast the state changes, per unit of every store's state, 1/s.
    pub rates: Vec<f64>,
    /// How fast it changes per ampere through each plate: V/s or A/s per ampere.
    pub charge: Vec<f64>,
    /// What its state takes from the volts across each plate, per unit of state.
    pub reach: Vec<f64>,
}

/// Something that differs from one sound amplifier to the next, as one factor on some slots.
///
/// `factor` 1 is the nominal. The slots of one parameter move together (both halves of a
/// winding, all gangs of a pot).
#[derive(Debug, Clone, PartialEq)]
pub struct Parameter {
    /// The part it belongs to (`R4`, `V1a`, `T1`, `mains`).
    pub part: String,
    /// What of it.
    pub quantity: Quantity,
    /// Where the factor goes: element index and slot.
    pub slots: Vec<(usize, Slot)>,
}

/// The quantity that a parameter scales.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Quantity {
    /// Ohms of a resistor, pot, winding, choke.
    Ohms,
    /// Leakage resistance.
    Leak,
    /// Farads.
    Farads,
    /// Henries.
    Henries,
    /// Emission: the scale of all currents of a valve.
    Emission,
    /// Amplification factor.
    Mu,
    /// The screen's share of the current.
    ScreenShare,
    /// Drop of a rectifier at a current.
    Drop,
    /// Volts of a winding or source.
    Volts,
    /// Volts of the mains.
    Mains,
    /// Resistance of the meter.
    Meter,
}

/// One number inside an element.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Slot {
    /// Ohms of a resistor, inductor, source, or (with an index) of a transformer winding.
    Ohms,
    /// Ohms of the winding of this index.
    WindingOhms(usize),
    /// Turns of the winding of this index.
    WindingTurns(usize),
    /// Farads.
    Farads,
    /// Henries.
    Henries,
    /// Volts of a source.
    Volts,
    /// `K` of a triode or pentode.
    Scale,
    /// `mu` of a triode or pentode.
    Mu,
    /// `S` of a pentode.
    ScreenShare,
    /// Perveance of a rectifier plate (a factor on its current at given volts). The element is
    /// the diode of the unreduced netlist; in a reduced one, the plate that names it.
    Perveance,
}
