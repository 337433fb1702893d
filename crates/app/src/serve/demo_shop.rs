//! The demo's shop: five amps at different stages. Makers, people, vendors and figures are
//! invented; the wirings are the examples.

use super::dates;
use super::run::Step;
use super::state::stores_charge;
use shop::{
    AmpFields, At, AuthorisationFields, ClientFields, InstrumentFields, InstrumentId, JobFields,
    JobId, NewReading, PowerEvent, ReadingState, Shop, ShopError, Stamp, StepState, ValveFields,
    Verdict, WaitsFor, WiringState, WorkFields, WorkState,
};

const MINUTE: i64 = 60_000;
const DAY: i64 = 24 * 60 * MINUTE;

/// Wiring and readings of an example.
pub(crate) struct Texts {
    /// `examples/NAME.wiring`.
    pub(crate) wiring: &'static str,
    /// `examples/NAME.readings`.
    pub(crate) readings: &'static str,
}

/// Fills an empty shop.
pub(crate) fn fill(
    shop: &Shop,
    now: At,
    [pip, curlew, turnstone]: [Texts; 3],
) -> Result<(), ShopError> {
    let at = |days: i64, minutes: i64| Stamp {
        at: At(now.0 - days * DAY - minutes * MINUTE),
        bench: "Desk".to_owned(),
    };
    let meter = shop.write(&at(30, 0), |w| {
        w.set_setting("mains", "231 V")?;
        w.set_setting("rate", "48")?;
        w.add_instrument(&InstrumentFields {
            name: "red meter".to_owned(),
            kind: "digital meter".to_owned(),
            input_ohms: Some(10e6),
            error_percent: Some(0.5),
            calibrated: dates::in_days(At(now.0 - 200 * DAY), 0),
            ..InstrumentFields::default()
        })
    })?;
    super::demo_finished::fill(shop, now, &at, &curlew, meter)?;
    held_for_a_capacitor(shop, now, &at, &turnstone, meter)?;
    held_for_valves(shop, now, &at, &curlew, meter)?;
    on_the_chart(shop, now, &at, &pip, meter)?;
    just_in(shop, &at)
}

/// 39, Turnstone: at the work list; the can capacitor came in the wrong value.
fn held_for_a_capacitor(
    shop: &Shop,
    now: At,
    at: &dyn Fn(i64, i64) -> Stamp,
    texts: &Texts,
    meter: InstrumentId,
) -> Result<(), ShopError> {
    let job = take_in(
        shop,
        &at(24, 0),
        39,
        (
            "Ilsa Brandreth",
            "Turnstone",
            "T-0052",
            "four EL84, spring reverb",
        ),
        "Half as loud as it was, and it spits when the reverb is up.",
    )?;
    trace(shop, &at(21, 40), job, texts)?;
    read(shop, &at(20, 300), job, texts, meter, 0)?;
    shop.write(&at(18, 0), |w| {
        w.give_verdict(
            job,
            "V8",
            Verdict::Replace,
            None,
            "draws nothing at the same bias",
        )?;
        w.give_verdict(job, "V6", Verdict::Keep, None, "")?;
        w.give_verdict(job, "V7", Verdict::Keep, None, "")?;
        w.give_verdict(job, "V9", Verdict::Keep, None, "")?;
        w.add_work(
            job,
            &WorkFields {
                title: "clean and re-tension valve sockets".to_owned(),
                state: WorkState::Done,
                minutes: 35,
                ..WorkFields::default()
            },
        )?;
        w.add_work(
            job,
            &WorkFields {
                title: "new can capacitor, 32 + 32 \u{b5}F 450 V".to_owned(),
                why: "bulged, and its second half reads 21 \u{b5}F".to_owned(),
                ..WorkFields::default()
            },
        )?;
        w.add_work(
            job,
            &WorkFields {
                title: "new grille cloth".to_owned(),
                state: WorkState::Declined,
                answer: "likes it as it is".to_owned(),
                ..WorkFields::default()
            },
        )?;
        w.add_minutes(job, "chart", 140, true, "")?;
        w.add_minutes(job, "sockets and controls", 65, true, "")?;
        Ok::<_, ShopError>(())
    })?;
    super::demo_orders::estimate(shop, now, at, job)?;
    allow(shop, &at(19, 0), job, "Ilsa Brandreth", 42_000)?;
    off(shop, &at(18, 30), job, texts)?;
    wait(
        shop,
        &at(3, 0),
        job,
        Step::Work,
        WaitsFor::Parts,
        JobFields {
            waits_text: Some(format!(
                "can capacitor, sent as 16 + 16; Quillon promise {}",
                dates::promised(&dates::in_days(now, 3), now)
            )),
            next_text: Some("Ring Quillon".to_owned()),
            shelf: Some("rack, left".to_owned()),
            ..JobFields::default()
        },
    )?;
    super::demo_orders::can_capacitor(shop, now, at, job)
}

