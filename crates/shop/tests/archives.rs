//! Archives: what is put out and taken in is the same, to the byte.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod support;

use proptest::prelude::*;
use rusqlite::Connection;
use shop::{
    ChargeFields, ChargeSort, EstimateFields, InvoiceFields, JobId, LineFields, NeedFields,
    NewPhoto, NewReading, OrderFields, PaymentFields, PowerEvent, ReadingState, Shop, StockFields,
    TieKind, VendorFields, Verdict, WiringState, WorkFields, import_shop,
};
use std::path::Path;
use support::{desk, job, open, phone};

fn of_job(shop: &Shop, job: JobId) -> Vec<u8> {
    let mut bytes = Vec::new();
    shop.export_job(job, &[], &mut bytes).unwrap();
    bytes
}

fn whole(shop: &Shop) -> Vec<u8> {
    let mut bytes = Vec::new();
    shop.export_shop(&mut bytes).unwrap();
    bytes
}

fn photo(content: &[u8]) -> NewPhoto<'_> {
    NewPhoto {
        original: content,
        media: "image/jpeg",
        shown: b"shown",
        thumbnail: b"small",
        file_name: "inside.jpg",
        caption: "as it came, \"inside\"",
        width: 4,
        height: 3,
    }
}

/// Something of everything, with corrections and an undone change.
fn filled(shop: &Shop, seed: &[(u8, i64)]) -> JobId {
    let job = job(shop);
    shop.write(&desk(1), |w| {
        w.take_down(job, "It hums,\nwhatever I do.", None)?;
        let meter = w.add_instrument(&shop::InstrumentFields {
            name: "red meter".into(),
            error_percent: Some(0.1 + 0.2),
            ..Default::default()
        })?;
        let wiring = w.wiring_for(job, WiringState::AsFound)?;
        w.save_wiring(wiring, "V1 12AX7\n", None)?;
        w.save_wiring(wiring, "V1 12AX7\nR1 100k\n", None)?;
        let block = w.begin_block(
            job,
            ReadingState::AsFound,
            "first",
            "mains 231 V",
            Some(meter),
        )?;
        let mut last = None;
        for (_, n) in seed {
            let reading = NewReading {
                point: "B1".into(),
                shown: n.to_string(),
                note: "a, \"b\"".into(),
                ..NewReading::default()
            };
            last = Some(w.take_reading(block, &reading, last.filter(|_| n % 2 == 0))?);
        }
        w.power_event(
            job,
            &PowerEvent::Read {
                point: "B1".into(),
                volts: 0.1 * 3.0,
            },
            Some(meter),
        )?;
        w.give_verdict(job, "C3", Verdict::Replace, None, "leaks")?;
        let work = w.add_work(
            job,
            &WorkFields {
                title: "new C3".into(),
                ..Default::default()
            },
        )?;
        let photo = w.add_photo(job, &photo(b"original"))?;
        w.tie(photo, TieKind::Work, &work.to_string())?;
        let vendor = w.add_vendor(&VendorFields {
            name: "Quillon".into(),
            ..Default::default()
        })?;
        let need = w.add_need(&NeedFields {
            job: Some(job),
            what: "fuse".into(),
            quantity: 3,
            ..Default::default()
        })?;
        let line = LineFields {
            need: Some(need),
            what: "fuse".into(),
            quantity: 1,
            price_minor: Some(90),
            ..Default::default()
        };
        let other = LineFields {
            what: "for the shelf".into(),
            ..Default::default()
        };
        let order = w.place_order(vendor, &OrderFields::default(), &[line, other])?;
        let line = w.order(order)?.lines[0].id;
        w.receive(line, &shop::DeliveryFields::right(1))?;
        let item = w.add_stock(&StockFields {
            what: "fuse".into(),
            ..Default::default()
        })?;
        w.move_stock(item, 10, None, "counted")?;
        w.move_stock(item, -2, Some(need), "")?;
        let cord = w.add_estimate(
            job,
            &EstimateFields {
                what: "cord".into(),
                ..Default::default()
            },
        )?;
        w.owner_said(cord, false, "2026-11-25", "no")?;
        w.owner_said(cord, true, "2026-11-26", "well then")?;
        w.add_charge(
            job,
            &ChargeFields {
                sort: ChargeSort::Part,
                what: "fuse".into(),
                amount_minor: 90,
                line: Some(line),
                ..Default::default()
            },
        )?;
        w.add_payment(
            job,
            &PaymentFields {
                amount_minor: 50,
                ..Default::default()
            },
        )?;
        w.write_invoice(
            &[job],
            &InvoiceFields {
                number: "2026-1".into(),
                ..Default::default()
            },
            0,
            40,
        )?;
        Ok(())
    })
    .unwrap();
    for (what, n) in seed {
        let done = shop.write(&phone(2 + n), |w| {
            match what % 4 {
                0 => w.add_note(job, "", &format!("note {n}"), None).map(|_| ()),
                1 => w.add_minutes(job, "chart", 1 + n, true, "").map(|_| ()),
                2 => w
                    .give_verdict(job, "C3", Verdict::Keep, None, "after all")
                    .map(|_| ()),
                _ => {
                    let last = w.last_to_undo(job, "Phone")?;
                    if let Some(last) = last {
                        w.undo(last.id)?;
                    }
                    Ok(())
                }
            }
            .map(|_| ())
        });
        // an undoing is refused where the same thing was changed since
        assert!(done.is_ok() || what % 4 == 3, "{done:?}");
    }
    job
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 8, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_job_and_a_shop_come_back_the_same_to_the_byte(
        seed in prop::collection::vec((any::<u8>(), 0_i64..50), 0..12),
    ) {
        let folder = tempfile::tempdir().unwrap();
        let shop = open(&folder.path().join("from"));
        let job = filled(&shop, &seed);
        // into an empty shop
        let bytes = of_job(&shop, job);
        prop_assert_eq!(&of_job(&shop, job), &bytes, "twice the same");
        let other = open(&folder.path().join("to"));
        let there = other.import_job(&desk(500), &bytes).unwrap().job;
        prop_assert_eq!(there, job);
        prop_assert!(of_job(&other, there) == bytes);
        // the whole shop, and the job out of it
        let all = whole(&shop);
        let copy = folder.path().join("copy");
        import_shop(&all, &copy, desk(600).at).unwrap();
        let copy = open(&copy);
        prop_assert!(whole(&copy) == all);
        prop_assert!(of_job(&copy, job) == bytes);
        // what one sees is the same too
        let seen = |s: &Shop, j: JobId| s.read(|r| Ok((
            r.readings(j)?.len(), r.readings_ever(j)?.len(), r.work(j)?, r.estimate(j)?.len(),
            r.bill(&[j], "", 100, desk(900).at)?, r.journal(Some(j), None, 1000)?.len(),
        ))).unwrap();
        prop_assert_eq!(seen(&shop, job).0, seen(&other, there).0);
        prop_assert_eq!(seen(&shop, job).4.lines, seen(&other, there).4.lines);
        prop_assert_eq!(seen(&shop, job).5, seen(&other, there).5);
    }
}

