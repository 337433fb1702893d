//! Money: nothing is lost or made by rounding, by cutting time up, by sharing out or by taking back.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod support;

use proptest::prelude::*;
use shop::{
    Bill, Billed, ChargeFields, ChargeSort, EstimateFields, EstimateSort, InvoiceFields, JobId,
    PaymentFields, Shop, ShopError, sums,
};
use support::{desk, job, open};

const EUR: &str = "EUR";

fn charge(sort: ChargeSort, amount_minor: i64, taxed: bool) -> ChargeFields {
    ChargeFields {
        sort,
        what: format!("{} {amount_minor}", sort.word()),
        amount_minor,
        currency: EUR.into(),
        taxed,
        line: None,
    }
}

fn paid(amount_minor: i64) -> PaymentFields {
    PaymentFields {
        amount_minor,
        currency: EUR.into(),
        paid_on: "2026-11-25".into(),
        how: "cash".into(),
    }
}

fn numbered(number: &str) -> InvoiceFields {
    InvoiceFields {
        number: number.into(),
        invoiced_on: "2026-11-27".into(),
        currency: EUR.into(),
        reason: String::new(),
    }
}

fn bill(shop: &Shop, job: JobId) -> Bill {
    shop.read(|r| r.bill(&[job], EUR, 4_800, desk(9_000).at))
        .unwrap()
}

/// Worked by hand: 2 h 5 min at 48.00 is 100.00; 100.00 + 31.80 - 25.00 is 106.80; 19 % of it is
/// 20.292, so 20.29; less 50.00 paid.
#[test]
fn a_bill_by_hand() {
    let folder = tempfile::tempdir().unwrap();
    let shop = open(folder.path());
    let job = job(&shop);
    shop.write(&desk(10), |w| {
        w.add_tax("VAT", 19_000)?;
        w.add_minutes(job, "chart", 65, true, "")?;
        w.add_minutes(job, "sockets", 60, true, "")?;
        w.add_minutes(job, "a look for old times' sake", 30, false, "")?;
        w.add_charge(job, &charge(ChargeSort::Part, 3_180, true))?;
        w.add_charge(job, &charge(ChargeSort::Credit, 2_500, true))?;
        w.add_payment(job, &paid(5_000))?;
        let other = ChargeFields {
            currency: "SEK".into(),
            ..charge(ChargeSort::Part, 99, true)
        };
        w.add_charge(job, &other)
    })
    .unwrap();
    let now = bill(&shop, job);
    assert_eq!(now.sum(&[Billed::Labour]), 10_000);
    assert_eq!(now.sum(&[Billed::Tax]), 2_029);
    assert_eq!(now.costs(), 12_709);
    assert_eq!((now.to_pay(), now.elsewhere), (7_709, 1));
    // what was seen is what is billed
    let other = shop.write(&desk(20), |w| {
        w.write_invoice(&[job], &numbered("2026-1"), 4_800, 7_708)
    });
    assert!(matches!(other, Err(ShopError::Refused(_))));
    let id = shop
        .write(&desk(20), |w| {
            w.write_invoice(&[job], &numbered("2026-1"), 4_800, 7_709)
        })
        .unwrap();
    let written = shop.read(|r| r.invoice(id)).unwrap();
    assert_eq!(written.bill.lines, now.lines);
    assert!(bill(&shop, job).lines.is_empty(), "no tax of nothing");
    let twice = shop.write(&desk(21), |w| {
        w.write_invoice(&[job], &numbered("2026-2"), 4_800, 0)
    });
    assert!(matches!(twice, Err(ShopError::Refused(_))));
    let first = shop.read(|r| r.charges(job)).unwrap()[0].id;
    assert!(
        shop.write(&desk(21), |w| w.drop_charge(job, first))
            .is_err()
    );
    // taken back: all of it is to be billed again, and the number stays given
    shop.write(&desk(22), |w| w.take_back_invoice(id)).unwrap();
    assert!(shop.read(|r| r.invoice(id)).unwrap().withdrawn);
    assert_eq!(bill(&shop, job), now);
    let same = shop.write(&desk(23), |w| {
        w.write_invoice(&[job], &numbered("2026-1"), 4_800, 7_709)
    });
    assert!(matches!(same, Err(ShopError::Refused(_))));
    assert_eq!(
        shop.read(|r| r.next_invoice_number(2026)).unwrap(),
        "2026-2"
    );
    // that, undone, stands again; and can be taken back again
    let last = shop.read(|r| r.last_entry()).unwrap();
    shop.write(&desk(24), |w| w.undo(last)).unwrap();
    assert!(!shop.read(|r| r.invoice(id)).unwrap().withdrawn);
    assert_eq!(bill(&shop, job).costs(), 0);
    shop.write(&desk(25), |w| w.take_back_invoice(id)).unwrap();
    assert_eq!(bill(&shop, job), now);
    assert_eq!(shop.read(|r| r.invoices_of(job)).unwrap().len(), 1);
}

