//! Figures as a meter would show them.

/// Volts (or any figure beside volts) with the digits a bench meter has: three or four.
///
/// `172`, `31.2`, `1.32`, `0.038`. A minus sign only when a digit is left to carry it.
#[must_use]
pub fn volts(value: f64) -> String {
    with(value, decimals(value.abs()))
}

/// Decimals that give a figure of this size its three digits.
fn decimals(size: f64) -> usize {
    if size >= 99.95 {
        0
    } else if size >= 9.995 {
        1
    } else if size >= 0.9995 {
        2
    } else {
        3
    }
}

fn with(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        return "?".to_owned();
    }
    let text = format!("{value:.decimals$}");
    if text.starts_with('-') && !text.contains(|c: char| c.is_ascii_digit() && c != '0') {
        text.trim_start_matches('-').to_owned()
    } else {
        text
    }
}

/// Both ends of a band, with the decimals of the larger, one more when it is narrow.
#[must_use]
pub fn ends(low: f64, high: f64) -> (String, String) {
    let larger = decimals(low.abs().max(high.abs()));
    let narrow = (high - low).abs() < 3.0 * 0.1_f64.powi(i32::try_from(larger).unwrap_or(0));
    let places = if narrow { (larger + 1).min(3) } else { larger };
    (with(low, places), with(high, places))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_follow_the_size() {
        assert_eq!(volts(171.6), "172");
        assert_eq!(volts(99.97), "100");
        assert_eq!(volts(31.24), "31.2");
        assert_eq!(volts(-1.3249), "-1.32");
        assert_eq!(volts(0.0384), "0.038");
        assert_eq!(volts(-0.0001), "0.000");
        assert_eq!(volts(f64::NAN), "?");
    }

    #[test]
    fn both_ends_of_a_band_have_the_same_digits() {
        let text = |low, high| {
            let (low, high) = ends(low, high);
            format!("{low} to {high}")
        };
        assert_eq!(text(163.2, 189.4), "163 to 189");
        assert_eq!(text(9.4, 12.1), "9.4 to 12.1");
        assert_eq!(text(-0.02, 0.02), "-0.020 to 0.020");
        assert_eq!(text(171.0, 172.2), "171.0 to 172.2");
        assert_eq!(text(-1e-9, 1e-9), "0.000 to 0.000");
    }
}
