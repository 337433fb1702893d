//! A small shop for tests. Names are invented.
#![allow(
    clippy::unwrap_used,
    dead_code,
    reason = "helpers of tests; not every test file uses all of them"
)]

use shop::{AmpFields, At, ClientFields, JobId, Shop, Stamp};
use std::path::Path;

/// 2026-11-25 09:00 UTC.
pub(crate) const MORNING: i64 = 1_795_597_200_000;

pub(crate) fn desk(minutes: i64) -> Stamp {
    Stamp::new(MORNING + minutes * 60_000, "Desk")
}

pub(crate) fn phone(minutes: i64) -> Stamp {
    Stamp::new(MORNING + minutes * 60_000, "Phone")
}

pub(crate) fn open(folder: &Path) -> Shop {
    Shop::open(folder, At(MORNING)).unwrap()
}

/// A client, an amp and a job.
pub(crate) fn job(shop: &Shop) -> JobId {
    shop.write(&desk(0), |w| {
        let client = w.add_client(&ClientFields {
            name: "Odo Kestle".into(),
            phone: "0555 0142".into(),
            ..ClientFields::default()
        })?;
        let amp = w.add_amp(
            client,
            &AmpFields {
                maker: "Marram".into(),
                model: "Dunlin".into(),
                serial: "00642".into(),
                about: "single-ended EL84".into(),
                ..AmpFields::default()
            },
        )?;
        w.open_job(amp, Some(42))
    })
    .unwrap()
}
