//! The demo's finished job: a Curlew that came in weak on one channel and on two wires, and is ready to go home. Its
//! owner, its figures and what was done are invented.

use super::demo_shop::{Texts, off, read, take_in, taken};
use super::run::Step;
use super::{dates, purse};
use shop::{
    At, AuthorisationFields, ChargeFields, ChargeSort, EstimateFields, EstimateSort, InstrumentId,
    InvoiceFields, JobFields, JobId, Outcome, PartStateFields, PaymentFields, PowerEvent,
    ReadingState, ResultFields, Shop, ShopError, Stamp, State, StepState, Untouched, ValveFields,
    Verdict, WaitsFor, WiringState, WorkFields, WorkState, Write,
};

/// The chart as left, in the notation of readings; invented.
const LEFT: &str = "readings  as left
mains     231 V 50 Hz
meter     10M 0.5%
valves    all in
set       VOLA 0
set       VOLB 0
set       DEPTH 0
minutes   30
T2.p0 to T2.p1  5.36
T2.p0 to T2.p2  5.42
B1        306
B2        301
B3        269
B4        236
B3 to B4  31.8
V1.1      150.6
V1.3      1.268
V1.6      146.9
V1.8      1.232
V2.1      120.4
V2.3      1.172
V2.6      153.2
V2.8      1.246
V3.1      128.6
V3.3      1.291
V3.8      130.2
V4.1      175.1
V4.3      1.392
V4.6      218
V4.8      51.0
ck        10.86
tail      49.5
V5.2      0.0 mV
V6.2      0.0 mV
V5.7      300
V6.7      300
V5.9      300
V6.9      300
T1.heater1 to T1.heater2  6.11 ac
";

/// Looked at when it came in: item, in order, what was seen.
const INSPECTED: [(&str, bool, &str); 8] = [
    ("cord", false, "two cores, no earth, cracked at the plug"),
    (
        "line-capacitor",
        false,
        "10 nF from a mains conductor to the chassis",
    ),
    ("two-pole-switch", false, "one conductor only"),
    ("earth-to-chassis", false, "there was none"),
    ("fuse-as-marked", true, "1 A, time-lag"),
    ("C26", true, "flat, dry"),
    ("C27", true, "flat, dry, original"),
    ("transformer-isolates", true, ""),
];

/// Answered before hand-over: sheet, item, in order, the figure, a remark.
const TESTED: [(&str, &str, &str, &str); 62] = [
    ("safety", "fuse-ahead-of-switch", "", ""),
    ("safety", "neutral-to-primary", "", ""),
    ("safety", "fuse-as-marked", "", "1 A, time-lag"),
    (
        "safety",
        "two-pole-switch",
        "",
        "new switch, both conductors",
    ),
    ("safety", "line-capacitor", "", "taken out"),
    ("safety", "accessory-outlet", "", ""),
    ("safety", "cord", "", "new, three cores, 2.5 m"),
    ("safety", "cord-colours", "", ""),
    ("safety", "cord-clamp", "", ""),
    ("safety", "earth-to-chassis", "", ""),
    ("safety", "earth-own-bolt", "", "own bolt, marked"),
    ("safety", "transformer-isolates", "", ""),
    ("safety", "discharged", "2.6 V", ""),
    ("safety", "earth-bond", "0.06 ohm", ""),
    ("safety", "insulation", "> 200M", ""),
    ("safety", "earth-current", "0.21 mA", ""),
    ("safety", "touch-current", "38 uA", ""),
    ("safety", "touch-volts", "56 mV ac", ""),
    ("proof", "burn-in", "", ""),
    ("proof", "VOLA", "", ""),
    ("proof", "VOLB", "", "cleaned; no crackle left"),
    ("proof", "TREBLE", "", ""),
    ("proof", "BASS", "", ""),
    ("proof", "SPEED", "", ""),
    ("proof", "DEPTH", "", ""),
    ("proof", "CUT", "", ""),
    ("proof", "S1", "", ""),
    ("proof", "J1", "", ""),
    ("proof", "J2", "", ""),
    ("proof", "J3", "", ""),
    ("proof", "J4", "", ""),
    ("proof", "J5", "", ""),
    ("proof", "J6", "", ""),
    ("proof", "sweep-all-up", "", ""),
    ("proof", "sweep-each", "", ""),
    ("proof", "sweep-supply", "", ""),
    ("proof", "tap-V1", "", ""),
    ("proof", "tap-V2", "", ""),
    (
        "proof",
        "tap-V3",
        "",
        "a little microphonic, not on the guitar's notes",
    ),
    ("proof", "tap-V4", "", ""),
    ("proof", "tap-V5", "", ""),
    ("proof", "tap-V6", "", ""),
    ("proof", "tap-V7", "", ""),
    ("proof", "tap-chassis", "", ""),
    ("proof", "noise", "2.1 mV ac", ""),
    ("proof", "speaker-volts", "1 mV", ""),
    ("proof", "output-power", "15.2 W", ""),
    ("proof", "bias-hot", "", ""),
    ("proof", "as-left", "", ""),
    ("proof", "play-test", "", "both channels, an hour"),
    ("power-up", "cold-check", "", ""),
    ("cold", "live to ground", "OL", ""),
    ("cold", "neutral to ground", "OL", ""),
    ("cold", "B1 to ground", "158k", ""),
    ("cold", "B2 to ground", "158k", ""),
    ("cold", "B3 to ground", "162k", ""),
    ("cold", "B4 to ground", "168k", ""),
    ("cold", "R4", "112.8k", ""),
    ("cold", "R13", "111.1k", ""),
    ("cold", "R44", "4.52k", ""),
    ("cold", "T2.p1 to T2.p0", "160.2", ""),
    ("cold", "T2.p2 to T2.p0", "159.3", ""),
];

