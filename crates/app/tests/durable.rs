//! kill -9 in the middle of writing: whatever was acknowledged is there after a new start.
//!
//! This shows that the program loses nothing when it dies. It does not show what a disk keeps when
//! the power goes: for that every commit is synchronised, and no test here can pull a plug.

#![allow(clippy::unwrap_used, reason = "a failed step is a failed test")]

mod desk;
mod server;

use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use server::Server;
use shop::{At, JobId, Shop, Verdict};
use std::sync::Mutex;

/// Starts and kills; with some ten changes before each. `./check long` asks for ten times as many.
const KILLS: usize = 5;

#[test]
fn acknowledged_changes_outlive_a_kill() {
    let long = std::env::var_os("TUBEWRIGHT_LONG").is_some();
    let kills = if long { 10 * KILLS } else { KILLS };
    let folder = tempfile::tempdir().unwrap();
    let shop = folder.path().join("shop");
    let mut chance = ChaCha8Rng::seed_from_u64(20_261_125);
    let acknowledged: Mutex<Vec<String>> = Mutex::new(Vec::new());
    let mut written = 0;
    for round in 0..kills {
        let server = Server::start(&shop, &[]);
        if round == 0 {
            let mut b = server.browser();
            b.send_to("/new", &[("model", "Dunlin"), ("name", "Odo Kestle")]);
        }
        // three benches write at once; the program is killed after some of their changes
        let stop_after = written + chance.random_range(6..14);
        let seen = std::thread::scope(|scope| {
            let mut hands = Vec::new();
            for hand in 0..3 {
                let mut b = server.browser();
                let acknowledged = &acknowledged;
                hands.push(scope.spawn(move || {
                    for n in 0..200 {
                        let what = format!("note {round} {hand} {n}");
                        let page = match n % 3 {
                            0 => b.ask_post("/job/1/note", &[("text", &what)]),
                            1 => b.ask_post("/job/1/work", &[("title", &what)]),
                            _ => b.ask_post(
                                "/job/1/verdict",
                                &[("part", &what), ("verdict", "watch")],
                            ),
                        };
                        if page != Some(303) {
                            return;
                        }
                        acknowledged.lock().unwrap().push(what);
                    }
                }));
            }
            // wait for work, not for time
            loop {
                let now = acknowledged.lock().unwrap().len();
                if now >= stop_after || hands.iter().all(std::thread::ScopedJoinHandle::is_finished)
                {
                    break;
                }
                std::thread::yield_now();
            }
            server.kill();
            for hand in hands {
                hand.join().unwrap();
            }
            acknowledged.lock().unwrap().len()
        });
        written = seen;
        let record = Shop::open(&shop, At(0)).unwrap();
        let kept: Vec<String> = record
            .read(|r| {
                let job = JobId(1);
                let notes = r.notes(job)?.into_iter().map(|n| n.text);
                let work = r.work(job)?.into_iter().map(|w| w.fields.title);
                let verdicts = r.verdicts(job)?.into_iter().map(|v| v.part);
                Ok(notes.chain(work).chain(verdicts).collect())
            })
            .unwrap();
        drop(record);
        for what in acknowledged.lock().unwrap().iter() {
            assert_eq!(kept.iter().filter(|k| *k == what).count(), 1, "{what}");
        }
        // the data base says of itself that it is whole
        let copy = folder.path().join(format!("copy-{round}"));
        shop::back_up(&shop, &copy, At(0)).unwrap();
        let report = shop::verify(&copy).unwrap();
        assert!(report.problems.is_empty(), "{:?}", report.problems);
    }
    assert!(written >= 6 * kills, "{written} changes were acknowledged");
}

/// The clock of the machine is a day behind after a flat battery: what was written last counts, nothing is refused, no
/// time becomes negative, and the journal is in the order of writing.
#[test]
fn a_clock_set_back_changes_no_order() {
    const NOW: i64 = 1_795_597_200_000;
    let folder = tempfile::tempdir().unwrap();
    let shop = folder.path().join("shop");
    let at = |at: i64| Server::start(&shop, &["--at", &at.to_string()]);
    let server = at(NOW);
    desk::begun(&server);
    server
        .browser()
        .send_to("/job/1/clock", &[("do", "start"), ("task", "chart")]);
    drop(server);
    let server = at(NOW - 24 * 3_600_000);
    let mut b = server.browser();
    let form = b.get("/job/1/chart?at=V1.1").form("name=\"shown\"");
    let page = b.send(&form.with("shown", "133"));
    assert_eq!(page.status, 200, "{}", page.words());
    b.get("/job/1/chart?at=V1.1").has(&["Read 133"]);
    for (part, verdict) in [("R4", "keep"), ("C1", "watch")] {
        b.send_to("/job/1/verdict", &[("part", part), ("verdict", verdict)]);
    }
    b.send_to("/job/1/clock", &[("do", "stop")]);
    b.send_to("/job/1/note", &[("text", "written after the battery died")]);
    let journal = b.get("/job/1/journal").words();
    let of = |words: &str| {
        journal
            .find(words)
            .unwrap_or_else(|| panic!("{words}: {journal}"))
    };
    assert!(of("corrected from 121") < of("R4: replace"), "{journal}");
    drop(server);
    let record = Shop::open(&shop, At(NOW - 24 * 3_600_000)).unwrap();
    record
        .read(|r| {
            let job = JobId(1);
            let readings = r.readings(job)?;
            let last = readings.iter().find(|x| x.fields.point == "V1.1").unwrap();
            assert_eq!(last.fields.shown, "133");
            let verdicts = r.verdicts(job)?;
            let last = verdicts.iter().find(|v| v.part == "R4").unwrap();
            assert_eq!(last.verdict, Verdict::Keep);
            for stretch in r.hours(job)? {
                assert!(stretch.stopped_at.is_none_or(|at| at >= stretch.started_at));
            }
            Ok(())
        })
        .unwrap();
    drop(record);
    assert!(shop::verify(&shop).unwrap().problems.is_empty());
}
