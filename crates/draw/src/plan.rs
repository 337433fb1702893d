//! What is to be drawn, seen all at once: pieces, what each node is, which role each piece has.

use crate::geometry::{Area, Point, Turn};
use crate::piece::{Piece, PieceId, PinOf, Which, pieces};
use crate::symbol::{Form, Pin, Symbol, symbol};
use crate::tag;
use std::collections::BTreeSet;
use wiring::circuit::{Circuit, GROUND, Kind, NodeId, PartId};
use wiring::roles::{Anatomy, Block, BlockKind, Role, Section};

/// What a node is on the page.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Class {
    /// Circuit ground.
    Ground,
    /// The metal, where it is not ground.
    Chassis,
    /// Protective earth, where nothing bonds it.
    Earth,
    /// A high-tension rail.
    Rail,
    /// A negative rail.
    Bias,
    /// Wires that are drawn.
    Signal,
}

/// The whole task.
#[derive(Debug)]
pub struct Plan<'a> {
    /// The circuit.
    pub circuit: &'a Circuit,
    /// Its blocks and roles.
    pub anatomy: &'a Anatomy,
    /// What is drawn.
    pub pieces: Vec<Piece>,
    /// The symbol of each piece.
    pub symbols: Vec<Symbol>,
    /// Pins of each node: piece and pin.
    pub pins: Vec<Vec<(PieceId, usize)>>,
    /// Class of each node.
    pub class: Vec<Class>,
    /// Pieces of the mains side, the supplies and the heaters.
    pub supply: Vec<bool>,
    /// Zig-zag resistors.
    pub zigzag: bool,
    /// Pixels of air round every symbol beyond the usual.
    pub air: i32,
}

impl<'a> Plan<'a> {
    /// Looks at a circuit and its anatomy.
    #[must_use]
    pub fn new(circuit: &'a Circuit, anatomy: &'a Anatomy, zigzag: bool) -> Self {
        let pieces = pieces(circuit);
        let symbols = pieces.iter().map(|p| symbol(&p.form, zigzag)).collect();
        let mut pins = vec![Vec::new(); circuit.nodes.len()];
        for (i, piece) in pieces.iter().enumerate() {
            for (k, node) in piece.nodes.iter().enumerate() {
                if let Some(list) = node.and_then(|n| pins.get_mut(n.0)) {
                    list.push((i, k));
                }
            }
        }
        let mut plan = Self {
            circuit,
            anatomy,
            class: vec![Class::Signal; circuit.nodes.len()],
            supply: vec![false; pieces.len()],
            pieces,
            symbols,
            pins,
            zigzag,
            air: 0,
        };
        plan.classify();
        plan.find_supply();
        plan
    }

    fn classify(&mut self) {
        for (i, node) in self.circuit.nodes.iter().enumerate() {
            let named = |name: &str| node.names.iter().any(|n| n == name);
            let id = NodeId(i);
            self.class[i] = if id == GROUND {
                Class::Ground
            } else if named("chassis") {
                Class::Chassis
            } else if named("earth") {
                Class::Earth
            } else if self.anatomy.rails.contains(&id) {
                Class::Rail
            } else if self.is_bias(id) {
                Class::Bias
            } else {
                Class::Signal
            };
        }
    }

    /// A negative rail: one that has a name, is held by a capacitor, or that a grid leak stands on. A junction within
    /// its divider is a wire like any other.
    fn is_bias(&self, id: NodeId) -> bool {
        self.anatomy.bias_rails.contains(&id)
            && (self
                .circuit
                .nodes
                .get(id.0)
                .is_some_and(|n| !n.names.is_empty())
                || self
                    .pins_at(id)
                    .iter()
                    .any(|(p, _)| self.has_any(*p, &[Role::BiasFilter, Role::GridLeak])))
    }

    fn find_supply(&mut self) {
        let is_supply = |kind: BlockKind| {
            matches!(
                kind,
                BlockKind::Mains
                    | BlockKind::HtSupply
                    | BlockKind::BiasSupply
                    | BlockKind::HeaterSupply
            )
        };
        for (i, piece) in self.pieces.iter().enumerate() {
            let Some(part) = piece.part else {
                self.supply[i] = true;
                continue;
            };
            if piece.which == Which::Heater {
                self.supply[i] = true;
                continue;
            }
            let roles = self
                .anatomy
                .roles
                .get(part.0)
                .map_or(&[][..], Vec::as_slice);
            let first = roles.first();
            self.supply[i] = first.is_some_and(|r| {
                self.anatomy
                    .blocks
                    .get(r.block.0)
                    .is_some_and(|b| is_supply(b.kind))
            }) && roles.iter().all(|r| {
                self.anatomy
                    .blocks
                    .get(r.block.0)
                    .is_some_and(|b| is_supply(b.kind))
                    || matches!(r.role, Role::ShuntCapacitor | Role::ShuntResistor)
            }) || matches!(
                self.circuit.parts.get(part.0).map(|p| &p.kind),
                Some(Kind::PowerTransformer(_))
            ) || matches!(piece.form, Form::Rectifier(..) | Form::Bridge);
        }
    }

