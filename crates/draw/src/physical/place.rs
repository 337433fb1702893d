//! Where everything goes: groups one below the other, their parts from left to right.

use super::{Body, End, Group, Physical, Shape, Wire};
use crate::geometry::Area;
use std::collections::BTreeMap;
use wiring::circuit::{Circuit, Kind, Part};

/// Where a row ends.
const PAGE: i32 = 1360;
const MARGIN: i32 = 20;
const GAP: i32 = 18;
/// Between the rows of a group: a figure that is laid over the view finds room there.
const BETWEEN_ROWS: i32 = 28;
const LINE: i32 = 18;
/// More terminals than this on one joint are named and not wired.
const MOST_WIRED: usize = 4;
/// Longest text on a part.
const LONGEST: usize = 28;

/// Which group a part is in: order, title, order within.
type Key = (u8, String);

/// Board and lug of a recorded place: the last word is the lug when it has a figure.
fn board(sits: &str) -> (String, String) {
    let sits = sits.trim();
    match sits.rsplit_once(char::is_whitespace) {
        Some((board, lug)) if lug.chars().any(|c| c.is_ascii_digit()) => {
            (board.trim().to_owned(), lug.to_owned())
        }
        _ => (sits.to_owned(), String::new()),
    }
}

/// Letters, then the figure: `A2` before `A10` before `B1`.
fn lug_order(lug: &str) -> (String, u64, String) {
    let letters: String = lug.chars().take_while(|c| !c.is_ascii_digit()).collect();
    let figures: String = lug
        .chars()
        .skip_while(|c| !c.is_ascii_digit())
        .take_while(char::is_ascii_digit)
        .take(12)
        .collect();
    (letters, figures.parse().unwrap_or(0), lug.to_owned())
}

fn key(part: &Part) -> Key {
    if let Some(sits) = part.known.sits.as_deref().filter(|s| !s.trim().is_empty()) {
        return (0, board(sits).0);
    }
    let row = match &part.kind {
        Kind::Valve(_) => (1, "sockets, from below"),
        Kind::Pot { .. } | Kind::Switch { .. } | Kind::Jack { .. } => (2, "controls and jacks"),
        Kind::Capacitor { .. } if part.parent.is_some() => (3, "cans"),
        Kind::PowerTransformer(_)
        | Kind::OutputTransformer(_)
        | Kind::CouplingTransformer(_)
        | Kind::Choke { .. }
        | Kind::Tank { .. }
        | Kind::Speaker { .. } => (4, "wound parts and loudspeakers"),
        _ => (5, "no place noted"),
    };
    (row.0, row.1.to_owned())
}

fn short(text: &str) -> String {
    if text.chars().count() <= LONGEST {
        return text.to_owned();
    }
    let mut cut: String = text.chars().take(LONGEST - 3).collect();
    cut.push_str("...");
    cut
}

/// What a joint is called where it is named and not wired.
fn tag(circuit: &Circuit, node: usize) -> Option<String> {
    let n = circuit.nodes.get(node)?;
    if node == 0 {
        return Some(
            n.names
                .first()
                .cloned()
                .unwrap_or_else(|| "ground".to_owned()),
        );
    }
    if n.terminals.len() <= MOST_WIRED {
        return None;
    }
    Some(match n.names.first() {
        Some(name) => name.clone(),
        // The first terminal names a joint that has no name: no other joint has it.
        None => {
            let (p, t) = n.terminals.first()?;
            let part = circuit.parts.get(p.0)?;
            format!("{}.{}", part.name, part.terminals.get(*t)?.name)
        }
    })
}

