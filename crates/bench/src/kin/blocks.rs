//! Block by block: what of the amp is as drawn, and which drawing each region follows.

use super::lines::{Laid, Row};
use super::{DrawingKin, Status};
use crate::kin::graph::{NONE, Sort};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};
use wiring::Circuit;
use wiring::circuit::{Kind, PartId};
use wiring::roles::{Anatomy, Block, BlockKind};

/// How a block stands to a drawing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum BlockVerdict {
    /// As drawn, values within tolerance.
    Same,
    /// Joined as drawn, values or types differ.
    ValuesDiffer,
    /// Joined otherwise.
    WiringDiffers,
    /// The drawing has no such block.
    OnlyHere,
    /// The amp has no such block.
    OnlyThere,
}

impl BlockVerdict {
    /// The technician's words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Same => "same",
            Self::ValuesDiffer => "values differ",
            Self::WiringDiffers => "wiring differs",
            Self::OnlyHere => "only here",
            Self::OnlyThere => "only there",
        }
    }
}

/// One block.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BlockKin {
    /// What it is, with its valve or control.
    pub name: String,
    /// How it stands.
    pub verdict: BlockVerdict,
    /// Its parts: the amp's, or the drawing's for a block that only that has.
    pub parts: Vec<String>,
    /// What differs, in words.
    pub differences: Vec<String>,
}

/// One region of the amp over all drawings.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Patch {
    /// `input stages`, `inverter`.
    pub region: String,
    /// Names of the drawings it follows best, by their place from 0; none where it is on no drawing.
    pub follows: Vec<usize>,
    /// How closely.
    pub verdict: BlockVerdict,
    /// In words.
    pub words: String,
}

/// A region of the amp against one drawing.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Region {
    pub(super) name: &'static str,
    pub(super) plural: bool,
    pub(super) verdict: BlockVerdict,
    /// Share of the region's parts that are as drawn, values within tolerance.
    pub(super) alike: f64,
}

/// What the blocks say.
pub(super) struct Compared {
    pub(super) blocks: Vec<BlockKin>,
    pub(super) regions: Vec<Region>,
    pub(super) partial: bool,
    /// Parts of the amp in blocks that a partial drawing does not show.
    pub(super) unshown: BTreeSet<PartId>,
    /// Parts of the drawing in blocks that the tracing has not reached.
    pub(super) untraced: BTreeSet<PartId>,
}

/// Region, and whether its name is a plural.
fn region(kind: BlockKind) -> (&'static str, bool) {
    match kind {
        BlockKind::Input | BlockKind::CommonCathode | BlockKind::Pentode | BlockKind::Follower => {
            ("preamp stages", true)
        }
        BlockKind::Volume | BlockKind::ToneNetwork | BlockKind::SingleTone | BlockKind::ToneCut => {
            ("volume and tone controls", true)
        }
        BlockKind::Mixer | BlockKind::Interstage => ("networks between stages", true),
        BlockKind::Cathodyne
        | BlockKind::LongTailedPair
        | BlockKind::Paraphase
        | BlockKind::TransformerInverter => ("inverter", false),
        BlockKind::SingleEnded | BlockKind::PushPull => ("output stage", false),
        BlockKind::Feedback => ("feedback path", false),
        BlockKind::PhaseShifter | BlockKind::TremoloOscillator | BlockKind::TremoloModulator => {
            ("tremolo", false)
        }
        BlockKind::ReverbDriver | BlockKind::ReverbTank | BlockKind::ReverbRecovery => {
            ("reverb", false)
        }
        BlockKind::Mains => ("mains side", false),
        BlockKind::HtSupply => ("high-tension supply", false),
        BlockKind::BiasSupply => ("bias supply", false),
        BlockKind::HeaterSupply => ("heater supply", false),
    }
}

