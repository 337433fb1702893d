//! The circuit that a wiring means: parts with terminals, and the nodes that wires make of them.
//!
//! A [`Node`] is everything that is joined by wire: bare points and part terminals.
//! Node 0 is always circuit ground. A terminal that no walk has reached has no node.
//! Nothing here is computed; marked values, readings and states stand side by side.

use crate::diagnostic::Place;
use crate::readings::Block;
use serde::Serialize;

/// Index of a part in [`Circuit::parts`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
pub struct PartId(pub usize);

/// Index of a node in [`Circuit::nodes`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
pub struct NodeId(pub usize);

/// Circuit ground; always node 0.
pub const GROUND: NodeId = NodeId(0);

/// Everything that was read: heading, parts, nodes, knob positions, readings.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Circuit {
    /// The heading lines.
    pub heading: Heading,
    /// Every part; a pot gang, switch pole or can section is a part of its own with `parent` set.
    pub parts: Vec<Part>,
    /// Everything joined by wire; index 0 is ground.
    pub nodes: Vec<Node>,
    /// `set` lines outside readings blocks, the last one of a name counts.
    pub sets: Vec<Setting>,
    /// Readings blocks in file order.
    pub readings: Vec<Block>,
    /// How many walks end in ` ?`: copied from a drawing, not yet seen on the chassis.
    pub assumed_walks: usize,
}

/// The heading of a wiring.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Heading {
    /// `amp`: what it is called.
    pub amp: Option<String>,
    /// `maker`.
    pub maker: Option<String>,
    /// `serial`.
    pub serial: Option<String>,
    /// `year`.
    pub year: Option<String>,
    /// `mains`: what the wall gives now.
    pub mains: Option<Mains>,
    /// `cord two-wire`: neither conductor is surely live.
    pub two_wire_cord: bool,
    /// `state`: as found, as left, as drawn.
    pub state: Option<String>,
    /// `drawing`: which drawing this wiring was typed from.
    pub drawing: Option<String>,
    /// `note` lines, in order.
    pub notes: Vec<String>,
}

/// Mains at the wall.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Mains {
    /// Volts rms.
    pub volts: f64,
    /// Hertz, when said.
    pub hertz: Option<f64>,
}

/// Where a knob or switch stands (`set VOLUME 5`, `set S3 2`, `set J1 plugged`).
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Setting {
    /// Name as typed; a pot's parent name sets all its gangs, a switch's all its poles.
    pub name: String,
    /// Where it stands.
    pub to: Position,
    /// Where it was said.
    pub place: Place,
}

/// A position of a control.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Position {
    /// Pot rotation 0..=10, or switch throw 1, 2, 3 ...
    Number(f64),
    /// Switch closed.
    Closed,
    /// Switch open.
    Open,
    /// A plug is in the jack.
    Plugged,
    /// No plug.
    Unplugged,
}

/// All that is joined by wire.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Node {
    /// Bare point names in the order first typed (`B1`, `ground`, `live`, `bias`).
    pub names: Vec<String>,
    /// Part terminals in the order first typed: part and index into [`Part::terminals`].
    pub terminals: Vec<(PartId, usize)>,
    /// True while every walk that reaches this node is assumed (`?`).
    pub assumed: bool,
    /// `unused "sleeved"`: put away on purpose.
    pub unused: Option<String>,
}

/// One part.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Part {
    /// Name as typed (`R12`, `VOLUME`, `C9a`, `DEPTHb`, `S3a`).
    pub name: String,
    /// `C9` of `C9a`, `DEPTH` of `DEPTHb`, `S3` of `S3a`; otherwise none.
    pub parent: Option<String>,
    /// What it is, with its marked values.
    pub kind: Kind,
    /// Terminals in the kind's fixed order; see [`Kind`].
    pub terminals: Vec<Terminal>,
    /// What is known beyond the marking.
    pub known: Known,
    /// Where it was first described (or passed).
    pub place: Place,
    /// Every walk that wires it is still assumed (`?`).
    pub assumed: bool,
}

/// One place of a part that a wire can be soldered to.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Terminal {
    /// Its name after the dot: `1`, `2`, `tip`, `hv0`, a pin number.
    pub name: String,
    /// What it is joined to, once a walk has reached it.
    pub node: Option<NodeId>,
}

