//! Windings as ports: from taps along the wire to the sections between those that are wired.

use crate::netlist::{NodeIndex, WindingPort};

/// A place on a winding where a lead comes out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Tap {
    /// Its node, if it is wired.
    pub(super) node: Option<NodeIndex>,
    /// Turns from a reference; the in-phase end has the most.
    pub(super) turns: f64,
    /// Ohms of the wire from the winding's first end.
    pub(super) ohms: f64,
    /// Leakage henries from the winding's first end.
    pub(super) leakage: f64,
}

/// The sections between wired taps, in winding order; a stretch that ends in an unwired lead
/// carries nothing and is left out. `a` is the in-phase end of each.
pub(super) fn ports(taps: &[Tap]) -> Vec<WindingPort> {
    let wired: Vec<(NodeIndex, &Tap)> = taps.iter().filter_map(|t| Some((t.node?, t))).collect();
    let pairs = wired.windows(2);
    pairs
        .filter_map(|pair| {
            let [(n0, t0), (n1, t1)] = pair else {
                return None;
            };
            let (a, b) = if t0.turns >= t1.turns {
                (*n0, *n1)
            } else {
                (*n1, *n0)
            };
            Some(WindingPort {
                a,
                b,
                turns: finite((t0.turns - t1.turns).abs()),
                ohms: super::builder::sound_ohms((t1.ohms - t0.ohms).abs()),
                leakage: finite((t1.leakage - t0.leakage).abs()),
            })
        })
        .collect()
}

fn finite(figure: f64) -> f64 {
    if figure.is_finite() { figure } else { 0.0 }
}

/// Assumed ohms of a winding, as a note says them.
pub(super) fn said_ohms(ohms: f64) -> String {
    if ohms >= 100.0 {
        format!("{ohms:.0}")
    } else if ohms >= 1.0 {
        format!("{ohms:.1}")
    } else {
        format!("{ohms:.3}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tap(node: Option<usize>, turns: f64, ohms: f64) -> Tap {
        Tap {
            node,
            turns,
            ohms,
            leakage: 0.0,
        }
    }

    #[test]
    fn sections_join_over_taps_that_are_not_wired() {
        let all = [
            tap(Some(1), 300.0, 0.0),
            tap(Some(2), 0.0, 90.0),
            tap(Some(3), -300.0, 180.0),
        ];
        let p = ports(&all);
        assert_eq!(p.len(), 2);
        assert_eq!((p[0].a, p[0].b, p[0].turns, p[0].ohms), (1, 2, 300.0, 90.0));
        assert_eq!((p[1].a, p[1].b), (2, 3));

        let p = ports(&[all[0], tap(None, 0.0, 90.0), all[2]]);
        assert_eq!(p.len(), 1);
        assert_eq!((p[0].turns, p[0].ohms), (600.0, 180.0));

        assert!(ports(&[all[0], tap(None, 0.0, 90.0)]).is_empty());
        // A rising winding has its in-phase end last.
        let p = ports(&[tap(Some(4), 0.0, 0.0), tap(Some(5), 110.0, 8.0)]);
        assert_eq!((p[0].a, p[0].b, p[0].turns), (5, 4, 110.0));
    }
}
