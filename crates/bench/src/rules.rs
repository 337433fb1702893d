//! Limits and rules of thumb, as data: every number a sheet prints as a limit, with its source.
//!
//! The rows stand in `data/rules.toml`; this module reads them once, finds a value by the rule's
//! id and the value's name, and says in words how far its source was seen. It decides nothing.
//! A limit that guards a life is frozen in a test here, which fails when it gets looser.

use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::sync::OnceLock;

/// Local codes come first, on every sheet.
pub const LOCAL_CODES: &str = "Local electrical codes and licensed practice decide.";

/// The caution for everything that leads a hand into a live chassis.
pub const STANDARD_CAUTION: &str = "This amplifier holds voltages that kill, also when unplugged. \
Unplug it, discharge every electrolytic capacitor through a resistor and measure below 10 V before \
touching. Work on it live only if you are trained for that, one hand, with someone near. The figures \
here are computed from what was traced and typed; they can be wrong. Local electrical codes and \
licensed practice decide.";

/// One rule.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Rule {
    /// Stable name, dotted (`fuse.rating.iec`).
    pub id: String,
    /// What it says.
    pub statement: String,
    /// Its numbers.
    pub values: Vec<Value>,
    /// What it is about.
    pub applies_to: Vec<String>,
    /// Which market it is about, when not everywhere.
    pub jurisdiction: Option<String>,
    /// How much it matters.
    pub severity: Gravity,
    /// Where it comes from.
    pub source: String,
    /// How far that source was seen.
    pub source_kind: SourceKind,
}

/// One number of a rule.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Value {
    /// What it limits.
    pub name: String,
    /// Which side is allowed.
    pub op: Side,
    /// The limit, for all but ranges.
    pub value: Option<f64>,
    /// Least, for ranges.
    pub lo: Option<f64>,
    /// Most, for ranges.
    pub hi: Option<f64>,
    /// Unit in words.
    pub unit: String,
}

/// Which side of a number is allowed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Side {
    /// At most.
    #[serde(rename = "<=")]
    AtMost,
    /// At least.
    #[serde(rename = ">=")]
    AtLeast,
    /// The figure itself.
    #[serde(rename = "=")]
    Is,
    /// Between two.
    #[serde(rename = "range")]
    Between,
}

/// How much a rule matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Gravity {
    /// Information.
    Note,
    /// Advise; a refusal is recorded.
    Should,
    /// Cure before hand-over.
    Must,
    /// Do not energise, do not hand back, until cured.
    Stop,
}

/// How far a source was seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SourceKind {
    /// Seen in stored public text.
    Verified,
    /// Seen on a page that is not the source.
    SecondHand,
    /// Remembered.
    Memory,
    /// Common practice.
    Practice,
    /// From a formula.
    Computed,
}

/// All rules.
#[derive(Debug, Clone, PartialEq)]
pub struct Rules {
    rules: Vec<Rule>,
    by_id: BTreeMap<String, usize>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    schema: u32,
    rule: Vec<Rule>,
}

/// The rules that ship with the program.
///
/// They are part of the program text and tested whole; should they not read all the same,
/// there are no rules, and every sheet says that it lacks its limits.
pub fn rules() -> &'static Rules {
    static RULES: OnceLock<Rules> = OnceLock::new();
    RULES.get_or_init(|| {
        Rules::read(include_str!("../data/rules.toml")).unwrap_or(Rules {
            rules: Vec::new(),
            by_id: BTreeMap::new(),
        })
    })
}

/// Why a rules file was refused.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum RulesError {
    /// The text is not such a file.
    #[error("the rules do not read: {0}")]
    Text(String),
    /// A layout this program does not know.
    #[error("the rules have layout {0}; this program reads layout 1")]
    Layout(u32),
    /// One id twice.
    #[error("rule {0} stands twice")]
    Twice(String),
}

impl Rules {
    /// Reads a rules file.
    ///
    /// # Errors
    /// When the text does not parse, has another layout, or holds an id twice.
    pub fn read(text: &str) -> Result<Self, RulesError> {
        let file: File = toml::from_str(text).map_err(|e| RulesError::Text(e.to_string()))?;
        if file.schema != 1 {
            return Err(RulesError::Layout(file.schema));
        }
        let mut by_id = BTreeMap::new();
        for (i, rule) in file.rule.iter().enumerate() {
            if by_id.insert(rule.id.clone(), i).is_some() {
                return Err(RulesError::Twice(rule.id.clone()));
            }
        }
        Ok(Self {
            rules: file.rule,
            by_id,
        })
    }

    /// A rule by its id.
    #[must_use]
    pub fn rule(&self, id: &str) -> Option<&Rule> {
        self.by_id.get(id).and_then(|i| self.rules.get(*i))
    }

    /// All rules in file order.
    pub fn iter(&self) -> impl Iterator<Item = &Rule> {
        self.rules.iter()
    }

    /// A single figure by rule and name; none for ranges and for names that are not there.
    #[must_use]
    pub fn figure(&self, id: &str, name: &str) -> Option<f64> {
        self.rule(id)?.value(name)?.value
    }

    /// A range by rule and name.
    #[must_use]
    pub fn range(&self, id: &str, name: &str) -> Option<(f64, f64)> {
        let v = self.rule(id)?.value(name)?;
        Some((v.lo?, v.hi?))
    }
}

impl Rule {
    /// A value by its name.
    #[must_use]
    pub fn value(&self, name: &str) -> Option<&Value> {
        self.values.iter().find(|v| v.name == name)
    }