/// What a part is, with the values its marking or description gives.
///
/// Terminal order is fixed and given with each kind. A missing value is `None`:
/// nothing is guessed here; documented defaults are applied by whoever computes.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Kind {
    /// `1`, `2`.
    Resistor {
        /// Marked ohms.
        ohms: Option<f64>,
    },
    /// `1`, `2`; the section of a can has terminal `2` on the can's common minus.
    Capacitor {
        /// Marked farads.
        farads: Option<f64>,
        /// For a polarised one: terminal `1` (index 0) is plus when `true`, `2` when `false`.
        plus_first: Option<bool>,
    },
    /// `1`, `2`.
    Choke {
        /// Marked henries.
        henries: Option<f64>,
        /// Winding ohms.
        ohms: Option<f64>,
    },
    /// `a`, `k`.
    Diode {
        /// Which sort.
        sort: DiodeSort,
    },
    /// `ac1`, `ac2`, `plus`, `minus`.
    Bridge,
    /// `1`, `2`.
    Lamp {
        /// Neon or filament.
        sort: LampSort,
    },
    /// `1`, `2`; lit by the lamp named.
    Cell {
        /// Name of the lamp that lights it.
        lamp: String,
        /// Ohms in the dark.
        dark_ohms: Option<f64>,
        /// Ohms fully lit.
        lit_ohms: Option<f64>,
    },
    /// `1`, `2`.
    Fuse {
        /// Rated amperes.
        amps: Option<f64>,
        /// Slow (time-lag).
        slow: bool,
    },
    /// One pole. A plain on-off switch has `1`, `2`; a pole of several throws has `c`, `1`, `2`, ...
    Switch {
        /// Number of throws; 1 for plain on-off.
        throws: usize,
        /// Starting position from the description: throw number from 1, 0 for open.
        start: usize,
    },
    /// `tip`, `ring` (stereo only), `sleeve`, `break`, `ringbreak` (stereo only).
    Jack {
        /// Has a ring.
        stereo: bool,
        /// A phono socket (`tip`, `sleeve` only).
        phono: bool,
    },
    /// One gang: `1` anticlockwise end, `2` wiper, `3` clockwise end.
    Pot {
        /// Marked ohms end to end.
        ohms: Option<f64>,
        /// Track.
        taper: Taper,
        /// Switch on the shaft.
        switch: Option<String>,
    },
    /// Terminals are the socket's pins, named by number; electrodes by [`Valve`].
    Valve(Valve),
    /// Primary ends and taps first, then the windings in order.
    PowerTransformer(PowerTransformer),
    /// `p1`, perhaps `u1`, `p0`, `u2`, then `p2`, `s0`, then secondary taps.
    OutputTransformer(OutputTransformer),
    /// `p1`, `p2`, `s1`, perhaps `s0`, then `s2`.
    CouplingTransformer(CouplingTransformer),
    /// `in1`, `in2`, `out1`, `out2`, `case`.
    Tank {
        /// Impedance of the driven coil at 1 kHz.
        in_ohms: Option<f64>,
        /// Impedance of the return coil at 1 kHz.
        out_ohms: Option<f64>,
        /// Delay of the springs.
        seconds: Option<f64>,
    },
    /// `1`, `2`.
    Speaker {
        /// Nominal impedance.
        ohms: Option<f64>,
    },
    /// Bench supply; `plus`, `minus`.
    Supply {
        /// Open-circuit volts.
        volts: Option<f64>,
        /// Source resistance.
        ohms: f64,
    },
    /// Generator; `1`, `2`; rms open-circuit, a short to DC behind its source resistance.
    Generator {
        /// Volts rms open circuit.
        volts: Option<f64>,
        /// Hertz.
        hertz: Option<f64>,
        /// Source resistance.
        ohms: f64,
    },
    /// Ideal amplifier against ground; `in`, `out`.
    Gain {
        /// Volts out per volt in.
        gain: f64,
    },
    /// Anything else: drawn, not computed. Terminals as named.
    Box {
        /// What is written on it.
        label: String,
    },
    /// A class letter or name was used but nothing says what it is (already an error).
    Unknown,
}

