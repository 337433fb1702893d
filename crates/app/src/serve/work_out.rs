//! What is worked out from a job's texts, kept until a text changes.
//!
//! Held against the texts themselves, so a kept result is never stale: another text is worked out
//! anew. Each job has one place for each thing, which its next text takes over.

use super::long::Long;
use super::record::readings_text;
use super::shelf::Shelf;
use super::site::Site;
use bench::chart::{ChartRequest, Worked};
use bench::idle::Idle;
use bench::parts::Parts;
use bench::power::Power;
use bench::powerup::Powerup;
use bench::sheet::Sheet;
use bench::stress::Stress;
use bench::suspects::{Suspects, SuspectsRequest};
use bench::tremolo::Tremolo;
use draw::Memory;
use draw::over::Room;
use shop::{
    Block, BlockId, JobId, Reader, Reading, ReadingState, ResultGiven, Revision, ShopError,
    WiringState,
};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};
use wiring::roles::{Anatomy, anatomy};
use wiring::{Circuit, Diagnostic};

/// Above this many parts a text is read but not solved: far more than an amplifier has.
pub(crate) const MOST_PARTS: usize = 1000;

/// A job's circuit, as far as it is traced.
#[derive(Debug, Default)]
pub(crate) struct Traced {
    /// The circuit, with the readings of the record.
    pub(crate) circuit: Circuit,
    /// What is wrong or open in the wiring's own text.
    pub(crate) problems: Vec<Diagnostic>,
    /// Roles and blocks.
    pub(crate) anatomy: Anatomy,
    /// Points with at most one thing on them.
    pub(crate) loose_ends: Vec<String>,
    /// The wiring's text.
    pub(crate) text: String,
    /// Drawn when a page first asks for it.
    pub(crate) drawing: OnceLock<Option<Drawn>>,
    /// Where its parts stood in the drawing before, of this job in this state.
    pub(crate) memory: Arc<Mutex<Memory>>,
}

/// A schematic, and what it leaves free for what is laid over it.
#[derive(Debug)]
pub(crate) struct Drawn {
    /// As SVG.
    pub(crate) picture: String,
    /// Where something still finds a place.
    pub(crate) room: Room,
    /// How often its lines cross, where that is more than a drawing laid out afresh needs.
    pub(crate) crowded: Option<usize>,
}

/// Ink and paper are the page's own, by day and by lamp.
pub(crate) const PAGE: draw::svg::Colours = draw::svg::Colours {
    paper: "var(--panel)",
    ink: "currentColor",
    soft: "var(--ink-2)",
};

impl Traced {
    /// The schematic; none where there are more parts than an amplifier has.
    pub(crate) fn drawn(&self) -> Option<&Drawn> {
        self.drawing
            .get_or_init(|| {
                if self.circuit.parts.len() > draw::MOST_PARTS {
                    return None;
                }
                // one after the other, each from the one before
                let mut memory = self.memory.lock().unwrap_or_else(PoisonError::into_inner);
                let options = draw::Options::default();
                let (drawing, next) = draw::draw_on(&self.circuit, &self.anatomy, options, &memory);
                *memory = next;
                drop(memory);
                // named, so that the map can show it a second time
                let picture = draw::svg::svg(&drawing, PAGE);
                Some(Drawn {
                    picture: picture.replacen("<svg ", "<svg id=\"schematic\" ", 1),
                    room: Room::of(&drawing),
                    crowded: Some(draw::crossings(&drawing))
                        .filter(|n| *n > 6 + self.circuit.parts.len() / 12),
                })
            })
            .as_ref()
    }
}

/// What the record says of a job's circuit and readings.
#[derive(Debug)]
pub(crate) struct Found {
    /// Of which job, in which state: its place among what is kept.
    pub(crate) place: String,
    /// Sets of conditions, of this state.
    pub(crate) blocks: Vec<Block>,
    /// Readings as they stand, of this state.
    pub(crate) readings: Vec<Reading>,
    /// Answers of the run sheets.
    pub(crate) results: Vec<ResultGiven>,
    /// The circuit that follows.
    pub(crate) traced: Arc<Traced>,
}

/// Results that are kept.
#[derive(Debug, Default)]
pub(crate) struct Kept {
    circuits: Shelf<Traced>,
    memories: Shelf<Arc<Mutex<Memory>>>,
    charts: Shelf<Worked>,
    /// Sheets of a step.
    pub(crate) sheets: Shelf<Vec<Sheet>>,
    /// Power-up plans, without what was answered on them.
    pub(crate) plans: Shelf<Powerup>,
    /// Amps held against drawings.
    pub(crate) kins: Shelf<bench::kin::Kin>,
    /// Output stages.
    pub(crate) idles: Shelf<Idle>,
    /// How hard parts are worked.
    pub(crate) strains: Shelf<Stress>,
    /// What the figures ask for, part by part.
    pub(crate) judged: Shelf<Parts>,
    suspects: Shelf<Suspects>,
    /// What amps give under drive.
    pub(crate) powers: Long<Power>,
    /// What their tremolos do.
    pub(crate) tremolos: Long<Tremolo>,
}

impl Kept {
    /// How often something was worked out since the start: circuits, charts, sheets.
    #[cfg(test)]
    pub(crate) fn made(&self) -> [usize; 3] {
        let sheets = self.sheets.made()
            + self.plans.made()
            + self.idles.made()
            + self.suspects.made()
            + self.strains.made()
            + self.judged.made()
            + self.powers.begun()
            + self.tremolos.begun()
            + self.kins.made();
        [self.circuits.made(), self.charts.made(), sheets]
    }
}

