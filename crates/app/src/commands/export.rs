//! `export`: a job, or the whole shop, as one archive of open formats.

use crate::arguments::Export as Given;
use crate::outcome::{Failure, Outcome};
use crate::pdf_maker;
use crate::serve::{self, Version};
use crate::table::paragraph;
use report::Paper;
use serde_json::json;
use shop::{JobId, Shop};
use std::fs::File;
use std::io::{BufWriter, Write as _};

/// Runs `export`.
pub(crate) fn run(given: &Given) -> Result<Outcome, Failure> {
    let folder = match &given.shop {
        Some(folder) => folder.clone(),
        None => serve::usual_folder()?,
    };
    if !folder.join("shop.sqlite").exists() {
        return Err(serve::refused(&shop::ShopError::Missing(folder)));
    }
    if given.to.exists() {
        return Err(Failure::misuse(
            format!("{} is there already.", given.to.display()),
            "Name a file that is not there yet.",
        ));
    }
    let now = serve::now();
    let mut shop = Shop::open(&folder, now).map_err(|e| serve::refused(&e))?;
    let mut papers = Vec::new();
    if let Some(job) = given.job {
        let made = serve::make(shop);
        let document = made
            .document(job, now, Version::Full, Paper::A4)
            .map_err(|e| serve::refused(&e))?;
        papers = pdf_maker::papers(&document);
        shop = made.into_shop();
    }
    // built under another name, so that a half-made one is never taken for an archive
    let part = given.to.with_extension("part");
    let done = (|| {
        let failed = |e: std::io::Error| {
            Failure::outside(
                format!("{} could not be written: {e}.", given.to.display()),
                "Look at the disk it is on.",
            )
        };
        let mut to = BufWriter::new(File::create(&part).map_err(failed)?);
        match given.job {
            Some(job) => shop.export_job(JobId(job), &papers, &mut to),
            None => shop.export_shop(&mut to),
        }
        .map_err(|e| serve::refused(&e))?;
        to.flush().map_err(failed)?;
        to.get_ref().sync_all().map_err(failed)?;
        let bytes = to.get_ref().metadata().map_err(failed)?.len();
        std::fs::rename(&part, &given.to).map_err(failed)?;
        Ok(bytes)
    })();
    if done.is_err() {
        let _ = std::fs::remove_file(&part);
    }
    let bytes: u64 = done?;
    let what = given
        .job
        .map_or_else(|| "The shop".to_owned(), |n| format!("Job {n}"));
    let text = if given.json {
        let value = json!({
            "file": given.to.display().to_string(),
            "archive": if given.job.is_some() { "job" } else { "shop" },
            "job": given.job,
            "bytes": bytes,
            "errors": [],
            "warnings": [],
        });
        format!("{value:#}\n")
    } else {
        paragraph(
            &format!("{what} is in {}, {bytes} bytes.", given.to.display()),
            "",
        )
    };
    Ok(Outcome {
        text,
        ..Outcome::default()
    })
}
