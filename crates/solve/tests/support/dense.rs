//! A second opinion: residuals written down element by element, a Jacobian by differences, and
//! dense elimination by `nalgebra`. It shares the device laws with the engine and nothing else.

use nalgebra::{DMatrix, DVector};
use solve::{AMPLIFIER_OHMS, FLOOR_SIEMENS, LEAK_SIEMENS, Law, Netlist};

/// Residuals, and the sum of the absolute terms of each, at `x`: volts of nodes 1.., then
/// amperes into the amplifiers' outputs. `lit` are the glow lamps that are lit.
pub fn residual(netlist: &Netlist, lit: &[usize], x: &[f64]) -> (Vec<f64>, Vec<f64>) {
    let nodes = netlist.nodes.len();
    let volts = |node: usize| if node == 0 { 0.0 } else { x[node - 1] };
    let (mut sum, mut size) = (vec![0.0; x.len() + 1], vec![0.0; x.len() + 1]);
    // Sums keep what rounding takes from them (Neumaier, ZAMM 54, 1974, from memory, not seen):
    // a floor conductance's current beside a short's thousand amperes counts.
    let mut lost = vec![0.0; x.len() + 1];
    let mut out = |node: usize, amps: f64| {
        let before: f64 = sum[node];
        let after = before + amps;
        lost[node] += if before.abs() >= amps.abs() {
            (before - after) + amps
        } else {
            (amps - after) + before
        };
        sum[node] = after;
        size[node] += amps.abs();
    };
    for node in 1..nodes {
        out(node, FLOOR_SIEMENS * volts(node));
    }
    let mut amplifier = nodes;
    for (index, element) in netlist.elements.iter().enumerate() {
        let mut through = |a: usize, b: usize, amps: f64| {
            out(a, amps);
            out(b, -amps);
        };
        match &element.law {
            Law::Capacitor { .. } => {}
            Law::Resistor { a, b, ohms }
            | Law::Inductor { a, b, ohms, .. }
            | Law::Alternating { a, b, ohms, .. } => {
                through(*a, *b, (volts(*a) - volts(*b)) / ohms);
            }
            Law::Source {
                plus,
                minus,
                volts: emf,
                ohms,
            } => through(*plus, *minus, (volts(*plus) - volts(*minus) - emf) / ohms),
            Law::Transformer(transformer) => {
                for w in &transformer.windings {
                    through(w.a, w.b, (volts(w.a) - volts(w.b)) / w.ohms);
                }
            }
            Law::Amplifier {
                input,
                output,
                gain,
            } => {
                let amps = x[amplifier - 1];
                out(*output, amps);
                out(amplifier, volts(*output));
                out(amplifier, -gain * volts(*input));
                out(amplifier, -AMPLIFIER_OHMS * amps);
                amplifier += 1;
            }
            Law::Triode {
                plate,
                grid,
                cathode,
                law,
            } => {
                let across = volts(*plate) - volts(*cathode);
                let at = law.currents(across, volts(*grid) - volts(*cathode));
                through(*plate, *cathode, at.plate_a + LEAK_SIEMENS * across);
                through(*grid, *cathode, at.grid_a);
            }
            Law::Pentode {
                plate,
                screen,
                grid,
                cathode,
                law,
            } => {
                let k = volts(*cathode);
                let across = volts(*plate) - k;
                let at = law.currents(across, volts(*screen) - k, volts(*grid) - k);
                through(*plate, *cathode, at.plate.amps + LEAK_SIEMENS * across);
                through(*screen, *cathode, at.screen.amps);
                through(*grid, *cathode, at.grid.amps);
            }
            Law::Diode { a, k, law } => through(*a, *k, law.current(volts(*a) - volts(*k)).0),
            Law::Filament { a, b, law } => through(*a, *b, law.current(volts(*a) - volts(*b)).0),
            Law::Neon { a, b, law } => {
                let across = volts(*a) - volts(*b);
                through(*a, *b, law.current(across, lit.contains(&index)).0);
            }
            Law::Rectifiers(group) => {
                let count = group.plates.len();
                let across: Vec<f64> = group
                    .plates
                    .iter()
                    .map(|p| volts(p.plate) - volts(p.cathode))
                    .collect();
                let (mut amps, mut slopes) = (vec![0.0; count], vec![0.0; count * count]);
                group.mean_currents(&across, &mut amps, &mut slopes);
                for (p, &amps) in group.plates.iter().zip(&amps) {
                    through(p.plate, p.cathode, amps);
                }
            }
        }
    }
    for (sum, lost) in sum.iter_mut().zip(&lost) {
        *sum += lost;
    }
    (sum.split_off(1), size.split_off(1))
}

/// Newton steps from `x` until they move nothing by more than a nanovolt; `None` if they do not
/// get there.
pub fn newton(netlist: &Netlist, lit: &[usize], mut x: Vec<f64>) -> Option<Vec<f64>> {
    let size = x.len();
    for _ in 0..30 {
        let (f, _) = residual(netlist, lit, &x);
        let mut jacobian = DMatrix::zeros(size, size);
        for column in 0..size {
            let step = 1e-5 * (1.0 + 1e-2 * x[column].abs());
            let mut moved = x.clone();
            moved[column] = x[column] + step;
            let (up, _) = residual(netlist, lit, &moved);
            moved[column] = x[column] - step;
            let (down, _) = residual(netlist, lit, &moved);
            for row in 0..size {
                jacobian[(row, column)] = (up[row] - down[row]) / (2.0 * step);
            }
        }
        let step = jacobian.lu().solve(&DVector::from_vec(f))?;
        for (x, by) in x.iter_mut().zip(step.iter()) {
            *x -= by;
        }
        if step.amax() < 1e-9 {
            return Some(x);
        }
    }
    None
}
