//! Following walks: which points are joined, and which parts lie between.
//!
//! Wires are joined at once; parts are remembered with the points on either side and
//! attached when all walks are read, because the same part may be met several times and
//! the order of lines does not matter.

use crate::circuit::Kind;
use crate::codes;
use crate::collect::{Way, without_way};
use crate::diagnostic::Place;
use crate::names;
use crate::net::{Elem, Joins, Net};
use crate::parts::{End, Named, NoEnd, Parts};
use crate::problems::{Problems, listed};
use crate::statement::{Item, Shape};
use crate::units::reads_as_number;
use crate::words::Word;
use std::collections::{BTreeMap, HashMap, HashSet};

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

    /// A point, or nothing when the stop is no point (which is reported) so that the walk breaks there.
    fn point_or_break(&mut self, word: Word<'_>, alone: bool) -> Option<Elem> {
        if !word.is_word() {
            return None;
        }
        // Words behind a point were reported when descriptions were collected, and a name
        // with words behind it that is no part was explained there too.
        let explained = names::lookalike(word.text).is_some()
            || !names::is_name(word.text)
            || names::is_reserved(word.text);
        let plain = !word.text.contains('.') && !names::FIXED.contains(&word.text);
        if !alone && plain && explained {
            return None;
        }
        self.point(word)
    }

    /// The element of a point as typed; a problem and none when it is not one.
    pub(crate) fn point(&mut self, word: Word<'_>) -> Option<Elem> {
        let assumed = self.assumed;
        let elem = if let Some((base, terminal)) = word.text.split_once('.') {
            self.dotted(word, base, terminal)?
        } else {
            self.bare_point(word)?
        };
        self.net.touch(elem, assumed, true);
        Some(elem)
    }

    fn dotted(&mut self, word: Word<'_>, base: &str, terminal: &str) -> Option<Elem> {
        let place = word.place;
        if base.is_empty() || terminal.is_empty() {
            if reads_as_number(word.text) {
                self.value_without_part(word);
            } else {
                self.bad_name(word);
            }
            return None;
        }
        let (stripped, _) = without_way(base, |n| self.parts.is_part(n));
        let base = if self.parts.is_part(stripped) {
            stripped
        } else {
            base
        };
        match self.parts.terminal(base, terminal) {
            Ok(End::Terminal(part, t)) => {
                if self.is_removed(part) {
                    return None;
                }
                self.internal_pin(part, t, word);
                if !self.assumed {
                    self.seen_parts.insert(part);
                }
                Some(self.end(part, t, place))
            }
            Ok(End::Common(_)) => self.bare_elem(word.text),
            Err(NoEnd::NoPart) if reads_as_number(word.text) => {
                self.value_without_part(word);
                None
            }
            Err(NoEnd::NoPart) if !names::is_name(base) => {
                self.bad_name(word);
                None
            }
            Err(error) => {
                if self
                    .reported
                    .insert(format!("terminal {} {error:?}", word.text))
                {
                    error.report(base, terminal, place, self.problems);
                }
                if error == NoEnd::NoPart {
                    // Its terminals hold the walks together all the same.
                    self.parts.unknown(base, place);
                    if let Ok(End::Terminal(part, t)) = self.parts.terminal(base, terminal) {
                        return Some(self.end(part, t, place));
                    }
                }
                None
            }
        }
    }

    fn internal_pin(&mut self, part: usize, terminal: usize, word: Word<'_>) {
        let Some(found) = self.parts.list.get(part) else {
            return;
        };
        let Kind::Valve(valve) = &found.kind else {
            return;
        };
        let internal = valve
            .electrodes
            .iter()
            .any(|u| u.terminal == terminal && u.electrode == crate::circuit::Electrode::Internal);
        let name = found.name.clone();
        let kind = valve.type_in_socket().to_owned();
        if internal && self.reported.insert(format!("internal {part} {terminal}")) {
            self.problems.add(
                codes::INTERNAL_PIN,
                word.place,
                format!("This pin of `{name}` is connected to something inside a `{kind}`."),
                "Leave it free: move the wire to a tag or another point.",
            );
        }
    }

    fn value_without_part(&mut self, word: Word<'_>) {
        let class = if word.text.ends_with(['n', 'p', 'u', 'F']) {
            "C1"
        } else {
            "R1"
        };
        self.problems.add(
            codes::VALUE_WITHOUT_PART,
            word.place,
            format!(
                "`{}` is a value, and a walk names points and parts.",
                word.text
            ),
            format!("Name the part, like `{class} {}`.", word.text),
        );
    }

    fn bad_name(&mut self, word: Word<'_>) {
        self.problems.add(
            codes::BAD_NAME,
            word.place,
            format!("`{}` is not a name.", word.text),
            "Names are letters, digits, `_`, `+` and `/`, with at least one letter; a dash between stops has a space on both sides.",
        );
    }

    fn bare_point(&mut self, word: Word<'_>) -> Option<Elem> {
        let name = word.text;
        if names::is_ground(name) {
            // Keep the spelling on the node.
            if name != "ground" && !self.bare.contains_key(name) {
                let elem = self.net.add(Joins::Bare(name.to_owned()), word.place);
                self.bare.insert(name.to_owned(), elem);
                self.net.join(self.ground, elem);
            }
            return self.bare_elem(name);
        }
        if let Some(elem) = self.bare.get(name) {
            return Some(*elem);
        }
        if names::is_reserved(name) {
            self.problems.add(
                codes::RESERVED_WORD,
                word.place,
                format!("`{name}` is a word of the notation and cannot name a point."),
                format!(
                    "Give it another name, like `{}`.",
                    crate::collect::other_name(name)
                ),
            );
            return None;
        }
        let lower = name.to_lowercase();
        if let Some(fixed) = names::FIXED
            .iter()
            .find(|f| f.to_lowercase() == lower && !names::FIXED.contains(&name))
        {
            if self.reported.insert(format!("upper {name}")) {
                self.problems.add(
                    codes::UPPER_CASE,
                    word.place,
                    format!("`{name}` is written `{fixed}`."),
                    format!("Type `{fixed}`."),
                );
            }
            return self.bare_point(Word {
                text: fixed,
                ..word
            });
        }
        // `n1` and `p2` are good names of points, whatever a capacitor may be marked.
        let digit = name.starts_with(|c: char| c.is_ascii_digit() || c == '.');
        if digit && crate::units::parse_raw(name).is_ok() {
            self.value_without_part(word);
            return None;
        }
        if !names::is_name(name) {
            self.bad_name(word);
            return None;
        }
        if let Some(offer) = names::lookalike(name) {
            if self.reported.insert(format!("kind {name}")) {
                self.problems.add(
                    codes::UNKNOWN_KIND,
                    word.place,
                    format!("`{name}` looks like a part, but nothing says what it is."),
                    format!("Add a line `{offer}`, or rename it if it is a point."),
                );
            }
            return None;
        }
        self.spelling(name, word.place);
        let elem = self.net.add(Joins::Bare(name.to_owned()), word.place);
        self.bare.insert(name.to_owned(), elem);
        self.bare_order.push((name.to_owned(), elem));
        Some(elem)
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
