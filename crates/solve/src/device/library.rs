//! Which law a type has: the parameters of `data/laws.toml`.
//!
//! Laws go by the type whose curves a sheet says it has; aliases, variants and `like` are the sheet's business.

use super::{PentodeLaw, RectifierLaw, TriodeLaw};
use serde::Deserialize;
use std::sync::OnceLock;
use wiring::sheet::{Library, Sheet};

const BUILT_IN: &str = include_str!("../../data/laws.toml");

/// The law of one section.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ValveLaw {
    /// Equation set T.
    Triode(TriodeLaw),
    /// Equation set P.
    Pentode(PentodeLaw),
    /// One plate of a rectifier: its perveance, A/V^1.5.
    Rectifier(f64),
}

impl ValveLaw {
    /// The law at a fraction of full emission: all currents scale (1 is the average valve).
    #[must_use]
    pub fn at_emission(self, fraction: f64) -> Self {
        match self {
            Self::Triode(law) => Self::Triode(TriodeLaw {
                k: law.k * fraction,
                ..law
            }),
            Self::Pentode(law) => Self::Pentode(PentodeLaw {
                k: law.k * fraction,
                ..law
            }),
            Self::Rectifier(perveance) => Self::Rectifier(perveance * fraction),
        }
    }

    /// The rectifying law of one plate, for a rectifier.
    #[must_use]
    pub fn rectifier(self) -> Option<RectifierLaw> {
        match self {
            Self::Rectifier(perveance) => Some(RectifierLaw::Valve(perveance)),
            _ => None,
        }
    }
}

