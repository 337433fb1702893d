//! A sheet of a job as one page of paper, to be printed by the browser: the same page as `--paper`
//! writes, its style sent as a file of its own, because pages here hold none.

use crate::commands::chart::page as chart_page;
use crate::serve::ask::{Ask, Fields};
use crate::serve::assets;
use crate::serve::fail::{Answer, Fail};
use crate::serve::run::Step;
use crate::serve::sheets::{self, SetUp, Slow};
use crate::serve::site::Site;
use crate::serve::work_out;
use ::bench::sheet::Sheet;
use axum::http::header::CONTENT_TYPE;
use axum::response::{Html, IntoResponse as _};
use maud::{Markup, html};
use shop::{JobId, Reader, ShopError};

/// The button that leads here.
pub(crate) fn button(id: JobId, sheet: &str, state: &str) -> Markup {
    let state = state.replace(' ', "%20");
    html! { a.button href=(format!("/job/{id}/paper?sheet={sheet}&state={state}")) target="_blank" { "Paper" } }
}

/// The same for a sheet that hangs on more fields.
pub(crate) fn button_with(id: JobId, query: &str) -> Markup {
    html! { a.button href=(format!("/job/{id}/paper?{query}")) target="_blank" { "Paper" } }
}

/// `/job/42/paper?sheet=chart`.
pub(crate) fn show(site: &Site, _: &Ask, id: JobId, fields: &Fields) -> Answer {
    let (page, _) = page(site, id, fields)?;
    let same: Vec<String> = fields
        .pairs()
        .map(|(name, value)| {
            format!(
                "{}={}",
                super::chart::percent(name),
                super::chart::percent(value)
            )
        })
        .collect();
    let link = format!(
        "<link rel=\"stylesheet\" href=\"/job/{id}/paper.css?{}\">",
        same.join("&amp;")
    );
    Ok(Html(page.replacen("<style></style>", &link, 1)).into_response())
}

/// `/job/42/paper.css?sheet=chart`.
pub(crate) fn style(site: &Site, _: &Ask, id: JobId, fields: &Fields) -> Answer {
    let (_, style) = page(site, id, fields)?;
    Ok(([(CONTENT_TYPE, "text/css; charset=utf-8")], style).into_response())
}

fn page(site: &Site, id: JobId, fields: &Fields) -> Result<(String, String), Fail> {
    let (sheet, paper) = site.shop.read(|r| {
        let paper = match r.setting("paper")?.as_deref() {
            Some("Letter") => report::Paper::Letter,
            _ => report::Paper::A4,
        };
        Ok((sheet(site, r, id, fields)?, paper))
    })?;
    let sheet = sheet.ok_or(Fail::NoPage)?;
    Ok(parted(&onepage::page(&sheet, paper)))
}

fn sheet(
    site: &Site,
    r: &Reader<'_>,
    id: JobId,
    fields: &Fields,
) -> Result<Option<Sheet>, ShopError> {
    let name = fields.get("sheet");
    let found = work_out::found(site, r, id, super::chart::which(fields))?;
    if name == "chart" {
        let worked = work_out::chart(site, &found, found.blocks.last().map(|b| b.id));
        return Ok(Some(chart_page::sheet(
            &found.traced.circuit,
            &worked.chart,
        )));
    }
    if let Some(which) = Slow::ALL.into_iter().find(|s| s.slug() == name) {
        let asked = super::driven::drive(&found.traced.circuit, fields);
        return Ok(sheets::slow_there(which, site, &found, &asked));
    }
    let all = match SetUp::ALL.into_iter().find(|s| s.slug() == name) {
        Some(which) => sheets::set_up(which, site, &found),
        None => match Step::ALL.into_iter().find(|s| s.slug() == name) {
            Some(step) => {
                let of = work_out::found(site, r, id, sheets::state_of(step))?;
                sheets::of(step, site, &of)
            }
            None => return Ok(None),
        },
    };
    Ok(all.first().cloned())
}

/// The page without its style, and the style with the fonts that are served here anyway.
fn parted(page: &str) -> (String, String) {
    let Some((before, rest)) = page.split_once("<style>") else {
        return (page.to_owned(), String::new());
    };
    let Some((style, after)) = rest.split_once("</style>") else {
        return (page.to_owned(), String::new());
    };
    let mut css = String::new();
    let mut rest = style;
    for font in ["500", "700"] {
        let Some((head, tail)) = rest.split_once("url(data:") else {
            break;
        };
        let Some((_, tail)) = tail.split_once(')') else {
            break;
        };
        let file = assets::address(&format!("fonts/sofia-sans-condensed-{font}.ttf"));
        css.push_str(&format!("{head}url({file})"));
        rest = tail;
    }
    css.push_str(rest);
    (format!("{before}<style></style>{after}"), css)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_page_and_its_style_come_apart_whole() {
        let sheet = Sheet::new("chart", "Chart");
        let whole = onepage::page(&sheet, report::Paper::A4);
        let (page, style) = parted(&whole);
        assert!(page.contains("<style></style>") && page.contains("Chart"));
        assert!(style.contains("@page{size:A4"), "{}", &style[..200]);
        assert_eq!(style.matches("url(/assets/fonts/").count(), 2);
        assert!(!style.contains("data:"));
        assert!(whole.len() > page.len() + 10_000, "the fonts are left out");
    }
}
