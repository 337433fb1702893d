//! What a drawing leaves for the next one of the same amplifier, so that a line that is typed moves little.
//!
//! Old places are suggestions (W. He, K. Marriott, Constrained graph layout, Constraints 3, 1998, abstract read): a new
//! layout starts from them, and where it would still turn the page over, the old places are held and what is new is
//! put between them, until enough lines have come for the turn. How much a page has turned is the share of pairs of
//! parts whose order changed, left to right or above to below (K. Misue, P. Eades, W. Lai, K. Sugiyama, Layout
//! adjustment and the mental map, 1995, from memory, not seen).

use crate::drawing::Drawing;
use crate::geometry::{Dir, Point, Turn};
use crate::piece::{Piece, PieceId, Which};
use crate::place::{Item, Patch};
use crate::plan::{Class, Plan};
use crate::tag::{Sort, Tag};
use std::collections::{BTreeMap, BTreeSet};

/// Pairs that may turn, in ten thousandths of all pairs: with each line, at the start, and saved up at most.
const PER_LINE: u32 = 40;
const AT_FIRST: u32 = 400;
const AT_MOST: u32 = 2_500;

/// A piece whatever else the circuit holds: its part's name and which piece of it.
type Key = (String, Which);

/// Ends of a wire; the wires of the drawing before, by theirs.
pub(crate) type Ends = Vec<(Point, Dir)>;
/// Straight runs by the ends that they join.
pub(crate) type Known = BTreeMap<Ends, Vec<(Point, Point)>>;

/// Where everything stood. Empty: nothing was drawn yet, or all is to be laid out afresh.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Memory {
    places: BTreeMap<Key, (Point, Turn)>,
    /// Tags that stood with their neighbours: a pin of their node, and the tag.
    tags: Vec<(Key, usize, Tag)>,
    wires: Known,
    /// What was joined: pins that share a point.
    joins: Vec<Vec<(Key, usize)>>,
    allowance: u32,
}

fn key(plan: &Plan<'_>, piece: &Piece) -> Key {
    let name = piece
        .part
        .and_then(|p| plan.circuit.parts.get(p.0))
        .map_or("", |p| p.name.as_str());
    (name.to_owned(), piece.which)
}

fn keys(plan: &Plan<'_>) -> Vec<Key> {
    plan.pieces.iter().map(|p| key(plan, p)).collect()
}

fn joins(plan: &Plan<'_>, keys: &[Key]) -> Vec<Vec<(Key, usize)>> {
    let mut out: Vec<Vec<(Key, usize)>> = plan
        .pins
        .iter()
        .filter(|p| !p.is_empty())
        .map(|pins| pins.iter().map(|(p, k)| (keys[*p].clone(), *k)).collect())
        .collect();
    for pins in &mut out {
        pins.sort();
    }
    out.sort();
    out
}

/// Where a wiring's pieces stood in the drawing before.
#[derive(Debug)]
pub(crate) struct Recalled {
    /// By piece; none for what is new, or had no wire.
    pub(crate) items: Vec<Option<Item>>,
    /// Tags whose point is still there.
    pub(crate) tags: Vec<Tag>,
    /// The same parts, joined as before.
    pub(crate) same: bool,
}

