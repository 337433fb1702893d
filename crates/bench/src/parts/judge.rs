//! The rules that speak of a part, and what each of them asks for.

use super::{About, limits};
use crate::charge::is_electrolytic;
use crate::datecodes::splits;
use crate::leakage::{esr_limit, old_leakage_limit};
use crate::rules::rules;
use crate::sheet::{Figure, Origin};
use crate::stress::{Quantity, Strained, Verdict as Strain, When};
use serde::Serialize;
use wiring::circuit::{DiodeSort, History, Kind, Make, MeasuredValue, Verdict};
use wiring::roles::{BlockKind, Role};

/// Hertz at which the series resistance of an electrolytic is judged: the lower limit of the two mains.
const ESR_HERTZ: f64 = 120.0;

/// A rule that speaks of a part.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Hit {
    /// What it says of this part, in words.
    pub says: String,
    /// What it asks for.
    pub verdict: Verdict,
    /// The rule and its source.
    pub origin: Origin,
}

impl Hit {
    fn new(verdict: Verdict, origin: Origin, says: impl Into<String>) -> Self {
        Self {
            says: says.into(),
            verdict,
            origin,
        }
    }

    fn rule(verdict: Verdict, rule: &str, says: impl Into<String>) -> Self {
        Self::new(verdict, Origin::rule(rule), says)
    }
}

pub(super) fn hits(of: &About<'_>, stress: &[Strained], off: Option<f64>) -> Vec<Hit> {
    let mut hits = Vec::new();
    broken(of, &mut hits);
    match &of.part.kind {
        Kind::Resistor { .. } => {
            drift(of, off, &mut hits);
            pair(of, &mut hits);
        }
        Kind::Capacitor { .. } => capacitor(of, off, &mut hits),
        Kind::Diode {
            sort: DiodeSort::Selenium,
        } => hits.push(Hit::new(
            Verdict::Watch,
            Origin::practice(),
            "a selenium stack ages: its drop rises and it fails with a smell; read its volts both ways",
        )),
        Kind::Valve(valve) => {
            if let Some(fitted) = valve.fitted.as_ref().filter(|f| **f != valve.meant) {
                hits.push(Hit::new(
                    Verdict::Watch,
                    Origin::practice(),
                    format!("the socket is meant for {}, {fitted} is in it", valve.meant),
                ));
            }
        }
        _ => {}
    }
    strain(of, stress, &mut hits);
    hits
}

fn broken(of: &About<'_>, hits: &mut Vec<Hit>) {
    let word = match of.part.known.reading.map(|r| r.value) {
        Some(MeasuredValue::Open) => "open",
        Some(MeasuredValue::Short) => "short",
        _ => return,
    };
    hits.push(Hit::new(
        Verdict::Replace,
        Origin::measured(),
        format!("it reads {word}"),
    ));
}

fn drift(of: &About<'_>, off: Option<f64>, hits: &mut Vec<Hit>) {
    let Some(off) = off else {
        return;
    };
    let in_circuit = of.part.known.reading.is_some_and(|r| r.in_circuit);
    let Some(limit) = limits::drift(of.anatomy, of.id) else {
        if off.abs() > limits::MADE_WITHIN && !(in_circuit && off < 0.0) {
            hits.push(Hit::new(
                Verdict::Watch,
                Origin::practice(),
                format!(
                    "{off:+.0} %, more than the {} % of the widest tolerance, and no rule speaks of its place: trace what it does",
                    limits::MADE_WITHIN
                ),
            ));
        }
        return;
    };
    if in_circuit && off < 0.0 {
        // Other paths lower a reading in circuit; they never raise it.
        if off.abs() > limit.keep {
            hits.push(Hit::rule(
                Verdict::Watch,
                limit.rule,
                format!("reads {off:+.0} % in circuit: lift one end and read again"),
            ));
        }
        return;
    }
    if off.abs() <= limit.keep {
        hits.push(Hit::rule(
            Verdict::Keep,
            limit.rule,
            format!("{off:+.0} %, inside the {} % of its place", limit.keep),
        ));
        return;
    }
    let goes =
        off.abs() > limit.replace || (off.abs() >= limit.replace && limit.replace > limit.keep);
    let verdict = if goes && !limit.note_only {
        Verdict::Replace
    } else {
        Verdict::Watch
    };
    hits.push(Hit::rule(
        verdict,
        limit.rule,
        format!("{off:+.0} %, more than the {} % of its place", limit.keep),
    ));
}

