//! Data sheets of valves: pins, heaters, limits, capacitances, and published rows.
//!
//! Knows what a sheet prints and how sure each figure is. Knows no equations: those that
//! meet the rows live beside the solver. The built-in library is `data/valves.toml`; a
//! user's own types come in the same layout.
//!
//! ```
//! let library = wiring::sheet::Library::built_in();
//! let sheet = library.find("ecc83").unwrap();
//! assert_eq!(sheet.name, "12AX7");
//! ```

mod law;
mod limits;
mod read;
mod row_file;
mod rows;
mod types;
mod write;

#[cfg(test)]
mod tests;

pub use law::{LawCovers, LawForm, SheetLaw};
pub use limits::{LimitQuantity, LimitSet, RatingSystem};
pub use row_file::{ROW_CODES, ROW_COLUMNS, RowFile, TypedRow, read_rows};
pub use rows::{Accept, CurvePoint, DropRow, StageRow, StaticRow, SupplyRow};
pub use types::{
    Base, Capacitances, Confidence, Heater, HeaterPart, HeaterWay, Origin, Pin, PinElectrode,
    Section, Sheet, Source, ValveKind,
};

pub use write::{source_block, valve_block};

use crate::diagnostic::Diagnostic;
use std::collections::BTreeMap;
use std::sync::OnceLock;

const BUILT_IN: &str = include_str!("../../data/valves.toml");

/// All data sheets at hand.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Library {
    sheets: Vec<Sheet>,
    sources: BTreeMap<String, Source>,
}