/// The order in which regions are told.
const ORDER: [&str; 12] = [
    "preamp stages",
    "volume and tone controls",
    "reverb",
    "tremolo",
    "networks between stages",
    "inverter",
    "output stage",
    "feedback path",
    "bias supply",
    "high-tension supply",
    "heater supply",
    "mains side",
];

/// `long-tailed pair V5`, `volume control VOLA`.
fn name(circuit: &Circuit, block: &Block) -> String {
    let part = |p: PartId| circuit.parts[p.0].name.as_str();
    let mut by_valve: BTreeMap<PartId, Vec<Option<char>>> = BTreeMap::new();
    for s in &block.sections {
        by_valve.entry(s.part).or_default().push(s.section);
    }
    let valves: Vec<String> = by_valve
        .iter()
        .map(|(p, letters)| match letters.as_slice() {
            [Some(letter)] => format!("{}{letter}", part(*p)),
            _ => part(*p).to_owned(),
        })
        .collect();
    let at = if valves.is_empty() {
        let control = block.parts.iter().map(|(p, _)| *p).find(|p| {
            matches!(
                circuit.parts[p.0].kind,
                Kind::Pot { .. }
                    | Kind::Jack { .. }
                    | Kind::PowerTransformer(_)
                    | Kind::Tank { .. }
            )
        });
        control
            .or_else(|| block.parts.first().map(|(p, _)| *p))
            .map(|p| part(p).to_owned())
    } else if valves.len() > 2 {
        Some(format!("{} to {}", valves[0], valves[valves.len() - 1]))
    } else {
        Some(valves.join(" and "))
    };
    match at {
        Some(at) => format!("{} {at}", block.kind.words()),
        None => block.kind.words().to_owned(),
    }
}

/// The things of a block in a graph: parts, and of valves the sections that belong to it.
fn things(block: &Block, circuit: &Circuit, graph: &super::graph::Graph) -> Vec<usize> {
    graph
        .things
        .iter()
        .enumerate()
        .filter(|(_, t)| {
            let valve = matches!(circuit.parts[t.part.0].kind, Kind::Valve(_));
            if valve && t.sort == Sort::Section {
                block
                    .sections
                    .iter()
                    .any(|s| s.part == t.part && s.section == t.section)
            } else {
                t.sort != Sort::Heater && block.parts.iter().any(|(p, _)| *p == t.part)
            }
        })
        .map(|(i, _)| i)
        .collect()
}

