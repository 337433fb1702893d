//! The signal seen as a chain of anchors (inputs, stages, tank, open ends) with the parts between
//! them, and the lanes that it falls into.

use super::Desk;
use crate::piece::PieceId;
use crate::plan::Class;
use crate::symbol::{Form, JackPin};
use std::collections::{BTreeMap, BTreeSet};
use wiring::circuit::{GROUND, NodeId};
use wiring::roles::{BlockKind, Role};

/// Sorts of anchor.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Sort {
    /// Jacks with their stoppers, or a generator.
    Input,
    /// One section, or several side by side.
    Stage,
    /// Two outputs in opposite phase.
    Inverter,
    /// Output valves and their transformer.
    Output,
    /// Spring tank, ideal amplifier, selector: entry left, exit right.
    Through,
    /// A named end of what is traced.
    Open,
}

/// A fixed point of the signal's way.
#[derive(Debug, Clone)]
pub(super) struct Anchor {
    pub(super) sort: Sort,
    pub(super) block: Option<usize>,
    pub(super) pieces: Vec<PieceId>,
    pub(super) ins: Vec<NodeId>,
    pub(super) outs: Vec<NodeId>,
}

/// How a step goes through its piece.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum How {
    /// From one pin to the other, in line.
    Series,
    /// From the top of a control to its wiper.
    Down,
    /// From a wiper to an end.
    Back,
    /// Through a whole tone network, by its block.
    Tone(usize),
}

/// One step of a way.
#[derive(Debug, Clone, Copy)]
pub(super) struct Step {
    pub(super) piece: PieceId,
    pub(super) enter: usize,
    pub(super) leave: usize,
    pub(super) from: NodeId,
    pub(super) to: NodeId,
    pub(super) how: How,
}

/// Anchors in a row with the ways between them.
#[derive(Debug, Clone, Default)]
pub(super) struct Chain {
    /// Anchors with the way that leads to each (none for the first).
    pub(super) links: Vec<(usize, Vec<Step>)>,
    /// The lane that its last way runs into: chain and anchor.
    pub(super) joins: Option<(usize, usize)>,
    /// The way into what it joins.
    pub(super) tail: Vec<Step>,
    /// Its head is an input of the amplifier.
    pub(super) main: bool,
}

const RESERVED: [Role; 32] = [
    Role::PlateLoad,
    Role::CathodeResistor,
    Role::CathodeLoad,
    Role::CathodeBypass,
    Role::Tail,
    Role::GridGround,
    Role::ScreenResistor,
    Role::ScreenBypass,
    Role::GridStopper,
    Role::FeedbackResistor,
    Role::FeedbackCapacitor,
    Role::FeedbackShunt,
    Role::PresenceControl,
    Role::PresenceCapacitor,
    Role::OscillatorCapacitor,
    Role::OscillatorResistor,
    Role::SpeedControl,
    Role::InputStopper,
    Role::InputLeak,
    Role::Stability,
    Role::PlateDamping,
    Role::Speaker,
    Role::SpeakerNetwork,
    Role::OutputTransformer,
    Role::GridLeak,
    Role::TrebleControl,
    Role::BassControl,
    Role::MiddleControl,
    Role::BassCapacitor,
    Role::MiddleCapacitor,
    Role::SlopeResistor,
    Role::TrebleCapacitor,
];