impl Library {
    /// The sheets that come with the program; read once.
    #[must_use]
    pub fn built_in() -> &'static Self {
        static LIBRARY: OnceLock<Library> = OnceLock::new();
        LIBRARY.get_or_init(|| Self::read_built_in().0)
    }

    fn read_built_in() -> (Self, Vec<Diagnostic>) {
        read::read(BUILT_IN, &Self::default(), 0)
    }

    /// The built-in sheets with a user's own types added, and every problem in the user's text.
    ///
    /// The text has the layout of the built-in file, `[source.KEY]` and `[[valve]]` tables. A type that is already
    /// there is replaced as a whole. Whatever is wrong with one type leaves the others usable; the diagnostics
    /// carry file index 0 and the line of the type.
    ///
    /// ```
    /// let text = "[source.bench]\ntext = 'my own tester'\nstatus = 'seen'\n\
    ///     [[valve]]\ntype = 'X99'\nlike = '12AX7'\n";
    /// let (library, problems) = wiring::sheet::Library::with_user_file(text);
    /// assert!(problems.is_empty());
    /// assert!(library.find("x 99").is_some());
    /// ```
    #[must_use]
    pub fn with_user_file(text: &str) -> (Self, Vec<Diagnostic>) {
        let (mut library, problems) = Self::built_in().added(text);
        library.sheets.sort_by(|a, b| a.name.cmp(&b.name));
        (library, problems)
    }

    /// The types that a user's text describes, by name.
    #[must_use]
    pub fn names_in(text: &str) -> Vec<String> {
        let (own, _) = read::read(text, Self::built_in(), 0);
        own.sheets.into_iter().map(|sheet| sheet.name).collect()
    }

    fn added(&self, text: &str) -> (Self, Vec<Diagnostic>) {
        let (own, problems) = read::read(text, self, 0);
        let mut library = self.clone();
        library
            .sheets
            .retain(|old| own.sheets.iter().all(|new| new.name != old.name));
        // A user's type may bear a name that was an alias of another.
        for old in &mut library.sheets {
            old.aliases.retain(|alias| {
                own.sheets
                    .iter()
                    .all(|new| plain(&new.name) != plain(alias))
            });
        }
        library.sheets.extend(own.sheets);
        library.sources.extend(own.sources);
        library.hand_laws_on();
        (library, problems)
    }

    /// A sheet that names another type's curves has that type's own law, where there is one.
    fn hand_laws_on(&mut self) {
        let found: Vec<(usize, SheetLaw)> = self
            .sheets
            .iter()
            .enumerate()
            .flat_map(|(at, sheet)| sheet.curves.iter().map(move |c| (at, sheet, c)))
            .filter_map(|(at, sheet, (section, name))| {
                let from = self.find(name).filter(|from| from.name != sheet.name)?;
                let law = from.own_law(*section).or_else(|| from.own_law(None))?;
                let there = sheet.own_laws.iter().any(|l| l.section == *section);
                (!there).then(|| {
                    let law = SheetLaw {
                        section: *section,
                        of: Some(from.name.clone()),
                        ..law.clone()
                    };
                    (at, law)
                })
            })
            .collect();
        for (at, law) in found {
            if let Some(sheet) = self.sheets.get_mut(at) {
                sheet.own_laws.push(law);
            }
        }
    }

    /// The sheet of a type by its name or an alias; case, spaces, hyphens and dots don't matter, and `6V6/6V6GT`
    /// is found by either half.
    #[must_use]
    pub fn find(&self, name: &str) -> Option<&Sheet> {
        self.find_one(name)
            .or_else(|| name.split('/').find_map(|half| self.find_one(half)))
    }

    fn find_one(&self, name: &str) -> Option<&Sheet> {
        let wanted = plain(name);
        if wanted.is_empty() {
            return None;
        }
        self.sheets
            .iter()
            .find(|sheet| plain(&sheet.name) == wanted)
            .or_else(|| {
                self.sheets
                    .iter()
                    .find(|sheet| sheet.aliases.iter().any(|alias| plain(alias) == wanted))
            })
    }

    /// The types whose number is the one typed with letters behind it, as the 6SN7GT is a 6SN7; the one with the fewest
    /// letters first, which is as a rule the older one with the lower limits.
    #[must_use]
    pub fn with_suffix(&self, name: &str) -> Vec<&Sheet> {
        let bare = plain(name);
        if !bare.ends_with(|c: char| c.is_ascii_digit()) {
            return Vec::new();
        }
        let letters = |known: &str| {
            let known = plain(known);
            let rest = known.strip_prefix(&bare)?;
            let is_suffix = !rest.is_empty() && rest.chars().all(|c| c.is_ascii_uppercase());
            is_suffix.then(|| rest.to_owned())
        };
        let mut found: Vec<(usize, String, &Sheet)> = self
            .sheets
            .iter()
            .filter_map(|sheet| {
                let shortest = sheet.names().filter_map(letters).min_by_key(String::len)?;
                Some((shortest.len(), shortest, sheet))
            })
            .collect();
        found.sort_by(|a, b| (a.0, &a.1).cmp(&(b.0, &b.1)));
        found.into_iter().map(|(.., sheet)| sheet).collect()
    }

    /// The name or alias that is nearest to what was typed, if one is near enough to be meant.
    #[must_use]
    pub fn nearest(&self, name: &str) -> Option<&str> {
        let wanted = plain(name);
        if wanted.is_empty() || wanted.len() > 40 {
            return None;
        }
        if let Some(sheet) = self.with_suffix(name).first() {
            return Some(&sheet.name);
        }
        let mut best: Option<(f64, &str)> = None;
        for known in self.sheets.iter().flat_map(Sheet::names) {
            let likeness = strsim::normalized_damerau_levenshtein(&wanted, &plain(known));
            if likeness >= 0.6 && best.is_none_or(|(most, _)| likeness > most) {
                best = Some((likeness, known));
            }
        }
        best.map(|(_, known)| known)
    }

    /// Every sheet, by name.
    #[must_use]
    pub fn types(&self) -> &[Sheet] {
        &self.sheets
    }

    /// A source by its key.
    #[must_use]
    pub fn source(&self, key: &str) -> Option<&Source> {
        self.sources.get(key)
    }

    /// Every source by key.
    pub fn sources(&self) -> impl Iterator<Item = (&str, &Source)> {
        self.sources
            .iter()
            .map(|(key, source)| (key.as_str(), source))
    }

    /// The sources of a row in full words with their status, `; ` between several.
    #[must_use]
    pub fn cite(&self, origin: &Origin) -> String {
        let all: Vec<String> = origin
            .sources
            .iter()
            .map(|key| {
                self.source(key)
                    .map_or_else(|| key.clone(), Source::in_full)
            })
            .collect();
        all.join("; ")
    }
}

/// A type number with everything taken out that people write differently.
fn plain(name: &str) -> String {
    name.chars()
        .filter(|c| c.is_alphanumeric())
        .flat_map(char::to_uppercase)
        .collect()
}
