//! The mains fuse for a current: standard ratings with their time laws, never above the marking.
//!
//! Two families of fuse-links mean different things by the same number (`data/fuses.toml`): IEC 60127
//! marks what a link carries, UL 248-14 nearly what it opens at. So a link of the other family is
//! proposed only where it opens at no more amperes than the marked one.

mod laws;
mod marking;

#[cfg(test)]
mod tests;

pub use laws::{Family, Law, Pace, Point, families};
pub use marking::{Marking, MarkingError};

use crate::rules::rules;
use crate::sheet::{Expected, Figure, Limit, Line, Origin, Sheet};
use crate::typed::positive_if_given;
use wiring::units::{Quantity, engineering};

/// What was typed.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct FuseRequest {
    /// Mains current at full drive, amperes, true rms.
    pub amps: Option<f64>,
    /// Volts at the wall.
    pub mains: Option<f64>,
    /// What stands on the chassis.
    pub marking: Option<Marking>,
    /// Steady HT current, amperes, for a fuse in the HT.
    pub ht_amps: Option<f64>,
    /// HT volts that such a fuse must break.
    pub ht_volts: Option<f64>,
}

/// A fuse-link to fit.
#[derive(Debug, Clone, PartialEq)]
pub struct Proposal {
    /// Its family.
    pub family: &'static Family,
    /// How quick.
    pub pace: Pace,
    /// Rating, amperes.
    pub amps: f64,
    /// Why this one.
    pub why: String,
}

impl Proposal {
    /// As it is marked: `T1A`, `1 A slow`.
    #[must_use]
    pub fn words(&self) -> String {
        let amps = engineering(self.amps, Quantity::Amps);
        let mark = self
            .family
            .law(self.pace, self.amps)
            .map_or("", |law| law.mark.as_str());
        if self.family.id == "iec" {
            format!("{mark}{}", amps.replace(' ', ""))
        } else {
            format!("{amps} {mark}")
        }
    }
}

/// Rated over full-drive current: least and most (`fuse.size.steady`).
fn factors() -> Option<(f64, f64)> {
    rules().range("fuse.size.steady", "rating / full-drive current")
}

/// The share of its rating that a link of a family may carry without end.
#[must_use]
pub fn steady_share(family: &Family) -> Option<f64> {
    rules().figure(
        &format!("fuse.rating.{}", family.id),
        "steady current / rating",
    )
}

/// The multiple of its rating at which a link of a family is sure to open.
fn opens_at(family: &str) -> Option<f64> {
    match family {
        "ul" => rules().figure("fuse.rating.ul", "opens within 1 h at"),
        _ => rules().figure("fuse.rating.iec", "must open at"),
    }
}

/// The family a marking is of: as it says, else as the mains says; none when neither does.
fn family_of(marking: &Marking, mains: Option<f64>) -> Option<&'static str> {
    marking.family.or_else(|| at_home(mains))
}

/// The family of the fuse-links sold where the mains is so.
fn at_home(mains: Option<f64>) -> Option<&'static str> {
    mains.map(|volts| if volts < 200.0 { "ul" } else { "iec" })
}

/// The largest rating of a family that a marking allows: the marking itself, and for an IEC link in
/// place of a North American one (or of one that doesn't say) only what opens at no more amperes.
#[must_use]
pub fn ceiling(family: &Family, marking: &Marking, mains: Option<f64>) -> Option<f64> {
    let marked = family_of(marking, mains).unwrap_or("ul");
    let share = (opens_at(marked)? / opens_at(&family.id)?).min(1.0);
    Some(marking.amps * share)
}

