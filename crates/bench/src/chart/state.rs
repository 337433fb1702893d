//! One solved circuit: volts, slopes, phasors of the mains. All that the chart asks of the solver.

use solve::flows::terminal_currents;
use solve::linearised::Linearised;
use solve::netlist::{Element, Law, Netlist, NodeIndex, Slot};
use solve::operating::{self, Solution, Status};
use solve::supply::{OperatingPoint, Reduced, operating_point};

/// Why there is no chart of volts, in one sentence for the technician.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{sentence}")]
pub(crate) struct Trouble {
    sentence: String,
}

impl Trouble {
    /// A reason in words.
    pub(super) fn new(sentence: String) -> Self {
        Self { sentence }
    }
}

/// A solved circuit.
#[derive(Clone)]
pub(crate) struct State {
    point: OperatingPoint,
}

/// A solved circuit with its slopes.
pub(super) struct Sloped {
    state: State,
    linear: Linearised,
    /// The rectifier groups at this point: element, and currents into its terminals.
    groups: Vec<(usize, Vec<f64>)>,
    /// Its alternating side with no diode conducting, where there is one.
    open: Option<Reduced>,
}

impl State {
    /// Finds the operating point.
    ///
    /// # Errors
    /// When there is none; names the worst point.
    pub(crate) fn new(netlist: &Netlist, start: Option<&Self>) -> Result<Self, Trouble> {
        let start = start.map(|s| s.point.start());
        let point = operating_point(netlist, start.as_ref());
        accepted(&point.netlist, &point.solution)?;
        if let Some(name) = &point.unsettled {
            return Err(Trouble::new(format!(
                "no operating point was found: {name} does not settle; lamp, heaters and load pull each other up and down"
            )));
        }
        Ok(Self { point })
    }

    /// The operating point of a near circuit of the same structure: other values, and the lamps,
    /// emission and alternating volts of this one. Where lamps or cold heaters follow the
    /// mains, it is settled like [`State::new`].
    ///
    /// # Errors
    /// As [`State::new`].
    pub(super) fn near(&self, netlist: &Netlist) -> Result<Self, Trouble> {
        if !self.is_stiff() {
            return Self::new(netlist, Some(self));
        }
        let mut point = self.point.clone();
        point.netlist = self.reduced(netlist).netlist;
        point.solution = operating::solve_near(&point.netlist, &self.point.solution);
        accepted(&point.netlist, &point.solution)?;
        Ok(Self { point })
    }

    /// The netlist that was solved: rectifiers in groups, emission in the valves' laws.
    pub(crate) fn netlist(&self) -> &Netlist {
        &self.point.netlist
    }

    /// Its solution.
    pub(crate) fn solution(&self) -> &Solution {
        &self.point.solution
    }

    /// Volts of one node over another.
    pub(super) fn across(&self, a: NodeIndex, b: NodeIndex) -> f64 {
        self.point.solution.across(a, b)
    }

    /// Volts of every node.
    pub(crate) fn volts(&self) -> &[f64] {
        &self.point.solution.volts
    }

    /// Alternating volts between two nodes at mains frequency, rms; none without mains.
    pub(crate) fn alternating(&self, a: NodeIndex, b: NodeIndex) -> Option<f64> {
        (self.point.netlist.hertz > 0.0).then(|| self.point.ac_volts(a, b))
    }

    /// Alternating volts of a node against ground, all frequencies that rectifiers make, rms.
    pub(super) fn ripple(&self, node: NodeIndex) -> f64 {
        self.point.ripple_rms.get(node).copied().unwrap_or(0.0)
    }

    /// Rms current, steady part included, of an element with two ends.
    pub(super) fn amps_rms(&self, element: usize) -> f64 {
        self.point.amps_rms.get(element).copied().unwrap_or(0.0)
    }

    /// Mean current of a diode, whether the mains drive it or not.
    pub(super) fn rectified_amps(&self, element: usize) -> Option<f64> {
        let driven = self.point.plates.iter().find(|p| p.element == element);
        driven
            .map(|p| p.mean)
            .or_else(|| self.amps(element).first().copied())
    }

    /// What is approximate in this solution.
    pub(crate) fn notes(&self) -> Vec<String> {
        let notes = self.point.notes.iter();
        notes.map(|n| format!("{}: {}", n.part, n.text)).collect()
    }

    /// Does every valve give its full emission, and does no lamp stand in series with the
    /// mains? If not, a change of the mains moves more than slopes show.
    fn is_stiff(&self) -> bool {
        self.point.emission.iter().all(|e| *e >= 1.0)
            && !self.point.lamps.iter().any(|l| {
                let element = self.point.netlist.elements.get(l.element);
                element.is_some_and(|e| e.name == "limiter")
            })
    }

