//! A valve's data sheet with what the program computes from it: the law of each section, what it was fitted to, how
//! far it holds, and its error on every published row.
//!
//! The sheet itself is `wiring::sheet`; the laws are `solve::device`. This is where they meet. Knows no printing.

use serde::Serialize;
use solve::device::{LawEntry, RowErrors, RowPoint, ValveLaw, law_entry, row_errors, row_point};
use wiring::sheet::{Confidence, DropRow, LawCovers, Library, Sheet, StaticRow};

/// One line of the list of types.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ValveLine {
    /// Type number.
    pub name: String,
    /// Other numbers of the same valve.
    pub aliases: Vec<String>,
    /// What it is, in words.
    pub what: &'static str,
    /// Every section has a law; without one a circuit is open there and says so.
    pub computed: bool,
    /// How sure its pins are.
    pub pins: Confidence,
}

/// A data sheet and its laws.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ValveSheet<'l> {
    /// The sheet.
    #[serde(flatten)]
    pub sheet: &'l Sheet,
    /// One for each law that its sections have; a section without one is in none.
    pub laws: Vec<SectionLaw>,
}

/// The law of one section, or of several that share it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SectionLaw {
    /// The sections' letters; empty where the valve has only one.
    pub sections: Vec<char>,
    /// The equations in a phrase.
    pub equations: &'static str,
    /// Where they hold, and their known faults.
    pub validity: &'static str,
    /// The type whose rows the law was fitted to.
    pub fitted_to: String,
    /// What the fit rests on.
    pub fit: String,
    /// What its rows cover, where the law stands in a user's file.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub covers: Option<LawCovers>,
    /// The law on every published row of this type and of the type it was fitted to.
    pub rows: Vec<RowCheck>,
    /// The law on the published drops of a rectifier.
    pub drops: Vec<DropCheck>,
}

/// The law on one published row. SI units; errors are fractions of the sheet's figure, above 0 where the law gives more.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RowCheck {
    /// The type whose sheet has the row.
    pub of: String,
    /// The row.
    pub row: StaticRow,
    /// What the law gives there.
    pub computed: RowPoint,
    /// How far that is off.
    pub errors: RowErrors,
}

/// The law on one published drop.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DropCheck {
    /// The type whose sheet has the row.
    pub of: String,
    /// The row.
    pub row: DropRow,
    /// Volts that the law gives at the row's current.
    pub volts: f64,
    /// How far that is off, as a fraction.
    pub error: f64,
}

/// Every type, by name.
#[must_use]
pub fn valve_list(library: &Library) -> Vec<ValveLine> {
    library
        .types()
        .iter()
        .map(|sheet| ValveLine {
            name: sheet.name.clone(),
            aliases: sheet.aliases.clone(),
            what: sheet.kind.word(),
            computed: sheet
                .sections()
                .iter()
                .all(|s| law_entry(sheet, s.letter).is_some()),
            pins: sheet.pins_origin.confidence,
        })
        .collect()
}

/// The sheet of a type (or alias) with its laws; none for an unknown type, for which
/// [`Library::nearest`] has a guess.
///
/// ```
/// let library = wiring::sheet::Library::built_in();
/// let sheet = bench::valves::valve_sheet(library, "6BQ5").unwrap();
/// assert_eq!(sheet.sheet.name, "EL84");
/// let first = &sheet.laws[0].rows[0];
/// assert!(first.errors.plate.unwrap().abs() < 0.03);
/// ```
#[must_use]
pub fn valve_sheet<'l>(library: &'l Library, name: &str) -> Option<ValveSheet<'l>> {
    let sheet = library.find(name)?;
    Some(ValveSheet {
        sheet,
        laws: section_laws(library, sheet),
    })
}

/// The laws of a sheet's sections.
#[must_use]
pub fn section_laws(library: &Library, sheet: &Sheet) -> Vec<SectionLaw> {
    let mut found: Vec<(LawEntry, Vec<Option<char>>)> = Vec::new();
    for section in sheet.sections() {
        let Some(entry) = law_entry(sheet, section.letter) else {
            continue;
        };
        match found.iter_mut().find(|(known, _)| *known == entry) {
            Some((_, letters)) => letters.push(section.letter),
            None => found.push((entry, vec![section.letter])),
        }
    }
    found
        .into_iter()
        .map(|(entry, letters)| section_law(library, sheet, &entry, &letters))
        .collect()
}

