//! A program that writes is killed (SIGKILL) at a random moment, again and again. Every change
//! that it had acknowledged must be there afterwards, whole, and the record must hold together.
//!
//! What this proves: nothing acknowledged is lost when the program dies. What it does not prove:
//! anything about power cuts or failing disks, for there the kernel dies too. Against those stand
//! the syncs (`synchronous=FULL`, files synced before they are named), which this test cannot see.
//!
//! 50 kills; 500 with TUBEWRIGHT_LONG set. The same program is the writer (with `write FOLDER SEED`).
#![allow(
    clippy::unwrap_used,
    clippy::print_stdout,
    reason = "a test may panic and print"
)]

mod support;

use rand::{Rng as _, RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use shop::{
    JobId, NewPhoto, NewReading, Outcome, ReadingState, ResultFields, Saved, Shop, ShopError,
    Stamp, Verdict, WiringState, WorkFields, verify,
};
use std::collections::BTreeMap;
use std::io::{BufRead as _, BufReader, Write as _};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    if let [_, word, folder, seed] = arguments.as_slice()
        && word == "write"
    {
        write(Path::new(folder), seed.parse().unwrap());
    }
    if arguments.iter().any(|a| a == "--list") {
        println!("killed_while_writing: test");
        return;
    }
    let kills = if std::env::var_os("TUBEWRIGHT_LONG").is_some() {
        500
    } else {
        50
    };
    let space = tempfile::tempdir().unwrap();
    let folder = space.path().join("shop");
    let job = support::job(&support::open(&folder));
    let mut dice = ChaCha8Rng::seed_from_u64(20_261_125);
    let mut acknowledged: BTreeMap<String, String> = BTreeMap::new();
    for kill in 0..kills {
        kill_once(&folder, kill, &mut dice, &mut acknowledged);
        // opening checks and recovers; then everything acknowledged is looked up
        let shop = support::open(&folder);
        let there = everything(&shop, job).unwrap();
        for (key, value) in &acknowledged {
            assert_eq!(there.get(key), Some(value), "kill {kill} lost {key}");
        }
        drop(shop);
        if kill % 10 == 9 || kill + 1 == kills {
            let report = verify(&folder).unwrap();
            assert_eq!(report.problems, Vec::<String>::new(), "after kill {kill}");
        }
    }
    assert!(acknowledged.len() > kills, "{} changes", acknowledged.len());
    println!(
        "{kills} kills, {} acknowledged changes, none lost; the record holds together",
        acknowledged.len()
    );
}

/// Runs the writer and kills it after a random while, keeping what it acknowledged.
fn kill_once(
    folder: &Path,
    seed: usize,
    dice: &mut ChaCha8Rng,
    acknowledged: &mut BTreeMap<String, String>,
) {
    let mut writer = Command::new(std::env::current_exe().unwrap())
        .args(["write", &folder.to_string_lossy(), &seed.to_string()])
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let out = BufReader::new(writer.stdout.take().unwrap());
    // let it acknowledge a few changes, then strike at any moment of the next ones
    let least = dice.random_range(0..6);
    let pause = Duration::from_micros(dice.next_u64() % 15_000);
    let (tell, told) = std::sync::mpsc::channel();
    let listener = std::thread::spawn(move || {
        let mut lines = Vec::new();
        for line in out.split(b'\n') {
            let Ok(line) = line else { break };
            lines.push(String::from_utf8(line).unwrap());
            let _ = tell.send(());
        }
        lines
    });
    for _ in 0..=least {
        told.recv_timeout(Duration::from_secs(60))
            .expect("the writer acknowledges");
    }
    std::thread::sleep(pause);
    writer.kill().unwrap(); // SIGKILL: no handler runs, nothing is flushed
    writer.wait().unwrap();
    for line in listener.join().unwrap() {
        // a line that the kill cut short was not acknowledged
        if let Some((key, value)) = line.strip_suffix(" ok").and_then(|l| l.split_once('=')) {
            acknowledged.insert(key.to_owned(), value.to_owned());
        }
    }
}