/// The link of a family for a current, under a marking. None where no standard rating fits.
#[must_use]
pub fn proposal(
    family: &'static Family,
    amps: f64,
    mains: Option<f64>,
    marking: Option<&Marking>,
) -> Option<Proposal> {
    if !(amps.is_finite() && amps > 0.0) {
        return None;
    }
    let (least, most) = factors()?;
    let need = amps * least.max(1.0 / steady_share(family)?);
    let pace = marking.and_then(|m| m.pace).unwrap_or(Pace::TimeLag);
    let computed = family.at_least(need);
    let Some(marking) = marking else {
        return computed.map(|amps| Proposal {
            family,
            pace,
            amps,
            why: format!("The next standard rating from {}.", words(need)),
        });
    };
    let top = ceiling(family, marking, mains)?;
    let same = family_of(marking, mains) == Some(family.id.as_str());
    // A marking of this family within the range is fitted as it stands, standard rating or not.
    if same && marking.amps >= need && marking.amps <= amps * most {
        return Some(Proposal {
            family,
            pace,
            amps: marking.amps,
            why: "As marked; the current agrees with it.".to_owned(),
        });
    }
    if let Some(amps) = computed.filter(|rating| *rating <= top) {
        let why = if same {
            format!(
                "The marking is more than {most} times the current typed. Of the two the smaller is proposed; was the current read at full drive, or was the marking altered?"
            )
        } else {
            format!(
                "The next standard rating from {}, and within the {} of this family that opens no later than the marking.",
                words(need),
                words(top)
            )
        };
        return Some(Proposal {
            family,
            pace,
            amps,
            why,
        });
    }
    // The marking is smaller than the need: it is never exceeded.
    let held = if same {
        Some(marking.amps)
    } else {
        family.at_most(top)
    }?;
    (held * steady_share(family)? >= amps).then(|| Proposal {
        family,
        pace,
        amps: held,
        why: format!(
            "The current asks for {} or more, but nothing above the marking is fitted. This one still carries it.",
            words(need)
        ),
    })
}

fn words(amps: f64) -> String {
    Figure::new(amps, "A").to_string()
}

/// The sheet.
#[must_use]
pub fn fuse(given: &FuseRequest) -> Sheet {
    let mut sheet = Sheet::new("fuse", "Mains fuse");
    let amps = positive_if_given(
        &mut sheet,
        given.amps,
        "the mains current at full drive",
        "Type amperes true rms, `--current 0.8`.",
    );
    let mains = positive_if_given(
        &mut sheet,
        given.mains,
        "the mains",
        "Type the volts, `--mains 230`.",
    );
    if let Some(volts) = mains {
        sheet
            .conditions
            .push(format!("mains {}", Figure::new(volts, "V")));
    }
    match &given.marking {
        Some(marking) => sheet.conditions.push(format!("chassis marked {}", marking.text)),
        None => sheet.missing(
            "what is marked on the chassis",
            "Type it, `--marking T1A`: the marked type and rating come first, and nothing above it is proposed.",
        ),
    }
    match amps {
        Some(amps) => sized(&mut sheet, amps, mains, given.marking.as_ref()),
        None if given.amps.is_none() && given.ht_amps.is_none() => sheet.missing(
            "the mains current at full drive",
            "Measure it true rms, or type watts over volts; `--current 0.8`.",
        ),
        None => {}
    }
    ht(&mut sheet, given);
    sheet.section(
        "On the chassis",
        vec![
            Line::open(
                "Fuse in the live conductor, ahead of the switch",
                Origin::rule("mains.fuse_position"),
            ),
            Line::open(
                "Fitted type and rating as marked",
                Origin::rule("fuse.rating.first"),
            ),
        ],
    );
    sheet.note("Never a larger or slower fuse to stop one from blowing.");
    sheet
}

