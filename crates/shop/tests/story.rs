//! One job from intake to the closed record, with slips of the hand put right on the way.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod support;

use shop::{
    AuthorisationFields, JobFields, NewReading, Outcome, PartStateFields, Power, PowerEvent,
    ReadingState, ResultFields, Saved, ShopError, State, StepState, Untouched, ValveFields,
    Verdict, WaitsFor, WiringState, WorkFields, WorkState,
};
use support::{desk, job, open, phone};

fn read(point: &str, shown: &str) -> NewReading {
    NewReading {
        point: point.into(),
        shown: shown.into(),
        ..NewReading::default()
    }
}

#[test]
fn a_job_from_intake_to_closed() {
    let folder = tempfile::tempdir().unwrap();
    let shop = open(folder.path());
    let job = job(&shop);
    shop.write(&desk(5), |w| {
        w.take_down(job, "It got loud and fat one evening, then a smell.", None)?;
        w.answer(job, "last_played", "two weeks ago")?;
        w.answer(job, "last_played", "three weeks ago")?;
        w.add_date_code(job, "output transformer", "123 6114", Untouched::Yes)?;
        w.authorise(
            job,
            &AuthorisationFields {
                who: "Odo Kestle".into(),
                how: "by telephone".into(),
                says: "repair and prevention".into(),
                ceiling_minor: Some(38_000),
                currency: "EUR".into(),
            },
        )?;
        w.enter_valve(
            job,
            &ValveFields {
                socket: "V2".into(),
                meant: "EL84".into(),
                found: "EL84".into(),
                ..ValveFields::default()
            },
            None,
        )?;
        w.mark_step(job, "intake", StepState::Done)
    })
    .unwrap();
    let block = shop
        .write(&desk(30), |w| {
            w.power_event(job, &PowerEvent::PlugIn, None)?;
            w.begin_block(
                job,
                ReadingState::AsFound,
                "",
                "mains 231 V\nmeter 10M 0.5%",
                None,
            )
        })
        .unwrap();
    // a slip of the finger, corrected on the phone
    let wrong = shop
        .write(&desk(31), |w| {
            w.take_reading(block, &read("V1.3", "131"), None)
        })
        .unwrap();
    shop.write(&phone(32), |w| {
        w.take_reading(block, &read("V2.3", "10.9"), None)?;
        w.take_reading(block, &read("V1.3", "1.31"), Some(wrong))
    })
    .unwrap();
    let now = shop.read(|r| r.readings(job)).unwrap();
    let shown: Vec<(&str, &str)> = now
        .iter()
        .map(|r| (r.fields.point.as_str(), r.fields.shown.as_str()))
        .collect();
    assert_eq!(
        shown,
        [("V1.3", "1.31"), ("V2.3", "10.9")],
        "the order of the first try stays"
    );
    assert_eq!(now[0].corrects, Some(wrong));
    assert_eq!(shop.read(|r| r.readings_ever(job)).unwrap().len(), 3);
    // a reading can be corrected once; then the correction is corrected
    let twice = shop.write(&desk(33), |w| {
        w.take_reading(block, &read("V1.3", "1.33"), Some(wrong))
    });
    assert!(matches!(twice, Err(ShopError::Changed { .. })));

    shop.write(&desk(60), |w| {
        w.give_verdict(job, "C3", Verdict::Replace, Some(Verdict::Replace), "")?;
        w.set_part_state(
            job,
            &PartStateFields {
                part: "C3".into(),
                state: State::Replaced,
                was: "22n paper, leaks 20M".into(),
                now: "22n 630V film".into(),
                note: String::new(),
            },
        )?;
        let work = w.add_work(
            job,
            &WorkFields {
                title: "clean the sockets".into(),
                ..WorkFields::default()
            },
        )?;
        w.change_work(
            work,
            &WorkFields {
                title: "clean the sockets".into(),
                state: WorkState::Done,
                minutes: 20,
                ..WorkFields::default()
            },
            false,
            None,
        )?;
        w.answer_item(
            job,
            &ResultFields {
                sheet: "safety".into(),
                item: "earth bond".into(),
                result: Outcome::Pass,
                shown: "0.04".into(),
                unit: "ohm".into(),
                limit: "at most 0.1 ohm".into(),
                ..ResultFields::default()
            },
        )?;
        w.start_clock(job, "chart")?;
        Ok(())
    })
    .unwrap();
    let against = shop.write(&desk(61), |w| {
        w.give_verdict(job, "R3", Verdict::Keep, Some(Verdict::Replace), " ")
    });
    assert!(
        matches!(against, Err(ShopError::Refused(_))),
        "against the proposal without a reason"
    );
    shop.write(&desk(90), |w| {
        w.stop_clock(job)?;
        w.close_job(job, true)
    })
    .unwrap();
    let hours = shop.read(|r| r.hours(job)).unwrap();
    assert_eq!(hours[0].length_ms(shop::At(0)), 30 * 60_000);
    assert!(shop.read(|r| r.open_jobs()).unwrap().is_empty());
    let found = shop.read(|r| r.find("kestle", 10)).unwrap();
    assert_eq!((found.len(), found[0].job, found[0].closed), (1, job, true));
    assert_eq!(
        shop.read(|r| r.answers(job)).unwrap()[0].answer,
        "three weeks ago"
    );
    let journal = shop.read(|r| r.journal(Some(job), None, 100)).unwrap();
    assert!(
        journal
            .iter()
            .any(|e| e.says == "V1.3 read 1.31, corrected from 131" && e.bench == "Phone")
    );
    assert!(
        !journal.iter().any(|e| e.says.contains("Kestle")),
        "no names in the journal"
    );
    // all of it is there when the shop is opened again
    drop(shop);
    let shop = open(folder.path());
    assert_eq!(shop.read(|r| r.readings(job)).unwrap(), now);
    assert_eq!(
        shop.read(|r| r.journal(Some(job), None, 100)).unwrap(),
        journal
    );
}