    /// The source with how far it was seen, as a sheet prints it.
    #[must_use]
    pub fn source_words(&self) -> String {
        let source = self.source.as_str();
        match self.source_kind {
            SourceKind::Practice if source.contains("common practice") && source.len() < 20 => {
                "common practice, no source".to_owned()
            }
            SourceKind::Practice => format!("common practice, no source ({source})"),
            SourceKind::SecondHand if source.contains("not verified in the original") => {
                source.to_owned()
            }
            SourceKind::SecondHand => format!("{source} (not verified in the original)"),
            SourceKind::Memory if source.contains("from memory") => format!("{source} (not seen)"),
            SourceKind::Memory => format!("{source}, from memory, not seen"),
            SourceKind::Computed => format!("computed: {source}"),
            SourceKind::Verified => source.to_owned(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_whole_file_reads_and_every_row_is_usable() {
        let rules = Rules::read(include_str!("../data/rules.toml")).unwrap();
        assert!(rules.iter().count() >= 80);
        for rule in rules.iter() {
            assert!(
                !rule.statement.is_empty() && !rule.source.is_empty(),
                "{}",
                rule.id
            );
            assert!(!rule.applies_to.is_empty(), "{}", rule.id);
            for v in &rule.values {
                match v.op {
                    Side::Between => {
                        assert!(v.lo < v.hi && v.value.is_none(), "{} {}", rule.id, v.name);
                    }
                    _ => assert!(
                        v.value.is_some() && v.lo.is_none(),
                        "{} {}",
                        rule.id,
                        v.name
                    ),
                }
            }
        }
    }

    /// Limits that guard a life. Each entry is the loosest figure that may ever stand in the file;
    /// a row that gets looser fails here, whoever changes it and why.
    #[test]
    fn no_limit_that_guards_a_life_gets_looser() {
        let rules = rules();
        let at_most = [
            ("live.discharge", "work only below", 10.0),
            ("safety.touch_current.repair", "rms", 0.5),
            ("safety.touch_current.60065", "AC peak", 0.7),
            ("safety.touch_current.60065", "DC", 2.0),
            ("safety.touch_current.62368", "AC volts", 30.0),
            ("safety.touch_current.62368", "DC volts", 60.0),
            (
                "safety.touch_current.us_service",
                "volts across the network",
                0.75,
            ),
            ("safety.protective_conductor_current", "class I", 3.5),
            ("safety.earth.vde", "cord to 5 m, to 16 A", 0.3),
            ("safety.earth.vde", "largest", 1.0),
            ("safety.earth.type_test", "resistance", 0.1),
            ("safety.earth.uk", "resistance", 0.1),
            ("safety.plug_pins", "volts", 60.0),
            ("safety.plug_pins", "time", 2.0),
            ("fuse.rating.ul", "steady current / rating", 0.75),
            ("fuse.rating.ul", "opens within 1 h at", 1.35),
            ("fuse.rating.iec", "must open at", 2.1),
            ("fuse.rating.iec", "steady current / rating", 1.0),
            ("power.abort", "plate dissipation", 110.0),
            ("power.abort", "mains current above expected", 150.0),
            ("power.abort", "lamp glow does not fall within", 5.0),
            ("bias.target.fixed_ab", "never above", 70.0),
            ("mains.suppression_cap", "Y capacitor", 4.7e-9),
            (
                "cap.electrolytic.voltage",
                "working volts / rated volts",
                0.9,
            ),
            (
                "cap.electrolytic.voltage",
                "cold-start volts / rated volts",
                1.0,
            ),
            ("live.habits", "RCD trip", 30.0),
        ];
        for (id, name, limit) in at_most {
            let figure = rules.figure(id, name).unwrap_or(f64::INFINITY);
            assert!(
                figure <= limit,
                "{id}, {name}: {figure} is looser than {limit}"
            );
        }
        let at_least = [
            ("safety.insulation", "class I", 1.0),
            ("safety.insulation", "safe isolation, and class II", 2.0),
            (
                "power.abort",
                "bias magnitude at any fixed-bias output grid",
                70.0,
            ),
            ("power.abort", "HT below expected", 70.0),
            ("live.bleeder", "rated watts / V^2/R at highest HT", 2.0),
            ("live.bleeder", "rated volts of the part / highest HT", 1.0),
            ("mains.earth_bond.construction", "bolt", 4.0),
            (
                "mains.earth_bond.construction",
                "extra length of earth lead",
                25.0,
            ),
            ("cap.bias.voltage", "rated / most negative bias", 1.3),
            (
                "cap.cathode_bypass.voltage",
                "output bypass rated / standing",
                2.0,
            ),
            ("cap.coupling.voltage", "rated / highest HT", 1.25),
            ("power.load_first", "load rating / amp power", 2.0),
            ("cold.least_ohms", "HT node to chassis", 20e3),
        ];
        for (id, name, limit) in at_least {
            let figure = rules.figure(id, name).unwrap_or(f64::NEG_INFINITY);
            assert!(
                figure >= limit,
                "{id}, {name}: {figure} is looser than {limit}"
            );
        }
        assert_eq!(
            rules.rule("mains.two_wire").map(|r| r.severity),
            Some(Gravity::Stop)
        );
        let (lo, hi) = rules.range("bias.target.cathode", "push-pull").unwrap();
        assert!(lo <= 80.0 && hi <= 100.0);
    }

    #[test]
    fn every_source_says_how_far_it_was_seen() {
        for rule in rules().iter() {
            let words = rule.source_words();
            let said = match rule.source_kind {
                SourceKind::Practice => words.contains("common practice, no source"),
                SourceKind::SecondHand => words.contains("not verified in the original"),
                SourceKind::Memory => words.contains("not seen") || words.contains("not verified"),
                SourceKind::Computed => words.starts_with("computed"),
                SourceKind::Verified => words.contains("http"),
            };
            assert!(said, "{}: {words}", rule.id);
        }
    }
}
