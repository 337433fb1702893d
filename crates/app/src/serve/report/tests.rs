//! What the report of the demo's shop says, and what no report may say.

use crate::serve::report_file::{Made, Version, make};
use crate::serve::{Texts, fill};
use report::{Block, Document, Paper};
use shop::{At, EstimateFields, EstimateSort, JobId, Outcome, ResultFields, Shop, Stamp};

const NOW: At = At(1_795_600_000_000);

/// The demo's shop.
fn shop(folder: &std::path::Path) -> Shop {
    let shop = Shop::open(folder, NOW).unwrap();
    let texts = [
        Texts {
            wiring: include_str!("../../../../../examples/pip.wiring"),
            readings: include_str!("../../../../../examples/pip.readings"),
        },
        Texts {
            wiring: include_str!("../../../../../examples/curlew.wiring"),
            readings: include_str!("../../../../../examples/curlew.readings"),
        },
        Texts {
            wiring: include_str!("../../../../../examples/turnstone.wiring"),
            readings: include_str!("../../../../../examples/turnstone.readings"),
        },
    ];
    fill(&shop, NOW, texts).unwrap();
    shop
}

fn of(made: &Made, job: i64, version: Version) -> Document {
    made.document(job, NOW, version, Paper::A4).unwrap()
}

fn has(text: &str, all: &[&str]) {
    for one in all {
        assert!(text.contains(one), "{one:?} is missing in\n{text}");
    }
}

#[test]
fn the_finished_job_goes_home_with_what_was_found_done_and_kept() {
    let folder = tempfile::tempdir().unwrap();
    let made = make(shop(folder.path()));
    let owner = of(&made, 38, Version::Owner);
    assert_eq!(owner.warning, None, "everything that stops it was tested");
    let text = report::text(&owner);
    has(
        &text,
        &[
            "once it gave me a",
            "R18 (V2a: plate load): risen to 705k",
            "V2.1 61.4 V | V2.1 120.4 V",
            "C27 | filter capacitor",
            "to be looked at again",
            "found at 236 V mains, left at 231 V",
            "V2.1 | 61.4 V | outside, low | 120 V |",
            "at most 0.3 \u{3a9} | 0.060",
            "Next check: autumn 2028",
            "CAUTION. This amplifier holds voltages that kill",
            "old R18, C28, mains cord",
            ": \u{20ac} 295.30; \u{20ac} 100.00 of it was paid before, \u{20ac} 195.30 is to pay",
            "Agreed by Tilda Merrow, in person: up to \u{20ac} 360.00",
            "New grille cloth: declined on",
        ],
    );
    // the full record has all of it, and more
    let full = of(&made, 38, Version::Full);
    let all = report::text(&full);
    has(
        &all,
        &[
            "two cores, no earth, cracked at the plug",
            "Curlew, later production",
            "Every reading as typed",
            "V2.1 | 61.4",
            "123 6314",
            "Tilda Merrow, in person: make it safe",
            "Schematic of the amplifier as left",
        ],
    );
    assert_eq!(text.matches("New grille cloth").count(), 1, "once");
    // sources in an owner's words, and in the rules' own where the rules can be looked up
    let owners = owner.notes.join(" ");
    assert!(
        !owners.contains("not the source itself") && !owners.contains(" Rule "),
        "{owners}"
    );
    assert!(owners.contains("the original not looked up"), "{owners}");
    assert!(full.notes.join(" ").contains(" Rule safety."));
    assert!(all.len() > 2 * text.len() && full.notes.len() > owner.notes.len());
    for document in [&owner, &full] {
        for block in &document.blocks {
            if let Block::Table(t) = block {
                let shares: u32 = t.columns.iter().map(|c| u32::from(c.share)).sum();
                assert!((90..=100).contains(&shares), "{}: {shares}", t.name);
                for row in &t.rows {
                    assert_eq!(row.len(), t.columns.len(), "{}", t.name);
                }
            }
        }
    }
    // the same twice, from another reading of the same record
    assert_eq!(of(&made, 38, Version::Full), full);
}

