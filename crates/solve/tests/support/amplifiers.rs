//! Two fictional amplifiers as netlists, from the files in `tests/data`.

use serde_json::Value;
use solve::device::{DiodeLaw, PentodeLaw, RectifierLaw, TriodeLaw};
use solve::netlist::{Transformer, WindingPort};
use solve::{Element, Law, Netlist};

/// 5 W, single-ended.
pub fn single_ended() -> Netlist {
    read(include_str!("../data/single_ended.json"))
}

/// 18 W, two channels, push-pull with fixed bias.
pub fn push_pull() -> Netlist {
    read(include_str!("../data/push_pull.json"))
}

/// 12AX7: set T, our fit to data-sheet rows (remembered sheets, see the valve data).
pub fn high_mu_triode() -> TriodeLaw {
    TriodeLaw {
        k: 0.0012204,
        mu: 104.37,
        x: 1.352,
        w0: 0.17119,
        w1: 0.00092154,
        v0: 0.6408,
        vb: 19.502,
        d: 0.062278,
        wg: 0.079,
        vg0: 0.018,
    }
}

/// 12AU7, in the same way.
pub fn low_mu_triode() -> TriodeLaw {
    TriodeLaw {
        k: 0.0013197,
        mu: 21.597,
        x: 1.3734,
        w0: 0.2024,
        w1: 0.014714,
        v0: 0.20469,
        vb: 26.016,
        d: 0.30097,
        wg: 0.079,
        vg0: 0.018,
    }
}

/// 6V6GT: set P.
pub fn beam_valve() -> PentodeLaw {
    PentodeLaw {
        k: 0.0010547,
        mu: 9.4374,
        x: 1.4214,
        w0: 0.3,
        w1: 0.015772,
        lam: 0.025333,
        s: 0.077095,
        m: 1.0,
        vmin: 4.5864,
        v1: 22.371,
        n: 2.9252,
        r0: 0.61438,
        d: 0.68875,
        wg: 0.15,
        vg0: 0.0,
    }
}

/// EF86: set P, a small pentode.
pub fn small_pentode() -> PentodeLaw {
    PentodeLaw {
        k: 0.0018525,
        mu: 38.902,
        x: 1.4239,
        w0: 0.3,
        w1: 0.0064666,
        lam: 0.0010569,
        s: 0.16994,
        m: 0.16431,
        vmin: 12.246,
        v1: 80.333,
        n: 1.8947,
        r0: 0.59886,
        d: 0.16709,
        wg: 0.15,
        vg0: 0.0,
    }
}

/// A rectifier plate, or a silicon diode of ordinary size (invented numbers).
pub fn diode(kind: &str) -> DiodeLaw {
    let forward = match kind {
        "5Y3GT" => RectifierLaw::Valve(3.1e-4),
        "5AR4" => RectifierLaw::Valve(3.21e-3),
        _ => RectifierLaw::Junction {
            saturation: 2e-9,
            volts: 0.048,
            ohms: 0.04,
        },
    };
    DiodeLaw {
        forward,
        zener: f64::INFINITY,
        leak: 1e-9,
    }
}

fn read(text: &str) -> Netlist {
    let file: Value = serde_json::from_str(text).unwrap();
    let mut netlist = Netlist {
        nodes: vec!["ground".to_owned()],
        hertz: 60.0,
        ..Netlist::default()
    };
    for element in file["elements"].as_array().unwrap() {
        let number = |key: &str| element[key].as_f64().unwrap();
        let kind = element["type"].as_str().unwrap_or_default();
        let mut at = Vec::new();
        for name in element["at"].as_array().into_iter().flatten() {
            at.push(node(&mut netlist, name.as_str().unwrap()));
        }
        let law = match element["kind"].as_str().unwrap() {
            "resistor" => Law::Resistor {
                a: at[0],
                b: at[1],
                ohms: number("ohms"),
            },
            "capacitor" => Law::Capacitor {
                a: at[0],
                b: at[1],
                farads: number("farads"),
                esr_ohms: 0.0,
            },
            "inductor" => Law::Inductor {
                a: at[0],
                b: at[1],
                henries: number("henries"),
                ohms: number("ohms"),
            },
            "source" => Law::Source {
                plus: at[0],
                minus: at[1],
                volts: number("volts"),
                ohms: number("ohms"),
            },
            "alternating" => Law::Alternating {
                a: at[0],
                b: at[1],
                volts: number("volts"),
                hertz: 60.0,
                ohms: number("ohms"),
                mains: false,
            },
            "diode" => Law::Diode {
                a: at[0],
                k: at[1],
                law: diode(kind),
            },
            "triode" => Law::Triode {
                plate: at[0],
                grid: at[1],
                cathode: at[2],
                law: high_mu_triode(),
            },
            "pentode" => Law::Pentode {
                plate: at[0],
                screen: at[1],
                grid: at[2],
                cathode: at[3],
                law: beam_valve(),
            },
            "transformer" => {
                let mut windings = Vec::new();
                for winding in element["windings"].as_array().unwrap() {
                    let ends = &winding["at"];
                    windings.push(WindingPort {
                        a: node(&mut netlist, ends[0].as_str().unwrap()),
                        b: node(&mut netlist, ends[1].as_str().unwrap()),
                        turns: winding["turns"].as_f64().unwrap(),
                        ohms: winding["ohms"].as_f64().unwrap(),
                        leakage: 0.0,
                    });
                }
                let turns = windings[0].turns;
                Law::Transformer(Transformer {
                    windings,
                    henries_per_turn2: number("henries") / (turns * turns),
                    ohms_per_turn2: f64::INFINITY,
                })
            }
            other => panic!("no such kind: {other}"),
        };
        netlist.elements.push(Element {
            name: element["name"].as_str().unwrap().to_owned(),
            law,
        });
    }
    netlist
}

fn node(netlist: &mut Netlist, name: &str) -> usize {
    netlist
        .nodes
        .iter()
        .position(|known| known == name)
        .unwrap_or_else(|| {
            netlist.nodes.push(name.to_owned());
            netlist.nodes.len() - 1
        })
}