    /// A netlist with the emission of this point in its valves.
    fn lit(&self, netlist: &Netlist) -> Netlist {
        let mut lit = netlist.clone();
        for (heating, factor) in netlist.heating.iter().zip(&self.point.emission) {
            if *factor >= 1.0 {
                continue;
            }
            for index in &heating.lights {
                if let Some(element) = lit.elements.get_mut(*index) {
                    let slot = match element.law {
                        Law::Diode { .. } => Slot::Perveance,
                        _ => Slot::Scale,
                    };
                    element.scale(slot, factor.max(1e-6));
                }
            }
        }
        lit
    }

    pub(crate) fn reduced(&self, netlist: &Netlist) -> Reduced {
        let lamps: Vec<(usize, f64)> = self
            .point
            .lamps
            .iter()
            .map(|l| (l.element, l.ohms))
            .collect();
        self.point.reduce_like(&self.lit(netlist), &lamps)
    }

    /// Currents into the terminals of an element, amperes.
    pub(super) fn amps(&self, element: usize) -> Vec<f64> {
        terminal_currents(&self.point.netlist, &self.point.solution, element)
    }

    /// The same circuit with its rectifier groups as their tangents: quick to solve again, and
    /// as good wherever the supply moves by microamperes only, as under a meter.
    pub(super) fn frozen(&self) -> Self {
        let mut frozen = self.clone();
        let mut tangents = Vec::new();
        for element in &mut frozen.point.netlist.elements {
            if matches!(element.law, Law::Rectifiers(_)) {
                tangents.extend(self.tangents(element));
                // the index of every other element stays
                element.law = Law::Resistor {
                    a: 0,
                    b: 0,
                    ohms: 1.0,
                };
            }
        }
        frozen.point.netlist.elements.extend(tangents);
        frozen
    }

    /// The volts of a frozen circuit with a resistance put between two nodes.
    ///
    /// # Errors
    /// As [`State::new`].
    pub(super) fn with_resistor(
        &self,
        name: &str,
        a: NodeIndex,
        b: NodeIndex,
        ohms: f64,
    ) -> Result<Self, Trouble> {
        let mut loaded = self.clone();
        loaded.point.netlist.elements.push(Element {
            name: name.to_owned(),
            law: Law::Resistor { a, b, ohms },
        });
        loaded.point.solution = operating::solve(&loaded.point.netlist, Some(self.volts()));
        accepted(&loaded.point.netlist, &loaded.point.solution)?;
        Ok(loaded)
    }

    /// A source for each plate of a group that carries its current with its slope.
    fn tangents(&self, group: &Element) -> Vec<Element> {
        let Law::Rectifiers(rectifiers) = &group.law else {
            return Vec::new();
        };
        let across: Vec<f64> = rectifiers
            .plates
            .iter()
            .map(|p| self.across(p.plate, p.cathode))
            .collect();
        let count = across.len();
        let (mut amps, mut slopes) = (vec![0.0; count], vec![0.0; count * count]);
        let mut cycle = self.point.solution.cycle_of(rectifiers);
        rectifiers.mean_currents_from(&mut cycle, &across, &mut amps, &mut slopes);
        let mut all = Vec::new();
        for (at, plate) in rectifiers.plates.iter().enumerate() {
            let (Some(volts), Some(amps), Some(slope)) =
                (across.get(at), amps.get(at), slopes.get(at * count + at))
            else {
                continue;
            };
            let ohms = 1.0 / slope.max(1e-12);
            all.push(Element {
                name: group.name.clone(),
                law: Law::Source {
                    plus: plate.plate,
                    minus: plate.cathode,
                    volts: volts - amps * ohms,
                    ohms,
                },
            });
        }
        all
    }
}

/// Refuses a solution that no method brought within the limits.
fn accepted(netlist: &Netlist, solution: &Solution) -> Result<(), Trouble> {
    match solution.status {
        Status::Converged => Ok(()),
        Status::Stalled { worst_node, amps } => {
            let name = netlist.nodes.get(worst_node).map_or("?", String::as_str);
            Err(Trouble::new(format!(
                "no operating point was found: at {name} {:.2e} A are left over",
                amps.abs()
            )))
        }
        Status::BadElement { element } => {
            let name = netlist.elements.get(element).map_or("?", |e| &e.name);
            Err(Trouble::new(format!(
                "{name} holds a number it cannot have"
            )))
        }
    }
}