#[test]
fn undoing_is_a_new_entry_and_can_itself_be_undone() {
    let folder = tempfile::tempdir().unwrap();
    let shop = open(folder.path());
    let job = job(&shop);
    let block = shop
        .write(&desk(1), |w| {
            w.begin_block(job, ReadingState::AsFound, "", "", None)
        })
        .unwrap();
    let first = shop
        .write(&desk(2), |w| {
            w.take_reading(block, &read("B1", "262"), None)
        })
        .unwrap();
    shop.write(&desk(3), |w| {
        w.take_reading(block, &read("B1", "26.2"), Some(first))
    })
    .unwrap();
    let values = || -> Vec<String> {
        shop.read(|r| r.readings(job))
            .unwrap()
            .iter()
            .map(|r| r.fields.shown.clone())
            .collect()
    };
    let undo_last = |minute| {
        let last = shop.read(|r| r.last_to_undo(job, "Desk")).unwrap().unwrap();
        shop.write(&desk(minute), |w| w.undo(last.id)).unwrap()
    };
    assert_eq!(values(), ["26.2"]);
    let undone = undo_last(4);
    assert_eq!(values(), ["262"], "the corrected reading stands again");
    shop.write(&desk(5), |w| w.undo(undone.entry)).unwrap();
    assert_eq!(values(), ["26.2"], "and the correction");
    assert_eq!(
        shop.read(|r| r.readings_ever(job)).unwrap().len(),
        4,
        "nothing was erased"
    );
    assert!(
        shop.write(&desk(6), |w| w.undo(undone.entry)).is_err(),
        "once only"
    );

    // conditions cannot be taken back from under readings
    let entry = shop
        .read(|r| r.journal(Some(job), None, 100))
        .unwrap()
        .into_iter()
        .find(|e| e.says.starts_with("conditions"))
        .unwrap();
    assert!(matches!(
        shop.write(&desk(7), |w| w.undo(entry.id)),
        Err(ShopError::Changed { .. })
    ));

    // a card gets its former values, unless somebody changed them since
    let shelf = |text: &str| JobFields {
        shelf: Some(text.into()),
        ..JobFields::default()
    };
    let b2 = shop
        .write(&desk(8), |w| w.change_job(job, &shelf("B2"), None, "shelf"))
        .unwrap()
        .unwrap();
    shop.write(&desk(9), |w| w.undo(b2)).unwrap();
    assert_eq!(shop.read(|r| r.job(job)).unwrap().shelf, "");
    let b3 = shop
        .write(&desk(10), |w| {
            w.change_job(job, &shelf("B3"), None, "shelf")
        })
        .unwrap()
        .unwrap();
    shop.write(&phone(11), |w| {
        w.change_job(job, &shelf("C1"), None, "shelf")
    })
    .unwrap();
    assert!(matches!(
        shop.write(&desk(12), |w| w.undo(b3)),
        Err(ShopError::Changed { .. })
    ));
    assert_eq!(shop.read(|r| r.job(job)).unwrap().shelf, "C1");

    // a new card is put away, and comes back
    let work = shop
        .write(&desk(13), |w| {
            w.add_work(
                job,
                &WorkFields {
                    title: "new cord".into(),
                    ..WorkFields::default()
                },
            )
        })
        .unwrap();
    let undone = undo_last(14);
    assert!(shop.read(|r| r.work(job)).unwrap().is_empty());
    shop.write(&desk(15), |w| w.undo(undone.entry)).unwrap();
    assert_eq!(shop.read(|r| r.work(job)).unwrap()[0].id, work);
}

