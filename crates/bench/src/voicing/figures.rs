//! What is read off a curve: gain, corners, middle dip; a difference of two curves in words.
//!
//! Between two frequencies a curve is taken as straight over the logarithm of the frequency.

use serde::Serialize;

/// Decibels below the reference at which a corner is told.
const CORNER_DB: f64 = 3.010_299_956_639_812;
/// A dip or a difference smaller than this is not told.
const TOLD_DB: f64 = 0.5;

/// Figures of one curve.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Figures {
    /// dB at 1 kHz, none outside the band asked for.
    pub gain_1k_db: Option<f64>,
    /// Highest dB, and where.
    pub highest: Option<(f64, f64)>,
    /// Where the curve is 3 dB under its highest, below it.
    pub low_corner_hz: Option<f64>,
    /// The same above it.
    pub high_corner_hz: Option<f64>,
    /// Deepest place between two higher ones: hertz, and dB under the lower of the two.
    pub dip: Option<(f64, f64)>,
    /// Ohms that a source at 1 kHz works into.
    pub input_ohms_1k: Option<f64>,
}

/// Reads the figures off a curve whose frequencies rise.
#[must_use]
pub fn figures(hz: &[f64], db: &[f64], input_ohms: &[f64]) -> Figures {
    let Some((top, &highest)) = db.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1)) else {
        return Figures::default();
    };
    let target = highest - CORNER_DB;
    let crossing = |i: usize| -> Option<f64> {
        let (x0, x1) = (*hz.get(i)?, *hz.get(i + 1)?);
        let (y0, y1) = (*db.get(i)?, *db.get(i + 1)?);
        ((y0 < target) != (y1 < target)).then(|| x0 * (x1 / x0).powf((target - y0) / (y1 - y0)))
    };
    Figures {
        gain_1k_db: at(hz, db, 1000.0),
        highest: hz.get(top).map(|&f| (f, highest)),
        low_corner_hz: (0..top).rev().find_map(crossing),
        high_corner_hz: (top..db.len()).find_map(crossing),
        dip: dip(hz, db),
        input_ohms_1k: at(hz, input_ohms, 1000.0),
    }
}

/// The value of a curve at a frequency.
fn at(hz: &[f64], values: &[f64], wanted: f64) -> Option<f64> {
    let above = hz.iter().position(|&f| f >= wanted)?;
    let (x1, y1) = (*hz.get(above)?, *values.get(above)?);
    if x1 <= wanted {
        return Some(y1);
    }
    let below = above.checked_sub(1)?;
    let (x0, y0) = (*hz.get(below)?, *values.get(below)?);
    Some(y0 + (y1 - y0) * (wanted / x0).ln() / (x1 / x0).ln())
}

fn dip(hz: &[f64], db: &[f64]) -> Option<(f64, f64)> {
    let deepest = (0..db.len()).filter_map(|i| {
        let here = *db.get(i)?;
        let highest = |of: &[f64]| of.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let shoulder = highest(db.get(..i)?).min(highest(db.get(i + 1..)?));
        Some((*hz.get(i)?, shoulder - here))
    });
    deepest
        .filter(|(_, depth)| *depth >= TOLD_DB)
        .max_by(|a, b| a.1.total_cmp(&b.1))
}

/// How one curve differs from another at the same frequencies, in words, from the numbers only:
/// "2.1 dB more between 150 and 400 Hz". One clause for each stretch that differs by half a dB.
#[must_use]
pub fn in_words(hz: &[f64], difference_db: &[f64]) -> String {
    let side = |d: f64| {
        if d >= TOLD_DB {
            1
        } else if d <= -TOLD_DB {
            -1
        } else {
            0
        }
    };
    let mut clauses = Vec::new();
    let mut start = 0;
    while let Some(&first) = difference_db.get(start) {
        let here = side(first);
        let rest = difference_db.get(start..).unwrap_or_default();
        let length = rest.iter().take_while(|d| side(**d) == here).count().max(1);
        let end = start + length - 1;
        if here != 0 {
            let stretch = rest.get(..length).unwrap_or_default();
            let most = stretch.iter().fold(0.0_f64, |m, d| m.max(d.abs()));
            let word = if here > 0 { "more" } else { "less" };
            let whole = start == 0 && end + 1 == difference_db.len();
            let place = match (hz.get(start), hz.get(end)) {
                _ if whole => "everywhere".to_owned(),
                (_, Some(to)) if start == 0 => format!("below {}", hertz(*to)),
                (Some(from), _) if end + 1 == difference_db.len() => {
                    format!("above {}", hertz(*from))
                }
                (Some(from), Some(to)) if start == end || from >= to => {
                    format!("near {}", hertz(*from))
                }
                (Some(from), Some(to)) => format!("between {} and {}", hertz(*from), hertz(*to)),
                _ => String::new(),
            };
            clauses.push(format!("up to {most:.1} dB {word} {place}"));
        }
        start = end + 1;
    }
    if clauses.is_empty() {
        format!("nowhere more than {TOLD_DB:.1} dB apart")
    } else {
        clauses.join(", ")
    }
}

fn hertz(f: f64) -> String {
    if f >= 1000.0 {
        format!("{:.1} kHz", f / 1000.0)
    } else {
        format!("{f:.0} Hz")
    }
}

#[cfg(test)]
mod tests {
    use super::in_words;

    const HZ: [f64; 6] = [20.0, 150.0, 400.0, 1e3, 3e3, 20e3];

    /// What is said comes from the numbers: where a stretch begins and ends, its largest size, its side.
    #[test]
    fn a_difference_in_words_at_its_edges() {
        for (difference, words) in [
            ([0.0; 6], "nowhere more than 0.5 dB apart"),
            (
                [0.499, -0.499, 0.0, 0.4, -0.3, 0.1],
                "nowhere more than 0.5 dB apart",
            ),
            ([0.5; 6], "up to 0.5 dB more everywhere"),
            (
                [-2.0, -3.0, -2.0, -1.0, -0.5, -0.5],
                "up to 3.0 dB less everywhere",
            ),
            (
                [0.0, 1.5, 2.1, 0.0, -1.4, -1.2],
                "up to 2.1 dB more between 150 Hz and 400 Hz, up to 1.4 dB less above 3.0 kHz",
            ),
            (
                [1.0, 1.0, 0.0, 0.0, 0.0, 0.0],
                "up to 1.0 dB more below 150 Hz",
            ),
            (
                [0.0, 0.0, 0.0, -0.5, 0.0, 0.0],
                "up to 0.5 dB less near 1.0 kHz",
            ),
            // from more to less without a place between
            (
                [0.0, 1.0, -1.0, 0.0, 0.0, 0.0],
                "up to 1.0 dB more near 150 Hz, up to 1.0 dB less near 400 Hz",
            ),
            // what is not a number says nothing
            ([f64::NAN; 6], "nowhere more than 0.5 dB apart"),
        ] {
            assert_eq!(in_words(&HZ, &difference), words);
        }
        assert_eq!(in_words(&[], &[]), "nowhere more than 0.5 dB apart");
        assert_eq!(in_words(&[1e3], &[2.0]), "up to 2.0 dB more everywhere");
    }
}