/// 38, Curlew: everything is done; the amp waits for its owner.
pub(super) fn fill(
    shop: &Shop,
    now: At,
    at: &dyn Fn(i64, i64) -> Stamp,
    texts: &Texts,
    meter: InstrumentId,
) -> Result<(), ShopError> {
    let found = texts.wiring.replace("C 1140", "C 0987").replace(
        "note    tremolo channel is weak and harsh, the plain one is sound",
        "note    tremolo channel is weak, the plain one is sound",
    );
    let job = take_in(
        shop,
        &at(33, 0),
        38,
        ("Tilda Merrow", "Curlew", "C 0987", "two EL84, tremolo"),
        "The tremolo side is only half as loud as the other, and once it gave me a shock.",
    )?;
    intake(shop, &at(32, 300), job)?;
    shop.write(&at(31, 0), |w| {
        let wiring = w.wiring_for(job, WiringState::AsFound)?;
        w.save_wiring(wiring, &found, None)?;
        for (item, good, note) in INSPECTED {
            let outcome = if good { Outcome::Pass } else { Outcome::Fail };
            answer(w, job, ("inspection", item, "", note), outcome)?;
        }
        Ok::<_, ShopError>(())
    })?;
    drawings(shop, &at(30, 300))?;
    read(shop, &at(30, 120), job, texts, meter, 0)?;
    decide(shop, &at(29, 0), job)?;
    estimate(shop, now, &at(28, 300), job)?;
    work(shop, &at(27, 0), job)?;
    left(shop, &at(26, 300), job, &found, meter)?;
    off(shop, &at(26, 30), job, texts)?;
    shop.write(&at(26, 0), |w| {
        for one in TESTED {
            answer(w, job, one, Outcome::Pass)?;
        }
        for step in Step::ALL {
            if step != Step::HandOver {
                w.mark_step(job, step.slug(), StepState::Done)?;
            }
        }
        w.add_note(
            job,
            "report: found",
            "The tremolo channel was weak because one resistor in it had risen to three times its value. \
             The shock came from the mains side: the cord had no earth, and a small capacitor joined the mains to the chassis. \
             Both are gone. The output valves drew grid current when hot and were at the end of their life.",
            None,
        )?;
        w.add_note(job, "report: next", "autumn 2028, or when the sound changes", None)?;
        let fields = JobFields {
            step: Some(Step::HandOver.slug().to_owned()),
            waits_for: Some(WaitsFor::You),
            next_text: Some("Print the report, ring Tilda Merrow".to_owned()),
            bag: Some("old R18, C28, mains cord, two EL84".to_owned()),
            shelf: Some("by the door".to_owned()),
            ..JobFields::default()
        };
        w.change_job(job, &fields, None, "what the job waits for")?;
        Ok::<_, ShopError>(())
    })?;
    invoice(shop, now, &at(25, 0), job)
}

