//! One part on one side that is several on the other: side by side or in a chain.
//!
//! Looked for once the nets are laid on each other: a part of the one stands between two nets; on
//! the other side these nets are bridged by parts of its sort that have no counterpart of their own
//! and make up its value.

use super::cost::{Differs, EDIT, differs, of_values};
use super::graph::{Graph, NONE, Sort};
use super::matching::Match;

/// Several parts that stand for one.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Combined {
    /// Things of the amp.
    pub(super) here: Vec<usize>,
    /// Things of the drawing.
    pub(super) there: Vec<usize>,
    /// In a chain; otherwise side by side.
    pub(super) chain: bool,
    /// What they make together.
    pub(super) value: f64,
    /// How the amp's value differs from the drawing's.
    pub(super) differs: Differs,
}

/// No more parts than this stand for one.
const MOST: usize = 4;

/// Finds them; their things are left without a counterpart in `m`.
pub(super) fn find(a: &Graph, b: &Graph, m: &mut Match) -> Vec<Combined> {
    let mut found = Vec::new();
    // One on the drawing, several in the amp; then the other way round.
    for swapped in [false, true] {
        let (one, many) = if swapped { (a, b) } else { (b, a) };
        for single in 0..one.things.len() {
            let thing = &one.things[single];
            let (Some(value), true) = (thing.value, combines(thing.sort)) else {
                continue;
            };
            let (to_many, partner) = if swapped {
                (&m.net_there, m.there[single])
            } else {
                (&m.net_here, m.here[single])
            };
            let [e, f] = thing.ends.as_slice() else {
                continue;
            };
            let net = |x: usize| to_many.get(x).copied().unwrap_or(NONE);
            let (x, y) = (net(e.net), net(f.net));
            if x == NONE || y == NONE || x == y {
                continue;
            }
            // Already the same: nothing to explain.
            if partner != NONE {
                let t = &many.things[partner];
                let at = |n: usize| t.ends.iter().any(|q| q.net == n);
                let (h, d) = if swapped { (thing, t) } else { (t, thing) };
                if at(x) && at(y) && differs(h, d) != Differs::Value {
                    continue;
                }
            }
            let lone = |t: usize| {
                t == partner
                    || if swapped {
                        m.here[t] == NONE
                    } else {
                        m.there[t] == NONE
                    }
            };
            let fits = |group: &[usize], chain: bool| -> Option<(f64, Differs)> {
                let made = together(many, thing.sort, group, chain)?;
                let d = if swapped {
                    of_values(value, made, thing.tolerance)
                } else {
                    of_values(made, value, thing.tolerance)
                };
                (d.cost() < EDIT).then_some((made, d))
            };
            let parallel: Vec<usize> = (0..many.things.len())
                .filter(|t| many.things[*t].sort == thing.sort && lone(*t) && spans(many, *t, x, y))
                .take(MOST)
                .collect();
            let mut chosen = None;
            if parallel.len() > 1
                && let Some((made, d)) = fits(&parallel, false)
            {
                chosen = Some((parallel, false, made, d));
            }
            if chosen.is_none() {
                let chain = chain(many, thing.sort, x, y, &lone);
                if chain.len() > 1
                    && let Some((made, d)) = fits(&chain, true)
                {
                    chosen = Some((chain, true, made, d));
                }
            }
            let Some((group, chain, value, differs)) = chosen else {
                continue;
            };
            if swapped {
                m.part(single);
                found.push(Combined {
                    here: vec![single],
                    there: group,
                    chain,
                    value,
                    differs,
                });
            } else {
                if partner != NONE {
                    m.part(partner);
                }
                found.push(Combined {
                    here: group,
                    there: vec![single],
                    chain,
                    value,
                    differs,
                });
            }
        }
    }
    found
}

fn combines(sort: Sort) -> bool {
    matches!(sort, Sort::Resistor | Sort::Capacitor | Sort::Choke)
}

fn spans(g: &Graph, t: usize, x: usize, y: usize) -> bool {
    let [e, f] = g.things[t].ends.as_slice() else {
        return false;
    };
    (e.net == x && f.net == y) || (e.net == y && f.net == x)
}

/// The value of a group in the part's own unit.
fn together(g: &Graph, sort: Sort, group: &[usize], chain: bool) -> Option<f64> {
    let values: Option<Vec<f64>> = group
        .iter()
        .map(|t| g.things[*t].value.filter(|v| *v > 0.0))
        .collect();
    let values = values?;
    let adds = chain != (sort == Sort::Capacitor);
    Some(if adds {
        values.iter().sum()
    } else {
        1.0 / values.iter().map(|v| 1.0 / v).sum::<f64>()
    })
}

/// Parts of a sort in a chain from `x` to `y`, with nothing else on the wires between them.
fn chain(g: &Graph, sort: Sort, x: usize, y: usize, lone: &impl Fn(usize) -> bool) -> Vec<usize> {
    for (start, _) in &g.nets[x].ends {
        let (mut at, mut thing, mut list) = (x, *start, Vec::new());
        while list.len() < MOST
            && g.things[thing].sort == sort
            && lone(thing)
            && !list.contains(&thing)
        {
            list.push(thing);
            let Some(end) = g.things[thing].ends.iter().find(|e| e.net != at) else {
                break;
            };
            at = end.net;
            if at == y {
                return list;
            }
            let Some(net) = g
                .nets
                .get(at)
                .filter(|n| n.ends.len() == 2 && n.anchor.is_none())
            else {
                break;
            };
            let Some((next, _)) = net.ends.iter().find(|(t, _)| *t != thing) else {
                break;
            };
            thing = *next;
        }
    }
    Vec::new()
}