/// Alternating volts with no diode conducting, peak.
fn open_volts(reduced: &Reduced, a: NodeIndex, b: NodeIndex) -> Option<f64> {
    Some((*reduced.open.get(a)? - *reduced.open.get(b)?).abs())
}

/// What one change of the circuit does to its volts, to first order in the volts.
#[derive(Debug, Clone, Default)]
pub(super) struct Shift {
    /// By node, ground first.
    volts: Vec<f64>,
    /// The circuit before and after it, where its alternating side changed.
    sides: Option<Box<(Reduced, Reduced)>>,
}

impl Shift {
    /// Change of the volts of one node over another.
    pub(super) fn across(&self, a: NodeIndex, b: NodeIndex) -> f64 {
        let at = |n: NodeIndex| self.volts.get(n).copied().unwrap_or(0.0);
        at(a) - at(b)
    }

    /// The opposite change. It knows no alternating side.
    pub(super) fn mirrored(&self) -> Self {
        Self {
            volts: self.volts.iter().map(|v| -v).collect(),
            sides: None,
        }
    }

    /// Factor on the alternating volts between two nodes, told with no diode conducting.
    pub(crate) fn alternating(&self, a: NodeIndex, b: NodeIndex) -> Option<f64> {
        let (before, after) = self.sides.as_deref()?;
        let before = open_volts(before, a, b).filter(|v| *v > 0.0)?;
        Some(open_volts(after, a, b)? / before)
    }
}

impl Sloped {
    /// Linearises a solved circuit.
    ///
    /// # Errors
    /// When its slopes leave a node free.
    pub(super) fn new(state: State) -> Result<Self, Trouble> {
        let linear = Linearised::new(&state.point.netlist, &state.point.solution)
            .map_err(|e| Trouble::new(format!("no slopes at the operating point: {e}")))?;
        let elements = state.point.netlist.elements.iter().enumerate();
        let groups = elements
            .filter(|(_, e)| matches!(e.law, Law::Rectifiers(_)))
            .map(|(index, _)| (index, state.amps(index)))
            .collect();
        Ok(Self {
            state,
            linear,
            groups,
            open: None,
        })
    }

    /// Prepares for changes of the alternating side of `netlist`, the circuit that was solved.
    pub(super) fn prepare(&mut self, netlist: &Netlist) {
        self.open = Some(self.state.reduced(netlist));
    }

    /// Is capacitor or coil `element` one that the rectifiers' ripple works on?
    pub(super) fn holds_ripple(&self, element: usize) -> bool {
        let elements = self.state.point.netlist.elements.iter();
        elements
            .filter_map(|e| match &e.law {
                Law::Rectifiers(group) => Some(group),
                _ => None,
            })
            .any(|group| group.stores.iter().any(|s| s.element == element))
    }

    /// The solved circuit.
    pub(super) fn state(&self) -> &State {
        &self.state
    }

    /// Resistance that a meter between two nodes sees.
    pub(super) fn source_ohms(&self, a: NodeIndex, b: NodeIndex) -> f64 {
        self.linear.source_ohms_between(a, b).abs()
    }

    /// Change of the volts between two nodes per natural logarithm of each parameter, for
    /// parameters that act at direct current.
    pub(super) fn slopes(&self, a: NodeIndex, b: NodeIndex) -> Vec<f64> {
        let netlist = &self.state.point.netlist;
        let adjoint = self.linear.adjoint(a, b);
        (0..netlist.parameters.len())
            .map(|p| adjoint.sensitivity(netlist, &self.state.point.solution, p))
            .collect()
    }

    /// What feeding a current into one node and out of another does.
    pub(super) fn fed(&self, into: NodeIndex, out_of: NodeIndex, amps: f64) -> Shift {
        let mut fed = vec![0.0; self.state.volts().len()];
        add(&mut fed, into, amps);
        add(&mut fed, out_of, -amps);
        Shift {
            volts: self.linear.response(&fed),
            sides: None,
        }
    }

    /// What factors on parameters do: the elements they belong to draw other currents at the
    /// same volts, and the circuit answers. The nonlinearity of the part itself is kept, that
    /// of the answer is not.
    pub(super) fn moved(&self, factors: &[(usize, f64)]) -> Shift {
        let netlist = &self.state.point.netlist;
        let mut touched: Vec<usize> = factors
            .iter()
            .filter_map(|(p, _)| netlist.parameters.get(*p))
            .flat_map(|p| p.slots.iter().map(|(element, _)| *element))
            .collect();
        touched.sort_unstable();
        touched.dedup();
        let mut fed = vec![0.0; self.state.volts().len()];
        for index in touched {
            let Some(before) = netlist.elements.get(index) else {
                continue;
            };
            let mut after = before.clone();
            for (p, factor) in factors {
                let Some(parameter) = netlist.parameters.get(*p) else {
                    continue;
                };
                for (element, slot) in &parameter.slots {
                    if *element == index {
                        after.scale(*slot, *factor);
                    }
                }
            }
            self.feed_difference(&mut fed, before, &after);
        }
        Shift {
            volts: self.linear.response(&fed),
            sides: None,
        }
    }