#[test]
fn a_job_taken_in_beside_others_keeps_to_its_own() {
    let folder = tempfile::tempdir().unwrap();
    let shop = open(&folder.path().join("from"));
    let job = filled(&shop, &[(0, 7), (1, 9)]);
    let before = whole(&shop);
    let bytes = of_job(&shop, job);
    // into the shop that has it already: another number, and the invoice says where it is from
    let second = shop.import_job(&desk(700), &bytes).unwrap().job;
    assert_ne!(second, job);
    shop.read(|r| {
        assert_eq!(r.job(second)?.owner, "Odo Kestle");
        let work = r.work(second)?[0].id;
        let photo = &r.photos(second)?[0];
        assert_eq!(photo.ties[0].target, work.to_string());
        let invoice = &r.invoices_of(second)?[0];
        assert!(
            invoice
                .fields
                .number
                .starts_with("2026-1 (from another shop")
        );
        let need = r.need(r.needs_of(second)?[0])?;
        assert_eq!((need.from_stock, need.came, need.to_order()), (2, 1, 0));
        // no stock was made: ten came, two went, on one shelf; nothing lies on the other
        let mut there: Vec<i64> = r.stock()?.iter().map(|s| s.there).collect();
        there.sort_unstable();
        assert_eq!(there, [0, 8]);
        Ok(())
    })
    .unwrap();
    assert_eq!(of_job(&shop, job), bytes, "the first is as it was");
    // its last change can be undone there
    let last = shop.read(|r| r.last_to_undo(second, "Phone")).unwrap();
    shop.write(&desk(701), |w| w.undo(last.unwrap().id))
        .unwrap();
    drop(shop);
    assert!(
        shop::verify(&folder.path().join("from"))
            .unwrap()
            .problems
            .is_empty()
    );
    assert_ne!(before.len(), 0);
}