#[test]
fn the_owner_answers_item_by_item_and_may_change_their_mind() {
    let folder = tempfile::tempdir().unwrap();
    let shop = open(folder.path());
    let job = job(&shop);
    let cord = EstimateFields {
        sort: EstimateSort::Safety,
        what: "new mains cord with earth".into(),
        low_minor: 3_000,
        high_minor: 4_500,
        currency: EUR.into(),
        ..EstimateFields::default()
    };
    let item = shop
        .write(&desk(1), |w| w.add_estimate(job, &cord))
        .unwrap();
    for bad in [
        EstimateFields {
            high_minor: 2_999,
            ..cord.clone()
        },
        EstimateFields {
            what: " ".into(),
            ..cord.clone()
        },
    ] {
        assert!(shop.write(&desk(1), |w| w.add_estimate(job, &bad)).is_err());
    }
    let now = || shop.read(|r| r.estimate(job)).unwrap().remove(0);
    assert!(now().said.is_none() && !now().is_refused());
    shop.write(&desk(2), |w| {
        w.owner_said(item, false, "2026-11-25", "it worked all these years")
    })
    .unwrap();
    assert!(now().is_refused());
    let dearer = EstimateFields {
        high_minor: 9_000,
        ..cord.clone()
    };
    let sly = shop.write(&desk(3), |w| w.change_estimate(item, &dearer, false, None));
    assert!(matches!(sly, Err(ShopError::Refused(_))));
    shop.write(&desk(4), |w| w.owner_said(item, true, "2026-11-26", ""))
        .unwrap();
    assert!(now().said.is_some_and(|s| s.yes && s.on == "2026-11-26"));
    let last = shop.read(|r| r.last_entry()).unwrap();
    shop.write(&desk(5), |w| w.undo(last)).unwrap();
    assert!(now().is_refused());
    // blanking the owner empties the words and keeps the answer
    let client = shop.read(|r| r.job(job)).unwrap().amp.client;
    shop.forget(&desk(6), |w| w.blank_client(client)).unwrap();
    assert!(now().said.is_some_and(|s| !s.yes && s.says.is_empty()));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 256, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn shares_add_up_and_are_each_within_one_of_exact(
        amount in -10_000_000_i64..1_000_000_000,
        weights in prop::collection::vec(0_i64..100_000, 1..12),
    ) {
        let shares = sums::share(amount, &weights);
        prop_assert_eq!(shares.iter().sum::<i64>(), amount);
        let all: i64 = weights.iter().sum();
        for (share, weight) in shares.iter().zip(&weights) {
            if all > 0 {
                let over = i128::from(*share) * i128::from(all) - i128::from(amount) * i128::from(*weight);
                prop_assert!(over.abs() < i128::from(all));
            }
        }
    }

    #[test]
    fn a_tax_and_an_hours_part_are_within_half_a_minor_unit_of_exact(
        sum in 0_i64..1_000_000_000_000, milli in 0_i64..=100_000, minutes in 0_i64..100_000, hour in 0_i64..1_000_000,
    ) {
        let off = i128::from(sums::tax(sum, milli)) * 100_000 - i128::from(sum) * i128::from(milli);
        prop_assert!((-50_000..=50_000).contains(&off));
        let off = sums::of_minutes(minutes, hour) * 60 - minutes * hour;
        prop_assert!((-30..=30).contains(&off));
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 16, failure_persistence: None, ..ProptestConfig::default() })]

    /// However time was cut up and named, at one rate it costs the same; and billed bit by bit,
    /// everything is billed once.
    #[test]
    fn a_bill_does_not_hang_on_how_it_was_cut_up(
        stretches in prop::collection::vec((0_usize..3, 1_i64..300), 1..10),
        amounts in prop::collection::vec((0_usize..4, 0_i64..50_000), 0..5),
        hour in 1_i64..20_000,
    ) {
        let tasks = ["chart", "sockets", "set-up"];
        let folder = tempfile::tempdir().unwrap();
        let shop = open(folder.path());
        let job = job(&shop);
        let now = desk(90_000).at;
        shop.write(&desk(40_000), |w| {
            for (task, minutes) in &stretches {
                w.add_minutes(job, tasks[*task], *minutes, true, "")?;
            }
            for (sort, amount) in &amounts {
                w.add_charge(job, &charge(ChargeSort::ALL[*sort], *amount, true))?;
            }
            Ok(())
        }).unwrap();
        let all: i64 = stretches.iter().map(|s| s.1).sum();
        let whole = shop.read(|r| r.bill(&[job], EUR, hour, now)).unwrap();
        prop_assert_eq!(whole.sum(&[Billed::Labour]), sums::of_minutes(all, hour));
        let charged: i64 = amounts.iter().map(|(s, a)| if *s == 3 { -a } else { *a }).sum();
        prop_assert_eq!(whole.to_pay(), sums::of_minutes(all, hour) + charged);
        let first = shop.write(&desk(40_001), |w| {
            let to_pay = w.bill(&[job], EUR, hour, desk(40_001).at)?.to_pay();
            w.write_invoice(&[job], &numbered("2026-1"), hour, to_pay)
        }).unwrap();
        // billed: nothing is left, and the whole is still the whole
        prop_assert_eq!(shop.read(|r| r.bill(&[job], EUR, hour, now)).unwrap().lines.len(), 0);
        prop_assert_eq!(&shop.read(|r| r.whole_bill(&[job], EUR, hour, now)).unwrap(), &whole);
        shop.write(&desk(40_400), |w| w.add_minutes(job, "chart", 61, true, "").map(|_| ())).unwrap();
        let rest = shop.read(|r| r.bill(&[job], EUR, hour, now)).unwrap();
        prop_assert_eq!(rest.to_pay(), sums::of_minutes(61, hour));
        prop_assert_eq!(shop.read(|r| r.invoice(first)).unwrap().bill.to_pay(), whole.to_pay());
    }
}