fn answer(
    w: &mut Write<'_>,
    job: JobId,
    (sheet, item, shown, note): (&str, &str, &str, &str),
    outcome: Outcome,
) -> Result<(), ShopError> {
    let word = if outcome == Outcome::Fail {
        "no"
    } else {
        "yes"
    };
    let shown = if shown.is_empty() { word } else { shown };
    let (shown, unit) = shown.rsplit_once(' ').map_or((shown, ""), |(v, u)| {
        // `> 200M` has no unit; `56 mV ac` has two words of it
        if v == ">" {
            (shown, "")
        } else if let Some(volts) = v.strip_suffix(" mV") {
            (volts, if u == "ac" { "mV ac" } else { u })
        } else {
            (v, u)
        }
    });
    w.answer_item(
        job,
        &ResultFields {
            sheet: sheet.to_owned(),
            item: item.to_owned(),
            result: outcome,
            shown: shown.to_owned(),
            unit: unit.to_owned(),
            note: note.to_owned(),
            ..ResultFields::default()
        },
    )?;
    Ok(())
}

fn intake(shop: &Shop, stamp: &Stamp, job: JobId) -> Result<(), ShopError> {
    shop.write(stamp, |w| {
        for (on, code) in [
            ("mains transformer", "123 6314"),
            ("output transformer", "123 6309"),
            ("VOLA", "999 6247"),
        ] {
            w.add_date_code(job, on, code, Untouched::Yes)?;
        }
        w.add_date_code(job, "VOLB", "999 7120", Untouched::No)?;
        for (socket, kind, print, tester) in [
            ("V1", "12AX7", "long plates", "92 % and 95 % of new"),
            ("V2", "12AX7", "long plates", "88 % and 90 %"),
            ("V3", "12AX7", "short plates, later", "97 % and 96 %"),
            ("V4", "12AX7", "long plates", "90 % and 84 %"),
            ("V5", "EL84", "a new pair", "48.0 mA"),
            ("V6", "EL84", "a new pair", "48.6 mA"),
            ("V7", "EZ81", "original", "good on both plates"),
        ] {
            w.enter_valve(
                job,
                &ValveFields {
                    socket: socket.to_owned(),
                    meant: kind.to_owned(),
                    found: kind.to_owned(),
                    print: print.to_owned(),
                    tester: tester.to_owned(),
                    ..ValveFields::default()
                },
                None,
            )?;
        }
        w.authorise(
            job,
            &AuthorisationFields {
                who: "Tilda Merrow".to_owned(),
                how: "in person".to_owned(),
                says: "make it safe and as it was; keep what is original where it works".to_owned(),
                ceiling_minor: Some(36_000),
                currency: "EUR".to_owned(),
            },
        )
    })
}

/// Drawings that the shop has of this sort of amplifier.
fn drawings(shop: &Shop, stamp: &Stamp) -> Result<(), ShopError> {
    shop.write(stamp, |w| {
        for (name, text) in [
            (
                "Curlew, first issue",
                include_str!("../../../../examples/kin/curlew-first-issue.wiring"),
            ),
            (
                "Curlew, later production",
                include_str!("../../../../examples/kin/curlew-later-production.wiring"),
            ),
        ] {
            let drawing = w.add_drawing(None, name)?;
            w.save_wiring(drawing, text, None)?;
        }
        Ok(())
    })
}

