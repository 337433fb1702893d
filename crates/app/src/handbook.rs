//! The handbook: the chapters of `docs/`, compiled in, as a browser shows them.

mod render;

pub(crate) use render::{html, sections};

/// What a chapter is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Shelf {
    /// How the program is used.
    Use,
    /// What is typed.
    Typed,
    /// How a figure is computed and how far to trust it.
    Figures,
    /// How the record is kept and how other programs read it.
    Record,
}

impl Shelf {
    /// All of them, in the order of the handbook.
    pub(crate) const ALL: [Self; 4] = [Self::Use, Self::Typed, Self::Figures, Self::Record];

    /// Its heading.
    pub(crate) const fn name(self) -> &'static str {
        match self {
            Self::Use => "How it is used",
            Self::Typed => "What is typed",
            Self::Figures => "What is computed, and how far to trust it",
            Self::Record => "The record",
        }
    }
}

/// One chapter.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Chapter {
    /// Its name in an address, and of its file in `docs/`.
    pub(crate) name: &'static str,
    /// Where it stands.
    pub(crate) shelf: Shelf,
    /// What a reader finds there, in one line.
    pub(crate) about: &'static str,
    text: &'static str,
}

impl Chapter {
    /// Its heading.
    pub(crate) fn title(&self) -> &'static str {
        self.text
            .lines()
            .find_map(|l| l.strip_prefix("# "))
            .unwrap_or(self.name)
    }

    /// The chapter of a name.
    pub(crate) fn named(name: &str) -> Option<&'static Self> {
        CHAPTERS.iter().find(|c| c.name == name)
    }

    /// The text as it stands in `docs/`.
    pub(crate) const fn text(&self) -> &'static str {
        self.text
    }
}

macro_rules! chapters {
    ($($shelf:ident $name:literal $about:literal,)*) => {
        &[$(Chapter {
            name: $name,
            shelf: Shelf::$shelf,
            about: $about,
            text: include_str!(concat!("../../../docs/", $name, ".md")),
        },)*]
    };
}

/// Every chapter, in the order of the handbook.
pub(crate) const CHAPTERS: &[Chapter] = chapters![
    Use "first-hour" "A small amplifier from the plug out to the next reading, step by step.",
    Use "install" "Putting it on a machine, other systems, the first start, taking it off.",
    Use "pages" "Every page, every key, and what the pages protect from.",
    Use "sheets" "The bench sheets, from a wiring or from typed numbers, on screen and on paper.",
    Use "report" "What goes home with an amplifier, and what it never says; its PDF and its labels.",
    Use "glossary" "The words of the trade as they are used here.",
    Typed "notation" "How wirings and readings are written.",
    Typed "valves" "Data sheets, and how to add a valve from its sheet or from your own readings.",
    Typed "drawing" "What the schematic shows, what may be laid over it, and the plots.",
    Figures "trust" "What the numbers rest on, where they are weak, and how to catch them out.",
    Figures "bands" "What is expected, what a band means, and what is in it.",
    Figures "suspects" "Which part is at fault, and how sure that is.",
    Figures "kin" "Which drawing an amplifier follows.",
    Figures "voicing" "What becomes of a signal, and what a knob, a channel or a wiring changes.",
    Figures "response" "Small signals: response, impedances, sensitivities, noise.",
    Figures "time" "The circuit let run: start, switching, steady cycles, oscillation.",
    Figures "sound" "Test signals, and what a recording says.",
    Figures "performance" "What is waited for, measured.",
    Record "shop" "What is kept, how it is kept safe, backup and return.",
    Record "reliability" "What was done to break it, what it found, and what was not tried.",
    Record "json" "The same figures for other programs.",
];

macro_rules! pictures {
    ($($name:literal,)*) => {
        &[$(($name, include_str!(concat!("../../../docs/pictures/", $name, ".svg")))),*]
    };
}

/// Pictures of the chapters, made by the program itself (`crates/app/tests/handbook.rs`).
const PICTURES: &[(&str, &str)] = pictures!["stage", "pip", "pip-suspects",];

#[cfg(test)]
mod tests {
    use super::*;

    /// The content policy of the pages forbids styles in the text, and a place is named once.
    #[test]
    fn a_chapter_keeps_to_what_the_pages_allow() {
        for chapter in CHAPTERS {
            let page = html(chapter.text());
            assert!(!page.contains("style=\""), "{}", chapter.name);
            let mut ids: Vec<&str> = page
                .split(" id=\"")
                .skip(1)
                .filter_map(|rest| rest.split('"').next())
                .collect();
            let all = ids.len();
            ids.sort_unstable();
            ids.dedup();
            assert_eq!(all, ids.len(), "{} names a place twice", chapter.name);
        }
    }

    #[test]
    fn every_picture_of_a_chapter_is_there() {
        let mut used = 0;
        for chapter in CHAPTERS {
            for picture in chapter.text().split("](pictures/").skip(1) {
                let name = picture.split(".svg)").next().unwrap_or_default();
                assert!(PICTURES.iter().any(|(n, _)| *n == name), "{name}");
                used += 1;
            }
        }
        assert_eq!(used, PICTURES.len());
    }

    #[test]
    fn every_page_of_docs_is_a_chapter() {
        let docs = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs");
        let mut missing: Vec<String> = std::fs::read_dir(docs)
            .expect("docs")
            .filter_map(|e| e.ok()?.file_name().into_string().ok())
            .filter_map(|n| n.strip_suffix(".md").map(str::to_owned))
            .filter(|n| Chapter::named(n).is_none())
            .collect();
        missing.sort();
        assert!(missing.is_empty(), "not in the handbook: {missing:?}");
    }

    #[test]
    fn chapters_have_a_title_and_a_name_of_their_own() {
        for (i, chapter) in CHAPTERS.iter().enumerate() {
            assert!(chapter.text.starts_with("# "), "{}", chapter.name);
            assert!(CHAPTERS.iter().skip(i + 1).all(|c| c.name != chapter.name));
        }
    }

    /// A link to another chapter leads to one that is there, to a heading that is there.
    #[test]
    fn links_between_chapters_lead_somewhere() {
        for chapter in CHAPTERS {
            let page = html(chapter.text());
            for to in page.split("href=\"").skip(1) {
                let to = to.split('"').next().unwrap_or_default();
                let (place, heading) = to.split_once('#').unwrap_or((to, ""));
                let target = match place.strip_prefix("/help/") {
                    Some(name) => Chapter::named(name).unwrap_or_else(|| {
                        panic!("{} links to {to}, which is no chapter", chapter.name)
                    }),
                    None if place.is_empty() => chapter,
                    None => continue,
                };
                assert!(
                    heading.is_empty()
                        || html(target.text()).contains(&format!("id=\"{heading}\"")),
                    "{} links to {to}, which has no such heading",
                    chapter.name
                );
            }
        }
    }
}