impl Memory {
    /// Whether nothing is remembered.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.places.is_empty()
    }

    pub(crate) fn wires(&self) -> &Known {
        &self.wires
    }

    /// Of a finished drawing; `patch` is what it was placed by.
    pub(crate) fn of(d: &Drawing<'_>, patch: &Patch, allowance: u32) -> Self {
        let plan = &d.plan;
        let keys = keys(plan);
        Self {
            places: d
                .placed
                .iter()
                .map(|p| (keys[p.piece].clone(), (p.at, p.turn)))
                .collect(),
            tags: patch
                .tags
                .iter()
                .filter_map(|t| {
                    let (piece, pin) = plan.pins_at(t.node).first()?;
                    Some((keys[*piece].clone(), *pin, t.clone()))
                })
                .collect(),
            wires: d
                .wires
                .iter()
                .map(|w| (w.ends.clone(), w.runs.clone()))
                .collect(),
            joins: joins(plan, &keys),
            allowance,
        }
    }

    /// A first one, that has not been turned yet.
    pub(crate) fn first(d: &Drawing<'_>, patch: &Patch) -> Self {
        Self::of(d, patch, AT_FIRST)
    }

    /// Of the drawing after this one, of which so much turned.
    pub(crate) fn next(&self, d: &Drawing<'_>, patch: &Patch, turned: u32) -> Self {
        let saved = (self.allowance + PER_LINE).min(AT_MOST);
        Self::of(d, patch, saved.saturating_sub(turned))
    }

    /// Whether so much may turn with the next line.
    pub(crate) fn may_turn(&self, turned: u32) -> bool {
        turned <= self.allowance + PER_LINE
    }

    /// What of it a plan still has. None where nearly all is new.
    pub(crate) fn recall(&self, plan: &Plan<'_>) -> Option<Recalled> {
        let keys = keys(plan);
        let known = keys.iter().filter(|k| self.places.contains_key(*k)).count();
        let same =
            known == self.places.len() && known == keys.len() && joins(plan, &keys) == self.joins;
        let wired: Vec<bool> = plan
            .pieces
            .iter()
            .map(|p| p.nodes.iter().any(Option::is_some))
            .collect();
        // What no wire had reached waited in a row below: it has no place yet.
        let had: BTreeSet<&Key> = self.joins.iter().flatten().map(|(k, _)| k).collect();
        let items: Vec<Option<Item>> = keys
            .iter()
            .enumerate()
            .map(|(piece, key)| {
                let (at, turn) = *self.places.get(key)?;
                (same || wired[piece] && had.contains(key)).then_some(Item { piece, at, turn })
            })
            .collect();
        let held = items.iter().flatten().count();
        if held == 0 || wired.iter().filter(|w| **w).count() > 2 * held + 4 {
            return None;
        }
        let at: BTreeMap<&Key, PieceId> = keys.iter().enumerate().map(|(i, k)| (k, i)).collect();
        let tags = self
            .tags
            .iter()
            .filter_map(|(key, pin, tag)| {
                let node = plan.node(*at.get(key)?, *pin)?;
                let low = matches!(tag.sort, Sort::Ground | Sort::Chassis | Sort::Earth);
                let good = match plan.class(node) {
                    Class::Ground | Class::Chassis | Class::Earth => low,
                    Class::Rail | Class::Bias => tag.sort == Sort::Rail,
                    Class::Signal => tag.sort == Sort::Named,
                };
                // A name stays only while the point has it.
                (good && (low || plan.tag_text(node) == tag.text)).then(|| Tag {
                    node,
                    ..tag.clone()
                })
            })
            .collect();
        Some(Recalled { items, tags, same })
    }
}

impl Recalled {
    /// Pairs of recalled pieces whose order a layout turns, in ten thousandths of all pairs, rounded up.
    pub(crate) fn turned(&self, patch: &Patch) -> u32 {
        let both: Vec<(Point, Point)> = patch
            .items
            .iter()
            .filter_map(|i| Some((self.items.get(i.piece).copied().flatten()?.at, i.at)))
            .collect();
        let (mut turned, mut pairs) = (0_usize, 0_usize);
        let round = |u: i32, v: i32, s: i32, t: i32| (u - v).signum() * (s - t).signum() < 0;
        for (i, (a, b)) in both.iter().enumerate() {
            for (p, q) in &both[i + 1..] {
                pairs += 2;
                turned += usize::from(round(a.x, p.x, b.x, q.x));
                turned += usize::from(round(a.y, p.y, b.y, q.y));
            }
        }
        u32::try_from((turned * 10_000).div_ceil(pairs.max(1))).unwrap_or(u32::MAX)
    }
}
