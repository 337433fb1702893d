//! From descriptions to parts, and from a typed terminal to a part's terminal.

use crate::circuit::{Electrode, Kind, Known, Part, PinUse, Terminal};
use crate::codes;
use crate::collect::Drafts;
use crate::describe::{self, Ctx, Description, What};
use crate::diagnostic::Place;
use crate::names::{self, Class};
use crate::problems::{Problems, listed};
use crate::sheet::Library;
use std::collections::HashMap;

/// Sockets have no more pins than this; beyond it a number is a slip even without a sheet.
const MOST_PINS: usize = 20;

/// What a name stands for.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Named {
    /// One part.
    Part(usize),
    /// A can, a pot of several gangs, a switch of several poles: its members by letter.
    Group(Vec<(char, usize)>, bool),
}

/// A terminal as found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum End {
    /// Part and terminal index.
    Terminal(usize, usize),
    /// The common minus of the can whose first section is this part.
    Common(usize),
}

/// Why a terminal was not found.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum NoEnd {
    /// No part of this name.
    NoPart,
    /// The part has no such terminal; these it has.
    NoTerminal(Vec<String>),
    /// It needs a section letter; these are possible.
    NeedsSection(Vec<String>),
    /// It has no such section; these are possible.
    NoSection(Vec<String>),
}

/// All parts, and names to find them by.
#[derive(Debug, Default)]
pub(crate) struct Parts {
    /// In the order first named.
    pub(crate) list: Vec<Part>,
    by_name: HashMap<String, Named>,
    /// Cans: name, sections, place.
    pub(crate) cans: Vec<(String, Vec<usize>, Place)>,
    /// Names of parents in order, for sets and offers.
    pub(crate) parents: Vec<String>,
}

impl Parts {
    /// Makes the parts of all drafts.
    pub(crate) fn build(drafts: &Drafts, library: &Library, problems: &mut Problems) -> Self {
        let mut parts = Self::default();
        for draft in &drafts.list {
            // `C9a` named without a description is a section of `C9`, when that has sections.
            if let Some((base, _)) = names::without_section(&draft.name)
                && let Some((owner, place)) = drafts.get(base).and_then(|d| d.described.as_ref())
                && let Some(letters) = sections(&owner.what)
            {
                if let Some((own, at)) = &draft.described {
                    parts.check_section(&draft.name, owner, own, *at, *place, &letters, problems);
                }
                continue;
            }
            let fallback;
            let (description, place) = match &draft.described {
                Some((description, place)) => (description, *place),
                None => {
                    let mut ctx = Ctx {
                        name: &draft.name,
                        place: draft.first,
                        library,
                        problems,
                    };
                    let made = draft
                        .class
                        .and_then(|class| describe::by_class(&mut ctx, class));
                    match made {
                        Some(made) => {
                            fallback = made;
                            (&fallback, draft.first)
                        }
                        None => {
                            if draft.class == Some(Class::Transformer) {
                                problems.add(
                                    codes::NOT_DESCRIBED,
                                    draft.first,
                                    format!("Nothing says what sort of transformer `{}` is.", draft.name),
                                    format!("Add a line, like `{0} power 230 V: hv 275-0-275 V 70 mA, heater 6.3 V 2.5 A` or `{0} output 8k:8 ohm`.", draft.name),
                                );
                            }
                            parts.unknown(&draft.name, draft.first);
                            continue;
                        }
                    }
                }
            };
            parts.add(&draft.name, description, place);
        }
        parts
    }

    /// Adds a part that nothing is known of, so that walks to its terminals still hold.
    pub(crate) fn unknown(&mut self, name: &str, place: Place) {
        self.push(name, None, Kind::Unknown, &[], Known::default(), place);
        let at = self.list.len() - 1;
        self.by_name.insert(name.to_owned(), Named::Part(at));
    }

    fn push(
        &mut self,
        name: &str,
        parent: Option<&str>,
        kind: Kind,
        terminals: &[String],
        known: Known,
        place: Place,
    ) {
        self.list.push(Part {
            name: name.to_owned(),
            parent: parent.map(str::to_owned),
            kind,
            terminals: terminals
                .iter()
                .map(|n| Terminal {
                    name: n.clone(),
                    node: None,
                })
                .collect(),
            known,
            place,
            assumed: false,
        });
    }

