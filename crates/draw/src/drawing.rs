//! From a circuit to a finished drawing: placed symbols, wires, tags, labels.

use crate::check::Fault;
use crate::geometry::{Area, Point, Turn};
use crate::joints;
use crate::label::Spot;
use crate::memory::{Ends, Known, Memory};
use crate::piece::PieceId;
use crate::place::{self, Patch};
use crate::plan::Plan;
use crate::symbol::Symbol;
use crate::tag::Tag;
use wiring::circuit::{Circuit, NodeId};
use wiring::roles::anatomy;

/// How to draw.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Options {
    /// Resistors as zig-zags (IEEE 315) instead of rectangles (IEC 60617).
    pub zigzag: bool,
}

/// A placed symbol.
#[derive(Debug, Clone, PartialEq)]
pub struct Placed {
    /// Which piece of the plan.
    pub piece: PieceId,
    /// Where its origin is.
    pub at: Point,
    /// How it is turned.
    pub turn: Turn,
    /// The symbol as it stands: turned, not yet moved.
    pub symbol: Symbol,
}

impl Placed {
    /// Bodies on the page.
    pub fn bodies(&self) -> impl Iterator<Item = Area> + '_ {
        self.symbol
            .bodies
            .iter()
            .map(|b| b.by(self.at.x, self.at.y))
    }
    /// A pin on the page.
    #[must_use]
    pub fn pin(&self, k: usize) -> crate::symbol::Pin {
        let p = self.symbol.pins[k];
        crate::symbol::Pin {
            at: self.at.by(p.at.x, p.at.y),
            out: p.out,
        }
    }
}

/// The wires of one group of pins.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Wire {
    /// The node they belong to.
    pub node: NodeIndex,
    /// Straight runs.
    pub runs: Vec<(Point, Point)>,
    /// Joints of three ways or more.
    pub joints: Vec<Point>,
    /// What it joins, in order: places, and which way a wire leaves them.
    pub ends: Ends,
}

/// A node's number (so that wires can be compared and printed).
pub type NodeIndex = usize;

/// A label on the page.
#[derive(Debug, Clone, PartialEq)]
pub struct Label {
    /// Of which piece; none for the name of a wire.
    pub piece: Option<PieceId>,
    /// Of which node, for the name of a wire.
    pub node: Option<NodeId>,
    /// What and where.
    pub spot: Spot,
    /// The point of the wire that a name stands at.
    pub anchor: Option<Point>,
}

/// A finished drawing.
#[derive(Debug)]
pub struct Drawing<'a> {
    /// What was to be drawn.
    pub plan: Plan<'a>,
    /// Symbols.
    pub placed: Vec<Placed>,
    /// Wires.
    pub wires: Vec<Wire>,
    /// Tags.
    pub tags: Vec<Tag>,
    /// Labels.
    pub labels: Vec<Label>,
    /// Everything, in pixels.
    pub frame: Area,
    /// The plain form was needed: every part in a row of its own.
    pub plain: bool,
    /// What is still wrong; empty in every drawing that is given out.
    pub faults: Vec<Fault>,
}

/// Most parts that it is asked to draw: the largest amplifiers have some 250, and of more than this wires find no way in
/// seconds. Whoever takes in text asks first.
pub const MOST_PARTS: usize = 400;

/// More and more air round symbols, pixels, until a layout is sound.
const AIRS: [i32; 3] = [0, 12, 24];

/// Draws a circuit. Whatever it is, the drawing is legal: if the usual layout breaks a rule, the
/// parts are drawn one by one with a named tag at every terminal.
#[must_use]
pub fn draw<'a>(
    circuit: &'a Circuit,
    anatomy: &'a wiring::roles::Anatomy,
    options: Options,
) -> Drawing<'a> {
    afresh(circuit, anatomy, options).0
}

