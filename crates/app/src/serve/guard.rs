//! What stands before every page: only known addresses, no request from other sites, headers that
//! let nothing in from elsewhere.

use super::access::Access;
use super::ask::{Door, cookie};
use super::site::Site;
use axum::extract::{Request, State};
use axum::http::header::{HOST, HeaderName, HeaderValue, ORIGIN};
use axum::http::{HeaderMap, Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse as _, Redirect, Response};
use std::sync::Arc;

/// One listening socket.
#[derive(Clone)]
pub(crate) struct Gate {
    /// Who comes in here.
    pub(crate) door: Door,
    /// `127.0.0.1:8642` and other names of this very socket.
    pub(crate) hosts: Arc<Vec<String>>,
    /// The site behind.
    pub(crate) site: Arc<Site>,
}

/// Nothing but our own files; no inline script or style; no frame around us.
const CONTENT_POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; \
img-src 'self' blob:; connect-src 'self'; font-src 'self'; media-src 'self'; form-action 'self'; \
base-uri 'none'; frame-ancestors 'none'; object-src 'none'";

/// The headers of every answer. `same-origin` rather than `no-referrer`: with the latter browsers
/// send `Origin: null` with plain forms, and those could not be told from a foreign site's.
const HEADERS: [(&str, &str); 6] = [
    ("content-security-policy", CONTENT_POLICY),
    ("x-content-type-options", "nosniff"),
    ("referrer-policy", "same-origin"),
    ("cross-origin-resource-policy", "same-origin"),
    ("cross-origin-opener-policy", "same-origin"),
    (
        "permissions-policy",
        "geolocation=(), microphone=(), camera=()",
    ),
];

/// Lets a request through, or says why not.
pub(crate) async fn guard(State(gate): State<Gate>, mut request: Request, next: Next) -> Response {
    let refused = refusal(&gate.hosts, request.method(), request.headers()).or_else(|| {
        (gate.door == Door::Network)
            .then(|| {
                stranger(
                    &gate.site.access,
                    request.method(),
                    request.uri().path(),
                    request.headers(),
                )
            })
            .flatten()
    });
    let mut response = match refused {
        Some(response) => response,
        None => {
            request.extensions_mut().insert(gate.door);
            next.run(request).await
        }
    };
    let headers = response.headers_mut();
    for (name, value) in HEADERS {
        headers.insert(
            HeaderName::from_static(name),
            HeaderValue::from_static(value),
        );
    }
    if !headers.contains_key("cache-control") {
        headers.insert("cache-control", HeaderValue::from_static("no-store"));
    }
    response
}

/// A foreign name for this address, or a change asked for by another site.
fn refusal(hosts: &[String], method: &Method, headers: &HeaderMap) -> Option<Response> {
    let ours = |name: &str| hosts.iter().any(|h| h == name);
    let host = headers.get(HOST).and_then(|h| h.to_str().ok());
    if !host.is_some_and(ours) {
        // a page of another site whose name was pointed at this machine
        return Some(plain(
            StatusCode::MISDIRECTED_REQUEST,
            "This address is not the bench's own. Use the one that it printed.",
        ));
    }
    if matches!(*method, Method::GET | Method::HEAD) {
        return None;
    }
    let from = headers.get(ORIGIN).and_then(|h| h.to_str().ok());
    let own_origin = from
        .and_then(|o| o.strip_prefix("http://"))
        .is_some_and(ours);
    let own_site = headers
        .get("sec-fetch-site")
        .is_none_or(|s| s.as_bytes() == b"same-origin");
    if own_origin && own_site {
        None
    } else {
        Some(plain(
            StatusCode::FORBIDDEN,
            "A change can be asked for only from the bench's own pages.",
        ))
    }
}