    fn add(&mut self, name: &str, description: &Description, place: Place) {
        let known = &description.known;
        let two = describe::terminals(&["1", "2"]);
        let three = describe::terminals(&["1", "2", "3"]);
        let members: Vec<(char, Kind, Vec<String>, Known)> = match &description.what {
            What::One(kind, terminals) => {
                self.push(name, None, kind.clone(), terminals, known.clone(), place);
                let at = self.list.len() - 1;
                self.by_name.insert(name.to_owned(), Named::Part(at));
                return;
            }
            What::Can(sections) => sections
                .iter()
                .map(|s| {
                    let kind = Kind::Capacitor {
                        farads: s.farads,
                        plus_first: Some(true),
                    };
                    (s.letter, kind, two.clone(), s.known.clone())
                })
                .collect(),
            What::Gangs(kind, count) => letters(*count)
                .map(|l| (l, kind.clone(), three.clone(), known.clone()))
                .collect(),
            What::Poles(kind, terminals, count) => letters(*count)
                .map(|l| (l, kind.clone(), terminals.clone(), known.clone()))
                .collect(),
        };
        let can = matches!(description.what, What::Can(_));
        let mut group = Vec::new();
        for (letter, kind, terminals, known) in members {
            let member = format!("{name}{letter}");
            self.push(&member, Some(name), kind, &terminals, known, place);
            let at = self.list.len() - 1;
            group.push((letter, at));
            self.by_name.insert(member, Named::Part(at));
        }
        if can {
            let sections = group.iter().map(|g| g.1).collect();
            self.cans.push((name.to_owned(), sections, place));
        }
        self.parents.push(name.to_owned());
        self.by_name
            .insert(name.to_owned(), Named::Group(group, can));
    }