impl Desk<'_, '_> {
    /// Every anchor of the circuit, inputs first, then stages in the order of the signal.
    pub(super) fn anchors(&self) -> Vec<Anchor> {
        let plan = self.plan;
        let mut out: Vec<Anchor> = Vec::new();
        let mut taken: BTreeSet<PieceId> = BTreeSet::new();
        for (b, block) in plan.anatomy.blocks.iter().enumerate() {
            let sort = match block.kind {
                BlockKind::Input => Sort::Input,
                BlockKind::LongTailedPair | BlockKind::Cathodyne | BlockKind::Paraphase => {
                    Sort::Inverter
                }
                BlockKind::PushPull | BlockKind::SingleEnded => Sort::Output,
                BlockKind::ReverbTank => Sort::Through,
                _ if !block.sections.is_empty() => Sort::Stage,
                _ => continue,
            };
            let mut pieces: Vec<PieceId> = block
                .sections
                .iter()
                .filter_map(|s| plan.section(s))
                .filter(|p| taken.insert(*p))
                .collect();
            if sort == Sort::Input {
                pieces = plan.in_block(block, Role::Jack);
                pieces.retain(|p| taken.insert(*p));
            }
            if sort == Sort::Through {
                pieces = plan.in_block(block, Role::Tank);
                pieces.retain(|p| taken.insert(*p));
            }
            if pieces.is_empty() {
                continue;
            }
            let mut ins: Vec<NodeId> = block.inputs.clone();
            let mut outs: Vec<NodeId> = block.outputs.clone();
            if sort == Sort::Input {
                outs.extend(ins.iter().copied());
                outs.retain(|n| !plan.is_still(*n));
                outs.dedup();
            }
            for piece in &pieces {
                use wiring::circuit::Electrode;
                if matches!(sort, Sort::Stage) {
                    if ins.is_empty() {
                        ins.extend(self.electrode(*piece, Electrode::Grid).map(|e| e.1));
                    }
                    if outs.is_empty() {
                        outs.extend(self.electrode(*piece, Electrode::Plate).map(|e| e.1));
                    }
                }
            }
            ins.retain(|n| !plan.is_still(*n));
            outs.retain(|n| !plan.is_still(*n));
            out.push(Anchor {
                sort,
                block: Some(b),
                pieces,
                ins,
                outs,
            });
        }
        // Sections that belong to no block, and ideal amplifiers.
        for (i, piece) in plan.pieces.iter().enumerate() {
            use wiring::circuit::Electrode;
            if taken.contains(&i) || plan.supply[i] {
                continue;
            }
            let (sort, ins, outs) = match piece.form {
                Form::Valve(_) => {
                    let get = |e| self.electrode(i, e).map(|e| e.1);
                    let on_rail = self.plate_on_rail(i);
                    let out = if on_rail {
                        get(Electrode::Cathode)
                    } else {
                        get(Electrode::Plate)
                    };
                    (Sort::Stage, get(Electrode::Grid), out)
                }
                Form::Jack(_) if self.is_return(i) => (
                    Sort::Input,
                    None,
                    self.jack_pin(i, JackPin::Tip).map(|t| t.1),
                ),
                Form::Gain => (Sort::Through, plan.node(i, 0), plan.node(i, 1)),
                Form::Generator => {
                    let hot = [plan.node(i, 0), plan.node(i, 1)]
                        .into_iter()
                        .flatten()
                        .find(|n| !plan.is_still(*n));
                    (Sort::Input, None, hot)
                }
                _ => continue,
            };
            if piece.nodes.iter().all(Option::is_none) {
                continue;
            }
            out.push(Anchor {
                sort,
                block: None,
                pieces: vec![i],
                ins: ins.into_iter().filter(|n| !plan.is_still(*n)).collect(),
                outs: outs.into_iter().filter(|n| !plan.is_still(*n)).collect(),
            });
        }
        // Named ends that hold one pin only.
        for (i, node) in plan.circuit.nodes.iter().enumerate() {
            let id = NodeId(i);
            if id == GROUND || node.names.is_empty() || plan.class(id) != Class::Signal {
                continue;
            }
            if let [(piece, _)] = plan.pins_at(id)
                && !plan.supply[*piece]
                && !matches!(plan.pieces[*piece].form, Form::Valve(_))
            {
                out.push(Anchor {
                    sort: Sort::Open,
                    block: None,
                    pieces: Vec::new(),
                    ins: vec![id],
                    outs: vec![id],
                });
            }
        }
        out
    }

    /// A socket whose tip is on a grid, while its break contact brings the signal that it has when nothing is plugged in.
    fn is_return(&self, jack: PieceId) -> bool {
        let plan = self.plan;
        let pin = |which| self.jack_pin(jack, which).map(|t| t.1);
        let (Some(tip), Some(contact)) = (pin(JackPin::Tip), pin(JackPin::Break)) else {
            return false;
        };
        let on_grid = plan.pins_at(tip).iter().any(|(p, k)| {
            matches!(plan.pieces[*p].form, Form::Valve(_))
                && self
                    .electrode(*p, wiring::circuit::Electrode::Grid)
                    .is_some_and(|(grid, _)| grid == *k)
        });
        on_grid && tip != contact && !plan.is_still(contact)
    }

