//! Attaching the parts met in passing to the points on either side.
//!
//! The first passing of a part fixes its ends. Every other must lie between the same
//! points; a junction without a name takes the name of what it is met beside.

use crate::circuit::Kind;
use crate::codes;
use crate::collect::Way;
use crate::diagnostic::Place;
use crate::net::{Elem, Joins};
use crate::walk::{Pass, Wirer};
use std::collections::BTreeMap;

/// Rounds of naming junctions by each other; a chain met again is settled in one or two.
const ROUNDS: usize = 4;

/// Attaches every passing.
pub(crate) fn attach(wirer: &mut Wirer<'_>) {
    let passes = std::mem::take(&mut wirer.passes);
    let mut first_of: BTreeMap<usize, Pass> = BTreeMap::new();
    let mut again: Vec<Pass> = Vec::new();
    for pass in passes {
        if wirer.is_removed(pass.part) {
            continue;
        }
        let fixed =
            wirer.known_end(pass.part, 0).is_some() || wirer.known_end(pass.part, 1).is_some();
        if fixed {
            first_of.entry(pass.part).or_insert(pass);
            again.push(pass);
        } else {
            // Once attached, the ends are fixed, so this is the first time.
            first_of.insert(pass.part, pass);
            let (near, far) = if first_end_is_left(wirer, &pass) {
                (0, 1)
            } else {
                (1, 0)
            };
            join_end(wirer, &pass, near, pass.left);
            join_end(wirer, &pass, far, pass.right);
            note_plus(wirer, &pass, near == 0);
        }
    }
    for round in 0..ROUNDS {
        let last = round + 1 == ROUNDS;
        let mut open = Vec::new();
        for pass in again {
            if !settle(wirer, &pass) {
                open.push(pass);
            }
        }
        again = open;
        if again.is_empty() {
            break;
        }
        if last {
            for pass in &again {
                let place = first_of.get(&pass.part).map_or(pass.place, |f| f.place);
                report(wirer, pass, place);
            }
            break;
        }
    }
}

/// Ends are made here rather than while walking, so that parts named by terminal are told apart.
fn join_end(wirer: &mut Wirer<'_>, pass: &Pass, terminal: usize, to: Option<Elem>) {
    if let Some(to) = to {
        let end = wirer.end(pass.part, terminal, pass.place);
        wirer.net.join(end, to);
        wirer.net.touch(end, pass.assumed, false);
    }
}

/// Which terminal comes first in walking direction when the mark decides; none when it does not.
fn by_mark(wirer: &Wirer<'_>, pass: &Pass) -> Option<bool> {
    let part = wirer.parts.list.get(pass.part)?;
    match (&part.kind, pass.way) {
        (Kind::Diode { .. }, Way::Backward) => Some(false),
        (Kind::Diode { .. }, _) => Some(true),
        (Kind::Supply { .. } | Kind::Generator { .. }, Way::PlusAfter) => Some(false),
        (Kind::Supply { .. } | Kind::Generator { .. }, _) => Some(true),
        (Kind::Capacitor { .. }, Way::PlusBefore) if part.parent.is_some() => Some(true),
        (Kind::Capacitor { .. }, Way::PlusAfter) if part.parent.is_some() => Some(false),
        _ => None,
    }
}

fn first_end_is_left(wirer: &Wirer<'_>, pass: &Pass) -> bool {
    by_mark(wirer, pass).unwrap_or(true)
}

/// Notes where the plus of an ordinary capacitor is; false when it was known to be at the other end.
fn note_plus(wirer: &mut Wirer<'_>, pass: &Pass, first_is_left: bool) -> bool {
    let plus_left = match pass.way {
        Way::PlusBefore => true,
        Way::PlusAfter => false,
        _ => return true,
    };
    let at_first = plus_left == first_is_left;
    let Some(part) = wirer.parts.list.get_mut(pass.part) else {
        return true;
    };
    match &mut part.kind {
        Kind::Capacitor { plus_first, .. } => match plus_first {
            None => {
                *plus_first = Some(at_first);
                true
            }
            Some(known) => *known == at_first,
        },
        _ => true,
    }
}