#[test]
fn damaged_and_foreign_archives_change_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let shop = open(&folder.path().join("from"));
    let job = filled(&shop, &[(0, 7)]);
    let (bytes, all) = (of_job(&shop, job), whole(&shop));
    let other = open(&folder.path().join("to"));
    assert!(
        other.import_job(&desk(1), &all).is_err(),
        "a shop is no job"
    );
    let to = folder.path().join("new");
    assert!(import_shop(&bytes, &to, desk(1).at).is_err());
    assert!(!to.exists(), "nothing half-made stays");
    let mut seen = 0;
    let mut tried = 0;
    for i in (0..bytes.len()).step_by(97) {
        let mut bad = bytes.clone();
        bad[i] ^= 0x20;
        tried += 1;
        let before = other.read(|r| r.last_entry()).unwrap();
        match other.import_job(&desk(2), &bad) {
            // a byte that nobody reads, such as a date
            Ok(same) => {
                let read = |s: &Shop, j| s.read(|r| r.readings_ever(j)).unwrap();
                assert_eq!(
                    read(&other, same.job).len(),
                    read(&shop, job).len(),
                    "byte {i}"
                );
            }
            Err(_) => {
                seen += 1;
                assert_eq!(other.read(|r| r.last_entry()).unwrap(), before);
            }
        }
        assert!(
            other.import_job(&desk(2), &bytes[..i]).is_err(),
            "cut at {i}"
        );
    }
    assert!(
        seen * 20 >= tried * 19,
        "{seen} of {tried} changed bytes were seen"
    );
    let full = folder.path().join("from");
    assert!(
        import_shop(&all, &full, desk(1).at).is_err(),
        "the folder holds something"
    );
}

/// A new table cannot be forgotten.
#[test]
fn every_table_is_in_the_archive_of_a_shop() {
    let folder = tempfile::tempdir().unwrap();
    drop(open(folder.path()));
    let base = Connection::open(Path::new(folder.path()).join("shop.sqlite")).unwrap();
    let tables: Vec<String> = base
        .prepare("SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%' ORDER BY name")
        .unwrap()
        .query_map([], |r| r.get(0))
        .unwrap()
        .map(Result::unwrap)
        .collect();
    let text = include_str!("../src/archive/rows.rs");
    for table in &tables {
        assert!(text.contains(&format!("    \"{table}\",")), "{table}");
    }
    assert_eq!(tables.len(), 46);
}

/// An owner who is here with the same name and contact stays one; whoever differs in either, or has no contact, is new.
#[test]
fn an_owner_who_is_here_already_is_the_same_one() {
    let folder = tempfile::tempdir().unwrap();
    let shop = open(&folder.path().join("from"));
    let job = filled(&shop, &[(0, 7)]);
    let client = shop.read(|r| Ok(r.job(job)?.amp.client)).unwrap();
    let with = |phone: &str| {
        let fields = shop::ClientFields {
            name: "Odo Kestle".into(),
            phone: phone.into(),
            ..Default::default()
        };
        shop.write(&desk(800), |w| w.change_client(client, &fields, None))
            .unwrap();
        of_job(&shop, job)
    };
    let clients = |s: &Shop| {
        let jobs: Vec<_> = s.read(|r| r.last_seen(50)).unwrap();
        let mut all: Vec<_> = jobs.iter().map(|(c, _)| c.id).collect();
        all.sort_unstable();
        all.dedup();
        all.len()
    };
    let (bare, known, other) = (with(""), with("555 0101"), with("555 0102"));
    let to = open(&folder.path().join("to"));
    let take = |bytes: &[u8]| to.import_job(&desk(900), bytes).unwrap();
    for (bytes, owner_known, owners) in [
        (&known, false, 1),
        (&known, true, 1),
        (&other, false, 2),
        (&known, true, 2),
        (&bare, false, 3),
        (&bare, false, 4),
    ] {
        let taken = take(bytes);
        assert_eq!((taken.owner_known, clients(&to)), (owner_known, owners));
        let owner = to.read(|r| Ok(r.job(taken.job)?.owner)).unwrap();
        assert_eq!(owner, "Odo Kestle");
        // no entry of the journal names what is not there: all of it can be undone or is refused in words
        to.read(|r| r.journal(Some(taken.job), None, 500)).unwrap();
    }
    // what was taken in comes out as it went in, but for what was written of the owner before
    let out = of_job(&to, take(&known).job);
    let back = open(&folder.path().join("back"));
    assert!(!back.import_job(&desk(1), &out).unwrap().owner_known);
}