#[test]
fn two_screens_on_one_job() {
    let folder = tempfile::tempdir().unwrap();
    let shop = open(folder.path());
    let job = job(&shop);
    let seen = shop.read(|r| r.last_entry()).unwrap();
    let waits = |text: &str| JobFields {
        waits_for: Some(WaitsFor::Parts),
        waits_text: Some(text.into()),
        ..JobFields::default()
    };
    shop.write(&phone(1), |w| {
        w.change_job(job, &waits("a can"), Some(seen), "waits")
    })
    .unwrap();
    // other fields do not clash
    let shelf = JobFields {
        shelf: Some("B2".into()),
        ..JobFields::default()
    };
    shop.write(&desk(2), |w| w.change_job(job, &shelf, Some(seen), "shelf"))
        .unwrap();
    // the same field does, and what stands there comes back
    let clash = shop.write(&desk(3), |w| {
        w.change_job(job, &waits("a pair of output valves"), Some(seen), "waits")
    });
    match clash {
        Err(ShopError::Changed { now, .. }) => {
            assert_eq!(now, [("waits_text", "a can".to_owned())]);
        }
        other => panic!("{other:?}"),
    }
    let after = shop.read(|r| r.job(job)).unwrap();
    assert_eq!(
        (after.waits_text.as_str(), after.shelf.as_str()),
        ("a can", "B2")
    );
}

#[test]
fn two_screens_on_one_wiring() {
    let folder = tempfile::tempdir().unwrap();
    let shop = open(folder.path());
    let job = job(&shop);
    let text = "V1 12AX7\nV1.1 - R1 100k - B1\nV1.3 - R2 1k5 - ground\n";
    let (wiring, first) = shop
        .write(&desk(1), |w| {
            let wiring = w.wiring_for(job, WiringState::AsFound)?;
            let Saved::Head(first) = w.save_wiring(wiring, text, None)? else {
                panic!("the first text is the head");
            };
            Ok((wiring, first))
        })
        .unwrap();
    let save = |stamp, text: &str| {
        shop.write(&stamp, |w| w.save_wiring(wiring, text, Some(first)))
            .unwrap()
    };
    assert_eq!(
        save(desk(2), &text.replace('\n', "\r\n")),
        Saved::Same(first)
    );
    assert!(matches!(
        save(desk(3), &text.replace("100k", "120k")),
        Saved::Head(_)
    ));
    let far = format!("{text}V1.2 - R3 1M - ground\n").replace("V1 12AX7", "V1 ECC83");
    let joined = save(phone(4), &far);
    assert!(matches!(joined, Saved::Joined(_) | Saved::Clash { .. }));
    let near = text.replace("100k", "220k");
    let Saved::Clash {
        aside,
        head,
        merged,
    } = save(phone(5), &near)
    else {
        panic!("the same line two ways");
    };
    let clash = merged.clashes().next().unwrap();
    assert!(clash.here.concat().contains("220k") && clash.there.concat().contains("120k"));
    // nothing is lost: both texts are in the record
    let all = shop.read(|r| r.revisions(wiring)).unwrap();
    assert!(
        all.iter()
            .any(|r| r.id == aside && r.text == near && r.how == "aside")
    );
    assert!(all.iter().any(|r| r.text.contains("120k")));
    // settled on the head
    let settled = shop
        .write(&phone(6), |w| w.save_wiring(wiring, &near, Some(head.id)))
        .unwrap();
    assert!(matches!(settled, Saved::Head(_)));
    // undoing a revision is a new revision with the former text
    let last = shop
        .read(|r| r.last_to_undo(job, "Phone"))
        .unwrap()
        .unwrap();
    shop.write(&phone(7), |w| w.undo(last.id)).unwrap();
    let now = shop.read(|r| r.head(wiring)).unwrap().unwrap();
    assert_eq!(
        (now.text.as_str(), now.how.as_str()),
        (head.text.as_str(), "undone")
    );
}

#[test]
fn off_is_never_claimed_too_early() {
    let folder = tempfile::tempdir().unwrap();
    let shop = open(folder.path());
    let job = job(&shop);
    let points = ["B1".to_owned()];
    let power = || shop.read(|r| r.power(job, &points, true, 10.0)).unwrap();
    assert_eq!(power(), Power::Unknown);
    let event = |minute, event: PowerEvent| {
        shop.write(&desk(minute), |w| w.power_event(job, &event, None))
            .unwrap()
    };
    event(1, PowerEvent::PlugOut);
    assert!(matches!(power(), Power::Charged { .. }));
    let read = |volts| PowerEvent::Read {
        point: "B1".into(),
        volts,
    };
    event(2, read(0.4));
    assert!(matches!(power(), Power::Off { .. }));
    // taking that reading back takes OFF back
    let last = shop.read(|r| r.last_to_undo(job, "Desk")).unwrap().unwrap();
    shop.write(&desk(3), |w| w.undo(last.id)).unwrap();
    assert!(matches!(power(), Power::Charged { .. }));
    assert!(
        shop.write(&desk(4), |w| w.power_event(job, &read(f64::NAN), None))
            .is_err()
    );
}