fn sized(sheet: &mut Sheet, amps: f64, mains: Option<f64>, marking: Option<&Marking>) {
    let mut lines = Vec::new();
    if let Some(marking) = marking {
        let family = family_of(marking, mains).unwrap_or("ul");
        let share = Family::of(family).and_then(steady_share);
        if let Some(share) = share {
            let line = Line::read(
                format!("Current on the marking {}", marking.text),
                Figure::new(amps, "A"),
                Limit::at_most(marking.amps * share, "A"),
                Origin::rule(&format!("fuse.rating.{family}")),
            );
            let fails = line.outcome() == crate::sheet::Outcome::Fail;
            lines.push(if fails {
                line.because("It takes more than the marked fuse carries. Find out why before power; no larger fuse.")
            } else {
                line
            });
        }
    }
    if let Some((least, most)) = factors() {
        lines.push(
            Line::told(
                "Rating that the current asks for",
                Origin::rule("fuse.size.steady"),
            )
            .expecting(Expected::range(amps * least, amps * most, "A"))
            .because("Time-lag, because a transformer and cold heaters take a surge."),
        );
    }
    let home = marking
        .and_then(|m| family_of(m, mains))
        .or_else(|| at_home(mains));
    let mut found: Vec<Proposal> = families()
        .iter()
        .filter_map(|family| proposal(family, amps, mains, marking))
        .collect();
    found.sort_by_key(|p| Some(p.family.id.as_str()) != home);
    for p in &found {
        lines.push(
            Line::told(
                format!("Fit, {}", p.family.standard),
                Origin::computed(format!(
                    "rating rules over the standard's ratings ({})",
                    p.family.ratings_source
                )),
            )
            .at(p.words())
            .expecting(Expected::value(p.amps, "A"))
            .because(&p.why),
        );
    }
    sheet.section("", lines);
    for family in families() {
        if !found.iter().any(|p| p.family == family) {
            let why = match marking.and_then(|m| ceiling(family, m, mains)) {
                Some(top) if found.is_empty() => format!(
                    "The marking allows {} of this family, which does not carry {}. Find out why the amplifier takes so much.",
                    words(top),
                    words(amps)
                ),
                Some(top) => format!(
                    "The marking allows {} of this family, which does not carry {}. Stay with the family above.",
                    words(top),
                    words(amps)
                ),
                None => "No standard rating is large enough: is the current right?".to_owned(),
            };
            sheet.missing(format!("a fuse after {}", family.standard), why);
        }
    }
    for p in &found {
        time_law(sheet, p);
    }
}

fn time_law(sheet: &mut Sheet, p: &Proposal) {
    let Some(law) = p.family.law(p.pace, p.amps) else {
        return;
    };
    let origin = Origin::cited(law.source.clone());
    let lines = law
        .points
        .iter()
        .map(|point| {
            let what = match (point.at_least_s, point.at_most_s) {
                (Some(_), None) => "Carries",
                (None, Some(_)) => "Opens",
                _ => "Opens, soonest and latest",
            };
            Line::told(format!("{what} at {} times", point.times), origin.clone())
                .at(words(p.amps * point.times))
                .expecting(Expected {
                    value: None,
                    low: point.at_least_s,
                    high: point.at_most_s,
                    unit: "s".to_owned(),
                })
        })
        .collect();
    sheet.section(
        format!("{}, {}, {}", p.words(), p.pace.words(), p.family.standard),
        lines,
    );
}

fn ht(sheet: &mut Sheet, given: &FuseRequest) {
    let amps = positive_if_given(
        sheet,
        given.ht_amps,
        "the HT current",
        "Type amperes, `--ht-current 120mA`.",
    );
    let Some((amps, (least, most))) =
        amps.zip(rules().range("fuse.ht", "rating / steady HT current"))
    else {
        return;
    };
    let rule = || Origin::rule("fuse.ht");
    let mut lines = Vec::new();
    for family in families() {
        let rating = family
            .at_least(amps * least)
            .filter(|rating| *rating <= amps * most);
        if let Some(rating) = rating {
            lines.push(
                Line::told(format!("HT fuse, {}", family.standard), rule())
                    .expecting(Expected::value(rating, "A")),
            );
        }
    }
    match given.ht_volts.filter(|v| v.is_finite() && *v > 0.0) {
        Some(volts) => lines.push(
            Line::told("Direct volts it must be made to break", rule())
                .expecting(Expected::value(volts, "V"))
                .because(if volts > 32.0 {
                    "A link marked 250 V alternating is outside its rating here, unless its sheet gives these direct volts."
                } else {
                    ""
                }),
        ),
        None => sheet.missing("the HT volts that the fuse must break", "Type them, `--ht-volts 420`."),
    }
    sheet.section("HT fuse, when one is fitted", lines);
}
