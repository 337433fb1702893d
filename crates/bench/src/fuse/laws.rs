//! Fuse-links as the standards make them: ratings and time laws, from `data/fuses.toml`.

use serde::Deserialize;
use std::sync::OnceLock;

/// How quick a fuse-link is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
pub enum Pace {
    /// Carries the surge of a transformer.
    #[serde(rename = "time-lag")]
    TimeLag,
    /// Opens at once.
    #[serde(rename = "quick-acting")]
    Quick,
}

impl Pace {
    /// In words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::TimeLag => "time-lag",
            Self::Quick => "quick-acting",
        }
    }
}

/// The fuse-links of one standard.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Family {
    /// `iec` or `ul`.
    pub id: String,
    /// The standard.
    pub standard: String,
    /// Where it is at home.
    #[serde(rename = "where")]
    pub home: String,
    /// Ratings in amperes, rising.
    pub ratings: Vec<f64>,
    /// Where the ratings are from.
    pub ratings_source: String,
    /// Time laws, smaller ratings first.
    #[serde(rename = "law")]
    pub laws: Vec<Law>,
}

/// How long one sort carries what.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Law {
    /// Sort.
    pub kind: Pace,
    /// How it is marked.
    pub mark: String,
    /// It holds for ratings up to this, amperes.
    pub up_to_a: f64,
    /// Where it is from and how far that was seen.
    pub source: String,
    /// The points.
    pub points: Vec<Point>,
}

/// One point of a time law.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Point {
    /// Multiple of the rating.
    pub times: f64,
    /// It carries that at least so long, seconds.
    pub at_least_s: Option<f64>,
    /// It opens within this, seconds.
    pub at_most_s: Option<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    schema: u32,
    family: Vec<Family>,
}

/// Both families; none should the data not read, which a test forbids.
pub fn families() -> &'static [Family] {
    static FAMILIES: OnceLock<Vec<Family>> = OnceLock::new();
    FAMILIES.get_or_init(|| {
        toml::from_str::<File>(include_str!("../../data/fuses.toml"))
            .ok()
            .filter(|file| file.schema == 1)
            .map(|file| file.family)
            .unwrap_or_default()
    })
}

impl Family {
    /// The family of an id.
    #[must_use]
    pub fn of(id: &str) -> Option<&'static Self> {
        families().iter().find(|f| f.id == id)
    }

    /// The smallest rating that is not below a current.
    #[must_use]
    pub fn at_least(&self, amps: f64) -> Option<f64> {
        let need = amps * (1.0 - 1e-9);
        self.ratings.iter().copied().find(|r| *r >= need)
    }

    /// The largest rating that is not above a current.
    #[must_use]
    pub fn at_most(&self, amps: f64) -> Option<f64> {
        self.ratings.iter().copied().rfind(|r| *r <= amps)
    }

    /// The time law of a rating.
    #[must_use]
    pub fn law(&self, pace: Pace, rating: f64) -> Option<&Law> {
        self.laws
            .iter()
            .find(|law| law.kind == pace && rating <= law.up_to_a)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_data_reads_and_every_law_is_usable() {
        assert_eq!(families().len(), 2);
        for family in families() {
            assert!(family.ratings.windows(2).all(|w| w[0] < w[1]));
            assert!(!family.ratings_source.is_empty());
            for pace in [Pace::TimeLag, Pace::Quick] {
                for rating in &family.ratings {
                    let law = family.law(pace, *rating).expect("a law for every rating");
                    assert!(law.points.windows(2).all(|w| w[0].times < w[1].times));
                    assert!(law.points.iter().any(|p| p.at_most_s.is_some()));
                    for p in &law.points {
                        assert!(p.at_least_s.unwrap_or(0.0) < p.at_most_s.unwrap_or(f64::INFINITY));
                    }
                }
            }
        }
    }

    /// What the two standards ask at their own multiples (rules `fuse.rating.iec`: not within an hour
    /// at 150 %, must open at 210 %; `fuse.rating.ul`: within an hour at 135 %).
    #[test]
    fn the_laws_agree_with_the_rules() {
        let rules = crate::rules::rules();
        let point = |id: &str, times: f64| {
            let law = Family::of(id).unwrap().law(Pace::TimeLag, 1.0).unwrap();
            *law.points.iter().find(|p| p.times == times).unwrap()
        };
        let holds = rules.figure("fuse.rating.iec", "must hold 1 h at").unwrap();
        assert_eq!(point("iec", holds).at_least_s, Some(3600.0));
        let opens = rules.figure("fuse.rating.iec", "must open at").unwrap();
        assert!(point("iec", opens).at_most_s.is_some());
        let opens = rules
            .figure("fuse.rating.ul", "opens within 1 h at")
            .unwrap();
        assert_eq!(point("ul", opens).at_most_s, Some(3600.0));
    }

    /// The ratings of 5 x 20 mm links are the R10 steps of ISO 3 (from memory, not seen).
    #[test]
    fn ratings_are_preferred_numbers() {
        let r10 = [1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0];
        for rating in &Family::of("iec").unwrap().ratings {
            let decade = 10f64.powf(rating.log10().floor());
            let mantissa = rating / decade;
            assert!(
                r10.iter().any(|step| (mantissa / step - 1.0).abs() < 0.02),
                "{rating}"
            );
        }
    }
}
