//! Sampled builds: the same amplifier many times over, each with its own sound parts.
//!
//! Numbers come from ChaCha with 8 rounds (D. J. Bernstein, 2008; the crate `rand_chacha`),
//! so a seed gives the same builds on every machine. Normal numbers by the transformation of
//! Box and Muller (Annals of Mathematical Statistics 29, 1958, from memory, not seen).

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

/// Standard-normal numbers, one row a build.
pub(super) fn normals(seed: u64, builds: usize, causes: usize) -> Vec<Vec<f64>> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut uniform = move || {
        // 53 bits, never 0, so that its logarithm is finite
        ((rng.next_u64() >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    };
    (0..builds)
        .map(|_| {
            (0..causes)
                .map(|_| {
                    let radius = (-2.0 * uniform().ln()).sqrt();
                    radius * (std::f64::consts::TAU * uniform()).cos()
                })
                .collect()
        })
        .collect()
}

/// The value below which a share of the numbers lies, between neighbours in proportion;
/// sorts the numbers. `None` for no numbers.
///
/// Position `share * (n + 1)` of the sorted numbers, the Weibull plotting position
/// (Hyndman and Fan, American Statistician 50, 1996, their type 6, from memory, not seen):
/// it does not make small samples look narrower than they are.
pub(super) fn quantile(numbers: &mut [f64], share: f64) -> Option<f64> {
    numbers.sort_by(f64::total_cmp);
    let last = numbers.len().checked_sub(1)?;
    let at = (share * (numbers.len() + 1) as f64 - 1.0).clamp(0.0, last as f64);
    let below = at.floor() as usize;
    let low = *numbers.get(below)?;
    let high = *numbers.get((below + 1).min(last))?;
    Some(low + (high - low) * at.fract())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn normal_numbers_have_their_moments() {
        let rows = normals(7, 2000, 10);
        let all: Vec<f64> = rows.iter().flatten().copied().collect();
        let n = all.len() as f64;
        let mean = all.iter().sum::<f64>() / n;
        let variance = all.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / n;
        let beyond = all.iter().filter(|x| x.abs() > 1.959_964).count() as f64 / n;
        // three standard errors of 20,000 draws: 0.021, 0.03, 0.0046
        assert!(mean.abs() < 0.021, "{mean}");
        assert!((variance - 1.0).abs() < 0.03, "{variance}");
        assert!((beyond - 0.05).abs() < 0.0046, "{beyond}");
        assert_eq!(rows, normals(7, 2000, 10));
        assert_ne!(rows, normals(8, 2000, 10));
    }

    #[test]
    fn quantiles_of_a_ramp() {
        let mut ramp: Vec<f64> = (1..=99).rev().map(f64::from).collect();
        assert_eq!(quantile(&mut ramp, 0.5), Some(50.0));
        assert!((quantile(&mut ramp, 0.025).unwrap() - 2.5).abs() < 1e-9);
        assert_eq!(quantile(&mut [], 0.5), None);
        assert_eq!(quantile(&mut [4.0], 0.9), Some(4.0));
    }
}
