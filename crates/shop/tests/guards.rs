//! What the data base itself refuses, whoever asks.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod support;

use rusqlite::Connection;
use shop::{
    At, ClientFields, NewPhoto, NewReading, Outcome, PowerEvent, ReadingState, ResultFields, Shop,
    ShopError, Verdict, WiringState,
};
use support::{MORNING, desk, job, open};

/// Fills one row at least into every table of entries.
fn fill(shop: &Shop) -> shop::JobId {
    let job = job(shop);
    shop.write(&desk(1), |w| {
        w.take_down(job, "It hums.", None)?;
        w.answer(job, "last_played", "May")?;
        w.authorise(job, &shop::AuthorisationFields::default())?;
        w.enter_valve(job, &shop::ValveFields::default(), None)?;
        let block = w.begin_block(job, ReadingState::AsFound, "", "", None)?;
        let reading = NewReading {
            point: "B1".into(),
            shown: "262".into(),
            ..NewReading::default()
        };
        w.take_reading(block, &reading, None)?;
        w.power_event(job, &PowerEvent::PlugOut, None)?;
        w.answer_item(
            job,
            &ResultFields {
                sheet: "safety".into(),
                item: "earth bond".into(),
                result: Outcome::Fail,
                ..ResultFields::default()
            },
        )?;
        w.keep_sheet(job, "bias", "{}", "{}")?;
        w.set_part_state(
            job,
            &shop::PartStateFields {
                part: "C3".into(),
                state: shop::State::Original,
                was: String::new(),
                now: String::new(),
                note: String::new(),
            },
        )?;
        w.give_verdict(job, "C3", Verdict::Replace, None, "leaks")?;
        w.add_note(job, "", "smells of wax", None)?;
        w.add_photo(
            job,
            &NewPhoto {
                original: b"original",
                media: "image/jpeg",
                shown: b"shown",
                thumbnail: b"small",
                file_name: "../../IMG_1\u{7}.jpg",
                caption: "inside",
                width: 4,
                height: 3,
            },
        )?;
        w.add_recording(job, b"RIFF", "audio/wav", "hum.wav", "")?;
        let wiring = w.wiring_for(job, WiringState::AsFound)?;
        w.save_wiring(wiring, "V1 12AX7\n", None)?;
        let vendor = w.add_vendor(&shop::VendorFields {
            name: "Quillon".into(),
            ..Default::default()
        })?;
        let need = w.add_need(&shop::NeedFields {
            job: Some(job),
            what: "coupling capacitor".into(),
            ..Default::default()
        })?;
        let line = shop::LineFields {
            need: Some(need),
            what: "coupling capacitor".into(),
            ..Default::default()
        };
        let order = w.place_order(vendor, &shop::OrderFields::default(), &[line])?;
        let line = w.order(order)?.lines[0].id;
        w.receive(line, &shop::DeliveryFields::right(1))?;
        let item = w.add_stock(&shop::StockFields {
            what: "fuse".into(),
            ..Default::default()
        })?;
        w.move_stock(item, 5, None, "")?;
        let item = w.add_estimate(
            job,
            &shop::EstimateFields {
                what: "new mains cord".into(),
                ..Default::default()
            },
        )?;
        w.owner_said(item, true, "2026-11-25", "go on")?;
        let charge = shop::ChargeFields {
            what: "cord".into(),
            amount_minor: 850,
            ..Default::default()
        };
        w.add_charge(job, &charge)?;
        let paid = shop::PaymentFields {
            amount_minor: 500,
            ..Default::default()
        };
        w.add_payment(job, &paid)?;
        let invoice = shop::InvoiceFields {
            number: "2026-1".into(),
            ..Default::default()
        };
        w.write_invoice(&[job], &invoice, 0, 350)?;
        Ok(())
    })
    .unwrap();
    job
}

/// Every table that has triggers against change, from the data base itself.
fn guarded(base: &Connection) -> Vec<String> {
    base.prepare("SELECT DISTINCT tbl_name FROM sqlite_schema WHERE type = 'trigger' AND sql LIKE '%BEFORE UPDATE%' ORDER BY 1")
        .unwrap()
        .query_map([], |r| r.get(0))
        .unwrap()
        .map(Result::unwrap)
        .collect()
}

