//! The A-weighting of IEC 61672-1: how much a frequency counts when noise is judged by ear.

/// Decibels to add at `hertz`. The equation of IEC 61672-1:2013, annex E (from memory, not seen).
#[must_use]
pub fn a_weighting(hertz: f64) -> f64 {
    let f2 = hertz * hertz;
    let pole = |f: f64| f2 + f * f;
    let r = 12_194.217_f64.powi(2) * f2 * f2
        / (pole(20.598_997) * (pole(107.652_65) * pole(737.862_23)).sqrt() * pole(12_194.217));
    crate::decibels(r) + 2.0
}

#[cfg(test)]
mod tests {
    use super::*;

    /// IEC 61672-1, table of frequency weightings (from memory of the table, not seen; exact third-octave
    /// frequencies 1000 * 10^(n/10)). Printed to a tenth.
    const TABLE: [(i32, f64); 31] = [
        (-17, -50.5),
        (-16, -44.7),
        (-15, -39.4),
        (-14, -34.6),
        (-13, -30.2),
        (-12, -26.2),
        (-11, -22.5),
        (-10, -19.1),
        (-9, -16.1),
        (-8, -13.4),
        (-7, -10.9),
        (-6, -8.6),
        (-5, -6.6),
        (-4, -4.8),
        (-3, -3.2),
        (-2, -1.9),
        (-1, -0.8),
        (0, 0.0),
        (1, 0.6),
        (2, 1.0),
        (3, 1.2),
        (4, 1.3),
        (5, 1.2),
        (6, 1.0),
        (7, 0.5),
        (8, -0.1),
        (9, -1.1),
        (10, -2.5),
        (11, -4.3),
        (12, -6.6),
        (13, -9.3),
    ];

    #[test]
    fn the_table_of_the_standard() {
        for (n, want) in TABLE {
            let hertz = 1000.0 * 10_f64.powf(f64::from(n) / 10.0);
            let got = a_weighting(hertz);
            assert!(
                (got - want).abs() <= 0.06,
                "{hertz:.0} Hz: {got:.2} for {want}"
            );
        }
    }
}
