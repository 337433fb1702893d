//! What is joined to what on the page: pins fall into clusters that wires join; clusters of one
//! node that no wire joins carry tags of the same name.

use crate::drawing::{Placed, Wire};
use crate::geometry::{Area, Dir, Point};
use crate::lettering::Taken;
use crate::memory::{Ends, Known};
use crate::piece::{PieceId, PinOf};
use crate::plan::{Class, Plan};
use crate::route::{Board, End, Net, route};
use crate::symbol::Form;
use crate::tag::{Sort, Tag};
use std::collections::BTreeSet;
use wiring::circuit::NodeId;

/// A socket's contact that is further than this from all that it is joined to has no wire, units.
const FAR_SOCKET: i32 = 75;

/// What it costs a tag to stand where a label is expected; grid units of its way.
const LABELLED: i32 = 8;

/// A pin on the page.
#[derive(Debug, Clone, Copy)]
struct Spot {
    piece: PieceId,
    pin: usize,
    at: Point,
    out: Dir,
}

/// Pins and tags that wires join.
#[derive(Debug, Clone, Default)]
struct Cluster {
    node: usize,
    pins: Vec<usize>,
    tags: Vec<usize>,
}

/// The page as far as tags must know it.
struct Ground {
    solid: Vec<Area>,
    soft: Vec<Area>,
    /// The same two by squares of the page.
    taken: Taken,
    expected: Taken,
    /// Symbols of ground.
    lows: Taken,
    points: BTreeSet<Point>,
    tight: Vec<Point>,
}

impl Ground {
    fn add(&mut self, tag: &Tag) {
        let area = tag.area();
        self.solid.push(area);
        self.taken.add(area);
        if matches!(tag.sort, Sort::Ground | Sort::Chassis | Sort::Earth) {
            self.lows.add(area);
        }
    }
}

/// Clusters, missing tags, wires. Where a wire cannot be laid, its pin is cut off and tagged,
/// and all is laid anew; a few times at most.
pub(crate) fn join(
    plan: &Plan<'_>,
    placed: &[Placed],
    given: &[Tag],
    plain: bool,
    known: &Known,
) -> (Vec<Wire>, Vec<Tag>) {
    let mut cut = Cut::default();
    // Wires of the drawing before stay; where one is in the way of a new one, all are laid anew.
    if !known.is_empty() {
        let (wires, tags, again) = attempt(plan, placed, given, plain, &cut, known);
        if again.is_empty() {
            return (wires, tags);
        }
    }
    let none = Known::new();
    let mut result = (Vec::new(), Vec::new());
    for _ in 0..6 {
        let (wires, tags, again) = attempt(plan, placed, given, plain, &cut, &none);
        result = (wires, tags);
        if again.is_empty() {
            break;
        }
        let mut new = false;
        for pin in again {
            if cut.alone.contains(&pin) {
                new |= cut.tight.insert(pin);
            } else {
                new |= cut.alone.insert(pin);
            }
        }
        if !new {
            break;
        }
    }
    result
}

/// Pins that are cut off from their node's wires.
#[derive(Debug, Default)]
struct Cut {
    /// By piece and pin: no wire to the rest.
    alone: BTreeSet<(PieceId, usize)>,
    /// And the tag sits right on the pin.
    tight: BTreeSet<(PieceId, usize)>,
}

