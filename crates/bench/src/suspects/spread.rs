//! How far readings may lie from what a hypothesis expects: spread of parts, meter, and what the
//! model itself may be off by.

use super::evidence::{Evidence, Seen};
use super::likelihood::Covariance;
use super::scene::Expected;

/// Model error of what a fault does to a reading, as part of the change: the farther from where
/// the laws were fitted, the less they are sure (ours).
const MOVED: f64 = 0.04;
/// Part of its sound volts below which a point beyond ground has next to nothing left.
const LITTLE: f64 = 0.1;
/// Without HT a grid settles at its contact potential, which nobody knows: volts, one sigma (ours).
const CONTACT: f64 = 0.2;
/// A plate or a rail that has lost its volts stands where heated cathodes and leaks put it, a little
/// below ground, and no law was fitted there: volts of all such together, one sigma, and of each (ours).
const DARK: f64 = 0.5;
const DARK_EACH: f64 = 0.3;
/// Power of the part of its volts that is lost by which that comes in: nothing to speak of at half.
const DARK_POWER: i32 = 8;
/// Sound volts below which a reading is taken as a grid's.
const GRID_VOLTS: f64 = 0.5;
/// Sound volts from which a reading says whether there is HT.
const HT_VOLTS: f64 = 50.0;

/// Readings less what is expected.
pub(super) fn residual(evidence: &Evidence, mean: &[f64]) -> Vec<f64> {
    let pairs = evidence.seen.iter().zip(mean);
    pairs
        .map(|(s, m)| match s.value - m {
            off if s.over => off.max(0.0),
            off => off,
        })
        .collect()
}

/// Slopes by cause, reading by reading, the meter's gain among them; and variances of their own.
pub(super) fn spread(evidence: &Evidence, expected: &Expected) -> (Vec<f64>, Vec<f64>) {
    let causes = evidence.causes;
    let mut slopes = expected.slope.clone();
    slopes.resize(evidence.seen.len() * causes, 0.0);
    for (i, s) in evidence.seen.iter().enumerate() {
        if let Some(slot) = slopes.get_mut(i * causes + s.gain_cause) {
            *slot += s.gain;
        }
    }
    let fallen = fallen(evidence, &expected.mean);
    for (i, (s, mean)) in evidence.seen.iter().zip(&expected.mean).enumerate() {
        if let Some(slot) = slopes.get_mut(i * causes + evidence.dark) {
            *slot += DARK * dark(s, *mean);
        }
    }
    let pairs = evidence.seen.iter().zip(&expected.own).zip(&expected.mean);
    let own = pairs
        .map(|((s, own), mean)| {
            let moved = s.sound.map_or(0.0, |sound| MOVED * change(sound, *mean));
            let each = DARK_EACH * dark(s, *mean);
            s.variance + own + moved * moved + contact(s, fallen).powi(2) + each * each
        })
        .collect();
    (slopes, own)
}

/// How far a fault moved a reading, as its model error grows with it: by the volts themselves, or,
/// where little is left of them on either side of ground, by what is left and the logarithm of how
/// little that is.
fn change(sound: f64, mean: f64) -> f64 {
    let moved = (mean - sound).abs();
    let left = mean / sound;
    if (-LITTLE..1.0).contains(&left) {
        let lost = -left.abs().max(f64::MIN_POSITIVE).ln();
        moved.min(mean.abs() * lost)
    } else {
        moved
    }
}

/// How far a plate or a rail has lost its volts, 0 to 1.
fn dark(seen: &Seen, mean: f64) -> f64 {
    match seen.sound {
        Some(sound) if sound > HT_VOLTS => (1.0 - mean / sound).clamp(0.0, 1.0).powi(DARK_POWER),
        _ => 0.0,
    }
}

/// The part of its sound volts that the most fallen of the high readings has lost, 0 to 1.
pub(super) fn fallen(evidence: &Evidence, mean: &[f64]) -> f64 {
    let pairs = evidence.seen.iter().zip(mean);
    pairs.fold(0.0, |most, (s, mean)| match s.sound {
        Some(sound) if sound > HT_VOLTS => f64::max(most, 1.0 - mean / sound).min(1.0),
        _ => most,
    })
}

/// Volts by which a grid's contact potential spreads where HT has fallen by such a part.
pub(super) fn contact(seen: &Seen, fallen: f64) -> f64 {
    match seen.sound {
        Some(sound) if sound.abs() < GRID_VOLTS => CONTACT * fallen.powi(2),
        _ => 0.0,
    }
}

pub(super) fn covariance(evidence: &Evidence, expected: &Expected) -> Option<Covariance> {
    let (slopes, own) = spread(evidence, expected);
    Covariance::of(&slopes, evidence.causes, &own)
}

/// Standard deviation of each reading around what is expected.
pub(super) fn sigmas(evidence: &Evidence, expected: &Expected) -> Vec<f64> {
    let (slopes, own) = spread(evidence, expected);
    let n = evidence.causes;
    own.iter()
        .enumerate()
        .map(|(i, own)| {
            let row = slopes.get(i * n..(i + 1) * n).unwrap_or_default();
            (row.iter().map(|x| x * x).sum::<f64>() + own).sqrt()
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_left_on_either_side_of_ground_is_told_by_how_little_it_is() {
        assert!(change(340.0, 0.3) < 2.2);
        assert!((change(340.0, -0.3) - change(340.0, 0.3)).abs() < 1e-9);
        assert!(change(340.0, 0.0).abs() < 1e-12);
        // far beyond ground, or up from nothing, it is the change itself
        assert!((change(340.0, -340.0) - 680.0).abs() < 1e-9);
        assert!((change(0.02, 14.0) - 13.98).abs() < 1e-9);
        assert!((change(0.0, 5.0) - 5.0).abs() < 1e-12);
    }
}