    /// Steps that lead on from a node.
    fn steps(&self, node: NodeId) -> Vec<(Step, u32)> {
        let plan = self.plan;
        let mut out = Vec::new();
        for (piece, pin) in plan.pins_at(node) {
            let piece = *piece;
            if self.done[piece] || plan.supply[piece] || plan.has_any(piece, &RESERVED) {
                continue;
            }
            let form = &plan.pieces[piece].form;
            if let Some((near, far, to)) = plan.beyond(piece, node) {
                if matches!(
                    form,
                    Form::Speaker | Form::Supply | Form::Generator | Form::Lamp
                ) {
                    continue;
                }
                let cost = match form {
                    Form::Capacitor(_) => 10,
                    Form::Switch(_) => 6,
                    _ => 11,
                };
                out.push((
                    Step {
                        piece,
                        enter: near,
                        leave: far,
                        from: node,
                        to,
                        how: How::Series,
                    },
                    cost,
                ));
                continue;
            }
            let mut add = |enter: usize, leave: usize, how: How, cost: u32| {
                if let Some(to) = plan.node(piece, leave)
                    && to != node
                {
                    out.push((
                        Step {
                            piece,
                            enter,
                            leave,
                            from: node,
                            to,
                            how,
                        },
                        cost,
                    ));
                }
            };
            match form {
                Form::Pot if *pin != 1 => add(*pin, 1, How::Down, 5),
                Form::Pot => {
                    add(1, 0, How::Back, 25);
                    add(1, 2, How::Back, 25);
                }
                Form::Selector(throws, _) => {
                    if *pin == 0 {
                        for t in 1..=*throws {
                            add(0, t, How::Series, 8);
                        }
                    } else {
                        add(*pin, 0, How::Series, 8);
                    }
                }
                _ => {}
            }
        }
        // Whole tone networks.
        for (b, block) in plan.anatomy.blocks.iter().enumerate() {
            if block.kind != BlockKind::ToneNetwork || !block.inputs.contains(&node) {
                continue;
            }
            let Some(treble) = plan.in_block(block, Role::TrebleControl).first().copied() else {
                continue;
            };
            if self.done[treble] {
                continue;
            }
            for to in &block.outputs {
                if *to != node {
                    out.push((
                        Step {
                            piece: treble,
                            enter: 2,
                            leave: 1,
                            from: node,
                            to: *to,
                            how: How::Tone(b),
                        },
                        8,
                    ));
                }
            }
        }
        out
    }

    /// Cheapest ways from some nodes to targets; a way ends at the first target it meets.
    pub(super) fn ways(
        &self,
        from: &[NodeId],
        targets: &BTreeSet<NodeId>,
    ) -> BTreeMap<NodeId, (u32, Vec<Step>)> {
        let mut best: BTreeMap<NodeId, (u32, Option<Step>)> = BTreeMap::new();
        let mut open: BTreeSet<(u32, NodeId)> = BTreeSet::new();
        for n in from {
            best.insert(*n, (0, None));
            open.insert((0, *n));
        }
        let mut reached = BTreeMap::new();
        while let Some((cost, node)) = open.pop_first() {
            if best.get(&node).is_some_and(|b| b.0 < cost) {
                continue;
            }
            let start = from.contains(&node);
            if targets.contains(&node) {
                let mut way = Vec::new();
                let mut at = node;
                while let Some((_, Some(step))) = best.get(&at) {
                    way.push(*step);
                    at = step.from;
                    if way.len() > 60 {
                        break;
                    }
                }
                way.reverse();
                reached.insert(node, (cost, way));
                if !start {
                    continue;
                }
            }
            if !start && (self.plan.is_still(node) || self.blocks_way(node)) {
                continue;
            }
            for (step, price) in self.steps(node) {
                let to = step.to;
                if self.plan.is_still(to) {
                    continue;
                }
                let total = cost + price;
                if best.get(&to).is_none_or(|b| total < b.0) {
                    best.insert(to, (total, Some(step)));
                    open.insert((total, to));
                }
            }
        }
        reached
    }

