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

mod bias;
mod controls;
mod forms;
mod heaters;
mod inverters;
mod modulators;
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
use serde::{Deserialize, Serialize};
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
    /// Which of its usual forms it has, as far as that is traced.
    pub forms: Vec<Form>,
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

impl Block {
    /// A block of this kind with nothing in it yet.
    pub(crate) fn of(kind: BlockKind) -> Self {
        Self {
            kind,
            forms: Vec::new(),
            sections: Vec::new(),
            parts: Vec::new(),
            inputs: Vec::new(),
            outputs: Vec::new(),
            supply: None,
        }
    }

    /// Whether a part does this here.
    #[must_use]
    pub fn has(&self, role: Role) -> bool {
        self.parts.iter().any(|(_, r)| *r == role)
    }
}

macro_rules! words {
    ($(#[$outer:meta])* $name:ident { $($(#[$doc:meta])* $variant:ident = $word:literal,)* }) => {
        $(#[$outer])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
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
        /// Loads in plate and cathode whose outputs meet again, one through a capacitor, the other
        /// through a resistance that is varied.
        PhaseShifter = "phase shifter",
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
    /// The usual forms of a block; each says one thing, and a block may have several.
    Form {
        /// Each jack's contact grounds or joins the other.
        SwitchedJacks = "two jacks that switch each other",
        /// A single jack.
        OneJack = "one jack",
        /// Several jacks on one wire.
        JoinedJacks = "jacks on one wire",
        /// A capacitor across the cathode resistor.
        Bypassed = "cathode bypassed",
        /// A cathode resistor without a capacitor.
        Unbypassed = "cathode not bypassed",
        /// Another section stands on the same cathode resistor.
        SharedCathode = "shared cathode",
        /// Cathode on ground, a large leak: the grid's own current biases it.
        GridLeakBias = "grid-leak bias",
        /// The grid is wired to the plate before.
        DirectCoupled = "straight from a plate",
        /// The grid has a leak or divider of its own.
        OwnBias = "with its own bias",
        /// A capacitor across the upper part of the control.
        Bright = "with a bright capacitor",
        /// Two controls on a slope resistor.
        TrebleBass = "treble and bass",
        /// Three controls on a slope resistor.
        TrebleMiddleBass = "treble, middle and bass",
        /// A bass and a treble branch to ground.
        PassiveBranches = "two branches, passive",
        /// A bass and a treble branch round a stage.
        FeedbackBranches = "two branches, in feedback",
        /// Capacitor and control to ground.
        ToGround = "to ground",
        /// Control between the volume control's top, wiper and ground.
        VolumeBridge = "bridge with the volume control",
        /// A capacitor that lets treble past a resistor.
        Peaking = "with a peaking capacitor",
        /// A resistor for each channel.
        MixingResistors = "through resistors",
        /// Volume controls joined at the output.
        WipersJoined = "wipers joined",
        /// The second grid takes a part of the first output.
        Divided = "divided",
        /// The second grid takes what remains between both outputs.
        SelfBalancing = "self-balancing",
        /// A cathode resistor sets the bias.
        CathodeBias = "cathode bias",
        /// Cathodes on ground, the grids below it.
        FixedBias = "fixed bias",
        /// Distributed load.
        ScreenTaps = "screens on taps",
        /// A capacitor across or beside the primary.
        PlateDamping = "with plate damping",
        /// A control over treble in the feedback.
        Presence = "with presence",
        /// Ladder of capacitors, resistances to ground.
        SeriesCapacitors = "series capacitors",
        /// Ladder of resistances, capacitors to ground.
        SeriesResistances = "series resistances",
        /// Sways the output grids.
        OnOutputBias = "on the bias of the output valves",
        /// Sways an earlier grid or cathode.
        OnPreampStage = "on a preamp stage",
        /// A lamp lights a photo-resistor.
        LampAndCell = "lamp and cell",
        /// Low and high band in two sections, swayed in opposition.
        TwoBands = "two bands crossed",
        /// Varies a phase shifter.
        OnPhaseShifter = "on a phase shifter",
        /// Through a transformer.
        ByTransformer = "by a transformer",
        /// Through a capacitor.
        ByCapacitor = "by a capacitor",
        /// Two plates of one or more rectifier valves.
        FullWaveValve = "full wave by a valve",
        /// Diodes from both ends of a winding with its centre tap on ground.
        FullWaveDiodes = "full wave by diodes",
        /// Four diodes, or one bridge.
        Bridge = "bridge",
        /// Two diodes on one end of a winding, one for each half wave.
        Doubler = "doubler",
        /// One diode or plate.
        HalfWave = "half wave",
        /// The switch opens the winding or what leads to the reservoir.
        StandbyBeforeReservoir = "standby before the reservoir",
        /// The switch opens everything after the reservoir.
        StandbyAfterReservoir = "standby after the reservoir",
        /// The output plates stay on.
        StandbyPreampOnly = "standby of screens and preamp only",
        /// A resistor keeps a little high tension on.
        StandbyBridged = "standby with a resistor across",
        /// A fuse in the high tension.
        HtFuse = "with a fuse",
        /// A rectifier on a winding or tap meant for it.
        BiasWinding = "from a winding or tap of its own",
        /// A rectifier on an end of the high-tension winding.
        BiasFromHtEnd = "from the end of the high-tension winding",
        /// The supply's whole current goes through a resistor to ground.
        BackBias = "by a resistor under the high-tension supply",
        /// Two diodes and capacitors on a heater winding.
        BiasDoubler = "by doubling a heater winding",
        /// The winding's middle is the reference.
        HeaterCentreTap = "centre tap",
        /// Two resistors are the reference.
        HeaterResistors = "two resistors",
        /// A control is the reference.
        HeaterHumControl = "hum control",
        /// One end of the winding on ground.
        HeaterOneSide = "one side on ground",
        /// The reference stands some volts up.
        HeaterRaised = "raised above ground",
        /// A rectifier feeds some of the heaters.
        HeaterDirectCurrent = "direct current for some",
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
        /// Across the standby switch.
        StandbyBypass = "standby bypass resistor",
        /// Keeps a rail's volts steady.
        Regulator = "voltage regulator",
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
        /// Feeds the bias rectifier and holds direct current back.
        BiasFeedCapacitor = "bias feed capacitor",
        /// Between the high-tension supply and ground; its volts are the bias.
        BackBias = "back-bias resistor",
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
        /// Smooths direct current for heaters.
        HeaterFilter = "heater filter capacitor",
        /// In series with heaters on direct current.
        HeaterDropping = "heater dropping resistor",
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
        /// In series between stages; what for is not traced.
        SeriesCapacitor = "series capacitor",
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
        /// Another resistance that the oscillation varies.
        VariedResistance = "varied resistance",
        /// Capacitor that splits low from high band.
        BandCapacitor = "band-filter capacitor",
        /// Resistor that splits low from high band.
        BandResistor = "band-filter resistor",
        /// Capacitor of a phase shifter.
        ShiftCapacitor = "phase-shift capacitor",
        /// Fixed resistor of a phase shifter, in series with what is varied.
        ShiftResistor = "phase-shift resistor",
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
    bias::back(&mut found);
    rails::find(&mut found);
    supply::high_tension(&mut found);
    bias::find(&mut found);
    heaters::find(&mut found);
    output::find(&mut found);
    tremolo::oscillators(&mut found);
    inverters::find(&mut found);
    stages::the_rest(&mut found);
    networks::feedback(&mut found);
    modulators::find(&mut found);
    tone::find(&mut found);
    signal::find(&mut found);
    networks::leftovers(&mut found);
    found.finish()
}

/// Blocks under construction.
pub(crate) struct Finder<'a> {
    pub(crate) view: view::View<'a>,
    pub(crate) blocks: Vec<Block>,
    pub(crate) rails: rails::Rails,
    pub(crate) bias_rails: Vec<NodeId>,
    /// Nodes under the high-tension supply that a resistor lifts off ground, and those resistors.
    pub(crate) back: Vec<NodeId>,
    pub(crate) back_parts: Vec<PartId>,
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
            rails: rails::Rails::default(),
            bias_rails: Vec::new(),
            back: Vec::new(),
            back_parts: Vec::new(),
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
        forms::find(&mut self);
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
            rails: self.rails.in_order().to_vec(),
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

    /// Valve sections that drive the output transformer.
    pub fn output_sections(&self) -> impl Iterator<Item = &Section> {
        self.blocks
            .iter()
            .filter(|b| matches!(b.kind, BlockKind::SingleEnded | BlockKind::PushPull))
            .flat_map(|b| &b.sections)
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