/// Blocks of both sides beside each other.
pub(super) fn compare(both: &[Anatomy; 2], laid: &Laid<'_>, rows: &[Row]) -> Compared {
    let [here, there] = both;
    let (amp, drawing) = (laid.amp, laid.drawing);
    let has = |a: &Anatomy, kinds: &[BlockKind]| a.blocks.iter().any(|b| kinds.contains(&b.kind));
    let whole = [
        &[BlockKind::SingleEnded, BlockKind::PushPull][..],
        &[BlockKind::HtSupply],
        &[BlockKind::Mains],
    ];
    let lacks = |a: &Anatomy, b: &Anatomy| whole.iter().any(|k| has(b, k) && !has(a, k));
    let (partial, half_traced) = (lacks(there, here), lacks(here, there));
    let ours: Vec<Vec<usize>> = here
        .blocks
        .iter()
        .map(|b| things(b, amp, &laid.a))
        .collect();
    let theirs: Vec<Vec<usize>> = there
        .blocks
        .iter()
        .map(|b| things(b, drawing, &laid.b))
        .collect();
    // Counterparts in a combination count as pairs.
    let counterpart = |i: usize| -> Vec<usize> {
        match laid.m.there[i] {
            NONE => laid
                .combined
                .iter()
                .filter(|c| c.here.contains(&i))
                .flat_map(|c| c.there.clone())
                .collect(),
            j => vec![j],
        }
    };
    let row_here = |p: PartId| rows.iter().find(|r| r.here.contains(&p));
    let row_there = |p: PartId| {
        rows.iter()
            .find(|r| r.here.is_empty() && r.there.contains(&p))
    };
    let mut answered: BTreeSet<usize> = BTreeSet::new();
    let mut blocks = Vec::new();
    let mut per_region: BTreeMap<&'static str, (bool, BlockVerdict, f64, f64, bool)> =
        BTreeMap::new();
    let mut unshown: BTreeSet<PartId> = BTreeSet::new();
    let mut shown: BTreeSet<PartId> = BTreeSet::new();
    for (k, block) in here.blocks.iter().enumerate() {
        let mine = &ours[k];
        let mut tally: BTreeMap<usize, usize> = BTreeMap::new();
        let mut paired = 0;
        for i in mine {
            let others = counterpart(*i);
            paired += usize::from(!others.is_empty());
            for j in others {
                for (n, list) in theirs.iter().enumerate() {
                    if list.contains(&j) {
                        // A block of the same kind is preferred to one that shares a part.
                        *tally.entry(n).or_default() += if there.blocks[n].kind == block.kind {
                            3
                        } else {
                            1
                        };
                    }
                }
            }
        }
        let partner = tally
            .iter()
            .max_by_key(|(n, count)| (**count, std::cmp::Reverse(**n)))
            .map(|(n, _)| *n);
        let mut differences = Vec::new();
        let mut wiring = false;
        let mut values = false;
        let mut parts = Vec::new();
        let mut ids = BTreeSet::new();
        let mut alike = 0.0;
        for i in mine {
            let part = laid.a.things[*i].part;
            if !ids.insert(part) {
                continue;
            }
            parts.push(amp.parts[part.0].name.clone());
            let Some(row) = row_here(part) else { continue };
            match row.line.status {
                Status::Same | Status::Inside => alike += 1.0,
                Status::Value | Status::Type => {
                    values = true;
                    alike += 0.5;
                }
                Status::Rewired | Status::Added | Status::Missing => wiring = true,
            }
            if !matches!(row.line.status, Status::Same | Status::Inside) {
                differences.push(format!("{}: {}", amp.parts[part.0].name, row.line.what));
            }
        }
        let few = mine.is_empty() || paired * 3 < mine.len();
        if let Some(n) = partner.filter(|_| !few) {
            answered.insert(n);
            if there.blocks[n].kind != block.kind {
                wiring = true;
                differences.insert(
                    0,
                    format!("a {} on the drawing", there.blocks[n].kind.words()),
                );
            }
            for j in &theirs[n] {
                let part = laid.b.things[*j].part;
                if let Some(row) = row_there(part) {
                    wiring = true;
                    let text = format!(
                        "{} of the drawing: {}",
                        drawing.parts[part.0].name, row.line.what
                    );
                    if !differences.contains(&text) {
                        differences.push(text);
                    }
                }
            }
        }
        let verdict = if few || partner.is_none() {
            BlockVerdict::OnlyHere
        } else if wiring {
            BlockVerdict::WiringDiffers
        } else if values {
            BlockVerdict::ValuesDiffer
        } else {
            BlockVerdict::Same
        };
        if verdict == BlockVerdict::OnlyHere {
            differences.clear();
            unshown.extend(&ids);
        } else {
            shown.extend(&ids);
        }
        let (r, plural) = region(block.kind);
        let entry = per_region.entry(r).or_insert((
            plural,
            verdict,
            0.0,
            0.0,
            verdict != BlockVerdict::OnlyHere,
        ));
        let any = entry.4 || verdict != BlockVerdict::OnlyHere;
        let worst = entry.1.max(verdict);
        // A region of which one block is missing is wired differently, not absent.
        *entry = (
            plural,
            worst,
            entry.2 + alike,
            entry.3 + ids.len() as f64,
            any,
        );
        blocks.push(BlockKin {
            name: name(amp, block),
            verdict,
            parts,
            differences,
        });
    }
    let mut untraced: BTreeSet<PartId> = BTreeSet::new();
    for (n, block) in there.blocks.iter().enumerate() {
        let missing: Vec<PartId> = theirs[n]
            .iter()
            .map(|j| laid.b.things[*j].part)
            .filter(|p| row_there(*p).is_some())
            .collect();
        if !answered.contains(&n) && missing.len() * 3 > theirs[n].len() * 2 {
            untraced.extend(&missing);
            let mut seen = BTreeSet::new();
            let parts = missing
                .iter()
                .filter(|p| seen.insert(**p))
                .map(|p| drawing.parts[p.0].name.clone())
                .collect();
            blocks.push(BlockKin {
                name: name(drawing, block),
                verdict: BlockVerdict::OnlyThere,
                parts,
                differences: Vec::new(),
            });
        }
    }
    unshown.retain(|p| !shown.contains(p));
    if !partial {
        unshown.clear();
    }
    if !half_traced {
        untraced.clear();
    }
    let regions = ORDER
        .iter()
        .filter_map(|r| {
            let (plural, worst, alike, all, any) = per_region.get(r)?;
            let verdict = match worst {
                BlockVerdict::OnlyHere if *any => BlockVerdict::WiringDiffers,
                v => *v,
            };
            Some(Region {
                name: r,
                plural: *plural,
                verdict,
                alike: if *all > 0.0 { alike / all } else { 0.0 },
            })
        })
        .collect();
    Compared {
        blocks,
        regions,
        partial,
        unshown,
        untraced,
    }
}