pub(super) fn place(circuit: &Circuit) -> Physical<'_> {
    let mut groups: BTreeMap<Key, Vec<usize>> = BTreeMap::new();
    for (i, part) in circuit.parts.iter().enumerate() {
        groups.entry(key(part)).or_default().push(i);
    }
    let mut out = Physical {
        circuit,
        bodies: Vec::new(),
        groups: Vec::new(),
        wires: Vec::new(),
        width: 320,
        height: MARGIN,
    };
    for ((order, title), mut parts) in groups {
        if order == 0 {
            let lug = |i: &usize| {
                let sits = circuit.parts[*i].known.sits.as_deref().unwrap_or_default();
                (lug_order(&board(sits).1), *i)
            };
            parts.sort_by_key(lug);
        }
        group(&mut out, order == 0, &title, &parts);
    }
    let tagged = |node: usize| tag(circuit, node).is_some();
    let ends: BTreeMap<(usize, usize), (i32, i32)> = out
        .bodies
        .iter()
        .flat_map(|b| b.ends.iter().enumerate().map(|(t, e)| ((b.part, t), e.at)))
        .collect();
    for (n, node) in circuit.nodes.iter().enumerate() {
        if tagged(n) {
            continue;
        }
        for pair in node.terminals.windows(2) {
            let at = |(p, t): (wiring::circuit::PartId, usize)| ends.get(&(p.0, t)).copied();
            if let (Some(from), Some(to)) = (at(pair[0]), at(pair[1])) {
                out.wires.push(Wire {
                    node: n,
                    from,
                    to,
                    assumed: node.assumed,
                });
            }
        }
    }
    out.height += MARGIN;
    out
}

/// A board, or a row of parts: at the end of the last line of groups if there is room, else below it.
fn group(out: &mut Physical<'_>, recorded: bool, title: &str, parts: &[usize]) {
    let begun = out.bodies.len();
    stack(out, recorded, title, parts);
    let [.., last, new] = &out.groups[..] else {
        return;
    };
    let x = last.area.x1 + GAP - new.area.x0;
    if new.area.x1 + x > PAGE + 2 * MARGIN {
        return;
    }
    let y = last.area.y0 - new.area.y0;
    let by = |a: Area| Area::new(a.x0 + x, a.y0 + y, a.x1 + x, a.y1 + y);
    for b in &mut out.bodies[begun..] {
        shift(b, x, y);
    }
    if let Some(new) = out.groups.last_mut() {
        new.area = by(new.area);
        new.title_area = by(new.title_area);
        out.width = out.width.max(new.area.x1 + MARGIN);
    }
    out.height = out.groups.iter().map(|g| g.area.y1).max().unwrap_or(0) + GAP;
}

/// The same below all others.
fn stack(out: &mut Physical<'_>, recorded: bool, title: &str, parts: &[usize]) {
    let words = short(title);
    let top = out.height;
    let title_area = Area::new(
        MARGIN + 10,
        top + 6,
        MARGIN + 12 + typeface::width(&words, true),
        top + 6 + LINE,
    );
    let (mut x, mut y, mut tallest) = (MARGIN + 12, top + 6 + LINE + 10, 0);
    let mut right = title_area.x1;
    let mut letters: Option<String> = None;
    for i in parts {
        let part = &out.circuit.parts[*i];
        let mut body = body(out.circuit, *i, part, recorded);
        // Another letter on the lugs is another row of the board.
        let row = recorded.then(|| {
            let sits = part.known.sits.as_deref().unwrap_or_default();
            lug_order(&board(sits).1).0
        });
        let other = letters.is_some() && row != letters;
        letters = row;
        if x > MARGIN + 12 && (x + body.area.width() > PAGE || other) {
            x = MARGIN + 12;
            y += tallest + BETWEEN_ROWS;
            tallest = 0;
        }
        let (dx, dy) = (x - body.area.x0, y - body.area.y0);
        shift(&mut body, dx, dy);
        tallest = tallest.max(body.area.height());
        x += body.area.width() + GAP;
        right = right.max(x - GAP);
        out.bodies.push(body);
    }
    let area = Area::new(MARGIN, top, right + 12, y + tallest + 12);
    out.width = out.width.max(area.x1 + MARGIN);
    out.height = area.y1 + GAP;
    out.groups.push(Group {
        title: words,
        recorded,
        area,
        title_area,
    });
}

fn shift(b: &mut Body, dx: i32, dy: i32) {
    let by = |a: Area| Area::new(a.x0 + dx, a.y0 + dy, a.x1 + dx, a.y1 + dy);
    b.area = by(b.area);
    b.outline = by(b.outline);
    for e in &mut b.ends {
        e.at = (e.at.0 + dx, e.at.1 + dy);
    }
    for t in &mut b.texts {
        t.1 = by(t.1);
    }
}

