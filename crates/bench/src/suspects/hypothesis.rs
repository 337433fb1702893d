//! What could be wrong: each part of the wiring with each fault that fits its role.

use crate::faults::{Change, Class, Fault, Faults, Scaled, Sort};
use crate::tolerance::is_measured;
use wiring::circuit::{Circuit, Electrode, History, Kind, NodeId, Part, PartId};
use wiring::roles::{Anatomy, BlockKind, Role};

/// Sizes tried for each decade of a range.
const PER_DECADE: f64 = 3.0;
/// Most sizes of one hypothesis.
const MOST_SIZES: usize = 9;

/// The same where a coarse size will do.
const COARSE_SIZES: usize = 4;

/// Ohms of what is open.
pub(super) const OPEN_OHMS: f64 = 1e10;
/// An open composition resistor often still passes a little (common practice, no source).
const OPEN_RESISTOR: [f64; 6] = [-OPEN_OHMS, OPEN_OHMS, 1e8, 2.5e7, 1e7, 3e6];

/// How much likelier it passes nothing at all than what lies between two sizes (ours, a guess).
const WHOLLY_OPEN: f64 = 4.0;

/// Factor on the prior of a part that was read with an end lifted: its value is known, and what
/// is left is a fault that comes and goes (ours, a guess).
const READ: f64 = 0.05;

/// Factor on the prior of a wrong part or a wrong lead: most amplifiers played once (ours, a guess).
const WRONG: f64 = 0.1;

/// Factor on the prior of what happens between the pins of a valve and in its socket (shorts,
/// leaks, contacts), beside its cathode and its gas (ours, a guess).
const SOCKET: f64 = 0.3;

/// One part with one fault.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Hypothesis {
    pub(super) part: PartId,
    /// The section of a valve.
    pub(super) section: Option<char>,
    /// The part's name with the section's letter.
    pub(super) name: String,
    pub(super) sort: Sort,
    pub(super) class: Class,
    pub(super) change: Change,
    /// Row of the dictionary.
    pub(super) fault: usize,
    /// The rail that feeds the stage.
    pub(super) supply: Option<NodeId>,
    /// Prior weight, not yet a share.
    pub(super) weight: f64,
}

impl Hypothesis {
    /// Sizes to try, even on a logarithmic scale; one where there is no size. A negative one is
    /// its amount with every grid that nothing holds drifting down instead of up.
    pub(super) fn sizes(&self) -> Vec<f64> {
        let Some((lo, hi, _)) = self.change.range() else {
            return match (self.change, self.sort) {
                (Change::Open, Sort::Resistor) => OPEN_RESISTOR.to_vec(),
                _ => vec![OPEN_OHMS],
            };
        };
        if matches!(self.change, Change::Lead { .. }) {
            return vec![hi, -hi, (lo * hi).sqrt(), lo];
        }
        if matches!(
            self.change,
            Change::Factor { .. } | Change::FactorFarads { .. }
        ) {
            return vec![lo, hi];
        }
        let decades = (hi / lo).log10();
        if decades < 1e-9 {
            return vec![lo];
        }
        // at most MOST_SIZES, so the cast keeps the number
        #[allow(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "clamped to 3..=9 before"
        )]
        let count = (PER_DECADE * decades + 1.0)
            .ceil()
            .clamp(3.0, self.most_sizes() as f64) as usize;
        (0..count)
            .map(|i| lo * (hi / lo).powf(i as f64 / (count - 1) as f64))
            .collect()
    }

    /// Contacts and dried capacitors act by more or less; their size is seldom wanted to a third.
    fn most_sizes(&self) -> usize {
        let coarse = matches!(
            self.change,
            Change::Scale {
                quantity: Scaled::Farads | Scaled::Esr,
                ..
            }
        );
        if coarse || self.sort == Sort::Switch {
            COARSE_SIZES
        } else {
            MOST_SIZES
        }
    }

    /// What lies between sizes: from which to which, with its part of the prior.
    pub(super) fn stretches(&self, sizes: &[f64]) -> Vec<(usize, Option<usize>, f64)> {
        let count = sizes.len();
        let even = |n: usize| 1.0 / n.max(1) as f64;
        if !self.is_continuous() || count < 2 {
            return (0..count).map(|i| (i, None, even(count))).collect();
        }
        let open = self.change == Change::Open;
        let mut all = Vec::new();
        for (i, size) in sizes.iter().enumerate() {
            // a grid that nothing holds ends either up or down
            let whole = open && size.abs() >= OPEN_OHMS;
            if whole {
                all.push((i, None, WHOLLY_OPEN));
            }
            if i + 1 < count && *size > 0.0 {
                all.push((i, Some(i + 1), 1.0));
            }
        }
        let sum: f64 = all.iter().map(|s| s.2).sum();
        for stretch in &mut all {
            stretch.2 /= sum;
        }
        all
    }

    /// Are sizes between two neighbours possible?
    pub(super) fn is_continuous(&self) -> bool {
        let leaves_a_little = self.change == Change::Open && self.sort == Sort::Resistor;
        leaves_a_little
            || !matches!(
                self.change,
                Change::Factor { .. }
                    | Change::FactorFarads { .. }
                    | Change::Open
                    | Change::Lead { .. }
            )
    }
}

