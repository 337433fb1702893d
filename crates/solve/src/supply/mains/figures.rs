//! Currents and volts of a solved round: steady, fundamental, harmonics.

use super::super::network::{Network, between};
use super::super::rectify::Cycle;
use super::super::reduce::See;
use super::Round;
use crate::linear::{Complex, Scalar};
use crate::netlist::{Heating, Law, Netlist, NodeIndex};
use std::f64::consts::{SQRT_2, TAU};

/// Harmonics of the mains that rms figures hold.
const HARMONICS: usize = 24;

/// Phasors with the rectifiers' fundamental currents drawn from the network.
pub(super) fn loaded(seen: &mut See, cycles: &[(Vec<usize>, Cycle)]) -> Vec<Complex> {
    let scale = Complex::real(seen.scale);
    let mut x: Vec<Complex> = seen.x.iter().map(|v| *v * scale).collect();
    for (d, driven) in seen.driven.iter().enumerate() {
        let Some(answer) = seen.first.1.get(d) else {
            continue;
        };
        for amps in harmonics(cycles, driven.element, 1) {
            for (slot, v) in x.iter_mut().zip(answer) {
                *slot += *v * amps;
            }
        }
    }
    x
}

/// Peak phasors of the harmonics of a plate's current, from the first up to `most`.
fn harmonics(cycles: &[(Vec<usize>, Cycle)], element: usize, most: usize) -> Vec<Complex> {
    for (elements, cycle) in cycles {
        if let Some(d) = elements.iter().position(|e| *e == element) {
            let pairs = cycle.harmonics(d, most).into_iter();
            return pairs.map(|(re, im)| Complex::new(re, im)).collect();
        }
    }
    vec![Complex::ZERO; most]
}

/// Current into the first end of a two-terminal element, from a phasor solution; the mains'
/// emf is left out. Zero for anything else.
pub(super) fn branch_amps(law: &Law, ohms: Option<f64>, x: &[Complex], omega: f64) -> Complex {
    let over = |a: NodeIndex, b: NodeIndex, z: Complex| between(x, a, b) / z;
    match law {
        Law::Resistor { a, b, ohms: own } => {
            over(*a, *b, Complex::real(ohms.unwrap_or(*own).max(1e-6)))
        }
        Law::Filament { a, b, law } => {
            let own = law.volts / law.amps.max(1e-9) * law.cold;
            over(*a, *b, Complex::real(ohms.unwrap_or(own).max(1e-6)))
        }
        Law::Source {
            plus, minus, ohms, ..
        } => over(*plus, *minus, Complex::real(ohms.max(1e-6))),
        Law::Alternating { a, b, ohms, .. } => over(*a, *b, Complex::real(ohms.max(1e-6))),
        Law::Capacitor {
            a,
            b,
            farads,
            esr_ohms,
        } if *farads > 0.0 => {
            let y = Complex::new(0.0, omega * farads);
            between(x, *a, *b) * y / (Complex::ONE + y * Complex::real(*esr_ohms))
        }
        Law::Inductor {
            a,
            b,
            henries,
            ohms,
        } => over(*a, *b, Complex::new(ohms.max(1e-6), omega * henries)),
        _ => Complex::ZERO,
    }
}

/// Harmonics from the second of each driven plate's current, in the order of `driven`: worked
/// out once, since every element asks for them.
pub(super) fn spectra(seen: Option<&See>, cycles: &[(Vec<usize>, Cycle)]) -> Vec<Vec<Complex>> {
    let driven = seen.map_or(&[][..], |s| &s.driven);
    driven
        .iter()
        .map(|d| harmonics(cycles, d.element, HARMONICS).split_off(1))
        .collect()
}

impl Round {
    /// Sum over harmonics from the second of what the plates do to something linear: `share`
    /// gives it for one ampere at twice the mains frequency. Mean square.
    fn harmonics(&self, share: impl Fn(&[Complex], &Network<Complex>) -> Complex) -> f64 {
        let Some(seen) = &self.seen else {
            return 0.0;
        };
        let (_, answers, network) = &seen.second;
        let parts: Vec<Complex> = answers.iter().map(|x| share(x, network)).collect();
        let largest = parts.iter().fold(0.0_f64, |m, p| m.max(p.abs()));
        if largest == 0.0 {
            return 0.0;
        }
        let mut sum = 0.0;
        for k in 2..=HARMONICS {
            let mut total = Complex::ZERO;
            for (spectrum, part) in self.spectra.iter().zip(&parts) {
                // Resistances share alike at all harmonics, capacitors less and less.
                let part = Complex::new(part.re, part.im * 2.0 / k as f64);
                total += part * spectrum.get(k - 2).copied().unwrap_or_default();
            }
            sum += 0.5 * total.abs() * total.abs();
        }
        sum
    }

    /// Rms amperes of an element with two ends.
    pub(super) fn amps_rms(&self, netlist: &Netlist, element: usize) -> f64 {
        let Some(e) = netlist.elements.get(element) else {
            return 0.0;
        };
        let ohms = match self.reduced.netlist.elements.get(element).map(|e| &e.law) {
            Some(Law::Resistor { ohms, .. }) => Some(*ohms),
            _ => None,
        };
        let omega = TAU * netlist.hertz;
        let mut first = branch_amps(&e.law, ohms, &self.x, omega);
        if let Law::Alternating {
            volts,
            ohms,
            mains: true,
            ..
        } = &e.law
        {
            first -= Complex::real(volts * SQRT_2 / ohms.max(1e-6));
        }
        let steady =
            crate::flows::terminal_currents(&self.reduced.netlist, &self.solution, element)
                .first()
                .copied()
                .unwrap_or(0.0);
        let plain = matches!(
            e.law,
            Law::Resistor { .. }
                | Law::Filament { .. }
                | Law::Source { .. }
                | Law::Alternating { .. }
                | Law::Capacitor { .. }
                | Law::Inductor { .. }
        );
        if !plain {
            return 0.0;
        }
        let above = self.harmonics(|x, _| branch_amps(&e.law, ohms, x, 2.0 * omega));
        (steady * steady + 0.5 * first.abs() * first.abs() + above).sqrt()
    }

    /// Rms of the alternating volts of a node against ground.
    pub(super) fn ripple_rms(&self, node: NodeIndex) -> f64 {
        let first = between(&self.x, node, 0).abs();
        let above = self.harmonics(|x, _| between(x, node, 0));
        (0.5 * first * first + above).sqrt()
    }

    /// Rms over rated volts of a heater (of both halves of a tapped one together).
    pub(super) fn heater_part(&self, netlist: &Netlist, heating: &Heating) -> f64 {
        let mut sum = 0.0;
        let mut count = 0.0;
        for law in heating
            .heaters
            .iter()
            .filter_map(|h| netlist.elements.get(*h))
            .map(|e| &e.law)
        {
            if let Some((a, b)) = super::two_ends(law) {
                let steady = self.solution.across(a, b);
                let first = between(&self.x, a, b).abs();
                sum += steady * steady + 0.5 * first * first;
                count += 1.0;
            }
        }
        if count == 0.0 || heating.rated_volts <= 0.0 {
            // A heater that nobody traced is lit.
            return 1.0;
        }
        (sum / count).sqrt() / heating.rated_volts
    }
}
