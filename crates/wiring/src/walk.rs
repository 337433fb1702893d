//! Following walks: which points are joined, and which parts lie between.
//!
//! Wires are joined at once; parts are remembered with the points on either side and
//! attached when all walks are read, because the same part may be met several times and
//! the order of lines does not matter.

mod points;

use crate::circuit::Kind;
use crate::codes;
use crate::collect::{Way, without_way};
use crate::diagnostic::Place;
use crate::names;
use crate::net::{Elem, Joins, Net};
use crate::parts::{Named, Parts};
use crate::problems::{Problems, listed};
use crate::statement::{Item, Shape};
use crate::words::Word;
use std::collections::{BTreeMap, HashMap, HashSet};

/// Likenesses looked up in one reading, at most.
const LOOK_UPS: usize = 300_000;

/// A part met in passing.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Pass {
    pub(crate) part: usize,
    pub(crate) left: Option<Elem>,
    pub(crate) right: Option<Elem>,
    pub(crate) way: Way,
    pub(crate) place: Place,
    pub(crate) assumed: bool,
}

/// What following the walks has come to.
pub(crate) struct Wirer<'p> {
    pub(crate) parts: Parts,
    pub(crate) net: Net,
    pub(crate) problems: &'p mut Problems,
    pub(crate) passes: Vec<Pass>,
    pub(crate) ground: Elem,
    /// `ground - apart - chassis`, or a part between the two.
    pub(crate) apart: Option<Place>,
    bare: HashMap<String, Elem>,
    /// Bare names in the order first typed.
    pub(crate) bare_order: Vec<(String, Elem)>,
    terminals: BTreeMap<(usize, usize), Elem>,
    /// Capitals folded: the first spelling and its place.
    spellings: HashMap<String, (String, Place)>,
    reported: HashSet<String>,
    /// Parts that a walk which is not assumed wires.
    pub(crate) seen_parts: HashSet<usize>,
    /// How many likenesses may still be looked up; a text full of slips stays quick.
    look_ups: usize,
    assumed: bool,
}

impl<'p> Wirer<'p> {
    /// Before any walk.
    pub(crate) fn new(parts: Parts, problems: &'p mut Problems) -> Self {
        let mut net = Net::default();
        let ground = net.add(Joins::Bare("ground".to_owned()), Place::default());
        let mut wirer = Self {
            parts,
            net,
            problems,
            passes: Vec::new(),
            ground,
            apart: None,
            bare: HashMap::from([("ground".to_owned(), ground)]),
            bare_order: Vec::new(),
            terminals: BTreeMap::new(),
            spellings: HashMap::new(),
            reported: HashSet::new(),
            seen_parts: HashSet::new(),
            look_ups: LOOK_UPS,
            assumed: false,
        };
        let names: Vec<(String, Place)> = wirer
            .parts
            .list
            .iter()
            .map(|p| (p.name.clone(), p.place))
            .collect();
        for (name, place) in names {
            wirer.spelling(&name, place);
        }
        let cans: Vec<_> = wirer.parts.cans.clone();
        for (name, sections, place) in cans {
            let sections: Vec<usize> = sections
                .into_iter()
                .filter(|s| !wirer.is_removed(*s))
                .collect();
            if sections.is_empty() {
                continue;
            }
            let common = wirer.net.add(Joins::Bare(format!("{name}.can")), place);
            wirer.bare.insert(format!("{name}.can"), common);
            for section in sections {
                let end = wirer.end(section, 1, place);
                wirer.net.join(common, end);
            }
        }
        wirer
    }

    /// Is the part no longer in the circuit?
    pub(crate) fn is_removed(&self, part: usize) -> bool {
        self.parts
            .list
            .get(part)
            .is_some_and(|p| p.known.history == Some(crate::circuit::History::Removed))
    }

    /// The element of a terminal, made when first needed.
    pub(crate) fn end(&mut self, part: usize, terminal: usize, place: Place) -> Elem {
        if let Some(elem) = self.terminals.get(&(part, terminal)) {
            return *elem;
        }
        let elem = self.net.add(Joins::Terminal(part, terminal), place);
        self.terminals.insert((part, terminal), elem);
        elem
    }

    /// The element of a terminal, if it was ever needed.
    pub(crate) fn known_end(&self, part: usize, terminal: usize) -> Option<Elem> {
        self.terminals.get(&(part, terminal)).copied()
    }