/// 41, Curlew: at set-up; the pair of output valves went back.
fn held_for_valves(
    shop: &Shop,
    now: At,
    at: &dyn Fn(i64, i64) -> Stamp,
    texts: &Texts,
    meter: InstrumentId,
) -> Result<(), ShopError> {
    let job = take_in(
        shop,
        &at(15, 0),
        41,
        ("Wilf Aspinor", "Curlew", "C 1140", "two EL84, tremolo"),
        "The tremolo side has gone thin and nasty. The other side is lovely.",
    )?;
    trace(shop, &at(13, 200), job, texts)?;
    read(shop, &at(12, 400), job, texts, meter, 0)?;
    shop.write(&at(11, 0), |w| {
        for (part, verdict, why) in [
            (
                "C13",
                Verdict::Replace,
                "leaks 4 \u{b5}A at 180 V, and the grid after it is up",
            ),
            ("R18", Verdict::Keep, "original, 226k"),
            ("V5", Verdict::Replace, "gassy: its grid climbs when hot"),
            ("V6", Verdict::Replace, "a pair, with V5"),
            (
                "C27",
                Verdict::Watch,
                "original, reads right, a little warm",
            ),
        ] {
            w.give_verdict(job, part, verdict, None, why)?;
        }
        w.add_work(
            job,
            &WorkFields {
                title: "new coupling capacitor".to_owned(),
                part: "C13".to_owned(),
                before: "V2.1 61.4 V".to_owned(),
                after: "V2.1 151 V".to_owned(),
                part_used: "10n 630V film".to_owned(),
                minutes: 20,
                state: WorkState::Done,
                ..WorkFields::default()
            },
        )?;
        w.add_minutes(job, "tremolo channel", 150, true, "")?;
        Ok::<_, ShopError>(())
    })?;
    allow(shop, &at(12, 100), job, "Wilf Aspinor", 30_000)?;
    off(shop, &at(5, 0), job, texts)?;
    wait(
        shop,
        &at(2, 0),
        job,
        Step::SetUp,
        WaitsFor::Parts,
        JobFields {
            waits_text: Some(format!(
                "EL84 pair, sent back unmatched; new pair promised {}",
                dates::promised(&dates::in_days(now, 5), now)
            )),
            next_text: Some("Fit the pair, read bias".to_owned()),
            promised: Some(dates::in_days(now, 12)),
            bag: Some("old C13, two EL84 that go home".to_owned()),
            ..JobFields::default()
        },
    )?;
    super::demo_orders::pair(shop, now, at, job)
}