/// How an end of a passing agrees with a terminal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Fit {
    /// The same set already.
    Same,
    /// One of them is a nameless junction, or loose.
    Free,
    /// Two different named places.
    Clash,
}

fn fit(wirer: &Wirer<'_>, terminal: Option<Elem>, side: Option<Elem>) -> Fit {
    match (terminal, side) {
        (Some(a), Some(b)) if wirer.net.same(a, b) => Fit::Same,
        (Some(a), Some(b)) if wirer.net.is_named(a) && wirer.net.is_named(b) => Fit::Clash,
        _ => Fit::Free,
    }
}

/// Joins a further passing to the part's ends if it fits; false if it does not (yet).
fn settle(wirer: &mut Wirer<'_>, pass: &Pass) -> bool {
    let ends = [wirer.known_end(pass.part, 0), wirer.known_end(pass.part, 1)];
    let straight = [
        fit(wirer, ends[0], pass.left),
        fit(wirer, ends[1], pass.right),
    ];
    let turned = [
        fit(wirer, ends[0], pass.right),
        fit(wirer, ends[1], pass.left),
    ];
    let clash = |f: [Fit; 2]| f.contains(&Fit::Clash);
    let same = |f: [Fit; 2]| f.iter().filter(|x| **x == Fit::Same).count();
    let first_is_left = match by_mark(wirer, pass) {
        Some(mark) => {
            let fits = if mark { straight } else { turned };
            if clash(fits) {
                return false;
            }
            mark
        }
        None => match (clash(straight), clash(turned)) {
            (true, true) => return false,
            (false, true) => true,
            (true, false) => false,
            (false, false) => same(straight) >= same(turned),
        },
    };
    if !note_plus(wirer, pass, first_is_left) {
        return false;
    }
    let (near, far) = if first_is_left { (0, 1) } else { (1, 0) };
    join_end(wirer, pass, near, pass.left);
    join_end(wirer, pass, far, pass.right);
    true
}

fn report(wirer: &mut Wirer<'_>, pass: &Pass, first: Place) {
    let name = wirer.name_of(pass.part).to_owned();
    let ends = [wirer.known_end(pass.part, 0), wirer.known_end(pass.part, 1)];
    let straight = [
        fit(wirer, ends[0], pass.left),
        fit(wirer, ends[1], pass.right),
    ];
    let turned = [
        fit(wirer, ends[0], pass.right),
        fit(wirer, ends[1], pass.left),
    ];
    let clash = |f: [Fit; 2]| f.contains(&Fit::Clash);
    if !(clash(straight) && clash(turned)) {
        wirer.problems.clash(
            codes::TURNED_ROUND,
            pass.place,
            first,
            format!(
                "`{name}` is the other way round here than on line {}.",
                first.line
            ),
            "Look again which end is which, and correct one of the two lines.",
        );
        return;
    }
    let then = [label(wirer, ends[0]), label(wirer, ends[1])];
    let now = [label(wirer, pass.left), label(wirer, pass.right)];
    wirer.problems.clash(
        codes::MET_ELSEWHERE,
        pass.place,
        first,
        format!(
            "`{name}` lies between {} and {} here, but between {} and {} on line {}.",
            now[0], now[1], then[0], then[1], first.line
        ),
        "If these are two parts, give one another name; if one, correct the walk.",
    );
}

/// A place for a sentence: the first name of its set.
pub(crate) fn label(wirer: &Wirer<'_>, elem: Option<Elem>) -> String {
    let named = elem.and_then(|e| wirer.net.named(e));
    match named.and_then(|e| wirer.net.joins(e)) {
        Some(Joins::Bare(name)) => format!("`{name}`"),
        Some(Joins::Terminal(part, terminal)) => wirer
            .parts
            .list
            .get(*part)
            .and_then(|p| Some(format!("`{}.{}`", p.name, p.terminals.get(*terminal)?.name)))
            .unwrap_or_default(),
        _ if elem.is_none() => "nothing".to_owned(),
        _ => "a point without a name".to_owned(),
    }
}
