//! The hand-over report: what goes home with the amplifier, gathered from the record and from what was computed of it.
//!
//! An owner's version of a few pages, and the technician's full record. Nothing is said more strongly than the record has
//! it: a thing is tested and within its limit, not in order, not tested, or declined. Nothing is computed here.

mod care;
mod circuit;
mod cost;
mod done;
mod front;
mod labels;
mod pictures;
mod tested;
mod volts;

#[cfg(test)]
mod tests;

pub(crate) use care::{NOTES, NOTHING, note_on};
pub(crate) use front::{running, version};
pub(crate) use labels::labels;

use super::pages::{gate, parts as parts_page};
use super::part_words::Manner;
use super::site::Site;
use super::state::{self, JobView};
use super::work_out::{self, Found};
use report::{Document, Paper};
use shop::{
    At, EstimateItem, JobId, Note, PartState, Photo, Reader, ReadingState, ShopError, ValveFitted,
    VerdictGiven, WorkItem,
};

/// What is asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Wanted {
    /// Everything, not only what the owner reads.
    pub(crate) full: bool,
    /// The paper.
    pub(crate) paper: Paper,
    /// Photos are in the document itself, not at their addresses.
    pub(crate) whole: bool,
}

/// What the record says of a job, read once.
struct Gathered<'a> {
    site: &'a Site,
    id: JobId,
    now: At,
    wanted: Wanted,
    view: JobView,
    found: Found,
    left: Found,
    gate: gate::Gate,
    manner: Manner,
    estimate: Vec<EstimateItem>,
    work: Vec<WorkItem>,
    verdicts: Vec<VerdictGiven>,
    states: Vec<PartState>,
    valves: Vec<ValveFitted>,
    notes: Vec<Note>,
    photos: Vec<Photo>,
}

impl<'a> Gathered<'a> {
    fn of(
        site: &'a Site,
        r: &Reader<'_>,
        id: JobId,
        now: At,
        wanted: Wanted,
    ) -> Result<Self, ShopError> {
        Ok(Self {
            site,
            id,
            now,
            wanted,
            view: state::view(site, r, id)?,
            found: work_out::found(site, r, id, ReadingState::AsFound)?,
            left: work_out::found(site, r, id, ReadingState::AsLeft)?,
            gate: gate::gate(site, r, id)?,
            manner: parts_page::manner(r)?,
            estimate: r.estimate(id)?,
            work: r.work(id)?,
            verdicts: r.verdicts(id)?,
            states: r.part_states(id)?,
            valves: r.valves_fitted(id)?,
            notes: r.notes(id)?.into_iter().filter(|n| !n.blanked).collect(),
            photos: r.photos(id)?,
        })
    }

    /// The latest note about something.
    fn note(&self, about: &str) -> Option<&str> {
        Some(note_on(&self.notes, about).trim()).filter(|t| !t.is_empty())
    }
}

/// The report of a job as its record stands.
pub(crate) fn document(
    site: &Site,
    r: &Reader<'_>,
    id: JobId,
    now: At,
    wanted: Wanted,
) -> Result<Document, ShopError> {
    let g = Gathered::of(site, r, id, now, wanted)?;
    let mut d = front::page(&g, r)?;
    front::said(&g, r, &mut d)?;
    done::found(&g, &mut d);
    done::replaced(&g, &mut d);
    done::kept(&g, &mut d);
    done::work(&g, &mut d);
    done::refused(&g, &mut d);
    volts::side_by_side(&g, &mut d);
    tested::safety(&g, &mut d);
    tested::bias(&g, &mut d);
    tested::play_test(&g, &mut d);
    done::valves(&g, &mut d);
    done::returned(&g, &mut d);
    cost::cost(&g, r, &mut d)?;
    pictures::photos(&g, &mut d)?;
    care::care(&g, &mut d);
    care::signatures(&mut d);
    if wanted.full {
        front::evidence(&g, r, &mut d)?;
        circuit::kin(&g, r, &mut d)?;
        circuit::voicing(&g, &mut d);
        tested::before_power(&g, &mut d);
        volts::every_reading(&g, r, &mut d)?;
        circuit::schematic(&g, &mut d);
    }
    Ok(d)
}

/// `a`, `a and b`, `a, b and c`.
fn list(words: &[String]) -> String {
    match words {
        [] => String::new(),
        [one] => one.clone(),
        [rest @ .., last] => format!("{} and {last}", rest.join(", ")),
    }
}

/// `1 part`, `2 parts`.
fn count(n: usize, one: &str, many: &str) -> String {
    if n == 1 {
        format!("1 {one}")
    } else {
        format!("{n} {many}")
    }
}
