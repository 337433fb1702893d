//! The circuit as equations: nodes, elements, and the parameters that spread.
//!
//! A netlist is complete: it holds what a direct-current solution ignores (capacitances,
//! inductances, transformer coupling, the alternating mains), so that response, periodic
//! and transient solutions start from the same list. What each element means at direct
//! current is said beside it.
//!
//! Node 0 is circuit ground. Currents are conventional, in amperes, into an element's
//! first terminal. Angles in radians, frequencies in hertz.

use crate::device::{DiodeLaw, FilamentLaw, NeonLaw, PentodeLaw, RectifierLaw, TriodeLaw};

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

/// Plates that conduct in turn into one filter, described by their cycle means.
///
/// Plate `d` sees, at the angle `w t`, the volts
/// `v_d = (V_plate - V_cathode) + emf_d cos(w t + phase_d) - sum_e z[d][e] i_e(t) + own_ohms_d (I_d) - r(t)`
/// where capital letters are cycle means (the unknowns of the direct-current solution),
/// `z` the resistances that the alternating emf acts through, `own_ohms` the part of `z[d][d]`
/// which also carries the mean current `I_d` (and so has its mean drop in the direct-current
/// equations already), and `r` the filter's ripple, of mean zero.
#[derive(Debug, Clone, PartialEq)]
pub struct Rectifiers {
    /// The plates.
    pub plates: Vec<RectifierPlate>,
    /// `z`, row by row, ohms.
    pub ohms: Vec<Vec<f64>>,
    /// What they charge.
    pub filter: Filter,
    /// Mains frequency.
    pub hertz: f64,
}

/// One plate of a group.
#[derive(Debug, Clone, PartialEq)]
pub struct RectifierPlate {
    /// Index of the diode element in the unreduced netlist.
    pub element: usize,
    /// Plate node.
    pub plate: NodeIndex,
    /// Cathode node.
    pub cathode: NodeIndex,
    /// Its law.
    pub law: RectifierLaw,
    /// Peak of the emf, volts.
    pub emf_peak: f64,
    /// Its phase.
    pub phase: f64,
    /// Part of the source resistance that carries the mean current too.
    pub own_ohms: f64,
}

/// What a rectifier group works into.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Filter {
    /// A reservoir: its farads and the conductance beside it at the ripple frequency.
    Reservoir {
        /// Farads.
        farads: f64,
        /// Siemens of the load as the ripple sees it.
        siemens: f64,
    },
    /// A choke first.
    Choke {
        /// Henries.
        henries: f64,
        /// Siemens across it and after it as the ripple sees them.
        siemens: f64,
    },
    /// Nothing: a resistance takes the pulses as they come.
    Open {
        /// Siemens of the load.
        siemens: f64,
    },
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
    /// Perveance of a rectifier plate (a factor on its current at given volts).
    Perveance,
}