/// Sorts of two-terminal diode.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum DiodeSort {
    /// Silicon, with its rated inverse volts when marked.
    Silicon(Option<f64>),
    /// Selenium or copper-oxide stack.
    Selenium,
    /// Zener of so many volts.
    Zener(f64),
    /// No drop, no leakage.
    Ideal,
}

/// Sorts of lamp.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum LampSort {
    /// Glow lamp.
    Neon,
    /// Filament lamp, rated volts and amperes when known.
    Filament(Option<f64>, Option<f64>),
}

/// A pot's track.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Taper {
    /// Straight.
    Linear,
    /// Two straight slopes; percent of the track below the wiper at half rotation.
    Audio(f64),
    /// Mirror image of audio; the same percent, measured from the clockwise end.
    Reverse(f64),
    /// Measured: (rotation 0..=10, fraction 0..=1) rising.
    Measured(Vec<(f64, f64)>),
}

/// What is in a socket.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Valve {
    /// Type the socket is meant for, as typed.
    pub meant: String,
    /// Type really fitted (`= 5AR4`), when other.
    pub fitted: Option<String>,
    /// Fraction of full emission (`emission 70%` is 0.7).
    pub emission: Option<f64>,
    /// Electrodes at the terminals, from the data sheet or the description; empty for an unknown type.
    pub electrodes: Vec<PinUse>,
    /// Limits given in the description for a type that has no sheet here.
    pub limits: ValveLimits,
    /// `like 12AX7`: curves (and, unless given, pins and limits) of another type.
    pub like: Option<String>,
}

/// Limits typed for a valve without a sheet.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct ValveLimits {
    /// Plate volts.
    pub plate_volts: Option<f64>,
    /// Plate watts.
    pub plate_watts: Option<f64>,
    /// Screen volts.
    pub screen_volts: Option<f64>,
    /// Screen watts.
    pub screen_watts: Option<f64>,
}

/// What one pin of a socket is for.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PinUse {
    /// Index into [`Part::terminals`].
    pub terminal: usize,
    /// Section letter: `a`, `b` of twins, `t`, `p` of a triode-pentode, none for the rest.
    pub section: Option<char>,
    /// Which electrode.
    pub electrode: Electrode,
}

/// Electrodes of a valve. A pin may carry two uses (grid 3 tied to the cathode inside).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Electrode {
    /// Plate.
    Plate,
    /// Control grid, grid 1.
    Grid,
    /// Cathode (or the filament end where a directly heated rectifier gives its output).
    Cathode,
    /// Screen, grid 2.
    Screen,
    /// Suppressor, grid 3.
    Suppressor,
    /// First heater end.
    Heater1,
    /// Second heater end.
    Heater2,
    /// Heater centre tap.
    HeaterTap,
    /// Shield or shell.
    Shield,
    /// Internal connection: leave free.
    Internal,
}

/// A mains transformer.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PowerTransformer {
    /// Primary taps: terminal index and volts above the zero end. Untapped `230 V` is
    /// (`pri1`, 230), (`pri2`, 0); tapped is as typed, (`pri0`, 0), (`pri220`, 220) ...
    /// Empty when no volts are written; the terminals are then `pri1`, `pri2`.
    pub primary: Vec<(usize, f64)>,
    /// Primary ohms, when written.
    pub primary_ohms: Option<f64>,
    /// Secondaries.
    pub windings: Vec<Winding>,
    /// No winding resistance unless written.
    pub ideal: bool,
}

/// One secondary of a mains transformer.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Winding {
    /// Its name (`hv`, `heater`, `bias`).
    pub name: String,
    /// Terminal index and volts relative to the reference terminal, in winding order.
    /// `275-0-275` is `(hv1, 275), (hv0, 0), (hv2, -275)`; plain `6.3` is `(heater1, 6.3), (heater2, 0)`.
    /// A tap stands with its own volts.
    pub taps: Vec<(usize, f64)>,
    /// Amperes at which the volts hold; none: the volts are no-load.
    pub amps: Option<f64>,
    /// Ohms end to end when written as one figure; halves equal.
    pub ohms: Option<f64>,
    /// Ohms of the two halves when written `105+98 ohm`.
    pub halves: Option<(f64, f64)>,
}

