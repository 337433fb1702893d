//! A job or the shop as one archive, to keep and to take elsewhere; and a job taken in from one.

use super::photos::Upload;
use crate::pdf_maker;
use crate::serve::ask::{Ask, Fields};
use crate::serve::dates;
use crate::serve::fail::{Answer, Fail, go};
use crate::serve::report::{self, Wanted};
use crate::serve::site::Site;
use ::report::Paper;
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::IntoResponse as _;
use shop::JobId;

fn download(name: &str, bytes: Vec<u8>) -> Answer {
    let headers = [
        (CONTENT_TYPE, "application/zip".to_owned()),
        (
            CONTENT_DISPOSITION,
            format!("attachment; filename=\"{name}\""),
        ),
    ];
    Ok((headers, bytes).into_response())
}

/// `/job/42/archive.zip`, with the full report as a page, and as PDF where its maker is there.
pub(crate) fn of_job(site: &Site, ask: &Ask, id: JobId, _: &Fields) -> Answer {
    let wanted = Wanted {
        full: true,
        paper: Paper::A4,
        whole: true,
    };
    let document = site
        .shop
        .read(|r| report::document(site, r, id, ask.now, wanted))?;
    let mut bytes = Vec::new();
    site.shop
        .export_job(id, &pdf_maker::papers(&document), &mut bytes)?;
    download(&format!("job-{id}.zip"), bytes)
}

/// `/shop.zip`: at the desk only, for everybody's name is in it.
pub(crate) fn of_shop(site: &Site, ask: &Ask, _: &Fields) -> Answer {
    if !ask.desk {
        return Err(Fail::typed(
            "This can be done at the desk only.",
            "Open the page on the machine itself.",
        ));
    }
    let mut bytes = Vec::new();
    site.shop.export_shop(&mut bytes)?;
    download(&format!("shop-{}.zip", dates::for_a_name(ask.now)), bytes)
}

/// In the address after a job was taken in: whose it is.
const KNOWN: &str = "known";
const NEW: &str = "new";

/// In words, what became of the owner of a job that was just taken in.
pub(crate) fn told(fields: &Fields) -> Option<&'static str> {
    match fields.get("owner") {
        KNOWN => Some(OWNER_KNOWN),
        NEW => Some(OWNER_NEW),
        _ => None,
    }
}

/// The owner of a job that was taken in was found.
pub(crate) const OWNER_KNOWN: &str =
    "Taken in. An owner with the same name and contact was here already: it is theirs.";
/// The owner of a job that was taken in is a new one.
pub(crate) const OWNER_NEW: &str =
    "Taken in, with its owner as a new one: nobody here has the same name and contact.";

/// A job taken in from its archive.
pub(crate) fn take(site: &Site, ask: &Ask, files: &[Upload]) -> Answer {
    let Some(file) = files.first() else {
        return Err(Fail::typed(
            "No file was chosen.",
            "Choose the archive of a job, as the page of that job gives it.",
        ));
    };
    let taken = site.shop.import_job(&ask.stamp(), &file.content)?;
    site.warm.changed(taken.job);
    let owner = if taken.owner_known { KNOWN } else { NEW };
    go(format!("/job/{}?owner={owner}", taken.job))
}