    /// Class of a node.
    #[must_use]
    pub fn class(&self, node: NodeId) -> Class {
        self.class.get(node.0).copied().unwrap_or(Class::Signal)
    }
    /// A node that stands still and is drawn as a tag wherever it is met.
    #[must_use]
    pub fn is_still(&self, node: NodeId) -> bool {
        self.class(node) != Class::Signal
    }
    /// Ground or the metal.
    #[must_use]
    pub fn is_low(&self, node: NodeId) -> bool {
        matches!(
            self.class(node),
            Class::Ground | Class::Chassis | Class::Earth
        )
    }
    /// Pins of a node.
    #[must_use]
    pub fn pins_at(&self, node: NodeId) -> &[(PieceId, usize)] {
        self.pins.get(node.0).map_or(&[], Vec::as_slice)
    }
    /// The node of a pin.
    #[must_use]
    pub fn node(&self, piece: PieceId, pin: usize) -> Option<NodeId> {
        self.pieces.get(piece)?.nodes.get(pin).copied().flatten()
    }
    /// The piece of a whole part.
    #[must_use]
    pub fn piece_of(&self, part: PartId) -> Option<PieceId> {
        self.pieces.iter().position(|p| p.part == Some(part))
    }
    /// The piece of a valve section.
    #[must_use]
    pub fn section(&self, s: &Section) -> Option<PieceId> {
        self.pieces
            .iter()
            .position(|p| p.part == Some(s.part) && p.which == Which::Section(s.section))
            .or_else(|| {
                self.pieces
                    .iter()
                    .position(|p| p.part == Some(s.part) && matches!(p.form, Form::Valve(_)))
            })
    }
    /// Whether the piece's part has a role.
    #[must_use]
    pub fn has(&self, piece: PieceId, role: Role) -> bool {
        self.pieces
            .get(piece)
            .and_then(|p| p.part)
            .is_some_and(|p| self.anatomy.has(p, role))
    }
    /// Whether the piece's part has one of these roles.
    #[must_use]
    pub fn has_any(&self, piece: PieceId, roles: &[Role]) -> bool {
        roles.iter().any(|r| self.has(piece, *r))
    }
    /// Pieces of a block with a role, in the order of the text.
    #[must_use]
    pub fn in_block(&self, block: &Block, role: Role) -> Vec<PieceId> {
        block
            .parts
            .iter()
            .filter(|(_, r)| *r == role)
            .filter_map(|(p, _)| self.piece_of(*p))
            .collect()
    }

