//! The strain as a sheet.

use super::{Failing, Place, Quantity, Strained, Stress, Verdict, Work};
use crate::chart::points::natural;
use crate::part::{rated_volts, rated_watts};
use crate::powered::{say_block, say_mains};
use crate::sheet::capital;
use crate::sheet::{Expected, Figure, Limit, Line, Origin};

/// Watts below which nobody asks what a resistor without a rating is rated for: the smallest that
/// is sold stands this at half its rating.
const TRIFLE_WATTS: f64 = 0.125;

/// Lines of what fits; the rest stands in the JSON.
const MOST_THAT_FIT: usize = 10;

/// Volts below which nobody asks for a rating.
const TRIFLE_VOLTS: f64 = 10.0;

pub(super) fn fill(work: &Work<'_>, block: Option<&str>, stress: &mut Stress) {
    let sheet = &mut stress.sheet;
    say_mains(sheet, stress.mains_volts, &stress.wall);
    say_block(sheet, block);
    if stress.drives.is_empty() {
        sheet.note(
            "Without signal: full drive works output valves, their screens and the supply harder.",
        );
    }
    for drive in &stress.drives {
        sheet.note(format!(
            "Counted with a tone of {}, {}: {} at the loudspeaker, today's mains, knobs as set; without the ripple of the supply.",
            Figure::new(drive.hertz, "Hz"),
            drive.when.words(),
            Figure::new(drive.watts, "W")
        ));
    }
    sheet.note("A design-centre limit of a valve is for the rated mains and is held against today's; every other figure is the worst of today's, the highest mains and a cold start.");
    for why in &work.surge.unsolved {
        sheet.missing(
            why.clone(),
            "Run `check`, and look for a slip near that point.",
        );
    }
    if let Some(words) = work.surge.rectifier.map(crate::surge::RectifierSort::when) {
        sheet.note(words);
    }
    let with = |verdict: Verdict| {
        let of = stress.parts.iter().filter(|s| s.verdict == verdict);
        alike(of.filter(|s| verdict != Verdict::Unknown || asks(s)))
    };
    let lines = |verdict: Verdict, line: fn(&Strained) -> Line| -> Vec<Line> {
        let groups = with(verdict).into_iter();
        groups.map(|(s, names)| line(s).at(names)).collect()
    };
    let over = lines(Verdict::Over, judged);
    let hot = lines(Verdict::Hot, judged);
    let made = lines(Verdict::OverSheetAsMade, as_made);
    let unknown = lines(Verdict::Unknown, unrated);
    let mut fits = lines(Verdict::Fits, fitting);
    fits.truncate(MOST_THAT_FIT);
    let failing: Vec<Line> = stress.failing.iter().map(failed).collect();
    sheet.section("Over the rating", over);
    sheet.section("Inside the rating, above what is good practice", hot);
    sheet.section("Over sheet, as made: no pass, and no fault", made);
    sheet.section("Rating not known: the least that would do", unknown);
    sheet.section("Nearest to their limit of what fits", fits);
    sheet.section("If one part fails, today's mains, no signal", failing);
    if stress.parts.is_empty() && work.now.is_some() {
        sheet.missing(
            "No part with known volts was found.",
            "Trace the parts between the rails and the valves.",
        );
    }
}

/// Parts with the same figure against the same limit are one line: the first of them, and the names.
fn alike<'s>(of: impl Iterator<Item = &'s Strained>) -> Vec<(&'s Strained, String)> {
    let same = |a: &Strained, b: &Strained| {
        let near = |x: f64, y: f64| (x - y).abs() <= 0.005 * x.abs().max(y.abs());
        (a.kind, a.quantity, a.when) == (b.kind, b.quantity, b.when)
            && a.rating == b.rating
            && a.limit == b.limit
            && near(a.value, b.value)
    };
    let mut groups: Vec<(&Strained, Vec<&str>)> = Vec::new();
    for s in of {
        match groups.iter_mut().find(|(first, _)| same(first, s)) {
            Some((_, names)) => names.push(&s.part),
            None => groups.push((s, vec![&s.part])),
        }
    }
    groups
        .into_iter()
        .map(|(first, mut names)| {
            names.sort_by_cached_key(|name| natural(name));
            (first, names.join(" "))
        })
        .collect()
}

