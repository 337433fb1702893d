//! `import`: takes in a job from its archive, or makes a shop of the archive of one.

use crate::arguments::Import as Given;
use crate::outcome::{Failure, Outcome};
use crate::serve;
use crate::table::paragraph;
use serde_json::json;
use shop::{Archived, Shop, Stamp, archived, import_shop};

/// Runs `import`.
pub(crate) fn run(given: &Given) -> Result<Outcome, Failure> {
    let folder = match &given.shop {
        Some(folder) => folder.clone(),
        None => serve::usual_folder()?,
    };
    let bytes = std::fs::read(&given.file).map_err(|e| {
        Failure::outside(
            format!("{} could not be read: {e}.", given.file.display()),
            "Name the archive that `export` wrote.",
        )
    })?;
    let now = serve::now();
    let refused = |e: shop::ShopError| serve::refused(&e);
    let (job, jobs, owner_known, text) = match archived(&bytes).map_err(refused)? {
        Archived::Shop => {
            let report = import_shop(&bytes, &folder, now).map_err(refused)?;
            let text = format!(
                "{} is a shop of {} jobs, {} readings, {} files, and was read again.",
                folder.display(),
                report.jobs,
                report.readings,
                report.attachments
            );
            (None, report.jobs, None, text)
        }
        Archived::Job => {
            let shop = Shop::open(&folder, now).map_err(refused)?;
            let stamp = Stamp {
                at: now,
                bench: "import".to_owned(),
            };
            let taken = shop.import_job(&stamp, &bytes).map_err(refused)?;
            let owner = if taken.owner_known {
                serve::OWNER_KNOWN
            } else {
                serve::OWNER_NEW
            };
            let text = format!("Job {}, in {}. {owner}", taken.job, folder.display());
            (Some(taken.job), 1, Some(taken.owner_known), text)
        }
    };
    let text = if given.json {
        let value = json!({
            "folder": folder.display().to_string(),
            "job": job,
            "jobs": jobs,
            "owner_known": owner_known,
            "errors": [],
            "warnings": [],
        });
        format!("{value:#}\n")
    } else {
        paragraph(&text, "")
    };
    Ok(Outcome {
        text,
        ..Outcome::default()
    })
}