/// A time that was written down wrong is put right; the old one stays in the journal, and no invoice says more than was worked.
#[test]
fn a_time_is_corrected_and_what_stood_there_is_kept() {
    let folder = tempfile::tempdir().unwrap();
    let shop = open(folder.path());
    let job = job(&shop);
    let id = shop
        .write(&desk(200), |w| w.add_minutes(job, "chart", 140, true, ""))
        .unwrap();
    let correct = |minutes: i64, task: &str, billable: bool| {
        shop.write(&desk(300), |w| {
            w.correct_hours(job, id, task, minutes, billable)
        })
    };
    let now = || {
        let all = shop.read(|r| r.hours(job)).unwrap();
        let of = &all[0];
        (
            of.task.clone(),
            of.minutes(),
            of.billable,
            of.stopped_at.unwrap(),
        )
    };
    for minutes in [0, -5, 100_001] {
        assert!(correct(minutes, "chart", true).is_err());
    }
    correct(90, "chart", true).unwrap();
    assert_eq!((now().1, now().3), (90, desk(150).at));
    correct(190, "cold check", true).unwrap();
    assert_eq!(
        (now().0.as_str(), now().1, now().3),
        ("cold check", 190, desk(150).at)
    );
    let said: Vec<String> = shop
        .read(|r| r.journal(Some(job), None, 10))
        .unwrap()
        .into_iter()
        .map(|e| e.says)
        .collect();
    assert_eq!(said[0], "190 min: cold check, in place of 90 min: chart");
    assert_eq!(said[1], "90 min: chart, in place of 140 min: chart");
    // undone, it stands as before
    let last = shop.read(|r| r.journal(Some(job), None, 1)).unwrap()[0].id;
    shop.write(&desk(301), |w| w.undo(last)).unwrap();
    assert_eq!(now().1, 90);
    // what is on an invoice is not taken away under it
    let to_pay = bill(&shop, job).to_pay();
    shop.write(&desk(310), |w| {
        w.write_invoice(&[job], &numbered("1"), 4_800, to_pay)
    })
    .unwrap();
    for (minutes, task, billable) in [
        (89, "chart", true),
        (90, "cold check", true),
        (90, "chart", false),
    ] {
        let refused = correct(minutes, task, billable).unwrap_err().to_string();
        assert!(refused.contains("Take the invoice back"), "{refused}");
    }
    correct(95, "chart", true).unwrap();
    assert_eq!(bill(&shop, job).lines[0].minutes, 5);
    // of another job, and while its clock runs
    let amp = shop.read(|r| Ok(r.job(job)?.amp.id)).unwrap();
    let other = shop.write(&desk(315), |w| w.open_job(amp, None)).unwrap();
    assert!(
        shop.write(&desk(320), |w| w.correct_hours(other, id, "chart", 5, true))
            .is_err()
    );
    shop.write(&desk(330), |w| w.start_clock(other, "chart"))
        .unwrap();
    let runs = shop.read(|r| r.hours(other)).unwrap()[0].id;
    assert!(
        shop.write(&desk(340), |w| w
            .correct_hours(other, runs, "chart", 5, true))
            .is_err()
    );
}
