//! Marking a step done or open again, and what a job waits for.

use super::back;
use crate::serve::ask::{Ask, Fields};
use crate::serve::fail::{Answer, go};
use crate::serve::run::Step;
use crate::serve::sheets::{self, Drive, SetUp, Slow};
use crate::serve::site::Site;
use crate::serve::work_out;
use shop::{JobFields, JobId, ReadingState, ShopError, StepState, WaitsFor};

/// Marks a step done and goes on to the next, or opens it again.
pub(crate) fn mark(site: &Site, ask: &Ask, job: JobId, fields: &Fields) -> Answer {
    let step = Step::of(fields.get("step"));
    let open = fields.get("state") == "open";
    let next = if open { Some(step) } else { step.after() };
    let kept = if step == Step::SetUp && !open {
        site.shop.read(|r| computed(site, r, job))?
    } else {
        Vec::new()
    };
    site.shop.write(&ask.stamp(), |w| {
        let state = if open {
            StepState::Open
        } else {
            StepState::Done
        };
        for (kind, given, outcome) in &kept {
            w.keep_sheet(job, kind, given, outcome)?;
        }
        w.mark_step(job, step.slug(), state)?;
        let at = JobFields {
            step: next.map(|s| s.slug().to_owned()),
            next_text: Some(String::new()),
            ..JobFields::default()
        };
        w.change_job(job, &at, None, "on to the next step")?;
        Ok(())
    })?;
    let to = next.unwrap_or(step).address(job);
    go(back(fields, &to))
}

/// The sheets of the set-up as they are shown now, to be kept: kind, what went in, what came out.
fn computed(
    site: &Site,
    r: &shop::Reader<'_>,
    job: JobId,
) -> Result<Vec<(&'static str, String, String)>, ShopError> {
    let found = work_out::found(site, r, job, ReadingState::AsFound)?;
    let given = serde_json::json!({
        "wiring": found.traced.text,
        "readings": crate::serve::record::readings_text(&found.blocks, &found.readings, &[]),
    });
    let mut all = Vec::new();
    for which in SetUp::ALL {
        for sheet in sheets::set_up(which, site, &found).iter() {
            if let Ok(outcome) = serde_json::to_string(sheet) {
                all.push((which.slug(), given.to_string(), outcome));
            }
        }
    }
    // what takes long is kept where it was worked out with the knobs as the wiring has them
    for which in Slow::ALL {
        let there = sheets::slow_there(which, site, &found, &Drive::default());
        if let Some(outcome) = there.and_then(|s| serde_json::to_string(&s).ok()) {
            all.push((which.slug(), given.to_string(), outcome));
        }
    }
    Ok(all)
}

/// What the job waits for, what hands do next, when it is promised.
pub(crate) fn waits(site: &Site, ask: &Ask, job: JobId, fields: &Fields) -> Answer {
    let change = JobFields {
        waits_for: fields.some("waits_for").map(WaitsFor::of),
        waits_text: Some(fields.line("waits_text")),
        next_text: Some(fields.line("next_text")),
        promised: Some(fields.line("promised")),
        bag: Some(fields.line("bag")),
        shelf: Some(fields.line("shelf")),
        ..JobFields::default()
    };
    let to = back(fields, &format!("/job/{job}"));
    let done = site.shop.write(&ask.stamp(), |w| {
        w.change_job(job, &change, fields.seen(), "what the job waits for")
    });
    super::clash::or_page(site, ask, job, fields, &format!("/job/{job}/waits"), done)?;
    go(to)
}