/// Loads of an inverter are judged by their ratio, when both were read with an end lifted.
fn pair(of: &About<'_>, hits: &mut Vec<Hit>) {
    let circuit = of.circuit;
    for block in &of.anatomy.blocks {
        let (limit, role) = match block.kind {
            BlockKind::LongTailedPair => ("ratio error long-tailed pair", Role::PlateLoad),
            BlockKind::Cathodyne => ("ratio error cathodyne", Role::CathodeLoad),
            _ => continue,
        };
        let loads: Vec<_> = block
            .parts
            .iter()
            .filter(|(_, r)| *r == Role::PlateLoad || *r == role)
            .collect();
        let [(a, _), (b, _)] = loads.as_slice() else {
            continue;
        };
        if of.id != *a && of.id != *b {
            continue;
        }
        let value = |id: &wiring::PartId| {
            let part = circuit.parts.get(id.0)?;
            let Kind::Resistor { ohms: Some(ohms) } = part.kind else {
                return None;
            };
            match part.known.reading {
                Some(r) if !r.in_circuit => match r.value {
                    MeasuredValue::Is(read) if read > 0.0 && ohms > 0.0 => Some(read / ohms),
                    _ => None,
                },
                _ => None,
            }
        };
        let (Some(x), Some(y), Some(most)) = (
            value(a),
            value(b),
            rules().figure("res.drift.inverter", limit),
        ) else {
            continue;
        };
        let error = (x / y - 1.0).abs() * 100.0;
        let other = if of.id == *a { b } else { a };
        let name = circuit.parts.get(other.0).map_or("", |p| p.name.as_str());
        let (verdict, than) = if error > most {
            let drifted_more = if of.id == *a {
                x.ln().abs() >= y.ln().abs()
            } else {
                y.ln().abs() > x.ln().abs()
            };
            let verdict = if drifted_more {
                Verdict::Replace
            } else {
                Verdict::Watch
            };
            (verdict, "more than")
        } else {
            (Verdict::Keep, "inside")
        };
        hits.push(Hit::rule(
            verdict,
            "res.drift.inverter",
            format!(
                "its ratio with {name} is off by {error:.1} %, {than} the {most} % of an inverter"
            ),
        ));
    }
}