fn attempt(
    plan: &Plan<'_>,
    placed: &[Placed],
    given: &[Tag],
    plain: bool,
    cut: &Cut,
    known: &Known,
) -> (Vec<Wire>, Vec<Tag>, Vec<(PieceId, usize)>) {
    let mut tags: Vec<Tag> = given.to_vec();
    let mut spots: Vec<Spot> = Vec::new();
    let mut by_node: Vec<Vec<usize>> = vec![Vec::new(); plan.circuit.nodes.len()];
    for p in placed {
        for k in 0..p.symbol.pins.len() {
            let pin = p.pin(k);
            if let Some(n) = plan.node(p.piece, k) {
                by_node[n.0].push(spots.len());
            }
            spots.push(Spot {
                piece: p.piece,
                pin: k,
                at: pin.at,
                out: pin.out,
            });
        }
    }
    let mut ground = Ground {
        solid: placed.iter().flat_map(Placed::bodies).collect(),
        soft: placed
            .iter()
            .filter_map(|p| {
                crate::label::spots(&plan.pieces[p.piece], &p.symbol)
                    .first()
                    .map(|s| s.area.by(p.at.x, p.at.y))
            })
            .collect(),
        taken: Taken::default(),
        expected: Taken::default(),
        lows: Taken::default(),
        points: spots.iter().map(|s| s.at).collect(),
        tight: Vec::new(),
    };
    for a in &ground.solid {
        ground.taken.add(*a);
    }
    for a in &ground.soft {
        ground.expected.add(*a);
    }
    // A tag that was placed with its neighbours but lies on something is looked for anew.
    tags.retain(|t| {
        let a = t.area();
        let here = Area::round(t.at, 3);
        ground.taken.free(&a) && ground.taken.free(&here)
    });
    for t in &tags {
        ground.add(t);
    }
    let mut clusters: Vec<Cluster> = Vec::new();
    for (n, pins) in by_node.iter().enumerate() {
        clusters.extend(split(plan, n, pins, &spots, &tags, plain, cut));
    }
    ground.tight = spots
        .iter()
        .filter(|s| cut.tight.contains(&(s.piece, s.pin)))
        .map(|s| s.at)
        .collect();
    // Those that have only one place come first, then those whose ground stands straight below them.
    let mut order: Vec<usize> = (0..clusters.len()).collect();
    order.sort_by_key(|c| {
        let tight = clusters[*c]
            .pins
            .iter()
            .any(|p| ground.tight.contains(&spots[*p].at));
        let low = matches!(
            plan.class(NodeId(clusters[*c].node)),
            Class::Ground | Class::Chassis | Class::Earth
        );
        let straight = low && clusters[*c].pins.iter().any(|p| spots[*p].out == Dir::Down);
        (!tight, !straight, *c)
    });
    for c in order {
        let node = clusters[c].node;
        let several = clusters.iter().filter(|k| k.node == node).count() > 1;
        complete(
            plan,
            &mut clusters[c],
            several,
            &spots,
            &mut tags,
            &mut ground,
            plain,
        );
    }
    loose(plan, placed, &mut tags, &ground);
    let mut board = board(placed, &tags, &ground, &spots);
    let nets: Vec<Net> = clusters
        .iter()
        .map(|c| Net {
            ends: c
                .pins
                .iter()
                .map(|p| End {
                    at: spots[*p].at,
                    out: spots[*p].out,
                })
                .chain(
                    c.tags
                        .iter()
                        .filter(|t| !c.pins.iter().any(|p| spots[*p].at == tags[**t].at))
                        .map(|t| End {
                            at: tags[*t].at,
                            out: tags[*t].dir.back(),
                        }),
                )
                .collect(),
        })
        .collect();
    let ends: Vec<Ends> = nets
        .iter()
        .map(|n| {
            let mut ends: Ends = n.ends.iter().map(|e| (e.at, e.out)).collect();
            ends.sort_unstable();
            ends
        })
        .collect();
    let stood: Vec<Option<&[(Point, Point)]>> = ends
        .iter()
        .map(|e| known.get(e).map(Vec::as_slice))
        .collect();
    let routed = route(&mut board, &nets, &stood, if plain { 0 } else { 2 });
    let mut wires = Vec::new();
    let mut again = Vec::new();
    for (c, cluster) in clusters.iter().enumerate() {
        let places: Vec<Point> = nets[c].ends.iter().map(|e| e.at).collect();
        let (runs, mut joints) = board.runs(c, &places);
        // A tag that lies on a pin is one way more.
        for (a, b) in &runs {
            for p in [a, b] {
                let arms: usize = runs
                    .iter()
                    .map(|(x, y)| {
                        if x == p || y == p {
                            1
                        } else if Area::between(*x, *y, 1).holds(&Area::round(*p, 1)) {
                            2
                        } else {
                            0
                        }
                    })
                    .sum();
                let ends = cluster.pins.iter().filter(|i| spots[**i].at == *p).count()
                    + cluster.tags.iter().filter(|t| tags[**t].at == *p).count();
                if arms + ends >= 3 && !joints.contains(p) {
                    joints.push(*p);
                }
            }
        }
        if !runs.is_empty() {
            wires.push(Wire {
                node: cluster.node,
                runs,
                joints,
                ends: ends[c].clone(),
            });
        }
        for i in &routed.failed[c] {
            match cluster.pins.get(*i) {
                Some(p) => again.push((spots[*p].piece, spots[*p].pin)),
                // A tag could not be reached: every pin of a small cluster gets its own.
                None => again.extend(
                    cluster
                        .pins
                        .iter()
                        .take(2)
                        .map(|p| (spots[*p].piece, spots[*p].pin)),
                ),
            }
        }
    }
    (wires, tags, again)
}

