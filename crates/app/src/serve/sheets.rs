//! Which sheets each step has, for this amp: asked of the computing crates, never worked out here,
//! and kept until a text changes that goes into them.

use super::long::Standing;
use super::record::{ANSWERS, COLD, readings_text};
use super::run::Step;
use super::site::Site;
use super::work_out::{Found, MOST_PARTS};
use bench::Asked;
use bench::answers::Answers;
use bench::cold::{ColdRequest, cold};
use bench::heating::heating;
use bench::idle::{Idle, idle};
use bench::inspect::inspect;
use bench::instead::{self, Instead, Refused};
use bench::parts::{Parts, PartsRequest, parts, parts_after};
use bench::power::{Power, PowerRequest, power};
use bench::powerup::{Powerup, PowerupRequest, plan};
use bench::proof::proof;
use bench::safety::safety;
use bench::sheet::Sheet;
use bench::stress::{Stress, stress_under};
use bench::supply::{supply, what_if};
use bench::tremolo::{Tremolo, tremolo};
use shop::{At, ReadingState, ResultGiven, Verdict, VerdictGiven};
use std::sync::Arc;
use wiring::Circuit;
use wiring::circuit::{Position, Setting};
use wiring::sheet::Library;

/// The name under which answers of a step's sheet are kept.
pub(crate) fn kept_as(step: Step) -> &'static str {
    match step {
        Step::Inspection => "inspection",
        Step::Cold => COLD,
        Step::PowerUp => "power-up",
        Step::Safety => "safety",
        Step::PlayTest => "proof",
        _ => "set-up",
    }
}

/// Of which wiring a step's sheets speak: what is proved is the amp as it leaves, all else is it as it came.
pub(crate) fn state_of(step: Step) -> ReadingState {
    match step {
        Step::Safety | Step::PlayTest => ReadingState::AsLeft,
        _ => ReadingState::AsFound,
    }
}

/// The sheets of a step that asks for answers.
pub(crate) fn of(step: Step, site: &Site, found: &Found) -> Arc<Vec<Sheet>> {
    let circuit = &found.traced.circuit;
    let library = &site.library;
    if circuit.parts.len() > MOST_PARTS {
        return Arc::default();
    }
    let answers = Answers::of(circuit);
    if step == Step::PowerUp {
        // an answer changes the sheet and not the plan, which takes long
        return Arc::new(vec![plan_of(site, found).sheet(circuit, &answers)]);
    }
    // ohms before power hang on no other answer
    let matter: Vec<ResultGiven> = found
        .results
        .iter()
        .filter(|r| step != Step::Cold || r.fields.sheet == COLD)
        .cloned()
        .collect();
    let key = key(found, &matter);
    let place = format!("{} {}", found.place, step.slug());
    site.kept.sheets.get(&place, key, || match step {
        Step::Inspection => vec![inspect(circuit, library, None, &answers)],
        Step::Cold => {
            // what was written on this sheet; else what a readings block with the power off says
            let request = ColdRequest {
                block: (!matter.is_empty()).then(|| ANSWERS.to_owned()),
                ..ColdRequest::default()
            };
            vec![cold(circuit, library, &request).sheet()]
        }
        Step::Safety => vec![safety(circuit, library, None, &answers)],
        Step::PlayTest => vec![proof(circuit, &answers, &[])],
        _ => Vec::new(),
    })
}

fn key(found: &Found, results: &[ResultGiven]) -> String {
    let readings = readings_text(&found.blocks, &found.readings, results);
    format!("{}\u{0}{readings}", found.traced.text)
}

/// How to bring the amp up: from the wiring alone.
pub(crate) fn plan_of(site: &Site, found: &Found) -> Arc<Powerup> {
    let key = found.traced.text.clone();
    site.kept.plans.get(&found.place, key, || {
        plan(
            &found.traced.circuit,
            &site.library,
            &PowerupRequest::default(),
        )
    })
}

/// How hard each part is worked; under drive, too, once the power was worked out with the knobs as the wiring has them.
fn stress_of(site: &Site, found: &Found) -> Arc<Stress> {
    let driven = driven_there(site, found);
    let key = format!("{}\u{0}{}", key(found, &[]), driven.is_some());
    site.kept.strains.get(&found.place, key, || {
        let drives = driven.as_ref().map_or(&[][..], |p| &p.drives);
        let circuit = &found.traced.circuit;
        stress_under(circuit, &site.library, &Asked::default(), drives)
    })
}