/// 42, Pip: live, in the middle of its chart.
fn on_the_chart(
    shop: &Shop,
    now: At,
    at: &dyn Fn(i64, i64) -> Stamp,
    texts: &Texts,
    meter: InstrumentId,
) -> Result<(), ShopError> {
    let job = take_in(
        shop,
        &at(8, 0),
        42,
        (
            "Odo Kestle",
            "Pip",
            "00317",
            "one 6V6GT, feedback from the loudspeaker",
        ),
        "It was loud once. Now it hums whatever I do, and you can smell it get hot.",
    )?;
    shop.write(&at(8, -20), |w| {
        for (question, said) in [
            ("last_played", "in the summer"),
            ("changed", "somebody put in another output valve"),
            ("inside", "a cousin, with a soldering gun"),
        ] {
            w.answer(job, question, said)?;
        }
        for (socket, meant, found, print) in [
            ("V1", "12AX7", "12AX7", "long plates, print gone"),
            ("V2", "6V6GT", "6V6GT", "grey glass"),
            ("V3", "5Y3GT", "5Y3GT", "original"),
        ] {
            w.enter_valve(
                job,
                &ValveFields {
                    socket: socket.to_owned(),
                    meant: meant.to_owned(),
                    found: found.to_owned(),
                    print: print.to_owned(),
                    ..ValveFields::default()
                },
                None,
            )?;
        }
        Ok::<_, ShopError>(())
    })?;
    trace(shop, &at(2, 90), job, texts)?;
    allow(shop, &at(7, 0), job, "Odo Kestle", 38_000)?;
    shop.write(&at(0, 34), |w| {
        w.power_event(job, &PowerEvent::PlugIn, None)?;
        w.start_clock(job, "chart")
    })?;
    // the last readings of the block are still to be taken
    read(shop, &at(0, 31), job, texts, meter, 6)?;
    wait(
        shop,
        &at(0, 30),
        job,
        Step::Chart,
        WaitsFor::You,
        JobFields {
            promised: Some(dates::in_days(now, 9)),
            shelf: Some("bench".to_owned()),
            ..JobFields::default()
        },
    )
}

/// 44, Knot: just taken in, nothing traced; the owner thinks it over.
fn just_in(shop: &Shop, at: &dyn Fn(i64, i64) -> Stamp) -> Result<(), ShopError> {
    let job = take_in(
        shop,
        &at(1, 120),
        44,
        ("Maren Tuck", "Knot", "02051", "small head, two inputs"),
        "My aunt's. Nobody has switched it on for thirty years, and I have not dared.",
    )?;
    wait(
        shop,
        &at(1, 60),
        job,
        Step::Intake,
        WaitsFor::Answer,
        JobFields {
            waits_text: Some("whether to keep the old capacitors".to_owned()),
            next_text: Some("Ring Maren Tuck".to_owned()),
            ..JobFields::default()
        },
    )
}

pub(super) fn take_in(
    shop: &Shop,
    stamp: &Stamp,
    number: i64,
    (owner, model, serial, about): (&str, &str, &str, &str),
    words: &str,
) -> Result<JobId, ShopError> {
    shop.write(stamp, |w| {
        let client = w.add_client(&ClientFields {
            name: owner.to_owned(),
            ..ClientFields::default()
        })?;
        let amp = w.add_amp(
            client,
            &AmpFields {
                maker: "Marram".to_owned(),
                model: model.to_owned(),
                serial: serial.to_owned(),
                about: about.to_owned(),
                ..AmpFields::default()
            },
        )?;
        let job = w.open_job(amp, Some(number))?;
        w.take_down(job, words, None)?;
        Ok(job)
    })
}

fn trace(shop: &Shop, stamp: &Stamp, job: JobId, texts: &Texts) -> Result<(), ShopError> {
    shop.write(stamp, |w| {
        let wiring = w.wiring_for(job, WiringState::AsFound)?;
        w.save_wiring(wiring, texts.wiring, None)?;
        for step in [
            Step::Intake,
            Step::Inspection,
            Step::Cold,
            Step::PowerUp,
            Step::Tracing,
        ] {
            w.mark_step(job, step.slug(), StepState::Done)?;
        }
        Ok(())
    })
}