    /// The two nodes of a piece that stands in a line: a part of two terminals, or a pot whose
    /// wiper is tied to an end or not wired. With the pins.
    #[must_use]
    pub fn line(&self, piece: PieceId) -> Option<[(usize, NodeId); 2]> {
        let p = self.pieces.get(piece)?;
        if p.is_line() {
            let (a, b) = (self.node(piece, 0)?, self.node(piece, 1)?);
            return (a != b).then_some([(0, a), (1, b)]);
        }
        if p.form == Form::Pot {
            let (low, wiper, high) = (
                self.node(piece, 0)?,
                self.node(piece, 1),
                self.node(piece, 2)?,
            );
            if low != high && wiper.is_none_or(|w| w == low || w == high) {
                return Some([(2, high), (0, low)]);
            }
        }
        None
    }
    /// The far node of a line piece, seen from one of its nodes, with the near and the far pin.
    #[must_use]
    pub fn beyond(&self, piece: PieceId, from: NodeId) -> Option<(usize, usize, NodeId)> {
        let [(pa, a), (pb, b)] = self.line(piece)?;
        if a == from {
            Some((pa, pb, b))
        } else if b == from {
            Some((pb, pa, a))
        } else {
            None
        }
    }
    /// A pin where a placed piece has it.
    #[must_use]
    pub fn pin(&self, piece: PieceId, pin: usize, at: Point, turn: Turn) -> Pin {
        let p = self
            .symbols
            .get(piece)
            .and_then(|s| s.pins.get(pin))
            .copied()
            .unwrap_or(Pin {
                at: Point::new(0, 0),
                out: crate::geometry::Dir::Up,
            });
        let q = turn.point(p.at);
        Pin {
            at: at.by(q.x, q.y),
            out: turn.dir(p.out),
        }
    }
    /// The turn and the place that put `near` (a pin of a line piece) here, with the other pin
    /// lying `away` from it.
    #[must_use]
    pub fn lay(
        &self,
        piece: PieceId,
        near: usize,
        here: Point,
        away: crate::geometry::Dir,
    ) -> (Point, Turn) {
        use crate::geometry::Dir;
        let s = &self.symbols[piece];
        let out = s.pins.get(near).map_or(Dir::Up, |p| p.out);
        // The near pin's lead must point against `away`.
        let turn = Turn::ALL
            .into_iter()
            .filter(|t| t.dir(out) == away.back())
            .min_by_key(|t| {
                // Extra pins (a wiper, a horn) go right or down.
                let side = s
                    .pins
                    .iter()
                    .map(|p| t.dir(p.out))
                    .find(|d| *d != away && *d != away.back());
                let good = match side {
                    Some(Dir::Right | Dir::Down) => 0,
                    Some(_) => 2,
                    None => i32::from(t.mirrored),
                };
                (good, *t)
            })
            .unwrap_or(Turn::NONE);
        let p = turn.point(s.pins.get(near).map_or(Point::default(), |p| p.at));
        (here.by(-p.x, -p.y), turn)
    }
    /// Text of the tag for a node: its names, very long ones shortened.
    #[must_use]
    pub fn tag_text(&self, node: NodeId) -> String {
        match self.circuit.nodes.get(node.0) {
            Some(n) if !n.names.is_empty() => {
                let short: Vec<String> = n.names.iter().map(|name| tag::short(name)).collect();
                short.join(" / ")
            }
            _ => self.node_name(node),
        }
    }
    /// The names of a node, or a terminal on it.
    #[must_use]
    pub fn node_name(&self, node: NodeId) -> String {
        let Some(n) = self.circuit.nodes.get(node.0) else {
            return "?".to_owned();
        };
        if !n.names.is_empty() {
            return n.names.join(" / ");
        }
        n.terminals
            .first()
            .and_then(|(p, t)| {
                let part = self.circuit.parts.get(p.0)?;
                Some(format!("{}.{}", part.name, part.terminals.get(*t)?.name))
            })
            .unwrap_or_else(|| format!("point {}", node.0))
    }
    /// The name of a pin as a probe would find it: `V1.3`.
    #[must_use]
    pub fn pin_text(&self, piece: PieceId, pin: usize) -> String {
        let Some(p) = self.pieces.get(piece) else {
            return String::new();
        };
        match (
            p.pins.get(pin),
            p.part.and_then(|x| self.circuit.parts.get(x.0)),
        ) {
            (Some(PinOf::Terminal(t)), Some(part)) => format!(
                "{}.{}",
                part.name,
                part.terminals.get(*t).map_or("", |t| t.name.as_str())
            ),
            (Some(PinOf::Mains(i)), _) => crate::piece::MAINS[(*i).min(2)].to_owned(),
            _ => p.name.clone(),
        }
    }
    /// Nodes that a valve electrode other than a heater is on.
    #[must_use]
    pub fn on_valve(&self, node: NodeId) -> bool {
        self.pins_at(node)
            .iter()
            .any(|(p, _)| matches!(self.pieces[*p].form, Form::Valve(_)))
    }
    /// The reserved room of a piece in its own place: bodies with their label.
    #[must_use]
    pub fn room(&self, piece: PieceId, turn: Turn) -> Vec<Area> {
        use crate::geometry::Dir;
        let s = self.symbols[piece].turned(turn);
        let mut out = vec![s.extent().wider(6 + self.air)];
        if let Some(spot) = crate::label::spots(&self.pieces[piece], &s).first() {
            out.push(spot.area);
        }
        for (k, pin) in s.pins.iter().enumerate() {
            let Some(node) = self.node(piece, k) else {
                // A winding's end that no wire has reached yet keeps a way out, with a ground at its end.
                if matches!(self.pieces[piece].form, Form::Wound(..)) && pin.out.is_level() {
                    let end = pin.at.toward(pin.out, 2);
                    out.push(Area::between(pin.at, end, 6));
                    out.push(crate::tag::room(
                        crate::tag::Sort::Ground,
                        "",
                        end,
                        Dir::Down,
                    ));
                }
                continue;
            };
            {
                let low = self.is_low(node);
                match pin.out {
                    Dir::Down if low => {
                        out.push(crate::tag::room(
                            crate::tag::Sort::Ground,
                            "",
                            pin.at,
                            Dir::Down,
                        ));
                    }
                    // A step aside, then down.
                    Dir::Left | Dir::Right if low => out.push(crate::tag::room(
                        crate::tag::Sort::Ground,
                        "",
                        pin.at.toward(pin.out, 1),
                        Dir::Down,
                    )),
                    Dir::Up if self.class(node) == Class::Rail => out.push(crate::tag::room(
                        crate::tag::Sort::Rail,
                        &self.tag_text(node),
                        pin.at,
                        Dir::Up,
                    )),
                    _ => {}
                }
            }
        }
        out
    }
    /// All nodes that are some stage's input or output.
    #[must_use]
    pub fn ports(&self) -> BTreeSet<NodeId> {
        self.anatomy
            .blocks
            .iter()
            .filter(|b| !b.sections.is_empty())
            .flat_map(|b| b.inputs.iter().chain(&b.outputs).copied())
            .collect()
    }
}
