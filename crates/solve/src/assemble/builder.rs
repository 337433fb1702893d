//! The netlist while it grows: nodes on demand, elements with their part, parameters, notes.
//!
//! Knows how to keep every number an element may hold finite and of the right sign; knows no part.

use std::collections::{BTreeMap, BTreeSet};

use wiring::circuit::{History, Known, MeasuredValue};
use wiring::sheet::{Library, Sheet};
use wiring::{Circuit, Conditions, Kind, NodeId, Part};

use super::defaults::{LEAST_OHMS, OPEN_OHMS, SHORT_OHMS};
use super::positions::Positions;
use super::{AssembleOptions, Assembly, Note, Unsolved};
use crate::netlist::{Element, Law, NodeIndex, Parameter, Quantity, Slot};

/// What a part's value comes to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Effective {
    /// The value read on the lifted part, or the marked one.
    Value(f64),
    /// Read open.
    Open,
    /// Read short.
    Short,
    /// Nothing says.
    Missing,
}

/// The netlist while it grows.
pub(super) struct Builder<'a> {
    pub(super) circuit: &'a Circuit,
    pub(super) library: &'a Library,
    pub(super) conditions: &'a Conditions,
    pub(super) options: &'a AssembleOptions,
    pub(super) positions: Positions,
    pub(super) out: Assembly,
    /// The sheet of each type that the wiring names, found once.
    sheets: BTreeMap<&'a str, &'a Sheet>,
    listed: BTreeSet<String>,
}

impl<'a> Builder<'a> {
    pub(super) fn new(
        circuit: &'a Circuit,
        library: &'a Library,
        conditions: &'a Conditions,
        options: &'a AssembleOptions,
    ) -> Self {
        let mut out = Assembly {
            node_of: vec![None; circuit.nodes.len()],
            ..Assembly::default()
        };
        out.netlist.nodes.push("ground".to_owned());
        if let Some(ground) = out.node_of.first_mut() {
            *ground = Some(0);
        }
        let mut sheets = BTreeMap::new();
        for part in &circuit.parts {
            if let Kind::Valve(v) = &part.kind {
                let names = [Some(&v.meant), v.fitted.as_ref(), v.like.as_ref()];
                for name in names.into_iter().flatten() {
                    if !sheets.contains_key(name.as_str())
                        && let Some(sheet) = library.find(name)
                    {
                        sheets.insert(name.as_str(), sheet);
                    }
                }
            }
        }
        Self {
            sheets,
            listed: BTreeSet::new(),
            circuit,
            library,
            conditions,
            options,
            positions: Positions::new(circuit, conditions),
            out,
        }
    }

    pub(super) fn finish(self) -> Assembly {
        self.out
    }