    /// A plate, a cathode or a screen: the signal does not pass through such a node.
    fn blocks_way(&self, node: NodeId) -> bool {
        use wiring::circuit::Electrode;
        self.plan.pins_at(node).iter().any(|(p, pin)| {
            matches!(self.plan.pieces[*p].form, Form::Valve(_))
                && [Electrode::Plate, Electrode::Cathode, Electrode::Screen]
                    .iter()
                    .any(|e| self.electrode(*p, *e).is_some_and(|(k, _)| k == *pin))
        })
    }

    /// The nodes at the foot of grid leaks that do not stand still: modulation comes in there.
    fn leak_feet(&self, anchor: &Anchor) -> Vec<NodeId> {
        anchor
            .ins
            .iter()
            .flat_map(|n| {
                self.plan
                    .pins_at(*n)
                    .iter()
                    .filter(|(p, _)| self.plan.has(*p, Role::GridLeak))
                    .filter_map(|(p, _)| self.plan.beyond(*p, *n))
                    .map(|(_, _, far)| far)
                    .filter(|far| !self.plan.is_still(*far) && !self.plan.on_valve(*far))
                    .collect::<Vec<_>>()
            })
            .collect()
    }

    /// Whether a winding or a loudspeaker is met from here through three parts in line at most.
    fn is_fed(&self, from: &[NodeId]) -> bool {
        let plan = self.plan;
        let mut seen: BTreeSet<NodeId> = from.iter().copied().collect();
        let mut front: Vec<NodeId> = seen.iter().copied().collect();
        for _ in 0..4 {
            let mut ahead = Vec::new();
            for n in front {
                for (p, _) in plan.pins_at(n) {
                    if matches!(plan.pieces[*p].form, Form::Wound(..) | Form::Speaker) {
                        return true;
                    }
                    if let Some((_, _, far)) = plan.beyond(*p, n)
                        && !plan.is_still(far)
                        && seen.insert(far)
                    {
                        ahead.push(far);
                    }
                }
            }
            front = ahead;
        }
        false
    }