/// Positions on a socket's circle: one stays free for the gap of a miniature socket; the key of an octal stands between.
fn positions(pins: usize) -> usize {
    match pins {
        7 => 8,
        9 => 10,
        n => n.max(1),
    }
}

fn wide(text: &str, bold: bool) -> i32 {
    typeface::width(text, bold) + 2
}

/// A part at the origin.
fn body(circuit: &Circuit, index: usize, part: &Part, recorded: bool) -> Body {
    let terminals = part.terminals.iter().map(|t| {
        let node = t.node.map(|n| n.0);
        let open = node.is_none_or(|n| {
            circuit
                .nodes
                .get(n)
                .is_none_or(|n| n.terminals.len() < 2 && n.names.is_empty())
        });
        (short(&t.name), node.and_then(|n| tag(circuit, n)), open)
    });
    let terminals: Vec<_> = terminals.collect();
    let mut words = vec![(short(&part.name), true)];
    let value = crate::words::value(part);
    words.extend(value.into_iter().map(|v| (short(&v), false)));
    if part.known.history == Some(wiring::circuit::History::Removed) {
        words.push(("removed".to_owned(), false));
    }
    if recorded {
        let (_, lug) = board(part.known.sits.as_deref().unwrap_or_default());
        if !lug.is_empty() {
            words.push((format!("at {}", short(&lug)), false));
        }
    }
    match (&part.kind, terminals.len()) {
        (Kind::Valve(_), n) if n > 2 => socket(index, &words, &terminals),
        (_, 2) => lead(index, &words, &terminals),
        _ => boxed(index, &words, &terminals),
    }
}

type Terminal = (String, Option<String>, bool);

fn end(at: (i32, i32), t: &Terminal) -> End {
    End {
        at,
        tag: t.1.clone(),
        open: t.2,
    }
}

/// Between two lugs, one above the other.
fn lead(part: usize, words: &[(String, bool)], terminals: &[Terminal]) -> Body {
    let tags = terminals.iter().filter_map(|t| t.1.as_ref());
    let width = words
        .iter()
        .map(|(t, b)| wide(t, *b) + 16)
        .chain(tags.map(|t| wide(&short(t), false) + 4))
        .max()
        .unwrap_or(0)
        .max(56);
    let rows = i32::try_from(words.len()).unwrap_or(1);
    let outline = Area::new(0, 34, width, 34 + rows * LINE + 8);
    let mut texts = Vec::new();
    let mut put = |text: &str, y: i32, bold: bool| {
        let x = (width - wide(text, bold)) / 2;
        texts.push((
            text.to_owned(),
            Area::new(x, y, x + wide(text, bold), y + LINE),
            bold,
        ));
    };
    for (i, (t, b)) in words.iter().enumerate() {
        put(t, 38 + LINE * i32::try_from(i).unwrap_or(0), *b);
    }
    let bottom = outline.y1 + 10;
    let ys = [24, bottom];
    let mut ends = Vec::new();
    for (t, y) in terminals.iter().zip(ys) {
        ends.push(end((width / 2, y), t));
        if let Some(tag) = &t.1 {
            put(&short(tag), if y == 24 { 0 } else { y + 7 }, false);
        }
    }
    Body {
        part,
        area: Area::new(0, 0, width, bottom + 26),
        outline,
        shape: Shape::Lead,
        ends,
        texts,
    }
}

/// Rows `4 ground` under a part of many terminals.
fn listed(terminals: &[Terminal], top: i32) -> (Vec<(String, Area, bool)>, i32, i32) {
    let (mut y, mut width) = (top, 0);
    let mut out = Vec::new();
    let mut by_tag: Vec<(&String, Vec<&str>)> = Vec::new();
    for t in terminals {
        let Some(tag) = &t.1 else { continue };
        match by_tag.iter_mut().find(|(name, _)| *name == tag) {
            Some((_, all)) => all.push(&t.0),
            None => by_tag.push((tag, vec![&t.0])),
        }
    }
    for (tag, names) in by_tag {
        let text = format!("{}: {}", names.join(" "), short(tag));
        let w = wide(&text, false);
        out.push((text, Area::new(0, y, w, y + LINE), false));
        width = width.max(w);
        y += LINE;
    }
    (out, width, y)
}