fn capacitor(of: &About<'_>, off: Option<f64>, hits: &mut Vec<Hit>) {
    let known = &of.part.known;
    if of.anatomy.has(of.id, Role::LineCapacitor) {
        hits.push(Hit::rule(
            Verdict::Replace,
            "mains.line_chassis_cap",
            "from a mains conductor to chassis: take it out with the three-wire cord, fit nothing in its place, keep it in the bag",
        ));
        return;
    }
    if is_electrolytic(of.part) {
        electrolytic(of, off, hits);
        return;
    }
    let blocks = of.anatomy.has(of.id, Role::Coupling)
        || of.anatomy.has(of.id, Role::TremoloCoupling)
        || of.anatomy.has(of.id, Role::ToneCapacitor)
        || of.anatomy.has(of.id, Role::TrebleCapacitor);
    let old = known.history.is_none() || known.history == Some(History::Original);
    match known.make {
        Some(Make::Paper) if blocks => hits.push(Hit::rule(
            Verdict::Replace,
            "cap.originality",
            "paper, and it holds direct volts back",
        )),
        Some(Make::Paper) => hits.push(Hit::rule(
            Verdict::Watch,
            "cap.originality",
            "paper: read its leakage",
        )),
        Some(Make::Film | Make::Mica | Make::Ceramic) if old => hits.push(Hit::rule(
            Verdict::Keep,
            "cap.originality",
            "film, mica and ceramic of the period stay while they test well",
        )),
        _ => {}
    }
    let figure = |name| rules().figure("cap.coupling.leak.meter_test", name);
    if let Some(leak) = known.leak_ohms
        && blocks
        && let (Some(good), Some(reject)) = (figure("Rleak good"), figure("Rleak reject"))
    {
        let (verdict, words) = if leak <= reject {
            (Verdict::Replace, "rejected at")
        } else if leak < good {
            (Verdict::Watch, "doubtful below")
        } else {
            (Verdict::Keep, "good from")
        };
        let edge = if verdict == Verdict::Replace {
            reject
        } else {
            good
        };
        hits.push(Hit::rule(
            verdict,
            "cap.coupling.leak.meter_test",
            format!(
                "leaks {}, {words} {}",
                Figure::new(leak, "ohm"),
                Figure::new(edge, "ohm")
            ),
        ));
    }
    if let (Some(off), Some((low, high))) = (off, known.tolerance)
        && (off < -low * 100.0 || off > high * 100.0)
    {
        hits.push(Hit::new(
            Verdict::Watch,
            Origin::measured(),
            format!("{off:+.0} %, outside its own tolerance"),
        ));
    }
}

fn electrolytic(of: &About<'_>, off: Option<f64>, hits: &mut Vec<Hit>) {
    let known = &of.part.known;
    let farads = match of.part.kind {
        Kind::Capacitor { farads, .. } => farads,
        _ => None,
    };
    let lifted = known.reading.is_some_and(|r| !r.in_circuit);
    let mut tested = 0;
    let mut bad = false;
    let limit = |name| rules().figure("cap.electrolytic.esr", name);
    if let (Some(off), true) = (off, lifted) {
        tested += 1;
        if limit("reject capacitance below").is_some_and(|l| 100.0 + off < l) {
            bad = true;
            hits.push(Hit::rule(
                Verdict::Replace,
                "cap.electrolytic.esr",
                format!("{off:+.0} %: dried"),
            ));
        } else if limit("suspect capacitance above (leakage fools the meter)")
            .is_some_and(|l| 100.0 + off > l)
        {
            bad = true;
            hits.push(Hit::rule(
                Verdict::Watch,
                "cap.electrolytic.esr",
                format!("{off:+.0} %: leakage fools the meter, read the leakage"),
            ));
        }
    }
    if let (Some(esr), Some(most)) = (known.esr_ohms, farads.and_then(|f| esr_limit(f, ESR_HERTZ)))
    {
        tested += 1;
        if esr > most {
            bad = true;
            hits.push(Hit::rule(
                Verdict::Replace,
                "cap.electrolytic.esr",
                format!("series resistance {esr:.1} ohm, rejected above {most:.1} ohm at 120 Hz"),
            ));
        }
    }
    if let (Some(leak), Some(farads), Some(volts)) = (known.leak_ohms, farads, known.volts)
        && let Some(most) = old_leakage_limit(farads, volts)
        && leak > 0.0
    {
        tested += 1;
        let amps = volts / leak;
        if amps > most {
            bad = true;
            hits.push(Hit::rule(
                Verdict::Replace,
                "cap.electrolytic.leakage.old",
                format!(
                    "leaks {:.2} mA at its rated volts, {:.2} mA allowed",
                    amps * 1e3,
                    most * 1e3
                ),
            ));
        }
    }
    if bad {
        return;
    }
    let old = amp_age(of).zip(rules().figure("cap.electrolytic.age", "age to presume worn"));
    match known.history {
        Some(History::Original) if tested >= 3 => hits.push(Hit::rule(
            Verdict::Watch,
            "cap.electrolytic.age",
            "original, and it passed capacitance, series resistance and leakage: an hour warm, and the owner's word in writing, before it stays",
        )),
        Some(History::Original) => hits.push(Hit::rule(
            Verdict::Replace,
            "cap.originality",
            "an original electrolytic: presumed finished unless it passes capacitance, series resistance and leakage",
        )),
        None if old.is_some_and(|(age, limit)| age >= limit) => hits.push(Hit::rule(
            Verdict::Watch,
            "cap.electrolytic.age",
            "nobody said when it was fitted: if it is as old as the amplifier it is presumed finished",
        )),
        _ => {}
    }
}