/// The board with everything that wires must go round.
fn board(placed: &[Placed], tags: &[Tag], ground: &Ground, spots: &[Spot]) -> Board {
    let mut all: Option<Area> = None;
    for a in ground.solid.iter().chain(&ground.soft) {
        all = Some(all.map_or(*a, |b| b.with(*a)));
    }
    for s in spots {
        let a = Area::round(s.at, 0);
        all = Some(all.map_or(a, |b| b.with(a)));
    }
    let all = all.unwrap_or(Area::new(0, 0, 0, 0));
    let unit = crate::geometry::UNIT;
    let mut board = Board::new(
        Point::new(all.x0.div_euclid(unit) - 8, all.y0.div_euclid(unit) - 8),
        Point::new(all.x1.div_euclid(unit) + 8, all.y1.div_euclid(unit) + 8),
    );
    for a in &ground.soft {
        board.charge(*a, 14);
    }
    for p in placed {
        for b in p.bodies() {
            board.charge(b.wider(14), 3);
        }
    }
    for p in placed {
        for b in p.bodies() {
            board.block(b);
        }
    }
    for t in tags {
        board.block_tag(t.area());
    }
    for s in spots {
        board.close(s.at);
    }
    for t in tags {
        board.close(t.at);
    }
    board
}

/// Pins of one node, by what wires shall join.
fn split(
    plan: &Plan<'_>,
    n: usize,
    pins: &[usize],
    spots: &[Spot],
    tags: &[Tag],
    plain: bool,
    cut: &Cut,
) -> Vec<Cluster> {
    let node = NodeId(n);
    let class = plan.class(node);
    let mut group: Vec<usize> = (0..pins.len()).collect();
    let root = |group: &[usize], mut i: usize| {
        while group[i] != i {
            i = group[i];
        }
        i
    };
    // A contact of a socket at the other end of the page is joined by name: a return that the send feeds while nothing is
    // plugged in.
    let far: Vec<bool> = pins
        .iter()
        .map(|p| {
            let s = &spots[*p];
            let socket = matches!(plan.pieces[s.piece].form, Form::Jack(_) | Form::Phono);
            let others = pins.iter().filter(|q| *q != p);
            let near = others.map(|q| spots[*q].at.far(s.at)).min();
            socket && near.is_some_and(|near| near > FAR_SOCKET)
        })
        .collect();
    let same = |a: usize, b: usize| {
        let (s, t) = (&spots[pins[a]], &spots[pins[b]]);
        let supply = (plan.supply[s.piece], plan.supply[t.piece]);
        match class {
            Class::Signal => supply.0 == supply.1 && !(far[a] || far[b]),
            Class::Rail | Class::Bias => {
                supply == (true, true)
                    || s.piece == t.piece && plan.pieces[s.piece].form == Form::Pot
            }
            // Contacts of one jack that go to ground share a symbol.
            _ => {
                s.piece == t.piece
                    && (s.out == t.out && s.at.far(t.at) <= 4
                        || plan.pieces[s.piece].form == Form::Pot)
            }
        }
    };
    if !plain {
        for a in 0..pins.len() {
            for b in a + 1..pins.len() {
                let alone = [a, b].iter().any(|i| {
                    let s = &spots[pins[*i]];
                    cut.alone.contains(&(s.piece, s.pin))
                });
                if same(a, b) && !alone {
                    let (x, y) = (root(&group, a), root(&group, b));
                    group[x.max(y)] = x.min(y);
                }
            }
        }
    }
    let mut out: Vec<Cluster> = Vec::new();
    for a in 0..pins.len() {
        if root(&group, a) == a {
            out.push(Cluster {
                node: n,
                pins: (0..pins.len())
                    .filter(|b| root(&group, *b) == a)
                    .map(|b| pins[b])
                    .collect(),
                tags: Vec::new(),
            });
        }
    }
    for (t, tag) in tags.iter().enumerate() {
        if tag.node != node {
            continue;
        }
        let near = out
            .iter_mut()
            .filter(|c| {
                c.pins.len() != 1 || {
                    let s = &spots[c.pins[0]];
                    !cut.tight.contains(&(s.piece, s.pin))
                }
            })
            .min_by_key(|c| c.pins.iter().map(|p| spots[*p].at.far(tag.at)).min());
        match near {
            Some(c) => c.tags.push(t),
            None => out.push(Cluster {
                node: n,
                pins: Vec::new(),
                tags: vec![t],
            }),
        }
    }
    out
}