    /// A section named with a description of its own must agree with its can.
    #[expect(
        clippy::too_many_arguments,
        reason = "two descriptions with their names and places, and where problems go"
    )]
    fn check_section(
        &mut self,
        name: &str,
        owner: &Description,
        own: &Description,
        at: Place,
        place: Place,
        letters: &[char],
        problems: &mut Problems,
    ) {
        let letter = name.chars().last();
        if !letters.iter().any(|l| Some(*l) == letter) {
            return;
        }
        let same = match (&owner.what, &own.what) {
            (What::Can(sections), What::One(Kind::Capacitor { farads, .. }, _)) => sections
                .iter()
                .filter(|s| Some(s.letter) == letter)
                .all(|s| farads.is_none() || s.farads.is_none() || s.farads == *farads),
            _ => own.bare,
        };
        if !same {
            problems.clash(
                codes::DESCRIBED_DIFFERENTLY,
                at,
                place,
                format!(
                    "`{name}` is described here and on line {} with different values.",
                    place.line
                ),
                "Leave one of them out, or give the second part its own name.",
            );
        }
    }

    /// What a name stands for.
    pub(crate) fn named(&self, name: &str) -> Option<&Named> {
        self.by_name.get(name)
    }

    /// Is this the name of a part or of a group of them?
    pub(crate) fn is_part(&self, name: &str) -> bool {
        self.by_name.contains_key(name)
    }

    /// The part of this name.
    pub(crate) fn part(&self, name: &str) -> Option<&Part> {
        match self.named(name)? {
            Named::Part(at) => self.list.get(*at),
            Named::Group(..) => None,
        }
    }

    /// Terminals of a part as they are typed.
    pub(crate) fn offers(&self, at: usize) -> Vec<String> {
        self.list.get(at).map_or_else(Vec::new, |part| {
            part.terminals
                .iter()
                .map(|t| format!("{}.{}", part.name, t.name))
                .collect()
        })
    }

    /// Terminals of all members of a group.
    pub(crate) fn group_offers(&self, members: &[(char, usize)]) -> Vec<String> {
        members.iter().flat_map(|m| self.offers(m.1)).collect()
    }

    /// The terminal of `base.word`. Terminals of unknown parts, and electrodes of valves
    /// without a sheet, are made when they are first named.
    pub(crate) fn terminal(&mut self, base: &str, word: &str) -> Result<End, NoEnd> {
        match self.by_name.get(base).cloned() {
            Some(Named::Part(at)) => self.terminal_of(at, None, word),
            Some(Named::Group(members, can)) => {
                if can && word == "can" {
                    return members
                        .first()
                        .map(|m| End::Common(m.1))
                        .ok_or(NoEnd::NoTerminal(Vec::new()));
                }
                let mut offers: Vec<String> = members
                    .iter()
                    .filter_map(|m| self.list.get(m.1))
                    .filter(|p| p.terminals.iter().any(|t| t.name == word))
                    .map(|p| format!("{}.{word}", p.name))
                    .collect();
                if can {
                    offers.push(format!("{base}.can"));
                }
                if offers.is_empty() {
                    Err(NoEnd::NoTerminal(self.group_offers(&members)))
                } else {
                    Err(NoEnd::NeedsSection(offers))
                }
            }
            None => {
                let (whole, section) = names::without_section(base).ok_or(NoEnd::NoPart)?;
                match self.by_name.get(whole).cloned() {
                    Some(Named::Part(at)) => self.terminal_of(at, Some(section), word),
                    Some(Named::Group(members, _)) => {
                        Err(NoEnd::NoSection(self.group_offers(&members)))
                    }
                    None => Err(NoEnd::NoPart),
                }
            }
        }
    }

    fn terminal_of(&mut self, at: usize, section: Option<char>, word: &str) -> Result<End, NoEnd> {
        let offers = self.offers(at);
        let Some(part) = self.list.get_mut(at) else {
            return Err(NoEnd::NoPart);
        };
        let found = part.terminals.iter().position(|t| t.name == word);
        match &mut part.kind {
            Kind::Valve(valve) => {
                let number = word.parse::<usize>().ok();
                let letters: Vec<char> = {
                    let mut l: Vec<char> =
                        valve.electrodes.iter().filter_map(|u| u.section).collect();
                    l.sort_unstable();
                    l.dedup();
                    l
                };
                let sheetless = valve.electrodes.iter().all(|u| {
                    part.terminals
                        .get(u.terminal)
                        .is_none_or(|t| t.name.parse::<usize>().is_err())
                });
                if let Some(section) = section
                    && !sheetless
                    && !letters.contains(&section)
                {
                    return Err(NoEnd::NoSection(
                        letters
                            .iter()
                            .map(|l| format!("{}{l}.{word}", part.name))
                            .chain(letters.is_empty().then(|| format!("{}.{word}", part.name)))
                            .collect(),
                    ));
                }
                if let (Some(t), Some(_)) = (found, number) {
                    // A section letter beside a pin number must be that pin's.
                    let other = valve
                        .electrodes
                        .iter()
                        .any(|u| u.terminal == t && u.section.is_some() && u.section != section);
                    if section.is_some() && other {
                        return Err(NoEnd::NoTerminal(vec![format!("{}.{word}", part.name)]));
                    }
                    return Ok(End::Terminal(at, t));
                }
                let electrode = Electrode::from_word(word);
                if sheetless {
                    let sound = number
                        .is_some_and(|n| (1..=MOST_PINS).contains(&n) && n.to_string() == word);
                    if !sound && electrode.is_none() {
                        return Err(NoEnd::NoTerminal(electrode_offers(&part.name, section)));
                    }
                    let name = match section {
                        Some(s) if number.is_none() => format!("{s}.{word}"),
                        _ => word.to_owned(),
                    };
                    if let Some(t) = part.terminals.iter().position(|t| t.name == name) {
                        return Ok(End::Terminal(at, t));
                    }
                    let terminal = part.terminals.len();
                    part.terminals.push(Terminal { name, node: None });
                    if let Some(electrode) = electrode {
                        valve.electrodes.push(PinUse {
                            terminal,
                            section,
                            electrode,
                        });
                    }
                    return Ok(End::Terminal(at, terminal));
                }
                let Some(electrode) = electrode else {
                    let pins = part.terminals.len();
                    let mut offers: Vec<String> =
                        vec![format!("{}.1", part.name), format!("{}.{pins}", part.name)];
                    offers.extend(valve_offers(&part.name, valve));
                    return Err(NoEnd::NoTerminal(offers));
                };
                let uses: Vec<&PinUse> = valve
                    .electrodes
                    .iter()
                    .filter(|u| u.electrode == electrode)
                    .collect();
                let fitting =
                    |u: &&PinUse| section.is_none() || u.section.is_none() || u.section == section;
                let fits: Vec<&PinUse> = uses.into_iter().filter(fitting).collect();
                let several = fits
                    .iter()
                    .any(|u| fits.iter().any(|v| u.section != v.section));
                match fits.first() {
                    None => Err(NoEnd::NoTerminal(valve_offers(&part.name, valve))),
                    Some(_) if several => Err(NoEnd::NeedsSection(
                        letters
                            .iter()
                            .filter(|l| fits.iter().any(|u| u.section == Some(**l)))
                            .map(|l| format!("{}{l}.{word}", part.name))
                            .collect(),
                    )),
                    Some(u) => Ok(End::Terminal(at, u.terminal)),
                }
            }
            Kind::Unknown => {
                if let Some(t) = found {
                    return Ok(End::Terminal(at, t));
                }
                part.terminals.push(Terminal {
                    name: word.to_owned(),
                    node: None,
                });
                Ok(End::Terminal(at, part.terminals.len() - 1))
            }
            _ if section.is_some() => Err(NoEnd::NoSection(offers)),
            Kind::OutputTransformer(output) => match found {
                Some(t) => Ok(End::Terminal(at, t)),
                // With one tap, `s2` is another name of the cold end.
                None if word == "s2" && part.terminals.iter().any(|t| t.name == "s1") => {
                    Ok(End::Terminal(at, output.common))
                }
                None => Err(NoEnd::NoTerminal(offers)),
            },
            _ => match found {
                Some(t) => Ok(End::Terminal(at, t)),
                None => Err(NoEnd::NoTerminal(offers)),
            },
        }
    }
}

