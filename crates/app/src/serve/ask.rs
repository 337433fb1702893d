//! Who asks, and what was typed.

use super::site::Site;
use axum::extract::{FromRequest, FromRequestParts, Request};
use axum::http::header::COOKIE;
use axum::http::request::Parts;
use axum::http::{HeaderMap, StatusCode};
use shop::{At, EntryId, Stamp};
use std::sync::Arc;

/// Where a request came in, put there by the guard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Door {
    /// From this machine.
    Desk,
    /// Over the network, with a passcode and a code.
    Network,
}

/// What is known of whoever asks.
#[derive(Debug, Clone)]
pub(crate) struct Ask {
    /// The name of the bench or device.
    pub(crate) bench: String,
    /// The time.
    pub(crate) now: At,
    /// `day`, `lamp`, or empty for what the device prefers.
    pub(crate) light: String,
    /// Single-letter keys are on.
    pub(crate) letters: bool,
    /// Came in from this machine.
    pub(crate) desk: bool,
    /// Path and query asked for.
    pub(crate) path: String,
}

impl Ask {
    /// What a change is signed with.
    pub(crate) fn stamp(&self) -> Stamp {
        Stamp {
            at: self.now,
            bench: self.bench.clone(),
        }
    }
}

impl FromRequestParts<Arc<Site>> for Ask {
    type Rejection = StatusCode;

    async fn from_request_parts(
        parts: &mut Parts,
        site: &Arc<Site>,
    ) -> Result<Self, Self::Rejection> {
        let door = parts.extensions.get::<Door>().copied();
        let desk = door == Some(Door::Desk);
        let name = cookie(&parts.headers, "bench").unwrap_or_default();
        let bench = if name.is_empty() {
            let set = site
                .shop
                .read(|r| r.setting("bench_name"))
                .ok()
                .flatten()
                .filter(|n| !n.is_empty());
            if desk {
                set.unwrap_or_else(|| "Desk".to_owned())
            } else {
                "Phone".to_owned()
            }
        } else {
            name
        };
        Ok(Self {
            bench,
            now: site.now(),
            light: cookie(&parts.headers, "light")
                .filter(|l| l == "day" || l == "lamp")
                .unwrap_or_default(),
            letters: cookie(&parts.headers, "letters").as_deref() != Some("off"),
            desk,
            path: parts
                .uri
                .path_and_query()
                .map_or_else(|| "/".to_owned(), ToString::to_string),
        })
    }
}

/// A cookie's value, with `%XX` undone.
pub(crate) fn cookie(headers: &HeaderMap, name: &str) -> Option<String> {
    headers
        .get_all(COOKIE)
        .iter()
        .filter_map(|v| v.to_str().ok())
        .flat_map(|v| v.split(';'))
        .filter_map(|pair| pair.trim().split_once('='))
        .find(|(n, _)| *n == name)
        .map(|(_, value)| unescaped(value))
}

/// Text that a cookie can hold.
pub(crate) fn escaped(text: &str) -> String {
    text.bytes()
        .map(|b| {
            if b.is_ascii_alphanumeric() {
                char::from(b).to_string()
            } else {
                format!("%{b:02x}")
            }
        })
        .collect()
}

fn unescaped(text: &str) -> String {
    let mut bytes = Vec::new();
    let mut rest = text.bytes();
    while let Some(b) = rest.next() {
        if b == b'%' {
            let pair = [rest.next().unwrap_or(b'0'), rest.next().unwrap_or(b'0')];
            let hex = std::str::from_utf8(&pair)
                .ok()
                .and_then(|p| u8::from_str_radix(p, 16).ok());
            bytes.push(hex.unwrap_or(b'?'));
        } else {
            bytes.push(b);
        }
    }
    let text: String = String::from_utf8_lossy(&bytes)
        .chars()
        .filter(|c| !c.is_control())
        .take(40)
        .collect();
    text.trim().to_owned()
}

/// The fields of a form, as typed; line ends are `\n`.
#[derive(Debug, Clone, Default)]
pub(crate) struct Fields(Vec<(String, String)>);

impl Fields {
    /// Of pairs.
    pub(crate) fn of(pairs: Vec<(String, String)>) -> Self {
        let tidy = |t: String| t.replace("\r\n", "\n").replace('\r', "\n");
        Self(pairs.into_iter().map(|(n, v)| (n, tidy(v))).collect())
    }

    /// A field as typed; empty when it is not there.
    pub(crate) fn whole(&self, name: &str) -> &str {
        self.0
            .iter()
            .find(|(n, _)| n == name)
            .map_or("", |(_, v)| v.as_str())
    }

    /// A field without spaces around it.
    pub(crate) fn get(&self, name: &str) -> &str {
        self.whole(name).trim()
    }

    /// A field on one line: line ends become spaces.
    pub(crate) fn line(&self, name: &str) -> String {
        self.get(name)
            .split('\n')
            .map(str::trim)
            .collect::<Vec<_>>()
            .join(" ")
    }

    /// A field that is there and not empty.
    pub(crate) fn some(&self, name: &str) -> Option<&str> {
        Some(self.get(name)).filter(|v| !v.is_empty())
    }

    /// Is the field there at all?
    pub(crate) fn has(&self, name: &str) -> bool {
        self.0.iter().any(|(n, _)| n == name)
    }

    /// A whole number.
    pub(crate) fn number(&self, name: &str) -> Option<i64> {
        self.get(name).parse().ok()
    }

    /// The last journal entry that the page with this form had seen.
    pub(crate) fn seen(&self) -> Option<EntryId> {
        self.number("seen").map(EntryId)
    }

    /// Every field in order.
    pub(crate) fn pairs(&self) -> impl Iterator<Item = (&str, &str)> {
        self.0.iter().map(|(n, v)| (n.as_str(), v.as_str()))
    }
}

impl<S: Send + Sync> FromRequest<S> for Fields {
    type Rejection = axum::extract::rejection::FormRejection;

    async fn from_request(request: Request, state: &S) -> Result<Self, Self::Rejection> {
        let axum::Form(pairs) =
            axum::Form::<Vec<(String, String)>>::from_request(request, state).await?;
        Ok(Self::of(pairs))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_survives_a_cookie_and_cannot_break_it() {
        for name in ["Desk", "Bench 2; Path=/", "Küche", "a\r\nSet-Cookie: x=1"] {
            let mut headers = HeaderMap::new();
            let value = format!("light=day; bench={}; x=y", escaped(name));
            headers.insert(COOKIE, value.parse().unwrap());
            let back = cookie(&headers, "bench").unwrap();
            let plain: String = name.chars().filter(|c| !c.is_control()).collect();
            assert_eq!(back, plain);
        }
    }

    #[test]
    fn fields_as_typed() {
        let fields = Fields::of(vec![
            ("text".into(), "a\r\nb".into()),
            ("n".into(), " 7 ".into()),
        ]);
        assert_eq!(fields.whole("text"), "a\nb");
        assert_eq!(fields.line("text"), "a b");
        assert_eq!(fields.number("n"), Some(7));
        assert_eq!(fields.some("nothing"), None);
    }
}