/// Guards a life: an amp that was not tested is never said to be, and a failed stop stands on the first page.
#[test]
fn nothing_is_said_more_strongly_than_the_record_has_it() {
    let folder = tempfile::tempdir().unwrap();
    let shop = shop(folder.path());
    let open = make(shop);
    for job in [39, 41, 42, 44] {
        let document = of(&open, job, Version::Owner);
        let warning = document.warning.clone().unwrap();
        assert_eq!(warning.title, "Electrical safety not tested", "{job}");
        assert!(warning.lines.iter().any(|l| l.contains("not tested")));
        let text = report::text(&document);
        has(&text, &["ELECTRICAL SAFETY NOT TESTED"]);
    }
    for job in [38, 39, 41, 42, 44] {
        for version in [Version::Owner, Version::Full] {
            let text = report::text(&of(&open, job, version)).to_lowercase();
            for bad in [
                "certified",
                "guarantee",
                "is safe",
                "electrically safe",
                "perfect",
                "as new",
            ] {
                assert!(!text.contains(bad), "job {job}: {bad}");
            }
            for (at, _) in text.match_indices("complies") {
                assert!(
                    text[..at].ends_with("nothing here says that it "),
                    "job {job}"
                );
            }
        }
    }
    drop(open);
    // the finished one, its earth read again and too high
    let shop = Shop::open(folder.path(), NOW).unwrap();
    let stamp = Stamp::new(NOW.0, "Desk");
    shop.write(&stamp, |w| {
        w.answer_item(
            JobId(38),
            &ResultFields {
                sheet: "safety".to_owned(),
                item: "earth-bond".to_owned(),
                result: Outcome::Fail,
                shown: "4.2".to_owned(),
                unit: "ohm".to_owned(),
                ..ResultFields::default()
            },
        )
    })
    .unwrap();
    let document = of(&make(shop), 38, Version::Owner);
    let warning = document.warning.clone().unwrap();
    assert_eq!(warning.title, "Not electrically safe");
    assert!(
        warning
            .lines
            .first()
            .is_some_and(|l| l.contains("earth pin") && l.contains("not in order"))
    );
    has(
        &report::text(&document),
        &["NOT ELECTRICALLY SAFE", "not in order"],
    );
}

/// Guards a life: what the owner refused is not mended, however well the rest was tested.
#[test]
fn a_refused_item_of_safety_stands_on_the_first_page() {
    let folder = tempfile::tempdir().unwrap();
    let shop = shop(folder.path());
    let stamp = Stamp::new(NOW.0, "Desk");
    shop.write(&stamp, |w| {
        for (sort, what) in [
            (EstimateSort::Safety, "two-pole mains switch"),
            (EstimateSort::Wishes, "new handle"),
        ] {
            let fields = EstimateFields {
                sort,
                what: what.to_owned(),
                low_minor: 1_000,
                high_minor: 2_000,
                currency: "EUR".to_owned(),
                ..EstimateFields::default()
            };
            let item = w.add_estimate(JobId(38), &fields)?;
            w.owner_said(item, false, "2026-11-12", "not now")?;
        }
        Ok::<_, shop::ShopError>(())
    })
    .unwrap();
    let made = make(shop);
    let owner = of(&made, 38, Version::Owner);
    let warning = owner.warning.clone().unwrap();
    assert_eq!(warning.title, "Not electrically safe");
    assert!(
        warning
            .lines
            .contains(&"two-pole mains switch: declined by the owner.".to_owned())
    );
    assert!(!warning.lines.iter().any(|l| l.contains("handle")));
    has(
        &report::text(&owner),
        &["New handle: declined on 2026-11-12 (not now)"],
    );
    has(
        &report::text(&of(&made, 38, Version::Full)),
        &["wishes | new handle | \u{20ac} 10"],
    );
}

#[test]
fn every_part_that_came_out_has_a_label_and_so_has_every_valve() {
    let folder = tempfile::tempdir().unwrap();
    let made = make(shop(folder.path()));
    let document = of(&made, 38, Version::Labels);
    let Some(Block::Labels { labels }) = document.blocks.first() else {
        panic!("no labels");
    };
    let on = |what: &str| -> Vec<&str> {
        let all = labels.iter().filter(|l| l.goes_on == what);
        all.map(|l| l.title.as_str()).collect()
    };
    assert_eq!(on("Bag of old parts"), ["Job 38"]);
    for part in ["R18", "C28", "R40", "V5", "V6", "S1"] {
        assert!(on("Old part").contains(&part), "{part}");
    }
    assert_eq!(on("Valve").len(), 7);
    assert_eq!(on("Mains fuse"), ["1 A slow"]);
    assert_eq!(on("Bias"), ["V5 EL84", "V6 EL84"]);
}

#[test]
fn a_job_that_is_not_there_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let made = make(shop(folder.path()));
    assert!(
        made.document(7, NOW, Version::Owner, Paper::Letter)
            .is_err()
    );
}