fn letters(count: usize) -> impl Iterator<Item = char> {
    ('a'..='z').take(count)
}

fn sections(what: &What) -> Option<Vec<char>> {
    match what {
        What::Can(sections) => Some(sections.iter().map(|s| s.letter).collect()),
        What::Gangs(_, n) | What::Poles(_, _, n) => Some(letters(*n).collect()),
        What::One(..) => None,
    }
}

fn valve_offers(name: &str, valve: &crate::circuit::Valve) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    for u in &valve.electrodes {
        if u.electrode == Electrode::Internal {
            continue;
        }
        let text = match u.section {
            Some(s) => format!("{name}{s}.{}", u.electrode.word()),
            None => format!("{name}.{}", u.electrode.word()),
        };
        if !out.contains(&text) {
            out.push(text);
        }
    }
    out
}

fn electrode_offers(name: &str, section: Option<char>) -> Vec<String> {
    let section = section.map(String::from).unwrap_or_default();
    let mut out = vec![format!("{name}.1")];
    for word in ["plate", "grid", "cathode", "screen", "heater1", "heater2"] {
        out.push(format!("{name}{section}.{word}"));
    }
    out
}

/// Words that people use for electrodes, and ours.
fn electrode_of(word: &str) -> Option<&'static str> {
    Some(match word {
        "anode" | "a" | "p" => "plate",
        "g" | "g1" | "grid1" => "grid",
        "k" | "cath" | "kathode" => "cathode",
        "g2" | "grid2" | "sg" => "screen",
        "g3" | "grid3" | "sup" => "suppressor",
        "f1" | "h1" | "filament" | "heater" => "heater1",
        "f2" | "h2" => "heater2",
        "hct" | "ct" | "tap" => "heatertap",
        _ => return None,
    })
}

impl NoEnd {
    /// Reports it for a terminal as typed.
    pub(crate) fn report(&self, base: &str, word: &str, place: Place, problems: &mut Problems) {
        let typed = format!("{base}.{word}");
        match self {
            Self::NoPart => {
                if let Some(upper) = names::in_capitals(base) {
                    problems.add(
                        codes::UPPER_CASE,
                        place,
                        format!("`{base}` is not a part: class letters are capitals."),
                        format!("Type `{upper}.{word}`."),
                    );
                    return;
                }
                let offer =
                    names::lookalike(base).unwrap_or_else(|| format!("{base} pot 1M audio"));
                problems.add(
                    codes::UNKNOWN_KIND,
                    place,
                    format!("`{base}` looks like a part, but nothing says what it is."),
                    format!("Add `{offer}`, or name it as a point without a dot."),
                );
            }
            Self::NoTerminal(offers) => {
                let near = electrode_of(word)
                    .map(|w| format!("{base}.{w}"))
                    .filter(|_| {
                        offers
                            .iter()
                            .any(|o| o.ends_with("heater1") || o.ends_with("plate"))
                    })
                    .or_else(|| {
                        names::nearest(&typed, offers.iter().map(String::as_str))
                            .filter(|n| offers.len() > 6 && n.len() > base.len() + 2)
                            .map(str::to_owned)
                    });
                let advice = match near {
                    Some(near) => format!(
                        "Type `{near}`; it has {}.",
                        listed(offers).replace(" or ", " and ")
                    ),
                    None if offers.is_empty() => "Describe the part with its terminals.".to_owned(),
                    None => format!("Type {}.", listed(offers)),
                };
                problems.add(
                    codes::UNKNOWN_TERMINAL,
                    place,
                    format!("`{base}` has no terminal `{word}`."),
                    advice,
                );
            }
            Self::NeedsSection(offers) => problems.add(
                codes::WHICH_SECTION,
                place,
                format!("`{typed}` does not say which section."),
                format!("Type {}.", listed(offers)),
            ),
            Self::NoSection(offers) => problems.add(
                codes::UNKNOWN_SECTION,
                place,
                format!("There is no section `{base}`."),
                format!("Type {}.", listed(offers)),
            ),
        }
    }
}