    /// The data sheet of a type that the wiring names.
    pub(super) fn sheet(&self, name: &str) -> Option<&'a Sheet> {
        self.sheets.get(name).copied()
    }

    /// Kept for the record, not in the circuit.
    pub(super) fn is_removed(&self, part: &Part) -> bool {
        part.known.history == Some(History::Removed)
    }

    /// The netlist node of a wiring node, made when first asked for.
    pub(super) fn node(&mut self, id: NodeId) -> NodeIndex {
        if let Some(Some(n)) = self.out.node_of.get(id.0) {
            return *n;
        }
        let index = self.out.netlist.nodes.len();
        let name = self.name_of(id);
        self.out.netlist.nodes.push(name);
        if let Some(slot) = self.out.node_of.get_mut(id.0) {
            *slot = Some(index);
        }
        index
    }

    fn name_of(&self, id: NodeId) -> String {
        let Some(node) = self.circuit.nodes.get(id.0) else {
            return format!("node {}", id.0);
        };
        if let Some(name) = node.names.first() {
            return name.clone();
        }
        let terminal = node.terminals.first().and_then(|(part, terminal)| {
            let part = self.circuit.parts.get(part.0)?;
            let terminal = part.terminals.get(*terminal)?;
            Some(format!("{}.{}", part.name, terminal.name))
        });
        terminal.unwrap_or_else(|| format!("node {}", id.0))
    }

    /// The wiring node of a part's terminal; none when no walk reached it.
    pub(super) fn wired(&self, part: &Part, terminal: usize) -> Option<NodeId> {
        part.terminals
            .get(terminal)?
            .node
            .filter(|n| n.0 < self.circuit.nodes.len())
    }

    /// The netlist node of a part's terminal; none when no walk reached it.
    pub(super) fn at(&mut self, part: &Part, terminal: usize) -> Option<NodeIndex> {
        let id = self.wired(part, terminal)?;
        Some(self.node(id))
    }

    /// The netlist node of a part's terminal by its name.
    pub(super) fn at_named(&mut self, part: &Part, terminal: &str) -> Option<NodeIndex> {
        let t = part.terminals.iter().position(|t| t.name == terminal)?;
        self.at(part, t)
    }

    /// Both ends of a part that is passed; none when one hangs loose, and then nothing flows.
    pub(super) fn ends(&mut self, part: &Part) -> Option<(NodeIndex, NodeIndex)> {
        let (a, b) = (self.wired(part, 0)?, self.wired(part, 1)?);
        Some((self.node(a), self.node(b)))
    }

    /// A node inside a part, which no probe can reach.
    pub(super) fn inner(&mut self, name: String) -> NodeIndex {
        self.out.netlist.nodes.push(name);
        self.out.netlist.nodes.len() - 1
    }

    /// Adds an element that stands for a part.
    pub(super) fn add(&mut self, part: &str, name: String, law: Law) -> usize {
        let index = self.out.netlist.elements.len();
        self.out.netlist.elements.push(Element { name, law });
        self.out
            .elements_of
            .entry(part.to_owned())
            .or_default()
            .push(index);
        index
    }

    /// Adds a resistance; one whose two ends are the same point carries nothing and is left out.
    pub(super) fn resistor(
        &mut self,
        part: &str,
        name: String,
        ends: (NodeIndex, NodeIndex),
        ohms: f64,
    ) -> Option<usize> {
        let (a, b) = ends;
        if a == b {
            return None;
        }
        let ohms = sound_ohms(ohms);
        Some(self.add(part, name, Law::Resistor { a, b, ohms }))
    }

    /// Adds a capacitance; nothing where both ends are one point or there is no capacitance.
    pub(super) fn capacitor(
        &mut self,
        part: &str,
        name: String,
        ends: (NodeIndex, NodeIndex),
        farads: f64,
        esr_ohms: f64,
    ) -> Option<usize> {
        let (a, b) = ends;
        let farads = written(Some(farads), 1e3).filter(|_| a != b)?;
        let esr_ohms = written(Some(esr_ohms), 1e9).unwrap_or(0.0);
        Some(self.add(
            part,
            name,
            Law::Capacitor {
                a,
                b,
                farads,
                esr_ohms,
            },
        ))
    }

    /// A quantity that spreads; nothing where it has no slot.
    pub(super) fn spreads(&mut self, part: &str, quantity: Quantity, slots: Vec<(usize, Slot)>) {
        if !slots.is_empty() {
            self.out.netlist.parameters.push(Parameter {
                part: part.to_owned(),
                quantity,
                slots,
            });
        }
    }

    /// A part whose value is not known: its place is held open, and it is listed.
    pub(super) fn stand_in(&mut self, part: &str, ends: (NodeIndex, NodeIndex)) {
        if let Some(e) = self.resistor(part, part.to_owned(), ends, OPEN_OHMS) {
            self.out.stand_ins.push(e);
        }
    }

    /// Lists what cannot be computed, once.
    pub(super) fn unsolved(&mut self, point: &str, why: String) {
        if self.listed.insert(point.to_owned()) {
            let point = point.to_owned();
            self.out.unsolved.push(Unsolved { point, why });
        }
    }

    /// Volts that the equations will give here mean nothing, for this reason; the first one counts.
    pub(super) fn untold(&mut self, point: NodeId, why: &str) {
        if let Some(node) = self.out.node_of.get(point.0).copied().flatten() {
            let known = self.out.untold.entry(node);
            known.or_insert_with(|| why.to_owned());
        }
    }

    /// Notes what was assumed, once.
    pub(super) fn note(&mut self, code: &'static str, text: String) {
        let note = Note { code, text };
        if !self.out.notes.contains(&note) {
            self.out.notes.push(note);
        }
    }

    /// A two-terminal part that reads open or short is that, whatever it is; true if it was.
    pub(super) fn forced(&mut self, part: &Part) -> bool {
        let ohms = match lifted(&part.known) {
            Some(MeasuredValue::Open) => OPEN_OHMS,
            Some(MeasuredValue::Short) => SHORT_OHMS,
            _ => return false,
        };
        if let Some(ends) = self.ends(part) {
            self.resistor(&part.name, part.name.clone(), ends, ohms);
        }
        true
    }

    /// `= open` on a transformer or a bridge does not say which of its windings or legs.
    pub(super) fn unclear_reading(&mut self, part: &Part) {
        let unclear = matches!(
            part.kind,
            Kind::Bridge
                | Kind::PowerTransformer(_)
                | Kind::OutputTransformer(_)
                | Kind::CouplingTransformer(_)
                | Kind::Tank { .. }
        );
        if let (true, Some(MeasuredValue::Open | MeasuredValue::Short)) =
            (unclear, lifted(&part.known))
        {
            self.note(
                "reading-unclear",
                format!(
                    "{}: which of its windings or legs reads so is not said; it is taken as marked",
                    part.name
                ),
            );
        }
    }

    /// Whether an element is a resistance between two nodes.
    pub(super) fn is_resistor_between(&self, element: usize, x: NodeIndex, y: NodeIndex) -> bool {
        match self.out.netlist.elements.get(element).map(|e| &e.law) {
            Some(Law::Resistor { a, b, .. }) => (*a, *b) == (x, y) || (*a, *b) == (y, x),
            _ => false,
        }
    }
}