    /// Lanes: each a chain of anchors; the chain that several run into comes after them.
    pub(super) fn chains(&self, anchors: &[Anchor]) -> Vec<Chain> {
        let mut owner: BTreeMap<NodeId, usize> = BTreeMap::new();
        for (i, a) in anchors.iter().enumerate() {
            if a.sort == Sort::Input && a.block.is_some() {
                // An input in the middle of the way (a return jack) can be run into as well.
            }
            for n in a.ins.iter().chain(&self.leak_feet(a)) {
                owner.entry(*n).or_insert(i);
            }
        }
        let targets: BTreeSet<NodeId> = owner.keys().copied().collect();
        let mut next: Vec<BTreeMap<usize, (u32, Vec<Step>)>> = Vec::new();
        for (i, a) in anchors.iter().enumerate() {
            let mut mine: BTreeMap<usize, (u32, Vec<Step>)> = BTreeMap::new();
            if a.sort != Sort::Output {
                for (node, (cost, way)) in self.ways(&a.outs, &targets) {
                    let Some(to) = owner.get(&node).copied() else {
                        continue;
                    };
                    if to == i || a.sort == Sort::Open && anchors[to].sort == Sort::Open {
                        continue;
                    }
                    if mine.get(&to).is_none_or(|m| cost < m.0) {
                        mine.insert(to, (cost, way));
                    }
                }
            }
            next.push(mine);
        }
        // An open end that something drives is an end, not a beginning.
        let driven: BTreeSet<usize> = (0..anchors.len())
            .filter(|i| anchors[*i].sort != Sort::Open)
            .flat_map(|i| next[i].keys().copied().collect::<Vec<_>>())
            .collect();
        for i in 0..anchors.len() {
            if anchors[i].sort == Sort::Open && driven.contains(&i) {
                next[i].clear();
            }
        }
        let mut hops = vec![u32::MAX; anchors.len()];
        for (i, a) in anchors.iter().enumerate() {
            if a.sort == Sort::Output {
                hops[i] = 0;
            }
        }
        for _ in 0..anchors.len() {
            let mut changed = false;
            for i in 0..anchors.len() {
                let near = next[i]
                    .keys()
                    .filter_map(|j| hops[*j].checked_add(1))
                    .min()
                    .unwrap_or(u32::MAX);
                if near < hops[i] {
                    hops[i] = near;
                    changed = true;
                }
            }
            if !changed {
                break;
            }
        }
        let choose = |i: usize, used: &dyn Fn(usize) -> bool| -> Option<usize> {
            next[i]
                .iter()
                .filter(|(j, _)| !used(**j))
                .min_by_key(|(j, (cost, _))| {
                    let open = anchors[**j].sort == Sort::Open;
                    (hops[**j], open, *cost, **j)
                })
                .map(|(j, _)| *j)
        };
        let mut heads: Vec<(usize, bool)> = Vec::new();
        // A jack that a loudspeaker winding feeds is no input: it is fitted in where its wire comes from.
        let fed: Vec<bool> = anchors
            .iter()
            .zip(&next)
            .map(|(a, next)| a.sort == Sort::Input && next.is_empty() && self.is_fed(&a.outs))
            .collect();
        for (i, a) in anchors.iter().enumerate() {
            if a.sort == Sort::Input && !driven.contains(&i) && !fed[i] {
                heads.push((i, true));
            }
        }
        for (i, a) in anchors.iter().enumerate() {
            if a.sort == Sort::Open && !driven.contains(&i) && !next[i].is_empty() {
                heads.push((i, true));
            }
        }
        for pass in 0..2 {
            for (i, fed) in fed.iter().enumerate() {
                if !heads.iter().any(|h| h.0 == i) && (pass == 1 || !driven.contains(&i)) && !fed {
                    heads.push((i, false));
                }
            }
        }
        let mut place: Vec<Option<(usize, usize)>> = vec![None; anchors.len()];
        let mut chains: Vec<Chain> = Vec::new();
        for (head, main) in heads {
            if place[head].is_some() {
                continue;
            }
            if anchors[head].sort == Sort::Open && next[head].is_empty() {
                continue;
            }
            let c = chains.len();
            let mut chain = Chain {
                main,
                ..Chain::default()
            };
            let mut at = head;
            let mut way = Vec::new();
            loop {
                place[at] = Some((c, chain.links.len()));
                chain.links.push((at, way));
                let inside: Vec<usize> = chain.links.iter().map(|l| l.0).collect();
                let Some(to) = choose(at, &|j| inside.contains(&j)) else {
                    break;
                };
                way = next[at].get(&to).map(|n| n.1.clone()).unwrap_or_default();
                if let Some((other, k)) = place[to] {
                    chain.joins = Some((other, k));
                    chain.tail = way;
                    break;
                }
                at = to;
            }
            chains.push(chain);
        }
        split(chains)
    }
}

/// Cuts a chain where another main one joins it, so that the rest becomes a trunk of its own.
fn split(mut chains: Vec<Chain>) -> Vec<Chain> {
    let mut i = 0;
    while i < chains.len() {
        let Some((c, k)) = chains[i].joins else {
            i += 1;
            continue;
        };
        if !(chains[i].main && k > 0 && c != i && chains[c].links.len() > k) {
            i += 1;
            continue;
        }
        let mut trunk = Chain {
            links: chains[c].links.split_off(k),
            joins: chains[c].joins,
            tail: std::mem::take(&mut chains[c].tail),
            main: true,
        };
        let at = chains.len();
        if let Some(first) = trunk.links.first_mut() {
            chains[c].tail = std::mem::take(&mut first.1);
        }
        chains[c].joins = Some((at, 0));
        chains.push(trunk);
        for chain in &mut chains {
            if let Some((d, m)) = chain.joins
                && d == c
                && m >= k
            {
                chain.joins = Some((at, m - k));
            }
        }
        i = 0;
    }
    chains
}