fn decide(shop: &Shop, stamp: &Stamp, job: JobId) -> Result<(), ShopError> {
    shop.write(stamp, |w| {
        for (part, verdict, why) in [
            (
                "R18",
                Verdict::Replace,
                "risen to 705k, read with one end lifted",
            ),
            (
                "C28",
                Verdict::Replace,
                "joins a mains conductor to the chassis",
            ),
            ("V5", Verdict::Replace, "gassy: its grid climbs when hot"),
            ("V6", Verdict::Replace, "a pair, with V5"),
            (
                "R40",
                Verdict::Replace,
                "too small: at the highest mains the output valves ran above their limit",
            ),
            (
                "C13",
                Verdict::Keep,
                "original; leaks 0.02 \u{b5}A at 180 V, limit here 0.5 \u{b5}A",
            ),
            ("C9", Verdict::Keep, "original, no leakage read"),
            (
                "C27",
                Verdict::Watch,
                "original, reads right, a little warm",
            ),
            (
                "R13",
                Verdict::Keep,
                "reads 111k; quiet, and part of its sound",
            ),
            ("T1", Verdict::Keep, "original, cool after two hours"),
            (
                "T2",
                Verdict::Keep,
                "original, both halves within 1 \u{3a9}",
            ),
            ("LS1", Verdict::Keep, "original, no rub, 13.1 \u{3a9} DC"),
        ] {
            w.give_verdict(job, part, verdict, None, why)?;
        }
        Ok(())
    })
}

fn work(shop: &Shop, stamp: &Stamp, job: JobId) -> Result<(), ShopError> {
    shop.write(stamp, |w| {
        for (part, state, was, now) in [
            ("R18", State::Replaced, "", "220k 1 W film"),
            (
                "C28",
                State::Removed,
                "10 nF, a mains conductor to the chassis",
                "",
            ),
            ("R40", State::Replaced, "", "150 \u{3a9} 5 W wirewound"),
            ("V5", State::Replaced, "EL84", "EL84, one of a pair"),
            ("V6", State::Replaced, "EL84", "EL84, one of a pair"),
        ] {
            w.set_part_state(
                job,
                &PartStateFields {
                    part: part.to_owned(),
                    state,
                    was: was.to_owned(),
                    now: now.to_owned(),
                    note: String::new(),
                },
            )?;
        }
        let done =
            |title: &str, part: &str, why: &str, before: &str, after: &str, minutes| WorkFields {
                title: title.to_owned(),
                part: part.to_owned(),
                why: why.to_owned(),
                before: before.to_owned(),
                after: after.to_owned(),
                minutes,
                state: WorkState::Done,
                ..WorkFields::default()
            };
        for item in [
            done(
                "new plate resistor",
                "R18",
                "",
                "V2.1 61.4 V",
                "V2.1 120.4 V",
                15,
            ),
            done(
                "new cathode resistor",
                "R40",
                "",
                "10.7 W a plate",
                "9.4 W a plate",
                10,
            ),
            done(
                "new pair of output valves",
                "V5",
                "",
                "V5.2 +0.9 V hot",
                "V5.2 0.0 V hot",
                20,
            ),
            WorkFields {
                part_used: "three cores, 2.5 m, earth on its own bolt".to_owned(),
                ..done(
                    "mains cord",
                    "",
                    "two cores, no earth",
                    "no earth",
                    "0.06 \u{3a9}",
                    40,
                )
            },
            WorkFields {
                part_used: "two-pole switch".to_owned(),
                ..done(
                    "mains switch",
                    "S1",
                    "broke one conductor only",
                    "one pole",
                    "two poles",
                    30,
                )
            },
            done(
                "clean the controls and the sockets",
                "",
                "VOLB crackled",
                "crackle",
                "no crackle",
                45,
            ),
            done(
                "re-flow the joints of strips 11 to 14",
                "",
                "dull, one cracked",
                "",
                "",
                20,
            ),
            WorkFields {
                title: "new grille cloth".to_owned(),
                state: WorkState::Declined,
                answer: "likes it as it is".to_owned(),
                ..WorkFields::default()
            },
        ] {
            w.add_work(job, &item)?;
        }
        w.add_minutes(job, "mains side", 95, true, "")?;
        w.add_minutes(job, "tremolo channel", 110, true, "")?;
        w.add_minutes(job, "tests and report", 75, true, "")?;
        Ok(())
    })
}