/// What was read on the lifted part.
pub(super) fn lifted(known: &Known) -> Option<MeasuredValue> {
    known.reading.filter(|m| !m.in_circuit).map(|m| m.value)
}

/// The value that counts: a reading on the lifted part before the marking.
pub(super) fn effective(marked: Option<f64>, known: &Known) -> Effective {
    match lifted(known) {
        Some(MeasuredValue::Open) => return Effective::Open,
        Some(MeasuredValue::Short) => return Effective::Short,
        Some(MeasuredValue::Is(v)) if v.is_finite() && v >= 0.0 => return Effective::Value(v),
        _ => {}
    }
    match marked {
        Some(v) if v.is_finite() && v >= 0.0 => Effective::Value(v),
        _ => Effective::Missing,
    }
}

/// Ohms that an equation can hold: finite, above 0, never beyond an open.
pub(super) fn sound_ohms(ohms: f64) -> f64 {
    if ohms.is_nan() {
        OPEN_OHMS
    } else {
        ohms.clamp(LEAST_OHMS, MOST_OHMS)
    }
}

/// A figure that was written, if it is one: finite, not negative, brought within `1e-18` and `most`.
/// None for nothing, for nonsense, and for 0.
pub(super) fn written(figure: Option<f64>, most: f64) -> Option<f64> {
    figure
        .filter(|v| v.is_finite() && *v > 0.0)
        .map(|v| v.clamp(1e-18, most))
}

/// Ohms that were written, if they are any; 0 counts as written.
pub(super) fn written_ohms(ohms: Option<f64>) -> Option<f64> {
    ohms.filter(|r| r.is_finite() && *r >= 0.0).map(sound_ohms)
}

/// Most volts of any source or winding.
pub(super) const MOST_VOLTS: f64 = 1e6;

/// Above this a resistance is no more than the leak of the board it sits on.
const MOST_OHMS: f64 = 1e13;