/// Takes the readings of an example, block by block; `open` of the last block stay untaken.
pub(super) fn read(
    shop: &Shop,
    stamp: &Stamp,
    job: JobId,
    texts: &Texts,
    meter: InstrumentId,
    open: usize,
) -> Result<(), ShopError> {
    let blocks = taken(texts.readings);
    let last = blocks.len().saturating_sub(1);
    shop.write(stamp, |w| {
        for (i, block) in blocks.iter().enumerate() {
            let id = w.begin_block(
                job,
                ReadingState::AsFound,
                &block.name,
                &block.conditions,
                Some(meter),
            )?;
            let keep = block.readings.len()
                - if i == last {
                    open.min(block.readings.len())
                } else {
                    0
                };
            for new in block.readings.iter().take(keep) {
                w.take_reading(id, new, None)?;
            }
        }
        if open == 0 {
            w.mark_step(job, Step::Chart.slug(), StepState::Done)?;
        }
        Ok(())
    })
}

fn allow(shop: &Shop, stamp: &Stamp, job: JobId, who: &str, minor: i64) -> Result<(), ShopError> {
    shop.write(stamp, |w| {
        w.authorise(
            job,
            &AuthorisationFields {
                who: who.to_owned(),
                how: "by telephone".to_owned(),
                says: "make it safe and as it was".to_owned(),
                ceiling_minor: Some(minor),
                currency: "EUR".to_owned(),
            },
        )
    })
}

/// Unplugged, and every point that stores charge read.
pub(super) fn off(shop: &Shop, stamp: &Stamp, job: JobId, texts: &Texts) -> Result<(), ShopError> {
    let circuit = wiring::read_one(texts.wiring).circuit;
    shop.write(stamp, |w| {
        w.power_event(job, &PowerEvent::PlugOut, None)?;
        for (i, point) in stores_charge(&circuit).into_iter().enumerate() {
            let volts = 0.1 + 0.1 * (i % 4) as f64;
            w.power_event(job, &PowerEvent::Read { point, volts }, None)?;
        }
        Ok(())
    })
}

fn wait(
    shop: &Shop,
    stamp: &Stamp,
    job: JobId,
    step: Step,
    waits: WaitsFor,
    fields: JobFields,
) -> Result<(), ShopError> {
    shop.write(stamp, |w| {
        let fields = JobFields {
            step: Some(step.slug().to_owned()),
            waits_for: Some(waits),
            ..fields
        };
        w.change_job(job, &fields, None, "what the job waits for")?;
        Ok(())
    })
}

/// A block of a readings text, as somebody would have entered it.
pub(super) struct Taken {
    pub(super) name: String,
    pub(super) conditions: String,
    pub(super) readings: Vec<NewReading>,
}

/// The blocks of a readings text.
pub(super) fn taken(text: &str) -> Vec<Taken> {
    const CONDITIONS: [&str; 12] = [
        "mains", "meter", "valves", "set", "standby", "speaker", "limiter", "minutes", "power",
        "heard", "seen", "signal",
    ];
    let mut blocks: Vec<Taken> = Vec::new();
    for line in text.lines() {
        let Some((first, rest)) = line.split_once("  ") else {
            continue;
        };
        let (first, rest) = (first.trim(), rest.trim());
        if first == "readings" {
            blocks.push(Taken {
                name: rest.to_owned(),
                conditions: String::new(),
                readings: Vec::new(),
            });
            continue;
        }
        let Some(block) = blocks.last_mut() else {
            continue;
        };
        if CONDITIONS.contains(&first) {
            block.conditions.push_str(&format!("{first} {rest}\n"));
            continue;
        }
        let (value, note) = rest.split_once('"').unwrap_or((rest, ""));
        let (shown, unit) = value.trim().split_once(' ').unwrap_or((value.trim(), ""));
        block.readings.push(NewReading {
            point: first.to_owned(),
            shown: shown.to_owned(),
            unit: unit.trim().to_owned(),
            note: note.trim_end_matches('"').to_owned(),
            ..NewReading::default()
        });
    }
    blocks
}
