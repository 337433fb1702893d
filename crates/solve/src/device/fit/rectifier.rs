//! A rectifier plate: one number, the perveance, from drops at steady currents.

use super::judge::Rms;
use super::rows::Figure;

/// A fitted perveance.
#[derive(Debug, Clone, PartialEq)]
pub struct RectifierFit {
    /// Amperes per volt^1.5, five digits.
    pub perveance: f64,
    /// Error of each computed drop, as a fraction, in the order of the rows.
    pub errors: Vec<f64>,
    /// Their root mean square.
    pub rms: Rms,
    /// Least and most volts across the plate.
    pub volts: (f64, f64),
    /// Least and most amperes.
    pub amps: (f64, f64),
}

/// The perveance that suits drops `(volts, amperes)` of one plate best, each counted by the logarithm of its drop; none
/// where no pair is above 0.
///
/// `I = P V^1.5` (the three-halves law of a diode: C.D. Child, Physical Review 32, 1911; I. Langmuir, Physical Review
/// 2, 1913; from memory, not seen).
///
/// ```
/// let fit = solve::device::fit::fit_rectifier(&[(50.0, 0.275)]).unwrap();
/// assert!((fit.perveance - 7.778e-4).abs() < 1e-7);
/// ```
#[must_use]
pub fn fit_rectifier(rows: &[(f64, f64)]) -> Option<RectifierFit> {
    let good = |v: f64| v.is_finite() && v > 0.0;
    let used: Vec<(f64, f64)> = rows
        .iter()
        .copied()
        .filter(|(v, i)| good(*v) && good(*i))
        .collect();
    if used.is_empty() || used.len() != rows.len() {
        return None;
    }
    let count = used.len() as f64;
    let log: f64 = used.iter().map(|(v, i)| i.ln() - 1.5 * v.ln()).sum::<f64>() / count;
    let perveance: f64 = format!("{:.4e}", log.exp()).parse().ok()?;
    let errors: Vec<f64> = used
        .iter()
        .map(|(v, i)| (i / perveance).powf(2.0 / 3.0) / v - 1.0)
        .collect();
    let rms = (errors.iter().map(|e| e * e).sum::<f64>() / count).sqrt();
    let span = |pick: fn(&(f64, f64)) -> f64| {
        used.iter()
            .map(pick)
            .fold((f64::INFINITY, 0.0_f64), |(low, high), v| {
                (low.min(v), high.max(v))
            })
    };
    Some(RectifierFit {
        perveance,
        rms: Rms {
            figure: Figure::Plate,
            rms,
            rows: used.len(),
        },
        errors,
        volts: span(|(v, _)| *v),
        amps: span(|(_, i)| *i),
    })
}
