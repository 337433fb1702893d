//! A report outside the pages: for the command, and for the demo.

use super::access::Access;
use super::report::{self, Wanted};
use super::site::Site;
use ::report::{Document, Paper};
use shop::{At, JobId, Shop, ShopError};

/// Which of a job's papers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Version {
    /// What the owner reads.
    Owner,
    /// Everything.
    Full,
    /// Labels.
    Labels,
}

/// Documents of a shop's jobs, each computed once.
pub(crate) struct Made(Site);

/// A maker of documents over an open shop.
pub(crate) fn make(shop: Shop) -> Made {
    Made(Site::new(shop, Access::new(None), None))
}

impl Made {
    /// One document, whole: photos are in it.
    ///
    /// # Errors
    /// Where there is no such job, or the record can't be read.
    pub(crate) fn document(
        &self,
        job: i64,
        now: At,
        version: Version,
        paper: Paper,
    ) -> Result<Document, ShopError> {
        let wanted = Wanted {
            full: version == Version::Full,
            paper,
            whole: true,
        };
        self.0.shop.read(|r| match version {
            Version::Labels => report::labels(&self.0, r, JobId(job), now, paper),
            Version::Owner | Version::Full => report::document(&self.0, r, JobId(job), now, wanted),
        })
    }

    /// The shop again.
    pub(crate) fn into_shop(self) -> Shop {
        self.0.shop
    }
}
