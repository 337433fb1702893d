//! A chapter as HTML: headings that can be linked to, tables and printed output that scroll by
//! themselves on a narrow screen, nothing of the text taken for markup.

use super::Chapter;
use crate::picture::among_others;
use pulldown_cmark::{CowStr, Event, HeadingLevel, Options, Parser, Tag, TagEnd, html::push_html};

/// A heading of a chapter that the list at its top leads to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Section {
    /// Its place on the page.
    pub(crate) id: String,
    /// Its words.
    pub(crate) words: String,
}

fn parser(text: &str) -> impl Iterator<Item = Event<'_>> {
    Parser::new_ext(text, Options::ENABLE_TABLES)
}

/// The headings down to the second level, without the title.
pub(crate) fn sections(text: &str) -> Vec<Section> {
    headings(text)
        .into_iter()
        .skip(1)
        .filter(|(level, _)| *level <= HeadingLevel::H2)
        .map(|(_, section)| section)
        .collect()
}

/// Every heading, with a place that no other heading of the chapter has.
fn headings(text: &str) -> Vec<(HeadingLevel, Section)> {
    let mut found: Vec<(HeadingLevel, Section)> = Vec::new();
    let mut open: Option<(HeadingLevel, String)> = None;
    for event in parser(text) {
        match event {
            Event::Start(Tag::Heading { level, .. }) => open = Some((level, String::new())),
            Event::End(TagEnd::Heading(_)) => {
                if let Some((level, words)) = open.take() {
                    let plain = place(&words);
                    let same = found
                        .iter()
                        .filter(|(_, s)| place(&s.words) == plain)
                        .count();
                    let id = if same == 0 {
                        plain
                    } else {
                        format!("{plain}-{same}")
                    };
                    found.push((level, Section { id, words }));
                }
            }
            Event::Text(t) | Event::Code(t) => {
                if let Some((_, words)) = &mut open {
                    words.push_str(&t);
                }
            }
            _ => {}
        }
    }
    found
}

/// Words of a heading as a place on the page: small letters and digits, `-` for each space.
fn place(words: &str) -> String {
    words
        .chars()
        .filter_map(|c| match c {
            ' ' => Some('-'),
            c if c.is_alphanumeric() || c == '-' || c == '_' => Some(c.to_ascii_lowercase()),
            _ => None,
        })
        .collect()
}

/// Where a link of `docs/` leads on the pages: none where it leads out of the handbook, into the
/// source.
fn target(to: &str) -> Option<String> {
    if to.starts_with("https://") || to.starts_with('#') {
        return Some(to.to_owned());
    }
    let (file, heading) = to.split_once('#').map_or((to, None), |(f, h)| (f, Some(h)));
    let name = file.strip_suffix(".md")?;
    Chapter::named(name)?;
    Some(heading.map_or_else(|| format!("/help/{name}"), |h| format!("/help/{name}#{h}")))
}

/// A picture of `docs/pictures`, drawn within the page so that it has the page's typeface, up to
/// the words beneath it.
fn figure(file: &str) -> String {
    let name = file
        .strip_prefix("pictures/")
        .and_then(|f| f.strip_suffix(".svg"))
        .unwrap_or(file);
    let drawn = super::PICTURES
        .iter()
        .find(|(n, _)| *n == name)
        .map_or("", |(_, svg)| svg);
    let drawn = among_others(drawn, name);
    format!(
        "<figure class=\"drawing\"><div class=\"wide\" role=\"region\" tabindex=\"0\" aria-label=\"Drawing\">{drawn}</div><figcaption>"
    )
}

/// A chapter without its title.
pub(crate) fn html(text: &str) -> String {
    let mut places = headings(text).into_iter().map(|(_, s)| s.id);
    // the first heading is the title; others as high begin a part, one step lower on the page
    let mut titled = false;
    let mut title = false;
    // of links inside links there are none, so one flag is enough
    let mut dropped = false;
    let mut in_picture = false;
    let events = parser(text).filter_map(|event| match event {
        Event::Start(Tag::Heading { level, .. }) => {
            let id = places.next();
            title = !titled && level == HeadingLevel::H1;
            titled = true;
            (!title).then(|| {
                Event::Start(Tag::Heading {
                    level: level.max(HeadingLevel::H2),
                    id: id.map(CowStr::from),
                    classes: Vec::new(),
                    attrs: Vec::new(),
                })
            })
        }
        Event::End(TagEnd::Heading(level)) => {
            let shown = !title;
            title = false;
            shown.then(|| Event::End(TagEnd::Heading(level.max(HeadingLevel::H2))))
        }
        _ if title => None,
        Event::Html(t) | Event::InlineHtml(t) => Some(Event::Text(t)),
        Event::Start(Tag::Link {
            link_type,
            dest_url,
            title,
            id,
        }) => match target(&dest_url) {
            Some(to) => Some(Event::Start(Tag::Link {
                link_type,
                dest_url: to.into(),
                title,
                id,
            })),
            None => {
                dropped = true;
                None
            }
        },
        Event::End(TagEnd::Link) if dropped => {
            dropped = false;
            None
        }
        Event::Start(Tag::Image { dest_url, .. }) => {
            in_picture = true;
            Some(Event::Html(figure(&dest_url).into()))
        }
        Event::End(TagEnd::Image) => {
            in_picture = false;
            Some(Event::Html("</figcaption></figure>".into()))
        }
        // a figure is no part of a paragraph
        Event::Start(Tag::Paragraph) | Event::End(TagEnd::Paragraph) if in_picture => None,
        other => Some(other),
    });
    let mut out = String::new();
    push_html(&mut out, events);
    // what is wider than a phone scrolls by itself, and a keyboard can reach it
    out.replace("<p><figure", "<figure")
    .replace("</figure></p>", "</figure>")
    .replace(
        "<table>",
        "<div class=\"wide\" role=\"region\" tabindex=\"0\" aria-label=\"Table\"><table class=\"plain\">",
    )
    .replace("</table>", "</table></div>")
    .replace(
        "<pre>",
        "<pre class=\"wide\" role=\"region\" tabindex=\"0\" aria-label=\"As typed or printed\">",
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_chapter_becomes_a_page() {
        let page = html(
            "# Title\n\nSee [bands](bands.md#what-is-in-a-band), [rules](../crates/x.toml), [below](#two-words).\n\n\
             ## Two words\n\n| a | b |\n|---|---|\n| 1 | <b>2</b> |\n\n<script>alert(1)</script>\n",
        );
        assert!(!page.contains("Title"), "the title stands in the head");
        assert!(page.contains("<a href=\"/help/bands#what-is-in-a-band\">bands</a>"));
        assert!(
            page.contains(", rules, "),
            "no link into the source: {page}"
        );
        assert!(page.contains("<h2 id=\"two-words\">Two words</h2>"));
        assert!(page.contains("tabindex=\"0\" aria-label=\"Table\""));
        assert!(
            !page.contains("<script>") && !page.contains("<b>"),
            "{page}"
        );
    }

    #[test]
    fn headings_of_the_same_words_have_places_of_their_own() {
        let ids: Vec<String> = headings("## On paper\n\n## On paper\n\n## `format`, tidy\n")
            .into_iter()
            .map(|(_, s)| s.id)
            .collect();
        assert_eq!(ids, ["on-paper", "on-paper-1", "format-tidy"]);
    }
}