/// Worth a question: enough watts or volts that a wrong part would fail.
fn asks(s: &Strained) -> bool {
    match s.quantity {
        Quantity::Watts => s.value >= TRIFLE_WATTS,
        Quantity::Volts => {
            s.value >= TRIFLE_VOLTS
                && matches!(s.kind, Place::Capacitor | Place::Plate | Place::Screen)
        }
        _ => true,
    }
}

fn what(s: &Strained) -> String {
    match s.kind {
        Place::Heater | Place::Grid => s.kind.word().to_owned(),
        _ => format!("{}, {}", s.kind.word(), s.quantity.words()),
    }
}

fn held(s: &Strained) -> Line {
    let expected = Expected::value(s.value, s.quantity.unit());
    let line = Line::told(what(s), s.origin.clone()).expecting(expected);
    match s.limit {
        Some(limit) => line.limited(Limit::at_most(limit, s.quantity.unit())),
        None => line,
    }
}

fn share(s: &Strained) -> String {
    let percent = s.ratio.map_or(0.0, |r| r * 100.0);
    format!("{percent:.0} % of its rating, {}.", s.when.words())
}

fn judged(s: &Strained) -> Line {
    let Some(limit) = s.limit else {
        return held(s);
    };
    Line::computed(
        what(s),
        Expected::value(s.value, s.quantity.unit()),
        Limit::at_most(limit, s.quantity.unit()),
        s.origin.clone(),
    )
    .because(share(s))
    .because(s.remedy.as_deref().unwrap_or_default())
    .because(least(s).unwrap_or_default())
}

fn as_made(s: &Strained) -> Line {
    held(s)
        .because(share(s))
        .because(s.remedy.as_deref().unwrap_or_default())
}

fn unrated(s: &Strained) -> Line {
    held(s)
        .because(format!("{}.", capital(s.when.words())))
        .because(least(s).unwrap_or_default())
}

fn fitting(s: &Strained) -> Line {
    held(s).because(share(s))
}

/// What to fit at least, as it is sold.
fn least(s: &Strained) -> Option<String> {
    let need = s.needs?;
    match (s.kind, s.quantity) {
        (Place::Resistor | Place::Pot, Quantity::Watts) => {
            let sold = rated_watts(need)?;
            Some(format!("At least {sold} W."))
        }
        (Place::Capacitor, Quantity::Volts) => match rated_volts(need) {
            Some(sold) => Some(format!("At least {sold} V.")),
            None => Some(
                "No single part is sold for it: two in series, each with a resistor across."
                    .to_owned(),
            ),
        },
        (Place::Diode, Quantity::InverseVolts) => {
            Some(format!("At least {} V of inverse volts.", need.ceil()))
        }
        _ => None,
    }
}

fn failed(f: &Failing) -> Line {
    let origin = Origin::computed("the circuit solved with that fault, all other parts good");
    let line = Line::told(f.fault.clone(), origin).at(f.part.clone());
    if let Some(why) = &f.blows {
        return line.because(format!("{}.", capital(why.trim_end_matches('.'))));
    }
    if let Some(why) = &f.unsolved {
        return line.because(format!("Not computed: {why}."));
    }
    let words: Vec<String> = f
        .pushed
        .iter()
        .take(4)
        .map(|p| {
            let unit = p.quantity.unit();
            let place = match p.kind {
                Place::Resistor | Place::Pot | Place::Capacitor | Place::Diode => String::new(),
                other => format!(" {}", other.word()),
            };
            format!(
                "{}{place} {}, rated {}",
                p.part,
                Figure::new(p.value, unit),
                Figure::new(p.rating, unit)
            )
        })
        .collect();
    let more = f.pushed.len().saturating_sub(4);
    let more = if more > 0 {
        format!("; {more} more")
    } else {
        String::new()
    };
    line.because(format!("{}{more}.", words.join("; ")))
}
