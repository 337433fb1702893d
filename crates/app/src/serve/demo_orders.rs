//! What the demo shop has ordered: a capacitor that came wrong, a pair of valves that went back, a
//! drawer. Vendors are invented.

use super::dates;
use shop::{
    At, Came, DeliveryFields, EstimateFields, EstimateSort, JobId, LineFields, NeedFields,
    OrderFields, PaymentFields, Shop, ShopError, Stamp, StockFields, Unit, Write,
};

/// A line for a need that is written down with it.
fn line(
    w: &mut Write<'_>,
    need: &NeedFields,
    price_minor: i64,
    promised: &str,
) -> Result<LineFields, ShopError> {
    let id = w.add_need(need)?;
    Ok(LineFields {
        need: Some(id),
        what: need.what.clone(),
        spec: need.spec.clone(),
        unit: need.unit,
        quantity: need.quantity,
        price_minor: Some(price_minor),
        promised: promised.to_owned(),
    })
}

/// Turnstone's can capacitor: 32 + 32 ordered, 16 + 16 came; and a valve that is not ordered yet.
pub(super) fn can_capacitor(
    shop: &Shop,
    now: At,
    at: &dyn Fn(i64, i64) -> Stamp,
    job: JobId,
) -> Result<(), ShopError> {
    let can = shop.write(&at(17, 0), |w| {
        let quillon = w.vendor_named("Quillon")?;
        let need = NeedFields {
            job: Some(job),
            what: "can capacitor".to_owned(),
            spec: "32 + 32 \u{b5}F 450 V, one can, 35 mm, clamp".to_owned(),
            why: "bulged, and its second half reads 21 \u{b5}F".to_owned(),
            ..NeedFields::default()
        };
        let first = line(w, &need, 3_180, &dates::in_days(now, -5))?;
        let sleeving = LineFields {
            what: "sleeving".to_owned(),
            spec: "6 mm, 600 V".to_owned(),
            unit: Unit::Length,
            quantity: 200,
            price_minor: Some(240),
            ..LineFields::default()
        };
        let order = OrderFields {
            reference: "Q 118".to_owned(),
            ordered_on: dates::in_days(now, -17),
            currency: "EUR".to_owned(),
            ..OrderFields::default()
        };
        let order = w.place_order(quillon, &order, &[first, sleeving])?;
        Ok::<_, ShopError>(w.order(order)?.lines)
    })?;
    shop.write(&at(4, 0), |w| {
        if let [can, sleeving] = can.as_slice() {
            let wrong = DeliveryFields {
                came: Came::Wrong,
                quantity: 1,
                promised: dates::in_days(now, 3),
                note: "16 + 16 \u{b5}F came".to_owned(),
            };
            w.receive(can.id, &wrong)?;
            w.receive(sleeving.id, &DeliveryFields::right(200))?;
        }
        let fuses = w.add_stock(&StockFields {
            what: "fuse".to_owned(),
            spec: "T1A, 5 x 20 mm".to_owned(),
            place: "drawer 2".to_owned(),
            ..StockFields::default()
        })?;
        w.move_stock(fuses, 8, None, "counted")?;
        let wire = w.add_stock(&StockFields {
            what: "hook-up wire".to_owned(),
            spec: "0.5 mm\u{b2}, 600 V".to_owned(),
            unit: Unit::Length,
            place: "drawer 5".to_owned(),
        })?;
        w.move_stock(wire, 900, None, "counted")?;
        Ok(())
    })
}

/// Turnstone's estimate, as answered by its owner, and a deposit.
pub(super) fn estimate(
    shop: &Shop,
    now: At,
    at: &dyn Fn(i64, i64) -> Stamp,
    job: JobId,
) -> Result<(), ShopError> {
    let items = [
        (
            EstimateSort::Safety,
            "new mains cord with earth",
            "the old one has two wires",
            (4_500, 6_000),
            Some(true),
        ),
        (
            EstimateSort::Repair,
            "new can capacitor, 32 + 32 \u{b5}F 450 V",
            "bulged, and its second half reads 21 \u{b5}F",
            (7_000, 9_000),
            Some(true),
        ),
        (
            EstimateSort::Repair,
            "one output valve",
            "draws nothing at the same bias",
            (3_500, 5_500),
            Some(true),
        ),
        (
            EstimateSort::Prevention,
            "clean and re-tension valve sockets",
            "",
            (2_500, 3_500),
            Some(true),
        ),
        (
            EstimateSort::Prevention,
            "both bypass electrolytics",
            "of the same age as the can",
            (1_500, 2_500),
            None,
        ),
        (
            EstimateSort::Wishes,
            "new grille cloth",
            "",
            (6_000, 8_000),
            Some(false),
        ),
    ];
    shop.write(&at(19, 10), |w| {
        for (sort, what, why, (low_minor, high_minor), answer) in items {
            let fields = EstimateFields {
                sort,
                what: what.to_owned(),
                why: why.to_owned(),
                low_minor,
                high_minor,
                currency: "EUR".to_owned(),
                ..EstimateFields::default()
            };
            let item = w.add_estimate(job, &fields)?;
            if let Some(yes) = answer {
                let says = if yes { "" } else { "likes it as it is" };
                w.owner_said(item, yes, &dates::in_days(now, -19), says)?;
            }
        }
        w.add_payment(
            job,
            &PaymentFields {
                amount_minor: 10_000,
                currency: "EUR".to_owned(),
                paid_on: dates::in_days(now, -19),
                how: "deposit, cash".to_owned(),
            },
        )?;
        Ok(())
    })
}

/// Curlew's pair: came, was not matched, went back.
pub(super) fn pair(
    shop: &Shop,
    now: At,
    at: &dyn Fn(i64, i64) -> Stamp,
    job: JobId,
) -> Result<(), ShopError> {
    let line = shop.write(&at(10, 0), |w| {
        let ostrel = w.vendor_named("Ostrel")?;
        let need = NeedFields {
            job: Some(job),
            what: "EL84 pair".to_owned(),
            part: "V5 V6".to_owned(),
            spec: "matched within 10 % of plate current".to_owned(),
            unit: Unit::Pair,
            why: "V5 is gassy".to_owned(),
            ..NeedFields::default()
        };
        let first = line(w, &need, 4_600, &dates::in_days(now, -4))?;
        let order = OrderFields {
            reference: "2217".to_owned(),
            ordered_on: dates::in_days(now, -10),
            currency: "EUR".to_owned(),
            ..OrderFields::default()
        };
        let order = w.place_order(ostrel, &order, &[first])?;
        Ok::<_, ShopError>(w.order(order)?.lines)
    })?;
    shop.write(&at(4, 30), |w| {
        for line in &line {
            w.receive(line.id, &DeliveryFields::right(1))?;
        }
        Ok(())
    })?;
    shop.write(&at(2, 30), |w| {
        for line in &line {
            let back = DeliveryFields {
                came: Came::Returned,
                quantity: 1,
                promised: dates::in_days(now, 5),
                note: "not matched, 31 and 44 mA".to_owned(),
            };
            w.receive(line.id, &back)?;
        }
        Ok(())
    })
}
