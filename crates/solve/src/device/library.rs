//! Which law a type has: the parameters of `data/laws.toml`.
//!
//! Laws go by the type whose curves a sheet says it has; aliases, variants and `like` are the sheet's business.

use super::{PentodeLaw, RectifierLaw, TriodeLaw};
use serde::Deserialize;
use std::sync::OnceLock;
use wiring::sheet::{LawCovers, LawForm, Library, Sheet, SheetLaw};

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
    /// What its rows cover, where a user's file says.
    pub covers: Option<LawCovers>,
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
        covers: None,
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
        covers: None,
    });
    let rectifiers = file.rectifier.into_iter().map(|r| LawEntry {
        valve: r.valve,
        section: None,
        law: ValveLaw::Rectifier(r.perveance),
        fit: r.fit,
        covers: None,
    });
    Ok(triodes.chain(pentodes).chain(rectifiers).collect())
}

/// The law of a section of a sheet, with what it rests on; none where no curves are known. A law in the sheet itself
/// goes before the built-in one of the type that it names.
#[must_use]
pub fn law_entry(sheet: &Sheet, section: Option<char>) -> Option<LawEntry> {
    if let Some(own) = sheet.own_law(section) {
        let law = own_law(own).filter(|law| suits(*law, sheet, section))?;
        return Some(LawEntry {
            valve: own.of.clone().unwrap_or_else(|| sheet.name.clone()),
            section: own.section,
            law,
            fit: own.fit.clone(),
            covers: Some(own.covers),
        });
    }
    built_in(sheet, section).cloned()
}

fn built_in(sheet: &Sheet, section: Option<char>) -> Option<&'static LawEntry> {
    let curves = sheet.curves_of(section)?;
    laws()
        .iter()
        .find(|entry| {
            entry.valve == curves && (entry.section.is_none() || entry.section == section)
        })
        .filter(|entry| suits(entry.law, sheet, section))
}

/// A law that needs a screen does not suit a section without one.
fn suits(law: ValveLaw, sheet: &Sheet, section: Option<char>) -> bool {
    let screen = sheet
        .sections()
        .iter()
        .any(|s| s.letter == section && s.screen);
    match law {
        ValveLaw::Pentode(_) => screen || section.is_none(),
        ValveLaw::Triode(_) => !screen,
        ValveLaw::Rectifier(_) => sheet.kind.is_rectifier(),
    }
}

/// The law whose numbers stand in a sheet.
fn own_law(own: &SheetLaw) -> Option<ValveLaw> {
    let n = |name: &str| own.get(name);
    Some(match own.form {
        LawForm::Triode => ValveLaw::Triode(TriodeLaw {
            k: n("k")?,
            mu: n("mu")?,
            x: n("x")?,
            w0: n("w0")?,
            w1: n("w1")?,
            v0: n("v0")?,
            vb: n("vb")?,
            d: n("d")?,
            wg: n("wg")?,
            vg0: n("vg0")?,
        }),
        LawForm::Pentode => ValveLaw::Pentode(PentodeLaw {
            k: n("k")?,
            mu: n("mu")?,
            x: n("x")?,
            w0: n("w0")?,
            w1: n("w1")?,
            lam: n("lam")?,
            s: n("s")?,
            m: n("m")?,
            vmin: n("vmin")?,
            v1: n("v1")?,
            n: n("n")?,
            r0: n("r0")?,
            d: n("d")?,
            wg: n("wg")?,
            vg0: n("vg0")?,
        }),
        LawForm::Rectifier => ValveLaw::Rectifier(n("perveance")?),
    })
}

impl ValveLaw {
    /// Its numbers by the names that a valve file gives them, with the equations they are for.
    #[must_use]
    pub fn numbers(self) -> (LawForm, Vec<(&'static str, f64)>) {
        match self {
            Self::Triode(l) => (
                LawForm::Triode,
                LawForm::Triode
                    .names()
                    .zip([l.k, l.mu, l.x, l.w0, l.w1, l.v0, l.vb, l.d, l.wg, l.vg0])
                    .collect(),
            ),
            Self::Pentode(l) => (
                LawForm::Pentode,
                LawForm::Pentode
                    .names()
                    .zip([
                        l.k, l.mu, l.x, l.w0, l.w1, l.lam, l.s, l.m, l.vmin, l.v1, l.n, l.r0, l.d,
                        l.wg, l.vg0,
                    ])
                    .collect(),
            ),
            Self::Rectifier(p) => (LawForm::Rectifier, vec![("perveance", p)]),
        }
    }
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
    match sheet.own_law(section) {
        Some(own) => own_law(own).filter(|law| suits(*law, sheet, section)),
        None => built_in(sheet, section).map(|entry| entry.law),
    }
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
    fn numbers_in_a_file_give_the_law_back_and_go_before_a_name() {
        let of = |entry: &LawEntry| {
            let (form, numbers) = entry.law.numbers();
            let all: Vec<String> = numbers
                .iter()
                .map(|(n, v)| format!("{n} = {v:?}"))
                .collect();
            format!(
                "law = {{ equations = \"{}\", {}, fit = \"mine\", plate_volts = [90, 250], confidence = \"low\", source = \"common\" }}",
                form.word(),
                all.join(", ")
            )
        };
        for entry in laws().iter().filter(|e| e.section.is_none()) {
            let text = format!(
                "[[valve]]\ntype = \"X1\"\nlike = \"{}\"\n{}\n",
                entry.valve,
                of(entry)
            );
            let (library, problems) = Library::with_user_file(&text);
            assert_eq!(problems, Vec::new(), "{text}");
            let sheet = library.find("X1").unwrap();
            let section = sheet.sections()[0].letter;
            assert_eq!(law_for(sheet, section), Some(entry.law), "{}", entry.valve);
            let found = law_entry(sheet, section).unwrap();
            assert_eq!((found.valve.as_str(), found.fit.as_str()), ("X1", "mine"));
            assert_eq!(found.covers.unwrap().plate_volts, Some((90.0, 250.0)));
        }
        // A kin, and a type that names its curves, share the law; a pentode's does not suit a triode.
        let entry = &laws()[1];
        let text = format!(
            "[[valve]]\ntype = \"X1\"\nlike = \"12AX7\"\n{}\n\
             [[valve]]\ntype = \"X2\"\nlike = \"X1\"\n\
             [[valve]]\ntype = \"X3\"\nlike = \"12AX7\"\ncurves = {{ a = \"X1\", b = \"12AU7\" }}\n\
             [[valve]]\ntype = \"12AX7\"\nlike = \"12AX7\"\n{}\n\
             [[valve]]\ntype = \"X4\"\nlike = \"12AX7\"\n{}\n",
            of(entry),
            of(entry),
            of(laws().iter().find(|e| e.valve == "EL84").unwrap()),
        );
        let (library, problems) = Library::with_user_file(&text);
        assert_eq!(problems, Vec::new(), "{text}");
        let law = |name: &str, section| law_for(library.find(name).unwrap(), Some(section));
        assert_eq!(law("X2", 'b'), Some(entry.law));
        assert_eq!(law("X3", 'a'), Some(entry.law));
        assert_eq!(
            law("X3", 'b'),
            triode_law("12AU7", None).map(ValveLaw::Triode)
        );
        assert_eq!(
            law("12DW7", 'b'),
            Some(entry.law),
            "a built-in type that was replaced"
        );
        assert_eq!(law("X4", 'a'), None);
        let named = law_entry(library.find("X3").unwrap(), Some('a')).unwrap();
        assert_eq!(named.valve, "X1");
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