#[test]
fn entries_are_neither_changed_nor_deleted_nor_replaced() {
    let folder = tempfile::tempdir().unwrap();
    let shop = open(folder.path());
    fill(&shop);
    drop(shop);
    let base = Connection::open(folder.path().join("shop.sqlite")).unwrap();
    base.pragma_update(None, "recursive_triggers", true)
        .unwrap();
    let tables = guarded(&base);
    assert!(tables.len() >= 22, "{tables:?}");
    for must in [
        "readings",
        "verdicts",
        "results",
        "journal",
        "changes",
        "wiring_revisions",
    ] {
        assert!(tables.iter().any(|t| t == must), "{must}");
    }
    for table in &tables {
        let rows: i64 = base
            .query_row(&format!("SELECT count(*) FROM {table}"), [], |r| r.get(0))
            .unwrap();
        assert!(rows > 0, "{table} has a row to try on");
        let refused = |sql: &str| {
            let e = base.execute(sql, []).unwrap_err().to_string();
            assert!(e.contains("never"), "{sql}: {e}");
        };
        let column = if *table == "attachments" {
            "bytes = 1"
        } else {
            "at = 0"
        };
        let column = if *table == "changes" {
            "row = 0"
        } else {
            column
        };
        refused(&format!("UPDATE {table} SET {column}"));
        refused(&format!("DELETE FROM {table}"));
        refused(&format!(
            "INSERT OR REPLACE INTO {table} SELECT * FROM {table} LIMIT 1"
        ));
    }
    // blanking may empty the words and nothing else
    assert!(base.execute("UPDATE notes SET text = 'other'", []).is_err());
    assert!(
        base.execute(
            "UPDATE notes SET text = '', blanked_at = 1, about = 'x'",
            []
        )
        .is_err()
    );
    assert_eq!(
        base.execute("UPDATE notes SET text = '', blanked_at = 1", [])
            .unwrap(),
        1
    );
    assert!(
        base.execute("UPDATE notes SET blanked_at = 2", []).is_err(),
        "once"
    );
}

#[test]
fn a_reading_names_rows_that_are_there() {
    let folder = tempfile::tempdir().unwrap();
    let shop = open(folder.path());
    let reading = NewReading {
        point: "B1".into(),
        shown: "1".into(),
        ..NewReading::default()
    };
    let nowhere = shop.write(&desk(1), |w| {
        w.take_reading(shop::BlockId(7), &reading, None)
    });
    assert!(matches!(nowhere, Err(ShopError::Nothing(_))));
    drop(shop);
    let base = Connection::open(folder.path().join("shop.sqlite")).unwrap();
    base.pragma_update(None, "foreign_keys", true).unwrap();
    assert!(
        base.execute(
            "INSERT INTO readings (block, point, shown, unit, note, at, bench) VALUES (7, 'B1', '1', '', '', 0, '')",
            []
        )
        .is_err()
    );
}

/// The largest whole number of SQLite ("Datatypes in SQLite", 2) has none after it: a job of that number was the last.
#[test]
fn a_tag_of_too_many_figures_does_not_end_the_numbers() {
    let folder = tempfile::tempdir().unwrap();
    let shop = open(folder.path());
    let first = job(&shop);
    let amp = shop
        .read(|r| Ok::<_, ShopError>(r.job(first)?.amp.id))
        .unwrap();
    let take = |number| shop.write(&desk(1), |w| w.open_job(amp, number));
    for number in [i64::MAX, i64::MAX - 1, 1_000_000_000] {
        match take(Some(number)) {
            Err(ShopError::Refused(said)) => {
                assert!(said.contains("nine figures"), "{said}");
                assert!(said.contains("leave it empty"), "{said}");
            }
            other => panic!("{number}: {other:?}"),
        }
    }
    for number in [0, -1, i64::MIN] {
        assert!(matches!(take(Some(number)), Err(ShopError::Refused(_))));
    }
    assert_eq!(take(None).unwrap().0, 43);
    // after the highest tag there is, the lowest free numbers
    assert_eq!(take(Some(999_999_999)).unwrap().0, 999_999_999);
    assert_eq!(take(None).unwrap().0, 1);
    assert_eq!(take(Some(2)).unwrap().0, 2);
    assert_eq!(take(None).unwrap().0, 3);
}

