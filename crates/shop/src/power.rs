//! Is the amp live? Only what was said and read counts, and doubt counts as live.
//!
//! The amp is *off* only when the plug was said to be out and, after that, every point that
//! stores charge was read below the limit. Which points store charge is for the caller to say
//! (from the wiring, or by each capacitor's name where nothing is traced).

use crate::change::{Entries, maybe};
use crate::error::ShopError;
use crate::id::{InstrumentId, JobId, PowerId};
use crate::open::{Reader, Write};
use crate::stamp::At;
use rusqlite::Row;
use serde::Serialize;

/// What was said or read.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum PowerEvent {
    /// The plug is in.
    PlugIn,
    /// The plug is out.
    PlugOut,
    /// Volts at a point that stores charge, magnitude.
    Read {
        /// Where.
        point: String,
        /// How many.
        volts: f64,
    },
    /// A point or capacitor that stores charge, named by hand where nothing is traced.
    Stores(String),
    /// All that store charge have been named.
    NoMorePoints,
}

/// What is known about power.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Power {
    /// Nothing was said yet: to be taken as live.
    Unknown,
    /// The plug is in since then.
    Live {
        /// Since when.
        since: At,
    },
    /// The plug is out, but these points have no reading below the limit since.
    Charged {
        /// Since when.
        since: At,
        /// Points without such a reading, with their last reading since if there is one.
        left: Vec<(String, Option<f64>)>,
        /// How many are done.
        done: usize,
    },
    /// The plug is out and nobody has said yet that all points that store charge are named.
    Unnamed {
        /// Since when.
        since: At,
        /// Those known so far.
        known: Vec<String>,
    },
    /// The plug is out and every point was read below the limit.
    Off {
        /// When the last of them was read.
        at: At,
        /// How many points.
        points: usize,
        /// The highest of them, in volts, with its point.
        highest: (String, f64),
    },
}

impl Reader<'_> {
    /// Everything said and read about power in a job, in order, those taken back left out.
    pub fn power_events(&self, job: JobId) -> Result<Vec<(PowerId, At, PowerEvent)>, ShopError> {
        let mut ask = self.base.prepare_cached(
            "SELECT id, at, what, point, volts FROM power_states p WHERE job = ?1 AND withdrawn = 0
             AND NOT EXISTS (SELECT 1 FROM power_states n WHERE n.corrects = p.id) ORDER BY id",
        )?;
        let event = |r: &Row<'_>| {
            let point: String = r.get(3)?;
            let event = match r.get::<_, String>(2)?.as_str() {
                "plug in" => PowerEvent::PlugIn,
                "plug out" => PowerEvent::PlugOut,
                "stores" => PowerEvent::Stores(point),
                "no more points" => PowerEvent::NoMorePoints,
                _ => PowerEvent::Read {
                    point,
                    volts: r.get::<_, Option<f64>>(4)?.unwrap_or(f64::INFINITY),
                },
            };
            Ok((r.get(0)?, r.get(1)?, event))
        };
        let all = ask.query_map([job], event)?.collect::<Result<_, _>>()?;
        Ok(all)
    }

    /// Is the amp live, charged or off? `points` are those that store charge by the wiring;
    /// `complete` says that the wiring is traced to its end, so that there are no others. Points
    /// named by hand are added. `limit` in volts.
    pub fn power(
        &self,
        job: JobId,
        points: &[String],
        complete: bool,
        limit: f64,
    ) -> Result<Power, ShopError> {
        let events = self.power_events(job)?;
        Ok(power_of(&events, points, complete, limit))
    }
}

/// The state that events lead to.
pub(crate) fn power_of(
    events: &[(PowerId, At, PowerEvent)],
    points: &[String],
    complete: bool,
    limit: f64,
) -> Power {
    let mut named: Vec<String> = points.to_vec();
    let mut closed = complete;
    let mut plug: Option<(bool, At, usize)> = None;
    for (i, (_, at, event)) in events.iter().enumerate() {
        match event {
            PowerEvent::PlugIn => plug = Some((true, *at, i)),
            PowerEvent::PlugOut => plug = Some((false, *at, i)),
            PowerEvent::Stores(point) if !named.contains(point) => named.push(point.clone()),
            PowerEvent::NoMorePoints => closed = true,
            PowerEvent::Stores(_) | PowerEvent::Read { .. } => {}
        }
    }
    let Some((is_in, since, from)) = plug else {
        return Power::Unknown;
    };
    if is_in {
        return Power::Live { since };
    }
    if !closed || named.is_empty() {
        return Power::Unnamed {
            since,
            known: named,
        };
    }
    let mut left = Vec::new();
    let mut done = 0;
    let mut highest: (String, f64) = (String::new(), -1.0);
    let mut last = since;
    for point in &named {
        // the last reading of the point since the plug came out decides
        let read = events
            .iter()
            .skip(from)
            .rev()
            .find_map(|(_, at, e)| match e {
                PowerEvent::Read { point: p, volts } if p == point => Some((*at, *volts)),
                _ => None,
            });
        match read {
            Some((at, volts)) if volts.abs() < limit => {
                done += 1;
                last = last.max(at);
                if volts.abs() > highest.1 {
                    highest = (point.clone(), volts.abs());
                }
            }
            other => left.push((point.clone(), other.map(|(_, v)| v))),
        }
    }
    if left.is_empty() {
        Power::Off {
            at: last,
            points: done,
            highest,
        }
    } else {
        Power::Charged { since, left, done }
    }
}