/// Years since the amplifier was made, by its heading.
fn amp_age(of: &About<'_>) -> Option<f64> {
    let year = of.circuit.heading.year.as_ref()?;
    let digits: String = year.chars().take_while(char::is_ascii_digit).collect();
    let made: u16 = digits.parse().ok().filter(|y| (1900..=2200).contains(y))?;
    Some(f64::from(of.this_year?.checked_sub(made)?))
}

fn strain(of: &About<'_>, stress: &[Strained], hits: &mut Vec<Hit>) {
    let valve = matches!(of.part.kind, Kind::Valve(_));
    for s in stress {
        // a grid leak of just the limit, with a little in series, is what the sheet means
        if s.quantity == Quantity::GridOhms && s.ratio.is_some_and(|r| r <= 1.005) {
            continue;
        }
        let figures = || {
            let unit = s.quantity.unit();
            let rated = s
                .rating
                .map_or(String::new(), |r| format!(" of {}", Figure::new(r, unit)));
            format!(
                "{} {}{rated} {}",
                s.quantity.words(),
                Figure::new(s.value, unit),
                s.when.words()
            )
        };
        if s.verdict == Strain::Over && only_at_start(of, s) {
            hits.push(Hit::rule(
                Verdict::Watch,
                "cap.electrolytic.surge",
                format!(
                    "{} only for the seconds of a cold start: {}; once warm {}",
                    s.verdict.words(),
                    figures(),
                    Figure::new(s.warm.unwrap_or_default(), s.quantity.unit())
                ),
            ));
            continue;
        }
        let verdict = match s.verdict {
            // What overworks a valve is its setting or its stage, seldom the valve.
            Strain::Over | Strain::Hot | Strain::OverSheetAsMade if valve => Verdict::Watch,
            Strain::Over => Verdict::Replace,
            Strain::Hot => Verdict::Watch,
            _ => continue,
        };
        hits.push(Hit::new(
            verdict,
            s.origin.clone(),
            format!("{}: {}", s.verdict.words(), figures()),
        ));
    }
}

/// A film, paper or mica capacitor that sees more than its rating only until the valves draw, and no
/// more than an electrolytic of that rating may. One to be bought is rated for the cold start.
fn only_at_start(of: &About<'_>, s: &Strained) -> bool {
    let brief = rules().figure("cap.electrolytic.surge", "surge factor >315 V");
    s.when == When::ColdStart
        && matches!(of.part.kind, Kind::Capacitor { .. })
        && !is_electrolytic(of.part)
        && s.warm.zip(s.rating).is_some_and(|(w, r)| w <= r)
        && s.ratio
            .zip(brief)
            .is_some_and(|(r, most)| r <= most.min(1.1))
}

/// What a date code among the part's notes says.
pub(super) fn era(of: &About<'_>) -> Option<String> {
    let this_year = of.this_year?;
    of.part.known.notes.iter().find_map(|note| {
        let lower = note.to_ascii_lowercase();
        let code = lower
            .split_once("code")
            .map_or(lower.as_str(), |(_, after)| after)
            .trim_start_matches([':', ' ']);
        let code = code.split([',', ';']).next().unwrap_or(code).trim();
        let found = splits(code, this_year);
        (!found.is_empty()).then(|| {
            let ways: Vec<String> = found
                .iter()
                .map(|s| {
                    let years: Vec<String> = s.years.iter().map(ToString::to_string).collect();
                    format!("week {} of {}", s.week, years.join(", "))
                })
                .collect();
            ways.join("; or ")
        })
    })
}