#[test]
fn a_change_is_whole_or_not_at_all() {
    let folder = tempfile::tempdir().unwrap();
    let shop = open(folder.path());
    let job = job(&shop);
    let before = shop.read(|r| r.last_entry()).unwrap();
    let failed: Result<(), ShopError> = shop.write(&desk(1), |w| {
        w.add_note(job, "", "this goes too", None)?;
        Err(ShopError::Refused("for a test".into()))
    });
    assert!(failed.is_err());
    assert_eq!(shop.read(|r| r.last_entry()).unwrap(), before);
    assert!(shop.read(|r| r.notes(job)).unwrap().is_empty());
}

#[test]
fn personal_data_can_be_blanked_and_leave_no_trace_in_the_files() {
    let folder = tempfile::tempdir().unwrap();
    let shop = open(folder.path());
    let job = fill(&shop);
    let (client, photo, note) = shop
        .read(|r| {
            Ok((
                r.job(job)?.amp.client,
                r.photos(job)?.remove(0),
                r.notes(job)?.remove(0),
            ))
        })
        .unwrap();
    let changed = ClientFields {
        name: "Odo Kestle-Brandreth".into(),
        ..ClientFields::default()
    };
    shop.write(&desk(2), |w| w.change_client(client, &changed, None))
        .unwrap();
    assert_eq!(
        photo.file_name, "../../IMG_1.jpg",
        "shown as text, control characters gone"
    );
    let trace = || {
        let mut all = Vec::new();
        for name in ["shop.sqlite", "shop.sqlite-wal"] {
            all.extend(std::fs::read(folder.path().join(name)).unwrap_or_default());
        }
        let has = |word: &str| all.windows(word.len()).any(|w| w == word.as_bytes());
        ["Kestle", "0555 0142", "It hums.", "smells of wax", "IMG_1"].map(has)
    };
    assert_eq!(trace(), [true; 5]);
    let technical = |shop: &Shop| {
        shop.read(|r| {
            Ok((
                r.readings(job)?,
                r.verdicts(job)?,
                r.results(job)?,
                r.wirings(job)?,
                r.valves_fitted(job)?,
            ))
        })
        .unwrap()
    };
    let before = technical(&shop);
    shop.forget(&desk(3), |w| {
        w.blank_client(client)?;
        w.blank_note(job, note.id)?;
        w.blank_photo(photo.id)
    })
    .unwrap();
    assert_eq!(
        technical(&shop),
        before,
        "the technical record is untouched"
    );
    assert_eq!(trace(), [false; 5]);
    assert!(shop.content(&photo.original).is_err(), "the file is gone");
    assert!(shop.read(|r| r.photos(job)).unwrap().is_empty());
    let journal = shop.read(|r| r.journal(None, None, 200)).unwrap();
    let blanking = journal.iter().find(|e| e.says == "client blanked").unwrap();
    assert!(matches!(
        shop.write(&desk(4), |w| w.undo(blanking.id)),
        Err(ShopError::Refused(_))
    ));
    // undoing an older change of the client brings nothing back
    for entry in journal.iter().filter(|e| e.says.starts_with("client")) {
        let _ = shop.write(&desk(5), |w| w.undo(entry.id));
    }
    assert!(!trace()[0]);
}

#[test]
fn one_program_writes_at_a_time_and_the_folder_must_be_a_shop() {
    let folder = tempfile::tempdir().unwrap();
    let shop = open(folder.path());
    assert!(matches!(
        Shop::open(folder.path(), At(MORNING)),
        Err(ShopError::Busy(_))
    ));
    drop(shop);
    drop(open(folder.path()));
    let other = tempfile::tempdir().unwrap();
    std::fs::write(other.path().join("holiday.jpg"), b"x").unwrap();
    assert!(matches!(
        Shop::open(other.path(), At(MORNING)),
        Err(ShopError::NotAShop(_))
    ));
    let base = Connection::open(folder.path().join("shop.sqlite")).unwrap();
    base.pragma_update(None, "user_version", 99).unwrap();
    drop(base);
    assert!(matches!(
        Shop::open(folder.path(), At(MORNING)),
        Err(ShopError::Newer { found: 99, .. })
    ));
    std::fs::write(
        folder.path().join("shop.sqlite"),
        b"no data base at all, but long enough",
    )
    .unwrap();
    let damaged = Shop::open(folder.path(), At(MORNING)).unwrap_err();
    assert!(
        damaged.remedy().contains("backup"),
        "{damaged}: {}",
        damaged.remedy()
    );
}
