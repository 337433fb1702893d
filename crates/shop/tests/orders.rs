//! Orders, what came of them, and stock.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod support;

use proptest::prelude::*;
use shop::{
    Came, DeliveryFields, LineFields, LineId, NeedFields, OrderFields, OrderLine, Shop, ShopError,
    StockFields, Unit, VendorFields,
};
use support::{desk, job, open};

fn fields(came: Came, quantity: i64, promised: &str) -> DeliveryFields {
    DeliveryFields {
        came,
        quantity,
        promised: promised.into(),
        note: String::new(),
    }
}

/// A line of so many, ordered for a need of a job.
fn ordered(shop: &Shop, quantity: i64, unit: Unit) -> LineId {
    let job = job(shop);
    shop.write(&desk(1), |w| {
        let vendor = w.add_vendor(&VendorFields {
            name: "Quillon".into(),
            ..VendorFields::default()
        })?;
        let need = w.add_need(&NeedFields {
            job: Some(job),
            what: "output valves".into(),
            part: "V5".into(),
            spec: "EL84, matched".into(),
            unit,
            quantity,
            ..NeedFields::default()
        })?;
        let line = LineFields {
            need: Some(need),
            what: "output valves".into(),
            unit,
            quantity,
            price_minor: Some(4_250),
            promised: "2026-11-20".into(),
            ..LineFields::default()
        };
        let order = w.place_order(vendor, &OrderFields::default(), &[line])?;
        Ok(w.order(order)?.lines[0].id)
    })
    .unwrap()
}

/// What a line says of itself, without when it was said.
fn state(line: &OrderLine) -> (i64, i64, i64, bool, String) {
    (
        line.came(),
        line.owed(),
        line.count(Came::Wrong),
        line.is_short(),
        line.promised().to_owned(),
    )
}

#[test]
fn a_pair_comes_wrong_then_right_then_goes_back() {
    let folder = tempfile::tempdir().unwrap();
    let shop = open(folder.path());
    let line = ordered(&shop, 1, Unit::Pair);
    let now = || shop.read(|r| r.order_line(line)).unwrap();
    let need = || shop.read(|r| r.needs()).unwrap().remove(0);
    assert!(!now().is_short(), "nothing is short before anything came");
    assert_eq!((need().owed, need().to_order()), (1, 0));
    shop.write(&desk(2), |w| {
        w.receive(line, &fields(Came::Wrong, 1, "2026-11-28"))
    })
    .unwrap();
    assert_eq!(state(&now()), (0, 1, 1, true, "2026-11-28".into()));
    let back = shop.write(&desk(3), |w| {
        w.receive(line, &fields(Came::Returned, 1, ""))
    });
    assert!(matches!(back, Err(ShopError::Refused(_))));
    shop.write(&desk(4), |w| w.receive(line, &DeliveryFields::right(1)))
        .unwrap();
    assert!(need().is_here() && !now().is_short());
    shop.write(&desk(5), |w| {
        w.receive(line, &fields(Came::Returned, 1, ""))
    })
    .unwrap();
    assert!(now().is_short() && !need().is_here());
    // undone: it stays after all
    let last = shop.read(|r| r.last_entry()).unwrap();
    shop.write(&desk(6), |w| w.undo(last)).unwrap();
    assert!(need().is_here());
    shop.write(&desk(7), |w| w.undo(shop::EntryId(last.0 - 1)))
        .unwrap();
    shop.write(&desk(8), |w| w.give_up(line)).unwrap();
    assert_eq!(now().owed(), 0);
    assert_eq!(need().to_order(), 1, "given up: to be ordered anew");
}

#[test]
fn stock_is_taken_first_and_in_its_own_unit() {
    let folder = tempfile::tempdir().unwrap();
    let shop = open(folder.path());
    let job = job(&shop);
    shop.write(&desk(1), |w| {
        let wire = w.add_stock(&StockFields {
            what: "hook-up wire".into(),
            unit: Unit::Length,
            ..StockFields::default()
        })?;
        w.move_stock(wire, 300, None, "counted")?;
        let need = w.add_need(&NeedFields {
            job: Some(job),
            what: "hook-up wire".into(),
            unit: Unit::Length,
            quantity: 120,
            ..NeedFields::default()
        })?;
        assert!(w.move_stock(wire, -121, Some(need), "").is_err());
        w.move_stock(wire, -120, Some(need), "")?;
        assert!(w.need(need)?.is_here());
        assert_eq!(w.there(wire)?, 180);
        assert!(w.move_stock(wire, -181, None, "").is_err());
        let pairs = w.add_need(&NeedFields {
            what: "output valves".into(),
            unit: Unit::Pair,
            ..NeedFields::default()
        })?;
        assert!(w.move_stock(wire, -1, Some(pairs), "").is_err());
        Ok(())
    })
    .unwrap();
}

fn came() -> impl Strategy<Value = DeliveryFields> {
    let sorts = prop::sample::select(vec![
        Came::Right,
        Came::Wrong,
        Came::Substituted,
        Came::BackOrdered,
    ]);
    let dates = prop::sample::select(vec!["", "2026-11-27", "2026-12-04", "2027-01-02"]);
    (sorts, 1_i64..1_000_001, dates).prop_map(|(c, q, d)| fields(c, q, d))
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn deliveries_in_any_sequence_end_in_the_same_state(
        (first, second) in prop::collection::vec(came(), 1..6)
            .prop_flat_map(|all| (Just(all.clone()), Just(all).prop_shuffle())),
        quantity in 1_i64..1_000_001,
    ) {
        let mut ends = Vec::new();
        for deliveries in [first, second] {
            let folder = tempfile::tempdir().unwrap();
            let shop = open(folder.path());
            let line = ordered(&shop, quantity, Unit::Piece);
            shop.write(&desk(2), |w| {
                for d in &deliveries {
                    w.receive(line, d)?;
                }
                Ok(())
            }).unwrap();
            let need = shop.read(|r| r.needs()).unwrap().remove(0);
            let line = shop.read(|r| r.order_line(line)).unwrap();
            prop_assert!((0..=quantity).contains(&line.owed()));
            prop_assert_eq!(line.fields.price_minor, Some(4_250));
            ends.push((state(&line), need.came, need.owed, need.to_order()));
        }
        prop_assert_eq!(&ends[0], &ends[1]);
    }

    #[test]
    fn stock_is_never_below_nothing(moves in prop::collection::vec(-40_i64..40, 1..20), undo in 0_usize..20) {
        let folder = tempfile::tempdir().unwrap();
        let shop = open(folder.path());
        let item = shop.write(&desk(1), |w| w.add_stock(&StockFields { what: "fuse T1A".into(), ..StockFields::default() })).unwrap();
        let mut sum = 0;
        let mut entries = Vec::new();
        for quantity in moves {
            let done = shop.write(&desk(2), |w| w.move_stock(item, quantity, None, ""));
            prop_assert_eq!(done.is_ok(), quantity != 0 && sum + quantity >= 0);
            if done.is_ok() {
                sum += quantity;
                entries.push((shop.read(|r| r.last_entry()).unwrap(), quantity));
            }
            prop_assert_eq!(shop.read(|r| r.there(item)).unwrap(), sum);
        }
        // taking one back is weighed like any other
        if let Some((entry, quantity)) = entries.get(undo) {
            let done = shop.write(&desk(3), |w| w.undo(*entry));
            prop_assert_eq!(done.is_ok(), sum - quantity >= 0);
            if done.is_ok() {
                sum -= quantity;
            }
            prop_assert_eq!(shop.read(|r| r.there(item)).unwrap(), sum);
        }
    }
}