/// A law with what it rests on.
#[derive(Debug, Clone, PartialEq)]
pub struct LawEntry {
    /// The type whose sheet it was fitted to.
    pub valve: String,
    /// The section of a triode-pentode.
    pub section: Option<char>,
    /// The law.
    pub law: ValveLaw,
    /// What the fit rests on.
    pub fit: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    triode: Vec<RawTriode>,
    pentode: Vec<RawPentode>,
    rectifier: Vec<RawRectifier>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawTriode {
    valve: String,
    section: Option<char>,
    k: f64,
    mu: f64,
    x: f64,
    w0: f64,
    w1: f64,
    v0: f64,
    vb: f64,
    d: f64,
    wg: f64,
    vg0: f64,
    fit: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawPentode {
    valve: String,
    section: Option<char>,
    k: f64,
    mu: f64,
    x: f64,
    w0: f64,
    w1: f64,
    lam: f64,
    s: f64,
    m: f64,
    vmin: f64,
    v1: f64,
    n: f64,
    r0: f64,
    d: f64,
    wg: f64,
    vg0: f64,
    fit: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawRectifier {
    valve: String,
    perveance: f64,
    fit: String,
}

/// Every law there is, triodes first, then pentodes, then rectifiers.
#[must_use]
pub fn laws() -> &'static [LawEntry] {
    static LAWS: OnceLock<Vec<LawEntry>> = OnceLock::new();
    LAWS.get_or_init(|| read(BUILT_IN).unwrap_or_default())
}

fn read(text: &str) -> Result<Vec<LawEntry>, toml::de::Error> {
    let file: File = toml::from_str(text)?;
    let triodes = file.triode.into_iter().map(|t| LawEntry {
        valve: t.valve,
        section: t.section,
        law: ValveLaw::Triode(TriodeLaw {
            k: t.k,
            mu: t.mu,
            x: t.x,
            w0: t.w0,
            w1: t.w1,
            v0: t.v0,
            vb: t.vb,
            d: t.d,
            wg: t.wg,
            vg0: t.vg0,
        }),
        fit: t.fit,
    });
    let pentodes = file.pentode.into_iter().map(|p| LawEntry {
        valve: p.valve,
        section: p.section,
        law: ValveLaw::Pentode(PentodeLaw {
            k: p.k,
            mu: p.mu,
            x: p.x,
            w0: p.w0,
            w1: p.w1,
            lam: p.lam,
            s: p.s,
            m: p.m,
            vmin: p.vmin,
            v1: p.v1,
            n: p.n,
            r0: p.r0,
            d: p.d,
            wg: p.wg,
            vg0: p.vg0,
        }),
        fit: p.fit,
    });
    let rectifiers = file.rectifier.into_iter().map(|r| LawEntry {
        valve: r.valve,
        section: None,
        law: ValveLaw::Rectifier(r.perveance),
        fit: r.fit,
    });
    Ok(triodes.chain(pentodes).chain(rectifiers).collect())
}

/// The law of a section of a sheet, with what it rests on; none where no curves are known.
#[must_use]
pub fn law_entry(sheet: &Sheet, section: Option<char>) -> Option<&'static LawEntry> {
    let curves = sheet.curves_of(section)?;
    laws()
        .iter()
        .find(|entry| {
            entry.valve == curves && (entry.section.is_none() || entry.section == section)
        })
        .filter(|entry| {
            // A law that needs a screen does not suit a section without one.
            let screen = sheet
                .sections()
                .iter()
                .any(|s| s.letter == section && s.screen);
            match entry.law {
                ValveLaw::Pentode(_) => screen || section.is_none(),
                ValveLaw::Triode(_) => !screen,
                ValveLaw::Rectifier(_) => true,
            }
        })
}

/// The law of a section of a sheet; none where no curves are known.
///
/// ```
/// use solve::device::{ValveLaw, law_for};
/// let library = wiring::sheet::Library::built_in();
/// let sheet = library.find("ECC832").unwrap();
/// let high_mu = law_for(sheet, Some('b')).unwrap();
/// assert!(matches!(high_mu, ValveLaw::Triode(law) if law.mu > 100.0));
/// ```
#[must_use]
pub fn law_for(sheet: &Sheet, section: Option<char>) -> Option<ValveLaw> {
    law_entry(sheet, section).map(|entry| entry.law)
}

/// The triode law of a built-in type.
#[must_use]
pub fn triode_law(name: &str, section: Option<char>) -> Option<TriodeLaw> {
    match law_for(Library::built_in().find(name)?, section)? {
        ValveLaw::Triode(law) => Some(law),
        _ => None,
    }
}

/// The pentode law of a built-in type.
#[must_use]
pub fn pentode_law(name: &str, section: Option<char>) -> Option<PentodeLaw> {
    match law_for(Library::built_in().find(name)?, section)? {
        ValveLaw::Pentode(law) => Some(law),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_law_is_read_and_has_a_sheet() {
        let all = read(BUILT_IN).unwrap();
        assert_eq!(all.len(), 8 + 14 + 6);
        for entry in &all {
            let sheet = Library::built_in().find(&entry.valve).unwrap();
            assert_eq!(
                law_for(sheet, entry.section),
                Some(entry.law),
                "{}",
                entry.valve
            );
            assert!(!entry.fit.is_empty());
        }
    }

    #[test]
    fn sections_aliases_and_variants_lead_to_their_law() {
        let law = |name: &str, section| law_for(Library::built_in().find(name).unwrap(), section);
        assert_eq!(law("7025", Some('a')), law("12AX7", Some('b')));
        assert_eq!(law("12DW7", Some('a')), law("12AU7", Some('a')));
        assert_eq!(law("12DW7", Some('b')), law("12AX7", Some('a')));
        assert_eq!(law("5881", None), law("6L6GC", None));
        assert_eq!(law("6L6", None), law("6L6GC", None));
        assert_eq!(law("6SN7GTB", Some('b')), law("6J5GT", None));
        assert_eq!(law("5U4G", Some('a')), Some(ValveLaw::Rectifier(7.778e-4)));
        assert_eq!(law("5Y3GT", Some('b')), Some(ValveLaw::Rectifier(3.1e-4)));
        assert!(matches!(law("6U8A", Some('t')), Some(ValveLaw::Triode(_))));
        assert!(matches!(law("6U8A", Some('p')), Some(ValveLaw::Pentode(_))));
        assert!(matches!(law("ECL86", Some('t')), Some(ValveLaw::Triode(_))));
        assert_eq!(law("ECL86", Some('p')), None);
        assert_eq!(law("5751", Some('a')), None);
        assert_eq!(law("OA2", None), None);
        // Emission scales every current.
        let weak = law("EL84", None).map(|l| l.at_emission(0.7));
        let (Some(ValveLaw::Pentode(weak)), Some(ValveLaw::Pentode(full))) =
            (weak, law("EL84", None))
        else {
            panic!("EL84 is a pentode");
        };
        let ratio = weak.k / full.k;
        assert!((ratio - 0.7).abs() < 1e-12);
    }
}