/// Writes at random until killed; tells each change only after it was acknowledged.
fn write(folder: &Path, seed: u64) -> ! {
    let shop = support::open(folder);
    let mut dice = ChaCha8Rng::seed_from_u64(seed);
    let job = shop.read(|r| Ok(r.open_jobs()?[0].id)).unwrap();
    let stamp = Stamp::new(support::MORNING, format!("writer {seed}"));
    let block = shop
        .write(&stamp, |w| {
            w.begin_block(
                job,
                ReadingState::AsFound,
                &format!("block {seed}"),
                "",
                None,
            )
        })
        .unwrap();
    let mut out = std::io::stdout().lock();
    for n in 0u64.. {
        let tag = format!("{seed}-{n}");
        let text: String = (0..dice.random_range(1..40))
            .map(|_| char::from(b'a' + (dice.next_u32() % 26) as u8))
            .collect();
        let (key, value) = match dice.random_range(0..7) {
            0 => {
                let id = shop
                    .write(&stamp, |w| {
                        let new = NewReading {
                            point: tag.clone(),
                            shown: text.clone(),
                            ..NewReading::default()
                        };
                        w.take_reading(block, &new, None)
                    })
                    .unwrap();
                (format!("reading {id}"), format!("{tag} {text}"))
            }
            1 => {
                shop.write(&stamp, |w| {
                    w.give_verdict(job, &tag, Verdict::Watch, None, &text)
                })
                .unwrap();
                (format!("verdict {tag}"), text)
            }
            2 => {
                let result = ResultFields {
                    sheet: "safety".into(),
                    item: tag.clone(),
                    result: Outcome::Pass,
                    shown: text.clone(),
                    ..ResultFields::default()
                };
                shop.write(&stamp, |w| w.answer_item(job, &result)).unwrap();
                (format!("result {tag}"), text)
            }
            3 => {
                let fields = WorkFields {
                    title: text.clone(),
                    part: tag.clone(),
                    ..WorkFields::default()
                };
                let id = shop.write(&stamp, |w| w.add_work(job, &fields)).unwrap();
                (format!("work {id}"), format!("{tag} {text}"))
            }
            4 => {
                // several rows and three files in one change
                let photo = NewPhoto {
                    original: text.as_bytes(),
                    media: "image/jpeg",
                    shown: tag.as_bytes(),
                    thumbnail: b"small",
                    file_name: &tag,
                    caption: &text,
                    width: 1,
                    height: 1,
                };
                let id = shop.write(&stamp, |w| w.add_photo(job, &photo)).unwrap();
                (format!("photo {id}"), text)
            }
            5 => {
                shop.write(&stamp, |w| w.set_setting(&format!("kept {}", n % 5), &tag))
                    .unwrap();
                // a later one overwrites it, so it is told as the journal's last word
                continue;
            }
            _ => {
                let id = shop
                    .write(&stamp, |w| {
                        let wiring = w.wiring_for(job, WiringState::AsFound)?;
                        let head = w.head(wiring)?;
                        let before = head.as_ref().map_or("", |h| h.text.as_str());
                        let grown = format!("{before}# {tag} {text}\n");
                        match w.save_wiring(wiring, &grown, head.as_ref().map(|h| h.id))? {
                            Saved::Head(id) => Ok(id),
                            other => Err(ShopError::Refused(format!("{other:?}"))),
                        }
                    })
                    .unwrap();
                (format!("revision {id}"), format!("{tag} {text}"))
            }
        };
        writeln!(out, "{key}={value} ok").unwrap();
        out.flush().unwrap();
    }
    unreachable!("it is killed before it runs out of numbers");
}

/// All that the record holds, by the keys that the writer uses; contents are read from their files.
fn everything(shop: &Shop, job: JobId) -> Result<BTreeMap<String, String>, ShopError> {
    let (mut all, photos) = shop.read(|r| {
        let mut all = BTreeMap::new();
        for x in r.readings(job)? {
            let value = format!("{} {}", x.fields.point, x.fields.shown);
            all.insert(format!("reading {}", x.id), value);
        }
        for x in r.verdicts(job)? {
            all.insert(format!("verdict {}", x.part), x.reason);
        }
        for x in r.results(job)? {
            all.insert(format!("result {}", x.fields.item), x.fields.shown);
        }
        for x in r.work(job)? {
            let value = format!("{} {}", x.fields.part, x.fields.title);
            all.insert(format!("work {}", x.id), value);
        }
        if let Some(wiring) = r.wiring_of(job, WiringState::AsFound)? {
            for x in r.revisions(wiring.id)? {
                let last = x.text.lines().last().unwrap_or("").trim_start_matches("# ");
                all.insert(format!("revision {}", x.id), last.to_owned());
            }
        }
        Ok((all, r.photos(job)?))
    })?;
    for photo in photos {
        let content = shop.content(&photo.original)?;
        all.insert(
            format!("photo {}", photo.id),
            String::from_utf8_lossy(&content).into_owned(),
        );
    }
    Ok(all)
}