impl Write<'_> {
    /// Writes down what was said or read about power.
    pub fn power_event(
        &mut self,
        job: JobId,
        event: &PowerEvent,
        instrument: Option<InstrumentId>,
    ) -> Result<PowerId, ShopError> {
        self.job(job)?;
        let (what, point, volts, says) = match event {
            PowerEvent::PlugIn => ("plug in", String::new(), None, "plug in".to_owned()),
            PowerEvent::PlugOut => ("plug out", String::new(), None, "plug out".to_owned()),
            PowerEvent::Read { point, volts } => {
                if !volts.is_finite() {
                    return Err(ShopError::Refused(
                        "A discharge reading is a number of volts.".to_owned(),
                    ));
                }
                let says = format!("{point} read {volts} V with the plug out");
                ("read", point.clone(), Some(*volts), says)
            }
            PowerEvent::Stores(point) => (
                "stores",
                point.trim().to_owned(),
                None,
                format!("{point} stores charge"),
            ),
            PowerEvent::NoMorePoints => (
                "no more points",
                String::new(),
                None,
                "every point that stores charge is named".to_owned(),
            ),
        };
        let entry = self.enter(Some(job), &says)?;
        let columns = [
            ("job", job.into()),
            ("what", what.to_owned().into()),
            ("point", point.into()),
            ("volts", maybe(volts)),
            ("instrument", maybe(instrument)),
        ];
        Ok(PowerId(self.append(
            entry,
            Entries::PowerStates,
            &columns,
            None,
        )?))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn events(list: &[PowerEvent]) -> Vec<(PowerId, At, PowerEvent)> {
        (1..)
            .zip(list)
            .map(|(n, e)| (PowerId(n), At(n * 1000), e.clone()))
            .collect()
    }

    fn read(point: &str, volts: f64) -> PowerEvent {
        PowerEvent::Read {
            point: point.to_owned(),
            volts,
        }
    }

    #[test]
    fn off_only_after_the_plug_and_every_point() {
        use PowerEvent::{PlugIn, PlugOut};
        let points = ["B1".to_owned(), "B2".to_owned()];
        let state = |list: &[PowerEvent]| power_of(&events(list), &points, true, 10.0);
        assert_eq!(state(&[]), Power::Unknown);
        assert_eq!(state(&[read("B1", 0.0), read("B2", 0.0)]), Power::Unknown);
        assert!(matches!(state(&[PlugIn]), Power::Live { .. }));
        // readings before the plug came out count for nothing
        assert!(matches!(
            state(&[PlugIn, read("B1", 0.1), read("B2", 0.1), PlugOut]),
            Power::Charged { done: 0, .. }
        ));
        let half = state(&[PlugOut, read("B1", 0.4), read("B2", 31.0)]);
        assert!(
            matches!(&half, Power::Charged { left, done: 1, .. } if *left == [("B2".to_owned(), Some(31.0))])
        );
        let off = state(&[PlugOut, read("B1", 0.4), read("B2", 31.0), read("B2", -9.9)]);
        assert!(
            matches!(&off, Power::Off { points: 2, highest, .. } if *highest == ("B2".to_owned(), 9.9))
        );
        // a later, higher reading takes it back: old capacitors recover charge
        assert!(matches!(
            state(&[PlugOut, read("B1", 0.4), read("B2", 1.0), read("B1", 12.0)]),
            Power::Charged { .. }
        ));
        assert!(matches!(
            state(&[PlugOut, read("B1", 0.4), read("B2", 1.0), PlugIn]),
            Power::Live { .. }
        ));
        // the limit itself is not below it
        assert!(matches!(
            state(&[PlugOut, read("B1", 10.0), read("B2", 1.0)]),
            Power::Charged { .. }
        ));
    }

    #[test]
    fn without_a_tracing_each_capacitor_is_named_first() {
        use PowerEvent::{NoMorePoints, PlugOut, Stores};
        let state = |list: &[PowerEvent]| power_of(&events(list), &[], false, 10.0);
        assert!(matches!(state(&[PlugOut]), Power::Unnamed { .. }));
        assert!(matches!(
            state(&[PlugOut, NoMorePoints]),
            Power::Unnamed { .. }
        ));
        let can = || Stores("can by the rectifier".to_owned());
        assert!(matches!(
            state(&[PlugOut, can(), read("can by the rectifier", 0.1)]),
            Power::Unnamed { .. }
        ));
        assert!(matches!(
            state(&[
                PlugOut,
                can(),
                NoMorePoints,
                read("can by the rectifier", 0.1)
            ]),
            Power::Off { points: 1, .. }
        ));
        // half a tracing knows some points; that there are no others has to be said
        let half = power_of(
            &events(&[PlugOut, read("B1", 0.1)]),
            &["B1".to_owned()],
            false,
            10.0,
        );
        assert!(matches!(half, Power::Unnamed { known, .. } if known == ["B1"]));
    }

    /// A complete tracing without any such point has nothing to read; that is not taken for off.
    #[test]
    fn no_point_at_all_is_never_off() {
        let list = events(&[PowerEvent::PlugOut]);
        assert!(matches!(
            power_of(&list, &[], true, 10.0),
            Power::Unnamed { .. }
        ));
    }
}
