//! What each part is there for: blocks and roles, found from how parts are joined.
//!
//! Anchored at valves and transformers, never at names, so it works on half a tracing and
//! survives any renaming. A part may have several roles (a resistor that is one stage's plate
//! load feeds nothing else; a shared cathode resistor serves two). What fits nothing is listed.
//!
//! One module that drawing, rules, faults and kinship all use. It computes no voltages: values
//! are looked at only as a technician does ("a big one to ground, so it is a filter capacitor").
//!
//! Patterns after the textbooks: F. Langford-Smith (ed.), Radiotron Designer's Handbook, 4th ed.,
//! 1953; H. J. Reich, Theory and Applications of Electron Tubes (both from memory, not seen).

mod inverters;
mod networks;
mod output;
mod rails;
mod signal;
mod stages;
mod supply;
mod tone;
mod tremolo;
mod view;

use crate::circuit::{Circuit, NodeId, PartId};
use serde::Serialize;
use std::collections::BTreeSet;

pub use view::Section;

/// Everything that was recognised in a circuit.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Anatomy {
    /// The blocks: inputs first, then stages along the signal, then supply.
    pub blocks: Vec<Block>,
    /// Roles of each part, in the order of [`Circuit::parts`].
    pub roles: Vec<Vec<RoleIn>>,
    /// High-voltage rails, the reservoir first, as far as they are traced.
    pub rails: Vec<NodeId>,
    /// Negative (bias) rails.
    pub bias_rails: Vec<NodeId>,
    /// Wired parts that fit no pattern.
    pub unplaced: Vec<PartId>,
}

/// Index into [`Anatomy::blocks`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
pub struct BlockId(pub usize);

/// A role of one part in one block.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
pub struct RoleIn {
    /// What it does there.
    pub role: Role,
    /// Where.
    pub block: BlockId,
}

/// A group of parts that do one thing.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Block {
    /// What it is.
    pub kind: BlockKind,
    /// The valve sections in it.
    pub sections: Vec<Section>,
    /// Its parts with what each does, in wiring order.
    pub parts: Vec<(PartId, Role)>,
    /// Where the signal enters, when known.
    pub inputs: Vec<NodeId>,
    /// Where it leaves, when known.
    pub outputs: Vec<NodeId>,
    /// The rail it lives on, when known.
    pub supply: Option<NodeId>,
}