fn driven_there(site: &Site, found: &Found) -> Option<Arc<Power>> {
    let key = Drive::default().key(found);
    site.kept.powers.there(&found.place, &key)
}

/// What the figures ask for, part by part, with the verdicts that were given counted as given;
/// nothing where there are more parts than an amplifier has.
pub(crate) fn judged_of(
    site: &Site,
    found: &Found,
    given: &[VerdictGiven],
    year: u16,
) -> Arc<Parts> {
    let said: Vec<(&str, Verdict)> = given.iter().map(|g| (g.part.as_str(), g.verdict)).collect();
    let driven = driven_there(site, found).is_some();
    let key = format!("{}\u{0}{said:?} {year} {driven}", key(found, &[]));
    site.kept.judged.get(&found.place, key, || {
        let request = PartsRequest {
            this_year: Some(year),
            ..PartsRequest::default()
        };
        if found.traced.circuit.parts.len() > MOST_PARTS {
            return parts(&Circuit::default(), &site.library, &request);
        }
        let mut circuit = found.traced.circuit.clone();
        for part in &mut circuit.parts {
            if let Some((_, verdict)) = said.iter().find(|s| s.0 == part.name) {
                part.known.verdict = Some(match verdict {
                    Verdict::Keep => wiring::circuit::Verdict::Keep,
                    Verdict::Watch => wiring::circuit::Verdict::Watch,
                    Verdict::Replace => wiring::circuit::Verdict::Replace,
                });
            }
        }
        parts_after(&circuit, &site.library, &request, &stress_of(site, found))
    })
}

/// One of the sheets by which an amp is set up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum SetUp {
    /// Output stages at idle.
    Bias,
    /// Heaters.
    Heaters,
    /// Supply.
    Supply,
    /// How hard each part is worked.
    Stress,
}

impl SetUp {
    /// All, in order.
    pub(crate) const ALL: [Self; 4] = [Self::Bias, Self::Heaters, Self::Supply, Self::Stress];

    /// On its button.
    pub(crate) fn name(self) -> &'static str {
        match self {
            Self::Bias => "Bias",
            Self::Heaters => "Heaters",
            Self::Supply => "Supply",
            Self::Stress => "Stress",
        }
    }

    /// In addresses and in the record.
    pub(crate) fn slug(self) -> &'static str {
        match self {
            Self::Bias => "bias",
            Self::Heaters => "heaters",
            Self::Supply => "supply",
            Self::Stress => "stress",
        }
    }

    /// Of a word in an address; the first one where none is meant.
    pub(crate) fn of(slug: &str) -> Self {
        Self::ALL
            .into_iter()
            .find(|s| s.slug() == slug)
            .unwrap_or(Self::Bias)
    }
}

/// A sheet that takes long.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Slow {
    /// What it gives, clean and driven hard.
    Power,
    /// Whether it starts, pace and depth.
    Tremolo,
}

impl Slow {
    /// All, in order.
    pub(crate) const ALL: [Self; 2] = [Self::Tremolo, Self::Power];

    /// On its button.
    pub(crate) fn name(self) -> &'static str {
        match self {
            Self::Power => "Power",
            Self::Tremolo => "Tremolo",
        }
    }

    /// In addresses and in the record.
    pub(crate) fn slug(self) -> &'static str {
        match self {
            Self::Power => "power",
            Self::Tremolo => "tremolo",
        }
    }

    /// While it goes on.
    pub(crate) fn doing(self) -> &'static str {
        match self {
            Self::Power => "Raising a tone until it clips",
            Self::Tremolo => "Letting the tremolo run",
        }
    }

    /// Of a word in an address.
    pub(crate) fn of(slug: &str) -> Self {
        if slug == Self::Tremolo.slug() {
            Self::Tremolo
        } else {
            Self::Power
        }
    }
}

/// The jack that is driven and the knobs that stand elsewhere than in the wiring.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Drive {
    /// None: the input heard loudest.
    pub(crate) from: Option<String>,
    /// Knobs.
    pub(crate) sets: Vec<Setting>,
}

impl Drive {
    fn asked(&self) -> Asked {
        Asked {
            sets: self.sets.clone(),
            ..Asked::default()
        }
    }