/// The tags that a cluster lacks.
fn complete(
    plan: &Plan<'_>,
    cluster: &mut Cluster,
    several: bool,
    spots: &[Spot],
    tags: &mut Vec<Tag>,
    ground: &mut Ground,
    plain: bool,
) {
    let node = NodeId(cluster.node);
    let class = plan.class(node);
    let names = plan
        .circuit
        .nodes
        .get(node.0)
        .map_or(&[][..], |n| n.names.as_slice());
    let had = !cluster.tags.is_empty();
    let mut add = |sort: Sort, text: String, ground: &mut Ground, pins: &[usize]| {
        let Some(tag) = find(node, sort, &text, pins, spots, ground, plain) else {
            return;
        };
        ground.add(&tag);
        ground.points.insert(tag.at);
        tags.push(tag);
        cluster.tags.push(tags.len() - 1);
    };
    let pins = cluster.pins.clone();
    let earth = pins
        .iter()
        .any(|p| plan.pieces[spots[*p].piece].pins.get(spots[*p].pin) == Some(&PinOf::Mains(2)));
    if pins.is_empty() {
        return;
    }
    if earth && !plain && !had {
        add(Sort::Earth, String::new(), ground, &pins);
        let named = |n: &str| names.iter().any(|x| x == n);
        if named("chassis") && class == Class::Ground {
            add(Sort::Chassis, String::new(), ground, &pins);
        }
        if class == Class::Ground {
            add(Sort::Ground, String::new(), ground, &pins);
        } else if class == Class::Chassis {
            add(Sort::Chassis, String::new(), ground, &pins);
        }
        return;
    }
    if had {
        return;
    }
    let named_text = || plan.tag_text(node);
    if pins.iter().any(|p| ground.tight.contains(&spots[*p].at)) {
        let text = if node.0 == 0 {
            "ground".to_owned()
        } else {
            named_text()
        };
        add(Sort::Named, text, ground, &pins);
        return;
    }
    if plain {
        let sort = if several || !names.is_empty() || node.0 == 0 {
            Sort::Named
        } else {
            Sort::Loose
        };
        let text = if sort == Sort::Named {
            if node.0 == 0 {
                "ground".to_owned()
            } else {
                named_text()
            }
        } else {
            String::new()
        };
        add(sort, text, ground, &pins);
        return;
    }
    match class {
        Class::Ground => add(Sort::Ground, String::new(), ground, &pins),
        Class::Chassis => add(Sort::Chassis, String::new(), ground, &pins),
        Class::Earth => add(Sort::Earth, String::new(), ground, &pins),
        Class::Rail | Class::Bias => {
            if several || !names.is_empty() || pins.len() == 1 {
                add(Sort::Rail, named_text(), ground, &pins);
            }
        }
        Class::Signal => {
            if several {
                add(Sort::Named, named_text(), ground, &pins);
            } else if pins.len() == 1 {
                let put_away = plan
                    .circuit
                    .nodes
                    .get(node.0)
                    .is_some_and(|n| n.unused.is_some());
                if put_away {
                    add(Sort::PutAway, String::new(), ground, &pins);
                } else if names.is_empty() {
                    add(Sort::Loose, String::new(), ground, &pins);
                } else {
                    add(Sort::Named, named_text(), ground, &pins);
                }
            }
        }
    }
}