/// What a job's record says in a state, and its circuit.
///
/// As left starts from the wiring as found, until somebody writes one of its own.
pub(crate) fn found(
    site: &Site,
    r: &Reader<'_>,
    job: JobId,
    state: ReadingState,
) -> Result<Found, ShopError> {
    let wanted = match state {
        ReadingState::AsFound => [WiringState::AsFound, WiringState::AsFound],
        ReadingState::AsLeft => [WiringState::AsLeft, WiringState::AsFound],
    };
    let mut head: Option<Revision> = None;
    for state in wanted {
        if head.is_none()
            && let Some(w) = r.wiring_of(job, state)?
        {
            head = r.head(w.id)?;
        }
    }
    let blocks: Vec<Block> = r
        .blocks(job)?
        .into_iter()
        .filter(|b| b.state == state)
        .collect();
    let readings: Vec<Reading> = r
        .readings(job)?
        .into_iter()
        .filter(|x| blocks.iter().any(|b| b.id == x.block))
        .collect();
    let results = r.results(job)?;
    let text = head.as_ref().map_or("", |h| h.text.as_str());
    let readings_of = readings_text(&blocks, &readings, &results);
    let place = format!("{job} {}", state.word());
    let traced = trace(site, &place, text, &readings_of);
    Ok(Found {
        place,
        blocks,
        readings,
        results,
        traced,
    })
}

/// What is added to a job and its state: the text that is being typed, and the wiring without its readings.
const TYPING: &str = " typing";
const ALONE: &str = " alone";

/// Where a text is kept while it is typed.
pub(crate) fn typing(job: JobId, state: WiringState) -> String {
    format!("{job} {}{TYPING}", state.word())
}
/// Where a wiring is kept without its readings.
pub(crate) fn alone(job: JobId, state: WiringState) -> String {
    format!("{job} {}{ALONE}", state.word())
}

/// Forgets where the parts of a job's drawing stood: it is laid out afresh.
pub(crate) fn tidy(site: &Site, job: JobId, state: WiringState) {
    let whole = format!("{job} {}", state.word());
    site.kept.memories.forget(&whole);
    for place in [whole, typing(job, state), alone(job, state)] {
        site.kept.circuits.forget(&place);
    }
}

/// Reads a wiring's text together with a readings text, to be kept in a place.
pub(crate) fn trace(site: &Site, place: &str, text: &str, readings: &str) -> Arc<Traced> {
    let key = format!("{text}\u{0}{readings}");
    let whole = place.trim_end_matches(TYPING).trim_end_matches(ALONE);
    let memory = site.kept.memories.get(whole, String::new(), Arc::default);
    site.kept.circuits.get(place, key, || {
        let texts = [
            wiring::Text {
                name: "wiring",
                text,
            },
            wiring::Text {
                name: "record.readings",
                text: readings,
            },
        ];
        let read = wiring::read(&texts, &site.library);
        let small = read.circuit.parts.len() <= MOST_PARTS;
        Traced {
            anatomy: if small {
                anatomy(&read.circuit)
            } else {
                Anatomy::default()
            },
            loose_ends: crate::loose::ends(&read.circuit),
            problems: read
                .problems
                .into_iter()
                .filter(|d| d.place.file == 0)
                .collect(),
            circuit: read.circuit,
            text: text.to_owned(),
            drawing: OnceLock::new(),
            memory: Arc::clone(&memory),
        }
    })
}

/// The chart of a job against a block of its record, or without readings.
pub(crate) fn chart(site: &Site, found: &Found, block: Option<BlockId>) -> Arc<Worked> {
    let block = block.and_then(|id| found.blocks.iter().find(|b| b.id == id));
    let readings = readings_text(&found.blocks, &found.readings, &[]);
    let key = format!(
        "{}\u{0}{readings}\u{0}{:?}",
        found.traced.text,
        block.map(|b| &b.name)
    );
    site.kept.charts.get(&found.place, key, || {
        let request = ChartRequest {
            block: block.map(|b| b.name.clone()),
            without_readings: block.is_none(),
            ..ChartRequest::default()
        };
        if found.traced.circuit.parts.len() > MOST_PARTS {
            return bench::chart::work_out(&Circuit::default(), &site.library, &request);
        }
        bench::chart::work_out(&found.traced.circuit, &site.library, &request)
    })
}

/// What the owner said of an amp, as far as it was not blanked.
pub(crate) fn told(r: &Reader<'_>, job: JobId) -> Result<Option<String>, ShopError> {
    let words = r.owner_words(job)?;
    let kept = words.into_iter().find(|w| !w.blanked);
    Ok(kept.map(|w| w.text))
}

/// What is asked of the suspects besides themselves. Both take longer, so they are asked for.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Wish {
    /// Two faults at once.
    pub(crate) both: bool,
    /// Readings weighed together with the one after them.
    pub(crate) ahead: bool,
}

/// The suspects of a job, from all its readings and what was told.
pub(crate) fn suspects(
    site: &Site,
    found: &Found,
    told: Option<&str>,
    wish: Wish,
) -> Arc<Suspects> {
    let readings = readings_text(&found.blocks, &found.readings, &found.results);
    let told: Vec<String> = told.iter().map(|t| (*t).to_owned()).collect();
    let key = format!("{}\u{0}{readings}\u{0}{told:?}", found.traced.text);
    let place = match (wish.both, wish.ahead) {
        (false, false) => found.place.clone(),
        (both, ahead) => format!("{} {both} {ahead}", found.place),
    };
    site.kept.suspects.get(&place, key, || {
        let request = SuspectsRequest {
            told,
            pairs: wish.both,
            two_ahead: wish.ahead,
            ..SuspectsRequest::default()
        };
        if found.traced.circuit.parts.len() > MOST_PARTS {
            return bench::suspects::suspects(&Circuit::default(), &site.library, &request);
        }
        bench::suspects::suspects(&found.traced.circuit, &site.library, &request)
    })
}
