//! Circuits typed in place, and a plain dense solution of their linear part.

use std::collections::BTreeMap;

use wiring::circuit::{
    Electrode, History, Kind, Known, Measured, MeasuredValue, Node, Part, PinUse, Position,
    Setting, Terminal, Valve,
};
use wiring::sheet::Library;
use wiring::{Circuit, Conditions, NodeId, PartId, Place};

use crate::assemble::{AssembleOptions, Assembly, assemble};
use crate::netlist::{Law, Netlist};

/// A circuit that grows part by part; node names are points, an empty name is not wired.
#[derive(Default)]
pub(super) struct Bench {
    pub(super) circuit: Circuit,
    names: BTreeMap<String, usize>,
}

impl Bench {
    pub(super) fn new() -> Self {
        let mut bench = Self::default();
        bench.node("ground");
        bench
    }

    fn node(&mut self, name: &str) -> NodeId {
        let nodes = &mut self.circuit.nodes;
        let index = *self.names.entry(name.to_owned()).or_insert_with(|| {
            nodes.push(Node {
                names: vec![name.to_owned()],
                ..Node::default()
            });
            nodes.len() - 1
        });
        NodeId(index)
    }

    /// Adds a part; each lead is a terminal name and the point it goes to.
    pub(super) fn part(&mut self, name: &str, kind: Kind, leads: &[(&str, &str)]) -> &mut Part {
        let id = PartId(self.circuit.parts.len());
        let mut terminals = Vec::new();
        for (i, (terminal, point)) in leads.iter().enumerate() {
            let node = (!point.is_empty()).then(|| self.node(point));
            if let Some(NodeId(n)) = node {
                self.circuit.nodes[n].terminals.push((id, i));
            }
            terminals.push(Terminal {
                name: (*terminal).to_owned(),
                node,
            });
        }
        self.circuit.parts.push(Part {
            name: name.to_owned(),
            parent: None,
            kind,
            terminals,
            known: Known::default(),
            place: Place::default(),
            assumed: false,
        });
        self.circuit.parts.last_mut().unwrap()
    }

    pub(super) fn resistor(&mut self, name: &str, ohms: f64, a: &str, b: &str) -> &mut Part {
        let kind = Kind::Resistor { ohms: Some(ohms) };
        self.part(name, kind, &[("1", a), ("2", b)])
    }

    pub(super) fn supply(&mut self, volts: f64, plus: &str, minus: &str) -> &mut Part {
        let kind = Kind::Supply {
            volts: Some(volts),
            ohms: 0.0,
        };
        self.part("PS1", kind, &[("plus", plus), ("minus", minus)])
    }

    pub(super) fn set(&mut self, name: &str, to: Position) {
        self.circuit.sets.push(setting(name, to));
    }

    pub(super) fn assemble(&self) -> Assembly {
        self.assemble_under(&Conditions::default())
    }

    pub(super) fn assemble_under(&self, conditions: &Conditions) -> Assembly {
        assemble(
            &self.circuit,
            Library::built_in(),
            conditions,
            &AssembleOptions::default(),
        )
    }

    /// Volts of a point against ground, all valves and diodes left out.
    pub(super) fn volts(&self, point: &str) -> f64 {
        self.volts_under(&Conditions::default(), point)
    }

    pub(super) fn volts_under(&self, conditions: &Conditions, point: &str) -> f64 {
        let assembly = self.assemble_under(conditions);
        let node = assembly.node_of[self.names[point]].expect("the point is in the netlist");
        linear_volts(&assembly.netlist)[node]
    }
}

pub(super) fn setting(name: &str, to: Position) -> Setting {
    Setting {
        name: name.to_owned(),
        to,
        place: Place::default(),
    }
}

pub(super) fn read(value: MeasuredValue, in_circuit: bool) -> Option<Measured> {
    Some(Measured { value, in_circuit })
}

pub(super) fn removed(part: &mut Part) {
    part.known.history = Some(History::Removed);
}

/// A twin triode socket with its pins where a 12AX7 has them.
pub(super) fn twin_triode() -> Valve {
    let mut electrodes = Vec::new();
    for (terminal, section, electrode) in [
        (0, Some('a'), Electrode::Plate),
        (1, Some('a'), Electrode::Grid),
        (2, Some('a'), Electrode::Cathode),
        (3, None, Electrode::Heater1),
        (4, None, Electrode::Heater2),
        (5, Some('b'), Electrode::Plate),
        (6, Some('b'), Electrode::Grid),
        (7, Some('b'), Electrode::Cathode),
        (8, None, Electrode::HeaterTap),
    ] {
        electrodes.push(PinUse {
            terminal,
            section,
            electrode,
        });
    }
    Valve {
        meant: "12AX7".to_owned(),
        fitted: None,
        emission: None,
        electrodes,
        limits: wiring::circuit::ValveLimits::default(),
        like: None,
    }
}

/// Node volts of the linear elements at direct current, by elimination with full pivoting of
/// rows; a floating node is held by a trillionth of a siemens.
pub(super) fn linear_volts(netlist: &Netlist) -> Vec<f64> {
    let n = netlist.nodes.len();
    let mut g = vec![vec![0.0_f64; n + 1]; n];
    let mut join = |a: usize, b: usize, siemens: f64, amps_into_a: f64| {
        g[a][a] += siemens;
        g[b][b] += siemens;
        g[a][b] -= siemens;
        g[b][a] -= siemens;
        g[a][n] += amps_into_a;
        g[b][n] -= amps_into_a;
    };
    for element in &netlist.elements {
        match &element.law {
            Law::Resistor { a, b, ohms } | Law::Inductor { a, b, ohms, .. } => {
                join(*a, *b, 1.0 / ohms, 0.0);
            }
            Law::Alternating { a, b, ohms, .. } => join(*a, *b, 1.0 / ohms, 0.0),
            Law::Source {
                plus,
                minus,
                volts,
                ohms,
            } => join(*plus, *minus, 1.0 / ohms, volts / ohms),
            Law::Transformer(t) => {
                for w in &t.windings {
                    join(w.a, w.b, 1.0 / w.ohms, 0.0);
                }
            }
            _ => {}
        }
    }
    for (i, row) in g.iter_mut().enumerate() {
        row[i] += 1e-12;
    }
    for row in &mut g {
        row[0] = 0.0;
    }
    g[0] = vec![0.0; n + 1];
    g[0][0] = 1.0;
    for k in 0..n {
        let best = (k..n)
            .max_by(|x, y| g[*x][k].abs().total_cmp(&g[*y][k].abs()))
            .unwrap();
        g.swap(k, best);
        for i in k + 1..n {
            let f = g[i][k] / g[k][k];
            if f != 0.0 {
                let pivot = g[k].clone();
                for (x, p) in g[i].iter_mut().zip(&pivot).skip(k) {
                    *x -= f * p;
                }
            }
        }
    }
    let mut v = vec![0.0; n];
    for k in (0..n).rev() {
        let known: f64 = (k + 1..n).map(|j| g[k][j] * v[j]).sum();
        v[k] = (g[k][n] - known) / g[k][k];
    }
    v
}