    /// What becomes of the volts when the whole circuit, alternating side included, becomes
    /// `after`, a circuit of the same structure. `None` when it has another structure, or
    /// [`Sloped::prepare`] was not called.
    ///
    /// Where a lamp or cold heaters follow the mains, the circuit is solved anew instead.
    pub(super) fn becomes(&self, after: &Netlist) -> Option<Shift> {
        let before = self.open.as_ref()?;
        let reduced = self.state.reduced(after);
        let volts = if self.state.is_stiff() {
            self.linear.response(&self.drawn_less(&reduced.netlist)?)
        } else {
            let new = self.state.near(after).ok()?;
            let nodes = new.volts().iter().zip(self.state.volts());
            nodes.map(|(new, old)| new - old).collect()
        };
        Some(Shift {
            volts,
            sides: Some(Box::new((before.clone(), reduced))),
        })
    }

    /// What all elements of `after` draw less than now, as currents fed in, by node.
    fn drawn_less(&self, after: &Netlist) -> Option<Vec<f64>> {
        let before = &self.state.point.netlist;
        if after.elements.len() != before.elements.len() || after.nodes.len() != before.nodes.len()
        {
            return None;
        }
        let mut fed = vec![0.0; self.state.volts().len()];
        let elements = before.elements.iter().zip(&after.elements);
        for (index, (old, new)) in elements.enumerate() {
            if nearly(&old.law, &new.law) {
                continue;
            }
            match self.groups.iter().find(|g| g.0 == index) {
                Some((_, amps)) => {
                    let now = self.drawn(new);
                    let terminals = old.law.terminals().into_iter();
                    for ((node, amps), now) in terminals.zip(amps).zip(now) {
                        add(&mut fed, node, amps - now);
                    }
                }
                None => self.feed_difference(&mut fed, old, new),
            }
        }
        Some(fed)
    }

    /// Adds what an element draws less than before as a current fed in.
    fn feed_difference(&self, fed: &mut [f64], before: &Element, after: &Element) {
        let (old, new) = (self.drawn(before), self.drawn(after));
        for ((node, old), new) in before.law.terminals().into_iter().zip(old).zip(new) {
            add(fed, node, old - new);
        }
    }

    /// Currents into the terminals of any element at these volts.
    fn drawn(&self, element: &Element) -> Vec<f64> {
        let alone = Netlist {
            elements: vec![element.clone()],
            ..Netlist::default()
        };
        terminal_currents(&alone, &self.state.point.solution, 0)
    }
}

/// Are two laws equal, or two rectifier groups so near (emf to 0.03 %, resistances and stores to
/// 0.3 %) that working out a whole cycle would show nothing?
fn nearly(old: &Law, new: &Law) -> bool {
    let (Law::Rectifiers(a), Law::Rectifiers(b)) = (old, new) else {
        return old == new;
    };
    let near = |x: f64, y: f64, part: f64| (x - y).abs() <= part * x.abs().max(y.abs());
    let all = |x: &[f64], y: &[f64]| {
        x.len() == y.len() && x.iter().zip(y).all(|(x, y)| near(*x, *y, 3e-3))
    };
    let plates = a.plates.len() == b.plates.len()
        && a.plates.iter().zip(&b.plates).all(|(x, y)| {
            x.law == y.law
                && near(x.emf_peak, y.emf_peak, 3e-4)
                && (x.plate, x.cathode) == (y.plate, y.cathode)
                && (x.phase - y.phase).abs() < 1e-2
        });
    let ohms = a.ohms.len() == b.ohms.len() && a.ohms.iter().zip(&b.ohms).all(|(x, y)| all(x, y));
    let stores = a.stores.len() == b.stores.len()
        && a.stores.iter().zip(&b.stores).all(|(x, y)| {
            x.element == y.element
                && all(&x.rates, &y.rates)
                && all(&x.charge, &y.charge)
                && all(&x.reach, &y.reach)
        });
    plates && ohms && stores
}

fn add(fed: &mut [f64], node: NodeIndex, amps: f64) {
    if let Some(x) = fed.get_mut(node) {
        *x += amps;
    }
}