/// Draws a circuit so that what the drawing before showed stays where it was, as far as it can; as legal as
/// [`draw`], which is what an empty memory gives. Also returns what the next one starts from.
///
/// A function of its arguments alone: the same wiring after the same memory gives the same picture, and a wiring
/// that is drawn once more stays as it is.
#[must_use]
pub fn draw_on<'a>(
    circuit: &'a Circuit,
    anatomy: &'a wiring::roles::Anatomy,
    options: Options,
    before: &Memory,
) -> (Drawing<'a>, Memory) {
    let plan = || Plan::new(circuit, anatomy, options.zigzag);
    let mut first = plan();
    let Some(recalled) = before.recall(&first) else {
        let (drawing, patch) = afresh(circuit, anatomy, options);
        let memory = Memory::first(&drawing, &patch);
        return (drawing, memory);
    };
    if recalled.same {
        let patch = place::hold(&mut first, &recalled);
        if let Some(drawing) = sound(first, &patch, before.wires()) {
            return (drawing, before.clone());
        }
        first = plan();
    }
    let new = place::place_from(&mut first, &recalled.items);
    let turned = recalled.turned(&new);
    let mut try_new = |plan: Plan<'a>| {
        let drawing = sound(plan, &new, before.wires())?;
        let memory = before.next(&drawing, &new, turned);
        Some((drawing, memory))
    };
    let mut first = Some(first);
    if before.may_turn(turned)
        && let Some(done) = first.take().and_then(&mut try_new)
    {
        return done;
    }
    // Where what is new boxes something in, the same with more air round all that stands.
    for air in AIRS {
        let mut held = plan();
        held.air = air;
        let patch = place::hold(&mut held, &recalled);
        if let Some(drawing) = sound(held, &patch, before.wires()) {
            let memory = before.next(&drawing, &patch, recalled.turned(&patch));
            return (drawing, memory);
        }
    }
    if let Some(done) = first.take().and_then(&mut try_new) {
        return done;
    }
    let (drawing, patch) = afresh(circuit, anatomy, options);
    let memory = before.next(&drawing, &patch, recalled.turned(&patch));
    (drawing, memory)
}

/// A drawing without faults, if this layout gives one.
fn sound<'a>(plan: Plan<'a>, patch: &Patch, known: &Known) -> Option<Drawing<'a>> {
    let drawing = finish(plan, patch, false, known);
    crate::check::faults(&drawing).is_empty().then_some(drawing)
}

fn afresh<'a>(
    circuit: &'a Circuit,
    anatomy: &'a wiring::roles::Anatomy,
    options: Options,
) -> (Drawing<'a>, Patch) {
    // Where something is boxed in, the same with more air round every symbol.
    for air in AIRS {
        let mut plan = Plan::new(circuit, anatomy, options.zigzag);
        plan.air = air;
        let patch = place::place(&mut plan);
        if let Some(drawing) = sound(plan, &patch, &Known::new()) {
            return (drawing, patch);
        }
    }
    let mut plan = Plan::new(circuit, anatomy, options.zigzag);
    for i in 0..plan.pieces.len() {
        if matches!(plan.pieces[i].form, crate::symbol::Form::TiePoint) {
            continue;
        }
        plan.pieces[i] = plan.pieces[i].boxed(circuit);
        plan.symbols[i] = crate::symbol::symbol(&plan.pieces[i].form, options.zigzag);
    }
    let patch = place::table(&plan);
    let mut drawing = finish(plan, &patch, true, &Known::new());
    drawing.faults = crate::check::faults(&drawing);
    drawing.plain = true;
    (drawing, patch)
}

/// The anatomy that a drawing is built on.
#[must_use]
pub fn look(circuit: &Circuit) -> wiring::roles::Anatomy {
    anatomy(circuit)
}

/// The usual layout whatever its faults, for looking into them.
#[must_use]
pub fn draw_unchecked<'a>(
    circuit: &'a Circuit,
    anatomy: &'a wiring::roles::Anatomy,
    options: Options,
) -> Drawing<'a> {
    let mut plan = Plan::new(circuit, anatomy, options.zigzag);
    let patch = place::place(&mut plan);
    let mut drawing = finish(plan, &patch, false, &Known::new());
    drawing.faults = crate::check::faults(&drawing);
    drawing
}

fn finish<'a>(plan: Plan<'a>, patch: &Patch, plain: bool, known: &Known) -> Drawing<'a> {
    let mut placed: Vec<Placed> = patch
        .items
        .iter()
        .map(|i| Placed {
            piece: i.piece,
            at: i.at,
            turn: i.turn,
            symbol: plan.symbols[i.piece].turned(i.turn),
        })
        .collect();
    placed.sort_by_key(|p| p.piece);
    let (wires, tags) = joints::join(&plan, &placed, &patch.tags, plain, known);
    let mut drawing = Drawing {
        plan,
        placed,
        wires,
        tags,
        labels: Vec::new(),
        frame: Area::new(0, 0, 0, 0),
        plain,
        faults: Vec::new(),
    };
    drawing.labels = crate::lettering::letter(&drawing);
    drawing.frame = frame(&drawing);
    drawing
}

fn frame(d: &Drawing<'_>) -> Area {
    let mut all: Option<Area> = None;
    let mut add = |a: Area| all = Some(all.map_or(a, |b| b.with(a)));
    for p in &d.placed {
        add(p.symbol.extent().by(p.at.x, p.at.y));
    }
    for t in &d.tags {
        add(t.area());
    }
    for w in &d.wires {
        for (a, b) in &w.runs {
            add(Area::between(*a, *b, 0));
        }
    }
    for l in &d.labels {
        add(l.spot.area);
    }
    all.unwrap_or(Area::new(0, 0, 120, 120)).wider(24)
}