/// Whoever comes over the network without a key sees the entrance and the files it needs.
fn stranger(access: &Access, method: &Method, path: &str, headers: &HeaderMap) -> Option<Response> {
    let open = path == "/in" || path.starts_with("/assets/");
    if open || cookie_key(headers).is_some_and(|key| access.knows(&key)) {
        return None;
    }
    Some(if matches!(*method, Method::GET | Method::HEAD) {
        Redirect::to("/in").into_response()
    } else {
        plain(
            StatusCode::FORBIDDEN,
            "This device is not let in (any more). Open /in and type the code and the passcode.",
        )
    })
}

/// The key that a device carries.
fn cookie_key(headers: &HeaderMap) -> Option<String> {
    // keys are 64 signs, longer than a name: read as it stands
    headers
        .get_all("cookie")
        .iter()
        .filter_map(|v| v.to_str().ok())
        .flat_map(|v| v.split(';'))
        .filter_map(|pair| pair.trim().split_once('='))
        .find(|(n, _)| *n == "key")
        .map(|(_, v)| v.to_owned())
        .or_else(|| cookie(headers, "key"))
}

fn plain(status: StatusCode, text: &'static str) -> Response {
    (status, text).into_response()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn answer(method: Method, pairs: &[(&'static str, &str)]) -> Option<StatusCode> {
        let hosts = ["127.0.0.1:8642".to_owned(), "localhost:8642".to_owned()];
        let mut headers = HeaderMap::new();
        for (name, value) in pairs {
            headers.insert(*name, value.parse().unwrap());
        }
        refusal(&hosts, &method, &headers).map(|r| r.status())
    }

    #[test]
    fn foreign_names_and_foreign_sites_are_refused() {
        let ok = ("host", "127.0.0.1:8642");
        assert_eq!(answer(Method::GET, &[ok]), None);
        assert_eq!(answer(Method::GET, &[("host", "localhost:8642")]), None);
        for bad in [
            "evil.example",
            "127.0.0.1",
            "127.0.0.1:80",
            "evil.example:8642",
            "",
        ] {
            assert_eq!(
                answer(Method::GET, &[("host", bad)]),
                Some(StatusCode::MISDIRECTED_REQUEST),
                "{bad}"
            );
        }
        assert_eq!(
            answer(Method::GET, &[]),
            Some(StatusCode::MISDIRECTED_REQUEST)
        );
        let post = |origin: &str| answer(Method::POST, &[ok, ("origin", origin)]);
        assert_eq!(post("http://127.0.0.1:8642"), None);
        for bad in [
            "null",
            "http://evil.example",
            "https://127.0.0.1:8642",
            "http://127.0.0.1:9999",
            "http://127.0.0.1:8642.evil.example",
        ] {
            assert_eq!(post(bad), Some(StatusCode::FORBIDDEN), "{bad}");
        }
        assert_eq!(answer(Method::POST, &[ok]), Some(StatusCode::FORBIDDEN));
        for method in [Method::PUT, Method::DELETE, Method::PATCH] {
            assert_eq!(answer(method, &[ok]), Some(StatusCode::FORBIDDEN));
        }
        let own = ("origin", "http://127.0.0.1:8642");
        for (site, expected) in [
            ("same-origin", None),
            ("cross-site", Some(StatusCode::FORBIDDEN)),
            ("same-site", Some(StatusCode::FORBIDDEN)),
            ("none", Some(StatusCode::FORBIDDEN)),
        ] {
            assert_eq!(
                answer(Method::POST, &[ok, own, ("sec-fetch-site", site)]),
                expected
            );
        }
    }

    #[test]
    fn a_stranger_sees_only_the_entrance() {
        let access = Access::new(None);
        let headers = HeaderMap::new();
        let get = |path: &str| stranger(&access, &Method::GET, path, &headers).map(|r| r.status());
        assert_eq!(get("/in"), None);
        assert_eq!(get("/assets/page.css"), None);
        for path in ["/", "/job/42", "/photo/1", "/inside", "/assets"] {
            assert_eq!(get(path), Some(StatusCode::SEE_OTHER), "{path}");
        }
        let post = stranger(&access, &Method::POST, "/job/42/note", &headers);
        assert_eq!(post.map(|r| r.status()), Some(StatusCode::FORBIDDEN));
    }
}
