//! When a page cannot be given: what happened and what to do, as a page of its own.

use super::frame;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Redirect, Response};
use maud::{Markup, html};
use shop::ShopError;

/// What a page says that failed inside the program.
const FAILED: &str = "This page failed inside the program. Nothing was written.";
/// What to do then.
const FAILED_REMEDY: &str = "Go back and try again; if it stays, note what you did.";

/// Why a request ends without its page.
#[derive(Debug)]
pub(crate) enum Fail {
    /// There is no such page.
    NoPage,
    /// What was typed cannot be used; both in words.
    Typed {
        /// One sentence.
        what: String,
        /// What to type or do instead.
        remedy: String,
    },
    /// The page failed inside the program.
    Inside,
    /// What was sent is larger than is taken; both in words.
    TooLarge(&'static str, &'static str),
    /// The record said no.
    Shop(ShopError),
    /// A page of its own, with its status.
    Page(StatusCode, Box<Markup>),
}

impl Fail {
    /// What was typed cannot be used.
    pub(crate) fn typed(what: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self::Typed {
            what: what.into(),
            remedy: remedy.into(),
        }
    }
}

impl Fail {
    /// What is wrong and what to do, where a page says it beside what else it shows.
    pub(crate) fn words(&self) -> String {
        match self {
            Self::Typed { what, remedy } => format!("{what} {remedy}"),
            Self::Shop(e) => e.to_string(),
            Self::TooLarge(what, remedy) => format!("{what} {remedy}"),
            Self::Inside => format!("{FAILED} {FAILED_REMEDY}"),
            Self::NoPage | Self::Page(..) => "It is not there any more.".to_owned(),
        }
    }
}

impl From<ShopError> for Fail {
    fn from(e: ShopError) -> Self {
        Self::Shop(e)
    }
}

impl IntoResponse for Fail {
    fn into_response(self) -> Response {
        let (status, what, remedy) = match self {
            Self::Page(status, page) => return (status, Html(page.into_string())).into_response(),
            Self::NoPage => (
                StatusCode::NOT_FOUND,
                "There is no such page.".to_owned(),
                "Go back to the bench.".to_owned(),
            ),
            Self::Typed { what, remedy } => (StatusCode::UNPROCESSABLE_ENTITY, what, remedy),
            Self::Inside => (
                StatusCode::INTERNAL_SERVER_ERROR,
                FAILED.to_owned(),
                FAILED_REMEDY.to_owned(),
            ),
            Self::TooLarge(what, remedy) => (
                StatusCode::PAYLOAD_TOO_LARGE,
                what.to_owned(),
                remedy.to_owned(),
            ),
            Self::Shop(e) => {
                let status = match &e {
                    ShopError::Nothing(_) | ShopError::Missing(_) => StatusCode::NOT_FOUND,
                    ShopError::Refused(_) => StatusCode::UNPROCESSABLE_ENTITY,
                    ShopError::Changed { .. } => StatusCode::CONFLICT,
                    ShopError::Busy(_) => StatusCode::SERVICE_UNAVAILABLE,
                    _ => StatusCode::INTERNAL_SERVER_ERROR,
                };
                (status, e.to_string(), e.remedy())
            }
        };
        (status, Html(page(&what, &remedy).into_string())).into_response()
    }
}

fn page(what: &str, remedy: &str) -> Markup {
    frame::bare(
        what,
        &html! {
            section.sheet.problem {
                h1 { (what) }
                p { (remedy) }
                p { "What you typed is still there when you go back with your browser." }
                p { a.button href="/" { "To the bench" } }
            }
        },
    )
}

/// What a request gives.
pub(crate) type Answer = Result<Response, Fail>;

/// A whole page.
pub(crate) fn ok(page: Markup) -> Answer {
    Ok(Html(page.into_string()).into_response())
}

/// On to another page after a change, so that reloading does not repeat it.
pub(crate) fn go(to: impl AsRef<str>) -> Answer {
    Ok(Redirect::to(to.as_ref()).into_response())
}
