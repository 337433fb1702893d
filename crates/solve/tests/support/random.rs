//! Random circuits with valves, healthy and not.

use rand::{RngExt as _, SeedableRng};
use rand_chacha::ChaCha8Rng;
use solve::device::{DiodeLaw, RectifierLaw};
use solve::{Element, Law, Netlist};

use super::amplifiers::{beam_valve, diode, high_mu_triode, low_mu_triode, small_pentode};

/// A random circuit of 2 to 40 nodes, the same for the same seed.
///
/// One half is stages as they are built (a supply, plate loads, cathode resistors, grid leaks)
/// with parts then opened, shorted or moved; the other half is any element between any nodes.
/// Nodes may float. Amplifiers have a gain of at most one where their output can reach their
/// input: with more, an ideal amplifier can outrun every current that the rest can draw,
/// and such a circuit has no operating point.
pub fn any_circuit(seed: u64) -> Netlist {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut netlist = Netlist::default();
    let count = rng.random_range(2..=40_usize);
    netlist.nodes = (0..count).map(|node| format!("n{node}")).collect();
    if rng.random_bool(0.5) {
        stages(&mut rng, &mut netlist);
    } else {
        anything(&mut rng, &mut netlist);
    }
    damage(&mut rng, &mut netlist, count);
    netlist
}

fn push(netlist: &mut Netlist, name: &str, law: Law) {
    let name = format!("{name}{}", netlist.elements.len());
    netlist.elements.push(Element { name, law });
}

fn resistor(netlist: &mut Netlist, a: usize, b: usize, ohms: f64) {
    push(netlist, "R", Law::Resistor { a, b, ohms });
}

fn log(rng: &mut ChaCha8Rng, low: f64, high: f64) -> f64 {
    (rng.random_range(low.ln()..high.ln())).exp()
}

fn emission(rng: &mut ChaCha8Rng) -> f64 {
    if rng.random_bool(0.1) {
        0.0
    } else {
        rng.random_range(0.05..1.4)
    }
}

fn triode(rng: &mut ChaCha8Rng, plate: usize, grid: usize, cathode: usize) -> Law {
    let mut law = if rng.random_bool(0.6) {
        high_mu_triode()
    } else {
        low_mu_triode()
    };
    law.k *= emission(rng);
    Law::Triode {
        plate,
        grid,
        cathode,
        law,
    }
}

fn pentode(rng: &mut ChaCha8Rng, plate: usize, screen: usize, grid: usize, cathode: usize) -> Law {
    let mut law = if rng.random_bool(0.7) {
        beam_valve()
    } else {
        small_pentode()
    };
    law.k *= emission(rng);
    Law::Pentode {
        plate,
        screen,
        grid,
        cathode,
        law,
    }
}

fn any_diode(rng: &mut ChaCha8Rng) -> DiodeLaw {
    match rng.random_range(0..5) {
        0 => diode("5Y3GT"),
        1 => diode("5AR4"),
        2 => diode("silicon"),
        3 => DiodeLaw {
            zener: rng.random_range(5.0..150.0),
            ..diode("silicon")
        },
        _ => DiodeLaw {
            forward: RectifierLaw::Ideal { ohms: 0.1 },
            zener: f64::INFINITY,
            leak: 1e-9,
        },
    }
}