/// What was proposed, with the owner's answers, and a deposit.
fn estimate(shop: &Shop, now: At, stamp: &Stamp, job: JobId) -> Result<(), ShopError> {
    let items = [
        (
            EstimateSort::Safety,
            "new mains cord with earth, two-pole switch",
            "",
            "two cores, no earth; the switch broke one conductor only",
            (8_000, 11_000),
            true,
        ),
        (
            EstimateSort::Safety,
            "take out the capacitor from the mains to the chassis",
            "C28",
            "the shock came from there",
            (500, 1_000),
            true,
        ),
        (
            EstimateSort::Repair,
            "new plate resistor in the tremolo channel",
            "R18",
            "risen to three times its value",
            (2_000, 3_000),
            true,
        ),
        (
            EstimateSort::Repair,
            "new pair of output valves, and set their current",
            "V5",
            "gassy, and run above their limit",
            (9_000, 11_500),
            true,
        ),
        (
            EstimateSort::Prevention,
            "clean the controls, re-flow the dull joints",
            "",
            "crackles",
            (4_500, 6_000),
            true,
        ),
        (
            EstimateSort::Wishes,
            "new grille cloth",
            "",
            "",
            (6_000, 8_000),
            false,
        ),
    ];
    let on = dates::in_days(now, -28);
    shop.write(stamp, |w| {
        for (sort, what, part, why, (low_minor, high_minor), yes) in items {
            let fields = EstimateFields {
                sort,
                what: what.to_owned(),
                part: part.to_owned(),
                why: why.to_owned(),
                low_minor,
                high_minor,
                currency: "EUR".to_owned(),
            };
            let item = w.add_estimate(job, &fields)?;
            let says = if yes { "" } else { "likes it as it is" };
            w.owner_said(item, yes, &on, says)?;
        }
        let deposit = PaymentFields {
            amount_minor: 10_000,
            currency: "EUR".to_owned(),
            paid_on: on.clone(),
            how: "deposit, by transfer".to_owned(),
        };
        w.add_payment(job, &deposit)?;
        Ok(())
    })
}

/// What it cost: the hours at the bench's rate, and the parts; the deposit is taken off.
fn invoice(shop: &Shop, now: At, stamp: &Stamp, job: JobId) -> Result<(), ShopError> {
    shop.write(stamp, |w| {
        for (what, amount_minor) in [
            ("EL84, a pair", 4_600),
            ("mains cord, 2.5 m, and clamp", 1_150),
            ("two-pole mains switch", 900),
            ("220k 1 W, 150 \u{3a9} 5 W", 480),
        ] {
            w.add_charge(
                job,
                &ChargeFields {
                    sort: ChargeSort::Part,
                    what: what.to_owned(),
                    amount_minor,
                    currency: "EUR".to_owned(),
                    taxed: true,
                    line: None,
                },
            )?;
        }
        let hour = purse::usual_rate(w, "EUR")?;
        let to_pay = w.bill(&[job], "EUR", hour, stamp.at)?.to_pay();
        let on = dates::in_days(now, -25);
        let fields = InvoiceFields {
            number: w.next_invoice_number(i64::from(dates::year(stamp.at)))?,
            invoiced_on: on,
            currency: "EUR".to_owned(),
            reason: String::new(),
        };
        w.write_invoice(&[job], &fields, hour, to_pay)?;
        Ok(())
    })
}

/// The wiring and the chart as it leaves.
fn left(
    shop: &Shop,
    stamp: &Stamp,
    job: JobId,
    found: &str,
    meter: InstrumentId,
) -> Result<(), ShopError> {
    let text = found
        .replace("state   as found", "state   as left")
        .replace("mains   236 V 50 Hz", "mains   231 V 50 Hz")
        .replace("R18 220k carbon original", "R18 220k 1W film replaced")
        .replace(
            "R40 130 5W wirewound = 131 replaced",
            "R40 150 5W wirewound replaced",
        );
    shop.write(stamp, |w| {
        let wiring = w.wiring_for(job, WiringState::AsLeft)?;
        w.save_wiring(wiring, &text, None)?;
        w.power_event(job, &PowerEvent::PlugIn, None)?;
        for block in taken(LEFT) {
            let id = w.begin_block(
                job,
                ReadingState::AsLeft,
                &block.name,
                &block.conditions,
                Some(meter),
            )?;
            for new in &block.readings {
                w.take_reading(id, new, None)?;
            }
        }
        Ok(())
    })
}
