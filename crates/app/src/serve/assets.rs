//! Style, script and fonts: compiled in, named in a fixed list, told apart by their hash.

use super::fail::{Answer, Fail};
use axum::body::Body;
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE, ETAG, IF_NONE_MATCH};
use axum::http::{HeaderMap, StatusCode};
use axum::response::Response;
use std::sync::OnceLock;

/// One file.
struct Asset {
    name: &'static str,
    media: &'static str,
    content: &'static [u8],
    /// Its hash, in quotes.
    tag: String,
}

macro_rules! assets {
    ($($name:literal $media:literal,)*) => {
        &[$(($name, $media, include_bytes!(concat!("../../assets/", $name)).as_slice()),)*]
    };
}

/// Name, media type, content.
type File = (&'static str, &'static str, &'static [u8]);

const FILES: &[File] = assets![
    "page.css" "text/css; charset=utf-8",
    "sheets.css" "text/css; charset=utf-8",
    "page.js" "text/javascript; charset=utf-8",
    "wiring.js" "text/javascript; charset=utf-8",
    "listen.js" "text/javascript; charset=utf-8",
    "htmx.min.js" "text/javascript; charset=utf-8",
    "mark.svg" "image/svg+xml",
    "fonts/sofia-sans-latin-400-normal.woff2" "font/woff2",
    "fonts/sofia-sans-latin-600-normal.woff2" "font/woff2",
    "fonts/sofia-sans-latin-700-normal.woff2" "font/woff2",
    "fonts/sofia-sans-greek-400-normal.woff2" "font/woff2",
    "fonts/sofia-sans-greek-600-normal.woff2" "font/woff2",
    "fonts/sofia-sans-greek-700-normal.woff2" "font/woff2",
    "fonts/commit-mono-latin-400-normal.woff2" "font/woff2",
    "fonts/commit-mono-latin-700-normal.woff2" "font/woff2",
];

/// Every file; the condensed typeface is the drawings' own.
fn all() -> &'static [Asset] {
    static ALL: OnceLock<Vec<Asset>> = OnceLock::new();
    ALL.get_or_init(|| {
        let [medium, bold] = typeface::files();
        let drawn: [File; 2] = [
            ("fonts/sofia-sans-condensed-500.ttf", "font/ttf", medium),
            ("fonts/sofia-sans-condensed-700.ttf", "font/ttf", bold),
        ];
        FILES
            .iter()
            .chain(&drawn)
            .map(|(name, media, content)| Asset {
                name,
                media,
                content,
                tag: format!(
                    "\"{}\"",
                    shop::Hash::of(content).text().get(..16).unwrap_or_default()
                ),
            })
            .collect()
    })
}

/// The address of a file, with its hash, so that a browser keeps it until it changes.
pub(crate) fn address(name: &str) -> String {
    let tag = all()
        .iter()
        .find(|a| a.name == name)
        .map_or("", |a| a.tag.trim_matches('"'));
    format!("/assets/{name}?{tag}")
}

/// Gives a file of the list, nothing else.
pub(crate) fn give(name: &str, headers: &HeaderMap) -> Answer {
    let asset = all().iter().find(|a| a.name == name).ok_or(Fail::NoPage)?;
    let known = headers
        .get(IF_NONE_MATCH)
        .is_some_and(|v| v.as_bytes() == asset.tag.as_bytes());
    let built = Response::builder()
        .header(CONTENT_TYPE, asset.media)
        .header(ETAG, &asset.tag)
        .header(CACHE_CONTROL, "private, max-age=31536000, immutable");
    let built = if known {
        built.status(StatusCode::NOT_MODIFIED).body(Body::empty())
    } else {
        built.body(Body::from(asset.content))
    };
    built.map_err(|_| Fail::NoPage)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What came from others is byte for byte what `VENDOR.md` says it is.
    #[test]
    fn vendored_files_are_what_the_list_says() {
        let list = include_str!("../../assets/VENDOR.md");
        let ours = [
            "page.css",
            "sheets.css",
            "page.js",
            "wiring.js",
            "listen.js",
            "mark.svg",
        ];
        for asset in all()
            .iter()
            .filter(|a| !ours.contains(&a.name) && a.media != "font/ttf")
        {
            let hash = shop::Hash::of(asset.content);
            let row = list
                .lines()
                .find(|l| l.contains(&format!("`{}`", asset.name)))
                .unwrap_or_else(|| panic!("{} is not in VENDOR.md", asset.name));
            assert!(row.contains(hash.text()), "{} has changed", asset.name);
        }
    }

    /// The strict content policy forbids these, so none may come in by the back door.
    #[test]
    fn our_files_load_nothing_from_elsewhere() {
        for name in [
            "page.css",
            "sheets.css",
            "page.js",
            "wiring.js",
            "listen.js",
        ] {
            let asset = all().iter().find(|a| a.name == name).unwrap();
            let text = std::str::from_utf8(asset.content).unwrap();
            for bad in [
                "http://",
                "https://",
                "@import",
                "eval(",
                "new Function",
                "data:",
            ] {
                assert!(!text.contains(bad), "{name} has {bad}");
            }
        }
    }
}
