//! Whatever is called an archive of a job or a shop. The first byte chooses: the rest as it came, or the rest as the
//! record inside a sound archive, so that it is read past the sums of the packing; then the byte's upper six bits are
//! the layout that the archive says it has.
//!
//! What is refused has changed nothing; what is taken in can be read, and put out again twice the same.

use shop::{At, JobId, Shop, Stamp};
use std::cell::RefCell;

/// Archives taken into one shop before it is looked over and left.
const MOST: u32 = 60;
/// 2026-11-25 09:00 UTC.
const NOW: At = At(1_795_597_200_000);

struct Bench {
    folder: tempfile::TempDir,
    shop: Shop,
    taken: u32,
}

fn scratch() -> tempfile::TempDir {
    // the memory where there is such a place: the disk is not what is tried here
    let quick = std::path::Path::new("/dev/shm");
    let made = if quick.is_dir() {
        tempfile::tempdir_in(quick)
    } else {
        tempfile::tempdir()
    };
    made.expect("a folder for the shop")
}

thread_local! {
    static BENCH: RefCell<Option<Bench>> = const { RefCell::new(None) };
}

pub(crate) fn run(bytes: &[u8]) {
    let Some((first, rest)) = bytes.split_first() else {
        return;
    };
    let packed;
    let archive = match first % 4 {
        0 | 1 => rest,
        2 => {
            packed = around("job", first >> 2, rest);
            &packed
        }
        _ => {
            packed = around("shop", first >> 2, rest);
            &packed
        }
    };
    match shop::archived(archive) {
        Ok(shop::Archived::Shop) => whole(archive),
        _ => job(archive),
    }
}

fn job(archive: &[u8]) {
    BENCH.with_borrow_mut(|kept| {
        let bench = kept.get_or_insert_with(|| {
            let folder = scratch();
            let shop = Shop::open(&folder.path().join("shop"), NOW).expect("a new shop");
            Bench {
                folder,
                shop,
                taken: 0,
            }
        });
        let shop = &bench.shop;
        let last = |shop: &Shop| shop.read(|r| r.last_entry()).expect("the journal");
        let before = last(shop);
        match shop.import_job(&Stamp::new(NOW.0, "Desk"), archive) {
            Err(refused) => {
                assert!(!refused.to_string().is_empty() && !refused.remedy().is_empty());
                assert_eq!(last(shop), before, "refused, and yet something was written");
            }
            Ok(taken) => {
                bench.taken += 1;
                read(shop, taken.job);
            }
        }
        if bench.taken >= MOST {
            let folder = bench.folder.path().join("shop");
            let Some(done) = kept.take() else { return };
            drop(done.shop);
            sound(&folder);
        }
    });
}

fn whole(archive: &[u8]) {
    let folder = scratch();
    let to = folder.path().join("shop");
    match shop::import_shop(archive, &to, NOW) {
        Err(refused) => {
            assert!(!refused.to_string().is_empty() && !refused.remedy().is_empty());
            assert!(!to.exists(), "refused, and yet something was made");
        }
        Ok(_) => {
            sound(&to);
            let shop = Shop::open(&to, NOW).expect("it was just made");
            let jobs = shop.read(|r| r.open_jobs()).expect("its jobs");
            for job in jobs.iter().take(3) {
                read(&shop, job.id);
            }
        }
    }
}

/// Everything that a page of the job would ask for is there, and it goes out as it is.
fn read(shop: &Shop, job: JobId) {
    let all = shop.read(|r| {
        r.job(job)?;
        r.counts(job)?;
        r.blocks(job)?;
        r.readings_ever(job)?;
        for wiring in r.wirings(job)? {
            r.revisions(wiring.id)?;
        }
        r.work(job)?;
        r.estimate(job)?;
        r.verdicts(job)?;
        r.part_states(job)?;
        r.results(job)?;
        r.sheets(job)?;
        r.photos(job)?;
        r.recordings(job)?;
        r.notes(job)?;
        r.hours(job)?;
        r.steps(job)?;
        r.power_events(job)?;
        r.valves_fitted(job)?;
        r.answers(job)?;
        r.authorisations(job)?;
        for need in r.needs_of(job)? {
            r.need(need)?;
            r.lines_for(need)?;
        }
        r.orders()?;
        r.stock()?;
        r.invoices_of(job)?;
        r.bill(&[job], "", 100, NOW)?;
        r.journal(Some(job), None, 1000)
    });
    if let Err(cannot) = all {
        panic!("taken in, and cannot be read: {cannot}");
    }
    let out = || {
        let mut bytes = Vec::new();
        shop.export_job(job, &[], &mut bytes).expect("it goes out");
        bytes
    };
    assert_eq!(out(), out(), "twice the same");
}

/// The shop's own check finds nothing.
fn sound(folder: &std::path::Path) {
    let report = shop::verify(folder).expect("it can be looked over");
    assert!(report.problems.is_empty(), "{:?}", report.problems);
}

/// An archive whose record is this, of a layout.
fn around(sort: &str, layout: u8, record: &[u8]) -> Vec<u8> {
    let about = format!("{{\"archive\":\"{sort}\",\"number\":42,\"layout\":{layout}}}\n");
    let entries = [("about.json", about.as_bytes()), ("record.json", record)];
    let (mut out, mut directory) = (Vec::new(), Vec::new());
    for (name, content) in entries {
        let mut crc = flate2::Crc::new();
        crc.update(content);
        let size = u32::try_from(content.len()).unwrap_or(0).to_le_bytes();
        // version 20, UTF-8, stored, no time, 1 January 1980
        let mut common = vec![20, 0, 0, 8, 0, 0, 0, 0, 0x21, 0];
        common.extend(crc.sum().to_le_bytes());
        common.extend([size, size].concat());
        common.extend([u8::try_from(name.len()).unwrap_or(0), 0, 0, 0]);
        let at = u32::try_from(out.len()).unwrap_or(0).to_le_bytes();
        out.extend([b"PK\x03\x04".as_slice(), &common, name.as_bytes(), content].concat());
        directory.extend([b"PK\x01\x02\x14\0".as_slice(), &common].concat());
        directory.extend([0; 10]);
        directory.extend([at.as_slice(), name.as_bytes()].concat());
    }
    let ends = [directory.len(), out.len()].map(|n| u32::try_from(n).unwrap_or(0).to_le_bytes());
    out.extend(directory);
    out.extend(
        [
            b"PK\x05\x06\0\0\0\0\x02\0\x02\0".as_slice(),
            &ends.concat(),
            &[0, 0],
        ]
        .concat(),
    );
    out
}