/// All hypotheses of a wiring that a meter could show, in the order of its parts.
pub(super) fn all(
    circuit: &Circuit,
    anatomy: &Anatomy,
    faults: &Faults,
    told: &[String],
) -> Vec<Hypothesis> {
    let symptoms = faults.symptoms_in(told);
    let mut found = Vec::new();
    for (index, part) in circuit.parts.iter().enumerate() {
        let id = PartId(index);
        let wired = part.terminals.iter().filter(|t| t.node.is_some()).count();
        if part.known.history == Some(History::Removed) || wired < 2 {
            continue;
        }
        let rectifies = match &part.kind {
            Kind::Valve(v) => !v.electrodes.iter().any(|e| e.electrode == Electrode::Grid),
            _ => false,
        };
        let Some(sort) = Sort::of(&part.kind, rectifies) else {
            continue;
        };
        for section in sections(part, sort) {
            let place = Place::of(anatomy, id, section);
            let rows = fitting(faults, sort, &place);
            for (row, fault) in rows {
                let letter = section.map_or_else(String::new, |l| l.to_string());
                // somebody has lifted it and read it
                let read = is_measured(&part.known) && fault.change.is_of_the_part();
                found.push(Hypothesis {
                    part: id,
                    section,
                    name: format!("{}{letter}", part.name),
                    sort,
                    class: fault.class,
                    change: fault.change,
                    fault: row,
                    supply: place.supply,
                    weight: faults.weight(fault.prior)
                        * Faults::times(fault, &symptoms)
                        * if read { READ } else { 1.0 }
                        * seldom(fault),
                });
            }
        }
    }
    found
}

/// Factor on the prior of what is met seldom.
fn seldom(fault: &Fault) -> f64 {
    match fault.class {
        Class::Wrong => WRONG,
        Class::Short | Class::Leaky | Class::Worn if fault.on == Sort::Valve => SOCKET,
        _ => 1.0,
    }
}

/// Sections of a valve with a grid; none for the part as a whole.
fn sections(part: &Part, sort: Sort) -> Vec<Option<char>> {
    let Kind::Valve(valve) = &part.kind else {
        return vec![None];
    };
    if sort == Sort::Rectifier {
        return vec![None];
    }
    let mut letters: Vec<Option<char>> = valve
        .electrodes
        .iter()
        .filter(|e| e.electrode == Electrode::Plate)
        .map(|e| e.section)
        .collect();
    letters.sort_unstable();
    letters.dedup();
    letters
}

/// Where a part stands.
struct Place {
    roles: Vec<(Role, BlockKind)>,
    supply: Option<NodeId>,
}

impl Place {
    fn of(anatomy: &Anatomy, part: PartId, section: Option<char>) -> Self {
        if let Some(block) = section.and_then(|_| anatomy.block_of(part, section)) {
            return Self {
                roles: vec![(Role::Valve, block.kind)],
                supply: block.supply,
            };
        }
        let mut roles = Vec::new();
        let mut supply = None;
        for found in anatomy.roles.get(part.0).into_iter().flatten() {
            if let Some(block) = anatomy.blocks.get(found.block.0) {
                roles.push((found.role, block.kind));
                supply = supply.or(block.supply);
            }
        }
        Self { roles, supply }
    }
}

/// The rows that fit; of those that are one class and one change, the most particular.
fn fitting<'a>(faults: &'a Faults, sort: Sort, place: &Place) -> Vec<(usize, &'a Fault)> {
    let mut rows: Vec<(usize, &Fault, usize)> = Vec::new();
    for (index, fault) in faults.faults.iter().enumerate() {
        if fault.on != sort || !fault.change.is_electrical() {
            continue;
        }
        let by_role = fault.roles.is_empty() && fault.blocks.is_empty();
        let fits = by_role
            || place.roles.iter().any(|(role, block)| {
                (fault.roles.is_empty() || fault.roles.contains(role))
                    && (fault.blocks.is_empty() || fault.blocks.contains(block))
            });
        if !fits {
            continue;
        }
        let particular =
            usize::from(!fault.roles.is_empty()) + usize::from(!fault.blocks.is_empty());
        let same = |f: &Fault| f.class == fault.class && f.change.sort() == fault.change.sort();
        match rows.iter_mut().find(|(_, f, _)| same(f)) {
            Some(row) if row.2 < particular => *row = (index, fault, particular),
            Some(_) => {}
            None => rows.push((index, fault, particular)),
        }
    }
    rows.into_iter()
        .map(|(index, fault, _)| (index, fault))
        .collect()
}