    fn key(&self, found: &Found) -> String {
        let sets: Vec<(&str, &Position)> =
            self.sets.iter().map(|s| (s.name.as_str(), &s.to)).collect();
        format!("{}\u{0}{:?} {sets:?}", key(found, &[]), self.from)
    }
}

/// The circuit that a long work takes with it; without parts where there are more than an amplifier has.
fn taken(site: &Site, found: &Found) -> (Circuit, Library) {
    let circuit = &found.traced.circuit;
    let small = circuit.parts.len() <= MOST_PARTS;
    let circuit = if small {
        circuit.clone()
    } else {
        Circuit::default()
    };
    (circuit, site.library.clone())
}

/// What the amplifier gives; begun where nobody asked before.
pub(crate) fn power_of(site: &Site, found: &Found, drive: &Drive, now: At) -> Standing<Power> {
    let (circuit, library) = taken(site, found);
    let request = PowerRequest {
        asked: drive.asked(),
        from: drive.from.clone(),
        ..PowerRequest::default()
    };
    let key = drive.key(found);
    site.kept.powers.ask(&found.place, &key, now, move |watch| {
        power(&circuit, &library, &request, watch)
    })
}

/// What the tremolo does; begun where nobody asked before.
pub(crate) fn tremolo_of(site: &Site, found: &Found, drive: &Drive, now: At) -> Standing<Tremolo> {
    let (circuit, library) = taken(site, found);
    let (asked, from) = (drive.asked(), drive.from.clone());
    let key = drive.key(found);
    site.kept
        .tremolos
        .ask(&found.place, &key, now, move |watch| {
            tremolo(&circuit, &library, &asked, from.as_deref(), watch)
        })
}

/// The sheet of a long work where it is there; begins nothing.
pub(crate) fn slow_there(which: Slow, site: &Site, found: &Found, drive: &Drive) -> Option<Sheet> {
    let key = drive.key(found);
    match which {
        Slow::Power => {
            let made = site.kept.powers.there(&found.place, &key)?;
            Some(made.sheet.clone())
        }
        Slow::Tremolo => {
            let made = site.kept.tremolos.there(&found.place, &key)?;
            Some(made.sheet.clone())
        }
    }
}

/// The output stages at idle, with their sheet.
pub(crate) fn idle_of(site: &Site, found: &Found) -> Arc<Idle> {
    site.kept.idles.get(&found.place, key(found, &[]), || {
        idle(&found.traced.circuit, &site.library, &Asked::default())
    })
}

/// A sheet by which an amp is set up; none where there are more parts than an amplifier has.
pub(crate) fn set_up(which: SetUp, site: &Site, found: &Found) -> Arc<Vec<Sheet>> {
    let circuit = &found.traced.circuit;
    if circuit.parts.len() > MOST_PARTS {
        return Arc::default();
    }
    let place = format!("{} {}", found.place, which.slug());
    let asked = Asked::default();
    let driven = which == SetUp::Stress && driven_there(site, found).is_some();
    let key = format!("{}\u{0}{driven}", key(found, &[]));
    site.kept.sheets.get(&place, key, || match which {
        SetUp::Bias => vec![idle_of(site, found).sheet.clone()],
        SetUp::Heaters => vec![heating(circuit, &site.library, &asked).sheet],
        SetUp::Supply => vec![supply(circuit, &site.library, &asked, None).sheet],
        SetUp::Stress => vec![stress_of(site, found).sheet.clone()],
    })
}

/// The supply sheet with other mains or other parts in place.
pub(crate) fn supply_if(
    site: &Site,
    found: &Found,
    mains_volts: Option<f64>,
    changes: &[Instead],
) -> Result<Arc<Vec<Sheet>>, Refused> {
    let wired = &found.traced.circuit;
    if wired.parts.len() > MOST_PARTS {
        return Ok(Arc::default());
    }
    let changed = instead::with(wired, &site.library, changes)?;
    let asked = Asked {
        mains_volts,
        ..Asked::default()
    };
    let place = format!("{} what if", found.place);
    let key = format!(
        "{}\u{0}{}",
        key(found, &[]),
        format_args!("{mains_volts:?} {changes:?}")
    );
    Ok(site.kept.sheets.get(&place, key, || {
        vec![what_if(wired, &changed, &site.library, &asked, None).sheet]
    }))
}