fn section_law(
    library: &Library,
    sheet: &Sheet,
    entry: &LawEntry,
    letters: &[Option<char>],
) -> SectionLaw {
    let mut rows = Vec::new();
    let mut drops = Vec::new();
    let mut gather = |of: &Sheet, wanted: &dyn Fn(Option<char>) -> bool| {
        for row in of.static_rows.iter().filter(|r| wanted(r.section)) {
            if let Some(computed) = row_point(entry.law, row) {
                rows.push(RowCheck {
                    of: of.name.clone(),
                    row: row.clone(),
                    computed,
                    errors: row_errors(&computed, row),
                });
            }
        }
        if let ValveLaw::Rectifier(perveance) = entry.law {
            for row in &of.drop_rows {
                let volts = (row.amps / perveance).powf(2.0 / 3.0);
                drops.push(DropCheck {
                    of: of.name.clone(),
                    row: row.clone(),
                    volts,
                    error: volts / row.volts - 1.0,
                });
            }
        }
    };
    gather(sheet, &|section| {
        section.is_none() || letters.contains(&section)
    });
    if entry.valve != sheet.name
        && let Some(fitted) = library.find(&entry.valve)
    {
        gather(fitted, &|section| {
            section.is_none() || section == entry.section
        });
    }
    let (equations, validity) = match entry.law {
        ValveLaw::Triode(_) => (
            "softplus space current, cut-off that widens with plate volts, grid share (set T)",
            "Plate from 50 V up, grid from cut-off to a volt or two above 0. Below 0.1 mA out by a factor of several.",
        ),
        ValveLaw::Pentode(_) => (
            "softplus space current, knee that grows with current, screen share (set P)",
            "Plate current to some 5 %, screen current at full signal to some 15 %; at rest in cold bias the screen \
             current may come out up to 70 % high. Positive-grid plate current comes out low.",
        ),
        ValveLaw::Rectifier(_) => (
            "current as the 1.5th power of the drop, each plate",
            "One figure for all currents; drops to some 10 %.",
        ),
    };
    SectionLaw {
        sections: letters.iter().flatten().copied().collect(),
        equations,
        validity,
        fitted_to: entry.valve.clone(),
        fit: entry.fit.clone(),
        covers: entry.covers,
        rows,
        drops,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_variant_shows_the_rows_that_its_law_rests_on() {
        let library = Library::built_in();
        let sheet = valve_sheet(library, "5881").expect("a built-in type");
        let [law] = sheet.laws.as_slice() else {
            panic!("one section: {:?}", sheet.laws);
        };
        assert_eq!(law.fitted_to, "6L6GC");
        assert!(law.rows.len() >= 5 && law.rows.iter().all(|r| r.of == "6L6GC"));
    }

    #[test]
    fn each_half_of_an_unlike_pair_has_its_own_rows() {
        let library = Library::built_in();
        let sheet = valve_sheet(library, "12DW7").expect("a built-in type");
        let of = |letter: char| {
            sheet.laws.iter().find(|l| l.sections == [letter]).map(|l| {
                (
                    l.fitted_to.as_str(),
                    l.rows.iter().map(|r| r.row.section).collect::<Vec<_>>(),
                )
            })
        };
        assert_eq!(of('a'), Some(("12AU7", vec![Some('a'), None, None, None])));
        assert_eq!(of('b'), Some(("12AX7", vec![Some('b'), None, None])));
    }

    #[test]
    fn twins_share_one_law_and_unknown_curves_have_none() {
        let library = Library::built_in();
        let twins = valve_sheet(library, "12AX7").expect("a built-in type");
        assert_eq!(twins.laws.len(), 1);
        assert_eq!(twins.laws[0].sections, ['a', 'b']);
        let half = valve_sheet(library, "ECL86").expect("a built-in type");
        assert_eq!(half.laws.len(), 1);
        assert_eq!(half.laws[0].sections, ['t']);
        assert!(
            valve_sheet(library, "5751")
                .expect("a built-in type")
                .laws
                .is_empty()
        );
        assert!(valve_sheet(library, "no such valve").is_none());
        let list = valve_list(library);
        let computed = |name: &str| list.iter().find(|l| l.name == name).map(|l| l.computed);
        assert_eq!(computed("EL84"), Some(true));
        assert_eq!(computed("ECL86"), Some(false));
    }

    #[test]
    fn a_rectifier_s_drops_are_held_against_its_law() {
        let library = Library::built_in();
        let sheet = valve_sheet(library, "GZ34").expect("a built-in type");
        assert_eq!(sheet.laws[0].sections, ['a', 'b']);
        let [drop] = sheet.laws[0].drops.as_slice() else {
            panic!("one drop");
        };
        assert!((drop.volts - 17.0).abs() < 0.1);
    }
}
