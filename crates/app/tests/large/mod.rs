//! A shop of many years: thousands of closed jobs behind a few open ones. Names are invented.

#![allow(
    unreachable_pub,
    clippy::unwrap_used,
    reason = "helper of tests; a failed step is a failed test"
)]

use shop::{
    AmpFields, At, ClientFields, JobId, NewReading, ReadingState, Shop, Stamp, WiringState,
    WorkFields,
};

/// 2026-11-25 09:00 UTC.
pub const MORNING: i64 = 1_795_597_200_000;
/// Open jobs, each traced and half read.
pub const OPEN: usize = 4;
/// Readings of a closed job.
pub const READINGS: usize = 25;

const WIRING: &str = include_str!("../../../../examples/pip.wiring");

/// Fills an empty shop: the open jobs first, then closed ones, until there are so many.
pub fn fill(shop: &Shop, jobs: usize) {
    let desk = Stamp {
        at: At(MORNING),
        bench: "Desk".to_owned(),
    };
    shop.write(&desk, |w| {
        w.set_setting("mains", "231 V")?;
        for n in 0..OPEN {
            let job = job(w, n)?;
            let wiring = w.wiring_for(job, WiringState::AsFound)?;
            w.save_wiring(wiring, WIRING, None)?;
            readings(w, job, 10)?;
        }
        Ok(())
    })
    .unwrap();
    // a commit is synced, so many jobs share one
    let mut n = OPEN;
    while n < jobs {
        shop.write(&desk, |w| {
            for n in n..jobs.min(n + 250) {
                let job = job(w, n)?;
                readings(w, job, READINGS)?;
                w.add_work(
                    job,
                    &WorkFields {
                        title: "clean the sockets".to_owned(),
                        ..WorkFields::default()
                    },
                )?;
                w.close_job(job, true)?;
            }
            Ok(())
        })
        .unwrap();
        n += 250;
    }
}

fn job(w: &mut shop::Write<'_>, n: usize) -> Result<JobId, shop::ShopError> {
    let client = w.add_client(&ClientFields {
        name: format!("Owner {}", n % 700),
        ..ClientFields::default()
    })?;
    let amp = w.add_amp(
        client,
        &AmpFields {
            maker: "Marram".to_owned(),
            model: ["Pip", "Curlew", "Turnstone", "Knot"][n % 4].to_owned(),
            serial: format!("{n:05}"),
            ..AmpFields::default()
        },
    )?;
    w.open_job(amp, None)
}

fn readings(w: &mut shop::Write<'_>, job: JobId, count: usize) -> Result<(), shop::ShopError> {
    let block = w.begin_block(job, ReadingState::AsFound, "as found", "mains 231 V", None)?;
    for n in 0..count {
        let new = NewReading {
            point: ["V1.1", "V1.3", "V1.6", "V1.8", "B1"]
                .get(n)
                .map_or_else(|| format!("P{n}"), |p| (*p).to_owned()),
            shown: format!("{}", 100 + n),
            ..NewReading::default()
        };
        w.take_reading(block, &new, None)?;
    }
    Ok(())
}