/// The nearest good place for a tag near one of these pins.
fn find(
    node: NodeId,
    sort: Sort,
    text: &str,
    pins: &[usize],
    spots: &[Spot],
    ground: &Ground,
    plain: bool,
) -> Option<Tag> {
    let wanted = match sort {
        Sort::Ground | Sort::Chassis | Sort::Earth => Some(Dir::Down),
        _ => None,
    };
    let tag = |at: Point, dir: Dir| Tag {
        node,
        sort,
        at,
        dir,
        text: text.to_owned(),
    };
    let free = |t: &Tag| {
        let a = t.area();
        let here = Area::round(t.at, 3);
        ground.taken.free(&a)
            && ground.taken.free(&here)
            && !ground
                .points
                .iter()
                .any(|p| a.wider(2).holds(&Area::round(*p, 0)) && *p != t.at)
    };
    for p in pins {
        let s = &spots[*p];
        if wanted.is_none_or(|w| w == s.out) {
            let t = tag(s.at, s.out);
            // A tag right on the pin: its stub leads away from the symbol.
            if free(&t) || plain {
                return Some(t);
            }
        }
    }
    let dirs: &[Dir] = match (sort, wanted) {
        (_, Some(_)) => &[Dir::Down],
        (Sort::Rail, _) => &[Dir::Up, Dir::Down],
        _ => &[Dir::Right, Dir::Left, Dir::Up, Dir::Down],
    };
    let mut best: Option<(i32, Tag)> = None;
    for p in pins {
        let s = &spots[*p];
        for reach in [6, 14, 30, 60] {
            if best.is_some() {
                break;
            }
            for dy in -reach..=reach {
                for dx in -reach..=reach {
                    if dx == 0 && dy == 0 {
                        continue;
                    }
                    let at = s.at.by(dx, dy);
                    let (ox, oy) = s.out.step();
                    let along = dx * ox + dy * oy;
                    let mut cost: i32 = dx.abs() + dy.abs() + if along <= 0 { 12 } else { 0 };
                    if dx != 0 && dy != 0 {
                        cost += 2;
                    }
                    for dir in dirs {
                        let mut c = cost;
                        if *dir == s.out.back() {
                            c += 6;
                        }
                        if matches!((sort, dir), (Sort::Rail, Dir::Down)) {
                            c += 3;
                        }
                        if best.as_ref().is_some_and(|b| b.0 <= c) {
                            continue;
                        }
                        let t = tag(at, *dir);
                        // Symbols that touch are read as one, and a label would rather stand here.
                        let a = t.area();
                        if wanted.is_some() && !ground.lows.free(&a.wider(5)) {
                            c += 4;
                        }
                        if !ground.expected.free(&a) {
                            c += LABELLED;
                        }
                        if best.as_ref().is_some_and(|b| b.0 <= c) {
                            continue;
                        }
                        // The wire arrives from behind, or from a side for upright tags.
                        let behind = Area::round(at.toward(dir.back(), 1), 4);
                        if ground.points.contains(&at)
                            || !free(&t)
                            || !ground.taken.free(&behind)
                            || ground
                                .points
                                .iter()
                                .any(|q| *q != s.at && behind.holds(&Area::round(*q, 0)))
                        {
                            continue;
                        }
                        best = Some((c, t));
                    }
                }
            }
        }
    }
    best.map(|b| b.1)
}

/// Rings at terminals that no wire has reached.
fn loose(plan: &Plan<'_>, placed: &[Placed], tags: &mut Vec<Tag>, ground: &Ground) {
    for p in placed {
        for k in 0..p.symbol.pins.len() {
            if plan.node(p.piece, k).is_some() {
                continue;
            }
            let pin = p.pin(k);
            let t = Tag {
                node: NodeId(usize::MAX),
                sort: Sort::Loose,
                at: pin.at,
                dir: pin.out,
                text: String::new(),
            };
            let a = t.area();
            if ground.taken.free(&a) {
                tags.push(t);
            }
        }
    }
}
