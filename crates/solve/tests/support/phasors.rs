//! A second opinion on phasors: every element written down once more into a full matrix, solved
//! by `nalgebra`. It shares the device laws with the engine and nothing else.

use nalgebra::{Complex, DMatrix, DVector};
use solve::operating::Solution;
use solve::{AMPLIFIER_OHMS, FLOOR_SIEMENS, LEAK_SIEMENS, Law, Netlist};

type C = Complex<f64>;

/// Volts of every node (ground first) per volt of the source `source`, at `hertz`.
pub fn phasors(netlist: &Netlist, at: &Solution, source: usize, hertz: f64) -> Vec<C> {
    let nodes = netlist.nodes.len();
    let extra = netlist
        .elements
        .iter()
        .filter(|e| matches!(e.law, Law::Amplifier { .. } | Law::Transformer(_)))
        .count();
    let size = nodes + extra;
    let s = C::new(0.0, std::f64::consts::TAU * hertz);
    let one = C::new(1.0, 0.0);
    // Ground has a row too; it is struck out at the end.
    let mut m = DMatrix::<C>::zeros(size, size);
    let mut right = DVector::<C>::zeros(size);
    for node in 1..nodes {
        m[(node, node)] += C::new(FLOOR_SIEMENS, 0.0);
    }
    let mut own = nodes;
    // `slope` times the volts of `c` over `d` flows from `a` to `b`.
    let flow = |m: &mut DMatrix<C>, (a, b): (usize, usize), (c, d): (usize, usize), slope: C| {
        m[(a, c)] += slope;
        m[(a, d)] -= slope;
        m[(b, c)] -= slope;
        m[(b, d)] += slope;
    };
    let real = |v: f64| C::new(v, 0.0);
    for (number, element) in netlist.elements.iter().enumerate() {
        match &element.law {
            Law::Resistor { a, b, ohms } => flow(&mut m, (*a, *b), (*a, *b), real(1.0 / ohms)),
            Law::Alternating { a, b, ohms, .. }
            | Law::Source {
                plus: a,
                minus: b,
                ohms,
                ..
            } => {
                flow(&mut m, (*a, *b), (*a, *b), real(1.0 / ohms));
                if number == source {
                    right[*a] += real(1.0 / ohms);
                    right[*b] -= real(1.0 / ohms);
                }
            }
            Law::Capacitor {
                a,
                b,
                farads,
                esr_ohms,
            } => {
                let y = one / (one / (s * *farads) + *esr_ohms);
                flow(&mut m, (*a, *b), (*a, *b), y);
            }
            Law::Inductor {
                a,
                b,
                henries,
                ohms,
            } => flow(&mut m, (*a, *b), (*a, *b), one / (s * *henries + *ohms)),
            Law::Transformer(t) => {
                m[(own, own)] +=
                    one / (s * t.henries_per_turn2) + real(1.0 / t.ohms_per_turn2 + 1e-15);
                for w in &t.windings {
                    let y = one / (s * w.leakage + w.ohms);
                    flow(&mut m, (w.a, w.b), (w.a, w.b), y);
                    m[(w.a, own)] -= y * w.turns;
                    m[(w.b, own)] += y * w.turns;
                    m[(own, w.a)] -= y * w.turns;
                    m[(own, w.b)] += y * w.turns;
                    m[(own, own)] += y * w.turns * w.turns;
                }
                own += 1;
            }
            Law::Amplifier {
                input,
                output,
                gain,
            } => {
                m[(*output, own)] += one;
                m[(own, *output)] += one;
                m[(own, *input)] -= real(*gain);
                m[(own, own)] -= real(AMPLIFIER_OHMS);
                own += 1;
            }
            Law::Diode { a, k, law } => {
                let slope = law.current(at.across(*a, *k)).1;
                flow(&mut m, (*a, *k), (*a, *k), real(slope));
            }
            Law::Triode {
                plate: p,
                grid: g,
                cathode: k,
                law,
            } => {
                let (p, g, k) = (*p, *g, *k);
                let d = law.currents(at.across(p, k), at.across(g, k));
                flow(
                    &mut m,
                    (p, k),
                    (p, k),
                    real(d.plate_by_plate + LEAK_SIEMENS),
                );
                flow(&mut m, (p, k), (g, k), real(d.plate_by_grid));
                flow(&mut m, (g, k), (p, k), real(d.grid_by_plate));
                flow(&mut m, (g, k), (g, k), real(d.grid_by_grid));
            }
            Law::Pentode {
                plate: p,
                screen: s2,
                grid: g,
                cathode: k,
                law,
            } => {
                let (p, s2, g, k) = (*p, *s2, *g, *k);
                let d = law.currents(at.across(p, k), at.across(s2, k), at.across(g, k));
                flow(&mut m, (p, k), (p, k), real(LEAK_SIEMENS));
                for (end, d) in [(p, d.plate), (s2, d.screen), (g, d.grid)] {
                    flow(&mut m, (end, k), (p, k), real(d.by_plate));
                    flow(&mut m, (end, k), (s2, k), real(d.by_screen));
                    flow(&mut m, (end, k), (g, k), real(d.by_grid));
                }
            }
            other => panic!("not in these circuits: {other:?}"),
        }
    }
    let m = m.remove_row(0).remove_column(0);
    let x = m.lu().solve(&right.remove_row(0)).unwrap();
    let mut by_node = vec![C::new(0.0, 0.0)];
    by_node.extend(x.iter().take(nodes - 1));
    by_node
}