/// A socket from below: numbers run clockwise from the gap or key, which is at the foot.
fn socket(part: usize, words: &[(String, bool)], terminals: &[Terminal]) -> Body {
    let n = terminals.len();
    let places = positions(n);
    // So large that the numbers inside it do not meet.
    let radius = (18 + i32::try_from(places).unwrap_or(8) * 46 / 10).max(50);
    let label: i32 = words.iter().map(|(t, b)| wide(t, *b)).max().unwrap_or(0);
    let rows = i32::try_from(words.len()).unwrap_or(1);
    let under = 2 * radius + 16;
    let (mut list, listed_width, bottom) = listed(terminals, under + rows * LINE);
    let width = (2 * radius + 14).max(label).max(listed_width);
    let (cx, cy) = (width / 2, radius + 7);
    let mut ends = Vec::new();
    let mut texts = Vec::new();
    for (i, t) in terminals.iter().enumerate() {
        // Half a place past the foot when nothing is left free, a whole one when a place is.
        let first = if places > n { 1.0 } else { 0.5 };
        let turn = (i as f64 + first) / places as f64 * std::f64::consts::TAU;
        let at = |r: f64| {
            (
                cx - (r * turn.sin()).round() as i32,
                cy + (r * turn.cos()).round() as i32,
            )
        };
        ends.push(end(at(f64::from(radius)), t));
        let w = wide(&t.0, false);
        let (x, y) = at(f64::from(radius) - 17.0);
        texts.push((
            t.0.clone(),
            Area::new(x - w / 2, y - 9, x - w / 2 + w, y + 9),
            false,
        ));
    }
    for (i, (t, b)) in words.iter().enumerate() {
        let (x, y) = (
            (width - wide(t, *b)) / 2,
            under + LINE * i32::try_from(i).unwrap_or(0),
        );
        texts.push((t.clone(), Area::new(x, y, x + wide(t, *b), y + LINE), *b));
    }
    texts.append(&mut list);
    Body {
        part,
        area: Area::new(0, 0, width, bottom),
        outline: Area::new(cx - radius, cy - radius, cx + radius, cy + radius),
        shape: Shape::Socket(places),
        ends,
        texts,
    }
}

/// A box with its terminals along the top.
fn boxed(part: usize, words: &[(String, bool)], terminals: &[Terminal]) -> Body {
    let mut texts = Vec::new();
    let mut ends = Vec::new();
    let mut x = 6;
    for t in terminals {
        let w = wide(&t.0, false).max(18);
        let left = x + (w - wide(&t.0, false)) / 2;
        ends.push(end((x + w / 2, 8), t));
        texts.push((
            t.0.clone(),
            Area::new(left, 16, left + wide(&t.0, false), 34),
            false,
        ));
        x += w + 8;
    }
    let label = words
        .iter()
        .map(|(t, b)| wide(t, *b) + 16)
        .max()
        .unwrap_or(0);
    let rows = i32::try_from(words.len()).unwrap_or(1);
    let foot = 40 + rows * LINE + 4;
    let (mut list, listed_width, bottom) = listed(terminals, foot + 4);
    let width = x.max(label).max(listed_width).max(48);
    for (i, (t, b)) in words.iter().enumerate() {
        let (x, y) = (
            (width - wide(t, *b)) / 2,
            40 + LINE * i32::try_from(i).unwrap_or(0),
        );
        texts.push((t.clone(), Area::new(x, y, x + wide(t, *b), y + LINE), *b));
    }
    texts.append(&mut list);
    Body {
        part,
        area: Area::new(0, 0, width, bottom.max(foot + 4)),
        outline: Area::new(0, 8, width, foot),
        shape: Shape::Boxed,
        ends,
        texts,
    }
}
