//! Backup while in use, verification, restoring.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod support;

use shop::{NewPhoto, NewReading, ReadingState, back_up, restore, verify};
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use support::{desk, job, open};

fn reading(n: u64) -> NewReading {
    NewReading {
        point: format!("p{n}"),
        shown: n.to_string(),
        ..NewReading::default()
    }
}

/// Files below a folder.
fn files(folder: &Path) -> Vec<PathBuf> {
    let mut all = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            all.extend(files(&path));
        } else {
            all.push(path);
        }
    }
    all
}

#[test]
fn a_backup_taken_in_the_middle_of_writing_is_one_moment_of_the_record() {
    let space = tempfile::tempdir().unwrap();
    let folder = space.path().join("shop");
    let shop = open(&folder);
    let job = job(&shop);
    let block = shop
        .write(&desk(1), |w| {
            w.add_photo(
                job,
                &NewPhoto {
                    original: b"a big photo",
                    media: "image/jpeg",
                    shown: b"a photo",
                    thumbnail: b"tiny",
                    file_name: "a.jpg",
                    caption: "",
                    width: 1,
                    height: 1,
                },
            )?;
            w.begin_block(job, ReadingState::AsFound, "", "", None)
        })
        .unwrap();
    let stop = AtomicBool::new(false);
    let written = AtomicU64::new(0);
    let (before, backups, after) = std::thread::scope(|scope| {
        scope.spawn(|| {
            for n in 1.. {
                // two rows a change: a backup must have both or none
                shop.write(&desk(2), |w| {
                    w.take_reading(block, &reading(2 * n), None)?;
                    w.take_reading(block, &reading(2 * n + 1), None)
                })
                .unwrap();
                written.store(2 * n, Ordering::SeqCst);
                if stop.load(Ordering::SeqCst) {
                    break;
                }
            }
        });
        while written.load(Ordering::SeqCst) < 10 {
            std::thread::yield_now();
        }
        let before = written.load(Ordering::SeqCst);
        let backups: Vec<PathBuf> = (0..3)
            .map(|i| {
                let to = space.path().join(format!("backup-{i}"));
                back_up(&folder, &to, shop::At(support::MORNING)).unwrap();
                to
            })
            .collect();
        stop.store(true, Ordering::SeqCst);
        (before, backups, ())
    });
    let () = after;
    for backup in &backups {
        let report = verify(backup).unwrap();
        assert_eq!(report.problems, Vec::<String>::new());
        assert_eq!(report.attachments, 3);
        assert_eq!(report.readings % 2, 0, "both rows of a change or none");
        assert!(u64::try_from(report.readings).unwrap() >= before);
        let names: Vec<String> = files(backup)
            .iter()
            .map(|f| f.file_name().unwrap().to_string_lossy().into_owned())
            .collect();
        assert!(
            !names.iter().any(|n| n.ends_with("-wal") || n == "lock"),
            "{names:?}"
        );
    }
    // a folder that is there is not overwritten
    assert!(back_up(&folder, &backups[0], shop::At(0)).is_err());
    drop(shop);
    // restoring gives a shop that opens, with everything
    let restored = space.path().join("restored");
    let report = restore(&backups[2], &restored).unwrap();
    let again = open(&restored);
    assert_eq!(again.read(|r| r.count_readings()).unwrap(), report.readings);
    let photo = again.read(|r| r.photos(job)).unwrap().remove(0);
    assert_eq!(again.content(&photo.original).unwrap(), b"a big photo");
    assert!(restore(&backups[2], &restored).is_err(), "not over a shop");
    assert!(verify(&space.path().join("nothing")).is_err());
}

/// Bytes of a page of the data base (SQLite's default).
const PAGE: usize = 4096;

#[test]
fn verification_finds_every_sort_of_damage() {
    let space = tempfile::tempdir().unwrap();
    let folder = space.path().join("shop");
    let shop = open(&folder);
    let job = job(&shop);
    shop.write(&desk(1), |w| {
        w.add_recording(job, &[7; 5000], "audio/wav", "hum.wav", "")
    })
    .unwrap();
    drop(shop);
    let backup = |name: &str| {
        let to = space.path().join(name);
        back_up(&folder, &to, shop::At(support::MORNING)).unwrap();
        to
    };
    let finds = |folder: &Path, words: &str| {
        let report = verify(folder).unwrap();
        assert!(
            report.problems.iter().any(|p| p.contains(words)),
            "{words}: {report:?}"
        );
        assert!(restore(folder, &space.path().join("never")).is_err());
    };
    let attachment = |folder: &Path| files(&folder.join("attachments")).remove(0);

    let changed = backup("changed");
    let mut content = fs::read(attachment(&changed)).unwrap();
    content[100] ^= 1;
    fs::write(attachment(&changed), content).unwrap();
    finds(&changed, "is not what was put in");

    let missing = backup("missing");
    fs::remove_file(attachment(&missing)).unwrap();
    finds(&missing, "could not be read");

    let base = backup("base");
    let mut content = fs::read(base.join("shop.sqlite")).unwrap();
    let middle = content.len() / 2;
    content[middle..middle + 64].fill(0x5a);
    fs::write(base.join("shop.sqlite"), &content).unwrap();
    finds(&base, "is not the file that was backed up");
    fs::remove_file(base.join("backup.json")).unwrap();
    // without the hash beside it, the data base's own check has to find it: the heads of its pages, since what is
    // unused inside a page is nobody's
    for head in (PAGE..content.len()).step_by(PAGE) {
        content[head..head + 8].fill(0x5a);
    }
    fs::write(base.join("shop.sqlite"), &content).unwrap();
    assert!(!verify(&base).unwrap().problems.is_empty());

    let short = backup("short");
    let content = fs::read(short.join("shop.sqlite")).unwrap();
    fs::write(short.join("shop.sqlite"), &content[..content.len() / 3]).unwrap();
    finds(&short, "is not the file that was backed up");

    let guards = backup("guards");
    let open = rusqlite::Connection::open(guards.join("shop.sqlite")).unwrap();
    open.execute_batch("DROP TRIGGER readings_stay").unwrap();
    drop(open);
    finds(&guards, "readings have lost the triggers");
}
