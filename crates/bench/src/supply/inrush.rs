//! The moment the switch closes: what the empty capacitors take from the mains.
//!
//! The amplifier is let run from nothing at the highest mains, diodes and mains instant by instant, and the switch
//! closed at eight instants through a cycle; the worst counts. Heaters stand at their running resistance and the cores
//! of transformers as straight inductances: cold heaters and a core that saturates come on top, and are not computed.
//! With a rectifier valve this is the start with its cathode still hot, after a moment of being off.

use super::Work;
use crate::powered::Powered;
use serde::Serialize;
use solve::Netlist;
use solve::netlist::Law;
use solve::time::Running;

/// Instants of a cycle at which the switch closes.
const INSTANTS: u32 = 8;
/// Cycles that are watched: what is not charged by then is charged gently.
const CYCLES: f64 = 4.0;
/// Looked at so often a cycle.
const LOOKS: u32 = 200;
/// A switch that is open, ohms.
const OPEN_OHMS: f64 = 1e9;

/// What flows when the switch closes.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Inrush {
    /// Largest current from the mains, amperes.
    pub peak_amps: f64,
    /// Current squared over time in the first four cycles, ampere-squared seconds, of the worst instant.
    pub square_seconds: f64,
    /// The same of an equal time at rest, everything warm.
    pub at_rest_square_seconds: Option<f64>,
    /// Largest current of one plate or diode of the high-tension rectifier, amperes.
    pub rectifier_peak_amps: Option<f64>,
}

/// Works it out; none without a mains transformer, or where the circuit cannot be let run.
pub(super) fn inrush(work: &Work<'_>) -> Option<Inrush> {
    let cold = work.surge.cold.as_ref()?;
    let netlist = &cold.solved.assembly.netlist;
    let mains = netlist
        .elements
        .iter()
        .position(|e| matches!(e.law, Law::Alternating { mains: true, .. }))?;
    (netlist.hertz > 0.0).then_some(())?;
    let diodes = diodes(work, cold);
    let mut worst: Option<Inrush> = None;
    for instant in 0..INSTANTS {
        let share = f64::from(instant) / f64::from(INSTANTS);
        let one = closed_at(netlist, mains, &diodes, share)?;
        worst = Some(match worst {
            None => one,
            Some(w) => Inrush {
                peak_amps: w.peak_amps.max(one.peak_amps),
                square_seconds: w.square_seconds.max(one.square_seconds),
                rectifier_peak_amps: w
                    .rectifier_peak_amps
                    .zip(one.rectifier_peak_amps)
                    .map(|(a, b)| a.max(b)),
                ..w
            },
        });
    }
    let warm = work.surge.warm.as_ref().map(Powered::mains_amps);
    let seconds = CYCLES / netlist.hertz;
    worst.map(|w| Inrush {
        at_rest_square_seconds: warm.filter(|a| *a > 0.0).map(|a| a * a * seconds),
        ..w
    })
}

/// Elements of the high-tension rectifier.
fn diodes(work: &Work<'_>, cold: &Powered) -> Vec<usize> {
    crate::surge::high_tension_rectifiers(work.anatomy)
        .filter_map(|id| work.circuit.parts.get(id.0))
        .flat_map(|part| cold.elements(&part.name).iter().copied())
        .filter(|e| {
            let law = cold.solved.assembly.netlist.elements.get(*e);
            law.is_some_and(|e| matches!(e.law, Law::Diode { .. }))
        })
        .collect()
}

/// The switch closes at `share` of a cycle.
fn closed_at(netlist: &Netlist, mains: usize, diodes: &[usize], share: f64) -> Option<Inrush> {
    let period = 1.0 / netlist.hertz;
    let mut open = netlist.clone();
    if let Law::Alternating { ohms, .. } = &mut open.elements.get_mut(mains)?.law {
        *ohms = OPEN_OHMS;
    }
    let mut run = Running::empty(&open).ok()?.with_accuracy(1e-4);
    run.until(period * (1.0 + share)).ok()?;
    run.change(netlist).ok()?;
    let from = run.seconds();
    let step = period / f64::from(LOOKS);
    let mut out = Inrush {
        peak_amps: 0.0,
        square_seconds: 0.0,
        at_rest_square_seconds: None,
        rectifier_peak_amps: (!diodes.is_empty()).then_some(0.0),
    };
    let amps =
        |run: &Running, element: usize| run.currents(element).first().map_or(0.0, |i| i.abs());
    let mut before = 0.0;
    for look in 1..=(CYCLES * f64::from(LOOKS)) as u32 {
        run.until(from + step * f64::from(look)).ok()?;
        let now = amps(&run, mains);
        out.peak_amps = out.peak_amps.max(now);
        out.square_seconds += step * (before * before + before * now + now * now) / 3.0;
        before = now;
        for diode in diodes {
            let i = amps(&run, *diode);
            out.rectifier_peak_amps = out.rectifier_peak_amps.map(|p| p.max(i));
        }
    }
    Some(out)
}
