//! Files of every layout that was ever shipped open, keep what they hold, and can be used.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod support;

use rusqlite::Connection;
use shop::{JobId, Power, Verdict, WaitsFor, WiringState, verify};
use std::fs;
use support::{desk, open};

#[test]
fn files_of_every_layout_open_and_keep_what_they_hold() {
    let schemas = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/schemas");
    let mut files: Vec<_> = fs::read_dir(schemas)
        .unwrap()
        .map(|e| e.unwrap().path())
        .collect();
    files.sort();
    let steps = fs::read_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/migrations"))
        .unwrap()
        .filter(|e| {
            e.as_ref()
                .unwrap()
                .path()
                .extension()
                .is_some_and(|x| x == "sql")
        })
        .count();
    assert_eq!(files.len(), steps, "one old file for every layout");
    for file in files {
        let folder = tempfile::tempdir().unwrap();
        let base = Connection::open(folder.path().join("shop.sqlite")).unwrap();
        base.execute_batch(&fs::read_to_string(&file).unwrap())
            .unwrap();
        let layout: usize = base
            .pragma_query_value(None, "user_version", |r| r.get::<_, i64>(0))
            .unwrap()
            .try_into()
            .unwrap();
        drop(base);
        let shop = open(folder.path());
        let kept = folder.path().join(format!("before-layout-{steps}.sqlite"));
        assert_eq!(
            kept.exists(),
            layout < steps,
            "{file:?}: a copy before the change"
        );
        drop(shop);
        assert_eq!(
            verify(folder.path()).unwrap().problems,
            Vec::<String>::new(),
            "{file:?}"
        );
        let shop = open(folder.path());
        shop.read(|r| {
            let job = r.job(JobId(41))?;
            assert_eq!(
                (job.amp.fields.name().as_str(), job.owner.as_str()),
                ("Marram Curlew", "Ilsa Brandreth")
            );
            assert_eq!(
                (job.waits_for, job.step.as_str()),
                (WaitsFor::Parts, "chart")
            );
            let readings = r.readings(job.id)?;
            assert_eq!(readings.len(), 1);
            assert_eq!(readings[0].fields.shown, "358");
            assert_eq!(r.readings_ever(job.id)?.len(), 2);
            let wiring = r.wiring_of(job.id, WiringState::AsFound)?.unwrap();
            assert_eq!(r.head(wiring.id)?.unwrap().number, 2);
            assert_eq!(r.verdicts(job.id)?[0].verdict, Verdict::Watch);
            assert_eq!(r.results(job.id)?[0].fields.shown, "0.04");
            assert!(matches!(
                r.power(job.id, &["B1".into()], true, 10.0)?,
                Power::Off { .. }
            ));
            assert_eq!(r.work(job.id)?[0].fields.minutes, 20);
            assert_eq!(r.owner_words(job.id)?[0].text, "Hums whatever I do.");
            assert_eq!(r.setting("bench_name")?.as_deref(), Some("Desk"));
            Ok(())
        })
        .unwrap();
        // and it can be written to
        shop.write(&desk(1), |w| {
            w.add_note(JobId(41), "", "opened again", None)
        })
        .unwrap();
    }
}