/// An output transformer.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OutputTransformer {
    /// Primary impedance: plate to plate, or plate to supply for single.
    pub primary_impedance: Option<f64>,
    /// Secondary taps: terminal index and impedance, rising.
    pub taps: Vec<(usize, f64)>,
    /// Terminal index of the cold end, `s0` (which is also `s2` where there is one tap).
    pub common: usize,
    /// Rated watts.
    pub watts: Option<f64>,
    /// Primary ohms, end to end.
    pub ohms: Option<f64>,
    /// Ohms of `p1` and `p2` halves when given apart.
    pub halves: Option<(f64, f64)>,
    /// Secondary ohms of the whole winding.
    pub secondary_ohms: Option<f64>,
    /// Primary inductance.
    pub henries: Option<f64>,
    /// Leakage inductance seen from the primary.
    pub leakage: Option<f64>,
    /// Single-ended (`p1`, `p2`; no centre tap).
    pub single: bool,
    /// Screen taps at this fraction of each half primary.
    pub screen_taps: Option<f64>,
    /// No winding resistance unless written.
    pub ideal: bool,
}

/// A driver or interstage transformer.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CouplingTransformer {
    /// Secondary turns (the whole winding) per primary turn.
    pub ratio: Option<f64>,
    /// A centre tap `s0` is there.
    pub centre_tap: bool,
    /// Secondary volts of each half per primary volt, when they differ.
    pub halves: Option<(f64, f64)>,
    /// Primary ohms.
    pub primary_ohms: Option<f64>,
    /// Secondary ohms.
    pub secondary_ohms: Option<f64>,
    /// Primary inductance.
    pub henries: Option<f64>,
    /// No winding resistance unless written.
    pub ideal: bool,
}

/// What is known of a part beyond its marking.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Known {
    /// `= 560`: value read with the part lifted, or `= open`, `= short`.
    pub reading: Option<Measured>,
    /// Rated watts.
    pub watts: Option<f64>,
    /// Rated volts.
    pub volts: Option<f64>,
    /// Tolerance as fractions: (low, high), both positive; `-20+50%` is (0.2, 0.5).
    pub tolerance: Option<(f64, f64)>,
    /// Marked value is a guaranteed minimum (`min`).
    pub minimum: bool,
    /// Make-up.
    pub make: Option<Make>,
    /// Leakage resistance, read.
    pub leak_ohms: Option<f64>,
    /// Equivalent series resistance, read.
    pub esr_ohms: Option<f64>,
    /// original, replaced, added, removed.
    pub history: Option<History>,
    /// Described as `assumed`.
    pub assumed: bool,
    /// keep, watch, replace.
    pub verdict: Option<Verdict>,
    /// Quoted notes, in order.
    pub notes: Vec<String>,
    /// `@ place`.
    pub sits: Option<String>,
}

/// A value read on the part itself.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Measured {
    /// What was read.
    pub value: MeasuredValue,
    /// Not lifted (`in circuit`): it does not replace the marked value.
    pub in_circuit: bool,
}

/// What a measurement of a part gave.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum MeasuredValue {
    /// In the part's own SI unit.
    Is(f64),
    /// Open.
    Open,
    /// Short.
    Short,
}

/// What a part is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Make {
    /// Carbon composition.
    Carbon,
    /// Film resistor or capacitor.
    Film,
    /// Wirewound.
    Wirewound,
    /// Paper capacitor.
    Paper,
    /// Ceramic.
    Ceramic,
    /// Mica.
    Mica,
    /// Electrolytic.
    Electrolytic,
}

/// Where a part comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum History {
    /// As made.
    Original,
    /// Fitted later in place of another.
    Replaced,
    /// Fitted later where nothing was.
    Added,
    /// No longer in the circuit; kept for the record and not wired.
    Removed,
}

/// What is to be done with a part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Stays.
    Keep,
    /// Stays, to be looked at again.
    Watch,
    /// Goes.
    Replace,
}

impl Circuit {
    /// The part of this name, exactly as typed. For many look-ups see [`crate::Index`].
    #[must_use]
    pub fn part(&self, name: &str) -> Option<PartId> {
        self.parts.iter().position(|p| p.name == name).map(PartId)
    }

    /// The part of this name, or the valve of which it names a section: `V1` of `V1a`.
    #[must_use]
    pub fn part_or_valve(&self, name: &str) -> Option<PartId> {
        self.part(name).or_else(|| {
            let letter = name.chars().last().filter(char::is_ascii_lowercase)?;
            self.part(name.strip_suffix(letter)?)
        })
    }