/// Stages in a row on one supply.
fn stages(rng: &mut ChaCha8Rng, netlist: &mut Netlist) {
    let count = netlist.nodes.len();
    let supply = 1;
    let volts = rng.random_range(80.0..500.0);
    let ohms = log(rng, 1.0, 5e3);
    push(
        netlist,
        "S",
        Law::Source {
            plus: supply,
            minus: 0,
            volts,
            ohms,
        },
    );
    let (mut rail, mut last, mut next) = (supply, 0, 2);
    while next + 4 < count {
        match rng.random_range(0..8) {
            0..3 => {
                let (plate, grid, cathode) = (next, next + 1, next + 2);
                next += 3;
                resistor(netlist, rail, plate, log(rng, 2.2e4, 4.7e5));
                resistor(netlist, grid, 0, log(rng, 1e5, 1e7));
                resistor(netlist, cathode, 0, log(rng, 470.0, 1e4));
                let law = triode(rng, plate, grid, cathode);
                push(netlist, "V", law);
                if rng.random_bool(0.3) {
                    // A stage tied straight to the plate before it.
                    resistor(netlist, last, grid, log(rng, 1.0, 1e6));
                }
                last = plate;
            }
            3 => {
                let (grid, cathode) = (next, next + 1);
                next += 2;
                resistor(netlist, last, grid, log(rng, 1.0, 1e6));
                resistor(netlist, cathode, 0, log(rng, 1e4, 2.2e5));
                let law = triode(rng, rail, grid, cathode);
                push(netlist, "V", law);
                last = cathode;
            }
            4 => {
                let (plate, screen, grid, cathode) = (next, next + 1, next + 2, next + 3);
                next += 4;
                resistor(netlist, rail, plate, log(rng, 50.0, 2.2e5));
                resistor(netlist, rail, screen, log(rng, 100.0, 1e6));
                resistor(netlist, grid, 0, log(rng, 1e5, 1e6));
                resistor(netlist, cathode, 0, log(rng, 1.0, 2e3));
                let law = pentode(rng, plate, screen, grid, cathode);
                push(netlist, "V", law);
                last = plate;
            }
            5 => {
                let after = next;
                next += 1;
                resistor(netlist, rail, after, log(rng, 100.0, 1e5));
                rail = after;
            }
            6 => {
                let (a, k) = (last, next);
                next += 1;
                let law = any_diode(rng);
                push(netlist, "D", Law::Diode { a, k, law });
                resistor(netlist, k, 0, log(rng, 100.0, 1e6));
            }
            _ => {
                let output = next;
                next += 1;
                let gain = rng.random_range(-1.0..1.0);
                push(
                    netlist,
                    "U",
                    Law::Amplifier {
                        input: last,
                        output,
                        gain,
                    },
                );
                let to = rng.random_range(0..next);
                resistor(netlist, output, to, log(rng, 10.0, 1e6));
            }
        }
    }
    // What is left floats, or hangs on something.
    for node in next..count {
        if rng.random_bool(0.6) {
            let other = rng.random_range(0..count);
            resistor(netlist, node, other, log(rng, 1.0, 1e9));
        }
    }
}

/// Any element between any nodes.
fn anything(rng: &mut ChaCha8Rng, netlist: &mut Netlist) {
    let count = netlist.nodes.len();
    for _ in 0..rng.random_range(1..=3 * count) {
        let mut node = || rng.random_range(0..count);
        let [a, b, c, d] = [node(), node(), node(), node()];
        match rng.random_range(0..20) {
            0 => {
                let volts = rng.random_range(-450.0..450.0);
                let ohms = log(rng, 0.05, 1e5);
                push(
                    netlist,
                    "S",
                    Law::Source {
                        plus: a,
                        minus: b,
                        volts,
                        ohms,
                    },
                );
            }
            1..4 => {
                let law = triode(rng, a, b, c);
                push(netlist, "V", law);
            }
            4..6 => {
                let law = pentode(rng, a, b, c, d);
                push(netlist, "V", law);
            }
            6..8 => {
                let law = any_diode(rng);
                push(netlist, "D", Law::Diode { a, k: b, law });
            }
            8 => {
                let gain = rng.random_range(-1.0..1.0);
                if b != 0 {
                    push(
                        netlist,
                        "U",
                        Law::Amplifier {
                            input: a,
                            output: b,
                            gain,
                        },
                    );
                }
            }
            9 => {
                // Gain, on a load of its own.
                netlist.nodes.push(format!("n{}", netlist.nodes.len()));
                let output = netlist.nodes.len() - 1;
                let gain = rng.random_range(-50.0..50.0);
                push(
                    netlist,
                    "U",
                    Law::Amplifier {
                        input: a,
                        output,
                        gain,
                    },
                );
                resistor(netlist, output, 0, log(rng, 10.0, 1e6));
            }
            _ => resistor(netlist, a, b, log(rng, 1.0, 1e9)),
        }
    }
}

/// Opens, shorts and a source across anything.
///
/// Among the first `count` nodes: the outputs of amplifiers with gain stay by themselves.
fn damage(rng: &mut ChaCha8Rng, netlist: &mut Netlist, count: usize) {
    for element in &mut netlist.elements {
        if let Law::Resistor { ohms, .. } = &mut element.law {
            if rng.random_bool(0.04) {
                *ohms = 1e10;
            } else if rng.random_bool(0.04) {
                *ohms = 0.05;
            }
        }
    }
    for _ in 0..rng.random_range(0..3) {
        let (a, b) = (rng.random_range(0..count), rng.random_range(0..count));
        resistor(
            netlist,
            a,
            b,
            if rng.random_bool(0.5) { 0.05 } else { 1e10 },
        );
    }
}