/// Below this share of like parts a region follows no drawing. Our own choice.
const FOLLOWS: f64 = 0.6;

/// Region by region, the drawing that it follows.
pub(super) fn patchwork(drawings: &[DrawingKin], regions: &[(bool, Vec<Region>)]) -> Vec<Patch> {
    let Some((_, first)) = regions.iter().find(|(kin, _)| *kin) else {
        return Vec::new();
    };
    let mut patches = Vec::new();
    for (k, region) in first.iter().enumerate() {
        let mut best: Option<(BlockVerdict, f64)> = None;
        let mut follows = Vec::new();
        for (n, (kin, list)) in regions.iter().enumerate() {
            let Some(r) = list.get(k).filter(|r| {
                *kin && r.verdict != BlockVerdict::OnlyHere
                    && (r.verdict < BlockVerdict::WiringDiffers || r.alike >= FOLLOWS)
            }) else {
                continue;
            };
            let better = best.is_none_or(|(v, alike)| {
                r.verdict < v || (r.verdict == v && r.alike > alike + 1e-9)
            });
            let equal =
                best.is_some_and(|(v, alike)| r.verdict == v && (r.alike - alike).abs() <= 1e-9);
            if better {
                best = Some((r.verdict, r.alike));
                follows = vec![n];
            } else if equal {
                follows.push(n);
            }
        }
        let verb = if region.plural { "follow" } else { "follows" };
        let is = if region.plural { "are" } else { "is" };
        let names: Vec<String> = follows
            .iter()
            .map(|n| format!("drawing {} ({})", n + 1, drawings[*n].name))
            .collect();
        let names = match names.as_slice() {
            [] => String::new(),
            [one] => one.clone(),
            [first @ .., last] => format!("{} and {last}", first.join(", ")),
        };
        let verdict = best.map_or(BlockVerdict::OnlyHere, |b| b.0);
        let words = match verdict {
            BlockVerdict::Same => format!("the {} {verb} {names}", region.name),
            BlockVerdict::ValuesDiffer => {
                format!("the {} {verb} {names}, with other values", region.name)
            }
            BlockVerdict::WiringDiffers => format!(
                "the {} {is} nearest to {names}, wired differently in places",
                region.name
            ),
            BlockVerdict::OnlyHere | BlockVerdict::OnlyThere => {
                format!("the {} {is} on none of the drawings", region.name)
            }
        };
        patches.push(Patch {
            region: region.name.to_owned(),
            follows,
            verdict,
            words,
        });
    }
    patches
}