macro_rules! words {
    ($(#[$outer:meta])* $name:ident { $($(#[$doc:meta])* $variant:ident = $word:literal,)* }) => {
        $(#[$outer])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
        #[serde(rename_all = "snake_case")]
        pub enum $name { $($(#[$doc])* $variant,)* }
        impl $name {
            /// All of them.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)*];
            /// The technician's words.
            #[must_use]
            pub fn words(self) -> &'static str {
                match self { $(Self::$variant => $word,)* }
            }
        }
    };
}

words! {
    /// Kinds of block.
    BlockKind {
        /// Jacks, stoppers and leak before the first grid.
        Input = "input",
        /// One triode with a plate load.
        CommonCathode = "common-cathode stage",
        /// A small-signal pentode with a plate load.
        Pentode = "pentode stage",
        /// Plate on the supply, output at the cathode.
        Follower = "cathode follower",
        /// Loads in plate and cathode, both outputs used.
        Cathodyne = "cathodyne inverter",
        /// Two sections on one tail.
        LongTailedPair = "long-tailed pair",
        /// The second section fed from a part of the first one's output.
        Paraphase = "paraphase inverter",
        /// A transformer with two opposed secondaries on output grids.
        TransformerInverter = "transformer inverter",
        /// One output valve, or several side by side, on a single primary.
        SingleEnded = "single-ended output stage",
        /// Output valves at both ends of a primary.
        PushPull = "push-pull output stage",
        /// A volume control.
        Volume = "volume control",
        /// Treble and bass, with or without middle.
        ToneNetwork = "tone network",
        /// One control for tone.
        SingleTone = "single tone control",
        /// Treble cut between opposed signals.
        ToneCut = "tone cut",
        /// Resistors that add channels.
        Mixer = "mixer",
        /// Fixed network between stages (peaking, divider).
        Interstage = "interstage network",
        /// Negative feedback from the secondary.
        Feedback = "feedback path",
        /// Phase-shift oscillator.
        TremoloOscillator = "tremolo oscillator",
        /// How the oscillator reaches the signal.
        TremoloModulator = "tremolo modulator",
        /// Drives a spring tank.
        ReverbDriver = "reverb driver",
        /// The spring tank.
        ReverbTank = "reverb tank",
        /// First stage after the tank.
        ReverbRecovery = "reverb recovery",
        /// Mains inlet, fuse, switch, transformer primary.
        Mains = "mains side",
        /// Rectifier and filter chain.
        HtSupply = "high-tension supply",
        /// Negative supply for fixed bias.
        BiasSupply = "bias supply",
        /// Heater windings and their reference to chassis.
        HeaterSupply = "heater supply",
    }
}

words! {
    /// What a part does in its block.
    Role {
        /// The valve itself.
        Valve = "valve",
        /// Between plate and supply.
        PlateLoad = "plate load",
        /// Between cathode and ground, sets the bias.
        CathodeResistor = "cathode resistor",
        /// The load of a follower or the lower load of a cathodyne.
        CathodeLoad = "cathode load",
        /// Across a cathode resistor.
        CathodeBypass = "cathode bypass",
        /// Lets the grid's charge leak to its reference.
        GridLeak = "grid leak",
        /// In series with a grid.
        GridStopper = "grid stopper",
        /// In series with an input jack.
        InputStopper = "input stopper",
        /// From the input jack to ground.
        InputLeak = "input leak",
        /// The jack.
        Jack = "jack",
        /// Feeds a screen.
        ScreenResistor = "screen resistor",
        /// From a screen to ground or cathode.
        ScreenBypass = "screen bypass",
        /// Passes the signal on and holds the volts back.
        Coupling = "coupling capacitor",
        /// Below the shared cathode resistor of a long-tailed pair.
        Tail = "tail resistor",
        /// Grounds the second grid of a long-tailed pair for the signal.
        GridGround = "second-grid capacitor",
        /// From the loudspeaker side back to an earlier stage.
        FeedbackResistor = "feedback resistor",
        /// Capacitor in or across the feedback path.
        FeedbackCapacitor = "feedback capacitor",
        /// Where the feedback lands, to ground.
        FeedbackShunt = "feedback shunt resistor",
        /// Presence control.
        PresenceControl = "presence control",
        /// Presence capacitor.
        PresenceCapacitor = "presence capacitor",
        /// First capacitor after the rectifier.
        Reservoir = "reservoir",
        /// Later filter capacitor.
        Filter = "filter capacitor",
        /// In series between two rails.
        Dropping = "dropping resistor",
        /// Choke between two rails.
        FilterChoke = "filter choke",
        /// Across a rail to ground.
        Bleeder = "bleeder",
        /// Across one of two capacitors in series.
        Balance = "balance resistor",
        /// Rectifier valve or diode.
        Rectifier = "rectifier",
        /// In series with a rectifier plate or winding.
        RectifierSeries = "rectifier series resistor",
        /// Fuse in the high-tension supply.
        HtFuse = "high-tension fuse",
        /// Switches the high tension.
        StandbySwitch = "standby switch",
        /// Fuse in the mains lead.
        MainsFuse = "mains fuse",
        /// Switch in the mains lead.
        MainsSwitch = "mains switch",
        /// Mains transformer.
        MainsTransformer = "mains transformer",
        /// From a mains conductor to chassis.
        LineCapacitor = "line-to-chassis capacitor",
        /// Across the mains, against interference.
        MainsCapacitor = "mains suppression capacitor",
        /// Lamp on the panel.
        PilotLamp = "pilot lamp",
        /// Feeds the bias rectifier.
        BiasFeed = "bias feed resistor",
        /// Smooths the bias.
        BiasFilter = "bias filter capacitor",
        /// Sets the bias volts.
        BiasDivider = "bias divider resistor",
        /// Adjusts the bias.
        BiasControl = "bias control",
        /// From a heater end to chassis or its elevation.
        HeaterReference = "heater reference",
        /// Hum balance control.
        HumBalance = "hum balance control",
        /// Raises the heaters above chassis.
        HeaterElevation = "heater elevation divider",
        /// Output transformer.
        OutputTransformer = "output transformer",
        /// Loudspeaker.
        Speaker = "loudspeaker",
        /// Across the secondary or in series with the loudspeaker.
        SpeakerNetwork = "loudspeaker network",
        /// From plate to plate, or across a primary.
        PlateDamping = "plate damping",
        /// Small capacitor from plate to ground, cathode or grid, for stability.
        Stability = "stability capacitor",
        /// Level of a channel.
        VolumeControl = "volume control",
        /// Across the upper part of a volume control.
        BrightCapacitor = "bright capacitor",
        /// Treble control.
        TrebleControl = "treble control",
        /// Bass control.
        BassControl = "bass control",
        /// Middle control.
        MiddleControl = "middle control",
        /// The only tone control.
        ToneControl = "tone control",
        /// From the source to the treble control.
        TrebleCapacitor = "treble capacitor",
        /// To the bass control.
        BassCapacitor = "bass capacitor",
        /// To the middle control or resistor.
        MiddleCapacitor = "middle capacitor",
        /// Fixed middle resistor.
        MiddleResistor = "middle resistor",
        /// From the source to the bass and middle capacitors.
        SlopeResistor = "slope resistor",
        /// Capacitor of a single tone control.
        ToneCapacitor = "tone capacitor",
        /// Resistor that belongs to a tone control.
        ToneResistor = "tone resistor",
        /// Adds a channel.
        MixingResistor = "mixing resistor",
        /// Across a series resistor: lets the treble past.
        PeakingCapacitor = "peaking capacitor",
        /// In series between stages.
        SeriesResistor = "series resistor",
        /// To ground between stages.
        ShuntResistor = "shunt resistor",
        /// To ground between stages, or across a resistor.
        ShuntCapacitor = "shunt capacitor",
        /// Ladder capacitor of the oscillator.
        OscillatorCapacitor = "oscillator capacitor",
        /// Ladder resistor of the oscillator.
        OscillatorResistor = "oscillator resistor",
        /// Rate of the tremolo.
        SpeedControl = "speed control",
        /// Depth of the tremolo.
        DepthControl = "depth control",
        /// Takes the oscillation to the modulator.
        TremoloCoupling = "tremolo coupling",
        /// Stops the tremolo.
        TremoloSwitch = "tremolo switch",
        /// Lamp that drives a cell.
        ModulatorLamp = "modulator lamp",
        /// Photo-resistor.
        ModulatorCell = "modulator cell",
        /// Drives the tank, or a valve pair's grids.
        DriverTransformer = "driver transformer",
        /// Spring tank.
        Tank = "spring tank",
        /// Level of the reverberation.
        ReverbControl = "reverb control",
        /// A switch in the signal path.
        SignalSwitch = "signal switch",
        /// A control in the signal path that is none of the above.
        SignalControl = "control",
    }
}

/// Finds the blocks and roles of a circuit.
///
/// Works on any circuit, also an empty one; the cost grows with the number of parts times the
/// number of valve sections.
#[must_use]
pub fn anatomy(circuit: &Circuit) -> Anatomy {
    let view = view::View::of(circuit);
    let mut found = Finder::new(view);
    supply::mains(&mut found);
    rails::find(&mut found);
    supply::high_tension(&mut found);
    supply::bias(&mut found);
    supply::heaters(&mut found);
    output::find(&mut found);
    tremolo::oscillators(&mut found);
    inverters::find(&mut found);
    stages::the_rest(&mut found);
    networks::feedback(&mut found);
    tremolo::modulators(&mut found);
    tone::find(&mut found);
    signal::find(&mut found);
    networks::leftovers(&mut found);
    found.finish()
}

/// Blocks under construction.
pub(crate) struct Finder<'a> {
    pub(crate) view: view::View<'a>,
    pub(crate) blocks: Vec<Block>,
    pub(crate) rails: Vec<NodeId>,
    pub(crate) bias_rails: Vec<NodeId>,
    /// Nodes that stand still for the signal: ground, rails, bias rails, bypassed nodes.
    pub(crate) still: BTreeSet<NodeId>,
    /// Sections that already belong to a stage.
    pub(crate) taken: BTreeSet<usize>,
}

impl<'a> Finder<'a> {
    fn new(view: view::View<'a>) -> Self {
        Self {
            view,
            blocks: Vec::new(),
            rails: Vec::new(),
            bias_rails: Vec::new(),
            still: BTreeSet::from([crate::circuit::GROUND]),
            taken: BTreeSet::new(),
        }
    }

    /// Adds a block and gives its id; empty blocks are not kept.
    pub(crate) fn add(&mut self, block: Block) -> Option<BlockId> {
        if block.parts.is_empty() {
            return None;
        }
        self.blocks.push(block);
        Some(BlockId(self.blocks.len() - 1))
    }

    /// Whether a part has any role yet.
    pub(crate) fn has_role(&self, part: PartId) -> bool {
        self.blocks
            .iter()
            .any(|b| b.parts.iter().any(|(p, _)| *p == part))
    }

    /// Whether a part has this role somewhere.
    pub(crate) fn is(&self, part: PartId, role: Role) -> bool {
        self.blocks.iter().any(|b| b.parts.contains(&(part, role)))
    }

    fn finish(mut self) -> Anatomy {
        for block in &mut self.blocks {
            let mut seen = BTreeSet::new();
            block.parts.retain(|p| seen.insert(*p));
            block.parts.sort();
        }
        signal::order(&mut self);
        let mut roles = vec![Vec::new(); self.view.circuit.parts.len()];
        for (i, block) in self.blocks.iter().enumerate() {
            for (part, role) in &block.parts {
                roles[part.0].push(RoleIn {
                    role: *role,
                    block: BlockId(i),
                });
            }
        }
        let unplaced = (0..self.view.circuit.parts.len())
            .map(PartId)
            .filter(|p| roles[p.0].is_empty() && self.view.is_wired(*p))
            .collect();
        Anatomy {
            blocks: self.blocks,
            roles,
            rails: self.rails,
            bias_rails: self.bias_rails,
            unplaced,
        }
    }
}

impl Anatomy {
    /// The first role of a part, when it has one.
    #[must_use]
    pub fn role(&self, part: PartId) -> Option<Role> {
        self.roles.get(part.0)?.first().map(|r| r.role)
    }

    /// Whether the part has this role in any block.
    #[must_use]
    pub fn has(&self, part: PartId, role: Role) -> bool {
        self.roles
            .get(part.0)
            .is_some_and(|all| all.iter().any(|r| r.role == role))
    }

    /// The block that holds a valve section.
    #[must_use]
    pub fn block_of(&self, part: PartId, section: Option<char>) -> Option<&Block> {
        self.blocks.iter().find(|b| {
            b.sections
                .iter()
                .any(|s| s.part == part && s.section == section)
        })
    }
}
