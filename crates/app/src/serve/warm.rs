//! Works out in the background what the pages of the open jobs will want next, so that a page
//! seldom waits: charts, plans and sheets of a job once its record has been quiet for a moment.

use super::dates;
use super::kept_kin;
use super::run::Step;
use super::sheets::{self, SetUp};
use super::site::Site;
use super::work_out;
use shop::{JobId, ReadingState, ShopError};
use std::collections::VecDeque;
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

/// A job whose record changed is taken up after so long without a further change.
const QUIET: Duration = Duration::from_millis(700);

/// Tells the worker which job changed.
#[derive(Debug, Default)]
pub(crate) struct Warm(Mutex<Option<Sender<JobId>>>);

impl Warm {
    /// A job's record changed.
    pub(crate) fn changed(&self, job: JobId) {
        let to = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(to) = to.as_ref() {
            // a worker that ended only means that the page works it out itself
            let _ = to.send(job);
        }
    }
}

/// Starts the worker on all open jobs. It ends with the site.
pub(crate) fn start(site: &Arc<Site>) {
    let (to, from) = channel();
    *site.warm.0.lock().unwrap_or_else(PoisonError::into_inner) = Some(to);
    let open = site.shop.read(|r| r.open_jobs()).unwrap_or_default();
    let first: VecDeque<JobId> = open.into_iter().map(|j| j.id).collect();
    let weak = Arc::downgrade(site);
    std::thread::spawn(move || work(&from, first, || weak.upgrade()));
}

fn work(
    from: &Receiver<JobId>,
    mut waiting: VecDeque<JobId>,
    site: impl Fn() -> Option<Arc<Site>>,
) {
    loop {
        match from.recv_timeout(QUIET) {
            Ok(job) => {
                waiting.retain(|w| *w != job);
                waiting.push_back(job);
                continue;
            }
            Err(RecvTimeoutError::Disconnected) => return,
            Err(RecvTimeoutError::Timeout) => {}
        }
        let Some(job) = waiting.pop_front() else {
            match from.recv() {
                Ok(job) => waiting.push_back(job),
                Err(_) => return,
            }
            continue;
        };
        let Some(site) = site() else { return };
        // a job that failed here says why on its own page
        let _ = one(&site, job);
    }
}

/// Everything of one job; what is kept already costs nothing.
pub(crate) fn one(site: &Site, job: JobId) -> Result<(), ShopError> {
    for state in [ReadingState::AsFound, ReadingState::AsLeft] {
        let found = site.shop.read(|r| work_out::found(site, r, job, state))?;
        if found.traced.circuit.parts.is_empty() {
            continue;
        }
        for step in [
            Step::PowerUp,
            Step::Cold,
            Step::Safety,
            Step::Inspection,
            Step::PlayTest,
        ] {
            if sheets::state_of(step) == state {
                let _ = sheets::of(step, site, &found);
            }
        }
        if state == ReadingState::AsLeft && found.blocks.is_empty() {
            continue;
        }
        let _ = found.traced.drawn();
        let _ = work_out::chart(site, &found, found.blocks.last().map(|b| b.id));
        let told = site.shop.read(|r| work_out::told(r, job))?;
        let _ = work_out::suspects(site, &found, told.as_deref(), work_out::Wish::default());
        if state == ReadingState::AsLeft {
            let _ = sheets::set_up(SetUp::Bias, site, &found);
        }
        if state == ReadingState::AsFound {
            kept_kin::ahead(site, job)?;
            for which in SetUp::ALL {
                let _ = sheets::set_up(which, site, &found);
            }
            let given = site.shop.read(|r| r.verdicts(job))?;
            let _ = sheets::judged_of(site, &found, &given, dates::year(site.now()));
        }
    }
    Ok(())
}