    /// The element of a bare name.
    pub(crate) fn bare_elem(&self, name: &str) -> Option<Elem> {
        self.bare.get(name).copied()
    }

    /// Reports a name that differs from an earlier one by capitals only.
    fn spelling(&mut self, name: &str, place: Place) {
        let folded = name.to_lowercase();
        match self.spellings.get(&folded) {
            None => {
                self.spellings.insert(folded, (name.to_owned(), place));
            }
            Some((other, _)) if other == name => {}
            Some((other, at)) => {
                let (other, at) = (other.clone(), *at);
                if self.reported.insert(format!("case {name}")) {
                    self.problems.clash(
                        codes::CASE_CLASH,
                        place,
                        at,
                        format!("`{name}` and `{other}` differ only by capitals."),
                        format!(
                            "Type `{other}` if it is the same, or give one of them another name."
                        ),
                    );
                }
            }
        }
    }

    /// Follows every walk.
    pub(crate) fn follow(&mut self, shapes: &[Shape<'_>]) {
        for shape in shapes {
            match shape {
                Shape::Walk { items, assumed } => {
                    self.assumed = *assumed;
                    self.walk(items);
                }
                Shape::Plain(words) => {
                    if let [point, unused, rest @ ..] = words.as_slice()
                        && unused.is("unused")
                    {
                        self.assumed = false;
                        self.unused(*point, *unused, rest);
                    } else if let [first, _, ..] = words.as_slice() {
                        if first.is("unused") {
                            self.unused_unclear(Some(*first));
                        } else if first.is("apart") {
                            self.apart_walk(0, None, Some(*first), None);
                        }
                    }
                }
                _ => {}
            }
        }
    }

    fn walk(&mut self, items: &[Item<'_>]) {
        let word_at = |i: usize| match items.get(i) {
            Some(Item::Stop(words)) => words.first().copied(),
            _ => None,
        };
        if let Some(at) = (0..items.len()).find(|i| word_at(*i).is_some_and(|w| w.is("unused"))) {
            match (items, word_at(0)) {
                ([Item::Stop(point), Item::Stop(rest)], Some(first))
                    if at == 1 && point.len() == 1 =>
                {
                    let unused = rest.first().copied().unwrap_or(first);
                    self.unused(first, unused, rest.get(1..).unwrap_or_default());
                }
                _ => self.unused_unclear(word_at(at)),
            }
            return;
        }
        if let Some(at) = (0..items.len()).find(|i| word_at(*i).is_some_and(|w| w.is("apart"))) {
            self.apart_walk(items.len(), word_at(0), word_at(at), word_at(2));
            return;
        }
        if let [only] = items {
            if let Item::Bracket(_, place) = only {
                self.problems.add(
                    codes::EMPTY_STOP,
                    *place,
                    "A bracket needs a stop before or after it.",
                    "Type for example `V1.3 - [R3 1k8 | +C1 25u] - ground`.",
                );
            } else if let Item::Stop(words) = only
                && let Some(first) = words.first()
            {
                // The dash without a stop was reported; the point itself is not lost.
                self.point_or_break(*first, words.len() == 1);
                return;
            }
        }
        self.ground_to_chassis(items);
        self.chain(items, None, None);
    }

    /// A part anywhere between ground and chassis on one walk keeps them apart.
    fn ground_to_chassis(&mut self, items: &[Item<'_>]) {
        let mut last: Option<(bool, bool)> = None;
        for item in items {
            let place = item.place();
            match item {
                Item::Stop(words) => {
                    let Some(word) = words.first() else {
                        continue;
                    };
                    let ground = names::is_ground(word.text);
                    if ground || word.text == "chassis" {
                        if let Some((was_ground, part)) = last
                            && was_ground != ground
                            && part
                        {
                            self.apart = self.apart.or(Some(place));
                        }
                        last = Some((ground, false));
                    } else if let Some(l) = &mut last {
                        let (name, _) = without_way(word.text, |n| self.parts.is_part(n));
                        l.1 |= matches!(self.parts.named(name), Some(Named::Part(_)));
                    }
                }
                Item::Bracket(..) => {
                    if let Some(l) = &mut last {
                        l.1 = true;
                    }
                }
            }
        }
    }

    fn apart_walk(
        &mut self,
        length: usize,
        first: Option<Word<'_>>,
        apart: Option<Word<'_>>,
        last: Option<Word<'_>>,
    ) {
        let place = apart.map(|w| w.place).unwrap_or_default();
        let sides = |w: Option<Word<'_>>| w.map_or("", |w| w.text).to_owned();
        let (a, b) = (sides(first), sides(last));
        let fine = length == 3
            && (names::is_ground(&a) && b == "chassis" || a == "chassis" && names::is_ground(&b));
        if fine {
            self.apart = Some(place);
            for word in [first, last].into_iter().flatten() {
                self.point(word);
            }
        } else {
            self.problems.add(
                codes::APART_UNCLEAR,
                place,
                "`apart` says that ground and chassis are two, and nothing else.",
                "Type `ground - apart - chassis`.",
            );
        }
    }

    fn unused_unclear(&mut self, word: Option<Word<'_>>) {
        self.problems.add(
            codes::UNUSED_UNCLEAR,
            word.map(|w| w.place).unwrap_or_default(),
            "`unused` ends one lead, and stands behind the point where that lead begins.",
            "Type for example `T2.s4 unused \"sleeved\"`.",
        );
    }

    fn unused(&mut self, point: Word<'_>, unused: Word<'_>, rest: &[Word<'_>]) {
        let how = match rest {
            [] => "",
            [note] if matches!(note.kind, crate::lexer::TokenKind::Quoted { .. }) => note.text,
            _ => {
                self.unused_unclear(Some(unused));
                return;
            }
        };
        if let Some(elem) = self.point(point) {
            self.net.put_away(elem, how);
        }
    }

    /// Follows a chain from one element to another; none where it begins or ends loose.
    fn chain(&mut self, items: &[Item<'_>], start: Option<Elem>, end: Option<Elem>) {
        let mut left = start;
        for (at, item) in items.iter().enumerate() {
            let last = at + 1 == items.len();
            match item {
                Item::Stop(words) => {
                    let Some(first) = words.first().copied() else {
                        continue;
                    };
                    let (name, way) = without_way(first.text, |n| self.parts.is_part(n));
                    if let Some(named) = self.parts.named(name).cloned() {
                        let right = self.right(last, end, first.place);
                        self.pass(named, name, way, first, left, right);
                        left = right;
                    } else {
                        let point = self.point_or_break(first, words.len() == 1);
                        if let (Some(point), Some(before)) = (point, left) {
                            self.net.join(before, point);
                        }
                        if let (true, Some(point), Some(end)) = (last, point, end) {
                            self.net.join(point, end);
                        }
                        left = point;
                    }
                }
                Item::Bracket(alternatives, place) => {
                    let from = match left {
                        Some(elem) => elem,
                        None => self.junction(*place),
                    };
                    let to = match self.right(last, end, *place) {
                        Some(elem) => elem,
                        None => self.junction(*place),
                    };
                    for alternative in alternatives {
                        self.chain(alternative, Some(from), Some(to));
                    }
                    left = Some(to);
                }
            }
        }
    }

    fn junction(&mut self, place: Place) -> Elem {
        let elem = self.net.add(Joins::Junction, place);
        let assumed = self.assumed;
        self.net.touch(elem, assumed, false);
        elem
    }

    /// What lies to the right of a part: the end of the chain, or a junction with what follows.
    fn right(&mut self, last: bool, end: Option<Elem>, place: Place) -> Option<Elem> {
        if last {
            end
        } else {
            Some(self.junction(place))
        }
    }

    fn pass(
        &mut self,
        named: Named,
        name: &str,
        way: Way,
        word: Word<'_>,
        left: Option<Elem>,
        right: Option<Elem>,
    ) {
        let part = match named {
            Named::Part(part) => part,
            Named::Group(members, _) => {
                let offers: Vec<String> = members
                    .iter()
                    .filter_map(|m| self.parts.list.get(m.1))
                    .filter(|p| p.terminals.len() == 2)
                    .map(|p| p.name.clone())
                    .collect();
                let offers = if offers.is_empty() {
                    self.parts.group_offers(&members)
                } else {
                    offers
                };
                self.more_terminals(name, word, &offers);
                return;
            }
        };
        let Some(found) = self.parts.list.get(part) else {
            return;
        };
        match (&found.kind, found.terminals.len()) {
            (Kind::Unknown, _) => {}
            (kind, 2) if may_pass(kind) => {
                self.check_way(part, way, word);
                if !self.assumed {
                    self.seen_parts.insert(part);
                }
                self.passes.push(Pass {
                    part,
                    left,
                    right,
                    way,
                    place: word.place,
                    assumed: self.assumed,
                });
            }
            _ => {
                let offers = self.parts.offers(part);
                self.more_terminals(name, word, &offers);
            }
        }
    }

    fn more_terminals(&mut self, name: &str, word: Word<'_>, offers: &[String]) {
        let advice = if offers.is_empty() {
            format!("Name the terminals of `{name}` with a dot.")
        } else {
            format!("Name its terminals: {}.", listed(offers))
        };
        self.problems.add(
            codes::MORE_TERMINALS,
            word.place,
            format!("A walk cannot pass through `{name}`: it is not a part with two plain ends."),
            advice,
        );
    }

    fn check_way(&mut self, part: usize, way: Way, word: Word<'_>) {
        let Some(found) = self.parts.list.get(part) else {
            return;
        };
        let name = found.name.clone();
        let plus = matches!(way, Way::PlusBefore | Way::PlusAfter);
        let arrow = matches!(way, Way::Forward | Way::Backward);
        let electrolytic = found.known.make == Some(crate::circuit::Make::Electrolytic);
        let can = found.parent.is_some();
        let problems = &mut *self.problems;
        match &found.kind {
            Kind::Diode { .. } if !arrow => problems.add(
                codes::WHICH_WAY,
                word.place,
                format!("Nothing says which way `{name}` conducts."),
                format!("Type `{name}>` if it conducts in walking direction, `{name}<` if against it."),
            ),
            Kind::Supply { .. } if !plus => problems.add(
                codes::WHICH_WAY,
                word.place,
                format!("Nothing says where the plus of `{name}` is."),
                format!("Type `+{name}` if it is toward the stop before, `{name}+` if toward the stop after."),
            ),
            Kind::Generator { .. } if !plus => problems.add(
                codes::SENSE_NOT_SAID,
                word.place,
                format!("Nothing says which end of `{name}` comes first; it is taken as toward the stop before."),
                format!("Type `+{name}` or `{name}+`."),
            ),
            Kind::Capacitor { .. } if way == Way::Unsaid && (electrolytic || can) => problems.add(
                codes::POLARITY_NOT_SAID,
                word.place,
                format!("Nothing says where the plus of `{name}` is."),
                format!("Type `+{name}` if it is toward the stop before, `{name}+` if toward the stop after."),
            ),
            Kind::Diode { .. } => {}
            Kind::Capacitor { .. } | Kind::Supply { .. } | Kind::Generator { .. } if !arrow => {}
            _ if way != Way::Unsaid => problems.add(
                codes::WAY_NOT_NEEDED,
                word.place,
                format!("`{}`: this mark means nothing on `{name}`.", word.text),
                format!("Type `{name}`."),
            ),
            _ => {}
        }
    }

    /// The part or bare point whose name is nearest, while there is patience left.
    pub(crate) fn nearest(&mut self, name: &str, points: &[(String, Elem)]) -> Option<String> {
        let cost = self.parts.list.len() + points.len();
        self.look_ups = self.look_ups.checked_sub(cost)?;
        let parts = self
            .parts
            .list
            .iter()
            .filter(|p| p.kind != Kind::Unknown)
            .map(|p| p.parent.as_deref().unwrap_or(&p.name));
        let points = points.iter().map(|p| p.0.as_str());
        names::nearest(name, points.chain(parts)).map(str::to_owned)
    }

    /// The name of a part.
    pub(crate) fn name_of(&self, part: usize) -> &str {
        self.parts.list.get(part).map_or("", |p| p.name.as_str())
    }
}

/// May a walk pass through a part of this kind?
pub(crate) fn may_pass(kind: &Kind) -> bool {
    matches!(
        kind,
        Kind::Resistor { .. }
            | Kind::Capacitor { .. }
            | Kind::Choke { .. }
            | Kind::Diode { .. }
            | Kind::Lamp { .. }
            | Kind::Cell { .. }
            | Kind::Fuse { .. }
            | Kind::Switch { .. }
            | Kind::Speaker { .. }
            | Kind::Supply { .. }
            | Kind::Generator { .. }
    )
}