    /// The node of a point as typed: `B1`, `V1.3`, `V1a.plate`, `T1.hv0`, `C9.can`, `ground`.
    ///
    /// `gnd`, `0V` and, unless a part lies between or they are said to be apart, `chassis`
    /// are ground even where no walk names them.
    #[must_use]
    pub fn node(&self, point: &str) -> Option<NodeId> {
        if let Some(i) = self
            .nodes
            .iter()
            .position(|n| n.names.iter().any(|x| x == point))
        {
            return Some(NodeId(i));
        }
        if crate::names::is_ground(point) || point == "chassis" {
            return Some(GROUND);
        }
        let (part, terminal) = self.terminal(point)?;
        self.parts.get(part.0)?.terminals.get(terminal)?.node
    }

    /// The terminal of a point with a dot, as typed (`V1.3`, `V1a.plate`, `VOLUME.2`, `DEPTHa.1`).
    #[must_use]
    pub fn terminal(&self, point: &str) -> Option<(PartId, usize)> {
        let (name, word) = point.split_once('.')?;
        let (id, section) = match self.part(name) {
            Some(id) => (id, None),
            None => {
                // V1a.plate: a section letter after the valve's name
                let (base, section) = crate::names::without_section(name)?;
                (self.part(base)?, Some(section))
            }
        };
        let terminal = self.parts.get(id.0)?.terminal(section, word)?;
        Some((id, terminal))
    }
}

impl Part {
    /// Index of the terminal of this name, an electrode's word included; a section letter
    /// is possible for valves only.
    #[must_use]
    pub fn terminal(&self, section: Option<char>, word: &str) -> Option<usize> {
        let named = self.terminals.iter().position(|t| t.name == word);
        match &self.kind {
            Kind::Valve(valve) => match (named, section) {
                (Some(t), None) => Some(t),
                // V1a.1: the pin must be this section's, or nobody's.
                (Some(t), Some(_)) if word.starts_with(|c: char| c.is_ascii_digit()) => valve
                    .electrodes
                    .iter()
                    .all(|u| u.terminal != t || u.section.is_none() || u.section == section)
                    .then_some(t),
                _ => valve.pin(section, word),
            },
            // With one tap, `s2` is another name of the cold end.
            Kind::OutputTransformer(output)
                if named.is_none()
                    && section.is_none()
                    && word == "s2"
                    && self.terminals.iter().any(|t| t.name == "s1") =>
            {
                Some(output.common)
            }
            _ if section.is_some() => None,
            _ => named,
        }
    }
}

impl Valve {
    /// The type whose curves count: the fitted one if another is in the socket.
    #[must_use]
    pub fn type_in_socket(&self) -> &str {
        self.fitted.as_deref().unwrap_or(&self.meant)
    }

    /// Terminal index of an electrode by its word (`plate`, `grid`, `cathode`, `screen`,
    /// `suppressor`, `heater1`, `heater2`, `tap`), of a section when there are several.
    #[must_use]
    pub fn pin(&self, section: Option<char>, word: &str) -> Option<usize> {
        let electrode = Electrode::from_word(word)?;
        self.electrodes
            .iter()
            .find(|p| {
                p.electrode == electrode
                    && (p.section == section || p.section.is_none() || section.is_none())
            })
            .map(|p| p.terminal)
    }
}

impl Electrode {
    /// The word that is typed after the dot.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Plate => "plate",
            Self::Grid => "grid",
            Self::Cathode => "cathode",
            Self::Screen => "screen",
            Self::Suppressor => "suppressor",
            Self::Heater1 => "heater1",
            Self::Heater2 => "heater2",
            Self::HeaterTap => "heatertap",
            Self::Shield => "shield",
            Self::Internal => "internal",
        }
    }

    /// The electrode of a word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        [
            Self::Plate,
            Self::Grid,
            Self::Cathode,
            Self::Screen,
            Self::Suppressor,
            Self::Heater1,
            Self::Heater2,
            Self::HeaterTap,
            Self::Shield,
            Self::Internal,
        ]
        .into_iter()
        .find(|e| e.word() == word)
    }
}
