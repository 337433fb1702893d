//! Where on its track a pot's wiper stands.

use wiring::circuit::Taper;

/// The fraction of the track between the anticlockwise end (`.1`) and the wiper, 0 to 1, at a
/// rotation of 0 to 10.
///
/// Linear is `rotation / 10`. Audio is two straight slopes that meet at half rotation, where the
/// given percent lies below the wiper (10 % where nothing is said: common practice, no source).
/// Reverse is its mirror image, seen from the clockwise end. A measured track is straight
/// between its points and level beyond them. A rotation outside 0 to 10 counts as the near end.
#[must_use]
pub fn fraction(taper: &Taper, rotation: f64) -> f64 {
    let x = if rotation.is_nan() {
        0.5
    } else {
        rotation.clamp(0.0, 10.0) / 10.0
    };
    let f = match taper {
        Taper::Linear => x,
        Taper::Audio(percent) => two_slopes(x, *percent),
        Taper::Reverse(percent) => 1.0 - two_slopes(1.0 - x, *percent),
        Taper::Measured(points) => between(points, 10.0 * x),
    };
    if f.is_nan() { x } else { f.clamp(0.0, 1.0) }
}

fn two_slopes(x: f64, percent: f64) -> f64 {
    let half = percent / 100.0;
    if x <= 0.5 {
        2.0 * x * half
    } else {
        half + (x - 0.5) * 2.0 * (1.0 - half)
    }
}

fn between(points: &[(f64, f64)], rotation: f64) -> f64 {
    let Some(first) = points.first() else {
        return rotation / 10.0;
    };
    if rotation <= first.0 {
        return first.1;
    }
    for pair in points.windows(2) {
        if let [(x0, f0), (x1, f1)] = pair
            && rotation <= *x1
        {
            let span = x1 - x0;
            return if span > 0.0 {
                f0 + (f1 - f0) * (rotation - x0) / span
            } else {
                *f1
            };
        }
    }
    points.last().map_or(rotation / 10.0, |p| p.1)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(taper: &Taper, rotation: f64, expected: f64) {
        let got = fraction(taper, rotation);
        assert!(
            (got - expected).abs() < 1e-12,
            "{taper:?} at {rotation}: {got}, expected {expected}"
        );
    }

    /// The usual audio track has a tenth of its resistance in the first half of its turn;
    /// common practice, no source.
    #[test]
    fn usual_tracks() {
        for (rotation, f) in [
            (0.0, 0.0),
            (2.5, 0.05),
            (5.0, 0.10),
            (7.5, 0.55),
            (10.0, 1.0),
        ] {
            near(&Taper::Audio(10.0), rotation, f);
            near(&Taper::Reverse(10.0), 10.0 - rotation, 1.0 - f);
        }
        near(&Taper::Audio(15.0), 5.0, 0.15);
        near(&Taper::Audio(30.0), 7.5, 0.65);
        near(&Taper::Linear, 3.0, 0.3);
    }

    #[test]
    fn measured_track_is_straight_between_its_points() {
        let taper = Taper::Measured(vec![(0.0, 0.0), (5.0, 0.12), (10.0, 1.0)]);
        near(&taper, 2.5, 0.06);
        near(&taper, 5.0, 0.12);
        near(&taper, 7.5, 0.56);
        near(&Taper::Measured(vec![]), 4.0, 0.4);
        near(&Taper::Measured(vec![(5.0, 0.3), (5.0, 0.4)]), 9.0, 0.4);
    }

    #[test]
    fn every_rotation_stays_on_the_track() {
        for rotation in [-1e300, -1.0, 11.0, f64::INFINITY, f64::NAN] {
            for taper in [
                Taper::Linear,
                Taper::Audio(-50.0),
                Taper::Reverse(1e9),
                Taper::Measured(vec![(f64::NAN, f64::NAN)]),
            ] {
                let f = fraction(&taper, rotation);
                assert!((0.0..=1.0).contains(&f), "{taper:?} {rotation}: {f}");
            }
        }
    }
}
